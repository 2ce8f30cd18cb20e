//! Frames and sound to series: one pass over a film measures its cuts, the camera's and the men's motion, and its
//! whistles. Judgment of what they mean is in the plays room.

mod carry;
mod chunk;
mod crowd;
mod cut;
mod field;
mod figures;
mod filter;
mod follow;
mod gather;
mod homography;
mod kalman;
mod layers;
mod level;
mod measured;
mod middling;
mod motion;
mod normal;
#[cfg(test)]
mod painted;
mod pass;
mod picker;
mod register;
mod small;
mod sound_match;
mod spectrum;
mod standing;
mod stretch;
mod tracker;
mod warp;
mod whistle;

pub use carry::{Carried, carry};
pub use follow::{Followed, follow};
pub use pass::{Keep, VERSION, measure, measure_on, of_first_parts};
pub use sound_match::{ShotSound, ShotSounds, SoundMatch, SoundMatcher};
