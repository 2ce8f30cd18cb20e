use std::path::PathBuf;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

use super::*;
use crate::base::{FrameSpan, Silent};
use crate::film::scripted::{Footage, part};
use crate::film::{ClipPlan, EntryPoints, Picture, PictureView, SoundPlan};
use crate::paint::{StripText, paint};
use crate::reel::Canvas;

/// What a reel's sink was given.
#[derive(Default)]
struct Taken {
    spec: Option<ClipSpec>,
    /// Luma of the upper left corner and of a sample in the strip's band, for each picture.
    pictures: Vec<(u8, u8)>,
    sound: Vec<f32>,
    chapters: Vec<(f64, f64, String)>,
    finished: bool,
}

/// A writer that keeps what it is given; the file itself holds a word.
#[derive(Default)]
struct Recording {
    taken: Arc<Mutex<Taken>>,
    /// Refuses the picture of this number, as a full disk would.
    full_at: Option<usize>,
}

struct RecordingSink {
    taken: Arc<Mutex<Taken>>,
    full_at: Option<usize>,
}

impl FilmWriter for Recording {
    fn create(&self, path: &Path, spec: &ClipSpec) -> Result<Box<dyn ClipSink + Send>> {
        std::fs::write(path, b"reel").unwrap();
        self.taken.lock().unwrap().spec = Some(spec.clone());
        Ok(Box::new(RecordingSink { taken: self.taken.clone(), full_at: self.full_at }))
    }
    fn entry_points(&self, _: &Film, _: usize) -> Result<EntryPoints> {
        Ok(EntryPoints::default())
    }
    fn sound_plan(&self, _: &Film, _: usize) -> Result<SoundPlan> {
        Ok(SoundPlan::None)
    }
    fn carry_out(&self, _: &Film, _: &[ClipPlan], _: &[PathBuf], _: &mut dyn FnMut(usize) -> Result<()>) -> Result<()> {
        Ok(())
    }
}

impl ClipSink for RecordingSink {
    fn picture(&mut self, picture: &PictureView<'_>) -> Result<()> {
        let mut taken = self.taken.lock().unwrap();
        if self.full_at == Some(taken.pictures.len()) {
            return Err(
                Error::failed("cannot write the reel", "disk full", "free some room").of_kind(ErrorKind::DiskFull)
            );
        }
        let spec = taken.spec.clone().unwrap();
        assert_eq!((picture.width, picture.height), (spec.width as usize, spec.height as usize));
        let band = picture.planes[0][(picture.height * 95 / 100 - 2) * picture.strides[0] + picture.width / 2];
        taken.pictures.push((picture.planes[0][0], band));
        Ok(())
    }
    fn sound(&mut self, samples: &[f32]) -> Result<()> {
        self.taken.lock().unwrap().sound.extend_from_slice(samples);
        Ok(())
    }
    fn chapter(&mut self, start: f64, end: f64, title: &str) {
        self.taken.lock().unwrap().chapters.push((start, end, title.into()));
    }
    fn finish(self: Box<Self>) -> Result<()> {
        self.taken.lock().unwrap().finished = true;
        Ok(())
    }
}

const NTSC: Rate = Rate { num: 30000, den: 1001 };

/// Footage whose frame n has luma 20 + n % 200, and whose sound is a click of 1 at the first sample of film time k/10 s.
fn footage(frames: u64, rate: Rate, sound: bool) -> Footage {
    let hear = |n: u64, rate: u32| if n.is_multiple_of(u64::from(rate / 10)) { 1.0 } else { 0.0 };
    Footage {
        film: Film { parts: vec![part("f.mp4", frames, rate)], problems: vec![] },
        draw: Box::new(|n| Picture::filled(64, 36, [20 + (n % 200) as u8, 128, 128])),
        hear: if sound { Some(Box::new(hear)) } else { None },
    }
}

fn segment(label: &str, span: FrameSpan) -> Segment {
    Segment {
        game: "Badgers".into(),
        label: label.into(),
        angle: "sideline".into(),
        source: format!("{label}.mp4"),
        span,
        strip: None,
        title: format!("play {label}"),
    }
}

fn plan(segments: Vec<Segment>) -> ReelPlan {
    let canvas = Canvas { width: 64, height: 36, rate: NTSC };
    ReelPlan { title: "third and short".into(), canvas, segments, mute: false }
}

fn run(plan: &ReelPlan, footage: &Footage, writer: &Recording, out: &Path) -> Result<Rendered> {
    run_with(plan, footage, writer, out, &Silent)
}

fn run_with(
    plan: &ReelPlan,
    footage: &Footage,
    writer: &Recording,
    out: &Path,
    progress: &dyn Progress,
) -> Result<Rendered> {
    let template = Template::strip().unwrap();
    let studio = Studio { reader: footage, writer, template: &template, preset: "veryfast".into(), crf: 20, progress };
    let film = Arc::new(footage.film.clone());
    let mut open = |segment: &Segment| {
        if segment.label == "gone" {
            return Err(Error::refused("cannot open the clip", &segment.source, "check that the path is right"));
        }
        Ok(film.clone())
    };
    render(plan, &studio, &mut open, out)
}

#[test]
fn every_frame_of_every_segment_is_written_once_and_in_order() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("reel.mp4");
    let writer = Recording::default();
    let plan = plan(vec![segment("5", FrameSpan::of(10, 40)), segment("6", FrameSpan::of(0, 7))]);
    let done = run(&plan, &footage(60, NTSC, true), &writer, &out).unwrap();
    let taken = writer.taken.lock().unwrap();
    let want: Vec<u8> = (10..40).chain(0..7).map(|n| 20 + n).collect();
    assert_eq!(taken.pictures.iter().map(|p| p.0).collect::<Vec<u8>>(), want);
    assert_eq!(done.frames, 37);
    assert!(taken.finished && out.exists());
    let second = 30.0 * 1.001 / 30.0;
    assert!((done.segments[1].start - second).abs() < 1e-9 && (done.seconds - 37.0 * 1.001 / 30.0).abs() < 1e-9);
    assert_eq!(taken.chapters[1], (done.segments[1].start, done.segments[1].end, "play 6".to_string()));
    assert_eq!(taken.spec.as_ref().unwrap().title, "third and short");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
}

#[test]
fn sound_does_not_drift_over_a_hundred_segments() {
    let folder = tempfile::tempdir().unwrap();
    let writer = Recording::default();
    // Frames 30, 60, ... begin at film times k * 1.001 s; a segment of 47 frames has no whole number of samples.
    let spans: Vec<FrameSpan> = (0..100).map(|k| FrameSpan::of(k % 7, k % 7 + 47)).collect();
    let plan = plan(spans.iter().map(|&s| segment("5", s)).collect());
    let footage = footage(60, NTSC, true);
    let done = run(&plan, &footage, &writer, &folder.path().join("reel.mp4")).unwrap();
    let sound = &writer.taken.lock().unwrap().sound;
    assert_eq!(done.frames, 4700);
    // 4700 frames of 1001/30000 s at 48 kHz: 7,527,520 samples, two channels.
    assert_eq!(sound.len(), 2 * 7_527_520);
    for (k, span) in spans.iter().enumerate() {
        // The exact place: round(47 k * 1001 * 48000 / 30000) = round(47 k * 1601.6), half up.
        let start = (47 * k as u64 * 16016 + 5) / 10;
        let end = (47 * (k as u64 + 1) * 16016 + 5) / 10;
        let from = (footage.film.time(span.start) * 48000.0).round() as u64;
        for n in [0, 1, 1234, end - start - 1] {
            let heard = sound[2 * (start + n) as usize];
            let want = if (from + n).is_multiple_of(4800) { 1.0 } else { 0.0 };
            assert_eq!(heard, want, "segment {k}, sample {n}");
        }
        let clicks = (start..end).filter(|&n| sound[2 * n as usize] == 1.0).map(|n| n - start + from);
        assert!(clicks.clone().all(|n| n.is_multiple_of(4800)), "segment {k}");
        assert!(clicks.count() >= 15, "segment {k}");
    }
}

#[test]
fn the_strip_is_on_every_frame_of_its_own_segment_only() {
    let folder = tempfile::tempdir().unwrap();
    let writer = Recording::default();
    let text = StripText { down: Some("3".into()), distance: Some("and 2".into()), ..StripText::default() };
    let with = Segment { strip: Some(text), ..segment("5", FrameSpan::of(100, 110)) };
    let mut plan = plan(vec![with, segment("6", FrameSpan::of(100, 110))]);
    plan.canvas = Canvas { width: 640, height: 360, rate: NTSC };
    run(&plan, &footage(120, NTSC, false), &writer, &folder.path().join("reel.mp4")).unwrap();
    let taken = writer.taken.lock().unwrap();
    let ink = paint::INK.ycbcr()[0];
    for (k, &(corner, band)) in taken.pictures.iter().enumerate() {
        let film = 120 + (k % 10) as u8;
        assert_eq!((corner, band), (film, if k < 10 { ink } else { film }), "frame {k}");
    }
}

#[test]
fn a_mute_reel_has_no_sound_track_and_a_silent_film_has_silence() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("reel.mp4");
    let mute = Recording::default();
    let plan = ReelPlan { mute: true, ..plan(vec![segment("5", FrameSpan::of(0, 10))]) };
    run(&plan, &footage(20, NTSC, true), &mute, &out).unwrap();
    assert_eq!(mute.taken.lock().unwrap().spec.as_ref().unwrap().channels, 0);
    assert!(mute.taken.lock().unwrap().sound.is_empty());

    let silent = Recording::default();
    let plan = ReelPlan { mute: false, ..plan };
    let done = run(&plan, &footage(20, NTSC, false), &silent, &out).unwrap();
    let taken = silent.taken.lock().unwrap();
    assert_eq!((taken.spec.as_ref().unwrap().channels, taken.sound.len()), (2, 2 * 16016));
    assert!(taken.sound.iter().all(|&s| s == 0.0) && done.problems.is_empty());
}

#[test]
fn another_rate_keeps_the_length_and_the_sound() {
    let folder = tempfile::tempdir().unwrap();
    let writer = Recording::default();
    let plan = plan(vec![segment("5", FrameSpan::of(0, 50))]);
    let done = run(&plan, &footage(60, Rate { num: 25, den: 1 }, true), &writer, &folder.path().join("r.mp4")).unwrap();
    assert_eq!(done.frames, 60, "two seconds");
    let taken = writer.taken.lock().unwrap();
    assert!(taken.pictures.windows(2).all(|w| w[1].0 - w[0].0 <= 1));
    assert_eq!(taken.pictures.last().unwrap().0, 69);
    assert_eq!(taken.sound.chunks(2).position(|s| s[0] == 1.0 && s[1] == 1.0), Some(0));
    assert_eq!(taken.sound[2 * 4800], 1.0);
}

#[test]
fn a_film_that_fails_takes_only_its_own_play_out() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("reel.mp4");
    let writer = Recording::default();
    let segments = vec![
        segment("gone", FrameSpan::of(0, 10)),
        segment("5", FrameSpan::of(55, 80)),
        segment("6", FrameSpan::of(90, 99)),
    ];
    let done = run(&plan(segments), &footage(60, NTSC, true), &writer, &out).unwrap();
    assert_eq!(done.segments.iter().map(|s| s.label.as_str()).collect::<Vec<_>>(), ["5"]);
    assert_eq!((done.frames, done.left_out.len()), (5, 2));
    assert!(done.left_out[0].why.contains("cannot open the clip"), "{:?}", done.left_out);
    assert!(done.left_out[1].why.contains("it has only 60 frames"), "{:?}", done.left_out);
    assert_eq!(done.problems[0].what, "the clip ends at frame 60, before 80");

    std::fs::remove_file(&out).unwrap();
    let none = run(&plan(vec![segment("gone", FrameSpan::of(0, 10))]), &footage(60, NTSC, true), &writer, &out);
    let error = none.unwrap_err();
    assert!(error.to_string().contains("no play can be shown (cannot open the clip"), "{error}");
    assert!(std::fs::read_dir(folder.path()).unwrap().next().is_none());
}

#[test]
fn a_full_disk_and_a_stop_leave_nothing_behind() {
    struct StopAt(AtomicU64);
    impl Progress for StopAt {
        fn stage(&self, _: &str, _: u64) {}
        fn at(&self, done: u64) {
            self.0.store(done, Ordering::Relaxed);
        }
        fn warn(&self, _: &str) {}
        fn stop_asked(&self) -> bool {
            self.0.load(Ordering::Relaxed) >= 5
        }
    }
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("reel.mp4");
    std::fs::write(&out, b"an older reel").unwrap();
    let plan = plan(vec![segment("5", FrameSpan::of(0, 40))]);
    let full = Recording { full_at: Some(9), ..Recording::default() };
    let error = run(&plan, &footage(60, NTSC, true), &full, &out).unwrap_err();
    assert_eq!(error.kind, ErrorKind::DiskFull);
    let stop = StopAt(AtomicU64::new(0));
    let error = run_with(&plan, &footage(60, NTSC, true), &Recording::default(), &out, &stop).unwrap_err();
    assert_eq!((error.kind, stop.0.load(Ordering::Relaxed)), (ErrorKind::Interrupted, 5));
    assert_eq!(std::fs::read(&out).unwrap(), b"an older reel");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
}
