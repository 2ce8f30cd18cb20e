//! Which library a command works on.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use super::args::Common;
use crate::base::{Error, ErrorKind, Result};
use crate::daemon::{Request, Status};
use crate::jobs::Settings;
use crate::library::{Access, Library};

fn here() -> Result<PathBuf> {
    std::env::current_dir().map_err(|cause| {
        Error::failed("cannot tell the present folder", "", "change to a folder that exists").because(cause)
    })
}

/// Whether a folder holds a library.
fn is_library(folder: &Path) -> bool {
    folder.join("downbox.toml").is_file()
}

/// The folder of the library in question, if one was named or found; it may still be to make.
fn folder(common: &Common) -> Result<Option<PathBuf>> {
    let env = std::env::var_os("DOWNBOX_LIBRARY");
    Ok(Library::find(common.library.as_deref(), env.as_deref(), &here()?))
}

/// The folder of the library in question, if a library is there.
pub fn present(common: &Common) -> Result<Option<PathBuf>> {
    Ok(folder(common)?.filter(|folder| is_library(folder)))
}

/// Opens the library to read.
pub fn open(common: &Common) -> Result<Library> {
    Library::open(&named(common)?, Access::Read)
}

/// Opens the library that there is to write.
pub fn open_to_write(common: &Common) -> Result<Library> {
    let folder = named(common)?;
    after_the_night(&folder, || Library::open(&folder, Access::Write))
}

/// Requests of this process: they stand until it ends.
static ASKED: Mutex<Vec<Request>> = Mutex::new(Vec::new());

/// Asks the night shift of a library, if one works there, to give way until this process ends. `what`: in words.
pub fn go_first(folder: &Path, what: &str) {
    if Status::is_alive(folder)
        && let Some(request) = Request::make(folder, what)
    {
        ASKED.lock().unwrap_or_else(PoisonError::into_inner).push(request);
    }
}

/// The night shift lets go of the library within this time of being asked: it finishes a clip.
const PATIENCE: Duration = Duration::from_secs(60);

/// Opens a library to write; where the night shift has it, asks for it and waits.
fn after_the_night(folder: &Path, open: impl Fn() -> Result<Library>) -> Result<Library> {
    let busy = |opened: &Result<Library>| opened.as_ref().is_err_and(|error| error.kind == ErrorKind::Busy);
    let mut opened = open();
    if !busy(&opened) || !Status::is_alive(folder) {
        return opened;
    }
    go_first(folder, "a change of the library");
    let end = Instant::now() + PATIENCE;
    while busy(&opened) && Instant::now() < end {
        std::thread::sleep(Duration::from_millis(100));
        opened = open();
    }
    opened
}

/// The folder of the library that there is.
pub fn named(common: &Common) -> Result<PathBuf> {
    folder(common)?.ok_or_else(|| {
        let next = "name one with --library DIR, or make one with: downbox cut --game NAME --sideline FILM";
        Error::refused("there is no library here", here().unwrap_or_default().display(), next)
    })
}

/// Opens the library to read, if there is one yet.
pub fn open_if_there(common: &Common) -> Result<Option<Library>> {
    present(common)?.map(|folder| Library::open(&folder, Access::Read)).transpose()
}

/// Opens the library to write; makes it where there is none, and says so.
pub fn open_or_make(common: &Common) -> Result<Library> {
    let folder = match folder(common)? {
        Some(folder) => folder,
        None => Library::usual(&here()?),
    };
    if !is_library(&folder) && !common.quiet {
        super::output::note(format!("a new library is made: {}", super::output::path(&folder)));
    }
    after_the_night(&folder, || Library::create(&folder, Some(&Settings::commented())))
}
