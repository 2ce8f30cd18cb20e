//! Segments that were rendered before, on disk: pictures and sound of one play each, and the ways of marks, found by all that
//! shaped them.
//!
//! A record lies beside each file and is written last: without it the file is not there. What was not used for longest goes
//! first where the bound is passed.

use std::collections::HashSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use serde::{Deserialize, Serialize};

use crate::base::{Error, IoContext, PendingFile, Problem, Result};

/// Ending of a segment's pictures.
pub const PICTURES: &str = "mp4";
/// Ending of a segment's sound: 48 kHz, two channels, 16-bit little-endian, interleaved.
pub const SOUND: &str = "s16";
/// Ending of the way that a mark goes.
pub const WAY: &str = "way";
/// Every ending but the record's.
const ENDINGS: [&str; 3] = [PICTURES, SOUND, WAY];
/// Ending of a record.
const RECORD: &str = "json";

/// A file without a record is left alone for so long.
const UNRECORDED: Duration = Duration::from_secs(3600);

/// What is known of a file of the store.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Made {
    /// Pictures, or of sound the pictures it is heard with.
    pub frames: u64,
    /// Size of the file.
    pub bytes: u64,
    /// What was not as it should be when it was made.
    pub problems: Vec<Problem>,
}

/// The folder of rendered segments.
#[derive(Debug)]
pub struct Store {
    folder: PathBuf,
    /// Most bytes kept.
    limit: u64,
    /// Goes with the store where there is no place of its own.
    _temporary: Option<tempfile::TempDir>,
}

impl Store {
    /// A folder that keeps at most `limit` bytes; where nothing can be written in it, one that lasts as long as the store.
    ///
    /// # Errors
    /// Neither can be made.
    pub fn open(folder: &Path, limit: u64) -> Result<Self> {
        let usable = fs::create_dir_all(folder).is_ok() && tempfile::tempfile_in(folder).is_ok();
        if usable {
            return Ok(Self { folder: folder.to_path_buf(), limit, _temporary: None });
        }
        let doing = "make a folder for rendered segments";
        let temporary = tempfile::tempdir().doing(doing, &std::env::temp_dir())?;
        Ok(Self { folder: temporary.path().to_path_buf(), limit, _temporary: Some(temporary) })
    }

    /// A folder that is only looked at, and not made where it is missing.
    pub fn look(folder: &Path) -> Self {
        Self { folder: folder.to_path_buf(), limit: u64::MAX, _temporary: None }
    }

    /// Where a file lies, or would.
    pub fn path(&self, key: &str, ending: &str) -> PathBuf {
        self.folder.join(format!("{key}.{ending}"))
    }

    /// What is known of a file that is there as it was written.
    pub fn peek(&self, key: &str, ending: &str) -> Option<Made> {
        let made: Made = serde_json::from_slice(&fs::read(self.path(key, RECORD)).ok()?).ok()?;
        (fs::metadata(self.path(key, ending)).ok()?.len() == made.bytes).then_some(made)
    }

    /// What [`Store::peek`] gives; the file counts as used now.
    pub fn get(&self, key: &str, ending: &str) -> Option<Made> {
        let made = self.peek(key, ending)?;
        let record = self.path(key, RECORD);
        // A record that cannot be touched only goes earlier.
        if let Ok(file) = fs::File::options().append(true).open(&record) {
            let _ = file.set_modified(SystemTime::now());
        }
        Some(made)
    }

    /// Makes a file: `write` is given a pending name and gives how many pictures it wrote and what was wrong. Nothing is
    /// kept if it fails.
    ///
    /// # Errors
    /// Those of `write`, and of the disk.
    pub fn put(
        &self,
        key: &str,
        ending: &str,
        write: impl FnOnce(&Path) -> Result<(u64, Vec<Problem>)>,
    ) -> Result<Made> {
        let file = PendingFile::new(&self.path(key, ending))?;
        let (frames, problems) = write(file.path())?;
        let bytes = fs::metadata(file.path()).doing("look at the segment", file.path())?.len();
        let made = Made { frames, bytes, problems };
        // An older record would speak of the new file.
        let path = self.path(key, RECORD);
        if path.exists() {
            fs::remove_file(&path).doing("replace the segment's record", &path)?;
        }
        file.commit()?;
        let record = PendingFile::new(&path)?;
        let text = serde_json::to_vec(&made).map_err(|cause| {
            Error::failed("cannot write the segment's record", path.display(), "run the same command again")
                .because(cause)
        })?;
        fs::write(record.path(), text).doing("write the segment's record", &path)?;
        record.commit()?;
        Ok(made)
    }

    /// Forgets a segment.
    pub fn drop_key(&self, key: &str) {
        for ending in [RECORD].into_iter().chain(ENDINGS) {
            // What is not there need not go; what cannot be removed is not used without its record.
            let _ = fs::remove_file(self.path(key, ending));
        }
    }

    /// Removes files without a record, of runs that were broken off. Another process may be about to write the record of a
    /// new one.
    fn sweep(&self) {
        for entry in fs::read_dir(&self.folder).into_iter().flatten().flatten() {
            let path = entry.path();
            let ours = path.extension().is_some_and(|ending| ENDINGS.iter().any(|own| ending == *own));
            let age = entry.metadata().and_then(|about| about.modified()).map(|at| at.elapsed().unwrap_or_default());
            if ours && !path.with_extension(RECORD).exists() && age.is_ok_and(|age| age > UNRECORDED) {
                // What cannot be removed stays in nobody's way.
                let _ = fs::remove_file(&path);
            }
        }
    }

    /// Every key with when it was last used and what it takes, the oldest first.
    fn all(&self) -> Vec<(SystemTime, String, u64)> {
        let mut all = Vec::new();
        for entry in fs::read_dir(&self.folder).into_iter().flatten().flatten() {
            let path = entry.path();
            let (Some(key), Some(ending)) = (path.file_stem(), path.extension()) else { continue };
            if ending == RECORD {
                let key = key.to_string_lossy().into_owned();
                let used = entry.metadata().and_then(|about| about.modified()).unwrap_or(SystemTime::UNIX_EPOCH);
                let size = |ending| fs::metadata(self.path(&key, ending)).map_or(0, |about| about.len());
                let bytes = ENDINGS.into_iter().map(size).sum();
                all.push((used, key, bytes));
            }
        }
        all.sort();
        all
    }

    /// How many segments there are and how many bytes they take.
    pub fn size(&self) -> (usize, u64) {
        let all = self.all();
        (all.len(), all.iter().map(|(.., bytes)| bytes).sum())
    }

    /// Brings the store within its bound, or within `limit` where that is less; what is in `keep` stays. Gives how many
    /// bytes went.
    pub fn trim(&self, limit: u64, keep: &HashSet<String>) -> u64 {
        self.sweep();
        let all = self.all();
        let mut held: u64 = all.iter().map(|(.., bytes)| bytes).sum();
        let mut gone = 0;
        for (_, key, bytes) in all {
            if held <= self.limit.min(limit) {
                break;
            }
            if !keep.contains(&key) {
                self.drop_key(&key);
                held -= bytes;
                gone += bytes;
            }
        }
        gone
    }
}

/// A key: a fingerprint of words that tell all that shapes a file.
pub fn key(words: &str) -> String {
    blake3::hash(words.as_bytes()).to_hex()[..32].to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn put(store: &Store, key: &str, bytes: usize) -> Made {
        let write = |path: &Path| {
            fs::write(path, vec![1; bytes]).unwrap();
            Ok((7, vec![Problem::new("a.mp4", "torn")]))
        };
        store.put(key, PICTURES, write).unwrap()
    }

    #[test]
    fn what_was_made_is_found_whole_or_not_at_all() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&folder.path().join("segments"), 1000).unwrap();
        assert_eq!(store.get("a", PICTURES), None);
        let made = put(&store, "a", 100);
        assert_eq!((made.frames, made.bytes, made.problems.len()), (7, 100, 1));
        assert_eq!(store.get("a", PICTURES), Some(made));
        fs::write(store.path("a", PICTURES), b"torn").unwrap();
        assert_eq!(store.get("a", PICTURES), None);
        put(&store, "b", 10);
        fs::remove_file(store.path("b", PICTURES)).unwrap();
        assert_eq!(store.get("b", PICTURES), None);
        let failed = store.put("c", PICTURES, |path| {
            fs::write(path, b"half").unwrap();
            Err(Error::failed("no room", "", ""))
        });
        assert!(failed.is_err() && store.get("c", PICTURES).is_none());
        assert!(!store.path("c", PICTURES).exists());
    }

    #[test]
    fn what_was_not_used_for_longest_goes_first_and_what_is_kept_stays() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), 250).unwrap();
        for (age, key) in [(400, "a"), (300, "b"), (200, "c"), (100, "d")] {
            put(&store, key, 100);
            let record = fs::File::options().append(true).open(store.path(key, RECORD)).unwrap();
            record.set_modified(SystemTime::now() - Duration::from_secs(age)).unwrap();
        }
        assert_eq!(store.size(), (4, 400));
        store.get("b", PICTURES).unwrap();
        assert_eq!(store.trim(u64::MAX, &HashSet::from(["a".to_string()])), 200);
        let left: Vec<String> = store.all().into_iter().map(|(_, key, _)| key).collect();
        assert_eq!(left, ["a", "b"], "b was used last, a is kept");
        for (age, name) in [(10, "new.mp4"), (7200, "old.s16")] {
            let file = fs::File::create(folder.path().join(name)).unwrap();
            file.set_modified(SystemTime::now() - Duration::from_secs(age)).unwrap();
        }
        assert_eq!(store.trim(0, &HashSet::new()), 200);
        assert_eq!(store.size(), (0, 0));
        let left: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
        assert_eq!(left, ["new.mp4"], "of a run that was broken off nothing stays");
    }

    #[test]
    fn keys_are_of_all_the_words() {
        assert_eq!(key("a"), key("a"));
        assert_ne!(key("a"), key("b"));
        assert_eq!(key("").len(), 32);
    }
}
