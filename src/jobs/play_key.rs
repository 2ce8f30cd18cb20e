//! What plays are ordered and grouped by.

use std::cmp::Ordering;

use crate::base::{Error, Result};
use crate::football::{Distance, Field, Value, fold};
use crate::library::PlayFound;

/// Plays by the value they share, `None` for those without one.
pub type Groups<'a> = Vec<(Option<String>, Vec<&'a PlayFound>)>;

/// A field, one of the staff's own columns, or where the play is from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Key {
    /// One of the trade's fields.
    Field(Field),
    /// A column of the staff's own.
    Own(String),
    /// The game, in the order of the season.
    Game,
    /// The day of the game.
    Date,
    /// The play's label.
    Label,
}

/// A value to be ordered: numbers before words, what is unknown last.
#[derive(Debug, Clone, PartialEq)]
enum Rank {
    Number(f64),
    Word(String),
    Unknown,
}

impl Key {
    /// The key of that name. `own`: the library's own columns.
    ///
    /// # Errors
    /// There is none of that name.
    pub fn named(name: &str, own: &[String]) -> Result<Self> {
        let folded = fold(name);
        let key = match folded.as_str() {
            "game" => Some(Self::Game),
            "date" => Some(Self::Date),
            "play" | "label" => Some(Self::Label),
            _ => Field::named(&folded).map(Self::Field),
        };
        key.or_else(|| own.iter().find(|o| fold(o) == folded).cloned().map(Self::Own)).ok_or_else(|| {
            let fields = Field::ALL.iter().map(|f| f.words());
            let known: Vec<&str> =
                ["game", "date", "label"].into_iter().chain(fields).chain(own.iter().map(String::as_str)).collect();
            Error::refused(
                "plays cannot be ordered or grouped by that: it is no field and no column of your own",
                format!("\"{name}\""),
                format!("name one of: {}", known.join(", ")),
            )
        })
    }

    /// Its name.
    pub fn words(&self) -> &str {
        match self {
            Self::Field(field) => field.words(),
            Self::Own(name) => name,
            Self::Game => "game",
            Self::Date => "date",
            Self::Label => "label",
        }
    }

    /// A play's value in words; `None` where it is unknown.
    pub fn value(&self, play: &PlayFound) -> Option<String> {
        let record = &play.record;
        let text = match self {
            Self::Field(field) => record.tags.get(*field).map(Value::to_string),
            Self::Own(name) => record.tags.own.get(name).cloned(),
            Self::Game => Some(record.game.clone()),
            Self::Date => record.date.clone(),
            Self::Label => Some(record.label.clone()),
        };
        text.filter(|t| !t.trim().is_empty())
    }

    fn rank(&self, play: &PlayFound) -> Rank {
        let value = match self {
            Self::Field(field) => play.record.tags.get(*field),
            _ => None,
        };
        match value {
            Some(Value::Number(n)) => return Rank::Number(*n as f64),
            // Goal comes behind every number of yards.
            Some(Value::Distance(Distance::Goal)) => return Rank::Number(100.0),
            Some(Value::Distance(Distance::Yards(yards))) => return Rank::Number(f64::from(*yards)),
            Some(Value::Spot(spot)) => return Rank::Number(f64::from(spot.yards())),
            Some(Value::Clock(clock)) => return Rank::Number(f64::from(clock.seconds())),
            Some(Value::Seconds(seconds)) => return Rank::Number(*seconds),
            _ => {}
        }
        if *self == Self::Game {
            // Undated games come after all days, as in every answer.
            let day = play.record.date.as_deref().unwrap_or("\u{7f}");
            return Rank::Word(format!("{day} {}", play.record.game));
        }
        match self.value(play) {
            None => Rank::Unknown,
            Some(text) => match fold(&text).parse::<f64>().ok().filter(|n| n.is_finite()) {
                Some(number) => Rank::Number(number),
                None => Rank::Word(fold(&text)),
            },
        }
    }

    /// Orders plays; equal ones stay in the film's order, unknown ones come last in both directions.
    pub fn sort(&self, plays: &mut [PlayFound], reverse: bool) {
        // The library's answer is in the season's order already.
        if matches!(self, Self::Game | Self::Date) && !reverse {
            return;
        }
        let order = |a: &Rank, b: &Rank| match (a, b) {
            (Rank::Unknown, Rank::Unknown) => Ordering::Equal,
            (Rank::Unknown, _) => Ordering::Greater,
            (_, Rank::Unknown) => Ordering::Less,
            (known, other) if reverse => rank_order(other, known),
            (known, other) => rank_order(known, other),
        };
        let mut keyed: Vec<(Rank, PlayFound)> = plays.iter_mut().map(|p| (self.rank(p), std::mem::take(p))).collect();
        keyed.sort_by(|a, b| order(&a.0, &b.0));
        for (place, (_, play)) in plays.iter_mut().zip(keyed) {
            *place = play;
        }
    }

    /// Plays by value: values in order, each with its plays in the order they came; unknown last as `None`.
    pub fn groups<'a>(&self, plays: &'a [PlayFound]) -> Groups<'a> {
        let mut groups: Vec<(Rank, Option<String>, Vec<&PlayFound>)> = Vec::new();
        for play in plays {
            let rank = self.rank(play);
            match groups.iter_mut().find(|(known, ..)| *known == rank) {
                Some((.., members)) => members.push(play),
                None => groups.push((rank, self.value(play), vec![play])),
            }
        }
        if *self != Self::Game {
            groups.sort_by(|a, b| rank_order(&a.0, &b.0));
        }
        groups.into_iter().map(|(_, value, plays)| (value, plays)).collect()
    }
}

fn rank_order(a: &Rank, b: &Rank) -> Ordering {
    match (a, b) {
        (Rank::Number(a), Rank::Number(b)) => a.total_cmp(b),
        (Rank::Word(a), Rank::Word(b)) => a.cmp(b),
        (Rank::Unknown, Rank::Unknown) => Ordering::Equal,
        (Rank::Number(_), _) | (Rank::Word(_), Rank::Unknown) => Ordering::Less,
        _ => Ordering::Greater,
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// A play of a made game.
    pub fn play(label: &str, gain: Option<i64>, shell: &str) -> PlayFound {
        let mut play = PlayFound::default();
        play.record.game = "Badgers".into();
        play.record.label = label.into();
        if let Some(gain) = gain {
            play.record.tags.fields.insert(Field::Gain, Value::Number(gain));
        }
        if !shell.is_empty() {
            play.record.tags.fields.insert(Field::Shell, Value::Word(shell.into()));
        }
        play.record.tags.own.insert("grade".into(), "A, \"late\"".into());
        play
    }

    #[test]
    fn unknown_comes_last_in_both_directions() {
        let order = |key: &str, reverse| {
            let mut plays =
                [play("1", None, ""), play("2", Some(10), "x"), play("3", Some(-2), "a"), play("10", Some(9), "a")];
            Key::named(key, &[]).unwrap().sort(&mut plays, reverse);
            plays.map(|p| p.record.label).join(" ")
        };
        assert_eq!(order("gain", false), "3 10 2 1");
        assert_eq!(order("gain", true), "2 10 3 1");
        assert_eq!(order("shell", false), "3 10 2 1");
        assert_eq!(order("label", true), "10 3 2 1");
        let error = Key::named("gian", &["grade".into()]).unwrap_err();
        assert!(error.next.contains("gain") && error.next.contains("grade"), "{error}");
    }

    #[test]
    fn groups_are_in_order() {
        let plays = [play("1", None, ""), play("2", Some(10), "x"), play("3", Some(-2), "a"), play("4", Some(9), "A")];
        let groups = Key::named("Shell", &[]).unwrap().groups(&plays);
        let shown: Vec<_> = groups.iter().map(|(value, plays)| (value.as_deref(), plays.len())).collect();
        assert_eq!(shown, [(Some("a"), 2), (Some("x"), 1), (None, 1)]);
    }
}
