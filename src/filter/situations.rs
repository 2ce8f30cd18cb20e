//! Named situations and the shares of success, as the settings hold them.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::SuccessShares;
use crate::base::{Error, Result};
use crate::football::fold;

/// The situations that ship with the program; a staff's own file replaces them.
const DEFAULT: &str = include_str!("../../config/situations.toml");

/// Names that a phrase may use, each defined by a phrase.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Situations {
    named: Vec<Situation>,
    /// What makes a play a success.
    pub success: SuccessShares,
}

/// One name and its meaning.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Situation {
    /// Its name.
    pub name: String,
    /// The phrase it stands for.
    pub means: String,
    /// Every way to say it, folded, the name among them.
    pub spellings: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct InFile {
    #[serde(default)]
    situation: BTreeMap<String, SituationInFile>,
    #[serde(default)]
    success: SuccessInFile,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SituationInFile {
    means: String,
    #[serde(default)]
    spellings: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, default)]
struct SuccessInFile {
    first: u16,
    second: u16,
    third: u16,
}

impl Default for SuccessInFile {
    fn default() -> Self {
        let SuccessShares { first, second, third } = SuccessShares::default();
        Self { first, second, third }
    }
}

impl Default for Situations {
    fn default() -> Self {
        // The shipped file is read by a test; were it broken all the same, the names are lost and nothing else.
        Self::read(DEFAULT, "config/situations.toml")
            .unwrap_or(Self { named: Vec::new(), success: SuccessShares::default() })
    }
}

impl Situations {
    /// Reads a situations file. `place` names it in errors. The phrases in it are read where they are used, since
    /// they may hold words of the vocabulary; `Words::check` reads them all.
    pub fn read(text: &str, place: &str) -> Result<Self> {
        let file: InFile = toml::from_str(text).map_err(|cause| {
            Error::refused(
                "cannot read the situations",
                place,
                "mend the line named, or delete the file to use the default",
            )
            .because(cause)
        })?;
        let mut named: Vec<Situation> = Vec::new();
        for (name, situation) in file.situation {
            let mut spellings: Vec<String> = Vec::new();
            for spelling in std::iter::once(&name).chain(&situation.spellings).map(|s| fold(s)) {
                let problem = if spelling.is_empty() {
                    Some(format!("the situation \"{name}\" has a name or spelling without letters"))
                } else {
                    let twin = named.iter().find(|s| s.spellings.contains(&spelling));
                    twin.map(|t| format!("\"{spelling}\" names both the situations \"{}\" and \"{name}\"", t.name))
                };
                if let Some(problem) = problem {
                    return Err(Error::refused(problem, place, "give each situation names of its own"));
                }
                if !spellings.contains(&spelling) {
                    spellings.push(spelling);
                }
            }
            named.push(Situation { name, means: situation.means, spellings });
        }
        let SuccessInFile { first, second, third } = file.success;
        Ok(Self { named, success: SuccessShares { first, second, third } })
    }

    /// Every situation, by name.
    pub fn named(&self) -> &[Situation] {
        &self.named
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_file_reads() {
        let situations = Situations::read(DEFAULT, "config/situations.toml").unwrap();
        assert!(situations.named().iter().any(|s| s.name == "red zone" && s.spellings.len() == 2));
        assert_eq!(situations.success, SuccessShares::default());
    }

    #[test]
    fn a_broken_file_is_refused_with_its_reason() {
        for (text, part) in [
            ("[situation.a]\n", "means"),
            ("[situation.a]\nmeans = \"third\"\n[situation.b]\nmeans = \"first\"\nspellings = [\"A\"]\n", "both"),
            ("[situation.\"--\"]\nmeans = \"third\"\n", "without letters"),
            ("[success]\nfirst = -1\n", "situations"),
            ("[success]\nfourth = 1\n", "fourth"),
        ] {
            let error = Situations::read(text, "situations.toml").unwrap_err();
            assert!(error.to_string().contains(part), "{text:?}: {error}");
        }
    }

    #[test]
    fn a_staff_draws_its_own_line_of_success() {
        let situations = Situations::read("[success]\nfirst = 50\nsecond = 70\n", "s").unwrap();
        assert_eq!(situations.success, SuccessShares { first: 50, second: 70, third: 100 });
    }
}
