// Games that tests/sheets/play_by_play.py wrote, read back. Shared by the test and the bench.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use downbox::football::{Field, Vocabulary};
use downbox::sheet::{ColumnNames, Draft, Role, SenseKind, Sheet, sense};
use serde_json::{Map, Value};

/// One game.
pub struct Game {
    pub sheet: PathBuf,
    pub shape: u64,
    pub rows: Vec<Map<String, Value>>,
    /// Rows that break the rules in the data itself, by check.
    pub broken: BTreeMap<String, u64>,
}

/// What reading a game's sheet gave.
pub struct Read {
    /// Cells that are not what was written, and rows too many or too few.
    pub wrong: Vec<String>,
    /// Rows that the checks raise, by check.
    pub raised: BTreeMap<String, u64>,
}

/// Every game of a folder, in order.
pub fn all(folder: &Path) -> Vec<Game> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "json"))
        .collect();
    files.sort();
    let game = |file: PathBuf| {
        let truth: Value = serde_json::from_slice(&std::fs::read(&file).unwrap()).unwrap();
        let broken = truth["broken"].as_object().unwrap();
        Game {
            sheet: folder.join(truth["sheet"].as_str().unwrap()),
            shape: truth["shape"].as_u64().unwrap(),
            rows: truth["rows"].as_array().unwrap().iter().map(|r| r.as_object().unwrap().clone()).collect(),
            broken: broken.iter().map(|(k, v)| (k.clone(), v.as_u64().unwrap())).collect(),
        }
    };
    files.into_iter().map(game).collect()
}

/// Reads a game's sheet as its staff would: a header that was never seen is proposed, and the proposal taken; only whose
/// column the teams' own names are in no value tells.
pub fn read(game: &Game) -> Read {
    let (names, vocabulary) = (ColumnNames::default(), Vocabulary::default());
    let draft = Draft::open(&game.sheet, &names, &vocabulary).unwrap();
    let names = if draft.settled() {
        names
    } else {
        let mut confirmed = draft.confirmed();
        confirmed.columns.insert("Who".into(), Role::Field(Field::Ball));
        names.knowing([confirmed])
    };
    let sheet = Sheet::open(&game.sheet, &names, &vocabulary).unwrap();
    let mut wrong = Vec::new();
    if sheet.rows.len() != game.rows.len() {
        wrong.push(format!("{} rows of {}", sheet.rows.len(), game.rows.len()));
    }
    for (row, want) in sheet.rows.iter().zip(&game.rows) {
        let Value::Object(tags) = row.tags.to_json() else { unreachable!() };
        for key in tags.keys().chain(want.keys()) {
            // The note and remark columns hold nothing to compare.
            if Field::named(key).is_some() && tags.get(key) != want.get(key) {
                wrong.push(format!("{} {key}: {:?}, wanted {:?}", row.place, tags.get(key), want.get(key)));
            }
        }
    }
    let mut raised: BTreeMap<String, u64> = SenseKind::ALL.iter().map(|k| (k.as_str().to_string(), 0)).collect();
    for found in sense(&sheet.rows) {
        *raised.entry(found.kind.as_str().to_string()).or_default() += 1;
    }
    Read { wrong, raised }
}
