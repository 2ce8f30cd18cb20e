//! One film that holds both cameras' shots in turn is split into its two cameras, shot by shot.

use super::find::Found;
use super::pair::{Listen, SAME};
use super::track::{UNSETTLED, percentile};
use crate::base::FrameSpan;
use crate::film::{Angle, Film, Play, Sample, Series};

/// The men stand larger in the end zone's picture, so that more of it moves, also while they are set, and less of it is
/// field: a shot's closeness is the mean of the logarithms of the energy's 90th percentile (twice), of its 20th and of
/// the 90th of the robust motion, less [`FIELD`] times the share that is field. (Measured on twelve made games drawn from
/// tracked movement: the end zone's mean lies .8 to 1.6 over the sideline's, 3 to 10 deviations within a camera.)
const FIELD: f64 = 1.5;
/// Added before the logarithm.
const FLOOR: f64 = 0.003;
/// Fewer good samples tell nothing.
const LEAST_SAMPLES: usize = 15;
/// Two cameras are told apart when their mean closeness differs by so much, and by so many deviations. (Halving the
/// shots of one camera gives .4 and 2.7.)
const APART: f64 = 0.6;
const DEVIATIONS: f64 = 3.2;
/// The deviation is never taken as less: few shots look more alike than they are.
const LEAST_DEVIATION: f64 = 0.15;
/// A shot's closeness speaks for or against a camera by at most so much: a shot may show a huddle from near.
const MOST: f64 = 6.0;
/// What it costs, in log odds, that two plays in a row are one camera's: one camera in ten misses a play (practice).
const STAY: f64 = 2.2;
/// What it costs that two shots that hear the same play are one camera's, restarted in mid-play.
const RESTART: f64 = 5.0;
/// A shot less sure than this is shown to a person.
const SURE: f64 = 0.9;

/// An operator's habit is learned from at least so many plays.
const LEAST_PLAYS: usize = 5;

/// The doubt of a play whose camera is not sure.
pub const WHOSE: &str = "it is not sure which of the woven film's two cameras took it";

/// A woven film's two cameras.
#[derive(Debug, Clone, PartialEq)]
pub struct Woven {
    /// What each camera shows: every shot of the film is in both, but plays are only in that of the camera that took
    /// them, in film order.
    pub sideline: Found,
    /// Likewise.
    pub end_zone: Found,
    /// How sure the split of each play's shot is, .5 to 1, in the order of the plays found in the whole film.
    pub sure: Vec<f64>,
}

/// Splits what was found in a woven film. `listen` is asked for the sound of neighboring stretches, both of camera 0.
/// `None` where which shot is whose cannot be told: fewer than two plays, or all of them seem to be one camera's.
pub fn split(film: &Film, series: &Series, found: &Found, listen: &mut Listen<'_>) -> Option<Woven> {
    let closeness: Vec<Option<f64>> = found.plays.iter().map(|play| closeness(series, play.span)).collect();
    let (wide, tight, deviation) = halves(&closeness.iter().flatten().copied().collect::<Vec<_>>())?;
    let odds = closeness.iter().map(|c| {
        // Log odds of the end zone between two normal densities of one deviation.
        c.map_or(0.0, |c| ((c - (wide + tight) / 2.0) * (tight - wide) / deviation.powi(2)).clamp(-MOST, MOST))
    });
    let odds: Vec<f64> = odds.collect();
    let stays: Vec<f64> = found
        .plays
        .windows(2)
        .map(|w| match listen((0, w[0].span), (0, w[1].span)) {
            Some(heard) if heard.ratio > SAME => RESTART,
            _ => STAY,
        })
        .collect();
    let tight = marginals(&odds, &stays);
    let mut out = Woven {
        sideline: of_angle(found, Angle::Sideline),
        end_zone: of_angle(found, Angle::EndZone),
        sure: tight.iter().map(|p| p.max(1.0 - p)).collect(),
    };
    let mut angles = vec![Angle::Unknown; found.shots.len()];
    for (play, p) in found.plays.iter().zip(&tight) {
        let (angle, to) =
            if *p > 0.5 { (Angle::EndZone, &mut out.end_zone) } else { (Angle::Sideline, &mut out.sideline) };
        let mut play = play.clone();
        if p.max(1.0 - p) < SURE {
            play.doubt = Some(with(play.doubt.take(), WHOSE));
        }
        if let Some(shot) = angles.get_mut(play.shot) {
            *shot = angle;
        }
        to.plays.push(play);
    }
    for one in [&mut out.sideline, &mut out.end_zone] {
        for (shot, angle) in one.shots.iter_mut().zip(&angles) {
            shot.angle = *angle;
        }
        one.tail = tail(film, one);
    }
    Some(out)
}

/// The film's shots without plays.
fn of_angle(found: &Found, angle: Angle) -> Found {
    let mut shots = found.shots.clone();
    shots.iter_mut().for_each(|shot| shot.angle = angle);
    Found { shots, plays: Vec::new(), tail: None }
}

/// One more reason to look.
fn with(doubt: Option<String>, why: &str) -> String {
    match doubt {
        None => why.to_string(),
        Some(doubt) => format!("{doubt}; {why}"),
    }
}

/// The operator's habit is each camera's own: the median of what runs on after the ends.
fn tail(film: &Film, found: &Found) -> Option<f64> {
    let left = |play: &Play| Some(film.time(play.span.end) - play.whistle?.time);
    let all: Vec<f64> = found.plays.iter().filter_map(left).collect();
    (all.len() >= LEAST_PLAYS).then(|| percentile(&all, 0.5))
}

/// How near the men are in the plays of a camera: the median of the plays' closeness, which from behind the end zone lies
/// higher than from the sideline; `None` where too little could be read.
pub fn nearness(series: &Series, found: &Found) -> Option<f64> {
    let all: Vec<f64> = found.plays.iter().filter_map(|play| closeness(series, play.span)).collect();
    (!all.is_empty()).then(|| percentile(&all, 0.5))
}

/// Which of two cameras looks from behind the end zone, by their nearness: 0 or 1; `None` where they are too much alike.
pub fn nearer(first: f64, second: f64) -> Option<usize> {
    ((first - second).abs() >= APART).then_some(usize::from(second > first))
}

/// How near the men are in a stretch of film, in logarithms; `None` where too little could be read.
fn closeness(series: &Series, span: FrameSpan) -> Option<f64> {
    let good: Vec<&Sample> = series.within(span).iter().skip(UNSETTLED).filter(|s| !s.bad).collect();
    if good.len() < LEAST_SAMPLES {
        return None;
    }
    let level = |of: fn(&Sample) -> f32, share: f64| {
        let values: Vec<f64> = good.iter().map(|s| f64::from(of(s))).collect();
        (percentile(&values, share) + FLOOR).ln()
    };
    let field = good.iter().map(|s| f64::from(s.field)).sum::<f64>() / good.len() as f64;
    let moves = 2.0 * level(|s| s.energy, 0.9) + level(|s| s.energy, 0.2) + level(|s| s.robust, 0.9);
    Some(moves / 4.0 - FIELD * field)
}

/// The two means and the deviation within of values that fall into two heaps (the best cut of the sorted values); `None`
/// where they do not.
fn halves(values: &[f64]) -> Option<(f64, f64, f64)> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let spread = |v: &[f64]| {
        let m = mean(v);
        v.iter().map(|x| (x - m).powi(2)).sum::<f64>()
    };
    let within = |cut: usize| spread(&sorted[..cut]) + spread(&sorted[cut..]);
    let cut = (1..sorted.len()).min_by(|&a, &b| within(a).total_cmp(&within(b)))?;
    let freedom = sorted.len().saturating_sub(2).max(1) as f64;
    let deviation = (within(cut) / freedom).sqrt().max(LEAST_DEVIATION);
    let (wide, tight) = (mean(&sorted[..cut]), mean(&sorted[cut..]));
    (tight - wide >= APART && (tight - wide) / deviation >= DEVIATIONS).then_some((wide, tight, deviation))
}

/// How probable it is that each play is the second camera's: forward and backward over a chain in which two in a row of
/// one camera cost `stays`.
fn marginals(odds: &[f64], stays: &[f64]) -> Vec<f64> {
    let n = odds.len();
    let own = |k: usize| [0.0, odds[k]];
    let add = |a: f64, b: f64| a.max(b) + (-(a - b).abs()).exp().ln_1p();
    let step = |from: [f64; 2], stay: f64| [add(from[0] - stay, from[1]), add(from[0], from[1] - stay)];
    let mut forth = vec![[0.0; 2]; n];
    let mut back = vec![[0.0; 2]; n];
    for k in 0..n {
        let before = if k == 0 { [0.0; 2] } else { step(forth[k - 1], stays[k - 1]) };
        forth[k] = [before[0] + own(k)[0], before[1] + own(k)[1]];
    }
    for k in (0..n.saturating_sub(1)).rev() {
        let next = own(k + 1);
        back[k] = step([back[k + 1][0] + next[0], back[k + 1][1] + next[1]], stays[k]);
    }
    (0..n).map(|k| 1.0 / (1.0 + (forth[k][0] + back[k][0] - forth[k][1] - back[k][1]).exp())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Rate;
    use crate::film::{Evidence, Shot, ShotKind, scripted};
    use crate::plays::Heard;

    /// A film of shots of ten seconds, each with how near its men are (a factor on all that moves).
    fn woven(near: &[f32]) -> (Film, Series, Found) {
        let frames = 300 * near.len() as u64;
        let film =
            Film { parts: vec![scripted::part("a.mp4", frames, Rate { num: 30, den: 1 })], problems: Vec::new() };
        let mut series = Series::default();
        let mut found = Found::default();
        for (k, near) in near.iter().enumerate() {
            let span = FrameSpan::of(300 * k as u64, 300 * (k as u64 + 1));
            for n in 0..150 {
                let frame = span.start.0 + 2 * n;
                let level = if n > 60 { 0.1 } else { 0.02 } * (1.0 + 0.2 * (n as f32 * 1.3).sin());
                let (energy, robust) = (near * level, near * level * 0.05);
                series.samples.push(Sample { frame, time: frame as f64 / 30.0, energy, robust, ..Sample::default() });
            }
            found.shots.push(Shot { span, kind: ShotKind::Play, angle: Angle::Unknown });
            let (set, snap, whistle, doubt) = (None, None, None, None);
            found.plays.push(Play { shot: k, span, set, snap, whistle, by: Evidence::Picture, doubt });
        }
        (film, series, found)
    }

    fn shots(found: &Found) -> Vec<usize> {
        found.plays.iter().map(|p| p.shot).collect()
    }

    #[test]
    fn shots_fall_to_their_cameras_also_where_one_missed_a_play() {
        // Sideline and end zone in turn; the end zone missed the third play, the sideline the fourth.
        let (film, series, found) = woven(&[1.0, 3.1, 0.9, 3.3, 1.15, 2.9, 1.0, 3.0]);
        let out = split(&film, &series, &found, &mut |_, _| None).unwrap();
        assert_eq!((shots(&out.sideline), shots(&out.end_zone)), (vec![0, 2, 4, 6], vec![1, 3, 5, 7]));
        let (film, series, found) = woven(&[1.0, 3.1, 0.9, 3.3, 1.15, 0.95, 2.9, 3.2, 1.0, 3.0]);
        let out = split(&film, &series, &found, &mut |_, _| None).unwrap();
        assert_eq!((shots(&out.sideline), shots(&out.end_zone)), (vec![0, 2, 4, 5, 8], vec![1, 3, 6, 7, 9]));
        assert!(out.sure.iter().all(|&sure| sure > SURE), "{:?}", out.sure);
        let angles: Vec<Angle> = out.sideline.shots[..4].iter().map(|s| s.angle).collect();
        assert_eq!(angles, [Angle::Sideline, Angle::EndZone, Angle::Sideline, Angle::EndZone]);
    }

    #[test]
    fn a_shot_from_between_goes_by_its_neighbors_and_what_they_hear() {
        // The fourth shot is neither near nor far: in turn it is the end zone's, but nothing is sure.
        let (film, series, found) = woven(&[1.0, 3.1, 0.9, 1.75, 1.1, 3.0]);
        let out = split(&film, &series, &found, &mut |_, _| None).unwrap();
        assert_eq!(shots(&out.end_zone), [1, 3, 5]);
        let same = |a: FrameSpan, b: FrameSpan| a.start.0 / 600 == b.start.0 / 600;
        let mut listen = |a: (usize, FrameSpan), b: (usize, FrameSpan)| {
            Some(Heard { ratio: if same(a.1, b.1) { 7.0 } else { 1.2 }, lag: 0.0 })
        };
        let heard = split(&film, &series, &found, &mut listen).unwrap();
        assert!(heard.sure[3] > out.sure[3], "{:?} {:?}", heard.sure, out.sure);
        assert_eq!(heard.end_zone.plays[1].doubt, None);
        // Alone between two of the other camera it could be either's.
        let (film, series, found) = woven(&[1.0, 3.1, 0.9, 1.75, 3.2, 1.1, 3.0]);
        let out = split(&film, &series, &found, &mut |_, _| None).unwrap();
        let unsure: Vec<usize> = (0..7).filter(|&k| out.sure[k] < SURE).collect();
        assert_eq!(unsure, [3], "{:?}", out.sure);
        let plays = out.sideline.plays.iter().chain(&out.end_zone.plays);
        let doubted: Vec<usize> = plays.filter(|p| p.doubt.as_deref() == Some(WHOSE)).map(|p| p.shot).collect();
        assert_eq!(doubted, [3]);
    }

    #[test]
    fn one_cameras_film_is_not_split() {
        let (film, series, found) = woven(&[1.0, 1.2, 0.8, 1.1, 0.9, 1.3, 1.0]);
        assert_eq!(split(&film, &series, &found, &mut |_, _| None), None);
        let (film, series, found) = woven(&[1.0]);
        assert_eq!(split(&film, &series, &found, &mut |_, _| None), None);
        assert_eq!(split(&film, &Series::default(), &found, &mut |_, _| None), None);
    }
}
