//! Frames and sound to series: one pass over a film measures its cuts, the camera's and the men's motion, and its
//! whistles. Judgment of what they mean is in the plays room.

mod cut;
mod field;
mod gather;
mod homography;
mod level;
mod motion;
mod pass;
mod register;
mod small;
mod sound_match;
mod whistle;

pub use pass::{VERSION, measure};
pub use sound_match::{ShotSound, ShotSounds, SoundMatch, SoundMatcher};
