//! Frames and sound to series: one pass over a film measures its cuts, the camera's and the men's motion, and its
//! whistles. Judgment of what they mean is in the plays room.

mod chunk;
mod cut;
mod field;
mod gather;
mod homography;
mod level;
mod measured;
mod motion;
mod normal;
mod pass;
mod picker;
mod register;
mod small;
mod sound_match;
mod warp;
mod whistle;

pub use pass::{Keep, VERSION, measure, measure_on, of_first_parts};
pub use sound_match::{ShotSound, ShotSounds, SoundMatch, SoundMatcher};
