//! Reels: plays in order, brought to one canvas, the strip burned in, one sound track.

mod canvas;
mod compose;
mod copied;
mod fit;
mod foresee;
mod order;
mod plan;
mod profile;
mod render;
mod schedule;
mod script;
mod segment;
pub mod sidecar;
mod sound;
mod store;

pub use canvas::{Canvas, SourceShape};
pub use copied::PlanCopy;
pub use fit::Fitter;
pub use foresee::{Foreseen, foresee};
pub use order::{ReelKey, order};
pub use plan::{CARD, Layout, ReelPlan, Segment, View, chapter_title};
pub use profile::Profile;
pub use render::{LeftOut, PreparedSegments, Rendered, RenderedSegment, Studio, prepare, render};
pub use schedule::Schedule;
pub use script::{
    Again, Anchor, At, Caption, Head, MarkAsk, MarkColor, MarkKind, Moment, Pin, Place, PlayAsk, Script, Section,
    SoundWay, Speed, Step, Stop, ViewAsk, Voice, VoiceStart, Zoom,
};
pub use segment::RENDERER;
pub use store::Store;
