//! What a reel will be, before anything is rendered.

use std::fmt;

use super::Canvas;
use super::teaching::Teaching;
use super::voice::Narration;
use crate::base::FrameSpan;
use crate::paint::{CardText, StripText};

/// Pictures of a segment: a stretch of one source.
#[derive(Debug, Clone, PartialEq)]
pub struct View {
    /// What the renderer's caller opens it by: a clip's path in the library, or a film's.
    pub source: String,
    /// Fingerprint of the source's content.
    pub content: String,
    /// The frames of the source that are shown.
    pub span: FrameSpan,
    /// The moment at which the views of a segment are set side by side (the snap), seconds of the source.
    pub anchor: Option<f64>,
}

/// How the views of a segment lie on the canvas.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Layout {
    /// One fills it.
    #[default]
    Single,
    /// Two halves side by side.
    Beside,
    /// The second in an upper corner of the first.
    Inset,
    /// Three or four, each in a quarter.
    Quarters,
}

/// What stands in the place of the camera's name in a card's segment.
pub const CARD: &str = "card";

/// One play, as it will be seen.
#[derive(Debug, Clone, PartialEq)]
pub struct Segment {
    /// The game's name.
    pub game: String,
    /// The play's label.
    pub label: String,
    /// The camera's name.
    pub angle: String,
    /// What is seen; the first view tells the length and is heard.
    pub views: Vec<View>,
    /// Where the views lie.
    pub layout: Layout,
    /// What is burned in; `None` for a clean picture.
    pub strip: Option<StripText>,
    /// How long the strip stands, seconds from the segment's beginning; `None`: to its end.
    pub strip_for: Option<f64>,
    /// A card instead of film: it has no views then.
    pub card: Option<CardText>,
    /// What a teaching reel adds; its first view's span is then what its pace runs over.
    pub teaching: Option<Box<Teaching>>,
    /// Its chapter's title.
    pub title: String,
}

impl Segment {
    /// A card, before a play or before nothing that has a name.
    pub fn of_card((game, label): (&str, &str), title: impl Into<String>, card: CardText) -> Self {
        Self {
            game: game.to_string(),
            label: label.to_string(),
            angle: CARD.into(),
            views: Vec::new(),
            layout: Layout::Single,
            strip: None,
            strip_for: None,
            card: Some(card),
            teaching: None,
            title: title.into(),
        }
    }

    /// Its source, as errors name it.
    pub fn source(&self) -> &str {
        self.views.first().map_or("", |view| &view.source)
    }
}

/// One reel: a canvas and segments in order. Prints itself.
#[derive(Debug, Clone, PartialEq)]
pub struct ReelPlan {
    /// Title in the file.
    pub title: String,
    /// Size and rate of all its pictures.
    pub canvas: Canvas,
    /// Segments in the order seen.
    pub segments: Vec<Segment>,
    /// Whether the sound is left out.
    pub mute: bool,
    /// What is spoken over it.
    pub voice: Vec<Narration>,
}

/// A chapter's title from what is known of a play: `3 and 2, play 47, sideline`.
pub fn chapter_title(text: &StripText, label: &str, angle: &str) -> String {
    let down = match (&text.down, &text.distance, &text.word) {
        (Some(down), Some(distance), _) => Some(format!("{down} {distance}")),
        (Some(down), None, _) => Some(format!("down {down}")),
        (None, _, Some(word)) => Some(word.clone()),
        (None, ..) => None,
    };
    let play = Some(format!("play {label}"));
    let angle = Some(angle.to_string()).filter(|a| !a.is_empty() && a != "unknown");
    [down, play, angle].into_iter().flatten().collect::<Vec<_>>().join(", ")
}

impl fmt::Display for ReelPlan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sound = if self.mute { "no sound" } else { "with sound" };
        let segments = if self.segments.len() == 1 { "segment" } else { "segments" };
        writeln!(f, "{}: {}, {sound}, {} {segments}", self.title, self.canvas, self.segments.len())?;
        for (i, s) in self.segments.iter().enumerate() {
            let views: Vec<String> =
                s.views.iter().map(|v| format!("{} frames {} to {}", v.source, v.span.start, v.span.end)).collect();
            if s.card.is_some() {
                writeln!(f, "{:>4}  card: {}", i + 1, s.title)?;
                continue;
            }
            let strip = match (&s.strip, s.strip_for) {
                (None, _) => "clean".to_string(),
                (Some(_), None) => "strip".to_string(),
                (Some(_), Some(seconds)) => format!("strip for {seconds:.1} s"),
            };
            writeln!(f, "{:>4}  {}, {}: {} ({strip})", i + 1, s.game, s.title, views.join(" with "))?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Rate;

    #[test]
    fn a_plan_prints_itself() {
        let text = StripText { down: Some("3".into()), distance: Some("and 2".into()), ..StripText::default() };
        let plan = ReelPlan {
            title: "third and short".into(),
            canvas: Canvas { width: 1280, height: 720, rate: Rate { num: 30000, den: 1001 } },
            segments: vec![Segment {
                game: "Badgers".into(),
                label: "47".into(),
                angle: "sideline".into(),
                views: vec![View {
                    source: "clips/Badgers/sideline/047.mp4".into(),
                    content: "c".into(),
                    span: FrameSpan::of(0, 245),
                    anchor: None,
                }],
                layout: Layout::Single,
                title: chapter_title(&text, "47", "sideline"),
                strip: Some(text),
                strip_for: None,
                card: None,
                teaching: None,
            }],
            mute: false,
            voice: Vec::new(),
        };
        assert_eq!(
            plan.to_string(),
            "third and short: 1280x720 at 30000/1001 frames a second, with sound, 1 segment\n   \
             1  Badgers, 3 and 2, play 47, sideline: clips/Badgers/sideline/047.mp4 frames 0 to 245 (strip)\n"
        );
    }

    #[test]
    fn chapters_say_what_is_known() {
        let text = |down: Option<&str>, word: Option<&str>| StripText {
            down: down.map(Into::into),
            word: word.map(Into::into),
            ..StripText::default()
        };
        assert_eq!(chapter_title(&text(Some("2"), None), "5", "end-zone"), "down 2, play 5, end-zone");
        assert_eq!(chapter_title(&text(None, Some("kickoff")), "1", "unknown"), "kickoff, play 1");
        assert_eq!(chapter_title(&text(None, None), "17a", ""), "play 17a");
    }
}
