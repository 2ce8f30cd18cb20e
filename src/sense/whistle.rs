//! The referee's whistle in the sound: a narrow, steady, loud tone between 2 and 4.5 kHz.

use std::collections::VecDeque;

use realfft::{RealFftPlanner, RealToComplex};

use crate::base::{Progress, Result};
use crate::film::{Film, FilmReader, Whistle};

/// Samples a second.
const RATE: u32 = 16_000;
/// Samples in a spectrum (Hann window): 32 ms, bins of 31.25 Hz.
const WINDOW: usize = 512;
/// Samples between spectra: 10 ms.
const HOP: usize = 160;
const BINS: usize = WINDOW / 2 + 1;
/// Spectra a second.
const PER_SECOND: usize = RATE as usize / HOP;
/// Background: the median of the medians of so many seconds, this one in the middle, smoothed over so many bins.
/// (These and all constants below: measured on whistles mixed under crowd noise at stated ratios.)
const BACKGROUND_SECONDS: usize = 7;
const BACKGROUND_BINS: usize = 9;
/// Where whistles are: 2 to 4.5 kHz (real ones: 2.1 to 3.9 kHz).
const BAND: std::ops::Range<usize> = bin(2000)..bin(4500) + 1;
/// Where a voice or a brass band would also be loud.
const LOW: std::ops::Range<usize> = bin(250)..bin(1900) + 1;
/// What the peak stands out of.
const WIDE: std::ops::Range<usize> = bin(500)..bin(6500) + 1;
/// The tone is on if it stands out by so many dB ...
const STANDS_OUT: f32 = 8.0;
/// ... and so much of the band's power lies within so many bins of it.
const SHARE: f32 = 0.2;
const NEAR: usize = 5;
/// Gaps up to this (spectra) are joined if the pitch moves by less than this (bins).
const JOIN: usize = 4;
const PITCH: usize = 350 * WINDOW / RATE as usize;
/// Seconds a whistle lasts.
const LENGTH: std::ops::RangeInclusive<f64> = 0.10..=1.5;
/// A score of this is sure.
const SURE: f32 = 6.0;

const fn bin(hertz: usize) -> usize {
    hertz * WINDOW / RATE as usize
}

/// Whistles of a film in time order; `None` if it has no sound.
pub fn hear(reader: &dyn FilmReader, film: &Film, progress: &dyn Progress) -> Result<Option<Vec<Whistle>>> {
    let Some(mut source) = reader.sound(film, RATE, 1)? else { return Ok(None) };
    let mut listener = Listener::new();
    while let Some(block) = source.next_block()? {
        listener.push(block);
        if progress.stop_asked() {
            break;
        }
    }
    Ok(Some(listener.finish()))
}

/// One spectrum judged: is a tone on, and how does it stand out.
#[derive(Debug, Clone, Copy, Default)]
struct Tone {
    on: bool,
    pitch: usize,
    peak: f32,
    share: f32,
    low: f32,
}

/// Takes sound as it comes and keeps seven seconds of spectra.
struct Listener {
    fft: std::sync::Arc<dyn RealToComplex<f32>>,
    hann: Vec<f32>,
    pending: Vec<f32>,
    /// Power spectra of the last seconds, by whole seconds.
    seconds: VecDeque<Vec<[f32; BINS]>>,
    /// Their medians.
    medians: VecDeque<[f32; BINS]>,
    /// Whole seconds that have left the front.
    gone: usize,
    /// Which of `seconds` is to be judged next.
    next: usize,
    filling: Vec<[f32; BINS]>,
    run: Run,
    whistles: Vec<Whistle>,
}

/// A tone that goes on.
#[derive(Debug, Default)]
struct Run {
    first: usize,
    last: usize,
    tones: Vec<Tone>,
}

impl Listener {
    fn new() -> Self {
        let hann = (0..WINDOW).map(|k| 0.5 - 0.5 * (std::f32::consts::TAU * k as f32 / WINDOW as f32).cos()).collect();
        Self {
            fft: RealFftPlanner::<f32>::new().plan_fft_forward(WINDOW),
            hann,
            pending: Vec::new(),
            seconds: VecDeque::new(),
            medians: VecDeque::new(),
            gone: 0,
            next: 0,
            filling: Vec::new(),
            run: Run::default(),
            whistles: Vec::new(),
        }
    }

    fn push(&mut self, block: &[f32]) {
        self.pending.extend_from_slice(block);
        let mut at = 0;
        while at + WINDOW <= self.pending.len() {
            let power = self.spectrum(at);
            self.filling.push(power);
            at += HOP;
            if self.filling.len() == PER_SECOND {
                self.close_second();
            }
        }
        self.pending.drain(..at);
    }

    fn spectrum(&self, at: usize) -> [f32; BINS] {
        let mut input: Vec<f32> = self.pending[at..at + WINDOW].iter().zip(&self.hann).map(|(a, b)| a * b).collect();
        let mut output = self.fft.make_output_vec();
        let mut power = [0.0; BINS];
        // The lengths are the plan's own, so this cannot fail; if it did, silence is the safe reading.
        if self.fft.process(&mut input, &mut output).is_ok() {
            for (p, c) in power.iter_mut().zip(&output) {
                *p = c.norm_sqr();
            }
        }
        power
    }

    fn close_second(&mut self) {
        let spectra = std::mem::take(&mut self.filling);
        if spectra.is_empty() {
            return;
        }
        let mut medians = [0.0; BINS];
        let mut column = Vec::with_capacity(spectra.len());
        for (k, m) in medians.iter_mut().enumerate() {
            column.clear();
            column.extend(spectra.iter().map(|s| s[k]));
            *m = median(&mut column);
        }
        self.seconds.push_back(spectra);
        self.medians.push_back(medians);
        if self.seconds.len() > self.next + BACKGROUND_SECONDS / 2 {
            self.judge_second();
        }
    }

    fn judge_second(&mut self) {
        let background = self.background();
        let Some(spectra) = self.seconds.get(self.next) else { return };
        let tones: Vec<Tone> = spectra.iter().map(|s| tone(s, &background)).collect();
        let first = (self.gone + self.next) * PER_SECOND;
        for (k, tone) in tones.into_iter().enumerate() {
            self.take(first + k, tone);
        }
        self.next += 1;
        if self.next > BACKGROUND_SECONDS / 2 {
            self.seconds.pop_front();
            self.medians.pop_front();
            self.next -= 1;
            self.gone += 1;
        }
    }

    fn background(&self) -> [f32; BINS] {
        let mut plain = [0.0; BINS];
        let mut column = Vec::with_capacity(BACKGROUND_SECONDS);
        for (k, p) in plain.iter_mut().enumerate() {
            column.clear();
            column.extend(self.medians.iter().map(|m| m[k]));
            *p = median(&mut column);
        }
        let mut smooth = [0.0; BINS];
        for (k, s) in smooth.iter_mut().enumerate() {
            let around = &plain[k.saturating_sub(BACKGROUND_BINS / 2)..(k + BACKGROUND_BINS / 2 + 1).min(BINS)];
            // The floor is the noise of 16-bit silence, so that a muted stretch has no ratios.
            *s = (around.iter().sum::<f32>() / around.len() as f32).max(1e-7);
        }
        smooth
    }

    fn take(&mut self, at: usize, tone: Tone) {
        if tone.on {
            let joins = self
                .run
                .tones
                .last()
                .is_some_and(|last| at - self.run.last <= JOIN + 1 && last.pitch.abs_diff(tone.pitch) <= PITCH);
            if !joins {
                self.close_run();
                self.run.first = at;
            }
            self.run.last = at;
            self.run.tones.push(tone);
        }
    }

    fn close_run(&mut self) {
        let run = std::mem::take(&mut self.run);
        let n = run.tones.len() as f32;
        let length = (run.last - run.first + 1) as f64 * HOP as f64 / f64::from(RATE);
        if run.tones.is_empty() || !LENGTH.contains(&length) {
            return;
        }
        let mean = |of: fn(&Tone) -> f32| run.tones.iter().map(of).sum::<f32>() / n;
        let (peak, share, low) = (mean(|t| t.peak), mean(|t| t.share), mean(|t| t.low));
        let score = score(length as f32, peak, share, low);
        if score > 0.0 {
            self.whistles.push(Whistle {
                time: (run.first * HOP + WINDOW / 2) as f64 / f64::from(RATE),
                length,
                score,
                confidence: (score / SURE).min(1.0),
            });
        }
    }

    fn finish(mut self) -> Vec<Whistle> {
        self.close_second();
        while self.next < self.seconds.len() {
            self.judge_second();
        }
        self.close_run();
        self.whistles
    }
}

fn score(length: f32, peak: f32, share: f32, low: f32) -> f32 {
    let short = if length < 0.15 { 4.0 } else { 0.0 };
    peak - 12.0 + 10.0 * length.min(0.4) - 0.8 * (low - 8.0).max(0.0) - short + 8.0 * (share - 0.6)
}

fn tone(power: &[f32; BINS], background: &[f32; BINS]) -> Tone {
    let mut ratio = [0.0; BINS];
    for ((r, p), b) in ratio.iter_mut().zip(power).zip(background) {
        *r = p / b;
    }
    let at_pitch = |k: usize| (ratio[k - 1] + ratio[k] + ratio[k + 1]) / 3.0;
    let (mut pitch, mut most) = (BAND.start, 0.0);
    for k in BAND {
        let value = at_pitch(k);
        if value > most {
            (pitch, most) = (k, value);
        }
    }
    let peak = decibels(most);
    let band: f32 = power[BAND].iter().sum();
    let near: f32 = power[(pitch - NEAR).max(BAND.start)..(pitch + NEAR + 1).min(BAND.end)].iter().sum();
    let share = near / band.max(1e-12);
    // The rest is only needed of the few spectra that stand out at all.
    if peak <= STANDS_OUT || share <= SHARE {
        return Tone::default();
    }
    let mut wide = ratio[WIDE].to_vec();
    let middle = decibels(median(&mut wide));
    let low = decibels(ratio[LOW].iter().copied().fold(0.0, f32::max));
    Tone { on: peak - middle > STANDS_OUT, pitch, peak, share, low }
}

fn decibels(ratio: f32) -> f32 {
    10.0 * ratio.max(1e-6).log10()
}

fn median(values: &mut [f32]) -> f32 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f32::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::{Rate, Silent};
    use crate::film::Picture;
    use crate::film::scripted::{Footage, part};

    fn noise(n: u64) -> f32 {
        // A hash, as white noise.
        let x = n.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ (n >> 7).wrapping_mul(0xD1B5_4A32_D192_ED03);
        ((x >> 40) as f32 / 16_777_216.0 - 0.5) * 0.1
    }

    fn heard(tone: impl Fn(f64) -> f64 + Sync + Send + 'static) -> Vec<Whistle> {
        let film = Film { parts: vec![part("a.mp4", 600, Rate { num: 30, den: 1 })], problems: vec![] };
        let footage = Footage {
            film: film.clone(),
            draw: Box::new(|_| Picture::filled(2, 2, [16, 128, 128])),
            hear: Some(Box::new(move |n, rate| noise(n) + tone(n as f64 / f64::from(rate)) as f32)),
        };
        hear(&footage, &film, &Silent).unwrap().unwrap()
    }

    #[test]
    fn a_trilled_whistle_is_heard_where_it_begins() {
        let found = heard(|t| {
            let on = (12.0..12.5).contains(&t);
            let trill = 1.0 + 0.3 * (std::f64::consts::TAU * 30.0 * t).sin();
            if on { 0.08 * trill * (std::f64::consts::TAU * 2800.0 * t).sin() } else { 0.0 }
        });
        assert_eq!(found.len(), 1, "{found:?}");
        assert!((found[0].time - 12.0).abs() < 0.03 && (found[0].length - 0.5).abs() < 0.06, "{found:?}");
        assert!(found[0].confidence > 0.8, "{found:?}");
    }

    #[test]
    fn crowd_alone_a_voice_and_a_steady_tone_are_no_whistles() {
        assert_eq!(heard(|_| 0.0), []);
        // A voice: a stack of harmonics of 220 Hz.
        let voice = heard(|t| {
            if (8.0..8.6).contains(&t) {
                (1..20).map(|k| 0.06 / f64::from(k) * (std::f64::consts::TAU * 220.0 * f64::from(k) * t).sin()).sum()
            } else {
                0.0
            }
        });
        assert!(voice.iter().all(|w| w.confidence < 0.5), "{voice:?}");
        assert_eq!(heard(|t| 0.08 * (std::f64::consts::TAU * 3000.0 * t).sin()), []);
    }
}
