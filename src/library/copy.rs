//! A copy of a library, taken while others may write to it.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::Connection;
use rusqlite::backup::Backup;

use super::check::ClipRecord;
use super::folder::{DATABASE, LOCK, SETTINGS};
use super::sql_error::SqlContext;
use super::{Access, Library};
use crate::base::{Error, IoContext, PendingFile, Progress, Result, go_on, sync_folder};

/// What was copied.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Copied {
    /// Clips, each read again and found as recorded.
    pub clips: usize,
    /// Other files: settings, measurements, cutups.
    pub others: usize,
    /// Bytes of all.
    pub bytes: u64,
    /// Clips that could not be copied as recorded, and why. The copy does not name them.
    pub left_out: Vec<(PathBuf, String)>,
}

/// Looks at a library that is being written to: a clip that was replaced between look and copy is looked up again. Our
/// own choice: a clip is replaced once in a run of the cutter.
const ROUNDS: usize = 3;

impl Library {
    /// Copies the library to `to`, a folder that is not there yet or is empty. The database is copied as of one moment
    /// (SQLite's backup), then every clip it names, each read again and held against its recorded length and hash, then
    /// the rest. The settings come last: a copy that was broken off is no library, and may be begun again.
    ///
    /// # Errors
    /// The folder holds something; the disk; a stop.
    pub fn copy_to(&self, to: &Path, progress: &dyn Progress) -> Result<Copied> {
        let to = std::path::absolute(to).doing("find the folder to copy to", to)?;
        let from = self.folder().canonicalize().doing("find the library", self.folder())?;
        let above = to.ancestors().find_map(|above| above.canonicalize().ok());
        if above.is_some_and(|above| above.starts_with(&from)) {
            let next = "name a folder outside the library";
            return Err(Error::refused("a library cannot be copied into itself", to.display(), next));
        }
        if to.join(SETTINGS).exists() || (to.exists() && !begun(&to)) {
            let next = "name a folder that is not there yet";
            return Err(Error::refused("the folder to copy to is not empty", to.display(), next));
        }
        fs::create_dir_all(&to).doing("make the folder", &to)?;
        let mut done = Copied::default();
        for round in 1..=ROUNDS {
            let database = self.copy_database(&to)?;
            let clips = super::check::clips(&database, None).doing("read what was copied", &to)?;
            done = Copied::default();
            progress.stage("copy clips", clips.len() as u64);
            for (number, clip) in clips.iter().enumerate() {
                go_on(progress, "copying the library")?;
                match copy_clip(&from, &to, clip) {
                    Ok(()) => {
                        done.clips += 1;
                        done.bytes += clip.bytes;
                    }
                    Err(error) if error.kind == crate::base::ErrorKind::DiskFull => return Err(error),
                    Err(error) => done.left_out.push((clip.path.clone(), error.to_string())),
                }
                progress.at(number as u64 + 1);
            }
            if done.left_out.is_empty() || round == ROUNDS {
                for (path, _) in &done.left_out {
                    database
                        .execute("DELETE FROM clips WHERE path = ?", [path.to_string_lossy()])
                        .doing("leave a clip out of the copy", &to)?;
                }
                break;
            }
        }
        for name in entries(&from)? {
            // Rendered segments can be made again, and change while reels are made.
            let own = [DATABASE, LOCK, SETTINGS, "clips", "segments"].contains(&name.as_str());
            if own || name.starts_with(DATABASE) || name.starts_with('.') {
                continue;
            }
            go_on(progress, "copying the library")?;
            copy_rest(&from.join(&name), &to.join(&name), &mut done)?;
        }
        fs::create_dir_all(to.join("clips")).doing("make the folder", &to)?;
        copy_file(&from.join(SETTINGS), &to.join(SETTINGS))?;
        sync_folder(&to)?;
        Library::open(&to, Access::Write)?.close()?;
        Ok(done)
    }

    /// The database as of one moment, under its final name.
    fn copy_database(&self, to: &Path) -> Result<Connection> {
        let doing = "copy the database";
        let path = to.join(DATABASE);
        let mut database = Connection::open(&path).doing(doing, to)?;
        (|| {
            // Of a copy that was broken off or of an earlier round nothing may stay behind.
            database.query_row("PRAGMA journal_mode = DELETE", [], |_| Ok(()))?;
            Backup::new(self.db(), &mut database)?.run_to_completion(1000, Duration::from_millis(5), None)?;
            database.query_row("PRAGMA journal_mode = DELETE", [], |_| Ok(()))
        })()
        .doing(doing, to)?;
        Ok(database)
    }
}

/// Whether a folder is empty or holds a copy that was broken off: a database and clips without settings.
fn begun(to: &Path) -> bool {
    let names = entries(to).unwrap_or_else(|_| vec!["?".into()]);
    names.is_empty() || (names.iter().any(|n| n == DATABASE) && !names.iter().any(|n| n == SETTINGS))
}

fn entries(folder: &Path) -> Result<Vec<String>> {
    let mut names = Vec::new();
    for entry in fs::read_dir(folder).doing("read the folder", folder)? {
        names.push(entry.doing("read the folder", folder)?.file_name().to_string_lossy().into_owned());
    }
    names.sort();
    Ok(names)
}

fn copy_clip(from: &Path, to: &Path, clip: &ClipRecord) -> Result<()> {
    let (source, target) = (from.join(&clip.path), to.join(&clip.path));
    let right = |path: &Path| file_hash(path).is_ok_and(|(hash, bytes)| hash == clip.hash && bytes == clip.bytes);
    if right(&target) {
        return Ok(());
    }
    copy_file(&source, &target)?;
    if right(&target) {
        return Ok(());
    }
    // A clip that is not as recorded has no place in the copy.
    fs::remove_file(&target).doing("take back a clip that is not as recorded", &target)?;
    Err(Error::failed("the clip is not as recorded", source.display(), "see: downbox check --deep"))
}

fn copy_rest(from: &Path, to: &Path, done: &mut Copied) -> Result<()> {
    if from.is_dir() {
        fs::create_dir_all(to).doing("make the folder", to)?;
        for name in entries(from)?.iter().filter(|name| !name.starts_with('.')) {
            copy_rest(&from.join(name), &to.join(name), done)?;
        }
        return Ok(());
    }
    match copy_file(from, to) {
        Ok(bytes) => {
            done.others += 1;
            done.bytes += bytes;
            Ok(())
        }
        // Another process may throw an unfinished measurement away between look and copy.
        Err(_) if !from.exists() => Ok(()),
        Err(error) => Err(error),
    }
}

fn copy_file(from: &Path, to: &Path) -> Result<u64> {
    let pending = PendingFile::new(to)?;
    let bytes = fs::copy(from, pending.path()).doing("copy", from)?;
    pending.commit()?;
    Ok(bytes)
}

/// BLAKE3 of a file, hex, and its size.
///
/// # Errors
/// It cannot be read.
pub fn file_hash(path: &Path) -> Result<(String, u64)> {
    let file = fs::File::open(path).doing("read the file", path)?;
    let mut hash = blake3::Hasher::new();
    hash.update_reader(&file).doing("read the file", path)?;
    Ok((hash.finalize().to_hex().to_string(), hash.count()))
}
