//! The kinds of sidecar, their names and their files.

use std::fmt;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use super::{Listing, csv, edl, index, otio, vtt};
use crate::base::{Error, IoContext, Rate, Result};
use crate::film::REEL_MARK;

/// A file that tells of a reel, beside it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// WebVTT captions.
    Vtt,
    /// Segments as CSV.
    Csv,
    /// OpenTimelineIO.
    Otio,
    /// CMX3600 edit decision list.
    Edl,
    /// A page with a still of every segment.
    Html,
}

impl Kind {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::Vtt, Self::Csv, Self::Otio, Self::Edl, Self::Html];

    /// Its name, and the ending of its file.
    pub fn name(self) -> &'static str {
        match self {
            Self::Vtt => "vtt",
            Self::Csv => "csv",
            Self::Otio => "otio",
            Self::Edl => "edl",
            Self::Html => "html",
        }
    }

    /// Reads names, each a kind or `all`; in the order of [`Kind::ALL`], each once.
    ///
    /// # Errors
    /// A name that is none.
    pub fn read<'a>(names: impl IntoIterator<Item = &'a str>) -> Result<Vec<Self>> {
        let mut kinds = Vec::new();
        for name in names {
            match name.trim() {
                "all" => kinds.extend(Self::ALL),
                one => kinds.push(one.parse()?),
            }
        }
        kinds.sort_unstable();
        kinds.dedup();
        Ok(kinds)
    }

    /// Its file beside a reel: the reel's, with another ending.
    pub fn beside(self, reel: &Path) -> PathBuf {
        reel.with_extension(self.name())
    }

    /// Refuses, before anything is rendered, what could not be written at the end: see [`edl::check`].
    ///
    /// # Errors
    /// That it could not.
    pub fn check(self, rate: Rate, segments: usize) -> Result<()> {
        match self {
            Self::Edl => edl::check(rate, segments).map(|_| ()),
            Self::Vtt | Self::Csv | Self::Otio | Self::Html => Ok(()),
        }
    }

    /// What stands in the file. `stills`: a JPEG for each entry, where there is one; only the page shows them.
    ///
    /// # Errors
    /// Those of [`Kind::check`].
    pub fn text(self, listing: &Listing, stills: &[Option<Vec<u8>>]) -> Result<String> {
        match self {
            Self::Vtt => Ok(vtt(listing)),
            Self::Csv => Ok(csv(listing)),
            Self::Otio => Ok(otio(listing)),
            Self::Edl => edl(listing),
            Self::Html => Ok(index(listing, stills)),
        }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl FromStr for Kind {
    type Err = Error;

    fn from_str(name: &str) -> Result<Self> {
        Self::ALL.into_iter().find(|kind| kind.name().eq_ignore_ascii_case(name)).ok_or_else(|| {
            let names: Vec<&str> = Self::ALL.iter().map(|kind| kind.name()).collect();
            Error::refused("there is no such sidecar", name, format!("use {}, or all", names.join(", ")))
        })
    }
}

/// Whether a file is a sidecar that was written beside an earlier reel. It bears the reel's mark near its beginning.
///
/// # Errors
/// It is there and cannot be read.
pub fn is_own(path: &Path) -> Result<bool> {
    const BEGINNING: u64 = 4096;
    let doing = "look at the file that is there";
    if !path.is_file() {
        return Ok(false);
    }
    let file = std::fs::File::open(path).doing(doing, path)?;
    let mut head = Vec::new();
    std::io::Read::read_to_end(&mut std::io::Read::take(file, BEGINNING), &mut head).doing(doing, path)?;
    Ok(head.windows(REEL_MARK.len()).any(|bytes| bytes == REEL_MARK.as_bytes()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reel::sidecar::entry::tests::listing;

    #[test]
    fn kinds_are_read_by_their_names() {
        assert_eq!(Kind::read(["html", " vtt", "vtt"]).unwrap(), [Kind::Vtt, Kind::Html]);
        assert_eq!(Kind::read(["all", "csv"]).unwrap(), Kind::ALL);
        let error = Kind::read(["srt"]).unwrap_err();
        assert!(error.place == "srt" && error.next.contains("otio"), "{error}");
        assert_eq!(Kind::Otio.beside(Path::new("a/third.short.mp4")), Path::new("a/third.short.otio"));
    }

    #[test]
    fn every_kind_is_known_again_and_names_no_folder_of_the_machine() {
        let folder = tempfile::tempdir().unwrap();
        let mut listing = listing();
        listing.title = "a long phrase ".repeat(200);
        for kind in Kind::ALL {
            let file = kind.beside(&folder.path().join("reel.mp4"));
            assert!(!is_own(&file).unwrap());
            std::fs::write(&file, kind.text(&listing, &[]).unwrap()).unwrap();
            assert!(is_own(&file).unwrap(), "{kind}");
            std::fs::write(&file, "WEBVTT\n\nsomebody's captions").unwrap();
            assert!(!is_own(&file).unwrap());
        }
        assert!(!is_own(folder.path()).unwrap());
    }
}
