//! The main job: a game's films and sheet into the library.

use std::collections::BTreeMap;
use std::path::PathBuf;

use super::clips::{Which, cut_clips, planned};
use super::joining::{Joined, to_check};
use super::matching::TagSheet;
use super::play_facts::Reference;
use super::survey::{Survey, survey};
use super::{Config, Tools};
use crate::base::{Error, Problem, Result};
use crate::film::Film;
use crate::library::{CameraShot, GameIn, Library, PlayIn, PlayShots, SheetLine};
use crate::sheet::{MatchSettings, give_ball};

/// What is to be cut.
#[derive(Debug, Clone, Default)]
pub struct CutAsk {
    /// The game.
    pub game: GameIn,
    /// Cameras by name, each with its files or folders. Those that the library has already need not be named again.
    pub cameras: Vec<(String, Vec<PathBuf>)>,
    /// Files or folders of one film that holds the sideline and the end-zone camera's shots in turn.
    pub woven: Vec<PathBuf>,
    /// The tag sheet; several in the game's order, where each half has its own.
    pub sheets: Vec<PathBuf>,
    /// Our team and the other, where the sheet says only whose unit is on the field.
    pub teams: Option<(String, String)>,
    /// Seconds by which the sheet's times run late, where a person knows better than the fit.
    pub offset: Option<f64>,
    /// How much faster the sheet's times run than the film, likewise: .001 is a second in a thousand.
    pub drift: Option<f64>,
    /// Whether a film that changed under the same name takes the place of the old one.
    pub replace: bool,
}

/// A play that a person should look at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToCheck {
    /// Its label.
    pub label: String,
    /// Why.
    pub why: String,
}

/// What came of it.
#[derive(Debug, Default)]
pub struct CutDone {
    /// The name the game goes by.
    pub game: String,
    /// Its cameras, the sideline first.
    pub cameras: Vec<String>,
    /// How many plays it has.
    pub plays: usize,
    /// How many rows the sheet has.
    pub rows: usize,
    /// How many of them were joined to a play.
    pub matched: usize,
    /// How many clips lie in the library.
    pub clips: usize,
    /// How many of them were cut this time.
    pub new_clips: usize,
    /// Plays to look at, in film order.
    pub to_check: Vec<ToCheck>,
    /// What was wrong in films and sheet, and what was not joined.
    pub problems: Vec<Problem>,
    /// Typed time less film time at the film's start, seconds, where times were used.
    pub offset: Option<f64>,
    /// How much faster the typed times run than the film.
    pub drift: Option<f64>,
    /// What would be cut, one line a clip, where nothing was to be written.
    pub planned: Vec<String>,
    /// Frames of those clips that would be copied.
    pub frames_copied: u64,
    /// Frames of those clips that would be encoded anew.
    pub frames_encoded: u64,
}

/// Cuts a game into the library. Repeats nothing that is done; what was interrupted goes on.
///
/// # Errors
/// No camera, no film in one, a film that changed, a sheet without a usable column, a full disk: see each. What is
/// refused is refused before anything is measured. A game in which no play is found is not put into the library, and
/// comes back with `plays` 0.
pub fn cut(tools: Tools<'_>, config: &Config, library: &mut Library, ask: &CutAsk) -> Result<CutDone> {
    let sheet = open_sheet(config, ask)?;
    if ask.cameras.is_empty() && ask.woven.is_empty() {
        if sheet.is_none() || library.play_shots(&ask.game.name)?.is_empty() {
            return Err(no_camera(ask));
        }
        let game = library.check_game(&ask.game)?;
        return finish(tools, config, library, ask, Stand { game, sheet, ..Stand::default() });
    }
    match placed(tools, config, library, ask)? {
        Placed::Nothing(done) => Ok(*done),
        Placed::There(stand) => finish(tools, config, library, ask, Stand { sheet, ..stand }),
    }
}

/// What came of looking at the films.
pub(super) enum Placed {
    /// No play is in them, and nothing was put into the library.
    Nothing(Box<CutDone>),
    /// The plays are in the library.
    There(Stand),
}

/// Finds the plays of the films named and puts them into the library; the sheet is left to the caller.
pub(super) fn placed(tools: Tools<'_>, config: &Config, library: &mut Library, ask: &CutAsk) -> Result<Placed> {
    let Survey { game, cameras, plays, mut problems } = survey(tools, ask, &config.settings, Some(library), true)?;
    if plays.is_empty() {
        let names = cameras.into_iter().map(|c| c.name).collect();
        return Ok(Placed::Nothing(Box::new(nothing_found(game, names, problems))));
    }
    library.put_game(&GameIn { name: game.clone(), ..ask.game.clone() })?;
    for camera in cameras.iter().filter(|c| c.given) {
        library.save_film(&camera.film)?;
        library.put_camera(&game, &camera.name, &camera.film, ask.replace)?;
    }
    let placed = library.put_plays(&game, &plays)?;
    for label in placed.gone {
        let what = "was found before and is not found any more; its clips stay on the disk, outside every answer";
        problems.push(Problem::new(format!("play {label}"), what));
    }
    let films = cameras.into_iter().filter(|c| c.there).map(|c| (c.name, c.film)).collect();
    Ok(Placed::There(Stand { game, films, sheet: None, problems }))
}

/// How far a game has come before its rows are joined and its clips cut.
#[derive(Default)]
pub(super) struct Stand {
    /// The name the game goes by.
    pub game: String,
    /// Films at hand, by camera.
    pub films: BTreeMap<String, Film>,
    /// The sheet, where one was read now.
    pub sheet: Option<TagSheet>,
    /// What was met on the way.
    pub problems: Vec<Problem>,
}

/// Joins the rows, cuts the clips, tells what came of it.
fn finish(tools: Tools<'_>, config: &Config, library: &mut Library, ask: &CutAsk, mut stand: Stand) -> Result<CutDone> {
    let mut done = joined(library, ask, &mut stand)?;
    let Stand { game, films, .. } = &stand;
    let clips = cut_clips(tools, config, library, game, Which::Missing, films, &mut done.problems)?;
    (done.clips, done.new_clips) = (clips.there, clips.cut);
    Ok(done)
}

/// Joins the rows of the sheet, read now or kept, to the plays that the library has of the game.
pub(super) fn joined(library: &mut Library, ask: &CutAsk, stand: &mut Stand) -> Result<CutDone> {
    let (game, mut problems) = (stand.game.clone(), std::mem::take(&mut stand.problems));
    let settings = match_settings(Some(library), &game, ask)?;
    let sheet = match stand.sheet.take() {
        Some(sheet) => {
            library.put_rows(&game, &sheet.path, &sheet.rows_in())?;
            Some(sheet)
        }
        None => TagSheet::kept(library, &game)?,
    };
    let plays = library.play_shots(&game)?;
    let reference = Reference::of(library, &game, &stand.films)?;
    let mut done = CutDone { game: game.clone(), plays: plays.len(), ..CutDone::default() };
    let mut joined = Joined::default();
    if let Some(sheet) = &sheet {
        problems.extend(sheet.problems.iter().cloned());
        let pins = library.pins(&game)?;
        joined = Joined::of(sheet, &plays, &reference, &pins, &settings);
        library.put_sheet_line(&game, settings.offset, settings.drift)?;
        library.put_matches(&game, &joined.matches(sheet, &plays))?;
        joined.tell(sheet, &plays, &mut problems, &mut done);
    }
    done.to_check = to_check(&plays, &joined, sheet.as_ref());
    done.cameras = reference.cameras;
    done.problems = problems;
    Ok(done)
}

/// Does all that [`cut`] does up to the plans, and writes nothing. `library` is the one that would be written to, where
/// there is one. A play that is not in it yet goes by its number in the film.
pub fn plan_cut(tools: Tools<'_>, config: &Config, library: Option<&Library>, ask: &CutAsk) -> Result<CutDone> {
    let sheet = open_sheet(config, ask)?;
    let stands = library.map_or(Ok(Vec::new()), |library| library.play_shots(&ask.game.name))?;
    if ask.cameras.is_empty() && ask.woven.is_empty() && (sheet.is_none() || stands.is_empty()) {
        return Err(no_camera(ask));
    }
    let Survey { game, cameras, plays, mut problems } = survey(tools, ask, &config.settings, library, false)?;
    let names: Vec<String> = cameras.iter().map(|c| c.name.clone()).collect();
    if plays.is_empty() {
        return Ok(nothing_found(game, names, problems));
    }
    let known = |play: &PlayIn| {
        let same = |a: &CameraShot, b: &CameraShot| a.camera == b.camera && a.span == b.span;
        let old = stands.iter().find(|old| play.shots.iter().any(|s| old.shots.iter().any(|o| same(s, o))));
        old.map(|old| old.label.clone())
    };
    let labels: Vec<Option<String>> = plays.iter().map(known).collect();
    let mut done = CutDone { game: game.clone(), plays: plays.len(), ..CutDone::default() };
    for camera in cameras.iter().filter(|c| c.given) {
        let numbered = plays.iter().zip(&labels).zip(1..);
        let shots: Vec<_> = numbered
            .filter_map(|((play, label), number)| {
                let shot = play.shots.iter().find(|shot| shot.camera == camera.name)?;
                Some((label.clone(), number, shot))
            })
            .collect();
        let clips = planned(tools, &config.settings, library, &game, &camera.film, &shots)?;
        done.planned.extend(clips.lines);
        done.frames_copied += clips.copied;
        done.frames_encoded += clips.encoded;
    }
    let labeled: Vec<PlayShots> = plays
        .into_iter()
        .zip(labels)
        .enumerate()
        .map(|(n, (play, label))| PlayShots {
            label: label.unwrap_or_else(|| format!("new {}", n + 1)),
            shots: play.shots,
            doubt: play.doubt,
        })
        .collect();
    let mut joined = Joined::default();
    let settings = match_settings(library, &game, ask)?;
    let sheet = match (sheet, library) {
        (None, Some(library)) if !stands.is_empty() => TagSheet::kept(library, &game)?,
        (sheet, _) => sheet,
    };
    if let Some(sheet) = &sheet {
        problems.extend(sheet.problems.iter().cloned());
        let mut cameras = cameras;
        let series = cameras.first_mut().and_then(|camera| camera.series.take());
        let films = cameras.into_iter().map(|c| (c.name, c.film)).collect();
        let pins = match library {
            Some(library) if !stands.is_empty() => library.pins(&game)?,
            _ => Vec::new(),
        };
        joined = Joined::of(sheet, &labeled, &Reference::first(&names, &films, series), &pins, &settings);
        joined.tell(sheet, &labeled, &mut problems, &mut done);
    }
    done.to_check = to_check(&labeled, &joined, sheet.as_ref());
    done.cameras = names;
    done.problems = problems;
    Ok(done)
}

/// The offset and drift that count: those given now, else those a person gave before for the same sheet.
fn match_settings(library: Option<&Library>, game: &str, ask: &CutAsk) -> Result<MatchSettings> {
    let mut settings = MatchSettings { offset: ask.offset, drift: ask.drift };
    let Some(SheetLine { path, offset, drift }) = library.map_or(Ok(None), |library| library.sheet_line(game))? else {
        return Ok(settings);
    };
    let same = |sheet: &PathBuf| std::path::absolute(sheet).is_ok_and(|sheet| sheet == path);
    if ask.sheets.first().is_none_or(same) {
        settings.offset = settings.offset.or(offset);
        settings.drift = settings.drift.or(drift);
    }
    Ok(settings)
}

pub(super) fn open_sheet(config: &Config, ask: &CutAsk) -> Result<Option<TagSheet>> {
    let mut sheet = TagSheet::open(&ask.sheets, config)?;
    if let (Some(sheet), Some((we, they))) = (&mut sheet, &ask.teams) {
        give_ball(&mut sheet.rows, we, they);
    }
    Ok(sheet)
}

fn no_camera(ask: &CutAsk) -> Error {
    Error::refused(
        "no film is named and the library has none of this game",
        &ask.game.name,
        "name the film of at least one camera: --sideline FILM, --end-zone FILM, --woven FILM or --camera NAME FILM",
    )
}

fn nothing_found(game: String, cameras: Vec<String>, problems: Vec<Problem>) -> CutDone {
    CutDone { game, cameras, problems, ..CutDone::default() }
}
