//! A cell of the down column: "3", "3rd", "3rd & 7", and the date that a spreadsheet program made of "3-7".

use jiff::ToSpan;
use jiff::civil::date;

use super::cell::Reading;
use super::habits::Habits;
use super::tidy_text::{digits, tidy};
use super::workbook::DateBase;
use crate::football::{Distance, Field, Value};

const MONTHS: [&str; 12] = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];

/// Which of a date's two numbers was typed first.
///
/// A spreadsheet program set to month-day order shows "1-10" as 10-Jan, one set to day-month order as 1-Oct.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SlipOrder {
    /// "1-10" became 10-Jan.
    MonthFirst,
    /// "1-10" became 1-Oct.
    DayFirst,
}

/// Month and day of a text that a spreadsheet program wrote as a date: "10-Jan", "Jan-10", "10-Jan-26", "2026-01-10",
/// "1/10/2026" (month first). `None` for all else.
pub(super) fn date_slip(text: &str) -> Option<(u8, u8)> {
    let text = tidy(text).to_lowercase();
    let tokens: Vec<&str> = text.split(['-', '/', '.', ' ', ',']).filter(|t| !t.is_empty()).collect();
    let month_name = |t: &str| {
        let known = |m: &str| t == m || (t.len() > 3 && is_long_month(t, m)) || (t == "sept" && m == "sep");
        MONTHS.iter().position(|m| known(m)).and_then(|i| u8::try_from(i + 1).ok())
    };
    let number = |t: &str| t.parse::<u8>().ok().filter(|n| (1..=99).contains(n));
    let year = |t: &str| t.len() == 4 && t.parse::<u16>().is_ok_and(|y| (1900..2100).contains(&y));
    // No month has a 35th: "1-35" became January 1935.
    if let [y, m, d] | [y, m, d, _] = tokens[..]
        && year(y)
        && number(d) == Some(1)
        && let Ok(distance @ 32..=99) = y.parse::<u16>().map(|y| y.saturating_sub(1900))
    {
        return Some((number(m).filter(|m| *m <= 12)?, u8::try_from(distance).ok()?));
    }
    match tokens[..] {
        [a, b] | [a, b, _] if month_name(a).is_some() => Some((month_name(a)?, number(b)?)),
        [a, b] | [a, b, _] if month_name(b).is_some() => Some((month_name(b)?, number(a)?)),
        [y, m, d] if year(y) => Some((number(m).filter(|m| *m <= 12)?, number(d)?)),
        // With a time of day after it.
        [y, m, d, _] if year(y) => Some((number(m).filter(|m| *m <= 12)?, number(d)?)),
        [m, d, y] if year(y) => Some((number(m).filter(|m| *m <= 12)?, number(d)?)),
        _ => None,
    }
}

fn is_long_month(text: &str, short: &str) -> bool {
    const LONG: [&str; 12] = [
        "january",
        "february",
        "march",
        "april",
        "may",
        "june",
        "july",
        "august",
        "september",
        "october",
        "november",
        "december",
    ];
    LONG.iter().any(|l| l.starts_with(short) && *l == text)
}

/// Month and day of a date's serial number (30000 to 60000: the years 1982 to 2068).
pub(super) fn serial_day(text: &str, base: DateBase) -> Option<(u8, u8)> {
    let serial =
        text.strip_suffix(".0").unwrap_or(text).parse::<i32>().ok().filter(|n| (30_000..60_000).contains(n))?;
    let day = match base {
        // Day 60 is the February 29 that never was [ECMA-376, 18.17.4.1].
        DateBase::Y1900 => date(1899, 12, 30),
        DateBase::Y1904 => date(1904, 1, 1),
    };
    let day = day.checked_add(serial.days()).ok()?;
    Some((u8::try_from(day.month()).ok()?, u8::try_from(day.day()).ok()?))
}

/// The two numbers in the order in which they were typed, both ways where both can be a down and a distance.
pub(super) fn ways(month: u8, day: u8) -> Vec<(SlipOrder, u8, u8)> {
    [(SlipOrder::MonthFirst, month, day), (SlipOrder::DayFirst, day, month)]
        .into_iter()
        .filter(|(_, down, distance)| (1..=4).contains(down) && (1..=99).contains(distance))
        .collect()
}

/// The order that a sheet's slips agree on; `None` where none tells or they disagree.
pub(super) fn slip_order<'a>(cells: impl Iterator<Item = &'a str>) -> Option<SlipOrder> {
    let mut found = None;
    for (month, day) in cells.filter_map(date_slip) {
        if let [(order, ..)] = ways(month, day)[..] {
            if found.is_some_and(|f| f != order) {
                return None;
            }
            found = Some(order);
        }
    }
    found
}

/// Reads a tidied cell of the down column.
pub(super) fn read_down(text: &str, habits: &Habits) -> Reading {
    if let Some((month, day)) = date_slip(text) {
        return read_slip(month, day, habits.slips);
    }
    let lower = digits(&text.to_lowercase());
    if lower == "0" || lower == "0.0" {
        return Reading::Notation(Vec::new(), "no down");
    }
    if serial_day(&lower, DateBase::Y1900).is_some() {
        return match habits.date_base.and_then(|base| serial_day(&lower, base)) {
            Some((month, day)) => read_slip(month, day, habits.slips),
            None => Reading::Refused(
                "is a date's serial number: a spreadsheet program took down and distance for a date; type them again"
                    .to_string(),
            ),
        };
    }
    let spaced: String = lower.chars().map(|c| if "&/-+,;@".contains(c) { ' ' } else { c }).collect();
    let mut tokens: Vec<&str> = spaced.split(' ').filter(|t| !["", "and", "n", "down"].contains(t)).collect();
    if let [.., unit] = tokens[..]
        && ["yards", "yard", "yds", "yd"].contains(&unit)
        && tokens.len() > 2
    {
        tokens.pop();
    }
    let Some((first, rest)) = tokens.split_first() else {
        return Reading::Refused("is no down".to_string());
    };
    let Some(down) = down_word(first) else {
        return Reading::Refused("is no down from 1 to 4".to_string());
    };
    let down_part = (Field::Down, Value::Number(down));
    if rest.is_empty() {
        let plain = text.trim_end_matches(".0").parse::<i64>() == Ok(down);
        return if plain { Reading::Plain(vec![down_part]) } else { Reading::Notation(vec![down_part], "") };
    }
    match Distance::parse(&rest.join(" ")) {
        Some(distance) => Reading::Notation(vec![down_part, (Field::Distance, Value::Distance(distance))], ""),
        None => Reading::Mended(vec![down_part], format!("the distance \"{}\" could not be read", rest.join(" "))),
    }
}

fn read_slip(month: u8, day: u8, order: Option<SlipOrder>) -> Reading {
    let ways = ways(month, day);
    let chosen = match ways[..] {
        [(_, down, distance)] => Some((down, distance)),
        [(_, a, b), (_, c, _)] if a == c => Some((a, b)),
        _ => ways.iter().find(|(o, ..)| Some(*o) == order).map(|(_, down, distance)| (*down, *distance)),
    };
    match chosen {
        Some((down, distance)) => Reading::Mended(
            vec![
                (Field::Down, Value::Number(down.into())),
                (Field::Distance, Value::Distance(Distance::Yards(distance))),
            ],
            "a spreadsheet program took down and distance for a date".to_string(),
        ),
        None if ways.is_empty() => Reading::Refused("is a date, and no down and distance".to_string()),
        None => Reading::Refused(format!(
            "is a date that a spreadsheet program made of either {month}-{day} or {day}-{month}; type it again"
        )),
    }
}

fn down_word(token: &str) -> Option<i64> {
    let token = token.strip_suffix(".0").unwrap_or(token);
    let words = [["1", "1st", "first"], ["2", "2nd", "second"], ["3", "3rd", "third"], ["4", "4th", "fourth"]];
    words.iter().position(|w| w.contains(&token)).and_then(|i| i64::try_from(i + 1).ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn show(text: &str, slips: Option<SlipOrder>) -> String {
        read_down(&tidy(text), &Habits { slips, ..Habits::default() }).show()
    }

    #[test]
    fn downs_in_every_notation() {
        for (text, want) in [
            ("3", "plain down=3"),
            ("3.0", "plain down=3"),
            ("3rd", "notation down=3"),
            ("Third Down", "notation down=3"),
            ("1st & G", "notation down=1 distance=goal"),
            ("3rd & 7", "notation down=3 distance=7"),
            ("3 and 7", "notation down=3 distance=7"),
            ("3&7", "notation down=3 distance=7"),
            ("3/7", "notation down=3 distance=7"),
            ("3\u{2013}7", "notation down=3 distance=7"),
            ("'3-7", "notation down=3 distance=7"),
            ("4 & inches", "notation down=4 distance=1"),
            ("2nd and 8 yds", "notation down=2 distance=8"),
            ("three and ten", "notation down=3 distance=10"),
            ("0", "notation"),
        ] {
            assert_eq!(show(text, None), want, "{text:?}");
        }
        insta::assert_snapshot!([show("3rd & long", None), show("5", None), show("kick", None), show("43344", None)].join("\n"), @r#"
        mended down=3: the distance "long" could not be read
        refused: is no down from 1 to 4
        refused: is no down from 1 to 4
        refused: is a date's serial number: a spreadsheet program took down and distance for a date; type them again
        "#);
    }

    #[test]
    fn dates_that_were_downs() {
        for text in
            ["10-Jan", "1-Oct", "Jan-10", "10-Jan-26", "2026-01-10", "1/10/2026", "January 10", "2026-01-10 00:00:00"]
        {
            assert_eq!(
                show(text, None),
                "mended down=1 distance=10: a spreadsheet program took down and distance for a date",
                "{text:?}"
            );
        }
        assert!(show("1935-01-01 00:00:00", None).starts_with("mended down=1 distance=35"));
        let serial = |text, date_base| read_down(text, &Habits { date_base, ..Habits::default() }).show();
        assert!(serial("43344", Some(DateBase::Y1900)).starts_with("mended down=1 distance=9"));
        assert!(serial("43344", Some(DateBase::Y1904)).starts_with("mended down=2 distance=9"));
        assert!(show("3-Mar", None).starts_with("mended down=3 distance=3"));
        assert!(show("25-Dec", None).starts_with("refused"));
        // 3-Feb is 2 and 3, or 3 and 2: the sheet's other slips tell, or nobody does.
        assert_eq!(
            show("3-Feb", None),
            "refused: is a date that a spreadsheet program made of either 2-3 or 3-2; type it again"
        );
        assert!(show("3-Feb", Some(SlipOrder::MonthFirst)).starts_with("mended down=2 distance=3"));
        assert!(show("3-Feb", Some(SlipOrder::DayFirst)).starts_with("mended down=3 distance=2"));
        assert_eq!(slip_order(["10-Jan", "3-Feb", "x"].into_iter()), Some(SlipOrder::MonthFirst));
        assert_eq!(slip_order(["10-Jan", "1-Oct"].into_iter()), None);
        assert_eq!(slip_order(["3-Feb"].into_iter()), None);
    }
}
