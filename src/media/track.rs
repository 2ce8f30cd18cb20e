//! The sound track of a clip while it is made.

use std::path::Path;

use ff::ffi;
use ffmpeg_next as ff;

use super::cutter::{Cutter, base_of, ticks_at};
use super::demux::Demux;
use super::encode::AacEncoder;
use super::failed;
use super::frames::rescale;
use super::sink::SOUND_RATE;
use super::sound::Sound;
use crate::base::{FrameNo, Result};
use crate::film::{ClipPlan, SoundPlan, SoundSource};

/// Takes packets of the sound.
pub type Take<'a> = dyn FnMut(ff::Packet) -> Result<()> + 'a;

/// The sound track of a clip while it is made.
pub enum Track {
    /// None.
    None,
    /// Packets to copy, times relative to the in-point in ticks of the sound stream; how many are given.
    Copy { packets: Vec<ff::Packet>, parameters: ff::codec::Parameters, base: ff::Rational, next: usize },
    /// Encoded from decoded sound; sample frames still to read, and read so far.
    Encode { encoder: Box<AacEncoder>, channels: usize, left: u64, given: u64 },
}

impl Track {
    /// What the stream is, and its ticks; `None` for a silent clip.
    pub fn stream(&self) -> Option<(ff::codec::Parameters, ff::Rational)> {
        match self {
            Self::None => None,
            Self::Copy { parameters, base, .. } => Some((parameters.clone(), *base)),
            Self::Encode { encoder, .. } => Some((encoder.parameters(), ff::Rational(1, SOUND_RATE as i32))),
        }
    }
}

impl Cutter<'_> {
    /// Prepares the sound of a clip.
    pub fn sound_track(&mut self, plan: &ClipPlan, path: &Path) -> Result<Track> {
        match &plan.sound {
            SoundPlan::None => Ok(Track::None),
            SoundPlan::Copy => {
                let place = self.film.place(plan.span.start);
                let part = &self.film.parts[place.part];
                let first = self.film.starts()[place.part];
                let (from, to) = (ticks_at(part, plan.span.start.0 - first), ticks_at(part, plan.span.end.0 - first));
                let demux = self.demux(place.part)?;
                let Some(audio) = demux.audio else { return Ok(Track::None) };
                let base = demux.time_base(audio);
                let (zero, end) = (rescale(from, base_of(part), base), rescale(to, base_of(part), base));
                let Some(parameters) = demux.parameters(audio) else { return Ok(Track::None) };
                let packets = sound_packets(demux, audio, zero, end, base);
                if packets.is_empty() {
                    return Ok(Track::None);
                }
                Ok(Track::Copy { packets, parameters, base, next: 0 })
            }
            SoundPlan::Encode(_) => {
                let channels = self.channels(plan)?;
                let encoder = AacEncoder::open(SOUND_RATE, channels, false, path)?;
                let at = |frame: FrameNo| (self.film.time(frame) * f64::from(SOUND_RATE)).round() as u64;
                let (from, to) = (at(plan.span.start), at(plan.span.end));
                if self.sound.as_ref().is_none_or(|s| s.channels() != channels) {
                    self.sound = Some(Sound::new(self.film, SOUND_RATE, channels));
                }
                if let Some(sound) = &mut self.sound {
                    sound.seek(from)?;
                }
                Ok(Track::Encode { encoder: Box::new(encoder), channels, left: to.saturating_sub(from), given: 0 })
            }
        }
    }

    /// Channels of the encoded sound: one where all parts of the clip have one.
    fn channels(&mut self, plan: &ClipPlan) -> Result<usize> {
        let mut most = 1;
        for part in self.film.parts_of(plan.span) {
            let demux = self.demux(part)?;
            let Some(parameters) = demux.audio.and_then(|a| demux.parameters(a)) else { continue };
            let context = ff::codec::context::Context::from_parameters(parameters)
                .map_err(|cause| failed("look at the sound", &demux.path, cause))?;
            most = most.max(context.decoder().audio().map_or(1, |a| usize::from(a.channels())));
        }
        Ok(most.min(2))
    }

    /// Gives sound up to `until` seconds after the in-point.
    pub fn feed_sound(&mut self, track: &mut Track, until: f64, take: &mut Take<'_>) -> Result<()> {
        match track {
            Track::None => {}
            Track::Copy { packets, base, next, .. } => {
                while let Some(packet) = packets.get(*next) {
                    let seconds = packet.pts().unwrap_or(0) as f64 * f64::from(base.0) / f64::from(base.1.max(1));
                    if seconds > until {
                        break;
                    }
                    take(packet.clone())?;
                    *next += 1;
                }
            }
            Track::Encode { encoder, channels, left, given } => {
                while *left > 0 && (*given as f64) < until * f64::from(SOUND_RATE) {
                    let Some(sound) = &mut self.sound else { break };
                    let Some(block) = sound.next_block()? else { break };
                    let n = ((block.len() / *channels) as u64).min(*left);
                    encoder.encode(&block[..n as usize * *channels], take)?;
                    *left -= n;
                    *given += n;
                }
            }
        }
        Ok(())
    }

    /// Gives what is left of the sound.
    pub fn end_sound(&mut self, mut track: Track, take: &mut Take<'_>) -> Result<()> {
        self.feed_sound(&mut track, f64::INFINITY, take)?;
        match track {
            Track::Encode { mut encoder, .. } => encoder.flush(take),
            _ => Ok(()),
        }
    }
}

/// Sound packets from two before the in-point (a decoder needs the one before) to the out-point, times relative to the
/// in-point. What lies before it is hidden by the edit list that the muxer writes for negative times.
fn sound_packets(demux: &mut Demux, audio: usize, zero: i64, end: i64, base: ff::Rational) -> Vec<ff::Packet> {
    let second = f64::from(base.1) / f64::from(base.0.max(1));
    let mut kept: Vec<ff::Packet> = Vec::new();
    demux.only(&[audio]);
    demux.seek_stream(audio, zero - (0.3 * second) as i64);
    let mut before: Vec<ff::Packet> = Vec::new();
    // Interleaving may be loose: go on for a while after sound has passed the end.
    while let Some(packet) = demux.next() {
        if packet.stream() != audio {
            continue;
        }
        let Some(at) = packet.pts() else { continue };
        if at >= end {
            break;
        }
        let mut copy = packet.clone();
        copy.set_pts(Some(at - zero));
        copy.set_dts(Some(at - zero));
        // The skip of the file's own beginning does not hold in the middle of the clip.
        // SAFETY: the packet is our own copy.
        unsafe {
            use ff::packet::Mut as _;
            ffi::av_packet_free_side_data(copy.as_mut_ptr());
            (*copy.as_mut_ptr()).flags &= !ffi::AV_PKT_FLAG_DISCARD;
        }
        if at + packet.duration().max(1) <= zero {
            before.push(copy);
            if before.len() > 2 {
                before.remove(0);
            }
        } else {
            kept.append(&mut before);
            kept.push(copy);
        }
    }
    kept
}

/// A packet of sound that lies in the film's file: its time in ticks of the stream, and its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Placed {
    pub pts: i64,
    pub at: u64,
    pub size: u32,
}

/// The same packets as `sound_packets` gives, by the container's own index, times as in the film: none is read. With them
/// the time at which the last one ends. `None` where the index does not tell them all.
pub fn placed_sound(demux: &mut Demux, audio: usize, zero: i64, end: i64) -> Option<(Vec<Placed>, i64)> {
    // SAFETY: the stream lives as long as the demuxer; entries are copied before anything else is called that could
    // move them, and a number out of range gives null.
    let entry = |demux: &mut Demux, k: i32| unsafe {
        let stream = *(*demux.input.as_mut_ptr()).streams.add(audio);
        let entry = ffi::avformat_index_get_entry(stream, k);
        if entry.is_null() {
            return None;
        }
        let (at, size) = (u64::try_from((*entry).pos).ok()?, u32::try_from((*entry).size()).ok()?);
        Some(Placed { pts: (*entry).timestamp, at, size })
    };
    // SAFETY: as above.
    let count = unsafe { ffi::avformat_index_get_entries_count(*(*demux.input.as_mut_ptr()).streams.add(audio)) };
    // The first packet that is still heard at the in-point, by halving.
    let (mut low, mut high) = (0, count);
    while low < high {
        let middle = low + (high - low) / 2;
        if entry(demux, middle)?.pts <= zero {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    // Two more: a decoder needs the one before.
    let first = (low - 3).max(0);
    let mut found = Vec::new();
    let mut last = None;
    for k in first..count {
        let packet = entry(demux, k)?;
        last = Some(packet.pts);
        if packet.pts >= end {
            break;
        }
        if found.last().is_some_and(|before: &Placed| before.pts >= packet.pts) {
            return None;
        }
        found.push(packet);
    }
    let [.., before, latest] = found[..] else { return None };
    let last = last.filter(|at| *at > latest.pts).unwrap_or(2 * latest.pts - before.pts);
    // The sound ended before the clip begins.
    if last <= zero {
        return None;
    }
    // The index must speak of the packets that the demuxer gives.
    demux.only(&[audio]);
    let start = *found.first()?;
    demux.seek_stream(audio, start.pts);
    let packet = demux.next()?;
    let given = (packet.pts(), u64::try_from(packet.position()).ok(), u32::try_from(packet.size()).ok());
    (given == (Some(start.pts), Some(start.at), Some(start.size))).then_some((found, last))
}
