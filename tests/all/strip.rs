//! The strip over a made picture of turf, kept to be looked at, and read by an outside eye: tesseract.

use std::path::{Path, PathBuf};
use std::process::Command;

use downbox::base::FrameNo;
use downbox::film::Picture;
use downbox::paint::{Canvas, Rgb, Strip, StripText, Template, paint};
use downbox::report::{ContactSheet, Tile, TilePicture};
use serde_json::Value;

use crate::desk::Desk;
use crate::overlays::read;

/// Turf in stripes and noise with white lines, some of them behind the strip.
pub(super) fn turf(width: usize, height: usize) -> Picture {
    let greens = [[0x30, 0x5E, 0x2F], [0x40, 0x75, 0x3A], [0x5F, 0x8F, 0x56]].map(|g| Rgb(g).ycbcr());
    let mut picture = Picture::filled(width, height, greens[1]);
    let mut seed = 7u32;
    for y in 0..height {
        for x in 0..width {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let band = (x * 12 / width + y * 3 / height) % 2;
            let line = (x + y / 3) % (width / 7) < width / 160;
            let luma = if line { 225 } else { greens[band + 1][0] + (seed >> 28) as u8 };
            picture.planes[0][y * width + x] = luma;
            if line {
                let half = (y / 2) * width.div_ceil(2) + x / 2;
                picture.planes[1][half] = 128;
                picture.planes[2][half] = 128;
            }
        }
    }
    picture
}

pub(super) fn third_and_two() -> StripText {
    include!("../../fixtures/strip_text.rs")
}

fn painted(text: &StripText, width: usize, height: usize) -> Picture {
    let strip = Strip::draw(&Template::strip().unwrap(), text, width, height).unwrap();
    assert_eq!(strip.problems, []);
    let mut picture = turf(width, height);
    strip.overlay.unwrap().blend(&mut picture);
    picture
}

pub(super) fn look(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/look");
    std::fs::create_dir_all(&folder).unwrap();
    folder.join(name)
}

/// Rows `from..to` of a picture as PNG, `times` as large.
pub(super) fn keep(picture: &Picture, rows: std::ops::Range<usize>, times: usize, file: &Path) {
    let (w, h) = (picture.width, rows.len());
    let mut view = picture.view(FrameNo(0), 0.0);
    view.height = h;
    view.planes = [
        &picture.planes[0][rows.start * w..],
        &picture.planes[1][rows.start / 2 * (w / 2)..],
        &picture.planes[2][rows.start / 2 * (w / 2)..],
    ];
    let (tw, th) = ((w * times) as u32, (h * times) as u32);
    let mut canvas = Canvas::new(tw, th, paint::INK).unwrap();
    canvas.picture(&view, (w as u32, h as u32), [0, 0, tw, th]);
    std::fs::write(file, canvas.png().unwrap()).unwrap();
}

#[test]
fn strips_are_drawn_at_every_common_size() {
    let kickoff = StripText {
        down: None,
        distance: None,
        word: Some("kickoff".into()),
        ball_on: Some("own 35".into()),
        ball_yards: Some(35),
        to_gain: None,
        tags: vec![],
        ..third_and_two()
    };
    let goal = StripText {
        down: Some("1".into()),
        distance: Some("and goal".into()),
        ball_on: Some("opp 7".into()),
        ball_yards: Some(93),
        to_gain: Some(7),
        ..third_and_two()
    };
    for (text, name, w, h) in [
        (third_and_two(), "strip-1080.png", 1920, 1080),
        (third_and_two(), "strip-720.png", 1280, 720),
        (third_and_two(), "strip-360.png", 640, 360),
        (goal, "strip-goal-360.png", 640, 360),
        (kickoff, "strip-kickoff-720.png", 1280, 720),
        (third_and_two(), "strip-upright.png", 406, 720),
    ] {
        let file = look(name);
        keep(&painted(&text, w, h), 0..h, 1, &file);
        assert!(std::fs::metadata(&file).unwrap().len() > 10_000);
    }
}

/// Runs a picture through the `ffmpeg` program, as raw BT.709 film into `to`.
pub(super) fn through_ffmpeg(picture: &Picture, to: &[&str], out: &Path) {
    let raw = out.with_extension("yuv");
    std::fs::write(&raw, picture.planes.concat()).unwrap();
    let size = format!("{}x{}", picture.width, picture.height);
    let color = ["-colorspace", "bt709", "-color_range", "tv"];
    let run = Command::new("ffmpeg")
        .args(["-y", "-v", "error", "-f", "rawvideo", "-pix_fmt", "yuv420p", "-s", &size])
        .args(color)
        .arg("-i")
        .arg(&raw)
        .args(to)
        .arg(out)
        .output()
        .expect("ffmpeg is needed by this test: apt-get install ffmpeg");
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    std::fs::remove_file(&raw).unwrap();
}

/// The smallest common picture, after x264 at constant rate factor 30, read by tesseract (Debian `tesseract-ocr`) from
/// the band's line of words at three times the size.
#[test]
fn an_outside_reader_reads_the_strip_at_640_by_360_after_hard_compression() {
    let film = look("strip-360-crf30.mp4");
    through_ffmpeg(
        &painted(&third_and_two(), 640, 360),
        &["-c:v", "libx264", "-preset", "veryfast", "-crf", "30", "-pix_fmt", "yuv420p"],
        &film,
    );
    let file = look("strip-360-crf30.png");
    let cut = ["-vf", "crop=576:24:32:309,scale=1728:72:flags=bilinear", "-frames:v", "1"];
    let run =
        Command::new("ffmpeg").args(["-y", "-v", "error", "-i"]).arg(&film).args(cut).arg(&file).output().unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let read = Command::new("tesseract")
        .args([file.as_os_str(), "-".as_ref(), "--psm".as_ref(), "7".as_ref()])
        .output()
        .expect("tesseract is needed by this test: apt-get install tesseract-ocr");
    assert!(read.status.success(), "{}", String::from_utf8_lossy(&read.stderr));
    // The reader sees the narrow typeface's spaces or does not: letters are what is compared.
    let words: String = String::from_utf8_lossy(&read.stdout).split_whitespace().collect();
    for want in ["and 2", "opp 34", "trips right", "one-high", "Q2 4:31", "play 47"] {
        assert!(words.contains(&want.replace(' ', "")), "{want} is not read in: {words}");
    }
}

/// A reel as the binary makes it for a phone, seen at 640x360: what tesseract reads in the middle of each play is what the
/// library's tags say of it.
#[test]
fn an_outside_reader_reads_in_a_reel_what_the_sheet_says() {
    let desk = Desk::with_game();
    let words = ["cutup", "down >= 1", "--angle", "sideline", "--profile", "phone", "--first", "3"];
    let more = ["--lead-in", "0.5", "--tail", "0", "--json", "--out", "phone.mp4"];
    let made = desk.run(&[&words[..], &more].concat());
    assert_eq!(made.code, 0, "{}", made.err);
    let plays = desk.run(&["plays", "down >= 1", "--json"]).json();
    let segments = made.json()["segments"].as_array().unwrap().clone();
    assert_eq!(segments.len(), 3);
    for segment in &segments {
        let at = |key: &str| segment[key].as_f64().unwrap() * 30.0;
        let frame = ((at("start") + at("end")) / 2.0).round();
        let seen = |cut: &str, layout: &str| {
            read(&desk.at("phone.mp4"), &format!("select=eq(n\\,{frame}),scale=640:360:flags=area,{cut}"), layout)
        };
        let line = seen("crop=576:24:32:309,scale=1728:72:flags=bilinear", "7");
        let play = plays["plays"].as_array().unwrap().iter().find(|p| p["label"] == segment["label"]).unwrap();
        let tags = &play["tags"];
        let tag = |name: &str| match &tags[name] {
            Value::String(text) => Some(text.replace(' ', "")),
            Value::Null => None,
            other => Some(other.to_string()),
        };
        let want = [
            tag("distance").map(|distance| format!("and{distance}")),
            tag("ball_on"),
            tag("shell"),
            Some(format!("play{}", segment["label"].as_str().unwrap())),
        ];
        assert!(want.iter().flatten().count() >= 3, "{tags}");
        for want in want.iter().flatten() {
            assert!(line.contains(want.as_str()), "{want} is not read in: {line}");
        }
        // The down stands in the plate, dark on light; alone it needs room around it to be taken for a letter.
        let ink = "scale=176:176:flags=bicubic,format=gray,lutyuv=y=if(gt(val\\,85)\\,255\\,0),pad=336:336:80:80:white";
        let down = seen(&format!("crop=22:22:43:309,{ink}"), "10").replace(['I', 'l', '|', ']'], "1");
        assert!(down.contains(&tag("down").unwrap()), "down {:?} is not read in: {down}", tag("down"));
    }
}

/// The look's colors as FFmpeg's own scaler turns the painted planes back into R'G'B'.
#[test]
fn ffmpeg_sees_the_colors_that_the_look_names() {
    let out = look("strip-1080.rgb");
    let filter = "scale=in_color_matrix=bt709:in_range=tv:flags=accurate_rnd+full_chroma_int,format=rgb24";
    through_ffmpeg(&painted(&third_and_two(), 1920, 1080), &["-vf", filter, "-f", "rawvideo"], &out);
    let rgb = std::fs::read(&out).unwrap();
    std::fs::remove_file(&out).unwrap();
    for (x, y, Rgb(want)) in [(130, 942, paint::POLE), (1100, 990, paint::INK)] {
        let at = (y * 1920 + x) * 3;
        let got = &rgb[at..at + 3];
        assert!(got.iter().zip(want).all(|(&g, w)| g.abs_diff(w) <= 3), "{got:?}, not {want:?}");
    }
}

#[test]
fn a_contact_sheet_shows_sure_and_doubtful_plays() {
    let tile = |i: usize| Tile {
        label: if i == 7 { "6a".into() } else { i.to_string() },
        down: (i != 1).then(|| (1 + i % 4).to_string()),
        distance: Some(if i == 1 { "kickoff".into() } else { format!("and {}", 1 + i * 7 % 11) }),
        ball_on: (i != 4).then(|| format!("opp {}", 49 - i)),
        tags: if i.is_multiple_of(3) { vec![] } else { vec!["trips right".into(), "one-high & <closed>".into()] },
        picture: (i != 9).then(|| TilePicture {
            picture: turf(if i == 5 { 360 } else { 640 }, 360),
            shown: (if i == 5 { 360 } else { 640 }, 360),
        }),
        doubt: match i {
            3 => Some("row 12 or row 13, 58 % sure".into()),
            9 => Some("no snap found: look whether this is a play at all".into()),
            _ => None,
        },
    };
    let sheet = ContactSheet {
        title: "Herons at Badgers".into(),
        subtitle: "2026-09-11".into(),
        tiles: (1..=23).map(tile).collect(),
    };
    let written = sheet.write(&look("contact-sheet-made.png")).unwrap();
    assert_eq!(written.len(), 2);
}
