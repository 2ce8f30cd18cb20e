//! Sound of a camera's film, resampled, laid on film time.

use ff::format::sample::{Sample, Type};
use ff::software::resampling;
use ffmpeg_next as ff;

use super::demux::Demux;
use super::failed;
use super::frames::rescale;
use crate::base::Result;
use crate::film::{Film, SoundSource};

/// Opens a decoder for the sound stream.
pub fn open_decoder(demux: &Demux, audio: usize) -> Result<Option<ff::decoder::Audio>> {
    let Some(parameters) = demux.parameters(audio) else { return Ok(None) };
    let context = ff::codec::context::Context::from_parameters(parameters)
        .map_err(|cause| failed("prepare decoding the sound", &demux.path, cause))?;
    let mut decoder = context.decoder();
    decoder.set_packet_time_base(demux.time_base(audio));
    // A codec that is not there makes the film silent, not unusable.
    Ok(decoder.audio().ok())
}

/// Sound of a film.
pub struct Sound<'a> {
    film: &'a Film,
    rate: u32,
    channels: usize,
    part: usize,
    open: Option<OpenPart>,
    /// Sample frames of the present part given so far.
    given: u64,
    /// Sample frames to drop before giving any (over the film), after a seek.
    block: Vec<f32>,
}

struct OpenPart {
    demux: Demux,
    audio: usize,
    decoder: ff::decoder::Audio,
    resampler: Option<resampling::Context>,
    frame: ff::frame::Audio,
    ended: bool,
    /// Sample frame of the part, at the wanted rate, at which the next decoded sample lies.
    at: Option<i64>,
    /// Presentation time of the part's first picture, in ticks of the sound stream.
    zero: i64,
}

impl<'a> Sound<'a> {
    /// From the film's start.
    pub fn new(film: &'a Film, rate: u32, channels: usize) -> Self {
        Self { film, rate, channels: channels.clamp(1, 2), part: 0, open: None, given: 0, block: Vec::new() }
    }

    /// First sample frame of part `k`: every part begins at its own rounded place, so that nothing adds up.
    fn start(&self, k: usize) -> u64 {
        let before: f64 = self.film.parts[..k.min(self.film.parts.len())].iter().map(|p| p.seconds()).sum();
        (before * f64::from(self.rate)).round() as u64
    }

    fn length(&self, k: usize) -> u64 {
        self.start(k + 1) - self.start(k)
    }

    fn open_part(&mut self) -> Result<()> {
        let part = &self.film.parts[self.part];
        if !part.sound {
            return Ok(());
        }
        let mut demux = Demux::open(&part.path)?;
        let Some(audio) = demux.audio else { return Ok(()) };
        let video_base = demux.time_base(demux.video);
        let zero = rescale(part.index.pts.first().copied().unwrap_or(0), video_base, demux.time_base(audio));
        demux.only(&[audio]);
        let Some(decoder) = open_decoder(&demux, audio)? else { return Ok(()) };
        if self.given > 0 {
            // A second early: the decoder needs a few packets before its output is right.
            let ticks = rescale(self.given as i64 - i64::from(self.rate), ff::Rational(1, self.rate as i32), demux.time_base(audio));
            if ticks > 0 {
                demux.seek_stream(audio, zero + ticks);
            }
        }
        self.open = Some(OpenPart {
            demux,
            audio,
            decoder,
            resampler: None,
            frame: ff::frame::Audio::empty(),
            ended: false,
            at: None,
            zero,
        });
        Ok(())
    }

    /// Decodes the next stretch: where it lies (sample frame of the part) and its samples.
    fn decode(&mut self) -> Result<Option<(i64, Vec<f32>)>> {
        let (rate, channels) = (self.rate, self.channels);
        let Some(open) = &mut self.open else { return Ok(None) };
        loop {
            if open.decoder.receive_frame(&mut open.frame).is_ok() {
                return Ok(Some(open.resample(rate, channels)?));
            }
            if open.ended {
                return open.drain(channels);
            }
            match open.demux.next() {
                Some(packet) if packet.stream() == open.audio => {
                    let _ = open.decoder.send_packet(packet);
                }
                Some(_) => {}
                None => {
                    open.ended = true;
                    let _ = open.decoder.send_eof();
                }
            }
        }
    }
}

impl OpenPart {
    fn resample(&mut self, rate: u32, channels: usize) -> Result<(i64, Vec<f32>)> {
        if self.frame.channel_layout().is_empty() {
            self.frame.set_channel_layout(ff::ChannelLayout::default(i32::from(self.frame.channels())));
        }
        let told = self.frame.timestamp().map(|t| {
            rescale(t - self.zero, self.demux.time_base(self.audio), ff::Rational(1, rate as i32))
        });
        let fits = self.resampler.as_ref().is_some_and(|r| {
            r.input().format == self.frame.format() && r.input().rate == self.frame.rate() && r.input().channel_layout == self.frame.channel_layout()
        });
        if !fits {
            let layout = if channels == 1 { ff::ChannelLayout::MONO } else { ff::ChannelLayout::STEREO };
            let context = resampling::Context::get(
                self.frame.format(),
                self.frame.channel_layout(),
                self.frame.rate(),
                Sample::F32(Type::Packed),
                layout,
                rate,
            )
            .map_err(|cause| failed("prepare the sound", &self.demux.path, cause))?;
            self.resampler = Some(context);
            self.at = None;
        }
        let mut out = ff::frame::Audio::empty();
        let mut samples = Vec::new();
        if let Some(resampler) = &mut self.resampler {
            resampler.run(&self.frame, &mut out).map_err(|cause| failed("resample the sound", &self.demux.path, cause))?;
            samples = floats(&out, channels);
        }
        // The resampler holds a few samples back; counting on from the first time stamp keeps places exact, and a
        // stamp that is off by more than 20 ms (a gap in the recording) is believed.
        let counted = self.at;
        let at = match (counted, told) {
            (Some(counted), Some(told)) if (counted - told).abs() > i64::from(rate) / 50 => told,
            (Some(counted), _) => counted,
            (None, told) => told.unwrap_or(0),
        };
        self.at = Some(at + (samples.len() / channels) as i64);
        Ok((at, samples))
    }

    /// What the resampler still holds at the end.
    fn drain(&mut self, channels: usize) -> Result<Option<(i64, Vec<f32>)>> {
        let Some(mut resampler) = self.resampler.take() else { return Ok(None) };
        let mut out = ff::frame::Audio::new(Sample::F32(Type::Packed), 4096, resampler.output().channel_layout);
        out.set_rate(resampler.output().rate);
        if resampler.flush(&mut out).is_err() || out.samples() == 0 {
            return Ok(None);
        }
        let samples = floats(&out, channels);
        let at = self.at.unwrap_or(0);
        Ok(Some((at, samples)))
    }
}

fn floats(frame: &ff::frame::Audio, channels: usize) -> Vec<f32> {
    let bytes = frame.samples() * channels * 4;
    if bytes == 0 || frame.planes() == 0 {
        return Vec::new();
    }
    frame.data(0).get(..bytes).unwrap_or(&[]).chunks_exact(4).map(|b| f32::from_ne_bytes([b[0], b[1], b[2], b[3]])).collect()
}

impl SoundSource for Sound<'_> {
    fn rate(&self) -> u32 {
        self.rate
    }

    fn channels(&self) -> usize {
        self.channels
    }

    fn next_block(&mut self) -> Result<Option<&[f32]>> {
        loop {
            if self.part >= self.film.parts.len() {
                return Ok(None);
            }
            let length = self.length(self.part);
            if self.given >= length {
                self.part += 1;
                self.given = 0;
                self.open = None;
                continue;
            }
            if self.open.is_none() {
                self.open_part()?;
            }
            let channels = self.channels;
            self.block.clear();
            match self.decode()? {
                Some((at, samples)) => {
                    let have = (samples.len() / channels) as i64;
                    let want = self.given as i64;
                    if at + have <= want {
                        continue;
                    }
                    if at > want {
                        // The sound begins late or has a gap: silence, in blocks that stay small.
                        let gap = ((at - want) as u64).min(length - self.given);
                        self.block.resize(gap as usize * channels, 0.0);
                    }
                    let skip = (want - at).max(0) as usize * channels;
                    self.block.extend_from_slice(&samples[skip..]);
                }
                None => {
                    // No sound, or it ends early.
                    let rest = (length - self.given).min(1 << 16);
                    self.block.resize(rest as usize * channels, 0.0);
                }
            }
            let left = (length - self.given) as usize * channels;
            self.block.truncate(left);
            self.given += (self.block.len() / channels) as u64;
            if !self.block.is_empty() {
                return Ok(Some(&self.block));
            }
        }
    }

    fn seek(&mut self, to: u64) -> Result<()> {
        let mut part = 0;
        while part + 1 < self.film.parts.len() && to >= self.start(part + 1) {
            part += 1;
        }
        let given = to.saturating_sub(self.start(part));
        let near = part == self.part && self.open.is_some() && given >= self.given && given - self.given < u64::from(self.rate);
        if near {
            // Decode on: `given` makes the samples before it drop out.
            self.given = given;
            return Ok(());
        }
        self.part = part;
        self.given = given;
        self.open = None;
        Ok(())
    }
}

// SAFETY: the decoder, resampler and demuxer are used by one thread at a time; the library allows moving them.
unsafe impl Send for Sound<'_> {}
