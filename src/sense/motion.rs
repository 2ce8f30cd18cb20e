//! What moved between two registered pictures, cell by cell.

use super::level::{Plane, Pyramid};
use super::register::{Registrar, Registration};
use super::small::{CELL, CELLS, CELLS_X, CELLS_Y, HEIGHT, WIDTH};

/// Differences below this many sigma are noise. (This and all constants of this file: measured on made films drawn
/// from tracked movement.)
const NOISE: f32 = 1.5;
/// Share of sigma that a cell's gradient energy is held against, so that plain turf has no speed.
const GRADIENT_NOISE: f32 = 0.7;
/// Gray levels squared, a floor for a cell's gradient energy.
const GRADIENT_FLOOR: f32 = 256.0;
/// A cell with so many times that gradient energy has lines or men in it.
const LINED: f32 = 3.0;
/// The robust measure: differences of vertical edges below this (times sigma) are flicker of far yard lines.
const EDGE_NOISE: f32 = 8.0;
/// Brings it to the scale of the first.
const EDGE_SCALE: f32 = 0.25;
/// Floor for a cell's edge strength.
const EDGE_FLOOR: f32 = 384.0;

/// Speed 1 of a quarter of a cell.
pub const FINE_STEPS: f32 = 250.0;

/// Motion of each cell: rows of [`CELLS_X`].
#[derive(Debug, Clone)]
pub struct Cells {
    /// Speed-like, 0 to 1: difference over gradient, free of contrast.
    pub speed: Vec<f32>,
    /// Whether there is anything in it that could be seen to move: more gradient than plain turf and noise have.
    pub lined: Vec<bool>,
    /// The same of each cell's quarters, in steps of 1/[`FINE_STEPS`]: rows of two for each cell, two rows for each row
    /// of cells.
    pub fine: Vec<u8>,
    /// Change of vertical edges beyond one pixel of jitter, over edge strength.
    pub edges: Vec<f32>,
}

/// Buffers of the measurement.
#[derive(Debug)]
pub struct Mover {
    box_a: Vec<f32>,
    box_b: Vec<f32>,
    edge_a: Plane,
    edge_b: Plane,
    most_a: Vec<f32>,
    least_a: Vec<f32>,
    most_b: Vec<f32>,
    least_b: Vec<f32>,
}

impl Default for Mover {
    fn default() -> Self {
        let flat = || vec![0.0; WIDTH * HEIGHT];
        Self {
            box_a: flat(),
            box_b: flat(),
            edge_a: Plane::zeros(WIDTH, HEIGHT),
            edge_b: Plane::zeros(WIDTH, HEIGHT),
            most_a: flat(),
            least_a: flat(),
            most_b: flat(),
            least_b: flat(),
        }
    }
}

impl Mover {
    /// Measures what `registrar` left of the pair it registered last: `later` and the expected picture.
    pub fn cells(&mut self, later: &Pyramid, registrar: &Registrar, found: &Registration) -> Cells {
        let (speed, fine, lined) = speeds(&later.levels[0], &registrar.expected, &registrar.covered, found.sigma);
        let edges = self.edges(&later.levels[0], registrar, found.sigma);
        Cells { speed, lined, fine, edges }
    }

    fn edges(&mut self, later: &Plane, registrar: &Registrar, sigma: f32) -> Vec<f32> {
        vertical_edges(later, &mut self.box_a, &mut self.edge_a);
        vertical_edges(&registrar.expected, &mut self.box_b, &mut self.edge_b);
        neighborhood(&self.edge_a, &mut self.box_a, &mut self.most_a, f32::max);
        neighborhood(&self.edge_a, &mut self.box_a, &mut self.least_a, f32::min);
        neighborhood(&self.edge_b, &mut self.box_a, &mut self.most_b, f32::max);
        neighborhood(&self.edge_b, &mut self.box_a, &mut self.least_b, f32::min);
        let noise = EDGE_NOISE * (0.8 * sigma).max(1.0);
        let mut change = [[0f32; CELL]; CELLS_X];
        let mut strength = [[0f32; CELL]; CELLS_X];
        let mut out = Vec::with_capacity(CELLS);
        for cy in 0..CELLS_Y {
            change.fill([0.0; CELL]);
            strength.fill([0.0; CELL]);
            for y in cy * CELL..(cy + 1) * CELL {
                let at = y * WIDTH;
                for cx in 0..CELLS_X {
                    let k = at + cx * CELL;
                    let slice = |v: &'_ [f32]| -> [f32; CELL] {
                        let mut out = [0.0; CELL];
                        out.copy_from_slice(&v[k..k + CELL]);
                        out
                    };
                    let (a, b) = (slice(&self.edge_a.data), slice(&self.edge_b.data));
                    let (ma, la) = (slice(&self.most_a), slice(&self.least_a));
                    let (mb, lb) = (slice(&self.most_b), slice(&self.least_b));
                    let c = slice(&registrar.covered);
                    for l in 0..CELL {
                        let d = (a[l] - mb[l]).max(lb[l] - a[l]).max(b[l] - ma[l]).max(la[l] - b[l]);
                        change[cx][l] += (d - noise).max(0.0) * c[l];
                        strength[cx][l] += (a[l].abs() + b[l].abs()) * c[l];
                    }
                }
            }
            for (d, s) in change.iter().zip(&strength) {
                let (d, s) = (d.iter().sum::<f32>(), s.iter().sum::<f32>());
                out.push(EDGE_SCALE * d / (s / 8.0 + EDGE_FLOOR));
            }
        }
        out
    }
}

/// Speeds of the cells, of their quarters in steps of 1/[`FINE_STEPS`], rows of two for each cell, and which cells are lined.
fn speeds(later: &Plane, expected: &Plane, covered: &[f32], sigma: f32) -> (Vec<f32>, Vec<u8>, Vec<bool>) {
    const HALF: usize = CELL / 2;
    // A quarter has a quarter of its cell's floor.
    let floor = (CELL * CELL) as f32 * (GRADIENT_NOISE * sigma).powi(2) + GRADIENT_FLOOR;
    let noise = NOISE * sigma;
    let mut out = Vec::with_capacity(CELLS);
    let mut fine = Vec::with_capacity(4 * CELLS);
    let mut lined = Vec::with_capacity(CELLS);
    let mut over = [[[0f32; CELL]; CELLS_X]; 2];
    let mut under = [[[0f32; CELL]; CELLS_X]; 2];
    let mut square = [0f32; WIDTH];
    for cy in 0..CELLS_Y {
        over.fill([[0.0; CELL]; CELLS_X]);
        under.fill([[0.0; CELL]; CELLS_X]);
        for y in cy * CELL..(cy + 1) * CELL {
            let half = (y - cy * CELL) / HALF;
            let (up, line, down) = (later.row(y.saturating_sub(1)), later.row(y), later.row((y + 1).min(HEIGHT - 1)));
            for x in 1..WIDTH - 1 {
                let gx = 0.5 * (line[x + 1] - line[x - 1]);
                let gy = 0.5 * (down[x] - up[x]);
                square[x] = gx * gx + gy * gy;
            }
            let warped = expected.row(y);
            let inside = &covered[y * WIDTH..(y + 1) * WIDTH];
            for cx in 0..CELLS_X {
                let k = cx * CELL..(cx + 1) * CELL;
                let (t, e, c, s) = (&line[k.clone()], &warped[k.clone()], &inside[k.clone()], &square[k]);
                for l in 0..CELL {
                    let g = s[l].sqrt();
                    let d = ((e[l] - t[l]).abs() - noise).max(0.0) * c[l];
                    over[half][cx][l] += d * g;
                    under[half][cx][l] += s[l] * c[l];
                }
            }
        }
        for half in 0..2 {
            for cx in 0..CELLS_X {
                let quarters = over[half][cx].chunks_exact(HALF).zip(under[half][cx].chunks_exact(HALF));
                for (a, b) in quarters {
                    let speed = a.iter().sum::<f32>() / (b.iter().sum::<f32>() + 0.25 * floor);
                    fine.push((speed.min(1.0) * FINE_STEPS) as u8);
                }
            }
        }
        for cx in 0..CELLS_X {
            let sum = |v: &[[[f32; CELL]; CELLS_X]; 2]| v[0][cx].iter().chain(&v[1][cx]).sum::<f32>();
            let gradient = sum(&under);
            out.push((sum(&over) / (gradient + floor)).min(1.0));
            lined.push(gradient > LINED * floor);
        }
    }
    (out, fine, lined)
}

/// Sobel across, of the picture averaged over five rows: what is long and upright counts, grain does not.
fn vertical_edges(plane: &Plane, boxed: &mut [f32], out: &mut Plane) {
    for (y, line) in boxed.chunks_exact_mut(WIDTH).enumerate() {
        let rows: [&[f32]; 5] = std::array::from_fn(|k| plane.row((y + k).saturating_sub(2).min(HEIGHT - 1)));
        for x in 0..WIDTH {
            line[x] = 0.2 * (rows[0][x] + rows[1][x] + rows[2][x] + rows[3][x] + rows[4][x]);
        }
    }
    let mut sums = [0f32; WIDTH];
    for y in 0..HEIGHT {
        let (up, down) = (y.saturating_sub(1), (y + 1).min(HEIGHT - 1));
        let rows = (&boxed[up * WIDTH..][..WIDTH], &boxed[y * WIDTH..][..WIDTH], &boxed[down * WIDTH..][..WIDTH]);
        for x in 0..WIDTH {
            sums[x] = rows.0[x] + 2.0 * rows.1[x] + rows.2[x];
        }
        let line = &mut out.data[y * WIDTH..(y + 1) * WIDTH];
        for x in 1..WIDTH - 1 {
            line[x] = sums[x + 1] - sums[x - 1];
        }
        line[0] = 0.0;
        line[WIDTH - 1] = 0.0;
    }
}

/// Greatest or least of the 3x3 around each sample.
fn neighborhood(plane: &Plane, across: &mut [f32], out: &mut [f32], pick: impl Fn(f32, f32) -> f32 + Copy) {
    for (y, line) in across.chunks_exact_mut(WIDTH).enumerate() {
        let row = plane.row(y);
        for x in 1..WIDTH - 1 {
            line[x] = pick(pick(row[x - 1], row[x]), row[x + 1]);
        }
        line[0] = pick(row[0], row[1]);
        line[WIDTH - 1] = pick(row[WIDTH - 2], row[WIDTH - 1]);
    }
    for (y, line) in out.chunks_exact_mut(WIDTH).enumerate() {
        let (up, down) = (y.saturating_sub(1), (y + 1).min(HEIGHT - 1));
        let rows = (&across[up * WIDTH..][..WIDTH], &across[y * WIDTH..][..WIDTH], &across[down * WIDTH..][..WIDTH]);
        for x in 0..WIDTH {
            line[x] = pick(pick(rows.0[x], rows.1[x]), rows.2[x]);
        }
    }
}
