//! A person's request goes before the night's work: who asks lays a file and holds it locked, and the night gives way.

use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};

use crate::base::{IoContext, Result};

/// Where requests lie in a library.
const FOLDER: &str = "log/requests";

/// A request that stands until dropped, in whatever way the process ends.
#[derive(Debug)]
pub struct Request {
    path: PathBuf,
    /// Locked as long as it is open.
    _file: File,
}

impl Request {
    /// Asks the night of a library to give way, if one may be working there. `what`: in words. A library that cannot be
    /// written to has no night.
    pub fn make(library: &Path, what: &str) -> Option<Self> {
        Self::try_make(library, what).ok()
    }

    fn try_make(library: &Path, what: &str) -> Result<Self> {
        let folder = library.join(FOLDER);
        fs::create_dir_all(&folder).doing("ask the night to give way", &folder)?;
        let path = folder.join(std::process::id().to_string());
        let file = File::create(&path).doing("ask the night to give way", &path)?;
        file.lock().doing("ask the night to give way", &path)?;
        fs::write(&path, what).doing("ask the night to give way", &path)?;
        Ok(Self { path, _file: file })
    }
}

impl Drop for Request {
    fn drop(&mut self) {
        // One that stays is seen to be nobody's.
        let _ = fs::remove_file(&self.path);
    }
}

/// What a person waits for now; `None` if nobody does. Files of processes that are gone are removed.
pub fn asked(library: &Path) -> Option<String> {
    for entry in fs::read_dir(library.join(FOLDER)).ok()?.flatten() {
        let path = entry.path();
        let Ok(file) = File::open(&path) else { continue };
        match file.try_lock() {
            Ok(()) => _ = fs::remove_file(&path),
            Err(TryLockError::WouldBlock) => {
                let words = fs::read_to_string(&path).unwrap_or_default();
                return Some(crate::base::shown(words.trim()));
            }
            Err(TryLockError::Error(_)) => {}
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_request_stands_as_long_as_its_process_holds_it() {
        let library = tempfile::tempdir().unwrap();
        assert_eq!(asked(library.path()), None);
        let request = Request::make(library.path(), "cutup third and short").unwrap();
        assert_eq!(asked(library.path()).as_deref(), Some("cutup third and short"));
        drop(request);
        assert_eq!(asked(library.path()), None);
        let left = library.path().join(FOLDER).join("4194999");
        fs::write(&left, "cutup").unwrap();
        assert_eq!(asked(library.path()), None);
        assert!(!left.exists(), "of a process that was killed");
    }
}
