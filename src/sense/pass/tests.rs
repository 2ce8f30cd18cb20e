use super::*;
use crate::base::{ErrorKind, Rate, Silent};
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
                    9.0 * ((px * (k * 2.3 + phase).sin() + py * (k * 2.3 + phase).cos()) * 0.03 * k.powf(1.3) + k * k)
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

/// 20 pictures a second.
const SLOW: Rate = Rate { num: 20, den: 1 };

/// A film that is measured in chunks of 300 frames reached by seeks: every other picture is a reference.
fn in_chunks(frames: u64) -> crate::film::Part {
    let mut part = part("a.mp4", frames, SLOW);
    part.index.keys = (0..frames).step_by(20).collect();
    part.index.references = frames / 2;
    part
}

/// Footage whose pictures are drawn once: other scenes from each of `cuts` on, a pan to and fro, a man who runs so.
fn drawn(part: crate::film::Part, cuts: &[u64]) -> Footage {
    let to_and_fro = |n: u64, side: u64| (n % (2 * side)).min(2 * side - n % (2 * side)) as f64;
    let pictures: Vec<Picture> = (0..part.frames())
        .map(|n| {
            let scene = 1 + cuts.iter().filter(|c| **c <= n).count() as u64;
            picture(scene, to_and_fro(n, 150) * 0.4, Some(60.0 + to_and_fro(n, 77)), 0.0)
        })
        .collect();
    footage(vec![part], move |n| pictures[n as usize].clone())
}

#[test]
fn chunks_of_references_give_the_samples_and_cuts_of_a_film_read_in_a_row() {
    // Cuts at an odd frame, at the first frame of a chunk and right after it.
    let cuts = [247, 600, 901];
    let leaps = measured(&drawn(in_chunks(1000), &cuts));
    let row = measured(&drawn(part("a.mp4", 1000, SLOW), &cuts));
    assert_eq!(leaps.cuts, cuts);
    assert_eq!(row.cuts, leaps.cuts);
    let frames = |s: &Series| s.samples.iter().map(|s| s.frame).collect::<Vec<_>>();
    assert_eq!(frames(&leaps), (0..1000).step_by(2).collect::<Vec<_>>());
    assert_eq!(frames(&row), (0..1000).collect::<Vec<_>>());
    // But for the pairs at a cut and where the pan turns.
    let near =
        |a: &crate::film::Sample| row.samples.iter().any(|b| b.frame == a.frame && (a.pan_x - b.pan_x).abs() < 0.04);
    let same = leaps.samples.iter().filter(|a| near(a)).count();
    assert!(same > 450, "{same} of 500");
}

/// Asks to stop once so many frames are done.
struct Impatient(u64, AtomicBool);

impl Progress for Impatient {
    fn stage(&self, _name: &str, _total: u64) {}
    fn at(&self, done: u64) {
        self.1.fetch_or(done >= self.0, Ordering::Relaxed);
    }
    fn warn(&self, _words: &str) {}
    fn stop_asked(&self) -> bool {
        self.1.load(Ordering::Relaxed)
    }
}

#[test]
fn a_measurement_that_was_stopped_goes_on_and_ends_the_same() {
    let film = drawn(in_chunks(1500), &[500, 903, 1400]);
    let whole = measured(&film);
    assert_eq!(whole.cuts, [500, 903, 1400]);
    let mut kept = None;
    let stopped =
        measure_on(&film, &film.film, None, &mut |u| kept = Some(u.clone()), &Impatient(900, AtomicBool::new(false)));
    assert!(stopped.is_err_and(|e| e.kind == ErrorKind::Interrupted));
    let begun: Unfinished = kept.unwrap();
    assert!(begun.cuts_to >= 900 && begun.series.samples.len() > 300, "{}", begun.cuts_to);
    struct Watch<'a>(&'a Mutex<Vec<u64>>);
    impl Progress for Watch<'_> {
        fn stage(&self, _name: &str, _total: u64) {}
        fn at(&self, done: u64) {
            self.0.lock().unwrap().push(done);
        }
        fn warn(&self, _words: &str) {}
    }
    let done = Mutex::new(Vec::new());
    let ended = measure_on(&film, &film.film, Some(begun.clone()), &mut |_| {}, &Watch(&done)).unwrap();
    assert_eq!(ended, whole);
    // It did go on: the first chunk was not measured again.
    assert!(done.lock().unwrap()[0] > 300, "{done:?}");
    // Of another film or version it is of no use.
    let mut other = begun;
    other.series.version = VERSION - 1;
    other.series.cuts = vec![3];
    assert_eq!(measure_on(&film, &film.film, Some(other), &mut |_| {}, &Silent).unwrap(), whole);
}

#[test]
fn a_film_that_has_grown_is_measured_from_where_it_ended_and_ends_the_same() {
    let both = |cuts: &[u64]| {
        let mut footage = drawn(in_chunks(1800), cuts);
        let mut first = in_chunks(1000);
        first.path = "a1.mp4".into();
        let mut second = in_chunks(800);
        second.path = "a2.mp4".into();
        (first.fingerprint, second.fingerprint) = ("one".into(), "two".into());
        footage.film.parts = vec![first, second];
        footage
    };
    let whole = both(&[500, 1000, 1403]);
    let want = measured(&whole);
    let mut first = both(&[500, 1000, 1403]);
    first.film.parts.truncate(1);
    let of_first = measured(&first);
    let done = Mutex::new(Vec::new());
    struct Watch<'a>(&'a Mutex<Vec<u64>>);
    impl Progress for Watch<'_> {
        fn stage(&self, _name: &str, _total: u64) {}
        fn at(&self, done: u64) {
            self.0.lock().unwrap().push(done);
        }
        fn warn(&self, _words: &str) {}
    }
    let begun = of_first_parts(of_first, &whole.film, 1);
    let ended = measure_on(&whole, &whole.film, Some(begun), &mut |_| {}, &Watch(&done)).unwrap();
    assert_eq!(ended, want);
    assert!(done.lock().unwrap()[0] > 300, "its first chunk was not measured again: {done:?}");
}
