//! `game.toml` in a game's folder: what its name and its files' names do not tell.

use std::collections::BTreeMap;
use std::path::{Component, Path, PathBuf};

use serde::Deserialize;

use crate::base::{Error, Result};

/// What a person may say of a game.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields, default, rename_all = "kebab-case")]
pub struct GameToml {
    /// The game's name.
    pub name: Option<String>,
    /// Its day, 2026-09-11.
    pub date: Option<String>,
    /// Home team.
    pub home: Option<String>,
    /// Away team.
    pub away: Option<String>,
    /// Our team, where the sheet tells only whose unit is on the field.
    pub we: Option<String>,
    /// The other team.
    pub they: Option<String>,
    /// The tag sheet; several, in the game's order.
    pub sheet: Sheets,
    /// Files or folders of each camera.
    pub cameras: BTreeMap<String, Vec<String>>,
    /// Nothing is done while this is set.
    pub hold: bool,
    /// A film that changed under the same name takes the place of the old one.
    pub replace: bool,
    /// Films that are cut short are taken as far as they go.
    pub take_short: bool,
}

/// One sheet or several.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(untagged)]
pub enum Sheets {
    /// None is named.
    #[default]
    None,
    /// One.
    One(String),
    /// Several.
    Several(Vec<String>),
}

impl Sheets {
    /// As paths relative to the game's folder.
    pub fn paths(&self) -> Vec<PathBuf> {
        match self {
            Self::None => Vec::new(),
            Self::One(one) => vec![one.into()],
            Self::Several(all) => all.iter().map(PathBuf::from).collect(),
        }
    }
}

impl GameToml {
    /// Reads its text; `place` names the file.
    ///
    /// # Errors
    /// It cannot be understood; it names a file outside of the game's folder.
    pub fn read(text: &str, place: &Path) -> Result<Self> {
        let wrong = |cause: String| {
            let next =
                "mend what is named: name, date, home, away, we, they, sheet, hold, replace, take-short, [cameras]";
            Error::refused("cannot understand the game's settings", place.display(), next)
                .because(cause.trim().replace('\n', " "))
        };
        let read: Self = toml::from_str(text).map_err(|cause| wrong(cause.to_string()))?;
        if read.we.is_some() != read.they.is_some() {
            return Err(wrong("we and they go together".into()));
        }
        let named = read.cameras.values().flatten().map(PathBuf::from).chain(read.sheet.paths());
        for path in named {
            if !path.components().all(|c| matches!(c, Component::Normal(_) | Component::CurDir)) {
                return Err(wrong(format!("{} does not lie in the game's folder", path.display())));
            }
        }
        Ok(read)
    }

    /// The camera that a file is named for: itself, or a folder that holds it.
    pub fn camera_of(&self, file: &Path) -> Option<&str> {
        let holds = |named: &String| file.starts_with(named);
        self.cameras.iter().find(|(_, files)| files.iter().any(holds)).map(|(camera, _)| camera.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_person_says_is_read_and_a_slip_is_named() {
        let place = Path::new("inbox/B/game.toml");
        let text = "name = \"Badgers\"\nsheet = [\"h1.csv\", \"h2.csv\"]\n[cameras]\nroof = [\"a.mp4\", \"cards\"]\n";
        let read = GameToml::read(text, place).unwrap();
        assert_eq!(read.sheet.paths().len(), 2);
        assert_eq!(read.camera_of(Path::new("cards/1/2.mp4")), Some("roof"));
        assert_eq!(read.camera_of(Path::new("cards2/1.mp4")), None);
        for (text, part) in [
            ("nam = 1\n", "nam"),
            ("we = \"Badgers\"\n", "we and they"),
            ("sheet = \"../tags.csv\"\n", "does not lie in"),
            ("[cameras]\nroof = [\"/film\"]\n", "does not lie in"),
        ] {
            let error = GameToml::read(text, place).unwrap_err();
            assert!(error.to_string().contains(part) && error.place.contains("game.toml"), "{error}");
        }
    }
}
