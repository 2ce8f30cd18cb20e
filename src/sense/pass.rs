//! The one pass over a film.

use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use rayon::prelude::*;

use super::cut::{CONTEXT, CutTest};
use super::gather::{Gatherer, LAG, Raw};
use super::homography::Homography;
use super::level::Pyramid;
use super::motion::Mover;
use super::register::Registrar;
use super::small::{Shrinker, Small};
use super::whistle;
use crate::base::{Error, ErrorKind, Progress, Result};
use crate::film::{Decode, Film, FilmReader, FrameSource, Sample, Series};

/// Version of the measurement: raised with every change that can change a number in a series.
pub const VERSION: u32 = 1;

/// Frames that are measured at a time, by all cores: 30 MB.
const SLAB: usize = 512;
/// Samples that one core measures in a row, each starting from the one before. Part of the measurement, not of the
/// machine: the result is the same with any number of cores.
const RUN: usize = 24;
/// Cuts at most this many frames apart are one (a cut may have a blended frame).
const MERGE: u64 = 3;
/// Parts with more than this many seconds between them by their own clocks (which tell whole seconds, at the start)
/// were not recorded without a break ...
const GAP: f64 = 3.0;
/// ... unless the pictures go on with less of a break than this.
const GOES_ON: f32 = 2.0;

/// Measures a film: cuts, motion and whistles. One pass over the pictures and one over the sound, side by side; memory
/// does not grow with the film but for the series itself (about 60 bytes a sample).
///
/// # Errors
/// What the decoder cannot read at all; `Interrupted` when `progress` asks to stop.
pub fn measure(reader: &dyn FilmReader, film: &Film, progress: &dyn Progress) -> Result<Series> {
    progress.stage("measure", film.frames());
    std::thread::scope(|scope| {
        let sound = scope.spawn(|| whistle::hear(reader, film, progress));
        let pictures = look(reader, film, progress);
        let sound = sound.join().unwrap_or_else(|_| {
            Err(Error::failed(
                "cannot listen for whistles: the listener died",
                "",
                "report this with the film's format",
            ))
        });
        let (cuts, samples) = pictures?;
        let heard = sound?;
        Ok(Series {
            version: VERSION,
            film: film.fingerprint(),
            cuts,
            samples,
            sound: heard.is_some(),
            whistles: heard.unwrap_or_default(),
        })
    })
}

fn look(reader: &dyn FilmReader, film: &Film, progress: &dyn Progress) -> Result<(Vec<u64>, Vec<Sample>)> {
    let mut source = reader.frames(film, Decode::Exact, 0)?;
    let (sender, receiver) = sync_channel(1);
    let borders = Borders::of(film);
    std::thread::scope(|scope| {
        let measuring = scope.spawn(move || Measuring::new(borders).run(&receiver));
        let decoded = decode(source.as_mut(), &sender, progress);
        // Closes the channel, so that the other end finishes.
        drop(sender);
        let measured = measuring.join();
        decoded?;
        measured.map_err(|_| Error::failed("cannot measure the film: the measurement died", "", "report this"))
    })
}

/// Makes the frames small and sends them on by slabs.
fn decode(source: &mut dyn FrameSource, slabs: &SyncSender<Vec<Frame>>, progress: &dyn Progress) -> Result<()> {
    let mut shrinker = Shrinker::default();
    let mut picker = Picker::default();
    let mut slab = Vec::with_capacity(SLAB);
    while let Some(view) = source.next_frame()? {
        let picked = picker.picks(view.time);
        slab.push(Frame { picked, small: shrinker.shrink(&view, picked) });
        if slab.len() == SLAB {
            let done = view.no.0 + 1;
            let full = std::mem::replace(&mut slab, Vec::with_capacity(SLAB));
            if slabs.send(full).is_err() {
                return Ok(());
            }
            progress.at(done);
            if progress.stop_asked() {
                return Err(Error::failed("stopped while measuring the film", "", "run the same command again")
                    .of_kind(ErrorKind::Interrupted));
            }
        }
    }
    // An error here means that the measurement died, which its own end reports.
    let _ = slabs.send(slab);
    Ok(())
}

/// Picks the frames nearest to each 1/15 s after the last one picked.
#[derive(Debug, Default)]
struct Picker {
    last: Option<(f64, f64)>,
}

impl Picker {
    fn picks(&mut self, time: f64) -> bool {
        let Some((picked, before)) = self.last else {
            self.last = Some((time, time));
            return true;
        };
        // The next frame is likely as far away as this one from the one before.
        let step = (time - before).clamp(0.0, LAG);
        let pick = time - picked + 0.5 * step + 1e-4 >= LAG;
        self.last = Some((if pick { time } else { picked }, time));
        pick
    }
}

#[derive(Debug)]
struct Frame {
    picked: bool,
    small: Small,
}

/// What is known of the borders between parts before looking.
#[derive(Debug, Default)]
struct Borders {
    /// First frames that are cuts whatever the picture.
    cuts: Vec<u64>,
    /// First frames after a gap in recording time: cuts unless the picture goes on.
    gaps: Vec<u64>,
}

impl Borders {
    fn of(film: &Film) -> Self {
        let mut out = Self::default();
        for (pair, &start) in film.parts.windows(2).zip(film.starts().iter().skip(1)) {
            let (a, b) = (&pair[0], &pair[1]);
            let gap = match (a.recorded, b.recorded) {
                (Some(x), Some(y)) => (y - x) as f64 - a.seconds(),
                _ => 0.0,
            };
            if (a.width, a.height) != (b.width, b.height) {
                out.cuts.push(start);
            } else if gap > GAP {
                out.gaps.push(start);
            }
        }
        out
    }
}

/// Measures slabs as they come.
struct Measuring {
    /// Frames not yet done with, consecutive.
    window: Vec<Frame>,
    /// Samples up to this frame are measured.
    next: u64,
    borders: Borders,
    cuts: Vec<u64>,
    gatherer: Gatherer,
}

impl Measuring {
    fn new(borders: Borders) -> Self {
        Self { window: Vec::new(), next: 0, borders, cuts: Vec::new(), gatherer: Gatherer::default() }
    }

    fn run(mut self, slabs: &Receiver<Vec<Frame>>) -> (Vec<u64>, Vec<Sample>) {
        while let Ok(slab) = slabs.recv() {
            self.window.extend(slab);
            let end = self.window.last().map_or(0, |f| f.small.frame + 1);
            self.measure_to(end.saturating_sub(CONTEXT));
        }
        let end = self.window.last().map_or(0, |f| f.small.frame + 1);
        self.measure_to(end);
        self.cuts.extend(&self.borders.cuts);
        (merged(self.cuts), self.gatherer.finish())
    }

    /// Measures all samples whose frame is before `end`.
    fn measure_to(&mut self, end: u64) {
        let Some(first) = self.window.first().map(|f| f.small.frame) else { return };
        let picked: Vec<usize> =
            (0..self.window.len()).filter(|&k| self.window[k].picked && self.window[k].small.frame < end).collect();
        let todo = picked.partition_point(|&k| self.window[k].small.frame < self.next);
        let frames: Vec<&Small> = self.window.iter().map(|f| &f.small).collect();
        // Each run begins with the sample before it, which it only needs as the earlier picture.
        let starts: Vec<usize> = (todo..picked.len()).step_by(RUN).collect();
        let borders = &self.borders;
        let runs: Vec<Measured> = starts
            .par_iter()
            .map(|&a| measure_run(&frames, &picked[a.saturating_sub(1)..(a + RUN).min(picked.len())], a > 0, borders))
            .collect();
        for run in runs {
            self.cuts.extend(run.cuts);
            for raw in run.samples {
                self.next = raw.frame + 1;
                self.gatherer.push(raw);
            }
        }
        // Kept: the last measured sample, as the next one's earlier picture, and what the cut test looks back at.
        let last = picked.last().map_or(first, |&k| self.window[k].small.frame);
        let keep = last.saturating_sub(CONTEXT + 1).max(first);
        self.window.drain(..(keep - first) as usize);
    }
}

struct Measured {
    samples: Vec<Raw>,
    cuts: Vec<u64>,
}

fn measure_run(frames: &[&Small], picked: &[usize], lead: bool, borders: &Borders) -> Measured {
    let mut registrar = Registrar::default();
    let mut mover = Mover::default();
    let mut test = CutTest::new(frames);
    let mut out = Measured { samples: Vec::new(), cuts: Vec::new() };
    let mut before: Option<(usize, Pyramid)> = None;
    let mut map = Homography::IDENTITY;
    for (n, &at) in picked.iter().enumerate() {
        let small = frames[at];
        let pyramid = Pyramid::of(small);
        if !(lead && n == 0) {
            let mut raw = Raw {
                frame: small.frame,
                time: small.time,
                lag: LAG,
                found: None,
                cells: None,
                cb: small.cb.clone(),
                cr: small.cr.clone(),
            };
            if let Some((earlier_at, earlier)) = &before {
                let earlier_frame = frames[*earlier_at];
                let found = registrar.register(&pyramid, earlier, &map);
                map = if found.is_bad() { Homography::IDENTITY } else { found.map };
                let suspect = CutTest::is_suspect(&pyramid, &registrar, &found);
                for t in earlier_at + 1..=at {
                    let frame = frames[t].frame;
                    let cut = if borders.gaps.contains(&frame) {
                        test.between(t - 1, t) >= GOES_ON
                    } else {
                        suspect && test.is_cut(t)
                    };
                    if cut {
                        out.cuts.push(frame);
                    }
                }
                raw.lag = small.time - earlier_frame.time;
                raw.cells = Some(mover.cells(&pyramid, &registrar, &found));
                raw.found = Some(found);
            }
            out.samples.push(raw);
        }
        before = Some((at, pyramid));
    }
    out
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
