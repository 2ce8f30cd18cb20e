//! One camera's film, measured and judged.

use std::path::PathBuf;

use super::{Settings, Tools};
use crate::base::Result;
use crate::film::{Angle, Film, Series};
use crate::library::Library;
use crate::plays::{self, Found};
use crate::sense;

/// A camera's film with what was measured and found.
#[derive(Debug, Clone)]
pub struct CameraScan {
    /// The film.
    pub film: Film,
    /// What was measured.
    pub series: Series,
    /// Shots and plays.
    pub found: Found,
}

/// Reads a camera's files and finds its plays. With a library, what was measured before is not measured again.
pub fn scan(
    tools: Tools<'_>,
    files: &[PathBuf],
    angle: Angle,
    settings: &Settings,
    library: Option<&Library>,
) -> Result<CameraScan> {
    let film = tools.reader.read(files, tools.progress)?;
    judge(tools, film, angle, settings, library)
}

/// The same for a film that was read already.
pub fn judge(
    tools: Tools<'_>,
    film: Film,
    angle: Angle,
    settings: &Settings,
    library: Option<&Library>,
) -> Result<CameraScan> {
    let kept = library.and_then(|l| l.load_series(&film.fingerprint(), sense::VERSION));
    let series = match kept {
        Some(series) => series,
        None => {
            let series = sense::measure(tools.reader, &film, tools.progress)?;
            if let Some(library) = library {
                library.save_series(&series)?;
            }
            series
        }
    };
    let found = plays::find(&series, &film, angle, &settings.finder());
    Ok(CameraScan { film, series, found })
}
