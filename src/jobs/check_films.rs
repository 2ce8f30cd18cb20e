//! Films that the library was cut from: there, moved, changed or put away.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use super::check::CheckAsk;
use super::finding::{Finding, FindingKind};
use crate::base::Result;
use crate::film::{fingerprint, named_as_film};
use crate::library::{FilmRecord, Library, PartFound};

/// Where files of films lie now: film, number of the part, path.
pub(super) type Moves = Vec<(String, usize, PathBuf)>;

/// How deep below a folder films are looked for: a season's folder has a week's, a game's and a camera's. Our own choice.
const DEPTH: usize = 4;

/// Looks for every film that a camera has; those that lie elsewhere are found by their content.
pub(super) fn look_at_films(library: &Library, films: &[FilmRecord], ask: &CheckAsk) -> Result<(Vec<Finding>, Moves)> {
    let mut found = Vec::new();
    let mut moves = Moves::new();
    let mut near = Near::default();
    for film in films.iter().filter(|film| !film.cameras.is_empty()) {
        let whose = film.cameras.iter().map(|(game, camera)| format!("{game} {camera}")).collect::<Vec<_>>().join(", ");
        for (number, part) in film.parts.iter().enumerate() {
            let place = part.path.display();
            let about = fs::metadata(&part.path).ok().filter(fs::Metadata::is_file);
            let same = |about: &fs::Metadata| {
                about.len() == part.bytes
                    && (!ask.deep || fingerprint(&part.path).is_ok_and(|print| print == part.fingerprint))
            };
            if about.as_ref().is_some_and(same) {
                continue;
            }
            if let Some(now) = near.find(part, &ask.films, library.folder()) {
                let what = format!("a film of {whose} lies elsewhere now: {}", now.display());
                let next = "take the new place with: downbox check --repair";
                found.push(Finding::new(FindingKind::FilmMoved, place, what, next));
                moves.push((film.fingerprint.clone(), number, now));
            } else if about.is_some() {
                let what = format!("another file lies where a film of {whose} lay");
                let next = "put the film back, or say where films lie now: downbox check --repair --films FOLDER";
                found.push(Finding::new(FindingKind::FilmChanged, place, what, next));
            } else {
                let what = format!("a film of {whose} is not there; its clips stand alone");
                let next = "if it was moved, say where films lie now: downbox check --repair --films FOLDER";
                found.push(Finding::new(FindingKind::FilmGone, place, what, next));
            }
        }
    }
    Ok((found, moves))
}

/// Film files in and about folders, listed once.
#[derive(Default)]
struct Near {
    listed: BTreeMap<PathBuf, Vec<(u64, PathBuf)>>,
}

impl Near {
    /// A file of a part's size and content: below the given folders, else where the part lay or in the folder above.
    fn find(&mut self, part: &PartFound, given: &[PathBuf], library: &Path) -> Option<PathBuf> {
        let lay = part.path.parent().map(Path::to_path_buf);
        let above = lay.as_ref().and_then(|lay| lay.parent()).filter(|above| above.parent().is_some());
        // The folder above is a game's or a card's; searched to one level only, since it may be a whole home.
        let folders = given.iter().map(|folder| (folder.clone(), DEPTH));
        let folders = folders.chain(lay.clone().map(|lay| (lay, 1))).chain(above.map(|above| (above.to_path_buf(), 1)));
        for (folder, depth) in folders.collect::<Vec<_>>() {
            let files = self.listed.entry(folder.clone()).or_insert_with(|| {
                let mut files = Vec::new();
                list(&folder, depth, library, &mut files);
                files
            });
            let twins = files.iter().filter(|(bytes, path)| *bytes == part.bytes && *path != part.path);
            for (_, path) in twins {
                if fingerprint(path).is_ok_and(|print| print == part.fingerprint) {
                    return std::path::absolute(path).ok();
                }
            }
        }
        None
    }
}

/// Files named as films in a folder and `depth` levels below; what cannot be listed is passed over, the library too.
fn list(folder: &Path, depth: usize, library: &Path, files: &mut Vec<(u64, PathBuf)>) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        let Ok(about) = fs::metadata(&path) else { continue };
        if about.is_file() && named_as_film(&path) {
            files.push((about.len(), path));
        } else if about.is_dir() && depth > 0 && path != library {
            list(&path, depth - 1, library, files);
        }
    }
}
