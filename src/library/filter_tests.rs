//! The law: the SQL of a filter answers the same plays as its meaning in memory, whatever is unknown.

use std::collections::BTreeMap;

use proptest::prelude::*;
use rusqlite::Connection;

use super::games::GameIn;
use super::open::Library;
use super::put_plays::{CameraShot, PlayIn};
use super::sheet_rows::{MatchIn, RowIn};
use crate::base::{FrameSpan, Rate};
use crate::film::{Evidence, Film, scripted};
use crate::filter::{Filter, Range, Season, SuccessShares, TextMatch};
use crate::football::{Distance, Field, GameClock, Kind, Spot, Tags, Value};

/// Words few enough that they meet, with spellings that fold alike, blanks, and signs that fold to nothing.
const WORDS: [&str; 11] =
    ["no", "No", "yes", "one-high", "One High", "mesh", "", " ", "?!", "it's 50% \u{df}", "mesh wheel"];
const COLUMNS: [&str; 3] = ["grade", "down", "Coach's note"];
const GAMES: [&str; 2] = ["Badgers", "River Otters"];

fn word() -> impl Strategy<Value = String> {
    prop::sample::select(&WORDS[..]).prop_map(String::from)
}

/// Numbers near the bounds that matter, and the ends of what fits.
fn number() -> impl Strategy<Value = i64> {
    prop_oneof![8 => -3..13i64, 1 => Just(i64::MAX), 1 => Just(i64::MIN)]
}

fn spot() -> impl Strategy<Value = Spot> {
    (1..=99u8).prop_map(|yards| Spot::from_own_goal(yards).unwrap())
}

fn value(kind: Kind) -> BoxedStrategy<Value> {
    match kind {
        Kind::Number => number().prop_map(Value::Number).boxed(),
        Kind::Distance => prop_oneof![
            (1..=20u8).prop_map(|yards| Value::Distance(Distance::Yards(yards))),
            Just(Value::Distance(Distance::Goal)),
        ]
        .boxed(),
        Kind::Spot => spot().prop_map(Value::Spot).boxed(),
        Kind::Clock => (0..=900u16).prop_map(|s| Value::Clock(GameClock::from_seconds(s).unwrap())).boxed(),
        Kind::Seconds => (0.0..9000.0f64).prop_map(Value::Seconds).boxed(),
        Kind::Word => word().prop_map(Value::Word).boxed(),
        Kind::Text => word().prop_map(Value::Text).boxed(),
    }
}

/// A third of the fields unknown; now and then a value of another kind than its field's.
fn tags() -> impl Strategy<Value = Tags> {
    let fields: Vec<_> = Field::ALL
        .iter()
        .map(|field| {
            let odd = prop_oneof![value(Kind::Number), value(Kind::Text)];
            prop_oneof![6 => Just(None), 12 => value(field.kind()).prop_map(Some), 2 => odd.prop_map(Some)]
        })
        .collect();
    let own = prop::collection::btree_map(prop::sample::select(&COLUMNS[..]).prop_map(String::from), word(), 0..3);
    (fields, own).prop_map(|(fields, own)| {
        let fields: BTreeMap<_, _> =
            Field::ALL.iter().zip(fields).filter_map(|(field, value)| Some((*field, value?))).collect();
        Tags { fields, own }
    })
}

fn of_kind(kind: Kind) -> impl Strategy<Value = Field> {
    prop::sample::select(Field::ALL.iter().copied().filter(|f| f.kind() == kind).collect::<Vec<_>>())
}

fn range() -> impl Strategy<Value = Range> {
    prop_oneof![
        number().prop_map(Range::exactly),
        number().prop_map(Range::at_least),
        number().prop_map(Range::at_most),
        (number(), number()).prop_map(|(a, b)| Range::between(a, b)),
    ]
}

fn leaf() -> impl Strategy<Value = Filter> {
    let how = prop_oneof![Just(TextMatch::Is), Just(TextMatch::Has)];
    let label = prop::sample::select(&["1", "2", "7a", "1A"][..]);
    prop_oneof![
        Just(Filter::All),
        (of_kind(Kind::Word), word()).prop_map(|(field, word)| Filter::Is { field, word }),
        of_kind(Kind::Word).prop_map(Filter::Any),
        (of_kind(Kind::Number), range()).prop_map(|(field, range)| Filter::Number { field, range }),
        range().prop_map(Filter::ToGain),
        Just(Filter::GoalToGo),
        (spot(), spot()).prop_map(|(from, to)| Filter::BallOn { from, to }),
        (0..=900i64).prop_map(|s| Filter::Clock(Range::at_most(s))),
        (of_kind(Kind::Text), how, word()).prop_map(|(field, how, text)| Filter::Text { field, how, text }),
        (prop::sample::select(&COLUMNS[..]), word()).prop_map(|(name, value)| Filter::Own { name: name.into(), value }),
        prop::sample::select(&["badgers", "River-Otters", "nobody"][..]).prop_map(|g| Filter::Game(g.into())),
        label.prop_map(|l| Filter::Label(l.into())),
        Just(Filter::Success(SuccessShares::default())),
        Just(Filter::Opener),
        prop::sample::select(&["badgers", "River-Otters", "Herons", "nobody"][..])
            .prop_map(|team| Filter::Opponent(team.into())),
        (1..4u32).prop_map(Filter::LastGames),
        (day(), day()).prop_filter_map("a day", |(from, to)| {
            (from.is_some() || to.is_some()).then_some(Filter::Date { from, to })
        }),
    ]
}

/// Days around those of the games; none for a game whose day was not told.
fn day() -> impl Strategy<Value = Option<String>> {
    prop::sample::select(&[None, Some("2026-09-11"), Some("2026-09-12"), Some("2026-10-01")][..])
        .prop_map(|day| day.map(String::from))
}

/// What is told of a game: its day and its teams, each or none of them.
fn told() -> impl Strategy<Value = (Option<String>, Option<String>, Option<String>)> {
    let team = || {
        prop::sample::select(&[None, Some("Badgers"), Some("river otters"), Some(" "), Some("Herons")][..])
            .prop_map(|team| team.map(String::from))
    };
    (day(), team(), team())
}

fn filter() -> impl Strategy<Value = Filter> {
    leaf().prop_recursive(4, 24, 4, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..4).prop_map(Filter::And),
            prop::collection::vec(inner.clone(), 0..4).prop_map(Filter::Or),
            inner.prop_map(|f| Filter::Not(Box::new(f))),
        ]
    })
}

/// A library whose games have plays with these tags, written the way a night's work writes them.
fn library(folder: &std::path::Path, games: &[Vec<Tags>; 2]) -> Library {
    library_of(folder, games, &Default::default())
}

/// The same, and what is told of each game.
fn library_of(
    folder: &std::path::Path,
    games: &[Vec<Tags>; 2],
    told: &[(Option<String>, Option<String>, Option<String>); 2],
) -> Library {
    let mut library = Library::create(folder, None).unwrap();
    // A property is about answers, not about power cuts; the disk would be most of its time.
    library.db().pragma_update(None, "synchronous", "OFF").unwrap();
    for ((name, plays), (date, home, away)) in GAMES.iter().zip(games).zip(told.clone()) {
        library.put_game(&GameIn { name: name.to_string(), date, home, away }).unwrap();
        let film = Film { parts: vec![scripted::part(name, 10_000, Rate { num: 30, den: 1 })], problems: vec![] };
        library.put_camera(name, "sideline", &film, false).unwrap();
        let shot = |k: u64| CameraShot {
            camera: "sideline".into(),
            span: FrameSpan::of(k * 10, k * 10 + 10),
            set: None,
            snap: None,
            whistle: None,
            by: Evidence::Nothing,
            doubt: None,
        };
        let shots: Vec<_> = (0..plays.len() as u64).map(|k| PlayIn { shots: vec![shot(k)], doubt: None }).collect();
        let labels = library.put_plays(name, &shots).unwrap().labels;
        let place = |k: usize| format!("tags.csv:{}", k + 2);
        let rows: Vec<_> =
            plays.iter().enumerate().map(|(k, tags)| RowIn { place: place(k), tags: tags.clone() }).collect();
        library.put_rows(name, "tags.csv".as_ref(), &rows).unwrap();
        let by = |label| MatchIn { label, matched_by: "time".into(), ..MatchIn::default() };
        let pairs: Vec<_> =
            labels.into_iter().enumerate().map(|(k, label)| MatchIn { place: place(k), ..by(label) }).collect();
        library.put_matches(name, &pairs).unwrap();
    }
    library
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn sql_and_memory_answer_alike(
        badgers in prop::collection::vec(tags(), 1..8),
        otters in prop::collection::vec(tags(), 0..4),
        told in [told(), told()],
        filters in prop::collection::vec(filter(), 40),
    ) {
        let folder = tempfile::tempdir().unwrap();
        let games = [badgers, otters];
        let library = library_of(folder.path(), &games, &told);
        let all = library.plays(&Filter::All).unwrap();
        let season = Season::of(&all.iter().map(|p| p.record.clone()).collect::<Vec<_>>());
        for (name, plays) in GAMES.iter().zip(&games) {
            let stored: Vec<_> = all.iter().filter(|p| p.record.game == *name).map(|p| &p.record.tags).collect();
            prop_assert_eq!(stored, plays.iter().collect::<Vec<_>>(), "what is put in comes out");
        }
        for filter in filters {
            let want: Vec<_> = all.iter().filter(|p| filter.fits_in(&p.record, &season).is_true()).collect();
            let got = library.plays(&filter).unwrap();
            prop_assert_eq!(got.iter().collect::<Vec<_>>(), want, "{:?}", filter);
            // Plays that are not in the answer of the opposite either are the unknown ones.
            let opposite = Filter::Not(Box::new(filter));
            let want: Vec<_> = all.iter().filter(|p| opposite.fits_in(&p.record, &season).is_true()).collect();
            let got = library.plays(&opposite).unwrap();
            prop_assert_eq!(got.iter().collect::<Vec<_>>(), want, "{:?}", opposite);
        }
    }
}

/// The law on the leaves by hand: one play of which nothing is known is in no answer and in no opposite's.
#[test]
fn of_a_play_without_tags_nothing_is_true_and_nothing_is_false() {
    let folder = tempfile::tempdir().unwrap();
    let library = library(folder.path(), &[vec![Tags::default()], vec![]]);
    let range = Range::at_least(0);
    let is = |field| Filter::Is { field, word: "no".into() };
    for leaf in [
        is(Field::Motion),
        Filter::Any(Field::Motion),
        Filter::Number { field: Field::Gain, range },
        Filter::ToGain(range),
        Filter::GoalToGo,
        Filter::BallOn { from: Spot::from_own_goal(1).unwrap(), to: Spot::from_own_goal(99).unwrap() },
        Filter::Clock(range),
        Filter::Text { field: Field::Note, how: TextMatch::Has, text: String::new() },
        Filter::Own { name: "grade".into(), value: "B".into() },
        Filter::Success(SuccessShares::default()),
        Filter::Opener,
        Filter::Opponent("Badgers".into()),
        Filter::LastGames(1),
        Filter::Date { from: Some("2026-01-01".into()), to: None },
    ] {
        assert_eq!(library.plays(&leaf).unwrap(), [], "{leaf:?}");
        let not = Filter::Not(Box::new(leaf.clone()));
        assert_eq!(library.plays(&not).unwrap(), [], "{not:?}");
        let decided = Filter::Or(vec![leaf, Filter::Game("badgers".into())]);
        assert_eq!(library.plays(&decided).unwrap().len(), 1, "{decided:?}");
    }
}

/// Text from a phrase never becomes part of the question.
#[test]
fn words_are_bound_never_written_into_the_question() {
    let folder = tempfile::tempdir().unwrap();
    let library = library(folder.path(), &[vec![Tags::default()], vec![]]);
    let nasty = "x') OR 1 --".to_string();
    let own = Filter::Own { name: nasty.clone(), value: nasty.clone() };
    assert_eq!(library.plays(&own).unwrap(), []);
    assert_eq!(library.plays(&Filter::Game(nasty)).unwrap(), []);
    let count = |db: &Connection| db.query_row("SELECT count(*) FROM plays", [], |r| r.get::<_, i64>(0)).unwrap();
    assert_eq!(count(library.db()), 1);
}
