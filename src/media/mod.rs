//! The only room that speaks to the codec library (FFmpeg 5.1 to 8): probing, demuxing, decoding, encoding, copying
//! packets, muxing. Everything else sees it through the traits of the film room.
//!
//! `unsafe` stands here alone, each with its reason: the safe binding lacks the call or the field.

mod alarm;
mod boxes;
mod container;
mod cutter;
mod demux;
mod encode;
mod entry;
mod fields;
mod frames;
mod index;
mod join;
mod mp4;
mod mux;
mod nal;
mod packets;
mod part;
mod picture;
mod reel_copy;
mod sink;
mod sound;
mod splice;
mod track;
mod voice;
mod whole;

use std::path::{Path, PathBuf};
use std::sync::{Arc, Once};

use ffmpeg_next as ff;

use crate::base::{Error, ErrorKind, Problem, Progress, Result};
use crate::film::{
    ClipPlan, ClipSink, ClipSpec, Codec, Decode, Draw, DrawnSpec, EntryPoints, Film, FilmReader, FilmWriter,
    FrameSource, JoinShape, JoinSpec, Joinable, ReelSink, SoundDesk, SoundPlan, SoundSource,
};

/// The codec library, started.
#[derive(Debug, Clone)]
pub struct Media {
    /// x264 preset of frames that a cut encodes anew.
    pub preset: String,
    /// x264 constant rate factor of those frames.
    pub crf: u8,
    /// Packets of the parts that were read.
    known: Arc<packets::Known>,
}

/// Up to what level SVT-AV1 writes its log; 1 is errors.
const SVT_LOG: &str = "SVT_LOG";

impl Media {
    /// Starts the library. Its own log is silenced: what matters becomes an error or a problem of ours.
    pub fn new() -> Result<Self> {
        static START: Once = Once::new();
        let mut failed = None;
        START.call_once(|| {
            // SVT-AV1 writes its settings to standard error unless told not to, and is told in no other way.
            if std::env::var_os(SVT_LOG).is_none() {
                // SAFETY: the program does this before it starts a thread; the standard library's own readers take turns
                // with it.
                unsafe { std::env::set_var(SVT_LOG, "1") };
            }
            failed = ff::init().err();
            alarm::listen();
        });
        match failed {
            Some(cause) => Err(Error::failed("cannot start the codec library", "", "reinstall FFmpeg").because(cause)),
            None => Ok(Self { preset: "veryfast".into(), crf: 18, known: Arc::default() }),
        }
    }
}

/// Extradata of a stream's parameters: parameter sets, decoder configuration.
fn extradata(parameters: &ff::codec::Parameters) -> Vec<u8> {
    // SAFETY: the parameters are live; the binding shows no extradata.
    unsafe {
        let p = parameters.as_ptr();
        if (*p).extradata.is_null() || (*p).extradata_size <= 0 {
            return Vec::new();
        }
        std::slice::from_raw_parts((*p).extradata, (*p).extradata_size as usize).to_vec()
    }
}

/// A failure of the codec library as an error of ours. A full disk is told apart.
fn failed(doing: &str, path: &Path, cause: ff::Error) -> Error {
    let full = matches!(cause, ff::Error::Other { errno } if errno == ff::error::ENOSPC);
    if full {
        Error::failed(
            format!("cannot {doing}"),
            path.display(),
            "free some room on this disk, then run the same command again",
        )
        .of_kind(ErrorKind::DiskFull)
        .because(cause)
    } else {
        Error::failed(format!("cannot {doing}"), path.display(), "check that the file plays and the disk is sound")
            .because(cause)
    }
}

impl FilmReader for Media {
    fn read(&self, paths: &[PathBuf], progress: &dyn Progress) -> Result<Film> {
        let files = part::files(paths)?;
        progress.stage("read films", files.len() as u64);
        let mut problems = Vec::new();
        let mut parts = Vec::new();
        for (i, file) in files.iter().enumerate() {
            match part::read(file, &mut problems, &self.known) {
                Ok(part) => parts.push(part),
                // One bad card file among many does not cost the night; a camera of one file has nothing else.
                Err(error) if files.len() > 1 => {
                    problems
                        .push(Problem::new(file.display().to_string(), format!("left out: {error}; {}", error.next)));
                }
                Err(error) => return Err(error),
            }
            progress.at(i as u64 + 1);
        }
        if parts.is_empty() {
            return Err(Error::refused(
                format!("none of the {} files of this camera can be read", files.len()),
                files.first().map(|f| f.display().to_string()).unwrap_or_default(),
                "name the film files themselves, or a folder that holds them",
            ));
        }
        part::order(&mut parts);
        Ok(Film { parts, problems })
    }

    fn frames<'a>(&self, film: &'a Film, how: Decode, threads: usize) -> Result<Box<dyn FrameSource + Send + 'a>> {
        Ok(Box::new(frames::Frames::new(film, how, threads)))
    }

    fn shown<'a>(&self, film: &'a Film, threads: usize) -> Result<Box<dyn FrameSource + Send + 'a>> {
        Ok(Box::new(fields::Fields::new(film, threads)))
    }

    fn sound<'a>(
        &self,
        film: &'a Film,
        rate: u32,
        channels: usize,
    ) -> Result<Option<Box<dyn SoundSource + Send + 'a>>> {
        if !film.parts.iter().any(|p| p.sound) {
            return Ok(None);
        }
        Ok(Some(Box::new(sound::Sound::new(film, rate, channels))))
    }
}

impl SoundDesk for Media {
    fn voice(&self, path: &Path) -> Result<Vec<f32>> {
        voice::read(path)
    }

    fn at_tempo(&self, samples: &[f32], rate: f64, frames: usize) -> Result<Vec<f32>> {
        voice::at_tempo(samples, rate, frames)
    }
}

impl FilmWriter for Media {
    fn create(&self, path: &Path, spec: &ClipSpec) -> Result<Box<dyn ClipSink + Send>> {
        Ok(Box::new(sink::Sink::create(path, spec)?))
    }

    fn join(&self, path: &Path, spec: &JoinSpec) -> Result<Box<dyn ReelSink + Send>> {
        Ok(Box::new(join::Joiner::create(path, spec)))
    }

    fn joinable(&self, films: &[&Film], shape: JoinShape) -> Result<Joinable> {
        reel_copy::joinable(self, films, shape)
    }

    fn splice_drawn(
        &self,
        film: &Film,
        plan: &ClipPlan,
        path: &Path,
        spec: &DrawnSpec,
        draw: &mut Draw<'_>,
    ) -> Result<()> {
        reel_copy::splice_drawn(self, film, plan, path, spec, draw)
    }

    fn encoder(&self, codec: Codec) -> Result<String> {
        let name = encode::find(codec, Path::new(""))?.name().to_string();
        Ok(format!("{name} of libavcodec {:#x}", ff::codec::version()))
    }

    fn entry_points(&self, film: &Film, part: usize) -> Result<EntryPoints> {
        entry::entry_points(&self.known, film, part)
    }

    fn sound_plan(&self, film: &Film, part: usize) -> Result<SoundPlan> {
        entry::sound_plan(&self.known, film, part)
    }

    fn carry_out(
        &self,
        film: &Film,
        plans: &[ClipPlan],
        paths: &[PathBuf],
        done: &mut dyn FnMut(usize) -> Result<()>,
    ) -> Result<()> {
        cutter::carry_out(self, film, plans, paths, done)
    }
}
