//! A camera that was not stopped between two plays of cut film: its one shot shows both, and is divided between them.

use super::carry;
use super::pair::{Camera, GamePlay, Listen, PairedBy, RAN_ON, SAME};
use crate::base::FrameSpan;
use crate::film::{Evidence, Play, Sighting};

/// A camera that stops and starts again within so many seconds was restarted in mid-play; between two plays nobody is so
/// quick (practice: 25 s and more from whistle to snap, and some seconds fewer in a hurry).
pub const BACK: f64 = 6.0;

/// Seconds between two stretches of one clock, each from when to when; below 0 where they overlap.
pub fn gap(a: (f64, f64), b: (f64, f64)) -> f64 {
    let (first, second) = if a.0 <= b.0 { (a, b) } else { (b, a) };
    second.0 - first.1
}

/// Divides shots that run on through two plays of the game. A play that only one camera shows is asked for in the shots
/// that the others have of the plays before and after it.
pub fn divide(cameras: &[Camera<'_>], game: &mut [GamePlay], listen: &mut Listen<'_>) {
    let count = game.len();
    for k in 0..count {
        for beside in [k.checked_sub(1), k.checked_add(1)].into_iter().flatten().filter(|&b| b < count) {
            for taker in 0..cameras.len() {
                let missing = game[k].takes.get(taker).is_some_and(Option::is_none);
                let giver = (0..cameras.len()).find(|&g| game[k].takes.get(g).is_some_and(Option::is_some));
                let (Some(giver), true) = (giver, missing) else { continue };
                if let Some((there, here)) = divided(cameras, (giver, &game[k]), (taker, &game[beside]), listen) {
                    game[beside].takes[taker] = Some(there);
                    game[k].takes[taker] = Some(here);
                    game[k].by = PairedBy::Sound;
                    game[k].doubt = None;
                }
            }
        }
    }
}

/// The taker's shot of one play cut in two: what is left to that play, and what shows the giver's.
fn divided(
    cameras: &[Camera<'_>],
    (giver, missed): (usize, &GamePlay),
    (taker, shown): (usize, &GamePlay),
    listen: &mut Listen<'_>,
) -> Option<(Play, Play)> {
    let (from, to) = (&cameras[giver], &cameras[taker]);
    let wanted = missed.takes.get(giver)?.as_ref()?;
    let paired = shown.takes.get(giver)?.as_ref()?;
    let whole = shown.takes.get(taker)?.as_ref()?;
    let mut hear =
        |play: &Play| listen((giver, play.span), (taker, whole.span)).filter(|h| h.ratio > SAME).map(|h| h.lag);
    let (lag, lag_paired) = (hear(wanted)?, hear(paired)?);
    let start = to.film.time(whole.span.start);
    let stretch = |play: &Play, lag: f64| (start + lag, start + lag + from.film.lasts(play.span));
    let (own, other) = (stretch(wanted, lag), stretch(paired, lag_paired));
    if gap(own, other) < BACK {
        return None;
    }
    let middle = if own.0 < other.0 { (own.1 + other.0) / 2.0 } else { (other.1 + own.0) / 2.0 };
    let cut = to.film.frame_at(middle.max(0.0));
    if cut <= whole.span.start || cut >= whole.span.end {
        return None;
    }
    let before = FrameSpan { start: whole.span.start, end: cut };
    let after = FrameSpan { start: cut, end: whole.span.end };
    let (mine, rest) = if own.0 < other.0 { (before, after) } else { (after, before) };
    let part = |of: &Play, lag: f64, span: FrameSpan| {
        // Of one shot with two plays one snap was found, or something between them: the other camera's shots have each.
        let carried = |s: Sighting| carry::shifted(s, start + lag - from.film.time(of.span.start), to.film, span);
        let snap = of.snap.and_then(carried);
        let whistle = of.whistle.filter(|_| snap.is_some()).and_then(carried);
        let by = if snap.is_some() { Evidence::PictureAndSound } else { Evidence::Nothing };
        let set = whole.set.filter(|&set| span.holds(set) && snap.is_some_and(|s| set < s.frame));
        let doubt = of.doubt.iter().map(String::as_str).chain([RAN_ON]).collect::<Vec<_>>().join("; ");
        Play { shot: whole.shot, span, set, snap, whistle, by, doubt: Some(doubt) }
    };
    Some((part(paired, lag_paired, rest), part(wanted, lag, mine)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stretches_of_one_clock_lie_apart_or_overlap_in_either_order() {
        assert_eq!(gap((0.0, 5.0), (8.0, 10.0)), 3.0);
        assert_eq!(gap((8.0, 10.0), (0.0, 5.0)), 3.0);
        assert_eq!(gap((0.0, 5.0), (4.0, 10.0)), -1.0);
    }
}
