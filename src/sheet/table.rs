//! A typed sheet as a header and rows of cells.

use std::io::Read;
use std::path::Path;

use super::columns::{ColumnNames, one_line};
use super::{decode, records};
use crate::base::{Error, IoContext, Problem, Result};
use crate::football::fold;

/// Delimiters that spreadsheet programs write, the commonest first.
const DELIMITERS: [char; 4] = [',', ';', '\t', '|'];

/// How far down a header is looked for: title rows are a few, never fifty **[practice]**.
const HEADER_WITHIN: usize = 50;

/// A season's sheet is below 1 MiB; a file beyond this is something else (a film named by mistake).
const LARGEST: u64 = 32 << 20;

/// One row below the header.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TableRow {
    /// Record number: the header is 1, the one below it 2; blank records count.
    pub number: u32,
    /// Cells, as many as the record has.
    pub cells: Vec<String>,
}

/// A sheet's cells. Blank rows are left out, their numbers stay free.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// File name, as it stands in addresses.
    pub name: String,
    /// Header cells, each on one line.
    pub header: Vec<String>,
    /// Rows that hold anything and are neither a repeated header nor a row of totals.
    pub rows: Vec<TableRow>,
    /// What was odd on the way.
    pub problems: Vec<Problem>,
}

impl Table {
    /// Reads a CSV or TSV file.
    pub fn open(path: &Path, names: &ColumnNames) -> Result<Self> {
        let name = path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned());
        let extension = path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
        if ["xlsx", "xlsm", "xls", "xlsb", "ods", "numbers"].contains(&extension.as_str()) {
            return Err(Error::refused(
                format!("cannot read the tag sheet: it is a workbook (.{extension})"),
                path.display(),
                "open it in the spreadsheet program and save it as CSV, then name that file",
            ));
        }
        let file = std::fs::File::open(path).doing("read the tag sheet", path)?;
        let mut bytes = Vec::new();
        file.take(LARGEST + 1).read_to_end(&mut bytes).doing("read the tag sheet", path)?;
        if bytes.len() as u64 > LARGEST {
            return Err(Error::refused(
                format!("cannot read the tag sheet: it is larger than {} MiB", LARGEST >> 20),
                path.display(),
                "name the sheet, a CSV file; films go after --sideline and --end-zone",
            ));
        }
        Self::read(&bytes, &name, names)
    }

    /// Reads a sheet's bytes; `name` stands in addresses.
    pub fn read(bytes: &[u8], name: &str, names: &ColumnNames) -> Result<Self> {
        let (text, mut problems) = decode::decode(bytes, name)?;
        let (told, text) = separator_line(&text);
        let delimiter = told.unwrap_or_else(|| delimiter_of(text, names));
        let split = records::split(text, delimiter);
        let Some(at) = header_row(&split.records, names) else {
            return Err(no_column(&split.records, name));
        };
        let header: Vec<String> = split.records[at].iter().map(|cell| one_line(cell)).collect();
        let above = split.records[..at].iter().filter(|r| !blank(r)).count();
        if above > 0 {
            let rows = if above == 1 { "1 row".to_string() } else { format!("{above} rows") };
            let what = format!("{rows} above the header passed over; the header is record 1 in every address");
            problems.push(Problem::new(format!("{name}:1"), what));
        }
        for (record, cell) in split.unclosed {
            let place = match record.checked_sub(at) {
                Some(below) => format!("{name}:{} column {}", below + 1, column_name(&header, cell)),
                None => format!("{name}:1"),
            };
            problems.push(Problem {
                value: split.records.get(record).and_then(|r| r.get(cell)).map(|c| one_line(c)).unwrap_or_default(),
                ..Problem::new(
                    place,
                    "a quote is opened and never closed; kept as a character, the cell ends at its line",
                )
            });
        }
        let mut table = Self { name: name.to_string(), header, rows: Vec::new(), problems };
        for (index, cells) in split.records.into_iter().enumerate().skip(at + 1) {
            let number = u32::try_from(index - at + 1).unwrap_or(u32::MAX);
            table.take_row(number, cells);
        }
        Ok(table)
    }

    fn take_row(&mut self, number: u32, cells: Vec<String>) {
        if blank(&cells) {
            return;
        }
        let place = format!("{}:{number}", self.name);
        let what = if self.is_header(&cells) {
            "the header again; not read as a play"
        } else if is_totals(&cells) {
            "a row of totals; not read as a play"
        } else if self.is_heading(&cells) {
            "a heading between the rows; not read as a play"
        } else {
            if cells.iter().skip(self.header.len()).any(|c| !c.trim().is_empty()) {
                let what = format!(
                    "the row has {} cells, the header {}; what is beyond is kept by the column's number",
                    cells.len(),
                    self.header.len()
                );
                self.problems.push(Problem::new(place, what));
            }
            self.rows.push(TableRow { number, cells });
            return;
        };
        let value = cells.iter().map(|c| one_line(c)).find(|c| !c.is_empty()).unwrap_or_default();
        self.problems.push(Problem { value, ..Problem::new(place, what) });
    }

    /// Address of a row.
    pub fn place(&self, number: u32) -> String {
        format!("{}:{number}", self.name)
    }

    /// For each column, whether any row holds something in it.
    pub fn used(&self) -> Vec<bool> {
        let width = self.rows.iter().map(|r| r.cells.len()).max().unwrap_or(0).max(self.header.len());
        (0..width).map(|i| self.rows.iter().any(|r| r.cells.get(i).is_some_and(|c| !c.trim().is_empty()))).collect()
    }

    /// At least half of the named columns, and two, hold just their own name.
    fn is_header(&self, cells: &[String]) -> bool {
        let same = |(h, c): &(&String, &String)| !fold(h).is_empty() && fold(h) == fold(c);
        let same = self.header.iter().zip(cells).filter(same).count();
        let named = self.header.iter().filter(|h| !h.is_empty()).count();
        same >= 1 && same * 2 >= named
    }

    /// One cell alone in a sheet of several columns, which names a part of the game: "2nd quarter", "Second half".
    fn is_heading(&self, cells: &[String]) -> bool {
        let mut filled = cells.iter().filter(|c| !c.trim().is_empty());
        let (Some(only), None) = (filled.next(), filled.next()) else { return false };
        let text = fold(only);
        let named = ["quarter", "qtr", "half", "drive", "overtime", "series", "possession"];
        self.header.len() > 2 && text.split(' ').count() <= 4 && text.split(' ').any(|w| named.contains(&w))
    }
}

fn blank(record: &[String]) -> bool {
    record.iter().all(|cell| cell.trim().is_empty())
}

/// The first filled cell says so.
fn is_totals(cells: &[String]) -> bool {
    let first = cells.iter().map(|c| fold(c)).find(|c| !c.is_empty()).unwrap_or_default();
    ["total", "totals", "sum", "average", "averages", "avg", "count", "grand total", "game total", "game totals"]
        .contains(&first.as_str())
}

fn column_name(header: &[String], index: usize) -> String {
    header.get(index).filter(|h| !h.is_empty()).cloned().unwrap_or_else(|| (index + 1).to_string())
}

/// A first line `sep=;` tells the delimiter, and is no record.
fn separator_line(text: &str) -> (Option<char>, &str) {
    let end = text.find(['\n', '\r']).unwrap_or(text.len());
    let line = text[..end].trim_matches('"');
    let lower = line.get(..4).map(str::to_lowercase);
    // A spreadsheet program that saved the sheet again may have added its own delimiters after it.
    match (lower.as_deref(), line.get(4..).and_then(|rest| rest.chars().next())) {
        (Some("sep="), Some(delimiter)) => {
            let rest = &text[end..];
            let rest = rest.strip_prefix("\r\n").or_else(|| rest.strip_prefix(['\n', '\r'])).unwrap_or(rest);
            (Some(delimiter), rest)
        }
        _ => (None, text),
    }
}

/// The delimiter under which a row names the most columns; of equals the one that makes the most records equally wide.
fn delimiter_of(text: &str, names: &ColumnNames) -> char {
    // Enough lines for a header and some rows; a quoted cell cut off at the end changes no count above it.
    let ends = text.char_indices().filter(|(_, c)| *c == '\n' || *c == '\r');
    let end = ends.map(|(at, _)| at).nth(2 * HEADER_WITHIN).unwrap_or(text.len());
    let score = |delimiter: char| {
        let records = records::split(&text[..end], delimiter).records;
        let named = records.iter().take(HEADER_WITHIN).map(|r| names.known(r)).max().unwrap_or(0);
        let even = records.iter().filter(|r| r.len() > 1 && Some(r.len()) == records.get(1).map(Vec::len)).count();
        (named, even)
    };
    let mut best = (DELIMITERS[0], (0, 0));
    for delimiter in DELIMITERS {
        let score = score(delimiter);
        if score > best.1 {
            best = (delimiter, score);
        }
    }
    best.0
}

/// The first row that names at least half as many columns as the row that names the most: a title row may hold one
/// word that is also a column's name.
fn header_row(records: &[Vec<String>], names: &ColumnNames) -> Option<usize> {
    let known: Vec<usize> = records.iter().take(HEADER_WITHIN).map(|r| names.known(r)).collect();
    let most = known.iter().copied().max().filter(|m| *m > 0)?;
    known.iter().position(|k| *k * 2 > most || *k == most)
}

fn no_column(records: &[Vec<String>], name: &str) -> Error {
    let first = records.iter().find(|r| !blank(r));
    let seen: Vec<String> =
        first.map(|r| r.iter().map(|c| one_line(c)).filter(|c| !c.is_empty()).take(40).collect()).unwrap_or_default();
    Error::refused(
        format!("the tag sheet has no column that is known; its first row reads: {}", seen.join(", ")),
        name,
        "name the columns in the settings, such as [columns] \"your header\" = \"down\", or give the sheet a header row \
         with names such as Down, Distance, Shell",
    )
}

#[cfg(test)]
#[path = "table_tests.rs"]
mod tests;
