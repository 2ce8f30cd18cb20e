//! The night as a machine of states: it hears one event after another and answers with orders. It touches the world through
//! its traits only, starts nothing by itself, and never waits.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use super::clock::{told, within};
use super::decide::{Next, PATIENT};
use super::event::{Event, Level, NightSettings, Order, World};
use super::gauge::Gauge;
use super::pace::Pace;
use super::power::Supply;
use super::record::{Done, Fault, GameRecord, Records};
use super::task::{Outcome, Step, Task};
use crate::base::{ErrorKind, Result, shown};
use crate::watch::{GameToml, Inbox, Stamp};

/// A step that is being done.
pub(super) struct Running {
    pub task: Box<Task>,
    pub gauge: Arc<Gauge>,
    pub began: Duration,
    pub film: f64,
    pub jobs: usize,
    /// Why it is being broken off.
    pub broken: Option<String>,
}

/// A game as it stood when it was last looked at.
pub(super) struct Game {
    pub name: String,
    /// By what games are ordered: the newest first.
    pub day: String,
    pub next: Next,
    pub bytes: u64,
}

/// What a game's own settings say, or what is wrong with them and what to do.
pub(super) type OwnSettings = std::result::Result<GameToml, (String, String)>;

/// The night.
pub struct Night {
    pub(super) world: World,
    pub(super) settings: NightSettings,
    pub(super) records: Records,
    pub(super) kept: BTreeMap<PathBuf, GameRecord>,
    /// Records that are not on the disk yet.
    unsaved: Vec<PathBuf>,
    unsaved_told: bool,
    pub(super) inbox: Inbox,
    pub(super) inbox_away: Option<String>,
    pub(super) games: BTreeMap<PathBuf, Game>,
    pub(super) own: BTreeMap<PathBuf, (Stamp, OwnSettings)>,
    /// When a step that failed is tried again, by folder and step.
    pub(super) due: BTreeMap<(PathBuf, String), Duration>,
    pub(super) running: Option<Running>,
    pub(super) hooks: usize,
    walk_due: Duration,
    walk_took: Duration,
    /// Nothing is begun before this.
    hold_until: Duration,
    /// The disk was full at this room.
    pub(super) full: Option<(u64, Duration)>,
    /// Whether there was too little room when it was looked at last.
    short: bool,
    pub(super) pace: Pace,
    began: Duration,
    pub(super) look: bool,
    /// How often the games were looked at: another number, and what is told may be another.
    pub(super) looks: u64,
    stopping: bool,
    awake: bool,
    pub(super) paused: String,
    pub(super) supply: Supply,
    pub(super) warnings: Vec<String>,
    pub(super) said: BTreeMap<&'static str, String>,
    /// Folders of which a step was done since the start.
    pub(super) worked: BTreeSet<PathBuf>,
}

/// Another process writes to the library: it is asked again after so long.
const BUSY: Duration = Duration::from_secs(5);
/// A full disk is tried again after so long, or once so much more is free.
const FULL: Duration = Duration::from_secs(60);
const FREED: u64 = 64 << 20;
/// While a game waits for a film that does not change the inbox is read so often.
const STILL: Duration = Duration::from_secs(30);
/// While a step runs the world is looked at so often.
const GLANCE: Duration = Duration::from_secs(1);
/// After a hint the inbox is read so much later: more hints will come; and reading it may take a twentieth of the time.
const AFTER_HINT: Duration = Duration::from_secs(1);
const SHARE: u32 = 20;

/// How long until a step that failed so often is tried again.
fn backoff(tries: u32) -> Duration {
    Duration::from_secs(match tries {
        0 | 1 => 60,
        2 => 300,
        3 => 900,
        _ => 3600,
    })
}

impl Night {
    /// One that has not looked yet. `pace`: how long steps take.
    pub fn new(world: World, settings: NightSettings, records: Records, pace: Pace) -> Self {
        let now = world.clock.now();
        Self {
            world,
            settings,
            records,
            kept: BTreeMap::new(),
            unsaved: Vec::new(),
            unsaved_told: false,
            short: false,
            inbox: Inbox::default(),
            inbox_away: None,
            games: BTreeMap::new(),
            own: BTreeMap::new(),
            due: BTreeMap::new(),
            running: None,
            hooks: 0,
            walk_due: now,
            walk_took: Duration::ZERO,
            hold_until: now,
            full: None,
            pace,
            began: now,
            look: true,
            looks: 0,
            stopping: false,
            awake: false,
            paused: String::new(),
            supply: Supply::Mains,
            warnings: Vec::new(),
            said: BTreeMap::new(),
            worked: Default::default(),
        }
    }

    /// Hears an event.
    pub fn hear(&mut self, event: Event) -> Vec<Order> {
        let mut orders = Vec::new();
        let now = self.world.clock.now();
        match event {
            Event::Time => {}
            Event::Hint => {
                let soon = now + AFTER_HINT.max(self.walk_took * SHARE);
                self.walk_due = self.walk_due.min(soon);
            }
            Event::Settings(settings) => {
                self.look |= self.settings != *settings;
                self.settings = *settings;
            }
            Event::Finished(result) => self.finished(*result, now, &mut orders),
            Event::Hooked(folder, state, ended, printed) => {
                self.hooks = self.hooks.saturating_sub(1);
                let game = shown(&folder.to_string_lossy());
                orders.push(Order::Say(Level::Info, format!("{game}: your command: {ended}")));
                let lines = printed.lines().map(|line| format!("{game}: your command said: {}", shown(line)));
                orders.extend(lines.map(|line| Order::Say(Level::Info, line)));
                self.record(&folder).hooked = state;
                self.save(&folder, &mut orders);
            }
            Event::Stop => self.stopping = true,
        }
        self.turn(now, &mut orders);
        orders
    }

    /// How long it may be left alone.
    pub fn wait(&self) -> Duration {
        let now = self.world.clock.now();
        let mut next = self.walk_due;
        if self.running.is_some() || !self.paused.is_empty() || self.hold_until > now {
            next = next.min(now + GLANCE);
        }
        if self.short {
            next = next.min(now + BUSY);
        }
        if let Some(due) = self.due.values().filter(|due| **due > now).min() {
            next = next.min(*due);
        }
        next.saturating_sub(now)
    }

    fn turn(&mut self, now: Duration, orders: &mut Vec<Order>) {
        if now >= self.walk_due && !self.stopping {
            self.walk(now, orders);
        }
        self.save_all(orders);
        self.glance(now, orders);
        if self.look || self.due.values().any(|due| *due <= now) {
            self.judge(now, orders);
        }
        if self.stopping {
            if self.running.is_none() {
                self.stay_awake(false, orders);
                orders.push(Order::End);
            }
            return;
        }
        if self.running.is_none() {
            self.begin(now, orders);
        }
        let waits = self.running.is_some() || self.games.values().any(|g| matches!(g.next, Next::Do(_)));
        self.stay_awake(waits, orders);
        if self.settings.once && self.running.is_none() && self.hooks == 0 && self.is_through(now) {
            orders.push(Order::End);
        }
    }

    /// Whether a single round is over: nothing can be done, and what was there has had the time to settle.
    fn is_through(&self, now: Duration) -> bool {
        let enough = self.began + self.settings.settle * 3;
        let settling = self.inbox.next(now, self.settings.settle).is_some_and(|left| now + left <= enough);
        let can = self.games.values().any(|game| matches!(game.next, Next::Do(_)));
        let cannot = self.inbox_away.is_some() || self.full.is_some() || !self.unsaved.is_empty();
        !settling && (!can || cannot) && now >= self.began + self.settings.settle
    }

    fn walk(&mut self, now: Duration, orders: &mut Vec<Order>) {
        match self.world.disk.walk(&self.settings.inbox) {
            Ok(walked) => {
                if self.inbox_away.take().is_some() {
                    orders.push(Order::Say(Level::Info, "the inbox is back".into()));
                }
                self.inbox.take(walked, now);
            }
            Err(cause) => {
                if self.inbox_away.is_none() {
                    let words = format!("the inbox cannot be read ({cause}); its work goes on when it is back");
                    orders.push(Order::Say(Level::Warn, words));
                }
                self.inbox_away = Some(cause.to_string());
            }
        }
        let settings = &self.settings;
        self.inbox.ask(self.world.disk.as_ref(), &settings.inbox, now, settings.settle);
        let after = self.world.clock.now();
        self.walk_took = after.saturating_sub(now);
        let settles = self.inbox.next(now, settings.settle).unwrap_or(settings.look_again);
        // A film that stands still is waited for by the minute.
        let waited = self.games.values().any(|game| matches!(game.next, Next::Settling(_)));
        let look_again = if waited { settings.look_again.min(STILL) } else { settings.look_again };
        let again = settles.min(look_again).max(self.walk_took * SHARE);
        self.walk_due = after + if self.inbox_away.is_some() { again.min(BUSY) } else { again };
        self.look = true;
    }

    /// Looks at what may break a step off, or keep the next from being begun.
    fn glance(&mut self, now: Duration, orders: &mut Vec<Order>) {
        let supply = self.world.power.supply();
        if supply != self.supply {
            if let (Supply::Battery(full), Supply::Mains) = (supply, self.supply) {
                orders.push(Order::Say(Level::Warn, format!("the machine runs on battery ({full} %)")));
            }
            self.supply = supply;
        }
        let jobs = self.jobs_now();
        self.paused = match (jobs, (self.world.asked)()) {
            (_, Some(what)) => format!("a person's request goes first: {what}"),
            (None, None) => "quiet hours: it goes on after them".to_string(),
            (Some(_), None) => String::new(),
        };
        let room = self.no_room(now);
        if room.is_some() != self.short {
            self.short = room.is_some();
            self.look = true;
        }
        let Some(running) = &mut self.running else { return };
        let gone = running.task.files.iter().find(|(path, was)| self.world.disk.stamp(path) != Some(*was));
        let why = if self.stopping {
            Some("it was asked to stop".to_string())
        } else if !self.paused.is_empty() {
            Some(self.paused.clone())
        } else if jobs != Some(running.jobs) {
            Some("the hours have changed, and with them the cores".into())
        } else if let (Some(room), true) = (room, running.task.step.fills()) {
            Some(room)
        } else {
            gone.map(|(path, _)| format!("{} went away or changed", shown(&path.to_string_lossy())))
        };
        if let (Some(why), None) = (why, &running.broken) {
            orders.push(Order::Say(Level::Info, format!("{} is broken off: {why}", running.task.name())));
            running.gauge.stop();
            running.broken = Some(why);
        }
    }

    /// Cores to be used now; `None`: none.
    fn jobs_now(&self) -> Option<usize> {
        match within(&self.world.clock.wall(), self.settings.quiet) {
            false => Some(self.settings.jobs),
            true => Some(self.settings.quiet_jobs).filter(|jobs| *jobs > 0),
        }
    }

    /// Why nothing large may be written now. Warns before it comes to that.
    pub(super) fn no_room(&mut self, now: Duration) -> Option<String> {
        let room = self.world.disk.room(&self.settings.library)?;
        if let Some((at, since)) = self.full {
            if room > at + FREED || now >= since + FULL {
                self.full = None;
                self.look = true;
            } else {
                return Some("the disk is full: free some room".into());
            }
        }
        let reserve = self.settings.reserve;
        let giga = |bytes: u64| bytes as f64 / 1e9;
        (room < reserve).then(|| {
            format!(
                "{:.1} GB are free and {:.1} are kept free (watch.reserve_gb): free some room",
                giga(room),
                giga(reserve)
            )
        })
    }

    fn begin(&mut self, now: Duration, orders: &mut Vec<Order>) {
        if !self.paused.is_empty() || now < self.hold_until || self.inbox_away.is_some() || !self.unsaved.is_empty() {
            return;
        }
        let Some(jobs) = self.jobs_now() else { return };
        let can = self.games.iter().filter(|(_, game)| matches!(game.next, Next::Do(_)));
        let Some(folder) = can.max_by(|a, b| (&a.1.day, b.0).cmp(&(&b.1.day, a.0))).map(|(folder, _)| folder.clone())
        else {
            return;
        };
        let Some(game) = self.games.get_mut(&folder) else { return };
        let waiting = Next::Waiting(String::new());
        let Next::Do(task) = std::mem::replace(&mut game.next, waiting) else { return };
        let words = format!("{}: {}", game.name, task.step.doing());
        let camera = task.camera.as_ref().map(|camera| format!(", {}", shown(camera))).unwrap_or_default();
        orders.push(Order::Say(Level::Info, format!("{}{camera}", shown(&words))));
        let gauge = Arc::new(Gauge::default());
        let film = self.film_seconds(&folder, &task);
        orders.push(Order::Begin(task.clone(), Arc::clone(&gauge), jobs));
        self.running = Some(Running { task, gauge, began: now, film, jobs, broken: None });
    }

    /// Seconds of film that a step is about.
    fn film_seconds(&self, folder: &Path, task: &Task) -> f64 {
        let Some(record) = self.kept.get(folder) else { return 0.0 };
        let known = match &task.camera {
            Some(camera) => record.cameras.get(camera).map(|c| c.seconds),
            None => Some(record.cameras.values().map(|c| c.seconds).sum()),
        };
        known.filter(|seconds| *seconds > 0.0).unwrap_or_else(|| Pace::film_of(task.bytes()))
    }

    fn finished(&mut self, result: Result<Outcome>, now: Duration, orders: &mut Vec<Order>) {
        let Some(running) = self.running.take() else { return };
        self.look = true;
        let task = running.task;
        let folder = task.folder.clone();
        let step = task.name();
        let at = told(&self.world.clock.wall());
        let game = shown(&folder.to_string_lossy());
        self.worked.insert(folder.clone());
        match result {
            Ok(out) => {
                if running.broken.is_none() {
                    self.pace.learn(task.step, running.film, now.saturating_sub(running.began).as_secs_f64());
                }
                orders.push(Order::Say(Level::Info, format!("{game}: {step}: {}", shown(&out.words))));
                let record = self.record(&folder);
                record.steps.insert(step, Done { key: task.key.clone(), at: at.clone(), fault: None });
                record.at = at;
                record.told = out.told;
                if let (Some(camera), Some(known)) = (&task.camera, out.camera) {
                    let kept = record.cameras.entry(camera.clone()).or_default();
                    kept.seconds = known.seconds;
                    kept.nearness = known.nearness.or(kept.nearness);
                }
                record.told.seconds = record.cameras.values().map(|c| c.seconds).sum();
                if task.step == Step::Pair && record.told.plays > 0 {
                    record.placed.extend(task.placing.0.clone());
                    record.angles.clone_from(&task.placing.1);
                }
                if task.step == Step::Sheet {
                    record.rows.clone_from(&task.key);
                }
                if !out.reports.is_empty() {
                    record.reports = out.reports;
                }
                self.save(&folder, orders);
            }
            Err(error) if error.kind == ErrorKind::Interrupted => {}
            Err(error) if error.kind == ErrorKind::Busy => {
                orders.push(Order::Say(Level::Info, format!("{game}: {step} waits: {error}")));
                self.hold_until = now + BUSY;
            }
            Err(error) if error.kind == ErrorKind::DiskFull => {
                orders.push(Order::Say(Level::Warn, format!("{game}: {step}: {error}")));
                let room = self.world.disk.room(&self.settings.library).unwrap_or(0);
                self.full = Some((room, now));
                self.hold_until = now + BUSY;
            }
            Err(error) if task.files.iter().any(|(path, was)| self.world.disk.stamp(path) != Some(*was)) => {
                let words = format!("{game}: {step}: its film went away or changed meanwhile ({error})");
                orders.push(Order::Say(Level::Warn, words));
                self.walk_due = now;
                self.hold_until = now + BUSY;
            }
            Err(error) => {
                let tries = self.record(&folder).fault(&step, &task.key).map_or(0, |fault| fault.tries) + 1;
                let fault = Fault::of(&error, tries);
                let again = backoff(tries);
                let more = match (fault.refused, tries < PATIENT) {
                    (true, _) => String::new(),
                    (false, _) => format!("; tried again in {} min", again.as_secs() / 60),
                };
                orders.push(Order::Say(Level::Error, format!("{game}: {step}: {}{more}", shown(&error.to_string()))));
                if !fault.refused {
                    self.due.insert((folder.clone(), step.clone()), now + again);
                }
                let record = self.record(&folder);
                record.steps.insert(step, Done { key: task.key.clone(), at: at.clone(), fault: Some(fault) });
                record.at = at;
                self.save(&folder, orders);
            }
        }
    }

    pub(super) fn record(&mut self, folder: &Path) -> &mut GameRecord {
        let records = &self.records;
        self.kept.entry(folder.to_path_buf()).or_insert_with(|| records.load(folder))
    }

    fn save(&mut self, folder: &Path, orders: &mut Vec<Order>) {
        if !self.unsaved.iter().any(|one| one == folder) {
            self.unsaved.push(folder.to_path_buf());
        }
        self.save_all(orders);
    }

    /// Each step is recorded before the next one begins: what cannot be written now is written later, and nothing begins.
    fn save_all(&mut self, orders: &mut Vec<Order>) {
        let mut failed = None;
        let (records, kept) = (&self.records, &self.kept);
        self.unsaved.retain(|folder| match kept.get(folder).map(|record| records.save(folder, record)) {
            Some(Err(error)) => {
                failed = Some(error.to_string());
                true
            }
            _ => false,
        });
        match (failed, self.unsaved_told) {
            (Some(why), false) => {
                orders.push(Order::Say(Level::Warn, format!("{why}; nothing more is begun until it can be written")));
                self.unsaved_told = true;
            }
            (None, _) => self.unsaved_told = false,
            _ => {}
        }
        if !self.unsaved.is_empty() {
            self.hold_until = self.world.clock.now() + GLANCE;
        }
    }

    fn stay_awake(&mut self, awake: bool, orders: &mut Vec<Order>) {
        if awake != self.awake {
            self.awake = awake;
            orders.push(Order::StayAwake(awake));
        }
    }
}
