//! Registration of a picture to an earlier one of the same camera: inverse-compositional Gauss-Newton for a homography
//! with gain and bias (Baker and Matthews, "Lucas-Kanade 20 Years On", 2004), with Tukey weights against the men.

use super::homography::Homography;
use super::level::{Plane, Pyramid};
use super::normal::{Batch, LANES, Normal, ONES, dot};
use super::small::{HEIGHT, WIDTH};
use super::warp::Warp;

/// Iterations at most on each level, finest first. The finest level only polishes: started there
/// the map is within half a pixel already. (Five, three, two with the finest level whole: no gain on made films.)
const ITERATIONS: [usize; 3] = [1, 4, 5];
/// Every how manieth row takes part on each level: some thousand pixels settle eight numbers.
const STRIDE: [usize; 3] = [4, 2, 1];
/// Residuals beyond this many sigma have no weight (Tukey's biweight; 4.685 is the textbook figure for 95 % efficiency,
/// 4 was measured as good on made films).
const TUKEY: f32 = 4.0;
/// Within a step sigma counts as at least this: on plain turf the noise is a gray level, and weights by it alone would
/// throw out the field's lines, which say most about the camera, as soon as they are a tenth of a pixel off (measured on
/// made films: sideline snaps within 1 s .96 with 1, 1.00 with 4).
const STEP_SIGMA: f32 = 4.0;
/// Sigma of the residual is at least this many gray levels: below it there is only rounding.
const SIGMA_FLOOR: f32 = 1.0;
/// A step that moves no corner by more than this (normalized units; .02 of a small-picture pixel) ends a level.
const SETTLED: f64 = 0.02 / 120.0;
/// Differences are clipped at this when starts are compared, so that men and lens do not decide.
const CLIP: f32 = 25.0;
/// A start this good (mean clipped difference) needs no search for a shift.
const GOOD_START: f32 = 3.0;
/// The shift search goes this far on the level of 30 columns: a quarter of the picture's width between two pictures.
const SEARCH: (i32, i32) = (8, 5);

/// Above this sigma a pair is no evidence (measured on made films; so are the next two).
pub const BAD_SIGMA: f32 = 6.0;
/// Below this share of the picture covered by the earlier one, likewise.
pub const BAD_VALID: f32 = 0.5;
/// With a gain farther than this from 1, likewise: a flash.
pub const BAD_GAIN: f32 = 0.2;

/// How the earlier picture becomes the later one: `later(x) = gain * earlier(map(x)) + bias`, but for what moved.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Registration {
    /// From the later picture's coordinates to the earlier's.
    pub map: Homography,
    /// Factor on the earlier picture's luma.
    pub gain: f32,
    /// Added to it, gray levels.
    pub bias: f32,
    /// Robust standard deviation of what is left, gray levels, at least 1.
    pub sigma: f32,
    /// Share of the later picture that the earlier one covers.
    pub valid: f32,
}

impl Registration {
    /// Whether nothing can be said from this pair.
    pub fn is_bad(&self) -> bool {
        self.sigma > BAD_SIGMA || self.valid < BAD_VALID || (self.gain - 1.0).abs() > BAD_GAIN
    }
}

/// Registers pairs; keeps its buffers between them.
#[derive(Debug)]
pub struct Registrar {
    warp: Warp,
    batch: Batch,
    residual: Vec<f32>,
    /// After [`Registrar::register`]: the earlier picture as the later one should look, gain and bias applied, at full
    /// size.
    pub expected: Plane,
    /// After [`Registrar::register`]: 1 where `expected` is covered by the earlier picture, else 0.
    pub covered: Vec<f32>,
}

impl Default for Registrar {
    fn default() -> Self {
        Self {
            warp: Warp::default(),
            batch: Batch::default(),
            residual: vec![0.0; WIDTH * HEIGHT],
            expected: Plane::zeros(WIDTH, HEIGHT),
            covered: vec![0.0; WIDTH * HEIGHT],
        }
    }
}

impl Registrar {
    /// Registers `later` to `earlier`, starting from `guess`, from no movement, or from the best shift.
    pub fn register(&mut self, later: &Pyramid, earlier: &Pyramid, guess: &Homography) -> Registration {
        let start = self.start(later, earlier, guess);
        let state = self.descend(later, earlier, start);
        let found = self.look(later, earlier, &state);
        if !found.is_bad() || start == Homography::IDENTITY {
            return found;
        }
        // A start that led astray (repeating lines, a plain wall) must not be worse than none.
        let still = self.descend(later, earlier, Homography::IDENTITY);
        let other = self.look(later, earlier, &still);
        if other.sigma < found.sigma { other } else { self.look(later, earlier, &state) }
    }

    /// Registers `later` to `earlier` from `guess` alone: for pictures far apart, of which a chain says about where they lie.
    pub fn refine(&mut self, later: &Pyramid, earlier: &Pyramid, guess: &Homography) -> Registration {
        let state = self.descend(later, earlier, *guess);
        self.look(later, earlier, &state)
    }

    fn descend(&mut self, later: &Pyramid, earlier: &Pyramid, start: Homography) -> State {
        let mut state = State { map: start, gain: 1.0, bias: 0.0 };
        for level in (0..ITERATIONS.len()).rev() {
            for _ in 0..ITERATIONS[level] {
                match self.step(&later.levels[level], &earlier.levels[level], level, &state) {
                    Some((next, moved)) if next.map.is_sane() && (0.3..3.0).contains(&next.gain) => {
                        state = next;
                        if moved < SETTLED {
                            break;
                        }
                    }
                    _ => break,
                }
            }
        }
        state
    }

    /// Fills `expected` and `covered` and says how well they fit.
    fn look(&mut self, later: &Pyramid, earlier: &Pyramid, state: &State) -> Registration {
        let (plane, target) = (&earlier.levels[0], &later.levels[0]);
        let mut histogram = Histogram::default();
        let mut count = 0.0;
        for y in 0..HEIGHT {
            let at = y * WIDTH..(y + 1) * WIDTH;
            let (expected, covered) = (&mut self.expected.data[at.clone()], &mut self.covered[at]);
            self.warp.row(plane, &state.map, y, 0, expected, covered);
            for value in expected.iter_mut() {
                *value = state.gain * *value + state.bias;
            }
            count += dot(covered, &ONES[..WIDTH]);
            for ((e, t), c) in expected.iter().zip(target.row(y)).zip(covered.iter()).step_by(Histogram::STEP) {
                histogram.add(e - t, *c);
            }
        }
        let valid = count / (WIDTH * HEIGHT) as f32;
        Registration {
            map: state.map,
            gain: state.gain,
            bias: state.bias,
            sigma: (1.4826 * histogram.median()).max(SIGMA_FLOOR),
            valid,
        }
    }

    /// The best of the guess, standing still, and a shift.
    fn start(&mut self, later: &Pyramid, earlier: &Pyramid, guess: &Homography) -> Homography {
        let (target, plane) = (&later.levels[2], &earlier.levels[2]);
        let mut best = (self.badness(target, plane, &Homography::IDENTITY), Homography::IDENTITY);
        if *guess != Homography::IDENTITY && guess.is_sane() {
            let score = self.badness(target, plane, guess);
            if score < best.0 {
                best = (score, *guess);
            }
        }
        if best.0 > GOOD_START {
            let (dx, dy) = shift(&later.levels[3], &earlier.levels[3]);
            // Half-pixel steps of the coarsest level around it.
            for (ex, ey) in [(0, 0), (-1, 0), (1, 0), (0, -1), (0, 1), (-1, -1), (1, 1), (-1, 1), (1, -1)] {
                let x = (f64::from(dx) + 0.5 * f64::from(ex)) * 8.0 * 2.0 / WIDTH as f64;
                let y = (f64::from(dy) + 0.5 * f64::from(ey)) * 8.0 * 2.0 / WIDTH as f64;
                let map = Homography::shift(x, y);
                let score = self.badness(target, plane, &map);
                if score < best.0 {
                    best = (score, map);
                }
            }
        }
        best.1
    }

    /// Mean clipped difference after a map, brightness apart.
    fn badness(&mut self, target: &Plane, plane: &Plane, map: &Homography) -> f32 {
        let n = target.width * target.height;
        let (expected, covered) = (&mut self.expected.data[..n], &mut self.covered[..n]);
        for y in 0..target.height {
            let at = y * target.width..(y + 1) * target.width;
            self.warp.row(plane, map, y, 2, &mut expected[at.clone()], &mut covered[at]);
        }
        let mut sums = [0f32; LANES];
        let mut counts = [0f32; LANES];
        let lanes =
            || expected.chunks_exact(LANES).zip(target.data.chunks_exact(LANES)).zip(covered.chunks_exact(LANES));
        for ((e, t), c) in lanes() {
            for k in 0..LANES {
                sums[k] += (e[k] - t[k]) * c[k];
                counts[k] += c[k];
            }
        }
        let count: f32 = counts.iter().sum();
        if count < 0.4 * n as f32 {
            return CLIP;
        }
        let mean = sums.iter().sum::<f32>() / count;
        let mut clipped = [0f32; LANES];
        for ((e, t), c) in lanes() {
            for k in 0..LANES {
                clipped[k] += (e[k] - t[k] - mean).abs().min(CLIP) * c[k];
            }
        }
        clipped.iter().sum::<f32>() / count
    }

    /// One Gauss-Newton step on one level: the new state, and how far a corner moved (normalized units).
    fn step(&mut self, target: &Plane, plane: &Plane, level: usize, state: &State) -> Option<(State, f64)> {
        let (w, h) = (target.width, target.height);
        let stride = STRIDE[level];
        let scale = (1 << level) as f32 / (WIDTH as f32 / 2.0);
        let mut histogram = Histogram::default();
        let rows = || (1..h - 1).step_by(stride);
        for y in rows() {
            let at = y * w..(y + 1) * w;
            let residual = &mut self.residual[at.clone()];
            let covered = &mut self.covered[at];
            self.warp.row(plane, &state.map, y, level, residual, covered);
            for (r, t) in residual.iter_mut().zip(target.row(y)) {
                *r = state.gain * *r + state.bias - t;
            }
            for (r, c) in residual.iter().zip(covered.iter()).step_by(Histogram::STEP) {
                histogram.add(*r, *c);
            }
        }
        let sigma = (1.4826 * histogram.median()).max(SIGMA_FLOOR);
        let cut = 1.0 / (TUKEY * sigma.max(STEP_SIGMA));
        let mut sums = Normal::default();
        for y in rows() {
            let residual = &self.residual[y * w + 1..(y + 1) * w - 1];
            let covered = &self.covered[y * w + 1..(y + 1) * w - 1];
            let row = self.batch.room(&mut sums, w - 2);
            row.fill(target, y, scale, residual, covered, cut);
        }
        self.batch.flush(&mut sums);
        let p = sums.solve()?;
        let small = Homography([[1.0 + p[0], p[1], p[2]], [p[3], 1.0 + p[4], p[5]], [p[6], p[7], 1.0]]);
        let moved = p[2].abs().max(p[5].abs()) + [0, 1, 3, 4, 6, 7].iter().map(|&k| p[k].abs()).fold(0.0, f64::max);
        let next = State {
            map: state.map.after(&small.inverse()?),
            gain: state.gain + p[8] as f32,
            bias: state.bias + 64.0 * p[9] as f32,
        };
        Some((next, moved))
    }
}

#[derive(Debug, Clone, Copy)]
struct State {
    map: Homography,
    gain: f32,
    bias: f32,
}

/// The shift (in pixels of these planes) that brings `earlier` best onto `later`: earlier(x + shift) = later(x).
fn shift(later: &Plane, earlier: &Plane) -> (i32, i32) {
    let (w, h) = (later.width as i32, later.height as i32);
    let mut best = (f32::MAX, 0, 0);
    for dy in -SEARCH.1..=SEARCH.1 {
        for dx in -SEARCH.0..=SEARCH.0 {
            let (x0, x1) = (0.max(-dx), w.min(w - dx));
            let (y0, y1) = (0.max(-dy), h.min(h - dy));
            let n = ((x1 - x0) * (y1 - y0)) as f32;
            let rows = || {
                (y0..y1).map(|y| {
                    let a = (y * w + x0) as usize;
                    let b = ((y + dy) * w + x0 + dx) as usize;
                    let length = (x1 - x0) as usize;
                    (&later.data[a..a + length], &earlier.data[b..b + length])
                })
            };
            let mean = rows().map(|(a, b)| a.iter().zip(b).map(|(a, b)| a - b).sum::<f32>()).sum::<f32>() / n;
            let sum: f32 =
                rows().map(|(a, b)| a.iter().zip(b).map(|(a, b)| (a - b - mean).abs().min(CLIP)).sum::<f32>()).sum();
            // A little against far shifts: plain turf fits anywhere.
            let score = sum / n + 0.02 * ((dx * dx + dy * dy) as f32).sqrt();
            if score < best.0 {
                best = (score, dx, dy);
            }
        }
    }
    (best.1, best.2)
}

/// Absolute residuals counted by eighths of a gray level, for their median.
#[derive(Debug)]
struct Histogram {
    counts: [u32; Self::BINS],
}

impl Default for Histogram {
    fn default() -> Self {
        Self { counts: [0; Self::BINS] }
    }
}

impl Histogram {
    const BINS: usize = 512;
    const PER_LEVEL: f32 = 8.0;
    /// Every third pixel tells the median as well.
    const STEP: usize = 3;

    fn add(&mut self, residual: f32, covered: f32) {
        // What is not covered falls into the last bin and is not asked for.
        let bin = (residual.abs() * Self::PER_LEVEL) as usize;
        self.counts[if covered > 0.0 { bin.min(Self::BINS - 2) } else { Self::BINS - 1 }] += 1;
    }

    fn median(&self) -> f32 {
        let counts = &self.counts[..Self::BINS - 1];
        let half = counts.iter().sum::<u32>() / 2;
        let mut sum = 0;
        for (bin, &n) in counts.iter().enumerate() {
            if sum + n > half {
                return (bin as f32 + (half - sum) as f32 / n as f32) / Self::PER_LEVEL;
            }
            sum += n;
        }
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sense::small::Small;

    /// A scene with texture and lines, seen through a map: later(x) = scene(map(x)).
    fn seen(map: &Homography, gain: f32, bias: f32, man: Option<f64>) -> Small {
        let scene = |x: f64, y: f64| {
            let line = if (x * 6.0).rem_euclid(1.0) < 0.08 { 60.0 } else { 0.0 };
            // Waves of no common period, as turf, crowd and stands have none.
            let waves: f64 = (1..9)
                .map(|k| {
                    let k = f64::from(k);
                    7.0 * ((x * (k * 2.3).sin() + y * (k * 2.3).cos()) * k.powf(1.4) * 2.1 + k * k).sin()
                })
                .sum();
            100.0 + waves + line
        };
        let mut luma = vec![0; WIDTH * HEIGHT];
        for y in 0..HEIGHT {
            for x in 0..WIDTH {
                let mut sum = 0.0;
                for k in 0..9 {
                    let px = (x as f64 + (f64::from(k % 3) + 0.5) / 3.0 - 120.0) / 120.0;
                    let py = (y as f64 + (f64::from(k / 3) + 0.5) / 3.0 - 67.5) / 120.0;
                    let m = map.0;
                    let w = m[2][0] * px + m[2][1] * py + m[2][2];
                    let u = (m[0][0] * px + m[0][1] * py + m[0][2]) / w;
                    let v = (m[1][0] * px + m[1][1] * py + m[1][2]) / w;
                    sum += match man {
                        Some(at) if (u - at).abs() < 0.06 && v.abs() < 0.12 => 230.0,
                        _ => scene(u, v),
                    };
                }
                luma[y * WIDTH + x] = (gain * sum as f32 / 9.0 + bias).round().clamp(0.0, 255.0) as u8;
            }
        }
        Small { frame: 0, time: 0.0, luma, cb: vec![], cr: vec![] }
    }

    /// Greatest error of a map at the corners, in small-picture pixels.
    fn error(a: &Homography, b: &Homography) -> f64 {
        let at = |m: &Homography, x: f64, y: f64| {
            let w = m.0[2][0] * x + m.0[2][1] * y + m.0[2][2];
            ((m.0[0][0] * x + m.0[0][1] * y + m.0[0][2]) / w, (m.0[1][0] * x + m.0[1][1] * y + m.0[1][2]) / w)
        };
        [(-1.0, -0.56), (1.0, -0.56), (-1.0, 0.56), (1.0, 0.56)]
            .iter()
            .map(|&(x, y)| {
                let (p, q) = (at(a, x, y), at(b, x, y));
                120.0 * (p.0 - q.0).hypot(p.1 - q.1)
            })
            .fold(0.0, f64::max)
    }

    #[test]
    fn a_known_movement_is_found_to_a_third_of_a_pixel() {
        for map in [
            Homography::IDENTITY,
            Homography::shift(0.031, -0.012),
            Homography::shift(-0.22, 0.02),
            Homography([[1.02, 0.01, 0.05], [-0.008, 1.015, -0.02], [0.01, -0.006, 1.0]]),
        ] {
            let earlier = Pyramid::of(&seen(&Homography::IDENTITY, 1.0, 0.0, None));
            let later = Pyramid::of(&seen(&map, 1.0, 0.0, None));
            let mut registrar = Registrar::default();
            let found = registrar.register(&later, &earlier, &Homography::IDENTITY);
            assert!(error(&found.map, &map) < 0.3, "{map:?}: {found:?}, off by {}", error(&found.map, &map));
            assert!(!found.is_bad() && found.sigma < 1.5, "{found:?}");
        }
    }

    #[test]
    fn brightness_and_a_man_do_not_move_the_camera() {
        let map = Homography::shift(0.04, 0.01);
        let earlier = Pyramid::of(&seen(&Homography::IDENTITY, 1.0, 0.0, Some(-0.2)));
        let later = Pyramid::of(&seen(&map, 0.9, 12.0, Some(-0.1)));
        let found = Registrar::default().register(&later, &earlier, &Homography::IDENTITY);
        assert!(error(&found.map, &map) < 0.3, "{found:?}, off by {}", error(&found.map, &map));
        // Gain and bias trade against each other on a scene of one brightness; what counts is the brightness there.
        assert!((found.gain * 105.0 + found.bias - (0.9 * 105.0 + 12.0)).abs() < 2.0, "{found:?}");
    }

    #[test]
    fn another_scene_is_bad() {
        let earlier = Pyramid::of(&seen(&Homography::IDENTITY, 1.0, 0.0, None));
        let mut other = seen(&Homography::IDENTITY, 1.0, 0.0, None);
        for (k, sample) in other.luma.iter_mut().enumerate() {
            *sample = ((k * 7919) % 251) as u8;
        }
        assert!(Registrar::default().register(&Pyramid::of(&other), &earlier, &Homography::IDENTITY).is_bad());
    }
}
