//! Whether a film's file is all there, by what its own container promises. Read by the watcher, who must tell a copy that
//! stands still from a film; what is in it is the codec room's matter.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;

/// What a file's container says of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Whole {
    /// All that it promises is there, and so is its index.
    Yes,
    /// It promises nothing: only its quiet tells.
    Untold,
    /// Something that it promises is not there: what.
    Not(String),
    /// It is no film of that ending at all: why.
    NoFilm(String),
}

/// Reads a file's outermost structure; a few hundred bytes, wherever the file is large.
///
/// # Errors
/// It cannot be read.
pub fn whole(path: &Path) -> io::Result<Whole> {
    let mut file = File::open(path)?;
    let length = file.metadata()?.len();
    if length == 0 {
        return Ok(Whole::Not("it is empty".into()));
    }
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
    match ending.as_str() {
        "mp4" | "mov" | "m4v" => boxes(&mut file, length),
        "avi" => riff(&mut file, length),
        "mkv" => matroska(&mut file, length),
        _ => transport(&mut file),
    }
}

fn bytes_at<const N: usize>(file: &mut File, at: u64) -> io::Result<Option<[u8; N]>> {
    file.seek(SeekFrom::Start(at))?;
    let mut bytes = [0; N];
    match file.read_exact(&mut bytes) {
        Ok(()) => Ok(Some(bytes)),
        Err(cause) if cause.kind() == io::ErrorKind::UnexpectedEof => Ok(None),
        Err(cause) => Err(cause),
    }
}

fn short(there: u64, promised: u64) -> Whole {
    let mega = |bytes: u64| bytes as f64 / 1e6;
    Whole::Not(format!("{:.1} of {:.1} MB are there", mega(there), mega(promised)))
}

/// Boxes of ISO/IEC 14496-12 (and QuickTime's atoms): they fill the file, and one of them is the index.
fn boxes(file: &mut File, length: u64) -> io::Result<Whole> {
    const KINDS: [&[u8; 4]; 14] = [
        b"ftyp", b"moov", b"mdat", b"free", b"skip", b"wide", b"pnot", b"uuid", b"moof", b"sidx", b"styp", b"mfra",
        b"meta", b"udta",
    ];
    let (mut at, mut index) = (0u64, false);
    while at < length {
        let Some([a, b, c, d, kind @ ..]) = bytes_at::<8>(file, at)? else {
            return Ok(if at == 0 { Whole::NoFilm("it is no MP4 or MOV file".into()) } else { short(length, at + 8) });
        };
        if at == 0 && !KINDS.contains(&&kind) {
            return Ok(Whole::NoFilm("it is no MP4 or MOV file".into()));
        }
        let size = match u32::from_be_bytes([a, b, c, d]) {
            0 => length - at,
            1 => match bytes_at::<8>(file, at + 8)? {
                Some(size) => u64::from_be_bytes(size),
                None => return Ok(short(length, at + 16)),
            },
            size => u64::from(size),
        };
        if size < 8 {
            // What follows the last box is no box: room that a camera reserved, or a copy whose end is not written yet.
            return Ok(if index { Whole::Untold } else { Whole::Not("its index is not there yet".into()) });
        }
        index |= &kind == b"moov";
        at = at.saturating_add(size);
    }
    Ok(match (at > length, index) {
        (true, _) => short(length, at),
        (false, true) => Whole::Yes,
        (false, false) => Whole::Not("its index is not there yet".into()),
    })
}

/// RIFF chunks (Microsoft's Multimedia Programming Interface 1.0; OpenDML's further ones).
fn riff(file: &mut File, length: u64) -> io::Result<Whole> {
    let mut at = 0;
    while at < length {
        let Some([r, i, f, g, a, b, c, d, kind @ ..]) = bytes_at::<12>(file, at)? else { break };
        if &[r, i, f, g] != b"RIFF" || !kind.starts_with(b"AVI") {
            return Ok(if at == 0 { Whole::NoFilm("it is no AVI file".into()) } else { Whole::Untold });
        }
        let size = u64::from(u32::from_le_bytes([a, b, c, d]));
        if size == 0 {
            return Ok(Whole::Not("its length is not written yet".into()));
        }
        at += 8 + size + size % 2;
    }
    // The last pad byte may be left out.
    Ok(match at {
        0 => Whole::NoFilm("it is no AVI file".into()),
        at if at > length + 1 => short(length, at),
        _ => Whole::Yes,
    })
}

/// Matroska's header and segment (RFC 9559), whose size may be unknown.
fn matroska(file: &mut File, length: u64) -> io::Result<Whole> {
    const HEADER: u64 = 0x1A45_DFA3;
    const SEGMENT: u64 = 0x1853_8067;
    let mut at = 0;
    for wanted in [HEADER, SEGMENT] {
        let Some((id, after)) = number(file, at, true)? else {
            return Ok(Whole::NoFilm("it is no Matroska file".into()));
        };
        if id != wanted {
            return Ok(Whole::NoFilm("it is no Matroska file".into()));
        }
        let Some((size, data)) = number(file, after, false)? else { return Ok(short(length, after + 8)) };
        if size == u64::MAX {
            return Ok(Whole::Untold);
        }
        at = data.saturating_add(size);
    }
    Ok(if at > length { short(length, at) } else { Whole::Yes })
}

/// A number of EBML (RFC 8794, section 4) and where it ends; all ones is unknown, given as the most there is.
fn number(file: &mut File, at: u64, keep_mark: bool) -> io::Result<Option<(u64, u64)>> {
    let Some([first]) = bytes_at::<1>(file, at)? else { return Ok(None) };
    let count = first.leading_zeros() as u64 + 1;
    if count > 8 {
        return Ok(None);
    }
    let mark = 1u64 << (8 - count);
    let mut value = u64::from(first) & if keep_mark { 0xFF } else { mark - 1 };
    let mut all_ones = u64::from(first) & (mark - 1) == mark - 1;
    for k in 1..count {
        let Some([byte]) = bytes_at::<1>(file, at + k)? else { return Ok(None) };
        value = value << 8 | u64::from(byte);
        all_ones &= byte == 0xFF;
    }
    Ok(Some((if all_ones && !keep_mark { u64::MAX } else { value }, at + count)))
}

/// MPEG transport packets (ISO/IEC 13818-1): 188 bytes that begin with 0x47, or 192 with four in front.
fn transport(file: &mut File) -> io::Result<Whole> {
    for (first, step) in [(0, 188), (4, 192)] {
        let here = bytes_at::<1>(file, first)? == Some([0x47]);
        if here && bytes_at::<1>(file, first + step)?.is_none_or(|byte| byte == [0x47]) {
            return Ok(Whole::Untold);
        }
    }
    Ok(Whole::NoFilm("it is no MPEG transport stream".into()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(name: &str, bytes: &[u8]) -> Whole {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        whole(&path).unwrap()
    }

    fn a_box(kind: &[u8; 4], content: usize) -> Vec<u8> {
        let mut out = (content as u32 + 8).to_be_bytes().to_vec();
        out.extend(kind);
        out.resize(content + 8, 0);
        out
    }

    #[test]
    fn every_length_of_an_mp4_but_the_whole_is_not_whole() {
        let film = [a_box(b"ftyp", 16), a_box(b"mdat", 900), a_box(b"moov", 300)].concat();
        assert_eq!(told("a.mp4", &film), Whole::Yes);
        for length in (8..film.len()).step_by(7) {
            let told = told("a.MOV", &film[..length]);
            assert!(matches!(told, Whole::Not(_)), "{length}: {told:?}");
        }
        // An index in front does not make what lies behind it.
        let front = [a_box(b"ftyp", 16), a_box(b"moov", 300), a_box(b"mdat", 900)].concat();
        assert_eq!(told("a.m4v", &front), Whole::Yes);
        assert_eq!(told("a.m4v", &front[..800]), Whole::Not("0.0 of 0.0 MB are there".into()));
        // Room that is reserved and not written yet is zeros.
        let reserved = [a_box(b"ftyp", 16), vec![0; 400]].concat();
        assert_eq!(told("a.mp4", &reserved), Whole::Not("its index is not there yet".into()));
    }

    #[test]
    fn other_containers_by_their_own_promise() {
        let riff = |promised: u32, there: usize| {
            let mut bytes = [b"RIFF".to_vec(), promised.to_le_bytes().to_vec(), b"AVI ".to_vec()].concat();
            bytes.resize(there + 8, 1);
            bytes
        };
        assert_eq!(told("a.avi", &riff(400, 400)), Whole::Yes);
        assert!(matches!(told("a.avi", &riff(400, 200)), Whole::Not(_)));
        let matroska = |size: [u8; 2], there: usize| {
            let mut bytes = vec![0x1A, 0x45, 0xDF, 0xA3, 0x84, 1, 2, 3, 4, 0x18, 0x53, 0x80, 0x67];
            bytes.extend(size);
            bytes.resize(bytes.len() + there, 1);
            bytes
        };
        assert_eq!(told("a.mkv", &matroska([0x41, 0x00], 256)), Whole::Yes);
        assert!(matches!(told("a.mkv", &matroska([0x41, 0x00], 255)), Whole::Not(_)));
        assert_eq!(told("a.mkv", &matroska([0x7F, 0xFF], 9)), Whole::Untold);
        let packets = [[0x47; 1].as_slice(), &[0; 187]].concat().repeat(3);
        assert_eq!(told("a.ts", &packets), Whole::Untold);
        for name in ["a.mp4", "a.avi", "a.mkv", "a.mts"] {
            assert!(matches!(told(name, b"third and short, one-high shell"), Whole::NoFilm(_)), "{name}");
            assert!(matches!(told(name, b""), Whole::Not(_)), "{name}");
        }
    }
}
