//! The morning's report of a game, written beside its clips.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::Tools;
use super::footage::Footage;
use super::sidecars::still;
use super::texts::{distance, down_or_word};
use crate::base::{IoContext, PendingFile, Problem, Result, count, go_on, name_file};
use crate::filter::Filter;
use crate::library::{Library, PlayFound};
use crate::reel::sidecar::STILL;
use crate::report::{CheckTile, MadeLine, Morning, clock};

/// Its names; the endings of a page and of a text.
const NAME: &str = "report";
const ENDINGS: [&str; 2] = ["html", "txt"];

/// Stills of so many plays at most: a page is to open on a phone.
const MOST_STILLS: usize = 80;

/// What a night came to for one game. Kept between its steps.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct NightTold {
    /// The name it goes by.
    pub game: String,
    /// Its day.
    pub date: Option<String>,
    /// Its cameras.
    pub cameras: Vec<String>,
    /// Seconds of film, all cameras together.
    pub seconds: f64,
    /// The sheet's file.
    pub sheet: Option<String>,
    /// How many plays there are.
    pub plays: usize,
    /// How many rows.
    pub rows: usize,
    /// How many of them were joined.
    pub matched: usize,
    /// How many clips lie in the library.
    pub clips: usize,
    /// Rendered segments that lie ready.
    pub segments: usize,
    /// Why segments were not rendered ahead.
    pub unprepared: Option<String>,
    /// Plays to check: label and why.
    pub to_check: Vec<(String, String)>,
    /// Of the films.
    pub film_problems: Vec<Problem>,
    /// Of the sheet.
    pub sheet_problems: Vec<Problem>,
    /// Rows that were not joined, and what else joining met.
    pub join_problems: Vec<Problem>,
    /// Clips that were not cut.
    pub clip_problems: Vec<Problem>,
    /// Standing asks: name, what became of it, the reel relative to the library.
    pub made: Vec<(String, String, Option<String>)>,
    /// Files and steps that were set aside: what, why, what to do.
    pub aside: Vec<[String; 3]>,
}

impl NightTold {
    /// On one line: `5 plays, 10 clips, 4 of 5 rows joined, 2 to check`.
    pub fn in_short(&self) -> String {
        if self.plays == 0 {
            return "no play was found in its film".into();
        }
        let mut words = vec![count(self.plays, "play"), count(self.clips, "clip")];
        if self.rows > 0 {
            words.push(format!("{} of {} joined", self.matched, count(self.rows, "row")));
        }
        if !self.to_check.is_empty() {
            words.push(format!("{} to check", self.to_check.len()));
        }
        if !self.aside.is_empty() {
            words.push(format!("{} set aside", self.aside.len()));
        }
        words.join(", ")
    }
}

/// Whether a path relative to a library is that of a game's report.
pub(super) fn is_report(path: &Path) -> bool {
    let named = path.file_stem().is_some_and(|stem| stem == NAME);
    let ending = path.extension().is_some_and(|ending| ENDINGS.iter().any(|e| ending == *e));
    named && ending && path.starts_with("clips") && path.components().count() == 3
}

/// Writes the report of a game into its folder of clips, as a page and as text; gives both files, the page first. A game
/// that the library does not have gets its report in the library's log folder. `written`: when, in words.
///
/// # Errors
/// The disk; a stop.
pub fn morning(tools: Tools<'_>, library: &Library, told: &NightTold, written: &str) -> Result<Vec<PathBuf>> {
    // A game without plays is not in the library; another of its name may be.
    let plays = match told.plays {
        0 => Vec::new(),
        _ => library.plays(&Filter::Game(told.game.clone()))?,
    };
    let first = plays.iter().flat_map(|play| &play.clips).next();
    let inside = first.map(|clip| clip.path.iter().take(2).collect::<PathBuf>());
    let (folder, name) = match inside {
        Some(folder) => (folder, NAME.to_string()),
        None => (PathBuf::from("log"), format!("{NAME} {}", name_file(&told.game))),
    };
    let report = Morning {
        title: told.date.iter().map(String::as_str).chain([told.game.as_str()]).collect::<Vec<_>>().join(" "),
        counts: counts(told),
        aside: told.aside.clone(),
        to_check: tiles(tools, library, (told, &plays), &folder)?,
        problems: vec![
            ("rows that were not joined".into(), told.join_problems.clone()),
            ("the sheet".into(), told.sheet_problems.clone()),
            ("the film".into(), told.film_problems.clone()),
            ("clips that were not cut".into(), told.clip_problems.clone()),
        ],
        made: told.made.iter().map(|made| line(made, folder.components().count())).collect(),
        written: written.to_string(),
    };
    let mut files = Vec::new();
    for (ending, text) in ENDINGS.into_iter().zip([report.page(), report.text()]) {
        let file = library.at(&folder.join(format!("{name}.{ending}")));
        let pending = PendingFile::new(&file)?;
        std::fs::write(pending.path(), text).doing("write the report", &file)?;
        pending.commit()?;
        files.push(file);
    }
    Ok(files)
}

fn counts(told: &NightTold) -> Vec<String> {
    let mut counts = vec![told.in_short()];
    if !told.cameras.is_empty() {
        counts.push(format!("film from {}, {} in all", told.cameras.join(" and "), clock(told.seconds)));
    }
    counts.push(match &told.sheet {
        Some(sheet) => format!("tag sheet: {sheet}"),
        None => "no tag sheet yet: put it into the game's folder in the inbox, and its rows are joined".into(),
    });
    if told.segments > 0 {
        counts.push(format!("{} segments rendered ahead: any phrase is ready at once", told.segments));
    }
    counts.extend(told.unprepared.iter().map(|why| format!("not rendered ahead: {why}")));
    counts
}

fn line((name, words, file): &(String, String, Option<String>), depth: usize) -> MadeLine {
    let file = file.as_ref().map(|file| format!("{}{file}", "../".repeat(depth)));
    MadeLine { name: name.clone(), words: words.clone(), file }
}

fn tiles(
    tools: Tools<'_>,
    library: &Library,
    (told, plays): (&NightTold, &[PlayFound]),
    folder: &Path,
) -> Result<Vec<CheckTile>> {
    tools.progress.stage("report, picture", told.to_check.len() as u64);
    let mut tiles = Vec::new();
    for (label, why) in &told.to_check {
        go_on(tools.progress, "writing the report")?;
        let mut tile = CheckTile { label: label.clone(), why: why.clone(), ..CheckTile::default() };
        if let Some(play) = plays.iter().find(|play| play.record.label == *label) {
            let tags = &play.record.tags;
            let (down, word) = down_or_word(tags);
            let down = down.map(|down| match distance(tags) {
                Some(distance) => format!("{down} {distance}"),
                None => down,
            });
            tile.situation = down.or(word).unwrap_or_default();
            let clip = play.clips.first();
            let beside = |path: &Path| path.strip_prefix(folder).ok().and_then(|path| path.to_str().map(String::from));
            tile.clip = clip.and_then(|clip| beside(&clip.path));
            if tiles.len() < MOST_STILLS {
                // A picture that cannot be had is no reason to have no report.
                tile.still = picture(tools, library, play).unwrap_or(None);
            }
        }
        tiles.push(tile);
        tools.progress.at(tiles.len() as u64);
    }
    Ok(tiles)
}

/// A JPEG of the play's snap, from the first camera.
fn picture(tools: Tools<'_>, library: &Library, play: &PlayFound) -> Result<Option<Vec<u8>>> {
    let Some(clip) = play.clips.first() else { return Ok(None) };
    let footage = Footage::open(tools, library, &play.record.game, clip)?;
    let shape = footage.film.parts.first().map_or(STILL, |part| (part.width, part.height));
    let at = footage.still(clip);
    let mut frames = tools.reader.shown(&footage.film, 0)?;
    still(frames.as_mut(), at, shape)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_report_is_known_by_its_place() {
        for (path, is) in [
            ("clips/Badgers/report.html", true),
            ("clips/Badgers/report.txt", true),
            ("clips/Badgers/report.mp4", false),
            ("clips/Badgers/sideline/report.html", false),
            ("clips/report.html", false),
        ] {
            assert_eq!(is_report(Path::new(path)), is, "{path}");
        }
    }

    #[test]
    fn a_game_in_short() {
        let mut told = NightTold::default();
        assert_eq!(told.in_short(), "no play was found in its film");
        (told.plays, told.clips, told.rows, told.matched) = (1, 2, 5, 4);
        told.to_check.push(("1".into(), "why".into()));
        told.aside.push(Default::default());
        assert_eq!(told.in_short(), "1 play, 2 clips, 4 of 5 rows joined, 1 to check, 1 set aside");
    }
}
