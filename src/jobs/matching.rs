//! Rows of a tag sheet laid to the plays of the film.

use std::path::{Path, PathBuf};

use super::Config;
use crate::base::{FrameNo, FrameSpan, Problem, Result};
use crate::library::{CameraShot, Library, RowIn};
use crate::sheet::{MatchSettings, Matching, PlayTime, Row, Sheet, match_rows, row_times};

/// A tag sheet's rows, read now or kept in the library.
pub(super) struct TagSheet {
    /// The file.
    pub path: PathBuf,
    /// Its rows.
    pub rows: Vec<Row>,
    /// What is wrong in it.
    pub problems: Vec<Problem>,
}

impl TagSheet {
    /// Reads a sheet's file.
    pub fn open(path: &Path, config: &Config) -> Result<Self> {
        let sheet = Sheet::open(path, &config.columns, &config.vocabulary)?;
        Ok(Self { path: path.to_path_buf(), rows: sheet.rows, problems: sheet.problems })
    }

    /// The sheet that the library has of a game; its problems were told when it was read.
    pub fn kept(library: &Library, game: &str) -> Result<Option<Self>> {
        let Some(found) = library.sheet(game)? else { return Ok(None) };
        let row = |(index, row): (usize, RowIn)| Row { place: row.place, number: index as u32 + 2, tags: row.tags };
        let rows = found.rows.into_iter().enumerate().map(row).collect();
        Ok(Some(Self { path: found.path, rows, problems: Vec::new() }))
    }

    /// Its rows as the library takes them.
    pub fn rows_in(&self) -> Vec<RowIn> {
        self.rows.iter().map(|r| RowIn { place: r.place.clone(), tags: r.tags.clone() }).collect()
    }

    /// Which play each row belongs to. `plays` are those of the game in film order by their shots; `reference` is the
    /// camera whose film the times were typed by, `time` its film time of a frame.
    pub fn join(
        &self,
        plays: &[&[CameraShot]],
        reference: &str,
        time: &dyn Fn(FrameNo) -> f64,
        offset: Option<f64>,
    ) -> Matching {
        match_rows(&row_times(&self.rows), &play_times(plays, reference, time), &MatchSettings { offset })
    }
}

/// When each play happened in the reference camera's film. Where that camera saw no snap the middle of its shot stands
/// for it, where it missed the play the middle between its neighbors; both are weak.
fn play_times(plays: &[&[CameraShot]], reference: &str, time: &dyn Fn(FrameNo) -> f64) -> Vec<PlayTime> {
    let middle = |span: FrameSpan| time(FrameNo(span.start.0 + span.len() / 2));
    let seen: Vec<Option<PlayTime>> = plays
        .iter()
        .map(|shots| {
            let shot = shots.iter().find(|shot| shot.camera == reference)?;
            Some(match shot.snap {
                Some(snap) => PlayTime { time: snap.time, weak: false },
                None => PlayTime { time: middle(shot.span), weak: true },
            })
        })
        .collect();
    let time_of = |play: &Option<PlayTime>| play.map(|p| p.time);
    let of = |(at, own): (usize, &Option<PlayTime>)| {
        own.unwrap_or_else(|| {
            let before = seen[..at].iter().rev().find_map(time_of);
            let after = seen[at..].iter().find_map(time_of);
            let time = match (before, after) {
                (Some(a), Some(b)) => (a + b) / 2.0,
                (one, other) => one.or(other).unwrap_or(0.0),
            };
            PlayTime { time, weak: true }
        })
    };
    seen.iter().enumerate().map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::film::{Evidence, Sighting};

    fn shot(camera: &str, start: u64, snap: Option<f64>) -> CameraShot {
        let snap = snap.map(|time| Sighting { frame: FrameNo((time * 30.0) as u64), time, confidence: 0.9 });
        let span = FrameSpan::of(start, start + 300);
        CameraShot { camera: camera.into(), span, set: None, snap, whistle: None, by: Evidence::Picture, doubt: None }
    }

    #[test]
    fn plays_the_reference_camera_did_not_see_stand_weakly_between_their_neighbors() {
        let plays = [
            vec![shot("end-zone", 0, Some(3.0))],
            vec![shot("sideline", 0, Some(4.5)), shot("end-zone", 300, Some(14.0))],
            vec![shot("end-zone", 600, Some(25.0))],
            vec![shot("sideline", 300, None)],
        ];
        let plays: Vec<&[CameraShot]> = plays.iter().map(Vec::as_slice).collect();
        let times = play_times(&plays, "sideline", &|frame| frame.0 as f64 / 30.0);
        let times: Vec<(f64, bool)> = times.iter().map(|t| (t.time, t.weak)).collect();
        assert_eq!(times, [(4.5, true), (4.5, false), (9.75, true), (15.0, true)]);
        let none = play_times(&plays, "press box", &|_| 0.0);
        assert!(none.iter().all(|t| t.weak && t.time == 0.0));
    }
}
