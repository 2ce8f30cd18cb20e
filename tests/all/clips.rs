//! Clips of films as cameras leave them: turned, with odd sample aspect, of varying rate, trimmed, in transport
//! streams. The ffmpeg and ffprobe programs judge what a clip holds.

use std::path::{Path, PathBuf};

use downbox::base::{ErrorKind, FrameNo, FrameSpan, PendingFile, Rate, Silent};
use downbox::cut::{Shown, plan};
use downbox::film::{ClipPlan, ClipSpec, Codec, Film, FilmReader, FilmWriter, Piece, SoundPlan};
use downbox::media::Media;
use serde_json::Value;

use crate::films::{count, frame_sums, interlaced, luma, made, remade, run, sound};
use crate::marks;

fn read(path: &Path) -> Film {
    Media::new().unwrap().read(&[path.to_path_buf()], &Silent).unwrap()
}

fn plans(film: &Film, spans: &[(u64, u64)]) -> Vec<ClipPlan> {
    let media = Media::new().unwrap();
    let points: Vec<_> = (0..film.parts.len()).map(|k| media.entry_points(film, k).unwrap()).collect();
    let sounds: Vec<_> = (0..film.parts.len()).map(|k| media.sound_plan(film, k).unwrap()).collect();
    spans.iter().map(|(from, to)| plan(film, FrameSpan::of(*from, *to), FrameNo(*from), &points, &sounds)).collect()
}

/// Cuts spans in one go and gives the clips.
fn cut(film: &Film, spans: &[(u64, u64)], folder: &Path) -> Vec<(ClipPlan, PathBuf)> {
    let plans = plans(film, spans);
    let paths: Vec<_> = spans.iter().map(|(from, to)| folder.join(format!("{from}-{to}.mp4"))).collect();
    let mut finished = Vec::new();
    Media::new()
        .unwrap()
        .carry_out(film, &plans, &paths, &mut |i| {
            // The file is whole at this moment, and no later one has begun.
            assert!(count(&paths[i]) == plans[i].span.len());
            assert!(paths[i + 1..].iter().all(|later| !later.exists()));
            finished.push(i);
            Ok(())
        })
        .unwrap();
    assert_eq!(finished, (0..spans.len()).collect::<Vec<_>>());
    plans.into_iter().zip(paths).collect()
}

fn probe(path: &Path) -> Value {
    let args = ["-v", "error", "-show_streams", "-show_format", "-of", "json", path.to_str().unwrap()];
    serde_json::from_slice(&run("ffprobe", &args)).unwrap()
}

fn copies(plan: &ClipPlan) -> bool {
    plan.pieces.iter().any(|p| matches!(p, Piece::Copy(_)))
}

/// The clip shows bar codes `first` and so on, one a frame, copied frames are those of the film to the bit, and its
/// streams begin at 0.
fn check(film: &Film, clip: &(ClipPlan, PathBuf), first: u32, copied: bool) {
    let (plan, path) = clip;
    let label = format!("{}: {}", film.parts[0].path.display(), Shown(plan));
    assert_eq!(copies(plan), copied, "{label}");
    let media = Media::new().unwrap();
    let read = media.read(std::slice::from_ref(path), &Silent).unwrap();
    let mut frames = media.frames(&read, downbox::film::Decode::Exact, 1).unwrap();
    let mut numbers = Vec::new();
    while let Some(view) = frames.next_frame().unwrap() {
        numbers.push(marks::read(view.planes[0], view.width, view.height, view.strides[0]));
    }
    if film.parts[0].rotation == 0 {
        // By the ffmpeg program too: it is the judge.
        let seen: Vec<_> = luma(path, 320, 180).iter().map(|l| marks::read(l, 320, 180, 320)).collect();
        let want: Vec<_> = (0..plan.span.len()).map(|n| Some(first + n as u32)).collect();
        assert_eq!(seen, want, "{label}");
        assert_eq!(numbers, want, "{label}");
    }
    let (source, clip_sums) = (frame_sums(&film.parts[0].path), frame_sums(path));
    for piece in &plan.pieces {
        if let Piece::Copy(span) = piece {
            for n in span.start.0..span.end.0 {
                assert_eq!(clip_sums[(n - plan.span.start.0) as usize], source[n as usize], "{label}: frame {n}");
            }
        }
    }
    let told = probe(path);
    for stream in told["streams"].as_array().unwrap() {
        let start: f64 = stream["start_time"].as_str().unwrap().parse().unwrap();
        assert!(start.abs() < 1e-6, "{label}: {} starts at {start}", stream["codec_type"]);
    }
    assert_eq!(told["format"]["tags"].get("encoder"), None, "{label}");
    let bytes = std::fs::read(path).unwrap();
    for word in ["Lavf", "Lavc", "x264", "/tmp", "target/films"] {
        let found = bytes.windows(word.len()).any(|w| w == word.as_bytes());
        // What a copied packet holds is the film's own.
        let own = word == "x264" && copied || word == "Lavc" && plan.sound == SoundPlan::Copy;
        assert!(!found || own, "{label}: the file holds `{word}`");
    }
    // Fast start: the index comes before the data.
    let at = |kind: &[u8]| bytes.windows(4).position(|w| w == kind).unwrap();
    assert!(at(b"moov") < at(b"mdat"), "{label}");
    assert_eq!(read.problems, vec![], "{label}");
}

fn source() -> PathBuf {
    made("trim.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "120"])
}

#[test]
fn copied_sound_is_the_films_to_the_sample() {
    let folder = tempfile::tempdir().unwrap();
    let path = source();
    let film = read(&path);
    let whole = sound(&path);
    for clip in cut(&film, &[(0, 60), (17, 75), (30, 90), (61, 120)], folder.path()) {
        check(&film, &clip, clip.0.span.start.0 as u32, true);
        assert_eq!(clip.0.sound, SoundPlan::Copy);
        let heard = sound(&clip.1);
        let from = (film.time(clip.0.span.start) * 48_000.0).round() as usize;
        let length = (clip.0.span.len() as usize) * 1600;
        assert!(heard.len() >= length.min(whole.len() - from) && heard.len() < length + 1024, "{}", heard.len());
        let worst = heard.iter().zip(&whole[from..]).map(|(a, b)| (a - b).abs()).fold(0.0f32, f32::max);
        // The packet before the in-point is decoded too, so that even the first sample is the same.
        assert!(worst < 1e-4, "{}: {worst}", Shown(&clip.0));
    }
}

#[test]
fn single_frames_ends_and_the_whole_film_are_clips_too() {
    let folder = tempfile::tempdir().unwrap();
    let film = read(&source());
    for clip in cut(&film, &[(0, 1), (45, 46), (119, 120), (0, 120), (29, 31), (30, 31)], folder.path()) {
        check(&film, &clip, clip.0.span.start.0 as u32, copies(&clip.0));
    }
}

#[test]
fn turned_and_stretched_films_stay_so() {
    let folder = tempfile::tempdir().unwrap();
    for rotate in ["90", "180", "270"] {
        let path = folder.path().join(format!("turned{rotate}.mp4"));
        remade(&source(), &path, &[], &["-c", "copy", "-metadata:s:v:0", &format!("rotate={rotate}")]);
        let film = read(&path);
        let clip = &cut(&film, &[(17, 75)], folder.path())[0];
        check(&film, clip, 17, true);
        assert_eq!(read(&clip.1).parts[0].rotation, film.parts[0].rotation);
        // Head and copied frames are turned alike: each is like the film's own.
        let (mine, theirs) = (luma(&clip.1, 90, 90), luma(&path, 90, 90));
        for n in [0usize, 12, 13, 40] {
            let off: u64 = mine[n].iter().zip(&theirs[17 + n]).map(|(a, b)| u64::from(a.abs_diff(*b))).sum();
            assert!(off / 8_100 < 6, "{rotate}: frame {n} is off by {}", off / 8_100);
        }
    }
    let path = made("wide.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "40", "--sar", "4:3"]);
    let film = read(&path);
    let clip = &cut(&film, &[(7, 40)], folder.path())[0];
    check(&film, clip, 7, true);
    assert_eq!(probe(&clip.1)["streams"][0]["sample_aspect_ratio"], "4:3");
    // Encoded whole, a turned film of odd aspect is upright, its aspect turned with it.
    let upright = folder.path().join("upright.mp4");
    remade(
        &made("wide.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "40", "--sar", "4:3"]),
        &upright,
        &[],
        &["-c:v", "mpeg4", "-q:v", "3"],
    );
    let path = folder.path().join("old.mp4");
    remade(&upright, &path, &[], &["-c", "copy", "-metadata:s:v:0", "rotate=90"]);
    let film = read(&path);
    let clip = &cut(&film, &[(7, 30)], folder.path())[0];
    let told = &probe(&clip.1)["streams"][0];
    assert_eq!((&told["width"], &told["height"]), (&Value::from(180), &Value::from(320)));
    assert_eq!(told["sample_aspect_ratio"], "3:4");
    assert_eq!(count(&clip.1), 23);
}

#[test]
fn times_of_a_varying_rate_are_kept() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("varies.mp4");
    remade(
        &source(),
        &path,
        &[],
        &[
            "-vf",
            "setpts='if(lt(N,60),N,60+2*(N-60))/30/TB'",
            "-fps_mode",
            "vfr",
            "-enc_time_base",
            "1/600",
            "-g",
            "30",
            "-an",
        ],
    );
    let film = read(&path);
    let hevc = folder.path().join("varies.mkv");
    remade(&path, &hevc, &[], &["-c:v", "mpeg4", "-q:v", "3", "-fps_mode", "passthrough"]);
    for (film, copied) in [(film, true), (read(&hevc), false)] {
        let clip = &cut(&film, &[(40, 100)], folder.path())[0];
        check(&film, clip, 40, copied);
        let cut = read(&clip.1);
        for n in 0..60 {
            let want = film.time(FrameNo(40 + n)) - film.time(FrameNo(40));
            assert!((cut.time(FrameNo(n)) - want).abs() < 1e-6, "frame {n}: {} for {want}", cut.time(FrameNo(n)));
        }
    }
}

#[test]
fn every_container_gives_exact_clips() {
    let folder = tempfile::tempdir().unwrap();
    let trimmed = folder.path().join("trimmed.mp4");
    remade(&source(), &trimmed, &["-ss", "1.5"], &["-c", "copy"]);
    let box_ = folder.path().join("box.mkv");
    remade(&source(), &box_, &[], &["-c", "copy"]);
    let early = folder.path().join("early.ts");
    remade(
        &source(),
        &early,
        &[],
        &["-c", "copy", "-output_ts_offset", "-1", "-muxdelay", "0", "-avoid_negative_ts", "disabled"],
    );
    let ten = folder.path().join("ten.mov");
    remade(
        &source(),
        &ten,
        &[],
        &["-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p10le", "-c:a", "pcm_s16le"],
    );
    let disc = folder.path().join("disc.mts");
    remade(&source(), &disc, &[], &["-c:v", "copy", "-c:a", "ac3", "-ac", "2", "-f", "mpegts"]);
    for (path, first, copied, whole_sound) in [
        (trimmed, 45, true, true),
        (box_, 0, true, false),
        (early, 0, true, false),
        (ten, 0, false, false),
        (disc, 0, true, false),
    ] {
        let film = read(&path);
        let clips = tempfile::tempdir().unwrap();
        for clip in cut(&film, &[(11, 70), (33, 64)], clips.path()) {
            let start = clip.0.span.start;
            check(&film, &clip, first + start.0 as u32, copied);
            assert_eq!(clip.0.sound == SoundPlan::Copy, whole_sound, "{}", Shown(&clip.0));
            let heard = marks::clicks(&sound(&clip.1), 48_000);
            let from = ((f64::from(first) / 30.0 + film.time(start)) * 48_000.0).round() as usize;
            let to = from + clip.0.span.len() as usize * 1600;
            let want: Vec<usize> = (0..5)
                .map(|k| marks::click_at(k, 48_000))
                .filter(|c| (from + 1500..to.saturating_sub(1500)).contains(c))
                .map(|c| c - from)
                .collect();
            assert!(!want.is_empty());
            for w in &want {
                // Half a millisecond is what Matroska's clock rounds away.
                let most = if path.extension().unwrap() == "mkv" { 26 } else { 3 };
                assert!(heard.iter().any(|h| h.abs_diff(*w) <= most), "{}: {heard:?} for {want:?}", path.display());
            }
            let channels = probe(&clip.1)["streams"][1]["channels"].as_u64().unwrap();
            assert_eq!(channels, if path.extension().unwrap() == "mts" { 2 } else { 1 }, "{}", path.display());
        }
    }
}

#[test]
fn frames_encoded_anew_carry_the_films_color_tags() {
    let folder = tempfile::tempdir().unwrap();
    let cases: [(&str, &[&str]); 3] = [
        ("untagged", &[]),
        ("bt709", &["-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709", "-color_range", "tv"]),
        ("full", &["-vf", "scale=out_range=full", "-pix_fmt", "yuvj420p", "-colorspace", "smpte170m"]),
    ];
    for (name, args) in cases {
        let path = folder.path().join(format!("{name}.mp4"));
        let mut all = args.to_vec();
        all.extend(["-c:v", "libx264", "-preset", "ultrafast", "-g", "30", "-an"]);
        remade(&source(), &path, &[], &all);
        let film = read(&path);
        let clip = &cut(&film, &[(17, 75)], folder.path())[0];
        check(&film, clip, 17, true);
        let entries = "frame=color_range,color_space,color_primaries,color_transfer,pix_fmt,chroma_location";
        let told = |path: &Path| {
            let text =
                run("ffprobe", &["-v", "error", "-show_entries", entries, "-of", "csv=p=0", path.to_str().unwrap()]);
            let mut lines: Vec<_> =
                String::from_utf8(text).unwrap().lines().map(|l| l.trim_end_matches(',').to_string()).collect();
            lines.retain(|l| !l.is_empty());
            lines.sort();
            lines.dedup();
            lines
        };
        assert_eq!(told(&clip.1), told(&path), "{name}");
        assert_eq!(told(&path).len(), 1, "{name}");
    }
}

#[test]
fn a_film_whose_parameter_sets_change_is_not_copied() {
    let folder = tempfile::tempdir().unwrap();
    let (one, two) = (folder.path().join("one.ts"), folder.path().join("two.ts"));
    remade(&source(), &one, &[], &["-c:v", "libx264", "-preset", "ultrafast", "-an", "-t", "2"]);
    remade(&source(), &two, &["-ss", "2"], &["-c:v", "libx264", "-preset", "fast", "-an"]);
    let (path, list) = (folder.path().join("both.ts"), folder.path().join("list.txt"));
    std::fs::write(&list, "file one.ts\nfile two.ts\n").unwrap();
    remade(&list, &path, &["-f", "concat", "-safe", "0"], &["-c", "copy"]);
    let film = read(&path);
    assert_eq!(film.frames(), 120);
    let clip = &cut(&film, &[(20, 100)], folder.path())[0];
    assert!(Shown(&clip.0).to_string().contains("parameter sets change"), "{}", Shown(&clip.0));
    check(&film, clip, 20, false);
}

#[test]
fn fields_stay_fields() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("woven.mts");
    interlaced(&source(), &path);
    let film = read(&path);
    let clip = &cut(&film, &[(20, 60)], folder.path())[0];
    assert!(!copies(&clip.0));
    assert_eq!(probe(&clip.1)["streams"][0]["field_order"], "tt");
    assert_eq!(count(&clip.1), 40);
}

#[test]
fn a_reel_too_large_for_phones_is_refused_and_slow_presets_stay_within_level() {
    let folder = tempfile::tempdir().unwrap();
    let media = Media::new().unwrap();
    let mut spec = ClipSpec {
        width: 3840,
        height: 2160,
        rate: Rate { num: 30, den: 1 },
        channels: 0,
        codec: Codec::H264,
        beside: None,
        preset: "slower".into(),
        crf: 30,
        threads: 0,
        title: String::new(),
        chapters: vec![],
    };
    let Err(error) = media.create(&folder.path().join("large.mp4"), &spec) else { panic!("4K was taken") };
    assert!(error.to_string().contains("3840x2160") && error.next.contains("1920x1080"), "{error}");
    (spec.width, spec.height, spec.rate) = (1920, 1080, Rate { num: 60_000, den: 1001 });
    let path = folder.path().join("fast.mp4");
    let mut sink = media.create(&path, &spec).unwrap();
    let picture = downbox::film::Picture::filled(1920, 1080, [90, 128, 128]);
    for _ in 0..3 {
        sink.picture(&picture.view(FrameNo(0), 0.0)).unwrap();
    }
    sink.finish().unwrap();
    let told = &probe(&path)["streams"][0];
    assert!(told["level"].as_u64().unwrap() <= 42 && told["refs"].as_u64().unwrap() <= 4, "{told}");
    assert_eq!(told["profile"], "High");
    assert_eq!(told["is_avc"], "true");
    assert_eq!(told["codec_tag_string"], "avc1");
}

#[test]
fn the_same_work_gives_the_same_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let film = read(&source());
    let media = Media::new().unwrap();
    let mut all = Vec::new();
    for name in ["one.mp4", "two.mp4"] {
        let (clip, reel) = (folder.path().join(format!("clip-{name}")), folder.path().join(format!("reel-{name}")));
        media.carry_out(&film, &plans(&film, &[(17, 75)]), std::slice::from_ref(&clip), &mut |_| Ok(())).unwrap();
        let spec = ClipSpec {
            width: 320,
            height: 180,
            rate: Rate { num: 30, den: 1 },
            channels: 1,
            codec: Codec::H264,
            beside: None,
            preset: "veryfast".into(),
            crf: 23,
            threads: 0,
            title: "third and short".into(),
            chapters: vec![(0.0, 1.0, "one".into())],
        };
        let mut sink = media.create(&reel, &spec).unwrap();
        let mut frames = media.frames(&film, downbox::film::Decode::Exact, 2).unwrap();
        while let Some(view) = frames.next_frame().unwrap() {
            sink.picture(&view).unwrap();
            sink.sound(&[0.1; 1600]).unwrap();
        }
        sink.finish().unwrap();
        all.push((std::fs::read(clip).unwrap(), std::fs::read(reel).unwrap()));
    }
    assert!(all[0].0 == all[1].0, "two clips of the same frames differ");
    assert!(all[0].1 == all[1].1, "two reels of the same pictures differ");
}

/// A head with B-frames before copied frames without them (or the other way about) costs a strict decoder a frame at
/// the joint: seen with OpenH264 in GStreamer, which gives 58 of 58 frames to the bit since the depths agree, 57 before.
#[test]
fn frames_encoded_anew_are_no_more_reordered_than_the_films() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("plain.mp4");
    remade(&source(), &path, &[], &["-c:v", "libx264", "-preset", "veryfast", "-bf", "0", "-g", "30", "-c:a", "copy"]);
    let film = read(&path);
    let clip = &cut(&film, &[(7, 65)], folder.path())[0];
    check(&film, clip, 7, true);
    let args = ["-v", "error", "-select_streams", "v", "-show_entries", "packet=pts,dts", "-of", "csv=p=0"];
    let text = run("ffprobe", &[&args[..], &[clip.1.to_str().unwrap()]].concat());
    let text = String::from_utf8(text).unwrap();
    assert_eq!(text.lines().count(), 58);
    for line in text.lines() {
        let (pts, dts) = line.trim_end_matches(',').split_once(',').unwrap();
        assert_eq!(pts, dts, "a frame is decoded before one shown earlier");
    }
}

/// A real full disk: a file system of 1 MB in memory.
#[test]
fn a_full_disk_is_named_and_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let disk = folder.path().join("disk");
    std::fs::create_dir(&disk).unwrap();
    let mounted = std::process::Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=1m", "tmpfs", disk.to_str().unwrap()])
        .output()
        .is_ok_and(|done| done.status.success());
    if !mounted {
        eprintln!("NOT checked: a full disk (mounting a small file system needs root)");
        return;
    }
    let film = read(&made("cut.mp4", &["marked", "--out", "OUT", "--frames", "300"]));
    let media = Media::new().unwrap();
    let tried = std::panic::catch_unwind(|| {
        // Copied and encoded clips, and a reel.
        let last = disk.join("play.mp4");
        for spans in [[(30, 299)], [(31, 50)]] {
            let filler = disk.join("filler");
            std::fs::write(&filler, vec![0; if spans[0].0 == 31 { 1_020_000 } else { 300_000 }]).unwrap();
            let pending = PendingFile::new(&last).unwrap();
            let error = media
                .carry_out(&film, &plans(&film, &spans), &[pending.path().to_path_buf()], &mut |_| Ok(()))
                .unwrap_err();
            assert_eq!(error.kind, ErrorKind::DiskFull, "{error}");
            assert!(error.next.contains("free some room"), "{error}");
            drop(pending);
            std::fs::remove_file(&filler).unwrap();
            assert_eq!(std::fs::read_dir(&disk).unwrap().count(), 0);
        }
        let pending = PendingFile::new(&last).unwrap();
        let spec = ClipSpec {
            width: 640,
            height: 360,
            rate: Rate { num: 30, den: 1 },
            channels: 0,
            codec: Codec::H264,
            beside: None,
            preset: "ultrafast".into(),
            crf: 1,
            threads: 0,
            title: String::new(),
            chapters: vec![],
        };
        let write = || {
            let mut sink = media.create(pending.path(), &spec)?;
            let mut picture = downbox::film::Picture::filled(640, 360, [90, 128, 128]);
            for n in 0..60u32 {
                // Noise does not compress.
                let mut seed = n.wrapping_mul(2_654_435_761) | 1;
                for p in &mut picture.planes[0] {
                    seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    *p = (seed >> 24) as u8;
                }
                sink.picture(&picture.view(FrameNo(0), 0.0))?;
            }
            sink.finish()
        };
        let error = write().unwrap_err();
        assert_eq!(error.kind, ErrorKind::DiskFull, "{error}");
        drop(pending);
        assert_eq!(std::fs::read_dir(&disk).unwrap().count(), 0);
    });
    let unmounted = std::process::Command::new("umount").arg(&disk).status().is_ok_and(|s| s.success());
    if let Err(cause) = tried {
        std::panic::resume_unwind(cause);
    }
    assert!(unmounted);
}
