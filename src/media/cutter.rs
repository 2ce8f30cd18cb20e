//! Cutting clips out of a film that stays open between them.

use std::fs::File;
use std::path::{Path, PathBuf};

use ffmpeg_next as ff;

use super::demux::Demux;
use super::encode::{Tags, VideoSpec};
use super::frames::Frames;
use super::sound::Sound;
use super::{Media, failed};
use crate::base::{Error, IoContext, Rate, Result};
use crate::film::{ClipPlan, Codec, Decode, Draw, Film, Part, Piece};

/// Carries out plans over one film, in order. `done(i)` is called when `paths[i]` is whole and closed.
pub fn carry_out(
    media: &Media,
    film: &Film,
    plans: &[ClipPlan],
    paths: &[PathBuf],
    done: &mut dyn FnMut(usize) -> Result<()>,
) -> Result<()> {
    if plans.len() != paths.len() {
        return Err(Error::failed(
            format!("{} clips are planned and {} names given", plans.len(), paths.len()),
            "",
            "report this: every clip needs its name",
        ));
    }
    let mut cutter = Cutter::over(media, film, 0);
    for (i, (plan, path)) in plans.iter().zip(paths).enumerate() {
        cutter.check(plan)?;
        if plan.pieces.iter().any(|p| matches!(p, Piece::Copy(_))) {
            cutter.splice(plan, path)?;
        } else {
            cutter.encode_whole(plan, path)?;
        }
        done(i)?;
    }
    Ok(())
}

/// A film held open between clips: one demuxer for packets, one decoder for frames, one for sound.
pub struct Cutter<'a> {
    /// How what is encoded differs from what a clip has.
    pub own: Option<Own<'a>>,
    pub media: &'a Media,
    pub film: &'a Film,
    pub frames: Frames<'a>,
    pub sound: Option<Sound<'a>>,
    open: Option<(usize, Demux)>,
    bytes: Option<(usize, File)>,
}

/// What is encoded for a reel beside copied packets.
pub struct Own<'a> {
    /// Id of its parameter sets.
    pub set_id: u8,
    /// Encoder threads.
    pub threads: usize,
    /// Draws on it.
    pub draw: &'a mut Draw<'a>,
}

impl<'a> Cutter<'a> {
    /// Opens nothing yet. `threads`: those of the decoder, 0 for as many as there are cores.
    pub fn over(media: &'a Media, film: &'a Film, threads: usize) -> Self {
        let frames = Frames::new(film, Decode::Exact, threads);
        Self { own: None, media, film, frames, open: None, bytes: None, sound: None }
    }
}

impl Cutter<'_> {
    /// Whether a plan is one of this film.
    pub fn check(&self, plan: &ClipPlan) -> Result<()> {
        let mut at = plan.span.start;
        for piece in &plan.pieces {
            let (Piece::Copy(span) | Piece::Encode(span, _)) = piece;
            let joined = span.start == at && !span.is_empty();
            at = if joined { span.end } else { plan.span.start };
        }
        let first = self.film.starts()[self.film.place(plan.span.start).part];
        if plan.span.start.0 < first + plan.hidden
            || plan.span.is_empty()
            || at != plan.span.end
            || plan.span.end.0 > self.film.frames()
        {
            return Err(Error::failed(
                format!("the plan of frames {} to {} does not fit the film", plan.span.start, plan.span.end),
                self.film.parts.first().map(|p| p.path.display().to_string()).unwrap_or_default(),
                "scan the film again, then run the same command",
            ));
        }
        Ok(())
    }

    /// The file of a part, for bytes that are copied as they lie.
    pub fn bytes(&mut self, part: usize) -> Result<&mut File> {
        let path = &self.film.parts[part].path;
        if self.bytes.as_ref().is_none_or(|(at, _)| *at != part) {
            self.bytes = Some((part, File::open(path).doing("open the film", path)?));
        }
        match &mut self.bytes {
            Some((_, file)) => Ok(file),
            None => Err(cannot_copy("it is not open", path)),
        }
    }

    /// The demuxer of a part. Whoever reads from it says of which streams.
    pub fn demux(&mut self, part: usize) -> Result<&mut Demux> {
        if self.open.as_ref().is_none_or(|(at, _)| *at != part) {
            self.open = Some((part, Demux::open(&self.film.parts[part].path)?));
        }
        match &mut self.open {
            Some((_, demux)) => Ok(demux),
            None => Err(Error::failed("cannot open the film", "", "run the same command again")),
        }
    }

    /// Parameters of a part's picture stream.
    pub fn picture_parameters(&mut self, part: usize) -> Result<ff::codec::Parameters> {
        let demux = self.demux(part)?;
        demux
            .parameters(demux.video)
            .ok_or_else(|| failed("look at the picture", &demux.path, ff::Error::StreamNotFound))
    }

    /// What frames encoded anew look like: as much like the part's own as can be.
    pub fn spec(&self, part: &Part, parameters: &ff::codec::Parameters) -> VideoSpec {
        // SAFETY: the parameters are live; the binding shows none of these fields.
        let (width, height, depth, full) = unsafe {
            let p = parameters.as_ptr();
            ((*p).width, (*p).height, (*p).video_delay, (*p).color_range == ff::ffi::AVColorRange::AVCOL_RANGE_JPEG)
        };
        VideoSpec {
            codec: Codec::H264,
            width: width.max(0) as u32,
            height: height.max(0) as u32,
            time_base: base_of(part),
            rate: part.rate,
            aspect: part.sample_aspect,
            tags: Tags::of(parameters, full || part.pixel_format.starts_with("yuvj")),
            preset: self.media.preset.clone(),
            crf: self.media.crf,
            gop: (2.0 * part.rate.hz()).round().max(1.0) as u32,
            set_id: None,
            reorder: depth.clamp(0, 2) as u8,
            level: None,
            threads: 0,
            upper_first: None,
        }
    }
}

/// The part's time base as the library has it.
pub fn base_of(part: &Part) -> ff::Rational {
    ff::Rational(part.time_base.num as i32, part.time_base.den as i32)
}

/// A ratio turned by a quarter.
pub fn turned(ratio: Rate) -> Rate {
    Rate { num: ratio.den, den: ratio.num }
}

/// Ticks of the part's time base at which frame `k` is shown; past the end, the last frame's time and a frame more.
pub fn ticks_at(part: &Part, k: u64) -> i64 {
    let pts = &part.index.pts;
    match pts.get(k as usize) {
        Some(&at) => at,
        None => {
            let last = pts.last().copied().unwrap_or(0);
            let step = 1.0 / (part.rate.hz() * part.time_base.seconds(1)).max(1e-9);
            last + (step * (k - (pts.len() as u64).saturating_sub(1)) as f64).round() as i64
        }
    }
}

/// What to say where a film cannot be copied from although it was planned.
pub fn cannot_copy(what: &str, path: &Path) -> Error {
    Error::failed(
        format!("cannot copy from the film: {what}"),
        path.display(),
        "check that the film is where it was and unchanged, then run the same command again",
    )
}
