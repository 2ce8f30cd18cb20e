//! Time of day and waiting, behind a trait so that tests need no real sleep.

use std::time::{Duration, SystemTime};

/// Tells the time and waits.
pub trait Clock: Sync {
    /// The time of day.
    fn now(&self) -> SystemTime;
    /// Waits.
    fn wait(&self, how_long: Duration);
}

/// The machine's clock.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    fn now(&self) -> SystemTime {
        SystemTime::now()
    }
    fn wait(&self, how_long: Duration) {
        std::thread::sleep(how_long);
    }
}
