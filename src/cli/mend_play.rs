//! `downbox mend`: a play's tags, its moments, and whether it is one play; what was changed, and taking it back.

use std::fmt::Write;

use serde_json::json;

use super::args::{Common, Mend};
use super::output::{self, Outcome};
use super::progress::Chain;
use super::{shelf, wire};
use crate::base::{Error, Result};
use crate::jobs::{Change, Config, MendAsk, PlayMended, game_of, mend_play};
use crate::library::{MendFound, Moment};

/// What the flags ask to change, tags first.
pub fn changes(args: &Mend) -> Result<Vec<Change>> {
    let mut changes = Vec::new();
    for text in &args.set {
        let Some((name, value)) = text.split_once('=') else {
            let next = "write the tag, an equals sign and its value: --set down=3";
            return Err(Error::refused("a tag is set by its name and value", format!("\"{text}\""), next));
        };
        changes.push(Change::Set(name.to_string(), value.to_string()));
    }
    changes.extend(args.unset.iter().map(|name| Change::Unset(name.clone())));
    let moments = [(Moment::Set, &args.stand), (Moment::Snap, &args.snap), (Moment::Whistle, &args.end)];
    changes.extend(moments.iter().filter_map(|(moment, text)| Some(Change::Moment(*moment, (*text).clone()?))));
    changes.extend(args.drop.then_some(Change::Drop));
    changes.extend(args.split_at.clone().map(Change::Split));
    changes.extend(args.join.clone().map(Change::Join));
    changes.extend(args.pair.clone().map(Change::Pair));
    match (&args.from, &args.to) {
        (Some(from), Some(to)) if args.add => changes.push(Change::Add(from.clone(), to.clone())),
        (None, None) => {}
        (from, to) => changes.push(Change::Stretch(from.clone(), to.clone())),
    }
    Ok(changes)
}

/// Makes the changes, or takes the last one back.
pub fn run(common: &Common, args: &Mend, mut changes: Vec<Change>, chain: &Chain) -> Result<Outcome> {
    if args.undo {
        changes = vec![Change::Undo];
    }
    let mut library = shelf::open_to_write(common)?;
    let config = Config::load(Some(library.folder()))?;
    let ask = MendAsk { game: args.game.clone(), label: args.play.clone(), camera: args.camera.clone(), changes };
    let done = wire::with_tools(chain, &config.settings, |tools| mend_play(tools, &config, &mut library, &ask))?;
    library.close()?;
    chain.end();
    if common.json {
        output::print_json(&document(&done))?;
    } else {
        output::tell_problems(&done.problems);
        output::print(&report(&done, args.undo))?;
    }
    Ok(Outcome::Done)
}

fn document(done: &PlayMended) -> serde_json::Value {
    let moved: Vec<_> =
        done.moved.iter().map(|(label, was, is)| json!({"label": label, "before": was, "row": is})).collect();
    json!({
        "game": done.game,
        "label": done.label,
        "done": done.done,
        "moved": moved,
        "clips_cut": done.cut,
        "problems": done.problems,
    })
}

fn report(done: &PlayMended, undone: bool) -> String {
    let mut out = String::new();
    for line in &done.done {
        let _ = writeln!(out, "{}: play {}: {}", done.game, done.label, output::strong(line));
    }
    for (label, was, is) in &done.moved {
        let word = |row: &Option<String>| row.clone().unwrap_or_else(|| "no row".into());
        let _ = writeln!(out, "  play {label}: {}, before: {}", word(is), word(was));
    }
    if done.cut > 0 {
        let _ = writeln!(out, "{} cut", output::count(done.cut, "clip"));
    }
    if !undone {
        let back = format!("downbox mend {} --undo", done.label);
        let _ = writeln!(out, "take it back: {}", output::paste(back));
    }
    out
}

/// Lists what was changed, the newest last.
pub fn history(common: &Common, args: &Mend) -> Result<Outcome> {
    let library = shelf::open(common)?;
    let game = game_of(&library, args.game.as_deref())?;
    let found = library.mends(&game, args.play.as_deref())?;
    if common.json {
        let told = |m: &MendFound| {
            json!({
                "label": m.label,
                "what": m.subject,
                "before": m.old,
                "now": m.new,
                "made_at": m.made_at,
                "undone": m.undone,
            })
        };
        let mends: Vec<_> = found.iter().map(told).collect();
        output::print_json(&json!({"game": game, "mends": mends}))?;
        return Ok(Outcome::of(found.len()));
    }
    let mut out = String::new();
    for mend in &found {
        let when = mend.made_at.get(..16).unwrap_or(&mend.made_at).replace('T', " ");
        let change = match (&mend.old, &mend.new) {
            (None, None) => String::new(),
            (old, new) => {
                let word = |value: &Option<String>| value.clone().unwrap_or_else(|| "nothing".into());
                let before = if old.is_some() { format!(", before {}", word(old)) } else { String::new() };
                format!(": {}{before}", word(new))
            }
        };
        let line = format!("{when}  play {:<4} {}{change}", mend.label, mend.subject);
        let _ = match mend.undone {
            true => writeln!(out, "{}", output::dim(format!("{line}  (taken back)"))),
            false => writeln!(out, "{line}"),
        };
    }
    output::print(&out)?;
    if found.is_empty() {
        output::tell_nothing("nothing was corrected", "such as: downbox mend 5 --set down=3");
    }
    Ok(Outcome::of(found.len()))
}
