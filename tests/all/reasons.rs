//! What a plan says of films as cameras leave them: what is copied, what is encoded anew, and why.

use std::path::Path;

use downbox::base::{FrameNo, FrameSpan, Silent};
use downbox::cut::{Shown, plan};
use downbox::film::{FilmReader, FilmWriter};
use downbox::media::Media;

use crate::films::{interlaced, made, remade, run};
use crate::paff;

fn planned(path: &Path, from: u64, to: u64) -> String {
    let media = Media::new().unwrap();
    let film = media.read(&[path.to_path_buf()], &Silent).unwrap();
    let (points, sound) = (media.entry_points(&film, 0).unwrap(), media.sound_plan(&film, 0).unwrap());
    let told = Shown(&plan(&film, FrameSpan::of(from, to), FrameNo(from), &[points], &[sound])).to_string();
    // A film that the library knows is not read again by the process that cuts it: the same must come out.
    let later = Media::new().unwrap();
    let (points, sound) = (later.entry_points(&film, 0).unwrap(), later.sound_plan(&film, 0).unwrap());
    let again = Shown(&plan(&film, FrameSpan::of(from, to), FrameNo(from), &[points], &[sound])).to_string();
    assert_eq!(again, told, "{}", path.display());
    told
}

#[test]
fn every_kind_of_film_says_why_it_is_not_copied() {
    let folder = tempfile::tempdir().unwrap();
    let source = made("trim.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "120"]);
    let quick = ["-c:v", "libx264", "-preset", "ultrafast", "-g", "30"];
    let hevc = ["-c:v", "libx265", "-preset", "ultrafast", "-x265-params", "log-level=none:keyint=30:open-gop=0"];
    let cases: [(&str, &[&[&str]], &str); 7] = [
        (
            "plain.mp4",
            &[&quick, &["-c:a", "copy"]],
            "encode 10-29 (up to the next key frame), copy 30-59; sound copied",
        ),
        (
            "phone.mp4",
            &[&hevc, &["-c:a", "copy"]],
            "encode 10-59 (it does not begin at a key frame, and none is near before it in its shot); sound copied",
        ),
        (
            "stream.ts",
            &[&hevc, &["-c:a", "ac3"]],
            "encode 10-59 (its parameter sets stand among its pictures); sound encoded (ac3 becomes AAC)",
        ),
        (
            "ten.mov",
            &[&quick, &["-pix_fmt", "yuv420p10le", "-c:a", "pcm_s16le"]],
            "encode 10-59 (it is yuv420p10le, not 8-bit 4:2:0); sound encoded (pcm_s16le becomes AAC)",
        ),
        (
            "old.avi",
            &[&["-c:v", "mpeg4", "-c:a", "mp3"]],
            "encode 10-59 (only H.264 and HEVC are copied, this is mpeg4); sound encoded (mp3 becomes AAC)",
        ),
        (
            "new.avi",
            &[&quick, &["-bf", "2", "-c:a", "mp3"]],
            "encode 10-59 (its packets are not one picture each with a time of its own); sound encoded (mp3 becomes AAC)",
        ),
        ("mute.mkv", &[&quick, &["-an"]], "encode 10-29 (up to the next key frame), copy 30-59; no sound"),
    ];
    for (name, how, want) in cases {
        let path = folder.path().join(name);
        remade(&source, &path, &[], &how.concat());
        assert_eq!(planned(&path, 10, 60), want, "{name}");
    }
    let woven = folder.path().join("woven.mts");
    interlaced(&source, &woven);
    assert_eq!(planned(&woven, 10, 60), "encode 10-59 (it is interlaced); no sound");
    // Each field in a packet of its own.
    let small = folder.path().join("small.mp4");
    let (raw, fields) = (folder.path().join("fields.h264"), folder.path().join("fields.mts"));
    remade(&source, &small, &[], &["-vf", "scale=64:64", "-t", "2", "-an"]);
    paff::write(&small, &raw, 64, 64, 30);
    run("ffmpeg", &["-v", "error", "-r", "60", "-i", raw.to_str().unwrap(), "-c", "copy", fields.to_str().unwrap()]);
    assert_eq!(planned(&fields, 5, 20), "encode 5-19 (it is interlaced); no sound");
}
