//! Segments of which only the beginning is rendered: where the strip stands for a while, or not at all, and the reel has the
//! film's own shape, the rest is the film's packets.

use super::plan::Layout;
use super::render::{Laid, Studio};
use super::schedule::Seen;
use super::segment::Job;
use crate::base::{FrameNo, FrameSpan, Result};
use crate::film::{ClipPlan, Codec, Film, FilmWriter, JoinShape, Piece};

/// Plans a stretch of a film: which of its packets are copied.
pub type PlanCopy = fn(&dyn FilmWriter, &Film, FrameSpan) -> Result<ClipPlan>;

/// Packets are copied where at least this share of a segment's frames is: what is encoded at both ends must be decoded from
/// the key frame before it, and a reel of two parameter sets is worth something only if it is much cheaper (with clips of 8 s
/// and a key frame a second half of the work is saved, with 5 s and one every two nothing is).
const PAYS: f64 = 0.3;

/// How a segment is made by copying.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Copied {
    /// What is copied and what is encoded; the strip stands on the first of what is encoded.
    pub plan: ClipPlan,
    /// Id of the parameter sets of what is encoded.
    pub set_id: u8,
}

/// Finds the segments that are made by copying, and how the others are encoded beside them.
pub(super) fn choose(laid: &mut Laid<'_>, studio: &Studio<'_>) -> Result<()> {
    let Some(plan_copy) = studio.copies.filter(|_| studio.codec == Codec::H264) else { return Ok(()) };
    let mut wanted = Vec::new();
    for (at, shown) in laid.shown.iter().enumerate() {
        if let Some(plan) = planned(&shown.job, studio, plan_copy) {
            wanted.push((at, plan));
        }
    }
    let Some((first, _)) = wanted.first() else { return Ok(()) };
    let canvas = laid.shown[*first].job.canvas;
    let shape = JoinShape { width: canvas.width, height: canvas.height, rate: canvas.rate };
    let films: Vec<&Film> =
        wanted.iter().filter_map(|(at, _)| laid.shown[*at].job.films.first()).map(AsRef::as_ref).collect();
    let joinable = studio.writer.joinable(&films, shape)?;
    if !joinable.fits.contains(&true) {
        return Ok(());
    }
    for shown in &mut laid.shown {
        shown.job.beside = Some(joinable.beside);
    }
    for ((at, plan), _) in wanted.into_iter().zip(joinable.fits).filter(|(_, fits)| *fits) {
        laid.shown[at].job.copied = Some(Copied { plan, set_id: joinable.set_id });
    }
    laid.mixed = true;
    Ok(())
}

/// The plan by which a segment would be copied; `None` where it cannot be or does not pay.
fn planned(job: &Job<'_>, studio: &Studio<'_>, plan_copy: PlanCopy) -> Option<ClipPlan> {
    let (segment, [film], [schedule]) = (job.segment, job.films.as_slice(), job.schedules.as_slice()) else {
        return None;
    };
    if segment.layout != Layout::Single || segment.card.is_some() || segment.teaching.is_some() {
        return None;
    }
    // Each frame of the film is one of the reel.
    let span = schedule.span();
    let even =
        (0..job.frames()).all(|k| schedule.source(film, k) == Seen { frame: FrameNo(span.start.0 + k), second: false });
    if job.frames() != span.len() || !even {
        return None;
    }
    let drawn = job.drawn(studio);
    if drawn >= span.len() {
        return None;
    }
    let rest = FrameSpan::of(span.start.0 + drawn, span.end.0);
    let mut plan = plan_copy(studio.writer, film, rest).ok()?;
    let copied: u64 = plan.pieces.iter().map(|piece| if let Piece::Copy(span) = piece { span.len() } else { 0 }).sum();
    if plan.hidden > 0 || (copied as f64) < PAYS * span.len() as f64 {
        return None;
    }
    match plan.pieces.first_mut() {
        Some(Piece::Encode(piece, _)) => piece.start = span.start,
        _ if drawn > 0 => {
            plan.pieces.insert(0, Piece::Encode(FrameSpan { start: span.start, end: rest.start }, String::new()))
        }
        _ => {}
    }
    plan.span = span;
    Some(plan)
}
