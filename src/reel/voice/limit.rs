//! A look-ahead limiter: peaks between the samples are held below a ceiling, and nothing is heard of it.

use super::{CHANNELS, frames_of};

/// The highest true peak, 1 for full scale: -1 dBTP (EBU R 128), less .3 dB for what other meters' filters read higher and for
/// what a gain in motion adds.
pub const CEILING: f32 = 0.861;

/// Seconds that a peak is seen ahead, in which the gain goes down.
const AHEAD: f64 = 0.005;
/// Seconds in which it comes back to within a third.
const BACK: f64 = 0.08;

/// Places between two samples at which the wave is looked at, as meters of true peaks do (ITU-R BS.1770-4, annex 2).
const BETWEEN: usize = 4;
/// Samples on either side that a place between is interpolated from.
const REACH: usize = 12;

/// The same samples with every true peak below the ceiling; unchanged where all are.
pub fn limited(samples: &[f32]) -> Vec<f32> {
    raised(samples, &true_peaks(samples), 1.0)
}

/// The samples times `gain`, with every true peak below the ceiling. `peaks` are their [`true_peaks`] before.
pub fn raised(samples: &[f32], peaks: &[f32], gain: f32) -> Vec<f32> {
    let mut out: Vec<f32> = samples.iter().map(|sample| sample * gain).collect();
    let most = CEILING / gain;
    if peaks.iter().all(|peak| *peak <= most) {
        return out;
    }
    let ahead = frames_of(AHEAD);
    let wanted: Vec<f32> = peaks.iter().map(|peak| if *peak > most { most / peak } else { 1.0 }).collect();
    let lowest = lowest_ahead(&wanted, ahead);
    // The mean of the last gains, none of which is above what the peak now at the window's end allows, is not above it either.
    let back = 1.0 - (-1.0 / frames_of(BACK) as f32).exp();
    let mut held = 1.0f32;
    let held: Vec<f32> = lowest
        .iter()
        .map(|lowest| {
            held = (held + (1.0 - held) * back).min(*lowest);
            held
        })
        .collect();
    // Before the beginning the gain is what it is there.
    let first = f64::from(held.first().copied().unwrap_or(1.0));
    let mut sum = ahead as f64 * first;
    for (n, frame) in out.chunks_exact_mut(CHANNELS).enumerate() {
        sum += f64::from(held[n]) - if n >= ahead { f64::from(held[n - ahead]) } else { first };
        let gain = (sum / ahead as f64) as f32;
        frame.iter_mut().for_each(|sample| *sample *= gain);
    }
    out
}

/// The highest of the wave's absolute values from each sample to the next, over both channels.
pub fn true_peaks(samples: &[f32]) -> Vec<f32> {
    let frames = samples.len() / CHANNELS;
    let filters = filters();
    let mut peaks = vec![0.0f32; frames];
    let mut padded = vec![0.0f32; frames + 2 * REACH];
    for channel in 0..CHANNELS {
        for (to, frame) in padded[REACH..].iter_mut().zip(samples.chunks_exact(CHANNELS)) {
            *to = frame[channel];
        }
        for n in 0..frames {
            // Around n: REACH samples up to it, REACH after it.
            let near = &padded[n + 1..n + 1 + 2 * REACH];
            let mut peak = padded[n + REACH].abs();
            for filter in &filters {
                let value: f32 = near.iter().zip(filter).map(|(sample, weight)| sample * weight).sum();
                peak = peak.max(value.abs());
            }
            peaks[n] = peaks[n].max(peak);
        }
    }
    peaks
}

/// Weights of the samples around each place between two: a sinc under a Hann window.
fn filters() -> Vec<[f32; 2 * REACH]> {
    let place = |k: usize| {
        let at = k as f64 / BETWEEN as f64;
        let weight = |i: usize| {
            let x = i as f64 - (REACH as f64 - 1.0) - at;
            let sinc = (std::f64::consts::PI * x).sin() / (std::f64::consts::PI * x);
            let window = 0.5 + 0.5 * (std::f64::consts::PI * x / (REACH as f64 + 0.5)).cos();
            sinc * window
        };
        let weights: [f64; 2 * REACH] = std::array::from_fn(weight);
        let sum: f64 = weights.iter().sum();
        weights.map(|weight| (weight / sum) as f32)
    };
    (1..BETWEEN).map(place).collect()
}

/// The lowest value of each and the `ahead` after it.
fn lowest_ahead(values: &[f32], ahead: usize) -> Vec<f32> {
    let mut lowest = vec![1.0f32; values.len()];
    // Indices of values that are lower than all between them and now, the nearest last.
    let mut candidates: std::collections::VecDeque<usize> = std::collections::VecDeque::new();
    for n in (0..values.len()).rev() {
        while candidates.back().is_some_and(|last| values[*last] >= values[n]) {
            candidates.pop_back();
        }
        candidates.push_back(n);
        while candidates.front().is_some_and(|first| *first > n + ahead) {
            candidates.pop_front();
        }
        lowest[n] = candidates.front().map_or(1.0, |first| values[*first]);
    }
    lowest
}
