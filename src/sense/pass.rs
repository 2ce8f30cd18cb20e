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
use crate::base::{Error, ErrorKind, Problem, Progress, Result};
use crate::film::{Decode, Film, FilmReader, FrameSource, Sample, Series};

/// Version of the measurement: raised with every change that can change a number in a series.
pub const VERSION: u32 = 2;

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

/// Cuts and samples.
type CutsAndSamples = (Vec<u64>, Vec<Sample>);

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
        let ((cuts, samples), damage) = pictures?;
        let heard = sound?;
        Ok(Series {
            version: VERSION,
            film: film.fingerprint(),
            cuts,
            samples,
            sound: heard.is_some(),
            whistles: heard.unwrap_or_default(),
            damage,
        })
    })
}

fn look(reader: &dyn FilmReader, film: &Film, progress: &dyn Progress) -> Result<(CutsAndSamples, Vec<Problem>)> {
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
        let measured =
            measured.map_err(|_| Error::failed("cannot measure the film: the measurement died", "", "report this"))?;
        Ok((measured, source.damage()))
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::{Rate, Silent};
    use crate::film::Picture;
    use crate::film::scripted::{Footage, part};

    /// A made scene: turf with texture that is another one for each `scene`, seen with a pan of `shift` pixels, and a man
    /// (bright, 12 by 24 pixels) at `man`.
    fn picture(scene: u64, shift: f64, man: Option<f64>, bright: f64) -> Picture {
        let (w, h) = (240usize, 135usize);
        let mut out = Picture::filled(w, h, [100, 100, 110]);
        let phase = scene as f64 * 2.4;
        for y in 0..h {
            for x in 0..w {
                let (px, py) = (x as f64 + shift, y as f64);
                let waves: f64 = (1..5)
                    .map(|k| {
                        let k = f64::from(k);
                        9.0 * ((px * (k * 2.3 + phase).sin() + py * (k * 2.3 + phase).cos()) * 0.03 * k.powf(1.3)
                            + k * k)
                            .sin()
                    })
                    .sum();
                // Edges by coverage: a man drawn in whole pixels would jump against turf that moves by parts of one.
                let man = man
                    .filter(|_| (py - 80.0).abs() < 12.0)
                    .map_or(0.0, |at| (6.5 - (x as f64 - at).abs()).clamp(0.0, 1.0));
                let value = man * 220.0 + (1.0 - man) * (100.0 + waves);
                out.planes[0][y * w + x] = (value + bright).clamp(0.0, 255.0) as u8;
            }
        }
        out
    }

    fn footage(parts: Vec<crate::film::Part>, draw: impl Fn(u64) -> Picture + Sync + Send + 'static) -> Footage {
        Footage { film: Film { parts, problems: vec![] }, draw: Box::new(draw), hear: None }
    }

    const RATE: Rate = Rate { num: 30, den: 1 };

    fn measured(footage: &Footage) -> Series {
        measure(footage, &footage.film, &Silent).unwrap()
    }

    #[test]
    fn a_cut_is_found_to_the_frame_and_a_flash_and_a_pan_are_none() {
        let film = footage(vec![part("a.mp4", 120, RATE)], |n| {
            let flash = if n == 30 || n == 31 { 90.0 } else { 0.0 };
            if n < 71 { picture(1, n as f64 * 1.5, None, flash) } else { picture(2, 0.0, None, 0.0) }
        });
        let series = measured(&film);
        assert_eq!(series.cuts, [71]);
        assert_eq!((series.samples.len(), series.sound), (60, false));
        // A pan of 1.5 pixels a frame is 45/240 widths a second, to the right.
        let pans: Vec<f32> = series.samples.iter().filter(|s| s.frame > 36 && s.frame < 70).map(|s| s.pan_x).collect();
        assert!(pans.iter().all(|p| (p - 0.1875).abs() < 0.01), "{pans:?}");
    }

    #[test]
    fn a_man_who_runs_has_energy_and_a_camera_that_pans_has_none() {
        let film = footage(vec![part("a.mp4", 150, RATE)], |n| {
            let man = if n < 75 { 60.0 } else { 60.0 + (n - 75) as f64 * 1.5 };
            picture(1, n as f64 * 0.4, Some(man - n as f64 * 0.4), 0.0)
        });
        let series = measured(&film);
        let mean = |from: u64, to: u64| {
            let all: Vec<f32> =
                series.samples.iter().filter(|s| s.frame >= from && s.frame < to).map(|s| s.energy).collect();
            all.iter().sum::<f32>() / all.len() as f32
        };
        assert!(mean(90, 145) > 3.0 * mean(10, 70), "{} against {}", mean(90, 145), mean(10, 70));

        let pan = footage(vec![part("a.mp4", 90, RATE)], |n| picture(1, n as f64 * 0.4, None, 0.0));
        let samples = measured(&pan).samples;
        // The floor of the measure is .003: a camera's own motion leaves nothing above it.
        assert!(samples.iter().skip(2).all(|s| s.energy < 0.0031), "a pan alone has energy");
    }

    #[test]
    fn a_border_between_parts_is_judged_by_size_clock_and_picture() {
        let scene = |n: u64| picture(1, n as f64 * 0.5, None, 0.0);
        let two = || vec![part("a.mp4", 45, RATE), part("b.mp4", 45, RATE)];
        // A recording split by the card goes on.
        assert_eq!(measured(&footage(two(), scene)).cuts, [0u64; 0]);
        // Other pictures are a cut, wherever the sampling falls.
        assert_eq!(
            measured(&footage(two(), move |n| if n < 45 { scene(n) } else { picture(3, 0.0, None, 0.0) })).cuts,
            [45]
        );
        // So is another size.
        let mut parts = two();
        parts[1].width = 128;
        assert_eq!(measured(&footage(parts, scene)).cuts, [45]);
        // A gap by the clocks with men elsewhere is a cut; with the very same picture it is a clock gone wrong.
        let mut parts = two();
        parts[0].recorded = Some(1000);
        parts[1].recorded = Some(1031);
        assert_eq!(measured(&footage(parts.clone(), scene)).cuts, [0u64; 0]);
        let men = move |n: u64| picture(1, n as f64 * 0.5, Some(if n < 45 { 60.0 } else { 150.0 }), 0.0);
        assert_eq!(measured(&footage(parts, men)).cuts, [45]);
    }

    #[test]
    fn the_picker_takes_the_frame_nearest_to_each_fifteenth() {
        for (rate, every) in [(30.0, 2), (60.0, 4), (25.0, 2), (15.0, 1), (10.0, 1), (59.94, 4)] {
            let mut picker = Picker::default();
            let picked: Vec<usize> = (0..200).filter(|&k| picker.picks(k as f64 / rate)).collect();
            assert!(picked.windows(2).all(|w| w[1] - w[0] == every), "{rate}: {:?}", &picked[..6]);
        }
    }

    #[test]
    fn a_long_film_is_measured_the_same_whatever_the_slabs() {
        // More than one slab; the same movement throughout gives the same numbers at the joint.
        let film =
            footage(vec![part("a.mp4", SLAB as u64 + 200, RATE)], |n| picture(1, (n % 200) as f64 * 0.5, None, 0.0));
        let series = measured(&film);
        assert_eq!(series.samples.len(), SLAB / 2 + 100);
        assert!(series.samples.windows(2).all(|w| w[1].frame == w[0].frame + 2));
        let at = |frame: u64| series.samples.iter().find(|s| s.frame == frame).map(|s| s.pan_x);
        assert!((at(512).unwrap() - at(520).unwrap()).abs() < 0.003, "{:?} {:?}", at(512), at(520));
    }
}
