//! A filter in words that the parser reads back as the same filter.
//!
//! Every compound inside a compound stands in parentheses, and so does a `not` inside an `or`: the printed form never
//! leans on precedence.

use std::fmt;

use super::{Filter, Range, TextMatch};
use crate::football::{Field, GameClock, Spot};

impl fmt::Display for Filter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Filter::All => f.write_str("all"),
            Filter::Is { field, word } => write!(f, "{field} = {}", Spoken(word)),
            Filter::Any(field) => field.fmt(f),
            Filter::Number { field, range } => print_range(f, field.words(), *range, |n| n.to_string()),
            Filter::ToGain(range) => print_range(f, Field::Distance.words(), *range, |n| n.to_string()),
            Filter::GoalToGo => write!(f, "{} = goal", Field::Distance),
            Filter::BallOn { from, to } => print_spots(f, *from, *to),
            Filter::Clock(range) => print_range(f, Field::Clock.words(), *range, |n| {
                u16::try_from(n).ok().and_then(GameClock::from_seconds).map_or_else(|| n.to_string(), |c| c.to_string())
            }),
            Filter::Text { field, how: TextMatch::Is, text } => write!(f, "{field} = {}", Text(text)),
            Filter::Text { field, how: TextMatch::Has, text } => write!(f, "{field} has {}", Text(text)),
            Filter::Own { name, value } => write!(f, "tag {} = {}", Text(name), Text(value)),
            Filter::Game(name) => write!(f, "game = {}", Text(name)),
            Filter::Opponent(team) => write!(f, "opponent = {}", Text(team)),
            Filter::Date { from, to } => match (from, to) {
                (Some(from), Some(to)) if from == to => write!(f, "date = {from}"),
                (Some(from), Some(to)) => write!(f, "date {from} to {to}"),
                (Some(from), None) => write!(f, "date >= {from}"),
                (None, Some(to)) => write!(f, "date <= {to}"),
                (None, None) => f.write_str("all"),
            },
            Filter::LastGames(1) => f.write_str("last game"),
            Filter::LastGames(number) => write!(f, "last {number} games"),
            Filter::Opener => f.write_str("opener"),
            Filter::Label(label) => write!(f, "play {}", Label(label)),
            Filter::Success(_) => f.write_str("success"),
            Filter::And(parts) => print_list(f, parts, " and ", false),
            Filter::Or(parts) => print_list(f, parts, " or ", true),
            Filter::Not(inner) => match **inner {
                Filter::And(_) | Filter::Or(_) | Filter::Not(_) => write!(f, "not ({inner})"),
                _ => write!(f, "not {inner}"),
            },
        }
    }
}

fn print_list(f: &mut fmt::Formatter<'_>, parts: &[Filter], between: &str, wrap_not: bool) -> fmt::Result {
    for (index, part) in parts.iter().enumerate() {
        if index > 0 {
            f.write_str(between)?;
        }
        match part {
            Filter::And(_) | Filter::Or(_) => write!(f, "({part})")?,
            Filter::Not(_) if wrap_not => write!(f, "({part})")?,
            _ => write!(f, "{part}")?,
        }
    }
    Ok(())
}

fn print_range(f: &mut fmt::Formatter<'_>, name: &str, range: Range, show: impl Fn(i64) -> String) -> fmt::Result {
    match (range.low(), range.high()) {
        (Some(low), Some(high)) if low == high => write!(f, "{name} = {}", show(low)),
        // "-3--1" cannot be read, neither by people.
        (Some(low), Some(high)) if low < 0 => write!(f, "{name} {} to {}", show(low), show(high)),
        (Some(low), Some(high)) => write!(f, "{name} {}-{}", show(low), show(high)),
        (Some(low), None) => write!(f, "{name} >= {}", show(low)),
        (None, Some(-1)) => write!(f, "{name} < 0"),
        (None, Some(high)) => write!(f, "{name} <= {}", show(high)),
        (None, None) => f.write_str("all"),
    }
}

fn print_spots(f: &mut fmt::Formatter<'_>, from: Spot, to: Spot) -> fmt::Result {
    let name = Field::BallOn;
    if from == to {
        write!(f, "{name} {from}")
    } else if to.yards() <= 50 {
        write!(f, "{name} own {}-{}", from.yards(), to.yards())
    } else if from.yards() >= 50 {
        write!(f, "{name} opp {}-{}", from.to_goal(), to.to_goal())
    } else {
        write!(f, "{name} {from} to {to}")
    }
}

/// Words that end an unquoted value.
pub(super) const JOINING: &[&str] = &["and", "or", "not", "vs", "versus", "against"];

/// A vocabulary word: bare if nothing in it could be read as something else, else in quotes.
struct Spoken<'a>(&'a str);

/// A text of one word bare, any other in quotes.
struct Text<'a>(&'a str);

/// A label: bare if it is a number with or without small letters behind, else in quotes.
struct Label<'a>(&'a str);

/// Letters and digits in runs joined by single hyphens, with no joining word among them.
fn plain(word: &str) -> bool {
    word.split('-').all(|run| {
        !run.is_empty() && run.chars().all(char::is_alphanumeric) && !JOINING.contains(&run.to_lowercase().as_str())
    })
}

fn print_quoted(f: &mut fmt::Formatter<'_>, text: &str) -> fmt::Result {
    f.write_str("\"")?;
    for c in text.chars() {
        if matches!(c, '"' | '\\' | '\u{201c}' | '\u{201d}') {
            f.write_str("\\")?;
        }
        write!(f, "{c}")?;
    }
    f.write_str("\"")
}

impl fmt::Display for Spoken<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0.split(' ').all(plain) { f.write_str(self.0) } else { print_quoted(f, self.0) }
    }
}

impl fmt::Display for Text<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if plain(self.0) { f.write_str(self.0) } else { print_quoted(f, self.0) }
    }
}

impl fmt::Display for Label<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let bare = self.0.starts_with(|c: char| ('1'..='9').contains(&c))
            && self.0.chars().all(|c| c.is_ascii_digit() || c.is_ascii_lowercase());
        if bare { f.write_str(self.0) } else { print_quoted(f, self.0) }
    }
}
