//! The plan of one clip.

use std::fmt;

use crate::base::{FrameNo, FrameSpan};
use crate::film::{ClipPlan, EntryPoints, Film, Piece, SoundPlan};

/// The most that is hidden before a clip's first frame, seconds: a player without edit lists shows it.
pub const HIDDEN: f64 = 2.0;

/// Plans the clip of `span`. `points` and `sounds` are those of every part of the film, in order.
///
/// A stretch can be copied from an entry (where decoding begins clean) up to an exit (where nothing decoded before is
/// shown after). What lies before the first entry and after the last exit is encoded anew; all of it is, where packets
/// must not be copied, where the span runs over a border of parts, or where no entry lies in it.
///
/// Where frames encoded anew cannot be joined to copied ones, a clip that does not begin at an entry is copied from the one
/// before it, in the same shot (which begins at `floor`) and at most [`HIDDEN`] seconds away; what lies between is hidden.
pub fn plan(film: &Film, span: FrameSpan, floor: FrameNo, points: &[EntryPoints], sounds: &[SoundPlan]) -> ClipPlan {
    let parts = film.parts_of(span);
    let first = *parts.start();
    let whole = |why: String| {
        let sound = match sounds.get(first) {
            // One track cannot join packets of two files without a seam that is heard.
            Some(SoundPlan::Copy) if parts.start() != parts.end() => {
                SoundPlan::Encode("the play runs over two files".into())
            }
            // A film may be silent in one part and not in another: what is heard is encoded.
            Some(SoundPlan::None) | None
                if parts.clone().any(|k| !matches!(sounds.get(k), Some(SoundPlan::None) | None)) =>
            {
                SoundPlan::Encode("the play runs over two files".into())
            }
            Some(plan) => plan.clone(),
            None => SoundPlan::None,
        };
        ClipPlan { span, hidden: 0, pieces: vec![Piece::Encode(span, why)], sound }
    };
    if parts.start() != parts.end() {
        return whole("the play runs over two files".into());
    }
    let Some(points) = points.get(first) else { return whole("nothing is known of its packets".into()) };
    if let Some(why) = &points.encode_because {
        return whole(why.clone());
    }
    let sound = sounds.get(first).cloned().unwrap_or(SoundPlan::None);
    if !points.smart && points.entries.binary_search(&span.start).is_err() {
        let near = |e: &FrameNo| *e >= floor && film.time(span.start) - film.time(*e) <= HIDDEN;
        let before = points.entries.iter().rev().find(|e| **e < span.start && film.place(**e).part == first);
        let Some(entry) = before.filter(|e| near(e)) else {
            return whole("it does not begin at a key frame, and none is near before it in its shot".into());
        };
        if !points.exits.contains(&span.end) {
            return whole("its last frames lean on later ones".into());
        }
        return ClipPlan { span, hidden: span.start.0 - entry.0, pieces: vec![Piece::Copy(span)], sound };
    }
    let Some(&entry) = points.entries.iter().find(|e| **e >= span.start && **e < span.end) else {
        return whole("no key frame to copy from lies in it".into());
    };
    let Some(&exit) = points.exits.iter().rev().find(|e| **e > entry && **e <= span.end) else {
        return whole("nothing can be copied after its key frame".into());
    };
    if exit < span.end && !points.smart {
        return whole("its last frames lean on later ones".into());
    }
    let mut pieces = Vec::new();
    if entry > span.start {
        pieces.push(Piece::Encode(FrameSpan { start: span.start, end: entry }, "up to the next key frame".into()));
    }
    pieces.push(Piece::Copy(FrameSpan { start: entry, end: exit }));
    if exit < span.end {
        pieces.push(Piece::Encode(FrameSpan { start: exit, end: span.end }, "these frames lean on later ones".into()));
    }
    ClipPlan { span, hidden: 0, pieces, sound }
}

/// How many frames of a plan are copied; all others are encoded anew.
pub fn copied(plan: &ClipPlan) -> u64 {
    let of = |piece: &Piece| if let Piece::Copy(span) = piece { span.len() } else { 0 };
    plan.pieces.iter().map(of).sum()
}

/// A plan as a person reads it.
pub struct Shown<'a>(pub &'a ClipPlan);

impl fmt::Display for Shown<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let last = |end: FrameNo| end.0.saturating_sub(1);
        for (i, piece) in self.0.pieces.iter().enumerate() {
            if i > 0 {
                f.write_str(", ")?;
            }
            match piece {
                Piece::Copy(span) => write!(f, "copy {}-{}", span.start, last(span.end))?,
                Piece::Encode(span, why) => write!(f, "encode {}-{} ({why})", span.start, last(span.end))?,
            }
        }
        if self.0.hidden > 0 {
            write!(f, " ({} before them hidden)", self.0.hidden)?;
        }
        match &self.0.sound {
            SoundPlan::None => f.write_str("; no sound"),
            SoundPlan::Copy => f.write_str("; sound copied"),
            SoundPlan::Encode(why) => write!(f, "; sound encoded ({why})"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Rate;
    use crate::film::scripted;

    fn film() -> Film {
        let rate = Rate { num: 30, den: 1 };
        Film { parts: vec![scripted::part("a.mp4", 100, rate), scripted::part("b.mp4", 100, rate)], problems: vec![] }
    }

    fn frames(list: &[u64]) -> Vec<FrameNo> {
        list.iter().copied().map(FrameNo).collect()
    }

    fn points() -> Vec<EntryPoints> {
        // Entries each 30 frames; exits at every third, as two B-frames between references leave them.
        let of = |first: u64| EntryPoints {
            entries: frames(&[first, first + 30, first + 60, first + 90]),
            exits: (0..=100).filter(|k| k % 3 == 1 || *k == 100 || k % 30 == 0).map(|k| FrameNo(first + k)).collect(),
            encode_because: None,
            smart: true,
        };
        vec![of(0), of(100)]
    }

    fn check(start: u64, end: u64, points: &[EntryPoints], want: &str) {
        check_in_shot((start, start, end), points, want);
    }

    fn check_in_shot((floor, start, end): (u64, u64, u64), points: &[EntryPoints], want: &str) {
        let plan =
            plan(&film(), FrameSpan::of(start, end), FrameNo(floor), points, &[SoundPlan::Copy, SoundPlan::Copy]);
        assert_eq!(Shown(&plan).to_string(), want);
        // Whatever the plan, its pieces are the span, in order and without a gap.
        let mut at = start;
        for piece in &plan.pieces {
            let (Piece::Copy(span) | Piece::Encode(span, _)) = piece;
            assert_eq!(span.start.0, at);
            assert!(!span.is_empty());
            at = span.end.0;
        }
        assert_eq!(at, end);
    }

    #[test]
    fn ends_are_encoded_and_the_middle_copied() {
        let p = points();
        check(30, 61, &p, "copy 30-60; sound copied");
        check(20, 61, &p, "encode 20-29 (up to the next key frame), copy 30-60; sound copied");
        check(
            20,
            63,
            &p,
            "encode 20-29 (up to the next key frame), copy 30-60, encode 61-62 (these frames lean on later ones); sound copied",
        );
        check(100, 200, &p, "copy 100-199; sound copied");
        let all = plan(&film(), FrameSpan::of(20, 63), FrameNo(0), &p, &[SoundPlan::Copy, SoundPlan::Copy]);
        assert_eq!(copied(&all), 31);
    }

    #[test]
    fn what_cannot_be_copied_says_why() {
        let p = points();
        check(31, 50, &p, "encode 31-49 (no key frame to copy from lies in it); sound copied");
        check(
            90,
            110,
            &p,
            "encode 90-109 (the play runs over two files); sound encoded (the play runs over two files)",
        );
        let mut old = points();
        old[0].encode_because = Some("only H.264 and HEVC are copied, this is mpeg4".into());
        check(30, 60, &old, "encode 30-59 (only H.264 and HEVC are copied, this is mpeg4); sound copied");
        let mut blunt = points();
        blunt.iter_mut().for_each(|part| part.smart = false);
        let far = "(it does not begin at a key frame, and none is near before it in its shot); sound copied";
        check(20, 61, &blunt, &format!("encode 20-60 {far}"));
        check_in_shot((0, 20, 61), &blunt, "copy 20-60 (20 before them hidden); sound copied");
        check_in_shot((1, 20, 61), &blunt, &format!("encode 20-60 {far}"));
        check_in_shot((100, 120, 161), &blunt, "copy 120-160 (20 before them hidden); sound copied");
        check_in_shot((0, 20, 63), &blunt, "encode 20-62 (its last frames lean on later ones); sound copied");
        check(30, 63, &blunt, "encode 30-62 (its last frames lean on later ones); sound copied");
        check(30, 61, &blunt, "copy 30-60; sound copied");
    }
}
