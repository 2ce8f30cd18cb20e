//! Games by their day, their place in the season and their opponent, in a phrase.

use jiff::civil::Date;

use super::Filter;
use super::item::denied_if;
use super::parser::{Item, Parsed, Parser};
use super::print::JOINING;
use super::token::{Compare, Kind};
use super::words::Reading;

/// What fits where a day is looked for.
const DAY: &str = "write a day, a month or a year: 2026-09-11, 2026-09 or 2026";

impl Parser<'_> {
    /// Whether a whole day stands here, which needs no "date" before it.
    pub fn at_day(&self) -> bool {
        self.date_digits(self.at, 4) && self.joined_digits(self.at).is_some_and(|at| self.joined_digits(at).is_some())
    }

    /// The rest of a condition on the day of the game. `said`: the comparison that its first word was.
    pub fn date_condition(&mut self, said: Option<Compare>, start: usize) -> Parsed<Item> {
        let mut compare = said;
        if compare.is_none() && self.tokens.get(self.at).is_some_and(|t| t.kind == Kind::Colon) {
            self.at += 1;
        }
        if compare.is_none() {
            compare = match self.tokens.get(self.at).and_then(|t| match self.longest(self.at) {
                Some((_, [Reading::DateKey(Some(word))])) if !t.piece().is_empty() => Some(*word),
                _ => None,
            }) {
                Some(word) => {
                    self.at += 1;
                    Some(word)
                }
                None => self.comparison(),
            };
        }
        let (mut first, mut last) = self.days()?;
        let to = self.tokens.get(self.at).is_some_and(|t| t.kind == Kind::Dash || t.piece() == "to");
        if to && (self.date_digits(self.at + 1, 4)) {
            if compare.is_some_and(|c| !matches!(c, Compare::Equal | Compare::Unequal)) {
                let span = self.span_from(start);
                return Err(self.error(span, "a range cannot be compared", "write the days from and to alone"));
            }
            self.at += 1;
            let (from, until) = self.days()?;
            (first, last) = (first.min(from), last.max(until));
        }
        let span = self.span_from(start);
        let calendar = |_| self.error(span.clone(), "no calendar goes there", DAY);
        let of = |from: Option<Date>, to: Option<Date>| Filter::Date {
            from: from.map(|d| d.to_string()),
            to: to.map(|d| d.to_string()),
        };
        let filter = match compare {
            Some(Compare::Below) => of(None, Some(first.yesterday().map_err(calendar)?)),
            Some(Compare::AtMost) => of(None, Some(last)),
            Some(Compare::Above) => of(Some(last.tomorrow().map_err(calendar)?), None),
            Some(Compare::AtLeast) => of(Some(first), None),
            Some(Compare::Equal | Compare::Unequal) | None => of(Some(first), Some(last)),
        };
        Ok(denied_if(compare == Some(Compare::Unequal), Item::new(filter, false, span)))
    }

    /// A day, or the first and last of a month or a year.
    fn days(&mut self) -> Parsed<(Date, Date)> {
        let start = self.at;
        if !self.date_digits(start, 4) {
            return Err(self.error(self.here(), "a date has to stand here", DAY));
        }
        let number = |parser: &Self, at: usize| parser.tokens.get(at).and_then(|t| t.piece().parse::<i16>().ok());
        let year = number(self, start).unwrap_or(0);
        let month_at = self.joined_digits(start);
        let day_at = month_at.and_then(|at| self.joined_digits(at));
        self.at = day_at.or(month_at).unwrap_or(start) + 1;
        let part = |at: Option<usize>| at.and_then(|at| number(self, at)).and_then(|n| i8::try_from(n).ok());
        let found = match (part(month_at), part(day_at)) {
            (Some(month), Some(day)) => Date::new(year, month, day).map(|d| (d, d)),
            (Some(month), None) => Date::new(year, month, 1).map(|d| (d, d.last_of_month())),
            _ => Date::new(year, 1, 1).map(|d| (d, d.last_of_year())),
        };
        found.map_err(|_| self.error(self.span_from(start), "the calendar has no such day", DAY))
    }

    fn date_digits(&self, at: usize, length: usize) -> bool {
        let piece = self.tokens.get(at).map_or("", |t| t.piece());
        piece.len() == length && piece.bytes().all(|b| b.is_ascii_digit())
    }

    /// The token of two digits that a hyphen joins to the one at `at` without a space.
    fn joined_digits(&self, at: usize) -> Option<usize> {
        let (piece, dash, next) = (self.tokens.get(at)?, self.tokens.get(at + 1)?, self.tokens.get(at + 2)?);
        let joined = dash.kind == Kind::Dash && piece.span.end == dash.span.start && dash.span.end == next.span.start;
        (joined && self.date_digits(at + 2, 2)).then_some(at + 2)
    }

    /// `last 3 games`, `last game`, after "last".
    pub fn last_games(&mut self, start: usize) -> Parsed<Item> {
        let number = self.tokens.get(self.at).and_then(|t| t.piece().parse::<u32>().ok());
        self.at += usize::from(number.is_some());
        let games = self.tokens.get(self.at).is_some_and(|t| matches!(t.piece(), "game" | "games"));
        self.at += usize::from(games);
        match number.unwrap_or(1) {
            number @ 1..10_000 if games => Ok(Item::new(Filter::LastGames(number), true, self.span_from(start))),
            _ => Err(self.error(
                self.span_from(start),
                "\"last\" counts games",
                "write \"last game\" or \"last 3 games\"; of the clock \"clock <= 2:00\" or \"two-minute\"",
            )),
        }
    }

    /// Whether "opponent" stands before a team here, not before a spot.
    pub fn at_opponent(&self) -> bool {
        match self.tokens.get(self.at) {
            Some(token) => match &token.kind {
                Kind::Compare(_) | Kind::Quoted(_) => true,
                Kind::Piece(piece) => !piece.bytes().all(|b| b.is_ascii_digit()) && !JOINING.contains(&piece.as_str()),
                _ => false,
            },
            None => false,
        }
    }

    /// The opponent's name, after "opponent".
    pub fn opponent(&mut self, start: usize) -> Parsed<Item> {
        let denied = self.skip_equality();
        let filter = Filter::Opponent(self.known_name(&self.dictionary.words.teams, "opponent", "team")?);
        Ok(denied_if(denied, Item::new(filter, false, self.span_from(start))))
    }

    /// "our ball", "their ball": needs to know who we are.
    pub fn our_ball(&self, ours: bool, start: usize) -> Parsed<Item> {
        let Some(we) = &self.dictionary.words.we else {
            let team = self.dictionary.words.teams.first().map_or("Badgers", String::as_str);
            return Err(self.error(
                self.span_from(start),
                "who \"we\" are is not known",
                format!(
                    "write team = \"{team}\" under [staff] in the library's downbox.toml, or name the team: \"{team} \
                     ball\""
                ),
            ));
        };
        let text = we.clone();
        let ball = Filter::Text { field: crate::football::Field::Ball, how: super::TextMatch::Is, text };
        let span = self.span_from(start);
        Ok(if ours {
            Item::new(ball, true, span)
        } else {
            Item { group: None, ..Item::new(ball.opposite(), true, span) }
        })
    }

    /// "third or fourth quarter", "first or second half": is the first word a down?
    pub fn refuse_split_ordinal(&self, start: usize) -> Parsed<()> {
        let joins = |t: &super::token::Token| t.kind == Kind::Comma || matches!(t.piece(), "or" | "and");
        if !self.tokens.get(self.at).is_some_and(joins) {
            return Ok(());
        }
        let next = self.at + 1;
        let Some((end, readings)) = self.longest(next) else { return Ok(()) };
        let second = &self.phrase[self.tokens.get(next).map_or(0, |t| t.span.start)
            ..self.tokens.get(end - 1).map_or(self.phrase.len(), |t| t.span.end)];
        let ordinal = matches!(self.longest_of_one(next), Some([Reading::Down(_)]));
        let Some((_, noun)) = second.rsplit_once(' ').filter(|_| ordinal) else { return Ok(()) };
        let splits = match readings {
            [Reading::Quarter(_)] => true,
            [Reading::Situation(_)] => noun.eq_ignore_ascii_case("half"),
            _ => false,
        };
        if !splits {
            return Ok(());
        }
        let first = &self.phrase[self.span_from(start)];
        Err(self.error(
            self.span_from(start),
            format!("\"{first}\" may be a down or a {noun}"),
            format!("write \"{first} {noun} or {second}\" or \"{first} down or {second}\""),
        ))
    }

    fn longest_of_one(&self, at: usize) -> Option<&[Reading]> {
        let piece = self.tokens.get(at)?.piece();
        Some(self.dictionary.readings(piece)).filter(|r| !r.is_empty())
    }
}
