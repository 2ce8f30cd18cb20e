//! A coordinator's desk for tests: the real binary, a made game, a library in a folder of its own.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use serde_json::Value;

use crate::films::made;

/// The made game: five plays, two cameras, a sheet with a missing and a doubled row.
pub fn game() -> PathBuf {
    made("game", &["game", "--out", "OUT", "--seed", "11", "--plays", "5", "--size", "480x270"])
}

/// What the film maker knows of it.
pub fn truth() -> Value {
    serde_json::from_slice(&fs::read(game().join("truth.json")).unwrap()).unwrap()
}

/// A folder in which the binary works as it would for a user without settings of their own.
pub struct Desk {
    /// Everything lies in it.
    pub folder: tempfile::TempDir,
}

/// What a run of the binary said.
pub struct Said {
    /// Exit code.
    pub code: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Said {
    /// The one JSON document on standard output.
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|e| panic!("{e}: {}\n{}", self.out, self.err))
    }

    /// The error that JSON tells: what, where, next.
    pub fn error(&self) -> [String; 3] {
        assert_eq!(self.code, 2, "{}\n{}", self.out, self.err);
        let document = self.json();
        ["what", "where", "next"].map(|key| document["error"][key].as_str().unwrap().to_string())
    }
}

impl Desk {
    /// An empty desk.
    pub fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    /// A desk whose library holds the made game, cut from both cameras with its sheet.
    pub fn with_game() -> Self {
        static CUT: OnceLock<Desk> = OnceLock::new();
        let cut = CUT.get_or_init(|| {
            let desk = Self::new();
            let said = desk.cut(&["--sideline", "SIDELINE", "--end-zone", "END", "--sheet", "TAGS"]);
            assert_eq!(said.code, 0, "{}", said.err);
            desk.small_reels();
            desk
        });
        let desk = Self::new();
        copy(&cut.library(), &desk.library());
        desk
    }

    /// Reels of the film's own size, unless a test asks for another: a picture of 1080 lines costs sixteen times as much.
    pub fn small_reels(&self) {
        let settings = self.library().join("downbox.toml");
        let text = fs::read_to_string(&settings).unwrap();
        let own = text.replace("# profile = \"meeting\"", "profile = \"tape\"");
        assert_ne!(own, text);
        fs::write(&settings, own).unwrap();
    }

    /// A path on the desk.
    pub fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Where the library lies.
    pub fn library(&self) -> PathBuf {
        self.at("library")
    }

    /// The binary, with the desk's library and no settings of a user's own.
    pub fn command(&self) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_downbox"));
        command.current_dir(self.folder.path()).env("DOWNBOX_LIBRARY", self.library());
        command.env("XDG_CONFIG_HOME", self.at("no-config")).env("XDG_CACHE_HOME", self.at("cache"));
        command.env_remove("NO_COLOR");
        command
    }

    /// Runs it.
    pub fn run(&self, args: &[&str]) -> Said {
        told(self.command().args(args))
    }

    /// Cuts the made game with JSON; `SIDELINE`, `END` and `TAGS` among the words stand for its files.
    pub fn cut(&self, args: &[&str]) -> Said {
        let game = game();
        let file = |name: &str| game.join(name).display().to_string();
        let args: Vec<String> = args
            .iter()
            .map(|arg| match *arg {
                "SIDELINE" => file("sideline.mp4"),
                "END" => file("end-zone.mp4"),
                "TAGS" => file("tags.csv"),
                other => other.to_string(),
            })
            .collect();
        let mut command = self.command();
        command.args(["cut", "--game", "Badgers", "--json"]);
        if !args.iter().any(|arg| arg == "--date") {
            command.args(["--date", "2026-09-11"]);
        }
        told(command.args(args))
    }
}

/// Runs a command.
pub fn told(command: &mut Command) -> Said {
    let done = command.output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    Said { code: done.status.code().unwrap(), out: text(done.stdout), err: text(done.stderr) }
}

/// Copies a folder with all below it.
pub fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}
