//! An element of a template, and its way back to XML.

use std::collections::BTreeSet;

use super::fonts::escape;
use super::placeholder;

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

impl Element {
    /// An element without attributes and children.
    pub fn new(name: &str) -> Self {
        Self { name: name.into(), attributes: Vec::new(), children: Vec::new() }
    }

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

    /// All its text, runs of white space one space each.
    pub fn words(&self) -> String {
        let mut out = String::new();
        self.gather(&mut out);
        out.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    fn gather(&self, out: &mut String) {
        for child in &self.children {
            match child {
                Node::Element(e) => e.gather(out),
                Node::Text(text) => out.push_str(text),
            }
        }
    }

    /// Puts values into placeholders. `None` if one of them, outside of optional parts, has no value.
    pub fn filled(&self, value: &dyn Fn(&str) -> Option<String>) -> Option<Element> {
        let mut out = Element { children: Vec::new(), ..self.clone() };
        for child in &self.children {
            out.children.push(match child {
                Node::Element(e) => Node::Element(e.filled(value)?),
                // Words were looked at when the template was read.
                Node::Text(text) => Node::Text(placeholder::fill(&placeholder::parse(text).ok()?, value)?),
            });
        }
        Some(out)
    }

    /// The names of all its placeholders.
    pub fn names(&self, out: &mut BTreeSet<String>) {
        for child in &self.children {
            match child {
                Node::Element(e) => e.names(out),
                Node::Text(text) => placeholder::names(&placeholder::parse(text).unwrap_or_default(), out),
            }
        }
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
