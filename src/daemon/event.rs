//! What the night hears, what it wants done, what it goes by, and the world as it sees it.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use super::clock::Clock;
use super::gauge::Gauge;
use super::hook::Hook;
use super::power::Power;
use super::task::{Outcome, Task};
use crate::base::Result;
use crate::watch::Disk;

/// What the night hears.
#[derive(Debug)]
pub enum Event {
    /// The file system says that something changed. A hint.
    Hint,
    /// Time has gone by.
    Time,
    /// The step that was begun has ended.
    Finished(Box<Result<Outcome>>),
    /// The staff's own command has ended: for which game and state, how, and what it printed.
    Hooked(PathBuf, String, String, String),
    /// The settings in force now.
    Settings(Box<NightSettings>),
    /// Stop as soon as nothing is half.
    Stop,
}

/// What the night wants done.
#[derive(Debug)]
pub enum Order {
    /// A step is to be done, with so many cores (0: all).
    Begin(Box<Task>, Arc<Gauge>, usize),
    /// A line for the log.
    Say(Level, String),
    /// The staff's own command is to be run for this game and state.
    Hook(PathBuf, String, Hook),
    /// Sleep is to be held off, or not any more.
    StayAwake(bool),
    /// It is over.
    End,
}

/// How much a line of the log matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Level {
    /// Something went its way.
    Info,
    /// A person should know.
    Warn,
    /// A game has failed.
    Error,
}

/// What the night goes by.
#[derive(Debug, Clone, PartialEq)]
pub struct NightSettings {
    /// The inbox, absolute.
    pub inbox: PathBuf,
    /// The library's folder, absolute.
    pub library: PathBuf,
    /// How long a file must stay unchanged.
    pub settle: Duration,
    /// How long a game waits for a film that is not whole.
    pub patience: Duration,
    /// The inbox is read anew after so long even if nobody says that it changed.
    pub look_again: Duration,
    /// Cores; 0: all.
    pub jobs: usize,
    /// Hours in which `quiet_jobs` are used.
    pub quiet: Option<(u32, u32)>,
    /// Cores in those hours; 0: none.
    pub quiet_jobs: usize,
    /// Bytes that are kept free.
    pub reserve: u64,
    /// Whether plays are rendered ahead.
    pub prepare: bool,
    /// A command after a game is done; empty: none.
    pub after_done: String,
    /// A command after a game has failed.
    pub after_failed: String,
    /// How long it may take.
    pub hook_limit: Duration,
    /// Words that tell a camera.
    pub angles: BTreeMap<String, Vec<String>>,
    /// A fingerprint of all settings and files of words.
    pub key: String,
    /// Whether it ends when nothing is left to be done.
    pub once: bool,
}

/// The world as the night sees it.
pub struct World {
    /// Time.
    pub clock: Box<dyn Clock>,
    /// Files and room.
    pub disk: Box<dyn Disk>,
    /// The battery.
    pub power: Box<dyn Power>,
    /// What a person waits for.
    pub asked: Box<dyn Fn() -> Option<String> + Send>,
}
