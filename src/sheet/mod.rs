//! Typed tag sheets: bytes (text or workbook) to a [`Table`], to rows with problems, to the plays they belong to; an
//! empty sheet to type in. Imports base and football.

mod blank;
mod cell;
mod columns;
mod confirmed_header;
mod decode;
mod down_cell;
mod habits;
mod matching;
mod propose;
mod records;
mod rows;
mod sense;
mod table;
mod tidy_text;
mod typed_sheet;
mod typed_value;
mod workbook;

pub use blank::{blank_header, blank_text, blank_workbook};
pub use columns::{Column, ColumnNames, Columns, Role};
pub use confirmed_header::ConfirmedHeader;
pub use matching::{
    By, Line, MatchSettings, Matching, Pair, Pin, PlayFacts, Rival, RowFacts, RunnerUp, Unmatched, What, match_rows,
    row_facts,
};
pub use propose::{Proposal, Proposed, propose};
pub use rows::{Row, rows};
pub use sense::{Sense, SenseKind, sense};
pub use table::{Table, TableRow};
pub use typed_sheet::{Draft, Sheet, give_ball};
pub use typed_value::{film_time, typed_value};
pub use workbook::DateBase;
