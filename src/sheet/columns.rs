//! Which column holds what.

use std::collections::{BTreeMap, BTreeSet};

use serde::Deserialize;

use super::confirmed_header::ConfirmedHeader;
use crate::base::{Error, Problem, Result};
use crate::football::{Field, fold};

/// The names that ship with the program.
const DEFAULT: &str = include_str!("../../config/columns.toml");

/// What a column is read as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Role {
    /// A field of the trade.
    Field(Field),
    /// How a pass went and how the play ended, in one column.
    Result,
    /// The staff's own tag.
    Own,
}

impl Role {
    fn named(name: &str) -> Option<Self> {
        match fold(name).as_str() {
            "result" => Some(Self::Result),
            "own" => Some(Self::Own),
            _ => Field::named(name).map(Self::Field),
        }
    }

    /// Its key in JSON and settings.
    pub fn key(self) -> &'static str {
        match self {
            Self::Field(field) => field.key(),
            Self::Result => "result",
            Self::Own => "own",
        }
    }

    /// The same in words: `ball on`.
    pub fn words(self) -> &'static str {
        match self {
            Self::Field(field) => field.words(),
            Self::Result | Self::Own => self.key(),
        }
    }
}

/// Names that columns go by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ColumnNames {
    /// Name as [`plain`] gives it: role, and its place in the list (0 is the surest).
    names: BTreeMap<String, (Role, usize)>,
    /// Names that the settings fix, as [`plain`] gives them: no confirmed header changes them.
    fixed: BTreeSet<String>,
    /// Whole headers that a person confirmed; of two for one header the later counts.
    confirmed: Vec<ConfirmedHeader>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    columns: BTreeMap<String, Vec<String>>,
}

impl Default for ColumnNames {
    fn default() -> Self {
        // The shipped file is read by a test; without it only the fields' own names are known.
        Self::read(DEFAULT, "config/columns.toml").unwrap_or_else(|_| Self::of(BTreeMap::new()))
    }
}

impl ColumnNames {
    /// Reads a file of names: `[columns]`, each field's key with its list. `place` names the file in errors.
    pub fn read(text: &str, place: &str) -> Result<Self> {
        let file: File = toml::from_str(text).map_err(|cause| {
            Error::refused("cannot read the column names", place, "mend the line named").because(cause)
        })?;
        let mut names: BTreeMap<String, (Role, usize)> = BTreeMap::new();
        for (key, spellings) in file.columns {
            let role = role_named(&key, place)?;
            for (rank, spelling) in std::iter::once(&key).chain(&spellings).enumerate() {
                let (other, _) = *names.entry(plain(spelling)).or_insert((role, rank));
                if other != role {
                    return Err(Error::refused(
                        format!("the column name \"{spelling}\" stands for both {} and {key}", other.key()),
                        place,
                        "leave it at one of them",
                    ));
                }
            }
        }
        Ok(Self::of(names))
    }

    fn of(names: BTreeMap<String, (Role, usize)>) -> Self {
        Self { names, fixed: BTreeSet::new(), confirmed: Vec::new() }
    }

    /// Adds headers that a person confirmed.
    #[must_use]
    pub fn knowing(mut self, confirmed: impl IntoIterator<Item = ConfirmedHeader>) -> Self {
        self.confirmed.extend(confirmed);
        self
    }

    /// Whether a person confirmed this very header.
    pub fn remembers(&self, record: &[String]) -> bool {
        self.confirmed.iter().any(|c| c.is_for(record))
    }

    /// The names as they count for one header: what a person confirmed for it goes before the listed names, and what
    /// the settings say before both.
    #[must_use]
    pub fn for_header(&self, header: &[String]) -> Self {
        let mut names = self.clone();
        for confirmed in self.confirmed.iter().filter(|c| c.is_for(header)) {
            for (name, role) in &confirmed.columns {
                if !self.fixed.contains(&plain(name)) {
                    names.names.insert(plain(name), (*role, 0));
                }
            }
        }
        names
    }

    /// Adds a staff's own mapping, header to field (`"Togo" = "distance"`); it wins over every listed name.
    pub fn with(mut self, mapping: &BTreeMap<String, String>, place: &str) -> Result<Self> {
        for (header, name) in mapping {
            self.names.insert(plain(header), (role_named(name, place)?, 0));
            self.fixed.insert(plain(header));
        }
        Ok(self)
    }

    /// What a header names, and how sure that is (0 is the surest); `None` if it is not known.
    pub fn role(&self, header: &str) -> Option<(Role, usize)> {
        let whole = plain(header);
        if whole.is_empty() {
            return None;
        }
        let known = |name: &str| {
            self.names.get(name).copied().or_else(|| Field::named(name).map(|field| (Role::Field(field), 0)))
        };
        // "Ball on (yd)": the unit tells nothing.
        known(&whole).or_else(|| known(&plain(header.split_once('(')?.0)))
    }

    /// Every listed name, as [`plain`] gives it, with its role.
    pub(super) fn listed(&self) -> impl Iterator<Item = (&str, Role)> {
        self.names.iter().map(|(name, (role, _))| (name.as_str(), *role))
    }

    /// How many fields a record's cells name: the same name twice is one, as two values "no" are.
    pub fn known(&self, record: &[String]) -> usize {
        let roles = record.iter().filter_map(|cell| self.role(cell)).map(|(role, _)| role);
        roles.filter(|role| *role != Role::Own).collect::<BTreeSet<_>>().len()
    }
}

pub(super) fn role_named(name: &str, place: &str) -> Result<Role> {
    Role::named(name).ok_or_else(|| {
        let known: Vec<_> = Field::ALL.iter().map(|f| f.key()).collect();
        Error::refused(
            format!("the column names speak of a field \"{name}\" that does not exist"),
            place,
            format!("use one of: {}, result, own", known.join(", ")),
        )
    })
}

/// A header without what does not matter: case, every kind of space, hyphens, dots; `#` reads as "number".
pub(super) fn plain(header: &str) -> String {
    fold(&header.replace('#', " number ")).replace(' ', "")
}

/// One column of a sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Header as the sheet has it, on one line; `column 7` where it has none.
    pub name: String,
    /// What it is read as.
    pub role: Role,
}

/// The columns of a sheet, in the sheet's order; `None` for a column that is empty from top to bottom.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Columns(pub Vec<Option<Column>>);

impl Columns {
    /// Gives every column its role. `used[i]` tells whether column `i` holds anything below the header. `place` gives the
    /// address of a column's header by its position and name.
    pub fn assign(
        header: &[String],
        used: &[bool],
        names: &ColumnNames,
        place: &dyn Fn(usize, &str) -> String,
    ) -> (Self, Vec<Problem>) {
        let mut problems = Vec::new();
        let mut taken: Vec<String> = Vec::new();
        let mut columns: Vec<Option<Column>> = Vec::new();
        // For each role the surest name wins, of equals the leftmost.
        let mut best: BTreeMap<Role, (usize, usize)> = BTreeMap::new();
        for (index, text) in header.iter().enumerate() {
            if let Some((role, rank)) = names.role(text) {
                let entry = best.entry(role).or_insert((rank, index));
                *entry = (*entry).min((rank, index));
            }
        }
        for index in 0..header.len().max(used.len()) {
            let text = header.get(index).map(|t| one_line(t)).unwrap_or_default();
            if text.is_empty() && !used.get(index).copied().unwrap_or(false) {
                columns.push(None);
                continue;
            }
            let mut name = if text.is_empty() { format!("column {}", index + 1) } else { text };
            if text_is_taken(&taken, &name) {
                let first = name.clone();
                name = (2..).map(|n| format!("{first} ({n})")).find(|n| !text_is_taken(&taken, n)).unwrap_or(first);
            }
            let wanted = header.get(index).and_then(|t| names.role(t)).map_or(Role::Own, |(role, _)| role);
            let winner = best.get(&wanted).map_or(index, |(_, winner)| *winner);
            let role = if wanted == Role::Own || winner == index { wanted } else { Role::Own };
            if role != wanted {
                let other = header.get(winner).map(|t| one_line(t)).unwrap_or_default();
                let what = format!(
                    "names {} as column {} (\"{other}\") does; kept as the staff's own tag \"{name}\"",
                    wanted.words(),
                    winner + 1
                );
                problems.push(Problem::new(place(index, &name), what));
            }
            if header.get(index).is_none_or(|t| t.trim().is_empty()) {
                let what = format!("the column has no header; kept as the staff's own tag \"{name}\"");
                problems.push(Problem::new(place(index, &(index + 1).to_string()), what));
            }
            taken.push(name.clone());
            columns.push(Some(Column { name, role }));
        }
        (Self(columns), problems)
    }

    /// The column that is read as `role`, with its position.
    pub fn find(&self, role: Role) -> Option<(usize, &Column)> {
        self.0.iter().enumerate().find_map(|(i, c)| c.as_ref().filter(|c| c.role == role).map(|c| (i, c)))
    }

    /// Columns in use.
    pub fn iter(&self) -> impl Iterator<Item = (usize, &Column)> {
        self.0.iter().enumerate().filter_map(|(i, c)| c.as_ref().map(|c| (i, c)))
    }
}

fn text_is_taken(taken: &[String], name: &str) -> bool {
    taken.iter().any(|t| fold(t) == fold(name))
}

/// Line breaks and runs of spaces become one space.
pub(super) fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn assign(header: &[&str]) -> (Vec<&'static str>, Vec<String>) {
        let header: Vec<String> = header.iter().map(|h| (*h).to_string()).collect();
        let used = vec![true; header.len()];
        let (columns, problems) =
            Columns::assign(&header, &used, &ColumnNames::default(), &|_, name| format!("tags.csv:1 column {name}"));
        (
            columns.iter().map(|(_, c)| c.role.key()).collect(),
            problems.into_iter().map(|p| format!("{}: {}", p.place, p.what)).collect(),
        )
    }

    #[test]
    fn the_shipped_file_reads_and_knows_every_field() {
        let names = ColumnNames::read(DEFAULT, "config/columns.toml").unwrap();
        for field in Field::ALL {
            for name in [field.key(), field.words()] {
                assert_eq!(names.role(name), Some((Role::Field(*field), 0)), "{name}");
            }
        }
        for (header, key) in [
            ("Dist", "distance"),
            ("YARDS TO GO", "distance"),
            ("Yards\u{a0}To Go", "distance"),
            (" Qtr. ", "quarter"),
            ("Ball\nOn", "ball_on"),
            ("BallOn (yd)", "ball_on"),
            ("Play #", "sheet_number"),
            ("#", "sheet_number"),
            ("Down & Distance", "down"),
            ("Result", "result"),
            ("Gain/Loss", "gain"),
            ("Run/Pass", "play_type"),
        ] {
            assert_eq!(names.role(header).map(|(role, _)| role.key()), Some(key), "{header:?}");
        }
        assert_eq!(names.role("Mood"), None);
        assert_eq!(names.role(" "), None);
    }

    #[test]
    fn doubled_and_missing_headers_lose_nothing() {
        let (roles, problems) = assign(&["Yards", "Gain", "Down", "down", "", "Grade", "Grade"]);
        assert_eq!(roles, ["own", "gain", "down", "own", "own", "own", "own"]);
        insta::assert_snapshot!(problems.join("\n"), @r#"
        tags.csv:1 column Yards: names gain as column 2 ("Gain") does; kept as the staff's own tag "Yards"
        tags.csv:1 column down (2): names down as column 3 ("Down") does; kept as the staff's own tag "down (2)"
        tags.csv:1 column 5: the column has no header; kept as the staff's own tag "column 5"
        "#);
    }

    #[test]
    fn a_staffs_mapping_wins() {
        let mapping = BTreeMap::from([
            ("Scout".to_string(), "shell".to_string()),
            ("Down".to_string(), "own".to_string()),
            ("Togo".to_string(), "ball on".to_string()),
        ]);
        let names = ColumnNames::default().with(&mapping, "downbox.toml").unwrap();
        assert_eq!(names.role("scout"), Some((Role::Field(Field::Shell), 0)));
        assert_eq!(names.role("Down"), Some((Role::Own, 0)));
        assert_eq!(names.role("to go"), Some((Role::Field(Field::BallOn), 0)));
        let wrong = BTreeMap::from([("Scout".to_string(), "shel".to_string())]);
        let error = ColumnNames::default().with(&wrong, "downbox.toml").unwrap_err();
        assert!(error.to_string().contains("\"shel\""), "{error}");
        assert!(error.next.contains("ball_on"), "{}", error.next);
    }
}
