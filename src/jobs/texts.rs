//! A play's tags as they are shown: on the strip and on the contact sheet.

use std::collections::BTreeMap;

use crate::football::{Distance, Field, PlayRecord, Tags};
use crate::library::GameFound;
use crate::paint::{StripText, own_column};

/// What a game is called on film: `Herons at Badgers` where both teams are known, else its name.
pub(super) fn game_title(name: &str, games: &[GameFound]) -> String {
    match games.iter().find(|game| game.name == name) {
        Some(GameFound { home: Some(home), away: Some(away), .. }) => format!("{away} at {home}"),
        _ => name.to_string(),
    }
}

/// What is burned into a play's picture, and what a staff's own template may say of it. What is not known is left out.
/// The camera and the staff's own team are not in the record: [`StripText::from_angle`], [`StripText::for_team`].
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
        values: values(record),
    }
}

/// Every value of a play by its placeholder's name.
fn values(record: &PlayRecord) -> BTreeMap<String, String> {
    let tags = &record.tags;
    let mut values: BTreeMap<String, String> =
        tags.fields.iter().map(|(field, value)| (field.key().to_string(), value.to_string())).collect();
    values.extend(tags.own.iter().map(|(name, value)| (own_column(name), value.clone())));
    let defense: Vec<&str> = [Field::Shell, Field::Coverage].into_iter().filter_map(|f| tags.word(f)).collect();
    let composed = [
        ("label", Some(record.label.clone())),
        ("date", record.date.clone()),
        ("home", record.home.clone()),
        ("away", record.away.clone()),
        ("down_distance", down_distance(tags)),
        ("period", period(tags)),
        ("set", telling(tags, &[Field::Formation]).pop()),
        ("defense", (!defense.is_empty()).then(|| defense.join(", "))),
    ];
    values.extend(composed.into_iter().filter_map(|(name, value)| Some((name.to_string(), value?))));
    values
}

/// `Third and 2`, `First and goal`, `Third down`.
fn down_distance(tags: &Tags) -> Option<String> {
    let down = usize::try_from(tags.down()?.checked_sub(1)?).ok()?;
    let down = ["First", "Second", "Third", "Fourth"].get(down)?;
    Some(format!("{down} {}", distance(tags).unwrap_or_else(|| "down".into())))
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

/// `Q2`, `OT`, `OT2`.
fn period(tags: &Tags) -> Option<String> {
    tags.number(Field::Quarter).map(|quarter| match quarter {
        5 => "OT".to_string(),
        overtime @ 6.. => format!("OT{}", overtime - 4),
        quarter => format!("Q{quarter}"),
    })
}

/// `Q2 4:31`, `Q2`, `OT`, `4:31`.
fn clock(tags: &Tags) -> Option<String> {
    let words: Vec<String> = period(tags).into_iter().chain(tags.clock().map(|c| c.to_string())).collect();
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
        let values = [
            ("ball_on", "opp 34"),
            ("clock", "4:31"),
            ("distance", "2"),
            ("down", "3"),
            ("down_distance", "Third and 2"),
            ("defense", "one-high"),
            ("formation", "trips"),
            ("label", "47"),
            ("period", "Q2"),
            ("quarter", "2"),
            ("set", "trips right"),
            ("shell", "one-high"),
            ("strength", "right"),
        ];
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
            values: values.map(|(name, value)| (name.to_string(), value.to_string())).into(),
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

    #[test]
    fn every_field_the_staffs_own_columns_and_the_game_are_values() {
        let mut record = record(&Field::ALL.iter().map(|field| (*field, word(field.words()))).collect::<Vec<_>>());
        record.tags.own.insert("Grade (OL)".into(), "2".into());
        record.date = Some("2026-09-11".into());
        (record.home, record.away) = (Some("Badgers".into()), Some("Herons".into()));
        let text = strip_text(&record, "Herons at Badgers".into()).from_angle("sideline").for_team(Some("badgers"));
        for field in Field::ALL {
            assert_eq!(text.values[field.key()], record.tags.fields[field].to_string(), "{field}");
        }
        for (name, value) in [
            ("tag:grade ol", "2"),
            ("date", "2026-09-11"),
            ("home", "Badgers"),
            ("away", "Herons"),
            ("opponent", "Herons"),
            ("angle", "sideline"),
            ("label", "47"),
            ("defense", "shell, coverage"),
        ] {
            assert_eq!(text.values[name], value, "{name}");
        }
    }
}
