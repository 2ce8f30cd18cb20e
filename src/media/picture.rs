//! A decoded frame as an upright picture of 8-bit 4:2:0.

use std::path::Path;

use ff::format::Pixel;
use ff::software::scaling;
use ffmpeg_next as ff;

use super::failed;
use crate::base::{FrameNo, Result};
use crate::film::{Color, Matrix, Picture, PictureView, Transfer};

/// Converts and turns frames; lends them as they are where nothing needs doing.
#[derive(Default)]
pub struct Upright {
    scaler: Option<scaling::Context>,
    converted: Option<ff::frame::Video>,
    turned: Option<Picture>,
}

/// Color of a frame. Untagged film is BT.709 from 720 lines up and BT.601 below, by common practice; of high dynamic range
/// BT.2020, as ITU-R BT.2100 has it.
pub fn color(frame: &ff::frame::Video) -> Color {
    use ff::color::{Primaries, Range, Space, TransferCharacteristic as Curve};
    let transfer = match frame.color_transfer_characteristic() {
        Curve::SMPTE2084 => Transfer::Pq,
        Curve::ARIB_STD_B67 => Transfer::Hlg,
        _ => Transfer::Sdr,
    };
    let wide = transfer != Transfer::Sdr || frame.color_primaries() == Primaries::BT2020;
    let matrix = match frame.color_space() {
        Space::BT709 => Matrix::Bt709,
        Space::BT470BG | Space::SMPTE170M | Space::FCC => Matrix::Bt601,
        Space::BT2020NCL | Space::BT2020CL => Matrix::Bt2020,
        _ if wide => Matrix::Bt2020,
        _ if frame.height().min(frame.width()) >= 720 => Matrix::Bt709,
        _ => Matrix::Bt601,
    };
    let full = frame.color_range() == Range::JPEG
        || matches!(frame.format(), Pixel::YUVJ420P | Pixel::YUVJ422P | Pixel::YUVJ444P);
    Color { matrix, transfer, full_range: full }
}

impl Upright {
    /// The frame, upright. `no` and `time` are left at 0.
    pub fn view<'s>(&'s mut self, frame: &'s ff::frame::Video, rotation: u16, path: &Path) -> Result<PictureView<'s>> {
        let color = color(frame);
        let plain = matches!(frame.format(), Pixel::YUV420P | Pixel::YUVJ420P);
        if !plain {
            self.convert(frame, path)?;
        }
        let source = match &self.converted {
            Some(converted) if !plain => converted,
            _ => frame,
        };
        let (width, height) = (source.width() as usize, source.height() as usize);
        let view = PictureView {
            no: FrameNo(0),
            time: 0.0,
            second: false,
            upper_first: (rotation == 0 && frame.is_interlaced()).then(|| frame.is_top_first()),
            width,
            height,
            planes: [source.data(0), source.data(1), source.data(2)],
            strides: [source.stride(0), source.stride(1), source.stride(2)],
            color,
            damaged: false,
        };
        if rotation == 0 {
            return Ok(view);
        }
        Ok(self.turned.insert(turn(&view, rotation)).view(FrameNo(0), 0.0))
    }

    fn convert(&mut self, frame: &ff::frame::Video, path: &Path) -> Result<()> {
        let (format, width, height) = (frame.format(), frame.width(), frame.height());
        // The levels stay as they are: full range stays full, and is said to be so.
        let jpeg = matches!(format, Pixel::YUVJ422P | Pixel::YUVJ444P | Pixel::YUVJ440P | Pixel::YUVJ411P);
        let to = if jpeg { Pixel::YUVJ420P } else { Pixel::YUV420P };
        let fits = self.scaler.as_ref().is_some_and(|s| {
            let i = s.input();
            i.format == format && i.width == width && i.height == height
        });
        if !fits {
            let context = scaling::Context::get(format, width, height, to, width, height, scaling::Flags::BILINEAR)
                .map_err(|cause| failed("convert the picture", path, cause))?;
            self.scaler = Some(context);
            self.converted = None;
        }
        let out = self.converted.get_or_insert_with(ff::frame::Video::empty);
        if let Some(scaler) = &mut self.scaler {
            scaler.run(frame, out).map_err(|cause| failed("convert the picture", path, cause))?;
        }
        Ok(())
    }
}

/// Turns a picture clockwise by 90, 180 or 270 degrees.
fn turn(view: &PictureView<'_>, rotation: u16) -> Picture {
    let plane = |k: usize, w: usize, h: usize| quarter_turns(view.planes[k], view.strides[k], w, h, rotation);
    let (cw, ch) = (view.width.div_ceil(2), view.height.div_ceil(2));
    let planes = [plane(0, view.width, view.height), plane(1, cw, ch), plane(2, cw, ch)];
    let (width, height) = if rotation == 180 { (view.width, view.height) } else { (view.height, view.width) };
    Picture { width, height, planes, color: view.color }
}

/// A plane turned clockwise. Rows are read in bands, so that what is written stays in the cache: a phone's upright
/// film is all turned.
fn quarter_turns(source: &[u8], stride: usize, w: usize, h: usize, rotation: u16) -> Vec<u8> {
    const BAND: usize = 16;
    let mut out = vec![128; w * h];
    let rows: Vec<&[u8]> = (0..h).map(|y| source.get(y * stride..y * stride + w).unwrap_or(&[])).collect();
    if rotation == 180 {
        for (to, from) in out.chunks_exact_mut(w.max(1)).rev().zip(&rows) {
            to.iter_mut().rev().zip(*from).for_each(|(t, f)| *t = *f);
        }
        return out;
    }
    for (band, from) in rows.chunks(BAND).enumerate() {
        for x in 0..w {
            // Column x becomes a row: the x-th, read upward (90), or the x-th from below, read downward (270).
            let row = if rotation == 90 { x } else { w - 1 - x };
            let first = if rotation == 90 { h - band * BAND - from.len() } else { band * BAND };
            let to = &mut out[row * h + first..row * h + first + from.len()];
            let column = from.iter().map(|r| r.get(x).copied().unwrap_or(128));
            if rotation == 90 {
                to.iter_mut().rev().zip(column).for_each(|(t, f)| *t = f);
            } else {
                to.iter_mut().zip(column).for_each(|(t, f)| *t = f);
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turning_four_times_by_a_quarter_is_the_identity() {
        // More rows than one band holds.
        let mut tall = Picture::filled(6, 40, [0, 128, 128]);
        tall.planes[0].iter_mut().enumerate().for_each(|(i, p)| *p = i as u8);
        let around = (0..4).fold(tall.clone(), |p, _| turn(&p.view(FrameNo(0), 0.0), 90));
        assert_eq!(around, tall);

        let mut picture = Picture::filled(6, 4, [0, 128, 128]);
        picture.planes[0].iter_mut().enumerate().for_each(|(i, p)| *p = i as u8);
        picture.planes[1].iter_mut().enumerate().for_each(|(i, p)| *p = 100 + i as u8);
        let quarter = turn(&picture.view(FrameNo(0), 0.0), 90);
        assert_eq!((quarter.width, quarter.height), (4, 6));
        // The lower left sample comes to the upper left.
        assert_eq!(quarter.planes[0][0], 18);
        let half = turn(&quarter.view(FrameNo(0), 0.0), 90);
        assert_eq!(half, turn(&picture.view(FrameNo(0), 0.0), 180));
        assert_eq!(turn(&half.view(FrameNo(0), 0.0), 180), picture);
        assert_eq!(turn(&quarter.view(FrameNo(0), 0.0), 270), picture);
    }
}
