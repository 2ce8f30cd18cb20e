//! `downbox sheet check` and `sheet blank`, through the binary.

use std::fs;

use serde_json::{Value, json};

use crate::desk::Desk;
use crate::real_cuts::outside;
use crate::typed_sheets::run;

const TIRED: &str = "Play #,Down,Dist,Shell,Gain,Mood\n1,1,10,MOFC,4,good\n2,10-Jan,,2-high,3,\n3,,7,weird,x,\n";
const NEW: &str = "aa,bb,cc,dd\n1,10,4,trips\n2,6,-2,bunch\n3,8,12,trips\n1,10,0,empty\n2,10,3,trips\n";

#[test]
fn check_lists_every_problem_by_its_cell() {
    let desk = Desk::new();
    fs::write(desk.at("tags.csv"), TIRED).unwrap();
    let said = desk.run(&["sheet", "check", "tags.csv"]);
    assert_eq!(said.code, 0, "{}", said.err);
    insta::assert_snapshot!(said.out, @r"
    tags.csv: 3 plays, 4 remarks

    column  read as       filled
    Play #  sheet number  3 of 3
    Down    down          2 of 3
    Dist    distance      3 of 3
    Shell   shell         3 of 3
    Gain    gain          2 of 3
    Mood    your own tag  1 of 3

    where    typed   remark                                                   taken as
    3 Down   10-Jan  a spreadsheet program took down and distance for a date  1 and 10
    4 Gain   x       the cell is no whole number of yards
    4 Down           no down, though a distance is typed
    4 Shell  weird   is no known shell; kept as typed in 1 cell
    ");
    let narrow = crate::desk::told(desk.command().env("COLUMNS", "60").args(["sheet", "check", "tags.csv"]));
    assert!(narrow.out.lines().all(|l| l.chars().count() <= 60), "{}", narrow.out);
}

#[test]
fn the_document_has_rows_problems_and_columns() {
    let desk = Desk::new();
    fs::write(desk.at("tags.csv"), TIRED).unwrap();
    let said = desk.run(&["sheet", "check", "tags.csv", "--json"]);
    assert_eq!(said.code, 0, "{}", said.err);
    let document = said.json();
    assert_eq!(document["rows"][0]["where"], "tags.csv:2");
    assert_eq!(document["rows"][0]["tags"]["shell"], "one-high");
    assert_eq!(document["columns"]["down"], "Down");
    assert_eq!(document["own_columns"], json!(["Mood"]));
    assert_eq!(
        document["problems"][0],
        json!({"where": "tags.csv:3 column Down", "value": "10-Jan",
               "what": "a spreadsheet program took down and distance for a date", "took": "1 and 10"})
    );
}

#[test]
fn a_new_header_is_proposed_confirmed_and_remembered() {
    let desk = Desk::new();
    fs::write(desk.at("new.csv"), NEW).unwrap();
    let said = desk.run(&["sheet", "check", "new.csv", "--json"]);
    let [what, place, next] = said.error();
    assert!(what.contains("\"aa\" as down, \"bb\" as distance, \"cc\" as gain, \"dd\" as formation"), "{what}");
    assert_eq!(place, "new.csv");
    assert!(next.contains("downbox sheet check new.csv --yes"), "{next}");
    assert!(said.err.contains("because"), "{}", said.err);

    let said = desk.run(&["sheet", "check", "new.csv", "--yes", "--json"]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert_eq!(said.json()["rows"][1]["tags"], json!({"down": 2, "distance": 6, "gain": -2, "formation": "bunch"}));
    assert!(desk.at("no-config/downbox/headers.toml").is_file());

    // Known again, also in another order and case; another header is asked for anew.
    fs::write(desk.at("again.csv"), "DD,aa,Bb,cc\ntrips,1,10,4\nbunch,2,6,1\n").unwrap();
    let said = desk.run(&["sheet", "check", "again.csv", "--json"]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert_eq!(said.json()["rows"][0]["tags"]["distance"], 10);
    fs::write(desk.at("other.csv"), NEW.replace("dd", "ee")).unwrap();
    assert_eq!(desk.run(&["sheet", "check", "other.csv"]).code, 2);
}

#[test]
fn cut_refuses_a_new_header_before_it_makes_or_measures_anything() {
    let desk = Desk::new();
    fs::write(desk.at("new.csv"), NEW).unwrap();
    fs::write(desk.at("side.mp4"), "no film").unwrap();
    let said = desk.run(&["cut", "--game", "Badgers", "--sideline", "side.mp4", "--sheet", "new.csv", "--json"]);
    let [what, _, next] = said.error();
    assert!(what.contains("header is new") && next.contains("--yes"), "{what}: {next}");
    assert!(!desk.library().exists());
}

#[test]
fn a_column_that_may_be_a_fields_is_told_and_taken_only_when_asked() {
    let desk = Desk::new();
    fs::write(desk.at("some.csv"), NEW.replace("aa,bb", "Down,Dist")).unwrap();
    let document = desk.run(&["sheet", "check", "some.csv", "--json"]).json();
    assert_eq!(document["looks_like"], json!({"cc": "gain", "dd": "formation"}));
    assert_eq!(document["rows"][0]["tags"]["cc"], "4");
    let told = &document["problems"][0];
    assert_eq!(told["where"], "some.csv:1 column cc");
    assert!(told["what"].as_str().unwrap().starts_with("may be gain"), "{told}");
    let document = desk.run(&["sheet", "check", "some.csv", "--json", "--yes"]).json();
    assert_eq!(document["rows"][0]["tags"], json!({"down": 1, "distance": 10, "gain": 4, "formation": "trips"}));
}

#[test]
fn many_cells_of_one_kind_are_shown_in_few_lines_and_all_in_the_document() {
    let desk = Desk::new();
    let rows: String = (0..40).map(|n| format!("{}-Jan,x{n}\n", 10 + n % 5)).collect();
    fs::write(desk.at("tags.csv"), format!("Down,Note\n{rows}")).unwrap();
    let said = desk.run(&["sheet", "check", "tags.csv"]);
    assert!(said.out.contains("the same of 37 more cells"), "{}", said.out);
    assert_eq!(said.out.matches("for a date").count(), 3, "{}", said.out);
    let document = desk.run(&["sheet", "check", "tags.csv", "--json"]).json();
    let slips =
        document["problems"].as_array().unwrap().iter().filter(|p| p["what"].to_string().contains("for a date"));
    assert_eq!(slips.count(), 40);
}

#[test]
fn who_has_the_ball_follows_from_the_unit() {
    let desk = Desk::new();
    fs::write(desk.at("tags.csv"), "Unit,Down,Dist\noff,1,10\nD,2,7\nkicking,4,3\n").unwrap();
    let words = ["sheet", "check", "tags.csv", "--json", "--we", "Badgers", "--they", "Herons"];
    let document = desk.run(&words).json();
    let ball = |at: usize| document["rows"][at]["tags"]["ball"].clone();
    assert_eq!([ball(0), ball(1), ball(2)], [json!("Badgers"), json!("Herons"), Value::Null]);
    assert_eq!(desk.run(&["sheet", "check", "tags.csv", "--we", "Badgers"]).code, 2);
}

#[test]
fn blank_is_written_once_and_read_back() {
    let desk = Desk::new();
    for name in ["out.xlsx", "out.csv", "out.tsv"] {
        let said = desk.run(&["sheet", "blank", name]);
        assert_eq!(said.code, 0, "{}", said.err);
        let before = fs::read(desk.at(name)).unwrap();
        let [what, ..] = desk.run(&["sheet", "blank", name, "--json"]).error();
        assert!(what.contains("not written over"), "{what}");
        assert_eq!(fs::read(desk.at(name)).unwrap(), before);
    }
    let [_, _, next] = desk.run(&["sheet", "blank", "out.doc", "--json"]).error();
    assert!(next.contains(".xlsx"), "{next}");
    let text = fs::read_to_string(desk.at("out.csv")).unwrap();
    assert!(text.starts_with("\u{feff}Sheet number,Time,Quarter,Clock,"), "{text}");

    let Some(packages) = outside("python") else { return };
    let (blank, filled) = (desk.at("out.xlsx"), desk.at("filled.xlsx"));
    let seen: Value =
        serde_json::from_str(&run("validations.py", &[blank.as_os_str(), filled.as_os_str(), packages.as_os_str()]))
            .unwrap();
    assert_eq!(seen["lists"]["Down"], json!({"rows": [2, 401], "words": [1, 2, 3, 4]}));
    assert_eq!(seen["lists"]["Shell"]["words"], json!(["one-high", "two-high", "zero-high"]));
    assert_eq!(seen["hidden"], json!(["Words"]));
    assert_eq!(seen["titles"].as_array().unwrap().len(), 28);
    let document = desk.run(&["sheet", "check", "filled.xlsx", "--json"]).json();
    assert_eq!(document["rows"][1]["where"], "filled.xlsx!Plays!3");
    assert_eq!(
        document["rows"][1]["tags"],
        json!({"down": 2, "distance": 6, "ball_on": "own 29", "shell": "two-high", "gain": 3})
    );
    assert_eq!(document["problems"], json!([]));
}
