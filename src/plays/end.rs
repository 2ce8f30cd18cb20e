//! When the play is dead: seen in the run-out, heard in the whistle, known by the operator's habit.

use super::track::{HZ, Means, Track, percentile};

/// The earliest end after the snap, seconds. (Constants of this file: measured on made films drawn from tracked
/// movement; the length of plays is practice and agrees.)
const EARLIEST: f64 = 1.5;
/// Weights of the drops of pan, z and r.
const DROPS: [f64; 3] = [0.3, 0.3, 0.6];
/// Seconds from snap to end: best length and deviation of its logarithm, and the weight.
const LENGTH: (f64, f64, f64) = (7.4, 0.34, 0.2);
/// A whistle: weight, deviation, and how late it is heard, seconds: the referee blows .22 s after the play is dead, and
/// over the sixty yards to the camera sound takes .16 s more (at 343 m/s; the distance is practice).
const WHISTLE: (f64, f64, f64) = (8.0, 0.25, 0.38);
/// A sure whistle well before the end, after which play would have gone on, takes this from it: a referee blows twice, the
/// first counts.
const BLOWN: f64 = 3.0;
/// Whistles less sure than this are not heard.
const FAINT: f32 = 0.15;
/// Rounds in which the operator's tail is learned, from at least so many plays; least deviation, seconds.
const ROUNDS: usize = 6;
const LEAST_PLAYS: usize = 5;
const LEAST_SPREAD: f64 = 0.5;

/// The operator's habit: seconds that the camera runs on after the end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tail {
    /// Weighted median.
    pub median: f64,
    /// Deviation.
    pub spread: f64,
}

/// A play's end as found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EndFound {
    /// Film time in seconds.
    pub time: f64,
    /// Share of the belief that lies within half a second of it.
    pub belief: f64,
    /// Confidence of the whistle that it was found by, 0 for none.
    pub whistle: f64,
}

/// Scores of every possible end of one shot.
struct Scores {
    /// Film times.
    times: Vec<f64>,
    plain: Vec<f64>,
    to: f64,
}

fn scores(track: &Track, snap: f64) -> Option<Scores> {
    let n = track.len() as i64;
    let first = track.at(snap + EARLIEST).ceil().max(0.0) as i64;
    if first >= n {
        return None;
    }
    let pan = Means::of(track.pan.iter().map(|p| (p + 0.015).ln()));
    let z = Means::of(track.z.iter().map(|z| z.clamp(-2.6, 0.3)));
    let r = Means::of(track.r.iter().map(|r| r.clamp(-2.6, 0.3)));
    let (long, short) = ((1.2 * HZ) as i64, 1);
    let drop = |m: &Means, t: i64| -m.contrast(t - long..t - short, t + short..t + HZ as i64);
    let heard: Vec<_> = track.whistles.iter().filter(|w| w.confidence > FAINT && w.time > snap + 1.0).collect();
    let mut out = Scores { times: Vec::new(), plain: Vec::new(), to: track.to };
    for k in first..n {
        let t = track.time(k as f64);
        let length = (t - snap).max(0.1);
        let mut score = DROPS[0] * drop(&pan, k) + DROPS[1] * drop(&z, k) + DROPS[2] * drop(&r, k)
            - LENGTH.2 * ((length / LENGTH.0).ln() / LENGTH.1).powi(2);
        if !heard.is_empty() {
            let most = heard
                .iter()
                .map(|w| {
                    let late = t - w.time + WHISTLE.2;
                    WHISTLE.0 * f64::from(w.confidence) * (-0.5 * (late / WHISTLE.1).powi(2)).exp()
                })
                .fold(0.0, f64::max);
            let blown = heard.iter().filter(|w| w.time < t - 0.3).map(|w| f64::from(w.confidence)).fold(0.0, f64::max);
            score += most - 1.0 - BLOWN * blown;
        }
        out.times.push(t);
        out.plain.push(score);
    }
    Some(out)
}

impl Scores {
    fn with(&self, tail: Option<Tail>) -> Vec<f64> {
        let habit = |t: f64| match tail {
            Some(tail) => (0.5 * ((self.to - t - tail.median) / tail.spread).powi(2)).min(4.0),
            None => 0.0,
        };
        self.times.iter().zip(&self.plain).map(|(&t, s)| s - habit(t)).collect()
    }
}

/// Scores as shares of belief that sum to 1.
pub fn softmax(scores: &[f64]) -> Vec<f64> {
    let top = scores.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = scores.iter().map(|s| (s - top).exp()).collect();
    let sum: f64 = weights.iter().sum();
    weights.into_iter().map(|w| w / sum).collect()
}

/// Ends of all plays of one camera: pairs of track and snap (film time). Learns the operator's tail over them.
pub fn ends(plays: &[(&Track, f64)]) -> (Vec<Option<EndFound>>, Option<Tail>) {
    let all: Vec<Option<Scores>> = plays.iter().map(|(track, snap)| scores(track, *snap)).collect();
    let mut tail = None;
    if all.iter().flatten().count() >= LEAST_PLAYS {
        for _ in 0..ROUNDS {
            let mut left: Vec<(f64, f64)> = Vec::new();
            for scores in all.iter().flatten() {
                let belief = softmax(&scores.with(tail));
                left.extend(scores.times.iter().zip(belief).map(|(t, w)| (scores.to - t, w)));
            }
            let median = weighted_median(&mut left);
            let mut off: Vec<(f64, f64)> = left.iter().map(|(v, w)| ((v - median).abs(), *w)).collect();
            tail = Some(Tail { median, spread: (1.5 * weighted_median(&mut off)).max(LEAST_SPREAD) });
        }
    }
    let found = plays
        .iter()
        .zip(&all)
        .map(|((track, _), scores)| {
            let scores = scores.as_ref()?;
            let sum = scores.with(tail);
            let belief = softmax(&sum);
            let best = (0..sum.len()).max_by(|&a, &b| sum[a].total_cmp(&sum[b]))?;
            let time = scores.times[best];
            let near = scores.times.iter().zip(&belief).filter(|(t, _)| (*t - time).abs() <= 0.5);
            let whistle = track
                .whistles
                .iter()
                .filter(|w| w.confidence > FAINT && (w.time - WHISTLE.2 - time).abs() <= 0.5)
                .map(|w| f64::from(w.confidence))
                .fold(0.0, f64::max);
            Some(EndFound { time, belief: near.map(|(_, b)| b).sum(), whistle })
        })
        .collect();
    (found, tail)
}

fn weighted_median(values: &mut [(f64, f64)]) -> f64 {
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half: f64 = values.iter().map(|v| v.1).sum::<f64>() / 2.0;
    let mut sum = 0.0;
    for (value, weight) in values.iter() {
        sum += weight;
        if sum >= half {
            return *value;
        }
    }
    percentile(&values.iter().map(|v| v.0).collect::<Vec<_>>(), 0.5)
}
