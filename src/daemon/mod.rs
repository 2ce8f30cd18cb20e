//! The night shift: one loop over one closed type of event that works the inbox off, step by step, and can be left alone.
//!
//! [`Night`] decides and has no side effect but its records; [`run`] is the loop around it. Clock, disk, battery and what
//! keeps the machine awake stand behind traits.

#[cfg(test)]
mod bed;
mod clock;
mod decide;
mod event;
mod gauge;
mod hook;
mod inhibit;
mod judge;
mod night;
#[cfg(test)]
mod night_tests;
mod pace;
mod power;
mod record;
mod requests;
mod run;
mod service;
mod status;
mod task;
mod tell;
mod worker;

pub use event::{Level, NightSettings};
pub use gauge::Gauge;
pub use inhibit::{Inhibitor, Logind};
pub use requests::Request;
pub use run::{Daemon, run};
pub use status::{Doing, GameStatus, STATUS, Standing, Status, WATCH_LOCK};
pub use tell::Round;
pub use worker::{Lend, LibraryWorker, Worker};
