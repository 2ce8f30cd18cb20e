//! Where things lie on the picture of one play's evidence. Pure: numbers in, numbers out.

use crate::paint::text_width;

/// From film time to pixels across.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axis {
    /// Film seconds at the left and at the right edge.
    pub time: (f64, f64),
    /// The edges, pixels.
    pub edge: (f32, f32),
}

/// Seconds from one tick to the next that people count in.
const STEPS: [f64; 8] = [0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0];
/// At most so many ticks.
const TICKS: f64 = 16.0;

impl Axis {
    /// The place of a film time; times outside lie on the edge.
    pub fn x(&self, time: f64) -> f32 {
        let share = (time - self.time.0) / (self.time.1 - self.time.0).max(1e-6);
        self.edge.0 + (self.edge.1 - self.edge.0) * share.clamp(0.0, 1.0) as f32
    }

    /// Whether a film time lies on it.
    pub fn holds(&self, time: f64) -> bool {
        (self.time.0..=self.time.1).contains(&time)
    }

    /// Ticks in whole steps from `zero`: film time, and seconds from `zero`.
    pub fn ticks(&self, zero: f64) -> Vec<(f64, f64)> {
        let length = self.time.1 - self.time.0;
        let longest = (length / TICKS / 60.0).ceil().max(1.0) * 60.0;
        let step = STEPS.into_iter().find(|step| length / step <= TICKS).unwrap_or(longest);
        let (first, last) = (((self.time.0 - zero) / step).ceil() as i64, ((self.time.1 - zero) / step).floor() as i64);
        (first..=last).map(|k| (zero + k as f64 * step, k as f64 * step)).collect()
    }
}

/// A flag of words at a pole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlagPlace {
    /// Its left edge.
    pub left: f32,
    /// Its right edge.
    pub right: f32,
    /// Which row, 0 nearest to the curves.
    pub row: usize,
}

/// Hangs flags at their poles so that none lies over another or beyond the edges: each to the side it wants, or to the
/// other where that has no room, in the lowest row that is free. `flags`: pole, width, whether it wants the left.
pub fn hang(flags: &[(f32, f32, bool)], (left, right): (f32, f32), gap: f32) -> Vec<FlagPlace> {
    let mut placed: Vec<FlagPlace> = Vec::new();
    for &(pole, width, wants_left) in flags {
        let to_left = if wants_left { pole - width >= left } else { pole + width > right && pole - width >= left };
        let begin = if to_left { pole - width } else { pole }.min(right - width).max(left);
        let mut row = 0;
        let meets = |f: &FlagPlace, row: usize| f.row == row && begin < f.right + gap && f.left < begin + width + gap;
        while placed.iter().any(|f| meets(f, row)) {
            row += 1;
        }
        placed.push(FlagPlace { left: begin, right: begin + width, row });
    }
    placed
}

/// Words in lines no wider than `room`; a word wider than that stands alone.
pub fn wrap(text: &str, room: f32, size: f32, weight: u16) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if text_width(&format!("{line} {word}"), size, weight) <= room => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_string()),
        }
    }
    lines
}

/// The top of a scale: the highest value, but at least `least`, so that stillness does not look like motion.
pub fn top<'a>(curves: impl IntoIterator<Item = &'a Vec<(f64, f64)>>, least: f64) -> f64 {
    let finite = curves.into_iter().flatten().map(|p| p.1).filter(|v| v.is_finite());
    finite.fold(least, f64::max) * 1.06
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_axis_counts_from_the_snap_in_whole_steps() {
        let axis = Axis { time: (10.0, 24.0), edge: (200.0, 1600.0) };
        assert_eq!((axis.x(10.0), axis.x(24.0), axis.x(17.0)), (200.0, 1600.0, 900.0));
        assert_eq!((axis.x(-5.0), axis.x(99.0)), (200.0, 1600.0), "nothing leaves the picture");
        let ticks = axis.ticks(15.3);
        assert!(ticks.contains(&(15.3, 0.0)) && ticks.len() == 14, "{ticks:?}");
        assert!(ticks.iter().all(|(time, count)| axis.holds(*time) && count.fract() == 0.0));
        // A whole half of film still has few.
        let long = Axis { time: (0.0, 3600.0), ..axis };
        assert!(long.ticks(0.0).len() <= 17, "{}", long.ticks(0.0).len());
        assert!(Axis { time: (3.0, 3.0), ..axis }.x(3.0).is_finite());
    }

    #[test]
    fn flags_never_meet_and_never_leave_the_picture() {
        let edges = (0.0, 1000.0);
        // Set, snap and whistle within a second of one another, at either edge, and apart.
        for poles in [[500.0, 520.0, 540.0], [2.0, 5.0, 9.0], [990.0, 995.0, 1000.0], [100.0, 500.0, 900.0]] {
            let flags = [(poles[0], 90.0, true), (poles[1], 220.0, true), (poles[2], 260.0, false)];
            let places = hang(&flags, edges, 8.0);
            for (i, a) in places.iter().enumerate() {
                assert!(a.left >= edges.0 && a.right <= edges.1 && a.row < 3, "{a:?}");
                for b in &places[i + 1..] {
                    assert!(a.row != b.row || a.right + 8.0 <= b.left || b.right + 8.0 <= a.left, "{a:?} {b:?}");
                }
            }
        }
        let apart = hang(&[(300.0, 200.0, true), (700.0, 200.0, false)], edges, 8.0);
        assert_eq!(apart.iter().map(|f| (f.left, f.row)).collect::<Vec<_>>(), [(100.0, 0), (700.0, 0)]);
    }

    #[test]
    fn words_are_wrapped_and_none_is_lost() {
        let text = "no whistle was heard and the end is hard to see; something moved as suddenly 12.4 s before";
        let lines = wrap(text, 300.0, 24.0, 600);
        assert!(lines.len() > 2 && lines.iter().all(|line| text_width(line, 24.0, 600) <= 300.0), "{lines:?}");
        assert_eq!(lines.join(" "), text);
        assert_eq!(wrap("", 300.0, 24.0, 600), Vec::<String>::new());
    }

    #[test]
    fn a_scale_holds_its_highest_value_and_stillness_stays_low() {
        assert!(top(&[vec![(0.0, 0.2), (1.0, 3.0)], vec![(2.0, f64::NAN)]], 1.0) > 3.0);
        assert!((top(&[vec![(0.0, 0.001)]], 0.05) - 0.053).abs() < 1e-9);
    }
}
