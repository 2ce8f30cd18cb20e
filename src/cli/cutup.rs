//! `downbox cutup`: one reel of the plays a phrase means.

use std::fmt::Write;

use serde_json::json;

use super::args::{AtOnce, Common, Cutup};
use super::output::{self, Outcome};
use super::progress::Chain;
use super::{plays, shelf, wire};
use crate::base::{Error, Result};
use crate::jobs::{Config, CutupAsk, CutupDone, cutup, plan_cutup};
use crate::reel::sidecar::Kind;
use crate::reel::{CARD, Layout};
use crate::report::clock;

/// Runs it.
pub fn run(common: &Common, args: &Cutup, chain: &Chain) -> Result<Outcome> {
    let library = shelf::open(common)?;
    shelf::go_first(library.folder(), &format!("cutup {}", args.phrase.join(" ")));
    let config = Config::load(Some(library.folder()))?;
    let Some(out) = args.out.clone() else {
        return Err(Error::refused("a cutup needs a file to be written to", "", "name it with --out FILE"));
    };
    let ask = CutupAsk {
        phrase: args.phrase.join(" "),
        out,
        angle: args.angle.clone(),
        layout: match args.at_once {
            None => Layout::Single,
            Some(AtOnce::Beside) => Layout::Beside,
            Some(AtOnce::Inset) => Layout::Inset,
        },
        profile: args.profile,
        codec: args.codec,
        sound: (args.mute || args.sound).then_some(args.sound),
        fit: args.fit,
        with_doubtful: args.with_doubtful,
        design: args.design.unwrap_or_default(),
        strip: args.strip,
        cards: args.cards,
        sort: args.sort.clone(),
        reverse: args.reverse,
        group: args.group.clone(),
        first: args.first,
        at_most: args.at_most,
        lead_in: args.lead_in,
        tail: args.tail,
        sidecars: Kind::read(args.sidecar.iter().map(String::as_str))?,
    };
    let done = wire::with_tools(chain, &config.settings, |tools| match args.dry_run {
        true => plan_cutup(tools, &config, &library, &ask),
        false => cutup(tools, &config, &library, &ask),
    })?;
    chain.end();
    output::tell_problems(&done.problems);
    if common.json {
        output::print_json(&document(&done, args))?;
    } else {
        output::print(&report(&done, args))?;
    }
    if done.fit == 0 {
        plays::tell_none(library.games()?.is_empty());
    } else if done.plays == 0 {
        let what =
            format!("{} that fit the phrase are all left out; no reel was made", output::count(done.fit, "play"));
        output::tell_nothing(&what, "see why above; --with-doubtful takes also rows in doubt");
    }
    Ok(Outcome::of(done.plays))
}

fn document(done: &CutupDone, args: &Cutup) -> serde_json::Value {
    let left_out: Vec<_> = done
        .left_out
        .iter()
        .map(|l| json!({"game": l.game, "label": l.label, "angle": l.angle, "why": l.why}))
        .collect();
    let foreseen = done.foreseen.as_ref().map(|f| f.segments.as_slice());
    let segments: Vec<_> = foreseen
        .unwrap_or(&done.segments)
        .iter()
        .map(|s| {
            json!({
                "game": s.game,
                "label": s.label,
                "angle": s.angle,
                "start": output::rounded(s.start),
                "end": output::rounded(s.end),
            })
        })
        .collect();
    let made = !done.segments.is_empty();
    let mut document = json!({
        "out": made.then(|| args.out.as_ref().map(|out| out.display().to_string())).flatten(),
        "sidecars": done.sidecars.iter().map(|file| file.display().to_string()).collect::<Vec<_>>(),
        "phrase": args.phrase.join(" "),
        "reads": done.reads,
        "plays": done.plays,
        "left_out": left_out,
        "segments": segments,
        "seconds": output::rounded(done.seconds),
        "beyond_limit": done.beyond,
        "rendered": done.rendered,
        "problems": done.problems,
    });
    if args.dry_run {
        document["plan"] = json!(done.plan.lines().collect::<Vec<_>>());
        document["estimated_bytes"] = json!(done.foreseen.as_ref().map(|f| f.bytes));
        document["ready"] = json!(done.foreseen.as_ref().map(|f| f.ready));
    }
    document
}

fn report(done: &CutupDone, args: &Cutup) -> String {
    let mut out = String::new();
    let plays = output::strong(output::count(done.plays, "play"));
    let _ = writeln!(out, "{plays} of {}: {}", done.fit, output::paste(&done.reads));
    if args.dry_run {
        let _ = write!(out, "{}", done.plan);
    }
    let foreseen = done.foreseen.as_ref().map(|f| f.segments.as_slice());
    for s in foreseen.unwrap_or(&done.segments) {
        let what = match (s.angle.as_str(), s.label.as_str()) {
            (CARD, "") => "card of a group".to_string(),
            (CARD, label) => format!("card of {} play {label}", s.game),
            (angle, label) => format!("{} play {label} from {angle}", s.game),
        };
        let _ = writeln!(out, "  {:>7}  {what}, {:.1} s", clock(s.start), s.end - s.start);
    }
    for l in &done.left_out {
        let angle = l.angle.as_ref().map(|angle| format!(" from {angle}")).unwrap_or_default();
        let word = output::check_word_out();
        let _ = writeln!(out, "  {word}: {} play {}{angle} is left out: {}", l.game, l.label, l.why);
    }
    if done.beyond > 0 {
        let _ = writeln!(out, "  {} more beyond the limit", output::count(done.beyond, "play"));
    }
    if let (false, Some(path)) = (done.segments.is_empty(), &args.out) {
        let _ = writeln!(out, "{} long, in {}", clock(done.seconds), output::path(path));
    }
    if let Some(f) = &done.foreseen {
        let (long, size) = (clock(f.seconds), output::size(f.bytes));
        let _ = writeln!(out, "{long} long, about {size}; {} of {} rendered before", f.ready, f.segments.len());
    }
    for file in &done.sidecars {
        let _ = writeln!(out, "beside it {}", output::path(file));
    }
    out
}
