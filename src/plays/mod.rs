//! Series to shots and plays; pairing of cameras. Pure judgment: no file is opened here.

pub mod alike;
mod carry;
mod clip;
mod curves;
pub mod decode;
pub mod end;
mod find;
mod lend;
mod lengths;
pub mod long;
mod pair;
mod ran_on;
mod settings;
pub mod snap;
mod take;
pub mod track;
mod turns;
mod woven;

pub use clip::clip_span;
pub use curves::{Curve, Curves, curves};
pub use find::{Found, find, shot_spans, takes};
pub use pair::{
    BELIEVED, BY_LENGTH, Camera, GamePlay, Heard, Listen, PIECE, PairedBy, RAN_ON, RESTARTED, Stretch, UNSYNCED, pair,
    pair_seen,
};
pub use settings::Settings;
pub use woven::{WHOSE, Woven, nearer, nearness, split};
