//! A night's work on a pool of made games, judged by the truth: are rows on their plays, and is a cutup pure and whole?
//!
//! `cargo bench --profile dev --bench night [-- --games N] [--plays N] [--made DIR...]`. Cuts every game into a library of
//! its own, asks it many phrases, and counts plays in an answer whose true tags do not fit the phrase, and plays missing
//! from it that were surely joined. Says nothing of whether the pool is hard: `--bench accuracy` does, on the same games.
#![allow(missing_docs)]

#[allow(dead_code)]
mod pool;

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::process::ExitCode;

use downbox::base::Silent;
use downbox::filter;
use downbox::football::{Distance, Field, PlayRecord, Spot, Tags, Value};
use downbox::jobs::{Config, CutAsk, CutupAsk, Tools, cut, plan_cutup};
use downbox::library::{GameIn, Library, PlayFound};
use downbox::media::Media;
use pool::Game;
use serde_json::Value as Json;

type Failure = Box<dyn std::error::Error + Send + Sync>;

/// What coaches ask for: every down, distance and shell, and what is made of them.
const PHRASES: &[&str] = &[
    "first",
    "second",
    "third",
    "fourth",
    "short",
    "medium",
    "long",
    "third and short",
    "third and long",
    "third and short vs one-high",
    "third and short vs two-high",
    "second and long vs two-high",
    "one-high",
    "two-high",
    "zero-high",
    "run",
    "pass",
    "run vs one-high",
    "pass vs two-high",
    "motion",
    "not motion",
    "motion vs one-high",
    "red zone",
    "red zone or goal to go",
    "not red zone",
    "gain >= 10",
    "gain < 0",
    "first and 10",
    "first, run",
    "pass, gain >= 10",
    "mesh",
    "stick or smash",
    "run not motion",
    "own 20 to opp 20",
    "third or fourth",
];

#[derive(Debug, Default)]
struct Counts {
    plays: usize,
    rows: usize,
    joined_right: usize,
    joined_wrong: usize,
    joined_wrong_sure: usize,
    doubtful: usize,
    answers: usize,
    shown: usize,
    impure: Vec<String>,
    missing: Vec<String>,
}

fn main() -> ExitCode {
    match bench() {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(error) => {
            eprintln!("night: {error}");
            ExitCode::from(2)
        }
    }
}

fn bench() -> Result<bool, Failure> {
    let maker = if pool::folders().is_empty() { pool::maker()? } else { PathBuf::new() };
    let games = pool::asked(&maker)?;
    let mut counts = Counts::default();
    for game in &games {
        eprintln!("seed {}", game.seed);
        night(game, &mut counts)?;
    }
    println!("games {}, plays {}, rows {}", games.len(), counts.plays, counts.rows);
    println!(
        "rows joined to their own play {}, to another {} ({} of them without a doubt); in doubt {}",
        counts.joined_right, counts.joined_wrong, counts.joined_wrong_sure, counts.doubtful
    );
    println!("cutups asked for {}, plays shown {}", counts.answers, counts.shown);
    println!("plays in a cutup whose true row does not fit: {} {:?}", counts.impure.len(), counts.impure);
    println!("plays missing that were surely joined: {} {:?}", counts.missing.len(), counts.missing);
    Ok(counts.impure.is_empty() && counts.missing.is_empty())
}

fn night(game: &Game, counts: &mut Counts) -> Result<(), Failure> {
    let folder = tempfile::tempdir()?;
    let media = Media::new()?;
    let tools = Tools { reader: &media, writer: &media, desk: &media, progress: &Silent };
    let mut library = Library::create(&folder.path().join("library"), None)?;
    let config = Config::load(Some(library.folder()))?;
    let cameras = game.truth.cameras.iter().map(|camera| {
        let files = camera.files.iter().map(|file| game.folder.join(&file.path)).collect();
        (camera.angle.clone(), files)
    });
    let ask = CutAsk {
        game: GameIn { name: format!("Game {}", game.seed), ..GameIn::default() },
        cameras: cameras.collect(),
        sheets: vec![game.folder.join("tags.csv")],
        ..CutAsk::default()
    };
    cut(tools, &config, &mut library, &ask)?;

    let truth: Json = serde_json::from_slice(&std::fs::read(game.folder.join("truth.json"))?)?;
    let everything = library.plays(&filter::Filter::All)?;
    let shows: BTreeMap<String, u64> =
        everything.iter().filter_map(|play| Some((play.record.label.clone(), true_play(game, play)?))).collect();
    // Record of the sheet to the play it was typed for, and what was left blank in it.
    let rows = truth["sheet"]["rows"].as_array().ok_or("the truth has no rows")?;
    let typed_for: BTreeMap<u64, u64> =
        rows.iter().filter_map(|row| Some((row["record"].as_u64()?, row["play"].as_u64()?))).collect();
    let blank: Vec<u64> = truth["sheet"]["slips"]
        .as_array()
        .into_iter()
        .flatten()
        .filter(|slip| slip["typed"] == "")
        .filter_map(|slip| slip["record"].as_u64())
        .collect();
    counts.plays += shows.len();
    counts.rows += rows.len();
    let mut surely: BTreeMap<String, u64> = BTreeMap::new();
    for play in &everything {
        let Some(record) = record_of(play) else { continue };
        let sure = play.record.row_doubt.is_none();
        counts.doubtful += usize::from(!sure);
        if typed_for.get(&record) == shows.get(&play.record.label) {
            counts.joined_right += 1;
            if sure {
                surely.insert(play.record.label.clone(), record);
            }
        } else {
            counts.joined_wrong += 1;
            counts.joined_wrong_sure += usize::from(sure);
        }
    }
    for phrase in PHRASES {
        let ask =
            CutupAsk { phrase: (*phrase).to_string(), out: folder.path().join("reel.mp4"), ..CutupAsk::default() };
        let words = config.words(&library)?;
        let filter = filter::parse(phrase, &words)?;
        let plan = plan_cutup(tools, &config, &library, &ask)?;
        let left: Vec<&str> = plan.left_out.iter().filter(|l| l.angle.is_none()).map(|l| l.label.as_str()).collect();
        let found = library.plays(&filter)?;
        let shown: Vec<&str> =
            found.iter().map(|p| p.record.label.as_str()).filter(|label| !left.contains(label)).collect();
        if shown.len() != plan.plays {
            return Err(
                format!("{phrase}: {} plays planned, {} found and not left out", plan.plays, shown.len()).into()
            );
        }
        counts.answers += 1;
        counts.shown += shown.len();
        let fits = |number: u64| {
            let tags = tags_of(&truth["plays"][number as usize - 1]["tags"]);
            filter.fits(&PlayRecord { tags, ..PlayRecord::default() }) == filter::Truth::True
        };
        for label in &shown {
            if !shows.get(*label).is_some_and(|number| fits(*number)) {
                counts.impure.push(format!("seed {} play {label}: {phrase}", game.seed));
            }
        }
        for (label, record) in &surely {
            let number = shows.get(label).copied().unwrap_or(0);
            if number > 0 && fits(number) && !shown.contains(&label.as_str()) && !blank.contains(record) {
                counts.missing.push(format!("seed {} play {label}: {phrase}", game.seed));
            }
        }
    }
    Ok(())
}

/// The record number in `tags.csv:12`.
fn record_of(play: &PlayFound) -> Option<u64> {
    play.record.row.as_ref()?.rsplit(':').next()?.parse().ok()
}

/// Which play of the game a clip truly shows: the one whose snap lies in it, by the first camera that has it.
fn true_play(game: &Game, play: &PlayFound) -> Option<u64> {
    play.clips.iter().find_map(|clip| {
        let camera = game.truth.cameras.iter().find(|camera| camera.angle == clip.camera)?;
        let (from, to) = (clip.span.start.0 as f64 / 30.0, clip.span.end.0 as f64 / 30.0);
        camera.plays.iter().find(|filmed| (from..to).contains(&filmed.snap_time)).map(|filmed| filmed.play)
    })
}

/// The true tags of a play.
fn tags_of(json: &Json) -> Tags {
    let mut fields = BTreeMap::new();
    let number = |key: &str| json[key].as_i64();
    for (field, key) in [(Field::Quarter, "quarter"), (Field::Down, "down"), (Field::Gain, "gain")] {
        fields.extend(number(key).map(|n| (field, Value::Number(n))));
    }
    let distance = match json["goal"] == true {
        true => Some(Distance::Goal),
        false => number("distance").map(|yards| Distance::Yards(yards as u8)),
    };
    fields.extend(distance.map(|d| (Field::Distance, Value::Distance(d))));
    let spot = number("yards_from_own_goal").and_then(|yards| Spot::from_own_goal(yards as u8));
    fields.extend(spot.map(|s| (Field::BallOn, Value::Spot(s))));
    let motion = if json["motion"] == true { "yes" } else { "no" };
    fields.insert(Field::Motion, Value::Word(motion.into()));
    for (field, key) in [
        (Field::Formation, "formation"),
        (Field::PlayType, "play_type"),
        (Field::Concept, "concept"),
        (Field::Shell, "shell"),
    ] {
        fields.extend(json[key].as_str().map(|word| (field, Value::Word(word.into()))));
    }
    Tags { fields, ..Tags::default() }
}
