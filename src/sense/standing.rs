//! Where men stand: places on the turf as the first frame shows it, in heights of the man who is followed, and in pictures.

use super::figures::UNIT;
use super::homography::{Homography, from_shares, to_shares};

/// Heights of a man in the first frame.
#[derive(Debug, Clone, Copy)]
pub struct Standing {
    /// How tall he is there, share of the picture's height.
    pub height: f64,
}

impl Standing {
    /// Where a place lies in the first frame, normalized.
    pub fn normalized(&self, at: (f64, f64)) -> (f64, f64) {
        (at.0 * self.height * UNIT, at.1 * self.height * UNIT)
    }

    /// The place that lies there.
    pub fn heights(&self, (x, y): (f64, f64)) -> (f64, f64) {
        (x / (self.height * UNIT), y / (self.height * UNIT))
    }

    /// The place whose feet are seen at a point of a picture (luma samples, of a picture of that size); `back` takes the
    /// picture's turf to the first frame.
    pub fn place(&self, feet: (f64, f64), size: (f64, f64), back: &Homography) -> Option<(f64, f64)> {
        let (x, y) = from_shares(feet.0 / size.0, feet.1 / size.1);
        Some(self.heights(back.point(x, y)?))
    }

    /// Where someone's feet are in a picture, and how tall he is there if he is `grown` times as tall as the first man in the
    /// first frame (all luma samples); `map` takes the first frame's turf to the picture. `None` if he is out of it.
    pub fn seen(&self, at: (f64, f64), map: &Homography, size: (f64, f64), grown: f64) -> Option<((f64, f64), f64)> {
        let at = self.normalized(at);
        let (x, y) = map.point(at.0, at.1)?;
        let feet = to_shares(x, y);
        let tall = self.height * grown * map.size_at(at.0, at.1) * size.1;
        let inside = (-0.02..1.02).contains(&feet.0) && (0.0..1.1).contains(&feet.1) && (6.0..400.0).contains(&tall);
        inside.then_some(((feet.0 * size.0, feet.1 * size.1), tall))
    }
}
