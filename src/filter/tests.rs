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
    ("4 and short", "down = 4 and distance 1-3"),
    ("third-and-long", "down = 3 and distance >= 7"),
    ("third and 4-6", "down = 3 and distance 4-6"),
    ("third and 4 to 6 yards", "down = 3 and distance 4-6"),
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
        "(play type = run and gain >= 12) or ((play type = pass or play type = screen or play type = play-action) \
         and gain >= 16)",
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
    // Structure.
    ("(first or second) and 10", "(down = 1 or down = 2) and distance = 10"),
    ("not (run or pass)", "not (play type = run or play type = pass)"),
    ("(not run) or pass", "(not play type = run) or play type = pass"),
    ("every third and short against the one-high shell", "down = 3 and distance 1-3 and shell = one-high"),
    ("mesh; third, and gun", "concept = mesh and down = 3 and backfield = gun"),
    ("(mesh or third) vs one-high", "(concept = mesh or down = 3) and shell = one-high"),
    ("mesh or third vs one-high", "(concept = mesh or down = 3) and shell = one-high"),
    ("mesh or third and gun", "concept = mesh or (down = 3 and backfield = gun)"),
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
    ("shell zqxj", "zqxj", "is no shell", "zero-high, one-high"),
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
    ("game Bagders", "Bagders", "no game", "\"Badgers\""),
    ("tag grad = A", "grad", "no column", "\"grade\""),
    ("time 3", "time", "cannot be asked", "clock"),
    ("run = pass", "=", "does not fit", "write"),
    ("run or or pass", "or", "no word", ""),
    ("play run", "run", "label", "play 17"),
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
