//! Where the cameras show each play, as the library has it, corrections included.

use rusqlite::{Row, params};

use super::Library;
use super::put_plays::CameraShot;
use super::sql_error::{SqlContext, uint};
use crate::base::{FrameNo, FrameSpan, Result};
use crate::film::{Evidence, Sighting};
use crate::football::fold;

/// A live play of a game with every camera's shot of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlayShots {
    /// Its label.
    pub label: String,
    /// Where the cameras show it, in the order the cameras came. One of a film that was replaced since is left out.
    pub shots: Vec<CameraShot>,
    /// Why a person should look at the play as a whole; `None` if sure.
    pub doubt: Option<String>,
}

impl Library {
    /// The live plays of a game in film order; empty where the game is not in the library.
    pub fn play_shots(&self, game: &str) -> Result<Vec<PlayShots>> {
        let read = || -> rusqlite::Result<Vec<PlayShots>> {
            let mut shots = self.db().prepare(
                "SELECT c.name, s.film_start, s.film_end, s.set_frame, s.snap, s.snap_time, s.snap_confidence,
                        s.whistle, s.whistle_time, s.whistle_confidence, s.found_by, s.doubt
                 FROM shots s JOIN cameras c ON c.id = s.camera AND c.film = s.film WHERE s.play = ? ORDER BY c.id",
            )?;
            let mut plays = self.db().prepare(
                "SELECT p.id, p.label, p.doubt FROM plays p JOIN games g ON g.id = p.game
                 WHERE g.folded = ? AND p.live ORDER BY p.position",
            )?;
            let found = plays.query_map([fold(game)], |r| {
                let shots = shots.query_map(params![r.get::<_, i64>(0)?], shot)?;
                Ok(PlayShots { label: r.get(1)?, doubt: r.get(2)?, shots: shots.collect::<rusqlite::Result<_>>()? })
            })?;
            found.collect()
        };
        read().doing("read the game's plays", self.folder())
    }
}

fn shot(row: &Row<'_>) -> rusqlite::Result<CameraShot> {
    Ok(CameraShot {
        camera: row.get(0)?,
        span: FrameSpan::of(uint(row.get(1)?), uint(row.get(2)?)),
        set: frame(row, 3)?,
        snap: sighting(row, 4)?,
        whistle: sighting(row, 7)?,
        by: match row.get::<_, String>(10)?.as_str() {
            "picture" => Evidence::Picture,
            "picture+sound" => Evidence::PictureAndSound,
            _ => Evidence::Nothing,
        },
        doubt: row.get(11)?,
    })
}

/// A frame of the film, if it is known.
pub(super) fn frame(row: &Row<'_>, column: usize) -> rusqlite::Result<Option<FrameNo>> {
    Ok(row.get::<_, Option<i64>>(column)?.map(|f| FrameNo(uint(f))))
}

/// Frame, time, confidence from three columns.
pub(super) fn sighting(row: &Row<'_>, column: usize) -> rusqlite::Result<Option<Sighting>> {
    let Some(frame) = frame(row, column)? else { return Ok(None) };
    let time: Option<f64> = row.get(column + 1)?;
    let confidence: Option<f64> = row.get(column + 2)?;
    Ok(Some(Sighting { frame, time: time.unwrap_or(0.0), confidence: confidence.unwrap_or(1.0) }))
}
