//! When the ball moves.

use super::decode::{self, Decoded};
use super::track::{HZ, Means, STILL, Track};
use crate::film::Angle;

/// Contrast compares so many samples after with so many before. (Constants of this file: measured on made films drawn
/// from tracked movement.)
const AFTER: i64 = 10;
const BEFORE: i64 = 12;
/// A snap is looked for from so many seconds after the shot's start to so many before its end.
const FROM_START: f64 = 0.6;
const TO_END: f64 = 1.5;
/// The rise is looked for around the candidate, seconds: long before it, because where men run at the lens what is seen
/// first is the operator beginning to follow.
const NEAR: (f64, f64) = (1.1, 0.3);
/// So many seconds before a rise are compared with as many after.
const HALF: f64 = 0.45;
/// What is below the first is still, what is over the second is live, in logs.
const CLEAR: (f64, f64) = (-2.2, 0.2);
/// Samples around the rise that the ramp is fitted to.
const FITTED: (i64, i64) = (19, 14);
/// The ramp from still to moving: its length in samples is fitted, because lines burst and routes build up.
const RAMPS: [f64; 7] = [3.0, 4.0, 6.0, 8.0, 10.0, 13.0, 16.0];

/// How early the ramp's foot is found on average against the ball, seconds: from behind the end zone men who run at the
/// lens make a longer, flatter ramp, whose foot is fitted earlier.
pub fn early(angle: Angle) -> f64 {
    match angle {
        Angle::Sideline => 0.03,
        Angle::EndZone => 0.12,
        _ => 0.06,
    }
}

/// Where a snap was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SnapFound {
    /// Film time in seconds.
    pub time: f64,
    /// How much more motion after than before, in logs: under about 1 is weak.
    pub contrast: f64,
    /// How far the second best place (over 1.5 s away) lies behind, in the same.
    pub margin: f64,
    /// How many seconds later that place is, below 0 where earlier; `None` if nothing else rises.
    pub rival: Option<f64>,
    /// Seconds from the shot's start.
    pub lead: f64,
}

/// The contrast at every sample.
fn contrasts(track: &Track) -> Vec<f64> {
    let y = Means::of(track.z.iter().map(|z| z.clamp(-2.6, 0.0)));
    (0..track.len() as i64).map(|t| y.contrast(t - BEFORE..t, t..t + AFTER)).collect()
}

/// Finds the snap of a shot that is a play; `None` if the shot is too short to hold one.
pub fn snap(track: &Track, angle: Angle) -> Option<SnapFound> {
    let n = track.len() as f64;
    let first = (FROM_START * HZ) as usize;
    let last = (n - TO_END * HZ).max(0.0) as usize;
    if last <= first {
        return None;
    }
    let contrast = contrasts(track);
    let s0 = place(track, &contrast, first, last)?;
    let time = track.time(onset(track, s0)) + early(angle);
    let away = |k: usize| (k as f64 - s0 as f64) / HZ;
    let rival = (first..last)
        .filter(|&k| away(k).abs() > 1.5 && contrast[k] > 0.0)
        .max_by(|&a, &b| contrast[a].total_cmp(&contrast[b]));
    Some(SnapFound {
        time: time.clamp(track.from, track.to),
        contrast: contrast[s0],
        margin: contrast[s0] - rival.map_or(0.0, |k| contrast[k]),
        rival: rival.map(away),
        lead: time - track.from,
    })
}

fn place(track: &Track, contrast: &[f64], first: usize, last: usize) -> Option<usize> {
    let plain = (first..last).max_by(|&a, &b| contrast[a].total_cmp(&contrast[b]))?;
    match decode::decode(track, &decode::WHETHER) {
        Some(Decoded { snap, .. }) => {
            // The decoder says which rise; the contrast near it says where the rise is.
            let near = (snap.saturating_sub(8).max(first))..(snap + 8).min(last);
            near.max_by(|&a, &b| contrast[a].total_cmp(&contrast[b])).or(Some(plain))
        }
        None => Some(plain),
    }
}

/// The foot of the rise near sample `s0`, as a real sample number.
pub fn onset(track: &Track, s0: usize) -> f64 {
    let y = Means::of(track.c.iter().map(|c| (c + STILL).ln().clamp(CLEAR.0, CLEAR.1)));
    let half = (HALF * HZ).round() as i64;
    let s = s0 as i64;
    let (a, b) = (s - (NEAR.0 * HZ) as i64, s + (NEAR.1 * HZ) as i64);
    let t1 = (a.max(0)..=b.min(track.len() as i64 - 1))
        .max_by(|&p, &q| {
            let at = |t: i64| y.contrast(t - half..t, t..t + half);
            at(p).total_cmp(&at(q))
        })
        .unwrap_or(s);
    let (from, to) = ((t1 - FITTED.0).max(0), (t1 + FITTED.1).min(track.len() as i64));
    let window: Vec<(f64, f64)> = (from..to).map(|k| (k as f64, track.c[k as usize])).collect();
    let mut best = (f64::INFINITY, t1 as f64);
    for quarter in 0..48 {
        let t0 = (t1 - 9) as f64 + 0.25 * f64::from(quarter);
        for length in RAMPS {
            if let Some(error) = ramp_error(&window, t0, length)
                && error < best.0
            {
                best = (error, t0);
            }
        }
    }
    best.1
}

/// Squared error of `c = b + a clip((t - t0) / length, 0, 1)` with its best a and b; `None` if it does not rise.
fn ramp_error(window: &[(f64, f64)], t0: f64, length: f64) -> Option<f64> {
    let n = window.len() as f64;
    let (mut sx, mut sy, mut sxx, mut sxy, mut syy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for &(t, y) in window {
        let x = ((t - t0) / length).clamp(0.0, 1.0);
        sx += x;
        sy += y;
        sxx += x * x;
        sxy += x * y;
        syy += y * y;
    }
    let spread = sxx - sx * sx / n;
    if spread < 1e-9 {
        return None;
    }
    let a = (sxy - sx * sy / n) / spread;
    (a > 0.0).then(|| syy - sy * sy / n - a * a * spread)
}
