//! Progress as a chain of ten links on standard error.

use std::io::IsTerminal;
use std::sync::Mutex;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::base::Progress;

/// Draws progress where standard error is a terminal; prints warnings always.
pub struct Chain {
    bar: Mutex<Option<ProgressBar>>,
    draw: bool,
}

impl Chain {
    /// `quiet`: no bar.
    pub fn new(quiet: bool) -> Self {
        let dumb = std::env::var_os("TERM").is_some_and(|t| t == "dumb");
        Self { bar: Mutex::new(None), draw: !quiet && !dumb && std::io::stderr().is_terminal() }
    }

    /// Takes the bar away.
    pub fn end(&self) {
        if let Ok(mut bar) = self.bar.lock()
            && let Some(bar) = bar.take()
        {
            bar.finish_and_clear();
        }
    }
}

impl Progress for Chain {
    fn stage(&self, name: &str, total: u64) {
        self.end();
        if !self.draw {
            return;
        }
        let bar = ProgressBar::with_draw_target(Some(total.max(1)), ProgressDrawTarget::stderr_with_hz(8));
        let links = if total == 0 { "{msg} {pos}" } else { "{bar:10} {msg} {pos} of {len}, {eta} left" };
        if let Ok(style) = ProgressStyle::with_template(links) {
            bar.set_style(style.progress_chars("=>-"));
        }
        bar.set_message(name.to_string());
        if let Ok(mut held) = self.bar.lock() {
            *held = Some(bar);
        }
    }

    fn at(&self, done: u64) {
        if let Ok(bar) = self.bar.lock()
            && let Some(bar) = bar.as_ref()
        {
            bar.set_position(done);
        }
    }

    fn warn(&self, words: &str) {
        let say = || super::output::note(format!("{}: {words}", super::output::check_word()));
        match self.bar.lock() {
            Ok(bar) => match bar.as_ref() {
                Some(bar) => bar.suspend(say),
                None => say(),
            },
            Err(_) => say(),
        }
    }
}
