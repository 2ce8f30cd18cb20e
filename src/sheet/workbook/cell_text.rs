//! A workbook's values as the text that a person would have typed.

use calamine::{Data, ExcelDateTime};

/// Serials below this are numbers in a cell that happens to be formatted as a date: nobody tags a game of 1900.
const FIRST_DATE: f64 = 400.0;

/// A cell's value, errors as the spreadsheet program shows them; nothing where it is empty.
pub fn value(value: &Data) -> String {
    match value {
        Data::Empty => String::new(),
        Data::Int(n) => n.to_string(),
        Data::Float(n) => number(*n),
        Data::String(text) => text.clone(),
        Data::Bool(b) => truth(*b),
        Data::DateTime(value) => date_time(value),
        Data::DateTimeIso(text) => text.replace('T', " "),
        Data::DurationIso(text) => iso_duration(text),
        Data::Error(kind) => kind.to_string(),
    }
}

/// A number: whole ones without a point.
pub fn number(value: f64) -> String {
    // Fifteen digits are what a spreadsheet program shows; what arithmetic left behind them was never typed.
    let shown = format!("{value:.14e}").parse().unwrap_or(value);
    let whole = shown.round();
    if shown == whole && whole.abs() < 1e15 { format!("{whole:.0}") } else { shown.to_string() }
}

/// A date, a time or both: "2026-01-10", "12:34:00", "2026-01-10 21:04:05".
pub fn date_time(value: &ExcelDateTime) -> String {
    let serial = value.as_f64();
    if !serial.is_finite() || serial < 0.0 {
        return number(serial);
    }
    let seconds = (serial * 86_400.0).round();
    if value.is_duration() || serial < 1.0 {
        return clock(seconds);
    }
    if serial < FIRST_DATE && serial.fract() == 0.0 {
        return number(serial);
    }
    let (year, month, day, ..) = value.to_ymd_hms_milli();
    let date = format!("{year:04}-{month:02}-{day:02}");
    let of_day = seconds.rem_euclid(86_400.0);
    if of_day < 1.0 { date } else { format!("{date} {}", clock(of_day)) }
}

/// Seconds as hours, minutes and seconds.
pub fn clock(seconds: f64) -> String {
    let all = seconds.max(0.0) as u64;
    format!("{}:{:02}:{:02}", all / 3600, all / 60 % 60, all % 60)
}

/// An ISO 8601 duration as hours, minutes and seconds: "PT12H34M00S".
pub fn iso_duration(text: &str) -> String {
    let mut seconds = 0.0;
    let mut number = String::new();
    let Some(body) = text.strip_prefix('P') else { return text.to_string() };
    for c in body.chars() {
        let unit = match c {
            'T' => continue,
            'D' => 86_400.0,
            'H' => 3600.0,
            'M' => 60.0,
            'S' => 1.0,
            c => {
                number.push(if c == ',' { '.' } else { c });
                continue;
            }
        };
        match number.parse::<f64>() {
            Ok(n) => seconds += n * unit,
            Err(_) => return text.to_string(),
        }
        number.clear();
    }
    clock(seconds.round())
}

/// True and false, as a spreadsheet shows them.
pub fn truth(value: bool) -> String {
    (if value { "TRUE" } else { "FALSE" }).to_string()
}

#[cfg(test)]
mod tests {
    use calamine::ExcelDateTimeType;

    use super::*;

    #[test]
    fn values_are_what_was_typed() {
        assert_eq!([3.0, -4.0, 0.1 + 0.2, 7.5].map(number), ["3", "-4", "0.3", "7.5"]);
        let date = |serial, base| date_time(&ExcelDateTime::new(serial, ExcelDateTimeType::DateTime, base));
        // The same serial in both bases [ECMA-376 18.17.4.1: they differ by 1462 days].
        assert_eq!(date(43344.0, false), "2018-09-01");
        assert_eq!(date(41882.0, true), "2018-09-01");
        assert_eq!(date(43344.5, false), "2018-09-01 12:00:00");
        assert_eq!(date(3.0, false), "3");
        assert_eq!(date(754.0 / 1440.0, false), "12:34:00");
        let span = ExcelDateTime::new(75.5 / 24.0, ExcelDateTimeType::TimeDelta, false);
        assert_eq!(date_time(&span), "75:30:00");
        assert_eq!(iso_duration("PT12H34M00S"), "12:34:00");
        assert_eq!(iso_duration("PT75H30M00.5S"), "75:30:01");
        assert_eq!(iso_duration("soon"), "soon");
    }
}
