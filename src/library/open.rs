//! Opening, making and closing a library.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};

use super::folder::{self, BARE_SETTINGS, DATABASE, FOLDERS, SETTINGS, WAL};
use super::lock::WriteLock;
use super::schema::{self, Standing};
use super::sql_error::SqlContext;
use crate::base::{Error, ErrorKind, IoContext, PendingFile, Result};

/// What a library is opened for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// Asking. Goes on while another process writes.
    Read,
    /// Changing. One process at a time.
    Write,
}

/// An open library. Dropped, it is closed and everything written is in its one file; [`Library::close`] does the same
/// and tells of errors.
#[derive(Debug)]
pub struct Library {
    folder: PathBuf,
    // Closed before the lock goes: fields drop in this order.
    db: Connection,
    lock: Option<WriteLock>,
}

/// How long a statement waits for another's short lock (a checkpoint, an upgrade). Our own choice.
const PATIENCE: Duration = Duration::from_secs(10);
/// Memory for pages of the database, KiB (negative, as SQLite has it): a season of a hundred games is 30 MB, and SQLite's own
/// 2 MB read it again and again.
const CACHE: i64 = -32_000;

impl Library {
    /// The folder of the library in question: `explicit` (`--library`), else `env` (`DOWNBOX_LIBRARY`) unless empty,
    /// else the nearest folder from `cwd` upward that holds `downbox.toml`, else `cwd/film-library` if that is one,
    /// else none. A folder that was named is given as named, whether or not it exists.
    pub fn find(explicit: Option<&Path>, env: Option<&OsStr>, cwd: &Path) -> Option<PathBuf> {
        folder::find(explicit, env, cwd)
    }

    /// Where a library is made if none is named: `film-library` in `cwd`.
    pub fn usual(cwd: &Path) -> PathBuf {
        cwd.join(folder::USUAL)
    }

    /// Opens the library in `folder`.
    ///
    /// # Errors
    /// The folder is no library; it is held by another writer ([`ErrorKind::Busy`], naming it); it was written by a
    /// newer program; it lies in a read-only folder with changes not yet taken into its file.
    pub fn open(folder: &Path, access: Access) -> Result<Self> {
        let database = folder.join(DATABASE);
        if !folder.join(SETTINGS).is_file() {
            return Err(Error::refused(
                "there is no library here (no downbox.toml)",
                folder.display(),
                "name one with --library, or make one with `downbox cut --library DIR`",
            ));
        }
        if !database.is_file() {
            return Err(Error::refused(
                "the library has no downbox.sqlite",
                folder.display(),
                "put back the newest copy you have of it; if nothing has been cut yet, remove downbox.toml and run \
                 `downbox cut` again",
            ));
        }
        match access {
            Access::Write => Self::open_to_write(folder),
            Access::Read => Self::open_to_read(folder),
        }
    }

    /// Opens the library in `folder` for writing, making it first where there is none. `settings` is the text of a new
    /// `downbox.toml`, the defaults commented out; an existing one is kept.
    pub fn create(folder: &Path, settings: Option<&str>) -> Result<Self> {
        let marker = folder.join(SETTINGS);
        if marker.is_file() && folder.join(DATABASE).is_file() {
            return Self::open_to_write(folder);
        }
        let clips = folder.join("clips");
        if marker.is_file() && fs::read_dir(&clips).is_ok_and(|mut entries| entries.next().is_some()) {
            // Clips without their database: a new one beside them would hide the loss.
            return Self::open(folder, Access::Write);
        }
        fs::create_dir_all(folder).doing("make the library's folder", folder)?;
        let library = Self::open_to_write(folder)?;
        for name in FOLDERS {
            let inner = folder.join(name);
            fs::create_dir_all(&inner).doing("make the library's folder", &inner)?;
        }
        // The marker comes last: what bears it is whole.
        if !marker.is_file() {
            let pending = PendingFile::new(&marker)?;
            fs::write(pending.path(), settings.unwrap_or(BARE_SETTINGS)).doing("write the settings", &marker)?;
            pending.commit()?;
        }
        Ok(library)
    }

    fn open_to_write(folder: &Path) -> Result<Self> {
        Self::open_on(folder, folder::on_network(folder))
    }

    /// `network`: whether the folder lies where a log's shared memory does not work.
    pub(super) fn open_on(folder: &Path, network: bool) -> Result<Self> {
        let lock = WriteLock::take(folder)?;
        let mut db = Connection::open(folder.join(DATABASE)).doing("open the library", folder)?;
        let standing = schema::standing(&db, folder)?;
        (|| {
            db.busy_timeout(PATIENCE)?;
            let mode = if network { "TRUNCATE" } else { "WAL" };
            db.query_row(&format!("PRAGMA journal_mode = {mode}"), [], |_| Ok(()))?;
            // A night's work outlives a power cut: each commit is on the disk before the next clip begins.
            db.pragma_update(None, "synchronous", "FULL")?;
            db.pragma_update(None, "cache_size", CACHE)?;
            db.pragma_update(None, "foreign_keys", true)
        })()
        .doing("open the library", folder)?;
        if standing == Standing::Old {
            schema::upgrade(&mut db, folder)?;
        }
        Ok(Self { folder: folder.to_path_buf(), db, lock: Some(lock) })
    }

    fn open_to_read(folder: &Path) -> Result<Self> {
        // Opened as if to write and then barred from it: closing then tidies the log away. Where the file or folder is
        // read-only SQLite says so here or at the first question.
        let open = || -> rusqlite::Result<Connection> {
            let db = Connection::open_with_flags(
                folder.join(DATABASE),
                OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX,
            )?;
            db.busy_timeout(PATIENCE)?;
            db.pragma_update(None, "query_only", true)?;
            db.pragma_update(None, "cache_size", CACHE)?;
            db.query_row("SELECT count(*) FROM sqlite_schema", [], |_| Ok(()))?;
            Ok(db)
        };
        let db = match open() {
            Ok(db) => db,
            Err(cause) if is_read_only(&cause) => return Self::open_frozen(folder),
            Err(cause) => return Err(cause).doing("open the library", folder),
        };
        match schema::standing(&db, folder)? {
            Standing::Current => Ok(Self { folder: folder.to_path_buf(), db, lock: None }),
            Standing::Old => {
                drop(db);
                Self::open_to_write(folder)?.close()?;
                Self::open_to_read(folder)
            }
        }
    }

    /// Opens a library that nobody can write to: a read-only folder or disk, where the log's own files cannot be made.
    pub(super) fn open_frozen(folder: &Path) -> Result<Self> {
        let wal = folder.join(WAL);
        if fs::metadata(&wal).is_ok_and(|log| log.len() > 0) {
            return Err(Error::refused(
                "the library lies in a read-only folder and was not closed: its newest changes are in \
                 downbox.sqlite-wal, which cannot be read here",
                folder.display(),
                "open it once where it can be written to, or copy the whole folder to such a place",
            ));
        }
        let database = folder.join(DATABASE);
        let uri = format!("file:{}?immutable=1", uri_path(&database)?);
        let db = Connection::open_with_flags(
            uri,
            OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI | OpenFlags::SQLITE_OPEN_NO_MUTEX,
        )
        .doing("open the library", folder)?;
        match schema::standing(&db, folder)? {
            Standing::Current => Ok(Self { folder: folder.to_path_buf(), db, lock: None }),
            Standing::Old => Err(Error::refused(
                "the library is of an older version and lies in a read-only folder, so that it cannot be brought up",
                folder.display(),
                "open it once where it can be written to, or copy the whole folder to such a place",
            )),
        }
    }

    /// Closes it: everything written is in `downbox.sqlite`, and nothing lies beside it unless another process has
    /// the library open too.
    pub fn close(self) -> Result<()> {
        self.settle().doing("close the library", &self.folder)
    }

    /// Takes the log into the file and empties it.
    fn settle(&self) -> rusqlite::Result<()> {
        if self.lock.is_some() {
            // A reader at work keeps the log's end: the next to close takes it in.
            self.db.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))?;
        }
        Ok(())
    }

    /// The library's folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Where something lies that the library names by a relative path.
    pub fn at(&self, relative: &Path) -> PathBuf {
        self.folder.join(relative)
    }

    /// Whether it was opened for writing.
    pub fn writable(&self) -> bool {
        self.lock.is_some()
    }

    pub(super) fn db(&self) -> &Connection {
        &self.db
    }

    /// One change, whole or not at all. `doing` reads as "cannot {doing}".
    pub(super) fn change<T>(&mut self, doing: &str, work: impl FnOnce(&Transaction<'_>) -> Result<T>) -> Result<T> {
        if self.lock.is_none() {
            return Err(Error::failed(
                format!("cannot {doing}: the library was opened for reading"),
                self.folder.display(),
                "this is a fault of the program; please report it",
            ));
        }
        let begun = self.db.transaction_with_behavior(TransactionBehavior::Immediate);
        let transaction = begun.doing(doing, &self.folder)?;
        let done = work(&transaction)?;
        transaction.commit().doing(doing, &self.folder)?;
        Ok(done)
    }
}

impl Drop for Library {
    fn drop(&mut self) {
        // Nobody is left to tell; what is in the log is safe there and is taken in by the next to open it.
        let _ = self.settle();
    }
}

/// Whether SQLite stumbled over a place it may not write to.
fn is_read_only(cause: &rusqlite::Error) -> bool {
    use rusqlite::ErrorCode::{CannotOpen, PermissionDenied, ReadOnly};
    matches!(cause.sqlite_error_code(), Some(CannotOpen | PermissionDenied | ReadOnly))
}

/// A path in a `file:` URI: all but letters, digits and `/-._~` as `%XX`.
fn uri_path(path: &Path) -> Result<String> {
    let path = std::path::absolute(path).doing("find the library's folder", path)?;
    let Some(text) = path.to_str() else {
        return Err(Error::refused(
            "the library's path is not text that a read-only library can be opened by",
            path.display(),
            "rename the folder with plain letters",
        )
        .of_kind(ErrorKind::Refused));
    };
    Ok(text
        .bytes()
        .map(|b| match b {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'/' | b'-' | b'.' | b'_' | b'~' => char::from(b).to_string(),
            other => format!("%{other:02X}"),
        })
        .collect())
}
