//! Headers that a person confirmed, and the file that remembers them.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

use serde::Deserialize;

use super::columns::{Role, plain, role_named};
use crate::base::{Error, Result};

/// A sheet's header with what its columns hold, as a person confirmed it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ConfirmedHeader {
    /// The header's names.
    pub header: Vec<String>,
    /// The columns that were confirmed.
    pub columns: BTreeMap<String, Role>,
    /// The sheet it was confirmed for, for the reader of the file.
    pub sheet: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    header: Vec<HeaderInFile>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct HeaderInFile {
    #[serde(default)]
    sheet: String,
    names: Vec<String>,
    columns: BTreeMap<String, String>,
}

/// What a new file of headers begins with.
const HEAD: &str = "\
# Headers of tag sheets whose columns a person confirmed. downbox adds to this file (sheet check --yes, cut --yes).
# A header is known again by its names, whatever their case and order. Edit what is wrong, or delete it to be asked anew;
# a field is one of columns.toml, or \"own\" for a column that is kept as your own tag.
";

impl ConfirmedHeader {
    /// Reads a file of confirmed headers. `place` names it in errors.
    ///
    /// # Errors
    /// A file that cannot be understood, a field that does not exist.
    pub fn read_all(text: &str, place: &str) -> Result<Vec<Self>> {
        let file: File = toml::from_str(text).map_err(|cause| {
            let next = "mend the line named, or delete the file to be asked anew";
            Error::refused("cannot read the confirmed headers", place, next).because(cause)
        })?;
        let of = |h: HeaderInFile| -> Result<Self> {
            let role = |(name, field): (String, String)| Ok((name, role_named(&field, place)?));
            let columns = h.columns.into_iter().map(role).collect::<Result<_>>()?;
            Ok(Self { header: h.names, columns, sheet: h.sheet })
        };
        file.header.into_iter().map(of).collect()
    }

    /// A file's text with this header added at its end; an empty text becomes a new file.
    pub fn added_to(&self, text: &str) -> String {
        let mut out = if text.trim().is_empty() { HEAD.to_string() } else { text.trim_end().to_string() + "\n" };
        let quoted = |t: &str| toml::Value::String(t.to_string()).to_string();
        let names: Vec<String> = self.header.iter().filter(|n| !n.trim().is_empty()).map(|n| quoted(n)).collect();
        let columns: Vec<String> =
            self.columns.iter().map(|(name, role)| format!("{} = \"{}\"", quoted(name), role.key())).collect();
        // Writing to a text does not fail.
        let _ = write!(
            out,
            "\n[[header]]\nsheet = {}\nnames = [{}]\n[header.columns]\n{}\n",
            quoted(&self.sheet),
            names.join(", "),
            columns.join("\n")
        );
        out
    }

    /// Whether a record is this header.
    pub fn is_for(&self, record: &[String]) -> bool {
        let names = |cells: &[String]| -> BTreeSet<String> {
            cells.iter().map(|c| plain(c)).filter(|c| !c.is_empty()).collect()
        };
        let mine = names(&self.header);
        !mine.is_empty() && mine == names(record)
    }
}

#[cfg(test)]
mod tests {
    use super::super::ColumnNames;
    use super::*;
    use crate::football::Field;

    fn texts(texts: &[&str]) -> Vec<String> {
        texts.iter().map(|t| (*t).to_string()).collect()
    }

    #[test]
    fn what_is_written_is_read_and_counts_for_that_header_alone() {
        let header = texts(&["No", "Dn \"x\"", "Look"]);
        let columns = BTreeMap::from([
            ("Dn \"x\"".to_string(), Role::Field(Field::Down)),
            ("Look".to_string(), Role::Field(Field::Shell)),
        ]);
        let confirmed = ConfirmedHeader { header, columns, sheet: "tags.xlsx".into() };
        let text = confirmed.added_to("");
        let twice = confirmed.added_to(&text);
        assert!(text.starts_with("# Headers of tag sheets"), "{text}");
        assert_eq!(ConfirmedHeader::read_all(&text, "headers.toml").unwrap(), std::slice::from_ref(&confirmed));
        assert_eq!(ConfirmedHeader::read_all(&twice, "headers.toml").unwrap().len(), 2);

        let names = ColumnNames::default().knowing([confirmed]);
        let again = texts(&["LOOK", "dn \"X\"", "", "no"]);
        assert!(names.remembers(&again) && !names.remembers(&texts(&["No", "Look"])));
        assert_eq!(names.for_header(&again).role("look"), Some((Role::Field(Field::Shell), 0)));
        assert_eq!(names.for_header(&texts(&["Look", "Down"])).role("look"), None);
    }

    #[test]
    fn the_settings_go_before_a_confirmed_header() {
        let columns = BTreeMap::from([("Look".to_string(), Role::Field(Field::Shell))]);
        let confirmed = ConfirmedHeader { header: texts(&["Look", "Dn"]), columns, sheet: String::new() };
        let mapping = BTreeMap::from([("Look".to_string(), "front".to_string())]);
        let names = ColumnNames::default().with(&mapping, "downbox.toml").unwrap().knowing([confirmed]);
        let names = names.for_header(&texts(&["Look", "Dn"]));
        assert_eq!(names.role("Look"), Some((Role::Field(Field::Front), 0)));
    }

    #[test]
    fn a_broken_file_is_named_with_the_next_step() {
        for text in ["[[header]]\nnames = [\"a\"]\n", "[[header]]\nnames = [\"a\"]\n[header.columns]\na = \"dwn\"\n"] {
            let error = ConfirmedHeader::read_all(text, "headers.toml").unwrap_err();
            assert!(error.place == "headers.toml" && !error.next.is_empty(), "{error}");
        }
    }
}
