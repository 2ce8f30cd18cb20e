//! One table of the script, and values of each sort out of it. What is wrong is told to the desk and left out, so that reading
//! goes on to the next fault.

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::kinds::{self, Bounds, Kind};
use super::reader::Desk;
use super::{At, Moment, Place, moment};
use crate::base::count;

/// A value with the bytes that it stands at.
pub type Node<'d> = Spanned<DeValue<'d>>;

/// A table whose sort is known.
pub struct Table<'d> {
    pub kind: &'static Kind,
    pub place: Place,
    entries: &'d DeTable<'d>,
    /// Where each key that is there has its value.
    places: Vec<(&'static str, Place)>,
}

impl<'d> Table<'d> {
    /// The whole text's.
    pub fn outermost(desk: &mut Desk<'_>, kind: &'static Kind, entries: &'d DeTable<'d>) -> Self {
        Self::of(desk, kind, entries, Place { line: 1, column: 1 })
    }

    fn of(desk: &mut Desk<'_>, kind: &'static Kind, entries: &'d DeTable<'d>, place: Place) -> Self {
        let mut places = Vec::new();
        for (key, value) in entries {
            match kind.keys.iter().find(|known| **known == key.get_ref().as_ref()) {
                Some(known) => places.push((*known, desk.place(value.span().start))),
                None => {
                    let (what, next) = stray(kind, key.get_ref());
                    desk.fault(desk.place(key.span().start), what, next);
                }
            }
        }
        Self { kind, place, entries, places }
    }

    /// A table within, of that sort; a value that is no table is told.
    pub fn within(desk: &mut Desk<'_>, kind: &'static Kind, node: &'d Node<'d>) -> Option<Self> {
        let place = desk.place(node.span().start);
        let DeValue::Table(entries) = node.get_ref() else {
            let what = format!("{} is {} here", kind.name, sort(node));
            desk.fault(place, what, format!("write it as {}", kind.way));
            return None;
        };
        Some(Self::of(desk, kind, entries, place))
    }

    /// Whether the key is there, right or wrong.
    pub fn has(&self, key: &str) -> bool {
        self.place_of(key).is_some()
    }

    /// Where the key's value stands.
    pub fn place_of(&self, key: &str) -> Option<Place> {
        self.places.iter().find(|(known, _)| *known == key).map(|(_, place)| *place)
    }

    /// The key's value.
    pub fn node(&self, key: &str) -> Option<&'d Node<'d>> {
        debug_assert!(self.kind.keys.contains(&key), "{} has no {key}", self.kind.name);
        self.entries.get(key)
    }

    /// The tables of a list, or the one that stands in its place.
    pub fn each(&self, desk: &mut Desk<'_>, key: &str, kind: &'static Kind) -> Vec<Self> {
        let Some(node) = self.node(key) else { return Vec::new() };
        let nodes: Vec<&Node<'d>> = match node.get_ref() {
            DeValue::Array(list) => list.iter().collect(),
            _ => vec![node],
        };
        nodes.into_iter().filter_map(|node| Self::within(desk, kind, node)).collect()
    }

    /// Words, at most so many letters.
    pub fn text(&self, desk: &mut Desk<'_>, key: &str, most: usize) -> Option<String> {
        self.text_at(desk, key, most).map(|at| at.value)
    }

    /// The same with their place.
    pub fn text_at(&self, desk: &mut Desk<'_>, key: &str, most: usize) -> Option<At<String>> {
        text(desk, key, self.node(key)?, most)
    }

    /// A number within bounds.
    pub fn number(&self, desk: &mut Desk<'_>, key: &str, bounds: &Bounds) -> Option<f64> {
        self.number_at(desk, key, bounds).map(|at| at.value)
    }

    /// The same with its place.
    pub fn number_at(&self, desk: &mut Desk<'_>, key: &str, bounds: &Bounds) -> Option<At<f64>> {
        let node = self.node(key)?;
        let place = desk.place(node.span().start);
        let Some(value) = number(node) else {
            let inside = node.get_ref().as_str().and_then(|text| text.trim().parse::<f64>().ok());
            let next = match inside.filter(|n| n.is_finite()) {
                Some(number) => format!("write it without quotes: {key} = {number}"),
                None => format!("write {}", range(bounds)),
            };
            desk.fault(place, format!("{key} is {} here, and takes a number", sort(node)), next);
            return None;
        };
        if !(bounds.least..=bounds.most).contains(&value) {
            let next = format!("write {}", range(bounds));
            desk.fault(place, format!("{key} is {}", desk.between(node.span())), next);
            return None;
        }
        Some(At { value, place })
    }

    /// True or false.
    pub fn flag(&self, desk: &mut Desk<'_>, key: &str) -> Option<bool> {
        let node = self.node(key)?;
        if let DeValue::Boolean(flag) = node.get_ref() {
            return Some(*flag);
        }
        let what = format!("{key} is {} here", sort(node));
        desk.fault(desk.place(node.span().start), what, format!("write {key} = true or {key} = false"));
        None
    }

    /// One of a list of words.
    pub fn word<T: Copy>(&self, desk: &mut Desk<'_>, key: &str, words: &[(&str, T)]) -> Option<At<T>> {
        let node = self.node(key)?;
        let allowed: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
        let Some(text) = node.get_ref().as_str() else {
            let what = format!("{key} is {} here, and takes a word", sort(node));
            desk.fault(desk.place(node.span().start), what, format!("write {}", choice(&allowed)));
            return None;
        };
        let plain = text.trim();
        if let Some((_, value)) = words.iter().find(|(word, _)| word.eq_ignore_ascii_case(plain)) {
            return Some(desk.at(*value, node.span()));
        }
        let near = nearest(plain, &allowed).map(|near| format!("did you mean \"{near}\"? "));
        let next = format!("{}{key} takes {}", near.unwrap_or_default(), choice(&allowed));
        desk.fault(desk.place(node.span().start), format!("{key} is \"{text}\""), next);
        None
    }

    /// A moment of the play.
    pub fn moment(&self, desk: &mut Desk<'_>, key: &str) -> Option<At<Moment>> {
        let node = self.node(key)?;
        let place = desk.place(node.span().start);
        let Some(text) = node.get_ref().as_str() else {
            let next = match number(node) {
                Some(seconds) if seconds >= 0.0 => format!("say what it is counted from: {key} = \"start+{seconds}s\""),
                Some(seconds) => format!("say what it is counted from: {key} = \"snap{seconds}s\""),
                None => format!("write it as {key} = \"snap-2s\""),
            };
            desk.fault(place, format!("{key} is {} here, and takes a moment", sort(node)), next);
            return None;
        };
        match moment::read(text) {
            Ok(moment) => Some(At { value: moment, place }),
            Err((what, next)) => {
                desk.fault(place, what, next);
                None
            }
        }
    }

    /// Two numbers within bounds: across and down.
    pub fn pair(&self, desk: &mut Desk<'_>, key: &str, bounds: &Bounds) -> Option<(f64, f64)> {
        pair(desk, key, self.node(key)?, bounds)
    }

    /// A list of pairs.
    pub fn pairs(&self, desk: &mut Desk<'_>, key: &str, bounds: &Bounds) -> Option<Vec<(f64, f64)>> {
        let node = self.node(key)?;
        match node.get_ref() {
            DeValue::Array(list) if list.iter().all(|one| one.get_ref().is_array()) => {
                if list.len() > kinds::POINTS {
                    let what = format!("{key} has {} points", list.len());
                    let next = format!("leave at most {}", kinds::POINTS);
                    desk.fault(desk.place(node.span().start), what, next);
                }
                list.iter().map(|one| pair(desk, key, one, bounds)).collect()
            }
            _ => {
                let next = format!("write each point in brackets of its own: {key} = [[0.4, 0.5], [0.5, 0.4]]");
                desk.fault(desk.place(node.span().start), format!("{key} is no list of points"), next);
                None
            }
        }
    }
}

/// Words out of a value: not empty, and not more letters than fit.
pub fn text(desk: &mut Desk<'_>, key: &str, node: &Node<'_>, most: usize) -> Option<At<String>> {
    let place = desk.place(node.span().start);
    let Some(text) = node.get_ref().as_str() else {
        let next = match number(node) {
            Some(_) => format!("write it in quotes: {key} = \"{}\"", desk.between(node.span())),
            None => format!("write it as {key} = \"...\""),
        };
        desk.fault(place, format!("{key} is {} here, and takes words", sort(node)), next);
        return None;
    };
    let letters = text.trim().chars().count();
    if letters == 0 {
        desk.fault(place, format!("{key} is empty"), "write its words, or delete the line");
        return None;
    }
    if letters > most {
        desk.fault(place, format!("{key} has {letters} letters"), format!("shorten it to at most {most}"));
        return None;
    }
    // Lines are broken where they fit, so that a break of one's own is a space.
    let value: String = text.trim().chars().map(|c| if c.is_whitespace() { ' ' } else { c }).collect();
    if value.contains(char::is_control) {
        desk.fault(place, format!("{key} has a sign that cannot be shown"), "delete what stands after \\ in it");
        return None;
    }
    Some(At { value, place })
}

fn pair(desk: &mut Desk<'_>, key: &str, node: &Node<'_>, bounds: &Bounds) -> Option<(f64, f64)> {
    let place = desk.place(node.span().start);
    let numbers: Option<Vec<f64>> = node.get_ref().as_array().and_then(|list| list.iter().map(number).collect());
    let Some([x, y]) = numbers.as_deref() else {
        let next = format!("write two numbers, across and down: {key} = [0.42, 0.55]");
        desk.fault(place, format!("{key} is no pair of numbers"), next);
        return None;
    };
    let inside = |value: &f64| (bounds.least..=bounds.most).contains(value);
    if let Some(wrong) = [x, y].into_iter().find(|value| !inside(value)) {
        let next = if *wrong > 1.0 && *wrong <= 100.0 {
            format!("they are shares of the picture, {} to {}: for 42 % write 0.42", bounds.least, bounds.most)
        } else {
            format!("they are shares of the picture: write {} to {}", bounds.least, bounds.most)
        };
        desk.fault(place, format!("{wrong} lies outside of the picture"), next);
        return None;
    }
    Some((*x, *y))
}

/// A finite number, whole or not.
pub fn number(node: &Node<'_>) -> Option<f64> {
    let value = match node.get_ref() {
        DeValue::Integer(whole) => i64::from_str_radix(whole.as_str(), whole.radix()).ok()? as f64,
        DeValue::Float(float) => float.as_str().parse().ok()?,
        _ => return None,
    };
    value.is_finite().then_some(value)
}

/// What sort of value it is, for a coach.
pub fn sort(node: &Node<'_>) -> &'static str {
    match node.get_ref() {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// What is said of a key that a table has not.
fn stray(kind: &Kind, key: &str) -> (String, String) {
    let slip = kind.keys.iter().any(|own| *own != "colour" && strsim::damerau_levenshtein(own, key) == 1);
    let owner = kinds::ALL.into_iter().find(|other| other.keys.contains(&key)).filter(|_| !slip);
    let Some(owner) = owner else {
        let next = match nearest(key, kind.keys) {
            Some(near) => format!("did you mean {near}?"),
            None => format!("it takes {}", list(kind.keys, "and")),
        };
        return (format!("there is no {key} in {}", kind.name), next);
    };
    // Below a header every line is that table's, up to the next one: the slip that TOML makes easy.
    let below = |place: &str| format!("lines below {} are all of it: move this one up, {place}", kind.way);
    let header = kind.way.starts_with('[');
    let next = match key {
        "step" | "voice" => format!("write its header as [[{key}]]"),
        "view" | "mark" | "again" if owner == &kinds::STEP => format!("write its header as [[step.{key}]]"),
        _ if header && owner == &kinds::STEP => below("right below its [[step]]"),
        _ if header && owner == &kinds::SCRIPT => below("above the first [[step]]"),
        _ => format!("write it there: {}", owner.way),
    };
    (format!("{key} stands in {} here, and belongs to {}", kind.name, owner.name), next)
}

/// The allowed word nearest to what was written, if one is near (Jaro-Winkler .8, or one slip; our own choice).
pub fn nearest<'w>(written: &str, allowed: &[&'w str]) -> Option<&'w str> {
    let written = written.to_lowercase();
    let nearness = |word: &str| {
        let slip = strsim::damerau_levenshtein(word, &written) <= 1 && written.chars().count() > 1;
        strsim::jaro_winkler(word, &written) + if slip { 1.0 } else { 0.0 }
    };
    let best = allowed.iter().map(|word| (nearness(word), *word)).max_by(|a, b| a.0.total_cmp(&b.0));
    best.filter(|(nearness, _)| *nearness >= 0.8).map(|(_, word)| word)
}

/// Words in a row: "off, kept or slowed".
pub fn list(words: &[&str], last: &str) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_string(),
        [all @ .., end] => format!("{} {last} {end}", all.join(", ")),
    }
}

fn choice(words: &[&str]) -> String {
    list(words, "or")
}

fn range(bounds: &Bounds) -> String {
    let unit = if bounds.unit.is_empty() { String::new() } else { format!(" {}", bounds.unit) };
    format!("a number from {} to {}{unit}", bounds.least, bounds.most)
}

/// Which of a step's views is meant; told where there is none of that number.
pub fn view(desk: &mut Desk<'_>, table: &Table<'_>, views: usize) -> At<usize> {
    let Some(view) = table.number_at(desk, "view", &Bounds { least: 1.0, most: kinds::VIEWS as f64, unit: "" }) else {
        return At { value: 0, place: table.place };
    };
    let number = view.value as usize;
    if view.value.fract() != 0.0 {
        desk.fault(view.place, format!("view is {}", view.value), "write a whole number");
    } else if number > views.max(1) {
        let what = format!("view is {number}, and the step has {}", count(views.max(1), "view"));
        desk.fault(view.place, what, if views > 1 { format!("write 1 to {views}") } else { "delete the line".into() });
    }
    At { value: number.saturating_sub(1), place: view.place }
}
