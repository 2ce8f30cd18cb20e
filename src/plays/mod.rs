//! Series to shots and plays; pairing of cameras. Pure judgment: no file is opened here.

mod carry;
mod clip;
mod curves;
pub mod decode;
pub mod end;
mod find;
mod pair;
mod settings;
pub mod snap;
pub mod track;

pub use clip::clip_span;
pub use curves::{Curve, Curves, curves};
pub use find::{Found, find};
pub use pair::{BY_LENGTH, Camera, GamePlay, Heard, Listen, PairedBy, Stretch, pair};
pub use settings::Settings;
