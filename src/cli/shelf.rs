//! Which library a command works on.

use std::path::PathBuf;

use super::args::Common;
use crate::base::{Error, Result};
use crate::jobs::Settings;
use crate::library::{Access, Library};

fn here() -> Result<PathBuf> {
    std::env::current_dir().map_err(|cause| {
        Error::failed("cannot tell the present folder", "", "change to a folder that exists").because(cause)
    })
}

/// The folder of the library in question, if there is one.
pub fn folder(common: &Common) -> Result<Option<PathBuf>> {
    let env = std::env::var_os("DOWNBOX_LIBRARY");
    Ok(Library::find(common.library.as_deref(), env.as_deref(), &here()?))
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
    match folder(common)? {
        Some(folder) if folder.join("downbox.toml").is_file() => Library::open(&folder, Access::Read).map(Some),
        _ => Ok(None),
    }
}

/// Opens the library to write; makes it where there is none, and says so.
pub fn open_or_make(common: &Common) -> Result<Library> {
    let folder = match folder(common)? {
        Some(folder) => folder,
        None => Library::usual(&here()?),
    };
    if !folder.join("downbox.toml").is_file() && !common.quiet {
        super::output::note(format!("a new library is made: {}", super::output::path(&folder)));
    }
    Library::create(&folder, Some(&Settings::commented()))
}
