//! Teaching reels: the ffmpeg program tells which source frame each picture shows (bar codes), and what is drawn on it; the
//! real binary makes reels of a made game from scripts, right ones and wrong ones.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use serde_json::Value;

use downbox::base::{FrameSpan, Rate, Silent};
use downbox::film::{Codec, Film, FilmReader};
use downbox::media::Media;
use downbox::paint::{Design, Head, Mark, MarkColor, MarkKind, Templates, paint};
use downbox::reel::script::SoundWay;
use downbox::reel::{
    Canvas, Caption, Hold, Layout, Pace, PlacedMark, ReelPlan, Segment, Span, Store, Studio, Teaching, Track, View,
    Zoom, render,
};

use crate::desk::{Desk, copy};
use crate::films::{count, luma, made, run, sound};
use crate::marks;

const NTSC: Rate = Rate { num: 30_000, den: 1001 };
const W: usize = 640;
const H: usize = 360;

/// Film time of a frame's middle: where in it a moment lies decides nothing then.
fn at(frame: f64) -> f64 {
    frame * 1001.0 / 30_000.0
}

fn film() -> PathBuf {
    made("teach.mp4", &["marked", "--out", "OUT", "--size", "640x360", "--frames", "100", "--fps", "30000/1001"])
}

fn segment(layout: Layout, views: &[(u64, u64, f64)], teaching: Teaching) -> Segment {
    let view = |&(from, to, anchor): &(u64, u64, f64)| View {
        source: "film".into(),
        content: "film".into(),
        span: FrameSpan::of(from, to),
        anchor: Some(anchor),
    };
    Segment {
        game: "Badgers".into(),
        label: "5".into(),
        angle: "sideline".into(),
        views: views.iter().map(view).collect(),
        layout,
        strip: None,
        strip_for: None,
        card: None,
        teaching: Some(Box::new(teaching)),
        title: "step".into(),
    }
}

fn teaching(pace: Pace) -> Teaching {
    Teaching {
        pace,
        beside: vec![1.0],
        labels: vec![None],
        snap: None,
        design: None,
        sound: SoundWay::Off,
        zooms: vec![],
        captions: vec![],
        marks: vec![],
    }
}

/// Renders segments of the marked film into a silent reel; gives the luma of every picture as ffmpeg decodes it.
fn rendered(segments: Vec<Segment>, folder: &Path) -> Vec<Vec<u8>> {
    luma(&made_reel(segments, true, folder), W, H)
}

/// Renders segments of the marked film.
fn made_reel(segments: Vec<Segment>, mute: bool, folder: &Path) -> PathBuf {
    let media = Media::new().unwrap();
    let film: Arc<Film> = Arc::new(media.read(&[film()], &Silent).unwrap());
    let canvas = Canvas { width: W as u32, height: H as u32, rate: NTSC };
    let plan = ReelPlan { title: "t".into(), canvas, segments, mute, voice: Vec::new() };
    let templates = Templates::shipped().unwrap();
    let store = Store::open(&folder.join("segments"), u64::MAX).unwrap();
    let studio = Studio {
        reader: &media,
        writer: &media,
        desk: &media,
        templates: &templates,
        design: Design::None,
        codec: Codec::H264,
        preset: "veryfast".into(),
        crf: 16,
        copies: None,
        jobs: 2,
        store: &store,
        progress: &Silent,
    };
    let out = folder.join("reel.mp4");
    let done = render(&plan, &studio, &mut |_| Ok(film.clone()), &out).unwrap();
    assert_eq!((done.left_out.len(), done.problems.len()), (0, 0));
    assert_eq!(count(&out), done.frames);
    out
}

#[test]
fn stops_and_speeds_show_exactly_the_frames_that_they_should() {
    let folder = tempfile::tempdir().unwrap();
    // From frame 10 to 70: half speed from 20 to 30, a stop of 30 frames on 40, double speed from 50 to 60.
    let spans = [Span { from: at(20.0), to: at(30.0), rate: 0.5 }, Span { from: at(50.0), to: at(60.0), rate: 2.0 }];
    let hold = [Hold { at: at(40.5), seconds: at(30.0) }];
    let pace = Pace::of(at(10.0)..at(70.0), 1.0, &spans, &hold);
    let pictures = rendered(vec![segment(Layout::Single, &[(10, 70, 0.0)], teaching(pace))], folder.path());
    let mut want: Vec<u32> = (10..20).collect();
    want.extend((20..30).flat_map(|n| [n, n]));
    want.extend(30..40);
    // Half of its time before the stop and half after it.
    want.extend([40; 31]);
    want.extend(41..50);
    let got: Vec<u32> = pictures.iter().map(|p| marks::read(p, W, H, W).expect("a bar code")).collect();
    assert_eq!(got[..want.len()], want);
    let fast = &got[want.len()..want.len() + 5];
    assert!(fast.windows(2).all(|w| w[1] == w[0] + 2) && (50..52).contains(&fast[0]), "{fast:?}");
    assert_eq!(got[want.len() + 5..], (60..70).collect::<Vec<u32>>());
}

#[test]
fn sound_is_heard_where_the_film_runs_and_slowed_with_it_if_that_is_asked_for() {
    // From frame 0 to 90: a stop of 1 s on frame 40, half speed from 60 on.
    let pace = || {
        let slow = [Span { from: at(60.0), to: at(90.0), rate: 0.5 }];
        Pace::of(at(0.0)..at(90.0), 1.0, &slow, &[Hold { at: at(40.0), seconds: 1.0 }])
    };
    let heard = |way: SoundWay| {
        let folder = tempfile::tempdir().unwrap();
        let taught = Teaching { sound: way, ..teaching(pace()) };
        sound(&made_reel(vec![segment(Layout::Single, &[(0, 90, 0.0)], taught)], false, folder.path()))
    };
    let sample = |seconds: f64| (seconds * 48_000.0).round() as usize;
    let stop = sample(at(40.0))..sample(at(40.0) + 1.0);
    let slow = sample(at(60.0) + 1.0);
    let loud =
        |sound: &[f32], span: std::ops::Range<usize>| sound[span].iter().fold(0.0f32, |most, v| most.max(v.abs()));
    let kept = heard(SoundWay::Kept);
    assert!(loud(&kept, stop.start + 2000..stop.end - 2000) < 1e-3, "where the picture stands it is silent");
    assert!(loud(&kept, slow + 2000..kept.len()) < 1e-3, "and where it is slowed");
    let clicks: Vec<usize> = (0..4).map(|c| marks::click_at(c, 48_000)).filter(|c| *c < sample(at(90.0))).collect();
    let place = |click: usize| if click < stop.start { click } else { click + 48_000 };
    let want: Vec<usize> = clicks.iter().filter(|c| **c < sample(at(60.0))).map(|c| place(*c)).collect();
    let got = marks::clicks(&kept, 48_000);
    assert!(want.len() >= 2 && got.len() == want.len(), "{got:?} {want:?}");
    assert!(got.iter().zip(&want).all(|(a, b)| a.abs_diff(*b) <= 8), "{got:?} {want:?}");
    let slowed = heard(SoundWay::Slowed);
    assert!(loud(&slowed, stop.start + 2000..stop.end - 2000) < 1e-3);
    // What was heard at the film's own speed is heard as before, and the click of the slow part at twice its way.
    let late: Vec<usize> =
        clicks.iter().filter(|c| **c >= sample(at(60.0))).map(|c| slow + 2 * (c - sample(at(60.0)))).collect();
    for click in late {
        let near = click.saturating_sub(3000)..(click + 3000).min(slowed.len());
        let rest = loud(&slowed, slow + 500..near.start.max(slow + 501));
        assert!(loud(&slowed, near) > 3.0 * rest, "no click around {click}");
    }
    assert!(heard(SoundWay::Off).iter().all(|v| v.abs() < 1e-3));
}

#[test]
fn plays_stand_side_by_side_on_their_snap_each_at_its_speed() {
    let folder = tempfile::tempdir().unwrap();
    // The snap is frame 30 of the one and 55 of the other, which runs at half the speed beside it.
    let pace = Pace::of(at(20.0)..at(60.0), 1.0, &[], &[]);
    let views = [(20, 60, at(30.0)), (50, 90, at(55.0))];
    let teaching = Teaching { beside: vec![1.0, 0.5], labels: vec![None, None], ..teaching(pace) };
    let pictures = rendered(vec![segment(Layout::Beside, &views, teaching)], folder.path());
    assert_eq!(pictures.len(), 40);
    for (k, picture) in pictures.iter().enumerate() {
        let half = |left: usize| -> Option<u32> {
            let rows = picture.chunks(W).skip(90).take(180);
            let small: Vec<u8> = rows.flat_map(|row| &row[left..left + 320]).copied().collect();
            marks::read(&small, 320, 180, 320)
        };
        let second = 55.0 + (k as f64 + 0.5 - 10.0) / 2.0;
        assert_eq!((half(0), half(320)), (Some(20 + k as u32), Some(second.floor() as u32)), "picture {k}");
    }
}

#[test]
fn a_zoom_shows_its_part_of_the_picture_as_ffmpeg_scales_it() {
    let folder = tempfile::tempdir().unwrap();
    let pace = Pace::of(at(10.0)..at(40.0), 1.0, &[], &[]);
    let zoom = Zoom { view: 0, from: 0.0, to: 1.0, on: (0.7, 0.6), factor: 2.0, ease: 0.1 };
    let pictures = rendered(
        vec![segment(Layout::Single, &[(10, 40, 0.0)], Teaching { zooms: vec![zoom], ..teaching(pace) })],
        folder.path(),
    );
    // Left .45, top .35 of 640x360; a pixel of ffmpeg's bilinear scaler is not ours to the last digit.
    let crop = "select=eq(n\\,25),crop=320:180:288:126,scale=640:360:flags=bilinear";
    let film = film();
    let args = ["-v", "error", "-i", film.to_str().unwrap(), "-vf", crop, "-frames:v", "1"];
    let raw = run("ffmpeg", &[&args[..], &["-f", "rawvideo", "-pix_fmt", "gray", "-"]].concat());
    let psnr = |a: &[u8], b: &[u8]| {
        let sum: f64 = a.iter().zip(b).map(|(a, b)| f64::from(a.abs_diff(*b)).powi(2)).sum();
        10.0 * (255.0f64.powi(2) / (sum / a.len() as f64)).log10()
    };
    let same = psnr(&pictures[15], &raw);
    assert!(same > 30.0, "{same:.1} dB");
    assert!(psnr(&pictures[0], &raw) < same - 6.0, "before it the whole picture is seen");
}

#[test]
fn marks_and_words_come_stand_still_and_go_when_they_should() {
    let folder = tempfile::tempdir().unwrap();
    // A stop of 2 s on frame 20; a line and a caption stand through it and leave before the film runs on.
    let pace = Pace::of(at(10.0)..at(40.0), 1.0, &[], &[Hold { at: at(20.5), seconds: 2.0 }]);
    let begins = at(10.5);
    let mark = PlacedMark {
        mark: Mark { kind: MarkKind::Line, color: MarkColor::Theirs, thickness: 1.0, dashed: false, head: Head::Plain },
        label: None,
        view: 0,
        points: vec![(0.2, 0.5), (0.8, 0.5)],
        size: (0.0, 0.0),
        height: 0.0,
        from: begins,
        to: begins + 2.0,
        fade: None,
        track: Track::default(),
    };
    let caption = Caption { text: "watch the safety".into(), from: begins, to: begins + 2.0 };
    let taught = Teaching { marks: vec![mark], captions: vec![caption], ..teaching(pace) };
    let clean = Teaching { marks: vec![], captions: vec![], ..taught.clone() };
    let views = [(10, 40, 0.0)];
    let other = tempfile::tempdir().unwrap();
    let drawn = rendered(vec![segment(Layout::Single, &views, taught)], folder.path());
    let clean = rendered(vec![segment(Layout::Single, &views, clean)], other.path());
    let apart = |k: usize, x: usize, y: usize| i32::from(drawn[k][y * W + x]) - i32::from(clean[k][y * W + x]);
    let whole = |k: usize| {
        let sum: u32 = drawn[k].iter().zip(&clean[k]).map(|(a, b)| u32::from(a.abs_diff(*b))).sum();
        f64::from(sum) / (W * H) as f64
    };
    // Film before and after is untouched but for the encoder's own noise.
    for k in [0, 5, 9, 72, 80, 88] {
        assert!(whole(k) < 1.3, "picture {k}: {}", whole(k));
    }
    let sky = i32::from(paint::SKY.ycbcr()[0]);
    // Grown from the left: after a tenth of a second the left end is drawn and the right one is not.
    let (early, late) = (14, 40);
    let of = |k: usize, x: usize| i32::from(drawn[k][180 * W + x]);
    let ends = [of(late, 140), of(late, 500)];
    assert!(ends.iter().all(|luma| (luma - sky).abs() < 20), "{ends:?}, not {sky}");
    assert!((of(early, 132) - sky).abs() < 20 && apart(early, 505, 180).abs() < 12);
    assert!(whole(late) > 2.0, "the caption's plate too: {}", whole(late));
    // It stands: from picture to picture of the stop nothing moves.
    let still: u32 = drawn[35].iter().zip(&drawn[55]).map(|(a, b)| u32::from(a.abs_diff(*b))).sum();
    assert!(f64::from(still) / ((W * H) as f64) < 0.6);
}

/// A script with most of what there is, over the made game.
const SCRIPT: &str = r#"title = "Two looks"

[[step]]
section = "The first"
play = { game = "badgers", label = "2" }
angle = "sideline"
from = "snap-1s"
to = "snap+2s"
stop = [{ at = "snap-0.3s", hold = 1.5 }]
speed = [{ from = "snap", to = "snap+0.5s", rate = 0.5 }]
caption = "watch the safety"

[[step.mark]]
kind = "zone"
pin = "turf"
at = [0.5, 0.5]
size = [0.2, 0.12]
from = "snap-0.3s"
to = "snap+2s"
color = "theirs"
label = "nobody here"

[[step.again]]
rate = 0.5
from = "snap"

[[step]]
[[step.view]]
play = { game = "Badgers", label = "2" }
[[step.view]]
play = { first = "play 3" }
angle = "end-zone"
label = "the other look"
"#;

fn written(desk: &Desk, text: &str) -> String {
    fs::write(desk.at("two.toml"), text).unwrap();
    desk.at("two.toml").display().to_string()
}

#[test]
fn a_script_becomes_a_reel_and_is_made_from_the_clips_alone() {
    let desk = Desk::with_game();
    let script = written(&desk, SCRIPT);
    let out = desk.at("two.mp4");
    let reel = |words: &[&str]| desk.run(&[&["reel", &script], words].concat());

    let checked = reel(&["--check", "--json"]).json();
    assert!(!out.exists() && checked["out"].is_null());
    let said = reel(&["--out", out.to_str().unwrap(), "--sidecar", "vtt,csv", "--json"]);
    assert_eq!(said.code, 0, "{}", said.err);
    let done = said.json();
    let cues = fs::read_to_string(out.with_extension("vtt")).unwrap().matches(" --> ").count();
    assert_eq!((cues, done["sidecars"].as_array().unwrap().len()), (5, 2));
    // A timeline of film that runs on would not be true of it.
    let refused = reel(&["--out", out.to_str().unwrap(), "--sidecar", "edl", "--json"]).error();
    assert!(refused[0].contains("edl") && refused[2].contains("vtt"), "{refused:?}");
    let seconds = |v: &Value| v.as_f64().unwrap();
    assert!((seconds(&done["seconds"]) - seconds(&checked["seconds"])).abs() < 0.01);
    let steps = done["steps"].as_array().unwrap();
    let what: Vec<(Option<u64>, &str)> =
        steps.iter().map(|s| (s["step"].as_u64(), s["angle"].as_str().unwrap())).collect();
    let want = [
        (None, "card"),
        (None, "card"),
        (Some(0), "sideline"),
        (Some(0), "sideline"),
        (Some(1), "sideline and end-zone"),
    ];
    assert_eq!(what, want);
    // 3 s of film, half a second of it at half speed, and a stop of 1.5 s; again from the snap on at half speed.
    let long = |k: usize| seconds(&steps[k]["end"]) - seconds(&steps[k]["start"]);
    assert!((long(2) - 5.0).abs() < 0.08 && (long(3) - 4.0).abs() < 0.08, "{} {}", long(2), long(3));
    assert!((count(&out) as f64 / 30.0 - seconds(&done["seconds"])).abs() < 0.2);
    let mark = &done["marks"][0];
    assert_eq!(
        (mark["kind"].as_str(), mark["pin"].as_str(), &mark["lost_at"]),
        (Some("zone"), Some("turf"), &Value::Null)
    );
    let path = mark["path"].as_array().unwrap();
    assert!((60..80).contains(&path.len()), "{}", path.len());
    assert!((seconds(&path[0]["x"]) - 0.5).abs() < 1e-6 && (seconds(&path[0]["y"]) - 0.5).abs() < 1e-6);
    // It is silent, and its chapters are its steps and cards.
    let probe = ["-v", "error", "-show_chapters", "-show_streams", "-of", "json", out.to_str().unwrap()];
    let probe: Value = serde_json::from_slice(&run("ffprobe", &probe)).unwrap();
    let chapters = probe["chapters"].as_array().unwrap();
    assert_eq!(chapters.len(), 5);
    assert!(probe["streams"].as_array().unwrap().iter().all(|s| s["codec_type"] != "audio"));

    // The same again is joined from what was rendered; with the film gone and the segments too it is made from the clips.
    let again = reel(&["--out", desk.at("again.mp4").to_str().unwrap(), "--json"]).json();
    assert_eq!(again["rendered"], 0);
    let alone = Desk::new();
    copy(&desk.library(), &alone.library());
    fs::remove_dir_all(alone.library().join("segments")).unwrap();
    let stills = alone.run(&["reel", &script, "--stills", alone.at("proof").to_str().unwrap(), "--json"]);
    assert_eq!(stills.code, 0, "{}", stills.err);
    let stills = stills.json()["stills"].as_array().unwrap().len();
    assert_eq!(stills, 5, "two cards, the stop, the repeat's middle and the comparison's");
}

#[test]
fn a_voice_is_heard_at_its_loudness_over_the_film() {
    let desk = Desk::with_game();
    let talk = desk.at("talk.wav");
    let tone = "sine=frequency=440:sample_rate=44100:duration=3,volume=0.05";
    run("ffmpeg", &["-v", "error", "-f", "lavfi", "-i", tone, talk.to_str().unwrap()]);
    let script = written(
        &desk,
        "sound = \"kept\"\nloudness = -18\n[[voice]]\nfile = \"talk.wav\"\nstep = 1\nafter = 0.5\n\
         [[step]]\nplay = { game = \"Badgers\", label = \"2\" }\nfrom = \"snap-2s\"\nto = \"snap+3s\"\n",
    );
    let out = desk.at("two.mp4");
    let said = desk.run(&["reel", &script, "--out", out.to_str().unwrap(), "--json"]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(said.json()["problems"].as_array().unwrap().is_empty(), "{}", said.out);
    // EBU R 128's meter, as the ffmpeg program has it, over the time in which it speaks.
    let meter = ["-hide_banner", "-nostats", "-ss", "0.6", "-t", "2.8", "-i", out.to_str().unwrap(), "-af", "ebur128"];
    let done = std::process::Command::new("ffmpeg").args(meter).args(["-f", "null", "-"]).output().unwrap();
    let text = String::from_utf8_lossy(&done.stderr).into_owned();
    let summary = text.rsplit("Integrated loudness:").next().unwrap();
    let loud: f64 = summary.split("I:").nth(1).unwrap().split_whitespace().next().unwrap().parse().unwrap();
    assert!((loud + 18.0).abs() < 1.0, "{loud} LUFS");
    // A voice that is not there is told by its place, before anything is rendered.
    fs::remove_file(&talk).unwrap();
    let [what, place, _] = desk.run(&["reel", &script, "--check", "--json"]).error();
    assert!(what.contains("voice") && place.ends_with("two.toml:4:8"), "{what} {place}");
}

#[test]
fn faults_are_told_by_their_line_and_the_rest_is_made_if_that_is_asked_for() {
    let desk = Desk::with_game();
    let faulty = SCRIPT.replace("label = \"2\" }\n[[step.view]]", "label = \"99\" }\n[[step.view]]");
    let script = written(&desk, &faulty.replace("to = \"snap+2s\"\nstop", "to = \"snap+200s\"\nstop"));
    let out = desk.at("two.mp4");
    let said = desk.run(&["reel", &script, "--out", out.to_str().unwrap(), "--json"]);
    let [what, place, _] = said.error();
    assert!(
        what.contains("2 faults") && place.contains("two.toml:8:6 ") && place.contains("two.toml:29:8 "),
        "{what} {place}"
    );
    assert!(place.contains("no play 99") && place.contains("after the clip ends"));
    assert!(!out.exists());
    // Without anything to show there is nothing to make.
    let said = desk.run(&["reel", &script, "--out", out.to_str().unwrap(), "--keep-going"]);
    assert_eq!(said.code, 2);

    let script = written(&desk, &faulty);
    let said = desk.run(&["reel", &script, "--out", out.to_str().unwrap(), "--keep-going", "--json"]);
    assert_eq!(said.code, 0, "{}", said.err);
    let done = said.json();
    assert_eq!(done["missing"].as_array().unwrap().len(), 1);
    assert!(done["missing"][0]["where"].as_str().unwrap().ends_with("two.toml:29:8"), "{}", done["missing"]);
    assert!(out.exists() && said.err.contains("no play 99"));
    for (text, part) in [
        (SCRIPT.replace("\"badgers\"", "\"Wolves\""), "no game \"Wolves\""),
        (SCRIPT.replace("first = \"play 3\"", "first = \"fourth and long\""), "no play fits"),
        (SCRIPT.replace("angle = \"end-zone\"", "angle = \"pylon\""), "no clip from pylon"),
        (SCRIPT.replace("at = \"snap-0.3s\"", "at = \"start+0.1s\""), "does not come by there"),
        (
            SCRIPT.replace("from = \"snap-1s\"\nto = \"snap+2s\"", "from = \"snap+2s\"\nto = \"set+0.5s\""),
            "before it begins",
        ),
        (
            SCRIPT
                .replace("from = \"snap-0.3s\"\nto = \"snap+2s\"\ncolor", "from = \"snap\"\nto = \"snap+0.1s\"\ncolor"),
            "half a second",
        ),
    ] {
        assert_ne!(text, SCRIPT);
        let script = written(&desk, &text);
        let said = desk.run(&["reel", &script, "--check", "--json"]);
        let [what, place, _] = said.error();
        assert!(what.contains(part) && place.contains("two.toml:"), "{what} ({place})");
    }
    // A file that is no reel is not written over.
    fs::write(desk.at("film.mp4"), "my film").unwrap();
    let script = written(&desk, SCRIPT);
    let said = desk.run(&["reel", &script, "--out", desk.at("film.mp4").to_str().unwrap(), "--json"]);
    assert!(said.error()[0].contains("no reel of downbox"));
    assert_eq!(fs::read(desk.at("film.mp4")).unwrap(), b"my film");
}
