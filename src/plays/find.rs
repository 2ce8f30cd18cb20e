//! From a film's series to its shots and plays.

use serde::Serialize;

use super::decode;
use super::end::{self, EndFound};
use super::settings::Settings;
use super::snap::{self, SnapFound};
use super::take::{self, InTake};
use super::track::{self, HZ, Track, percentile};
use crate::base::FrameSpan;
use crate::film::{Angle, Evidence, Film, Play, Series, Shot, ShotKind, Sighting};

/// The decoder's score from which a shot is a play. (Measured on made films drawn from tracked movement: plays 17.7 and
/// more, but for those cut in two by the operator; idle and scoreboard shots 3.7 at most.)
const A_PLAY: f64 = 16.0;
/// Below this it is surely none; between the two it keeps its clip and is shown to a person.
const NO_PLAY: f64 = 0.0;
/// A shot without score (too short for a play) or with a low one, but this long, may hold a play that the measure did
/// not see; seconds. Idle and scoreboard shots are shorter as a rule (practice).
const LONG: f64 = 7.0;
/// A shot with less of the field than this shows the scoreboard or the like.
const NO_FIELD: f64 = 0.2;
/// With so many of its samples unreadable nothing can be said against a shot's being a play.
const UNREADABLE: f64 = 0.5;
/// Shorter shots are no play whatever they show: no play with its set second fits; seconds.
const SHORTEST: f64 = 2.0;
/// A snap with less contrast or lead than these is shown to a person.
const WEAK_CONTRAST: f64 = 0.8;
const SHORT_LEAD: f64 = 0.8;
/// A rival this close is, too.
const RIVAL: f64 = -0.3;
/// An end believed in less than this, without a whistle, is, too.
const WEAK_END: f64 = 0.5;
/// The set second ends at the snap; the offense stands since the motion was last over this share of the level, for at
/// least so many seconds.
const SET_LEVEL: f64 = 0.2;
const SET_LEAST: f64 = 0.7;

/// Why a snap is shown to a person, where nothing but this one picture speaks for it.
const HARD_TO_SEE: &str = "the snap is hard to see";
const RIVALED: &str = "something moved as suddenly";
const NOT_OVER: &str = "the shot ends before the play can be over";
const LATE_START: &str = "the shot begins";

/// A doubt without what another camera's picture of the same snap has settled.
pub(super) fn settled(doubt: Option<String>) -> Option<String> {
    let doubt = doubt?;
    let left: Vec<&str> =
        doubt.split("; ").filter(|w| ![HARD_TO_SEE, RIVALED, LATE_START].iter().any(|of| w.starts_with(of))).collect();
    (!left.is_empty()).then(|| left.join("; "))
}

/// What was found in one camera's film.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Found {
    /// Every shot in order.
    pub shots: Vec<Shot>,
    /// In order: one for each shot of kind play, several for one that runs on through several.
    pub plays: Vec<Play>,
    /// The operator's habit: seconds the camera runs on after a play's end, where it could be learned.
    pub tail: Option<f64>,
}

/// Finds the shots and plays of one camera's film cut by shots. Pure: the same series give the same plays.
pub fn find(series: &Series, film: &Film, angle: Angle, _settings: &Settings) -> Found {
    let spans = shot_spans(series, film);
    let mut tracks: Vec<Track> = spans.iter().map(|span| track_of(series, film, *span)).collect();
    track::refer(&mut tracks);
    let takes: Vec<Option<(Vec<InTake>, Track)>> = tracks.iter().map(several).collect();
    let kinds: Vec<(ShotKind, f64)> = tracks
        .iter()
        .zip(&takes)
        .map(|(track, take)| if take.is_some() { (ShotKind::Play, f64::INFINITY) } else { kind(track) })
        .collect();
    let shots = spans.iter().zip(&kinds).map(|(&span, &(kind, _))| Shot { span, kind, angle }).collect();
    let snaps: Vec<Option<SnapFound>> = tracks
        .iter()
        .zip(kinds.iter().zip(&takes))
        .map(|(track, ((kind, score), take))| {
            (take.is_none() && *kind == ShotKind::Play && *score >= A_PLAY).then(|| snap::snap(track, angle)).flatten()
        })
        .collect();
    let with_snap: Vec<(&Track, f64)> =
        tracks.iter().zip(&snaps).filter_map(|(track, snap)| snap.map(|s| (track, s.time))).collect();
    let (ends, tail) = end::ends(&with_snap);
    let mut ends = ends.into_iter();
    let mut plays = Vec::new();
    for (shot, (track, snap)) in tracks.iter().zip(&snaps).enumerate() {
        if let Some((all, relative)) = &takes[shot] {
            plays.extend(all.iter().map(|p| in_take(film, series, (shot, spans[shot]), relative, p)));
            continue;
        }
        let end = if snap.is_some() { ends.next().flatten() } else { None };
        if kinds[shot].0 == ShotKind::Play {
            plays.push(play(film, series, (shot, spans[shot]), track, kinds[shot].1, *snap, end));
        }
    }
    Found { shots, plays, tail: tail.map(|t| t.median) }
}

/// The plays of a shot that runs on through several; `None` for one that does not.
fn several(track: &Track) -> Option<(Vec<InTake>, Track)> {
    if track.to - track.from < take::LONG {
        return None;
    }
    let found = take::plays(track);
    (found.0.len() > 1).then_some(found)
}

/// A play of a take that runs on.
fn in_take(film: &Film, series: &Series, (shot, take): (usize, FrameSpan), relative: &Track, p: &InTake) -> Play {
    let span = film.between(p.from, p.to, take);
    let sighting = |time: f64, confidence: f64| Sighting {
        frame: film.nearest(time),
        time,
        confidence: confidence.clamp(0.0, 1.0),
    };
    let Some(snap) = p.snap else {
        let doubt = Some("the men stand and then move here: perhaps a play".into());
        return Play { shot, span, set: None, snap: None, whistle: None, by: Evidence::Nothing, doubt };
    };
    let mut why = Vec::new();
    if !p.sure() {
        why.push(HARD_TO_SEE);
    }
    let heard = p.end.is_some_and(|e| e.whistle > 0.0);
    match p.end {
        None => why.push(NOT_OVER),
        Some(end) if !heard && end.belief < WEAK_END => why.push(weak_end(series)),
        Some(_) => {}
    }
    Play {
        shot,
        span,
        set: set(relative, snap).map(|t| film.nearest(t)).filter(|f| *f >= span.start),
        snap: Some(sighting(snap, 1.0 / (1.0 + (-p.odds).exp()))),
        whistle: p.end.map(|e| sighting(e.time, e.belief.max(e.whistle))),
        by: if heard { Evidence::PictureAndSound } else { Evidence::Picture },
        doubt: (!why.is_empty()).then(|| why.join("; ")),
    }
}

fn weak_end(series: &Series) -> &'static str {
    if series.sound { "no whistle was heard and the end is hard to see" } else { "the end is hard to see" }
}

/// The shots of a film, from cut to cut.
pub fn shot_spans(series: &Series, film: &Film) -> Vec<FrameSpan> {
    let frames = film.frames();
    let mut starts = vec![0];
    starts.extend(series.cuts.iter().copied().filter(|&c| c > 0 && c < frames));
    starts.push(frames);
    starts.windows(2).filter(|w| w[1] > w[0]).map(|w| FrameSpan::of(w[0], w[1])).collect()
}

fn track_of(series: &Series, film: &Film, span: FrameSpan) -> Track {
    Track::of(series.within(span), film.time(span.start), film.time(span.end), &series.whistles)
}

/// The tracks of a film's shots, in order.
pub fn takes(series: &Series, film: &Film) -> Vec<Track> {
    shot_spans(series, film).into_iter().map(|span| track_of(series, film, span)).collect()
}

/// What a shot shows, and the decoder's score. Whatever may be a play is one.
fn kind(track: &Track) -> (ShotKind, f64) {
    let seconds = track.to - track.from;
    let score = decode::decode(track, &decode::WHETHER).map_or(f64::NEG_INFINITY, |d| d.score);
    let kind = if score >= A_PLAY {
        ShotKind::Play
    } else if seconds < SHORTEST {
        if track.field < NO_FIELD { ShotKind::Scoreboard } else { ShotKind::Other }
    } else if track.field < NO_FIELD && track.bad < UNREADABLE && seconds < LONG {
        ShotKind::Scoreboard
    } else if score >= NO_PLAY || seconds >= LONG || track.bad >= UNREADABLE || !track.whistles.is_empty() {
        ShotKind::Play
    } else {
        ShotKind::Other
    };
    (kind, score)
}

fn play(
    film: &Film,
    series: &Series,
    (shot, span): (usize, FrameSpan),
    track: &Track,
    score: f64,
    snap: Option<SnapFound>,
    end: Option<EndFound>,
) -> Play {
    let sighting = |time: f64, confidence: f64| Sighting {
        frame: film.nearest(time),
        time,
        confidence: confidence.clamp(0.0, 1.0),
    };
    let Some(snap) = snap else {
        let doubt = if score < A_PLAY {
            "no snap was found: perhaps no play, or one that begins before the shot"
        } else {
            "the shot is too short to tell the snap"
        };
        return Play {
            shot,
            span,
            set: None,
            snap: None,
            whistle: None,
            by: Evidence::Nothing,
            doubt: Some(doubt.into()),
        };
    };
    let heard = end.is_some_and(|e| e.whistle > 0.0);
    Play {
        shot,
        span,
        set: set(track, snap.time).map(|t| film.nearest(t)),
        snap: Some(sighting(snap.time, snap_confidence(&snap))),
        whistle: end.map(|e| sighting(e.time, if heard { e.belief.max(e.whistle) } else { e.belief })),
        by: if heard { Evidence::PictureAndSound } else { Evidence::Picture },
        doubt: doubt(track, series, &snap, end.as_ref()),
    }
}

fn snap_confidence(snap: &SnapFound) -> f64 {
    // One for a strong rise without rival, a half at the edge of doubt.
    let strength = 1.0 / (1.0 + (-(snap.contrast - WEAK_CONTRAST) * 3.0).exp());
    let rival = 1.0 / (1.0 + (-(snap.margin - RIVAL) * 3.0).exp());
    let lead = (snap.lead / SHORT_LEAD).clamp(0.0, 1.0);
    (strength * rival).sqrt() * lead
}

fn doubt(track: &Track, series: &Series, snap: &SnapFound, end: Option<&EndFound>) -> Option<String> {
    let mut why = Vec::new();
    if snap.lead < SHORT_LEAD {
        why.push(format!("{LATE_START} {:.1} s before the snap", snap.lead.max(0.0)));
    }
    if snap.contrast < WEAK_CONTRAST {
        why.push(HARD_TO_SEE.to_string());
    } else if snap.margin < RIVAL {
        let away = snap.rival.unwrap_or_default();
        why.push(format!("{RIVALED} {:.1} s {}", away.abs(), if away < 0.0 { "before" } else { "after" }));
    }
    match end {
        None => why.push(NOT_OVER.to_string()),
        Some(end) if end.whistle == 0.0 && end.belief < WEAK_END => why.push(weak_end(series).to_string()),
        Some(_) => {}
    }
    if track.bad >= UNREADABLE {
        why.push("much of the picture could not be followed".to_string());
    }
    (!why.is_empty()).then(|| why.join("; "))
}

/// When the offense stands: the last stillness before the snap, from its begin; `None` if it is not still long enough.
fn set(track: &Track, snap: f64) -> Option<f64> {
    let at = track.at(snap).floor().max(0.0) as usize;
    let still = percentile(&track.e, 0.2).max(SET_LEVEL);
    let mut begin = at.min(track.len());
    // The ramp's foot itself may be over the level.
    let foot = (0.4 * HZ) as usize;
    while begin > 0 && (track.e[begin - 1] <= still || at - begin < foot) {
        begin -= 1;
    }
    let lasted = (at - begin) as f64 / HZ;
    (lasted >= SET_LEAST).then(|| track.time(begin as f64).max(track.from))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Rate;
    use crate::film::{Sample, Whistle, scripted};

    /// One shot of a typed film: seconds, and the level of motion at each second (linear between).
    struct Typed {
        seconds: f64,
        motion: Vec<(f64, f64)>,
        field: f32,
        pan: f32,
    }

    fn typed(shots: &[Typed]) -> (Series, Film) {
        let total: f64 = shots.iter().map(|s| s.seconds).sum();
        let film = Film {
            parts: vec![scripted::part("a.mp4", (total * 30.0).round() as u64, Rate { num: 30, den: 1 })],
            problems: vec![],
        };
        let mut series = Series { version: 1, sound: true, ..Series::default() };
        let mut from = 0.0;
        for shot in shots {
            if from > 0.0 {
                series.cuts.push((from * 30.0_f64).round() as u64);
            }
            let mut k = (from * 15.0_f64).round() as u64;
            while (k as f64) < (from + shot.seconds) * 15.0 - 0.5 {
                let t = k as f64 / 15.0 - from;
                let level = level(&shot.motion, t);
                // A fixed ripple, as measured motion is never smooth.
                let ripple = 1.0 + 0.2 * (k as f64 * 1.7).sin();
                series.samples.push(Sample {
                    frame: 2 * k,
                    time: k as f64 / 15.0,
                    energy: (0.2 * level * ripple) as f32,
                    clear: (0.2 * level * ripple) as f32,
                    robust: (0.01 * level * ripple) as f32,
                    pan: if level > 0.3 { shot.pan } else { 0.0 },
                    pan_x: 0.0,
                    sigma: 1.0,
                    bad: false,
                    field: shot.field,
                    ..Sample::default()
                });
                k += 1;
            }
            from += shot.seconds;
        }
        (series, film)
    }

    fn level(points: &[(f64, f64)], t: f64) -> f64 {
        let next = points.partition_point(|p| p.0 <= t);
        match (next.checked_sub(1).map(|k| points[k]), points.get(next)) {
            (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (t - a.0) / (b.0 - a.0),
            (Some(a), None) => a.1,
            (None, Some(b)) => b.1,
            (None, None) => 0.0,
        }
    }

    /// Huddle breaks at 1 s, set at 3.5, snap at `snap`, run-out after `end`.
    fn a_play(snap: f64, end: f64, seconds: f64) -> Typed {
        let motion = vec![
            (0.0, 0.1),
            (1.0, 0.35),
            (3.0, 0.35),
            (3.5, 0.04),
            (snap, 0.04),
            (snap + 0.8, 0.8),
            (snap + 2.0, 1.0),
            (end, 0.8),
            (end + 1.0, 0.3),
            (seconds, 0.15),
        ];
        Typed { seconds, motion, field: 0.8, pan: 0.08 }
    }

    fn idle(seconds: f64, field: f32) -> Typed {
        Typed { seconds, motion: vec![(0.0, 0.05), (seconds, 0.06)], field, pan: 0.0 }
    }

    #[test]
    fn plays_are_found_with_snap_and_end_and_the_rest_is_named() {
        let (mut series, film) =
            typed(&[a_play(6.0, 11.0, 13.0), idle(2.5, 0.0), a_play(7.0, 13.0, 15.0), idle(3.0, 0.7)]);
        series.whistles = vec![
            Whistle { time: 11.3, length: 0.4, score: 6.0, confidence: 1.0 },
            Whistle { time: 15.5 + 13.2, length: 0.4, score: 6.0, confidence: 1.0 },
        ];
        let found = find(&series, &film, Angle::Sideline, &Settings::default());
        let kinds: Vec<ShotKind> = found.shots.iter().map(|s| s.kind).collect();
        assert_eq!(kinds, [ShotKind::Play, ShotKind::Scoreboard, ShotKind::Play, ShotKind::Other]);
        assert_eq!(found.shots[1].span, FrameSpan::of(390, 465));
        for (play, (snap, end)) in found.plays.iter().zip([(6.0, 11.1), (22.5, 28.5)]) {
            let (s, w) = (play.snap.unwrap(), play.whistle.unwrap());
            assert!((s.time - snap).abs() < 0.2, "snap {} for {snap}", s.time);
            assert!((w.time - end).abs() < 0.3, "end {} for {end}", w.time);
            assert_eq!(play.by, Evidence::PictureAndSound);
            assert!(play.set.is_some_and(|f| f < s.frame), "{play:?}");
        }
    }

    #[test]
    fn a_shot_that_may_be_a_play_stays_one_and_says_so() {
        // Ten seconds with hardly any motion: perhaps a play on far turf.
        let (series, film) = typed(&[a_play(6.0, 11.0, 13.0), idle(10.0, 0.7), a_play(6.0, 11.0, 13.0)]);
        let found = find(&series, &film, Angle::Unknown, &Settings::default());
        assert_eq!(found.shots[1].kind, ShotKind::Play);
        assert_eq!((found.plays[1].snap, found.plays[1].by), (None, Evidence::Nothing));
        assert!(
            found.plays[1].doubt.as_deref().is_some_and(|d| d.contains("no snap was found")),
            "{:?}",
            found.plays[1]
        );
    }

    #[test]
    fn a_film_without_samples_or_cuts_is_one_shot_and_a_film_without_frames_none() {
        let film = Film { parts: vec![scripted::part("a.mp4", 300, Rate { num: 30, den: 1 })], problems: vec![] };
        let found = find(&Series::default(), &film, Angle::Unknown, &Settings::default());
        assert_eq!(found.shots.len(), 1);
        assert_eq!(found.plays.len(), 1);
        assert!(found.plays[0].doubt.is_some());
        assert_eq!(find(&Series::default(), &Film::default(), Angle::Unknown, &Settings::default()), Found::default());
    }
}
