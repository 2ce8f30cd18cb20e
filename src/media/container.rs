//! What a file's outermost boxes say of its length, so that a file cut short is told from a whole one.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

use crate::base::{IoContext, Result};

/// What the outermost boxes tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Told {
    /// Bytes that the file should have; `None` where its kind does not say.
    pub promised: Option<u64>,
    /// An MP4 or MOV without its index (`moov`): a recording that was never closed, or cut off before it.
    pub without_index: bool,
}

/// Reads the outermost boxes of MP4 and MOV (ISO/IEC 14496-12), Matroska (RFC 8794, RFC 9559) and AVI (RIFF).
pub fn read(path: &Path) -> Result<Told> {
    let mut file = File::open(path).doing("open the film", path)?;
    let length = file.metadata().doing("open the film", path)?.len();
    look(&mut file, length).doing("read the film", path)
}

fn look<F: Read + Seek>(file: &mut F, length: u64) -> std::io::Result<Told> {
    let head = bytes_at(file, 0)?;
    match head.as_slice() {
        [b'R', b'I', b'F', b'F', a, b, c, d, ..] => Ok(riff(file, length, u32::from_le_bytes([*a, *b, *c, *d]))?),
        [0x1a, 0x45, 0xdf, 0xa3, ..] => matroska(file, &head),
        [_, _, _, _, b'f', b't', b'y', b'p', ..] => boxes(file, length),
        // MOV files of old may begin with any of these.
        [_, _, _, _, kind @ ..]
            if [b"moov", b"mdat", b"wide", b"free", b"skip"].iter().any(|k| kind.starts_with(*k)) =>
        {
            boxes(file, length)
        }
        _ => Ok(Told::default()),
    }
}

fn bytes_at<F: Read + Seek>(file: &mut F, at: u64) -> std::io::Result<Vec<u8>> {
    file.seek(SeekFrom::Start(at))?;
    let mut head = Vec::new();
    file.take(16).read_to_end(&mut head)?;
    Ok(head)
}

fn boxes<F: Read + Seek>(file: &mut F, length: u64) -> std::io::Result<Told> {
    let mut told = Told { promised: Some(0), without_index: true };
    let mut at = 0u64;
    // A fragmented recording of hours has some ten thousand boxes.
    for _ in 0..1_000_000 {
        let head = bytes_at(file, at)?;
        let [a, b, c, d, kind @ ..] = head.as_slice() else { break };
        if kind.len() < 4 {
            break;
        }
        let size = match u64::from(u32::from_be_bytes([*a, *b, *c, *d])) {
            // To the end of the file.
            0 => length.saturating_sub(at),
            1 => {
                let mut wide = [0; 8];
                let Some(given) = kind.get(4..12) else { break };
                wide.copy_from_slice(given);
                u64::from_be_bytes(wide)
            }
            size => size,
        };
        if size < 8 {
            break;
        }
        // An index that is itself cut off is none.
        if kind.starts_with(b"moov") && at + size <= length {
            told.without_index = false;
        }
        at = at.saturating_add(size);
        told.promised = Some(at);
        if at >= length {
            break;
        }
    }
    Ok(told)
}

fn matroska<F: Read + Seek>(file: &mut F, head: &[u8]) -> std::io::Result<Told> {
    let Some((header, bytes)) = variable_size(head.get(4..).unwrap_or(&[])) else { return Ok(Told::default()) };
    let Some(header) = header else { return Ok(Told::default()) };
    let at = 4 + bytes as u64 + header;
    let segment = bytes_at(file, at)?;
    if !segment.starts_with(&[0x18, 0x53, 0x80, 0x67]) {
        return Ok(Told::default());
    }
    let promised = match variable_size(&segment[4..]) {
        Some((Some(size), bytes)) => Some(at + 4 + bytes as u64 + size),
        _ => None,
    };
    Ok(Told { promised, without_index: false })
}

/// An EBML size: its value (`None` for "unknown", all ones) and how many bytes it takes.
fn variable_size(data: &[u8]) -> Option<(Option<u64>, usize)> {
    let first = *data.first()?;
    let bytes = first.leading_zeros() as usize + 1;
    if bytes > 8 {
        return None;
    }
    let mut value = u64::from(first) & ((1 << (8 - bytes)) - 1);
    for b in data.get(1..bytes)? {
        value = value << 8 | u64::from(*b);
    }
    let unknown = value == (1u64 << (7 * bytes)) - 1;
    Some(((!unknown).then_some(value), bytes))
}

/// Chunks of 1 GB one after another (OpenDML). A first size of 0 is a recording that was never closed.
fn riff<F: Read + Seek>(file: &mut F, length: u64, first: u32) -> std::io::Result<Told> {
    if first == 0 {
        return Ok(Told::default());
    }
    let mut at = 0u64;
    let mut size = first;
    loop {
        at += 8 + u64::from(size) + u64::from(size & 1);
        if at >= length {
            break;
        }
        match bytes_at(file, at)?.as_slice() {
            [b'R', b'I', b'F', b'F', a, b, c, d, ..] if *a | *b | *c | *d != 0 => {
                size = u32::from_le_bytes([*a, *b, *c, *d])
            }
            _ => break,
        }
    }
    Ok(Told { promised: Some(at), without_index: false })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    fn told(data: &[u8]) -> Told {
        look(&mut Cursor::new(data), data.len() as u64).unwrap()
    }

    #[test]
    fn boxes_promise_their_length_and_an_index() {
        let mut file = Vec::new();
        file.extend(16u32.to_be_bytes());
        file.extend(b"ftypisom\0\0\0\0");
        let index = [&8u32.to_be_bytes()[..], b"moov"].concat();
        let data = [&1u32.to_be_bytes()[..], b"mdat", &100u64.to_be_bytes(), &[0; 84]].concat();
        let front = [&file[..], &index, &data].concat();
        assert_eq!(told(&front), Told { promised: Some(124), without_index: false });
        assert_eq!(told(&front[..60]), Told { promised: Some(124), without_index: false });
        let back = [&file[..], &data, &index].concat();
        assert_eq!(told(&back), Told { promised: Some(124), without_index: false });
        assert_eq!(told(&back[..60]), Told { promised: Some(116), without_index: true });
        // A last box that runs to the end promises nothing beyond it.
        let open = [&file[..], &index, &0u32.to_be_bytes(), b"mdat", &[0; 50]].concat();
        assert_eq!(told(&open).promised, Some(open.len() as u64));
    }

    #[test]
    fn matroska_and_riff_promise_their_length() {
        let segment =
            |size: &[u8]| [&[0x1a, 0x45, 0xdf, 0xa3, 0x82, 1, 2, 0x18, 0x53, 0x80, 0x67], size, &[0; 20]].concat();
        // RFC 8794 section 4: 0x41F4 is 500 in two bytes, 0xFF is unknown.
        assert_eq!(told(&segment(&[0x41, 0xf4])).promised, Some(13 + 500));
        assert_eq!(told(&segment(&[0xff])).promised, None);
        let riff = [b"RIFF", &92u32.to_le_bytes()[..], b"AVI ", &[0; 60]].concat();
        assert_eq!(told(&riff).promised, Some(100));
        assert_eq!(told(b"not a film at all"), Told::default());
        assert_eq!(told(b""), Told::default());
    }
}
