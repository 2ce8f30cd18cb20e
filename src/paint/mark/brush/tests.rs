use super::*;
use crate::paint::mark::{Head, MarkColor, MarkKind};

fn mark(kind: MarkKind) -> Mark {
    Mark { kind, color: MarkColor::Ours, thickness: 1.0, dashed: false, head: Head::Arrow }
}

fn pose(points: &[Point], seen: f32) -> Pose {
    Pose { points: points.to_vec(), size: (300.0, 200.0), grown: 1.0, seen }
}

fn at(picture: &Picture, x: usize, y: usize) -> [u8; 3] {
    let half = picture.width / 2;
    let c = y / 2 * half + x / 2;
    [picture.planes[0][y * picture.width + x], picture.planes[1][c], picture.planes[2][c]]
}

const TURF: [u8; 3] = [100, 110, 112];

#[test]
fn a_stroke_has_its_color_its_ink_and_leaves_the_rest_alone() {
    let mut picture = Picture::filled(1920, 1080, TURF);
    let mut brush = Brush::new((1920, 1080), [0, 0, 1920, 1080]);
    brush.draw(&mark(MarkKind::Line), &pose(&[(200.0, 500.0), (800.0, 500.0)], 1.0), &mut None, &mut picture);
    let near = |got: [u8; 3], want: [u8; 3]| got.iter().zip(want).all(|(g, w)| g.abs_diff(w) <= 1);
    assert!(near(at(&picture, 500, 500), paint::FLAG.ycbcr()), "{:?}", at(&picture, 500, 500));
    // 7 wide with 3 of ink at 85 % on either side: at 5 from the middle lies ink.
    let ink = paint::INK.ycbcr();
    let want = [0, 1, 2].map(|k| (f32::from(ink[k]) * 0.85 + f32::from(TURF[k]) * 0.15).round() as u8);
    let got = at(&picture, 500, 505);
    assert!(got[0].abs_diff(want[0]) <= 2, "{got:?} {want:?}");
    for (x, y) in [(500, 485), (500, 515), (180, 500), (820, 500), (0, 0), (1919, 1079)] {
        assert_eq!(at(&picture, x, y), TURF, "{x} {y}");
    }
}

#[test]
fn what_is_half_seen_lies_between_and_nothing_is_drawn_outside_the_room() {
    let line = [(-500.0, 300.0), (3000.0, 300.0)];
    let mut half = Picture::filled(1920, 1080, TURF);
    let room = [960, 0, 960, 1080];
    let mut brush = Brush::new((1920, 1080), room);
    brush.draw(&mark(MarkKind::Arrow), &pose(&line, 0.5), &mut None, &mut half);
    let flag = paint::FLAG.ycbcr();
    let got = at(&half, 1200, 300);
    for k in 0..3 {
        let want = (u16::from(flag[k]) + u16::from(TURF[k])) / 2;
        assert!(u16::from(got[k]).abs_diff(want) <= 1, "{got:?}");
    }
    assert!((0..1080).all(|y| (0..960).all(|x| at(&half, x, y) == TURF)));
    for bad in [f32::NAN, f32::INFINITY] {
        let before = half.clone();
        brush.draw(&mark(MarkKind::Arrow), &pose(&[(bad, 1.0), (5.0, 5.0)], 1.0), &mut None, &mut half);
        assert_eq!(half, before);
    }
}

#[test]
fn a_zone_is_seen_through_and_a_shade_darkens_its_area_alone() {
    let corners = [(300.0, 300.0), (700.0, 300.0), (700.0, 700.0), (300.0, 700.0)];
    let mut picture = Picture::filled(1920, 1080, TURF);
    let mut brush = Brush::new((1920, 1080), [0, 0, 1920, 1080]);
    brush.draw(&mark(MarkKind::Zone), &pose(&corners, 1.0), &mut None, &mut picture);
    let flag = paint::FLAG.ycbcr();
    let got = at(&picture, 500, 500);
    let want = [0, 1, 2].map(|k| (f32::from(flag[k]) * 0.2 + f32::from(TURF[k]) * 0.8).round() as u8);
    assert!(got.iter().zip(want).all(|(g, w)| g.abs_diff(w) <= 2), "{got:?} {want:?}");
    let mut dark = Picture::filled(1920, 1080, TURF);
    brush.draw(&mark(MarkKind::Shade), &pose(&[(500.0, 500.0)], 1.0), &mut None, &mut dark);
    // An ellipse of 300 x 200 around one point.
    assert!(at(&dark, 640, 500)[0] < 65 && at(&dark, 500, 590)[0] < 65);
    assert_eq!((at(&dark, 660, 500), at(&dark, 640, 590)), (TURF, TURF));
}

#[test]
fn a_spotlight_leaves_the_men_as_they_were_and_two_do_not_darken_each_other() {
    let mut picture = Picture::filled(1920, 1080, TURF);
    let mut brush = Brush::new((1920, 1080), [0, 0, 1920, 1080]);
    let pool = |x: f32| Pool { feet: (x, 600.0), height: 100.0, seen: 1.0 };
    brush.darken(&[pool(500.0), pool(600.0)], &mut picture);
    let shade = |share: f32, k: usize| {
        (f32::from(paint::INK.ycbcr()[k]) * share + f32::from(TURF[k]) * (1.0 - share)).round() as u8
    };
    for (x, y, share) in [(500, 550, 0.0), (600, 550, 0.0), (556, 550, 0.0), (668, 550, 0.36), (1500, 200, 0.59)] {
        let got = at(&picture, x, y);
        assert!((0..3).all(|k| got[k].abs_diff(shade(share, k)) <= 2), "{x} {y}: {got:?}");
    }
    // The light comes up evenly: at half there is half of the darkness.
    let mut half = Picture::filled(1920, 1080, TURF);
    brush.darken(&[Pool { seen: 0.5, ..pool(500.0) }], &mut half);
    assert!(at(&half, 1500, 200)[0].abs_diff(shade(0.295, 0)) <= 2);
    let whole = half.clone();
    brush.darken(&[Pool { seen: 0.0, ..pool(500.0) }], &mut half);
    assert_eq!(half, whole);
}
