//! Cameras and the films they recorded.

use std::path::{Path, PathBuf};

use rusqlite::{Connection, OptionalExtension, Transaction, params};

use super::Library;
use super::games::{game_id, known_game};
use super::sql_error::{SqlContext, int, uint, uint32};
use crate::base::{Error, IoContext, Rate, Result, name_file};
use crate::film::{Angle, Film};
use crate::football::fold;

/// A file of a camera's film as it was when last seen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartFound {
    /// Where it lay, absolute. It may be gone.
    pub path: PathBuf,
    /// Size in bytes.
    pub bytes: u64,
    /// Fingerprint of the part.
    pub fingerprint: String,
    /// Its first frame, counted over the film.
    pub first_frame: u64,
    /// How many frames it has.
    pub frames: u64,
}

/// A camera's film as the library knows it.
#[derive(Debug, Clone, PartialEq)]
pub struct CameraFilm {
    /// The camera's name as first typed.
    pub camera: String,
    /// From where it looks.
    pub angle: Angle,
    /// Fingerprint of the film: the key of its series.
    pub fingerprint: String,
    /// Frames of all parts.
    pub frames: u64,
    /// Seconds of all parts.
    pub seconds: f64,
    /// Average frame rate.
    pub rate: Rate,
    /// Whether the time between frames varies.
    pub variable: bool,
    /// The files in order.
    pub parts: Vec<PartFound>,
}

impl Library {
    /// Whether [`Library::put_camera`] would take a film, and the name the camera would go by; changes nothing. A game
    /// that is not there takes any film.
    ///
    /// # Errors
    /// Those of [`Library::put_camera`].
    pub fn check_camera(&self, game: &str, name: &str, film: &Film, replace: bool) -> Result<String> {
        let folded = camera_name(name)?;
        let Some(row) = known_game(self.db(), self.folder(), game)? else { return Ok(name.trim().to_string()) };
        let old = standing(self.db(), self.folder(), (game, row), &folded, film, replace)?;
        Ok(old.map_or_else(|| name.trim().to_string(), |(_, name)| name))
    }

    /// Puts a camera of a game in with its film, or notes where the film lies now; gives the name it goes by. Paths
    /// are kept absolute. One film may serve two cameras (both angles woven in one file).
    ///
    /// # Errors
    /// The game is not there; the name has no letter or digit; the camera has another film, one without all of the old
    /// one's parts, and `replace` is not set.
    /// After a replacement the camera's plays show no clip until [`Library::put_plays`] tells where the new film has
    /// them.
    pub fn put_camera(&mut self, game: &str, name: &str, film: &Film, replace: bool) -> Result<String> {
        let folded = camera_name(name)?;
        let mut paths = Vec::with_capacity(film.parts.len());
        for part in &film.parts {
            let path = std::path::absolute(&part.path).doing("find the film", &part.path)?;
            paths.push(path.to_string_lossy().into_owned());
        }
        let folder = self.folder().to_path_buf();
        let doing = "put the camera into the library";
        self.change(doing, |work| {
            let game_row = game_id(work, &folder, game)?;
            let old = standing(work, &folder, (game, game_row), &folded, film, replace)?;
            (|| -> rusqlite::Result<String> {
                let film = put_film(work, film, &paths)?;
                if let Some((id, name)) = old {
                    work.execute("UPDATE cameras SET film = ? WHERE id = ?", [film, id])?;
                    return Ok(name);
                }
                let name = name.trim();
                let inner = free_folder(work, game_row, name)?;
                let angle = Angle::named(name).as_str();
                work.execute(
                    "INSERT INTO cameras (game, name, folded, folder, angle, film) VALUES (?, ?, ?, ?, ?, ?)",
                    params![game_row, name, folded, inner, angle, film],
                )?;
                Ok(name.to_string())
            })()
            .doing(doing, &folder)
        })
    }

    /// A camera's film as it was when last seen; `None` where the game or camera is not in the library.
    pub fn camera_film(&self, game: &str, camera: &str) -> Result<Option<CameraFilm>> {
        Ok(self.films(game, Some(camera))?.pop())
    }

    /// Every camera's film of a game, in the order they came; empty where the game is not in the library.
    pub fn camera_films(&self, game: &str) -> Result<Vec<CameraFilm>> {
        self.films(game, None)
    }

    fn films(&self, game: &str, camera: Option<&str>) -> Result<Vec<CameraFilm>> {
        let read = || -> rusqlite::Result<Vec<CameraFilm>> {
            let mut ask = self.db().prepare(
                "SELECT c.name, c.angle, f.id, f.fingerprint, f.frames, f.seconds, f.rate_num, f.rate_den, f.variable
                 FROM cameras c JOIN films f ON f.id = c.film JOIN games g ON g.id = c.game
                 WHERE g.folded = ?1 AND (?2 IS NULL OR c.folded = ?2) ORDER BY c.id",
            )?;
            let found = ask.query_map(params![fold(game), camera.map(fold)], |r| {
                Ok(CameraFilm {
                    camera: r.get(0)?,
                    angle: Angle::named(&r.get::<_, String>(1)?),
                    parts: parts_of(self.db(), r.get(2)?)?,
                    fingerprint: r.get(3)?,
                    frames: uint(r.get(4)?),
                    seconds: r.get(5)?,
                    rate: Rate { num: uint32(r.get(6)?), den: uint32(r.get(7)?) },
                    variable: r.get(8)?,
                })
            })?;
            found.collect()
        };
        read().doing("read the library's cameras", self.folder())
    }
}

/// A camera's name without what does not matter.
fn camera_name(name: &str) -> Result<String> {
    let folded = fold(name);
    if folded.is_empty() {
        return Err(Error::refused(
            "a camera's name needs a letter or a digit",
            format!("\"{name}\""),
            "name the camera with --camera NAME FILM",
        ));
    }
    Ok(folded)
}

/// The camera of that name that the game has: its id and name.
///
/// # Errors
/// It has another film and `replace` is not set.
fn standing(
    db: &Connection,
    library: &Path,
    (game, game_row): (&str, i64),
    folded: &str,
    film: &Film,
    replace: bool,
) -> Result<Option<(i64, String)>> {
    let doing = "look for the camera";
    let found: Option<(i64, String, i64, String)> = db
        .query_row(
            "SELECT c.id, c.name, f.id, f.fingerprint FROM cameras c JOIN films f ON f.id = c.film
             WHERE c.game = ? AND c.folded = ?",
            params![game_row, folded],
            |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?)),
        )
        .optional()
        .doing(doing, library)?;
    let Some((id, name, old, fingerprint)) = found else { return Ok(None) };
    // A film that has grown, the second card's files beside the first's, is the same camera's.
    let grown = || -> rusqlite::Result<bool> {
        let mut now = film.parts.iter();
        Ok(parts_of(db, old)?.iter().all(|part| now.any(|p| p.fingerprint == part.fingerprint)))
    };
    if fingerprint != film.fingerprint() && !replace && !grown().doing(doing, library)? {
        return Err(Error::refused(
            format!("the {name} camera of {game} already has another film in the library"),
            film.parts.first().map(|p| p.path.display().to_string()).unwrap_or_default(),
            "give --replace to cut the new film in its place, or give this one as another camera with \
             --camera NAME FILM",
        ));
    }
    Ok(Some((id, name)))
}

/// The parts of a film in order.
pub(super) fn parts_of(db: &Connection, film: i64) -> rusqlite::Result<Vec<PartFound>> {
    let mut ask = db.prepare_cached(
        "SELECT path, bytes, fingerprint, first_frame, frames FROM parts WHERE film = ? ORDER BY number",
    )?;
    let found = ask.query_map([film], |r| {
        Ok(PartFound {
            path: PathBuf::from(r.get::<_, String>(0)?),
            bytes: uint(r.get(1)?),
            fingerprint: r.get(2)?,
            first_frame: uint(r.get(3)?),
            frames: uint(r.get(4)?),
        })
    })?;
    found.collect()
}

/// Where the frames of a film lie in another that has all its parts: first frame, frames, first frame there, for each
/// part. `None` if it has not.
pub(super) fn moved(db: &Connection, from: i64, to: i64) -> rusqlite::Result<Option<Vec<(u64, u64, u64)>>> {
    let there = parts_of(db, to)?;
    let place = |part: &PartFound| {
        let twin = there.iter().find(|p| p.fingerprint == part.fingerprint && p.frames == part.frames)?;
        Some((part.first_frame, part.frames, twin.first_frame))
    };
    Ok(parts_of(db, from)?.iter().map(place).collect())
}

/// A camera of a game: its id and its film's.
pub(super) fn camera_id(db: &Connection, library: &Path, game: i64, name: &str) -> Result<(i64, i64)> {
    let found = db
        .query_row("SELECT id, film FROM cameras WHERE game = ? AND folded = ?", params![game, fold(name)], |r| {
            Ok((r.get(0)?, r.get(1)?))
        })
        .optional()
        .doing("look for the camera", library)?;
    found.ok_or_else(|| {
        Error::refused(
            format!("the game has no camera \"{name}\" in the library"),
            library.display(),
            "add it with `downbox cut`",
        )
    })
}

/// The film's id. A film already known keeps its row; its files are noted where they lie now.
fn put_film(work: &Transaction<'_>, film: &Film, paths: &[String]) -> rusqlite::Result<i64> {
    let fingerprint = film.fingerprint();
    let rate = film.rate();
    let known: Option<i64> =
        work.query_row("SELECT id FROM films WHERE fingerprint = ?", [&fingerprint], |r| r.get(0)).optional()?;
    let id = match known {
        Some(id) => {
            // Read better than last time (damage that was the disk's, not the file's), it counts as read now.
            work.execute(
                "UPDATE films SET frames = ?, seconds = ? WHERE id = ?",
                params![int(film.frames()), film.seconds(), id],
            )?;
            id
        }
        None => {
            work.execute(
                "INSERT INTO films (fingerprint, frames, seconds, rate_num, rate_den, variable)
                 VALUES (?, ?, ?, ?, ?, ?)",
                params![fingerprint, int(film.frames()), film.seconds(), rate.num, rate.den, film.variable()],
            )?;
            work.last_insert_rowid()
        }
    };
    work.execute("DELETE FROM parts WHERE film = ?", [id])?;
    for (number, ((part, path), first)) in film.parts.iter().zip(paths).zip(film.starts()).enumerate() {
        work.execute(
            "INSERT INTO parts (film, number, path, bytes, fingerprint, first_frame, frames, rate_num, rate_den, width,
                                height, recorded)
             VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            params![
                id,
                int(number as u64),
                path,
                int(part.bytes),
                part.fingerprint,
                int(first),
                int(part.frames()),
                part.rate.num,
                part.rate.den,
                part.width,
                part.height,
                part.recorded
            ],
        )?;
    }
    Ok(id)
}

/// A folder name that no other camera of the game has.
fn free_folder(work: &Transaction<'_>, game: i64, name: &str) -> rusqlite::Result<String> {
    let mut taken = work.prepare("SELECT 1 FROM cameras WHERE game = ? AND folder = ?")?;
    let plain = name_file(name);
    let mut folder = plain.clone();
    let mut number = 2;
    while taken.exists(params![game, folder])? {
        folder = format!("{plain} {number}");
        number += 1;
    }
    Ok(folder)
}
