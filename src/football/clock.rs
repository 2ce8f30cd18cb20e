//! The game clock.

use std::fmt;

/// Time left in the quarter, seconds, 0 to 15:00.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct GameClock(u16);

impl GameClock {
    /// From seconds left, at most 15 minutes **[rule, from memory: quarters are 12 or 15 minutes]**.
    pub fn from_seconds(seconds: u16) -> Option<Self> {
        (seconds <= 900).then_some(Self(seconds))
    }

    /// Seconds left.
    pub fn seconds(self) -> u16 {
        self.0
    }

    /// Reads "12:34", ":45", "4:31.0", "4:31:00" (a spreadsheet program's hours and minutes).
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        let text = text.split_once('.').map_or(text, |(whole, _)| whole);
        let mut pieces = text.split(':');
        let (minutes, seconds) = (pieces.next()?, pieces.next()?);
        if let Some(third) = pieces.next()
            && !(third == "00" && pieces.next().is_none())
        {
            return None;
        }
        let minutes: u16 = if minutes.is_empty() { 0 } else { minutes.parse().ok()? };
        if seconds.len() != 2 || minutes > 15 {
            return None;
        }
        let seconds: u16 = seconds.parse().ok().filter(|s| *s < 60)?;
        Self::from_seconds(minutes * 60 + seconds)
    }
}

impl fmt::Display for GameClock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{:02}", self.0 / 60, self.0 % 60)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_clocks() {
        for (text, want) in [
            ("12:34", Some(754)),
            (":45", Some(45)),
            ("4:31.0", Some(271)),
            ("4:31:00", Some(271)),
            ("15:00", Some(900)),
            ("15:01", None),
            ("4:60", None),
            ("4:3", None),
            ("431", None),
            ("4:31:07", None),
        ] {
            assert_eq!(GameClock::parse(text).map(GameClock::seconds), want, "{text:?}");
        }
    }
}
