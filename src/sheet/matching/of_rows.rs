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
            twin: index.checked_sub(1).and_then(|above| rows.get(above)).is_some_and(|above| is_double(row, above)),
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

/// Whether a row says the same as the one above it, or has the same number on the sheet and says nothing else: what one
/// of them leaves blank the other may hold.
fn is_double(row: &Row, above: &Row) -> bool {
    let number = |row: &Row| row.tags.word(Field::SheetNumber).map(str::to_string);
    let alike = || {
        let both = row.tags.fields.iter().filter_map(|(field, value)| Some((field, value, above.tags.get(*field)?)));
        let both: Vec<_> = both.filter(|(field, ..)| !matches!(field, Field::Time | Field::SheetNumber)).collect();
        both.len() >= 3 && both.iter().all(|(_, one, other)| one == other)
    };
    row.same_play_as(above) || (number(row).is_some() && number(row) == number(above) && alike())
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::football::Vocabulary;
    use crate::sheet::{ColumnNames, Sheet};

    fn facts(text: &str) -> Vec<RowFacts> {
        let sheet = Sheet::read(text.as_bytes(), "tags.csv", &ColumnNames::default(), &Vocabulary::default());
        row_facts(&sheet.unwrap().rows)
    }

    #[test]
    fn rows_are_read_as_the_film_can_show_them() {
        let rows = facts(
            "Play,Down,Dist,Ball On,Play Type,Result,Gain\n1,,,,KO,,\n2,1,10,own 25,run,fumble,4\n3,2,goal,opp 6,P,inc,0\n\
             4,3,goal,opp 6,pass,\"complete, TD\",6\n5,4,9,own 30,punt,,\n6,1,10,own 20,P,sack,-7\n",
        );
        let whats: Vec<What> = rows.iter().map(|row| row.what).collect();
        assert_eq!(whats, [What::Kickoff, What::Run, What::Incomplete, What::Complete, What::Punt, What::Sack]);
        assert_eq!((rows[1].turnover, rows[3].touchdown, rows[2].to_gain), (true, true, Some(6.0)));
        assert_eq!((rows[4].down, rows[5].gain), (Some(4), Some(-7.0)));
    }

    #[test]
    fn a_row_typed_again_because_a_cell_was_blank_is_a_double() {
        let text = "Play,Down,Dist,Play Type,Gain\n1,1,10,run,\n1,1,10,run,4\n2,1,10,run,4\n2,1,10,pass,4\n";
        let twins: Vec<bool> = facts(text).iter().map(|row| row.twin).collect();
        assert_eq!(twins, [false, true, true, false]);
    }
}
