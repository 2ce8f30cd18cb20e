//! `downbox mend`: which row of the sheet belongs to a play; the other corrections are in `mend_play.rs`.

use std::fmt::Write;

use serde_json::json;

use super::args::{Common, Mend};
use super::output::{self, Outcome};
use super::progress::Chain;
use super::{mend_play, shelf};
use crate::base::{Error, Result};
use crate::jobs::{Mended, RowWord, mend_row, undo_row};

/// Runs it.
pub fn run(common: &Common, args: &Mend, chain: &Chain) -> Result<Outcome> {
    if args.history {
        return mend_play::history(common, args);
    }
    let play = args.play.clone().unwrap_or_default();
    let changes = mend_play::changes(args)?;
    // Of a row alone, or with a row, it is what was said of the row; of a play what was changed last.
    let of_row = args.row.is_some() || play.eq_ignore_ascii_case("none");
    if !changes.is_empty() || (args.undo && !of_row) {
        return mend_play::run(common, args, changes, chain);
    }
    let named = |word: &str| (!word.eq_ignore_ascii_case("none")).then(|| word.to_string());
    let word = RowWord { game: args.game.clone(), label: named(&play), place: args.row.as_deref().and_then(named) };
    if args.row.is_none() && !args.undo {
        let next = format!("such as: downbox mend {play} --set down=3, --snap +4.6, --row tags.csv:14 or --row none");
        return Err(Error::refused("what is to be mended is not said", format!("play {play}"), next));
    }
    let mut library = shelf::open_to_write(common)?;
    let done = if args.undo { undo_row(&mut library, &word) } else { mend_row(&mut library, &word) };
    let done = done?;
    library.close()?;
    if common.json {
        output::print_json(&document(&word, &done))?;
    } else {
        output::print(&report(&word, &done))?;
    }
    Ok(Outcome::Done)
}

fn document(word: &RowWord, done: &Mended) -> serde_json::Value {
    let to_check: Vec<_> = done.to_check.iter().map(|c| json!({"label": c.label, "why": c.why})).collect();
    let moved: Vec<_> =
        done.moved.iter().map(|(label, was, is)| json!({"label": label, "before": was, "row": is})).collect();
    json!({
        "game": done.game,
        "label": word.label,
        "row": word.place,
        "before": {"row": done.before.row_of_play, "label": done.before.play_of_row},
        "undone": done.undone,
        "rows": done.rows,
        "matched": done.matched,
        "moved": moved,
        "to_check": to_check,
        "problems": done.problems,
    })
}

fn report(word: &RowWord, done: &Mended) -> String {
    let mut out = String::new();
    let said = match (&word.label, &word.place, done.undone) {
        (Some(label), _, 1..) => format!("play {label} is matched again"),
        (None, place, 1..) => format!("{} is matched again", place.as_deref().unwrap_or("the row")),
        (Some(label), Some(place), _) => format!("{place} is on play {label}, by hand"),
        (Some(label), None, _) => format!("play {label} has no row, by hand"),
        (None, place, _) => format!("{} is on no play, by hand", place.as_deref().unwrap_or("the row")),
    };
    let _ = writeln!(out, "{}: {}", done.game, output::strong(said));
    for (label, was, is) in &done.moved {
        let word = |row: &Option<String>| row.clone().unwrap_or_else(|| "no row".into());
        let _ = writeln!(out, "  play {label}: {}, before: {}", word(is), word(was));
    }
    let rows = output::count(done.rows, "row");
    let _ = writeln!(out, "sheet: {} of {rows} joined; {} to check", done.matched, done.to_check.len());
    let back = match &word.label {
        Some(label) => format!("downbox mend {label} --undo"),
        None => format!("downbox mend none --row {} --undo", word.place.as_deref().unwrap_or("WHERE")),
    };
    if done.undone == 0 {
        let _ = writeln!(out, "take it back: {}", output::paste(back));
    }
    out
}
