//! What is known of a play.

use std::collections::BTreeMap;
use std::fmt;

use serde_json::Value as Json;

use super::{Distance, Field, GameClock, Spot};

/// A tag's value.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A whole number.
    Number(i64),
    /// Distance to the line to gain.
    Distance(Distance),
    /// A spot.
    Spot(Spot),
    /// Game clock.
    Clock(GameClock),
    /// Seconds of film time.
    Seconds(f64),
    /// A word, in its canonical spelling where the vocabulary has it.
    Word(String),
    /// Free text.
    Text(String),
}

impl Value {
    /// As JSON: numbers stay numbers, the rest is text.
    pub fn to_json(&self) -> Json {
        match self {
            Self::Number(n) => (*n).into(),
            Self::Distance(Distance::Yards(yards)) => (*yards).into(),
            Self::Seconds(s) => (*s).into(),
            other => other.to_string().into(),
        }
    }
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number(n) => n.fmt(f),
            Self::Distance(d) => d.fmt(f),
            Self::Spot(s) => s.fmt(f),
            Self::Clock(c) => c.fmt(f),
            Self::Seconds(s) => s.fmt(f),
            Self::Word(w) | Self::Text(w) => f.write_str(w),
        }
    }
}

/// The tags of one play: the trade's fields, and the staff's own columns as text. A missing field is unknown.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tags {
    /// The trade's fields.
    pub fields: BTreeMap<Field, Value>,
    /// The staff's own, by column name.
    pub own: BTreeMap<String, String>,
}

impl Tags {
    /// A field's value.
    pub fn get(&self, field: Field) -> Option<&Value> {
        self.fields.get(&field)
    }

    /// A number field.
    pub fn number(&self, field: Field) -> Option<i64> {
        match self.get(field) {
            Some(Value::Number(n)) => Some(*n),
            _ => None,
        }
    }

    /// A word or text field.
    pub fn word(&self, field: Field) -> Option<&str> {
        match self.get(field) {
            Some(Value::Word(w) | Value::Text(w)) => Some(w),
            _ => None,
        }
    }

    /// Down, 1 to 4.
    pub fn down(&self) -> Option<i64> {
        self.number(Field::Down)
    }

    /// Distance as tagged.
    pub fn distance(&self) -> Option<Distance> {
        match self.get(Field::Distance) {
            Some(Value::Distance(d)) => Some(*d),
            _ => None,
        }
    }

    /// Where the ball lies.
    pub fn ball_on(&self) -> Option<Spot> {
        match self.get(Field::BallOn) {
            Some(Value::Spot(s)) => Some(*s),
            _ => None,
        }
    }

    /// Time left in the quarter.
    pub fn clock(&self) -> Option<GameClock> {
        match self.get(Field::Clock) {
            Some(Value::Clock(c)) => Some(*c),
            _ => None,
        }
    }

    /// Film time at which the row was typed, seconds.
    pub fn time(&self) -> Option<f64> {
        match self.get(Field::Time) {
            Some(Value::Seconds(s)) => Some(*s),
            _ => None,
        }
    }

    /// Yards to gain: with distance goal, the yards to the goal line by the ball's spot; unknown where that is
    /// unknown.
    pub fn to_gain(&self) -> Option<u8> {
        match self.distance()? {
            Distance::Yards(yards) => Some(yards),
            Distance::Goal => self.ball_on().map(Spot::to_goal),
        }
    }

    /// As a JSON object, keys in field order, then the staff's own.
    pub fn to_json(&self) -> Json {
        let mut map = serde_json::Map::new();
        for (field, value) in &self.fields {
            map.insert(field.key().into(), value.to_json());
        }
        for (name, value) in &self.own {
            map.entry(name.clone()).or_insert_with(|| value.clone().into());
        }
        Json::Object(map)
    }
}
