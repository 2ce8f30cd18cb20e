//! The sound of a step that is slowed and stopped.

use super::pace::Pace;
use super::render::CHANNELS;
use super::script::SoundWay;
use super::sound::SegmentSound;
use super::voice::{EDGE, fade, frames_of};
use crate::base::Result;
use crate::film::{Film, FilmReader, SoundDesk};

/// Speeds this near to the film's own are it.
const SAME: f64 = 1e-3;

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
        let frames = frames_of(end).saturating_sub(first);
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
                source.take(frames_of(length), &mut piece);
                piece = desk.at_tempo(&piece, rate, frames)?;
            }
            broken = broken.or(source.broken);
        }
        piece.resize(frames * CHANNELS, 0.0);
        fade(&mut piece, frames_of(EDGE), true);
        fade(&mut piece, frames_of(EDGE), false);
        sound.extend(piece);
    }
    sound.resize(samples * CHANNELS, 0.0);
    Ok((sound, broken))
}
