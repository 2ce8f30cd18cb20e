//! What a clip is made of: which frames are copied, which are encoded anew, and why. Planning is pure; the codec room
//! carries plans out.

mod plan;

pub use plan::{Shown, copied, plan};
