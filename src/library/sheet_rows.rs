//! Rows of the tag sheet, and which play each belongs to.

use std::path::{Path, PathBuf};

use rusqlite::{OptionalExtension, params};

use super::Library;
use super::corrections;
use super::games::game_id;
use super::pins;
use super::sql_error::{SqlContext, int};
use super::tag_columns::{all, hash, read, write_row_tags, write_tag};
use crate::base::{Error, IoContext, Result};
use crate::football::{Tags, fold};

/// A record of the tag sheet.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RowIn {
    /// Its address, `tags.csv:12`.
    pub place: String,
    /// What it says.
    pub tags: Tags,
}

/// A row's play.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct MatchIn {
    /// The play's label.
    pub label: String,
    /// The row's address.
    pub place: String,
    /// How they were joined: `time`, `order`, `by hand`.
    pub matched_by: String,
    /// Why the pair is in doubt; `None` if sure.
    pub doubt: Option<String>,
}

/// A game's tag sheet as last read.
#[derive(Debug, Clone, PartialEq)]
pub struct SheetFound {
    /// The file, as it was given. It may be gone.
    pub path: PathBuf,
    /// Its rows in order.
    pub rows: Vec<RowIn>,
}

/// A game's tag sheet and the line of its times, as far as a person gave it.
#[derive(Debug, Clone, PartialEq)]
pub struct SheetLine {
    /// The file, as it was given.
    pub path: PathBuf,
    /// Typed time less film time at the film's start, seconds.
    pub offset: Option<f64>,
    /// How much faster the typed times run than the film: .001 is a second in a thousand.
    pub drift: Option<f64>,
}

impl Library {
    /// Puts in the rows of a game's tag sheet, in place of the rows it had.
    ///
    /// A row that says what the row at its address said before stays joined to its play until
    /// [`Library::put_matches`] says otherwise; a play whose row is gone or says something else is joined to none and
    /// loses what the row said.
    ///
    /// # Errors
    /// The game is not there; two rows have one address.
    pub fn put_rows(&mut self, game: &str, sheet: &Path, rows: &[RowIn]) -> Result<()> {
        let path = std::path::absolute(sheet).doing("find the tag sheet", sheet)?;
        let folder = self.folder().to_path_buf();
        self.change("put the tag sheet's rows into the library", |work| {
            let game = game_id(work, &folder, game)?;
            (|| -> rusqlite::Result<Option<String>> {
                work.execute("UPDATE games SET sheet = ? WHERE id = ?", params![path.to_string_lossy(), game])?;
                let before = pins::hashes(work, game)?;
                work.execute("UPDATE rows SET number = -1 WHERE game = ?", [game])?;
                for (number, row) in rows.iter().enumerate() {
                    let number = int(number as u64);
                    let new_hash = hash(&row.tags);
                    let old: Option<(i64, String, i64)> = work
                        .query_row(
                            "SELECT id, hash, number FROM rows WHERE game = ? AND place = ?",
                            params![game, row.place],
                            |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)),
                        )
                        .optional()?;
                    match old {
                        Some((_, _, taken)) if taken >= 0 => return Ok(Some(row.place.clone())),
                        Some((id, old_hash, _)) => {
                            work.execute(
                                "UPDATE rows SET number = ?, hash = ? WHERE id = ?",
                                params![number, new_hash, id],
                            )?;
                            if old_hash != new_hash {
                                // The address is the same, the row is not: whose it is, only matching tells.
                                work.execute(
                                    "UPDATE plays SET row = NULL, matched_by = NULL, row_doubt = NULL WHERE row = ?",
                                    [id],
                                )?;
                                work.execute("DELETE FROM row_tags WHERE row = ?", [id])?;
                                write_row_tags(work, id, &row.tags)?;
                            }
                        }
                        None => {
                            work.execute(
                                "INSERT INTO rows (game, place, number, hash) VALUES (?, ?, ?, ?)",
                                params![game, row.place, number, new_hash],
                            )?;
                            write_row_tags(work, work.last_insert_rowid(), &row.tags)?;
                        }
                    }
                }
                work.execute(
                    "UPDATE plays SET row = NULL, matched_by = NULL, row_doubt = NULL
                     WHERE row IN (SELECT id FROM rows WHERE game = ? AND number = -1)",
                    [game],
                )?;
                work.execute("DELETE FROM rows WHERE game = ? AND number = -1", [game])?;
                pins::follow(work, game, &before)?;
                retag(work, game)?;
                Ok(None)
            })()
            .doing("put the tag sheet's rows into the library", &folder)
            .and_then(|twice| match twice {
                None => Ok(()),
                Some(place) => Err(Error::failed(
                    "two rows of the tag sheet have one address",
                    place,
                    "this is a fault of the program; please report it",
                )),
            })
        })
    }

    /// The game's tag sheet as last read; `None` if it has none.
    pub fn sheet(&self, game: &str) -> Result<Option<SheetFound>> {
        let game = game_id(self.db(), self.folder(), game)?;
        let ask = || -> rusqlite::Result<Option<SheetFound>> {
            let path: Option<String> =
                self.db().query_row("SELECT sheet FROM games WHERE id = ?", [game], |r| r.get(0))?;
            let Some(path) = path else { return Ok(None) };
            let mut rows = self.db().prepare("SELECT id, place FROM rows WHERE game = ? ORDER BY number")?;
            let rows = rows.query_map([game], |r| {
                let sql = "SELECT own, field, kind, num, text FROM row_tags WHERE row = ?";
                Ok(RowIn { place: r.get(1)?, tags: read(self.db(), sql, r.get(0)?)? })
            })?;
            Ok(Some(SheetFound { path: path.into(), rows: rows.collect::<rusqlite::Result<_>>()? }))
        };
        ask().doing("read the game's tag sheet", self.folder())
    }

    /// The sheet's file and what a person gave for its times; `None` where the game is not there or has no sheet.
    pub fn sheet_line(&self, game: &str) -> Result<Option<SheetLine>> {
        let found: Option<(Option<String>, Option<f64>, Option<f64>)> = self
            .db()
            .query_row("SELECT sheet, sheet_offset, sheet_drift FROM games WHERE folded = ?", [fold(game)], |r| {
                Ok((r.get(0)?, r.get(1)?, r.get(2)?))
            })
            .optional()
            .doing("read the game's tag sheet", self.folder())?;
        Ok(found.and_then(|(path, offset, drift)| Some(SheetLine { path: path?.into(), offset, drift })))
    }

    /// Keeps the offset and drift that a person gave for the game's sheet; `None`: it is to be fitted.
    pub fn put_sheet_line(&mut self, game: &str, offset: Option<f64>, drift: Option<f64>) -> Result<()> {
        let folder = self.folder().to_path_buf();
        let doing = "keep the sheet's offset and drift";
        self.change(doing, |work| {
            let game = game_id(work, &folder, game)?;
            work.execute(
                "UPDATE games SET sheet_offset = ?, sheet_drift = ? WHERE id = ?",
                params![offset, drift, game],
            )
            .doing(doing, &folder)?;
            Ok(())
        })
    }

    /// Joins the game's plays to rows, in place of every pair it had, and sets the plays' tags from them. Tags that a
    /// person corrected stay as corrected.
    ///
    /// # Errors
    /// The game, a label or a row's address is not there; a play or a row is in two pairs.
    pub fn put_matches(&mut self, game: &str, matches: &[MatchIn]) -> Result<()> {
        let folder = self.folder().to_path_buf();
        let doing = "join the tag sheet to the plays";
        self.change(doing, |work| {
            let game = game_id(work, &folder, game)?;
            work.execute("UPDATE plays SET row = NULL, matched_by = NULL, row_doubt = NULL WHERE game = ?", [game])
                .doing(doing, &folder)?;
            for pair in matches {
                let taken = work
                    .query_row(
                        "SELECT 1 FROM plays p JOIN rows r ON r.id = p.row WHERE r.game = ? AND r.place = ?",
                        params![game, pair.place],
                        |_| Ok(()),
                    )
                    .optional()
                    .doing(doing, &folder)?;
                let changed = work
                    .execute(
                        "UPDATE plays SET row = r.id, matched_by = ?3, row_doubt = ?4
                         FROM (SELECT id FROM rows WHERE game = ?1 AND place = ?2) r
                         WHERE game = ?1 AND label = ?5 AND plays.row IS NULL",
                        params![game, pair.place, pair.matched_by, pair.doubt, pair.label],
                    )
                    .doing(doing, &folder)?;
                if taken.is_some() || changed != 1 {
                    return Err(Error::failed(
                        format!(
                            "cannot join row {} to play {}: one is not there, or in two pairs",
                            pair.place, pair.label
                        ),
                        folder.display(),
                        "this is a fault of the program; please report it",
                    ));
                }
            }
            retag(work, game).doing(doing, &folder)
        })
    }
}

/// Makes the tags of a game's plays again from their rows and corrections (invariant 5).
pub(super) fn retag(work: &rusqlite::Connection, game: i64) -> rusqlite::Result<()> {
    work.execute("DELETE FROM tags WHERE play IN (SELECT id FROM plays WHERE game = ?)", [game])?;
    let mut ask = work.prepare("SELECT id, row FROM plays WHERE game = ? AND row IS NOT NULL")?;
    let mut plays = ask.query([game])?;
    while let Some(play) = plays.next()? {
        let sql = "SELECT own, field, kind, num, text FROM row_tags WHERE row = ?";
        let tags = read(work, sql, play.get(1)?)?;
        for (own, name, columns) in all(&tags) {
            write_tag(work, play.get(0)?, own, name, &columns)?;
        }
    }
    corrections::lay_over_tags(work, game)
}
