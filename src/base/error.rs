//! The one error type: what was being done, to what, what went wrong, what to try next.

use std::fmt;
use std::path::Path;

/// The crate's result.
pub type Result<T, E = Error> = std::result::Result<T, E>;

/// How an error ends the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ErrorKind {
    /// The input or the request cannot be served as it is; a person has to change something.
    Refused,
    /// The machine failed us: disk, codec, permission.
    Failed,
    /// Another process holds what is needed.
    Busy,
    /// There is no room left on the disk.
    DiskFull,
    /// Work was interrupted from outside.
    Interrupted,
}

/// An error a person can act on.
///
/// Display prints `doing: what went wrong (place)`; [`Error::next`] is the step to try.
#[derive(Debug, thiserror::Error)]
pub struct Error {
    /// How it ends the program.
    pub kind: ErrorKind,
    /// What was being done, and what went wrong, as one sentence without a full stop.
    pub what: String,
    /// The file, cell, word or command it happened at; empty where there is none.
    pub place: String,
    /// What to try next, as an imperative sentence.
    pub next: String,
    /// The cause underneath, where there is one.
    #[source]
    pub source: Option<Box<dyn std::error::Error + Send + Sync>>,
}

impl Error {
    /// An input or a request that cannot be served as it is.
    pub fn refused(what: impl Into<String>, place: impl fmt::Display, next: impl Into<String>) -> Self {
        Self { kind: ErrorKind::Refused, what: what.into(), place: place.to_string(), next: next.into(), source: None }
    }

    /// A failure of the machine or of a library.
    pub fn failed(what: impl Into<String>, place: impl fmt::Display, next: impl Into<String>) -> Self {
        Self { kind: ErrorKind::Failed, ..Self::refused(what, place, next) }
    }

    /// The same error of another kind.
    #[must_use]
    pub fn of_kind(mut self, kind: ErrorKind) -> Self {
        self.kind = kind;
        self
    }

    /// Keeps the cause underneath.
    #[must_use]
    pub fn because(mut self, source: impl Into<Box<dyn std::error::Error + Send + Sync>>) -> Self {
        self.source = Some(source.into());
        self
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what)?;
        if !self.place.is_empty() {
            write!(f, ": {}", self.place)?;
        }
        if let Some(source) = &self.source {
            write!(f, " ({source})")?;
        }
        Ok(())
    }
}

/// Turns an I/O result into an [`Error`] that names the file and what was being done.
pub trait IoContext<T> {
    /// `doing` reads as "cannot {doing}".
    fn doing(self, doing: &str, path: &Path) -> Result<T>;
}

impl<T> IoContext<T> for std::io::Result<T> {
    fn doing(self, doing: &str, path: &Path) -> Result<T> {
        self.map_err(|cause| {
            let (kind, next) = match cause.kind() {
                std::io::ErrorKind::StorageFull | std::io::ErrorKind::QuotaExceeded => {
                    (ErrorKind::DiskFull, "free some room on this disk, then run the same command again")
                }
                std::io::ErrorKind::NotFound => (ErrorKind::Refused, "check that the path is right"),
                std::io::ErrorKind::PermissionDenied => (ErrorKind::Refused, "check who owns it and its permissions"),
                std::io::ErrorKind::ReadOnlyFilesystem => {
                    (ErrorKind::Refused, "choose a folder that can be written to")
                }
                std::io::ErrorKind::Interrupted => (ErrorKind::Interrupted, "run the same command again"),
                _ => (ErrorKind::Failed, "check the disk, then run the same command again"),
            };
            Error::failed(format!("cannot {doing}"), path.display(), next).of_kind(kind).because(cause)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_disk_is_told_apart_and_named() {
        let full: std::io::Result<()> = Err(std::io::Error::from(std::io::ErrorKind::StorageFull));
        let error = full.doing("write the clip", Path::new("clips/001.mp4")).unwrap_err();
        assert_eq!(error.kind, ErrorKind::DiskFull);
        assert!(error.to_string().starts_with("cannot write the clip: clips/001.mp4 ("), "{error}");
        assert!(error.next.contains("free some room"));
    }
}
