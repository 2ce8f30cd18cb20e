//! Marks that spreadsheet programs and keyboards put into cells.

use crate::football::spoken_number;

/// A cell's text with every kind of space as one plain space, every kind of dash as a hyphen, no invisible marks, and
/// no leading apostrophe (a spreadsheet's sign for "this is text").
pub(super) fn tidy(text: &str) -> String {
    let invisible = |c: char| matches!(c, '\u{200b}'..='\u{200f}' | '\u{feff}' | '\u{2060}' | '\u{ad}');
    let dash =
        |c: char| if matches!(c, '\u{2010}'..='\u{2015}' | '\u{2212}' | '\u{fe63}' | '\u{ff0d}') { '-' } else { c };
    let plain: String = text.chars().filter(|c| !invisible(*c)).map(dash).collect();
    let joined = plain.split_whitespace().collect::<Vec<_>>().join(" ");
    joined.trim_start_matches(['\'', '\u{2018}', '\u{2019}', '`']).trim().to_string()
}

/// Numbers written as words become digits, other words stay: "loss of two" is "loss of 2", "twenty-five" is "25".
pub(super) fn digits(lower: &str) -> String {
    if !lower.bytes().any(|b| b.is_ascii_alphabetic()) {
        return lower.to_string();
    }
    let word = |w: &str| spoken_number(w).map(|n| n.to_string());
    lower.split(' ').map(|w| word(w).unwrap_or_else(|| w.to_string())).collect::<Vec<_>>().join(" ")
}

/// Whether a cell says that its value is not known: empty, dashes, "?", "n/a".
pub(super) fn unknown(tidied: &str) -> bool {
    tidied.chars().all(|c| "-?.".contains(c))
        || ["n/a", "na", "n.a.", "#n/a", "unknown"].iter().any(|u| tidied.eq_ignore_ascii_case(u))
}

/// What a spreadsheet program left in a cell instead of a value; completes "the cell ...".
pub(super) fn spreadsheet_debris(tidied: &str) -> Option<&'static str> {
    const ERRORS: [&str; 7] = ["#REF!", "#VALUE!", "#NAME?", "#DIV/0!", "#NULL!", "#NUM!", "#SPILL!"];
    if ERRORS.iter().any(|e| tidied.eq_ignore_ascii_case(e)) {
        Some("holds a spreadsheet's error and no value")
    } else if tidied.len() > 2 && tidied.chars().all(|c| c == '#') {
        Some("holds only filling: its column was too narrow when the sheet was saved; make it wider and save again")
    } else if tidied.starts_with('=') && tidied.len() > 1 {
        Some("holds a formula and not its value; open the sheet in the spreadsheet program and save it again")
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_go_and_the_text_stays() {
        for (text, want) in [
            ("\u{a0}own\u{a0} 35 ", "own 35"),
            ("'-35", "-35"),
            ("\u{2019}3rd", "3rd"),
            ("\u{2212}4", "-4"),
            ("3\u{2013}7", "3-7"),
            ("\u{feff}1\u{200b}", "1"),
            ("two\nlines", "two lines"),
            ("don't", "don't"),
        ] {
            assert_eq!(tidy(text), want, "{text:?}");
        }
        assert_eq!(digits("loss of twenty-five"), "loss of 25");
        assert_eq!(["one-high", "ten", "5 yds"].map(digits), ["one-high", "10", "5 yds"]);
        assert!(["", "-", "--", "?", "N/A"].into_iter().all(unknown));
        assert!(!unknown("0") && !unknown("-3"));
        assert!(spreadsheet_debris("#REF!").is_some() && spreadsheet_debris("####").is_some());
        assert!(spreadsheet_debris("=B2+1").is_some() && spreadsheet_debris("#1").is_none());
    }
}
