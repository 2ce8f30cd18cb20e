//! `downbox cutup --asks`: every standing ask.

use std::fmt::Write;

use serde_json::json;

use super::args::{Common, Cutup};
use super::output::{self, Outcome};
use super::progress::Chain;
use super::{shelf, wire};
use crate::base::Result;
use crate::jobs::{AskDone, Config, ReelFate, standing};

/// Runs it.
pub fn run(common: &Common, args: &Cutup, chain: &Chain) -> Result<Outcome> {
    let library = shelf::open(common)?;
    shelf::go_first(library.folder(), "the standing asks");
    let config = Config::load(Some(library.folder()))?;
    let done =
        wire::with_tools(chain, &config.settings, |tools| standing(tools, &config, &library, None, args.dry_run))?;
    chain.end();
    for reel in done.iter().flat_map(|ask| &ask.reels) {
        output::tell_problems(&reel.problems);
    }
    if common.json {
        output::print_json(&document(&done))?;
    } else {
        output::print(&report(&done))?;
    }
    if done.is_empty() {
        let next = "write asks.toml into the library; config/asks.toml of the sources shows how";
        output::tell_nothing("there are no standing asks", next);
    }
    let reels = || done.iter().flat_map(|ask| &ask.reels);
    if reels().any(|reel| matches!(reel.fate, ReelFate::Failed(..))) {
        return Ok(Outcome::Failed);
    }
    // A phrase that finds nothing yet is no failure of the asks; all of them finding nothing is nothing found.
    Ok(Outcome::of(reels().count()))
}

fn document(done: &[AskDone]) -> serde_json::Value {
    let asks: Vec<_> = done
        .iter()
        .map(|ask| {
            let reels: Vec<_> = ask
                .reels
                .iter()
                .map(|reel| {
                    let why = match &reel.fate {
                        ReelFate::Failed(what, next) => json!({"what": what, "next": next}),
                        _ => json!(null),
                    };
                    let left: Vec<_> = reel
                        .left_out
                        .iter()
                        .map(|l| json!({"label": l.label, "angle": l.angle, "why": l.why}))
                        .collect();
                    json!({
                        "game": reel.game,
                        "out": reel.out.display().to_string(),
                        "sidecars": reel.sidecars.iter().map(|file| file.display().to_string()).collect::<Vec<_>>(),
                        "plays": reel.plays,
                        "state": state(&reel.fate),
                        "error": why,
                        "left_out": left,
                        "problems": reel.problems,
                    })
                })
                .collect();
            json!({"name": ask.name, "phrase": ask.phrase, "reads": ask.reads, "reels": reels})
        })
        .collect();
    json!({ "asks": asks })
}

/// One word for what became of a reel.
fn state(fate: &ReelFate) -> &'static str {
    match fate {
        ReelFate::Made => "made",
        ReelFate::Kept => "unchanged",
        ReelFate::Planned => "to make",
        ReelFate::Stale => "outdated",
        ReelFate::Nothing => "nothing",
        ReelFate::Failed(..) => "failed",
    }
}

fn report(done: &[AskDone]) -> String {
    let mut out = String::new();
    for ask in done {
        let _ = writeln!(out, "{}: {}", output::strong(&ask.name), output::paste(&ask.reads));
        if ask.reels.is_empty() {
            let _ = writeln!(out, "  no play fits");
        }
        for reel in &ask.reels {
            let plays = output::count(reel.plays, "play");
            let path = output::path(&reel.out);
            let word = output::check_word_out();
            let _ = match &reel.fate {
                ReelFate::Made | ReelFate::Kept | ReelFate::Planned => {
                    writeln!(out, "  {}: {plays}, {}: {path}", reel.game, state(&reel.fate))
                }
                ReelFate::Stale => writeln!(
                    out,
                    "  {word}: {}: no play fits any more; the reel from before is still there, remove it if it is of no \
                     use: {path}",
                    reel.game
                ),
                ReelFate::Nothing => {
                    writeln!(out, "  {word}: {}: all plays that fit are left out", reel.game)
                }
                ReelFate::Failed(what, next) => {
                    writeln!(out, "  {word}: {}: {what}\n    next: {next}", reel.game)
                }
            };
            for l in &reel.left_out {
                let angle = l.angle.as_ref().map(|angle| format!(" from {angle}")).unwrap_or_default();
                let _ = writeln!(out, "    {word}: play {}{angle} is left out: {}", l.label, l.why);
            }
        }
    }
    out
}
