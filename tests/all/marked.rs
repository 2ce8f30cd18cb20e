//! The marked films: every frame carries its number as a bar code, the sound a click at known samples. The ffmpeg
//! program is the judge of what a file holds, so that our reader and writer cannot agree on a mistake.

use std::path::{Path, PathBuf};

use downbox::base::{FrameNo, FrameSpan, Rate, Silent};
use downbox::cut::{Shown, plan};
use downbox::film::{ClipSpec, Codec, Decode, Film, FilmReader, FilmWriter, Piece};
use downbox::media::Media;

use crate::films::{count, frame_sums, luma, made, sound};
use crate::marks;

fn read(path: &Path) -> Film {
    Media::new().unwrap().read(&[path.to_path_buf()], &Silent).unwrap()
}

/// Numbers that the bar codes of a file show, as the ffmpeg program decodes it.
fn numbers(path: &Path) -> Vec<Option<u32>> {
    luma(path, 320, 180).iter().map(|l| marks::read(l, 320, 180, 320)).collect()
}

/// Every frame our reader gives, with its number and what its bar code says.
fn ours(film: &Film, how: Decode, from: u64) -> Vec<(u64, Option<u32>)> {
    let media = Media::new().unwrap();
    let mut frames = media.frames(film, how, 2).unwrap();
    if from > 0 {
        frames.seek(FrameNo(from)).unwrap();
    }
    let mut all = Vec::new();
    while let Some(view) = frames.next_frame().unwrap() {
        all.push((view.no.0, marks::read(view.planes[0], view.width, view.height, view.strides[0])));
    }
    all
}

fn check_reading(name: &str, args: &[&str], count_want: u64) {
    let mut all = vec!["marked", "--out", "OUT", "--size", "320x180"];
    all.extend(args);
    let path = made(name, &all);
    let film = read(&path);
    assert_eq!(film.problems, vec![], "{name}");
    assert_eq!(film.frames(), count(&path), "{name}: frames against ffprobe -count_frames");
    assert_eq!(film.frames(), count_want, "{name}");
    let got = ours(&film, Decode::Exact, 0);
    assert_eq!(got.len() as u64, film.frames(), "{name}");
    for (no, mark) in &got {
        assert_eq!(*mark, Some(*no as u32), "{name}: frame {no}");
    }
    for from in [1, 29, 30, 31, count_want / 2, count_want - 1] {
        let got = ours(&film, Decode::Exact, from);
        assert_eq!(got.first(), Some(&(from, Some(from as u32))), "{name}: seek to {from}");
        assert_eq!(got.len() as u64, count_want - from, "{name}: seek to {from}");
    }
    for (no, mark) in ours(&film, Decode::References, 0) {
        assert_eq!(mark, Some(no as u32), "{name}: reference frame {no}");
    }
}

#[test]
fn frame_numbers_are_right_in_every_container_and_codec() {
    check_reading("plain.mp4", &["--frames", "100"], 100);
    check_reading("ntsc.mov", &["--frames", "90", "--fps", "30000/1001", "--audio", "pcm"], 90);
    check_reading("open.mp4", &["--frames", "100", "--open-gop", "--bframes", "3"], 100);
    check_reading("sixty.mkv", &["--frames", "100", "--fps", "60000/1001"], 100);
    check_reading("transport.ts", &["--frames", "100"], 100);
    check_reading("old.avi", &["--frames", "90", "--codec", "mpeg4", "--audio", "mp3"], 90);
    check_reading("phone.mp4", &["--frames", "70", "--codec", "hevc", "--audio", "none"], 70);
}

#[test]
fn a_rotation_flag_and_a_sample_aspect_are_honored() {
    let path = made("turned.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "40", "--rotate", "90"]);
    let film = read(&path);
    assert_eq!((film.parts[0].width, film.parts[0].height), (180, 320));
    let turned = ours_size(&film);
    assert_eq!(turned, (180, 320));
    let path = made("wide.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "40", "--sar", "4:3"]);
    let film = read(&path);
    assert_eq!((film.parts[0].width, film.parts[0].height), (427, 180));
    assert_eq!(ours_size(&film), (320, 180));
}

fn ours_size(film: &Film) -> (usize, usize) {
    let media = Media::new().unwrap();
    let mut frames = media.frames(film, Decode::Exact, 1).unwrap();
    let view = frames.next_frame().unwrap().unwrap();
    (view.width, view.height)
}

/// Cuts `span` and gives the clip.
fn cut(film: &Film, span: FrameSpan, folder: &Path) -> (PathBuf, Vec<Piece>, String) {
    let media = Media::new().unwrap();
    let points: Vec<_> = (0..film.parts.len()).map(|k| media.entry_points(film, k).unwrap()).collect();
    let sounds: Vec<_> = (0..film.parts.len()).map(|k| media.sound_plan(film, k).unwrap()).collect();
    let plan = plan(film, span, span.start, &points, &sounds);
    let path = folder.join(format!("{}-{}.mp4", span.start, span.end));
    media.carry_out(film, std::slice::from_ref(&plan), std::slice::from_ref(&path), &mut |_| Ok(())).unwrap();
    (path, plan.pieces.clone(), Shown(&plan).to_string())
}

/// Clicks that must be heard in frames `span`: (sample within the clip).
fn clicks_wanted(film: &Film, span: FrameSpan) -> Vec<usize> {
    let at = |frame: FrameNo| (film.time(frame) * 48_000.0).round() as usize;
    let (from, to) = (at(span.start), at(span.end));
    // Clicks within 60 ms of either end may be cut in two.
    (0..)
        .map(|k| marks::click_at(k, 48_000))
        .take_while(|c| *c < to)
        .filter(|c| *c >= from + 2_880 && *c + 2_880 < to)
        .map(|c| c - from)
        .collect()
}

fn check_clip(film: &Film, span: FrameSpan, copied: bool) {
    let folder = tempfile::tempdir().unwrap();
    let (path, pieces, shown) = cut(film, span, folder.path());
    let label = format!("{} {}-{}: {shown}", film.parts[0].path.display(), span.start, span.end);
    assert_eq!(pieces.iter().any(|p| matches!(p, Piece::Copy(_))), copied, "{label}");
    let got = numbers(&path);
    let want: Vec<_> = (span.start.0..span.end.0).map(|n| Some(n as u32)).collect();
    assert_eq!(got, want, "{label}");
    assert_eq!(count(&path), span.len(), "{label}");
    if film.parts[0].sound {
        let samples = sound(&path);
        let heard = marks::clicks(&samples, 48_000);
        let wanted = clicks_wanted(film, span);
        let tolerance = 8;
        for want in &wanted {
            assert!(heard.iter().any(|h| h.abs_diff(*want) <= tolerance), "{label}: click at {want}, heard {heard:?}");
        }
        let length = ((film.time(span.end) - film.time(span.start)) * 48_000.0).round() as usize;
        assert!(
            samples.len() + 64 >= length && samples.len() <= length + 1024 + 64,
            "{label}: {} of {length}",
            samples.len()
        );
    }
    // Copied frames decode to the very same pixels.
    if film.parts.len() == 1 {
        let source = frame_sums(&film.parts[0].path);
        let clip = frame_sums(&path);
        for piece in &pieces {
            if let Piece::Copy(span_copied) = piece {
                for n in span_copied.start.0..span_copied.end.0 {
                    assert_eq!(clip[(n - span.start.0) as usize], source[n as usize], "{label}: frame {n}");
                }
            }
        }
    }
}

#[test]
fn clips_hold_exactly_their_frames_and_sound() {
    let path = made("cut.mp4", &["marked", "--out", "OUT", "--frames", "300"]);
    let film = read(&path);
    for (start, end, copied) in [
        (60, 120, true),
        (47, 133, true),
        (0, 300, true),
        (1, 299, true),
        (65, 80, false),
        (210, 300, true),
        (89, 92, true),
    ] {
        check_clip(&film, FrameSpan::of(start, end), copied);
    }
    let path = made("cut.ts", &["marked", "--out", "OUT", "--frames", "200", "--fps", "30000/1001"]);
    check_clip(&read(&path), FrameSpan::of(47, 133), true);
    let path = made(
        "cut-open.mp4",
        &["marked", "--out", "OUT", "--frames", "150", "--open-gop", "--bframes", "3", "--size", "320x180"],
    );
    check_clip(&read(&path), FrameSpan::of(40, 110), false);
    let path = made("cut.mov", &["marked", "--out", "OUT", "--frames", "150", "--audio", "pcm", "--size", "320x180"]);
    check_clip(&read(&path), FrameSpan::of(40, 110), true);
    let path =
        made("cut-hevc.mp4", &["marked", "--out", "OUT", "--frames", "150", "--codec", "hevc", "--size", "320x180"]);
    check_clip(&read(&path), FrameSpan::of(40, 110), false);
}

#[test]
fn a_clip_across_two_parts_is_whole() {
    let first = made("first.mp4", &["marked", "--out", "OUT", "--frames", "90", "--size", "320x180"]);
    let second =
        made("second.mp4", &["marked", "--out", "OUT", "--frames", "90", "--first", "90", "--size", "320x180"]);
    // Kept films lie in folders named by a hash, and parts go by their whole name.
    let folder = tempfile::tempdir().unwrap();
    std::fs::copy(first, folder.path().join("a.mp4")).unwrap();
    std::fs::copy(second, folder.path().join("b.mp4")).unwrap();
    let film = Media::new().unwrap().read(&[folder.path().to_path_buf()], &Silent).unwrap();
    assert_eq!(film.frames(), 180);
    let got = ours(&film, Decode::Exact, 0);
    assert!(got.iter().all(|(no, mark)| *mark == Some(*no as u32)));
    assert_eq!(ours(&film, Decode::Exact, 95)[0], (95, Some(95)));
    check_clip(&film, FrameSpan::of(70, 110), false);
}

#[test]
fn a_written_reel_has_rank_as_bar_code_and_sound_in_place() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("reel.mp4");
    let media = Media::new().unwrap();
    let spec = ClipSpec {
        width: 320,
        height: 180,
        rate: Rate { num: 30_000, den: 1001 },
        channels: 2,
        codec: Codec::H264,
        beside: None,
        preset: "veryfast".into(),
        crf: 23,
        threads: 0,
        title: "marks".into(),
        chapters: vec![],
    };
    let mut sink = media.create(&path, &spec).unwrap();
    let mut samples = vec![0.0; 48_048 * 4];
    marks::add_clicks(&mut samples, 48_000);
    let stereo: Vec<f32> = samples.iter().flat_map(|s| [*s, *s]).collect();
    for n in 0..120 {
        let mut picture = downbox::film::Picture::filled(320, 180, [90, 128, 128]);
        marks::draw(n, &mut picture.planes[0], 320, 180);
        sink.picture(&picture.view(FrameNo(0), 0.0)).unwrap();
    }
    sink.sound(&stereo).unwrap();
    sink.chapter(0.0, 2.0, "one & <two>");
    sink.finish().unwrap();
    assert_eq!(numbers(&path), (0..120).map(Some).collect::<Vec<_>>());
    let heard = marks::clicks(&sound(&path), 48_000);
    let want: Vec<usize> = (0..4).map(|k| marks::click_at(k, 48_000)).collect();
    assert_eq!(heard.len(), want.len(), "{heard:?}");
    assert!(heard.iter().zip(&want).all(|(h, w)| h.abs_diff(*w) <= 8), "{heard:?} {want:?}");
    let probe = crate::films::run(
        "ffprobe",
        &["-v", "error", "-show_chapters", "-show_format", "-show_streams", "-of", "json", path.to_str().unwrap()],
    );
    let probe: serde_json::Value = serde_json::from_slice(&probe).unwrap();
    assert_eq!(probe["chapters"][0]["tags"]["title"], "one & <two>");
    assert_eq!(probe["streams"][0]["color_space"], "bt709");
    assert_eq!(probe["streams"][0]["r_frame_rate"], "30000/1001");
    assert_eq!(probe["format"]["tags"]["title"], "marks");
    assert!(probe["format"]["tags"].get("encoder").is_none());
}

#[test]
fn damaged_and_cut_short_films_are_read_as_far_as_they_go() {
    let folder = tempfile::tempdir().unwrap();
    let whole = made("cut.ts", &["marked", "--out", "OUT", "--frames", "200", "--fps", "30000/1001"]);
    let bytes = std::fs::read(&whole).unwrap();
    let short = folder.path().join("short.ts");
    std::fs::write(&short, &bytes[..bytes.len() / 2]).unwrap();
    let film = read(&short);
    assert!((60..140).contains(&film.frames()), "{}", film.frames());

    // An MP4 with its index in front that was cut off while it was copied.
    let front = folder.path().join("front.mp4");
    let source = made("cut.mp4", &["marked", "--out", "OUT", "--frames", "300"]);
    crate::films::run(
        "ffmpeg",
        &[
            "-v",
            "error",
            "-i",
            source.to_str().unwrap(),
            "-c",
            "copy",
            "-movflags",
            "+faststart",
            front.to_str().unwrap(),
        ],
    );
    let bytes = std::fs::read(&front).unwrap();
    let cut = folder.path().join("side.mp4");
    std::fs::write(&cut, &bytes[..bytes.len() * 6 / 10]).unwrap();
    let film = read(&cut);
    assert!((100..290).contains(&film.frames()), "{}", film.frames());
    assert_eq!(film.problems.len(), 1, "{:?}", film.problems);
    assert!(film.problems[0].place.starts_with("side.mp4 from "), "{:?}", film.problems);
    let got = ours(&film, Decode::Exact, 0);
    assert!(got.iter().all(|(no, mark)| mark.is_none_or(|m| m == *no as u32)));

    // Bytes overwritten in the middle: frames after it keep their numbers.
    let mut hurt = std::fs::read(&source).unwrap();
    let middle = hurt.len() / 2;
    hurt[middle..middle + 4000].fill(0x55);
    let path = folder.path().join("hurt.mp4");
    std::fs::write(&path, &hurt).unwrap();
    let film = read(&path);
    let media = Media::new().unwrap();
    let mut frames = media.frames(&film, Decode::Exact, 2).unwrap();
    let mut right = 0;
    while let Some(view) = frames.next_frame().unwrap() {
        if let Some(mark) = marks::read(view.planes[0], view.width, view.height, view.strides[0]) {
            right += usize::from(u64::from(mark) == view.no.0);
        }
    }
    assert!(right > 200, "{right}");
    let damage = frames.damage();
    let told = damage.first().map(|span| film.damage(*span).place).unwrap_or_default();
    assert!(told.starts_with("hurt.mp4 from "), "{damage:?}");

    // The moov box gone: no film, and an error that says so.
    let stub = folder.path().join("stub.mp4");
    std::fs::write(&stub, &std::fs::read(&source).unwrap()[..20_000]).unwrap();
    let error = media.read(&[stub], &Silent).unwrap_err();
    assert!(error.to_string().contains("index is missing") && !error.next.is_empty(), "{error}");
    let text = folder.path().join("notes.mp4");
    std::fs::write(&text, "not a film").unwrap();
    assert!(media.read(&[text], &Silent).is_err());
    assert!(media.read(&[folder.path().join("absent.mp4")], &Silent).unwrap_err().to_string().contains("absent.mp4"));
}
