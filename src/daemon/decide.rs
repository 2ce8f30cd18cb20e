//! What is to be done next for one game: desired against recorded, without a side effect.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::record::{Fault, GameRecord, Placed};
use super::task::{Step, Task, name};
use crate::base::shown;
use crate::film::Angle;
use crate::football::fold;
use crate::jobs::{CutAsk, NightTold};
use crate::library::GameIn;
use crate::plays;
use crate::watch::{FolderCamera, GameFolder, GameToml, Kind, Stamp, Standing, WOVEN};

/// A game's folder as it is now.
pub struct View<'a> {
    /// The inbox, absolute.
    pub inbox: &'a Path,
    /// The game's folder, relative to it.
    pub folder: &'a Path,
    /// Its files.
    pub files: &'a BTreeMap<PathBuf, Stamp>,
    /// How each stands.
    pub standing: &'a dyn Fn(&Path) -> Standing,
    /// What `game.toml` says.
    pub own: &'a GameToml,
    /// What the names say.
    pub game: GameFolder,
}

/// What holds for all games.
pub struct Rules<'a> {
    /// How long a game waits for a film that is not whole.
    pub patience: Duration,
    /// Whether plays are rendered ahead.
    pub prepare: bool,
    /// A fingerprint of the settings and files of words in force.
    pub settings: &'a str,
    /// Why nothing large may be written now.
    pub no_room: Option<&'a str>,
    /// Whether a step that failed is to be tried again now.
    pub due: &'a dyn Fn(&str) -> bool,
}

/// What a game needs.
#[derive(Debug)]
pub enum Next {
    /// This is to be done.
    Do(Box<Task>),
    /// Files are still coming: in words.
    Settling(String),
    /// It waits for something else: in words.
    Waiting(String),
    /// All is done.
    Done,
    /// It cannot go on until somebody changes something: why, and what to do.
    Failed(String, String),
    /// Its films were here and are not any more.
    Away(String),
    /// There is no film in it yet.
    NoFilm,
}

/// A step that failed so often is set aside: the others go on without it, and it is tried again now and then.
pub const PATIENT: u32 = 3;

/// What is said of a film that is cut short.
const SHORT: &str = "it is not whole";

enum Gate {
    Done,
    Todo,
    /// It is tried again by itself.
    Waiting(Fault),
    Aside(Fault),
}

fn gate(record: &GameRecord, rules: &Rules<'_>, name: &str, key: &str) -> Gate {
    if record.has(name, key) {
        return Gate::Done;
    }
    match record.fault(name, key) {
        None => Gate::Todo,
        Some(fault) if fault.refused => Gate::Aside(fault.clone()),
        Some(_) if (rules.due)(name) => Gate::Todo,
        Some(fault) if fault.tries < PATIENT => Gate::Waiting(fault.clone()),
        Some(fault) => Gate::Aside(fault.clone()),
    }
}

/// A camera with its files that can be read.
struct Ready<'a> {
    camera: &'a FolderCamera,
    files: Vec<PathBuf>,
    key: String,
}

/// What is to be done next.
pub fn next(view: &View<'_>, record: &GameRecord, rules: &Rules<'_>) -> Next {
    if view.own.hold {
        return Next::Waiting("it is held by its game.toml (hold = true)".into());
    }
    let mut aside: Vec<[String; 3]> = Vec::new();
    let sorted = sorted(view, rules, &mut aside);
    let placed_before = !record.placed.is_empty();
    if view.game.cameras.is_empty() && !placed_before {
        return match (&sorted.blocked, record.steps.is_empty()) {
            (Some(why), _) => Next::Settling(why.clone()),
            (None, false) => Next::Away("its films are not there any more; it goes on when they are back".into()),
            (None, true) => Next::NoFilm,
        };
    }
    if sorted.ready.is_empty() && !placed_before && record.steps.is_empty() {
        // Nothing was ever taken from here: files of a film's name that are none make no game.
        return match (sorted.blocked, aside.iter().find(|[_, why, _]| why.starts_with(SHORT))) {
            (Some(why), _) => Next::Settling(why),
            (None, Some([what, why, next])) => Next::Failed(format!("{what}: {why}"), next.clone()),
            (None, None) => Next::NoFilm,
        };
    }
    // Each camera by itself, as soon as its own files have settled.
    let mut good: Vec<&Ready<'_>> = Vec::new();
    for ready in &sorted.ready {
        match camera_step(view, record, rules, ready) {
            CameraNext::Do(task) => return Next::Do(task),
            CameraNext::Good => good.push(ready),
            CameraNext::Waiting(fault) => return Next::Waiting(again(&fault)),
            CameraNext::Aside(fault) => {
                let place = format!("camera {}", shown(&ready.camera.name));
                aside.push([place, fault.what, fault.next]);
            }
        }
    }
    let placing = (placing(record, &good), names(record, &good));
    let mut plan =
        Plan { view, record, rules, aside, ask: ask(view, record, &good), files: files_of(view, &good), placing };
    let pair_key = pair_key(view, record, &good);
    let pair = gate(record, rules, &name(Step::Pair, None), &pair_key);
    if let (Some(why), false) = (&sorted.blocked, matches!(pair, Gate::Done)) {
        return Next::Settling(why.clone());
    }
    match pair {
        Gate::Done => {}
        Gate::Waiting(fault) => return Next::Waiting(again(&fault)),
        Gate::Todo if !plan.ask.cameras.is_empty() || !plan.ask.woven.is_empty() => {
            return plan.todo(Step::Pair, pair_key);
        }
        Gate::Todo if placed_before => {
            return Next::Away("its films are not there any more; what was made of them stays".into());
        }
        // No camera can be read.
        Gate::Todo => return plan.end(None),
        Gate::Aside(fault) => return plan.end(Some(fault)),
    }
    if record.told.plays == 0 {
        return plan.end(None);
    }
    match plan.of_the_plays(&pair_key) {
        Some(next) => next,
        None => match plan.end(None) {
            Next::Done => sorted.blocked.map_or(Next::Done, Next::Settling),
            other => other,
        },
    }
}

fn again(fault: &Fault) -> String {
    format!("{}; it is tried again", shown(&fault.what))
}

/// Cameras whose files have settled, and why the game must wait for others.
struct Sorted<'a> {
    ready: Vec<Ready<'a>>,
    blocked: Option<String>,
}

fn sorted<'a>(view: &'a View<'_>, rules: &Rules<'_>, aside: &mut Vec<[String; 3]>) -> Sorted<'a> {
    let shown_path = |path: &Path| shown(&path.to_string_lossy());
    let mut blocked: Vec<String> = Vec::new();
    let mut ready = Vec::new();
    for (path, why) in &view.game.refused {
        aside.push([shown_path(path), why.clone(), String::new()]);
    }
    for path in view.files.keys().filter(|path| Kind::of(path) == Kind::Unfinished) {
        if let Standing::Short(why, quiet) = (view.standing)(path) {
            match quiet < rules.patience {
                true => blocked.push(format!("{}: {why}", shown_path(path))),
                false => aside.push([shown_path(path), why, "copy it again, or delete it".into()]),
            }
        } else {
            blocked.push(format!("{} is being copied", shown_path(path)));
        }
    }
    for camera in &view.game.cameras {
        let mut files = Vec::new();
        let mut changing = false;
        for path in &camera.files {
            match (view.standing)(path) {
                Standing::Settled => files.push(path.clone()),
                Standing::Short(..) if view.own.take_short => files.push(path.clone()),
                Standing::Changing => {
                    changing = true;
                    blocked.push(format!("{} is still changing", shown_path(path)));
                }
                Standing::Short(why, quiet) if quiet < rules.patience => {
                    blocked.push(format!("{} is not whole: {why}", shown_path(path)));
                }
                Standing::Short(why, _) => {
                    let next = "copy it again; if this is all there is of it, write take-short = true into game.toml";
                    aside.push([shown_path(path), format!("{SHORT}: {why}"), next.into()]);
                }
                Standing::NoFilm(why) => {
                    aside.push([shown_path(path), why, "nothing need be done if it is no film".into()]);
                }
            }
        }
        if !changing && !files.is_empty() {
            let key = hash(files.iter().map(|file| stamped(view, file)).chain([camera.name.clone()]));
            ready.push(Ready { camera, files, key });
        }
    }
    let blocked = match blocked.len() {
        0 => None,
        1 => blocked.pop(),
        more => Some(format!("{} and {} more", blocked[0], more - 1)),
    };
    Sorted { ready, blocked }
}

fn stamped(view: &View<'_>, path: &Path) -> String {
    let stamp = view.files.get(path).copied().unwrap_or_default();
    format!("{}\0{}\0{}", path.to_string_lossy(), stamp.size, stamp.changed)
}

fn hash(words: impl IntoIterator<Item = String>) -> String {
    let mut hasher = blake3::Hasher::new();
    for word in words {
        hasher.update(word.as_bytes());
        hasher.update(b"\0\0");
    }
    hasher.finalize().to_hex()[..32].to_string()
}

enum CameraNext {
    Do(Box<Task>),
    Good,
    Waiting(Fault),
    Aside(Fault),
}

fn camera_step(view: &View<'_>, record: &GameRecord, rules: &Rules<'_>, ready: &Ready<'_>) -> CameraNext {
    if shrunk(record, ready) {
        return CameraNext::Good;
    }
    for step in [Step::Probe, Step::Scan] {
        let camera = ready.camera.name.clone();
        match gate(record, rules, &name(step, Some(&camera)), &ready.key) {
            Gate::Done => {}
            Gate::Todo => {
                let cameras = vec![(camera.clone(), ready.files.iter().map(|f| view.inbox.join(f)).collect())];
                return CameraNext::Do(Box::new(Task {
                    folder: view.folder.to_path_buf(),
                    step,
                    camera: Some(camera),
                    ask: CutAsk { cameras, ..game_ask(view) },
                    told: record.told.clone(),
                    files: ready.files.iter().map(|f| file_of(view, f)).collect(),
                    key: ready.key.clone(),
                    placing: Default::default(),
                }));
            }
            Gate::Waiting(fault) => return CameraNext::Waiting(fault),
            Gate::Aside(fault) => return CameraNext::Aside(fault),
        }
    }
    CameraNext::Good
}

fn file_of(view: &View<'_>, file: &Path) -> (PathBuf, Stamp) {
    (view.inbox.join(file), view.files.get(file).copied().unwrap_or_default())
}

fn files_of(view: &View<'_>, good: &[&Ready<'_>]) -> Vec<(PathBuf, Stamp)> {
    good.iter().flat_map(|ready| &ready.files).map(|file| file_of(view, file)).collect()
}

/// Whether a camera has lost files since its plays were put into the library, and gained none: its drive is half away, or
/// somebody tidies up. What was made of them stays.
fn shrunk(record: &GameRecord, ready: &Ready<'_>) -> bool {
    record.placed.get(&ready.camera.name).is_some_and(|placed| {
        let now: Vec<String> = ready.files.iter().map(|f| f.to_string_lossy().into_owned()).collect();
        now.len() < placed.files.len() && now.iter().all(|file| placed.files.contains(file))
    })
}

/// By what the library's plays are known to be those of the cameras: all that were put in, and those that are there now.
fn pair_key(view: &View<'_>, record: &GameRecord, good: &[&Ready<'_>]) -> String {
    let mut cameras: BTreeMap<&str, &str> =
        record.placed.iter().map(|(name, placed)| (name.as_str(), placed.key.as_str())).collect();
    for ready in good.iter().filter(|ready| !shrunk(record, ready)) {
        cameras.insert(&ready.camera.name, &ready.key);
    }
    let game = game_ask(view).game;
    let of_game = format!("{:?} {}", (game.name, game.date, game.home, game.away), view.own.replace);
    hash(cameras.into_iter().map(|(name, key)| format!("{name}\0{key}")).chain([of_game]))
}

fn game_ask(view: &View<'_>) -> CutAsk {
    let own = view.own;
    let game = GameIn {
        name: view.game.game.clone(),
        date: view.game.date.clone(),
        home: own.home.clone(),
        away: own.away.clone(),
    };
    CutAsk { game, teams: own.we.clone().zip(own.they.clone()), replace: own.replace, ..CutAsk::default() }
}

fn ask(view: &View<'_>, record: &GameRecord, good: &[&Ready<'_>]) -> CutAsk {
    let mut ask = game_ask(view);
    let names = names(record, good);
    let woven = view.game.is_woven();
    for ready in good.iter().filter(|ready| !shrunk(record, ready)) {
        let files = ready.files.iter().map(|file| view.inbox.join(file)).collect();
        let name = names.get(&ready.camera.name).unwrap_or(&ready.camera.name).clone();
        match woven && fold(&name) == WOVEN {
            true => ask.woven = files,
            false => ask.cameras.push((name, files)),
        }
    }
    ask
}

/// Names of cameras that what their film shows tells, where no name of a file did: of two cameras the one from behind the
/// end zone sees the men nearer.
pub fn angles(record: &GameRecord, cameras: &[(&str, bool)]) -> BTreeMap<String, String> {
    let mut out = record.angles.clone();
    let [(first, first_told), (second, second_told)] = cameras else { return out };
    if (*first_told && *second_told) || [first, second].iter().any(|name| out.contains_key(**name)) {
        return out;
    }
    let near = |name: &str| record.cameras.get(name).and_then(|camera| camera.nearness);
    let nearer = near(first).zip(near(second)).and_then(|(a, b)| plays::nearer(a, b));
    let Some(nearer) = nearer else { return out };
    let shows = |at: usize| if at == nearer { Angle::EndZone } else { Angle::Sideline };
    let both = [(first, first_told), (second, second_told)];
    // A name that says the opposite goes before what is seen.
    if both.iter().enumerate().any(|(at, (name, told))| **told && Angle::named(name) != shows(at)) {
        return out;
    }
    for (at, (name, told)) in both.iter().enumerate() {
        if !**told && !record.placed.contains_key(**name) {
            out.insert((**name).to_string(), shows(at).as_str().to_string());
        }
    }
    out
}

fn placing(record: &GameRecord, good: &[&Ready<'_>]) -> BTreeMap<String, Placed> {
    let of = |ready: &&&Ready<'_>| {
        let files = ready.files.iter().map(|file| file.to_string_lossy().into_owned()).collect();
        (ready.camera.name.clone(), Placed { files, key: ready.key.clone() })
    };
    good.iter().filter(|ready| !shrunk(record, ready)).map(|ready| of(&ready)).collect()
}

fn names(record: &GameRecord, good: &[&Ready<'_>]) -> BTreeMap<String, String> {
    let cameras: Vec<(&str, bool)> = good.iter().map(|r| (r.camera.name.as_str(), r.camera.told)).collect();
    angles(record, &cameras)
}

/// The steps after the plays are known.
struct Plan<'a> {
    view: &'a View<'a>,
    record: &'a GameRecord,
    rules: &'a Rules<'a>,
    aside: Vec<[String; 3]>,
    ask: CutAsk,
    files: Vec<(PathBuf, Stamp)>,
    placing: (BTreeMap<String, Placed>, BTreeMap<String, String>),
}

impl Plan<'_> {
    fn todo(&self, step: Step, key: String) -> Next {
        Next::Do(Box::new(Task {
            folder: self.view.folder.to_path_buf(),
            step,
            camera: None,
            ask: self.ask.clone(),
            told: self.record.told.clone(),
            files: if step <= Step::Cut { self.files.clone() } else { Vec::new() },
            key,
            placing: self.placing.clone(),
        }))
    }

    /// The step is to be done, or `None` where it is done or set aside.
    fn step(&mut self, step: Step, key: &str) -> Option<Next> {
        match gate(self.record, self.rules, &name(step, None), key) {
            Gate::Done => None,
            Gate::Todo => Some(self.todo(step, key.to_string())),
            Gate::Waiting(fault) => Some(Next::Waiting(again(&fault))),
            Gate::Aside(fault) => {
                self.aside.push([step.doing().to_string(), fault.what, fault.next]);
                None
            }
        }
    }

    fn of_the_plays(&mut self, pair_key: &str) -> Option<Next> {
        let sheet_key = self.sheet_key();
        if let Some(key) = &sheet_key {
            self.ask.sheets = self.view.game.sheets.iter().map(|sheet| self.view.inbox.join(sheet)).collect();
            let files: Vec<_> = self.view.game.sheets.iter().map(|sheet| file_of(self.view, sheet)).collect();
            let films = std::mem::replace(&mut self.files, files);
            let next = self.step(Step::Sheet, key);
            self.files = films;
            self.ask.sheets.clear();
            if next.is_some() {
                return next;
            }
        }
        // Rows that were read before count also where the sheet is gone or cannot be read now.
        let match_key = hash([pair_key.to_string(), self.record.rows.clone()]);
        let cut_key = hash([pair_key.to_string(), self.rules.settings.to_string()]);
        let last = hash([cut_key.clone(), match_key.clone(), "reels".into()]);
        for (step, key) in
            [(Step::Match, match_key), (Step::Cut, cut_key), (Step::Prepare, last.clone()), (Step::Asks, last)]
        {
            if step == Step::Prepare && !self.rules.prepare {
                continue;
            }
            // Clips are what the staff needs: without room for them the game waits. What is rendered ahead can be left.
            if let (true, Some(why)) = (step.fills(), self.rules.no_room)
                && !self.record.has(&name(step, None), &key)
            {
                match step {
                    Step::Cut => return Some(Next::Waiting(why.to_string())),
                    _ => continue,
                }
            }
            let next = self.step(step, &key);
            if next.is_some() {
                return next;
            }
        }
        None
    }

    /// By what the sheet is known to be read; `None` where there is none, or it is still being written.
    fn sheet_key(&mut self) -> Option<String> {
        let game = &self.view.game;
        if let Some((what, next)) = &game.unsure_sheet {
            self.aside.push(["the tag sheet".into(), what.clone(), next.clone()]);
        }
        for sheet in &game.sheets {
            if !self.view.files.contains_key(sheet) {
                let what = format!("{} is named in game.toml and is not there", shown(&sheet.to_string_lossy()));
                self.aside.push(["the tag sheet".into(), what, "put it there, or mend the name".into()]);
                return None;
            }
            if (self.view.standing)(sheet) != Standing::Settled {
                return None;
            }
        }
        let stamps = game.sheets.iter().map(|sheet| stamped(self.view, sheet));
        let more = [self.rules.settings.to_string(), format!("{:?}", self.ask.teams)];
        (!game.sheets.is_empty()).then(|| hash(stamps.chain(more)))
    }

    /// The report, and then how the game stands.
    fn end(&self, fault: Option<Fault>) -> Next {
        let mut told = NightTold { aside: self.aside.clone(), ..self.record.told.clone() };
        if told.game.is_empty() {
            told.game.clone_from(&self.view.game.game);
            told.date.clone_from(&self.view.game.date);
        }
        if let Some(fault) = &fault {
            told.aside.push(["the game".into(), fault.what.clone(), fault.next.clone()]);
        }
        told.unprepared = match self.rules.no_room {
            Some(why) if self.rules.prepare && told.plays > 0 && told.segments == 0 => Some(why.to_string()),
            _ => None,
        };
        let text = serde_json::to_string(&told).unwrap_or_default();
        let key = hash([text]);
        let report = gate(self.record, self.rules, &name(Step::Report, None), &key);
        if let Gate::Todo = report {
            let Next::Do(mut task) = self.todo(Step::Report, key) else { return Next::Done };
            task.told = told;
            return Next::Do(task);
        }
        match (fault, self.record.told.plays) {
            (Some(fault), _) => Next::Failed(fault.what, fault.next),
            (None, 0) => match self.aside.first() {
                Some([what, why, next]) => Next::Failed(format!("{what}: {why}"), next.clone()),
                None => {
                    let what = "no play was found in its film".to_string();
                    Next::Failed(what, "see what is in it with: downbox scan FILM".into())
                }
            },
            (None, _) => Next::Done,
        }
    }
}
