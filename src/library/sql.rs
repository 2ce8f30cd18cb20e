//! A filter as SQL.
//!
//! Each leaf is an expression over one play that is NULL where a value it needs is unknown; AND, OR and NOT are SQL's
//! own, which are Kleene's; a play is in the answer where the whole is 1. Outside of every NOT it does not matter whether
//! a leaf is false or unknown: there a comparison is a list of plays taken from the index of tags by value, so that a
//! question costs what it finds, not what the library holds. Nothing here is shared with the filter's own
//! meaning in memory: the two are tested against each other.

use rusqlite::types::Value;

use crate::filter::{Filter, Range, SuccessShares, TextMatch};
use crate::football::{Field, fold};

/// A game's id and its teams.
pub(super) type Teams = (i64, Option<String>, Option<String>);

/// An expression over a play `p` of a game `g`, and what is bound to its `?`.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Condition {
    pub sql: String,
    pub bound: Vec<Value>,
}

impl Condition {
    /// `games`: every game of the library; their teams have no folded column.
    pub fn of(filter: &Filter, games: &[Teams]) -> Self {
        let mut condition = Self { sql: String::new(), bound: Vec::new() };
        condition.push(filter, games, true);
        condition
    }

    /// `plain`: no NOT stands around it.
    fn push(&mut self, filter: &Filter, games: &[Teams], plain: bool) {
        if plain && self.listed(filter) {
            return;
        }
        let before = self.sql.len();
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
            Filter::Opponent(team) => self.opponent(team, games),
            Filter::Date { from, to } => {
                self.sql.push_str("(g.date IS NOT NULL OR NULL)");
                for (how, day) in [(">=", from), ("<=", to)] {
                    if let Some(day) = day {
                        self.sql.push_str(" AND ");
                        self.compare("g.date", how, day.clone());
                    }
                }
                self.sql.insert(before, '(');
                self.sql.push(')');
            }
            Filter::LastGames(number) => {
                self.sql.push_str(
                    "(CASE WHEN g.date IS NOT NULL THEN g.id IN (SELECT l.id FROM games l WHERE l.date IS NOT NULL \
                     AND EXISTS (SELECT 1 FROM plays q WHERE q.game = l.id AND q.position = 1) \
                     ORDER BY l.date DESC, l.name DESC LIMIT ?) END)",
                );
                self.bound.push(i64::from(*number).into());
            }
            Filter::Opener => self.opener(),
            // Labels are our own and already in their folded form.
            Filter::Label(label) => self.compare("p.label", "=", fold(label)),
            Filter::Success(shares) => self.success(*shares),
            Filter::And(parts) => self.join(parts, " AND ", "1", games, plain),
            Filter::Or(parts) => self.join(parts, " OR ", "0", games, plain),
            Filter::Not(inner) => {
                self.sql.push_str("(NOT ");
                self.push(inner, games, false);
                self.sql.push(')');
            }
        }
    }

    /// The plays of which a leaf is true, from the index by value; gives whether the leaf is of that kind.
    fn listed(&mut self, filter: &Filter) -> bool {
        let list = |field: Field, rest: &str| {
            format!("(p.id IN (SELECT play FROM tags WHERE own = 0 AND field = '{}' AND {rest}))", field.key())
        };
        let numbers = |kind: &str, range: Range| {
            let how = match (range.low(), range.high()) {
                (Some(low), Some(high)) => format!("num BETWEEN {low} AND {high}"),
                (Some(low), None) => format!("num >= {low}"),
                (None, Some(high)) => format!("num <= {high}"),
                (None, None) => "num IS NOT NULL".into(),
            };
            format!("folded IS NULL AND {how} AND kind = '{kind}'")
        };
        match filter {
            Filter::Is { field, word } | Filter::Text { field, how: TextMatch::Is, text: word } => {
                self.sql.push_str(&list(*field, "folded = ?"));
                self.bound.push(fold(word).into());
            }
            Filter::Any(field) => self.sql.push_str(&list(*field, "folded <> 'no'")),
            Filter::Number { field, range } => self.sql.push_str(&list(*field, &numbers("number", *range))),
            Filter::Clock(range) => self.sql.push_str(&list(Field::Clock, &numbers("clock", *range))),
            Filter::BallOn { from, to } if from <= to => {
                let range = Range::between(from.yards().into(), to.yards().into());
                self.sql.push_str(&list(Field::BallOn, &numbers("spot", range)));
            }
            Filter::GoalToGo => {
                self.sql.push_str(&list(Field::Distance, "folded IS NULL AND num IS NULL AND kind = 'distance'"));
            }
            Filter::ToGain(range) => {
                let yards = list(Field::Distance, &numbers("distance", *range));
                // Where the distance is goal the yards are those to the goal line.
                let turned = |bound: Option<i64>| bound.map(|b| 100_i64.saturating_sub(b));
                let spots = match (turned(range.high()), turned(range.low())) {
                    (Some(low), Some(high)) => Range::between(low, high),
                    (Some(low), None) => Range::at_least(low),
                    (None, Some(high)) => Range::at_most(high),
                    (None, None) => Range::between(0, 100),
                };
                let goal = list(Field::Distance, "folded IS NULL AND num IS NULL AND kind = 'distance'");
                let spots = list(Field::BallOn, &numbers("spot", spots));
                self.sql.push_str(&format!("({yards} OR ({goal} AND {spots}))"));
            }
            Filter::Own { name, value } => {
                self.sql.push_str("(p.id IN (SELECT play FROM tags WHERE own = 1 AND field = ? AND folded = ?))");
                self.bound.push(name.clone().into());
                self.bound.push(fold(value).into());
            }
            _ => return false,
        }
        true
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

    fn opponent(&mut self, team: &str, games: &[Teams]) {
        let known = |name: &Option<String>| name.as_deref().filter(|n| !n.trim().is_empty()).map(fold);
        let team = Some(fold(team));
        let ids = |wanted: bool| {
            let chosen = games.iter().filter(|(_, home, away)| {
                let (home, away) = (known(home), known(away));
                let plays = home == team || away == team;
                if wanted { plays } else { !plays && (home.is_none() || away.is_none()) }
            });
            chosen.map(|(id, ..)| id.to_string()).collect::<Vec<_>>().join(", ")
        };
        self.sql.push_str(&format!(
            "(CASE WHEN g.id IN ({}) THEN 1 WHEN g.id IN ({}) THEN NULL ELSE 0 END)",
            ids(true),
            ids(false)
        ));
    }

    /// What opens a possession; the filter's `Season` says it in words.
    fn opener(&mut self) {
        let of = |play: &str, field: &str| {
            format!("(SELECT folded FROM tags WHERE play = {play} AND own = 0 AND field = '{field}')")
        };
        let half = |play: &str| {
            format!(
                "(SELECT (num > 2) + (num > 4) FROM tags WHERE play = {play} AND own = 0 AND field = 'quarter' \
                 AND kind = 'number')"
            )
        };
        // The play before, `q`, is looked up once for all that is asked of it.
        self.sql.push_str(&format!(
            "(CASE WHEN {kind} IN ('kickoff', 'try') THEN 0 WHEN {ball} IS NULL THEN NULL WHEN p.position = 1 THEN 1 ELSE \
             (SELECT CASE WHEN {last_kind} = 'kickoff' THEN 1 WHEN {now} <> {then} THEN 1 ELSE {ball} <> {last_ball} END \
             FROM plays q WHERE q.game = p.game AND q.position = p.position - 1) END)",
            kind = of("p.id", "play_type"),
            ball = of("p.id", "ball"),
            last_kind = of("q.id", "play_type"),
            last_ball = of("q.id", "ball"),
            now = half("p.id"),
            then = half("q.id"),
        ));
    }

    fn join(&mut self, parts: &[Filter], word: &str, of_none: &str, games: &[Teams], plain: bool) {
        self.sql.push('(');
        if parts.is_empty() {
            self.sql.push_str(of_none);
        }
        // What is a list is asked first: the rest is then asked of few plays.
        let listed = |part: &&Filter| plain && Self { sql: String::new(), bound: Vec::new() }.listed(part);
        let (lists, rest): (Vec<&Filter>, Vec<&Filter>) = parts.iter().partition(listed);
        for (k, part) in lists.into_iter().chain(rest).enumerate() {
            if k > 0 {
                self.sql.push_str(word);
            }
            self.push(part, games, plain);
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
