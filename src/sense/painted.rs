//! Painted film for the tests of this room: turf with lines, men of a trunk and legs, a camera that pans and zooms.

use crate::base::{FrameNo, Result};
use crate::film::{Decode, FrameSource, Picture, PictureView};

const W: usize = 480;
const H: usize = 270;

/// Where the camera looks, half picture widths, and how much larger it shows things.
#[derive(Debug, Clone, Copy)]
pub struct Eye {
    pub x: f64,
    pub y: f64,
    pub zoom: f64,
}

impl Eye {
    /// The place on the turf that is seen at a share of the picture.
    pub fn place(&self, at: (f64, f64)) -> (f64, f64) {
        (self.x + (2.0 * at.0 - 1.0) / self.zoom, self.y + (at.1 - 0.5) * 1.125 / self.zoom)
    }

    /// Where a place is seen.
    pub fn seen(&self, at: (f64, f64)) -> (f64, f64) {
        (((at.0 - self.x) * self.zoom + 1.0) / 2.0, (at.1 - self.y) * self.zoom / 1.125 + 0.5)
    }
}

/// A man who runs evenly.
#[derive(Debug, Clone, Copy)]
pub struct Man {
    pub from: (f64, f64),
    /// A frame.
    pub pace: (f64, f64),
    pub shirt: [u8; 3],
}

impl Man {
    /// Share of the picture's height at zoom 1.
    pub const TALL: f64 = 0.12;

    pub fn at(&self, frame: u64) -> (f64, f64) {
        (self.from.0 + self.pace.0 * frame as f64, self.from.1 + self.pace.1 * frame as f64)
    }

    /// His color at a place, feet at (0, 0), upward negative; heights of the man.
    fn color(&self, x: f64, y: f64, stride: f64) -> Option<[u8; 3]> {
        let legs = 0.2 * stride;
        match -y {
            v if (0.88..1.0).contains(&v) && x.abs() < 0.08 => Some([60, 128, 128]),
            v if (0.48..0.88).contains(&v) && x.abs() < 0.17 => Some(self.shirt),
            v if (0.0..0.48).contains(&v) && (x - legs * (0.48 - v)).abs() < 0.14 => {
                Some(if v < 0.1 { [30, 128, 128] } else { [200, 128, 128] })
            }
            _ => None,
        }
    }
}

/// What there is to see.
#[derive(Debug, Clone, Default)]
pub struct Scene {
    pub men: Vec<Man>,
    /// A frame that is all but white.
    pub flash: Option<u64>,
}

impl Scene {
    fn color(&self, x: f64, y: f64, frame: u64) -> [u8; 3] {
        let tall = Man::TALL * 1.125;
        for man in self.men.iter().rev() {
            let at = man.at(frame);
            let stride = (0.6 * frame as f64).sin();
            if let Some(color) = man.color((x - at.0) / tall, (y - at.1) / tall, stride) {
                return color;
            }
        }
        let far = y > 20.0;
        let line = (x * 2.0).rem_euclid(1.0) < 0.02 || (y * 2.0).rem_euclid(1.0) < 0.02;
        let waves: f64 = (1..7)
            .map(|k| {
                let k = f64::from(k);
                4.0 * ((x * (k * 2.3).sin() + y * (k * 2.3).cos()) * k.powf(1.4) * 2.1 + k * k).sin()
            })
            .sum();
        let ground = if far { 150.0 + 3.0 * waves } else { 90.0 + waves };
        if line && !far { [200, 126, 126] } else { [ground.clamp(16.0, 235.0) as u8, 112, 110] }
    }

    fn draw(&self, eye: &Eye, frame: u64) -> Picture {
        let mut picture = Picture::filled(W, H, [0, 128, 128]);
        for y in 0..H {
            for x in 0..W {
                let mut sum = 0u32;
                for k in 0..4 {
                    let px = (x as f64 + 0.25 + 0.5 * f64::from(k % 2)) / W as f64;
                    let py = (y as f64 + 0.25 + 0.5 * f64::from(k / 2)) / H as f64;
                    let place = eye.place((px, py));
                    let color = self.color(place.0, place.1, frame);
                    sum += u32::from(color[0]);
                    if k == 0 && x % 2 == 0 && y % 2 == 0 {
                        let c = y / 2 * (W / 2) + x / 2;
                        picture.planes[1][c] = color[1];
                        picture.planes[2][c] = color[2];
                    }
                }
                let luma = sum / 4;
                picture.planes[0][y * W + x] =
                    if self.flash == Some(frame) { 200 + (luma / 5) as u8 } else { luma as u8 };
            }
        }
        picture
    }
}

/// The scene as film.
pub struct Painted {
    pictures: Vec<Picture>,
    next: usize,
}

/// A frame for each eye, 15 a second.
pub fn frames(scene: &Scene, eyes: &[Eye]) -> Painted {
    let pictures = eyes.iter().enumerate().map(|(n, eye)| scene.draw(eye, n as u64)).collect();
    Painted { pictures, next: 0 }
}

impl FrameSource for Painted {
    fn next_frame(&mut self) -> Result<Option<PictureView<'_>>> {
        let n = self.next;
        self.next += 1;
        Ok(self.pictures.get(n).map(|p| p.view(FrameNo(n as u64), n as f64 / 15.0)))
    }

    fn seek(&mut self, to: FrameNo) -> Result<()> {
        self.next = to.0 as usize;
        Ok(())
    }

    fn leave_out(&mut self, _how: Decode) {}
}

#[test]
fn an_eye_sees_a_place_where_it_looks_for_it() {
    let eye = Eye { x: 0.3, y: -0.1, zoom: 1.4 };
    let at = eye.seen(eye.place((0.2, 0.7)));
    assert!((at.0 - 0.2).hypot(at.1 - 0.7) < 1e-9);
}
