//! Measurements that are kept: measured once, gone on with where a run was broken off.

use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};

use super::Tools;
use crate::base::{Error, Progress, Result, go_on};
use crate::film::{Film, Series, Unfinished, fingerprint};
use crate::library::{Library, SeriesFolder};
use crate::sense;

/// The user's own folder holds no more than this: about fifteen games' worth (a sample takes some 200 bytes, fifteen of
/// them make a second).
const MOST: u64 = 500 << 20;

/// Where the measurements of films lie, and what may be done there.
#[derive(Debug)]
pub struct Kept {
    folder: SeriesFolder,
    /// A help only: what cannot be written to it is told of, and no more. Bounded.
    cache: bool,
    /// Whether what lies there is used.
    reads: bool,
    /// Whether what is measured is kept.
    writes: bool,
    told: AtomicBool,
}

impl Kept {
    /// A library's measurements; kept there only if `writes`.
    pub fn library(library: &Library, writes: bool) -> Self {
        Self { folder: library.series(), cache: false, reads: true, writes, told: AtomicBool::new(false) }
    }

    /// The user's own: `downbox/series` in `XDG_CACHE_HOME`, else in `.cache` at home. `None` without either. `fresh`:
    /// measures anew, whatever lies there.
    pub fn of_user(fresh: bool) -> Option<Self> {
        let named = |name: &str| std::env::var_os(name).map(PathBuf::from).filter(|path| path.is_absolute());
        let cache = named("XDG_CACHE_HOME").or_else(|| named("HOME").map(|home| home.join(".cache")))?;
        Some(Self::cache(cache.join("downbox").join("series"), fresh))
    }

    /// A cache in a folder of that path.
    pub fn cache(folder: PathBuf, fresh: bool) -> Self {
        let folder = SeriesFolder::at(folder);
        Self { folder, cache: true, reads: !fresh, writes: true, told: AtomicBool::new(false) }
    }

    fn load(&self, film: &str) -> Option<Series> {
        let series = self.folder.load(film, sense::VERSION).filter(|_| self.reads)?;
        if self.cache {
            self.folder.touch(film, sense::VERSION);
        }
        Some(series)
    }

    /// What was not kept is measured again the next time: of a cache no more than a note.
    fn note(&self, kept: Result<()>, progress: &dyn Progress) {
        if let Err(error) = kept
            && !self.told.swap(true, Ordering::Relaxed)
        {
            progress.warn(&format!("the measurement is not kept: {error}"));
        }
    }

    /// What was measured of the film before further parts of it came: those are not measured again.
    fn of_first_parts(&self, film: &Film) -> Option<Unfinished> {
        (1..film.parts.len()).rev().find_map(|count| {
            let series = self.folder.load(&Film::fingerprint_of(&film.parts[..count]), sense::VERSION)?;
            Some(sense::of_first_parts(series, film, count))
        })
    }

    fn save_unfinished(&self, begun: &Unfinished, progress: &dyn Progress) {
        if self.writes {
            self.note(self.folder.save_unfinished(begun), progress);
        }
    }

    fn save(&self, series: &Series, progress: &dyn Progress) -> Result<()> {
        match (self.writes, self.cache) {
            (false, _) => Ok(()),
            (true, false) => self.folder.save(series),
            (true, true) => {
                self.note(self.folder.save(series), progress);
                self.folder.shrink(MOST);
                Ok(())
            }
        }
    }
}

/// Measures a film, or takes what is kept of it. `camera`: whose film it is, for whoever watches.
///
/// # Errors
/// Those of [`sense::measure_on`]; of a library, that the measurement cannot be kept.
pub(super) fn measured(tools: Tools<'_>, film: &Film, camera: &str, kept: Option<&Kept>) -> Result<Series> {
    let fingerprint = film.fingerprint();
    let told = Told { inner: tools.progress, camera, rate: film.hz() };
    let Some(kept) = kept else { return sense::measure(tools.reader, film, &told) };
    if let Some(series) = kept.load(&fingerprint) {
        return Ok(series);
    }
    let begun = kept.folder.load_unfinished(&fingerprint, sense::VERSION).or_else(|| kept.of_first_parts(film));
    let begun = begun.filter(|_| kept.reads);
    // What was measured while a drive was away looks like damage. It is not kept: another look may find the film whole.
    let mut keep = |begun: &Unfinished| {
        if begun.series.damage.is_empty() || is_there(film).is_ok() {
            kept.save_unfinished(begun, tools.progress);
        }
    };
    let series = sense::measure_on(tools.reader, film, begun, &mut keep, &told)?;
    is_there(film)?;
    kept.save(&series, tools.progress)?;
    go_on(tools.progress, "measuring the film")?;
    Ok(series)
}

/// Whether a film's files can be read and are what they were.
///
/// # Errors
/// They are not.
fn is_there(film: &Film) -> Result<()> {
    for part in &film.parts {
        let gone = |error: Option<Error>| {
            let next = "put the file or its drive back, then run the same command again";
            let failed = Error::failed("the film went away or changed while it was read", part.path.display(), next);
            match error {
                Some(error) => failed.because(error),
                None => failed,
            }
        };
        match fingerprint(&part.path) {
            Ok(now) if now == part.fingerprint => {}
            Ok(_) => return Err(gone(None)),
            Err(error) => return Err(gone(Some(error))),
        }
    }
    Ok(())
}

/// Says whose film is measured, and how fast in film's time.
struct Told<'a> {
    inner: &'a dyn Progress,
    camera: &'a str,
    rate: f64,
}

impl Progress for Told<'_> {
    fn stage(&self, name: &str, total: u64) {
        self.inner.pace(self.rate);
        self.inner.stage(format!("{name} {}", self.camera).trim_end(), total);
    }
    fn at(&self, done: u64) {
        self.inner.at(done);
    }
    fn warn(&self, words: &str) {
        self.inner.warn(words);
    }
    fn stop_asked(&self) -> bool {
        self.inner.stop_asked()
    }
}
