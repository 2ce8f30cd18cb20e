//! Rows of a sheet to plays of the film.
//!
//! A wrong tag is worse than none: a row is paired by its time where the times of the whole sheet fit the film along
//! one line, without times by what it tells and what the film shows, by its order alone only where the counts agree and
//! nothing contradicts. Every pair has a weight against all else that its row could have had; below a bound it is in
//! doubt, and what has no place stays unmatched with the reason. Pure functions; the same input gives the same pairs.

mod alignment;
mod by_content;
mod by_order;
mod by_time;
mod content;
mod facts;
mod fit;
mod ground;
mod line;
mod match_rows;
mod of_rows;
mod outcome;
mod series;
mod votes;

pub use facts::{MatchSettings, Pin, PlayFacts, RowFacts, What};
pub use line::Line;
pub use match_rows::match_rows;
pub use of_rows::row_facts;
pub use outcome::{By, Matching, Pair, Rival, RunnerUp, Unmatched};

#[cfg(test)]
mod tests;
