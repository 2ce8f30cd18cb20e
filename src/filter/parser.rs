//! The skeleton of a phrase: lists, `or`, `vs`, `not` and parentheses. What a single item means is in `item.rs`.

use std::ops::Range as Span;

use super::group::{Group, contradict, group_of, sides};
use super::token::{Kind, Token, tokens};
use super::words::{Dictionary, Reading};
use super::{Filter, PhraseError};
use crate::football::spoken_number;

/// Parentheses and `not`s inside one another, at most; far more than anyone writes, far less than the stack holds.
const DEEPEST: usize = 40;

/// Words that a sentence needs and the filter does not. A vocabulary word goes before.
const FILLERS: &[&str] = &["a", "an", "the", "in", "on", "at", "from", "with", "of"];

/// How two items hang together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Link {
    And,
    Or,
    Comma,
    SideBySide,
    Vs,
}

/// One condition with what the lists around it need to know.
#[derive(Debug, Clone)]
pub(super) struct Item {
    pub filter: Filter,
    /// What it is a value of, if it is one that stands with others of its kind for "or".
    pub group: Option<Group>,
    /// Of a `not`: what the denied value is a value of.
    pub denied: Option<Group>,
    /// Spoken as a coach does, not written as `field = value`.
    pub spoken: bool,
    pub span: Span<usize>,
}

impl Item {
    pub fn new(filter: Filter, spoken: bool, span: Span<usize>) -> Self {
        Self { group: group_of(&filter), filter, denied: None, spoken, span }
    }
}

/// What stands before an item: how it hangs on it, and what that was a value of.
pub(super) type Before = Option<(Link, Option<Group>)>;

pub(super) type Parsed<T> = Result<T, PhraseError>;

pub(super) struct Parser<'a> {
    pub phrase: &'a str,
    pub dictionary: &'a Dictionary<'a>,
    /// Situations whose definition is being read, outermost first.
    pub within: &'a [usize],
    pub tokens: Vec<Token>,
    pub at: usize,
    depth: usize,
}

impl<'a> Parser<'a> {
    /// Reads a whole phrase; of an empty one, every play.
    pub fn read(phrase: &'a str, dictionary: &'a Dictionary<'a>, within: &'a [usize]) -> Parsed<Filter> {
        let tokens = tokens(phrase).map_err(|span| PhraseError {
            phrase: phrase.to_string(),
            span,
            what: "this quote is not closed".into(),
            nearest: Vec::new(),
            fits: "write a second \" where the text ends".into(),
        })?;
        if tokens.is_empty() {
            return Ok(Filter::All);
        }
        let mut parser = Self { phrase, dictionary, within, tokens, at: 0, depth: 0 };
        parser.count_in_digits();
        let filter = parser.phrase()?;
        parser.skip_marks();
        if parser.at < parser.tokens.len() {
            let span = parser.here();
            return Err(parser.error(span, "this parenthesis closes none", "take it out, or open it with ("));
        }
        Ok(filter)
    }

    /// "third and ten": a number that is spoken, where it is no part of a known spelling ("one-high"), is the number.
    fn count_in_digits(&mut self) {
        let mut at = 0;
        while at < self.tokens.len() {
            if let Some((end, _)) = self.longest(at) {
                at = end;
                continue;
            }
            if let Some(number) = spoken_number(self.tokens[at].piece()).filter(|n| *n > 0) {
                self.tokens[at].kind = Kind::Piece(number.to_string());
            }
            at += 1;
        }
    }

    /// `or list [vs or list]`.
    fn phrase(&mut self) -> Parsed<Filter> {
        let left_start = self.here().start;
        let left = self.or_list()?;
        let left_end = self.last_end();
        let Some(vs) = self.take_link(Link::Vs) else { return Ok(left) };
        let right_start = self.here().start;
        let right = self.or_list()?;
        let right_end = self.last_end();
        if let Some(second) = self.take_link(Link::Vs) {
            return Err(self.error(
                second,
                "there is a second \"vs\": it sets one side against one other",
                "write \"and\" in its place",
            ));
        }
        if let (Some(left_side), Some(right_side)) = (sides(&left), sides(&right))
            && left_side == right_side
        {
            let (one, other) = (&self.phrase[left_start..left_end], &self.phrase[right_start..right_end]);
            let joined = if group_of(&left).is_some() && group_of(&left) == group_of(&right) { "or" } else { "and" };
            return Err(self.error(
                vs,
                format!(
                    "\"vs\" sets offense against defense, but \"{one}\" and \"{other}\" both tell of the {left_side}"
                ),
                format!("write \"{one} {joined} {other}\""),
            ));
        }
        Ok(Filter::all_of([left, right]))
    }

    /// `and list {or and list}`.
    fn or_list(&mut self) -> Parsed<Filter> {
        let mut parts = vec![self.and_list()?];
        while self.take_link(Link::Or).is_some() {
            parts.push(self.and_list()?);
        }
        Ok(Filter::one_of(parts))
    }

    /// Items side by side, by comma or by `and`; neighbors that are values of one field stand for "or".
    fn and_list(&mut self) -> Parsed<Filter> {
        let mut groups: Vec<Vec<Item>> = vec![vec![self.item(&None)?]];
        loop {
            let back = self.at;
            let Some(link) = self.link().filter(|link| *link != Link::Vs) else {
                self.at = back;
                break;
            };
            let Some(last) = groups.last().and_then(|g| g.last()).cloned() else { break };
            // A parenthesis or a "not" is no value; as `or` binds loosest before it, it is read once, by the or list.
            if link == Link::Or && self.next_is_compound() {
                self.at = back;
                break;
            }
            let item = self.item(&Some((link, last.group.clone())))?;
            self.refuse_unclear_not(&last, link, &item)?;
            let neighbors = item.group.is_some() && item.group == last.group && contradict(&last.filter, &item.filter);
            match link {
                Link::Or if item.group.is_some() && item.group == last.group => {
                    groups.last_mut().into_iter().for_each(|g| g.push(item.clone()));
                }
                Link::Or => {
                    self.at = back;
                    break;
                }
                Link::Comma | Link::SideBySide if neighbors => {
                    groups.last_mut().into_iter().for_each(|g| g.push(item.clone()));
                }
                _ => {
                    self.refuse_contradiction(&groups, link, &item)?;
                    groups.push(vec![item]);
                }
            }
        }
        Ok(Filter::all_of(groups.into_iter().map(|group| Filter::one_of(group.into_iter().map(|i| i.filter)))))
    }

    /// "not run or pass", "not third and short": it could deny the one or both.
    fn refuse_unclear_not(&self, last: &Item, link: Link, item: &Item) -> Parsed<()> {
        let Some(denied) = &last.denied else { return Ok(()) };
        let same = link != Link::And && item.group.as_ref() == Some(denied);
        let down_and_distance = link != Link::Or
            && last.spoken
            && item.spoken
            && denied.is_down()
            && item.group.as_ref().is_some_and(Group::is_distance);
        if !same && !down_and_distance {
            return Ok(());
        }
        let span = last.span.start..item.span.end;
        let (one, other) = (&self.phrase[last.span.clone()], &self.phrase[item.span.clone()]);
        let bare = one.trim_start_matches(|c: char| c.is_alphabetic()).trim_start();
        let (joined, apart) = if same { ("or", "or") } else { ("and", "and") };
        Err(self.error(
            span,
            "\"not\" may deny the first of these or both",
            format!("write \"not ({bare} {joined} {other})\" or \"({one}) {apart} {other}\""),
        ))
    }

    /// A play has one value of each field: two that exclude each other, apart in a list, answer nothing.
    fn refuse_contradiction(&self, groups: &[Vec<Item>], link: Link, item: &Item) -> Parsed<()> {
        for group in groups {
            let Some(first) = group.first() else { continue };
            let clash = item.group.is_some()
                && first.group == item.group
                && group.iter().all(|i| contradict(&i.filter, &item.filter))
                && (link != Link::And || (item.spoken && group.iter().all(|i| i.spoken)));
            if clash {
                let (one, other) = (&self.phrase[first.span.clone()], &self.phrase[item.span.clone()]);
                let name = item.group.as_ref().map(Group::name).unwrap_or_default();
                return Err(self.error(
                    item.span.clone(),
                    format!("a play has one {name}: none is both \"{one}\" and \"{other}\""),
                    format!(
                        "write \"{one} or {other}\" side by side, or put each case in parentheses with \"or\" between"
                    ),
                ));
            }
        }
        Ok(())
    }

    /// The next link, past it; `None` at the end and before a closing parenthesis.
    fn link(&mut self) -> Option<Link> {
        self.skip_marks();
        let link_of = |token: &Token| match (&token.kind, token.piece()) {
            (Kind::Comma, _) => Some(Link::Comma),
            (Kind::Ampersand, _) | (_, "and" | "but") => Some(Link::And),
            (_, "or") => Some(Link::Or),
            (_, "vs" | "versus" | "against") => Some(Link::Vs),
            _ => None,
        };
        let token = self.tokens.get(self.at).filter(|t| t.kind != Kind::Close)?;
        let Some(link) = link_of(token) else { return Some(Link::SideBySide) };
        self.at += 1;
        self.skip_marks();
        // ", and" is "and".
        if link == Link::Comma
            && let Some(word) = self.tokens.get(self.at).and_then(link_of).filter(|l| *l != Link::Comma)
        {
            self.at += 1;
            self.skip_marks();
            return Some(word);
        }
        Some(link)
    }

    /// Goes past a link if it is this one, and returns where it stands.
    fn take_link(&mut self, wanted: Link) -> Option<Span<usize>> {
        let back = self.at;
        self.skip_marks();
        let span = self.here();
        if self.link() == Some(wanted) {
            return Some(span);
        }
        self.at = back;
        None
    }

    fn next_is_compound(&self) -> bool {
        self.tokens.get(self.at).is_some_and(|t| t.kind == Kind::Open || t.piece() == "not")
    }

    /// `not item`.
    pub fn negation(&mut self) -> Parsed<Item> {
        let start = self.here().start;
        self.deeper()?;
        self.at += 1;
        let denied = self.item(&None)?;
        self.depth -= 1;
        Ok(Item {
            group: None,
            denied: denied.group,
            spoken: denied.spoken,
            span: start..denied.span.end,
            filter: denied.filter.opposite(),
        })
    }

    /// `( phrase )`.
    pub fn parenthesis(&mut self) -> Parsed<Item> {
        let open = self.here();
        self.deeper()?;
        self.at += 1;
        let filter = self.phrase()?;
        self.depth -= 1;
        self.skip_marks();
        if self.tokens.get(self.at).is_none_or(|t| t.kind != Kind::Close) {
            return Err(self.error(open, "this parenthesis is not closed", "write ) where it ends"));
        }
        self.at += 1;
        Ok(Item { group: group_of(&filter), filter, denied: None, spoken: false, span: open.start..self.last_end() })
    }

    fn deeper(&mut self) -> Parsed<()> {
        self.depth += 1;
        if self.depth > DEEPEST {
            return Err(self.error(
                self.here(),
                format!("there are more than {DEEPEST} parentheses and nots inside one another"),
                "write the phrase flatter",
            ));
        }
        Ok(())
    }

    /// Goes past hyphens and marks that stand for a space.
    pub fn skip_marks(&mut self) {
        while self.tokens.get(self.at).is_some_and(|t| matches!(t.kind, Kind::Dash | Kind::Mark)) {
            self.at += 1;
        }
    }

    /// Whether a filler stands here.
    pub fn at_filler(&self) -> bool {
        self.tokens.get(self.at).is_some_and(|t| FILLERS.contains(&t.piece()))
    }

    /// The bytes of the token here; empty at the end.
    pub fn here(&self) -> Span<usize> {
        self.tokens.get(self.at).map_or(self.phrase.len()..self.phrase.len(), |t| t.span.clone())
    }

    /// Where the last token that was read ends.
    pub fn last_end(&self) -> usize {
        self.at.checked_sub(1).and_then(|i| self.tokens.get(i)).map_or(0, |t| t.span.end)
    }

    /// The longest spelling of the dictionary that starts at a token: the token after it, and its readings.
    pub fn longest(&self, from: usize) -> Option<(usize, &'a [Reading])> {
        let first = self.tokens.get(from)?;
        if let Kind::Quoted(text) = &first.kind {
            let readings = self.dictionary.readings(&crate::football::fold(text));
            return (!readings.is_empty()).then_some((from + 1, readings));
        }
        let mut best = None;
        for (index, token) in self.tokens.iter().enumerate().skip(from) {
            match token.kind {
                Kind::Piece(_) | Kind::Plus | Kind::Ampersand => {}
                Kind::Dash | Kind::Mark | Kind::Colon => continue,
                _ => break,
            }
            let spelling = crate::football::fold(&self.phrase[first.span.start..token.span.end]);
            let readings = self.dictionary.readings(&spelling);
            if !readings.is_empty() {
                best = Some((index + 1, readings));
            }
            if !self.dictionary.begins(&spelling) {
                break;
            }
        }
        best
    }

    /// An error at a place, with no neighbor to offer.
    pub fn error(&self, span: Span<usize>, what: impl Into<String>, fits: impl Into<String>) -> PhraseError {
        PhraseError { phrase: self.phrase.to_string(), span, what: what.into(), nearest: Vec::new(), fits: fits.into() }
    }
}
