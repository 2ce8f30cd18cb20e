//! A correlation filter that knows a man again: trained so that it answers with a narrow peak where he is and with nothing
//! around him (Bolme, Beveridge, Draper and Lui, "Visual Object Tracking using Adaptive Correlation Filters", 2010; with
//! several channels as in Danelljan, Häger, Khan and Felsberg, "Accurate Scale Estimation for Robust Visual Tracking",
//! 2014).

use super::middling::Middling;
use super::spectrum::{AREA, Complex, Fourier, SIDE};

/// So many samples of the window a man is tall.
pub const MAN: f64 = 26.0;
/// Luma, both chromas, gradients across and down, and how unlike turf it is.
const CHANNELS: usize = 6;
/// Width of the peak that is asked for, samples.
const PEAK: f64 = 1.8;
/// Holds frequencies down of which the pictures have little, as a share of the mean energy.
const CALM: f32 = 0.02;

/// A window of a picture, ready for the filter.
#[derive(Debug, Clone)]
pub struct Window {
    spectra: Vec<Vec<Complex>>,
}

/// The chroma of the turf, and its luma.
#[derive(Debug, Clone, Copy)]
pub struct Turf {
    /// Y, Cb, Cr.
    pub color: [f32; 3],
}

/// Cuts windows; keeps its tables.
#[derive(Debug)]
pub struct Cutter {
    fourier: Fourier,
    hann: Vec<f32>,
    goal: Vec<Complex>,
}

impl Default for Cutter {
    fn default() -> Self {
        let fourier = Fourier::default();
        let bow = |k: usize| 0.5 - 0.5 * (std::f64::consts::TAU * (k as f64 + 0.5) / SIDE as f64).cos();
        let hann = (0..AREA).map(|k| (bow(k % SIDE) * bow(k / SIDE)) as f32).collect();
        let from_middle = |k: usize| k as f64 - (SIDE / 2) as f64;
        let peak = |k: usize| {
            let (x, y) = (from_middle(k % SIDE), from_middle(k / SIDE));
            Complex { re: (-(x * x + y * y) / (2.0 * PEAK * PEAK)).exp() as f32, im: 0.0 }
        };
        let mut goal: Vec<Complex> = (0..AREA).map(peak).collect();
        fourier.forward(&mut goal);
        Self { fourier, hann, goal }
    }
}

impl Cutter {
    /// The window around `middle` (luma samples), `step` luma samples from one of its samples to the next.
    pub fn window(&self, picture: &Middling, middle: (f64, f64), step: f64, turf: &Turf) -> Window {
        let mut channels = vec![vec![0f32; AREA]; CHANNELS];
        let [luma, cb, cr] = &picture.planes;
        for k in 0..AREA {
            let x = (middle.0 + ((k % SIDE) as f64 - (SIDE / 2) as f64) * step) as f32;
            let y = (middle.1 + ((k / SIDE) as f64 - (SIDE / 2) as f64) * step) as f32;
            channels[0][k] = luma.at(x, y);
            channels[1][k] = cb.at(0.5 * x, 0.5 * y);
            channels[2][k] = cr.at(0.5 * x, 0.5 * y);
        }
        for y in 0..SIDE {
            for x in 0..SIDE {
                let at = |x: usize, y: usize| channels[0][y * SIDE + x];
                let k = y * SIDE + x;
                let across = at((x + 1).min(SIDE - 1), y) - at(x.saturating_sub(1), y);
                let down = at(x, (y + 1).min(SIDE - 1)) - at(x, y.saturating_sub(1));
                let (u, v) = (channels[1][k] - turf.color[1], channels[2][k] - turf.color[2]);
                let bright = ((channels[0][k] - turf.color[0]).abs() - 20.0).max(0.0);
                channels[3][k] = across.abs() / 40.0;
                channels[4][k] = down.abs() / 40.0;
                channels[5][k] = (u.hypot(v) / 20.0 + bright / 60.0).min(1.0);
            }
        }
        for (c, scale) in [(0, 1.0 / 50.0), (1, 1.0 / 16.0), (2, 1.0 / 16.0), (3, 1.0), (4, 1.0), (5, 1.0)] {
            let mean = channels[c].iter().sum::<f32>() / AREA as f32;
            for (v, h) in channels[c].iter_mut().zip(&self.hann) {
                *v = (*v - mean) * scale * h;
            }
        }
        let mut spectra = Vec::with_capacity(CHANNELS);
        for two in channels.chunks_exact(2) {
            spectra.extend(self.fourier.pair(&two[0], &two[1]));
        }
        Window { spectra }
    }
}

/// What was learned of one man.
#[derive(Debug, Clone)]
pub struct Filter {
    above: Vec<Vec<Complex>>,
    below: Vec<f32>,
}

impl Filter {
    /// From the window in whose middle he is.
    pub fn of(cutter: &Cutter, window: &Window) -> Self {
        let mut out = Self { above: vec![vec![Complex::default(); AREA]; CHANNELS], below: vec![0.0; AREA] };
        out.learn(cutter, window, 1.0);
        out
    }

    /// Learns a further window, with a share of all that is known.
    pub fn learn(&mut self, cutter: &Cutter, window: &Window, share: f32) {
        let keep = 1.0 - share;
        for below in &mut self.below {
            *below *= keep;
        }
        for (above, spectrum) in self.above.iter_mut().zip(&window.spectra) {
            for (((a, b), z), g) in above.iter_mut().zip(&mut self.below).zip(spectrum).zip(&cutter.goal) {
                // conj(goal) * spectrum: the answer to it is then conj of this, times a window.
                a.re = keep * a.re + share * (g.re * z.re + g.im * z.im);
                a.im = keep * a.im + share * (g.re * z.im - g.im * z.re);
                *b += share * (z.re * z.re + z.im * z.im);
            }
        }
    }

    /// The answer to a window, row by row: near 1 where he is.
    pub fn answer(&self, cutter: &Cutter, window: &Window) -> Vec<f32> {
        let calm = CALM * self.below.iter().sum::<f32>() / AREA as f32;
        let mut sum = vec![Complex::default(); AREA];
        for (above, spectrum) in self.above.iter().zip(&window.spectra) {
            for ((s, a), z) in sum.iter_mut().zip(above).zip(spectrum) {
                s.re += a.re * z.re + a.im * z.im;
                s.im += a.re * z.im - a.im * z.re;
            }
        }
        for (s, b) in sum.iter_mut().zip(&self.below) {
            let under = 1.0 / (b + calm);
            s.re *= under;
            s.im *= under;
        }
        cutter.fourier.back(&mut sum)
    }
}

/// A place where an answer is greater than around it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    /// From the window's middle, samples.
    pub x: f64,
    /// Likewise, down.
    pub y: f64,
    /// How high.
    pub value: f32,
}

/// The peaks of an answer above `least`, highest first.
pub fn peaks(answer: &[f32], least: f32) -> Vec<Peak> {
    let at = |x: usize, y: usize| answer[y * SIDE + x];
    let mut out = Vec::new();
    for y in 2..SIDE - 2 {
        for x in 2..SIDE - 2 {
            let v = at(x, y);
            if v < least {
                continue;
            }
            let around = (0..9).filter(|&k| k != 4).map(|k| (k, at(x + k % 3 - 1, y + k / 3 - 1)));
            if around.into_iter().any(|(k, o)| o > v || (o == v && k < 4)) {
                continue;
            }
            // The top of the parabola through three samples.
            let top = |a: f32, b: f32| {
                let bend = a + b - 2.0 * v;
                if bend < -1e-9 { f64::from((0.5 * (a - b) / bend).clamp(-0.5, 0.5)) } else { 0.0 }
            };
            let (dx, dy) = (top(at(x - 1, y), at(x + 1, y)), top(at(x, y - 1), at(x, y + 1)));
            let from = |k: usize| k as f64 - (SIDE / 2) as f64;
            out.push(Peak { x: from(x) + dx, y: from(y) + dy, value: v });
        }
    }
    out.sort_by(|a, b| b.value.total_cmp(&a.value));
    out
}
