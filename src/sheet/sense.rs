//! Whether rows agree with one another: warnings only, for a row that is right may follow one that is missing.
//!
//! The rules of the game that they lean on **[rule, from memory]**: a series' next distance is what is left to gain, a
//! series' downs follow one another, the ball lies where the last play ended, quarters follow, the clock runs down. A
//! penalty, a turnover and a kick set them aside.

use super::rows::Row;
use crate::base::Problem;
use crate::football::{Field, Tags};

/// What a check looks at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum SenseKind {
    /// The next distance is the distance less the gain.
    Distance,
    /// Downs follow one another.
    Down,
    /// The next spot is the spot and the gain.
    Spot,
    /// Quarters follow one another.
    Quarter,
    /// The clock runs down in a quarter.
    Clock,
    /// Two rows say the same.
    Doubled,
}

impl SenseKind {
    /// Every kind.
    pub const ALL: [Self; 6] = [Self::Distance, Self::Down, Self::Spot, Self::Quarter, Self::Clock, Self::Doubled];

    /// Its name.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Distance => "distance",
            Self::Down => "down",
            Self::Spot => "spot",
            Self::Quarter => "quarter",
            Self::Clock => "clock",
            Self::Doubled => "doubled",
        }
    }
}

/// A row that does not agree with the one before it.
#[derive(Debug, Clone, PartialEq)]
pub struct Sense {
    /// Which check says so.
    pub kind: SenseKind,
    /// The row's index.
    pub row: usize,
    /// As it is told.
    pub problem: Problem,
}

/// Yards by which a spot may differ: it is typed to the nearest yard at both ends **[practice]**.
const SPOT_YARDS: i64 = 1;

/// Looks at each row and the one before it.
pub fn sense(rows: &[Row]) -> Vec<Sense> {
    let mut found = Vec::new();
    for (index, pair) in rows.windows(2).enumerate() {
        let (before, row) = (&pair[0], &pair[1]);
        let mut tell = |kind: SenseKind, what: String| {
            found.push(Sense { kind, row: index + 1, problem: Problem::new(&row.place, what) });
        };
        let last = format!("{} {}", if row.place.contains('!') { "row" } else { "record" }, before.number);
        if row.same_play_as(before) {
            tell(SenseKind::Doubled, format!("says the same as {last}; was it typed twice?"));
            continue;
        }
        let (a, b) = (&before.tags, &row.tags);
        let quarters = (a.number(Field::Quarter), b.number(Field::Quarter));
        if let (Some(was), Some(is)) = quarters
            && is < was
        {
            tell(SenseKind::Quarter, format!("quarter {is} after quarter {was} of {last}"));
        }
        // A quarter that is typed once and left empty below is the same; one that both lack is not known.
        let same_quarter = quarters.0.is_some() && quarters.0 == quarters.1;
        if let (Some(was), Some(is)) = (a.clock(), b.clock())
            && same_quarter
            && is > was
        {
            tell(SenseKind::Clock, format!("the clock goes back: {is} after {was} of {last}"));
        }
        if runs_on(a, b)
            && let (Some(was), Some(is)) = (a.down(), b.down())
        {
            series(a, b, (was, is), &last, &mut tell);
        }
    }
    found
}

/// The checks within one series.
fn series(a: &Tags, b: &Tags, (was, is): (i64, i64), last: &str, tell: &mut dyn FnMut(SenseKind, String)) {
    if is != was + 1 {
        if is > was + 1 {
            let what = format!("the down goes from {was} to {is} after {last}; is a row missing?");
            tell(SenseKind::Down, what);
        } else if is != 1 {
            let way = if is == was { "stays at" } else { "goes back to" };
            let what = format!("the down {way} {is} after {last}; a penalty would be a no play or end in penalty");
            tell(SenseKind::Down, what);
        }
        return;
    }
    let Some(gain) = a.number(Field::Gain) else { return };
    if let (Some(had), Some(has)) = (a.to_gain(), b.to_gain()) {
        let left = i64::from(had) - gain;
        if left <= 0 {
            let what = format!("down {is}, though {last} gained {gain} of {had}, which is a first down");
            tell(SenseKind::Distance, what);
        } else if left != i64::from(has) {
            let what = format!("{has} to gain, though {last} had {had} and gained {gain}, which leaves {left}");
            tell(SenseKind::Distance, what);
        }
    }
    if let (Some(from), Some(to)) = (a.ball_on(), b.ball_on()) {
        let there = i64::from(from.yards()) + gain;
        if (there - i64::from(to.yards())).abs() > SPOT_YARDS {
            let what = format!("the ball is on {to}, though {last} had it on {from} and gained {gain}");
            tell(SenseKind::Spot, what);
        }
    }
}

/// Whether the row after `a` is bound to go on from it: the same team, the same half, and nothing between that changes
/// the series by itself.
fn runs_on(a: &Tags, b: &Tags) -> bool {
    let word = |tags: &Tags, field| tags.word(field).map(str::to_lowercase);
    let differ = |field| matches!((word(a, field), word(b, field)), (Some(x), Some(y)) if x != y);
    let half = |tags: &Tags| tags.number(Field::Quarter).map(|q| if q <= 4 { (q - 1) / 2 } else { q });
    let halves = matches!((half(a), half(b)), (Some(x), Some(y)) if x != y);
    let kick = |tags: &Tags| {
        let kind = word(tags, Field::PlayType);
        kind.is_some_and(|k| ["kickoff", "punt", "field goal", "try", "no play"].contains(&k.as_str()))
    };
    let ended =
        word(a, Field::Ending).is_some_and(|e| ["penalty", "fumble", "safety", "touchdown"].contains(&e.as_str()));
    let taken = word(a, Field::PassResult).is_some_and(|r| r == "intercepted");
    !differ(Field::Ball) && !differ(Field::Unit) && !halves && !kick(a) && !ended && !taken
}

#[cfg(test)]
mod tests {
    use super::super::{ColumnNames, Sheet};
    use super::*;
    use crate::football::Vocabulary;

    fn told(rows: &str) -> String {
        let text = format!("Qtr,Clock,Ball,Down,Dist,Ball On,Type,Ending,Gain\n{rows}");
        let sheet = Sheet::read(text.as_bytes(), "t.csv", &ColumnNames::default(), &Vocabulary::default()).unwrap();
        let line = |s: &Sense| format!("{}: {} {}", s.kind.as_str(), s.problem.place, s.problem.what);
        sense(&sheet.rows).iter().map(line).collect::<Vec<_>>().join("\n")
    }

    #[test]
    fn a_series_that_holds_says_nothing() {
        assert_eq!(
            told(
                "1,15:00,B,1,10,own 25,run,tackle,4\n1,14:20,B,2,6,own 29,pass,tackle,-2\n\
                 1,13:50,B,3,8,own 27,pass,tackle,8\n1,13:10,B,1,10,own 35,run,penalty,3\n\
                 1,13:00,B,1,20,own 25,run,tackle,0\n1,12:20,B,2,20,own 25,no play,,\n\
                 1,12:00,B,2,25,own 20,pass,fumble,3\n1,11:50,O,1,10,own 40,run,tackle,1\n\
                 2,15:00,O,2,9,own 41,punt,,\n2,14:00,B,1,10,own 20,run,tackle,2\n3,15:00,B,1,10,own 25,run,,1\n"
            ),
            ""
        );
    }

    #[test]
    fn what_breaks_the_rules_is_told_once() {
        insta::assert_snapshot!(told(
            "2,8:00,B,1,10,own 25,run,tackle,4\n2,7:30,B,2,7,own 29,run,tackle,7\n2,7:00,B,3,1,own 44,run,tackle,0\n\
             2,7:20,B,3,1,own 44,run,tackle,2\n1,7:00,B,1,10,own 46,run,tackle,1\n1,6:30,B,3,5,own 50,run,tackle,1\n\
             1,6:30,B,3,5,own 50,run,tackle,1\n"
        ), @r"
        distance: t.csv:3 7 to gain, though record 2 had 10 and gained 4, which leaves 6
        distance: t.csv:4 down 3, though record 3 gained 7 of 7, which is a first down
        spot: t.csv:4 the ball is on own 44, though record 3 had it on own 29 and gained 7
        clock: t.csv:5 the clock goes back: 7:20 after 7:00 of record 4
        down: t.csv:5 the down stays at 3 after record 4; a penalty would be a no play or end in penalty
        quarter: t.csv:6 quarter 1 after quarter 2 of record 5
        down: t.csv:7 the down goes from 1 to 3 after record 6; is a row missing?
        doubled: t.csv:8 says the same as record 7; was it typed twice?
        ");
    }

    #[test]
    fn goal_counts_by_the_spot_and_unknown_tells_nothing() {
        assert_eq!(told("1,,B,1,goal,opp 8,run,,3\n1,,B,2,goal,opp 5,run,,1\n"), "");
        assert!(told("1,,B,1,goal,opp 8,run,,3\n1,,B,2,goal,opp 2,run,,1\n").contains("leaves 5"));
        assert_eq!(told("1,,,1,goal,,run,,3\n1,,,2,goal,,run,,\n,,,3,,,,,\n"), "");
    }
}
