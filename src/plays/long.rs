//! Plays in a take that runs on through several of them.
//!
//! Between plays men walk, huddle and line up, so that the level of motion says little. What tells a snap is that most
//! of the men stand and then most of them move: shares of moving cells, each held against the film around it, before and
//! after; then a chain of snaps that lie as far apart as football's do.

use super::snap;
use super::track::{HZ, Means, STILL, Track, percentile};
use crate::film::{Angle, Whistle};

/// Shares and levels are held against the film so many seconds before and after. (Constants of this file, but where
/// another source is named: measured on made films drawn from tracked movement; `cargo bench --bench long_takes` measures
/// them again.)
const AROUND: f64 = 25.0;
/// The reference is a low and a high percentile of that stretch.
const LOW: f64 = 0.05;
const HIGH: f64 = 0.95;
/// A candidate's onset is at least this, and the greatest within so many seconds.
const ONSET: f64 = 0.15;
const APART: f64 = 1.5;
/// Two snaps are at least so many seconds apart, and each second under the second figure costs this: the play itself, the
/// ball made ready, the huddle [practice].
const NEXT_SNAP: (f64, f64) = (10.0, 20.0);
const HURRY: f64 = 0.3;
/// A whistle less sure than this is not heard.
const FAINT: f32 = 0.15;
/// Seconds from snap to whistle: the best, and the deviation of its logarithm.
const TO_WHISTLE: (f64, f64) = (7.2, 0.45);

/// How many figures a candidate is judged by.
pub const FEATURES: usize = 10;

/// The weights of the figures, and the offset: log odds that a candidate is a snap.
const WEIGHTS: [f64; FEATURES] = [-4.6, -5.3, 3.1, 3.7, 1.0, 1.65, 10.0, 1.0, 1.0, -1.0];
const OFFSET: f64 = -7.5;
/// Men who stand leave less than the first share moving, men who walk more than the second: an eye that follows men who
/// walk must not outweigh that they do.
const STANDING: (f64, f64) = (0.15, 0.35);
/// A candidate with lower odds is none.
const NONE: f64 = -3.0;

/// A take's shares of moving cells, each held against the film around it: 0 still, 1 as lively as it gets.
#[derive(Debug, Clone)]
pub struct Local {
    quick: Vec<f64>,
    stirring: Vec<f64>,
    /// Mean of both, each at most 1.
    both: Vec<f64>,
    ln_quick: Vec<f64>,
    ln_robust: Vec<f64>,
}

/// Where a snap may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// Sample.
    pub at: usize,
    /// What it is judged by.
    pub features: [f64; FEATURES],
    /// Log odds.
    pub odds: f64,
}

/// Percentiles of a series around each sample, linear between whole seconds.
fn around(values: &[f64], share: f64) -> Vec<f64> {
    let (step, reach) = (HZ as usize, (AROUND * HZ) as usize);
    let at: Vec<f64> = (0..values.len().div_ceil(step) + 1)
        .map(|k| {
            let middle = (k * step).min(values.len());
            let span = middle.saturating_sub(reach)..(middle + reach).min(values.len());
            percentile(&values[span], share)
        })
        .collect();
    (0..values.len())
        .map(|k| {
            let (a, f) = (k / step, (k % step) as f64 / step as f64);
            at[a] + f * (at[a + 1] - at[a])
        })
        .collect()
}

fn normal(values: &[f64]) -> Vec<f64> {
    let (low, high) = (around(values, LOW), around(values, HIGH));
    values
        .iter()
        .zip(low.iter().zip(&high))
        .map(|(v, (low, high))| ((v - low) / (high - low).max(1e-6)).clamp(0.0, 1.2))
        .collect()
}

impl Local {
    /// Of a take.
    pub fn of(track: &Track) -> Self {
        let (quick, stirring, robust) = (normal(&track.moving), normal(&track.stirring), normal(&track.robust));
        let both = quick.iter().zip(&stirring).map(|(a, b)| 0.5 * (a.min(1.0) + b.min(1.0))).collect();
        let ln = |v: &[f64]| v.iter().map(|x| (x + 0.05).ln()).collect();
        Self { both, ln_quick: ln(&quick), ln_robust: ln(&robust), quick, stirring }
    }
}

/// The take's motion relative to the film around it, for what is measured on single plays.
pub fn relative(track: &Track) -> Track {
    let mut out = track.clone();
    let [energy, clear, robust] = [&track.energy, &track.clear, &track.robust].map(|values| around(values, HIGH));
    let share = |v: &[f64], of: &[f64]| -> Vec<f64> { v.iter().zip(of).map(|(v, of)| v / of.max(1e-6)).collect() };
    out.e = share(&track.energy, &energy);
    out.c = share(&track.clear, &clear);
    out.z = out.e.iter().map(|e| (e + STILL).ln()).collect();
    out.r = share(&track.robust, &robust).iter().map(|r| (r + STILL).ln()).collect();
    out
}

/// Every place where men who stood begin to move, with its odds.
pub fn candidates(track: &Track, local: &Local) -> Vec<Candidate> {
    let n = track.len() as i64;
    let capped = |v: &[f64]| Means::of(v.iter().map(|x| x.min(0.7)));
    let (quick, stirring) = (capped(&local.quick), capped(&local.stirring));
    let both = Means::of(local.both.iter().copied());
    let ln_quick = Means::of(local.ln_quick.iter().copied());
    let ln_robust = Means::of(local.ln_robust.iter().copied());
    let pan = Means::of(track.pan.iter().map(|p| p.min(0.3)));
    let onset: Vec<f64> = (0..n)
        .map(|t| {
            let rise = |m: &Means| m.contrast(t - 11..t, t + 1..t + 11);
            0.5 * (rise(&quick) + rise(&stirring)) + 0.15 * rise(&ln_quick).clamp(-1.0, 2.0)
        })
        .collect();
    let mut order: Vec<usize> = (0..onset.len()).filter(|&k| onset[k] >= ONSET).collect();
    order.sort_by(|&a, &b| onset[b].total_cmp(&onset[a]));
    let mut peaks: Vec<usize> = Vec::new();
    for k in order {
        if peaks.iter().all(|p| p.abs_diff(k) as f64 > APART * HZ) {
            peaks.push(k);
        }
    }
    peaks.sort_unstable();
    let mean = |m: &Means, a: i64, b: i64| m.mean(a, b).unwrap_or(0.0);
    peaks
        .into_iter()
        .map(|at| {
            let t = at as i64;
            let before = mean(&both, t - 12, t);
            let features = [
                before,
                mean(&both, t - 30, t - 12),
                mean(&both, t + 15, t + 45),
                mean(&both, t + 45, t + 75),
                ln_quick.contrast(t - 12..t, t + 3..t + 14),
                ln_robust.contrast(t - 12..t, t + 3..t + 18),
                pan.contrast(t - 30..t, t + 8..t + 45),
                heard_after(&track.whistles, track.time(at as f64)),
                onset[at],
                ((before - STANDING.0) / (STANDING.1 - STANDING.0)).clamp(0.0, 1.0),
            ];
            let odds = OFFSET + WEIGHTS.iter().zip(&features).map(|(w, f)| w * f).sum::<f64>();
            Candidate { at, features, odds }
        })
        .collect()
}

/// How well a whistle stands where one would end a play that begins at `time`.
fn heard_after(whistles: &[Whistle], time: f64) -> f64 {
    if whistles.iter().filter(|w| w.confidence > FAINT).count() < 2 {
        return 0.0;
    }
    let worth = |w: &Whistle| {
        let (c, d) = (f64::from(w.confidence), w.time - 0.22 - time);
        (1.5..16.0)
            .contains(&d)
            .then(|| c * (1.2 - 0.5 * ((d / TO_WHISTLE.0).ln() / TO_WHISTLE.1).powi(2)) - 0.3 * (1.0 - c))
    };
    whistles.iter().filter(|w| w.confidence > FAINT).filter_map(worth).fold(-0.3, f64::max)
}

/// The chain of snaps with the best odds.
pub fn chain(all: &[Candidate]) -> Vec<Candidate> {
    let all: Vec<Candidate> = all.iter().filter(|c| c.odds >= NONE).copied().collect();
    // The best sum that ends with each, and the one before it.
    let mut best: Vec<(f64, Option<usize>)> = Vec::with_capacity(all.len());
    for (k, c) in all.iter().enumerate() {
        let mut top = (c.odds, None);
        for j in (0..k).rev() {
            let seconds = (c.at - all[j].at) as f64 / HZ;
            if seconds < NEXT_SNAP.0 {
                continue;
            }
            let sum = best[j].0 + c.odds - HURRY * (NEXT_SNAP.1 - seconds).max(0.0);
            if sum > top.0 {
                top = (sum, Some(j));
            }
        }
        best.push(top);
    }
    let mut at = (0..all.len()).filter(|&k| best[k].0 > 0.0).max_by(|&a, &b| best[a].0.total_cmp(&best[b].0));
    let mut out = Vec::new();
    while let Some(k) = at {
        out.push(all[k]);
        at = best[k].1;
    }
    out.reverse();
    out
}

/// The snaps of a take: candidates, the chain's with the moment found in `relative`, film time in seconds.
pub fn snaps(relative: &Track, local: &Local) -> (Vec<Candidate>, Vec<(Candidate, f64)>) {
    let all = candidates(relative, local);
    let both = Means::of(local.both.iter().copied());
    let chosen = chain(&all);
    let timed = chosen
        .iter()
        .map(|c| {
            let c = first_onset(&all, &both, *c);
            (c, relative.time(snap::onset(relative, c.at)) + snap::early(Angle::Unknown))
        })
        .collect();
    (all, timed)
}

/// Motion builds up in steps: if men moved already before the one chosen, the first of the steps is the snap.
fn first_onset(all: &[Candidate], both: &Means, chosen: Candidate) -> Candidate {
    let t = chosen.at as i64;
    let mean = |a: i64, b: i64| both.mean(a, b).unwrap_or(0.0);
    if mean(t - 12, t) <= 0.25 {
        return chosen;
    }
    let earlier = all.iter().find(|c| {
        let (u, seconds) = (c.at as i64, (t - c.at as i64) as f64 / HZ);
        let (before, rise) = (mean(u - 12, u), both.contrast(u - 11..u, u + 1..u + 11));
        (0.8..7.0).contains(&seconds)
            && before <= 0.25
            && rise >= 0.2
            && c.odds >= -2.0
            && (u + 12..t - 8).all(|k| mean(k, k + 8) > before + 0.5 * rise)
    });
    earlier.copied().unwrap_or(chosen)
}
