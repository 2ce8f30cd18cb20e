//! kill -9 at moments of a cut and of a mend: the library opens again, is clean, and the same command comes to the same end.

use std::fs;
use std::process::Stdio;
use std::time::{Duration, Instant};

use crate::desk::{Desk, game};

/// Runs a command to its end, or kills it after a while; whether it was killed.
fn killed(desk: &Desk, args: &[&str], after: Duration) -> bool {
    let mut child =
        desk.command().args(args).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    let begun = Instant::now();
    while begun.elapsed() < after {
        if child.try_wait().unwrap().is_some() {
            return false;
        }
        std::thread::park_timeout(Duration::from_millis(1));
    }
    // SIGKILL: nothing of the program runs after it.
    child.kill().unwrap();
    child.wait().unwrap();
    true
}

/// Nothing is damaged, and every file under its final name is as recorded or recorded by nobody.
fn sound(desk: &Desk, when: &str) {
    let said = desk.run(&["check", "--deep", "--json"]);
    assert_eq!(said.code, 0, "{when}: {}{}", said.out, said.err);
    let document = said.json();
    let notes = ["to cut", "unrecorded", "leftover", "measurement stray"];
    for finding in document["findings"].as_array().unwrap() {
        assert!(notes.iter().any(|note| finding["kind"] == *note), "{when}: {finding}");
    }
    for camera in ["sideline", "end-zone"] {
        for entry in fs::read_dir(desk.library().join("clips/Badgers").join(camera)).into_iter().flatten() {
            let path = entry.unwrap().path();
            if !path.file_name().unwrap().to_str().unwrap().starts_with('.') {
                assert!(crate::films::count(&path) > 0, "{when}: {} is half", path.display());
            }
        }
    }
}

#[test]
fn a_cut_and_a_mend_that_are_killed_leave_a_whole_library() {
    let whole = Desk::with_game();
    let side = game().join("sideline.mp4").display().to_string();
    let end = game().join("end-zone.mp4").display().to_string();
    let tags = game().join("tags.csv").display().to_string();
    let cut =
        ["cut", "--game", "Badgers", "--date", "2026-09-11", "--sideline", &side, "--end-zone", &end, "--sheet", &tags];
    // The measurements are there: what is killed is the cutting and the recording.
    let desk = Desk::new();
    fs::create_dir_all(desk.library()).unwrap();
    crate::desk::copy(&whole.library(), &desk.library());
    let want = desk.run(&["plays", "--json"]).out;
    let afresh = |desk: &Desk| {
        for name in ["downbox.sqlite", "downbox.sqlite-wal", "downbox.sqlite-shm"] {
            let _ = fs::remove_file(desk.library().join(name));
        }
        fs::remove_dir_all(desk.library().join("clips")).unwrap();
    };
    afresh(&desk);
    let begun = Instant::now();
    assert_eq!(desk.run(&cut).code, 0);
    let length = begun.elapsed();
    assert_eq!(desk.run(&["plays", "--json"]).out, want);
    let rounds = std::env::var("DOWNBOX_KILLS").ok().and_then(|n| n.parse().ok()).unwrap_or(10u32);
    let (mut kills, mut state) = (0, 0x2545_f491_u64);
    for round in 0..rounds {
        // Moments spread over the run, without a pattern.
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        let share = f64::from((state % 1000) as u32) / 1000.0;
        if round % 2 == 0 {
            afresh(&desk);
            kills += u32::from(killed(&desk, &cut, length.mul_f64(share)));
            if desk.library().join("downbox.sqlite").is_file() {
                sound(&desk, &format!("cut killed at {share}"));
            }
            let said = desk.run(&cut);
            assert_eq!(said.code, 0, "{}", said.err);
        } else {
            let mend = ["mend", "2", "--split-at", "+2", "--camera", "sideline"];
            kills += u32::from(killed(&desk, &mend, length.mul_f64(share / 3.0)));
            sound(&desk, &format!("mend killed at {share}"));
            let labels = desk.run(&["plays", "--json"]).json();
            let split = labels["plays"].as_array().unwrap().iter().any(|play| play["label"] == "2a");
            if split {
                assert_eq!(desk.run(&["mend", "2", "--undo"]).code, 0);
            }
            assert_eq!(desk.run(&["plays", "--json"]).out, want, "taken back");
            // A label is never given twice: the next split is to find the library as it was.
            afresh(&desk);
            crate::desk::copy(&whole.library(), &desk.library());
        }
        assert_eq!(desk.run(&["plays", "--json"]).out, want, "the same command comes to the same end");
        sound(&desk, "done");
    }
    println!("{kills} of {rounds} runs were killed before their end");
    assert!(kills > 0, "{kills} of {rounds}");
}
