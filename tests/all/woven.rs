//! `cut --woven` on the real binary: one film that holds both cameras' shots in turn.

use std::fs;
use std::path::PathBuf;

use serde_json::Value;

use crate::desk::{Desk, game, told};
use crate::films::{count, made};

/// A woven game: four plays, both angles in one film.
fn woven() -> PathBuf {
    made("woven", &["game", "--woven", "--out", "OUT", "--seed", "23", "--plays", "4", "--size", "480x270"])
}

fn cut(desk: &Desk, args: &[&str]) -> crate::desk::Said {
    told(desk.command().args(["cut", "--game", "Badgers", "--json"]).args(args))
}

#[test]
fn a_woven_film_becomes_clips_of_both_cameras() {
    let folder = woven();
    let truth: Value = serde_json::from_slice(&fs::read(folder.join("truth.json")).unwrap()).unwrap();
    let film = folder.join("woven.mp4").display().to_string();
    let sheet = folder.join("tags.csv").display().to_string();
    let desk = Desk::new();
    let dry = cut(&desk, &["--woven", &film, "--dry-run"]);
    assert_eq!(dry.code, 0, "{}", dry.err);
    let said = cut(&desk, &["--woven", &film]);
    let done = said.json();
    assert_eq!(said.code, 0, "{}", said.err);
    assert_eq!(done["cameras"], serde_json::json!(["sideline", "end-zone"]), "{done}");
    assert_eq!(dry.json()["planned"].as_array().unwrap().len() as u64, done["clips"].as_u64().unwrap());

    let camera = &truth["cameras"][0];
    let found = desk.run(&["plays", "--json"]).json();
    let plays = found["plays"].as_array().unwrap();
    for filmed in camera["plays"].as_array().unwrap() {
        let shot = &camera["shots"][filmed["shot"].as_u64().unwrap() as usize];
        let clips = plays.iter().flat_map(|p| p["clips"].as_array().unwrap());
        let clip = clips.filter(|c| c["angle"] == filmed["angle"]).find(|c| {
            let (from, to) = (c["film_start"].as_u64().unwrap(), c["film_end"].as_u64().unwrap());
            let snap = filmed["snap"].as_u64().unwrap();
            from <= snap && snap < to
        });
        let clip = clip.unwrap_or_else(|| panic!("{filmed} is in no clip of its angle: {found}"));
        // The other camera's shots are not in it.
        for key in [("film_start", "start"), ("film_end", "end")] {
            assert!(clip[key.0].as_u64().unwrap().abs_diff(shot[key.1].as_u64().unwrap()) <= 2, "{clip} {shot}");
        }
        let path = clip["path"].as_str().unwrap();
        assert!(path.starts_with(&format!("clips/Badgers/{}/", filmed["angle"].as_str().unwrap())), "{path}");
        let frames = clip["film_end"].as_u64().unwrap() - clip["film_start"].as_u64().unwrap();
        assert_eq!(count(&desk.library().join(path)), frames);
    }
    // Both angles of a play are one play; a shot of idle men may stand alone beside them, with a doubt.
    let of_both = plays.iter().filter(|p| p["clips"].as_array().unwrap().len() == 2).count();
    assert_eq!(of_both, truth["plays"].as_array().unwrap().len(), "{found}");

    // Again, or with the sheet only: nothing is repeated.
    let again = cut(&desk, &["--woven", &film]).json();
    assert_eq!((again["new_clips"].as_u64(), &again["clips"]), (Some(0), &done["clips"]), "{again}");
    let tagged = cut(&desk, &["--sheet", &sheet]).json();
    assert_eq!(tagged["new_clips"], 0, "{tagged}");
    assert!(tagged["matched"].as_u64().unwrap() >= 3, "{tagged}");

    // A third camera comes later: the woven film's two are known from the library and stay what they are.
    let roof = game().join("sideline.mp4").display().to_string();
    let third = cut(&desk, &["--camera", "roof", &roof]).json();
    assert_eq!(third["cameras"], serde_json::json!(["sideline", "end-zone", "roof"]), "{third}");
    let of_woven = |angle: &str| {
        let found = desk.run(&["plays", "--json"]).json();
        let clips = found["plays"].as_array().unwrap().iter().flat_map(|p| p["clips"].as_array().unwrap().clone());
        clips.filter(|c| c["angle"] == angle).count()
    };
    assert_eq!(of_woven("sideline") + of_woven("end-zone"), done["clips"].as_u64().unwrap() as usize);

    // The film is both cameras' together: it is not also one camera's alone.
    let [what, _, next] = cut(&desk, &["--camera", "tower", &film]).error();
    assert!(what.contains("same film") && !next.is_empty(), "{what}");
}

#[test]
fn a_film_of_one_camera_given_as_woven_is_cut_whole_and_told() {
    let desk = Desk::new();
    let film = game().join("sideline.mp4").display().to_string();
    let said = cut(&desk, &["--woven", &film]);
    let done = said.json();
    assert_eq!((said.code, &done["cameras"]), (0, &serde_json::json!(["woven"])), "{done} {}", said.err);
    assert_eq!(done["clips"], 5, "{done}");
    let problems = done["problems"].as_array().unwrap();
    let told = problems.iter().any(|p| p["what"].as_str().unwrap().contains("run again with --sideline"));
    assert!(told, "{done}");
    let [what, ..] = cut(&desk, &["--woven", &film, "--camera", "end zone", &film]).error();
    assert!(what.contains("beside a woven film"), "{what}");
}
