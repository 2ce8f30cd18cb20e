//! Tests of the registration.

use super::*;
use crate::sense::small::Small;

/// A scene with texture and lines, seen through a map: later(x) = scene(map(x)).
fn seen(map: &Homography, gain: f32, bias: f32, man: Option<f64>) -> Small {
    let scene = |x: f64, y: f64| {
        let line = if (x * 6.0).rem_euclid(1.0) < 0.08 { 60.0 } else { 0.0 };
        // Waves of no common period, as turf, crowd and stands have none.
        let waves: f64 = (1..9)
            .map(|k| {
                let k = f64::from(k);
                7.0 * ((x * (k * 2.3).sin() + y * (k * 2.3).cos()) * k.powf(1.4) * 2.1 + k * k).sin()
            })
            .sum();
        100.0 + waves + line
    };
    let mut luma = vec![0; WIDTH * HEIGHT];
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            let mut sum = 0.0;
            for k in 0..9 {
                let px = (x as f64 + (f64::from(k % 3) + 0.5) / 3.0 - 120.0) / 120.0;
                let py = (y as f64 + (f64::from(k / 3) + 0.5) / 3.0 - 67.5) / 120.0;
                let m = map.0;
                let w = m[2][0] * px + m[2][1] * py + m[2][2];
                let u = (m[0][0] * px + m[0][1] * py + m[0][2]) / w;
                let v = (m[1][0] * px + m[1][1] * py + m[1][2]) / w;
                sum += match man {
                    Some(at) if (u - at).abs() < 0.06 && v.abs() < 0.12 => 230.0,
                    _ => scene(u, v),
                };
            }
            luma[y * WIDTH + x] = (gain * sum as f32 / 9.0 + bias).round().clamp(0.0, 255.0) as u8;
        }
    }
    Small { frame: 0, time: 0.0, luma, cb: vec![], cr: vec![] }
}

/// Greatest error of a map at the corners, in small-picture pixels.
fn error(a: &Homography, b: &Homography) -> f64 {
    let at = |m: &Homography, x: f64, y: f64| {
        let w = m.0[2][0] * x + m.0[2][1] * y + m.0[2][2];
        ((m.0[0][0] * x + m.0[0][1] * y + m.0[0][2]) / w, (m.0[1][0] * x + m.0[1][1] * y + m.0[1][2]) / w)
    };
    [(-1.0, -0.56), (1.0, -0.56), (-1.0, 0.56), (1.0, 0.56)]
        .iter()
        .map(|&(x, y)| {
            let (p, q) = (at(a, x, y), at(b, x, y));
            120.0 * (p.0 - q.0).hypot(p.1 - q.1)
        })
        .fold(0.0, f64::max)
}

#[test]
fn a_known_movement_is_found_to_a_third_of_a_pixel() {
    for map in [
        Homography::IDENTITY,
        Homography::shift(0.031, -0.012),
        Homography::shift(-0.22, 0.02),
        Homography([[1.02, 0.01, 0.05], [-0.008, 1.015, -0.02], [0.01, -0.006, 1.0]]),
    ] {
        let earlier = Pyramid::of(&seen(&Homography::IDENTITY, 1.0, 0.0, None));
        let later = Pyramid::of(&seen(&map, 1.0, 0.0, None));
        let mut registrar = Registrar::default();
        let found = registrar.register(&later, &earlier, &Homography::IDENTITY);
        assert!(error(&found.map, &map) < 0.3, "{map:?}: {found:?}, off by {}", error(&found.map, &map));
        assert!(!found.is_bad() && found.sigma < 1.5, "{found:?}");
    }
}

#[test]
fn brightness_and_a_man_do_not_move_the_camera() {
    let map = Homography::shift(0.04, 0.01);
    let earlier = Pyramid::of(&seen(&Homography::IDENTITY, 1.0, 0.0, Some(-0.2)));
    let later = Pyramid::of(&seen(&map, 0.9, 12.0, Some(-0.1)));
    let found = Registrar::default().register(&later, &earlier, &Homography::IDENTITY);
    assert!(error(&found.map, &map) < 0.3, "{found:?}, off by {}", error(&found.map, &map));
    assert!((found.gain - 0.9).abs() < 0.02 && (found.bias - 12.0).abs() < 2.0, "{found:?}");
}

#[test]
fn another_scene_is_bad() {
    let earlier = Pyramid::of(&seen(&Homography::IDENTITY, 1.0, 0.0, None));
    let mut other = seen(&Homography::IDENTITY, 1.0, 0.0, None);
    for (k, sample) in other.luma.iter_mut().enumerate() {
        *sample = ((k * 7919) % 251) as u8;
    }
    assert!(Registrar::default().register(&Pyramid::of(&other), &earlier, &Homography::IDENTITY).is_bad());
}
