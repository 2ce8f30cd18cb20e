//! Encoders: H.264 by x264, HEVC by x265, AV1 by SVT-AV1, AAC-LC by the library's own.

use std::path::Path;

use ff::ffi;
use ff::format::Pixel;
use ff::format::sample::{Sample, Type};
use ffmpeg_next as ff;

use super::failed;
use super::nal::{self, Framing, Sets, h264};
use crate::base::{Error, Rate, Result};
use crate::film::{Codec, PictureView};

/// How a stream says what its numbers mean, in the library's own words: kept as they are, also where they say nothing,
/// so that frames encoded anew look like their copied neighbors in any player.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tags {
    space: ffi::AVColorSpace,
    primaries: ffi::AVColorPrimaries,
    transfer: ffi::AVColorTransferCharacteristic,
    chroma: ffi::AVChromaLocation,
    full_range: bool,
    /// Whether the range is said at all.
    ranged: bool,
}

impl Tags {
    /// What every reel says: ITU-R BT.709, limited range.
    pub fn bt709() -> Self {
        Self {
            space: ffi::AVColorSpace::AVCOL_SPC_BT709,
            primaries: ffi::AVColorPrimaries::AVCOL_PRI_BT709,
            transfer: ffi::AVColorTransferCharacteristic::AVCOL_TRC_BT709,
            chroma: ffi::AVChromaLocation::AVCHROMA_LOC_LEFT,
            full_range: false,
            ranged: true,
        }
    }

    /// What a stream says. `full_range`: the pictures are of full range, by their format or by the tag.
    pub fn of(parameters: &ff::codec::Parameters, full_range: bool) -> Self {
        // SAFETY: the parameters are live; the binding shows none of these fields.
        unsafe {
            let p = parameters.as_ptr();
            Self {
                space: (*p).color_space,
                primaries: (*p).color_primaries,
                transfer: (*p).color_trc,
                chroma: (*p).chroma_location,
                full_range,
                ranged: full_range || (*p).color_range != ffi::AVColorRange::AVCOL_RANGE_UNSPECIFIED,
            }
        }
    }
}

/// What a stretch of pictures looks like.
#[derive(Debug, Clone, PartialEq)]
pub struct VideoSpec {
    /// What they are encoded as. Frames that are joined to copied ones are H.264.
    pub codec: Codec,
    /// Width in samples, as coded.
    pub width: u32,
    /// Height in samples, as coded.
    pub height: u32,
    /// Ticks in which times are given.
    pub time_base: ff::Rational,
    /// Frames a second, for rate control.
    pub rate: Rate,
    /// Sample aspect ratio.
    pub aspect: Rate,
    /// Meaning of the numbers.
    pub tags: Tags,
    /// x264 preset.
    pub preset: String,
    /// x264 constant rate factor.
    pub crf: u8,
    /// Greatest distance between key frames, in frames.
    pub gop: u32,
    /// Id of the parameter sets; `None` for the encoder's own.
    pub set_id: Option<u8>,
    /// How many pictures may be decoded before one that is shown before them: 0 without B-frames, 1 with, 2 where
    /// B-frames are references too. Frames joined to copied ones have the film's: a strict decoder (measured with
    /// OpenH264) loses a frame at the joint where it changes.
    pub reorder: u8,
    /// Level that must not be passed (`4.2`); reference frames are cut down to it. `None` for what comes out.
    pub level: Option<&'static str>,
    /// Threads, 0 for as many as there are cores.
    pub threads: usize,
    /// Rows are two fields: whether the upper one is first. `None` for whole frames.
    pub upper_first: Option<bool>,
}

/// The least level of H.264 that frames of this size and rate fit in, up to 4.2, which phones and browsers decode
/// (ITU-T H.264 table A-1: macroblocks a frame and a second).
pub fn level(width: u32, height: u32, rate: Rate) -> Option<&'static str> {
    let blocks = u64::from(width.div_ceil(16)) * u64::from(height.div_ceil(16));
    let speed = blocks as f64 * rate.hz();
    [("3.1", 3_600, 108_000.0), ("3.2", 5_120, 216_000.0), ("4.0", 8_192, 245_760.0), ("4.2", 8_704, 522_240.0)]
        .into_iter()
        .find(|(_, most, fastest)| blocks <= *most && speed <= *fastest)
        .map(|(name, ..)| name)
}

/// The encoder of a codec. `path` is named in errors.
///
/// # Errors
/// This FFmpeg has none.
pub fn find(codec: Codec, path: &Path) -> Result<ff::Codec> {
    let (name, what) = match codec {
        Codec::H264 => ("libx264", "x264"),
        Codec::Hevc => ("libx265", "x265"),
        Codec::Av1 => ("libsvtav1", "SVT-AV1"),
    };
    ff::encoder::find_by_name(name).ok_or_else(|| {
        let next = match codec {
            Codec::H264 => "install an FFmpeg that has libx264 (Debian's has)",
            _ => "leave --codec out for H.264, or install an FFmpeg that has the encoder (Debian's has)",
        };
        Error::refused(format!("this FFmpeg has no {what} encoder"), path.display(), next)
    })
}

/// An open encoder of pictures. Its H.264 packets are framed by lengths, without parameter sets and without notes of
/// itself; the others are as the muxer takes them.
pub struct VideoEncoder {
    encoder: ff::encoder::Video,
    codec: Codec,
    frame: ff::frame::Video,
    upper_first: Option<bool>,
    path: std::path::PathBuf,
}

impl VideoEncoder {
    /// Opens it. `path` is named in errors.
    pub fn open(spec: &VideoSpec, path: &Path) -> Result<Self> {
        let codec = find(spec.codec, path)?;
        let doing = |cause| failed("prepare encoding", path, cause);
        let mut video = ff::codec::context::Context::new_with_codec(codec).encoder().video().map_err(doing)?;
        video.set_width(spec.width);
        video.set_height(spec.height);
        let format = if spec.tags.full_range { Pixel::YUVJ420P } else { Pixel::YUV420P };
        video.set_format(format);
        video.set_time_base(spec.time_base);
        video.set_frame_rate(Some(ff::Rational(spec.rate.num as i32, spec.rate.den as i32)));
        video.set_gop(spec.gop);
        video.set_threading(ff::threading::Config::count(spec.threads));
        video.set_max_b_frames(b_frames(spec.reorder).0);
        video.set_aspect_ratio(ff::Rational(spec.aspect.num as i32, spec.aspect.den as i32));
        // SAFETY: the context is ours and not open; the library's values pass through as they are, which the binding's
        // own lists of names would not let them.
        unsafe {
            let context = video.as_mut_ptr();
            (*context).colorspace = spec.tags.space;
            (*context).color_primaries = spec.tags.primaries;
            (*context).color_trc = spec.tags.transfer;
            (*context).chroma_sample_location = spec.tags.chroma;
            (*context).color_range = match (spec.tags.full_range, spec.tags.ranged) {
                (true, _) => ffi::AVColorRange::AVCOL_RANGE_JPEG,
                (false, true) => ffi::AVColorRange::AVCOL_RANGE_MPEG,
                (false, false) => ffi::AVColorRange::AVCOL_RANGE_UNSPECIFIED,
            };
        }
        video.set_flags(ff::codec::Flags::GLOBAL_HEADER | ff::codec::Flags::CLOSED_GOP);
        let options = match spec.codec {
            Codec::H264 => x264(spec),
            Codec::Hevc => x265(spec),
            Codec::Av1 => svt_av1(spec),
        };
        let encoder = video.open_with(options).map_err(doing)?;
        let frame = ff::frame::Video::new(format, spec.width, spec.height);
        let (codec, upper_first) = (spec.codec, spec.upper_first);
        Ok(Self { encoder, codec, frame, upper_first, path: path.to_path_buf() })
    }

    /// Its parameter sets.
    pub fn sets(&self) -> Sets {
        // SAFETY: the context is open; the binding shows no extradata.
        let header = unsafe {
            let context = self.encoder.as_ptr();
            if (*context).extradata.is_null() || (*context).extradata_size <= 0 {
                &[][..]
            } else {
                std::slice::from_raw_parts((*context).extradata, (*context).extradata_size as usize)
            }
        };
        Sets::read(header).map(|(sets, _)| sets).unwrap_or_default()
    }

    /// Codec parameters for the muxer.
    pub fn parameters(&self) -> ff::codec::Parameters {
        ff::codec::Parameters::from(&self.encoder)
    }

    /// Encodes a picture shown at `pts`. `key` asks for an IDR.
    pub fn encode(
        &mut self,
        view: &PictureView<'_>,
        pts: i64,
        key: bool,
        out: &mut dyn FnMut(ff::Packet) -> Result<()>,
    ) -> Result<()> {
        // SAFETY: the frame is ours; the encoder may still hold the last buffer, which this call then replaces.
        let writable = unsafe { ffi::av_frame_make_writable(self.frame.as_mut_ptr()) };
        if writable < 0 {
            return Err(failed("prepare a picture", &self.path, ff::Error::from(writable)));
        }
        for plane in 0..3 {
            let (w, h) =
                if plane == 0 { (view.width, view.height) } else { (view.width.div_ceil(2), view.height.div_ceil(2)) };
            let stride = self.frame.stride(plane);
            let target = self.frame.data_mut(plane);
            let source = view.planes[plane].chunks(view.strides[plane].max(1));
            for (to, from) in target.chunks_mut(stride.max(1)).zip(source).take(h) {
                let n = w.min(to.len()).min(from.len());
                to[..n].copy_from_slice(&from[..n]);
            }
        }
        self.frame.set_pts(Some(pts));
        if let Some(upper_first) = self.upper_first {
            // x264 goes by what each frame says, whatever it was opened with.
            fields(&mut self.frame, upper_first);
        }
        self.frame.set_kind(if key { ff::picture::Type::I } else { ff::picture::Type::None });
        self.encoder.send_frame(&self.frame).map_err(|cause| failed("encode a picture", &self.path, cause))?;
        self.drain(out)
    }

    /// Ends the stretch and gives what is left.
    pub fn flush(&mut self, out: &mut dyn FnMut(ff::Packet) -> Result<()>) -> Result<()> {
        self.encoder.send_eof().map_err(|cause| failed("encode the last pictures", &self.path, cause))?;
        self.drain(out)
    }

    fn drain(&mut self, out: &mut dyn FnMut(ff::Packet) -> Result<()>) -> Result<()> {
        loop {
            let mut packet = ff::Packet::empty();
            match self.encoder.receive_packet(&mut packet) {
                Ok(()) if self.codec == Codec::H264 => out(bare(&packet))?,
                Ok(()) => out(packet)?,
                Err(ff::Error::Eof) => return Ok(()),
                Err(ff::Error::Other { errno }) if errno == ff::error::EAGAIN => return Ok(()),
                Err(cause) => return Err(failed("encode a picture", &self.path, cause)),
            }
        }
    }
}

/// B-frames in a row, and x264's word for their pyramid, at a depth of reordering.
fn b_frames(reorder: u8) -> (usize, &'static str) {
    match reorder {
        0 => (0, "none"),
        1 => (2, "none"),
        _ => (3, "normal"),
    }
}

/// Which of the machine's instructions x264 uses. With AVX-512 (r3095) the same pictures became other bytes in a third of runs
/// that encode sound between them, and in none of 360 without: a night that was broken off would not end as an undisturbed one.
fn instructions() -> &'static str {
    #[cfg(target_arch = "x86_64")]
    if std::is_x86_feature_detected!("avx512f") {
        return ":asm=AVX2,FMA3,BMI2,LZCNT";
    }
    ""
}

fn x264(spec: &VideoSpec) -> ff::Dictionary<'_> {
    let mut options = ff::Dictionary::new();
    options.set("preset", &spec.preset);
    options.set("crf", &spec.crf.to_string());
    options.set("profile", "high");
    if let Some(level) = spec.level {
        options.set("level", level);
    }
    let mut more = format!("open-gop=0:b-pyramid={}", b_frames(spec.reorder).1);
    more.push_str(instructions());
    if let Some(id) = spec.set_id {
        more.push_str(&format!(":sps-id={id}"));
    }
    match spec.upper_first {
        Some(true) => more.push_str(":tff=1"),
        Some(false) => more.push_str(":bff=1"),
        None => {}
    }
    options.set("x264-params", &more);
    options
}

/// x265 takes x264's names of presets. Its rate factor looks like x264's 3 below it (x265's own default is 28 to x264's 23, at
/// less quality) \[practice\].
fn x265(spec: &VideoSpec) -> ff::Dictionary<'_> {
    let mut options = ff::Dictionary::new();
    options.set("preset", &spec.preset);
    options.set("crf", &(spec.crf + 3).min(51).to_string());
    // Without threads of its own beside ours, and without a note of itself in the stream.
    let threads = match spec.threads {
        0 => String::new(),
        1 => ":pools=none:frame-threads=1".to_string(),
        n => format!(":pools={n}"),
    };
    options.set("x265-params", &format!("log-level=none:info=0:open-gop=0{threads}"));
    options
}

/// SVT-AV1's rate factor runs to 63 where x264's runs to 51; some 16 more look alike, and its preset 10 costs twice the time of
/// x264's veryfast for half of the bytes (measured on a test picture of 1920x1080).
fn svt_av1(spec: &VideoSpec) -> ff::Dictionary<'_> {
    let mut options = ff::Dictionary::new();
    let preset = match spec.preset.as_str() {
        "ultrafast" | "superfast" => "12",
        "veryfast" | "faster" => "10",
        "fast" | "medium" => "8",
        _ => "6",
    };
    options.set("preset", preset);
    options.set("crf", &(spec.crf + 16).min(63).to_string());
    options.set("svtav1-params", &format!("lp={}", spec.threads));
    options
}

/// Says that a frame's rows are two fields, and which is first.
fn fields(frame: &mut ff::frame::Video, upper_first: bool) {
    // SAFETY: the frame is live and ours; the binding cannot set this.
    unsafe {
        let frame = frame.as_mut_ptr();
        #[cfg(not(downbox_ffmpeg_8))]
        {
            (*frame).interlaced_frame = 1;
            (*frame).top_field_first = i32::from(upper_first);
        }
        #[cfg(downbox_ffmpeg_8)]
        {
            let first = if upper_first { ffi::AV_FRAME_FLAG_TOP_FIELD_FIRST } else { 0 };
            let others = (*frame).flags & !ffi::AV_FRAME_FLAG_TOP_FIELD_FIRST;
            (*frame).flags = others | ffi::AV_FRAME_FLAG_INTERLACED | first;
        }
    }
}

/// An encoder's packet as it lies in MP4: units framed by four bytes of length; parameter sets stand in the record of
/// the track, and the encoder's settings are nobody's affair.
fn bare(packet: &ff::Packet) -> ff::Packet {
    let without = |unit: &[u8]| matches!(nal::kind(unit), h264::SPS | h264::PPS | h264::AUD) || nal::is_note(unit);
    let mut out = ff::Packet::copy(&nal::reframe(packet.data().unwrap_or(&[]), Framing::StartCode, without));
    out.set_pts(packet.pts());
    out.set_dts(packet.dts());
    out.set_duration(packet.duration());
    if packet.is_key() {
        out.set_flags(ff::packet::Flags::KEY);
    }
    out
}

/// An AAC-LC encoder that is fed floats of any number.
pub struct AacEncoder {
    encoder: ff::encoder::Audio,
    channels: usize,
    rate: u32,
    waiting: Vec<f32>,
    given: i64,
    path: std::path::PathBuf,
}

/// Samples a packet of AAC-LC holds (ISO/IEC 14496-3).
pub const AAC_FRAME: usize = 1024;

impl AacEncoder {
    /// Opens it for 1 or 2 channels. `quick`: the coder that takes half of the time at a little less quality, for a reel
    /// whose sound is encoded again with each export.
    pub fn open(rate: u32, channels: usize, quick: bool, path: &Path) -> Result<Self> {
        let codec = ff::encoder::find(ff::codec::Id::AAC)
            .ok_or_else(|| Error::failed("this FFmpeg has no AAC encoder", path.display(), "install a full FFmpeg"))?;
        let doing = |cause| failed("prepare encoding the sound", path, cause);
        let mut audio = ff::codec::context::Context::new_with_codec(codec).encoder().audio().map_err(doing)?;
        audio.set_rate(rate as i32);
        audio.set_format(Sample::F32(Type::Planar));
        audio.set_channel_layout(if channels == 1 { ff::ChannelLayout::MONO } else { ff::ChannelLayout::STEREO });
        audio.set_bit_rate(if channels == 1 { 96_000 } else { 160_000 });
        audio.set_time_base(ff::Rational(1, rate as i32));
        // Bit-exact leaves out the encoder's name, which it would write into the first packet.
        audio.set_flags(ff::codec::Flags::GLOBAL_HEADER | ff::codec::Flags::BITEXACT);
        let mut options = ff::Dictionary::new();
        options.set("aac_coder", if quick { "fast" } else { "twoloop" });
        let encoder = audio.open_with(options).map_err(doing)?;
        Ok(Self { encoder, channels, rate, waiting: Vec::new(), given: 0, path: path.to_path_buf() })
    }

    /// Codec parameters for the muxer.
    pub fn parameters(&self) -> ff::codec::Parameters {
        ff::codec::Parameters::from(&self.encoder)
    }

    /// Appends interleaved samples.
    pub fn encode(&mut self, samples: &[f32], out: &mut dyn FnMut(ff::Packet) -> Result<()>) -> Result<()> {
        self.waiting.extend_from_slice(samples);
        let whole = AAC_FRAME * self.channels;
        let mut at = 0;
        while self.waiting.len() - at >= whole {
            let block: Vec<f32> = self.waiting[at..at + whole].to_vec();
            self.send(&block)?;
            self.drain(out)?;
            at += whole;
        }
        self.waiting.drain(..at);
        Ok(())
    }

    /// Ends the track.
    pub fn flush(&mut self, out: &mut dyn FnMut(ff::Packet) -> Result<()>) -> Result<()> {
        if !self.waiting.is_empty() {
            let block = std::mem::take(&mut self.waiting);
            self.send(&block)?;
        }
        self.encoder.send_eof().map_err(|cause| failed("encode the last sound", &self.path, cause))?;
        self.drain(out)
    }

    fn send(&mut self, block: &[f32]) -> Result<()> {
        let n = block.len() / self.channels;
        let layout = if self.channels == 1 { ff::ChannelLayout::MONO } else { ff::ChannelLayout::STEREO };
        let mut frame = ff::frame::Audio::new(Sample::F32(Type::Planar), n, layout);
        frame.set_rate(self.rate);
        frame.set_pts(Some(self.given));
        self.given += n as i64;
        for channel in 0..self.channels {
            let plane = frame.plane_mut::<f32>(channel);
            for (to, from) in plane.iter_mut().zip(block.iter().skip(channel).step_by(self.channels)) {
                *to = *from;
            }
        }
        self.encoder.send_frame(&frame).map_err(|cause| failed("encode the sound", &self.path, cause))
    }

    fn drain(&mut self, out: &mut dyn FnMut(ff::Packet) -> Result<()>) -> Result<()> {
        loop {
            let mut packet = ff::Packet::empty();
            match self.encoder.receive_packet(&mut packet) {
                Ok(()) => out(packet)?,
                Err(ff::Error::Eof) => return Ok(()),
                Err(ff::Error::Other { errno }) if errno == ff::error::EAGAIN => return Ok(()),
                Err(cause) => return Err(failed("encode the sound", &self.path, cause)),
            }
        }
    }
}
