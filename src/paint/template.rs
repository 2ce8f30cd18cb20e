//! An overlay template: an SVG of our own subset, in which nothing can refer to anything outside.

use std::collections::BTreeSet;

use resvg::usvg::roxmltree;

use super::element::{Element, Node};
use super::placeholder::{self, NAMES};
use crate::base::{Error, Result};
use crate::football::Field;

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

impl Template {
    /// Reads a template and refuses whatever could reach outside it: a DOCTYPE or entities, any `href`, `url(...)`,
    /// elements other than shapes and words; and placeholders that name nothing. `place` names the file in errors.
    pub fn parse(source: &str, place: &str) -> Result<Self> {
        let refuse = |what: String| {
            let next = match what.contains("there is no field") {
                true => format!("use one of {}", known_names()),
                false => "use shapes and words only, starting from a copy of the one in config/overlays".into(),
            };
            Error::refused(format!("cannot use the overlay template: {what}"), place, next)
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

    /// Left, top, width and height of its viewBox; `None` where it does not give them, or nothing lies in it.
    pub(super) fn view(&self) -> Option<[f32; 4]> {
        let numbers = self.root.get("viewBox")?.split([' ', ',']).filter(|n| !n.is_empty()).map(|n| n.parse().ok());
        let view: [f32; 4] = numbers.collect::<Option<Vec<f32>>>()?.try_into().ok()?;
        (view.iter().all(|n| n.is_finite()) && view[2] > 0.0 && view[3] > 0.0).then_some(view)
    }

    /// The names of its placeholders, as values are kept under them.
    pub fn names(&self) -> BTreeSet<String> {
        let mut names = BTreeSet::new();
        self.root.names(&mut names);
        names
    }
}

fn known_names() -> String {
    let fields = Field::ALL.iter().map(|field| field.key());
    let mut all: Vec<&str> = fields.chain(NAMES.iter().map(|(name, _)| *name)).collect();
    all.sort_unstable();
    format!("{}, tag_1, tag_2 ..., or tag:NAME for a column of your own", all.join(", "))
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
            let text = child.text().unwrap_or_default();
            placeholder::parse(text).map_err(|what| {
                let row = child.document().text_pos_at(child.range().start).row;
                format!("line {row}: {what}")
            })?;
            element.children.push(Node::Text(text.into()));
        }
    }
    Ok(element)
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
            assert!(error.to_string().contains("mine.svg") && error.next.contains("config/overlays"));
        }
    }

    #[test]
    fn values_are_escaped_and_placeholders_in_values_are_not_followed() {
        let template = Template::parse(&svg("<text>{note} and {down}</text>"), "t").unwrap();
        let value = |name: &str| match name {
            "note" => Some(r#"</text><image href="x"/>&"'{down}"#.to_string()),
            "down" => Some("2".to_string()),
            _ => None,
        };
        let document = template.root.filled(&value).unwrap().document();
        assert!(
            document.contains("&lt;/text&gt;&lt;image href=&quot;x&quot;/&gt;&amp;&quot;&apos;{down} and 2"),
            "{document}"
        );
        let read = roxmltree::Document::parse(&document).unwrap();
        assert_eq!(read.descendants().filter(|n| n.is_element()).count(), 2);
        assert!(template.root.filled(&|name| (name == "note").then(String::new)).is_none());
    }

    #[test]
    fn a_placeholder_that_names_nothing_is_refused_with_its_line_and_what_there_is() {
        let error = Template::parse(&svg("\n\n<text>vs {covrage}</text>"), "mine.svg").unwrap_err();
        assert!(error.to_string().contains("line 3: there is no field {covrage}"), "{error}");
        assert!(error.next.contains("coverage, ") && error.next.contains("down_distance, "), "{}", error.next);
        let names = Template::parse(&svg("<g><text>{set?{set} vs {shell}}</text></g>"), "t").unwrap().names();
        assert_eq!(names.into_iter().collect::<Vec<_>>(), ["set", "shell"]);
    }
}
