//! The main job in steps, for whoever does a night's work: each can be done by itself, again, and after a break. What the
//! steps leave in the library is what [`super::cut`] leaves.

use std::path::PathBuf;

use super::clips::{Which, cut_clips};
use super::ingest::{Placed, Stand, joined, open_sheet, placed};
use super::kept::{Kept, measured};
use super::matching::TagSheet;
use super::scan::judged;
use super::{Config, CutAsk, CutDone, Tools};
use crate::base::{Error, Problem, Result, go_on};
use crate::film::{Angle, Film};
use crate::library::{GameIn, Library, PartFound};
use crate::plays;

/// What a camera's files hold.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CameraRead {
    /// How many of them can be read.
    pub parts: usize,
    /// Length of the film, seconds.
    pub seconds: f64,
    /// What is wrong with them.
    pub problems: Vec<Problem>,
}

/// Opens a camera's files as far as they go.
///
/// # Errors
/// None of them can be read.
pub fn read_camera(tools: Tools<'_>, files: &[PathBuf]) -> Result<CameraRead> {
    let film = tools.reader.read(files, tools.progress)?;
    go_on(tools.progress, "reading the films")?;
    Ok(CameraRead { parts: film.parts.len(), seconds: seconds(&film), problems: film.problems })
}

fn seconds(film: &Film) -> f64 {
    film.parts.iter().map(crate::film::Part::seconds).sum()
}

/// What was measured of a camera.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CameraMeasured {
    /// Length of the film, seconds.
    pub seconds: f64,
    /// How many plays it shows.
    pub plays: usize,
    /// How near the men are in its plays, as [`plays::nearness`] has it.
    pub nearness: Option<f64>,
}

/// Measures a camera's film into the library's measurements. Nothing else is written, so that the library may be open to
/// read only; what is measured already is not measured again, also where the film has grown by further parts since.
///
/// # Errors
/// The film cannot be read; it went away meanwhile; a stop: what was measured until then is kept.
pub fn measure_camera(
    tools: Tools<'_>,
    config: &Config,
    library: &Library,
    (name, files): (&str, &[PathBuf]),
) -> Result<CameraMeasured> {
    let film = tools.reader.read(files, tools.progress)?;
    go_on(tools.progress, "reading the films")?;
    let series = measured(tools, &film, name, Some(&Kept::library(library, true)))?;
    let length = seconds(&film);
    let found = judged(film, &series, Angle::named(name), &config.settings).found;
    let nearness = plays::nearness(&series, &found);
    Ok(CameraMeasured { seconds: length, plays: found.plays.len(), nearness })
}

/// Brings the cameras' plays together and puts them into the library. The sheets of `ask` are not looked at. Where the
/// library has a game of that name and another day, this one is named with its day: a staff meets an opponent twice.
///
/// # Errors
/// Those of [`super::cut`] that are about films. Without a play `plays` is 0, and nothing is put into the library.
pub fn place_plays(tools: Tools<'_>, config: &Config, library: &mut Library, ask: &CutAsk) -> Result<CutDone> {
    let mut ask = ask.clone();
    if let (Err(_), Some(date)) = (library.check_game(&ask.game), &ask.game.date) {
        let dated = GameIn { name: format!("{} {date}", ask.game.name), ..ask.game.clone() };
        if library.check_game(&dated).is_ok() {
            ask.game = dated;
        }
    }
    match placed(tools, config, library, &ask)? {
        Placed::Nothing(done) => Ok(*done),
        Placed::There(Stand { game, problems, .. }) => {
            let plays = library.play_shots(&game)?.len();
            let cameras = library.camera_films(&game)?.into_iter().map(|camera| camera.camera).collect();
            Ok(CutDone { game, cameras, plays, problems, ..CutDone::default() })
        }
    }
}

/// Reads the sheets of `ask` and puts their rows into the library; gives how many there are and what is wrong in them.
///
/// # Errors
/// A sheet cannot be read as one; the game is not in the library.
pub fn read_sheet(config: &Config, library: &mut Library, ask: &CutAsk) -> Result<(usize, Vec<Problem>)> {
    let Some(sheet) = open_sheet(config, ask)? else {
        return Err(Error::refused("no tag sheet is named", &ask.game.name, "name it with --sheet"));
    };
    let game = library.check_game(&ask.game)?;
    library.put_rows(&game, &sheet.path, &sheet.rows_in())?;
    Ok((sheet.rows.len(), sheet.problems))
}

/// Joins the rows that the library has of a game to its plays; without rows it tells what is to be checked all the same.
///
/// # Errors
/// The game is not in the library; the disk.
pub fn join_rows(library: &mut Library, ask: &CutAsk) -> Result<CutDone> {
    let game = library.check_game(&ask.game)?;
    let sheet = TagSheet::kept(library, &game)?;
    joined(library, ask, &mut Stand { game, sheet, ..Stand::default() })
}

/// What came of a game's clips.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ClipsCut {
    /// Clips that lie in the library.
    pub there: usize,
    /// Those of them that were cut now.
    pub new: usize,
    /// What could not be cut, and why.
    pub problems: Vec<Problem>,
}

/// Cuts the clips of a game that are not there yet.
///
/// # Errors
/// A full disk; a stop; clips that are still to be cut while a film is away: what was cut until then is kept.
pub fn cut_missing(tools: Tools<'_>, config: &Config, library: &mut Library, game: &str) -> Result<ClipsCut> {
    let mut problems = Vec::new();
    let clips = cut_clips(tools, config, library, game, Which::Missing, &Default::default(), &mut problems)?;
    let wanted: usize = library.play_shots(game)?.iter().map(|play| play.shots.len()).sum();
    let missing = wanted.saturating_sub(clips.there);
    let parts = library.camera_films(game)?.into_iter().flat_map(|camera| camera.parts);
    let away = |part: &PartFound| std::fs::metadata(&part.path).map_or(true, |file| file.len() != part.bytes);
    if let (true, Some(part)) = (missing > 0, parts.into_iter().find(away)) {
        let what = format!("{missing} clips are still to be cut, and their film is away");
        return Err(Error::failed(what, part.path.display(), "put the film back where it was"));
    }
    Ok(ClipsCut { there: clips.there, new: clips.cut, problems })
}
