//! The same two plays in every format that cameras, phones and cards leave: the scan finds the same cut, to the frame,
//! and the same snaps and whistles as in the plain film, or says what is wrong with the film.
//!
//! One small game is drawn at 60 frames a second; its sideline film is cut down to two shots and then remade by the
//! ffmpeg program, so that every difference in what is found comes from the format alone.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use serde_json::Value;

use crate::films::{made, remade, run};
use crate::paff;

/// Whistles of a format may lie so far from the plain film's: two samples of motion and a bit [practice].
const NEAR: f64 = 0.15;
/// Its snaps: three and a bit, by which another encoding of a picture this small moves the foot of a rise [practice].
const NEAR_SNAP: f64 = 0.22;
/// Frames a second of the film as it is drawn, and of the plain one.
const DRAWN: u64 = 60;
const PLAIN: u64 = 30;

/// What a scan found; times in seconds.
#[derive(Debug, Clone, PartialEq)]
struct Scan {
    frames: u64,
    cuts: Vec<u64>,
    snaps: Vec<f64>,
    whistles: Vec<Option<f64>>,
    problems: Vec<Value>,
    by: Vec<String>,
    rate: String,
}

fn scan(film: &Path) -> Scan {
    let done = Command::new(env!("CARGO_BIN_EXE_downbox"))
        .args(["scan", "--json", "--quiet", "--angle", "sideline"])
        .arg(film)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&done.stderr);
    let document: Value = serde_json::from_slice(&done.stdout).unwrap_or_else(|e| panic!("{film:?}: {e}: {said}"));
    let found = document["films"].get(0).unwrap_or_else(|| panic!("{film:?}: {document}"));
    let list = |name: &str| found[name].as_array().unwrap().clone();
    let plays: Vec<Value> = list("plays").into_iter().filter(|p| !p["snap_time"].is_null()).collect();
    Scan {
        frames: found["frames"].as_u64().unwrap(),
        cuts: list("shots").iter().skip(1).map(|s| s["start"].as_u64().unwrap()).collect(),
        snaps: plays.iter().map(|p| p["snap_time"].as_f64().unwrap()).collect(),
        whistles: plays.iter().map(|p| p["whistle_time"].as_f64()).collect(),
        problems: list("problems"),
        by: plays.iter().map(|p| p["by"].as_str().unwrap_or_default().to_string()).collect(),
        rate: found["frame_rate"].as_str().unwrap().to_string(),
    }
}

/// The two shots at both rates, and what the scan finds in the plain one.
struct Source {
    fine: PathBuf,
    plain: PathBuf,
    /// First frame of the second shot, in the plain film.
    cut: u64,
    found: Scan,
    _folder: tempfile::TempDir,
}

fn source() -> &'static Source {
    static SOURCE: OnceLock<Source> = OnceLock::new();
    SOURCE.get_or_init(|| {
        let order = "game --out OUT --seed 23 --plays 2 --size 320x180 --fps 60 --crf 12 --clean";
        let game = made("formats", &order.split(' ').collect::<Vec<_>>());
        let truth: Value = serde_json::from_slice(&std::fs::read(game.join("truth.json")).unwrap()).unwrap();
        let plays = truth["cameras"][0]["plays"].as_array().unwrap();
        let time = |k: usize, what: &str| plays[k][what].as_f64().unwrap();
        // Each shot from 4 s before the snap to 1.5 s after the end, in whole eighths of drawn frames, so that the cut
        // is a frame border at every rate made of it.
        let spans: Vec<(u64, u64)> = (0..2)
            .map(|k| {
                let border = |t: f64| (t * DRAWN as f64 / 8.0) as u64 * 8;
                (border(time(k, "snap_time") - 4.0), border(time(k, "end_time") + 1.5))
            })
            .collect();
        let folder = tempfile::tempdir().unwrap();
        let (fine, plain) = (folder.path().join("fine.mov"), folder.path().join("plain.mp4"));
        let mut graph = String::new();
        for (k, (from, to)) in spans.iter().enumerate() {
            let seconds = |f: &u64| *f as f64 / DRAWN as f64;
            graph += &format!("[0:v]trim=start_frame={from}:end_frame={to},setpts=PTS-STARTPTS[v{k}];");
            graph += &format!("[0:a]atrim={}:{},asetpts=PTS-STARTPTS[a{k}];", seconds(from), seconds(to));
        }
        graph += "[v0][a0][v1][a1]concat=n=2:v=1:a=1[v][a]";
        let drawn = game.join("sideline.mp4");
        let coded = ["-map", "[v]", "-map", "[a]", "-c:v", "libx264", "-preset", "ultrafast", "-crf", "10"];
        let after = [&["-filter_complex", &graph][..], &coded, &["-c:a", "pcm_s16le"]].concat();
        remade(&drawn, &fine, &[], &after);
        let half = ["-vf", "select=not(mod(n\\,2)),setpts=N/30/TB", "-r", "30", "-c:v", "libx264"];
        let coded =
            ["-preset", "ultrafast", "-crf", "10", "-g", "60", "-c:a", "aac", "-aac_coder", "fast", "-b:a", "128k"];
        remade(&fine, &plain, &[], &[&half[..], &coded].concat());

        let found = scan(&plain);
        let cut = (spans[0].1 - spans[0].0) / (DRAWN / PLAIN);
        assert_eq!(found.cuts, [cut], "the plain film: {found:?}");
        assert_eq!(found.snaps.len(), 2, "the plain film: {found:?}");
        // Where the two snaps truly are, so that the formats are not all held to a wrong one.
        let mut before = 0;
        for (k, (from, to)) in spans.iter().enumerate() {
            let at = |t: f64| t + (before as f64 - *from as f64) / DRAWN as f64;
            assert!((found.snaps[k] - at(time(k, "snap_time"))).abs() < 0.4, "play {k}: {found:?}");
            let whistle = found.whistles[k].unwrap();
            assert!((whistle - at(time(k, "end_time"))).abs() < 0.6, "play {k}: {found:?}");
            before += to - from;
        }
        Source { fine, plain, cut, found, _folder: folder }
    })
}

/// What of the plain film a format shares.
#[derive(Clone, Copy)]
struct Same {
    /// First frame of the second shot.
    cut: u64,
    /// Seconds that the film starts later than the plain one.
    later: f64,
    /// Whether the whistles are there to be heard.
    whistles: bool,
    /// Plays of the plain film that it begins without.
    without: usize,
}

impl Default for Same {
    fn default() -> Self {
        Self { cut: source().cut, later: 0.0, whistles: true, without: 0 }
    }
}

/// Holds a film against the plain one, and gives what was found.
fn same(film: &Path, want: Same) -> Scan {
    let plain = &source().found;
    let found = scan(film);
    let name = film.file_name().unwrap().to_string_lossy();
    assert_eq!(found.cuts, [want.cut], "{name}: {found:?}\nplain {plain:?}");
    let snaps = &plain.snaps[want.without..];
    assert_eq!(found.snaps.len(), snaps.len(), "{name}: {found:?}\nplain {plain:?}");
    let near = |a: f64, b: f64, by: f64| (a + want.later - b).abs() <= by;
    for (k, snap) in snaps.iter().enumerate() {
        assert!(near(found.snaps[k], *snap, NEAR_SNAP), "{name}, snap {k}: {found:?}\nplain {plain:?}");
        if let (true, Some(p)) = (want.whistles, plain.whistles[k + want.without]) {
            let whistle = found.whistles[k].unwrap_or(f64::NAN);
            assert!(near(whistle, p, NEAR), "{name}, whistle {k}: {found:?}\nplain {plain:?}");
        }
    }
    found
}

const QUICK: [&str; 6] = ["-c:v", "libx264", "-preset", "ultrafast", "-crf", "16"];

/// The plain film (or the fine one) through ffmpeg, scanned and compared.
fn check(name: &str, from: &Path, before: &[&str], after: &[&str], want: Same) -> Scan {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    remade(from, &path, before, after);
    same(&path, want)
}

#[test]
fn woven_fields_are_combed_and_scanned_all_the_same() {
    // Two drawn frames become one picture of two fields, each at its own time, as a camcorder's 1080i is.
    let filter = ["-vf", "tinterlace=interleave_top,fieldorder=tff", "-flags", "+ildct+ilme", "-x264-params", "tff=1"];
    let args = [&QUICK[..], &filter, &["-c:a", "ac3", "-f", "mpegts"]].concat();
    check("woven.mts", &source().fine, &[], &args, Same::default());
}

#[test]
fn field_pictures_are_scanned_all_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let (raw, path) = (folder.path().join("fields.h264"), folder.path().join("fields.mts"));
    paff::write(&source().fine, &raw, 320, 192, 30);
    let fine = source().fine.to_str().unwrap();
    // Each packet is a field.
    let input = ["-v", "error", "-y", "-r", "60", "-i", raw.to_str().unwrap(), "-i", fine];
    let maps = ["-map", "0:v", "-map", "1:a", "-c:v", "copy", "-c:a", "ac3", "-f", "mpegts", path.to_str().unwrap()];
    run("ffmpeg", &[&input[..], &maps].concat());
    same(&path, Same::default());
}

#[test]
fn turned_films_are_scanned_upright() {
    let args = [&QUICK[..], &["-vf", "transpose=2", "-c:a", "copy", "-metadata:s:v:0", "rotate=90"]].concat();
    check("turned.mp4", &source().plain, &[], &args, Same::default());
}

#[test]
fn narrow_pictures_and_pixels_that_are_not_square_are_scanned() {
    let squeezed = [&QUICK[..], &["-vf", "scale=240:180,setsar=4/3", "-c:a", "copy"]].concat();
    check("squeezed.mp4", &source().plain, &[], &squeezed, Same::default());
    // A 4:3 camera sees less to the sides.
    let narrow = [&QUICK[..], &["-vf", "crop=240:180", "-c:a", "copy"]].concat();
    check("narrow.mp4", &source().plain, &[], &narrow, Same::default());
}

#[test]
fn ten_bits_other_codecs_and_open_groups_are_scanned() {
    let plain = &source().plain;
    let ten = [&QUICK[..], &["-pix_fmt", "yuv420p10le", "-c:a", "copy"]].concat();
    check("ten.mp4", plain, &[], &ten, Same::default());
    let hevc = ["-c:v", "libx265", "-preset", "ultrafast", "-crf", "18", "-x265-params", "log-level=none:open-gop=1"];
    let hevc = [&hevc[..], &["-tag:v", "hvc1", "-pix_fmt", "yuv420p10le", "-c:a", "copy"]].concat();
    check("phone.mov", plain, &[], &hevc, Same::default());
    let open = ["-g", "30", "-bf", "3", "-x264-params", "open-gop=1:scenecut=0:b-adapt=0:rc-lookahead=10"];
    check("open.mp4", plain, &[], &[&QUICK[..], &open, &["-c:a", "copy"]].concat(), Same::default());
    let avi = ["-c:v", "mpeg4", "-q:v", "3", "-bf", "2", "-c:a", "mp3"];
    check("old.avi", plain, &[], &avi, Same::default());
}

/// From `frames` plain frames before the cut on, at `rate`, at most `seconds` long: what costs much is done on little film.
fn second_shot(name: &str, frames: u64, rate: u64, seconds: &str, args: &[&str]) -> Scan {
    let source = source();
    let later = (source.cut - frames) as f64 / PLAIN as f64;
    let start = later.to_string();
    // Sought in the lossless-timed film: decoding goes on from the key frame before, and drops what is early.
    let args = [args, &["-t", seconds, "-c:a", "copy"]].concat();
    let want = Same { cut: frames * rate / PLAIN, later, whistles: false, without: 1 };
    check(name, &source.fine, &["-ss", &start], &args, want)
}

#[test]
fn large_pictures_are_scanned() {
    let seconds = (source().found.snaps[1] - source().cut as f64 / PLAIN as f64 + 3.5).to_string();
    let filter = ["-vf", "fps=15,scale=3840:2160:flags=neighbor", "-c:v", "libx264", "-preset", "ultrafast"];
    second_shot("large.mov", 20, 15, &seconds, &filter);
}

#[test]
fn every_rate_is_scanned() {
    let source = source();
    let found = check("sixty.mov", &source.fine, &[], &["-c", "copy"], Same { cut: 2 * source.cut, ..Same::default() });
    assert_eq!(found.rate, "60/1");
    let found = second_shot("quick.mov", 20, 120, "60", &[&QUICK[..], &["-vf", "fps=120"]].concat());
    assert_eq!(found.rate, "120/1");
    // A phone that drops a frame in three for the first four seconds.
    let filter = "select='gte(n,120)+not(eq(mod(n,3),1))'";
    let varies = [&QUICK[..], &["-vf", filter, "-fps_mode", "vfr", "-c:a", "copy"]].concat();
    check("varies.mp4", &source.plain, &[], &varies, Same { cut: source.cut - 40, ..Same::default() });
}

#[test]
fn films_without_sound_with_one_channel_and_with_late_sound_are_scanned() {
    let plain = &source().plain;
    let mute = check("mute.mp4", plain, &[], &["-c", "copy", "-an"], Same { whistles: false, ..Same::default() });
    // Without a sound nothing can be said to be heard.
    assert!(mute.by.iter().all(|by| !by.contains("sound")), "{mute:?}");
    check("mono.mov", plain, &[], &["-c:v", "copy", "-ac", "1", "-ar", "22050", "-c:a", "pcm_s16le"], Same::default());
    let late = ["-c:v", "copy", "-af", "atrim=2", "-c:a", "aac", "-aac_coder", "fast"];
    check("late.mp4", plain, &[], &late, Same::default());
}

#[test]
fn edit_lists_and_times_below_zero_are_scanned() {
    let source = source();
    // The packets from the key frame at 0 s on are there; what comes before 1.5 s is hidden.
    let want = Same { cut: source.cut - 45, later: 1.5, ..Same::default() };
    check("trimmed.mp4", &source.plain, &["-ss", "1.5"], &["-c", "copy"], want);
    let below = ["-c", "copy", "-output_ts_offset", "-1", "-avoid_negative_ts", "disabled"];
    check("below.mkv", &source.plain, &[], &below, Same::default());
}

#[test]
fn a_damaged_stretch_is_told_and_the_rest_scanned() {
    let source = source();
    let folder = tempfile::tempdir().unwrap();
    let whole = folder.path().join("whole.ts");
    remade(&source.plain, &whole, &[], &["-c:v", "copy", "-c:a", "copy", "-f", "mpegts"]);
    let mut bytes = std::fs::read(&whole).unwrap();
    // In the second shot, after its whistle: the last seconds of the film, but not its end.
    let (from, to) = (bytes.len() * 95 / 100, bytes.len() * 97 / 100);
    bytes[from..to].fill(0x55);
    let path = folder.path().join("hurt.ts");
    std::fs::write(&path, bytes).unwrap();
    let found = same(&path, Same::default());
    assert!(found.frames <= source.found.frames);
    let told = found.problems.iter().any(|p| p["where"].as_str().is_some_and(|w| w.contains("hurt.ts from")));
    assert!(told, "{:?}", found.problems);
}
