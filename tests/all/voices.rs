//! Voices out of sound files of every usual kind, their loudness by a meter that is not ours (FFmpeg's ebur128 filter), and sound
//! in another tempo.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use downbox::film::SoundDesk;
use downbox::media::Media;
use downbox::reel::{Mixer, Narration, leveled};

use crate::films::run;

const RATE: usize = 48_000;

fn media() -> Media {
    Media::new().unwrap()
}

/// A sound file that the ffmpeg program makes of a source of its own.
fn sound(folder: &Path, name: &str, source: &str, args: &[&str]) -> PathBuf {
    let path = folder.join(name);
    let before = ["-v", "error", "-y", "-f", "lavfi", "-i", source];
    run("ffmpeg", &[&before[..], args, &[path.to_str().unwrap()]].concat());
    path
}

/// Hertz of a tone, by its rises through zero, within the seconds given.
fn pitch(samples: &[f32], from: f64, to: f64) -> f64 {
    let (a, b) = ((from * RATE as f64) as usize, (to * RATE as f64) as usize);
    let left: Vec<f32> = samples.chunks_exact(2).map(|pair| pair[0]).collect();
    let rises: Vec<usize> = (a..b - 1).filter(|n| left[*n] < 0.0 && left[n + 1] >= 0.0).collect();
    (rises.len() - 1) as f64 * RATE as f64 / (rises[rises.len() - 1] - rises[0]) as f64
}

fn seconds(samples: &[f32]) -> f64 {
    samples.len() as f64 / 2.0 / RATE as f64
}

#[test]
fn a_voice_is_read_from_every_usual_kind_of_file() {
    let folder = tempfile::tempdir().unwrap();
    let cases: [(&str, &[&str], f64); 10] = [
        ("phone.m4a", &["-c:a", "aac", "-ac", "1"], 0.025),
        ("plain.wav", &["-ac", "1"], 0.002),
        ("float.wav", &["-c:a", "pcm_f32le", "-ar", "96000"], 0.002),
        ("old.wav", &["-c:a", "pcm_u8", "-ar", "8000"], 0.002),
        ("talk.mp3", &["-c:a", "libmp3lame", "-ar", "44100"], 0.002),
        ("talk.flac", &["-ar", "44100"], 0.002),
        ("talk.ogg", &["-c:a", "libvorbis"], 0.03),
        ("talk.opus", &["-c:a", "libopus"], 0.03),
        ("talk.aiff", &[], 0.002),
        ("raw.aac", &["-c:a", "aac"], 0.06),
    ];
    for (name, args, tolerance) in cases {
        let path = sound(folder.path(), name, "sine=440:sample_rate=48000:duration=3", args);
        let read = media().voice(&path).unwrap_or_else(|error| panic!("{name}: {error}"));
        assert!((seconds(&read) - 3.0).abs() <= tolerance, "{name}: {} s", seconds(&read));
        assert!((pitch(&read, 0.2, 2.8) - 440.0).abs() < 0.5, "{name}: {} Hz", pitch(&read, 0.2, 2.8));
        let apart = read.chunks_exact(2).map(|pair| (pair[0] - pair[1]).abs()).fold(0.0, f32::max);
        assert!(apart < 0.02, "{name}: left and right differ by {apart}");
        let peak = read.iter().fold(0.0f32, |most, s| most.max(s.abs()));
        assert!((0.08..0.2).contains(&peak), "{name}: {peak}");
    }
    // A film's sound is a voice too.
    let film = folder.path().join("film:1.mp4");
    let sources = ["-f", "lavfi", "-i", "testsrc=size=160x90:duration=2", "-f", "lavfi", "-i", "sine=300:duration=2"];
    let file = ["-c:a", "aac", film.to_str().unwrap()];
    run("ffmpeg", &[&["-v", "error"][..], &sources, &file].concat());
    assert!((pitch(&media().voice(&film).unwrap(), 0.2, 1.8) - 300.0).abs() < 0.5);
}

#[test]
fn a_voice_that_cannot_be_read_says_why_and_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    sound(folder.path(), "whole.wav", "sine=440:duration=4", &[]);
    let whole = sound(folder.path(), "whole.m4a", "sine=440:duration=4", &["-movflags", "+faststart"]);
    let bytes = fs::read(&whole).unwrap();
    fs::write(at("short.m4a"), &bytes[..bytes.len() * 2 / 3]).unwrap();
    let plain = sound(folder.path(), "unclosed.m4a", "sine=440:duration=4", &[]);
    let bytes = fs::read(&plain).unwrap();
    fs::write(&plain, &bytes[..bytes.len() / 2]).unwrap();
    fs::write(at("empty.wav"), b"").unwrap();
    fs::write(at("notes.wav"), b"count the deep safeties, then the front\n".repeat(50)).unwrap();
    fs::write(at("list.m3u8"), format!("#EXTM3U\n#EXTINF:4,\n{}\n", at("whole.wav").display())).unwrap();
    sound(folder.path(), "silent.mp4", "testsrc=size=160x90:duration=1", &[]);
    sound(folder.path(), "long.flac", "anullsrc=r=8000:cl=mono:duration=1230", &[]);
    for (name, what, next) in [
        ("absent.wav", "cannot open the voice", "check that the path is right"),
        ("", "the voice is a folder", "name a sound file in it"),
        ("empty.wav", "the voice is an empty file", "record it again"),
        ("notes.wav", "this is no sound file that can be read", "WAV, M4A or MP3"),
        ("list.m3u8", "this is no sound file that can be read", "WAV, M4A or MP3"),
        ("unclosed.m4a", "this is no sound file that can be read", "check that it plays"),
        ("silent.mp4", "there is no sound in the voice's file", "WAV, M4A or MP3"),
        ("short.m4a", "the voice breaks off after 2", "copy or save it again"),
        ("long.flac", "the voice is longer than 20 minutes", "cut it into pieces"),
    ] {
        let error = media().voice(&at(name)).map(|_| ()).expect_err(name);
        assert!(error.what.contains(what) && error.next.contains(next), "{name}: {error}; {}", error.next);
        assert!(error.place.contains(name), "{name}: {}", error.place);
    }
}

/// Integrated loudness and true peak, by FFmpeg's ebur128 filter.
fn metered(folder: &Path, samples: &[f32]) -> (f64, f64) {
    let raw = folder.join("metered.f32");
    fs::write(&raw, samples.iter().flat_map(|s| s.to_le_bytes()).collect::<Vec<u8>>()).unwrap();
    let args = ["-nostats", "-f", "f32le", "-ar", "48000", "-ac", "2", "-i", raw.to_str().unwrap()];
    let filter = ["-af", "ebur128=peak=true", "-f", "null", "-"];
    let out = Command::new("ffmpeg").args(args).args(filter).output().unwrap();
    let text = String::from_utf8(out.stderr).unwrap();
    let summary = &text[text.rfind("Summary:").unwrap()..];
    let number = |name: &str| -> f64 {
        let line = summary.lines().find(|line| line.trim_start().starts_with(name)).unwrap();
        line.split_whitespace().nth(1).unwrap().parse().unwrap()
    };
    (number("I:"), number("Peak:"))
}

#[test]
fn voices_come_to_their_loudness_by_a_meter_of_others() {
    let folder = tempfile::tempdir().unwrap();
    // A made talk: syllables with pauses; near and far from the microphone, with a shout, with clipped pops.
    let talk = "0.5*sin(2*PI*140*t)+0.3*sin(2*PI*730*t)+0.2*sin(2*PI*2600*t)";
    let syllables = format!("({talk})*abs(sin(2*PI*2*t))*lt(mod(t\\,3)\\,2.4)");
    let cases = [
        ("near", format!("0.9*{syllables}")),
        ("far", format!("0.01*{syllables}+0.0005*(random(0)-0.5)")),
        ("shout", format!("{syllables}*if(between(t\\,4\\,4.4)\\,0.95\\,0.15)")),
        ("pops", format!("0.08*{syllables}+0.9*lt(mod(t\\,1.7)\\,0.004)")),
        ("one side", format!("0.3*{syllables}|0")),
    ];
    for (name, source) in cases {
        let source = format!("aevalsrc={source}:s=48000:d=9");
        let read = media().voice(&sound(folder.path(), "talk.wav", &source, &["-c:a", "pcm_f32le"])).unwrap();
        for target in [-23.0, -16.0] {
            let done = leveled(&read, target).unwrap();
            let (loudness, peak) = metered(folder.path(), &done.samples);
            assert!(
                (loudness - target).abs() <= 0.5,
                "{name} to {target}: {loudness} LUFS for {}, {peak} dBTP",
                done.loudness
            );
            assert!(peak <= -1.0, "{name} to {target}: {peak} dBTP");
            assert!((loudness - done.loudness).abs() <= 0.2, "{name}: told {}, metered {loudness}", done.loudness);
        }
    }
}

#[test]
fn a_mixed_reel_keeps_the_voices_loudness_and_peak() {
    let folder = tempfile::tempdir().unwrap();
    let source = "aevalsrc=0.1*sin(2*PI*300*t)*abs(sin(2*PI*2*t)):s=48000:d=6";
    let path = sound(folder.path(), "talk.wav", source, &[]);
    let voice = Narration::read(&media(), &path, 1.0, -16.0).unwrap();
    // A band plays at full scale, the voice speaks from second 1 to 7.
    let tone = |n: usize| (std::f32::consts::TAU * 1000.0 * n as f32 / RATE as f32).sin();
    let film: Vec<f32> = (0..10 * RATE).flat_map(|n| [tone(n), tone(n)]).collect();
    let mut mixed = film.clone();
    let mut mixer = Mixer::new(vec![voice]);
    let mut first = 0;
    for block in mixed.chunks_mut(1602 * 2) {
        mixer.mix(first, block);
        first += (block.len() / 2) as u64;
    }
    let part = |samples: &[f32], from: usize, to: usize| samples[from * RATE * 2..to * RATE * 2].to_vec();
    let (_, peak) = metered(folder.path(), &part(&mixed, 1, 7));
    assert!(peak <= -1.0, "{peak}");
    // The band by itself under the voice: what is left once the voice is taken out again.
    let mut silent = vec![0.0; mixed.len()];
    let voice = Narration::read(&media(), &path, 1.0, -16.0).unwrap();
    Mixer::new(vec![voice]).mix(0, &mut silent);
    let left: Vec<f32> = mixed.iter().zip(&silent).map(|(a, b)| a - b).collect();
    let (before, _) = metered(folder.path(), &part(&film, 2, 6));
    let (under, _) = metered(folder.path(), &part(&left, 2, 6));
    assert!((11.5..13.5).contains(&(before - under)), "{before} and {under} LUFS");
    assert_eq!(part(&mixed, 8, 10), part(&film, 8, 10));
}

#[test]
fn slowed_sound_keeps_its_pitch_and_has_the_length_asked_for() {
    let tone = |hertz: f32, n: usize| 0.5 * (std::f32::consts::TAU * hertz * n as f32 / RATE as f32).sin();
    let two_seconds: Vec<f32> = (0..2 * RATE).flat_map(|n| [tone(440.0, n), tone(660.0, n)]).collect();
    for rate in [0.1, 0.25, 0.4, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0] {
        let frames = (2.0 * RATE as f64 / rate).round() as usize;
        let out = media().at_tempo(&two_seconds, rate, frames).unwrap();
        assert_eq!(out.len(), frames * 2, "{rate}");
        let end = seconds(&out);
        let left = pitch(&out, 0.1 * end, 0.9 * end);
        let swapped: Vec<f32> = out.chunks_exact(2).flat_map(|pair| [pair[1], pair[0]]).collect();
        let right = pitch(&swapped, 0.1 * end, 0.9 * end);
        assert!((left - 440.0).abs() < 2.0 && (right - 660.0).abs() < 3.0, "{rate}: {left} and {right} Hz");
        let power = |samples: &[f32]| samples.iter().map(|s| s * s).sum::<f32>() / samples.len() as f32;
        for tenth in 0..10 {
            let part = &out[out.len() / 10 * tenth..out.len() / 10 * (tenth + 1)];
            assert!((0.09..0.16).contains(&power(part)), "{rate}, tenth {tenth}: {}", power(part));
        }
    }
    // Any length that is asked for is given, silent past the sound's end.
    let out = media().at_tempo(&two_seconds, 0.5, 5 * RATE).unwrap();
    assert!(out.len() == 10 * RATE && out[9 * RATE..].iter().all(|s| *s == 0.0));
    assert_eq!(media().at_tempo(&two_seconds, 0.5, 1001).unwrap().len(), 2002);
    assert_eq!(media().at_tempo(&[], 0.5, 10).unwrap(), vec![0.0; 20]);
    assert_eq!(media().at_tempo(&two_seconds[..20], 0.3, 33).unwrap().len(), 66);
    let error = media().at_tempo(&two_seconds, 0.05, 10).unwrap_err();
    assert!(error.what.contains("0.05") && error.next.contains("0.1 to 10"), "{error}");
}

#[test]
fn what_happens_in_slowed_sound_happens_when_the_picture_shows_it() {
    // Bursts of 20 ms at .5, 1 and 1.5 s.
    let burst = |n: usize| {
        [0.5, 1.0, 1.5].iter().any(|t| (0..RATE / 50).contains(&(n.wrapping_sub((t * RATE as f64) as usize))))
    };
    let tone = |n: usize| 0.8 * (std::f32::consts::TAU * 1000.0 * n as f32 / RATE as f32).sin();
    let film: Vec<f32> = (0..2 * RATE).flat_map(|n| if burst(n) { [tone(n); 2] } else { [0.0; 2] }).collect();
    for rate in [0.25, 0.5, 2.0] {
        let frames = (2.0 * RATE as f64 / rate) as usize;
        let out = media().at_tempo(&film, rate, frames).unwrap();
        for at in [0.5, 1.0, 1.5] {
            let near = |seconds: f64| {
                let (from, to) = (((seconds - 0.06) * RATE as f64) as usize, ((seconds + 0.1) * RATE as f64) as usize);
                out[from * 2..to * 2].iter().fold(0.0f32, |most, s| most.max(s.abs()))
            };
            assert!(near(at / rate) > 0.2, "{rate}: the burst of {at} s is not heard at {}", at / rate);
            assert!(near((at - 0.25) / rate) < 0.05, "{rate}: something is heard before {at} s");
        }
    }
}
