//! The one question: which row belongs to which play.

use super::by_content::match_by_content;
use super::by_time::match_by_time;
use super::facts::{MatchSettings, Pin, PlayFacts, RowFacts};
use super::outcome::{By, Matching, Pair, Unmatched};

/// Timed rows below which a sheet counts as untimed: two points lie on some line whatever they are.
const FEWEST_TIMED: usize = 3;

/// Joins rows to plays. Plays are in the film's order; times that are not finite count as missing.
pub fn match_rows(rows: &[RowFacts], plays: &[PlayFacts], settings: &MatchSettings) -> Matching {
    let finite = |value: Option<f64>| value.filter(|v| v.is_finite());
    let rows: Vec<RowFacts> = rows
        .iter()
        .map(|r| RowFacts { time: finite(r.time), gain: finite(r.gain), to_gain: finite(r.to_gain), ..*r })
        .collect();
    let timed = rows.iter().filter(|r| r.time.is_some()).count();
    let film_is_timed = plays.iter().all(|p| p.time.is_finite());
    if plays.is_empty() {
        let none = |row| Unmatched::new(row, "no play was found in the film");
        return Matching::of(Vec::new(), (0..rows.len()).map(none).collect(), 0);
    }
    if let Some(all) = all_pinned(&rows, plays.len()) {
        return all;
    }
    // A handful of times in a long sheet hold the rows between them no better than the order does.
    if film_is_timed && timed >= FEWEST_TIMED && timed * 5 >= rows.len() {
        match_by_time(&rows, plays, settings)
    } else {
        match_by_content(&rows, plays)
    }
}

/// The matching of a sheet whose every row a person has placed, each on a play of its own.
fn all_pinned(rows: &[RowFacts], plays: usize) -> Option<Matching> {
    let mut taken = vec![false; plays];
    let (mut pairs, mut unmatched) = (Vec::new(), Vec::new());
    for (row, facts) in rows.iter().enumerate() {
        match facts.pin {
            Pin::Play(play) if !std::mem::replace(taken.get_mut(play)?, true) => {
                let (by, confidence) = (By::Hand, 1.0);
                pairs.push(Pair { row, play, by, confidence, residual: None, rival: None, doubt: None });
            }
            Pin::Nothing => unmatched.push(Unmatched::new(row, "joined to none by hand")),
            _ => return None,
        }
    }
    Some(Matching::of(pairs, unmatched, plays))
}
