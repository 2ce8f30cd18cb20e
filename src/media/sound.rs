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
    /// First sample frame of every part, and the film's end: each rounded by itself, so that nothing adds up.
    starts: Vec<u64>,
    part: usize,
    open: Option<OpenPart>,
    /// Sample frames of the present part given so far.
    given: u64,
    /// Decoded and not yet given: where it lies (sample frame of the part) and its samples.
    ready: Option<(i64, Vec<f32>)>,
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
    /// Where the file's first sound lies, in samples of its own rate, and how many a packet holds.
    grid: Option<(i64, i64)>,
    /// After a seek, until the first samples are out: which run-up is tried next if they come too late.
    trying: Option<usize>,
}

/// How far before the wanted sample each try of a seek begins, in seconds: codecs need a few packets before their
/// output is right, and demuxers that seek by byte may land late.
const RUN_UPS: [f64; 3] = [0.3, 2.0, 10.0];

/// A time stamp that is off by more is a gap in the recording; less is rounding or jitter and would be heard as a
/// click [practice].
const GAP_SECONDS: f64 = 0.02;

/// Sample frames of silence in one block.
const SILENCE: u64 = 1 << 14;

impl<'a> Sound<'a> {
    /// From the film's start.
    pub fn new(film: &'a Film, rate: u32, channels: usize) -> Self {
        let mut starts = vec![0];
        let mut seconds = 0.0;
        for part in &film.parts {
            seconds += part.seconds();
            starts.push((seconds * f64::from(rate)).round() as u64);
        }
        Self {
            film,
            rate,
            channels: channels.clamp(1, 2),
            starts,
            part: 0,
            open: None,
            given: 0,
            ready: None,
            block: Vec::new(),
        }
    }

    fn length(&self, k: usize) -> u64 {
        self.starts[k + 1] - self.starts[k]
    }

    /// Opens the present part's sound, if it has any, and goes to the sample wanted.
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
        let mut open = OpenPart {
            demux,
            audio,
            decoder,
            resampler: None,
            frame: ff::frame::Audio::empty(),
            ended: false,
            at: None,
            zero,
            grid: None,
            trying: None,
        };
        if self.given > 0 {
            // The first packet tells the grid on which the others lie.
            open.decode(self.rate, self.channels)?;
            open.go_to(self.given, self.rate, 0)?;
        }
        self.open = Some(open);
        Ok(())
    }

    /// Decodes the next stretch into `ready`; `false` at the end of the part's sound.
    fn decode(&mut self) -> Result<bool> {
        let (rate, channels) = (self.rate, self.channels);
        let Some(open) = &mut self.open else { return Ok(false) };
        loop {
            let got = open.decode(rate, channels)?;
            if let Some(tried) = open.trying.take()
                && got.as_ref().is_none_or(|(at, _)| *at > self.given as i64)
            {
                open.go_to(self.given, rate, tried)?;
                continue;
            }
            self.ready = got;
            return Ok(self.ready.is_some());
        }
    }
}

impl OpenPart {
    /// Makes `decode` begin at or before sample frame `to` of the part, with run-up number `tried`.
    fn go_to(&mut self, to: u64, rate: u32, tried: usize) -> Result<()> {
        let base = self.demux.time_base(self.audio);
        self.resampler = None;
        self.at = None;
        self.ended = false;
        self.decoder.flush();
        for (i, run_up) in RUN_UPS.iter().enumerate().skip(tried) {
            let early = to as i64 - (run_up * f64::from(rate)) as i64;
            if early <= 0 {
                break;
            }
            let target = self.zero + rescale(early, ff::Rational(1, rate as i32), base);
            if self.demux.seek_stream(self.audio, target) {
                self.trying = Some(i + 1);
                return Ok(());
            }
        }
        self.trying = None;
        self.demux.reopen(&[self.audio])
    }

    /// Decodes the next stretch: where it lies (sample frame of the part) and its samples.
    fn decode(&mut self, rate: u32, channels: usize) -> Result<Option<(i64, Vec<f32>)>> {
        loop {
            if self.decoder.receive_frame(&mut self.frame).is_ok() {
                let got = self.resample(rate, channels)?;
                if got.1.is_empty() {
                    continue;
                }
                return Ok(Some(got));
            }
            if self.ended {
                return self.drain(channels);
            }
            match self.demux.next() {
                Some(packet) if packet.stream() == self.audio => {
                    // A packet that cannot be decoded becomes a gap, which the next time stamp tells.
                    let _ = self.decoder.send_packet(packet);
                }
                Some(_) => {}
                None => {
                    self.ended = true;
                    let _ = self.decoder.send_eof();
                }
            }
        }
    }

    /// Where the frame in hand lies, in sample frames of the part at `rate`.
    fn told(&mut self, rate: u32) -> Option<i64> {
        let own = ff::Rational(1, self.frame.rate().max(1) as i32);
        let base = self.demux.time_base(self.audio);
        let ticks = self.frame.pts().or(self.frame.timestamp())? - self.zero;
        let mut at = rescale(ticks, base, own);
        let length = self.frame.samples().max(1) as i64;
        let (first, step) = *self.grid.get_or_insert((at, length));
        // Where ticks are coarser than samples (Matroska: milliseconds), the stamp only tells which packet it is.
        let tick = rescale(1, base, own);
        if tick > 1 && step == length {
            let on_grid = first + ((at - first) as f64 / step as f64).round() as i64 * step;
            if (on_grid - at).abs() <= tick {
                at = on_grid;
            }
        }
        Some(rescale(at, own, ff::Rational(1, rate as i32)))
    }

    fn resample(&mut self, rate: u32, channels: usize) -> Result<(i64, Vec<f32>)> {
        if self.frame.channel_layout().is_empty() {
            self.frame.set_channel_layout(ff::ChannelLayout::default(i32::from(self.frame.channels())));
        }
        let told = self.told(rate);
        let fits = self.resampler.as_ref().is_some_and(|r| {
            r.input().format == self.frame.format()
                && r.input().rate == self.frame.rate()
                && r.input().channel_layout == self.frame.channel_layout()
        });
        let gap = match (self.at, told) {
            (Some(counted), Some(told)) => ((counted - told).abs() as f64) > GAP_SECONDS * f64::from(rate),
            _ => false,
        };
        // What was held back before a gap is dropped: a few samples beside a hole.
        if !fits || gap {
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
        let mut samples = Vec::new();
        if let Some(resampler) = &mut self.resampler {
            // Room for all that comes out; in less, the rest would pile up inside.
            let more = self.frame.samples() as u64 * u64::from(rate) / u64::from(self.frame.rate().max(1));
            let room = (more + 256) as usize;
            let mut out = ff::frame::Audio::new(Sample::F32(Type::Packed), room, resampler.output().channel_layout);
            out.set_rate(rate);
            resampler
                .run(&self.frame, &mut out)
                .map_err(|cause| failed("resample the sound", &self.demux.path, cause))?;
            samples = floats(&out, channels);
        }
        // The resampler holds a few samples back; counting on from the first time stamp keeps places exact.
        let at = self.at.or(told).unwrap_or(0);
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

/// The samples of a frame of packed floats.
pub fn floats(frame: &ff::frame::Audio, channels: usize) -> Vec<f32> {
    let bytes = frame.samples() * channels * 4;
    if bytes == 0 || frame.planes() == 0 {
        return Vec::new();
    }
    frame
        .data(0)
        .get(..bytes)
        .unwrap_or(&[])
        .chunks_exact(4)
        .map(|b| f32::from_ne_bytes([b[0], b[1], b[2], b[3]]))
        .collect()
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
                self.ready = None;
                continue;
            }
            if self.open.is_none() {
                self.open_part()?;
            }
            if self.ready.is_none() {
                self.decode()?;
            }
            let want = self.given as i64;
            let left = length - self.given;
            self.block.clear();
            match &self.ready {
                Some((at, samples)) if *at <= want => {
                    let skip = ((want - at) as usize).saturating_mul(self.channels).min(samples.len());
                    self.block.extend_from_slice(&samples[skip..]);
                    self.ready = None;
                }
                // The sound begins late, has a gap, ends early or is not there: silence, in blocks that stay small.
                Some((at, _)) => {
                    let silent = ((at - want) as u64).min(left).min(SILENCE);
                    self.block.resize(silent as usize * self.channels, 0.0);
                }
                None => self.block.resize(left.min(SILENCE) as usize * self.channels, 0.0),
            }
            self.block.truncate(left as usize * self.channels);
            self.given += (self.block.len() / self.channels) as u64;
            if !self.block.is_empty() {
                return Ok(Some(&self.block));
            }
        }
    }

    fn seek(&mut self, to: u64) -> Result<()> {
        // Parts after the first that begin at or before it, less those of no length.
        let last = self.film.parts.len().saturating_sub(1);
        let part = self.starts[1..].partition_point(|end| *end <= to).min(last);
        let given = to.saturating_sub(self.starts[part]);
        let here = part == self.part && self.open.is_some();
        let near = here && given >= self.given && given - self.given < u64::from(self.rate);
        self.part = part;
        self.given = given;
        if near {
            // Decode on: what lies before drops out.
            return Ok(());
        }
        self.ready = None;
        match &mut self.open {
            Some(open) if here => open.go_to(given, self.rate, 0),
            _ => {
                self.open = None;
                Ok(())
            }
        }
    }
}

// SAFETY: the decoder, resampler and demuxer are used by one thread at a time; the library allows moving them.
unsafe impl Send for Sound<'_> {}
