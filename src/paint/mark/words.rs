//! Words on a plate of ink: labels with a leader, captions.

use tiny_skia::{Pixmap, Transform};

use super::brush::Brush;
use super::path::apart;
use super::{Head, Mark, MarkColor, MarkKind, Pose};
use crate::base::Result;
use crate::film::Picture;
use crate::paint::color::paint;
use crate::paint::fonts::{escape, plain, text_width};
use crate::paint::strip::rasterize;

/// Font size of all words, units: a phone at arm's length needs 1/22 of the picture's height.
const SIZE: f32 = 50.0;
/// Room around the words, units.
const PAD: (f32, f32) = (16.0, 9.0);
/// Width of the plate's edge in the mark's color, and of the leader.
const EDGE: f32 = 8.0;
const LEADER: f32 = 4.0;
/// The leader's dot.
const DOT: f32 = 8.0;
/// How far a label lies from what it speaks of, units.
const AWAY: f32 = 84.0;

/// Words as drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Plate {
    drawing: Pixmap,
    color: Option<MarkColor>,
}

/// Where a label lies, seen from what it speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spot {
    /// Above it.
    Above,
    /// Below it.
    Below,
    /// To its left.
    Left,
    /// To its right.
    Right,
}

impl Spot {
    /// Every spot, the better first.
    pub const ALL: [Self; 4] = [Self::Above, Self::Right, Self::Left, Self::Below];
}

impl Plate {
    /// Words in a line or more, each no wider than `room` pixels where words allow it; with an edge in a mark's color.
    ///
    /// # Errors
    /// A plate larger than can be drawn.
    pub fn of(brush: &Brush, text: &str, color: Option<MarkColor>, room: f32) -> Result<Self> {
        let unit = brush.unit();
        let (size, pad) = (SIZE * unit, (PAD.0 * unit, PAD.1 * unit));
        let edge = color.map_or(0.0, |_| EDGE * unit);
        let lines = wrapped(&plain(text), size, room - 2.0 * pad.0 - edge);
        let widest = lines.iter().map(|line| text_width(line, size, 600)).fold(0.0, f32::max);
        let width = (widest + 2.0 * pad.0 + edge).ceil();
        let height = (lines.len() as f32 * size * 1.12 + 2.0 * pad.1).ceil();
        let mut svg = format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}"><rect width="{width}" height="{height}" rx="{}" fill="{}" fill-opacity=".92"/>"#,
            6.0 * unit,
            paint::INK.hex()
        );
        if let Some(color) = color {
            let color = color.rgb().hex();
            svg.push_str(&format!(r#"<rect width="{edge}" height="{height}" fill="{color}"/>"#));
        }
        for (k, line) in lines.iter().enumerate() {
            // Captions are set in the middle, labels beside their edge.
            let x = match color {
                Some(_) => edge + pad.0,
                None => (width - text_width(line, size, 600)) / 2.0,
            };
            svg.push_str(&format!(
                r#"<text x="{x}" y="{}" font-size="{size}" font-weight="600" fill="{}">{}</text>"#,
                pad.1 + size * (0.9 + 1.12 * k as f32),
                paint::CHALK.hex(),
                escape(line)
            ));
        }
        svg.push_str("</svg>");
        let drawing = rasterize(&svg, width.max(1.0) as u32, height.max(1.0) as u32, Transform::identity())?;
        Ok(Self { drawing, color })
    }

    /// Its width and height, pixels.
    pub fn size(&self) -> (f32, f32) {
        (self.drawing.width() as f32, self.drawing.height() as f32)
    }

    /// Left, top, right and foot of the plate where it speaks of something that reaches `clear` pixels to each side of
    /// `about`; kept within the room that has its foot at `foot`.
    pub fn place(&self, brush: &Brush, about: (f32, f32), clear: (f32, f32), spot: Spot, foot: f32) -> [f32; 4] {
        let (width, height) = self.size();
        let away = AWAY * brush.unit();
        let (x, y) = match spot {
            Spot::Above => (about.0 - width / 2.0, about.1 - clear.1 - away - height),
            Spot::Below => (about.0 - width / 2.0, about.1 + clear.1 + away),
            Spot::Left => (about.0 - clear.0 - away - width, about.1 - height / 2.0),
            Spot::Right => (about.0 + clear.0 + away, about.1 - height / 2.0),
        };
        let [left, top, across, _] = brush.room().map(|v| v as f32);
        let margin = 12.0 * brush.unit();
        let x = x.min(left + across - width - margin).max(left + margin);
        let y = y.min(foot - height - margin).max(top + margin);
        [x, y, x + width, y + height]
    }

    /// Draws it at a place, with a leader to what it speaks of where that is not under it.
    pub fn draw(&self, brush: &mut Brush, place: [f32; 4], leader: Option<(f32, f32)>, seen: f32, on: &mut Picture) {
        let [left, top, right, foot] = place;
        if let (Some(to), Some(color)) = (leader, self.color) {
            let from = (to.0.clamp(left, right), to.1.clamp(top, foot));
            let unit = brush.unit();
            if apart(from, to) > DOT * unit {
                let line = |thickness: f32, kind| Mark { kind, color, thickness, dashed: false, head: Head::Plain };
                let whole = |points: Vec<(f32, f32)>, size| Pose { points, size, grown: 1.0, seen };
                // A line is 7 wide.
                let leader = line(LEADER / 7.0, MarkKind::Line);
                brush.draw(&leader, &whole(vec![from, to], (0.0, 0.0)), &mut None, on);
                let dot = line(DOT / 7.0, MarkKind::Line);
                brush.draw(&dot, &whole(vec![to, (to.0 + 0.1, to.1)], (0.0, 0.0)), &mut None, on);
            }
        }
        brush.lay(&self.drawing, (left.round() as i64, top.round() as i64), seen, on);
    }
}

/// Words in lines no wider than `room`, as even as they can be.
fn wrapped(text: &str, size: f32, room: f32) -> Vec<String> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let fill = |room: f32| {
        let mut lines: Vec<String> = Vec::new();
        for word in &words {
            match lines.last_mut() {
                Some(line) if text_width(&format!("{line} {word}"), size, 600) <= room => {
                    line.push(' ');
                    line.push_str(word);
                }
                _ => lines.push((*word).to_string()),
            }
        }
        lines
    };
    let lines = fill(room);
    let whole = text_width(text, size, 600);
    // As narrow as the same number of lines allows: no single word hangs below.
    let mut narrow = whole / lines.len().max(1) as f32;
    while narrow < room {
        let even = fill(narrow);
        if even.len() <= lines.len() {
            return even;
        }
        narrow += size;
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_words_are_set_in_even_lines() {
        assert_eq!(wrapped("safety rolls down", 50.0, 2000.0), ["safety rolls down"]);
        let two = wrapped("watch the free safety roll down over the slot", 50.0, 700.0);
        assert_eq!(two.len(), 2);
        assert!(two.iter().all(|line| text_width(line, 50.0, 600) <= 700.0));
        let [a, b] = [&two[0], &two[1]].map(|line| text_width(line, 50.0, 600));
        assert!((a - b).abs() < 200.0, "{two:?}");
        assert!(wrapped("", 50.0, 700.0).is_empty());
        assert_eq!(wrapped("unbreakableunbreakable", 50.0, 10.0).len(), 1);
    }

    #[test]
    fn a_label_stays_in_its_room_and_above_its_foot() {
        let brush = Brush::new((640, 360), [0, 0, 640, 360]);
        let plate = Plate::of(&brush, "free safety", Some(MarkColor::Ours), 600.0).unwrap();
        assert!(plate.size().1 >= 360.0 / 22.0);
        for spot in Spot::ALL {
            for about in [(0.0, 0.0), (640.0, 360.0), (320.0, 180.0), (-500.0, 900.0)] {
                let [left, top, right, foot] = plate.place(&brush, about, (20.0, 40.0), spot, 320.0);
                assert!(left >= 0.0 && top >= 0.0 && right <= 640.0 && foot <= 320.0, "{spot:?} {about:?}");
            }
        }
        let [left, _, right, foot] = plate.place(&brush, (320.0, 180.0), (20.0, 40.0), Spot::Above, 320.0);
        assert!(foot < 140.0 && ((left + right) / 2.0 - 320.0).abs() < 1.0);
    }
}
