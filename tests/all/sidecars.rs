//! What lies beside a reel, read back by readers of others (`tests/readers/sidecars.py`: OpenTimelineIO and its CMX3600
//! adapter, webvtt-py, Python's html.parser; the ffprobe and ffmpeg programs), and files that are not ours.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::Command;

use downbox::base::{FrameSpan, Rate};
use downbox::reel::sidecar::{Entry, Listing, Source, edl};
use serde_json::Value;

use crate::browser;
use crate::desk::{Desk, told};
use crate::films::{count, run};
use crate::real_cuts::outside;

/// What the readers saw; `None` where the user is offline.
fn seen(reel: &Path, rate: &str, only: &[&str]) -> Option<Value> {
    let packages = outside("readers")?;
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/readers/sidecars.py");
    let mut command = Command::new("python3");
    command.arg(script).arg(packages).arg(reel.with_extension("")).arg(rate).args(only);
    let said = told(&mut command);
    assert_eq!(said.code, 0, "{}", said.err);
    Some(said.json())
}

fn list(value: &Value) -> Vec<Value> {
    value.as_array().unwrap_or_else(|| panic!("no list: {value}")).clone()
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_else(|| panic!("no text: {value}"))
}

/// A frame of a picture or a film as 96x54 pixels of red, green and blue: a film's luma is by another matrix than JPEG's.
fn colors(path: &Path, frame: u64) -> Vec<u8> {
    let filter = format!("select=eq(n\\,{frame}),scale=96:54:flags=area,format=rgb24");
    run(
        "ffmpeg",
        &["-v", "error", "-i", path.to_str().unwrap(), "-vf", &filter, "-frames:v", "1", "-f", "rawvideo", "-"],
    )
}

fn apart(a: &[u8], b: &[u8]) -> f64 {
    assert_eq!((a.len(), b.len()), (3 * 96 * 54, 3 * 96 * 54));
    a.iter().zip(b).map(|(a, b)| f64::from(a.abs_diff(*b))).sum::<f64>() / a.len() as f64
}

#[test]
fn every_sidecar_is_read_back_by_a_reader_of_others() {
    let desk = Desk::with_game();
    let out = desk.at("two and three.mp4");
    let words = ["cutup", "--json", "play 2, 3", "--sidecar", "all", "--out", out.to_str().unwrap()];
    let plan = desk.run(&[&words[..], &["--dry-run"]].concat());
    assert_eq!((plan.code, out.exists()), (0, false), "{}", plan.err);
    let said = desk.run(&words);
    assert_eq!(said.code, 0, "{}", said.err);
    let done = said.json();
    assert_eq!(plan.json()["sidecars"], done["sidecars"]);
    let files: Vec<_> = list(&done["sidecars"]).iter().map(|file| fs::read_to_string(text(file)).unwrap()).collect();
    assert_eq!(files.len(), 5);
    let segments = list(&done["segments"]);
    assert!(segments.len() >= 4, "{segments:?}");
    let plays = list(&desk.run(&["plays", "play 2, 3", "--json"]).json()["plays"]);

    // No folder of the machine, no user, in any of them or in the reel.
    let folder = desk.folder.path().to_str().unwrap();
    let home = std::env::var("HOME").unwrap_or_default();
    for held in [folder, env!("CARGO_MANIFEST_DIR"), home.as_str()].into_iter().filter(|held| held.len() > 1) {
        assert!(files.iter().all(|file| !file.replace(" / ", "").contains(held)), "{held}");
    }
    let reel = fs::read(&out).unwrap();
    assert!(!reel.windows(folder.len()).any(|bytes| bytes == folder.as_bytes()));

    // Chapters and tags, by ffprobe: the title and our mark, and no more.
    let probe = run(
        "ffprobe",
        &["-v", "error", "-show_chapters", "-show_format", "-show_streams", "-of", "json", out.to_str().unwrap()],
    );
    let probe: Value = serde_json::from_slice(&probe).unwrap();
    let chapters = list(&probe["chapters"]);
    let at = |chapter: &Value, name: &str| text(&chapter[name]).parse::<f64>().unwrap();
    assert_eq!(chapters.len(), segments.len());
    for (chapter, segment) in chapters.iter().zip(&segments) {
        let near = |name: &str, key: &str| (at(chapter, name) - segment[key].as_f64().unwrap()).abs() < 0.002;
        assert!(near("start_time", "start") && near("end_time", "end"), "{chapter} {segment}");
        let title = text(&chapter["tags"]["title"]);
        assert!(title.contains(&format!("play {}", text(&segment["label"]))), "{title}");
        assert!(title.ends_with(text(&segment["angle"])), "{title}");
    }
    assert_eq!(probe["format"]["tags"]["title"], "play 2, 3");
    let tagged = [&probe["format"]].into_iter().chain(probe["streams"].as_array().unwrap()).chain(&chapters);
    let names: BTreeSet<String> =
        tagged.filter_map(|part| part["tags"].as_object()).flat_map(|tags| tags.keys().cloned()).collect();
    let known = [
        "comment",
        "compatible_brands",
        "handler_name",
        "language",
        "major_brand",
        "minor_version",
        "title",
        "vendor_id",
    ];
    assert!(names.iter().all(|name| known.contains(&name.as_str())), "{names:?}");

    let Some(seen) = seen(&out, "30/1", &[]) else { return };
    let frames = count(&out);
    let frame = |seconds: &Value| (seconds.as_f64().unwrap() * 30.0).round() as u64;
    let number = |value: &Value| value.as_f64().unwrap_or_else(|| panic!("no number: {value}")).round() as u64;

    // The timeline: as long as the reel, each clip where it is seen, its file in the library, the snap where it was found.
    let timeline = &seen["otio"];
    assert_eq!((text(&timeline["name"]), number(&timeline["frames"])), ("play 2, 3", frames));
    let clips = list(&timeline["clips"]);
    assert_eq!((clips.len(), number(&timeline["again"])), (segments.len(), segments.len() as u64));
    let mut snaps = 0;
    for ((clip, segment), chapter) in clips.iter().zip(&segments).zip(&chapters) {
        assert_eq!(clip["name"], chapter["tags"]["title"]);
        let (start, end) = (frame(&segment["start"]), frame(&segment["end"]));
        assert_eq!((number(&clip["reel_start"]), number(&clip["frames"])), (start, end - start), "{clip}");
        let play = plays.iter().find(|p| p["label"] == segment["label"]).unwrap();
        let of_play = list(&play["clips"]);
        let known = of_play.iter().find(|c| c["angle"] == segment["angle"]).unwrap();
        assert_eq!(clip["url"], known["path"]);
        let file = desk.library().join(text(&clip["url"]));
        assert!(file.is_file() && number(&clip["start"]) + (end - start) <= count(&file), "{clip}");
        if let Some(snap) = known["snap"].as_u64() {
            assert_eq!(number(&clip["snap"][0]), snap - known["film_start"].as_u64().unwrap(), "{clip} {known}");
            snaps += 1;
        }
    }
    assert!(snaps >= 3, "the snap of {snaps} clips is known");

    // The list of cuts says the same.
    let events = list(&seen["edl"]["clips"]);
    assert_eq!((events.len(), number(&seen["edl"]["frames"])), (clips.len(), frames));
    let mut names = BTreeSet::new();
    for (event, clip) in events.iter().zip(&clips) {
        for key in ["name", "start", "reel_start", "frames"] {
            assert_eq!(event[key], clip[key], "{key}: {event} {clip}");
        }
        let name = text(&event["metadata"]["cmx_3600"]["reel"]).to_string();
        assert!(name.len() == 8 && names.insert(name), "{event}");
    }

    // Captions say the situation when it is seen.
    let captions = list(&seen["vtt"]);
    assert_eq!(captions.len(), segments.len());
    for (caption, segment) in captions.iter().zip(&segments) {
        for key in ["start", "end"] {
            let ms = (frame(&segment[key]) as f64 * 1000.0 / 30.0).round();
            assert_eq!(caption[key].as_f64(), Some(ms), "{caption} {segment}");
        }
        let tags = &plays.iter().find(|p| p["label"] == segment["label"]).unwrap()["tags"];
        let said = text(&caption["text"]);
        if let (Some(down), Some(distance)) = (tags["down"].as_u64(), tags["distance"].as_u64()) {
            assert!(said.starts_with(&format!("{down} and {distance}")), "{said} {tags}");
        }
        assert!(said.contains(&format!("play {}", text(&segment["label"]))), "{said}");
    }

    // The page loads nothing, leads to each segment's moment, and shows each segment's own picture.
    let page = &seen["html"];
    assert_eq!(page["loads"].as_array().unwrap().len(), 0, "{page}");
    assert!(text(&page["policy"]).starts_with("default-src 'none'"), "{page}");
    let tags: Vec<&str> = page["tags"].as_array().unwrap().iter().map(text).collect();
    assert!(["script", "link", "iframe", "object", "embed", "video", "base"].iter().all(|tag| !tags.contains(tag)));
    let links: Vec<String> =
        segments.iter().map(|s| format!("two%20and%20three.mp4#t={:.3}", frame(&s["start"]) as f64 / 30.0)).collect();
    assert_eq!(list(&page["links"]), links.iter().map(|link| Value::from(link.as_str())).collect::<Vec<_>>());
    assert_eq!(number(&page["images"]), segments.len() as u64);
    assert_eq!(page["text"][1], page["text"][0], "the heading is the title");
    let shown: Vec<u64> = clips
        .iter()
        .map(|clip| match clip["snap"][0].as_f64() {
            Some(snap) => number(&clip["reel_start"]) + snap.round() as u64 - number(&clip["start"]),
            None => number(&clip["reel_start"]) + number(&clip["frames"]) / 2,
        })
        .collect();
    let reel: Vec<Vec<u8>> = shown.iter().map(|&frame| colors(&out, frame)).collect();
    for (index, own) in reel.iter().enumerate() {
        let still = colors(&desk.at(&format!("two and three-{index}.jpg")), 0);
        assert!(apart(&still, own) < 4.0, "still {index} is {} from its frame", apart(&still, own));
        for (other, frame) in reel.iter().enumerate().filter(|(other, _)| *other != index) {
            assert!(apart(&still, frame) > apart(&still, own), "still {index} shows segment {other}");
        }
    }
}

#[test]
fn a_browser_shows_the_page_whole_on_a_desk_and_on_a_phone() {
    let desk = Desk::with_game();
    let out = desk.at("page.mp4");
    let made = desk.run(&["cutup", "--json", "play 2, 3", "--sidecar", "html", "--out", out.to_str().unwrap()]);
    assert_eq!(made.code, 0, "{}", made.err);
    let segments = list(&made.json()["segments"]);
    let (page, reel) = (fs::read(out.with_extension("html")).unwrap(), fs::read(&out).unwrap());
    let serve = |path: &str| match path.split('?').next().unwrap_or_default() {
        "" => Some(("text/html", include_bytes!("sidecars.html").to_vec())),
        "page.html" => Some(("text/html", page.clone())),
        "page.mp4" => Some(("video/mp4", reel.clone())),
        _ => None,
    };
    let told = browser::told(&desk.at("profile"), &serve);
    let seen = list(&told["seen"]);
    assert_eq!(seen.len(), 2, "Chromium: {}", told["error"]);
    let number = |value: &Value| value.as_f64().unwrap();
    for (view, across) in seen.iter().zip([3, 1]) {
        let width = number(&view["width"]);
        assert!(number(&view["wide"]) <= width, "nothing is wider than the window: {view}");
        assert_eq!(list(&view["fetched"]).len(), 0, "the page loads nothing: {view}");
        let (tiles, images) = (list(&view["tiles"]), list(&view["images"]));
        assert_eq!((tiles.len(), images.len()), (segments.len(), segments.len()));
        let first = number(&tiles[0]["top"]);
        let beside = tiles.iter().filter(|tile| (number(&tile["top"]) - first).abs() < 1.0).count();
        assert!(beside >= across.min(segments.len()) && (across > 1 || beside == 1), "{beside} beside: {view}");
        for image in &images {
            let [wide, high, shown] = [&image[0], &image[1], &image[2]].map(number);
            assert!((wide / high - 16.0 / 9.0).abs() < 0.02 && shown > 200.0, "{image}");
        }
    }
    // A link leads to its segment's moment.
    assert!((number(&told["at"]) - segments[1]["start"].as_f64().unwrap()).abs() < 0.04, "{told}");
}

#[test]
fn another_reader_counts_drop_frames_as_we_do() {
    // Segments of 4 minutes 3 seconds and some frames, so that cuts lie about many a minute's and a tenth minute's begin;
    // three hours in all.
    for (rate, each) in [(Rate { num: 30_000, den: 1001 }, 7301), (Rate { num: 60_000, den: 1001 }, 14_603)] {
        let entry = |k: u64| Entry {
            game: "Badgers".into(),
            label: k.to_string(),
            angle: "sideline".into(),
            title: format!("play {k}"),
            frames: FrameSpan::of(k * each, (k + 1) * each),
            source: Some(Source { file: format!("clips/{k}.mp4"), start: 1799 * k, rate }),
            ..Entry::default()
        };
        let listing =
            Listing { title: "long".into(), reel: "long.mp4".into(), rate, entries: (0..45).map(entry).collect() };
        let folder = tempfile::tempdir().unwrap();
        let reel = folder.path().join("long.mp4");
        let written = edl(&listing).unwrap();
        assert!(written.contains("\nFCM: DROP FRAME\n") && written.contains(';'), "{written}");
        fs::write(reel.with_extension("edl"), written).unwrap();
        let Some(seen) = seen(&reel, &rate.to_string(), &["edl"]) else { return };
        let events = list(&seen["edl"]["clips"]);
        assert_eq!(events.len(), 45);
        for (k, event) in (0..).zip(&events) {
            let got = ["reel_start", "frames", "start"].map(|key| event[key].as_f64().unwrap() as u64);
            assert_eq!(got, [k * each, each, 1799 * k], "{rate}: {event}");
        }
    }
}

#[test]
fn a_file_of_somebody_else_stays_and_an_own_one_is_written_anew() {
    let desk = Desk::with_game();
    let (out, vtt) = (desk.at("four.mp4"), desk.at("four.vtt"));
    let cutup = |more: &[&str]| {
        let words = ["cutup", "play 4", "--angle", "sideline", "--json", "--out", out.to_str().unwrap()];
        desk.run(&[&words[..], more].concat())
    };
    fs::write(&vtt, "WEBVTT\n\ntyped by hand").unwrap();
    for more in [&["--sidecar", "vtt"][..], &["--sidecar", "csv,vtt", "--dry-run"]] {
        let [what, place, next] = cutup(more).error();
        assert!(what.contains("did not write") && place.ends_with("four.vtt") && next.contains("--out"), "{what}");
    }
    assert!(!out.exists() && !desk.at("four.csv").exists(), "nothing is rendered first");
    assert_eq!(fs::read_to_string(&vtt).unwrap(), "WEBVTT\n\ntyped by hand");
    let [what, place, next] = cutup(&["--sidecar", "vtt,srt"]).error();
    assert!(what.contains("no such sidecar") && place == "srt" && next.contains("vtt, csv"), "{what} {place} {next}");

    fs::remove_file(&vtt).unwrap();
    let made = cutup(&["--sidecar", "vtt"]);
    assert_eq!(
        (made.code, list(&made.json()["sidecars"])),
        (0, vec![Value::from(vtt.to_str().unwrap())]),
        "{}",
        made.err
    );
    let first = fs::read_to_string(&vtt).unwrap();
    fs::write(&vtt, first.replace("play 4", "play 5")).unwrap();
    assert_eq!(cutup(&["--sidecar", "vtt"]).code, 0);
    assert_eq!(fs::read_to_string(&vtt).unwrap(), first);
    // A reel anew without them: what is out of date is told, and left.
    let without = cutup(&[]);
    assert!(without.code == 0 && without.err.contains("four.vtt tells of an earlier reel"), "{}", without.err);
    assert_eq!(list(&without.json()["sidecars"]), [] as [Value; 0]);
    assert!(vtt.exists());
}

#[test]
fn standing_asks_have_their_sidecars_and_are_made_again_where_one_is_gone() {
    let desk = Desk::with_game();
    let asks = desk.library().join("asks.toml");
    fs::write(&asks, "[ask.four]\nphrase = \"play 4\"\nangle = \"sideline\"\nsidecar = [\"vtt\", \"edl\"]\n").unwrap();
    let state = || {
        let said = desk.run(&["cutup", "--asks", "--json"]);
        assert_eq!(said.code, 0, "{}\n{}", said.out, said.err);
        let reel = said.json()["asks"][0]["reels"][0].clone();
        let there = list(&reel["sidecars"]).iter().filter(|file| Path::new(text(file)).is_file()).count();
        (text(&reel["state"]).to_string(), there)
    };
    assert_eq!(state(), ("made".into(), 2));
    assert_eq!(state(), ("unchanged".into(), 2));
    fs::remove_file(desk.library().join("cutups/four/2026-09-11 Badgers.edl")).unwrap();
    assert_eq!(state(), ("made".into(), 2));
}
