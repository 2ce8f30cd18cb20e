//! End-to-end and cross-room tests, in one binary.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "../../fixtures/filmmaker/marks.rs"]
#[allow(dead_code)]
mod marks;

#[path = "../bench/made_sheets.rs"]
mod made_sheets;

#[path = "../bench/junk.rs"]
mod junk;

#[path = "../bench/places.rs"]
mod places;

mod asks;
mod browser;
mod check;
mod clips;
mod copied;
mod damaged_sheets;
mod desk;
mod durable;
mod explain;
mod films;
mod followed;
mod formats;
mod hard_films;
mod killed;
mod made_games;
mod marked;
mod mend;
mod mixed;
mod night;
mod night_shift;
mod no_cuts;
mod overlays;
mod paff;
mod play_by_play;
mod profiles;
mod readme;
mod real_cuts;
mod reasons;
mod reel_script;
mod reels;
mod refusals;
mod scan;
mod second_decoders;
mod sheet_commands;
mod sidecars;
mod sounds;
mod stopped;
mod strip;
mod teaching;
mod typed_sheets;
mod voices;
mod whistles;
mod woven;
