//! SMPTE time codes: the label of a frame, and the frame of a label.

use crate::base::{Error, Rate, Result};

/// How frames of one rate are labeled, by SMPTE ST 12-1.
///
/// At 30000/1001 and 60000/1001 frames a second labels are counted in drop-frame: the first 2 (4) labels of every
/// minute but each tenth are left out, so that the label keeps up with the clock on the wall. Frames are never dropped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Timecode {
    /// Labels a second.
    base: u64,
    /// Labels left out at the beginning of a minute; 0 without drop-frame.
    drop: u64,
}

impl Timecode {
    /// The labels of a rate; `None` where two digits cannot count its frames.
    pub fn of(rate: Rate) -> Option<Self> {
        let base = (u64::from(rate.num) + u64::from(rate.den) / 2) / u64::from(rate.den.max(1));
        let ntsc = u64::from(rate.num) * 1001 == base * 1000 * u64::from(rate.den);
        let drop = if ntsc && base.is_multiple_of(30) { base / 15 } else { 0 };
        (1..=100).contains(&base).then_some(Self { base, drop })
    }

    /// Whether labels are left out.
    pub fn drops(self) -> bool {
        self.drop > 0
    }

    fn frames_in_ten_minutes(self) -> u64 {
        self.base * 600 - self.drop * 9
    }

    /// Frames after which labels begin anew: those of 24 hours.
    pub fn day(self) -> u64 {
        self.frames_in_ten_minutes() * 144
    }

    /// The label of a frame: `01:00:00:00`, in drop-frame `01:00:00;00`. After 24 hours they begin anew.
    pub fn label(self, frame: u64) -> String {
        let frame = frame % self.day();
        let (tens, rest) = (frame / self.frames_in_ten_minutes(), frame % self.frames_in_ten_minutes());
        // The first minute of ten is whole, each of the nine after it lacks some labels.
        let whole = self.base * 60;
        let left_out = if rest < whole { 0 } else { self.drop * (1 + (rest - whole) / (whole - self.drop)) };
        let count = tens * self.base * 600 + rest + left_out;
        let (frames, seconds) = (count % self.base, count / self.base);
        let sign = if self.drops() { ';' } else { ':' };
        format!("{:02}:{:02}:{:02}{sign}{frames:02}", seconds / 3600, seconds / 60 % 60, seconds % 60)
    }

    /// The frame of a label.
    ///
    /// # Errors
    /// A label of another form, with a number out of range, of the other way of counting, or one that drop-frame leaves
    /// out (`00:01:00;00`).
    pub fn frame(self, label: &str) -> Result<u64> {
        let refused = |why: &str, next: &str| Err(Error::refused(format!("no time code: {why}"), label, next));
        let sign = if self.drops() { ';' } else { ':' };
        let form = format!("write it as hours:minutes:seconds{sign}frames, two digits each");
        let signs: String = label.chars().filter(|c| !c.is_ascii_digit()).collect();
        let numbers: Vec<&str> = label.split([':', ';']).collect();
        let two_digits = |n: &str| n.len() == 2 && n.bytes().all(|b| b.is_ascii_digit());
        if numbers.len() != 4 || !numbers.iter().all(|n| two_digits(n)) || !signs.starts_with("::") {
            return refused("it has another form", &form);
        }
        if !signs.ends_with(sign) {
            let why = if self.drops() { "the rate counts in drop-frame" } else { "the rate does not drop labels" };
            return refused(why, &form);
        }
        let number = |at: usize| numbers.get(at).and_then(|n| n.parse::<u64>().ok()).unwrap_or(u64::MAX);
        let (hours, minutes, seconds, frames) = (number(0), number(1), number(2), number(3));
        if hours > 23 || minutes > 59 || seconds > 59 || frames >= self.base {
            return refused("a number in it is too large", &form);
        }
        if seconds == 0 && frames < self.drop && !minutes.is_multiple_of(10) {
            let next = format!("the minute begins with frame {:02}", self.drop);
            return refused("drop-frame leaves that label out", &next);
        }
        let all_minutes = hours * 60 + minutes;
        let left_out = self.drop * (all_minutes - all_minutes / 10);
        Ok((all_minutes * 60 + seconds) * self.base + frames - left_out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A rate, and frames with their labels.
    type Known<'a> = (u32, u32, &'a [(u64, &'a str)]);

    fn at(num: u32, den: u32) -> Timecode {
        Timecode::of(Rate { num, den }).unwrap()
    }

    /// Labels by SMPTE ST 12-1, computed by its rule (2 or 4 labels a minute but each tenth) and agreed with
    /// OpenTimelineIO 0.18.1.
    #[test]
    fn labels_are_those_of_the_standard() {
        let known: &[Known] = &[
            (
                30_000,
                1001,
                &[
                    (0, "00:00:00;00"),
                    (1799, "00:00:59;29"),
                    (1800, "00:01:00;02"),
                    (17_981, "00:09:59;29"),
                    (17_982, "00:10:00;00"),
                    (107_892, "01:00:00;00"),
                    (2_589_407, "23:59:59;29"),
                ],
            ),
            (60_000, 1001, &[(3599, "00:00:59;59"), (3600, "00:01:00;04"), (215_784, "01:00:00;00")]),
            // Without drop-frame a label is plain arithmetic.
            (24_000, 1001, &[(1440, "00:01:00:00")]),
            (25, 1, &[(1500, "00:01:00:00"), (2_159_999, "23:59:59:24")]),
            (30, 1, &[(1800, "00:01:00:00")]),
            (60, 1, &[(59, "00:00:00:59")]),
        ];
        for (num, den, labels) in known {
            for (frame, label) in *labels {
                assert_eq!(at(*num, *den).label(*frame), *label, "{num}/{den} {frame}");
                assert_eq!(at(*num, *den).frame(label).unwrap(), *frame, "{num}/{den} {label}");
            }
        }
        assert_eq!(at(30_000, 1001).label(2_589_408), "00:00:00;00", "labels begin anew after a day");
    }

    #[test]
    fn labels_that_there_are_not_are_refused() {
        let drop = [
            "00:01:00;00",
            "00:01:00;01",
            "23:59:00;00",
            "00:00:00:00",
            "24:00:00;00",
            "00:60:00;00",
            "00:00:60;00",
            "00:00:00;30",
            "0:00:00;00",
            "00;00;00;00",
            "00:00:00;00 ",
            "00:00:0a;00",
            "+1:00:00;00",
            "",
        ];
        for label in drop {
            assert!(at(30_000, 1001).frame(label).is_err(), "{label}");
        }
        let four = ["00:01:00;00", "00:01:00;03", "00:00:00;60"];
        assert!(four.iter().all(|label| at(60_000, 1001).frame(label).is_err()));
        assert!(at(25, 1).frame("00:01:00;00").is_err() && at(25, 1).frame("00:01:00:25").is_err());
        let error = at(30_000, 1001).frame("00:01:00;00").unwrap_err();
        assert!(error.to_string().contains("leaves that label out") && error.next.contains("02"), "{error}");
        assert_eq!(at(30_000, 1001).frame("00:10:00;00").unwrap(), 17_982);
        assert_eq!(Timecode::of(Rate { num: 240, den: 1 }), None);
    }

    proptest! {
        #[test]
        fn a_label_leads_back_to_its_frame(
            rate in prop::sample::select(vec![(24_000, 1001), (24, 1), (25, 1), (30_000, 1001), (30, 1), (50, 1), (60_000, 1001), (60, 1)]),
            share in 0.0..1.0f64,
        ) {
            let code = at(rate.0, rate.1);
            let frame = (share * code.day() as f64) as u64;
            prop_assert_eq!(code.frame(&code.label(frame)).unwrap(), frame);
            // The next frame has the next label that is not left out.
            if frame + 1 < code.day() {
                prop_assert!(code.label(frame) < code.label(frame + 1));
            }
        }
    }
}
