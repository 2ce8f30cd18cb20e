//! Films as cameras and copying programs really leave them: trimmed by an edit list, split, turned, cut short, in
//! fields, with odd pixel formats. The judge of how many pictures there are is `ffprobe -count_frames`.

use std::path::{Path, PathBuf};

use downbox::base::{FrameNo, Silent};
use downbox::film::{Decode, Film, FilmReader};
use downbox::media::Media;

use crate::films::{count, interlaced, made, remade, run};
use crate::marks;

fn read(paths: &[PathBuf]) -> Film {
    Media::new().unwrap().read(paths, &Silent).unwrap()
}

/// Number of each frame our reader gives and what its bar code says, from frame `from` on.
fn marked(film: &Film, how: Decode, threads: usize, from: u64) -> Vec<(u64, Option<u32>)> {
    let media = Media::new().unwrap();
    let mut frames = media.frames(film, how, threads).unwrap();
    frames.seek(FrameNo(from)).unwrap();
    let mut all = Vec::new();
    while let Some(view) = frames.next_frame().unwrap() {
        all.push((view.no.0, marks::read(view.planes[0], view.width, view.height, view.strides[0])));
    }
    all
}

/// The film has as many frames as ffprobe counts, they are consecutive from bar code `first`, and each is found by a
/// seek, also after seeks back and forth.
fn check_all(path: &Path, first: u32) -> Film {
    let film = read(&[path.to_path_buf()]);
    let name = path.file_name().unwrap().to_string_lossy().into_owned();
    assert_eq!(film.frames(), count(path), "{name}: frames against ffprobe -count_frames");
    let want = |from: u64| -> Vec<_> { (from..film.frames()).map(|n| (n, Some(first + n as u32))).collect() };
    assert_eq!(marked(&film, Decode::Exact, 2, 0), want(0), "{name}");
    let media = Media::new().unwrap();
    let mut frames = media.frames(&film, Decode::Exact, 2).unwrap();
    let last = film.frames() - 1;
    for to in [last, 0, last / 2, last / 2 + 20, 1, last / 3, last / 3 - 1, last / 3 + 1, last] {
        frames.seek(FrameNo(to)).unwrap();
        let view = frames.next_frame().unwrap().unwrap();
        let mark = marks::read(view.planes[0], view.width, view.height, view.strides[0]);
        assert_eq!((view.no.0, mark), (to, Some(first + to as u32)), "{name}: seek to {to}");
        assert!((view.time - film.time(FrameNo(to))).abs() < 1e-9, "{name}: time of {to}");
    }
    drop(frames);
    for from in [0, last / 2] {
        let given = marked(&film, Decode::References, 2, from);
        assert!(given.iter().all(|(no, mark)| *no >= from && *mark == Some(first + *no as u32)), "{name}: references");
        assert!(given.len() as u64 >= (film.frames() - from) / 8, "{name}: {} references", given.len());
    }
    film
}

#[test]
fn frames_hidden_by_an_edit_list_are_no_frames() {
    let folder = tempfile::tempdir().unwrap();
    let source = made("trim.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "120"]);
    // Copying from 1.5 s: packets from the key frame at 1.0 s on are kept, those before 1.5 s hidden.
    let path = folder.path().join("trimmed.mp4");
    remade(&source, &path, &["-ss", "1.5"], &["-c", "copy"]);
    let film = check_all(&path, 45);
    assert_eq!(film.frames(), 75);
    // Matroska cannot hide: its times begin below zero, or its frames are all shown.
    let path = folder.path().join("trimmed.mkv");
    remade(&source, &path, &["-ss", "1.5"], &["-c", "copy", "-avoid_negative_ts", "disabled"]);
    let film = read(std::slice::from_ref(&path));
    assert_eq!(film.frames(), count(&path));
    let first = marked(&film, Decode::Exact, 1, 0)[0].1.unwrap();
    check_all(&path, first);
}

#[test]
fn times_below_zero_and_rates_that_vary_are_kept() {
    let folder = tempfile::tempdir().unwrap();
    let source = made("trim.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "120"]);
    let path = folder.path().join("late.ts");
    remade(
        &source,
        &path,
        &[],
        &["-c", "copy", "-output_ts_offset", "-1", "-muxdelay", "0", "-avoid_negative_ts", "disabled"],
    );
    check_all(&path, 0);
    // Every frame from 60 on lasts twice as long.
    let path = folder.path().join("varies.mp4");
    remade(
        &source,
        &path,
        &[],
        &["-an", "-vf", "setpts='if(lt(N,60),N,60+2*(N-60))/30/TB'", "-fps_mode", "vfr", "-enc_time_base", "1/600"],
    );
    let film = check_all(&path, 0);
    assert!(film.parts[0].variable);
    assert!((film.time(FrameNo(90)) - 4.0).abs() < 0.002, "{}", film.time(FrameNo(90)));
}

#[test]
fn other_pixel_formats_come_as_eight_bit_420() {
    let folder = tempfile::tempdir().unwrap();
    let source = made("trim.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "120"]);
    let cases: [(&str, &[&str]); 4] = [
        ("ten.mp4", &["-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p10le"]),
        ("four22.mov", &["-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv422p"]),
        (
            "full.mp4",
            &["-c:v", "libx264", "-preset", "ultrafast", "-vf", "scale=out_range=full", "-pix_fmt", "yuvj420p"],
        ),
        ("motion.avi", &["-c:v", "mjpeg", "-q:v", "3", "-pix_fmt", "yuvj422p"]),
    ];
    // One flat picture tells whether levels survive: luma 200 of limited range.
    let level = |film: &Film| {
        let media = Media::new().unwrap();
        let mut frames = media.frames(film, Decode::Exact, 1).unwrap();
        let view = frames.next_frame().unwrap().unwrap();
        let middle = view.planes[0][view.height / 2 * view.strides[0] + view.width / 2];
        (middle, view.color.full_range)
    };
    for (name, args) in cases {
        let path = folder.path().join(name);
        let mut all = args.to_vec();
        all.extend(["-an", "-t", "2"]);
        remade(&source, &path, &[], &all);
        let film = check_all(&path, 0);
        assert_eq!(film.frames(), 60, "{name}");

        let flat = folder.path().join(format!("flat-{name}"));
        let color = "color=c=black:s=320x180:r=30:d=0.2,format=yuv420p,geq=lum=200:cb=128:cr=128";
        let mut all = vec!["-v", "error", "-y", "-f", "lavfi", "-i", color];
        all.extend(args);
        all.push(flat.to_str().unwrap());
        run("ffmpeg", &all);
        let (luma, full) = level(&read(&[flat]));
        // ITU-R BT.601/709: limited 16-235 against full 0-255.
        let want = if full { 214 } else { 200 };
        assert!(luma.abs_diff(want) <= 2, "{name}: luma {luma}, full range {full}");
        assert_eq!(full, name == "full.mp4" || name == "motion.avi", "{name}");
    }
}

#[test]
fn fields_count_as_pictures() {
    let folder = tempfile::tempdir().unwrap();
    let source = made("trim.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "120"]);
    let path = folder.path().join("woven.mts");
    interlaced(&source, &path);
    let film = check_all(&path, 0);
    assert!(film.parts[0].interlaced);
    let path = folder.path().join("old.mpg.ts");
    remade(&source, &path, &[], &["-c:v", "mpeg2video", "-q:v", "4", "-bf", "2", "-an", "-f", "mpegts"]);
    check_all(&path, 0);
}

#[test]
fn turned_films_are_lent_upright() {
    let source = made("trim.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "120"]);
    let upright = read(std::slice::from_ref(&source));
    let media = Media::new().unwrap();
    let picture = |film: &Film, n: u64| {
        let mut frames = media.frames(film, Decode::Exact, 1).unwrap();
        frames.seek(FrameNo(n)).unwrap();
        frames.next_frame().unwrap().unwrap().to_picture()
    };
    let folder = tempfile::tempdir().unwrap();
    let plain = picture(&upright, 33);
    for rotate in [90u16, 180, 270] {
        let path = folder.path().join(format!("turned{rotate}.mp4"));
        remade(&source, &path, &[], &["-c", "copy", "-metadata:s:v:0", &format!("rotate={rotate}")]);
        let film = read(std::slice::from_ref(&path));
        let got = picture(&film, 33);
        // The ffmpeg program turns by itself: its picture is the truth.
        let truth = run(
            "ffmpeg",
            &[
                "-v",
                "error",
                "-i",
                path.to_str().unwrap(),
                "-vf",
                "select=eq(n\\,33)",
                "-frames:v",
                "1",
                "-f",
                "rawvideo",
                "-pix_fmt",
                "yuv420p",
                "-",
            ],
        );
        let mine: Vec<u8> = got.planes.concat();
        assert_eq!(mine.len(), truth.len(), "{rotate}");
        assert!(mine == truth, "{rotate}: the picture is turned otherwise than the ffmpeg program turns it");
        assert_ne!(got, plain, "{rotate}");
    }
}

#[test]
fn parts_go_by_recording_time_else_by_name() {
    let folder = tempfile::tempdir().unwrap();
    let cards = folder.path().join("cards");
    std::fs::create_dir(&cards).unwrap();
    // By name: 9 before 10. By time: 10 before 9.
    let make = |name: &str, first: u32, time: Option<&str>| {
        let out = cards.join(name);
        let source = made(
            &format!("part{first}.mp4"),
            &["marked", "--out", "OUT", "--size", "320x180", "--frames", "20", "--first", &first.to_string()],
        );
        let stamp = time.map(|t| format!("creation_time={t}"));
        let mut args = vec!["-c", "copy"];
        if let Some(stamp) = &stamp {
            args.extend(["-metadata", stamp]);
        }
        remade(&source, &out, &[], &args);
    };
    make("CLIP10.MP4", 20, None);
    make("CLIP9.mp4", 0, None);
    std::fs::write(cards.join("._CLIP9.mp4"), "resource fork").unwrap();
    std::fs::write(cards.join("notes.txt"), "not a film").unwrap();
    let film = read(std::slice::from_ref(&cards));
    let numbers: Vec<_> = marked(&film, Decode::Exact, 2, 0);
    assert_eq!(numbers, (0..40).map(|n| (n, Some(n as u32))).collect::<Vec<_>>());
    assert_eq!(marked(&film, Decode::Exact, 2, 25)[0], (25, Some(25)));

    make("CLIP10.MP4", 20, Some("2026-09-11T18:00:00Z"));
    make("CLIP9.mp4", 0, Some("2026-09-11T18:10:00Z"));
    let film = read(std::slice::from_ref(&cards));
    assert_eq!(marked(&film, Decode::Exact, 2, 0)[0].1, Some(20));
    // A clock that was never set tells nothing.
    make("CLIP10.MP4", 20, Some("1970-01-01T00:00:10Z"));
    make("CLIP9.mp4", 0, Some("1970-01-01T00:00:20Z"));
    let film = read(std::slice::from_ref(&cards));
    assert_eq!(marked(&film, Decode::Exact, 2, 0)[0].1, Some(0));

    // One part that is no film: the rest is used, and the part is named.
    std::fs::write(cards.join("CLIP9a.mp4"), vec![7; 5000]).unwrap();
    let film = read(std::slice::from_ref(&cards));
    assert_eq!(film.frames(), 40);
    assert_eq!(film.problems.len(), 1);
    assert!(film.problems[0].place.contains("CLIP9a.mp4"), "{:?}", film.problems);

    let empty = folder.path().join("empty");
    std::fs::create_dir(&empty).unwrap();
    let error = Media::new().unwrap().read(&[empty], &Silent).unwrap_err();
    assert!(error.to_string().contains("holds no film") && error.next.contains("mp4"), "{error}");
}

#[test]
fn what_is_no_film_is_refused_by_name() {
    let folder = tempfile::tempdir().unwrap();
    let media = Media::new().unwrap();
    let write = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        path
    };
    let text = "play,quarter,down\n1,1,3\n".repeat(400);
    for path in [
        write("tags.txt", text.as_bytes()),
        write("tags.csv", text.as_bytes()),
        write("empty.mp4", b""),
        write("noise.mts", &(0..40_000u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 13) as u8).collect::<Vec<_>>()),
    ] {
        let error = media.read(std::slice::from_ref(&path), &Silent).unwrap_err();
        assert!(error.place.contains(path.file_name().unwrap().to_str().unwrap()), "{error}");
        assert!(!error.next.is_empty(), "{error}");
    }
    let sound = folder.path().join("band.m4v");
    run("ffmpeg", &["-v", "error", "-f", "lavfi", "-i", "sine=d=1", "-f", "mp4", sound.to_str().unwrap()]);
    let error = media.read(&[sound], &Silent).unwrap_err();
    assert!(error.to_string().contains("no moving picture"), "{error}");
    let still = folder.path().join("still.png");
    run("ffmpeg", &["-v", "error", "-f", "lavfi", "-i", "color=s=64x64", "-frames:v", "1", still.to_str().unwrap()]);
    assert!(media.read(&[still], &Silent).is_err());
}

#[test]
fn films_cut_short_are_read_to_their_end() {
    let folder = tempfile::tempdir().unwrap();
    let source = made("trim.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "120"]);
    let cases: [(&str, &[&str], bool); 5] = [
        ("front.mp4", &["-c", "copy", "-movflags", "+faststart"], true),
        ("pieces.mp4", &["-c", "copy", "-movflags", "frag_keyframe+empty_moov"], false),
        ("box.mkv", &["-c", "copy"], true),
        ("air.ts", &["-c", "copy"], false),
        ("old.avi", &["-c:v", "mpeg4", "-q:v", "4", "-c:a", "mp3"], true),
    ];
    for (name, args, told) in cases {
        let whole = folder.path().join(format!("whole-{name}"));
        remade(&source, &whole, &[], args);
        let bytes = std::fs::read(&whole).unwrap();
        let path = folder.path().join(name);
        std::fs::write(&path, &bytes[..bytes.len() * 6 / 10]).unwrap();
        let film = read(std::slice::from_ref(&path));
        let counted = count(&path);
        // The last picture is torn; whether a decoder still shows it is its own affair.
        assert!(film.frames().abs_diff(counted) <= 1, "{name}: {} against {counted}", film.frames());
        assert!((40..118).contains(&film.frames()), "{name}: {}", film.frames());
        let got = marked(&film, Decode::Exact, 2, 0);
        assert!(got.len() as u64 + 3 >= film.frames(), "{name}: {} of {}", got.len(), film.frames());
        assert!(got.iter().take(got.len() - 4).all(|(no, mark)| *mark == Some(*no as u32)), "{name}: {got:?}");
        if told {
            assert_eq!(film.problems.len(), 1, "{name}: {:?}", film.problems);
            assert!(film.problems[0].place.starts_with(&format!("{name} from ")), "{name}: {:?}", film.problems);
        }
    }
}

#[test]
fn damage_in_the_middle_has_an_address_and_moves_no_number() {
    let folder = tempfile::tempdir().unwrap();
    let source = made("trim.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "120"]);
    for (name, args) in [("hurt.mp4", ["-c", "copy"]), ("hurt.mkv", ["-c", "copy"]), ("hurt.ts", ["-c", "copy"])] {
        let whole = folder.path().join(format!("whole-{name}"));
        remade(&source, &whole, &[], &args);
        let mut bytes = std::fs::read(&whole).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle..middle + 20_000].fill(0x55);
        let path = folder.path().join(name);
        std::fs::write(&path, &bytes).unwrap();
        let film = read(std::slice::from_ref(&path));
        let media = Media::new().unwrap();
        let mut frames = media.frames(&film, Decode::Exact, 2).unwrap();
        let (mut right, mut wrong) = (0, 0);
        // Whether a number is right is told by its time: a frame k/30 s into the film bears mark k.
        while let Some(view) = frames.next_frame().unwrap() {
            if let Some(mark) = marks::read(view.planes[0], view.width, view.height, view.strides[0]) {
                let by_time = (view.time * 30.0).round() as u32;
                if mark == by_time { right += 1 } else { wrong += 1 }
            }
        }
        assert!(right > 70, "{name}: {right} right");
        // A frame whose picture is that of a neighbor is damage, and few.
        assert!(wrong < 20, "{name}: {wrong} wrong, {right} right");
        let mut told = film.problems.clone();
        told.extend(frames.damage().into_iter().map(|span| film.damage(span)));
        assert!(told.iter().any(|p| p.place.starts_with(&format!("{name} from "))), "{name}: {told:?}");
    }
}
