//! A filter as SQL.
//!
//! Each leaf is an expression over one play that is NULL where a value it needs is unknown; AND, OR and NOT are SQL's
//! own, which are Kleene's; a play is in the answer where the whole is 1. Nothing here is shared with the filter's own
//! meaning in memory: the two are tested against each other.

use rusqlite::types::Value;

use crate::filter::{Filter, Range, SuccessShares, TextMatch};
use crate::football::{Field, fold};

/// An expression over a play `p` of a game `g`, and what is bound to its `?`.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Condition {
    pub sql: String,
    pub bound: Vec<Value>,
}

impl Condition {
    pub fn of(filter: &Filter) -> Self {
        let mut condition = Self { sql: String::new(), bound: Vec::new() };
        condition.push(filter);
        condition
    }

    fn push(&mut self, filter: &Filter) {
        match filter {
            Filter::All => self.sql.push('1'),
            Filter::Is { field, word } => self.compare(&text_of(*field), "=", fold(word)),
            Filter::Any(field) => self.compare(&text_of(*field), "<>", "no".into()),
            Filter::Number { field, range } => self.within(&number_of(*field, "number"), *range),
            Filter::ToGain(range) => self.within(TO_GAIN, *range),
            Filter::GoalToGo => self.sql.push_str(
                "(SELECT num IS NULL FROM tags WHERE play = p.id AND own = 0 AND field = 'distance' \
                 AND kind = 'distance')",
            ),
            Filter::BallOn { from, to } => {
                let range = Range::between(from.yards().into(), to.yards().into());
                // A range the wrong way round holds no spot, though an unknown one stays unknown.
                if from <= to {
                    self.within(&number_of(Field::BallOn, "spot"), range);
                } else {
                    self.sql.push_str(&format!("({} IS NULL AND NULL)", number_of(Field::BallOn, "spot")));
                }
            }
            Filter::Clock(range) => self.within(&number_of(Field::Clock, "clock"), *range),
            Filter::Text { field, how: TextMatch::Is, text } => self.compare(&text_of(*field), "=", fold(text)),
            Filter::Text { field, how: TextMatch::Has, text } => {
                self.sql.push_str(&format!("(instr({}, ?) > 0)", text_of(*field)));
                self.bound.push(fold(text).into());
            }
            Filter::Own { name, value } => {
                self.sql.push_str("((SELECT folded FROM tags WHERE play = p.id AND own = 1 AND field = ?) = ?)");
                self.bound.push(name.clone().into());
                self.bound.push(fold(value).into());
            }
            Filter::Game(name) => self.compare("g.folded", "=", fold(name)),
            // Labels are our own and already in their folded form.
            Filter::Label(label) => self.compare("p.label", "=", fold(label)),
            Filter::Success(shares) => self.success(*shares),
            Filter::And(parts) => self.join(parts, " AND ", "1"),
            Filter::Or(parts) => self.join(parts, " OR ", "0"),
            Filter::Not(inner) => {
                self.sql.push_str("(NOT ");
                self.push(inner);
                self.sql.push(')');
            }
        }
    }

    fn compare(&mut self, left: &str, how: &str, right: String) {
        self.sql.push_str(&format!("({left} {how} ?)"));
        self.bound.push(right.into());
    }

    fn within(&mut self, number: &str, range: Range) {
        let how = match (range.low(), range.high()) {
            (Some(_), Some(_)) => "BETWEEN ? AND ?",
            (Some(_), None) => ">= ?",
            (None, Some(_)) => "<= ?",
            // Any number: true if known.
            (None, None) => "NOT IN ('')",
        };
        self.sql.push_str(&format!("({number} {how})"));
        self.bound.extend([range.low(), range.high()].into_iter().flatten().map(Value::from));
    }

    fn success(&mut self, shares: SuccessShares) {
        let (down, gain) = (number_of(Field::Down, "number"), number_of(Field::Gain, "number"));
        let SuccessShares { first, second, third } = shares;
        self.sql.push_str(&format!(
            "({gain} * 100 >= {TO_GAIN} * CASE {down} WHEN 1 THEN {first} WHEN 2 THEN {second} WHEN 3 THEN {third} \
             WHEN 4 THEN {third} END)"
        ));
    }

    fn join(&mut self, parts: &[Filter], word: &str, of_none: &str) {
        self.sql.push('(');
        if parts.is_empty() {
            self.sql.push_str(of_none);
        }
        for (k, part) in parts.iter().enumerate() {
            if k > 0 {
                self.sql.push_str(word);
            }
            self.push(part);
        }
        self.sql.push(')');
    }
}

/// Yards to gain: the distance, or with goal the yards to the goal line from the ball's spot.
const TO_GAIN: &str = "(SELECT coalesce(d.num, (SELECT 100 - b.num FROM tags b WHERE b.play = d.play AND b.own = 0 \
                       AND b.field = 'ball_on' AND b.kind = 'spot')) FROM tags d WHERE d.play = p.id AND d.own = 0 \
                       AND d.field = 'distance' AND d.kind = 'distance')";

/// A field's number, NULL if unknown. Keys are the program's own words, so they need no binding.
fn number_of(field: Field, kind: &str) -> String {
    let key = field.key();
    format!("(SELECT num FROM tags WHERE play = p.id AND own = 0 AND field = '{key}' AND kind = '{kind}')")
}

/// A field's word or text, folded; NULL if unknown or blank.
fn text_of(field: Field) -> String {
    format!("(SELECT folded FROM tags WHERE play = p.id AND own = 0 AND field = '{}')", field.key())
}
