//! `downbox cut`: a game's films and sheet into the library.

use std::fmt::Write;
use std::path::Path;

use serde_json::json;

use super::args::{Common, Cut};
use super::output::{self, Outcome};
use super::progress::Chain;
use super::{header, shelf, wire};
use crate::base::{IoContext, Result};
use crate::film::Angle;
use crate::football::fold;
use crate::jobs::{Config, CutAsk, CutDone, cut, plan_cut, prepare};
use crate::library::{GameIn, Library};

/// Runs it.
pub fn run(common: &Common, args: &Cut, chain: &Chain) -> Result<Outcome> {
    let ask = ask(args);
    // What is wrong with the words is told before a library is made for them.
    ask.game.check()?;
    for path in ask.cameras.iter().flat_map(|(_, films)| films).chain(&ask.woven).chain(&ask.sheets) {
        std::fs::metadata(path).doing("find the file", path)?;
    }
    let (folder, done) = if args.dry_run {
        let library = shelf::open_if_there(common)?;
        let folder = library.as_ref().map(|l| l.folder().to_path_buf());
        let config = settled(common, folder.as_deref(), &ask, args.yes, false)?;
        let done = wire::with_tools(chain, &config.settings, |tools| plan_cut(tools, &config, library.as_ref(), &ask))?;
        (folder, done)
    } else {
        if !ask.sheets.is_empty() {
            // Before a library is made for a sheet that is refused.
            settled(common, shelf::present(common)?.as_deref(), &ask, args.yes, true)?;
        }
        let mut library = shelf::open_or_make(common)?;
        let folder = library.folder().to_path_buf();
        shelf::go_first(&folder, &format!("cut {}", args.game));
        tell_new_game(common, &library, &ask)?;
        let config = Config::load(Some(&folder))?;
        let done = wire::with_tools(chain, &config.settings, |tools| {
            let done = cut(tools, &config, &mut library, &ask)?;
            if args.prepare && done.plays > 0 {
                prepare(tools, &config, &library, &done.game)?;
            }
            Ok(done)
        })?;
        library.close()?;
        (Some(folder), done)
    };
    chain.end();
    output::tell_problems(&done.problems);
    if common.json {
        output::print_json(&document(&done, folder.as_deref(), args.dry_run))?;
    } else if done.plays > 0 {
        output::print(&report(&done, folder.as_deref(), args.dry_run, common))?;
    }
    if done.plays == 0 {
        let what = format!("no play was found in the film of {}; nothing was put into the library", done.game);
        output::tell_nothing(&what, "see what is in it with: downbox scan FILM");
    }
    Ok(Outcome::of(done.plays))
}

/// A mistyped name makes a second game: said before the night, while it is easily mended.
fn tell_new_game(common: &Common, library: &Library, ask: &CutAsk) -> Result<()> {
    let games = library.games()?;
    if !common.quiet && !games.is_empty() && !games.iter().any(|game| fold(&game.name) == fold(&ask.game.name)) {
        let others: Vec<String> = games.into_iter().map(|game| game.name).collect();
        output::note(format!("a new game: {}; the library has: {}", ask.game.name, others.join(", ")));
    }
    Ok(())
}

/// What is in force, with what the columns of the sheets hold.
fn settled(common: &Common, folder: Option<&Path>, ask: &CutAsk, yes: bool, remember: bool) -> Result<Config> {
    let mut config = Config::load(folder)?;
    for sheet in &ask.sheets {
        header::settle(common, &mut config, folder, sheet, yes, remember)?;
    }
    Ok(config)
}

fn ask(args: &Cut) -> CutAsk {
    let named = [(Angle::Sideline, &args.sideline), (Angle::EndZone, &args.end_zone)];
    let mut cameras: Vec<_> = named
        .into_iter()
        .filter(|(_, films)| !films.is_empty())
        .map(|(angle, films)| (angle.as_str().to_string(), films.clone()))
        .collect();
    for camera in &args.cameras {
        if let [name, films @ ..] = camera.as_slice() {
            cameras.push((name.to_string_lossy().into_owned(), films.to_vec()));
        }
    }
    CutAsk {
        game: GameIn {
            name: args.game.clone(),
            date: args.date.clone(),
            home: args.home.clone(),
            away: args.away.clone(),
        },
        cameras,
        woven: args.woven.clone(),
        sheets: args.sheet.clone(),
        teams: args.we.clone().zip(args.they.clone()),
        offset: args.offset,
        drift: args.drift,
        replace: args.replace,
    }
}

fn document(done: &CutDone, library: Option<&Path>, dry_run: bool) -> serde_json::Value {
    let to_check: Vec<_> = done.to_check.iter().map(|c| json!({"label": c.label, "why": c.why})).collect();
    let mut document = json!({
        "game": done.game,
        "cameras": done.cameras,
        "plays": done.plays,
        "rows": done.rows,
        "matched": done.matched,
        "clips": done.clips,
        "new_clips": done.new_clips,
        "to_check": to_check,
        "problems": done.problems,
        "offset_seconds": done.offset.map(output::rounded),
        "drift": done.drift.map(|drift| (drift * 1e6).round() / 1e6),
        "library": library.map(|l| l.display().to_string()),
    });
    if dry_run {
        document["planned"] = json!(done.planned);
        document["frames_copied"] = json!(done.frames_copied);
        document["frames_encoded"] = json!(done.frames_encoded);
    }
    document
}

fn report(done: &CutDone, library: Option<&Path>, dry_run: bool, common: &Common) -> String {
    let mut out = String::new();
    for line in &done.planned {
        let _ = writeln!(out, "{line}");
    }
    let plays = output::strong(output::count(done.plays, "play"));
    let cameras = done.cameras.join(" and ");
    let _ = if dry_run {
        let clips = output::count(done.planned.len(), "clip");
        let frames = match (done.frames_copied, done.frames_encoded) {
            (0, 0) => String::new(),
            (copied, encoded) => {
                format!(": {} copied, {encoded} encoded anew", output::count(copied as usize, "frame"))
            }
        };
        writeln!(out, "{}: {plays} from {cameras}; {clips} would be cut{frames}", done.game)
    } else {
        let clips = output::strong(output::count(done.clips, "clip"));
        writeln!(out, "{}: {plays}, {clips} from {cameras} ({} new)", done.game, done.new_clips)
    };
    if done.rows > 0 {
        let joined = output::strong(done.matched);
        let _ = write!(out, "sheet: {joined} of {} joined", output::count(done.rows, "row"));
        if let Some(offset) = done.offset {
            let (amount, way) = (offset.abs(), if offset < 0.0 { "early" } else { "late" });
            let _ = write!(out, ", typed {amount:.1} s {way}");
        }
        // A few rows tell no drift worth a word; the document has it always.
        if let Some(drift) = done.drift.filter(|drift| drift.abs() >= 0.0001 && done.matched >= 20) {
            let _ = write!(out, ", {:.1} s an hour of drift", drift * 3600.0);
        }
        let _ = writeln!(out);
    }
    if !done.to_check.is_empty() {
        let _ = writeln!(out, "\n{} to check:", output::strong(output::count(done.to_check.len(), "play")));
        let width = done.to_check.iter().map(|c| c.label.chars().count()).max().unwrap_or(1);
        for check in &done.to_check {
            let _ = writeln!(out, "  {} play {:>width$}  {}", output::check_word_out(), check.label, check.why);
        }
    }
    if let (Some(library), false) = (library, dry_run) {
        let _ = writeln!(out, "\nin {}", output::path(library));
        let named = common.library.as_ref().map(|l| format!(" --library {}", l.display())).unwrap_or_default();
        let _ = writeln!(out, "ask it: {}", output::paste(format!("downbox plays{named} \"third and short\"")));
    }
    out
}
