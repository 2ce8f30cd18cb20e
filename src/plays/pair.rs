//! Which shots of several cameras show the same play.

use std::collections::BTreeMap;

use serde::Serialize;

use super::carry;
use super::find::Found;
use crate::base::FrameSpan;
use crate::film::{Film, Play};

/// Two sounds whose first peak is over the second by this factor hear the same play; by less than the other, different
/// ones. (Measured on made films: the same play 6.6 and more, different plays up to 1.4.)
const SAME: f64 = 3.0;
const DIFFERENT: f64 = 2.0;
/// What a pair is worth: heard to be the same; heard to be different; not told by sound; nothing heard.
const WORTH_SAME: f64 = 6.0;
const WORTH_DIFFERENT: f64 = -8.0;
const WORTH_UNTOLD: f64 = 0.0;
const WORTH_ORDER: f64 = 1.0;
/// Without sound each second of difference in the plays' length takes this from it, up to so much.
const LENGTH: (f64, f64) = (1.0, 4.0);
/// Leaving a shot of either camera alone costs this.
const ALONE: f64 = -1.0;
/// Rounds in which pairs on the best path are listened to; the path settles in a few.
const ROUNDS: usize = 40;

/// The doubt of a play whose shots nothing but their order and length brings together: another camera's shot of it may
/// show another play.
pub const BY_LENGTH: &str = "the cameras' shots were paired by order and length alone";

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
    /// The counts agree and nothing contradicts.
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

/// Asked for the sound of two stretches of film, each a camera's number and its frames; `None` if either has none.
pub type Listen<'a> = dyn FnMut((usize, FrameSpan), (usize, FrameSpan)) -> Option<Heard> + 'a;

/// Brings the cameras' plays together, in film order. Each camera may have missed plays. A pair that sound does not
/// confirm is kept only by order where the counts agree, else by length with a doubt.
pub fn pair(cameras: &[Camera<'_>], listen: &mut Listen<'_>) -> Vec<GamePlay> {
    let Some(first) = cameras.first() else { return Vec::new() };
    let mut game: Vec<GamePlay> = first
        .found
        .plays
        .iter()
        .map(|play| GamePlay { takes: vec![Some(play.clone())], by: PairedBy::Alone, doubt: None })
        .collect();
    for (c, camera) in cameras.iter().enumerate().skip(1) {
        game = join(game, c, camera, cameras, listen);
    }
    if cameras.len() > 1 {
        for run in lone_runs(&game) {
            let sure = surely_alone(&game, &run);
            for play in &mut game[run] {
                play.by = PairedBy::Alone;
                if !sure {
                    play.doubt = Some("only one camera shows it".into());
                }
            }
        }
    }
    game
}

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
enum Known {
    Sound(Heard),
    Silence,
}

/// Lays one more camera beside the game so far.
fn join(
    game: Vec<GamePlay>,
    c: usize,
    camera: &Camera<'_>,
    cameras: &[Camera<'_>],
    listen: &mut Listen<'_>,
) -> Vec<GamePlay> {
    let plays = &camera.found.plays;
    let mut known: BTreeMap<(usize, usize), Known> = BTreeMap::new();
    let length = |play: &Play| Some(play.whistle?.time - play.snap?.time);
    let like = |i: usize, j: usize| {
        let other = game[i].takes.iter().flatten().next();
        match (other.and_then(length), length(&plays[j])) {
            (Some(a), Some(b)) => WORTH_ORDER - (LENGTH.0 * (a - b).abs()).min(LENGTH.1),
            _ => WORTH_UNTOLD,
        }
    };
    let mut path = Vec::new();
    for _ in 0..ROUNDS {
        let worth = |i: usize, j: usize| match known.get(&(i, j)) {
            // Not listened to yet: hoped to be the same, so that it will be if it matters.
            None => WORTH_SAME,
            Some(Known::Silence) => like(i, j),
            Some(Known::Sound(h)) if h.ratio > SAME => WORTH_SAME,
            Some(Known::Sound(h)) if h.ratio < DIFFERENT => WORTH_DIFFERENT,
            Some(Known::Sound(_)) => WORTH_UNTOLD,
        };
        path = align(game.len(), plays.len(), &worth);
        let unknown: Vec<_> = path.iter().filter(|p| !known.contains_key(p)).copied().collect();
        if unknown.is_empty() {
            break;
        }
        for (i, j) in unknown {
            let other = game[i].takes.iter().enumerate().find_map(|(k, t)| t.as_ref().map(|t| (k, t.span)));
            let heard = other.and_then(|other| listen(other, (c, plays[j].span)));
            known.insert((i, j), heard.map_or(Known::Silence, Known::Sound));
        }
    }
    // Pairs never listened to are not kept on hope.
    path.retain(|p| known.contains_key(p));
    let in_order =
        game.len() == plays.len() && path.iter().enumerate().all(|(k, p)| *p == (k, k)) && path.len() == plays.len();
    merge(game, c, camera, cameras, &path, &known, in_order)
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

fn merge(
    game: Vec<GamePlay>,
    c: usize,
    camera: &Camera<'_>,
    cameras: &[Camera<'_>],
    path: &[(usize, usize)],
    known: &BTreeMap<(usize, usize), Known>,
    in_order: bool,
) -> Vec<GamePlay> {
    let plays = &camera.found.plays;
    let mut out = Vec::with_capacity(game.len().max(plays.len()));
    let mut next = 0;
    let alone = |play: &Play| {
        let mut takes = vec![None; c];
        takes.push(Some(play.clone()));
        GamePlay { takes, by: PairedBy::Alone, doubt: None }
    };
    for (i, mut play) in game.into_iter().enumerate() {
        match path.iter().find(|p| p.0 == i) {
            Some(&(_, j)) => {
                out.extend(plays[next..j].iter().map(alone));
                next = j + 1;
                let mut take = plays[j].clone();
                let heard = match known.get(&(i, j)) {
                    Some(Known::Sound(h)) if h.ratio > SAME => Some(*h),
                    _ => None,
                };
                let by = match heard {
                    Some(_) => PairedBy::Sound,
                    None if in_order => PairedBy::Order,
                    None => PairedBy::Length,
                };
                let other = play.takes.iter_mut().enumerate().find_map(|(k, t)| t.as_mut().map(|t| (k, t)));
                if let (Some(h), Some((k, other))) = (heard, other) {
                    carry::over(other, &cameras[k], &mut take, camera, h.lag);
                }
                // A play of three cameras is as sure as its weakest pair.
                play.by = match (play.by, by) {
                    (PairedBy::Alone, by) => by,
                    (PairedBy::Length, _) | (_, PairedBy::Length) => PairedBy::Length,
                    (PairedBy::Order, _) | (_, PairedBy::Order) => PairedBy::Order,
                    _ => PairedBy::Sound,
                };
                if play.by == PairedBy::Length {
                    play.doubt = Some(BY_LENGTH.into());
                }
                play.takes.push(Some(take));
            }
            None => play.takes.push(None),
        }
        out.push(play);
    }
    out.extend(plays[next..].iter().map(alone));
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::{FrameNo, Rate};
    use crate::film::{Angle, Evidence, Shot, ShotKind, Sighting, scripted};

    /// A camera whose shots are 10 s each and show the plays of the given numbers; live for `length(number)`.
    fn camera(numbers: &[u32], angle: Angle) -> (Film, Found) {
        let film = Film {
            parts: vec![scripted::part("a.mp4", 300 * numbers.len() as u64, Rate { num: 30, den: 1 })],
            problems: vec![],
        };
        let mut found = Found::default();
        for (k, &number) in numbers.iter().enumerate() {
            let from = k as u64 * 300;
            found.shots.push(Shot { span: FrameSpan::of(from, from + 300), kind: ShotKind::Play, angle });
            let at = |t: f64| Some(Sighting { frame: FrameNo((t * 30.0) as u64), time: t, confidence: 0.9 });
            let snap = k as f64 * 10.0 + 3.0;
            let length = 3.0 + f64::from(number * 7 % 5) * 0.8;
            found.plays.push(Play {
                shot: k,
                span: FrameSpan::of(from, from + 300),
                set: None,
                snap: at(snap),
                whistle: at(snap + length),
                by: Evidence::PictureAndSound,
                doubt: None,
            });
        }
        (film, found)
    }

    fn number(span: FrameSpan) -> usize {
        (span.start.0 / 300) as usize
    }

    fn numbers_paired(a: &[u32], b: &[u32], sound: bool) -> Vec<(Option<u32>, Option<u32>, PairedBy)> {
        let (fa, a_found) = camera(a, Angle::Sideline);
        let (fb, b_found) = camera(b, Angle::EndZone);
        let cameras = [Camera { film: &fa, found: &a_found }, Camera { film: &fb, found: &b_found }];
        let mut asked = 0;
        let mut listen = |x: (usize, FrameSpan), y: (usize, FrameSpan)| {
            asked += 1;
            let same = a[number(x.1)] == b[number(y.1)];
            sound.then_some(Heard { ratio: if same { 7.0 } else { 1.2 }, lag: 0.5 })
        };
        let game = pair(&cameras, &mut listen);
        assert!(asked <= 6 * (a.len() + b.len()), "{asked} pairs were listened to");
        game.iter()
            .map(|p| {
                let of = |c: usize, n: &[u32]| p.takes[c].as_ref().map(|t| n[t.shot]);
                (of(0, a), of(1, b), p.by)
            })
            .collect()
    }

    #[test]
    fn sound_pairs_cameras_that_each_missed_plays() {
        let a: Vec<u32> = (1..30).filter(|n| ![4, 17].contains(n)).collect();
        let b: Vec<u32> = (1..30).filter(|n| ![9, 10, 22].contains(n)).collect();
        for (x, y, by) in numbers_paired(&a, &b, true) {
            match (x, y) {
                (Some(x), Some(y)) => assert!(x == y && by == PairedBy::Sound, "{x} with {y}"),
                (Some(x), None) => assert!([9, 10, 22].contains(&x), "{x} alone"),
                (None, Some(y)) => assert!([4, 17].contains(&y), "{y} alone"),
                (None, None) => panic!("a play of no camera"),
            }
        }
    }

    #[test]
    fn equal_counts_with_different_plays_missing_are_not_paired_by_order_against_the_sound() {
        let a: Vec<u32> = (1..20).filter(|n| *n != 5).collect();
        let b: Vec<u32> = (1..20).filter(|n| *n != 12).collect();
        let game = numbers_paired(&a, &b, true);
        assert!(game.iter().all(|(x, y, _)| x.is_none() || y.is_none() || x == y), "{game:?}");
        assert_eq!(game.iter().filter(|(x, y, _)| x.is_some() && x == y).count(), 17);
    }

    #[test]
    fn without_sound_equal_counts_go_by_order_and_others_by_length_with_a_doubt() {
        let all: Vec<u32> = (1..15).collect();
        assert!(numbers_paired(&all, &all, false).iter().all(|(x, y, by)| x == y && *by == PairedBy::Order));
        let fewer: Vec<u32> = (1..15).filter(|n| *n != 7).collect();
        let game = numbers_paired(&all, &fewer, false);
        assert!(game.iter().any(|(x, y, _)| *x == Some(7) && y.is_none()), "{game:?}");
        assert!(game.iter().all(|(_, _, by)| *by != PairedBy::Order && *by != PairedBy::Sound));
    }

    #[test]
    fn a_play_that_one_camera_missed_needs_no_look_but_two_left_over_side_by_side_do() {
        let doubted = |a: &[u32], b: &[u32], sound: bool| {
            let (fa, a_found) = camera(a, Angle::Sideline);
            let (fb, b_found) = camera(b, Angle::EndZone);
            let cameras = [Camera { film: &fa, found: &a_found }, Camera { film: &fb, found: &b_found }];
            let game = pair(&cameras, &mut |x, y| {
                sound.then(|| Heard { ratio: if a[number(x.1)] == b[number(y.1)] { 7.0 } else { 1.2 }, lag: 0.5 })
            });
            game.iter().filter(|p| p.doubt.is_some()).count()
        };
        assert_eq!(doubted(&[1, 2, 3, 4, 5], &[1, 2, 4, 5], true), 0);
        // One each between the same neighbors: perhaps they are one play that the sound did not tell.
        assert_eq!(doubted(&[1, 2, 3, 5], &[1, 2, 4, 5], true), 2);
        assert_eq!(doubted(&[1, 2, 3], &[7, 8, 9], true), 6);
        assert!(doubted(&[1, 2, 3, 4, 5], &[1, 2, 4, 5], false) > 0);
    }

    #[test]
    fn one_camera_is_a_game_by_itself() {
        let (film, found) = camera(&[1, 2], Angle::Unknown);
        let game = pair(&[Camera { film: &film, found: &found }], &mut |_, _| None);
        assert_eq!(game.len(), 2);
        assert!(game.iter().all(|p| p.doubt.is_none()));
        assert_eq!(pair(&[], &mut |_, _| None), []);
    }
}
