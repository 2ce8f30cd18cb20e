//! Draws the marks and words of a teaching reel's step onto its composed pictures.

use super::compose::SAFE;
use super::plan::Segment;
use super::teaching::{PlacedMark, Region, Teaching, mapped};
use crate::base::{FrameNo, Result};
use crate::film::Picture;
use crate::paint::{Brush, MarkKind, Overlay, Plate, Pool, Pose, Sheet, Spot};

/// How long a mark takes to leave, seconds.
const LEAVES: f64 = 0.2;
/// Captions and labels of views fade for so long, seconds.
const FADES: f64 = 0.2;
/// A man is about this wide, in heights: what a label must not cover.
const MAN_WIDE: f32 = 0.5;
/// Captions end this far above the strip or the picture's foot, units.
const CAPTION_ABOVE: f32 = 20.0;
/// Captions are no wider than this share of the picture.
const CAPTION_WIDE: f32 = 0.86;

/// No mark is drawn whose points lie farther away than this, pixels.
const FAR: f64 = 1e5;

/// Draws one step's marks and words.
pub(super) struct Chalk<'a> {
    teaching: &'a Teaching,
    views: Vec<Brush>,
    /// For the whole canvas.
    whole: Brush,
    marks: Vec<Drawn>,
    captions: Vec<Plate>,
    names: Vec<Option<Plate>>,
    /// Where the strip begins, or without one where the title-safe area ends, pixels from above.
    foot: f32,
    /// Width and height of the canvas, pixels.
    canvas: (f32, f32),
}

/// What is settled of a mark before anything is drawn, so that each picture by itself is as it is among the others; and what it
/// was last drawn as.
#[derive(Default)]
struct Drawn {
    plate: Option<Plate>,
    spot: Option<Spot>,
    /// How long it takes to appear, seconds.
    appears: f64,
    /// Its drawing in the picture before.
    sheet: Option<Sheet>,
}

/// Where a view's picture lies on the canvas (left, top, width, height), what is shown of it, and which frame.
#[derive(Debug, Clone, Copy)]
pub(super) struct Showing {
    pub place: [usize; 4],
    pub region: Region,
    pub frame: FrameNo,
}

impl<'a> Chalk<'a> {
    /// For a step on a canvas of that size, whose views' pictures lie at `places`; `overlay`: the strip over it; `showing`:
    /// what is shown of each view at a time.
    ///
    /// # Errors
    /// Words that cannot be drawn.
    pub fn new(
        segment: &'a Segment,
        teaching: &'a Teaching,
        (width, height): (usize, usize),
        places: &[[usize; 4]],
        overlay: Option<&Overlay>,
        showing: &dyn Fn(f64) -> Vec<Showing>,
    ) -> Result<Self> {
        let even = |place: &[usize; 4]| place.map(|v| v & !1);
        let views: Vec<Brush> = places.iter().map(|place| Brush::new((width, height), even(place))).collect();
        let whole = Brush::new((width, height), [0, 0, width, height]);
        let strip = overlay.map(|o| o.y as f32).filter(|y| *y > height as f32 / 2.0);
        let foot = strip.unwrap_or(height as f32 * (1.0 - SAFE as f32));
        let room = |brush: &Brush| brush.room()[2] as f32 * 0.8;
        let mut marks = Vec::new();
        for mark in &teaching.marks {
            let brush = views.get(mark.view).unwrap_or(&whole);
            let text = mark.label.as_ref().map(|text| Plate::of(brush, text, Some(mark.mark.color), room(brush)));
            marks.push(Drawn { plate: text.transpose()?, ..Drawn::default() });
        }
        let mut captions = Vec::new();
        for caption in &teaching.captions {
            captions.push(Plate::of(&whole, &caption.text, None, width as f32 * CAPTION_WIDE)?);
        }
        let mut names = Vec::new();
        for (at, brush) in views.iter().enumerate().take(segment.views.len()) {
            let text = teaching.labels.get(at).and_then(Option::as_ref);
            names.push(text.map(|text| Plate::of(brush, text, None, room(brush))).transpose()?);
        }
        let canvas = (width as f32, height as f32);
        let mut chalk = Self { teaching, views, whole, marks, captions, names, foot, canvas };
        chalk.settle(showing);
        Ok(chalk)
    }

    /// Settles how long each mark takes to appear, and on which side its label lies: where at its beginning it covers the
    /// least of the men who are marked and of the labels that are there.
    fn settle(&mut self, showing: &dyn Fn(f64) -> Vec<Showing>) {
        let teaching = self.teaching;
        let mut order: Vec<usize> = (0..teaching.marks.len()).collect();
        order.sort_by(|a, b| teaching.marks[*a].from.total_cmp(&teaching.marks[*b].from));
        for at in order {
            let mark = &teaching.marks[at];
            let now = showing(mark.from);
            let there = |other: &PlacedMark| other.view == mark.view && other.from <= mark.from && mark.from < other.to;
            let pose = |mark: &PlacedMark| now.get(mark.view).and_then(|view| posed_at(mark, view));
            let (Some((own, height)), Some(brush)) = (pose(mark), self.views.get(mark.view)) else { continue };
            let mut taken: Vec<[f32; 4]> = Vec::new();
            for (other, drawn) in teaching.marks.iter().zip(&self.marks).filter(|(other, _)| there(other)) {
                let Some((pose, height)) = pose(other) else { continue };
                taken.extend(man(&pose, height));
                if let (Some(plate), Some(spot), Some((about, clear))) =
                    (&drawn.plate, drawn.spot, about(other, &pose, height))
                {
                    taken.push(plate.place(brush, about, clear, spot, self.foot_of(brush)));
                }
            }
            let foot = self.foot_of(brush);
            let appears = mark.fade.unwrap_or_else(|| brush.appears(&mark.mark, &own.points));
            let spot = self.marks[at].plate.as_ref().zip(about(mark, &own, height)).map(|(plate, (about, clear))| {
                let covered = |spot: &Spot| {
                    let place = plate.place(brush, about, clear, *spot, foot);
                    taken.iter().map(|other| overlap(&place, other)).sum::<f32>() as i64
                };
                Spot::ALL.into_iter().min_by_key(covered).unwrap_or(Spot::Above)
            });
            self.marks[at].appears = appears;
            self.marks[at].spot = spot;
        }
    }

    /// Below which line nothing of a view may be written.
    fn foot_of(&self, brush: &Brush) -> f32 {
        self.foot.min(brush.room()[1] as f32 + brush.room()[3] as f32)
    }

    /// Whether anything of it changes from one picture to the next at these times, though the film stands.
    pub fn changes(&self, before: f64, now: f64) -> bool {
        let seen = |t: f64| {
            let of = |from: f64, to: f64| (seen(t, from, to, FADES, FADES) * 1000.0) as i64;
            let marks = self.teaching.marks.iter().zip(&self.marks).map(move |(mark, drawn)| {
                let (grown, seen) = appearance(mark, drawn.appears, t);
                ((grown * 1000.0) as i64, (seen * 1000.0) as i64)
            });
            let captions = self.teaching.captions.iter().map(move |c| (0, of(c.from, c.to)));
            marks.chain(captions).collect::<Vec<_>>()
        };
        seen(before) != seen(now)
    }

    /// Draws what is to be seen `t` seconds after the step's beginning.
    pub fn draw(&mut self, t: f64, showing: &[Showing], on: &mut Picture) {
        let teaching = self.teaching;
        let mut posed: Vec<(usize, Pose, f32)> = Vec::new();
        for (at, mark) in teaching.marks.iter().enumerate() {
            let Some((mut pose, height)) = showing.get(mark.view).and_then(|view| posed_at(mark, view)) else {
                continue;
            };
            (pose.grown, pose.seen) = appearance(mark, self.marks[at].appears, t);
            if pose.seen > 0.0 {
                posed.push((at, pose, height));
            }
        }
        for (view, brush) in self.views.iter_mut().enumerate() {
            let lights = posed.iter().filter(|(at, ..)| {
                let mark = &teaching.marks[*at];
                mark.view == view && mark.mark.kind == MarkKind::Spotlight
            });
            let pools: Vec<Pool> = lights
                .filter_map(|(_, pose, height)| {
                    let feet = pose.points.first().copied()?;
                    Some(Pool { feet, height: *height, seen: pose.seen })
                })
                .collect();
            brush.darken(&pools, on);
        }
        for (at, pose, _) in &posed {
            let mark = &teaching.marks[*at];
            if let Some(brush) = self.views.get_mut(mark.view) {
                brush.draw(&mark.mark, pose, &mut self.marks[*at].sheet, on);
            }
        }
        self.label(&posed, on);
        self.words(t, on);
    }

    /// Labels lie above all marks.
    fn label(&mut self, posed: &[(usize, Pose, f32)], on: &mut Picture) {
        for (at, pose, height) in posed {
            let mark = &self.teaching.marks[*at];
            let Some(foot) = self.views.get(mark.view).map(|brush| self.foot_of(brush)) else { continue };
            let drawn = &self.marks[*at];
            let (Some(plate), Some(spot)) = (&drawn.plate, drawn.spot) else { continue };
            let (Some(brush), Some((about, clear))) = (self.views.get_mut(mark.view), about(mark, pose, *height))
            else {
                continue;
            };
            let place = plate.place(brush, about, clear, spot, foot);
            let middle = ((place[0] + place[2]) / 2.0, (place[1] + place[3]) / 2.0);
            // To the man's edge, not onto him.
            let leader = (
                middle.0.clamp(about.0 - clear.0, about.0 + clear.0),
                middle.1.clamp(about.1 - clear.1, about.1 + clear.1),
            );
            plate.draw(brush, place, Some(leader), pose.seen, on);
        }
    }

    fn words(&mut self, t: f64, on: &mut Picture) {
        let unit = self.whole.unit();
        for (plate, caption) in self.captions.iter().zip(&self.teaching.captions) {
            let seen = seen(t, caption.from, caption.to, FADES, FADES);
            let (width, height) = plate.size();
            let (left, foot) = ((self.canvas.0 - width) / 2.0, self.foot - CAPTION_ABOVE * unit);
            plate.draw(&mut self.whole, [left, foot - height, left + width, foot], None, seen, on);
        }
        for (plate, brush) in self.names.iter().zip(&self.views) {
            let Some(plate) = plate else { continue };
            let [left, top, width, _] = brush.room().map(|v| v as f32);
            let (wide, high) = plate.size();
            // In the bar above the picture where there is one.
            let above = 12.0 * unit;
            let y = if top >= high + above { top - high - above } else { top + above };
            let x = left + (width - wide) / 2.0;
            plate.draw(&mut self.whole, [x, y, x + wide, y + high], None, 1.0, on);
        }
    }
}

/// How much of a mark is grown and seen at a time.
fn appearance(mark: &PlacedMark, appears: f64, t: f64) -> (f32, f32) {
    let leaves = mark.fade.unwrap_or(LEAVES);
    if mark.mark.kind.grows() && mark.fade.is_none() {
        let share = ((t - mark.from) / appears.max(1e-6)).clamp(0.0, 1.0) as f32;
        // A sliver of it is there at once: what has not begun is not seen.
        let grown = 1.0 - (1.0 - share) * (1.0 - share);
        (grown, if t < mark.from { 0.0 } else { seen(t, mark.from, mark.to, 0.0, leaves) })
    } else {
        (1.0, seen(t, mark.from, mark.to, appears, leaves))
    }
}

/// How much is seen at `t` of what comes at `from` and is gone at `to`.
fn seen(t: f64, from: f64, to: f64, comes: f64, leaves: f64) -> f32 {
    if t < from || t >= to {
        return 0.0;
    }
    let share = |time: f64, over: f64| if over > 0.0 { (time / over).clamp(0.0, 1.0) } else { 1.0 };
    // Half a picture on, so that the first one is not empty.
    share(t - from + 0.008, comes).min(share(to - t, leaves)) as f32
}

/// A mark on the canvas as a view shows it, and its man's height in pixels; `None` where it is not known where that is.
fn posed_at(mark: &PlacedMark, view: &Showing) -> Option<(Pose, f32)> {
    let map = mark.track.at(view.frame)?;
    let [left, top, width, height] = view.place.map(|v| v as f64);
    let [x, y, wide, high] = view.region;
    let point = |at: (f64, f64)| {
        let (px, py) = mapped(&map, at);
        ((px - x) / wide * width + left, (py - y) / high * height + top)
    };
    let points: Vec<(f64, f64)> = mark.points.iter().map(|at| point(*at)).collect();
    // Behind the camera, or so far off that nothing of it can be seen.
    if points.iter().any(|(x, y)| !(x.abs() < FAR && y.abs() < FAR)) {
        return None;
    }
    let first = mark.points.first().copied()?;
    // How large a thing of the film is there, against the whole picture as it fills its place.
    const STEP: f64 = 1e-3;
    let (here, beside) = (point(first), point((first.0 + STEP, first.1)));
    let scale = (here.0 - beside.0).hypot(here.1 - beside.1) / (STEP * width);
    let size = ((mark.size.0 * width * scale) as f32, (mark.size.1 * height * scale) as f32);
    let points = points.into_iter().map(|(x, y)| (x as f32, y as f32)).collect();
    let tall = (mark.height * height * scale) as f32;
    (scale.is_finite() && scale < FAR).then_some((Pose { points, size, grown: 1.0, seen: 1.0 }, tall))
}

/// What a label of the mark speaks of: its middle, and how far it reaches to each side.
fn about(mark: &PlacedMark, pose: &Pose, height: f32) -> Option<((f32, f32), (f32, f32))> {
    let (first, last) = (*pose.points.first()?, *pose.points.last()?);
    match mark.mark.kind {
        _ if height > 0.0 => Some(((first.0, first.1 - height / 2.0), (MAN_WIDE * height / 2.0, height / 2.0))),
        MarkKind::Zone | MarkKind::Shade => {
            let n = pose.points.len() as f32;
            let sum = pose.points.iter().fold((0.0, 0.0), |sum, p| (sum.0 + p.0, sum.1 + p.1));
            Some(((sum.0 / n, sum.1 / n), (0.0, 0.0)))
        }
        MarkKind::Arrow | MarkKind::Route | MarkKind::Line => Some((last, (0.0, 0.0))),
        MarkKind::Ring | MarkKind::Spotlight | MarkKind::Label => Some((first, (0.0, 0.0))),
    }
}

/// Where the man whom a mark stands by is; `None` where it stands by nobody.
fn man(pose: &Pose, height: f32) -> Option<[f32; 4]> {
    let feet = pose.points.first().filter(|_| height > 0.0)?;
    let half = MAN_WIDE * height / 2.0;
    Some([feet.0 - half, feet.1 - height, feet.0 + half, feet.1])
}

fn overlap(a: &[f32; 4], b: &[f32; 4]) -> f32 {
    let wide = a[2].min(b[2]) - a[0].max(b[0]);
    let high = a[3].min(b[3]) - a[1].max(b[1]);
    wide.max(0.0) * high.max(0.0)
}
