use super::*;
use crate::film::Picture;
use crate::football::Field as Column;
use crate::paint::{Design, Rgb, own_column, paint};

fn full() -> StripText {
    include!("../../../fixtures/strip_text.rs")
}

fn draw(text: &StripText, width: usize, height: usize) -> Strip {
    Strip::draw(&Template::strip().unwrap(), text, width, height).unwrap()
}

/// Rows and columns of a gray picture that the strip changed: left, top, right, bottom (last ones excluded).
fn changed(strip: &Strip, width: usize, height: usize) -> [usize; 4] {
    let mut picture = Picture::filled(width, height, [120, 128, 128]);
    strip.overlay.as_ref().unwrap().blend(&mut picture);
    let hit: Vec<(usize, usize)> =
        (0..width * height).filter(|&i| picture.planes[0][i] != 120).map(|i| (i % width, i / width)).collect();
    let xs = || hit.iter().map(|h| h.0);
    let ys = || hit.iter().map(|h| h.1);
    [xs().min().unwrap(), ys().min().unwrap(), xs().max().unwrap() + 1, ys().max().unwrap() + 1]
}

#[test]
fn the_strip_stays_in_the_title_safe_area_and_under_a_tenth_of_the_height() {
    for (w, h) in [(1920, 1080), (1280, 720), (960, 540), (720, 540), (640, 360), (1440, 1080), (608, 1080)] {
        let [left, top, right, bottom] = changed(&draw(&full(), w, h), w, h);
        let (wf, hf) = (w as f64, h as f64);
        assert!(left as f64 >= wf * 0.05 && right as f64 <= (wf * 0.95).ceil(), "{w}x{h}: {left} to {right}");
        assert!(bottom as f64 <= hf * 0.95, "{w}x{h}: foot at {bottom}");
        assert!((bottom - top) as f64 <= hf * 0.1, "{w}x{h}: {} rows", bottom - top);
    }
}

fn chip() -> Template {
    Template::of(Design::Chip).unwrap().unwrap()
}

#[test]
fn the_chip_hangs_in_its_corner_of_the_title_safe_area_as_wide_as_its_words() {
    let source = include_str!("../../../config/overlays/chip.svg");
    for corner in ["top left", "top right", "bottom left", "bottom right"] {
        let template =
            Template::parse(&source.replace("data-place=\"top left\"", &format!("data-place=\"{corner}\"")), "t");
        let template = template.unwrap();
        for (w, h) in [(1920, 1080), (1280, 720), (640, 360), (405, 720), (128, 96)] {
            for text in [full(), StripText { down: None, word: Some("kickoff".into()), distance: None, ..full() }] {
                let strip = Strip::draw(&template, &text, w, h).unwrap();
                let [left, top, right, bottom] = changed(&strip, w, h);
                let (wf, hf) = (w as f64, h as f64);
                let [from, to] = [wf * 0.05, (wf * 0.95).ceil()];
                assert!(left as f64 >= from && right as f64 <= to, "{corner} {w}x{h}: {left} to {right}");
                assert!(
                    top as f64 >= hf * 0.05 && bottom as f64 <= (hf * 0.95).ceil(),
                    "{corner} {w}x{h}: {top} to {bottom}"
                );
                // In so small a picture it is as wide as there is room.
                if w == 128 {
                    continue;
                }
                let near = |a: usize, b: f64| (a as f64 - b).abs() <= 3.0;
                assert!(near(left, from) == corner.ends_with("left"), "{corner} {w}x{h}: {left}");
                assert!(near(right, to) == corner.ends_with("right"), "{corner} {w}x{h}: {right}");
                // Without a plate the band alone hangs there, a few units lower.
                let hangs = (top as f64 - hf * 0.05).abs() <= 3.0 + 12.0 * hf.max(405.0) / 1080.0;
                assert!(hangs == corner.starts_with("top"), "{corner} {w}x{h}: top {top}");
                let most = if w < 640 { 0.6 } else { 0.25 };
                assert!((right - left) as f64 <= wf * most, "{corner} {w}x{h}: {} wide", right - left);
            }
        }
    }
    assert_eq!(Strip::draw(&chip(), &full(), 128, 96).unwrap().dropped, ["ball-on"]);
}

#[test]
fn every_field_of_the_sheet_and_every_own_column_may_stand_on_a_strip() {
    for (name, key) in Column::ALL
        .iter()
        .map(|f| (f.key().to_string(), f.key().to_string()))
        .chain([("tag:Grade".into(), own_column("grade"))])
    {
        let source = format!(
            r#"<svg viewBox="0 0 99 90"><g id="a" data-side="left"><text>{{{name}}}</text></g><g id="b" data-side="left"><text>x{{{name}?{{{name}}}}}</text></g></svg>"#
        );
        let template = Template::parse(&source, "t").unwrap();
        let words = |text: &StripText| -> Vec<String> {
            fields_of(&template, text).unwrap().iter().map(|f| f.element.words()).collect()
        };
        assert_eq!(words(&StripText::default()), ["x"], "{name}");
        let mut text = StripText::default();
        text.put(&key, Some("mesh"));
        // A plate has room for one sign: a longer down is none.
        let want: &[&str] = if name == "down" { &["x"] } else { &["mesh", "xmesh"] };
        assert_eq!(words(&text), want, "{name}");
    }
}

#[test]
fn fields_go_in_the_templates_order_and_down_and_distance_never() {
    let at = |w, h| draw(&full(), w, h).dropped;
    assert_eq!(at(1920, 1080), [""; 0]);
    assert_eq!(at(1280, 720), [""; 0]);
    assert_eq!(at(405, 720), ["game", "tag-2", "clock"]);
    assert_eq!(at(270, 480), ["game", "tag-2", "clock", "play"]);
    assert_eq!(at(128, 128), ["game", "tag-2", "clock", "play", "tag-1", "ball-on"]);
}

#[test]
fn what_may_not_be_dropped_is_drawn_smaller_rather_than_cut() {
    let template = Template::strip().unwrap();
    for distance in ["and 2", "and a very long way to go to the line to gain, if not farther"] {
        let text = StripText { distance: Some(distance.into()), ..full() };
        let fields = fields_of(&template, &text).unwrap();
        let frame = Frame::of(&template).unwrap();
        let (fields, _) = drop_to_fit(fields, &frame, 300.0);
        let needed = frame.needed(&fields);
        assert_eq!(fields.iter().map(|f| f.element.id()).collect::<Vec<_>>(), ["down", "distance"]);
        let [left, _, right, _] = changed(&draw(&text, 120, 90), 120, 90);
        assert!(needed > 200.0 && left >= 6 && right <= 114, "{needed} {left} {right}");
    }
}

#[test]
fn what_is_unknown_is_left_out() {
    let none = draw(&StripText::default(), 640, 360);
    assert!(none.overlay.is_none() && none.problems.is_empty());
    let template = Template::strip().unwrap();
    let ids = |text: &StripText| -> Vec<String> {
        fields_of(&template, text).unwrap().iter().map(|f| f.element.id().to_string()).collect()
    };
    let kickoff = StripText {
        down: None,
        distance: Some("  ".into()),
        word: Some("kickoff".into()),
        tags: vec![],
        game: None,
        ..full()
    };
    assert_eq!(ids(&kickoff), ["word", "ball-on", "clock", "play"]);
    let both = StripText { word: Some("kickoff".into()), ..full() };
    assert!(!ids(&both).contains(&"word".to_string()), "a down is shown before a word");
    let odd = StripText { down: Some("fourth".into()), ..StripText::default() };
    assert_eq!(ids(&odd), ["word"], "what does not fit on the plate is not drawn on it");
}

#[test]
fn the_field_line_needs_the_balls_place_and_room() {
    let template = Template::strip().unwrap();
    let document = |text: &StripText, band: f32| {
        let frame = Frame::of(&template).unwrap();
        lay(&template, text, &frame, fields_of(&template, text).unwrap(), band).unwrap()
    };
    let with = document(&full(), 1728.0);
    for id in ["line", "ball", "chain", "rod", "end-zone"] {
        assert_eq!(with.matches(&format!("id=\"{id}\"")).count(), 1, "{id}");
    }
    assert!(!document(&StripText { ball_yards: None, ..full() }, 1728.0).contains("id=\"line\""));
    assert!(!document(&StripText { ball_yards: Some(101), ..full() }, 1728.0).contains("id=\"line\""));
    assert!(!document(&full(), 700.0).contains("id=\"line\""));
    assert!(!document(&StripText { to_gain: None, ..full() }, 1728.0).contains("id=\"chain\""));
}

#[test]
fn hostile_words_are_only_words() {
    let text = StripText {
        tags: vec![r#"<image href="file:///etc/passwd"/>"#.into(), "\u{0}\u{1b}[31m&amp;]]>\u{ffff}\u{202e}".into()],
        game: Some("a\"b' & <c>".into()),
        distance: Some("and 2</text><rect width=\"9999\" height=\"9999\"/>".into()),
        ..full()
    };
    let [left, top, right, bottom] = changed(&draw(&text, 1920, 1080), 1920, 1080);
    assert!(left >= 96 && right <= 1824 && top >= 918 && bottom <= 1026, "{left} {top} {right} {bottom}");
}

#[test]
fn a_sign_the_typeface_lacks_is_drawn_as_a_box_and_reported() {
    let text = StripText { tags: vec!["鷺 left".into(), "Łódź".into()], ..full() };
    let strip = draw(&text, 1280, 720);
    let said: Vec<_> = strip.problems.iter().map(|p| (p.place.as_str(), p.value.as_str(), p.what.as_str())).collect();
    assert_eq!(said, [("play 47", "鷺 left", "the strip's typeface has no \"鷺\"")]);
    assert_ne!(
        strip.overlay,
        draw(&StripText { tags: vec![" left".into(), "Łódź".into()], ..full() }, 1280, 720).overlay
    );
}

/// Plate, ink and chalk in the blended planes against ITU-R BT.709's formula in 8-bit limited range.
#[test]
fn colors_on_film_are_those_of_the_standard() {
    let mut picture = Picture::filled(1920, 1080, [90, 110, 120]);
    draw(&full(), 1920, 1080).overlay.unwrap().blend(&mut picture);
    let at = |x: usize, y: usize| {
        [
            picture.planes[0][y * 1920 + x],
            picture.planes[1][y / 2 * 960 + x / 2],
            picture.planes[2][y / 2 * 960 + x / 2],
        ]
    };
    // The band's foot is at 1026; 96 units above it begins the plate's outline; one unit is one line.
    let cases = [(130, 940, paint::POLE), (1400, 942, paint::INK)];
    for (x, y, Rgb(rgb)) in cases {
        let want = Rgb(rgb).ycbcr();
        assert!(at(x, y).iter().zip(want).all(|(g, w)| g.abs_diff(w) <= 1), "{:?}, not {want:?}", at(x, y));
    }
    // Chalk: the heart of a letter is as wide as three samples; the brightest luma is chalk's own.
    let chalk = paint::CHALK.ycbcr();
    let brightest = (240..400).flat_map(|x| (950..990).map(move |y| (x, y))).max_by_key(|&(x, y)| at(x, y)[0]).unwrap();
    assert!(
        at(brightest.0, brightest.1)[0].abs_diff(chalk[0]) <= 1,
        "{:?}, not {chalk:?}",
        at(brightest.0, brightest.1)
    );
    let solid = (240..400)
        .flat_map(|x| (950..990).map(move |y| (x, y)))
        .any(|(x, y)| at(x, y).iter().zip(chalk).all(|(g, w)| g.abs_diff(w) <= 1));
    assert!(solid, "no sample of solid chalk, luma and chroma");
}
