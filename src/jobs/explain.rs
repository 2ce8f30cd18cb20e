//! One play's evidence as a picture.

use std::path::{Path, PathBuf};

use super::kept::Kept;
use super::scan::scan_with_series;
use super::{Settings, Tools};
use crate::base::{Error, FrameNo, FrameSpan, Result, go_on};
use crate::film::{Angle, Evidence, Film, Play, Series, Sighting};
use crate::plays;
use crate::report::{self, Explain, Frame, Heard, Mark, TilePicture, clock};

/// The axis goes beyond the play's film by this share of it, but by no more than so many seconds.
const WIDER: f64 = 0.06;
const WIDEST: f64 = 2.0;
/// Frames around the snap: seconds before and after it.
const BEFORE: f64 = 0.5;
const AFTER: f64 = 0.7;
/// Where set was not found the first frame is from so long before the snap.
const LEAD_IN: f64 = 3.0;
/// How many frames of a play without a snap.
const EVENLY: u64 = 6;

/// A play's evidence, drawn.
#[derive(Debug)]
pub struct Explained {
    /// The film; its problems hold also what the decoder met.
    pub film: Film,
    /// The play.
    pub play: Play,
    /// Its number in film order, from 1.
    pub number: usize,
    /// How many plays the film has.
    pub of: usize,
    /// All that was drawn.
    pub drawing: Explain,
}

/// Scans a film and draws the evidence of its play of that `number` (in film order, from 1) into `out`.
///
/// # Errors
/// Those of [`super::scan`]; no play of that number; a name that is no PNG's, or of a file that is there and is no such
/// picture: refused before anything is measured.
pub fn explain(
    tools: Tools<'_>,
    files: &[PathBuf],
    angle: Angle,
    settings: &Settings,
    kept: Option<&Kept>,
    (number, out): (usize, &Path),
) -> Result<Explained> {
    report::check_picture_name(out)?;
    let (scan, series) = scan_with_series(tools, files, angle, settings, kept)?;
    let of = scan.found.plays.len();
    let Some(play) = number.checked_sub(1).and_then(|at| scan.found.plays.get(at)).cloned() else {
        let what = format!("the film has no play {number}");
        let place = files.first().map(|f| f.display().to_string()).unwrap_or_default();
        return Err(Error::refused(
            what,
            place,
            match of {
                0 => "no play was found in it; see what is in it with: downbox scan FILM".to_string(),
                1 => "it has one play: say --explain 1".to_string(),
                _ => format!("plays are counted from 1 to {of} in film order; downbox scan FILM lists them"),
            },
        ));
    };
    let film = scan.film;
    let (shown, window) = window(&film, play.span);
    let curves = plays::curves(&series, &film, &scan.found.shots, shown);
    let drawing = Explain {
        title: format!("Play {number} of {of}"),
        film: film_name(&film, play.span.start),
        found_by: found_by(&play).into(),
        doubt: play.doubt.clone(),
        window,
        span: (film.time(play.span.start), film.time(play.span.end)),
        set: play.set.map(|frame| Mark { time: film.time(frame), words: "set".into() }),
        snap: play.snap.map(|snap| mark("snap", snap)),
        whistle: play.whistle.map(|end| mark(end_word(&play), end)),
        frames: frames(tools, &film, &moments(&film, &play))?,
        pan: curves.pan,
        men: curves.men,
        clear: curves.clear,
        whistles: heard(&series, window),
        sound: series.sound,
        unreadable: curves.unreadable,
    };
    report::write_picture(out, &drawing.png()?)?;
    Ok(Explained { film, play, number, of, drawing })
}

/// The play's film and a little around it: frames, and film seconds.
fn window(film: &Film, span: FrameSpan) -> (FrameSpan, (f64, f64)) {
    let (from, to) = (film.time(span.start), film.time(span.end));
    let wider = ((to - from) * WIDER).min(WIDEST);
    let (from, to) = ((from - wider).max(0.0), (to + wider).min(film.seconds()));
    (FrameSpan { start: film.frame_at(from), end: FrameNo(film.frame_at(to).0 + 1) }, (from, to))
}

/// The file's name, of several the one in which the play begins.
fn film_name(film: &Film, start: FrameNo) -> String {
    let part = film.parts.get(film.place(start).part);
    part.and_then(|p| p.path.file_name()).map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

fn found_by(play: &Play) -> &'static str {
    match play.by {
        Evidence::Picture => "found by motion alone",
        Evidence::PictureAndSound => "found by motion and a whistle",
        Evidence::Nothing => "no snap was found",
    }
}

fn end_word(play: &Play) -> &'static str {
    // The play is dead a moment before the whistle sounds: the pole is not the tone.
    if play.by == Evidence::PictureAndSound { "end, by whistle" } else { "end, by motion" }
}

fn mark(what: &str, at: Sighting) -> Mark {
    Mark { time: at.time, words: format!("{what} {}, {:.0} % sure", clock(at.time), at.confidence * 100.0) }
}

fn heard(series: &Series, (from, to): (f64, f64)) -> Vec<Heard> {
    let within = series.whistles.iter().filter(|w| (from..=to).contains(&w.time));
    within.map(|w| Heard { time: w.time, length: w.length, confidence: f64::from(w.confidence) }).collect()
}

/// The frames to show, named, in order and none twice.
fn moments(film: &Film, play: &Play) -> Vec<(String, FrameNo)> {
    let last = FrameNo(play.span.end.0.saturating_sub(1).max(play.span.start.0));
    let Some(snap) = play.snap else {
        let step = |k: u64| FrameNo(play.span.start.0 + (last.0 - play.span.start.0) * k / (EVENLY - 1));
        let mut all: Vec<(String, FrameNo)> = (0..EVENLY).map(|k| (String::new(), step(k))).collect();
        all.dedup_by_key(|(_, frame)| *frame);
        return all;
    };
    let at = |time: f64| film.frame_at(time.max(0.0)).clamp(play.span.start, last);
    let (end_name, end) = match play.whistle {
        Some(end) => ("end", end.frame),
        None => ("last frame", last),
    };
    let first = match play.set {
        Some(set) => ("set", set),
        None => ("lead-in", at(snap.time - LEAD_IN)),
    };
    // Where two moments fall on one frame the one that says more is named.
    let mut named = vec![("snap", snap.frame), (end_name, end), first];
    named.push(("before the snap", at(snap.time - BEFORE)));
    named.push(("just after", at(snap.time + AFTER)));
    named.push(("mid-play", at((snap.time + film.time(end)) / 2.0)));
    let mut all: Vec<(String, FrameNo)> = Vec::new();
    for (name, frame) in named {
        if !all.iter().any(|(_, other)| *other == frame) {
            all.push((name.to_string(), frame));
        }
    }
    all.sort_by_key(|(_, frame)| *frame);
    all
}

/// Decodes them; one that cannot be is left without a picture.
fn frames(tools: Tools<'_>, film: &Film, moments: &[(String, FrameNo)]) -> Result<Vec<Frame>> {
    tools.progress.stage("frames", moments.len() as u64);
    let mut source = tools.reader.shown(film, 0)?;
    let mut out = Vec::new();
    for (name, frame) in moments {
        go_on(tools.progress, "looking for the play's frames; no picture was written")?;
        let shown = film.parts.get(film.place(*frame).part).map_or((16, 9), |part| (part.width, part.height));
        let seen = source.seek(*frame).and_then(|()| source.next_frame());
        let picture = seen.ok().flatten().map(|view| TilePicture { picture: view.to_picture(), shown });
        out.push(Frame { name: name.clone(), frame: *frame, time: film.time(*frame), picture });
        tools.progress.at(out.len() as u64);
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Rate;
    use crate::film::scripted;

    fn film() -> Film {
        Film { parts: vec![scripted::part("a.mp4", 900, Rate { num: 30, den: 1 })], problems: vec![] }
    }

    fn play(snap: Option<f64>, end: Option<f64>, set: Option<u64>) -> Play {
        let at = |time: f64| Sighting { frame: film().frame_at(time), time, confidence: 0.9 };
        Play {
            shot: 0,
            span: FrameSpan::of(300, 720),
            set: set.map(FrameNo),
            snap: snap.map(at),
            whistle: end.map(at),
            by: Evidence::PictureAndSound,
            doubt: None,
        }
    }

    fn named(play: &Play) -> Vec<(String, u64)> {
        moments(&film(), play).into_iter().map(|(name, frame)| (name, frame.0)).collect()
    }

    #[test]
    fn frames_are_those_that_tell_and_lie_in_the_play() {
        let names: Vec<String> = named(&play(Some(15.0), Some(20.0), Some(405))).into_iter().map(|m| m.0).collect();
        assert_eq!(names, ["set", "before the snap", "snap", "just after", "mid-play", "end"]);
        // The snap is the shot's first frame; a play over at once; no end; no snap at all.
        for odd in [
            play(Some(10.0), Some(15.0), None),
            play(Some(15.0), Some(15.1), Some(440)),
            play(Some(23.9), None, Some(600)),
            play(None, None, None),
        ] {
            let frames: Vec<u64> = named(&odd).into_iter().map(|m| m.1).collect();
            assert!(frames.len() >= 3 && frames.len() <= 6 && frames.windows(2).all(|w| w[0] < w[1]), "{frames:?}");
            assert!(frames.iter().all(|f| odd.span.holds(FrameNo(*f))), "{frames:?}");
            if let Some(snap) = odd.snap {
                assert!(named(&odd).contains(&("snap".to_string(), snap.frame.0)));
            }
        }
    }

    #[test]
    fn the_window_is_a_little_wider_than_the_play_and_within_the_film() {
        let (frames, (from, to)) = window(&film(), FrameSpan::of(300, 720));
        assert!((from - 9.16).abs() < 0.01 && (to - 24.84).abs() < 0.01, "{from} {to}");
        assert!(frames.start.0 <= 275 && frames.end.0 >= 745);
        let (_, whole) = window(&film(), FrameSpan::of(0, 900));
        assert_eq!(whole, (0.0, 30.0));
    }
}
