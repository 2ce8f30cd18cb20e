//! A clip with copied packets: copied where the plan says so, encoded anew at the ends.
//!
//! The picture track is laid out in decode order first, then given decode times, then written: k-th decode time = k-th
//! smallest presentation time less the greatest reorder delay, so that no packet is decoded after it is shown, whatever
//! was joined. Frames encoded anew use parameter sets with an id that the film does not use; both stand in the track's
//! record.
//!
//! Where the film's packets lie in its file as they are to lie in the clip, only their places are laid out: their bytes
//! then go from file to file in long runs. All others are read by the demuxer and framed anew.

use std::path::Path;

use ffmpeg_next as ff;

use super::cutter::{Cutter, base_of, cannot_copy, ticks_at};
use super::demux::{Demux, hidden};
use super::encode::{VideoEncoder, VideoSpec};
use super::extradata;
use super::frames::rescale;
use super::mp4::{self, Colors, Data, Kind, Sample};
use super::nal::{self, Framing, Sets, h264, hevc};
use super::packets::Packets;
use super::track::placed_sound;
use crate::base::{FrameNo, FrameSpan, Result};
use crate::film::{ClipPlan, FrameSource, Part, Piece, SoundPlan};

/// A packet of the picture track with its presentation time in ticks of the part, relative to the in-point.
struct Laid {
    pts: i64,
    key: bool,
    data: Data,
}

/// How packets of a part lie, and what is left out of them.
#[derive(Clone, Copy)]
struct Form {
    framing: Framing,
    hevc: bool,
}

impl Cutter<'_> {
    /// Writes a clip with copied packets; it lies within one part.
    pub fn splice(&mut self, plan: &ClipPlan, path: &Path) -> Result<()> {
        let place = self.film.place(plan.span.start);
        let part = &self.film.parts[place.part];
        let first = self.film.starts()[place.part];
        let zero = ticks_at(part, plan.span.start.0 - first);
        let end = ticks_at(part, plan.span.end.0 - first) - zero;

        let packets = self.media.known.of(part)?;
        let parameters = self.picture_parameters(place.part)?;
        let announced = extradata(&parameters);
        let hevc = part.codec == "hevc";
        let (sets, framing) = if hevc {
            (Sets::default(), nal::length_size(&announced, true).map(Framing::Length))
        } else {
            Sets::read(&announced).map_or((Sets::default(), None), |(sets, framing)| (sets, Some(framing)))
        };
        let Some(framing) = framing else {
            return Err(cannot_copy("it announces no parameter sets", &part.path));
        };
        let mut laid: Vec<Laid> = Vec::new();
        let mut own_sets = Sets::default();
        for piece in &plan.pieces {
            match piece {
                Piece::Copy(span) => {
                    // What is hidden comes before the first frame.
                    let hidden = if span.start == plan.span.start { plan.hidden } else { 0 };
                    let (from, to) = (span.start.0 - hidden - first, span.end.0 - first);
                    if !(packets.plain && lay(&packets, &part.index.pts, from, to, zero, &mut laid)) {
                        let form = Form { framing, hevc };
                        copy(self.demux(place.part)?, &part.index.pts, from, to, form, zero, &mut laid)?;
                    }
                }
                Piece::Encode(span, _) => {
                    // One group: it ends where copying begins.
                    let like = self.spec(part, &parameters);
                    let (set_id, threads) = match &self.own {
                        Some(own) => (Some(own.set_id), own.threads),
                        None => (sets.free_id(), like.threads),
                    };
                    let spec = VideoSpec { set_id, threads, gop: 100_000, ..like };
                    for unit in self.encode_piece(*span, &spec, zero, first, path, &mut laid)?.all() {
                        own_sets.add(unit);
                    }
                }
            }
        }
        let record = if hevc { nal::hvcc(&announced) } else { sets.avcc(&own_sets) };
        let Some(record) = record else {
            return Err(cannot_copy("its parameter sets are damaged", &part.path));
        };

        let demux = self.demux(place.part)?;
        let matrix = display_matrix(demux, demux.video);
        let mut tracks = vec![mp4::Track {
            kind: picture(part, &parameters, hevc, record, matrix),
            base: base_of(part),
            samples: timed(laid),
            last: 0,
            end,
        }];
        // Decode times run as long as what is shown.
        let samples = &tracks[0].samples;
        let earliest = samples.iter().map(|s| s.pts).min().unwrap_or(0).min(0);
        tracks[0].last = samples.first().map_or(0, |s| s.dts) + end - earliest;
        tracks.extend(self.sound_of_clip(plan, packets.plain, end, path)?);
        mp4::write(path, &tracks, self.bytes(place.part)?, &part.path)
    }

    /// The sound of a spliced clip. `in_place`: packets lie in the film's file as they are to lie in the clip.
    fn sound_of_clip(&mut self, plan: &ClipPlan, in_place: bool, end: i64, path: &Path) -> Result<Option<mp4::Track>> {
        let place = self.film.place(plan.span.start);
        let part = &self.film.parts[place.part];
        if in_place && plan.sound == SoundPlan::Copy {
            let zero = ticks_at(part, plan.span.start.0 - self.film.starts()[place.part]);
            let demux = self.demux(place.part)?;
            let stream = demux.audio.and_then(|audio| Some((audio, demux.parameters(audio)?)));
            if let Some((audio, parameters)) = stream {
                let base = demux.time_base(audio);
                let (from, to) = (rescale(zero, base_of(part), base), rescale(zero + end, base_of(part), base));
                if let Some((placed, last)) = placed_sound(demux, audio, from, to) {
                    let samples = placed.iter().map(|p| {
                        let data = Data::At { at: p.at, size: p.size };
                        Sample { data, dts: p.pts - from, pts: p.pts - from, key: true }
                    });
                    let (samples, last) = (samples.collect(), last - from);
                    let end = (to - from).min(last);
                    return Ok(Some(mp4::Track { kind: heard(&parameters), base, samples, last, end }));
                }
            }
        }
        let track = self.sound_track(plan, path)?;
        let Some((parameters, base)) = track.stream() else { return Ok(None) };
        let mut samples: Vec<Sample> = Vec::new();
        let mut last = 0;
        self.end_sound(track, &mut |packet| {
            let at = packet.pts().unwrap_or(last);
            last = at + packet.duration();
            samples.push(Sample { data: Data::Held(packet), dts: at, pts: at, key: true });
            Ok(())
        })?;
        let end = rescale(end, base_of(part), base).min(last);
        Ok((!samples.is_empty()).then(|| mp4::Track { kind: heard(&parameters), base, samples, last, end }))
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
            laid.push(Laid { pts: packet.pts().unwrap_or(0), key: packet.is_key(), data: Data::Held(packet) });
            Ok(())
        };
        // Turning would be undone by the display matrix of the clip.
        let Self { frames, own, .. } = self;
        frames.upright_off(true);
        frames.seek(span.start)?;
        let mut last: Option<FrameNo> = None;
        while last.is_none_or(|last| last.0 + 1 < span.end.0) {
            let Some(view) = frames.next_frame()? else { break };
            if view.no >= span.end {
                break;
            }
            let (no, key) = (view.no, last.is_none());
            let at = ticks_at(part, no.0 - first) - zero;
            match own {
                Some(own) => (own.draw)(&view, &mut |drawn| encoder.encode(drawn, at, key, &mut lay))?,
                None => encoder.encode(&view, at, key, &mut lay)?,
            }
            last = Some(no);
        }
        frames.upright_off(false);
        if last.is_some() {
            encoder.flush(&mut lay)?;
        }
        Ok(encoder.sets())
    }
}

/// The sound's track.
fn heard(parameters: &ff::codec::Parameters) -> Kind {
    // SAFETY: the parameters are live; the binding shows neither field in all versions of the library.
    let (channels, rate) = unsafe {
        let p = parameters.as_ptr();
        ((*p).ch_layout.nb_channels, (*p).sample_rate)
    };
    Kind::Sound { channels: channels.max(1) as u16, rate: rate.max(1) as u32, config: extradata(parameters) }
}

/// The picture's track.
fn picture(
    part: &Part,
    parameters: &ff::codec::Parameters,
    hevc: bool,
    record: Vec<u8>,
    matrix: Option<Vec<u8>>,
) -> Kind {
    // SAFETY: the parameters are live; the binding shows none of these fields.
    let (width, height, points, range) = unsafe {
        let p = parameters.as_ptr();
        // The library's values are those of ITU-T H.273.
        let points = [(*p).color_primaries as u16, (*p).color_trc as u16, (*p).color_space as u16];
        ((*p).width, (*p).height, points, (*p).color_range)
    };
    let full_range = range == ff::ffi::AVColorRange::AVCOL_RANGE_JPEG;
    // 2 says nothing.
    let told = points.iter().any(|p| *p != 2);
    Kind::Picture {
        tag: if hevc { *b"hvc1" } else { *b"avc1" },
        record_tag: if hevc { *b"hvcC" } else { *b"avcC" },
        record,
        width: width.max(0) as u16,
        height: height.max(0) as u16,
        aspect: part.sample_aspect,
        colors: told.then_some(Colors { points, full_range }),
        matrix,
    }
}

/// Gives packets in decode order their decode times.
fn timed(laid: Vec<Laid>) -> Vec<Sample> {
    let mut shown: Vec<i64> = laid.iter().map(|l| l.pts).collect();
    shown.sort_unstable();
    let delay = shown.iter().zip(&laid).map(|(s, l)| s - l.pts).max().unwrap_or(0).max(0);
    let samples = laid.into_iter().zip(shown);
    samples.map(|(Laid { pts, key, data }, at)| Sample { data, dts: at - delay, pts, key }).collect()
}

/// Lays out the places of the packets of frames `from..to`; `from` is an entry. `false` where they are not all there.
fn lay(packets: &Packets, pts: &[i64], from: u64, to: u64, zero: i64, laid: &mut Vec<Laid>) -> bool {
    let wanted = to.saturating_sub(from) as usize;
    let Some(&start) = pts.get(from as usize) else { return false };
    let stop = pts.get(to as usize).copied().unwrap_or(i64::MAX);
    let before = laid.len();
    // Frames come out of the index about as they went in: the entry is near its rank.
    let near = (from as usize).saturating_sub(64).min(packets.list.len());
    let entry = packets.list[near..].iter().position(|p| p.entry && p.pts == start).map(|at| at + near);
    let Some(entry) = entry.or_else(|| packets.list.iter().position(|p| p.entry && p.pts == start)) else {
        return false;
    };
    for packet in &packets.list[entry..] {
        if laid.len() - before == wanted {
            break;
        }
        if packet.pts >= start && packet.pts < stop {
            let data = Data::At { at: packet.at, size: packet.size };
            laid.push(Laid { pts: packet.pts - zero, key: packet.key, data });
        }
    }
    if laid.len() - before != wanted {
        laid.truncate(before);
        return false;
    }
    true
}

/// Copies the packets of frames `from..to` of the part by the demuxer; `from` is an entry.
fn copy(demux: &mut Demux, pts: &[i64], from: u64, to: u64, form: Form, zero: i64, laid: &mut Vec<Laid>) -> Result<()> {
    let video = demux.video;
    let wanted = to.saturating_sub(from);
    let Some(&start) = pts.get(from as usize) else {
        return Err(cannot_copy("a frame lies beyond its end", &demux.path));
    };
    let stop = pts.get(to as usize).copied().unwrap_or(i64::MAX);
    // Delimiters have no place in MP4, and parameter sets stand in the track's record alone (ISO/IEC 14496-15, avc1).
    let without = |unit: &[u8]| if form.hevc { hevc::no_place(unit) } else { h264::no_place(unit) };
    demux.only(&[video]);
    // A seek may land late where decode times run before the start of the index: begin again from the front then.
    for attempt in 0..2 {
        if attempt == 0 {
            if !demux.seek(start) {
                continue;
            }
        } else {
            demux.reopen(&[video])?;
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
            let bare = ff::Packet::copy(&nal::reframe(packet.data().unwrap_or(&[]), form.framing, without));
            found.push(Laid { pts: at - zero, key: packet.is_key(), data: Data::Held(bare) });
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
    let mut all = stream.side_data();
    all.find(|s| s.kind() == ff::packet::side_data::Type::DisplayMatrix).map(|s| s.data().to_vec())
}
