//! What is known of a play, as its overlays and cards may say it.

use std::collections::BTreeMap;

use super::fonts::{plain, shorten};
use super::template::Template;
use crate::football::fold;

/// What a strip, a chip or a card may say of a play. Whatever is not known is `None` or missing, and left out.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct StripText {
    /// The down: one sign, shown on the plate (`3`).
    pub down: Option<String>,
    /// `and 2`, `and goal`. Never dropped, never cut.
    pub distance: Option<String>,
    /// What stands in the plate's place where there is no down: `kickoff`, `try`.
    pub word: Option<String>,
    /// `opp 34`.
    pub ball_on: Option<String>,
    /// Yards from the offense's own goal line to the ball, 0 to 100: places it on the field line.
    pub ball_yards: Option<u8>,
    /// Yards to the line to gain.
    pub to_gain: Option<u8>,
    /// Whether the offense is known to be seen going left: the field line is mirrored then.
    pub leftward: bool,
    /// Free words, the most telling first: `trips right`, `one-high`.
    pub tags: Vec<String>,
    /// `Herons at Badgers`.
    pub game: Option<String>,
    /// `Q2 4:31`.
    pub clock: Option<String>,
    /// `play 47`.
    pub play: Option<String>,
    /// Everything else by its placeholder's name: the fields of the sheet by their keys, the staff's own columns by
    /// [`own_column`](super::own_column), and the names of [`NAMES`](super::NAMES).
    pub values: BTreeMap<String, String>,
}

impl StripText {
    /// The camera that shows the play, for `{angle}`; one of no known angle says nothing.
    #[must_use]
    pub fn from_angle(mut self, angle: &str) -> Self {
        self.put("angle", Some(angle).filter(|angle| *angle != "unknown"));
        self
    }

    /// The staff's own team: the other of `{home}` and `{away}` is the `{opponent}`.
    #[must_use]
    pub fn for_team(mut self, team: Option<&str>) -> Self {
        let we = team.map(fold);
        let side = |name: &str| self.values.get(name).map(|team| (fold(team), team.clone()));
        let opponent = match (we, side("home"), side("away")) {
            (Some(we), Some((home, _)), Some((_, away))) if we == home => Some(away),
            (Some(we), Some((_, home)), Some((away, _))) if we == away => Some(home),
            _ => None,
        };
        self.put("opponent", opponent.as_deref());
        self
    }

    /// Sets a value; nothing, or what has no sign to be drawn, takes it away.
    pub fn put(&mut self, name: &str, value: Option<&str>) {
        match value.filter(|value| !plain(value).is_empty()) {
            Some(value) => self.values.insert(name.into(), value.into()),
            None => self.values.remove(name),
        };
    }

    /// What of it this template says, so that two plays' pictures differ only where the texts kept differ: a note that is
    /// not shown makes no new picture.
    #[must_use]
    pub fn kept_for(&self, template: &Template) -> Self {
        let names = template.names();
        let has = |name: &str| names.contains(name);
        let keep = |name: &str, value: &Option<String>| value.clone().filter(|_| has(name));
        let line = template.root.elements().any(|element| element.id() == "field");
        let last_tag = (1..=self.tags.len()).rev().find(|n| has(&format!("tag_{n}"))).unwrap_or(0);
        Self {
            down: keep("down", &self.down),
            distance: keep("and_distance", &self.distance),
            word: keep("word", &self.word),
            ball_on: keep("ball_on", &self.ball_on),
            ball_yards: self.ball_yards.filter(|_| line),
            to_gain: self.to_gain.filter(|_| line),
            leftward: self.leftward && line,
            tags: self.tags[..last_tag].to_vec(),
            game: keep("game", &self.game),
            clock: keep("when", &self.clock),
            // Its play is named where the typeface lacks a sign.
            play: self.play.clone(),
            values: self.values.iter().filter(|(name, _)| has(name)).map(|(n, v)| (n.clone(), v.clone())).collect(),
        }
    }

    /// A placeholder's value as it may be drawn, whole.
    pub(super) fn whole(&self, name: &str) -> Option<String> {
        let tag = |number: &str| self.tags.get(number.parse::<usize>().ok()?.checked_sub(1)?);
        let own = match name {
            "down" => self.down.as_ref(),
            "and_distance" => self.distance.as_ref(),
            "word" => self.word.as_ref(),
            "ball_on" => self.ball_on.as_ref(),
            "game" => self.game.as_ref(),
            "when" => self.clock.as_ref(),
            "play" => self.play.as_ref(),
            other => other.strip_prefix("tag_").and_then(tag),
        };
        Some(plain(own.or_else(|| self.values.get(name))?)).filter(|value| !value.is_empty())
    }

    /// A placeholder's value as a strip shows it: a long free word is cut, what the down is and how far is not.
    pub(super) fn value(&self, name: &str) -> Option<String> {
        let value = self.whole(name)?;
        let never_cut = ["down", "distance", "and_distance", "down_distance"].contains(&name);
        Some(if never_cut { value } else { shorten(&value) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::paint::own_column;

    fn text() -> StripText {
        let mut text: StripText = include!("../../fixtures/strip_text.rs");
        for (name, value) in [("home", "Badgers"), ("away", "Herons"), ("note", "watch the tackle's feet")] {
            text.put(name, Some(value));
        }
        text.put(&own_column("Grade"), Some("2"));
        text
    }

    #[test]
    fn opponent_and_angle_are_told_where_they_are_known() {
        let opponent = |team| text().for_team(team).whole("opponent");
        assert_eq!(opponent(Some("BADGERS")).as_deref(), Some("Herons"));
        assert_eq!(opponent(Some("herons")).as_deref(), Some("Badgers"));
        assert_eq!((opponent(Some("Otters")), opponent(None)), (None, None));
        assert_eq!(text().from_angle("end zone").whole("angle").as_deref(), Some("end zone"));
        assert_eq!(text().from_angle("sideline").from_angle("unknown").whole("angle"), None);
    }

    #[test]
    fn what_a_template_does_not_say_is_not_kept_for_it() {
        let template = |words: &str| Template::parse(&format!("<svg><text>{words}</text></svg>"), "t").unwrap();
        let kept = text().kept_for(&template("{down} {tag:grade}"));
        assert_eq!((kept.down.as_deref(), kept.clock, kept.ball_yards, kept.tags.len()), (Some("3"), None, None, 0));
        assert_eq!(kept.values.into_iter().collect::<Vec<_>>(), [("tag:grade".to_string(), "2".to_string())]);
        let other = StripText { clock: Some("Q4 0:03".into()), ..text() };
        for (words, same) in [("{down}", true), ("{when}", false), ("{shell?{when}}", false)] {
            assert_eq!(text().kept_for(&template(words)) == other.kept_for(&template(words)), same, "{words}");
        }
        let strip = Template::strip().unwrap();
        let drawn = |text: &StripText| super::super::Strip::draw(&strip, text, 640, 360).unwrap();
        assert_eq!(drawn(&text()), drawn(&text().kept_for(&strip)), "nothing that is shown is lost");
    }

    #[test]
    fn long_words_are_cut_on_a_strip_and_whole_elsewhere() {
        let note = "the tackle sets too deep and opens the gate";
        let mut text = text();
        text.put("note", Some(note));
        assert_eq!(text.whole("note").as_deref(), Some(note));
        assert!(text.value("note").unwrap().ends_with('…'));
        text.distance = Some(note.into());
        assert_eq!(text.value("and_distance").as_deref(), Some(note));
        text.put("note", Some(" \u{202e} "));
        assert_eq!(text.whole("note"), None);
    }
}
