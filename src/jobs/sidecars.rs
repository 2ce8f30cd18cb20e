//! Sidecars of a cutup: looked at before anything is rendered, written when the reel is whole.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::Tools;
use crate::base::{Error, FrameNo, FrameSpan, IoContext, PendingFile, Problem, Rate, Result, Silent, go_on};
use crate::film::{Film, FrameSource};
use crate::paint::{self, paint as color};
use crate::reel::sidecar::{Entry, Kind, Listing, STILL, Source, is_own};
use crate::reel::{ReelPlan, RenderedSegment, Segment, View};

/// Rates nearer to one another than this share are one rate, measured: 30 and 30000/1001, the nearest two that film has,
/// differ by a thousandth.
const SAME_RATE: f64 = 2e-4;

/// JPEG quality of a still: the strip's words stay clean, 10 to 20 KB a still [practice].
const QUALITY: u8 = 80;

/// The files beside `out`.
///
/// # Errors
/// A file of such a name is there and was not written beside a reel: it is not to be lost.
pub(super) fn names(kinds: &[Kind], out: &Path) -> Result<Vec<PathBuf>> {
    let files: Vec<PathBuf> = kinds.iter().map(|kind| kind.beside(out)).collect();
    for file in &files {
        if file.symlink_metadata().is_ok() && !is_own(file)? {
            let what =
                "cannot write a sidecar: something of that name is there that downbox did not write beside a reel";
            return Err(Error::refused(what, file.display(), "give another name with --out, or move that file away"));
        }
    }
    Ok(files)
}

/// Writes them beside the reel, which is whole. Gives what could not be shown.
///
/// # Errors
/// A file that cannot be written; being stopped. The reel stays.
pub(super) fn write(tools: Tools<'_>, kinds: &[Kind], listing: &Listing, out: &Path) -> Result<Vec<Problem>> {
    let mut problems = Vec::new();
    let stills = if kinds.contains(&Kind::Html) { stills(tools, listing, out, &mut problems)? } else { Vec::new() };
    for kind in Kind::ALL {
        let file = kind.beside(out);
        if kinds.contains(&kind) {
            let text = kind.text(listing, &stills)?;
            let pending = PendingFile::new(&file)?;
            std::fs::write(pending.path(), text).doing("write a sidecar (the reel itself is whole)", &file)?;
            pending.commit()?;
        } else if is_own(&file).unwrap_or(false) {
            let what = format!("{} tells of an earlier reel of that name", file.display());
            tools.progress.warn(&format!("{what}: delete it, or have it written anew with --sidecar {kind}"));
        }
    }
    Ok(problems)
}

/// The reel as it was rendered, in words. `sources`: the film behind each source that the plan names.
pub(super) fn listing(
    plan: &ReelPlan,
    sources: &HashMap<String, Arc<Film>>,
    rendered: &[RenderedSegment],
    out: &Path,
) -> Listing {
    let rate = plan.canvas.rate;
    let frame = |seconds: f64| (seconds * rate.hz()).round().max(0.0) as u64;
    // What was left out stands in the plan and not among the rendered; the order is one.
    let mut next = 0;
    let mut entries = Vec::new();
    for shown in rendered {
        let mut entry = Entry {
            game: shown.game.clone(),
            label: shown.label.clone(),
            angle: shown.angle.clone(),
            frames: FrameSpan::of(frame(shown.start), frame(shown.end)),
            ..Entry::default()
        };
        let is_it = |s: &Segment| s.game == shown.game && s.label == shown.label && s.angle == shown.angle;
        if let Some(at) = plan.segments.iter().skip(next).position(is_it)
            && let Some(segment) = plan.segments.get(next + at)
        {
            next += at + 1;
            entry.title.clone_from(&segment.title);
            entry.text = segment.strip.clone().unwrap_or_default();
            if let Some(view) = segment.views.first()
                && let Some(film) = sources.get(&view.source)
            {
                entry.source = source(view, film, rate);
                let seconds = match &segment.teaching {
                    Some(teaching) => teaching.snap,
                    None => view.anchor.map(|snap| snap - film.time(view.span.start)),
                };
                let snap = seconds.filter(|s| *s >= 0.0).map(|s| FrameNo(entry.frames.start.0 + frame(s)));
                entry.snap = snap.filter(|snap| entry.frames.holds(*snap));
            }
        }
        entries.push(entry);
    }
    let reel = out.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    Listing { title: plan.title.clone(), reel, rate, entries }
}

/// Where a segment is from: the library's clip by its path there; of a film elsewhere the file's name alone.
fn source(view: &View, film: &Film, reel: Rate) -> Option<Source> {
    let place = film.place(view.span.start);
    let part = film.parts.get(place.part)?;
    let rate = if (part.rate.hz() / reel.hz() - 1.0).abs() < SAME_RATE { reel } else { part.rate };
    // Where the time between frames varies, a frame's number says nothing: its time does.
    let start = if part.variable { (part.seconds_at(place.frame) * rate.hz()).round() as u64 } else { place.frame };
    let path = Path::new(&view.source);
    let file = match path.file_name() {
        Some(name) if path.is_absolute() => name.to_string_lossy().into_owned(),
        _ => view.source.clone(),
    };
    Some(Source { file, start, rate })
}

/// A JPEG of each entry: the reel's own picture at the snap, else in the middle. One that fails is left out and told.
fn stills(
    tools: Tools<'_>,
    listing: &Listing,
    out: &Path,
    problems: &mut Vec<Problem>,
) -> Result<Vec<Option<Vec<u8>>>> {
    let film = tools.reader.read(&[out.to_path_buf()], &Silent)?;
    let shape = film.parts.first().map_or(STILL, |part| (part.width, part.height));
    let mut frames = tools.reader.shown(&film, 0)?;
    tools.progress.stage("stills", listing.entries.len() as u64);
    let mut stills = Vec::new();
    for (index, entry) in listing.entries.iter().enumerate() {
        go_on(tools.progress, "drawing the page; the reel is whole")?;
        let at = entry.snap.unwrap_or(FrameNo(entry.frames.start.0 + entry.frames.len() / 2));
        let still = still(frames.as_mut(), at, shape);
        if let Err(error) = &still {
            problems.push(Problem::new(out.display().to_string(), format!("no still of {}: {error}", entry.title)));
        }
        stills.push(still.ok().flatten());
        tools.progress.at(index as u64 + 1);
    }
    Ok(stills)
}

/// One JPEG of a film whose picture is shown in that shape.
pub(super) fn still(frames: &mut dyn FrameSource, at: FrameNo, shape: (u32, u32)) -> Result<Option<Vec<u8>>> {
    frames.seek(at)?;
    let Some(view) = frames.next_frame()? else { return Ok(None) };
    let (width, height) = (f64::from(shape.0.max(1)), f64::from(shape.1.max(1)));
    let fit = (f64::from(STILL.0) / width).min(f64::from(STILL.1) / height).min(1.0);
    let (width, height) = (((width * fit).round() as u32).max(1), ((height * fit).round() as u32).max(1));
    let mut canvas = paint::Canvas::new(width, height, color::INK)?;
    canvas.picture(&view, shape, [0, 0, width, height]);
    canvas.jpeg(QUALITY).map(Some)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::film::scripted;
    use crate::reel::{Canvas, Layout, chapter_title};

    const NTSC: Rate = Rate { num: 30_000, den: 1001 };

    fn segment(label: &str, source: &str, (from, to): (u64, u64), snap: Option<f64>) -> Segment {
        Segment {
            game: "Badgers".into(),
            label: label.into(),
            angle: "sideline".into(),
            views: vec![View {
                source: source.into(),
                content: source.into(),
                span: FrameSpan::of(from, to),
                anchor: snap,
            }],
            layout: Layout::Single,
            strip: None,
            strip_for: None,
            card: None,
            teaching: None,
            title: chapter_title(&paint::StripText::default(), label, "sideline"),
        }
    }

    #[test]
    fn what_was_rendered_is_told_with_its_source_and_snap() {
        let film = |rate| Arc::new(Film { parts: vec![scripted::part("side.mp4", 900, rate)], problems: vec![] });
        let mut long = (*film(NTSC)).clone();
        long.parts.push(scripted::part("/home/pat/film/side-2.mp4", 900, NTSC));
        // A measured rate, as a container without one gives it.
        let measured = Rate { num: 29_970_100, den: 1_000_000 };
        let sources: HashMap<String, Arc<Film>> = [
            ("clips/B/sideline/001.mp4".to_string(), film(measured)),
            ("/home/pat/film/side-2.mp4".to_string(), Arc::new(long)),
            ("clips/B/sideline/004.mp4".to_string(), film(Rate { num: 60, den: 1 })),
        ]
        .into();
        let plan = ReelPlan {
            title: "run".into(),
            canvas: Canvas { width: 640, height: 360, rate: NTSC },
            segments: vec![
                segment("1", "clips/B/sideline/001.mp4", (10, 110), Some(55.0 / measured.hz())),
                segment("2", "clips/B/sideline/002.mp4", (0, 100), None),
                segment("3", "/home/pat/film/side-2.mp4", (1000, 1050), Some(990.0 / NTSC.hz())),
                segment("4", "clips/B/sideline/004.mp4", (60, 180), Some(2.0)),
            ],
            mute: false,
            voice: Vec::new(),
        };
        let at = |frame: u64| frame as f64 / NTSC.hz();
        // The second could not be shown.
        let rendered: Vec<RenderedSegment> = [("1", 0, 100), ("3", 100, 150), ("4", 150, 210)]
            .into_iter()
            .map(|(label, from, to)| RenderedSegment {
                game: "Badgers".into(),
                label: label.into(),
                angle: "sideline".into(),
                start: at(from),
                end: at(to),
            })
            .collect();
        let listing = listing(&plan, &sources, &rendered, Path::new("/home/pat/out/run.mp4"));
        assert_eq!((listing.reel.as_str(), listing.entries.len()), ("run.mp4", 3));
        let told: Vec<(&str, FrameSpan, Option<u64>)> =
            listing.entries.iter().map(|e| (e.title.as_str(), e.frames, e.snap.map(|s| s.0))).collect();
        assert_eq!(
            told,
            [
                ("play 1, sideline", FrameSpan::of(0, 100), Some(45)),
                // The snap lies before what is shown.
                ("play 3, sideline", FrameSpan::of(100, 150), None),
                // A second after its start.
                ("play 4, sideline", FrameSpan::of(150, 210), Some(180)),
            ]
        );
        let from: Vec<Source> = listing.entries.iter().filter_map(|e| e.source.clone()).collect();
        let source = |file: &str, start, rate| Source { file: file.into(), start, rate };
        assert_eq!(
            from,
            [
                source("clips/B/sideline/001.mp4", 10, NTSC),
                source("side-2.mp4", 100, NTSC),
                source("clips/B/sideline/004.mp4", 60, Rate { num: 60, den: 1 }),
            ]
        );
    }

    #[test]
    fn a_file_of_somebody_else_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let out = folder.path().join("third.mp4");
        assert_eq!(
            names(&[Kind::Vtt, Kind::Csv], &out).unwrap(),
            [folder.path().join("third.vtt"), folder.path().join("third.csv")]
        );
        std::fs::write(folder.path().join("third.csv"), "down,distance\n3,2\n").unwrap();
        std::fs::create_dir(folder.path().join("third.html")).unwrap();
        assert!(names(&[Kind::Vtt], &out).is_ok());
        for kind in [Kind::Csv, Kind::Html] {
            let error = names(&[kind], &out).unwrap_err();
            assert!(error.place.ends_with(&format!("third.{kind}")) && error.next.contains("--out"), "{error}");
        }
    }
}
