//! What a reel is for, how it is ordered and limited, and that nothing is rendered twice.

use std::fs;

use serde_json::Value;

use crate::desk::Desk;
use crate::films::run;

/// Width, height, frames a second, and whether there is sound, as ffprobe sees them.
fn probed(desk: &Desk, name: &str) -> (i64, i64, String, bool) {
    let path = desk.at(name);
    let ask = ["-v", "error", "-show_streams", "-of", "json", path.to_str().unwrap()];
    let document: Value = serde_json::from_slice(&run("ffprobe", &ask)).unwrap();
    let streams = document["streams"].as_array().unwrap();
    let picture = streams.iter().find(|s| s["codec_type"] == "video").unwrap();
    let sound = streams.iter().any(|s| s["codec_type"] == "audio");
    let rate = picture["r_frame_rate"].as_str().unwrap().to_string();
    (picture["width"].as_i64().unwrap(), picture["height"].as_i64().unwrap(), rate, sound)
}

fn reel(desk: &Desk, args: &[&str]) -> Value {
    let said = desk.run(&[&["cutup"], args, &["--json", "--with-doubtful", "--lead-in", "1", "--tail", "0"]].concat());
    assert_eq!(said.code, 0, "{args:?}: {}{}", said.out, said.err);
    said.json()
}

fn labels(document: &Value) -> Vec<&str> {
    document["segments"].as_array().unwrap().iter().map(|s| s["label"].as_str().unwrap()).collect()
}

#[test]
fn a_meetings_reel_is_rendered_once_and_then_joined_byte_for_byte() {
    let desk = Desk::with_game();
    let one = ["play 2", "--angle", "sideline", "--profile", "meeting", "--out"];
    let first = reel(&desk, &[&one[..], &["a.mp4"]].concat());
    assert_eq!(first["rendered"], 1);
    assert_eq!(probed(&desk, "a.mp4"), (1920, 1080, "30/1".into(), true));
    let again = reel(&desk, &[&one[..], &["b.mp4"]].concat());
    assert_eq!(again["rendered"], 0);
    assert_eq!(fs::read(desk.at("a.mp4")).unwrap(), fs::read(desk.at("b.mp4")).unwrap());
    // Another tag is another strip.
    assert_eq!(desk.run(&["mend", "2", "--set", "shell=zero-high"]).code, 0);
    assert_eq!(reel(&desk, &[&one[..], &["b.mp4"]].concat())["rendered"], 1);
    let emptied = desk.run(&["check", "--empty-segments"]);
    assert!(emptied.code == 0 && emptied.err.contains("removed"), "{}", emptied.err);
    assert_eq!(reel(&desk, &[&one[..], &["b.mp4"]].concat())["rendered"], 1);
}

#[test]
fn a_phones_reel_is_silent_and_fits_the_size_that_is_given() {
    let desk = Desk::with_game();
    let one = ["play 2", "--angle", "sideline", "--profile", "phone"];
    reel(&desk, &[&one[..], &["--out", "full.mp4"]].concat());
    assert_eq!(probed(&desk, "full.mp4"), (1280, 720, "30/1".into(), false));
    let size = |name: &str| fs::metadata(desk.at(name)).unwrap().len();
    let most = size("full.mp4") * 2 / 3;
    reel(&desk, &[&one[..], &["--sound", "--out", "small.mp4", "--fit", &most.to_string()]].concat());
    assert!(size("small.mp4") <= most, "{} of {most}", size("small.mp4"));
    assert!(probed(&desk, "small.mp4").3);
    let said = desk.run(&[&["cutup"], &one[..], &["--out", "no.mp4", "--fit", "20kB", "--json"]].concat());
    let [what, _, next] = said.error();
    assert!(what.contains("under 0.0 MB") && next.contains("--first"), "{what}; {next}");
    assert!(!desk.at("no.mp4").exists());
}

#[test]
fn reels_are_ordered_grouped_limited_and_show_both_angles_at_once() {
    let desk = Desk::with_game();
    let plays = desk.run(&["plays", "--json"]).json();
    let gains: Vec<(i64, &str)> = {
        let gain = |p: &Value| p["tags"]["gain"].as_i64();
        let mut known: Vec<(i64, &str)> = plays["plays"]
            .as_array()
            .unwrap()
            .iter()
            .filter_map(|p| Some((-gain(p)?, p["label"].as_str().unwrap())))
            .collect();
        known.sort();
        known
    };
    assert!(gains.len() >= 3);
    let phrase = "gain >= -99";
    let sorted = reel(&desk, &[phrase, "--angle", "sideline", "--sort", "gain", "--reverse", "--out", "s.mp4"]);
    let want: Vec<&str> = gains.iter().map(|(_, label)| *label).collect();
    assert_eq!(labels(&sorted), want);
    let first = reel(&desk, &[phrase, "--angle", "sideline", "--first", "2", "--out", "f.mp4"]);
    assert_eq!((labels(&first).len(), first["beyond_limit"].as_u64().unwrap() as usize), (2, want.len() - 2));
    let length = first["seconds"].as_f64().unwrap();
    let most = format!("{}s", length + 0.05);
    let short = reel(&desk, &[phrase, "--angle", "sideline", "--at-most", &most, "--out", "f.mp4"]);
    assert_eq!(labels(&short), labels(&first));

    let carded = reel(&desk, &[phrase, "--angle", "sideline", "--group", "shell", "--cards", "--out", "c.mp4"]);
    let angles: Vec<&str> =
        carded["segments"].as_array().unwrap().iter().map(|s| s["angle"].as_str().unwrap()).collect();
    // A card before the group, one before its first play, then the play.
    assert_eq!(angles[..3], ["card", "card", "sideline"], "{carded}");
    assert_eq!(angles.iter().filter(|a| **a == "sideline").count(), want.len());
    assert_eq!(carded["plays"].as_u64().unwrap() as usize, want.len());
    let chip = reel(&desk, &[phrase, "--angle", "sideline", "--first", "1", "--design", "chip", "--out", "h.mp4"]);
    assert_eq!(chip["rendered"], 1, "another design is another segment");

    let both = reel(&desk, &[phrase, "--at-once", "beside", "--out", "b.mp4"]);
    let together: Vec<&Value> =
        both["segments"].as_array().unwrap().iter().filter(|s| s["angle"] == "sideline and end-zone").collect();
    assert!(!together.is_empty(), "{both}");
    let [what, _, next] = desk.run(&["cutup", "all", "--sort", "gian", "--out", "x.mp4", "--json"]).error();
    assert!(what.contains("ordered") && next.contains("gain"), "{what}; {next}");
}

#[test]
fn a_reel_is_hevc_or_av1_where_that_is_asked_for() {
    let desk = Desk::with_game();
    let one = ["play 2", "--angle", "sideline", "--mute"];
    let base = reel(&desk, &[&one[..], &["--out", "h264.mp4"]].concat());
    for (codec, tag) in [("hevc", "hvc1"), ("av1", "av01")] {
        let name = format!("{codec}.mp4");
        let made = reel(&desk, &[&one[..], &["--codec", codec, "--out", &name]].concat());
        assert_eq!((made["rendered"].as_u64(), &made["seconds"]), (Some(1), &base["seconds"]), "{codec}");
        let path = desk.at(&name);
        let ask = ["-v", "error", "-count_frames", "-show_streams", "-of", "json", path.to_str().unwrap()];
        let stream = serde_json::from_slice::<Value>(&run("ffprobe", &ask)).unwrap()["streams"][0].clone();
        assert_eq!((&stream["codec_name"], &stream["codec_tag_string"]), (&codec.into(), &tag.into()));
        assert_eq!((&stream["color_space"], &stream["pix_fmt"]), (&"bt709".into(), &"yuv420p".into()), "{codec}");
        // The same pictures: made film at this rate factor is some 38 dB from its source in either, and another picture 25.
        let other = desk.at("h264.mp4");
        let graph = "[0:v][1:v]psnr=f=-";
        let said = run(
            "ffmpeg",
            &[
                "-v",
                "error",
                "-i",
                other.to_str().unwrap(),
                "-i",
                path.to_str().unwrap(),
                "-lavfi",
                graph,
                "-f",
                "null",
                "-",
            ],
        );
        let said = String::from_utf8(said).unwrap();
        let psnr: Vec<f64> = said
            .lines()
            .filter_map(|line| line.split("psnr_y:").nth(1)?.split_whitespace().next()?.parse().ok())
            .collect();
        assert_eq!(psnr.len().to_string(), stream["nb_read_frames"].as_str().unwrap(), "{codec}");
        let least = psnr.iter().copied().fold(f64::INFINITY, f64::min);
        assert!(least > 30.0, "{codec}: a picture is {least} dB from H.264's");
    }
    let said = desk.run(&["cutup", "play 2", "--codec", "vp9", "--out", "x.mp4"]);
    assert!(said.code == 2 && said.err.contains("h264, hevc or av1"), "{}", said.err);
}

#[test]
fn a_reel_that_is_only_planned_tells_its_lengths_and_its_size() {
    let desk = Desk::with_game();
    let phrase = ["gain >= -99", "--angle", "sideline", "--out", "p.mp4"];
    let dry = [&phrase[..], &["--dry-run"]].concat();
    let before = reel(&desk, &dry);
    assert_eq!((&before["ready"], &before["out"]), (&0.into(), &Value::Null), "{before}");
    assert!(before["estimated_bytes"].as_u64().unwrap() > 10_000);
    assert!(!desk.library().join("segments").exists(), "what is only planned writes nothing");
    let made = reel(&desk, &phrase);
    assert_eq!((&before["segments"], &before["seconds"]), (&made["segments"], &made["seconds"]));
    let after = reel(&desk, &dry);
    assert_eq!(after["ready"].as_u64().unwrap() as usize, labels(&made).len());
    let (told, size) = (after["estimated_bytes"].as_u64().unwrap(), fs::metadata(desk.at("p.mp4")).unwrap().len());
    // Sound comes to less than its bound, the index to less than its allowance.
    assert!(told >= size && told - size < size / 4 + 80_000, "{told} for {size}");
}
