//! Single pictures of a plan, for a quick proof: drawn as the reel has them, not encoded.

use std::sync::Arc;

use super::plan::{ReelPlan, Segment};
use super::render::Studio;
use super::segment::Job;
use crate::base::Result;
use crate::film::{Film, Picture};
use crate::paint::Templates;

/// Where the segments of a teaching reel's plan begin, and where the last one ends, seconds of the reel: as planned, whatever
/// their films turn out to hold.
pub fn borders(plan: &ReelPlan, templates: &Templates) -> Vec<f64> {
    let mut frame = 0;
    let mut borders = vec![0.0];
    for segment in &plan.segments {
        let seconds = match (&segment.card, &segment.teaching) {
            (Some(card), _) => super::segment::card_seconds(templates, card),
            (None, Some(teaching)) => teaching.pace.seconds(),
            (None, None) => 0.0,
        };
        frame += plan.canvas.rate.frames(seconds);
        borders.push(plan.canvas.seconds(frame));
    }
    borders
}

/// The moments that tell the most of a segment, seconds after its beginning: near the end of each of its stops, else its middle.
pub fn telling_moments(segment: &Segment) -> Vec<f64> {
    let Some(teaching) = &segment.teaching else { return vec![0.0] };
    let mut start = 0.0;
    let mut stops = Vec::new();
    for (film, seconds) in teaching.pace.pieces() {
        if film.end - film.start < 1e-6 {
            // Before the marks leave.
            stops.push(start + (seconds - 0.3).max(seconds / 2.0));
        }
        start += seconds;
    }
    if stops.is_empty() { vec![start / 2.0] } else { stops }
}

/// The picture of a segment `t` seconds after its beginning.
///
/// # Errors
/// A film that cannot be read there; words that cannot be drawn.
pub fn still(
    segment: &Segment,
    plan: &ReelPlan,
    studio: &Studio<'_>,
    open: &mut dyn FnMut(&str) -> Result<Arc<Film>>,
    t: f64,
) -> Result<Picture> {
    let films: Result<Vec<Arc<Film>>> = segment.views.iter().map(|view| open(&view.source)).collect();
    let job = Job::of(segment, films?, plan.canvas, studio.templates)?;
    let k = ((t * plan.canvas.rate.hz()).round() as u64).min(job.frames().saturating_sub(1));
    let mut picture = Picture::filled(0, 0, [0; 3]);
    job.draw(studio, k..k + 1, &mut Vec::new(), &mut |_, drawn| {
        picture = drawn.clone();
        Ok(())
    })?;
    Ok(picture)
}
