//! The strip: what the play was, along the foot of the picture.

use resvg::usvg;
use tiny_skia::{Pixmap, Transform};

use super::field_line::{self, Spot};
use super::fonts::{missing_signs, options, plain, shorten};
use super::overlay::Overlay;
use super::template::{Element, Node, Template};
use crate::base::{Error, Problem, Result};

/// Share of the picture's width and height that graphics keep to: the title-safe area, 90 % (SMPTE ST 2046-1; from
/// memory).
const TITLE_SAFE: f64 = 0.9;

/// Lines below whose size nothing shrinks: at 640x360 the main words are then 21 pixels high (looked at after x264 at
/// constant rate factor 30, and read by OCR in a test).
const SMALLEST: f64 = 405.0;

/// What a strip says. Whatever is not known is `None` or empty, and left out.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct StripText {
    /// The down: one sign, shown on the plate (`3`).
    pub down: Option<String>,
    /// `and 2`, `and goal`. Never dropped, never cut.
    pub distance: Option<String>,
    /// What stands in the plate's place where there is no down: `kickoff`, `try`.
    pub word: Option<String>,
    /// `opp 34`.
    pub ball_on: Option<String>,
    /// Yards from the offense's own goal line to the ball, 0 to 100: places it on the field line.
    pub ball_yards: Option<u8>,
    /// Yards to the line to gain.
    pub to_gain: Option<u8>,
    /// Whether the offense is known to be seen going left: the field line is mirrored then.
    pub leftward: bool,
    /// Free words, the most telling first: `trips right`, `one-high`.
    pub tags: Vec<String>,
    /// `Herons at Badgers`.
    pub game: Option<String>,
    /// `Q2 4:31`.
    pub clock: Option<String>,
    /// `play 47`.
    pub play: Option<String>,
}

impl StripText {
    /// A placeholder's value, as it may be drawn.
    fn value(&self, placeholder: &str) -> Option<String> {
        let tag = |number: &str| self.tags.get(number.parse::<usize>().ok()?.checked_sub(1)?);
        let raw = match placeholder {
            "down" => self.down.as_ref(),
            "distance" => self.distance.as_ref(),
            "word" => self.word.as_ref(),
            "ball_on" => self.ball_on.as_ref(),
            "game" => self.game.as_ref(),
            "clock" => self.clock.as_ref(),
            "play" => self.play.as_ref(),
            other => other.strip_prefix("tag_").and_then(tag),
        }?;
        let value = plain(raw);
        let value = if matches!(placeholder, "down" | "distance") { value } else { shorten(&value) };
        (!value.is_empty()).then_some(value)
    }
}

/// A strip as drawn for one picture size.
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
}

impl Field {
    fn width(&self) -> f32 {
        self.edges.1 - self.edges.0
    }
}

impl Strip {
    /// Draws the strip for pictures of `width` x `height`.
    ///
    /// Texts are measured; fields that find no room go in the template's order. Should what may not be dropped still be
    /// too wide, the whole strip is drawn smaller: it is never cut.
    pub fn draw(template: &Template, text: &StripText, width: usize, height: usize) -> Result<Self> {
        let fields = fields_of(template, text)?;
        if fields.is_empty() || width < 16 || height < 16 {
            return Ok(Self { overlay: None, dropped: Vec::new(), problems: Vec::new() });
        }
        let frame = Frame::of(template)?;
        let (w, h) = (width as f64, height as f64);
        let left = (w * (1.0 - TITLE_SAFE) / 2.0).ceil();
        let band = (w - 2.0 * left) as f32;
        let foot = (h * (1.0 + TITLE_SAFE) / 2.0).floor();
        let mut scale = (h.min(w * 9.0 / 16.0).max(SMALLEST) / 1080.0) as f32;

        let (fields, dropped) = drop_to_fit(fields, &frame, band / scale);
        let problems = problems_of(&fields, text);
        let needed = frame.needed(&fields);
        scale = scale.min(band / needed);
        let document = lay(template, text, &frame, fields, band / scale)?;

        // The drawing begins and ends on even samples, and whole chroma samples are inside it.
        let top = foot as f32 - frame.height * scale;
        let x = (left as usize) & !1;
        let y = (top.floor().max(0.0) as usize) & !1;
        let right = (left as usize + band.ceil() as usize).next_multiple_of(2).min(width.next_multiple_of(2));
        let bottom = (foot as usize).next_multiple_of(2).min(height.next_multiple_of(2));
        let at = Transform::from_row(
            scale,
            0.0,
            0.0,
            scale,
            left as f32 - x as f32,
            foot as f32 - y as f32 - (frame.top + frame.height) * scale,
        );
        let drawing = rasterize(&document, (right - x) as u32, (bottom - y) as u32, at)?;
        Ok(Self { overlay: Some(Overlay::of(&drawing, x, y)), dropped, problems })
    }
}

/// What the template's root says of the layout.
struct Frame {
    top: f32,
    height: f32,
    pad: f32,
}

impl Frame {
    fn of(template: &Template) -> Result<Self> {
        let root = &template.root;
        let view: Vec<f32> = root
            .get("viewBox")
            .unwrap_or_default()
            .split([' ', ','])
            .filter(|n| !n.is_empty())
            .filter_map(|n| n.parse().ok())
            .collect();
        match view[..] {
            [_, top, _, height] if height > 0.0 && height < 1080.0 && top.is_finite() => {
                Ok(Self { top, height, pad: root.number("data-pad").unwrap_or(24.0) })
            }
            _ => Err(Error::refused(
                "cannot draw the strip: its viewBox does not give four numbers with a height under 1080",
                root.get("viewBox").unwrap_or("no viewBox"),
                "take the viewBox of config/overlays/strip.svg",
            )),
        }
    }

    /// Least width of a band that holds these fields.
    fn needed(&self, fields: &[Field]) -> f32 {
        let inside: f32 = fields.iter().map(Field::width).sum();
        let gaps: f32 = fields.iter().take(fields.len().saturating_sub(1)).map(|f| f.gap_after).sum();
        2.0 * self.pad + inside + gaps
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
    let mut words = frame.pad;
    let mut placed: Vec<(String, Element)> = Vec::new();
    let mut at = frame.pad;
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
                element.set("width", band);
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

fn parse(document: &str) -> Result<usvg::Tree> {
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
