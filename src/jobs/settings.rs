//! The settings in force: built-in defaults, then the user's file, then the library's.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::Deserialize;

use crate::base::{Error, IoContext, Result};

/// The defaults that ship with the program.
pub const DEFAULTS: &str = include_str!("../../config/settings.toml");

/// All settings.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// Clips.
    pub clip: ClipSettings,
    /// Cutups.
    pub cutup: CutupSettings,
    /// Tag sheets.
    pub sheet: SheetSettings,
}

/// How clips are cut.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClipSettings {
    /// Seconds kept before the snap where a clip is trimmed.
    pub lead_in: f64,
    /// Seconds kept after the whistle where a clip is trimmed.
    pub tail: f64,
    /// x264 preset of frames encoded anew.
    pub preset: String,
    /// x264 constant rate factor of frames encoded anew.
    pub crf: u8,
}

/// How cutups are made.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CutupSettings {
    /// Whether a sure play is shown from lead-in to tail only.
    pub trim: bool,
    /// x264 preset.
    pub preset: String,
    /// x264 constant rate factor.
    pub crf: u8,
    /// Newest game first.
    pub newest_first: bool,
}

/// How sheets are read.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SheetSettings {
    /// Our team's name.
    #[serde(default)]
    pub we: String,
    /// The other team's name.
    #[serde(default)]
    pub they: String,
    /// Header to field.
    #[serde(default)]
    pub columns: BTreeMap<String, String>,
}

impl Settings {
    /// Reads the files that exist, later ones over earlier ones, key by key.
    pub fn read(files: &[PathBuf]) -> Result<Self> {
        let mut all = parse(DEFAULTS, Path::new("config/settings.toml"))?;
        for file in files.iter().filter(|f| f.exists()) {
            let text = std::fs::read_to_string(file).doing("read the settings", file)?;
            lay_over(&mut all, parse(&text, file)?);
            // Each file is checked by itself, so that an error names the right one.
            resolve(&all, file)?;
        }
        resolve(&all, Path::new("config/settings.toml"))
    }

    /// The user's own settings file.
    pub fn user_file() -> Option<PathBuf> {
        let base = std::env::var_os("XDG_CONFIG_HOME")
            .map(PathBuf::from)
            .or_else(|| std::env::var_os("HOME").map(|h| PathBuf::from(h).join(".config")))?;
        Some(base.join("downbox/settings.toml"))
    }
}

fn parse(text: &str, file: &Path) -> Result<toml::Table> {
    toml::from_str(text).map_err(|cause| wrong(file, &cause))
}

fn resolve(all: &toml::Table, file: &Path) -> Result<Settings> {
    all.clone().try_into().map_err(|cause| wrong(file, &cause))
}

fn wrong(file: &Path, cause: &toml::de::Error) -> Error {
    Error::refused("cannot understand the settings", file.display(), "mend the line named; config/settings.toml shows every key")
        .because(cause.to_string().trim().replace('\n', " "))
}

fn lay_over(under: &mut toml::Table, over: toml::Table) {
    for (key, value) in over {
        match (under.get_mut(&key), value) {
            (Some(toml::Value::Table(below)), toml::Value::Table(above)) => lay_over(below, above),
            (_, value) => {
                under.insert(key, value);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn later_files_win_key_by_key_and_a_wrong_key_names_its_file() {
        let folder = tempfile::tempdir().unwrap();
        let (user, library) = (folder.path().join("user.toml"), folder.path().join("downbox.toml"));
        std::fs::write(&user, "[clip]\nlead_in = 6.0\ntail = 3.0\n").unwrap();
        std::fs::write(&library, "[clip]\ntail = 2.5\n[sheet.columns]\n\"Sit\" = \"distance\"\n").unwrap();
        let settings = Settings::read(&[user.clone(), library.clone(), folder.path().join("absent.toml")]).unwrap();
        assert_eq!((settings.clip.lead_in, settings.clip.tail, settings.clip.crf), (6.0, 2.5, 18));
        assert_eq!(settings.sheet.columns["Sit"], "distance");

        std::fs::write(&library, "[clip]\nlead = 2\n").unwrap();
        let error = Settings::read(&[user, library.clone()]).unwrap_err();
        assert!(error.place.ends_with("downbox.toml") && error.to_string().contains("lead"), "{error}");
    }
}
