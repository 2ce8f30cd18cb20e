//! Joining by time: lines worth trying, all alignments along each, and how sure each pair is against all others.

use super::alignment::Posterior;
use super::by_content::with_pins;
use super::facts::{MatchSettings, Pin, PlayFacts, RowFacts};
use super::fit::median;
use super::ground::{Ground, TWIN_SECONDS, near_share};
use super::line::Line;
use super::outcome::{By, Matching, Pair, RunnerUp, TYPED_TWICE, Unmatched};
use super::votes::likely_lines;

/// The typed times' spread: at first, within what bounds the fit may move it, and how many rows the first is worth.
const FIRST_SPREAD: f64 = 1.5;
const SPREADS: (f64, f64) = (0.3, 5.0);
const SPREAD_WORTH: f64 = 3.0;

/// Rounds of fitting each line; it has settled long before.
const ROUNDS: usize = 4;

/// After the first round a line is followed on only if it comes within this of the best, natural logarithm of the odds.
const FOLLOWED: f64 = 40.0;

/// Below this weight against all other ways a pair is in doubt; fitted on made sheets kept apart from those that are
/// measured on.
const SURE: f64 = 0.988;

/// A row without a time goes only where this much of the weight lies, and one with a time where this much does.
const PLACED: f64 = 0.6;
const PLACED_BY_TIME: f64 = 0.3;

/// A pair further from the line than so many spreads, and so many seconds, is in doubt: half of the rows that belong to
/// no play but found one lie beyond, and 6 in 1000 of the others (normal law).
const FAR_SPREADS: f64 = 2.75;
const FAR_SECONDS: f64 = 2.0;

/// Rows that stand before one with a time so much earlier, in spreads and at least seconds, were changed over.
const SWAPPED_SPREADS: f64 = 4.0;
const SWAPPED_SECONDS: f64 = 4.0;

/// Whether the sheet is of this film at all. On made games of 80 plays the times of another game scatter about their
/// best line by .14 to .34 of the gap between snaps, and another line comes within 17 nats; the game's own times scatter
/// by .03 to .09 with a thumb's spread of 1 s. Beyond the first bound with a rival so near (nats for each pair, and at
/// least), or the second without any rival, every pair is in doubt.
const SCATTER_OF_THIS: f64 = 0.12;
const SCATTER_OF_ANY_FILM: f64 = 0.4;
const RIVAL_WITHIN_PER_PAIR: f64 = 0.5;
const RIVAL_WITHIN: f64 = 12.0;

/// Lines whose offsets differ by more than this, seconds, are rivals and not one line fitted twice.
const RIVAL_SECONDS: f64 = 3.0;

/// One line followed to its end.
struct Candidate {
    line: Line,
    spread: f64,
    posterior: Posterior,
    /// Of the line, natural logarithm.
    prior: f64,
}

impl Candidate {
    fn worth(&self) -> f64 {
        self.posterior.evidence + self.prior
    }
}

/// Joins a timed sheet. `plays` is not empty, at least one row has a time, all times are finite.
pub(super) fn match_by_time(rows: &[RowFacts], plays: &[PlayFacts], settings: &MatchSettings) -> Matching {
    let (mut order, sorted) = film_order(rows);
    let typed: Vec<f64> = rows.iter().filter_map(|r| r.time).collect();
    let votes: Vec<(f64, f64)> = plays.iter().map(|p| (p.time, if p.weak { 0.4 } else { 1.0 })).collect();
    let lines = likely_lines(&typed, &votes, settings);
    let mut ordered = in_order(rows, &order);
    let mut ground = Ground::of(&ordered, plays);
    let mut candidates = followed(&mut ground, &lines, settings);
    if let Some(best) = candidates.first()
        && swap_back(&mut order, rows, SWAPPED_SECONDS.max(SWAPPED_SPREADS * best.spread))
    {
        ordered = in_order(rows, &order);
        ground = Ground::of(&ordered, plays);
        candidates = followed(&mut ground, &lines_of(&candidates), settings);
    }
    if let Some(best) = candidates.first()
        && ground.hold_pins(&best.posterior)
    {
        candidates = followed(&mut ground, &lines_of(&candidates), settings);
    }
    let ground = ground;
    let Some((best, others)) = candidates.split_first() else {
        let why = "the film and the sheet cannot be laid to one another";
        return with_pins(super::by_order::none(rows, plays, why), &Ground::of(rows, plays));
    };
    let all = Posterior::mixed(candidates.iter().map(|c| (&c.posterior, c.prior)));
    let all = all.unwrap_or_else(|| best.posterior.clone());
    let rival = |o: &&Candidate| (o.line.middle_offset - best.line.middle_offset).abs() > RIVAL_SECONDS;
    let runner_up = others.iter().find(rival).map(|o| (o, best.worth() - o.worth()));
    let play_of = all.most_right(plays.len());
    let near = (RIVAL_WITHIN_PER_PAIR * play_of.iter().flatten().count() as f64).max(RIVAL_WITHIN);
    let runner_up = runner_up.filter(|(_, worse_by)| *worse_by <= near);
    let judge = Judge { scatter: scatter(&ground, &best.line, &play_of), ground: &ground, best, runner_up, all: &all };
    let (mut pairs, mut unmatched) = (Vec::new(), Vec::new());
    for (index, play) in play_of.iter().enumerate() {
        match judge.row(index, *play) {
            Ok(pair) => pairs.push(pair),
            // Sorted by time, rows without one have lost their place.
            Err(_) if sorted && ordered[index].time.is_none() => {
                let why = "it has no time, and the sheet's rows do not stand in the film's order";
                unmatched.push(Unmatched::new(index, why));
            }
            Err(none) => unmatched.push(none),
        }
    }
    let mut matching = with_pins(Matching::of(pairs, unmatched, plays.len()), &ground);
    // From the film's order back to the sheet's numbers.
    matching.pairs.iter_mut().for_each(|p| p.row = order[p.row]);
    matching.unmatched_rows.iter_mut().for_each(|u| u.row = order[u.row]);
    matching.unmatched_rows.sort_by_key(|u| u.row);
    Matching {
        line: Some(best.line),
        spread: Some(best.spread),
        runner_up: runner_up.map(|(o, worse_by)| RunnerUp { line: o.line, worse_by }),
        ..matching
    }
}

fn in_order(rows: &[RowFacts], order: &[usize]) -> Vec<RowFacts> {
    order.iter().filter_map(|i| rows.get(*i)).copied().collect()
}

/// The rows in the film's order, and whether that is not the sheet's own: a sheet that was sorted by another column has
/// times that go back again and again, one with a slip in a time goes back once or twice.
fn film_order(rows: &[RowFacts]) -> (Vec<usize>, bool) {
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

/// Changes neighbors over whose times say so by more than `by` seconds; whether there were any.
fn swap_back(order: &mut [usize], rows: &[RowFacts], by: f64) -> bool {
    let mut any = false;
    let mut at = 0;
    while at + 1 < order.len() {
        let time = |at: usize| order.get(at).and_then(|i| rows.get(*i)).and_then(|r| r.time);
        // A slip in one time lies before or after all its neighbors; a change of two does not.
        let fits = |before: Option<f64>, after: Option<f64>| before.zip(after).is_none_or(|(a, b)| a <= b + by);
        let (before, after) = (at.checked_sub(1).and_then(time), time(at + 2));
        if let (Some(one), Some(two)) = (time(at), time(at + 1))
            && one > two + by
            && fits(before, Some(two))
            && fits(Some(one), after)
        {
            order.swap(at, at + 1);
            any = true;
            at += 1;
        }
        at += 1;
    }
    any
}

fn lines_of(candidates: &[Candidate]) -> Vec<Line> {
    candidates.iter().map(|c| c.line).collect()
}

/// Every line followed to its end, the best first, none twice.
fn followed(ground: &mut Ground<'_>, lines: &[Line], settings: &MatchSettings) -> Vec<Candidate> {
    let mut begun: Vec<(Line, f64, Posterior, f64)> = lines
        .iter()
        .filter_map(|line| {
            let posterior = ground.glance(Some((line, FIRST_SPREAD)))?;
            let (next, spread) = refit(ground, line, FIRST_SPREAD, &posterior, settings);
            let posterior = ground.glance(Some((&next, spread)))?;
            let worth = posterior.evidence + line.prior(settings);
            Some((next, spread, posterior, worth))
        })
        .collect();
    begun.sort_by(|a, b| b.3.total_cmp(&a.3));
    let Some(most) = begun.first().map(|b| b.3) else { return Vec::new() };
    begun.retain(|b| most - b.3 <= FOLLOWED);
    if let Some((.., posterior, _)) = begun.first() {
        ground.learn(posterior);
    }
    let mut found: Vec<Candidate> = Vec::new();
    for (line, spread, ..) in begun {
        let Some(candidate) = follow(ground, line, spread, settings) else { continue };
        let twin = found.iter_mut().find(|c| {
            (c.line.middle_offset - candidate.line.middle_offset).abs() < 1.0
                && (c.line.drift - candidate.line.drift).abs() < 0.001
        });
        match twin {
            Some(twin) if candidate.worth() > twin.worth() => *twin = candidate,
            Some(_) => {}
            None => found.push(candidate),
        }
    }
    found.sort_by(|a, b| b.worth().total_cmp(&a.worth()));
    found
}

/// Fits the line to the rows it joins, and joins them anew, until it settles.
fn follow(ground: &Ground<'_>, mut line: Line, mut spread: f64, settings: &MatchSettings) -> Option<Candidate> {
    for _ in 0..ROUNDS {
        let posterior = ground.glance(Some((&line, spread)))?;
        let (next, next_spread) = refit(ground, &line, spread, &posterior, settings);
        let moved = (next.middle_offset - line.middle_offset).abs();
        let settled = moved < 0.02 && (next_spread - spread).abs() < 0.02 && (next.drift - line.drift).abs() < 2e-5;
        (line, spread) = (next, next_spread);
        if settled {
            break;
        }
    }
    let (posterior, _) = ground.judge(Some((&line, spread)))?;
    // A wide spread leaves more lines that fit as well: their number goes with its square.
    let prior = line.prior(settings) + 2.0 * spread.ln();
    Some(Candidate { line, spread, posterior, prior })
}

/// The line and spread anew, each pair by its weight; pairs in the wide tail tell nothing.
fn refit(
    ground: &Ground<'_>,
    line: &Line,
    spread: f64,
    posterior: &Posterior,
    settings: &MatchSettings,
) -> (Line, f64) {
    let plays = ground.plays.len();
    let mut points = Vec::new();
    for (i, row) in ground.rows.iter().enumerate() {
        let Some(time) = row.time else { continue };
        for (play, weight) in ground.plays.iter().zip(&posterior.pair[i * plays..(i + 1) * plays]) {
            if *weight < 0.02 {
                continue;
            }
            let off = time - line.at(play.time);
            let share = if play.weak { 0.1 } else { near_share(off, spread) };
            points.push((play.time, time, weight * share));
        }
    }
    let fitted = line.refit(&points, spread, settings);
    let total: f64 = points.iter().map(|p| p.2).sum();
    let squares: f64 = points.iter().map(|(film, typed, w)| w * (typed - fitted.at(*film)).powi(2)).sum();
    let variance = (squares + SPREAD_WORTH * FIRST_SPREAD.powi(2)) / (total + SPREAD_WORTH);
    (fitted, variance.sqrt().clamp(SPREADS.0, SPREADS.1))
}

/// Unbounded spread of the times about the line: the median residual as a standard deviation.
fn scatter(ground: &Ground<'_>, line: &Line, play_of: &[Option<usize>]) -> f64 {
    let joined =
        play_of.iter().zip(ground.rows).filter_map(|(play, row)| Some((ground.plays.get((*play)?)?, row.time?)));
    let off: Vec<f64> = joined.map(|(play, time)| (time - line.at(play.time)).abs()).collect();
    Some(off).filter(|off| off.len() >= 4).and_then(median).map_or(FIRST_SPREAD, |middle| 1.4826 * middle)
}

/// What decides a row's fate.
struct Judge<'a> {
    ground: &'a Ground<'a>,
    best: &'a Candidate,
    runner_up: Option<(&'a Candidate, f64)>,
    all: &'a Posterior,
    scatter: f64,
}

impl Judge<'_> {
    /// The pair of a row in the film's order, or why it has none.
    fn row(&self, index: usize, play: Option<usize>) -> Result<Pair, Unmatched> {
        let row = self.ground.rows[index];
        let rival = self.ground.rival(self.all, index, play);
        let Some(play) = play else {
            let rival = rival.filter(|_| !self.ground.is_doubled(index));
            return Err(Unmatched { rival, ..Unmatched::new(index, self.why_none(index, &row)) });
        };
        let confidence = self.ground.weight(self.all, index, play);
        let snap = &self.ground.plays[play];
        let pair = Pair { row: index, play, by: By::Order, confidence, residual: None, rival, doubt: None };
        let nowhere = |why: &str| {
            Err(Unmatched { rival: self.ground.rival(self.all, index, None), ..Unmatched::new(index, why) })
        };
        let Some(time) = row.time else {
            if confidence < PLACED && row.pin == Pin::Free {
                return nowhere("it has no time, and more than one place between its neighbors fits it");
            }
            let doubt = (confidence < SURE)
                .then(|| "placed by its neighbors and what the film shows, and another place fits too".to_string());
            return Ok(Pair { doubt, ..pair });
        };
        if confidence < PLACED_BY_TIME && row.pin == Pin::Free {
            return nowhere("its time lies between plays, and none of them fits it better than the others");
        }
        let off = time - self.best.line.at(snap.time);
        Ok(Pair { by: By::Time, residual: Some(off), doubt: self.doubt(off, &pair), ..pair })
    }

    fn doubt(&self, off: f64, pair: &Pair) -> Option<String> {
        let gap = median_gap(self.ground.plays);
        let share = self.scatter / gap;
        if share > SCATTER_OF_ANY_FILM || (share > SCATTER_OF_THIS && self.runner_up.is_some()) {
            return Some(format!(
                "the sheet's times scatter by {:.1} s about the film's, with {gap:.0} s from snap to snap: is it this \
                 game's sheet?",
                self.scatter
            ));
        }
        if off.abs() > FAR_SECONDS.max(FAR_SPREADS * self.best.spread) {
            let side = if off > 0.0 { "after" } else { "before" };
            return Some(format!("typed {:.1} s {side} the time that the other rows let expect", off.abs()));
        }
        if pair.confidence < SURE {
            let by = pair.rival.and_then(|r| r.play).map_or(0, |play| play as isize - pair.play as isize);
            let elsewhere = self.runner_up.filter(|(_, worse_by)| by != 0 && *worse_by < 8.0);
            return Some(match elsewhere {
                Some((other, _)) => format!(
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
        None
    }

    fn why_none(&self, index: usize, row: &RowFacts) -> String {
        if self.ground.is_doubled(index) {
            return TYPED_TWICE.to_string();
        }
        let Some(time) = row.time else {
            return "it has no time, and no play is free between its neighbors".to_string();
        };
        let off = |p: &PlayFacts| (time - self.best.line.at(p.time)).abs();
        let off = self.ground.plays.iter().map(off).fold(f64::INFINITY, f64::min);
        if off > 8.0 {
            format!("no play lies near its time; the nearest is {off:.0} s off")
        } else {
            "the play nearest its time fits another row better".to_string()
        }
    }
}

/// Median film time from one snap to the next.
fn median_gap(plays: &[PlayFacts]) -> f64 {
    median(plays.windows(2).map(|w| w[1].time - w[0].time).collect()).unwrap_or(f64::INFINITY)
}
