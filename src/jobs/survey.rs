//! What the cameras of a game show: films read and judged, the cameras' plays brought together. Writes nothing but
//! measurements.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::ear::{Ear, Microphone, Source};
use super::ingest::CutAsk;
use super::kept::{Kept, measured};
use super::scan::{CameraScan, judged};
use super::unweave::{self, WOVEN, unweave};
use super::{Settings, Tools, opener};
use crate::base::{Error, Problem, Result, go_on};
use crate::film::{Angle, Film, Play, Series, Shot, ShotKind};
use crate::filter::Filter;
use crate::football::fold;
use crate::library::{CameraFilm, CameraShot, Library, PlayIn};
use crate::plays::{self, Camera, Found};
use crate::sense;

/// A camera of the game with its film.
pub(super) struct SurveyedCamera {
    /// The name it goes by in the library.
    pub name: String,
    /// Its film.
    pub film: Film,
    /// Whether it was named this time; else it was in the library.
    pub given: bool,
    /// Whether the film can be read.
    pub there: bool,
    /// What was found in it.
    pub(super) found: Found,
    /// What was measured over it; `None` where that is lost.
    pub(super) series: Option<Series>,
}

/// The game as all cameras show it.
pub(super) struct Survey {
    /// The name the game goes by.
    pub game: String,
    /// Cameras, the sideline first, then the end zone, then the others as they came.
    pub cameras: Vec<SurveyedCamera>,
    /// Plays in film order.
    pub plays: Vec<PlayIn>,
    /// What was met on the way.
    pub problems: Vec<Problem>,
}

/// Looks at the films named and at the cameras that the library has of the game. `keep`: measurements are kept in the
/// library. All that can be refused is refused before anything is measured.
pub(super) fn survey(
    tools: Tools<'_>,
    ask: &CutAsk,
    settings: &Settings,
    library: Option<&Library>,
    keep: bool,
) -> Result<Survey> {
    let game = match library {
        Some(library) => library.check_game(&ask.game)?,
        None => {
            ask.game.check()?;
            ask.game.name.trim().to_string()
        }
    };
    let mut problems = Vec::new();
    let read = read_given(tools, ask, &game, library)?;
    let mut cameras = earlier(tools, &game, &read, settings, library, keep)?;
    for Given { name, film, woven } in read {
        let kept = library.map(|library| Kept::library(library, keep));
        let series = measured(tools, &film, &name, kept.as_ref())?;
        let scan = judged(film, &series, Angle::named(&name), settings);
        problems.extend(scan.film.problems.iter().cloned());
        let camera =
            SurveyedCamera { name, film: scan.film, found: scan.found, given: true, there: true, series: Some(series) };
        match woven {
            None => cameras.push(camera),
            Some(names) => {
                let source = Source::Film(&camera.film);
                let split = unweave(tools, source, &camera, &names);
                if split.is_none() {
                    problems.push(unweave::untold(&camera.film));
                }
                cameras.extend(split.unwrap_or_else(|| vec![camera]));
            }
        }
    }
    // The sort is stable: others stay as they came.
    cameras.sort_by_key(|c| rank(&c.name));
    let plays = together(tools, &game, &cameras, library)?;
    Ok(Survey { game, cameras, plays, problems })
}

/// Sideline, end zone, others.
pub(super) fn rank(camera: &str) -> u8 {
    match Angle::named(camera) {
        Angle::Sideline => 0,
        Angle::EndZone => 1,
        Angle::Unknown => 2,
    }
}

/// Reads the films named and asks whether the library would take them.
fn read_given(tools: Tools<'_>, ask: &CutAsk, game: &str, library: Option<&Library>) -> Result<Vec<Given>> {
    let mut read: Vec<Given> = Vec::new();
    for (name, files) in &ask.cameras {
        let film = tools.reader.read(files, tools.progress)?;
        go_on(tools.progress, "reading the films")?;
        let name = match library {
            Some(library) => library.check_camera(game, name, &film, ask.replace)?,
            None => name.clone(),
        };
        if let Some(library) = library {
            refuse_twin(library, ask, game, &name, &film)?;
        }
        for Given { name: other, film: its, .. } in &read {
            let place = film.parts.first().map(|p| p.path.display().to_string()).unwrap_or_default();
            if fold(other) == fold(&name) {
                let next = "name all files of a camera behind one flag";
                return Err(Error::refused(format!("the {name} camera is named twice"), place, next));
            }
            if let Some(twin) = film.parts.iter().find(|p| its.parts.iter().any(|q| q.fingerprint == p.fingerprint)) {
                return Err(twins(other, &name, &twin.path));
            }
        }
        read.push(Given { name, film, woven: None });
    }
    if !ask.woven.is_empty() {
        read.push(read_woven(tools, ask, game, library, &read)?);
    }
    Ok(read)
}

/// A film given.
struct Given {
    name: String,
    film: Film,
    /// The names its two cameras go by, where it holds both.
    woven: Option<[String; 2]>,
}

/// Reads the woven film and asks whether the library would take it for both its cameras, and for one if it cannot be
/// split.
fn read_woven(tools: Tools<'_>, ask: &CutAsk, game: &str, library: Option<&Library>, read: &[Given]) -> Result<Given> {
    let film = tools.reader.read(&ask.woven, tools.progress)?;
    let named = |name: &str| match library {
        Some(library) => library.check_camera(game, name, &film, ask.replace),
        None => Ok(name.to_string()),
    };
    let names = [named(Angle::Sideline.as_str())?, named(Angle::EndZone.as_str())?];
    let name = named(WOVEN)?;
    for one in names.iter().chain([&name]) {
        if let Some(library) = library {
            refuse_twin(library, ask, game, one, &film)?;
        }
        if let Some(given) = read.iter().find(|given| fold(&given.name) == fold(one)) {
            let what = format!("the {one} camera is named beside a woven film, which holds it");
            let place = given.film.parts.first().map(|p| p.path.display().to_string()).unwrap_or_default();
            return Err(Error::refused(what, place, "give the woven film alone, or each camera's own film"));
        }
    }
    let has = |fingerprint: &str| film.parts.iter().any(|part| part.fingerprint == fingerprint);
    for given in read {
        if let Some(twin) = given.film.parts.iter().find(|part| has(&part.fingerprint)) {
            return Err(twins(&given.name, WOVEN, &twin.path));
        }
    }
    Ok(Given { name, film, woven: Some(names) })
}

/// One film is not two cameras, also where the other came earlier; unless that is given another now: films that were
/// mixed up are changed over.
fn refuse_twin(library: &Library, ask: &CutAsk, game: &str, name: &str, film: &Film) -> Result<()> {
    let woven = |camera: &str| !ask.woven.is_empty() && (unweave::is_of_woven(camera) || camera == WOVEN);
    let given = |camera: &str| ask.cameras.iter().any(|(name, _)| fold(name) == fold(camera)) || woven(camera);
    let others = library.camera_films(game)?.into_iter().filter(|c| c.camera != name && !given(&c.camera));
    for camera in others {
        let has = |fingerprint: &str| camera.parts.iter().any(|part| part.fingerprint == fingerprint);
        if let Some(twin) = film.parts.iter().find(|part| has(&part.fingerprint)) {
            return Err(twins(&camera.camera, name, &twin.path));
        }
    }
    Ok(())
}

fn twins(one: &str, other: &str, path: &Path) -> Error {
    let what = format!("the {one} and the {other} camera are given the same film");
    Error::refused(what, path.display(), "name each camera's own files")
}

/// Cameras of the game that the library has and that were not named.
fn earlier(
    tools: Tools<'_>,
    game: &str,
    given: &[Given],
    settings: &Settings,
    library: Option<&Library>,
    keep: bool,
) -> Result<Vec<SurveyedCamera>> {
    let Some(library) = library else { return Ok(Vec::new()) };
    let mut cameras = Vec::new();
    let stands = library.play_shots(game)?;
    let is_given = |camera: &str| {
        let of_woven = |given: &Given| given.woven.is_some() && (unweave::is_of_woven(camera) || camera == WOVEN);
        given.iter().any(|given| given.name == camera || of_woven(given))
    };
    let standing: Vec<CameraFilm> =
        library.camera_films(game)?.into_iter().filter(|camera| !is_given(&camera.camera)).collect();
    let mut done: Vec<String> = Vec::new();
    for camera in &standing {
        if done.contains(&camera.camera) {
            continue;
        }
        let Some(known) = opener::known(tools, library, camera) else {
            return Err(Error::refused(
                format!("the film of the {} camera is gone and the library has lost its frame times", camera.camera),
                camera.parts.first().map(|p| p.path.display().to_string()).unwrap_or_default(),
                "put that film back where it was, or the library's series folder from a copy, and run again",
            ));
        };
        // What it showed before is judged anew from what was measured: the library's moments are partly the other
        // camera's, and would confirm themselves. What a person corrected is laid over when the plays are put back.
        let opener::Known { film, there } = known;
        let kept = Kept::library(library, keep);
        let series = match library.series().load(&camera.fingerprint, sense::VERSION) {
            None if there => Some(measured(tools, &film, &camera.camera, Some(&kept))?),
            series => series,
        };
        // Both cameras of a woven film have the same.
        let twin = standing.iter().find(|twin| {
            twin.fingerprint == camera.fingerprint && twin.camera != camera.camera && unweave::is_of_woven(&twin.camera)
        });
        let whole = twin.is_some() && unweave::is_of_woven(&camera.camera);
        let as_it_stands = || {
            let shots = stands.iter().flat_map(|play| &play.shots).filter(|shot| shot.camera == camera.camera);
            as_found(camera, shots)
        };
        let scan = match &series {
            Some(series) => judged(film, series, if whole { Angle::Unknown } else { camera.angle }, settings),
            None => CameraScan { film, found: as_it_stands() },
        };
        let CameraScan { film, found } = scan;
        let of_camera = as_it_stands();
        let name = camera.camera.clone();
        let mut camera = SurveyedCamera { name, film, found, given: false, there, series };
        if let (Some(twin), true, true) = (twin, whole, camera.series.is_some()) {
            let mut names = [camera.name.clone(), twin.camera.clone()];
            names.sort_by_key(|name| rank(name));
            let source = match there {
                true => Source::Film(&camera.film),
                false => {
                    let clips = clips_by_start(library, game)?;
                    let of_both = clips.into_iter().filter(|(name, _)| names.contains(name));
                    Source::Clips(of_both.flat_map(|(_, clips)| clips).collect())
                }
            };
            if let Some(split) = unweave(tools, source, &camera, &names) {
                done.extend(names);
                cameras.extend(split);
                continue;
            }
            // Split once and not any more: what the library knows of it stands.
            camera.found = of_camera;
        }
        cameras.push(camera);
    }
    Ok(cameras)
}

/// A camera's shots as the library has them, where its film is gone and was measured by another version.
fn as_found<'a>(camera: &CameraFilm, shots: impl Iterator<Item = &'a CameraShot>) -> Found {
    let mut shots: Vec<&CameraShot> = shots.collect();
    shots.sort_by_key(|shot| shot.span.start);
    let mut found = Found::default();
    for (number, shot) in shots.into_iter().enumerate() {
        found.shots.push(Shot { span: shot.span, kind: ShotKind::Play, angle: camera.angle });
        let CameraShot { set, snap, whistle, by, ref doubt, .. } = *shot;
        found.plays.push(Play { shot: number, span: shot.span, set, snap, whistle, by, doubt: doubt.clone() });
    }
    found
}

/// Brings the cameras' plays together.
fn together(
    tools: Tools<'_>,
    game: &str,
    cameras: &[SurveyedCamera],
    library: Option<&Library>,
) -> Result<Vec<PlayIn>> {
    let clips = match library {
        Some(library) if cameras.iter().any(|c| !c.there) => clips_by_start(library, game)?,
        _ => BTreeMap::new(),
    };
    let microphones: Vec<Microphone<'_>> = cameras
        .iter()
        .map(|camera| {
            let source = match camera.there {
                true => Source::Film(&camera.film),
                false => Source::Clips(clips.get(&camera.name).cloned().unwrap_or_default()),
            };
            Microphone { source }
        })
        .collect();
    let paired: Vec<Camera<'_>> = cameras.iter().map(|c| Camera { film: &c.film, found: &c.found }).collect();
    tools.progress.stage("pair the cameras", 0);
    let mut ear = Ear::new(tools, &microphones);
    let series: Vec<Option<&Series>> = cameras.iter().map(|c| c.series.as_ref()).collect();
    // Once a stop is asked for nothing more is heard, and what then comes of it is not used.
    let mut listen = |a, b| if tools.progress.stop_asked() { None } else { ear.compare(a, b) };
    let game = plays::pair_seen(&paired, &series, &mut listen);
    go_on(tools.progress, "pairing the cameras")?;
    let plays = game.into_iter().map(|play| {
        let takes = cameras.iter().zip(&play.takes);
        let shots = takes.filter_map(|(camera, take)| {
            let take = take.as_ref()?;
            Some(CameraShot::of(&camera.name, take.span, take))
        });
        PlayIn { shots: shots.collect(), doubt: play.doubt }
    });
    Ok(plays.filter(|play| !play.shots.is_empty()).collect())
}

/// The clips of a game by camera and by the first frame they show.
fn clips_by_start(library: &Library, game: &str) -> Result<BTreeMap<String, BTreeMap<u64, PathBuf>>> {
    let mut clips: BTreeMap<String, BTreeMap<u64, PathBuf>> = BTreeMap::new();
    for play in library.plays(&Filter::Game(game.to_string()))? {
        for clip in play.clips {
            clips.entry(clip.camera).or_default().insert(clip.span.start.0, library.at(&clip.path));
        }
    }
    Ok(clips)
}
