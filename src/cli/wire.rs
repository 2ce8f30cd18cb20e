//! The one place that hands the codec room to the rest.

use crate::base::{Progress, Result};
use crate::jobs::Tools;
use crate::media::Media;

/// Starts the codec library and lends its traits to `work`.
pub fn with_tools<T>(progress: &dyn Progress, work: impl FnOnce(Tools<'_>) -> Result<T>) -> Result<T> {
    let media = Media::new()?;
    work(Tools { reader: &media, writer: &media, progress })
}
