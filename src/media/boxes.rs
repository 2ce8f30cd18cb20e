//! The index of an MP4 file (ISO/IEC 14496-12 for the boxes, -14 for MPEG-4 sound, -15 for H.264 and HEVC).

use super::mp4::{Kind, Sample, Track};

/// Ticks a second of the whole file: those of the sound, so that no edit is rounded by more than a sample.
const MOVIE_TICKS: i64 = 48_000;

/// A box being written; its length is filled in when its content is there.
fn in_box(out: &mut Vec<u8>, kind: &[u8; 4], content: impl FnOnce(&mut Vec<u8>)) {
    let start = out.len();
    out.extend([0; 4]);
    out.extend(kind);
    content(out);
    let length = (out.len() - start) as u32;
    out[start..start + 4].copy_from_slice(&length.to_be_bytes());
}

/// A box with a version and flags.
fn full(out: &mut Vec<u8>, kind: &[u8; 4], version: u8, flags: u32, content: impl FnOnce(&mut Vec<u8>)) {
    in_box(out, kind, |out| {
        out.extend((u32::from(version) << 24 | flags).to_be_bytes());
        content(out);
    });
}

fn u16s(out: &mut Vec<u8>, values: &[u16]) {
    values.iter().for_each(|v| out.extend(v.to_be_bytes()));
}

fn u32s(out: &mut Vec<u8>, values: &[u32]) {
    values.iter().for_each(|v| out.extend(v.to_be_bytes()));
}

/// The identity as a matrix of the file (16.16, the last column 2.30).
const UPRIGHT: [u32; 9] = [0x1_0000, 0, 0, 0, 0x1_0000, 0, 0, 0, 0x4000_0000];

/// The file's kind.
pub fn ftyp() -> Vec<u8> {
    let mut out = Vec::new();
    in_box(&mut out, b"ftyp", |out| {
        out.extend(b"isom");
        u32s(out, &[0x200]);
        out.extend(b"isomiso2avc1mp41");
    });
    out
}

/// The index. `places` has the place in the file of every sample of every track; `wide` says that they need 64 bits.
pub fn moov(tracks: &[Track], places: &[Vec<u64>], wide: bool) -> Vec<u8> {
    let mut out = Vec::new();
    let long = tracks.iter().map(|t| in_movie_ticks(t, t.end)).max().unwrap_or(0);
    in_box(&mut out, b"moov", |out| {
        full(out, b"mvhd", 1, 0, |out| {
            out.extend([0; 16]);
            u32s(out, &[MOVIE_TICKS as u32]);
            out.extend((long as u64).to_be_bytes());
            // Rate and volume 1, reserved.
            u32s(out, &[0x1_0000, 0x100_0000, 0, 0]);
            u32s(out, &UPRIGHT);
            u32s(out, &[0; 6]);
            u32s(out, &[tracks.len() as u32 + 1]);
        });
        for (k, (track, places)) in tracks.iter().zip(places).enumerate() {
            in_box(out, b"trak", |out| trak(out, k as u32 + 1, track, places, wide));
        }
    });
    out
}

fn in_movie_ticks(track: &Track, ticks: i64) -> i64 {
    let (num, den) = (i128::from(track.base.0), i128::from(track.base.1.max(1)));
    ((i128::from(ticks) * num * i128::from(MOVIE_TICKS) + den / 2) / den) as i64
}

fn trak(out: &mut Vec<u8>, id: u32, track: &Track, places: &[u64], wide: bool) {
    let first = track.samples.iter().map(|s| s.pts).min().unwrap_or(0);
    let shown = in_movie_ticks(track, track.end);
    full(out, b"tkhd", 1, 3, |out| {
        out.extend([0; 16]);
        u32s(out, &[id, 0]);
        out.extend((shown as u64).to_be_bytes());
        u32s(out, &[0, 0]);
        // Layer; sounds are alternatives of each other; volume.
        let sound = matches!(track.kind, Kind::Sound { .. });
        u16s(out, &[0, u16::from(sound), if sound { 0x100 } else { 0 }, 0]);
        match &track.kind {
            Kind::Picture { width, height, aspect, matrix, .. } => {
                match matrix.as_deref().filter(|m| m.len() >= 36) {
                    // The codec library keeps the file's numbers, in the machine's order of bytes.
                    Some(matrix) => matrix.chunks_exact(4).take(9).for_each(|b| {
                        out.extend(i32::from_ne_bytes([b[0], b[1], b[2], b[3]]).to_be_bytes());
                    }),
                    None => u32s(out, &UPRIGHT),
                }
                let square = f64::from(*width) * aspect.hz();
                u32s(out, &[(square * 65_536.0).round() as u32, u32::from(*height) << 16]);
            }
            Kind::Sound { .. } => {
                u32s(out, &UPRIGHT);
                u32s(out, &[0, 0]);
            }
        }
    });
    in_box(out, b"edts", |out| {
        // What lies before time 0 is hidden; what begins after it is waited for.
        let late = in_movie_ticks(track, first.max(0));
        let from = (first.max(0) - track.samples.first().map_or(0, |s| s.dts)) * i64::from(track.base.0.max(1));
        let mut edits = vec![(shown - late, from)];
        if late > 0 {
            edits.insert(0, (late, -1));
        }
        full(out, b"elst", 1, 0, |out| {
            u32s(out, &[edits.len() as u32]);
            for (long, from) in edits {
                out.extend((long.max(0) as u64).to_be_bytes());
                out.extend(from.to_be_bytes());
                u32s(out, &[0x1_0000]);
            }
        });
    });
    in_box(out, b"mdia", |out| {
        full(out, b"mdhd", 1, 0, |out| {
            out.extend([0; 16]);
            u32s(out, &[track.base.1.max(1) as u32]);
            let ticks: i64 = track.steps().map(i64::from).sum();
            out.extend((ticks as u64).to_be_bytes());
            // Language undetermined (packed ISO 639-2 `und`).
            u16s(out, &[0x55c4, 0]);
        });
        let (handler, head): (&[u8; 4], &[u8; 4]) = match track.kind {
            Kind::Picture { .. } => (b"vide", b"vmhd"),
            Kind::Sound { .. } => (b"soun", b"smhd"),
        };
        full(out, b"hdlr", 0, 0, |out| {
            u32s(out, &[0]);
            out.extend(handler);
            out.extend([0; 13]);
        });
        in_box(out, b"minf", |out| {
            match track.kind {
                Kind::Picture { .. } => full(out, head, 0, 1, |out| out.extend([0; 8])),
                Kind::Sound { .. } => full(out, head, 0, 0, |out| out.extend([0; 4])),
            }
            in_box(out, b"dinf", |out| {
                full(out, b"dref", 0, 0, |out| {
                    u32s(out, &[1]);
                    // The data lie in this file.
                    full(out, b"url ", 0, 1, |_| {});
                });
            });
            in_box(out, b"stbl", |out| stbl(out, track, places, wide));
        });
    });
}

/// Equal values in a row, as a count and the value.
fn runs<T: PartialEq + Copy>(values: impl Iterator<Item = T>) -> Vec<(u32, T)> {
    let mut runs: Vec<(u32, T)> = Vec::new();
    for value in values {
        match runs.last_mut() {
            Some((count, last)) if *last == value => *count += 1,
            _ => runs.push((1, value)),
        }
    }
    runs
}

fn stbl(out: &mut Vec<u8>, track: &Track, places: &[u64], wide: bool) {
    let samples = &track.samples;
    full(out, b"stsd", 0, 0, |out| {
        u32s(out, &[1]);
        entry(out, track);
    });
    let pairs = |out: &mut Vec<u8>, runs: &[(u32, u32)]| {
        u32s(out, &[runs.len() as u32]);
        runs.iter().for_each(|(count, value)| u32s(out, &[*count, *value]));
    };
    full(out, b"stts", 0, 0, |out| pairs(out, &runs(track.steps())));
    let later = |s: &Sample| ((s.pts - s.dts).max(0) * i64::from(track.base.0.max(1))) as u32;
    if samples.iter().any(|s| s.pts != s.dts) {
        full(out, b"ctts", 0, 0, |out| pairs(out, &runs(samples.iter().map(later))));
    }
    match track.kind {
        Kind::Picture { .. } => full(out, b"stss", 0, 0, |out| {
            let keys: Vec<u32> = (1..).zip(samples).filter(|(_, s)| s.key).map(|(k, _)| k).collect();
            u32s(out, &[keys.len() as u32]);
            u32s(out, &keys);
        }),
        Kind::Sound { .. } => {
            // Each packet of AAC needs the one before it (a roll distance of -1).
            full(out, b"sgpd", 1, 0, |out| {
                out.extend(b"roll");
                u32s(out, &[2, 1]);
                out.extend((-1i16).to_be_bytes());
            });
            full(out, b"sbgp", 0, 0, |out| {
                out.extend(b"roll");
                u32s(out, &[1, samples.len() as u32, 1]);
            });
        }
    }
    // A chunk is a row of samples that lie one behind the other.
    let mut chunks: Vec<(u64, u32)> = Vec::new();
    let mut end = None;
    for (sample, &place) in samples.iter().zip(places) {
        match chunks.last_mut() {
            Some((_, count)) if end == Some(place) => *count += 1,
            _ => chunks.push((place, 1)),
        }
        end = Some(place + sample.data.len());
    }
    full(out, b"stsc", 0, 0, |out| {
        let mut first = 1;
        let runs = runs(chunks.iter().map(|c| c.1));
        u32s(out, &[runs.len() as u32]);
        for (count, samples) in runs {
            u32s(out, &[first, samples, 1]);
            first += count;
        }
    });
    full(out, b"stsz", 0, 0, |out| {
        u32s(out, &[0, samples.len() as u32]);
        samples.iter().for_each(|s| u32s(out, &[s.data.len() as u32]));
    });
    if wide {
        full(out, b"co64", 0, 0, |out| {
            u32s(out, &[chunks.len() as u32]);
            chunks.iter().for_each(|(place, _)| out.extend(place.to_be_bytes()));
        });
    } else {
        full(out, b"stco", 0, 0, |out| {
            u32s(out, &[chunks.len() as u32]);
            chunks.iter().for_each(|(place, _)| u32s(out, &[*place as u32]));
        });
    }
}

/// The sample entry.
fn entry(out: &mut Vec<u8>, track: &Track) {
    match &track.kind {
        Kind::Picture { tag, record_tag, record, width, height, aspect, colors, .. } => in_box(out, tag, |out| {
            out.extend([0; 6]);
            u16s(out, &[1]);
            out.extend([0; 16]);
            u16s(out, &[*width, *height]);
            // 72 dots an inch, one frame a sample, no name, 24 bits deep.
            u32s(out, &[0x48_0000, 0x48_0000, 0]);
            u16s(out, &[1]);
            out.extend([0; 32]);
            u16s(out, &[0x18, 0xffff]);
            in_box(out, record_tag, |out| out.extend_from_slice(record));
            if let Some(colors) = colors {
                in_box(out, b"colr", |out| {
                    out.extend(b"nclx");
                    u16s(out, &colors.points);
                    out.push(u8::from(colors.full_range) << 7);
                });
            }
            if aspect.num != aspect.den {
                in_box(out, b"pasp", |out| u32s(out, &[aspect.num, aspect.den]));
            }
        }),
        Kind::Sound { channels, rate, config } => in_box(out, b"mp4a", |out| {
            out.extend([0; 6]);
            u16s(out, &[1]);
            out.extend([0; 8]);
            u16s(out, &[*channels, 16, 0, 0]);
            // What 16 bits do not hold stands in the decoder's own configuration.
            u32s(out, &[if *rate > u32::from(u16::MAX) { 0 } else { rate << 16 }]);
            full(out, b"esds", 0, 0, |out| {
                // Descriptors of ISO/IEC 14496-1, 7.2.6, each a tag and a length in four bytes of seven bits.
                let descriptor = |tag: u8, content: Vec<u8>| {
                    let n = content.len() as u32;
                    let mut all = vec![tag];
                    all.extend([21, 14, 7].map(|shift| 0x80 | (n >> shift & 0x7f) as u8));
                    all.push((n & 0x7f) as u8);
                    all.extend(content);
                    all
                };
                let bytes: u64 = track.samples.iter().map(|s| s.data.len()).sum();
                let seconds = track.samples.len() as f64 * 1024.0 / f64::from((*rate).max(1));
                let bits = (bytes as f64 * 8.0 / seconds.max(1e-3)).round() as u32;
                // MPEG-4 sound; a sound stream; room for a packet (6144 bits a channel at most).
                let room = 768 * u32::from(*channels);
                let mut decoder = vec![0x40, 0x15];
                decoder.extend_from_slice(&room.to_be_bytes()[1..]);
                decoder.extend(bits.to_be_bytes());
                decoder.extend(bits.to_be_bytes());
                decoder.extend(descriptor(5, config.clone()));
                let mut stream = vec![0, 0, 0];
                stream.extend(descriptor(4, decoder));
                stream.extend(descriptor(6, vec![2]));
                out.extend(descriptor(3, stream));
            });
        }),
    }
}
