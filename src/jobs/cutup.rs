//! A cutup: the plays of a phrase as one reel.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::footage::Footage;
use super::sidecars::{self, Snaps};
use super::survey::rank;
use super::texts::{game_title, strip_text};
use super::{Config, Tools};
use crate::base::{Error, IoContext, Problem, Result, go_on};
use crate::film::{Angle, Film, REEL_MARK};
use crate::filter::{self, Filter};
use crate::football::fold;
use crate::library::{ClipFound, GameFound, Library, PlayFound};
use crate::plays;
use crate::reel::sidecar::Kind;
use crate::reel::{self, Canvas, ReelKey, ReelPlan, RenderedSegment, Segment, SourceShape, Studio, chapter_title};

/// What is asked for.
#[derive(Debug, Clone, Default)]
pub struct CutupAsk {
    /// In a coach's words.
    pub phrase: String,
    /// The reel to write.
    pub out: PathBuf,
    /// Only this angle or camera.
    pub angle: Option<String>,
    /// Without sound.
    pub mute: bool,
    /// Also plays whose row, or whose pairing of cameras, is in doubt.
    pub with_doubtful: bool,
    /// What is written beside the reel.
    pub sidecars: Vec<Kind>,
}

/// A play that fits and is not shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftOutPlay {
    /// The game's name.
    pub game: String,
    /// The play's label.
    pub label: String,
    /// The camera, where only its clip is left out.
    pub angle: Option<String>,
    /// Why.
    pub why: String,
}

/// A cutup, planned or made.
#[derive(Debug, Default)]
pub struct CutupDone {
    /// How the phrase was read.
    pub reads: String,
    /// How many plays fit the phrase.
    pub fit: usize,
    /// How many of them are shown.
    pub plays: usize,
    /// Those that are not, and why.
    pub left_out: Vec<LeftOutPlay>,
    /// What is seen when; empty if it was only planned.
    pub segments: Vec<RenderedSegment>,
    /// Its length; 0 if it was only planned.
    pub seconds: f64,
    /// What was not as it should be.
    pub problems: Vec<Problem>,
    /// The files beside the reel; if it was only planned, those that would be.
    pub sidecars: Vec<PathBuf>,
    /// The plan in words; empty where nothing is to be shown.
    pub plan: String,
}

/// A plan with the films behind its segments.
pub(super) struct Planned {
    /// What is seen.
    pub plan: ReelPlan,
    /// The film behind each source that the plan names.
    pub sources: HashMap<String, Arc<Film>>,
    /// Where the snaps are.
    pub snaps: Snaps,
    /// What is written beside the reel.
    pub sidecars: Vec<Kind>,
    /// What is told of it so far.
    pub done: CutupDone,
}

/// Makes a reel of the plays that fit. Where none is to be shown nothing is written, and `plays` is 0.
///
/// # Errors
/// A phrase that cannot be read; an ending other than `.mp4`; a name of a file that is there and no reel, or no sidecar of
/// one; a full disk.
pub fn cutup(tools: Tools<'_>, config: &Config, library: &Library, ask: &CutupAsk) -> Result<CutupDone> {
    check_out(library, &ask.out)?;
    let filter = filter::parse(&ask.phrase, &config.words(library)?)?;
    made(tools, config, planned(tools, config, library, ask, &filter)?, &ask.out)
}

/// Renders what was planned to `out`, whose name has been looked at.
pub(super) fn made(tools: Tools<'_>, config: &Config, planned: Planned, out: &Path) -> Result<CutupDone> {
    let Planned { plan, sources, snaps, sidecars, mut done } = planned;
    if plan.segments.is_empty() {
        return Ok(done);
    }
    let studio = Studio {
        reader: tools.reader,
        writer: tools.writer,
        template: &config.template,
        preset: config.settings.cutup.preset.clone(),
        crf: config.settings.cutup.crf,
        progress: tools.progress,
    };
    let mut open = |segment: &Segment| {
        let known = sources.get(&segment.source).cloned();
        known.ok_or_else(|| Error::failed("its film is not open", &segment.source, "run the same command again"))
    };
    let rendered = reel::render(&plan, &studio, &mut open, out)?;
    done.left_out.extend(rendered.left_out.into_iter().map(|l| LeftOutPlay {
        game: l.game,
        label: l.label,
        angle: Some(l.angle),
        why: l.why,
    }));
    done.plays = count_plays(rendered.segments.iter().map(|s| (s.game.as_str(), s.label.as_str())));
    done.segments = rendered.segments;
    done.seconds = rendered.seconds;
    done.problems.extend(rendered.problems);
    let listing = sidecars::listing(&plan, &sources, &snaps, &done.segments, out);
    done.problems.extend(sidecars::write(tools, &sidecars, &listing, out)?);
    Ok(done)
}

/// Does all that [`cutup`] does up to the plan, and writes nothing.
///
/// # Errors
/// Those of [`cutup`].
pub fn plan_cutup(tools: Tools<'_>, config: &Config, library: &Library, ask: &CutupAsk) -> Result<CutupDone> {
    check_out(library, &ask.out)?;
    let filter = filter::parse(&ask.phrase, &config.words(library)?)?;
    Ok(planned(tools, config, library, ask, &filter)?.done)
}

/// What a reel of the plays of `filter` would be.
pub(super) fn planned(
    tools: Tools<'_>,
    config: &Config,
    library: &Library,
    ask: &CutupAsk,
    filter: &Filter,
) -> Result<Planned> {
    let found = library.plays(filter)?;
    let games = library.games()?;
    check_angle(ask, &found)?;
    let mut done = CutupDone { reads: filter.to_string(), fit: found.len(), ..CutupDone::default() };
    let trim = config.settings.spans(config.settings.cutup.trim);
    let mut sources: HashMap<String, Arc<Film>> = HashMap::new();
    let mut snaps = Snaps::new();
    let mut keyed: Vec<(ReelKey, Segment)> = Vec::new();
    tools.progress.stage("look at the clips", found.len() as u64);
    for (index, play) in found.iter().enumerate() {
        go_on(tools.progress, "looking at the clips; no reel was made")?;
        let record = &play.record;
        let reference = reference(&record.game, &games);
        for clip in shown_clips(play, reference, ask, &mut done.left_out) {
            let footage = match Footage::open(tools, library, &record.game, clip) {
                Ok(footage) => footage,
                Err(error) => {
                    done.left_out.push(left_out(play, Some(clip), error.to_string()));
                    continue;
                }
            };
            let strip = strip_text(record, game_title(&record.game, &games));
            let key = ReelKey {
                date: record.date.clone(),
                game: record.game.clone(),
                play: u64::from(record.order),
                angle: clip.angle_name().to_string(),
            };
            let segment = Segment {
                game: record.game.clone(),
                label: record.label.clone(),
                angle: clip.angle_name().to_string(),
                span: footage.shown(clip, &trim),
                title: chapter_title(&strip, &record.label, clip.angle_name()),
                strip: Some(strip),
                source: footage.source.clone(),
            };
            if let Some(snap) = footage.snap(clip) {
                snaps.insert((segment.source.clone(), segment.span.start), snap);
            }
            sources.entry(footage.source).or_insert_with(|| Arc::new(footage.film));
            keyed.push((key, segment));
        }
        tools.progress.at(index as u64 + 1);
    }
    keyed.sort_by(|a, b| reel::order(&a.0, &b.0));
    let segments: Vec<Segment> = keyed.into_iter().map(|(_, segment)| segment).collect();
    done.plays = count_plays(segments.iter().map(|s| (s.game.as_str(), s.label.as_str())));
    let plan = ReelPlan {
        title: ask.phrase.clone(),
        canvas: Canvas::choose(sources.values().flat_map(|film| SourceShape::of(film).collect::<Vec<_>>())),
        segments,
        mute: ask.mute,
    };
    if !plan.segments.is_empty() {
        done.plan = plan.to_string();
        for kind in &ask.sidecars {
            kind.check(plan.canvas.rate, plan.segments.len())?;
        }
        done.sidecars = sidecars::names(&ask.sidecars, &ask.out)?;
    }
    Ok(Planned { plan, sources, snaps, sidecars: ask.sidecars.clone(), done })
}

/// The clips of a play that are to be seen; what is not, and why, goes to the list.
fn shown_clips<'a>(
    play: &'a PlayFound,
    reference: Option<&str>,
    ask: &CutupAsk,
    out: &mut Vec<LeftOutPlay>,
) -> Vec<&'a ClipFound> {
    if let (Some(why), false) = (&play.record.row_doubt, ask.with_doubtful) {
        out.push(left_out(play, None, format!("row in doubt: {why}")));
        return Vec::new();
    }
    let mut clips: Vec<&ClipFound> = play.clips.iter().collect();
    // The row belongs to the play as the camera shows it whose film the sheet was typed by; whether another shows the
    // same is in doubt.
    if play.doubt.as_deref() == Some(plays::BY_LENGTH) && !ask.with_doubtful {
        let (sure, doubtful) = clips.into_iter().partition(|clip| Some(clip.camera.as_str()) == reference);
        clips = sure;
        let doubtful: Vec<&ClipFound> = doubtful;
        for clip in doubtful {
            out.push(left_out(play, Some(clip), format!("pairing in doubt: {}", plays::BY_LENGTH)));
        }
    }
    clips.retain(|clip| ask.angle.as_ref().is_none_or(|angle| is_angle(clip, angle)));
    if clips.is_empty() {
        let why = match &ask.angle {
            Some(angle) => format!("it has no clip from {angle}"),
            None => "it has no clip in the library".to_string(),
        };
        if !out.iter().any(|l| l.game == play.record.game && l.label == play.record.label) {
            out.push(left_out(play, None, why));
        }
    }
    clips
}

/// The camera of a game by whose film its rows were joined.
fn reference<'a>(game: &str, games: &'a [GameFound]) -> Option<&'a str> {
    let game = games.iter().find(|g| g.name == game)?;
    game.cameras.iter().map(String::as_str).min_by_key(|camera| rank(camera))
}

fn left_out(play: &PlayFound, clip: Option<&ClipFound>, why: String) -> LeftOutPlay {
    let (game, label) = (play.record.game.clone(), play.record.label.clone());
    LeftOutPlay { game, label, angle: clip.map(|clip| clip.angle_name().to_string()), why }
}

/// Whether a clip is from an angle or camera of that name.
fn is_angle(clip: &ClipFound, angle: &str) -> bool {
    let asked = Angle::named(angle);
    (asked != Angle::Unknown && asked == clip.angle) || fold(&clip.camera) == fold(angle)
}

/// An angle that no camera has is a slip of the hand.
fn check_angle(ask: &CutupAsk, found: &[PlayFound]) -> Result<()> {
    let Some(angle) = &ask.angle else { return Ok(()) };
    let clips = || found.iter().flat_map(|play| &play.clips);
    let of_the_trade = Angle::named(angle) != Angle::Unknown;
    if of_the_trade || clips().next().is_none() || clips().any(|clip| is_angle(clip, angle)) {
        return Ok(());
    }
    let mut cameras: Vec<&str> = clips().map(|clip| clip.camera.as_str()).collect();
    cameras.sort_unstable();
    cameras.dedup();
    let next = format!("use one of: {}", cameras.join(", "));
    Err(Error::refused("no play of the phrase has a clip from that angle", angle, next))
}

/// The reel's name must be that of an MP4 file, and of no file but an earlier reel: one slip of the hand is not to cost a
/// game's film.
pub(super) fn check_out(library: &Library, out: &Path) -> Result<()> {
    if !out.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("mp4")) {
        let next = "give a file name that ends in .mp4";
        return Err(Error::refused("cannot write the reel: it is an MP4 file", out.display(), next));
    }
    if !out.exists() {
        return Ok(());
    }
    let next = "give another name with --out";
    let clips = library.at(Path::new("clips")).canonicalize();
    if clips.is_ok_and(|clips| out.canonicalize().is_ok_and(|out| out.starts_with(clips))) {
        return Err(Error::refused("cannot write the reel over a clip of the library", out.display(), next));
    }
    if !is_reel(out)? {
        let what = "cannot write the reel: a file of that name is there that is no reel of downbox, perhaps film";
        return Err(Error::refused(what, out.display(), "give another name with --out, or move that file away"));
    }
    Ok(())
}

/// Whether a file bears a reel's mark. It stands in the header, which of a reel comes first.
fn is_reel(path: &Path) -> Result<bool> {
    const HEADER: u64 = 32 << 20;
    let doing = "look at the file that is there";
    let file = std::fs::File::open(path).doing(doing, path)?;
    let mut head = Vec::new();
    std::io::Read::read_to_end(&mut std::io::Read::take(file, HEADER), &mut head).doing(doing, path)?;
    Ok(head.windows(REEL_MARK.len()).any(|bytes| bytes == REEL_MARK.as_bytes()))
}

fn count_plays<'a>(plays: impl Iterator<Item = (&'a str, &'a str)>) -> usize {
    plays.collect::<std::collections::BTreeSet<_>>().len()
}
