//! Reels: plays in order, brought to one canvas, the strip burned in, one sound track.

mod canvas;
mod fit;
mod order;
mod plan;
mod render;
mod schedule;
pub mod sidecar;
mod sound;

pub use canvas::{Canvas, SourceShape};
pub use fit::Fitter;
pub use order::{ReelKey, order};
pub use plan::{ReelPlan, Segment, chapter_title};
pub use render::{LeftOut, Rendered, RenderedSegment, Studio, render};
pub use schedule::Schedule;
