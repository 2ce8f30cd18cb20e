//! A night on a clock that the test sets, over a disk that the test writes; the test does the steps itself.

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use jiff::ZonedDateTime;

use super::clock::Clock;
use super::event::{Event, Level, NightSettings, Order, World};
use super::night::Night;
use super::pace::Pace;
use super::power::{Power, Supply};
use super::record::Records;
use super::status::Standing;
use super::task::{CameraKnown, Outcome, Step, Task};
use crate::base::Result;
use crate::watch::{Disk, Kind, Stamp, Walked, Whole};

/// What the world is made of.
#[derive(Default)]
pub struct Made {
    pub now: Duration,
    /// By how much the clock on the wall was set.
    pub set: i64,
    pub files: BTreeMap<PathBuf, (Stamp, Whole)>,
    pub texts: BTreeMap<PathBuf, String>,
    pub away: bool,
    pub room: u64,
    pub supply: Supply,
    pub asked: Option<String>,
    pub walks: usize,
}

pub type Shared = Arc<Mutex<Made>>;

struct Scripted(Shared);

impl Clock for Scripted {
    fn now(&self) -> Duration {
        self.0.lock().unwrap().now
    }
    fn wall(&self) -> ZonedDateTime {
        let made = self.0.lock().unwrap();
        let start: ZonedDateTime = "2026-09-11T23:00:00[UTC]".parse().unwrap();
        let gone = jiff::SignedDuration::from_secs(made.now.as_secs() as i64 + made.set);
        start.checked_add(gone).unwrap()
    }
}

impl Disk for Scripted {
    fn walk(&self, _: &Path) -> io::Result<Walked> {
        let mut made = self.0.lock().unwrap();
        made.walks += 1;
        if made.away {
            return Err(io::Error::other("the drive is away"));
        }
        let top = |path: &PathBuf| path.components().next().map(|c| PathBuf::from(c.as_os_str()));
        let folders: BTreeSet<PathBuf> =
            made.files.keys().filter(|p| p.components().count() > 1).filter_map(top).collect();
        let files = made.files.iter().filter(|(path, _)| Kind::of(path) != Kind::Other);
        Ok(Walked { folders, files: files.map(|(p, (stamp, _))| (p.clone(), *stamp)).collect(), ..Walked::default() })
    }
    fn stamp(&self, path: &Path) -> Option<Stamp> {
        let made = self.0.lock().unwrap();
        if made.away {
            return None;
        }
        made.files.get(path.strip_prefix("/inbox").unwrap()).map(|(stamp, _)| *stamp)
    }
    fn whole(&self, path: &Path) -> io::Result<Whole> {
        Ok(self.0.lock().unwrap().files[path.strip_prefix("/inbox").unwrap()].1.clone())
    }
    fn text(&self, path: &Path) -> io::Result<String> {
        Ok(self.0.lock().unwrap().texts[path.strip_prefix("/inbox").unwrap()].clone())
    }
    fn room(&self, _: &Path) -> Option<u64> {
        Some(self.0.lock().unwrap().room)
    }
}

impl Power for Scripted {
    fn supply(&self) -> Supply {
        self.0.lock().unwrap().supply
    }
}

/// A night with its world.
pub struct Bed {
    pub made: Shared,
    pub night: Night,
    pub records: tempfile::TempDir,
    pub settings: NightSettings,
    pub running: Option<Box<Task>>,
    /// Names of steps that were begun, with their games.
    pub begun: Vec<String>,
    pub log: Vec<(Level, String)>,
    pub hooks: Vec<(PathBuf, String, String)>,
    pub awake: bool,
    pub broken: bool,
    pub ended: bool,
}

pub const GB: u64 = 1_000_000_000;

pub fn settings() -> NightSettings {
    let words = |words: &[&str]| words.iter().map(|w| w.to_string()).collect();
    NightSettings {
        inbox: "/inbox".into(),
        library: "/library".into(),
        settle: Duration::from_secs(20),
        patience: Duration::from_secs(900),
        look_again: Duration::from_secs(300),
        jobs: 0,
        quiet: None,
        quiet_jobs: 1,
        reserve: 2 * GB,
        prepare: true,
        after_done: String::new(),
        after_failed: String::new(),
        hook_limit: Duration::from_secs(60),
        angles: [
            ("sideline".to_string(), words(&["sideline", "wide"])),
            ("end-zone".into(), words(&["end zone", "tight"])),
        ]
        .into(),
        key: "k".into(),
        once: false,
    }
}

impl Bed {
    pub fn new(settings: NightSettings) -> Self {
        let made: Shared = Arc::default();
        made.lock().unwrap().room = 100 * GB;
        let records = tempfile::tempdir().unwrap();
        let night = night(&made, records.path(), &settings);
        Self {
            made,
            night,
            records,
            settings,
            running: None,
            begun: Vec::new(),
            log: Vec::new(),
            hooks: Vec::new(),
            awake: false,
            broken: false,
            ended: false,
        }
    }

    /// As after kill -9: only what was recorded is known.
    pub fn restart(&mut self) {
        self.night = night(&self.made, self.records.path(), &self.settings);
        (self.running, self.begun, self.broken) = (None, Vec::new(), false);
    }

    pub fn put(&self, path: &str, size: u64) {
        self.put_as(path, size, Whole::Yes);
    }

    pub fn put_as(&self, path: &str, size: u64, whole: Whole) {
        let mut made = self.made.lock().unwrap();
        let changed = made.now.as_nanos() + 1_789_000_000_000_000_000;
        made.files.insert(path.into(), (Stamp { size, changed }, whole));
    }

    pub fn remove(&self, path: &str) {
        self.made.lock().unwrap().files.remove(Path::new(path)).unwrap();
    }

    pub fn hear(&mut self, event: Event) {
        for order in self.night.hear(event) {
            match order {
                Order::Begin(task, gauge, _) => {
                    assert!(self.running.is_none(), "two steps at once");
                    let game = task.ask.game.name.clone();
                    self.begun.push(format!("{game}: {}", task.name()));
                    self.running = Some(task);
                    drop(gauge);
                    self.broken = false;
                }
                Order::Say(level, words) => {
                    self.broken |= words.contains("is broken off");
                    self.log.push((level, words));
                }
                Order::Hook(folder, state, hook) => self.hooks.push((folder, state, hook.command)),
                Order::StayAwake(awake) => self.awake = awake,
                Order::End => self.ended = true,
            }
        }
    }

    /// Time goes by, in the steps in which the loop would wake.
    pub fn pass(&mut self, seconds: u64) {
        let end = self.made.lock().unwrap().now + Duration::from_secs(seconds);
        loop {
            self.hear(Event::Time);
            let now = self.made.lock().unwrap().now;
            if now >= end {
                return;
            }
            let step = self.night.wait().max(Duration::from_millis(250)).min(end - now);
            self.made.lock().unwrap().now += step;
        }
    }

    /// The step that runs comes to its end.
    pub fn finish(&mut self, with: impl FnOnce(&Task) -> Result<Outcome>) {
        let task = self.running.take().expect("nothing runs");
        let result = with(&task);
        self.hear(Event::Finished(Box::new(result)));
    }

    /// All that can be done is done.
    pub fn work(&mut self) {
        while self.running.is_some() {
            self.finish(done);
        }
    }

    /// What the steps were since the last time.
    pub fn steps(&mut self) -> Vec<String> {
        std::mem::take(&mut self.begun)
    }

    pub fn standing(&self, folder: &str) -> (Standing, String) {
        let status = self.night.status();
        let game = status.games.iter().find(|game| game.folder == folder).unwrap_or_else(|| panic!("{status:?}"));
        (game.standing, game.words.clone())
    }
}

fn night(made: &Shared, records: &Path, settings: &NightSettings) -> Night {
    let asked = Arc::clone(made);
    let world = World {
        clock: Box::new(Scripted(Arc::clone(made))),
        disk: Box::new(Scripted(Arc::clone(made))),
        power: Box::new(Scripted(Arc::clone(made))),
        asked: Box::new(move || asked.lock().unwrap().asked.clone()),
    };
    Night::new(world, settings.clone(), Records::at(records.to_path_buf()), Pace::default())
}

/// A step as it goes on a good night.
pub fn done(task: &Task) -> Result<Outcome> {
    let mut out = Outcome { told: task.told.clone(), ..Outcome::default() };
    match task.step {
        Step::Probe => out.camera = Some(CameraKnown { seconds: 3600.0, nearness: None }),
        Step::Scan => {
            let tight = task.files.iter().any(|(path, _)| path.to_string_lossy().contains("tower"));
            let nearness = Some(if tight { -3.0 } else { -4.5 });
            out.camera = Some(CameraKnown { seconds: 3600.0, nearness });
        }
        Step::Pair => {
            out.told.game = task.ask.game.name.clone();
            out.told.plays = 5;
            out.told.cameras = task.ask.cameras.iter().map(|(name, _)| name.clone()).collect();
        }
        Step::Sheet => out.told.rows = task.files[0].1.size as usize / 100,
        Step::Match => out.told.matched = out.told.rows,
        Step::Cut => out.told.clips = 10,
        Step::Prepare => out.told.segments = 10,
        Step::Asks => {}
        Step::Report => out.reports = vec![PathBuf::from("/library/clips/B/report.html")],
    }
    Ok(out)
}
