//! One item of a phrase: a word, a field with its value, a down, a situation.

use super::group::{Group, group_of};
use super::parser::{Before, Item, Link, Parsed, Parser};
use super::print::JOINING;
use super::token::{Compare, Kind};
use super::words::{Reading, nearest_of};
use super::{Filter, PhraseError, Range, TextMatch};
use crate::football::{self, Field, fold};

/// Fields whose name alone asks for any value but "no".
const ANY: &[Field] = &[Field::Motion, Field::Shift, Field::Rotation];

/// What fits where an item is looked for.
const FITS: &str = "write a down and distance, a tagged word, a situation, or a field and its value";

/// A word of a field; "yes" of a motion or shift asks for any.
pub(super) fn word_filter(field: Field, word: String) -> Filter {
    if ANY.contains(&field) && fold(&word) == "yes" { Filter::Any(field) } else { Filter::Is { field, word } }
}

impl Parser<'_> {
    /// One item. `before` tells what stands before it and how it hangs on that.
    pub fn item(&mut self, before: &Before) -> Parsed<Item> {
        loop {
            self.skip_marks();
            let Some(token) = self.tokens.get(self.at) else {
                return Err(self.error(self.here(), "the phrase ends where something has to follow", FITS));
            };
            match &token.kind {
                Kind::Open => return self.parenthesis(),
                Kind::Piece(piece) if piece == "not" => return self.negation(),
                Kind::Piece(_) | Kind::Quoted(_) => {}
                _ => {
                    let what = format!("\"{}\" does not fit here", &self.phrase[token.span.clone()]);
                    return Err(self.error(token.span.clone(), what, FITS));
                }
            }
            if self.at_day() {
                return self.date_condition(None, self.at);
            }
            if let Some(item) = self.bare_number(before)? {
                return Ok(item);
            }
            if let Some((end, readings)) = self.longest(self.at) {
                let reading = self.choose(end, readings, before)?.clone();
                return self.mean(&reading, end);
            }
            let piece = self.tokens.get(self.at).map_or("", |t| t.piece());
            if JOINING.contains(&piece) {
                let what = format!("\"{piece}\" has to stand between two conditions");
                return Err(self.error(self.here(), what, FITS));
            }
            if !self.at_filler() {
                return Err(self.unknown());
            }
            self.at += 1;
        }
    }

    /// The one reading that is meant of several.
    fn choose<'r>(&self, end: usize, readings: &'r [Reading], before: &Before) -> Parsed<&'r Reading> {
        if let [only] = readings {
            return Ok(only);
        }
        let field_of = |reading: &Reading| match reading {
            Reading::Word { field, .. } => Some(Group::Field(*field)),
            Reading::Team(_) => Some(Group::Field(Field::Ball)),
            Reading::Game(_) => Some(Group::Game),
            Reading::Opponent(_) => Some(Group::Opponent),
            _ => None,
        };
        // "left hash": the field's name behind it settles it; "strength right or left": so does the value before.
        let behind = match self.longest(end) {
            Some((_, [Reading::Field(field)])) => Some(Group::Field(*field)),
            _ => None,
        };
        let ahead =
            before.as_ref().filter(|(link, _)| matches!(link, Link::Or | Link::Comma)).and_then(|b| b.1.clone());
        for settled in [behind, ahead].into_iter().flatten() {
            if let Some(reading) = readings.iter().find(|r| field_of(r).as_ref() == Some(&settled)) {
                return Ok(reading);
            }
        }
        let choices: Vec<_> = readings.iter().map(|r| format!("\"{}\"", self.spoken_reading(r))).collect();
        let span = self.here().start..self.tokens.get(end - 1).map_or(self.phrase.len(), |t| t.span.end);
        let what = format!("\"{}\" has more than one meaning", &self.phrase[span.clone()]);
        Err(self.error(span, what, format!("name the field: {}", choices.join(" or "))))
    }

    /// A reading, said so that it has no other.
    pub fn spoken_reading(&self, reading: &Reading) -> String {
        match reading {
            Reading::Word { field, word } => format!("{field} {word}"),
            Reading::Situation(index) => {
                self.dictionary.words.situations.named().get(*index).map_or_else(String::new, |s| s.means.clone())
            }
            Reading::Own(name) => format!("tag {name}"),
            Reading::Game(name) => format!("game {name}"),
            Reading::Team(name) => format!("ball {name}"),
            Reading::Opponent(name) => format!("opponent {name}"),
            Reading::Field(field) => field.words().into(),
            _ => "a word of the language itself".into(),
        }
    }

    /// What a reading that ends before the token `end` means, with what belongs to it behind.
    fn mean(&mut self, reading: &Reading, end: usize) -> Parsed<Item> {
        let start = self.at;
        self.at = end;
        let spoken = |parser: &Self, filter| Ok(Item::new(filter, true, parser.span_from(start)));
        match reading {
            Reading::Field(field) => self.field(*field, start),
            Reading::Word { field, word } => {
                self.skip_field_name(*field);
                spoken(self, word_filter(*field, word.clone()))
            }
            Reading::Down(down) => {
                self.skip_field_name(Field::Down);
                if self.at == end {
                    self.refuse_split_ordinal(start)?;
                }
                spoken(self, Filter::Number { field: Field::Down, range: Range::exactly(*down) })
            }
            Reading::Quarter(number) => {
                spoken(self, Filter::Number { field: Field::Quarter, range: Range::exactly(*number) })
            }
            Reading::Situation(index) => {
                let filter = self.situation(*index).map_err(|inner| {
                    let name = &self.phrase[self.span_from(start)];
                    self.error(
                        self.span_from(start),
                        format!("the situation \"{name}\" cannot be read: {} in \"{}\"", inner.what, inner.phrase),
                        "mend it in the situations file",
                    )
                })?;
                spoken(self, filter)
            }
            Reading::Team(name) => {
                self.skip_field_name(Field::Ball);
                spoken(self, Filter::Text { field: Field::Ball, how: TextMatch::Is, text: name.clone() })
            }
            Reading::Game(name) => spoken(self, Filter::Game(name.clone())),
            Reading::Opponent(name) => spoken(self, Filter::Opponent(name.clone())),
            Reading::OurBall(ours) => self.our_ball(*ours, start),
            Reading::DateKey(compare) => self.date_condition(*compare, start),
            Reading::LastKey => self.last_games(start),
            Reading::Opener => spoken(self, Filter::Opener),
            Reading::Own(name) => self.own_value(name.clone(), start),
            Reading::TagKey => self.own(start),
            Reading::GameKey => self.game(start),
            Reading::Side { own: false } if self.at_opponent() => self.opponent(start),
            Reading::Side { .. } => {
                self.at = start;
                self.spots(start)
            }
            Reading::Success => spoken(self, Filter::Success(self.dictionary.shares())),
            Reading::Failure => spoken(self, Filter::Success(self.dictionary.shares()).opposite()),
            Reading::Goal => spoken(self, Filter::GoalToGo),
            Reading::Inches => spoken(self, Filter::ToGain(Range::exactly(1))),
            Reading::All => spoken(self, Filter::All),
            Reading::LabelKey => {
                self.skip_equal();
                let plural = self.phrase[self.span_from(start)].to_lowercase() == "plays";
                match self.label() {
                    Some(label) => {
                        self.refuse_label_range(&label)?;
                        Ok(Item::new(Filter::Label(label), false, self.span_from(start)))
                    }
                    None if plural => spoken(self, Filter::All),
                    None => Err(self.error(self.here(), "a play's label has to stand here", "write \"play 17\"")),
                }
            }
        }
    }

    /// Goes past the name of a field behind its value ("one-high shell"), unless a value of it follows.
    fn skip_field_name(&mut self, field: Field) {
        let Some((end, [Reading::Field(named)])) = self.longest(self.at) else { return };
        let back = self.at;
        self.at = end;
        let compared = self.tokens.get(end).is_some_and(|t| matches!(t.kind, Kind::Compare(_)));
        let valued = self.field_word(field).is_some();
        self.at = if *named == field && !compared && !valued { end } else { back };
    }

    /// What a situation stands for.
    pub fn situation(&self, index: usize) -> Parsed<Filter> {
        let Some(situation) = self.dictionary.words.situations.named().get(index) else { return Ok(Filter::All) };
        let mut within = self.within.to_vec();
        within.push(index);
        if self.within.contains(&index) {
            return Err(PhraseError {
                phrase: situation.means.clone(),
                span: 0..situation.means.len(),
                what: format!("\"{}\" is defined by itself", situation.name),
                nearest: Vec::new(),
                fits: "define it by fields and values".into(),
            });
        }
        Parser::read(&situation.means, self.dictionary, &within)
    }

    /// The rest of a condition, after the field's name.
    fn field(&mut self, field: Field, start: usize) -> Parsed<Item> {
        match field.kind() {
            football::Kind::Word => self.word_condition(field, start),
            football::Kind::Number => self.number_condition(field, start),
            football::Kind::Distance => {
                let back = self.at;
                let denied = self.skip_equality();
                let filter = match self.longest(self.at) {
                    Some((end, [Reading::Goal])) => Some((end, Filter::GoalToGo)),
                    Some((end, [Reading::Inches])) => Some((end, Filter::ToGain(Range::exactly(1)))),
                    Some((end, [Reading::Situation(index)])) => {
                        let meant = self.situation(*index).ok();
                        meant.filter(|f| group_of(f).is_some_and(|g| g.is_distance())).map(|f| (end, f))
                    }
                    _ => None,
                };
                let Some((end, filter)) = filter else {
                    self.at = back;
                    return self.number_condition(field, start);
                };
                self.at = end;
                Ok(denied_if(denied, Item::new(filter, false, self.span_from(start))))
            }
            football::Kind::Spot => self.spots(start),
            football::Kind::Clock => self.clock_condition(start),
            football::Kind::Text => self.text_condition(field, start),
            football::Kind::Seconds => Err(self.error(
                self.span_from(start),
                "film time cannot be asked for",
                "ask by \"quarter\", \"clock\" or \"play 17\"",
            )),
        }
    }

    fn word_condition(&mut self, field: Field, start: usize) -> Parsed<Item> {
        let back = self.at;
        let denied = self.skip_equality();
        let compared = self.at > back;
        if let Some((end, word)) = self.field_word(field) {
            self.at = end;
            return Ok(denied_if(denied, Item::new(word_filter(field, word), false, self.span_from(start))));
        }
        if !compared && ANY.contains(&field) {
            return Ok(Item::new(Filter::Any(field), true, self.span_from(start)));
        }
        let follows = self.tokens.get(self.at).is_some_and(|t| match &t.kind {
            Kind::Piece(piece) => !JOINING.contains(&piece.as_str()),
            Kind::Quoted(_) => true,
            _ => false,
        });
        let fits = format!("write one of: {}", self.dictionary.some_words(field));
        if !follows {
            return Err(self.error(self.span_from(start), format!("\"{field}\" needs a value"), fits));
        }
        let (span, nearest) = self.window_nearest(|text| self.dictionary.nearest_in(field, text));
        let what = format!("\"{}\" is no {field} in the vocabulary", &self.phrase[span.clone()]);
        Err(PhraseError { nearest, ..self.error(span, what, fits) })
    }

    /// The longest word of a field here, with the token after it. Only a word in quotes may hold a joining word.
    fn field_word(&self, field: Field) -> Option<(usize, String)> {
        let vocabulary = &self.dictionary.words.vocabulary;
        let mut from = self.at;
        while self.tokens.get(from).is_some_and(|t| t.kind == Kind::Mark) {
            from += 1;
        }
        let first = self.tokens.get(from)?;
        if let Kind::Quoted(text) = &first.kind {
            return vocabulary.canonical(field, text).map(|w| (from + 1, w.to_string()));
        }
        let mut best = None;
        // No spelling of twelve runs is known; the bound keeps a long phrase cheap.
        for (index, token) in self.tokens.iter().enumerate().skip(from).take(12) {
            match &token.kind {
                Kind::Piece(piece) if JOINING.contains(&piece.as_str()) => break,
                Kind::Piece(_) => {}
                Kind::Dash | Kind::Mark if index > from => continue,
                _ => break,
            }
            // "one" means one-high in a cell, but in "one-hihg" it is a part of another word.
            let goes_on = self.glued(index).end > token.span.end
                && self.tokens.get(index + 2).is_none_or(|t| !JOINING.contains(&t.piece()));
            if goes_on {
                continue;
            }
            let word = vocabulary.canonical(field, &self.phrase[first.span.start..token.span.end]);
            best = word.map(|w| (index + 1, w.to_string())).or(best);
        }
        best
    }

    fn text_condition(&mut self, field: Field, start: usize) -> Parsed<Item> {
        let has = self.tokens.get(self.at).is_some_and(|t| matches!(t.piece(), "has" | "contains"));
        let back = self.at;
        let denied = !has && self.skip_equality();
        self.at += usize::from(has);
        let how = if has || (field == Field::Note && self.at == back) { TextMatch::Has } else { TextMatch::Is };
        let known: &[String] = if field == Field::Ball { &self.dictionary.words.teams } else { &[] };
        let text = self.text(known, field.words())?;
        Ok(denied_if(denied, Item::new(Filter::Text { field, how, text }, false, self.span_from(start))))
    }

    /// A column of the staff's own and its value, after "tag".
    fn own(&mut self, start: usize) -> Parsed<Item> {
        let names = &self.dictionary.words.own;
        let at = self.at;
        let name = self.text(names, "tag")?;
        match names.iter().find(|n| **n == name).or_else(|| names.iter().find(|n| fold(n) == fold(&name))) {
            Some(name) => self.own_value(name.clone(), start),
            None => {
                let near = nearest_of(&name, names.iter().map(|n| (n.as_str(), n.as_str())));
                let fits = match names.as_slice() {
                    [] => "the library has no columns of the staff's own: cut a game with a sheet that has some".into(),
                    names => format!("name one of: {}", names.join(", ")),
                };
                let error =
                    self.error(self.span_from(at), format!("there is no column \"{name}\" of the staff's own"), fits);
                Err(PhraseError { nearest: near.into_iter().map(|(_, n)| n).collect(), ..error })
            }
        }
    }

    fn own_value(&mut self, name: String, start: usize) -> Parsed<Item> {
        let denied = self.skip_equality();
        let value = self.text(&[], &name)?;
        Ok(denied_if(denied, Item::new(Filter::Own { name, value }, false, self.span_from(start))))
    }

    /// One of the library's names, as it is spelled there; while there are none, any. `after`: the word before it; `kind`:
    /// what it is the name of.
    pub fn known_name(&mut self, names: &[String], after: &str, kind: &str) -> Parsed<String> {
        let at = self.at;
        let name = self.text(names, after)?;
        let known = names.iter().find(|n| **n == name).or_else(|| names.iter().find(|n| fold(n) == fold(&name)));
        if known.is_none() && !names.is_empty() {
            let near = nearest_of(&name, names.iter().map(|n| (n.as_str(), n.as_str())));
            let shown: Vec<_> = names.iter().take(8).map(String::as_str).collect();
            let fits = format!("name a {kind} of the library, in quotes if it has spaces: {}", shown.join(", "));
            let error = self.error(self.span_from(at), format!("the library has no {kind} \"{name}\""), fits);
            return Err(PhraseError { nearest: near.into_iter().map(|(_, n)| n).collect(), ..error });
        }
        Ok(known.cloned().unwrap_or(name))
    }

    fn game(&mut self, start: usize) -> Parsed<Item> {
        let denied = self.skip_equality();
        let filter = Filter::Game(self.known_name(&self.dictionary.words.games, "game", "game")?);
        Ok(denied_if(denied, Item::new(filter, false, self.span_from(start))))
    }

    /// A text: in quotes, or one of the known names, or one word.
    pub fn text(&mut self, known: &[String], after: &str) -> Parsed<String> {
        let first = self.tokens.get(self.at);
        if let Some(Kind::Quoted(text)) = first.map(|t| &t.kind) {
            let text = text.clone();
            self.at += 1;
            return Ok(text);
        }
        let wanted = |parser: &Self| {
            parser.error(
                parser.here(),
                format!("a name or text has to follow \"{after}\""),
                "write one word, or several in quotes",
            )
        };
        let Some(first) = first.filter(|t| !t.piece().is_empty() && !JOINING.contains(&t.piece())) else {
            return Err(wanted(self));
        };
        let start = first.span.start;
        let mut best = None;
        for (index, token) in self.tokens.iter().enumerate().skip(self.at).take(12) {
            if matches!(token.kind, Kind::Open | Kind::Close | Kind::Compare(_) | Kind::Quoted(_)) {
                break;
            }
            let name = fold(&self.phrase[start..token.span.end]);
            if !token.piece().is_empty()
                && let Some(name) = known.iter().find(|k| fold(k) == name)
            {
                best = Some((index + 1, name.clone()));
            }
        }
        if let Some((end, name)) = best {
            self.at = end;
            return Ok(name);
        }
        let span = self.glued(self.at);
        while self.tokens.get(self.at).is_some_and(|t| t.span.start < span.end) {
            self.at += 1;
        }
        Ok(self.phrase[span].to_string())
    }

    /// The bytes of the word at a token with what hyphens join to it without a space.
    fn glued(&self, from: usize) -> std::ops::Range<usize> {
        let Some(first) = self.tokens.get(from) else { return self.here() };
        let mut end = first.span.end;
        let mut rest = self.tokens.get(from + 1..).unwrap_or(&[]);
        while let [dash, piece, ..] = rest
            && dash.kind == Kind::Dash
            && dash.span.start == end
            && !piece.piece().is_empty()
            && piece.span.start == dash.span.end
        {
            end = piece.span.end;
            rest = &rest[2..];
        }
        first.span.start..end
    }

    /// `=`, `:`, `is` or nothing; `!=` is to be denied.
    pub fn skip_equality(&mut self) -> bool {
        match self.tokens.get(self.at).map(|t| (&t.kind, t.piece())) {
            Some((Kind::Compare(Compare::Equal) | Kind::Colon, _) | (_, "is")) => {
                self.at += 1;
                false
            }
            Some((Kind::Compare(Compare::Unequal), _)) => {
                self.at += 1;
                true
            }
            _ => false,
        }
    }

    fn skip_equal(&mut self) {
        if self.tokens.get(self.at).is_some_and(|t| t.kind == Kind::Compare(Compare::Equal)) {
            self.at += 1;
        }
    }

    /// The error for what no reading begins with.
    fn unknown(&self) -> PhraseError {
        let here = self.glued(self.at);
        let text = &self.phrase[here.clone()];
        if self.tokens.get(self.at + 1).is_some_and(|t| t.kind == Kind::Colon) {
            let what = "a time of the clock has to follow its name";
            return self.error(here, what, "write \"clock <= 2:00\" or \"clock 2:00-4:00\"");
        }
        if text.chars().all(|c| c.is_ascii_digit() || c == '-') {
            return self.error(
                here.clone(),
                format!("\"{text}\" of what?"),
                format!("name the field: \"distance {text}\", \"gain {text}\", \"quarter {text}\" or \"down {text}\""),
            );
        }
        let (span, nearest) = self.window_nearest(|text| self.dictionary.nearest(text));
        let what = format!("\"{}\" is no word of the vocabulary", &self.phrase[span.clone()]);
        PhraseError { nearest, ..self.error(span, what, FITS) }
    }

    /// The nearest words to what stands here, and its bytes: one, two or three words, whichever come nearest.
    fn window_nearest(&self, nearest: impl Fn(&str) -> Vec<(f64, String)>) -> (std::ops::Range<usize>, Vec<String>) {
        let here = match self.tokens.get(self.at).map(|t| &t.kind) {
            Some(Kind::Quoted(_)) => self.here(),
            _ => self.glued(self.at),
        };
        let mut best = (here.clone(), nearest(&self.phrase[here.clone()]));
        let mut end = here.end;
        for _ in 0..2 {
            let Some(next) = self.tokens.iter().position(|t| t.span.start >= end) else { break };
            let piece = self.tokens.get(next).map_or("", |t| t.piece());
            if piece.is_empty() || JOINING.contains(&piece) {
                break;
            }
            end = self.glued(next).end;
            let found = nearest(&self.phrase[here.start..end]);
            let nearness = |list: &[(f64, String)]| list.first().map_or(0.0, |(n, _)| *n);
            if nearness(&found) > nearness(&best.1) {
                best = (here.start..end, found);
            }
        }
        (best.0, best.1.into_iter().map(|(_, shown)| shown).collect())
    }
}

pub(super) fn denied_if(denied: bool, item: Item) -> Item {
    if !denied {
        return item;
    }
    Item { filter: item.filter.opposite(), group: None, ..item }
}
