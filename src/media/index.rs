//! Which frames a file has: presentation times of all pictures that the decoder puts out.
//!
//! A frame's number is the rank of its presentation time. Three grounds, the cheapest that holds:
//!
//! - **Packets**, where every packet has a presentation time of its own and holds one whole picture. Packets that the
//!   container's edit list hides are no frames. Bytes damaged inside a packet are not seen by the demuxer: its frame
//!   keeps its number, and the decoder then skips it or gives it marked as damaged, so that all other numbers, times
//!   and cuts stay as they were. Units whose lengths do not add up are noted, as the address of the damage.
//! - **Decoded pictures with times** (fields in packets of their own, packets that the demuxer marks as corrupt,
//!   doubled times): the pictures are those that come out; they are found again by their times.
//! - **Decoded pictures, counted** (AVI: packets without presentation times): found again by counting from the start.

use ffmpeg_next as ff;

use super::alarm::Alarm;
use super::demux::{Demux, hidden};
use super::frames::open_decoder;
use super::nal;
use super::packets::{Gather, Packets};
use crate::base::Result;
use crate::film::{Decode, FrameIndex};

/// The index, and presentation times of packets that are surely damaged.
pub struct Read {
    /// The index.
    pub index: FrameIndex,
    /// Times of packets whose units do not add up, ascending.
    pub damaged: Vec<i64>,
    /// What was seen of the packets; `None` where they do not tell the frames, or are never copied.
    pub packets: Option<Packets>,
}

/// Reads the index. `fields`: fields may lie in packets of their own, so that packets do not tell pictures.
pub fn read(demux: &mut Demux, fields: bool) -> Result<Read> {
    let video = demux.video;
    demux.only(&[video]);
    if !fields && let Some(read) = by_packets(demux) {
        return Ok(read);
    }
    let broke = demux.broke.take();
    demux.reopen(&[video])?;
    let index = by_decoding(demux)?;
    demux.broke = demux.broke.take().or(broke);
    Ok(Read { index, damaged: Vec::new(), packets: None })
}

/// Passes over the packets of a part that is known already; `None` where they do not tell the frames.
pub fn packets(demux: &mut Demux) -> Option<Packets> {
    let video = demux.video;
    demux.only(&[video]);
    by_packets(demux)?.packets
}

fn by_packets(demux: &mut Demux) -> Option<Read> {
    let video = demux.video;
    let parameters = demux.parameters(video)?;
    let units = matches!(parameters.id(), ff::codec::Id::H264 | ff::codec::Id::HEVC);
    let hevc = parameters.id() == ff::codec::Id::HEVC;
    // Only units with their lengths before them can be added up.
    let lengths = if units { nal::length_size(&super::extradata(&parameters), hevc) } else { None };
    let framing = lengths.map_or(nal::Framing::StartCode, nal::Framing::Length);
    let (mut pts, mut damaged, mut keys, mut references) = (Vec::new(), Vec::new(), Vec::new(), 0u64);
    let mut torn = false;
    let mut gather = Gather::new(demux);
    while let Some(packet) = demux.next() {
        if packet.stream() != video {
            continue;
        }
        // The last packet of a file that was cut short is torn, and no frame of ours; one in the middle may still be a
        // picture, which only the decoder knows.
        if torn {
            return None;
        }
        torn = packet.is_corrupt();
        if torn {
            continue;
        }
        if let Some(gather) = &mut gather {
            gather.see(packet);
        }
        if hidden(packet) {
            continue;
        }
        let at = packet.pts()?;
        let data = packet.data().unwrap_or(&[]);
        pts.push(at);
        if packet.is_key() {
            keys.push(at);
        }
        // What cannot be told counts as a reference: it is then decoded.
        references += u64::from(units && nal::is_reference(data, framing, hevc).unwrap_or(true));
        if lengths.is_some_and(|size| !nal::adds_up(data, size)) {
            damaged.push(at);
        }
    }
    if torn {
        demux.broke = Some("the last packet is torn".into());
    }
    pts.sort_unstable();
    damaged.sort_unstable();
    let before = pts.len();
    pts.dedup();
    if pts.len() < before {
        return None;
    }
    let keys = ranks(&pts, &keys);
    let packets = gather.map(|gather| gather.done(demux));
    Some(Read { index: FrameIndex { pts, by_packets: true, timed: true, keys, references }, damaged, packets })
}

/// Ranks of times among all, ascending.
fn ranks(all: &[i64], times: &[i64]) -> Vec<u64> {
    let mut out: Vec<u64> = times.iter().filter_map(|t| all.binary_search(t).ok()).map(|rank| rank as u64).collect();
    out.sort_unstable();
    out
}

/// Times of all pictures decoded, and whether each came with its own.
fn by_decoding(demux: &mut Demux) -> Result<FrameIndex> {
    let alarm = Alarm::new();
    let mut decoder = open_decoder(demux, Decode::NoLoopFilter, 0, &alarm)?;
    let video = demux.video;
    let mut frame = ff::frame::Video::empty();
    let mut told: Vec<Option<i64>> = Vec::new();
    let mut keys: Vec<u64> = Vec::new();
    let mut timed = true;
    let mut latest = i64::MIN;
    let mut ended = false;
    loop {
        while decoder.receive_frame(&mut frame).is_ok() {
            let own = frame.pts();
            timed &= own.is_some_and(|at| at > latest);
            latest = latest.max(own.unwrap_or(latest));
            if frame.is_key() {
                keys.push(told.len() as u64);
            }
            told.push(own.or(frame.timestamp()));
        }
        if ended {
            if !timed {
                keys.clear();
            }
            return Ok(FrameIndex { pts: ascending(&told), by_packets: false, timed, keys, references: 0 });
        }
        match demux.next() {
            Some(packet) if packet.stream() == video => {
                // A packet that cannot be decoded is damage; the next key frame mends it.
                let _ = decoder.send_packet(packet);
            }
            Some(_) => {}
            None => {
                ended = true;
                let _ = decoder.send_eof();
            }
        }
    }
}

/// A time for every picture, each after the one before. Pictures that come without one (Matroska's before zero, all of
/// some AVI) lie evenly between their neighbors, or at the usual step before the first or after the last that has one.
fn ascending(told: &[Option<i64>]) -> Vec<i64> {
    let known: Vec<(usize, i64)> = told.iter().enumerate().filter_map(|(k, t)| Some((k, (*t)?))).collect();
    let mut steps: Vec<i64> =
        known.windows(2).filter(|w| w[1].0 == w[0].0 + 1 && w[1].1 > w[0].1).map(|w| w[1].1 - w[0].1).collect();
    steps.sort_unstable();
    let step = steps.get(steps.len() / 2).copied().unwrap_or(1);
    let mut out: Vec<i64> = Vec::with_capacity(told.len());
    for k in 0..told.len() {
        let after = known.partition_point(|(at, _)| *at < k);
        let at = match (after.checked_sub(1).map(|b| known[b]), known.get(after)) {
            (_, Some(&(at, time))) if at == k => time,
            (Some((a, from)), Some(&(b, to))) => from + (to - from) * (k - a) as i64 / (b - a) as i64,
            (None, Some(&(b, to))) => to - step * (b - k) as i64,
            (Some((a, from)), None) => from + step * (k - a) as i64,
            (None, None) => k as i64,
        };
        // Damaged times must not put two pictures on one tick.
        out.push(out.last().map_or(at, |before| at.max(before + 1)));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::ascending;

    #[test]
    fn pictures_without_times_lie_between_those_that_have_one() {
        // Matroska that begins before zero: the first three are not told.
        assert_eq!(ascending(&[None, None, None, Some(0), Some(33), Some(67)]), [-102, -68, -34, 0, 33, 67]);
        assert_eq!(ascending(&[Some(0), None, None, Some(9), Some(12), None]), [0, 3, 6, 9, 12, 15]);
        assert_eq!(ascending(&[None, None, None]), [0, 1, 2]);
        // A time that goes back is damage.
        assert_eq!(ascending(&[Some(5), Some(3), Some(7)]), [5, 6, 7]);
    }
}
