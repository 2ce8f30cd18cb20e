//! What a reel shows and when, as its sidecars tell it.

use crate::base::{FrameNo, FrameSpan, Rate};
use crate::paint::StripText;

/// A finished reel in words.
#[derive(Debug, Clone, PartialEq)]
pub struct Listing {
    /// The reel's title.
    pub title: String,
    /// The reel's file name, without a folder.
    pub reel: String,
    /// Frames a second of the reel.
    pub rate: Rate,
    /// What it shows, in order; no two overlap.
    pub entries: Vec<Entry>,
}

/// One stretch of a reel.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Entry {
    /// The game's name.
    pub game: String,
    /// The play's label.
    pub label: String,
    /// The camera's name.
    pub angle: String,
    /// Its chapter's title.
    pub title: String,
    /// The situation.
    pub text: StripText,
    /// Its frames in the reel.
    pub frames: FrameSpan,
    /// What it was taken from; `None` for what is drawn, such as a card.
    pub source: Option<Source>,
    /// The frame of the reel at which the ball is snapped, where that is known and seen.
    pub snap: Option<FrameNo>,
}

/// Where a stretch was taken from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// The clip's path in the library, or the name alone of a film that lies elsewhere: folders of a machine are
    /// nobody's affair.
    pub file: String,
    /// The source's first frame that is seen.
    pub start: u64,
    /// Its frames a second.
    pub rate: Rate,
}

impl Listing {
    /// Seconds in the reel at which a frame begins.
    pub fn seconds(&self, frame: FrameNo) -> f64 {
        frame.0 as f64 / self.rate.hz()
    }

    /// The reel's frames: to the end of the last entry.
    pub fn frames(&self) -> u64 {
        self.entries.iter().map(|e| e.frames.end.0).max().unwrap_or(0)
    }

    /// `00:01:07.133`: to the nearest millisecond, in integers.
    pub fn clock(&self, frame: FrameNo) -> String {
        let (num, den) = (u128::from(self.rate.num.max(1)), u128::from(self.rate.den.max(1)));
        let ms = (u128::from(frame.0) * 2000 * den + num) / (2 * num);
        let (seconds, ms) = (ms / 1000, ms % 1000);
        format!("{:02}:{:02}:{:02}.{ms:03}", seconds / 3600, seconds / 60 % 60, seconds % 60)
    }
}

impl Entry {
    /// The situation in two lines: `3 and 2 · opp 34 · trips right · one-high` and `Herons at Badgers · Q2 4:31 · play
    /// 47 · sideline`. What is not known is left out; the first may be empty.
    pub fn lines(&self) -> [String; 2] {
        let text = &self.text;
        let down = [&text.down, &text.distance].into_iter().flatten().cloned().collect::<Vec<_>>().join(" ");
        let down = Some(down).filter(|d| !d.is_empty()).or_else(|| text.word.clone());
        let first = down.into_iter().chain(text.ball_on.clone()).chain(text.tags.clone());
        let game = text.game.clone().or_else(|| Some(self.game.clone())).filter(|g| !g.is_empty());
        let play = Some(format!("play {}", self.label)).filter(|_| !self.label.is_empty());
        let angle = Some(self.angle.clone()).filter(|a| !a.is_empty() && a != "unknown");
        let second = game.into_iter().chain(text.clock.clone()).chain(play).chain(angle);
        let joined = |parts: Vec<String>| parts.iter().map(|p| one_line(p)).collect::<Vec<_>>().join(" · ");
        [joined(first.collect()), joined(second.collect())]
    }
}

/// A text on one line: line ends and other control signs become spaces, spaces in a row one.
pub fn one_line(text: &str) -> String {
    let plain: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    plain.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// A reel of two plays and a card before the second; the last is from a film outside the library and not tagged.
    pub fn listing() -> Listing {
        let text = StripText {
            down: Some("3".into()),
            distance: Some("and 2".into()),
            ball_on: Some("opp 34".into()),
            tags: vec!["trips right".into(), "one-high".into()],
            game: Some("Herons at Badgers".into()),
            clock: Some("Q2 4:31".into()),
            play: Some("play 47".into()),
            ..StripText::default()
        };
        let rate = Rate { num: 30_000, den: 1001 };
        Listing {
            title: "third and <short> --> \"one-high\"".into(),
            reel: "third short.mp4".into(),
            rate,
            entries: vec![
                Entry {
                    game: "Badgers".into(),
                    label: "47".into(),
                    angle: "sideline".into(),
                    title: "3 and 2, play 47, sideline".into(),
                    text,
                    frames: FrameSpan::of(0, 1800),
                    source: Some(Source { file: "clips/Badgers/sideline/047.mp4".into(), start: 12, rate }),
                    snap: Some(FrameNo(60)),
                },
                Entry { title: "2 & <more>".into(), frames: FrameSpan::of(1800, 1845), ..Entry::default() },
                Entry {
                    game: "=Otters --> you".into(),
                    label: "9a".into(),
                    angle: "end-zone".into(),
                    title: "play 9a, end-zone".into(),
                    text: StripText::default(),
                    frames: FrameSpan::of(1845, 2000),
                    source: Some(Source { file: "tight, 2.mp4".into(), start: 600, rate: Rate { num: 60, den: 1 } }),
                    snap: None,
                },
            ],
        }
    }

    #[test]
    fn a_situation_is_told_in_two_lines() {
        let [first, second] = listing().entries[0].lines();
        assert_eq!(first, "3 and 2 · opp 34 · trips right · one-high");
        assert_eq!(second, "Herons at Badgers · Q2 4:31 · play 47 · sideline");
        assert_eq!(listing().entries[1].lines(), ["", ""]);
        let kick = Entry {
            text: StripText { word: Some("kickoff\r\n".into()), ..StripText::default() },
            angle: "unknown".into(),
            ..Entry::default()
        };
        assert_eq!(kick.lines(), ["kickoff", ""]);
    }

    #[test]
    fn clocks_do_not_drift() {
        let listing = listing();
        assert_eq!(listing.clock(FrameNo(1)), "00:00:00.033");
        // 107,892 frames at 30000/1001 last 3599.9964 s.
        assert_eq!(listing.clock(FrameNo(107_892)), "00:59:59.996");
        assert_eq!(listing.frames(), 2000);
    }
}
