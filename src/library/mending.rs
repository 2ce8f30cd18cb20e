//! What a person corrects of a play's tags and moments, with what stood before; and taking it back.

use std::path::Path;

use rusqlite::types::Value as Sql;
use rusqlite::{Connection, OptionalExtension, Transaction, params};

use super::Library;
use super::cameras::camera_id;
use super::corrections::lay_over_shots;
use super::games::game_id;
use super::reshape;
use super::sheet_rows::retag;
use super::sql_error::{SqlContext, int, uint};
use super::tag_columns::{Columns, value};
use crate::base::{Error, FrameNo, FrameSpan, Result};
use crate::football::Value;

/// A moment of a play as a camera shows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moment {
    /// The offense stands.
    Set,
    /// The ball moves.
    Snap,
    /// The play is dead.
    Whistle,
}

impl Moment {
    /// As in the schema.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Set => "set",
            Self::Snap => "snap",
            Self::Whistle => "whistle",
        }
    }
}

/// Something a person changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MendFound {
    /// The play's label.
    pub label: String,
    /// What was changed: `down`, `snap sideline`, `row`, `dropped`, `split`.
    pub subject: String,
    /// What stood before, as people read it; `None`: nothing was known.
    pub old: Option<String>,
    /// What stands since.
    pub new: Option<String>,
    /// When, UTC.
    pub made_at: String,
    /// Whether it was taken back.
    pub undone: bool,
}

/// What of a play was changed last.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Newest {
    /// Nothing that stands.
    Nothing,
    /// Which row belongs to it.
    Pin,
    /// A tag or a moment.
    Correction(i64),
    /// Which plays there are.
    Reshape(i64),
}

pub(super) const DOING: &str = "keep the correction";
/// The moment of writing.
pub(super) const NOW: &str = "strftime('%Y-%m-%dT%H:%M:%fZ', 'now')";

impl Library {
    /// Sets a tag of a play whatever its row says, or (`None`) makes it unknown. `own`: one of the staff's own. Gives what
    /// it was.
    ///
    /// # Errors
    /// The game or the play is not there.
    pub fn correct_tag(
        &mut self,
        game: &str,
        label: &str,
        (own, name): (bool, &str),
        new: Option<&Value>,
    ) -> Result<Option<Value>> {
        let folder = self.folder().to_path_buf();
        self.change(DOING, |work| {
            let (game, play) = live_play(work, &folder, game, label)?;
            (|| {
                let old = work
                    .query_row(
                        "SELECT kind, num, text FROM tags WHERE play = ? AND own = ? AND field = ?",
                        params![play, own, name],
                        |r| Ok((r.get::<_, String>(0)?, r.get::<_, Sql>(1)?, r.get::<_, Option<String>>(2)?)),
                    )
                    .optional()?;
                let new = new.map(Columns::of);
                let (old_kind, old_num, old_text) = old.clone().map_or((None, Sql::Null, None), |o| (Some(o.0), o.1, o.2));
                work.execute(
                    &format!(
                        "INSERT INTO corrections (play, subject, name, kind, num, text, old_kind, old_num, old_text, made_at)
                         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, {NOW})"
                    ),
                    params![
                        play,
                        if own { "own" } else { "tag" },
                        name,
                        new.as_ref().map(|n| n.kind),
                        new.as_ref().map_or(Sql::Null, |n| n.num.clone()),
                        new.as_ref().and_then(|n| n.text.clone()),
                        old_kind,
                        old_num,
                        old_text
                    ],
                )?;
                retag(work, game)?;
                Ok(old.and_then(|(kind, num, text)| value(&kind, (&num).into(), text)))
            })()
            .doing(DOING, &folder)
        })
    }

    /// Sets a moment of a play in one camera's film, or (`None`) says that it is not seen. Gives the frame it was.
    ///
    /// # Errors
    /// The game, play or camera is not there; the camera does not show the play; the frame lies outside what it shows.
    pub fn correct_moment(
        &mut self,
        game: &str,
        (label, camera): (&str, &str),
        moment: Moment,
        to: Option<(FrameNo, f64)>,
    ) -> Result<Option<FrameNo>> {
        let folder = self.folder().to_path_buf();
        self.change(DOING, |work| {
            let (game_row, play) = live_play(work, &folder, game, label)?;
            let (camera_row, film) = camera_id(work, &folder, game_row, camera)?;
            let word = moment.as_str();
            let columns = match moment {
                Moment::Set => "set_frame, NULL, NULL",
                Moment::Snap => "snap, snap_time, snap_confidence",
                Moment::Whistle => "whistle, whistle_time, whistle_confidence",
            };
            type Before = (Option<i64>, Option<f64>, Option<f64>);
            let found: Option<(FrameSpan, Before)> = work
                .query_row(
                    &format!(
                        "SELECT film_start, film_end, {columns} FROM shots WHERE play = ? AND camera = ? AND film = ?"
                    ),
                    params![play, camera_row, film],
                    |r| {
                        let span = FrameSpan::of(uint(r.get(0)?), uint(r.get(1)?));
                        Ok((span, (r.get(2)?, r.get(3)?, r.get(4)?)))
                    },
                )
                .optional()
                .doing(DOING, &folder)?;
            let Some((span, (old, old_time, old_confidence))) = found else {
                let next = "name a camera that shows it with --camera";
                return Err(Error::refused(format!("the {camera} camera does not show play {label}"), game, next));
            };
            if let Some((frame, _)) = to
                && !span.holds(frame)
            {
                let what = format!(
                    "frame {frame} lies outside play {label}, which is frames {} to {} of the {camera} film",
                    span.start,
                    span.end.0 - 1
                );
                return Err(Error::refused(
                    what,
                    game,
                    "give a time within the play, such as +4.6 from its clip's start",
                ));
            }
            (|| {
                work.execute(
                    &format!(
                        "INSERT INTO corrections (play, subject, camera, film, num, time, old_num, old_time,
                                                  old_confidence, made_at)
                         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, {NOW})"
                    ),
                    params![
                        play,
                        word,
                        camera_row,
                        film,
                        to.map(|(frame, _)| int(frame.0)),
                        to.map(|(_, time)| time),
                        old,
                        old_time,
                        old_confidence
                    ],
                )?;
                lay_over_shots(work, game_row)
            })()
            .doing(DOING, &folder)?;
            Ok(old.map(|frame| FrameNo(uint(frame))))
        })
    }

    /// What of a play was changed last and still stands.
    pub fn newest_mend(&self, game: &str, label: &str) -> Result<Newest> {
        let game = game_id(self.db(), self.folder(), game)?;
        let play = any_play(self.db(), self.folder(), game, label)?;
        let found = self
            .db()
            .query_row(
                "SELECT 'pin', id, made_at FROM pins WHERE play = ?1 AND NOT undone
                 UNION ALL SELECT 'correction', id, made_at FROM corrections WHERE play = ?1 AND NOT undone
                 UNION ALL SELECT 'reshape', id, made_at FROM reshapes WHERE (play = ?1 OR other = ?1) AND NOT undone
                 ORDER BY 3 DESC, 2 DESC LIMIT 1",
                [play],
                |r| Ok((r.get::<_, String>(0)?, r.get(1)?)),
            )
            .optional()
            .doing("read what was corrected", self.folder())?;
        Ok(match found {
            None => Newest::Nothing,
            Some((kind, _)) if kind == "pin" => Newest::Pin,
            Some((kind, id)) if kind == "correction" => Newest::Correction(id),
            Some((_, id)) => Newest::Reshape(id),
        })
    }

    /// Takes a correction of a tag or a moment back: what stands is the correction before it, else what film and sheet
    /// say.
    pub fn undo_correction(&mut self, id: i64) -> Result<()> {
        let folder = self.folder().to_path_buf();
        self.change(DOING, |work| {
            (|| {
                work.execute("UPDATE corrections SET undone = 1 WHERE id = ?", [id])?;
                let (game, subject): (i64, String) = work.query_row(
                    "SELECT p.game, c.subject FROM corrections c JOIN plays p ON p.id = c.play WHERE c.id = ?",
                    [id],
                    |r| Ok((r.get(0)?, r.get(1)?)),
                )?;
                let columns = match subject.as_str() {
                    "tag" | "own" => return retag(work, game),
                    "set" => "set_frame = c.old_num",
                    "snap" => "snap = c.old_num, snap_time = c.old_time, snap_confidence = c.old_confidence",
                    _ => "whistle = c.old_num, whistle_time = c.old_time, whistle_confidence = c.old_confidence",
                };
                work.execute(
                    &format!(
                        "UPDATE shots SET {columns} FROM (SELECT * FROM corrections WHERE id = ?) c
                         WHERE shots.play = c.play AND shots.camera = c.camera AND shots.film = c.film"
                    ),
                    [id],
                )?;
                lay_over_shots(work, game)
            })()
            .doing(DOING, &folder)
        })
    }

    /// All that a person changed of a game's plays, oldest first, or of one of them.
    pub fn mends(&self, game: &str, label: Option<&str>) -> Result<Vec<MendFound>> {
        let game = game_id(self.db(), self.folder(), game)?;
        let play = label.map(|label| any_play(self.db(), self.folder(), game, label)).transpose()?;
        (|| {
            let mut found = corrected(self.db(), game, play)?;
            found.extend(pinned(self.db(), game, play)?);
            found.extend(reshape::told(self.db(), game, play)?);
            found.sort_by(|a, b| a.made_at.cmp(&b.made_at));
            Ok(found)
        })()
        .doing("read what was corrected", self.folder())
    }
}

fn corrected(db: &Connection, game: i64, play: Option<i64>) -> rusqlite::Result<Vec<MendFound>> {
    let mut ask = db.prepare(
        "SELECT p.label, c.subject, c.name, a.name, c.kind, c.num, c.text, c.time, c.old_kind, c.old_num, c.old_text,
                c.old_time, c.made_at, c.undone
         FROM corrections c JOIN plays p ON p.id = c.play LEFT JOIN cameras a ON a.id = c.camera
         WHERE p.game = ?1 AND (?2 IS NULL OR c.play = ?2) ORDER BY c.id",
    )?;
    let found = ask.query_map(params![game, play], |r| {
        let (subject, name): (String, String) = (r.get(1)?, r.get(2)?);
        let camera: Option<String> = r.get(3)?;
        let tag = |at: usize| -> rusqlite::Result<Option<String>> {
            let Some(kind) = r.get::<_, Option<String>>(at)? else { return Ok(None) };
            Ok(value(&kind, r.get_ref(at + 1)?, r.get(at + 2)?).map(|value| value.to_string()))
        };
        let moment = |frame: usize, time: usize| -> rusqlite::Result<Option<String>> {
            let seconds = r.get::<_, Option<f64>>(time)?.map(|s| format!(" ({s:.2} s)")).unwrap_or_default();
            Ok(r.get::<_, Option<i64>>(frame)?.map(|frame| format!("frame {frame}{seconds}")))
        };
        let (old, new, subject) = match camera {
            None => (tag(8)?, tag(4)?, name),
            Some(camera) => (moment(9, 11)?, moment(5, 7)?, format!("{subject} {camera}")),
        };
        Ok(MendFound { label: r.get(0)?, subject, old, new, made_at: r.get(12)?, undone: r.get(13)? })
    })?;
    found.collect()
}

fn pinned(db: &Connection, game: i64, play: Option<i64>) -> rusqlite::Result<Vec<MendFound>> {
    let mut ask = db.prepare(
        "SELECT p.label, n.old_place, n.place, n.made_at, n.undone FROM pins n JOIN plays p ON p.id = n.play
         WHERE n.game = ?1 AND (?2 IS NULL OR n.play = ?2) ORDER BY n.id",
    )?;
    let found = ask.query_map(params![game, play], |r| {
        let subject = "row".to_string();
        Ok(MendFound {
            label: r.get(0)?,
            subject,
            old: r.get(1)?,
            new: r.get(2)?,
            made_at: r.get(3)?,
            undone: r.get(4)?,
        })
    })?;
    found.collect()
}

/// A game and a play of it that is in the answers.
pub(super) fn live_play(work: &Transaction<'_>, library: &Path, game: &str, label: &str) -> Result<(i64, i64)> {
    let id = game_id(work, library, game)?;
    let found = work
        .query_row("SELECT id, live FROM plays WHERE game = ? AND label = ?", params![id, label], |r| {
            Ok((r.get(0)?, r.get(1)?))
        })
        .optional()
        .doing(DOING, library)?;
    match found {
        Some((play, true)) => Ok((id, play)),
        Some((_, false)) => {
            let next = format!("see what was done to it with: downbox mend {label} --history");
            Err(Error::refused(format!("play {label} of {game} is in no answer any more"), library.display(), next))
        }
        None => Err(no_play(game, label, library)),
    }
}

fn any_play(db: &Connection, library: &Path, game: i64, label: &str) -> Result<i64> {
    db.query_row("SELECT id FROM plays WHERE game = ? AND label = ?", params![game, label], |r| r.get(0))
        .optional()
        .doing("look for the play", library)?
        .ok_or_else(|| no_play("the game", label, library))
}

fn no_play(game: &str, label: &str, library: &Path) -> Error {
    Error::refused(format!("{game} has no play {label}"), library.display(), "see its plays with: downbox plays")
}
