//! What a file in the inbox may be, by its name alone.

use std::path::Path;

use crate::film::named_as_film;

/// Endings of tag sheets.
const SHEET: &[&str] = &["csv", "tsv", "txt", "xlsx", "xlsm", "xls", "ods"];
/// Endings of files that are still being copied [practice].
const UNFINISHED: &[&str] = &["part", "partial", "crdownload", "tmp", "filepart", "download"];
/// A game's own settings.
pub const GAME: &str = "game.toml";

/// What it may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A film.
    Film,
    /// A tag sheet.
    Sheet,
    /// A game's own settings.
    Game,
    /// A copy under way, by its name.
    Unfinished,
    /// Nothing of ours.
    Other,
}

impl Kind {
    /// By the name.
    pub fn of(path: &Path) -> Self {
        let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        // What a spreadsheet program lays beside a workbook that is open ("~$tags.xlsx").
        if name.starts_with("~$") || name.starts_with(".~") {
            return Self::Other;
        }
        if name.eq_ignore_ascii_case(GAME) {
            return Self::Game;
        }
        let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
        match ending.as_str() {
            _ if named_as_film(path) => Self::Film,
            ending if SHEET.contains(&ending) => Self::Sheet,
            ending if UNFINISHED.contains(&ending) => Self::Unfinished,
            _ => Self::Other,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_tell_what_a_file_may_be() {
        for (name, kind) in [
            ("Wide 1.MP4", Kind::Film),
            ("tags.XLSX", Kind::Sheet),
            ("~$tags.xlsx", Kind::Other),
            ("Game.toml", Kind::Game),
            ("wide.mp4.part", Kind::Unfinished),
            ("notes.pdf", Kind::Other),
            ("mp4", Kind::Other),
        ] {
            assert_eq!(Kind::of(Path::new(name)), kind, "{name}");
        }
    }
}
