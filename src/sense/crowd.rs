//! One man from frame to frame among those beside him, of either kit: each frame is explained by all of them at once
//! (`layers`), each where his motion over the turf lets him be expected.

use super::figures::Scale;
use super::filter::Turf;
use super::homography::{Homography, to_shares};
use super::kalman::Motion;
use super::layers::{Fit, Layers, Likeness, MAN, MIDDLE, SIDE, Window, learn};
use super::middling::Middling;
use super::standing::Standing;
use crate::base::FrameNo;

// Places are on the turf as the first frame shows it, in heights of the man there. All constants: chosen on made films.

/// How surely a place tells where a man is who is wholly seen.
const NOISE: f64 = 0.05;
/// A pace that may be expected of a man of whom nothing is known, heights a second.
const PACE: f64 = 2.5;
/// So many sigma from where he should be he is looked for, and so many samples at least and at most.
const GATE: f64 = 2.5;
const REACH: (f64, f64) = (2.0, 9.0);
/// He is seen if so much of him is, and if that is worth so much of what is usual for him; it is learned above the last.
const SEEN: f32 = 0.25;
const GONE: f32 = 0.35;
const CLEAR: f32 = 0.5;
/// Seconds in which a likeness forgets all but a third, and in which what is usual follows.
const LEARN: f64 = 0.3;
const USUAL: f64 = 0.5;
/// Seconds that he may be hidden, and others; those who are known for less than the last may not be.
const HIDDEN: f64 = 0.8;
const OTHERS: f64 = 0.3;
const NEW: f64 = 0.2;
/// So many people are known at most.
const MANY: usize = 12;

#[derive(Debug, Clone)]
struct Person {
    motion: Motion,
    like: Likeness,
    /// Seconds for which he is known, and since he was last seen.
    known: f64,
    missed: f64,
    /// What a sample of him is usually worth.
    usual: f32,
}

/// A man and those beside him at one moment; he is the first.
#[derive(Debug, Clone)]
pub struct Crowd {
    people: Vec<Person>,
    /// Film time of the last frame looked at.
    time: f64,
    /// The first frame in which he was not seen.
    pub missed_from: Option<FrameNo>,
}

/// Looks for one man among others.
#[derive(Debug)]
pub struct Watcher {
    turf: Turf,
    standing: Standing,
    /// How tall men are by the row of the first frame, and in the row where he stands.
    scale: Option<(Scale, f64)>,
}

/// How turf and window lie.
struct Sight {
    /// His feet in the picture, luma samples, which are at `MIDDLE` in the window.
    feet: (f64, f64),
    /// Luma samples from one sample of the window to the next.
    step: f64,
    map: Homography,
    back: Homography,
    size: (f64, f64),
    standing: Standing,
}

impl Sight {
    fn in_window(&self, at: (f64, f64)) -> Option<(f64, f64)> {
        let at = self.standing.normalized(at);
        let (x, y) = self.map.point(at.0, at.1)?;
        let (x, y) = to_shares(x, y);
        let across = (x * self.size.0 - self.feet.0) / self.step;
        let down = (y * self.size.1 - self.feet.1) / self.step;
        Some((MIDDLE.0 + across, MIDDLE.1 + down))
    }

    fn on_turf(&self, at: (f64, f64)) -> Option<(f64, f64)> {
        let x = self.feet.0 + (at.0 - MIDDLE.0) * self.step;
        let y = self.feet.1 + (at.1 - MIDDLE.1) * self.step;
        self.standing.place((x, y), self.size, &self.back)
    }

    /// Whether someone there shows enough of himself in the window.
    fn holds(&self, at: (f64, f64)) -> bool {
        let side = SIDE as f64;
        self.in_window(at).is_some_and(|w| (4.0..side - 4.0).contains(&w.0) && (18.0..side + 6.0).contains(&w.1))
    }
}

impl Person {
    fn new(at: (f64, f64), like: Likeness) -> Self {
        Self { motion: Motion::at(at, 0.1, PACE), like, known: 0.0, missed: 0.0, usual: 0.0 }
    }

    /// Takes in where he was found; tells how much of what is seen there is to be learned.
    fn found(&mut self, place: Option<(f64, f64)>, fit: &Fit, dt: f64) -> f32 {
        self.known += dt;
        let usual = if self.usual > 0.0 { self.usual } else { 1.0 };
        let Some(place) = place.filter(|_| fit.seen > SEEN && fit.each > GONE * usual) else {
            self.missed += dt;
            return 0.0;
        };
        self.motion.seen(place, NOISE / f64::from(fit.seen).sqrt());
        self.missed = 0.0;
        let share = if self.usual > 0.0 { (dt / USUAL).min(1.0) as f32 * fit.seen } else { 1.0 };
        self.usual += share * (fit.each - self.usual);
        if fit.each > CLEAR * usual { (1.0 - (-dt / LEARN).exp()) as f32 } else { 0.0 }
    }
}

impl Crowd {
    /// Where he is.
    pub fn at(&self) -> Option<(f64, f64)> {
        self.people.first().map(|p| p.motion.at)
    }
}

impl Watcher {
    /// For a man who stands in the first frame, with his feet in that row of it (share of its height).
    pub fn new(turf: Turf, standing: Standing, scale: Option<Scale>, row: f64) -> Self {
        Self { turf, standing, scale: scale.map(|s| (s, s.tall(row))) }
    }

    /// `None` if he is out of the picture.
    fn sight(&self, at: (f64, f64), map: &Homography, picture: &Middling) -> Option<Sight> {
        let first = self.standing.normalized(at);
        let row = to_shares(first.0, first.1).1;
        let grown = self.scale.map_or(1.0, |(scale, here)| (scale.tall(row) / here).clamp(0.5, 2.0));
        let (feet, tall) = self.standing.seen(at, map, picture.size, grown)?;
        let back = map.inverse()?;
        Some(Sight { feet, step: tall / MAN, map: *map, back, size: picture.size, standing: self.standing })
    }

    /// The man at a place of the turf, and those beside him; `map` takes the first frame's turf to the picture.
    pub fn begin(&self, picture: &Middling, map: &Homography, at: (f64, f64)) -> Crowd {
        let mut crowd = Crowd { people: Vec::new(), time: picture.time, missed_from: None };
        let Some(sight) = self.sight(at, map, picture) else { return crowd };
        let window = Window::of(picture, sight.feet, sight.step, &self.turf);
        crowd.people.push(Person::new(at, Likeness::of(&window, MIDDLE, &[])));
        meet(&mut crowd, &sight, &window);
        crowd
    }

    /// Looks for all of them in the next frame; `map` takes the first frame's turf to it. `false` if he is lost: hidden for
    /// too long or out of the picture.
    pub fn look(&self, crowd: &mut Crowd, map: &Homography, no: FrameNo, picture: &Middling) -> bool {
        let dt = (picture.time - crowd.time).abs();
        crowd.time = picture.time;
        crowd.people.iter_mut().for_each(|o| o.motion.go_on(dt));
        let Some(sight) = crowd.at().and_then(|at| self.sight(at, map, picture)) else { return false };
        let window = Window::of(picture, sight.feet, sight.step, &self.turf);
        let mut first = true;
        crowd.people.retain(|o| std::mem::take(&mut first) || sight.holds(o.motion.at));
        let mut layers = Layers::of(&window);
        for o in &crowd.people {
            layers.add(sight.in_window(o.motion.at).unwrap_or(MIDDLE), &o.like);
        }
        let expected = layers.at.clone();
        let sigma = |o: &Person| o.motion.off(o.motion.at, NOISE).1.sqrt() * MAN;
        let spread: Vec<f64> = crowd.people.iter().map(sigma).collect();
        let reach: Vec<f64> = spread.iter().map(|s| (GATE * s).clamp(REACH.0, REACH.1)).collect();
        let prior = |k: usize, to: (f64, f64)| {
            let (dx, dy) = (to.0 - expected[k].0, to.1 - expected[k].1);
            (dx * dx + dy * dy) / (2.0 * spread[k] * spread[k])
        };
        let fits = layers.settle(&reach, &prior);
        let at = std::mem::take(&mut layers.at);
        let found = |(person, (&at, fit)): (&mut Person, (&(f64, f64), &Fit))| person.found(sight.on_turf(at), fit, dt);
        let rates: Vec<f32> = crowd.people.iter_mut().zip(at.iter().zip(&fits)).map(found).collect();
        let mut likes: Vec<&mut Likeness> = crowd.people.iter_mut().map(|o| &mut o.like).collect();
        learn(&window, &at, &mut likes, &rates);
        let mut first = true;
        let stays = |o: &Person| o.missed < if o.known > NEW { OTHERS } else { 0.25 * NEW };
        crowd.people.retain(|o| std::mem::take(&mut first) || stays(o));
        meet(crowd, &sight, &window);
        let missed = crowd.people[0].missed;
        if missed > 0.0 {
            crowd.missed_from.get_or_insert(no);
        } else {
            crowd.missed_from = None;
        }
        missed <= HIDDEN
    }
}

/// Those who are not known yet, the nearest first.
fn meet(crowd: &mut Crowd, sight: &Sight, window: &Window) {
    while crowd.people.len() < MANY {
        let mut layers = Layers::of(window);
        for o in &crowd.people {
            layers.add(sight.in_window(o.motion.at).unwrap_or(MIDDLE), &o.like);
        }
        let Some(feet) = layers.further() else { return };
        let Some(at) = sight.on_turf(feet) else { return };
        let like = Likeness::of(window, feet, &layers.free(None));
        crowd.people.push(Person::new(at, like));
    }
}
