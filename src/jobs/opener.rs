//! Films that the library knows, opened again.

use crate::film::Film;
use crate::library::{CameraFilm, Library};

/// A camera's film as it was read when it was cut, and whether its files still lie where they lay then.
pub(super) struct Known {
    /// The film, with the time of every frame.
    pub film: Film,
    /// Whether every file is there, of its size.
    pub there: bool,
}

/// The film of a camera from the library's memory; `None` if that was lost and the files are not there to be read anew.
pub(super) fn known(tools: super::Tools<'_>, library: &Library, camera: &CameraFilm) -> Option<Known> {
    let there = camera.parts.iter().all(|p| std::fs::metadata(&p.path).is_ok_and(|file| file.len() == p.bytes));
    if let Some(mut film) = library.load_film(&camera.fingerprint)
        && film.parts.len() == camera.parts.len()
    {
        for (part, now) in film.parts.iter_mut().zip(&camera.parts) {
            part.path.clone_from(&now.path);
        }
        return Some(Known { film, there });
    }
    if !there {
        return None;
    }
    let paths: Vec<_> = camera.parts.iter().map(|p| p.path.clone()).collect();
    let film = tools.reader.read(&paths, tools.progress).ok()?;
    (film.fingerprint() == camera.fingerprint).then_some(Known { film, there })
}
