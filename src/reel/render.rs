//! Carries out a reel plan: each segment is rendered by itself, as many at once as there are cores, unless it was rendered
//! before; then they are joined into one file with one continuous sound track. Nothing is under the final name until it is
//! whole.

use std::collections::{BTreeMap, HashSet};
use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;

use super::copied::{self, PlanCopy};
use super::plan::{ReelPlan, Segment};
use super::schedule::sample_at;
use super::segment::{Job, SAMPLE_BYTES};
use super::store::{Made, PICTURES, SOUND, Store};
use super::voice::Mixer;
use crate::base::{Error, ErrorKind, IoContext, PendingFile, Problem, Progress, Rate, Result, go_on};
use crate::film::{Codec, Film, FilmReader, FilmWriter, JoinSpec, SoundDesk};
use crate::paint::{Design, Templates};

/// Sound channels of a reel.
pub const CHANNELS: usize = 2;

/// What a renderer works with.
pub struct Studio<'a> {
    /// Opens films.
    pub reader: &'a dyn FilmReader,
    /// Writes the reel.
    pub writer: &'a dyn FilmWriter,
    /// Slows sound.
    pub desk: &'a dyn SoundDesk,
    /// What is burned in and what cards look like.
    pub templates: &'a Templates,
    /// What is burned in.
    pub design: Design,
    /// What the pictures are encoded as.
    pub codec: Codec,
    /// x264 preset.
    pub preset: String,
    /// x264 constant rate factor.
    pub crf: u8,
    /// Plans what is copied of a segment whose strip stands for a while only; `None` where every frame is encoded.
    pub copies: Option<PlanCopy>,
    /// Segments rendered at once; 0 for as many as there are cores.
    pub jobs: usize,
    /// Segments rendered before.
    pub store: &'a Store,
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
    /// How many segments were rendered now; the others were there.
    pub fresh: usize,
}

/// A segment that is to be shown, and by what its files are found.
pub(super) struct Shown<'a> {
    pub segment: &'a Segment,
    pub job: Job<'a>,
    pub pictures: String,
    sound: Option<String>,
}

/// A plan laid out over its films.
pub(super) struct Laid<'a> {
    pub shown: Vec<Shown<'a>>,
    left_out: Vec<LeftOut>,
    /// Whether some segments hold copied packets: then not all have the same parameter sets.
    pub mixed: bool,
}

/// Renders a plan into `out`.
///
/// `open` gives the film behind a view's source (all its parts, read once). A segment whose film cannot be opened or has no
/// picture is left out and listed; one whose film ends or breaks early holds its last picture to its end, so that the reel's
/// times stay those of the plan. Fails, leaving nothing under the final name, if no segment can be shown, if writing fails,
/// or if a stop is asked for; what was rendered until then stays in the store.
pub fn render(
    plan: &ReelPlan,
    studio: &Studio<'_>,
    open: &mut dyn FnMut(&str) -> Result<Arc<Film>>,
    out: &Path,
) -> Result<Rendered> {
    let pending = PendingFile::new(out)?;
    let mut laid = lay_out(plan, studio, open)?;
    let made = make(plan, studio, &laid.shown)?;
    let mut result = Rendered {
        seconds: 0.0,
        frames: 0,
        segments: vec![],
        left_out: std::mem::take(&mut laid.left_out),
        problems: vec![],
        fresh: made.fresh,
    };
    let channels = if plan.mute { 0 } else { CHANNELS };
    let files = laid.shown.iter().filter(|shown| matches!(made.files.get(&shown.pictures), Some(Ok(_))));
    let mut mixed: Vec<_> = files.map(|shown| studio.store.path(&shown.pictures, PICTURES)).collect();
    mixed.sort();
    mixed.dedup();
    mixed.retain(|_| laid.mixed);
    let spec = JoinSpec { rate: plan.canvas.rate, channels, title: plan.title.clone(), mixed };
    let mut sink = studio.writer.join(pending.path(), &spec)?;
    let mut told: HashSet<(String, String)> = HashSet::new();
    let mut mixer = Mixer::new(plan.voice.clone());
    studio.progress.stage("join", laid.shown.len() as u64);
    for (number, shown) in laid.shown.iter().enumerate() {
        go_on(studio.progress, "joining the reel")?;
        let pictures = match made.files.get(&shown.pictures) {
            Some(Ok(pictures)) => pictures,
            Some(Err(why)) => {
                result.left_out.push(left_out(studio, shown.segment, why));
                continue;
            }
            None => continue,
        };
        let first = result.frames;
        let mut sound = shown.sound.as_ref().map(|key| Heard::open(studio.store, key, plan.canvas.rate, first));
        let path = studio.store.path(&shown.pictures, PICTURES);
        let mut sample = sample_at(first, plan.canvas.rate);
        let appended = sink.append(&path, &mut |samples| {
            let Some(sound) = &mut sound else { return Ok(()) };
            sound.next(samples)?;
            mixer.mix(sample, samples);
            sample += (samples.len() / CHANNELS) as u64;
            Ok(())
        });
        result.frames += appended.inspect_err(|error| {
            // A file that cannot be joined is rendered anew by the next run; a full disk is not its fault.
            if error.kind != ErrorKind::DiskFull {
                studio.store.drop_key(&shown.pictures);
            }
        })?;
        let (start, end) = (plan.canvas.seconds(first), plan.canvas.seconds(result.frames));
        sink.chapter(start, end, &shown.segment.title);
        let Segment { game, label, angle, .. } = shown.segment.clone();
        result.segments.push(RenderedSegment { game, label, angle, start, end });
        let heard = shown.sound.as_ref().and_then(|key| made.files.get(key)?.as_ref().ok());
        let all = shown.job.problems.iter().chain(&pictures.problems).chain(heard.iter().flat_map(|h| &h.problems));
        for problem in all {
            if told.insert((problem.place.clone(), problem.what.clone())) {
                result.problems.push(problem.clone());
            }
        }
        studio.progress.at(number as u64 + 1);
    }
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
    result.seconds = plan.canvas.seconds(result.frames);
    Ok(result)
}

/// What [`prepare`] found and made.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PreparedSegments {
    /// Segments rendered now.
    pub fresh: usize,
    /// Pictures of the whole plan.
    pub frames: u64,
    /// Bytes of these pictures.
    pub bytes: u64,
    /// Segments that cannot be shown.
    pub left_out: Vec<LeftOut>,
}

/// Renders the segments of a plan that are not there yet, and joins nothing: a reel of them is then a matter of moments.
///
/// # Errors
/// As for [`render`].
pub fn prepare(
    plan: &ReelPlan,
    studio: &Studio<'_>,
    open: &mut dyn FnMut(&str) -> Result<Arc<Film>>,
) -> Result<PreparedSegments> {
    let Laid { shown, left_out, .. } = lay_out(plan, studio, open)?;
    let made = make(plan, studio, &shown)?;
    let mut done = PreparedSegments { fresh: made.fresh, left_out, ..PreparedSegments::default() };
    for shown in &shown {
        match made.files.get(&shown.pictures) {
            Some(Ok(made)) => {
                done.frames += made.frames;
                done.bytes += made.bytes;
            }
            Some(Err(why)) => done.left_out.push(self::left_out(studio, shown.segment, why)),
            None => {}
        }
    }
    Ok(done)
}

/// Opens the films of all segments and finds each one's keys.
pub(super) fn lay_out<'a>(
    plan: &'a ReelPlan,
    studio: &Studio<'_>,
    open: &mut dyn FnMut(&str) -> Result<Arc<Film>>,
) -> Result<Laid<'a>> {
    let encoder = studio.writer.encoder(studio.codec)?;
    let mut laid = Laid { shown: Vec::new(), left_out: Vec::new(), mixed: false };
    for segment in &plan.segments {
        let films: Result<Vec<Arc<Film>>> = segment.views.iter().map(|view| open(&view.source)).collect();
        match films.and_then(|films| Job::of(segment, films, plan.canvas, studio.templates)) {
            Ok(job) => {
                let sound = (!plan.mute).then(|| job.sound_key());
                laid.shown.push(Shown { segment, job, pictures: String::new(), sound });
            }
            // A film that fails takes its own play out of the reel, not the reel; a stop stops.
            Err(error) if error.kind == ErrorKind::Interrupted => return Err(error),
            Err(error) => laid.left_out.push(left_out(studio, segment, &error.to_string())),
        }
    }
    copied::choose(&mut laid, studio)?;
    for shown in &mut laid.shown {
        shown.pictures = shown.job.picture_key(studio, &encoder);
    }
    Ok(laid)
}

fn left_out(studio: &Studio<'_>, segment: &Segment, why: &str) -> LeftOut {
    let Segment { game, label, angle, .. } = segment.clone();
    studio.progress.warn(&format!("play {label} from {angle} is left out: {why}"));
    LeftOut { game, label, angle, why: why.to_string() }
}

/// The files of a plan: what is known of each by its key, or why there is none.
struct Files {
    files: BTreeMap<String, std::result::Result<Made, String>>,
    fresh: usize,
}

/// Sees to it that every file is there.
fn make(plan: &ReelPlan, studio: &Studio<'_>, shown: &[Shown<'_>]) -> Result<Files> {
    let mut files = BTreeMap::new();
    let mut wanted: BTreeMap<&str, (&Shown<'_>, &str)> = BTreeMap::new();
    for one in shown {
        let pair = [Some((&one.pictures, PICTURES)), one.sound.as_ref().map(|key| (key, SOUND))];
        for (key, ending) in pair.into_iter().flatten() {
            match studio.store.get(key, ending) {
                Some(made) => drop(files.insert(key.clone(), Ok(made))),
                None => drop(wanted.insert(key, (one, ending))),
            }
        }
    }
    let wanted: Vec<(&str, (&Shown<'_>, &str))> = wanted.into_iter().collect();
    let pictures = || wanted.iter().filter(|(_, (_, ending))| *ending == PICTURES);
    let total = pictures().map(|(_, (one, _))| one.job.frames()).sum();
    studio.progress.pace(plan.canvas.rate.hz());
    studio.progress.stage("render", total);
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let jobs = if studio.jobs == 0 { cores } else { studio.jobs };
    // Few segments leave cores to the encoder.
    let threads = (jobs / pictures().count().max(1)).max(1);
    let done = AtomicU64::new(0);
    let pool = rayon::ThreadPoolBuilder::new().num_threads(jobs).build().map_err(|cause| {
        Error::failed("cannot start the renderer's threads", "", "close other programs and try again").because(cause)
    })?;
    let one =
        |(key, (one, ending)): &(&str, (&Shown<'_>, &str))| -> Result<(String, std::result::Result<Made, String>)> {
            go_on(studio.progress, "rendering; what is rendered is kept")?;
            let so_far = AtomicU64::new(0);
            let at = |frames: u64| {
                let before = so_far.swap(frames, Ordering::Relaxed);
                let all =
                    done.fetch_add(frames.saturating_sub(before), Ordering::Relaxed) + frames.saturating_sub(before);
                studio.progress.at(all);
            };
            let made = studio.store.put(key, ending, |path| match *ending {
                PICTURES => one.job.pictures(studio, threads, path, &at),
                _ => one.job.sound(studio, path),
            });
            match made {
                Ok(made) => Ok((key.to_string(), Ok(made))),
                Err(error) if matches!(error.kind, ErrorKind::Interrupted | ErrorKind::DiskFull) => Err(error),
                Err(error) => Ok((key.to_string(), Err(error.to_string()))),
            }
        };
    let made: Vec<_> = pool.install(|| wanted.par_iter().map(one).collect::<Result<Vec<_>>>())?;
    let fresh =
        wanted.iter().zip(&made).filter(|((_, (_, ending)), (_, made))| *ending == PICTURES && made.is_ok()).count();
    files.extend(made);
    let keep: HashSet<String> = files.keys().cloned().collect();
    studio.store.trim(u64::MAX, &keep);
    Ok(Files { files, fresh })
}

/// The sound of a segment as it is joined: exactly up to the sample at which the next picture begins.
struct Heard {
    file: Option<BufReader<File>>,
    rate: Rate,
    /// The picture of the reel whose sound comes next.
    frame: u64,
    bytes: Vec<u8>,
}

impl Heard {
    fn open(store: &Store, key: &str, rate: Rate, first: u64) -> Self {
        // A segment without sound is silent; that it failed was told.
        let file = File::open(store.path(key, SOUND)).ok().map(BufReader::new);
        Self { file, rate, frame: first, bytes: Vec::new() }
    }

    fn next(&mut self, samples: &mut Vec<f32>) -> Result<()> {
        let wanted = (sample_at(self.frame + 1, self.rate) - sample_at(self.frame, self.rate)) as usize;
        self.frame += 1;
        samples.clear();
        if let Some(file) = &mut self.file {
            self.bytes.clear();
            let most = (wanted * SAMPLE_BYTES) as u64;
            file.by_ref().take(most).read_to_end(&mut self.bytes).doing("read the segment's sound", Path::new(""))?;
            let pairs = self.bytes.chunks_exact(2);
            samples.extend(pairs.map(|pair| f32::from(i16::from_le_bytes([pair[0], pair[1]])) / 32767.0));
        }
        samples.resize(wanted * CHANNELS, 0.0);
        Ok(())
    }
}

#[cfg(test)]
mod tests;
