//! Where a part can be cut without encoding, and what becomes of its sound.
//!
//! H.264 is entered at IDR pictures alone, told by the type of their units: a key-frame flag also stands on recovery
//! points of open groups, at which strict decoders fail. Nothing decoded after an IDR is shown before it (ITU-T H.264,
//! 8.2.1), so that every entry is clean. A part is left where all frames decoded so far are shown before all others.

use ffmpeg_next as ff;

use super::demux::{Demux, hidden};
use super::encode::AAC_FRAME;
use super::extradata;
use super::nal::{self, Sets, h264};
use crate::base::{FrameNo, Result};
use crate::film::{EntryPoints, Film, SoundPlan};

/// Where packets of a part may be cut.
pub fn entry_points(film: &Film, part: usize) -> Result<EntryPoints> {
    let first = film.starts().get(part).copied().unwrap_or(0);
    let Some(p) = film.parts.get(part) else { return Ok(EntryPoints::default()) };
    let refuse = |why: &str| Ok(EntryPoints { encode_because: Some(why.to_string()), ..EntryPoints::default() });
    if p.codec != "h264" {
        return refuse(&format!("only H.264 is copied, this is {}", p.codec));
    }
    if !p.index.by_packets {
        return refuse("its packets are not one picture each with a time of its own");
    }
    if p.interlaced {
        return refuse("it is interlaced");
    }
    if !matches!(p.pixel_format.as_str(), "yuv420p" | "yuvj420p") {
        return refuse(&format!("it is {}, not 8-bit 4:2:0", p.pixel_format));
    }
    let mut demux = Demux::open(&p.path)?;
    let video = demux.video;
    demux.only(&[video]);
    let Some(parameters) = demux.parameters(video) else { return refuse("its codec tells nothing of itself") };
    let Some((sets, framing)) = Sets::read(&extradata(&parameters)) else {
        return refuse("it announces no parameter sets");
    };
    if sets.free_id().is_none() {
        return refuse("it uses every parameter-set id");
    }
    let mut entries = Vec::new();
    let mut exits = Vec::new();
    let (mut count, mut latest) = (0u64, -1i64);
    while let Some(packet) = demux.next() {
        if packet.stream() != video {
            continue;
        }
        if packet.side_data().any(|d| d.kind() == ff::packet::side_data::Type::NewExtraData) {
            return refuse("its parameter sets change on the way");
        }
        let rank = packet.pts().and_then(|t| p.index.pts.binary_search(&t).ok());
        let Some(rank) = rank.filter(|_| !hidden(packet)) else {
            // Before the first frame the edit list may hide what it likes; later the shown would lean on the hidden.
            if count > 0 && hidden(packet) {
                return refuse("its edit list hides frames in the middle");
            }
            continue;
        };
        if latest + 1 == count as i64 {
            exits.push(FrameNo(first + count));
        }
        let (before, slice) = nal::opening(packet.data().unwrap_or(&[]), framing);
        if before.iter().any(|unit| !sets.holds(unit)) {
            return refuse("its parameter sets change on the way");
        }
        if slice == Some(h264::IDR) {
            entries.push(FrameNo(first + rank as u64));
        }
        latest = latest.max(rank as i64);
        count += 1;
    }
    exits.push(FrameNo(first + count));
    Ok(EntryPoints { entries, exits, encode_because: None, smart: true })
}

/// What can become of a part's sound.
pub fn sound_plan(film: &Film, part: usize) -> Result<SoundPlan> {
    let Some(p) = film.parts.get(part).filter(|p| p.sound) else { return Ok(SoundPlan::None) };
    let demux = Demux::open(&p.path)?;
    let Some(audio) = demux.audio else { return Ok(SoundPlan::None) };
    let Some(parameters) = demux.parameters(audio) else { return Ok(SoundPlan::None) };
    if parameters.id() != ff::codec::Id::AAC {
        return Ok(SoundPlan::Encode(format!("{} becomes AAC", parameters.id().name())));
    }
    // SAFETY: the parameters are live; the binding shows none of these fields.
    let (profile, frame, rate) = unsafe {
        let p = parameters.as_ptr();
        ((*p).profile, (*p).frame_size, (*p).sample_rate)
    };
    let base = demux.time_base(audio);
    if i64::from(base.0) * i64::from(rate) > i64::from(base.1) {
        return Ok(SoundPlan::Encode("its time stamps are coarser than a sample".into()));
    }
    // Without an AudioSpecificConfig (ADTS in a transport stream) packets cannot be laid into MP4 as they are.
    if extradata(&parameters).is_empty() {
        return Ok(SoundPlan::Encode("its packets carry their own headers".into()));
    }
    // 1 is AAC-LC (ISO/IEC 14496-3 object type 2, counted from 0).
    if profile != 1 || !(frame == 0 || frame == AAC_FRAME as i32) {
        return Ok(SoundPlan::Encode("it is not AAC-LC".into()));
    }
    Ok(SoundPlan::Copy)
}
