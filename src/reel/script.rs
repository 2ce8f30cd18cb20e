//! A reel as a coach types it: a TOML script of steps, each some film of a play with stops, slow stretches, marks and words.
//!
//! [`Script::read`] checks all that can be checked without a library, and tells every fault at once by its line. What turns
//! out wrong later (a play that is not there, an angle that did not film it) keeps its [`Place`], so that it can be told alike.

use std::path::{Path, PathBuf};

use super::Profile;
use crate::base::{Error, Result, count, shown};
use crate::paint::Design;
pub use crate::paint::{Head, MarkColor, MarkKind};

mod kinds;
mod marks;
mod moment;
mod reader;
mod steps;
mod syntax;
mod table;
mod windows;

/// A place in the script.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// From 1.
    pub line: usize,
    /// In characters, from 1; one past the last at a line's end.
    pub column: usize,
}

impl Place {
    /// As it is told: `mesh.toml:12:5`.
    pub fn of(self, file: &Path) -> String {
        format!("{}:{}:{}", shown(&file.display().to_string()), self.line, self.column)
    }
}

/// What is wrong at a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Where in the script.
    pub place: Place,
    /// What is wrong.
    pub what: String,
    /// What can be done.
    pub next: String,
}

impl Fault {
    /// As a line: `mesh.toml:12:5 what; next`.
    pub fn line(&self, file: &Path) -> String {
        let next = if self.next.is_empty() { String::new() } else { format!("; {}", self.next) };
        format!("{} {}{next}", self.place.of(file), self.what)
    }

    /// Faults as one error. `also`: what can be done about one besides its own advice; `several`: what can be done about more.
    pub fn error(faults: &[Self], file: &Path, also: &str, several: &str) -> Error {
        if let [one] = faults {
            let next = [one.next.as_str(), also].into_iter().filter(|s| !s.is_empty()).collect::<Vec<_>>().join("; ");
            return Error::refused(&one.what, one.place.of(file), next);
        }
        let lines: Vec<String> = faults.iter().map(|fault| fault.line(file)).collect();
        Error::refused(format!("the script has {}", count(faults.len(), "fault")), lines.join("\n"), several)
    }
}

/// A value and where it stands; where it was left out, the table that it would stand in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct At<T> {
    /// The value.
    pub value: T,
    /// Where it stands.
    pub place: Place,
}

/// A whole script, checked as far as it can be by itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Script {
    /// The file, as it was named.
    pub file: PathBuf,
    /// The reel's title, on a card before everything.
    pub title: Option<String>,
    /// Small words under the title.
    pub subtitle: Option<String>,
    /// What the reel is for.
    pub profile: Option<At<Profile>>,
    /// What of the play is burned in.
    pub strip: Option<Design>,
    /// What is heard of the film.
    pub sound: SoundWay,
    /// Loudness that voices are brought to, LUFS (ITU-R BS.1770).
    pub loudness: f64,
    /// Voices, spoken before.
    pub voice: Vec<Voice>,
    /// What is seen, in order; at least one.
    pub steps: Vec<Step>,
}

/// What is heard of the film's own sound. Press-box microphones record the staff: nothing, unless it is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum SoundWay {
    /// Nothing.
    #[default]
    Off,
    /// Where the film runs at its own speed.
    Kept,
    /// Slowed with the picture at its own pitch.
    Slowed,
}

impl SoundWay {
    /// All, with their words.
    pub const WORDS: [(&'static str, Self); 3] = [("off", Self::Off), ("kept", Self::Kept), ("slowed", Self::Slowed)];
}

/// Somebody's talk over the reel.
#[derive(Debug, Clone, PartialEq)]
pub struct Voice {
    /// A sound file; a relative path is meant from the script's folder.
    pub file: At<PathBuf>,
    /// When it begins.
    pub start: VoiceStart,
}

/// When a voice begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum VoiceStart {
    /// Seconds of the reel.
    Reel(f64),
    /// With a step, counted from 1, so many seconds after its first picture.
    Step(At<usize>, f64),
}

/// One stretch of film, or several at once.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// Its header.
    pub place: Place,
    /// A card before it.
    pub section: Option<Section>,
    /// Its chapter's name.
    pub title: Option<String>,
    /// What is seen at once, 1 to 4.
    pub views: Vec<ViewAsk>,
    /// The moment that several views share.
    pub sync: At<Moment>,
    /// The film's first moment.
    pub from: At<Moment>,
    /// Its last.
    pub to: At<Moment>,
    /// Speed of the whole step, 1 for the film's own.
    pub rate: f64,
    /// Where the film stands still.
    pub stops: Vec<Stop>,
    /// Where it runs at another speed.
    pub speeds: Vec<Speed>,
    /// Where it is seen from nearer.
    pub zooms: Vec<Zoom>,
    /// What is written over it.
    pub captions: Vec<Caption>,
    /// What is drawn on it.
    pub marks: Vec<MarkAsk>,
    /// Seen once more after it, another way each time.
    pub agains: Vec<Again>,
    /// What of the play is burned in, where that differs from the reel's.
    pub strip: Option<Design>,
    /// What is heard, where that differs from the reel's.
    pub sound: Option<SoundWay>,
}

/// A card between steps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Section {
    /// The large words.
    pub title: String,
    /// The small ones.
    pub text: Option<String>,
}

/// One picture of a step.
#[derive(Debug, Clone, PartialEq)]
pub struct ViewAsk {
    /// The play.
    pub play: At<PlayAsk>,
    /// The camera or angle; without it the one that shows most.
    pub angle: Option<At<String>>,
    /// What is written on this picture.
    pub label: Option<String>,
    /// Its speed beside the first one's; 1 for the first.
    pub rate: f64,
}

/// How a play is asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PlayAsk {
    /// By its game and its label there.
    Named {
        /// The game's name.
        game: String,
        /// The play's label.
        label: String,
    },
    /// The first that a phrase finds.
    First(String),
}

/// A moment of a play.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// What it is counted from.
    pub anchor: Anchor,
    /// Seconds after it; before it where negative.
    pub offset: f64,
}

/// What moments are counted from, in the order in which a play has them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Anchor {
    /// The clip's first picture.
    Start,
    /// The offense is set.
    Set,
    /// The snap.
    Snap,
    /// The whistle.
    Whistle,
    /// The clip's end.
    End,
}

impl Anchor {
    /// All, with their words, in a play's order.
    pub const WORDS: [(&'static str, Self); 5] = [
        ("start", Self::Start),
        ("set", Self::Set),
        ("snap", Self::Snap),
        ("whistle", Self::Whistle),
        ("end", Self::End),
    ];
}

/// The film stands still.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stop {
    /// The moment that is seen.
    pub at: At<Moment>,
    /// For how long, seconds of the reel, .1 to 60.
    pub hold: f64,
}

/// The film runs at another speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Speed {
    /// From here.
    pub from: At<Moment>,
    /// To here.
    pub to: At<Moment>,
    /// Times the film's own speed, .1 to 4.
    pub rate: f64,
}

/// The picture is seen from nearer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zoom {
    /// From here.
    pub from: At<Moment>,
    /// To here.
    pub to: At<Moment>,
    /// The middle of what is seen, shares of the picture's width and height.
    pub on: (f64, f64),
    /// How many times larger, 1 to 6.
    pub factor: f64,
    /// Seconds in which it is reached, and left again.
    pub ease: f64,
    /// Which of the step's views, from 0.
    pub view: At<usize>,
}

/// Words over the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Caption {
    /// The words.
    pub text: String,
    /// From here; from the beginning where nothing is said.
    pub from: Option<At<Moment>>,
    /// To here; to the end where nothing is said.
    pub to: Option<At<Moment>>,
    /// Where it stands.
    pub place: Place,
}

/// A step seen once more.
#[derive(Debug, Clone, PartialEq)]
pub struct Again {
    /// Its header.
    pub place: Place,
    /// From here; as the step where nothing is said.
    pub from: Option<At<Moment>>,
    /// To here; as the step where nothing is said.
    pub to: Option<At<Moment>>,
    /// Its speed; as the step where nothing is said.
    pub rate: Option<f64>,
    /// Where the film stands still, this time.
    pub stops: Vec<Stop>,
    /// Where it runs at another speed, this time.
    pub speeds: Vec<Speed>,
    /// What is written over it, this time.
    pub captions: Vec<Caption>,
}

/// What a mark stays on while the camera moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pin {
    /// A man.
    Man,
    /// A spot on the field.
    Turf,
    /// The picture.
    Screen,
}

impl Pin {
    /// All, with their words.
    pub const WORDS: [(&'static str, Self); 3] = [("man", Self::Man), ("turf", Self::Turf), ("screen", Self::Screen)];
}

/// Something to be drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkAsk {
    /// Its header.
    pub place: Place,
    /// What it looks like.
    pub kind: MarkKind,
    /// What it stays on.
    pub pin: Pin,
    /// Its points at the moment `from`, shares of the picture's width and height.
    pub points: Vec<(f64, f64)>,
    /// Its width and height, shares of the picture's.
    pub size: Option<(f64, f64)>,
    /// From here; from the step's beginning where nothing is said.
    pub from: Option<At<Moment>>,
    /// To here; to the step's end where nothing is said.
    pub to: Option<At<Moment>>,
    /// Whose it is.
    pub color: MarkColor,
    /// Times the usual width of lines, .5 to 3.
    pub thickness: f64,
    /// Whether its lines are broken.
    pub dashed: Option<bool>,
    /// How it ends.
    pub head: Option<Head>,
    /// Words beside it, at most 28 letters.
    pub label: Option<String>,
    /// Seconds in which it comes and goes.
    pub fade: Option<f64>,
    /// Which of the step's views, from 0.
    pub view: At<usize>,
}

impl Script {
    /// Reads a script. `file` names it in errors, and its folder is the one that voices are looked for in.
    ///
    /// # Errors
    /// Whatever is wrong in it, all at once: one fault as an error with its place, several as one error whose place has a
    /// line for each, `mesh.toml:12:5 what; next`. A text that is no TOML tells those faults alone.
    pub fn read(text: &str, file: &Path) -> Result<Self> {
        reader::read(text, file)
    }

    /// An error at a place of this script, to be told as those of [`Script::read`] are: `mesh.toml:12:5`.
    pub fn error(&self, place: Place, what: impl Into<String>, next: impl Into<String>) -> Error {
        Error::refused(what, place.of(&self.file), next)
    }
}

#[cfg(test)]
mod schema_tests;
#[cfg(test)]
mod tests;
