//! Time, behind a trait so that tests set it.

use std::time::{Duration, Instant};

use jiff::ZonedDateTime;

/// Two clocks: one for lengths of time, which never goes back, and the one on the wall, which may be set.
pub trait Clock: Send {
    /// Since some moment of the past.
    fn now(&self) -> Duration;
    /// On the wall, for people and for the hours of the day.
    fn wall(&self) -> ZonedDateTime;
}

/// The machine's.
#[derive(Debug, Clone, Copy)]
pub struct RealClock(Instant);

impl Default for RealClock {
    fn default() -> Self {
        Self(Instant::now())
    }
}

impl Clock for RealClock {
    fn now(&self) -> Duration {
        self.0.elapsed()
    }

    fn wall(&self) -> ZonedDateTime {
        ZonedDateTime::now()
    }
}

/// A moment as people read it: `2026-09-12 06:00`.
pub fn told(wall: &ZonedDateTime) -> String {
    wall.strftime("%Y-%m-%d %H:%M").to_string()
}

/// Whether a moment lies within hours of the day (minutes from midnight; those that end before they begin run over it).
pub fn within(wall: &ZonedDateTime, hours: Option<(u32, u32)>) -> bool {
    let minute = u32::from(wall.hour().unsigned_abs()) * 60 + u32::from(wall.minute().unsigned_abs());
    match hours {
        None => false,
        Some((from, to)) if from <= to => (from..to).contains(&minute),
        Some((from, to)) => minute >= from || minute < to,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_may_run_over_midnight() {
        let at = |text: &str| format!("2026-09-12T{text}:00[UTC]").parse::<ZonedDateTime>().unwrap();
        for (text, day, night) in [
            ("07:59", false, false),
            ("08:00", true, false),
            ("17:59", true, false),
            ("22:30", false, true),
            ("05:59", false, true),
        ] {
            assert_eq!(within(&at(text), Some((480, 1080))), day, "{text}");
            assert_eq!(within(&at(text), Some((1320, 360))), night, "{text}");
        }
        assert!(!within(&at("12:00"), None) && !within(&at("12:00"), Some((0, 0))));
        assert_eq!(told(&at("06:05")), "2026-09-12 06:05");
    }
}
