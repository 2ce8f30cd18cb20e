//! The words that a phrase may use, and what each may mean.

use std::collections::BTreeMap;

use super::token::Compare;
use super::{Filter, PhraseError, Situations, SuccessShares};
use crate::base::{Error, Result};
use crate::football::{Field, Vocabulary, fold};

/// Everything a phrase may name.
#[derive(Debug, Clone, Default)]
pub struct Words {
    /// Words of the fields, with what the library has learned.
    pub vocabulary: Vocabulary,
    /// Named situations.
    pub situations: Situations,
    /// The staff's own column names, as the library has them.
    pub own: Vec<String>,
    /// Names of the library's games; while there are none, any name is taken.
    pub games: Vec<String>,
    /// Teams that have had the ball or played.
    pub teams: Vec<String>,
    /// The staff's own team, for "our ball".
    pub we: Option<String>,
}

impl Words {
    /// Reads every situation once, so that a broken definition is found when the settings are loaded. `place` names
    /// the situations file in errors.
    pub fn check(&self, place: &str) -> Result<()> {
        let dictionary = Dictionary::new(self);
        for (index, situation) in self.situations.named().iter().enumerate() {
            let hidden = |s: &&String| !dictionary.readings(s).contains(&Reading::Situation(index));
            if let Some(spelling) = situation.spellings.iter().find(hidden) {
                return Err(Error::refused(
                    format!("the situation \"{spelling}\" has the name of something that every phrase knows"),
                    place,
                    "give it another name",
                ));
            }
            super::parser::Parser::read(&situation.means, &dictionary, &[]).map_err(|error| {
                Error::refused(
                    format!("cannot read the situation \"{}\": {}", situation.name, error.what),
                    format!("{place}\n{}", error.pointed()),
                    error.next(),
                )
            })?;
        }
        Ok(())
    }
}

/// What one spelling may mean.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Reading {
    /// A word of a field.
    Word { field: Field, word: String },
    /// A field's name.
    Field(Field),
    /// "third".
    Down(i64),
    /// "fourth quarter".
    Quarter(i64),
    /// A named situation, by its place in the list.
    Situation(usize),
    /// A column of the staff's own.
    Own(String),
    /// A game's name.
    Game(String),
    /// A team that has the ball.
    Team(String),
    /// A team as the opponent of a game.
    Opponent(String),
    /// "our ball", "their ball".
    OurBall(bool),
    /// "date", "since", "before": what comparison the word is.
    DateKey(Option<Compare>),
    /// "last", before a number of games.
    LastKey,
    /// "opener".
    Opener,
    /// "own" or "opp", before a spot; "opponent" also before a team.
    Side { own: bool },
    /// "success".
    Success,
    /// "unsuccessful".
    Failure,
    /// "all", "every".
    All,
    /// "goal", as a distance.
    Goal,
    /// "inches", a distance of 1.
    Inches,
    /// "game", before a name.
    GameKey,
    /// "play", before a label.
    LabelKey,
    /// "tag", before a column of the staff's own.
    TagKey,
}

impl Reading {
    /// Whether it is of the language itself; such a reading goes before a word that a staff has used.
    fn built_in(&self) -> bool {
        !matches!(
            self,
            Self::Word { .. } | Self::Situation(_) | Self::Own(_) | Self::Game(_) | Self::Team(_) | Self::Opponent(_)
        )
    }
}

/// Every spelling with its readings.
pub(super) struct Dictionary<'a> {
    pub words: &'a Words,
    readings: BTreeMap<String, Vec<Reading>>,
}

/// "third", "3rd".
const ORDINALS: [(&str, &str); 4] = [("first", "1st"), ("second", "2nd"), ("third", "3rd"), ("fourth", "4th")];

impl<'a> Dictionary<'a> {
    pub fn new(words: &'a Words) -> Self {
        let mut dictionary = Self { words, readings: BTreeMap::new() };
        for &field in Field::ALL {
            dictionary.add(field.words(), Reading::Field(field));
        }
        dictionary.add("downs", Reading::Field(Field::Down));
        for (number, (long, brief)) in (1..).zip(ORDINALS) {
            for ordinal in [long, brief] {
                dictionary.add(ordinal, Reading::Down(number));
                dictionary.add(&format!("{ordinal} quarter"), Reading::Quarter(number));
            }
            dictionary.add(&format!("q{number}"), Reading::Quarter(number));
        }
        for (spellings, reading) in [
            (&["own"] as &[&str], Reading::Side { own: true }),
            (&["opp", "opponent", "opponents"], Reading::Side { own: false }),
            (&["success", "successful", "successes"], Reading::Success),
            (&["unsuccessful", "failure", "failures"], Reading::Failure),
            (&["all", "every", "all plays", "every play"], Reading::All),
            (&["our ball", "we have the ball", "own ball"], Reading::OurBall(true)),
            (&["their ball", "they have the ball"], Reading::OurBall(false)),
            (&["date", "day", "played"], Reading::DateKey(None)),
            (&["since"], Reading::DateKey(Some(Compare::AtLeast))),
            (&["until", "through"], Reading::DateKey(Some(Compare::AtMost))),
            (&["before"], Reading::DateKey(Some(Compare::Below))),
            (&["after"], Reading::DateKey(Some(Compare::Above))),
            (&["last"], Reading::LastKey),
            (&["opener", "openers", "first play of a possession", "first play of the possession"], Reading::Opener),
            (&["goal", "g"], Reading::Goal),
            (&["inches"], Reading::Inches),
            (&["game"], Reading::GameKey),
            (&["play", "plays", "label"], Reading::LabelKey),
            (&["tag"], Reading::TagKey),
        ] {
            for spelling in spellings {
                dictionary.add(spelling, reading.clone());
            }
        }
        for entry in words.vocabulary.entries().iter().filter(|e| !e.cell_only) {
            // Rotation has the words of shell; alone they mean the shell, and "to one-high" the rotation.
            if entry.field != Field::Rotation || entry.spelling.starts_with("to ") {
                dictionary.add(&entry.spelling, Reading::Word { field: entry.field, word: entry.word.clone() });
            }
        }
        for (index, situation) in words.situations.named().iter().enumerate() {
            for spelling in &situation.spellings {
                dictionary.add(spelling, Reading::Situation(index));
            }
        }
        for (names, reading) in [
            (&words.own, Reading::Own as fn(String) -> Reading),
            (&words.games, Reading::Game),
            (&words.teams, Reading::Team),
            (&words.teams, Reading::Opponent),
        ] {
            for name in names {
                dictionary.add(name, reading(name.clone()));
            }
        }
        dictionary
    }

    fn add(&mut self, spelling: &str, reading: Reading) {
        let spelling = fold(spelling);
        if spelling.is_empty() {
            return;
        }
        let readings = self.readings.entry(spelling).or_default();
        if readings.contains(&reading) || (!reading.built_in() && readings.iter().any(Reading::built_in)) {
            return;
        }
        readings.push(reading);
    }

    /// What a folded spelling may mean; empty if nothing.
    pub fn readings(&self, spelling: &str) -> &[Reading] {
        self.readings.get(spelling).map_or(&[], Vec::as_slice)
    }

    /// Whether some spelling begins with this one.
    pub fn begins(&self, spelling: &str) -> bool {
        self.readings.range(spelling.to_string()..).next().is_some_and(|(s, _)| s.starts_with(spelling))
    }

    /// The nearest spellings to a text with their nearness, at most three, best first (the measure and its threshold
    /// are those of [`Vocabulary::nearest`]).
    pub fn nearest(&self, text: &str) -> Vec<(f64, String)> {
        let offered = self.readings.iter().map(|(spelling, readings)| {
            let shown = match readings.first() {
                Some(Reading::Word { word, .. }) if fold(word) == *spelling => word,
                Some(Reading::Situation(index)) => {
                    let name = self.words.situations.named().get(*index).map(|s| &s.name);
                    name.filter(|n| fold(n) == *spelling).unwrap_or(spelling)
                }
                Some(Reading::Own(name) | Reading::Game(name) | Reading::Team(name) | Reading::Opponent(name)) => name,
                _ => spelling,
            };
            (spelling.as_str(), shown.as_str())
        });
        let mut near = nearest_of(text, offered);
        // Two spellings of one thing are one offer.
        let meaning = |shown: &str| self.readings(&fold(shown));
        let mut index = 1;
        while index < near.len() {
            let twin = near[..index].iter().any(|(_, earlier)| meaning(earlier) == meaning(&near[index].1));
            if twin {
                near.remove(index);
            } else {
                index += 1;
            }
        }
        near
    }

    /// The nearest spellings among one field's.
    pub fn nearest_in(&self, field: Field, text: &str) -> Vec<(f64, String)> {
        let entries = self.words.vocabulary.entries().iter().filter(|e| e.field == field && !e.cell_only);
        nearest_of(text, entries.map(|e| (e.spelling.as_str(), e.word.as_str())))
    }

    /// Some of a field's words, for "what would fit".
    pub fn some_words(&self, field: Field) -> String {
        let mut words: Vec<&str> = Vec::new();
        for entry in self.words.vocabulary.entries().iter().filter(|e| e.field == field) {
            if !words.contains(&entry.word.as_str()) {
                words.push(&entry.word);
            }
        }
        let more = if words.len() > 8 { ", ..." } else { "" };
        words.truncate(8);
        format!("{}{more}", words.join(", "))
    }

    pub fn shares(&self) -> SuccessShares {
        self.words.situations.success
    }
}

/// At most three of the offered words, best first, those that are near.
pub(super) fn nearest_of<'w>(text: &str, offered: impl Iterator<Item = (&'w str, &'w str)>) -> Vec<(f64, String)> {
    let text = fold(text);
    let mut near: Vec<(f64, String)> = offered
        .map(|(spelling, shown)| (strsim::jaro_winkler(spelling, &text), shown.to_string()))
        .filter(|(nearness, _)| *nearness >= 0.82)
        .collect();
    near.sort_by(|a, b| b.0.total_cmp(&a.0));
    let best = near.first().map_or(0.0, |(nearness, _)| *nearness);
    let mut kept: Vec<(f64, String)> = Vec::new();
    for (nearness, shown) in near {
        // What is much farther than the best is noise (.05, our own choice).
        if nearness > best - 0.05 && kept.len() < 3 && kept.iter().all(|(_, k)| *k != shown) {
            kept.push((nearness, shown));
        }
    }
    kept
}

/// Reads a phrase.
///
/// # Errors
/// A word that is not known or does not fit, an ambiguous one, a contradiction, or a `vs` between the same unit: with
/// the place in the phrase and what to write instead.
pub fn parse(phrase: &str, words: &Words) -> Result<Filter, PhraseError> {
    super::parser::Parser::read(phrase, &Dictionary::new(words), &[])
}
