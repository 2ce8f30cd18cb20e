//! What a take that runs on holds: its plays with their ends, and which film belongs to each.

use super::end::{EndFound, softmax};
use super::long::{self, Local};
use super::track::{HZ, Means, Track};
use crate::base::FrameSpan;
use crate::film::Film;

/// A shot longer than this may hold several plays: film cut by shots rolls for 8 to 30 s a play (practice).
pub const LONG: f64 = 45.0;
/// The earliest and latest end after the snap, seconds, and how long before the next snap play is over at the latest.
/// (Constants of this file, but where marked: measured on made films drawn from tracked movement.)
const EARLIEST: f64 = 1.5;
const LATEST: f64 = 13.5;
const BEFORE_NEXT: f64 = 4.0;
/// Weights of the drops of pan and robust motion, over so many seconds before and after.
const DROPS: [f64; 2] = [1.8, 0.8];
const OVER: f64 = 2.0;
/// Seconds from snap to end: the best, the deviation of its logarithm, and the weight.
const LENGTH: (f64, f64, f64) = (7.0, 0.36, 0.42);
/// A whistle: weight, deviation, how late it is heard (the referee and the way of the sound), seconds. Once the snap is known faint ones are believed: this
/// score is sure by nothing and that one wholly.
const WHISTLE: (f64, f64, f64) = (7.0, 0.25, 0.38);
const SCORES: (f64, f64) = (-2.0, 3.0);
/// A sure whistle well before the end takes this from it: the first one blows the play dead, the next makes the ball
/// ready.
const BLOWN: f64 = 3.0;
/// Film kept before the snap and after the end: where both are sure, and where they are not [practice: the set and any
/// shift are seen, and a second look loses nothing].
const LEAD: (f64, f64) = (8.0, 25.0);
const TAIL: (f64, f64) = (4.0, 20.0);
/// A play in doubt may be over at once or begin this late, as far as its neighbors' film goes.
const MAY_BE_LATE: f64 = 6.0;
/// A snap with odds under this is shown to a person.
const SURE: f64 = 1.5;
/// What no clip shows yet gets one, for a person to look at, if a snap is not ruled out there: odds from this on ...
const PERHAPS: f64 = -4.5;
/// ... so much film before and after it, seconds ...
const PERHAPS_AROUND: (f64, f64) = (15.0, 20.0);
/// ... so many seconds from any play's clip at least.
const CLEAR: f64 = 2.0;

/// Whether a shot is so long that it may hold several plays.
pub fn runs_on(shot: FrameSpan, film: &Film) -> bool {
    film.lasts(shot) >= LONG
}

/// One play of a take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InTake {
    /// Film time of the snap; `None` where a play may be and no more can be said.
    pub snap: Option<f64>,
    /// Log odds of the snap.
    pub odds: f64,
    /// The end.
    pub end: Option<EndFound>,
    /// Film times of the first and last of it that is kept.
    pub from: f64,
    /// Likewise.
    pub to: f64,
}

impl InTake {
    /// Whether the snap is.
    pub fn sure(&self) -> bool {
        self.odds >= SURE
    }

    /// From when on another play may begin, film time: after the end, or soon after the snap where that is in doubt.
    fn over(&self) -> f64 {
        match (self.end, self.snap) {
            (Some(end), _) if self.sure() => end.time + 1.0,
            (_, snap) => snap.map_or(self.from, |s| s + EARLIEST),
        }
    }
}

/// The plays of a take in order, and the take's motion relative to the film around it.
pub fn plays(track: &Track) -> (Vec<InTake>, Track) {
    let relative = long::relative(track);
    let (all, snaps) = long::snaps(&relative, &Local::of(track));
    let mut out: Vec<InTake> = Vec::with_capacity(snaps.len());
    for (k, (candidate, snap)) in snaps.iter().enumerate() {
        let next = snaps.get(k + 1).map_or(track.to, |n| n.1 - BEFORE_NEXT);
        let end = end(&relative, *snap, next.min(*snap + LATEST));
        out.push(InTake { snap: Some(*snap), odds: candidate.odds, end, from: *snap, to: *snap });
    }
    for k in 0..out.len() {
        let play = out[k];
        let Some(snap) = play.snap else { continue };
        let before = k.checked_sub(1).map_or(track.from, |p| out[p].over());
        let late = |n: &InTake| if n.sure() { -1.0 } else { MAY_BE_LATE };
        let after = out.get(k + 1).and_then(|n| Some(n.snap? + late(n))).map_or(track.to, |t| t.min(track.to));
        let heard = play.end.is_some_and(|e| e.whistle > 0.3);
        let lead = if play.sure() { LEAD.0 } else { LEAD.1 };
        let tail = if play.sure() && heard { TAIL.0 } else { TAIL.1 };
        let over = play.end.map_or(snap + LATEST, |e| e.time + tail);
        out[k].from = (snap - lead).max(before).min(snap);
        out[k].to = over.min(after).max(snap);
    }
    let known = out.clone();
    for c in all.iter().filter(|c| c.odds >= PERHAPS) {
        let time = relative.time(c.at as f64);
        if out.iter().any(|p| p.from - CLEAR < time && time < p.to + CLEAR) {
            continue;
        }
        let before = known.iter().filter(|p| p.from < time).map(InTake::over).fold(track.from, f64::max);
        let after = known.iter().filter(|p| p.from > time).map(|p| p.from).fold(track.to, f64::min);
        let (from, to) = ((time - PERHAPS_AROUND.0).max(before), (time + PERHAPS_AROUND.1).min(after));
        out.push(InTake { snap: None, odds: c.odds, end: None, from, to });
    }
    out.sort_by(|a, b| a.from.total_cmp(&b.from));
    (out, relative)
}

/// When the play that was snapped at `snap` is over, by `latest`.
fn end(relative: &Track, snap: f64, latest: f64) -> Option<EndFound> {
    let first = relative.at(snap + EARLIEST).ceil().max(0.0) as i64;
    let last = (relative.at(latest).floor() as i64).min(relative.len() as i64 - 1);
    if first > last {
        return None;
    }
    let pan = Means::of(relative.pan.iter().map(|p| (p.min(1.0) + 0.015).ln()));
    let robust = Means::of(relative.r.iter().map(|r| r.clamp(-2.6, 0.3)));
    let over = (OVER * HZ) as i64;
    let drop = |m: &Means, t: i64| -m.contrast(t - over..t, t..t + over);
    let heard: Vec<(f64, f64)> = relative
        .whistles
        .iter()
        .filter(|w| w.time > snap + 1.0 && w.time < latest + 1.0)
        .map(|w| (w.time, ((f64::from(w.score) - SCORES.0) / (SCORES.1 - SCORES.0)).clamp(0.0, 1.0)))
        .collect();
    let worth =
        |t: f64, (at, sure): &(f64, f64)| WHISTLE.0 * sure * (-0.5 * ((t - at + WHISTLE.2) / WHISTLE.1).powi(2)).exp();
    let times: Vec<f64> = (first..=last).map(|k| relative.time(k as f64)).collect();
    let scores: Vec<f64> = (first..=last)
        .zip(&times)
        .map(|(k, &t)| {
            let mut score = DROPS[0] * drop(&pan, k) + DROPS[1] * drop(&robust, k)
                - LENGTH.2 * (((t - snap) / LENGTH.0).ln() / LENGTH.1).powi(2);
            if !heard.is_empty() {
                let blown = heard.iter().filter(|w| w.0 < t - 0.3).map(|w| w.1).fold(0.0, f64::max);
                score += heard.iter().map(|w| worth(t, w)).fold(0.0, f64::max) - 1.0 - BLOWN * blown;
            }
            score
        })
        .collect();
    let best = (0..scores.len()).max_by(|&a, &b| scores[a].total_cmp(&scores[b]))?;
    let time = times[best];
    let shares = softmax(&scores);
    let belief = shares.iter().zip(&times).filter(|(_, t)| (*t - time).abs() <= 0.5).map(|(s, _)| s).sum();
    let by = heard.iter().filter(|w| (time - w.0 + WHISTLE.2).abs() < 3.0 * WHISTLE.1).map(|w| w.1);
    Some(EndFound { time, belief, whistle: by.fold(0.0, f64::max) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::film::{Sample, Whistle};

    /// A take in which the men walk, line up, stand and play: snaps at the given seconds, each play over 6 s later. Lively
    /// walking in between moves as many of them as a play does at its quietest.
    fn take(snaps: &[f64], seconds: f64, whistled: bool) -> Track {
        let level = |t: f64| -> f64 {
            let since = snaps.iter().map(|s| t - s).filter(|d| (-3.5..9.0).contains(d)).fold(f64::NAN, f64::min);
            match since {
                d if d < 0.0 => 0.04,
                d if d < 0.8 => 0.04 + d,
                d if d < 6.0 => 0.85,
                d if d < 9.0 => 0.85 - 0.17 * (d - 6.0),
                _ => 0.34,
            }
        };
        let samples: Vec<Sample> = (0..(seconds * HZ) as u64)
            .map(|k| {
                let time = k as f64 / HZ;
                let ripple = 1.0 + 0.25 * (k as f64 * 1.7).sin() * (k as f64 * 0.31).cos();
                let v = (level(time) * ripple) as f32;
                Sample {
                    frame: 2 * k,
                    time,
                    energy: 0.2 * v,
                    clear: 0.2 * v,
                    robust: 0.01 * v,
                    pan: if level(time) > 0.5 { 0.08 } else { 0.02 },
                    moving: 0.05 * v,
                    stirring: 0.08 * v,
                    field: 0.8,
                    sigma: 1.0,
                    ..Sample::default()
                }
            })
            .collect();
        let blow = |s: &f64| Whistle { time: s + 6.2, length: 0.4, score: 5.0, confidence: 0.9 };
        let whistles: Vec<Whistle> = if whistled { snaps.iter().map(blow).collect() } else { Vec::new() };
        Track::of(&samples, 0.0, seconds, &whistles)
    }

    #[test]
    fn every_play_of_a_take_is_found_and_no_walk_is_taken_for_one() {
        let snaps = [12.0, 41.0, 63.0, 100.0, 131.0];
        for whistled in [true, false] {
            let (found, _) = plays(&take(&snaps, 160.0, whistled));
            let known: Vec<&InTake> = found.iter().filter(|p| p.snap.is_some()).collect();
            assert_eq!(known.len(), snaps.len(), "{found:?}");
            for (play, snap) in known.iter().zip(snaps) {
                assert!(play.snap.is_some_and(|s| (s - snap).abs() < 0.3), "{play:?} for {snap}");
                assert!(play.from <= snap - 2.0 && play.to >= snap + 6.5, "{play:?} loses film of {snap}");
                let end = play.end.unwrap();
                let close = if whistled { 0.3 } else { 2.5 };
                assert!((end.time - snap - 6.0).abs() < close, "{end:?} for {}", snap + 6.0);
                assert_eq!(end.whistle > 0.5, whistled);
            }
            assert!(known.windows(2).all(|w| w[0].to <= w[1].snap.unwrap()));
        }
    }

    #[test]
    fn men_who_only_walk_are_no_plays() {
        let (found, _) = plays(&take(&[], 120.0, false));
        assert!(found.iter().all(|p| p.snap.is_none()), "{found:?}");
        assert!(plays(&Track::default()).0.is_empty());
    }
}
