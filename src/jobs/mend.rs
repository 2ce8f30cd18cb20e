//! A person's word on which row belongs to which play.

use std::collections::BTreeMap;

use super::ingest::{CutDone, ToCheck};
use super::joining::{Joined, to_check};
use super::matching::TagSheet;
use super::play_facts::Reference;
use crate::base::{Error, Problem, Result};
use crate::library::{Library, PinPlaced};
use crate::sheet::MatchSettings;

/// What a person says of a play's row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowWord {
    /// The game; may be left out where the library has one.
    pub game: Option<String>,
    /// The play's label; `None`: the row belongs to no play.
    pub label: Option<String>,
    /// The row's address; `None`: the play has no row.
    pub place: Option<String>,
}

/// What came of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Mended {
    /// The game.
    pub game: String,
    /// What stood before.
    pub before: PinPlaced,
    /// Pins taken back, where that was asked for.
    pub undone: usize,
    /// Rows of the sheet, and how many of them are joined now.
    pub rows: usize,
    /// See `rows`.
    pub matched: usize,
    /// Plays whose row is another than before, in film order: label, row before, row now.
    pub moved: Vec<(String, Option<String>, Option<String>)>,
    /// Plays to look at now, in film order.
    pub to_check: Vec<ToCheck>,
    /// Rows that are joined to none now, and why.
    pub problems: Vec<Problem>,
}

/// Keeps a person's word and matches the other rows around it. No label moves.
///
/// # Errors
/// The game, the play or the row is not there; the game has no sheet.
pub fn mend_row(library: &mut Library, word: &RowWord) -> Result<Mended> {
    let game = game_of(library, word.game.as_deref())?;
    let sheet = sheet_of(library, &game)?;
    let before = library.pin(&game, word.label.as_deref(), word.place.as_deref())?;
    Ok(Mended { before, ..joined_anew(library, &game, &sheet)? })
}

/// Takes a person's word on a play or a row back and matches anew.
///
/// # Errors
/// As [`mend_row`]; nothing was said of that play or row.
pub fn undo_row(library: &mut Library, word: &RowWord) -> Result<Mended> {
    let game = game_of(library, word.game.as_deref())?;
    let sheet = sheet_of(library, &game)?;
    let undone = library.unpin(&game, word.label.as_deref(), word.place.as_deref())?;
    if undone == 0 {
        let what = match (&word.label, &word.place) {
            (Some(label), _) => format!("nothing was said of play {label}'s row"),
            (None, place) => format!("nothing was said of row {}", place.as_deref().unwrap_or_default()),
        };
        return Err(Error::refused(what, &game, "plays joined by hand say so in: downbox plays --json"));
    }
    Ok(Mended { undone, ..joined_anew(library, &game, &sheet)? })
}

/// The game that is meant: the one named, else the only one.
pub fn game_of(library: &Library, named: Option<&str>) -> Result<String> {
    let games: Vec<String> = library.games()?.into_iter().map(|game| game.name).collect();
    match (named, games.as_slice()) {
        (Some(game), _) => Ok(game.to_string()),
        (None, [only]) => Ok(only.clone()),
        (None, []) => {
            Err(Error::refused("the library has no game", library.folder().display(), "cut one with: downbox cut"))
        }
        (None, many) => Err(Error::refused(
            format!("the library has {} games, and none is named", many.len()),
            library.folder().display(),
            format!("name one with --game: {}", many.join(", ")),
        )),
    }
}

fn sheet_of(library: &Library, game: &str) -> Result<TagSheet> {
    TagSheet::kept(library, game)?.ok_or_else(|| {
        let next = format!("give it one with: downbox cut --game \"{game}\" --sheet SHEET");
        Error::refused(format!("{game} has no tag sheet"), library.folder().display(), next)
    })
}

/// Matches the rows that the library has, around all pins.
pub(super) fn joined_anew(library: &mut Library, game: &str, sheet: &TagSheet) -> Result<Mended> {
    let rows = |library: &Library| -> Result<BTreeMap<String, String>> {
        let filter = crate::filter::Filter::Game(game.to_string());
        let plays = library.plays(&filter)?.into_iter();
        Ok(plays.filter_map(|play| Some((play.record.label, play.record.row?))).collect())
    };
    let before = rows(library)?;
    let plays = library.play_shots(game)?;
    let reference = Reference::of(library, game, &BTreeMap::new())?;
    let line = library.sheet_line(game)?;
    let (offset, drift) = line.map_or((None, None), |line| (line.offset, line.drift));
    let pins = library.pins(game)?;
    let joined = Joined::of(sheet, &plays, &reference, &pins, &MatchSettings { offset, drift });
    library.put_matches(game, &joined.matches(sheet, &plays))?;
    let after = rows(library)?;
    let moved = plays.iter().filter_map(|play| {
        let (was, is) = (before.get(&play.label).cloned(), after.get(&play.label).cloned());
        (was != is).then(|| (play.label.clone(), was, is))
    });
    let mut done = CutDone::default();
    let mut problems = Vec::new();
    joined.tell(sheet, &plays, &mut problems, &mut done);
    Ok(Mended {
        game: game.to_string(),
        rows: done.rows,
        matched: done.matched,
        moved: moved.collect(),
        to_check: to_check(&plays, &joined, Some(sheet)),
        problems,
        ..Mended::default()
    })
}
