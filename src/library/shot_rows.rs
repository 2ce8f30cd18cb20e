//! Rows of shots as a reshape keeps and lays them.

use std::collections::HashSet;

use rusqlite::types::Value as Sql;
use rusqlite::{Connection, Row, params, params_from_iter};

use super::sql_error::{int, uint};
use crate::base::{FrameNo, FrameSpan};

/// A moment: frame, film time in seconds, how sure.
type At = (Option<i64>, Option<f64>, Option<f64>);

/// A row of shots or reshape_shots.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Shot {
    pub play: i64,
    pub camera: i64,
    pub film: i64,
    pub span: FrameSpan,
    set: Option<i64>,
    snap: At,
    whistle: At,
    found_by: String,
    doubt: Option<String>,
}

const COLUMNS: &str = "play, camera, film, film_start, film_end, set_frame, snap, snap_time, snap_confidence, whistle, \
                       whistle_time, whistle_confidence, found_by, doubt";
/// One for each of these.
const MARKS: &str = "?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?";

impl Shot {
    pub fn read(r: &Row<'_>) -> rusqlite::Result<Self> {
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
    pub fn bare(play: i64, camera: i64, film: i64, span: FrameSpan) -> Self {
        let none = (None, None, None);
        Self { play, camera, film, span, set: None, snap: none, whistle: none, found_by: "none".into(), doubt: None }
    }

    fn values(&self) -> [Sql; 14] {
        let (snap, snap_time, snap_confidence) = self.snap;
        let (whistle, whistle_time, whistle_confidence) = self.whistle;
        [
            self.play.into(),
            self.camera.into(),
            self.film.into(),
            int(self.span.start.0).into(),
            int(self.span.end.0).into(),
            self.set.into(),
            snap.into(),
            snap_time.into(),
            snap_confidence.into(),
            whistle.into(),
            whistle_time.into(),
            whistle_confidence.into(),
            self.found_by.clone().into(),
            self.doubt.clone().into(),
        ]
    }

    /// Puts it in place of what its camera showed of its play.
    fn write(&self, work: &Connection) -> rusqlite::Result<()> {
        work.prepare_cached(&format!("INSERT OR REPLACE INTO shots ({COLUMNS}) VALUES ({MARKS})"))?
            .execute(params_from_iter(self.values()))?;
        Ok(())
    }

    /// Notes it with a reshape, as it was before or (`after`) is to be.
    pub fn keep(&self, work: &Connection, reshape: i64, after: bool) -> rusqlite::Result<()> {
        let which: [Sql; 2] = [reshape.into(), i64::from(after).into()];
        work.prepare_cached(&format!("INSERT INTO reshape_shots (reshape, after, {COLUMNS}) VALUES (?, ?, {MARKS})"))?
            .execute(params_from_iter(which.into_iter().chain(self.values())))?;
        Ok(())
    }

    /// These frames with the moments that those found show in them: of the shots of this film that lie in them.
    pub fn with_moments_of(&self, found: &[Self]) -> Self {
        let common =
            |s: &&Self| s.span.end.0.min(self.span.end.0).saturating_sub(s.span.start.0.max(self.span.start.0));
        let mut all: Vec<&Self> =
            found.iter().filter(|s| s.camera == self.camera && s.film == self.film && common(s) > 0).collect();
        // Of two plays joined the first begins and the last ends.
        all.sort_by_key(|s| s.span.start);
        let inside = |frame: Option<i64>| frame.is_some_and(|f| self.span.holds(FrameNo(uint(f))));
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

pub(super) fn shots_of(work: &Connection, plays: &[i64]) -> rusqlite::Result<Vec<Shot>> {
    let mut ask = work.prepare_cached(&format!("SELECT {COLUMNS} FROM shots WHERE play = ? ORDER BY camera"))?;
    let mut all = Vec::new();
    for play in plays {
        all.extend(ask.query_map([play], Shot::read)?.collect::<rusqlite::Result<Vec<_>>>()?);
    }
    Ok(all)
}

pub(super) fn kept_shots(work: &Connection, id: i64, after: bool) -> rusqlite::Result<Vec<Shot>> {
    let sql = format!("SELECT {COLUMNS} FROM reshape_shots WHERE reshape = ? AND after = ? ORDER BY play, camera");
    work.prepare_cached(&sql)?.query_map(params![id, after], Shot::read)?.collect()
}

/// Puts shots in place of what these cameras showed of these plays. A play of which none is given keeps what it had: it is
/// out of the answers then.
pub(super) fn replace_shots(
    work: &Connection,
    plays: &[i64],
    cameras: &HashSet<i64>,
    shots: &[Shot],
) -> rusqlite::Result<()> {
    for play in plays.iter().filter(|play| shots.iter().any(|s| s.play == **play)) {
        for camera in cameras {
            if !shots.iter().any(|s| s.play == *play && s.camera == *camera) {
                work.execute("DELETE FROM clips WHERE play = ? AND camera = ?", [*play, *camera])?;
                work.execute("DELETE FROM shots WHERE play = ? AND camera = ?", [*play, *camera])?;
            }
        }
    }
    shots.iter().try_for_each(|shot| shot.write(work))
}
