//! What a card says, and for how long it must stand to be read.

use std::collections::BTreeMap;

use super::card;
use super::fonts::plain;
use super::placeholder::NAMES;
use super::strip_text::StripText;
use super::template::Template;
use crate::football::Field;

/// Words that a viewer reads in a second, with time left to take them in: subtitles are made at 160 to 180 words a minute,
/// which is about three a second [common practice; from memory].
const WORDS_A_SECOND: f64 = 3.0;

/// Shortest time that a title card stands, seconds. [common practice]
const TITLE_SECONDS: f64 = 3.0;

/// Shortest time that a group's card stands, seconds: it says one new thing. [own choice]
const GROUP_SECONDS: f64 = 1.5;

/// What kind of card it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum CardKind {
    /// Before a play.
    #[default]
    Title,
    /// Before a group of plays.
    Group,
}

/// What a card may say, by placeholder name. What is not known is missing.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct CardText {
    /// What kind of card it is.
    pub kind: CardKind,
    /// The values.
    pub values: BTreeMap<String, String>,
}

impl CardText {
    /// The card before a play: whatever its strip may say. `which`: the play's number in the reel, from 1, and how many
    /// there are.
    pub fn play(text: &StripText, which: Option<(u32, u32)>) -> Self {
        let mut out = Self { kind: CardKind::Title, values: text.values.clone() };
        let tags: Vec<String> = (1..=text.tags.len()).map(|n| format!("tag_{n}")).collect();
        let names = NAMES.iter().map(|(name, _)| *name).chain(Field::ALL.iter().map(|field| field.key()));
        for name in names.chain(tags.iter().map(String::as_str)) {
            out.put(name, text.whole(name).as_deref());
        }
        out.count(which);
        out
    }

    /// The card before a group of plays. `which`: the group's number, from 1, and how many there are; `plays`: how many
    /// plays it has; `down`: the down that all of them have, for the plate.
    pub fn group(name: &str, which: (u32, u32), plays: u32, down: Option<&str>) -> Self {
        let mut out = Self { kind: CardKind::Group, values: BTreeMap::new() };
        let down = down.filter(|down| down.chars().count() == 1);
        let plays = format!("{plays} {}", if plays == 1 { "play" } else { "plays" });
        for (key, value) in [("group", Some(name)), ("down", down), ("plays", Some(&plays))] {
            out.put(key, value);
        }
        out.count(Some(which));
        out
    }

    /// A card of words of one's own: large ones, and smaller ones below. It stands in the look of the card before a play.
    pub fn words(title: &str, below: Option<&str>) -> Self {
        let mut out = Self { kind: CardKind::Title, values: BTreeMap::new() };
        out.put("word", Some(title));
        out.put("set", below);
        out
    }

    /// A card of words of one's own before a section, in the look of the card before a group.
    pub fn section(title: &str, below: Option<&str>) -> Self {
        let mut out = Self { kind: CardKind::Group, values: BTreeMap::new() };
        out.put("group", Some(title));
        out.put("plays", below);
        out
    }

    /// What the reel is called, for `{title}`.
    #[must_use]
    pub fn titled(mut self, title: &str) -> Self {
        self.put("title", Some(title));
        self
    }

    /// Sets a value; nothing, or what has no sign to be drawn, takes it away.
    pub fn put(&mut self, name: &str, value: Option<&str>) {
        match value.map(plain).filter(|value| !value.is_empty()) {
            Some(value) => self.values.insert(name.into(), value),
            None => self.values.remove(name),
        };
    }

    fn count(&mut self, which: Option<(u32, u32)>) {
        let [number, of] = [which.map(|w| w.0.to_string()), which.map(|w| w.1.to_string())];
        self.put("number", number.as_deref());
        self.put("of", of.as_deref());
    }

    /// Which one of how many.
    pub(super) fn which(&self) -> Option<(u32, u32)> {
        let number = |name: &str| self.values.get(name)?.parse().ok();
        Some((number("number")?, number("of")?))
    }

    pub(super) fn value(&self, name: &str) -> Option<String> {
        self.values.get(name).map(|value| plain(value)).filter(|value| !value.is_empty())
    }

    /// What of it this template says: two cards are the same picture where the texts kept are the same.
    #[must_use]
    pub fn kept_for(&self, template: &Template) -> Self {
        let mut names = template.names();
        if card::has_links(template) {
            names.extend(["number".to_string(), "of".to_string()]);
        }
        let kept = self.values.iter().filter(|(name, _)| names.contains(*name));
        Self { kind: self.kind, values: kept.map(|(name, value)| (name.clone(), value.clone())).collect() }
    }

    /// Seconds for which the card must stand: three words a second, and not less than its kind needs. Words at its foot are
    /// not counted.
    pub fn seconds(&self, template: &Template) -> f64 {
        let words: usize = card::read(template, self).iter().map(|words| count_words(words)).sum();
        let least = match self.kind {
            CardKind::Title => TITLE_SECONDS,
            CardKind::Group => GROUP_SECONDS,
        };
        (words as f64 / WORDS_A_SECOND).max(least)
    }
}

/// Words that are read: signs that stand alone are none.
fn count_words(text: &str) -> usize {
    text.split_whitespace().filter(|word| word.chars().any(char::is_alphanumeric)).count()
}
