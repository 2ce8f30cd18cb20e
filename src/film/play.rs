//! Shots and plays as found in one camera's film.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::base::{FrameNo, FrameSpan};

/// From where a camera looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Angle {
    /// High in the press box at midfield.
    Sideline,
    /// Behind the end zone.
    EndZone,
    /// Not told.
    #[default]
    Unknown,
}

impl Angle {
    /// The angle a camera's name means: `sideline`/`wide`, `end-zone`/`tight` in any case and spacing; else unknown.
    pub fn named(name: &str) -> Self {
        let plain: String = name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect();
        match plain.as_str() {
            "sideline" | "wide" => Self::Sideline,
            "endzone" | "tight" => Self::EndZone,
            _ => Self::Unknown,
        }
    }

    /// Its name in files and JSON.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Sideline => "sideline",
            Self::EndZone => "end-zone",
            Self::Unknown => "unknown",
        }
    }
}

impl fmt::Display for Angle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// What a shot shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ShotKind {
    /// A play, or what may be one.
    Play,
    /// The scoreboard.
    Scoreboard,
    /// Men standing about, the band, the crowd.
    Other,
}

/// A shot: from one cut to the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shot {
    /// Its frames; `start` is the first frame of the shot.
    #[serde(flatten)]
    pub span: FrameSpan,
    /// What it shows.
    pub kind: ShotKind,
    /// From where.
    pub angle: Angle,
}

/// A moment that was found, and how sure it is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Sighting {
    /// The frame nearest to it.
    pub frame: FrameNo,
    /// Film time in seconds, finer than a frame.
    pub time: f64,
    /// 0 to 1.
    pub confidence: f64,
}

/// What a play was found by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Evidence {
    /// Motion alone.
    #[serde(rename = "picture")]
    Picture,
    /// Motion and a whistle.
    #[serde(rename = "picture+sound")]
    PictureAndSound,
    /// Nothing was found; the shot may be a play all the same.
    #[serde(rename = "none")]
    Nothing,
}

/// A play as found in one camera's film. What was not found is `None`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Play {
    /// Which shot it lies in.
    pub shot: usize,
    /// The film that shows it, lead-in and run-out with it: in film cut by shots the whole shot, else a piece of it.
    pub span: FrameSpan,
    /// When the offense stands.
    pub set: Option<FrameNo>,
    /// The ball moves.
    pub snap: Option<Sighting>,
    /// The play is dead.
    pub whistle: Option<Sighting>,
    /// What it was found by.
    pub by: Evidence,
    /// Why a person should look; `None` if sure.
    pub doubt: Option<String>,
}
