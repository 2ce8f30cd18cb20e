//! A sheet's bytes to text.

use chardetng::{EncodingDetector, Iso2022JpDetection, Utf8Detection};
use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE};

use crate::base::{Error, Problem, Result};

/// Reads bytes as text: a byte-order mark decides; else UTF-16 by its zero bytes, UTF-8 where it is valid, and for the
/// rest the encoding that the letters suggest (mostly Windows-1252). `name` stands in errors and problems.
pub fn decode(bytes: &[u8], name: &str) -> Result<(String, Vec<Problem>)> {
    refuse_other_formats(bytes, name)?;
    let (encoding, skip) = encoding_of(bytes);
    let (text, bad) = encoding.decode_without_bom_handling(bytes.get(skip..).unwrap_or_default());
    if text.contains('\0') {
        return Err(Error::refused("the tag sheet is not a text", name, "save it as CSV and name that file"));
    }
    if text.trim().is_empty() {
        return Err(Error::refused("the tag sheet is empty", name, "check that it was saved, then name it again"));
    }
    let mut problems = Vec::new();
    if bad {
        let count = text.matches('\u{fffd}').count();
        let what = format!(
            "{count} {} could not be read as {} and stand as \u{fffd}",
            if count == 1 { "character" } else { "characters" },
            encoding.name()
        );
        problems.push(Problem::new(name, what));
    }
    Ok((text.into_owned(), problems))
}

/// Papers and web pages are told by their first bytes: a name can lie.
fn refuse_other_formats(bytes: &[u8], name: &str) -> Result<()> {
    let head = bytes[..bytes.len().min(256)].to_ascii_lowercase();
    let kind = match bytes {
        [b'%', b'P', b'D', b'F', ..] => "a PDF",
        [0x1f, 0x8b, ..] => "a compressed file",
        // What some programs save under a workbook's name.
        _ if head.windows(5).any(|w| w == b"<html") || head.starts_with(b"<!doctype") => "a web page",
        _ if head.windows(5).any(|w| w == b"<?xml") => "an XML document",
        _ => return Ok(()),
    };
    Err(Error::refused(
        format!("cannot read the tag sheet: it is {kind}, not a text"),
        name,
        "open it in the spreadsheet program and save it as XLSX or CSV, then name that file",
    ))
}

/// The encoding and how many bytes of mark to pass over.
fn encoding_of(bytes: &[u8]) -> (&'static Encoding, usize) {
    if let Some((encoding, mark)) = Encoding::for_bom(bytes) {
        return (encoding, mark);
    }
    // ASCII text in UTF-16 has a zero in every second byte. A quarter of them in the first 4 KiB is far more than any
    // other text has (none) and far less than ours would have (nearly all).
    let head = &bytes[..bytes.len().min(4096)];
    let zeros = |from: usize| head.iter().skip(from).step_by(2).filter(|b| **b == 0).count();
    let (even, odd) = (zeros(0), zeros(1));
    if even.max(odd) * 8 > head.len() {
        return (if odd > even { UTF_16LE } else { UTF_16BE }, 0);
    }
    if std::str::from_utf8(bytes).is_ok() {
        return (UTF_8, 0);
    }
    let mut detector = EncodingDetector::new(Iso2022JpDetection::Deny);
    detector.feed(bytes, true);
    (detector.guess(None, Utf8Detection::Deny), 0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utf16(text: &str, little: bool, mark: bool) -> Vec<u8> {
        let units = mark.then_some(0xfeff).into_iter().chain(text.encode_utf16());
        units.flat_map(|u| if little { u.to_le_bytes() } else { u.to_be_bytes() }).collect()
    }

    #[test]
    fn every_encoding_reads_the_same() {
        let text = "Down,Note\n1,José \u{2013} deep\n2,plain\n";
        let (latin, _, _) = encoding_rs::WINDOWS_1252.encode(text);
        let marked = [b"\xef\xbb\xbf", text.as_bytes()].concat();
        for bytes in [
            text.as_bytes().to_vec(),
            marked,
            latin.into_owned(),
            utf16(text, true, true),
            utf16(text, false, true),
            utf16(text, true, false),
            utf16(text, false, false),
        ] {
            let (read, problems) = decode(&bytes, "tags.csv").unwrap();
            assert_eq!(read, text);
            assert!(problems.is_empty());
        }
    }

    #[test]
    fn a_lone_curly_apostrophe_is_windows_1252() {
        let (text, _) = decode(b"Down,Note\n1,Don\x92t bite\n", "t.csv").unwrap();
        assert!(text.contains("Don\u{2019}t"), "{text}");
    }

    #[test]
    fn half_a_character_is_told() {
        let mut bytes = utf16("Down\n1\n", true, true);
        bytes.push(0x41);
        let (_, problems) = decode(&bytes, "tags.csv").unwrap();
        assert_eq!(problems[0].what, "1 character could not be read as UTF-16LE and stand as \u{fffd}");
    }

    #[test]
    fn what_is_no_text_is_refused() {
        for (bytes, words) in [
            (&b"<html><table>"[..], "a web page"),
            (&b"<?xml version=\"1.0\"?>"[..], "an XML document"),
            (&b"%PDF-1.7"[..], "a PDF"),
            (&b"  \n \n"[..], "empty"),
            (&b""[..], "empty"),
            (&b"abc\0def,ghi,jkl\n"[..], "not a text"),
        ] {
            let error = decode(bytes, "tags.xlsx").unwrap_err();
            assert!(error.to_string().contains(words), "{error}");
            assert!(error.to_string().contains("tags.xlsx"));
            assert!(!error.next.is_empty());
        }
    }
}
