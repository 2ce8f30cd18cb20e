//! Workbooks (XLSX, XLS, ODS) to worksheets of text cells, within bounds.
//!
//! Bounds come first: what a file claims (its dimensions, how often a cell repeats, how large an entry is) is counted
//! before memory is taken for it.

mod archive;
mod cell_text;
mod ods;
mod xls;
mod xlsx;

use std::cell::Cell;
use std::collections::BTreeMap;
use std::sync::Once;

use crate::base::{Error, Result};

/// Cells that hold anything, in one workbook. A season's sheet of 3,000 rows and 60 columns has 180,000.
const MOST_CELLS: usize = 1_000_000;

/// Columns that are read; a sheet that is typed has some 30 **[practice]**. What stands right of them is told.
const MOST_COLUMNS: usize = 512;

/// From which day a workbook's date serials count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DateBase {
    /// 1 is January 1, 1900 (with a February 29, 1900, that never was).
    Y1900,
    /// 0 is January 1, 1904.
    Y1904,
}

/// A merged area: rows from 1, columns from 0, ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Merged {
    pub top: u32,
    pub bottom: u32,
    pub left: usize,
}

/// One worksheet.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Worksheet {
    pub name: String,
    pub hidden: bool,
    /// Rows that hold anything by their number from 1; cells from column A.
    pub rows: BTreeMap<u32, Vec<String>>,
    pub merged: Vec<Merged>,
    /// Cells right of the last column that is read.
    pub beyond: usize,
}

impl Worksheet {
    /// Takes over a worksheet's merged areas.
    fn merge(&mut self, areas: &[calamine::Dimensions]) {
        let of = |area: &calamine::Dimensions| Merged {
            top: area.start.0.saturating_add(1),
            bottom: area.end.0.saturating_add(1),
            left: area.start.1 as usize,
        };
        self.merged = areas.iter().map(of).collect();
    }

    /// Puts a cell; empty text leaves no trace.
    fn put(&mut self, row: u32, column: usize, text: String) {
        if text.is_empty() {
            return;
        }
        if column >= MOST_COLUMNS {
            self.beyond += 1;
            return;
        }
        let cells = self.rows.entry(row).or_default();
        if cells.len() <= column {
            cells.resize(column + 1, String::new());
        }
        cells[column] = text;
    }
}

/// A workbook.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Workbook {
    pub sheets: Vec<Worksheet>,
    /// `None` where the file does not tell.
    pub date_base: Option<DateBase>,
}

/// Whether these bytes are some workbook's, or another archive's.
pub(super) fn is_workbook(bytes: &[u8]) -> bool {
    matches!(bytes, [b'P', b'K', 3, 4, ..] | [0xd0, 0xcf, 0x11, 0xe0, ..])
}

/// Reads a workbook's bytes; `name` stands in errors.
pub(super) fn read(bytes: &[u8], name: &str) -> Result<Workbook> {
    if bytes.starts_with(&[0xd0, 0xcf]) {
        return xls::read(bytes, name);
    }
    match archive::kind(bytes, name)? {
        archive::Kind::Xlsx => xlsx::read(bytes, name),
        archive::Kind::Ods => ods::read(bytes, name),
    }
}

/// The letters of a column, counted from 0: A, Z, AA.
pub(super) fn letters(column: usize) -> String {
    let mut letters = Vec::new();
    let mut rest = column + 1;
    while rest > 0 {
        rest -= 1;
        letters.push(char::from(b'A' + (rest % 26) as u8));
        rest /= 26;
    }
    letters.iter().rev().collect()
}

/// A workbook that cannot be read, and why.
fn damaged(name: &str, why: impl std::fmt::Display) -> Error {
    Error::refused(
        "cannot read the tag sheet: the workbook is damaged",
        name,
        "open it in the spreadsheet program, save it again (as XLSX or CSV), then name that file",
    )
    .because(why.to_string())
}

fn locked(name: &str) -> Error {
    Error::refused(
        "cannot read the tag sheet: the workbook is locked with a password",
        name,
        "open it, save it without the password (or as CSV), then name that file",
    )
}

fn too_large(name: &str, what: &str) -> Error {
    Error::refused(
        format!("cannot read the tag sheet: the workbook is too large ({what})"),
        name,
        "copy the rows of the tag sheet into a new workbook, or save that one sheet as CSV, and name that file",
    )
}

thread_local! {
    static QUIET: Cell<bool> = const { Cell::new(false) };
}

/// Runs a reader that may panic on a damaged file: the panic becomes an error, and nothing of it is printed.
fn guarded<T>(name: &str, read: impl FnOnce() -> Result<T>) -> Result<T> {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            if !QUIET.get() {
                before(info);
            }
        }));
    });
    QUIET.set(true);
    let done = std::panic::catch_unwind(std::panic::AssertUnwindSafe(read));
    QUIET.set(false);
    done.unwrap_or_else(|_| Err(damaged(name, "its records contradict one another")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_have_the_letters_a_spreadsheet_shows() {
        for (column, want) in [(0, "A"), (25, "Z"), (26, "AA"), (51, "AZ"), (52, "BA"), (701, "ZZ"), (702, "AAA")] {
            assert_eq!(letters(column), want);
        }
    }

    #[test]
    fn a_reader_that_panics_is_an_error() {
        let done: Result<()> = guarded("tags.xls", || panic!("index out of bounds"));
        let error = done.unwrap_err();
        assert!(error.to_string().contains("tags.xls") && error.next.contains("save it again"), "{error}");
    }

    #[test]
    fn what_is_no_workbook_is_named() {
        for (bytes, words) in [(&b"PK\x03\x04rest"[..], "damaged"), (&b"\xd0\xcf\x11\xe0rest"[..], "damaged")] {
            let error = read(bytes, "tags.xlsx").unwrap_err();
            assert!(error.to_string().contains(words), "{error}");
            assert!(!error.next.is_empty());
        }
    }
}
