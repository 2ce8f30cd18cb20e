//! Which shots of several cameras show the same play.

use std::collections::{BTreeMap, HashMap};

use serde::Serialize;

use super::alike::{self, Alike, Moves};
use super::carry::{self, By};
use super::find::Found;
use super::lend;
use super::lengths::{Lengths, Table};
use super::ran_on;
use super::turns::Turns;
use crate::base::FrameSpan;
use crate::film::{Film, Play, Series};

/// Two sounds whose first peak is over the second by this factor hear the same play; by less than the other, different
/// ones. (Measured on made films: the same play 6.6 and more, different plays up to 1.4.)
pub(super) const SAME: f64 = 3.0;
const DIFFERENT: f64 = 2.0;
/// What a pair is worth: heard to be the same; heard to be different; not told by sound; nothing heard.
const WORTH_SAME: f64 = 6.0;
const WORTH_DIFFERENT: f64 = -8.0;
const WORTH_UNTOLD: f64 = 0.0;
const WORTH_ORDER: f64 = 0.5;
/// Of two pieces of a play that a restarted camera has, the one that holds the snap is paired.
const HOLDS_SNAP: f64 = 0.5;
/// A lag that motion alone gives is believed from here on. (The `cameras` bench measures what is flagged below it.)
pub const BELIEVED: f64 = 0.6;
/// Where so many pairs were listened to and none of them heard to be the same, one microphone hears nothing of what the
/// other does, and what it says counts for nothing.
const DEAF: usize = 5;
/// Leaving a shot of either camera alone costs this.
const ALONE: f64 = -1.0;
/// Rounds in which pairs on the best path are listened to; the path settles in a few.
const ROUNDS: usize = 40;

/// The doubt of a play whose shots nothing but their order and length brings together: another camera's shot of it may
/// show another play.
pub const BY_LENGTH: &str = "the cameras' shots were paired by order and length alone";

/// The doubt of a play whose cameras could not be set side by side.
pub const UNSYNCED: &str =
    "the cameras share no sound and their pictures do not tell how far apart they run: each has its own snap";
/// The doubts of a play and of the pieces of it that stand alone, where a camera was restarted in mid-play.
pub const RESTARTED: &str = "a camera was restarted in this play: another clip beside it holds the other piece";
/// Likewise.
pub const PIECE: &str = "a piece of the play beside it: the camera was restarted in mid-play";

/// The doubt of a camera's take of a play where its shot held another play, too.
pub const RAN_ON: &str = "this camera ran on through two plays: its shot was divided between them";

/// One camera's part in the pairing.
#[derive(Debug, Clone, Copy)]
pub struct Camera<'a> {
    /// Its film.
    pub film: &'a Film,
    /// What was found in it.
    pub found: &'a Found,
}

/// How the sound of two shots agrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heard {
    /// First correlation peak over the second.
    pub ratio: f64,
    /// Seconds from the first shot's own clock (from its start) to the second's.
    pub lag: f64,
}

/// How the shots of a play were brought together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum PairedBy {
    /// Both microphones hear the same.
    Sound,
    /// The counts agree, or a woven film's turns, and nothing contradicts.
    Order,
    /// By order and the plays' length, where counts differ and no sound tells.
    Length,
    /// One camera only.
    Alone,
}

/// One play of the game, as every camera shows it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GamePlay {
    /// For each camera, in the order given: its play (with moments carried over from the other camera where those are
    /// surer), or `None` where it missed the play.
    pub takes: Vec<Option<Play>>,
    /// How they were brought together.
    pub by: PairedBy,
    /// Why a person should look at the pairing; the plays' own doubts are theirs.
    pub doubt: Option<String>,
}

/// A stretch of a camera's film, by the camera's number.
pub type Stretch = (usize, FrameSpan);

/// Asked for the sound of two stretches; `None` if either has none.
pub type Listen<'a> = dyn FnMut(Stretch, Stretch) -> Option<Heard> + 'a;

/// [`pair_seen`] where nothing is known of what moves.
pub fn pair(cameras: &[Camera<'_>], listen: &mut Listen<'_>) -> Vec<GamePlay> {
    pair_seen(cameras, &[], listen)
}

/// Brings the cameras' plays together, in film order. Each camera may have missed plays. A pair that sound does not
/// confirm is kept only by order where the counts agree, else by length with a doubt; two cameras of one woven film are
/// paired by their turns. Without sound, what moves in both (`series`: each camera's, where it is at hand) says how far
/// apart they run; where it does not, the play has a doubt. Pieces of a play that a restarted camera has are kept apart.
pub fn pair_seen(cameras: &[Camera<'_>], series: &[Option<&Series>], listen: &mut Listen<'_>) -> Vec<GamePlay> {
    let Some(first) = cameras.first() else { return Vec::new() };
    let mut game: Vec<GamePlay> = first
        .found
        .plays
        .iter()
        .map(|play| GamePlay { takes: vec![Some(play.clone())], by: PairedBy::Alone, doubt: None })
        .collect();
    let moves: Vec<Moving> = cameras
        .iter()
        .enumerate()
        .map(|(c, camera)| match series.get(c) {
            Some(Some(series)) => camera
                .found
                .plays
                .iter()
                .filter_map(|play| Some((play.span, Moves::of(series, camera.film, play)?)))
                .collect(),
            _ => Moving::new(),
        })
        .collect();
    for c in 1..cameras.len() {
        game = Joint { cameras, c, moves: &moves }.join(game, listen);
    }
    ran_on::divide(cameras, &mut game, listen);
    lend::lend(cameras, &mut game, listen);
    if cameras.len() > 1 {
        for run in lone_runs(&game) {
            let sure = surely_alone(&game, &run);
            for play in &mut game[run] {
                play.by = PairedBy::Alone;
                if !sure && play.doubt.is_none() {
                    play.doubt = Some("only one camera shows it".into());
                }
            }
        }
    }
    game
}

/// What moves in each of a camera's plays, by its stretch.
type Moving = HashMap<FrameSpan, Moves>;

/// The stretches of plays that only one camera shows.
fn lone_runs(game: &[GamePlay]) -> Vec<std::ops::Range<usize>> {
    let lone = |k: usize| game[k].takes.iter().flatten().count() == 1;
    let mut out: Vec<std::ops::Range<usize>> = Vec::new();
    for k in (0..game.len()).filter(|&k| lone(k)) {
        match out.last_mut() {
            Some(run) if run.end == k => run.end += 1,
            _ => out.push(k..k + 1),
        }
    }
    out
}

/// A stretch needs no look where the plays around it were heard to be the same in both cameras and no other camera has a
/// shot left over between them: a camera that missed a play is nothing rare (practice).
fn surely_alone(game: &[GamePlay], run: &std::ops::Range<usize>) -> bool {
    let of = |play: &GamePlay| play.takes.iter().position(Option::is_some);
    let around = [run.start.checked_sub(1).and_then(|k| game.get(k)), game.get(run.end)];
    around.iter().flatten().count() > 0
        && around.iter().flatten().all(|p| p.by == PairedBy::Sound)
        && game[run.clone()].windows(2).all(|w| of(&w[0]) == of(&w[1]))
}

/// What is known of a pair.
#[derive(Debug, Clone, Copy)]
struct Known {
    /// What the microphones say; `None` for silence.
    heard: Option<Heard>,
    /// What the pictures say.
    alike: Option<Alike>,
}

impl Known {
    fn same(&self) -> Option<Heard> {
        self.heard.filter(|h| h.ratio > SAME)
    }

    /// The lag, and what it is known by.
    fn lag(&self) -> Option<(f64, By)> {
        let by_sound = self.same().map(|h| (h.lag, By::Sound));
        by_sound.or_else(|| {
            let alike = self.alike.filter(|a| a.belief >= BELIEVED)?;
            Some((alike.lag, By::Motion { belief: alike.belief }))
        })
    }
}

type Knowledge = BTreeMap<(usize, usize), Known>;

/// One more camera that is laid beside the game so far.
struct Joint<'a> {
    cameras: &'a [Camera<'a>],
    c: usize,
    moves: &'a [Moving],
}

impl Joint<'_> {
    fn plays(&self) -> &[Play] {
        &self.cameras[self.c].found.plays
    }

    /// The first camera that shows a play of the game so far, and its take.
    fn other(play: &GamePlay) -> Option<(usize, &Play)> {
        play.takes.iter().enumerate().find_map(|(k, take)| take.as_ref().map(|take| (k, take)))
    }

    fn join(&self, game: Vec<GamePlay>, listen: &mut Listen<'_>) -> Vec<GamePlay> {
        let turns = Turns::of(&game, self.c, self.cameras);
        let length = |(k, play): (usize, &Play)| Lengths::of(play, self.cameras[k].film);
        let lengths = Table::of(
            game.iter().map(|play| Self::other(play).map(length)).collect(),
            self.plays().iter().map(|play| length((self.c, play))).collect(),
        );
        let mut known = Knowledge::new();
        let mut path = Vec::new();
        for _ in 0..ROUNDS {
            // Where nothing at all is heard there is nothing to hope for.
            let silent = known.len() >= DEAF && known.values().all(|k| k.heard.is_none());
            path = align(game.len(), self.plays().len(), &|i, j| match known.contains_key(&(i, j)) || !silent {
                true => self.worth(&game, &lengths, &turns, &known, i, j),
                false => like(&lengths, i, j) + turns.as_ref().map_or(0.0, |turns| turns.worth(i, j)),
            });
            let mut asked: Vec<_> = path.iter().filter(|p| !known.contains_key(p)).copied().collect();
            if asked.is_empty() {
                // A shot left alone may be a piece of its neighbor's play.
                let heard = |pair: &(usize, usize)| known.get(pair).is_some_and(|k| k.same().is_some());
                asked = beside(&path, game.len(), self.plays().len(), &heard);
                asked.retain(|p| !known.contains_key(p));
            }
            if asked.is_empty() {
                break;
            }
            for (i, j) in asked {
                let look = |(k, take): (usize, &Play)| {
                    let span = self.plays()[j].span;
                    let heard = listen((k, take.span), (self.c, span));
                    let seen = self.moves[k].get(&take.span).zip(self.moves[self.c].get(&span));
                    Known { heard, alike: seen.and_then(|(a, b)| alike::alike(a, b)) }
                };
                known.insert((i, j), Self::other(&game[i]).map_or(Known { heard: None, alike: None }, look));
            }
        }
        // Pairs never listened to are not kept on hope.
        path.retain(|p| known.contains_key(p));
        let deaf = known.len() >= DEAF
            && game.len().min(self.plays().len()) >= DEAF
            && known.values().filter(|k| k.heard.is_some()).count() >= DEAF
            && known.values().all(|k| k.same().is_none());
        if deaf {
            known.values_mut().for_each(|k| k.heard = None);
            path = align(game.len(), self.plays().len(), &|i, j| match known.contains_key(&(i, j)) {
                true => self.worth(&game, &lengths, &turns, &known, i, j),
                false => like(&lengths, i, j),
            });
        }
        let square = game.len() == self.plays().len() && path.len() == game.len();
        let in_order = !deaf && (turns.is_some() || square && path.iter().all(|(i, j)| i == j));
        let woven = turns.is_some();
        let mut game = self.merge(game, &path, &known, in_order);
        if woven {
            game.sort_by_key(|play| play.takes.iter().flatten().map(|take| take.span.start).min());
        }
        game
    }

    /// What a pair is worth.
    fn worth(
        &self,
        game: &[GamePlay],
        lengths: &Table,
        turns: &Option<Turns>,
        known: &Knowledge,
        i: usize,
        j: usize,
    ) -> f64 {
        let turn = turns.as_ref().map_or(0.0, |turns| turns.worth(i, j));
        turn + match known.get(&(i, j)) {
            // Not listened to yet: hoped to be the same, so that it will be if it matters.
            None => WORTH_SAME + HOLDS_SNAP,
            Some(k) => match (k.same(), k.heard) {
                (Some(heard), _) => WORTH_SAME + if self.holds_snap(game, i, j, heard.lag) { HOLDS_SNAP } else { 0.0 },
                (None, Some(heard)) if heard.ratio < DIFFERENT => WORTH_DIFFERENT,
                (None, Some(_)) => WORTH_UNTOLD,
                (None, None) => like(lengths, i, j),
            },
        }
    }

    /// Whether both stretches hold the snap that either of them saw.
    fn holds_snap(&self, game: &[GamePlay], i: usize, j: usize, lag: f64) -> bool {
        let Some((k, a)) = Self::other(&game[i]) else { return false };
        let b = &self.plays()[j];
        let clock = |c: usize, play: &Play| {
            let film = self.cameras[c].film;
            let from = film.time(play.span.start);
            (film.time(play.span.end) - from, play.snap.map(|s| s.time - from))
        };
        let ((long_a, snap_a), (long_b, snap_b)) = (clock(k, a), clock(self.c, b));
        let inside = |at: Option<f64>, long: f64| at.is_none_or(|at| (0.0..long).contains(&at));
        (snap_a.is_some() || snap_b.is_some())
            && inside(snap_a.map(|t| t + lag), long_b)
            && inside(snap_b.map(|t| t - lag), long_a)
    }

    /// Whether a pair that is not on the path, though heard to be the same, lies well apart from what its shot is paired
    /// with.
    fn far_from_partner(
        &self,
        game: &[GamePlay],
        path: &[(usize, usize)],
        known: &Knowledge,
        (i, j): (usize, usize),
    ) -> bool {
        let lag = |pair: (usize, usize)| known.get(&pair).and_then(Known::same).map(|h| h.lag);
        let seconds = |c: usize, play: &Play| self.cameras[c].film.lasts(play.span);
        let row = |i: usize| Self::other(&game[i]).map(|(k, play)| seconds(k, play));
        // On the clock of the row's shot, or of the new camera's.
        let column_there = |pair: (usize, usize)| {
            let from = -lag(pair)?;
            Some((from, from + seconds(self.c, &self.plays()[pair.1])))
        };
        let row_there = |pair: (usize, usize)| {
            let from = lag(pair)?;
            Some((from, from + row(pair.0)?))
        };
        let far = |a: Option<(f64, f64)>, b: Option<(f64, f64)>| {
            a.zip(b).is_some_and(|(a, b)| ran_on::gap(a, b) >= ran_on::BACK)
        };
        let of_row = path.iter().find(|p| p.0 == i).is_some_and(|p| far(column_there((i, j)), column_there(*p)));
        let of_column = path.iter().find(|p| p.1 == j).is_some_and(|p| far(row_there((i, j)), row_there(*p)));
        of_row || of_column
    }

    /// Whether a pair that is not on the path shows a piece of the very take that its row or column is paired with.
    fn of_one_take(&self, game: &[GamePlay], path: &[(usize, usize)], (i, j): (usize, usize)) -> bool {
        let row = |i: usize| Self::other(&game[i]).map(|(k, play)| (k, play.shot));
        let column = |j: usize| self.plays()[j].shot;
        path.iter().any(|p| (p.0 == i && column(p.1) == column(j)) || (p.1 == j && row(p.0) == row(i)))
    }

    fn merge(&self, game: Vec<GamePlay>, path: &[(usize, usize)], known: &Knowledge, in_order: bool) -> Vec<GamePlay> {
        let plays = self.plays();
        let mut out = Vec::with_capacity(game.len().max(plays.len()));
        let mut next = 0;
        // Pieces: heard to be the same as a shot that is paired with another.
        let paired = |i: Option<usize>, j: Option<usize>| path.iter().any(|p| i == Some(p.0) || j == Some(p.1));
        let mut same: Vec<(usize, usize)> = known.iter().filter(|(_, k)| k.same().is_some()).map(|(p, _)| *p).collect();
        // Another play that the other camera ran on to is no piece.
        // Nor is one of the same take whose clip reaches over this one: a camera that was restarted has two shots.
        same.retain(|p| {
            path.contains(p) || !(self.far_from_partner(&game, path, known, *p) || self.of_one_take(&game, path, *p))
        });
        let piece = |j: usize| same.iter().any(|p| p.1 == j && paired(Some(p.0), None));
        let piece_of_other = |i: usize| same.iter().any(|p| p.0 == i && paired(None, Some(p.1)));
        let restarted = |i: usize, j: usize| {
            same.iter().any(|p| match (p.0 == i, p.1 == j) {
                (true, false) => !paired(None, Some(p.1)),
                (false, true) => !paired(Some(p.0), None),
                _ => false,
            })
        };
        let alone = |j: usize| {
            let mut takes = vec![None; self.c];
            takes.push(Some(plays[j].clone()));
            GamePlay { takes, by: PairedBy::Alone, doubt: piece(j).then(|| PIECE.to_string()) }
        };
        for (i, mut play) in game.into_iter().enumerate() {
            let Some(&(_, j)) = path.iter().find(|p| p.0 == i) else {
                if piece_of_other(i) {
                    play.doubt = Some(PIECE.into());
                }
                play.takes.push(None);
                out.push(play);
                continue;
            };
            out.extend((next..j).map(alone));
            next = j + 1;
            let mut take = plays[j].clone();
            let lag = known.get(&(i, j)).and_then(Known::lag);
            let by = match lag {
                Some((_, By::Sound)) => PairedBy::Sound,
                _ if in_order => PairedBy::Order,
                _ => PairedBy::Length,
            };
            let other = play.takes.iter_mut().enumerate().find_map(|(k, t)| t.as_mut().map(|t| (k, t)));
            if let (Some((lag, how)), Some((k, other))) = (lag, other) {
                carry::over(other, &self.cameras[k], &mut take, &self.cameras[self.c], lag, how);
            }
            // A play of three cameras is as sure as its weakest pair.
            let rank = |by: PairedBy| {
                [PairedBy::Alone, PairedBy::Sound, PairedBy::Order].iter().position(|b| *b == by).unwrap_or(9)
            };
            play.by = if rank(by) >= rank(play.by) { by } else { play.by };
            let watched = known.get(&(i, j)).is_some_and(|k| k.alike.is_some());
            let doubt = match play.by {
                PairedBy::Length => Some(BY_LENGTH),
                _ if lag.is_none() && watched => Some(UNSYNCED),
                _ => None,
            };
            let why: Vec<&str> = doubt.into_iter().chain(restarted(i, j).then_some(RESTARTED)).collect();
            if !why.is_empty() {
                play.doubt = Some(why.join("; "));
            }
            play.takes.push(Some(take));
            out.push(play);
        }
        out.extend((next..plays.len()).map(alone));
        out
    }
}

/// What a pair is worth without sound: by length. What moves says when, not whether.
fn like(lengths: &Table, i: usize, j: usize) -> f64 {
    lengths.same(i, j).map_or(WORTH_UNTOLD, |same| WORTH_ORDER + same)
}

/// Pairs of a shot that the path leaves alone and the partners of the shots beside it that were heard to be the same.
fn beside(path: &[(usize, usize)], n: usize, m: usize, heard: &dyn Fn(&(usize, usize)) -> bool) -> Vec<(usize, usize)> {
    let mut out = Vec::new();
    for j in (0..m).filter(|j| path.iter().all(|p| p.1 != *j)) {
        let around = [path.iter().rfind(|p| p.1 < j), path.iter().find(|p| p.1 > j)];
        out.extend(around.into_iter().flatten().filter(|p| heard(p)).map(|p| (p.0, j)));
    }
    for i in (0..n).filter(|i| path.iter().all(|p| p.0 != *i)) {
        let around = [path.iter().rfind(|p| p.0 < i), path.iter().find(|p| p.0 > i)];
        out.extend(around.into_iter().flatten().filter(|p| heard(p)).map(|p| (i, p.1)));
    }
    out
}

/// The monotone pairing with the greatest worth: pairs (i, j) in order.
fn align(n: usize, m: usize, worth: &dyn Fn(usize, usize) -> f64) -> Vec<(usize, usize)> {
    let wide = m + 1;
    let mut best = vec![0.0; (n + 1) * wide];
    let mut step = vec![0u8; (n + 1) * wide];
    for i in 0..=n {
        for j in 0..=m {
            let at = i * wide + j;
            if i == 0 && j == 0 {
                continue;
            }
            let mut top = (f64::NEG_INFINITY, 0);
            if i > 0 && j > 0 {
                top = (best[at - wide - 1] + worth(i - 1, j - 1), 1);
            }
            if i > 0 && best[at - wide] + ALONE > top.0 {
                top = (best[at - wide] + ALONE, 2);
            }
            if j > 0 && best[at - 1] + ALONE > top.0 {
                top = (best[at - 1] + ALONE, 3);
            }
            (best[at], step[at]) = top;
        }
    }
    let (mut i, mut j) = (n, m);
    let mut out = Vec::new();
    while i > 0 || j > 0 {
        match step[i * wide + j] {
            1 => {
                i -= 1;
                j -= 1;
                out.push((i, j));
            }
            2 => i -= 1,
            _ => j -= 1,
        }
    }
    out.reverse();
    out
}

#[cfg(test)]
#[path = "pair_tests.rs"]
mod tests;
