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
    let series = measured(tools, &film, None, false)?;
    Ok(judged(film, &series, angle, settings))
}

/// What is measured over a film: kept by the library, or measured now and kept if `keep`.
pub(super) fn measured(tools: Tools<'_>, film: &Film, library: Option<&Library>, keep: bool) -> Result<Series> {
    if let Some(series) = library.and_then(|l| l.load_series(&film.fingerprint(), sense::VERSION)) {
        return Ok(series);
    }
    let series = sense::measure(tools.reader, film, tools.progress)?;
    if let Some(library) = library.filter(|_| keep) {
        library.save_series(&series)?;
    }
    Ok(series)
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
