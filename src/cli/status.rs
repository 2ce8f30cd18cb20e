//! `downbox status`: what the night shift did, does and waits for.

use std::fmt::Write;
use std::io::IsTerminal;
use std::path::Path;
use std::time::Duration;

use serde_json::json;

use super::args::{Common, StatusArgs};
use super::output::{self, Outcome};
use super::progress::Chain;
use super::shelf;
use crate::base::Result;
use crate::daemon::{Doing, GameStatus, Standing, Status};

/// How often it is shown anew.
const AGAIN: Duration = Duration::from_secs(2);

/// So many files that were set aside are named for a game; the report has all.
const MOST_ASIDE: usize = 5;

/// Runs it.
pub fn run(common: &Common, args: &StatusArgs, chain: &Chain) -> Result<Outcome> {
    let folder = shelf::named(common)?;
    let mut shown = String::new();
    loop {
        let status = Status::read(&folder);
        let alive = Status::is_alive(&folder);
        let text = match (&status, common.json) {
            (Some(status), true) => {
                let document = document(status, alive);
                if args.follow { format!("{document}\n") } else { format!("{document:#}\n") }
            }
            (None, true) => format!("{:#}\n", json!({"state": "never", "games": []})),
            (Some(status), false) => words(status, alive, &folder),
            (None, false) => String::new(),
        };
        if text != shown {
            let again = match (shown.is_empty() || common.json, std::io::stdout().is_terminal()) {
                (true, _) => "",
                // The screen is cleared (ECMA-48: cursor home, erase).
                (false, true) => "\x1b[H\x1b[2J",
                (false, false) => "\n",
            };
            output::print(&format!("{again}{text}"))?;
            shown = text;
        }
        if !args.follow {
            if status.is_none() {
                output::tell_nothing("no night shift has worked in this library yet", "start it with: downbox watch");
            }
            return Ok(Outcome::of(usize::from(status.is_some())));
        }
        if !chain.wait(AGAIN) {
            return Ok(Outcome::Done);
        }
    }
}

/// One word for how the night stands.
fn state(status: &Status, alive: bool) -> &'static str {
    match (alive, status.ended.is_empty()) {
        (false, false) => "stopped",
        (false, true) => "gone",
        (true, _) if status.doing.is_some() => "working",
        (true, _) if !status.paused.is_empty() => "paused",
        (true, _) => "waiting",
    }
}

fn document(status: &Status, alive: bool) -> serde_json::Value {
    let mut document = serde_json::to_value(status).unwrap_or_default();
    document["state"] = json!(state(status, alive));
    if !alive {
        document["doing"] = json!(null);
    }
    document
}

fn words(status: &Status, alive: bool, library: &Path) -> String {
    let mut out = String::new();
    let _ = match state(status, alive) {
        "stopped" => writeln!(out, "not running: {} ({})", status.ended, status.seen),
        "gone" => writeln!(
            out,
            "{}: not running: it went away without a word, last seen {}; start it again with: downbox watch",
            output::check_word_out(),
            status.seen
        ),
        "paused" => writeln!(out, "paused: {}", status.paused),
        "working" => writeln!(out, "working, since {}", status.since),
        _ => writeln!(out, "waiting for film, since {}", status.since),
    };
    if let (Some(doing), true) = (&status.doing, alive) {
        let _ = writeln!(out, "{}", doing_words(doing));
    }
    if let (Some(expected), true) = (&status.expected, alive) {
        let _ = writeln!(out, "all is expected to be done {expected}");
    }
    for warning in &status.warnings {
        let _ = writeln!(out, "{}: {warning}", output::check_word_out());
    }
    let groups: [(&str, &[Standing]); 4] = [
        ("doing", &[Standing::Doing]),
        ("waiting", &[Standing::Queued, Standing::Settling, Standing::Waiting, Standing::Away]),
        ("failed", &[Standing::Failed, Standing::NoFilm]),
        ("done", &[Standing::Done]),
    ];
    for (heading, standings) in groups {
        let games: Vec<&GameStatus> = status.games.iter().filter(|game| standings.contains(&game.standing)).collect();
        if games.is_empty() {
            continue;
        }
        let heading = if heading == "doing" && !alive { "was being done" } else { heading };
        let _ = writeln!(out, "\n{} ({})", output::strong(heading), games.len());
        for game in games {
            game_words(&mut out, game, library);
        }
    }
    if status.untaken > 0 {
        let _ = writeln!(
            out,
            "\n{}",
            output::dim(format!("{} in the inbox are of no game", output::count(status.untaken, "file")))
        );
        for (file, why) in &status.untaken_files {
            let _ = writeln!(out, "  {}", output::dim(format!("{file}: {why}")));
        }
    }
    out
}

fn doing_words(doing: &Doing) -> String {
    let mut words = format!("{}: {}", output::strong(&doing.game), doing.words);
    if let Some(share) = doing.share {
        let _ = write!(words, ", {:.0} %", share * 100.0);
    }
    if let Some(rate) = doing.rate {
        let _ = if rate < 10.0 {
            write!(words, ", {rate:.1} x real time")
        } else {
            write!(words, ", {rate:.0} x real time")
        };
    }
    if let Some(left) = doing.left_seconds {
        let minutes = (left / 60.0).ceil();
        let _ =
            if left < 60.0 { write!(words, ", {left:.0} s left") } else { write!(words, ", {minutes:.0} min left") };
    }
    words
}

fn game_words(out: &mut String, game: &GameStatus, library: &Path) {
    let words = if game.words.is_empty() { String::new() } else { format!(": {}", game.words) };
    let _ = writeln!(out, "  {}{words}", game.folder);
    if !game.next.is_empty() {
        let _ = writeln!(out, "    next: {}", game.next);
    }
    // A failed game's reason is the first of these.
    if game.standing != Standing::Failed {
        for [what, why, next] in game.aside.iter().take(MOST_ASIDE) {
            let next = if next.is_empty() { String::new() } else { format!("; next: {next}") };
            let _ = writeln!(out, "    {}: {what}: {why}{next}", output::check_word_out());
        }
    }
    if game.aside.len() > MOST_ASIDE && game.standing != Standing::Failed {
        let _ = writeln!(out, "    and {} more set aside", game.aside.len() - MOST_ASIDE);
    }
    if let (Some(report), true) = (&game.report, matches!(game.standing, Standing::Done | Standing::Failed)) {
        let _ = writeln!(out, "    report: {}", output::paste(output::path(&library.join(report))));
    }
}
