//! Registration of a picture to an earlier one of the same camera: inverse-compositional Gauss-Newton for a homography
//! with gain and bias (Baker and Matthews, "Lucas-Kanade 20 Years On", 2004), with Tukey weights against the men.

use super::homography::Homography;
use super::level::{Plane, Pyramid};
use super::small::{HEIGHT, WIDTH};

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

/// Bilinear sampling of a row through a map.
#[derive(Debug)]
struct Warp {
    u: [f32; WIDTH],
    v: [f32; WIDTH],
    at: [u32; WIDTH],
}

impl Default for Warp {
    fn default() -> Self {
        Self { u: [0.0; WIDTH], v: [0.0; WIDTH], at: [0; WIDTH] }
    }
}

impl Warp {
    /// Row `y` of level `level` as seen through `map` in `plane`; `covered` is 1 where it lies inside, else 0.
    fn row(&mut self, plane: &Plane, map: &Homography, y: usize, level: usize, out: &mut [f32], covered: &mut [f32]) {
        let w = plane.width;
        let scale = (1 << level) as f32 / (WIDTH as f32 / 2.0);
        let tall = HEIGHT as f32 / WIDTH as f32;
        let m = map.0.map(|row| row.map(|v| v as f32));
        let ny = (y as f32 + 0.5) * scale - tall;
        let (a, b, c) = (m[0][1] * ny + m[0][2], m[1][1] * ny + m[1][2], m[2][1] * ny + m[2][2]);
        let (right, bottom) = ((w - 1) as f32, (plane.height - 1) as f32);
        let back = 1.0 / scale;
        let (us, vs, ats) = (&mut self.u[..w], &mut self.v[..w], &mut self.at[..w]);
        for ((u, v), x) in us.iter_mut().zip(vs.iter_mut()).zip(&RAMP[..w]) {
            let nx = (x + 0.5) * scale - 1.0;
            let over = back / (m[2][0] * nx + c);
            *u = (m[0][0] * nx + a) * over + back - 0.5;
            *v = (m[1][0] * nx + b) * over + back * tall - 0.5;
        }
        let stride = w as f32;
        for (((u, v), at), c) in us.iter_mut().zip(vs.iter_mut()).zip(ats.iter_mut()).zip(covered.iter_mut()) {
            let (x, y) = (u.max(0.0).min(right - 0.001), v.max(0.0).min(bottom - 0.001));
            let inside = (x - *u).abs().max((y - *v).abs()) < 0.002;
            *c = if inside { 1.0 } else { 0.0 };
            let (fx, fy) = ((x - 0.4999 + WHOLE) - WHOLE, (y - 0.4999 + WHOLE) - WHOLE);
            *at = (fy * stride + fx + WHOLE).to_bits().wrapping_sub(WHOLE.to_bits());
            *u = x - fx;
            *v = y - fy;
        }
        let data = &plane.data[..];
        for (((fx, fy), at), t) in us.iter().zip(vs.iter()).zip(ats.iter()).zip(out.iter_mut()) {
            let at = *at as usize;
            // Never outside: the coordinates were clamped; a map of NaNs reads nothing.
            let Some(quad) = data.get(at..at + w + 2) else {
                *t = 0.0;
                continue;
            };
            let top = quad[0] + fx * (quad[1] - quad[0]);
            let low = quad[w] + fx * (quad[w + 1] - quad[w]);
            *t = top + fy * (low - top);
        }
    }
}

/// Adding and subtracting this rounds a small float to a whole number in its lowest bits, eight at a time; the
/// language's own conversion saturates, one at a time.
const WHOLE: f32 = 12_582_912.0;

/// For a sum in lanes.
static ONES: [f32; WIDTH] = [1.0; WIDTH];

/// Column numbers as floats, so that loops over a row are done eight at a time.
static RAMP: [f32; WIDTH] = {
    let mut out = [0.0; WIDTH];
    let mut k = 0;
    while k < WIDTH {
        out[k] = k as f32;
        k += 1;
    }
    out
};

const PARAMS: usize = 10;
const LANES: usize = 8;

/// Normal equations of a step.
#[derive(Debug, Default)]
struct Normal {
    matrix: [[f64; PARAMS]; PARAMS],
    vector: [f64; PARAMS],
}

/// Rows of the Jacobian (one array for each parameter) gathered before they are multiplied.
#[derive(Debug)]
struct Batch {
    filled: usize,
    columns: [[f32; WIDTH]; PARAMS],
    weight: [f32; WIDTH],
    residual: [f32; WIDTH],
}

impl Default for Batch {
    fn default() -> Self {
        Self { filled: 0, columns: [[0.0; WIDTH]; PARAMS], weight: [0.0; WIDTH], residual: [0.0; WIDTH] }
    }
}

/// Where one row goes in a batch.
struct BatchRow<'a> {
    batch: &'a mut Batch,
    at: usize,
}

impl Batch {
    fn room(&mut self, sums: &mut Normal, n: usize) -> BatchRow<'_> {
        if self.filled + n > WIDTH {
            self.flush(sums);
        }
        let at = self.filled;
        self.filled += n;
        BatchRow { batch: self, at }
    }

    fn flush(&mut self, sums: &mut Normal) {
        let n = self.filled.next_multiple_of(LANES).min(WIDTH);
        self.weight[self.filled..n].fill(0.0);
        sums.add(self, n);
        self.filled = 0;
    }
}

impl BatchRow<'_> {
    /// Fills it with the derivatives at row `y` of the target, but for its first and last pixel.
    fn fill(self, target: &Plane, y: usize, scale: f32, residual: &[f32], covered: &[f32], cut: f32) {
        let n = residual.len();
        let at = self.at..self.at + n;
        let (above, line, below) = (&target.row(y - 1)[1..=n], &target.row(y)[..n + 2], &target.row(y + 1)[1..=n]);
        let ny = (y as f32 + 0.5) * scale - HEIGHT as f32 / WIDTH as f32;
        let half = 0.5 / scale;
        let [c0, c1, c2, c3, c4, c5, c6, c7, c8, c9] = &mut self.batch.columns;
        let (gx, gy) = (&mut c2[at.clone()], &mut c5[at.clone()]);
        for ((g, a), b) in gx.iter_mut().zip(&line[..n]).zip(&line[2..]) {
            *g = (b - a) * half;
        }
        for ((g, a), b) in gy.iter_mut().zip(above).zip(below) {
            *g = (b - a) * half;
        }
        let (c0, c1, c3, c4) = (&mut c0[at.clone()], &mut c1[at.clone()], &mut c3[at.clone()], &mut c4[at.clone()]);
        let (c6, c7) = (&mut c6[at.clone()], &mut c7[at.clone()]);
        for ((a, b), g) in c0.iter_mut().zip(c1.iter_mut()).zip(gx.iter()) {
            *a = *g;
            *b = g * ny;
        }
        for ((a, b), g) in c3.iter_mut().zip(c4.iter_mut()).zip(gy.iter()) {
            *a = *g;
            *b = g * ny;
        }
        for ((a, b), x) in c0.iter_mut().zip(c3.iter_mut()).zip(&RAMP[1..=n]) {
            let nx = (x + 0.5) * scale - 1.0;
            *a *= nx;
            *b *= nx;
        }
        for (((a, b), (p, q)), x) in c6.iter_mut().zip(c7.iter_mut()).zip(c0.iter().zip(c4.iter())).zip(&RAMP[1..=n]) {
            let nx = (x + 0.5) * scale - 1.0;
            let g = p + q;
            *a = -g * nx;
            *b = -g * ny;
        }
        // Scaled so that all columns are of one order.
        for (c, v) in c8[at.clone()].iter_mut().zip(&line[1..]) {
            *c = -v;
        }
        c9[at.clone()].fill(-64.0);
        for ((w, r), c) in self.batch.weight[at.clone()].iter_mut().zip(residual).zip(covered) {
            let u = r * cut;
            let v = (1.0 - u * u).max(0.0);
            *w = v * v * c;
        }
        self.batch.residual[at].copy_from_slice(residual);
    }
}

impl Normal {
    fn add(&mut self, batch: &Batch, n: usize) {
        let mut wj = [0f32; WIDTH];
        for a in 0..PARAMS {
            for ((t, w), v) in wj[..n].iter_mut().zip(&batch.weight[..n]).zip(&batch.columns[a][..n]) {
                *t = w * v;
            }
            for b in a..PARAMS {
                self.matrix[a][b] += f64::from(dot(&wj[..n], &batch.columns[b][..n]));
            }
            self.vector[a] += f64::from(dot(&wj[..n], &batch.residual[..n]));
        }
    }

    /// Cholesky, with a trace of damping for directions that the picture says nothing of.
    fn solve(mut self) -> Option<[f64; PARAMS]> {
        let m = &mut self.matrix;
        for a in 0..PARAMS {
            m[a][a] = m[a][a] * (1.0 + 1e-6) + 1e-3;
        }
        let mut l = [[0.0; PARAMS]; PARAMS];
        for i in 0..PARAMS {
            for k in 0..=i {
                let sum: f64 = (0..k).map(|n| l[i][n] * l[k][n]).sum();
                if i == k {
                    let left = m[i][i] - sum;
                    if left <= 0.0 {
                        return None;
                    }
                    l[i][i] = left.sqrt();
                } else {
                    l[i][k] = (m[k][i] - sum) / l[k][k];
                }
            }
        }
        let mut x = self.vector;
        for i in 0..PARAMS {
            let sum: f64 = (0..i).map(|k| l[i][k] * x[k]).sum();
            x[i] = (x[i] - sum) / l[i][i];
        }
        for i in (0..PARAMS).rev() {
            let sum: f64 = (i + 1..PARAMS).map(|k| l[k][i] * x[k]).sum();
            x[i] = (x[i] - sum) / l[i][i];
        }
        x.iter().all(|v| v.is_finite()).then_some(x)
    }
}

/// A sum in lanes, which the compiler may do eight at a time (a plain sum has a fixed order).
fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0f32; LANES];
    for (x, y) in a.chunks_exact(LANES).zip(b.chunks_exact(LANES)) {
        for k in 0..LANES {
            sums[k] += x[k] * y[k];
        }
    }
    sums.iter().sum()
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
#[path = "register_tests.rs"]
mod tests;
