//! Reels of which the rest is copied after the strip: every frame the right one by its bar code, what is copied bit for bit
//! the film's, and whole by a decoder that is not FFmpeg's.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use downbox::base::{FrameSpan, Rate, Silent};
use downbox::cut;
use downbox::film::{Codec, Film, FilmReader, SoundPlan};
use downbox::media::Media;
use downbox::paint::{Design, StripText, Templates, paint};
use downbox::reel::{Canvas, Layout, PlanCopy, ReelPlan, Segment, Store, Studio, View, foresee, render};

use crate::films::{frame_sums, luma, made, remade};
use crate::marks;
use crate::second_decoders::by_gstreamer;

const WIDE: usize = 320;
const HIGH: usize = 180;

/// Three films of the same numbers: two of one camera, with references among their B-frames, one of another whose parameter
/// sets have the same ids.
fn films(folder: &Path) -> [PathBuf; 3] {
    let marked = made("copied.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "300"]);
    let colors = ["-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709", "-color_range", "tv"];
    [("one", "3", "30"), ("two", "3", "30"), ("other", "0", "45")].map(|(name, frames, key)| {
        let path = folder.join(format!("{name}.mp4"));
        let coded = ["-c:v", "libx264", "-preset", "veryfast", "-bf", frames, "-g", key, "-sc_threshold", "0"];
        let filter = ["-vf", "scale=out_color_matrix=bt709:out_range=tv"];
        remade(&marked, &path, &[], &[&coded[..], &filter, &colors, &["-c:a", "copy"]].concat());
        path
    })
}

/// Which film and frames each segment shows.
const SEGMENTS: [(usize, u64, u64); 4] = [(0, 7, 187), (2, 20, 140), (1, 60, 207), (0, 100, 270)];
/// For so many frames the strip stands.
const DRAWN: u64 = 24;

fn plan_copy(
    writer: &dyn downbox::film::FilmWriter,
    film: &Film,
    span: FrameSpan,
) -> downbox::base::Result<downbox::film::ClipPlan> {
    Ok(cut::plan(film, span, span.start, &[writer.entry_points(film, 0)?], &[SoundPlan::None]))
}

#[test]
fn what_follows_the_strip_is_copied_and_every_frame_is_in_its_place() {
    let folder = tempfile::tempdir().unwrap();
    let paths = films(folder.path());
    let media = Media::new().unwrap();
    let films = paths.clone().map(|path| Arc::new(media.read(&[path], &Silent).unwrap()));
    let text = StripText {
        down: Some("3".into()),
        distance: Some("and 2".into()),
        ball_on: Some("opp 34".into()),
        play: Some("play 47".into()),
        ..StripText::default()
    };
    let segment = |(label, (film, from, to)): (usize, (usize, u64, u64))| Segment {
        game: "Badgers".into(),
        label: label.to_string(),
        angle: "sideline".into(),
        views: vec![View {
            source: film.to_string(),
            content: film.to_string(),
            span: FrameSpan::of(from, to),
            anchor: None,
        }],
        layout: Layout::Single,
        strip: Some(text.clone()),
        strip_for: Some(DRAWN as f64 / 30.0),
        card: None,
        teaching: None,
        title: format!("play {label}"),
    };
    let plan = ReelPlan {
        title: "copied".into(),
        canvas: Canvas { width: WIDE as u32, height: HIGH as u32, rate: Rate { num: 30, den: 1 } },
        segments: SEGMENTS.into_iter().enumerate().map(segment).collect(),
        mute: false,
        voice: Vec::new(),
    };
    let templates = Templates::shipped().unwrap();
    let make = |name: &str, copies: Option<PlanCopy>| {
        let store = Store::open(&folder.path().join("segments"), u64::MAX).unwrap();
        let studio = Studio {
            reader: &media,
            writer: &media,
            desk: &media,
            templates: &templates,
            design: Design::Strip,
            codec: Codec::H264,
            preset: "veryfast".into(),
            crf: 17,
            copies,
            jobs: 2,
            store: &store,
            progress: &Silent,
        };
        let out = folder.path().join(name);
        let mut open = |source: &str| Ok(films[source.parse::<usize>().unwrap()].clone());
        let done = render(&plan, &studio, &mut open, &out).unwrap();
        assert_eq!((done.left_out.len(), done.problems.len(), done.segments.len()), (0, 0, 4));
        let ready = foresee(&plan, &studio, &mut open).unwrap().ready;
        assert_eq!(ready, 4, "what was rendered is found again");
        (out, done.fresh)
    };
    let (reel, fresh) = make("copied.mp4", Some(plan_copy));
    assert_eq!(fresh, 4);
    let want: Vec<(usize, u64)> =
        SEGMENTS.iter().flat_map(|&(film, from, to)| (from..to).map(move |n| (film, n))).collect();
    let pictures = luma(&reel, WIDE, HIGH);
    let numbers: Vec<_> = pictures.iter().map(|l| marks::read(l, WIDE, HIGH, WIDE)).collect();
    let wanted: Vec<_> = want.iter().map(|(_, n)| Some(*n as u32)).collect();
    assert!(numbers == wanted, "{numbers:?}");
    let seen = by_gstreamer(&reel, "h264parse", "openh264dec");
    assert!(seen == wanted, "OpenH264: {seen:?}");
    // The band of the strip is there as long as it is to stand, and no longer.
    // What `luma` gives is of full range.
    let ink = ((f64::from(paint::INK.ycbcr()[0]) - 16.0) * 255.0 / 219.0).round() as u8;
    let mut k = 0;
    for &(_, from, to) in &SEGMENTS {
        for n in from..to {
            let band = pictures[k][160 * WIDE + 200];
            assert_eq!(band.abs_diff(ink) <= 6, n - from < DRAWN, "frame {n}: {band}, ink {ink}");
            k += 1;
        }
    }
    // What is copied is the film's, bit for bit: of the two films of one camera, from the first key frame after the strip on.
    let (sums, of) = (frame_sums(&reel), paths.each_ref().map(|path| frame_sums(path)));
    let mut same = [0; 4];
    let mut at = 0;
    for (segment, &(film, from, to)) in SEGMENTS.iter().enumerate() {
        same[segment] = (from..to).filter(|n| sums[at + (n - from) as usize] == of[film][*n as usize]).count() as u64;
        at += (to - from) as usize;
        let key = (from + DRAWN).next_multiple_of(30);
        let copied = if film == 2 { 0..=0 } else { (to - key - 3)..=(to - key) };
        assert!(
            copied.contains(&same[segment]),
            "segment {segment}: {} frames of {from} to {to} are the film's",
            same[segment]
        );
    }
    // The same reel rendered whole is another file of the same pictures, and both lie in the store.
    let (whole, fresh) = make("whole.mp4", None);
    assert_eq!(fresh, 4);
    let numbers: Vec<_> = luma(&whole, WIDE, HIGH).iter().map(|l| marks::read(l, WIDE, HIGH, WIDE)).collect();
    assert_eq!(numbers, wanted);
    assert_eq!(make("again.mp4", Some(plan_copy)).1, 0);
    assert_eq!(std::fs::read(folder.path().join("again.mp4")).unwrap(), std::fs::read(&reel).unwrap());
}
