//! Whether one row follows another as football goes: where it does not, a row is missing or one is too many.

use super::facts::{RowFacts, What};

/// Whether a row can be the play right after another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Follows {
    Yes,
    No,
    /// The rows do not say enough.
    Unknown,
}

/// Yards by which a typed distance may be off from distance less gain: staffs round, and so does the chain crew.
const YARDS_OFF: f64 = 1.0;

/// Whether `next` can be the play after `last`, by down, distance, gain, score and kick.
pub(super) fn follows(last: &RowFacts, next: &RowFacts) -> Follows {
    let told = |yes: bool| if yes { Follows::Yes } else { Follows::No };
    if let (Some(before), Some(after)) = (last.quarter, next.quarter) {
        if after < before {
            return Follows::No;
        }
        // A half and overtime begin with a kickoff, whatever was before.
        if after > before && (after == 3 || after > 4) {
            return told(next.what == What::Kickoff || next.down == Some(1));
        }
    }
    let first = next.down == Some(1);
    let kickoff = next.what == What::Kickoff;
    if last.touchdown {
        return told(next.what == What::Try || kickoff);
    }
    match last.what {
        What::Try => return told(kickoff),
        What::FieldGoal => return told(kickoff || first),
        What::Kickoff | What::Punt => {
            return if next.down.is_some() { told(first) } else { told(!kickoff && next.what != What::Try) };
        }
        _ => {}
    }
    if next.what == What::Try || (kickoff && !last.turnover) {
        return Follows::No;
    }
    if last.turnover {
        return told(first || kickoff);
    }
    let (Some(down), Some(after)) = (last.down, next.down) else { return Follows::Unknown };
    if last.what == What::NoPlay {
        return told(after == down || after == 1 || after == down + 1);
    }
    let (Some(to_gain), Some(gain)) = (last.to_gain, last.gain) else {
        return if after == 1 || after == down + 1 { Follows::Unknown } else { Follows::No };
    };
    if gain >= to_gain + YARDS_OFF || down >= 4 {
        return told(after == 1);
    }
    let left = to_gain - gain;
    let goes_on = after == down + 1 && next.to_gain.is_none_or(|yards| (yards - left).abs() <= YARDS_OFF);
    told(goes_on || (left <= YARDS_OFF && after == 1))
}

/// How likely a row stands where it does if a row before it is missing, or if it is one too many, each against the
/// likelihood if nothing is amiss.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Amiss {
    pub missing_before: f64,
    pub too_many: f64,
}

/// Ratios of likelihood, from football's rules and common typing: two rows in a row follow one another in 19 of 20
/// cases (the rest are penalties, fumbles and slips of the hand), with one left out between them in one of eight.
const FOLLOWS_ALTHOUGH_MISSING: f64 = 0.12;
const BREAKS_IF_MISSING: f64 = 25.0;
/// A row that fits neither neighbor while they fit one another.
const STRAY: f64 = 50.0;
const FITS_ALTHOUGH_TOO_MANY: f64 = 0.1;
/// A row that says the same as the one above.
const TWIN: f64 = 40.0;

/// For each row what stands amiss about its place in the sheet.
pub(super) fn amiss(rows: &[RowFacts], twin: &[bool]) -> Vec<Amiss> {
    let mut all = vec![Amiss { missing_before: 1.0, too_many: 1.0 }; rows.len()];
    let is_twin = |i: usize| twin.get(i).copied().unwrap_or(false);
    // What a row is held against: the nearest that is not its double.
    let single: Vec<usize> = (0..rows.len()).filter(|i| !is_twin(*i)).collect();
    let between = |a: usize, b: usize| follows(&rows[single[a]], &rows[single[b]]);
    for at in 0..single.len() {
        if at > 0 {
            all[single[at]].missing_before = match between(at - 1, at) {
                Follows::Yes => FOLLOWS_ALTHOUGH_MISSING,
                Follows::No => BREAKS_IF_MISSING,
                Follows::Unknown => 1.0,
            };
        }
    }
    for at in 1..single.len().saturating_sub(1) {
        let (before, after) = (between(at - 1, at), between(at, at + 1));
        let stray = before == Follows::No && after == Follows::No && between(at - 1, at + 1) == Follows::Yes;
        if stray {
            all[single[at]].too_many = STRAY;
            all[single[at]].missing_before = 1.0;
            all[single[at + 1]].missing_before = 1.0;
        } else if before == Follows::Yes && after == Follows::Yes {
            all[single[at]].too_many = FITS_ALTHOUGH_TOO_MANY;
        }
    }
    for (_, amiss) in all.iter_mut().enumerate().filter(|(row, _)| is_twin(*row)) {
        *amiss = Amiss { missing_before: FOLLOWS_ALTHOUGH_MISSING, too_many: TWIN };
    }
    all
}

/// The rows in the order that football lets expect: neighbors that were changed over are changed back, where they fit so
/// and not otherwise.
pub(super) fn in_game_order(rows: &[RowFacts]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..rows.len()).collect();
    let mut at = 1;
    while at + 2 < rows.len() {
        let fits = |a: usize, b: usize| follows(&rows[a], &rows[b]);
        let [before, one, two, after] = [at - 1, at, at + 1, at + 2];
        let changed = [(before, two), (two, one), (one, after)].iter().all(|(a, b)| fits(*a, *b) == Follows::Yes);
        let broken =
            [(before, one), (one, two), (two, after)].iter().filter(|(a, b)| fits(*a, *b) == Follows::No).count();
        if changed && broken >= 2 {
            order.swap(one, two);
            at += 1;
        }
        at += 1;
    }
    order
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(down: i64, to_gain: f64, gain: f64) -> RowFacts {
        let what = What::Run;
        RowFacts { down: Some(down), to_gain: Some(to_gain), gain: Some(gain), what, ..RowFacts::default() }
    }

    #[test]
    fn a_series_goes_on_as_the_rules_say() {
        let first = row(1, 10.0, 4.0);
        assert_eq!(follows(&first, &row(2, 6.0, 0.0)), Follows::Yes);
        assert_eq!(follows(&first, &row(2, 7.0, 0.0)), Follows::Yes, "rounding");
        assert_eq!(follows(&first, &row(3, 2.0, 0.0)), Follows::No);
        assert_eq!(follows(&first, &row(1, 10.0, 0.0)), Follows::No);
        assert_eq!(follows(&row(2, 6.0, 8.0), &row(1, 10.0, 0.0)), Follows::Yes);
        assert_eq!(follows(&row(4, 6.0, 1.0), &row(1, 10.0, 0.0)), Follows::Yes);
        assert_eq!(follows(&row(4, 6.0, 1.0), &row(2, 10.0, 0.0)), Follows::No);
        let kick = |what| RowFacts { what, ..RowFacts::default() };
        let score = RowFacts { touchdown: true, ..row(1, 10.0, 40.0) };
        assert_eq!(follows(&score, &kick(What::Try)), Follows::Yes);
        assert_eq!(follows(&score, &row(1, 10.0, 3.0)), Follows::No);
        assert_eq!(follows(&kick(What::Try), &kick(What::Kickoff)), Follows::Yes);
        assert_eq!(follows(&kick(What::Kickoff), &row(1, 10.0, 3.0)), Follows::Yes);
        assert_eq!(follows(&kick(What::Kickoff), &row(2, 6.0, 3.0)), Follows::No);
        assert_eq!(follows(&RowFacts::default(), &RowFacts::default()), Follows::Unknown);
    }

    #[test]
    fn rows_changed_over_are_changed_back_only_where_all_fits_then() {
        let rows = [row(1, 10.0, 4.0), row(2, 6.0, 3.0), row(3, 3.0, 1.0), row(4, 2.0, 5.0), row(1, 10.0, 2.0)];
        assert_eq!(in_game_order(&rows), [0, 1, 2, 3, 4]);
        let changed = [rows[0], rows[2], rows[1], rows[3], rows[4]];
        assert_eq!(in_game_order(&changed), [0, 2, 1, 3, 4]);
        assert_eq!(in_game_order(&[rows[0], rows[2], rows[3]]), [0, 1, 2]);
    }

    #[test]
    fn a_missing_a_stray_and_a_doubled_row_are_told() {
        let rows = [row(1, 10.0, 4.0), row(3, 2.0, 5.0), row(1, 10.0, 0.0), row(2, 10.0, 3.0)];
        let told = amiss(&rows, &[false; 4]);
        assert!(told[1].missing_before > 1.0 && told[2].missing_before < 1.0 && told[3].missing_before < 1.0);
        let rows = [row(1, 10.0, 4.0), row(4, 1.0, 20.0), row(2, 6.0, 3.0), row(3, 3.0, 1.0)];
        let told = amiss(&rows, &[false; 4]);
        assert!(told[1].too_many > 1.0 && told[1].missing_before == 1.0 && told[2].missing_before == 1.0);
        let told = amiss(&[row(1, 10.0, 4.0), row(1, 10.0, 4.0), row(2, 6.0, 4.0)], &[false, true, false]);
        assert!(told[1].too_many > 1.0 && told[2].missing_before < 1.0);
    }
}
