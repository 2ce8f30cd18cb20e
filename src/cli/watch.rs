//! `downbox watch`: takes game folders out of the library's inbox, by itself, through the night.

use std::path::Path;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Duration;

use notify::{RecursiveMode, Watcher};
use serde_json::{Value, json};

use super::args::{Common, Watch};
use super::output::{self, Outcome};
use super::progress::Chain;
use super::{cut, shelf, wire};
use crate::base::{IoContext, Result, go_on};
use crate::film::Angle;
use crate::jobs::{self, Config, CutAsk};
use crate::library::{Access, GameIn, Library};
use crate::watch::{GameFolder, Inbox, Ledger, Round};

/// Without any sign from the file system the inbox is looked at this often: a folder on a network drive sends none.
const LOOK_AGAIN: Duration = Duration::from_secs(30);

/// How soon a stop is noticed.
const SLICE: Duration = Duration::from_millis(250);

/// A folder that failed for want of room or of a drive is tried again after this long, or when something changes.
const TRY_AGAIN: Duration = Duration::from_secs(300);

/// Runs it.
pub fn run(common: &Common, args: &Watch, chain: &Chain) -> Result<Outcome> {
    // Made if need be, and let go at once: between games the library is free for others.
    let library = shelf::open_or_make(common)?;
    let folder = library.folder().to_path_buf();
    library.close()?;
    let inbox = Inbox { folder: folder.join("inbox"), settle: Duration::from_secs(args.settle), progress: chain };
    let mut ledger = Ledger::open(&folder.join("log").join("watch.json"));
    let signs = signs(&inbox.folder)?;
    if !args.once && !common.quiet {
        output::note(format!("watching {}; stop with Ctrl-C", output::path(&inbox.folder)));
    }
    loop {
        let round =
            inbox.round(&mut ledger, &mut |time| _ = chain.wait(time), &mut |game| take(&folder, game, chain))?;
        chain.end();
        tell(&round, common.json, args.once)?;
        if args.once {
            let failed = !round.failed.is_empty();
            return Ok(match (failed, round.taken.is_empty()) {
                (true, _) => Outcome::Failed,
                (false, true) => Outcome::Nothing,
                (false, false) => Outcome::Done,
            });
        }
        // What changed while the round ran is a reason to look again at once.
        let pause = if round.failed.is_empty() { LOOK_AGAIN } else { TRY_AGAIN };
        let mut left = pause;
        while signs.heard.try_iter().count() == 0 && !left.is_zero() {
            go_on(chain, "watching")?;
            let slice = left.min(SLICE);
            match signs.heard.recv_timeout(slice) {
                Ok(()) => break,
                Err(RecvTimeoutError::Timeout) => {}
                // The system cannot watch this folder: no sign will come.
                Err(RecvTimeoutError::Disconnected) => _ = chain.wait(slice),
            }
            left -= slice;
        }
        go_on(chain, "watching")?;
    }
}

/// Signs that something changed in the inbox. Hints only: each round reads the folder itself.
struct Signs {
    heard: Receiver<()>,
    /// Kept for as long as it is to watch; `None` where the system cannot.
    _watcher: Option<notify::RecommendedWatcher>,
}

fn signs(inbox: &Path) -> Result<Signs> {
    std::fs::create_dir_all(inbox).doing("make the inbox", inbox)?;
    let (send, heard) = channel();
    let watcher = notify::recommended_watcher(move |event: notify::Result<notify::Event>| {
        if is_sign(&event) {
            // The receiver is gone only when the program ends.
            let _ = send.send(());
        }
    });
    let watcher = watcher.ok().and_then(|mut w| w.watch(inbox, RecursiveMode::Recursive).is_ok().then_some(w));
    Ok(Signs { heard, _watcher: watcher })
}

/// Whether an event may mean that there is something to take. Reading is none: each round reads the inbox itself.
fn is_sign(event: &notify::Result<notify::Event>) -> bool {
    event.as_ref().map_or(true, |event| !event.kind.is_access())
}

/// Cuts one game folder.
fn take(library: &Path, game: &GameFolder, chain: &Chain) -> Result<String> {
    let mut library = Library::open(library, Access::Write)?;
    let config = Config::load(Some(library.folder()))?;
    // A film named woven holds both angles, unless one of them has a film of its own.
    let angled = game.cameras.iter().any(|(name, _)| Angle::named(name) != Angle::Unknown);
    let (woven, cameras): (Vec<_>, Vec<_>) =
        game.cameras.iter().cloned().partition(|(name, _)| !angled && name.eq_ignore_ascii_case("woven"));
    let ask = CutAsk {
        game: GameIn { name: game.game.clone(), date: game.date.clone(), ..GameIn::default() },
        cameras,
        woven: woven.into_iter().flat_map(|(_, films)| films).collect(),
        sheets: game.sheet.iter().cloned().collect(),
        ..CutAsk::default()
    };
    let done = wire::with_tools(chain, &config.settings, |tools| jobs::cut(tools, &config, &mut library, &ask))?;
    library.close()?;
    output::tell_problems(&done.problems);
    Ok(match done.plays {
        0 => "no play was found in its film".to_string(),
        _ => cut::in_short(&done),
    })
}

fn tell(round: &Round, json: bool, once: bool) -> Result<()> {
    if json {
        let pairs = |list: &[(String, String)]| -> Vec<Value> {
            list.iter().map(|(folder, words)| json!({"folder": folder, "outcome": words})).collect()
        };
        let document =
            json!({"taken": pairs(&round.taken), "failed": pairs(&round.failed), "changing": round.changing});
        // One document for one round; a watcher that goes on says nothing of rounds in which nothing happened.
        if once {
            return output::print_json(&document);
        }
        return if round == &Round::default() { Ok(()) } else { output::print(&format!("{document}\n")) };
    }
    for (folder, words) in &round.taken {
        output::print(&format!("{folder}: {words}\n"))?;
    }
    // Failures were told as warnings when they happened.
    for folder in &round.changing {
        output::note(format!("{folder}: still changing; it is taken when it has settled"));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use notify::event::{AccessKind, AccessMode, CreateKind, ModifyKind};
    use notify::{Event, EventKind};

    use super::*;

    #[test]
    fn the_watchers_own_reading_is_no_sign() {
        let event = |kind| Ok(Event::new(kind));
        assert!(!is_sign(&event(EventKind::Access(AccessKind::Open(AccessMode::Any)))));
        assert!(!is_sign(&event(EventKind::Access(AccessKind::Close(AccessMode::Read)))));
        assert!(is_sign(&event(EventKind::Create(CreateKind::File))));
        assert!(is_sign(&event(EventKind::Modify(ModifyKind::Any))));
        assert!(is_sign(&Err(notify::Error::generic("events were lost"))));
    }
}
