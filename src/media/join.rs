//! A reel joined from segments that were encoded before: their packets, one after the other, and one track of sound.

use std::path::{Path, PathBuf};

use ffmpeg_next as ff;

use super::demux::Demux;
use super::encode::AacEncoder;
use super::extradata;
use super::mux::Muxer;
use super::nal::Sets;
use super::sink::{SOUND_RATE, lasting};
use crate::base::{Error, Result};
use crate::film::{JoinSpec, ReelSink};

/// A reel being joined.
pub struct Joiner {
    spec: JoinSpec,
    path: PathBuf,
    open: Option<Open>,
    /// Pictures written.
    pictures: i64,
    chapters: Vec<(f64, f64, String)>,
    heard: Vec<f32>,
}

/// What is known once the first segment is.
struct Open {
    muxer: Muxer,
    sound: Option<AacEncoder>,
    /// What every segment announces; `None` where they were gathered.
    sets: Option<Vec<u8>>,
    /// By how many pictures the first one is decoded before it is shown; `None`: by its own times.
    ahead: Option<i64>,
}

impl Joiner {
    /// Starts a reel; the file itself begins with the first segment.
    pub fn create(path: &Path, spec: &JoinSpec) -> Self {
        let (spec, path) = (spec.clone(), path.to_path_buf());
        Self { spec, path, open: None, pictures: 0, chapters: Vec::new(), heard: Vec::new() }
    }

    fn base(&self) -> ff::Rational {
        ff::Rational(1, self.spec.rate.num as i32)
    }

    /// Opens the file for segments like this one.
    fn begin(&self, parameters: &ff::codec::Parameters) -> Result<Open> {
        let mut muxer = Muxer::create(&self.path, &self.spec.title)?;
        let mixed = if self.spec.mixed.is_empty() { None } else { Some(self.gathered()?) };
        muxer.add(parameters, self.base(), mixed.as_ref().map(|(record, _)| record.as_slice()), None)?;
        let sound = match self.spec.channels {
            0 => None,
            n => {
                let encoder = AacEncoder::open(SOUND_RATE, n.min(2), true, &self.path)?;
                muxer.add(&encoder.parameters(), ff::Rational(1, SOUND_RATE as i32), None, None)?;
                Some(encoder)
            }
        };
        muxer.begin()?;
        let sets = mixed.is_none().then(|| extradata(parameters));
        Ok(Open { muxer, sound, sets, ahead: mixed.map(|(_, ahead)| ahead) })
    }

    /// The record of what all segments announce, and the most pictures by which one is decoded ahead.
    fn gathered(&self) -> Result<(Vec<u8>, i64)> {
        let (mut all, mut ahead) = (Sets::default(), 0);
        for path in &self.spec.mixed {
            let mut demux = Demux::open(path)?;
            let video = demux.video;
            let sets = demux.parameters(video).and_then(|parameters| Sets::read(&extradata(&parameters)));
            let (sets, _) = sets.ok_or_else(|| torn(path, "it announces no parameter sets"))?;
            if all.contradicts(&sets) {
                return Err(torn(path, "its parameter sets contradict those of another"));
            }
            sets.all().for_each(|set| all.add(set));
            let from = demux.time_base(video);
            while let Some(packet) = demux.next() {
                if packet.stream() == video {
                    let mut packet = packet.clone();
                    packet.rescale_ts(from, self.base());
                    let early = packet.pts().unwrap_or(0) - packet.dts().unwrap_or(0);
                    ahead = ahead.max(early / i64::from(self.spec.rate.den.max(1)));
                    break;
                }
            }
        }
        let record = all.avcc(&Sets::default());
        Ok((record.ok_or_else(|| torn(&self.path, "no segment announces parameter sets"))?, ahead))
    }
}

/// What to say of a segment that does not fit.
fn torn(segment: &Path, what: &str) -> Error {
    Error::failed(
        format!("a rendered segment cannot be joined: {what}"),
        segment.display(),
        "run the same command again: the segment is rendered anew",
    )
}

impl ReelSink for Joiner {
    fn append(&mut self, segment: &Path, sound: &mut dyn FnMut(&mut Vec<f32>) -> Result<()>) -> Result<u64> {
        let mut demux = Demux::open(segment)?;
        let (parameters, from) = match demux.input.stream(demux.video) {
            Some(stream) => (stream.parameters(), stream.time_base()),
            None => return Err(torn(segment, "it has no picture")),
        };
        let base = self.base();
        let mut open = match self.open.take() {
            Some(open) => open,
            None => self.begin(&parameters)?,
        };
        if open.sets.as_ref().is_some_and(|sets| *sets != extradata(&parameters)) {
            return Err(torn(segment, "it was encoded in another way than the others"));
        }
        let step = i64::from(self.spec.rate.den);
        let offset = self.pictures * step;
        let mut count = 0;
        let video = demux.video;
        while let Some(packet) = demux.next() {
            if packet.stream() != video {
                continue;
            }
            let mut packet = packet.clone();
            packet.rescale_ts(from, base);
            let (Some(pts), Some(dts)) = (packet.pts(), packet.dts()) else {
                return Err(torn(segment, "a picture has no time"));
            };
            packet.set_pts(Some(pts + offset));
            // Segments of other depths of reordering are decoded in one even row.
            packet.set_dts(Some(match open.ahead {
                Some(ahead) => offset + (count - ahead) * step,
                None => dts + offset,
            }));
            open.muxer.write(0, lasting(packet, step))?;
            count += 1;
            if let Some(encoder) = &mut open.sound {
                sound(&mut self.heard)?;
                encoder.encode(&self.heard, &mut |packet| open.muxer.write(1, packet))?;
            }
        }
        if let Some(why) = &demux.broke {
            return Err(torn(segment, why));
        }
        self.pictures += count;
        self.open = Some(open);
        Ok(count as u64)
    }

    fn chapter(&mut self, start: f64, end: f64, title: &str) {
        self.chapters.push((start, end, title.to_string()));
    }

    fn finish(self: Box<Self>) -> Result<()> {
        let Some(Open { mut muxer, sound, .. }) = self.open else {
            return Err(Error::failed("the reel has no segment", self.path.display(), "name plays that can be shown"));
        };
        if let Some(mut encoder) = sound {
            encoder.flush(&mut |packet| muxer.write(1, packet))?;
        }
        for (i, (start, end, title)) in self.chapters.iter().enumerate() {
            muxer.chapter(i as i64, *start, *end, title)?;
        }
        muxer.finish()
    }
}

// SAFETY: encoder and muxer are used by one thread at a time; the library allows moving them.
unsafe impl Send for Joiner {}
