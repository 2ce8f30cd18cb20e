//! Numbers, ranges, spots and clocks in a phrase.

use std::ops::Range as Span;

use super::group::Group;
use super::parser::{Before, Item, Link, Parsed, Parser};
use super::token::{Compare, Kind};
use super::words::Reading;
use super::{Filter, Range};
use crate::football::{Field, GameClock, Spot};

impl Parser<'_> {
    /// Whether a whole number stands at a token.
    fn digits(&self, at: usize) -> bool {
        self.tokens.get(at).is_some_and(|t| !t.piece().is_empty() && t.piece().chars().all(|c| c.is_ascii_digit()))
    }

    /// A number with nothing before it that names its field: the down in "3 & 7", the distance in "third and 7", one
    /// more value in "quarter 3 or 4". `None` where a word of the vocabulary reads more.
    pub fn bare_number(&mut self, before: &Before) -> Parsed<Option<Item>> {
        let start = self.at;
        let word_end = self.longest(start).map_or(start, |(end, _)| end);
        if let Some((Link::Or | Link::Comma, Some(Group::Label))) = before
            && word_end <= start + 1
            && let Some(label) = self.label()
        {
            self.refuse_label_range(&label)?;
            return Ok(Some(Item::new(Filter::Label(label), true, self.span_from(start))));
        }
        if !self.digits(start) {
            return Ok(None);
        }
        let after_down = matches!(before, Some((Link::And | Link::SideBySide, Some(group))) if group.is_down());
        if !after_down && word_end <= start + 1 && self.distance_follows(start + 1) {
            self.at += 1;
            let span = self.span_from(start);
            let down = self.tokens.get(start).and_then(|t| t.piece().parse().ok()).unwrap_or(0);
            return self.number_item(Field::Down, Range::exactly(down), true, span).map(Some);
        }
        let Some((link, Some(group))) = before else { return Ok(None) };
        let Some(range) = self.range()? else { return Ok(None) };
        let (end, span) = (self.at, self.span_from(start));
        self.at = start;
        if word_end > end || (word_end == start && end == start) {
            return Ok(None);
        }
        let field = match group {
            Group::Field(Field::Down) if after_down => Field::Distance,
            Group::Field(field) if matches!(link, Link::Or | Link::Comma) => *field,
            _ => return Ok(None),
        };
        // "third 11" and "short, 11" may mean the distance or the personnel; only "and" and "or" tell.
        if word_end == end && matches!(link, Link::SideBySide | Link::Comma) {
            let number = &self.phrase[span.clone()];
            let readings = self.longest(start).map_or(&[] as &[Reading], |(_, readings)| readings);
            let mut choices = vec![format!("{field} {number}")];
            choices.extend(readings.iter().map(|r| self.spoken_reading(r)));
            // A list of that field's own words ("4-3, 3-4") is no question.
            if readings.iter().any(|r| matches!(r, Reading::Word { field: f, .. } if *f == field)) {
                return Ok(None);
            }
            return Err(self.error(
                span.clone(),
                format!("\"{number}\" may mean {}", choices.join(" or ")),
                format!(
                    "name the field: {}",
                    choices.iter().map(|c| format!("\"{c}\"")).collect::<Vec<_>>().join(" or ")
                ),
            ));
        }
        match field {
            Field::Quarter | Field::Down | Field::Gain | Field::Margin | Field::Distance => {
                self.at = end;
                self.number_item(field, range, true, span).map(Some)
            }
            field if field.kind() == crate::football::Kind::Word && end == start + 1 => {
                let Some(word) = self.dictionary.words.vocabulary.canonical(field, &self.phrase[span.clone()]) else {
                    return Ok(None);
                };
                let word = word.to_string();
                self.at = end;
                Ok(Some(Item::new(super::item::word_filter(field, word), true, span)))
            }
            _ => Ok(None),
        }
    }

    /// Whether "& 7", "and short", "& goal" stands at a token.
    fn distance_follows(&self, at: usize) -> bool {
        let joins = self.tokens.get(at).is_some_and(|t| t.kind == Kind::Ampersand || t.piece() == "and");
        let next = at + 1;
        if !joins {
            return false;
        }
        match self.longest(next) {
            Some((end, _)) if self.digits(next) => end == next + 1,
            None => self.digits(next),
            Some((_, readings)) => readings.iter().any(|reading| match reading {
                Reading::Goal | Reading::Inches => true,
                Reading::Situation(index) => {
                    self.situation(*index).is_ok_and(|f| super::group::group_of(&f).is_some_and(|g| g.is_distance()))
                }
                _ => false,
            }),
        }
    }

    /// The rest of a condition on a number, after the field's name.
    pub fn number_condition(&mut self, field: Field, start: usize) -> Parsed<Item> {
        let colon = self.tokens.get(self.at).is_some_and(|t| t.kind == Kind::Colon);
        self.at += usize::from(colon);
        let written = self.comparison();
        let compare_span = self.here();
        let Some(range) = self.range()? else {
            let example = if matches!(field, Field::Gain | Field::Margin) { ">= 10" } else { "3" };
            return Err(self.error(
                compare_span,
                format!("a number has to follow \"{field}\""),
                format!("write \"{field} {example}\" or \"{field} 1-3\""),
            ));
        };
        let compare = written.unwrap_or(Compare::Equal);
        let (range, denied) = self.compared(compare, range, start)?;
        let item = self.number_item(field, range, false, self.span_from(start))?;
        Ok(if denied { Item { filter: item.filter.opposite(), group: None, ..item } } else { item })
    }

    /// A comparison with a number as a range, and whether it is to be denied.
    fn compared(&self, compare: Compare, range: Range, start: usize) -> Parsed<(Range, bool)> {
        let single = range.low().filter(|low| range.high() == Some(*low));
        let (Some(number), false) = (single, matches!(compare, Compare::Equal | Compare::Unequal)) else {
            if matches!(compare, Compare::Equal | Compare::Unequal) {
                return Ok((range, compare == Compare::Unequal));
            }
            return Err(self.error(
                self.span_from(start),
                "a range cannot be compared",
                "write the comparison with one number, or the range alone",
            ));
        };
        Ok(match compare {
            Compare::Below => (Range::at_most(number - 1), false),
            Compare::AtMost => (Range::at_most(number), false),
            Compare::Above => (Range::at_least(number + 1), false),
            _ => (Range::at_least(number), false),
        })
    }

    /// A number of a field, if the field can hold it.
    fn number_item(&self, field: Field, range: Range, spoken: bool, span: Span<usize>) -> Parsed<Item> {
        let (lowest, highest, says) = match field {
            Field::Down => (1, 4, "a down is 1 to 4"),
            Field::Quarter => (1, 20, "a quarter is 1 to 4, then overtime 5 and on"),
            Field::Distance => (1, 99, "a distance is 1 to 99 yards"),
            Field::Margin => (-200, 200, "a margin is -200 to 200 points"),
            _ => (-99, 110, "a gain is -99 to 110 yards"),
        };
        let inside = |n: Option<i64>| n.is_none_or(|n| (lowest..=highest).contains(&n));
        if !inside(range.low()) || !inside(range.high()) {
            return Err(self.error(span, says, format!("write a {field} within that")));
        }
        let filter = if field == Field::Distance { Filter::ToGain(range) } else { Filter::Number { field, range } };
        Ok(Item::new(filter, spoken, span))
    }

    /// A comparison sign or its words.
    pub fn comparison(&mut self) -> Option<Compare> {
        let pair = |i: usize| self.tokens.get(self.at + i).map_or("", |t| t.piece());
        let (compare, length) = match self.tokens.get(self.at).map(|t| &t.kind)? {
            Kind::Compare(compare) => (*compare, 1),
            _ => match (pair(0), pair(1)) {
                ("is", _) => (Compare::Equal, 1),
                ("under" | "below", _) => (Compare::Below, 1),
                ("over" | "above", _) => (Compare::Above, 1),
                ("at", "least") => (Compare::AtLeast, 2),
                ("at", "most") => (Compare::AtMost, 2),
                ("more", "than") => (Compare::Above, 2),
                ("less", "than") => (Compare::Below, 2),
                _ => return None,
            },
        };
        self.at += length;
        Some(compare)
    }

    /// `7`, `-3`, `7+`, `7 or more`, `4-6`, `4 to 6`, each with "yards" after it or not.
    pub fn range(&mut self) -> Parsed<Option<Range>> {
        let Some(first) = self.number()? else { return Ok(None) };
        let word = |i: usize| self.tokens.get(self.at + i).map_or("", |t| t.piece());
        let range = if self.tokens.get(self.at).is_some_and(|t| t.kind == Kind::Plus) && !self.digits(self.at + 1) {
            self.at += 1;
            Range::at_least(first)
        } else if word(0) == "or" && matches!(word(1), "more" | "less") {
            let more = word(1) == "more";
            self.at += 2;
            if more { Range::at_least(first) } else { Range::at_most(first) }
        } else {
            let dash = self.tokens.get(self.at).is_some_and(|t| t.kind == Kind::Dash) && self.digits(self.at + 1);
            let back = self.at;
            if dash || word(0) == "to" {
                self.at += 1;
            }
            match if self.at > back { self.number()? } else { None } {
                Some(second) => Range::between(first, second),
                None => {
                    self.at = back;
                    Range::exactly(first)
                }
            }
        };
        if self.tokens.get(self.at).is_some_and(|t| matches!(t.piece(), "yard" | "yards" | "yd" | "yds")) {
            self.at += 1;
        }
        Ok(Some(range))
    }

    /// A whole number with or without a minus.
    fn number(&mut self) -> Parsed<Option<i64>> {
        let minus = self.tokens.get(self.at).is_some_and(|t| t.kind == Kind::Dash);
        let at = self.at + usize::from(minus);
        if !self.digits(at) {
            return Ok(None);
        }
        let digits = self.tokens.get(at).map_or("", |t| t.piece());
        let Some(number) = digits.parse::<i64>().ok().filter(|n| *n < 10_000) else {
            let span = self.tokens.get(at).map_or_else(|| self.here(), |t| t.span.clone());
            return Err(self.error(span, "this number is too large for anything on a field", "write a smaller one"));
        };
        self.at = at + 1;
        Ok(Some(if minus { -number } else { number }))
    }

    /// A spot or a range of spots: `own 20-40`, `opp 20-1`, `-35 to +40`, `own 40 to opp 40`, `50`.
    pub fn spots(&mut self, start: usize) -> Parsed<Item> {
        if self.tokens.get(self.at).is_some_and(|t| t.kind == Kind::Compare(Compare::Equal)) {
            self.at += 1;
        }
        let (from, own) = self.spot(None)?;
        let range_sign = self.tokens.get(self.at).is_some_and(|t| t.kind == Kind::Dash || t.piece() == "to");
        let mut to = from;
        if range_sign {
            self.at += 1;
            to = self.spot(own)?.0;
        }
        let (from, to) = (from.min(to), from.max(to));
        Ok(Item::new(Filter::BallOn { from, to }, false, self.span_from(start)))
    }

    /// One spot and the side it names; `side` is taken where it names none.
    fn spot(&mut self, side: Option<bool>) -> Parsed<(Spot, Option<bool>)> {
        let at = self.at;
        let named = match (self.tokens.get(at).map(|t| &t.kind), self.longest(at)) {
            (Some(Kind::Dash), _) => Some((true, at + 1)),
            (Some(Kind::Plus), _) => Some((false, at + 1)),
            (_, Some((end, [Reading::Side { own }]))) => Some((*own, end)),
            _ => None,
        };
        if let Some((_, end)) = named {
            self.at = end;
        }
        self.skip_marks();
        let yards = self.number()?;
        let span = self.span_from(at);
        let own = named.map(|(own, _)| own).or(side);
        let spot = match (yards, own) {
            (Some(50), None) => Spot::from_own_goal(50),
            (Some(yards @ 1..=50), Some(own)) => {
                let yards = u8::try_from(yards).unwrap_or(0);
                Spot::from_own_goal(if own { yards } else { 100 - yards })
            }
            (Some(1..=49), None) => {
                return Err(self.error(
                    span.clone(),
                    "this spot tells no side of the field",
                    format!("write \"own {0}\" or \"opp {0}\"", &self.phrase[span]),
                ));
            }
            _ => None,
        };
        match spot {
            Some(spot) => Ok((spot, own)),
            None => Err(self.error(
                if yards.is_some() { span } else { self.here() },
                "a spot from 1 to 50 has to stand here",
                "write \"ball on own 20-40\" or \"ball on opp 20-1\"",
            )),
        }
    }

    /// The rest of a condition on the clock, after its name.
    pub fn clock_condition(&mut self, start: usize) -> Parsed<Item> {
        let compare = self.comparison().unwrap_or(Compare::Equal);
        let first = self.clock()?;
        let sign = self.tokens.get(self.at).is_some_and(|t| t.kind == Kind::Dash || t.piece() == "to");
        let range = if sign {
            self.at += 1;
            Range::between(first, self.clock()?)
        } else {
            Range::exactly(first)
        };
        let (range, denied) = self.compared(compare, range, start)?;
        if range.high().is_some_and(|h| h < 0) || range.low().is_some_and(|l| l > 900) {
            return Err(self.error(self.span_from(start), "no clock shows that", "write a time from 0:00 to 15:00"));
        }
        let item = Item::new(Filter::Clock(range), false, self.span_from(start));
        Ok(if denied { Item { filter: item.filter.opposite(), group: None, ..item } } else { item })
    }

    /// `2:00`, `:45`, in seconds.
    fn clock(&mut self) -> Parsed<i64> {
        let start = self.at;
        if self.digits(self.at) {
            self.at += 1;
        }
        if self.tokens.get(self.at).is_some_and(|t| t.kind == Kind::Colon) && self.digits(self.at + 1) {
            self.at += 2;
            let span = self.span_from(start);
            if let Some(clock) = GameClock::parse(&self.phrase[span.clone()]) {
                return Ok(clock.seconds().into());
            }
            return Err(self.error(span, "no clock shows that", "write a time from 0:00 to 15:00"));
        }
        let span = if self.at > start { self.span_from(start) } else { self.here() };
        Err(self.error(span, "a time has to stand here", "write it as \"clock <= 2:00\" or \"clock 2:00-4:00\""))
    }

    /// A dash and a number behind a label: plays have labels, whose order only the film knows.
    pub fn refuse_label_range(&self, label: &str) -> Parsed<()> {
        if self.tokens.get(self.at).is_some_and(|t| t.kind == Kind::Dash) && self.digits(self.at + 1) {
            return Err(self.error(
                self.here(),
                "labels are names and have no ranges",
                format!("write each: \"play {label}, {}\"", self.tokens.get(self.at + 1).map_or("", |t| t.piece())),
            ));
        }
        Ok(())
    }

    /// A label, `17` or `17a`, without the zeros of file names; or any in quotes.
    pub fn label(&mut self) -> Option<String> {
        let token = self.tokens.get(self.at)?;
        let label = match &token.kind {
            Kind::Quoted(text) => text.clone(),
            Kind::Piece(text) if text.starts_with(|c: char| c.is_ascii_digit()) => {
                let bare = text.trim_start_matches('0');
                if bare.starts_with(|c: char| c.is_ascii_digit()) { bare.to_string() } else { format!("0{bare}") }
            }
            _ => return None,
        };
        self.at += 1;
        Some(label)
    }

    /// The bytes from a token to the last that was read.
    pub fn span_from(&self, start: usize) -> Span<usize> {
        let begin = self.tokens.get(start).map_or(self.phrase.len(), |t| t.span.start);
        begin..self.last_end().max(begin)
    }
}
