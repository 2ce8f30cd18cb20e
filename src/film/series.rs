//! What is measured once over a film and judged many times.

use serde::{Deserialize, Serialize};

use crate::base::{FrameNo, FrameSpan, Problem};

/// One motion sample: a picture against the one about 1/15 s before it.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Sample {
    /// Frame number over the film.
    pub frame: u64,
    /// Film time in seconds.
    pub time: f64,
    /// Speed-like energy of the men after the camera's motion is removed; free of contrast.
    pub energy: f32,
    /// The same, less what most cells with lines or men do: still while the camera moves over lines, but weak where all
    /// move alike.
    pub clear: f32,
    /// The same, robust against the flicker of far yard lines.
    pub robust: f32,
    /// Camera pan in picture widths a second.
    pub pan: f32,
    /// Net camera translation across, in picture widths a second, signed (positive: the view moves right).
    pub pan_x: f32,
    /// Residual noise sigma of the registration, in gray levels.
    pub sigma: f32,
    /// Whether the pair could not be registered (flash, cut, whip): to be interpolated over.
    pub bad: bool,
    /// Share of the picture that is field, 0 to 1.
    pub field: f32,
    /// Share of the picture in which somebody moves at some speed: fine cells of the field whose motion is over .3.
    pub moving: f32,
    /// Likewise over .2: at any speed.
    pub stirring: f32,
}

/// Motion samples of a film, in order, about 15 a second.
pub type SampleSeries = Vec<Sample>;

/// A whistle heard.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Whistle {
    /// When it begins, film time in seconds.
    pub time: f64,
    /// How long, seconds.
    pub length: f64,
    /// Loudness score; see the detector.
    pub score: f32,
    /// 0 to 1.
    pub confidence: f32,
}

/// A measurement that was broken off: what the next run goes on from.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Unfinished {
    /// What is measured so far, from the film's beginning: version, film, cuts, samples and damage; no whistles.
    pub series: Series,
    /// Frames up to which all cuts are known.
    pub cuts_to: u64,
}

/// All that one pass measures over a camera's film.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Series {
    /// Version of the measurement: another version's series is measured anew.
    pub version: u32,
    /// Fingerprint of the film.
    pub film: String,
    /// First frame of every shot but the first, ascending.
    pub cuts: Vec<u64>,
    /// Motion.
    pub samples: SampleSeries,
    /// Whistles, in time order.
    pub whistles: Vec<Whistle>,
    /// Whether any sound was heard at all.
    pub sound: bool,
    /// Stretches in which the decoder met damaged or missing pictures.
    #[serde(default)]
    pub damage: Vec<Problem>,
}

impl Series {
    /// The samples of a stretch of film.
    pub fn within(&self, span: FrameSpan) -> &[Sample] {
        let at = |frame: FrameNo| self.samples.partition_point(|s| s.frame < frame.0);
        let (from, to) = (at(span.start), at(span.end));
        &self.samples[from..to.max(from)]
    }
}
