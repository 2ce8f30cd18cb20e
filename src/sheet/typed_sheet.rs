//! A sheet read whole: table, columns, rows, problems.

use std::collections::btree_map::Entry;
use std::path::Path;

use serde_json::{Map, Value as Json, json};

use super::columns::{ColumnNames, Columns, Role};
use super::propose::{Proposal, propose};
use super::rows::{Row, record_of, rows};
use super::sense::sense;
use super::table::Table;
use crate::base::{Error, Problem, Result};
use crate::football::{Field, Tags, Value, Vocabulary};

/// A typed tag sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// File name, as it stands in addresses.
    pub name: String,
    /// Of a workbook the worksheet that was read.
    pub worksheet: Option<String>,
    /// What each column holds.
    pub columns: Columns,
    /// Plays as typed, in the sheet's order.
    pub rows: Vec<Row>,
    /// Everything a person should know of, in the sheet's order.
    pub problems: Vec<Problem>,
    /// What columns that were kept as the staff's own look like.
    pub looks: Proposal,
}

/// A sheet whose columns are still to be settled.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    table: Table,
    /// The names as they count for its header.
    names: ColumnNames,
    /// What columns whose names are not known may hold.
    pub proposal: Proposal,
}

impl Draft {
    /// Reads a text (CSV, TSV) or a workbook (XLSX, XLS, ODS).
    ///
    /// # Errors
    /// No readable file, one too large or damaged, no row that could be a header.
    pub fn open(path: &Path, names: &ColumnNames, vocabulary: &Vocabulary) -> Result<Self> {
        Ok(Self::of(Table::open(path, names)?, names, vocabulary))
    }

    fn of(table: Table, names: &ColumnNames, vocabulary: &Vocabulary) -> Self {
        let names = names.for_header(&table.header);
        let proposal = propose(&table, &names, vocabulary);
        Self { table, names, proposal }
    }

    /// Whether the names are known well enough to go on without a person: two columns, or nothing better to propose.
    pub fn settled(&self) -> bool {
        self.names.known(&self.table.header) >= 2 || self.proposal.columns.is_empty()
    }

    /// The header as a person confirms it by taking the proposal.
    pub fn confirmed(&self) -> super::ConfirmedHeader {
        self.proposal.confirmed(&self.table, &self.names)
    }

    /// Columns that nothing is known or proposed of, by name.
    pub fn others(&self) -> Vec<String> {
        let named = |(i, h): &(usize, &String)| {
            !h.is_empty() && self.names.role(h).is_none() && !self.proposal.columns.iter().any(|p| p.column == *i)
        };
        self.table.header.iter().enumerate().filter(named).map(|(_, h)| h.clone()).collect()
    }

    /// Why it cannot be read without a person, and what to do.
    pub fn refusal(&self, file: &str) -> Error {
        Error::refused(
            format!("the tag sheet's header is new; proposed: {}", self.proposal.in_words()),
            &self.table.name,
            format!(
                "if that is right: downbox sheet check {file} --yes (it is remembered for this header); if not, name the \
                 columns in the settings, such as [sheet.columns] \"your header\" = \"down\""
            ),
        )
    }
}

impl Sheet {
    /// Reads a text (CSV, TSV) or a workbook (XLSX, XLS, ODS).
    ///
    /// # Errors
    /// No readable file, one too large or damaged, a header of which too little is known, no row.
    pub fn open(path: &Path, names: &ColumnNames, vocabulary: &Vocabulary) -> Result<Self> {
        Self::of(Draft::open(path, names, vocabulary)?, &shell_word(path), vocabulary)
    }

    /// Reads a sheet's bytes; `name` stands in addresses.
    ///
    /// # Errors
    /// As [`Sheet::open`].
    pub fn read(bytes: &[u8], name: &str, names: &ColumnNames, vocabulary: &Vocabulary) -> Result<Self> {
        Self::of(Draft::of(Table::read(bytes, name, names)?, names, vocabulary), name, vocabulary)
    }

    fn of(draft: Draft, file: &str, vocabulary: &Vocabulary) -> Result<Self> {
        if !draft.settled() {
            return Err(draft.refusal(file));
        }
        let Draft { mut table, names, proposal } = draft;
        let (columns, of_columns) = Columns::assign(&table.header, &table.used(), &names, &|index, name| {
            table.cell_place(table.header_number, index, name)
        });
        let (rows, of_rows) = rows(&table, &columns, vocabulary);
        if rows.is_empty() {
            return Err(Error::refused(
                "the tag sheet has a header and no play below it",
                &table.name,
                "fill it, one row for each play, and name it again",
            ));
        }
        let (of_file, mut problems): (Vec<Problem>, Vec<Problem>) =
            std::mem::take(&mut table.problems).into_iter().partition(|p| record_of(&p.place) == 0);
        problems.extend(of_columns);
        problems.extend(proposal.columns.iter().map(|p| {
            let what = format!("may be {}: {}", p.role.words(), p.why);
            let took = "your own tag; --yes takes it as proposed".to_string();
            let place = table.cell_place(table.header_number, p.column, &p.name);
            Problem { took, ..Problem::new(place, what) }
        }));
        problems.extend(of_rows);
        problems.extend(sense(&rows).into_iter().map(|s| s.problem));
        // In the sheet's order, what concerns the whole file first; the sort keeps the order within a row.
        problems.sort_by_key(|p| record_of(&p.place));
        let problems = of_file.into_iter().chain(problems).collect();
        Ok(Self { name: table.name, worksheet: table.worksheet, columns, rows, problems, looks: proposal })
    }

    /// As one JSON document: `rows` with `where` and `tags`, `problems`, `columns` (field to header),
    /// `own_columns` (headers kept as the staff's own), `looks_like` (what of those may be a field's).
    pub fn to_json(&self) -> Json {
        let rows: Vec<Json> = self.rows.iter().map(|r| json!({"where": r.place, "tags": r.tags.to_json()})).collect();
        let mut columns = Map::new();
        let mut own = Vec::new();
        for (_, column) in self.columns.iter() {
            match column.role {
                Role::Own => own.push(column.name.clone()),
                role => {
                    columns.insert(role.key().to_string(), column.name.clone().into());
                }
            }
        }
        let looks: Map<String, Json> =
            self.looks.columns.iter().map(|p| (p.name.clone(), p.role.key().into())).collect();
        json!({
            "rows": rows,
            "problems": self.problems,
            "columns": columns,
            "own_columns": own,
            "looks_like": looks,
            "worksheet": self.worksheet,
        })
    }
}

/// Who has the ball where the sheet says only whose unit is on the field: ours on offense, theirs when we defend. Who
/// has it in the kicking game the unit does not tell. Gives how many rows were filled.
pub fn give_ball(rows: &mut [Row], we: &str, they: &str) -> usize {
    let mut filled = 0;
    for row in rows {
        let Tags { fields, .. } = &mut row.tags;
        let team = match fields.get(&Field::Unit) {
            Some(Value::Word(unit)) if unit == "offense" => we,
            Some(Value::Word(unit)) if unit == "defense" => they,
            _ => continue,
        };
        if let Entry::Vacant(place) = fields.entry(Field::Ball) {
            place.insert(Value::Text(team.to_string()));
            filled += 1;
        }
    }
    filled
}

/// A path as a person types it into a command.
fn shell_word(path: &Path) -> String {
    let text = path.display().to_string();
    let plain = |c: char| c.is_ascii_alphanumeric() || "/._-+,@".contains(c);
    if text.chars().all(plain) { text } else { format!("'{}'", text.replace('\'', "'\\''")) }
}
