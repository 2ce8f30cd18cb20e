//! `downbox watch`: the night shift over the library's inbox.

use std::cell::RefCell;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use serde_json::{Value, json};

use super::args::{Common, Watch};
use super::output::{self, Outcome};
use super::progress::Chain;
use super::{journal, shelf, wire};
use crate::base::{Error, IoContext, Result};
use crate::daemon::{self, Daemon, Gauge, Level, LibraryWorker, Logind, NightSettings, Round, WATCH_LOCK};
use crate::jobs::{Config, Tools};
use crate::library::{WriteLock, on_network};

/// A folder whose changes are told is read anew after so long all the same; a network share, whose are not, sooner.
const TOLD: Duration = Duration::from_secs(300);
const UNTOLD: Duration = Duration::from_secs(30);

/// Runs it.
pub fn run(common: &Common, args: &Watch, chain: &Chain) -> Result<Outcome> {
    // One night shift a library; a second one learns of the first before it asks for anything.
    let lock = |folder: &Path| {
        std::fs::create_dir_all(folder.join("log")).doing("make the log's folder", folder)?;
        WriteLock::named(folder, WATCH_LOCK, "the inbox is being worked off")
    };
    let there = shelf::present(common)?.map(|folder| lock(&folder)).transpose()?;
    // Made if need be, and let go at once: between its steps the library is free for others.
    let library = shelf::open_or_make(common)?;
    let given = library.folder().to_path_buf();
    library.close()?;
    let folder = std::path::absolute(&given).doing("find the library", &given)?;
    let _one = match there {
        Some(lock) => lock,
        None => lock(&folder)?,
    };
    let inbox = match &args.inbox {
        Some(inbox) => std::path::absolute(inbox).doing("find the inbox", inbox)?,
        None => folder.join("inbox"),
    };
    // Read anew only where a file of them changed: this is asked all night long.
    let known: RefCell<Option<NightSettings>> = RefCell::default();
    let settings = || {
        let key = Config::fingerprint(&folder);
        let same = known.borrow().clone().filter(|settings| settings.key == key);
        let settings = same.map_or_else(|| settings(&folder, &inbox, args, key), Ok)?;
        known.replace(Some(settings.clone()));
        Ok(settings)
    };
    // What is wrong with the settings is told before anything is begun.
    let nice = Config::load(Some(&folder))?.settings.watch.nice;
    settings()?;
    journal::open(&folder, common.quiet);
    if nice > 0 {
        // Where the system does not allow it we are as urgent as others.
        let _ = rustix::process::nice(nice);
    }
    if !args.once && !common.quiet {
        let inbox = output::path(&inbox);
        output::note(format!("watching {inbox}; see how it stands with `downbox status`; stop with Ctrl-C"));
    }
    let lend = |gauge: &Gauge, config: &Config, work: &mut dyn FnMut(Tools<'_>) -> Result<()>| {
        wire::with_tools(gauge, &config.settings, work)
    };
    let worker = Arc::new(LibraryWorker { library: folder.clone(), lend: Box::new(lend) });
    let mut logind = Logind::default();
    let round = daemon::run(&mut Daemon {
        settings: &settings,
        worker,
        stop: chain.stop(),
        inhibitor: &mut logind,
        say: &say,
    })?;
    tell(&round, common.json)?;
    Ok(match (round.failed.is_empty(), round.taken.is_empty()) {
        (false, _) => Outcome::Failed,
        (true, true) => Outcome::Nothing,
        (true, false) => Outcome::Done,
    })
}

fn say(level: Level, words: &str) {
    match level {
        Level::Info => tracing::info!("{words}"),
        Level::Warn => tracing::warn!("{words}"),
        Level::Error => tracing::error!("{words}"),
    }
}

fn settings(library: &Path, inbox: &Path, args: &Watch, key: String) -> Result<NightSettings> {
    let config = Config::load(Some(library))?;
    let watch = config.settings.watch;
    let quiet = watch.quiet_hours().map_err(|what| Error::refused(what, library.display(), "mend the settings"))?;
    Ok(NightSettings {
        inbox: inbox.to_path_buf(),
        library: library.to_path_buf(),
        settle: Duration::from_secs(args.settle.unwrap_or(watch.settle)),
        patience: Duration::from_secs_f64(watch.patience * 60.0),
        look_again: if on_network(inbox) { UNTOLD } else { TOLD },
        jobs: args.jobs.unwrap_or(watch.jobs),
        quiet,
        quiet_jobs: watch.quiet_jobs,
        reserve: args.reserve.unwrap_or_else(|| watch.reserve()),
        prepare: watch.prepare && !args.no_prepare,
        after_done: watch.after_done,
        after_failed: watch.after_failed,
        hook_limit: Duration::from_secs(watch.hook_seconds),
        angles: watch.angles,
        key,
        once: args.once,
    })
}

/// What a single round came to.
fn tell(round: &Round, as_json: bool) -> Result<()> {
    let Round { taken, failed, changing, empty } = round;
    if as_json {
        let pairs = |list: &[(String, String)]| -> Vec<Value> {
            list.iter().map(|(folder, words)| json!({"folder": folder, "outcome": words})).collect()
        };
        let still: Vec<&String> = changing.iter().map(|(folder, _)| folder).collect();
        let document =
            json!({"taken": pairs(taken), "failed": pairs(failed), "changing": still, "empty": pairs(empty)});
        return output::print_json(&document);
    }
    for (folder, words) in taken {
        output::print(&format!("{folder}: {words}\n"))?;
    }
    for (folder, words) in failed.iter().chain(empty) {
        output::note(format!("{}: {folder}: {words}", output::check_word()));
    }
    for (folder, words) in changing {
        output::note(format!("{folder}: {words}; it is taken when it has settled"));
    }
    Ok(())
}
