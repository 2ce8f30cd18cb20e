use std::path::PathBuf;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

use super::*;
use crate::base::{FrameSpan, Silent};
use crate::film::scripted::{Footage, part};
use crate::film::{
    Beside, ClipPlan, ClipSink, ClipSpec, Draw, DrawnSpec, EntryPoints, JoinShape, Joinable, Picture, PictureView,
    ReelSink, SoundPlan,
};
use crate::paint::{Design, StripText, Templates, paint};
use crate::reel::{Canvas, Layout, View};

/// What a reel was joined from.
#[derive(Default)]
struct Taken {
    spec: Option<JoinSpec>,
    /// Luma of the upper left corner and of a sample in the strip's band, for each picture.
    pictures: Vec<(u8, u8)>,
    sound: Vec<f32>,
    chapters: Vec<(f64, f64, String)>,
    finished: bool,
    /// Segments encoded.
    encoded: usize,
}

/// A writer that keeps what it is given. A segment's file holds two bytes for each picture, the reel's a word.
#[derive(Default)]
struct Recording {
    taken: Arc<Mutex<Taken>>,
    /// Refuses the picture of this number, as a full disk would.
    full_at: Option<usize>,
}

struct SegmentSink {
    spec: ClipSpec,
    path: PathBuf,
    bytes: Vec<u8>,
    full_at: Option<usize>,
}

struct JoinedSink(Arc<Mutex<Taken>>);

impl FilmWriter for Recording {
    fn create(&self, path: &Path, spec: &ClipSpec) -> Result<Box<dyn ClipSink + Send>> {
        self.taken.lock().unwrap().encoded += 1;
        assert_eq!(spec.channels, 0);
        let (spec, path) = (spec.clone(), path.to_path_buf());
        Ok(Box::new(SegmentSink { spec, path, bytes: Vec::new(), full_at: self.full_at }))
    }
    fn join(&self, path: &Path, spec: &JoinSpec) -> Result<Box<dyn ReelSink + Send>> {
        std::fs::write(path, b"reel").unwrap();
        self.taken.lock().unwrap().spec = Some(spec.clone());
        Ok(Box::new(JoinedSink(self.taken.clone())))
    }
    fn joinable(&self, films: &[&Film], _: JoinShape) -> Result<Joinable> {
        Ok(Joinable { fits: vec![false; films.len()], beside: Beside::default(), set_id: 0 })
    }
    fn splice_drawn(&self, _: &Film, _: &ClipPlan, _: &Path, _: &DrawnSpec, _: &mut Draw<'_>) -> Result<()> {
        panic!("nothing is copied")
    }
    fn encoder(&self, codec: Codec) -> Result<String> {
        Ok(format!("recording of {}", codec.as_str()))
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

impl SoundDesk for Recording {
    fn voice(&self, path: &Path) -> Result<Vec<f32>> {
        panic!("nobody speaks in {path:?}")
    }
    fn at_tempo(&self, samples: &[f32], _: f64, frames: usize) -> Result<Vec<f32>> {
        Ok(samples.iter().copied().chain(std::iter::repeat(0.0)).take(frames * CHANNELS).collect())
    }
}

impl ClipSink for SegmentSink {
    fn picture(&mut self, picture: &PictureView<'_>) -> Result<()> {
        if self.full_at == Some(self.bytes.len() / 2) {
            return Err(
                Error::failed("cannot write the reel", "disk full", "free some room").of_kind(ErrorKind::DiskFull)
            );
        }
        assert_eq!((picture.width, picture.height), (self.spec.width as usize, self.spec.height as usize));
        let band = picture.planes[0][(picture.height * 95 / 100 - 2) * picture.strides[0] + picture.width / 2];
        self.bytes.extend([picture.planes[0][0], band]);
        Ok(())
    }
    fn sound(&mut self, _: &[f32]) -> Result<()> {
        panic!("a segment's pictures have no sound")
    }
    fn chapter(&mut self, _: f64, _: f64, _: &str) {}
    fn finish(self: Box<Self>) -> Result<()> {
        std::fs::write(&self.path, &self.bytes).unwrap();
        Ok(())
    }
}

impl ReelSink for JoinedSink {
    fn append(&mut self, segment: &Path, sound: &mut dyn FnMut(&mut Vec<f32>) -> Result<()>) -> Result<u64> {
        let pictures = std::fs::read(segment).unwrap();
        let mut heard = Vec::new();
        let mut taken = self.0.lock().unwrap();
        for picture in pictures.chunks(2) {
            taken.pictures.push((picture[0], picture[1]));
            if taken.spec.as_ref().unwrap().channels > 0 {
                sound(&mut heard)?;
                taken.sound.extend_from_slice(&heard);
            }
        }
        Ok(pictures.len() as u64 / 2)
    }
    fn chapter(&mut self, start: f64, end: f64, title: &str) {
        self.0.lock().unwrap().chapters.push((start, end, title.into()));
    }
    fn finish(self: Box<Self>) -> Result<()> {
        self.0.lock().unwrap().finished = true;
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
        views: vec![View { source: format!("{label}.mp4"), content: label.into(), span, anchor: None }],
        layout: Layout::Single,
        strip: None,
        strip_for: None,
        card: None,
        teaching: None,
        title: format!("play {label}"),
    }
}

fn plan(segments: Vec<Segment>) -> ReelPlan {
    let canvas = Canvas { width: 64, height: 36, rate: NTSC };
    ReelPlan { title: "third and short".into(), canvas, segments, mute: false, voice: Vec::new() }
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
    let templates = Templates::shipped().unwrap();
    let store = Store::open(&out.with_extension("segments"), u64::MAX)?;
    let studio = Studio {
        reader: footage,
        writer,
        desk: writer,
        templates: &templates,
        design: Design::Strip,
        codec: Codec::H264,
        preset: "veryfast".into(),
        crf: 20,
        copies: None,
        jobs: 2,
        store: &store,
        progress,
    };
    let film = Arc::new(footage.film.clone());
    let mut open = |source: &str| {
        if source == "gone.mp4" {
            return Err(Error::refused("cannot open the clip", source, "check that the path is right"));
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
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 2, "the reel and the segments");
}

#[test]
fn what_was_rendered_before_is_not_rendered_again_and_what_differs_is() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("reel.mp4");
    let (writer, film) = (Recording::default(), footage(60, NTSC, true));
    let first = plan(vec![segment("5", FrameSpan::of(10, 40)), segment("6", FrameSpan::of(0, 7))]);
    let encoded = || std::mem::take(&mut *writer.taken.lock().unwrap());
    let done = run(&first, &film, &writer, &out).unwrap();
    let was = encoded();
    assert_eq!((done.fresh, was.encoded), (2, 2));
    // The same plays in another order, one of them twice.
    let again = plan(vec![first.segments[1].clone(), first.segments[0].clone(), first.segments[1].clone()]);
    let done = run(&again, &film, &writer, &out).unwrap();
    let now = encoded();
    assert_eq!((done.fresh, now.encoded, done.frames), (0, 0, 44));
    assert_eq!(now.pictures[7..37], was.pictures[..30]);
    // Another frame, another strip, another size: each is another segment.
    let mut other = first.clone();
    other.segments[0].views[0].span = FrameSpan::of(10, 41);
    other.segments[1].strip = Some(StripText { down: Some("3".into()), ..StripText::default() });
    assert_eq!(run(&other, &film, &writer, &out).unwrap().fresh, 2);
    other.canvas.width = 66;
    assert_eq!(run(&other, &film, &writer, &out).unwrap().fresh, 2);
    other.segments[0].views[0].content = "another film".into();
    assert_eq!(run(&other, &film, &writer, &out).unwrap().fresh, 1);
    encoded();
    // A torn segment is rendered anew.
    for entry in std::fs::read_dir(out.with_extension("segments")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "mp4") {
            std::fs::write(path, b"torn!").unwrap();
        }
    }
    assert_eq!(run(&first, &film, &writer, &out).unwrap().fresh, 2);
    assert_eq!(encoded().pictures, was.pictures);
}

#[test]
fn two_views_are_set_side_by_side_at_their_anchors() {
    let folder = tempfile::tempdir().unwrap();
    let writer = Recording::default();
    let mut both = segment("5", FrameSpan::of(20, 50));
    let at = |frame: u64| frame as f64 * 1001.0 / 30000.0;
    both.views[0].anchor = Some(at(30));
    // The second camera's snap is its frame 5: it begins ten frames before its film does.
    both.views.push(View {
        source: "b.mp4".into(),
        content: "b".into(),
        span: FrameSpan::of(0, 12),
        anchor: Some(at(5)),
    });
    both.layout = Layout::Beside;
    let mut plan = plan(vec![both]);
    // Each half has the film's own shape.
    plan.canvas = Canvas { width: 128, height: 36, rate: NTSC };
    run(&plan, &footage(60, NTSC, true), &writer, &folder.path().join("reel.mp4")).unwrap();
    let taken = writer.taken.lock().unwrap();
    let want: Vec<(u8, u8)> = (20i64..50).map(|n| (20 + n as u8, 20 + (n - 25).clamp(0, 11) as u8)).collect();
    assert_eq!(taken.pictures, want, "the first view tells the length, the second stands before and after its span");
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
            assert!((heard - want).abs() < 1e-4, "segment {k}, sample {n}: {heard}");
        }
        let clicks = (start..end).filter(|&n| sound[2 * n as usize] > 0.99).map(|n| n - start + from);
        assert!(clicks.clone().all(|n| n.is_multiple_of(4800)), "segment {k}");
        assert!(clicks.count() >= 15, "segment {k}");
    }
}

#[test]
fn the_strip_is_on_every_frame_of_its_own_segment_only() {
    let folder = tempfile::tempdir().unwrap();
    let writer = Recording::default();
    let text = StripText { down: Some("3".into()), distance: Some("and 2".into()), ..StripText::default() };
    let with = Segment { strip: Some(text.clone()), ..segment("5", FrameSpan::of(100, 110)) };
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
    assert!(!out.exists());
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
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 2, "the older reel and the segments");
    let files = std::fs::read_dir(out.with_extension("segments")).unwrap().map(|e| e.unwrap().path());
    assert!(files.into_iter().all(|p| p.extension().is_none_or(|e| e != "mp4")), "no half segment");
}
