use std::path::Path;

use proptest::prelude::*;

use super::*;

const EXAMPLE: &str = include_str!("../../../config/reel.example.toml");

fn read(text: &str) -> Result<Script> {
    Script::read(text, Path::new("mesh.toml"))
}

/// The faults of a script, as they are told: `12:5 what; next`.
fn faults(text: &str) -> Vec<String> {
    let Err(error) = read(text) else { return Vec::new() };
    if error.what.starts_with("the script has ") && error.place.contains('\n') {
        return error.place.lines().map(|line| line.trim_start_matches("mesh.toml:").to_string()).collect();
    }
    vec![format!("{} {}; {}", error.place.trim_start_matches("mesh.toml:"), error.what, error.next)]
}

const STEP: &str = "[[step]]\nplay = { game = \"B\", label = \"5\" }\n";

#[test]
fn the_shortest_script_has_the_defaults() {
    let script = read(STEP).unwrap();
    assert_eq!((script.sound, script.loudness, script.profile, script.strip), (SoundWay::Off, -16.0, None, None));
    let [step] = &script.steps[..] else { panic!("{:?}", script.steps) };
    assert_eq!((step.from.value, step.from.place), (Moment { anchor: Anchor::Snap, offset: -2.0 }, step.place));
    assert_eq!(step.to.value, Moment { anchor: Anchor::Whistle, offset: 1.0 });
    assert_eq!(step.sync.value, Moment { anchor: Anchor::Snap, offset: 0.0 });
    assert_eq!((step.rate, step.views.len(), step.views[0].rate), (1.0, 1, 1.0));
    assert_eq!(step.place, Place { line: 1, column: 1 });
    assert_eq!(step.views[0].play.place, Place { line: 2, column: 8 });
    let error = script.error(step.views[0].play.place, "there is no game B", "write its name");
    assert_eq!((error.place.as_str(), error.what.as_str()), ("mesh.toml:2:8", "there is no game B"));
}

#[test]
fn the_example_says_everything_and_is_read_whole() {
    let script = read(EXAMPLE).unwrap();
    assert_eq!(script.title.as_deref(), Some("Mesh from three backs"));
    assert_eq!((script.profile.unwrap().value, script.strip), (Profile::Phone, Some(Design::Chip)));
    assert_eq!(script.voice[0].start, VoiceStart::Reel(0.5));
    let VoiceStart::Step(step, after) = script.voice[1].start else { panic!("{:?}", script.voice) };
    assert_eq!((step.value, after, script.voice[1].file.value.to_str()), (2, 0.5, Some("safety.m4a")));

    let [one, two, three] = &script.steps[..] else { panic!("{} steps", script.steps.len()) };
    assert_eq!(one.section.as_ref().unwrap().text.as_deref(), Some("The safety stays in the middle"));
    assert_eq!(one.views[0].play.value, PlayAsk::Named { game: "Badgers".into(), label: "5".into() });
    assert_eq!((one.views[0].angle.as_ref().unwrap().value.as_str(), one.views.len()), ("sideline", 1));
    assert_eq!(one.stops.iter().map(|stop| stop.hold).collect::<Vec<_>>(), [3.0, 2.0]);
    assert_eq!((one.speeds[0].rate, one.zooms[0].on, one.zooms[0].factor), (0.5, (0.45, 0.55), 2.0));
    assert_eq!((one.captions[0].from, one.captions[0].to.unwrap().value.anchor), (None, Anchor::Snap));
    let kinds: Vec<MarkKind> = one.marks.iter().map(|mark| mark.kind).collect();
    assert_eq!(kinds, MarkKind::WORDS.map(|(_, kind)| kind), "one of each");
    let pins: Vec<Pin> = one.marks.iter().map(|mark| mark.pin).collect();
    let (man, turf, screen) = (Pin::Man, Pin::Turf, Pin::Screen);
    assert_eq!(pins, [man, man, turf, turf, turf, turf, screen, turf]);
    assert_eq!(one.marks[0].size, Some((0.04, 0.03)));
    assert_eq!((one.marks[2].head, one.marks[2].thickness, one.marks[3].dashed), (Some(Head::Bar), 1.5, Some(true)));
    assert_eq!(one.marks[4].points.len(), 4);
    let again = &one.agains[0];
    assert_eq!((again.rate, again.stops[0].hold, again.captions[0].text.as_str()), (Some(0.4), 1.5, "watch his feet"));
    assert_eq!(again.speeds[0].to.value, Moment { anchor: Anchor::Snap, offset: 3.0 }, "to the end of this time");

    assert_eq!(two.section, Some(Section { title: "Against two-high".into(), text: None }));
    assert_eq!(two.views[0].play, two.views[1].play);
    assert_eq!(two.views[1].play.value, PlayAsk::First("mesh vs two-high".into()));
    assert_eq!((two.views[1].angle.as_ref().unwrap().value.as_str(), two.marks[0].view.value), ("end-zone", 1));
    assert_eq!((three.strip, three.sound, three.views[1].rate), (Some(Design::None), Some(SoundWay::Slowed), 0.9));
}

#[test]
fn every_fault_is_told_at_once_in_the_order_of_the_text() {
    let text = "titel = \"Mesh\"\nprofile = \"phne\"\n\n[[step]]\nplay = { game = \"B\", label = \"5\" }\n\
                stop = { at = \"snp-1s\" }\n\n[[step.mark]]\nkind = \"rign\"\nat = [42, 55]\n";
    let error = read(text).unwrap_err();
    assert_eq!(error.what, "the script has 5 faults");
    assert_eq!(
        error.place,
        "mesh.toml:1:1 there is no titel in the script; did you mean title?\n\
         mesh.toml:2:11 profile is \"phne\"; did you mean \"phone\"? profile takes tape, meeting or phone\n\
         mesh.toml:6:15 \"snp-1s\" is no moment: \"snp\" is not known; did you mean \"snap-1s\"?\n\
         mesh.toml:9:8 kind is \"rign\"; did you mean \"ring\"? kind takes ring, spotlight, arrow, route, zone, line, label or \
         shade\n\
         mesh.toml:10:6 42 lies outside of the picture; they are shares of the picture, 0 to 1: for 42 % write 0.42"
    );
    assert_eq!(error.next, "mend them, then run the same command again");
}

#[test]
fn each_fault_is_told_by_its_place_and_what_to_write() {
    let more = |lines: &str| format!("{STEP}{lines}\n");
    let mark = |lines: &str| format!("{STEP}[[step.mark]]\n{lines}\n");
    let cases: Vec<(String, &str, &str)> = vec![
        (String::new(), "1:1 the script has no step", "[[step]]"),
        ("title = \"x\"\n".into(), "1:1 the script has no step", "play = "),
        ("step = []\n".into(), "the script has no step", "[[step]]"),
        ("[[step]]\nangle = \"sideline\"\n".into(), "1:1 step 1 names no play", "first = "),
        (
            more("[[mark]]\nkind = \"ring\""),
            "3:3 mark stands in the script here, and belongs to a step",
            "as [[step.mark]]",
        ),
        ("[[step]]\nplay = \"Badgers 5\"\n".into(), "2:8 play is a text here", "label = \"5\""),
        ("[[step]]\nplay = { game = \"B\" }\n".into(), "2:8 a play has a game and no label", "label = "),
        ("[[step]]\nplay = { label = 5 }\n".into(), "a play has a label and no game", "game = "),
        ("[[step]]\nplay = {}\n".into(), "a play is not named", "first = "),
        ("[[step]]\nplay = { game = \"B\", label = 5, first = \"x\" }\n".into(), "both by a phrase", "keep first"),
        ("[[step]]\nplay = { game = \"B\", label = 5.5 }\n".into(), "2:30 label is a number here", "label = \"5.5\""),
        ("[[step]]\nplay = { game = 7, label = 5 }\n".into(), "2:17 game is a number here", "game = \"7\""),
        (more("from = \"snap+1s\"\nto = \"snap-1s\""), "4:6 a step ends before it begins", "earlier"),
        (more("from = 2.5"), "3:8 from is a number here, and takes a moment", "from = \"start+2.5s\""),
        (more("from = -2"), "takes a moment", "from = \"snap-2s\""),
        (more("rate = 9"), "3:8 rate is 9", "a number from 0.1 to 4 times the film's speed"),
        (more("rate = nan"), "rate is a number here", "0.1 to 4"),
        (more("rate = \"0.5\""), "rate is a text here", "without quotes: rate = 0.5"),
        (more("rate = 0x1_0"), "rate is 0x1_0", "0.1 to 4"),
        (more("stop = { hold = 2 }"), "3:8 a stop says not when", "at = "),
        (more("stop = { at = \"snap\", hold = 0 }"), "3:30 hold is 0", "0.1 to 60 seconds"),
        (more("stop = { at = \"snap-3s\" }"), "3:15 a stop lies outside", "change its time"),
        (more("stop = \"snap\""), "a stop is a text here", "stop = [{ at = \"snap\", hold = 2 }]"),
        (more("stop = [{ at = \"snap\" }, 3]"), "3:26 a stop is a number here", "hold = 2"),
        (more("speed = { from = \"snap\" }"), "a speed says not how fast", "rate = 0.5"),
        (more("speed = { from = \"end+5s\", rate = 1 }"), "a speed lies outside", "step's from and to"),
        (more("zoom = { factor = 2 }"), "a zoom says not where", "on = [0.5, 0.5]"),
        (more("zoom = { on = [0.5, 0.5], view = 2 }"), "3:34 view is 2, and the step has 1 view", "delete"),
        (more("zoom = { on = [0.5, 0.5], factor = 7 }"), "factor is 7", "1 to 6"),
        (more("caption = \"\""), "3:11 caption is empty", "delete the line"),
        (more("caption = \"a\\u0007b\""), "3:11 caption has a sign that cannot be shown", "delete"),
        (more("caption = [{ from = \"snap\" }]"), "a caption has no text", "text = "),
        (more("caption = [\"a\"]"), "a caption is a text here", "[{ text = "),
        (more("section = {}"), "a section has no title", "title = "),
        (more("section = 3"), "section is a number here", "section = \"3\""),
        (more("sound = \"on\""), "sound is \"on\"", "off, kept or slowed"),
        (more("strip = true"), "strip is true or false here", "strip, chip or none"),
        (more("hold = 2"), "3:1 hold stands in a step here, and belongs to a stop", "stop = [{ at = "),
        (more("[[step.again]]\nfrom = \"whistle\"\nto = \"snap\""), "a step seen again ends before", "earlier"),
        (more("[[step.again]]\ncaption = [{ text = \"x\", to = \"snap-2s\" }]"), "a caption lies outside", "times"),
        (mark(""), "3:1 a mark has no kind", "ring, spotlight"),
        (mark("kind = \"ring\""), "3:1 a ring has no point", "at = "),
        (mark("kind = \"ring\"\nat = [0.5]"), "at is no pair of numbers", "at = [0.42, 0.55]"),
        (mark("kind = \"ring\"\nat = [0.5, 1.01]"), "1.01 lies outside", "0 to 1"),
        (mark("kind = \"ring\"\npoints = [[0, 0], [1, 1]]"), "a ring has 2 points", "at = "),
        (mark("kind = \"ring\"\npoints = [0.5, 0.5]"), "points is no list of points", "[[0.4, 0.5], "),
        (mark("kind = \"ring\"\nat = [0, 0]\npoints = [[0, 0]]"), "both at and points", "keep one"),
        (mark("kind = \"arrow\"\nat = [0, 0]"), "an arrow has 1 point", "2 points: its beginning"),
        (mark("kind = \"route\"\npoints = [[0, 0]]"), "a route has 1 point", "at least 2"),
        (
            mark("kind = \"zone\"\npoints = [[0, 0], [1, 1]]"),
            "a zone has 2 points",
            "three corners, or one point and size",
        ),
        (mark("kind = \"shade\"\nat = [0.5, 0.5]"), "a shade has 1 point", "size"),
        (mark("kind = \"zone\"\nsize = [1, 1]\npoints = [[0, 0], [1, 1], [1, 0]]"), "corners and a size", "one point"),
        (
            mark("kind = \"arrow\"\nsize = [1, 1]\npoints = [[0, 0], [1, 1]]"),
            "an arrow has no size",
            "ring, spotlight, zone",
        ),
        (mark("kind = \"ring\"\nhead = \"bar\"\nat = [0, 0]"), "5:8 a ring has no head", "arrow, route and line"),
        (mark("kind = \"label\"\nat = [0, 0]"), "a label has no words", "label = "),
        (
            mark("kind = \"ring\"\nat = [0, 0]\nlabel = \"the free safety of the other team\""),
            "33 letters",
            "at most 28",
        ),
        (mark("kind = \"ring\"\nat = [0, 0]\nview = 2"), "view is 2, and the step has 1 view", "delete"),
        (mark("kind = \"ring\"\nat = [0, 0]\nview = 0"), "6:8 view is 0", "1 to 4"),
        (
            mark("kind = \"ring\"\nat = [0, 0]\ncolour = \"ours\"\ncolor = \"ours\""),
            "both color and colour",
            "keep one",
        ),
        (mark("kind = \"ring\"\nat = [0, 0]\ncolor = \"blue\""), "color is \"blue\"", "ours, theirs, neutral"),
        (mark("kind = \"ring\"\nat = [0, 0]\ndashed = \"yes\""), "dashed is a text here", "dashed = true"),
        (mark("kind = \"ring\"\nat = [0, 0]\nto = \"snap-2s\""), "a mark lies outside", "from and to"),
        (
            mark("kind = \"ring\"\nat = [0, 0]\ncaption = \"x\""),
            "6:1 caption stands in a mark here",
            "right below its [[step]]",
        ),
        (mark("kind = \"ring\"\nat = [0, 0]\nprofile = \"x\""), "profile stands in a mark", "above the first [[step]]"),
        (
            mark("kind = \"ring\"\nat = [0, 0]\nthicknes = 2"),
            "there is no thicknes in a mark",
            "did you mean thickness?",
        ),
        (mark("kind = \"ring\"\nat = [0, 0]\nbanana = 2"), "there is no banana in a mark", "it takes kind, pin, at"),
        (
            more("label = \"x\"\n[[step.view]]\nangle = \"a\""),
            "3:9 the step has a label and several views",
            "[[step.view]]",
        ),
        ("[[step]]\n[[step.view]]\nangle = \"a\"\n".into(), "2:1 view 1 of step 1 names no play", "play = "),
        (more("view = []"), "3:8 the step's views are empty", "[[step.view]]"),
        (more(&"[[step.view]]\n".repeat(5)), "7:1 step 1 has 5 views", "at most 4"),
        (more("[[step.view]]\nrate = 2"), "4:8 the first view's speed", "give the step"),
        (
            more("[[step.view]]\nplay = { first = \"x\" }"),
            "2:8 the step's play is shown by none of its views",
            "delete it",
        ),
        (format!("loudness = -80\n{STEP}"), "1:12 loudness is -80", "-36 to -9 LUFS"),
        (format!("{STEP}[[voice]]\n"), "3:1 a voice names no file", "file = "),
        (format!("{STEP}[[voice]]\nfile = \"a\"\nstep = 2\n"), "5:8 a voice begins with step 2", "write 1 to 1"),
        (format!("{STEP}[[voice]]\nfile = \"a\"\nstep = 0\n"), "5:8 step is 0", "from 1"),
        (format!("{STEP}[[voice]]\nfile = \"a\"\nstep = 1.5\n"), "step 1.5", "whole number"),
        (format!("{STEP}[[voice]]\nfile = \"a\"\nstep = 1\nat = 2\n"), "both at a second and with a step", "keep at"),
        (format!("{STEP}[[voice]]\nfile = \"a\"\nafter = 2\n"), "after is counted from a step", "step = 1"),
        (
            format!("{STEP}[[voice]]\nfile = \"a\"\nangle = \"x\"\n"),
            "angle stands in a voice here",
            "lines below [[voice]]",
        ),
    ];
    let mut wrong = Vec::new();
    for (text, what, next) in cases {
        let told = faults(&text);
        let right = |one: &String| one.split_once("; ").is_some_and(|(a, b)| a.contains(what) && b.contains(next));
        if told.len() != 1 || !right(&told[0]) {
            wrong.push(format!("{text}told {told:#?}, wanted {what} ... {next}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
}

#[test]
fn a_text_that_is_no_toml_is_told_in_plain_words() {
    let mut wrong = Vec::new();
    for (text, told) in [
        ("title = \"Mesh\nprofile = \"phone\"\n", "1:14 a quote is missing; end the text with the quote"),
        ("title = Mesh\n", "1:9 title has a value without quotes; write title = \"Mesh\""),
        ("title = \u{201c}Mesh\u{201d}\n", "1:9 a quote is a curly one here; write straight quotes: \""),
        ("title: \"Mesh\"\n", "1:6 a colon stands for the sign =; write title = \"Mesh\""),
        ("[step]\na = 1\n[step]\n", "3:2 step is given twice; write it with two brackets each time: [[step]]"),
        ("[step]\n[[step]]\n", "2:3 step is given twice; write step in one way only, each time as [[step]]"),
        ("title = \"a\"\ntitle = \"b\"\n", "2:1 title is given twice; delete one of the two"),
        ("[[step]\n", "1:8 a header is not closed; close it with as many brackets"),
        ("[[step]]\nstop = [{ at = \"snap\" }\n", "2:24 a list is not closed; part"),
        ("[[step]]\nplay = { game = \"B\" label = 5 }\n", "2:21 a comma or a brace is missing in a table; part"),
        ("file = \"C:\\talk.m4a\\n\\u\"\n", "a backslash means something else in quotes; write / in paths"),
        ("rate = 0,5\n", "1:9 rate has a comma in its number; write a point: rate = 0.5"),
        ("rate = .5\n", "rate is .5; write a zero before the point: rate = 0.5"),
        ("rate = 0.5x\n", "rate has a value without quotes; write rate = \"0.5x\""),
        ("dashed = True\n", "dashed is True; write it small: dashed = true"),
        ("title =\n", "title has no value; write what it is to be after title ="),
        ("just words\n", "this line is no name = value; write it as in title = \"Mesh\""),
        ("= 3\n", "a name is missing before =; write what it is"),
        ("title = \"\"\"\nMesh\n", "a long text has no end; end it with three quotes: \"\"\""),
    ] {
        let all = faults(text);
        if !all.first().is_some_and(|first| first.contains(told)) {
            wrong.push(format!("{text}told {all:#?}, wanted {told}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
    let two = faults("title = Mesh\n[[step]]\nangle = sideline\n");
    assert!(two.len() == 2 && two[1].starts_with("3:9 angle has a value without quotes"), "{two:#?}");
}

#[test]
fn places_count_characters_on_every_kind_of_line() {
    let text = "\u{feff}title = \"Füchse\"\r\n[[step]]\r\nplay = { game = \"Füchse\", label = 5, x = 1 }\r\n";
    assert_eq!(faults(text), ["3:38 there is no x in a play; it takes game, label and first"]);
    let text = "\u{feff}titel = \"x\"\r\n[[step]]\r\nplay = { first = \"x\" }\r\n";
    assert!(faults(text)[0].starts_with("1:1 "), "{:?}", faults(text));
}

#[test]
fn a_name_in_a_fault_stays_on_its_line() {
    let told = faults(&format!("{STEP}sound = \"a\\nb\"\n"));
    assert!(told.len() == 1 && told[0].contains("sound is \"a?b\""), "{told:?}");
}

#[test]
fn words_are_read_in_any_case_and_both_spellings() {
    let text = format!(
        "profile = \"Tape\"\n{STEP}sound = \" KEPT\"\n[[step.mark]]\nkind = \"Ring\"\nat = [0, 1]\ncolour = \"rose\"\n"
    );
    let script = read(&text).unwrap();
    assert_eq!((script.profile.unwrap().value, script.steps[0].sound), (Profile::Tape, Some(SoundWay::Kept)));
    assert_eq!(script.steps[0].marks[0].color, MarkColor::Exception);
    let text = format!("{STEP}caption = \"\"\"\nthe safety\nrolls down\"\"\"\n");
    assert_eq!(read(&text).unwrap().steps[0].captions[0].text, "the safety rolls down");
}

/// Every place of a script that was read, and every one that a fault names.
fn places(text: &str) -> Vec<Place> {
    let parse = |address: &str| {
        let mut parts = address.split(' ').next().unwrap().split(':').map(|n| n.parse().unwrap());
        Place { line: parts.next().unwrap(), column: parts.next().unwrap() }
    };
    let Ok(script) = read(text) else { return faults(text).iter().map(|told| parse(told)).collect() };
    let mut all = Vec::new();
    for step in &script.steps {
        all.extend([step.place, step.from.place, step.to.place, step.sync.place]);
        all.extend(step.views.iter().flat_map(|v| [Some(v.play.place), v.angle.as_ref().map(|a| a.place)]).flatten());
        all.extend(step.stops.iter().map(|stop| stop.at.place));
        all.extend(step.speeds.iter().flat_map(|speed| [speed.from.place, speed.to.place]));
        all.extend(step.zooms.iter().flat_map(|zoom| [zoom.from.place, zoom.to.place, zoom.view.place]));
        all.extend(step.captions.iter().map(|caption| caption.place));
        all.extend(step.marks.iter().flat_map(|mark| [mark.place, mark.view.place]));
        all.extend(step.agains.iter().map(|again| again.place));
    }
    all.extend(script.voice.iter().map(|voice| voice.file.place));
    all.extend(script.profile.map(|profile| profile.place));
    all
}

fn in_text(text: &str, place: Place) -> bool {
    let line = text.split('\n').nth(place.line.wrapping_sub(1));
    line.is_some_and(|line| (1..=line.chars().count() + 1).contains(&place.column))
}

/// The example with pieces of it cut out, doubled and put elsewhere, and with signs put in: near enough to a script that every
/// reader is reached.
fn spoiled() -> impl Strategy<Value = String> {
    let piece = prop_oneof![
        prop::sample::select(vec![
            "[",
            "]",
            "[[step]]\n",
            "{",
            "}",
            "\"",
            "'",
            "=",
            ",",
            "\n",
            "\r\n",
            "#",
            "\\",
            "0x",
            "-",
            "nan",
            "1e400",
            "9999999999999999999999",
            "1979-05-27",
            "true",
            "[[step.mark]]\n",
            "[[voice]]\n",
            "\u{feff}",
            "ü",
            "\"\"\"",
            "view = 3\n",
            "step = 7\n",
            "a.b = 1\n",
            "\0",
        ])
        .prop_map(String::from),
        any::<String>(),
    ];
    let change = (any::<prop::sample::Index>(), 0usize..40, piece);
    prop::collection::vec(change, 1..8).prop_map(|changes| {
        let mut text: Vec<char> = EXAMPLE.chars().collect();
        for (at, length, piece) in changes {
            let start = at.index(text.len() + 1);
            let end = (start + length).min(text.len());
            text.splice(start..end, piece.chars());
        }
        text.into_iter().collect()
    })
}

proptest! {
    #[test]
    fn no_text_panics_and_every_place_lies_in_it(text in prop_oneof![spoiled(), any::<String>()]) {
        for place in places(&text) {
            prop_assert!(in_text(&text, place), "{place:?}");
        }
    }
}
