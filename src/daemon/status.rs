//! What the night did, does and waits for, in a small file that anybody may read while it works and after.

use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::base::{IoContext, Result};

/// Where it lies in a library.
pub const STATUS: &str = "log/status.json";
/// Held locked by the night that works in a library.
pub const WATCH_LOCK: &str = "log/watch.lock";

/// How a game stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// A step of it is being done.
    Doing,
    /// Its next step is to be done.
    Queued,
    /// Its files are still coming.
    Settling,
    /// It waits for something.
    Waiting,
    /// All is done.
    Done,
    /// A person must change something.
    Failed,
    /// Its films are not there now.
    Away,
    /// There is no film in it.
    NoFilm,
}

/// One game.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GameStatus {
    /// Its folder in the inbox.
    pub folder: String,
    /// Its name.
    pub game: String,
    /// How it stands.
    pub standing: Standing,
    /// In words: what it came to, what it waits for, why it failed.
    pub words: String,
    /// What a person can do; empty where there is nothing.
    pub next: String,
    /// Steps that are done, in order.
    pub done: Vec<String>,
    /// What was set aside: what, why, what to do.
    pub aside: Vec<[String; 3]>,
    /// The report, relative to the library.
    pub report: Option<String>,
}

/// What is being done.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Doing {
    /// The game.
    pub game: String,
    /// The step.
    pub step: String,
    /// In words: `cutting clips`.
    pub words: String,
    /// The stage of it.
    pub stage: String,
    /// Done of the stage, 0 to 1.
    pub share: Option<f64>,
    /// In film's time.
    pub rate: Option<f64>,
    /// Seconds left of the stage.
    pub left_seconds: Option<f64>,
}

/// The whole of it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Status {
    /// The process and its machine.
    pub pid: u32,
    /// Since when it runs.
    pub since: String,
    /// When this was written, and the same in seconds since 1970.
    pub seen: String,
    /// See `seen`.
    pub seen_seconds: i64,
    /// How it ended, in words; empty while it runs.
    pub ended: String,
    /// Why it does nothing although work waits, in words; empty where it works or has none.
    pub paused: String,
    /// What is being done.
    pub doing: Option<Doing>,
    /// When all is expected to be done, in words.
    pub expected: Option<String>,
    /// The inbox.
    pub inbox: String,
    /// What a person should know of.
    pub warnings: Vec<String>,
    /// Games, the newest first.
    pub games: Vec<GameStatus>,
    /// Bytes free on the library's disk, and those that are kept free.
    pub room: Option<u64>,
    /// See `room`.
    pub reserve: u64,
    /// Files in the inbox that are of no game: how many, and the first few with the reason.
    pub untaken: usize,
    /// See `untaken`.
    pub untaken_files: Vec<(String, String)>,
}

impl Status {
    /// Writes it where `status` reads it: whole or not at all, but without waiting for the disk, since the next is written
    /// soon.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn write(&self, library: &Path) -> Result<()> {
        let path = library.join(STATUS);
        let pending = path.with_extension("json.new");
        let text = serde_json::to_vec(self).unwrap_or_default();
        fs::write(&pending, text).doing("write the status", &path)?;
        fs::rename(&pending, &path).doing("write the status", &path)
    }

    /// Reads it; `None` where no night has worked in this library.
    pub fn read(library: &Path) -> Option<Self> {
        serde_json::from_slice(&fs::read(library.join(STATUS)).ok()?).ok()
    }

    /// Whether the night that wrote it is there now.
    pub fn is_alive(library: &Path) -> bool {
        let Ok(file) = fs::File::open(library.join(WATCH_LOCK)) else { return false };
        matches!(file.try_lock_shared(), Err(fs::TryLockError::WouldBlock))
    }

    /// A path of the library as it is told: relative to it.
    pub fn relative(library: &Path, path: &Path) -> String {
        path.strip_prefix(library).map_or_else(|_| path.to_path_buf(), PathBuf::from).display().to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_written_is_read_and_a_night_that_is_gone_is_not_alive() {
        let library = tempfile::tempdir().unwrap();
        assert_eq!(Status::read(library.path()), None);
        assert!(!Status::is_alive(library.path()));
        fs::create_dir_all(library.path().join("log")).unwrap();
        let status = Status { pid: 7, paused: "a person waits".into(), ..Status::default() };
        status.write(library.path()).unwrap();
        assert_eq!(Status::read(library.path()), Some(status));
        let lock = fs::File::create(library.path().join(WATCH_LOCK)).unwrap();
        assert!(!Status::is_alive(library.path()), "a file that is left behind");
        lock.lock().unwrap();
        assert!(Status::is_alive(library.path()));
    }
}
