//! What the cameras of a game show: films read and judged, the cameras' plays brought together. Writes nothing but
//! measurements.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::ear::{Ear, Microphone, Source};
use super::ingest::CutAsk;
use super::scan::{CameraScan, judge, judged};
use super::{Settings, Tools, opener};
use crate::base::{Error, Problem, Result};
use crate::film::{Angle, Film, Play, Shot, ShotKind};
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
    found: Found,
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
    for (name, film) in read {
        let scan = judge(tools, film, Angle::named(&name), settings, library, keep)?;
        problems.extend(scan.film.problems.iter().cloned());
        cameras.push(SurveyedCamera { name, film: scan.film, found: scan.found, given: true, there: true });
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
fn read_given(tools: Tools<'_>, ask: &CutAsk, game: &str, library: Option<&Library>) -> Result<Vec<(String, Film)>> {
    let mut read: Vec<(String, Film)> = Vec::new();
    for (name, files) in &ask.cameras {
        let film = tools.reader.read(files, tools.progress)?;
        let name = match library {
            Some(library) => library.check_camera(game, name, &film, ask.replace)?,
            None => name.clone(),
        };
        if let Some(library) = library {
            refuse_twin(library, ask, game, &name, &film)?;
        }
        for (other, its) in &read {
            let place = film.parts.first().map(|p| p.path.display().to_string()).unwrap_or_default();
            if fold(other) == fold(&name) {
                let next = "name all files of a camera behind one flag";
                return Err(Error::refused(format!("the {name} camera is named twice"), place, next));
            }
            if let Some(twin) = film.parts.iter().find(|p| its.parts.iter().any(|q| q.fingerprint == p.fingerprint)) {
                return Err(twins(other, &name, &twin.path));
            }
        }
        read.push((name, film));
    }
    Ok(read)
}

/// One film is not two cameras, also where the other came earlier; unless that is given another now: films that were
/// mixed up are changed over.
fn refuse_twin(library: &Library, ask: &CutAsk, game: &str, name: &str, film: &Film) -> Result<()> {
    let given = |camera: &str| ask.cameras.iter().any(|(name, _)| fold(name) == fold(camera));
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
    given: &[(String, Film)],
    settings: &Settings,
    library: Option<&Library>,
    keep: bool,
) -> Result<Vec<SurveyedCamera>> {
    let Some(library) = library else { return Ok(Vec::new()) };
    let mut cameras = Vec::new();
    let stands = library.play_shots(game)?;
    for camera in library.camera_films(game)? {
        if given.iter().any(|(name, _)| *name == camera.camera) {
            continue;
        }
        let Some(known) = opener::known(tools, library, &camera) else {
            return Err(Error::refused(
                format!("the film of the {} camera is gone and the library has lost its frame times", camera.camera),
                camera.parts.first().map(|p| p.path.display().to_string()).unwrap_or_default(),
                "put that film back where it was, or the library's series folder from a copy, and run again",
            ));
        };
        // What it showed before is judged anew from what was measured: the library's moments are partly the other
        // camera's, and would confirm themselves. What a person corrected is laid over when the plays are put back.
        let opener::Known { film, there } = known;
        let scan = match library.load_series(&camera.fingerprint, sense::VERSION) {
            Some(series) => judged(film, &series, camera.angle, settings),
            None if there => judge(tools, film, camera.angle, settings, Some(library), keep)?,
            None => {
                let shots = stands.iter().flat_map(|play| &play.shots).filter(|shot| shot.camera == camera.camera);
                CameraScan { film, found: as_found(&camera, shots) }
            }
        };
        let CameraScan { film, found } = scan;
        cameras.push(SurveyedCamera { name: camera.camera, film, found, given: false, there });
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
        let CameraShot { span, set, snap, whistle, by, ref doubt, .. } = *shot;
        found.plays.push(Play { shot: number, span, set, snap, whistle, by, doubt: doubt.clone() });
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
    let game = plays::pair(&paired, &mut |a, b| ear.compare(a, b));
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
