//! What each kind of mark is made of.

use std::f32::consts::PI;

use super::path::{Point, apart, arc, cut, dashes, heading, length, rounded};
use super::{Head, Mark, MarkKind, Pose};

/// A stroke or a filled area, in pixels.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Shape {
    /// A line of that width; lengths drawn and left out.
    Stroke { points: Vec<Point>, width: f32, dash: Option<(f32, f32)>, closed: bool },
    /// An area in the mark's color: solid on an ink edge, or seen through.
    Area { points: Vec<Point>, opacity: f32 },
    /// An area darkened by ink.
    Dark { points: Vec<Point> },
}

/// Opening of a ring at its far side, degrees: it seems to pass behind the man's legs.
const OPEN: f32 = 76.0;
/// Corner of a route.
const ROUND: f32 = 26.0;
/// Length and width of an arrow's head, and its notch.
const HEAD: (f32, f32, f32) = (34.0, 31.0, 0.2);
/// The bar at the end of a block.
const BAR: f32 = 56.0;
/// Dashes of a path, and of a zone's edge.
const PATH_DASH: (f32, f32) = (24.0, 18.0);
const ZONE_DASH: (f32, f32) = (26.0, 16.0);
/// Share of a zone's color in its area.
const ZONE_FILL: f32 = 0.2;

/// The length of the mark's path in units.
pub(super) fn path_units(mark: &Mark, points: &[Point], unit: f32) -> f32 {
    match mark.kind {
        MarkKind::Route => length(&rounded(points, ROUND * unit)) / unit,
        _ => length(points) / unit,
    }
}

/// What the mark is made of, the lowest first. `unit`: pixels of a unit.
pub(super) fn shapes(mark: &Mark, pose: &Pose, unit: f32) -> Vec<Shape> {
    let Some(&at) = pose.points.first() else { return Vec::new() };
    let thick = mark.thickness * unit;
    let half = (pose.size.0 / 2.0, pose.size.1 / 2.0);
    let dash = |points: &[Point], kind: (f32, f32)| {
        mark.dashed.then(|| dashes(length(points), (kind.0 * unit, kind.1 * unit))).flatten()
    };
    match mark.kind {
        MarkKind::Ring => {
            // Clockwise from the right of the opening, which is above.
            let open = OPEN.to_radians();
            let from = -PI / 2.0 + open / 2.0;
            let whole = arc(at, half, from, from + 2.0 * PI - open);
            let dash = dash(&whole, PATH_DASH);
            let points = cut(&whole, length(&whole) * pose.grown);
            vec![Shape::Stroke { points, width: 7.0 * thick, dash, closed: false }]
        }
        MarkKind::Arrow | MarkKind::Route => {
            let bends = if mark.kind == MarkKind::Route { ROUND * unit } else { 0.0 };
            let whole = rounded(&pose.points, bends);
            path(mark, &cut(&whole, length(&whole) * pose.grown), dash(&whole, PATH_DASH), thick)
        }
        MarkKind::Line => {
            let points = cut(&pose.points, length(&pose.points) * pose.grown);
            vec![Shape::Stroke { points, width: 7.0 * thick, dash: dash(&pose.points, PATH_DASH), closed: false }]
        }
        MarkKind::Zone => {
            let points = area(&pose.points, half);
            let edge = length(&points) + points.last().zip(points.first()).map_or(0.0, |(a, b)| apart(*a, *b));
            // A closed edge has no end to fall on a dash: it holds a whole number of dashes and gaps.
            let pair = (ZONE_DASH.0 + ZONE_DASH.1) * unit;
            let stretch = edge / ((edge / pair).round().max(1.0) * pair);
            let dash = Some((ZONE_DASH.0 * unit * stretch, ZONE_DASH.1 * unit * stretch));
            vec![
                Shape::Area { points: points.clone(), opacity: ZONE_FILL },
                Shape::Stroke { points, width: 5.0 * thick, dash, closed: true },
            ]
        }
        MarkKind::Shade => vec![Shape::Dark { points: area(&pose.points, half) }],
        // A spotlight is drawn by what it leaves light, a label by its plate.
        MarkKind::Spotlight | MarkKind::Label => Vec::new(),
    }
}

/// An area: its corners, or an ellipse around its one point.
fn area(points: &[Point], half: (f32, f32)) -> Vec<Point> {
    match points {
        [center] => {
            let mut points = arc(*center, half, 0.0, 2.0 * PI);
            points.pop();
            points
        }
        _ => points.to_vec(),
    }
}

/// A path as far as it is drawn, with its end.
fn path(mark: &Mark, points: &[Point], dash: Option<(f32, f32)>, thick: f32) -> Vec<Shape> {
    let Some(&end) = points.last() else { return Vec::new() };
    let (x, y) = heading(points, HEAD.0 * thick / 2.0);
    let off = |along: f32, aside: f32| (end.0 + x * along - y * aside, end.1 + y * along + x * aside);
    let whole = length(points);
    let stroke = |points: Vec<Point>| Shape::Stroke { points, width: 8.0 * thick, dash, closed: false };
    match mark.head {
        Head::Plain => vec![stroke(points.to_vec())],
        Head::Bar => {
            let bar = vec![off(0.0, -BAR * thick / 2.0), off(0.0, BAR * thick / 2.0)];
            let bar = Shape::Stroke { points: bar, width: 8.0 * thick, dash: None, closed: false };
            vec![stroke(points.to_vec()), bar]
        }
        Head::Arrow => {
            // Never longer than what is drawn of the path.
            let size = (whole / (HEAD.0 * thick)).min(1.0);
            let (long, wide) = (HEAD.0 * thick * size, HEAD.1 * thick * size);
            let notch = long * (1.0 - HEAD.2);
            let head = vec![off(0.0, 0.0), off(-long, wide / 2.0), off(-notch, 0.0), off(-long, -wide / 2.0)];
            vec![stroke(cut(points, (whole - notch).max(0.0))), Shape::Area { points: head, opacity: 1.0 }]
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::paint::mark::MarkColor;

    fn mark(kind: MarkKind, head: Head) -> Mark {
        Mark { kind, color: MarkColor::Ours, thickness: 1.0, dashed: false, head }
    }

    fn pose(points: &[Point], grown: f32) -> Pose {
        Pose { points: points.to_vec(), size: (100.0, 38.0), grown, seen: 1.0 }
    }

    #[test]
    fn a_ring_is_open_behind_the_man_and_sweeps_round() {
        let ring = |grown| shapes(&mark(MarkKind::Ring, Head::Plain), &pose(&[(200.0, 300.0)], grown), 1.0);
        let points = |shapes: &[Shape]| match &shapes[0] {
            Shape::Stroke { points, width, .. } => {
                assert_eq!(*width, 7.0);
                points.clone()
            }
            other => panic!("{other:?}"),
        };
        let whole = points(&ring(1.0));
        // Nothing of it lies within 38 degrees of straight up.
        assert!(whole.iter().all(|p| (p.0 - 200.0).abs() / 50.0 >= 38f32.to_radians().sin() - 0.01 || p.1 > 300.0));
        assert!(whole.iter().any(|p| (p.1 - 319.0).abs() < 0.1), "its near side");
        let half = points(&ring(0.5));
        assert!((length(&half) / length(&whole) - 0.5).abs() < 0.01);
    }

    #[test]
    fn an_arrow_ends_where_it_points_at_whatever_is_drawn_of_it() {
        for grown in [0.01, 0.3, 1.0] {
            let arrow = shapes(&mark(MarkKind::Arrow, Head::Arrow), &pose(&[(0.0, 0.0), (300.0, 0.0)], grown), 1.0);
            let [Shape::Stroke { points: shaft, .. }, Shape::Area { points: head, opacity }] = &arrow[..] else {
                panic!("{arrow:?}")
            };
            assert!((head[0].0 - 300.0 * grown).abs() < 0.01 && *opacity == 1.0);
            assert!(shaft.iter().all(|p| p.0 <= head[0].0) && head.iter().all(|p| p.0 >= -0.01));
        }
    }

    #[test]
    fn a_block_ends_in_a_bar_across_its_path() {
        let route =
            shapes(&mark(MarkKind::Route, Head::Bar), &pose(&[(0.0, 0.0), (0.0, 90.0), (90.0, 90.0)], 1.0), 1.0);
        let Shape::Stroke { points: bar, .. } = &route[1] else { panic!("{route:?}") };
        assert_eq!(bar[..], [(90.0, 62.0), (90.0, 118.0)]);
    }
}
