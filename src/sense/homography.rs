//! A plane's map from one picture to another.

use super::small::{HEIGHT, WIDTH};

/// A homography between two pictures in normalized coordinates: the center is (0, 0), half the width is 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Homography(pub [[f64; 3]; 3]);

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
        let tall = HEIGHT as f64 / WIDTH as f64;
        [(-1.0, -tall), (1.0, -tall), (-1.0, tall), (1.0, tall)].iter().all(|&(x, y)| {
            let w = self.0[2][0] * x + self.0[2][1] * y + self.0[2][2];
            let u = (self.0[0][0] * x + self.0[0][1] * y + self.0[0][2]) / w;
            let v = (self.0[1][0] * x + self.0[1][1] * y + self.0[1][2]) / w;
            w > 0.5 && w < 2.0 && (u - x).abs() < 1.0 && (v - y).abs() < 1.0
        })
    }
}
