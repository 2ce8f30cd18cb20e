//! A plane's map from one picture to another.

use super::small::{HEIGHT, WIDTH};

/// The picture's corners in normalized units.
const CORNERS: [(f64, f64); 4] = [(-1.0, -TALL), (1.0, -TALL), (-1.0, TALL), (1.0, TALL)];
/// Half the height.
const TALL: f64 = HEIGHT as f64 / WIDTH as f64;

/// A homography between two pictures in normalized coordinates: the center is (0, 0), half the width is 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Homography(pub [[f64; 3]; 3]);

/// A point in shares of a picture's size, normalized.
pub fn from_shares(x: f64, y: f64) -> (f64, f64) {
    (2.0 * x - 1.0, 2.0 * TALL * (y - 0.5))
}

/// A normalized point in shares of a picture's size.
pub fn to_shares(x: f64, y: f64) -> (f64, f64) {
    (0.5 * x + 0.5, 0.5 * y / TALL + 0.5)
}

impl Homography {
    /// The map that moves nothing.
    pub const IDENTITY: Self = Self([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]);

    /// A shift by (x, y) normalized units.
    pub fn shift(x: f64, y: f64) -> Self {
        Self([[1.0, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]])
    }

    /// `self` after `other`.
    pub fn after(&self, other: &Self) -> Self {
        let mut out = [[0.0; 3]; 3];
        for (i, row) in out.iter_mut().enumerate() {
            for (j, cell) in row.iter_mut().enumerate() {
                *cell = (0..3).map(|k| self.0[i][k] * other.0[k][j]).sum();
            }
        }
        Self(out).normalized()
    }

    /// The way back; `None` if the map folds the plane flat.
    pub fn inverse(&self) -> Option<Self> {
        let m = &self.0;
        let minor = |a: usize, b: usize, c: usize, d: usize| m[a][c] * m[b][d] - m[a][d] * m[b][c];
        let cofactors = [
            [minor(1, 2, 1, 2), -minor(0, 2, 1, 2), minor(0, 1, 1, 2)],
            [-minor(1, 2, 0, 2), minor(0, 2, 0, 2), -minor(0, 1, 0, 2)],
            [minor(1, 2, 0, 1), -minor(0, 2, 0, 1), minor(0, 1, 0, 1)],
        ];
        let det = m[0][0] * cofactors[0][0] + m[0][1] * cofactors[1][0] + m[0][2] * cofactors[2][0];
        (det.abs() > 1e-9).then(|| Self(cofactors.map(|row| row.map(|v| v / det))).normalized())
    }

    fn normalized(self) -> Self {
        let w = self.0[2][2];
        if w.abs() < 1e-9 { self } else { Self(self.0.map(|row| row.map(|v| v / w))) }
    }

    /// Where the picture's center goes, in normalized units.
    pub fn translation(&self) -> (f64, f64) {
        (self.0[0][2], self.0[1][2])
    }

    /// Whether it is a map that a camera can make between two frames: every corner stays within a picture's width.
    pub fn is_sane(&self) -> bool {
        CORNERS.iter().all(|&(x, y)| {
            let w = self.0[2][0] * x + self.0[2][1] * y + self.0[2][2];
            let u = (self.0[0][0] * x + self.0[0][1] * y + self.0[0][2]) / w;
            let v = (self.0[1][0] * x + self.0[1][1] * y + self.0[1][2]) / w;
            w > 0.5 && w < 2.0 && (u - x).abs() < 1.0 && (v - y).abs() < 1.0
        })
    }

    /// Where a point goes; `None` behind the camera.
    pub fn point(&self, x: f64, y: f64) -> Option<(f64, f64)> {
        let m = &self.0;
        let w = m[2][0] * x + m[2][1] * y + m[2][2];
        (w > 1e-6).then(|| ((m[0][0] * x + m[0][1] * y + m[0][2]) / w, (m[1][0] * x + m[1][1] * y + m[1][2]) / w))
    }

    /// The greatest distance between where this map and another take the picture's corners.
    pub fn distance(&self, other: &Self) -> f64 {
        let apart = |&(x, y): &(f64, f64)| match (self.point(x, y), other.point(x, y)) {
            (Some(a), Some(b)) => (a.0 - b.0).hypot(a.1 - b.1),
            _ => f64::INFINITY,
        };
        CORNERS.iter().map(apart).fold(0.0, f64::max)
    }

    /// Of a map from one picture to another: the share of the one that the other shows, and how many times larger the
    /// other shows it.
    pub fn coverage(&self) -> (f64, f64) {
        const STEPS: i32 = 7;
        let even = |k: i32| f64::from(2 * k + 1 - STEPS) / f64::from(STEPS);
        let mut inside = 0;
        for k in 0..STEPS * STEPS {
            let to = self.point(even(k % STEPS), TALL * even(k / STEPS));
            inside += i32::from(to.is_some_and(|(u, v)| u.abs() <= 1.0 && v.abs() <= TALL));
        }
        (f64::from(inside) / f64::from(STEPS * STEPS), self.size_at(0.0, 0.0))
    }

    /// How many times longer lengths are around a point after the map (the root of how areas grow).
    pub fn size_at(&self, x: f64, y: f64) -> f64 {
        let step = 0.01;
        let (Some(o), Some(a), Some(b)) = (self.point(x, y), self.point(x + step, y), self.point(x, y + step)) else {
            return f64::INFINITY;
        };
        (((a.0 - o.0) * (b.1 - o.1) - (a.1 - o.1) * (b.0 - o.0)).abs() / (step * step)).sqrt()
    }

    /// A share of the way from this map to another.
    pub fn mixed(&self, other: &Self, share: f64) -> Self {
        let (a, b) = (&self.0, &other.0);
        Self(std::array::from_fn(|i| std::array::from_fn(|j| a[i][j] + share * (b[i][j] - a[i][j])))).normalized()
    }

    /// The same map between shares of the pictures' width and height.
    pub fn in_shares(&self) -> [[f64; 3]; 3] {
        let into = Self([[2.0, 0.0, -1.0], [0.0, 2.0 * TALL, -TALL], [0.0, 0.0, 1.0]]);
        let back = Self([[0.5, 0.0, 0.5], [0.0, 0.5 / TALL, 0.5], [0.0, 0.0, 1.0]]);
        back.after(&self.after(&into)).0
    }
}
