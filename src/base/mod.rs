//! What every room stands on: times, errors, progress, safe writing. Imports nothing of ours.

mod error;
mod problem;
mod progress;
mod safe_file;
mod shown;
mod time;

pub use error::{Error, ErrorKind, IoContext, Result};
pub use problem::Problem;
pub use progress::{Progress, Silent, go_on};
pub use safe_file::{PendingFile, name_file, natural_order, sync_folder};
pub use shown::{count, shown};
pub use time::{FrameNo, FrameSpan, Rate, Span, TimeBase};
