//! `downbox stills`: a contact sheet.

use std::fmt::Write;

use serde_json::json;

use super::args::{Common, Stills};
use super::output::{self, Outcome};
use super::progress::Chain;
use super::{plays, shelf, wire};
use crate::base::Result;
use crate::jobs::{Config, stills};

/// Runs it.
pub fn run(common: &Common, args: &Stills, chain: &Chain) -> Result<Outcome> {
    let library = shelf::open(common)?;
    shelf::go_first(library.folder(), "a contact sheet");
    let config = Config::load(Some(library.folder()))?;
    let phrase = args.phrase.join(" ");
    let done = wire::with_tools(chain, &config.settings, |tools| {
        stills(tools, &config, &library, &phrase, &args.out, args.dry_run)
    })?;
    chain.end();
    output::tell_problems(&done.problems);
    if common.json {
        output::print_json(&json!({
            "out": done.pages,
            "phrase": phrase,
            "reads": done.reads,
            "plays": done.plays,
            "problems": done.problems,
        }))?;
    } else {
        let mut out = String::new();
        let plays = output::strong(output::count(done.plays, "play"));
        let _ = writeln!(out, "{plays}: {}", output::paste(&done.reads));
        for page in &done.pages {
            let _ = writeln!(out, "in {}", output::path(page));
        }
        output::print(&out)?;
    }
    if done.plays == 0 {
        plays::tell_none(library.games()?.is_empty());
    }
    Ok(Outcome::of(done.plays))
}
