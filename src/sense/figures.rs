//! The man at a point of a picture: what is no turf there, and the box that holds it.

use super::field::ChromaCount;
use super::filter::Turf;
use super::middling::{Gray, Middling};
use super::small::{HEIGHT, WIDTH};

/// A sample is no turf if its chroma is farther than this from the dominant one (as in the measurement of fields).
const FAR: i32 = 11;
/// Nor if its luma is so far from that of the turf around it: a jersey may be as green as the field.
const BRIGHT: f32 = 26.0;
/// Around: a square of twice this share of the picture's height.
const AROUND: f64 = 0.08;
/// Heights of men that are looked for, shares of the picture's height [practice], and each over the one before.
const TALL: (f64, f64) = (0.035, 0.17);
const STEP: f64 = 1.1;
/// What is usual, and how far men keep to it (logarithm).
const USUAL: (f64, f64) = (0.075, 0.5);
/// Width over height of a man's box.
pub const SLIM: f64 = 0.4;
/// A box that is not fuller than its surroundings by so much shows no man.
const LEAST: f64 = 0.12;

/// The picture's height in normalized units.
pub const UNIT: f64 = 2.0 * HEIGHT as f64 / WIDTH as f64;

/// A man's box, shares of the picture's width and height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figure {
    /// Between his feet.
    pub feet: (f64, f64),
    /// From his soles to the top of his helmet.
    pub height: f64,
}

/// What is not turf, at the size of the chroma planes.
#[derive(Debug, Clone)]
pub struct Foreground {
    /// 255 where it is something else, 0 on turf.
    pub mask: Gray,
    /// The turf's color.
    pub turf: Turf,
}

impl Foreground {
    /// By the chroma that most of the picture's lower part has, and by the luma of the turf around.
    pub fn of(picture: &Middling) -> Self {
        let [luma, cb, cr] = &picture.planes;
        let (w, h) = (cb.width, cb.height);
        let mut count = ChromaCount::default();
        let skip = cb.data.len() / 4;
        count.add(&cb.data[skip..], &cr.data[skip..]);
        let turf = count.dominant();
        let near = |(&u, &v): (&u8, &u8)| {
            let (du, dv) = (i32::from(u) - turf.0, i32::from(v) - turf.1);
            du * du + dv * dv <= FAR * FAR
        };
        let green: Vec<bool> = cb.data.iter().zip(&cr.data).map(near).collect();
        let light = |x: usize, y: usize| {
            let at = |x: usize, y: usize| {
                f32::from(luma.data.get(y * luma.width + x.min(luma.width - 1)).copied().unwrap_or(128))
            };
            0.25 * (at(2 * x, 2 * y) + at(2 * x + 1, 2 * y) + at(2 * x, 2 * y + 1) + at(2 * x + 1, 2 * y + 1))
        };
        let light: Vec<f32> = (0..w * h).map(|k| light(k % w, k / w)).collect();
        // Sums over all that lies above and to the left, of the turf's luma and of how much turf there is.
        let mut sums = vec![(0f64, 0f64); (w + 1) * (h + 1)];
        for y in 0..h {
            let mut row = (0.0, 0.0);
            for x in 0..w {
                if green[y * w + x] {
                    row = (row.0 + f64::from(light[y * w + x]), row.1 + 1.0);
                }
                let above = sums[y * (w + 1) + x + 1];
                sums[(y + 1) * (w + 1) + x + 1] = (above.0 + row.0, above.1 + row.1);
            }
        }
        let r = ((AROUND * h as f64) as usize).max(4);
        let mut data = vec![255u8; w * h];
        for y in 0..h {
            let (y0, y1) = (y.saturating_sub(r), (y + r).min(h));
            for x in 0..w {
                let (x0, x1) = (x.saturating_sub(r), (x + r).min(w));
                let at = |x: usize, y: usize| sums[y * (w + 1) + x];
                let (a, b, c, d) = (at(x0, y0), at(x1, y0), at(x0, y1), at(x1, y1));
                let (sum, n) = (d.0 - b.0 - c.0 + a.0, d.1 - b.1 - c.1 + a.1);
                let over = light[y * w + x] - (sum / n.max(1.0)) as f32;
                if green[y * w + x] && over.abs() <= BRIGHT {
                    data[y * w + x] = 0;
                }
            }
        }
        let all = sums[(w + 1) * (h + 1) - 1];
        let luma = (all.0 / all.1.max(1.0)) as f32;
        Self {
            mask: Gray { width: w, height: h, origin: (0, 0), data },
            turf: Turf { color: [luma, turf.0 as f32, turf.1 as f32] },
        }
    }

    /// The man whose feet are near a point: the box that is fullest over what is around it. `None` if there is none.
    pub fn man_at(&self, feet: (f64, f64), aspect: f64) -> Option<Figure> {
        let mut best = (LEAST, None);
        let mut height = TALL.0;
        while height < TALL.1 {
            let unit = height / aspect;
            let usual = ((height / USUAL.0).ln() / USUAL.1).powi(2);
            for k in -1..=1 {
                for l in -2..=3 {
                    let at = (feet.0 + 0.08 * f64::from(k) * unit, feet.1 + 0.06 * f64::from(l) * height);
                    let wide = SLIM * unit;
                    let inside = self.share(at.0, at.1 - height, wide, at.1);
                    let side = |way: f64| self.share(at.0 + way * 0.8 * wide, at.1 - height, 0.5 * wide, at.1);
                    let above = self.share(at.0, at.1 - 1.25 * height, wide, at.1 - height);
                    let below = self.share(at.0, at.1, wide, at.1 + 0.15 * height);
                    let around = 0.3 * side(-1.0) + 0.3 * side(1.0) + 0.25 * above + 0.15 * below;
                    let off = (f64::from(k) / 3.0).powi(2) + (f64::from(l) / 3.0).powi(2);
                    let score = inside - around - 0.04 * usual - 0.06 * off;
                    if score > best.0 {
                        best = (score, Some(Figure { feet: at, height }));
                    }
                }
            }
            height *= STEP;
        }
        best.1
    }

    /// The share of a box that is no turf; shares of the picture: middle, top, width, bottom.
    pub fn share(&self, x: f64, top: f64, wide: f64, bottom: f64) -> f64 {
        let (w, h) = (self.mask.width as f64, self.mask.height as f64);
        let end = |v: f64, n: f64| v.round().clamp(0.0, n) as usize;
        let (x0, x1) = (end((x - wide / 2.0) * w, w), end((x + wide / 2.0) * w, w));
        let (y0, y1) = (end(top * h, h), end(bottom * h, h));
        let area = x1.saturating_sub(x0) * y1.saturating_sub(y0);
        if area == 0 {
            return 0.0;
        }
        let row = |y: usize| &self.mask.data[y * self.mask.width..][x0..x1];
        let full: usize = (y0..y1).map(|y| row(y).iter().filter(|&&m| m > 0).count()).sum();
        full as f64 / area as f64
    }
}
