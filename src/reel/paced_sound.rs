//! The sound of a step that is slowed and stopped.

use super::pace::Pace;
use super::render::CHANNELS;
use super::schedule::SOUND_RATE;
use super::script::SoundWay;
use super::sound::SegmentSound;
use crate::base::Result;
use crate::film::{Film, FilmReader, SoundDesk};

/// Speeds this near to the film's own are it.
const SAME: f64 = 1e-3;
/// Where a stretch of sound begins or ends in silence it is faded over so many samples (5 ms), or it would click.
const FADE: usize = 240;

/// The sound of a pace, `samples` sample frames, interleaved; and why it broke off, where it did. Where the picture stands it
/// is silent; where it is slowed or hastened too, unless it is to be slowed with it.
///
/// # Errors
/// The codec library cannot change the tempo.
pub(super) fn paced(
    (reader, desk): (&dyn FilmReader, &dyn SoundDesk),
    film: &Film,
    (pace, way): (&Pace, SoundWay),
    samples: usize,
) -> Result<(Vec<f32>, Option<String>)> {
    let mut sound = Vec::with_capacity(samples * CHANNELS);
    let mut broken = None;
    let mut end = 0.0;
    for (span, seconds) in pace.pieces() {
        let first = sound.len() / CHANNELS;
        end += seconds;
        let frames = ((end * f64::from(SOUND_RATE)).round() as usize).saturating_sub(first);
        let length = span.end - span.start;
        let rate = if seconds > 0.0 { length / seconds } else { 0.0 };
        let plain = (rate - 1.0).abs() < SAME;
        let heard = way != SoundWay::Off && rate > 0.0 && (plain || way == SoundWay::Slowed);
        let mut piece = Vec::new();
        if heard {
            let mut source = SegmentSound::open(reader, film, span.start);
            if plain {
                source.take(frames, &mut piece);
            } else {
                source.take((length * f64::from(SOUND_RATE)).round() as usize, &mut piece);
                piece = desk.at_tempo(&piece, rate, frames)?;
            }
            broken = broken.or(source.broken);
        }
        piece.resize(frames * CHANNELS, 0.0);
        fade(&mut piece);
        sound.extend(piece);
    }
    sound.resize(samples * CHANNELS, 0.0);
    Ok((sound, broken))
}

/// Fades a stretch in and out.
fn fade(piece: &mut [f32]) {
    let frames = piece.len() / CHANNELS;
    let over = FADE.min(frames / 2);
    for k in 0..over {
        let share = k as f32 / over as f32;
        for channel in 0..CHANNELS {
            piece[k * CHANNELS + channel] *= share;
            piece[(frames - 1 - k) * CHANNELS + channel] *= share;
        }
    }
}
