//! `downbox mend`: corrections outlive every later cut, keep what stood before, and are taken back.

use std::fs;

use rusqlite::Connection;
use serde_json::Value;

use crate::desk::{Desk, Said};

fn plays(desk: &Desk) -> Vec<Value> {
    desk.run(&["plays", "--json"]).json()["plays"].as_array().unwrap().clone()
}

fn labels(desk: &Desk) -> Vec<String> {
    plays(desk).iter().map(|play| play["label"].as_str().unwrap().to_string()).collect()
}

fn play(desk: &Desk, label: &str) -> Value {
    plays(desk).into_iter().find(|play| play["label"] == label).unwrap()
}

fn done(desk: &Desk, args: &[&str]) -> Said {
    let said = desk.run(&[&["mend"], args, &["--json"]].concat());
    assert_eq!(said.code, 0, "{args:?}: {}{}", said.out, said.err);
    said
}

fn cut_again(desk: &Desk) {
    let said = desk.cut(&["--sideline", "SIDELINE", "--end-zone", "END", "--sheet", "TAGS"]);
    assert_eq!(said.code, 0, "{}", said.err);
}

fn clean(desk: &Desk) {
    let said = desk.run(&["check", "--deep", "--json"]);
    assert_eq!((said.code, said.json()["findings"].as_array().unwrap().len()), (0, 0), "{}", said.out);
}

/// The frames of a play's clip from a camera.
fn span(desk: &Desk, label: &str, camera: &str) -> (u64, u64) {
    let play = play(desk, label);
    let clip = play["clips"].as_array().unwrap().iter().find(|clip| clip["angle"] == camera).unwrap().clone();
    (clip["film_start"].as_u64().unwrap(), clip["film_end"].as_u64().unwrap())
}

fn sideline(desk: &Desk, label: &str) -> Value {
    play(desk, label)["clips"].as_array().unwrap().iter().find(|clip| clip["angle"] == "sideline").unwrap().clone()
}

#[test]
fn a_tag_and_a_snap_are_changed_outlive_a_cut_and_are_taken_back() {
    let desk = Desk::with_game();
    let before = plays(&desk);
    let said = done(&desk, &["4", "--set", "down=2", "grade=A plus"]);
    assert!(said.json()["done"][0].as_str().unwrap().starts_with("down: 2, before "), "{}", said.out);
    done(&desk, &["4", "--unset", "formation"]);
    let old = sideline(&desk, "4")["snap"].as_u64().unwrap();
    let told = format!("{}f", old + 9);
    done(&desk, &["4", "--snap", &told, "--camera", "sideline"]);
    let holds = || {
        let play = play(&desk, "4");
        assert_eq!((&play["tags"]["down"], &play["tags"]["grade"]), (&Value::from(2), &Value::from("A plus")));
        assert_eq!(play["tags"]["formation"], Value::Null);
        assert_eq!(sideline(&desk, "4")["snap"].as_u64(), Some(old + 9));
        clean(&desk);
    };
    holds();
    cut_again(&desk);
    holds();
    let history = desk.run(&["mend", "4", "--history", "--json"]).json();
    let subjects: Vec<_> = history["mends"].as_array().unwrap().iter().map(|m| m["what"].as_str().unwrap()).collect();
    assert_eq!(subjects, ["down", "grade", "formation", "snap sideline"]);
    for _ in 0..4 {
        done(&desk, &["4", "--undo"]);
    }
    assert_eq!(plays(&desk), before);
    assert!(desk.run(&["mend", "4", "--undo", "--json"]).error()[0].contains("nothing of play 4"));
    let history = desk.run(&["mend", "--history", "--json"]).json();
    assert!(history["mends"].as_array().unwrap().iter().all(|m| m["undone"] == true), "{history}");
}

#[test]
fn what_cannot_be_is_refused_and_changes_nothing() {
    let desk = Desk::with_game();
    let before = plays(&desk);
    for (args, what) in [
        (&["4", "--set", "grade=B", "down=7"][..], "the value of down"),
        (&["4", "--set", "down"], "by its name and value"),
        (&["4", "--snap", "+2"], "which camera"),
        (&["4", "--snap", "noon", "--camera", "sideline"], "the time"),
        (&["4", "--snap", "1f", "--camera", "sideline"], "lies outside play 4"),
        (&["4", "--snap", "+2", "--camera", "roof"], "does not show play 4"),
        (&["4", "--split-at", "99:00", "--camera", "sideline"], "behind the film's end"),
        (&["4", "--join", "2"], "does not come right after"),
        (&["4", "--pair", "4", "--camera", "sideline"], "nothing of the sideline camera"),
        (&["4", "--from", "+3", "--to", "+1", "--camera", "sideline"], "nothing would be left"),
        (&["4", "--from", "+3"], "which camera"),
        (&["99", "--drop"], "has no play 99"),
        (&["4"], "is not said"),
    ] {
        let [said, _, next] = desk.run(&[&["mend"], args, &["--json"]].concat()).error();
        assert!(said.contains(what) && !next.is_empty(), "{args:?}: {said}; {next}");
    }
    assert_eq!(plays(&desk), before);
}

#[test]
fn a_play_is_dropped_split_joined_and_added_and_labels_never_shift() {
    let desk = Desk::with_game();
    let before = plays(&desk);
    done(&desk, &["3", "--drop"]);
    assert_eq!(labels(&desk), ["1", "2", "4", "5"]);
    cut_again(&desk);
    assert_eq!(labels(&desk), ["1", "2", "4", "5"], "dropped, it stays dropped");
    done(&desk, &["3", "--undo"]);
    assert_eq!(plays(&desk), before);

    let whole = span(&desk, "2", "sideline");
    let said = done(&desk, &["2", "--split-at", &format!("{}f", whole.0 + 60), "--camera", "sideline"]);
    assert!(said.json()["clips_cut"].as_u64().unwrap() >= 2, "{}", said.out);
    let split = |desk: &Desk| {
        assert_eq!(labels(desk), ["1", "2", "2a", "3", "4", "5"]);
        assert_eq!(span(desk, "2", "sideline"), (whole.0, whole.0 + 60));
        assert_eq!(span(desk, "2a", "sideline"), (whole.0 + 60, whole.1));
        clean(desk);
    };
    split(&desk);
    cut_again(&desk);
    split(&desk);
    let taken = desk.run(&["mend", "2a", "--drop"]);
    assert_eq!(taken.code, 0, "{}", taken.err);
    assert!(desk.run(&["mend", "2", "--undo", "--json"]).error()[2].contains("mend 2a --undo"));
    done(&desk, &["2a", "--undo"]);
    done(&desk, &["2", "--undo"]);
    assert_eq!(plays(&desk), before);
    clean(&desk);

    let (first, second) = (span(&desk, "4", "sideline"), span(&desk, "5", "sideline"));
    let snaps = |label: &str| -> Vec<Value> {
        play(&desk, label)["clips"].as_array().unwrap().iter().map(|clip| clip["snap"].clone()).collect()
    };
    let snaps_of_4 = snaps("4");
    done(&desk, &["4", "--join", "5"]);
    let joined = |desk: &Desk| {
        assert_eq!(labels(desk), ["1", "2", "3", "4"]);
        assert_eq!(span(desk, "4", "sideline"), (first.0, second.1));
        assert_eq!(snaps("4"), snaps_of_4, "of two plays joined the first is snapped");
        clean(desk);
    };
    joined(&desk);
    cut_again(&desk);
    joined(&desk);
    done(&desk, &["4", "--undo"]);
    assert_eq!(plays(&desk), before);

    let span_of_1 = span(&desk, "1", "sideline");
    done(&desk, &["1", "--drop"]);
    let to = format!("{}f", span_of_1.1 - 5);
    let said =
        done(&desk, &["--add", "--from", &format!("{}f", span_of_1.0 + 10), "--to", &to, "--camera", "sideline"]);
    assert_eq!(said.json()["label"], "0a", "a label is given once");
    assert_eq!(labels(&desk), ["0a", "2", "3", "4", "5"]);
    clean(&desk);
}

#[test]
fn a_camera_is_paired_anew_taken_apart_and_told_where_a_play_begins() {
    let desk = Desk::with_game();
    let before = plays(&desk);
    let (of_2, of_3) = (span(&desk, "2", "end-zone"), span(&desk, "3", "end-zone"));
    let snap = |label: &str, at: usize| play(&desk, label)["clips"][at]["snap"].clone();
    let snap_of_3 = snap("3", 1);
    let said = done(&desk, &["2", "--pair", "3", "--camera", "end-zone"]);
    assert_eq!(said.json()["clips_cut"], 2, "{}", said.out);
    let exchanged = || {
        assert_eq!((span(&desk, "2", "end-zone"), span(&desk, "3", "end-zone")), (of_3, of_2));
        assert_eq!(snap("2", 1), snap_of_3, "the moments go with the film");
        clean(&desk);
    };
    exchanged();
    cut_again(&desk);
    exchanged();
    done(&desk, &["3", "--undo"]);
    assert_eq!(plays(&desk), before);
    clean(&desk);

    done(&desk, &["2", "--pair", "none", "--camera", "end-zone"]);
    let apart = || {
        assert!(labels(&desk).contains(&"2a".to_string()), "{:?}", labels(&desk));
        assert_eq!(span(&desk, "2a", "end-zone"), of_2);
        assert_eq!(play(&desk, "2")["clips"].as_array().unwrap().len(), 1);
        let said = desk.run(&["check", "--deep", "--json"]);
        let found = said.json()["findings"].clone();
        // The clip of the play as it was stays on the disk.
        assert_eq!(
            (said.code, found.as_array().unwrap().len(), &found[0]["kind"]),
            (0, 1, &"unrecorded".into()),
            "{found}"
        );
    };
    apart();
    cut_again(&desk);
    apart();
    let [what, ..] = desk.run(&["mend", "2a", "--pair", "none", "--camera", "end-zone", "--json"]).error();
    assert!(what.contains("alone shows it"), "{what}");
    done(&desk, &["2", "--undo"]);
    assert_eq!(plays(&desk), before);

    let (start, end) = span(&desk, "4", "sideline");
    done(&desk, &["4", "--camera", "sideline", "--from", "-0.5", "--to", &format!("{}f", end - 7)]);
    let stretched = || {
        let (now, to) = span(&desk, "4", "sideline");
        assert!((10..=20).contains(&(start - now)) && to == end - 7, "half a second of 30 frames: {start} {now} {to}");
        clean(&desk);
    };
    stretched();
    cut_again(&desk);
    stretched();
    done(&desk, &["4", "--undo"]);
    assert_eq!(plays(&desk), before);
    clean(&desk);
}

#[test]
fn without_the_film_clips_are_cut_within_clips() {
    let desk = Desk::with_game();
    let db = Connection::open(desk.library().join("downbox.sqlite")).unwrap();
    db.execute_batch("UPDATE parts SET path = '/nowhere/at all/' || film || '.mp4'").unwrap();
    drop(db);
    let sound = || {
        let said = desk.run(&["check", "--deep", "--json"]);
        let document = said.json();
        let kinds = document["findings"].as_array().unwrap().iter().map(|f| f["kind"].clone());
        assert!(said.code == 0 && kinds.into_iter().all(|kind| kind == "film gone"), "{document}");
    };
    let whole = span(&desk, "2", "sideline");
    let clip = |label: &str| desk.library().join(format!("clips/Badgers/sideline/{label}.mp4"));
    let frames = crate::films::frame_sums(&clip("002"));
    done(&desk, &["2", "--split-at", &format!("{}f", whole.0 + 60), "--camera", "sideline"]);
    assert_eq!(span(&desk, "2", "sideline"), (whole.0, whole.0 + 60));
    assert_eq!(crate::films::count(&clip("002a")), whole.1 - whole.0 - 60);
    assert_eq!(crate::films::count(&clip("002")), 60);
    sound();
    // Joined again every frame is there.
    done(&desk, &["2", "--undo"]);
    assert_eq!(span(&desk, "2", "sideline"), whole);
    assert_eq!(crate::films::count(&clip("002")), frames.len() as u64);
    sound();
    assert!(fs::metadata(clip("002a")).is_ok(), "a clip out of use stays on the disk");
}
