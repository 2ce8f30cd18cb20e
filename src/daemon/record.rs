//! What was done of which game: one small file a game in the library's log folder, replaced whole after every step.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fs;
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::task::CameraKnown;
use crate::base::{Error, ErrorKind, IoContext, PendingFile, Result};
use crate::jobs::NightTold;

/// Why a step was not done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fault {
    /// What went wrong.
    pub what: String,
    /// What a person can do.
    pub next: String,
    /// Whether only a change of files or settings can help; else it is tried again by itself.
    pub refused: bool,
    /// How often it was tried.
    pub tries: u32,
}

impl Fault {
    /// Of an error, tried so often.
    pub fn of(error: &Error, tries: u32) -> Self {
        Self { what: error.to_string(), next: error.next.clone(), refused: error.kind == ErrorKind::Refused, tries }
    }
}

/// One step's record.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Done {
    /// By what it is known: other files or settings have another key.
    pub key: String,
    /// When, for people.
    pub at: String,
    /// Why it was not done; `None` if it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fault: Option<Fault>,
}

/// A camera as it was when its plays were put into the library.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Placed {
    /// Its files, relative to the inbox, as text.
    pub files: Vec<String>,
    /// By what it is known.
    pub key: String,
}

/// One game's record.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct GameRecord {
    /// The folder's name, for people.
    pub folder: String,
    /// Its steps by name.
    pub steps: BTreeMap<String, Done>,
    /// Cameras by the name that their files give them.
    pub cameras: BTreeMap<String, CameraKnown>,
    /// Names that a camera goes by because of what its film shows.
    pub angles: BTreeMap<String, String>,
    /// Cameras whose plays were put into the library.
    pub placed: BTreeMap<String, Placed>,
    /// By what the rows in the library are known: the sheet that was read last.
    pub rows: String,
    /// What the night came to.
    pub told: NightTold,
    /// The state of which the staff's own command was told.
    pub hooked: String,
    /// The report's files, absolute, the page first.
    pub reports: Vec<PathBuf>,
    /// When its last step was done, for people.
    pub at: String,
}

impl GameRecord {
    /// Whether a step is done by this key.
    pub fn has(&self, name: &str, key: &str) -> bool {
        self.steps.get(name).is_some_and(|done| done.key == key && done.fault.is_none())
    }

    /// Why a step was not done by this key.
    pub fn fault(&self, name: &str, key: &str) -> Option<&Fault> {
        self.steps.get(name).filter(|done| done.key == key).and_then(|done| done.fault.as_ref())
    }
}

/// The folder of records.
#[derive(Debug, Clone)]
pub struct Records {
    folder: PathBuf,
}

impl Records {
    /// Those that lie in a folder, which is made when the first is written.
    pub fn at(folder: PathBuf) -> Self {
        Self { folder }
    }

    /// A game's record. One that is not there or cannot be understood is empty: the steps are idempotent, so that at worst a
    /// game is gone through once more.
    pub fn load(&self, game: &Path) -> GameRecord {
        let read = fs::read(self.path(game)).ok();
        let mut record: GameRecord = read.and_then(|bytes| serde_json::from_slice(&bytes).ok()).unwrap_or_default();
        record.folder = crate::base::shown(&game.to_string_lossy());
        record
    }

    /// Keeps a game's record, on the disk before anything else is done.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn save(&self, game: &Path, record: &GameRecord) -> Result<()> {
        let path = self.path(game);
        let text = serde_json::to_vec_pretty(record).map_err(|cause| {
            Error::failed("cannot write down what was done", path.display(), "report this").because(cause)
        })?;
        let pending = PendingFile::new(&path)?;
        fs::write(pending.path(), text).doing("write down what was done", &path)?;
        pending.commit()
    }

    fn path(&self, game: &Path) -> PathBuf {
        // Two folders whose names differ in bytes that are no text have two records.
        let hash = blake3::hash(OsStr::as_bytes(game.as_os_str())).to_hex();
        self.folder.join(format!("{}-{}.json", short(game), &hash[..10]))
    }
}

/// The beginning of a name that any file system takes.
fn short(game: &Path) -> String {
    let name = game.to_string_lossy();
    name.chars().filter(|c| c.is_ascii_alphanumeric() || " -_".contains(*c)).take(40).collect::<String>()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_record_comes_back_and_a_broken_one_is_none() {
        let folder = tempfile::tempdir().unwrap();
        let records = Records::at(folder.path().join("games"));
        let game = Path::new(OsStr::from_bytes(b"Badgers \xff\n"));
        let twin = Path::new(OsStr::from_bytes(b"Badgers \xfe\n"));
        let mut record = records.load(game);
        assert_eq!(record.folder, "Badgers \u{fffd}?");
        let fault = Fault { what: "no".into(), next: "yes".into(), refused: true, tries: 1 };
        record.steps.insert("pair".into(), Done { key: "k".into(), at: "now".into(), fault: None });
        record.steps.insert("cut".into(), Done { key: "k".into(), at: "now".into(), fault: Some(fault) });
        records.save(game, &record).unwrap();
        assert_eq!(records.load(game), record);
        assert!(record.has("pair", "k") && !record.has("pair", "other") && !record.has("cut", "k"));
        assert!(record.fault("cut", "k").is_some() && record.fault("cut", "other").is_none());
        assert_eq!(records.load(twin).steps.len(), 0);
        fs::write(records.path(game), "{").unwrap();
        assert_eq!(records.load(game).steps.len(), 0);
    }
}
