//! A sheet's rows as matching takes them.

use super::facts::{Pin, RowFacts, What};
use crate::football::{Distance, Field, Tags};
use crate::sheet::rows::Row;

/// What matching needs of a sheet's rows.
pub fn row_facts(rows: &[Row]) -> Vec<RowFacts> {
    let of = |(index, row): (usize, &Row)| {
        let tags = &row.tags;
        let ending = tags.word(Field::Ending);
        let what = what(tags);
        RowFacts {
            time: tags.time(),
            twin: index.checked_sub(1).and_then(|above| rows.get(above)).is_some_and(|above| row.same_play_as(above)),
            quarter: tags.number(Field::Quarter),
            clock: tags.clock().map(|c| c.seconds()),
            // Kicks and tries have no series down, whatever was typed.
            down: tags.down().filter(|_| !what.is_kick() || what == What::Punt || what == What::FieldGoal),
            to_gain: match tags.distance() {
                Some(Distance::Yards(yards)) => Some(f64::from(yards)),
                _ => tags.to_gain().map(f64::from),
            },
            gain: tags.number(Field::Gain).map(|gain| gain as f64),
            what,
            touchdown: ending == Some("touchdown"),
            turnover: what == What::Intercepted || matches!(ending, Some("fumble" | "safety")),
            pin: Pin::Free,
        }
    };
    rows.iter().enumerate().map(of).collect()
}

fn what(tags: &Tags) -> What {
    if tags.word(Field::Ending) == Some("sack") {
        return What::Sack;
    }
    let result = match tags.word(Field::PassResult) {
        Some("complete") => Some(What::Complete),
        Some("incomplete") => Some(What::Incomplete),
        Some("intercepted") => Some(What::Intercepted),
        _ => None,
    };
    match tags.word(Field::PlayType) {
        Some("run") => result.unwrap_or(What::Run),
        Some("pass" | "screen" | "play-action") => result.unwrap_or(What::Pass),
        Some("kickoff") => What::Kickoff,
        Some("punt") => What::Punt,
        Some("field goal") => What::FieldGoal,
        Some("try") => What::Try,
        Some("no play") => What::NoPlay,
        // A word of the staff's own, or a run-pass option, which may be either.
        _ => result.unwrap_or(What::Unknown),
    }
}
