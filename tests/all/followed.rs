//! Marks on a made film, held against where the film maker put the turf and the men.

use std::path::PathBuf;

use downbox::base::{FrameNo, FrameSpan, Silent};
use downbox::film::{Decode, FilmReader};
use downbox::media::Media;
use downbox::sense::{carry, follow};

use super::films::{made, run_maker};
use super::places::{self, Places};

/// A play of six seconds and more, pan and zoom in it, and its positions.
fn play() -> (PathBuf, Vec<Option<Places>>, FrameSpan) {
    let flags = ["--seed", "5", "--plays", "1", "--size", "640x360", "--clean"];
    let with = |what: &str, out: &str| {
        [&[what, "--out", out], &flags[..]].concat().iter().map(|s| s.to_string()).collect::<Vec<_>>()
    };
    let game = with("game", "OUT");
    let folder = made("followed", &game.iter().map(String::as_str).collect::<Vec<_>>());
    let truth: serde_json::Value = serde_json::from_slice(&std::fs::read(folder.join("truth.json")).unwrap()).unwrap();
    let told = folder.join("sideline.positions");
    if !told.exists() {
        run_maker(&with("positions", folder.to_str().unwrap()));
    }
    let snap = truth["cameras"][0]["plays"][0]["snap"].as_u64().unwrap();
    (folder.join("sideline.mp4"), places::read(&told).unwrap(), FrameSpan::of(snap - 30, snap + 90))
}

#[test]
fn turf_marks_do_not_creep_and_men_in_the_open_keep_their_marks() {
    let (film, places, span) = play();
    let media = Media::new().unwrap();
    let film = media.read(&[film], &Silent).unwrap();
    let mut frames = media.frames(&film, Decode::Exact, 0).unwrap();
    let at = FrameNo(span.start.0 + 15);
    let carried = carry(&mut *frames, span, at, &mut || Ok(())).unwrap();
    assert_eq!((carried.lost_at(), carried.lost_before()), (None, None));
    let place = |frame: u64| places[frame as usize].as_ref().unwrap();
    let (first, last) = (place(at.0), place(span.end.0 - 1));
    let (mut worst, mut still, mut seen) = (0f64, 0f64, 0);
    for k in 0..100 {
        let mark = (0.05 + 0.1 * f64::from(k % 10), 0.05 + 0.1 * f64::from(k / 10));
        let (x, y) = first.ground(mark.0, mark.1);
        let want = last.seen(x, y);
        let field = (0.0..120.0).contains(&x) && (0.0..53.0).contains(&y);
        if field && (0.0..1.0).contains(&want.0) && (0.0..1.0).contains(&want.1) {
            let got = carried.point(FrameNo(last.frame), mark).unwrap();
            let apart = |a: (f64, f64)| (a.0 - want.0).hypot((a.1 - want.1) * 9.0 / 16.0);
            (worst, still, seen) = (worst.max(apart(got)), still.max(apart(mark)), seen + 1);
        }
    }
    assert!(seen > 20 && worst < 0.004, "{seen} points, off by {worst}");
    assert!(still > 0.05, "the camera hardly moves: {still}");

    // Men of whom no other comes within three yards all the while.
    let men = first.men.len();
    let apart = |p: &Places, a: usize, b: usize| (p.men[a].0 - p.men[b].0).hypot(p.men[a].1 - p.men[b].1);
    let inside = |p: &Places, m: usize| {
        let (feet, _) = p.man(m);
        (0.04..0.96).contains(&feet.0) && (0.15..0.95).contains(&feet.1)
    };
    let alone = |m: usize| {
        (span.start.0..span.end.0)
            .all(|n| inside(place(n), m) && (0..men).all(|o| o == m || apart(place(n), m, o) > 3.0))
    };
    let (mut kept, mut tried) = (0, 0);
    for man in (0..men).filter(|&m| alone(m)).take(6) {
        tried += 1;
        let found = follow(&mut *frames, span, at, first.man(man).0, &carried, &mut || Ok(())).unwrap();
        let off = |&(no, mark): &(FrameNo, (f64, f64))| {
            let (feet, tall) = place(no.0).man(man);
            ((mark.0 - feet.0) * 16.0 / 9.0).hypot(mark.1 - feet.1) / tall
        };
        let whole = found.lost_at.is_none() && found.path.len() as u64 == span.len();
        kept += usize::from(whole && found.path.iter().all(|p| off(p) < 0.5));
    }
    assert!(tried >= 3 && kept + 1 >= tried, "{kept} of {tried} men kept their marks");
}
