//! A play's tags as they are shown: on the strip and on the contact sheet.

use crate::football::{Distance, Field, PlayRecord, Tags};
use crate::library::GameFound;
use crate::paint::StripText;

/// What a game is called on film: `Herons at Badgers` where both teams are known, else its name.
pub(super) fn game_title(name: &str, games: &[GameFound]) -> String {
    match games.iter().find(|game| game.name == name) {
        Some(GameFound { home: Some(home), away: Some(away), .. }) => format!("{away} at {home}"),
        _ => name.to_string(),
    }
}

/// What is burned into a play's picture. What is not known is left out.
pub(super) fn strip_text(record: &PlayRecord, game: String) -> StripText {
    let tags = &record.tags;
    let (down, word) = down_or_word(tags);
    StripText {
        distance: down.as_ref().and(distance(tags)),
        down,
        word,
        ball_on: tags.ball_on().map(|spot| spot.to_string()),
        ball_yards: tags.ball_on().map(|spot| spot.yards()),
        to_gain: tags.to_gain(),
        leftward: false,
        tags: telling(tags, &[Field::Formation, Field::Shell, Field::Concept, Field::Coverage]),
        game: Some(game),
        clock: clock(tags),
        play: Some(format!("play {}", record.label)),
    }
}

/// The down, else what stands in its place: a kickoff has none.
pub(super) fn down_or_word(tags: &Tags) -> (Option<String>, Option<String>) {
    match tags.down() {
        Some(down) => (Some(down.to_string()), None),
        None => (None, tags.word(Field::PlayType).map(str::to_string)),
    }
}

/// `and 2`, `and goal`.
pub(super) fn distance(tags: &Tags) -> Option<String> {
    tags.distance().map(|distance| match distance {
        Distance::Yards(yards) => format!("and {yards}"),
        Distance::Goal => "and goal".to_string(),
    })
}

/// `Q2 4:31`, `Q2`, `OT`, `4:31`.
fn clock(tags: &Tags) -> Option<String> {
    let quarter = tags.number(Field::Quarter).map(|quarter| match quarter {
        5 => "OT".to_string(),
        overtime @ 6.. => format!("OT{}", overtime - 4),
        quarter => format!("Q{quarter}"),
    });
    let words: Vec<String> = quarter.into_iter().chain(tags.clock().map(|c| c.to_string())).collect();
    (!words.is_empty()).then(|| words.join(" "))
}

/// The words of these fields, in this order; a formation with its strength.
pub(super) fn telling(tags: &Tags, fields: &[Field]) -> Vec<String> {
    let word = |field: &Field| {
        let word = tags.word(*field)?;
        let strength = tags.word(Field::Strength).filter(|side| *field == Field::Formation && !word.contains(side));
        Some(strength.map_or_else(|| word.to_string(), |side| format!("{word} {side}")))
    };
    fields.iter().filter_map(word).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::football::{GameClock, Spot, Value};

    fn record(fields: &[(Field, Value)]) -> PlayRecord {
        let tags = Tags { fields: fields.iter().cloned().collect(), ..Tags::default() };
        PlayRecord { game: "Badgers".into(), label: "47".into(), tags, ..PlayRecord::default() }
    }

    fn word(text: &str) -> Value {
        Value::Word(text.into())
    }

    #[test]
    fn a_play_is_told_in_the_trades_words() {
        let record = record(&[
            (Field::Down, Value::Number(3)),
            (Field::Distance, Value::Distance(Distance::Yards(2))),
            (Field::BallOn, Value::Spot(Spot::from_own_goal(66).unwrap())),
            (Field::Quarter, Value::Number(2)),
            (Field::Clock, Value::Clock(GameClock::from_seconds(271).unwrap())),
            (Field::Formation, word("trips")),
            (Field::Strength, word("right")),
            (Field::Shell, word("one-high")),
        ]);
        let games = [GameFound {
            name: "Badgers".into(),
            date: None,
            home: Some("Badgers".into()),
            away: Some("Herons".into()),
            cameras: vec![],
            plays: 60,
            sheet: None,
        }];
        let text = strip_text(&record, game_title("Badgers", &games));
        let want = StripText {
            down: Some("3".into()),
            distance: Some("and 2".into()),
            word: None,
            ball_on: Some("opp 34".into()),
            ball_yards: Some(66),
            to_gain: Some(2),
            leftward: false,
            tags: vec!["trips right".into(), "one-high".into()],
            game: Some("Herons at Badgers".into()),
            clock: Some("Q2 4:31".into()),
            play: Some("play 47".into()),
        };
        assert_eq!(text, want);
    }

    #[test]
    fn what_is_unknown_is_left_out() {
        let kickoff =
            strip_text(&record(&[(Field::PlayType, word("kickoff")), (Field::Quarter, Value::Number(5))]), "B".into());
        assert_eq!((kickoff.down, kickoff.distance), (None, None));
        assert_eq!((kickoff.word.as_deref(), kickoff.clock.as_deref()), (Some("kickoff"), Some("OT")));
        let bare = strip_text(&record(&[(Field::Distance, Value::Distance(Distance::Goal))]), "B".into());
        assert_eq!((bare.down, bare.distance, bare.word, bare.clock), (None, None, None, None));
        let strong = record(&[(Field::Formation, word("trips right")), (Field::Strength, word("right"))]);
        assert_eq!(strip_text(&strong, "B".into()).tags, ["trips right"]);
    }
}
