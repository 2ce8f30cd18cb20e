//! `downbox plays`: the plays a phrase means.

use std::collections::BTreeSet;
use std::fmt::Write;

use serde_json::{Value, json};

use super::args::{Common, Plays};
use super::output::{self, Outcome};
use super::shelf;
use crate::base::Result;
use crate::filter;
use crate::football::{Field, Tags};
use crate::jobs::Config;
use crate::library::{ClipFound, PlayFound};

/// Runs it.
pub fn run(common: &Common, args: &Plays) -> Result<Outcome> {
    let library = shelf::open(common)?;
    let config = Config::load(Some(library.folder()))?;
    let phrase = args.phrase.join(" ");
    let filter = filter::parse(&phrase, &config.words(&library)?)?;
    let found = library.plays(&filter)?;
    if common.json {
        let plays: Vec<_> = found.iter().map(play).collect();
        let reads = filter.to_string();
        output::print_json(&json!({"phrase": phrase, "reads": reads, "count": found.len(), "plays": plays}))?;
    } else {
        let sheeted = library.games()?.into_iter().filter(|g| g.sheet.is_some()).map(|g| g.name).collect();
        output::print(&table(&filter.to_string(), &found, &sheeted))?;
    }
    if found.is_empty() {
        tell_none(library.games()?.is_empty());
    }
    Ok(Outcome::of(found.len()))
}

/// That no play fits, and what to try.
pub fn tell_none(empty: bool) {
    let next = match empty {
        true => "cut a game: downbox cut --game NAME --sideline FILM --sheet SHEET",
        false => "say less, or see what is tagged with: downbox plays",
    };
    output::tell_nothing(if empty { "the library is empty" } else { "no play fits" }, next);
}

fn play(found: &PlayFound) -> Value {
    let record = &found.record;
    let clips: Vec<_> = found.clips.iter().map(clip).collect();
    json!({
        "game": record.game,
        "date": record.date,
        "label": record.label,
        "order": record.order,
        "row": record.row,
        "matched_by": record.matched_by,
        "row_doubt": record.row_doubt,
        "doubt": found.doubt,
        "tags": record.tags.to_json(),
        "clips": clips,
    })
}

fn clip(clip: &ClipFound) -> Value {
    json!({
        "angle": clip.angle_name(),
        "camera": clip.camera,
        "path": clip.path,
        "parts": clip.parts,
        "film_start": clip.span.start,
        "film_end": clip.span.end,
        "set": clip.set,
        "snap": clip.snap.map(|s| s.frame),
        "snap_confidence": clip.snap.map(|s| output::rounded(s.confidence)),
        "whistle": clip.whistle.map(|s| s.frame),
        "whistle_confidence": clip.whistle.map(|s| output::rounded(s.confidence)),
        "doubt": clip.doubt,
        "frames": clip.frames,
        "frame_rate": clip.rate.to_string(),
    })
}

/// The count, how the phrase was read, and a line for each play. `sheeted`: the games that have a sheet.
fn table(reads: &str, found: &[PlayFound], sheeted: &BTreeSet<String>) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}: {}", output::strong(output::count(found.len(), "play")), output::paste(reads));
    let rows: Vec<[String; 7]> = found.iter().map(row).collect();
    let heads = ["play", "down", "ball on", "offense", "defense", "gain", "row"];
    let mut widths = heads.map(str::len);
    for row in &rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    let line = |cells: [&str; 7]| {
        let mut line = String::new();
        for (at, (cell, width)) in cells.iter().zip(widths).enumerate() {
            // Numbers stand right, words left.
            let _ = match at {
                0 | 5 => write!(line, "{cell:>width$}  "),
                _ => write!(line, "{cell:<width$}  "),
            };
        }
        line.trim_end().to_string()
    };
    let mut game = "";
    for (play, row) in found.iter().zip(&rows) {
        if play.record.game != game {
            game = &play.record.game;
            let date = play.record.date.as_ref().map(|date| format!(" {date}")).unwrap_or_default();
            let _ = writeln!(out, "\n{game}{date}\n{}", output::dim(line(heads)));
        }
        let mut reasons = play.doubts();
        if play.record.row.is_none() && sheeted.contains(&play.record.game) {
            reasons.insert(0, "no row of the sheet was joined to it".into());
        }
        let doubt = match reasons.is_empty() {
            true => String::new(),
            false => format!("  {}: {}", output::check_word_out(), reasons.join("; ")),
        };
        let _ = writeln!(out, "{}{doubt}", line(std::array::from_fn(|i| row[i].as_str())));
    }
    out
}

fn row(play: &PlayFound) -> [String; 7] {
    let tags = &play.record.tags;
    let words = |fields: &[Field]| {
        let words: Vec<&str> = fields.iter().filter_map(|field| tags.word(*field)).collect();
        words.join(", ")
    };
    [
        play.record.label.clone(),
        situation(tags),
        tags.ball_on().map(|spot| spot.to_string()).unwrap_or_default(),
        words(&[Field::Formation, Field::PlayType, Field::Concept]),
        words(&[Field::Shell, Field::Coverage, Field::Pressure]),
        tags.number(Field::Gain).map(|gain| gain.to_string()).unwrap_or_default(),
        play.record.row.clone().unwrap_or_else(|| "no row".into()),
    ]
}

/// `3 and 2`; what is unknown is left out.
fn situation(tags: &Tags) -> String {
    match (tags.down(), tags.distance()) {
        (Some(down), Some(distance)) => format!("{down} and {distance}"),
        (Some(down), None) => down.to_string(),
        (None, _) => String::new(),
    }
}
