//! A play as the library and the filter know it.

use super::Tags;

/// One play of one game with what is known of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlayRecord {
    /// Game name.
    pub game: String,
    /// Day of the game, `2026-09-11`.
    pub date: Option<String>,
    /// Home team of the game, if told.
    pub home: Option<String>,
    /// Away team of the game, if told.
    pub away: Option<String>,
    /// Label: given once, never reused or shifted.
    pub label: String,
    /// Place in the film's order, from 1.
    pub order: u32,
    /// Address of the sheet row it was joined to.
    pub row: Option<String>,
    /// How it was joined: `time`, `order`, `by hand`.
    pub matched_by: Option<String>,
    /// Why the joined row is in doubt; `None` if sure or unmatched.
    pub row_doubt: Option<String>,
    /// Tags from the row, with corrections.
    pub tags: Tags,
}
