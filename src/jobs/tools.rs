//! What every job is handed: the codec room behind its traits, and whom to tell.

use crate::base::Progress;
use crate::film::{FilmReader, FilmWriter, SoundDesk};

/// The tools of a job.
#[derive(Clone, Copy)]
pub struct Tools<'a> {
    /// Opens films.
    pub reader: &'a dyn FilmReader,
    /// Writes clips and reels.
    pub writer: &'a dyn FilmWriter,
    /// Reads voices and slows sound.
    pub desk: &'a dyn SoundDesk,
    /// Hears of progress and warnings.
    pub progress: &'a dyn Progress,
}
