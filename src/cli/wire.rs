//! The one place that hands the codec room to the rest.

use crate::base::{Progress, Result};
use crate::jobs::{Settings, Tools};
use crate::media::Media;

/// Starts the codec library and lends its traits to `work`. Clips are encoded as the settings say.
pub fn with_tools<T>(
    progress: &dyn Progress,
    settings: &Settings,
    work: impl FnOnce(Tools<'_>) -> Result<T>,
) -> Result<T> {
    let mut media = Media::new()?;
    media.preset.clone_from(&settings.clip.preset);
    media.crf = settings.clip.crf;
    work(Tools { reader: &media, writer: &media, desk: &media, progress })
}
