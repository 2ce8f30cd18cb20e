//! How far the work is, told to whoever watches.

/// Receives progress and warnings. Rooms call it; the command line draws it; tests collect it.
pub trait Progress: Sync {
    /// A stage begins: its name ("scan sideline") and how many units it has (0 = unknown).
    fn stage(&self, name: &str, total: u64);
    /// `done` units of the present stage are done (absolute, not a step).
    fn at(&self, done: u64);
    /// Something to know of that does not stop the work.
    fn warn(&self, words: &str);
    /// Whether the work should stop as soon as it can do so cleanly.
    fn stop_asked(&self) -> bool {
        false
    }
}

/// Says nothing.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Progress for Silent {
    fn stage(&self, _name: &str, _total: u64) {}
    fn at(&self, _done: u64) {}
    fn warn(&self, _words: &str) {}
}
