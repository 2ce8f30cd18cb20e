//! Which library a command works on.

use std::path::{Path, PathBuf};

use super::args::Common;
use crate::base::{Error, Result};
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
    Library::open(&named(common)?, Access::Write)
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
    Library::create(&folder, Some(&Settings::commented()))
}
