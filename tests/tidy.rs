//! Reads the tree for what must not exist: forbidden imports between rooms, over-long files, dead links, a package
//! that is linked or called but not installed.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// What each room may import beside base, football and film. A room that is not here may not exist.
const ROOMS: &[(&str, &[&str])] = &[
    ("base", &[]),
    ("football", &[]),
    ("film", &[]),
    ("media", &[]),
    ("sense", &[]),
    ("plays", &[]),
    ("sheet", &[]),
    ("filter", &[]),
    ("library", &["filter"]),
    ("cut", &[]),
    ("paint", &[]),
    ("reel", &["paint", "filter"]),
    ("report", &["library", "filter", "paint"]),
    ("jobs", &["sense", "plays", "sheet", "filter", "library", "cut", "paint", "reel", "report"]),
    ("watch", &["jobs", "library"]),
    ("daemon", &["watch", "jobs", "library", "plays"]),
    (
        "cli",
        &[
            "sense", "plays", "sheet", "filter", "library", "cut", "paint", "reel", "report", "jobs", "watch",
            "daemon", "media",
        ],
    ),
];

/// The common ground of all rooms.
const COMMON: &[&str] = &["base", "football", "film"];

/// A file longer than this is to be split by what a reader looks for in it.
const MOST_LINES: usize = 600;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn files(under: &Path, ending: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![under.to_path_buf()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).into_iter().flatten().flatten() {
            let path = entry.path();
            let name = entry.file_name().to_string_lossy().into_owned();
            if path.is_dir() {
                if name != "target" && name != ".git" {
                    folders.push(path);
                }
            } else if name.ends_with(ending) {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

fn room_of(path: &Path) -> Option<String> {
    let inside = path.strip_prefix(root().join("src")).ok()?;
    let first = inside.components().next()?.as_os_str().to_string_lossy().into_owned();
    (!first.ends_with(".rs")).then_some(first)
}

/// Names of rooms that `text` reaches by `crate::ROOM` (also in a braced list), comments left out.
fn imports(text: &str) -> BTreeSet<String> {
    let code: String = text
        .lines()
        .map(|l| l.split("//").next().unwrap_or(""))
        .collect::<Vec<_>>()
        .join("\n")
        .replace(char::is_whitespace, "");
    let mut found = BTreeSet::new();
    for (at, _) in code.match_indices("crate::") {
        let rest = &code[at + "crate::".len()..];
        if let Some(list) = rest.strip_prefix('{') {
            let mut depth = 0;
            let mut word = String::new();
            for c in list.chars() {
                match c {
                    '{' => depth += 1,
                    '}' if depth == 0 => break,
                    '}' => depth -= 1,
                    ',' if depth == 0 => {
                        found.insert(std::mem::take(&mut word));
                        continue;
                    }
                    _ => {}
                }
                if depth == 0 {
                    word.push(c);
                }
            }
            found.insert(word);
        } else {
            found.insert(rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect());
        }
    }
    found.into_iter().map(|w| w.split("::").next().unwrap_or("").to_string()).filter(|w| !w.is_empty()).collect()
}

#[test]
fn rooms_import_only_what_the_table_allows() {
    let table: BTreeMap<&str, &[&str]> = ROOMS.iter().copied().collect();
    let mut faults = Vec::new();
    let mut seen = 0;
    for path in files(&root().join("src"), ".rs") {
        let Some(room) = room_of(&path) else { continue };
        let Some(allowed) = table.get(room.as_str()) else {
            faults.push(format!("{}: room {room} is not in the table", path.display()));
            continue;
        };
        let text = fs::read_to_string(&path).unwrap();
        for import in imports(&text) {
            let is_room = table.contains_key(import.as_str());
            let common = COMMON.contains(&import.as_str())
                && room != "base"
                && (!COMMON.contains(&room.as_str()) || import == "base");
            if is_room && import != room && !common && !allowed.contains(&import.as_str()) {
                faults.push(format!("{}: {room} must not import {import}", path.display()));
            }
            if import == "media" && room == "cli" && !path.ends_with("cli/wire.rs") {
                faults.push(format!("{}: only cli/wire.rs hands media on", path.display()));
            }
            seen += 1;
        }
    }
    assert!(seen > 50, "the reader found only {seen} imports: it is blind");
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_import_reader_sees_braces_and_paths() {
    let text =
        "use crate::{base::{Error, Result}, film, plays::Play};\nlet x = crate::sense::measure(); // crate::cli\n";
    let want: BTreeSet<String> = ["base", "film", "plays", "sense"].map(String::from).into();
    assert_eq!(imports(text), want);
}

#[test]
fn what_must_not_stand_outside_its_room() {
    // (word, where alone it may stand)
    let only = [
        ("ffmpeg_next", "src/media/"),
        ("ffmpeg_sys", "src/media/"),
        ("unsafe {", "src/media/"),
        ("clap::", "src/cli/"),
        ("rusqlite", "src/library/"),
        ("indicatif", "src/cli/"),
        ("signal_hook", "src/cli/"),
        ("filmmaker", "fixtures/"),
    ];
    let mut faults = Vec::new();
    for path in files(&root().join("src"), ".rs") {
        let inside = path.strip_prefix(root()).unwrap().to_string_lossy().into_owned();
        let text = fs::read_to_string(&path).unwrap();
        for (word, place) in only {
            if text.contains(word) && !inside.starts_with(place) {
                faults.push(format!("{inside}: {word} outside {place}"));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn files_are_short_enough_to_read() {
    let mut faults = Vec::new();
    for path in files(&root(), ".rs") {
        let lines = fs::read_to_string(&path).unwrap().lines().count();
        if lines > MOST_LINES {
            faults.push(format!("{}: {lines} lines", path.display()));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn links_in_the_documents_lead_somewhere() {
    let mut faults = Vec::new();
    let mut seen = 0;
    for path in files(&root(), ".md") {
        let text = fs::read_to_string(&path).unwrap();
        for piece in text.split("](").skip(1) {
            let target = piece.split(')').next().unwrap_or("");
            let file = target.split('#').next().unwrap_or("");
            if file.is_empty() || file.contains("://") {
                continue;
            }
            seen += 1;
            if !path.parent().unwrap().join(file).exists() {
                faults.push(format!("{}: {target}", path.display()));
            }
        }
    }
    assert!(seen > 0, "no link was found: the reader is blind");
    assert!(faults.is_empty(), "dead links: {}", faults.join("\n"));
}

fn install_list() -> BTreeSet<String> {
    let out = Command::new("bash").arg(root().join("demo/install")).arg("--list").output().unwrap();
    String::from_utf8(out.stdout).unwrap().lines().map(String::from).collect()
}

/// `println!` and `eprintln!` panic where the stream is closed; a night is not to end so. The command line has its own.
#[test]
fn nothing_prints_by_the_macros_that_panic() {
    let mut faults = Vec::new();
    for path in files(&root().join("src"), ".rs").into_iter().filter(|path| !path.ends_with("tests.rs")) {
        let text = fs::read_to_string(&path).unwrap();
        let prints = |line: &&str| line.contains("println!(") || line.contains("print!(");
        faults.extend(text.lines().filter(prints).map(|line| format!("{}: {}", path.display(), line.trim())));
    }
    assert!(faults.is_empty(), "use output::print or output::note:\n{}", faults.join("\n"));
}

#[test]
fn every_linked_library_is_in_the_install_list() {
    let list = install_list();
    let out = Command::new("readelf").args(["-d", env!("CARGO_BIN_EXE_downbox")]).output().unwrap();
    let text = String::from_utf8(out.stdout).unwrap();
    let linked: Vec<&str> = text
        .lines()
        .filter(|l| l.contains("(NEEDED)"))
        .filter_map(|l| l.split('[').nth(1)?.split(".so").next())
        .filter(|lib| {
            !["libc", "libm", "libgcc_s", "ld-linux-x86-64", "ld-linux-aarch64", "libpthread", "libdl"].contains(lib)
        })
        .collect();
    assert!(linked.contains(&"libavcodec"), "the codec library is not linked: {text}");
    for lib in linked {
        assert!(list.contains(&format!("{lib}-dev")), "{lib} is linked, but demo/install has no {lib}-dev");
    }
}

#[test]
fn every_program_that_is_called_is_in_the_install_list() {
    // Programs beside the base system and Rust's own, and the package each is in.
    let packages: BTreeMap<&str, &str> = [
        ("ffmpeg", "ffmpeg"),
        ("ffprobe", "ffmpeg"),
        ("tesseract", "tesseract-ocr"),
        ("python3", "python3"),
        ("readelf", "build-essential"),
        ("strace", "strace"),
        ("sqlite3", "sqlite3"),
        ("gst-launch-1.0", "gstreamer1.0-tools"),
        ("chromium", "chromium"),
    ]
    .into();
    let base = [
        "bash",
        "mount",
        "umount",
        "sh",
        "id",
        "cat",
        "cp",
        "kill",
        "git",
        "cargo",
        "nice",
        "unshare",
        "sync",
        "taskset",
        // Done without where it is not there.
        "systemd-inhibit",
    ];
    let list = install_list();
    let mut faults = Vec::new();
    for folder in ["src", "tests", "fixtures"] {
        for path in files(&root().join(folder), ".rs") {
            let text = fs::read_to_string(&path).unwrap();
            for piece in text.split("Command::new(\"").skip(1) {
                let program = piece.split('"').next().unwrap_or("");
                match packages.get(program) {
                    Some(package) if list.contains(*package) => {}
                    None if base.contains(&program) => {}
                    _ => faults.push(format!("{}: {program}", path.display())),
                }
            }
        }
    }
    assert!(faults.is_empty(), "called but not installed by demo/install:\n{}", faults.join("\n"));
}
