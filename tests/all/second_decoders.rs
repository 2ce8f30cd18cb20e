//! Clips by decoders that are not FFmpeg's: OpenH264 and libde265 in GStreamer, and Chromium. A stream that FFmpeg forgives
//! may lose a frame there or not play at all, which is seen at the joint of frames encoded anew and frames copied.

use std::path::{Path, PathBuf};
use std::process::Command;

use downbox::base::{FrameNo, FrameSpan, Silent};
use downbox::cut::plan;
use downbox::film::{Decode, EntryPoints, Film, FilmReader, FilmWriter, Piece};
use downbox::media::Media;
use serde_json::Value;

use crate::browser;
use crate::films::{frame_sums, luma, made, remade};
use crate::marks;

const WIDE: usize = 320;
const HIGH: usize = 180;

fn read(path: &Path) -> (Media, Film, EntryPoints) {
    let media = Media::new().unwrap();
    let film = media.read(&[path.to_path_buf()], &Silent).unwrap();
    let points = media.entry_points(&film, 0).unwrap();
    (media, film, points)
}

/// Cuts one span, and gives the clip and what was copied of it.
fn cut(path: &Path, span: FrameSpan, clip: &Path) -> Option<FrameSpan> {
    cut_in_shot(path, span.start, span, clip)
}

/// The same of a shot that begins at `floor`.
fn cut_in_shot(path: &Path, floor: FrameNo, span: FrameSpan, clip: &Path) -> Option<FrameSpan> {
    let (media, film, points) = read(path);
    let plan = plan(&film, span, floor, &[points], &[media.sound_plan(&film, 0).unwrap()]);
    media.carry_out(&film, std::slice::from_ref(&plan), &[clip.to_path_buf()], &mut |_| Ok(())).unwrap();
    plan.pieces.iter().find_map(|piece| match piece {
        Piece::Copy(span) => Some(*span),
        Piece::Encode(..) => None,
    })
}

/// Numbers that the frames show as GStreamer decodes them.
pub(super) fn by_gstreamer(clip: &Path, parser: &str, decoder: &str) -> Vec<Option<u32>> {
    let raw = clip.with_extension("raw");
    let (from, to) = (format!("location={}", clip.display()), format!("location={}", raw.display()));
    let chain = ["filesrc", &from, "!", "qtdemux", "!", parser, "!", decoder, "!", "video/x-raw,format=I420", "!"];
    let done = Command::new("gst-launch-1.0").arg("-q").args(chain).args(["filesink", &to]).output().unwrap();
    let said = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(done.status.success() && !said.contains("ERROR") && !said.contains("WARNING"), "{decoder}: {said}");
    let pictures = std::fs::read(&raw).unwrap();
    let size = WIDE * HIGH * 3 / 2;
    assert_eq!(pictures.len() % size, 0, "{decoder}: {} bytes", pictures.len());
    pictures.chunks_exact(size).map(|picture| marks::read(picture, WIDE, HIGH, WIDE)).collect()
}

fn wanted(span: FrameSpan) -> Vec<Option<u32>> {
    (span.start.0..span.end.0).map(|n| Some(n as u32)).collect()
}

/// The film with B-frames as references, and the same without any: spans that begin and end between key frames, so that
/// frames encoded anew are joined to copied ones at both ends.
fn smart_clips(folder: &Path) -> Vec<(PathBuf, FrameSpan)> {
    let film = made("trim.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "120"]);
    let (deep, plain) = (folder.join("deep.mp4"), folder.join("plain.mp4"));
    for (path, frames, pyramid) in [(&deep, "3", "b-pyramid=normal:b-adapt=0"), (&plain, "0", "b-pyramid=none")] {
        let coded = ["-c:v", "libx264", "-preset", "veryfast", "-bf", frames, "-g", "30", "-x264-params", pyramid];
        remade(&film, path, &[], &[&coded[..], &["-c:a", "copy"]].concat());
    }
    let spans = [(&deep, 17, 78), (&plain, 7, 65), (&deep, 17, 91)];
    let cut_one = |(k, (film, from, to)): (usize, (&PathBuf, u64, u64))| {
        let (clip, span) = (folder.join(format!("clip{k}.mp4")), FrameSpan::of(from, to));
        let copied = cut(film, span, &clip).unwrap();
        assert!(copied.start > span.start, "nothing is encoded anew before the joint");
        (clip, span)
    };
    spans.into_iter().enumerate().map(cut_one).collect()
}

#[test]
fn openh264_plays_smart_clips_whole() {
    let folder = tempfile::tempdir().unwrap();
    for (clip, span) in smart_clips(folder.path()) {
        assert_eq!(by_gstreamer(&clip, "h264parse", "openh264dec"), wanted(span), "{}", clip.display());
    }
}

#[test]
fn libde265_plays_hevc_clips_copied_from_their_entries() {
    let folder = tempfile::tempdir().unwrap();
    let film = made("trim.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "120"]);
    // Entries that nothing leans over, and entries with pictures decoded after them and shown before.
    for (name, open) in [("idr", "open-gop=0"), ("cra", "open-gop=1")] {
        let path = folder.path().join(format!("{name}.mp4"));
        let coded = format!("log-level=none:keyint=30:min-keyint=30:scenecut=0:bframes=3:{open}");
        let how = ["-c:v", "libx265", "-preset", "ultrafast", "-tag:v", "hvc1", "-x265-params", &coded];
        remade(&film, &path, &[], &[&how[..], &["-c:a", "copy"]].concat());
        let (_, _, points) = read(&path);
        assert_eq!((points.smart, points.encode_because.as_deref()), (false, None), "{name}");
        let start = points.entries.iter().find(|e| e.0 == 30).copied();
        let start = start.unwrap_or_else(|| panic!("{name}: no entry at 30 of {:?}", points.entries));
        let end = points.exits.iter().rev().find(|e| e.0 < 115).copied().unwrap();
        let (clip, span) = (folder.path().join(format!("{name}-clip.mp4")), FrameSpan { start, end });
        assert_eq!(cut(&path, span, &clip), Some(span), "{name}: all of it is copied");
        assert_eq!(by_gstreamer(&clip, "h265parse", "libde265dec"), wanted(span), "{name}");
        let seen: Vec<_> = luma(&clip, WIDE, HIGH).iter().map(|l| marks::read(l, WIDE, HIGH, WIDE)).collect();
        assert_eq!(seen, wanted(span), "{name}");
        let (mine, theirs) = (frame_sums(&clip), frame_sums(&path));
        assert_eq!(mine[..], theirs[start.0 as usize..end.0 as usize], "{name}");
        let bytes = std::fs::read(&clip).unwrap();
        assert!(bytes.windows(4).any(|w| w == b"hvc1"), "{name}: Apple's players take hvc1 alone");
        // A clip that begins half a second after an entry of its shot: what lies between is there, and hidden.
        let later = FrameSpan { start: FrameNo(start.0 + 15), end };
        assert_eq!(cut_in_shot(&path, start, later, &clip), Some(later), "{name}");
        assert_eq!(by_gstreamer(&clip, "h265parse", "libde265dec"), wanted(later), "{name}");
        let (mine, theirs) = (frame_sums(&clip), frame_sums(&path));
        assert_eq!(mine[..], theirs[later.start.0 as usize..end.0 as usize], "{name}");
        let film = read(&clip).1;
        assert_eq!(film.frames(), later.len(), "{name}: our own reader counts what is shown");
        let mut frames = Media::new().unwrap().frames(&film, Decode::Exact, 1).unwrap();
        frames.seek(FrameNo(3)).unwrap();
        let view = frames.next_frame().unwrap().unwrap();
        let luma: Vec<u8> = view.planes[0].chunks(view.strides[0]).flat_map(|row| &row[..WIDE]).copied().collect();
        assert_eq!(marks::read(&luma, WIDE, HIGH, WIDE), Some(later.start.0 as u32 + 3), "{name}");
        // A clip that begins elsewhere, or ends where frames lean on later ones, is encoded whole.
        assert_eq!(cut(&path, FrameSpan::of(31, 60), &clip), None, "{name}");
    }
}

#[test]
fn chromium_plays_smart_clips_whole() {
    let folder = tempfile::tempdir().unwrap();
    let clips = smart_clips(folder.path());
    let serve = |path: &str| match path {
        "" => Some(("text/html", include_bytes!("second_decoders.html").to_vec())),
        "clips.json" => {
            let list = clips.iter().enumerate();
            let list: Vec<Value> = list
                .map(|(k, (_, span))| serde_json::json!({"path": k.to_string(), "frames": span.len(), "rate": 30}))
                .collect();
            Some(("application/json", serde_json::to_vec(&list).unwrap()))
        }
        number => {
            let (clip, _) = clips.get(number.parse::<usize>().ok()?)?;
            Some(("video/mp4", std::fs::read(clip).unwrap()))
        }
    };
    let told = browser::told(&folder.path().join("profile"), &serve);
    let all = told["clips"].as_array().unwrap_or_else(|| panic!("Chromium: {}", told["error"]));
    assert_eq!(all.len(), clips.len());
    for ((_, span), told) in clips.iter().zip(all) {
        assert_eq!((&told["w"], &told["h"]), (&Value::from(WIDE), &Value::from(HIGH)));
        // One row through the bar code stands for all.
        let rows = told["rows"].as_array().unwrap().iter().map(|row| {
            let row: Vec<u8> = row.as_array().unwrap().iter().map(|v| v.as_u64().unwrap() as u8).collect();
            marks::read(&row.repeat(HIGH), WIDE, HIGH, WIDE)
        });
        assert_eq!(rows.collect::<Vec<_>>(), wanted(*span), "{span:?}");
        let seconds = told["duration"].as_f64().unwrap();
        assert!((seconds - span.len() as f64 / 30.0).abs() < 0.05, "{span:?}: {seconds} s");
        assert!(told["shown"].as_u64().unwrap() > 0, "{span:?}: nothing was shown while it played");
    }
}
