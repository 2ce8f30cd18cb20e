//! What a play's clip is.

use super::settings::Settings;
use crate::base::{FrameNo, FrameSpan};
use crate::film::{Film, Play};

/// Both ends are sure from this confidence on; a clip that loses film must be nearly certain.
const SURE: f64 = 0.9;
/// Never trimmed closer than this, whatever the settings: seconds before the snap and after the whistle.
const LEAST: (f64, f64) = (2.0, 0.5);
/// The whistle is taken as later by this much, since the end that was found may be early; seconds.
const LATE: f64 = 0.5;

/// The frames of a play's clip: all of the play's span, unless trimming is asked for and both ends are sure. Err
/// long: never beyond the span, never short of the play.
pub fn clip_span(play: &Play, film: &Film, settings: &Settings) -> FrameSpan {
    let (true, None, Some(snap), Some(whistle)) = (settings.trim, &play.doubt, play.snap, play.whistle) else {
        return play.span;
    };
    if snap.confidence < SURE || whistle.confidence < SURE {
        return play.span;
    }
    let from = film.frame_at((snap.time - settings.lead_in.max(LEAST.0)).max(0.0));
    let to = film.frame_at(whistle.time + LATE + settings.tail.max(LEAST.1));
    FrameSpan {
        start: from.clamp(play.span.start, play.span.end),
        end: FrameNo(to.0 + 1).clamp(play.span.start, play.span.end),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Rate;
    use crate::film::{Evidence, Sighting, scripted};

    fn case(trim: bool, snap: f64, end: f64, confidence: f64, doubt: Option<&str>) -> FrameSpan {
        let film = Film { parts: vec![scripted::part("a.mp4", 900, Rate { num: 30, den: 1 })], problems: vec![] };
        let at = |time: f64| Some(Sighting { frame: film.frame_at(time), time, confidence });
        let play = Play {
            shot: 0,
            span: FrameSpan::of(150, 750),
            set: None,
            snap: at(snap),
            whistle: at(end),
            by: Evidence::PictureAndSound,
            doubt: doubt.map(str::to_string),
        };
        clip_span(&play, &film, &Settings { trim, ..Settings::default() })
    }

    #[test]
    fn the_clip_is_the_whole_shot_unless_trimming_is_asked_for_and_both_ends_are_sure() {
        let whole = FrameSpan::of(150, 750);
        assert_eq!(case(false, 12.0, 18.0, 1.0, None), whole);
        assert_eq!(case(true, 12.0, 18.0, 0.7, None), whole);
        assert_eq!(case(true, 12.0, 18.0, 1.0, Some("the snap is hard to see")), whole);
        assert_eq!(case(true, 12.0, 18.0, 1.0, None), FrameSpan::of(240, 601));
        // Never into the neighbor shot.
        assert_eq!(case(true, 6.0, 24.5, 1.0, None), whole);
    }
}
