//! Moments that one camera sees better are carried over to the other by the lag of their sound, or of what moves in both.

use super::find;
use super::pair::Camera;
use super::take;
use crate::base::{FrameNo, FrameSpan};
use crate::film::{Angle, Evidence, Film, Play, Sighting};

/// The sideline sees all 22 men: of two snaps about as sure, its is taken. (Measured on made films: end-zone snaps alone
/// .84 to .92 within a second, carried over from the sideline 1.00.)
const SIDELINE_BONUS: f64 = 0.5;
/// What is carried over is a little less sure than it was.
const LOSS: f64 = 0.95;
/// Two cameras that see the snap within so many seconds of each other agree, and neither needs a person to look: the first
/// where the one that is taken is at least as sure as the last, else the second. (Measured on made films with a fault at
/// every snap, of which these find 7 of 10 snaps that are off by half a second, and on ordinary ones, of which they show 12
/// of 125.)
const AGREE: (f64, f64) = (0.8, 0.6);
const SURE: f64 = 0.8;
/// A moment carried this far outside the other's shot is not in its film, seconds.
const SLACK: f64 = 0.05;

/// What a lag is known by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum By {
    /// Both microphones.
    Sound,
    /// What moves in both pictures; the lag rests on the cameras' own snaps too, so that it settles no doubt of them.
    Motion {
        /// How far it is believed.
        belief: f64,
    },
}

/// Lets each of two takes of one play have the surer snap and end. `lag`: seconds from the first shot's clock (from its
/// start) to the second's.
pub fn over(a: &mut Play, of_a: &Camera<'_>, b: &mut Play, of_b: &Camera<'_>, lag: f64, by: By) {
    let (Some(clock_a), Some(clock_b)) = (Clock::of(a, of_a), Clock::of(b, of_b)) else { return };
    let sure = |s: Option<Sighting>, clock: &Clock| {
        s.map_or(-1.0, |s| s.confidence + if clock.angle == Angle::Sideline { SIDELINE_BONUS } else { 0.0 })
    };
    let a_gives = sure(a.snap, &clock_a) >= sure(b.snap, &clock_b);
    if let (Some(x), Some(y), By::Sound) = (a.snap, b.snap, by) {
        let apart = ((y.time - clock_b.from) - (x.time - clock_a.from + lag)).abs();
        let taken = if a_gives { x } else { y };
        let agree = apart <= if taken.confidence >= SURE { AGREE.0 } else { AGREE.1 };
        for play in [&mut *a, &mut *b] {
            if agree {
                play.doubt = find::settled(play.doubt.take());
            } else {
                let why = format!("the two cameras show the snap {apart:.1} s apart");
                play.doubt = Some(match play.doubt.take() {
                    None => why,
                    Some(doubt) if doubt.contains(&why) => doubt,
                    Some(doubt) => format!("{doubt}; {why}"),
                });
            }
        }
    }
    if a_gives {
        give(a, &clock_a, b, &clock_b, of_b, lag, by);
    } else {
        give(b, &clock_b, a, &clock_a, of_a, -lag, by);
    }
}

/// When a play's film begins and ends in its film's time.
struct Clock {
    from: f64,
    to: f64,
    angle: Angle,
    /// The take that runs on, of which this is a piece.
    take: Option<FrameSpan>,
}

impl Clock {
    fn of(play: &Play, camera: &Camera<'_>) -> Option<Self> {
        let shot = camera.found.shots.get(play.shot)?;
        Some(Self {
            from: camera.film.time(play.span.start),
            to: camera.film.time(play.span.end),
            angle: shot.angle,
            take: Some(shot.span).filter(|take| *take != play.span && take::runs_on(*take, camera.film)),
        })
    }

    /// Film times between which this camera ran.
    fn reach(&self, film: &Film) -> (f64, f64) {
        self.take.map_or((self.from, self.to), |take| (film.time(take.start), film.time(take.end)))
    }
}

fn give(giver: &Play, from: &Clock, taker: &mut Play, to: &Clock, camera: &Camera<'_>, lag: f64, by: By) {
    let Some(snap) = giver.snap else { return };
    let loss = match by {
        By::Sound => LOSS,
        By::Motion { belief } => LOSS * belief,
    };
    let (first, last) = to.reach(camera.film);
    let carried = |s: Sighting| {
        let time = s.time - from.from + lag + to.from;
        (time > first - SLACK && time < last + SLACK).then(|| {
            let time = time.clamp(first, last);
            let frame = camera.film.nearest(time);
            Sighting { frame, time, confidence: s.confidence * loss }
        })
    };
    match carried(snap) {
        Some(there) => {
            taker.snap = Some(there);
            taker.set = taker.set.filter(|set| *set < there.frame);
            if let (Some(take), By::Sound) = (to.take, by) {
                let begin = to.from + lag;
                let other = camera.film.between(begin, begin + from.to - from.from, take);
                taker.span = piece(taker.span, other, there.frame);
            }
            if by == By::Sound {
                taker.by = Evidence::PictureAndSound;
                taker.doubt = giver.doubt.clone();
            } else if taker.by == Evidence::Nothing {
                taker.by = Evidence::Picture;
            }
        }
        // What moves may put the snap outside by mistake: then each keeps its own.
        None if by != By::Sound => return,
        None => {
            taker.snap = None;
            taker.set = None;
            taker.doubt = Some("this camera's shot does not hold the snap that the other camera saw".into());
        }
    }
    // Ends are as well seen from either side: the surer one counts.
    let better = giver.whistle.filter(|g| taker.whistle.is_none_or(|t| g.confidence >= t.confidence));
    if let Some(there) = better.and_then(carried) {
        taker.whistle = Some(there);
    }
}

/// A moment `by` seconds later, in another camera's film, if that stretch of it holds it.
pub(super) fn shifted(moment: Sighting, by: f64, film: &Film, span: FrameSpan) -> Option<Sighting> {
    let time = moment.time + by;
    let frame = film.nearest(time);
    span.holds(frame).then_some(Sighting { frame, time, confidence: moment.confidence * LOSS })
}

/// A play's piece of a take that runs on: what the other camera's film of the play says, and what this one had found, if
/// that holds the snap too.
fn piece(own: FrameSpan, other: FrameSpan, snap: FrameNo) -> FrameSpan {
    match own.holds(snap) {
        true => FrameSpan { start: own.start.min(other.start), end: own.end.max(other.end) },
        false => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Rate;
    use crate::film::{Shot, ShotKind, scripted};
    use crate::plays::Found;

    fn take(angle: Angle, from: u64, to: u64, snap: f64, confidence: f64) -> (Film, Found) {
        let film = Film { parts: vec![scripted::part("a.mp4", 900, Rate { num: 30, den: 1 })], problems: vec![] };
        let at = |time: f64| Some(Sighting { frame: film.frame_at(time), time, confidence });
        let play = Play {
            shot: 0,
            span: FrameSpan::of(from, to),
            set: None,
            snap: at(snap),
            whistle: at(snap + 5.0),
            by: Evidence::Picture,
            doubt: (confidence < 0.5).then(|| "the snap is hard to see".to_string()),
        };
        let shot = Shot { span: FrameSpan::of(from, to), kind: ShotKind::Play, angle };
        (film, Found { shots: vec![shot], plays: vec![play], tail: None })
    }

    #[test]
    fn the_end_zone_takes_the_sidelines_snap_by_the_lag_of_the_sound() {
        let (fa, a) = take(Angle::Sideline, 0, 450, 6.0, 0.9);
        // The end-zone camera started 1.2 s later and took a walk for the snap.
        let (fb, b) = take(Angle::EndZone, 300, 720, 18.0, 0.3);
        let (mut x, mut y) = (a.plays[0].clone(), b.plays[0].clone());
        over(&mut x, &Camera { film: &fa, found: &a }, &mut y, &Camera { film: &fb, found: &b }, -1.2, By::Sound);
        assert!((y.snap.unwrap().time - 14.8).abs() < 1e-9 && y.snap.unwrap().frame == FrameNo(444), "{y:?}");
        assert!((y.whistle.unwrap().time - 19.8).abs() < 1e-9, "{y:?}");
        assert_eq!(x.snap, a.plays[0].snap);
        for take in [x, y] {
            assert_eq!(take.doubt.as_deref(), Some("the two cameras show the snap 3.2 s apart"));
        }
    }

    #[test]
    fn the_less_sure_the_snap_that_is_taken_the_nearer_the_other_must_be() {
        for (confidence, agree) in [(0.9, true), (0.7, false)] {
            let (fa, a) = take(Angle::Sideline, 0, 450, 6.0, confidence);
            let (fb, b) = take(Angle::EndZone, 300, 720, 15.5, 0.9);
            let (mut x, mut y) = (a.plays[0].clone(), b.plays[0].clone());
            over(&mut x, &Camera { film: &fa, found: &a }, &mut y, &Camera { film: &fb, found: &b }, -1.2, By::Sound);
            assert_eq!([&x, &y].map(|p| p.doubt.is_none()), [agree; 2], "{x:?} {y:?}");
        }
    }

    #[test]
    fn two_cameras_that_agree_settle_each_others_doubt_of_the_snap() {
        let (fa, a) = take(Angle::Sideline, 0, 450, 6.0, 0.4);
        let (fb, b) = take(Angle::EndZone, 300, 720, 15.1, 0.3);
        let (mut x, mut y) = (a.plays[0].clone(), b.plays[0].clone());
        x.doubt = Some("the snap is hard to see; no whistle was heard and the end is hard to see".into());
        over(&mut x, &Camera { film: &fa, found: &a }, &mut y, &Camera { film: &fb, found: &b }, -1.2, By::Sound);
        assert_eq!(x.doubt.as_deref(), Some("no whistle was heard and the end is hard to see"));
        assert_eq!(y.doubt, x.doubt);
    }

    #[test]
    fn what_moves_carries_the_snap_but_settles_no_doubt() {
        let (fa, a) = take(Angle::Sideline, 0, 450, 6.0, 0.9);
        let (fb, b) = take(Angle::EndZone, 300, 720, 14.7, 0.3);
        let (mut x, mut y) = (a.plays[0].clone(), b.plays[0].clone());
        let (of_a, of_b) = (Camera { film: &fa, found: &a }, Camera { film: &fb, found: &b });
        over(&mut x, &of_a, &mut y, &of_b, -1.2, By::Motion { belief: 0.8 });
        let snap = y.snap.unwrap();
        assert!((snap.time - 14.8).abs() < 1e-9 && snap.confidence < 0.9 * 0.8, "{y:?}");
        assert_eq!((y.doubt.clone(), y.by), (b.plays[0].doubt.clone(), Evidence::Picture));
        // A lag that puts the snap outside the shot is not taken at its word.
        let (mut x, mut y) = (a.plays[0].clone(), b.plays[0].clone());
        over(&mut x, &of_a, &mut y, &of_b, -7.0, By::Motion { belief: 0.8 });
        assert_eq!((x, y), (a.plays[0].clone(), b.plays[0].clone()));
    }

    #[test]
    fn a_camera_that_started_late_has_no_snap() {
        let (fa, a) = take(Angle::Sideline, 0, 450, 6.0, 0.9);
        let (fb, b) = take(Angle::EndZone, 300, 500, 12.0, 0.8);
        let (mut x, mut y) = (a.plays[0].clone(), b.plays[0].clone());
        over(&mut x, &Camera { film: &fa, found: &a }, &mut y, &Camera { film: &fb, found: &b }, -7.0, By::Sound);
        assert_eq!(y.snap, None);
        assert!(y.doubt.is_some_and(|d| d.contains("does not hold the snap")));
    }
}
