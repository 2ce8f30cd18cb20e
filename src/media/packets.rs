//! What is known of a part's packets while the program runs: where each lies in its file, where copying can begin, and
//! whether packets can be copied as they lie.
//!
//! Reading a film passes over every packet once; what that pass sees is kept here, so that cutting need not pass again.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use ffmpeg_next as ff;

use super::demux::{Demux, hidden};
use super::nal::{self, Framing, Sets, h264, hevc};
use super::{entry, extradata, index};
use crate::base::Result;
use crate::film::{Part, SoundPlan};

/// One packet of the picture, in decode order.
#[derive(Debug, Clone, Copy)]
pub struct Packet {
    /// Presentation time in ticks of the part.
    pub pts: i64,
    /// Where its bytes begin in the file; only where `Packets::plain`.
    pub at: u64,
    /// How many bytes.
    pub size: u32,
    /// Whether the container says that decoding can begin here.
    pub key: bool,
    /// Whether decoding can begin here, by the type of its units.
    pub entry: bool,
}

/// The packets of a part's picture, less those that the edit list hides.
#[derive(Debug, Clone)]
pub struct Packets {
    /// In decode order.
    pub list: Vec<Packet>,
    /// Whether the bytes of the file are the bytes of a clip: units framed by four bytes of length, and none among them
    /// that has no place in MP4.
    pub plain: bool,
    /// Why packets must not be copied, in words.
    pub refused: Option<&'static str>,
    /// What can become of the sound.
    pub sound: SoundPlan,
}

/// Sees packets as they are read.
pub struct Gather {
    list: Vec<Packet>,
    framing: Framing,
    sets: Announced,
    plain: bool,
    refused: Option<&'static str>,
}

/// Parameter sets that the track announces.
enum Announced {
    Avc(Sets),
    Hevc(Vec<Vec<u8>>),
}

impl Gather {
    /// `None` for codecs that are never copied.
    pub fn new(demux: &Demux) -> Option<Self> {
        let parameters = demux.parameters(demux.video)?;
        let extradata = extradata(&parameters);
        let (sets, framing, refused) = match parameters.id() {
            ff::codec::Id::H264 => match Sets::read(&extradata) {
                Some((sets, framing)) => {
                    let refused = sets.free_id().is_none().then_some("it uses every parameter-set id");
                    (Announced::Avc(sets), framing, refused)
                }
                None => (Announced::Avc(Sets::default()), Framing::StartCode, Some("it announces no parameter sets")),
            },
            ff::codec::Id::HEVC => match (nal::length_size(&extradata, true), nal::hevc_sets(&extradata)) {
                (Some(size), Some(sets)) if !sets.is_empty() => (Announced::Hevc(sets), Framing::Length(size), None),
                // Without a record the sets stand among the pictures, which MP4 calls hev1 and Apple's players refuse.
                _ => (Announced::Hevc(vec![]), Framing::StartCode, Some("its parameter sets stand among its pictures")),
            },
            _ => return None,
        };
        // Of the other containers no packet is told by a place in the file where it lies in one piece.
        let in_one_piece = demux.input.format().name().split(',').any(|name| name == "mov");
        let plain = in_one_piece && framing == Framing::Length(4);
        Some(Self { list: Vec::new(), framing, sets, plain, refused })
    }

    /// Sees the next packet of the picture; torn ones are not shown to it.
    pub fn see(&mut self, packet: &ff::Packet) {
        if self.refused.is_some() {
            return;
        }
        if packet.side_data().any(|d| d.kind() == ff::packet::side_data::Type::NewExtraData) {
            self.refused = Some("its parameter sets change on the way");
            return;
        }
        if hidden(packet) {
            // Before the first frame the edit list may hide what it likes; later the shown would lean on the hidden.
            if !self.list.is_empty() {
                self.refused = Some("its edit list hides frames in the middle");
            }
            return;
        }
        let Some(pts) = packet.pts() else { return };
        let data = packet.data().unwrap_or(&[]);
        let entry = match &self.sets {
            Announced::Avc(sets) => {
                let (before, slice) = nal::opening(data, self.framing);
                if before.iter().any(|unit| !sets.holds(unit)) {
                    self.refused = Some("its parameter sets change on the way");
                    return;
                }
                self.plain &= before.iter().all(|unit| !h264::no_place(unit));
                slice == Some(h264::IDR)
            }
            Announced::Hevc(sets) => {
                let (before, slice) = nal::hevc_opening(data, self.framing);
                if before.iter().any(|unit| hevc::is_set(unit) && !sets.iter().any(|s| s == unit)) {
                    self.refused = Some("its parameter sets change on the way");
                    return;
                }
                self.plain &= before.iter().all(|unit| !hevc::no_place(unit));
                slice.is_some_and(hevc::is_entry)
            }
        };
        let at = u64::try_from(packet.position()).ok();
        self.plain &= at.is_some();
        let size = u32::try_from(data.len()).unwrap_or(0);
        self.plain &= size > 0;
        self.list.push(Packet { pts, at: at.unwrap_or(0), size, key: packet.is_key(), entry });
    }

    /// What was seen.
    pub fn done(mut self, demux: &Demux) -> Packets {
        // A container that says another place than where the bytes lie is read through the demuxer.
        self.plain = self.plain && self.refused.is_none() && lie_there(&demux.path, &self.list, self.framing);
        self.list.shrink_to_fit();
        Packets { list: self.list, plain: self.plain, refused: self.refused, sound: entry::sound_of(demux) }
    }
}

/// Whether units lie where the first and the last packet are said to lie.
fn lie_there(path: &Path, list: &[Packet], framing: Framing) -> bool {
    let Framing::Length(size) = framing else { return false };
    let look = |packet: &Packet| -> std::io::Result<bool> {
        let mut file = File::open(path)?;
        file.seek(SeekFrom::Start(packet.at))?;
        let mut data = Vec::new();
        file.take(u64::from(packet.size)).read_to_end(&mut data)?;
        Ok(data.len() == packet.size as usize && nal::adds_up(&data, size))
    };
    [list.first(), list.last()].into_iter().flatten().all(|packet| look(packet).unwrap_or(false))
}

/// Packets of parts that were read, by the part's fingerprint.
#[derive(Debug, Default)]
pub struct Known(Mutex<Vec<(String, Arc<Packets>)>>);

/// So many packets are kept, about 30 bytes each: ten hours of film at 60 frames a second.
const MOST_KEPT: usize = 2_200_000;

impl Known {
    /// Keeps what was seen of a part; the oldest go where there are too many.
    pub fn keep(&self, fingerprint: &str, packets: Packets) -> Arc<Packets> {
        let packets = Arc::new(packets);
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.retain(|(of, _)| of != fingerprint);
        all.push((fingerprint.to_string(), packets.clone()));
        while all.len() > 1 && all.iter().map(|(_, p)| p.list.len()).sum::<usize>() > MOST_KEPT {
            all.remove(0);
        }
        packets
    }

    /// The packets of a part whose codec may be copied; it is passed over if it was not read by this process.
    pub fn of(&self, part: &Part) -> Result<Arc<Packets>> {
        let kept = {
            let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            all.iter().find(|(of, _)| *of == part.fingerprint).map(|(_, packets)| packets.clone())
        };
        if let Some(packets) = kept {
            return Ok(packets);
        }
        let mut demux = Demux::open(&part.path)?;
        let nothing =
            |demux: &Demux| Packets { list: vec![], plain: false, refused: None, sound: entry::sound_of(demux) };
        let packets = match index::packets(&mut demux) {
            Some(packets) => packets,
            None => nothing(&demux),
        };
        Ok(self.keep(&part.fingerprint, packets))
    }
}
