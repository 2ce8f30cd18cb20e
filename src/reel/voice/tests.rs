use super::duck::{ATTACK, BREATH, DEPTH, RELEASE};
use super::limit::true_peaks;
use super::*;

const RATE: usize = DESK_RATE as usize;

/// A made voice: so many seconds of syllables, four a second, none where `quiet` says so.
fn spoken(seconds: f64, peak: f32, quiet: impl Fn(f64) -> bool) -> Vec<f32> {
    let frames = frames_of(seconds);
    let wave = |t: f64, f: f64| (std::f64::consts::TAU * f * t).sin();
    (0..frames)
        .flat_map(|n| {
            let t = n as f64 / RATE as f64;
            let syllable = (std::f64::consts::PI * (t * 4.0).fract()).sin().max(0.05);
            let voice = 0.5 * wave(t, 140.0) + 0.3 * wave(t, 560.0) + 0.2 * wave(t, 1820.0);
            let sample = if quiet(t) { 0.0 } else { (syllable * voice) as f32 * peak };
            [sample, sample]
        })
        .collect()
}

fn narration(start: f64, samples: Vec<f32>) -> Narration {
    Narration { start, samples: Arc::new(samples) }
}

/// What the mixer makes of a film that is `film` throughout, in blocks as pictures bring them.
fn mixed(voices: Vec<Narration>, seconds: f64, film: f32) -> Vec<f32> {
    let mut all = vec![film; frames_of(seconds) * CHANNELS];
    let mut mixer = Mixer::new(voices);
    let mut first = 0;
    for block in all.chunks_mut(1601 * CHANNELS) {
        mixer.mix(first, block);
        first += (block.len() / CHANNELS) as u64;
    }
    all
}

fn at(samples: &[f32], seconds: f64) -> f32 {
    samples[frames_of(seconds) * CHANNELS]
}

#[test]
fn the_film_is_lower_while_somebody_speaks_and_breath_does_not_pump() {
    // Speech in 2 to 5 s of the reel with half a second's breath, silence to 8 s, speech to 9 s.
    let quiet = |t: f64| (1.25..1.75).contains(&t) || (3.0..6.0).contains(&t);
    let voice = spoken(7.0, 0.5, quiet);
    let mixer = Mixer::new(vec![narration(2.0, voice)]);
    let gain = |t: f64| mixer.duck.gain(frames_of(t) as u64);
    let low = 10f32.powf(-DEPTH as f32 / 20.0);
    let near = |t: f64, want: f32| assert!((gain(t) - want).abs() < 0.03, "{t} s: {} for {want}", gain(t));
    near(2.0 - ATTACK - 0.03, 1.0);
    near(2.0 - ATTACK / 2.0, low.sqrt());
    [2.0, 2.1, 3.3, 3.5, 3.7, 4.9].into_iter().for_each(|t| near(t, low));
    near(5.0 + RELEASE / 2.0, low.sqrt());
    near(5.0 + RELEASE + 0.05, 1.0);
    near(7.5, 1.0);
    near(8.5, low);
    // In one pass over the reel the gain never leaps.
    let steps = (0..frames_of(11.0) as u64).map(|n| mixer.duck.gain(n));
    let leap = steps.clone().zip(steps.skip(1)).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
    assert!(leap < 2e-4, "{leap}");
}

#[test]
fn a_pause_longer_than_a_breath_lets_the_film_up_again() {
    for (pause, comes_up) in [(BREATH - 0.1, false), (BREATH + 0.5, true)] {
        let voice = spoken(4.0, 0.5, |t| (1.0..1.0 + pause).contains(&t));
        let mixer = Mixer::new(vec![narration(0.0, voice)]);
        let most = (frames_of(1.0)..frames_of(1.0 + pause)).map(|n| mixer.duck.gain(n as u64)).fold(0.0, f32::max);
        assert_eq!(most > 0.5, comes_up, "{pause} s: {most}");
    }
}

#[test]
fn the_room_and_a_click_are_no_speech() {
    let mut voice = spoken(6.0, 0.5, |t| t >= 2.0);
    for (n, frame) in voice.chunks_exact_mut(CHANNELS).enumerate() {
        // A room 45 dB below, and a click of 20 ms.
        let room = if n % 2 == 0 { 0.001 } else { -0.001 };
        let click = if (frames_of(4.0)..frames_of(4.02)).contains(&n) { 0.4 } else { 0.0 };
        frame.iter_mut().for_each(|sample| *sample += room + click);
    }
    let mixer = Mixer::new(vec![narration(0.0, voice)]);
    assert!(mixer.duck.gain(frames_of(1.9) as u64) < 0.3);
    assert_eq!(mixer.duck.gain(frames_of(4.01) as u64), 1.0);
    assert_eq!(mixer.duck.gain(frames_of(5.0) as u64), 1.0);
}

#[test]
fn the_voice_stands_where_it_was_put_and_blocks_make_no_seam() {
    let voice = spoken(1.0, 0.5, |_| false);
    let all = mixed(vec![narration(1.5, voice.clone())], 4.0, 0.0);
    let from = frames_of(1.5) * CHANNELS;
    assert!(all[..from].iter().all(|s| *s == 0.0));
    assert_eq!(all[from..from + voice.len()], voice);
    assert!(all[from + voice.len()..].iter().all(|s| *s == 0.0));
    // In one block, and begun anywhere, it is the same.
    let mut whole = vec![0.1; frames_of(4.0) * CHANNELS];
    Mixer::new(vec![narration(1.5, voice.clone())]).mix(0, &mut whole);
    let pieces = mixed(vec![narration(1.5, voice.clone())], 4.0, 0.1);
    assert_eq!(whole, pieces);
    let late = frames_of(2.0);
    let mut tail = vec![0.1; frames_of(2.0) * CHANNELS];
    Mixer::new(vec![narration(1.5, voice)]).mix(late as u64, &mut tail);
    assert_eq!(tail, pieces[late * CHANNELS..]);
}

#[test]
fn two_voices_at_once_are_both_heard_and_nothing_clips() {
    let loud = |start| narration(start, leveled(&spoken(3.0, 0.9, |_| false), -9.0).unwrap().samples);
    let alone = mixed(vec![loud(0.5)], 6.0, 0.0);
    let both = mixed(vec![loud(0.5), loud(1.5)], 6.0, 0.0);
    let peak = |samples: &[f32]| true_peaks(samples).into_iter().fold(0.0, f32::max);
    assert!(peak(&both) < 0.891, "{}", peak(&both));
    let power = |s: &[f32], a: f64, b: f64| -> f32 {
        s[frames_of(a) * CHANNELS..frames_of(b) * CHANNELS].iter().map(|s| s * s).sum()
    };
    assert!(power(&both, 3.6, 4.4) > 0.5 * power(&alone, 2.6, 3.4), "the second goes on alone");
    assert_eq!(power(&alone, 3.6, 4.4), 0.0);
    // Film at full scale beside a loud voice: the film gives way, the voice does not.
    let film = mixed(vec![loud(0.5)], 6.0, 1.0);
    assert!(
        film.iter().skip(frames_of(0.5) * CHANNELS).take(frames_of(3.0) * CHANNELS).all(|s| s.abs() <= CEILING + 1e-6)
    );
    assert_eq!(at(&film, 5.0), 1.0);
}

#[test]
fn a_voice_longer_than_the_reel_is_cut_with_a_fade_and_told() {
    let voice = spoken(3.0, 0.5, |_| false);
    let voices = || vec![narration(0.0, voice.clone()), narration(1.0, voice.clone()), narration(9.0, voice.clone())];
    let (kept, overruns) = Narration::within(voices(), 3.5);
    assert_eq!(kept.len(), 2);
    assert_eq!((kept[0].clone(), kept[1].seconds()), (voices()[0].clone(), 2.5));
    let told: Vec<_> = overruns.iter().map(|o| (o.voice, (o.lost * 1000.0).round(), o.whole)).collect();
    assert_eq!(told, [(1, 500.0, false), (2, 3000.0, true)]);
    let cut = &kept[1].samples;
    assert!(cut.last().unwrap().abs() < 1e-4);
    assert_eq!(cut[..frames_of(2.0)], voice[..frames_of(2.0)]);
    let (kept, overruns) = Narration::within(voices(), 60.0);
    assert_eq!((kept.len(), overruns.len()), (3, 0));
}

#[test]
fn loudness_comes_to_the_target_from_anywhere() {
    for peak in [0.003, 0.05, 0.9] {
        for target in [-24.0, -16.0] {
            let done = leveled(&spoken(5.0, peak, |t| t % 2.0 > 1.6), target).unwrap();
            assert!((done.loudness - target).abs() < 0.2, "{peak} to {target}: {}", done.loudness);
            let most = true_peaks(&done.samples).into_iter().fold(0.0, f32::max);
            assert!(most <= CEILING * 1.01, "{peak} to {target}: {most}");
        }
    }
    // A word of a fifth of a second is leveled too.
    let word = leveled(&spoken(0.2, 0.1, |_| false), -16.0).unwrap();
    assert!((word.loudness + 16.0).abs() < 0.3, "{}", word.loudness);
    assert_eq!(leveled(&[0.0; 9600], -16.0), None);
    assert_eq!(leveled(&[], -16.0), None);
    assert_eq!(leveled(&spoken(2.0, 1e-5, |_| false), -16.0), None);
}

#[test]
fn one_shout_is_held_down_and_the_talk_around_it_is_not() {
    let mut voice = spoken(8.0, 0.05, |_| false);
    for sample in &mut voice[frames_of(4.0) * CHANNELS..frames_of(4.1) * CHANNELS] {
        *sample *= 18.0;
    }
    let done = leveled(&voice, -16.0).unwrap();
    assert!((done.loudness + 16.0).abs() < 0.3, "{}", done.loudness);
    let gain = |t: f64| {
        let n = frames_of(t) * CHANNELS;
        let (a, b) = (&voice[n..n + 9600], &done.samples[n..n + 9600]);
        (b.iter().map(|s| s * s).sum::<f32>() / a.iter().map(|s| s * s).sum::<f32>()).sqrt()
    };
    assert!((gain(1.0) / gain(6.0) - 1.0).abs() < 0.01, "{} and {}", gain(1.0), gain(6.0));
    assert!(gain(4.0) < 0.8 * gain(1.0));
}

#[test]
fn the_true_peak_of_a_wave_between_its_samples_is_seen() {
    // A quarter of the rate, sampled 45 degrees off its peaks: samples of .707, a wave of 1.
    let wave: Vec<f32> = (0..400)
        .flat_map(|n| {
            let s = (std::f32::consts::FRAC_PI_2 * n as f32 + std::f32::consts::FRAC_PI_4).sin();
            [s, s]
        })
        .collect();
    let peaks = true_peaks(&wave);
    let middle = peaks[100..300].iter().copied().fold(0.0, f32::max);
    assert!((middle - 1.0).abs() < 0.01, "{middle}");
}

struct Files(Vec<f32>);

impl SoundDesk for Files {
    fn voice(&self, path: &Path) -> Result<Vec<f32>> {
        if path == Path::new("talk.wav") {
            return Ok(self.0.clone());
        }
        Err(Error::refused("cannot open the voice", path.display(), "check the path"))
    }

    fn at_tempo(&self, _: &[f32], _: f64, _: usize) -> Result<Vec<f32>> {
        Err(Error::refused("no tempo here", "", ""))
    }
}

#[test]
fn a_voice_is_read_leveled_and_begins_without_a_click() {
    let square: Vec<f32> = (0..2 * RATE).map(|n| if n / 100 % 2 == 0 { 0.1 } else { -0.1 }).collect();
    let read = Narration::read(&Files(square), Path::new("talk.wav"), 2.5, -18.0).unwrap();
    assert_eq!((read.start, read.seconds()), (2.5, 1.0));
    assert!(read.samples[0].abs() < 0.01 && read.samples.last().unwrap().abs() < 0.01);
    let silent = Narration::read(&Files(vec![0.0; 9600]), Path::new("talk.wav"), 0.0, -18.0).unwrap_err();
    assert_eq!((silent.what.as_str(), silent.place.as_str()), ("nothing is heard in the voice", "talk.wav"));
    assert!(Narration::read(&Files(vec![]), Path::new("tlak.wav"), 0.0, -18.0).unwrap_err().place.contains("tlak"));
}
