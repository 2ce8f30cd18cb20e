//! Joining a sheet without times: by what its rows tell and the film shows, in order.

use super::alignment::Posterior;
use super::by_order::{contradiction, match_by_order, none};
use super::facts::{Pin, PlayFacts, RowFacts};
use super::ground::Ground;
use super::outcome::{By, Matching, Pair, TYPED_TWICE, Unmatched};
use super::series::in_game_order;

/// Below this weight a pair is in doubt; fitted on made sheets kept apart from those that are measured on.
const SURE: f64 = 0.9985;
/// The same where the order alone joins: what is told of such sheets is that nothing is amiss.
const SURE_IN_ORDER: f64 = 0.95;
/// A row goes only where this much of the weight lies: a wrong tag is worse than none.
const PLACED: f64 = 0.3;
/// Rounds of fitting the film's habits to the pairs.
const ROUNDS: usize = 3;
/// Above this, where the downs run on without a break, nothing contradicts it. Lower, sheets in which a loss made up for
/// an addition pass: on made sheets of 20 plays of a tired night .98 lets 14 wrong rows of 146 through, .995 five of 135.
const CLEAN: f64 = 0.995;
/// Above this weight of the one way that joins all in order, the order is what joins.
const IN_ORDER: f64 = 0.5;

/// Joins a sheet without times. `plays` is not empty.
pub(super) fn match_by_content(rows: &[RowFacts], plays: &[PlayFacts]) -> Matching {
    let order = in_game_order(rows);
    let ordered: Vec<RowFacts> = order.iter().map(|row| rows[*row]).collect();
    let mut matching = match_ordered(&ordered, plays);
    matching.pairs.iter_mut().for_each(|pair| pair.row = order[pair.row]);
    matching.unmatched_rows.iter_mut().for_each(|row| row.row = order[row.row]);
    matching.unmatched_rows.sort_by_key(|row| row.row);
    matching
}

/// The same for rows that stand in the game's order.
fn match_ordered(rows: &[RowFacts], plays: &[PlayFacts]) -> Matching {
    let mut ground = Ground::of(rows, plays);
    let pinned = rows.iter().any(|row| row.pin != Pin::Free) || plays.iter().any(|play| play.no_row);
    if ground.content.is_none() && !pinned {
        return match_by_order(rows, plays);
    }
    if let Some(against) = contradiction(rows, true) {
        let matching = none(rows, plays, &against);
        return with_pins(matching, &ground);
    }
    for round in 0..ROUNDS {
        let Some((posterior, _)) = ground.judge(None) else { break };
        ground.learn(&posterior);
        if round == 0 {
            ground.hold_pins(&posterior);
        }
    }
    let Some((posterior, in_order)) = ground.judge(None) else {
        return with_pins(none(rows, plays, "the film and the sheet cannot be laid to one another"), &ground);
    };
    let play_of = posterior.most_right(plays.len());
    let by_order = in_order > IN_ORDER && play_of.iter().enumerate().all(|(row, play)| *play == Some(row));
    // A break in the downs may be a row that is missing, made up for elsewhere: it contradicts the order.
    let clean = by_order && !ground.is_broken() && in_order > CLEAN;
    let sure = if clean { SURE_IN_ORDER } else { SURE };
    let (mut pairs, mut unmatched) = (Vec::new(), Vec::new());
    for (row, play) in play_of.into_iter().enumerate() {
        if rows[row].pin != Pin::Free {
            continue;
        }
        let by = if by_order { By::Order } else { By::Content };
        match place(&ground, &posterior, row, play, sure) {
            Ok(pair) => pairs.push(Pair { by, ..pair }),
            Err(unmatchable) => unmatched.push(unmatchable),
        }
    }
    with_pins(Matching::of(pairs, unmatched, plays.len()), &ground)
}

/// Where a row without a time goes, or why nowhere.
fn place(
    ground: &Ground<'_>,
    posterior: &Posterior,
    row: usize,
    play: Option<usize>,
    sure: f64,
) -> Result<Pair, Unmatched> {
    let rival = ground.rival(posterior, row, play);
    let Some(play) = play else {
        if ground.is_doubled(row) {
            return Err(Unmatched::new(row, TYPED_TWICE));
        }
        return Err(Unmatched { rival, ..Unmatched::new(row, "no play of the film fits it in its place") });
    };
    let confidence = ground.weight(posterior, row, play);
    if confidence < PLACED {
        let rival = ground.rival(posterior, row, None);
        return Err(Unmatched { rival, ..Unmatched::new(row, "it has no time, and more than one place fits it") });
    }
    let doubt = (confidence < sure).then(|| "what the film shows fits another place, too".to_string());
    Ok(Pair { row, play, by: By::Content, confidence, residual: None, rival, doubt })
}

/// A matching with what a person said laid over it.
pub(super) fn with_pins(mut matching: Matching, ground: &Ground<'_>) -> Matching {
    let pinned = ground.pinned();
    let is_free = |row: usize| ground.rows.get(row).is_none_or(|r| r.pin == Pin::Free);
    let taken = |play: usize| pinned.iter().any(|(_, p)| *p == play);
    matching.pairs.retain(|pair| is_free(pair.row) && !taken(pair.play));
    matching.unmatched_rows.retain(|row| is_free(row.row));
    for (row, facts) in ground.rows.iter().enumerate() {
        let by_hand = pinned.iter().find(|(r, _)| *r == row);
        match (facts.pin, by_hand) {
            (_, Some((_, play))) => {
                let (play, by, confidence) = (*play, By::Hand, 1.0);
                matching.pairs.push(Pair { row, play, by, confidence, residual: None, rival: None, doubt: None });
            }
            (Pin::Nothing, None) => matching.unmatched_rows.push(Unmatched::new(row, "joined to none by hand")),
            (Pin::Play(_), None) => {
                let why = "joined by hand to a play that is not there any more, or that another row was joined to";
                matching.unmatched_rows.push(Unmatched::new(row, why));
            }
            (Pin::Free, None) => {}
        }
    }
    matching.pairs.sort_by_key(|pair| pair.row);
    matching.unmatched_rows.sort_by_key(|row| row.row);
    let Matching { pairs, unmatched_rows, line, spread, runner_up, .. } = matching;
    Matching { line, spread, runner_up, ..Matching::of(pairs, unmatched_rows, ground.plays.len()) }
}
