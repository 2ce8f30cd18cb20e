//! Scaling of planes: separable, with weights computed once.

/// Fixed point of the weights.
const BITS: u32 = 12;

/// Bits kept between the two passes beyond the eight of a sample.
const KEPT: u32 = 6;

/// Scales planes of one size to another: bilinear upward, a triangle as wide as the reduction downward (so that yard
/// lines do not flicker).
#[derive(Debug, Clone)]
pub struct Scaler {
    from: (usize, usize),
    across: Taps,
    down: Taps,
    between: Vec<u16>,
}

/// For each sample put out: the first sample taken, and the weights of it and those after it.
#[derive(Debug, Clone)]
struct Taps {
    first: Vec<usize>,
    weights: Vec<i32>,
    each: usize,
}

impl Taps {
    /// `site`: where in its cell a sample lies, .5 for the middle. Chroma of 4:2:0 film lies left: a quarter of its cell.
    /// Of the samples the part from the share `start` on that is `length` of them all is scaled.
    fn new(from: usize, (start, length): (f64, f64), to: usize, site: f64) -> Self {
        let (origin, ratio) = (start * from as f64, length * from as f64 / to.max(1) as f64);
        let reach = ratio.max(1.0);
        // A triangle 2 * reach wide, its ends not counted, covers at most that many samples.
        let each = ((2.0 * reach).ceil() as usize).min(from.max(1));
        let mut taps = Self { first: Vec::with_capacity(to), weights: Vec::with_capacity(to * each), each };
        for i in 0..to {
            let center = origin + (i as f64 + site) * ratio - site;
            let first = ((center - reach).floor() + 1.0).clamp(0.0, (from.max(1) - each) as f64) as usize;
            let mut shares = vec![0.0f64; each];
            let (low, high) = ((center - reach).floor() as i64, (center + reach).ceil() as i64);
            for j in low..=high {
                // Past the edge the edge's own sample goes on.
                let k = (j.clamp(0, from as i64 - 1) - first as i64).clamp(0, each as i64 - 1) as usize;
                shares[k] += (1.0 - (j as f64 - center).abs() / reach).max(0.0);
            }
            let sum: f64 = shares.iter().sum();
            let mut weights: Vec<i32> =
                shares.iter().map(|s| (s / sum.max(1e-9) * f64::from(1u32 << BITS)).round() as i32).collect();
            // They add up exactly, so that a flat plane stays as it is.
            let rest = (1 << BITS) - weights.iter().sum::<i32>();
            if let Some(most) = weights.iter_mut().max() {
                *most += rest;
            }
            taps.first.push(first);
            taps.weights.extend(weights);
        }
        taps
    }

    /// Scales one row with `N` taps.
    fn across<const N: usize>(&self, row: &[u8], out: &mut [u16]) {
        let (weights, _) = self.weights.as_chunks::<N>();
        for ((put, &first), weights) in out.iter_mut().zip(&self.first).zip(weights) {
            let Some(samples) = row.get(first..).and_then(|rest| rest.first_chunk::<N>()) else { break };
            let mut sum = 0;
            for i in 0..N {
                sum += i32::from(samples[i]) * weights[i];
            }
            *put = (sum >> (BITS - KEPT)) as u16;
        }
    }

    /// Scales one row with any number of taps.
    fn across_any(&self, row: &[u8], out: &mut [u16]) {
        for ((put, &first), weights) in out.iter_mut().zip(&self.first).zip(self.weights.chunks_exact(self.each)) {
            let samples = row.get(first..first + self.each).unwrap_or_default();
            let sum: i32 = samples.iter().zip(weights).map(|(&s, &w)| i32::from(s) * w).sum();
            *put = (sum >> (BITS - KEPT)) as u16;
        }
    }
}

impl Scaler {
    /// The part of a plane that is all of it.
    pub const WHOLE: [f64; 4] = [0.0, 0.0, 1.0, 1.0];

    /// For luma planes from `(width, height)` to `(width, height)`; of the plane the part `[left, top, width, height]`, as
    /// shares of it.
    pub fn luma(from: (usize, usize), part: [f64; 4], to: (usize, usize)) -> Self {
        Self::new(from, part, to, 0.5)
    }

    /// For chroma planes (their own sizes are given) with left siting.
    pub fn chroma(from: (usize, usize), part: [f64; 4], to: (usize, usize)) -> Self {
        Self::new(from, part, to, 0.25)
    }

    fn new(from: (usize, usize), [left, top, width, height]: [f64; 4], to: (usize, usize), site: f64) -> Self {
        Self {
            from,
            across: Taps::new(from.0, (left, width), to.0, site),
            down: Taps::new(from.1, (top, height), to.1, 0.5),
            between: vec![0; to.0 * from.1],
        }
    }

    /// Scales a plane with rows `stride` apart into `out`, whose rows are `out_stride` apart. A plane shorter than it
    /// should be leaves the rows it lacks as they were.
    pub fn run(&mut self, plane: &[u8], stride: usize, out: &mut [u8], out_stride: usize) {
        let width = self.across.first.len();
        if width == 0 || self.from.0 == 0 {
            return;
        }
        let rows = plane.chunks(stride.max(1)).filter(|row| row.len() >= self.from.0).take(self.from.1);
        // The usual numbers of taps are known when compiled: unrolled, they take a third of the time.
        let across = match self.across.each {
            1 => Taps::across::<1>,
            2 => Taps::across::<2>,
            3 => Taps::across::<3>,
            4 => Taps::across::<4>,
            5 => Taps::across::<5>,
            6 => Taps::across::<6>,
            _ => Taps::across_any,
        };
        for (row, between) in rows.zip(self.between.chunks_mut(width)) {
            across(&self.across, row, between);
        }
        let mut sums = vec![0i32; width];
        let weights = self.down.weights.chunks_exact(self.down.each);
        for ((row, &first), weights) in out.chunks_mut(out_stride.max(1)).zip(&self.down.first).zip(weights) {
            sums.fill(1 << (BITS + KEPT - 1));
            for (between, &weight) in self.between.chunks_exact(width).skip(first).zip(weights) {
                if weight != 0 {
                    for (sum, &b) in sums.iter_mut().zip(between) {
                        *sum += i32::from(b) * weight;
                    }
                }
            }
            for (put, &sum) in row.iter_mut().zip(&sums) {
                *put = (sum >> (BITS + KEPT)).clamp(0, 255) as u8;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scaled(from: (usize, usize), to: (usize, usize), draw: impl Fn(usize, usize) -> u8) -> Vec<u8> {
        let plane: Vec<u8> = (0..from.0 * from.1).map(|i| draw(i % from.0, i / from.0)).collect();
        let mut out = vec![0; to.0 * to.1];
        Scaler::luma(from, Scaler::WHOLE, to).run(&plane, from.0, &mut out, to.0);
        out
    }

    #[test]
    fn flat_planes_stay_flat_at_any_ratio() {
        for to in [(1, 1), (7, 5), (64, 36), (100, 90), (640, 360)] {
            for value in [0, 16, 201, 255] {
                assert!(scaled((64, 36), to, |_, _| value).iter().all(|&v| v == value), "{to:?} {value}");
            }
        }
    }

    #[test]
    fn the_same_size_is_the_same_plane() {
        let draw = |x: usize, y: usize| ((x * 37 + y * 11) % 256) as u8;
        let out = scaled((33, 17), (33, 17), draw);
        assert!((0..33 * 17).all(|i| out[i] == draw(i % 33, i / 33)));
    }

    #[test]
    fn a_slope_stays_where_it_was() {
        // Luma samples lie in the middle of their cells: the value at a place is the same before and after.
        for to in [40, 160, 50, 111] {
            let out = scaled((80, 4), (to, 4), |x, _| (2 * x) as u8);
            for (i, &v) in out.iter().enumerate().take(to - 6).skip(6) {
                let want = 2.0 * ((i as f64 + 0.5) * 80.0 / to as f64 - 0.5);
                assert!((f64::from(v) - want).abs() <= 1.0, "{i} of {to}: {v}, not {want}");
            }
        }
    }

    #[test]
    fn fine_stripes_become_their_mean() {
        let out = scaled((400, 40), (100, 10), |x, _| if x % 2 == 0 { 200 } else { 100 });
        assert!(out.iter().all(|v| v.abs_diff(150) <= 13), "{:?}", &out[..12]);
        assert!(out[4..96].iter().all(|v| v.abs_diff(150) <= 1), "{:?}", &out[..12]);
    }
}
