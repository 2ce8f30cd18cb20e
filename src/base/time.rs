//! Times: integer ticks and frame numbers; seconds only where a person reads them.

use std::fmt;

use serde::{Deserialize, Serialize};

/// Seconds a tick of a stream, as a fraction (1/30000).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct TimeBase {
    /// Numerator.
    pub num: u32,
    /// Denominator, never 0.
    pub den: u32,
}

impl TimeBase {
    /// Seconds that `ticks` last.
    pub fn seconds(self, ticks: i64) -> f64 {
        ticks as f64 * f64::from(self.num) / f64::from(self.den.max(1))
    }
}

/// Frames a second, as a fraction (30000/1001). Shown as `30000/1001`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rate {
    /// Numerator, never 0.
    pub num: u32,
    /// Denominator, never 0.
    pub den: u32,
}

impl Rate {
    /// Frames a second.
    pub fn hz(self) -> f64 {
        f64::from(self.num.max(1)) / f64::from(self.den.max(1))
    }

    /// How many frames something is long that lasts so many seconds; at least one.
    pub fn frames(self, seconds: f64) -> u64 {
        ((seconds * self.hz()).round() as u64).max(1)
    }
}

impl fmt::Display for Rate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.num, self.den)
    }
}

/// Number of a frame: counted from 0 in presentation order over a camera's whole row of parts.
///
/// A frame is a picture that the decoder puts out with the container's edit list applied.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct FrameNo(pub u64);

impl fmt::Display for FrameNo {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// A half-open span: `start` is in it, `end` is not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
pub struct Span<T> {
    /// First one in.
    pub start: T,
    /// First one out.
    pub end: T,
}

/// A half-open span of frames.
pub type FrameSpan = Span<FrameNo>;

impl FrameSpan {
    /// From `start` up to but without `end`.
    pub fn of(start: u64, end: u64) -> Self {
        Self { start: FrameNo(start), end: FrameNo(end) }
    }

    /// How many frames.
    pub fn len(self) -> u64 {
        self.end.0.saturating_sub(self.start.0)
    }

    /// Whether no frame is in it.
    pub fn is_empty(self) -> bool {
        self.len() == 0
    }

    /// Whether `frame` is in it.
    pub fn holds(self, frame: FrameNo) -> bool {
        self.start <= frame && frame < self.end
    }

    /// Whether all of `other` is in it.
    pub fn covers(self, other: Self) -> bool {
        self.start <= other.start && other.end <= self.end
    }
}
