//! Which row a person joined to which play, or to none. Pins outlive every match, and follow their rows through a sheet
//! that is saved again.

use std::collections::HashSet;

use rusqlite::{Connection, OptionalExtension, Transaction, params};

use super::Library;
use super::games::{game_id, known_game};
use super::sql_error::SqlContext;
use crate::base::{Error, Result};

/// A pin that stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PinFound {
    /// The play's label; `None`: the row belongs to no play.
    pub label: Option<String>,
    /// The row's address; `None`: the play has no row.
    pub place: Option<String>,
    /// Whether its row is in the sheet.
    pub found: bool,
}

/// What stood before a pin, or stands after it was taken back.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PinPlaced {
    /// The row that the play had.
    pub row_of_play: Option<String>,
    /// The play that the row had.
    pub play_of_row: Option<String>,
}

const DOING: &str = "keep which row belongs to which play";

impl Library {
    /// Keeps that a row belongs to a play (by label), a play to no row (`place` is `None`), or a row to no play. Earlier
    /// pins of the same row or play are undone. Says what stood before. The pairs themselves are as
    /// [`Library::put_matches`] puts them.
    ///
    /// # Errors
    /// The game, the play or the row is not there; neither is named.
    pub fn pin(&mut self, game: &str, label: Option<&str>, place: Option<&str>) -> Result<PinPlaced> {
        let folder = self.folder().to_path_buf();
        self.change(DOING, |work| {
            let name = game;
            let game = game_id(work, &folder, game)?;
            let play = label.map(|label| play_id(work, &folder, (game, name), label)).transpose()?;
            let hash = place.map(|place| row_hash(work, &folder, (game, name), place)).transpose()?;
            if play.is_none() && place.is_none() {
                let next = "name a play, a row, or both";
                return Err(Error::refused("neither a play nor a row is named", name, next));
            }
            (|| {
                let before = stands(work, game, play, place)?;
                undo(work, game, play, place)?;
                work.execute(
                    "INSERT INTO pins (game, play, place, hash, old_place, old_label, made_at)
                     VALUES (?, ?, ?, ?, ?, ?, strftime('%Y-%m-%dT%H:%M:%fZ', 'now'))",
                    params![game, play, place, hash, before.row_of_play, before.play_of_row],
                )?;
                Ok(before)
            })()
            .doing(DOING, &folder)
        })
    }

    /// Takes back what was pinned of a play or a row; how many pins that were.
    ///
    /// # Errors
    /// The game or the play is not there.
    pub fn unpin(&mut self, game: &str, label: Option<&str>, place: Option<&str>) -> Result<usize> {
        let folder = self.folder().to_path_buf();
        self.change(DOING, |work| {
            let name = game;
            let game = game_id(work, &folder, game)?;
            let play = label.map(|label| play_id(work, &folder, (game, name), label)).transpose()?;
            undo(work, game, play, place).doing(DOING, &folder)
        })
    }

    /// The pins of a game that stand, in the order they were made.
    pub fn pins(&self, game: &str) -> Result<Vec<PinFound>> {
        let Some(game) = known_game(self.db(), self.folder(), game)? else { return Ok(Vec::new()) };
        let read = || -> rusqlite::Result<Vec<PinFound>> {
            let mut ask = self.db().prepare(
                "SELECT p.label, n.place, n.place IS NULL OR r.id IS NOT NULL FROM pins n
                 LEFT JOIN plays p ON p.id = n.play
                 LEFT JOIN rows r ON r.game = n.game AND r.place = n.place AND r.hash = n.hash
                 WHERE n.game = ? AND NOT n.undone ORDER BY n.id",
            )?;
            let pins =
                ask.query_map([game], |r| Ok(PinFound { label: r.get(0)?, place: r.get(1)?, found: r.get(2)? }))?;
            pins.collect()
        };
        read().doing("read which rows were joined by hand", self.folder())
    }
}

fn play_id(work: &Connection, library: &std::path::Path, (game, name): (i64, &str), label: &str) -> Result<i64> {
    let found = work
        .query_row("SELECT id FROM plays WHERE game = ? AND label = ? AND live", params![game, label], |r| r.get(0))
        .optional()
        .doing(DOING, library)?;
    found.ok_or_else(|| {
        Error::refused(format!("{name} has no play {label}"), library.display(), "see its plays with: downbox plays")
    })
}

fn row_hash(work: &Connection, library: &std::path::Path, (game, name): (i64, &str), place: &str) -> Result<String> {
    let found = work
        .query_row("SELECT hash FROM rows WHERE game = ? AND place = ?", params![game, place], |r| r.get(0))
        .optional()
        .doing(DOING, library)?;
    if let Some(hash) = found {
        return Ok(hash);
    }
    let like: Option<String> = work
        .query_row("SELECT place FROM rows WHERE game = ? ORDER BY number LIMIT 1", [game], |r| r.get(0))
        .optional()
        .doing(DOING, library)?;
    let next = like.map_or("give the game its sheet with: downbox cut --game NAME --sheet SHEET".to_string(), |like| {
        format!("give the row's address as `downbox plays` and `downbox cut` print it, such as {like}")
    });
    Err(Error::refused(format!("the sheet of {name} has no row {place}"), library.display(), next))
}

/// The row that a play has, and the play that a row has.
fn stands(work: &Connection, game: i64, play: Option<i64>, place: Option<&str>) -> rusqlite::Result<PinPlaced> {
    let row_of_play = match play {
        Some(play) => work
            .query_row("SELECT r.place FROM plays p JOIN rows r ON r.id = p.row WHERE p.id = ?", [play], |r| r.get(0))
            .optional()?,
        None => None,
    };
    let play_of_row = match place {
        Some(place) => work
            .query_row(
                "SELECT p.label FROM plays p JOIN rows r ON r.id = p.row WHERE r.game = ? AND r.place = ?",
                params![game, place],
                |r| r.get(0),
            )
            .optional()?,
        None => None,
    };
    Ok(PinPlaced { row_of_play, play_of_row })
}

fn undo(work: &Transaction<'_>, game: i64, play: Option<i64>, place: Option<&str>) -> rusqlite::Result<usize> {
    work.execute(
        "UPDATE pins SET undone = 1 WHERE game = ?1 AND NOT undone AND (play = ?2 OR place = ?3)",
        params![game, play, place],
    )
}

/// What the rows of a game say now, by their hashes.
pub(super) fn hashes(work: &Connection, game: i64) -> rusqlite::Result<HashSet<String>> {
    let mut ask = work.prepare("SELECT hash FROM rows WHERE game = ?")?;
    ask.query_map([game], |r| r.get(0))?.collect()
}

/// After a sheet was put in anew: each pin goes where its row went. A row is known by what it says; of several that say
/// the same, by its address, then by the nearest. Where none says it any more the row at its address was changed, if what
/// stands there now stood nowhere `before`: else another row has moved up there.
pub(super) fn follow(work: &Transaction<'_>, game: i64, before: &HashSet<String>) -> rusqlite::Result<()> {
    let mut ask = work.prepare("SELECT place, hash, number FROM rows WHERE game = ? ORDER BY number")?;
    let rows: Vec<(String, String, i64)> =
        ask.query_map([game], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)))?.collect::<rusqlite::Result<_>>()?;
    let mut ask =
        work.prepare("SELECT id, place, hash FROM pins WHERE game = ? AND place IS NOT NULL AND NOT undone")?;
    let pins: Vec<(i64, String, String)> =
        ask.query_map([game], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)))?.collect::<rusqlite::Result<_>>()?;
    let line = |place: &str| place.rsplit(':').next().and_then(|n| n.parse::<i64>().ok()).unwrap_or(0);
    let mut taken: HashSet<&str> = HashSet::new();
    for (id, place, hash) in &pins {
        let free = |row: &&(String, String, i64)| !taken.contains(row.0.as_str());
        let same = rows.iter().filter(free).filter(|row| row.1 == *hash);
        let near = same.min_by_key(|row| (row.0 != *place, (line(&row.0) - line(place)).abs()));
        let changed = || rows.iter().find(|row| row.0 == *place && !before.contains(&row.1));
        let Some((new_place, new_hash, _)) = near.or_else(changed) else { continue };
        taken.insert(new_place);
        if (new_place, new_hash) != (place, hash) {
            work.execute("UPDATE pins SET place = ?, hash = ? WHERE id = ?", params![new_place, new_hash, id])?;
        }
    }
    Ok(())
}
