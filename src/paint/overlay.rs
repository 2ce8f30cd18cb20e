//! A drawing turned into planes of film, and blended onto pictures.

use tiny_skia::Pixmap;

use super::color::ycbcr;
use crate::film::Picture;

/// A drawing as 8-bit 4:2:0 planes with alpha, in BT.709 limited range, at its place in the picture.
///
/// Made once a play, blended onto every frame of it: only its own rows and columns are touched.
#[derive(Debug, Clone, PartialEq)]
pub struct Overlay {
    /// Left edge in luma samples, even.
    pub x: usize,
    /// Upper edge in luma samples, even.
    pub y: usize,
    /// Width in luma samples, even.
    pub width: usize,
    /// Height in luma samples, even.
    pub height: usize,
    luma: Layer,
    chroma: [Layer; 2],
}

/// One plane: what is added, and how much of the picture stays.
#[derive(Debug, Clone, PartialEq)]
struct Layer {
    /// Value times alpha, both 0 to 255.
    premultiplied: Vec<u16>,
    /// 255 less alpha.
    stays: Vec<u16>,
}

impl Layer {
    fn with_capacity(n: usize) -> Self {
        Self { premultiplied: Vec::with_capacity(n), stays: Vec::with_capacity(n) }
    }

    /// `value` in the plane's own numbers, `alpha` 0 to 1.
    fn push(&mut self, value: f32, alpha: f32) {
        // The value is multiplied by the alpha as rounded, so that value * alpha + picture * stays never passes
        // 255 * 255: the blend counts on that.
        let alpha = (alpha * 255.0).round().clamp(0.0, 255.0);
        self.premultiplied.push((value.clamp(0.0, 255.0) * alpha).round() as u16);
        self.stays.push(255 - alpha as u16);
    }
}

impl Overlay {
    /// From a drawing whose upper left corner lies at (`x`, `y`) of the picture; all four even.
    ///
    /// Chroma is taken across with weights 1 2 1 around every second luma sample (H.264's default siting, left) and
    /// as the mean of two rows.
    pub(super) fn of(drawing: &Pixmap, x: usize, y: usize) -> Self {
        let (width, height) = (drawing.width() as usize, drawing.height() as usize);
        // Per pixel: luma above black, Cb, Cr, alpha; all premultiplied.
        let pixels: Vec<[f32; 4]> = drawing
            .pixels()
            .iter()
            .map(|p| {
                let [r, g, b, a] = [p.red(), p.green(), p.blue(), p.alpha()].map(|v| f32::from(v) / 255.0);
                let [y, cb, cr] = ycbcr(r, g, b);
                [y, cb, cr, a]
            })
            .collect();
        let mut luma = Layer::with_capacity(width * height);
        for &[y, _, _, a] in &pixels {
            luma.push(if a > 0.0 { 16.0 + y / a } else { 0.0 }, a);
        }
        let mut chroma = [Layer::with_capacity(width * height / 4), Layer::with_capacity(width * height / 4)];
        for r in (0..height).step_by(2) {
            for c in (0..width).step_by(2) {
                let mut sum = [0.0f32; 3];
                for row in [r, (r + 1).min(height - 1)] {
                    for (column, weight) in [(c.saturating_sub(1), 1.0), (c, 2.0), ((c + 1).min(width - 1), 1.0)] {
                        let [_, cb, cr, a] = pixels[row * width + column];
                        sum = [sum[0] + weight * cb, sum[1] + weight * cr, sum[2] + weight * a];
                    }
                }
                let [cb, cr, a] = sum;
                for (layer, value) in chroma.iter_mut().zip([cb, cr]) {
                    layer.push(if a > 0.0 { 128.0 + value / a } else { 0.0 }, a / 8.0);
                }
            }
        }
        Self { x, y, width, height, luma, chroma }
    }

    /// Lays it over a picture in BT.709 limited range. What reaches past the picture's edge is left out.
    pub fn blend(&self, picture: &mut Picture) {
        let (width, half) = (picture.width, picture.width.div_ceil(2));
        let [luma, cb, cr] = &mut picture.planes;
        self.luma.blend(luma, width, (self.x, self.y), self.width);
        for (layer, plane) in self.chroma.iter().zip([cb, cr]) {
            layer.blend(plane, half, (self.x / 2, self.y / 2), self.width / 2);
        }
    }
}

impl Layer {
    fn blend(&self, plane: &mut [u8], stride: usize, (x, y): (usize, usize), width: usize) {
        let (width, stride) = (width.max(1), stride.max(1));
        let rows = self.premultiplied.chunks(width).zip(self.stays.chunks(width));
        for ((add, stays), row) in rows.zip(plane.chunks_mut(stride).skip(y)) {
            for ((p, &add), &stays) in row.iter_mut().skip(x).zip(add).zip(stays) {
                // (add + p * stays) / 255, rounded, all within 16 bits (see `Layer::push`); wrapping arithmetic only so
                // that the loop becomes vector code in every profile.
                let sum = add.wrapping_add(u16::from(*p).wrapping_mul(stays)).wrapping_add(128);
                *p = (sum.wrapping_add(sum >> 8) >> 8) as u8;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::paint::Rgb;
    use tiny_skia::{Color, Paint, Rect, Transform};

    fn drawing(rgb: [u8; 3], alpha: u8) -> Pixmap {
        let mut pixmap = Pixmap::new(8, 4).unwrap();
        let mut paint = Paint { anti_alias: false, ..Paint::default() };
        paint.set_color(Color::from_rgba8(rgb[0], rgb[1], rgb[2], alpha));
        pixmap.fill_rect(Rect::from_xywh(0.0, 0.0, 8.0, 4.0).unwrap(), &paint, Transform::identity(), None);
        pixmap
    }

    #[test]
    fn solid_paint_has_the_standards_numbers_and_the_rest_is_untouched() {
        for rgb in [[0xFF, 0x8A, 0x3D], [0x0F, 0x15, 0x12], [0xF6, 0xF3, 0xEA], [255, 255, 255], [0, 0, 255]] {
            let mut picture = Picture::filled(16, 10, [90, 100, 110]);
            Overlay::of(&drawing(rgb, 255), 4, 2).blend(&mut picture);
            let want = Rgb(rgb).ycbcr();
            for r in 0..10 {
                for c in 0..16 {
                    let inside = (4..12).contains(&c) && (2..6).contains(&r);
                    let got = [
                        picture.planes[0][r * 16 + c],
                        picture.planes[1][r / 2 * 8 + c / 2],
                        picture.planes[2][r / 2 * 8 + c / 2],
                    ];
                    let want = if inside { want } else { [90, 100, 110] };
                    assert!(got.iter().zip(want).all(|(&g, w)| g.abs_diff(w) <= 1), "{got:?} {want:?} at {c} {r}");
                    assert!(inside || got == want);
                }
            }
        }
    }

    #[test]
    fn half_seen_paint_lies_between_and_whole_blends_never_overflow() {
        let mut picture = Picture::filled(8, 4, [235, 128, 128]);
        Overlay::of(&drawing([0, 0, 0], 128), 0, 0).blend(&mut picture);
        assert!(picture.planes[0].iter().all(|&y| y.abs_diff(125) <= 1), "{:?}", picture.planes[0]);
        for alpha in 0..=255 {
            let mut picture = Picture::filled(8, 4, [255, 255, 255]);
            Overlay::of(&drawing([255, 255, 0], alpha), 0, 0).blend(&mut picture);
            assert!(picture.planes[0].iter().all(|&y| y >= 218), "alpha {alpha}: {:?}", picture.planes[0]);
        }
    }

    #[test]
    fn an_overlay_past_the_edge_is_cut_there() {
        let mut picture = Picture::filled(7, 5, [50, 128, 128]);
        Overlay::of(&drawing([255, 255, 255], 255), 4, 4).blend(&mut picture);
        assert_eq!(picture.planes[0].iter().filter(|&&y| y == 235).count(), 3);
    }
}
