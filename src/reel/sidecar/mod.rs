//! What goes beside a reel: captions, lists of its segments, a page. Pure functions from a [`Listing`] to text.

mod csv;
mod edl;
mod entry;
mod index;
mod kind;
mod otio;
mod timecode;
mod vtt;

pub use csv::csv;
pub use edl::edl;
pub use entry::{Entry, Listing, Source};
pub use index::{STILL, index};
pub use kind::{Kind, is_own};
pub use otio::otio;
pub use timecode::Timecode;
pub use vtt::vtt;
