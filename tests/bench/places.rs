//! What `filmmaker positions` tells of a film: where the turf and the men are in every frame.

use std::path::Path;

use serde::Deserialize;

/// One frame.
#[derive(Debug, Clone, Deserialize)]
pub struct Places {
    /// Its number.
    pub frame: u64,
    /// Rows of the matrix from the ground (x, y, 1; yards) to shares of the picture.
    pub turf: [f64; 9],
    /// Place on the ground (yards), height upright (share of the picture's height), side.
    pub men: Vec<(f64, f64, f64, u32)>,
}

/// All frames of a file of positions, by number; those that do not show the field are `None`.
pub fn read(path: &Path) -> Result<Vec<Option<Places>>, Box<dyn std::error::Error + Send + Sync>> {
    let mut out: Vec<Option<Places>> = Vec::new();
    for line in std::fs::read_to_string(path)?.lines() {
        let places: Places = serde_json::from_str(line)?;
        let n = places.frame as usize;
        out.resize_with(out.len().max(n + 1), || None);
        out[n] = Some(places);
    }
    Ok(out)
}

impl Places {
    /// Where a place on the ground is seen.
    pub fn seen(&self, x: f64, y: f64) -> (f64, f64) {
        let t = &self.turf;
        let w = t[6] * x + t[7] * y + t[8];
        ((t[0] * x + t[1] * y + t[2]) / w, (t[3] * x + t[4] * y + t[5]) / w)
    }

    /// The place on the ground that is seen at a point.
    pub fn ground(&self, u: f64, v: f64) -> (f64, f64) {
        let t = &self.turf;
        let (a, b, c) = (t[0] - u * t[6], t[1] - u * t[7], u * t[8] - t[2]);
        let (d, e, f) = (t[3] - v * t[6], t[4] - v * t[7], v * t[8] - t[5]);
        let under = a * e - b * d;
        ((c * e - b * f) / under, (a * f - c * d) / under)
    }

    /// Where a man's feet are seen, and how tall he is.
    pub fn man(&self, i: usize) -> ((f64, f64), f64) {
        let (x, y, tall, _) = self.men[i];
        (self.seen(x, y), tall)
    }
}
