//! An open file and its packets.

use std::path::{Path, PathBuf};

use ff::ffi;
use ff::packet::Mut as _;
use ffmpeg_next as ff;

use super::container;
use crate::base::{Error, IoContext, Result};

/// Kinds of file that are films, by the library's names of their demuxers: MP4 and MOV, Matroska, transport and program
/// streams, AVI, and what old cameras and broadcasters write. The library would also read text as a picture of
/// letters, a still as a film of one frame, and lists that name other files.
const KINDS: &[&str] = &["mov", "matroska", "mpegts", "mpeg", "avi", "asf", "flv", "mxf", "dv", "ogg"];

/// Why a file cannot be opened.
fn unreadable(path: &Path) -> Error {
    if container::read(path).is_ok_and(|told| told.without_index) {
        return Error::refused(
            "the film's index is missing: the recording was not closed, or the file was cut off",
            path.display(),
            "copy it from the card again; if it is the same there, let the camera repair the card",
        );
    }
    Error::refused(
        "this is no film that can be read",
        path.display(),
        "check that it plays, or copy it from the card again",
    )
}

/// An open file: its first picture stream and its best sound stream.
pub struct Demux {
    /// The open input.
    pub input: ff::format::context::Input,
    /// Index of the picture stream.
    pub video: usize,
    /// Index of the sound stream, if there is one.
    pub audio: Option<usize>,
    /// The file.
    pub path: PathBuf,
    /// Why reading ended before the file's end, in the library's words.
    pub broke: Option<String>,
    packet: ff::Packet,
}

impl Demux {
    /// Opens a file that must hold a picture stream.
    pub fn open(path: &Path) -> Result<Self> {
        let length = std::fs::metadata(path).doing("open the film", path)?.len();
        if length == 0 {
            return Err(Error::refused("the film is an empty file", path.display(), "copy it from the card again"));
        }
        if path.to_str().is_none() {
            return Err(Error::refused(
                "the codec library cannot open a name that is not UTF-8",
                path.display(),
                "rename the file or its folder",
            ));
        }
        // With the scheme said, a colon in a file's name is no other scheme.
        let mut url = std::ffi::OsString::from("file:");
        url.push(path);
        let input = ff::format::input(&PathBuf::from(url)).map_err(|cause| unreadable(path).because(cause))?;
        let kind = input.format().name().to_string();
        if !KINDS.iter().any(|k| kind.split(',').any(|name| name == *k)) {
            return Err(Error::refused(
                "this is no film",
                path.display(),
                "name a film file (MP4, MOV, MTS, MKV or AVI)",
            ));
        }
        let video = input
            .streams()
            .filter(|s| s.parameters().medium() == ff::media::Type::Video)
            .find(|s| !s.disposition().contains(ff::format::stream::Disposition::ATTACHED_PIC))
            .map(|s| s.index());
        let Some(video) = video else {
            return Err(Error::refused("the file holds no moving picture", path.display(), "name a film file"));
        };
        let audio = input.streams().best(ff::media::Type::Audio).map(|s| s.index());
        Ok(Self { input, video, audio, path: path.to_path_buf(), broke: None, packet: ff::Packet::empty() })
    }

    /// Leaves out all packets but those of the streams named: the demuxer then need not read them.
    pub fn only(&mut self, wanted: &[usize]) {
        for stream in 0..self.input.streams().count() {
            let keep = wanted.contains(&stream);
            // SAFETY: the index comes from the same context; the binding has no setter for `discard`.
            unsafe {
                let context = self.input.as_mut_ptr();
                let at = *(*context).streams.add(stream);
                (*at).discard = if keep { ffi::AVDiscard::AVDISCARD_DEFAULT } else { ffi::AVDiscard::AVDISCARD_ALL };
            }
        }
    }

    /// The next packet, or `None` at the end or where the file breaks off (see `broke`).
    pub fn next(&mut self) -> Option<&ff::Packet> {
        // Damage is skipped as long as the demuxer finds its feet again; a bound keeps a hopeless file from spinning.
        for _ in 0..10_000 {
            // SAFETY: the packet is ours and may be unreferenced between reads; the binding does it only on drop.
            unsafe { ffi::av_packet_unref(self.packet.as_mut_ptr()) };
            match self.packet.read(&mut self.input) {
                Ok(()) => return Some(&self.packet),
                Err(ff::Error::Eof) => return None,
                Err(ff::Error::InvalidData) => self.broke = Some("invalid data".into()),
                Err(cause) => {
                    self.broke = Some(cause.to_string());
                    return None;
                }
            }
        }
        None
    }

    /// Goes to the last entry of the picture stream at or before `pts` (ticks of that stream).
    pub fn seek(&mut self, pts: i64) -> bool {
        self.seek_stream(self.video, pts)
    }

    /// The same for any stream.
    pub fn seek_stream(&mut self, stream: usize, pts: i64) -> bool {
        // SAFETY: the context is open and the index is one of its streams; the binding seeks only in global time,
        // whose microseconds cannot name every tick.
        unsafe { ffi::av_seek_frame(self.input.as_mut_ptr(), stream as i32, pts, ffi::AVSEEK_FLAG_BACKWARD) >= 0 }
    }

    /// Opens the file anew, at its beginning.
    pub fn reopen(&mut self, wanted: &[usize]) -> Result<()> {
        *self = Self::open(&self.path)?;
        self.only(wanted);
        Ok(())
    }

    /// Codec parameters of a stream.
    pub fn parameters(&self, stream: usize) -> Option<ff::codec::Parameters> {
        self.input.stream(stream).map(|s| s.parameters())
    }

    /// Time base of a stream.
    pub fn time_base(&self, stream: usize) -> ff::Rational {
        self.input.stream(stream).map_or(ff::Rational(1, 90_000), |s| s.time_base())
    }
}

/// Whether a packet is decoded but never shown, by the container's edit list.
pub fn hidden(packet: &ff::Packet) -> bool {
    use ff::packet::Ref as _;
    // SAFETY: reads one field of a live packet; the binding knows only the flags for key and corrupt.
    unsafe { (*packet.as_ptr()).flags & ffi::AV_PKT_FLAG_DISCARD != 0 }
}
