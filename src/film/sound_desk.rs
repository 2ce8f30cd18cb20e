//! What is done to sound by itself.

use std::path::Path;

use crate::base::Result;

/// Samples a second of the sound that reels are made of.
pub const DESK_RATE: u32 = 48_000;

/// Reads voices and changes the tempo of sound. Implemented by the media room. All samples are 32-bit floats at
/// [`DESK_RATE`], left and right in turn.
pub trait SoundDesk: Sync {
    /// The whole of a sound file: WAV, M4A, MP3, whatever the codec library opens; of a film, its sound.
    ///
    /// # Errors
    /// A file that is not there, is no sound, has none in it, cannot be decoded here, ends before it says, or is longer
    /// than [`VOICE_MOST`].
    fn voice(&self, path: &Path) -> Result<Vec<f32>>;

    /// The same sound in another tempo at its own pitch: `rate` times as fast, .1 to 10. Gives `frames` pairs of samples;
    /// what the tempo leaves short of that is silent, what is over is cut (both are rounding where `frames` is the
    /// length by the rate).
    ///
    /// # Errors
    /// A rate outside of that; a codec library without the filter.
    fn at_tempo(&self, samples: &[f32], rate: f64, frames: usize) -> Result<Vec<f32>>;
}

/// Most seconds of a voice: a teaching reel has minutes, and the whole voice is held in memory (460 MB at this length).
pub const VOICE_MOST: f64 = 1200.0;
