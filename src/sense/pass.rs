//! The one pass over a film.
//!
//! The film is measured in chunks by all cores. In most chunks only the pictures are decoded that others are predicted
//! from (with the loop filter: without it the far lines of the end-zone camera flicker, and snaps found by it alone fall
//! from .83 to .70); where one of them does not continue the one before, every frame around is decoded, without the
//! filter, to find the cut. Chunks follow from the film alone and are put together in order: the result is the same with any
//! number of cores, and whether or not the run was broken off.

use std::collections::{BTreeMap, VecDeque};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{Sender, channel};
use std::sync::{Condvar, Mutex, PoisonError};

use super::chunk::{Chunk, Job, jobs};
use super::cut::CONTEXT;
use super::gather::Gatherer;
use super::measured::{Borders, Measured, measured};
use super::picker::{Picker, crowds};
use super::small::{Shrinker, Small};
use super::whistle;
use crate::base::{Error, FrameNo, FrameSpan, Problem, Progress, Result, go_on};
use crate::film::{Decode, Film, FilmReader, FrameSource, Part, Series, Unfinished};

/// Version of the measurement: raised with every change that can change a number in a series.
pub const VERSION: u32 = 4;

/// Cuts at most this many frames apart are one (a cut may have a blended frame).
const MERGE: u64 = 3;
/// A broken-off measurement is gone on with from a chunk this many seconds before its end at least: what is field is told
/// from 5 s around a sample.
const WARM_UP: f64 = 12.0;
/// What is measured so far is kept every so many chunks: ten minutes of film.
const KEEP_EVERY: usize = 40;
/// How many chunks a core may be ahead of the slowest, for each core: they wait in memory, 2 MB each.
const AHEAD: usize = 4;

/// Keeps what is measured so far.
pub type Keep<'a> = dyn FnMut(&Unfinished) + 'a;

/// Measures a film: cuts, motion and whistles. One pass over the pictures and one over the sound, side by side; memory
/// does not grow with the film but for the series itself (about 80 bytes a sample).
///
/// # Errors
/// What the decoder cannot read at all; `Interrupted` when `progress` asks to stop.
pub fn measure(reader: &dyn FilmReader, film: &Film, progress: &dyn Progress) -> Result<Series> {
    measure_on(reader, film, None, &mut |_| {}, progress)
}

/// The same, going on from what an earlier run had measured of this film (what does not fit it is left aside), and
/// handing what is measured to `keep` now and then, also when stopped.
///
/// # Errors
/// As [`measure`].
pub fn measure_on(
    reader: &dyn FilmReader,
    film: &Film,
    begun: Option<Unfinished>,
    keep: &mut Keep<'_>,
    progress: &dyn Progress,
) -> Result<Series> {
    progress.stage("measure", film.frames());
    let begun = begun.filter(|b| b.series.version == VERSION && b.series.film == film.fingerprint());
    std::thread::scope(|scope| {
        let sound = scope.spawn(|| whistle::hear(reader, film, progress));
        let pictures = look(reader, film, begun, keep, progress);
        let sound = sound.join().unwrap_or_else(|_| Err(died()));
        let mut series = pictures?;
        let heard = sound?;
        series.sound = heard.is_some();
        series.whistles = heard.unwrap_or_default();
        Ok(series)
    })
}

/// What was measured of a film's first `parts`, as the beginning of a measurement of all of it. Near its end the samples
/// were made without what follows: they are measured again.
pub fn of_first_parts(mut series: Series, film: &Film, parts: usize) -> Unfinished {
    let cuts_to: u64 = film.parts.iter().take(parts).map(Part::frames).sum();
    let last = film.time(FrameNo(cuts_to)) - WARM_UP;
    series.film = film.fingerprint();
    series.samples.retain(|sample| sample.time < last);
    series.whistles.clear();
    Unfinished { series, cuts_to }
}

fn died() -> Error {
    Error::failed("cannot measure the film: the measurement died", "", "report this with the film's format")
}

/// What a chunk gave, by its number over all jobs.
type Outcome = (usize, Result<Measured>);

/// What the cores share.
struct Shared<'a> {
    reader: &'a dyn FilmReader,
    film: &'a Film,
    borders: &'a Borders,
    jobs: &'a [Job],
    /// Number of the first chunk of each job.
    numbers: &'a [usize],
    /// The next job to take.
    next: AtomicUsize,
    stop: AtomicBool,
    /// How many chunks are put together.
    gathered: Mutex<usize>,
    moved_on: Condvar,
    ahead: usize,
    damage: Mutex<Vec<FrameSpan>>,
}

/// Cuts, samples and damage; no whistles.
fn look(
    reader: &dyn FilmReader,
    film: &Film,
    begun: Option<Unfinished>,
    keep: &mut Keep<'_>,
    progress: &dyn Progress,
) -> Result<Series> {
    let borders = Borders::of(film);
    let jobs = jobs(film);
    let chunks: Vec<Chunk> = jobs.iter().flat_map(|j| j.chunks().to_vec()).collect();
    let mut numbers = Vec::with_capacity(jobs.len());
    let mut count = 0;
    for job in &jobs {
        numbers.push(count);
        count += job.chunks().len();
    }
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let (first_job, mut tally) = Tally::new(film, &chunks, &jobs, &numbers, begun);
    let shared = Shared {
        reader,
        film,
        borders: &borders,
        jobs: &jobs,
        numbers: &numbers,
        next: AtomicUsize::new(first_job),
        stop: AtomicBool::new(false),
        gathered: Mutex::new(tally.next),
        moved_on: Condvar::new(),
        ahead: AHEAD * cores,
        damage: Mutex::new(Vec::new()),
    };
    std::thread::scope(|scope| {
        let (sender, receiver) = channel();
        let workers: Vec<_> = (0..cores.min(jobs.len().max(1)))
            .map(|_| {
                let (sender, shared) = (sender.clone(), &shared);
                scope.spawn(move || work(shared, &sender))
            })
            .collect();
        drop(sender);
        let gathered = gather(&shared, &mut tally, &receiver, &chunks, keep, progress);
        shared.stop.store(true, Ordering::Relaxed);
        shared.moved_on.notify_all();
        let dead = workers.into_iter().filter_map(|w| w.join().err()).count();
        gathered?;
        if dead == 0 && tally.next == chunks.len() { Ok(()) } else { Err(died()) }
    })?;
    tally.cuts.extend(&borders.cuts);
    tally.note_damage(&shared);
    Ok(Series {
        version: VERSION,
        film: film.fingerprint(),
        cuts: merged(tally.cuts),
        samples: tally.gatherer.finish(),
        damage: tally.damage,
        ..Series::default()
    })
}

/// What is put together so far.
struct Tally {
    gatherer: Gatherer,
    cuts: Vec<u64>,
    damage: Vec<Problem>,
    /// The next chunk.
    next: usize,
}

impl Tally {
    /// Empty, or what an earlier run left; and the job to begin with.
    fn new(film: &Film, chunks: &[Chunk], jobs: &[Job], numbers: &[usize], begun: Option<Unfinished>) -> (usize, Self) {
        let mut out = Self { gatherer: Gatherer::default(), cuts: Vec::new(), damage: Vec::new(), next: 0 };
        let Some(Unfinished { series, cuts_to }) = begun else { return (0, out) };
        let Some(last) = series.samples.last() else { return (0, out) };
        // From the last job that begins early enough.
        let fits = |job: &usize| {
            let start = chunks[numbers[*job]].start;
            start <= cuts_to && film.time(FrameNo(start)) + WARM_UP <= last.time
        };
        let Some(job) = (0..jobs.len()).rev().find(fits) else { return (0, out) };
        out.next = numbers[job];
        let start = chunks[out.next].start;
        out.cuts = series.cuts.iter().copied().filter(|cut| *cut <= start).collect();
        out.damage = series.damage;
        out.gatherer = Gatherer::after(series.samples);
        (job, out)
    }

    fn note_damage(&mut self, shared: &Shared<'_>) {
        let mut spans = std::mem::take(&mut *shared.damage.lock().unwrap_or_else(PoisonError::into_inner));
        spans.sort_by_key(|s| s.start);
        let mut joined: Vec<FrameSpan> = Vec::new();
        for span in spans {
            match joined.last_mut() {
                Some(last) if span.start <= last.end => last.end = last.end.max(span.end),
                _ => joined.push(span),
            }
        }
        let found = joined.into_iter().map(|span| shared.film.damage(span));
        let new: Vec<Problem> = found.filter(|problem| !self.damage.contains(problem)).collect();
        self.damage.extend(new);
    }

    fn unfinished(&mut self, shared: &Shared<'_>, chunks: &[Chunk]) -> Unfinished {
        let cuts_to = chunks.get(self.next).map_or(shared.film.frames(), |c| c.start);
        self.note_damage(shared);
        let series = Series {
            version: VERSION,
            film: shared.film.fingerprint(),
            cuts: self.cuts.clone(),
            samples: self.gatherer.so_far().to_vec(),
            damage: self.damage.clone(),
            ..Series::default()
        };
        Unfinished { series, cuts_to }
    }
}

/// Puts chunks together in order as they come.
fn gather(
    shared: &Shared<'_>,
    tally: &mut Tally,
    receiver: &std::sync::mpsc::Receiver<Outcome>,
    chunks: &[Chunk],
    keep: &mut Keep<'_>,
    progress: &dyn Progress,
) -> Result<()> {
    let mut waiting: BTreeMap<usize, Measured> = BTreeMap::new();
    while let Ok((number, outcome)) = receiver.recv() {
        waiting.insert(number, outcome?);
        while let Some(measured) = waiting.remove(&tally.next) {
            tally.cuts.extend(measured.cuts);
            for raw in measured.samples {
                tally.gatherer.push(raw);
            }
            progress.at(chunks[tally.next].end);
            tally.next += 1;
            if tally.next.is_multiple_of(KEEP_EVERY) && tally.next < chunks.len() {
                keep(&tally.unfinished(shared, chunks));
            }
        }
        *shared.gathered.lock().unwrap_or_else(PoisonError::into_inner) = tally.next;
        shared.moved_on.notify_all();
        if progress.stop_asked() && tally.next < chunks.len() {
            keep(&tally.unfinished(shared, chunks));
            go_on(progress, "measuring the film")?;
        }
    }
    Ok(())
}

/// One core's work: jobs in order, as long as there are any.
fn work(shared: &Shared<'_>, results: &Sender<Outcome>) {
    let mut eye = None;
    loop {
        let job = shared.next.fetch_add(1, Ordering::Relaxed);
        let (Some(todo), Some(&number)) = (shared.jobs.get(job), shared.numbers.get(job)) else { break };
        // A part read in a row is read by all of the decoder's threads, a leap by one.
        if matches!(todo, Job::Row(_)) {
            close(&mut eye, shared);
        }
        for (k, chunk) in todo.chunks().iter().enumerate() {
            if !shared.may_begin(number + k) {
                break;
            }
            let outcome = match &mut eye {
                Some(eye) => Eye::look(eye, chunk, todo, shared),
                None => Eye::open(shared, todo).and_then(|new| eye.insert(new).look(chunk, todo, shared)),
            };
            let failed = outcome.is_err();
            if results.send((number + k, outcome)).is_err() || failed {
                return;
            }
        }
        if matches!(todo, Job::Row(_)) {
            close(&mut eye, shared);
        }
    }
    close(&mut eye, shared);
}

fn close(eye: &mut Option<Eye<'_>>, shared: &Shared<'_>) {
    if let Some(eye) = eye.take() {
        shared.damage.lock().unwrap_or_else(PoisonError::into_inner).extend(eye.source.damage());
    }
}

impl Shared<'_> {
    /// Waits until a chunk is not too far ahead; false if the work is to stop.
    fn may_begin(&self, chunk: usize) -> bool {
        let mut gathered = self.gathered.lock().unwrap_or_else(PoisonError::into_inner);
        while chunk >= *gathered + self.ahead && !self.stop.load(Ordering::Relaxed) {
            gathered = self.moved_on.wait(gathered).unwrap_or_else(PoisonError::into_inner);
        }
        !self.stop.load(Ordering::Relaxed)
    }
}

/// The pictures of a chunk that are looked at.
struct Picks {
    /// First frame of the next chunk.
    end: u64,
    picker: Picker,
    all: Vec<Small>,
}

impl Picks {
    fn of(chunk: &Chunk) -> Self {
        Self { end: chunk.end, picker: Picker::default(), all: Vec::new() }
    }

    /// Takes the frame if it is one to look at; true if it is the last of them, the next chunk's first.
    fn offer(&mut self, frame: u64, time: f64, small: impl FnOnce() -> Small) -> bool {
        let end = frame >= self.end;
        if end && self.all.len() > 1 && self.all.last().is_some_and(|p| crowds(p.time, time)) {
            self.all.pop();
        }
        if end || self.picker.picks(time) {
            self.all.push(small());
        }
        end
    }
}

/// One core's view of the film.
struct Eye<'a> {
    source: Box<dyn FrameSource + Send + 'a>,
    shrinker: Shrinker,
    /// Read in a row: frames that are still needed, in order.
    held: VecDeque<Small>,
    ended: bool,
}

impl<'a> Eye<'a> {
    fn open(shared: &Shared<'a>, job: &Job) -> Result<Self> {
        let (how, threads) = match job {
            Job::Leap(chunk) => (chunk.how, 1),
            Job::Row(_) => (Decode::Exact, 0),
        };
        let mut source = shared.reader.frames(shared.film, how, threads)?;
        if let (Job::Row(_), Some(first)) = (job, job.chunks().first()) {
            source.seek(FrameNo(first.start))?;
        }
        Ok(Self { source, shrinker: Shrinker::default(), held: VecDeque::new(), ended: false })
    }

    fn look(&mut self, chunk: &Chunk, job: &Job, shared: &Shared<'_>) -> Result<Measured> {
        match job {
            Job::Row(_) => self.on(chunk, shared),
            Job::Leap(_) => {
                let damage = self.source.damage();
                let done = self.leap(chunk, chunk.how, shared)?;
                if chunk.how != Decode::References || self.source.damage() == damage {
                    return Ok(done);
                }
                // What hangs on a damaged reference is only seen with every frame.
                self.leap(chunk, Decode::Exact, shared)
            }
        }
    }

    fn leap(&mut self, chunk: &Chunk, how: Decode, shared: &Shared<'_>) -> Result<Measured> {
        self.source.leave_out(how);
        self.source.seek(FrameNo(chunk.start))?;
        let mut picks = Picks::of(chunk);
        while let Some(view) = self.source.next_frame()? {
            if picks.offer(view.no.0, view.time, || self.shrinker.shrink(&view, true)) {
                break;
            }
        }
        let (source, shrinker) = (&mut self.source, &mut self.shrinker);
        let mut exact = |from: u64, to: u64| {
            source.leave_out(Decode::NoLoopFilter);
            source.seek(FrameNo(from))?;
            let mut all = Vec::new();
            while let Some(view) = source.next_frame()? {
                if view.no.0 >= to {
                    break;
                }
                all.push(shrinker.shrink(&view, false));
            }
            Ok(all)
        };
        measured(&picks.all, chunk.start > 0, shared.borders, &mut exact)
    }

    fn on(&mut self, chunk: &Chunk, shared: &Shared<'_>) -> Result<Measured> {
        while !self.ended && self.held.back().is_none_or(|last| last.frame < chunk.end + CONTEXT + 1) {
            match self.source.next_frame()? {
                Some(view) => self.held.push_back(self.shrinker.shrink(&view, true)),
                None => self.ended = true,
            }
        }
        let mut picks = Picks::of(chunk);
        for small in self.held.iter().filter(|s| s.frame >= chunk.start) {
            if picks.offer(small.frame, small.time, || small.clone()) {
                break;
            }
        }
        let held = &self.held;
        let mut exact =
            |from: u64, to: u64| Ok(held.iter().filter(|s| from <= s.frame && s.frame < to).cloned().collect());
        let done = measured(&picks.all, chunk.start > 0, shared.borders, &mut exact)?;
        while self.held.front().is_some_and(|s| s.frame + CONTEXT + 1 < chunk.end) {
            self.held.pop_front();
        }
        Ok(done)
    }
}

/// Sorted, and those close together as one: the first. The film's own start is one too (a camera's first frame may be
/// black).
fn merged(mut cuts: Vec<u64>) -> Vec<u64> {
    cuts.sort_unstable();
    let mut out: Vec<u64> = Vec::with_capacity(cuts.len());
    for cut in cuts {
        if cut > out.last().copied().unwrap_or(0) + MERGE {
            out.push(cut);
        }
    }
    out
}

#[cfg(test)]
mod tests;
