//! Ctrl-C on the real binary: it stops, says what is kept, and the same command comes to the same end.

use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::process::{Command, Stdio};

use serde_json::Value;

use crate::desk::{Desk, Said, game, told};

/// Runs a command and sends it a signal once it says that it measures.
fn stopped(command: &mut Command, signal: &str) -> Said {
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut err = BufReader::new(child.stderr.take().unwrap());
    let mut said = String::new();
    while !said.lines().any(|line| line.starts_with("measure")) {
        assert!(err.read_line(&mut said).unwrap() > 0, "it ended without measuring: {said}");
    }
    let killed = Command::new("kill").args([signal, &child.id().to_string()]).status().unwrap();
    assert!(killed.success());
    err.read_to_string(&mut said).unwrap();
    let done = child.wait_with_output().unwrap();
    Said { code: done.status.code().unwrap_or(-1), out: String::from_utf8(done.stdout).unwrap(), err: said }
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten();
    let mut names: Vec<String> = entries.map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

/// What was found, without how long it took.
fn found(said: &Said) -> Value {
    assert_eq!(said.code, 0, "{}", said.err);
    let mut document = said.json();
    document["films"][0]["speed"].take();
    document
}

fn scan(desk: &Desk, more: &[&str]) -> Command {
    let mut command = desk.command();
    command.env("XDG_CACHE_HOME", desk.at("cache"));
    command.args(["scan", game().join("end-zone.mp4").to_str().unwrap(), "--json"]).args(more);
    command
}

#[test]
fn a_scan_that_is_stopped_goes_on_to_the_same_end() {
    let desk = Desk::new();
    let cache = desk.at("cache/downbox/series");
    for signal in ["-INT", "-TERM"] {
        let said = stopped(&mut scan(&desk, &[]), signal);
        assert_eq!(said.code, 130, "{}", said.err);
        assert!(said.err.contains("stopping: what is measured is kept"), "{}", said.err);
        let document = said.json();
        assert!(document["error"]["what"].as_str().unwrap().contains("stopped while measuring"), "{document}");
        assert!(document["error"]["next"].as_str().unwrap().contains("same command"), "{document}");
        let kept = names(&cache);
        assert!(kept.len() == 1 && kept[0].ends_with("-unfinished.json"), "{kept:?}");
    }
    let whole = found(&told(&mut scan(&desk, &[])));
    let kept = names(&cache);
    assert!(kept.len() == 1 && !kept[0].contains("unfinished"), "{kept:?}");

    let other = Desk::new();
    assert_eq!(whole, found(&told(&mut scan(&other, &[]))), "as if it had not been stopped");
    assert!(
        fs::read(cache.join(&kept[0])).unwrap() == fs::read(other.at("cache/downbox/series").join(&kept[0])).unwrap(),
        "the measurement is the same to the last byte"
    );
    // Kept: nothing is measured again, unless asked for.
    let again = told(&mut scan(&desk, &[]));
    assert!(!again.err.contains("measure"), "{}", again.err);
    assert_eq!(found(&again), whole);
    let fresh = told(&mut scan(&desk, &["--fresh"]));
    assert!(fresh.err.contains("measure"), "{}", fresh.err);
    assert_eq!(found(&fresh), whole);
    // Without progress, and a cache that cannot be made: a note, and the same answer.
    fs::write(desk.at("file"), "").unwrap();
    let said = told(scan(&desk, &["--quiet"]).env("XDG_CACHE_HOME", desk.at("file")));
    assert!(said.err.contains("is not kept") && !said.err.contains("of film"), "{}", said.err);
    assert_eq!(found(&said), whole);
}

#[test]
fn a_cut_that_is_stopped_goes_on_to_the_same_end() {
    let desk = Desk::new();
    let mut command = desk.command();
    command.args(["cut", "--game", "Badgers", "--date", "2026-09-11", "--json"]);
    command.args(["--end-zone", game().join("end-zone.mp4").to_str().unwrap()]);
    let said = stopped(&mut command, "-INT");
    assert_eq!(said.code, 130, "{}", said.err);
    assert!(said.err.contains("measured and cut is kept"), "{}", said.err);
    let series = desk.library().join("series");
    assert!(names(&series).iter().any(|name| name.ends_with("-unfinished.json")), "{:?}", names(&series));
    assert_eq!(names(&desk.library().join("clips")), Vec::<String>::new());

    let done = |desk: &Desk| {
        let said = desk.cut(&["--end-zone", "END"]);
        assert_eq!(said.code, 0, "{}", said.err);
        let mut document = said.json();
        document["library"].take();
        document
    };
    let other = Desk::new();
    assert_eq!(done(&desk), done(&other));
    assert!(!names(&series).iter().any(|name| name.contains("unfinished")), "{:?}", names(&series));
    let clips = |desk: &Desk| desk.library().join("clips/Badgers/end-zone");
    assert_eq!(names(&clips(&desk)), names(&clips(&other)));
    for name in names(&clips(&desk)) {
        assert!(fs::read(clips(&desk).join(&name)).unwrap() == fs::read(clips(&other).join(&name)).unwrap(), "{name}");
    }
}
