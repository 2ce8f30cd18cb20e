//! `downbox scan`: what is in one camera's film.

use std::time::Instant;

use serde_json::{Value, json};

use super::args::{Common, Scan};
use super::output::{self, Outcome};
use super::progress::Chain;
use super::wire;
use crate::base::{Error, FrameNo, FrameSpan, Result};
use crate::film::{Angle, Film, Play, Sighting};
use crate::jobs::{CameraScan, Config, Kept, explain, scan};

/// Runs it.
pub fn run(common: &Common, args: &Scan, chain: &Chain) -> Result<Outcome> {
    let angle = Angle::named(&args.angle);
    if angle == Angle::Unknown && args.angle != "unknown" {
        return Err(Error::refused("no such angle", &args.angle, "say --angle sideline or --angle end-zone"));
    }
    let settings = Config::load(None)?.settings;
    let kept = Kept::of_user(args.fresh);
    if let (Some(number), Some(out)) = (args.explain, &args.out) {
        let done = wire::with_tools(chain, &settings, |tools| {
            explain(tools, &args.films, angle, &settings, kept.as_ref(), (number, out))
        })?;
        chain.end();
        return super::explain::tell(common, &done, out);
    }
    let begun = Instant::now();
    let found = wire::with_tools(chain, &settings, |tools| scan(tools, &args.films, angle, &settings, kept.as_ref()))?;
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
    let plays: Vec<_> = scan.found.plays.iter().zip(1..).map(|(p, number)| play(film, p, number)).collect();
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

/// A play as documents tell it.
pub fn play(film: &Film, play: &Play, number: usize) -> Value {
    let frame = |s: Option<Sighting>| s.map(|s| s.frame);
    let time = |f: Option<FrameNo>| f.map(|f| output::rounded(film.time(f)));
    let sure = |s: Option<Sighting>| s.map(|s| output::rounded(s.confidence));
    json!({
        "number": number,
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
    let head = "shot  frames            kind        play     snap     sure   whistle  sure";
    let _ = writeln!(out, "{}", output::dim(head));
    for (i, shot) in scan.found.shots.iter().enumerate() {
        let kind = serde_json::to_value(shot.kind).ok().and_then(|v| v.as_str().map(String::from)).unwrap_or_default();
        let plays: Vec<(usize, &Play)> = (1..).zip(&scan.found.plays).filter(|(_, p)| p.shot == i).collect();
        if plays.is_empty() {
            let _ = writeln!(out, "{}", row(i + 1, shot.span, &kind, None));
        }
        for (number, play) in plays {
            // Of a take with several plays each line tells the play's own film.
            let _ = writeln!(out, "{}", row(i + 1, play.span, &kind, Some((number, play))));
        }
    }
    out
}

fn row(shot: usize, span: FrameSpan, kind: &str, play: Option<(usize, &Play)>) -> String {
    let at = |s: Option<Sighting>| match s {
        Some(s) => format!("{:>8} {:>4.0} %", clock(s.time), s.confidence * 100.0),
        None => format!("{:>8} {:>6}", "-", ""),
    };
    let number = play.map(|(number, _)| number.to_string()).unwrap_or_default();
    let (snap, whistle) = play.map_or((at(None), at(None)), |(_, p)| (at(p.snap), at(p.whistle)));
    let doubt = play.and_then(|(_, p)| p.doubt.as_ref());
    let doubt = doubt.map(|d| format!("  {}: {d}", output::check_word_out())).unwrap_or_default();
    let frames = format!("{}-{}", span.start, span.end.0.saturating_sub(1));
    format!("{shot:>4}  {frames:<16}  {kind:<10} {number:>5} {snap}  {whistle}{doubt}")
}

/// Seconds as minutes and seconds to a tenth.
pub fn clock(seconds: f64) -> String {
    let tenths = (seconds * 10.0).round() as i64;
    format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
}
