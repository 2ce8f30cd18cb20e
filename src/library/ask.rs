//! Questions to the library.

use std::collections::hash_map::Entry;
use std::collections::{BTreeSet, HashMap};
use std::path::PathBuf;

use rusqlite::{Connection, params_from_iter};

use super::Library;
use super::cameras::{PartFound, parts_of};
use super::play_shots::{frame, sighting};
use super::sql::{Condition, Teams};
use super::sql_error::{SqlContext, uint, uint32};
use super::tag_columns::add;
use crate::base::{FrameNo, FrameSpan, Rate, Result};
use crate::film::{Angle, Sighting};
use crate::filter::Filter;
use crate::football::{Field, Kind, PlayRecord, Tags};

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
    /// BLAKE3 of the file, hex.
    pub hash: String,
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

/// Plays whose tags and clips are read by one statement. Our own choice: some ten kilobytes of SQL.
const TOGETHER: usize = 500;

/// A camera and the film it has now.
struct Camera {
    name: String,
    angle: Angle,
    film: i64,
    fingerprint: String,
}

/// Cameras and films, read once for all plays of an answer: a camera may be 250 files.
#[derive(Default)]
struct Known {
    cameras: HashMap<i64, Camera>,
    films: HashMap<i64, Vec<PartFound>>,
}

impl Known {
    fn of(&mut self, db: &Connection, camera: i64, film: i64) -> rusqlite::Result<(&Camera, &[PartFound])> {
        let parts = match self.films.entry(film) {
            Entry::Occupied(there) => there.into_mut(),
            Entry::Vacant(place) => place.insert(parts_of(db, film)?),
        };
        let camera = match self.cameras.entry(camera) {
            Entry::Occupied(there) => there.into_mut(),
            Entry::Vacant(place) => {
                let mut ask = db.prepare_cached(
                    "SELECT c.name, c.angle, c.film, f.fingerprint FROM cameras c JOIN films f ON f.id = c.film
                     WHERE c.id = ?",
                )?;
                place.insert(ask.query_row([camera], |r| {
                    let angle = Angle::named(&r.get::<_, String>(1)?);
                    Ok(Camera { name: r.get(0)?, angle, film: r.get(2)?, fingerprint: r.get(3)? })
                })?)
            }
        };
        Ok((camera, parts))
    }
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
        let heads = ask.query_map(params_from_iter(condition.bound), |r| {
            let record = PlayRecord {
                game: r.get(1)?,
                date: r.get(2)?,
                home: r.get(9)?,
                away: r.get(10)?,
                label: r.get(3)?,
                order: uint32(r.get(4)?),
                row: r.get(5)?,
                matched_by: r.get(6)?,
                row_doubt: r.get(7)?,
                tags: Tags::default(),
            };
            Ok((r.get::<_, i64>(0)?, PlayFound { record, doubt: r.get(8)?, clips: Vec::new() }))
        })?;
        let (ids, mut found): (Vec<i64>, Vec<PlayFound>) =
            heads.collect::<rusqlite::Result<Vec<_>>>()?.into_iter().unzip();
        let places: HashMap<i64, usize> = ids.iter().copied().zip(0..).collect();
        let mut known = Known::default();
        for some in ids.chunks(TOGETHER) {
            let list = some.iter().map(i64::to_string).collect::<Vec<_>>().join(", ");
            let sql = format!("SELECT own, field, kind, num, text, play FROM tags WHERE play IN ({list})");
            let mut ask = self.db().prepare(&sql)?;
            let mut rows = ask.query([])?;
            while let Some(row) = rows.next()? {
                if let Some(at) = places.get(&row.get(5)?) {
                    add(&mut found[*at].record.tags, row)?;
                }
            }
            for (id, clip) in self.clips_of(&list, &mut known)? {
                if let Some(at) = places.get(&id) {
                    found[*at].clips.push(clip);
                }
            }
        }
        Ok(found)
    }

    /// The clips of plays, given as a list of their ids, in the order they are to stand in a play, with the play's id. One
    /// of a film that was replaced since is left out: its frames mean nothing to the shot now.
    fn clips_of(&self, plays: &str, known: &mut Known) -> rusqlite::Result<Vec<(i64, ClipFound)>> {
        let mut ask = self.db().prepare(&format!(
            "SELECT k.camera, k.film, k.path, k.film_start, k.film_end, k.frames, k.rate_num, k.rate_den, k.bytes,
                    s.set_frame, s.doubt, s.snap, s.snap_time, s.snap_confidence, s.whistle, s.whistle_time,
                    s.whistle_confidence, k.play, k.hash
             FROM clips k JOIN shots s ON s.play = k.play AND s.camera = k.camera AND s.film = k.film
             WHERE k.play IN ({plays})"
        ))?;
        let mut rows = ask.query([])?;
        let mut found: Vec<((u8, i64), i64, ClipFound)> = Vec::new();
        while let Some(r) = rows.next()? {
            let (id, film): (i64, i64) = (r.get(0)?, r.get(1)?);
            let (camera, parts) = known.of(self.db(), id, film)?;
            if camera.film != film {
                continue;
            }
            let span = FrameSpan::of(uint(r.get(3)?), uint(r.get(4)?));
            let rank = match camera.angle {
                Angle::Sideline => 0,
                Angle::EndZone => 1,
                Angle::Unknown => 2,
            };
            let clip = ClipFound {
                camera: camera.name.clone(),
                angle: camera.angle,
                path: r.get::<_, String>(2)?.into(),
                parts: parts
                    .iter()
                    .filter(|p| p.first_frame < span.end.0 && span.start.0 < p.first_frame + p.frames)
                    .map(|p| p.path.clone())
                    .collect(),
                film: camera.fingerprint.clone(),
                span,
                frames: uint(r.get(5)?),
                rate: Rate { num: uint32(r.get(6)?), den: uint32(r.get(7)?) },
                bytes: uint(r.get(8)?),
                hash: r.get(18)?,
                set: frame(r, 9)?,
                doubt: r.get(10)?,
                snap: sighting(r, 11)?,
                whistle: sighting(r, 14)?,
            };
            found.push(((rank, id), r.get(17)?, clip));
        }
        found.sort_by_key(|(rank, ..)| *rank);
        Ok(found.into_iter().map(|(_, play, clip)| (play, clip)).collect())
    }

    /// The words its sheets have used.
    pub fn words_used(&self) -> Result<UsedWords> {
        let ask = || -> rusqlite::Result<UsedWords> {
            let list = |sql: &str| -> rusqlite::Result<Vec<String>> {
                self.db().prepare(sql)?.query_map([], |r| r.get(0))?.collect()
            };
            // The values of a field are taken from the index one by one, each by a step to the next higher: that costs what
            // words there are, not what plays.
            let mut values = self.db().prepare(
                "WITH RECURSIVE w(f) AS (
                     SELECT min(folded) FROM tags WHERE own = 0 AND field = ?1 AND folded > ''
                     UNION ALL
                     SELECT (SELECT min(folded) FROM tags WHERE own = 0 AND field = ?1 AND folded > w.f)
                     FROM w WHERE w.f IS NOT NULL)
                 SELECT (SELECT t.text FROM tags t JOIN plays p ON p.id = t.play
                         WHERE t.own = 0 AND t.field = ?1 AND t.folded = w.f AND t.kind = ?2 AND p.live LIMIT 1)
                 FROM w WHERE w.f IS NOT NULL",
            )?;
            let mut used = |field: Field, kind: &str| -> rusqlite::Result<Vec<String>> {
                let found = values.query_map([field.key(), kind], |r| r.get::<_, Option<String>>(0))?;
                found.filter_map(Result::transpose).collect()
            };
            let mut words = BTreeSet::new();
            for field in Field::ALL.iter().copied().filter(|field| field.kind() == Kind::Word) {
                words.extend(used(field, "word")?.into_iter().map(|word| (field, word)));
            }
            let mut teams: BTreeSet<String> = used(Field::Ball, "text")?.into_iter().collect();
            teams.extend(list(
                "SELECT home FROM games WHERE home IS NOT NULL UNION SELECT away FROM games WHERE away IS NOT NULL",
            )?);
            Ok(UsedWords {
                words: words.into_iter().collect(),
                own: list(
                    "WITH RECURSIVE w(f) AS (
                         SELECT min(field) FROM tags WHERE own = 1
                         UNION ALL
                         SELECT (SELECT min(field) FROM tags WHERE own = 1 AND field > w.f) FROM w WHERE w.f IS NOT NULL)
                     SELECT w.f FROM w WHERE w.f IS NOT NULL AND EXISTS (
                         SELECT 1 FROM tags t JOIN plays p ON p.id = t.play
                         WHERE t.own = 1 AND t.field = w.f AND p.live)",
                )?,
                teams: teams.into_iter().collect(),
                games: list("SELECT name FROM games ORDER BY date IS NULL, date, name")?,
            })
        };
        ask().doing("read the library's words", self.folder())
    }
}
