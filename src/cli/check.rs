//! `downbox check`: whether the library is whole; its repair; its copy.

use std::fmt::Write;
use std::path::Path;

use serde_json::json;

use super::args::{Check, Common};
use super::output::{self, Outcome};
use super::progress::Chain;
use super::{shelf, wire};
use crate::base::Result;
use crate::jobs::{CheckAsk, Checked, Config, Finding, check, empty_segments};
use crate::library::{Access, Copied, Library};

/// Runs it. Damage that is left is exit code 2.
pub fn run(common: &Common, args: &Check, chain: &Chain) -> Result<Outcome> {
    let folder = shelf::named(common)?;
    // A folder that is no library says so before its settings are read.
    drop(Library::open(&folder, Access::Read)?);
    let config = Config::load(Some(&folder))?;
    if args.empty_segments {
        let (count, bytes) = empty_segments(&config, &Library::open(&folder, Access::Read)?)?;
        output::note(format!("{} removed, {}", output::count(count, "rendered segment"), output::size(bytes)));
    }
    let ask = CheckAsk { deep: args.deep, repair: args.repair, films: args.films.clone() };
    let checked = wire::with_tools(chain, &config.settings, |tools| check(tools, &config, &folder, &ask))?;
    let copied = match &args.copy {
        Some(to) => Some((to, Library::open(&folder, Access::Read)?.copy_to(to, chain)?)),
        None => None,
    };
    chain.end();
    if common.json {
        output::print_json(&document(&folder, &checked, copied.as_ref().map(|(to, done)| (to.as_path(), done))))?;
    } else {
        let mut text = report(&folder, &checked);
        if let Some((to, done)) = &copied {
            text += &copy_report(to, done);
        }
        output::print(&text)?;
    }
    let left_out = copied.is_some_and(|(_, done)| !done.left_out.is_empty());
    Ok(if checked.damage() > 0 || left_out { Outcome::Failed } else { Outcome::Done })
}

fn document(folder: &Path, checked: &Checked, copied: Option<(&Path, &Copied)>) -> serde_json::Value {
    let told = |f: &Finding| {
        json!({
            "kind": f.kind.as_str(),
            "damage": f.kind.is_damage(),
            "where": f.place,
            "what": f.what,
            "next": f.next,
            "mended": f.mended,
        })
    };
    let copy = copied.map(|(to, done)| {
        let left_out: Vec<_> = done.left_out.iter().map(|(path, why)| json!({"path": path, "why": why})).collect();
        json!({"to": to, "clips": done.clips, "others": done.others, "bytes": done.bytes, "left_out": left_out})
    });
    json!({
        "library": folder,
        "clean": checked.damage() == 0,
        "damage": checked.damage(),
        "games": checked.games,
        "clips": checked.clips,
        "bytes": checked.bytes,
        "films": checked.films,
        "findings": checked.findings.iter().map(told).collect::<Vec<_>>(),
        "copy": copy,
    })
}

fn report(folder: &Path, checked: &Checked) -> String {
    let mut out = String::new();
    for f in &checked.findings {
        let word = match (f.mended, f.kind.is_damage()) {
            (true, _) => "mended".to_string(),
            (false, true) => output::damage_word_out(),
            (false, false) => output::dim("note"),
        };
        let _ = writeln!(out, "{word}: {}: {}", f.place, f.what);
        if !f.mended {
            let _ = writeln!(out, "  next: {}", f.next);
        }
    }
    let held = format!(
        "{}, {} ({}), {}",
        output::count(checked.games, "game"),
        output::count(checked.clips, "clip"),
        output::size(checked.bytes),
        output::count(checked.films, "film")
    );
    let mended = checked.findings.iter().filter(|f| f.mended).count();
    let mended = if mended > 0 { format!("; {mended} mended") } else { String::new() };
    let state = match checked.damage() {
        0 => "clean".to_string(),
        1 => "1 fault".to_string(),
        many => format!("{many} faults"),
    };
    let _ = writeln!(out, "{}: {held}: {}{mended}", output::path(folder), output::strong(state));
    out
}

fn copy_report(to: &Path, done: &Copied) -> String {
    let mut out = String::new();
    for (path, why) in &done.left_out {
        let _ = writeln!(out, "{}: {}: left out of the copy: {why}", output::damage_word_out(), path.display());
    }
    let clips = output::count(done.clips, "clip");
    let _ = writeln!(out, "copied to {}: {clips}, {}, verified", output::path(to), output::size(done.bytes));
    out
}
