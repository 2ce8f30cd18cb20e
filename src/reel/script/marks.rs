//! Marks: what each sort needs, and what it has not.

use super::kinds;
use super::reader::Desk;
use super::steps::within;
use super::table::{Table, list, view};
use super::windows::Window;
use super::{At, Head, MarkAsk, MarkColor, MarkKind, Moment, Pin};
use crate::base::count;

/// How many points a mark has: at least, at most.
fn points_of(kind: MarkKind) -> (usize, usize) {
    match kind {
        MarkKind::Ring | MarkKind::Spotlight | MarkKind::Label => (1, 1),
        MarkKind::Arrow | MarkKind::Line => (2, 2),
        MarkKind::Route => (2, kinds::POINTS),
        MarkKind::Zone | MarkKind::Shade => (3, kinds::POINTS),
    }
}

/// Keys that only some marks have, and which.
pub const ONLY: [(&str, &[MarkKind]); 3] = [
    ("size", &[MarkKind::Ring, MarkKind::Spotlight, MarkKind::Zone, MarkKind::Shade]),
    ("head", &[MarkKind::Arrow, MarkKind::Route, MarkKind::Line]),
    ("dashed", &[MarkKind::Ring, MarkKind::Arrow, MarkKind::Route, MarkKind::Zone, MarkKind::Line]),
];

/// One mark; `None`, and told, where it cannot be drawn.
pub fn mark(
    desk: &mut Desk<'_>,
    table: &Table<'_>,
    from: &At<Moment>,
    to: &At<Moment>,
    windows: &[Window],
    views: usize,
) -> Option<MarkAsk> {
    let (first, last) = (table.moment(desk, "from"), table.moment(desk, "to"));
    within(desk, table, &first.unwrap_or(*from), &last.unwrap_or(*to), windows);
    let kind = table.word(desk, "kind", &MarkKind::WORDS).map(|at| at.value);
    if !table.has("kind") {
        let words = MarkKind::WORDS.map(|(word, _)| word);
        desk.fault(
            table.place,
            "a mark has no kind",
            format!("add kind = \"ring\", or another: {}", list(&words, "or")),
        );
    }
    let pin = table.word(desk, "pin", &Pin::WORDS).map(|at| at.value);
    let size = table.pair(desk, "size", &kinds::EXTENT);
    let points = points(desk, table, kind);
    let color = color(desk, table);
    let thickness = table.number(desk, "thickness", &kinds::THICKNESS).unwrap_or(1.0);
    let dashed = table.flag(desk, "dashed");
    let head = table.word(desk, "head", &Head::WORDS).map(|at| at.value);
    let label = table.text(desk, "label", kinds::LABEL);
    let fade = table.number(desk, "fade", &kinds::FADE);
    let view = view(desk, table, views);
    let kind = kind?;
    for (key, kinds) in ONLY {
        if let Some(place) = table.place_of(key).filter(|_| !kinds.contains(&kind)) {
            let with: Vec<&str> = kinds.iter().map(|kind| kind.word()).collect();
            let next = format!("delete it: {key} goes with {}", list(&with, "and"));
            desk.fault(place, format!("{} has no {key}", a(kind)), next);
        }
    }
    if kind == MarkKind::Label && !table.has("label") {
        desk.fault(table.place, "a label has no words", "add label = \"free safety\"");
    }
    let man = matches!(kind, MarkKind::Ring | MarkKind::Spotlight) || kind == MarkKind::Label && table.has("at");
    let pin = pin.unwrap_or(if man { Pin::Man } else { Pin::Turf });
    Some(MarkAsk {
        place: table.place,
        kind,
        pin,
        points: points?,
        size,
        from: first,
        to: last,
        color,
        thickness,
        dashed,
        head,
        label,
        fade,
        view,
    })
}

/// The points that `at` or `points` gives; told where their number does not make the mark.
fn points(desk: &mut Desk<'_>, table: &Table<'_>, kind: Option<MarkKind>) -> Option<Vec<(f64, f64)>> {
    let single = table.pair(desk, "at", &kinds::SHARE).map(|point| vec![point]);
    let several = table.pairs(desk, "points", &kinds::SHARE);
    let place = table.place_of("points").or(table.place_of("at"));
    if let (Some(place), true) = (place, table.has("at") && table.has("points")) {
        desk.fault(place, "a mark has both at and points", "keep one of them");
        return None;
    }
    let kind = kind?;
    let (least, most) = points_of(kind);
    let Some(place) = place else {
        let next = if least == 1 { "add at = [0.42, 0.55]" } else { "add points = [[0.4, 0.5], [0.5, 0.4]]" };
        desk.fault(table.place, format!("{} has no point", a(kind)), next);
        return None;
    };
    let points = single.or(several)?;
    let area = matches!(kind, MarkKind::Zone | MarkKind::Shade);
    let sized = area && points.len() == 1 && table.has("size");
    if area && points.len() > 1 && table.has("size") {
        desk.fault(
            place,
            format!("{} has corners and a size", a(kind)),
            "keep one point with size, or the corners alone",
        );
        return None;
    }
    if !sized && !(least..=most).contains(&points.len()) {
        let needs = match (kind, least, most) {
            (MarkKind::Zone | MarkKind::Shade, ..) => "give at least three corners, or one point and size".to_string(),
            (_, 1, _) => "give one point: at = [0.42, 0.55]".to_string(),
            (_, least, most) if least == most => format!("give {least} points: its beginning and its end"),
            (_, least, _) => format!("give at least {least} points"),
        };
        desk.fault(place, format!("{} has {}", a(kind), count(points.len(), "point")), needs);
        return None;
    }
    Some(points)
}

/// Both spellings are read.
fn color(desk: &mut Desk<'_>, table: &Table<'_>) -> MarkColor {
    if let Some(place) = table.place_of("colour").filter(|_| table.has("color")) {
        desk.fault(place, "a mark has both color and colour", "keep one of them");
    }
    let key = if table.has("colour") { "colour" } else { "color" };
    table.word(desk, key, &MarkColor::WORDS).map_or_else(MarkColor::default, |at| at.value)
}

fn a(kind: MarkKind) -> String {
    let word = kind.word();
    format!("{} {word}", if word.starts_with('a') { "an" } else { "a" })
}
