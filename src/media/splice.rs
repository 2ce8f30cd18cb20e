//! Cutting clips out of a film: packets copied where a plan says so, frames encoded anew at the ends.
//!
//! The picture track of a clip is laid out in decode order first, then given decode times, then written: k-th decode
//! time = k-th smallest presentation time less the greatest reorder delay, so that no packet is decoded after it is
//! shown, whatever was joined.

use std::path::{Path, PathBuf};

use ff::ffi;
use ffmpeg_next as ff;

use super::demux::{Demux, hidden};
use super::encode::{AAC_FRAME, AacEncoder, VideoEncoder, VideoSpec};
use super::frames::{Frames, rescale};
use super::mux::Muxer;
use super::nal::{self, Framing, Sets, h264};
use super::sink::SOUND_RATE;
use super::sound::Sound;
use super::{Media, failed};
use crate::base::{Error, FrameNo, FrameSpan, Rate, Result};
use crate::film::{ClipPlan, Color, Decode, EntryPoints, Film, FrameSource, Matrix, Part, Piece, SoundPlan, SoundSource};

/// Extradata of a stream's parameters.
fn extradata(parameters: &ff::codec::Parameters) -> Vec<u8> {
    // SAFETY: the parameters are live; the binding shows no extradata.
    unsafe {
        let p = parameters.as_ptr();
        if (*p).extradata.is_null() || (*p).extradata_size <= 0 {
            return Vec::new();
        }
        std::slice::from_raw_parts((*p).extradata, (*p).extradata_size as usize).to_vec()
    }
}

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
    let mut open_groups = false;
    let mut last_entry: Option<u64> = None;
    while let Some(packet) = demux.next() {
        if packet.stream() != video {
            continue;
        }
        if hidden(packet) {
            return refuse("its edit list hides frames");
        }
        let Some(rank) = packet.pts().and_then(|t| p.index.pts.binary_search(&t).ok()) else { continue };
        if latest + 1 == count as i64 {
            exits.push(FrameNo(first + count));
        }
        // A frame shown before the entry but decoded after it belongs to an open group.
        open_groups |= last_entry.is_some_and(|e| (rank as u64) < e);
        let data = packet.data().unwrap_or(&[]);
        if nal::units(data, framing).iter().any(|u| nal::kind(u) == h264::IDR) {
            entries.push(FrameNo(first + rank as u64));
            last_entry = Some(rank as u64);
        }
        latest = latest.max(rank as i64);
        count += 1;
    }
    exits.push(FrameNo(first + count));
    if open_groups {
        return refuse("its groups of pictures are open");
    }
    Ok(EntryPoints { entries, exits, encode_because: None, smart: true })
}

/// What can become of a part's sound.
pub fn sound_plan(film: &Film, part: usize) -> Result<SoundPlan> {
    let Some(p) = film.parts.get(part).filter(|p| p.sound) else { return Ok(SoundPlan::None) };
    let demux = Demux::open(&p.path)?;
    let Some(parameters) = demux.audio.and_then(|a| demux.parameters(a)) else { return Ok(SoundPlan::None) };
    if parameters.id() != ff::codec::Id::AAC {
        return Ok(SoundPlan::Encode(format!("{} becomes AAC", parameters.id().name())));
    }
    // SAFETY: the parameters are live; the binding shows neither profile nor frame size.
    let (profile, frame) = unsafe { ((*parameters.as_ptr()).profile, (*parameters.as_ptr()).frame_size) };
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

/// Carries out plans over one film, in order.
pub fn carry_out(
    media: &Media,
    film: &Film,
    plans: &[ClipPlan],
    paths: &[PathBuf],
    done: &mut dyn FnMut(usize) -> Result<()>,
) -> Result<()> {
    let mut cutter = Cutter { media, film, frames: Frames::new(film, Decode::Exact, 0), open: None, sound: None };
    for (i, (plan, path)) in plans.iter().zip(paths).enumerate() {
        if plan.pieces.iter().any(|p| matches!(p, Piece::Copy(_))) {
            cutter.spliced(plan, path)?;
        } else {
            cutter.encoded(plan, path)?;
        }
        done(i)?;
    }
    Ok(())
}

/// A film held open between clips.
struct Cutter<'a> {
    media: &'a Media,
    film: &'a Film,
    frames: Frames<'a>,
    open: Option<(usize, Demux)>,
    sound: Option<Sound<'a>>,
}

/// A packet of the picture track with its presentation time in ticks of the part, relative to the in-point.
struct Laid {
    pts: i64,
    packet: ff::Packet,
}

impl<'a> Cutter<'a> {
    fn demux(&mut self, part: usize) -> Result<&mut Demux> {
        if self.open.as_ref().is_none_or(|(at, _)| *at != part) {
            let mut demux = Demux::open(&self.film.parts[part].path)?;
            let wanted: Vec<usize> = [Some(demux.video), demux.audio].into_iter().flatten().collect();
            demux.only(&wanted);
            self.open = Some((part, demux));
        }
        match &mut self.open {
            Some((_, demux)) => Ok(demux),
            None => Err(Error::failed("cannot open the film", "", "run the same command again")),
        }
    }

    /// A clip with copied packets; it lies within one part.
    fn spliced(&mut self, plan: &ClipPlan, path: &Path) -> Result<()> {
        let place = self.film.place(plan.span.start);
        let part = &self.film.parts[place.part];
        let starts = self.film.starts();
        let first = starts[place.part];
        let pts = &part.index.pts;
        let tick = |frame: FrameNo| ticks_at(part, frame.0 - first);
        let zero = tick(plan.span.start);

        let demux = self.demux(place.part)?;
        let video = demux.video;
        let time_base = demux.time_base(video);
        let Some(parameters) = demux.parameters(video) else {
            return Err(Error::failed("cannot copy from the film", part.path.display(), "run the same command again"));
        };
        let Some((sets, framing)) = Sets::read(&extradata(&parameters)) else {
            return Err(Error::failed("cannot copy from the film", part.path.display(), "run the same command again"));
        };
        let matrix = display_matrix(demux, video);
        let mut laid: Vec<Laid> = Vec::new();
        let mut own_sets = Sets::default();
        for piece in &plan.pieces {
            match piece {
                Piece::Copy(span) => {
                    let (from, to) = (span.start.0 - first, span.end.0 - first);
                    copy(self.demux(place.part)?, pts, from, to, framing, zero, &mut laid)?;
                }
                Piece::Encode(span, _) => {
                    let spec = self.head_spec(part, sets.free_id(), &parameters);
                    own_sets = self.encode_piece(*span, &spec, zero, first, path, &mut laid)?;
                }
            }
        }
        let avcc = sets.avcc(&own_sets).ok_or_else(|| {
            Error::failed("cannot copy from the film: its parameter sets are damaged", part.path.display(), "report this film")
        })?;
        let end = ticks_at(part, plan.span.end.0 - first) - zero;

        let mut muxer = Muxer::create(path, "")?;
        muxer.add(&parameters, time_base, Some(&avcc), matrix.as_deref())?;
        let mut track = self.sound_track(plan, &mut muxer, path)?;
        muxer.begin()?;

        let mut shown: Vec<i64> = laid.iter().map(|l| l.pts).collect();
        shown.sort_unstable();
        let delay = shown.iter().zip(&laid).map(|(s, l)| s - l.pts).max().unwrap_or(0).max(0);
        let lasts = |pts: i64| shown.get(shown.partition_point(|s| *s <= pts)).copied().unwrap_or(end.max(pts + 1)) - pts;
        let mut fed = 0;
        for (k, Laid { pts, mut packet }) in laid.into_iter().enumerate() {
            packet.set_pts(Some(pts));
            packet.set_dts(Some(shown[k] - delay));
            packet.set_duration(lasts(pts));
            // Sound is fed along, so that the muxer never holds more than a moment of either.
            let seconds = pts as f64 * f64::from(time_base.0) / f64::from(time_base.1);
            fed = self.feed_sound(&mut track, plan, seconds + 0.5, fed, &mut muxer)?;
            muxer.write(0, packet)?;
        }
        self.feed_sound(&mut track, plan, f64::INFINITY, fed, &mut muxer)?;
        if let Track::Encode { encoder, .. } = &mut track {
            encoder.flush(&mut |packet| muxer.write(1, packet))?;
        }
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
        let mut sets = Sets::default();
        for unit in nal::units(&encoder.header(), Framing::StartCode) {
            sets.add(unit);
        }
        let part = &self.film.parts[self.film.place(span.start).part];
        let mut lay = |packet: ff::Packet| {
            let data = nal::reframe(packet.data().unwrap_or(&[]), Framing::StartCode, &[h264::SEI, h264::SPS, h264::PPS, h264::AUD]);
            let mut bare = ff::Packet::copy(&data);
            if packet.is_key() {
                bare.set_flags(ff::packet::Flags::KEY);
            }
            laid.push(Laid { pts: packet.pts().unwrap_or(0), packet: bare });
            Ok(())
        };
        // Turning would be undone by the display matrix of the clip.
        self.frames.upright_off(true);
        self.frames.seek(span.start)?;
        let mut key = true;
        let mut last: Option<FrameNo> = None;
        while let Some(view) = self.frames.next_frame()? {
            if view.no >= span.end {
                break;
            }
            encoder.encode(&view, ticks_at(part, view.no.0 - first) - zero, key, &mut lay)?;
            key = false;
            last = Some(view.no);
            if view.no.0 + 1 == span.end.0 {
                break;
            }
        }
        self.frames.upright_off(false);
        if last.is_some() {
            encoder.flush(&mut lay)?;
        }
        Ok(sets)
    }

    fn head_spec(&self, part: &Part, set_id: Option<u8>, parameters: &ff::codec::Parameters) -> VideoSpec {
        // SAFETY: the parameters are live; the binding shows none of these fields.
        let (width, height, space, range) = unsafe {
            let p = parameters.as_ptr();
            ((*p).width, (*p).height, (*p).color_space, (*p).color_range)
        };
        let matrix = match space {
            ffi::AVColorSpace::AVCOL_SPC_BT470BG | ffi::AVColorSpace::AVCOL_SPC_SMPTE170M => Matrix::Bt601,
            ffi::AVColorSpace::AVCOL_SPC_BT2020_NCL => Matrix::Bt2020,
            _ if height >= 720 || space == ffi::AVColorSpace::AVCOL_SPC_BT709 => Matrix::Bt709,
            _ => Matrix::Bt601,
        };
        let full_range = range == ffi::AVColorRange::AVCOL_RANGE_JPEG || part.pixel_format == "yuvj420p";
        VideoSpec {
            width: width.max(0) as u32,
            height: height.max(0) as u32,
            time_base: ff::Rational(part.time_base.num as i32, part.time_base.den as i32),
            rate: part.rate,
            aspect: part.sample_aspect,
            color: Color { matrix, full_range },
            preset: self.media.preset.clone(),
            crf: self.media.crf,
            // One group: it ends where copying begins.
            gop: 100_000,
            set_id,
        }
    }

    /// A clip encoded whole: across parts, another codec, or nothing to copy.
    fn encoded(&mut self, plan: &ClipPlan, path: &Path) -> Result<()> {
        // Times in the clip: film time from the in-point, in ticks fine enough for any camera.
        const TICKS: i32 = 90_000;
        let zero = self.film.time(plan.span.start);
        let place = self.film.place(plan.span.start);
        let part = &self.film.parts[place.part];
        self.frames.upright_off(false);
        self.frames.seek(plan.span.start)?;
        let mut muxer = Muxer::create(path, "")?;
        let mut encoder: Option<VideoEncoder> = None;
        let mut track = Track::None;
        let mut fed = 0;
        let turned = part.rotation % 180 == 90;
        let aspect = if turned { Rate { num: part.sample_aspect.den, den: part.sample_aspect.num } } else { part.sample_aspect };
        let mut size = (0, 0);
        let base = ff::Rational(1, TICKS);
        let end = (self.film.time(plan.span.end) - zero).max(0.0);
        loop {
            let Some(view) = self.frames.next_frame()? else { break };
            if view.no >= plan.span.end {
                break;
            }
            let (no, time) = (view.no, view.time);
            let (w, h) = (view.width & !1, view.height & !1);
            if encoder.is_none() {
                size = (w, h);
                let spec = VideoSpec {
                    width: w as u32,
                    height: h as u32,
                    time_base: base,
                    rate: part.rate,
                    aspect,
                    color: view.color,
                    preset: self.media.preset.clone(),
                    crf: self.media.crf,
                    gop: (2.0 * part.rate.hz()).round().max(1.0) as u32,
                    set_id: None,
                };
                let opened = VideoEncoder::open(&spec, path)?;
                muxer.add(&opened.parameters(), base, None, None)?;
                encoder = Some(opened);
            }
            if (w, h) != size {
                return Err(Error::refused(
                    format!("frames {} to {} change their size on the way", plan.span.start, plan.span.end),
                    part.path.display(),
                    "give the parts with another size as another camera",
                ));
            }
            let even = crate::film::PictureView { width: w, height: h, ..view };
            let pts = ((time - zero) * f64::from(TICKS)).round() as i64;
            let step = (f64::from(TICKS) / part.rate.hz()).round() as i64;
            let mut packets = Vec::new();
            if let Some(encoder) = &mut encoder {
                encoder.encode(&even, pts, false, &mut |mut packet| {
                    packet.set_duration(step);
                    packets.push(packet);
                    Ok(())
                })?;
            }
            if no == plan.span.start || matches!(track, Track::None) && fed == 0 {
                track = self.sound_track(plan, &mut muxer, path)?;
                muxer.begin()?;
                fed = 1;
            }
            fed = self.feed_sound(&mut track, plan, (time - zero + 0.5).min(end), fed.max(1), &mut muxer)?;
            for packet in packets {
                muxer.write(0, packet)?;
            }
        }
        let Some(mut encoder) = encoder else {
            return Err(Error::failed(
                format!("frames {} to {} cannot be decoded", plan.span.start, plan.span.end),
                part.path.display(),
                "check that the film plays there",
            ));
        };
        let step = (f64::from(TICKS) / part.rate.hz()).round() as i64;
        encoder.flush(&mut |mut packet| {
            packet.set_duration(step);
            muxer.write(0, packet)
        })?;
        self.feed_sound(&mut track, plan, f64::INFINITY, fed, &mut muxer)?;
        if let Track::Encode { encoder, .. } = &mut track {
            encoder.flush(&mut |packet| muxer.write(1, packet))?;
        }
        muxer.finish()
    }
}

/// The sound track of a clip while it is written.
enum Track {
    None,
    /// Packets to copy, times relative to the in-point in ticks of the sound stream; how many are written.
    Copy { packets: Vec<ff::Packet>, base: ff::Rational, next: usize },
    /// Encoded from decoded sound; sample frames still to read, and read so far.
    Encode { encoder: Box<AacEncoder>, channels: usize, left: u64, given: u64 },
}

impl<'a> Cutter<'a> {
    fn sound_track(&mut self, plan: &ClipPlan, muxer: &mut Muxer, path: &Path) -> Result<Track> {
        match &plan.sound {
            SoundPlan::None => Ok(Track::None),
            SoundPlan::Copy => {
                let place = self.film.place(plan.span.start);
                let part = &self.film.parts[place.part];
                let first = self.film.starts()[place.part];
                let (from, to) = (ticks_at(part, plan.span.start.0 - first), ticks_at(part, plan.span.end.0 - first));
                let demux = self.demux(place.part)?;
                let Some(audio) = demux.audio else { return Ok(Track::None) };
                let (video_base, base) = (demux.time_base(demux.video), demux.time_base(audio));
                let (zero, end) = (rescale(from, video_base, base), rescale(to, video_base, base));
                let Some(parameters) = demux.parameters(audio) else { return Ok(Track::None) };
                let packets = sound_packets(demux, audio, zero, end, base);
                muxer.add(&parameters, base, None, None)?;
                Ok(Track::Copy { packets, base, next: 0 })
            }
            SoundPlan::Encode(_) => {
                let channels = self.channels(plan)?;
                let encoder = AacEncoder::open(SOUND_RATE, channels, path)?;
                muxer.add(&encoder.parameters(), ff::Rational(1, SOUND_RATE as i32), None, None)?;
                let at = |frame: FrameNo| (self.film.time(frame) * f64::from(SOUND_RATE)).round() as u64;
                let (from, to) = (at(plan.span.start), at(plan.span.end));
                if self.sound.as_ref().is_none_or(|s| s.channels() != channels) {
                    self.sound = Some(Sound::new(self.film, SOUND_RATE, channels));
                }
                if let Some(sound) = &mut self.sound {
                    sound.seek(from)?;
                }
                Ok(Track::Encode { encoder: Box::new(encoder), channels, left: to - from, given: 0 })
            }
        }
    }

    fn channels(&mut self, plan: &ClipPlan) -> Result<usize> {
        let demux = self.demux(self.film.place(plan.span.start).part)?;
        let Some(parameters) = demux.audio.and_then(|a| demux.parameters(a)) else { return Ok(2) };
        let context = ff::codec::context::Context::from_parameters(parameters)
            .map_err(|cause| failed("look at the sound", &demux.path, cause))?;
        let mono = context.decoder().audio().is_ok_and(|a| a.channels() == 1);
        Ok(if mono { 1 } else { 2 })
    }

    /// Writes sound up to `until` seconds after the in-point.
    fn feed_sound(&mut self, track: &mut Track, _plan: &ClipPlan, until: f64, fed: usize, muxer: &mut Muxer) -> Result<usize> {
        match track {
            Track::None => {}
            Track::Copy { packets, base, next } => {
                while let Some(packet) = packets.get(*next) {
                    let seconds = packet.pts().unwrap_or(0) as f64 * f64::from(base.0) / f64::from(base.1);
                    if seconds > until {
                        break;
                    }
                    muxer.write(1, packet.clone())?;
                    *next += 1;
                }
            }
            Track::Encode { encoder, channels, left, given } => {
                while *left > 0 && (*given as f64) < until * f64::from(SOUND_RATE) {
                    let Some(sound) = &mut self.sound else { break };
                    let Some(block) = sound.next_block()? else { break };
                    let n = ((block.len() / *channels) as u64).min(*left);
                    encoder.encode(&block[..n as usize * *channels], &mut |packet| muxer.write(1, packet))?;
                    *left -= n;
                    *given += n;
                }
            }
        }
        Ok(fed)
    }
}

/// Ticks of the part's time base at which frame `k` is shown; past the end, the last frame's time and a frame more.
fn ticks_at(part: &Part, k: u64) -> i64 {
    let pts = &part.index.pts;
    match pts.get(k as usize) {
        Some(&at) => at,
        None => {
            let last = pts.last().copied().unwrap_or(0);
            let step = 1.0 / (part.rate.hz() * part.time_base.seconds(1)).max(1e-9);
            last + (step * (k - (pts.len() as u64).saturating_sub(1)) as f64).round() as i64
        }
    }
}

/// Copies the packets of frames `from..to` of the part; `from` is an IDR.
fn copy(demux: &mut Demux, pts: &[i64], from: u64, to: u64, framing: Framing, zero: i64, laid: &mut Vec<Laid>) -> Result<()> {
    let video = demux.video;
    let (Some(&start), wanted) = (pts.get(from as usize), to.saturating_sub(from)) else {
        return Err(Error::failed("cannot copy from the film", demux.path.display(), "run the same command again"));
    };
    let stop = pts.get(to as usize).copied().unwrap_or(i64::MAX);
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
            if packet.stream() != video {
                continue;
            }
            let Some(at) = packet.pts() else { continue };
            if found.is_empty() && at > start {
                break;
            }
            if at < start || at >= stop {
                continue;
            }
            let data = packet.data().unwrap_or(&[]);
            // Units are framed by four bytes of length in the clip; delimiters have no place in MP4 (14496-15).
            let mut bare = match framing {
                Framing::Length(4) => ff::Packet::copy(data),
                _ => ff::Packet::copy(&nal::reframe(data, framing, &[h264::AUD])),
            };
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
    Err(Error::failed(
        format!("cannot copy frames {from} to {to}: the file no longer holds them"),
        demux.path.display(),
        "check that the film is where it was and unchanged, then run the same command again",
    ))
}

/// Sound packets from two before the in-point (a decoder needs the one before) to the out-point, times relative to the
/// in-point. What lies before it is hidden by the edit list that the muxer writes for negative times.
fn sound_packets(demux: &mut Demux, audio: usize, zero: i64, end: i64, base: ff::Rational) -> Vec<ff::Packet> {
    let second = f64::from(base.1) / f64::from(base.0.max(1));
    let mut kept: Vec<ff::Packet> = Vec::new();
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

/// The display matrix of a stream, as stored.
fn display_matrix(demux: &Demux, stream: usize) -> Option<Vec<u8>> {
    let stream = demux.input.stream(stream)?;
    let found = stream.side_data().find(|s| s.kind() == ff::packet::side_data::Type::DisplayMatrix).map(|s| s.data().to_vec());
    found
}
