//! When somebody speaks, and how much lower the film's sound is then.

use super::{CHANNELS, frames_of};
use crate::film::DESK_RATE;

/// How much lower the film's sound is while somebody speaks, dB: still heard, no longer in the way \[practice\].
pub const DEPTH: f64 = 12.0;
/// It has gone down when the first word begins: so many seconds before, it begins to.
pub const ATTACK: f64 = 0.2;
/// Seconds in which it comes back.
pub const RELEASE: f64 = 0.5;
/// Silence within a talk that is shorter is a breath: the film's sound does not come up in it.
pub const BREATH: f64 = 0.6;

/// Seconds over which a voice's level is measured.
const STEP: f64 = 0.02;
/// What is so much below a voice's loud steps (the loudest twentieth) is no speech but the room, dB. Unstressed syllables lie
/// 20 dB below stressed ones, a quiet room 40 \[practice\].
const BELOW: f64 = 30.0;
/// A sound shorter than this is a click, seconds.
const CLICK: f64 = 0.06;

/// Stretches in which somebody speaks, in samples of the reel, apart from each other by a breath at least.
pub struct Duck {
    spoken: Vec<(u64, u64)>,
}

impl Duck {
    /// Of voices, each with its first sample in the reel.
    pub fn of<'v>(voices: impl Iterator<Item = (u64, &'v [f32])>) -> Self {
        let mut all: Vec<(u64, u64)> = voices
            .flat_map(|(first, samples)| speech(samples).into_iter().map(move |(a, b)| (first + a, first + b)))
            .collect();
        all.sort_unstable();
        Self { spoken: joined(all) }
    }

    /// Gain of the film's sound at a sample of the reel.
    pub fn gain(&self, at: u64) -> f32 {
        let next = self.spoken.partition_point(|(start, _)| *start <= at);
        let rate = f64::from(DESK_RATE);
        let after = next.checked_sub(1).map_or(0.0, |before| {
            let since = at.saturating_sub(self.spoken[before].1) as f64 / rate;
            (1.0 - since / RELEASE).clamp(0.0, 1.0)
        });
        let ahead = self.spoken.get(next).map_or(0.0, |(start, _)| {
            let until = (start - at) as f64 / rate;
            (1.0 - until / ATTACK).clamp(0.0, 1.0)
        });
        if after.max(ahead) == 0.0 {
            return 1.0;
        }
        10f64.powf(-DEPTH * after.max(ahead) / 20.0) as f32
    }
}

/// Stretches of speech in a voice, samples from its start; breaths are in them.
fn speech(samples: &[f32]) -> Vec<(u64, u64)> {
    let step = frames_of(STEP);
    let power = |block: &[f32]| block.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / block.len() as f64;
    let levels: Vec<f64> = samples.chunks(step * CHANNELS).map(power).collect();
    let mut sorted = levels.clone();
    sorted.sort_unstable_by(f64::total_cmp);
    let loud = sorted.get(sorted.len() * 19 / 20).copied().unwrap_or(0.0);
    if loud <= 0.0 {
        return Vec::new();
    }
    let least = loud * 10f64.powf(-BELOW / 10.0);
    let length = (samples.len() / CHANNELS) as u64;
    let mut runs: Vec<(u64, u64)> = Vec::new();
    for n in levels.iter().enumerate().filter(|(_, level)| **level >= least).map(|(n, _)| n as u64) {
        let (start, end) = (n * step as u64, ((n + 1) * step as u64).min(length));
        match runs.last_mut() {
            Some((_, last)) if *last == start => *last = end,
            _ => runs.push((start, end)),
        }
    }
    let click = frames_of(CLICK) as u64;
    runs.retain(|(start, end)| end - start > click);
    joined(runs)
}

/// Stretches with those made one that lie less than a breath apart.
fn joined(sorted: Vec<(u64, u64)>) -> Vec<(u64, u64)> {
    let breath = frames_of(BREATH) as u64;
    let mut all: Vec<(u64, u64)> = Vec::new();
    for (start, end) in sorted {
        match all.last_mut() {
            Some((_, last)) if start < *last + breath => *last = end.max(*last),
            _ => all.push((start, end)),
        }
    }
    all
}
