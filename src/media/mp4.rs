//! An MP4 file written at once: what every sample is, is known before the first byte is written.
//!
//! So the index stands in front without the file being written twice, and samples whose bytes lie in the film as they
//! are to lie in the clip go from file to file in long runs, however many packets they hold.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::Path;

use ffmpeg_next as ff;

use super::boxes;
use crate::base::{IoContext, Rate, Result};

/// Where a sample's bytes are.
pub enum Data {
    /// In memory.
    Held(ff::Packet),
    /// In the film's file.
    At { at: u64, size: u32 },
}

impl Data {
    /// How many bytes.
    pub fn len(&self) -> u64 {
        match self {
            Self::Held(packet) => packet.size() as u64,
            Self::At { size, .. } => u64::from(*size),
        }
    }
}

/// One sample of a track, in ticks of the track from the in-point on; what is shown before 0 is hidden.
pub struct Sample {
    /// Its bytes.
    pub data: Data,
    /// When it is decoded, no later than it is shown.
    pub dts: i64,
    /// When it is shown.
    pub pts: i64,
    /// Whether decoding can begin here.
    pub key: bool,
}

/// Meaning of the numbers of a picture, by the code points of ITU-T H.273.
pub struct Colors {
    /// Primaries, transfer, matrix.
    pub points: [u16; 3],
    /// Whether they use the full range.
    pub full_range: bool,
}

/// What a track holds.
pub enum Kind {
    /// H.264 or HEVC.
    Picture {
        /// `avc1` or `hvc1`.
        tag: [u8; 4],
        /// `avcC` or `hvcC`.
        record_tag: [u8; 4],
        /// Its content.
        record: Vec<u8>,
        /// As coded.
        width: u16,
        /// As coded.
        height: u16,
        /// Of a sample.
        aspect: Rate,
        /// What the film says of its colors, if anything.
        colors: Option<Colors>,
        /// The film's display matrix.
        matrix: Option<Vec<u8>>,
    },
    /// AAC.
    Sound {
        /// How many.
        channels: u16,
        /// Samples a second.
        rate: u32,
        /// AudioSpecificConfig.
        config: Vec<u8>,
    },
}

/// One track, its samples in decode order.
pub struct Track {
    /// What it holds.
    pub kind: Kind,
    /// Length of a tick in seconds.
    pub base: ff::Rational,
    /// In decode order.
    pub samples: Vec<Sample>,
    /// When the last sample ends in decode time, in ticks.
    pub last: i64,
    /// What is shown ends here, in ticks.
    pub end: i64,
}

impl Track {
    /// Time from each sample to the next in decode time, in ticks of the file.
    pub fn steps(&self) -> impl Iterator<Item = u32> {
        let times = self.samples.iter().map(|s| s.dts);
        let next = self.samples.iter().skip(1).map(|s| s.dts).chain([self.last]);
        times.zip(next).map(|(a, b)| ((b - a).max(0) * i64::from(self.base.0.max(1))) as u32)
    }

    fn seconds(&self, ticks: i64) -> f64 {
        ticks as f64 * f64::from(self.base.0) / f64::from(self.base.1.max(1))
    }
}

/// What is written in one go: it stays in the cache of a core between reading and writing.
const BLOCK: usize = 256 * 1024;

/// The sound may lie so far from the picture shown with it, in seconds, before a player has to seek.
const APART: f64 = 2.0;
/// Where the two are laid anew, the sound is this far ahead.
const AHEAD: f64 = 0.5;

/// Writes the file. Samples that are `At` a place are read from `film`.
pub fn write(path: &Path, tracks: &[Track], film: &mut File, film_path: &Path) -> Result<()> {
    let order = order(tracks);
    let (mut places, mut data) = (tracks.iter().map(|t| vec![0u64; t.samples.len()]).collect::<Vec<_>>(), 0u64);
    for &(t, s) in &order {
        places[t][s] = data;
        data += tracks[t].samples[s].data.len();
    }
    let kind = boxes::ftyp();
    // The index is as long wherever the data begin.
    let wide = data > u64::from(u32::MAX) - (1 << 28);
    let mut head = kind.clone();
    let begin = kind.len() + boxes::moov(tracks, &places, wide).len() + if wide { 16 } else { 8 };
    places.iter_mut().flatten().for_each(|place| *place += begin as u64);
    head.extend(boxes::moov(tracks, &places, wide));
    if wide {
        head.extend(1u32.to_be_bytes());
        head.extend(b"mdat");
        head.extend((data + 16).to_be_bytes());
    } else {
        head.extend((data as u32 + 8).to_be_bytes());
        head.extend(b"mdat");
    }
    let mut out = Out { file: File::create(path).doing("write the file", path)?, path, block: vec![0; BLOCK], used: 0 };
    out.put(&head)?;
    let mut run: Option<(u64, u64)> = None;
    for &(t, s) in &order {
        match &tracks[t].samples[s].data {
            Data::At { at, size } => match &mut run {
                Some((from, long)) if *from + *long == *at => *long += u64::from(*size),
                _ => {
                    if let Some((from, long)) = run.replace((*at, u64::from(*size))) {
                        out.copy(film, film_path, from, long)?;
                    }
                }
            },
            Data::Held(packet) => {
                if let Some((from, long)) = run.take() {
                    out.copy(film, film_path, from, long)?;
                }
                out.put(packet.data().unwrap_or(&[]))?;
            }
        }
    }
    if let Some((from, long)) = run {
        out.copy(film, film_path, from, long)?;
    }
    out.flush()
}

/// The order in which samples lie in the file: as they lie in the film, where all of them lie there with sound and picture
/// close together; else by time, the sound a moment ahead.
fn order(tracks: &[Track]) -> Vec<(usize, usize)> {
    let mut all: Vec<(usize, usize)> =
        tracks.iter().enumerate().flat_map(|(t, track)| (0..track.samples.len()).map(move |s| (t, s))).collect();
    let place = |&(t, s): &(usize, usize)| match tracks[t].samples[s].data {
        Data::At { at, .. } => Some(at),
        Data::Held(_) => None,
    };
    if all.iter().all(|sample| place(sample).is_some()) {
        all.sort_by_key(|sample| place(sample).unwrap_or(0));
        let mut latest: Vec<Option<f64>> = vec![None; tracks.len()];
        let close = all.iter().all(|&(t, s)| {
            let now = tracks[t].seconds(tracks[t].samples[s].dts);
            latest[t] = Some(now);
            latest.iter().flatten().all(|other| (other - now).abs() <= APART)
        });
        // The decode order of a track is the order of its chunks.
        let ordered = tracks.iter().enumerate().all(|(t, track)| {
            let mut next = 0;
            all.iter().filter(|(of, _)| *of == t).all(|(_, s)| {
                next += 1;
                *s + 1 == next
            }) && next == track.samples.len()
        });
        if close && ordered {
            return all;
        }
    }
    all.sort_by(|a, b| {
        let time = |&(t, s): &(usize, usize)| {
            let track = &tracks[t];
            let now = track.seconds(track.samples[s].dts);
            // Blocks of sound, so that runs of picture stay long.
            match track.kind {
                Kind::Picture { .. } => now,
                Kind::Sound { .. } => (now / AHEAD).floor() * AHEAD - AHEAD,
            }
        };
        time(a).total_cmp(&time(b)).then(a.cmp(b))
    });
    all
}

/// The file being written.
struct Out<'a> {
    file: File,
    path: &'a Path,
    block: Vec<u8>,
    used: usize,
}

impl Out<'_> {
    fn put(&mut self, mut data: &[u8]) -> Result<()> {
        while !data.is_empty() {
            let (now, rest) = data.split_at(data.len().min(BLOCK - self.used));
            self.block[self.used..self.used + now.len()].copy_from_slice(now);
            data = rest;
            self.filled(now.len())?;
        }
        Ok(())
    }

    /// Bytes of the film as they are.
    fn copy(&mut self, film: &mut File, film_path: &Path, from: u64, mut long: u64) -> Result<()> {
        film.seek(SeekFrom::Start(from)).doing("read the film", film_path)?;
        // A long run need not pass through this program at all (copy_file_range, sendfile).
        if long >= BLOCK as u64 {
            self.flush()?;
            let copied = std::io::copy(&mut film.take(long), &mut self.file).doing("write the file", self.path)?;
            if copied < long {
                let cause = std::io::Error::from(std::io::ErrorKind::UnexpectedEof);
                return Err(cause).doing("read the film", film_path);
            }
            return Ok(());
        }
        while long > 0 {
            let now = long.min((BLOCK - self.used) as u64) as usize;
            film.read_exact(&mut self.block[self.used..self.used + now]).doing("read the film", film_path)?;
            long -= now as u64;
            self.filled(now)?;
        }
        Ok(())
    }

    fn filled(&mut self, by: usize) -> Result<()> {
        self.used += by;
        if self.used >= BLOCK { self.flush() } else { Ok(()) }
    }

    fn flush(&mut self) -> Result<()> {
        self.file.write_all(&self.block[..self.used]).doing("write the file", self.path)?;
        self.used = 0;
        Ok(())
    }
}
