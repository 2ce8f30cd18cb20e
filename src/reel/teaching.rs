//! What a step of a teaching reel adds to its film: its pace, marks, words, and the part of the picture that is shown.
//!
//! Times are seconds after the step's beginning in the reel, places are shares of the film's picture, unless said otherwise.

use std::fmt;

use super::pace::Pace;
use super::script::SoundWay;
use crate::base::FrameNo;
use crate::paint::{Design, Mark, Scaler};

/// A step.
#[derive(Debug, Clone, PartialEq)]
pub struct Teaching {
    /// How the first view's film runs; the others follow it by their anchors.
    pub pace: Pace,
    /// How fast each view's film runs beside the first's.
    pub beside: Vec<f64>,
    /// What each view is called.
    pub labels: Vec<Option<String>>,
    /// When the first view's ball is snapped, where that is seen.
    pub snap: Option<f64>,
    /// What is burned in, where that differs from the reel's.
    pub design: Option<Design>,
    /// What is heard of the first view's film.
    pub sound: SoundWay,
    /// Parts of the picture.
    pub zooms: Vec<Zoom>,
    /// Words at its foot.
    pub captions: Vec<Caption>,
    /// Marks, the lowest first.
    pub marks: Vec<PlacedMark>,
}

/// A part of the picture fills its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Zoom {
    /// Which view, from 0.
    pub view: usize,
    /// When the picture begins to move there.
    pub from: f64,
    /// When the whole picture is back, unless another follows.
    pub to: f64,
    /// The middle of the part.
    pub on: (f64, f64),
    /// How much larger it is shown.
    pub factor: f64,
    /// How long it moves.
    pub ease: f64,
}

/// Words at the foot of the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Caption {
    /// The words.
    pub text: String,
    /// From when.
    pub from: f64,
    /// Until when.
    pub to: f64,
}

/// A mark and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct PlacedMark {
    /// What is drawn.
    pub mark: Mark,
    /// Words about it.
    pub label: Option<String>,
    /// Which view, from 0.
    pub view: usize,
    /// Its points, in the frame that its track refers to.
    pub points: Vec<(f64, f64)>,
    /// Width and height of what has a size; shares of the picture's width and height.
    pub size: (f64, f64),
    /// Height of the man whom it stands by, a share of the picture's height; 0 where it is nobody's.
    pub height: f64,
    /// When it begins to appear.
    pub from: f64,
    /// When it is gone.
    pub to: f64,
    /// How long it fades in and out; `None`: as its kind does.
    pub fade: Option<f64>,
    /// Where it goes.
    pub track: Track,
}

/// Where what is marked goes while camera and men move.
#[derive(Clone, PartialEq, Default)]
pub struct Track {
    /// The film's frame of the first map.
    pub first: FrameNo,
    /// For each frame the map from the frame in which the mark was placed (row by row, 3 x 3, on shares); `None` where that is
    /// not known. Empty: it stands still on the screen.
    pub maps: Vec<Option<Map>>,
}

/// A plane projective map, row by row.
pub type Map = [[f64; 3]; 3];

/// The map that moves nothing.
pub const STILL: Map = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

impl Track {
    /// The map for a frame; before and after the track there is none.
    pub fn at(&self, frame: FrameNo) -> Option<Map> {
        if self.maps.is_empty() {
            return Some(STILL);
        }
        *self.maps.get(frame.0.checked_sub(self.first.0)? as usize)?
    }
}

impl fmt::Debug for Track {
    /// Thousands of numbers as their fingerprint: it is by this text that a rendered segment is found again.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut hash = blake3::Hasher::new();
        for map in &self.maps {
            for value in map.unwrap_or([[f64::NAN; 3]; 3]).into_iter().flatten() {
                hash.update(&value.to_le_bytes());
            }
        }
        write!(f, "{} {} {}", self.first, self.maps.len(), hash.finalize().to_hex())
    }
}

/// Where a point of the plane goes.
pub fn mapped(map: &Map, (x, y): (f64, f64)) -> (f64, f64) {
    let [[a, b, c], [d, e, f], [g, h, i]] = *map;
    let w = g * x + h * y + i;
    ((a * x + b * y + c) / w, (d * x + e * y + f) / w)
}

/// The part of a view's picture that is shown: left, top, width and height.
pub(super) type Region = [f64; 4];

/// The whole picture.
pub(super) const WHOLE: Region = Scaler::WHOLE;

/// Zooms that follow one another within this lead from one to the next, seconds.
const FOLLOWS: f64 = 0.05;

impl Teaching {
    /// What is shown of a view at a time.
    pub(super) fn region(&self, view: usize, t: f64) -> Region {
        let mut zooms: Vec<&Zoom> = self.zooms.iter().filter(|zoom| zoom.view == view).collect();
        zooms.sort_by(|a, b| a.from.total_cmp(&b.from));
        // Times by which the picture has come to a part of it.
        let mut keys = vec![(f64::MIN, WHOLE)];
        for (k, zoom) in zooms.iter().enumerate() {
            let wide = 1.0 / zoom.factor.max(1.0);
            let edge = |middle: f64| (middle - wide / 2.0).clamp(0.0, (1.0 - wide).max(0.0));
            let part = [edge(zoom.on.0), edge(zoom.on.1), wide, wide];
            let next = zooms.get(k + 1).map(|next| next.from).filter(|from| *from < zoom.to + FOLLOWS);
            let end = next.unwrap_or(zoom.to);
            let ease = zoom.ease.min((zoom.to - zoom.from) / 2.0);
            let before = keys.last().map_or(WHOLE, |key| key.1);
            keys.extend([(zoom.from, before), ((zoom.from + ease).min(end), part)]);
            match next {
                Some(_) => keys.push((end, part)),
                None => keys.extend([((end - ease).max(zoom.from + ease), part), (end, WHOLE)]),
            }
        }
        let at = keys.partition_point(|key| key.0 <= t).max(1);
        let (Some(before), after) = (keys.get(at - 1), keys.get(at)) else { return WHOLE };
        let Some(after) = after.filter(|after| after.1 != before.1) else { return before.1 };
        let share = ((t - before.0) / (after.0 - before.0)).clamp(0.0, 1.0);
        let share = share * share * (3.0 - 2.0 * share);
        // The size by its logarithm, or the way in looks faster than the way out; the middle as the size goes.
        let (from, to) = (before.1, after.1);
        let wide = from[2] * (to[2] / from[2]).powf(share);
        let share = if (to[2] - from[2]).abs() > 1e-9 { (wide - from[2]) / (to[2] - from[2]) } else { share };
        let edge = |k: usize| (from[k] + (to[k] - from[k]) * share).clamp(0.0, (1.0 - wide).max(0.0));
        [edge(0), edge(1), wide, wide]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn zoom(from: f64, to: f64, on: (f64, f64), factor: f64) -> Zoom {
        Zoom { view: 0, from, to, on, factor, ease: 0.5 }
    }

    fn teaching(zooms: Vec<Zoom>) -> Teaching {
        let pace = Pace::of(0.0..10.0, 1.0, &[], &[]);
        Teaching {
            pace,
            beside: vec![1.0],
            labels: vec![None],
            snap: None,
            design: None,
            sound: SoundWay::Off,
            zooms,
            captions: vec![],
            marks: vec![],
        }
    }

    #[test]
    fn a_zoom_goes_in_stands_and_comes_back() {
        let teaching = teaching(vec![zoom(2.0, 6.0, (0.3, 0.5), 2.0)]);
        for (t, want) in [
            (0.0, WHOLE),
            (2.0, WHOLE),
            (2.5, [0.05, 0.25, 0.5, 0.5]),
            (5.4, [0.05, 0.25, 0.5, 0.5]),
            (6.0, WHOLE),
            (9.0, WHOLE),
        ] {
            let got = teaching.region(0, t);
            assert!(got.iter().zip(want).all(|(a, b)| (a - b).abs() < 1e-9), "{t}: {got:?}");
        }
        assert_eq!(teaching.region(1, 4.0), WHOLE, "another view");
        // Nowhere does it leap, and nowhere does it leave the picture.
        let steps: Vec<Region> = (0..1000).map(|k| teaching.region(0, f64::from(k) / 100.0)).collect();
        for w in steps.windows(2) {
            assert!((w[0][2] - w[1][2]).abs() < 0.03 && (w[0][0] - w[1][0]).abs() < 0.03);
        }
        assert!(steps.iter().all(|[x, y, w, h]| *x >= 0.0 && *y >= 0.0 && x + w <= 1.0 + 1e-9 && y + h <= 1.0 + 1e-9));
    }

    #[test]
    fn a_zoom_that_follows_leads_from_part_to_part() {
        let teaching = teaching(vec![zoom(1.0, 3.0, (0.2, 0.2), 2.0), zoom(3.0, 5.0, (0.9, 0.9), 2.0)]);
        let middle = teaching.region(0, 3.25);
        assert!((middle[2] - 0.5).abs() < 1e-9 && middle[0] > 0.1 && middle[0] < 0.4, "{middle:?}");
        let end = teaching.region(0, 4.0);
        assert!((end[0] - 0.5).abs() < 1e-9 && (end[1] - 0.5).abs() < 1e-9);
    }

    #[test]
    fn a_track_is_known_where_it_was_followed() {
        let moved = [[1.0, 0.0, 0.1], [0.0, 1.0, -0.2], [0.0, 0.0, 1.0]];
        let track = Track { first: FrameNo(10), maps: vec![Some(STILL), None, Some(moved)] };
        assert_eq!((track.at(FrameNo(9)), track.at(FrameNo(11)), track.at(FrameNo(13))), (None, None, None));
        assert_eq!(mapped(&track.at(FrameNo(12)).unwrap(), (0.5, 0.5)), (0.6, 0.3));
        assert_eq!(Track::default().at(FrameNo(77)), Some(STILL));
        let other = Track { first: FrameNo(10), maps: vec![Some(STILL), Some(STILL), Some(moved)] };
        assert_ne!(format!("{track:?}"), format!("{other:?}"));
    }
}
