//! What conditions have in common: the field they are values of, whether two exclude each other, and whose side of the
//! ball they tell of.

use std::fmt;

use super::{Filter, Range, TextMatch};
use crate::football::{Field, fold};

/// What a condition is a value of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Group {
    Field(Field),
    Own(String),
    Game,
    Opponent,
    Date,
    Label,
}

impl Group {
    pub fn is_down(&self) -> bool {
        *self == Self::Field(Field::Down)
    }

    pub fn is_distance(&self) -> bool {
        *self == Self::Field(Field::Distance)
    }

    pub fn name(&self) -> String {
        match self {
            Self::Field(field) => field.words().to_string(),
            Self::Own(name) => name.clone(),
            Self::Game => "game".into(),
            Self::Opponent => "opponent".into(),
            Self::Date => "date".into(),
            Self::Label => "label".into(),
        }
    }
}

/// What a leaf, or every leaf of an "or", is a value of. Conditions that are no values (any motion, a note that holds a
/// text) are of none.
pub(super) fn group_of(filter: &Filter) -> Option<Group> {
    match filter {
        Filter::Any(_) | Filter::Text { how: TextMatch::Has, .. } => None,
        Filter::Own { name, .. } => Some(Group::Own(name.clone())),
        Filter::Game(_) => Some(Group::Game),
        Filter::Opponent(_) => Some(Group::Opponent),
        Filter::Date { .. } => Some(Group::Date),
        Filter::Label(_) => Some(Group::Label),
        Filter::Or(parts) => {
            let first = parts.first().and_then(group_of)?;
            parts.iter().all(|p| group_of(p).as_ref() == Some(&first)).then_some(first)
        }
        leaf => leaf.field().map(Group::Field),
    }
}

/// Whether no play can have both. Only what can be told from the two alone.
pub(super) fn contradict(one: &Filter, other: &Filter) -> bool {
    let apart = |a: &Range, b: &Range| {
        let below = |a: &Range, b: &Range| a.high().zip(b.low()).is_some_and(|(high, low)| high < low);
        below(a, b) || below(b, a)
    };
    let differ = |a: &str, b: &str| fold(a) != fold(b);
    match (one, other) {
        (Filter::Or(parts), single) | (single, Filter::Or(parts)) => parts.iter().all(|p| contradict(p, single)),
        (Filter::Is { field: f, word: a }, Filter::Is { field: g, word: b }) => f == g && differ(a, b),
        (Filter::Number { field: f, range: a }, Filter::Number { field: g, range: b }) => f == g && apart(a, b),
        (Filter::ToGain(a), Filter::ToGain(b)) | (Filter::Clock(a), Filter::Clock(b)) => apart(a, b),
        (Filter::BallOn { from, to }, Filter::BallOn { from: start, to: end }) => to < start || end < from,
        (
            Filter::Text { field: f, how: TextMatch::Is, text: a },
            Filter::Text { field: g, how: TextMatch::Is, text: b },
        ) => f == g && differ(a, b),
        (Filter::Own { name: m, value: a }, Filter::Own { name: n, value: b }) => m == n && differ(a, b),
        (Filter::Game(a), Filter::Game(b))
        | (Filter::Opponent(a), Filter::Opponent(b))
        | (Filter::Label(a), Filter::Label(b)) => differ(a, b),
        (Filter::Date { from: a, to: b }, Filter::Date { from: c, to: d }) => {
            let below =
                |last: &Option<String>, first: &Option<String>| last.is_some() && first.is_some() && last < first;
            below(b, c) || below(d, a)
        }
        _ => false,
    }
}

/// A side of the ball.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    Offense,
    Defense,
}

impl fmt::Display for Side {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Offense => "offense",
            Self::Defense => "defense",
        })
    }
}

/// Whose side a field tells of, if of one.
fn side_of(field: Field) -> Option<Side> {
    match field {
        Field::Personnel
        | Field::Formation
        | Field::Strength
        | Field::Backfield
        | Field::Motion
        | Field::Shift
        | Field::PlayType
        | Field::Concept
        | Field::PassResult => Some(Side::Offense),
        Field::Front | Field::Shell | Field::Rotation | Field::Coverage | Field::Pressure => Some(Side::Defense),
        _ => None,
    }
}

/// The side that all conditions of a filter that have one tell of; `None` if none has, or if they differ.
pub(super) fn sides(filter: &Filter) -> Option<Side> {
    fn gather(filter: &Filter, found: &mut Vec<Side>) {
        match filter {
            Filter::And(parts) | Filter::Or(parts) => parts.iter().for_each(|p| gather(p, found)),
            Filter::Not(inner) => gather(inner, found),
            leaf => found.extend(leaf.field().and_then(side_of)),
        }
    }
    let mut found = Vec::new();
    gather(filter, &mut found);
    let first = *found.first()?;
    found.iter().all(|s| *s == first).then_some(first)
}
