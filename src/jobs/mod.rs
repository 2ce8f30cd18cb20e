//! Joins the rooms: films and a sheet into the library, and questions to the library out as reels and sheets of stills.
//!
//! Each job is idempotent: what is done is known by its content and is not done again, so that an interrupted night is
//! finished by the same command.

mod asks;
mod check;
mod check_files;
mod check_films;
mod clips;
mod config;
mod cutup;
mod ear;
mod explain;
mod finding;
mod footage;
mod ingest;
mod joining;
mod kept;
mod matching;
mod mend;
mod mend_play;
mod morning;
mod opener;
mod play_facts;
mod play_key;
mod prepare;
mod rendering;
mod repair;
mod scan;
mod settings;
mod sidecars;
mod steps;
mod stills;
mod survey;
mod teach;
mod texts;
mod time_of_day;
mod tools;
mod unweave;

pub use asks::{AskDone, AskReel, ReelFate, StandingAsk, standing};
pub use check::{CheckAsk, Checked, check};
pub use config::Config;
pub use cutup::{CutupAsk, CutupDone, LeftOutPlay, StripTime, cutup, plan_cutup};
pub use explain::{Explained, explain};
pub use finding::{Finding, FindingKind};
pub use ingest::{CutAsk, CutDone, ToCheck, cut, plan_cut};
pub use kept::Kept;
pub use mend::{Mended, RowWord, game_of, mend_row, undo_row};
pub use mend_play::{Change, MendAsk, PlayMended, mend_play};
pub use morning::{NightTold, morning};
#[cfg(test)]
pub(crate) use play_key::tests::play as sample_play;
pub use play_key::{Groups, Key};
pub use prepare::{Prepared, empty_segments, prepare};
pub use scan::{CameraScan, scan};
pub use settings::{
    CacheSettings, ClipSettings, CutupSettings, DEFAULTS, Settings, SheetSettings, StaffSettings, WatchSettings,
};
pub use steps::{
    CameraMeasured, CameraRead, ClipsCut, cut_missing, join_rows, measure_camera, place_plays, read_camera, read_sheet,
};
pub use stills::{StillsDone, stills};
pub use teach::{MarkShown, StepShown, Taught, TeachAsk, check_script, stills_of_script, teach};
pub use tools::Tools;
