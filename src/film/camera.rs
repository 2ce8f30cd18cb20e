//! A camera's film: a row of 1 to 250 files.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::base::{FrameNo, FrameSpan, Problem, Rate, TimeBase};

/// Endings by which film files are told in a folder.
pub const FILM_ENDINGS: &[&str] = &["mp4", "mov", "m4v", "mts", "m2ts", "ts", "mkv", "avi"];

/// Whether a file's ending, in any case, is that of a film.
pub fn named_as_film(path: &Path) -> bool {
    path.extension().is_some_and(|e| FILM_ENDINGS.contains(&e.to_string_lossy().to_lowercase().as_str()))
}

/// Presentation time of every frame of one part, in the part's own time base, ascending.
///
/// Frame k of the part is the picture with the k-th smallest time: positions come from here, never from the rate.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct FrameIndex {
    /// Presentation times in ticks, one a frame, strictly ascending.
    pub pts: Vec<i64>,
    /// Whether every packet maps to one frame by its presentation time alone (needed to cut without decoding).
    pub by_packets: bool,
    /// Whether every frame comes out of the decoder with its own presentation time, so that it is known wherever
    /// decoding begins. Without it frames can only be counted from the part's start.
    #[serde(default)]
    pub timed: bool,
    /// Frames at which the container says that decoding can begin, ascending; empty where it does not say.
    #[serde(default)]
    pub keys: Vec<u64>,
    /// How many of the pictures others are predicted from; 0 where it is not known. A decoder may leave the others out.
    #[serde(default)]
    pub references: u64,
}

impl FrameIndex {
    /// The first key frame at frame `k` or after it.
    pub fn key_from(&self, k: u64) -> Option<u64> {
        self.keys.get(self.keys.partition_point(|key| *key < k)).copied()
    }
}

/// One file of a camera.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Part {
    /// Where the file lies.
    pub path: PathBuf,
    /// Size in bytes.
    pub bytes: u64,
    /// Fingerprint: size and 64 blocks of 64 KiB, BLAKE3, hex.
    pub fingerprint: String,
    /// When the recording began, in seconds since 1970 UTC, where the file says so. Clocks in files are often wrong.
    pub recorded: Option<i64>,
    /// The picture's stream time base.
    pub time_base: TimeBase,
    /// Average frame rate.
    pub rate: Rate,
    /// Whether the time between frames varies by more than rounding.
    pub variable: bool,
    /// Width and height in square pixels as shown: after rotation and sample aspect.
    pub width: u32,
    /// Height as shown.
    pub height: u32,
    /// Codec name (`h264`).
    pub codec: String,
    /// Pixel format name (`yuv420p`).
    pub pixel_format: String,
    /// Whether fields are interlaced.
    pub interlaced: bool,
    /// Clockwise rotation to show it upright: 0, 90, 180, 270.
    pub rotation: u16,
    /// Sample aspect ratio of the coded picture.
    pub sample_aspect: Rate,
    /// Whether there is a sound stream that can be decoded.
    pub sound: bool,
    /// Frames and their times.
    pub index: FrameIndex,
}

impl Part {
    /// How many frames it has.
    pub fn frames(&self) -> u64 {
        self.index.pts.len() as u64
    }

    /// Time of frame `k` of this part in seconds after its first frame. Beyond the last frame the rate extends it.
    pub fn seconds_at(&self, k: u64) -> f64 {
        let pts = &self.index.pts;
        let Some(&first) = pts.first() else { return 0.0 };
        match usize::try_from(k).ok().and_then(|k| pts.get(k)) {
            Some(&at) => self.time_base.seconds(at - first),
            None => {
                let last = pts.last().copied().unwrap_or(first);
                self.time_base.seconds(last - first) + (k - (self.frames() - 1)) as f64 / self.rate.hz()
            }
        }
    }

    /// Length in seconds: to the end of the last frame.
    pub fn seconds(&self) -> f64 {
        self.seconds_at(self.frames())
    }
}

/// Where a frame lies: part and number within it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    /// Which part.
    pub part: usize,
    /// Frame number within the part.
    pub frame: u64,
}

/// One camera's recording of one game: its parts in recording order, frames counted over all of them.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Film {
    /// The files in order; never empty once read.
    pub parts: Vec<Part>,
    /// Damage and doubts met while reading, with their addresses.
    #[serde(skip)]
    pub problems: Vec<Problem>,
}

impl Film {
    /// Frames of all parts.
    pub fn frames(&self) -> u64 {
        self.parts.iter().map(Part::frames).sum()
    }

    /// Seconds of all parts, laid end to end.
    pub fn seconds(&self) -> f64 {
        self.parts.iter().map(Part::seconds).sum()
    }

    /// First frame of every part.
    pub fn starts(&self) -> Vec<u64> {
        let mut at = 0;
        self.parts
            .iter()
            .map(|p| {
                let start = at;
                at += p.frames();
                start
            })
            .collect()
    }

    /// The part and the frame within it; the film's end counts as the end of the last part.
    pub fn place(&self, frame: FrameNo) -> Place {
        let mut left = frame.0;
        for (part, p) in self.parts.iter().enumerate() {
            if left < p.frames() || part + 1 == self.parts.len() {
                return Place { part, frame: left };
            }
            left -= p.frames();
        }
        Place { part: 0, frame: 0 }
    }

    /// Film time of a frame in seconds: the parts laid end to end, the first frame at 0.
    pub fn time(&self, frame: FrameNo) -> f64 {
        let place = self.place(frame);
        let before: f64 = self.parts[..place.part.min(self.parts.len())].iter().map(Part::seconds).sum();
        before + self.parts.get(place.part).map_or(0.0, |p| p.seconds_at(place.frame))
    }

    /// The frame shown at a film time in seconds (the last one that has begun), within the film.
    pub fn frame_at(&self, seconds: f64) -> FrameNo {
        let mut before = 0.0;
        let mut first = 0;
        for (i, p) in self.parts.iter().enumerate() {
            let length = p.seconds();
            if seconds < before + length || i + 1 == self.parts.len() {
                let ticks = ((seconds - before) * f64::from(p.time_base.den) / f64::from(p.time_base.num.max(1)) + 1e-6)
                    .floor() as i64;
                let start = p.index.pts.first().copied().unwrap_or(0);
                let k = p.index.pts.partition_point(|&t| t - start <= ticks).saturating_sub(1);
                return FrameNo(first + k as u64);
            }
            before += length;
            first += p.frames();
        }
        FrameNo(0)
    }

    /// The frame whose time is nearest to a film time in seconds.
    pub fn nearest(&self, seconds: f64) -> FrameNo {
        let a = self.frame_at(seconds);
        let b = FrameNo((a.0 + 1).min(self.frames().saturating_sub(1)));
        if (self.time(b) - seconds).abs() < (self.time(a) - seconds).abs() { b } else { a }
    }

    /// How long a stretch runs, seconds.
    pub fn lasts(&self, span: FrameSpan) -> f64 {
        self.time(span.end) - self.time(span.start)
    }

    /// The frames shown between two film times in seconds, both included, as far as `whole` holds them.
    pub fn between(&self, from: f64, to: f64, whole: FrameSpan) -> FrameSpan {
        let frame = |seconds: f64| self.frame_at(seconds).clamp(whole.start, whole.end);
        FrameSpan { start: frame(from), end: FrameNo(frame(to).0 + 1).min(whole.end) }
    }

    /// Average frames a second over all parts.
    pub fn hz(&self) -> f64 {
        let seconds = self.seconds();
        if seconds > 0.0 { self.frames() as f64 / seconds } else { 30.0 }
    }

    /// The average rate as a fraction where all parts agree, else of the first.
    pub fn rate(&self) -> Rate {
        self.parts.first().map_or(Rate { num: 30, den: 1 }, |p| p.rate)
    }

    /// Whether the time between frames varies within or between parts.
    pub fn variable(&self) -> bool {
        self.parts.iter().any(|p| p.variable || p.rate != self.rate())
    }

    /// Fingerprint of the whole camera: that of its parts in order.
    pub fn fingerprint(&self) -> String {
        Self::fingerprint_of(&self.parts)
    }

    /// What a film of these parts would be known by.
    pub fn fingerprint_of(parts: &[Part]) -> String {
        let mut hash = blake3::Hasher::new();
        for p in parts {
            hash.update(p.fingerprint.as_bytes());
        }
        hash.finalize().to_hex()[..32].to_string()
    }

    /// Where a damaged stretch lies, in words: up to the next key frame, since what is predicted from a damaged picture is
    /// damaged too.
    pub fn damage(&self, span: FrameSpan) -> Problem {
        let place = self.place(span.start);
        let Some(part) = self.parts.get(place.part) else { return Problem::new("", "the picture is damaged") };
        let name = part.path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let end = place.frame + span.len();
        let end = part.index.key_from(end).unwrap_or(end);
        Problem::new(
            format!("{name} from {:.1} s to {:.1} s", part.seconds_at(place.frame), part.seconds_at(end)),
            "the picture is damaged here",
        )
    }

    /// The parts a span touches.
    pub fn parts_of(&self, span: FrameSpan) -> std::ops::RangeInclusive<usize> {
        let first = self.place(span.start).part;
        let last = self.place(FrameNo(span.end.0.saturating_sub(1).max(span.start.0))).part;
        first..=last
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::film::scripted;

    #[test]
    fn frames_count_over_parts_and_times_follow_each_parts_own_clock() {
        let film = Film {
            parts: vec![
                scripted::part("a.mp4", 90, Rate { num: 30, den: 1 }),
                scripted::part("b.mp4", 60, Rate { num: 60, den: 1 }),
            ],
            problems: vec![],
        };
        assert_eq!(film.frames(), 150);
        assert!((film.seconds() - 4.0).abs() < 1e-9);
        assert_eq!(film.place(FrameNo(89)), Place { part: 0, frame: 89 });
        assert_eq!(film.place(FrameNo(90)), Place { part: 1, frame: 0 });
        assert_eq!(film.place(FrameNo(150)), Place { part: 1, frame: 60 });
        assert!((film.time(FrameNo(120)) - 3.5).abs() < 1e-9);
        for n in 0..150 {
            assert_eq!(film.frame_at(film.time(FrameNo(n))), FrameNo(n), "frame {n}");
        }
        assert_eq!(film.parts_of(FrameSpan::of(10, 90)), 0..=0);
        assert_eq!(film.parts_of(FrameSpan::of(10, 91)), 0..=1);
        assert!(film.variable());
    }
}
