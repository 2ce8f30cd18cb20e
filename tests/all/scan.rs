//! `downbox scan` on the real binary: JSON, exit codes, errors with a next step.

use std::process::Command;

use crate::films::made;

fn scan(args: &[&str]) -> (i32, String, String) {
    let folder = tempfile::tempdir().unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_downbox"));
    // Nothing is left in the user's own folders.
    let done = command.env("XDG_CACHE_HOME", folder.path()).arg("scan").args(args).output().unwrap();
    let text = |b: Vec<u8>| String::from_utf8(b).unwrap();
    (done.status.code().unwrap(), text(done.stdout), text(done.stderr))
}

#[test]
fn a_film_is_told_in_one_json_document() {
    let film = made("scan.mp4", &["marked", "--out", "OUT", "--frames", "90", "--size", "320x180"]);
    let (code, out, _) = scan(&[film.to_str().unwrap(), "--json", "--angle", "sideline"]);
    let document: serde_json::Value = serde_json::from_str(&out).unwrap();
    let found = &document["films"][0];
    assert_eq!(found["frames"], 90);
    assert_eq!(found["frame_rate"], "30/1");
    assert_eq!(found["parts"][0]["frames"], 90);
    assert_eq!(found["shots"][0]["start"], 0);
    assert_eq!(found["shots"].as_array().unwrap().last().unwrap()["end"], 90);
    let plays = found["plays"].as_array().unwrap();
    assert_eq!(code, i32::from(plays.is_empty()));
}

#[test]
fn what_is_no_film_is_refused_with_the_next_step() {
    let folder = tempfile::tempdir().unwrap();
    let (code, out, err) = scan(&[folder.path().to_str().unwrap(), "--json"]);
    assert_eq!(code, 2);
    let document: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert!(!document["error"]["next"].as_str().unwrap().is_empty());
    assert!(err.contains("problem"), "{err}");
    let (code, _, err) = scan(&["absent.mp4"]);
    assert_eq!(code, 2);
    assert!(err.contains("absent.mp4") && err.contains("next:"), "{err}");
    assert_eq!(scan(&[]).0, 2);
}
