//! What can be said of a play only among the others: which plays open a possession, which games are the last.

use std::collections::BTreeMap;

use crate::football::{Field, PlayRecord, fold};

/// The plays of a library as [`Filter::fits_in`](super::Filter::fits_in) needs them.
///
/// A play **opens a possession** if it is no kickoff and no try, and the play before it in its game's film is a
/// kickoff, or had another team with the ball, or was played in another half (overtime is one more), or if there is none
/// before it. Unknown where its own ball is unknown, or where the ball of the play before is and the rest does not
/// decide.
#[derive(Debug, Clone, Default)]
pub struct Season {
    openers: BTreeMap<(String, String), Option<bool>>,
    games_after: BTreeMap<String, u32>,
}

impl Season {
    /// From every play of a library, in any order.
    pub fn of(plays: &[PlayRecord]) -> Self {
        let mut games: BTreeMap<String, Vec<&PlayRecord>> = BTreeMap::new();
        for play in plays {
            games.entry(fold(&play.game)).or_default().push(play);
        }
        let mut openers = BTreeMap::new();
        let mut days: Vec<(String, String)> = Vec::new();
        for (game, mut plays) in games {
            plays.sort_by_key(|p| p.order);
            if let Some((day, name)) = plays.first().and_then(|p| Some((p.date.clone()?, p.game.clone()))) {
                days.push((day, name));
            }
            for (at, play) in plays.iter().enumerate() {
                let before = at.checked_sub(1).and_then(|before| plays.get(before)).copied();
                openers.insert((game.clone(), play.label.clone()), opens(play, before));
            }
        }
        days.sort();
        let games_after = days.iter().rev().zip(0..).map(|((_, name), after)| (fold(name), after)).collect();
        Self { openers, games_after }
    }

    /// How many later games with a day and a play there are; `None` for a game without a day.
    pub(super) fn games_after(&self, play: &PlayRecord) -> Option<u32> {
        play.date.as_ref()?;
        self.games_after.get(&fold(&play.game)).copied()
    }

    /// Whether the play opens a possession.
    pub(super) fn opener(&self, play: &PlayRecord) -> Option<bool> {
        self.openers.get(&(fold(&play.game), play.label.clone())).copied().flatten()
    }
}

fn opens(play: &PlayRecord, before: Option<&PlayRecord>) -> Option<bool> {
    let word = |play: &PlayRecord, field: Field| play.tags.word(field).filter(|word| !word.trim().is_empty()).map(fold);
    let kind = |play: &PlayRecord| word(play, Field::PlayType).unwrap_or_default();
    let half = |play: &PlayRecord| {
        play.tags.number(Field::Quarter).map(|q| {
            if q <= 2 {
                1
            } else if q <= 4 {
                2
            } else {
                3
            }
        })
    };
    if ["kickoff", "try"].contains(&kind(play).as_str()) {
        return Some(false);
    }
    let ball = word(play, Field::Ball)?;
    let Some(before) = before else { return Some(true) };
    if kind(before) == "kickoff" || half(before).zip(half(play)).is_some_and(|(a, b)| a != b) {
        return Some(true);
    }
    Some(word(before, Field::Ball)? != ball)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::football::Value;

    #[test]
    fn a_possession_opens_where_the_ball_the_half_or_a_kickoff_changes_it() {
        let play = |order: u32, quarter: i64, ball: &str, kind: &str| {
            let mut play = PlayRecord { game: "Badgers".into(), label: order.to_string(), order, ..Default::default() };
            play.tags.fields.insert(Field::Quarter, Value::Number(quarter));
            play.tags.fields.insert(Field::PlayType, Value::Word(kind.into()));
            if !ball.is_empty() {
                play.tags.fields.insert(Field::Ball, Value::Text(ball.into()));
            }
            play
        };
        let plays = [
            play(1, 1, "Herons", "kickoff"),
            play(2, 1, "Badgers", "run"),
            play(3, 1, "badgers", "pass"),
            play(4, 1, "Badgers", "try"),
            play(5, 1, "Badgers", "kickoff"),
            play(6, 1, "Badgers", "run"),
            play(7, 2, "Herons", "run"),
            play(8, 2, "", "run"),
            play(9, 2, "Herons", "run"),
            play(10, 3, "Herons", "run"),
            play(11, 4, "Herons", "punt"),
            play(12, 5, "Herons", "run"),
        ];
        let season = Season::of(&plays);
        let found: Vec<_> = plays.iter().map(|p| season.opener(p)).collect();
        let (yes, no) = (Some(true), Some(false));
        assert_eq!(found, [no, yes, no, no, no, yes, yes, None, None, yes, no, yes]);
        assert_eq!(Season::default().opener(&plays[0]), None);
    }

    #[test]
    fn the_last_games_are_counted_from_the_newest_that_has_a_day() {
        let play = |game: &str, date: Option<&str>| PlayRecord {
            game: game.into(),
            date: date.map(Into::into),
            label: "1".into(),
            ..Default::default()
        };
        let plays = [
            play("Owls", Some("2026-09-04")),
            play("Herons", Some("2026-09-11")),
            play("Foxes", Some("2026-09-11")),
            play("Scrimmage", None),
        ];
        let season = Season::of(&plays);
        let after: Vec<_> = plays.iter().map(|p| season.games_after(p)).collect();
        assert_eq!(after, [Some(2), Some(0), Some(1), None]);
    }
}
