//! Pictures: planes of 8-bit 4:2:0.

use serde::{Deserialize, Serialize};

use crate::base::FrameNo;

/// Color matrix of the coded picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
pub enum Matrix {
    /// ITU-R BT.709: high definition, and what every reel is.
    #[default]
    Bt709,
    /// ITU-R BT.601: standard definition, many phones.
    Bt601,
    /// ITU-R BT.2020, non-constant luminance.
    Bt2020,
}

/// From the numbers to light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
pub enum Transfer {
    /// Standard dynamic range, shown by ITU-R BT.1886.
    #[default]
    Sdr,
    /// Perceptual quantization, ITU-R BT.2100: the numbers tell the light of the screen.
    Pq,
    /// Hybrid log-gamma, ITU-R BT.2100: the numbers tell the light of the scene.
    Hlg,
}

/// How the numbers of a picture mean color.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
pub struct Color {
    /// Matrix, and with it the primaries: those of BT.2020 with its own, else those of BT.709.
    pub matrix: Matrix,
    /// Light.
    #[serde(default)]
    pub transfer: Transfer,
    /// Full range (0-255) rather than limited (16-235).
    pub full_range: bool,
}

/// A picture lent by a decoder: planes of 8-bit 4:2:0, upright, as coded in sample aspect.
#[derive(Debug, Clone, Copy)]
pub struct PictureView<'a> {
    /// Its number over the camera's whole film.
    pub no: FrameNo,
    /// Film time in seconds.
    pub time: f64,
    /// Whether it is the later of the two pictures that a frame of interlaced film is shown as.
    pub second: bool,
    /// Where rows are those of two fields: whether the upper one was filmed first. `None` for a whole picture.
    pub upper_first: Option<bool>,
    /// Luma width and height in samples. Chroma planes are half, rounded up.
    pub width: usize,
    /// Luma height.
    pub height: usize,
    /// Y, Cb, Cr.
    pub planes: [&'a [u8]; 3],
    /// Bytes a row of each plane.
    pub strides: [usize; 3],
    /// Meaning of the numbers.
    pub color: Color,
    /// Whether the decoder met damage in this picture.
    pub damaged: bool,
}

impl PictureView<'_> {
    /// An owned copy without padding.
    pub fn to_picture(&self) -> Picture {
        let (cw, ch) = (self.width.div_ceil(2), self.height.div_ceil(2));
        let copy = |plane: usize, w: usize, h: usize| {
            let mut out = Vec::with_capacity(w * h);
            for row in self.planes[plane].chunks(self.strides[plane].max(1)).take(h) {
                out.extend_from_slice(&row[..w.min(row.len())]);
            }
            out.resize(w * h, if plane == 0 { 16 } else { 128 });
            out
        };
        Picture {
            width: self.width,
            height: self.height,
            planes: [copy(0, self.width, self.height), copy(1, cw, ch), copy(2, cw, ch)],
            color: self.color,
        }
    }
}

/// An owned picture of 8-bit 4:2:0, rows without padding.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// Luma width in samples; chroma is half, rounded up.
    pub width: usize,
    /// Luma height.
    pub height: usize,
    /// Y, Cb, Cr.
    pub planes: [Vec<u8>; 3],
    /// Meaning of the numbers.
    pub color: Color,
}

impl Picture {
    /// A picture of one color.
    pub fn filled(width: usize, height: usize, yuv: [u8; 3]) -> Self {
        let chroma = width.div_ceil(2) * height.div_ceil(2);
        Self {
            width,
            height,
            planes: [vec![yuv[0]; width * height], vec![yuv[1]; chroma], vec![yuv[2]; chroma]],
            color: Color::default(),
        }
    }

    /// It, lent as frame `no` at `time` seconds.
    pub fn view(&self, no: FrameNo, time: f64) -> PictureView<'_> {
        let half = self.width.div_ceil(2);
        PictureView {
            no,
            time,
            second: false,
            upper_first: None,
            width: self.width,
            height: self.height,
            planes: [&self.planes[0], &self.planes[1], &self.planes[2]],
            strides: [self.width, half, half],
            color: self.color,
            damaged: false,
        }
    }
}

/// A luma plane without padding.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Luma {
    /// Samples a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Row by row.
    pub data: Vec<u8>,
}
