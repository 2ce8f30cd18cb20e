//! Is there a play in a shot, and where: explicit-duration decoding into dead, set and live.

use super::track::{HZ, Means, Track};

/// What the decoder believes. Both sets of numbers were measured on made films: one drawn from tracked movement, one
/// from invented movement with walk-ups to the line.
#[derive(Debug, Clone, Copy)]
pub struct Beliefs {
    /// Weights of a sample's z, r and pan.
    pub weights: [f64; 3],
    /// Lowest value of the pan's term.
    pub pan_floor: f64,
    /// Entering live: factor on (contrast - offset), contrast clipped to -1 and `entry_top`.
    pub entry: f64,
    /// See `entry`.
    pub entry_offset: f64,
    /// See `entry`.
    pub entry_top: f64,
    /// Live on z: two bells as (share, mean, deviation), flat above.
    pub live: [(f64, f64, f64); 2],
    /// Whether each bell is flat above its own mean, or their mixture above the first's.
    pub flat_each: bool,
}

/// Is there a play at all?
pub const WHETHER: Beliefs = Beliefs {
    weights: [0.20, 0.05, 0.30],
    pan_floor: -0.4,
    entry: 3.0,
    entry_offset: 0.5,
    entry_top: 1.8,
    live: [(0.8, -0.2, 0.45), (0.2, -1.2, 0.6)],
    flat_each: false,
};

/// Where is it? Real plays run for seconds at a third of the peak level, so live must not demand the peak.
pub const WHERE: Beliefs = Beliefs {
    weights: [0.05, 0.03, 0.10],
    pan_floor: -0.15,
    entry: 8.0,
    entry_offset: 0.6,
    entry_top: 2.0,
    live: [(0.75, -0.8, 0.45), (0.25, -1.0, 0.5)],
    flat_each: true,
};

/// Live on r, in both.
const LIVE_R: [(f64, f64, f64); 2] = [(0.8, -0.4, 0.55), (0.2, -1.6, 0.8)];
/// Dead on z and r; set on z and r: mean and deviation, no penalty below the mean.
const DEAD: [(f64, f64); 2] = [(-1.1, 0.5), (-1.6, 0.7)];
const SET: [(f64, f64); 2] = [(-1.7, 0.6), (-2.0, 0.6)];
/// Log densities of dead and set are not below this.
const FLOOR: f64 = -5.0;
/// A play costs this; one that does not begin from set costs more; one within the first .6 s of a shot much more.
const PLAY: f64 = -3.0;
const NOT_SET: f64 = -3.3;
const TOO_EARLY: f64 = -8.0;
const EARLY: usize = (0.6 * HZ) as usize;
/// Set lasts at least .7 s.
const SET_LEAST: usize = 11;
/// Live lasts 1.5 to 14 s, best 4.8.
const LIVE_LEAST: usize = 23;
const LIVE_MOST: usize = (14.0 * HZ) as usize;
const LIVE_BEST: (f64, f64) = (4.8, 0.36);
/// Ending at a whistle; within this many seconds of it.
const WHISTLE_END: (f64, f64) = (10.0, 0.2);
/// Beyond this many seconds a whistle's worth is less than any number here tells.
const WHISTLE_REACH: f64 = 8.0 * WHISTLE_END.1;
/// Ending without, though the shot has one; ending with the shot; a whistle inside.
const NO_WHISTLE: f64 = -1.0;
const AT_SHOT_END: f64 = -0.5;
const WHISTLE_INSIDE: f64 = -6.0;

/// The best play in a shot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Decoded {
    /// First live sample.
    pub snap: usize,
    /// First sample after live.
    pub end: usize,
    /// Log odds over no play.
    pub score: f64,
}

/// Log density of a bell that is flat on one side: below the mean (`below`) or above.
fn bell(x: f64, mean: f64, deviation: f64, flat_below: bool) -> f64 {
    let d = if flat_below { (x - mean).max(0.0) } else { x - mean };
    -0.5 * (d / deviation).powi(2) - deviation.ln() - 0.918_938_533
}

fn mixture(x: f64, bells: [(f64, f64, f64); 2], flat_each: bool) -> f64 {
    let sum: f64 = bells
        .iter()
        .map(|&(share, mean, deviation)| {
            let top = if flat_each { mean } else { bells[0].1 };
            share * bell(x.min(top), mean, deviation, false).exp()
        })
        .sum();
    sum.max(1e-12).ln()
}

/// Entry contrast at every sample: the mean of .1 to .8 s after less the mean of .8 s before.
fn entry_contrast(track: &Track) -> Vec<f64> {
    let mix = Means::of(track.z.iter().zip(&track.r).map(|(z, r)| (0.6 * z + 0.4 * r).clamp(-2.6, 0.4)));
    (0..track.len() as i64).map(|t| mix.contrast(t - 12..t, t + 1..t + 12)).collect()
}

/// Decodes one shot; `None` if it is too short for a play.
pub fn decode(track: &Track, beliefs: &Beliefs) -> Option<Decoded> {
    let n = track.len();
    if n < LIVE_LEAST + 2 {
        return None;
    }
    let [wz, wr, wp] = beliefs.weights;
    let quiet = |means: [(f64, f64); 2], k: usize| {
        wz * bell(track.z[k], means[0].0, means[0].1, true).max(FLOOR)
            + wr * bell(track.r[k], means[1].0, means[1].1, true).max(FLOOR)
    };
    let dead: Vec<f64> = (0..n).map(|k| quiet(DEAD, k)).collect();
    let set: Vec<f64> = (0..n).map(|k| quiet(SET, k)).collect();
    let live = Means::of((0..n).map(|k| {
        let pan = ((track.pan[k] - 0.03) / 0.05).clamp(beliefs.pan_floor, 2.0);
        wz * mixture(track.z[k], beliefs.live, beliefs.flat_each) + wr * mixture(track.r[k], LIVE_R, false) + wp * pan
    }));
    let set_sums = Means::of(set.iter().copied());
    let dead_sums = Means::of(dead.iter().copied());
    // Before the play: dead or set as each sample likes; no play at all: likewise throughout.
    let either = Means::of(dead.iter().zip(&set).map(|(d, s)| d.max(*s)));
    let contrast = entry_contrast(track);
    let whistles: Vec<(f64, f64)> =
        track.whistles.iter().map(|w| (track.at(w.time) / HZ, f64::from(w.confidence))).collect();
    let mut best: Option<Decoded> = None;
    let none = either.sum(0, n as i64);
    for a in 1..n - LIVE_LEAST {
        let before = either.sum(0, a as i64);
        let mut entry = beliefs.entry * (contrast[a].clamp(-1.0, beliefs.entry_top) - beliefs.entry_offset) + PLAY;
        let from_set = if a >= SET_LEAST {
            let run = (a - SET_LEAST) as i64;
            either.sum(0, run) + set_sums.sum(run, a as i64)
        } else {
            f64::NEG_INFINITY
        };
        entry += from_set.max(before + NOT_SET);
        if a < EARLY {
            entry += TOO_EARLY;
        }
        for b in a + LIVE_LEAST..=(a + LIVE_MOST).min(n) {
            let seconds = (b - a) as f64 / HZ;
            let mut score = entry + live.sum(a as i64, b as i64) + dead_sums.sum(b as i64, n as i64)
                - 0.5 * ((seconds / LIVE_BEST.0).ln() / LIVE_BEST.1).powi(2);
            let t = b as f64 / HZ;
            if b == n {
                score += AT_SHOT_END;
            } else {
                score += 0.8 * (-contrast[b]).clamp(-1.0, 1.2);
            }
            if !whistles.is_empty() {
                let ends = whistles
                    .iter()
                    .filter(|(tw, _)| (t - tw).abs() < WHISTLE_REACH)
                    .map(|(tw, c)| WHISTLE_END.0 * c * (-0.5 * ((t - tw) / WHISTLE_END.1).powi(2)).exp())
                    .fold(0.0, f64::max);
                score += ends + NO_WHISTLE;
                let inside = whistles.iter().filter(|(tw, _)| *tw > a as f64 / HZ && *tw < t - 0.4);
                score += WHISTLE_INSIDE * inside.map(|(_, c)| c).sum::<f64>();
            }
            if best.is_none_or(|b| score - none > b.score) {
                best = Some(Decoded { snap: a, end: b, score: score - none });
            }
        }
    }
    best
}
