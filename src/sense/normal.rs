//! The normal equations of a Gauss-Newton step, gathered by rows and solved.

use super::level::Plane;
use super::small::{HEIGHT, WIDTH};

/// For a sum in lanes.
pub static ONES: [f32; WIDTH] = [1.0; WIDTH];

/// Column numbers as floats, so that loops over a row are done eight at a time.
pub static RAMP: [f32; WIDTH] = {
    let mut out = [0.0; WIDTH];
    let mut k = 0;
    while k < WIDTH {
        out[k] = k as f32;
        k += 1;
    }
    out
};

const PARAMS: usize = 10;
/// Floats that are summed side by side.
pub const LANES: usize = 8;

/// Normal equations of a step.
#[derive(Debug, Default)]
pub struct Normal {
    matrix: [[f64; PARAMS]; PARAMS],
    vector: [f64; PARAMS],
}

/// Rows of the Jacobian (one array for each parameter) gathered before they are multiplied.
#[derive(Debug)]
pub struct Batch {
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
pub struct BatchRow<'a> {
    batch: &'a mut Batch,
    at: usize,
}

impl Batch {
    /// Room for a row of `n` pixels; what is full goes into `sums`.
    pub fn room(&mut self, sums: &mut Normal, n: usize) -> BatchRow<'_> {
        if self.filled + n > WIDTH {
            self.flush(sums);
        }
        let at = self.filled;
        self.filled += n;
        BatchRow { batch: self, at }
    }

    /// Puts what was gathered into `sums`.
    pub fn flush(&mut self, sums: &mut Normal) {
        let n = self.filled.next_multiple_of(LANES).min(WIDTH);
        self.weight[self.filled..n].fill(0.0);
        sums.add(self, n);
        self.filled = 0;
    }
}

impl BatchRow<'_> {
    /// Fills it with the derivatives at row `y` of the target, but for its first and last pixel.
    pub fn fill(self, target: &Plane, y: usize, scale: f32, residual: &[f32], covered: &[f32], cut: f32) {
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
    pub fn solve(mut self) -> Option<[f64; PARAMS]> {
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
pub fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0f32; LANES];
    for (x, y) in a.chunks_exact(LANES).zip(b.chunks_exact(LANES)) {
        for k in 0..LANES {
            sums[k] += x[k] * y[k];
        }
    }
    sums.iter().sum()
}
