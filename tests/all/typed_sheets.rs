//! One sheet in every habit of people and of spreadsheet programs, written by other programs (`tests/sheets/habits.py`:
//! Python's csv, openpyxl, xlwt), is read as the same four plays.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use downbox::football::{Field, Vocabulary};
use downbox::sheet::{ColumnNames, Sheet};

use crate::real_cuts::outside;

/// The folder of sheets; `None` where the user is offline.
pub fn habits() -> Option<&'static Path> {
    static MADE: OnceLock<Option<(tempfile::TempDir, PathBuf)>> = OnceLock::new();
    let made = MADE.get_or_init(|| {
        let packages = outside("python")?;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().to_path_buf();
        run("habits.py", &[path.as_os_str(), packages.as_os_str()]);
        Some((folder, path))
    });
    made.as_ref().map(|(_, path)| path.as_path())
}

/// Runs a script of `tests/sheets`; gives what it printed.
pub fn run(script: &str, args: &[&std::ffi::OsStr]) -> String {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sheets").join(script);
    let done = Command::new("python3").arg(script).args(args).output().unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    String::from_utf8(done.stdout).unwrap()
}

fn read(path: &Path) -> Sheet {
    Sheet::open(path, &ColumnNames::default(), &Vocabulary::default()).unwrap_or_else(|e| panic!("{e}\n{}", e.next))
}

const PLAYS: [[&str; 7]; 4] = [
    ["1", "12:34", "1", "10", "own 25", "one-high", "4"],
    ["1", "12:01", "2", "6", "own 29", "two-high", "0"],
    ["1", "11:20", "3", "6", "own 29", "one-high", "31"],
    ["2", "0:45", "1", "10", "opp 40", "zero-high", "-3"],
];

/// File, the rows' own numbers, and a piece of each problem that must be told; all other problems are notations that
/// were read without doubt.
const CASES: &[(&str, [u32; 4], &[&str])] = &[
    ("plain.csv", [2, 3, 4, 5], &[]),
    ("bom.csv", [2, 3, 4, 5], &[]),
    ("utf16.txt", [2, 3, 4, 5], &[]),
    ("windows.csv", [2, 3, 4, 5], &[]),
    ("semicolon.csv", [2, 3, 4, 5], &[]),
    ("sep-line.csv", [2, 3, 4, 5], &[]),
    ("pipe.csv", [2, 3, 4, 5], &[]),
    ("cr.csv", [2, 3, 4, 5], &[]),
    ("quoted.csv", [2, 3, 4, 5], &[]),
    ("unclosed.csv", [2, 3, 4, 5], &["a quote is opened and never closed"]),
    ("line-breaks.csv", [2, 3, 4, 5], &[]),
    ("trailing.csv", [2, 3, 4, 5], &[]),
    ("ragged.csv", [2, 3, 4, 5], &[]),
    ("titles.csv", [2, 3, 4, 5], &["2 rows above the header passed over"]),
    ("blanks.csv", [2, 5, 7, 8], &[]),
    ("repeated.csv", [2, 3, 5, 6], &["the header again"]),
    ("totals.csv", [2, 3, 4, 5], &["a row of totals"]),
    ("headers.csv", [2, 3, 4, 5], &[]),
    ("doubled.csv", [2, 3, 4, 5], &["names shell as column 7"]),
    ("notations.csv", [2, 3, 4, 5], &[]),
    ("dates.csv", [2, 3, 4, 5], &["took down and distance for a date"; 4]),
    ("serials.csv", [2, 3, 4, 5], &["took down and distance for a date"; 4]),
    ("serials-1904.csv", [2, 3, 4, 5], &["took down and distance for a date"; 4]),
    ("fractions.csv", [2, 3, 4, 5], &[]),
    ("plus-dropped.csv", [2, 3, 4, 5], &["numbers without a sign are read as the opponent's side"]),
    ("plain.xlsx", [2, 3, 4, 5], &[]),
    ("narrow.xlsx", [2, 3, 4, 5], &[]),
    ("long.xlsx", [2, 3, 4, 5], &[]),
    ("titles.xlsx", [5, 6, 7, 8], &[]),
    ("merged.xlsx", [2, 3, 4, 5], &["the cell is merged down to row 4"]),
    ("sheets.xlsx", [2, 3, 4, 5], &["other worksheets were left: \"Roster\", \"Old\" (hidden), \"Kicks\""]),
    ("dates.xlsx", [2, 3, 4, 5], &["took down and distance for a date"; 4]),
    ("dates-1904.xlsx", [2, 3, 4, 5], &["took down and distance for a date"; 4]),
    ("blanks.xlsx", [2, 5, 6, 7], &["the header again", "a row of totals"]),
    ("plain.xls", [2, 3, 4, 5], &[]),
    ("titles.xls", [4, 5, 6, 7], &[]),
    ("plain.ods", [2, 3, 4, 5], &[]),
    ("titles.ods", [4, 5, 6, 7], &[]),
    (
        "dates.ods",
        [2, 3, 4, 5],
        &[
            "the cell is merged down to row 4",
            "took down and distance for a date",
            "took down and distance for a date",
            "took down and distance for a date",
            "took down and distance for a date",
        ],
    ),
];

#[test]
fn every_habit_reads_as_the_same_plays() {
    let Some(folder) = habits() else { return };
    let fields = [Field::Quarter, Field::Clock, Field::Down, Field::Distance, Field::BallOn, Field::Shell, Field::Gain];
    let mut faults = Vec::new();
    for (file, numbers, told) in CASES {
        let sheet = read(&folder.join(file));
        let text = |row: &downbox::sheet::Row, f| row.tags.get(f).map(ToString::to_string).unwrap_or_default();
        let rows: Vec<Vec<String>> = sheet.rows.iter().map(|r| fields.iter().map(|f| text(r, *f)).collect()).collect();
        if rows != PLAYS {
            faults.push(format!("{file}: {rows:?}\n  {:?}", sheet.problems));
        }
        let places: Vec<String> = sheet.rows.iter().map(|r| r.place.clone()).collect();
        let sign = if file.contains(".xls") || file.contains(".ods") { "!Plays!" } else { ":" };
        let wanted: Vec<String> = numbers.iter().map(|n| format!("{file}{sign}{n}")).collect();
        if places != wanted {
            faults.push(format!("{file}: rows at {places:?}"));
        }
        let odd: Vec<String> = sheet
            .problems
            .iter()
            .filter(|p| !p.what.starts_with("another notation, read without doubt"))
            .map(|p| format!("{} {}", p.place, p.what))
            .collect();
        if odd.len() != told.len() || !told.iter().all(|t| odd.iter().any(|o| o.contains(t))) {
            faults.push(format!("{file}: told {odd:#?}, wanted {told:?}"));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    let made = std::fs::read_dir(folder).unwrap().count();
    // One file is read by the test below.
    assert_eq!(made, CASES.len() + 1, "a sheet is made and not read");
}

#[test]
fn what_is_no_value_is_told_by_its_cell() {
    let Some(folder) = habits() else { return };
    let sheet = read(&folder.join("formulas.xlsx"));
    let told: Vec<String> = sheet.problems.iter().map(|p| format!("{} | {} | {}", p.place, p.value, p.what)).collect();
    insta::assert_snapshot!(told.join("\n"), @r##"
    formulas.xlsx!Plays!E3 | =10-4 | the cell holds a formula and not its value; open the sheet in the spreadsheet program and save it again
    formulas.xlsx!Plays!H3 | #REF! | the cell holds a spreadsheet's error and no value
    formulas.xlsx!Plays!I4 | =CONCATENATE("a","b") | the cell holds a formula and not its value; open the sheet in the spreadsheet program and save it again
    "##);
    assert_eq!(sheet.rows[1].tags.own["Dist (as typed)"], "=10-4");
}

#[test]
fn letters_beyond_the_ascii_ones_survive() {
    let Some(folder) = habits() else { return };
    for file in ["plain.csv", "utf16.txt", "windows.csv", "plain.xlsx", "plain.xls", "plain.ods"] {
        let sheet = read(&folder.join(file));
        let note = |at: usize| sheet.rows[at].tags.word(Field::Note).map(String::from).unwrap_or_default();
        assert_eq!((note(0).replace('\u{2013}', "-"), note(1)), ("deep - middle".into(), "José".into()), "{file}");
    }
}
