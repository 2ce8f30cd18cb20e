//! The referee's whistle in the sound: a narrow, steady, loud tone between 2 and 4.5 kHz.

use std::collections::VecDeque;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

use crate::base::{Progress, Result, go_on};
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
/// Spectra that are averaged before they are judged: a whistle lasts at least ten, noise does not keep its shape for two.
/// (This and all constants below: measured on real and made whistles mixed under real and made crowds at 0, 6 and 12 dB,
/// against crowds, music and made brass alone; `tests/all/whistles.rs` holds the figures.)
const AVERAGED: usize = 3;
/// Background: the median of the medians of so many seconds, this one in the middle, smoothed over so many bins.
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
const JOIN: usize = 6;
const PITCH: usize = 350 * WINDOW / RATE as usize;
/// Seconds a whistle lasts.
const LENGTH: std::ops::RangeInclusive<f64> = 0.10..=1.5;
/// A single bin of noise stands out of the background by so many dB at times; what stands out further is a tone.
const NOISE: f32 = 8.0;
/// A score of this is sure.
const SURE: f32 = 6.0;
/// Below this a tone is not reported: a minute of crowd holds a dozen that reach -1.
const LEAST: f32 = 0.0;

const fn bin(hertz: usize) -> usize {
    hertz * WINDOW / RATE as usize
}

/// Whistles of a film in time order; `None` if it has no sound.
pub fn hear(reader: &dyn FilmReader, film: &Film, progress: &dyn Progress) -> Result<Option<Vec<Whistle>>> {
    let Some(mut source) = reader.sound(film, RATE, 1)? else { return Ok(None) };
    let mut listener = Listener::new();
    while let Some(block) = source.next_block()? {
        listener.push(block);
        go_on(progress, "listening for whistles")?;
    }
    Ok(Some(listener.finish()))
}

/// Power by bin.
type Spectrum = [f32; BINS];

/// One spectrum judged: is a tone on, and how does it stand out.
#[derive(Debug, Clone, Copy, Default)]
struct Tone {
    on: bool,
    pitch: usize,
    /// Over the background, in dB.
    peak: f32,
    /// Of the band's power.
    share: f32,
    /// The middle of all bins' ratios to the background, in dB: how much louder everything is.
    middle: f32,
}

/// Takes sound as it comes and keeps seven seconds of spectra.
struct Listener {
    fft: std::sync::Arc<dyn RealToComplex<f32>>,
    hann: Vec<f32>,
    input: Vec<f32>,
    scratch: Vec<Complex<f32>>,
    output: Vec<Complex<f32>>,
    pending: Vec<f32>,
    /// The last spectra before averaging, the newest last.
    plain: VecDeque<Spectrum>,
    /// Averaged power spectra of the last seconds, by whole seconds.
    seconds: VecDeque<Vec<Spectrum>>,
    /// Their medians.
    medians: VecDeque<Spectrum>,
    /// Whole seconds that have left the front.
    gone: usize,
    /// Which of `seconds` is to be judged next.
    next: usize,
    filling: Vec<Spectrum>,
    column: Vec<f32>,
    run: Run,
    whistles: Vec<Whistle>,
}

/// A tone that goes on.
#[derive(Debug, Default)]
struct Run {
    first: usize,
    last: usize,
    tones: Vec<Tone>,
    /// Sums of the ratios to the background of each bin of [`LOW`].
    low: Vec<f32>,
}

impl Listener {
    fn new() -> Self {
        let hann = (0..WINDOW).map(|k| 0.5 - 0.5 * (std::f32::consts::TAU * k as f32 / WINDOW as f32).cos()).collect();
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(WINDOW);
        Self {
            hann,
            input: fft.make_input_vec(),
            scratch: fft.make_scratch_vec(),
            output: fft.make_output_vec(),
            fft,
            pending: Vec::new(),
            plain: VecDeque::new(),
            seconds: VecDeque::new(),
            medians: VecDeque::new(),
            gone: 0,
            next: 0,
            filling: Vec::new(),
            column: Vec::new(),
            run: Run::default(),
            whistles: Vec::new(),
        }
    }

    fn push(&mut self, block: &[f32]) {
        self.pending.extend_from_slice(block);
        let mut at = 0;
        while at + WINDOW <= self.pending.len() {
            let power = self.spectrum(at);
            self.average(power);
            at += HOP;
            if self.filling.len() == PER_SECOND {
                self.close_second();
            }
        }
        self.pending.drain(..at);
    }

    fn spectrum(&mut self, at: usize) -> Spectrum {
        for (to, (a, b)) in self.input.iter_mut().zip(self.pending[at..].iter().zip(&self.hann)) {
            *to = a * b;
        }
        let mut power = [0.0; BINS];
        // The lengths are the plan's own, so this cannot fail; if it did, silence is the safe reading.
        if self.fft.process_with_scratch(&mut self.input, &mut self.output, &mut self.scratch).is_ok() {
            for (p, c) in power.iter_mut().zip(&self.output) {
                *p = c.norm_sqr();
            }
        }
        power
    }

    fn average(&mut self, power: Spectrum) {
        self.plain.push_back(power);
        if self.plain.len() > AVERAGED {
            self.plain.pop_front();
        }
        let mut mean = [0.0; BINS];
        for one in &self.plain {
            mean.iter_mut().zip(one).for_each(|(m, p)| *m += p);
        }
        let share = 1.0 / self.plain.len() as f32;
        mean.iter_mut().for_each(|m| *m *= share);
        self.filling.push(mean);
    }

    fn close_second(&mut self) {
        let spectra = std::mem::take(&mut self.filling);
        if spectra.is_empty() {
            return;
        }
        let mut medians = [0.0; BINS];
        for (k, m) in medians.iter_mut().enumerate() {
            self.column.clear();
            // Every other one: neighbors share most of their samples.
            self.column.extend(spectra.iter().step_by(2).map(|s| s[k]));
            *m = median(&mut self.column);
        }
        self.seconds.push_back(spectra);
        self.medians.push_back(medians);
        if self.seconds.len() > self.next + BACKGROUND_SECONDS / 2 {
            self.judge_second();
        }
    }

    fn judge_second(&mut self) {
        let background = self.background();
        // Of a second that was judged only the medians are still needed.
        let Some(spectra) = self.seconds.get_mut(self.next).map(std::mem::take) else { return };
        let first = (self.gone + self.next) * PER_SECOND;
        for (k, spectrum) in spectra.iter().enumerate() {
            let tone = tone(spectrum, &background, &mut self.column);
            if tone.on {
                self.take(first + k, tone, spectrum, &background);
            }
        }
        self.next += 1;
        if self.next > BACKGROUND_SECONDS / 2 {
            self.seconds.pop_front();
            self.medians.pop_front();
            self.next -= 1;
            self.gone += 1;
        }
    }

    fn background(&mut self) -> Spectrum {
        let mut plain = [0.0; BINS];
        for (k, p) in plain.iter_mut().enumerate() {
            self.column.clear();
            self.column.extend(self.medians.iter().map(|m| m[k]));
            *p = median(&mut self.column);
        }
        let mut smooth = [0.0; BINS];
        for (k, s) in smooth.iter_mut().enumerate() {
            let around = &plain[k.saturating_sub(BACKGROUND_BINS / 2)..(k + BACKGROUND_BINS / 2 + 1).min(BINS)];
            // The floor is the noise of 16-bit silence, so that a muted stretch has no ratios.
            *s = (around.iter().sum::<f32>() / around.len() as f32).max(1e-7);
        }
        smooth
    }

    fn take(&mut self, at: usize, tone: Tone, power: &Spectrum, background: &Spectrum) {
        let joins = self
            .run
            .tones
            .last()
            .is_some_and(|last| at - self.run.last <= JOIN + 1 && last.pitch.abs_diff(tone.pitch) <= PITCH);
        if !joins {
            self.close_run();
            self.run.first = at;
            self.run.low = vec![0.0; LOW.len()];
        }
        self.run.last = at;
        self.run.tones.push(tone);
        for (sum, (p, b)) in self.run.low.iter_mut().zip(power[LOW].iter().zip(&background[LOW])) {
            *sum += p / b;
        }
    }

    fn close_run(&mut self) {
        let run = std::mem::take(&mut self.run);
        let length = (run.last - run.first + 1) as f64 * HOP as f64 / f64::from(RATE);
        if run.tones.is_empty() || !LENGTH.contains(&length) {
            return;
        }
        let first = run.first;
        let score = run.score(length as f32);
        if score > LEAST {
            self.whistles.push(Whistle {
                // The middle of the newest spectrum in the first average that stood out.
                time: (first * HOP + WINDOW / 2) as f64 / f64::from(RATE),
                length,
                score,
                confidence: (score / SURE).clamp(0.0, 1.0),
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

impl Run {
    /// How much it is like a whistle: long, alone in its band, unbroken, of steady pitch, without tones below it.
    /// The weights are those of a logistic regression (natural logarithm of the odds, and 1.5), rounded.
    fn score(mut self, length: f32) -> f32 {
        let n = self.tones.len() as f32;
        let mean = |of: fn(&Tone) -> f32| self.tones.iter().map(of).sum::<f32>() / n;
        let stands_out = mean(|t| t.peak) - mean(|t| t.middle).max(0.0);
        let share = mean(|t| t.share);
        let unbroken = n * (HOP as f32 / RATE as f32) / length;
        let mut pitches: Vec<usize> = self.tones.iter().map(|t| t.pitch).collect();
        pitches.sort_unstable();
        let at = |share: f32| pitches[((pitches.len() - 1) as f32 * share).round() as usize];
        let spread = (at(0.85) - at(0.15)).min(10) as f32;
        let strongest = decibels(self.low.iter().copied().fold(0.0, f32::max) / n);
        let louder = decibels(median(&mut self.low) / n).max(0.0);
        let below = (strongest - NOISE - louder).max(0.0);
        7.0 * length.min(0.4) + 8.3 * share + 0.06 * stands_out + 3.4 * unbroken - 0.16 * spread - 0.38 * below - 8.4
    }
}

fn tone(power: &Spectrum, background: &Spectrum, column: &mut Vec<f32>) -> Tone {
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
    let band: f32 = power[BAND].iter().sum();
    let near: f32 = power[(pitch - NEAR).max(BAND.start)..(pitch + NEAR + 1).min(BAND.end)].iter().sum();
    let share = near / band.max(1e-12);
    let peak = decibels(most);
    // The rest is only needed of the few spectra that stand out at all.
    if peak <= STANDS_OUT || share <= SHARE {
        return Tone::default();
    }
    column.clear();
    column.extend_from_slice(&ratio[WIDE]);
    let middle = decibels(median(column));
    Tone { on: peak - middle > STANDS_OUT, pitch, peak, share, middle }
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
        let crowd = heard(|_| 0.0);
        assert!(crowd.iter().all(|w| w.confidence == 0.0), "{crowd:?}");
        // A voice: a stack of harmonics of 220 Hz.
        let voice = heard(|t| {
            if (8.0..8.6).contains(&t) {
                (1..20).map(|k| 0.06 / f64::from(k) * (std::f64::consts::TAU * 220.0 * f64::from(k) * t).sin()).sum()
            } else {
                0.0
            }
        });
        assert!(voice.iter().all(|w| w.confidence < 0.5), "{voice:?}");
        let steady = heard(|t| 0.08 * (std::f64::consts::TAU * 3000.0 * t).sin());
        assert!(steady.iter().all(|w| w.confidence == 0.0), "{steady:?}");
    }
}
