//! CMX3600 edit decision list: which frames of which source stand where in the reel.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

use super::entry::{Entry, Listing, Source, one_line};
use super::timecode::Timecode;
use crate::base::{Error, Rate, Result};
use crate::film::REEL_MARK;

/// Three digits number an event.
const MOST_EVENTS: usize = 999;

/// Longest title that readers keep [practice].
const LONGEST_TITLE: usize = 70;

/// Signs of a reel's name.
const NAME: usize = 8;

/// The picture's cuts of a reel, one event each. Record times begin at 0, as the reel does. All times are counted at the
/// reel's rate, as one list has but one; at 29.97 and 59.94 in drop-frame. What is drawn is black (`BL`).
///
/// # Errors
/// Those of [`check`].
pub fn edl(listing: &Listing) -> Result<String> {
    let code = check(listing.rate, listing.entries.len())?;
    let title: String = one_line(&listing.title).chars().take(LONGEST_TITLE).collect();
    let mode = if code.drops() { "DROP FRAME" } else { "NON-DROP FRAME" };
    let mut out = format!("TITLE: {}\nFCM: {mode}\n", title.trim_end());
    let names = names(&listing.entries);
    for (index, entry) in listing.entries.iter().enumerate() {
        let source = entry.source.as_ref();
        let name = source.and_then(|s| names.get(s.file.as_str())).map_or("BL", String::as_str);
        let start = source.map_or(0, |s| at_reel_rate(s, listing.rate));
        let _ = writeln!(
            out,
            "\n{:03}  {name:<8} V     C        {} {} {} {}",
            index + 1,
            code.label(start),
            code.label(start + entry.frames.len()),
            code.label(entry.frames.start.0),
            code.label(entry.frames.end.0),
        );
        let _ = writeln!(out, "* FROM CLIP NAME: {}", one_line(&entry.title));
        if let Some(source) = source {
            let _ = writeln!(out, "* SOURCE FILE: {}", one_line(&source.file));
        }
        if index == 0 {
            // Behind an event: readers expect none before the first. By it an own list is known.
            let _ = writeln!(out, "* {REEL_MARK}");
        }
    }
    Ok(out)
}

/// Whether a list of that many events at that rate can be written, and how its frames are labeled.
///
/// # Errors
/// More than 999 events; a rate whose frames two digits do not count.
pub fn check(rate: Rate, events: usize) -> Result<Timecode> {
    if events > MOST_EVENTS {
        let what = format!("cannot write an EDL of {events} events: a CMX3600 list numbers {MOST_EVENTS} at most");
        return Err(Error::refused(what, "", "leave edl out of --sidecar, or ask for fewer plays"));
    }
    Timecode::of(rate).ok_or_else(|| {
        let what = format!("cannot write an EDL: time codes do not count {rate} frames a second");
        Error::refused(what, "", "leave edl out of --sidecar")
    })
}

/// The source's first frame, counted at the reel's rate.
fn at_reel_rate(source: &Source, rate: Rate) -> u64 {
    if source.rate == rate {
        return source.start;
    }
    (source.start as f64 / source.rate.hz() * rate.hz()).round() as u64
}

/// A name of eight capital letters and digits for every source: game, camera and play (`BADS0047`) where that is its
/// own, else numbered (`R0000002`).
fn names(entries: &[Entry]) -> BTreeMap<&str, String> {
    let mut names: BTreeMap<&str, String> = BTreeMap::new();
    let mut taken: BTreeSet<String> = BTreeSet::new();
    for entry in entries {
        let Some(source) = &entry.source else { continue };
        if names.contains_key(source.file.as_str()) {
            continue;
        }
        let telling = format!("{}{}{:0>4}", plain(&entry.game, 3), plain(&entry.angle, 1), plain(&entry.label, 4));
        let mut name = telling;
        let mut number = names.len() + 1;
        while name.len() != NAME || taken.contains(&name) {
            name = format!("R{number:07}");
            number += 1;
        }
        taken.insert(name.clone());
        names.insert(&source.file, name);
    }
    names
}

/// The first letters and digits, as capitals.
fn plain(text: &str, most: usize) -> String {
    text.chars().filter(char::is_ascii_alphanumeric).take(most).collect::<String>().to_uppercase()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::FrameSpan;
    use crate::reel::sidecar::entry::tests::listing;

    #[test]
    fn a_list_of_events_in_drop_frame() {
        // The last source runs at 60: its frame 600 is second 10, which at 29.97 is frame 300, rounded from 299.7.
        insta::assert_snapshot!(edl(&listing()).unwrap(), @r#"
        TITLE: third and <short> --> "one-high"
        FCM: DROP FRAME

        001  BADS0047 V     C        00:00:00;12 00:01:00;14 00:00:00;00 00:01:00;02
        * FROM CLIP NAME: 3 and 2, play 47, sideline
        * SOURCE FILE: clips/Badgers/sideline/047.mp4
        * reel by downbox

        002  BL       V     C        00:00:00;00 00:00:01;15 00:01:00;02 00:01:01;17
        * FROM CLIP NAME: 2 & <more>

        003  OTTE009A V     C        00:00:10;00 00:00:15;05 00:01:01;17 00:01:06;22
        * FROM CLIP NAME: play 9a, end-zone
        * SOURCE FILE: tight, 2.mp4
        "#);
    }

    #[test]
    fn names_are_one_a_source() {
        let entry = |game: &str, angle: &str, label: &str, file: &str| Entry {
            game: game.into(),
            angle: angle.into(),
            label: label.into(),
            frames: FrameSpan::of(0, 1),
            source: Some(Source { file: file.into(), start: 0, rate: Rate { num: 30, den: 1 } }),
            ..Entry::default()
        };
        let entries = [
            entry("Badgers", "sideline", "47", "a.mp4"),
            entry("Badgers", "sideline", "47", "b.mp4"),
            entry("Badgers", "sideline", "48", "a.mp4"),
            entry("ß", "", "1", "c.mp4"),
            entry("Bad", "s", "12345", "d.mp4"),
        ];
        let names = names(&entries);
        let names: Vec<(&str, &str)> = names.iter().map(|(file, name)| (*file, name.as_str())).collect();
        assert_eq!(names, [("a.mp4", "BADS0047"), ("b.mp4", "R0000002"), ("c.mp4", "R0000003"), ("d.mp4", "BADS1234")]);
    }

    #[test]
    fn what_a_list_cannot_hold_is_refused() {
        let ntsc = Rate { num: 30_000, den: 1001 };
        assert!(check(ntsc, 999).is_ok() && check(ntsc, 1000).is_err());
        let error = check(Rate { num: 120, den: 1 }, 1).unwrap_err();
        assert!(error.to_string().contains("120/1") && error.next.contains("leave edl out"), "{error}");
    }
}
