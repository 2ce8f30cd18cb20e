//! A picture seen through a homography.

use super::homography::Homography;
use super::level::Plane;
use super::normal::RAMP;
use super::small::{HEIGHT, WIDTH};

/// Bilinear sampling of a row through a map.
#[derive(Debug)]
pub struct Warp {
    u: [f32; WIDTH],
    v: [f32; WIDTH],
    at: [u32; WIDTH],
}

impl Default for Warp {
    fn default() -> Self {
        Self { u: [0.0; WIDTH], v: [0.0; WIDTH], at: [0; WIDTH] }
    }
}

impl Warp {
    /// Row `y` of level `level` as seen through `map` in `plane`; `covered` is 1 where it lies inside, else 0.
    pub fn row(
        &mut self,
        plane: &Plane,
        map: &Homography,
        y: usize,
        level: usize,
        out: &mut [f32],
        covered: &mut [f32],
    ) {
        let w = plane.width;
        let scale = (1 << level) as f32 / (WIDTH as f32 / 2.0);
        let tall = HEIGHT as f32 / WIDTH as f32;
        let m = map.0.map(|row| row.map(|v| v as f32));
        let ny = (y as f32 + 0.5) * scale - tall;
        let (a, b, c) = (m[0][1] * ny + m[0][2], m[1][1] * ny + m[1][2], m[2][1] * ny + m[2][2]);
        let (right, bottom) = ((w - 1) as f32, (plane.height - 1) as f32);
        let back = 1.0 / scale;
        let (us, vs, ats) = (&mut self.u[..w], &mut self.v[..w], &mut self.at[..w]);
        for ((u, v), x) in us.iter_mut().zip(vs.iter_mut()).zip(&RAMP[..w]) {
            let nx = (x + 0.5) * scale - 1.0;
            let over = back / (m[2][0] * nx + c);
            *u = (m[0][0] * nx + a) * over + back - 0.5;
            *v = (m[1][0] * nx + b) * over + back * tall - 0.5;
        }
        let stride = w as f32;
        for (((u, v), at), c) in us.iter_mut().zip(vs.iter_mut()).zip(ats.iter_mut()).zip(covered.iter_mut()) {
            let (x, y) = (u.max(0.0).min(right - 0.001), v.max(0.0).min(bottom - 0.001));
            let inside = (x - *u).abs().max((y - *v).abs()) < 0.002;
            *c = if inside { 1.0 } else { 0.0 };
            let (fx, fy) = ((x - 0.4999 + WHOLE) - WHOLE, (y - 0.4999 + WHOLE) - WHOLE);
            *at = (fy * stride + fx + WHOLE).to_bits().wrapping_sub(WHOLE.to_bits());
            *u = x - fx;
            *v = y - fy;
        }
        let data = &plane.data[..];
        for (((fx, fy), at), t) in us.iter().zip(vs.iter()).zip(ats.iter()).zip(out.iter_mut()) {
            let at = *at as usize;
            // Never outside: the coordinates were clamped; a map of NaNs reads nothing.
            let Some(quad) = data.get(at..at + w + 2) else {
                *t = 0.0;
                continue;
            };
            let top = quad[0] + fx * (quad[1] - quad[0]);
            let low = quad[w] + fx * (quad[w + 1] - quad[w]);
            *t = top + fy * (low - top);
        }
    }
}

/// Adding and subtracting this rounds a small float to a whole number in its lowest bits, eight at a time; the
/// language's own conversion saturates, one at a time.
const WHOLE: f32 = 12_582_912.0;
