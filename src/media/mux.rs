//! An MP4 file being written.

use std::path::{Path, PathBuf};

use ff::ffi;
use ffmpeg_next as ff;

use super::failed;
use crate::base::{Error, Result};
use crate::film::REEL_MARK;

/// An MP4 file being written.
pub struct Muxer {
    output: ff::format::context::Output,
    path: PathBuf,
    /// Time bases in which packets are handed in, one a stream.
    bases: Vec<ff::Rational>,
    begun: bool,
}

impl Muxer {
    /// Starts a file. Streams are added next, then `begin`.
    pub fn create(path: &Path, title: &str) -> Result<Self> {
        if path.to_str().is_none() {
            return Err(Error::refused(
                "the codec library cannot write a name that is not UTF-8",
                path.display(),
                "choose another name or folder",
            ));
        }
        // With the scheme said, a colon in a file's name is no other scheme.
        let mut url = std::ffi::OsString::from("file:");
        url.push(path);
        let mut output =
            ff::format::output_as(&PathBuf::from(url), "mp4").map_err(|cause| failed("write the file", path, cause))?;
        // SAFETY: the context is ours and not begun; the binding has no setter. Bit-exact leaves out the names of
        // programs and times of making.
        unsafe { (*output.as_mut_ptr()).flags |= ffi::AVFMT_FLAG_BITEXACT };
        if !title.is_empty() {
            let mut metadata = ff::Dictionary::new();
            metadata.set("title", title);
            // By this a reel is known that may be written over.
            metadata.set("comment", REEL_MARK);
            output.set_metadata(metadata);
        }
        Ok(Self { output, path: path.to_path_buf(), bases: Vec::new(), begun: false })
    }

    /// Adds a stream. `extradata` replaces that of the parameters; `matrix` is a display matrix for the picture.
    pub fn add(
        &mut self,
        parameters: &ff::codec::Parameters,
        base: ff::Rational,
        extradata: Option<&[u8]>,
        matrix: Option<&[u8]>,
    ) -> Result<usize> {
        let doing = |cause| failed("write the file", &self.path, cause);
        let mut stream = self.output.add_stream(None::<ff::Codec>).map_err(doing)?;
        stream.set_parameters(parameters.clone());
        stream.set_time_base(base);
        let index = stream.index();
        // SAFETY: the stream is ours and the header is not written; the binding shows neither the tag, nor extradata,
        // nor side data. The library owns and frees what it is handed.
        unsafe {
            let at = stream.as_mut_ptr();
            // HEVC whose parameter sets lie in the record alone, which Apple's players ask for (ISO/IEC 14496-15).
            let hevc = parameters.id() == ff::codec::Id::HEVC;
            (*(*at).codecpar).codec_tag = if hevc { u32::from_le_bytes(*b"hvc1") } else { 0 };
            if let Some(bytes) = extradata {
                let padded = ffi::av_mallocz(bytes.len() + ffi::AV_INPUT_BUFFER_PADDING_SIZE as usize).cast::<u8>();
                if padded.is_null() {
                    return Err(doing(ff::Error::Other { errno: ff::error::ENOMEM }));
                }
                std::ptr::copy_nonoverlapping(bytes.as_ptr(), padded, bytes.len());
                ffi::av_freep((&raw mut (*(*at).codecpar).extradata).cast());
                (*(*at).codecpar).extradata = padded;
                (*(*at).codecpar).extradata_size = bytes.len() as i32;
            }
            if let Some(matrix) = matrix {
                add_matrix(at, matrix);
            }
        }
        self.bases.push(base);
        Ok(index)
    }

    /// Whether the header is written.
    pub fn begun(&self) -> bool {
        self.begun
    }

    /// Writes the header.
    pub fn begin(&mut self) -> Result<()> {
        let mut options = ff::Dictionary::new();
        options.set("movflags", "+faststart");
        options.set("movie_timescale", "48000");
        self.output.write_header_with(options).map_err(|cause| failed("write the file", &self.path, cause))?;
        self.begun = true;
        Ok(())
    }

    /// Writes a packet of stream `index`, with times in the base the stream was added with.
    pub fn write(&mut self, index: usize, mut packet: ff::Packet) -> Result<()> {
        let to = self.output.stream(index).map_or(self.bases[index], |s| s.time_base());
        packet.set_stream(index);
        packet.rescale_ts(self.bases[index], to);
        packet.set_position(-1);
        packet.write_interleaved(&mut self.output).map_err(|cause| failed("write the file", &self.path, cause))
    }

    /// Adds a chapter, in seconds.
    pub fn chapter(&mut self, number: i64, start: f64, end: f64, title: &str) -> Result<()> {
        let ms = |s: f64| (s * 1000.0).round() as i64;
        self.output
            .add_chapter(number, ff::Rational(1, 1000), ms(start), ms(end), title)
            .map(|_| ())
            .map_err(|cause| failed("write the chapters", &self.path, cause))
    }

    /// Writes the index and closes the file.
    pub fn finish(mut self) -> Result<()> {
        if !self.begun {
            self.begin()?;
        }
        self.output.write_trailer().map_err(|cause| failed("write the file", &self.path, cause))?;
        // SAFETY: the context is open; a write error that was latched in the buffer is not reported by the trailer.
        let latched = unsafe {
            let pb = (*self.output.as_mut_ptr()).pb;
            if pb.is_null() {
                0
            } else {
                ffi::avio_flush(pb);
                (*pb).error
            }
        };
        if latched < 0 {
            return Err(failed("write the file", &self.path, ff::Error::from(latched)));
        }
        Ok(())
    }
}

/// Hands the muxer a display matrix, so that players show the picture upright.
///
/// # Safety
/// `stream` must be live and its header not yet written.
#[cfg(not(downbox_ffmpeg_8))]
unsafe fn add_matrix(stream: *mut ffi::AVStream, matrix: &[u8]) {
    // SAFETY: by the contract above; the call copies nothing but returns room of the size asked for, or null.
    unsafe {
        let room =
            ffi::av_stream_new_side_data(stream, ffi::AVPacketSideDataType::AV_PKT_DATA_DISPLAYMATRIX, matrix.len());
        if !room.is_null() {
            std::ptr::copy_nonoverlapping(matrix.as_ptr(), room, matrix.len());
        }
    }
}

/// The same since FFmpeg 8, which keeps side data in the codec parameters.
///
/// # Safety
/// `stream` must be live and its header not yet written.
#[cfg(downbox_ffmpeg_8)]
unsafe fn add_matrix(stream: *mut ffi::AVStream, matrix: &[u8]) {
    // SAFETY: by the contract above; the call returns an entry with room of the size asked for, or null.
    unsafe {
        let parameters = (*stream).codecpar;
        let entry = ffi::av_packet_side_data_new(
            &raw mut (*parameters).coded_side_data,
            &raw mut (*parameters).nb_coded_side_data,
            ffi::AVPacketSideDataType::AV_PKT_DATA_DISPLAYMATRIX,
            matrix.len(),
            0,
        );
        if !entry.is_null() {
            std::ptr::copy_nonoverlapping(matrix.as_ptr(), (*entry).data, matrix.len());
        }
    }
}
