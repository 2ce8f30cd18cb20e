//! The one place that hands the codec room to the rest.

use crate::base::Result;
use crate::film::FilmReader;
use crate::media::Media;

/// Starts the codec library and lends its reader to `work`.
pub fn with_reader<T>(work: impl FnOnce(&dyn FilmReader) -> Result<T>) -> Result<T> {
    let media = Media::new()?;
    work(&media)
}
