//! The tables of a script: what may stand in each, and within which bounds.

/// One sort of table.
#[derive(Debug, PartialEq)]
pub struct Kind {
    /// As errors name it: "a mark".
    pub name: &'static str,
    /// How one is begun, for advice.
    pub way: &'static str,
    /// All its keys.
    pub keys: &'static [&'static str],
}

pub const SCRIPT: Kind = Kind {
    name: "the script",
    way: "the lines above the first [[step]]",
    keys: &["title", "subtitle", "profile", "strip", "sound", "loudness", "voice", "step"],
};

pub const VOICE: Kind = Kind { name: "a voice", way: "[[voice]]", keys: &["file", "at", "step", "after"] };

pub const STEP: Kind = Kind {
    name: "a step",
    way: "[[step]]",
    keys: &[
        "section", "title", "play", "angle", "label", "view", "sync", "from", "to", "rate", "stop", "speed", "zoom",
        "caption", "mark", "again", "strip", "sound",
    ],
};

pub const SECTION: Kind =
    Kind { name: "a section", way: "section = { title = \"Against two-high\" }", keys: &["title", "text"] };

pub const VIEW: Kind = Kind { name: "a view", way: "[[step.view]]", keys: &["play", "angle", "label", "rate"] };

pub const PLAY: Kind =
    Kind { name: "a play", way: "play = { game = \"Badgers\", label = \"5\" }", keys: &["game", "label", "first"] };

pub const STOP: Kind = Kind { name: "a stop", way: "stop = [{ at = \"snap\", hold = 2 }]", keys: &["at", "hold"] };

pub const SPEED: Kind = Kind {
    name: "a speed",
    way: "speed = [{ from = \"snap\", to = \"snap+2s\", rate = 0.5 }]",
    keys: &["from", "to", "rate"],
};

pub const ZOOM: Kind = Kind {
    name: "a zoom",
    way: "zoom = [{ on = [0.5, 0.5], factor = 2 }]",
    keys: &["from", "to", "on", "factor", "ease", "view"],
};

pub const CAPTION: Kind =
    Kind { name: "a caption", way: "caption = [{ text = \"safety rolls down\" }]", keys: &["text", "from", "to"] };

pub const MARK: Kind = Kind {
    name: "a mark",
    way: "[[step.mark]]",
    keys: &[
        "kind",
        "pin",
        "at",
        "points",
        "size",
        "from",
        "to",
        "color",
        "colour",
        "thickness",
        "dashed",
        "head",
        "label",
        "fade",
        "view",
    ],
};

pub const AGAIN: Kind = Kind {
    name: "a step seen again",
    way: "[[step.again]]",
    keys: &["from", "to", "rate", "stop", "speed", "caption"],
};

/// All of them.
pub const ALL: [&Kind; 12] =
    [&SCRIPT, &STEP, &MARK, &VIEW, &AGAIN, &VOICE, &STOP, &SPEED, &ZOOM, &CAPTION, &SECTION, &PLAY];

/// Bounds of a number, both allowed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    pub least: f64,
    pub most: f64,
    /// What is counted, for errors; empty for a mere number.
    pub unit: &'static str,
}

const fn bounds(least: f64, most: f64, unit: &'static str) -> Bounds {
    Bounds { least, most, unit }
}

/// From a whisper to what is louder than any platform plays \[practice\].
pub const LOUDNESS: Bounds = bounds(-36.0, -9.0, "LUFS");
/// A voice's start in the reel, or after its step's.
pub const SECONDS: Bounds = bounds(0.0, 3600.0, "seconds");
pub const RATE: Bounds = bounds(0.1, 4.0, "times the film's speed");
pub const HOLD: Bounds = bounds(0.1, 60.0, "seconds");
pub const FACTOR: Bounds = bounds(1.0, 6.0, "");
pub const EASE: Bounds = bounds(0.0, 10.0, "seconds");
pub const THICKNESS: Bounds = bounds(0.5, 3.0, "");
pub const FADE: Bounds = bounds(0.0, 5.0, "seconds");
/// A share of the picture's width or height.
pub const SHARE: Bounds = bounds(0.0, 1.0, "");
/// A width or height as a share: nothing smaller is seen.
pub const EXTENT: Bounds = bounds(0.005, 1.0, "");
/// How far a moment may lie from what it is counted from.
pub const OFFSET: f64 = 600.0;

/// Most letters of a label in the picture.
pub const LABEL: usize = 28;
/// Most letters of titles.
pub const TITLE: usize = 80;
/// Most letters of the words over the picture: two full lines.
pub const CAPTION_TEXT: usize = 140;
/// Most letters of small words on a card, and of names and phrases.
pub const LONG: usize = 400;
/// Most points of a mark.
pub const POINTS: usize = 60;
/// Most pictures of a step.
pub const VIEWS: usize = 4;
