//! What a camera goes through without being stopped is no cut: a tower that shakes, flashes, a whip pan, a person at the
//! lens, a step of exposure. And a cut to the same turf beside all that is one, to the frame.
//!
//! The pictures are painted here and come through no codec, so that nothing of ours or of FFmpeg's has a hand in them.

use downbox::base::{Rate, Silent};
use downbox::film::scripted::{Footage, part};
use downbox::film::{Film, Picture};
use downbox::sense;

const W: usize = 240;
const H: usize = 135;
const RATE: Rate = Rate { num: 30, den: 1 };

/// The same for the same numbers, 0 to 1.
fn chance(a: i64, b: i64, c: i64) -> f32 {
    let mut x = (a as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15)
        ^ (b as u64).wrapping_mul(0xC2B2_AE3D_27D4_EB4F)
        ^ (c as u64).wrapping_mul(0x1656_67B1_9E37_79F9);
    x = (x ^ (x >> 31)).wrapping_mul(0xD6E8_FEB8_6659_FD93);
    ((x ^ (x >> 32)) & 0xFF_FFFF) as f32 / 16_777_216.0
}

/// Mown turf with its lines, and a stand above it, as gray values: wide enough to pan over.
struct Ground {
    width: usize,
    height: usize,
    gray: Vec<f32>,
}

impl Ground {
    fn new() -> Self {
        let (width, height) = (1400, 320);
        let smooth = |x: f32, y: f32, step: f32, kind: i64| {
            let (a, b) = ((x / step).floor(), (y / step).floor());
            let (u, v) = (x / step - a, y / step - b);
            let at = |i: i64, j: i64| chance(a as i64 + i, b as i64 + j, kind);
            let upper = at(0, 0) * (1.0 - u) + at(1, 0) * u;
            let lower = at(0, 1) * (1.0 - u) + at(1, 1) * u;
            upper * (1.0 - v) + lower * v - 0.5
        };
        let mut gray = Vec::with_capacity(width * height);
        for y in 0..height {
            for x in 0..width {
                let (fx, fy) = (x as f32, y as f32);
                let stand = y < 90;
                let grain = smooth(fx, fy, 3.0, 1) * if stand { 70.0 } else { 8.0 };
                let patch = smooth(fx, fy, 17.0, 2) * if stand { 50.0 } else { 14.0 };
                // A line every 5 yards, leaning with the view.
                let line = !stand && (fx + 0.35 * fy).rem_euclid(52.0) < 2.0;
                gray.push(if line { 205.0 } else { 95.0 + grain + patch });
            }
        }
        Self { width, height, gray }
    }

    fn at(&self, x: f32, y: f32) -> f32 {
        let x = x.clamp(0.0, (self.width - 2) as f32);
        let y = y.clamp(0.0, (self.height - 2) as f32);
        let (i, j) = (x as usize, y as usize);
        let (u, v) = (x - i as f32, y - j as f32);
        let row = |j: usize| self.gray[j * self.width + i] * (1.0 - u) + self.gray[j * self.width + i + 1] * u;
        row(j) * (1.0 - v) + row(j + 1) * v
    }
}

/// What happens in a frame.
#[derive(Clone, Copy, Default)]
struct Happens {
    /// Where the camera looks, and where it looked a moment before (blur).
    at: (f32, f32),
    from: (f32, f32),
    gain: f32,
    bright: f32,
    /// Left edge of a person at the lens.
    person: Option<f32>,
    /// Which stretch of play, for the men's places.
    scene: i64,
    /// Seconds.
    time: f32,
}

fn draw(ground: &Ground, h: Happens) -> Picture {
    let mut out = Picture::filled(W, H, [100, 100, 110]);
    const BLUR: usize = 4;
    // Men: places of their own in each scene, running from the second second on.
    let men: Vec<(f32, f32, f32)> = (0..22)
        .map(|k| {
            let c = |n| chance(h.scene, k, n);
            let run = (h.time - 2.0).clamp(0.0, 4.0) * (c(3) - 0.5) * 24.0;
            (520.0 + c(1) * 150.0 + run, 130.0 + c(2) * 80.0, if k < 11 { 210.0 } else { 45.0 })
        })
        .collect();
    for y in 0..H {
        for x in 0..W {
            let mut sum = 0.0;
            for k in 0..BLUR {
                let f = k as f32 / BLUR as f32;
                let px = x as f32 + h.from.0 + f * (h.at.0 - h.from.0);
                let py = y as f32 + h.from.1 + f * (h.at.1 - h.from.1);
                let man = men.iter().find(|m| (px - m.0).abs() < 2.5 && (py - m.1).abs() < 6.0);
                sum += man.map_or_else(|| ground.at(px, py), |m| m.2);
            }
            let mut value = sum / BLUR as f32;
            if h.person.is_some_and(|left| (left..left + 60.0).contains(&(x as f32)) && y > 20) {
                value = 30.0 + 12.0 * chance(x as i64 / 3, y as i64 / 3, 9);
            }
            out.planes[0][y * W + x] = (value * h.gain + h.bright).clamp(0.0, 255.0) as u8;
        }
    }
    out
}

/// A take of 14 s in which all of it happens, one after the other.
fn take(n: u64) -> Happens {
    let view = |n: u64| {
        let t = n as f32 / 30.0;
        let (mut x, mut y) = (480.0 + 6.0 * t, 90.0);
        // The tower shakes for a second and a half: 8 pixels of 240 to either side, six times a second.
        if (30..75).contains(&n) {
            x += 8.0 * (38.0 * t).sin();
            y += 6.0 * (31.0 * t).sin();
        }
        // A whip pan: half a picture in half a second, and back.
        let whip = |from: u64| ((n.saturating_sub(from)) as f32 / 15.0).min(1.0);
        let ease = |f: f32| f * f * (3.0 - 2.0 * f);
        x += 130.0 * (ease(whip(150)) - ease(whip(190)));
        (x, y)
    };
    let bright = match n {
        100 | 101 | 118 => 110.0,
        104 => 60.0,
        _ => 0.0,
    };
    Happens {
        at: view(n),
        from: {
            let (a, b) = (view(n.saturating_sub(1)), view(n));
            ((a.0 + b.0) / 2.0, (a.1 + b.1) / 2.0)
        },
        gain: if (330..).contains(&n) { 0.75 } else { 1.0 },
        bright,
        person: (250..290).contains(&n).then(|| (n - 250) as f32 * 8.0 - 70.0),
        scene: 1,
        time: n as f32 / 30.0,
    }
}

fn cuts(frames: u64, happens: impl Fn(u64) -> Happens + Sync + Send + 'static) -> Vec<u64> {
    let ground = Ground::new();
    let film = Film { parts: vec![part("take.mp4", frames, RATE)], problems: vec![] };
    let draw = Box::new(move |n| draw(&ground, happens(n)));
    sense::measure(&Footage { film: film.clone(), draw, hear: None }, &film, &Silent).unwrap().cuts
}

#[test]
fn shake_flash_whip_pan_person_and_exposure_are_no_cuts() {
    assert_eq!(cuts(420, take), [0u64; 0]);
}

#[test]
fn a_cut_to_the_same_turf_is_one_before_between_and_after_all_that() {
    // In the midst of a shake, a flash or a whip pan, or with half the picture covered, one is not promised: there every
    // frame differs from the one before as two shots of the same turf do.
    for at in [20u64, 110, 300] {
        // The next play, filmed from the same place: other men on the same turf, a little to the side.
        let cut = move |n: u64| {
            let h = take(n);
            let aside = |(x, y): (f32, f32)| (x + 22.0, y + 5.0);
            if n < at { h } else { Happens { at: aside(h.at), from: aside(h.from), scene: 2, ..h } }
        };
        assert_eq!(cuts(at + 40, cut), [at]);
    }
}
