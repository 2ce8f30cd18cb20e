//! A spot on the field.

use std::fmt;

/// Yards from the offense's own goal line, 1 to 99: own 35 is 35, opp 34 is 66.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Spot(u8);

impl Spot {
    /// From yards to the offense's own goal line.
    pub fn from_own_goal(yards: u8) -> Option<Self> {
        (1..=99).contains(&yards).then_some(Self(yards))
    }

    /// Yards from the offense's own goal line.
    pub fn yards(self) -> u8 {
        self.0
    }

    /// Yards to the goal line the offense attacks.
    pub fn to_goal(self) -> u8 {
        100 - self.0
    }

    /// Reads "own 35", "opp 20", "50", and the signs "-35" (own) and "+20" (opponent's) **[practice]**. A bare number
    /// other than 50 tells no side and is not read.
    pub fn parse(text: &str) -> Option<Self> {
        let plain = text.trim().to_lowercase().replace(['\u{2212}', '\u{2013}'], "-");
        let number = |s: &str| {
            let s = s.trim_start_matches(['\'', ' ', '-']).trim();
            s.strip_suffix(".0").unwrap_or(s).parse::<u8>().ok().filter(|n| (1..=50).contains(n))
        };
        for (mark, own) in [("own", true), ("opponent", false), ("opp", false), ("-", true), ("+", false)] {
            if let Some(rest) = plain.strip_prefix(mark) {
                let rest = rest.trim_start_matches(['.', 's']);
                let yards = number(rest)?;
                return Self::from_own_goal(if own { yards } else { 100 - yards });
            }
        }
        (number(&plain)? == 50).then_some(Self(50))
    }
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            50 => f.write_str("50"),
            own @ 0..50 => write!(f, "own {own}"),
            _ => write!(f, "opp {}", self.to_goal()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_both_notations_and_prints_one() {
        for (text, want) in [
            ("own 35", Some("own 35")),
            ("OWN35", Some("own 35")),
            ("-35", Some("own 35")),
            ("\u{2212}35", Some("own 35")),
            ("opp 20", Some("opp 20")),
            ("Opp. 20", Some("opp 20")),
            ("+20", Some("opp 20")),
            ("+1", Some("opp 1")),
            ("50", Some("50")),
            ("own 50", Some("50")),
            ("35", None),
            ("own 51", None),
            ("own", None),
            ("", None),
        ] {
            assert_eq!(Spot::parse(text).map(|s| s.to_string()).as_deref(), want, "{text:?}");
        }
    }
}
