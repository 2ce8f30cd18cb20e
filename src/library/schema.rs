//! Versions of the schema and the way up from one to the next.

use std::path::Path;

use rusqlite::{Connection, Transaction, TransactionBehavior};

use super::sql_error::SqlContext;
use crate::base::{Error, Result};

/// Marks the file as ours in SQLite's header: "down" in ASCII.
const APPLICATION: i32 = i32::from_be_bytes(*b"down");

/// One step up. Step k makes version k + 1 of version k. A step that has shipped is never edited.
type Step = fn(&Transaction<'_>) -> rusqlite::Result<()>;

const STEPS: &[Step] = &[to_version_1, to_version_2, to_version_3, to_version_4, to_version_5];

fn to_version_1(work: &Transaction<'_>) -> rusqlite::Result<()> {
    work.execute_batch(include_str!("schema.sql"))
}

/// The offset of a game's sheet that a person gave, seconds (typed time less film time); NULL where it is fitted.
fn to_version_2(work: &Transaction<'_>) -> rusqlite::Result<()> {
    work.execute_batch("ALTER TABLE games ADD COLUMN sheet_offset REAL")
}

/// The drift of a game's sheet that a person gave, and which row a person joined to which play. A pin is never deleted
/// and never changed but for `undone` and for where its row stands now; of several about one row or one play the newest
/// that is not undone stands.
fn to_version_3(work: &Transaction<'_>) -> rusqlite::Result<()> {
    work.execute_batch(
        "ALTER TABLE games ADD COLUMN sheet_drift REAL;
         CREATE TABLE pins (
             id        INTEGER PRIMARY KEY,
             game      INTEGER NOT NULL REFERENCES games,
             -- The play; NULL: the row belongs to none.
             play      INTEGER REFERENCES plays,
             -- Address and hash of the row as it stands now (see rows); NULL: the play has none.
             place     TEXT,
             hash      TEXT,
             -- What stood before: the play's row, the row's play (its label).
             old_place TEXT,
             old_label TEXT,
             -- When, 2026-09-12T01:02:03Z.
             made_at   TEXT NOT NULL,
             undone    INTEGER NOT NULL DEFAULT 0 CHECK (undone IN (0, 1)),
             CHECK (play IS NOT NULL OR place IS NOT NULL),
             CHECK ((place IS NULL) = (hash IS NULL))
         ) STRICT;
         CREATE INDEX pins_by_game ON pins (game);",
    )
}

/// What a corrected moment was before, and how a person changed which plays there are. A reshape is never deleted and
/// never changed but for `undone`; those that stand are laid over the plays, in the order they were made, whenever the
/// film is looked at again.
fn to_version_4(work: &Transaction<'_>) -> rusqlite::Result<()> {
    work.execute_batch(
        "ALTER TABLE corrections ADD COLUMN old_time REAL;
         ALTER TABLE corrections ADD COLUMN old_confidence REAL;
         CREATE TABLE reshapes (
             id      INTEGER PRIMARY KEY,
             game    INTEGER NOT NULL REFERENCES games,
             -- drop: a play that is none. add: one that was missed. split: a play becomes two. join: two become one. pair:
             -- two plays exchange what a camera shows. apart: what a camera shows of a play is another. extent: a camera
             -- shows the play from another frame or to another.
             kind    TEXT NOT NULL CHECK (kind IN ('drop', 'add', 'split', 'join', 'pair', 'apart', 'extent')),
             -- The play.
             play    INTEGER NOT NULL REFERENCES plays,
             -- split, apart: the new one; join: the one that went into it; pair: the one it exchanged with. Else NULL.
             other   INTEGER REFERENCES plays,
             -- When, 2026-09-12T01:02:03.123Z.
             made_at TEXT NOT NULL,
             undone  INTEGER NOT NULL DEFAULT 0 CHECK (undone IN (0, 1)),
             CHECK ((kind IN ('split', 'join', 'pair', 'apart')) = (other IS NOT NULL))
         ) STRICT;
         CREATE INDEX reshapes_by_game ON reshapes (game);
         -- The shots of its plays before and after; none where a reshape does not change them.
         CREATE TABLE reshape_shots (
             reshape            INTEGER NOT NULL REFERENCES reshapes,
             -- 0: as they were; 1: as they are to be.
             after              INTEGER NOT NULL CHECK (after IN (0, 1)),
             -- As in shots.
             play               INTEGER NOT NULL REFERENCES plays,
             camera             INTEGER NOT NULL REFERENCES cameras,
             film               INTEGER NOT NULL REFERENCES films,
             film_start         INTEGER NOT NULL CHECK (film_start >= 0),
             film_end           INTEGER NOT NULL CHECK (film_end > film_start),
             set_frame          INTEGER,
             snap               INTEGER,
             snap_time          REAL,
             snap_confidence    REAL,
             whistle            INTEGER,
             whistle_time       REAL,
             whistle_confidence REAL,
             found_by           TEXT NOT NULL,
             doubt              TEXT,
             PRIMARY KEY (reshape, after, play, camera)
         ) STRICT, WITHOUT ROWID;",
    )
}

/// Questions find plays by their tags' values, and the words that sheets have used, without reading every play.
fn to_version_5(work: &Transaction<'_>) -> rusqlite::Result<()> {
    work.execute_batch("CREATE INDEX tags_by_value ON tags (own, field, folded, kind, num)")
}

/// What is to be done about a database's version.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Standing {
    /// It is the program's own.
    Current,
    /// It has to be brought up first.
    Old,
}

/// Compares a database with the program; refuses one that is not ours or is newer.
pub(super) fn standing(db: &Connection, library: &Path) -> Result<Standing> {
    let (version, application, tables) = (|| {
        let number = |pragma: &str| db.query_row(pragma, [], |row| row.get::<_, i64>(0));
        Ok((
            number("PRAGMA user_version")?,
            number("PRAGMA application_id")?,
            number("SELECT count(*) FROM sqlite_schema")?,
        ))
    })()
    .doing("read the library's version", library)?;
    if application != i64::from(APPLICATION) && (tables > 0 || version != 0) {
        return Err(Error::refused(
            "downbox.sqlite holds another program's data",
            library.display(),
            "move that file away, or choose another library folder with --library",
        ));
    }
    let newest = STEPS.len() as i64;
    if version > newest {
        return Err(Error::refused(
            format!(
                "the library was written by a newer downbox (its schema is version {version}, this program knows up \
                 to {newest})"
            ),
            library.display(),
            "update downbox; an older one cannot read it",
        ));
    }
    Ok(if version == newest { Standing::Current } else { Standing::Old })
}

/// Brings a database up to the program's version, each step whole or not at all.
pub(super) fn upgrade(db: &mut Connection, library: &Path) -> Result<()> {
    climb(db, STEPS).doing("bring the library up to this version", library)
}

fn climb(db: &mut Connection, steps: &[Step]) -> rusqlite::Result<()> {
    loop {
        let work = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let version: i64 = work.query_row("PRAGMA user_version", [], |row| row.get(0))?;
        let Some(step) = usize::try_from(version).ok().and_then(|v| steps.get(v)) else { return Ok(()) };
        step(&work)?;
        work.pragma_update(None, "user_version", version + 1)?;
        work.pragma_update(None, "application_id", APPLICATION)?;
        work.commit()?;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Version 1 as it first shipped. Never to be edited: a library made then must open for ever.
    const FROZEN_1: &str = include_str!("frozen_version_1.sql");
    /// Likewise version 3.
    const FROZEN_3: &str = include_str!("frozen_version_3.sql");

    fn shape(db: &Connection) -> Vec<String> {
        let mut ask = db.prepare("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY name").unwrap();
        let strip = |sql: String| {
            let lines = sql.lines().map(|l| l.split("--").next().unwrap_or("")).collect::<Vec<_>>().join(" ");
            lines.split_whitespace().collect::<Vec<_>>().join(" ")
        };
        ask.query_map([], |row| Ok(format!("{}: {}", row.get::<_, String>(0)?, strip(row.get(1)?))))
            .unwrap()
            .map(Result::unwrap)
            .collect()
    }
    use std::result::Result;

    fn fresh() -> Connection {
        let mut db = Connection::open_in_memory().unwrap();
        upgrade(&mut db, Path::new("lib")).unwrap();
        db
    }

    #[test]
    fn a_version_1_file_of_old_comes_up_to_the_schema_of_a_new_one() {
        let mut db = Connection::open_in_memory().unwrap();
        db.execute_batch(FROZEN_1).unwrap();
        upgrade(&mut db, Path::new("lib")).unwrap();
        assert_eq!(standing(&db, Path::new("lib")).unwrap(), Standing::Current);
        assert_eq!(shape(&db), shape(&fresh()));
        let kept: (String, String) = db
            .query_row("SELECT g.name, p.label FROM plays p JOIN games g ON g.id = p.game", [], |r| {
                Ok((r.get(0)?, r.get(1)?))
            })
            .unwrap();
        assert_eq!(kept, ("Badgers".to_string(), "1".to_string()));
    }

    #[test]
    fn a_version_3_file_of_old_comes_up_with_its_corrections() {
        let mut db = Connection::open_in_memory().unwrap();
        db.execute_batch(FROZEN_3).unwrap();
        let broken: i64 = db.query_row("SELECT count(*) FROM pragma_foreign_key_check", [], |r| r.get(0)).unwrap();
        assert_eq!(broken, 0);
        assert_eq!(standing(&db, Path::new("lib")).unwrap(), Standing::Old);
        upgrade(&mut db, Path::new("lib")).unwrap();
        assert_eq!(shape(&db), shape(&fresh()));
        let kept: (i64, i64, Option<f64>, String) = db
            .query_row("SELECT c.num, c.old_num, c.old_time, n.place FROM corrections c, pins n", [], |r| {
                Ok((r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?))
            })
            .unwrap();
        assert_eq!(kept, (125, 120, None, "tags.csv:2".to_string()));
    }

    #[test]
    fn a_newer_file_and_a_strangers_file_are_refused() {
        let db = fresh();
        db.pragma_update(None, "user_version", 1000).unwrap();
        let error = standing(&db, Path::new("lib")).unwrap_err();
        assert!(error.what.contains("newer downbox") && error.what.contains("1000"), "{}", error.what);

        let db = Connection::open_in_memory().unwrap();
        assert_eq!(standing(&db, Path::new("lib")).unwrap(), Standing::Old);
        db.execute_batch("CREATE TABLE contacts (name TEXT)").unwrap();
        assert!(standing(&db, Path::new("lib")).unwrap_err().what.contains("another program"));
    }

    #[test]
    fn a_step_that_fails_leaves_the_version_before_it_whole() {
        let mut db = Connection::open_in_memory().unwrap();
        climb(&mut db, &[to_version_1]).unwrap();
        let steps: &[Step] = &[
            to_version_1,
            |work| work.execute_batch("CREATE TABLE two (a) STRICT"),
            |work| work.execute_batch("CREATE TABLE three (a); DROP TABLE games; SELECT no_such_function()"),
        ];
        assert!(climb(&mut db, steps).is_err(), "STRICT needs a type");
        let version = |db: &Connection| db.query_row("PRAGMA user_version", [], |r| r.get::<_, i64>(0)).unwrap();
        assert_eq!(version(&db), 1);
        let steps: &[Step] = &[to_version_1, |work| work.execute_batch("CREATE TABLE two (a)"), steps[2]];
        assert!(climb(&mut db, steps).is_err());
        assert_eq!(version(&db), 2);
        let names = shape(&db).join("\n");
        assert!(names.contains("two:") && names.contains("games:") && !names.contains("three:"), "{names}");
    }
}
