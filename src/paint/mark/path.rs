//! Lines as points close together: rounded at their bends, cut to a length, measured.

/// A point in pixels.
pub(super) type Point = (f32, f32);

/// Points between the ends of a rounded bend.
const BEND: usize = 8;

/// How far apart two points are.
pub(super) fn apart(a: Point, b: Point) -> f32 {
    (a.0 - b.0).hypot(a.1 - b.1)
}

/// The length of a line.
pub(super) fn length(points: &[Point]) -> f32 {
    points.windows(2).map(|w| apart(w[0], w[1])).sum()
}

fn between(a: Point, b: Point, share: f32) -> Point {
    (a.0 + (b.0 - a.0) * share, a.1 + (b.1 - a.1) * share)
}

/// Rounds the bends of a line: each begins and ends `radius` before and after it, or at half of a shorter stretch.
pub(super) fn rounded(points: &[Point], radius: f32) -> Vec<Point> {
    let mut out = Vec::with_capacity(points.len() * BEND);
    out.extend(points.first());
    for w in points.windows(3) {
        let [before, bend, after] = [w[0], w[1], w[2]];
        let (back, on) = (apart(before, bend), apart(bend, after));
        let reach = radius.min(back / 2.0).min(on / 2.0);
        if reach <= 0.0 {
            out.push(bend);
            continue;
        }
        let (from, to) = (between(bend, before, reach / back), between(bend, after, reach / on));
        for k in 0..=BEND {
            let t = k as f32 / BEND as f32;
            out.push(between(between(from, bend, t), between(bend, to, t), t));
        }
    }
    if points.len() > 1 {
        out.extend(points.last());
    }
    out
}

/// The first `length` of a line.
pub(super) fn cut(points: &[Point], length: f32) -> Vec<Point> {
    let mut out: Vec<Point> = points.first().copied().into_iter().collect();
    let mut left = length;
    for w in points.windows(2) {
        let step = apart(w[0], w[1]);
        if step >= left {
            out.push(between(w[0], w[1], if step > 0.0 { left.max(0.0) / step } else { 0.0 }));
            return out;
        }
        left -= step;
        out.push(w[1]);
    }
    out
}

/// The direction in which a line ends, over its last `over` pixels; to the right where it has none.
pub(super) fn heading(points: &[Point], over: f32) -> Point {
    let Some(&end) = points.last() else { return (1.0, 0.0) };
    let from = points.iter().rev().find(|&&p| apart(p, end) >= over).or(points.first()).copied().unwrap_or(end);
    let long = apart(from, end);
    if long <= f32::EPSILON { (1.0, 0.0) } else { ((end.0 - from.0) / long, (end.1 - from.1) / long) }
}

/// Lengths drawn and left out, stretched so that a line of that length ends on a full dash.
pub(super) fn dashes(length: f32, (on, off): (f32, f32)) -> Option<(f32, f32)> {
    let whole = ((length - on) / (on + off)).round();
    (whole >= 1.0).then(|| {
        let stretch = length / (whole * (on + off) + on);
        (on * stretch, off * stretch)
    })
}

/// An ellipse as a closed line, or the part of it between two angles (radians, clockwise from the right).
pub(super) fn arc(center: Point, (across, down): (f32, f32), from: f32, to: f32) -> Vec<Point> {
    const STEPS: usize = 72;
    let steps = (STEPS as f32 * (to - from).abs() / std::f32::consts::TAU).ceil().max(2.0) as usize;
    (0..=steps)
        .map(|k| {
            let (sin, cos) = (from + (to - from) * k as f32 / steps as f32).sin_cos();
            (center.0 + across * cos, center.1 + down * sin)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_cut_at_its_length_wherever_that_falls() {
        let line = [(0.0, 0.0), (30.0, 0.0), (30.0, 40.0)];
        assert_eq!(length(&line), 70.0);
        assert_eq!(cut(&line, 50.0), [(0.0, 0.0), (30.0, 0.0), (30.0, 20.0)]);
        assert_eq!(cut(&line, 0.0), [(0.0, 0.0), (0.0, 0.0)]);
        assert_eq!(cut(&line, 99.0), line);
        assert_eq!(cut(&[], 5.0), []);
        assert_eq!(heading(&cut(&line, 60.0), 5.0), (0.0, 1.0));
        assert_eq!(heading(&[(3.0, 3.0)], 5.0), (1.0, 0.0));
    }

    #[test]
    fn bends_are_rounded_and_the_ends_stay() {
        let round = rounded(&[(0.0, 0.0), (100.0, 0.0), (100.0, 10.0)], 26.0);
        assert_eq!((round[0], *round.last().unwrap()), ((0.0, 0.0), (100.0, 10.0)));
        // The bend may take half of the shorter stretch only, and no point lies outside of the corner.
        assert!(round.contains(&(95.0, 0.0)) && round.contains(&(100.0, 5.0)));
        assert!(round.iter().all(|p| p.0 <= 100.0 && p.1 >= 0.0));
        assert!(round.windows(2).all(|w| w[0].0 <= w[1].0 && w[0].1 <= w[1].1));
        assert_eq!(rounded(&[(1.0, 1.0)], 5.0), [(1.0, 1.0)]);
        assert!(rounded(&[(0.0, 0.0), (0.0, 0.0), (5.0, 0.0)], 9.0).iter().all(|p| p.0.is_finite()));
    }

    #[test]
    fn a_dashed_line_ends_on_a_full_dash() {
        for long in [60.0f32, 100.0, 333.0] {
            let (on, off) = dashes(long, (24.0, 18.0)).unwrap();
            let rest = (long - on).rem_euclid(on + off);
            assert!(rest < 0.01 || on + off - rest < 0.01, "{long}: {on} {off} {rest}");
            assert!((0.6..1.5).contains(&(on / 24.0)));
        }
        assert_eq!(dashes(30.0, (24.0, 18.0)), None, "too short for a second dash: solid");
    }
}
