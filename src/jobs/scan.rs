//! One camera's film, measured and judged.

use std::path::PathBuf;

use super::kept::{Kept, measured};
use super::{Settings, Tools};
use crate::base::{Result, go_on};
use crate::film::{Angle, Film, Series};
use crate::plays::{self, Found};

/// A camera's film and what was found in it.
#[derive(Debug, Clone)]
pub struct CameraScan {
    /// The film; its problems hold also what the decoder met.
    pub film: Film,
    /// Shots and plays.
    pub found: Found,
}

/// Reads a camera's files and finds its plays. What `kept` has of them is not measured again.
///
/// # Errors
/// No film, or none that can be read at all; `Interrupted` if a stop is asked for.
pub fn scan(
    tools: Tools<'_>,
    files: &[PathBuf],
    angle: Angle,
    settings: &Settings,
    kept: Option<&Kept>,
) -> Result<CameraScan> {
    scan_with_series(tools, files, angle, settings, kept).map(|(scan, _)| scan)
}

/// The same with what was measured.
pub(super) fn scan_with_series(
    tools: Tools<'_>,
    files: &[PathBuf],
    angle: Angle,
    settings: &Settings,
    kept: Option<&Kept>,
) -> Result<(CameraScan, Series)> {
    let film = tools.reader.read(files, tools.progress)?;
    go_on(tools.progress, "reading the film")?;
    let series = measured(tools, &film, "", kept)?;
    Ok((judged(film, &series, angle, settings), series))
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
