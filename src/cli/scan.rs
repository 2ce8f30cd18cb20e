//! `downbox scan`: what is in one camera's film.

use std::time::Instant;

use serde_json::{Value, json};

use super::args::{Common, Scan};
use super::output::{self, Outcome};
use super::progress::Chain;
use super::wire;
use crate::base::{Error, FrameNo, Result};
use crate::film::{Angle, Film, Play, Sighting};
use crate::jobs::{CameraScan, Config, scan};

/// Runs it.
pub fn run(common: &Common, args: &Scan, chain: &Chain) -> Result<Outcome> {
    let angle = Angle::named(&args.angle);
    if angle == Angle::Unknown && args.angle != "unknown" {
        return Err(Error::refused("no such angle", &args.angle, "say --angle sideline or --angle end-zone"));
    }
    let settings = Config::load(None)?.settings;
    let begun = Instant::now();
    let found = wire::with_tools(chain, &settings, |tools| scan(tools, &args.films, angle, &settings))?;
    let seconds = begun.elapsed().as_secs_f64();
    chain.end();
    output::tell_problems(&found.film.problems);
    if common.json {
        output::print_json(&document(&found, seconds))?;
    } else {
        output::print(&table(&found))?;
    }
    Ok(Outcome::of(found.found.plays.len()))
}

fn document(scan: &CameraScan, seconds: f64) -> Value {
    let film = &scan.film;
    let parts: Vec<_> =
        film.parts.iter().map(|p| json!({"path": p.path.display().to_string(), "frames": p.frames()})).collect();
    let plays: Vec<_> = scan.found.plays.iter().map(|p| play(film, p)).collect();
    let problems: Vec<_> = film.problems.iter().map(|p| json!(p)).collect();
    json!({"films": [{
        "parts": parts,
        "frames": film.frames(),
        "frame_rate": film.rate().to_string(),
        "variable": film.variable(),
        "duration": output::rounded(film.seconds()),
        "shots": scan.found.shots,
        "plays": plays,
        "problems": problems,
        "speed": {"seconds": output::rounded(seconds), "film_seconds": output::rounded(film.seconds())},
    }]})
}

fn play(film: &Film, play: &Play) -> Value {
    let frame = |s: Option<Sighting>| s.map(|s| s.frame);
    let time = |f: Option<FrameNo>| f.map(|f| output::rounded(film.time(f)));
    let sure = |s: Option<Sighting>| s.map(|s| output::rounded(s.confidence));
    json!({
        "shot": play.shot,
        "start": play.span.start,
        "end": play.span.end,
        "set": play.set,
        "snap": frame(play.snap),
        "snap_time": time(frame(play.snap)),
        "snap_confidence": sure(play.snap),
        "whistle": frame(play.whistle),
        "whistle_time": time(frame(play.whistle)),
        "whistle_confidence": sure(play.whistle),
        "by": play.by,
        "doubt": play.doubt,
    })
}

fn table(scan: &CameraScan) -> String {
    use std::fmt::Write;
    let film = &scan.film;
    let mut out = String::new();
    let _ = writeln!(
        out,
        "{} frames in {}, {} a second{}, {}",
        film.frames(),
        output::count(film.parts.len(), "file"),
        film.rate(),
        if film.variable() { " (varying)" } else { "" },
        clock(film.seconds()),
    );
    let _ = writeln!(
        out,
        "{}, {}\n",
        output::strong(output::count(scan.found.shots.len(), "shot")),
        output::strong(output::count(scan.found.plays.len(), "play"))
    );
    let _ = writeln!(out, "{}", output::dim("shot  frames            kind           snap     sure   whistle  sure"));
    for (i, shot) in scan.found.shots.iter().enumerate() {
        let play = scan.found.plays.iter().find(|p| p.shot == i);
        let at = |s: Option<Sighting>| match s {
            Some(s) => format!("{:>8} {:>4.0} %", clock(s.time), s.confidence * 100.0),
            None => format!("{:>8} {:>6}", "-", ""),
        };
        let kind = serde_json::to_value(shot.kind).ok().and_then(|v| v.as_str().map(String::from)).unwrap_or_default();
        let (snap, whistle) = play.map_or((at(None), at(None)), |p| (at(p.snap), at(p.whistle)));
        let doubt = play
            .and_then(|p| p.doubt.as_ref())
            .map(|d| format!("  {}: {d}", output::check_word_out()))
            .unwrap_or_default();
        let frames = format!("{}-{}", shot.span.start, shot.span.end.0.saturating_sub(1));
        let _ = writeln!(out, "{:>4}  {frames:<16}  {kind:<10} {snap}  {whistle}{doubt}", i + 1);
    }
    out
}

/// Seconds as minutes and seconds to a tenth.
pub fn clock(seconds: f64) -> String {
    let tenths = (seconds * 10.0).round() as i64;
    format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
}
