//! Where a part can be cut without encoding, and what becomes of its sound.
//!
//! H.264 is entered at IDR pictures alone, told by the type of their units: a key-frame flag also stands on recovery
//! points of open groups, at which strict decoders fail. Nothing decoded after an IDR is shown before it (ITU-T H.264,
//! 8.2.1), so that every entry is clean. A part is left where all frames decoded so far are shown before all others.
//!
//! HEVC is copied from an IDR or a CRA at which the clip itself begins, less the pictures decoded after it and shown
//! before it: such a stream decodes exactly (ITU-T H.265, 8.1.3). Frames encoded anew cannot be joined to it, since the
//! ids of their parameter sets cannot be chosen.

use ffmpeg_next as ff;

use super::demux::Demux;
use super::encode::AAC_FRAME;
use super::extradata;
use super::packets::Known;
use crate::base::{FrameNo, Result};
use crate::film::{EntryPoints, Film, SoundPlan};

/// Where packets of a part may be cut.
pub fn entry_points(known: &Known, film: &Film, part: usize) -> Result<EntryPoints> {
    let first = film.starts().get(part).copied().unwrap_or(0);
    let Some(p) = film.parts.get(part) else { return Ok(EntryPoints::default()) };
    let refuse = |why: &str| Ok(EntryPoints { encode_because: Some(why.to_string()), ..EntryPoints::default() });
    let smart = p.codec == "h264";
    if !smart && p.codec != "hevc" {
        return refuse(&format!("only H.264 and HEVC are copied, this is {}", p.codec));
    }
    if p.interlaced {
        return refuse("it is interlaced");
    }
    if !p.index.by_packets {
        return refuse("its packets are not one picture each with a time of its own");
    }
    if smart && !matches!(p.pixel_format.as_str(), "yuv420p" | "yuvj420p") {
        return refuse(&format!("it is {}, not 8-bit 4:2:0", p.pixel_format));
    }
    let packets = known.of(p)?;
    if let Some(why) = packets.refused {
        return refuse(why);
    }
    let mut entries = Vec::new();
    let mut exits = Vec::new();
    let (mut count, mut latest) = (0u64, -1i64);
    for packet in &packets.list {
        let Ok(rank) = p.index.pts.binary_search(&packet.pts) else { continue };
        if latest + 1 == count as i64 {
            exits.push(FrameNo(first + count));
        }
        if packet.entry {
            entries.push(FrameNo(first + rank as u64));
        }
        latest = latest.max(rank as i64);
        count += 1;
    }
    exits.push(FrameNo(first + count));
    Ok(EntryPoints { entries, exits, encode_because: None, smart })
}

/// What can become of a part's sound.
pub fn sound_plan(known: &Known, film: &Film, part: usize) -> Result<SoundPlan> {
    let Some(p) = film.parts.get(part).filter(|p| p.sound) else { return Ok(SoundPlan::None) };
    if p.index.by_packets && matches!(p.codec.as_str(), "h264" | "hevc") {
        return Ok(known.of(p)?.sound.clone());
    }
    Ok(sound_of(&Demux::open(&p.path)?))
}

/// What can become of an open file's sound.
pub fn sound_of(demux: &Demux) -> SoundPlan {
    let Some(audio) = demux.audio else { return SoundPlan::None };
    let Some(parameters) = demux.parameters(audio) else { return SoundPlan::None };
    if parameters.id() != ff::codec::Id::AAC {
        return SoundPlan::Encode(format!("{} becomes AAC", parameters.id().name()));
    }
    // SAFETY: the parameters are live; the binding shows none of these fields.
    let (profile, frame, rate) = unsafe {
        let p = parameters.as_ptr();
        ((*p).profile, (*p).frame_size, (*p).sample_rate)
    };
    let base = demux.time_base(audio);
    if i64::from(base.0) * i64::from(rate) > i64::from(base.1) {
        return SoundPlan::Encode("its time stamps are coarser than a sample".into());
    }
    // Without an AudioSpecificConfig (ADTS in a transport stream) packets cannot be laid into MP4 as they are.
    if extradata(&parameters).is_empty() {
        return SoundPlan::Encode("its packets carry their own headers".into());
    }
    // 1 is AAC-LC (ISO/IEC 14496-3 object type 2, counted from 0).
    if profile != 1 || !(frame == 0 || frame == AAC_FRAME as i32) {
        return SoundPlan::Encode("it is not AAC-LC".into());
    }
    SoundPlan::Copy
}
