//! What matching came to.

use serde::Serialize;

use super::line::Line;

/// What a pair was made by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum By {
    /// The row's time.
    Time,
    /// Its place in the order.
    Order,
    /// What it tells and what the film shows, in order.
    Content,
    /// A person.
    #[serde(rename = "by hand")]
    Hand,
}

impl By {
    /// `time`, `order`, `content` or `by hand`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Time => "time",
            Self::Order => "order",
            Self::Content => "content",
            Self::Hand => "by hand",
        }
    }
}

/// What a row would be if not what it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rival {
    /// Another play; `None` for no play at all.
    pub play: Option<usize>,
    /// Its weight, 0 to 1.
    pub weight: f64,
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
    /// The likeliest of what else it could have had, where that has any weight.
    pub rival: Option<Rival>,
    /// Why a person should look; `None` if sure.
    pub doubt: Option<String>,
}

/// A row without a play.
#[derive(Debug, Clone, PartialEq)]
pub struct Unmatched {
    /// Index of the row.
    pub row: usize,
    /// Why.
    pub why: String,
    /// The play that it would have been, where one comes near.
    pub rival: Option<Rival>,
}

impl Unmatched {
    /// A row without a play and with none that comes near.
    pub fn new(row: usize, why: impl Into<String>) -> Self {
        Self { row, why: why.into(), rival: None }
    }
}

/// Why a row that was typed twice has no play.
pub(super) const TYPED_TWICE: &str = "typed twice: a row beside it says the same";

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
    pub fn of(pairs: Vec<Pair>, unmatched_rows: Vec<Unmatched>, plays: usize) -> Self {
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
