//! Typed tag sheets: bytes to a [`Table`], to rows with problems, to the plays they belong to. Imports base and
//! football.

mod cell;
mod columns;
mod decode;
mod down_cell;
mod matching;
mod records;
mod rows;
mod table;
mod tidy_text;
mod typed_sheet;
mod workbook;

pub use columns::{Column, ColumnNames, Columns, Role};
pub use matching::{
    By, Line, MatchSettings, Matching, Pair, PlayTime, RowTime, RunnerUp, Unmatched, match_rows, row_times,
};
pub use rows::{Row, rows};
pub use table::{Table, TableRow};
pub use typed_sheet::Sheet;
