//! The language by examples, and its laws.

use proptest::prelude::*;

use super::*;
use crate::football::{Distance, Field, GameClock, Kind, PlayRecord, Spot, Tags, Value};

/// The shipped words, and those that a library would add.
fn words() -> Words {
    let mut words = Words {
        own: vec!["grade".into(), "Read Key".into()],
        games: vec!["Badgers".into(), "Owls week 3".into()],
        teams: vec!["Badgers".into(), "Red Foxes".into()],
        we: Some("Badgers".into()),
        ..Words::default()
    };
    words.vocabulary.learn([
        (Field::Formation, "Lumberjack"),
        (Field::Concept, "read and react"),
        (Field::Concept, "\"quoted\" (odd)"),
        (Field::Front, "--"),
    ]);
    words
}

fn reading(phrase: &str) -> String {
    parse(phrase, &words()).map_or_else(|e| format!("ERROR {e} | {}", e.next()), |f| f.to_string())
}

/// Phrase and reading; the grammar page shows a part of it.
const EXAMPLES: &[(&str, &str)] = &[
    ("", "all"),
    ("  ", "all"),
    ("all plays", "all"),
    ("every third down", "down = 3"),
    // Downs and distances.
    ("third and short vs one-high", "down = 3 and distance 1-3 and shell = one-high"),
    ("third", "down = 3"),
    ("3rd", "down = 3"),
    ("third down", "down = 3"),
    ("3rd & 7", "down = 3 and distance = 7"),
    ("2nd & 7+", "down = 2 and distance >= 7"),
    ("2nd and 7 or more", "down = 2 and distance >= 7"),
    ("1st & 10", "down = 1 and distance = 10"),
    ("3 & 7", "down = 3 and distance = 7"),
    ("first and ten", "down = 1 and distance = 10"),
    ("third and one vs one-high", "down = 3 and distance = 1 and shell = one-high"),
    ("second and eight or more", "down = 2 and distance >= 8"),
    ("gain >= twenty, one high", "gain >= 20 and shell = one-high"),
    ("four verticals", "concept = verticals"),
    ("4 and short", "down = 4 and distance 1-3"),
    ("third-and-long", "down = 3 and distance >= 7"),
    ("third and 4-6", "down = 3 and distance 4-6"),
    ("third and 4 to 6 yards", "down = 3 and distance 4-6"),
    ("1st & G", "down = 1 and distance = goal"),
    ("not in the red zone", "not ball on opp 20-1"),
    ("3rd down 4 verticals", "down = 3 and concept = verticals"),
    (
        "third and short, gun, not motion, vs cover 3",
        "down = 3 and distance 1-3 and backfield = gun and not motion and coverage = cover 3",
    ),
    ("third & short vs one-high or two-high", "down = 3 and distance 1-3 and (shell = one-high or shell = two-high)"),
    ("third and 7 or fourth and 3", "(down = 3 and distance = 7) or (down = 4 and distance = 3)"),
    ("first and goal", "down = 1 and distance = goal"),
    ("fourth and inches", "down = 4 and distance = 1"),
    ("distance 4-6", "distance 4-6"),
    ("distance short", "distance 1-3"),
    ("distance >= 7", "distance >= 7"),
    ("first or second and short", "(down = 1 or down = 2) and distance 1-3"),
    ("third and short or medium", "down = 3 and (distance 1-3 or distance 4-6)"),
    ("third and 1 or 2", "down = 3 and (distance = 1 or distance = 2)"),
    ("third and short or fourth and short", "(down = 3 and distance 1-3) or (down = 4 and distance 1-3)"),
    ("3 & 1 or 4 & 1", "(down = 3 and distance = 1) or (down = 4 and distance = 1)"),
    ("money down and 3", "(down = 3 or down = 4) and distance = 3"),
    // Gains.
    ("gain >= 10", "gain >= 10"),
    ("gain < 0", "gain < 0"),
    ("gain at least 10", "gain >= 10"),
    ("gain more than 9", "gain >= 10"),
    ("gain => 10", "gain >= 10"),
    ("third!", "down = 3"),
    ("down: 3, shell: one-high", "down = 3 and shell = one-high"),
    ("short yardage", "distance 1-3"),
    ("unsuccessful", "not success"),
    ("gain -3 to 2", "gain -3 to 2"),
    ("gain \u{2212}3", "gain = -3"),
    ("gain \u{2265} 4 gain \u{2264} 9", "gain >= 4 and gain <= 9"),
    ("gain >= 20, gain < 0", "gain >= 20 or gain < 0"),
    ("gain != 0", "not gain = 0"),
    ("success", "success"),
    ("not success", "not success"),
    // Situations.
    ("red zone", "ball on opp 20-1"),
    ("red zone or goal to go", "ball on opp 20-1 or distance = goal"),
    ("backed up", "ball on own 1-10"),
    ("two-minute", "(quarter = 2 or quarter = 4) and clock <= 2:00"),
    ("negative", "gain < 0"),
    ("first half, money down", "quarter 1-2 and (down = 3 or down = 4)"),
    (
        "explosive",
        "(play type = run and gain >= 12) or ((play type = pass or play type = screen or play type = play-action \
         or play type = run-pass option) and gain >= 16)",
    ),
    // Words of the sheet.
    ("mesh not motion", "concept = mesh and not motion"),
    ("motion", "motion"),
    ("with motion", "motion"),
    ("no motion", "motion = no"),
    ("motion jet", "motion = jet"),
    ("jet motion", "motion = jet"),
    ("shell one-high", "shell = one-high"),
    ("MOFC", "shell = one-high"),
    ("one-high shell vs bunch", "shell = one-high and formation = bunch"),
    ("two-high to one-high", "shell = two-high and rotation = one-high"),
    ("rotation", "rotation"),
    ("coverage man", "coverage = man"),
    ("cover 2 or 3", "coverage = cover 2 or coverage = cover 3"),
    ("run, pass", "play type = run or play type = pass"),
    ("run pass one-high", "play type = run-pass option and shell = one-high"),
    ("run, pass, one-high", "(play type = run or play type = pass) and shell = one-high"),
    ("run or pass vs one-high", "(play type = run or play type = pass) and shell = one-high"),
    ("run or one-high", "play type = run or shell = one-high"),
    ("11 personnel vs bear", "personnel = 11 and front = bear"),
    ("third and 11", "down = 3 and distance = 11"),
    ("third and 11 personnel", "down = 3 and personnel = 11"),
    ("third vs 3-4", "down = 3 and front = 3-4"),
    ("4-3, 3-4", "front = 4-3 or front = 3-4"),
    ("left hash", "hash = left"),
    ("hash left or right", "hash = left or hash = right"),
    ("strength right or left", "strength = right or strength = left"),
    ("lumberjack", "formation = Lumberjack"),
    ("read and react", "concept = \"read and react\""),
    ("shell != one-high", "not shell = one-high"),
    ("special teams unit", "unit = special teams"),
    // Where and when.
    ("quarter 4, run", "quarter = 4 and play type = run"),
    ("Q4", "quarter = 4"),
    ("4th quarter", "quarter = 4"),
    ("quarter 3 or 4", "quarter = 3 or quarter = 4"),
    ("clock under 2:00", "clock <= 1:59"),
    ("clock 2:00-4:00", "clock 2:00-4:00"),
    ("clock :45", "clock = 0:45"),
    ("ball on own 20-40", "ball on own 20-40"),
    ("own 20", "ball on own 20"),
    ("ball on own 40 to opp 40", "ball on own 40 to opp 40"),
    ("ball on -35 to +40", "ball on own 35 to opp 40"),
    ("ball on 50", "ball on 50"),
    // Names.
    ("play 17", "play 17"),
    ("label 17a, 18", "play 17a or play 18"),
    ("play 007", "play 7"),
    ("game badgers", "game = Badgers"),
    ("game Owls week 3, third", "game = \"Owls week 3\" and down = 3"),
    ("Red Foxes ball", "ball = \"Red Foxes\""),
    ("Badgers ball, run", "ball = Badgers and play type = run"),
    ("ball Badgers", "ball = Badgers"),
    ("note busted", "note has busted"),
    ("note has \"wide open\"", "note has \"wide open\""),
    ("grade A", "tag grade = A"),
    ("tag \"read key\" = x1", "tag \"Read Key\" = x1"),
    // Seasons, possessions, scores.
    ("opener", "opener"),
    ("first play of a possession vs one-high", "opener and shell = one-high"),
    ("our ball, third", "ball = Badgers and down = 3"),
    ("their ball", "not ball = Badgers"),
    ("last 3 games, run", "last 3 games and play type = run"),
    ("last three games", "last 3 games"),
    ("third and short in the last game", "down = 3 and distance 1-3 and last game"),
    ("opponent Red Foxes", "opponent = \"Red Foxes\""),
    ("opponent badgers or Red Foxes", "opponent = Badgers or opponent = \"Red Foxes\""),
    ("opponent != Badgers, third", "not opponent = Badgers and down = 3"),
    ("opponent 20", "ball on opp 20"),
    ("2026-09-11", "date = 2026-09-11"),
    ("date 2026-09", "date 2026-09-01 to 2026-09-30"),
    ("date 2026, third", "date 2026-01-01 to 2026-12-31 and down = 3"),
    ("since 2026-09-11", "date >= 2026-09-11"),
    ("before 2026-10, mesh", "date <= 2026-09-30 and concept = mesh"),
    ("date after 2026-02-28", "date >= 2026-03-01"),
    ("date 2026-09-01 - 2026-09-30", "date 2026-09-01 to 2026-09-30"),
    ("date 2024-2026", "date 2024-01-01 to 2026-12-31"),
    ("2026-09-11, 2026-09-18", "date = 2026-09-11 or date = 2026-09-18"),
    ("trailing, fourth quarter", "margin < 0 and quarter = 4"),
    ("tied or leading", "margin = 0 or margin >= 1"),
    ("margin -8 to 8", "margin -8 to 8"),
    ("third quarter or fourth quarter", "quarter = 3 or quarter = 4"),
    ("second half", "quarter 3-4"),
    // Structure.
    ("(first or second) and 10", "(down = 1 or down = 2) and distance = 10"),
    ("not (run or pass)", "not (play type = run or play type = pass)"),
    ("(not run) or pass", "(not play type = run) or play type = pass"),
    ("every third and short against the one-high shell", "down = 3 and distance 1-3 and shell = one-high"),
    ("mesh; third, and gun", "concept = mesh and down = 3 and backfield = gun"),
    ("(mesh or third) vs one-high", "(concept = mesh or down = 3) and shell = one-high"),
    ("mesh or third vs one-high", "(concept = mesh or down = 3) and shell = one-high"),
    ("mesh or third and gun", "concept = mesh or (down = 3 and backfield = gun)"),
    ("(run or mesh) third", "(play type = run or concept = mesh) and down = 3"),
    ("not gun third", "not backfield = gun and down = 3"),
    ("not not run", "play type = run"),
];

#[test]
fn examples_read_as_the_table_says() {
    let wrong: Vec<_> = EXAMPLES
        .iter()
        .filter(|(phrase, wanted)| reading(phrase) != *wanted)
        .map(|(phrase, wanted)| format!("{phrase:?}\n  wanted {wanted}\n  read   {}", reading(phrase)))
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(EXAMPLES.len() >= 40);
}

/// Every row of the page's tables that has a phrase and its reading.
#[test]
fn the_grammar_page_is_right() {
    let mut checked = 0;
    for line in GRAMMAR.lines().skip_while(|l| !l.starts_with("## What binds")).filter(|l| l.starts_with('|')) {
        let cells: Vec<&str> = line.trim_matches(['|', ' ']).split(" | ").map(str::trim).collect();
        let [.., phrase, wanted] = cells[..] else { continue };
        let code = |cell: &str| cell.strip_prefix('`').and_then(|c| c.strip_suffix('`')).map(String::from);
        let (Some(phrase), Some(wanted)) = (code(phrase), code(wanted)) else { continue };
        assert_eq!(reading(&phrase), wanted, "{phrase}");
        checked += 1;
    }
    assert!(checked >= 46, "{checked} examples: 6 of the precedence and at least 40 more");
    // Whatever the overview shows in code without a placeholder is read.
    for line in GRAMMAR.lines().take_while(|l| !l.starts_with("Comparisons")).filter(|l| l.starts_with("| ")) {
        for phrase in line.split('`').skip(1).step_by(2).filter(|p| !p.contains(".toml") && !p.contains("[staff]")) {
            let phrase = phrase.replace("Herons", "\"Red Foxes\"");
            assert!(!reading(&phrase).starts_with("ERROR"), "{phrase}: {}", reading(&phrase));
        }
    }
}

#[test]
fn a_reading_reads_as_itself() {
    for (phrase, wanted) in EXAMPLES {
        assert_eq!(parse(wanted, &words()), parse(phrase, &words()), "{phrase:?}");
    }
}

/// Phrase, the part pointed at, a part of what is said, and a part of what to try.
const REFUSED: &[(&str, &str, &str, &str)] = &[
    ("third and short vs one-hihg", "one-hihg", "no word of the vocabulary", "did you mean \"one-high\""),
    ("thrid and short", "thrid", "no word", "\"third\""),
    ("singel high", "singel high", "no word", "\"single high\""),
    ("shell one-hihg", "one-hihg", "is no shell", "\"one-high\""),
    ("shell zqxj", "zqxj", "is no shell", "one-high, two-high, zero-high"),
    ("zqxj", "zqxj", "no word", "write a down and distance"),
    ("third and", "", "phrase ends", "write a down"),
    ("shell", "shell", "needs a value", "one-high"),
    ("left", "left", "more than one meaning", "\"hash left\" or \"strength left\""),
    ("7", "7", "of what", "distance 7"),
    ("third 11", "11", "may mean", "\"personnel 11\""),
    ("one-high vs two-high", "vs", "both tell of the defense", "one-high or two-high"),
    ("mesh vs bunch", "vs", "both tell of the offense", "mesh and bunch"),
    ("run vs one-high vs bunch", "vs", "second", "and"),
    ("not run or pass", "not run or pass", "deny the first", "not (run or pass)"),
    ("not third and short", "not third and short", "deny the first", "not (third and short)"),
    ("run and pass", "pass", "one play type", "run or pass"),
    ("run, third, pass", "pass", "one play type", "parentheses"),
    ("(run", "(", "not closed", ")"),
    ("run)", ")", "closes none", "take it out"),
    ("note \"wide", "\"wide", "quote", "second"),
    ("ball on 35", "35", "tells no side", "own 35"),
    ("ball on own 60", "own 60", "1 to 50", "ball on"),
    ("down 5", "down 5", "1 to 4", "within"),
    ("gain mesh", "mesh", "number has to follow", "gain >= 10"),
    ("gain > 4-6", "gain > 4-6", "range", "alone"),
    ("gain 99999999999999999999", "99999999999999999999", "too large", "smaller"),
    ("clock 2:75", "2:75", "no clock", "15:00"),
    ("clock 2", "2", "a time", "2:00"),
    ("2:00", "2", "a time of the clock", "clock <= 2:00"),
    ("plays 5-9", "-", "no ranges", "play 5, 9"),
    ("under 2:00", "under", "no word", "did you mean \"under center\"? Else"),
    ("game Bagders", "Bagders", "no game", "\"Badgers\""),
    ("tag grad = A", "grad", "no column", "\"grade\""),
    ("time 3", "time", "cannot be asked", "clock"),
    ("run = pass", "=", "does not fit", "write"),
    ("run or or pass", "or", "between two", "write"),
    ("play run", "run", "label", "play 17"),
    ("third or fourth quarter", "third", "a down or a quarter", "third quarter or fourth quarter"),
    ("first or second half, run", "first", "a down or a half", "first half or second half"),
    ("third vs Red Foxes", "Red Foxes", "more than one meaning", "\"ball Red Foxes\" or \"opponent Red Foxes\""),
    ("opponent Red Fixes", "Red", "no team", "Red Foxes"),
    ("last 3 plays", "last 3", "counts games", "last 3 games"),
    ("last", "last", "counts games", "two-minute"),
    ("date 2026-02-30", "2026-02-30", "no such day", "2026-09-11"),
    ("since kickoff", "kickoff", "a date has to stand here", "2026-09-11"),
    ("date > 2026-01 to 2026-02", "date > 2026-01", "range", "alone"),
    ("Badgers", "Badgers", "more than one meaning", "\"game Badgers\" or \"ball Badgers\""),
];

#[test]
fn refusals_point_at_the_word_and_say_what_to_write() {
    let mut wrong = Vec::new();
    for (phrase, part, what, next) in REFUSED {
        match parse(phrase, &words()) {
            Ok(filter) => wrong.push(format!("{phrase:?} was read as {filter}")),
            Err(e) => {
                let pointed = phrase.get(e.span.clone()).unwrap_or("no part of the phrase");
                if pointed != *part || !e.what.contains(what) || !e.next().contains(next) {
                    wrong.push(format!("{phrase:?} points at {pointed:?}\n{e}\n  next: {}", e.next()));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn an_error_becomes_one_a_person_can_act_on() {
    let error = crate::base::Error::from(parse("third vs one-hihg", &words()).unwrap_err());
    assert_eq!(error.kind, crate::base::ErrorKind::Refused);
    insta::assert_snapshot!(format!("{error}\nnext: {}", error.next), @r#"
    cannot read the phrase: "one-hihg" is no word of the vocabulary: 
      third vs one-hihg
               ^^^^^^^^
    next: did you mean "one-high"? Else write a down and distance, a tagged word, a situation, or a field and its value
    "#);
}

#[test]
fn carets_stand_under_the_word_whatever_is_before_it() {
    let error = parse("note \"\u{fc}\u{df}\u{4e00}\"\tand zqxj", &words()).unwrap_err();
    let pointed = error.pointed();
    let (line, carets) = pointed.split_once('\n').unwrap();
    let column = line.chars().position(|c| c == 'z').unwrap();
    assert_eq!(carets, format!("{}^^^^", " ".repeat(column)));
}

#[test]
fn situations_may_use_others_but_not_themselves() {
    let situations = |text: &str| Words { situations: Situations::read(text, "s").unwrap(), ..Words::default() };
    let good = situations("[situation.tough]\nmeans = \"third and far\"\n[situation.far]\nmeans = \"distance 9+\"\n");
    assert_eq!(parse("tough", &good).unwrap().to_string(), "down = 3 and distance >= 9");
    good.check("s").unwrap();
    let round = situations("[situation.aa]\nmeans = \"third bb\"\n[situation.bb]\nmeans = \"aa\"\n");
    let error = parse("not aa", &round).unwrap_err();
    assert!(error.what.contains("is defined by itself"), "{error}");
    assert_eq!(error.span, 4..6);
    let broken = situations("[situation.aa]\nmeans = \"third bxb\"\n").check("situations.toml").unwrap_err();
    assert!(broken.to_string().contains("\"aa\": \"bxb\" is no word"), "{broken}");
    let hidden = situations("[situation.success]\nmeans = \"gain 5+\"\n").check("s").unwrap_err();
    assert!(hidden.to_string().contains("every phrase knows"), "{hidden}");
    Words::default().check("config/situations.toml").unwrap();
}

#[test]
fn a_staffs_word_never_takes_a_word_of_the_language() {
    let mut words = Words::default();
    words.vocabulary.learn([(Field::Concept, "third"), (Field::Concept, "All"), (Field::Formation, "short")]);
    assert_eq!(parse("third", &words).unwrap().to_string(), "down = 3");
    assert_eq!(parse("concept third", &words).unwrap().to_string(), "concept = third");
    let error = parse("third and short", &words).unwrap_err();
    assert!(error.next().contains("\"formation short\" or \"distance 1-3\""), "{}", error.next());
}

#[test]
fn deep_nesting_is_refused_and_long_phrases_are_quick() {
    let deep = format!("{}run{}", "(".repeat(5000), ")".repeat(5000));
    assert!(parse(&deep, &words()).unwrap_err().what.contains("inside one another"));
    assert!(parse(&"not ".repeat(5000), &words()).unwrap_err().what.contains("inside one another"));
    let long = vec!["(third or fourth and (mesh or run)) or not gun"; 500].join(" or ");
    let filter = parse(&long, &words()).unwrap();
    assert!(matches!(filter, Filter::Or(parts) if parts.len() == 1000));
}

// --- Meaning ---

fn play(tags: &[(Field, Value)]) -> PlayRecord {
    PlayRecord {
        game: "Badgers".into(),
        label: "17a".into(),
        tags: Tags {
            fields: tags.iter().cloned().collect(),
            own: [("grade".to_string(), "A".to_string()), ("Read Key".to_string(), " ".to_string())].into(),
        },
        ..PlayRecord::default()
    }
}

#[test]
fn a_play_fits_fits_not_or_is_unknown() {
    let word = |w: &str| Value::Word(w.into());
    let known = play(&[
        (Field::Down, Value::Number(3)),
        (Field::Distance, Value::Distance(Distance::Goal)),
        (Field::BallOn, Value::Spot(Spot::from_own_goal(98).unwrap())),
        (Field::Gain, Value::Number(2)),
        (Field::Shell, word("One High")),
        (Field::Motion, word("no")),
        (Field::Shift, word("trade")),
        (Field::Clock, Value::Clock(GameClock::from_seconds(120).unwrap())),
        (Field::Note, Value::Text("Safety WIDE-open late".into())),
    ]);
    use Truth::{False, True, Unknown};
    for (phrase, truth) in [
        ("", True),
        ("third and short", True),
        ("third and goal", True),
        ("third and long", False),
        ("success", True),
        ("one-high", True),
        ("not one-high", False),
        ("motion", False),
        ("not motion", True),
        ("shift", True),
        ("rotation", Unknown),
        ("not rotation", Unknown),
        ("gun", Unknown),
        ("not gun", Unknown),
        ("gun and third", Unknown),
        ("gun and fourth", False),
        ("gun or third", True),
        ("gun or fourth", Unknown),
        ("not (gun and fourth)", True),
        ("red zone", True),
        ("backed up", False),
        ("clock <= 2:00", True),
        ("clock < 2:00", False),
        ("quarter 2 and clock <= 2:00", Unknown),
        ("note \"wide open\"", True),
        ("note = \"wide open\"", False),
        ("grade a", True),
        ("grade B", False),
        ("tag \"read key\" x", Unknown),
        ("game Badgers", True),
        ("game \"Owls week 3\"", False),
        ("play 17a", True),
        ("play 17", False),
    ] {
        assert_eq!(parse(phrase, &words()).unwrap().fits(&known), truth, "{phrase:?}");
    }
    let spotless = play(&[
        (Field::Down, Value::Number(1)),
        (Field::Distance, Value::Distance(Distance::Goal)),
        (Field::Gain, Value::Number(9)),
    ]);
    for phrase in ["short", "not short", "success", "long"] {
        assert_eq!(parse(phrase, &words()).unwrap().fits(&spotless), Unknown, "{phrase:?}");
    }
}

#[test]
fn success_is_a_share_of_the_yards_to_gain() {
    let shares = SuccessShares::default();
    for (down, to_gain, gain, success) in [
        (1, 10, 4, Some(true)),
        (1, 10, 3, Some(false)),
        (2, 5, 3, Some(true)),
        (2, 6, 3, Some(false)),
        (3, 4, 4, Some(true)),
        (4, 1, 0, Some(false)),
        (5, 1, 9, None),
        (1, 10, i64::MAX, Some(true)),
    ] {
        assert_eq!(shares.judge(down, to_gain, gain), success, "{down} and {to_gain}, gain {gain}");
    }
}

// --- Laws ---

fn range(lowest: i64, highest: i64) -> impl Strategy<Value = Range> {
    (lowest..=highest, lowest..=highest, 0..4).prop_map(|(one, other, form)| match form {
        0 => Range::exactly(one),
        1 => Range::at_least(one),
        2 => Range::at_most(one),
        _ => Range::between(one, other),
    })
}

fn leaf() -> impl Strategy<Value = Filter> {
    let vocabulary = words().vocabulary;
    let all: Vec<(Field, String)> = vocabulary.entries().iter().map(|e| (e.field, e.word.clone())).collect();
    let texts: Vec<Field> = Field::ALL.iter().copied().filter(|f| f.kind() == Kind::Text).collect();
    let text = "[a-zA-Z0-9 \"\\\\(),=&+\u{201c}\u{e9}-]{0,12}|and|or not|vs|third";
    let number = proptest::sample::select(vec![Field::Quarter, Field::Down, Field::Gain, Field::Margin]);
    let day = || (2020i16..2030, 1i8..=12, 1i8..=28).prop_map(|(y, m, d)| format!("{y:04}-{m:02}-{d:02}"));
    prop_oneof![
        Just(Filter::GoalToGo),
        Just(Filter::Opener),
        (1u32..9999).prop_map(Filter::LastGames),
        proptest::sample::select(words().teams).prop_map(Filter::Opponent),
        (day(), day(), 0..3).prop_map(|(a, b, form)| {
            let (first, last) = (a.clone().min(b.clone()), a.max(b));
            Filter::Date { from: (form != 1).then_some(first), to: (form != 2).then_some(last) }
        }),
        Just(Filter::Success(SuccessShares::default())),
        proptest::sample::select(vec![Field::Motion, Field::Shift, Field::Rotation]).prop_map(Filter::Any),
        proptest::sample::select(all).prop_map(|(field, word)| super::item::word_filter(field, word)),
        number.prop_flat_map(|field| {
            let (lowest, highest) = match field {
                Field::Down => (1, 4),
                Field::Quarter => (1, 20),
                _ => (-99, 110),
            };
            range(lowest, highest).prop_map(move |range| Filter::Number { field, range })
        }),
        range(1, 99).prop_map(Filter::ToGain),
        range(0, 900).prop_map(Filter::Clock),
        (1u8..=99, 1u8..=99).prop_filter_map("spots", |(a, b)| Some(Filter::BallOn {
            from: Spot::from_own_goal(a.min(b))?,
            to: Spot::from_own_goal(a.max(b))?,
        })),
        (proptest::sample::select(texts), any::<bool>(), text).prop_map(|(field, whole, text)| Filter::Text {
            field,
            how: if whole { TextMatch::Is } else { TextMatch::Has },
            text,
        }),
        (proptest::sample::select(words().own), text).prop_map(|(name, value)| Filter::Own { name, value }),
        proptest::sample::select(words().games).prop_map(Filter::Game),
        prop_oneof!["[1-9][0-9]{0,2}[a-z]?".boxed(), text.boxed()].prop_map(Filter::Label),
    ]
}

fn filter() -> impl Strategy<Value = Filter> {
    leaf().prop_recursive(4, 24, 4, |inner| {
        prop_oneof![
            proptest::collection::vec(inner.clone(), 2..4).prop_map(Filter::all_of),
            proptest::collection::vec(inner.clone(), 2..4).prop_map(Filter::one_of),
            inner.prop_map(Filter::opposite),
        ]
    })
}

fn truth() -> impl Strategy<Value = Truth> {
    proptest::sample::select(vec![Truth::True, Truth::False, Truth::Unknown])
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn print_then_parse_is_the_identity(filter in filter()) {
        let printed = filter.to_string();
        match parse(&printed, &words()) {
            Ok(read) => prop_assert_eq!(read, filter, "{}", printed),
            Err(error) => prop_assert!(false, "{error}"),
        }
    }

    #[test]
    fn any_text_is_read_or_refused_with_a_place_in_it(phrase in "\\PC{0,40}") {
        if let Err(error) = parse(&phrase, &words()) {
            prop_assert!(phrase.get(error.span.clone()).is_some(), "{:?}", error.span);
            prop_assert!(!error.next().is_empty());
        }
    }

    #[test]
    fn any_heap_of_known_words_is_read_the_same_twice(
        pieces in proptest::collection::vec(proptest::sample::select(vec![
            "third", "and", "or", "not", "vs", ",", "(", ")", "short", "3", "11", "7+", "4-6", "&", "run", "pass",
            "one-high", "motion", "shell", "gain", ">=", "-", "goal", "ball on", "own", "20", "red zone", "clock",
            "2:00", "opener", "last", "date", "since", "2026-09-11", "2026", "opponent", "our ball", "margin", "trailing", "play", "note", "\"", "distance", "grade", "game", "Badgers", "left", "to", "more", "down",
        ]), 0..9),
    ) {
        let phrase = pieces.join(" ");
        match parse(&phrase, &words()) {
            Ok(read) => prop_assert_eq!(parse(&read.to_string(), &words()), Ok(read), "{}", phrase),
            Err(error) => prop_assert!(phrase.get(error.span.clone()).is_some(), "{}: {:?}", phrase, error.span),
        }
    }

    #[test]
    fn three_valued_logic_keeps_its_laws(a in truth(), b in truth(), c in truth()) {
        prop_assert_eq!(a.and(b), b.and(a));
        prop_assert_eq!(a.and(b).opposite(), a.opposite().or(b.opposite()));
        prop_assert_eq!(a.and(b.or(c)), a.and(b).or(a.and(c)));
        prop_assert_eq!(a.opposite().opposite(), a);
        prop_assert_eq!(Truth::Unknown.opposite(), Truth::Unknown);
    }
}
