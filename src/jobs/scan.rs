//! One camera's film, measured and judged.

use std::path::PathBuf;

use super::{Settings, Tools};
use crate::base::Result;
use crate::film::{Angle, Film, Series};
use crate::library::Library;
use crate::plays::{self, Found};
use crate::sense;

/// A camera's film and what was found in it.
#[derive(Debug, Clone)]
pub struct CameraScan {
    /// The film; its problems hold also what the decoder met.
    pub film: Film,
    /// Shots and plays.
    pub found: Found,
}

/// Reads a camera's files and finds its plays.
///
/// # Errors
/// No film, or none that can be read at all; `Interrupted` if a stop is asked for.
pub fn scan(tools: Tools<'_>, files: &[PathBuf], angle: Angle, settings: &Settings) -> Result<CameraScan> {
    let film = tools.reader.read(files, tools.progress)?;
    judge(tools, film, angle, settings, None, false)
}

/// Finds the plays of a film that was read. What the library has measured before is not measured again; what is measured
/// now is kept in it if `keep`.
pub(super) fn judge(
    tools: Tools<'_>,
    film: Film,
    angle: Angle,
    settings: &Settings,
    library: Option<&Library>,
    keep: bool,
) -> Result<CameraScan> {
    let kept = library.and_then(|l| l.load_series(&film.fingerprint(), sense::VERSION));
    let series = match kept {
        Some(series) => series,
        None => {
            let series = sense::measure(tools.reader, &film, tools.progress)?;
            if let Some(library) = library.filter(|_| keep) {
                library.save_series(&series)?;
            }
            series
        }
    };
    Ok(judged(film, &series, angle, settings))
}

/// Finds the plays of a film by what was measured over it.
pub(super) fn judged(mut film: Film, series: &Series, angle: Angle, settings: &Settings) -> CameraScan {
    for problem in &series.damage {
        if !film.problems.contains(problem) {
            film.problems.push(problem.clone());
        }
    }
    let found = plays::find(series, &film, angle, &settings.spans(false));
    CameraScan { film, found }
}
