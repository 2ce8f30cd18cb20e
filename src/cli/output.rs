//! What is printed, and how: results on standard output, the rest on standard error; the terminal's own colors.

use std::io::{IsTerminal, Write};
use std::path::Path;
use std::process::ExitCode;

use serde_json::json;

use super::stopping;
pub use crate::base::count;
use crate::base::{Error, ErrorKind, Problem};

/// How a command ended that did not fail.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Done, also with problems listed.
    Done,
    /// Done, but nothing matched or nothing was found.
    Nothing,
    /// Part of it failed, and was told.
    Failed,
}

impl Outcome {
    /// Nothing if `count` is 0.
    pub fn of(count: usize) -> Self {
        if count == 0 { Self::Nothing } else { Self::Done }
    }
}

impl From<Outcome> for ExitCode {
    fn from(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Done => Self::SUCCESS,
            Outcome::Nothing => Self::from(1),
            Outcome::Failed => Self::from(2),
        }
    }
}

/// Writes to standard output; a closed pipe is no failure.
pub fn print(text: &str) -> Result<(), Error> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(cause) if cause.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        Err(cause) => Err(Error::failed("cannot print the result", "", "check where the output goes").because(cause)),
        Ok(()) => Ok(()),
    }
}

/// Prints one JSON document.
pub fn print_json(document: &serde_json::Value) -> Result<(), Error> {
    print(&format!("{document:#}\n"))
}

/// A line on standard error. Where that is closed nobody is left to be told, and the work goes on.
pub fn note(line: impl std::fmt::Display) {
    let _ = writeln!(std::io::stderr(), "{line}");
}

/// The error on standard error, and as JSON on standard output if asked.
pub fn fail(error: &Error, json: bool) -> ExitCode {
    if json {
        let document = json!({"error": {"what": message(error), "where": error.place, "next": error.next}});
        // Nothing is left to tell if even this cannot be printed.
        let _ = print_json(&document);
    }
    let word = color("problem", "31", std::io::stderr().is_terminal());
    let lines: Vec<_> = error.place.lines().filter(|line| !line.trim().is_empty()).collect();
    if lines.len() > 1 {
        // A place of several lines is a phrase with a mark under the word.
        note(format!("{word}: {}", message(error)));
        lines.iter().for_each(|l| note(format!("  {l}")));
    } else {
        note(format!("{word}: {error}"));
    }
    if !error.next.is_empty() {
        note(format!("  next: {}", error.next));
    }
    ExitCode::from(if error.kind == ErrorKind::Interrupted { stopping::STOPPED } else { 2 })
}

fn message(error: &Error) -> String {
    match &error.source {
        Some(source) => format!("{} ({source})", error.what),
        None => error.what.clone(),
    }
}

/// Whether a stream shows color: a terminal, and neither `NO_COLOR` nor a dumb one.
fn color(text: &str, code: &str, terminal: bool) -> String {
    let plain = !terminal
        || std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty())
        || std::env::var_os("TERM").is_some_and(|t| t == "dumb");
    if plain { text.into() } else { format!("\x1b[{code}m{text}\x1b[0m") }
}

/// The word that stands before everything a person should look at, yellow on standard error.
pub fn check_word() -> String {
    color("check", "33", std::io::stderr().is_terminal())
}

/// The same on standard output.
pub fn check_word_out() -> String {
    color("check", "33", std::io::stdout().is_terminal())
}

/// The word that stands before what is wrong, red on standard output.
pub fn damage_word_out() -> String {
    color("damage", "31", std::io::stdout().is_terminal())
}

/// A number that answers the question: bold.
pub fn strong(text: impl std::fmt::Display) -> String {
    color(&text.to_string(), "1", std::io::stdout().is_terminal())
}

/// What is read second: dim.
pub fn dim(text: impl std::fmt::Display) -> String {
    color(&text.to_string(), "2", std::io::stdout().is_terminal())
}

/// What can be pasted back: cyan.
pub fn paste(text: impl std::fmt::Display) -> String {
    color(&text.to_string(), "36", std::io::stdout().is_terminal())
}

/// Bytes as people read them.
pub fn size(bytes: u64) -> String {
    let mega = bytes as f64 / 1e6;
    if mega >= 1000.0 { format!("{:.1} GB", mega / 1000.0) } else { format!("{mega:.1} MB") }
}

/// A question on standard error; the answer comes on the same line.
pub fn ask(question: &str) {
    let mut err = std::io::stderr();
    // Where nobody sees the question, nobody answers it, and that is no.
    let _ = write!(err, "{question}").and_then(|()| err.flush());
}

/// A path as a person in the present folder writes it.
pub fn path(path: &Path) -> String {
    let here = std::env::current_dir().ok();
    let inside = here.as_deref().and_then(|here| path.strip_prefix(here).ok());
    inside.filter(|inside| !inside.as_os_str().is_empty()).unwrap_or(path).display().to_string()
}

/// Problems, one a line, on standard error.
pub fn tell_problems(problems: &[Problem]) {
    for problem in problems {
        let value = if problem.value.is_empty() { String::new() } else { format!(" \"{}\"", problem.value) };
        let took = if problem.took.is_empty() { String::new() } else { format!("; took {}", problem.took) };
        note(format!("{}: {}{value}: {}{took}", check_word(), problem.place, problem.what));
    }
}

/// That nothing was found, and what to try, on standard error.
pub fn tell_nothing(what: &str, next: &str) {
    note(format!("{}: {what}\n  next: {next}", check_word()));
}

/// Seconds for a document, to a millisecond: finer is not known.
pub fn rounded(seconds: f64) -> f64 {
    (seconds * 1000.0).round() / 1000.0
}
