//! Turf carried from one frame of a stretch of film to the others.
//!
//! A chain of neighboring frames creeps: the errors of its links add up. So each frame is laid directly onto a frame that
//! is kept for this (a key), the chain only saying about where; the first key is the frame that everything is carried
//! from, and a new one is kept where too little of the old ones is in view. An error then grows with the keys between, not
//! with the frames, and where the camera comes back to what an older key shows, that one is taken again and nothing is
//! left of it.

use super::homography::Homography;
use super::level::Pyramid;
use super::register::{Registrar, Registration};
use super::small::{Shrinker, Small};
use super::stretch::{Walker, Way, walk};
use crate::base::{FrameNo, FrameSpan, Result};
use crate::film::{FrameSource, PictureView};

/// A new key is kept when less than this share of a frame is seen in the best of those there are.
const NEW_KEY: f64 = 0.62;
/// An older key (nearer to the first) is taken instead of the present one when it covers this share.
const OLD_KEY: f64 = 0.66;
/// A key is not laid onto a frame that shows things this many times larger or smaller: new ones are kept before.
const ZOOM: f64 = 1.3;
/// So far (normalized units, half the width is 1, at a corner) a frame laid onto a key may lie from where the chain says. The
/// chain is the one to be wrong while somebody crosses the lens; five yards, at which lines repeat, are .2 and more.
const ASTRAY: f64 = 0.16;
/// The same after a gap, when the chain knows little.
const ASTRAY_AFTER_GAP: f64 = 0.6;
/// A pair with more left than this, gray levels, does not fit (robust sigma; the measurement's own bound is 6, on pairs
/// 1/15 s apart).
const MOST_SIGMA: f32 = 8.0;
/// Less of a frame than this in the key says too little.
const LEAST_VALID: f32 = 0.35;
/// After so many seconds without a fit the turf is lost; what is missing up to then is filled in.
const LONGEST_GAP: f64 = 0.6;

/// Where the turf seen in one frame lies in the others of a stretch of film. Points are shares of the picture's width and
/// height, (0, 0) its upper left corner.
#[derive(Debug, Clone, PartialEq)]
pub struct Carried {
    /// The stretch that was asked for.
    pub span: FrameSpan,
    /// The frame that everything is carried from.
    pub at: FrameNo,
    /// For each frame of the span the map from `at` to it, in normalized units.
    maps: Vec<Option<Homography>>,
}

impl Carried {
    /// Where the place that frame `at` shows at this point lies in `frame`; it may be outside the picture. `None` where
    /// the registration is lost (a cut, a whip pan without overlap, a long flash) or the place is behind the camera.
    pub fn point(&self, frame: FrameNo, at: (f64, f64)) -> Option<(f64, f64)> {
        Homography(self.map(frame)?).point(at.0, at.1)
    }

    /// The map from `at` to `frame`, in shares of the picture's size: rows of the matrix that takes (x, y, 1).
    pub fn map(&self, frame: FrameNo) -> Option<[[f64; 3]; 3]> {
        Some(self.normalized(frame)?.in_shares())
    }

    /// The same in normalized units.
    pub(super) fn normalized(&self, frame: FrameNo) -> Option<&Homography> {
        if !self.span.holds(frame) {
            return None;
        }
        self.maps.get((frame.0 - self.span.start.0) as usize)?.as_ref()
    }

    /// The first frame after `at` for which there is nothing.
    pub fn lost_at(&self) -> Option<FrameNo> {
        (self.at.0..self.span.end.0).map(FrameNo).find(|&no| self.normalized(no).is_none())
    }

    /// The last frame before `at` for which there is nothing.
    pub fn lost_before(&self) -> Option<FrameNo> {
        (self.span.start.0..self.at.0).rev().map(FrameNo).find(|&no| self.normalized(no).is_none())
    }
}

/// Lays every frame of `span` onto frame `at` of it, forward and then backward, until the turf is lost.
///
/// `frames` decodes exactly; it is left wherever the last read ended. `go_on` is asked at every frame.
///
/// # Errors
/// `at` is not in the span or cannot be read; those of the source and of `go_on`.
pub fn carry(
    frames: &mut dyn FrameSource,
    span: FrameSpan,
    at: FrameNo,
    go_on: &mut dyn FnMut() -> Result<()>,
) -> Result<Carried> {
    let mut carrier = Carrier {
        shrinker: Shrinker::default(),
        registrar: Registrar::default(),
        keys: Vec::new(),
        last: None,
        start: None,
        gap: Vec::new(),
        unlaid: 0.0,
        span,
        poses: vec![None; span.len() as usize],
    };
    walk(frames, span, at, &mut carrier, go_on)?;
    Ok(carrier.done(at))
}

/// A frame that others are laid onto.
#[derive(Debug, Clone)]
struct Key {
    pyramid: Pyramid,
    /// From its coordinates to those of the first frame.
    pose: Homography,
    /// Keys between it and the first.
    depth: usize,
}

/// The last frame that fitted.
#[derive(Debug, Clone)]
struct Last {
    pyramid: Pyramid,
    pose: Homography,
    /// From it to the one before.
    link: Homography,
    time: f64,
    key: usize,
}

struct Carrier {
    shrinker: Shrinker,
    registrar: Registrar,
    keys: Vec<Key>,
    last: Option<Last>,
    start: Option<Last>,
    /// Frames since the last that fitted.
    gap: Vec<usize>,
    /// Seconds for which the chain alone was to be had.
    unlaid: f64,
    span: FrameSpan,
    /// From each frame to the first.
    poses: Vec<Option<Homography>>,
}

impl Walker for Carrier {
    type Kept = Small;

    fn keep(&mut self, view: &PictureView<'_>) -> Small {
        self.shrinker.shrink(view, false)
    }

    fn first(&mut self, no: FrameNo, small: Small) -> Result<()> {
        let pyramid = Pyramid::of(&small);
        let pose = Homography::IDENTITY;
        self.keys.push(Key { pyramid: pyramid.clone(), pose, depth: 0 });
        let last = Last { pyramid, pose, link: pose, time: small.time, key: 0 };
        let k = self.index(no);
        self.poses[k] = Some(pose);
        self.start = Some(last.clone());
        self.last = Some(last);
        Ok(())
    }

    fn next(&mut self, _way: Way, no: FrameNo, small: Small) -> Result<bool> {
        let Some(last) = self.last.take() else { return Ok(false) };
        let pyramid = Pyramid::of(&small);
        let k = self.index(no);
        match self.lay(&pyramid, small.time, &last) {
            Some((link, pose, key)) => {
                self.fill_gap(&last.pose, &pose);
                self.poses[k] = Some(pose);
                self.last = Some(Last { pyramid, pose, link, time: small.time, key });
            }
            None => {
                if (small.time - last.time).abs() > LONGEST_GAP {
                    self.gap.clear();
                    return Ok(false);
                }
                self.gap.push(k);
                self.last = Some(last);
            }
        }
        Ok(true)
    }

    fn turn(&mut self) {
        self.gap.clear();
        self.unlaid = 0.0;
        self.last = self.start.clone();
    }
}

impl Carrier {
    fn index(&self, no: FrameNo) -> usize {
        (no.0 - self.span.start.0) as usize
    }

    /// Lays a frame onto the last one and then onto a key: its link, its pose, and which key.
    fn lay(&mut self, pyramid: &Pyramid, time: f64, last: &Last) -> Option<(Homography, Homography, usize)> {
        let gap = !self.gap.is_empty();
        let step = self.registrar.register(pyramid, &last.pyramid, &last.link);
        let stepped = fits(&step);
        let link = if stepped { step.map } else { last.link };
        let guess = last.pose.after(&link);
        let key = self.choose(&guess, last.key)?;
        let toward = self.keys[key].pose.inverse()?.after(&guess);
        let found = self.registrar.refine(pyramid, &self.keys[key].pyramid, &toward);
        let far = if gap { ASTRAY_AFTER_GAP } else { ASTRAY };
        let direct = fits(&found) && found.map.distance(&toward) < far;
        if !direct && !stepped {
            return None;
        }
        let pose = if direct { self.keys[key].pose.after(&found.map) } else { guess };
        let covered = self.coverage(key, &pose);
        self.unlaid = if direct { 0.0 } else { self.unlaid + (time - last.time).abs() };
        // A frame that fits no key is no good key, unless there is nothing else to go on.
        if direct && covered < NEW_KEY || self.unlaid > LONGEST_GAP {
            self.unlaid = 0.0;
            let depth = self.keys[key].depth + 1;
            self.keys.push(Key { pyramid: pyramid.clone(), pose, depth });
            return Some((link, pose, self.keys.len() - 1));
        }
        Some((link, pose, key))
    }

    /// The key to lay a frame of about this pose onto: the one nearest to the first frame that covers enough of it, the
    /// present one where that does.
    fn choose(&self, pose: &Homography, present: usize) -> Option<usize> {
        let covered: Vec<f64> = (0..self.keys.len()).map(|k| self.coverage(k, pose)).collect();
        let enough = |k: usize| if k == present { NEW_KEY } else { OLD_KEY };
        let nearest =
            (0..covered.len()).filter(|&k| covered[k] >= enough(k)).min_by_key(|&k| (self.keys[k].depth, k != present));
        nearest.or_else(|| (0..covered.len()).max_by(|&a, &b| covered[a].total_cmp(&covered[b])))
    }

    /// The share of a frame of this pose that a key shows, 0 if at quite another size.
    fn coverage(&self, key: usize, pose: &Homography) -> f64 {
        let Some(map) = self.keys[key].pose.inverse().map(|back| back.after(pose)) else { return 0.0 };
        let (inside, size) = map.coverage();
        if (1.0 / ZOOM..ZOOM).contains(&size) { inside } else { 0.0 }
    }

    /// Frames between two that fit are put evenly between them.
    fn fill_gap(&mut self, before: &Homography, after: &Homography) {
        let n = self.gap.len() as f64 + 1.0;
        for (i, k) in self.gap.drain(..).enumerate() {
            self.poses[k] = Some(before.mixed(after, (i as f64 + 1.0) / n));
        }
    }

    fn done(self, at: FrameNo) -> Carried {
        let maps = self.poses.iter().map(|pose| pose.as_ref().and_then(Homography::inverse)).collect();
        Carried { span: self.span, at, maps }
    }
}

fn fits(found: &Registration) -> bool {
    found.sigma < MOST_SIGMA && found.valid > LEAST_VALID && (0.6..1.6).contains(&found.gain)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sense::painted::{Eye, Scene, frames};

    /// The greatest error over a grid of points that are seen in both frames, share of the width.
    fn error(carried: &Carried, eyes: &[Eye], frame: u64) -> f64 {
        let (from, to) = (eyes[carried.at.0 as usize], eyes[frame as usize]);
        let mut worst = 0f64;
        for k in 0..25 {
            let at = (0.1 + 0.2 * f64::from(k % 5), 0.1 + 0.2 * f64::from(k / 5));
            let want = to.seen(from.place(at));
            if (0.0..1.0).contains(&want.0) && (0.0..1.0).contains(&want.1) {
                let got = carried.point(FrameNo(frame), at).unwrap_or((9.0, 9.0));
                worst = worst.max((got.0 - want.0).hypot((got.1 - want.1) * 9.0 / 16.0));
            }
        }
        worst
    }

    /// There and back over two picture widths, zooming: a chain of 80 links would creep, keys do not.
    #[test]
    fn turf_is_carried_through_pan_and_zoom_and_back() {
        let swing = |k: u64| (std::f64::consts::PI * k as f64 / 80.0).sin();
        let eyes: Vec<Eye> =
            (0..=80).map(|k| Eye { x: 2.0 * swing(k), y: 0.1 * swing(k), zoom: 1.0 - 0.25 * swing(k) }).collect();
        let mut source = frames(&Scene::default(), &eyes);
        let span = FrameSpan::of(0, 81);
        let carried = carry(&mut source, span, FrameNo(0), &mut || Ok(())).expect("carried");
        assert_eq!(carried.lost_at(), None);
        for frame in [10, 20, 40, 60, 80] {
            assert!(error(&carried, &eyes, frame) < 0.008, "{frame}: {}", error(&carried, &eyes, frame));
        }
        // From the middle both ways.
        let carried = carry(&mut source, span, FrameNo(30), &mut || Ok(())).expect("carried");
        assert_eq!((carried.lost_at(), carried.lost_before()), (None, None));
        for frame in [12, 25, 45] {
            assert!(error(&carried, &eyes, frame) < 0.008, "{frame}: {}", error(&carried, &eyes, frame));
        }
        assert_eq!(carried.map(FrameNo(81)), None);
    }

    #[test]
    fn a_flash_is_bridged_and_a_cut_ends_it() {
        let mut eyes: Vec<Eye> = (0..60).map(|k| Eye { x: 0.01 * f64::from(k), y: 0.0, zoom: 1.0 }).collect();
        eyes.iter_mut().skip(40).for_each(|eye| eye.y = 40.0);
        let scene = Scene { flash: Some(20), ..Scene::default() };
        let mut source = frames(&scene, &eyes);
        let carried = carry(&mut source, FrameSpan::of(0, 60), FrameNo(5), &mut || Ok(())).expect("carried");
        assert!(error(&carried, &eyes, 20) < 0.004, "{}", error(&carried, &eyes, 20));
        assert!(error(&carried, &eyes, 38) < 0.004);
        assert_eq!(carried.lost_at(), Some(FrameNo(40)));
        assert_eq!(carried.point(FrameNo(45), (0.5, 0.5)), None);
    }

    #[test]
    fn a_frame_outside_is_refused_and_a_stop_is_obeyed() {
        let eyes = [Eye { x: 0.0, y: 0.0, zoom: 1.0 }; 10];
        let mut source = frames(&Scene::default(), &eyes);
        let outside = carry(&mut source, FrameSpan::of(2, 8), FrameNo(8), &mut || Ok(()));
        assert!(outside.is_err_and(|e| e.what.contains("frame 8 is not among")));
        let beyond = carry(&mut source, FrameSpan::of(20, 30), FrameNo(20), &mut || Ok(()));
        assert!(beyond.is_err_and(|e| e.what.contains("cannot be read")));
        let mut left = 4;
        let stopped = carry(&mut source, FrameSpan::of(0, 10), FrameNo(0), &mut || {
            left -= 1;
            if left > 0 { Ok(()) } else { Err(crate::base::Error::failed("stopped", "", "go on")) }
        });
        assert!(stopped.is_err_and(|e| e.what == "stopped"));
    }
}
