//! How far the work is, told to whoever watches.

use super::{Error, ErrorKind, Result};

/// Receives progress and warnings. Rooms call it; the command line draws it; tests collect it.
pub trait Progress: Sync {
    /// A stage begins: its name ("scan sideline") and how many units it has (0 = unknown).
    fn stage(&self, name: &str, total: u64);
    /// `done` units of the present stage are done (absolute, not a step).
    fn at(&self, done: u64);
    /// Something to know of that does not stop the work.
    fn warn(&self, words: &str);
    /// The units of the stage that begins next are frames, so many a second of film: what makes a rate of them.
    fn pace(&self, _units_a_second: f64) {}
    /// Whether the work should stop as soon as it can do so cleanly.
    fn stop_asked(&self) -> bool {
        false
    }
}

/// An error of kind `Interrupted` if the work was asked to stop. `doing` reads as "stopped while {doing}".
///
/// # Errors
/// That one.
pub fn go_on(progress: &dyn Progress, doing: &str) -> Result<()> {
    if !progress.stop_asked() {
        return Ok(());
    }
    let next = "run the same command again: what is done is not done again";
    Err(Error::failed(format!("stopped while {doing}"), "", next).of_kind(ErrorKind::Interrupted))
}

/// Says nothing.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Progress for Silent {
    fn stage(&self, _name: &str, _total: u64) {}
    fn at(&self, _done: u64) {}
    fn warn(&self, _words: &str) {}
}
