//! Reel scripts before a validator of others (`tests/readers/schema.py`: Python's tomllib and jsonschema), which reads the schema
//! that editors help by: what our reader takes it must take, and what our reader refuses by itself it must refuse.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use downbox::base::Error;
use downbox::reel::script::Script;
use toml::Value;

fn config(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("config").join(name)
}

fn example() -> String {
    fs::read_to_string(config("reel.example.toml")).unwrap()
}

/// What the validator has against each text.
fn judged(texts: &[String]) -> Vec<Option<String>> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/readers/schema.py");
    let mut child = Command::new("python3")
        .arg(script)
        .arg(config("reel.schema.json"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(serde_json::to_string(texts).unwrap().as_bytes()).unwrap();
    let out = child.wait_with_output().unwrap();
    assert!(out.status.success(), "python3 needs jsonschema (demo/install)");
    let said: Vec<Option<String>> = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(said.len(), texts.len());
    said
}

fn ours(text: &str) -> Option<Error> {
    Script::read(text, Path::new("x.toml")).err()
}

/// Every place in a document: keys, and positions in lists.
fn places(value: &Value, here: &[String], all: &mut Vec<Vec<String>>) {
    let mut within = |name: String, value: &Value| {
        let place = [here, &[name]].concat();
        all.push(place.clone());
        places(value, &place, all);
    };
    match value {
        Value::Table(table) => table.iter().for_each(|(key, value)| within(key.clone(), value)),
        Value::Array(list) => list.iter().enumerate().for_each(|(i, value)| within(i.to_string(), value)),
        _ => {}
    }
}

fn at<'v>(value: &'v mut Value, place: &[String]) -> &'v mut Value {
    place.iter().fold(value, |value, name| match value {
        Value::Array(list) => &mut list[name.parse::<usize>().unwrap()],
        other => other.get_mut(name).unwrap(),
    })
}

fn without(document: &Value, place: &[String]) -> Value {
    let mut changed = document.clone();
    let (last, path) = place.split_last().unwrap();
    match at(&mut changed, path) {
        Value::Array(list) => drop(list.remove(last.parse().unwrap())),
        Value::Table(table) => drop(table.remove(last)),
        _ => unreachable!(),
    }
    changed
}

fn set(document: &Value, place: &[String], value: Value) -> Value {
    let mut changed = document.clone();
    *at(&mut changed, place) = value;
    changed
}

/// What a schema cannot say: the order of moments, and what is counted elsewhere in the script.
const BEYOND: [&str; 7] = [
    "before it begins",
    "lies outside of what",
    "and the step has",
    "and the script has",
    "names no play",
    "shown by none of its views",
    "the first view's speed",
];

#[test]
fn a_validator_of_others_takes_and_refuses_what_our_reader_does() {
    let document: Value = toml::from_str(&example()).unwrap();
    let mut spots = Vec::new();
    places(&document, &[], &mut spots);
    let strange = [
        Value::String("zzz".into()),
        Value::String(" ".into()),
        Value::String("snap".into()),
        Value::Integer(-1),
        Value::Integer(2),
        Value::Float(0.5),
        Value::Float(99999.5),
        Value::Boolean(true),
        Value::Array(vec![]),
        Value::Table(toml::Table::new()),
    ];
    let mut texts = vec![example(), toml::to_string(&document).unwrap()];
    for place in &spots {
        texts.push(toml::to_string(&without(&document, place)).unwrap());
        for value in &strange {
            texts.push(toml::to_string(&set(&document, place, value.clone())).unwrap());
        }
        let mut more = document.clone();
        if let Value::Table(table) = at(&mut more, place) {
            table.insert("banana".into(), Value::Integer(1));
            texts.push(toml::to_string(&more).unwrap());
        }
    }
    let mut wrong = Vec::new();
    let (mut taken, mut refused, mut beyond) = (0, 0, 0);
    for (text, theirs) in texts.iter().zip(judged(&texts)) {
        match (ours(text), theirs) {
            (None, None) => taken += 1,
            (Some(_), Some(_)) => refused += 1,
            (None, Some(why)) => wrong.push(format!("ours takes what theirs refuses: {why}\n{text}")),
            (Some(error), None) => {
                // A script of one fault names it in `what`, one of several line by line.
                let told = if error.place.contains('\n') { error.place.clone() } else { error.what.clone() };
                if told.lines().all(|line| BEYOND.iter().any(|words| line.contains(words))) {
                    beyond += 1;
                } else {
                    wrong.push(format!("theirs takes what ours refuses: {told}\n{text}"));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{} of {}: {}", wrong.len(), texts.len(), wrong[..wrong.len().min(3)].join("\n\n"));
    assert!(taken > 100 && refused > 800 && beyond > 10, "{taken} taken, {refused} refused, {beyond} beyond a schema");
}
