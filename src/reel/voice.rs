//! Voices over a reel: brought to one loudness, laid at their times, the film's sound lower while somebody speaks.

use std::path::Path;
use std::sync::Arc;

use crate::base::{Error, Result};
use crate::film::{DESK_RATE, SoundDesk};

mod duck;
mod level;
mod limit;

pub use level::{Leveled, leveled};

use duck::Duck;
use limit::{CEILING, limited};

/// Channels of a reel's sound.
const CHANNELS: usize = super::render::CHANNELS;

/// Seconds in which a voice is faded where it is cut at the reel's end: no click, and no word swallowed \[practice\].
const CUT_FADE: f64 = 0.15;

/// Seconds in which a voice, or a stretch of film's sound, begins and ends, so that what is cut within a sound does not click
/// \[practice\].
pub(super) const EDGE: f64 = 0.005;

/// How fast the film's sound comes back after it had to give way to a peak of a voice, seconds.
const GIVE_BACK: f32 = 0.1;

/// From here on it is back: the step is -60 dB.
const WHOLE: f32 = 0.999;

/// One voice, ready to be heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Narration {
    /// Seconds of the reel at which it begins.
    pub start: f64,
    /// Leveled, 48 kHz, left and right in turn.
    pub samples: Arc<Vec<f32>>,
}

/// What of a voice is not heard, because the reel ends before.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Overrun {
    /// Which voice, in the order given.
    pub voice: usize,
    /// Seconds that are cut off.
    pub lost: f64,
    /// Whether nothing of it is heard.
    pub whole: bool,
}

impl Narration {
    /// Reads a voice and brings it to `loudness`, LUFS.
    ///
    /// # Errors
    /// The file cannot be read, or nothing is heard in it.
    pub fn read(desk: &dyn SoundDesk, path: &Path, start: f64, loudness: f64) -> Result<Self> {
        let mut samples = desk.voice(path)?;
        let edge = frames_of(EDGE);
        fade(&mut samples, edge, true);
        fade(&mut samples, edge, false);
        let Some(leveled) = leveled(&samples, loudness) else {
            let next = "check the microphone, and record it again";
            return Err(Error::refused("nothing is heard in the voice", path.display(), next));
        };
        Ok(Self { start, samples: Arc::new(leveled.samples) })
    }

    /// Its length in seconds.
    pub fn seconds(&self) -> f64 {
        (self.samples.len() / CHANNELS) as f64 / f64::from(DESK_RATE)
    }

    /// The sample of the reel at which it begins.
    fn first(&self) -> u64 {
        (self.start.max(0.0) * f64::from(DESK_RATE)).round() as u64
    }

    /// The sample of the reel after its last.
    fn end(&self) -> u64 {
        self.first() + (self.samples.len() / CHANNELS) as u64
    }

    /// Cuts the voices that are longer than a reel of `seconds`, with a short fade; tells what is lost.
    pub fn within(voices: Vec<Self>, seconds: f64) -> (Vec<Self>, Vec<Overrun>) {
        let end = (seconds.max(0.0) * f64::from(DESK_RATE)).round() as u64;
        let (mut kept, mut overruns) = (Vec::new(), Vec::new());
        for (voice, narration) in voices.into_iter().enumerate() {
            if narration.end() <= end {
                kept.push(narration);
                continue;
            }
            let heard = end.saturating_sub(narration.first()) as usize;
            let lost = (narration.end() - end.max(narration.first())) as f64 / f64::from(DESK_RATE);
            overruns.push(Overrun { voice, lost, whole: heard == 0 });
            if heard > 0 {
                let mut samples = narration.samples[..heard * CHANNELS].to_vec();
                fade(&mut samples, frames_of(CUT_FADE), false);
                kept.push(Self { start: narration.start, samples: Arc::new(samples) });
            }
        }
        (kept, overruns)
    }
}

/// Pairs of samples of so many seconds.
pub(super) fn frames_of(seconds: f64) -> usize {
    (seconds * f64::from(DESK_RATE)).round() as usize
}

/// Fades the first or the last `frames` from or to silence, as a raised cosine.
pub(super) fn fade(samples: &mut [f32], frames: usize, opening: bool) {
    let all = samples.len() / CHANNELS;
    let frames = frames.min(all);
    for n in 0..frames {
        let gain = 0.5 - 0.5 * (std::f32::consts::PI * (n as f32 + 0.5) / frames as f32).cos();
        let at = if opening { n } else { all - 1 - n };
        samples[at * CHANNELS..(at + 1) * CHANNELS].iter_mut().for_each(|sample| *sample *= gain);
    }
}

/// Lays voices over the sound of a reel, block after block.
pub struct Mixer {
    /// Voices that overlap are one here; in order, apart from each other.
    voices: Vec<Laid>,
    duck: Duck,
    /// Gain of the film's sound beside peaks of the voices, and the sample it is valid for.
    beside: f32,
    next: u64,
}

/// A stretch of voice: its first sample in the reel, and its samples.
struct Laid {
    first: u64,
    samples: Arc<Vec<f32>>,
}

impl Laid {
    fn end(&self) -> u64 {
        self.first + (self.samples.len() / CHANNELS) as u64
    }
}

impl Mixer {
    /// Of these voices. Where two are heard at once both are, below the peak that one alone is held to.
    pub fn new(mut voices: Vec<Narration>) -> Self {
        voices.retain(|voice| voice.samples.len() >= CHANNELS);
        voices.sort_by_key(Narration::first);
        let duck = Duck::of(voices.iter().map(|voice| (voice.first(), voice.samples.as_slice())));
        let mut laid: Vec<Laid> = Vec::new();
        let mut rest = voices.as_slice();
        while let [one, more @ ..] = rest {
            let mut end = one.end();
            let together = more.iter().take_while(|next| {
                let overlaps = next.first() < end;
                end = if overlaps { end.max(next.end()) } else { end };
                overlaps
            });
            let number = 1 + together.count();
            laid.push(if number == 1 {
                Laid { first: one.first(), samples: one.samples.clone() }
            } else {
                summed(&rest[..number])
            });
            rest = &rest[number..];
        }
        Self { voices: laid, duck, beside: 1.0, next: 0 }
    }

    /// Lays the voices over `samples`, left and right in turn, the first of which is the reel's sample `first_sample`.
    pub fn mix(&mut self, first_sample: u64, samples: &mut [f32]) {
        if first_sample != self.next {
            self.beside = 1.0;
        }
        let frames = (samples.len() / CHANNELS) as u64;
        self.next = first_sample + frames;
        let mut at = self.voices.partition_point(|voice| voice.end() <= first_sample);
        let back = 1.0 / (GIVE_BACK * DESK_RATE as f32);
        for (n, frame) in samples.chunks_exact_mut(CHANNELS).enumerate() {
            let now = first_sample + n as u64;
            while self.voices.get(at).is_some_and(|voice| voice.end() <= now) {
                at += 1;
            }
            let voice = self.voices.get(at).filter(|voice| voice.first <= now);
            let spoken: [f32; CHANNELS] = voice.map_or([0.0; CHANNELS], |voice| {
                let from = (now - voice.first) as usize * CHANNELS;
                [voice.samples[from], voice.samples[from + 1]]
            });
            let duck = self.duck.gain(now);
            // The voice is not touched: what does not fit beside it goes from the film's sound.
            let room = frame.iter().zip(&spoken).map(|(film, said)| {
                let film = film.abs() * duck;
                let left = (CEILING - said.abs()).max(0.0);
                if voice.is_some() && film > left { left / film } else { 1.0 }
            });
            let fits = room.fold(1.0, f32::min);
            let come_back = self.beside + (1.0 - self.beside) * back;
            self.beside = if come_back > WHOLE { 1.0 } else { come_back }.min(fits);
            for (sample, said) in frame.iter_mut().zip(&spoken) {
                *sample = *sample * duck * self.beside + said;
            }
        }
    }
}

/// Voices that overlap, as one.
fn summed(voices: &[Narration]) -> Laid {
    let first = voices.iter().map(Narration::first).min().unwrap_or(0);
    let end = voices.iter().map(Narration::end).max().unwrap_or(first);
    let mut samples = vec![0.0; (end - first) as usize * CHANNELS];
    for voice in voices {
        let from = (voice.first() - first) as usize * CHANNELS;
        for (to, sample) in samples[from..].iter_mut().zip(voice.samples.iter()) {
            *to += sample;
        }
    }
    Laid { first, samples: Arc::new(limited(&samples)) }
}

#[cfg(test)]
mod tests;
