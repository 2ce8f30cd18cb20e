//! Cell motion to samples: the field's cells are averaged once the picture's surroundings in time are known.

use std::collections::VecDeque;

use super::field::{self, ChromaCount, MEDIAN_SAMPLES};
use super::motion::{Cells, FINE_STEPS};
use super::register::Registration;
use super::small::{CELLS, CELLS_X};
use crate::film::Sample;

/// The dominant chroma is taken over this many samples before and after: 10 s in all.
const AROUND: usize = 75;
/// A cell moves if its speed is over this. (This and the next four: measured on made films drawn from tracked movement.)
const MOVING: f32 = 0.15;
/// A quarter of a cell has somebody at speed in it over the first, somebody who moves at all over the second.
const QUICK: f32 = 0.3;
const STIRRING: f32 = 0.2;
/// What this share of the cells with lines or men do is shimmer, if there are at least so many.
const SHIMMER: f32 = 0.5;
const LEAST_LINED: usize = 24;
/// Added to the two factors of the energy, so that stillness has a level and no noise.
const STILLNESS: f32 = 0.003;
/// Samples are 1/15 s apart; other lags are scaled to it.
pub const LAG: f64 = 1.0 / 15.0;

/// One pair's measurement before the field is known.
#[derive(Debug, Clone)]
pub struct Raw {
    /// The later picture's frame number.
    pub frame: u64,
    /// Its film time in seconds.
    pub time: f64,
    /// Seconds since the earlier picture.
    pub lag: f64,
    /// How the pair fits; `None` for a picture that has no earlier one.
    pub found: Option<Registration>,
    /// What moved.
    pub cells: Option<Cells>,
    /// Mean chroma of the cells.
    pub cb: Vec<u8>,
    /// Likewise.
    pub cr: Vec<u8>,
}

/// Gathers raw samples into finished ones; holds 10 s of them.
#[derive(Debug, Default)]
pub struct Gatherer {
    window: VecDeque<(Raw, Option<[u8; CELLS_X]>)>,
    /// How many at the window's front are finished and kept for their chroma only.
    finished: usize,
    chroma: ChromaCount,
    out: Vec<Sample>,
    /// Samples up to this frame are there already.
    known_to: Option<u64>,
}

impl Gatherer {
    /// One that goes on after samples it gave before. It must be given raw samples from 5 s before their end on.
    pub fn after(samples: Vec<Sample>) -> Self {
        let known_to = samples.last().map(|s| s.frame);
        Self { out: samples, known_to, ..Self::default() }
    }

    /// The samples that are finished.
    pub fn so_far(&self) -> &[Sample] {
        &self.out
    }

    /// Takes the next sample.
    pub fn push(&mut self, raw: Raw) {
        self.chroma.add(&raw.cb, &raw.cr);
        self.window.push_back((raw, None));
        while self.window.len() > self.finished + AROUND {
            self.finish_one();
        }
    }

    /// All samples, once the last has been pushed.
    pub fn finish(mut self) -> Vec<Sample> {
        while self.window.len() > self.finished {
            self.finish_one();
        }
        self.out
    }

    fn finish_one(&mut self) {
        let at = self.finished;
        let dominant = self.chroma.dominant();
        let from = at.saturating_sub(MEDIAN_SAMPLES / 2);
        let to = (at + MEDIAN_SAMPLES / 2 + 1).min(self.window.len());
        let edges: Vec<_> = self
            .window
            .range_mut(from..to)
            .map(|(raw, edge)| *edge.get_or_insert_with(|| field::edge(&field::turf(&raw.cb, &raw.cr, dominant))))
            .collect();
        if let Some((raw, _)) = self.window.get(at) {
            let turf = |raw: &Raw| field::turf(&raw.cb, &raw.cr, dominant);
            let now = turf(raw);
            let before = at.checked_sub(1).and_then(|k| self.window.get(k)).map(|(raw, _)| turf(raw));
            let (mask, share) = field::mask([&now, before.as_ref().unwrap_or(&now)], &edges);
            if self.known_to.is_none_or(|known| raw.frame > known) {
                self.out.push(sample(raw, &mask, share));
            }
            self.finished += 1;
        }
        if self.finished > AROUND
            && let Some((old, _)) = self.window.pop_front()
        {
            self.chroma.remove(&old.cb, &old.cr);
            self.finished -= 1;
        }
    }
}

/// The speed that lines seem to have which lie still: while the camera moves, thin lines crawl over the sensor's grid and the
/// encoder draws them anew, a frame like the other. Men are in the lesser part of the cells that could be seen to move.
fn shimmer(cells: &Cells, mask: &[bool]) -> f32 {
    let mut lined: Vec<f32> = (0..CELLS).filter(|&k| mask[k] && cells.lined[k]).map(|k| cells.speed[k]).collect();
    if lined.len() < LEAST_LINED {
        return 0.0;
    }
    let at = ((SHIMMER * lined.len() as f32) as usize).min(lined.len() - 1);
    let (_, value, _) = lined.select_nth_unstable_by(at, f32::total_cmp);
    *value
}

/// Summed over the cells of the field.
#[derive(Clone, Copy, Default)]
struct Energy {
    speed: f32,
    moving: f32,
}

impl Energy {
    fn add(&mut self, speed: f32) {
        let speed = speed.min(1.0);
        self.speed += speed;
        self.moving += if speed > MOVING { 1.0 } else { 0.0 };
    }

    fn over(self, cells: f32) -> f32 {
        ((self.speed / cells + STILLNESS) * (self.moving / cells + STILLNESS)).sqrt()
    }
}

fn sample(raw: &Raw, mask: &[bool], field: f32) -> Sample {
    let mut out = Sample { frame: raw.frame, time: raw.time, field, bad: true, ..Sample::default() };
    let (Some(found), Some(cells)) = (&raw.found, &raw.cells) else { return out };
    let per_lag = (LAG / raw.lag.max(1e-3)) as f32;
    let shimmer = shimmer(cells, mask);
    let (mut n, mut edges) = (0.0, 0.0);
    let (mut all, mut clear) = (Energy::default(), Energy::default());
    let quick = [QUICK, STIRRING].map(|level| (level * FINE_STEPS / per_lag) as u8);
    let mut quarters = [0u32; 2];
    for k in (0..CELLS).filter(|&k| mask[k]) {
        n += 1.0;
        all.add(cells.speed[k] * per_lag);
        clear.add((cells.speed[k] - shimmer).max(0.0) * per_lag);
        edges += cells.edges[k] * per_lag;
        let (cx, cy) = (k % CELLS_X, k / CELLS_X);
        for row in [2 * cy, 2 * cy + 1] {
            let at = 2 * (row * CELLS_X + cx);
            for fine in &cells.fine[at..at + 2] {
                for (count, level) in quarters.iter_mut().zip(quick) {
                    *count += u32::from(*fine > level);
                }
            }
        }
    }
    [out.moving, out.stirring] = quarters.map(|count| count as f32 / (4 * CELLS) as f32);
    if n > 0.0 {
        [out.energy, out.clear] = [all, clear].map(|energy| energy.over(n));
        out.robust = edges / n;
        out.bad = found.is_bad();
    }
    // Half widths to widths, a pair to a second.
    let (x, y) = found.map.translation();
    let rate = 0.5 / raw.lag.max(1e-3);
    out.pan = (x.hypot(y) * rate) as f32;
    out.pan_x = (x * rate) as f32;
    out.sigma = found.sigma;
    out
}
