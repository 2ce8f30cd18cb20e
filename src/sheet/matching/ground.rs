//! The ground on which rows and plays are laid to one another: what speaks for each step, but for times.

use super::alignment::{Habit, Posterior, Steps};
use super::content::{Content, Ratios};
use super::facts::{Pin, PlayFacts, RowFacts};
use super::fit::{median, normal};
use super::line::Line;
use super::outcome::Rival;
use super::series::{Amiss, amiss};

/// What sheets and films are like, and how likely beforehand (natural logarithm): one that was kept with care, one of a
/// tired night (tenths missing, added, not found), one that tells of a part of the plays only (offense, one half). The
/// shares of the tired night are those that the aims name; the rest is our own estimate.
const HABITS: [(Habit, f64); 3] = [
    (Habit { row_alone: 0.012, play_alone: 0.015, play_alone_again: 0.2 }, -0.9),
    (Habit { row_alone: 0.085, play_alone: 0.13, play_alone_again: 0.14 }, -0.7),
    (Habit { row_alone: 0.05, play_alone: 0.05, play_alone_again: 0.92 }, -2.3),
];

/// What a row without a play is: one whose play was not found, or one too many.
const NOT_FOUND: f64 = 0.045;
const TOO_MANY: f64 = 0.05;
/// What a play without a row is: one whose row is missing, or a shot that is none.
const ROW_MISSING: f64 = 0.095;
const NO_PLAY: f64 = 0.05;
/// A shot without a snap is so much likelier none, and so much less likely one.
const WEAK: f64 = 4.0;
const WEAK_PAIR: f64 = 0.4;

/// Of plays that were not found so many are in the film all the same, between two that were.
const IN_THE_FILM: f64 = 0.5;
/// A gap speaks for a hidden play at most so much.
const HIDDEN_AT_MOST: f64 = 100.0;
/// Spread of the logarithm of the gap with a hidden play in it, beyond that of one without.
const HIDDEN_SPREAD: f64 = 0.2;

/// Twins are typed within this many seconds of one another: below any gap from snap to snap.
pub(super) const TWIN_SECONDS: f64 = 8.0;

/// A snap that was found badly, or a time typed in a hurry, keeps its row: spread of such errors in seconds at least,
/// in spreads of the others, and their share.
const TAIL_SPREAD: f64 = 4.0;
const TAIL_SPREADS: f64 = 2.0;
const TAIL_SHARE: f64 = 0.05;
/// A time that is off altogether: density in 1/s.
const SLIP: f64 = 2e-5;
/// Times beyond this many seconds are off altogether.
const REACH: f64 = 60.0;
/// A row before the first or after the last play lies within so many seconds of it, mean.
const OUTSIDE: f64 = 40.0;

/// Rows in the film's order and plays with all that speaks for their steps.
pub(super) struct Ground<'a> {
    pub rows: &'a [RowFacts],
    pub plays: &'a [PlayFacts],
    pub content: Option<Content>,
    ratios: Ratios,
    amiss: Vec<Amiss>,
    twin: Vec<bool>,
    /// For the place before each play (and after the last) how much the gap speaks for a hidden play.
    hidden: Vec<f64>,
    pins: Pins,
}

/// Pairs so sure, and so many of them, that cross a pin tell that its row stands in the wrong place of the sheet, or its
/// play of the film: it holds all the same, but orders nothing.
const CROSSES: f64 = 0.9;
const CROSSES_IT: usize = 2;

/// A person's word, as far as the order holds it.
struct Pins {
    /// Pins of a row to a play, by row; of two rows on one play the first stands.
    told: Vec<(usize, usize)>,
    /// For each row the play that it is held to in the order: pins that fit together without crossing.
    held: Vec<Option<usize>>,
    /// For each play whether it is pinned to a row or to none.
    play: Vec<bool>,
}

impl<'a> Ground<'a> {
    pub fn of(rows: &'a [RowFacts], plays: &'a [PlayFacts]) -> Self {
        let twin: Vec<bool> = (0..rows.len()).map(|i| is_twin(rows, i)).collect();
        let content = Content::of(rows, plays);
        let ratios = content.as_ref().map_or_else(|| Ratios::even(rows.len(), plays.len()), Content::ratios);
        let amiss = amiss(rows, &twin);
        Self { rows, plays, content, ratios, amiss, twin, hidden: hidden(plays), pins: Pins::of(rows, plays) }
    }

    /// Fits what the film shows to the pairs by their weights.
    pub fn learn(&mut self, posterior: &Posterior) {
        if let Some(content) = &mut self.content {
            content.refit(posterior);
            self.ratios = content.ratios();
        }
    }

    /// Lets the pins order the rows around them, as far as what the others come to without them does not speak against it.
    /// Whether there are any.
    pub fn hold_pins(&mut self, posterior: &Posterior) -> bool {
        self.pins.hold(self.rows, posterior, self.plays.len());
        self.pins.held.iter().any(Option::is_some)
    }

    fn is_twin(&self, row: usize) -> bool {
        self.twin.get(row).copied().unwrap_or(false)
    }

    /// Whether a row beside it says the same.
    pub fn is_doubled(&self, row: usize) -> bool {
        self.is_twin(row) || self.is_twin(row + 1)
    }

    /// Whether some row does not follow the one before it, or says the same.
    pub fn is_broken(&self) -> bool {
        self.amiss.iter().any(|amiss| amiss.missing_before > 1.0) || self.twin.contains(&true)
    }

    /// Pairs that a person made, also those that cross others.
    pub fn pinned(&self) -> &[(usize, usize)] {
        &self.pins.told
    }

    /// The steps, with times along a line and their spread where there is one.
    pub fn steps(&self, line: Option<(&Line, f64)>) -> Steps {
        let (rows, plays, wide) = (self.rows.len(), self.plays.len(), self.plays.len() + 1);
        let mut pair = self.ratios.pair.clone();
        let mut row_alone = vec![0.0; rows * wide];
        let mut row_again = vec![0.0; rows * wide];
        let mut play_alone = vec![0.0; (rows + 1) * plays];
        for (i, row) in self.rows.iter().enumerate() {
            for (j, play) in self.plays.iter().enumerate() {
                let at = &mut pair[i * plays + j];
                *at *= if play.weak { WEAK_PAIR } else { 1.0 };
                let free = row.pin == Pin::Free && !self.pins.play[j];
                if !(free || self.pins.held[i] == Some(j)) {
                    *at = 0.0;
                }
            }
            if self.pins.held[i].is_none() {
                let too_many = TOO_MANY * self.amiss[i].too_many;
                for (j, hidden) in self.hidden.iter().enumerate() {
                    let not_found = NOT_FOUND * (1.0 - IN_THE_FILM + IN_THE_FILM * hidden);
                    // A hidden play whose row is missing, too, is no row alone.
                    let alike = 1.0 + NOT_FOUND * IN_THE_FILM * 0.1 * hidden;
                    row_alone[i * wide + j] = (not_found + too_many) / (NOT_FOUND + TOO_MANY) / alike;
                    row_again[i * wide + j] = (NOT_FOUND + too_many) / (NOT_FOUND + TOO_MANY);
                }
            } else {
                // Held rows stand on their play: what else they might be must not outweigh it.
                pair[i * plays..(i + 1) * plays]
                    .iter_mut()
                    .for_each(|w| *w = w.min(1.0) + if *w > 0.0 { 1.0 } else { 0.0 });
            }
            if let (Some((line, spread)), Some(time)) = (line, row.time) {
                self.weigh_pairs(line, spread, time, &mut pair[i * plays..(i + 1) * plays]);
                let line_of = i * wide..(i + 1) * wide;
                self.weigh_alone(line, spread, time, &mut row_alone[line_of.clone()], &mut row_again[line_of]);
            }
        }
        let held: Vec<bool> = (0..plays).map(|j| self.pins.held.contains(&Some(j))).collect();
        let none = |play: &PlayFacts| NO_PLAY * if play.weak { WEAK } else { 1.0 };
        let play_weight = |j: usize, missing: f64| {
            let (other, none) =
                (ROW_MISSING * missing * self.ratios.other[j], none(&self.plays[j]) * self.ratios.none[j]);
            let weight = (other + none) / (ROW_MISSING + NO_PLAY);
            if held[j] { 0.0 } else { weight }
        };
        for i in 0..=rows {
            let missing = if i == 0 || i == rows { 1.0 } else { self.amiss[i].missing_before };
            for j in 0..plays {
                play_alone[i * plays + j] = play_weight(j, missing);
            }
        }
        let play_again = (0..plays).map(|j| play_weight(j, 1.0)).collect();
        Steps { rows, plays, pair, row_alone, row_again, play_alone, play_again }
    }

    /// Multiplies in how likely a row was typed at its time as each play's.
    fn weigh_pairs(&self, line: &Line, spread: f64, time: f64, pair: &mut [f64]) {
        for (weight, play) in pair.iter_mut().zip(self.plays) {
            *weight *= typed_density(time - line.at(play.time), spread, play.weak);
        }
    }

    /// The same for a row alone between two plays, before the first or after the last.
    fn weigh_alone(&self, line: &Line, spread: f64, time: f64, first: &mut [f64], again: &mut [f64]) {
        let off = |play: &PlayFacts| time - line.at(play.time);
        for (j, (first, again)) in first.iter_mut().zip(again).enumerate() {
            let after = j.checked_sub(1).and_then(|b| self.plays.get(b)).map(off);
            let before = self.plays.get(j).map(off);
            let density = match (after, before) {
                (Some(after), Some(before)) if after > -REACH && before < REACH => {
                    let width = (after - before).max(1.0);
                    (step(after / spread) - step(before / spread)).max(0.0) / width
                }
                (Some(after), None) if after > -REACH => {
                    step(after / spread) * (-after.max(0.0) / OUTSIDE).exp() / OUTSIDE
                }
                (None, Some(before)) if before < REACH => {
                    step(-before / spread) * (before.min(0.0) / OUTSIDE).exp() / OUTSIDE
                }
                _ => 0.0,
            };
            *first *= density + SLIP;
            *again *= density + SLIP;
        }
    }

    /// All ways together: every habit by its evidence. Also the weight of the one way that joins all in order.
    pub fn judge(&self, line: Option<(&Line, f64)>) -> Option<(Posterior, f64)> {
        let steps = self.steps(line);
        let all: Vec<(Posterior, f64)> =
            HABITS.iter().filter_map(|(habit, prior)| Some((steps.posterior(habit)?, *prior))).collect();
        let mixed = Posterior::mixed(all.iter().map(|(posterior, prior)| (posterior, *prior)))?;
        let identity: f64 =
            HABITS.iter().map(|(habit, prior)| (steps.identity(habit) + prior - mixed.evidence).exp()).sum();
        Some((mixed, identity))
    }

    /// The same under the habit of a tired night alone, for a first look.
    pub fn glance(&self, line: Option<(&Line, f64)>) -> Option<Posterior> {
        self.steps(line).posterior(&HABITS[1].0)
    }

    /// Weight of a row on a play; of rows that say the same it matters little which one it is.
    pub fn weight(&self, posterior: &Posterior, row: usize, play: usize) -> f64 {
        let at = |row: usize| posterior.pair.get(row * self.plays.len() + play).copied().unwrap_or(0.0);
        let above = if self.is_twin(row) { row.checked_sub(1).map_or(0.0, at) } else { 0.0 };
        let below = if self.is_twin(row + 1) { at(row + 1) } else { 0.0 };
        (at(row) + above + below).min(1.0)
    }

    /// The likeliest of what a row could have beside `chosen`.
    pub fn rival(&self, posterior: &Posterior, row: usize, chosen: Option<usize>) -> Option<Rival> {
        let others = (0..self.plays.len()).filter(|j| Some(*j) != chosen);
        let of = |play: usize| Rival { play: Some(play), weight: self.weight(posterior, row, play) };
        let alone = posterior.alone.get(row).copied().filter(|_| chosen.is_some() && !self.is_doubled(row));
        let alone = alone.map(|weight| Rival { play: None, weight });
        let best = others.map(of).chain(alone).max_by(|a, b| a.weight.total_cmp(&b.weight));
        best.filter(|rival| rival.weight >= 0.005)
    }
}

/// Density of a typed time, 1/s, so many seconds off the time that its play lets expect.
fn typed_density(off: f64, spread: f64, weak: bool) -> f64 {
    if off.abs() > REACH {
        return SLIP;
    }
    let tail = normal(off, TAIL_SPREAD.max(TAIL_SPREADS * spread));
    // Where the snap itself is a guess, the wide error is the ordinary one.
    SLIP + if weak { tail } else { near_density(off, spread) + TAIL_SHARE * tail }
}

/// The part of it that the thumb's ordinary spread has.
fn near_density(off: f64, spread: f64) -> f64 {
    (1.0 - TAIL_SHARE) * normal(off, spread)
}

/// How much a pair so many seconds off tells of the line: the share of its density that is not the wide tail's.
pub(super) fn near_share(off: f64, spread: f64) -> f64 {
    near_density(off, spread) / typed_density(off, spread, false)
}

/// The normal law's distribution, by a logistic curve: within .01 (Bowling and others 2009, from memory).
fn step(z: f64) -> f64 {
    1.0 / (1.0 + (-(0.07056 * z * z * z + 1.5976 * z)).exp())
}

/// Whether a row says the same as the one above it, at about the same time.
fn is_twin(rows: &[RowFacts], index: usize) -> bool {
    let Some(above) = index.checked_sub(1).and_then(|a| rows.get(a)) else { return false };
    rows.get(index).is_some_and(|row| {
        let near = row.time.zip(above.time).is_none_or(|(a, b)| (a - b).abs() <= TWIN_SECONDS);
        row.twin && near && row.pin == Pin::Free && above.pin == Pin::Free
    })
}

/// For each place between plays how much likelier its gap is with a hidden play in it than without.
fn hidden(plays: &[PlayFacts]) -> Vec<f64> {
    let mut told = vec![1.0; plays.len() + 1];
    let lengths = plays.iter().filter_map(|p| p.length).filter(|l| l.is_finite()).collect();
    let length = median(lengths).unwrap_or(7.0);
    // What a shot holds beside the play.
    let rest = |p: &PlayFacts| Some((p.gap? - p.length.unwrap_or(length)).max(0.5)).filter(|r| r.is_finite());
    let mut rests: Vec<f64> = plays.iter().filter_map(rest).map(f64::ln).collect();
    if rests.len() < 8 {
        return told;
    }
    rests.sort_by(f64::total_cmp);
    let at = |share: f64| rests[((rests.len() - 1) as f64 * share) as usize];
    let (middle, spread) = (at(0.5), ((at(0.75) - at(0.25)) / 1.349).clamp(0.15, 1.0));
    let with_hidden = (2.0 * middle.exp() + length).ln();
    // Without the factor that both have.
    let normal = |off: f64, spread: f64| (-0.5 * (off / spread).powi(2)).exp() / spread;
    for (j, play) in plays.iter().enumerate() {
        let Some(rest) = rest(play).map(f64::ln) else { continue };
        let without = 0.93 * normal(rest - middle, spread) + 0.07 * normal(rest - middle, 2.5 * spread);
        let with =
            0.9 * normal(rest - with_hidden, spread.hypot(HIDDEN_SPREAD)) + 0.1 * normal(rest - with_hidden, 1.0);
        told[j + 1] = (with / without.max(1e-9)).clamp(0.02, HIDDEN_AT_MOST);
    }
    told
}

impl Pins {
    fn of(rows: &[RowFacts], plays: &[PlayFacts]) -> Self {
        let play = plays.iter().map(|play| play.no_row).collect();
        let mut pins = Self { told: Vec::new(), held: vec![None; rows.len()], play };
        for (i, row) in rows.iter().enumerate() {
            if let Pin::Play(play) = row.pin
                && play < plays.len()
                && !std::mem::replace(&mut pins.play[play], true)
            {
                pins.told.push((i, play));
            }
        }
        pins
    }

    /// From what all rows but the pinned come to: which pins order the rows around them.
    fn hold(&mut self, rows: &[RowFacts], posterior: &Posterior, plays: usize) {
        let sure: Vec<(usize, usize)> = (0..rows.len())
            .filter(|row| rows[*row].pin == Pin::Free)
            .filter_map(|row| {
                let weights = posterior.pair.get(row * plays..(row + 1) * plays)?;
                Some((row, weights.iter().position(|weight| *weight >= CROSSES)?))
            })
            .collect();
        let crossed = |(row, play): (usize, usize)| {
            let crossing = sure.iter().filter(|(r, p)| (*r < row) != (*p < play));
            crossing.count() >= CROSSES_IT
        };
        let told: Vec<(usize, usize)> = self.told.iter().copied().filter(|pin| !crossed(*pin)).collect();
        // The most that fit together without crossing; the others hold all the same, but order nothing.
        let mut longest: Vec<(usize, Option<usize>)> = Vec::with_capacity(told.len());
        for (at, (_, play)) in told.iter().enumerate() {
            let before = (0..at).filter(|b| told[*b].1 < *play).max_by_key(|b| longest[*b].0);
            longest.push((before.map_or(1, |b| longest[b].0 + 1), before));
        }
        let mut at = (0..told.len()).max_by_key(|i| longest[*i].0);
        while let Some(here) = at {
            self.held[told[here].0] = Some(told[here].1);
            at = longest[here].1;
        }
    }
}
