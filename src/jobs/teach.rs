//! A teaching reel: what a coach's script asks for, from the library's plays to one file.

mod pins;
mod step;

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::cutup::{CutupAsk, check_out};
use super::rendering::{of_size, opened, profile, segments, studio};
use super::{Config, Tools, sidecars};
use crate::base::{Error, FrameNo, IoContext, Problem, Result};
use crate::film::{Codec, Film};
use crate::library::Library;
use crate::paint::{self, CardText, Design, MarkKind};
use crate::reel::script::{Fault, Place, Script, SoundWay, VoiceStart};
use crate::reel::sidecar::Kind;
use crate::reel::{self, Narration, Profile, ReelPlan, RenderedSegment, Segment, SourceShape, Store, Studio};
use crate::report;

/// What is asked for.
#[derive(Debug, Clone, Default)]
pub struct TeachAsk {
    /// The script.
    pub script: PathBuf,
    /// Its text, where it does not come from the file.
    pub text: Option<String>,
    /// The reel to write.
    pub out: PathBuf,
    /// What can be shown is shown; what cannot is listed.
    pub keep_going: bool,
    /// What the reel is for; `None`: as the script says.
    pub profile: Option<Profile>,
    /// What the pictures are encoded as; `None`: as the settings say.
    pub codec: Option<Codec>,
    /// Most bytes of the file.
    pub fit: Option<u64>,
    /// What is written beside the reel.
    pub sidecars: Vec<Kind>,
}

/// A step as it came out: once for each time that it is shown.
#[derive(Debug, Clone, PartialEq)]
pub struct StepShown {
    /// Its number in the script, from 0; `None` for a card.
    pub step: Option<usize>,
    /// Its chapter.
    pub title: String,
    /// What is seen.
    pub rendered: RenderedSegment,
}

/// Where a mark stands.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkShown {
    /// The step, from 0.
    pub step: usize,
    /// The mark of the step, from 0.
    pub mark: usize,
    /// What is drawn.
    pub kind: MarkKind,
    /// What it is pinned to.
    pub pin: &'static str,
    /// For each frame of the camera's film its first point, as shares of the picture; a man's feet.
    pub path: Vec<(u64, (f64, f64))>,
    /// The first frame of the camera's film in which it is lost.
    pub lost_at: Option<u64>,
}

/// A teaching reel, checked or made.
#[derive(Debug, Default)]
pub struct Taught {
    /// What the reel is called.
    pub title: String,
    /// Steps and cards in order; while only checked, as they would be.
    pub steps: Vec<StepShown>,
    /// Its marks.
    pub marks: Vec<MarkShown>,
    /// What is missing, with its place in the script.
    pub missing: Vec<Fault>,
    /// Its length, seconds.
    pub seconds: f64,
    /// How many segments were rendered now; the others were there.
    pub rendered: usize,
    /// What was not as it should be.
    pub problems: Vec<Problem>,
    /// The plan in words.
    pub plan: String,
    /// The stills, if those were asked for.
    pub stills: Vec<PathBuf>,
    /// The files beside the reel.
    pub sidecars: Vec<PathBuf>,
}

/// A script laid out over the library.
struct Planned {
    plan: ReelPlan,
    sources: HashMap<String, Arc<Film>>,
    /// For each segment of the plan its step in the script.
    steps: Vec<Option<usize>>,
    ask: CutupAsk,
    done: Taught,
}

/// Makes the reel.
///
/// # Errors
/// All faults of the script at once, each with its place (with `keep_going` only if nothing is left to be shown); the name of a
/// file that is no reel; a full disk.
pub fn teach(tools: Tools<'_>, config: &Config, library: &Library, ask: &TeachAsk) -> Result<Taught> {
    check_out(library, &ask.out)?;
    let files = sidecar_names(ask)?;
    let store = segments(config, library)?;
    let planned = planned(tools, config, library, ask, Some(&store))?;
    let Planned { plan, sources, steps, ask: cutup, mut done } = planned;
    let rendered = of_size(&plan, config, tools, &store, &mut |source| opened(&sources, source), (&cutup, &ask.out))?;
    done.rendered = rendered.fresh;
    done.seconds = rendered.seconds;
    done.problems.extend(rendered.problems);
    done.problems.extend(rendered.left_out.iter().map(|l| {
        Problem::new(format!("{} play {} from {}", l.game, l.label, l.angle), format!("it is not shown: {}", l.why))
    }));
    let listing = sidecars::listing(&plan, &sources, &rendered.segments, &ask.out);
    done.sidecars = files;
    done.problems.extend(sidecars::write(tools, &ask.sidecars, &listing, &ask.out)?);
    done.steps = shown(&plan, &steps, rendered.segments);
    Ok(done)
}

/// The files beside the reel. Refused are those that could not be true of a reel that is slowed and stopped, and names that
/// are another file's.
fn sidecar_names(ask: &TeachAsk) -> Result<Vec<PathBuf>> {
    if let Some(kind) = ask.sidecars.iter().find(|kind| matches!(kind, Kind::Otio | Kind::Edl)) {
        let what = format!("no {kind} can be written beside a teaching reel: it tells of film that runs on");
        return Err(Error::refused(what, ask.out.display(), "take vtt, csv or html"));
    }
    sidecars::names(&ask.sidecars, &ask.out)
}

/// Looks whether the reel can be made, and tells what it would be. Nothing is followed and nothing is written.
///
/// # Errors
/// Those of [`teach`].
pub fn check_script(tools: Tools<'_>, config: &Config, library: &Library, ask: &TeachAsk) -> Result<Taught> {
    let Planned { plan, steps, mut done, .. } = planned(tools, config, library, ask, None)?;
    let borders = reel::borders(&plan, &config.templates);
    let lengths = borders.windows(2).map(|w| (w[0], w[1]));
    let rendered = plan.segments.iter().zip(lengths).map(|(segment, (start, end))| {
        let Segment { game, label, angle, .. } = segment.clone();
        RenderedSegment { game, label, angle, start, end }
    });
    let all = rendered.collect();
    done.seconds = borders.last().copied().unwrap_or(0.0);
    done.steps = shown(&plan, &steps, all);
    Ok(done)
}

/// Draws a still of every step: at each of its stops, else at its middle.
///
/// # Errors
/// Those of [`teach`]; a folder that cannot be written to.
pub fn stills_of_script(
    tools: Tools<'_>,
    config: &Config,
    library: &Library,
    ask: &TeachAsk,
    folder: &Path,
) -> Result<Taught> {
    let store = segments(config, library)?;
    let planned = planned(tools, config, library, ask, Some(&store))?;
    let Planned { plan, sources, steps, ask: cutup, mut done } = planned;
    std::fs::create_dir_all(folder).doing("make the folder of the stills", folder)?;
    let studio: Studio<'_> = studio(tools, config, &store, &cutup);
    tools.progress.stage("draw stills", plan.segments.len() as u64);
    let mut number = 0;
    for (at, segment) in plan.segments.iter().enumerate() {
        let moments = reel::telling_moments(segment);
        for t in moments {
            number += 1;
            let picture = reel::still(segment, &plan, &studio, &mut |source| opened(&sources, source), t)?;
            let what = match steps.get(at).copied().flatten() {
                Some(step) => format!("step-{}", step + 1),
                None => "card".to_string(),
            };
            let out = folder.join(format!("{number:02}-{what}.png"));
            let (width, height) = (picture.width as u32, picture.height as u32);
            let mut drawing = paint::Canvas::new(width, height, paint::paint::INK)?;
            drawing.picture(&picture.view(FrameNo(0), 0.0), (width, height), [0, 0, width, height]);
            report::write_picture(&out, &drawing.png()?)?;
            done.stills.push(out);
        }
        tools.progress.at(at as u64 + 1);
    }
    Ok(done)
}

/// Steps with what came of them. A segment that could not be shown is not among those rendered.
fn shown(plan: &ReelPlan, steps: &[Option<usize>], rendered: Vec<RenderedSegment>) -> Vec<StepShown> {
    let mut plan = plan.segments.iter().zip(steps);
    let mut all = Vec::new();
    for rendered in rendered {
        let same = |s: &Segment| (&s.game, &s.label, &s.angle) == (&rendered.game, &rendered.label, &rendered.angle);
        if let Some((segment, step)) = plan.by_ref().find(|(segment, _)| same(segment)) {
            all.push(StepShown { step: *step, title: segment.title.clone(), rendered });
        }
    }
    all
}

/// Lays a script out. Marks are followed where there is a store in which their ways are kept.
fn planned(
    tools: Tools<'_>,
    config: &Config,
    library: &Library,
    ask: &TeachAsk,
    store: Option<&Store>,
) -> Result<Planned> {
    let text = match &ask.text {
        Some(text) => text.clone(),
        None => std::fs::read_to_string(&ask.script).doing("read the script", &ask.script)?,
    };
    let script = Script::read(&text, &ask.script)?;
    let cutup = CutupAsk {
        phrase: script.title.clone().unwrap_or_default(),
        profile: ask.profile.or(script.profile.map(|profile| profile.value)),
        codec: ask.codec,
        fit: ask.fit,
        design: script.strip.unwrap_or(Design::Strip),
        ..CutupAsk::default()
    };
    let title = script
        .title
        .clone()
        .unwrap_or_else(|| ask.script.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default());
    let mut done = Taught { title: title.clone(), ..Taught::default() };
    let mut plan = ReelPlan {
        title,
        canvas: Profile::Phone.canvas([]),
        segments: Vec::new(),
        mute: script.sound == SoundWay::Off
            && script.voice.is_empty()
            && script.steps.iter().all(|step| step.sound.is_none_or(|way| way == SoundWay::Off)),
        voice: Vec::new(),
    };
    let mut steps = Vec::new();
    if let Some(title) = &script.title {
        plan.segments.push(card(title, CardText::words(title, script.subtitle.as_deref())));
        steps.push(None);
    }
    let nowhere = Store::look(Path::new(""));
    let mut bench = step::Bench::new(tools, config, library, store.unwrap_or(&nowhere), &script)?;
    tools.progress.stage("look at the plays", script.steps.len() as u64);
    for (at, step) in script.steps.iter().enumerate() {
        let ready = bench.step(at, step, store.is_some())?;
        done.missing.extend(ready.faults);
        done.problems.extend(ready.problems);
        if ready.segments.is_empty() {
            continue;
        }
        if let Some(words) = &step.section {
            plan.segments.push(card(&words.title, CardText::section(&words.title, words.text.as_deref())));
            steps.push(None);
        }
        done.marks.extend(ready.marks);
        steps.extend(ready.segments.iter().map(|_| Some(at)));
        plan.segments.extend(ready.segments);
        tools.progress.at(at as u64 + 1);
    }
    let sources = bench.into_sources();
    let shapes = plan.segments.iter().flat_map(|s| &s.views).filter_map(|view| sources.get(&view.source));
    plan.canvas = profile(config, &cutup).canvas(shapes.flat_map(|film| SourceShape::of(film).collect::<Vec<_>>()));
    spoken(tools, config, &script, (&mut plan, &steps), &mut done);
    let has_film = steps.iter().any(Option::is_some);
    if !done.missing.is_empty() && (!ask.keep_going || !has_film) {
        return Err(refusal(&ask.script, &done.missing, has_film));
    }
    done.plan = plan.to_string();
    Ok(Planned { plan, sources, steps, ask: cutup, done })
}

/// A card of words that belong to no play.
fn card(title: &str, text: CardText) -> Segment {
    Segment::of_card(("", ""), title, text)
}

/// Reads the voices and lays them over the plan.
fn spoken(
    tools: Tools<'_>,
    config: &Config,
    script: &Script,
    (plan, steps): (&mut ReelPlan, &[Option<usize>]),
    done: &mut Taught,
) {
    let borders = reel::borders(plan, &config.templates);
    let folder = script.file.parent().unwrap_or(Path::new(""));
    let (mut voices, mut places) = (Vec::new(), Vec::new());
    for voice in &script.voice {
        let start = match voice.start {
            VoiceStart::Reel(seconds) => seconds,
            VoiceStart::Step(step, after) => {
                let at = steps.iter().position(|s| *s == Some(step.value.saturating_sub(1)));
                let Some(start) = at.and_then(|at| borders.get(at)) else {
                    let what = format!("step {} is not shown, and what is spoken over it not heard", step.value);
                    done.missing.push(Fault { place: step.place, what, next: String::new() });
                    continue;
                };
                start + after
            }
        };
        match Narration::read(tools.desk, &folder.join(&voice.file.value), start, script.loudness) {
            Ok(narration) => {
                voices.push(narration);
                places.push(voice.file.place);
            }
            Err(error) => {
                done.missing.push(Fault { place: voice.file.place, what: error.to_string(), next: error.next });
            }
        }
    }
    let (voices, overruns) = Narration::within(voices, borders.last().copied().unwrap_or(0.0));
    plan.voice = voices;
    for overrun in overruns {
        let what = match overrun.whole {
            true => "the voice begins after the reel has ended".to_string(),
            false => format!("the voice is {:.1} s longer than the reel, and is cut off there", overrun.lost),
        };
        let place = places.get(overrun.voice).copied().unwrap_or(Place { line: 1, column: 1 });
        done.problems.push(Problem::new(place.of(&script.file), what));
    }
}

/// All that is wrong, told at once. `rest`: there is more that can be shown.
fn refusal(script: &Path, faults: &[Fault], rest: bool) -> Error {
    let (also, several) = match rest {
        true => (
            "--keep-going makes the reel without it",
            "mend these lines, or use --keep-going, which makes the reel without them",
        ),
        false => ("", "mend these lines"),
    };
    Fault::error(faults, script, also, several)
}
