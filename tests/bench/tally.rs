//! Counts, F1 and intervals.

use std::fmt;

/// What was found right, found wrong, and missed.
#[derive(Debug, Clone, Copy, Default)]
pub struct Tally {
    /// Found and true.
    pub hits: usize,
    /// Found and false.
    pub wrong: usize,
    /// True and not found.
    pub missed: usize,
}

impl Tally {
    /// Pairs found moments with true ones, each at most once and within `tolerance`.
    pub fn of(found: &[f64], truth: &[f64], tolerance: f64) -> Self {
        let mut left: Vec<f64> = found.to_vec();
        let mut out = Self::default();
        for t in truth {
            let nearest = (0..left.len()).min_by(|&a, &b| (left[a] - t).abs().total_cmp(&(left[b] - t).abs()));
            match nearest {
                Some(k) if (left[k] - t).abs() <= tolerance => {
                    left.swap_remove(k);
                    out.hits += 1;
                }
                _ => out.missed += 1,
            }
        }
        out.wrong = left.len();
        out
    }

    /// Adds another.
    pub fn add(&mut self, other: Self) {
        self.hits += other.hits;
        self.wrong += other.wrong;
        self.missed += other.missed;
    }

    /// Harmonic mean of precision and recall.
    pub fn f1(&self) -> f64 {
        2.0 * self.hits as f64 / (2 * self.hits + self.wrong + self.missed).max(1) as f64
    }

    /// How many there truly are.
    pub fn n(&self) -> usize {
        self.hits + self.missed
    }
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // F1 is the share of hits in hits plus the mean of wrong and missed.
        let trials = self.hits as f64 + (self.wrong + self.missed) as f64 / 2.0;
        let (low, high) = wilson(self.f1(), trials);
        write!(
            f,
            "{:.3} [{low:.3}, {high:.3}] n {} (wrong {}, missed {})",
            self.f1(),
            self.n(),
            self.wrong,
            self.missed
        )
    }
}

/// Wilson's 95 % interval of a share `p` in `n` trials.
pub fn wilson(p: f64, n: f64) -> (f64, f64) {
    if n <= 0.0 {
        return (0.0, 1.0);
    }
    let z = 1.959_964_f64;
    let middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z / (1.0 + z * z / n) * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    ((middle - half).max(0.0), (middle + half).min(1.0))
}

/// Median, 95th percentile and mean of errors: absolute, absolute, signed.
pub fn errors(signed: &[f64]) -> String {
    if signed.is_empty() {
        return "none".into();
    }
    let mut size: Vec<f64> = signed.iter().map(|e| e.abs()).collect();
    size.sort_by(f64::total_cmp);
    let at = |share: f64| size[((size.len() - 1) as f64 * share).round() as usize];
    let mut sorted = signed.to_vec();
    sorted.sort_by(f64::total_cmp);
    format!("median {:.2} s, 95th {:.2} s, bias {:+.2} s", at(0.5), at(0.95), sorted[sorted.len() / 2])
}
