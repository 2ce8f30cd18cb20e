//! A play that one camera shows and another's take runs through: lent to it.
//!
//! Cameras that run on keep one clock between two presses of the button, so that a play which one of them found lies, in
//! the other's film, as far from it as the plays before and after do. Sound then says where to the frame.

use super::carry;
use super::pair::{Camera, GamePlay, Listen, PairedBy, SAME};
use super::take;
use crate::base::FrameSpan;
use crate::film::{Angle, Evidence, Film, Play, Sighting};

/// Seconds by which clocks may seem to differ before and after a play, where a camera was not stopped in between:
/// moments that each camera found for itself are off by less (measured on made films).
const SAME_CLOCK: f64 = 3.0;
/// Where neither was stopped they are off by less, whatever sound seems to say.
const ONE_CLOCK: f64 = 0.5;
/// Film before the snap and after the end that is listened to and kept, seconds.
const AROUND: (f64, f64) = (8.0, 6.0);
/// A play without an end is taken to last this long: longer than nine in ten (practice).
const LASTS: f64 = 11.0;
/// A lone stretch of the other camera that lies inside the lent one by this share is the same play, or none.
const INSIDE: f64 = 0.5;

/// Lends plays to cameras that ran on and did not find them.
pub fn lend(cameras: &[Camera<'_>], game: &mut Vec<GamePlay>, listen: &mut Listen<'_>) {
    for taker in 0..cameras.len() {
        let mut lent: Vec<FrameSpan> = Vec::new();
        for k in 0..game.len() {
            if game[k].takes.get(taker).is_none_or(Option::is_some) {
                continue;
            }
            let found = (0..cameras.len()).filter(|&g| g != taker).find_map(|giver| {
                let play = game[k].takes.get(giver)?.as_ref()?;
                let at = expected(cameras, game, k, (giver, taker));
                at.into_iter().find_map(|at| taken(cameras, (giver, play), taker, at, listen))
            });
            let Some(play) = found else { continue };
            let own = |other: &GamePlay| other.takes.get(taker).and_then(Option::as_ref).map(|take| take.span);
            // What may be a play is in a clip of this camera's already.
            if play.snap.is_none() && game.iter().filter_map(own).any(|span| covers(span, play.span)) {
                continue;
            }
            lent.push(play.span);
            game[k].takes[taker] = Some(play);
            game[k].by = PairedBy::Sound;
            game[k].doubt = None;
        }
        // What the camera had found there by itself, and no other camera confirmed, is that play or none.
        game.retain(|play| {
            let alone = play.takes.iter().flatten().count() == 1;
            let own = play.takes.get(taker).and_then(Option::as_ref);
            !own.is_some_and(|own| alone && lent.iter().any(|span| covers(*span, own.span)))
        });
    }
}

fn covers(span: FrameSpan, other: FrameSpan) -> bool {
    let both = span.end.0.min(other.end.0).saturating_sub(span.start.0.max(other.start.0));
    both as f64 > INSIDE * other.len() as f64
}

/// When a play was snapped in the taker's film.
#[derive(Debug, Clone, Copy)]
struct Expected {
    time: f64,
    /// The taker's shot in which both cameras ran on from another play that sound pairs: there their clocks are known,
    /// whatever is heard now.
    known: Option<usize>,
}

/// A play's snap, or the middle of what may be one; film time.
fn moment(play: &Play, film: &Film) -> f64 {
    play.snap.map_or_else(|| 0.5 * (film.time(play.span.start) + film.time(play.span.end)), |s| s.time)
}

/// When play `k` was snapped in the taker's film, by the plays that both cameras have: the likeliest first.
fn expected(cameras: &[Camera<'_>], game: &[GamePlay], k: usize, (giver, taker): (usize, usize)) -> Vec<Expected> {
    let take = |play: &GamePlay, camera: usize| play.takes.get(camera).cloned().flatten();
    let Some(own) = take(&game[k], giver) else { return Vec::new() };
    // Of what may be a play the film itself is lent, by its middle.
    let time = moment(&own, cameras[giver].film);
    let apart = |play: &GamePlay| {
        let (there, here) = (take(play, giver)?, take(play, taker)?);
        let apart = here.snap?.time - there.snap?.time;
        (play.by == PairedBy::Sound).then_some((there.shot, here.shot, apart))
    };
    let before = game[..k].iter().rev().find_map(apart);
    let after = game[k + 1..].iter().find_map(apart);
    let mut out = Vec::new();
    // Two takes of one clock: the play lies between, before or after plays of the same two.
    let mut of_one_clock = before.iter().chain(&after).filter(|p| p.0 == own.shot).peekable();
    let agree = match (before, after) {
        (Some(a), Some(b)) if (a.0, a.1) == (b.0, b.1) => (a.2 - b.2).abs() <= ONE_CLOCK,
        _ => of_one_clock.peek().is_some(),
    };
    if agree {
        out.extend(of_one_clock.map(|p| Expected { time: time + p.2, known: Some(p.1) }));
    }
    // Stopped in between: before the play or after it.
    let apart = match (before, after) {
        (Some(a), Some(b)) if (a.2 - b.2).abs() <= SAME_CLOCK => Some(0.5 * (a.2 + b.2)),
        (a, b) => a.or(b).map(|p| p.2),
    };
    out.extend(apart.map(|apart| Expected { time: time + apart, known: None }));
    out
}

/// The giver's play in the taker's film around a time, if both hear the same there or their clocks are known.
fn taken(
    cameras: &[Camera<'_>],
    (giver, play): (usize, &Play),
    taker: usize,
    Expected { time, known }: Expected,
    listen: &mut Listen<'_>,
) -> Option<Play> {
    let (from, to) = (&cameras[giver], &cameras[taker]);
    let moment = moment(play, from.film);
    // How long before and after the moment is kept.
    let around = match (play.snap, play.whistle) {
        (None, _) => (moment - from.film.time(play.span.start), from.film.time(play.span.end) - moment),
        (_, end) => (AROUND.0, end.map_or(LASTS, |end| end.time - moment) + AROUND.1),
    };
    let at = to.film.frame_at(time.max(0.0));
    let (number, shot) = to.found.shots.iter().enumerate().find(|(_, s)| s.span.holds(at))?;
    // In film cut by shots every shot that may be a play is one already.
    if !take::runs_on(shot.span, to.film) {
        return None;
    }
    // What the sideline, which sees all the men, passed over is not there for a doubtful sight from elsewhere.
    let sideline =
        |camera: &Camera<'_>, shot: usize| camera.found.shots.get(shot).is_some_and(|s| s.angle == Angle::Sideline);
    if sideline(to, number) && !sideline(from, play.shot) && play.doubt.is_some() {
        return None;
    }
    // A clock that is known holds for its take alone, and what may be a play is lent by a known clock alone.
    if known.is_some_and(|take| take != number) || (play.snap.is_none() && known.is_none()) {
        return None;
    }
    let frame = |seconds: f64| to.film.frame_at(seconds.max(0.0)).clamp(shot.span.start, shot.span.end);
    let span = FrameSpan { start: frame(time - around.0), end: frame(time + around.1) };
    let heard = listen((giver, play.span), (taker, span)).filter(|h| h.ratio > SAME);
    let by_sound = heard.map(|h| h.lag + to.film.time(span.start) - from.film.time(play.span.start));
    let shift = match (by_sound, known) {
        (Some(shift), None) => shift,
        (Some(shift), Some(_)) if (shift - (time - moment)).abs() <= ONE_CLOCK => shift,
        (_, Some(_)) => time - moment,
        (None, None) => return None,
    };
    let carried = |s: Sighting| carry::shifted(s, shift, to.film, span);
    let snap = play.snap.and_then(carried);
    if snap.is_some() != play.snap.is_some() || span.start >= span.end {
        return None;
    }
    Some(Play {
        shot: number,
        span,
        set: None,
        snap,
        whistle: play.whistle.and_then(carried),
        by: if snap.is_some() { Evidence::PictureAndSound } else { Evidence::Nothing },
        doubt: play.doubt.clone(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::{FrameNo, Rate};
    use crate::film::{Shot, ShotKind, scripted};
    use crate::plays::{Found, Heard, pair};

    fn play(snap: f64) -> Play {
        let at = |time: f64| Some(Sighting { frame: FrameNo((time * 30.0).round() as u64), time, confidence: 0.9 });
        Play {
            shot: 0,
            span: FrameSpan::of((30.0 * (snap - 8.0)) as u64, (30.0 * (snap + 10.0)) as u64),
            set: None,
            snap: at(snap),
            whistle: at(snap + 6.0),
            by: Evidence::PictureAndSound,
            doubt: None,
        }
    }

    fn take(plays: Vec<Play>, seconds: u64) -> (Film, Found) {
        let film =
            Film { parts: vec![scripted::part("a.mp4", seconds * 30, Rate { num: 30, den: 1 })], problems: vec![] };
        let shot = Shot { span: FrameSpan::of(0, seconds * 30), kind: ShotKind::Play, angle: Angle::Unknown };
        (film, Found { shots: vec![shot], plays, tail: None })
    }

    /// The second camera's clock is 20 s behind; both hear the same where they look at the same time of the game.
    fn listen(a: (usize, FrameSpan), b: (usize, FrameSpan)) -> Option<Heard> {
        let time = |(camera, span): (usize, FrameSpan)| span.start.0 as f64 / 30.0 + 20.0 * camera as f64;
        let lag = time(a) - time(b);
        Some(Heard { ratio: if lag.abs() < 9.0 { 7.0 } else { 1.2 }, lag })
    }

    #[test]
    fn a_play_that_a_take_runs_through_is_lent_to_it_and_what_was_found_in_its_place_goes() {
        let (fa, a) = take(vec![play(40.0), play(75.0), play(110.0)], 150);
        let mut half = play(60.0);
        half.snap = None;
        half.doubt = Some("perhaps a play".into());
        let (fb, b) = take(vec![play(20.0), half, play(90.0)], 130);
        let cameras = [Camera { film: &fa, found: &a }, Camera { film: &fb, found: &b }];
        let game = pair(&cameras, &mut listen);
        assert_eq!(game.len(), 3, "{game:?}");
        let snaps: Vec<Option<f64>> =
            game.iter().map(|p| p.takes[1].as_ref().and_then(|t| t.snap).map(|s| s.time)).collect();
        for (snap, want) in snaps.iter().zip([20.0, 55.0, 90.0]) {
            assert!(snap.is_some_and(|s| (s - want).abs() < 0.1), "{snaps:?}");
        }
        assert!(game.iter().all(|p| p.takes.iter().flatten().all(|t| t.doubt.is_none())), "{game:?}");
    }

    #[test]
    fn takes_that_ran_on_keep_one_clock_whatever_is_heard_but_a_stop_ends_it() {
        let (fa, a) = take(vec![play(40.0), play(75.0), play(110.0)], 150);
        let (fb, b) = take(vec![play(20.0), play(90.0)], 130);
        let cameras = [Camera { film: &fa, found: &a }, Camera { film: &fb, found: &b }];
        let known: Vec<FrameSpan> = b.plays.iter().map(|p| p.span).collect();
        let mut deaf = |x: (usize, FrameSpan), y: (usize, FrameSpan)| {
            let there = known.contains(&y.1);
            listen(x, y).map(|h| Heard { ratio: if there { h.ratio } else { 1.1 }, lag: h.lag })
        };
        let lone = |game: &[GamePlay]| game.iter().filter(|p| p.takes[1].is_none()).count();
        let game = pair(&cameras, &mut deaf);
        let lent = game[1].takes[1].as_ref().and_then(|t| t.snap);
        assert!(lent.is_some_and(|s| (s.time - 55.0).abs() < 1e-6), "{game:?}");

        // Stopped for ten seconds in between: the play is in neither stretch by that stretch's clock.
        let (fb, mut stopped) = take(vec![play(20.0), play(80.0)], 130);
        stopped.shots = [(0, 1400), (1400, 3900)]
            .map(|(from, to)| Shot { span: FrameSpan::of(from, to), kind: ShotKind::Play, angle: Angle::Unknown })
            .to_vec();
        stopped.plays[1].shot = 1;
        let cameras = [Camera { film: &fa, found: &a }, Camera { film: &fb, found: &stopped }];
        let known: Vec<FrameSpan> = stopped.plays.iter().map(|p| p.span).collect();
        let game = pair(&cameras, &mut |x, y| {
            let late = if y.1.start.0 >= 1400 { 10.0 } else { 0.0 };
            let heard = listen(x, y).map(|h| Heard { lag: h.lag - late, ..h });
            heard.map(|h| Heard { ratio: if known.contains(&y.1) && h.lag.abs() < 9.0 { 7.0 } else { 1.1 }, ..h })
        });
        assert_eq!((game.len(), lone(&game)), (3, 1), "{game:?}");
    }

    #[test]
    fn a_doubtful_sight_from_elsewhere_is_not_lent_to_the_sideline_and_cut_film_borrows_nothing() {
        let (fa, mut a) = take(vec![play(40.0), play(110.0)], 150);
        a.shots[0].angle = Angle::Sideline;
        let (fb, mut b) = take(vec![play(20.0), play(55.0), play(90.0)], 130);
        b.plays[1].doubt = Some("the snap is hard to see".into());
        let cameras = [Camera { film: &fa, found: &a }, Camera { film: &fb, found: &b }];
        let lone = |game: &[GamePlay], c: usize| game.iter().filter(|p| p.takes[c].is_none()).count();
        let game = pair(&cameras, &mut listen);
        assert_eq!((game.len(), lone(&game, 0)), (3, 1), "{game:?}");

        let (fa, a) = take(vec![play(40.0), play(75.0), play(110.0)], 150);
        let (fb, b) = take(vec![play(20.0), play(90.0)], 130);
        let mut cut = b.clone();
        cut.shots = [0u64, 30, 60, 90, 130]
            .windows(2)
            .map(|w| Shot { span: FrameSpan::of(w[0] * 30, w[1] * 30), kind: ShotKind::Play, angle: Angle::Unknown })
            .collect();
        let cameras = [Camera { film: &fa, found: &a }, Camera { film: &fb, found: &cut }];
        let game = pair(&cameras, &mut listen);
        assert_eq!((game.len(), lone(&game, 1)), (3, 1), "{game:?}");
    }
}
