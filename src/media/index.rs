//! Which frames a file has: presentation times of all pictures that the decoder puts out.

use ffmpeg_next as ff;

use super::demux::Demux;
use super::frames::open_decoder;
use crate::base::Result;
use crate::film::{Decode, FrameIndex};

/// Reads the index. Packets alone tell it where each has a time of its own and is a whole picture; otherwise (packets
/// without times as in AVI, fields in packets of their own, doubled times, damage met on the way) the film is decoded.
pub fn read(demux: &mut Demux, fields: bool) -> Result<FrameIndex> {
    let video = demux.video;
    demux.only(&[video]);
    if !fields && let Some(pts) = by_packets(demux) {
        return Ok(FrameIndex { pts, by_packets: true });
    }
    let broke = demux.broke.take();
    demux.reopen(&[video])?;
    let pts = by_decoding(demux)?;
    demux.broke = demux.broke.take().or(broke);
    Ok(FrameIndex { pts, by_packets: false })
}

fn by_packets(demux: &mut Demux) -> Option<Vec<i64>> {
    let mut pts = Vec::new();
    let video = demux.video;
    while let Some(packet) = demux.next() {
        if packet.stream() != video {
            continue;
        }
        if packet.is_corrupt() {
            return None;
        }
        // Hidden by the container's edit list: decoded, never shown.
        if super::demux::hidden(packet) {
            continue;
        }
        pts.push(packet.pts()?);
    }
    if demux.broke.is_some() {
        return None;
    }
    pts.sort_unstable();
    let before = pts.len();
    pts.dedup();
    (pts.len() == before).then_some(pts)
}

fn by_decoding(demux: &mut Demux) -> Result<Vec<i64>> {
    let mut decoder = open_decoder(demux, Decode::NoLoopFilter, 0)?;
    let video = demux.video;
    let mut frame = ff::frame::Video::empty();
    let mut pts: Vec<i64> = Vec::new();
    let mut ended = false;
    loop {
        while decoder.receive_frame(&mut frame).is_ok() {
            let next = pts.last().map_or(0, |p| p + 1);
            let at = frame.timestamp().unwrap_or(next);
            // Damaged times must not put two pictures on one tick.
            pts.push(if pts.is_empty() { at } else { at.max(next) });
        }
        if ended {
            return Ok(pts);
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
