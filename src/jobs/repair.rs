//! Makes whole again what a check found and what can be made whole. Nothing is deleted that cannot be made again.

use std::collections::{BTreeMap, HashSet};
use std::fs;
use std::path::{Path, PathBuf};

use super::check_files::walk;
use super::check_films::Moves;
use super::clips::{Which, cut_clips};
use super::finding::{Finding, FindingKind};
use super::{Config, Tools};
use crate::base::{IoContext, PendingFile, Result, Silent, sync_folder};
use crate::library::{ClipRecord, FilmRecord, Library, file_hash};
use crate::sense;

/// Where files go that belong nowhere, within the library's folder.
const LOST: &str = "lost+found";

/// Mends what was found. What cannot be mended is left as it is: the look that follows tells.
pub(super) fn repair(
    tools: Tools<'_>,
    config: &Config,
    library: &mut Library,
    findings: &[Finding],
    moves: &Moves,
) -> Result<()> {
    use FindingKind::{Database, Order, Records, Tags};
    if findings.iter().any(|f| matches!(f.kind, Database | Order | Records | Tags)) {
        // A database that is damaged beyond this refuses; the clips are still looked after.
        if let Err(error) = library.mend_faults() {
            tools.progress.warn(&format!("{error}; {}", error.next));
        }
    }
    for (film, number, path) in moves {
        library.move_part(film, *number, path)?;
    }
    let of = |kind: FindingKind| findings.iter().filter(move |f| f.kind == kind).map(|f| PathBuf::from(&f.place));
    for path in of(FindingKind::Leftover) {
        let path = library.at(&path);
        fs::remove_file(&path).doing("remove half a file", &path)?;
    }
    if findings.iter().any(|f| f.kind == FindingKind::FilmMemory) {
        remember_films(tools, library)?;
    }
    for path in of(FindingKind::SeriesBroken) {
        set_aside(library, &path)?;
    }
    let stale: Vec<PathBuf> = of(FindingKind::SeriesStale).collect();
    if !stale.is_empty() {
        let films = library.inventory()?.films;
        for path in stale {
            drop_stale(library, &films, &path)?;
        }
    }
    mend_clips(tools, config, library, findings)?;
    for path in of(FindingKind::Orphan) {
        // It may have been taken for the clip that was missing.
        if library.at(&path).exists() {
            set_aside(library, &path)?;
        }
    }
    Ok(())
}

/// Moves a file to `lost+found`, under the path it had; a number is added where one of that name lies there.
fn set_aside(library: &Library, path: &Path) -> Result<()> {
    let from = library.at(path);
    let mut to = library.at(Path::new(LOST)).join(path);
    let mut number = 2;
    while to.exists() {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        to = library.at(Path::new(LOST)).join(path).with_file_name(format!("{number}-{name}"));
        number += 1;
    }
    let folder = to.parent().unwrap_or(&to).to_path_buf();
    fs::create_dir_all(&folder).doing("make the folder", &folder)?;
    fs::rename(&from, &to).doing("set the file aside", &from)?;
    sync_folder(&folder)
}

/// Reads films again of which nothing is remembered, as far as they are there.
fn remember_films(tools: Tools<'_>, library: &mut Library) -> Result<()> {
    for film in library.inventory()?.films {
        if library.load_film(&film.fingerprint).is_some() {
            continue;
        }
        let paths: Vec<PathBuf> = film.parts.iter().map(|part| part.path.clone()).collect();
        if let Ok(read) = tools.reader.read(&paths, &Silent)
            && read.fingerprint() == film.fingerprint
        {
            library.save_film(&read)?;
        }
    }
    Ok(())
}

/// Removes a measurement of another version where the present one is there or its film is, to be measured again.
fn drop_stale(library: &Library, films: &[FilmRecord], path: &Path) -> Result<()> {
    let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let Some(film) = films.iter().find(|film| name.starts_with(&film.fingerprint)) else { return Ok(()) };
    let film_is_there = film.parts.iter().all(|p| fs::metadata(&p.path).is_ok_and(|about| about.len() == p.bytes));
    if film_is_there || library.series().load(&film.fingerprint, sense::VERSION).is_some() {
        let path = library.at(path);
        fs::remove_file(&path).doing("remove the old measurement", &path)?;
    }
    Ok(())
}

/// Cuts clips again that are not as recorded or not there; one that merely lies under another name is put back.
fn mend_clips(tools: Tools<'_>, config: &Config, library: &mut Library, findings: &[Finding]) -> Result<()> {
    use FindingKind::{ClipBroken, ClipChanged, ClipLength, ClipMissing, ClipRecord as Untrue, ClipUnreadable, ToCut};
    let bad: HashSet<PathBuf> = findings
        .iter()
        .filter(|f| matches!(f.kind, ClipBroken | ClipChanged | ClipLength | ClipMissing | Untrue | ClipUnreadable))
        .map(|f| PathBuf::from(&f.place))
        .collect();
    let held = library.inventory()?;
    let mut again: BTreeMap<String, HashSet<(String, String)>> = BTreeMap::new();
    for clip in held.clips.into_iter().filter(|clip| bad.contains(&clip.path)) {
        if !put_back(library, &clip, findings)? {
            again.entry(clip.game).or_default().insert((clip.label, clip.camera));
        }
    }
    if findings.iter().any(|f| f.kind == ToCut) {
        for (game, label, camera) in held.uncut {
            again.entry(game).or_default().insert((label, camera));
        }
    }
    for (game, these) in again {
        // What lies in the way of a clip is moved, not replaced, where it is no file.
        for (label, camera) in &these {
            let place = library.clip_place(&game, label, camera)?;
            if place.path.is_dir() {
                set_aside(library, &place.relative)?;
            }
        }
        let mut problems = Vec::new();
        cut_clips(tools, config, library, &game, Which::These(&these), &BTreeMap::new(), &mut problems)?;
        for problem in problems {
            tools.progress.warn(&format!("{}: {}", problem.place, problem.what));
        }
    }
    Ok(())
}

/// Puts a missing clip back that lies among the files that belong to no play.
fn put_back(library: &Library, clip: &ClipRecord, findings: &[Finding]) -> Result<bool> {
    let to = library.at(&clip.path);
    let missing = findings.iter().any(|f| f.kind == FindingKind::ClipMissing && Path::new(&f.place) == clip.path);
    if !missing || to.exists() {
        return Ok(false);
    }
    let stray = findings.iter().filter(|f| matches!(f.kind, FindingKind::Orphan | FindingKind::Unrecorded));
    let mut places: Vec<PathBuf> = stray.map(|f| PathBuf::from(&f.place)).collect();
    places.extend(walk(library.folder(), LOST).0);
    for place in places {
        let from = library.at(&place);
        let same_size = fs::metadata(&from).is_ok_and(|about| about.is_file() && about.len() == clip.bytes);
        if same_size && file_hash(&from).is_ok_and(|(hash, _)| hash == clip.hash) {
            let pending = PendingFile::new(&to)?;
            fs::copy(&from, pending.path()).doing("put the clip back", &to)?;
            pending.commit()?;
            // The same bytes lie in their place now.
            fs::remove_file(&from).doing("take the clip from where it lay", &from)?;
            return Ok(true);
        }
    }
    Ok(false)
}
