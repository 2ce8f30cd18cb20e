//! Do two cameras' shots hear the same play, and how far apart did they start?

use std::sync::Arc;

use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use crate::base::{FrameSpan, Result};
use crate::film::{Film, FilmReader, SoundSource};

/// Samples a second.
pub const RATE: u32 = 8_000;
/// At most so many seconds of a shot are listened to, from its start: plays begin there.
const LONGEST: f64 = 32.0;
/// Below this there is too little to compare, seconds.
const SHORTEST: f64 = 0.5;
/// The second peak is looked for beyond this from the first, seconds: both microphones hear echoes.
const APART: f64 = 0.02;
/// Only lags at which so much of the shorter sound overlaps count.
const OVERLAP: f64 = 0.4;
/// Hertz below which wind and handling noise are left out.
const LOWEST: f64 = 150.0;

/// How two sounds agree.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoundMatch {
    /// The first correlation peak over the second. The same play gives 6 and more where both microphones hear the same
    /// crowd, different plays up to 1.4 (measured on made films); over 3 is trusted.
    pub ratio: f64,
    /// Seconds to add to a time in the first shot (from its start) to have the same moment in the second.
    pub lag: f64,
}

/// A shot's sound made ready to be compared.
#[derive(Debug, Clone)]
pub struct ShotSound {
    samples: Vec<f32>,
}

impl ShotSound {
    /// From mono samples at [`RATE`].
    pub fn of(mut samples: Vec<f32>) -> Self {
        samples.truncate((LONGEST * f64::from(RATE)) as usize);
        Self { samples }
    }
}

/// Reads the sound of shots of one film.
pub struct ShotSounds<'a> {
    film: &'a Film,
    source: Option<Box<dyn SoundSource + Send + 'a>>,
}

impl<'a> ShotSounds<'a> {
    /// Opens the film's sound; a film without any gives `None` for every shot.
    pub fn open(reader: &dyn FilmReader, film: &'a Film) -> Result<Self> {
        Ok(Self { film, source: reader.sound(film, RATE, 1)? })
    }

    /// The sound of a shot.
    pub fn shot(&mut self, span: FrameSpan) -> Result<Option<ShotSound>> {
        let Some(source) = &mut self.source else { return Ok(None) };
        let (from, to) = (self.film.time(span.start), self.film.time(span.end));
        let wanted = ((to - from).min(LONGEST) * f64::from(RATE)) as usize;
        source.seek((from * f64::from(RATE)).round() as u64)?;
        let mut samples = Vec::with_capacity(wanted);
        while samples.len() < wanted {
            match source.next_block()? {
                Some(block) => samples.extend_from_slice(block),
                None => break,
            }
        }
        samples.truncate(wanted);
        Ok(Some(ShotSound { samples }))
    }
}

/// Compares shots' sounds; keeps its transforms.
pub struct SoundMatcher {
    planner: RealFftPlanner<f32>,
}

impl std::fmt::Debug for SoundMatcher {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("SoundMatcher")
    }
}

impl Default for SoundMatcher {
    fn default() -> Self {
        Self { planner: RealFftPlanner::new() }
    }
}

impl SoundMatcher {
    /// Generalized cross-correlation with phase transform (Knapp and Carter 1976): only phases count, so that a loud
    /// drum does not drown the crowd. `None` where there is too little sound.
    pub fn compare(&mut self, a: &ShotSound, b: &ShotSound) -> Option<SoundMatch> {
        let least = (SHORTEST * f64::from(RATE)) as usize;
        let (na, nb) = (a.samples.len(), b.samples.len());
        if na < least || nb < least || silent(&a.samples) || silent(&b.samples) {
            return None;
        }
        let n = (na + nb).next_power_of_two();
        let forward: Arc<dyn RealToComplex<f32>> = self.planner.plan_fft_forward(n);
        let back: Arc<dyn ComplexToReal<f32>> = self.planner.plan_fft_inverse(n);
        let transform = |samples: &[f32]| {
            let mut input = samples.to_vec();
            input.resize(n, 0.0);
            let mut output = forward.make_output_vec();
            forward.process(&mut input, &mut output).ok()?;
            Some(output)
        };
        let (fa, fb) = (transform(&a.samples)?, transform(&b.samples)?);
        let lowest = (LOWEST * n as f64 / f64::from(RATE)) as usize;
        let mut cross: Vec<_> = fa
            .iter()
            .zip(&fb)
            .enumerate()
            .map(|(k, (x, y))| {
                let c = x.conj() * y;
                let size = c.norm();
                if k < lowest || size < 1e-12 { c * 0.0 } else { c / size }
            })
            .collect();
        // The transform back needs a real first and last bin.
        if let Some(last) = cross.last_mut() {
            last.im = 0.0;
        }
        let mut correlation = back.make_output_vec();
        back.process(&mut cross, &mut correlation).ok()?;
        peaks(&correlation, na, nb)
    }
}

fn silent(samples: &[f32]) -> bool {
    samples.iter().all(|s| s.abs() < 1e-4)
}

/// The first and second peak among lags with enough overlap.
fn peaks(correlation: &[f32], na: usize, nb: usize) -> Option<SoundMatch> {
    let n = correlation.len();
    let overlap = (OVERLAP * na.min(nb) as f64) as i64;
    // b(t + lag) = a(t): lag from -(na - overlap) to nb - overlap.
    let lags = || overlap - na as i64..=nb as i64 - overlap;
    let at = |lag: i64| correlation[lag.rem_euclid(n as i64) as usize];
    let best = lags().max_by(|&x, &y| at(x).total_cmp(&at(y)))?;
    let apart = (APART * f64::from(RATE)) as i64;
    let second = lags().filter(|lag| (lag - best).abs() > apart).map(at).fold(f32::MIN_POSITIVE, f32::max);
    Some(SoundMatch { ratio: f64::from(at(best) / second), lag: best as f64 / f64::from(RATE) })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn crowd(n: u64) -> f32 {
        // SplitMix64.
        let mut x = n.wrapping_mul(0x9E37_79B9_7F4A_7C15);
        x = (x ^ (x >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        x = (x ^ (x >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((x ^ (x >> 31)) >> 40) as f32 / 16_777_216.0 - 0.5
    }

    fn sound(from: u64, seconds: f64, own: u64) -> ShotSound {
        let n = (seconds * f64::from(RATE)) as u64;
        ShotSound::of((from..from + n).map(|k| crowd(k) + 1.5 * crowd(k + own)).collect())
    }

    #[test]
    fn the_same_crowd_is_known_under_each_microphones_own_noise() {
        // The second camera started 1.25 s later.
        let (a, b) = (sound(80_000, 9.0, 1 << 40), sound(90_000, 7.0, 1 << 41));
        let found = SoundMatcher::default().compare(&a, &b).unwrap();
        assert!(found.ratio > 3.0 && (found.lag + 1.25).abs() < 0.001, "{found:?}");
    }

    #[test]
    fn different_plays_do_not_match_and_silence_says_nothing() {
        let (a, b) = (sound(80_000, 9.0, 1 << 40), sound(1_800_000, 7.0, 1 << 41));
        let mut matcher = SoundMatcher::default();
        let found = matcher.compare(&a, &b).unwrap();
        assert!(found.ratio < 1.6, "{found:?}");
        assert_eq!(matcher.compare(&a, &ShotSound::of(vec![0.0; 40_000])), None);
    }
}
