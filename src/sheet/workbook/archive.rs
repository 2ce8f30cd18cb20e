//! The zip file that a workbook is, unpacked once within bounds before anything else reads it.

use std::io::{Cursor, Read};

use zip::ZipArchive;

use super::{damaged, too_large};
use crate::base::{Error, Result};

/// Text that a workbook may unpack to. A season's sheet is below 10 MiB; an archive made to exhaust a machine is not.
const MOST_UNPACKED: u64 = 96 << 20;

/// Entries that an archive may have.
const MOST_ENTRIES: usize = 4096;

/// Shared formulas of a worksheet are kept in a list by their number; a number beyond this is damage.
const MOST_SHARED_FORMULA: u64 = 1_000_000;

/// What an archive holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// An Office Open XML workbook.
    Xlsx,
    /// An OpenDocument spreadsheet.
    Ods,
}

/// Tells what the archive holds, after unpacking all its texts once within bounds.
pub fn kind(bytes: &[u8], name: &str) -> Result<Kind> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|cause| damaged(name, cause))?;
    if archive.len() > MOST_ENTRIES {
        return Err(too_large(name, &format!("{} entries", archive.len())));
    }
    let names: Vec<String> = archive.file_names().filter_map(|n| n.ok().map(std::borrow::Cow::into_owned)).collect();
    let has = |wanted: &str| names.iter().any(|n| n.eq_ignore_ascii_case(wanted));
    if has("xl/workbook.bin") || names.iter().any(|n| n.starts_with("Index/") || n.ends_with(".iwa")) {
        return Err(Error::refused(
            "cannot read the tag sheet: this kind of workbook is not read",
            name,
            "save it as XLSX or CSV in the program it was made with, then name that file",
        ));
    }
    let kind = if has("content.xml") && has("mimetype") {
        Kind::Ods
    } else if has("[Content_Types].xml") && names.iter().any(|n| n.to_lowercase().contains("workbook")) {
        Kind::Xlsx
    } else {
        return Err(Error::refused(
            "cannot read the tag sheet: it is a zip file and no workbook",
            name,
            "unpack it, then name the sheet inside",
        ));
    };
    let mut left = MOST_UNPACKED;
    for index in 0..archive.len() {
        let entry = archive.by_index(index).map_err(|cause| damaged(name, cause))?;
        let path = entry.name().map(|n| n.to_lowercase()).unwrap_or_default();
        if ![".xml", ".rels", ".bin"].iter().any(|end| path.ends_with(end)) {
            continue;
        }
        let mut text = Vec::new();
        entry.take(left + 1).read_to_end(&mut text).map_err(|cause| damaged(name, cause))?;
        left = left
            .checked_sub(text.len() as u64)
            .ok_or_else(|| too_large(name, &format!("it unpacks to more than {} MiB", MOST_UNPACKED >> 20)))?;
        if kind == Kind::Xlsx && largest_shared_formula(&text) > MOST_SHARED_FORMULA {
            return Err(damaged(name, "a shared formula's number is out of bounds"));
        }
    }
    Ok(kind)
}

/// One text of an archive whose bounds were looked at.
pub fn text(bytes: &[u8], path: &str, name: &str) -> Result<Option<Vec<u8>>> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|cause| damaged(name, cause))?;
    let entry = match archive.by_name(path) {
        Ok(entry) => entry,
        Err(zip::result::ZipError::FileNotFound) => return Ok(None),
        Err(cause) => return Err(damaged(name, cause)),
    };
    let mut text = Vec::new();
    entry.take(MOST_UNPACKED).read_to_end(&mut text).map_err(|cause| damaged(name, cause))?;
    Ok(Some(text))
}

/// The largest `si="..."` of a worksheet's text.
fn largest_shared_formula(text: &[u8]) -> u64 {
    let mut most = 0;
    let mut at = 0;
    while let Some(found) = text[at..].windows(3).position(|w| w == b"si=") {
        at += found + 3;
        let digits = text[at..].iter().skip(1).take_while(|b| b.is_ascii_digit()).take(20);
        let number = digits.fold(0u64, |n, d| n.saturating_mul(10).saturating_add(u64::from(d - b'0')));
        most = most.max(number);
    }
    most
}
