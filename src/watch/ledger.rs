//! What the watcher has done with which state of which folder, kept in the library's log folder.

use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::Listing;
use crate::base::{IoContext, PendingFile, Result};

/// One folder's last outcome.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Done {
    /// Hash of the listing that was taken.
    pub listing: String,
    /// What came of it, in words.
    pub outcome: String,
    /// Whether it failed; a failed folder is tried again only when its files change.
    pub failed: bool,
}

/// Folder name to its last outcome.
#[derive(Debug, Default)]
pub struct Ledger {
    path: PathBuf,
    done: BTreeMap<String, Done>,
}

/// A listing's hash: equal listings, equal hash.
pub fn hash(listing: &Listing) -> String {
    let mut hasher = blake3::Hasher::new();
    for (path, (size, changed)) in listing {
        hasher.update(path.to_string_lossy().as_bytes());
        hasher.update(&size.to_le_bytes());
        hasher.update(&changed.to_le_bytes());
    }
    hasher.finalize().to_hex()[..32].to_string()
}

impl Ledger {
    /// Reads the ledger at `path`. A missing or unreadable one is empty: the work is idempotent, so at worst a
    /// finished game is looked at once more.
    pub fn open(path: &Path) -> Self {
        let done = fs::read(path).ok().and_then(|bytes| serde_json::from_slice(&bytes).ok()).unwrap_or_default();
        Self { path: path.to_path_buf(), done }
    }

    /// Whether this state of this folder was taken already.
    pub fn knows(&self, folder: &str, listing: &Listing) -> bool {
        self.done.get(folder).is_some_and(|d| d.listing == hash(listing))
    }

    /// Notes an outcome, durably.
    pub fn note(&mut self, folder: &str, listing: &Listing, outcome: &str, failed: bool) -> Result<()> {
        self.done.insert(folder.into(), Done { listing: hash(listing), outcome: outcome.into(), failed });
        let pending = PendingFile::new(&self.path)?;
        let text = serde_json::to_vec_pretty(&self.done).unwrap_or_default();
        fs::File::create(pending.path())
            .and_then(|mut f| f.write_all(&text))
            .doing("write the watcher's ledger", &self.path)?;
        pending.commit()
    }
}
