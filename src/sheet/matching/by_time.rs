//! Joining by time: lines worth trying, the cheapest alignment along each, and how sure each pair is against all
//! others.

use super::alignment::{Alignment, Costs, Marginals};
use super::line::Line;
use super::votes::likely_lines;
use super::{By, MatchSettings, Matching, Pair, PlayTime, RowTime, RunnerUp, Unmatched};

/// Costs of the alignment, natural logarithms of odds; measured on made sheets of 80-play games with tenths of the rows
/// dropped, added and drifting.
const UNTIMED_PAIR: f64 = 2.0;
const SKIP_ROW: f64 = 5.8;
const SKIP_PLAY: f64 = 2.3;
/// A shot without a snap is as likely none as one.
const SKIP_WEAK_PLAY: f64 = 0.7;
/// A row that says the same as the one above, at the same time, is most likely typed twice.
const SKIP_TWIN: f64 = 1.0;
/// Twins are typed within this many seconds of one another: below any gap from snap to snap.
const TWIN_SECONDS: f64 = 8.0;

/// A snap that was found badly keeps its row: spread of such errors in seconds, and what they cost beyond.
const TAIL_SPREAD: f64 = 4.0;
const TAIL_COST: f64 = 1.6;

/// The typed times' spread: at first, and within what bounds the fit may move it.
const FIRST_SPREAD: f64 = 1.5;
const SPREADS: (f64, f64) = (0.35, 3.0);

/// Rounds of fitting each line; it has settled long before.
const ROUNDS: usize = 6;

/// Below this weight against all other ways a pair is in doubt; measured on made sheets (see the test that prints the
/// share of wrong pairs without doubt).
const SURE: f64 = 0.95;

/// A row without a time goes only where this much of the weight lies.
const PLACED: f64 = 0.6;

/// So many rows without a time on end are placed in doubt: a play missed and another row left out among them agree in
/// number and shift what lies between. On made games 15 such rows in 1000 are wrong alone, 40 in a run of two, 60 and
/// more in longer ones.
const UNTIMED_RUN: usize = 2;

/// A pair further from the line than so many spreads, and so many seconds, is in doubt: half of the rows that belong to
/// no play but found one lie beyond, and 6 in 1000 of the others (normal law).
const FAR_SPREADS: f64 = 2.75;
const FAR_SECONDS: f64 = 2.0;

/// Whether the sheet is of this film at all. On made games of 80 plays the times of another game scatter about their
/// best line by .14 to .34 of the gap between snaps, and another line comes within 17 nats; the game's own times scatter
/// by .03 to .09, and no other line comes within 75. Beyond the first bound alone, or the second with a rival so near
/// (nats for each pair, and at least), every pair is in doubt.
const SCATTER_OF_ANY_FILM: f64 = 0.2;
const SCATTER_OF_THIS: f64 = 0.12;
const RIVAL_WITHIN_PER_PAIR: f64 = 0.5;
const RIVAL_WITHIN: f64 = 12.0;

/// Lines whose offsets differ by more than this, seconds, are rivals and not one line fitted twice.
const RIVAL_SECONDS: f64 = 3.0;

/// One line followed to its end.
struct Candidate {
    line: Line,
    spread: f64,
    /// Unbounded spread of the residuals.
    scatter: f64,
    alignment: Alignment,
    /// Alignment and line together.
    cost: f64,
}

/// Joins a timed sheet. `plays` is not empty, at least one row has a time, all times are finite.
pub(super) fn match_by_time(rows: &[RowTime], plays: &[PlayTime], settings: &MatchSettings) -> Matching {
    let (order, sorted) = film_order(rows);
    let ordered: Vec<RowTime> = order.iter().filter_map(|i| rows.get(*i)).copied().collect();
    let typed: Vec<f64> = ordered.iter().filter_map(|r| r.time).collect();
    let votes: Vec<(f64, f64)> = plays.iter().map(|p| (p.time, if p.weak { 0.4 } else { 1.0 })).collect();
    let mut candidates: Vec<Candidate> = Vec::new();
    for line in likely_lines(&typed, &votes, settings.offset) {
        let candidate = follow(line, &ordered, plays, settings.offset);
        let same = |c: &Candidate| {
            let gone = (c.line.middle_offset - candidate.line.middle_offset).abs() < 0.5;
            gone && c.alignment.play_of == candidate.alignment.play_of
        };
        if !candidates.iter().any(same) {
            candidates.push(candidate);
        }
    }
    candidates.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    let Some((best, others)) = candidates.split_first() else {
        return Matching::default();
    };
    let mut all = costs(&best.line, best.spread, &ordered, plays).marginals();
    for other in others {
        let marginals = costs(&other.line, other.spread, &ordered, plays).marginals();
        let dearer = other.line.cost(settings.offset) - best.line.cost(settings.offset);
        all = all.or(&marginals, dearer);
    }
    let rival = |o: &&Candidate| (o.line.middle_offset - best.line.middle_offset).abs() > RIVAL_SECONDS;
    let runner_up = others.iter().find(rival).map(|o| (o, o.cost - best.cost));
    let joined = best.alignment.play_of.iter().flatten().count();
    let near = (RIVAL_WITHIN_PER_PAIR * joined as f64).max(RIVAL_WITHIN);
    let runner_up = runner_up.filter(|(_, worse_by)| *worse_by <= near);
    let judge = Judge { rows: &ordered, plays, best, runner_up, all };
    let (mut pairs, mut unmatched) = (Vec::new(), Vec::new());
    for (index, row) in order.iter().enumerate() {
        match judge.row(index) {
            Ok(pair) => pairs.push(Pair { row: *row, ..pair }),
            // Sorted by time, rows without one have lost their place.
            Err(_) if sorted && ordered.get(index).is_some_and(|r| r.time.is_none()) => unmatched.push(Unmatched {
                row: *row,
                why: "it has no time, and the sheet's rows do not stand in the film's order".to_string(),
            }),
            Err(why) => unmatched.push(Unmatched { row: *row, why }),
        }
    }
    unmatched.sort_by_key(|u| u.row);
    Matching {
        line: Some(best.line),
        spread: Some(best.spread),
        runner_up: runner_up.map(|(o, worse_by)| RunnerUp { line: o.line, worse_by }),
        ..Matching::of(pairs, unmatched, plays.len())
    }
}

/// The rows in the film's order, and whether that is not the sheet's own: a sheet that was sorted by another column has
/// times that go back again and again, one with a slip in a time goes back once or twice.
fn film_order(rows: &[RowTime]) -> (Vec<usize>, bool) {
    let mut order: Vec<usize> = (0..rows.len()).collect();
    let times: Vec<f64> = rows.iter().filter_map(|r| r.time).collect();
    // Rows typed twice may lie a moment back.
    let back = times.windows(2).filter(|w| w[1] < w[0] - TWIN_SECONDS).count();
    let sorted = back > 3 && back * 10 > times.len();
    if sorted {
        let time = |i: &usize| rows.get(*i).and_then(|r| r.time).unwrap_or(f64::INFINITY);
        order.sort_by(|a, b| time(a).total_cmp(&time(b)));
    }
    (order, sorted)
}

/// Fits the line to the rows it joins, and joins them anew, until it settles.
fn follow(mut line: Line, rows: &[RowTime], plays: &[PlayTime], given: Option<f64>) -> Candidate {
    let (mut spread, mut scatter) = (FIRST_SPREAD, FIRST_SPREAD);
    let mut alignment = costs(&line, spread, rows, plays).cheapest();
    for _ in 0..ROUNDS {
        let joined =
            alignment.play_of.iter().zip(rows).filter_map(|(play, row)| Some((plays.get((*play)?)?, row.time?)));
        let points: Vec<(f64, f64, f64)> =
            joined.map(|(play, time)| (play.time, time, if play.weak { 0.1 } else { 1.0 })).collect();
        let fitted = line.refit(&points, spread, given);
        let mut off: Vec<f64> = points.iter().map(|(film, typed, _)| (typed - fitted.at(*film)).abs()).collect();
        off.sort_by(f64::total_cmp);
        // Below four pairs the residuals tell nothing of the spread; 1.4826 makes a median a standard deviation.
        if off.len() >= 4 {
            scatter = 1.4826 * off[off.len() / 2];
            spread = scatter.clamp(SPREADS.0, SPREADS.1);
        }
        let settled = fitted == line;
        line = fitted;
        let next = costs(&line, spread, rows, plays).cheapest();
        let same = next.play_of == alignment.play_of;
        alignment = next;
        if settled && same {
            break;
        }
    }
    let cost = alignment.cost + line.cost(given);
    Candidate { line, spread, scatter, alignment, cost }
}

/// What each pair costs along a line.
fn costs(line: &Line, spread: f64, rows: &[RowTime], plays: &[PlayTime]) -> Costs {
    let expected: Vec<f64> = plays.iter().map(|p| line.at(p.time)).collect();
    // ln(sqrt(2 pi) s), the normal density's own factor.
    let (near, far) = ((2.5 * spread).ln(), (2.5 * TAIL_SPREAD).ln());
    let mut pair = Vec::with_capacity(rows.len() * plays.len());
    for row in rows {
        for (play, expected) in plays.iter().zip(&expected) {
            pair.push(match row.time {
                None => UNTIMED_PAIR,
                Some(time) => {
                    let off = time - expected;
                    let tail = 0.5 * (off / TAIL_SPREAD).powi(2) + far;
                    // Where the snap itself is a guess, the wide error is the ordinary one.
                    if play.weak { tail } else { (0.5 * (off / spread).powi(2) + near).min(tail + TAIL_COST) }
                }
            });
        }
    }
    let skip_row = (0..rows.len()).map(|i| if is_twin(rows, i) { SKIP_TWIN } else { SKIP_ROW }).collect();
    let skip_play = plays.iter().map(|p| if p.weak { SKIP_WEAK_PLAY } else { SKIP_PLAY }).collect();
    Costs { pair, skip_row, skip_play }
}

/// Whether a row says the same as the one above it, at about the same time.
fn is_twin(rows: &[RowTime], index: usize) -> bool {
    let Some(above) = index.checked_sub(1).and_then(|a| rows.get(a)) else { return false };
    rows.get(index).is_some_and(|row| {
        let near = row.time.zip(above.time).is_none_or(|(a, b)| (a - b).abs() <= TWIN_SECONDS);
        row.twin && near
    })
}

/// By how many plays another candidate joins most rows elsewhere; `None` where it joins most as the best does.
fn moved(best: &Candidate, other: &Candidate) -> Option<isize> {
    let both = best.alignment.play_of.iter().zip(&other.alignment.play_of);
    let mut shifts: Vec<isize> = both
        .filter_map(|(a, b)| a.zip(*b))
        .map(|(a, b)| isize::try_from(b).unwrap_or(0) - isize::try_from(a).unwrap_or(0))
        .collect();
    shifts.sort_unstable();
    shifts.get(shifts.len() / 2).copied().filter(|s| *s != 0)
}

/// What decides a row's fate.
struct Judge<'a> {
    rows: &'a [RowTime],
    plays: &'a [PlayTime],
    best: &'a Candidate,
    runner_up: Option<(&'a Candidate, f64)>,
    all: Marginals,
}

impl Judge<'_> {
    /// The pair of a row (its `row` still the place in film order), or why it has none.
    fn row(&self, index: usize) -> Result<Pair, String> {
        let row = self.rows.get(index).copied().unwrap_or_default();
        let Some(play) = self.best.alignment.play_of.get(index).copied().flatten() else {
            return Err(self.why_none(index, row));
        };
        let confidence = self.confidence(index, play);
        let Some((time, snap)) = row.time.zip(self.plays.get(play)) else {
            if confidence < PLACED {
                return Err("it has no time, and more than one place between its neighbors fits it".to_string());
            }
            let doubt = if confidence < SURE {
                Some("placed by its neighbors alone, and another place fits too".to_string())
            } else {
                let run = self.untimed_run(index);
                (run >= UNTIMED_RUN).then(|| format!("placed by order among {run} rows on end that have no time"))
            };
            return Ok(Pair { row: index, play, by: By::Order, confidence, residual: None, doubt });
        };
        let off = time - self.best.line.at(snap.time);
        let doubt = self.doubt(index, play, off, confidence);
        Ok(Pair { row: index, play, by: By::Time, confidence, residual: Some(off), doubt })
    }

    /// Weight of a pair among everything that the row could have had, over all lines.
    fn confidence(&self, index: usize, play: usize) -> f64 {
        let plays = self.plays.len();
        let Some(pair) = self.all.pair.get(index * plays..(index + 1) * plays) else { return 0.0 };
        let Some(own) = pair.get(play) else { return 0.0 };
        let without = self.all.without.get(index).copied().unwrap_or(f64::INFINITY);
        // Of two rows that say the same it matters little which one is left out.
        let doubled = is_twin(self.rows, index) || is_twin(self.rows, index + 1);
        let others: f64 = pair.iter().map(|c| (own - c).exp()).sum();
        1.0 / (others + if doubled { 0.0 } else { (own - without).exp() })
    }

    /// How many rows on end around this one have no time.
    fn untimed_run(&self, index: usize) -> usize {
        let (before, after) = self.rows.split_at(index.min(self.rows.len()));
        let untimed = |r: &&RowTime| r.time.is_none();
        before.iter().rev().take_while(untimed).count() + after.iter().take_while(untimed).count()
    }

    fn doubt(&self, index: usize, play: usize, off: f64, confidence: f64) -> Option<String> {
        let gap = median_gap(self.plays);
        let share = self.best.scatter / gap;
        if share > SCATTER_OF_ANY_FILM || (share > SCATTER_OF_THIS && self.runner_up.is_some()) {
            return Some(format!(
                "the sheet's times scatter by {:.1} s about the film's, with {gap:.0} s from snap to snap: is it this \
                 game's sheet?",
                self.best.scatter
            ));
        }
        if confidence < SURE {
            let elsewhere =
                self.runner_up.filter(|(o, _)| o.alignment.play_of.get(index).copied().flatten() != Some(play));
            return Some(match elsewhere.and_then(|(o, _)| moved(self.best, o).map(|by| (o, by))) {
                Some((other, by)) => format!(
                    "an offset of {:.1} s, {} {} {}, fits nearly as well as {:.1} s",
                    other.line.offset(),
                    by.unsigned_abs(),
                    if by.abs() == 1 { "play" } else { "plays" },
                    if by > 0 { "later" } else { "earlier" },
                    self.best.line.offset()
                ),
                None => "its time lies between plays, and another place fits nearly as well".to_string(),
            });
        }
        (off.abs() > FAR_SECONDS.max(FAR_SPREADS * self.best.spread)).then(|| {
            let side = if off > 0.0 { "after" } else { "before" };
            format!("typed {:.1} s {side} the time that the other rows let expect", off.abs())
        })
    }

    fn why_none(&self, index: usize, row: RowTime) -> String {
        if is_twin(self.rows, index) || is_twin(self.rows, index + 1) {
            return "typed twice: a row beside it says the same".to_string();
        }
        let Some(time) = row.time else {
            return "it has no time, and no play is free between its neighbors".to_string();
        };
        let off = self.plays.iter().map(|p| (time - self.best.line.at(p.time)).abs()).fold(f64::INFINITY, f64::min);
        if off > 2.0 * TAIL_SPREAD {
            format!("no play lies near its time; the nearest is {off:.0} s off")
        } else {
            "the play nearest its time fits another row better".to_string()
        }
    }
}

/// Median film time from one snap to the next.
fn median_gap(plays: &[PlayTime]) -> f64 {
    let mut gaps: Vec<f64> = plays.windows(2).map(|w| w[1].time - w[0].time).collect();
    gaps.sort_by(f64::total_cmp);
    gaps.get(gaps.len() / 2).copied().unwrap_or(f64::INFINITY)
}
