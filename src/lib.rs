//! downbox cuts football game film into one clip a play, joins each clip to the tag sheet, and answers a coach's
//! phrase with one reel. This page is the map of its rooms; DEVELOPERS.md tells how they fit together.

pub mod base;
pub mod cli;
pub mod cut;
pub mod daemon;
pub mod film;
pub mod filter;
pub mod football;
pub mod jobs;
pub mod library;
pub mod media;
pub mod paint;
pub mod plays;
pub mod reel;
pub mod report;
pub mod sense;
pub mod sheet;
pub mod watch;
