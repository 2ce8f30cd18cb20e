//! The traits behind which the codec library stands.

use std::path::{Path, PathBuf};

use super::{Film, PictureView};
use crate::base::{FrameNo, FrameSpan, Progress, Rate, Result};

/// What a decoder may leave out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Decode {
    /// Every frame, exact.
    #[default]
    Exact,
    /// Every frame, without the loop filter: a little drift in the pixels, a quarter faster.
    NoLoopFilter,
    /// Pictures that others are predicted from only, exact; frame numbers are still those of the whole film.
    References,
}

/// Frames of one camera's film, in presentation order over all its parts.
pub trait FrameSource {
    /// The next frame, or `None` at the end. The view is lent until the next call.
    fn next_frame(&mut self) -> Result<Option<PictureView<'_>>>;
    /// Makes `next_frame` give frame `to` next (with [`Decode::References`]: the first reference at or after it).
    fn seek(&mut self, to: FrameNo) -> Result<()>;
    /// Changes what the decoder may leave out; holds from the next [`FrameSource::seek`] on.
    fn leave_out(&mut self, how: Decode);
    /// Stretches met so far in which pictures were damaged or missing.
    fn damage(&self) -> Vec<FrameSpan> {
        Vec::new()
    }
}

/// Sound of one camera's film, as 32-bit floats at a fixed rate, interleaved channels.
///
/// Sample 0 is the film's time 0. Each part's sound is laid at the part's start by its own time stamps, cut or
/// filled with silence to the part's length, so that sample / rate is film time throughout.
pub trait SoundSource {
    /// Samples a second and channel.
    fn rate(&self) -> u32;
    /// Channels, 1 or 2.
    fn channels(&self) -> usize;
    /// Reads on; `None` at the end. Blocks follow one another without gap, each a whole number of sample frames.
    fn next_block(&mut self) -> Result<Option<&[f32]>>;
    /// Makes `next_block` begin with sample frame `to`.
    fn seek(&mut self, to: u64) -> Result<()>;
}

/// Opens films. Implemented by the media room; scripted in tests.
pub trait FilmReader: Sync {
    /// Reads a camera's files (in the order given) as far as they go. Damage is listed in the film's `problems`.
    fn read(&self, paths: &[PathBuf], progress: &dyn Progress) -> Result<Film>;
    /// Frames from the film's start. `threads`: decoder threads, 0 for as many as there are cores.
    fn frames<'a>(&self, film: &'a Film, how: Decode, threads: usize) -> Result<Box<dyn FrameSource + Send + 'a>>;
    /// The film as it is shown: parts that are interlaced give two pictures a frame, one of each field at its own time,
    /// the first and then the second ([`PictureView::second`]), each of full height; all other parts one. Film whose
    /// frames are whole, as scripted film's are, is shown as it is decoded.
    fn shown<'a>(&self, film: &'a Film, threads: usize) -> Result<Box<dyn FrameSource + Send + 'a>> {
        self.frames(film, Decode::Exact, threads)
    }
    /// Sound mixed to `channels` (1 or 2) at `rate`; `None` if no part has any.
    fn sound<'a>(&self, film: &'a Film, rate: u32, channels: usize)
    -> Result<Option<Box<dyn SoundSource + Send + 'a>>>;
}

/// The comment in the metadata of every reel: what bears it is no source, and a new reel of its name may take its place.
pub const REEL_MARK: &str = "reel by downbox";

/// What a reel's pictures are encoded as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Codec {
    /// H.264: plays everywhere.
    #[default]
    H264,
    /// HEVC: smaller, for devices that decode it.
    Hevc,
    /// AV1: smaller still, for new devices.
    Av1,
}

impl Codec {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::H264, Self::Hevc, Self::Av1];

    /// Its name.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::H264 => "h264",
            Self::Hevc => "hevc",
            Self::Av1 => "av1",
        }
    }

    /// The codec of that name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|codec| codec.as_str().eq_ignore_ascii_case(name.trim()))
    }
}

/// What a written file looks like. Video is 8-bit 4:2:0 BT.709 limited, sound AAC-LC at 48 kHz.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipSpec {
    /// Width and height, even.
    pub width: u32,
    /// Height, even.
    pub height: u32,
    /// Frames a second: every frame is one tick of this.
    pub rate: Rate,
    /// Sound channels, 0 for a silent file.
    pub channels: usize,
    /// What the pictures are encoded as.
    pub codec: Codec,
    /// What it is to lie beside, where that is copied H.264.
    pub beside: Option<Beside>,
    /// x264 preset; the other encoders take what comes near it.
    pub preset: String,
    /// x264 constant rate factor; the other encoders take what looks like it.
    pub crf: u8,
    /// Encoder threads, 0 for as many as there are cores.
    pub threads: usize,
    /// Title in the file's metadata; empty for none.
    pub title: String,
    /// Chapters: start and end in seconds, title.
    pub chapters: Vec<(f64, f64, String)>,
}

/// Takes pictures and sound and makes one file of them.
pub trait ClipSink {
    /// Encodes the next picture (its `no` and `time` are ignored; size as in the spec).
    fn picture(&mut self, picture: &PictureView<'_>) -> Result<()>;
    /// Appends sound: 48 kHz floats, interleaved, as many channels as the spec says.
    fn sound(&mut self, samples: &[f32]) -> Result<()>;
    /// Adds chapters known only at the end.
    fn chapter(&mut self, start: f64, end: f64, title: &str);
    /// Writes what is left and closes the file.
    fn finish(self: Box<Self>) -> Result<()>;
}

/// Size and rate of a reel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct JoinShape {
    /// Width.
    pub width: u32,
    /// Height.
    pub height: u32,
    /// Frames a second.
    pub rate: Rate,
}

/// Which films can be copied into one reel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Joinable {
    /// Of each film, whether its packets can lie beside those of the others that can.
    pub fits: Vec<bool>,
    /// How segments encoded whole lie beside them.
    pub beside: Beside,
    /// Id of the parameter sets of what is encoded beside copied packets; no film has it, nor have segments encoded whole.
    pub set_id: u8,
}

/// How H.264 is encoded that lies beside copied packets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Beside {
    /// Id of its parameter sets.
    pub set_id: u8,
    /// How many pictures are decoded before one that is shown before them, as in what is copied: a strict decoder (measured
    /// with OpenH264) loses frames at the joint where it changes.
    pub reorder: u8,
}

/// How frames are encoded beside copied packets of a reel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DrawnSpec {
    /// x264 preset.
    pub preset: String,
    /// x264 constant rate factor.
    pub crf: u8,
    /// Encoder threads.
    pub threads: usize,
    /// Id of their parameter sets.
    pub set_id: u8,
}

/// Takes a picture on to the encoder.
pub type Hand<'a> = dyn FnMut(&PictureView<'_>) -> Result<()> + 'a;
/// Draws on a frame of the film and hands on what is to be encoded.
pub type Draw<'a> = dyn FnMut(&PictureView<'_>, &mut Hand<'_>) -> Result<()> + 'a;

/// What a reel that is joined from segments looks like.
#[derive(Debug, Clone, PartialEq)]
pub struct JoinSpec {
    /// Frames a second of every segment.
    pub rate: Rate,
    /// Sound channels, 0 for a silent file.
    pub channels: usize,
    /// Title in the file's metadata.
    pub title: String,
    /// The segments, where they do not all have the same parameter sets: what they have is gathered first.
    pub mixed: Vec<PathBuf>,
}

/// Takes files whose pictures were written by sinks of one size, rate and setting, and makes one file of them without
/// decoding any; the sound is one track without a seam.
pub trait ReelSink {
    /// Appends all pictures of a segment. `sound` is called once for each, to fill in the 48 kHz floats, interleaved, that
    /// are heard with it. Gives how many there were.
    ///
    /// # Errors
    /// A file that is torn, or whose parameter sets are not those of the first; the disk.
    fn append(&mut self, segment: &Path, sound: &mut dyn FnMut(&mut Vec<f32>) -> Result<()>) -> Result<u64>;
    /// Adds a chapter, in seconds.
    fn chapter(&mut self, start: f64, end: f64, title: &str);
    /// Writes what is left and closes the file.
    fn finish(self: Box<Self>) -> Result<()>;
}

/// Where a part's coded video can be entered and left without encoding.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct EntryPoints {
    /// Frames (numbered over the film) at which decoding can begin clean, with nothing shown later that needs what
    /// came before: H.264 IDR by NAL type, HEVC IDR or CRA.
    pub entries: Vec<FrameNo>,
    /// Frames before which copying may stop: every packet up to there is shown before every packet after.
    pub exits: Vec<FrameNo>,
    /// Why packets of this part must not be copied at all, in words; `None` if they may.
    pub encode_because: Option<String>,
    /// Whether a span may start with frames encoded anew that are then joined to copied ones (8-bit 4:2:0 H.264 with
    /// closed groups), rather than only at an entry.
    pub smart: bool,
}

/// One stretch of a clip.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Piece {
    /// Packets are copied: bit-identical frames.
    Copy(FrameSpan),
    /// Frames are encoded anew, and why.
    Encode(FrameSpan, String),
}

/// What becomes of the sound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SoundPlan {
    /// The film has none.
    None,
    /// AAC-LC packets are copied from before the in-point and hidden by the edit list.
    Copy,
    /// Encoded anew to AAC-LC, and why.
    Encode(String),
}

/// What a clip is made of. Made by the cut room, carried out by a [`FilmWriter`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClipPlan {
    /// Frames of the film that the clip shows; its frame 0 is `span.start`.
    pub span: FrameSpan,
    /// So many frames before the span are copied too and hidden: a decoder begins with them.
    pub hidden: u64,
    /// Stretches in order; together they are the span.
    pub pieces: Vec<Piece>,
    /// The sound.
    pub sound: SoundPlan,
}

/// Writes files. Implemented by the media room.
pub trait FilmWriter: Sync {
    /// Starts a file at `path` (a pending name; the caller renames it).
    fn create(&self, path: &Path, spec: &ClipSpec) -> Result<Box<dyn ClipSink + Send>>;
    /// Starts a reel at `path` that is joined from segments.
    fn join(&self, path: &Path, spec: &JoinSpec) -> Result<Box<dyn ReelSink + Send>>;
    /// Which of these films, H.264 of the reel's own shape, can be copied into one reel.
    ///
    /// # Errors
    /// A film that can no longer be opened.
    fn joinable(&self, films: &[&Film], shape: JoinShape) -> Result<Joinable>;
    /// Writes the pictures of a plan that copies packets, `draw` drawing on every frame that is encoded.
    ///
    /// # Errors
    /// A film that cannot be read there; those of `draw`; the disk.
    fn splice_drawn(
        &self,
        film: &Film,
        plan: &ClipPlan,
        path: &Path,
        spec: &DrawnSpec,
        draw: &mut Draw<'_>,
    ) -> Result<()>;
    /// What encodes, with its version: other words where the same pictures may become other bytes.
    ///
    /// # Errors
    /// There is no encoder for it here.
    fn encoder(&self, codec: Codec) -> Result<String>;
    /// Where a part's packets can be cut.
    fn entry_points(&self, film: &Film, part: usize) -> Result<EntryPoints>;
    /// What can become of the sound of a part.
    fn sound_plan(&self, film: &Film, part: usize) -> Result<SoundPlan>;
    /// Carries out plans over one film in one pass each, keeping the film open between them. `paths[i]` is the
    /// pending name of `plans[i]`; `done(i)` is called when that file is whole and closed, so that it can be renamed
    /// before the next one begins.
    fn carry_out(
        &self,
        film: &Film,
        plans: &[ClipPlan],
        paths: &[PathBuf],
        done: &mut dyn FnMut(usize) -> Result<()>,
    ) -> Result<()>;
}
