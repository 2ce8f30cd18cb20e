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
    let mut sums = [0f32; WIDTH];
    for y in 0..HEIGHT {
        let (up, down) = (y.saturating_sub(1), (y + 1).min(HEIGHT - 1));
        let rows = (&luma[up * WIDTH..][..WIDTH], &luma[y * WIDTH..][..WIDTH], &luma[down * WIDTH..][..WIDTH]);
        // Floats, as whole numbers would be checked for overflow one by one.
        for (((t, a), b), c) in sums.iter_mut().zip(rows.0).zip(rows.1).zip(rows.2) {
            *t = f32::from(*a) + 2.0 * f32::from(*b) + f32::from(*c);
        }
        let line = &mut out.data[y * WIDTH..(y + 1) * WIDTH];
        for ((t, a), (b, c)) in
            line[1..].iter_mut().zip(&sums[..WIDTH - 2]).zip(sums[1..WIDTH - 1].iter().zip(&sums[2..]))
        {
            *t = (a + 2.0 * b + c) * (1.0 / 16.0);
        }
        line[0] = (3.0 * sums[0] + sums[1]) / 16.0;
        line[WIDTH - 1] = (3.0 * sums[WIDTH - 1] + sums[WIDTH - 2]) / 16.0;
    }
    out
}
