//! What the play was, burned into its pictures: the strip along their foot, or the chip in a corner.

use resvg::usvg;
use tiny_skia::{Pixmap, Transform};

use super::element::{Element, Node};
use super::field_line::{self, Spot};
use super::fonts::{missing_signs, options};
use super::overlay::Overlay;
use super::strip_text::StripText;
use super::template::Template;
use crate::base::{Error, Problem, Result};

/// Share of the picture's width and height that graphics keep to: the title-safe area, 90 % (SMPTE ST 2046-1; from
/// memory).
pub(super) const TITLE_SAFE: f64 = 0.9;

/// Lines below whose size nothing shrinks: at 640x360 the main words are then 21 pixels high (looked at after x264 at
/// constant rate factor 30, and read by OCR in a test).
pub(super) const SMALLEST: f64 = 405.0;

/// A strip, or a chip, as drawn for one picture size.
#[derive(Debug, Clone, PartialEq)]
pub struct Strip {
    /// To be blended onto every frame of the play; `None` where nothing is known of it.
    pub overlay: Option<Overlay>,
    /// Ids of the fields that found no room, in the order in which they went.
    pub dropped: Vec<String>,
    /// Signs that the typeface does not have and that are drawn as a box.
    pub problems: Vec<Problem>,
}

/// A field of the template with its values in and its measure taken.
struct Field {
    element: Element,
    /// Left and right edge of what it draws, in its own units.
    edges: (f32, f32),
    right_end: bool,
    drop: Option<u32>,
    gap_after: f32,
    /// Whether it stands over the band's left end instead of within.
    hangs: bool,
}

impl Field {
    fn width(&self) -> f32 {
        self.edges.1 - self.edges.0
    }
}

impl Strip {
    /// Draws the strip for pictures of `width` x `height`, at the place that its template names: along the foot of the
    /// title-safe area, or in a corner of it and as wide as its words.
    ///
    /// Texts are measured; fields that find no room go in the template's order. Should what may not be dropped still be
    /// too wide, the whole strip is drawn smaller: it is never cut.
    pub fn draw(template: &Template, text: &StripText, width: usize, height: usize) -> Result<Self> {
        Self::draw_larger(template, text, width, height, 1.0)
    }

    /// Draws the strip as [`Strip::draw`] does, so many times larger: fields that then find no room go.
    pub fn draw_larger(
        template: &Template,
        text: &StripText,
        width: usize,
        height: usize,
        larger: f32,
    ) -> Result<Self> {
        let frame = Frame::of(template)?;
        let fields = fields_of(template, text)?;
        if fields.is_empty() || width < 16 || height < 16 {
            return Ok(Self { overlay: None, dropped: Vec::new(), problems: Vec::new() });
        }
        let (w, h) = (width as f64, height as f64);
        let left = (w * (1.0 - TITLE_SAFE) / 2.0).ceil();
        let room = (w - 2.0 * left) as f32;
        let mut scale = (h.min(w * 9.0 / 16.0).max(SMALLEST) / 1080.0) as f32 * larger;

        let (fields, dropped) = drop_to_fit(fields, &frame, room / scale);
        let problems = problems_of(&fields, text);
        let needed = frame.needed(&fields);
        scale = scale.min(room / needed);
        let units = if frame.place == Place::Foot { room / scale } else { needed };
        let document = lay(template, text, &frame, fields, units)?;

        let (wide, high) = (units * scale, frame.height * scale);
        let from = match frame.place {
            Place::Corner { right: true, .. } => left as f32 + room - wide,
            Place::Corner { .. } | Place::Foot => left as f32,
        };
        let top = match frame.place {
            Place::Corner { foot: false, .. } => (h * (1.0 - TITLE_SAFE) / 2.0).ceil() as f32,
            Place::Corner { .. } | Place::Foot => (h * (1.0 + TITLE_SAFE) / 2.0).floor() as f32 - high,
        };
        // The drawing begins and ends on even samples, and whole chroma samples are inside it.
        let x = (from.floor().max(0.0) as usize) & !1;
        let y = (top.floor().max(0.0) as usize) & !1;
        let end = |from: f32, long: f32, most: usize| {
            ((from + long - 0.01).ceil().max(0.0) as usize).next_multiple_of(2).min(most.next_multiple_of(2))
        };
        let (right, bottom) = (end(from, wide, width).max(x + 2), end(top, high, height).max(y + 2));
        let at = Transform::from_row(scale, 0.0, 0.0, scale, from - x as f32, top - y as f32 - frame.top * scale);
        let drawing = rasterize(&document, (right - x) as u32, (bottom - y) as u32, at)?;
        Ok(Self { overlay: Some(Overlay::of(&drawing, x, y)), dropped, problems })
    }
}

/// Where it stands in the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    /// Along the foot, as wide as the title-safe area.
    Foot,
    /// In a corner, as wide as its words.
    Corner { right: bool, foot: bool },
}

/// What the template's root says of the layout.
pub(super) struct Frame {
    top: f32,
    height: f32,
    pad: f32,
    place: Place,
    /// Where the band begins, left of which the field that hangs over its end stands.
    band: f32,
}

impl Frame {
    /// # Errors
    /// A viewBox or a place that cannot be used; no field at all.
    pub(super) fn of(template: &Template) -> Result<Self> {
        let root = &template.root;
        let refuse = |what: String| {
            let next = "start again from a copy of config/overlays/strip.svg or chip.svg";
            Error::refused(format!("cannot draw the overlay template: {what}"), "", next)
        };
        let [_, top, _, height] = template.view().filter(|[.., height]| *height < 1080.0).ok_or_else(|| {
            refuse("its viewBox does not give four numbers with a height above 0 and under 1080".into())
        })?;
        let place = match root.get("data-place").unwrap_or("foot") {
            "foot" => Place::Foot,
            "top left" => Place::Corner { right: false, foot: false },
            "top right" => Place::Corner { right: true, foot: false },
            "bottom left" => Place::Corner { right: false, foot: true },
            "bottom right" => Place::Corner { right: true, foot: true },
            other => {
                return Err(refuse(format!(
                    "data-place is \"{other}\"; it takes foot, top left, top right, bottom left, bottom right"
                )));
            }
        };
        if root.elements().all(|e| e.get("data-side").is_none()) {
            return Err(refuse("none of its elements is a field with a data-side".into()));
        }
        let band = root.elements().find(|e| e.id() == "band").and_then(|e| e.number("x")).unwrap_or(0.0);
        Ok(Self { top, height, pad: root.number("data-pad").unwrap_or(24.0), place, band })
    }

    /// Where the band and the first of these fields begin.
    fn starts(&self, fields: &[Field]) -> (f32, f32) {
        match fields.first().is_some_and(|f| f.hangs) {
            true => (self.band, 0.0),
            false => (0.0, self.pad),
        }
    }

    /// Least width of a band that holds these fields, from the first one's left edge or the band's own.
    fn needed(&self, fields: &[Field]) -> f32 {
        let inside: f32 = fields.iter().map(Field::width).sum();
        let gaps: f32 = fields.iter().take(fields.len().saturating_sub(1)).map(|f| f.gap_after).sum();
        self.starts(fields).1 + inside + gaps + self.pad
    }
}

/// The fields that have values, left ones first, measured.
fn fields_of(template: &Template, text: &StripText) -> Result<Vec<Field>> {
    let value = |name: &str| text.value(name);
    // A plate has room for one sign; anything longer is no down, and stands in the plate's place as a word.
    let long_down = text.value("down").filter(|down| down.chars().count() > 1);
    let value = |name: &str| match (&long_down, name) {
        (Some(_), "down") => None,
        (Some(down), "word") => Some(down.clone()),
        _ => value(name),
    };
    let gap = template.root.number("data-gap").unwrap_or(52.0);
    let mut found: Vec<Field> = Vec::new();
    for element in template.root.elements() {
        let Some(side) = element.get("data-side") else { continue };
        if element.get("data-instead-of").is_some_and(|id| found.iter().any(|f| f.element.id() == id)) {
            continue;
        }
        let Some(mut element) = element.filled(&value) else { continue };
        element.attributes.retain(|(name, _)| name != "transform");
        found.push(Field {
            edges: (0.0, 0.0),
            right_end: side == "right",
            drop: element.get("data-drop").and_then(|d| d.parse().ok()),
            gap_after: element.number("data-gap-after").unwrap_or(gap),
            hangs: element.get("data-hang").is_some(),
            element,
        });
    }
    found.sort_by_key(|f| f.right_end);
    measure(template, &mut found)?;
    Ok(found)
}

fn measure(template: &Template, fields: &mut [Field]) -> Result<()> {
    let mut root = Element { children: Vec::new(), ..template.root.clone() };
    for (i, field) in fields.iter().enumerate() {
        let mut e = field.element.clone();
        e.set("id", format!("field-{i}"));
        root.children.push(Node::Element(e));
    }
    let tree = parse(&root.document())?;
    for (i, field) in fields.iter_mut().enumerate() {
        if let Some(node) = tree.node_by_id(&format!("field-{i}")) {
            let edges = node.bounding_box();
            field.edges = (edges.left(), edges.right());
        }
    }
    Ok(())
}

fn drop_to_fit(mut fields: Vec<Field>, frame: &Frame, band: f32) -> (Vec<Field>, Vec<String>) {
    let mut dropped = Vec::new();
    while frame.needed(&fields) > band {
        let next = fields.iter().enumerate().filter_map(|(i, f)| Some((f.drop?, i))).min();
        let Some((_, i)) = next else { break };
        dropped.push(fields.remove(i).element.id().to_string());
    }
    (fields, dropped)
}

/// The template with its fields in their places, the band `band` units wide.
fn lay(template: &Template, text: &StripText, frame: &Frame, fields: Vec<Field>, band: f32) -> Result<String> {
    // The field line begins where the words do, right of the plate.
    let (band_from, first) = frame.starts(&fields);
    let mut words = first;
    let mut placed: Vec<(String, Element)> = Vec::new();
    let mut at = first;
    let right_width: f32 = {
        let right: Vec<&Field> = fields.iter().filter(|f| f.right_end).collect();
        right.iter().map(|f| f.width()).sum::<f32>()
            + right.iter().take(right.len().saturating_sub(1)).map(|f| f.gap_after).sum::<f32>()
    };
    let mut right_begun = false;
    for field in fields {
        if field.right_end && !right_begun {
            right_begun = true;
            at = band - frame.pad - right_width;
        }
        let (mut element, width) = (field.element, field.edges.1 - field.edges.0);
        element.set("transform", format!("translate({} 0)", at - field.edges.0));
        at += width + field.gap_after;
        if element.id() == "down" {
            words = at;
        }
        placed.push((element.id().to_string(), element));
    }

    let mut root = Element { children: Vec::new(), ..template.root.clone() };
    for element in template.root.elements() {
        if element.get("data-side").is_some() {
            if let Some(i) = placed.iter().position(|(id, _)| id == element.id()) {
                root.children.push(Node::Element(placed.swap_remove(i).1));
            }
        } else if element.id() == "field" {
            let spot = text.ball_yards.filter(|&yards| yards <= 100).map(|ball| Spot {
                ball,
                to_gain: text.to_gain,
                leftward: text.leftward,
            });
            if let Some(line) = spot.and_then(|spot| field_line::lay(element, words, band - frame.pad, spot)) {
                root.children.push(Node::Element(line));
            }
        } else {
            let mut element = element.clone();
            if element.id() == "band" {
                element.set("x", band_from);
                element.set("width", band - band_from);
            }
            root.children.push(Node::Element(element));
        }
    }
    // Units are pixels of the document; the painter scales it as a whole.
    root.attributes.retain(|(name, _)| !matches!(name.as_str(), "viewBox" | "width" | "height"));
    root.set("width", band.ceil());
    root.set("height", frame.height);
    Ok(root.document())
}

fn problems_of(fields: &[Field], text: &StripText) -> Vec<Problem> {
    let mut problems = Vec::new();
    for field in fields {
        let words = field.element.words();
        for sign in missing_signs(&words) {
            problems.push(Problem {
                place: text.play.clone().unwrap_or_else(|| "strip".into()),
                value: words.clone(),
                what: format!("the strip's typeface has no \"{sign}\""),
                took: "an empty box".into(),
            });
        }
    }
    problems
}

pub(super) fn parse(document: &str) -> Result<usvg::Tree> {
    usvg::Tree::from_str(document, &options()).map_err(|cause| {
        Error::refused(
            "cannot draw the overlay template",
            cause,
            "start again from a copy of config/overlays/strip.svg",
        )
    })
}

/// Draws a document onto a clear ground.
pub(super) fn rasterize(document: &str, width: u32, height: u32, at: Transform) -> Result<Pixmap> {
    let tree = parse(document)?;
    let mut drawing = Pixmap::new(width, height).ok_or_else(|| {
        Error::refused("cannot draw an overlay of that size", format!("{width}x{height}"), "choose a smaller picture")
    })?;
    resvg::render(&tree, at, &mut drawing.as_mut());
    Ok(drawing)
}

#[cfg(test)]
mod tests;
