//! Draws marks onto pictures.

use tiny_skia::{FillRule, LineCap, LineJoin, Paint, PathBuilder, Pixmap, PixmapMut, Stroke, StrokeDash, Transform};

use super::path::Point;
use super::shape::{Shape, path_units, shapes};
use super::{Mark, Pose};
use crate::film::Picture;
use crate::paint::color::{Rgb, paint};
use crate::paint::strip::SMALLEST;

/// Alpha of the ink under a stroke, and how far it reaches on either side, units.
const EDGE: (f32, f32) = (0.85, 3.0);
/// Ink of a shade.
const SHADE: f32 = 0.58;
/// Ink of each of a spotlight's two steps.
const STEP: f32 = 0.36;
/// Half the width and height of a spotlight's inner ellipse, in heights of the man, and how much larger the outer one is.
const POOL: (f32, f32, f32) = (0.62, 0.78, 1.22);

/// What a spotlight leaves light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pool {
    /// The man's feet, pixels.
    pub feet: (f32, f32),
    /// His height, pixels.
    pub height: f32,
    /// How much of the light is on him, 0 to 1.
    pub seen: f32,
}

/// A mark as drawn.
#[derive(Debug, Clone)]
pub struct Sheet {
    pose: Pose,
    /// Premultiplied RGBA.
    pixels: Vec<u8>,
    size: (usize, usize),
    at: (i64, i64),
}

/// Draws marks on one part of a picture.
#[derive(Debug)]
pub struct Brush {
    unit: f32,
    /// Left, top, width, height of what may be drawn on, pixels; all even.
    room: [usize; 4],
    rows: [Vec<u32>; 3],
}

impl Brush {
    /// For the part `room` (left, top, width, height, all even) of a picture of that size. A unit is 1/1080 of the
    /// picture's height, or of its width at 16:9 where that is less, and never less than at 405 lines.
    pub fn new((width, height): (usize, usize), room: [usize; 4]) -> Self {
        Self { unit: unit(width, height), room, rows: Default::default() }
    }

    /// Pixels of a unit.
    pub fn unit(&self) -> f32 {
        self.unit
    }

    /// What may be drawn on.
    pub fn room(&self) -> [usize; 4] {
        self.room
    }

    /// How long the mark takes to appear, seconds.
    pub fn appears(&self, mark: &Mark, points: &[(f32, f32)]) -> f64 {
        mark.kind.appears(path_units(mark, points, self.unit))
    }

    /// Draws a mark. Spotlights are not drawn by it (see [`Brush::darken`]), nor labels. `kept` is its drawing in the picture
    /// before: where nothing moved it is laid again.
    pub fn draw(&mut self, mark: &Mark, pose: &Pose, kept: &mut Option<Sheet>, on: &mut Picture) {
        if pose.seen <= 0.0 || pose.points.iter().any(|p| !(p.0.is_finite() && p.1.is_finite())) {
            return;
        }
        let still = Pose { seen: 1.0, ..pose.clone() };
        if kept.as_ref().is_none_or(|sheet| sheet.pose != still) {
            let shapes = shapes(mark, pose, self.unit);
            let mut pixels = kept.take().map(|sheet| sheet.pixels).unwrap_or_default();
            let Some([x, y, width, height]) = self.reach(&shapes) else { return };
            pixels.clear();
            pixels.resize(width * height * 4, 0);
            if let Some(mut drawing) = PixmapMut::from_bytes(&mut pixels, width as u32, height as u32) {
                let place = Transform::from_translate(-(x as f32), -(y as f32));
                self.fill(&shapes, mark.color.rgb(), &mut drawing, place);
            }
            *kept = Some(Sheet { pose: still, pixels, size: (width, height), at: (x as i64, y as i64) });
        }
        if let Some(sheet) = kept {
            self.blend(&sheet.pixels, sheet.size, sheet.at, pose.seen, on);
        }
    }

    /// Lays a drawing with its upper left corner at (`x`, `y`); what reaches past the room is left out.
    pub(super) fn lay(&mut self, drawing: &Pixmap, at: (i64, i64), seen: f32, on: &mut Picture) {
        self.blend(drawing.data(), (drawing.width() as usize, drawing.height() as usize), at, seen, on);
    }

    /// What the shapes reach over within the room: left, top, width, height.
    fn reach(&self, shapes: &[Shape]) -> Option<[usize; 4]> {
        let (mut low, mut high) = ((f32::MAX, f32::MAX), (f32::MIN, f32::MIN));
        for shape in shapes {
            let (points, wide) = match shape {
                Shape::Stroke { points, width, .. } => (points, width / 2.0),
                Shape::Area { points, .. } | Shape::Dark { points } => (points, 0.0),
            };
            let wide = wide + EDGE.1 * self.unit + 1.5;
            for &(x, y) in points {
                low = (low.0.min(x - wide), low.1.min(y - wide));
                high = (high.0.max(x + wide), high.1.max(y + wide));
            }
        }
        let [left, top, width, height] = self.room;
        let clip = |value: f32, least: usize, most: usize| (value.max(least as f32) as usize).min(most);
        let (x, y) = (clip(low.0.floor(), left, left + width) & !1, clip(low.1.floor(), top, top + height) & !1);
        let (to, foot) = (clip(high.0.ceil(), left, left + width), clip(high.1.ceil(), top, top + height));
        (to > x && foot > y).then(|| [x, y, to - x, foot - y])
    }

    fn fill(&self, shapes: &[Shape], color: Rgb, pixels: &mut PixmapMut<'_>, place: Transform) {
        let edge = EDGE.1 * self.unit;
        // All ink first: where two parts of a mark meet the color is one.
        for shape in shapes {
            match shape {
                Shape::Stroke { points, width, dash, closed } => {
                    line(points, width + 2.0 * edge, *dash, *closed, (paint::INK, EDGE.0), pixels, place);
                }
                Shape::Area { points, opacity } if *opacity >= 1.0 => {
                    fill(points, (paint::INK, EDGE.0), pixels, place);
                    line(points, 2.0 * edge, None, true, (paint::INK, EDGE.0), pixels, place);
                }
                Shape::Area { points, opacity } => fill(points, (color, *opacity), pixels, place),
                Shape::Dark { points } => fill(points, (paint::INK, SHADE), pixels, place),
            }
        }
        for shape in shapes {
            match shape {
                Shape::Stroke { points, width, dash, closed } => {
                    line(points, *width, *dash, *closed, (color, 1.0), pixels, place);
                }
                Shape::Area { points, opacity } if *opacity >= 1.0 => fill(points, (color, 1.0), pixels, place),
                _ => {}
            }
        }
    }

    /// Darkens the room but for the pools, in two flat steps; two pools do not darken each other.
    pub fn darken(&mut self, pools: &[Pool], on: &mut Picture) {
        let most = pools.iter().map(|pool| pool.seen).fold(0.0, f32::max);
        if most <= 0.0 {
            return;
        }
        let [left, top, width, height] = self.room;
        // Alpha of the ink: outside, between the ellipses, inside.
        let steps = [1.0 - (1.0 - STEP) * (1.0 - STEP), STEP, 0.0].map(|step| step * most * 255.0);
        let ink = paint::INK.ycbcr();
        let mut rows = [vec![0u8; width], vec![0u8; width]];
        let mut chroma = Vec::with_capacity(width / 2);
        for y in (0..height).step_by(2) {
            for (row, mask) in rows.iter_mut().enumerate() {
                mask.fill(steps[0] as u8);
                for (share, step) in [(POOL.2, 1), (1.0, 2)] {
                    for pool in pools {
                        let (across, down) = (POOL.0 * pool.height * share, POOL.1 * pool.height * share);
                        let off = (top + y + row) as f32 + 0.5 - (pool.feet.1 - pool.height / 2.0);
                        let inside = 1.0 - (off / down).powi(2);
                        if inside > 0.0 {
                            let wide = across * inside.sqrt();
                            // A pool that is only coming up is not yet as light.
                            let level = steps[0] + (steps[step] - steps[0]) * (pool.seen / most);
                            lighten(mask, pool.feet.0 - wide - left as f32, pool.feet.0 + wide - left as f32, level);
                        }
                    }
                }
            }
            for (row, mask) in rows.iter().enumerate() {
                let from = (top + y + row) * on.width + left;
                toward(on.planes[0].get_mut(from..(from + width)).unwrap_or_default(), mask, ink[0]);
            }
            let half = on.width.div_ceil(2);
            let from = (top + y) / 2 * half + left / 2;
            let pairs = rows[0].as_chunks::<2>().0.iter().zip(rows[1].as_chunks::<2>().0);
            chroma.clear();
            chroma.extend(pairs.map(|(a, b)| a[0].midpoint(b[1])));
            for plane in 1..3 {
                let samples = on.planes[plane].get_mut(from..from + width / 2).unwrap_or_default();
                toward(samples, &chroma, ink[plane]);
            }
        }
    }

    /// Blends premultiplied RGBA onto the picture (BT.709 limited), at any place, within the room.
    fn blend(&mut self, sheet: &[u8], size: (usize, usize), at: (i64, i64), seen: f32, on: &mut Picture) {
        let [left, top, width, height] = self.room;
        let (right, foot) = ((left + width).min(on.width), (top + height).min(on.height));
        let opacity = (seen.clamp(0.0, 1.0) * 256.0).round() as u32;
        let first = at.0.max(left as i64);
        let end = (at.0 + size.0 as i64).min(right as i64);
        if end <= first || opacity == 0 {
            return;
        }
        let half = on.width.div_ceil(2);
        // Chroma samples that are reached.
        let (low, high) = (first as usize / 2, (end as usize).div_ceil(2));
        let rows =
            at.1.max(top as i64) as usize / 2..((at.1 + size.1 as i64).clamp(0, foot as i64) as usize).div_ceil(2);
        for pair in rows {
            let mut any = false;
            self.rows.iter_mut().for_each(|row| {
                row.clear();
                row.resize(high - low, 0);
            });
            for y in [2 * pair, 2 * pair + 1] {
                let row = y as i64 - at.1;
                if y < top || y >= foot || row < 0 || row >= size.1 as i64 {
                    continue;
                }
                let from = (row as usize * size.0 + (first - at.0) as usize) * 4;
                let Some(pixels) = sheet.get(from..from + (end - first) as usize * 4) else { continue };
                let Some((skip, pixels)) = seen_part(pixels) else { continue };
                any = true;
                let x = first as usize + skip;
                let start = y * on.width + x;
                let Some(luma) = on.planes[0].get_mut(start..start + pixels.len()) else { continue };
                for (p, rgba) in luma.iter_mut().zip(pixels) {
                    let [r, g, b, a] = rgba.map(|v| (u32::from(v) * opacity) >> 8);
                    // 219 times Kr, Kg, Kb of BT.709, 8 bits behind the point; black is 16.
                    let add = ((11919 * r + 40097 * g + 4048 * b) >> 8) + 16 * a;
                    let sum = u32::from(*p) * (255 - a) + add + 128;
                    *p = ((sum + (sum >> 8)) >> 8) as u8;
                }
                let [cb, cr, alpha] = &mut self.rows;
                for (k, rgba) in pixels.iter().enumerate() {
                    let at = (x + k) / 2 - low;
                    let [r, g, b, a] = rgba.map(|v| (i32::from(v) * opacity as i32) >> 8);
                    // 224 times BT.709's color differences, 8 bits behind the point, around 128.
                    cb[at] += ((32768 * a - 6570 * r - 22102 * g + 28672 * b) >> 8).max(0) as u32;
                    cr[at] += ((32768 * a + 28672 * r - 26043 * g - 2629 * b) >> 8).max(0) as u32;
                    alpha[at] += a as u32;
                }
            }
            if !any {
                continue;
            }
            for plane in 1..3 {
                let from = pair * half + low;
                let Some(chroma) = on.planes[plane].get_mut(from..from + high - low) else { continue };
                for ((p, add), alpha) in chroma.iter_mut().zip(&self.rows[plane - 1]).zip(&self.rows[2]) {
                    // Four pixels of 255 each.
                    let stays = 1020 - (*alpha).min(1020);
                    *p = ((u32::from(*p) * stays + add + 510) / 1020).min(255) as u8;
                }
            }
        }
    }
}

/// Pixels of a unit in a picture of that size.
pub(super) fn unit(width: usize, height: usize) -> f32 {
    ((height as f64).min(width as f64 * 9.0 / 16.0).max(SMALLEST) / 1080.0) as f32
}

/// The stretch of a row in which anything is drawn, and where it begins; found by pieces, of which most are empty.
fn seen_part(pixels: &[u8]) -> Option<(usize, &[[u8; 4]])> {
    const PIECE: usize = 64;
    let is_drawn = |piece: &[u8]| piece.iter().fold(0, |all, byte| all | byte) != 0;
    let first = pixels.chunks(PIECE).position(is_drawn)?;
    let last = pixels.chunks(PIECE).rposition(is_drawn)?;
    let from = first * PIECE;
    let (pixels, _) = pixels[from..((last + 1) * PIECE).min(pixels.len())].as_chunks::<4>();
    Some((from / 4, pixels))
}

/// Lowers the mask to `level` between two places, by their share at the edges.
fn lighten(mask: &mut [u8], from: f32, to: f32, level: f32) {
    let (from, to) = (from.max(0.0), to.min(mask.len() as f32));
    if to <= from {
        return;
    }
    let (first, last) = (from.ceil() as usize, to.floor() as usize);
    if first < last {
        mask[first..last].iter_mut().for_each(|m| *m = (*m).min(level as u8));
    }
    let mut part = |at: usize, share: f32| {
        if let Some(m) = mask.get_mut(at) {
            let there = f32::from(*m);
            *m = (*m).min((there + (level - there) * share) as u8);
        }
    };
    if first > 0 {
        part(first - 1, first as f32 - from);
    }
    part(last, to - last as f32);
}

/// Brings samples toward a value by an alpha each.
fn toward(samples: &mut [u8], mask: &[u8], value: u8) {
    for (p, a) in samples.iter_mut().zip(mask) {
        let (a, sum) = (u16::from(*a), u16::from(*p) * (255 - u16::from(*a)));
        let sum = sum + u16::from(value) * a + 128;
        *p = (sum.wrapping_add(sum >> 8) >> 8) as u8;
    }
}

fn outline(points: &[Point], closed: bool) -> Option<tiny_skia::Path> {
    let mut path = PathBuilder::new();
    let (first, rest) = points.split_first()?;
    path.move_to(first.0, first.1);
    rest.iter().for_each(|p| path.line_to(p.0, p.1));
    if closed {
        path.close();
    }
    path.finish()
}

fn colored((Rgb([r, g, b]), alpha): (Rgb, f32)) -> Paint<'static> {
    let mut paint = Paint { anti_alias: true, ..Paint::default() };
    paint.set_color_rgba8(r, g, b, (alpha * 255.0).round() as u8);
    paint
}

fn fill(points: &[Point], color: (Rgb, f32), pixels: &mut PixmapMut<'_>, place: Transform) {
    if let Some(path) = outline(points, true) {
        pixels.fill_path(&path, &colored(color), FillRule::Winding, place, None);
    }
}

fn line(
    points: &[Point],
    width: f32,
    dash: Option<(f32, f32)>,
    closed: bool,
    color: (Rgb, f32),
    pixels: &mut PixmapMut<'_>,
    place: Transform,
) {
    let Some(path) = outline(points, closed) else { return };
    let dash = dash.and_then(|(on, off)| StrokeDash::new(vec![on, off], 0.0));
    // Round ends reach half a width past every dash: those stay butt, or the gaps would close.
    let line_cap = if dash.is_some() { LineCap::Butt } else { LineCap::Round };
    // Bends are points close together: a round join at each would cost more than the stroke, and is not seen.
    let line_join = if points.len() > 8 { LineJoin::Miter } else { LineJoin::Round };
    let stroke = Stroke { width, line_cap, line_join, dash, ..Stroke::default() };
    pixels.stroke_path(&path, &colored(color), &stroke, place, None);
}

#[cfg(test)]
mod tests;
