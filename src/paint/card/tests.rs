use resvg::usvg;

use super::*;
use crate::paint::{StripText, Templates, own_column};

const SIZES: [(usize, usize); 4] = [(1920, 1080), (1280, 720), (640, 360), (405, 720)];

fn play() -> StripText {
    let mut text: StripText = include!("../../../fixtures/strip_text.rs");
    let values = [
        ("down_distance", "Third and 2"),
        ("set", "trips right"),
        ("defense", "one-high, cover 3"),
        ("hash", "left"),
        ("date", "2026-09-11"),
    ];
    for (name, value) in values {
        text.put(name, Some(value));
    }
    text
}

fn group() -> CardText {
    CardText::group("third and short", (2, 5), 12, Some("3")).titled("third down by distance, sideline")
}

/// The words of the laid document and where they lie, in pixels: left, top, right, bottom.
fn words_at(laid: &Laid) -> Vec<(String, [f32; 4])> {
    fn walk(group: &usvg::Group, scale: f32, out: &mut Vec<(String, [f32; 4])>) {
        for node in group.children() {
            match node {
                usvg::Node::Group(group) => walk(group, scale, out),
                usvg::Node::Text(text) => {
                    let words = text.chunks().iter().map(|chunk| chunk.text()).collect();
                    // What is drawn, not the typeface's line box; a plate's sign alone is moved by its group.
                    let sign = text.chunks().iter().map(|chunk| chunk.text().len()).sum::<usize>() == 1;
                    let b = if sign { text.abs_bounding_box() } else { text.flattened().bounding_box() };
                    out.push((words, [b.left(), b.top(), b.right(), b.bottom()].map(|edge| edge * scale)));
                }
                _ => {}
            }
        }
    }
    let mut out = Vec::new();
    walk(parse(&laid.document).unwrap().root(), laid.scale, &mut out);
    out
}

/// Luma outside the title-safe area, the brightest.
fn brightest_outside(picture: &Picture) -> u8 {
    let (w, h) = (picture.width, picture.height);
    let safe = |at: usize, of: usize| at * 20 >= of && (of - 1 - at) * 20 >= of.saturating_sub(20);
    let outside = |i: &usize| !(safe(i % w, w) && safe(i / w, h));
    (0..w * h).filter(outside).map(|i| picture.planes[0][i]).max().unwrap()
}

fn cards() -> Vec<(Template, CardText, &'static str)> {
    let Templates { card, group: groups, .. } = Templates::shipped().unwrap();
    let kickoff = StripText { down: None, distance: None, word: Some("kickoff".into()), ..StripText::default() };
    let mut wordy = play();
    wordy.put("set", Some("empty trips bunch closed to the field with a tight end off the ball"));
    wordy.put("defense", Some("one-high rotating late to two-high, cover 3 match with a nickel off the edge"));
    wordy.game = Some("Herons of the Northern Lake District at Badgers of the Lower Valley".into());
    vec![
        (card.clone(), CardText::play(&play(), None), "full"),
        (card.clone(), CardText::play(&kickoff, None), "kickoff"),
        (card, CardText::play(&wordy, None), "wordy"),
        (groups.clone(), group(), "group"),
        (
            groups,
            CardText::group("red zone, all plays of the season against teams with one-high", (1, 40), 1, None),
            "many",
        ),
    ]
}

/// All that a card says.
fn said(template: &Template, text: &CardText) -> Vec<String> {
    let look = Look::of(template).unwrap();
    let beside = Look::shown(&look.beside, text).into_iter().take(1);
    let rest = Look::shown(&look.rows, text).into_iter().chain(Look::shown(&look.foot, text));
    beside.chain(rest).map(|element| element.words()).filter(|words| !words.is_empty()).collect()
}

#[test]
fn every_word_of_every_card_is_there_whole_and_inside_the_title_safe_area_at_every_size() {
    for (template, text, name) in cards() {
        for (w, h) in SIZES {
            let laid = lay(&template, &text, w, h).unwrap();
            let at = words_at(&laid);
            let shown: String = at.iter().map(|(words, _)| words.as_str()).collect::<Vec<_>>().join(" ");
            for words in said(&template, &text) {
                assert!(shown.contains(&words), "{name} {w}x{h}: \"{words}\" is not in \"{shown}\"");
            }
            let (wf, hf) = (w as f32, h as f32);
            for (words, [left, top, right, bottom]) in &at {
                let inside = *left >= wf * 0.05 - 0.5 && *right <= wf * 0.95 + 0.5;
                assert!(
                    inside && *top >= hf * 0.05 - 0.5 && *bottom <= hf * 0.95 + 0.5,
                    "{name} {w}x{h}: {words} {at:?}"
                );
            }
            let lines: Vec<&(String, [f32; 4])> = at.iter().filter(|(words, _)| words.len() > 1).collect();
            for pair in lines.windows(2) {
                assert!(pair[1].1[1] > pair[0].1[3], "{name} {w}x{h}: {pair:?} touch");
            }
            let (picture, problems) = Card::draw(&template, &text, w, h).unwrap();
            assert_eq!((picture.width, picture.height), (w, h));
            assert!(problems.is_empty(), "{name} {w}x{h}: {problems:?}");
            let outside = brightest_outside(&picture);
            assert!(outside < 90, "{name} {w}x{h}: {outside} outside the title-safe area");
        }
    }
}

#[test]
fn what_is_missing_is_left_out_and_another_stands_in_its_place() {
    let Templates { card, group: groups, .. } = Templates::shipped().unwrap();
    let full = said(&card, &CardText::play(&play(), None));
    let want = [
        "Play 47",
        "Third and 2",
        "trips right vs one-high, cover 3",
        "opp 34, left hash",
        "Herons at Badgers, 2026-09-11, Q2 4:31",
    ];
    assert_eq!(full, want);
    let mut bare = StripText { word: Some("kickoff".into()), play: Some("play 1".into()), ..StripText::default() };
    assert_eq!(said(&card, &CardText::play(&bare, None)), ["Play 1", "Kickoff"]);
    bare.put("defense", Some("one-high"));
    assert_eq!(said(&card, &CardText::play(&bare, None)), ["Play 1", "Kickoff", "vs one-high"]);
    assert_eq!(said(&groups, &group())[..4], ["3", "Group 2 of 5", "Third and short", "12 plays"]);
    let one = CardText::group("all", (1, 1), 1, None);
    assert_eq!(said(&groups, &one), ["Group 1 of 1", "All", "1 play"]);
    assert!(!lay(&groups, &one, 640, 360).unwrap().document.contains("data-links"), "one link is no chain");
    let chain = lay(&groups, &group(), 1920, 1080).unwrap().document;
    assert_eq!((chain.matches("id=\"done\"").count(), chain.matches("id=\"to-come\"").count()), (2, 3));
    assert!(!lay(&groups, &CardText::group("a", (3, 400), 1, None), 640, 360).unwrap().document.contains("data-links"));
}

#[test]
fn a_staffs_card_says_what_it_names_and_counts_the_plays() {
    let source = r#"<svg viewBox="0 0 1920 1080"><text font-size="80">{number} of {of}: {tag:grade}</text></svg>"#;
    let card = Template::parse(source, "card.svg").unwrap();
    let mut text = play();
    text.put(&own_column("Grade"), Some("plus"));
    let text = CardText::play(&text, Some((3, 12)));
    assert_eq!(said(&card, &text), ["3 of 12: plus"]);
    assert_eq!(text.kept_for(&card).values.len(), 3);
    assert_eq!(
        lay(&card, &text, 640, 360).unwrap().document,
        lay(&card, &text.kept_for(&card), 640, 360).unwrap().document
    );
    let groups = Templates::shipped().unwrap().group;
    let (whole, kept) = (group(), group().kept_for(&groups));
    assert_eq!(lay(&groups, &whole, 640, 360).unwrap().document, lay(&groups, &kept, 640, 360).unwrap().document);
}

#[test]
fn a_card_stands_as_long_as_its_words_need() {
    let Templates { card, group: groups, .. } = Templates::shipped().unwrap();
    let bare = StripText { play: Some("play 1".into()), ..StripText::default() };
    assert_eq!(CardText::play(&bare, None).seconds(&card), 3.0);
    assert_eq!(CardText::group("Herons", (1, 1), 1, None).seconds(&groups), 7.0 / 3.0);
    let short = Template::parse(r#"<svg viewBox="0 0 9 9"><text>{group} – {plays}</text></svg>"#, "t").unwrap();
    assert_eq!(CardText::group("Herons", (1, 2), 12, None).seconds(&short), 1.5);
    // 2 + 3 + 6 + 4 words; those at the foot are not counted.
    assert_eq!(CardText::play(&play(), None).seconds(&card), 5.0);
}

#[test]
fn signs_without_a_glyph_and_words_without_room_are_told() {
    let card = Templates::shipped().unwrap().card;
    let mut text = play();
    text.put("set", Some("鷺 left"));
    let said = |text: &StripText| Card::draw(&card, &CardText::play(text, None), 640, 360).unwrap().1;
    let problems = said(&text);
    assert_eq!(problems.len(), 1, "{problems:?}");
    assert!(problems[0].what.contains("no \"鷺\"") && problems[0].place == "play 47", "{problems:?}");
    text.put("set", Some(&"bunch ".repeat(400)));
    let problems = said(&text);
    assert!(problems.iter().any(|p| p.what.contains("no room for so many words")), "{problems:?}");
}

#[test]
fn a_card_is_flat_ink_and_words_in_the_reels_color() {
    let (template, text, _) = &cards()[0];
    let (picture, _) = Card::draw(template, text, 1921, 1081).unwrap();
    assert_eq!((picture.width, picture.height, picture.color), (1921, 1081, Default::default()));
    let count = |want: [u8; 3]| {
        let near = |plane: usize, i: usize, want: u8| picture.planes[plane][i].abs_diff(want) <= 1;
        (0..961 * 541)
            .filter(|&i| {
                near(0, (i / 961) * 2 * 1921 + (i % 961) * 2, want[0]) && near(1, i, want[1]) && near(2, i, want[2])
            })
            .count()
    };
    assert!(count(paint::INK.ycbcr()) > 50_000, "ink");
    assert!(count(paint::CHALK.ycbcr()) > 3_000 && count(paint::POLE.ycbcr()) > 300, "chalk and pole");
    // No ramps: nearly all of the picture is one of few lumas.
    let mut lumas = [0usize; 256];
    picture.planes[0].iter().for_each(|&y| lumas[y as usize] += 1);
    lumas.sort_unstable_by(|a, b| b.cmp(a));
    let flat: usize = lumas[..12].iter().sum();
    assert!(flat * 100 > picture.planes[0].len() * 97, "{flat} of {}", picture.planes[0].len());
}

#[test]
fn hostile_values_are_only_words() {
    let card = Templates::shipped().unwrap().card;
    let mut text = play();
    text.put("set", Some(r#"</text><image href="file:///etc/passwd"/>{down}"#));
    let document = lay(&card, &CardText::play(&text, None), 640, 360).unwrap().document;
    assert!(!document.contains("<image") && document.contains("{down}"), "{document}");
    for (w, h) in [(2, 2), (16, 16), (33, 71), (128, 128)] {
        assert_eq!(Card::draw(&card, &CardText::play(&text, None), w, h).unwrap().0.width, w);
    }
    assert!(Card::draw(&card, &CardText::play(&text, None), 0, 0).is_err());
}
