//! Which plays there are, as a person says: dropped, added, split, joined, paired anew. A reshape outlives every look at
//! the film: those that stand are laid over the plays found, in the order they were made.

use std::collections::HashSet;

use rusqlite::{Connection, OptionalExtension, params};

use super::Library;
use super::cameras::camera_id;
use super::check::renumber;
use super::corrections::lay_over_shots;
use super::games::game_id;
use super::labels::label_all;
use super::mending::{DOING, MendFound, NOW, live_play};
use super::shot_rows::{Shot, kept_shots, replace_shots, shots_of};
use super::sql_error::{SqlContext, int};
use crate::base::{Error, FrameSpan, Result};

/// A camera and the frames of its film that a play is to have.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stretch {
    /// The camera.
    pub camera: String,
    /// The frames.
    pub span: FrameSpan,
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
            reshaped(work, game, "drop", (play, None), &[], &[]).doing(DOING, &folder)
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
                let (play, label) = new_play(work, game, place_of(work, game, &shots)?)?;
                let after: Vec<Shot> =
                    shots.into_iter().map(|(camera, film, span)| Shot::bare(play, camera, film, span)).collect();
                reshaped(work, game, "add", (play, None), &[], &after)?;
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
                let (other, new) = new_play(work, game, place_of(work, game, &[first])?)?;
                after.extend(old.iter().filter(|shot| !cut.contains(&shot.camera)).cloned());
                after.extend(second.into_iter().map(|(camera, film, span)| Shot::bare(other, camera, film, span)));
                reshaped(work, game, "split", (play, Some(other)), &old, &after)?;
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
            let (a, b) =
                (position_of(work, play).doing(DOING, &folder)?, position_of(work, other).doing(DOING, &folder)?);
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
            reshaped(work, game, "join", (play, Some(other)), &old, &joined).doing(DOING, &folder)
        })
    }

    /// Two plays exchange what a camera shows of them; where one has nothing of it, it is moved.
    ///
    /// # Errors
    /// The game, a play or the camera is not there; the camera shows neither; one of them would be shown by none.
    pub fn pair_plays(&mut self, game: &str, (label, with): (&str, &str), camera: &str) -> Result<()> {
        let folder = self.folder().to_path_buf();
        self.change(DOING, |work| {
            let name = game;
            let (game, play) = live_play(work, &folder, game, label)?;
            let (_, other) = live_play(work, &folder, name, with)?;
            let (camera_row, film) = camera_id(work, &folder, game, camera)?;
            let old = shots_of(work, &[play, other]).doing(DOING, &folder)?;
            let theirs = |shot: &Shot| shot.camera == camera_row && shot.film == film;
            if play == other || !old.iter().any(theirs) {
                let next = "name two plays, and a camera that shows one of them";
                return Err(Error::refused(
                    format!("there is nothing of the {camera} camera that plays {label} and {with} could exchange"),
                    name,
                    next,
                ));
            }
            let exchanged = |shot: &Shot| match (theirs(shot), shot.play == play) {
                (false, _) => shot.play,
                (true, true) => other,
                (true, false) => play,
            };
            let after: Vec<Shot> = old.iter().map(|s| Shot::bare(exchanged(s), s.camera, s.film, s.span)).collect();
            for (id, label, with) in [(play, label, with), (other, with, label)] {
                if !after.iter().any(|shot| shot.play == id) {
                    let next =
                        format!("if play {label} and play {with} are one, use: downbox mend {with} --join {label}");
                    return Err(Error::refused(format!("nothing would be left of play {label}"), name, next));
                }
            }
            reshaped(work, game, "pair", (play, Some(other)), &old, &after).doing(DOING, &folder)
        })
    }

    /// What a camera shows of a play is another play: it gets a label of its own, which is given back.
    ///
    /// # Errors
    /// The game, the play or the camera is not there; the camera does not show the play, or it alone does.
    pub fn take_apart(&mut self, game: &str, label: &str, camera: &str) -> Result<String> {
        let folder = self.folder().to_path_buf();
        self.change(DOING, |work| {
            let name = game;
            let (game, play) = live_play(work, &folder, game, label)?;
            let (camera_row, film) = camera_id(work, &folder, game, camera)?;
            let old = shots_of(work, &[play]).doing(DOING, &folder)?;
            let theirs = old.iter().filter(|s| s.camera == camera_row && s.film == film).count();
            if theirs == 0 || theirs == old.len() {
                let why = if theirs == 0 { "does not show it" } else { "alone shows it" };
                let next = "see what shows it with: downbox plays --json";
                return Err(Error::refused(
                    format!("play {label} is not taken apart: the {camera} camera {why}"),
                    name,
                    next,
                ));
            };
            (|| {
                let (other, new) = new_play(work, game, position_of(work, play)? + 1)?;
                let of = |s: &Shot| if s.camera == camera_row { other } else { play };
                let after: Vec<Shot> = old.iter().map(|s| Shot::bare(of(s), s.camera, s.film, s.span)).collect();
                reshaped(work, game, "apart", (play, Some(other)), &old, &after)?;
                Ok(new)
            })()
            .doing(DOING, &folder)
        })
    }

    /// What a camera shows of a play is these frames of its film.
    ///
    /// # Errors
    /// The game, the play or the camera is not there; the stretch is empty.
    pub fn stretch_play(&mut self, game: &str, label: &str, to: &Stretch) -> Result<()> {
        let folder = self.folder().to_path_buf();
        self.change(DOING, |work| {
            let name = game;
            let (game, play) = live_play(work, &folder, game, label)?;
            let (camera, film) = camera_id(work, &folder, game, &to.camera)?;
            if to.span.is_empty() {
                let next = "give a --to that lies behind --from";
                return Err(Error::refused(format!("nothing would be left of play {label}"), name, next));
            }
            let old = shots_of(work, &[play]).doing(DOING, &folder)?;
            let mut after: Vec<Shot> = old.iter().filter(|s| s.camera != camera).cloned().collect();
            after.push(Shot::bare(play, camera, film, to.span));
            reshaped(work, game, "extent", (play, None), &old, &after).doing(DOING, &folder)
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
                let cameras = before.iter().chain(&kept_shots(work, id, true)?).map(|s| s.camera).collect();
                replace_shots(work, &both(play, other), &cameras, &before)?;
                live(work, play, kind != "add", None)?;
                if let Some(other) = other {
                    live(work, other, !matches!(kind.as_str(), "split" | "apart"), None)?;
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
            "extent" => ("other frames", None),
            "apart" => ("a camera taken out", other.map(|o| format!("play {o} of its own"))),
            _ => ("a camera exchanged", other.map(|o| format!("with play {o}"))),
        };
        let subject = subject.to_string();
        Ok(MendFound { label: r.get(0)?, subject, old: None, new, made_at: r.get(3)?, undone: r.get(4)? })
    })?;
    found.collect()
}

/// Notes a reshape with its plays' shots before and after, and makes it.
fn reshaped(
    work: &Connection,
    game: i64,
    kind: &str,
    (play, other): (i64, Option<i64>),
    before: &[Shot],
    after: &[Shot],
) -> rusqlite::Result<()> {
    let id = begin(work, game, kind, play, other)?;
    before.iter().try_for_each(|shot| shot.keep(work, id, false))?;
    after.iter().try_for_each(|shot| shot.keep(work, id, true))?;
    apply(work, id)?;
    settle(work, game)
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

fn both(play: i64, other: Option<i64>) -> Vec<i64> {
    [Some(play), other].into_iter().flatten().collect()
}

/// Makes the plays of one reshape as it says.
fn apply(work: &Connection, id: i64) -> rusqlite::Result<()> {
    let (_, kind, play, other) = reshape(work, id)?;
    // A camera whose film was replaced since shows other frames: the reshape says nothing of it.
    let mut films = work.prepare_cached("SELECT film FROM cameras WHERE id = ?")?;
    let mut present = |after| -> rusqlite::Result<Vec<Shot>> {
        let mut shots = Vec::new();
        for shot in kept_shots(work, id, after)? {
            if films.query_row([shot.camera], |r| r.get::<_, i64>(0))? == shot.film {
                shots.push(shot);
            }
        }
        Ok(shots)
    };
    let (old, wanted) = (present(false)?, present(true)?);
    let plays = both(play, other);
    let found = shots_of(work, &plays)?;
    let shots: Vec<Shot> = wanted.iter().map(|shot| shot.with_moments_of(&found)).collect();
    let cameras = old.iter().chain(&shots).map(|s| s.camera).collect();
    replace_shots(work, &plays, &cameras, &shots)?;
    live(work, play, kind != "drop", None)?;
    if let Some(other) = other {
        // By its film alone it would stand before the play whose other cameras began earlier.
        live(work, other, kind != "join", (kind == "apart").then_some(play))?;
    }
    Ok(())
}

/// Takes a play into the answers, right behind another or in its place by the film, or out of them.
fn live(work: &Connection, play: i64, on: bool, behind: Option<i64>) -> rusqlite::Result<()> {
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
    let place = match behind {
        Some(other) => position_of(work, other)? + 1,
        None => place_of(work, game, &shots)?,
    };
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

/// Where a live play stands.
fn position_of(work: &Connection, play: i64) -> rusqlite::Result<i64> {
    work.query_row("SELECT position FROM plays WHERE id = ?", [play], |r| r.get(0))
}

/// A play that was not there before, to stand at a place, out of the answers yet: its id and label.
fn new_play(work: &Connection, game: i64, place: i64) -> rusqlite::Result<(i64, String)> {
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
