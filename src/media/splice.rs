//! A clip with copied packets: copied where the plan says so, encoded anew at the ends.
//!
//! The picture track is laid out in decode order first, then given decode times, then written: k-th decode time = k-th
//! smallest presentation time less the greatest reorder delay, so that no packet is decoded after it is shown, whatever
//! was joined. Frames encoded anew use parameter sets with an id that the film does not use; both stand in the track's
//! record.

use std::path::Path;

use ffmpeg_next as ff;

use super::cutter::{Cutter, base_of, cannot_copy, ticks_at};
use super::demux::{Demux, hidden};
use super::encode::{VideoEncoder, VideoSpec};
use super::extradata;
use super::mux::Muxer;
use super::nal::{self, Framing, Sets, h264};
use crate::base::{FrameNo, FrameSpan, Result};
use crate::film::{ClipPlan, FrameSource, Piece};

/// A packet of the picture track with its presentation time in ticks of the part, relative to the in-point.
struct Laid {
    pts: i64,
    packet: ff::Packet,
}

impl Cutter<'_> {
    /// Writes a clip with copied packets; it lies within one part.
    pub fn splice(&mut self, plan: &ClipPlan, path: &Path) -> Result<()> {
        let place = self.film.place(plan.span.start);
        let part = &self.film.parts[place.part];
        let first = self.film.starts()[place.part];
        let zero = ticks_at(part, plan.span.start.0 - first);
        let end = ticks_at(part, plan.span.end.0 - first) - zero;

        let parameters = self.picture_parameters(place.part)?;
        let Some((sets, framing)) = Sets::read(&extradata(&parameters)) else {
            return Err(cannot_copy("it announces no parameter sets", &part.path));
        };
        let mut laid: Vec<Laid> = Vec::new();
        let mut own_sets = Sets::default();
        for piece in &plan.pieces {
            match piece {
                Piece::Copy(span) => {
                    let (from, to) = (span.start.0 - first, span.end.0 - first);
                    copy(self.demux(place.part)?, &part.index.pts, from, to, framing, zero, &mut laid)?;
                }
                Piece::Encode(span, _) => {
                    // One group: it ends where copying begins.
                    let spec = VideoSpec { set_id: sets.free_id(), gop: 100_000, ..self.spec(part, &parameters) };
                    for unit in self.encode_piece(*span, &spec, zero, first, path, &mut laid)?.all() {
                        own_sets.add(unit);
                    }
                }
            }
        }
        let Some(record) = sets.avcc(&own_sets) else {
            return Err(cannot_copy("its parameter sets are damaged", &part.path));
        };

        let demux = self.demux(place.part)?;
        let matrix = display_matrix(demux, demux.video);
        let base = base_of(part);
        let mut muxer = Muxer::create(path, "")?;
        muxer.add(&parameters, base, Some(&record), matrix.as_deref())?;
        let mut track = self.sound_track(plan, &mut muxer, path)?;
        muxer.begin()?;

        let mut shown: Vec<i64> = laid.iter().map(|l| l.pts).collect();
        shown.sort_unstable();
        let delay = shown.iter().zip(&laid).map(|(s, l)| s - l.pts).max().unwrap_or(0).max(0);
        for (k, Laid { pts, mut packet }) in laid.into_iter().enumerate() {
            let next = shown.get(shown.partition_point(|s| *s <= pts)).copied().unwrap_or(end.max(pts + 1));
            packet.set_pts(Some(pts));
            packet.set_dts(Some(shown[k] - delay));
            packet.set_duration(next - pts);
            // Sound is fed along, so that the muxer never holds more than a moment of either.
            let seconds = pts as f64 * f64::from(base.0) / f64::from(base.1.max(1));
            self.feed_sound(&mut track, seconds + 0.5, &mut muxer)?;
            muxer.write(0, packet)?;
        }
        self.end_sound(track, &mut muxer)?;
        muxer.finish()
    }

    /// Encodes frames that are joined to copied ones: as coded (not turned), in the part's ticks.
    fn encode_piece(
        &mut self,
        span: FrameSpan,
        spec: &VideoSpec,
        zero: i64,
        first: u64,
        path: &Path,
        laid: &mut Vec<Laid>,
    ) -> Result<Sets> {
        let mut encoder = VideoEncoder::open(spec, path)?;
        let part = &self.film.parts[self.film.place(span.start).part];
        let mut lay = |packet: ff::Packet| {
            laid.push(Laid { pts: packet.pts().unwrap_or(0), packet });
            Ok(())
        };
        // Turning would be undone by the display matrix of the clip.
        self.frames.upright_off(true);
        self.frames.seek(span.start)?;
        let mut last: Option<FrameNo> = None;
        while last.is_none_or(|last| last.0 + 1 < span.end.0) {
            let Some(view) = self.frames.next_frame()? else { break };
            if view.no >= span.end {
                break;
            }
            encoder.encode(&view, ticks_at(part, view.no.0 - first) - zero, last.is_none(), &mut lay)?;
            last = Some(view.no);
        }
        self.frames.upright_off(false);
        if last.is_some() {
            encoder.flush(&mut lay)?;
        }
        Ok(encoder.sets())
    }
}

/// Copies the packets of frames `from..to` of the part; `from` is an IDR.
fn copy(
    demux: &mut Demux,
    pts: &[i64],
    from: u64,
    to: u64,
    framing: Framing,
    zero: i64,
    laid: &mut Vec<Laid>,
) -> Result<()> {
    let video = demux.video;
    let wanted = to.saturating_sub(from);
    let Some(&start) = pts.get(from as usize) else {
        return Err(cannot_copy("a frame lies beyond its end", &demux.path));
    };
    let stop = pts.get(to as usize).copied().unwrap_or(i64::MAX);
    // Delimiters have no place in MP4, and parameter sets stand in the track's record alone (ISO/IEC 14496-15, avc1).
    let without = |unit: &[u8]| matches!(nal::kind(unit), h264::AUD | h264::SPS | h264::PPS);
    // A seek may land late where decode times run before the start of the index: begin again from the front then.
    for attempt in 0..2 {
        if attempt == 0 {
            if !demux.seek(start) {
                continue;
            }
        } else {
            let wanted: Vec<usize> = [Some(demux.video), demux.audio].into_iter().flatten().collect();
            demux.reopen(&wanted)?;
        }
        let mut found: Vec<Laid> = Vec::new();
        while (found.len() as u64) < wanted {
            let Some(packet) = demux.next() else { break };
            if packet.stream() != video || hidden(packet) {
                continue;
            }
            let Some(at) = packet.pts() else { continue };
            if found.is_empty() && at > start {
                break;
            }
            // What the index does not know is no frame: a torn packet.
            if at < start || at >= stop || pts.binary_search(&at).is_err() {
                continue;
            }
            let mut bare = ff::Packet::copy(&nal::reframe(packet.data().unwrap_or(&[]), framing, without));
            if packet.is_key() {
                bare.set_flags(ff::packet::Flags::KEY);
            }
            found.push(Laid { pts: at - zero, packet: bare });
        }
        if found.len() as u64 == wanted {
            laid.extend(found);
            return Ok(());
        }
    }
    Err(cannot_copy(&format!("it no longer holds frames {from} to {to}"), &demux.path))
}

/// The display matrix of a stream, as stored.
fn display_matrix(demux: &Demux, stream: usize) -> Option<Vec<u8>> {
    let stream = demux.input.stream(stream)?;
    let found =
        stream.side_data().find(|s| s.kind() == ff::packet::side_data::Type::DisplayMatrix).map(|s| s.data().to_vec());
    found
}
