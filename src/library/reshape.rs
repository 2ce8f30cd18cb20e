//! Which plays there are, as a person says: dropped, added, split, joined, paired anew. A reshape outlives every look at
//! the film: those that stand are laid over the plays found, in the order they were made.

use std::collections::HashSet;

use rusqlite::{Connection, OptionalExtension, Row, params};

use super::Library;
use super::cameras::camera_id;
use super::check::renumber;
use super::corrections::lay_over_shots;
use super::games::game_id;
use super::labels::label_all;
use super::mending::{DOING, MendFound, NOW, live_play};
use super::sql_error::{SqlContext, int, uint};
use crate::base::{Error, FrameSpan, Result};

/// A camera and the frames of its film that a play is to have.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stretch {
    /// The camera.
    pub camera: String,
    /// The frames.
    pub span: FrameSpan,
}

/// A moment: frame, film time in seconds, how sure.
type At = (Option<i64>, Option<f64>, Option<f64>);

/// A row of shots or reshape_shots.
#[derive(Debug, Clone, PartialEq)]
struct Shot {
    play: i64,
    camera: i64,
    film: i64,
    span: FrameSpan,
    set: Option<i64>,
    snap: At,
    whistle: At,
    found_by: String,
    doubt: Option<String>,
}

const COLUMNS: &str = "play, camera, film, film_start, film_end, set_frame, snap, snap_time, snap_confidence, whistle, \
                       whistle_time, whistle_confidence, found_by, doubt";

impl Shot {
    fn read(r: &Row<'_>) -> rusqlite::Result<Self> {
        Ok(Self {
            play: r.get(0)?,
            camera: r.get(1)?,
            film: r.get(2)?,
            span: FrameSpan::of(uint(r.get(3)?), uint(r.get(4)?)),
            set: r.get(5)?,
            snap: (r.get(6)?, r.get(7)?, r.get(8)?),
            whistle: (r.get(9)?, r.get(10)?, r.get(11)?),
            found_by: r.get(12)?,
            doubt: r.get(13)?,
        })
    }

    /// A shot of which nothing but its frames is known.
    fn bare(play: i64, camera: i64, film: i64, span: FrameSpan) -> Self {
        let none = (None, None, None);
        Self { play, camera, film, span, set: None, snap: none, whistle: none, found_by: "none".into(), doubt: None }
    }

    fn write(&self, work: &Connection, table: &str) -> rusqlite::Result<()> {
        work.prepare_cached(&format!(
            "INSERT OR REPLACE INTO {table} ({COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
        ))?
        .execute(params![
            self.play,
            self.camera,
            self.film,
            int(self.span.start.0),
            int(self.span.end.0),
            self.set,
            self.snap.0,
            self.snap.1,
            self.snap.2,
            self.whistle.0,
            self.whistle.1,
            self.whistle.2,
            self.found_by,
            self.doubt
        ])?;
        Ok(())
    }

    fn keep(&self, work: &Connection, reshape: i64, after: bool) -> rusqlite::Result<()> {
        work.prepare_cached(&format!(
            "INSERT INTO reshape_shots (reshape, after, {COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
        ))?
        .execute(params![
            reshape,
            after,
            self.play,
            self.camera,
            self.film,
            int(self.span.start.0),
            int(self.span.end.0),
            self.set,
            self.snap.0,
            self.snap.1,
            self.snap.2,
            self.whistle.0,
            self.whistle.1,
            self.whistle.2,
            self.found_by,
            self.doubt
        ])?;
        Ok(())
    }

    /// These frames with the moments that those found show in them: of the shots of this film that lie in them.
    fn with_moments_of(&self, found: &[Self]) -> Self {
        let common =
            |s: &&Self| s.span.end.0.min(self.span.end.0).saturating_sub(s.span.start.0.max(self.span.start.0));
        let mut all: Vec<&Self> =
            found.iter().filter(|s| s.camera == self.camera && s.film == self.film && common(s) > 0).collect();
        // Of two plays joined the first begins and the last ends.
        all.sort_by_key(|s| s.span.start);
        let inside = |frame: Option<i64>| frame.is_some_and(|f| self.span.holds(crate::base::FrameNo(uint(f))));
        let mut shot = self.clone();
        let pick = |get: &dyn Fn(&Self) -> At| all.iter().map(|s| get(s)).find(|m| inside(m.0)).unwrap_or_default();
        shot.snap = pick(&|s| s.snap);
        shot.set = pick(&|s| (s.set, None, None)).0;
        all.sort_by_key(|s| std::cmp::Reverse(s.span.end.0));
        shot.whistle = all.iter().map(|s| s.whistle).find(|m| inside(m.0)).unwrap_or_default();
        all.sort_by_key(|s| std::cmp::Reverse(common(s)));
        if let Some(most) = all.first() {
            shot.found_by.clone_from(&most.found_by);
        }
        shot
    }
}

impl Library {
    /// A play that is none: it is in no answer any more, whatever a later look finds; its clips stay on the disk.
    ///
    /// # Errors
    /// The game or the play is not there.
    pub fn drop_play(&mut self, game: &str, label: &str) -> Result<()> {
        let folder = self.folder().to_path_buf();
        self.change(DOING, |work| {
            let (game, play) = live_play(work, &folder, game, label)?;
            (|| {
                let id = begin(work, game, "drop", play, None)?;
                apply(work, id)?;
                settle(work, game)
            })()
            .doing(DOING, &folder)
        })
    }

    /// A play that was missed: gives its label.
    ///
    /// # Errors
    /// The game or a camera is not there; a stretch is empty; no stretch is given.
    pub fn add_play(&mut self, game: &str, stretches: &[Stretch]) -> Result<String> {
        let folder = self.folder().to_path_buf();
        self.change(DOING, |work| {
            let name = game;
            let game = game_id(work, &folder, game)?;
            let mut shots = Vec::new();
            for stretch in stretches {
                let (camera, film) = camera_id(work, &folder, game, &stretch.camera)?;
                shots.push((camera, film, stretch.span));
            }
            if shots.is_empty() || shots.iter().any(|(.., span)| span.is_empty()) {
                return Err(Error::refused("no film is named that the play lies in", name, "give --from and --to"));
            }
            (|| {
                let (play, label) = new_play(work, game, shots[0])?;
                let id = begin(work, game, "add", play, None)?;
                for (camera, film, span) in shots {
                    Shot::bare(play, camera, film, span).keep(work, id, true)?;
                }
                apply(work, id)?;
                settle(work, game)?;
                Ok(label)
            })()
            .doing(DOING, &folder)
        })
    }

    /// Splits a play in two: in each camera named here the second one begins at that frame; what another camera shows stays
    /// the first one's. Gives the second one's label.
    ///
    /// # Errors
    /// The game or the play is not there; a camera does not show it; a frame leaves nothing of one of the two.
    pub fn split_play(&mut self, game: &str, label: &str, at: &[(String, u64)]) -> Result<String> {
        let folder = self.folder().to_path_buf();
        self.change(DOING, |work| {
            let name = game;
            let (game, play) = live_play(work, &folder, game, label)?;
            let old = shots_of(work, &[play]).doing(DOING, &folder)?;
            let mut after = Vec::new();
            let mut second = Vec::new();
            let mut cut = HashSet::new();
            for (camera_name, frame) in at {
                let (camera, film) = camera_id(work, &folder, game, camera_name)?;
                let Some(shot) = old.iter().find(|s| s.camera == camera && s.film == film) else {
                    let what = format!("the {camera_name} camera does not show play {label}");
                    return Err(Error::refused(what, name, "name one that does with --camera"));
                };
                if *frame <= shot.span.start.0 || *frame >= shot.span.end.0 {
                    let what = format!(
                        "frame {frame} does not lie within play {label}, which is frames {} to {} of the \
                        {camera_name} film",
                        shot.span.start,
                        shot.span.end.0 - 1
                    );
                    return Err(Error::refused(
                        what,
                        name,
                        "give a time within the play, such as +4.6 from its clip's start",
                    ));
                }
                cut.insert(camera);
                after.push(Shot::bare(play, camera, film, FrameSpan::of(shot.span.start.0, *frame)));
                second.push((camera, film, FrameSpan::of(*frame, shot.span.end.0)));
            }
            let Some(first) = second.first().copied() else {
                return Err(Error::refused("it is not said where to split", name, "give --split-at TIME"));
            };
            (|| {
                let (other, new) = new_play(work, game, first)?;
                let id = begin(work, game, "split", play, Some(other))?;
                for shot in &old {
                    shot.keep(work, id, false)?;
                    if !cut.contains(&shot.camera) {
                        shot.keep(work, id, true)?;
                    }
                }
                for shot in after {
                    shot.keep(work, id, true)?;
                }
                for (camera, film, span) in second {
                    Shot::bare(other, camera, film, span).keep(work, id, true)?;
                }
                apply(work, id)?;
                settle(work, game)?;
                Ok(new)
            })()
            .doing(DOING, &folder)
        })
    }

    /// Joins a play with the one beside it: the first has the film of both, from where the first begins to where the second
    /// ends; the second is in no answer any more.
    ///
    /// # Errors
    /// The game or a play is not there; no camera shows both; another play lies between.
    pub fn join_plays(&mut self, game: &str, label: &str, with: &str) -> Result<()> {
        let folder = self.folder().to_path_buf();
        self.change(DOING, |work| {
            let name = game;
            let (game, play) = live_play(work, &folder, game, label)?;
            let (_, other) = live_play(work, &folder, name, with)?;
            let position = |play: i64| -> rusqlite::Result<i64> {
                work.query_row("SELECT position FROM plays WHERE id = ?", [play], |r| r.get(0))
            };
            let (a, b) = (position(play).doing(DOING, &folder)?, position(other).doing(DOING, &folder)?);
            if b != a + 1 {
                let next = "name the play and the one right after it, as downbox plays lists them";
                return Err(Error::refused(format!("play {with} does not come right after play {label}"), name, next));
            }
            let old = shots_of(work, &[play, other]).doing(DOING, &folder)?;
            let mut joined: Vec<Shot> = Vec::new();
            for shot in &old {
                match joined.iter_mut().find(|j| j.camera == shot.camera && j.film == shot.film) {
                    Some(both) => {
                        let (start, end) = (both.span.start.min(shot.span.start), both.span.end.max(shot.span.end));
                        both.span = FrameSpan { start, end };
                    }
                    None => joined.push(Shot::bare(play, shot.camera, shot.film, shot.span)),
                }
            }
            (|| {
                let id = begin(work, game, "join", play, Some(other))?;
                for shot in &old {
                    shot.keep(work, id, false)?;
                }
                for shot in joined {
                    shot.keep(work, id, true)?;
                }
                apply(work, id)?;
                settle(work, game)
            })()
            .doing(DOING, &folder)
        })
    }

    /// Takes a reshape back.
    ///
    /// # Errors
    /// One made later builds on it.
    pub fn undo_reshape(&mut self, id: i64) -> Result<()> {
        let folder = self.folder().to_path_buf();
        self.change(DOING, |work| {
            let later: Option<String> = work
                .query_row(
                    "SELECT p.label FROM reshapes r JOIN reshapes n ON n.id > r.id AND NOT n.undone
                       AND (n.play IN (r.play, r.other) OR n.other IN (r.play, r.other))
                     JOIN plays p ON p.id = n.play WHERE r.id = ?",
                    [id],
                    |r| r.get(0),
                )
                .optional()
                .doing(DOING, &folder)?;
            if let Some(label) = later {
                let next = format!("take that back first with: downbox mend {label} --undo");
                return Err(Error::refused(format!("play {label} was changed after that"), folder.display(), next));
            }
            (|| {
                work.execute("UPDATE reshapes SET undone = 1 WHERE id = ?", [id])?;
                let (game, kind, play, other) = reshape(work, id)?;
                let before = kept_shots(work, id, false)?;
                if !before.is_empty() {
                    replace_shots(work, &[Some(play), other], &before)?;
                }
                live(work, play, kind != "add")?;
                if let Some(other) = other {
                    live(work, other, kind != "split")?;
                }
                settle(work, game)
            })()
            .doing(DOING, &folder)
        })
    }
}

/// Lays a game's standing reshapes over the plays as found.
pub(super) fn lay_over_plays(work: &Connection, game: i64) -> rusqlite::Result<()> {
    let mut ask = work.prepare("SELECT id FROM reshapes WHERE game = ? AND NOT undone ORDER BY id")?;
    let ids: Vec<i64> = ask.query_map([game], |r| r.get(0))?.collect::<rusqlite::Result<_>>()?;
    for id in &ids {
        apply(work, *id)?;
    }
    if ids.is_empty() { Ok(()) } else { renumber(work, game) }
}

/// What a person did to which plays there are, in words.
pub(super) fn told(db: &Connection, game: i64, play: Option<i64>) -> rusqlite::Result<Vec<MendFound>> {
    let mut ask = db.prepare(
        "SELECT p.label, r.kind, o.label, r.made_at, r.undone FROM reshapes r JOIN plays p ON p.id = r.play
         LEFT JOIN plays o ON o.id = r.other
         WHERE r.game = ?1 AND (?2 IS NULL OR r.play = ?2 OR r.other = ?2) ORDER BY r.id",
    )?;
    let found = ask.query_map(params![game, play], |r| {
        let (kind, other): (String, Option<String>) = (r.get(1)?, r.get(2)?);
        let (subject, new) = match kind.as_str() {
            "drop" => ("dropped", None),
            "add" => ("added", None),
            "split" => ("split", other.map(|o| format!("and play {o}"))),
            "join" => ("joined", other.map(|o| format!("with play {o}"))),
            _ => ("paired", other.map(|o| format!("with play {o}'s"))),
        };
        let subject = subject.to_string();
        Ok(MendFound { label: r.get(0)?, subject, old: None, new, made_at: r.get(3)?, undone: r.get(4)? })
    })?;
    found.collect()
}

fn begin(work: &Connection, game: i64, kind: &str, play: i64, other: Option<i64>) -> rusqlite::Result<i64> {
    work.execute(
        &format!("INSERT INTO reshapes (game, kind, play, other, made_at) VALUES (?, ?, ?, ?, {NOW})"),
        params![game, kind, play, other],
    )?;
    Ok(work.last_insert_rowid())
}

fn reshape(work: &Connection, id: i64) -> rusqlite::Result<(i64, String, i64, Option<i64>)> {
    work.query_row("SELECT game, kind, play, other FROM reshapes WHERE id = ?", [id], |r| {
        Ok((r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?))
    })
}

/// Makes the plays of one reshape as it says.
fn apply(work: &Connection, id: i64) -> rusqlite::Result<()> {
    let (_, kind, play, other) = reshape(work, id)?;
    let wanted = kept_shots(work, id, true)?;
    // A camera whose film was replaced since shows other frames: the reshape says nothing of it.
    let mut films = work.prepare_cached("SELECT film FROM cameras WHERE id = ?")?;
    let mut now = Vec::new();
    for shot in wanted {
        if films.query_row([shot.camera], |r| r.get::<_, i64>(0))? == shot.film {
            now.push(shot);
        }
    }
    if !now.is_empty() {
        let plays: Vec<i64> = [Some(play), other].into_iter().flatten().collect();
        let found = shots_of(work, &plays)?;
        let shots: Vec<Shot> = now.iter().map(|shot| shot.with_moments_of(&found)).collect();
        replace_shots(work, &[Some(play), other], &shots)?;
    }
    live(work, play, kind != "drop")?;
    if let Some(other) = other {
        live(work, other, kind != "join")?;
    }
    Ok(())
}

fn shots_of(work: &Connection, plays: &[i64]) -> rusqlite::Result<Vec<Shot>> {
    let mut ask = work.prepare_cached(&format!("SELECT {COLUMNS} FROM shots WHERE play = ? ORDER BY camera"))?;
    let mut all = Vec::new();
    for play in plays {
        all.extend(ask.query_map([play], Shot::read)?.collect::<rusqlite::Result<Vec<_>>>()?);
    }
    Ok(all)
}

fn kept_shots(work: &Connection, id: i64, after: bool) -> rusqlite::Result<Vec<Shot>> {
    let sql = format!("SELECT {COLUMNS} FROM reshape_shots WHERE reshape = ? AND after = ? ORDER BY play, camera");
    work.prepare_cached(&sql)?.query_map(params![id, after], Shot::read)?.collect()
}

/// Puts shots in place of those that the cameras named in them showed of these plays. A play that has none of them keeps
/// what it had: it is out of the answers then.
fn replace_shots(work: &Connection, plays: &[Option<i64>], shots: &[Shot]) -> rusqlite::Result<()> {
    let named: HashSet<i64> = shots.iter().map(|s| s.play).collect();
    for play in plays.iter().flatten().filter(|play| named.contains(play)) {
        for camera in shots.iter().map(|s| s.camera).collect::<HashSet<_>>() {
            if !shots.iter().any(|s| s.play == *play && s.camera == camera) {
                work.execute("DELETE FROM clips WHERE play = ? AND camera = ?", [*play, camera])?;
                work.execute("DELETE FROM shots WHERE play = ? AND camera = ?", [*play, camera])?;
            }
        }
    }
    shots.iter().try_for_each(|shot| shot.write(work, "shots"))
}

/// Takes a play into the answers, in its place by the film, or out of them.
fn live(work: &Connection, play: i64, on: bool) -> rusqlite::Result<()> {
    let is: bool = work.query_row("SELECT live FROM plays WHERE id = ?", [play], |r| r.get(0))?;
    if is == on {
        return Ok(());
    }
    if !on {
        work.execute("UPDATE plays SET live = 0, position = NULL WHERE id = ?", [play])?;
        return Ok(());
    }
    let shots: Vec<_> = shots_of(work, &[play])?.iter().map(|s| (s.camera, s.film, s.span)).collect();
    let game: i64 = work.query_row("SELECT game FROM plays WHERE id = ?", [play], |r| r.get(0))?;
    let place = place_of(work, game, &shots)?;
    work.execute("UPDATE plays SET position = position + 1 WHERE game = ? AND position >= ?", [game, place])?;
    work.execute("UPDATE plays SET live = 1, position = ? WHERE id = ?", [place, play])?;
    Ok(())
}

/// Where a play comes among the live ones: behind the last one that one of its cameras shows earlier.
fn place_of(work: &Connection, game: i64, shots: &[(i64, i64, FrameSpan)]) -> rusqlite::Result<i64> {
    let mut ask = work.prepare_cached(
        "SELECT max(CASE WHEN s.film_start < ?4 THEN p.position ELSE 0 END) FROM shots s JOIN plays p ON p.id = s.play
         WHERE p.game = ?1 AND p.live AND s.camera = ?2 AND s.film = ?3",
    )?;
    for (camera, film, span) in shots {
        let before: Option<i64> = ask.query_row(params![game, camera, film, int(span.start.0)], |r| r.get(0))?;
        if let Some(before) = before {
            return Ok(before + 1);
        }
    }
    work.query_row("SELECT coalesce(max(position), 0) + 1 FROM plays WHERE game = ?", [game], |r| r.get(0))
}

/// A play that was not there before, out of the answers yet: its id and label.
fn new_play(work: &Connection, game: i64, shot: (i64, i64, FrameSpan)) -> rusqlite::Result<(i64, String)> {
    let place = place_of(work, game, &[shot])?;
    let mut ask = work.prepare("SELECT label FROM plays WHERE game = ? AND live ORDER BY position")?;
    let mut order: Vec<Option<String>> =
        ask.query_map([game], |r| r.get(0).map(Some))?.collect::<rusqlite::Result<_>>()?;
    let mut ask = work.prepare("SELECT label FROM plays WHERE game = ?")?;
    let ever = ask.query_map([game], |r| r.get(0))?.collect::<rusqlite::Result<HashSet<String>>>()?;
    let at = usize::try_from(place - 1).unwrap_or(0).min(order.len());
    order.insert(at, None);
    let label = label_all(&order, &ever).swap_remove(at);
    work.execute("INSERT INTO plays (game, label, position, live) VALUES (?, ?, NULL, 0)", params![game, label])?;
    Ok((work.last_insert_rowid(), label))
}

/// Counts the plays anew and lays the corrected moments over.
fn settle(work: &Connection, game: i64) -> rusqlite::Result<()> {
    renumber(work, game)?;
    lay_over_shots(work, game)
}
