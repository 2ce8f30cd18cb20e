//! Brings the views of a segment onto one canvas.

use super::fit::Fitter;
use super::plan::Layout;
use super::teaching::Region;
use crate::film::{Picture, PictureView};
use crate::paint::{Overlay, paint};

/// The inset's share of the canvas's width and height (our own choice: the end zone's picture is read at arm's length).
const INSET: f64 = 0.34;

/// Where the inset ends: the title-safe area, 90 % of width and height (SMPTE ST 2046-1; from memory).
pub(super) const SAFE: f64 = 0.05;

/// The inset's edge, as a share of the canvas's height.
const EDGE: f64 = 0.004;

/// Composes the pictures of one segment.
pub(super) struct Composer {
    layout: Layout,
    views: Vec<Fitter>,
    /// Where each view lies; the first of a single layout is the canvas itself.
    places: Vec<(usize, usize)>,
    canvas: Picture,
}

impl Composer {
    /// For a canvas of this size, both even, and as many views.
    pub fn new(layout: Layout, (width, height): (usize, usize), views: usize) -> Self {
        let even = |share: f64, whole: usize| ((whole as f64 * share / 2.0).round() as usize * 2).max(2);
        let layout = if views < 2 { Layout::Single } else { layout };
        // Two numbers a view: width and height, left and upper edge.
        type Pairs = Vec<(usize, usize)>;
        let (sizes, places): (Pairs, Pairs) = match layout {
            Layout::Single => (vec![(width, height)], vec![(0, 0)]),
            Layout::Beside => {
                let half = (width / 2) & !1;
                (vec![(half, height), (width - half, height)], vec![(0, 0), (half, 0)])
            }
            Layout::Quarters => {
                let (half, middle) = ((width / 2) & !1, (height / 2) & !1);
                let (wide, high) = ([half, width - half], [middle, height - middle]);
                let quarter = |k: usize| ((wide[k % 2], high[k / 2]), (k % 2 * half, k / 2 * middle));
                (0..views.min(4)).map(quarter).unzip()
            }
            Layout::Inset => {
                let small = (even(INSET, width), even(INSET, height));
                let (right, top) = (even(SAFE, width), even(SAFE, height));
                (vec![(width, height), small], vec![(0, 0), (width - right - small.0, top)])
            }
        };
        let canvas = match layout {
            Layout::Single => Picture::filled(0, 0, [0; 3]),
            _ => Picture::filled(width, height, paint::INK.ycbcr()),
        };
        Self { layout, views: sizes.into_iter().map(|(w, h)| Fitter::new(w, h)).collect(), places, canvas }
    }

    /// Takes a picture of a view; `shown` is its size in square pixels, `region` the part of it that is shown.
    pub fn take(&mut self, view: usize, picture: &PictureView<'_>, shown: (u32, u32), region: Region) {
        if let Some(fitter) = self.views.get_mut(view) {
            fitter.fit(picture, shown, region);
        }
    }

    /// Where each view's picture lies on the canvas, bars left out: left, top, width, height. A view of which no picture
    /// was taken yet has its whole cell.
    pub fn pictures(&self) -> Vec<[usize; 4]> {
        let cells = self.views.iter().zip(&self.places);
        cells
            .map(|(fitter, (left, top))| {
                let [x, y, width, height] = fitter.place();
                [left + x, top + y, width, height]
            })
            .collect()
    }

    /// Lays what was taken on the canvas, with an overlay over it.
    pub fn lay(&mut self, overlay: Option<&Overlay>) -> &mut Picture {
        if self.layout != Layout::Single {
            let edge = ((self.canvas.height as f64 * EDGE / 2.0).round() as usize * 2).max(2);
            for (at, (fitter, place)) in self.views.iter().zip(&self.places).enumerate() {
                let small = fitter.canvas();
                if at > 0 && self.layout == Layout::Inset {
                    let chalk = paint::CHALK.ycbcr();
                    let frame = (place.0.saturating_sub(edge), place.1.saturating_sub(edge));
                    fill(&mut self.canvas, frame, (small.width + 2 * edge, small.height + 2 * edge), chalk);
                }
                paste(&mut self.canvas, small, *place);
            }
        }
        let canvas = match (self.layout, self.views.first_mut()) {
            (Layout::Single, Some(fitter)) => fitter.canvas_mut(),
            _ => &mut self.canvas,
        };
        if let Some(overlay) = overlay {
            overlay.blend(canvas);
        }
        canvas
    }

    /// The canvas as it was last laid.
    pub fn canvas(&self) -> &Picture {
        match (self.layout, self.views.first()) {
            (Layout::Single, Some(fitter)) => fitter.canvas(),
            _ => &self.canvas,
        }
    }
}

/// Rows of a plane from `place` on, `width` wide, at half size for chroma; all numbers even.
fn rows(canvas: &mut Picture, plane: usize, (x, y): (usize, usize)) -> impl Iterator<Item = &mut [u8]> {
    let by = if plane == 0 { 1 } else { 2 };
    let stride = canvas.width.div_ceil(by).max(1);
    canvas.planes[plane].chunks_mut(stride).skip(y / by).map(move |row| {
        let from = (x / by).min(row.len());
        &mut row[from..]
    })
}

fn paste(canvas: &mut Picture, small: &Picture, place: (usize, usize)) {
    for plane in 0..3 {
        let width = small.width.div_ceil(if plane == 0 { 1 } else { 2 }).max(1);
        for (to, from) in rows(canvas, plane, place).zip(small.planes[plane].chunks(width)) {
            let n = to.len().min(from.len());
            to[..n].copy_from_slice(&from[..n]);
        }
    }
}

fn fill(canvas: &mut Picture, place: (usize, usize), (width, height): (usize, usize), color: [u8; 3]) {
    for (plane, value) in color.into_iter().enumerate() {
        let by = if plane == 0 { 1 } else { 2 };
        for row in rows(canvas, plane, place).take(height.div_ceil(by)) {
            let n = row.len().min(width.div_ceil(by));
            row[..n].fill(value);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::FrameNo;
    use crate::reel::teaching::WHOLE;

    fn composed(layout: Layout) -> Picture {
        let mut composer = Composer::new(layout, (160, 90), 2);
        let (a, b) = (Picture::filled(160, 90, [50, 128, 128]), Picture::filled(160, 90, [200, 128, 128]));
        composer.take(0, &a.view(FrameNo(0), 0.0), (160, 90), WHOLE);
        composer.take(1, &b.view(FrameNo(0), 0.0), (160, 90), WHOLE);
        composer.lay(None).clone()
    }

    #[test]
    fn two_views_stand_side_by_side_in_their_own_shape() {
        let out = composed(Layout::Beside);
        let at = |x: usize, y: usize| out.planes[0][y * 160 + x];
        assert_eq!((at(2, 45), at(78, 45), at(82, 45), at(158, 45)), (50, 50, 200, 200));
        assert_eq!((at(40, 2), at(120, 88)), (paint::INK.ycbcr()[0], paint::INK.ycbcr()[0]));
    }

    #[test]
    fn three_views_stand_in_quarters_and_the_last_is_left_ink() {
        let mut composer = Composer::new(Layout::Quarters, (160, 90), 3);
        for k in 0..3u8 {
            let picture = Picture::filled(160, 90, [50 + 60 * k, 128, 128]);
            composer.take(usize::from(k), &picture.view(FrameNo(0), 0.0), (160, 90), WHOLE);
        }
        let out = composer.lay(None).clone();
        let at = |x: usize, y: usize| out.planes[0][y * 160 + x];
        assert_eq!((at(40, 22), at(120, 22), at(40, 67), at(120, 67)), (50, 110, 170, paint::INK.ycbcr()[0]));
        assert_eq!(composer.pictures().len(), 3);
    }

    #[test]
    fn an_inset_lies_in_the_upper_corner_within_its_edge() {
        let out = composed(Layout::Inset);
        let at = |x: usize, y: usize| out.planes[0][y * 160 + x];
        assert_eq!((at(2, 2), at(150, 20), at(100, 20), at(158, 20), at(150, 60)), (50, 200, 200, 50, 50));
        let chalk = paint::CHALK.ycbcr()[0];
        assert_eq!(out.planes[0].iter().filter(|y| **y == chalk).count() % 4, 0);
        assert!(out.planes[0].contains(&chalk));
    }
}
