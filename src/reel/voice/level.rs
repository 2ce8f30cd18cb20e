//! Loudness: a voice is brought to a target by its integrated loudness, its peaks held below the ceiling.

use ebur128::{EbuR128, Mode};

use super::CHANNELS;
use super::limit::{raised, true_peaks};
use crate::film::DESK_RATE;

/// A voice at its target.
#[derive(Debug, Clone, PartialEq)]
pub struct Leveled {
    /// The samples.
    pub samples: Vec<f32>,
    /// Its integrated loudness now, LUFS: the target, unless a few peaks stand so high above the rest that it cannot be reached.
    pub loudness: f64,
    /// By how much it was raised, dB.
    pub gain: f64,
}

/// Below this there is no voice, LUFS: the standard's own absolute gate.
const SILENCE: f64 = -70.0;
/// How near the target has to come, LU; limiting takes some off, and is made good for.
const NEAR: f64 = 0.1;
/// Rounds in which it is.
const ROUNDS: usize = 8;

/// Brings a voice to `target`, LUFS (ITU-R BS.1770-4, EBU R 128), with no true peak above -1 dBTP. `None` where nothing is
/// heard.
pub fn leveled(samples: &[f32], target: f64) -> Option<Leveled> {
    let before = loudness(samples).filter(|loudness| *loudness > SILENCE)?;
    let mut gain = target - before;
    let peaks = true_peaks(samples);
    let mut best: Option<Leveled> = None;
    for _ in 0..ROUNDS {
        let out = raised(samples, &peaks, 10f64.powf(gain / 20.0) as f32);
        let now = loudness(&out)?;
        let nearer = best.as_ref().is_none_or(|best| (now - target).abs() < (best.loudness - target).abs());
        if nearer {
            best = Some(Leveled { samples: out, loudness: now, gain });
        }
        let wanted = gain + target - now;
        if (now - target).abs() < NEAR || wanted == gain || !nearer {
            break;
        }
        gain = wanted;
    }
    best
}

/// Integrated loudness, LUFS; `None` where there is nothing at all. What is shorter than the three seconds that a judgement
/// needs is heard over and over.
pub fn loudness(samples: &[f32]) -> Option<f64> {
    let least = 3 * DESK_RATE as usize * CHANNELS;
    let times = least.div_ceil(samples.len().max(1)).max(1);
    if samples.is_empty() {
        return None;
    }
    let mut meter = EbuR128::new(CHANNELS as u32, DESK_RATE, Mode::I).ok()?;
    for _ in 0..times {
        meter.add_frames_f32(samples).ok()?;
    }
    meter.loudness_global().ok().filter(|loudness| loudness.is_finite())
}
