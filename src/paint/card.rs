//! A card: a picture of words that stands before a play or before a group of plays.

use tiny_skia::Transform;

use super::card_text::CardText;
use super::color::paint;
use super::element::{Element, Node};
use super::fonts::missing_signs;
use super::overlay::Overlay;
use super::strip::{SMALLEST, TITLE_SAFE, parse, rasterize};
use super::template::Template;
use super::wrap::{SetWords, Setting, set};
use crate::base::{Error, Problem, Result};
use crate::film::Picture;

/// Height of a capital letter of the typeface, and the distance between two lines of one text, in ems: .69 by the font's
/// own tables; the other is a choice.
const CAPITAL: f32 = 0.70;
const LINE: f32 = 1.14;

/// Room kept below the last baseline for letters that reach below it, in ems.
const BELOW: f32 = 0.24;

/// Least space between the words in the middle and those at the foot, units.
const ABOVE_FOOT: f32 = 40.0;

/// Where the words stand in the height that is free: a little above its middle, as a page's title does.
const HIGH: f32 = 0.46;

/// Largest share of the width that what stands beside the words may take.
const BESIDE: f32 = 0.3;

/// Words smaller than so many units are reported: 10 lines high where a picture has 360.
const READABLE: f32 = 28.0;

/// Draws cards.
pub struct Card;

impl Card {
    /// Draws a card as a whole picture of `width` x `height`, in BT.709 limited range, and tells what was not as it should
    /// be: signs that the typeface lacks, words that had to be set too small to be read.
    ///
    /// # Errors
    /// A template that cannot be laid out; a size of no samples.
    pub fn draw(template: &Template, text: &CardText, width: usize, height: usize) -> Result<(Picture, Vec<Problem>)> {
        let laid = lay(template, text, width, height)?;
        // The drawing has whole chroma samples; what reaches past an odd edge is left out.
        let (across, down) = (width.next_multiple_of(2) as u32, height.next_multiple_of(2) as u32);
        let drawing = rasterize(&laid.document, across, down, Transform::from_scale(laid.scale, laid.scale))?;
        let mut picture = Picture::filled(width, height, paint::INK.ycbcr());
        Overlay::of(&drawing, 0, 0).blend(&mut picture);
        Ok((picture, laid.problems))
    }
}

/// What a template's elements are for.
pub(super) struct Look<'t> {
    view: [f32; 4],
    ground: Vec<&'t Element>,
    beside: Vec<&'t Element>,
    /// Texts, and the chain of links, in their order.
    rows: Vec<&'t Element>,
    foot: Vec<&'t Element>,
}

impl<'t> Look<'t> {
    /// # Errors
    /// No usable viewBox, or no text that could be shown.
    pub(super) fn of(template: &'t Template) -> Result<Self> {
        let refuse = |what: &str| {
            let next = "start again from a copy of config/overlays/card.svg or group.svg";
            Error::refused(format!("cannot draw the card's template: {what}"), "", next)
        };
        let view = template.view().ok_or_else(|| refuse("its viewBox does not give four numbers with a size"))?;
        let mut look = Self { view, ground: vec![], beside: vec![], rows: vec![], foot: vec![] };
        for element in template.root.elements() {
            let list = match element.name.as_str() {
                "text" if element.get("data-foot").is_some() => &mut look.foot,
                "text" => &mut look.rows,
                _ if element.get("data-links").is_some() => &mut look.rows,
                _ if element.get("data-beside").is_some() => &mut look.beside,
                _ => &mut look.ground,
            };
            list.push(element);
        }
        let texts = look.rows.iter().chain(&look.foot).filter(|e| e.name == "text").count();
        if texts == 0 { Err(refuse("it has no text directly in its root")) } else { Ok(look) }
    }

    /// Those of these elements that have something to say, filled.
    fn shown(elements: &[&Element], text: &CardText) -> Vec<Element> {
        let mut shown: Vec<Element> = Vec::new();
        for element in elements {
            if element.get("data-instead-of").is_some_and(|id| shown.iter().any(|s| s.id() == id)) {
                continue;
            }
            if let Some(mut filled) = element.filled(&|name| text.value(name)) {
                if filled.name == "text" {
                    let words = filled.words();
                    filled.children = vec![Node::Text(sentence(&words, filled.get("data-case")))];
                }
                shown.push(filled);
            }
        }
        shown
    }
}

fn sentence(words: &str, case: Option<&str>) -> String {
    let mut letters = words.chars();
    match letters.next().filter(|_| case == Some("sentence")) {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => words.into(),
    }
}

/// What a viewer is to read of a card, a text each: not what stands beside the words and says them again, nor at the foot,
/// where it is for who looks for it.
pub(super) fn read(template: &Template, text: &CardText) -> Vec<String> {
    let Ok(look) = Look::of(template) else { return Vec::new() };
    Look::shown(&look.rows, text).iter().map(Element::words).filter(|words| !words.is_empty()).collect()
}

/// Whether the template shows which group of how many as a chain of links.
pub(super) fn has_links(template: &Template) -> bool {
    template.root.elements().any(|element| element.get("data-links").is_some())
}

/// A card laid out.
#[derive(Debug)]
pub(super) struct Laid {
    /// In units.
    pub document: String,
    /// Pixels a unit.
    pub scale: f32,
    pub problems: Vec<Problem>,
}

/// A row of the card with its place below the row above.
struct Row {
    element: Element,
    above: f32,
    height: f32,
    /// `None` for the chain of links.
    words: Option<SetWords>,
}

/// Lays a card out for pictures of this size.
pub(super) fn lay(template: &Template, text: &CardText, width: usize, height: usize) -> Result<Laid> {
    let look = Look::of(template)?;
    let (w, h) = (width as f64, height as f64);
    let scale = (h.min(w * 9.0 / 16.0).max(SMALLEST) / 1080.0) as f32;
    let unit = |pixels: f64| pixels as f32 / scale;
    // The title-safe area, to whole pixels inside.
    let (left, top) = (unit((w * (1.0 - TITLE_SAFE) / 2.0).ceil()), unit((h * (1.0 - TITLE_SAFE) / 2.0).ceil()));
    let (right, bottom) = (unit(w) - left, unit(h) - top);
    let rows = Look::shown(&look.rows, text);
    let foot = Look::shown(&look.foot, text);
    let beside = match Look::shown(&look.beside, text).into_iter().next() {
        Some(element) => Some((measured(template, &element)?, element)),
        None => None,
    };

    // All is set as it is wanted, and a little smaller until it finds room.
    let mut smaller = 1.0f32;
    let (foot, rows, aside, block, free) = loop {
        let foot = arranged(&foot, text, right - left, smaller);
        let foot_height = foot.iter().map(|row| row.above + row.height).sum::<f32>() + last_below(&foot);
        let free = bottom - top - if foot.is_empty() { 0.0 } else { foot_height + ABOVE_FOOT * smaller };
        let aside = beside.as_ref().map(|((_, wide, high), element)| {
            let by = smaller.min(BESIDE * (right - left) / wide.max(1.0));
            (by, wide * by, high * by, element.number("data-beside").unwrap_or(0.0) * by)
        });
        let indent = aside.map_or(0.0, |(_, wide, _, gap)| wide + gap);
        let rows = arranged(&rows, text, right - left - indent, smaller);
        let words = rows.iter().map(|row| row.above + row.height).sum::<f32>();
        let stretches = beside.as_ref().is_some_and(|(_, element)| element.elements().any(stretched));
        let block = words.max(aside.filter(|_| !stretches).map_or(0.0, |(_, _, high, _)| high));
        if block + last_below(&rows) <= free || smaller < 0.02 {
            break (foot, rows, aside, block, free);
        }
        smaller *= 0.95;
    };

    let mut root = Element::new("svg");
    root.attributes = template.root.attributes.clone();
    root.attributes.retain(|(name, _)| !matches!(name.as_str(), "viewBox" | "width" | "height"));
    root.set("width", unit(w).ceil());
    root.set("height", unit(h).ceil());
    let mut put = |element: Element| root.children.push(Node::Element(element));

    let [vx, vy, vw, vh] = look.view;
    let cover = (unit(w) / vw).max(unit(h) / vh);
    let [gx, gy] = [(unit(w) - vw * cover) / 2.0 - vx * cover, (unit(h) - vh * cover) / 2.0 - vy * cover];
    for element in &look.ground {
        put(moved((*element).clone(), gx, gy, cover));
    }
    let from = top + (free - block).max(0.0) * HIGH;
    let mut x = left;
    if let (Some(((edges, ..), element)), Some((by, wide, _, gap))) = (beside, aside) {
        put(moved(stretch(element, block / by, edges), left - edges.0 * by, from - edges.1 * by, by));
        x += wide + gap;
    }
    let mut y = from;
    for row in &rows {
        y += row.above;
        written(row, x, y, text, right - x).into_iter().for_each(&mut put);
        y += row.height;
    }
    let mut y = bottom - last_below(&foot) - foot.iter().map(|row| row.above + row.height).sum::<f32>();
    for row in &foot {
        y += row.above;
        written(row, left, y, text, right - left).into_iter().for_each(&mut put);
        y += row.height;
    }
    let problems = problems_of(rows.iter().chain(&foot), text);
    Ok(Laid { document: root.document(), scale, problems })
}

/// Left and upper edge of what an element draws, its width and its height.
fn measured(template: &Template, element: &Element) -> Result<((f32, f32), f32, f32)> {
    let mut root = Element { children: Vec::new(), ..template.root.clone() };
    let mut group = Element::new("g");
    group.set("id", "measured");
    group.children.push(Node::Element(element.clone()));
    root.children.push(Node::Element(group));
    let tree = parse(&root.document())?;
    let edges = tree.node_by_id("measured").map(|node| node.stroke_bounding_box());
    Ok(edges.map_or(((0.0, 0.0), 0.0, 0.0), |e| ((e.left(), e.top()), e.width(), e.height())))
}

fn stretched(element: &Element) -> bool {
    element.get("data-stretch").is_some()
}

/// The element with its stretching parts as long as the words are high.
fn stretch(mut element: Element, height: f32, (_, top): (f32, f32)) -> Element {
    for child in &mut element.children {
        if let Node::Element(part) = child
            && stretched(part)
        {
            let y = part.number("y").unwrap_or(0.0);
            part.set("height", (top + height - y).max(1.0));
        }
    }
    element
}

fn moved(element: Element, x: f32, y: f32, by: f32) -> Element {
    let mut group = Element::new("g");
    group.set("transform", format!("translate({x} {y}) scale({by})"));
    group.children.push(Node::Element(element));
    group
}

/// The rows with their words set into `room`, all sizes `smaller` times their own.
fn arranged(elements: &[Element], text: &CardText, room: f32, smaller: f32) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for element in elements {
        let number = |name: &str| element.number(name).map(|n| n * smaller);
        if element.name != "text" {
            if links(element, text, room).is_some() {
                let height = element.elements().filter_map(|e| e.number("height")).fold(0.0, f32::max);
                let above = number("data-above").unwrap_or(0.0);
                rows.push(Row { element: element.clone(), above, height, words: None });
            }
            continue;
        }
        let size = number("font-size").unwrap_or(42.0 * smaller);
        let how = Setting {
            size,
            least: number("data-least").unwrap_or(size),
            broken: number("data-broken").unwrap_or(size),
            weight: element.number("font-weight").map_or(500, |weight| weight as u16),
        };
        let words = set(&element.words(), how, room);
        let above = if rows.is_empty() { 0.0 } else { number("data-gap").unwrap_or(0.0) };
        let height = words.size * (CAPITAL + LINE * (words.lines.len() as f32 - 1.0));
        rows.push(Row { element: element.clone(), above, height, words: Some(words) });
    }
    rows
}

fn last_below(rows: &[Row]) -> f32 {
    rows.last().and_then(|row| row.words.as_ref()).map_or(0.0, |words| words.size * BELOW)
}

/// A row's elements, its upper edge at `y`.
fn written(row: &Row, x: f32, y: f32, text: &CardText, room: f32) -> Vec<Element> {
    let Some(words) = &row.words else {
        return links(&row.element, text, room).map(|chain| moved(chain, x, y, 1.0)).into_iter().collect();
    };
    let line = |(i, line): (usize, &String)| {
        let mut element = Element { children: vec![Node::Text(line.clone())], ..row.element.clone() };
        element.attributes.retain(|(name, _)| !matches!(name.as_str(), "text-anchor" | "transform" | "id"));
        element.set("x", x);
        element.set("y", y + words.size * (CAPITAL + LINE * i as f32));
        element.set("font-size", words.size);
        element
    };
    words.lines.iter().enumerate().map(line).collect()
}

/// A link for each group, those up to this one filled. `None` where there are not two, or no room for them.
fn links(element: &Element, text: &CardText, room: f32) -> Option<Element> {
    let (number, of) = text.which().filter(|&(_, of)| of > 1)?;
    let gap = element.number("data-gap").unwrap_or(8.0);
    let wide = element.number("data-width").filter(|wide| *wide > 0.0)?;
    let each = wide.min((room + gap) / of as f32 - gap);
    if each < element.number("data-least").unwrap_or(1.0) {
        return None;
    }
    let part = |id: &str| element.elements().find(|e| e.id() == id);
    let (done, to_come) = (part("done")?, part("to-come")?);
    let mut chain = Element { children: Vec::new(), ..element.clone() };
    for i in 0..of {
        let mut link = if i < number { done } else { to_come }.clone();
        // A link's outline keeps its width; the link itself becomes shorter.
        let short = link.number("width").unwrap_or(wide) - (wide - each);
        let at = link.number("x").unwrap_or(0.0) + i as f32 * (each + gap);
        link.set("width", short.max(1.0));
        link.set("x", at);
        chain.children.push(Node::Element(link));
    }
    Some(chain)
}

fn problems_of<'r>(rows: impl Iterator<Item = &'r Row>, text: &CardText) -> Vec<Problem> {
    let place = ["play", "group"].iter().find_map(|name| text.value(name)).unwrap_or_else(|| "card".into());
    let mut problems = Vec::new();
    for row in rows {
        let Some(set) = &row.words else { continue };
        let value = row.element.words();
        for sign in missing_signs(&value) {
            let what = format!("the card's typeface has no \"{sign}\"");
            problems.push(Problem { place: place.clone(), value: value.clone(), what, took: "an empty box".into() });
        }
        if set.size < READABLE {
            let (what, took) = ("the card has no room for so many words", "letters too small to be read");
            problems.push(Problem { place: place.clone(), value, what: what.into(), took: took.into() });
        }
    }
    problems
}

#[cfg(test)]
mod tests;
