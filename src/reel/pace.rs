//! The pace of a teaching reel's step: slow spans, stops, and back from the reel's time to the film's.

use std::ops::Range;

/// How a stretch of film runs: each piece at one speed, or standing.
#[derive(Debug, Clone, PartialEq)]
pub struct Pace {
    pieces: Vec<Piece>,
}

/// Film from one moment to another, shown in so many seconds; where both are the same the picture stands.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Piece {
    from: f64,
    to: f64,
    /// Where it begins in the step, seconds.
    start: f64,
    seconds: f64,
}

/// A span of film at another speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// Film time, seconds.
    pub from: f64,
    /// Film time, seconds.
    pub to: f64,
    /// Speed: 0.5 is half.
    pub rate: f64,
}

/// A stop: the picture stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hold {
    /// Film time, seconds.
    pub at: f64,
    /// For how long, seconds.
    pub seconds: f64,
}

/// Times closer than this are one moment: a hundredth of a frame at 60 a second.
const SAME: f64 = 1e-4;

impl Pace {
    /// Film from `film.start` to `film.end` seconds at `rate`; in the spans at theirs (of two that overlap the later one
    /// holds), with stops at theirs. Stops outside of the film are left out.
    pub fn of(film: Range<f64>, rate: f64, spans: &[Span], holds: &[Hold]) -> Self {
        let inside = |t: f64| t > film.start - SAME && t < film.end + SAME;
        let mut holds: Vec<Hold> = holds.iter().copied().filter(|hold| inside(hold.at)).collect();
        holds.sort_by(|a, b| a.at.total_cmp(&b.at));
        let mut borders: Vec<f64> = spans.iter().flat_map(|span| [span.from, span.to]).collect();
        borders.extend(holds.iter().map(|hold| hold.at));
        borders.extend([film.start, film.end]);
        borders.retain(|t| inside(*t));
        borders.sort_by(f64::total_cmp);
        borders.dedup_by(|a, b| (*a - *b).abs() < SAME);
        let mut pieces: Vec<Piece> = Vec::new();
        let mut start = 0.0;
        let mut push = |pieces: &mut Vec<Piece>, from: f64, to: f64, seconds: f64| {
            pieces.push(Piece { from, to, start, seconds });
            start += seconds;
        };
        for (k, &border) in borders.iter().enumerate() {
            for hold in holds.iter().filter(|hold| (hold.at - border).abs() < SAME) {
                push(&mut pieces, border, border, hold.seconds);
            }
            if let Some(&next) = borders.get(k + 1) {
                let middle = f64::midpoint(border, next);
                let own = spans.iter().rev().find(|span| span.from <= middle && middle < span.to);
                push(&mut pieces, border, next, (next - border) / own.map_or(rate, |span| span.rate));
            }
        }
        Self { pieces }
    }

    /// How long it lasts, seconds.
    pub fn seconds(&self) -> f64 {
        self.pieces.last().map_or(0.0, |piece| piece.start + piece.seconds)
    }

    /// The film time shown `t` seconds after the step's beginning, and how fast the film runs then (0: it stands).
    pub fn film(&self, t: f64) -> (f64, f64) {
        let piece = self.pieces.iter().find(|piece| t < piece.start + piece.seconds).or(self.pieces.last());
        piece.map_or((0.0, 1.0), |piece| {
            let rate = if piece.seconds > 0.0 { (piece.to - piece.from) / piece.seconds } else { 0.0 };
            ((piece.from + (t - piece.start) * rate).clamp(piece.from, piece.to), rate)
        })
    }

    /// When a moment of the film is first seen, seconds after the step's beginning; before it: 0, after it: its end.
    pub fn first(&self, film: f64) -> f64 {
        for piece in &self.pieces {
            if film <= piece.to + SAME {
                let long = piece.to - piece.from;
                let share = if long > SAME { ((film - piece.from) / long).clamp(0.0, 1.0) } else { 0.0 };
                return piece.start + piece.seconds * share;
            }
        }
        self.seconds()
    }

    /// The stop that stands at a moment of the film: from when to when, seconds after the step's beginning.
    pub fn stands(&self, film: f64) -> Option<Range<f64>> {
        let stop = |piece: &&Piece| piece.to - piece.from < SAME && (piece.from - film).abs() < 10.0 * SAME;
        self.pieces.iter().find(stop).map(|piece| piece.start..piece.start + piece.seconds)
    }

    /// Each piece: its film from when to when, and how many seconds it lasts.
    pub fn pieces(&self) -> impl Iterator<Item = (Range<f64>, f64)> + '_ {
        self.pieces.iter().map(|piece| (piece.from..piece.to, piece.seconds))
    }

    /// Whether nothing of it stands or is slowed or hastened.
    pub fn is_plain(&self) -> bool {
        self.pieces.iter().all(|piece| (piece.to - piece.from - piece.seconds).abs() < SAME)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pace() -> Pace {
        // Snap at 4.0: from 2.0, a stop of 3 s at 3.7, half speed from the snap for 2 s, to 8.0.
        Pace::of(2.0..8.0, 1.0, &[Span { from: 4.0, to: 6.0, rate: 0.5 }], &[Hold { at: 3.7, seconds: 3.0 }])
    }

    #[test]
    fn slow_spans_and_stops_add_up() {
        let pace = pace();
        assert!((pace.seconds() - (1.7 + 3.0 + 0.3 + 4.0 + 2.0)).abs() < 1e-9);
        for (t, film, rate) in [(0.0, 2.0, 1.0), (1.0, 3.0, 1.0), (2.0, 3.7, 0.0), (4.6, 3.7, 0.0), (4.9, 3.9, 1.0)] {
            let got = pace.film(t);
            assert!((got.0 - film).abs() < 1e-9 && (got.1 - rate).abs() < 1e-9, "{t}: {got:?}");
        }
        assert!((pace.film(7.0).0 - 5.0).abs() < 1e-9);
        assert!((pace.film(99.0).0 - 8.0).abs() < 1e-9 && !pace.is_plain());
        assert!(Pace::of(1.0..2.0, 1.0, &[], &[]).is_plain());
    }

    #[test]
    fn a_moment_of_the_film_is_found_in_the_reel() {
        let pace = pace();
        for (film, t) in
            [(2.0, 0.0), (3.0, 1.0), (3.7, 1.7), (3.9, 4.9), (4.0, 5.0), (5.0, 7.0), (8.0, 11.0), (9.0, 11.0)]
        {
            assert!((pace.first(film) - t).abs() < 1e-3, "{film}: {}", pace.first(film));
        }
        let stop = pace.stands(3.7).unwrap();
        assert!((stop.start - 1.7).abs() < 1e-9 && (stop.end - 4.7).abs() < 1e-9);
        assert_eq!(pace.stands(3.0), None);
    }

    #[test]
    fn the_reel_never_runs_back_and_stops_at_the_ends_count() {
        let holds = [Hold { at: 2.0, seconds: 1.0 }, Hold { at: 3.0, seconds: 1.5 }, Hold { at: 9.0, seconds: 4.0 }];
        let spans = [Span { from: 1.0, to: 2.5, rate: 4.0 }, Span { from: 2.25, to: 7.0, rate: 0.1 }];
        let pace = Pace::of(2.0..3.0, 1.0, &spans, &holds);
        assert!((pace.seconds() - (1.0 + 0.25 / 4.0 + 0.75 / 0.1 + 1.5)).abs() < 1e-9);
        let times: Vec<f64> = (0..2000).map(|k| pace.film(f64::from(k) * pace.seconds() / 2000.0).0).collect();
        assert!(times.windows(2).all(|w| w[0] <= w[1]) && times[0] == 2.0 && times[1999] == 3.0);
    }
}
