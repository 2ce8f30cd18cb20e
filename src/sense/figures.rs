//! The man at a point of a picture: what is no turf there, and the box that holds it.

use super::field::ChromaCount;
use super::filter::Turf;
use super::middling::Middling;
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
/// Where it is known how tall men are: how far one keeps to it, and the steps between heights that are looked at.
const KNOWN: f64 = 0.15;
const FINE: f64 = 1.04;
/// A box so full may show a man in front of something else than turf.
const FULL: f64 = 0.5;
/// What is thinner than so many samples is a line.
const THIN: usize = 2;
/// Width over height of one upright man who stands apart, and how full his box is at least.
const UPRIGHT: std::ops::Range<f64> = 0.28..0.62;
const SOLID: f64 = 0.45;
/// A scale that less than so many men keep to is none; they keep to it within so much (logarithm).
const FEW: f64 = 2.5;
const ALIKE: f64 = 0.12;
/// Two men say how height grows downward if they are so many shares of the height apart; it grows by less than this.
const APART: f64 = 0.1;
const STEEP: f64 = 0.25;

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
    width: usize,
    height: usize,
    /// How much of it lies above and to the left of each sample, a row and a column more than there are samples.
    sums: Vec<u32>,
    /// The turf's color.
    pub turf: Turf,
}

/// How tall a man is in a picture, by the row of his feet: a plane seen from above, so a straight line (both shares of the
/// picture's height).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    /// At the picture's upper border; may be negative.
    pub top: f64,
    /// By so much taller at the lower one.
    pub more: f64,
}

impl Scale {
    /// A man's height whose feet are in a row; never less than a pixel or two.
    pub fn tall(&self, y: f64) -> f64 {
        (self.top + self.more * y).max(0.01)
    }
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
        let mut full = vec![0u32; (w + 1) * (h + 1)];
        for y in 0..h {
            let (y0, y1) = (y.saturating_sub(r), (y + r).min(h));
            let mut row = 0;
            for x in 0..w {
                let (x0, x1) = (x.saturating_sub(r), (x + r).min(w));
                let at = |x: usize, y: usize| sums[y * (w + 1) + x];
                let (a, b, c, d) = (at(x0, y0), at(x1, y0), at(x0, y1), at(x1, y1));
                let (sum, n) = (d.0 - b.0 - c.0 + a.0, d.1 - b.1 - c.1 + a.1);
                let over = light[y * w + x] - (sum / n.max(1.0)) as f32;
                let turf = green[y * w + x] && over.abs() <= BRIGHT;
                row += u32::from(!turf);
                full[(y + 1) * (w + 1) + x + 1] = full[y * (w + 1) + x + 1] + row;
            }
        }
        let all = sums[(w + 1) * (h + 1) - 1];
        let luma = (all.0 / all.1.max(1.0)) as f32;
        let turf = Turf { color: [luma, turf.0 as f32, turf.1 as f32] };
        Self { width: w, height: h, sums: full, turf }
    }

    /// How much fuller a man's box with feet at a place is than its surroundings.
    fn stands_out(&self, at: (f64, f64), height: f64, aspect: f64) -> f64 {
        let wide = SLIM * height / aspect;
        let inside = self.share(at.0, at.1 - height, wide, at.1);
        let side = |way: f64| self.share(at.0 + way * 0.8 * wide, at.1 - height, 0.5 * wide, at.1);
        let above = self.share(at.0, at.1 - 1.25 * height, wide, at.1 - height);
        let below = self.share(at.0, at.1, wide, at.1 + 0.15 * height);
        inside - 0.3 * side(-1.0) - 0.3 * side(1.0) - 0.25 * above - 0.15 * below
    }

    /// Whether turf is around a man, not the track, the bench or the stands.
    pub fn on_turf(&self, man: &Figure, aspect: f64) -> bool {
        self.stands_out(man.feet, man.height, aspect) > LEAST
    }

    /// What is shaped as one upright man who stands apart.
    fn upright(&self, aspect: f64) -> Vec<Figure> {
        let (w, h) = (self.width, self.height);
        // Opened by a square, so that the lines of the field go and men stay.
        let mut open = vec![false; w * h];
        for y in 0..h.saturating_sub(THIN) {
            for x in 0..w.saturating_sub(THIN) {
                if self.full(x, y, x + THIN, y + THIN) as usize == THIN * THIN {
                    (y..y + THIN).for_each(|v| open[v * w + x..v * w + x + THIN].fill(true));
                }
            }
        }
        let mut out = Vec::new();
        let mut stack = Vec::new();
        for k in 0..w * h {
            if !std::mem::take(&mut open[k]) {
                continue;
            }
            stack.push(k);
            let (mut n, mut sum, mut left, mut right, mut top, mut bottom) = (0usize, 0usize, w, 0, h, 0);
            while let Some(k) = stack.pop() {
                let (x, y) = (k % w, k / w);
                (n, sum) = (n + 1, sum + x);
                (left, right, top, bottom) = (left.min(x), right.max(x), top.min(y), bottom.max(y));
                for (inside, o) in
                    [(x > 0, k.wrapping_sub(1)), (x + 1 < w, k + 1), (y > 0, k.wrapping_sub(w)), (y + 1 < h, k + w)]
                {
                    if inside && std::mem::take(&mut open[o]) {
                        stack.push(o);
                    }
                }
            }
            let (wide, tall) = ((right + 1 - left) as f64, (bottom + 1 - top) as f64);
            let whole = left > 0 && top > 0 && right + 1 < w && bottom + 1 < h;
            let slim = wide / tall * aspect * h as f64 / w as f64;
            let solid = n as f64 > SOLID * wide * tall;
            if whole && solid && UPRIGHT.contains(&slim) && tall > TALL.0 * h as f64 {
                let feet = ((sum as f64 / n as f64 + 0.5) / w as f64, (bottom + 1) as f64 / h as f64);
                out.push(Figure { feet, height: tall / h as f64 });
            }
        }
        out
    }

    /// How tall men are by where they stand, as most of those say who stand apart (the line that most of them are near, of all
    /// through two of them: Fischler and Bolles, "Random Sample Consensus", 1981). `None` if too few do.
    pub fn scale(&self, aspect: f64) -> Option<Scale> {
        let men = self.upright(aspect);
        let mut best = (FEW, None);
        let mut look = |line: Scale| {
            let near = |f: &Figure| 1.0 - ((f.height / line.tall(f.feet.1)).ln() / ALIKE).powi(2);
            let sum: f64 = men.iter().map(|f| near(f).max(0.0)).sum();
            if sum > best.0 && line.tall(1.0) < 2.0 * TALL.1 {
                best = (sum, Some(line));
            }
        };
        for (k, a) in men.iter().enumerate() {
            look(Scale { top: a.height, more: 0.0 });
            for b in &men[k + 1..] {
                let rows = b.feet.1 - a.feet.1;
                let more = (b.height - a.height) / rows;
                if rows.abs() > APART && (0.0..STEEP).contains(&more) {
                    look(Scale { top: a.height - more * a.feet.1, more });
                }
            }
        }
        best.1
    }

    /// The man whose feet are near a point: the box that is fullest over what is around it, about as tall as men there are
    /// (where that is known). `None` if there is none.
    pub fn man_at(&self, feet: (f64, f64), aspect: f64, scale: Option<&Scale>) -> Option<Figure> {
        let (usual, spread, step) = scale.map_or((USUAL.0, USUAL.1, STEP), |s| (s.tall(feet.1), KNOWN, FINE));
        let mut best = (LEAST, None);
        let mut height = TALL.0;
        while height < TALL.1 {
            let unit = height / aspect;
            let unusual = ((height / usual).ln() / spread).powi(2).min(3.0);
            for k in -2..=2 {
                for l in -2..=3 {
                    let at = (feet.0 + 0.08 * f64::from(k) * unit, feet.1 + 0.06 * f64::from(l) * height);
                    let off = (f64::from(k) / 3.0).powi(2) + (f64::from(l) / 3.0).powi(2);
                    let score = self.stands_out(at, height, aspect) - 0.04 * unusual - 0.06 * off;
                    if score > best.0 {
                        best = (score, Some(Figure { feet: at, height }));
                    }
                }
            }
            height *= step;
        }
        // Where all is something else than turf (the track, the stands), nobody stands out, but somebody may be there.
        let there = |s: &Scale| {
            let height = s.tall(feet.1);
            let full = self.share(feet.0, feet.1 - height, SLIM * height / aspect, feet.1) > FULL;
            full.then_some(Figure { feet, height })
        };
        best.1.or_else(|| scale.and_then(there))
    }

    /// The share of a box that is no turf; shares of the picture: middle, top, width, bottom.
    pub fn share(&self, x: f64, top: f64, wide: f64, bottom: f64) -> f64 {
        let (w, h) = (self.width as f64, self.height as f64);
        let end = |v: f64, n: f64| v.round().clamp(0.0, n) as usize;
        let (x0, x1) = (end((x - wide / 2.0) * w, w), end((x + wide / 2.0) * w, w));
        let (y0, y1) = (end(top * h, h), end(bottom * h, h));
        let area = x1.saturating_sub(x0) * y1.saturating_sub(y0);
        if area == 0 {
            return 0.0;
        }
        f64::from(self.full(x0, y0, x1, y1)) / area as f64
    }

    /// How many samples of a box are no turf.
    fn full(&self, x0: usize, y0: usize, x1: usize, y1: usize) -> u32 {
        let sum = |x: usize, y: usize| self.sums[y * (self.width + 1) + x];
        sum(x1, y1) + sum(x0, y0) - sum(x0, y1) - sum(x1, y0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::film::FrameSource;
    use crate::sense::painted::{Eye, Man, Scene, frames};

    const RED: [u8; 3] = [60, 100, 200];

    fn seen(men: &[(f64, f64)], eye: Eye) -> Foreground {
        let man = |&from: &(f64, f64)| Man { from, pace: (0.0, 0.0), shirt: RED };
        let scene = Scene { men: men.iter().map(man).collect(), ..Scene::default() };
        let mut film = frames(&scene, &[eye]);
        let view = film.next_frame().expect("read").expect("a frame");
        Foreground::of(&Middling::of(&view))
    }

    const EYE: Eye = Eye { x: 0.0, y: 0.0, zoom: 1.0 };
    const ASPECT: f64 = 16.0 / 9.0;

    #[test]
    fn how_tall_men_are_is_told_by_those_who_stand_apart() {
        let apart = [(-0.7, -0.2), (-0.3, 0.3), (0.1, -0.1), (0.4, 0.2), (0.72, -0.2)];
        let scale = seen(&apart, EYE).scale(ASPECT).expect("a scale");
        for row in [0.3, 0.6, 0.9] {
            assert!((scale.tall(row) / Man::TALL - 1.0).abs() < 0.12, "{scale:?} at {row}");
        }
        let near = Eye { zoom: 1.25, ..EYE };
        let larger = seen(&apart, near).scale(ASPECT).expect("a scale");
        assert!((larger.tall(0.6) / scale.tall(0.6) / 1.25 - 1.0).abs() < 0.12, "{larger:?}");
        assert_eq!(seen(&apart[..1], EYE).scale(ASPECT), None, "one man is not enough");
        assert_eq!(seen(&[], EYE).scale(ASPECT), None, "lines are no men");
    }

    #[test]
    fn a_man_in_a_knot_is_as_tall_as_the_others() {
        let mut men = vec![(-0.7, -0.2), (-0.4, 0.3), (0.6, 0.25), (0.75, -0.2)];
        men.extend([(0.1, 0.1), (0.14, 0.11), (0.06, 0.11)]);
        let foreground = seen(&men, EYE);
        let scale = foreground.scale(ASPECT);
        let feet = EYE.seen((0.1, 0.1));
        let man = foreground.man_at(feet, ASPECT, scale.as_ref()).expect("a man");
        assert!((man.height / Man::TALL - 1.0).abs() < 0.2, "{man:?}");
        assert!(foreground.on_turf(&man, ASPECT));
        assert_eq!(foreground.man_at(EYE.seen((0.3, -0.2)), ASPECT, scale.as_ref()), None);
    }
}
