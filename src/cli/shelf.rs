//! Which library a command works on.

use std::path::PathBuf;

use super::args::Common;
use crate::base::{Error, Result};
use crate::jobs::Settings;
use crate::library::{Access, Library};

/// The default library's folder, made where none is named and none is found.
const DEFAULT: &str = "film-library";

fn found(common: &Common) -> Result<Option<PathBuf>> {
    let here = std::env::current_dir()
        .map_err(|cause| Error::failed("cannot tell the present folder", "", "change to a folder that exists").because(cause))?;
    Ok(Library::find(common.library.as_deref(), std::env::var_os("DOWNBOX_LIBRARY").map(PathBuf::from).as_deref(), &here))
}

/// Opens the library to read.
pub fn open(common: &Common) -> Result<Library> {
    let folder = found(common)?.ok_or_else(|| {
        Error::refused(
            "there is no library here",
            "",
            "name one with --library DIR, or make one with: downbox cut --game NAME --sideline FILM",
        )
    })?;
    Library::open(&folder, Access::Read)
}

/// Opens the library to write; makes it if need be, and says so.
pub fn open_or_make(common: &Common) -> Result<Library> {
    let folder = match found(common)? {
        Some(folder) => folder,
        None => {
            if !common.quiet {
                eprintln!("the library is made in ./{DEFAULT}");
            }
            PathBuf::from(DEFAULT)
        }
    };
    if folder.join("downbox.toml").exists() { Library::open(&folder, Access::Write) } else { Library::create(&folder) }
}

/// The settings in force for a library, or without one.
pub fn settings(library: Option<&Library>) -> Result<Settings> {
    let mut files: Vec<PathBuf> = Settings::user_file().into_iter().collect();
    files.extend(library.map(|l| l.folder().join("downbox.toml")));
    Settings::read(&files)
}
