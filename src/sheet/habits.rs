//! What the cells of a sheet agree on, where one cell alone does not tell.

use super::cell::film_seconds;
use super::columns::{Columns, Role};
use super::down_cell::{SlipOrder, serial_day, slip_order, ways};
use super::table::Table;
use super::tidy_text::{tidy, unknown};
use super::workbook::DateBase;
use crate::football::{Field, GameClock};

/// How a column's times are to be read where a spreadsheet program took them for times of day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum DayTimes {
    /// There are none, or they are hours, minutes and seconds as they stand.
    #[default]
    AsTold,
    /// "12:34" was typed for minutes and seconds and taken for hours and minutes.
    HoursAreMinutes,
}

impl DayTimes {
    /// What was typed, seconds, of the seconds that a time of day stands for.
    pub fn typed(self, seconds: f64) -> f64 {
        if self == Self::HoursAreMinutes { seconds / 60.0 } else { seconds }
    }
}

/// What a sheet's cells agree on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Habits {
    /// The order of month and day in the sheet's date slips.
    pub slips: Option<SlipOrder>,
    /// From which day its date serials count.
    pub date_base: Option<DateBase>,
    /// The clock's day times.
    pub clock: DayTimes,
    /// The film time's day times.
    pub time: DayTimes,
    /// The film times are fractions of a day.
    pub time_is_fraction: bool,
    /// The column read as film time holds the game clock.
    pub time_is_clock: bool,
    /// Own spots carry a minus and none carries a plus: the program that the sheet was typed in drops a plus.
    pub plus_dropped: bool,
}

impl Habits {
    /// Looks at a table's columns.
    pub fn of(table: &Table, columns: &Columns) -> Self {
        let cells = |field: Field| -> Vec<String> {
            let index = columns.find(Role::Field(field)).map(|(index, _)| index);
            let texts = index.into_iter().flat_map(|i| table.cells(i)).map(tidy);
            texts.filter(|t| !unknown(t)).collect()
        };
        let downs = cells(Field::Down);
        let (clocks, times) = (cells(Field::Clock), cells(Field::Time));
        let is_clock = columns.find(Role::Field(Field::Clock)).is_none() && falls_as_a_clock(&times);
        let spots = cells(Field::BallOn);
        let minus = spots.iter().filter(|t| t.strip_prefix('-').is_some_and(|n| n.parse::<u8>().is_ok())).count();
        let sided = |t: &String| t.starts_with('+') || t.chars().any(char::is_alphabetic);
        let fractions: Vec<f64> = times.iter().filter_map(|t| t.parse::<f64>().ok()).collect();
        // Plays are more than a second apart: three of them within the first second of a film are parts of a day.
        let time_is_fraction = fractions.len() >= 3
            && fractions.len() == times.len()
            && fractions.iter().all(|t| (0.0..1.0).contains(t))
            && fractions.iter().any(|t| *t > 0.0);
        let slips = slip_order(downs.iter().map(String::as_str));
        Self {
            slips,
            date_base: table.date_base.or_else(|| date_base(&downs)),
            clock: day_times(if is_clock { &times } else { &clocks }, 1),
            time: day_times(&times, 3),
            time_is_fraction,
            time_is_clock: is_clock,
            plus_dropped: minus >= 3 && !spots.iter().any(sided),
        }
    }
}

/// Seconds of a time of day: "12:34:00", or a fraction of a day such as .5236 (12:34).
pub(super) fn day_seconds(text: &str) -> Option<f64> {
    if let Ok(part) = text.parse::<f64>() {
        return (text.contains('.') && (0.0..1.0).contains(&part)).then(|| (part * 86_400.0).round());
    }
    let pieces: Vec<&str> = text.split(':').collect();
    let [hours, minutes, seconds] = pieces[..] else { return None };
    let of = |t: &str, most: u32| t.parse::<u32>().ok().filter(|n| *n < most && t.len() <= 3);
    Some(f64::from(of(hours, 200)? * 3600 + of(minutes, 60)? * 60 + of(seconds, 60)?))
}

/// A spreadsheet program reads "12:34" as hours and minutes: then every cell is a whole minute, which sixty times
/// sixty times would not be by chance. One cell is enough for a clock, which has no hours; film time needs `least`.
fn day_times(texts: &[String], least: usize) -> DayTimes {
    let seconds: Vec<f64> = texts.iter().filter_map(|t| day_seconds(t)).collect();
    let whole = seconds.len() >= least && seconds.iter().all(|s| s % 60.0 == 0.0);
    if whole { DayTimes::HoursAreMinutes } else { DayTimes::AsTold }
}

/// Whether times are a game clock's: all within a quarter, they fall more than twice as often as they rise (film time
/// only rises, a game clock only falls but for three times a game).
fn falls_as_a_clock(texts: &[String]) -> bool {
    let clocks: Vec<f64> =
        texts.iter().filter(|t| GameClock::parse(t).is_some()).filter_map(|t| film_seconds(t).ok()).collect();
    let falls = clocks.windows(2).filter(|w| w[1] < w[0]).count();
    let rises = clocks.windows(2).filter(|w| w[1] > w[0]).count();
    clocks.len() >= 4 && clocks.len() * 10 >= texts.len() * 9 && falls > 2 * rises
}

/// The base under which the serials are first and ten, the commonest down there is: at least twice as often as under
/// the other, whose dates lie a day beside it (four years and one day are between the bases).
fn date_base(downs: &[String]) -> Option<DateBase> {
    let first_and_ten = |base| {
        let days = downs.iter().filter_map(|t| serial_day(t, base));
        days.filter(|(month, day)| ways(*month, *day).iter().any(|w| (w.1, w.2) == (1, 10))).count()
    };
    let (early, late) = (first_and_ten(DateBase::Y1900), first_and_ten(DateBase::Y1904));
    match (early, late) {
        (a, b) if a >= 2 && a >= 2 * b => Some(DateBase::Y1900),
        (a, b) if b >= 2 && b >= 2 * a => Some(DateBase::Y1904),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(texts: &[&str]) -> Vec<String> {
        texts.iter().map(|t| (*t).to_string()).collect()
    }

    #[test]
    fn times_that_a_spreadsheet_took_for_times_of_day() {
        assert_eq!(day_seconds("0.523611111111111"), Some(45_240.0));
        assert_eq!(day_seconds("12:34:00"), Some(45_240.0));
        assert_eq!(["12:34", "754", "1.5", "12:61:00"].map(day_seconds), [None; 4]);
        assert_eq!(day_times(&texts(&["12:34:00", "0:07:00"]), 1), DayTimes::HoursAreMinutes);
        assert_eq!(day_times(&texts(&["0:12:34", "0:07:00"]), 1), DayTimes::AsTold);
        assert_eq!(day_times(&texts(&["12:34"]), 1), DayTimes::AsTold);
    }

    #[test]
    fn the_commonest_down_tells_the_date_base() {
        // January 10, 2018, in either base, and a second and seven (February 7).
        assert_eq!(date_base(&texts(&["43110", "43110", "43138"])), Some(DateBase::Y1900));
        assert_eq!(date_base(&texts(&["41648", "41648", "41676"])), Some(DateBase::Y1904));
        assert_eq!(date_base(&texts(&["43344", "3"])), None);
    }
}
