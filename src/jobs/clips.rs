//! Clips of a game: what is not there yet is planned and cut.

use std::collections::{BTreeMap, HashSet};

use super::{Config, Settings, Tools, opener};
use crate::base::{Error, ErrorKind, FrameSpan, PendingFile, Problem, Result, Silent, go_on};
use crate::cut::{self, Shown};
use crate::film::{ClipPlan, EntryPoints, Film, Piece, SoundPlan};
use crate::filter::Filter;
use crate::library::{CameraShot, ClipFound, ClipIn, ClipRecord, Library, PlanKey};

/// Version of the cutter: raised with every change that can change a clip, so that clips cut before are cut anew.
const CUTTER: u32 = 3;

/// What became of a game's clips.
#[derive(Debug, Default)]
pub(super) struct Clips {
    /// Clips that lie in the library now.
    pub there: usize,
    /// Those of them that were cut this time.
    pub cut: usize,
}

/// Which clips of a game are looked after.
#[derive(Clone, Copy)]
pub(super) enum Which<'a> {
    /// All that are not there by exactly their plan.
    Missing,
    /// These, by label and camera, whatever lies in their place.
    These(&'a HashSet<(String, String)>),
}

/// A clip that is to be cut.
struct Wanted {
    label: String,
    key: PlanKey,
}

/// Cuts the clips of the game that are wanted. `films` are those already open, by camera.
///
/// A clip that fails becomes a problem and does not keep the others from being cut; a full disk and a stop do.
pub(super) fn cut_clips(
    tools: Tools<'_>,
    config: &Config,
    library: &mut Library,
    game: &str,
    which: Which<'_>,
    films: &BTreeMap<String, Film>,
    problems: &mut Vec<Problem>,
) -> Result<Clips> {
    let mut clips = Clips::default();
    let plays = library.play_shots(game)?;
    for camera in library.camera_films(game)? {
        go_on(tools.progress, "cutting")?;
        let mut wanted = Vec::new();
        for play in &plays {
            let Some(shot) = play.shots.iter().find(|s| s.camera == camera.camera) else { continue };
            let key = PlanKey {
                film: camera.fingerprint.clone(),
                // Err long: of film cut by shots the clip is the whole shot.
                span: shot.span,
                version: version(&config.settings),
            };
            let there = match which {
                Which::Missing => library.has_clip(game, &play.label, &camera.camera, &key)?,
                Which::These(these) => !these.contains(&(play.label.clone(), camera.camera.clone())),
            };
            if there {
                clips.there += 1;
            } else {
                wanted.push(Wanted { label: play.label.clone(), key });
            }
        }
        if wanted.is_empty() {
            continue;
        }
        let known = match films.get(&camera.camera) {
            Some(_) => None,
            None => opener::known(tools, library, &camera).filter(|known| known.there),
        };
        let Some(film) = films.get(&camera.camera).or(known.as_ref().map(|known| &known.film)) else {
            let (there, cut) = without_film(tools, library, (game, &camera.camera), wanted, problems)?;
            clips.there += there + cut;
            clips.cut += cut;
            continue;
        };
        let cut = cut_camera(tools, library, (game, &camera.camera), (film, 0), &wanted, problems)?;
        clips.there += cut;
        clips.cut += cut;
    }
    Ok(clips)
}

/// Looks after clips whose film is gone: how many are as good as can be had, and how many were cut from other clips of the
/// same film (of a play that was split, of two that were joined).
fn without_film(
    tools: Tools<'_>,
    library: &mut Library,
    (game, camera): (&str, &str),
    wanted: Vec<Wanted>,
    problems: &mut Vec<Problem>,
) -> Result<(usize, usize)> {
    let clips = library.clips_of_game(game)?;
    let (mut there, mut cut, mut missing) = (0, 0, 0);
    // Those that have no clip go first: their frames may lie in one that is to be replaced by a shorter.
    let has_one = |w: &Wanted| clips.iter().any(|c| c.camera == camera && c.label == w.label);
    let (old, new): (Vec<Wanted>, Vec<Wanted>) = wanted.into_iter().partition(has_one);
    for clip in new.into_iter().chain(old) {
        // Clips of an older cutter or other settings are as good as can be had now.
        if has_older(library, game, camera, &clip).unwrap_or(false) {
            there += 1;
        } else if let Some((film, first)) = film_of_clips(tools, library, (game, camera), &clip.key)? {
            let done = cut_camera(tools, library, (game, camera), (&film, first), &[clip], problems)?;
            cut += done;
            missing += 1 - done;
        } else {
            missing += 1;
        }
    }
    if missing > 0 {
        let what = format!("{missing} clips are still to be cut, and its film is gone; put it back and run again");
        problems.push(Problem::new(format!("camera {camera}"), what));
    }
    Ok((there, cut))
}

/// Clips that together hold a stretch of a film without a gap, as a film whose first frame is that one of the camera's.
fn film_of_clips(
    tools: Tools<'_>,
    library: &Library,
    (game, camera): (&str, &str),
    key: &PlanKey,
) -> Result<Option<(Film, u64)>> {
    let mut clips = library.clips_of_game(game)?;
    clips.retain(|clip| clip.camera == camera && clip.film == key.film);
    clips.retain(|clip| std::fs::metadata(library.at(&clip.path)).is_ok_and(|file| file.len() == clip.bytes));
    let mut row = Vec::new();
    let mut at = key.span.start;
    while at < key.span.end {
        // The first begins at or before the stretch; the others where the one before them ends.
        let fits = |clip: &&ClipRecord| {
            clip.span.holds(at) && (row.is_empty() || clip.span.start == at) && clip.frames == clip.span.len()
        };
        let Some(clip) = clips.iter().filter(fits).max_by_key(|clip| clip.span.end) else { return Ok(None) };
        at = clip.span.end;
        row.push(clip);
    }
    let Some(first) = row.first().map(|clip| clip.span.start.0) else { return Ok(None) };
    let mut film = Film::default();
    for clip in row {
        let read = tools.reader.read(&[library.at(&clip.path)], &Silent)?;
        if read.frames() != clip.frames {
            return Ok(None);
        }
        film.parts.extend(read.parts);
    }
    Ok(Some((film, first)))
}

/// Whether a clip of the same frames lies there, however it was cut.
fn has_older(library: &Library, game: &str, camera: &str, wanted: &Wanted) -> Result<bool> {
    let of_play = Filter::all_of([Filter::Game(game.to_string()), Filter::Label(wanted.label.clone())]);
    let found = library.plays(&of_play)?;
    let same =
        |clip: &&ClipFound| clip.camera == camera && clip.film == wanted.key.film && clip.span == wanted.key.span;
    let clip = found.iter().flat_map(|play| &play.clips).find(same);
    Ok(clip.is_some_and(|clip| std::fs::metadata(library.at(&clip.path)).is_ok_and(|file| file.len() == clip.bytes)))
}

/// The cutter's version with the settings that change what it writes.
fn version(settings: &Settings) -> u32 {
    let mut hash = blake3::Hasher::new();
    hash.update(&CUTTER.to_le_bytes());
    hash.update(settings.clip.preset.as_bytes());
    hash.update(&[settings.clip.crf]);
    let bytes = hash.finalize();
    u32::from_le_bytes([bytes.as_bytes()[0], bytes.as_bytes()[1], bytes.as_bytes()[2], bytes.as_bytes()[3]])
}

/// Plans of one film's clips. What is known of a part's packets is asked once, and only of parts that are cut from.
pub(super) struct Planner<'a> {
    tools: Tools<'a>,
    film: &'a Film,
    points: Vec<Option<EntryPoints>>,
    sounds: Vec<Option<SoundPlan>>,
}

impl<'a> Planner<'a> {
    pub fn new(tools: Tools<'a>, film: &'a Film) -> Self {
        Self { tools, film, points: vec![None; film.parts.len()], sounds: vec![None; film.parts.len()] }
    }

    /// The plan of one clip.
    pub fn plan(&mut self, span: FrameSpan) -> Result<ClipPlan> {
        for part in self.film.parts_of(span) {
            if self.points[part].is_none() {
                self.points[part] = Some(self.tools.writer.entry_points(self.film, part)?);
                self.sounds[part] = Some(self.tools.writer.sound_plan(self.film, part)?);
            }
        }
        // Parts that the span does not touch are not looked at.
        let points: Vec<EntryPoints> = self.points.iter().map(|p| p.clone().unwrap_or_default()).collect();
        let sounds: Vec<SoundPlan> = self.sounds.iter().map(|s| s.clone().unwrap_or(SoundPlan::None)).collect();
        Ok(cut::plan(self.film, span, &points, &sounds))
    }
}

/// Cuts clips of one camera; gives how many were cut. Beside the film stands which of the camera's frames its first is.
fn cut_camera(
    tools: Tools<'_>,
    library: &mut Library,
    (game, camera): (&str, &str),
    (film, first): (&Film, u64),
    wanted: &[Wanted],
    problems: &mut Vec<Problem>,
) -> Result<usize> {
    let mut planner = Planner::new(tools, film);
    let mut plans = Vec::new();
    let mut failed = |label: &str, error: &Error| {
        let what = format!("its clip was not cut: {error}; {}", error.next);
        problems.push(Problem::new(format!("play {label} from {camera}"), what));
    };
    for clip in wanted {
        let span = clip.key.span;
        match planner.plan(FrameSpan::of(span.start.0 - first, span.end.0 - first)) {
            Ok(plan) => plans.push((clip, plan)),
            Err(error) => failed(&clip.label, &error),
        }
    }
    tools.progress.stage(&format!("cut {camera}, clip"), plans.len() as u64);
    let (mut next, mut cut) = (0, 0);
    while next < plans.len() {
        let mut pending = Vec::new();
        for (clip, _) in &plans[next..] {
            pending.push(Some(PendingFile::new(&library.clip_place(game, &clip.label, camera)?.path)?));
        }
        let paths: Vec<_> = pending.iter().flatten().map(|p| p.path().to_path_buf()).collect();
        let these: Vec<ClipPlan> = plans[next..].iter().map(|(_, plan)| plan.clone()).collect();
        let mut done = 0;
        // Set where the cutting was done and putting the clip away failed: no other way of cutting helps then.
        let mut whole = false;
        let outcome = tools.writer.carry_out(film, &these, &paths, &mut |index| {
            let (clip, plan) = &plans[next + index];
            whole = true;
            // The row about an older clip goes first, then its file is replaced, then the new row comes: whatever is
            // interrupted between leaves no row about a file of another content.
            library.make_way(game, &clip.label, camera)?;
            if let Some(file) = pending.get_mut(index).and_then(Option::take) {
                file.commit()?;
            }
            let rate = film.parts.get(film.place(plan.span.start).part).map_or(film.rate(), |part| part.rate);
            let entry = ClipIn { key: clip.key.clone(), frames: plan.span.len(), rate };
            library.put_clip(game, &clip.label, camera, &entry)?;
            done = index + 1;
            whole = false;
            tools.progress.at((next + done) as u64);
            go_on(tools.progress, "cutting")
        });
        cut += done;
        match outcome {
            Ok(()) => break,
            Err(error) if whole || matches!(error.kind, ErrorKind::DiskFull | ErrorKind::Interrupted) => {
                return Err(error);
            }
            Err(error) => {
                next += done;
                let Some((clip, plan)) = plans.get_mut(next) else { return Err(error) };
                if plan.pieces.iter().any(|piece| matches!(piece, Piece::Copy(_))) {
                    // Packets that will not be copied may still be decoded: a clip encoded anew is better than none.
                    *plan = encoded(plan, &error);
                } else {
                    // It is told of and left out; the rest goes on behind it.
                    failed(&clip.label, &error);
                    next += 1;
                }
            }
        }
    }
    Ok(cut)
}

/// The same clip with every frame and the sound encoded anew.
fn encoded(plan: &ClipPlan, error: &Error) -> ClipPlan {
    let why = format!("copying failed: {error}");
    let sound = match &plan.sound {
        SoundPlan::None => SoundPlan::None,
        _ => SoundPlan::Encode(why.clone()),
    };
    ClipPlan { span: plan.span, pieces: vec![Piece::Encode(plan.span, why)], sound }
}

/// What would be cut of one camera.
#[derive(Debug, Default)]
pub(super) struct PlannedClips {
    /// One line a clip: what is copied, what is encoded anew, and why.
    pub lines: Vec<String>,
    /// Frames that are copied.
    pub copied: u64,
    /// Frames that are encoded anew.
    pub encoded: u64,
}

/// What would be cut. A play that the library has by its label, `None` for a new one, and its number in
/// the film.
pub(super) fn planned(
    tools: Tools<'_>,
    settings: &Settings,
    library: Option<&Library>,
    game: &str,
    film: &Film,
    shots: &[(Option<String>, usize, &CameraShot)],
) -> Result<PlannedClips> {
    let mut planner = Planner::new(tools, film);
    let mut planned = PlannedClips::default();
    for (label, number, shot) in shots {
        if let (Some(library), Some(label)) = (library, label) {
            let key = PlanKey { film: film.fingerprint(), span: shot.span, version: version(settings) };
            if library.has_clip(game, label, &shot.camera, &key)? {
                continue;
            }
        }
        let play = label.as_ref().map_or_else(|| format!("new play {number}"), |label| format!("play {label}"));
        let plan = planner.plan(shot.span)?;
        let copied = cut::copied(&plan);
        planned.copied += copied;
        planned.encoded += plan.span.len() - copied;
        planned.lines.push(format!("{play} from {}: {}", shot.camera, Shown(&plan)));
    }
    Ok(planned)
}
