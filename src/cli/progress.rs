//! Progress on standard error: a chain of ten links in a terminal, a line now and then elsewhere.

use std::io::IsTerminal;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::output;
use crate::base::Progress;

/// Where no terminal is, a stage is told of at most so often.
const TELL_AGAIN: Duration = Duration::from_secs(30);

/// Shows progress; prints warnings always; knows whether a stop is asked for.
pub struct Chain {
    shown: Shown,
    stage: Mutex<Stage>,
    stop: Arc<AtomicBool>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Shown {
    Bar,
    Lines,
    Nothing,
}

/// The present stage.
#[derive(Default)]
struct Stage {
    name: String,
    total: u64,
    /// Units that make a second of film, of this stage and of the next.
    pace: Option<f64>,
    next_pace: Option<f64>,
    /// The first that was told: rates count from there, since a stage that goes on may begin in the middle.
    first: Option<(Instant, u64)>,
    told: Option<Instant>,
    bar: Option<ProgressBar>,
}

impl Chain {
    /// `quiet`: nothing but warnings.
    pub fn new(quiet: bool) -> Self {
        let dumb = std::env::var_os("TERM").is_some_and(|t| t == "dumb");
        let shown = match (quiet, !dumb && std::io::stderr().is_terminal()) {
            (true, _) => Shown::Nothing,
            (false, true) => Shown::Bar,
            (false, false) => Shown::Lines,
        };
        Self { shown, stage: Mutex::default(), stop: Arc::default() }
    }

    /// What a signal sets.
    pub fn stop(&self) -> &Arc<AtomicBool> {
        &self.stop
    }

    /// Waits, but no longer than until a stop is asked for; false if it is.
    pub fn wait(&self, time: Duration) -> bool {
        const SLICE: Duration = Duration::from_millis(100);
        let end = Instant::now() + time;
        while !self.stop_asked() {
            let left = end.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return true;
            }
            std::thread::sleep(left.min(SLICE));
        }
        false
    }

    /// Takes the bar away.
    pub fn end(&self) {
        if let Some(bar) = self.held().bar.take() {
            bar.finish_and_clear();
        }
    }

    fn held(&self) -> std::sync::MutexGuard<'_, Stage> {
        self.stage.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Progress for Chain {
    fn pace(&self, units_a_second: f64) {
        self.held().next_pace = (units_a_second > 0.0).then_some(units_a_second);
    }

    fn stage(&self, name: &str, total: u64) {
        self.end();
        let mut stage = self.held();
        let pace = stage.next_pace.take();
        *stage = Stage { name: name.to_string(), total, pace, ..Stage::default() };
        match self.shown {
            Shown::Nothing => {}
            Shown::Lines => {
                stage.told = Some(Instant::now());
                // The long stages are those of film.
                if let Some(pace) = pace.filter(|_| total > 0) {
                    output::note(format!("{name}: {} of film", length(total as f64 / pace)));
                }
            }
            Shown::Bar => {
                let bar = ProgressBar::with_draw_target(Some(total.max(1)), ProgressDrawTarget::stderr_with_hz(8));
                if let Ok(style) = ProgressStyle::with_template(if total == 0 { "{msg}" } else { "{bar:10} {msg}" }) {
                    bar.set_style(style.progress_chars("=>-"));
                }
                bar.set_message(name.to_string());
                stage.bar = Some(bar);
            }
        }
    }

    fn at(&self, done: u64) {
        if self.shown == Shown::Nothing {
            return;
        }
        let now = Instant::now();
        let mut stage = self.held();
        let first = *stage.first.get_or_insert((now, done));
        let reading = Reading {
            done,
            total: stage.total,
            pace: stage.pace,
            since_first: (done.saturating_sub(first.1), now.duration_since(first.0).as_secs_f64()),
        };
        if let Some(bar) = &stage.bar {
            bar.set_message(reading.words(&stage.name));
            bar.set_position(done);
        } else if self.shown == Shown::Lines && stage.told.is_none_or(|told| now.duration_since(told) >= TELL_AGAIN) {
            output::note(reading.words(&stage.name));
            stage.told = Some(now);
        }
    }

    fn warn(&self, words: &str) {
        let say = || output::note(format!("{}: {words}", output::check_word()));
        match &self.held().bar {
            Some(bar) => bar.suspend(say),
            None => say(),
        }
    }

    fn stop_asked(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}

/// How far a stage is.
struct Reading {
    done: u64,
    total: u64,
    pace: Option<f64>,
    /// Units done and seconds gone since the first that was told.
    since_first: (u64, f64),
}

/// A rate is told from so many seconds on: before, it is chance.
const STEADY: f64 = 1.0;

impl Reading {
    /// `measure sideline 12 %, 41 x real time, 2:10 left`; of what is counted, `cut sideline, clip 3 of 5, 0:12 left`.
    fn words(&self, name: &str) -> String {
        let share = self.done as f64 / self.total.max(1) as f64 * 100.0;
        let mut words = match (self.total, self.pace) {
            (0, _) => format!("{name} {}", self.done),
            (_, Some(_)) => format!("{name} {share:.0} %"),
            (total, None) => format!("{name} {} of {total}", self.done),
        };
        let (units, seconds) = self.since_first;
        if units > 0 && seconds >= STEADY {
            let rate = units as f64 / seconds;
            if let Some(pace) = self.pace {
                let real = rate / pace;
                words.push_str(&if real < 10.0 {
                    format!(", {real:.1} x real time")
                } else {
                    format!(", {real:.0} x real time")
                });
            }
            if self.total > self.done {
                words.push_str(&format!(", {} left", length((self.total - self.done) as f64 / rate)));
            }
        }
        words
    }
}

/// Hours, minutes and seconds.
fn length(seconds: f64) -> String {
    let whole = seconds.clamp(0.0, 3.6e7).round() as u64;
    let (hours, minutes, seconds) = (whole / 3600, whole / 60 % 60, whole % 60);
    if hours > 0 { format!("{hours}:{minutes:02}:{seconds:02}") } else { format!("{minutes}:{seconds:02}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rate_and_time_left_are_told_once_they_are_steady() {
        let film = |done, since_first| Reading { done, total: 54_000, pace: Some(30.0), since_first };
        assert_eq!(film(5400, (0, 0.0)).words("measure sideline"), "measure sideline 10 %");
        assert_eq!(film(5400, (5000, 0.2)).words("measure"), "measure 10 %");
        // 600 frames a second of film at 30: 20 times real time; 48600 frames are left.
        assert_eq!(film(5400, (3000, 5.0)).words("measure"), "measure 10 %, 20 x real time, 1:21 left");
        assert_eq!(film(5400, (30, 2.0)).words("measure"), "measure 10 %, 0.5 x real time, 54:00 left");
        assert_eq!(film(54_000, (3000, 5.0)).words("measure"), "measure 100 %, 20 x real time");
        let clips = Reading { done: 3, total: 5, pace: None, since_first: (2, 12.0) };
        assert_eq!(clips.words("cut sideline, clip"), "cut sideline, clip 3 of 5, 0:12 left");
        assert_eq!(Reading { done: 4, total: 0, pace: None, since_first: (0, 0.0) }.words("pair"), "pair 4");
        assert_eq!((length(59.6), length(3725.0)), ("1:00".into(), "1:02:05".into()));
    }

    #[test]
    fn a_stop_ends_a_wait() {
        let chain = Chain::new(true);
        assert!(chain.wait(Duration::ZERO));
        chain.stop().store(true, Ordering::Relaxed);
        assert!(chain.stop_asked() && !chain.wait(Duration::from_secs(3600)));
    }
}
