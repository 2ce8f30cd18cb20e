//! Men in layers: a picture of several people explained all at once, so that each sample is one man's, or the turf's.
//!
//! Each has a likeness (colors, and how much of each sample is he). Who stands lower in the picture stands in front. What a
//! place of a man is worth is how much better he explains the samples that he would show there than what is behind him does
//! (the turf, or another man), so that two of one kit do not both take the same samples, and nobody is learned from what
//! somebody else covers.

use super::filter::Turf;
use super::middling::Middling;

// All constants: chosen on made films.

/// Samples a man is tall.
pub const MAN: f64 = 26.0;
/// Rows and columns of a likeness; the feet are in its middle column, at the upper edge of row `FEET`.
const ROWS: usize = 31;
const COLS: usize = 19;
const FEET: usize = 29;
const BODY: usize = ROWS * COLS;
/// Samples a side of the window.
pub const SIDE: usize = 104;
const AREA: usize = SIDE * SIDE;
/// Where in the window the man is who is followed.
pub const MIDDLE: (f64, f64) = (52.0, 70.0);
/// Gray levels, of luma and of chroma, that cost 1 where a man is another color than he should be.
const OTHER: (f32, f32) = (24.0, 10.0);
/// The same for turf, whose luma may differ by so much besides (mowing, shadow, wear).
const NO_TURF: (f32, f32) = (20.0, 9.0);
const UNEVEN: f32 = 12.0;
/// What a sample can cost at most.
const CAP: f32 = 4.0;
/// What it costs besides that a sample has the color of its row and not its own: limbs swing.
const ROW: f32 = 0.5;
/// How much the worth of a place counts over what it is to be expected there (the square of sigmas off, halved): neighboring
/// samples tell the same.
const GAIN: f64 = 0.1;
/// Less of a sample than this is not he.
const LITTLE: f32 = 0.02;
/// A box so much fuller than what is beside it, of which so much counts, is somebody's who is not known yet.
const FULLER: f64 = 0.4;
const BESIDE: f64 = 0.6;
/// If turf is under his feet (not more than this of it is something else: no stands),
const STANDS: f32 = 0.7;
/// and he is within so many heights; for each, one that is nearer is taken first though he is less full by so much.
const WITHIN: f64 = 1.7;
const NEARER: f64 = 0.08;

/// Samples around a man.
#[derive(Debug, Clone)]
pub struct Window {
    color: Vec<[f32; 3]>,
    /// What each costs as turf.
    turf: Vec<f32>,
}

/// What a man looks like.
#[derive(Debug, Clone)]
pub struct Likeness {
    color: Vec<[f32; 3]>,
    share: Vec<f32>,
    /// The color of each row, whatever his limbs do.
    rows: [[f32; 3]; ROWS],
}

/// How a place of a man explains the window.
#[derive(Debug, Clone, Copy, Default)]
pub struct Fit {
    /// What it is worth.
    pub worth: f32,
    /// The share of him that is seen.
    pub seen: f32,
    /// What the seen part of him is worth for each of its samples.
    pub each: f32,
}

/// So much of a sample can be a man's at most: the outline of one with his arms out.
fn outline(k: usize) -> f32 {
    let (x, y) = ((k % COLS) as f32 - (COLS / 2) as f32, FEET as f32 - (k / COLS) as f32 - 0.5);
    let wide = if y < 11.0 {
        5.0
    } else if y < 21.0 {
        6.5
    } else {
        3.5
    };
    let side = ((wide + 1.5 - x.abs()) / 3.0).clamp(0.0, 1.0);
    let up = ((28.5 - y) / 2.0).clamp(0.0, 1.0);
    let down = ((y + 1.5) / 2.0).clamp(0.0, 1.0);
    side * up * down
}

fn cost(a: &[f32; 3], b: &[f32; 3]) -> f32 {
    let (y, u, v) = (a[0] - b[0], a[1] - b[1], a[2] - b[2]);
    ((y / OTHER.0).powi(2) + (u * u + v * v) / (OTHER.1 * OTHER.1)).min(CAP)
}

impl Window {
    /// The window in which `feet` (luma samples) is at `MIDDLE`, `step` luma samples from one of its samples to the next.
    pub fn of(picture: &Middling, feet: (f64, f64), step: f64, turf: &Turf) -> Self {
        let [luma, cb, cr] = &picture.planes;
        let at = |k: usize| {
            let x = (feet.0 + ((k % SIDE) as f64 + 0.5 - MIDDLE.0) * step) as f32;
            let y = (feet.1 + ((k / SIDE) as f64 + 0.5 - MIDDLE.1) * step) as f32;
            [luma.at(x, y), cb.at(0.5 * x, 0.5 * y), cr.at(0.5 * x, 0.5 * y)]
        };
        let color: Vec<[f32; 3]> = (0..AREA).map(at).collect();
        let off = |c: &[f32; 3]| ((c[1] - turf.color[1]).powi(2) + (c[2] - turf.color[2]).powi(2)) / NO_TURF.1.powi(2);
        // The turf's luma is that of most turf here.
        let mut bright = [0u32; 256];
        for c in color.iter().filter(|c| off(c) < 1.5 && (c[0] - turf.color[0]).abs() < 60.0) {
            bright[c[0].clamp(0.0, 255.0) as usize] += 1;
        }
        let all: u32 = bright.iter().sum();
        let mut below = 0;
        let middle = bright.iter().position(|n| {
            below += n;
            2 * below > all
        });
        let light = middle.map_or(turf.color[0], |m| m as f32 + 0.5);
        let cost = |c: &[f32; 3]| off(c) + (((c[0] - light).abs() - UNEVEN).max(0.0) / NO_TURF.0).powi(2);
        let turf = color.iter().map(|c| cost(c).min(CAP)).collect();
        Self { color, turf }
    }

    /// How surely a sample is no turf.
    fn thing(&self, k: usize) -> f32 {
        (0.5 * self.turf[k]).min(1.0)
    }
}

/// The sample of the window that sample 0 of a likeness at a place covers; may be outside.
fn corner(at: (f64, f64)) -> (i32, i32) {
    (at.0.floor() as i32 - (COLS / 2) as i32, at.1.round() as i32 - FEET as i32)
}

/// Calls with each sample of a likeness at a place and that of the window which it covers.
fn each_sample(at: (f64, f64), mut f: impl FnMut(usize, usize)) {
    let (x0, y0) = corner(at);
    for j in 0..ROWS as i32 {
        if !(0..SIDE as i32).contains(&(y0 + j)) {
            continue;
        }
        for i in 0..COLS as i32 {
            if (0..SIDE as i32).contains(&(x0 + i)) {
                f((j as usize) * COLS + i as usize, ((y0 + j) as usize) * SIDE + (x0 + i) as usize);
            }
        }
    }
}

impl Likeness {
    fn cost(&self, b: usize, color: &[f32; 3]) -> f32 {
        let own = cost(color, &self.color[b]);
        own.min(cost(color, &self.rows[b / COLS]) + ROW)
    }

    fn band(&mut self) {
        for j in 0..ROWS {
            let (mut sum, mut n) = ([0.0f32; 3], 1e-3);
            for b in j.saturating_sub(1) * COLS..((j + 2).min(ROWS)) * COLS {
                let w = self.share[b] * self.share[b];
                n += w;
                for (s, c) in sum.iter_mut().zip(&self.color[b]) {
                    *s += w * c;
                }
            }
            self.rows[j] = sum.map(|s| s / n);
        }
    }

    /// Of the man at a place, from what is there; `free` says how much of each sample is nobody else's (all if it is empty).
    pub fn of(window: &Window, at: (f64, f64), free: &[f32]) -> Self {
        let mut out = Self { color: vec![[128.0; 3]; BODY], share: vec![0.0; BODY], rows: [[128.0; 3]; ROWS] };
        each_sample(at, |b, k| {
            out.color[b] = window.color[k];
            out.share[b] = outline(b) * window.thing(k) * free.get(k).unwrap_or(&1.0);
        });
        out.band();
        out
    }

    fn learn(&mut self, window: &Window, at: (f64, f64), free: &[f32], rate: f32) {
        each_sample(at, |b, k| {
            let r = rate * free[k];
            let thing = window.thing(k);
            let c = r * thing;
            for (mine, new) in self.color[b].iter_mut().zip(&window.color[k]) {
                *mine += c * (new - *mine);
            }
            self.share[b] += r * (outline(b) * thing - self.share[b]);
        });
        self.band();
    }
}

/// Everyone in a window: where, and what he looks like. The first is the one who is followed.
#[derive(Debug, Clone)]
pub struct Layers<'a> {
    window: &'a Window,
    /// Window places of feet.
    pub at: Vec<(f64, f64)>,
    like: Vec<&'a Likeness>,
}

impl<'a> Layers<'a> {
    /// Of a window.
    pub fn of(window: &'a Window) -> Self {
        Self { window, at: Vec::new(), like: Vec::new() }
    }

    /// One more.
    pub fn add(&mut self, at: (f64, f64), like: &'a Likeness) {
        self.at.push(at);
        self.like.push(like);
    }

    fn in_front(&self, k: usize, o: usize) -> bool {
        (self.at[o].1, o) > (self.at[k].1, k)
    }

    /// What the samples cost with those behind `k`, and how much of each is not covered by those in front.
    fn around(&self, k: usize) -> (Vec<f32>, Vec<f32>) {
        let mut behind: Vec<usize> = (0..self.at.len()).filter(|&o| o != k && !self.in_front(k, o)).collect();
        behind.sort_by(|&a, &b| self.at[a].1.total_cmp(&self.at[b].1));
        let mut rest = self.window.turf.clone();
        for o in behind {
            each_sample(self.at[o], |b, s| {
                let share = self.like[o].share[b];
                if share > LITTLE {
                    rest[s] += share * (self.like[o].cost(b, &self.window.color[s]) - rest[s]);
                }
            });
        }
        let mut open = vec![1.0f32; AREA];
        for o in (0..self.at.len()).filter(|&o| o != k && self.in_front(k, o)) {
            each_sample(self.at[o], |b, s| open[s] *= 1.0 - self.like[o].share[b]);
        }
        (rest, open)
    }

    fn fit(&self, k: usize, at: (f64, f64), rest: &[f32], open: &[f32]) -> Fit {
        let (mut worth, mut seen, mut all) = (0.0, 0.0, 0.0);
        let like = self.like[k];
        let (x0, y0) = corner(at);
        for j in 0..ROWS as i32 {
            for i in 0..COLS as i32 {
                let b = j as usize * COLS + i as usize;
                let share = like.share[b];
                if share <= LITTLE {
                    continue;
                }
                all += share;
                let (x, y) = (x0 + i, y0 + j);
                if !(0..SIDE as i32).contains(&x) || !(0..SIDE as i32).contains(&y) {
                    continue;
                }
                let s = y as usize * SIDE + x as usize;
                let weight = share * open[s];
                seen += weight;
                worth += weight * (rest[s] - like.cost(b, &self.window.color[s]));
            }
        }
        Fit { worth, seen: seen / f32::max(all, 1.0), each: worth / seen.max(20.0) }
    }

    /// Moves everyone to where the picture is explained best; `prior` tells what a place of someone costs. Twice each, those in
    /// front first.
    pub fn settle(&mut self, reach: &[f64], prior: &dyn Fn(usize, (f64, f64)) -> f64) -> Vec<Fit> {
        let mut fits = vec![Fit::default(); self.at.len()];
        let mut order: Vec<usize> = (0..self.at.len()).collect();
        for _ in 0..2 {
            order.sort_by(|&a, &b| self.at[b].1.total_cmp(&self.at[a].1));
            for &k in &order {
                let (rest, open) = self.around(k);
                let r = reach[k].ceil() as i32;
                let from = self.at[k];
                let value = |dx: i32, dy: i32| {
                    let to = (from.0 + f64::from(dx), from.1 + f64::from(dy));
                    let fit = self.fit(k, to, &rest, &open);
                    (GAIN * f64::from(fit.worth) - prior(k, to), fit)
                };
                let n = (2 * r + 1) as usize;
                let all: Vec<(f64, Fit)> = (0..n * n).map(|c| value((c % n) as i32 - r, (c / n) as i32 - r)).collect();
                let best = (0..n * n).max_by(|&a, &b| all[a].0.total_cmp(&all[b].0)).unwrap_or_default();
                let (bx, by) = (best % n, best / n);
                // The top of the parabola through three.
                let top = |inside: bool, step: usize| {
                    if !inside {
                        return 0.0;
                    }
                    let (a, m, b) = (all[best - step].0, all[best].0, all[best + step].0);
                    let bend = a + b - 2.0 * m;
                    if bend < -1e-9 { (0.5 * (a - b) / bend).clamp(-0.5, 0.5) } else { 0.0 }
                };
                let (fx, fy) = (top(bx > 0 && bx + 1 < n, 1), top(by > 0 && by + 1 < n, n));
                fits[k] = all[best].1;
                // The likeness lies on whole samples: what is left is between them.
                let x = (from.0 + f64::from(bx as i32 - r)).floor() + 0.5 + fx;
                let y = (from.1 + f64::from(by as i32 - r)).round() + fy;
                self.at[k] = (x, y);
            }
        }
        fits
    }

    /// How much of each sample is surely nobody else's than `k`'s, or nobody's.
    pub fn free(&self, k: Option<usize>) -> Vec<f32> {
        let mut free = vec![1.0f32; AREA];
        for o in (0..self.at.len()).filter(|&o| Some(o) != k) {
            each_sample(self.at[o], |b, s| free[s] *= 1.0 - self.like[o].share[b]);
        }
        free
    }

    /// Where someone stands of whom nothing is known: his feet.
    pub fn further(&self) -> Option<(f64, f64)> {
        let mut free = vec![1.0f32; AREA];
        for (at, like) in self.at.iter().zip(&self.like) {
            each_sample(*at, |b, s| free[s] *= 1.0 - (1.3 * like.share[b]).min(1.0));
        }
        let mut sums = vec![0f32; (SIDE + 1) * (SIDE + 1)];
        for y in 0..SIDE {
            let mut row = 0.0;
            for x in 0..SIDE {
                row += free[y * SIDE + x] * self.window.thing(y * SIDE + x);
                sums[(y + 1) * (SIDE + 1) + x + 1] = sums[y * (SIDE + 1) + x + 1] + row;
            }
        }
        let mean = |x0: usize, y0: usize, x1: usize, y1: usize| {
            let at = |x: usize, y: usize| sums[y * (SIDE + 1) + x];
            (at(x1, y1) + at(x0, y0) - at(x0, y1) - at(x1, y0)) / ((x1 - x0) * (y1 - y0)) as f32
        };
        let mut best = (f64::NEG_INFINITY, None);
        for y in MAN as usize..SIDE - 3 {
            for x in 9..SIDE - 9 {
                let feet = (x as f64 + 0.5, y as f64);
                let apart = (feet.0 - MIDDLE.0).hypot(feet.1 - MIDDLE.1) / MAN;
                if apart > WITHIN || mean(x - 8, y - 1, x + 9, (y + 5).min(SIDE)) > STANDS {
                    continue;
                }
                let (top, low) = (y - 25, y - 3);
                let beside = 0.5 * (mean(x - 9, top, x - 4, low) + mean(x + 5, top, x + 10, low));
                let fuller = f64::from(mean(x - 4, top, x + 5, low)) - BESIDE * f64::from(beside);
                let value = fuller - NEARER * apart;
                if fuller > FULLER && value > best.0 {
                    best = (value, Some(feet));
                }
            }
        }
        best.1
    }
}

/// Everyone learns what is surely his own, so much of it as his rate says.
pub fn learn(window: &Window, at: &[(f64, f64)], like: &mut [&mut Likeness], rates: &[f32]) {
    let layers = Layers { window, at: at.to_vec(), like: like.iter().map(|l| &**l).collect() };
    // All before any of them changes.
    let free: Vec<_> = (0..at.len()).map(|k| (rates[k] > 0.0).then(|| layers.free(Some(k)))).collect();
    for (k, like) in like.iter_mut().enumerate() {
        if let Some(free) = &free[k] {
            like.learn(window, at[k], free, rates[k]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::film::FrameSource;
    use crate::sense::painted::{Eye, Man, Scene, frames};

    const RED: [u8; 3] = [60, 100, 200];
    const EYE: Eye = Eye { x: 0.0, y: 0.0, zoom: 1.0 };

    /// The window around the first of them, and where everyone's feet are in it.
    fn window(men: &[(f64, f64)]) -> (Window, Vec<(f64, f64)>) {
        let man = |&from: &(f64, f64)| Man { from, pace: (0.0, 0.0), shirt: RED };
        let scene = Scene { men: men.iter().map(man).collect(), ..Scene::default() };
        let mut film = frames(&scene, &[EYE]);
        let picture = Middling::of(&film.next_frame().expect("read").expect("a frame"));
        let feet: Vec<(f64, f64)> =
            men.iter().map(|&m| EYE.seen(m)).map(|s| (s.0 * picture.size.0, s.1 * picture.size.1)).collect();
        let step = Man::TALL * picture.size.1 / MAN;
        let turf = Turf { color: [90.0, 112.0, 110.0] };
        let at = |f: &(f64, f64)| (MIDDLE.0 + (f.0 - feet[0].0) / step, MIDDLE.1 + (f.1 - feet[0].1) / step);
        (Window::of(&picture, feet[0], step, &turf), feet.iter().map(at).collect())
    }

    fn off(a: (f64, f64), b: (f64, f64)) -> f64 {
        (a.0 - b.0).hypot(a.1 - b.1)
    }

    #[test]
    fn two_of_one_kit_do_not_take_the_same_samples() {
        // Learned apart, then they overlap by half, and both are looked for at the same place.
        let (apart, at) = window(&[(0.0, 0.1), (0.3, 0.1)]);
        let like = Likeness::of(&apart, at[0], &[]);
        let (together, truth) = window(&[(0.0, 0.1), (0.03, 0.115)]);
        let mut layers = Layers::of(&together);
        layers.add((truth[0].0 - 1.0, truth[0].1), &like);
        layers.add((truth[0].0 + 2.0, truth[0].1 + 1.0), &like);
        let fits = layers.settle(&[6.0, 6.0], &|_, _| 0.0);
        assert!(off(layers.at[0], truth[0]) < 2.0, "{:?} {truth:?}", layers.at);
        assert!(off(layers.at[1], truth[1]) < 2.0, "{:?} {truth:?}", layers.at);
        assert!(fits[1].seen > 0.95 && fits[0].seen < 0.9, "who stands lower is in front: {fits:?}");
    }

    #[test]
    fn who_is_not_known_yet_is_met_once() {
        let (window, truth) = window(&[(0.0, 0.1), (0.1, 0.12)]);
        let like = Likeness::of(&window, truth[0], &[]);
        let mut layers = Layers::of(&window);
        layers.add(truth[0], &like);
        let further = layers.further().expect("somebody else is there");
        assert!(off(further, truth[1]) < 5.0, "{further:?} {truth:?}");
        let other = Likeness::of(&window, further, &layers.free(None));
        layers.add(further, &other);
        assert_eq!(layers.further(), None);
    }
}
