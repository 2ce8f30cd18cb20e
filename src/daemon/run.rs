//! The loop: hears events, asks the night, carries its orders out. One thread does steps, one step at a time.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::{Duration, Instant};

use notify::{RecursiveMode, Watcher};
use rustix::thread::CpuSet;

use super::clock::{Clock, RealClock, told};
use super::event::{Event, Level, NightSettings, Order, World};
use super::gauge::Gauge;
use super::inhibit::Inhibitor;
use super::night::Night;
use super::pace::Pace;
use super::power::SystemPower;
use super::record::Records;
use super::requests;
use super::service::Service;
use super::status::Status;
use super::task::Task;
use super::tell::Round;
use super::worker::Worker;
use crate::base::{IoContext, Result, go_on};
use crate::watch::RealDisk;

/// How soon a stop is noticed, and how long the loop sleeps at most.
const SLICE: Duration = Duration::from_millis(250);
/// How often the status is written while something is being done, and else.
const BUSY_STATUS: Duration = Duration::from_secs(2);
const IDLE_STATUS: Duration = Duration::from_secs(60);
/// The settings are read anew so often.
const SETTINGS: Duration = Duration::from_secs(10);

/// What the loop is given.
pub struct Daemon<'a> {
    /// The settings in force, read anew now and then.
    pub settings: &'a dyn Fn() -> Result<NightSettings>,
    /// Does the steps.
    pub worker: Arc<dyn Worker>,
    /// Set by a signal.
    pub stop: &'a AtomicBool,
    /// Keeps the machine awake.
    pub inhibitor: &'a mut dyn Inhibitor,
    /// Hears what the log hears.
    pub say: &'a dyn Fn(Level, &str),
}

/// Runs until it is stopped, or, `once`, until nothing is left to be done.
///
/// # Errors
/// The settings cannot be read at the start; `Interrupted` if it was stopped.
pub fn run(daemon: &mut Daemon<'_>) -> Result<Round> {
    let settings = (daemon.settings)()?;
    let library = settings.library.clone();
    std::fs::create_dir_all(library.join("log")).doing("make the log's folder", &library)?;
    // A drive that is away is no reason not to begin: the inbox of the library itself is made.
    if settings.inbox.starts_with(&library) {
        std::fs::create_dir_all(&settings.inbox).doing("make the inbox", &settings.inbox)?;
    }
    let asked = library.clone();
    let world = World {
        clock: Box::new(RealClock::default()),
        disk: Box::new(RealDisk),
        power: Box::new(SystemPower::default()),
        asked: Box::new(move || requests::asked(&asked)),
    };
    let pace_file = library.join("log/pace.json");
    let records = Records::at(library.join("log/games"));
    let mut night = Night::new(world, settings.clone(), records, Pace::load(&pace_file));
    let (send, events) = channel();
    let mut signs = Signs::of(&settings.inbox);
    let service = Service::of_environment();
    let since = told(&RealClock::default().wall());
    let mut state = State {
        library,
        since,
        status_due: Instant::now(),
        alive_due: Instant::now(),
        service,
        told_awake: AtomicBool::new(false),
    };
    state.service.tell("READY=1");
    let mut settings_due = Instant::now() + SETTINGS;
    let mut orders = night.hear(Event::Time);
    let (mut stopped, mut looks) = (false, 0);
    loop {
        let mut ended = false;
        let changed = !orders.is_empty() || std::mem::replace(&mut looks, night.looks) != night.looks;
        for order in orders.drain(..) {
            ended |= matches!(order, Order::End);
            carry_out(daemon, order, &send, &state);
        }
        state.tell(&night, changed);
        if ended {
            break;
        }
        let event = next(&night, &events, &signs.heard, daemon.stop, &mut stopped, &mut state);
        if Instant::now() >= settings_due {
            settings_due = Instant::now() + SETTINGS;
            match (daemon.settings)() {
                Ok(now) => {
                    if signs.is_lost(&now.inbox) {
                        signs = Signs::of(&now.inbox);
                    }
                    orders.extend(night.hear(Event::Settings(Box::new(now))));
                }
                Err(error) => (daemon.say)(Level::Warn, &format!("the settings before stay in force: {error}")),
            }
        }
        orders.extend(night.hear(event));
    }
    daemon.inhibitor.hold(false);
    state.service.tell("STOPPING=1");
    // Only what is expected is less sure without it.
    let _ = night.pace.save(&pace_file);
    let stop = daemon.stop.load(Ordering::Relaxed);
    state.bye(&night, if stop { "it was stopped; the same command goes on" } else { "all was done" });
    struct Asked(bool);
    impl crate::base::Progress for Asked {
        fn stage(&self, _: &str, _: u64) {}
        fn at(&self, _: u64) {}
        fn warn(&self, _: &str) {}
        fn stop_asked(&self) -> bool {
            self.0
        }
    }
    go_on(&Asked(stop), "watching")?;
    Ok(night.round())
}

/// The next event, or that time has gone by.
fn next(
    night: &Night,
    events: &Receiver<Event>,
    hinted: &AtomicBool,
    stop: &AtomicBool,
    stopped: &mut bool,
    state: &mut State,
) -> Event {
    let until = Instant::now() + night.wait();
    loop {
        if stop.load(Ordering::Relaxed) && !std::mem::replace(stopped, true) {
            return Event::Stop;
        }
        state.alive();
        let left = until.saturating_duration_since(Instant::now());
        match events.recv_timeout(left.min(SLICE)) {
            Ok(event) => return event,
            Err(_) if hinted.swap(false, Ordering::Relaxed) => return Event::Hint,
            Err(RecvTimeoutError::Timeout) if left <= SLICE => return Event::Time,
            Err(RecvTimeoutError::Timeout) => {}
            // We hold a sender ourselves.
            Err(RecvTimeoutError::Disconnected) => return Event::Time,
        }
    }
}

fn carry_out(daemon: &mut Daemon<'_>, order: Order, send: &Sender<Event>, state: &State) {
    match order {
        Order::Say(level, words) => (daemon.say)(level, &words),
        Order::StayAwake(held) => {
            if !daemon.inhibitor.hold(held) && !state.told_awake.swap(true, Ordering::Relaxed) {
                (daemon.say)(Level::Info, "sleep cannot be held off here (no systemd-inhibit): keep the machine awake");
            }
        }
        Order::Begin(task, gauge, jobs) => begin(Arc::clone(&daemon.worker), task, gauge, jobs, send.clone()),
        Order::Hook(folder, word, hook) => {
            let send = send.clone();
            std::thread::spawn(move || {
                let (ended, printed) = hook.run();
                // The loop is gone only when the program ends.
                let _ = send.send(Event::Hooked(folder, word, ended, printed));
            });
        }
        Order::End => state.service.tell("STOPPING=1"),
    }
}

fn begin(worker: Arc<dyn Worker>, task: Box<Task>, gauge: Arc<Gauge>, jobs: usize, send: Sender<Event>) {
    std::thread::spawn(move || {
        use_cores(jobs);
        let written = told(&RealClock::default().wall());
        let done = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| worker.carry_out(&task, &gauge, &written)));
        let done = done.unwrap_or_else(|_| {
            let next = "report this with the film's format; the other games go on";
            Err(crate::base::Error::failed("the step died", task.name(), next))
        });
        let _ = send.send(Event::Finished(Box::new(done)));
    });
}

/// This thread, and those that it starts, use so many of the cores that we were given; 0: all.
fn use_cores(count: usize) {
    let Ok(given) = rustix::thread::sched_getaffinity(None) else { return };
    if count == 0 || count >= given.count() as usize {
        return;
    }
    let mut ours = CpuSet::new();
    let cores = (0..CpuSet::MAX_CPU).filter(|core| given.is_set(*core)).take(count);
    cores.for_each(|core| ours.set(core));
    // Where the system does not allow it the step uses all.
    let _ = rustix::thread::sched_setaffinity(None, &ours);
}

/// What the loop tells the outside.
struct State {
    library: PathBuf,
    since: String,
    status_due: Instant,
    alive_due: Instant,
    service: Service,
    /// Whether it was told that sleep cannot be held off.
    told_awake: AtomicBool,
}

impl State {
    fn alive(&mut self) {
        if let Some(every) = self.service.every
            && Instant::now() >= self.alive_due
        {
            self.alive_due = Instant::now() + every;
            self.service.tell("WATCHDOG=1");
        }
    }

    fn tell(&mut self, night: &Night, changed: bool) {
        if !changed && Instant::now() < self.status_due {
            return;
        }
        let status = self.status(night);
        let busy = status.doing.is_some();
        self.status_due = Instant::now() + if busy { BUSY_STATUS } else { IDLE_STATUS };
        let words = match &status.doing {
            Some(doing) => format!("STATUS={}: {}", doing.game, doing.words),
            None => "STATUS=waiting".to_string(),
        };
        self.service.tell(&words);
        // A full disk has no room for it; the next is tried again.
        let _ = status.write(&self.library);
    }

    fn status(&self, night: &Night) -> Status {
        Status { pid: std::process::id(), since: self.since.clone(), ..night.status() }
    }

    fn bye(&self, night: &Night, how: &str) {
        let status = Status { ended: how.to_string(), ..self.status(night) };
        let _ = status.write(&self.library);
    }
}

/// Signs that something changed in the inbox. Hints only: the night reads the folder itself.
struct Signs {
    inbox: PathBuf,
    /// Set by any number of signs; a copy under way gives thousands a second.
    heard: Arc<AtomicBool>,
    /// Kept for as long as it is to watch; `None` where the system cannot.
    watcher: Option<notify::RecommendedWatcher>,
}

impl Signs {
    fn of(inbox: &Path) -> Self {
        let heard: Arc<AtomicBool> = Arc::default();
        let hear = Arc::clone(&heard);
        let watcher = notify::recommended_watcher(move |event: notify::Result<notify::Event>| {
            if is_sign(&event) {
                hear.store(true, Ordering::Relaxed);
            }
        });
        let watcher = watcher.ok().and_then(|mut w| w.watch(inbox, RecursiveMode::Recursive).is_ok().then_some(w));
        Self { inbox: inbox.to_path_buf(), heard, watcher }
    }

    /// Whether it is to be set up anew: the inbox was away and is back, or is another.
    fn is_lost(&self, inbox: &Path) -> bool {
        self.inbox != inbox || (self.watcher.is_none() && inbox.is_dir())
    }
}

/// Whether an event may mean that there is something to take. Reading is none: the night reads the inbox itself.
fn is_sign(event: &notify::Result<notify::Event>) -> bool {
    event.as_ref().map_or(true, |event| !event.kind.is_access())
}

#[cfg(test)]
mod tests {
    use notify::EventKind;
    use notify::event::{AccessKind, AccessMode, CreateKind, ModifyKind};

    use super::*;

    #[test]
    fn the_nights_own_reading_is_no_sign() {
        let event = |kind| Ok(notify::Event::new(kind));
        assert!(!is_sign(&event(EventKind::Access(AccessKind::Open(AccessMode::Any)))));
        assert!(!is_sign(&event(EventKind::Access(AccessKind::Close(AccessMode::Read)))));
        assert!(is_sign(&event(EventKind::Create(CreateKind::File))));
        assert!(is_sign(&event(EventKind::Modify(ModifyKind::Any))));
        assert!(is_sign(&Err(notify::Error::generic("events were lost"))));
    }
}
