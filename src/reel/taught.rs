//! Lays the pictures of a teaching reel's step: the film at its pace, the part of it that is shown, marks and words over it.

use super::chalk::{Chalk, Showing};
use super::compose::Composer;
use super::plan::Segment;
use super::schedule::Schedule;
use super::segment::Job;
use super::teaching::{Region, Teaching};
use crate::base::{FrameSpan, Result};
use crate::film::Picture;
use crate::paint::Overlay;
use crate::reel::Canvas;

/// The schedule of a teaching step's view.
pub(super) fn schedule(
    segment: &Segment,
    teaching: &Teaching,
    view: usize,
    span: FrameSpan,
    canvas: Canvas,
) -> Schedule {
    let anchor = |at: usize| segment.views.get(at).and_then(|view| view.anchor).unwrap_or(0.0);
    let beside = teaching.beside.get(view).copied().unwrap_or(1.0);
    Schedule::at_pace(span, canvas.rate, &teaching.pace, (anchor(0), anchor(view)), beside)
}

/// Lays the pictures of a teaching step.
pub(super) struct Taught<'j> {
    job: &'j Job<'j>,
    teaching: &'j Teaching,
    overlay: Option<&'j Overlay>,
    chalk: Option<Chalk<'j>>,
    sheet: Picture,
    /// Whether the last picture was drawn onto what the composer holds: the next one is another.
    on_canvas: bool,
}

impl<'j> Taught<'j> {
    /// For a teaching step; `None` for any other segment.
    pub fn new(job: &'j Job<'j>, overlay: Option<&'j Overlay>) -> Option<Self> {
        let teaching = job.segment.teaching.as_deref()?;
        Some(Self { job, teaching, overlay, chalk: None, sheet: Picture::filled(0, 0, [0; 3]), on_canvas: false })
    }

    fn time(&self, k: u64) -> f64 {
        self.job.canvas.seconds(k)
    }

    /// The part of a view's picture that is shown in frame `k`.
    pub fn region(&self, view: usize, k: u64) -> Region {
        self.teaching.region(view, self.time(k))
    }

    /// The picture of frame `k`: what the composer holds with marks and words over it, and the strip over those.
    ///
    /// # Errors
    /// Words that cannot be drawn.
    pub fn lay<'c>(
        &'c mut self,
        composer: &'c mut Composer,
        overlay: Option<&Overlay>,
        k: u64,
        fresh: bool,
    ) -> Result<&'c Picture> {
        let t = self.time(k);
        let places = composer.pictures();
        let size = (self.job.canvas.width as usize, self.job.canvas.height as usize);
        let (job, teaching) = (self.job, self.teaching);
        let showing = |t: f64| showing(job, teaching, &places, t);
        let chalk = match &mut self.chalk {
            Some(chalk) => chalk,
            none => none.insert(Chalk::new(self.job.segment, self.teaching, size, &places, self.overlay, &showing)?),
        };
        if !fresh && self.on_canvas {
            // The film broke off in mid-run: all stands as it is.
            return Ok(composer.canvas());
        }
        if !fresh && self.sheet.width > 0 && !chalk.changes(self.job.canvas.seconds(k - 1), t) {
            return Ok(&self.sheet);
        }
        let mut moves =
            job.schedules.iter().zip(&job.films).map(|(s, film)| s.source(film, k) != s.source(film, k + 1));
        self.on_canvas = fresh && k + 1 < job.frames() && moves.all(|moves| moves);
        let drawn = if self.on_canvas {
            composer.lay(None)
        } else {
            // What the composer holds stays clean: it is what the next picture is drawn on while the film stands.
            copy(composer.lay(None), &mut self.sheet);
            &mut self.sheet
        };
        chalk.draw(t, &showing(t), drawn);
        if let Some(overlay) = overlay {
            overlay.blend(drawn);
        }
        Ok(drawn)
    }
}

/// What is shown of each view at a time.
fn showing(job: &Job<'_>, teaching: &Teaching, places: &[[usize; 4]], t: f64) -> Vec<Showing> {
    let views = places.iter().zip(job.schedules.iter().zip(&job.films)).enumerate();
    let k = (t * job.canvas.rate.hz() + 1e-6).max(0.0) as u64;
    views
        .map(|(view, (place, (schedule, film)))| {
            let (place, region) = (*place, teaching.region(view, t));
            Showing { place, region, frame: schedule.source(film, k).frame }
        })
        .collect()
}

/// Copies a picture into one that is mostly of its size already.
fn copy(from: &Picture, to: &mut Picture) {
    (to.width, to.height, to.color) = (from.width, from.height, from.color);
    for (from, to) in from.planes.iter().zip(&mut to.planes) {
        to.clone_from(from);
    }
}
