//! `downbox reel`: a teaching reel from a script.

use std::fmt::Write;
use std::path::PathBuf;
use std::time::Duration;

use clap::Args;
use serde_json::json;

use super::args::{Common, codec, profile, size};
use super::output::{self, Outcome};
use super::progress::Chain;
use super::{shelf, wire};
use crate::base::{Error, ErrorKind, IoContext, Result};
use crate::film::Codec;
use crate::jobs::{Config, StepShown, Taught, TeachAsk, check_script, stills_of_script, teach};
use crate::reel::Profile;
use crate::reel::sidecar::Kind;
use crate::report::clock;

/// What an editor needs to help with a script.
const SCHEMA: &str = include_str!("../../config/reel.schema.json");

/// How often it is looked whether the script was saved.
const AGAIN: Duration = Duration::from_millis(300);

/// `reel`.
#[derive(Debug, Args)]
pub struct Reel {
    /// The script (TOML); config/reel.example.toml shows all that it takes
    #[arg(required_unless_present = "schema", value_name = "SCRIPT")]
    pub script: Option<PathBuf>,
    /// The reel to write (MP4)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Only look whether the reel can be made, and tell what it would be
    #[arg(long, visible_alias = "dry-run", conflicts_with_all = ["stills", "watch"])]
    pub check: bool,
    /// Only draw a picture of every stop, or of the middle of a step without one, into this folder
    #[arg(long, value_name = "DIR")]
    pub stills: Option<PathBuf>,
    /// Make it again whenever the script is saved
    #[arg(long)]
    pub watch: bool,
    /// Make what can be made; what is missing is told
    #[arg(long)]
    pub keep_going: bool,
    /// What the reel is for: tape, meeting, phone [default: the script's, else the settings']
    #[arg(long, value_name = "PROFILE", value_parser = profile)]
    pub profile: Option<Profile>,
    /// What its pictures are encoded as: h264, hevc, av1 [default: the settings', h264]
    #[arg(long, value_name = "CODEC", value_parser = codec)]
    pub codec: Option<Codec>,
    /// Bring the file under this size, such as 25MB
    #[arg(long, value_name = "SIZE", value_parser = size)]
    pub fit: Option<u64>,
    /// Write beside the reel: vtt (captions), csv (its steps), html (a page with stills)
    #[arg(long, value_name = "KIND", value_delimiter = ',')]
    pub sidecar: Vec<String>,
    /// Print the JSON Schema of scripts, with which an editor helps to write one
    #[arg(long, exclusive = true)]
    pub schema: bool,
}

/// Runs it.
pub fn run(common: &Common, args: &Reel, chain: &Chain) -> Result<Outcome> {
    if args.schema {
        output::print(SCHEMA)?;
        return Ok(Outcome::Done);
    }
    let Some(script) = args.script.clone() else {
        return Err(Error::refused(
            "a teaching reel needs a script",
            "",
            "name its file: downbox reel mesh.toml --out mesh.mp4",
        ));
    };
    if args.out.is_none() && !args.check && args.stills.is_none() {
        let next = "name it with --out FILE, or only look with --check or --stills DIR";
        return Err(Error::refused("the reel needs a file to be written to", "", next));
    }
    let mut ask = TeachAsk {
        script: script.clone(),
        text: None,
        out: args.out.clone().unwrap_or_default(),
        keep_going: args.keep_going,
        profile: args.profile,
        codec: args.codec,
        fit: args.fit,
        sidecars: Kind::read(args.sidecar.iter().map(String::as_str))?,
    };
    if !args.watch {
        return once(common, args, &ask, chain);
    }
    let mut rendered: Option<String> = None;
    loop {
        // An editor that is just saving leaves half a file, or none, for a moment.
        match std::fs::read_to_string(&script) {
            Ok(text) if rendered.as_ref() != Some(&text) => {
                rendered = Some(text.clone());
                ask.text = Some(text);
                match once(common, args, &ask, chain) {
                    Ok(_) => chain.end(),
                    Err(error) if error.kind == ErrorKind::Interrupted => return Err(error),
                    Err(error) => {
                        chain.end();
                        // The next save is the next try.
                        let _ = output::fail(&error, common.json);
                    }
                }
                output::note(format!("waiting for {} to be saved; Ctrl-C ends", script.display()));
            }
            Ok(_) => {}
            Err(cause) if rendered.is_none() => return Err(cause).doing("read the script", &script),
            Err(_) => {}
        }
        if !chain.wait(AGAIN) {
            return Ok(Outcome::Done);
        }
    }
}

fn once(common: &Common, args: &Reel, ask: &TeachAsk, chain: &Chain) -> Result<Outcome> {
    let library = shelf::open(common)?;
    let config = Config::load(Some(library.folder()))?;
    if !args.check {
        shelf::go_first(library.folder(), &format!("reel {}", ask.script.display()));
    }
    let done = wire::with_tools(chain, &config.settings, |tools| match (args.check, &args.stills) {
        (true, _) => check_script(tools, &config, &library, ask),
        (false, Some(folder)) => stills_of_script(tools, &config, &library, ask, folder),
        (false, None) => teach(tools, &config, &library, ask),
    })?;
    chain.end();
    output::tell_problems(&done.problems);
    for fault in &done.missing {
        output::note(format!("{}: {}", output::check_word(), fault.line(&ask.script)));
    }
    let made = !args.check && args.stills.is_none();
    if common.json {
        output::print_json(&document(&done, ask, made))?;
    } else {
        output::print(&report(&done, made.then_some(ask)))?;
    }
    Ok(Outcome::Done)
}

fn document(done: &Taught, ask: &TeachAsk, made: bool) -> serde_json::Value {
    // A repeat is the same step once more.
    let step = |shown: &StepShown| {
        json!({
            "step": shown.step,
            "title": shown.title,
            "game": shown.rendered.game,
            "label": shown.rendered.label,
            "angle": shown.rendered.angle,
            "start": output::rounded(shown.rendered.start),
            "end": output::rounded(shown.rendered.end),
        })
    };
    let share = |v: f64| (v * 1e5).round() / 1e5;
    let marks: Vec<_> = done
        .marks
        .iter()
        .map(|m| {
            let path: Vec<_> =
                m.path.iter().map(|(frame, (x, y))| json!({"frame": frame, "x": share(*x), "y": share(*y)})).collect();
            json!({"step": m.step, "mark": m.mark, "kind": m.kind.word(), "pin": m.pin, "path": path, "lost_at": m.lost_at})
        })
        .collect();
    let missing: Vec<_> = done
        .missing
        .iter()
        .map(|fault| json!({"where": fault.place.of(&ask.script), "what": fault.what, "next": fault.next}))
        .collect();
    json!({
        "out": made.then(|| ask.out.display().to_string()),
        "title": done.title,
        "seconds": output::rounded(done.seconds),
        "steps": done.steps.iter().map(step).collect::<Vec<_>>(),
        "marks": marks,
        "missing": missing,
        "stills": done.stills.iter().map(|file| file.display().to_string()).collect::<Vec<_>>(),
        "sidecars": done.sidecars.iter().map(|file| file.display().to_string()).collect::<Vec<_>>(),
        "rendered": done.rendered,
        "problems": done.problems,
    })
}

fn report(done: &Taught, made: Option<&TeachAsk>) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}", output::strong(&done.title));
    for shown in &done.steps {
        let r = &shown.rendered;
        let what = match shown.step {
            Some(step) => format!("step {}: {} ({} play {} from {})", step + 1, shown.title, r.game, r.label, r.angle),
            None => format!("card: {}", shown.title),
        };
        let _ = writeln!(out, "  {:>7}  {what}, {:.1} s", clock(r.start), r.end - r.start);
    }
    for file in &done.stills {
        let _ = writeln!(out, "  {}", output::path(file));
    }
    match (made, done.stills.len()) {
        (Some(ask), _) => {
            let _ = writeln!(out, "{} long, in {}", clock(done.seconds), output::path(&ask.out));
            for file in &done.sidecars {
                let _ = writeln!(out, "beside it {}", output::path(file));
            }
        }
        (None, 0) => {
            let _ = writeln!(out, "{} long; nothing was written", clock(done.seconds));
        }
        (None, stills) => {
            let _ = writeln!(out, "{}", output::count(stills, "still"));
        }
    }
    out
}
