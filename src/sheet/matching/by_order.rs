//! Joining by order alone: only where the counts agree and nothing contradicts.

use super::facts::{PlayFacts, RowFacts};
use super::outcome::{By, Matching, Pair, TYPED_TWICE, Unmatched};

/// Weight of a pair by order where nothing contradicts: on made sheets with faults, order alone is right where nothing
/// was lost and else mostly wrong, and the counts cannot tell a loss that an addition makes up for.
const BY_ORDER: f64 = 0.8;
const BY_ORDER_IN_DOUBT: f64 = 0.5;

/// The few times a sheet has must lie along the film within this, seconds, when it is joined by order.
const TIMES_AGREE: f64 = 8.0;

/// Joins a sheet without times. `plays` is not empty.
pub(super) fn match_by_order(rows: &[RowFacts], plays: &[PlayFacts]) -> Matching {
    let all: Vec<usize> = (0..plays.len()).collect();
    let found: Vec<usize> = all.iter().copied().filter(|i| plays.get(*i).is_some_and(|p| !p.weak)).collect();
    let every: Vec<usize> = (0..rows.len()).collect();
    let singles: Vec<usize> = every.iter().copied().filter(|i| rows.get(*i).is_some_and(|r| !r.twin)).collect();
    let twins = rows.len() - singles.len();
    if let Some(against) = contradiction(rows, false) {
        return none(rows, plays, &against);
    }
    let first_twin = rows.iter().position(|r| r.twin).unwrap_or(rows.len());
    let unfound = plays.len() - found.len();
    // Which rows and plays agree in number, and what stands against it: from which row on, and the words.
    let (by_row, by_play, from, doubt) = if rows.len() == plays.len() {
        let words = "two rows say the same: if one was typed twice, the rows from there on are off by one";
        (&every, &all, if twins > 0 { first_twin } else { rows.len() }, words)
    } else if singles.len() == plays.len() {
        (&singles, &all, rows.len(), "")
    } else if unfound > 0 && singles.len() == found.len() {
        let words = "the counts agree only without the shots in which no snap was found";
        (&singles, &found, 0, words)
    } else {
        let shots = if unfound > 0 { format!(" ({unfound} of them without a snap)") } else { String::new() };
        let against = format!(
            "it has no time, and {} {} stand against {} {}{shots}: the order alone does not tell which belong together",
            rows.len(),
            if rows.len() == 1 { "row" } else { "rows" },
            plays.len(),
            if plays.len() == 1 { "play" } else { "plays" },
        );
        return none(rows, plays, &against);
    };
    let pairs: Vec<Pair> = by_row
        .iter()
        .zip(by_play)
        .map(|(row, play)| {
            let doubt = (*row >= from).then(|| doubt.to_string());
            let confidence = if doubt.is_some() { BY_ORDER_IN_DOUBT } else { BY_ORDER };
            Pair { row: *row, play: *play, by: By::Order, confidence, residual: None, rival: None, doubt }
        })
        .collect();
    if !times_agree(rows, plays, &pairs) {
        return none(rows, plays, "the few times in the sheet do not fit its order along the film");
    }
    let left = every.iter().filter(|i| !by_row.contains(i));
    let twice = |row: &usize| Unmatched::new(*row, TYPED_TWICE);
    Matching::of(pairs, left.map(twice).collect(), plays.len())
}

pub(super) fn none(rows: &[RowFacts], plays: &[PlayFacts], why: &str) -> Matching {
    let unmatched = (0..rows.len()).map(|row| Unmatched::new(row, why)).collect();
    Matching::of(Vec::new(), unmatched, plays.len())
}

/// A game runs forward: a quarter that goes back, or a clock that rises within one, means that the sheet was sorted by
/// something else or that a row stands in the wrong place. `bear`: one place in thirty, and two in all, is borne.
pub(super) fn contradiction(rows: &[RowFacts], bear: bool) -> Option<String> {
    let mut borne = if bear { 2 + rows.len() / 30 } else { 0 };
    let mut last: Option<(i64, Option<u16>)> = None;
    for row in rows {
        let Some(quarter) = row.quarter else { continue };
        if let Some((before, clock)) = last {
            let back = quarter < before;
            let rose = quarter == before && clock.zip(row.clock).is_some_and(|(was, is)| is > was);
            if (back || rose) && borne > 0 {
                borne -= 1;
            } else if back || rose {
                let what = if back { "quarter goes back" } else { "clock rises within a quarter" };
                return Some(format!("it has no time, and the sheet does not stand in the game's order: the {what}"));
            }
        }
        let clock = row.clock.or(last.filter(|(q, _)| *q == quarter).and_then(|(_, c)| c));
        last = Some((quarter, clock));
    }
    None
}

/// Whether the times there are, if any, run along with the film.
fn times_agree(rows: &[RowFacts], plays: &[PlayFacts], pairs: &[Pair]) -> bool {
    let timed = pairs.iter().filter_map(|p| Some(rows.get(p.row)?.time? - plays.get(p.play)?.time));
    let mut offsets: Vec<f64> = timed.filter(|o| o.is_finite()).collect();
    offsets.sort_by(f64::total_cmp);
    match offsets[..] {
        [least, .., most] => most - least <= TIMES_AGREE,
        _ => true,
    }
}
