//! Whose turn it was: two cameras of one woven film show a play one after the other.

use super::pair::{Camera, GamePlay};
use crate::base::FrameSpan;

/// Shots of one woven film that do not follow one another directly are of one play only where sound says so.
const NOT_NEXT: f64 = -5.0;
/// Shots that follow one another in the order the film keeps, and in the other.
const IN_TURN: f64 = 2.0;
const OUT_OF_TURN: f64 = -2.5;

/// The turns of a woven film's plays.
#[derive(Debug)]
pub struct Turns {
    /// Places in the film of the game's plays so far (`None` where the other camera of the film has none), and of the new
    /// camera's.
    game: Vec<Option<usize>>,
    new: Vec<usize>,
    /// Whether the game's camera comes first in each play.
    game_first: bool,
}

impl Turns {
    /// Where the new camera `c` and one of the game's have the same film and share no stretch of it.
    pub fn of(game: &[GamePlay], c: usize, cameras: &[Camera<'_>]) -> Option<Self> {
        let parts = |k: usize| cameras[k].film.parts.iter().map(|part| part.fingerprint.as_str());
        let twin = (0..c).find(|&k| parts(k).eq(parts(c)))?;
        let theirs: Vec<Option<FrameSpan>> =
            game.iter().map(|play| play.takes.get(twin)?.as_ref().map(|take| take.span)).collect();
        let own: Vec<FrameSpan> = cameras[c].found.plays.iter().map(|play| play.span).collect();
        let mut all: Vec<(FrameSpan, bool)> =
            theirs.iter().flatten().map(|s| (*s, true)).chain(own.iter().map(|s| (*s, false))).collect();
        all.sort_by_key(|(span, _)| (span.start, span.end));
        if all.windows(2).any(|w| w[1].0.start < w[0].0.end) {
            return None;
        }
        let place = |span: &FrameSpan| all.iter().position(|(s, _)| s == span);
        let turns = |first: bool| all.windows(2).filter(|w| w[0].1 == first && w[1].1 != first).count();
        Some(Self {
            game: theirs.iter().map(|span| span.as_ref().and_then(place)).collect(),
            new: own.iter().filter_map(place).collect(),
            // Both about as often: the sideline, which is the game's, comes first (practice).
            game_first: turns(true) >= turns(false),
        })
    }

    /// What their turns add to the worth of a pair.
    pub fn worth(&self, i: usize, j: usize) -> f64 {
        let (Some(Some(a)), Some(b)) = (self.game.get(i), self.new.get(j)) else { return 0.0 };
        match (a + 1 == *b, b + 1 == *a) {
            (true, _) if self.game_first => IN_TURN,
            (_, true) if !self.game_first => IN_TURN,
            (true, _) | (_, true) => OUT_OF_TURN,
            _ => NOT_NEXT,
        }
    }
}
