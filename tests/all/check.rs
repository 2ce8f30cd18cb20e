//! `downbox check`: a library is broken in many ways; each is found, named, mended where it can be, and nothing else is
//! lost by it.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use rusqlite::Connection;
use serde_json::Value;

use crate::desk::{Desk, Said, copy, game};

fn clip(desk: &Desk) -> PathBuf {
    desk.library().join("clips/Badgers/sideline/002.mp4")
}

fn sql(desk: &Desk, words: &str) {
    let db = Connection::open(desk.library().join("downbox.sqlite")).unwrap();
    db.pragma_update(None, "foreign_keys", false).unwrap();
    db.execute_batch(words).unwrap();
}

/// The series file whose name ends so.
fn series(desk: &Desk, ending: &str) -> PathBuf {
    let mut files: Vec<PathBuf> =
        fs::read_dir(desk.library().join("series")).unwrap().map(|e| e.unwrap().path()).collect();
    files.sort();
    let measured = |p: &PathBuf| p.to_string_lossy().ends_with(ending) && (ending != ".json" || !is_memory(p));
    files.into_iter().find(measured).unwrap()
}

fn is_memory(path: &Path) -> bool {
    path.to_string_lossy().ends_with("-film.json")
}

fn flip(path: &Path, at: usize) {
    let mut bytes = fs::read(path).unwrap();
    bytes[at] ^= 0x55;
    fs::write(path, bytes).unwrap();
}

/// What a person has of the library: clips by path with their content, and all that is known of the plays.
fn held(desk: &Desk) -> (BTreeMap<PathBuf, String>, Value) {
    let mut clips = BTreeMap::new();
    for camera in ["sideline", "end-zone"] {
        let folder = desk.library().join("clips/Badgers").join(camera);
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_file() {
                clips.insert(path.strip_prefix(desk.library()).unwrap().into(), content(&path));
            }
        }
    }
    let mut plays = desk.run(&["plays", "--json"]).json()["plays"].clone();
    for play in plays.as_array_mut().unwrap() {
        for clip in play["clips"].as_array_mut().unwrap() {
            // Where the film's files lie is what some ways change.
            clip["parts"].take();
        }
    }
    (clips, plays)
}

fn content(path: &Path) -> String {
    blake3::hash(&fs::read(path).unwrap()).to_hex().to_string()
}

fn kinds(said: &Said) -> Vec<(String, bool, bool)> {
    let text = |f: &Value, key: &str| f[key].as_str().unwrap().to_string();
    let document = said.json();
    let findings = document["findings"].as_array().unwrap_or_else(|| panic!("{document}"));
    for finding in findings {
        assert!(!text(finding, "what").is_empty() && !text(finding, "next").is_empty(), "{finding}");
        assert!(!text(finding, "where").is_empty(), "{finding}");
    }
    findings.iter().map(|f| (text(f, "kind"), f["damage"].as_bool().unwrap(), f["mended"].as_bool().unwrap())).collect()
}

/// One way to break a library.
struct Way {
    /// How.
    how: fn(&Desk),
    /// The kind it is found as.
    kind: &'static str,
    /// Whether only a deep check sees it.
    deep: bool,
    /// Whether it is damage, and not a note.
    damage: bool,
    /// Whether the repair mends it.
    mended: bool,
}

const fn way(how: fn(&Desk), kind: &'static str) -> Way {
    Way { how, kind, deep: false, damage: true, mended: true }
}

const WAYS: &[Way] = &[
    way(|d| fs::remove_file(clip(d)).unwrap(), "clip missing"),
    way(|d| fs::rename(clip(d), clip(d).with_file_name("my favorite.mp4")).unwrap(), "clip missing"),
    way(
        |d| {
            let bytes = fs::read(clip(d)).unwrap();
            fs::write(clip(d), &bytes[..bytes.len() / 2]).unwrap();
        },
        "clip length",
    ),
    way(
        |d| {
            let length = fs::metadata(clip(d)).unwrap().len();
            fs::write(clip(d), vec![0; length as usize]).unwrap();
        },
        "clip broken",
    ),
    Way {
        deep: true,
        ..way(
            |d| {
                let length = fs::metadata(clip(d)).unwrap().len();
                flip(&clip(d), length as usize / 2);
            },
            "clip changed",
        )
    },
    way(
        |d| {
            fs::remove_file(clip(d)).unwrap();
            fs::create_dir(clip(d)).unwrap();
        },
        "clip unreadable",
    ),
    way(|d| sql(d, "UPDATE clips SET frames = frames + 1 WHERE path LIKE '%sideline/002%'"), "clip record"),
    way(|d| sql(d, "UPDATE clips SET path = '../002.mp4' WHERE path LIKE '%sideline/002%'"), "clip record"),
    Way {
        deep: true,
        ..way(|d| sql(d, "UPDATE clips SET hash = 'ab' WHERE path LIKE '%sideline/002%'"), "clip changed")
    },
    Way { damage: false, ..way(|d| sql(d, "DELETE FROM clips WHERE path LIKE '%sideline/002%'"), "to cut") },
    way(|d| fs::write(clip(d).with_file_name("holiday.mp4"), "not ours").unwrap(), "orphan"),
    // No process has a number above the system's limit of 4194304 (proc(5), pid_max).
    Way {
        damage: false,
        ..way(|d| fs::write(clip(d).with_file_name(".4194999.pending-002.mp4"), "half").unwrap(), "leftover")
    },
    way(
        |d| {
            let path = series(d, ".json");
            let bytes = fs::read(&path).unwrap();
            fs::write(path, &bytes[..bytes.len() - 9]).unwrap();
        },
        "measurement broken",
    ),
    Way { deep: true, ..way(|d| flip(&series(d, ".json"), 500), "measurement broken") },
    Way {
        damage: false,
        ..way(
            |d| {
                let path = series(d, ".json");
                let (film, _) = path.file_name().unwrap().to_str().unwrap().split_once('-').unwrap();
                fs::copy(&path, path.with_file_name(format!("{film}-v1.json"))).unwrap();
            },
            "measurement stale",
        )
    },
    Way {
        damage: false,
        mended: false,
        ..way(|d| fs::write(d.library().join("series/00ff-v4.json"), "?").unwrap(), "measurement stray")
    },
    way(|d| fs::remove_file(series(d, "-film.json")).unwrap(), "film memory"),
    way(|d| fs::write(series(d, "-film.json"), "?").unwrap(), "film memory"),
    way(
        |d| {
            let lies = game().join("sideline.mp4");
            let lay = game().parent().unwrap().join("card/sideline.mp4");
            let set = format!("UPDATE parts SET path = '{}' WHERE path = '{}'", lay.display(), lies.display());
            sql(d, &set);
        },
        "film moved",
    ),
    Way {
        damage: false,
        mended: false,
        ..way(|d| sql(d, "UPDATE parts SET path = '/nowhere/at all/' || film || '.mp4'"), "film gone")
    },
    Way {
        mended: false,
        ..way(
            |d| {
                fs::create_dir_all(d.at("a/b")).unwrap();
                fs::write(d.at("a/b/side.mp4"), "another").unwrap();
                sql(d, &format!("UPDATE parts SET path = '{}' WHERE film = 1", d.at("a/b/side.mp4").display()));
            },
            "film changed",
        )
    },
    way(|d| sql(d, "UPDATE plays SET position = position + 1 WHERE position > 2"), "order"),
    way(|d| sql(d, "UPDATE tags SET num = 4 WHERE field = 'down' AND num = 1"), "tags"),
    way(|d| sql(d, "UPDATE tags SET folded = folded || 'x' WHERE folded IS NOT NULL"), "tags"),
    way(|d| sql(d, "DELETE FROM tags WHERE play = 2"), "tags"),
    way(|d| sql(d, "INSERT INTO row_tags VALUES (9999, 0, 'down', 'number', 1, NULL)"), "records"),
];

#[test]
fn a_whole_library_is_clean_and_a_broken_one_is_told_and_mended() {
    let whole = Desk::with_game();
    let clean = whole.run(&["check", "--json", "--deep"]);
    assert_eq!((clean.code, kinds(&clean)), (0, vec![]), "{}", clean.err);
    assert_eq!(clean.json()["clips"], 10);
    let before = held(&whole);
    for (number, way) in WAYS.iter().enumerate() {
        let desk = Desk::new();
        copy(&whole.library(), &desk.library());
        (way.how)(&desk);
        let deep: &[&str] = if way.deep { &["--deep"] } else { &[] };
        if way.deep {
            assert_eq!(desk.run(&["check", "--json"]).code, 0, "{number} {} is seen by a deep look only", way.kind);
        }
        let found = desk.run(&[&["check", "--json"], deep].concat());
        let is = |f: &(String, bool, bool)| f.0 == way.kind && f.1 == way.damage && !f.2;
        assert!(kinds(&found).iter().any(is), "{number} {}: {}", way.kind, found.out);
        assert_eq!(found.code, if way.damage { 2 } else { 0 }, "{number} {}: {}", way.kind, found.out);

        let mended = desk.run(&[&["check", "--json", "--repair"], deep].concat());
        let is = |f: &(String, bool, bool)| f.0 == way.kind && f.2 == way.mended;
        assert!(kinds(&mended).iter().any(is), "{number} {}: {}{}", way.kind, mended.out, mended.err);
        let again = desk.run(&[&["check", "--json"], deep].concat());
        if way.mended {
            assert_eq!((again.code, kinds(&again)), (0, vec![]), "{number} {}: {}", way.kind, again.out);
        } else {
            assert_eq!(again.code, if way.damage { 2 } else { 0 }, "{number} {}: {}", way.kind, again.out);
        }
        let after = held(&desk);
        assert_eq!(after.0, before.0, "{number} {}: the clips are as they were", way.kind);
        assert_eq!(after.1, before.1, "{number} {}: what is known of the plays is as it was", way.kind);
    }
}

#[test]
fn what_cannot_be_made_again_is_left_and_told() {
    // The film is gone, and a clip with it: the others stay, and so does the record of what was lost.
    let desk = Desk::with_game();
    sql(&desk, "UPDATE parts SET path = '/nowhere/at all/' || film || '.mp4'");
    let bytes = fs::read(clip(&desk)).unwrap();
    fs::write(clip(&desk), &bytes[..9000]).unwrap();
    let said = desk.run(&["check", "--repair", "--json"]);
    assert_eq!(said.code, 2, "{}", said.out);
    let found = kinds(&said);
    assert!(found.contains(&("clip length".into(), true, false)), "{found:?}");
    assert_eq!(fs::read(clip(&desk)).unwrap().len(), 9000, "what is left of it stays");
    // Told where films lie now, it is whole again.
    let films = game();
    let said = desk.run(&["check", "--repair", "--json", "--films", films.to_str().unwrap()]);
    assert_eq!(said.code, 0, "{}{}", said.out, said.err);
    assert!(fs::read(clip(&desk)).unwrap() == bytes);
    let said = desk.run(&["check"]);
    assert!(said.out.ends_with(": clean\n") && said.out.contains("1 game, 10 clips ("), "{}", said.out);
}

#[test]
fn a_file_that_belongs_nowhere_is_moved_and_not_lost() {
    let desk = Desk::with_game();
    for _ in 0..2 {
        fs::write(clip(&desk).with_file_name("holiday.mp4"), "not ours").unwrap();
        assert_eq!(desk.run(&["check", "--repair"]).code, 0);
    }
    let lost = desk.library().join("lost+found/clips/Badgers/sideline");
    for name in ["holiday.mp4", "2-holiday.mp4"] {
        assert_eq!(fs::read_to_string(lost.join(name)).unwrap(), "not ours");
    }
}

#[test]
fn a_database_that_is_none_any_more_is_told_and_left() {
    let desk = Desk::with_game();
    let path = desk.library().join("downbox.sqlite");
    fs::write(&path, vec![7; 40_000]).unwrap();
    for words in [&["check", "--json"][..], &["check", "--repair", "--json"]] {
        let [_, place, next] = desk.run(words).error();
        assert!(place.contains("library") && next.contains("newest copy"), "{place}: {next}");
        assert_eq!(fs::read(&path).unwrap(), vec![7; 40_000]);
    }
}

#[test]
fn a_copy_works_from_its_new_place_and_is_verified() {
    let desk = Desk::with_game();
    let before = held(&desk);
    fs::write(desk.library().join("vocabulary-notes.txt"), "ours").unwrap();
    let to = desk.at("copies/season");
    let to_text = to.to_str().unwrap();
    let said = desk.run(&["check", "--json", "--copy", to_text]);
    assert_eq!((said.code, &said.json()["copy"]["clips"]), (0, &Value::from(10)), "{}", said.err);
    let next = desk.run(&["check", "--copy", to_text, "--json"]).error();
    assert!(next[0].contains("not empty"), "{next:?}");
    let inside = desk.library().join("copy");
    let next = desk.run(&["check", "--copy", inside.to_str().unwrap(), "--json"]).error();
    assert!(next[0].contains("into itself") && !inside.exists(), "{next:?}");

    fs::remove_dir_all(desk.library()).unwrap();
    let moved = Desk::new();
    fs::rename(&to, moved.library()).unwrap();
    assert_eq!(held(&moved), before);
    assert_eq!(fs::read_to_string(moved.library().join("vocabulary-notes.txt")).unwrap(), "ours");
    let said = moved.run(&["check", "--deep", "--json"]);
    assert_eq!((said.code, kinds(&said)), (0, vec![]), "{}", said.out);
    // A clip that is not as recorded has no place in a copy.
    let length = fs::metadata(clip(&moved)).unwrap().len();
    flip(&clip(&moved), length as usize / 2);
    let said = moved.run(&["check", "--json", "--copy", moved.at("second").to_str().unwrap()]);
    assert_eq!(said.code, 2, "{}", said.out);
    assert_eq!(said.json()["copy"]["left_out"][0]["path"], "clips/Badgers/sideline/002.mp4");
    let second = moved.command().env("DOWNBOX_LIBRARY", moved.at("second")).args(["check", "--deep"]).output().unwrap();
    assert_eq!(second.status.code(), Some(0), "{}", String::from_utf8_lossy(&second.stdout));
}

#[test]
fn a_read_only_folder_can_be_checked() {
    use std::os::unix::fs::PermissionsExt;
    let desk = Desk::with_game();
    let locked = |mode: u32| {
        for path in [desk.library(), desk.library().join("downbox.sqlite"), desk.library().join("downbox.lock")] {
            if path.exists() {
                fs::set_permissions(&path, fs::Permissions::from_mode(mode)).unwrap();
            }
        }
    };
    locked(0o555);
    let said = desk.run(&["check", "--json"]);
    locked(0o755);
    assert_eq!((said.code, kinds(&said)), (0, vec![]), "{}", said.out);
}
