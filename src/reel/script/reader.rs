//! The reader's desk: places, faults, and the script's outermost table.

use std::ops::Range;
use std::path::{Path, PathBuf};

use toml::de::DeTable;

use super::kinds::{self, Bounds};
use super::table::{self, Table};
use super::{At, Fault, Place, Script, SoundWay, Voice, VoiceStart, steps, syntax};
use crate::base::{Error, Result, count, shown};
use crate::paint::Design;
use crate::reel::Profile;

/// Keeps every fault, and knows where things stand.
pub struct Desk<'t> {
    text: &'t str,
    /// Offset of each line's first byte.
    lines: Vec<usize>,
    faults: Vec<Fault>,
}

impl<'t> Desk<'t> {
    pub fn new(text: &'t str) -> Self {
        let lines = std::iter::once(0).chain(text.match_indices('\n').map(|(at, _)| at + 1)).collect();
        Self { text, lines, faults: Vec::new() }
    }

    /// The place of a byte; past the end, the end's.
    pub fn place(&self, byte: usize) -> Place {
        let mut byte = byte.min(self.text.len());
        while !self.text.is_char_boundary(byte) {
            byte -= 1;
        }
        let line = self.lines.partition_point(|start| *start <= byte);
        let before = &self.text[self.lines[line - 1]..byte];
        // The mark of UTF-8 before a text is no sign that an editor counts, nor is a line's end.
        let column = before.chars().filter(|c| !matches!(c, '\u{feff}' | '\r')).count() + 1;
        Place { line, column }
    }

    /// The line of a byte, without its end.
    pub fn line(&self, byte: usize) -> &'t str {
        let line = self.place(byte).line;
        let end = self.lines.get(line).map_or(self.text.len(), |next| next - 1);
        self.text[self.lines[line - 1]..end].trim_end_matches('\r')
    }

    /// What stands between two bytes.
    pub fn between(&self, span: Range<usize>) -> &'t str {
        self.text.get(span).unwrap_or("")
    }

    /// A value and where it stands.
    pub fn at<T>(&self, value: T, span: Range<usize>) -> At<T> {
        At { value, place: self.place(span.start) }
    }

    /// Tells a fault.
    pub fn fault(&mut self, place: Place, what: impl Into<String>, next: impl Into<String>) {
        self.faults.push(Fault { place, what: shown(&what.into()), next: shown(&next.into()) });
    }

    /// The faults in the order of the text, as one error; `None` if there is none.
    pub fn error(mut self, file: &Path) -> Option<Error> {
        self.faults.sort_by_key(|fault| fault.place);
        self.faults.dedup();
        let error = || Fault::error(&self.faults, file, "", "mend them, then run the same command again");
        (!self.faults.is_empty()).then(error)
    }
}

/// Reads a whole script.
pub fn read(text: &str, file: &Path) -> Result<Script> {
    let mut desk = Desk::new(text);
    let (document, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        syntax::tell(&mut desk, &errors);
        return Err(desk.error(file).unwrap_or_else(|| unreadable(file)));
    }
    let table = Table::outermost(&mut desk, &kinds::SCRIPT, document.get_ref());
    let script = script(&mut desk, &table, file);
    match desk.error(file) {
        Some(error) => Err(error),
        None => Ok(script),
    }
}

fn unreadable(file: &Path) -> Error {
    Error::refused("cannot read the script", file.display(), "compare it with config/reel.example.toml of the sources")
}

fn script(desk: &mut Desk<'_>, table: &Table<'_>, file: &Path) -> Script {
    let mut steps = Vec::new();
    for step in table.each(desk, "step", &kinds::STEP) {
        let number = steps.len() + 1;
        steps.push(steps::step(desk, &step, number));
    }
    let none = |node: &table::Node<'_>| node.get_ref().as_array().is_some_and(|list| list.is_empty());
    if table.node("step").is_none_or(none) {
        let next =
            "begin one with a line [[step]], and name its play below: play = { game = \"Badgers\", label = \"5\" }";
        desk.fault(Place { line: 1, column: 1 }, "the script has no step", next);
    }
    let mut voice = Vec::new();
    for one in table.each(desk, "voice", &kinds::VOICE) {
        voice.extend(self::voice(desk, &one, steps.len()));
    }
    Script {
        file: file.to_path_buf(),
        title: table.text(desk, "title", kinds::TITLE),
        subtitle: table.text(desk, "subtitle", kinds::LONG),
        profile: table.word(desk, "profile", &Profile::ALL.map(|profile| (profile.as_str(), profile))),
        strip: strip(desk, table),
        sound: table.word(desk, "sound", &SoundWay::WORDS).map_or_else(SoundWay::default, |at| at.value),
        loudness: table.number(desk, "loudness", &kinds::LOUDNESS).unwrap_or(-16.0),
        voice,
        steps,
    }
}

/// The word of a design.
pub fn strip(desk: &mut Desk<'_>, table: &Table<'_>) -> Option<Design> {
    table.word(desk, "strip", &Design::ALL.map(|design| (design.word(), design))).map(|at| at.value)
}

fn voice(desk: &mut Desk<'_>, table: &Table<'_>, steps: usize) -> Option<Voice> {
    let file = table.text_at(desk, "file", kinds::LONG);
    if file.is_none() && !table.has("file") {
        desk.fault(table.place, "a voice names no file", "add file = \"talk.m4a\"");
    }
    let at = table.number(desk, "at", &kinds::SECONDS);
    let after = table.number(desk, "after", &kinds::SECONDS);
    let step = table.number_at(desk, "step", &Bounds { least: 1.0, most: 1e6, unit: "" });
    if let Some(place) = table.place_of("at").filter(|_| table.has("step")) {
        desk.fault(place, "a voice begins both at a second and with a step", "keep at, or step with after");
    }
    if let Some(place) = table.place_of("after").filter(|_| !table.has("step")) {
        let next = "add step = 1, or write at = 12.5 for a second of the reel";
        desk.fault(place, "after is counted from a step, and none is named", next);
    }
    let start = match step {
        None => VoiceStart::Reel(at.unwrap_or(0.0)),
        Some(step) => {
            let number = step.value as usize;
            if step.value.fract() != 0.0 {
                desk.fault(step.place, format!("a voice begins with step {}", step.value), "write a whole number");
            } else if number > steps && steps > 0 {
                let what = format!("a voice begins with step {number}, and the script has {}", count(steps, "step"));
                desk.fault(step.place, what, format!("write 1 to {steps}"));
            }
            VoiceStart::Step(At { value: number, place: step.place }, after.unwrap_or(0.0))
        }
    };
    file.map(|file| Voice { file: At { value: PathBuf::from(file.value), place: file.place }, start })
}
