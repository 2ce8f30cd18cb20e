//! Brings any frame of film onto the reel's canvas.

use super::teaching::{Region, WHOLE};
use crate::film::{Color, Picture, PictureView};
use crate::paint::{Conversion, Scaler, paint};

/// Bars thinner than this are not left: the picture is stretched over them, by 0.3 % at 1280. A camera that is 1916
/// wide would else have lines at its sides.
const THINNEST_BAR: usize = 2;

/// Brings frames onto one canvas: scaled to fit with square pixels, the rest ink, BT.709 limited. Turning upright was
/// the decoder's work.
///
/// The tables for a kind of frame are made once and kept while the kind stays the same.
pub struct Fitter {
    canvas: Picture,
    kind: Option<Kind>,
    tables: Option<Tables>,
}

/// All that decides how a frame is brought over.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Kind {
    coded: (usize, usize),
    shown: (u32, u32),
    color: Color,
    region: Region,
}

struct Tables {
    /// Left, top, width, height on the canvas, all even.
    place: [usize; 4],
    /// For luma and chroma; `None` where the size stays.
    scalers: Option<[Scaler; 2]>,
    conversion: Option<Conversion>,
    /// The picture without its bars, where it must be converted.
    inner: Picture,
}

impl Fitter {
    /// For a canvas of `width` x `height`, both even.
    pub fn new(width: usize, height: usize) -> Self {
        Self { canvas: Picture::filled(width, height, paint::INK.ycbcr()), kind: None, tables: None }
    }

    /// Where the last frame's picture lies on the canvas: left, top, width, height. Before the first: the whole canvas.
    pub fn place(&self) -> [usize; 4] {
        self.tables.as_ref().map_or([0, 0, self.canvas.width, self.canvas.height], |tables| tables.place)
    }

    /// Brings a frame onto the canvas. `shown` is its size in square pixels after sample aspect; only its shape counts.
    /// `region` is the part of it that fills its place. The canvas is lent until the next frame; whatever was painted on it, bars included, is painted over then.
    pub fn fit(&mut self, view: &PictureView<'_>, shown: (u32, u32), region: Region) -> &mut Picture {
        let kind = Kind { coded: (view.width, view.height), shown, color: view.color, region };
        if self.kind != Some(kind) {
            self.tables = Some(Tables::of(kind, (self.canvas.width, self.canvas.height)));
            self.kind = Some(kind);
        }
        if let Some(tables) = &mut self.tables {
            lay_bars(&mut self.canvas, tables.place);
            tables.bring(view, &mut self.canvas);
        }
        &mut self.canvas
    }

    /// The canvas as it is, to be painted on.
    pub fn canvas_mut(&mut self) -> &mut Picture {
        &mut self.canvas
    }

    /// The canvas as it is.
    pub fn canvas(&self) -> &Picture {
        &self.canvas
    }
}

/// Lays ink around the picture's place. On every frame: an overlay reaches over the bars, and its soft edge must not
/// harden from blend to blend.
fn lay_bars(canvas: &mut Picture, [x, y, width, height]: [usize; 4]) {
    let across = canvas.width;
    for (i, (plane, ink)) in canvas.planes.iter_mut().zip(paint::INK.ycbcr()).enumerate() {
        let by = if i == 0 { 1 } else { 2 };
        let (left, right) = (x / by, (x + width) / by);
        for (r, row) in plane.chunks_mut(across.div_ceil(by).max(1)).enumerate() {
            if (y / by..(y + height) / by).contains(&r) {
                row[..left].fill(ink);
                row[right..].fill(ink);
            } else {
                row.fill(ink);
            }
        }
    }
}

/// Where a picture of this shape lies on a canvas: left, top, width, height, all even.
fn place(shown: (u32, u32), canvas: (usize, usize)) -> [usize; 4] {
    let (w, h) = (f64::from(shown.0.max(1)), f64::from(shown.1.max(1)));
    let fit = (canvas.0 as f64 / w).min(canvas.1 as f64 / h);
    let side = |length: f64, most: usize| {
        let even = ((length * fit / 2.0).round() as usize * 2).clamp(2, most.max(2));
        if even + 2 * THINNEST_BAR > most { most } else { even }
    };
    let (iw, ih) = (side(w, canvas.0), side(h, canvas.1));
    [((canvas.0 - iw) / 2) & !1, ((canvas.1 - ih) / 2) & !1, iw, ih]
}

impl Tables {
    fn of(kind: Kind, canvas: (usize, usize)) -> Self {
        let place = place(kind.shown, canvas);
        let [_, _, width, height] = place;
        let half = |(w, h): (usize, usize)| (w.div_ceil(2), h.div_ceil(2));
        let scalers = (kind.coded != (width, height) || kind.region != WHOLE).then(|| {
            let (luma, chroma) = (kind.coded, half(kind.coded));
            [
                Scaler::luma(luma, kind.region, (width, height)),
                Scaler::chroma(chroma, kind.region, half((width, height))),
            ]
        });
        let conversion = Conversion::of(kind.color);
        let inner = if conversion.is_some() {
            Picture::filled(width, height, [16, 128, 128])
        } else {
            Picture::filled(0, 0, [0; 3])
        };
        Self { place, scalers, conversion, inner }
    }

    fn bring(&mut self, view: &PictureView<'_>, canvas: &mut Picture) {
        let [x, y, width, height] = self.place;
        let stride = canvas.width;
        match &self.conversion {
            None => scale(&mut self.scalers, view, canvas, stride, (x, y), (width, height)),
            Some(conversion) => {
                scale(&mut self.scalers, view, &mut self.inner, width, (0, 0), (width, height));
                conversion.apply(&mut self.inner);
                let inner = self.inner.view(view.no, view.time);
                scale(&mut None, &inner, canvas, stride, (x, y), (width, height));
            }
        }
    }
}

/// Scales or copies the planes of a frame into `out`, whose luma rows are `stride` apart, at an even place.
fn scale(
    scalers: &mut Option<[Scaler; 2]>,
    view: &PictureView<'_>,
    out: &mut Picture,
    stride: usize,
    (x, y): (usize, usize),
    (width, height): (usize, usize),
) {
    for (i, plane) in out.planes.iter_mut().enumerate() {
        let by = if i == 0 { 1 } else { 2 };
        let (stride, width, height) = (stride.div_ceil(by), width.div_ceil(by), height.div_ceil(by));
        let Some(into) = plane.get_mut(y / by * stride + x / by..) else { continue };
        match scalers {
            Some([luma, chroma]) => {
                let scaler = if i == 0 { luma } else { chroma };
                scaler.run(view.planes[i], view.strides[i], into, stride);
            }
            None => {
                let from = view.planes[i].chunks(view.strides[i].max(1)).take(height);
                for (to, from) in into.chunks_mut(stride.max(1)).zip(from) {
                    let n = width.min(to.len()).min(from.len());
                    to[..n].copy_from_slice(&from[..n]);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::FrameNo;
    use crate::film::Matrix;
    use crate::paint::Rgb;

    fn at(picture: &Picture, x: usize, y: usize) -> [u8; 3] {
        let half = picture.width / 2;
        [
            picture.planes[0][y * picture.width + x],
            picture.planes[1][y / 2 * half + x / 2],
            picture.planes[2][y / 2 * half + x / 2],
        ]
    }

    #[test]
    fn a_four_by_three_picture_stands_between_two_bars_of_ink() {
        let mut fitter = Fitter::new(1280, 720);
        let film = Picture::filled(720, 480, [150, 90, 60]);
        // 720x480 with a sample aspect of 8:9 is shown as 640x480.
        let out = fitter.fit(&film.view(FrameNo(0), 0.0), (640, 480), WHOLE);
        let ink = paint::INK.ycbcr();
        for (x, want) in [(0, ink), (158, ink), (160, [150, 90, 60]), (1118, [150, 90, 60]), (1120, ink), (1279, ink)] {
            for y in [0, 360, 719] {
                assert_eq!(at(out, x, y), want, "{x} {y}");
            }
        }
    }

    #[test]
    fn places_are_even_centered_and_without_hairline_bars() {
        assert_eq!(place((1920, 1080), (1280, 720)), [0, 0, 1280, 720]);
        assert_eq!(place((2048, 1080), (1920, 1080)), [0, 34, 1920, 1012]);
        assert_eq!(place((1916, 1080), (1920, 1080)), [2, 0, 1916, 1080]);
        assert_eq!(place((1918, 1080), (1920, 1080)), [0, 0, 1920, 1080]);
        assert_eq!(place((1080, 1920), (1280, 720)), [436, 0, 406, 720]);
        assert_eq!(place((0, 0), (64, 36)), [14, 0, 36, 36]);
    }

    #[test]
    fn film_of_the_canvas_own_kind_is_not_touched() {
        let mut film = Picture::filled(64, 36, [0, 128, 128]);
        for (i, v) in film.planes.iter_mut().flatten().enumerate() {
            *v = (i * 31 % 251) as u8;
        }
        let mut fitter = Fitter::new(64, 36);
        assert_eq!(*fitter.fit(&film.view(FrameNo(0), 0.0), (64, 36), WHOLE), film);
    }

    #[test]
    fn standard_definition_color_is_turned_into_bt709_and_the_bars_stay_ink() {
        let mut film = Picture::filled(40, 40, [81, 90, 240]); // red in BT.601
        film.color = Color { matrix: Matrix::Bt601, ..Color::default() };
        let mut fitter = Fitter::new(64, 36);
        let out = fitter.fit(&film.view(FrameNo(0), 0.0), (40, 40), WHOLE).clone();
        let red = Rgb([255, 0, 0]).ycbcr();
        assert!(at(&out, 32, 18).iter().zip(red).all(|(a, b)| a.abs_diff(b) <= 1), "{:?}", at(&out, 32, 18));
        assert_eq!(at(&out, 4, 18), paint::INK.ycbcr());
        assert_eq!(out.color, Color::default());
    }

    #[test]
    fn a_change_of_kind_lays_the_bars_anew() {
        let mut fitter = Fitter::new(64, 36);
        fitter.fit(&Picture::filled(64, 36, [200, 128, 128]).view(FrameNo(0), 0.0), (64, 36), WHOLE);
        let out = fitter.fit(&Picture::filled(36, 36, [100, 128, 128]).view(FrameNo(1), 0.0), (36, 36), WHOLE);
        assert_eq!(
            (at(out, 0, 0)[0], at(out, 32, 0)[0], at(out, 63, 35)[0]),
            (paint::INK.ycbcr()[0], 100, paint::INK.ycbcr()[0])
        );
    }

    #[test]
    fn padded_rows_and_odd_sizes_are_taken() {
        let film = Picture::filled(33, 17, [77, 128, 128]);
        let mut wide = film.view(FrameNo(0), 0.0);
        let padded: Vec<u8> = film.planes[0].chunks(33).flat_map(|r| r.iter().copied().chain([255; 7])).collect();
        wide.planes[0] = &padded;
        wide.strides[0] = 40;
        let mut fitter = Fitter::new(66, 34);
        assert!(fitter.fit(&wide, (33, 17), WHOLE).planes[0].iter().all(|&y| y == 77));
    }
}
