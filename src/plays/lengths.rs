//! How like each other two shots are by how long they are, where no sound tells.

use super::track::percentile;
use crate::film::{Film, Play};

/// Two operators start and stop on the same play, and two cameras show it live, within about so many seconds: the scale of
/// the differences. (Measured on 105 plays of made films drawn from tracked movement: the lengths of two shots of one play
/// differ by .8 s in the median, of different plays by 2.5 s.)
const SHOT: f64 = 1.2;
const LIVE: f64 = 1.0;
/// Different plays differ by the game's own spread, but by at least this many times as much.
const LEAST_SPREAD: f64 = 1.5;
/// One odd length is soon had (a bump taken for the snap, an operator who dozed): it says at most so much against a pair.
const AT_MOST: f64 = 2.5;

/// How long a play's film and the play in it last, seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lengths {
    /// Of its film.
    pub shot: f64,
    /// From the snap to the end, where both were found.
    pub live: Option<f64>,
}

impl Lengths {
    /// Of a play as found.
    pub fn of(play: &Play, film: &Film) -> Self {
        let live = play.snap.zip(play.whistle).map(|(snap, end)| end.time - snap.time);
        Self { shot: film.lasts(play.span), live }
    }
}

/// Log odds that two plays' film shows the same play.
#[derive(Debug, Clone, Copy)]
pub struct Odds {
    shot: f64,
    live: f64,
}

impl Odds {
    /// By how much the lengths of this game's plays differ at random.
    pub fn of(all: &[Lengths]) -> Self {
        let spread = |values: Vec<f64>, scale: f64| {
            let below = |k: usize| &values[..k];
            let apart: Vec<f64> = (0..values.len())
                .flat_map(|k| below(k).iter().map(move |b| (k, *b)))
                .map(|(k, b)| (values[k] - b).abs())
                .collect();
            // Half of an exponential lies below ln 2 of its scale.
            (percentile(&apart, 0.5) / std::f64::consts::LN_2).max(LEAST_SPREAD * scale)
        };
        Self {
            shot: spread(all.iter().map(|l| l.shot).collect(), SHOT),
            live: spread(all.iter().filter_map(|l| l.live).collect(), LIVE),
        }
    }

    /// Above 0 where the same play is likelier. Differences of length are taken to be exponential, in the scale of two
    /// cameras on one play or of two plays.
    pub fn same(&self, a: Lengths, b: Lengths) -> f64 {
        let one = |apart: f64, same: f64, other: f64| {
            ((other / same).ln() - apart * (1.0 / same - 1.0 / other)).max(-AT_MOST)
        };
        let live = a.live.zip(b.live).map_or(0.0, |(x, y)| one((x - y).abs(), LIVE, self.live));
        one((a.shot - b.shot).abs(), SHOT, self.shot) + live
    }
}

/// The plays so far and those of one more camera by how long they are.
#[derive(Debug)]
pub struct Table {
    /// `None` for a play that no camera shows.
    rows: Vec<Option<Lengths>>,
    columns: Vec<Lengths>,
    odds: Odds,
}

impl Table {
    /// Of both, in order.
    pub fn of(rows: Vec<Option<Lengths>>, columns: Vec<Lengths>) -> Self {
        let all: Vec<Lengths> = rows.iter().flatten().chain(&columns).copied().collect();
        Self { rows, columns, odds: Odds::of(&all) }
    }

    /// Log odds that row `i` and column `j` are the same play; `None` where nothing is known of the row.
    pub fn same(&self, i: usize, j: usize) -> Option<f64> {
        Some(self.odds.same(self.rows[i]?, self.columns[j]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lengths(shot: f64, live: f64) -> Lengths {
        Lengths { shot, live: Some(live) }
    }

    #[test]
    fn film_as_long_as_each_other_is_likelier_of_one_play() {
        let game: Vec<Lengths> = (0..10).map(|k| lengths(9.0 + f64::from(k), 4.0 + f64::from(k % 5))).collect();
        let odds = Odds::of(&game);
        let same = odds.same(lengths(12.0, 5.0), lengths(12.8, 5.1));
        let other = odds.same(lengths(12.0, 5.0), lengths(16.0, 7.5));
        assert!(same > 0.5 && other < -0.5, "{same} {other}");
        // A play without an end is judged by its shot alone.
        let unknown = Lengths { shot: 12.5, live: None };
        assert!(odds.same(lengths(12.0, 5.0), unknown) > 0.0);
    }

    #[test]
    fn one_odd_length_does_not_decide_and_a_game_without_plays_tells_nothing_odd() {
        let game: Vec<Lengths> = (0..10).map(|k| lengths(9.0 + f64::from(k), 4.0 + f64::from(k % 5))).collect();
        let odds = Odds::of(&game);
        let dozed = odds.same(lengths(12.0, 5.0), lengths(60.0, 5.0));
        assert!((-AT_MOST..0.0).contains(&dozed), "{dozed}");
        let none = Odds::of(&[]);
        assert!(none.same(lengths(12.0, 5.0), lengths(12.0, 5.0)) > none.same(lengths(12.0, 5.0), lengths(15.0, 5.0)));
    }
}
