//! The write lock: one process at a time writes to a library, and the others learn which.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read, Seek, Write};
use std::path::Path;

use super::folder::LOCK;
use crate::base::{Error, ErrorKind, IoContext, Result};

/// The lock, held until dropped. The system frees it when the process ends in whatever way, so a file left behind
/// holds nobody up; it is never removed, since removing it would let two processes hold two files of one name.
#[derive(Debug)]
pub struct WriteLock {
    file: File,
}

impl WriteLock {
    /// Takes the lock of the library in `folder`, or says who has it ([`ErrorKind::Busy`]). Waits for nobody.
    pub(super) fn take(folder: &Path) -> Result<Self> {
        Self::named(folder, LOCK, "the library is being written to")
    }

    /// Takes another lock of a library, a file in its folder; `what` the holder does, for whoever finds it taken.
    ///
    /// # Errors
    /// It is taken ([`ErrorKind::Busy`]), by whom; its file cannot be made.
    pub fn named(folder: &Path, name: &str, what: &str) -> Result<Self> {
        let path = folder.join(name);
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .doing("open the library's lock file", &path)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                // The holder may be about to write its name, or have it half written: then it stays unnamed.
                let mut words = String::new();
                let _ = file.read_to_string(&mut words);
                return Err(busy(folder, &words, what));
            }
            Err(TryLockError::Error(cause)) => return Err(cause).doing("lock the library", &path),
        }
        let words = format!("pid {}\nhost {}\ncommand {}\n", std::process::id(), host(), command());
        file.set_len(0)
            .and_then(|()| file.rewind())
            .and_then(|()| file.write_all(words.as_bytes()))
            .doing("write who holds the library", &path)?;
        Ok(Self { file })
    }
}

impl Drop for WriteLock {
    fn drop(&mut self) {
        // Emptied so that a reader does not take a past holder for a present one. The lock itself goes with the file.
        let _ = self.file.set_len(0);
    }
}

fn busy(folder: &Path, words: &str, does: &str) -> Error {
    let line = |key: &str| {
        words.lines().find_map(|l| l.strip_prefix(key)?.strip_prefix(' ')).map(str::trim).filter(|w| !w.is_empty())
    };
    let (what, next) = match (line("pid"), line("host"), line("command")) {
        (Some(pid), Some(host), Some(command)) => (
            format!("{does} by process {pid} on {host} ({command})"),
            format!("wait until it is done, or end it with `kill {pid}` on {host}; then run the same command again"),
        ),
        _ => {
            (format!("{does} by another process"), "wait until it is done, then run the same command again".to_string())
        }
    };
    Error::refused(what, folder.display(), next).of_kind(ErrorKind::Busy)
}

/// This machine's name.
fn host() -> String {
    // Linux keeps it here; elsewhere the shell's word for it, else the plain fact.
    std::fs::read_to_string("/proc/sys/kernel/hostname")
        .ok()
        .or_else(|| std::env::var("HOSTNAME").ok())
        .map(|name| name.trim().to_string())
        .filter(|name| !name.is_empty())
        .unwrap_or_else(|| "this machine".into())
}

/// The command this process was started by, on one line of at most 200 signs.
fn command() -> String {
    let words: Vec<_> = std::env::args_os().map(|a| a.to_string_lossy().into_owned()).collect();
    words.join(" ").chars().map(|c| if c.is_control() { ' ' } else { c }).take(200).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_holder_is_refused_and_told_who_the_first_is() {
        let folder = tempfile::tempdir().unwrap();
        let held = WriteLock::take(folder.path()).unwrap();
        let error = WriteLock::take(folder.path()).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Busy);
        let pid = std::process::id().to_string();
        assert!(error.what.contains(&format!("process {pid} on {}", host())), "{}", error.what);
        assert!(error.what.contains(&command()), "{}", error.what);
        assert!(error.next.contains(&format!("kill {pid}")), "{}", error.next);
        drop(held);
        assert_eq!(std::fs::read_to_string(folder.path().join(LOCK)).unwrap(), "");
        WriteLock::take(folder.path()).unwrap();
    }

    #[test]
    fn a_file_left_by_a_killed_process_holds_nobody_up() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join(LOCK), "pid 1\nhost elsewhere\ncommand downbox cut and more words than ours")
            .unwrap();
        let _held = WriteLock::take(folder.path()).unwrap();
        let words = std::fs::read_to_string(folder.path().join(LOCK)).unwrap();
        assert!(words.contains(&format!("pid {}\n", std::process::id())) && !words.contains("elsewhere"), "{words}");
    }

    #[test]
    fn a_holder_that_has_not_yet_written_its_name_stays_unnamed() {
        let error = busy(Path::new("lib"), "pid 12\nho", "the library is being written to");
        assert_eq!(error.what, "the library is being written to by another process");
    }
}
