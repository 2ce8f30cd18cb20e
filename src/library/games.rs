//! Games.

use rusqlite::{Connection, OptionalExtension, Transaction, params};

use super::Library;
use super::sql_error::{SqlContext, uint};
use crate::base::{Error, Result, name_file};
use crate::football::fold;

/// A game to be put in.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct GameIn {
    /// Its name; spellings that differ in case, hyphens or spacing are one game.
    pub name: String,
    /// Day, `2026-09-11`, if told.
    pub date: Option<String>,
    /// Home team, if told.
    pub home: Option<String>,
    /// Away team, if told.
    pub away: Option<String>,
}

/// A game in the library.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GameFound {
    /// Its name as first typed.
    pub name: String,
    /// Day, `2026-09-11`.
    pub date: Option<String>,
    /// Home team.
    pub home: Option<String>,
    /// Away team.
    pub away: Option<String>,
    /// Its cameras' names, in the order they came.
    pub cameras: Vec<String>,
    /// How many plays it has.
    pub plays: u64,
    /// The tag sheet its rows came from, as it was given.
    pub sheet: Option<String>,
}

impl GameIn {
    /// Whether a library can take it.
    ///
    /// # Errors
    /// The name has no letter or digit; the date is no day.
    pub fn check(&self) -> Result<()> {
        if fold(&self.name).is_empty() {
            return Err(Error::refused(
                "a game's name needs a letter or a digit",
                format!("\"{}\"", self.name),
                "name the game with --game NAME",
            ));
        }
        if let Some(date) = &self.date
            && !is_day(date)
        {
            return Err(Error::refused(
                "that is no day",
                format!("\"{date}\""),
                "write the date as year-month-day: --date 2026-09-11",
            ));
        }
        Ok(())
    }
}

impl Library {
    /// Whether [`Library::put_game`] would take a game, and the name it would go by; changes nothing. A night's scan is
    /// not begun for a game that is refused at its end.
    ///
    /// # Errors
    /// Those of [`Library::put_game`].
    pub fn check_game(&self, game: &GameIn) -> Result<String> {
        game.check()?;
        let old = standing(self.db(), self.folder(), game)?;
        Ok(old.map_or_else(|| game.name.trim().to_string(), |(_, name)| name))
    }

    /// Puts a game in, or fills in what was not told before; gives the name it goes by.
    ///
    /// # Errors
    /// The name has no letter or digit; the date is no day; the library has this game on another day.
    pub fn put_game(&mut self, game: &GameIn) -> Result<String> {
        game.check()?;
        let folded = fold(&game.name);
        let folder = self.folder().to_path_buf();
        self.change("put the game into the library", |work| {
            let doing = "put the game into the library";
            let Some((id, name)) = standing(work, &folder, game)? else {
                let name = game.name.trim();
                let inner = free_folder(work, name).doing(doing, &folder)?;
                work.execute(
                    "INSERT INTO games (name, folded, folder, date, home, away) VALUES (?, ?, ?, ?, ?, ?)",
                    params![name, folded, inner, game.date, game.home, game.away],
                )
                .doing(doing, &folder)?;
                return Ok(name.to_string());
            };
            work.execute(
                "UPDATE games SET date = coalesce(?, date), home = coalesce(?, home), away = coalesce(?, away)
                 WHERE id = ?",
                params![game.date, game.home, game.away, id],
            )
            .doing(doing, &folder)?;
            Ok(name)
        })
    }

    /// Every game, by date (undated ones last), then by name.
    pub fn games(&self) -> Result<Vec<GameFound>> {
        self.read_games().doing("read the library's games", self.folder())
    }

    fn read_games(&self) -> rusqlite::Result<Vec<GameFound>> {
        let mut cameras = self.db().prepare("SELECT name FROM cameras WHERE game = ? ORDER BY id")?;
        let mut games = self.db().prepare(
            "SELECT id, name, date, home, away, sheet, (SELECT count(*) FROM plays WHERE game = g.id AND live)
             FROM games g ORDER BY date IS NULL, date, name",
        )?;
        let found = games.query_map([], |r| {
            let cameras = cameras.query_map([r.get::<_, i64>(0)?], |c| c.get(0))?.collect::<rusqlite::Result<_>>()?;
            Ok(GameFound {
                name: r.get(1)?,
                date: r.get(2)?,
                home: r.get(3)?,
                away: r.get(4)?,
                sheet: r.get(5)?,
                plays: uint(r.get(6)?),
                cameras,
            })
        })?;
        found.collect()
    }
}

/// The game of that name that the library has: its id and name.
///
/// # Errors
/// It is of another day.
fn standing(db: &Connection, library: &std::path::Path, game: &GameIn) -> Result<Option<(i64, String)>> {
    let found: Option<(i64, String, Option<String>)> = db
        .query_row("SELECT id, name, date FROM games WHERE folded = ?", [fold(&game.name)], |r| {
            Ok((r.get(0)?, r.get(1)?, r.get(2)?))
        })
        .optional()
        .doing("look for the game", library)?;
    let Some((id, name, day)) = found else { return Ok(None) };
    if let (Some(old), Some(new)) = (&day, &game.date)
        && old != new
    {
        return Err(Error::refused(
            format!("the library has a game {name} of {old}, and this one is of {new}"),
            library.display(),
            "give this game another name with --game, or leave --date out to add to the one that is there",
        ));
    }
    Ok(Some((id, name)))
}

/// A game's id, if the library has it.
pub(super) fn known_game(db: &Connection, library: &std::path::Path, name: &str) -> Result<Option<i64>> {
    db.query_row("SELECT id FROM games WHERE folded = ?", [fold(name)], |r| r.get(0))
        .optional()
        .doing("look for the game", library)
}

/// A game's id.
pub(super) fn game_id(db: &Connection, library: &std::path::Path, name: &str) -> Result<i64> {
    known_game(db, library, name)?.ok_or_else(|| {
        Error::refused(
            format!("the library has no game \"{name}\""),
            library.display(),
            "see its games with `downbox plays`",
        )
    })
}

/// A folder name that no other game has.
fn free_folder(work: &Transaction<'_>, name: &str) -> rusqlite::Result<String> {
    let mut taken = work.prepare("SELECT 1 FROM games WHERE folder = ?")?;
    let plain = name_file(name);
    let mut folder = plain.clone();
    let mut number = 2;
    while taken.exists([&folder])? {
        folder = format!("{plain} {number}");
        number += 1;
    }
    Ok(folder)
}

/// Whether a text is a day of the calendar, `2026-09-11`.
fn is_day(text: &str) -> bool {
    text.len() == 10 && text.parse::<jiff::civil::Date>().is_ok_and(|day| day.to_string() == text)
}
