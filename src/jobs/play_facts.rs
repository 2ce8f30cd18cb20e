//! What a game's film shows of each play, as matching takes it.

use std::collections::BTreeMap;

use super::survey::rank;
use crate::base::{FrameNo, FrameSpan, Result};
use crate::film::{Angle, Film, Sample, Series};
use crate::library::{CameraShot, Library};
use crate::sense;
use crate::sheet::PlayFacts;

/// The camera by whose film the sheet's times are read: the first of the game's.
#[derive(Default)]
pub(super) struct Reference {
    /// The game's cameras, the sideline first.
    pub cameras: Vec<String>,
    /// Its film, where it is at hand or the library knows its frame times.
    pub film: Option<Film>,
    hz: f64,
    /// What was measured over its film; `None` where that is lost.
    pub series: Option<Series>,
}

impl Reference {
    /// From what is at hand.
    pub fn first(cameras: &[String], films: &BTreeMap<String, Film>, series: Option<Series>) -> Self {
        let film = cameras.first().and_then(|c| films.get(c)).cloned();
        Self { cameras: cameras.to_vec(), hz: film.as_ref().map_or(30.0, Film::hz), film, series }
    }

    /// From the library, with the films that are at hand.
    pub fn of(library: &Library, game: &str, films: &BTreeMap<String, Film>) -> Result<Self> {
        let mut cameras = library.camera_films(game)?;
        cameras.sort_by_key(|c| rank(&c.camera));
        let names: Vec<String> = cameras.iter().map(|c| c.camera.clone()).collect();
        let series = cameras.first().and_then(|c| library.series().load(&c.fingerprint, sense::VERSION));
        let mut reference = Self::first(&names, films, series);
        if let (None, Some(camera)) = (&reference.film, cameras.first()) {
            reference.film = library.load_film(&camera.fingerprint);
            reference.hz = if camera.seconds > 0.0 { camera.frames as f64 / camera.seconds } else { camera.rate.hz() };
        }
        Ok(reference)
    }

    fn name(&self) -> &str {
        self.cameras.first().map_or("", String::as_str)
    }

    fn time(&self, frame: FrameNo) -> f64 {
        match &self.film {
            Some(film) => film.time(frame),
            None => frame.0 as f64 / self.hz,
        }
    }
}

/// When each play happened in the reference camera's film, and what that shows of it. Where that camera saw no snap the
/// middle of its shot stands for it, where it missed the play the middle between its neighbors; both are weak.
///
/// The pan tells how far the ball went only from the sideline. No finder tells kicks yet.
pub(super) fn play_facts(plays: &[&[CameraShot]], reference: &Reference) -> Vec<PlayFacts> {
    let shot_of = |shots: &[CameraShot]| shots.iter().find(|shot| shot.camera == reference.name()).cloned();
    let shots: Vec<Option<CameraShot>> = plays.iter().map(|shots| shot_of(shots)).collect();
    let middle = |span: FrameSpan| reference.time(FrameNo(span.start.0 + span.len() / 2));
    let pans = Angle::named(reference.name()) == Angle::Sideline;
    let seen: Vec<Option<PlayFacts>> = shots
        .iter()
        .enumerate()
        .map(|(at, shot)| {
            let shot = shot.as_ref()?;
            let next = shots.get(at + 1).and_then(Option::as_ref);
            let gap = next.map(|next| reference.time(next.span.start) - reference.time(shot.span.start));
            let gap = gap.filter(|gap| *gap > 0.0);
            let Some(snap) = shot.snap else {
                return Some(PlayFacts { time: middle(shot.span), weak: true, gap, ..PlayFacts::default() });
            };
            let ends = shot.whistle.map(|whistle| whistle.time).filter(|end| *end > snap.time);
            let pan = |end: f64| net_pan(reference.series.as_ref()?.within(shot.span), snap.time, end);
            Some(PlayFacts {
                time: snap.time,
                gap,
                length: ends.map(|end| end - snap.time),
                pan: ends.filter(|_| pans).and_then(pan),
                ..PlayFacts::default()
            })
        })
        .collect();
    let time_of = |play: &Option<PlayFacts>| play.map(|p| p.time);
    let of = |(at, own): (usize, &Option<PlayFacts>)| {
        own.unwrap_or_else(|| {
            let before = seen[..at].iter().rev().find_map(time_of);
            let after = seen[at..].iter().find_map(time_of);
            let time = match (before, after) {
                (Some(a), Some(b)) => (a + b) / 2.0,
                (one, other) => one.or(other).unwrap_or(0.0),
            };
            PlayFacts { time, weak: true, ..PlayFacts::default() }
        })
    };
    seen.iter().enumerate().map(of).collect()
}

/// How far the view moved across from one film time to another, picture widths, without its sign; `None` where more than
/// a third of the samples tell nothing. What could not be registered is taken to have gone on as before.
fn net_pan(samples: &[Sample], from: f64, to: f64) -> Option<f64> {
    let (mut sum, mut speed, mut bad, mut count) = (0.0, 0.0, 0usize, 0usize);
    let mut last: Option<f64> = None;
    for sample in samples.iter().filter(|s| s.time >= from && s.time <= to) {
        if !sample.bad {
            speed = f64::from(sample.pan_x);
        }
        bad += usize::from(sample.bad);
        count += 1;
        sum += speed * last.map_or(0.0, |last| sample.time - last);
        last = Some(sample.time);
    }
    (count >= 8 && bad * 3 <= count).then_some(sum.abs())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::film::{Evidence, Sighting};

    fn at(time: f64) -> Sighting {
        Sighting { frame: FrameNo((time * 30.0) as u64), time, confidence: 0.9 }
    }

    fn shot(camera: &str, start: u64, snap: Option<f64>) -> CameraShot {
        let span = FrameSpan::of(start, start + 300);
        let (snap, whistle) = (snap.map(at), snap.map(|snap| at(snap + 4.0)));
        CameraShot { camera: camera.into(), span, set: None, snap, whistle, by: Evidence::Picture, doubt: None }
    }

    fn reference(camera: &str) -> Reference {
        Reference { cameras: vec![camera.into()], hz: 30.0, ..Reference::default() }
    }

    #[test]
    fn plays_the_reference_camera_did_not_see_stand_weakly_between_their_neighbors() {
        let plays = [
            vec![shot("end-zone", 0, Some(3.0))],
            vec![shot("sideline", 0, Some(4.5)), shot("end-zone", 300, Some(14.0))],
            vec![shot("end-zone", 600, Some(25.0))],
            vec![shot("sideline", 300, None)],
        ];
        let plays: Vec<&[CameraShot]> = plays.iter().map(Vec::as_slice).collect();
        let facts = play_facts(&plays, &reference("sideline"));
        let times: Vec<(f64, bool)> = facts.iter().map(|t| (t.time, t.weak)).collect();
        assert_eq!(times, [(4.5, true), (4.5, false), (9.75, true), (15.0, true)]);
        assert_eq!((facts[1].length, facts[1].gap, facts[1].pan), (Some(4.0), None, None));
        let none = play_facts(&plays, &reference("press box"));
        assert!(none.iter().all(|t| t.weak && t.time == 0.0));
    }

    #[test]
    fn the_pan_from_snap_to_end_is_net_and_bridges_what_could_not_be_registered() {
        let sample = |i: u64| {
            let time = i as f64 / 15.0;
            let pan_x = if time < 2.0 { 0.5 } else { -0.1 };
            Sample { frame: 2 * i, time, pan_x, bad: (40..44).contains(&i), ..Sample::default() }
        };
        let series = Series { samples: (0..150).map(sample).collect(), ..Series::default() };
        let plays = [vec![shot("sideline", 0, Some(1.0))], vec![shot("sideline", 300, Some(12.0))]];
        let plays: Vec<&[CameraShot]> = plays.iter().map(Vec::as_slice).collect();
        let seen = |camera: &str| {
            let plays: Vec<Vec<CameraShot>> =
                plays.iter().map(|p| vec![CameraShot { camera: camera.into(), ..p[0].clone() }]).collect();
            let plays: Vec<&[CameraShot]> = plays.iter().map(Vec::as_slice).collect();
            let reference = Reference { series: Some(series.clone()), ..reference(camera) };
            play_facts(&plays, &reference)
        };
        let facts = seen("sideline");
        // One second of .5 to the right, three of .1 back.
        assert!((facts[0].pan.unwrap() - 0.2).abs() < 0.05, "{:?}", facts[0].pan);
        assert_eq!((facts[0].gap, facts[1].pan), (Some(10.0), None));
        assert_eq!(seen("end-zone")[0].pan, None);
    }
}
