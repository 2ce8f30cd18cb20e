//! How far the running step is, for the status, and the flag by which it is broken off.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Instant;

use crate::base::Progress;

/// Told by the step, read by the loop.
#[derive(Debug, Default)]
pub struct Gauge {
    stage: Mutex<Stage>,
    stop: AtomicBool,
}

#[derive(Debug, Default)]
struct Stage {
    name: String,
    total: u64,
    done: u64,
    pace: Option<f64>,
    next_pace: Option<f64>,
    first: Option<(Instant, u64)>,
}

/// A reading.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Reading {
    /// The stage's name.
    pub stage: String,
    /// Done of all, 0 to 1; `None` where it is not known.
    pub share: Option<f64>,
    /// In film's time.
    pub rate: Option<f64>,
    /// Seconds left of the stage.
    pub left: Option<f64>,
}

impl Gauge {
    /// Breaks the step off as soon as nothing is half.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// How far it is.
    pub fn read(&self) -> Reading {
        let stage = self.held();
        let share = (stage.total > 0).then(|| (stage.done as f64 / stage.total as f64).clamp(0.0, 1.0));
        let gone = stage.first.map(|(since, from)| (since.elapsed().as_secs_f64(), stage.done.saturating_sub(from)));
        // Before a second has gone it is chance.
        let speed = gone.filter(|(seconds, units)| *seconds >= 1.0 && *units > 0).map(|(s, units)| units as f64 / s);
        Reading {
            stage: stage.name.clone(),
            share,
            rate: speed.zip(stage.pace).map(|(speed, pace)| speed / pace),
            left: speed.filter(|_| stage.total > 0).map(|speed| stage.total.saturating_sub(stage.done) as f64 / speed),
        }
    }

    fn held(&self) -> MutexGuard<'_, Stage> {
        self.stage.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Progress for Gauge {
    fn stage(&self, name: &str, total: u64) {
        let mut stage = self.held();
        let pace = stage.next_pace.take();
        *stage = Stage { name: name.to_string(), total, pace, ..Stage::default() };
    }

    fn at(&self, done: u64) {
        let mut stage = self.held();
        stage.done = done;
        stage.first.get_or_insert((Instant::now(), done));
    }

    fn warn(&self, words: &str) {
        tracing::warn!("{}", crate::base::shown(words));
    }

    fn pace(&self, units_a_second: f64) {
        self.held().next_pace = (units_a_second > 0.0).then_some(units_a_second);
    }

    fn stop_asked(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_tells_the_share_and_no_chance_rate() {
        let gauge = Gauge::default();
        gauge.pace(30.0);
        gauge.stage("measure sideline", 100);
        gauge.at(25);
        let reading = gauge.read();
        assert_eq!((reading.stage.as_str(), reading.share, reading.rate), ("measure sideline", Some(0.25), None));
        gauge.stage("pair", 0);
        assert_eq!(gauge.read().share, None);
        assert!(!gauge.stop_asked());
        gauge.stop();
        assert!(gauge.stop_asked());
    }
}
