//! Sound by itself: voices out of sound files, and tempo at its own pitch.

use std::path::{Path, PathBuf};

use ff::ffi;
use ff::format::sample::{Sample, Type};
use ff::software::resampling;
use ffmpeg_next as ff;

use super::failed;
use super::sound::floats;
use crate::base::{Error, IoContext, Result};
use crate::film::{DESK_RATE, VOICE_MOST};

/// Kinds of file that hold sound, by the library's names of their demuxers. Others that it would open name further files, or
/// make sound of what is none.
const KINDS: &[&str] = &[
    "wav", "w64", "aiff", "caf", "au", "mp3", "aac", "flac", "ogg", "mov", "matroska", "asf", "amr", "ac3", "wv",
    "ape", "tta", "avi", "mpegts", "mpeg", "flv", "mxf",
];

/// A voice that ends so much before the length its file tells is cut off, seconds: packets and rounding explain less.
const SHORT: f64 = 0.5;

/// Damaged places after which a file is given up.
const DAMAGED: usize = 1000;

/// Samples that go into the tempo filter at once.
const BLOCK: usize = 4096;

/// The whole sound of a file, 48 kHz, left and right in turn.
pub fn read(path: &Path) -> Result<Vec<f32>> {
    let length = std::fs::metadata(path).doing("open the voice", path)?;
    if length.is_dir() {
        return Err(Error::refused("the voice is a folder", path.display(), "name a sound file in it"));
    }
    if length.len() == 0 {
        return Err(Error::refused("the voice is an empty file", path.display(), "record it again"));
    }
    if path.to_str().is_none() {
        let what = "the codec library cannot open a name that is not UTF-8";
        return Err(Error::refused(what, path.display(), "rename the file or its folder"));
    }
    let no_sound = "this is no sound file that can be read";
    let name_one = "name a sound file (WAV, M4A or MP3), and check that it plays";
    // With the scheme said, a colon in a file's name is no other scheme.
    let mut url = std::ffi::OsString::from("file:");
    url.push(path);
    let mut input = ff::format::input(&PathBuf::from(url))
        .map_err(|cause| Error::refused(no_sound, path.display(), name_one).because(cause))?;
    let kind = input.format().name().to_string();
    if !KINDS.iter().any(|k| kind.split(',').any(|name| name == *k)) {
        return Err(Error::refused(no_sound, path.display(), name_one));
    }
    let Some(stream) = input.streams().best(ff::media::Type::Audio) else {
        return Err(Error::refused("there is no sound in the voice's file", path.display(), name_one));
    };
    let (index, base) = (stream.index(), stream.time_base());
    let undecodable = || {
        let next = "save it as WAV or M4A, or install an FFmpeg that decodes it";
        Error::refused("the voice is in a format that this FFmpeg cannot decode", path.display(), next)
    };
    let context = ff::codec::context::Context::from_parameters(stream.parameters())
        .map_err(|cause| undecodable().because(cause))?;
    let told = told(&input);
    let mut decoder = context.decoder();
    decoder.set_packet_time_base(base);
    let decoder = decoder.audio().map_err(|cause| undecodable().because(cause))?;
    let mut voice = Voice { path, decoder, resampler: None, samples: Vec::new(), frame: ff::frame::Audio::empty() };
    let (mut broke, mut damaged) = (None, 0);
    let mut packet = ff::Packet::empty();
    loop {
        match packet.read(&mut input) {
            Ok(()) if packet.stream() == index => {
                // What cannot be decoded is missing from the length, and told there.
                let _ = voice.decoder.send_packet(&packet);
                voice.take()?;
            }
            Ok(()) => {}
            Err(ff::Error::Eof) => break,
            // Skipped as long as the demuxer finds its feet again.
            Err(ff::Error::InvalidData) if damaged < DAMAGED => damaged += 1,
            Err(cause) => {
                broke = Some(cause);
                break;
            }
        }
        if voice.seconds() > VOICE_MOST {
            let what = format!("the voice is longer than {} minutes", VOICE_MOST / 60.0);
            return Err(Error::refused(what, path.display(), "cut it into pieces, one for each part of the reel"));
        }
    }
    let _ = voice.decoder.send_eof();
    voice.take()?;
    voice.end()?;
    if voice.samples.is_empty() {
        return Err(Error::refused("there is no sound in the voice's file", path.display(), name_one));
    }
    let seconds = voice.seconds();
    if let Some(told) = told.filter(|told| seconds + SHORT < *told) {
        let what = format!("the voice breaks off after {seconds:.1} of {told:.1} s");
        return Err(Error::refused(what, path.display(), "copy or save it again"));
    }
    match broke {
        Some(cause) => Err(failed("read the voice to its end", path, cause)),
        None => Ok(voice.samples.into_iter().map(|s| if s.is_finite() { s } else { 0.0 }).collect()),
    }
}

/// Seconds that the file says it has; `None` where the library only guesses.
fn told(input: &ff::format::context::Input) -> Option<f64> {
    // SAFETY: reads two fields of an open context; the binding does not tell how the duration is known.
    let (duration, method) = unsafe {
        let context = input.as_ptr();
        ((*context).duration, (*context).duration_estimation_method)
    };
    let guessed = method == ffi::AVDurationEstimationMethod::AVFMT_DURATION_FROM_BITRATE;
    (duration > 0 && !guessed).then(|| duration as f64 / f64::from(ffi::AV_TIME_BASE))
}

struct Voice<'p> {
    path: &'p Path,
    decoder: ff::decoder::Audio,
    resampler: Option<resampling::Context>,
    samples: Vec<f32>,
    frame: ff::frame::Audio,
}

impl Voice<'_> {
    fn seconds(&self) -> f64 {
        self.samples.len() as f64 / 2.0 / f64::from(DESK_RATE)
    }

    /// Everything that the decoder has ready.
    fn take(&mut self) -> Result<()> {
        while self.decoder.receive_frame(&mut self.frame).is_ok() {
            if self.frame.channel_layout().is_empty() {
                self.frame.set_channel_layout(ff::ChannelLayout::default(i32::from(self.frame.channels())));
            }
            let fits = self.resampler.as_ref().is_some_and(|r| {
                r.input().format == self.frame.format()
                    && r.input().rate == self.frame.rate()
                    && r.input().channel_layout == self.frame.channel_layout()
            });
            let doing = |cause| failed("prepare the voice", self.path, cause);
            if !fits {
                self.end()?;
                let resampler = resampling::Context::get(
                    self.frame.format(),
                    self.frame.channel_layout(),
                    self.frame.rate(),
                    Sample::F32(Type::Packed),
                    ff::ChannelLayout::STEREO,
                    DESK_RATE,
                );
                self.resampler = Some(resampler.map_err(doing)?);
            }
            let Some(resampler) = &mut self.resampler else { continue };
            // Room for all that comes out; in less, the rest would pile up inside.
            let more = self.frame.samples() as u64 * u64::from(DESK_RATE) / u64::from(self.frame.rate().max(1));
            let room = more as usize + 256;
            let mut out = ff::frame::Audio::new(Sample::F32(Type::Packed), room, ff::ChannelLayout::STEREO);
            out.set_rate(DESK_RATE);
            resampler.run(&self.frame, &mut out).map_err(doing)?;
            self.samples.extend(floats(&out, 2));
        }
        Ok(())
    }

    /// What the resampler still holds.
    fn end(&mut self) -> Result<()> {
        let Some(mut resampler) = self.resampler.take() else { return Ok(()) };
        let mut out = ff::frame::Audio::new(Sample::F32(Type::Packed), 4096, ff::ChannelLayout::STEREO);
        out.set_rate(DESK_RATE);
        if resampler.flush(&mut out).is_ok() {
            self.samples.extend(floats(&out, 2));
        }
        Ok(())
    }
}

/// Sound `rate` times as fast at its own pitch, `frames` pairs of samples.
///
/// By FFmpeg's atempo, which overlaps pieces of the waveform where they are most alike (WSOLA). One filter takes half to twice
/// the tempo without leaving samples out, so that several equal ones stand in a row for more.
pub fn at_tempo(samples: &[f32], rate: f64, frames: usize) -> Result<Vec<f32>> {
    if !(0.1..=10.0).contains(&rate) {
        let what = format!("sound cannot be played at {rate} times its tempo");
        return Err(Error::refused(what, "", "take a speed from 0.1 to 10"));
    }
    if rate == 1.0 || samples.is_empty() {
        let mut same = samples.to_vec();
        same.resize(frames * 2, 0.0);
        return Ok(same);
    }
    let mut out = through(samples, rate).map_err(|cause| {
        Error::failed(
            "cannot change the tempo of sound",
            "",
            "install an FFmpeg with the filter atempo (Debian's has it)",
        )
        .because(cause)
    })?;
    out.resize(frames * 2, 0.0);
    Ok(out)
}

fn through(samples: &[f32], rate: f64) -> std::result::Result<Vec<f32>, ff::Error> {
    let filter = |name: &str| ff::filter::find(name).ok_or(ff::Error::FilterNotFound);
    let mut graph = ff::filter::Graph::new();
    let args = format!("time_base=1/{DESK_RATE}:sample_rate={DESK_RATE}:sample_fmt=flt:channel_layout=stereo");
    let mut last = graph.add(&filter("abuffer")?, "in", &args)?;
    let number = rate.log2().abs().ceil().max(1.0);
    let each = rate.powf(1.0 / number);
    for n in 0..number as usize {
        let mut next = graph.add(&filter("atempo")?, &format!("tempo{n}"), &format!("tempo={each:.9}"))?;
        last.link(0, &mut next, 0);
        last = next;
    }
    let mut sink = graph.add(&filter("abuffersink")?, "out", "")?;
    last.link(0, &mut sink, 0);
    graph.validate()?;
    let mut out = Vec::with_capacity((samples.len() as f64 / rate) as usize + BLOCK);
    let mut at = 0;
    for block in samples.chunks(BLOCK * 2) {
        let mut frame = ff::frame::Audio::new(Sample::F32(Type::Packed), block.len() / 2, ff::ChannelLayout::STEREO);
        frame.set_rate(DESK_RATE);
        frame.set_pts(Some(at));
        at += (block.len() / 2) as i64;
        for (to, from) in frame.data_mut(0).chunks_exact_mut(4).zip(block) {
            to.copy_from_slice(&from.to_ne_bytes());
        }
        graph.get("in").ok_or(ff::Error::FilterNotFound)?.source().add(&frame)?;
        drain(&mut graph, &mut out)?;
    }
    graph.get("in").ok_or(ff::Error::FilterNotFound)?.source().flush()?;
    drain(&mut graph, &mut out)?;
    Ok(out)
}

fn drain(graph: &mut ff::filter::Graph, out: &mut Vec<f32>) -> std::result::Result<(), ff::Error> {
    let mut sink = graph.get("out").ok_or(ff::Error::FilterNotFound)?;
    loop {
        let mut frame = ff::frame::Audio::empty();
        match sink.sink().frame(&mut frame) {
            Ok(()) => out.extend(floats(&frame, 2)),
            Err(ff::Error::Eof) => return Ok(()),
            Err(ff::Error::Other { errno }) if errno == ff::error::EAGAIN => return Ok(()),
            Err(cause) => return Err(cause),
        }
    }
}
