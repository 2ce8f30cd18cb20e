//! A sheet read whole: table, columns, rows, problems.

use std::path::Path;

use serde_json::{Map, Value as Json, json};

use super::columns::{ColumnNames, Columns, Role};
use super::rows::{Row, rows};
use super::table::Table;
use crate::base::{Error, Problem, Result};
use crate::football::Vocabulary;

/// A typed tag sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// File name, as it stands in addresses.
    pub name: String,
    /// What each column holds.
    pub columns: Columns,
    /// Plays as typed, in the sheet's order.
    pub rows: Vec<Row>,
    /// Everything a person should know of, in the sheet's order.
    pub problems: Vec<Problem>,
}

impl Sheet {
    /// Reads a CSV or TSV file. Refused: no readable file, a workbook, no known column, no row.
    pub fn open(path: &Path, names: &ColumnNames, vocabulary: &Vocabulary) -> Result<Self> {
        Self::of(Table::open(path, names)?, names, vocabulary)
    }

    /// Reads a sheet's bytes; `name` stands in addresses.
    pub fn read(bytes: &[u8], name: &str, names: &ColumnNames, vocabulary: &Vocabulary) -> Result<Self> {
        Self::of(Table::read(bytes, name, names)?, names, vocabulary)
    }

    fn of(table: Table, names: &ColumnNames, vocabulary: &Vocabulary) -> Result<Self> {
        let (columns, of_columns) = Columns::assign(&table.header, &table.used(), names, &table.place(1));
        let (rows, of_rows) = rows(&table, &columns, vocabulary);
        if rows.is_empty() {
            return Err(Error::refused(
                "the tag sheet has a header and no play below it",
                &table.name,
                "fill it, one row for each play, and name it again",
            ));
        }
        let mut problems = table.problems;
        problems.extend(of_columns);
        problems.extend(of_rows);
        Ok(Self { name: table.name, columns, rows, problems })
    }

    /// As one JSON document: `rows` with `where` and `tags`, `problems`, `columns` (field to header),
    /// `own_columns` (headers kept as the staff's own).
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
        json!({"rows": rows, "problems": self.problems, "columns": columns, "own_columns": own})
    }
}
