//! The Fourier transform of a small square, for correlation.

/// Samples a side.
pub const SIDE: usize = 64;
/// Samples in all.
pub const AREA: usize = SIDE * SIDE;
const BITS: u32 = SIDE.trailing_zeros();

/// A complex number.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Complex {
    /// Real part.
    pub re: f32,
    /// Imaginary part.
    pub im: f32,
}

impl Complex {
    fn times(self, o: Self) -> Self {
        Self { re: self.re * o.re - self.im * o.im, im: self.re * o.im + self.im * o.re }
    }
}

/// Transforms squares; keeps its table.
#[derive(Debug)]
pub struct Fourier {
    turns: [Complex; SIDE / 2],
}

impl Default for Fourier {
    fn default() -> Self {
        let turn = |k: usize| {
            let (s, c) = (-std::f64::consts::TAU * k as f64 / SIDE as f64).sin_cos();
            Complex { re: c as f32, im: s as f32 }
        };
        Self { turns: std::array::from_fn(turn) }
    }
}

impl Fourier {
    /// Of one row, in place (Cooley and Tukey 1965, radix 2).
    fn line(&self, data: &mut [Complex; SIDE]) {
        for i in 0..SIDE {
            let j = ((i as u32).reverse_bits() >> (32 - BITS)) as usize;
            if i < j {
                data.swap(i, j);
            }
        }
        let mut half = 1;
        while half < SIDE {
            for start in (0..SIDE).step_by(2 * half) {
                for k in 0..half {
                    let b = data[start + k + half].times(self.turns[k * (SIDE / 2 / half)]);
                    let a = data[start + k];
                    data[start + k] = Complex { re: a.re + b.re, im: a.im + b.im };
                    data[start + k + half] = Complex { re: a.re - b.re, im: a.im - b.im };
                }
            }
            half *= 2;
        }
    }

    /// Of a square of [`AREA`] samples, row by row, in place.
    pub fn forward(&self, data: &mut [Complex]) {
        let mut line = [Complex::default(); SIDE];
        for row in data.chunks_exact_mut(SIDE) {
            line.copy_from_slice(row);
            self.line(&mut line);
            row.copy_from_slice(&line);
        }
        for x in 0..SIDE {
            for (y, v) in line.iter_mut().enumerate() {
                *v = data[y * SIDE + x];
            }
            self.line(&mut line);
            for (y, v) in line.iter().enumerate() {
                data[y * SIDE + x] = *v;
            }
        }
    }

    /// The way back, of which only the real part is wanted.
    pub fn back(&self, data: &mut [Complex]) -> Vec<f32> {
        for v in data.iter_mut() {
            v.im = -v.im;
        }
        self.forward(data);
        data.iter().map(|v| v.re / AREA as f32).collect()
    }

    /// The transforms of two squares of real samples at once.
    pub fn pair(&self, a: &[f32], b: &[f32]) -> [Vec<Complex>; 2] {
        let mut both: Vec<Complex> = a.iter().zip(b).map(|(&re, &im)| Complex { re, im }).collect();
        self.forward(&mut both);
        let mut out = [vec![Complex::default(); AREA], vec![Complex::default(); AREA]];
        for y in 0..SIDE {
            for x in 0..SIDE {
                let k = y * SIDE + x;
                let m = (SIDE - y) % SIDE * SIDE + (SIDE - x) % SIDE;
                let (p, q) = (both[k], both[m]);
                out[0][k] = Complex { re: 0.5 * (p.re + q.re), im: 0.5 * (p.im - q.im) };
                out[1][k] = Complex { re: 0.5 * (p.im + q.im), im: 0.5 * (q.re - p.re) };
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_there_and_back_changes_nothing_and_a_shift_is_found() {
        let fourier = Fourier::default();
        let a: Vec<f32> = (0..AREA).map(|k| ((k * k * 31 + k * 7) % 101) as f32 - 50.0).collect();
        let b: Vec<f32> = (0..AREA).map(|k| a[(k + 3 * SIDE + 5) % AREA]).collect();
        let [mut fa, fb] = fourier.pair(&a, &b);
        let mut product: Vec<Complex> =
            fa.iter().zip(&fb).map(|(p, q)| Complex { re: p.re, im: -p.im }.times(*q)).collect();
        let alike = fourier.back(&mut product);
        let best = (0..AREA).max_by(|&i, &j| alike[i].total_cmp(&alike[j])).unwrap_or(0);
        // b is a moved by five to the left and three up.
        assert_eq!((best % SIDE, best / SIDE), (SIDE - 5, SIDE - 3));
        let again = fourier.back(&mut fa);
        assert!(a.iter().zip(&again).all(|(p, q)| (p - q).abs() < 0.01));
    }
}
