//! A folder with one game's films and sheet, read by its names.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use crate::base::{Error, IoContext, Result, natural_order};
use crate::film::{Angle, named_as_film};

/// Endings of tag sheets.
const SHEET: &[&str] = &["csv", "tsv", "txt", "xlsx", "xlsm", "xls", "ods"];
/// Endings and beginnings of files that are still being copied [practice].
const UNFINISHED: &[&str] = &["part", "partial", "crdownload", "tmp", "filepart", "download"];

/// Every file of a folder with its size and time of change: two equal listings some time apart mean that it settled.
pub type Listing = BTreeMap<PathBuf, (u64, u128)>;

/// One game as it lies in the inbox.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GameFolder {
    /// The game's name: the folder's name without a date in it.
    pub game: String,
    /// `2026-09-11`, where the folder's name holds one.
    pub date: Option<String>,
    /// Cameras by name, each with its files or folders in natural order.
    pub cameras: Vec<(String, Vec<PathBuf>)>,
    /// The tag sheet.
    pub sheet: Option<PathBuf>,
}

/// Lists a folder with all below it, hidden files left out. Paths are relative to it.
pub fn list(folder: &Path) -> Result<Listing> {
    let mut listing = Listing::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(at) = folders.pop() {
        for entry in fs::read_dir(&at).doing("read the folder", &at)? {
            let entry = entry.doing("read the folder", &at)?;
            if entry.file_name().to_string_lossy().starts_with('.') {
                continue;
            }
            let path = entry.path();
            let meta = fs::metadata(&path).doing("look at the file", &path)?;
            if meta.is_dir() {
                folders.push(path);
                continue;
            }
            let changed =
                meta.modified().ok().and_then(|t| t.duration_since(UNIX_EPOCH).ok()).map_or(0, |d| d.as_nanos());
            let inside = path.strip_prefix(folder).unwrap_or(&path).to_path_buf();
            listing.insert(inside, (meta.len(), changed));
        }
    }
    Ok(listing)
}

/// Whether a name says that the file is still being copied.
pub fn unfinished(listing: &Listing) -> bool {
    listing.keys().any(|p| ending(p).is_some_and(|e| UNFINISHED.contains(&e.as_str())))
}

fn ending(path: &Path) -> Option<String> {
    path.extension().map(|e| e.to_string_lossy().to_lowercase())
}

impl GameFolder {
    /// Reads a folder's names. A film's camera is told by its file's name or that of the folder it lies in: a name
    /// with sideline or wide, end zone or tight; any other film is a camera of its own name.
    pub fn read(folder: &Path, listing: &Listing) -> Result<Self> {
        let name = folder.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        let (game, date) = name_and_date(&name);
        let mut cameras: BTreeMap<(u8, String), Vec<PathBuf>> = BTreeMap::new();
        let mut sheets = Vec::new();
        for path in listing.keys() {
            if named_as_film(path) {
                cameras.entry(camera_of(path)).or_default().push(folder.join(path));
            } else if ending(path).is_some_and(|e| SHEET.contains(&e.as_str())) && !is_lock(path) {
                sheets.push(path.clone());
            }
        }
        if cameras.is_empty() {
            return Err(Error::refused(
                "the game folder holds no film",
                folder.display(),
                "put the films into it, named by angle: sideline.mp4, end-zone.mp4, or folders of those names",
            ));
        }
        let sheet = match sheets.len() {
            0 | 1 => sheets.pop(),
            _ => {
                let mut named: Vec<_> = sheets.iter().filter(|s| says_sheet(s)).cloned().collect();
                if named.len() != 1 {
                    let all: Vec<_> = sheets.iter().map(|s| s.display().to_string()).collect();
                    return Err(Error::refused(
                        format!("the game folder holds {} sheets: {}", all.len(), all.join(", ")),
                        folder.display(),
                        "leave one of them, or name the right one tags.csv",
                    ));
                }
                named.pop()
            }
        };
        let cameras = cameras
            .into_iter()
            .map(|((_, name), mut files)| {
                files.sort_by(|a, b| natural_order(&a.to_string_lossy(), &b.to_string_lossy()));
                (name, files)
            })
            .collect();
        Ok(Self { game, date, cameras, sheet: sheet.map(|s| folder.join(s)) })
    }
}

fn says_sheet(path: &Path) -> bool {
    let stem = path.file_stem().map(|s| s.to_string_lossy().to_lowercase()).unwrap_or_default();
    stem.contains("tag") || stem.contains("sheet")
}

/// Rank (sideline first) and name of the camera that a film belongs to.
fn camera_of(path: &Path) -> (u8, String) {
    let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
    let folders =
        path.parent().into_iter().flat_map(Path::components).map(|c| c.as_os_str().to_string_lossy().into_owned());
    let names: Vec<String> = folders.chain([stem]).collect();
    for name in &names {
        let plain: String = name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect();
        if plain.contains("sideline") || plain.contains("wide") {
            return (0, Angle::Sideline.as_str().into());
        }
        if plain.contains("endzone") || plain.contains("tight") {
            return (1, Angle::EndZone.as_str().into());
        }
    }
    // Part numbers do not make a new camera: cam3-1.mp4 and cam3-2.mp4 are both of cam3.
    let own = if names.len() > 1 { &names[0] } else { &names[names.len() - 1] };
    let base = own.trim_end_matches(|c: char| c.is_ascii_digit()).trim_end_matches(['-', '_', ' ', '.']);
    (2, if base.is_empty() || names.len() > 1 { own.clone() } else { base.to_string() })
}

/// Splits a date such as 2026-09-11 off a folder's name.
fn name_and_date(name: &str) -> (String, Option<String>) {
    for (at, _) in name.char_indices() {
        let Some(piece) = name.get(at..at + 10) else { continue };
        let looks =
            piece.bytes().enumerate().all(|(i, b)| if i == 4 || i == 7 { b == b'-' } else { b.is_ascii_digit() });
        if looks && piece.parse::<jiff::civil::Date>().is_ok() {
            let rest = format!("{} {}", &name[..at], &name[at + 10..]);
            let rest = rest.trim_matches([' ', '-', '_', ',']).to_string();
            return (if rest.is_empty() { piece.to_string() } else { rest }, Some(piece.to_string()));
        }
    }
    (name.to_string(), None)
}

/// Whether a file is what a spreadsheet program lays beside a workbook that is open ("~$tags.xlsx").
fn is_lock(path: &Path) -> bool {
    path.file_name().is_some_and(|name| {
        let name = name.to_string_lossy();
        name.starts_with("~$") || name.starts_with(".~")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn listing(names: &[&str]) -> Listing {
        names.iter().map(|n| (PathBuf::from(n), (1, 1))).collect()
    }

    #[test]
    fn cameras_are_told_by_file_or_folder() {
        let names = [
            "Wide 10.MP4",
            "Wide 9.MP4",
            "end zone/CLIP10.mp4",
            "end zone/CLIP9.mp4",
            "cam3-1.mov",
            "cam3-2.mov",
            "tags.csv",
            "notes.pdf",
        ];
        let game = GameFolder::read(Path::new("/inbox/2026-09-11 Badgers"), &listing(&names)).unwrap();
        assert_eq!((game.game.as_str(), game.date.as_deref()), ("Badgers", Some("2026-09-11")));
        let cameras: Vec<(&str, Vec<String>)> = game
            .cameras
            .iter()
            .map(|(n, f)| {
                (n.as_str(), f.iter().map(|p| p.file_name().unwrap().to_string_lossy().into_owned()).collect())
            })
            .collect();
        assert_eq!(
            cameras,
            [
                ("sideline", vec!["Wide 9.MP4".to_string(), "Wide 10.MP4".into()]),
                ("end-zone", vec!["CLIP9.mp4".into(), "CLIP10.mp4".into()]),
                ("cam3", vec!["cam3-1.mov".into(), "cam3-2.mov".into()]),
            ]
        );
        assert_eq!(game.sheet.as_deref(), Some(Path::new("/inbox/2026-09-11 Badgers/tags.csv")));
    }

    #[test]
    fn no_film_and_too_many_sheets_say_what_to_do() {
        let error = GameFolder::read(Path::new("/inbox/x"), &listing(&["tags.csv"])).unwrap_err();
        assert!(error.next.contains("sideline.mp4"), "{}", error.next);
        let error = GameFolder::read(Path::new("/inbox/x"), &listing(&["sideline.mp4", "a.csv", "b.csv"])).unwrap_err();
        assert!(error.what.contains("a.csv, b.csv"), "{}", error.what);
        let game = GameFolder::read(Path::new("/inbox/x"), &listing(&["sideline.mp4", "~$tags.xlsx", "tags.xlsx"]));
        assert!(game.unwrap().sheet.unwrap().ends_with("tags.xlsx"), "a workbook that is open has a lock beside it");
        let game = GameFolder::read(Path::new("/inbox/x"), &listing(&["sideline.mp4", "roster.csv", "tag sheet.csv"]))
            .unwrap();
        assert!(game.sheet.unwrap().ends_with("tag sheet.csv"));
    }

    #[test]
    fn dates_come_off_names() {
        for (name, want) in [
            ("Badgers 2026-09-11", ("Badgers", Some("2026-09-11"))),
            ("2026-09-11", ("2026-09-11", Some("2026-09-11"))),
            ("2026-19-11 Badgers", ("2026-19-11 Badgers", None)),
            ("Füchse", ("Füchse", None)),
        ] {
            let (game, date) = name_and_date(name);
            assert_eq!((game.as_str(), date.as_deref()), want);
        }
    }

    #[test]
    fn a_copy_under_way_is_seen() {
        assert!(unfinished(&listing(&["sideline.mp4.part"])));
        assert!(!unfinished(&listing(&["sideline.mp4"])));
    }
}
