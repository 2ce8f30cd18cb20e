//! Questions to the library.

use std::collections::BTreeSet;
use std::path::PathBuf;

use rusqlite::params_from_iter;

use super::Library;
use super::cameras::parts_of;
use super::play_shots::{frame, sighting};
use super::sql::{Condition, Teams};
use super::sql_error::{SqlContext, uint, uint32};
use super::tag_columns::read;
use crate::base::{FrameNo, FrameSpan, Rate, Result};
use crate::film::{Angle, Sighting};
use crate::filter::Filter;
use crate::football::{Field, PlayRecord};

/// A clip on disk.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipFound {
    /// The camera's name.
    pub camera: String,
    /// From where it looks.
    pub angle: Angle,
    /// Relative to the library's folder; [`Library::at`] gives the whole path.
    pub path: PathBuf,
    /// The source files its frames come from, absolute, where they lay when last seen. They may be gone.
    pub parts: Vec<PathBuf>,
    /// Fingerprint of the film.
    pub film: String,
    /// Frames of the film that it shows; its frame 0 is `span.start`.
    pub span: FrameSpan,
    /// When the offense stands, as a frame of the film.
    pub set: Option<FrameNo>,
    /// The snap, in frames and seconds of the film.
    pub snap: Option<Sighting>,
    /// The whistle, in frames and seconds of the film.
    pub whistle: Option<Sighting>,
    /// Why a person should look at this camera's shot; `None` if sure.
    pub doubt: Option<String>,
    /// How many frames the clip has.
    pub frames: u64,
    /// Average frame rate.
    pub rate: Rate,
    /// Size of the file.
    pub bytes: u64,
}

impl ClipFound {
    /// The trade's word for its angle; a camera that looks from elsewhere goes by its own name.
    pub fn angle_name(&self) -> &str {
        if self.angle == Angle::Unknown { &self.camera } else { self.angle.as_str() }
    }
}

impl PlayFound {
    /// Every reason why a person should look: the play's own, its row's, each camera's.
    pub fn doubts(&self) -> Vec<String> {
        let own = self.doubt.iter().cloned();
        let row = self.record.row_doubt.iter().map(|why| format!("its row is in doubt: {why}"));
        let shots = self.clips.iter().filter_map(|clip| Some(format!("{}: {}", clip.camera, clip.doubt.as_ref()?)));
        own.chain(row).chain(shots).collect()
    }
}

/// A play of the answer.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlayFound {
    /// What is known of it.
    pub record: PlayRecord,
    /// Why a person should look at the play; `None` if sure.
    pub doubt: Option<String>,
    /// Its clips, sideline first, then end zone, then the others in the order they came.
    pub clips: Vec<ClipFound>,
}

/// Words that the library's sheets have used: what a phrase may name beyond the vocabulary.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct UsedWords {
    /// Every word of every word field, once.
    pub words: Vec<(Field, String)>,
    /// Names of the staff's own columns.
    pub own: Vec<String>,
    /// Teams that have had the ball, and the home and away teams.
    pub teams: Vec<String>,
    /// Names of the games.
    pub games: Vec<String>,
}

impl Library {
    /// The plays a filter means: by game date (undated last) and name, then in film order.
    pub fn plays(&self, filter: &Filter) -> Result<Vec<PlayFound>> {
        self.answer(filter).doing("ask the library for plays", self.folder())
    }

    fn answer(&self, filter: &Filter) -> rusqlite::Result<Vec<PlayFound>> {
        let teams = self
            .db()
            .prepare("SELECT id, home, away FROM games")?
            .query_map([], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)))?
            .collect::<rusqlite::Result<Vec<Teams>>>()?;
        let condition = Condition::of(filter, &teams);
        let mut ask = self.db().prepare(&format!(
            "SELECT p.id, g.name, g.date, p.label, p.position, r.place, p.matched_by, p.row_doubt, p.doubt, g.home, g.away
             FROM plays p JOIN games g ON g.id = p.game LEFT JOIN rows r ON r.id = p.row
             WHERE p.live AND {}
             ORDER BY g.date IS NULL, g.date, g.name, p.position",
            condition.sql
        ))?;
        let found = ask.query_map(params_from_iter(condition.bound), |r| {
            let id = r.get(0)?;
            Ok(PlayFound {
                record: PlayRecord {
                    game: r.get(1)?,
                    date: r.get(2)?,
                    home: r.get(9)?,
                    away: r.get(10)?,
                    label: r.get(3)?,
                    order: uint32(r.get(4)?),
                    row: r.get(5)?,
                    matched_by: r.get(6)?,
                    row_doubt: r.get(7)?,
                    tags: read(self.db(), "SELECT own, field, kind, num, text FROM tags WHERE play = ?", id)?,
                },
                doubt: r.get(8)?,
                clips: self.clips_of(id)?,
            })
        })?;
        found.collect()
    }

    /// A play's clips. One of a film that was replaced since is left out: its frames mean nothing to the shot now.
    fn clips_of(&self, play: i64) -> rusqlite::Result<Vec<ClipFound>> {
        let mut ask = self.db().prepare_cached(
            "SELECT c.name, c.angle, k.path, k.film, f.fingerprint, k.film_start, k.film_end, k.frames, k.rate_num,
                    k.rate_den, k.bytes, s.set_frame, s.doubt, s.snap, s.snap_time, s.snap_confidence,
                    s.whistle, s.whistle_time, s.whistle_confidence
             FROM clips k
             JOIN cameras c ON c.id = k.camera
             JOIN films f ON f.id = k.film
             JOIN shots s ON s.play = k.play AND s.camera = k.camera AND s.film = k.film
             WHERE k.play = ? AND k.film = c.film
             ORDER BY CASE c.angle WHEN 'sideline' THEN 0 WHEN 'end-zone' THEN 1 ELSE 2 END, c.id",
        )?;
        let found = ask.query_map([play], |r| {
            let span = FrameSpan::of(uint(r.get(5)?), uint(r.get(6)?));
            let parts = parts_of(self.db(), r.get(3)?)?;
            Ok(ClipFound {
                camera: r.get(0)?,
                angle: Angle::named(&r.get::<_, String>(1)?),
                path: r.get::<_, String>(2)?.into(),
                parts: parts
                    .into_iter()
                    .filter(|p| p.first_frame < span.end.0 && span.start.0 < p.first_frame + p.frames)
                    .map(|p| p.path)
                    .collect(),
                film: r.get(4)?,
                span,
                frames: uint(r.get(7)?),
                rate: Rate { num: uint32(r.get(8)?), den: uint32(r.get(9)?) },
                bytes: uint(r.get(10)?),
                set: frame(r, 11)?,
                doubt: r.get(12)?,
                snap: sighting(r, 13)?,
                whistle: sighting(r, 16)?,
            })
        })?;
        found.collect()
    }

    /// The words its sheets have used.
    pub fn words_used(&self) -> Result<UsedWords> {
        let ask = || -> rusqlite::Result<UsedWords> {
            let list = |sql: &str| -> rusqlite::Result<Vec<String>> {
                self.db().prepare(sql)?.query_map([], |r| r.get(0))?.collect()
            };
            let mut words = BTreeSet::new();
            let mut used = self.db().prepare(
                "SELECT DISTINCT t.field, t.text FROM tags t JOIN plays p ON p.id = t.play
                 WHERE p.live AND t.own = 0 AND t.kind = 'word' AND t.folded <> ''",
            )?;
            let mut rows = used.query([])?;
            while let Some(row) = rows.next()? {
                if let Some(field) = Field::named(&row.get::<_, String>(0)?) {
                    words.insert((field, row.get::<_, String>(1)?));
                }
            }
            Ok(UsedWords {
                words: words.into_iter().collect(),
                own: list(
                    "SELECT DISTINCT t.field FROM tags t JOIN plays p ON p.id = t.play WHERE p.live AND t.own = 1
                     ORDER BY 1",
                )?,
                teams: list(
                    "SELECT t.text FROM tags t JOIN plays p ON p.id = t.play
                     WHERE p.live AND t.own = 0 AND t.field = 'ball' AND t.folded <> ''
                     UNION SELECT home FROM games WHERE home IS NOT NULL
                     UNION SELECT away FROM games WHERE away IS NOT NULL ORDER BY 1",
                )?,
                games: list("SELECT name FROM games ORDER BY date IS NULL, date, name")?,
            })
        };
        ask().doing("read the library's words", self.folder())
    }
}
