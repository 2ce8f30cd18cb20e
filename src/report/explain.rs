//! One play's evidence in one picture: frames over the curves it was found by.

use super::TilePicture;
use super::explain_layout::{Axis, FlagPlace, hang, top, wrap};
use crate::base::{FrameNo, Result};
use crate::paint::{Align, Canvas, Rgb, Style, paint, plain, text_width};

/// The picture's size.
pub const SIZE: (u32, u32) = (1600, 1000);
const MARGIN: f32 = 40.0;
const RIGHT: f32 = SIZE.0 as f32 - MARGIN;
/// Where the lanes begin, after their names.
const PLOT: f32 = 244.0;
/// Frames: at most so many, their upper edge and size.
const FRAMES: usize = 6;
const FRAME_TOP: u32 = 152;
const FRAME: (u32, u32) = (244, 137);
const CAPTION: f32 = 315.0;
/// From a frame's caption to its time.
const LEADER: (f32, f32) = (326.0, 360.0);
/// Lowest row of flags, and from row to row.
const FLAGS: f32 = 436.0;
const FLAG_STEP: f32 = 33.0;
const FLAG_HEIGHT: f32 = 29.0;
/// Lanes: upper edge and height.
const CAMERA: (f32, f32) = (472.0, 116.0);
const MEN: (f32, f32) = (600.0, 208.0);
const WHISTLES: (f32, f32) = (820.0, 68.0);
const BOTTOM: f32 = WHISTLES.0 + WHISTLES.1;
/// A camera that stands is not to look as if it moved: picture widths a second.
const LEAST_PAN: f64 = 0.05;
/// The high level of the shot and a little above it is always seen.
const LEAST_MEN: f64 = 1.2;

const NAME: Style = Style { size: 24.0, weight: 700, color: paint::CHALK };
const WORDS: Style = Style { size: 22.0, weight: 600, color: paint::CHALK };
const SOFT: Style = Style { size: 20.0, weight: 500, color: paint::SOFT };

/// A moment with its words.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// Film time in seconds.
    pub time: f64,
    /// What it is and how sure: `snap 0:06.0, 93 % sure`.
    pub words: String,
}

/// A frame of the film.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    /// `set`, `snap`, `just after`.
    pub name: String,
    /// Its number in the film.
    pub frame: FrameNo,
    /// Film time in seconds.
    pub time: f64,
    /// As decoded; `None` if it cannot be.
    pub picture: Option<TilePicture>,
}

/// A whistle heard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heard {
    /// When it begins, film time in seconds.
    pub time: f64,
    /// How long, seconds.
    pub length: f64,
    /// 0 to 1.
    pub confidence: f64,
}

/// All that is drawn of one play. Times are film time in seconds.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Explain {
    /// `Play 3 of 11`.
    pub title: String,
    /// The film's name.
    pub film: String,
    /// What it was found by, in words.
    pub found_by: String,
    /// Why a person should look.
    pub doubt: Option<String>,
    /// What the axis shows.
    pub window: (f64, f64),
    /// The film of the play within it.
    pub span: (f64, f64),
    /// When the offense stands.
    pub set: Option<Mark>,
    /// The snap.
    pub snap: Option<Mark>,
    /// The end of the play.
    pub whistle: Option<Mark>,
    /// Six frames at most, in order.
    pub frames: Vec<Frame>,
    /// Camera motion in picture widths a second, a piece for each shot.
    pub pan: Vec<Vec<(f64, f64)>>,
    /// Motion of the men, 1 being their shot's high level.
    pub men: Vec<Vec<(f64, f64)>>,
    /// The same, less what most of the picture does.
    pub clear: Vec<Vec<(f64, f64)>>,
    /// Whistles heard.
    pub whistles: Vec<Heard>,
    /// Whether the film has sound.
    pub sound: bool,
    /// Stretches that could not be followed.
    pub unreadable: Vec<(f64, f64)>,
}

impl Explain {
    /// The picture as PNG.
    ///
    /// # Errors
    /// That it cannot be drawn at all.
    pub fn png(&self) -> Result<Vec<u8>> {
        let mut canvas = Canvas::new(SIZE.0, SIZE.1, paint::INK)?;
        let axis = Axis { time: self.window, edge: (PLOT, RIGHT) };
        self.heading(&mut canvas);
        self.grounds(&mut canvas, &axis);
        self.pictures(&mut canvas, &axis);
        // Poles behind the curves: the rise at the snap is what is looked for.
        self.marks(&mut canvas, &axis);
        self.curves(&mut canvas, &axis);
        self.heard(&mut canvas, &axis);
        self.axis(&mut canvas, &axis);
        canvas.png()
    }

    fn heading(&self, canvas: &mut Canvas) {
        let title = Style { size: 44.0, weight: 700, color: paint::CHALK };
        let soft = Style { size: 26.0, ..SOFT };
        let base = 62.0;
        canvas.text(&self.found_by, (RIGHT, base), Align::Right, 700.0, soft);
        let right = text_width(&self.found_by, soft.size, soft.weight).min(700.0);
        canvas.text(&self.title, (MARGIN, base), Align::Left, 500.0, title);
        let taken = MARGIN + text_width(&self.title, title.size, title.weight).min(500.0) + 28.0;
        canvas.text(&self.film, (taken, base), Align::Left, RIGHT - right - 40.0 - taken, soft);
        match &self.doubt {
            Some(doubt) => {
                let words = Style { size: 26.0, weight: 600, color: paint::FLAG };
                let room = RIGHT - MARGIN - 34.0;
                let lines = wrap(&plain(&format!("check: {doubt}")), room, words.size, words.weight);
                // A flag thrown: a cloth with a weight at its corner.
                let (x, y) = (MARGIN, 102.0);
                let cloth = [(x, y - 19.0), (x + 22.0, y - 15.0), (x + 16.0, y), (x + 5.0, y + 1.0)];
                canvas.shape(&cloth, paint::FLAG);
                // The second line takes all that is left and ends in an ellipsis where even that is too much.
                let rest = lines.get(1..).unwrap_or_default().join(" ");
                for (line, base) in lines.iter().take(1).chain([&rest]).zip([102.0, 134.0]) {
                    canvas.text(line, (MARGIN + 34.0, base), Align::Left, room, words);
                }
            }
            None => canvas.text("nothing in doubt", (MARGIN, 102.0), Align::Left, 600.0, soft),
        }
    }

    /// Lanes; darker where the film is not the play's, hatched where it could not be followed.
    fn grounds(&self, canvas: &mut Canvas, axis: &Axis) {
        for (y, height) in [CAMERA, MEN, WHISTLES] {
            let rect = |canvas: &mut Canvas, from: f32, to: f32, color: Rgb| {
                let (from, to) = (from.round(), to.round());
                if to > from {
                    canvas.rect(from as i32, y as i32, (to - from) as u32, height as u32, color);
                }
            };
            rect(canvas, PLOT, RIGHT, paint::PAGE);
            rect(canvas, axis.x(self.span.0), axis.x(self.span.1), paint::RAISED);
            for &(from, to) in &self.unreadable {
                let (from, to) = (axis.x(from), axis.x(to).max(axis.x(from) + 3.0).min(RIGHT));
                canvas.hatch([from, y, to - from, height], 9.0, paint::FAINT);
            }
        }
        for border in [self.span.0, self.span.1] {
            let x = axis.x(border);
            canvas.line(&[(x, CAMERA.0), (x, BOTTOM)], 2.0, paint::EDGE, None);
        }
    }

    fn pictures(&self, canvas: &mut Canvas, axis: &Axis) {
        let (width, height) = FRAME;
        let count = self.frames.len().min(FRAMES);
        let gap = (RIGHT - MARGIN - (FRAMES as u32 * width) as f32) / (FRAMES as f32 - 1.0);
        for (i, frame) in self.frames.iter().take(count).enumerate() {
            let x = (MARGIN + i as f32 * (width as f32 + gap)).round() as u32;
            let left = x as f32;
            canvas.rect(x as i32, FRAME_TOP as i32, width, height, paint::RAISED);
            match &frame.picture {
                Some(p) => {
                    let view = p.picture.view(frame.frame, frame.time);
                    canvas.picture(&view, p.shown, [x, FRAME_TOP, width, height]);
                }
                None => {
                    let middle = (left + width as f32 / 2.0, FRAME_TOP as f32 + height as f32 / 2.0 + 7.0);
                    canvas.text("no picture", middle, Align::Middle, width as f32, SOFT);
                }
            }
            let room = width as f32 - 80.0;
            canvas.text(&frame.name, (left, CAPTION), Align::Left, room, NAME);
            let taken = text_width(&frame.name, NAME.size, NAME.weight).min(room);
            let begin = if frame.name.is_empty() { left } else { left + taken + 10.0 };
            canvas.text(&clock(frame.time), (begin, CAPTION), Align::Left, 70.0, SOFT);
            let (from, to) = (left + width as f32 / 2.0, axis.x(frame.time));
            let path = [(from, LEADER.0), (to, LEADER.1), (to, CAMERA.0)];
            canvas.line(&path, 2.0, paint::EDGE, None);
            canvas.shape(&[(to - 6.0, CAMERA.0 - 9.0), (to + 6.0, CAMERA.0 - 9.0), (to, CAMERA.0)], paint::EDGE);
        }
    }

    fn curves(&self, canvas: &mut Canvas, axis: &Axis) {
        // By the play's own film: what happens beyond a cut would press it flat.
        let own =
            |piece: &&Vec<(f64, f64)>| piece.last().is_some_and(|p| p.0 > self.span.0) && piece[0].0 < self.span.1;
        let pan_top = top(self.pan.iter().filter(own), LEAST_PAN);
        name(
            canvas,
            CAMERA,
            "camera motion",
            paint::SKY,
            &["top of the lane:", &format!("{pan_top:.2} widths a second")],
        );
        for piece in &self.pan {
            lane(canvas, axis, CAMERA, piece, pan_top, Ink { color: paint::SKY, filled: true, dash: None });
        }
        let men_top = top(self.men.iter().chain(&self.clear).filter(own), LEAST_MEN);
        let told = ["line: motion", "dashes: less what", "most of it does", "1: high for the shot"];
        name(canvas, MEN, "men's motion", paint::CHALK, &told);
        let one = MEN.0 + MEN.1 * (1.0 - (1.0 / men_top) as f32);
        canvas.line(&[(PLOT, one), (RIGHT, one)], 1.5, paint::RULE, None);
        canvas.text("1", (PLOT - 8.0, one + 7.0), Align::Right, 30.0, SOFT);
        for piece in &self.men {
            lane(canvas, axis, MEN, piece, men_top, Ink { color: paint::CHALK, filled: true, dash: None });
        }
        for piece in &self.clear {
            let dash = Some((7.0, 6.0));
            lane(canvas, axis, MEN, piece, men_top, Ink { color: paint::FAINT, filled: false, dash });
        }
    }

    fn heard(&self, canvas: &mut Canvas, axis: &Axis) {
        name(canvas, WHISTLES, "whistles", paint::ROSE, &["height: how sure"]);
        let (y, height) = WHISTLES;
        let seen: Vec<&Heard> = self.whistles.iter().filter(|w| axis.holds(w.time)).collect();
        if seen.is_empty() {
            let words = if self.sound { "none was heard" } else { "the film has no sound" };
            canvas.text(words, (axis.x(self.span.0) + 14.0, y + height / 2.0 + 7.0), Align::Left, 400.0, SOFT);
        }
        let mut free = PLOT;
        for whistle in seen {
            let (from, to) = (axis.x(whistle.time), axis.x(whistle.time + whistle.length));
            let to = to.max(from + 5.0).min(RIGHT);
            let from = from.min(to - 5.0);
            let up = (whistle.confidence.clamp(0.05, 1.0) as f32) * (height - 4.0);
            let foot = y + height;
            canvas.shape(&[(from, foot - up), (to, foot - up), (to, foot), (from, foot)], paint::ROSE);
            let words = format!("{:.0} %", whistle.confidence * 100.0);
            let width = text_width(&words, SOFT.size, SOFT.weight);
            let left = if to + 6.0 + width <= RIGHT { to + 6.0 } else { from - 6.0 - width };
            // Of whistles in a row the first is told; the others' bars stand for themselves.
            if left >= free {
                // A pole may pass here.
                canvas.plate([left - 3.0, y + 5.0, width + 6.0, 26.0], 3.0, paint::RAISED);
                canvas.text(&words, (left, y + 24.0), Align::Left, width + 2.0, SOFT);
                free = left + width + 8.0;
            }
        }
    }

    /// Poles through all lanes with flags of words: set dashed, snap and end solid.
    fn marks(&self, canvas: &mut Canvas, axis: &Axis) {
        let marks = [(&self.snap, true, None), (&self.set, true, Some((9.0, 8.0))), (&self.whistle, false, None)];
        let marks: Vec<_> =
            marks.into_iter().filter_map(|(mark, left, dash)| Some((mark.as_ref()?, left, dash))).collect();
        let width = |mark: &Mark| text_width(&mark.words, WORDS.size, WORDS.weight) + 22.0;
        let wanted: Vec<(f32, f32, bool)> =
            marks.iter().map(|(m, left, _)| (axis.x(m.time), width(m), *left)).collect();
        let places = hang(&wanted, (MARGIN, RIGHT), 8.0);
        for ((mark, _, dash), place) in marks.iter().zip(&places) {
            let x = axis.x(mark.time);
            let line = [(x, flag_top(place) + FLAG_HEIGHT / 2.0), (x, BOTTOM)];
            canvas.line(&line, 7.0, paint::INK, None);
            canvas.line(&line, 3.0, paint::CHALK, *dash);
        }
        // Over all poles: a pole may pass behind another's words.
        for ((mark, ..), place) in marks.iter().zip(&places) {
            let (y, wide) = (flag_top(place), place.right - place.left);
            canvas.plate([place.left - 3.0, y - 3.0, wide + 6.0, FLAG_HEIGHT + 6.0], 6.0, paint::INK);
            canvas.plate([place.left, y, wide, FLAG_HEIGHT], 4.0, paint::CHALK);
            let words = Style { color: paint::INK, ..WORDS };
            canvas.text(&mark.words, (place.left + 11.0, y + 22.0), Align::Left, wide, words);
        }
    }

    fn axis(&self, canvas: &mut Canvas, axis: &Axis) {
        let zero = self.snap.as_ref().map(|snap| snap.time);
        for (time, count) in axis.ticks(zero.unwrap_or(0.0)) {
            let x = axis.x(time);
            canvas.line(&[(x, BOTTOM), (x, BOTTOM + 8.0)], 2.0, paint::EDGE, None);
            let words = match zero {
                Some(_) if count == 0.0 => "0".to_string(),
                Some(_) if count < 0.0 => format!("−{}", count.abs()),
                Some(_) => format!("+{count}"),
                None => clock(time),
            };
            canvas.text(&words, (x, BOTTOM + 32.0), Align::Middle, 90.0, SOFT);
        }
        let what = match zero {
            Some(snap) => format!("seconds from the snap, which is at {} of the film", clock(snap)),
            None => "time in the film, minutes and seconds".to_string(),
        };
        canvas.text(&what, ((PLOT + RIGHT) / 2.0, BOTTOM + 62.0), Align::Middle, RIGHT - PLOT, SOFT);
        let mut told = vec!["dark at the sides: film outside the play"];
        if !self.unreadable.is_empty() {
            told.push("hatched: the pictures could not be followed");
        }
        if self.set.is_some() {
            told.push("dashed pole: the offense is set");
        }
        canvas.text(&told.join(" · "), (RIGHT, BOTTOM + 92.0), Align::Right, RIGHT - MARGIN, SOFT);
    }
}

fn flag_top(place: &FlagPlace) -> f32 {
    FLAGS - place.row as f32 * FLAG_STEP
}

/// A lane's name with its color, and what its heights mean.
fn name(canvas: &mut Canvas, (y, _): (f32, f32), text: &str, color: Rgb, told: &[&str]) {
    canvas.shape(&[(MARGIN, y + 5.0), (MARGIN + 12.0, y + 5.0), (MARGIN + 12.0, y + 23.0), (MARGIN, y + 23.0)], color);
    let room = PLOT - MARGIN - 30.0;
    canvas.text(text, (MARGIN + 22.0, y + 22.0), Align::Left, room, NAME);
    for (k, line) in told.iter().enumerate() {
        canvas.text(line, (MARGIN, y + 50.0 + 26.0 * k as f32), Align::Left, PLOT - MARGIN - 24.0, SOFT);
    }
}

/// How a curve is drawn.
struct Ink {
    color: Rgb,
    filled: bool,
    dash: Option<(f32, f32)>,
}

fn lane(canvas: &mut Canvas, axis: &Axis, (y, height): (f32, f32), piece: &[(f64, f64)], top: f64, ink: Ink) {
    let place = |&(time, value): &(f64, f64)| {
        let share = if value.is_finite() { (value / top.max(1e-9)).clamp(0.0, 1.0) } else { 0.0 };
        (axis.x(time), y + height * (1.0 - share as f32))
    };
    let points: Vec<(f32, f32)> = piece.iter().filter(|p| axis.holds(p.0)).map(place).collect();
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return };
    if ink.filled {
        let mut area = vec![(first.0, y + height)];
        area.extend(&points);
        area.push((last.0, y + height));
        canvas.wash(&area, ink.color, 0.2);
    }
    canvas.line(&points, 2.0, ink.color, ink.dash);
}

/// Seconds as minutes and seconds to a tenth.
pub fn clock(seconds: f64) -> String {
    let tenths = (seconds.max(0.0) * 10.0).round() as i64;
    format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
}

#[cfg(test)]
mod tests {
    use tiny_skia::Pixmap;

    use super::*;
    use crate::film::Picture;

    fn play(snap: f64, doubt: Option<&str>) -> Explain {
        let mark = |time: f64, what: &str| Some(Mark { time, words: format!("{what} {}, 58 % sure", clock(time)) });
        let curve =
            |scale: f64| (0..180).map(|k| (10.0 + k as f64 / 15.0, scale * (k % 40) as f64)).collect::<Vec<_>>();
        let picture = TilePicture { picture: Picture::filled(32, 18, [120, 90, 100]), shown: (32, 18) };
        let frame = |k: u64| Frame {
            name: "just after".into(),
            frame: FrameNo(k),
            time: 11.0 + k as f64,
            picture: (k != 3).then(|| picture.clone()),
        };
        Explain {
            title: "Play 3 of 11".into(),
            film: "Badgers sideline.mp4".into(),
            found_by: "found by motion and a whistle".into(),
            doubt: doubt.map(String::from),
            window: (9.0, 23.0),
            span: (10.0, 22.0),
            set: mark(snap - 1.0, "set"),
            snap: mark(snap, "snap"),
            whistle: mark(snap + 5.0, "end"),
            frames: (0..6).map(frame).collect(),
            pan: vec![curve(0.004)],
            men: vec![curve(0.02)],
            clear: vec![curve(0.018)],
            whistles: vec![Heard { time: 20.1, length: 0.4, confidence: 0.8 }],
            sound: true,
            unreadable: vec![(13.0, 13.4)],
        }
    }

    fn pixels(play: &Explain) -> Pixmap {
        Pixmap::decode_png(&play.png().unwrap()).unwrap()
    }

    #[test]
    fn the_picture_has_its_size_and_keeps_its_margin_free() {
        let reason = "something moved as suddenly 2.4 s before; no whistle was heard and the end is hard to see; ";
        for drawn in [play(15.0, None), play(15.0, Some(&reason.repeat(4))), Explain::default()] {
            let png = pixels(&drawn);
            assert_eq!((png.width(), png.height()), SIZE);
            let [r, g, b] = paint::INK.0;
            let ink = |x: u32, y: u32| png.pixel(x, y).is_some_and(|p| (p.red(), p.green(), p.blue()) == (r, g, b));
            for x in 0..SIZE.0 {
                assert!((0..20).chain(SIZE.1 - 8..SIZE.1).all(|y| ink(x, y)), "something is cut at column {x}");
            }
            for y in 0..SIZE.1 {
                assert!((0..16).chain(SIZE.0 - 12..SIZE.0).all(|x| ink(x, y)), "something is cut at row {y}");
            }
        }
    }

    #[test]
    fn the_parts_do_not_overlap() {
        assert!(FRAME_TOP + FRAME.1 < CAPTION as u32 - 20 && CAPTION < LEADER.0);
        // Three rows of flags between the leaders and the lanes.
        assert!(LEADER.1 < FLAGS - 2.0 * FLAG_STEP && FLAGS + FLAG_HEIGHT + 3.0 < CAMERA.0);
        assert!(CAMERA.0 + CAMERA.1 < MEN.0 && MEN.0 + MEN.1 < WHISTLES.0 && BOTTOM + 92.0 + 8.0 < SIZE.1 as f32);
        assert!(FRAME.0 as f32 * FRAMES as f32 + 5.0 * 8.0 <= RIGHT - MARGIN);
    }

    #[test]
    fn snap_and_doubt_are_seen() {
        let (one, other) = (pixels(&play(15.0, None)), pixels(&play(16.0, None)));
        assert!(one.data() != other.data());
        let axis = Axis { time: (9.0, 23.0), edge: (PLOT, RIGHT) };
        let bright = |png: &Pixmap, time: f64| {
            let x = axis.x(time).round() as u32;
            let lit = |y: &u32| png.pixel(x, *y).is_some_and(|p| p.red() > 200 && p.blue() > 200);
            (CAMERA.0 as u32 + 1..BOTTOM as u32).filter(lit).count() as f32 / (BOTTOM - CAMERA.0)
        };
        assert!(bright(&one, 15.0) > 0.95 && bright(&other, 16.0) > 0.95, "the snap's pole runs through every lane");
        assert!(bright(&one, 16.0) < 0.2 && (0.3..0.8).contains(&bright(&one, 14.0)), "set is dashed");
        let yellow = |png: &Pixmap| png.pixels().iter().filter(|p| p.red() > 240 && p.blue() < 90).count();
        assert_eq!(yellow(&one), 0);
        assert!(yellow(&pixels(&play(15.0, Some("the snap is hard to see")))) > 500);
    }
}
