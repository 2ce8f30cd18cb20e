//! Colors of the look, and what the numbers of a picture mean.

use std::sync::Arc;

use super::light::Table;
use crate::film::{Color, Matrix, Picture, PictureView, Transfer};

/// 8-bit R'G'B' as screens take it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rgb(pub [u8; 3]);

/// The paints. Orange belongs to the chain crew, yellow is the flag; text lies on ink.
pub mod paint {
    use super::Rgb;

    /// Ground of strip, cards and sheets.
    pub const INK: Rgb = Rgb([0x0F, 0x15, 0x12]);
    /// Raised ground.
    pub const RAISED: Rgb = Rgb([0x18, 0x21, 0x1C]);
    /// Hairlines.
    pub const RULE: Rgb = Rgb([0x2B, 0x38, 0x31]);
    /// What is read first.
    pub const CHALK: Rgb = Rgb([0xF6, 0xF3, 0xEA]);
    /// What is read second.
    pub const SOFT: Rgb = Rgb([0xB9, 0xC4, 0xBC]);
    /// What is read third.
    pub const FAINT: Rgb = Rgb([0x93, 0xA0, 0x97]);
    /// Down, chain, line to gain.
    pub const POLE: Rgb = Rgb([0xFF, 0x8A, 0x3D]);
    /// Something to check.
    pub const FLAG: Rgb = Rgb([0xFF, 0xD2, 0x3F]);
    /// The page behind raised grounds.
    pub const PAGE: Rgb = Rgb([0x0A, 0x0F, 0x0C]);
    /// Edges.
    pub const EDGE: Rgb = Rgb([0x6B, 0x7A, 0x71]);
    /// The second mark; the camera's motion.
    pub const SKY: Rgb = Rgb([0x6F, 0xC8, 0xFF]);
    /// The fourth mark; whistles.
    pub const ROSE: Rgb = Rgb([0xFF, 0x6F, 0xA8]);
}

impl Rgb {
    /// As in SVG: `#0F1512`.
    pub fn hex(self) -> String {
        format!("#{:02X}{:02X}{:02X}", self.0[0], self.0[1], self.0[2])
    }

    /// 8-bit limited-range Y'CbCr by ITU-R BT.709.
    pub fn ycbcr(self) -> [u8; 3] {
        let [r, g, b] = self.0.map(|v| f32::from(v) / 255.0);
        let [y, cb, cr] = ycbcr(r, g, b);
        [(16.0 + y).round() as u8, (128.0 + cb).round() as u8, (128.0 + cr).round() as u8]
    }
}

/// Luma (0 to 219) and chroma (-112 to 112) of R'G'B' in 0 to 1, ITU-R BT.709-6 items 3.2 to 3.4: Y' = .2126 R' +
/// .7152 G' + .0722 B', C'b = (B'-Y') / 1.8556, C'r = (R'-Y') / 1.5748, quantized to 219 and 224 steps.
pub(super) fn ycbcr(r: f32, g: f32, b: f32) -> [f32; 3] {
    let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
    [219.0 * y, 224.0 * (b - y) / 1.8556, 224.0 * (r - y) / 1.5748]
}

/// Luma weights of red and blue: BT.709-6, BT.601-7, BT.2020-2 (non-constant luminance).
fn weights(matrix: Matrix) -> (f64, f64) {
    match matrix {
        Matrix::Bt709 => (0.2126, 0.0722),
        Matrix::Bt601 => (0.299, 0.114),
        Matrix::Bt2020 => (0.2627, 0.0593),
    }
}

/// R'G'B' (0 to 1, unclipped) as a matrix over (Y - offset, Cb - 128, Cr - 128).
pub(super) fn to_rgb_matrix(color: Color) -> [[f64; 3]; 3] {
    let (kr, kb) = weights(color.matrix);
    let kg = 1.0 - kr - kb;
    let (ys, cs) = if color.full_range { (1.0 / 255.0, 1.0 / 255.0) } else { (1.0 / 219.0, 1.0 / 224.0) };
    let (rv, bu) = (2.0 * (1.0 - kr), 2.0 * (1.0 - kb));
    [[ys, 0.0, rv * cs], [ys, -bu * kb / kg * cs, -rv * kr / kg * cs], [ys, bu * cs, 0.0]]
}

/// Fixed point of the conversions.
const BITS: i32 = 14;

/// From a film's numbers to those of a reel: BT.709, limited range, standard dynamic range.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Conversion(Way);

#[derive(Debug, Clone, PartialEq, Eq)]
enum Way {
    /// Matrix and range: the primaries are those of a reel.
    Straight(Straight),
    /// By light.
    Light(Arc<Table>),
}

impl Conversion {
    /// The conversion that film of this color needs; `None` if none.
    pub fn of(color: Color) -> Option<Self> {
        if color == Color::default() {
            return None;
        }
        let by_light = color.transfer != Transfer::Sdr || color.matrix == Matrix::Bt2020;
        Some(Self(if by_light { Way::Light(Table::of(color)) } else { Way::Straight(Straight::of(color)) }))
    }

    /// Converts a picture in place.
    pub fn apply(&self, picture: &mut Picture) {
        match &self.0 {
            Way::Straight(straight) => straight.apply(picture),
            Way::Light(table) => table.apply(picture),
        }
    }
}

/// A conversion in which gray stays gray, and all is linear.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Straight {
    /// Luma from (Y - offset, Cb - 128, Cr - 128).
    luma: [i32; 3],
    /// Chroma from (Cb - 128, Cr - 128): gray stays gray, so luma has no part in it.
    chroma: [[i32; 2]; 2],
    offset: i32,
}

impl Straight {
    fn of(color: Color) -> Self {
        let from = to_rgb_matrix(color);
        let (kr, kb) = weights(Matrix::Bt709);
        let kg = 1.0 - kr - kb;
        let fixed = |x: f64| (x * f64::from(1 << BITS)).round() as i32;
        let luma: [f64; 3] = std::array::from_fn(|i| kr * from[0][i] + kg * from[1][i] + kb * from[2][i]);
        let cb: [f64; 3] = std::array::from_fn(|i| 224.0 * (from[2][i] - luma[i]) / (2.0 * (1.0 - kb)));
        let cr: [f64; 3] = std::array::from_fn(|i| 224.0 * (from[0][i] - luma[i]) / (2.0 * (1.0 - kr)));
        Self {
            luma: luma.map(|x| fixed(219.0 * x)),
            chroma: [[fixed(cb[1]), fixed(cb[2])], [fixed(cr[1]), fixed(cr[2])]],
            offset: if color.full_range { 0 } else { 16 },
        }
    }

    /// Each chroma sample serves its four luma samples.
    fn apply(&self, picture: &mut Picture) {
        let (width, half) = (picture.width, picture.width.div_ceil(2));
        let half_step = 1 << (BITS - 1);
        let [luma, cbs, crs] = &mut picture.planes;
        let add = half_step + (16 << BITS) - self.luma[0] * self.offset;
        let mut shifts = vec![0; 2 * half];
        for (r, row) in luma.chunks_mut(width.max(1)).enumerate() {
            if r % 2 == 0 {
                let at = (r / 2) * half;
                let (Some(cb), Some(cr)) = (cbs.get(at..at + half), crs.get(at..at + half)) else { break };
                // What chroma does to luma, once for each pair of rows and laid out a sample each: the loop over luma
                // becomes vector code.
                for ((pair, &u), &v) in shifts.chunks_exact_mut(2).zip(cb).zip(cr) {
                    pair.fill(self.luma[1] * (i32::from(u) - 128) + self.luma[2] * (i32::from(v) - 128) + add);
                }
            }
            for (y, &shift) in row.iter_mut().zip(&shifts) {
                *y = ((self.luma[0] * i32::from(*y) + shift) >> BITS).clamp(0, 255) as u8;
            }
        }
        for (u, v) in cbs.iter_mut().zip(crs.iter_mut()) {
            let (b, r) = (i32::from(*u) - 128, i32::from(*v) - 128);
            let [to_cb, to_cr] = self.chroma.map(|[x, y]| ((x * b + y * r + half_step) >> BITS) + 128);
            *u = to_cb.clamp(0, 255) as u8;
            *v = to_cr.clamp(0, 255) as u8;
        }
        picture.color = Color::default();
    }
}

/// A picture as rows of R'G'B', three bytes a pixel, by its own matrix and range.
pub(super) fn to_rgb(picture: &PictureView<'_>) -> Vec<u8> {
    if let Some(conversion @ Conversion(Way::Light(_))) = Conversion::of(picture.color) {
        let mut own = picture.to_picture();
        conversion.apply(&mut own);
        return to_rgb(&own.view(picture.no, picture.time));
    }
    let m = to_rgb_matrix(picture.color).map(|row| row.map(|x| (x * 255.0 * f64::from(1 << BITS)).round() as i32));
    let offset = if picture.color.full_range { 0 } else { 16 };
    let mut out = vec![0; picture.width * picture.height * 3];
    let row = |plane: usize, r: usize| picture.planes[plane].get(r * picture.strides[plane]..).unwrap_or_default();
    for (r, out) in out.chunks_mut((picture.width * 3).max(1)).enumerate() {
        // A plane cut short leaves black.
        let (luma, cb, cr) = (row(0, r), row(1, r / 2), row(2, r / 2));
        for (((out, luma), &cb), &cr) in out.chunks_mut(6).zip(luma.chunks(2)).zip(cb).zip(cr) {
            let (cb, cr) = (i32::from(cb) - 128, i32::from(cr) - 128);
            let shift = m.map(|[_, b, d]| b * cb + d * cr + (1 << (BITS - 1)));
            for (pixel, &y) in out.chunks_mut(3).zip(luma) {
                for ((put, [a, ..]), shift) in pixel.iter_mut().zip(&m).zip(shift) {
                    *put = ((a * (i32::from(y) - offset) + shift) >> BITS).clamp(0, 255) as u8;
                }
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::FrameNo;

    /// White and the primaries in 8-bit limited BT.709, computed from Recommendation ITU-R BT.709 (FFmpeg's scaler
    /// agrees).
    const BT709: [([u8; 3], [u8; 3]); 5] = [
        ([255, 255, 255], [235, 128, 128]),
        ([255, 0, 0], [63, 102, 240]),
        ([0, 255, 0], [173, 42, 26]),
        ([0, 0, 255], [32, 240, 118]),
        ([255, 255, 0], [219, 16, 138]),
    ];
    /// The same in BT.601.
    const BT601: [([u8; 3], [u8; 3]); 3] =
        [([255, 0, 0], [81, 90, 240]), ([0, 255, 0], [145, 54, 34]), ([255, 255, 0], [210, 16, 146])];

    fn near(a: [u8; 3], b: [u8; 3], by: u8) -> bool {
        a.iter().zip(b).all(|(&x, y)| x.abs_diff(y) <= by)
    }

    #[test]
    fn primaries_have_the_standards_numbers() {
        for (rgb, yuv) in BT709 {
            assert_eq!(Rgb(rgb).ycbcr(), yuv, "{rgb:?}");
        }
    }

    #[test]
    fn standard_definition_film_becomes_bt709() {
        let conversion = Conversion::of(Color { matrix: Matrix::Bt601, ..Color::default() }).unwrap();
        for (rgb, yuv) in BT601 {
            let mut picture = Picture::filled(4, 4, yuv);
            conversion.apply(&mut picture);
            let want = Rgb(rgb).ycbcr();
            let got = [picture.planes[0][5], picture.planes[1][1], picture.planes[2][1]];
            assert!(near(got, want, 1), "{rgb:?}: {got:?}, not {want:?}");
        }
    }

    #[test]
    fn full_range_is_pressed_into_the_limited_one() {
        let conversion = Conversion::of(Color { full_range: true, ..Color::default() }).unwrap();
        for (full, limited) in [(0, 16), (255, 235), (128, 126)] {
            let mut picture = Picture::filled(5, 3, [full, 128, 255]);
            conversion.apply(&mut picture);
            assert!(near([picture.planes[0][14], picture.planes[1][5], 0], [limited, 128, 0], 1));
            assert_eq!(picture.planes[2][5], 240);
        }
        assert!(Conversion::of(Color::default()).is_none());
    }

    #[test]
    fn pictures_come_back_as_the_color_they_were() {
        for (rgb, yuv) in BT709 {
            let out = to_rgb(&Picture::filled(3, 3, yuv).view(FrameNo(0), 0.0));
            assert_eq!(out.len(), 27);
            assert!(near([out[24], out[25], out[26]], rgb, 3), "{rgb:?}: {:?}", &out[24..]);
        }
        for (rgb, yuv) in BT601 {
            let mut picture = Picture::filled(2, 2, yuv);
            picture.color.matrix = Matrix::Bt601;
            let out = to_rgb(&picture.view(FrameNo(0), 0.0));
            assert!(near([out[0], out[1], out[2]], rgb, 3), "{rgb:?}: {out:?}");
        }
    }
}
