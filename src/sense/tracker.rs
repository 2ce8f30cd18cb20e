//! One man from frame to frame: a correlation filter tells where someone like him is, his motion over the turf which of those
//! he is, and those beside him that look like him are followed too, so that each place is taken once.

use super::filter::{Cutter, Filter, MAN, Peak, Turf, peaks};
use super::homography::{Homography, from_shares};
use super::kalman::Motion;
use super::middling::Middling;
use super::standing::Standing;
use crate::base::FrameNo;

// Places are on the turf as the first frame shows it, in heights of the man there. All constants: chosen on made films.

/// How surely a peak tells where a man is.
const NOISE: f64 = 0.05;
/// A pace that may be expected of a man of whom nothing is known, heights a second.
const PACE: f64 = 2.5;
/// Peaks lower than this, times what is usual for him, are nobody like him.
const LOW: f32 = 0.25;
/// Peaks that no one is known for are a further man from here on.
const FURTHER: f32 = 0.4;
/// Below this, times the usual, he is not there.
const GONE: f32 = 0.4;
/// Above this what is seen is learned.
const CLEAR: f32 = 0.5;
/// Seconds in which the filter forgets all but a third.
const LEARN: f64 = 0.5;
/// What a peak lower than usual costs, by the logarithm of how much lower.
const LOWER: f64 = 2.0;
/// What it costs to leave a man without a peak.
const MISS: f64 = 4.0;
/// So many sigma from where he should be, and so far in any case, a peak may be his.
const GATE: (f64, f64) = (3.0, 0.14);
/// Seconds that he may be hidden.
const HIDDEN: f64 = 0.8;
/// Others are known within so many heights of him, and so many at most.
const NEAR: f64 = 1.3;
const MANY: usize = 6;
/// With one of them nearer than this nothing is learned.
const TOUCH: f64 = 0.3;

/// Someone who looks like him, beside him.
#[derive(Debug, Clone)]
struct Other {
    motion: Motion,
    missed: f64,
    seen: u32,
    value: f32,
}

/// What is known of a man at one moment.
#[derive(Debug, Clone)]
pub struct Track {
    /// His feet.
    pub motion: Motion,
    /// Film time of the last frame looked at.
    pub time: f64,
    /// Seconds since he was last seen.
    pub missed: f64,
    /// The first frame in which he was not.
    pub missed_from: Option<FrameNo>,
    filter: Filter,
    /// Usual height of his peak.
    usual: f32,
    others: Vec<Other>,
}

/// Looks for one man.
#[derive(Debug)]
pub struct Tracker {
    cutter: Cutter,
    turf: Turf,
    standing: Standing,
}

/// The picture around him as the filter takes it.
struct Sight {
    middle: (f64, f64),
    step: f64,
    tall: f64,
}

impl Tracker {
    /// For a man who stands in the first frame.
    pub fn new(turf: Turf, standing: Standing) -> Self {
        Self { cutter: Cutter::default(), turf, standing }
    }

    /// The man whose feet are at a point of the first frame.
    pub fn begin(&self, picture: &Middling, feet: (f64, f64)) -> Track {
        let at = self.standing.heights(from_shares(feet.0, feet.1));
        let tall = self.standing.height * picture.size.1;
        let middle = (feet.0 * picture.size.0, feet.1 * picture.size.1 - 0.5 * tall);
        let window = self.cutter.window(picture, middle, tall / MAN, &self.turf);
        Track {
            motion: Motion::at(at, 0.1, PACE),
            time: picture.time,
            missed: 0.0,
            missed_from: None,
            filter: Filter::of(&self.cutter, &window),
            usual: 0.0,
            others: Vec::new(),
        }
    }

    /// `None` if he is out of the picture.
    fn sight(&self, motion: &Motion, map: &Homography, picture: &Middling) -> Option<Sight> {
        let (feet, tall) = self.standing.seen(motion.at, map, picture.size, 1.0)?;
        Some(Sight { middle: (feet.0, feet.1 - 0.5 * tall), step: tall / MAN, tall })
    }

    /// Where the feet of a man are whose peak is at a place of the window.
    fn place(&self, sight: &Sight, back: &Homography, picture: &Middling, peak: &Peak) -> Option<(f64, f64)> {
        let feet = (sight.middle.0 + peak.x * sight.step, sight.middle.1 + peak.y * sight.step + 0.5 * sight.tall);
        self.standing.place(feet, picture.size, back)
    }

    /// Looks for him in the next frame; `map` takes the first frame's turf to it. `false` if he is lost: hidden for too long
    /// or out of the picture.
    pub fn look(&self, track: &mut Track, map: &Homography, no: FrameNo, picture: &Middling) -> bool {
        let dt = (picture.time - track.time).abs();
        track.time = picture.time;
        track.motion.go_on(dt);
        track.others.iter_mut().for_each(|o| o.motion.go_on(dt));
        let Some((sight, back)) = self.sight(&track.motion, map, picture).zip(map.inverse()) else { return false };
        let window = self.cutter.window(picture, sight.middle, sight.step, &self.turf);
        let answer = track.filter.answer(&self.cutter, &window);
        let usual = if track.usual > 0.0 { track.usual } else { 0.5 };
        let seen: Vec<((f64, f64), Peak)> = peaks(&answer, LOW * usual)
            .into_iter()
            .take(MANY + 1)
            .filter_map(|peak| Some((self.place(&sight, &back, picture, &peak)?, peak)))
            .collect();
        let cost = |motion: &Motion, value: f32, (at, peak): &((f64, f64), Peak)| {
            let (off, expected) = motion.off(*at, NOISE);
            let lower = f64::from((value / peak.value).ln().max(0.0));
            let inside = off <= GATE.0 * GATE.0 * expected + GATE.1 * GATE.1;
            if inside { off / (2.0 * expected) + LOWER * lower } else { f64::INFINITY }
        };
        let mut costs = vec![seen.iter().map(|s| cost(&track.motion, usual, s)).collect::<Vec<f64>>()];
        costs.extend(track.others.iter().map(|o| seen.iter().map(|s| cost(&o.motion, o.value, s)).collect()));
        let chosen = assign(&costs, MISS);
        track.keep_others(&chosen, &seen, usual, dt);
        match chosen[0].map(|k| seen[k]) {
            Some((at, peak)) if peak.value > GONE * usual => {
                track.motion.seen(at, NOISE);
                track.missed = 0.0;
                track.missed_from = None;
                let share = if track.usual > 0.0 { (3.0 * dt).min(1.0) as f32 } else { 1.0 };
                track.usual += share * (peak.value - track.usual);
                let touched = track.others.iter().any(|o| o.seen > 3 && o.motion.apart(at) < TOUCH);
                if peak.value > CLEAR * usual && !touched {
                    let middle = (sight.middle.0 + peak.x * sight.step, sight.middle.1 + peak.y * sight.step);
                    let window = self.cutter.window(picture, middle, sight.step, &self.turf);
                    track.filter.learn(&self.cutter, &window, (1.0 - (-dt / LEARN).exp()) as f32);
                }
            }
            _ => {
                track.missed += dt;
                track.missed_from.get_or_insert(no);
            }
        }
        track.missed <= HIDDEN
    }
}

impl Track {
    fn keep_others(&mut self, chosen: &[Option<usize>], seen: &[((f64, f64), Peak)], usual: f32, dt: f64) {
        for (other, choice) in self.others.iter_mut().zip(&chosen[1..]) {
            match choice.map(|k| seen[k]) {
                Some((at, peak)) => {
                    other.motion.seen(at, NOISE);
                    other.value += 0.2 * (peak.value - other.value);
                    other.seen += 1;
                    other.missed = 0.0;
                }
                None => other.missed += dt,
            }
        }
        let at = self.motion.at;
        self.others.retain(|o| o.motion.apart(at) < NEAR && o.missed < if o.seen > 5 { HIDDEN } else { 0.1 });
        for (k, (at, peak)) in seen.iter().enumerate() {
            if !chosen.contains(&Some(k)) && peak.value > FURTHER * usual && self.others.len() < MANY {
                let motion = Motion::at(*at, NOISE, 2.0);
                self.others.push(Other { motion, missed: 0.0, seen: 1, value: peak.value });
            }
        }
    }
}

/// Gives each row a column of its own, or none at the cost `miss`, so that the sum is least.
fn assign(costs: &[Vec<f64>], miss: f64) -> Vec<Option<usize>> {
    struct Search<'a> {
        costs: &'a [Vec<f64>],
        miss: f64,
        now: Vec<Option<usize>>,
        best: (f64, Vec<Option<usize>>),
    }
    impl Search<'_> {
        fn go(&mut self, used: u32, sum: f64) {
            if sum >= self.best.0 {
                return;
            }
            let Some(row) = self.costs.get(self.now.len()) else {
                self.best = (sum, self.now.clone());
                return;
            };
            for (k, cost) in row.iter().enumerate() {
                if cost.is_finite() && used & 1 << k == 0 {
                    self.now.push(Some(k));
                    self.go(used | 1 << k, sum + cost);
                    self.now.pop();
                }
            }
            self.now.push(None);
            self.go(used, sum + self.miss);
            self.now.pop();
        }
    }
    let mut search = Search { costs, miss, now: Vec::new(), best: (f64::INFINITY, vec![None; costs.len()]) };
    search.go(0, 0.0);
    search.best.1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_place_is_taken_once_and_the_sum_is_least() {
        let far = f64::INFINITY;
        assert_eq!(assign(&[vec![1.0, 2.0], vec![0.5, 9.0]], 4.0), [Some(1), Some(0)]);
        assert_eq!(assign(&[vec![1.0], vec![0.5]], 4.0), [None, Some(0)]);
        assert_eq!(assign(&[vec![far, far], vec![far, 1.0]], 4.0), [None, Some(1)]);
        assert_eq!(assign(&[vec![]], 4.0), [None]);
    }
}
