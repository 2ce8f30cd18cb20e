//! The schema that editors help by says what the reader reads: keys, words, bounds. What a validator of others makes of it is
//! in `tests/all/reel_script.rs`.

use std::collections::BTreeSet;
use std::path::Path;

use serde_json::{Value, json};

use super::kinds::{self, Kind};
use super::*;

fn schema() -> Value {
    serde_json::from_str(include_str!("../../../config/reel.schema.json")).unwrap()
}

/// The schema of one sort of table.
fn table_of(schema: &Value, kind: &Kind) -> Value {
    let name = match kind.name {
        "the script" => return schema.clone(),
        "a step seen again" => "again",
        name => name.trim_start_matches("a "),
    };
    schema["$defs"][name].clone()
}

/// What a schema refers to, with what is said beside the reference laid over it.
fn followed(schema: &Value, value: &Value) -> Value {
    let Some(name) = value["$ref"].as_str() else { return value.clone() };
    let mut under = followed(schema, schema.pointer(name.trim_start_matches('#')).unwrap());
    for (key, over) in value.as_object().unwrap().iter().filter(|(key, _)| *key != "$ref") {
        under[key] = over.clone();
    }
    under
}

#[test]
fn the_schema_has_the_readers_keys_and_each_is_described() {
    let schema = schema();
    for kind in kinds::ALL {
        let table = table_of(&schema, kind);
        let properties =
            table["properties"].as_object().unwrap_or_else(|| panic!("{} is not in the schema", kind.name));
        let said: BTreeSet<&str> = properties.keys().map(String::as_str).collect();
        assert_eq!(said, kind.keys.iter().copied().collect(), "{}", kind.name);
        assert_eq!(table["additionalProperties"], json!(false), "{}", kind.name);
        for (key, value) in properties {
            let described = followed(&schema, value)["description"].is_string();
            assert!(described || key == "text", "{} {key} has no description", kind.name);
        }
    }
}

#[test]
fn the_schema_has_the_readers_words() {
    let schema = schema();
    let words = |kind: &Kind, key: &str| -> Vec<String> {
        let value = followed(&schema, &table_of(&schema, kind)["properties"][key]);
        serde_json::from_value(value["enum"].clone()).unwrap()
    };
    assert_eq!(words(&kinds::SCRIPT, "profile"), Profile::ALL.map(Profile::as_str));
    assert_eq!(words(&kinds::SCRIPT, "strip"), Design::ALL.map(Design::word));
    assert_eq!(words(&kinds::STEP, "strip"), Design::ALL.map(Design::word));
    assert_eq!(words(&kinds::SCRIPT, "sound"), SoundWay::WORDS.map(|(word, _)| word));
    assert_eq!(words(&kinds::STEP, "sound"), SoundWay::WORDS.map(|(word, _)| word));
    assert_eq!(words(&kinds::MARK, "kind"), MarkKind::WORDS.map(|(word, _)| word));
    assert_eq!(words(&kinds::MARK, "pin"), Pin::WORDS.map(|(word, _)| word));
    assert_eq!(words(&kinds::MARK, "color"), MarkColor::WORDS.map(|(word, _)| word));
    assert_eq!(words(&kinds::MARK, "colour"), MarkColor::WORDS.map(|(word, _)| word));
    assert_eq!(words(&kinds::MARK, "head"), Head::WORDS.map(|(word, _)| word));
    let moment = schema["$defs"]["moment"]["pattern"].as_str().unwrap();
    assert!(moment.contains(&format!("({})", Anchor::WORDS.map(|(word, _)| word).join("|"))), "{moment}");
}

/// A script that is right, with `key = value` in a table of the kind.
fn with(kind: &Kind, key: &str, value: &Value) -> String {
    let line = format!("{key} = {value}");
    let play = "[[step]]\nplay = { first = \"mesh\" }\n";
    let beside = |need: &str, more: &str| if key == need { String::new() } else { more.to_string() };
    match kind.name {
        "the script" => format!("{line}\n{play}"),
        "a voice" => {
            let steps = play.repeat(if key == "step" { value.as_u64().unwrap_or(1).clamp(1, 9) as usize } else { 1 });
            let step = if key == "after" { "step = 1\n" } else { "" };
            format!("{steps}[[voice]]\n{}{step}{line}\n", beside("file", "file = \"a.wav\"\n"))
        }
        "a step" => format!("{play}{line}\n"),
        "a section" => format!("{play}section = {{ {}{line} }}\n", beside("title", "title = \"x\", ")),
        "a view" => {
            let first = "[[step.view]]\nplay = { first = \"a\" }\n";
            format!("[[step]]\n{first}[[step.view]]\n{}{line}\n", beside("play", "play = { first = \"b\" }\n"))
        }
        "a play" if key == "first" => format!("[[step]]\nplay = {{ {line} }}\n"),
        "a play" => {
            let (game, label) = (beside("game", "game = \"B\", "), beside("label", "label = 5, "));
            format!("[[step]]\nplay = {{ {game}{label}{line} }}\n")
        }
        "a stop" => format!("{play}stop = {{ {}{line} }}\n", beside("at", "at = \"snap\", ")),
        "a speed" => format!("{play}speed = {{ {}{line} }}\n", beside("rate", "rate = 1, ")),
        "a zoom" => {
            let views = if key == "view" { "[[step.view]]\n".repeat(4) } else { String::new() };
            format!("{play}zoom = {{ {}{line} }}\n{views}", beside("on", "on = [0.5, 0.5], "))
        }
        "a caption" => format!("{play}caption = {{ {}{line} }}\n", beside("text", "text = \"x\", ")),
        "a mark" => {
            let views = if key == "view" { "[[step.view]]\n".repeat(4) } else { String::new() };
            let kind = if ["points", "head"].contains(&key) { "route" } else { "ring" };
            let at = match key {
                "at" | "points" => "",
                "head" => "points = [[0, 0], [1, 1]]\n",
                _ => "at = [0.5, 0.5]\n",
            };
            format!("{play}{views}[[step.mark]]\n{}{at}{line}\n", beside("kind", &format!("kind = \"{kind}\"\n")))
        }
        "a step seen again" => format!("{play}[[step.again]]\n{line}\n"),
        other => panic!("{other}"),
    }
}

#[test]
fn the_schemas_bounds_are_the_readers() {
    let schema = schema();
    let reads = |text: &str| Script::read(text, Path::new("x.toml")).map(|_| ());
    let mut numbers = 0;
    let mut texts = 0;
    let mut wrong = Vec::new();
    for kind in kinds::ALL {
        for (key, value) in table_of(&schema, kind)["properties"].as_object().unwrap() {
            let value = followed(&schema, value);
            let mut tries: Vec<(Value, bool)> = Vec::new();
            let number = match value["type"].as_str() {
                Some("number" | "integer") => Some(&value),
                Some("array") => Some(&value["items"]).filter(|items| items["type"].is_string()),
                _ => None,
            };
            if let Some(number) = number {
                numbers += 1;
                let least = number["minimum"].as_f64().unwrap_or_else(|| panic!("{} {key} has no minimum", kind.name));
                // A voice's step has no greatest: the script's last.
                let most = number["maximum"].as_f64().unwrap_or(9.0);
                let whole = number["type"] == "integer";
                let step = if whole { 1.0 } else { 0.001 };
                let one = |n: f64| {
                    let n = if whole { json!(n as i64) } else { json!(n) };
                    if value["type"] == "array" { json!([n, n]) } else { n }
                };
                tries.extend([(one(least), true), (one(most), true), (one(least - step), false)]);
                tries.extend([(one(most + step), false)].into_iter().filter(|_| number["maximum"].is_number()));
            }
            if let Some(most) = value["maxLength"].as_u64() {
                texts += 1;
                let word = |n: usize| json!("ü".repeat(n));
                tries.extend([(word(most as usize), true), (word(most as usize + 1), false), (word(1), true)]);
                tries.extend([(json!(""), false), (json!(" "), false)]);
            }
            for (value, right) in tries {
                let text = with(kind, key, &value);
                match (reads(&text), right) {
                    (Ok(()), true) | (Err(_), false) => {}
                    (Ok(()), false) => wrong.push(format!("{text}is read")),
                    (Err(error), true) => wrong.push(format!("{text}{error}")),
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
    assert_eq!((numbers, texts), (18, 14), "so many bounded values are in the schema");
    let points = |n: usize| with(&kinds::MARK, "points", &json!(vec![[0.5, 0.5]; n]));
    let most = table_of(&schema, &kinds::MARK)["properties"]["points"]["maxItems"].as_u64().unwrap() as usize;
    assert!(reads(&points(most)).is_ok() && reads(&points(most + 1)).is_err());
}

#[test]
fn what_may_stand_alone_or_in_a_list_may_in_both() {
    let (schema, moment) = (schema(), json!("snap"));
    let mut seen = 0;
    for kind in kinds::ALL {
        for (key, value) in table_of(&schema, kind)["properties"].as_object().unwrap() {
            let value = followed(&schema, value);
            if !value["anyOf"].as_array().is_some_and(|ways| ways.iter().any(|way| way["type"] == "array")) {
                continue;
            }
            seen += 1;
            let one = match key.as_str() {
                "step" => "{ play = { first = \"x\" } }",
                "voice" => "{ file = \"a\" }",
                "view" => "{}",
                "stop" => "{ at = \"snap\" }",
                "speed" => "{ rate = 1 }",
                "zoom" => "{ on = [0, 0] }",
                "caption" => "{ text = \"x\" }",
                "mark" => "{ kind = \"ring\", at = [0, 0] }",
                "again" => "{}",
                other => panic!("{other}"),
            };
            for value in [one.to_string(), format!("[{one}]")] {
                let text = if key == "step" {
                    format!("step = {value}\n")
                } else {
                    with(kind, key, &moment).replace(&format!("{key} = \"snap\""), &format!("{key} = {value}"))
                };
                assert!(text.contains(one), "{text}");
                Script::read(&text, Path::new("x.toml")).unwrap_or_else(|error| panic!("{text}{error}"));
            }
        }
    }
    assert_eq!(seen, 12);
}
