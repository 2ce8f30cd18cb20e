//! An overlay template: an SVG of our own subset, in which nothing can refer to anything outside.

use resvg::usvg::roxmltree;

use super::fonts::escape;
use crate::base::{Error, Result};

/// The strip as shipped.
const STRIP: &str = include_str!("../../config/overlays/strip.svg");

/// Larger templates are refused: they are made by hand and take a few kilobytes.
const LARGEST: usize = 256 * 1024;

/// Deepest nesting taken.
const DEEPEST: usize = 32;

/// What a template may be made of: shapes and words. No image, no use, no style sheet, no script, no filter.
const ELEMENTS: [&str; 12] =
    ["svg", "g", "rect", "circle", "ellipse", "line", "polyline", "polygon", "path", "text", "tspan", "title"];

/// A checked template.
#[derive(Debug, Clone, PartialEq)]
pub struct Template {
    pub(super) root: Element,
}

/// An element of a template.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Element {
    pub name: String,
    pub attributes: Vec<(String, String)>,
    pub children: Vec<Node>,
}

/// What stands in an element.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Node {
    Element(Element),
    Text(String),
}

impl Template {
    /// The strip as shipped (`config/overlays/strip.svg`).
    pub fn strip() -> Result<Self> {
        Self::parse(STRIP, "the strip's own template")
    }

    /// Reads a template and refuses whatever could reach outside it: a DOCTYPE or entities, any `href`, `url(...)`,
    /// elements other than shapes and words. `place` names the file in errors.
    pub fn parse(source: &str, place: &str) -> Result<Self> {
        let refuse = |what: String| {
            Error::refused(
                format!("cannot use the overlay template: {what}"),
                place,
                "use shapes and words only, starting from a copy of config/overlays/strip.svg",
            )
        };
        if source.len() > LARGEST {
            return Err(refuse(format!("it has {} bytes, more than {LARGEST}", source.len())));
        }
        let how = roxmltree::ParsingOptions { allow_dtd: false, nodes_limit: 10_000, ..Default::default() };
        let document = roxmltree::Document::parse_with_options(source, how)
            .map_err(|cause| refuse("it is no XML of the kind taken here".into()).because(cause))?;
        let root = document.root_element();
        if root.tag_name().name() != "svg" {
            return Err(refuse(format!("its root is <{}>, not <svg>", root.tag_name().name())));
        }
        let root = take(root, 0).map_err(refuse)?;
        Ok(Self { root })
    }
}

fn take(node: roxmltree::Node<'_, '_>, depth: usize) -> std::result::Result<Element, String> {
    let name = node.tag_name().name();
    let row = node.document().text_pos_at(node.range().start).row;
    if depth > DEEPEST {
        return Err(format!("line {row}: it is nested more than {DEEPEST} deep"));
    }
    if !ELEMENTS.contains(&name) {
        return Err(format!("line {row}: <{name}> is not taken"));
    }
    let mut element = Element { name: name.into(), attributes: Vec::new(), children: Vec::new() };
    for a in node.attributes() {
        let squeezed: String = a.value().chars().filter(|c| !c.is_whitespace()).flat_map(char::to_lowercase).collect();
        if a.name().eq_ignore_ascii_case("href") || a.name() == "base" {
            return Err(format!("line {row}: {} refers to \"{}\"", a.name(), a.value()));
        }
        // A backslash could spell url( in a way that only a style sheet parser sees.
        if squeezed.contains("url(") || squeezed.contains("@import") || squeezed.contains('\\') {
            return Err(format!("line {row}: {} refers to something else: \"{}\"", a.name(), a.value()));
        }
        element.attributes.push((a.name().into(), a.value().into()));
    }
    for child in node.children() {
        if child.is_element() {
            if child.tag_name().name() != "title" {
                element.children.push(Node::Element(take(child, depth + 1)?));
            }
        } else if child.is_text() {
            element.children.push(Node::Text(child.text().unwrap_or_default().into()));
        }
    }
    Ok(element)
}

impl Element {
    /// An attribute's value.
    pub fn get(&self, name: &str) -> Option<&str> {
        self.attributes.iter().find(|(n, _)| n == name).map(|(_, v)| v.as_str())
    }

    /// An attribute as a number; `None` where it is missing or none.
    pub fn number(&self, name: &str) -> Option<f32> {
        self.get(name)?.trim().parse::<f32>().ok().filter(|n| n.is_finite())
    }

    /// Sets an attribute.
    pub fn set(&mut self, name: &str, value: impl ToString) {
        match self.attributes.iter_mut().find(|(n, _)| n == name) {
            Some((_, v)) => *v = value.to_string(),
            None => self.attributes.push((name.into(), value.to_string())),
        }
    }

    /// Its id, empty for none.
    pub fn id(&self) -> &str {
        self.get("id").unwrap_or_default()
    }

    /// Elements directly in it.
    pub fn elements(&self) -> impl Iterator<Item = &Element> {
        self.children.iter().filter_map(|n| match n {
            Node::Element(e) => Some(e),
            Node::Text(_) => None,
        })
    }

    /// All its text, white space at the ends gone.
    pub fn words(&self) -> String {
        let mut out = String::new();
        for child in &self.children {
            match child {
                Node::Element(e) => out.push_str(&e.words()),
                Node::Text(text) => out.push_str(text.trim()),
            }
        }
        out
    }

    /// Puts values into placeholders. `None` if one of them has no value.
    pub fn filled(&self, value: &dyn Fn(&str) -> Option<String>) -> Option<Element> {
        let mut out = Element { children: Vec::new(), ..self.clone() };
        for child in &self.children {
            out.children.push(match child {
                Node::Element(e) => Node::Element(e.filled(value)?),
                Node::Text(text) => Node::Text(fill(text, value)?),
            });
        }
        Some(out)
    }

    /// As XML, every value escaped.
    pub fn write(&self, out: &mut String) {
        out.push('<');
        out.push_str(&self.name);
        for (name, value) in &self.attributes {
            // The names came out of an XML parser as attribute names; prefixes are gone with their namespaces.
            out.push_str(&format!(" {name}=\"{}\"", escape(value)));
        }
        out.push('>');
        for child in &self.children {
            match child {
                Node::Element(e) => e.write(out),
                Node::Text(text) => out.push_str(&escape(text)),
            }
        }
        out.push_str(&format!("</{}>", self.name));
    }

    /// As a whole document.
    pub fn document(&self) -> String {
        let mut root = self.clone();
        root.set("xmlns", "http://www.w3.org/2000/svg");
        let mut out = String::new();
        root.write(&mut out);
        out
    }
}

fn fill(text: &str, value: &dyn Fn(&str) -> Option<String>) -> Option<String> {
    let mut out = String::new();
    let mut rest = text;
    // What a value holds is never looked at again: braces in a tag stay what they are.
    while let Some(open) = rest.find('{') {
        let Some(close) = rest[open..].find('}') else { break };
        out.push_str(&rest[..open]);
        out.push_str(&value(&rest[open + 1..open + close])?);
        rest = &rest[open + close + 1..];
    }
    out.push_str(rest);
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn svg(inside: &str) -> String {
        format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="0 0 9 9">{inside}</svg>"#
        )
    }

    #[test]
    fn what_could_reach_outside_is_refused_with_its_line() {
        let cases = [
            (svg("\n<image href=\"http://example.invalid/a.png\"/>"), "line 2: <image> is not taken"),
            (svg(r#"<rect xlink:href="file:///etc/passwd"/>"#), "href refers to \"file:///etc/passwd\""),
            (svg(r#"<g href="http://example.invalid/"/>"#), "href refers to"),
            (svg(r#"<use href="other.svg#a"/>"#), "<use> is not taken"),
            (svg("<style>@import url(http://example.invalid/a.css);</style>"), "<style> is not taken"),
            (svg(r#"<rect fill="URL (http://example.invalid/a)"/>"#), "fill refers to something else"),
            (svg(r#"<rect style="fill:u\72l(x)"/>"#), "style refers to something else"),
            (svg("<script>1</script>"), "<script> is not taken"),
            (svg("<foreignObject/>"), "<foreignObject> is not taken"),
            (format!("<!DOCTYPE svg [<!ENTITY a SYSTEM \"file:///etc/passwd\">]>{}", svg("<text>&a;</text>")), "XML"),
            ("<html/>".into(), "its root is <html>"),
            ("not xml".into(), "XML"),
            (svg(&"<g>".repeat(40)) + "", "XML"),
            (svg(&format!("{}{}", "<g>".repeat(40), "</g>".repeat(40))), "nested more than"),
        ];
        for (source, words) in cases {
            let error = Template::parse(&source, "mine.svg").expect_err(&source);
            assert!(error.to_string().contains(words), "{error}\n{source}");
            assert!(error.to_string().contains("mine.svg") && error.next.contains("strip.svg"));
        }
    }

    #[test]
    fn values_are_escaped_and_placeholders_in_values_are_not_followed() {
        let template = Template::parse(&svg("<text>{a} and {b}</text>"), "t").unwrap();
        let value = |name: &str| match name {
            "a" => Some(r#"</text><image href="x"/>&"'{b}"#.to_string()),
            "b" => Some("2".to_string()),
            _ => None,
        };
        let document = template.root.filled(&value).unwrap().document();
        assert!(
            document.contains("&lt;/text&gt;&lt;image href=&quot;x&quot;/&gt;&amp;&quot;&apos;{b} and 2"),
            "{document}"
        );
        let read = roxmltree::Document::parse(&document).unwrap();
        assert_eq!(read.descendants().filter(|n| n.is_element()).count(), 2);
        assert!(template.root.filled(&|name| (name == "a").then(String::new)).is_none());
    }

    #[test]
    fn the_shipped_strip_is_taken() {
        let strip = Template::strip().unwrap();
        let ids: Vec<&str> = strip.root.elements().map(Element::id).collect();
        assert_eq!(
            ids,
            ["band", "down", "word", "distance", "ball-on", "tag-1", "tag-2", "game", "clock", "play", "field"]
        );
    }
}
