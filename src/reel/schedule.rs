//! Which source frame is seen in each frame of a reel, and where its sound lies.

use super::pace::Pace;
use crate::base::{FrameNo, FrameSpan, Rate};
use crate::film::{DESK_RATE, Film};

/// Sound samples a second in every file written.
pub const SOUND_RATE: u32 = DESK_RATE;

/// Sound sample at which frame `frame` of the reel begins: round(frame * 48000 / rate), in integers, so that nothing
/// adds up over a long reel.
pub fn sample_at(frame: u64, rate: Rate) -> u64 {
    let (num, den) = (u128::from(rate.num.max(1)), u128::from(rate.den.max(1)));
    let samples = (u128::from(frame) * u128::from(SOUND_RATE) * den * 2 + num) / (2 * num);
    u64::try_from(samples).unwrap_or(u64::MAX)
}

/// A picture of a source: of a frame of interlaced film there are two.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Seen {
    /// The source frame.
    pub frame: FrameNo,
    /// Whether it is the later one of its two.
    pub second: bool,
}

/// A reel must be faster than interlaced film by this much to show both pictures of a frame. At one picture a frame the
/// first serves alone: in the middle of a frame's time, where the second begins, it would be left to rounding which of
/// them is seen.
const BOTH_FIELDS: f64 = 1.1;

/// A segment's frames in the reel's rate.
#[derive(Debug, Clone, PartialEq)]
pub struct Schedule {
    /// How many frames the segment has in the reel.
    pub frames: u64,
    /// Film time at which it begins, seconds.
    pub from: f64,
    span: FrameSpan,
    rate: Rate,
    /// How the film runs where it does not simply run on.
    paced: Option<Paced>,
}

/// A pace, and how this source follows it.
#[derive(Debug, Clone, PartialEq)]
struct Paced {
    pace: Pace,
    /// The same moment in the pace's own film and in this one, seconds.
    together: (f64, f64),
    /// How fast this film runs beside the pace's.
    rate: f64,
}

impl Schedule {
    /// Lays the span of a film out at `rate`: as many frames as its length is worth, at least one. The span must not
    /// be empty and must lie in the film; see [`Schedule::within`].
    pub fn of(film: &Film, span: FrameSpan, rate: Rate) -> Self {
        let from = film.time(span.start);
        let seconds = (film.time(span.end) - from).max(0.0);
        let frames = rate.frames(seconds);
        Self { frames, from, span, rate, paced: None }
    }

    /// Film at a pace: as many frames as that lasts, at least one. `together`: the same moment in the pace's film and in
    /// this one, seconds; `beside`: how fast this film runs beside that.
    pub fn at_pace(span: FrameSpan, rate: Rate, pace: &Pace, together: (f64, f64), beside: f64) -> Self {
        let frames = rate.frames(pace.seconds());
        let paced = Paced { pace: pace.clone(), together, rate: beside };
        let mut schedule = Self { frames, from: 0.0, span, rate, paced: Some(paced) };
        schedule.from = schedule.time(0.0).0;
        schedule
    }

    /// Film time `seconds` after the segment's beginning, and how fast the film runs then.
    pub fn time(&self, seconds: f64) -> (f64, f64) {
        match &self.paced {
            None => (self.from + seconds, 1.0),
            Some(Paced { pace, together, rate }) => {
                let (time, speed) = pace.film(seconds);
                (together.1 + (time - together.0) * rate, speed * rate)
            }
        }
    }

    /// The schedule of another source that is seen beside this one: as many frames, from film time `from` on; before and
    /// after its span its first and last frame stand.
    pub fn beside(&self, from: f64, span: FrameSpan) -> Self {
        Self { from, span, ..self.clone() }
    }

    /// The frames of the film that are seen.
    pub fn span(&self) -> FrameSpan {
        self.span
    }

    /// The span as far as the film goes.
    pub fn within(film: &Film, span: FrameSpan) -> FrameSpan {
        let frames = film.frames();
        FrameSpan::of(span.start.0.min(frames), span.end.0.min(frames))
    }

    /// The source picture seen in frame `k` of the segment: the one shown at the middle of its time. At the middle,
    /// because time stamps rounded to milliseconds, or a phone's jitter of up to half a frame, then neither double nor
    /// lose a frame.
    pub fn source(&self, film: &Film, k: u64) -> Seen {
        let middle = (k as f64 + 0.5) * f64::from(self.rate.den.max(1)) / f64::from(self.rate.num.max(1));
        let last = FrameNo(self.span.end.0.saturating_sub(1).max(self.span.start.0));
        let (time, speed) = self.time(middle);
        let there = film.frame_at(time);
        let frame = there.clamp(self.span.start, last);
        let part = film.parts.get(film.place(frame).part);
        let both = part.is_some_and(|part| part.interlaced && self.rate.hz() > BOTH_FIELDS * part.rate.hz() * speed);
        let begins = film.time(frame);
        let half = (film.time(FrameNo(frame.0 + 1)) - begins) / 2.0;
        Seen { frame, second: both && there >= frame && time >= begins + half }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::TimeBase;
    use crate::film::scripted;

    fn film(parts: &[(u64, u32, u32)]) -> Film {
        let parts = parts.iter().map(|&(n, num, den)| scripted::part("a.mp4", n, Rate { num, den })).collect();
        Film { parts, problems: vec![] }
    }

    fn shown(film: &Film, span: FrameSpan, rate: Rate) -> Vec<u64> {
        let schedule = Schedule::of(film, span, rate);
        (0..schedule.frames).map(|k| schedule.source(film, k).frame.0).collect()
    }

    #[test]
    fn the_same_rate_shows_every_frame_once() {
        let rate = Rate { num: 30000, den: 1001 };
        let film = film(&[(500, 30000, 1001), (5000, 30000, 1001)]);
        let want: Vec<u64> = (321..5321).collect();
        assert_eq!(shown(&film, FrameSpan::of(321, 5321), rate), want);
    }

    #[test]
    fn millisecond_stamps_neither_double_nor_lose_a_frame() {
        let rate = Rate { num: 60000, den: 1001 };
        let mut film = film(&[(4000, 60000, 1001)]);
        film.parts[0].time_base = TimeBase { num: 1, den: 1000 };
        film.parts[0].index.pts = (0..4000).map(|k: i64| (k * 1_001_000 + 30_000) / 60_000).collect();
        assert_eq!(shown(&film, FrameSpan::of(7, 3900), rate), (7..3900).collect::<Vec<u64>>());
    }

    #[test]
    fn other_rates_double_or_skip_evenly_and_keep_the_length() {
        let film = film(&[(3000, 30, 1)]);
        let double = shown(&film, FrameSpan::of(10, 20), Rate { num: 60, den: 1 });
        assert_eq!(double, (20..40).map(|k| k / 2).collect::<Vec<u64>>());
        let half = shown(&film, FrameSpan::of(0, 300), Rate { num: 25, den: 1 });
        assert_eq!(half.len(), 250);
        assert!(half.windows(2).all(|w| (1..=2).contains(&(w[1] - w[0]))));
        // One frame in a thousand is doubled between 30 and 30000/1001; none is invented at the end.
        let near = shown(&film, FrameSpan::of(0, 3000), Rate { num: 30000, den: 1001 });
        assert_eq!(near.len(), 2997);
        assert_eq!(*near.last().unwrap(), 2999);
    }

    #[test]
    fn interlaced_film_shows_each_field_once_at_its_own_rate() {
        let mut film = film(&[(300, 30000, 1001), (300, 30000, 1001)]);
        film.parts.iter_mut().for_each(|part| part.interlaced = true);
        let seen = |film: &Film, rate| {
            let schedule = Schedule::of(film, FrameSpan::of(280, 320), rate);
            (0..schedule.frames).map(|k| schedule.source(film, k)).map(|s| (s.frame.0, s.second)).collect::<Vec<_>>()
        };
        let fields: Vec<(u64, bool)> = (280..320).flat_map(|n| [(n, false), (n, true)]).collect();
        assert_eq!(seen(&film, Rate { num: 60000, den: 1001 }), fields);
        // At one picture a frame it is always the first, also where the stamps are rounded.
        let firsts: Vec<(u64, bool)> = (280..320).map(|n| (n, false)).collect();
        assert_eq!(seen(&film, Rate { num: 30000, den: 1001 }), firsts);
        for part in &mut film.parts {
            part.time_base = TimeBase { num: 1, den: 1000 };
            part.index.pts = (0..300).map(|k: i64| (k * 1_001_000 + 15_000) / 30_000).collect();
        }
        assert_eq!(seen(&film, Rate { num: 60000, den: 1001 }), fields);
        assert_eq!(seen(&film, Rate { num: 30000, den: 1001 }), firsts);
        // Where the span has ended its last picture stands: the second one.
        let schedule = Schedule::of(&film, FrameSpan::of(0, 4), Rate { num: 60000, den: 1001 });
        assert_eq!(schedule.source(&film, 9), Seen { frame: FrameNo(3), second: true });
    }

    #[test]
    fn sound_samples_follow_the_frames_without_drift() {
        let ntsc = Rate { num: 30000, den: 1001 };
        assert_eq!(sample_at(0, ntsc), 0);
        assert_eq!(sample_at(1, ntsc), 1602, "1601.6");
        assert_eq!(sample_at(2, ntsc), 3203, "3203.2");
        // Ten hours: 1,078,921 frames and a bit; by hand 1,080,000 * 1001/30000 s * 48000.
        assert_eq!(sample_at(1_080_000, ntsc), 1_729_728_000);
        assert_eq!(sample_at(25, Rate { num: 25, den: 1 }), 48_000);
    }

    #[test]
    fn a_span_past_the_end_ends_with_the_film() {
        let film = film(&[(100, 30, 1)]);
        assert_eq!(Schedule::within(&film, FrameSpan::of(90, 140)), FrameSpan::of(90, 100));
        assert!(Schedule::within(&film, FrameSpan::of(120, 140)).is_empty());
    }
}
