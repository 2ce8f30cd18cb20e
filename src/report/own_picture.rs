//! Pictures that tell that they are the program's own, so that no other file is ever written over.

use std::io::Read;
use std::path::Path;

use crate::base::{Error, IoContext, PendingFile, Result};

/// What stands in the picture: a text chunk of PNG (W3C PNG specification, third edition, 11.3.3.2), keyword `Software`.
const MARK: &[u8] = b"Software\0downbox explain";
/// Where the chunk goes: behind the signature (8 bytes) and the header chunk (25).
const AT: usize = 33;

/// Refuses a name under which the picture must not be written: another ending than `.png`, or a file that is there and is
/// no such picture.
///
/// # Errors
/// Those, or that a file which is there cannot be read.
pub fn check_name(out: &Path) -> Result<()> {
    if !out.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("png")) {
        let next = "give a file name that ends in .png";
        return Err(Error::refused("cannot write the picture: it is a PNG file", out.display(), next));
    }
    if out.symlink_metadata().is_err() {
        return Ok(());
    }
    if out.is_file() && is_own(out)? {
        return Ok(());
    }
    let what = "cannot write the picture: something of that name is there that is no such picture";
    Err(Error::refused(what, out.display(), "give another name with --out, or move that file away"))
}

fn is_own(path: &Path) -> Result<bool> {
    let doing = "look at the file that is there";
    let mut head = Vec::new();
    std::fs::File::open(path).doing(doing, path)?.take(256).read_to_end(&mut head).doing(doing, path)?;
    Ok(head.starts_with(b"\x89PNG\r\n\x1a\n") && head.windows(MARK.len()).any(|bytes| bytes == MARK))
}

/// Writes a PNG with the mark in it, whole or not at all.
///
/// # Errors
/// Those of [`check_name`]; the disk.
pub fn write(out: &Path, png: &[u8]) -> Result<()> {
    check_name(out)?;
    let pending = PendingFile::new(out)?;
    std::fs::write(pending.path(), marked(png)).doing("write the picture", out)?;
    pending.commit()
}

fn marked(png: &[u8]) -> Vec<u8> {
    let (head, rest) = png.split_at(AT.min(png.len()));
    let mut named = b"tEXt".to_vec();
    named.extend_from_slice(MARK);
    let mut out = head.to_vec();
    out.extend_from_slice(&(MARK.len() as u32).to_be_bytes());
    out.extend_from_slice(&named);
    out.extend_from_slice(&crc(&named).to_be_bytes());
    out.extend_from_slice(rest);
    out
}

/// The check of PNG's chunks: CRC-32 of ISO 3309, bit by bit; one chunk of 28 bytes needs no table.
fn crc(bytes: &[u8]) -> u32 {
    let mut crc = u32::MAX;
    for &byte in bytes {
        crc ^= u32::from(byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 { (crc >> 1) ^ 0xEDB8_8320 } else { crc >> 1 };
        }
    }
    !crc
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::paint::{Canvas, paint};

    #[test]
    fn only_its_own_pictures_are_written_over() {
        // The check value of this CRC: 0xCBF43926 for "123456789" (catalogue of parametrised CRC algorithms).
        assert_eq!(crc(b"123456789"), 0xCBF4_3926);
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        let png = Canvas::new(20, 10, paint::INK).unwrap().png().unwrap();
        write(&at("a.png"), &png).unwrap();
        let pixels = tiny_skia::Pixmap::decode_png(&std::fs::read(at("a.png")).unwrap()).unwrap();
        assert_eq!((pixels.width(), pixels.height()), (20, 10), "it is still a PNG");
        write(&at("a.png"), &png).unwrap();

        std::fs::write(at("other.png"), &png).unwrap();
        std::fs::write(at("film.png"), b"film under a wrong name").unwrap();
        std::fs::create_dir(at("folder.png")).unwrap();
        for name in ["other.png", "film.png", "folder.png"] {
            let error = write(&at(name), &png).unwrap_err();
            assert!(error.to_string().contains(name) && error.next.contains("--out"), "{error}");
        }
        assert_eq!(std::fs::read(at("other.png")).unwrap(), png);
        let error = check_name(&at("film.mp4")).unwrap_err();
        assert!(error.next.contains(".png"), "{error}");
    }
}
