//! How long steps take on this machine, learned from those that were done: what the expected end is told by.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::task::Step;
use crate::base::{Error, IoContext, PendingFile, Result};

/// Seconds of work for a second of film, by step, before anything was done here: a laptop of two cores (measured on made
/// film of 1080 lines, rounded up).
const FIRST: [(Step, f64); 6] = [
    (Step::Probe, 0.005),
    (Step::Scan, 0.08),
    (Step::Pair, 0.01),
    (Step::Cut, 0.02),
    (Step::Prepare, 0.3),
    (Step::Asks, 0.05),
];
/// Bytes of film a second, where nothing else is known: 12 Mbit/s [practice].
const BYTES: f64 = 1.5e6;
/// How much a new step counts against those before.
const NEW: f64 = 0.3;

/// What is learned.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Pace {
    rates: BTreeMap<String, f64>,
}

impl Pace {
    /// Reads it; what cannot be read is learned anew.
    pub fn load(file: &Path) -> Self {
        fs::read(file).ok().and_then(|bytes| serde_json::from_slice(&bytes).ok()).unwrap_or_default()
    }

    /// Keeps it.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn save(&self, file: &Path) -> Result<()> {
        let text = serde_json::to_vec(self).map_err(|cause| {
            Error::failed("cannot keep how long steps take", file.display(), "report this").because(cause)
        })?;
        let pending = PendingFile::new(file)?;
        fs::write(pending.path(), text).doing("keep how long steps take", file)?;
        pending.commit()
    }

    /// A step of so many seconds of film took so long.
    pub fn learn(&mut self, step: Step, film: f64, took: f64) {
        if film > 1.0 && took > 0.0 {
            let rate = took / film;
            let known = self.rates.entry(step.word().to_string()).or_insert(rate);
            *known += NEW * (rate - *known);
        }
    }

    /// Seconds that a step of so many seconds of film will take.
    pub fn expected(&self, step: Step, film: f64) -> f64 {
        let first = FIRST.iter().find(|(of, _)| *of == step).map_or(0.0, |(_, rate)| *rate);
        film * self.rates.get(step.word()).copied().unwrap_or(first)
    }

    /// Seconds of film that so many bytes hold, roughly.
    pub fn film_of(bytes: u64) -> f64 {
        bytes as f64 / BYTES
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_done_tells_how_long_the_next_takes() {
        let mut pace = Pace::default();
        assert!((pace.expected(Step::Scan, 3600.0) - 288.0).abs() < 1e-6);
        pace.learn(Step::Scan, 1000.0, 200.0);
        assert!((pace.expected(Step::Scan, 3600.0) - 720.0).abs() < 1e-6);
        pace.learn(Step::Scan, 1000.0, 100.0);
        assert!((pace.expected(Step::Scan, 1000.0) - 170.0).abs() < 1e-6);
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("pace.json");
        pace.save(&file).unwrap();
        assert_eq!(Pace::load(&file), pace);
        fs::write(&file, "x").unwrap();
        assert_eq!(Pace::load(&file), Pace::default());
    }
}
