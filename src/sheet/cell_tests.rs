use super::super::tidy_text::tidy;
use super::*;

fn show(field: Field, text: &str) -> String {
    let vocabulary = Vocabulary::default();
    CellReader { vocabulary: &vocabulary, habits: Habits::default() }.read(field, &tidy(text)).show()
}

fn check(field: Field, cases: &[(&str, &str)]) {
    for (text, want) in cases {
        assert_eq!(show(field, text), *want, "{field}: {text:?}");
    }
}

#[test]
fn distances() {
    check(
        Field::Distance,
        &[
            ("7", "plain distance=7"),
            ("G", "plain distance=goal"),
            ("inches", "notation distance=1"),
            ("7 yds", "notation distance=7"),
            ("3rd & 7", "notation down=3 distance=7"),
            ("", "unknown"),
            ("-", "unknown"),
            ("0", "refused: is no distance from 1 to 99 yards, nor goal"),
            ("long", "refused: is no distance from 1 to 99 yards, nor goal"),
            ("#REF!", "refused: holds a spreadsheet's error and no value"),
        ],
    );
}

#[test]
fn spots() {
    let sideless = "refused: does not tell which side of the field; write own 35 or opp 35 (or -35 and +35)";
    check(
        Field::BallOn,
        &[
            ("own 35", "plain ball_on=own 35"),
            ("OWN 35", "plain ball_on=own 35"),
            ("-35", "notation ball_on=own 35"),
            ("\u{2013}35", "notation ball_on=own 35"),
            ("'+20", "notation ball_on=opp 20"),
            ("opp 20 yd line", "notation ball_on=opp 20"),
            ("50", "plain ball_on=50"),
            ("midfield", "notation ball_on=50"),
            ("35", sideless),
            ("35.0", sideless),
            ("here", "refused: is no spot on the field such as own 35, opp 20 or 50"),
        ],
    );
}

#[test]
fn quarters_and_clocks() {
    check(
        Field::Quarter,
        &[
            ("3", "plain quarter=3"),
            ("3.0", "plain quarter=3"),
            ("Q3", "notation quarter=3"),
            ("3Q", "notation quarter=3"),
            ("3rd qtr", "notation quarter=3"),
            ("First", "notation quarter=1"),
            ("OT", "notation quarter=5"),
            ("2OT", "notation quarter=6"),
            ("half", "refused: is no quarter from 1 to 4, nor overtime"),
        ],
    );
    check(
        Field::Clock,
        &[
            ("12:34", "plain clock=12:34"),
            ("04:31", "plain clock=4:31"),
            (":45", "notation clock=0:45"),
            ("4:31:00", "notation clock=4:31"),
            ("0.5", "refused: is no game clock such as 12:34, at most 15:00"),
        ],
    );
}

#[test]
fn gains() {
    check(
        Field::Gain,
        &[
            ("5", "plain gain=5"),
            ("+5", "plain gain=5"),
            ("-3", "plain gain=-3"),
            ("\u{2212}3", "plain gain=-3"),
            ("\u{2013} 3", "notation gain=-3"),
            ("(3)", "notation gain=-3"),
            ("loss of 3", "notation gain=-3"),
            ("12 yds", "notation gain=12"),
            ("no gain", "notation gain=0"),
            ("4.0", "notation gain=4"),
            ("4.5", "refused: is no whole number of yards"),
            ("TD", "refused: is no whole number of yards"),
            ("500", "refused: is no whole number of yards"),
            ("(-3)", "refused: is no whole number of yards"),
        ],
    );
}

#[test]
fn film_times() {
    for (text, want) in [
        ("754.2", Some(754.2)),
        ("754,2", Some(754.2)),
        ("12:34.5", Some(754.5)),
        ("12:34", Some(754.0)),
        ("1:02:03", Some(3723.0)),
        (":45", Some(45.0)),
        ("90:00", Some(5400.0)),
        ("01:02:03:15", Some(3723.0)),
        ("01:02:03;15", Some(3723.0)),
        ("12.5 s", Some(12.5)),
        ("7:45 PM", None),
        ("12:75", None),
        ("1:75:00", None),
        ("-3", None),
        ("nan", None),
        ("inf", None),
        ("1e9", None),
        ("", None),
        (":", None),
        ("early", None),
    ] {
        assert_eq!(film_seconds(text).ok(), want, "{text:?}");
    }
}

#[test]
fn words_are_canonical_or_kept_and_a_front_is_no_date() {
    check(
        Field::Shell,
        &[("1-high", "plain shell=one-high"), ("MOFO", "plain shell=two-high"), ("1.0", "plain shell=one-high")],
    );
    check(Field::Motion, &[("-", "plain motion=no"), ("?", "unknown"), ("Y", "plain motion=yes"), ("", "unknown")]);
    check(Field::Formation, &[("Lumberjack", "new formation=Lumberjack")]);
    check(
        Field::Front,
        &[
            ("3-4", "plain front=3-4"),
            ("4-Mar", "refused: is a date that a spreadsheet program made of 3-4 or 4-3; type it again"),
        ],
    );
    let vocabulary = Vocabulary::default();
    let reader = CellReader {
        vocabulary: &vocabulary,
        habits: Habits { slips: Some(SlipOrder::MonthFirst), ..Habits::default() },
    };
    assert_eq!(
        reader.read(Field::Front, "4-Mar").show(),
        "mended front=3-4: a spreadsheet program took the front for a date"
    );
}

#[test]
fn a_result_column_is_split_by_what_each_word_means() {
    let vocabulary = Vocabulary::default();
    let reader = CellReader { vocabulary: &vocabulary, habits: Habits::default() };
    for (text, want) in [
        ("Complete", Some("pass_result=complete")),
        ("Inc", Some("pass_result=incomplete")),
        ("TD", Some("ending=touchdown")),
        ("out of bounds", Some("ending=out of bounds")),
        ("complete, TD", Some("pass_result=complete ending=touchdown")),
        ("Complete OOB", Some("pass_result=complete ending=out of bounds")),
        ("sack / fumble", None),
        ("good one", None),
        ("-", None),
    ] {
        let shown = reader
            .result(text)
            .map(|parts| parts.iter().map(|(f, v)| format!("{}={v}", f.key())).collect::<Vec<_>>().join(" "));
        assert_eq!(shown.as_deref(), want, "{text:?}");
    }
}
