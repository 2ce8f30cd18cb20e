//! Words and their spellings.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::{Field, Kind};
use crate::base::{Error, Result};

/// The vocabulary that ships with the program; a staff's own file replaces it.
const DEFAULT: &str = include_str!("../../config/vocabulary.toml");

/// One spelling of one word.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// The spelling, folded (see [`fold`]).
    pub spelling: String,
    /// The field it is a value of.
    pub field: Field,
    /// The word it stands for.
    pub word: String,
    /// Whether it means this only as the value of its column, not in a phrase ("1" for one-high).
    pub cell_only: bool,
}

/// Words of each field and how people spell them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Vocabulary {
    entries: Vec<Entry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WordInFile {
    #[serde(default)]
    spellings: Vec<String>,
    #[serde(default)]
    cells: Vec<String>,
}

impl Default for Vocabulary {
    fn default() -> Self {
        // The shipped file is read by a test; were it broken all the same, an empty vocabulary loses spellings only.
        Self::read(DEFAULT, "config/vocabulary.toml").unwrap_or(Self { entries: Vec::new() })
    }
}

impl Vocabulary {
    /// Reads a vocabulary file. `place` names it in errors.
    pub fn read(text: &str, place: &str) -> Result<Self> {
        let file: BTreeMap<String, BTreeMap<String, WordInFile>> = toml::from_str(text).map_err(|cause| {
            Error::refused(
                "cannot read the vocabulary",
                place,
                "mend the line named, or delete the file to use the default",
            )
            .because(cause)
        })?;
        let mut entries: Vec<Entry> = Vec::new();
        for (name, words) in file {
            let field = Field::named(&name).filter(|f| f.kind() == Kind::Word).ok_or_else(|| {
                let known: Vec<_> = Field::ALL.iter().filter(|f| f.kind() == Kind::Word).map(|f| f.key()).collect();
                Error::refused(
                    format!("the vocabulary has a field [{name}] that holds no words"),
                    place,
                    format!("use one of: {}", known.join(", ")),
                )
            })?;
            for (word, how) in words {
                let spellings = std::iter::once(&word).chain(&how.spellings).map(|s| (s, false));
                for (spelling, cell_only) in spellings.chain(how.cells.iter().map(|s| (s, true))) {
                    let spelling = fold(spelling);
                    let twin = entries.iter().find(|e| e.field == field && e.spelling == spelling && e.word != word);
                    if let Some(twin) = twin {
                        return Err(Error::refused(
                            format!("the spelling \"{spelling}\" of {field} means both {} and {word}", twin.word),
                            place,
                            "leave it at one of them",
                        ));
                    }
                    entries.push(Entry { spelling, field, word: word.clone(), cell_only });
                }
            }
        }
        Ok(Self { entries })
    }

    /// Adds words that a staff has used, so that a phrase finds them. Known spellings keep their meaning.
    pub fn learn<'a>(&mut self, words: impl IntoIterator<Item = (Field, &'a str)>) {
        for (field, word) in words {
            if field.kind() == Kind::Word && self.canonical(field, word).is_none() {
                self.entries.push(Entry { spelling: fold(word), field, word: word.to_string(), cell_only: false });
            }
        }
    }

    /// Every spelling.
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// The canonical word for a cell's text in a column of `field`; `None` if the vocabulary has it not.
    pub fn canonical(&self, field: Field, text: &str) -> Option<&str> {
        let spelling = fold(text);
        self.entries.iter().find(|e| e.field == field && e.spelling == spelling).map(|e| e.word.as_str())
    }

    /// The spelling nearest to `text` among all that may stand in a phrase, if any is near (Jaro-Winkler .82, our own
    /// choice: it accepts one slip in five letters).
    pub fn nearest(&self, text: &str) -> Option<&Entry> {
        let text = fold(text);
        self.entries
            .iter()
            .filter(|e| !e.cell_only)
            .map(|e| (strsim::jaro_winkler(&e.spelling, &text), e))
            .filter(|(near, _)| *near >= 0.82)
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, e)| e)
    }
}

/// Lower case; hyphens, underscores, slashes, dots and every kind of space become one space; quotes go.
pub fn fold(text: &str) -> String {
    let spaced: String = text
        .chars()
        .flat_map(char::to_lowercase)
        .filter(|c| !"'\u{2019}\"\u{201c}\u{201d}".contains(*c))
        .map(|c| if c.is_alphanumeric() || "+&".contains(c) { c } else { ' ' })
        .collect();
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_file_reads_and_knows_the_shells() {
        let vocabulary = Vocabulary::read(DEFAULT, "config/vocabulary.toml").unwrap();
        for text in ["one-high", "1-high", "Single High", "MOFC", "1", "one high", "1\u{a0}High"] {
            assert_eq!(vocabulary.canonical(Field::Shell, text), Some("one-high"), "{text:?}");
        }
        assert_eq!(vocabulary.canonical(Field::Shell, "3-high"), None);
        assert_eq!(vocabulary.canonical(Field::Hash, "L"), Some("left"));
        assert!(vocabulary.entries().len() > 150);
    }

    #[test]
    fn a_slip_finds_its_neighbor_and_nonsense_finds_none() {
        let vocabulary = Vocabulary::default();
        assert_eq!(vocabulary.nearest("one hihg").map(|e| e.word.as_str()), Some("one-high"));
        assert_eq!(vocabulary.nearest("zqxj"), None);
    }

    #[test]
    fn one_spelling_with_two_meanings_is_refused() {
        let text = "[shell.one-high]\nspellings = [\"middle\"]\n[shell.two-high]\nspellings = [\"middle\"]\n";
        let error = Vocabulary::read(text, "vocabulary.toml").unwrap_err();
        assert!(error.to_string().contains("middle"), "{error}");
        assert!(Vocabulary::read("[gain.x]\n", "v").unwrap_err().to_string().contains("holds no words"));
    }

    #[test]
    fn learned_words_are_found() {
        let mut vocabulary = Vocabulary::default();
        vocabulary.learn([(Field::Formation, "Lumberjack"), (Field::Note, "no")]);
        assert_eq!(vocabulary.canonical(Field::Formation, "lumberjack"), Some("Lumberjack"));
    }
}
