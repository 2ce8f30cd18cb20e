//! All that a staff may set or replace: the settings, and the files that stand for the shipped ones.

use std::path::{Path, PathBuf};

use super::Settings;
use super::StandingAsk;
use crate::base::{Error, IoContext, PendingFile, Result};
use crate::filter::{Situations, Words};
use crate::football::Vocabulary;
use crate::library::Library;
use crate::paint::Templates;
use crate::sheet::{ColumnNames, ConfirmedHeader};

/// Headers of sheets that a person confirmed, beside `columns.toml`.
const HEADERS: &str = "headers.toml";

/// What is in force for a library, or without one.
///
/// A file of the name `vocabulary.toml`, `situations.toml`, `columns.toml`, `strip.svg`, `chip.svg`, `card.svg` or
/// `group.svg` in the library's folder, else in the user's own (`~/.config/downbox`), stands for the one that ships with the
/// program. Settings are laid over one
/// another: the shipped ones, the user's `settings.toml`, the library's `downbox.toml`. Headers of sheets that a person
/// confirmed are taken from both folders' `headers.toml`.
pub struct Config {
    /// The settings.
    pub settings: Settings,
    /// Words of the fields.
    pub vocabulary: Vocabulary,
    /// Names that a phrase may use.
    pub situations: Situations,
    /// Where the situations came from, for errors.
    situations_place: String,
    /// Names that a sheet's columns go by.
    pub columns: ColumnNames,
    /// Strip, chip and cards.
    pub templates: Templates,
    /// What is asked of every game.
    pub asks: Vec<StandingAsk>,
}

impl Config {
    /// Reads what is in force for the library in `folder`, or without one; the user's own folder is taken from
    /// `XDG_CONFIG_HOME`, else `HOME`.
    ///
    /// # Errors
    /// Any file that is there and cannot be understood, by name.
    pub fn load(folder: Option<&Path>) -> Result<Self> {
        Self::of(folder, user_folder().as_deref())
    }

    fn of(library: Option<&Path>, user: Option<&Path>) -> Result<Self> {
        let mut files: Vec<PathBuf> = user.iter().map(|u| u.join("settings.toml")).collect();
        files.extend(library.map(|l| l.join("downbox.toml")));
        let settings = Settings::read(&files)?;
        let own = |name: &str| -> Result<Option<(String, String)>> {
            let found = [library, user].into_iter().flatten().map(|f| f.join(name)).find(|f| f.is_file());
            let Some(path) = found else { return Ok(None) };
            let text = std::fs::read_to_string(&path).doing("read your own file", &path)?;
            Ok(Some((text, path.display().to_string())))
        };
        let vocabulary = match own("vocabulary.toml")? {
            Some((text, place)) => Vocabulary::read(&text, &place)?,
            None => Vocabulary::default(),
        };
        let (situations, situations_place) = match own("situations.toml")? {
            Some((text, place)) => (Situations::read(&text, &place)?, place),
            None => (Situations::default(), "config/situations.toml".to_string()),
        };
        let names = match own("columns.toml")? {
            Some((text, place)) => ColumnNames::read(&text, &place)?,
            None => ColumnNames::default(),
        };
        let place = files.iter().rev().find(|f| f.exists()).map(|f| f.display().to_string()).unwrap_or_default();
        let mut columns = names.with(&settings.sheet.columns, &place)?;
        // What was confirmed for one library goes before what was confirmed for all: the later counts.
        for file in [user, library].into_iter().flatten().map(|f| f.join(HEADERS)).filter(|f| f.is_file()) {
            let text = std::fs::read_to_string(&file).doing("read the confirmed headers", &file)?;
            columns = columns.knowing(ConfirmedHeader::read_all(&text, &file.display().to_string())?);
        }
        let asks = match own("asks.toml")? {
            Some((text, place)) => StandingAsk::read_all(&text, &place)?,
            None => StandingAsk::shipped()?,
        };
        let templates = Templates::read(own)?;
        Ok(Self { asks, settings, vocabulary, situations, situations_place, columns, templates })
    }

    /// A fingerprint, hex, of every file that may stand for what ships with the program: another where one of them changed.
    pub fn fingerprint(library: &Path) -> String {
        const FILES: [&str; 11] = [
            "settings.toml",
            "downbox.toml",
            "vocabulary.toml",
            "situations.toml",
            "columns.toml",
            HEADERS,
            "asks.toml",
            "strip.svg",
            "chip.svg",
            "card.svg",
            "group.svg",
        ];
        let mut hash = blake3::Hasher::new();
        for folder in user_folder().iter().map(PathBuf::as_path).chain([library]) {
            for file in FILES {
                let text = std::fs::read(folder.join(file)).unwrap_or_default();
                hash.update(&(text.len() as u64).to_le_bytes());
                hash.update(&text);
            }
        }
        hash.finalize().to_hex()[..32].to_string()
    }

    /// Remembers a header that a person confirmed, in the library's folder, else in the user's own; gives the file.
    ///
    /// # Errors
    /// There is no folder to write to; a file of headers that is there cannot be read.
    pub fn remember(library: Option<&Path>, header: &ConfirmedHeader) -> Result<PathBuf> {
        let folder = library.map(Path::to_path_buf).or_else(user_folder).ok_or_else(|| {
            let next = "name a library with --library DIR, or set HOME";
            Error::refused("there is no folder to remember the header in", "", next)
        })?;
        let file = folder.join(HEADERS);
        let text = match std::fs::read_to_string(&file) {
            Ok(text) => text,
            Err(cause) if cause.kind() == std::io::ErrorKind::NotFound => String::new(),
            Err(cause) => return Err(cause).doing("read the confirmed headers", &file),
        };
        let pending = PendingFile::new(&file)?;
        std::fs::write(pending.path(), header.added_to(&text)).doing("write the confirmed headers", &file)?;
        pending.commit()?;
        Ok(file)
    }

    /// Everything a phrase may name: the language, the situations, and the words that the library's sheets have used.
    ///
    /// # Errors
    /// A situation whose own phrase cannot be read.
    pub fn words(&self, library: &Library) -> Result<Words> {
        let used = library.words_used()?;
        let mut vocabulary = self.vocabulary.clone();
        vocabulary.learn(used.words.iter().map(|(field, word)| (*field, word.as_str())));
        let situations = self.situations.clone();
        let we = self.settings.staff.team.clone();
        let words = Words { vocabulary, situations, own: used.own, games: used.games, teams: used.teams, we };
        words.check(&self.situations_place)?;
        Ok(words)
    }
}

/// The user's own folder of settings.
fn user_folder() -> Option<PathBuf> {
    let set = |name: &str| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
    let base = set("XDG_CONFIG_HOME").or_else(|| set("HOME").map(|home| home.join(".config")))?;
    Some(base.join("downbox"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::football::Field;

    #[test]
    fn a_librarys_own_file_goes_before_the_users_and_a_broken_one_is_named() {
        let (library, user) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let load = || Config::of(Some(library.path()), Some(user.path()));
        assert!(load().unwrap().vocabulary.canonical(Field::Concept, "mesh").is_some());
        let write = |folder: &Path, word: &str| {
            std::fs::write(folder.join("vocabulary.toml"), format!("[concept.\"{word}\"]\n")).unwrap();
        };
        write(user.path(), "anvil");
        assert!(load().unwrap().vocabulary.canonical(Field::Concept, "anvil").is_some());
        write(library.path(), "hammer");
        let config = load().unwrap();
        assert!(config.vocabulary.canonical(Field::Concept, "hammer").is_some());
        assert!(config.vocabulary.canonical(Field::Concept, "anvil").is_none());

        // Confirmed headers of both folders count, the library's before the user's.
        let header = |names: [&str; 3], shell: &str| {
            format!("[[header]]\nnames = {names:?}\n[header.columns]\n\"Look\" = \"{shell}\"\n")
        };
        let (here, there) = (header(["Look", "Dn", "To"], "front"), header(["Look", "Dn", "Who"], "shell"));
        std::fs::write(user.path().join("headers.toml"), header(["Look", "Dn", "To"], "shell") + &there).unwrap();
        std::fs::write(library.path().join("headers.toml"), here).unwrap();
        let role = |names: [&str; 3]| {
            let columns = load().unwrap().columns.for_header(&names.map(String::from));
            columns.role("Look").map(|(role, _)| role.key())
        };
        assert_eq!(role(["To", "look", "Dn"]), Some("front"));
        assert_eq!(role(["Look", "Dn", "Who"]), Some("shell"));
        assert_eq!(role(["Look", "Dn", "Else"]), None);

        // Each overlay has its own file; the library's goes before the user's.
        let shipped = load().unwrap().templates;
        for name in ["strip.svg", "chip.svg", "card.svg", "group.svg"] {
            let all = |config: &Config| {
                let Templates { strip, chip, card, group } = config.templates.clone();
                [("strip.svg", strip), ("chip.svg", chip), ("card.svg", card), ("group.svg", group)]
            };
            let own = |words: &str| {
                let field = format!("<g data-side=\"left\"><text>{{{words}}}</text></g><text>{{{words}}}</text>");
                format!("<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 900 90\">{field}</svg>")
            };
            std::fs::write(user.path().join(name), own("note")).unwrap();
            std::fs::write(library.path().join(name), own("tag:Grade")).unwrap();
            let config = load().unwrap();
            for (file, template) in all(&config) {
                let says = template.names().into_iter().collect::<Vec<_>>() == ["tag:grade"];
                assert_eq!(says, file == name, "{file} with an own {name}");
            }
            for (text, part) in
                [("<svg", "XML"), (&own("covrage"), "covrage"), (&own("note").replace("viewBox", "box"), "viewBox")]
            {
                std::fs::write(library.path().join(name), text).unwrap();
                let error = load().err().unwrap();
                let said = error.to_string();
                assert!(error.place.contains(name) && said.contains(part) && !error.next.is_empty(), "{error}");
            }
            std::fs::remove_file(library.path().join(name)).unwrap();
            std::fs::remove_file(user.path().join(name)).unwrap();
        }
        assert_eq!(load().unwrap().templates, shipped);
    }
}
