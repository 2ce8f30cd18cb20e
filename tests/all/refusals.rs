//! Bad input on the real binary: a clear error with the next step, sources untouched, nothing half-written.

use std::fs;
use std::process::Command;

use crate::desk::{Desk, copy, game, told};
use crate::films::made;

#[test]
fn what_cannot_be_cut_is_refused_with_the_next_step_and_makes_no_game() {
    let desk = Desk::new();
    fs::write(desk.at("notes.mp4"), "these are notes, not film\n".repeat(500)).unwrap();
    fs::create_dir_all(desk.at("cards")).unwrap();
    fs::write(desk.at("cards/list.txt"), "x").unwrap();
    fs::write(desk.at("mood.csv"), "Mood,Weather\ngood,rain\n").unwrap();
    fs::write(desk.at("bare.csv"), "Down,Dist\n").unwrap();
    for (args, what, place, next) in [
        (&["--sheet", "TAGS"][..], "no film is named", "Badgers", "--sideline FILM"),
        (&["--sideline", "absent.mp4"], "absent.mp4", "absent.mp4", "path"),
        (&["--sideline", "notes.mp4"], "notes.mp4", "notes.mp4", ""),
        (&["--sideline", "cards"], "film", "cards", ""),
        (&["--sideline", "SIDELINE", "--sheet", "mood.csv"], "column", "mood.csv", ""),
        (&["--sideline", "SIDELINE", "--sheet", "bare.csv"], "no play below", "bare.csv", ""),
        (&["--sideline", "SIDELINE", "--end-zone", "SIDELINE"], "same film", "sideline.mp4", "own files"),
        (&["--sideline", "SIDELINE", "--camera", "Sideline", "END"], "named twice", "end-zone.mp4", "one flag"),
        (&["--sideline", "SIDELINE", "--date", "2026-13-11"], "no day", "2026-13-11", "2026-09-11"),
        (&["--sideline"], "--sideline", "", "--help"),
    ] {
        let said = desk.cut(args);
        let [said_what, said_where, said_next] = said.error();
        let whole = format!("{said_what}: {said_where}");
        assert!(whole.contains(what) && said_where.contains(place), "{args:?}: {whole}");
        assert!(said_next.contains(next) && !said_next.is_empty(), "{args:?}: {said_next}");
        assert!(said.err.contains("problem") && said.err.contains("next:"), "{args:?}: {}", said.err);
        assert!(!desk.library().join("clips/Badgers").exists());
    }
    let empty = desk.run(&["plays", "--json"]);
    assert_eq!((empty.code, empty.json()["count"].as_u64()), (1, Some(0)), "{}", empty.err);
    assert!(empty.err.contains("the library is empty"), "{}", empty.err);
}

#[test]
fn film_without_plays_is_told_and_put_nowhere() {
    let desk = Desk::new();
    // Half a second of a bar code: no field, no men.
    let film = made("short.mp4", &["marked", "--out", "OUT", "--frames", "15", "--size", "320x180"]);
    let said = desk.cut(&["--sideline", film.to_str().unwrap()]);
    assert_eq!((said.code, said.json()["plays"].as_u64()), (1, Some(0)), "{}", said.err);
    assert!(said.err.contains("no play was found") && said.err.contains("next:"), "{}", said.err);
    assert_eq!(fs::read_dir(desk.library().join("clips")).unwrap().count(), 0);
}

#[test]
fn a_film_that_changed_under_its_name_is_refused_unless_replaced() {
    let desk = Desk::with_game();
    let [what, place, next] = desk.cut(&["--sideline", "END"]).error();
    assert!(what.contains("already has another film") && place.contains("end-zone.mp4"), "{what}: {place}");
    assert!(next.contains("--replace"), "{next}");
    let [what, ..] = desk.cut(&["--camera", "roof", "SIDELINE"]).error();
    assert!(what.contains("same film"), "{what}");
    // Replaced, the camera shows the new film, and nothing of the old one.
    let lone = Desk::new();
    assert_eq!(lone.cut(&["--sideline", "SIDELINE"]).code, 0);
    let replaced = lone.cut(&["--sideline", "END", "--replace"]);
    assert_eq!((replaced.code, replaced.json()["new_clips"].as_u64()), (0, Some(5)), "{}", replaced.err);
    for play in lone.run(&["plays", "--json"]).json()["plays"].as_array().unwrap() {
        let parts = play["clips"][0]["parts"].as_array().unwrap();
        assert!(parts[0].as_str().unwrap().ends_with("end-zone.mp4"), "{play}");
    }
    // Films that were mixed up are changed over in one command.
    let over = lone.cut(&["--sideline", "SIDELINE", "--end-zone", "END", "--replace"]);
    assert_eq!((over.code, over.json()["new_clips"].as_u64()), (0, Some(10)), "{}", over.err);
    let [what, ..] = told(
        desk.command()
            .args(["cut", "--json", "--game", "badgers", "--date", "2026-09-12"])
            .args(["--sideline", game().join("sideline.mp4").to_str().unwrap()]),
    )
    .error();
    assert!(what.contains("2026-09-11"), "{what}");
}

#[test]
fn a_phrase_that_cannot_be_read_is_pointed_at() {
    let desk = Desk::with_game();
    let said = desk.run(&["plays", "third and shrt vs one-high"]);
    assert_eq!(said.code, 2);
    assert!(said.err.contains("third and shrt vs one-high\n") && said.err.contains("^^^^"), "{}", said.err);
    assert!(said.err.contains("\"short\""), "{}", said.err);
    let none = desk.run(&["plays", "fourth", "--json"]);
    assert_eq!((none.code, none.json()["count"].as_u64()), (1, Some(0)));
    let none = desk.run(&["cutup", "fourth", "--out", "r.mp4"]);
    assert_eq!(none.code, 1, "{}", none.err);
    assert!(none.err.contains("no play fits") && !desk.at("r.mp4").exists(), "{}", none.err);
}

#[test]
fn a_reel_is_never_written_over_a_film_or_a_clip() {
    let desk = Desk::new();
    let film = desk.at("sideline.mp4");
    fs::copy(game().join("sideline.mp4"), &film).unwrap();
    let said = desk.cut(&["--sideline", "sideline.mp4"]);
    assert_eq!(said.code, 0, "{}", said.err);
    let clip = desk.library().join("clips/Badgers/sideline/001.mp4");
    // Film that the library has never seen.
    fs::copy(game().join("end-zone.mp4"), desk.at("next-week.mp4")).unwrap();
    for (out, part) in [
        ("sideline.mp4", "no reel of downbox"),
        ("next-week.mp4", "no reel of downbox"),
        (clip.to_str().unwrap(), "over a clip"),
        ("reel.mov", "MP4"),
        ("reel", "MP4"),
    ] {
        let before = (fs::read(&film).unwrap().len(), fs::read(&clip).unwrap().len());
        let [what, ..] = desk.run(&["cutup", "all", "--out", out, "--json"]).error();
        assert!(what.contains(part), "{out}: {what}");
        assert_eq!(before, (fs::read(&film).unwrap().len(), fs::read(&clip).unwrap().len()));
    }
    // A reel may be made again under its name.
    for _ in 0..2 {
        let said = desk.run(&["cutup", "play 1", "--out", "again.mp4"]);
        assert_eq!(said.code, 0, "{}", said.err);
    }
    let none = desk.run(&["cutup", "all", "--out", "r.mp4", "--angle", "end-zone", "--json"]);
    assert_eq!((none.code, none.json()["left_out"].as_array().unwrap().len()), (1, 5), "{}", none.err);
    let [what, _, next] = desk.run(&["cutup", "all", "--out", "r.mp4", "--angle", "roof", "--json"]).error();
    assert!(what.contains("angle") && next.contains("sideline"), "{what}: {next}");
    let [what, ..] = desk.run(&["stills", "--out", "game.jpg", "--json"]).error();
    assert!(what.contains("PNG"), "{what}");
}

#[test]
fn a_library_that_another_process_writes_to_is_named_with_its_holder() {
    let desk = Desk::with_game();
    // The watcher of another terminal, at the moment of writing: the lock is the system's own.
    let lock = fs::OpenOptions::new().write(true).open(desk.library().join("downbox.lock")).unwrap();
    lock.lock().unwrap();
    fs::write(desk.library().join("downbox.lock"), "pid 4711\nhost press-box\ncommand downbox watch\n").unwrap();
    let [what, place, next] = desk.cut(&["--sideline", "SIDELINE"]).error();
    assert!(what.contains("process 4711 on press-box (downbox watch)"), "{what}");
    assert!(place.contains("library") && next.contains("wait"), "{place} {next}");
    // Asking goes on.
    assert_eq!(desk.run(&["plays"]).code, 0);
}

#[test]
fn without_a_library_the_question_says_how_to_make_one() {
    let desk = Desk::new();
    let said = told(desk.command().env_remove("DOWNBOX_LIBRARY").args(["plays", "--json"]));
    let [what, _, next] = said.error();
    assert!(what.contains("no library") && next.contains("downbox cut"), "{what} {next}");
    let settings = desk.library().join("downbox.toml");
    fs::create_dir_all(desk.library()).unwrap();
    fs::write(&settings, "[clip]\nlead = 2\n").unwrap();
    let [what, ..] = desk.run(&["plays", "--json"]).error();
    assert!(what.contains("downbox.sqlite"), "{what}");
}

#[test]
fn a_full_disk_stops_the_night_with_everything_whole_and_the_same_command_goes_on() {
    let desk = Desk::new();
    let small = desk.at("small");
    fs::create_dir_all(&small).unwrap();
    // A disk of its own for the library, too small for the clips: a real file system in a mount namespace.
    let script = format!(
        "mount -t tmpfs -o size=4m tmpfs '{0}' && \
         \"$0\" cut --json --library '{0}/library' --game Badgers --sideline \"$1\"; code=$?; \
         cp -r '{0}/library' '{1}'; exit $code",
        small.display(),
        desk.at("rescued").display()
    );
    let mut command = Command::new("unshare");
    command.args(["--map-root-user", "--mount", "bash", "-c", &script, env!("CARGO_BIN_EXE_downbox")]);
    command.arg(game().join("sideline.mp4")).env("XDG_CONFIG_HOME", desk.at("none"));
    let said = told(&mut command);
    let [what, place, next] = said.error();
    assert!(next.contains("free some room"), "{what}: {place}: {next}");
    let rescued = desk.at("rescued");
    let clips = |folder: &std::path::Path| -> Vec<std::path::PathBuf> {
        let mut all: Vec<_> = fs::read_dir(folder.join("clips/Badgers/sideline"))
            .map(|entries| entries.map(|e| e.unwrap().path()).collect())
            .unwrap_or_default();
        all.sort();
        all
    };
    let there = clips(&rescued);
    assert!(there.len() < 5, "the disk was large enough: {there:?}");
    for clip in &there {
        assert!(!clip.file_name().unwrap().to_string_lossy().starts_with('.'), "half-written: {}", clip.display());
        assert!(crate::films::count(clip) > 0);
    }
    // On a larger disk the same command finishes, and what was whole is not cut again.
    copy(&rescued, &desk.library());
    let done = desk.cut(&["--sideline", "SIDELINE"]).json();
    assert_eq!(done["clips"], 5, "{done}");
    assert_eq!(done["new_clips"].as_u64().unwrap() as usize, 5 - there.len());
}
