//! Rows of a sheet to plays of the film.
//!
//! A wrong tag is worse than none: a row is paired by its time where the times of the whole sheet fit the film along
//! one line, by its order alone only where the counts agree and nothing contradicts, and else it stays unmatched with
//! the reason. Pure functions; the same input gives the same pairs.

mod alignment;
mod by_order;
mod by_time;
mod line;
mod votes;

use serde::Serialize;

pub use line::Line;

use super::rows::Row;

/// Timed rows below which a sheet counts as untimed: two points lie on some line whatever they are.
const FEWEST_TIMED: usize = 3;

/// What matching knows of a row, in the sheet's order.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct RowTime {
    /// Film time at which it was typed, seconds.
    pub time: Option<f64>,
    /// Says the same as the row above: it may have been typed twice.
    pub twin: bool,
    /// Quarter, for the check that a sheet is in the game's order.
    pub quarter: Option<i64>,
    /// Seconds left in the quarter, for the same check.
    pub clock: Option<u16>,
}

/// What matching needs of a sheet's rows.
pub fn row_times(rows: &[Row]) -> Vec<RowTime> {
    let of = |(index, row): (usize, &Row)| RowTime {
        time: row.tags.time(),
        twin: index.checked_sub(1).and_then(|above| rows.get(above)).is_some_and(|above| row.same_play_as(above)),
        quarter: row.tags.number(crate::football::Field::Quarter),
        clock: row.tags.clock().map(|c| c.seconds()),
    };
    rows.iter().enumerate().map(of).collect()
}

/// What matching knows of a play, in the film's order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlayTime {
    /// Film time of the snap in the reference camera, seconds; an estimate where `weak`.
    pub time: f64,
    /// The snap was not found: the shot may be no play at all.
    pub weak: bool,
}

/// What a person may set.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MatchSettings {
    /// Typed time less film time at the film's start, seconds, where a person gave it.
    pub offset: Option<f64>,
}

/// What a pair was made by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum By {
    /// The row's time.
    Time,
    /// Its place in the order.
    Order,
}

impl By {
    /// `time` or `order`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Time => "time",
            Self::Order => "order",
        }
    }
}

/// A row and its play.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// Index of the row.
    pub row: usize,
    /// Index of the play.
    pub play: usize,
    /// What it was made by.
    pub by: By,
    /// 0 to 1: weight of this pair among all that the row could have had, none included.
    pub confidence: f64,
    /// Typed time less the time the fitted line expects, seconds.
    pub residual: Option<f64>,
    /// Why a person should look; `None` if sure.
    pub doubt: Option<String>,
}

/// A row without a play.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unmatched {
    /// Index of the row.
    pub row: usize,
    /// Why.
    pub why: String,
}

/// Another line that fits nearly as well.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunnerUp {
    /// The line.
    pub line: Line,
    /// How much worse it is, natural logarithm of the odds.
    pub worse_by: f64,
}

/// Rows and plays joined.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Matching {
    /// Pairs, by row in the film's order.
    pub pairs: Vec<Pair>,
    /// Rows without a play.
    pub unmatched_rows: Vec<Unmatched>,
    /// Plays without a row.
    pub unmatched_plays: Vec<usize>,
    /// The fitted line, where times were used.
    pub line: Option<Line>,
    /// Spread of the typed times about it, seconds.
    pub spread: Option<f64>,
    /// The best line that pairs rows and plays otherwise, if it comes near.
    pub runner_up: Option<RunnerUp>,
}

impl Matching {
    /// Typed time less film time at the film's start, seconds.
    pub fn offset_seconds(&self) -> Option<f64> {
        self.line.map(|l| l.offset())
    }

    /// How much faster the typed times run than the film: .001 is one second in a thousand.
    pub fn drift(&self) -> Option<f64> {
        self.line.map(|l| l.drift)
    }

    /// The pair of a row.
    pub fn of_row(&self, row: usize) -> Option<&Pair> {
        self.pairs.iter().find(|p| p.row == row)
    }

    /// A matching from its pairs: plays that no pair holds are unmatched.
    fn of(pairs: Vec<Pair>, unmatched_rows: Vec<Unmatched>, plays: usize) -> Self {
        let mut free = vec![true; plays];
        for pair in &pairs {
            if let Some(play) = free.get_mut(pair.play) {
                *play = false;
            }
        }
        let unmatched_plays = free.iter().enumerate().filter(|(_, f)| **f).map(|(i, _)| i).collect();
        Self { pairs, unmatched_rows, unmatched_plays, ..Self::default() }
    }
}

/// Joins rows to plays. Plays are in the film's order; times that are not finite count as missing.
pub fn match_rows(rows: &[RowTime], plays: &[PlayTime], settings: &MatchSettings) -> Matching {
    let rows: Vec<RowTime> = rows.iter().map(|r| RowTime { time: r.time.filter(|t| t.is_finite()), ..*r }).collect();
    let timed = rows.iter().filter(|r| r.time.is_some()).count();
    let film_is_timed = plays.iter().all(|p| p.time.is_finite());
    if plays.is_empty() {
        let none = |row| Unmatched { row, why: "no play was found in the film".to_string() };
        return Matching::of(Vec::new(), (0..rows.len()).map(none).collect(), 0);
    }
    // A handful of times in a long sheet hold the rows between them no better than the order does.
    if film_is_timed && timed >= FEWEST_TIMED && timed * 5 >= rows.len() {
        by_time::match_by_time(&rows, plays, settings)
    } else {
        by_order::match_by_order(&rows, plays)
    }
}

#[cfg(test)]
mod tests;
