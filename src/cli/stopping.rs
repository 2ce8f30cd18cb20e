//! Ctrl-C and SIGTERM: the first asks to stop, the second ends at once.

use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::flag;
use signal_hook::iterator::Signals;

use super::output;
use crate::base::{Error, Result};

/// The exit code of a command that was stopped: 128 and the number of SIGINT, as shells tell it (practice).
pub const STOPPED: u8 = 130;

/// From now on the first signal sets `stop` and says `kept` (what is not lost); the second ends the program, whatever it
/// is at. What was half-written then is cleared by the next run.
///
/// # Errors
/// That the system does not take the handlers.
pub fn listen(stop: &Arc<AtomicBool>, kept: Option<&'static str>) -> Result<()> {
    let failed = |cause: std::io::Error| {
        Error::failed("cannot listen for Ctrl-C", "", "run the command again; report this if it stays so")
            .because(cause)
    };
    for signal in [SIGINT, SIGTERM] {
        // In this order: the first signal finds the flag down, and raises it.
        flag::register_conditional_shutdown(signal, i32::from(STOPPED), Arc::clone(stop)).map_err(failed)?;
        flag::register(signal, Arc::clone(stop)).map_err(failed)?;
    }
    let Some(kept) = kept else { return Ok(()) };
    let _ = KEPT.set(Mutex::new(Some(kept)));
    let mut signals = Signals::new([SIGINT, SIGTERM]).map_err(failed)?;
    // It ends with the program.
    std::thread::spawn(move || {
        if signals.forever().next().is_some() {
            tell();
        }
    });
    Ok(())
}

/// What is not lost, until it is told.
static KEPT: OnceLock<Mutex<Option<&'static str>>> = OnceLock::new();

/// Says once that the work stops and what is kept. Held until it is said: a program that ends sooner waits for it.
pub fn tell() {
    let Some(kept) = KEPT.get() else { return };
    let mut kept = kept.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(words) = kept.take() {
        output::note(format!("stopping: {words}; Ctrl-C again ends at once"));
    }
}
