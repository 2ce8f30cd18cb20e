//! Steps of a game, and one of them ready to be done.

use std::collections::BTreeMap;
use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use super::record::Placed;
use crate::jobs::{CutAsk, NightTold};
use crate::watch::Stamp;

/// A step, in the order in which they are done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Step {
    /// A camera's files are opened.
    Probe,
    /// A camera's film is measured.
    Scan,
    /// The cameras' plays are brought together and put into the library.
    Pair,
    /// The tag sheet is read.
    Sheet,
    /// Its rows are joined to plays.
    Match,
    /// Clips are cut.
    Cut,
    /// Plays are rendered ahead.
    Prepare,
    /// Standing asks are made.
    Asks,
    /// The report is written.
    Report,
}

impl Step {
    /// All in order.
    pub const ALL: [Self; 9] = [
        Self::Probe,
        Self::Scan,
        Self::Pair,
        Self::Sheet,
        Self::Match,
        Self::Cut,
        Self::Prepare,
        Self::Asks,
        Self::Report,
    ];

    /// One word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Probe => "probe",
            Self::Scan => "scan",
            Self::Pair => "pair",
            Self::Sheet => "read sheet",
            Self::Match => "match",
            Self::Cut => "cut",
            Self::Prepare => "prepare",
            Self::Asks => "asks",
            Self::Report => "report",
        }
    }

    /// What is being done, as a person says it.
    pub fn doing(self) -> &'static str {
        match self {
            Self::Probe => "looking at the film",
            Self::Scan => "finding plays in the film",
            Self::Pair => "pairing the cameras",
            Self::Sheet => "reading the tag sheet",
            Self::Match => "joining rows to plays",
            Self::Cut => "cutting clips",
            Self::Prepare => "rendering plays ahead",
            Self::Asks => "making the standing asks",
            Self::Report => "writing the report",
        }
    }

    /// Whether it writes so much that room is to be kept for others.
    pub fn fills(self) -> bool {
        matches!(self, Self::Cut | Self::Prepare | Self::Asks)
    }
}

/// A step that is to be done now.
#[derive(Debug, Clone)]
pub struct Task {
    /// Its game's folder in the inbox, by which its record is kept.
    pub folder: PathBuf,
    /// What is to be done.
    pub step: Step,
    /// The camera it is about, for steps that are about one.
    pub camera: Option<String>,
    /// The game with its films and sheets, absolute.
    pub ask: CutAsk,
    /// What the night has come to so far.
    pub told: NightTold,
    /// Films and sheets that it reads, absolute, as they were when it was decided.
    pub files: Vec<(PathBuf, Stamp)>,
    /// By what it is known to be done.
    pub key: String,
    /// Of the pairing: cameras by the names that their files give them, and what those go by because of their film.
    pub placing: (BTreeMap<String, Placed>, BTreeMap<String, String>),
}

impl Task {
    /// Its name within the game: `scan sideline`, `pair`.
    pub fn name(&self) -> String {
        name(self.step, self.camera.as_deref())
    }

    /// Bytes of film that it is about.
    pub fn bytes(&self) -> u64 {
        self.files.iter().map(|(_, stamp)| stamp.size).sum()
    }
}

/// A step's name within its game.
pub fn name(step: Step, camera: Option<&str>) -> String {
    match camera {
        Some(camera) => format!("{} {camera}", step.word()),
        None => step.word().to_string(),
    }
}

/// What a step came to.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Outcome {
    /// What the night has come to with it.
    pub told: NightTold,
    /// Of a camera: its film's length in seconds, and how near the men are in it.
    pub camera: Option<CameraKnown>,
    /// In words.
    pub words: String,
    /// The report's files, the page first.
    pub reports: Vec<PathBuf>,
}

/// What the steps learned of a camera.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct CameraKnown {
    /// Length of its film, seconds.
    pub seconds: f64,
    /// See [`crate::jobs::CameraMeasured`].
    pub nearness: Option<f64>,
}
