//! Scripted footage: pictures and sound made in memory, so that rooms are tested without a codec.

use std::path::PathBuf;

use super::{Decode, Film, FilmReader, FrameIndex, FrameSource, Part, Picture, PictureView, SoundSource};
use crate::base::{Error, FrameNo, Progress, Rate, Result, TimeBase};

/// A part of `frames` frames at a constant `rate`, first frame at tick 0, with sound.
pub fn part(name: &str, frames: u64, rate: Rate) -> Part {
    let pts = (0..frames as i64).map(|k| k * i64::from(rate.den)).collect();
    Part {
        path: PathBuf::from(name),
        bytes: frames * 1000,
        fingerprint: blake3::hash(name.as_bytes()).to_hex()[..32].to_string(),
        recorded: None,
        time_base: TimeBase { num: 1, den: rate.num },
        rate,
        variable: false,
        width: 64,
        height: 36,
        codec: "h264".into(),
        pixel_format: "yuv420p".into(),
        interlaced: false,
        rotation: 0,
        sample_aspect: Rate { num: 1, den: 1 },
        sound: true,
        index: FrameIndex { pts, by_packets: true, timed: true, ..FrameIndex::default() },
    }
}

/// Draws frame `n`.
pub type Draw = dyn Fn(u64) -> Picture + Sync + Send;
/// The sound at sample frame `n` of a given rate, mono.
pub type Hear = dyn Fn(u64, u32) -> f32 + Sync + Send;

/// Footage whose pictures and sound come from two functions.
pub struct Footage {
    /// The film it pretends to be.
    pub film: Film,
    /// Draws a frame.
    pub draw: Box<Draw>,
    /// Gives a sound sample; `None` for a silent film.
    pub hear: Option<Box<Hear>>,
}

impl FilmReader for Footage {
    fn read(&self, paths: &[PathBuf], _progress: &dyn Progress) -> Result<Film> {
        if paths.is_empty() {
            return Err(Error::refused("no film", "", "name at least one file"));
        }
        Ok(self.film.clone())
    }

    fn frames<'a>(&self, film: &'a Film, how: Decode, _threads: usize) -> Result<Box<dyn FrameSource + Send + 'a>> {
        // The pictures are drawn up front: scripted films are short, and the source then owns all it lends.
        let pictures = (0..film.frames()).map(|n| (self.draw)(n)).collect();
        let times = (0..film.frames()).map(|n| film.time(FrameNo(n))).collect();
        Ok(Box::new(Frames { pictures, times, next: 0, how }))
    }

    fn sound<'a>(
        &self,
        film: &'a Film,
        rate: u32,
        channels: usize,
    ) -> Result<Option<Box<dyn SoundSource + Send + 'a>>> {
        let Some(hear) = &self.hear else { return Ok(None) };
        let length = (film.seconds() * f64::from(rate)).round() as u64;
        let samples = (0..length).flat_map(|n| std::iter::repeat_n(hear(n, rate), channels)).collect();
        Ok(Some(Box::new(Sound { samples, rate, channels, next: 0 })))
    }
}

struct Frames {
    pictures: Vec<Picture>,
    times: Vec<f64>,
    next: usize,
    how: Decode,
}

/// Every other picture is one that others are predicted from.
impl FrameSource for Frames {
    fn next_frame(&mut self) -> Result<Option<PictureView<'_>>> {
        if self.how == Decode::References {
            self.next = self.next.next_multiple_of(2);
        }
        let n = self.next;
        self.next += 1;
        Ok(self.pictures.get(n).map(|p| p.view(FrameNo(n as u64), self.times[n])))
    }

    fn leave_out(&mut self, how: Decode) {
        self.how = how;
    }

    fn seek(&mut self, to: FrameNo) -> Result<()> {
        self.next = to.0 as usize;
        Ok(())
    }
}

struct Sound {
    samples: Vec<f32>,
    rate: u32,
    channels: usize,
    next: usize,
}

impl SoundSource for Sound {
    fn rate(&self) -> u32 {
        self.rate
    }
    fn channels(&self) -> usize {
        self.channels
    }
    fn next_block(&mut self) -> Result<Option<&[f32]>> {
        let end = (self.next + 4096 * self.channels).min(self.samples.len());
        let block = &self.samples[self.next.min(end)..end];
        self.next = end;
        Ok(if block.is_empty() { None } else { Some(block) })
    }
    fn seek(&mut self, to: u64) -> Result<()> {
        self.next = (to as usize).saturating_mul(self.channels).min(self.samples.len());
        Ok(())
    }
}
