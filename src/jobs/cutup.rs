//! A cutup: the plays of a phrase as one reel.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::footage::Footage;
use super::play_key::Key;
use super::rendering::{SEGMENTS, bytes, of_size, opened, profile, segments, studio};
use super::sidecars;
use super::survey::rank;
use super::texts::{game_title, strip_text};
use super::{Config, Tools};
use crate::base::{Error, IoContext, Problem, Result, go_on};
use crate::film::{Angle, Codec, Film, REEL_MARK};
use crate::filter::{self, Filter};
use crate::football::fold;
use crate::library::{ClipFound, GameFound, Library, PlayFound};
use crate::paint::{CardText, Design, StripText};
use crate::plays;
use crate::reel::sidecar::Kind;
use crate::reel::{
    self, Foreseen, Layout, Profile, ReelKey, ReelPlan, RenderedSegment, Segment, SourceShape, Store, Studio, View,
    chapter_title,
};

/// How long the strip stands.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum StripTime {
    /// To the end of the play's film.
    #[default]
    Whole,
    /// Until the snap, where it is known.
    Snap,
    /// So many seconds.
    Seconds(f64),
    /// It is not shown.
    None,
}

/// What is asked for.
#[derive(Debug, Clone, Default)]
pub struct CutupAsk {
    /// In a coach's words.
    pub phrase: String,
    /// The reel to write.
    pub out: PathBuf,
    /// Only this angle or camera.
    pub angle: Option<String>,
    /// Both angles at once, set side by side at the snap.
    pub layout: Layout,
    /// What it is for; `None`: as the settings say.
    pub profile: Option<Profile>,
    /// What the pictures are encoded as; `None`: as the settings say.
    pub codec: Option<Codec>,
    /// Whether it has sound; `None`: as the profile has it.
    pub sound: Option<bool>,
    /// Most bytes of the file.
    pub fit: Option<u64>,
    /// Also plays whose row, or whose pairing of cameras, is in doubt.
    pub with_doubtful: bool,
    /// What is burned in.
    pub design: Design,
    /// How long it stands.
    pub strip: StripTime,
    /// A card before each play.
    pub cards: bool,
    /// What the plays are ordered by; `None`: the newest game first, then as they were played.
    pub sort: Option<String>,
    /// The other way round.
    pub reverse: bool,
    /// What they are grouped by.
    pub group: Option<String>,
    /// Only the first so many.
    pub first: Option<usize>,
    /// Only as many as last so many seconds.
    pub at_most: Option<f64>,
    /// Seconds before the snap; `None`: as the settings say.
    pub lead_in: Option<f64>,
    /// Seconds after the end.
    pub tail: Option<f64>,
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
    /// How many more there would be without a limit.
    pub beyond: usize,
    /// How many segments were rendered now; the others were there.
    pub rendered: usize,
    /// What is seen when; empty if it was only planned.
    pub segments: Vec<RenderedSegment>,
    /// Its length, or what it would be, seconds.
    pub seconds: f64,
    /// What was not as it should be.
    pub problems: Vec<Problem>,
    /// The files beside the reel; if it was only planned, those that would be.
    pub sidecars: Vec<PathBuf>,
    /// The plan in words; empty where nothing is to be shown.
    pub plan: String,
    /// What the reel will be, if it was only planned.
    pub foreseen: Option<Foreseen>,
}

/// A plan with the films behind its segments.
pub(super) struct Planned {
    /// What is seen.
    pub plan: ReelPlan,
    /// The film behind each source that the plan names.
    pub sources: HashMap<String, Arc<Film>>,
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
    let planned = planned(tools, config, library, ask, &filter)?;
    made(tools, config, library, planned, ask)
}

/// Renders what was planned to the reel asked for, whose name has been looked at.
pub(super) fn made(
    tools: Tools<'_>,
    config: &Config,
    library: &Library,
    planned: Planned,
    ask: &CutupAsk,
) -> Result<CutupDone> {
    let Planned { plan, sources, sidecars, mut done } = planned;
    let out = &ask.out;
    if plan.segments.is_empty() {
        return Ok(done);
    }
    let store = segments(config, library)?;
    let rendered = of_size(&plan, config, tools, &store, &mut |source| opened(&sources, source), (ask, out))?;
    done.rendered = rendered.fresh;
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
    let listing = sidecars::listing(&plan, &sources, &done.segments, out);
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
    let Planned { plan, sources, mut done, .. } = planned(tools, config, library, ask, &filter)?;
    if !plan.segments.is_empty() {
        let store = Store::look(&library.at(Path::new(SEGMENTS)));
        let best = profile(config, ask).qualities(config.settings.cutup.crf);
        let usual = studio(tools, config, &store, ask);
        let studio = Studio { crf: best.first().copied().unwrap_or(usual.crf), ..usual };
        let mut foreseen = reel::foresee(&plan, &studio, &mut |source| opened(&sources, source))?;
        foreseen.bytes = bytes(&plan, foreseen.bytes, foreseen.frames).min(ask.fit.unwrap_or(u64::MAX));
        done.foreseen = Some(foreseen);
    }
    Ok(done)
}

/// What a reel of the plays of `filter` would be.
pub(super) fn planned(
    tools: Tools<'_>,
    config: &Config,
    library: &Library,
    ask: &CutupAsk,
    filter: &Filter,
) -> Result<Planned> {
    let mut found = library.plays(filter)?;
    let games = library.games()?;
    check_angle(ask, &found)?;
    let mut done = CutupDone { reads: filter.to_string(), fit: found.len(), ..CutupDone::default() };
    let groups = in_order(config, library, ask, &mut found)?;
    let groups_count = groups.values().map(|group| group.0).max().unwrap_or(0);
    let mut group_shown = None;
    let mut trim = config.settings.spans(config.settings.cutup.trim);
    (trim.lead_in, trim.tail) = (ask.lead_in.unwrap_or(trim.lead_in), ask.tail.unwrap_or(trim.tail));
    let mut sources: HashMap<String, Arc<Film>> = HashMap::new();
    let mut segments: Vec<Segment> = Vec::new();
    let (mut seconds, mut shown) = (0.0, 0);
    tools.progress.stage("look at the clips", found.len() as u64);
    for (index, play) in found.iter().enumerate() {
        go_on(tools.progress, "looking at the clips; no reel was made")?;
        if ask.first.is_some_and(|first| shown >= first) {
            done.beyond = found.len() - index;
            break;
        }
        let reference = reference(&play.record.game, &games);
        let clips = shown_clips(play, reference, ask, &mut done.left_out);
        let team = config.settings.staff.team.as_deref();
        let text = strip_text(&play.record, game_title(&play.record.game, &games)).for_team(team);
        let mut seen = play_segments(tools, library, (play, &text), &clips, (ask, &trim), (&mut sources, &mut done));
        if ask.cards && !seen.is_empty() {
            let which = Some((shown as u32 + 1, ask.first.unwrap_or(found.len()).min(found.len()) as u32));
            let card = CardText::play(&text, which).titled(&ask.phrase);
            let seconds = card.seconds(&config.templates.card);
            let title = chapter_title(&text, &play.record.label, "");
            seen.insert(0, (Segment::of_card((&play.record.game, &play.record.label), title, card), seconds));
        }
        if let Some(group) = groups.get(&named(play)).filter(|_| !seen.is_empty())
            && group_shown != Some(group.0)
        {
            group_shown = Some(group.0);
            let (number, name, plays, down) = group;
            let card = CardText::group(name, (*number, groups_count), *plays, down.as_deref()).titled(&ask.phrase);
            let seconds = card.seconds(&config.templates.group);
            seen.insert(0, (Segment::of_card(("", ""), name.clone(), card), seconds));
        }
        let length: f64 = seen.iter().map(|(_, seconds)| seconds).sum();
        if ask.at_most.is_some_and(|most| seconds + length > most + 1e-6) {
            done.beyond = found.len() - index;
            break;
        }
        seconds += length;
        shown += usize::from(!seen.is_empty());
        segments.extend(seen.into_iter().map(|(segment, _)| segment));
        tools.progress.at(index as u64 + 1);
    }
    done.plays = shown;
    let profile = profile(config, ask);
    let shapes = segments.iter().flat_map(|s| &s.views).filter_map(|view| sources.get(&view.source));
    let plan = ReelPlan {
        title: ask.phrase.clone(),
        canvas: profile.canvas(shapes.flat_map(|film| SourceShape::of(film).collect::<Vec<_>>())),
        segments,
        mute: !ask.sound.unwrap_or(!profile.is_silent()),
        voice: Vec::new(),
    };
    if !plan.segments.is_empty() {
        done.plan = plan.to_string();
        done.seconds = seconds;
        for kind in &ask.sidecars {
            kind.check(plan.canvas.rate, plan.segments.len())?;
        }
        done.sidecars = sidecars::names(&ask.sidecars, &ask.out)?;
    }
    Ok(Planned { plan, sources, sidecars: ask.sidecars.clone(), done })
}

/// A play's group: its number from 1, its name, how many plays it has, and the down that all of them have.
type Group = (u32, String, u32, Option<String>);

/// Puts plays into the order in which they are to be seen; gives the group of each, where they are grouped.
fn in_order(
    config: &Config,
    library: &Library,
    ask: &CutupAsk,
    found: &mut [PlayFound],
) -> Result<HashMap<(String, String), Group>> {
    found.sort_by(|a, b| {
        let key = |play: &PlayFound| ReelKey {
            date: play.record.date.clone(),
            game: play.record.game.clone(),
            play: u64::from(play.record.order),
        };
        reel::order(&key(a), &key(b))
    });
    let own = match (&ask.sort, &ask.group) {
        (None, None) => return Ok(HashMap::new()),
        _ => config.words(library)?.own,
    };
    if let Some(sort) = &ask.sort {
        Key::named(sort, &own)?.sort(found, ask.reverse);
    }
    let Some(group) = &ask.group else { return Ok(HashMap::new()) };
    let key = Key::named(group, &own)?;
    let (mut order, mut groups) = (HashMap::new(), HashMap::new());
    for (number, (value, plays)) in (1..).zip(key.groups(found)) {
        let name = format!("{} {}", key.words(), value.as_deref().unwrap_or("unknown"));
        let down = |play: &&PlayFound| play.record.tags.down().map(|down| down.to_string());
        let first = plays.first().and_then(down);
        let one = first.filter(|first| plays.iter().all(|play| down(play).as_ref() == Some(first)));
        for play in &plays {
            order.insert(named(play), order.len());
            groups.insert(named(play), (number, name.clone(), plays.len() as u32, one.clone()));
        }
    }
    found.sort_by_key(|play| order.get(&named(play)).copied());
    Ok(groups)
}

fn named(play: &PlayFound) -> (String, String) {
    (play.record.game.clone(), play.record.label.clone())
}

/// The segments of a play, with their lengths in seconds: one for each clip, or one for two of them at once.
fn play_segments(
    tools: Tools<'_>,
    library: &Library,
    (play, text): (&PlayFound, &StripText),
    clips: &[&ClipFound],
    (ask, trim): (&CutupAsk, &plays::Settings),
    (sources, done): (&mut HashMap<String, Arc<Film>>, &mut CutupDone),
) -> Vec<(Segment, f64)> {
    let record = &play.record;
    let mut open: Vec<(&ClipFound, Footage)> = Vec::new();
    for clip in clips {
        match Footage::open(tools, library, &record.game, clip) {
            Ok(footage) => open.push((clip, footage)),
            Err(error) => done.left_out.push(left_out(play, Some(clip), error.to_string())),
        }
    }
    let at_once = match (ask.layout, open.as_slice()) {
        (Layout::Single, _) | (_, [] | [_]) => false,
        (_, [(a, first), (b, second), ..]) if first.snap(a).is_some() && second.snap(b).is_some() => true,
        _ => {
            let what = "its cameras cannot be set side by side, for one of them shows no snap; they follow one another";
            done.problems.push(Problem::new(format!("{} play {}", record.game, record.label), what));
            false
        }
    };
    let mut seen = Vec::new();
    let groups: Vec<&[(&ClipFound, Footage)]> = match at_once {
        true => vec![&open[..2]],
        false => open.chunks(1).collect(),
    };
    for group in groups {
        let Some((clip, footage)) = group.first() else { continue };
        let span = footage.shown(clip, trim);
        let views = group.iter().enumerate().map(|(k, (clip, footage))| View {
            source: footage.source.clone(),
            content: footage.content.clone(),
            span: if k == 0 { span } else { footage.span },
            anchor: footage.snap(clip),
        });
        let angle = group.iter().map(|(clip, _)| clip.angle_name()).collect::<Vec<_>>().join(" and ");
        let strip = text.clone().from_angle(&angle);
        let start = footage.film.time(span.start);
        let strip_for = match ask.strip {
            StripTime::Whole | StripTime::None => None,
            StripTime::Snap => footage.snap(clip).map(|snap| (snap - start).max(0.0)),
            StripTime::Seconds(seconds) => Some(seconds),
        };
        let segment = Segment {
            game: record.game.clone(),
            label: record.label.clone(),
            views: views.collect(),
            layout: if group.len() > 1 { ask.layout } else { Layout::Single },
            title: chapter_title(&strip, &record.label, &angle),
            strip: (ask.strip != StripTime::None).then(|| strip.clone()),
            strip_for,
            card: None,
            teaching: None,
            angle,
        };
        seen.push((segment, footage.film.time(span.end) - start));
    }
    for (_, footage) in open {
        sources.entry(footage.source).or_insert_with(|| Arc::new(footage.film));
    }
    seen
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
pub(super) fn is_angle(clip: &ClipFound, angle: &str) -> bool {
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
    // A group's card belongs to no play.
    plays.filter(|(_, label)| !label.is_empty()).collect::<std::collections::BTreeSet<_>>().len()
}
