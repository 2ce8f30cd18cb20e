//! A small picture made ready for registration: smoothed, with its pyramid.

use super::small::{HEIGHT, Small, WIDTH};

/// How many levels a pyramid has: 240, 120, 60 and 30 across. The last only serves the search for a shift.
pub const LEVELS: usize = 4;

/// A plane of floats, rows without padding.
#[derive(Debug, Clone, Default)]
pub struct Plane {
    /// Samples a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Row by row, gray levels 0 to 255.
    pub data: Vec<f32>,
}

impl Plane {
    /// A plane of zeros.
    pub fn zeros(width: usize, height: usize) -> Self {
        Self { width, height, data: vec![0.0; width * height] }
    }

    /// Row `y`.
    pub fn row(&self, y: usize) -> &[f32] {
        &self.data[y * self.width..(y + 1) * self.width]
    }

    fn halved(&self) -> Self {
        let mut out = Self::zeros(self.width / 2, self.height / 2);
        for y in 0..out.height {
            let (a, b) = (self.row(2 * y), self.row(2 * y + 1));
            let line = &mut out.data[y * out.width..(y + 1) * out.width];
            for ((t, p), q) in line.iter_mut().zip(a.chunks_exact(2)).zip(b.chunks_exact(2)) {
                *t = 0.25 * (p[0] + p[1] + q[0] + q[1]);
            }
        }
        out
    }
}

/// A picture's pyramid. Level `l` has the pixel (i, j) at ((i + .5) 2^l, (j + .5) 2^l) of the small picture.
#[derive(Debug, Clone, Default)]
pub struct Pyramid {
    /// Finest first.
    pub levels: [Plane; LEVELS],
}

impl Pyramid {
    /// Smooths with a 3x3 binomial (as the noise of a single pixel is no evidence of movement) and halves.
    pub fn of(small: &Small) -> Self {
        let finest = smoothed(&small.luma);
        let second = finest.halved();
        let third = second.halved();
        let fourth = third.halved();
        Self { levels: [finest, second, third, fourth] }
    }
}

fn smoothed(luma: &[u8]) -> Plane {
    let mut out = Plane::zeros(WIDTH, HEIGHT);
    let mut sums = [0u16; WIDTH];
    for y in 0..HEIGHT {
        let (up, down) = (y.saturating_sub(1), (y + 1).min(HEIGHT - 1));
        let rows = (&luma[up * WIDTH..][..WIDTH], &luma[y * WIDTH..][..WIDTH], &luma[down * WIDTH..][..WIDTH]);
        for x in 0..WIDTH {
            sums[x] = u16::from(rows.0[x]) + 2 * u16::from(rows.1[x]) + u16::from(rows.2[x]);
        }
        let line = &mut out.data[y * WIDTH..(y + 1) * WIDTH];
        for x in 1..WIDTH - 1 {
            line[x] = f32::from(sums[x - 1] + 2 * sums[x] + sums[x + 1]) / 16.0;
        }
        line[0] = f32::from(3 * sums[0] + sums[1]) / 16.0;
        line[WIDTH - 1] = f32::from(3 * sums[WIDTH - 1] + sums[WIDTH - 2]) / 16.0;
    }
    out
}
