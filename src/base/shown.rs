//! Words for people: names of anybody's files on one line, counts.

/// Text without signs that would break a line, ring a bell or turn the line round (Unicode's controls of direction): each
/// becomes `?`.
pub fn shown(text: &str) -> String {
    let turns =
        |c: char| matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let breaks = |c: char| c.is_control() || matches!(c, '\u{2028}' | '\u{2029}');
    text.chars().map(|c| if turns(c) || breaks(c) { '?' } else { c }).collect()
}

/// A count with its noun: `1 play`, `12 plays`.
pub fn count(number: usize, noun: &str) -> String {
    let ending = if number == 1 { "" } else { "s" };
    format!("{number} {noun}{ending}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_stays_on_its_line_and_reads_forward() {
        assert_eq!(shown("wide\n4\u{202e}4pm.exe\u{7}\u{2028}"), "wide?4?4pm.exe??");
        assert_eq!(shown("Füchse – 3rd & 2"), "Füchse – 3rd & 2");
    }
}
