//! A typed sheet as a header and rows of cells.

use std::collections::BTreeMap;
use std::io::Read;
use std::path::Path;

use super::columns::{ColumnNames, one_line};
use super::workbook::{self, DateBase, Merged, Workbook, Worksheet};
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
    /// Of a text the record number: the header is 1, the one below it 2; blank records count. Of a workbook the row's own
    /// number.
    pub number: u32,
    /// Cells, as many as the row has.
    pub cells: Vec<String>,
}

/// A sheet's cells. Blank rows are left out, their numbers stay free.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// File name, as it stands in addresses.
    pub name: String,
    /// Of a workbook the worksheet that was read.
    pub worksheet: Option<String>,
    /// From which day date serials count, where the file tells.
    pub date_base: Option<DateBase>,
    /// The header's number, as rows have theirs.
    pub header_number: u32,
    /// Header cells, each on one line.
    pub header: Vec<String>,
    /// Rows that hold anything and are neither a repeated header nor a row of totals.
    pub rows: Vec<TableRow>,
    /// What was odd on the way.
    pub problems: Vec<Problem>,
}

impl Table {
    /// Reads a text (CSV, TSV) or a workbook (XLSX, XLS, ODS); which it is the bytes tell.
    ///
    /// # Errors
    /// No readable file, one too large or damaged, no row that could be a header.
    pub fn open(path: &Path, names: &ColumnNames) -> Result<Self> {
        let name = path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned());
        if path.is_dir() {
            return Err(Error::refused(
                "cannot read the tag sheet: it is a folder",
                path.display(),
                "name the sheet itself; a folder of a workbook's parts is saved as one file by: save as XLSX or CSV",
            ));
        }
        let file = std::fs::File::open(path).doing("read the tag sheet", path)?;
        let mut bytes = Vec::new();
        file.take(LARGEST + 1).read_to_end(&mut bytes).doing("read the tag sheet", path)?;
        if bytes.len() as u64 > LARGEST {
            return Err(Error::refused(
                format!("cannot read the tag sheet: it is larger than {} MiB", LARGEST >> 20),
                path.display(),
                "name the sheet, a CSV or XLSX file; films go after --sideline and --end-zone",
            ));
        }
        Self::read(&bytes, &name, names)
    }

    /// Reads a sheet's bytes; `name` stands in addresses.
    ///
    /// # Errors
    /// As [`Table::open`].
    pub fn read(bytes: &[u8], name: &str, names: &ColumnNames) -> Result<Self> {
        if workbook::is_workbook(bytes) {
            return of_workbook(workbook::read(bytes, name)?, name, names);
        }
        let (text, problems) = decode::decode(bytes, name)?;
        let (told, text) = separator_line(&text);
        let delimiter = told.unwrap_or_else(|| delimiter_of(text, names));
        let split = records::split(text, delimiter);
        let Some(at) = header_row(&split.records, names) else {
            return Err(no_header(&split.records, name));
        };
        let mut table = Self::headed(name, None, &split.records[at], 1);
        table.problems = problems;
        let above = split.records[..at].iter().filter(|r| !blank(r)).count();
        if above > 0 {
            let rows = if above == 1 { "1 row".to_string() } else { format!("{above} rows") };
            let what = format!("{rows} above the header passed over; the header is record 1 in every address");
            table.problems.push(Problem::new(format!("{name}:1"), what));
        }
        for (record, cell) in split.unclosed {
            let place = match record.checked_sub(at) {
                Some(below) => {
                    table.cell_place(u32::try_from(below + 1).unwrap_or(u32::MAX), cell, &table.column(cell))
                }
                None => format!("{name}:1"),
            };
            table.problems.push(Problem {
                value: split.records.get(record).and_then(|r| r.get(cell)).map(|c| one_line(c)).unwrap_or_default(),
                ..Problem::new(
                    place,
                    "a quote is opened and never closed; kept as a character, the cell ends at its line",
                )
            });
        }
        for (index, cells) in split.records.into_iter().enumerate().skip(at + 1) {
            table.take_row(u32::try_from(index - at + 1).unwrap_or(u32::MAX), cells);
        }
        Ok(table)
    }

    fn headed(name: &str, worksheet: Option<String>, header: &[String], header_number: u32) -> Self {
        Self {
            name: name.to_string(),
            worksheet,
            date_base: None,
            header_number,
            header: header.iter().map(|cell| one_line(cell)).collect(),
            rows: Vec::new(),
            problems: Vec::new(),
        }
    }

    fn take_row(&mut self, number: u32, cells: Vec<String>) {
        if blank(&cells) {
            return;
        }
        let place = self.place(number);
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

    /// Address of a row: `tags.csv:12`, `tags.xlsx!Plays!12`.
    pub fn place(&self, number: u32) -> String {
        match &self.worksheet {
            Some(sheet) => format!("{}!{sheet}!{number}", self.name),
            None => format!("{}:{number}", self.name),
        }
    }

    /// Address of a cell: `tags.csv:12 column gain`, `tags.xlsx!Plays!C12`.
    pub fn cell_place(&self, number: u32, column: usize, name: &str) -> String {
        match &self.worksheet {
            Some(sheet) => format!("{}!{sheet}!{}{number}", self.name, workbook::letters(column)),
            None => format!("{}:{number} column {name}", self.name),
        }
    }

    /// A column's name in addresses: its header, else its number.
    fn column(&self, index: usize) -> String {
        self.header.get(index).filter(|h| !h.is_empty()).cloned().unwrap_or_else(|| (index + 1).to_string())
    }

    /// What is filled in a column, from top to bottom.
    pub fn cells(&self, column: usize) -> impl Iterator<Item = &str> {
        self.rows.iter().filter_map(move |r| r.cells.get(column)).map(String::as_str)
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

/// The worksheet with the most rows under a header as good as any.
fn of_workbook(book: Workbook, name: &str, names: &ColumnNames) -> Result<Table> {
    struct Headed {
        sheet: Worksheet,
        /// Row number of the header.
        at: u32,
        known: usize,
        below: usize,
    }
    let mut headed: Vec<Headed> = Vec::new();
    let mut left: Vec<String> = Vec::new();
    let mut hidden: Vec<(String, usize)> = Vec::new();
    let mut first: Vec<Vec<String>> = Vec::new();
    let all_hidden = book.sheets.iter().all(|s| s.hidden);
    for sheet in book.sheets {
        if sheet.rows.is_empty() {
            continue;
        }
        let (numbers, records): (Vec<u32>, Vec<Vec<String>>) =
            sheet.rows.iter().take(2 * HEADER_WITHIN).map(|(n, r)| (*n, r.clone())).unzip();
        let header = header_row(&records, names);
        if sheet.hidden && !all_hidden {
            hidden.push((sheet.name, header.map_or(0, |at| names.known(&records[at]))));
            continue;
        }
        match header {
            Some(at) => {
                let number = numbers[at];
                let below = sheet.rows.range(number + 1..).filter(|(_, r)| !blank(r)).count();
                let known =
                    names.known(&records[at]).max(usize::from(names.remembers(&records[at])) * records[at].len());
                headed.push(Headed { sheet, at: number, known, below });
            }
            None => {
                left.push(format!("\"{}\"", sheet.name));
                first.extend(records);
            }
        }
    }
    let most = headed.iter().map(|h| h.known).max().unwrap_or(0);
    // What is hidden is nobody's sheet: it is told where it could be one; lists behind drop-downs need no word.
    let told = hidden.iter().filter(|(_, known)| *known > 0 && known * 2 >= most);
    left.extend(told.map(|(name, _)| format!("\"{name}\" (hidden)")));
    // Of equals the first, as the person ordered them.
    let best = headed.iter().enumerate().filter(|(_, h)| h.known * 2 >= most);
    let best = best.max_by_key(|(i, h)| (h.below, std::cmp::Reverse(*i))).map(|(i, _)| i);
    let Some(best) = best else { return Err(no_header(&first, name)) };
    let chosen = headed.remove(best);
    left.extend(headed.into_iter().map(|h| format!("\"{}\"", h.sheet.name)));
    let mut rows = chosen.sheet.rows;
    let header = rows.remove(&chosen.at).unwrap_or_default();
    let below = rows.split_off(&chosen.at);
    let mut table = Table::headed(name, Some(chosen.sheet.name.clone()), &header, chosen.at);
    table.date_base = book.date_base;
    let place = format!("{name}!{}", chosen.sheet.name);
    if !left.is_empty() {
        let what = format!(
            "read as the tag sheet, {} under its header; other worksheets were left: {}",
            if chosen.below == 1 { "1 row".to_string() } else { format!("{} rows", chosen.below) },
            left.join(", ")
        );
        table.problems.push(Problem::new(&place, what));
    }
    if chosen.sheet.beyond > 0 {
        let what = format!("{} cells far right of the table were not read", chosen.sheet.beyond);
        table.problems.push(Problem::new(&place, what));
    }
    let below = fill_merged(&mut table, below, &chosen.sheet.merged);
    for (number, cells) in below {
        table.take_row(number, cells);
    }
    Ok(table)
}

/// Of a merged area only the top left cell holds the value; a person who merged "2" over twenty rows of the quarter's
/// column meant all of them. Rows that hold nothing else stay blank.
fn fill_merged(
    table: &mut Table,
    mut rows: BTreeMap<u32, Vec<String>>,
    merged: &[Merged],
) -> BTreeMap<u32, Vec<String>> {
    for area in merged.iter().filter(|m| m.bottom > m.top && m.top > table.header_number) {
        let Some(value) = rows.get(&area.top).and_then(|r| r.get(area.left)).cloned() else { continue };
        let mut filled = 0;
        for (_, cells) in rows.range_mut(area.top + 1..=area.bottom) {
            if cells.len() <= area.left {
                cells.resize(area.left + 1, String::new());
            }
            if cells[area.left].is_empty() {
                cells[area.left].clone_from(&value);
                filled += 1;
            }
        }
        if filled > 0 {
            let what = format!("the cell is merged down to row {}", area.bottom);
            let took = format!("its value for {} of the rows below, too", filled);
            let place = table.cell_place(area.top, area.left, &table.column(area.left));
            table.problems.push(Problem { place, value: one_line(&value), what, took });
        }
    }
    rows
}

/// The first row that names at least half as many columns as the row that names the most: a title row may hold one
/// word that is also a column's name. Where none names any, the row whose header was confirmed before, else the first
/// row of words over rows of values.
fn header_row(records: &[Vec<String>], names: &ColumnNames) -> Option<usize> {
    let top = &records[..records.len().min(HEADER_WITHIN)];
    if let Some(at) = top.iter().position(|r| names.remembers(r)) {
        return Some(at);
    }
    let known: Vec<usize> = top.iter().map(|r| names.known(r)).collect();
    match known.iter().copied().max().filter(|m| *m > 0) {
        // A single known name may be a value: "no" of a motion is a name of the number's column, too.
        Some(1) => {
            let named = known.iter().position(|k| *k == 1);
            let words = top.iter().enumerate().position(|(at, r)| looks_like_header(r, &records[at + 1..]));
            words.filter(|w| named.is_some_and(|n| *w < n)).or(named)
        }
        Some(most) => known.iter().position(|k| *k * 2 > most),
        None => top.iter().enumerate().position(|(at, r)| looks_like_header(r, &records[at + 1..])),
    }
}

/// Three cells or more, all of them words and no two alike, with at least two rows below that hold a number.
fn looks_like_header(record: &[String], below: &[Vec<String>]) -> bool {
    let filled: Vec<String> = record.iter().map(|c| fold(c)).filter(|c| !c.is_empty()).collect();
    let word = |c: &String| c.chars().any(char::is_alphabetic) && c.chars().count() <= 40;
    let distinct = filled.iter().collect::<std::collections::BTreeSet<_>>().len() == filled.len();
    let has_number = |r: &&Vec<String>| r.iter().any(|c| c.chars().any(|c| c.is_ascii_digit()));
    filled.len() >= 3
        && filled.iter().all(word)
        && distinct
        && below.iter().filter(|r| !blank(r)).take(5).filter(has_number).count() >= 2
}

fn no_header(records: &[Vec<String>], name: &str) -> Error {
    let first = records.iter().find(|r| !blank(r));
    let seen: Vec<String> =
        first.map(|r| r.iter().map(|c| one_line(c)).filter(|c| !c.is_empty()).take(40).collect()).unwrap_or_default();
    Error::refused(
        format!("the tag sheet has no column that is known; its first row reads: {}", seen.join(", ")),
        name,
        "give the sheet a header row with names such as Down, Distance, Shell (downbox sheet blank OUT.xlsx writes one), \
         or name the columns in the settings, such as [sheet.columns] \"your header\" = \"down\"",
    )
}

#[cfg(test)]
#[path = "table_tests.rs"]
mod tests;
