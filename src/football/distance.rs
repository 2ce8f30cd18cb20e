//! Distance to the line to gain.

use std::fmt;

/// Yards to the line to gain, or goal where that is the goal line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Distance {
    /// Whole yards, 1 to 99. Inches count as 1.
    Yards(u8),
    /// The line to gain is the goal line; how many yards that is, the ball's spot tells.
    Goal,
}

impl Distance {
    /// Reads "7", "7 yds", "G", "goal", "&G", "inches".
    pub fn parse(text: &str) -> Option<Self> {
        let plain = text.trim().trim_start_matches('&').trim().to_lowercase();
        match plain.as_str() {
            "g" | "gl" | "goal" | "goal line" => return Some(Self::Goal),
            "inches" | "inch" | "in" => return Some(Self::Yards(1)),
            _ => {}
        }
        let number = plain
            .strip_suffix("yards")
            .or_else(|| plain.strip_suffix("yds"))
            .or_else(|| plain.strip_suffix("yd"))
            .unwrap_or(&plain)
            .trim();
        // A spreadsheet program writes whole numbers as 7.0 when the column holds a fraction somewhere.
        let number = number.strip_suffix(".0").unwrap_or(number);
        match number.parse::<u8>() {
            Ok(yards @ 1..=99) => Some(Self::Yards(yards)),
            _ => None,
        }
    }
}

impl fmt::Display for Distance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Yards(yards) => yards.fmt(f),
            Self::Goal => f.write_str("goal"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_what_people_type() {
        for (text, want) in [
            ("7", Some(Distance::Yards(7))),
            (" 10 yds", Some(Distance::Yards(10))),
            ("3.0", Some(Distance::Yards(3))),
            ("G", Some(Distance::Goal)),
            ("&Goal", Some(Distance::Goal)),
            ("inches", Some(Distance::Yards(1))),
            ("0", None),
            ("-3", None),
            ("100", None),
            ("ten", None),
            ("", None),
        ] {
            assert_eq!(Distance::parse(text), want, "{text:?}");
        }
    }
}
