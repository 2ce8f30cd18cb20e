//! `downbox scan --explain` on the real binary: one play's evidence as a picture.

use std::fs;
use std::path::{Path, PathBuf};

use crate::desk::{Desk, Said, game};

fn film() -> PathBuf {
    game().join("sideline.mp4")
}

fn explain(desk: &Desk, film: &Path, play: &str, out: &str) -> Said {
    desk.run(&["scan", film.to_str().unwrap(), "--angle", "sideline", "--explain", play, "--out", out, "--json"])
}

fn size(png: &[u8]) -> (u32, u32) {
    assert!(png.starts_with(b"\x89PNG\r\n\x1a\n"));
    let number = |at: usize| u32::from_be_bytes(png[at..at + 4].try_into().unwrap());
    (number(16), number(20))
}

#[test]
fn a_plays_evidence_is_one_picture_and_one_document() {
    let desk = Desk::new();
    let list = desk.run(&["scan", film().to_str().unwrap(), "--angle", "sideline", "--json"]).json();
    let listed = &list["films"][0]["plays"];
    let mut pictures = Vec::new();
    for (number, out) in [(1, "one.png"), (2, "two.png")] {
        let said = explain(&desk, &film(), &number.to_string(), out);
        assert_eq!(said.code, 0, "{}", said.err);
        let document = said.json();
        // The play that the list shows under this number, with what is drawn of it.
        let play = &listed[number - 1];
        assert_eq!((&document["play"], document["play"]["number"].as_u64()), (play, Some(number as u64)));
        let (from, to) = (document["window"][0].as_f64().unwrap(), document["window"][1].as_f64().unwrap());
        let curve = document["curves"]["men"].as_array().unwrap();
        assert_eq!(curve.len(), document["curves"]["camera"].as_array().unwrap().len());
        let points: Vec<&serde_json::Value> = curve.iter().flat_map(|piece| piece.as_array().unwrap()).collect();
        assert!(points.len() as f64 > 10.0 * (to - from), "{} points in {} s", points.len(), to - from);
        assert!(points.iter().all(|p| (from..=to).contains(&p[0].as_f64().unwrap())));
        let frames = document["frames"].as_array().unwrap();
        assert!(frames.len() >= 5 && frames.iter().all(|frame| frame["shown"] == true), "{frames:?}");
        let snap = frames.iter().find(|frame| frame["name"] == "snap").unwrap();
        assert_eq!(snap["frame"], play["snap"]);
        let png = fs::read(desk.at(out)).unwrap();
        assert_eq!(size(&png), (1600, 1000));
        pictures.push(png);
    }
    assert!(pictures[0] != pictures[1], "two plays, two pictures");
    // Its own picture is made anew, the same.
    assert_eq!(explain(&desk, &film(), "1", "two.png").code, 0);
    assert!(fs::read(desk.at("two.png")).unwrap() == pictures[0]);
}

#[test]
fn what_is_not_its_own_picture_is_never_written_over() {
    let desk = Desk::new();
    let copied = desk.at("film.mp4");
    fs::copy(film(), &copied).unwrap();
    let before = fs::read(&copied).unwrap();
    fs::copy(&copied, desk.at("film.png")).unwrap();
    let [what, place, next] = explain(&desk, &copied, "1", "film.mp4").error();
    assert!(what.contains("PNG") && place.contains("film.mp4") && next.contains(".png"), "{what}: {place}; {next}");
    let [what, _, next] = explain(&desk, &copied, "1", "film.png").error();
    assert!(what.contains("no such picture") && next.contains("--out"), "{what}; {next}");
    for name in ["film.mp4", "film.png"] {
        assert!(fs::read(desk.at(name)).unwrap() == before, "{name} is untouched");
    }
    let plays = desk.run(&["scan", copied.to_str().unwrap(), "--json"]).json()["films"][0]["plays"].clone();
    let count = plays.as_array().unwrap().len();
    for number in ["0".to_string(), (count + 1).to_string()] {
        let [what, _, next] = explain(&desk, &copied, &number, "new.png").error();
        assert!(
            what.contains(&format!("no play {number}")) && next.contains(&format!("1 to {count}")),
            "{what}; {next}"
        );
    }
    assert!(!desk.at("new.png").exists());
    assert_eq!(desk.run(&["scan", "film.mp4", "--explain", "1"]).code, 2, "--out is wanted");
}
