//! A reel being written: pictures and sound in, one MP4 out.

use std::path::{Path, PathBuf};

use ffmpeg_next as ff;

use super::encode::{AacEncoder, Tags, VideoEncoder, VideoSpec, level};
use super::mux::Muxer;
use super::nal::Sets;
use crate::base::{Error, Rate, Result};
use crate::film::{ClipSink, ClipSpec, Codec, PictureView};

/// Sound rate of everything that is encoded.
pub const SOUND_RATE: u32 = 48_000;

/// A reel being written.
pub struct Sink {
    muxer: Muxer,
    video: VideoEncoder,
    sound: Option<AacEncoder>,
    spec: ClipSpec,
    path: PathBuf,
    pictures: i64,
    chapters: Vec<(f64, f64, String)>,
}

impl Sink {
    /// Starts the file.
    pub fn create(path: &Path, spec: &ClipSpec) -> Result<Self> {
        if !spec.width.is_multiple_of(2) || !spec.height.is_multiple_of(2) || spec.width == 0 || spec.height == 0 {
            return Err(Error::refused(
                format!("a reel of {}x{} cannot be encoded", spec.width, spec.height),
                path.display(),
                "choose an even width and height",
            ));
        }
        let Some(level) = level(spec.width, spec.height, spec.rate) else {
            return Err(Error::refused(
                format!(
                    "a reel of {}x{} at {} would not play on phones and in browsers",
                    spec.width, spec.height, spec.rate
                ),
                path.display(),
                "choose at most 1920x1080 at 60 frames a second",
            ));
        };
        let time_base = ff::Rational(1, spec.rate.num as i32);
        let video = VideoEncoder::open(
            &VideoSpec {
                codec: spec.codec,
                width: spec.width,
                height: spec.height,
                time_base,
                rate: spec.rate,
                aspect: Rate { num: 1, den: 1 },
                tags: Tags::bt709(),
                preset: spec.preset.clone(),
                crf: spec.crf,
                gop: (2.0 * spec.rate.hz()).round() as u32,
                set_id: spec.beside.map(|beside| beside.set_id),
                reorder: spec.beside.map_or(1, |beside| beside.reorder),
                level: Some(level),
                upper_first: None,
                threads: spec.threads,
            },
            path,
        )?;
        let mut muxer = Muxer::create(path, &spec.title)?;
        // The muxer makes the record of the other codecs itself.
        let record = (spec.codec == Codec::H264).then(|| video.sets().avcc(&Sets::default())).flatten();
        muxer.add(&video.parameters(), time_base, record.as_deref(), None)?;
        let sound = match spec.channels {
            0 => None,
            n => {
                let encoder = AacEncoder::open(SOUND_RATE, n.min(2), false, path)?;
                muxer.add(&encoder.parameters(), ff::Rational(1, SOUND_RATE as i32), None, None)?;
                Some(encoder)
            }
        };
        muxer.begin()?;
        let chapters = spec.chapters.clone();
        Ok(Self { muxer, video, sound, spec: spec.clone(), path: path.to_path_buf(), pictures: 0, chapters })
    }
}

/// A packet of one frame at a constant rate, which the encoder leaves without a length.
pub fn lasting(mut packet: ff::Packet, ticks: i64) -> ff::Packet {
    packet.set_duration(ticks);
    packet
}

impl ClipSink for Sink {
    fn picture(&mut self, picture: &PictureView<'_>) -> Result<()> {
        if picture.width != self.spec.width as usize || picture.height != self.spec.height as usize {
            return Err(Error::failed(
                format!("a picture of {}x{} does not fit the reel", picture.width, picture.height),
                self.path.display(),
                "report this: the renderer must scale to the canvas",
            ));
        }
        let step = i64::from(self.spec.rate.den);
        let pts = self.pictures * step;
        self.pictures += 1;
        let Self { muxer, video, .. } = self;
        video.encode(picture, pts, false, &mut |packet| muxer.write(0, lasting(packet, step)))
    }

    fn sound(&mut self, samples: &[f32]) -> Result<()> {
        let Self { muxer, sound, .. } = self;
        match sound {
            Some(encoder) => encoder.encode(samples, &mut |packet| muxer.write(1, packet)),
            None => Ok(()),
        }
    }

    fn chapter(&mut self, start: f64, end: f64, title: &str) {
        self.chapters.push((start, end, title.to_string()));
    }

    fn finish(mut self: Box<Self>) -> Result<()> {
        let step = i64::from(self.spec.rate.den);
        let Self { muxer, video, sound, chapters, .. } = &mut *self;
        video.flush(&mut |packet| muxer.write(0, lasting(packet, step)))?;
        if let Some(encoder) = sound {
            encoder.flush(&mut |packet| muxer.write(1, packet))?;
        }
        for (i, (start, end, title)) in chapters.iter().enumerate() {
            muxer.chapter(i as i64, *start, *end, title)?;
        }
        self.muxer.finish()
    }
}

// SAFETY: encoder and muxer are used by one thread at a time; the library allows moving them.
unsafe impl Send for Sink {}
