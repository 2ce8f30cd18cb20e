//! H.264 and HEVC network abstraction layer units (ITU-T H.264 and H.265), as far as cutting needs them.

/// How units lie in a packet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Framing {
    /// Each with its length before it, in so many bytes (ISO/IEC 14496-15).
    Length(usize),
    /// Each after a start code (Annex B).
    StartCode,
}

/// H.264 unit types used here (table 7-1).
pub mod h264 {
    /// Slice of an IDR picture.
    pub const IDR: u8 = 5;
    /// Supplemental enhancement information.
    pub const SEI: u8 = 6;
    /// Sequence parameter set.
    pub const SPS: u8 = 7;
    /// Picture parameter set.
    pub const PPS: u8 = 8;
    /// Access unit delimiter.
    pub const AUD: u8 = 9;

    /// Units that have no place among the packets of MP4: delimiters, and parameter sets, which stand in the track's
    /// record alone (ISO/IEC 14496-15, avc1).
    pub fn no_place(unit: &[u8]) -> bool {
        matches!(super::kind(unit), AUD | SPS | PPS)
    }
}

/// HEVC unit types used here (ITU-T H.265, table 7-1).
pub mod hevc {
    /// Type of a unit.
    pub fn kind(unit: &[u8]) -> u8 {
        unit.first().map_or(0, |b| b >> 1 & 0x3f)
    }

    /// Video, sequence and picture parameter sets.
    pub fn is_set(unit: &[u8]) -> bool {
        matches!(kind(unit), 32..=34)
    }

    /// Units that have no place among the packets of MP4 (ISO/IEC 14496-15, hvc1): parameter sets and delimiters.
    pub fn no_place(unit: &[u8]) -> bool {
        matches!(kind(unit), 32..=35)
    }

    /// Whether decoding can begin at a slice of this type: BLA, IDR, and CRA less the pictures shown before it.
    pub fn is_entry(kind: u8) -> bool {
        matches!(kind, 16..=21)
    }
}

/// The units of a packet. A unit that runs over the end is cut off there.
pub fn units(data: &[u8], framing: Framing) -> Vec<&[u8]> {
    match framing {
        Framing::Length(size) => {
            let mut all = Vec::new();
            let mut rest = data;
            while rest.len() > size {
                let length = rest[..size].iter().fold(0usize, |n, b| n << 8 | usize::from(*b)).min(rest.len() - size);
                all.push(&rest[size..size + length]);
                rest = &rest[size + length..];
            }
            all
        }
        Framing::StartCode => {
            let mut starts = Vec::new();
            let mut from = 0;
            while let Some(start) = start_code(data, from) {
                starts.push(start);
                from = start;
            }
            starts
                .iter()
                .enumerate()
                .map(|(k, &from)| {
                    let to = starts.get(k + 1).map_or(data.len(), |next| next - 3);
                    let unit = &data[from..to];
                    // A fourth zero byte before a start code, and trailing zeros, belong to no unit.
                    let end = unit.iter().rposition(|b| *b != 0).map_or(0, |at| at + 1);
                    &unit[..end]
                })
                .filter(|u| !u.is_empty())
                .collect()
        }
    }
}

/// Bytes of the length before each unit of an H.264 or HEVC stream in MP4 or Matroska (ISO/IEC 14496-15: an avcC or
/// hvcC record, both of version 1); `None` where units have start codes.
pub fn length_size(extradata: &[u8], hevc: bool) -> Option<usize> {
    if extradata.first() != Some(&1) {
        return None;
    }
    extradata.get(if hevc { 21 } else { 4 }).map(|b| usize::from(b & 3) + 1)
}

/// Whether the lengths of a packet's units add up to its size. Random bytes do so once in millions of packets.
pub fn adds_up(data: &[u8], size: usize) -> bool {
    let mut rest = data;
    while !rest.is_empty() {
        if rest.len() < size {
            return false;
        }
        let length = rest[..size].iter().fold(0usize, |n, b| n << 8 | usize::from(*b));
        // An empty unit is padding that some writers leave.
        if length > rest.len() - size {
            return false;
        }
        rest = &rest[size + length..];
    }
    true
}

/// Where the unit after the next start code begins, from `from` on.
fn start_code(data: &[u8], from: usize) -> Option<usize> {
    let mut i = from + 2;
    while let Some(&third) = data.get(i) {
        // A byte above 1 can be no part of a start code: three are passed at once.
        match third {
            1 if data[i - 1] == 0 && data[i - 2] == 0 => return Some(i + 1),
            0 | 1 => i += 1,
            _ => i += 3,
        }
    }
    None
}

/// How an H.264 picture opens: the units before its first slice, and that slice's type. The slices themselves, nearly
/// all of the bytes, are not looked at.
pub fn opening(data: &[u8], framing: Framing) -> (Vec<&[u8]>, Option<u8>) {
    let mut before = Vec::new();
    let mut rest = data;
    loop {
        let unit = match framing {
            Framing::Length(size) => {
                if rest.len() <= size {
                    return (before, None);
                }
                let length = rest[..size].iter().fold(0usize, |n, b| n << 8 | usize::from(*b)).min(rest.len() - size);
                let unit = &rest[size..size + length];
                rest = &rest[size + length..];
                unit
            }
            Framing::StartCode => {
                let Some(from) = start_code(rest, 0) else { return (before, None) };
                if (1..=h264::IDR).contains(&kind(&rest[from..])) {
                    return (before, Some(kind(&rest[from..])));
                }
                let next = start_code(rest, from);
                let unit = &rest[from..next.map_or(rest.len(), |n| n - 3)];
                rest = &rest[next.map_or(rest.len(), |n| n - 3)..];
                &unit[..unit.iter().rposition(|b| *b != 0).map_or(0, |at| at + 1)]
            }
        };
        match kind(unit) {
            1..=h264::IDR => return (before, Some(kind(unit))),
            _ => before.push(unit),
        }
    }
}

/// The same for an HEVC picture framed by lengths.
pub fn hevc_opening(data: &[u8], framing: Framing) -> (Vec<&[u8]>, Option<u8>) {
    let mut before = Vec::new();
    let Framing::Length(size) = framing else { return (before, None) };
    let mut rest = data;
    while rest.len() > size {
        let length = rest[..size].iter().fold(0usize, |n, b| n << 8 | usize::from(*b)).min(rest.len() - size);
        let unit = &rest[size..size + length];
        // Types below 32 are slices.
        if hevc::kind(unit) < 32 && !unit.is_empty() {
            return (before, Some(hevc::kind(unit)));
        }
        before.push(unit);
        rest = &rest[size + length..];
    }
    (before, None)
}

/// Parameter sets of an hvcC record (ISO/IEC 14496-15, 8.3.3.1).
pub fn hevc_sets(record: &[u8]) -> Option<Vec<Vec<u8>>> {
    let mut sets = Vec::new();
    let mut at = 23;
    for _ in 0..*record.get(22)? {
        let count = usize::from(*record.get(at + 1)?) << 8 | usize::from(*record.get(at + 2)?);
        at += 3;
        for _ in 0..count {
            let length = usize::from(*record.get(at)?) << 8 | usize::from(*record.get(at + 1)?);
            sets.push(record.get(at + 2..at + 2 + length)?.to_vec());
            at += 2 + length;
        }
    }
    Some(sets)
}

/// An hvcC record that says that all parameter sets stand in it, as `hvc1` demands, packets framed by four bytes.
pub fn hvcc(record: &[u8]) -> Option<Vec<u8>> {
    let mut out = record.to_vec();
    *out.get_mut(21)? |= 3;
    let mut at = 23;
    for _ in 0..*record.get(22)? {
        *out.get_mut(at)? |= 0x80;
        let count = usize::from(*record.get(at + 1)?) << 8 | usize::from(*record.get(at + 2)?);
        at += 3;
        for _ in 0..count {
            at += 2 + (usize::from(*record.get(at)?) << 8 | usize::from(*record.get(at + 1)?));
        }
    }
    Some(out)
}

/// Whether other pictures are predicted from the picture in a packet; `None` if no slice is found in it. H.264:
/// `nal_ref_idc` (7.4.1); HEVC: even types up to RSV_VCL_N14 are no references of their layer (table 7-1).
pub fn is_reference(data: &[u8], framing: Framing, hevc: bool) -> Option<bool> {
    let mut rest = data;
    loop {
        let (head, next) = match framing {
            Framing::Length(size) => {
                if rest.len() <= size {
                    return None;
                }
                let length = rest[..size].iter().fold(0usize, |n, b| n << 8 | usize::from(*b)).min(rest.len() - size);
                (*rest.get(size)?, &rest[size + length..])
            }
            Framing::StartCode => {
                let from = start_code(rest, 0)?;
                (*rest.get(from)?, &rest[from..])
            }
        };
        if hevc {
            let kind = head >> 1 & 0x3f;
            if kind < 32 {
                return Some(kind > 14 || kind % 2 == 1);
            }
        } else if (1..=h264::IDR).contains(&(head & 0x1f)) {
            return Some(head >> 5 & 3 != 0);
        }
        rest = next;
    }
}

/// Whether a unit is an encoder's note of itself (user data, SEI payload type 5), which no decoder needs.
pub fn is_note(unit: &[u8]) -> bool {
    kind(unit) == h264::SEI && unit.get(1) == Some(&5)
}

/// Type of an H.264 unit.
pub fn kind(unit: &[u8]) -> u8 {
    unit.first().map_or(0, |b| b & 0x1f)
}

/// Parameter sets of an H.264 stream.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Sets {
    /// Sequence parameter sets, without length or start code.
    pub sps: Vec<Vec<u8>>,
    /// Picture parameter sets.
    pub pps: Vec<Vec<u8>>,
}

impl Sets {
    /// From the codec's extradata: an avcC record or units with start codes; and how packets are framed.
    pub fn read(extradata: &[u8]) -> Option<(Self, Framing)> {
        if extradata.first() == Some(&1) {
            let size = usize::from(extradata.get(4)? & 3) + 1;
            let mut sets = Self::default();
            let mut at = 5;
            for which in 0..2 {
                let count = *extradata.get(at)? & if which == 0 { 0x1f } else { 0xff };
                at += 1;
                for _ in 0..count {
                    let length = usize::from(*extradata.get(at)?) << 8 | usize::from(*extradata.get(at + 1)?);
                    let set = extradata.get(at + 2..at + 2 + length)?.to_vec();
                    if which == 0 {
                        sets.sps.push(set)
                    } else {
                        sets.pps.push(set)
                    }
                    at += 2 + length;
                }
            }
            return Some((sets, Framing::Length(size)));
        }
        let mut sets = Self::default();
        for unit in units(extradata, Framing::StartCode) {
            sets.add(unit);
        }
        (!sets.sps.is_empty()).then_some((sets, Framing::StartCode))
    }

    /// Adds a unit if it is a parameter set not held yet.
    pub fn add(&mut self, unit: &[u8]) {
        let held = match kind(unit) {
            h264::SPS => &mut self.sps,
            h264::PPS => &mut self.pps,
            _ => return,
        };
        if !held.iter().any(|s| s == unit) {
            held.push(unit.to_vec());
        }
    }

    /// All of them.
    pub fn all(&self) -> impl Iterator<Item = &[u8]> {
        self.sps.iter().chain(&self.pps).map(Vec::as_slice)
    }

    /// Whether a unit is a parameter set held here, or no parameter set at all.
    pub fn holds(&self, unit: &[u8]) -> bool {
        match kind(unit) {
            h264::SPS => self.sps.iter().any(|s| s == unit),
            h264::PPS => self.pps.iter().any(|s| s == unit),
            _ => true,
        }
    }

    /// An id from 1 to 31 that no set uses.
    pub fn free_id(&self) -> Option<u8> {
        self.free_id_below(32)
    }

    /// The same below `limit`.
    pub fn free_id_below(&self, limit: u8) -> Option<u8> {
        let used: Vec<u32> =
            self.sps.iter().filter_map(|s| sps_id(s)).chain(self.pps.iter().filter_map(|p| pps_id(p))).collect();
        (1..limit).rev().find(|id| !used.contains(&u32::from(*id)))
    }

    /// Whether a set of `other` has the id of one held here and another content: both cannot stand in one record.
    pub fn contradicts(&self, other: &Self) -> bool {
        let against = |held: &[Vec<u8>], others: &[Vec<u8>], id: fn(&[u8]) -> Option<u32>| {
            others.iter().any(|one| held.iter().any(|set| set != one && id(set) == id(one)))
        };
        against(&self.sps, &other.sps, sps_id) || against(&self.pps, &other.pps, pps_id)
    }

    /// An avcC record of these sets and another's, packets framed by four bytes of length, the level the larger.
    pub fn avcc(&self, more: &Self) -> Option<Vec<u8>> {
        let first = self.sps.first().or(more.sps.first())?;
        let all_sps: Vec<&Vec<u8>> = self.sps.iter().chain(&more.sps).collect();
        let all_pps: Vec<&Vec<u8>> = self.pps.iter().chain(&more.pps).collect();
        let (profile, compatible) = (*first.get(1)?, *first.get(2)?);
        // The record must announce a profile that covers both: the greater number does among Baseline, Main, High.
        let profile = all_sps.iter().filter_map(|s| s.get(1)).copied().max().unwrap_or(profile);
        let level = all_sps.iter().filter_map(|s| s.get(3)).copied().max()?;
        let mut out = vec![1, profile, compatible, level, 0xff, 0xe0 | (all_sps.len() as u8 & 0x1f)];
        for set in &all_sps {
            out.extend((set.len() as u16).to_be_bytes());
            out.extend_from_slice(set);
        }
        out.push(all_pps.len() as u8);
        for set in &all_pps {
            out.extend((set.len() as u16).to_be_bytes());
            out.extend_from_slice(set);
        }
        if ![66, 77, 88].contains(&profile) {
            // 4:2:0, 8 bits, no extension sets: all that is ever smart-cut.
            out.extend([0xfd, 0xf8, 0xf8, 0]);
        }
        Some(out)
    }
}

/// A packet's units with four bytes of length each, those left out that `without` names.
pub fn reframe(data: &[u8], framing: Framing, without: impl Fn(&[u8]) -> bool) -> Vec<u8> {
    let mut out = Vec::with_capacity(data.len() + 16);
    for unit in units(data, framing) {
        if !without(unit) {
            out.extend((unit.len() as u32).to_be_bytes());
            out.extend_from_slice(unit);
        }
    }
    out
}

fn sps_id(sps: &[u8]) -> Option<u32> {
    Bits::of(sps.get(4..)?).unsigned()
}

fn pps_id(pps: &[u8]) -> Option<u32> {
    Bits::of(pps.get(1..)?).unsigned()
}

/// Exp-Golomb reader (H.264 clause 9.1); ids stand early enough that no emulation prevention byte comes before.
struct Bits<'a> {
    data: &'a [u8],
    at: usize,
}

impl<'a> Bits<'a> {
    fn of(data: &'a [u8]) -> Self {
        Self { data, at: 0 }
    }

    fn bit(&mut self) -> Option<u32> {
        let byte = self.data.get(self.at / 8)?;
        let bit = byte >> (7 - self.at % 8) & 1;
        self.at += 1;
        Some(u32::from(bit))
    }

    fn unsigned(&mut self) -> Option<u32> {
        let mut zeros = 0;
        while self.bit()? == 0 {
            zeros += 1;
            if zeros > 31 {
                return None;
            }
        }
        let mut value = 1u32;
        for _ in 0..zeros {
            value = value << 1 | self.bit()?;
        }
        Some(value - 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_framings_give_the_same_units() {
        let lengths = [0, 0, 0, 3, 0x65, 1, 2, 0, 0, 0, 2, 0x41, 9];
        let codes = [0, 0, 0, 1, 0x65, 1, 2, 0, 0, 1, 0x41, 9];
        let want: [&[u8]; 2] = [&[0x65, 1, 2], &[0x41, 9]];
        assert_eq!(units(&lengths, Framing::Length(4)), want);
        assert_eq!(units(&codes, Framing::StartCode), want);
        assert_eq!(reframe(&codes, Framing::StartCode, |_| false), lengths);
        assert_eq!(reframe(&codes, Framing::StartCode, |u| kind(u) == h264::IDR), [0, 0, 0, 2, 0x41, 9]);
        assert_eq!(units(&[0, 0, 0, 200, 1], Framing::Length(4)), [&[1][..]]);
        assert!(units(&[], Framing::StartCode).is_empty());
    }

    #[test]
    fn a_picture_opens_with_its_sets_and_the_type_of_its_first_slice() {
        let codes = [0, 0, 0, 1, 0x09, 0xf0, 0, 0, 0, 1, 0x67, 100, 0, 31, 0, 0, 1, 0x65, 1, 0, 0, 1, 0x65, 2];
        let lengths = [0, 0, 0, 2, 0x09, 0xf0, 0, 0, 0, 4, 0x67, 100, 0, 31, 0, 0, 0, 2, 0x65, 1, 0, 0, 0, 2, 0x65, 2];
        let want: Vec<&[u8]> = vec![&[0x09, 0xf0], &[0x67, 100, 0, 31]];
        assert_eq!(opening(&codes, Framing::StartCode), (want.clone(), Some(5)));
        assert_eq!(opening(&lengths, Framing::Length(4)), (want, Some(5)));
        assert_eq!(opening(&[0, 0, 1, 0x41, 3], Framing::StartCode), (vec![], Some(1)));
        assert_eq!(opening(&[0, 0, 1, 0x06, 5], Framing::StartCode), (vec![&[0x06, 5][..]], None));
        assert_eq!(opening(&[], Framing::Length(4)), (vec![], None));
        assert!(is_note(&[0x06, 5, 20]) && !is_note(&[0x06, 6, 1]) && !is_note(&[0x65, 5]));
    }

    #[test]
    fn an_hevc_picture_opens_and_its_record_gives_its_sets() {
        // A delimiter, then a CRA slice (type 21).
        let data = [0, 0, 0, 3, 35 << 1, 1, 0x50, 0, 0, 0, 2, 21 << 1, 1];
        let (before, slice) = hevc_opening(&data, Framing::Length(4));
        assert_eq!((before, slice), (vec![&[35 << 1, 1, 0x50][..]], Some(21)));
        assert!(hevc::is_entry(21) && hevc::is_entry(19) && !hevc::is_entry(1) && !hevc::is_entry(9));
        let mut record = vec![0; 21];
        record[0] = 1;
        // Lengths of four bytes; two arrays: one set of two bytes, two sets of one.
        record.extend([3, 2, 32, 0, 1, 0, 2, 64, 1, 33, 0, 2, 0, 1, 66, 0, 1, 67]);
        assert_eq!(hevc_sets(&record), Some(vec![vec![64, 1], vec![66], vec![67]]));
        assert_eq!(hevc_sets(&record[..record.len() - 1]), None);
        let whole = hvcc(&record).unwrap();
        assert_eq!((whole[23], whole[30]), (32 | 0x80, 33 | 0x80));
        assert_eq!(hevc_sets(&whole), hevc_sets(&record));
    }

    #[test]
    fn lengths_add_up_or_do_not() {
        assert!(adds_up(&[0, 0, 0, 1, 9, 0, 0, 0, 2, 1, 2], 4));
        assert!(adds_up(&[], 4));
        assert!(!adds_up(&[0, 0, 0, 9, 9], 4));
        assert!(!adds_up(&[0x55; 40], 4));
        assert!(!adds_up(&[0, 0, 0, 1, 9, 0], 4));
        assert_eq!(length_size(&[1, 100, 0, 31, 0xff, 0xe1], false), Some(4));
        assert_eq!(length_size(&[0, 0, 0, 1], false), None);
    }

    #[test]
    fn ids_are_read_by_exp_golomb() {
        // ue(v) table of clause 9.1: 1 -> 0, 010 -> 1, 011 -> 2, 00100 -> 3.
        for (bits, want) in [(0b1000_0000, 0), (0b0100_0000, 1), (0b0110_0000, 2), (0b0010_0000, 3)] {
            assert_eq!(sps_id(&[0x67, 100, 0, 31, bits]), Some(want));
            assert_eq!(pps_id(&[0x68, bits]), Some(want));
        }
        assert_eq!(sps_id(&[0x67, 100]), None);
        let sets = Sets { sps: vec![vec![0x67, 100, 0, 31, 0b1000_0000]], pps: vec![vec![0x68, 0b1000_0000]] };
        assert_eq!(sets.free_id(), Some(31));
    }

    #[test]
    fn an_avcc_record_reads_back() {
        let one = Sets { sps: vec![vec![0x67, 77, 0, 30, 0x80]], pps: vec![vec![0x68, 0x80]] };
        let two = Sets { sps: vec![vec![0x67, 100, 0, 41, 0x02]], pps: vec![vec![0x68, 0x02]] };
        let record = one.avcc(&two).unwrap();
        assert_eq!(&record[1..4], [100, 0, 41]);
        let (sets, framing) = Sets::read(&record).unwrap();
        assert_eq!(framing, Framing::Length(4));
        assert_eq!(sets.sps.len() + sets.pps.len(), 4);
    }
}
