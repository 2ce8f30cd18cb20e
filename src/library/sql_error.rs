//! Database errors as errors a person can act on.

use std::path::Path;

use rusqlite::ErrorCode;

use crate::base::{Error, ErrorKind, Result};

/// Turns a database result into an [`Error`] that names the library and what was being done.
pub(super) trait SqlContext<T> {
    /// `doing` reads as "cannot {doing}".
    fn doing(self, doing: &str, library: &Path) -> Result<T>;
}

impl<T> SqlContext<T> for rusqlite::Result<T> {
    fn doing(self, doing: &str, library: &Path) -> Result<T> {
        self.map_err(|cause| {
            let (kind, next) = match cause.sqlite_error_code() {
                Some(ErrorCode::DiskFull) => {
                    (ErrorKind::DiskFull, "free some room on this disk, then run the same command again")
                }
                Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
                    (ErrorKind::Busy, "wait until the other program is done, then run the same command again")
                }
                Some(ErrorCode::NotADatabase | ErrorCode::DatabaseCorrupt) => {
                    (ErrorKind::Failed, "downbox.sqlite is damaged: put back the newest copy you have of it")
                }
                Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied | ErrorCode::CannotOpen) => {
                    (ErrorKind::Refused, "check who owns the library's folder and its permissions")
                }
                _ => (ErrorKind::Failed, "check the disk, then run the same command again"),
            };
            Error::failed(format!("cannot {doing}"), library.display(), next).of_kind(kind).because(cause)
        })
    }
}

/// A frame number, size or count as the database's integer. Nothing we store comes near 2^63.
pub(super) fn int(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

/// Back from the database's integer; what the schema's checks rule out reads as 0.
pub(super) fn uint(number: i64) -> u64 {
    u64::try_from(number).unwrap_or(0)
}

/// The same for 32 bits, as in rates.
pub(super) fn uint32(number: i64) -> u32 {
    u32::try_from(number).unwrap_or(0)
}
