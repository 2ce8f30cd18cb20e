//! A reel of marked films, rendered with the strip and judged by the ffmpeg program: which source frame each frame of
//! the reel shows (bar codes), where the sound lies (clicks), the colors, the chapters.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use downbox::base::{FrameSpan, Rate, Silent};
use downbox::film::{Codec, Film, FilmReader};
use downbox::media::Media;
use downbox::paint::{Design, StripText, Templates, paint};
use downbox::reel::{
    Canvas, Layout, ReelPlan, Rendered, Segment, SourceShape, Store, Studio, View, chapter_title, render,
};

use crate::films::{count, made, run, sound};
use crate::marks;

const NTSC: Rate = Rate { num: 30_000, den: 1001 };

/// Three cameras of one game: full size, half size, and an old one of 4:3 that heard nothing.
fn cameras() -> [PathBuf; 3] {
    let film = |name: &str, size: &str, audio: &[&str]| {
        let mut args = vec!["marked", "--out", "OUT", "--size", size, "--frames", "100", "--fps", "30000/1001"];
        args.extend(audio);
        made(name, &args)
    };
    [
        film("reel-side.mp4", "640x360", &[]),
        film("reel-end.mp4", "320x180", &[]),
        film("reel-old.mp4", "240x180", &["--audio", "none"]),
    ]
}

fn text() -> StripText {
    StripText {
        down: Some("3".into()),
        distance: Some("and 2".into()),
        ball_on: Some("opp 34".into()),
        play: Some("play 47".into()),
        ..StripText::default()
    }
}

/// The spans shown of each camera, three times over.
const SPANS: [(u64, u64); 3] = [(10, 57), (3, 50), (31, 44)];

fn plan(films: &[Arc<Film>], segments: usize, mute: bool) -> ReelPlan {
    let angles = ["sideline", "end-zone", "old"];
    let segment = |k: usize| Segment {
        game: "Badgers".into(),
        label: "47".into(),
        angle: angles[k % 3].into(),
        views: vec![View {
            source: (k % 3).to_string(),
            content: (k % 3).to_string(),
            span: FrameSpan::of(SPANS[k % 3].0, SPANS[k % 3].1),
            anchor: None,
        }],
        layout: Layout::Single,
        strip: Some(text()),
        strip_for: None,
        card: None,
        teaching: None,
        title: chapter_title(&text(), "47", angles[k % 3]),
    };
    ReelPlan {
        title: "third and <short>".into(),
        canvas: Canvas::choose(films.iter().flat_map(|f| SourceShape::of(f))),
        segments: (0..segments).map(segment).collect(),
        mute,
        voice: Vec::new(),
    }
}

fn make(segments: usize, mute: bool, out: &Path) -> (ReelPlan, Rendered) {
    let media = Media::new().unwrap();
    let films = cameras().map(|path| Arc::new(media.read(&[path], &Silent).unwrap()));
    let plan = plan(&films, segments, mute);
    let templates = Templates::shipped().unwrap();
    let segments = tempfile::tempdir().unwrap();
    let store = Store::open(segments.path(), u64::MAX).unwrap();
    let studio = Studio {
        reader: &media,
        writer: &media,
        desk: &media,
        templates: &templates,
        design: Design::Strip,
        codec: Codec::H264,
        preset: "veryfast".into(),
        crf: 20,
        copies: None,
        jobs: 2,
        store: &store,
        progress: &Silent,
    };
    let mut open = |source: &str| Ok(films[source.parse::<usize>().unwrap()].clone());
    let done = render(&plan, &studio, &mut open, out).unwrap();
    (plan, done)
}

/// Every frame of a file as the ffmpeg program decodes it: planes of 640x360.
fn planes(path: &Path) -> Vec<[Vec<u8>; 3]> {
    let path = path.to_str().unwrap();
    let raw = run(
        "ffmpeg",
        &["-v", "error", "-i", path, "-fps_mode", "passthrough", "-f", "rawvideo", "-pix_fmt", "yuv420p", "-"],
    );
    let (luma, chroma) = (640 * 360, 320 * 180);
    raw.chunks_exact(luma + 2 * chroma)
        .map(|f| [f[..luma].to_vec(), f[luma..luma + chroma].to_vec(), f[luma + chroma..].to_vec()])
        .collect()
}

#[test]
fn a_reel_shows_exactly_the_planned_frames_with_strip_sound_and_chapters() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("third-short.mp4");
    let (plan, done) = make(9, false, &out);
    assert_eq!(plan.canvas, Canvas { width: 640, height: 360, rate: NTSC });
    assert_eq!((done.left_out.len(), done.problems.len(), done.segments.len()), (0, 0, 9));

    // Pictures: the bar code of each frame, the strip on each.
    let want: Vec<(usize, u64)> = (0..9).flat_map(|k| (SPANS[k % 3].0..SPANS[k % 3].1).map(move |n| (k, n))).collect();
    assert_eq!((count(&out), done.frames), (want.len() as u64, want.len() as u64));
    let (pole, ink) = (paint::POLE.ycbcr(), paint::INK.ycbcr());
    for (frame, (k, n)) in planes(&out).iter().zip(&want) {
        // The old camera's picture stands in the middle, 480 wide.
        let (left, width) = if k % 3 == 2 { (80, 480) } else { (0, 640) };
        let luma: Vec<u8> = frame[0].chunks(640).flat_map(|row| &row[left..left + width]).copied().collect();
        assert_eq!(marks::read(&luma, width, 360, width), Some(*n as u32), "segment {k} frame {n}");
        // By the layout at 360 lines: the plate's left side, and the band right of the middle.
        for (x, y, color) in [(45, 320, pole), (400, 320, ink)] {
            let half = y / 2 * 320 + x / 2;
            let got = [frame[0][y * 640 + x], frame[1][half], frame[2][half]];
            let near = got.iter().zip(color).all(|(&g, w)| g.abs_diff(w) <= 4);
            assert!(near, "segment {k} frame {n}: {got:?}, not {color:?} at {x}, {y}");
        }
    }

    // Sound: each click where its frame is, to a few samples, in the last segments as in the first.
    let off = clicks_off(&out, 9);
    assert!(off.len() >= 6 && off.iter().all(|off| off.abs() <= 8), "{off:?}");

    // Chapters and tags.
    let path = out.to_str().unwrap();
    let probe =
        run("ffprobe", &["-v", "error", "-show_chapters", "-show_format", "-show_streams", "-of", "json", path]);
    let probe: serde_json::Value = serde_json::from_slice(&probe).unwrap();
    assert_eq!(probe["format"]["tags"]["title"], "third and <short>");
    let chapters = probe["chapters"].as_array().unwrap();
    assert_eq!(chapters.len(), 9);
    assert_eq!(chapters[1]["tags"]["title"], "3 and 2, play 47, end-zone");
    for (chapter, segment) in chapters.iter().zip(&done.segments) {
        let at = |name: &str| chapter[name].as_str().unwrap().parse::<f64>().unwrap();
        assert!((at("start_time") - segment.start).abs() < 0.002 && (at("end_time") - segment.end).abs() < 0.002);
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "nothing but the reel");
}

/// By how many samples each click of a reel of so many segments lies after its place.
fn clicks_off(reel: &Path, segments: usize) -> Vec<i64> {
    let heard = marks::clicks(&sound(reel), 48_000);
    let sample = |frames: u64| ((frames * 1001 * 48_000) as f64 / 30_000.0).round() as usize;
    let mut clicks = Vec::new();
    let mut start = 0;
    for k in 0..segments {
        let (from, to) = SPANS[k % 3];
        if k % 3 != 2 {
            let inside = (sample(from) + 500)..(sample(to) - 500);
            let film = (0..4).map(|c| marks::click_at(c, 48_000)).filter(|c| inside.contains(c));
            clicks.extend(film.map(|c| c - sample(from) + sample(start)));
        }
        start += to - from;
    }
    assert_eq!(heard.len(), clicks.len(), "{heard:?} {clicks:?}");
    heard.iter().zip(&clicks).map(|(&heard, &click)| heard as i64 - click as i64).collect()
}

#[test]
fn the_sound_of_a_hundred_clips_does_not_drift() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("hundred.mp4");
    let (_, done) = make(102, false, &out);
    assert_eq!(done.fresh, 3, "what is shown again is not rendered again");
    let off = clicks_off(&out, 102);
    let median = |some: &[i64]| {
        let mut some = some.to_vec();
        some.sort_unstable();
        some[some.len() / 2]
    };
    let third = off.len() / 3;
    let (first, last) = (median(&off[..third]), median(&off[off.len() - third..]));
    assert_eq!((off.len() >= 68, last - first), (true, 0), "{off:?}");
    assert!(off.iter().all(|off| off.abs() <= 8), "{off:?}");
}

#[test]
fn a_mute_reel_has_no_sound_stream() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("mute.mp4");
    make(1, true, &out);
    let kinds =
        run("ffprobe", &["-v", "error", "-show_entries", "stream=codec_type", "-of", "csv=p=0", out.to_str().unwrap()]);
    let kinds = String::from_utf8(kinds).unwrap();
    assert!(kinds.lines().any(|l| l.trim() == "video") && !kinds.contains("audio"), "{kinds}");
}
