//! What the database says of itself: whether it is sound, and whether the invariants of `schema.sql` hold.

use std::collections::{BTreeMap, HashSet};
use std::path::PathBuf;

use rusqlite::types::{Value as Sql, ValueRef};
use rusqlite::{Connection, params};

use super::Library;
use super::cameras::{PartFound, parts_of};
use super::labels::file_stem;
use super::sheet_rows::retag;
use super::sql_error::{SqlContext, int, uint};
use super::tag_columns::{Columns, folded, value};
use crate::base::{FrameSpan, Result};

/// Something wrong within the database.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fault {
    /// SQLite finds its own file damaged; its words.
    Damaged(String),
    /// A record that names another which is not there: how many of which table name one of which other.
    Dangling(i64, String, String),
    /// The plays of a game are not counted 1, 2, 3 ...
    Order(String),
    /// The tags of a game's plays are not those of their rows and corrections; how many.
    Tags(String, usize),
}

/// A clip as recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClipRecord {
    /// Its game.
    pub game: String,
    /// Its play's label.
    pub label: String,
    /// Whether the play is in the answers.
    pub live: bool,
    /// Its camera.
    pub camera: String,
    /// Where it lies, relative to the library's folder.
    pub path: PathBuf,
    /// Fingerprint of the film that it was cut from.
    pub film: String,
    /// Frames of the film that it shows.
    pub span: FrameSpan,
    /// Frames that the film has.
    pub film_frames: u64,
    /// Frames that it has itself.
    pub frames: u64,
    /// Its size.
    pub bytes: u64,
    /// BLAKE3 of the whole file, hex.
    pub hash: String,
}

/// A film of the library.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FilmRecord {
    /// Its fingerprint.
    pub fingerprint: String,
    /// The cameras that recorded it now: game and name. Empty where it was replaced since.
    pub cameras: Vec<(String, String)>,
    /// Its files in order.
    pub parts: Vec<PartFound>,
}

/// The library at a glance.
#[derive(Debug, Clone, Default)]
pub struct Inventory {
    /// Every recorded clip, by path.
    pub clips: Vec<ClipRecord>,
    /// Every film.
    pub films: Vec<FilmRecord>,
    /// Where clips go, of every play and camera, whether or not one is there.
    pub places: HashSet<PathBuf>,
    /// Live plays that a camera shows and that have no clip of just those frames: game, label, camera.
    pub uncut: Vec<(String, String, String)>,
}

impl Library {
    /// Everything that is wrong within the database. Only reads.
    pub fn faults(&self) -> Result<Vec<Fault>> {
        faults(self.db()).doing("check the library's database", self.folder())
    }

    /// Mends what can be made again from the rest: indexes, the plays' count, tags, and what hangs on a sheet's row that is
    /// gone. Nothing else is touched; what cannot be made again stays for [`Library::faults`] to tell.
    pub fn mend_faults(&mut self) -> Result<()> {
        let doing = "mend the library's database";
        let folder = self.folder().to_path_buf();
        self.change(doing, |work| {
            (|| {
                work.execute_batch("REINDEX")?;
                work.execute("UPDATE plays SET row = NULL WHERE row NOT IN (SELECT id FROM rows)", [])?;
                work.execute("DELETE FROM row_tags WHERE row NOT IN (SELECT id FROM rows)", [])?;
                let games: Vec<i64> =
                    work.prepare("SELECT id FROM games")?.query_map([], |r| r.get(0))?.collect::<Result<_, _>>()?;
                for game in games {
                    renumber(work, game)?;
                    if wrong_tags(work, game)? > 0 {
                        retag(work, game)?;
                    }
                }
                Ok(())
            })()
            .doing(doing, &folder)
        })
    }

    /// What is recorded: clips, films, where clips go.
    pub fn inventory(&self) -> Result<Inventory> {
        (|| {
            Ok(Inventory {
                clips: clips(self.db(), None)?,
                films: films(self.db())?,
                places: places(self.db())?,
                uncut: uncut(self.db())?,
            })
        })()
        .doing("read what the library holds", self.folder())
    }

    /// The recorded clips of a game, by path.
    pub fn clips_of_game(&self, game: &str) -> Result<Vec<ClipRecord>> {
        clips(self.db(), Some(game)).doing("read what the library holds", self.folder())
    }

    /// Notes where a film's file lies now.
    pub fn move_part(&mut self, film: &str, number: usize, path: &std::path::Path) -> Result<()> {
        let folder = self.folder().to_path_buf();
        let doing = "note the film's new place";
        self.change(doing, |work| {
            work.execute(
                "UPDATE parts SET path = ? WHERE number = ? AND film = (SELECT id FROM films WHERE fingerprint = ?)",
                params![path.to_string_lossy(), int(number as u64), film],
            )
            .doing(doing, &folder)?;
            Ok(())
        })
    }
}

/// Counts the live plays of a game 1, 2, 3 ... in the order they stand.
pub(super) fn renumber(work: &Connection, game: i64) -> rusqlite::Result<()> {
    let mut ask =
        work.prepare_cached("SELECT id, position FROM plays WHERE game = ? AND live ORDER BY position, id")?;
    let plays: Vec<(i64, i64)> = ask.query_map([game], |r| Ok((r.get(0)?, r.get(1)?)))?.collect::<Result<_, _>>()?;
    for ((id, old), new) in plays.into_iter().zip(1..) {
        if old != new {
            work.prepare_cached("UPDATE plays SET position = ? WHERE id = ?")?.execute([new, id])?;
        }
    }
    Ok(())
}

fn faults(db: &Connection) -> rusqlite::Result<Vec<Fault>> {
    let mut found = Vec::new();
    let words: Vec<String> =
        db.prepare("PRAGMA integrity_check(5)")?.query_map([], |r| r.get(0))?.collect::<Result<_, _>>()?;
    found.extend(words.into_iter().filter(|w| w != "ok").map(Fault::Damaged));
    let mut dangling: BTreeMap<(String, String), i64> = BTreeMap::new();
    let mut ask = db.prepare("PRAGMA foreign_key_check")?;
    let mut rows = ask.query([])?;
    while let Some(row) = rows.next()? {
        *dangling.entry((row.get(0)?, row.get(2)?)).or_default() += 1;
    }
    found.extend(dangling.into_iter().map(|((table, parent), count)| Fault::Dangling(count, table, parent)));
    let mut ask = db.prepare(
        "SELECT g.name FROM games g JOIN plays p ON p.game = g.id WHERE p.live GROUP BY g.id
         HAVING count(*) <> max(p.position) OR count(*) <> count(DISTINCT p.position) ORDER BY g.id",
    )?;
    found.extend(ask.query_map([], |r| r.get(0))?.collect::<Result<Vec<_>, _>>()?.into_iter().map(Fault::Order));
    let mut ask = db.prepare("SELECT id, name FROM games ORDER BY id")?;
    let games: Vec<(i64, String)> = ask.query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?.collect::<Result<_, _>>()?;
    for (game, name) in games {
        let wrong = wrong_tags(db, game)?;
        if wrong > 0 {
            found.push(Fault::Tags(name, wrong));
        }
    }
    Ok(found)
}

/// A tag: play, whether the staff's own, field; its kind, number and text as written.
type TagRows = BTreeMap<(i64, bool, String), (String, Sql, Option<String>)>;

/// How many tags of a game's plays are not as invariants 5 and 7 say.
fn wrong_tags(db: &Connection, game: i64) -> rusqlite::Result<usize> {
    let mut wanted = TagRows::new();
    let mut ask = db.prepare_cached(
        "SELECT p.id, t.own, t.field, t.kind, t.num, t.text FROM plays p JOIN row_tags t ON t.row = p.row
         WHERE p.game = ?",
    )?;
    let mut rows = ask.query([game])?;
    while let Some(r) = rows.next()? {
        // What makes no value is not carried over to a play.
        if r.get::<_, bool>(1)? || is_value(r)? {
            wanted.insert((r.get(0)?, r.get(1)?, r.get(2)?), (r.get(3)?, r.get(4)?, r.get(5)?));
        }
    }
    let mut ask = db.prepare_cached(
        "SELECT c.play, c.subject = 'own', c.name, c.kind, c.num, c.text
         FROM corrections c JOIN plays p ON p.id = c.play
         WHERE p.game = ? AND c.subject IN ('tag', 'own') AND NOT c.undone ORDER BY c.id",
    )?;
    let mut rows = ask.query([game])?;
    while let Some(r) = rows.next()? {
        let key = (r.get(0)?, r.get(1)?, r.get(2)?);
        if r.get_ref(3)? != ValueRef::Null && is_value(r)? {
            wanted.insert(key, (r.get(3)?, r.get(4)?, r.get(5)?));
        } else {
            wanted.remove(&key);
        }
    }
    let mut ask = db.prepare_cached(
        "SELECT t.play, t.own, t.field, t.kind, t.num, t.text, t.folded FROM tags t JOIN plays p ON p.id = t.play
         WHERE p.game = ?",
    )?;
    let mut wrong = 0;
    let mut rows = ask.query([game])?;
    while let Some(r) = rows.next()? {
        let tag: (String, Sql, Option<String>) = (r.get(3)?, r.get(4)?, r.get(5)?);
        let right = wanted.remove(&(r.get(0)?, r.get(1)?, r.get(2)?)).is_some_and(|w| w == tag);
        let fold: Option<String> = r.get(6)?;
        wrong += usize::from(!right || fold != folded(tag.2.as_deref()));
    }
    Ok(wrong + wanted.len())
}

/// Whether columns 3 to 5 make a value that is written back as it stands.
fn is_value(row: &rusqlite::Row<'_>) -> rusqlite::Result<bool> {
    let found = value(&row.get::<_, String>(3)?, row.get_ref(4)?, row.get(5)?);
    Ok(found
        .is_some_and(|found| Columns::of(&found).kind == row.get_ref(3).and_then(|k| Ok(k.as_str()?)).unwrap_or("")))
}

/// Recorded clips by path: all, or those of the game of this name.
pub(super) fn clips(db: &Connection, game: Option<&str>) -> rusqlite::Result<Vec<ClipRecord>> {
    let mut ask = db.prepare(
        "SELECT g.name, p.label, p.live, a.name, c.path, c.film_start, c.film_end, f.frames, c.frames, c.bytes, c.hash,
                f.fingerprint
         FROM clips c JOIN plays p ON p.id = c.play JOIN games g ON g.id = p.game JOIN cameras a ON a.id = c.camera
         JOIN films f ON f.id = c.film WHERE ?1 IS NULL OR g.name = ?1 ORDER BY c.path",
    )?;
    let found = ask.query_map([game], |r| {
        Ok(ClipRecord {
            game: r.get(0)?,
            label: r.get(1)?,
            live: r.get(2)?,
            camera: r.get(3)?,
            path: PathBuf::from(r.get::<_, String>(4)?),
            span: FrameSpan::of(uint(r.get(5)?), uint(r.get(6)?)),
            film_frames: uint(r.get(7)?),
            frames: uint(r.get(8)?),
            bytes: uint(r.get(9)?),
            hash: r.get(10)?,
            film: r.get(11)?,
        })
    })?;
    found.collect()
}

fn films(db: &Connection) -> rusqlite::Result<Vec<FilmRecord>> {
    let mut cameras = db
        .prepare("SELECT g.name, c.name FROM cameras c JOIN games g ON g.id = c.game WHERE c.film = ? ORDER BY c.id")?;
    let mut ask = db.prepare("SELECT id, fingerprint FROM films ORDER BY id")?;
    let found = ask.query_map([], |r| {
        let id: i64 = r.get(0)?;
        let cameras = cameras.query_map([id], |c| Ok((c.get(0)?, c.get(1)?)))?.collect::<Result<_, _>>()?;
        Ok(FilmRecord { fingerprint: r.get(1)?, cameras, parts: parts_of(db, id)? })
    })?;
    found.collect()
}

fn places(db: &Connection) -> rusqlite::Result<HashSet<PathBuf>> {
    let mut ask = db.prepare(
        "SELECT g.folder, c.folder, p.label FROM games g JOIN cameras c ON c.game = g.id JOIN plays p ON p.game = g.id",
    )?;
    let found = ask.query_map([], |r| {
        let (game, camera, label): (String, String, String) = (r.get(0)?, r.get(1)?, r.get(2)?);
        Ok(PathBuf::from(format!("clips/{game}/{camera}/{}.mp4", file_stem(&label))))
    })?;
    found.collect()
}

fn uncut(db: &Connection) -> rusqlite::Result<Vec<(String, String, String)>> {
    let mut ask = db.prepare(
        "SELECT g.name, p.label, c.name FROM shots s JOIN plays p ON p.id = s.play JOIN games g ON g.id = p.game
         JOIN cameras c ON c.id = s.camera AND c.film = s.film
         WHERE p.live AND NOT EXISTS (SELECT 1 FROM clips k WHERE k.play = s.play AND k.camera = s.camera
                                      AND k.film = s.film AND k.film_start = s.film_start AND k.film_end = s.film_end)
         ORDER BY g.id, c.id, p.position",
    )?;
    ask.query_map([], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)))?.collect()
}
