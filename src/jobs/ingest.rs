//! The main job: a game's films and sheet into the library.

use std::collections::BTreeMap;
use std::path::PathBuf;

use super::clips::{cut_clips, planned};
use super::matching::TagSheet;
use super::survey::{Survey, rank, survey};
use super::{Config, Tools};
use crate::base::{Error, FrameNo, Problem, Result};
use crate::film::Film;
use crate::library::{CameraShot, GameIn, Library, MatchIn, PlayIn, PlayShots};
use crate::sheet::{Matching, give_ball};

/// What is to be cut.
#[derive(Debug, Clone, Default)]
pub struct CutAsk {
    /// The game.
    pub game: GameIn,
    /// Cameras by name, each with its files or folders. Those that the library has already need not be named again.
    pub cameras: Vec<(String, Vec<PathBuf>)>,
    /// Files or folders of one film that holds the sideline and the end-zone camera's shots in turn.
    pub woven: Vec<PathBuf>,
    /// The tag sheet.
    pub sheet: Option<PathBuf>,
    /// Our team and the other, where the sheet says only whose unit is on the field.
    pub teams: Option<(String, String)>,
    /// Seconds by which the sheet's times run late, where a person knows better than the fit.
    pub offset: Option<f64>,
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
    let Survey { game, cameras, plays, mut problems } = survey(tools, ask, &config.settings, Some(library), true)?;
    if plays.is_empty() {
        return Ok(nothing_found(game, cameras.into_iter().map(|c| c.name).collect(), problems));
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
    finish(tools, config, library, ask, Stand { game, films, sheet, problems })
}

/// How far a game has come before its rows are joined and its clips cut.
#[derive(Default)]
struct Stand {
    game: String,
    films: BTreeMap<String, Film>,
    sheet: Option<TagSheet>,
    problems: Vec<Problem>,
}

/// Joins the rows, cuts the clips, tells what came of it.
fn finish(
    tools: Tools<'_>,
    config: &Config,
    library: &mut Library,
    ask: &CutAsk,
    Stand { game, films, sheet, mut problems }: Stand,
) -> Result<CutDone> {
    let offset = offset(Some(library), &game, ask)?;
    let sheet = match sheet {
        Some(sheet) => {
            library.put_rows(&game, &sheet.path, &sheet.rows_in())?;
            Some(sheet)
        }
        None => TagSheet::kept(library, &game)?,
    };
    let plays = library.play_shots(&game)?;
    let reference = Reference::of(library, &game, &films)?;
    let mut done = CutDone { game: game.clone(), plays: plays.len(), ..CutDone::default() };
    let mut joined = Joined::default();
    if let Some(sheet) = &sheet {
        problems.extend(sheet.problems.iter().cloned());
        let shots: Vec<&[CameraShot]> = plays.iter().map(|p| p.shots.as_slice()).collect();
        joined = Joined::of(sheet, &shots, &reference, offset);
        library.put_sheet_offset(&game, offset)?;
        let pair = |pair: &crate::sheet::Pair| MatchIn {
            label: plays[pair.play].label.clone(),
            place: sheet.rows[pair.row].place.clone(),
            matched_by: pair.by.as_str().to_string(),
            doubt: pair.doubt.clone(),
        };
        let matches: Vec<MatchIn> = joined.matching.pairs.iter().map(pair).collect();
        library.put_matches(&game, &matches)?;
        joined.tell(sheet, &mut problems, &mut done);
    }
    done.to_check = to_check(&plays, &joined, sheet.is_some());
    let clips = cut_clips(tools, config, library, &game, &films, &mut problems)?;
    (done.clips, done.new_clips) = (clips.there, clips.cut);
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
        done.planned.extend(planned(tools, &config.settings, library, &game, &camera.film, &shots)?);
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
    let offset = offset(library, &game, ask)?;
    let sheet = match (sheet, library) {
        (None, Some(library)) if !stands.is_empty() => TagSheet::kept(library, &game)?,
        (sheet, _) => sheet,
    };
    if let Some(sheet) = &sheet {
        problems.extend(sheet.problems.iter().cloned());
        let films = cameras.into_iter().map(|c| (c.name, c.film)).collect();
        let shots: Vec<&[CameraShot]> = labeled.iter().map(|p| p.shots.as_slice()).collect();
        joined = Joined::of(sheet, &shots, &Reference::first(&names, &films), offset);
        joined.tell(sheet, &mut problems, &mut done);
    }
    done.to_check = to_check(&labeled, &joined, sheet.is_some());
    done.cameras = names;
    done.problems = problems;
    Ok(done)
}

/// The offset that counts: the one given now, else the one a person gave before for the same sheet.
fn offset(library: Option<&Library>, game: &str, ask: &CutAsk) -> Result<Option<f64>> {
    let Some(library) = library.filter(|_| ask.offset.is_none()) else { return Ok(ask.offset) };
    let Some((path, offset)) = library.sheet_offset(game)? else { return Ok(None) };
    let same = |sheet: &PathBuf| std::path::absolute(sheet).is_ok_and(|sheet| sheet == path);
    Ok(offset.filter(|_| ask.sheet.as_ref().is_none_or(same)))
}

fn open_sheet(config: &Config, ask: &CutAsk) -> Result<Option<TagSheet>> {
    let mut sheet = ask.sheet.as_deref().map(|path| TagSheet::open(path, config)).transpose()?;
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

/// The camera by whose film the sheet's times are read: the first of the game's.
struct Reference {
    cameras: Vec<String>,
    film: Option<Film>,
    hz: f64,
}

impl Reference {
    fn first(cameras: &[String], films: &BTreeMap<String, Film>) -> Self {
        let film = cameras.first().and_then(|c| films.get(c)).cloned();
        Self { cameras: cameras.to_vec(), hz: film.as_ref().map_or(30.0, Film::hz), film }
    }

    fn of(library: &Library, game: &str, films: &BTreeMap<String, Film>) -> Result<Self> {
        let mut cameras = library.camera_films(game)?;
        cameras.sort_by_key(|c| rank(&c.camera));
        let names: Vec<String> = cameras.iter().map(|c| c.camera.clone()).collect();
        let mut reference = Self::first(&names, films);
        if let (None, Some(camera)) = (&reference.film, cameras.first()) {
            reference.film = library.load_film(&camera.fingerprint);
            reference.hz = if camera.seconds > 0.0 { camera.frames as f64 / camera.seconds } else { camera.rate.hz() };
        }
        Ok(reference)
    }

    fn time(&self, frame: FrameNo) -> f64 {
        match &self.film {
            Some(film) => film.time(frame),
            None => frame.0 as f64 / self.hz,
        }
    }
}

/// Rows and plays joined.
#[derive(Default)]
struct Joined {
    matching: Matching,
}

impl Joined {
    fn of(sheet: &TagSheet, plays: &[&[CameraShot]], reference: &Reference, offset: Option<f64>) -> Self {
        let name = reference.cameras.first().map_or("", String::as_str);
        Self { matching: sheet.join(plays, name, &|frame| reference.time(frame), offset) }
    }

    /// What is said of it: counts, the line of times, rows without a play.
    fn tell(&self, sheet: &TagSheet, problems: &mut Vec<Problem>, done: &mut CutDone) {
        done.rows = sheet.rows.len();
        done.matched = self.matching.pairs.len();
        done.offset = self.matching.offset_seconds();
        done.drift = self.matching.drift();
        for unmatched in &self.matching.unmatched_rows {
            let place = sheet.rows.get(unmatched.row).map_or("", |row| &row.place);
            problems.push(Problem::new(place, format!("joined to no play: {}", unmatched.why)));
        }
    }
}

/// Every play with a doubt of its own, of a camera's shot, of its row, or without a row.
fn to_check(plays: &[PlayShots], joined: &Joined, sheet: bool) -> Vec<ToCheck> {
    let mut list = Vec::new();
    for (index, play) in plays.iter().enumerate() {
        let mut reasons: Vec<String> = play.doubt.iter().cloned().collect();
        for shot in &play.shots {
            reasons.extend(shot.doubt.as_ref().map(|doubt| format!("{}: {doubt}", shot.camera)));
        }
        match joined.matching.pairs.iter().find(|pair| pair.play == index) {
            Some(pair) => reasons.extend(pair.doubt.as_ref().map(|doubt| format!("its row is in doubt: {doubt}"))),
            None if sheet => reasons.push("no row of the sheet was joined to it".into()),
            None => {}
        }
        if !reasons.is_empty() {
            list.push(ToCheck { label: play.label.clone(), why: reasons.join("; ") });
        }
    }
    list
}
