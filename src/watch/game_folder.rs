//! A folder with one game's films and sheet, read by its names.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::game_toml::GameToml;
use super::{Kind, Stamp};
use crate::base::natural_order;
use crate::film::Angle;
use crate::football::fold;

/// A camera that holds both angles' shots in turn.
pub const WOVEN: &str = "woven";

/// A camera of a game: its name, its files in natural order, relative to the inbox.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FolderCamera {
    /// Its name.
    pub name: String,
    /// Its files.
    pub files: Vec<PathBuf>,
    /// Whether a file's or folder's name, or a person, told its angle.
    pub told: bool,
}

/// One game as it lies in the inbox.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct GameFolder {
    /// The game's name: the folder's name without a date in it.
    pub game: String,
    /// `2026-09-11`, where the folder's name holds one.
    pub date: Option<String>,
    /// Cameras, the sideline first, then the end zone, then the others by name.
    pub cameras: Vec<FolderCamera>,
    /// The tag sheet, or several in the game's order, relative to the inbox.
    pub sheets: Vec<PathBuf>,
    /// Why there is no sheet although files look like one, and what to do.
    pub unsure_sheet: Option<(String, String)>,
    /// Files that cannot be taken, whatever is in them: why.
    pub refused: Vec<(PathBuf, String)>,
}

impl GameFolder {
    /// Reads the names of a folder (relative to the inbox) and of the files in it. A film's camera is told by a person, else by the words
    /// of `angles` in its file's or folder's name; any other film is a camera of its own name.
    pub fn read(
        folder: &Path,
        files: &BTreeMap<PathBuf, Stamp>,
        angles: &BTreeMap<String, Vec<String>>,
        own: &GameToml,
    ) -> Self {
        let name = folder.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        let (game, date) = name_and_date(&name);
        let mut out =
            Self { game: own.name.clone().unwrap_or(game), date: own.date.clone().or(date), ..Self::default() };
        let mut cameras: BTreeMap<(u8, String), FolderCamera> = BTreeMap::new();
        let mut sheets = Vec::new();
        for path in files.keys() {
            let inside = path.strip_prefix(folder).unwrap_or(path);
            match Kind::of(path) {
                Kind::Film if inside.to_str().is_none() => {
                    out.refused.push((path.clone(), "its name is no text that can be kept: rename it".into()));
                }
                Kind::Film => {
                    let (name, told) = match own.camera_of(inside) {
                        Some(camera) => (camera.to_string(), true),
                        None => camera_of(inside, angles),
                    };
                    // Those that a person named are all there are.
                    if own.cameras.is_empty() || own.camera_of(inside).is_some() {
                        let key = (rank(&name), fold(&name));
                        let new = || FolderCamera { name, files: Vec::new(), told };
                        cameras.entry(key).or_insert_with(new).files.push(path.clone());
                    }
                }
                Kind::Sheet => sheets.push(path.clone()),
                Kind::Game | Kind::Unfinished | Kind::Other => {}
            }
        }
        for camera in cameras.values_mut() {
            camera.files.sort_by(|a, b| natural_order(&a.to_string_lossy(), &b.to_string_lossy()));
        }
        out.cameras = cameras.into_values().collect();
        match own.sheet.paths() {
            named if !named.is_empty() => out.sheets = named.iter().map(|sheet| folder.join(sheet)).collect(),
            _ => out.choose_sheet(sheets),
        }
        out
    }

    fn choose_sheet(&mut self, mut sheets: Vec<PathBuf>) {
        if sheets.len() > 1 && sheets.iter().any(|s| says_sheet(s)) {
            sheets.retain(|s| says_sheet(s));
        }
        // A text file is a sheet only where nothing looks more like one.
        let is_text = |s: &PathBuf| s.extension().is_some_and(|e| e.eq_ignore_ascii_case("txt"));
        if sheets.len() > 1 && !sheets.iter().all(is_text) {
            sheets.retain(|s| !is_text(s));
        }
        if sheets.len() > 1 {
            let names: Vec<_> =
                sheets.iter().map(|s| s.file_name().unwrap_or_default().to_string_lossy().into_owned()).collect();
            self.unsure_sheet = Some((
                format!("the game folder holds {} sheets: {}", names.len(), names.join(", ")),
                "leave one of them, name the right one tags.csv, or name them in the game's order in game.toml: sheet = \
                 [\"first-half.csv\", \"second-half.csv\"]"
                    .into(),
            ));
        } else {
            self.sheets = sheets;
        }
    }

    /// Whether a film named woven holds both angles: none of them has a film of its own.
    pub fn is_woven(&self) -> bool {
        self.cameras.iter().any(|c| fold(&c.name) == WOVEN)
            && !self.cameras.iter().any(|c| Angle::named(&c.name) != Angle::Unknown)
    }
}

/// Sideline, end zone, others.
fn rank(camera: &str) -> u8 {
    match Angle::named(camera) {
        Angle::Sideline => 0,
        Angle::EndZone => 1,
        Angle::Unknown => 2,
    }
}

fn says_sheet(path: &Path) -> bool {
    let stem = path.file_stem().map(|s| s.to_string_lossy().to_lowercase()).unwrap_or_default();
    stem.contains("tag") || stem.contains("sheet")
}

/// Letters and digits, small.
fn plain(text: &str) -> String {
    text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

/// Name of the camera that a film belongs to, and whether its angle was told by it.
fn camera_of(path: &Path, angles: &BTreeMap<String, Vec<String>>) -> (String, bool) {
    let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
    let folders =
        path.parent().into_iter().flat_map(Path::components).map(|c| c.as_os_str().to_string_lossy().into_owned());
    let names: Vec<String> = folders.chain([stem]).collect();
    for name in &names {
        let name = plain(name);
        // The longest word counts: "wide end zone" is the end zone, whatever else it is.
        let words = angles.iter().flat_map(|(angle, words)| words.iter().map(move |word| (angle, plain(word))));
        let fits = words.filter(|(_, word)| !word.is_empty() && name.contains(word.as_str()));
        if let Some((angle, _)) = fits.max_by_key(|(_, word)| word.chars().count()) {
            return (angle.clone(), true);
        }
    }
    // Part numbers do not make a new camera: cam3-1.mp4 and cam3-2.mp4 are both of cam3.
    let own = if names.len() > 1 { &names[0] } else { &names[names.len() - 1] };
    let base = own.trim_end_matches(|c: char| c.is_ascii_digit()).trim_end_matches(['-', '_', ' ', '.']);
    (if base.is_empty() || names.len() > 1 { own.clone() } else { base.to_string() }, false)
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

#[cfg(test)]
mod tests {
    use super::*;

    fn angles() -> BTreeMap<String, Vec<String>> {
        let words = |words: &[&str]| words.iter().map(|w| w.to_string()).collect();
        [("sideline".to_string(), words(&["sideline", "wide"])), ("end-zone".into(), words(&["end zone", "tight"]))]
            .into()
    }

    fn read(folder: &str, names: &[&str], own: &GameToml) -> GameFolder {
        let files = names.iter().map(|n| (Path::new(folder).join(n), Stamp::default())).collect();
        GameFolder::read(Path::new(folder), &files, &angles(), own)
    }

    fn cameras(game: &GameFolder) -> Vec<(&str, Vec<String>)> {
        let name = |p: &PathBuf| p.file_name().unwrap().to_string_lossy().into_owned();
        game.cameras.iter().map(|c| (c.name.as_str(), c.files.iter().map(name).collect())).collect()
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
        let game = read("2026-09-11 Badgers", &names, &GameToml::default());
        assert_eq!((game.game.as_str(), game.date.as_deref()), ("Badgers", Some("2026-09-11")));
        assert_eq!(
            cameras(&game),
            [
                ("sideline", vec!["Wide 9.MP4".to_string(), "Wide 10.MP4".into()]),
                ("end-zone", vec!["CLIP9.mp4".into(), "CLIP10.mp4".into()]),
                ("cam3", vec!["cam3-1.mov".into(), "cam3-2.mov".into()]),
            ]
        );
        assert!(game.cameras[0].told && !game.cameras[2].told);
        assert_eq!(game.sheets, [PathBuf::from("2026-09-11 Badgers/tags.csv")]);
    }

    #[test]
    fn a_person_goes_before_the_names() {
        let own = GameToml::read(
            "name = \"Herons\"\nsheet = [\"b.csv\", \"a.csv\"]\n[cameras]\nend-zone = [\"wide.mp4\"]\n",
            Path::new("x"),
        );
        let game = read("2026-09-11 Badgers", &["wide.mp4", "tight.mp4", "a.csv", "b.csv"], &own.unwrap());
        assert_eq!(game.game, "Herons");
        assert_eq!(cameras(&game), [("end-zone", vec!["wide.mp4".to_string()])]);
        assert_eq!(game.sheets, ["2026-09-11 Badgers/b.csv", "2026-09-11 Badgers/a.csv"].map(PathBuf::from));
    }

    #[test]
    fn which_sheet_is_meant() {
        let sheet = |names: &[&str]| {
            let game = read("x", names, &GameToml::default());
            let names: Vec<String> = game.sheets.iter().map(|s| s.to_string_lossy().into_owned()).collect();
            (names, game.unsure_sheet)
        };
        let (none, why) = sheet(&["a.csv", "b.csv"]);
        let (what, next) = why.unwrap();
        assert!(none.is_empty() && what.contains("a.csv, b.csv") && next.contains("game.toml"), "{what}");
        assert_eq!(sheet(&["roster.csv", "tag sheet.csv"]).0, ["x/tag sheet.csv"]);
        assert_eq!(sheet(&["notes.txt", "game.xlsx", "~$game.xlsx"]).0, ["x/game.xlsx"]);
        assert_eq!(sheet(&["notes.txt"]).0, ["x/notes.txt"]);
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
}
