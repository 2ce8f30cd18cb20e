//! A person's corrections of a play: its tags, its moments, and whether it is one play.

use std::collections::{BTreeMap, HashSet};

use super::clips::{Which, cut_clips};
use super::matching::TagSheet;
use super::mend::{game_of, joined_anew};
use super::{Config, Tools, opener};
use crate::base::{Error, FrameNo, FrameSpan, Problem, Result};
use crate::film::Film;
use crate::football::{Field, Value, fold};
use crate::library::{CameraFilm, CameraShot, Library, Moment, Newest, PlayShots, Stretch};
use crate::sheet::{film_time, typed_value};

/// One correction.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Change {
    /// A tag: its name and value, as typed.
    Set(String, String),
    /// A tag that is unknown.
    Unset(String),
    /// A moment and its time, as typed.
    Moment(Moment, String),
    /// It is no play.
    Drop,
    /// It is two plays, the second from this time on, as typed.
    Split(String),
    /// It is one play with the one after it, by label.
    Join(String),
    /// What a camera shows of it and of that play, by label, is exchanged; `none`: it is a play of its own.
    Pair(String),
    /// A camera shows it from and to other times, as typed.
    Stretch(Option<String>, Option<String>),
    /// A play that was missed, from one time to another, as typed.
    Add(String, String),
    /// What was changed last is taken back.
    Undo,
}

/// What is to be corrected.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct MendAsk {
    /// The game; may be left out where the library has one.
    pub game: Option<String>,
    /// The play's label; `None` for one that was missed.
    pub label: Option<String>,
    /// Whose film times are meant.
    pub camera: Option<String>,
    /// In the order given.
    pub changes: Vec<Change>,
}

/// What came of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlayMended {
    /// The game.
    pub game: String,
    /// The play; of one added its new label.
    pub label: String,
    /// What was done, one line each, with what stood before.
    pub done: Vec<String>,
    /// Plays whose row of the sheet is another than before: label, row before, row now.
    pub moved: Vec<(String, Option<String>, Option<String>)>,
    /// How many clips were cut.
    pub cut: usize,
    /// What could not be done besides.
    pub problems: Vec<Problem>,
}

/// Keeps a person's corrections, joins the sheet's rows anew where they may lie otherwise now, and cuts the clips whose
/// frames changed: from the film, else from the clips. No label moves.
///
/// # Errors
/// What is named is not there, or does not read as what it should; nothing is changed then, but for changes that came
/// before it in the same command.
pub fn mend_play(tools: Tools<'_>, config: &Config, library: &mut Library, ask: &MendAsk) -> Result<PlayMended> {
    let game = game_of(library, ask.game.as_deref())?;
    let mut done =
        PlayMended { game: game.clone(), label: ask.label.clone().unwrap_or_default(), ..PlayMended::default() };
    let before = library.play_shots(&game)?;
    // Values are read before anything is written: a mistyped third tag does not leave two changed.
    for change in &ask.changes {
        if let Change::Set(name, value) = change {
            tags_of(config, library, name, value)?;
        }
    }
    let mut anew = false;
    for change in &ask.changes {
        let label = done.label.clone();
        match change {
            Change::Set(name, value) => {
                for ((own, name), value) in tags_of(config, library, name, value)? {
                    let old = library.correct_tag(&game, &label, (own, &name), Some(&value))?;
                    done.done.push(format!("{}: {value}, before {}", spoken(own, &name), or_unknown(old)));
                }
            }
            Change::Unset(name) => {
                let (own, name) = named(library, name)?;
                let old = library.correct_tag(&game, &label, (own, &name), None)?;
                done.done.push(format!("{}: unknown, before {}", spoken(own, &name), or_unknown(old)));
            }
            Change::Moment(moment, text) => {
                let shot = shot_of(&before, &label, ask.camera.as_deref(), &game)?;
                let clock = Clock::of(tools, library, &game, &shot.camera)?;
                let to = match text.trim().eq_ignore_ascii_case("none") {
                    true => None,
                    false => Some(clock.frame(text, Some(shot.span))?),
                };
                let to = to.map(|frame| (frame, clock.seconds(frame)));
                let old = library.correct_moment(&game, (&label, &shot.camera), *moment, to)?;
                let word = if *moment == Moment::Whistle { "end" } else { moment.as_str() };
                let new = to.map_or("not seen".to_string(), |(frame, _)| clock.told(frame));
                let old = old.map_or("not seen".to_string(), |frame| clock.told(frame));
                done.done.push(format!("{word} from {}: {new}, before {old}", shot.camera));
                anew = true;
            }
            Change::Drop => {
                library.drop_play(&game, &label)?;
                done.done.push("it is no play; its clips stay on the disk, outside every answer".into());
                anew = true;
            }
            Change::Split(text) => {
                let shot = shot_of(&before, &label, ask.camera.as_deref(), &game)?;
                let clock = Clock::of(tools, library, &game, &shot.camera)?;
                let at = clock.frame(text, Some(shot.span))?;
                let cuts = also(tools, library, (&game, &label), &before, (shot, at, &clock))?;
                let new = library.split_play(&game, &label, &cuts)?;
                let told: Vec<_> = cuts.iter().map(|(camera, frame)| format!("{camera} frame {frame}")).collect();
                done.done.push(format!("split; play {new} begins at {}", told.join(", ")));
                anew = true;
            }
            Change::Join(with) => {
                library.join_plays(&game, &label, with)?;
                done.done.push(format!("joined with play {with}, which is in no answer any more"));
                anew = true;
            }
            Change::Pair(with) => {
                let camera = camera_of(library, &game, ask.camera.as_deref())?;
                if with.trim().eq_ignore_ascii_case("none") {
                    let new = library.take_apart(&game, &label, &camera)?;
                    done.done.push(format!("what the {camera} camera showed of it is play {new} now"));
                } else {
                    library.pair_plays(&game, (&label, with), &camera)?;
                    done.done.push(format!("what the {camera} camera shows is exchanged with play {with}"));
                }
                anew = true;
            }
            Change::Stretch(from, to) => {
                let shot = shot_of(&before, &label, ask.camera.as_deref(), &game);
                // A camera that did not show it can be told to, from both ends.
                let (camera, old) = match (&ask.camera, shot) {
                    (_, Ok(shot)) => (shot.camera.clone(), Some(shot.span)),
                    (Some(camera), Err(_)) if from.is_some() && to.is_some() => (camera.clone(), None),
                    (_, Err(error)) => return Err(error),
                };
                let clock = Clock::of(tools, library, &game, &camera)?;
                let mut span = old.unwrap_or(FrameSpan::of(0, 0));
                if let Some(from) = from {
                    span.start = clock.frame(from, old)?;
                }
                if let Some(to) = to {
                    span.end = clock.frame(to, old)?;
                }
                library.stretch_play(&game, &label, &Stretch { camera: camera.clone(), span })?;
                let was = old.map_or("not seen".to_string(), |old| {
                    format!("{} to {}", clock.told(old.start), clock.told(old.end))
                });
                done.done.push(format!(
                    "{camera} shows it from {} to {}, before {was}",
                    clock.told(span.start),
                    clock.told(span.end)
                ));
                anew = true;
            }
            Change::Add(from, to) => {
                let camera = camera_of(library, &game, ask.camera.as_deref())?;
                let clock = Clock::of(tools, library, &game, &camera)?;
                let span = FrameSpan { start: clock.frame(from, None)?, end: clock.frame(to, None)? };
                done.label = library.add_play(&game, &[Stretch { camera: camera.clone(), span }])?;
                done.done.push(format!("added from {camera}, {} to {}", clock.told(span.start), clock.told(span.end)));
                anew = true;
            }
            Change::Undo => {
                let last = library.mends(&game, Some(&label))?.into_iter().rev().find(|mend| !mend.undone);
                match library.newest_mend(&game, &label)? {
                    Newest::Nothing => {
                        let what = format!("nothing of play {label} was corrected");
                        return Err(Error::refused(what, &game, "see what was corrected with: downbox mend --history"));
                    }
                    Newest::Pin => {
                        library.unpin(&game, Some(&label), None)?;
                    }
                    Newest::Correction(id) => library.undo_correction(id)?,
                    Newest::Reshape(id) => library.undo_reshape(id)?,
                }
                done.done.push(format!("taken back: {}", last.map_or(String::new(), |last| last.subject)));
                anew = true;
            }
        }
    }
    if anew && let Some(sheet) = TagSheet::kept(library, &game)? {
        let joined = joined_anew(library, &game, &sheet)?;
        done.moved = joined.moved;
        done.problems = joined.problems;
    }
    let now = library.play_shots(&game)?;
    let these = changed(library, &game, &before, &now)?;
    if !these.is_empty() {
        let which = Which::These(&these);
        done.cut = cut_clips(tools, config, library, &game, which, &BTreeMap::new(), &mut done.problems)?.cut;
    }
    Ok(done)
}

/// Shots whose frames are others than before, or that were not there: label and camera. Those that have their clip already
/// (of a play taken back) are left out.
fn changed(
    library: &Library,
    game: &str,
    before: &[PlayShots],
    now: &[PlayShots],
) -> Result<HashSet<(String, String)>> {
    let spans = |plays: &[PlayShots]| -> HashSet<(String, String, u64, u64)> {
        let of = |play: &PlayShots| {
            let label = play.label.clone();
            let one = move |s: &CameraShot| (label.clone(), s.camera.clone(), s.span.start.0, s.span.end.0);
            play.shots.iter().map(one).collect::<Vec<_>>()
        };
        plays.iter().flat_map(of).collect()
    };
    let old = spans(before);
    let mut new = spans(now);
    new.retain(|shot| !old.contains(shot));
    if !new.is_empty() {
        for clip in library.clips_of_game(game)? {
            new.remove(&(clip.label, clip.camera, clip.span.start.0, clip.span.end.0));
        }
    }
    Ok(new.into_iter().map(|(label, camera, ..)| (label, camera)).collect())
}

/// A tag's name: whether it is one of the staff's own, and its key.
fn named(library: &Library, name: &str) -> Result<(bool, String)> {
    if let Some(field) = Field::named(name) {
        return Ok((false, field.key().to_string()));
    }
    let own = library.words_used()?.own;
    if let Some(own) = own.iter().find(|own| fold(own) == fold(name)) {
        return Ok((true, own.clone()));
    }
    if fold(name).is_empty() {
        return Err(Error::refused("a tag's name needs a letter or a digit", name, "such as: --set down=3"));
    }
    Ok((true, name.trim().to_string()))
}

/// The tags that `name=value` means.
fn tags_of(config: &Config, library: &Library, name: &str, text: &str) -> Result<Vec<((bool, String), Value)>> {
    let (own, key) = named(library, name)?;
    match Field::named(&key).filter(|_| !own) {
        None => Ok(vec![((true, key), Value::Text(text.trim().to_string()))]),
        Some(field) => {
            let mut words = config.vocabulary.clone();
            let used = library.words_used()?.words;
            words.learn(used.iter().map(|(field, word)| (*field, word.as_str())));
            let read = typed_value(field, text, &words).map_err(|why| {
                Error::refused(
                    format!("the value of {field} {why}"),
                    format!("\"{text}\""),
                    "type it as in a tag sheet",
                )
            })?;
            Ok(read.into_iter().map(|(field, value)| ((false, field.key().to_string()), value)).collect())
        }
    }
}

fn spoken(own: bool, name: &str) -> String {
    Field::named(name).filter(|_| !own).map_or_else(|| name.to_string(), |field| field.to_string())
}

fn or_unknown(old: Option<Value>) -> String {
    old.map_or("unknown".into(), |old| old.to_string())
}

/// The shot of a play that is meant: that of the camera named, else the only one.
fn shot_of<'a>(plays: &'a [PlayShots], label: &str, camera: Option<&str>, game: &str) -> Result<&'a CameraShot> {
    let play = plays.iter().find(|play| play.label == label).ok_or_else(|| {
        Error::refused(format!("{game} has no play {label}"), "", "see its plays with: downbox plays")
    })?;
    match (camera, play.shots.as_slice()) {
        (Some(camera), shots) => shots.iter().find(|s| fold(&s.camera) == fold(camera)).ok_or_else(|| {
            let next = format!("name one that does: {}", names(shots.iter().map(|s| s.camera.as_str())));
            Error::refused(format!("the {camera} camera does not show play {label}"), game, next)
        }),
        (None, [only]) => Ok(only),
        (None, shots) => Err(which_camera(shots.iter().map(|s| s.camera.as_str()), game)),
    }
}

fn names<'a>(cameras: impl Iterator<Item = &'a str>) -> String {
    cameras.collect::<Vec<_>>().join(", ")
}

/// The camera named, else the game's only one.
fn camera_of(library: &Library, game: &str, named: Option<&str>) -> Result<String> {
    match (named, library.camera_films(game)?.as_slice()) {
        (Some(camera), _) => Ok(camera.to_string()),
        (None, [only]) => Ok(only.camera.clone()),
        (None, all) => Err(which_camera(all.iter().map(|c| c.camera.as_str()), game)),
    }
}

fn which_camera<'a>(cameras: impl Iterator<Item = &'a str>, game: &str) -> Error {
    let next = format!("name one with --camera: {}", names(cameras));
    Error::refused("it is not said in which camera's film the time is", game, next)
}

/// Where a split lies in every camera that shows the play: in the others as long after their snap as in this one. A camera
/// without a sure place (no snap in one of them, or nothing left of one of the two plays) is left whole with the first play.
fn also(
    tools: Tools<'_>,
    library: &Library,
    (game, label): (&str, &str),
    plays: &[PlayShots],
    (shot, at, clock): (&CameraShot, FrameNo, &Clock),
) -> Result<Vec<(String, u64)>> {
    let mut cuts = vec![(shot.camera.clone(), at.0)];
    let Some(play) = plays.iter().find(|play| play.label == label) else { return Ok(cuts) };
    for other in play.shots.iter().filter(|other| other.camera != shot.camera) {
        let (Some(here), Some(there)) = (shot.snap, other.snap) else { continue };
        let their = Clock::of(tools, library, game, &other.camera)?;
        let frame = their.nearest(there.time + clock.seconds(at) - here.time);
        if frame > other.span.start && frame < other.span.end {
            cuts.push((other.camera.clone(), frame.0));
        }
    }
    Ok(cuts)
}

/// A camera's frames and times.
struct Clock {
    camera: CameraFilm,
    film: Option<Film>,
}

impl Clock {
    fn of(tools: Tools<'_>, library: &Library, game: &str, camera: &str) -> Result<Self> {
        let Some(camera) = library.camera_film(game, camera)? else {
            let all = library.camera_films(game)?;
            let next = format!("name one that it has: {}", names(all.iter().map(|c| c.camera.as_str())));
            return Err(Error::refused(format!("{game} has no camera {camera}"), library.folder().display(), next));
        };
        let film = opener::known(tools, library, &camera).map(|known| known.film);
        Ok(Self { camera, film })
    }

    /// The frame of a time as typed: `+4.6` seconds into the play's clip, as a player shows it, `-1.5` before it; `12:34.2`
    /// or `754.2` in the film; `1382f` a frame of the film.
    fn frame(&self, text: &str, clip: Option<FrameSpan>) -> Result<FrameNo> {
        let text = text.trim();
        let wrong = |why: &str| {
            let next =
                "give +4.6 (seconds into the clip; -1.5 before it), 12:34.2 (film time) or 1382f (a frame of the film)";
            Err(Error::refused(format!("the time {why}"), format!("\"{text}\""), next))
        };
        let frame = if let Some(number) = text.strip_suffix(['f', 'F']) {
            let Ok(frame) = number.trim().parse() else { return wrong("is no frame") };
            FrameNo(frame)
        } else if let Some(into) = text.strip_prefix(['+', '-']) {
            let Some(clip) = clip else { return wrong("is counted from a clip that is not there yet") };
            let sign = if text.starts_with('-') { -1.0 } else { 1.0 };
            match film_time(into) {
                Ok(into) => self.nearest((self.seconds(clip.start) + sign * into).max(0.0)),
                Err(why) => return wrong(why),
            }
        } else {
            match film_time(text) {
                Ok(seconds) => {
                    if seconds > self.camera.seconds + 1.0 {
                        return wrong(&format!("lies behind the film's end at {:.1} s", self.camera.seconds));
                    }
                    self.nearest(seconds)
                }
                Err(why) => return wrong(why),
            }
        };
        if frame.0 > self.camera.frames {
            return wrong(&format!("lies behind the film's end at frame {}", self.camera.frames));
        }
        Ok(frame)
    }

    /// Without what is remembered of the film its even rate tells.
    fn nearest(&self, seconds: f64) -> FrameNo {
        match &self.film {
            Some(film) => film.nearest(seconds),
            None => FrameNo((seconds * self.camera.rate.hz()).round().max(0.0) as u64),
        }
    }

    fn seconds(&self, frame: FrameNo) -> f64 {
        self.film.as_ref().map_or_else(|| frame.0 as f64 / self.camera.rate.hz(), |film| film.time(frame))
    }

    fn told(&self, frame: FrameNo) -> String {
        format!("{:.2} s (frame {frame})", self.seconds(frame))
    }
}
