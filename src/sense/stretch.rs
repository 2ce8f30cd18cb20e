//! A stretch of film read from one of its frames on, forward to its end and then backward to its beginning.

use crate::base::{Error, FrameNo, FrameSpan, Result};
use crate::film::{FrameSource, PictureView};

/// Seconds that are read at once on the way back, forward as a decoder must; what is kept of each frame is small.
const BACK: f64 = 1.0;

/// One of the two ways from the frame where everything starts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// From the first frame on.
    Forward,
    /// From it back to the beginning.
    Backward,
}

/// What is made of each frame, and what is then done with it.
pub trait Walker {
    /// What is kept of a picture until its turn comes.
    type Kept;
    /// Makes it. Called in the order in which frames are decoded.
    fn keep(&mut self, view: &PictureView<'_>) -> Self::Kept;
    /// The frame that everything starts from.
    ///
    /// # Errors
    /// Its own.
    fn first(&mut self, no: FrameNo, kept: Self::Kept) -> Result<()>;
    /// The next one on a way. Whether to go on this way.
    ///
    /// # Errors
    /// Its own.
    fn next(&mut self, way: Way, no: FrameNo, kept: Self::Kept) -> Result<bool>;
    /// The way back begins, from the first frame again.
    fn turn(&mut self);
}

/// Walks `span` from `at` forward, then from `at` backward. A frame is seen once: of film that is shown as fields, the first
/// of each two.
///
/// # Errors
/// `at` is not in the span or not in the film; those of the source, of the walker and of `go_on`.
pub fn walk<W: Walker>(
    frames: &mut dyn FrameSource,
    span: FrameSpan,
    at: FrameNo,
    walker: &mut W,
    go_on: &mut dyn FnMut() -> Result<()>,
) -> Result<()> {
    if !span.holds(at) {
        let what =
            format!("frame {at} is not among frames {} to {} that it is to be carried over", span.start, span.end);
        return Err(Error::refused(what, "", "name a frame of the stretch"));
    }
    frames.seek(at)?;
    let mut begun: Option<f64> = None;
    let mut step = 1.0 / 30.0;
    let mut last = None;
    while let Some(view) = frames.next_frame()? {
        go_on()?;
        if view.no < at || last == Some(view.no) {
            continue;
        }
        if view.no >= span.end {
            break;
        }
        let (no, time) = (view.no, view.time);
        last = Some(no);
        let kept = walker.keep(&view);
        match begun {
            None if no == at => {
                begun = Some(time);
                walker.first(no, kept)?;
            }
            None => break,
            Some(from) => {
                step = ((time - from) / (no.0 - at.0) as f64).max(1e-3);
                if !walker.next(Way::Forward, no, kept)? {
                    break;
                }
            }
        }
    }
    if begun.is_none() {
        let what = format!("frame {at} cannot be read");
        return Err(Error::refused(what, "", "name a frame that the film has"));
    }
    let many = ((BACK / step).round() as u64).clamp(8, 120);
    let mut end = at.0;
    if end > span.start.0 {
        walker.turn();
    }
    while end > span.start.0 {
        let start = end.saturating_sub(many).max(span.start.0);
        let mut read = Vec::with_capacity((end - start) as usize);
        frames.seek(FrameNo(start))?;
        while let Some(view) = frames.next_frame()? {
            go_on()?;
            if view.no.0 >= end {
                break;
            }
            if view.no.0 >= start && read.last().is_none_or(|(no, _)| *no != view.no) {
                read.push((view.no, walker.keep(&view)));
            }
        }
        for (no, kept) in read.into_iter().rev() {
            go_on()?;
            if !walker.next(Way::Backward, no, kept)? {
                return Ok(());
            }
        }
        end = start;
    }
    Ok(())
}
