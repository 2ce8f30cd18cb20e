//! `downbox plays`: the plays a phrase means.

use serde_json::{Value, json};

use super::args::{Common, Plays};
use super::output::{self, Outcome};
use super::plays_csv::csv;
use super::{plays_table, shelf};
use crate::base::{Error, Result};
use crate::filter;
use crate::jobs::{Config, Key};
use crate::library::{ClipFound, Library, PlayFound};

/// Runs it.
pub fn run(common: &Common, args: &Plays) -> Result<Outcome> {
    if args.grammar {
        match common.json {
            true => output::print_json(&json!({"grammar": filter::GRAMMAR}))?,
            false => output::print(filter::GRAMMAR)?,
        }
        return Ok(Outcome::Done);
    }
    let library = shelf::open(common)?;
    let config = Config::load(Some(library.folder()))?;
    let phrase = args.phrase.join(" ");
    let words = config.words(&library)?;
    let key = |name: &Option<String>| name.as_ref().map(|n| Key::named(n, &words.own)).transpose();
    let (sort, group) = (key(&args.sort)?, key(&args.group)?);
    let filter = filter::parse(&phrase, &words)?;
    let mut found = library.plays(&filter)?;
    if let Some(sort) = &sort {
        sort.sort(&mut found, args.reverse);
    }
    let groups = group.as_ref().map(|key| key.groups(&found));
    // Before the one document that is printed, which would be a second one beside that of the error.
    if args.open && common.json && !found.is_empty() {
        open(&library, &found)?;
    }
    if common.json {
        let plays: Vec<_> = found.iter().map(play).collect();
        let reads = filter.to_string();
        let mut document = json!({"phrase": phrase, "reads": reads, "count": found.len(), "plays": plays});
        if let Some(groups) = &groups {
            let list = groups.iter().map(|(value, plays)| {
                let labels: Vec<_> =
                    plays.iter().map(|p| json!({"game": p.record.game, "label": p.record.label})).collect();
                json!({"value": value, "count": plays.len(), "plays": labels})
            });
            document["groups"] = list.collect::<Vec<_>>().into();
        }
        output::print_json(&document)?;
    } else if args.csv {
        output::print(&csv(&found))?;
    } else {
        let sheeted = library.games()?.into_iter().filter(|g| g.sheet.is_some()).map(|g| g.name).collect();
        let answer = plays_table::Answer {
            reads: &filter.to_string(),
            found: &found,
            sheeted: &sheeted,
            shares: config.situations.success,
            sort: sort.as_ref(),
            groups: group.as_ref().zip(groups.as_ref()),
        };
        output::print(&answer.table())?;
    }
    if found.is_empty() {
        tell_none(library.games()?.is_empty());
    } else if args.open && !common.json {
        open(&library, &found)?;
    }
    Ok(Outcome::of(found.len()))
}

/// The program by which a desktop opens a file with whatever is set for its kind.
const PLAYER: &str = if cfg!(target_os = "macos") { "open" } else { "xdg-open" };

/// Hands the first clip to the system's player.
fn open(library: &Library, found: &[PlayFound]) -> Result<()> {
    let Some(clip) = found.iter().flat_map(|play| &play.clips).next() else {
        let next = "cut the game again: downbox cut --game NAME";
        return Err(Error::refused("none of these plays has a clip to open", "", next));
    };
    let path = library.at(&clip.path);
    if !path.is_file() {
        let next = "cut the game again: downbox cut --game NAME";
        return Err(Error::refused("the clip to open is not there", path.display(), next));
    }
    let quiet = std::process::Stdio::null;
    let done = std::process::Command::new(PLAYER).arg(&path).stdout(quiet()).stderr(quiet()).status();
    let next = format!("open it by hand: {}", output::path(&path));
    match done {
        Ok(status) if status.success() => Ok(()),
        Ok(status) => Err(Error::failed(
            format!("the system's player did not take the clip ({PLAYER}: {status})"),
            path.display(),
            next,
        )),
        Err(cause) if cause.kind() == std::io::ErrorKind::NotFound => {
            let what = format!("there is no program here that opens files with the system's player ({PLAYER})");
            Err(Error::refused(what, path.display(), next))
        }
        Err(cause) => Err(Error::failed(format!("cannot start {PLAYER}"), path.display(), next).because(cause)),
    }
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
