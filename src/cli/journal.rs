//! Where the log goes: to files in the library that are rotated, and, for a service, to the journal.

use std::fmt::Write as _;
use std::path::Path;

use tracing::field::{Field, Visit};
use tracing::{Event, Level, Subscriber};
use tracing_appender::rolling::{RollingFileAppender, Rotation};
use tracing_subscriber::Layer;
use tracing_subscriber::layer::{Context, SubscriberExt};
use tracing_subscriber::util::SubscriberInitExt;

use super::output;

/// So many days of the log are kept.
const DAYS: usize = 30;

/// From now on what is told to the log goes there. `quiet`: nothing but warnings on standard error.
pub fn open(library: &Path, quiet: bool) {
    let folder = library.join("log");
    let builder = RollingFileAppender::builder();
    let file = builder
        .rotation(Rotation::DAILY)
        .filename_prefix("watch")
        .filename_suffix("log")
        .max_log_files(DAYS)
        .build(folder)
        .map(|file| {
            tracing_subscriber::fmt::layer()
                .with_ansi(false)
                .with_target(false)
                .with_writer(file)
                .log_internal_errors(false)
        });
    let journal = std::env::var_os("JOURNAL_STREAM").is_some();
    // A second call finds the first in force, and that is well.
    let _ = tracing_subscriber::registry().with(file.ok()).with(Terminal { journal, quiet }).try_init();
}

/// Lines on standard error: with their weight in front where the journal reads them (sd-daemon(3)).
struct Terminal {
    journal: bool,
    quiet: bool,
}

impl<S: Subscriber> Layer<S> for Terminal {
    fn on_event(&self, event: &Event<'_>, _context: Context<'_, S>) {
        let level = *event.metadata().level();
        if level > Level::INFO || (self.quiet && level > Level::WARN) {
            return;
        }
        let mut words = Words(String::new());
        event.record(&mut words);
        let Words(words) = words;
        let weight = match level {
            Level::ERROR => 3,
            Level::WARN => 4,
            _ => 6,
        };
        match (self.journal, weight) {
            (true, weight) => output::note(format!("<{weight}>{words}")),
            (false, 6) => output::note(words),
            (false, _) => output::note(format!("{}: {words}", output::check_word())),
        }
    }
}

/// The message of an event.
struct Words(String);

impl Visit for Words {
    fn record_debug(&mut self, field: &Field, value: &dyn std::fmt::Debug) {
        if field.name() == "message" {
            let _ = write!(self.0, "{value:?}");
        }
    }
}
