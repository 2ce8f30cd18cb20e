//! Rows and plays joined: what of it goes into the library, and what a person is told.

use super::ingest::{CutDone, ToCheck};
use super::matching::TagSheet;
use super::play_facts::Reference;
use crate::base::Problem;
use crate::library::{CameraShot, MatchIn, PinFound, PlayShots};
use crate::sheet::{MatchSettings, Matching, Pair, Rival};

/// Rows and plays joined.
#[derive(Default)]
pub(super) struct Joined {
    /// By indices of the sheet's rows and the game's plays.
    pub matching: Matching,
    /// Pins whose row or play is not there, in words with the address.
    adrift: Vec<Problem>,
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
        let matching = sheet.join((&labels, &shots), reference, pins, settings);
        let adrift = pins.iter().filter_map(|pin| adrift(pin, sheet, &labels)).collect();
        Self { matching, adrift }
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
        problems.extend(self.adrift.iter().cloned());
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

/// A doubt with the pair's weight and the alternative: "...: tags.csv:14 is on play 17 by content, .83; play 18 would be
/// .15".
fn told(doubt: &str, pair: &Pair, sheet: &TagSheet, plays: &[PlayShots]) -> String {
    let (Some(row), Some(play)) = (sheet.rows.get(pair.row), plays.get(pair.play)) else { return doubt.to_string() };
    let (by, sure) = (pair.by.as_str(), weight(pair.confidence));
    let mut words = format!("{doubt}: {} is on play {} by {by}, {sure}", row.place, play.label);
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
