//! What the columns of a header never seen may hold, by their names and by their values. A proposal only: a person
//! confirms it.

use std::collections::{BTreeMap, BTreeSet};

use super::cell::{CellReader, Reading, film_seconds};
use super::columns::{ColumnNames, Role, plain};
use super::confirmed_header::ConfirmedHeader;
use super::habits::{Habits, day_seconds};
use super::table::Table;
use super::tidy_text::{tidy, unknown};
use crate::football::{Distance, Field, GameClock, Kind, Vocabulary, fold};

/// Cells of a column that are looked at; more tell nothing more.
const LOOKED_AT: usize = 400;

/// Share of a column's cells that must read as what is proposed for it: a tired person slips in one of ten.
const MOST: f64 = 0.9;
/// The same for words of the vocabulary, which is open: every staff has words of its own.
const MANY: f64 = 0.6;
/// Jaro-Winkler nearness at which two names are alike (our own choice: "Distnace" is .96 from "Distance").
const NEAR: f64 = 0.9;

/// One proposed column.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposed {
    /// Position, from 0.
    pub column: usize,
    /// Its header.
    pub name: String,
    /// What it may hold.
    pub role: Role,
    /// Why, as a person reads it.
    pub why: String,
    /// The first values that are not empty, at most three.
    pub values: Vec<String>,
    /// Greater is surer; for choosing only.
    score: f64,
}

/// What columns of a sheet may hold.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Proposal {
    /// In the sheet's order; each role once.
    pub columns: Vec<Proposed>,
}

impl Proposal {
    /// As the header that a person confirmed by taking it: with what the names said before.
    pub fn confirmed(&self, table: &Table, names: &ColumnNames) -> ConfirmedHeader {
        let known = table.header.iter().filter_map(|name| {
            let (role, _) = names.role(name)?;
            Some((name.clone(), role))
        });
        let mut columns: BTreeMap<String, Role> = BTreeMap::new();
        let mut taken = BTreeSet::new();
        for (name, role) in self.columns.iter().map(|p| (p.name.clone(), p.role)).chain(known) {
            if role == Role::Own || taken.insert(role) {
                columns.entry(name).or_insert(role);
            }
        }
        ConfirmedHeader { header: table.header.clone(), columns, sheet: table.name.clone() }
    }

    /// On one line: `"Dn" as down, "To" as distance`.
    pub fn in_words(&self) -> String {
        let words: Vec<String> = self.columns.iter().map(|p| format!("\"{}\" as {}", p.name, p.role.words())).collect();
        words.join(", ")
    }
}

/// Proposes roles for the columns whose names are not known; roles that known names have are not given again.
pub fn propose(table: &Table, names: &ColumnNames, vocabulary: &Vocabulary) -> Proposal {
    let taken: BTreeSet<Role> = table.header.iter().filter_map(|h| names.role(h)).map(|(role, _)| role).collect();
    let mut found: Vec<Proposed> = Vec::new();
    for (column, name) in table.header.iter().enumerate() {
        if name.is_empty() || names.role(name).is_some() {
            continue;
        }
        let cells: Vec<String> = table.cells(column).map(tidy).filter(|t| !unknown(t)).take(LOOKED_AT).collect();
        if cells.is_empty() {
            continue;
        }
        let values: Vec<String> = cells.iter().take(3).cloned().collect();
        for (role, score, why) in guesses(name, &cells, names, vocabulary) {
            if !taken.contains(&role) {
                found.push(Proposed { column, name: name.clone(), role, why, values: values.clone(), score });
            }
        }
    }
    // The surest first; each column and each role once.
    found.sort_by(|a, b| b.score.total_cmp(&a.score).then(a.column.cmp(&b.column)));
    let (mut columns, mut roles) = (BTreeSet::new(), BTreeSet::new());
    found.retain(|p| {
        // Down and distance in one column leave no column for the distance.
        let free = !columns.contains(&p.column) && !roles.contains(&p.role);
        if free {
            columns.insert(p.column);
            roles.insert(p.role);
        }
        free
    });
    found.sort_by_key(|p| p.column);
    Proposal { columns: found }
}

/// Every role that a column may have, with how sure that is and why.
fn guesses(name: &str, cells: &[String], names: &ColumnNames, vocabulary: &Vocabulary) -> Vec<(Role, f64, String)> {
    let mut out: Vec<(Role, f64, String)> = Vec::new();
    let by_values = by_values(cells, vocabulary);
    let by_name = by_name(name, names);
    for (field, score, why) in &by_values {
        let named = by_name.iter().find(|(role, ..)| *role == Role::Field(*field));
        match named {
            Some((_, near, like)) => out.push((Role::Field(*field), score + near + 0.3, format!("{like}, and {why}"))),
            None => out.push((Role::Field(*field), *score, why.clone())),
        }
    }
    for (role, near, like) in by_name {
        let Role::Field(field) = role else {
            out.push((role, near, like));
            continue;
        };
        if !out.iter().any(|(r, ..)| *r == role) && reads_as(field, cells, vocabulary) {
            out.push((role, near, like));
        }
    }
    out
}

/// Known names that a header is near to, or holds whole among its words.
fn by_name(name: &str, names: &ColumnNames) -> Vec<(Role, f64, String)> {
    let whole = plain(name);
    let words: Vec<String> = fold(name).split(' ').map(String::from).collect();
    let mut best: BTreeMap<Role, (f64, String)> = BTreeMap::new();
    for (known, role) in names.listed() {
        let near = match known.len().min(whole.len()) {
            // Two or three letters are near to everything.
            0..4 => 0.0,
            _ => strsim::jaro_winkler(&whole, known),
        };
        // "Down (ours)", "our down": the words around it tell no other field.
        let held = known.len() > 2 && words.len() > 1 && words.iter().any(|w| w == known);
        let score = if near >= NEAR {
            near
        } else if held {
            0.8
        } else {
            continue;
        };
        let entry = best.entry(role).or_insert((0.0, String::new()));
        if score > entry.0 {
            *entry = (score, format!("the name is like \"{known}\""));
        }
    }
    best.into_iter()
        .filter(|(role, _)| *role != Role::Own)
        .map(|(role, (score, why))| (role, score * 0.7, why))
        .collect()
}

/// Whether at least half of the cells read as a field's values.
fn reads_as(field: Field, cells: &[String], vocabulary: &Vocabulary) -> bool {
    let reader = CellReader { vocabulary, habits: Habits::default() };
    let read = cells.iter().filter(|c| !matches!(reader.read(field, c), Reading::Refused(_))).count();
    read * 2 >= cells.len()
}

/// Fields that the values alone suggest.
fn by_values(cells: &[String], vocabulary: &Vocabulary) -> Vec<(Field, f64, String)> {
    let mut out = Vec::new();
    if cells.len() < 3 {
        return out;
    }
    let share = |holds: &dyn Fn(&str) -> bool| cells.iter().filter(|c| holds(c)).count() as f64 / cells.len() as f64;
    let reader = CellReader { vocabulary, habits: Habits::default() };
    let parts = |text: &str| reader.read(Field::Down, text).parts().len();
    if share(&|c| parts(c) == 2) >= MANY && share(&|c| parts(c) > 0) >= MOST {
        out.push((Field::Down, 1.2, "its values are down and distance in one".to_string()));
        return out;
    }
    let whole: Vec<i64> = cells.iter().filter_map(|c| c.strip_suffix(".0").unwrap_or(c).parse().ok()).collect();
    if whole.len() as f64 >= MOST * cells.len() as f64 {
        numbers(cells, &whole, &mut out);
        return out;
    }
    let sided = |c: &str| c.starts_with(['+', '-']) || c.chars().any(char::is_alphabetic) || c == "50";
    if share(&|c| sided(c) && matches!(reader.read(Field::BallOn, c), Reading::Plain(_) | Reading::Notation(..)))
        >= MOST
        && share(&|c| c.chars().any(char::is_alphabetic) || c.starts_with('+')) > 0.0
    {
        out.push((Field::BallOn, 1.0, "its values are spots such as own 35".to_string()));
    }
    let times: Vec<f64> = cells.iter().filter(|c| c.contains(':')).filter_map(|c| film_seconds(c).ok()).collect();
    if times.len() as f64 >= MOST * cells.len() as f64 {
        let rises = times.windows(2).filter(|w| w[1] > w[0]).count();
        let falls = times.windows(2).filter(|w| w[1] < w[0]).count();
        let clock = share(&|c| GameClock::parse(c).is_some() || day_seconds(c).is_some()) >= MOST;
        if clock && falls > 2 * rises {
            out.push((Field::Clock, 1.0, "its values run down from at most 15:00".to_string()));
        } else if rises > 0 && falls * 20 <= rises {
            out.push((Field::Time, 0.9, "its values only rise, as film time does".to_string()));
        }
    }
    if share(&|c| ["q1", "q2", "q3", "q4", "1q", "2q", "3q", "4q", "ot"].contains(&fold(c).as_str())) >= MOST {
        out.push((Field::Quarter, 1.0, "its values are quarters".to_string()));
    }
    if share(&|c| ["1st", "2nd", "3rd", "4th"].contains(&fold(c).as_str())) >= MOST {
        out.push((Field::Down, 0.9, "its values are 1st to 4th".to_string()));
    }
    let yards = share(&|c| Distance::parse(c).is_some());
    if yards >= MOST && share(&|c| matches!(Distance::parse(c), Some(Distance::Goal))) > 0.0 {
        out.push((Field::Distance, 0.9, "its values are yards and goal".to_string()));
    }
    words(cells, vocabulary, &mut out);
    out
}

/// Columns of whole numbers.
fn numbers(cells: &[String], whole: &[i64], out: &mut Vec<(Field, f64, String)>) {
    let (least, most) = (whole.iter().min().copied().unwrap_or(0), whole.iter().max().copied().unwrap_or(0));
    let share = |holds: &dyn Fn(i64) -> bool| whole.iter().filter(|n| holds(**n)).count() as f64 / whole.len() as f64;
    let falls = whole.windows(2).filter(|w| w[1] < w[0]).count();
    let steps = whole.windows(2).filter(|w| w[1] == w[0] + 1).count();
    if whole.len() >= 5 && steps as f64 >= MOST * (whole.len() - 1) as f64 {
        out.push((Field::SheetNumber, 1.0, "its values count on".to_string()));
    } else if least >= 1 && most <= 6 && falls == 0 && most > least && whole.len() >= 8 {
        out.push((Field::Quarter, 1.0, "its values are 1 to 4 and never fall".to_string()));
    } else if least >= 0 && most <= 4 && falls > 0 && share(&|n| n == 1) >= 0.25 && share(&|n| n == 0) < 0.3 {
        // First down is the commonest; fourth the rarest.
        out.push((Field::Down, 1.0, "its values are 1 to 4, rising and falling".to_string()));
    } else if least >= 0 && most <= 40 && share(&|n| n == 10) >= 0.25 && most > 4 {
        out.push((Field::Distance, 1.0, "its values are yards, and 10 the commonest".to_string()));
    } else if cells.iter().any(|c| c.starts_with('+')) && least >= -50 && most <= 50 && share(&|n| n.abs() > 15) > 0.4 {
        out.push((Field::BallOn, 0.9, "its values are spots with signs".to_string()));
    } else if (-30..0).contains(&least) && most <= 109 && share(&|n| n.abs() <= 15) >= 0.75 && share(&|n| n < 0) < 0.35
    {
        out.push((Field::Gain, 0.9, "its values are yards, some of them lost".to_string()));
    }
}

/// Columns whose values are words of one field. What two fields know alike is left to the name.
fn words(cells: &[String], vocabulary: &Vocabulary, out: &mut Vec<(Field, f64, String)>) {
    let mut shares: Vec<(Field, f64, usize)> = Vec::new();
    for field in Field::ALL.iter().copied().filter(|f| f.kind() == Kind::Word) {
        let known: Vec<&str> = cells.iter().filter_map(|c| vocabulary.canonical(field, c)).collect();
        let kinds = known.iter().collect::<BTreeSet<_>>().len();
        let share = known.len() as f64 / cells.len() as f64;
        if share >= MANY && kinds >= 2 {
            shares.push((field, share, kinds));
        }
    }
    shares.sort_by(|a, b| b.1.total_cmp(&a.1));
    // A shell is tagged before its rotation, and a rotation has no column of its own without it.
    let rank = |field: Field| if field == Field::Rotation { 1 } else { 0 };
    shares.sort_by_key(|(field, ..)| rank(*field));
    if let [(field, share, kinds), rest @ ..] = &shares[..] {
        let alike = rest.iter().any(|(other, s, _)| *other != Field::Rotation && *s >= share - 0.1);
        if !alike {
            out.push((*field, 0.5 + share * 0.4, format!("{kinds} of its words are {}s", field.words())));
        }
    }
}

#[cfg(test)]
#[path = "propose_tests.rs"]
mod tests;
