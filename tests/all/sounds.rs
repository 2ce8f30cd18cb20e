//! Sound lies on film time: clicks at known samples are heard there, whatever the container, after any seek, over
//! parts of any length.

use std::path::PathBuf;

use downbox::base::Silent;
use downbox::film::{Film, FilmReader};
use downbox::media::Media;

use crate::films::{made, remade, run};
use crate::marks;

fn read(paths: &[PathBuf]) -> Film {
    Media::new().unwrap().read(paths, &Silent).unwrap()
}

/// All sound from sample `from` on.
fn heard(film: &Film, rate: u32, channels: usize, from: u64) -> Vec<f32> {
    let media = Media::new().unwrap();
    let mut sound = media.sound(film, rate, channels).unwrap().unwrap();
    if from > 0 {
        sound.seek(from).unwrap();
    }
    let mut all = Vec::new();
    while let Some(block) = sound.next_block().unwrap() {
        assert!(block.len() % channels == 0 && block.len() <= 65_536, "{}", block.len());
        all.extend_from_slice(block);
    }
    all
}

/// The clicks are where `want` says, at 48 kHz, within `tolerance` samples.
fn check(name: &str, samples: &[f32], want: &[usize], tolerance: usize) {
    let got = marks::clicks(samples, 48_000);
    assert_eq!(got.len(), want.len(), "{name}: heard {got:?}, made {want:?}");
    for (g, w) in got.iter().zip(want) {
        assert!(g.abs_diff(*w) <= tolerance, "{name}: heard {got:?}, made {want:?}");
    }
}

#[test]
fn clicks_are_heard_at_their_samples_in_every_container() {
    let folder = tempfile::tempdir().unwrap();
    let source =
        made("loud.mov", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "150", "--audio", "pcm"]);
    let cases: [(&str, &[&str], usize); 7] = [
        ("plain.mov", &["-c", "copy"], 0),
        ("aac.mp4", &["-c:v", "copy", "-c:a", "aac"], 2),
        ("slow.mp4", &["-c:v", "copy", "-c:a", "aac", "-ar", "44100"], 3),
        // Picture and sound are each rounded to a millisecond.
        ("box.mkv", &["-c:v", "copy", "-c:a", "aac"], 24),
        ("air.ts", &["-c:v", "copy", "-c:a", "aac"], 2),
        ("disc.mts", &["-c:v", "copy", "-c:a", "ac3", "-f", "mpegts"], 2),
        ("old.avi", &["-c:v", "mpeg4", "-c:a", "pcm_s16le"], 0),
    ];
    let clicks: Vec<usize> = (0..5).map(|k| marks::click_at(k, 48_000)).collect();
    for (name, args, tolerance) in cases {
        let path = folder.path().join(name);
        remade(&source, &path, &[], args);
        let film = read(&[path]);
        let whole = heard(&film, 48_000, 1, 0);
        // Matroska tells times to a millisecond, so its last frame ends up to half of one off: 24 samples.
        let length = (film.seconds() * 48_000.0).round() as u64;
        assert_eq!(whole.len() as u64, length, "{name}");
        assert!(length.abs_diff(240_000) <= 24, "{name}: {length}");
        check(name, &whole, &clicks, tolerance);
        for from in [1u64, 23_000, 71_999, 100_000, 199_999] {
            let rest = heard(&film, 48_000, 1, from);
            assert_eq!(rest.len() as u64, length - from, "{name} from {from}");
            let want: Vec<usize> = clicks.iter().filter(|c| **c as u64 >= from).map(|c| c - from as usize).collect();
            check(&format!("{name} from {from}"), &rest, &want, tolerance);
        }
        let stereo = heard(&film, 48_000, 2, 0);
        assert_eq!(stereo.len() as u64, 2 * length, "{name}");
        // 4 kHz of click is well below the half of 16 kHz: places agree to a sample of the lower rate.
        let low = heard(&film, 16_000, 1, 0);
        assert_eq!(low.len(), (film.seconds() * 16_000.0).round() as usize, "{name}");
        let loudest = low[..16_000].iter().enumerate().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())).unwrap().0;
        assert!(loudest.abs_diff(8_008) <= 5 + tolerance / 3, "{name}: {loudest}");
    }
}

#[test]
fn seeking_back_and_forth_gives_the_same_samples() {
    let source =
        made("loud.mov", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "150", "--audio", "pcm"]);
    let film = read(&[source]);
    let whole = heard(&film, 48_000, 1, 0);
    let media = Media::new().unwrap();
    let mut sound = media.sound(&film, 48_000, 1).unwrap().unwrap();
    for from in [120_000u64, 119_999, 5, 200_001, 200_500, 239_999, 0] {
        sound.seek(from).unwrap();
        let block = sound.next_block().unwrap().unwrap().to_vec();
        let from = from as usize;
        assert_eq!(block, whole[from..from + block.len()], "from {from}");
    }
    sound.seek(240_000).unwrap();
    assert!(sound.next_block().unwrap().is_none());
}

#[test]
fn trimmed_late_and_missing_sound_keeps_its_place() {
    let folder = tempfile::tempdir().unwrap();
    let source = made("trim.mp4", &["marked", "--out", "OUT", "--size", "320x180", "--frames", "120"]);
    let path = folder.path().join("trimmed.mp4");
    remade(&source, &path, &["-ss", "1.5"], &["-c", "copy"]);
    let film = read(&[path]);
    let samples = heard(&film, 48_000, 1, 0);
    assert_eq!(samples.len(), 120_000);
    // Clicks at 1.5, 2.5, 3.5 s of the source; the first is at the very start, where its packet is hidden in part.
    let got = marks::clicks(&samples, 48_000);
    assert!(got.iter().any(|c| c.abs_diff(48_000) <= 3) && got.iter().any(|c| c.abs_diff(96_000) <= 3), "{got:?}");

    // Sound that begins .7 s after the picture and ends before it.
    let path = folder.path().join("late.mp4");
    let s = source.to_str().unwrap();
    run(
        "ffmpeg",
        &[
            "-v",
            "error",
            "-i",
            s,
            "-itsoffset",
            "0.7",
            "-i",
            s,
            "-map",
            "0:v",
            "-map",
            "1:a",
            "-c",
            "copy",
            "-t",
            "3",
            "-movie_timescale",
            "48000",
            path.to_str().unwrap(),
        ],
    );
    let film = read(&[path]);
    let samples = heard(&film, 48_000, 1, 0);
    assert_eq!(samples.len() as f64, (film.seconds() * 48_000.0).round());
    assert!(samples[..30_000].iter().all(|s| *s == 0.0));
    let got = marks::clicks(&samples, 48_000);
    assert!(got[0].abs_diff(24_000 + 33_600) <= 3, "{got:?}");
}

#[test]
fn parts_of_odd_lengths_do_not_drift() {
    let folder = tempfile::tempdir().unwrap();
    for k in 0..7u32 {
        let (name, first) = (format!("odd{k}.mp4"), (k * 37).to_string());
        let audio = if k == 6 { "none" } else { "aac" };
        let part = made(
            &name,
            &[
                "marked",
                "--out",
                "OUT",
                "--size",
                "320x180",
                "--frames",
                "37",
                "--fps",
                "30000/1001",
                "--first",
                &first,
                "--audio",
                audio,
            ],
        );
        std::fs::copy(part, folder.path().join(name)).unwrap();
    }
    let film = read(&[folder.path().to_path_buf()]);
    assert_eq!(film.frames(), 7 * 37);
    let samples = heard(&film, 48_000, 1, 0);
    // 37 frames of 1001/30000 s are 59,259.2 samples.
    assert_eq!(samples.len(), (7.0f64 * 37.0 * 1001.0 / 30_000.0 * 48_000.0).round() as usize);
    let want: Vec<usize> = (0..6).map(|k| (f64::from(k) * 59_259.2).round() as usize + 24_000).collect();
    check("six parts", &samples, &want, 3);
    assert!(samples[samples.len() - 59_000..].iter().all(|s| *s == 0.0));
    let from = 3 * 59_259 + 10_000;
    let rest = heard(&film, 48_000, 1, from as u64);
    check("six parts from the fourth", &rest, &want[3..].iter().map(|w| w - from).collect::<Vec<_>>(), 3);
}
