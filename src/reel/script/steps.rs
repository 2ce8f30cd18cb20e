//! Steps: what is seen, from when to when, how fast, with which words.

use toml::de::DeValue;

use super::kinds::{self, RATE};
use super::marks;
use super::reader::{Desk, strip};
use super::table::{Node, Table, sort, text, view};
use super::windows::Window;
use super::{Again, Anchor, At, Caption, Moment, Place, PlayAsk, Section, SoundWay, Speed, Step, Stop, ViewAsk, Zoom};

/// One step.
pub fn step(desk: &mut Desk<'_>, table: &Table<'_>, number: usize) -> Step {
    let (views, count) = views(desk, table, number);
    let or = |at: Option<At<Moment>>, anchor: Anchor, offset: f64| {
        at.unwrap_or(At { value: Moment { anchor, offset }, place: table.place })
    };
    let from = or(table.moment(desk, "from"), Anchor::Snap, -2.0);
    let to = or(table.moment(desk, "to"), Anchor::Whistle, 1.0);
    let sync = or(table.moment(desk, "sync"), Anchor::Snap, 0.0);
    let seen = ordered(desk, table, &from, &to);
    let agains: Vec<(Again, Option<Window>)> =
        table.each(desk, "again", &kinds::AGAIN).iter().map(|again| self::again(desk, again, &from, &to)).collect();
    // A mark may wait for the second time that the step is seen.
    let mut windows: Vec<Window> = agains.iter().filter_map(|(_, window)| *window).collect();
    windows.extend(seen);
    let zooms = table.each(desk, "zoom", &kinds::ZOOM);
    let marks = table.each(desk, "mark", &kinds::MARK);
    Step {
        place: table.place,
        section: section(desk, table),
        title: table.text(desk, "title", kinds::TITLE),
        sync,
        rate: table.number(desk, "rate", &RATE).unwrap_or(1.0),
        stops: stops(desk, table, seen),
        speeds: speeds(desk, table, &from, &to, seen),
        zooms: zooms.iter().filter_map(|zoom| self::zoom(desk, zoom, &from, &to, &windows, count)).collect(),
        captions: captions(desk, table, &from, &to, seen),
        marks: marks.iter().filter_map(|mark| marks::mark(desk, mark, &from, &to, &windows, count)).collect(),
        agains: agains.into_iter().map(|(again, _)| again).collect(),
        strip: strip(desk, table),
        sound: table.word(desk, "sound", &SoundWay::WORDS).map(|at| at.value),
        views,
        from,
        to,
    }
}

/// The stretch between two moments; `None`, and told, where it has no length in any play.
fn ordered(desk: &mut Desk<'_>, table: &Table<'_>, from: &At<Moment>, to: &At<Moment>) -> Option<Window> {
    let window = Window::of(from, to);
    if !window.is_empty() {
        return Some(window);
    }
    let place = table.place_of("to").or(table.place_of("from")).unwrap_or(table.place);
    let what = format!("{} ends before it begins", table.kind.name);
    desk.fault(place, what, "let from be earlier than to");
    None
}

/// As [`ordered`], and told too where nothing of it is ever seen. What it does not say itself is the step's.
pub fn within(
    desk: &mut Desk<'_>,
    table: &Table<'_>,
    from: &At<Moment>,
    to: &At<Moment>,
    seen: &[Window],
) -> Option<Window> {
    let both = table.has("from") && table.has("to");
    let window = if both { ordered(desk, table, from, to)? } else { Window::of(from, to) };
    if window.is_empty() || !seen.is_empty() && seen.iter().all(|seen| seen.misses(window)) {
        let place = table.place_of("from").or(table.place_of("to")).unwrap_or(table.place);
        let what = format!("{} lies outside of what the step shows", table.kind.name);
        desk.fault(place, what, "change its times, or the step's from and to");
        return None;
    }
    Some(window)
}

fn section(desk: &mut Desk<'_>, table: &Table<'_>) -> Option<Section> {
    let node = table.node("section")?;
    if let DeValue::Table(_) = node.get_ref() {
        let card = Table::within(desk, &kinds::SECTION, node)?;
        if !card.has("title") {
            desk.fault(card.place, "a section has no title", "add title = \"Against two-high\"");
        }
        let text = card.text(desk, "text", kinds::LONG);
        return card.text(desk, "title", kinds::TITLE).map(|title| Section { title, text });
    }
    text(desk, "section", node, kinds::TITLE).map(|title| Section { title: title.value, text: None })
}

/// What is seen at once, and how many views the step has, also where one cannot be read. Several may share the step's play and
/// angle.
fn views(desk: &mut Desk<'_>, table: &Table<'_>, number: usize) -> (Vec<ViewAsk>, usize) {
    let missing = |desk: &mut Desk<'_>, place: Place, who: String| {
        let next = "add play = { game = \"Badgers\", label = \"5\" }, or play = { first = \"third and short\" }";
        desk.fault(place, format!("{who} names no play"), next);
    };
    let own = table.node("play").map(|node| play(desk, node));
    let angle = table.text_at(desk, "angle", kinds::TITLE);
    let label = table.text(desk, "label", kinds::LABEL);
    if !table.has("view") {
        if own.is_none() {
            missing(desk, table.place, format!("step {number}"));
        }
        return (own.flatten().map(|play| ViewAsk { play, angle, label, rate: 1.0 }).into_iter().collect(), 1);
    }
    let views = table.each(desk, "view", &kinds::VIEW);
    let place = table.place_of("view").unwrap_or(table.place);
    if views.is_empty() {
        desk.fault(place, "the step's views are empty", "give each one with [[step.view]] and its play");
    }
    if let Some(more) = views.get(kinds::VIEWS) {
        let what = format!("step {number} has {} views", views.len());
        desk.fault(more.place, what, format!("leave at most {}, or make two steps of it", kinds::VIEWS));
    }
    if let Some(place) = table.place_of("label") {
        desk.fault(place, "the step has a label and several views", "move it below the [[step.view]] that it names");
    }
    let mut all = Vec::new();
    for (at, view) in views.iter().enumerate() {
        let play = match view.node("play") {
            Some(node) => play(desk, node),
            None => {
                if own.is_none() {
                    missing(desk, view.place, format!("view {} of step {number}", at + 1));
                }
                own.clone().flatten()
            }
        };
        let rate = view.number_at(desk, "rate", &RATE);
        if let Some(rate) = rate.filter(|rate| at == 0 && rate.value != 1.0) {
            let next = "give the step that rate, or the other views one beside it";
            desk.fault(rate.place, "the first view's speed is the step's own", next);
        }
        let angle = if view.has("angle") { view.text_at(desk, "angle", kinds::TITLE) } else { angle.clone() };
        let label = view.text(desk, "label", kinds::LABEL);
        all.extend(play.map(|play| ViewAsk { play, angle, label, rate: rate.map_or(1.0, |rate| rate.value) }));
    }
    if own.is_some() && !views.is_empty() && views.iter().all(|view| view.has("play")) {
        let place = table.place_of("play").unwrap_or(table.place);
        desk.fault(place, "the step's play is shown by none of its views", "delete it, or delete a view's own play");
    }
    (all, views.len())
}

fn play(desk: &mut Desk<'_>, node: &Node<'_>) -> Option<At<PlayAsk>> {
    let place = desk.place(node.span().start);
    let DeValue::Table(_) = node.get_ref() else {
        let next = "write play = { game = \"Badgers\", label = \"5\" }, or play = { first = \"third and short\" }";
        desk.fault(place, format!("play is {} here", sort(node)), next);
        return None;
    };
    let table = Table::within(desk, &kinds::PLAY, node)?;
    let game = table.text(desk, "game", kinds::TITLE);
    let first = table.text(desk, "first", kinds::LONG);
    let label = match table.node("label").map(|label| (label, label.get_ref())) {
        Some((_, DeValue::Integer(number))) if number.radix() == 10 && !number.as_str().starts_with(['-', '+']) => {
            Some(number.as_str().to_string())
        }
        Some((label, _)) => text(desk, "label", label, kinds::LABEL).map(|label| label.value),
        None => None,
    };
    match (table.has("game"), table.has("label"), table.has("first")) {
        (true, true, false) => Some(At { value: PlayAsk::Named { game: game?, label: label? }, place }),
        (false, false, true) => Some(At { value: PlayAsk::First(first?), place }),
        (_, _, true) => {
            let next = "keep first, or keep game and label";
            desk.fault(place, "a play is asked for both by a phrase and by its label", next);
            None
        }
        (true, false, false) => {
            desk.fault(place, "a play has a game and no label", "add the play's label: label = \"5\"");
            None
        }
        (false, true, false) => {
            desk.fault(place, "a play has a label and no game", "add its game: game = \"Badgers\"");
            None
        }
        (false, false, false) => {
            let next = "write game and label, or first = \"third and short\"";
            desk.fault(place, "a play is not named", next);
            None
        }
    }
}

fn stops(desk: &mut Desk<'_>, table: &Table<'_>, seen: Option<Window>) -> Vec<Stop> {
    let mut stops = Vec::new();
    for stop in table.each(desk, "stop", &kinds::STOP) {
        let hold = stop.number(desk, "hold", &kinds::HOLD).unwrap_or(2.0);
        if !stop.has("at") {
            desk.fault(stop.place, "a stop says not when", "add at = \"snap-0.3s\"");
        }
        let Some(at) = stop.moment(desk, "at") else { continue };
        if seen.is_some_and(|seen| seen.excludes(at.value)) {
            desk.fault(at.place, "a stop lies outside of what is shown", "change its time, or from and to");
        }
        stops.push(Stop { at, hold });
    }
    stops
}

fn speeds(
    desk: &mut Desk<'_>,
    table: &Table<'_>,
    from: &At<Moment>,
    to: &At<Moment>,
    seen: Option<Window>,
) -> Vec<Speed> {
    let mut speeds = Vec::new();
    for speed in table.each(desk, "speed", &kinds::SPEED) {
        let from = speed.moment(desk, "from").unwrap_or(*from);
        let to = speed.moment(desk, "to").unwrap_or(*to);
        within(desk, &speed, &from, &to, seen.as_slice());
        if !speed.has("rate") {
            desk.fault(speed.place, "a speed says not how fast", "add rate = 0.5 for half speed");
        }
        speeds.extend(speed.number(desk, "rate", &RATE).map(|rate| Speed { from, to, rate }));
    }
    speeds
}

fn zoom(
    desk: &mut Desk<'_>,
    table: &Table<'_>,
    from: &At<Moment>,
    to: &At<Moment>,
    windows: &[Window],
    views: usize,
) -> Option<Zoom> {
    let from = table.moment(desk, "from").unwrap_or(*from);
    let to = table.moment(desk, "to").unwrap_or(*to);
    within(desk, table, &from, &to, windows);
    if !table.has("on") {
        desk.fault(table.place, "a zoom says not where", "add on = [0.5, 0.5] for the picture's middle");
    }
    let on = table.pair(desk, "on", &kinds::SHARE);
    let factor = table.number(desk, "factor", &kinds::FACTOR).unwrap_or(2.0);
    let ease = table.number(desk, "ease", &kinds::EASE).unwrap_or(0.5);
    let view = view(desk, table, views);
    Some(Zoom { from, to, on: on?, factor, ease, view })
}

fn captions(
    desk: &mut Desk<'_>,
    table: &Table<'_>,
    from: &At<Moment>,
    to: &At<Moment>,
    seen: Option<Window>,
) -> Vec<Caption> {
    let Some(node) = table.node("caption") else { return Vec::new() };
    if node.get_ref().is_str() {
        let words = text(desk, "caption", node, kinds::CAPTION_TEXT);
        return words.map(|at| Caption { text: at.value, from: None, to: None, place: at.place }).into_iter().collect();
    }
    let mut captions = Vec::new();
    for caption in table.each(desk, "caption", &kinds::CAPTION) {
        let (first, last) = (caption.moment(desk, "from"), caption.moment(desk, "to"));
        within(desk, &caption, &first.unwrap_or(*from), &last.unwrap_or(*to), seen.as_slice());
        if !caption.has("text") {
            desk.fault(caption.place, "a caption has no text", "add text = \"safety rolls down\"");
        }
        let place = caption.place;
        let words = caption.text(desk, "text", kinds::CAPTION_TEXT);
        captions.extend(words.map(|text| Caption { text, from: first, to: last, place }));
    }
    captions
}

fn again(desk: &mut Desk<'_>, table: &Table<'_>, from: &At<Moment>, to: &At<Moment>) -> (Again, Option<Window>) {
    let (first, last) = (table.moment(desk, "from"), table.moment(desk, "to"));
    let (from, to) = (first.unwrap_or(*from), last.unwrap_or(*to));
    // Where the times are the step's own, the step has told.
    let seen = if first.or(last).is_some() {
        ordered(desk, table, &from, &to)
    } else {
        Some(Window::of(&from, &to)).filter(|window| !window.is_empty())
    };
    let again = Again {
        place: table.place,
        from: first,
        to: last,
        rate: table.number(desk, "rate", &RATE),
        stops: stops(desk, table, seen),
        speeds: speeds(desk, table, &from, &to, seen),
        captions: captions(desk, table, &from, &to, seen),
    };
    (again, seen)
}
