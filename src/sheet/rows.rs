//! Rows of tags, and every problem by its cell.

use std::collections::BTreeMap;

use super::cell::{CellReader, Reading};
use super::columns::{Column, Columns, Role, one_line};
use super::habits::Habits;
use super::table::{Table, TableRow};
use super::tidy_text::{tidy, unknown};
use crate::base::Problem;
use crate::football::{Field, Kind, Tags, Value, Vocabulary, fold};

/// One typed play.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Address: `tags.csv:12`.
    pub place: String,
    /// Record number; the header is record 1.
    pub number: u32,
    /// What it says.
    pub tags: Tags,
}

impl Row {
    /// Whether it says the same as `other`: every tag but time, clock and the sheet's number, and at least two of them
    /// (rows that say nothing are not doubles).
    pub fn same_play_as(&self, other: &Self) -> bool {
        let said = |row: &Self| -> BTreeMap<Field, Value> {
            let said =
                row.tags.fields.iter().filter(|(f, _)| !matches!(f, Field::Time | Field::Clock | Field::SheetNumber));
            said.map(|(f, v)| (*f, v.clone())).collect()
        };
        let mine = said(self);
        let clocks = (self.tags.clock(), other.tags.clock());
        let clock_moved = matches!(clocks, (Some(a), Some(b)) if a != b);
        mine.len() + self.tags.own.len() >= 2 && mine == said(other) && self.tags.own == other.tags.own && !clock_moved
    }
}

/// Reads a table's rows. Cells that were refused are kept as the staff's own text, named `COLUMN (as typed)`.
///
/// Problems: one for each cell that was mended or refused; one a column for other notations that were read without
/// doubt; one for each word that the vocabulary has not, with its count.
pub fn rows(table: &Table, columns: &Columns, vocabulary: &Vocabulary) -> (Vec<Row>, Vec<Problem>) {
    let habits = Habits::of(table, columns);
    let mut reader = RowReader {
        table,
        cells: CellReader { vocabulary, habits },
        problems: Vec::new(),
        notations: BTreeMap::new(),
        new_words: BTreeMap::new(),
    };
    let told = [
        (
            habits.time_is_clock,
            Field::Time,
            "the times run down as a game clock does; read as the clock, not as film time",
        ),
        (
            habits.plus_dropped,
            Field::BallOn,
            "own spots carry a minus and no spot a plus, which a spreadsheet program drops; numbers without a sign are \
             read as the opponent's side",
        ),
    ];
    for (_, field, what) in told.into_iter().filter(|(told, ..)| *told) {
        if let Some((index, column)) = columns.find(Role::Field(field)) {
            let place = table.cell_place(table.header_number, index, &column.name);
            reader.problems.push(Problem::new(place, what));
        }
    }
    let mut rows: Vec<Row> = table.rows.iter().map(|row| reader.row(row, columns)).collect();
    reader.drop_unfilled(&mut rows);
    (rows, reader.problems_in_order())
}

/// A column: its position, its name.
type At = (usize, String);

/// Cells of one kind in one column, told once.
struct Seen {
    at: u32,
    first: String,
    took: String,
    count: usize,
}

struct RowReader<'a> {
    table: &'a Table,
    cells: CellReader<'a>,
    problems: Vec<Problem>,
    /// By column, its position and name.
    notations: BTreeMap<At, Seen>,
    /// By column, field (`None` for a result column) and folded word.
    new_words: BTreeMap<(At, Option<Field>, String), Seen>,
}

impl RowReader<'_> {
    fn row(&mut self, row: &TableRow, columns: &Columns) -> Row {
        let mut tags = Tags::default();
        // A column of its own says more than what another column's cell holds besides ("3 & 7" in the down's).
        let mut besides: Vec<(Field, Value)> = Vec::new();
        for (index, column) in columns.iter() {
            let raw = row.cells.get(index).map(String::as_str).unwrap_or_default();
            let text = tidy(raw);
            match column.role {
                Role::Own => {
                    if !raw.trim().is_empty() {
                        tags.own.insert(column.name.clone(), raw.trim().to_string());
                    }
                }
                Role::Result => self.result(row, (index, column), &text, &mut tags, &mut besides),
                Role::Field(field) => self.field(row, (index, column), field, &text, &mut tags, &mut besides),
            }
        }
        for (field, value) in besides {
            tags.fields.entry(field).or_insert(value);
        }
        self.tell_missing(row, columns, &tags);
        let place = self.table.place(row.number);
        if let (Some(distance), Some(spot)) = (tags.distance(), tags.ball_on())
            && let crate::football::Distance::Yards(yards) = distance
            && yards > spot.to_goal()
        {
            let what = format!("{yards} yards to gain from {spot} go beyond the goal line; both are kept");
            self.problems.push(Problem::new(&place, what));
        }
        Row { place, number: row.number, tags }
    }

    /// A down without a distance, or the reverse, where the sheet has columns for both: half a situation answers no
    /// phrase. Rows without either are kicks. What was refused is told already.
    fn tell_missing(&mut self, row: &TableRow, columns: &Columns, tags: &Tags) {
        let both = [Field::Down, Field::Distance];
        for (has, lacks) in [(both[0], both[1]), (both[1], both[0])] {
            let Some((index, column)) = columns.find(Role::Field(lacks)) else { continue };
            let empty = row.cells.get(index).is_none_or(|c| unknown(&tidy(c)));
            if empty && tags.get(has).is_some() && tags.get(lacks).is_none() {
                let place = self.place(row.number, (index, column));
                self.problems.push(Problem::new(place, format!("no {lacks}, though a {has} is typed")));
            }
        }
    }

    fn field(
        &mut self,
        row: &TableRow,
        at: (usize, &Column),
        field: Field,
        text: &str,
        tags: &mut Tags,
        besides: &mut Vec<(Field, Value)>,
    ) {
        let field = if field == Field::Time && self.cells.habits.time_is_clock { Field::Clock } else { field };
        let reading = self.cells.read(field, text);
        let took = spoken(reading.parts());
        let parts = match reading {
            Reading::Unknown => return,
            Reading::Plain(parts) => parts,
            Reading::Notation(parts, instead) => {
                let took = if parts.is_empty() { instead.to_string() } else { took };
                let seen = self.notations.entry((at.0, at.1.name.clone()));
                seen.or_insert(Seen { at: row.number, first: text.to_string(), took, count: 0 }).count += 1;
                parts
            }
            Reading::NewWord(field, word) => {
                let key = ((at.0, at.1.name.clone()), Some(field), fold(&word));
                let seen = self.new_words.entry(key);
                seen.or_insert(Seen { at: row.number, first: word.clone(), took: String::new(), count: 0 }).count += 1;
                vec![(field, Value::Word(word))]
            }
            Reading::Mended(parts, what) => {
                let place = self.place(row.number, at);
                self.problems.push(Problem { place, value: text.to_string(), what, took });
                parts
            }
            Reading::Refused(what) => {
                self.refuse(row, at, text, format!("the cell {what}"), tags);
                return;
            }
        };
        for (of, value) in parts {
            if of == field {
                tags.fields.insert(of, value);
            } else {
                besides.push((of, value));
            }
        }
    }

    fn result(
        &mut self,
        row: &TableRow,
        at: (usize, &Column),
        text: &str,
        tags: &mut Tags,
        besides: &mut Vec<(Field, Value)>,
    ) {
        if unknown(text) {
            return;
        }
        if let Some(parts) = self.cells.result(text) {
            besides.extend(parts);
            return;
        }
        tags.own.insert(at.1.name.clone(), text.to_string());
        let key = ((at.0, at.1.name.clone()), None, fold(text));
        let seen = self.new_words.entry(key);
        seen.or_insert(Seen { at: row.number, first: text.to_string(), took: String::new(), count: 0 }).count += 1;
    }

    /// The text stays, under a name that is no field's, so that nothing typed is lost.
    fn refuse(&mut self, row: &TableRow, at: (usize, &Column), text: &str, what: String, tags: &mut Tags) {
        tags.own.insert(format!("{} (as typed)", at.1.name), text.to_string());
        let place = self.place(row.number, at);
        self.problems.push(Problem { place, value: text.to_string(), what, took: String::new() });
    }

    fn place(&self, number: u32, (index, column): (usize, &Column)) -> String {
        self.table.cell_place(number, index, &column.name)
    }

    /// Numbered lines below the last play, which nobody filled, are no plays; those between plays are.
    fn drop_unfilled(&mut self, rows: &mut Vec<Row>) {
        let filled = |row: &Row| !row.tags.own.is_empty() || row.tags.fields.keys().any(|f| *f != Field::SheetNumber);
        let last = rows.iter().rposition(filled).map_or(0, |at| at + 1);
        if let Some(first) = rows.get(last) {
            let count = rows.len() - last;
            let lines = if count == 1 { "1 row holds".to_string() } else { format!("{count} rows hold") };
            self.problems.push(Problem::new(&first.place, format!("{lines} nothing but a number; not read as plays")));
            rows.truncate(last);
        }
    }

    fn problems_in_order(mut self) -> Vec<Problem> {
        let mut problems = std::mem::take(&mut self.problems);
        for (column, seen) in &self.notations {
            let what = match seen.count {
                1 => "another notation, read without doubt".to_string(),
                n => format!("another notation, read without doubt ({n} cells of the column)"),
            };
            problems.push(Problem {
                place: self.table.cell_place(seen.at, column.0, &column.1),
                value: seen.first.clone(),
                what,
                took: seen.took.clone(),
            });
        }
        for ((column, field, folded), seen) in &self.new_words {
            let times = if seen.count == 1 { "1 cell".to_string() } else { format!("{} cells", seen.count) };
            let near =
                self.nearest(*field, folded).map(|n| format!("; the nearest known is \"{n}\"")).unwrap_or_default();
            let fields = field.map_or("pass result or ending", Field::words);
            problems.push(Problem {
                place: self.table.cell_place(seen.at, column.0, &column.1),
                value: seen.first.clone(),
                what: format!("is no known {fields}; kept as typed in {times}{near}"),
                took: String::new(),
            });
        }
        // In the sheet's order; the sort is stable, so problems of one record keep the order above.
        problems.sort_by_key(|p| record_of(&p.place));
        problems
    }

    /// The known word nearest to one that is not known: a slip of the hand (Jaro-Winkler .85, our own choice).
    fn nearest(&self, field: Option<Field>, folded: &str) -> Option<&str> {
        let of_result = |f: Field| matches!(f, Field::PassResult | Field::Ending);
        let entries = self.cells.vocabulary.entries().iter().filter(|e| !e.cell_only);
        let entries = entries.filter(|e| field.map_or(of_result(e.field), |f| e.field == f));
        let near = entries.map(|e| (strsim::jaro_winkler(&e.spelling, folded), e.word.as_str()));
        near.filter(|(near, _)| *near >= 0.85).max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, word)| word)
    }
}

/// The row's number in an address: `name:12 column ...`, `name!Plays!C12`; 0 where it names none.
pub(super) fn record_of(place: &str) -> u32 {
    if let Some((head, cell)) = place.rsplit_once('!')
        && head.contains('!')
    {
        return cell.trim_start_matches(|c: char| c.is_ascii_uppercase()).parse().unwrap_or(0);
    }
    let head = place.split(" column ").next().unwrap_or(place);
    head.rsplit_once(':').and_then(|(_, n)| n.parse().ok()).unwrap_or(0)
}

/// Values as a problem tells them: "1 and 10", "own 35".
fn spoken(parts: &[(Field, Value)]) -> String {
    let spoken = parts.iter().map(|(field, value)| match field.kind() {
        Kind::Text => format!("\"{}\"", one_line(&value.to_string())),
        _ => value.to_string(),
    });
    spoken.collect::<Vec<_>>().join(" and ")
}

#[cfg(test)]
#[path = "rows_tests.rs"]
mod tests;
