//! Carries out a reel plan: one file, one continuous sound track, nothing under the final name until it is whole.

use std::path::Path;
use std::sync::Arc;

use super::fit::Fitter;
use super::plan::{ReelPlan, Segment};
use super::schedule::{Schedule, sample_at};
use super::sound::SegmentSound;
use crate::base::{Error, ErrorKind, FrameNo, PendingFile, Problem, Progress, Rate, Result};
use crate::film::{ClipSink, ClipSpec, Decode, Film, FilmReader, FilmWriter, FrameSource};
use crate::paint::{Overlay, Strip, Template};

/// Sound channels of a reel.
pub const CHANNELS: usize = 2;

/// What a renderer works with.
pub struct Studio<'a> {
    /// Opens films.
    pub reader: &'a dyn FilmReader,
    /// Writes the reel.
    pub writer: &'a dyn FilmWriter,
    /// The strip.
    pub template: &'a Template,
    /// x264 preset.
    pub preset: String,
    /// x264 constant rate factor.
    pub crf: u8,
    /// Who is told.
    pub progress: &'a dyn Progress,
}

/// Where a segment lies in the finished reel.
#[derive(Debug, Clone, PartialEq)]
pub struct RenderedSegment {
    /// The game's name.
    pub game: String,
    /// The play's label.
    pub label: String,
    /// The camera's name.
    pub angle: String,
    /// First moment, seconds in the reel.
    pub start: f64,
    /// End, seconds in the reel.
    pub end: f64,
}

/// A segment that could not be shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftOut {
    /// The game's name.
    pub game: String,
    /// The play's label.
    pub label: String,
    /// The camera's name.
    pub angle: String,
    /// Why.
    pub why: String,
}

/// A finished reel.
#[derive(Debug, Clone, PartialEq)]
pub struct Rendered {
    /// Its length.
    pub seconds: f64,
    /// Its frames.
    pub frames: u64,
    /// What is seen when, in order.
    pub segments: Vec<RenderedSegment>,
    /// What could not be shown.
    pub left_out: Vec<LeftOut>,
    /// What was not as it should be: damage, signs without a glyph, a clip shorter than planned.
    pub problems: Vec<Problem>,
}

/// Renders a plan into `out`.
///
/// `open` gives the film behind a segment's source (all its parts, read once). A segment whose film cannot be opened or
/// has no picture is left out and listed; one whose film ends or breaks early holds its last picture to its end, so that
/// the reel's times stay those of the plan. Fails, leaving nothing under the final name, if no segment can be shown, if
/// writing fails, or if a stop is asked for.
pub fn render(
    plan: &ReelPlan,
    studio: &Studio<'_>,
    open: &mut dyn FnMut(&Segment) -> Result<Arc<Film>>,
    out: &Path,
) -> Result<Rendered> {
    let pending = PendingFile::new(out)?;
    let spec = ClipSpec {
        width: plan.canvas.width,
        height: plan.canvas.height,
        rate: plan.canvas.rate,
        channels: if plan.mute { 0 } else { CHANNELS },
        preset: studio.preset.clone(),
        crf: studio.crf,
        title: plan.title.clone(),
        chapters: Vec::new(),
    };
    let planned: u64 = plan.segments.iter().map(|s| s.span.len()).sum();
    studio.progress.pace(plan.canvas.rate.hz());
    studio.progress.stage("render", planned);
    let mut reel = Reel {
        studio,
        sink: studio.writer.create(pending.path(), &spec)?,
        fitter: Fitter::new(spec.width as usize, spec.height as usize),
        rate: spec.rate,
        mute: plan.mute,
        frames: 0,
        heard: Vec::new(),
        done: 0,
        result: Rendered { seconds: 0.0, frames: 0, segments: vec![], left_out: vec![], problems: vec![] },
    };
    for segment in &plan.segments {
        reel.segment(segment, open)?;
        reel.done += segment.span.len();
        studio.progress.at(reel.done);
    }
    let Reel { sink, mut result, frames, rate, .. } = reel;
    if result.segments.is_empty() {
        let why = result.left_out.first().map_or("the plan has no segment", |l| l.why.as_str());
        return Err(Error::refused(
            format!("cannot make a reel: no play can be shown ({why})"),
            out.display(),
            "run `downbox cut` for the game again with its film where it was: clips that are gone are cut anew",
        ));
    }
    sink.finish()?;
    pending.commit()?;
    result.frames = frames;
    result.seconds = seconds(frames, rate);
    Ok(result)
}

fn seconds(frames: u64, rate: Rate) -> f64 {
    frames as f64 * f64::from(rate.den.max(1)) / f64::from(rate.num.max(1))
}

/// The reel being written.
struct Reel<'a> {
    studio: &'a Studio<'a>,
    sink: Box<dyn ClipSink + Send>,
    fitter: Fitter,
    rate: Rate,
    mute: bool,
    /// Frames written.
    frames: u64,
    /// Sound of one frame, kept to save the allocation.
    heard: Vec<f32>,
    /// Source frames of the plan that are done, for progress.
    done: u64,
    result: Rendered,
}

/// The source of a segment's pictures, at the frame it has come to.
struct Pictures<'f> {
    source: Box<dyn FrameSource + Send + 'f>,
    film: &'f Film,
    at: Option<FrameNo>,
    /// Whether one of them lies on the canvas.
    laid: bool,
    /// Frames in which the decoder met damage.
    damaged: u64,
    /// Why no more come.
    ended: Option<String>,
}

impl Reel<'_> {
    /// Shows one segment, or lists it as left out. Errors are those of writing.
    fn segment(&mut self, segment: &Segment, open: &mut dyn FnMut(&Segment) -> Result<Arc<Film>>) -> Result<()> {
        let film = match open(segment) {
            Ok(film) => film,
            Err(error) => return self.leave_out(segment, error),
        };
        let span = Schedule::within(&film, segment.span);
        if span.is_empty() {
            let has = format!("it has only {} frames", film.frames());
            return self.leave_out(segment, Error::refused(has, &segment.source, ""));
        }
        if span != segment.span {
            let what = format!("the clip ends at frame {}, before {}", span.end, segment.span.end);
            self.result.problems.push(Problem::new(&segment.source, what));
        }
        let mut pictures = match Pictures::open(self.studio.reader, &film, span.start) {
            Ok(pictures) => pictures,
            Err(error) => return self.leave_out(segment, error),
        };
        let overlay = self.strip(segment)?;
        let schedule = Schedule::of(&film, span, self.rate);
        let mut sound = SegmentSound::open(self.studio.reader, &film, schedule.from, self.mute);

        let first = self.frames;
        for k in 0..schedule.frames {
            if self.studio.progress.stop_asked() {
                return Err(Error::failed("stopped before the reel was whole", "", "run the same command again")
                    .of_kind(ErrorKind::Interrupted));
            }
            let shown = pictures.show(schedule.source(&film, k), &mut self.fitter, overlay.as_ref());
            if k == 0 && !shown {
                let why = pictures.ended.unwrap_or_else(|| "it has no picture there".into());
                return self.leave_out(segment, Error::failed(why, &segment.source, ""));
            }
            self.sink.picture(&self.fitter.canvas().view(FrameNo(self.frames), seconds(self.frames, self.rate)))?;
            self.frames += 1;
            self.hear(&mut sound)?;
            self.studio.progress.at(self.done + segment.span.len() * (k + 1) / schedule.frames);
        }
        let (start, end) = (seconds(first, self.rate), seconds(self.frames, self.rate));
        self.sink.chapter(start, end, &segment.title);
        self.note(segment, &pictures, sound.broken.as_deref());
        let (game, label, angle) = (segment.game.clone(), segment.label.clone(), segment.angle.clone());
        self.result.segments.push(RenderedSegment { game, label, angle, start, end });
        Ok(())
    }

    /// Writes the sound of the frame just written: exactly up to the sample at which the next one begins.
    fn hear(&mut self, sound: &mut SegmentSound<'_>) -> Result<()> {
        if self.mute {
            return Ok(());
        }
        let samples = sample_at(self.frames, self.rate) - sample_at(self.frames - 1, self.rate);
        sound.take(samples as usize, &mut self.heard);
        self.sink.sound(&self.heard)
    }

    fn strip(&mut self, segment: &Segment) -> Result<Option<Overlay>> {
        let Some(text) = &segment.strip else { return Ok(None) };
        let canvas = self.fitter.canvas();
        let strip = Strip::draw(self.studio.template, text, canvas.width, canvas.height)?;
        for problem in strip.problems {
            if !self.result.problems.contains(&problem) {
                self.result.problems.push(problem);
            }
        }
        Ok(strip.overlay)
    }

    /// A film that fails takes its own play out of the reel, not the reel; a stop stops.
    fn leave_out(&mut self, segment: &Segment, error: Error) -> Result<()> {
        if error.kind == ErrorKind::Interrupted {
            return Err(error);
        }
        let (game, label, angle) = (segment.game.clone(), segment.label.clone(), segment.angle.clone());
        let why = error.to_string();
        self.studio.progress.warn(&format!("play {label} from {angle} is left out: {why}"));
        self.result.left_out.push(LeftOut { game, label, angle, why });
        Ok(())
    }

    fn note(&mut self, segment: &Segment, pictures: &Pictures<'_>, no_sound: Option<&str>) {
        let mut say = |what: String| self.result.problems.push(Problem::new(&segment.source, what));
        if let (Some(why), Some(at)) = (&pictures.ended, pictures.at) {
            say(format!("no picture after frame {at} ({why}); the last one is held"));
        }
        let damage = pictures.source.damage();
        // A decoder that marks pictures without telling where is still told of.
        if damage.is_empty() && pictures.damaged > 0 {
            say(format!("{} damaged frames are shown", pictures.damaged));
        }
        if let Some(why) = no_sound {
            say(format!("its sound breaks off ({why}); silence follows"));
        }
        self.result.problems.extend(damage.into_iter().map(|span| pictures.film.damage(span)));
    }
}

impl<'f> Pictures<'f> {
    fn open(reader: &'f dyn FilmReader, film: &'f Film, from: FrameNo) -> Result<Self> {
        let mut source = reader.frames(film, Decode::Exact, 0)?;
        source.seek(from)?;
        Ok(Self { source, film, at: None, laid: false, damaged: 0, ended: None })
    }

    /// Reads on to frame `to` and lays it on the canvas with the overlay. Whether there is a picture on the canvas: the
    /// one asked for, or, where the film has ended, the one before.
    fn show(&mut self, to: FrameNo, fitter: &mut Fitter, overlay: Option<&Overlay>) -> bool {
        while self.ended.is_none() && self.at.is_none_or(|at| at < to) {
            match self.source.next_frame() {
                Ok(Some(view)) => {
                    self.at = Some(view.no);
                    self.damaged += u64::from(view.damaged);
                    if view.no >= to {
                        let part = self.film.parts.get(self.film.place(view.no).part);
                        let shown = part.map(|p| (p.width, p.height)).filter(|&(w, h)| w > 0 && h > 0);
                        let shown = shown.unwrap_or((view.width as u32, view.height as u32));
                        let canvas = fitter.fit(&view, shown);
                        if let Some(overlay) = overlay {
                            overlay.blend(canvas);
                        }
                        self.laid = true;
                    }
                }
                Ok(None) => self.ended = Some("the film ends there".into()),
                Err(error) => self.ended = Some(error.to_string()),
            }
        }
        self.laid
    }
}

#[cfg(test)]
mod tests;
