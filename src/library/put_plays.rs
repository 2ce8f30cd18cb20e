//! Plays as found go in; labels come out.

use std::collections::hash_map::Entry;
use std::collections::{BTreeMap, HashMap, HashSet};
use std::path::Path;

use rusqlite::{Connection, Transaction, params};

use super::Library;
use super::cameras::{camera_id, moved};
use super::corrections;
use super::games::game_id;
use super::labels::{Known, Sight, label_all, recognize};
use super::reshape;
use super::sql_error::{SqlContext, int, uint};
use crate::base::{Error, FrameNo, FrameSpan, Result};
use crate::film::{Evidence, Play, Sighting};

/// Where one camera shows a play.
#[derive(Debug, Clone, PartialEq)]
pub struct CameraShot {
    /// The camera's name.
    pub camera: String,
    /// Frames of its film in which the play lies: the shot, or the stretch of a long take.
    pub span: FrameSpan,
    /// When the offense stands.
    pub set: Option<FrameNo>,
    /// The ball moves.
    pub snap: Option<Sighting>,
    /// The play is dead.
    pub whistle: Option<Sighting>,
    /// What it was found by.
    pub by: Evidence,
    /// Why a person should look; `None` if sure.
    pub doubt: Option<String>,
}

impl CameraShot {
    /// A play as found in one camera's film.
    pub fn of(camera: &str, span: FrameSpan, play: &Play) -> Self {
        Self {
            camera: camera.to_string(),
            span,
            set: play.set,
            snap: play.snap,
            whistle: play.whistle,
            by: play.by,
            doubt: play.doubt.clone(),
        }
    }
}

/// A play to be put in.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlayIn {
    /// Where the cameras show it: one shot a camera, at least one.
    pub shots: Vec<CameraShot>,
    /// Why a person should look at the play as a whole; `None` if sure.
    pub doubt: Option<String>,
}

/// What became of the plays put in.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PlacedPlays {
    /// Their labels, in the order given.
    pub labels: Vec<String>,
    /// Labels of plays found before and not now, all of whose cameras were looked at. They are in no answer any more;
    /// their clips stay on the disk, and found again they take their labels again.
    pub gone: Vec<String>,
    /// Labels of plays found before and not now that another camera still shows; they stay.
    pub kept: Vec<String>,
}

impl Library {
    /// Puts in the plays of a game as found, in film order, in place of what the cameras named in them showed before.
    ///
    /// A play keeps its label for ever (see `labels.rs` for how it is recognized and what a new one is called).
    /// Cameras that no play names are left as they are. Corrected moments stay corrected.
    ///
    /// # Errors
    /// The game or a camera is not there; a play has no shot, an empty one, or two of one camera.
    pub fn put_plays(&mut self, game: &str, plays: &[PlayIn]) -> Result<PlacedPlays> {
        let folder = self.folder().to_path_buf();
        self.change("put the plays into the library", |work| {
            let game = game_id(work, &folder, game)?;
            let (new, covered) = sights_of(work, &folder, game, plays)?;
            (|| {
                let mut old = read_known(work, game)?;
                let found = recognize(&old.iter().map(|o| o.known.clone()).collect::<Vec<_>>(), &new);
                for index in found.iter().flatten() {
                    old[*index].found = true;
                }
                let placed = arrange(&old, &found, &covered);
                write(work, game, plays, &new, &old, &placed, &covered)?;
                reshape::lay_over_plays(work, game)?;
                corrections::lay_over_shots(work, game)?;
                let mut told = placed.told(&old, &found);
                // A person may have said of one that it is a play all the same.
                let mut live = work.prepare("SELECT 1 FROM plays WHERE game = ? AND label = ? AND live")?;
                let mut gone = Vec::new();
                for label in told.gone {
                    if !live.exists(params![game, label])? {
                        gone.push(label);
                    }
                }
                told.gone = gone;
                Ok(told)
            })()
            .doing("put the plays into the library", &folder)
        })
    }
}

/// A play of the library.
struct Old {
    id: i64,
    label: String,
    known: Known,
    found: bool,
}

/// The game's plays as they will be: in order, who each is, what it is called.
struct Arranged {
    /// New plays by their index, or old ones that stay by theirs.
    order: Vec<Who>,
    labels: Vec<String>,
    gone: Vec<usize>,
}

#[derive(Clone, Copy, PartialEq)]
enum Who {
    /// A play put in, and the old one it is.
    New(usize, Option<usize>),
    /// An old one not put in that another camera still shows.
    Kept(usize),
}

impl Arranged {
    fn told(&self, old: &[Old], found: &[Option<usize>]) -> PlacedPlays {
        let mut labels = vec![String::new(); found.len()];
        let mut kept = Vec::new();
        for (who, label) in self.order.iter().zip(&self.labels) {
            match who {
                Who::New(n, _) => labels[*n] = label.clone(),
                Who::Kept(_) => kept.push(label.clone()),
            }
        }
        PlacedPlays { labels, kept, gone: self.gone.iter().map(|o| old[*o].label.clone()).collect() }
    }
}

/// Resolves cameras and checks the plays. Gives the sights of each and the cameras that were looked at.
fn sights_of(
    work: &Connection,
    library: &Path,
    game: i64,
    plays: &[PlayIn],
) -> Result<(Vec<Vec<Sight>>, HashSet<i64>)> {
    let mut cameras: BTreeMap<&str, (i64, i64)> = BTreeMap::new();
    let mut all = Vec::with_capacity(plays.len());
    for (index, play) in plays.iter().enumerate() {
        let fault = |what: &str| {
            let what = format!("cannot put play {} of the film into the library: {what}", index + 1);
            Err(Error::failed(what, library.display(), "this is a fault of the program; please report it"))
        };
        if play.shots.is_empty() {
            return fault("no camera shows it");
        }
        let mut sights: Vec<Sight> = Vec::with_capacity(play.shots.len());
        for shot in &play.shots {
            let (camera, film) = match cameras.get(shot.camera.as_str()) {
                Some(known) => *known,
                None => {
                    let known = camera_id(work, library, game, &shot.camera)?;
                    cameras.insert(&shot.camera, known);
                    known
                }
            };
            if shot.span.is_empty() {
                return fault("its span is empty");
            }
            if sights.iter().any(|s| s.camera == camera) {
                return fault("one camera shows it twice");
            }
            sights.push(Sight { camera, film, span: shot.span, snap: shot.snap.map(|s| s.frame) });
        }
        all.push(sights);
    }
    Ok((all, cameras.into_values().map(|(camera, _)| camera).collect()))
}

/// The game's plays, live ones in film order, then the rest.
fn read_known(work: &Connection, game: i64) -> rusqlite::Result<Vec<Old>> {
    let mut ask =
        work.prepare("SELECT id, label, live FROM plays WHERE game = ? ORDER BY position IS NULL, position, id")?;
    let mut shots = work.prepare(
        "SELECT s.camera, s.film, s.film_start, s.film_end, s.snap, c.film FROM shots s JOIN cameras c ON c.id = s.camera
         WHERE s.play = ?",
    )?;
    let mut moves = HashMap::new();
    let found = ask.query_map([game], |r| {
        let id: i64 = r.get(0)?;
        let sights = shots
            .query_map([id], |s| {
                let sight = Sight {
                    camera: s.get(0)?,
                    film: s.get(1)?,
                    span: FrameSpan::of(uint(s.get(2)?), uint(s.get(3)?)),
                    snap: s.get::<_, Option<i64>>(4)?.map(|f| FrameNo(uint(f))),
                };
                let now: i64 = s.get(5)?;
                if sight.film == now {
                    return Ok(sight);
                }
                let parts = match moves.entry((sight.film, now)) {
                    Entry::Occupied(known) => known.into_mut(),
                    Entry::Vacant(new) => new.insert(moved(work, sight.film, now)?),
                };
                Ok(parts.as_ref().and_then(|parts| follow(sight, now, parts)).unwrap_or(sight))
            })?
            .collect::<rusqlite::Result<_>>()?;
        Ok(Old { id, label: r.get(1)?, known: Known { sights, live: r.get(2)? }, found: false })
    })?;
    found.collect()
}

/// A sight in the film that its own film became a part of; `None` where it ran over two parts that lie apart now.
fn follow(sight: Sight, film: i64, parts: &[(u64, u64, u64)]) -> Option<Sight> {
    let to = |frame: u64| {
        let (first, _, there) = parts.iter().find(|(first, frames, _)| (*first..first + frames).contains(&frame))?;
        Some(frame - first + there)
    };
    let span = FrameSpan::of(to(sight.span.start.0)?, to(sight.span.end.0.checked_sub(1)?)? + 1);
    let snap = sight.snap.and_then(|snap| to(snap.0)).map(FrameNo);
    (span.len() == sight.span.len()).then_some(Sight { film, span, snap, ..sight })
}

/// Puts the new plays and the old ones that stay in order and names them. `old` has its live plays in order.
fn arrange(old: &[Old], found: &[Option<usize>], covered: &HashSet<i64>) -> Arranged {
    let mut order: Vec<Who> = found.iter().enumerate().map(|(n, o)| Who::New(n, *o)).collect();
    let mut gone = Vec::new();
    for (o, play) in old.iter().enumerate().filter(|(_, p)| p.known.live) {
        if play.found {
            continue;
        }
        if play.known.sights.iter().all(|s| covered.contains(&s.camera)) {
            gone.push(o);
            continue;
        }
        // It stays behind the nearest play that it followed so far.
        let is = |who: &Who, o: usize| *who == Who::Kept(o) || matches!(who, Who::New(_, Some(x)) if *x == o);
        let after = (0..o).rev().find_map(|earlier| order.iter().position(|who| is(who, earlier)));
        order.insert(after.map_or(0, |at| at + 1), Who::Kept(o));
    }
    let known: Vec<Option<String>> = order
        .iter()
        .map(|who| match who {
            Who::New(_, o) => o.map(|o| old[o].label.clone()),
            Who::Kept(o) => Some(old[*o].label.clone()),
        })
        .collect();
    let ever = old.iter().map(|p| p.label.clone()).collect();
    Arranged { labels: label_all(&known, &ever), order, gone }
}

fn write(
    work: &Transaction<'_>,
    game: i64,
    plays: &[PlayIn],
    sights: &[Vec<Sight>],
    old: &[Old],
    placed: &Arranged,
    covered: &HashSet<i64>,
) -> rusqlite::Result<()> {
    for o in &placed.gone {
        work.execute("UPDATE plays SET live = 0, position = NULL WHERE id = ?", [old[*o].id])?;
    }
    let mut put_shot = work.prepare(
        "INSERT OR REPLACE INTO shots (play, camera, film, film_start, film_end, set_frame, snap, snap_time,
                            snap_confidence, whistle, whistle_time, whistle_confidence, found_by, doubt)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    )?;
    let mut drop_clip = work.prepare("DELETE FROM clips WHERE play = ? AND camera = ?")?;
    let mut drop_shot = work.prepare("DELETE FROM shots WHERE play = ? AND camera = ?")?;
    let shown: HashMap<usize, HashSet<i64>> =
        sights.iter().enumerate().map(|(n, s)| (n, s.iter().map(|s| s.camera).collect())).collect();
    for (at, (who, label)) in placed.order.iter().zip(&placed.labels).enumerate() {
        let position = int(at as u64 + 1);
        let (id, now) = match who {
            Who::New(n, Some(o)) => {
                work.execute(
                    "UPDATE plays SET live = 1, position = ?, doubt = ? WHERE id = ?",
                    params![position, plays[*n].doubt, old[*o].id],
                )?;
                (old[*o].id, Some(*n))
            }
            Who::New(n, None) => {
                work.execute(
                    "INSERT INTO plays (game, label, position, doubt) VALUES (?, ?, ?, ?)",
                    params![game, label, position, plays[*n].doubt],
                )?;
                (work.last_insert_rowid(), Some(*n))
            }
            Who::Kept(o) => {
                work.execute("UPDATE plays SET position = ? WHERE id = ?", params![position, old[*o].id])?;
                (old[*o].id, None)
            }
        };
        // Cameras that were looked at and no longer show the play.
        if let Who::New(_, Some(o)) | Who::Kept(o) = who {
            for sight in &old[*o].known.sights {
                let shown_now = now.is_some_and(|n| shown.get(&n).is_some_and(|s| s.contains(&sight.camera)));
                if covered.contains(&sight.camera) && !shown_now {
                    drop_clip.execute([id, sight.camera])?;
                    drop_shot.execute([id, sight.camera])?;
                }
            }
        }
        let Some(n) = now else { continue };
        for (shot, sight) in plays[n].shots.iter().zip(&sights[n]) {
            let frame = |s: Option<Sighting>| s.map(|s| int(s.frame.0));
            put_shot.execute(params![
                id,
                sight.camera,
                sight.film,
                int(sight.span.start.0),
                int(sight.span.end.0),
                shot.set.map(|f| int(f.0)),
                frame(shot.snap),
                shot.snap.map(|s| s.time),
                shot.snap.map(|s| s.confidence),
                frame(shot.whistle),
                shot.whistle.map(|s| s.time),
                shot.whistle.map(|s| s.confidence),
                evidence_word(shot.by),
                shot.doubt
            ])?;
        }
    }
    Ok(())
}

/// As in the schema and in JSON.
fn evidence_word(by: Evidence) -> &'static str {
    match by {
        Evidence::Picture => "picture",
        Evidence::PictureAndSound => "picture+sound",
        Evidence::Nothing => "none",
    }
}
