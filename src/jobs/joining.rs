//! Rows and plays joined: what of it goes into the library, and what a person is told.

use super::ingest::{CutDone, ToCheck};
use super::matching::TagSheet;
use super::play_facts::Reference;
use super::time_of_day::spoken;
use crate::base::Problem;
use crate::library::{CameraShot, MatchIn, PinFound, PlayShots};
use crate::sheet::{MatchSettings, Matching, Pair, Rival};

/// Rows and plays joined.
#[derive(Default)]
pub(super) struct Joined {
    /// By indices of the sheet's rows and the game's plays.
    pub matching: Matching,
    /// Pins whose row or play is not there; times that are no film times.
    notes: Vec<Problem>,
}

impl Joined {
    pub fn of(
        sheet: &TagSheet,
        plays: &[PlayShots],
        reference: &Reference,
        pins: &[PinFound],
        settings: &MatchSettings,
    ) -> Self {
        let shots: Vec<&[CameraShot]> = plays.iter().map(|p| p.shots.as_slice()).collect();
        let labels: Vec<&str> = plays.iter().map(|p| p.label.as_str()).collect();
        let (matching, ahead) = sheet.join((&labels, &shots), reference, pins, settings);
        let mut notes: Vec<Problem> = pins.iter().filter_map(|pin| adrift(pin, sheet, &labels)).collect();
        notes.extend(ahead.map(|ahead| {
            let (much, way) = (spoken(ahead), if ahead < 0.0 { "behind" } else { "ahead of" });
            let what = format!("the times are times of day; the watch runs {much} {way} the film's recording time");
            Problem::new(sheet.path.file_name().map_or("the tag sheet".into(), |name| name.to_string_lossy()), what)
        }));
        Self { matching, notes }
    }

    /// Its pairs as the library takes them.
    pub fn matches(&self, sheet: &TagSheet, plays: &[PlayShots]) -> Vec<MatchIn> {
        let of = |pair: &Pair| {
            Some(MatchIn {
                label: plays.get(pair.play)?.label.clone(),
                place: sheet.rows.get(pair.row)?.place.clone(),
                matched_by: pair.by.as_str().to_string(),
                doubt: pair.doubt.as_ref().map(|doubt| told(doubt, pair, sheet, plays)),
            })
        };
        self.matching.pairs.iter().filter_map(of).collect()
    }

    /// What is said of it: counts, the line of times, rows without a play.
    pub fn tell(&self, sheet: &TagSheet, plays: &[PlayShots], problems: &mut Vec<Problem>, done: &mut CutDone) {
        done.rows = sheet.rows.len();
        done.matched = self.matching.pairs.len();
        done.offset = self.matching.offset_seconds();
        done.drift = self.matching.drift();
        for unmatched in &self.matching.unmatched_rows {
            let place = sheet.rows.get(unmatched.row).map_or("", |row| &row.place);
            let mut what = format!("joined to no play: {}", unmatched.why);
            if let Some((label, weight)) = unmatched.rival.and_then(|rival| named(&rival, plays)) {
                what += &format!("; play {label} would be {weight}");
            }
            problems.push(Problem::new(place, what));
        }
        problems.extend(self.notes.iter().cloned());
    }
}

/// A pin that holds nothing now.
fn adrift(pin: &PinFound, sheet: &TagSheet, labels: &[&str]) -> Option<Problem> {
    let place = pin.place.as_deref().unwrap_or("the tag sheet");
    let row_is_there = pin.found && pin.place.as_ref().is_none_or(|p| sheet.rows.iter().any(|row| row.place == *p));
    let play_is_there = pin.label.as_ref().is_none_or(|label| labels.contains(&label.as_str()));
    match (&pin.label, row_is_there, play_is_there) {
        (Some(label), false, _) => {
            let what = format!("the row that was joined to play {label} by hand is not in the sheet any more");
            Some(Problem::new(place, what))
        }
        (Some(label), true, false) => {
            Some(Problem::new(place, format!("joined by hand to play {label}, which is not found any more")))
        }
        (None, false, _) => {
            Some(Problem::new(place, "the row that was joined to none by hand is not in the sheet any more"))
        }
        _ => None,
    }
}

/// A weight as people read it: `.83`.
fn weight(weight: f64) -> String {
    let text = format!("{:.2}", weight.clamp(0.0, 0.99));
    text.strip_prefix('0').unwrap_or(&text).to_string()
}

fn named<'a>(rival: &Rival, plays: &'a [PlayShots]) -> Option<(&'a str, String)> {
    let play = plays.get(rival.play?)?;
    Some((&play.label, weight(rival.weight)))
}

/// A doubt with the pair's weight and the alternative: "...; tags.csv:14 is on play 17 by content, .83; play 18 would be
/// .15".
fn told(doubt: &str, pair: &Pair, sheet: &TagSheet, plays: &[PlayShots]) -> String {
    let (Some(row), Some(play)) = (sheet.rows.get(pair.row), plays.get(pair.play)) else { return doubt.to_string() };
    let (by, sure) = (pair.by.as_str(), weight(pair.confidence));
    let mut words = format!("{doubt}; {} is on play {} by {by}, {sure}", row.place, play.label);
    match pair.rival {
        Some(rival) if rival.play.is_none() => words += &format!("; no play at all would be {}", weight(rival.weight)),
        Some(rival) => {
            if let Some((label, weight)) = named(&rival, plays) {
                words += &format!("; play {label} would be {weight}");
            }
        }
        None => {}
    }
    words
}

/// Every play with a doubt of its own, of a camera's shot, of its row, or without a row. Where the sheet leaves more
/// than two in five out (it is the offense's alone, or one half's), a play without a row is nothing to check.
pub(super) fn to_check(plays: &[PlayShots], joined: &Joined, sheet: Option<&TagSheet>) -> Vec<ToCheck> {
    let partial = joined.matching.unmatched_plays.len() * 5 > plays.len() * 2;
    let mut list = Vec::new();
    for (index, play) in plays.iter().enumerate() {
        let mut reasons: Vec<String> = play.doubt.iter().cloned().collect();
        for shot in &play.shots {
            reasons.extend(shot.doubt.as_ref().map(|doubt| format!("{}: {doubt}", shot.camera)));
        }
        match (joined.matching.pairs.iter().find(|pair| pair.play == index), sheet) {
            (Some(pair), Some(sheet)) => {
                let doubt = pair.doubt.as_ref().map(|doubt| told(doubt, pair, sheet, plays));
                reasons.extend(doubt.map(|doubt| format!("its row is in doubt: {doubt}")));
            }
            (None, Some(_)) if !partial || joined.matching.pairs.is_empty() => {
                reasons.push("no row of the sheet was joined to it".into());
            }
            _ => {}
        }
        if !reasons.is_empty() {
            list.push(ToCheck { label: play.label.clone(), why: reasons.join("; ") });
        }
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::{By, Row, Unmatched};

    fn sheet(rows: usize) -> TagSheet {
        let row =
            |n: usize| Row { place: format!("tags.csv:{}", n + 2), number: n as u32 + 2, tags: Default::default() };
        TagSheet { path: "tags.csv".into(), rows: (0..rows).map(row).collect(), problems: Vec::new() }
    }

    fn plays(count: usize) -> Vec<PlayShots> {
        (0..count).map(|n| PlayShots { label: format!("{}", n + 16), ..PlayShots::default() }).collect()
    }

    fn pair(row: usize, play: usize, confidence: f64, rival: Option<Rival>) -> Pair {
        let doubt = (confidence < 0.9).then(|| "its place is not sure".to_string());
        Pair { row, play, by: By::Content, confidence, residual: None, rival, doubt }
    }

    #[test]
    fn a_pair_in_doubt_is_told_with_its_weight_and_the_alternative() {
        let (sheet, plays) = (sheet(3), plays(3));
        let rival = Some(Rival { play: Some(2), weight: 0.15 });
        let pairs = vec![pair(0, 1, 0.83, rival), pair(1, 2, 0.6, Some(Rival { play: None, weight: 0.3 }))];
        let lost = Unmatched { row: 2, why: "no play fits".into(), rival: Some(Rival { play: Some(0), weight: 0.2 }) };
        let matching = Matching { pairs, unmatched_rows: vec![lost], unmatched_plays: vec![0], ..Matching::default() };
        let joined = Joined { matching, notes: Vec::new() };
        let told: Vec<String> =
            to_check(&plays, &joined, Some(&sheet)).into_iter().map(|c| format!("{}: {}", c.label, c.why)).collect();
        insta::assert_snapshot!(told.join("\n"), @r"
        16: no row of the sheet was joined to it
        17: its row is in doubt: its place is not sure; tags.csv:2 is on play 17 by content, .83; play 18 would be .15
        18: its row is in doubt: its place is not sure; tags.csv:3 is on play 18 by content, .60; no play at all would be .30
        ");
        let (mut problems, mut done) = (Vec::new(), CutDone::default());
        joined.tell(&sheet, &plays, &mut problems, &mut done);
        assert_eq!(problems[0].place, "tags.csv:4");
        assert_eq!(problems[0].what, "joined to no play: no play fits; play 16 would be .20");
        assert_eq!(joined.matches(&sheet, &plays)[0].matched_by, "content");
    }

    #[test]
    fn plays_without_a_row_are_no_fault_where_the_sheet_tells_of_a_part() {
        let (sheet, plays) = (sheet(4), plays(10));
        let pairs: Vec<Pair> = (0..4).map(|n| pair(n, n, 0.99, None)).collect();
        let matching = Matching { pairs, unmatched_plays: (4..10).collect(), ..Matching::default() };
        let joined = Joined { matching, notes: Vec::new() };
        assert!(to_check(&plays, &joined, Some(&sheet)).is_empty());
        assert_eq!(to_check(&plays, &Joined::default(), Some(&sheet)).len(), 10, "nothing was joined at all");
    }

    #[test]
    fn a_pin_that_holds_nothing_is_told() {
        let (sheet, plays) = (sheet(2), plays(2));
        let pin = |label: Option<&str>, place: Option<&str>, found| PinFound {
            label: label.map(String::from),
            place: place.map(String::from),
            found,
        };
        let pins = [
            pin(Some("16"), Some("tags.csv:9"), false),
            pin(Some("99"), Some("tags.csv:2"), true),
            pin(Some("17"), None, true),
        ];
        let joined = Joined::of(&sheet, &plays, &Reference::default(), &pins, &MatchSettings::default());
        assert_eq!(joined.notes.len(), 2);
        assert!(joined.notes[0].what.contains("not in the sheet any more"));
        assert!(joined.notes[1].what.contains("play 99, which is not found"));
    }
}
