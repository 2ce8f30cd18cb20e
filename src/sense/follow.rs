//! A man followed from where he was pointed at, through pan and zoom.

use super::carry::Carried;
use super::crowd::{Crowd, Watcher};
use super::figures::Foreground;
use super::homography::Homography;
use super::middling::Middling;
use super::standing::Standing;
use super::stretch::{Walker, Way, walk};
use super::tracker::{Track, Tracker};
use crate::base::{Error, FrameNo, FrameSpan, Result};
use crate::film::{FrameSource, PictureView};

/// The two that follow him see him at one place if they are nearer than this, in heights; they have parted if they were farther
/// apart than that on an average over so many seconds.
const TOGETHER: f64 = 0.3;
const PARTED: f64 = 0.8;
const MEMORY: f64 = 0.15;
/// Seconds to either side over which the path is smoothed (standard deviation): a filter's answer jitters by a pixel.
const SMOOTH: f64 = 0.06;

/// A man followed from where he was pointed at. Points are shares of the picture's width and height, (0, 0) its upper left
/// corner.
#[derive(Debug, Clone, PartialEq)]
pub struct Followed {
    /// The frame in which he was pointed at.
    pub at: FrameNo,
    /// Where his feet are, frame by frame in order, without a gap. It ends before `lost_at`, and begins after the last frame
    /// before `at` in which he was lost.
    pub path: Vec<(FrameNo, (f64, f64))>,
    /// The first frame after `at` from which on it is not sure where he is; `None` if he was followed to the end.
    pub lost_at: Option<FrameNo>,
    /// How tall he is in frame `at`, share of the picture's height (as far as he stands upright).
    pub height: f64,
}

/// Follows the man whose feet are near `feet` in frame `at` over `span`, forward and then backward, as far as `carried` knows
/// the turf and as long as he is surely the same man.
///
/// `frames` decodes exactly; it is left wherever the last read ended. `go_on` is asked at every frame.
///
/// # Errors
/// There is no man near that point; `at` is not in the span, cannot be read, or is not the frame that `carried` starts from;
/// those of the source and of `go_on`.
pub fn follow(
    frames: &mut dyn FrameSource,
    span: FrameSpan,
    at: FrameNo,
    feet: (f64, f64),
    carried: &Carried,
    go_on: &mut dyn FnMut() -> Result<()>,
) -> Result<Followed> {
    if carried.at != at {
        let what = format!("a man is pointed at in frame {at}, but the turf was carried from frame {}", carried.at);
        return Err(Error::refused(what, "", "carry the turf from the frame in which he is pointed at"));
    }
    let mut follower = Follower { carried, feet, begun: None, now: None, path: Vec::new(), lost_at: None };
    walk(frames, span, at, &mut follower, go_on)?;
    follower.done(at)
}

/// The man as he stands in the first frame.
struct Begun {
    tracker: Tracker,
    track: Track,
    watcher: Watcher,
    /// Not where he stands before something else than turf: there layers tell nothing.
    crowd: Option<Crowd>,
    standing: Standing,
}

/// Following at the present frame.
struct Now {
    track: Track,
    crowd: Option<Crowd>,
    /// How far apart the two saw him of late, heights, and the first frame since when.
    apart: f64,
    apart_from: Option<FrameNo>,
}

struct Follower<'a> {
    carried: &'a Carried,
    feet: (f64, f64),
    begun: Option<Begun>,
    now: Option<Now>,
    /// Frame, time, and place in the first frame's normalized units.
    path: Vec<(FrameNo, f64, (f64, f64))>,
    lost_at: Option<FrameNo>,
}

impl Begun {
    fn now(&self) -> Now {
        Now { track: self.track.clone(), crowd: self.crowd.clone(), apart: 0.0, apart_from: None }
    }

    /// Looks for him in the next frame: where he is, or the first frame from which on it is not sure.
    fn look(
        &self,
        now: &mut Now,
        map: &Homography,
        no: FrameNo,
        picture: &Middling,
    ) -> std::result::Result<(f64, f64), FrameNo> {
        let dt = (picture.time - now.track.time).abs();
        if !self.tracker.look(&mut now.track, map, no, picture) {
            return Err(now.track.missed_from.unwrap_or(no));
        }
        let a = now.track.motion.at;
        let Some(crowd) = &mut now.crowd else { return Ok(a) };
        if !self.watcher.look(crowd, map, no, picture) {
            return Err(crowd.missed_from.unwrap_or(no));
        }
        let b = crowd.at().unwrap_or(a);
        let apart = (a.0 - b.0).hypot(a.1 - b.1).min(1.0);
        now.apart += (apart - now.apart) * (dt / MEMORY).min(1.0);
        if apart <= TOGETHER {
            now.apart_from = None;
        } else {
            now.apart_from.get_or_insert(no);
        }
        if now.apart > PARTED {
            return Err(now.apart_from.unwrap_or(no));
        }
        Ok((0.5 * (a.0 + b.0), 0.5 * (a.1 + b.1)))
    }
}

impl Walker for Follower<'_> {
    type Kept = Middling;

    fn keep(&mut self, view: &PictureView<'_>) -> Middling {
        Middling::of(view)
    }

    fn first(&mut self, no: FrameNo, picture: Middling) -> Result<()> {
        let foreground = Foreground::of(&picture);
        let scale = foreground.scale(picture.aspect());
        let Some(figure) = foreground.man_at(self.feet, picture.aspect(), scale.as_ref()) else {
            let what = format!("no man is seen at {:.3}, {:.3} of frame {no}", self.feet.0, self.feet.1);
            return Err(Error::refused(what, "", "point at a man's feet, in a frame in which he stands apart"));
        };
        let standing = Standing { height: figure.height };
        let tracker = Tracker::new(foreground.turf, standing);
        let watcher = Watcher::new(foreground.turf, standing, scale, figure.feet.1);
        let track = tracker.begin(&picture, figure.feet);
        let on_turf = foreground.on_turf(&figure, picture.aspect());
        let crowd = on_turf.then(|| watcher.begin(&picture, &Homography::IDENTITY, track.motion.at));
        self.path.push((no, picture.time, standing.normalized(track.motion.at)));
        let begun = Begun { tracker, track, watcher, crowd, standing };
        self.now = Some(begun.now());
        self.begun = Some(begun);
        Ok(())
    }

    fn next(&mut self, way: Way, no: FrameNo, picture: Middling) -> Result<bool> {
        let (Some(begun), Some(now)) = (&self.begun, &mut self.now) else { return Ok(false) };
        let Some(map) = self.carried.normalized(no).copied() else {
            self.lose(way, no);
            return Ok(false);
        };
        match begun.look(now, &map, no, &picture) {
            Ok(at) => self.path.push((no, picture.time, begun.standing.normalized(at))),
            Err(from) => {
                self.lose(way, from);
                return Ok(false);
            }
        }
        Ok(true)
    }

    fn turn(&mut self) {
        self.now = self.begun.as_ref().map(Begun::now);
    }
}

impl Follower<'_> {
    fn lose(&mut self, way: Way, from: FrameNo) {
        match way {
            Way::Forward => {
                self.lost_at = Some(from);
                self.path.retain(|p| p.0 < from);
            }
            Way::Backward => self.path.retain(|p| p.0 > from),
        }
    }

    fn done(mut self, at: FrameNo) -> Result<Followed> {
        self.path.sort_by_key(|p| p.0);
        let smooth = |k: usize| {
            let time = self.path[k].1;
            let weight = |t: f64| (-0.5 * ((t - time) / SMOOTH).powi(2)).exp();
            let near = |p: &&(FrameNo, f64, (f64, f64))| (p.1 - time).abs() < 3.0 * SMOOTH;
            let back = self.path[..k].iter().rev().take_while(near);
            let mut sum = (0.0, 0.0, 0.0);
            for (_, t, p) in back.chain(self.path[k..].iter().take_while(near)) {
                let w = weight(*t);
                sum = (sum.0 + w * p.0, sum.1 + w * p.1, sum.2 + w);
            }
            (sum.0 / sum.2, sum.1 / sum.2)
        };
        let shown = |k: usize| {
            let (no, place) = (self.path[k].0, smooth(k));
            let (x, y) = self.carried.normalized(no)?.point(place.0, place.1)?;
            Some((no, super::homography::to_shares(x, y)))
        };
        let path = (0..self.path.len()).filter_map(shown).collect();
        let height = self.begun.map_or(0.0, |b| b.standing.height);
        Ok(Followed { at, path, lost_at: self.lost_at, height })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sense::carry;
    use crate::sense::painted::{Eye, Man, Scene, frames};

    /// The camera follows loosely while men run; how far the mark is from the first man, in his heights, and until when.
    fn followed(men: Vec<Man>, at: u64) -> (Followed, Vec<f64>) {
        let eyes: Vec<Eye> = (0..60)
            .map(|k| Eye {
                x: 0.006 * f64::from(k),
                y: 0.02 * (0.2 * f64::from(k)).sin(),
                zoom: 1.0 + 0.002 * f64::from(k),
            })
            .collect();
        let man = men[0];
        let mut source = frames(&Scene { men, ..Scene::default() }, &eyes);
        let span = FrameSpan::of(0, 60);
        let carried = carry(&mut source, span, FrameNo(at), &mut || Ok(())).expect("carried");
        let feet = eyes[at as usize].seen(man.at(at));
        let found = follow(&mut source, span, FrameNo(at), feet, &carried, &mut || Ok(())).expect("followed");
        let off = |&(no, mark): &(FrameNo, (f64, f64))| {
            let eye = eyes[no.0 as usize];
            let feet = eye.seen(man.at(no.0));
            ((mark.0 - feet.0) * 16.0 / 9.0).hypot(mark.1 - feet.1) / (Man::TALL * eye.zoom)
        };
        let apart = found.path.iter().map(off).collect();
        (found, apart)
    }

    const RED: [u8; 3] = [60, 100, 200];
    const WHITE: [u8; 3] = [225, 128, 128];

    #[test]
    fn a_man_is_followed_both_ways_past_another() {
        let runs = Man { from: (-0.3, 0.1), pace: (0.011, 0.0), shirt: RED };
        let comes = Man { from: (0.5, 0.12), pace: (-0.012, -0.001), shirt: WHITE };
        let (found, apart) = followed(vec![runs, comes], 20);
        assert_eq!((found.lost_at, found.path.len()), (None, 60));
        assert_eq!(found.path[0].0, FrameNo(0));
        assert!((found.height / Man::TALL - 1.04).abs() < 0.25, "{}", found.height);
        assert!(apart.iter().all(|&d| d < 0.3), "{apart:?}");
    }

    #[test]
    fn two_of_one_kit_that_cross_are_not_swapped() {
        let runs = Man { from: (-0.3, 0.1), pace: (0.011, 0.0), shirt: RED };
        let comes = Man { from: (0.4, 0.13), pace: (-0.011, -0.001), shirt: RED };
        let (found, apart) = followed(vec![runs, comes], 0);
        assert!(apart.iter().all(|&d| d < 0.45), "{apart:?}");
        assert!(found.lost_at.is_none_or(|no| no.0 > 25), "{:?}", found.lost_at);
    }

    #[test]
    fn a_man_who_leaves_the_picture_is_lost_there() {
        let runs = Man { from: (0.2, 0.1), pace: (0.025, 0.0), shirt: RED };
        let (found, apart) = followed(vec![runs], 0);
        let lost = found.lost_at.map_or(0, |no| no.0);
        assert!((28..46).contains(&lost), "{lost}");
        assert!(apart.iter().all(|&d| d < 0.6), "{apart:?}");
        assert_eq!(found.path.len() as u64, lost);
    }

    #[test]
    fn bare_turf_and_a_wrong_frame_are_refused() {
        let eyes = [Eye { x: 0.0, y: 0.0, zoom: 1.0 }; 4];
        let mut source = frames(&Scene::default(), &eyes);
        let span = FrameSpan::of(0, 4);
        let carried = carry(&mut source, span, FrameNo(1), &mut || Ok(())).expect("carried");
        let mut ask = |at| follow(&mut source, span, FrameNo(at), (0.43, 0.6), &carried, &mut || Ok(()));
        assert!(ask(1).is_err_and(|e| e.what.contains("no man is seen at 0.430, 0.600")));
        assert!(ask(2).is_err_and(|e| e.what.contains("carried from frame 1")));
    }
}
