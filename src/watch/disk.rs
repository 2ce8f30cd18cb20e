//! The inbox as it lies on the disk, behind a trait so that tests script it.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use super::Kind;
use super::whole::{Whole, whole};

/// A file's size and time of change: what stays the same while nothing is written to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Stamp {
    /// Bytes.
    pub size: u64,
    /// Nanoseconds since 1970; 0 where the file system does not tell.
    pub changed: u128,
}

/// What was found in an inbox. Paths are relative to it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Walked {
    /// The folders that lie in it, also those with nothing in them.
    pub folders: BTreeSet<PathBuf>,
    /// Every file that may be film, sheet or a game's own settings, or may become one.
    pub files: BTreeMap<PathBuf, Stamp>,
    /// How many files are none of these.
    pub others: usize,
    /// What could not be looked into, and why; the first few.
    pub skipped: Vec<(PathBuf, String)>,
    /// How many there were.
    pub skipped_count: usize,
}

impl Walked {
    /// So many of those that are skipped are named.
    const NAMED: usize = 20;

    fn skip(&mut self, path: &Path, why: impl Into<String>) {
        self.skipped_count += 1;
        if self.skipped.len() < Self::NAMED {
            self.skipped.push((path.to_path_buf(), why.into()));
        }
    }
}

/// The disk.
pub trait Disk: Send {
    /// Everything in the inbox.
    ///
    /// # Errors
    /// The inbox itself cannot be read: its drive is away.
    fn walk(&self, inbox: &Path) -> io::Result<Walked>;
    /// A file's stamp; `None` where it is not there or cannot be looked at.
    fn stamp(&self, path: &Path) -> Option<Stamp>;
    /// Whether a film's file is all there.
    ///
    /// # Errors
    /// It cannot be read.
    fn whole(&self, path: &Path) -> io::Result<Whole>;
    /// A small file's text.
    ///
    /// # Errors
    /// It cannot be read, or is longer than a megabyte.
    fn text(&self, path: &Path) -> io::Result<String>;
    /// Bytes that are free on the disk of a folder; `None` where that is not known.
    fn room(&self, folder: &Path) -> Option<u64>;
}

/// Folders within a game's folder are looked into so deep: a card's own tree has three levels.
const DEEPEST: usize = 8;

/// The real one.
#[derive(Debug, Clone, Copy, Default)]
pub struct RealDisk;

impl Disk for RealDisk {
    fn walk(&self, inbox: &Path) -> io::Result<Walked> {
        let mut out = Walked::default();
        let mut seen: BTreeSet<PathBuf> = BTreeSet::new();
        let mut open = vec![(PathBuf::new(), 0)];
        while let Some((folder, depth)) = open.pop() {
            let entries = match fs::read_dir(inbox.join(&folder)) {
                Ok(entries) => entries,
                Err(cause) if depth == 0 => return Err(cause),
                Err(cause) => {
                    out.skip(&folder, cause.to_string());
                    continue;
                }
            };
            for entry in entries {
                let entry = match entry {
                    Ok(entry) => entry,
                    Err(cause) if depth == 0 => return Err(cause),
                    Err(cause) => {
                        out.skip(&folder, cause.to_string());
                        break;
                    }
                };
                let name = entry.file_name();
                // Hidden files are the system's; a pending copy of many programs is hidden, too.
                if name.as_encoded_bytes().starts_with(b".") {
                    continue;
                }
                let path = folder.join(&name);
                let Ok(kind) = entry.file_type() else { continue };
                // A link is as good as what it leads to, but a folder is entered once, however many links lead to it.
                let is_folder =
                    kind.is_dir() || (kind.is_symlink() && fs::metadata(entry.path()).is_ok_and(|m| m.is_dir()));
                if is_folder {
                    if depth == 0 {
                        out.folders.insert(path.clone());
                    }
                    let first = !kind.is_symlink()
                        || fs::canonicalize(entry.path()).is_ok_and(|real| {
                            let round = fs::canonicalize(inbox.join(&folder)).is_ok_and(|here| here.starts_with(&real));
                            !round && seen.insert(real)
                        });
                    match (first, depth < DEEPEST) {
                        (true, true) => open.push((path, depth + 1)),
                        (true, false) => out.skip(&path, "it lies too deep for a game's film"),
                        (false, _) => out.skip(&path, "its link leads in a circle"),
                    }
                    continue;
                }
                if Kind::of(&path) == Kind::Other {
                    out.others += 1;
                    continue;
                }
                let about = if kind.is_symlink() { fs::metadata(entry.path()) } else { entry.metadata() };
                match about {
                    Ok(about) if about.is_file() => {
                        out.files.insert(path, stamp(&about));
                    }
                    Ok(_) => out.others += 1,
                    Err(cause) => out.skip(&path, cause.to_string()),
                }
            }
        }
        Ok(out)
    }

    fn stamp(&self, path: &Path) -> Option<Stamp> {
        fs::metadata(path).ok().map(|about| stamp(&about))
    }

    fn whole(&self, path: &Path) -> io::Result<Whole> {
        whole(path)
    }

    fn text(&self, path: &Path) -> io::Result<String> {
        if fs::metadata(path)?.len() > 1 << 20 {
            return Err(io::Error::new(io::ErrorKind::FileTooLarge, "it is longer than a megabyte"));
        }
        fs::read_to_string(path)
    }

    fn room(&self, folder: &Path) -> Option<u64> {
        let about = rustix::fs::statvfs(folder).ok()?;
        Some(about.f_bavail.saturating_mul(about.f_frsize))
    }
}

fn stamp(about: &fs::Metadata) -> Stamp {
    let changed = about.modified().ok().and_then(|t| t.duration_since(UNIX_EPOCH).ok()).map_or(0, |d| d.as_nanos());
    Stamp { size: about.len(), changed }
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::symlink;

    use super::*;

    #[test]
    fn links_in_circles_and_folders_without_end_end() {
        let place = tempfile::tempdir().unwrap();
        let inbox = place.path();
        fs::create_dir_all(inbox.join("Badgers/end-zone")).unwrap();
        fs::write(inbox.join("Badgers/sideline.mp4"), "film").unwrap();
        fs::write(inbox.join("Badgers/notes.pdf"), "").unwrap();
        symlink(inbox.join("Badgers"), inbox.join("Badgers/end-zone/again")).unwrap();
        symlink("loop", inbox.join("loop")).unwrap();
        symlink(inbox, inbox.join("Badgers/all")).unwrap();
        symlink("nowhere.mp4", inbox.join("Badgers/wide.mp4")).unwrap();
        fs::create_dir_all(inbox.join("Deep").join("d/".repeat(20))).unwrap();
        let walked = RealDisk.walk(inbox).unwrap();
        assert_eq!(walked.files.keys().collect::<Vec<_>>(), [Path::new("Badgers/sideline.mp4")]);
        assert_eq!(walked.folders.len(), 2);
        assert!(walked.skipped_count >= 4, "{:?}", walked.skipped);
        assert!(RealDisk.walk(&inbox.join("away")).is_err());
        assert!(RealDisk.room(inbox).is_some());
    }

    #[test]
    fn a_linked_drive_is_as_good_as_a_folder() {
        let place = tempfile::tempdir().unwrap();
        let (inbox, drive) = (place.path().join("inbox"), place.path().join("drive"));
        fs::create_dir_all(&inbox).unwrap();
        fs::create_dir_all(drive.join("cards")).unwrap();
        fs::write(drive.join("cards/1.mp4"), "film").unwrap();
        symlink(&drive, inbox.join("Herons")).unwrap();
        let walked = RealDisk.walk(&inbox).unwrap();
        assert_eq!(walked.files.keys().collect::<Vec<_>>(), [Path::new("Herons/cards/1.mp4")]);
    }
}
