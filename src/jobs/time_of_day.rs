//! Sheets whose times are times of day, typed live by a watch, against the time at which the film was recorded.

use crate::film::Film;
use crate::sheet::{PlayFacts, RowFacts};

/// A day, seconds.
const DAY: f64 = 86_400.0;

/// Times so far beyond the film's end, seconds, are no film times: no sheet's offset comes near (measured on made sheets:
/// thumbs and recorders stay within 92 s).
const BEYOND: f64 = 1800.0;

/// Width of a vote for the difference between watch and recorder, seconds.
const BIN: f64 = 4.0;

/// Plays and rows on one clock.
pub(super) struct OnOneClock {
    /// Rows with their times as film times, laid end to end with the pauses between recordings.
    pub rows: Vec<RowFacts>,
    /// Plays on the same clock.
    pub plays: Vec<PlayFacts>,
    /// The watch less the recorder's clock (as universal time), seconds.
    pub ahead: f64,
}

/// Lays a sheet whose times are times of day to the recording times of the film's parts; `None` where its times are film
/// times, are too few, or a part does not say when it was recorded.
///
/// A recorder's clock stands in whatever zone somebody set, and is wrong by minutes: only the difference that most rows
/// and plays agree on tells it.
pub(super) fn on_one_clock(rows: &[RowFacts], plays: &[PlayFacts], film: &Film) -> Option<OnOneClock> {
    let mut typed: Vec<f64> = rows.iter().filter_map(|row| row.time).collect();
    typed.sort_by(f64::total_cmp);
    let middle = *typed.get(typed.len() / 2)?;
    let in_a_day = typed.first().is_some_and(|t| *t >= 0.0) && typed.last().is_some_and(|t| *t < DAY);
    if typed.len() < 3 || !in_a_day || middle < film.seconds() + BEYOND {
        return None;
    }
    let recorded: Vec<i64> = film.parts.iter().map(|part| part.recorded).collect::<Option<_>>()?;
    let begin = *recorded.first()?;
    // Film time to seconds since the recording began.
    let since = |time: f64| {
        let place = film.place(film.frame_at(time));
        let before: f64 = film.parts.iter().take(place.part).map(|part| part.seconds()).sum();
        let from = recorded.get(place.part).map_or(0.0, |at| (at - begin) as f64);
        from + time - before
    };
    let plays: Vec<PlayFacts> = plays.iter().map(|play| PlayFacts { time: since(play.time), ..*play }).collect();
    // A game may run past midnight.
    let mut last: Option<f64> = None;
    let mut days = 0.0;
    let mut rows = rows.to_vec();
    for time in rows.iter_mut().filter_map(|row| row.time.as_mut()) {
        if last.is_some_and(|last| *time < last - DAY / 2.0) {
            days += DAY;
        }
        last = Some(*time);
        *time += days;
    }
    let mut votes: std::collections::BTreeMap<i64, usize> = std::collections::BTreeMap::new();
    for time in rows.iter().filter_map(|row| row.time) {
        for play in &plays {
            *votes.entry(((time - play.time) / BIN).floor() as i64).or_default() += 1;
        }
    }
    let at = |bin: i64| votes.get(&bin).copied().unwrap_or(0);
    // Of equal bins the earliest, so that the answer is always the same.
    let best = votes.keys().copied().max_by_key(|bin| (at(bin - 1) + 2 * at(*bin) + at(bin + 1), -bin))?;
    let shift = (best as f64 + 0.5) * BIN;
    rows.iter_mut().filter_map(|row| row.time.as_mut()).for_each(|time| *time -= shift);
    let ahead = shift - (begin as f64).rem_euclid(DAY);
    let ahead = (ahead + DAY / 2.0).rem_euclid(DAY) - DAY / 2.0;
    Some(OnOneClock { rows, plays, ahead })
}

/// Seconds as hours, minutes and seconds: "4 h 2 min 10 s".
pub(super) fn spoken(seconds: f64) -> String {
    let whole = seconds.abs().round() as i64;
    let parts = [(whole / 3600, "h"), (whole / 60 % 60, "min"), (whole % 60, "s")];
    let told: Vec<String> = parts.iter().filter(|(n, _)| *n > 0).map(|(n, unit)| format!("{n} {unit}")).collect();
    if told.is_empty() { "0 s".into() } else { told.join(" ") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::{FrameNo, Rate};
    use crate::film::{Part, scripted};
    use crate::sheet::{MatchSettings, match_rows};

    /// Ten files of twelve seconds, recorded at uneven times from 19:05:00 universal time on.
    fn film() -> Film {
        let starts = [0, 31, 75, 98, 160, 190, 260, 285, 330, 371];
        let midnight = 1_789_153_500 - 1_789_153_500 % 86_400;
        let part = |from: &i64| Part {
            recorded: Some(midnight + 19 * 3600 + 300 + from),
            ..scripted::part("a.mp4", 360, Rate { num: 30, den: 1 })
        };
        Film { parts: starts.iter().map(part).collect(), problems: Vec::new() }
    }

    #[test]
    fn times_by_a_watch_in_another_zone_and_past_midnight_join() {
        let film = film();
        let play = |n: u64| PlayFacts { time: film.time(FrameNo(n * 360)) + 4.0, ..PlayFacts::default() };
        let plays: Vec<PlayFacts> = (0..10).map(play).collect();
        let starts = [0.0, 31.0, 75.0, 98.0, 160.0, 190.0, 260.0, 285.0, 330.0, 371.0];
        // 19:05 of the recorder is 23:56 by the one watch and 15:04 by the other; each row is typed a moment late.
        for watch in [23.0 * 3600.0 + 56.0 * 60.0, 15.0 * 3600.0 + 4.0 * 60.0] {
            let mut rows: Vec<RowFacts> = starts
                .iter()
                .map(|s| RowFacts { time: Some((watch + s + 5.0f64).rem_euclid(86_400.0)), ..RowFacts::default() })
                .collect();
            rows.remove(3);
            let one = on_one_clock(&rows, &plays, &film).unwrap();
            let matching = match_rows(&one.rows, &one.plays, &MatchSettings::default());
            let joined: Vec<usize> = matching.pairs.iter().map(|p| p.play).collect();
            assert_eq!(joined, [0, 1, 2, 4, 5, 6, 7, 8, 9]);
            assert!((one.ahead - (watch - 19.0 * 3600.0 - 300.0)).abs() < 8.0, "{}", one.ahead);
        }
        let film_times: Vec<RowFacts> =
            plays.iter().map(|p| RowFacts { time: Some(p.time + 30.0), ..RowFacts::default() }).collect();
        assert!(on_one_clock(&film_times, &plays, &film).is_none());
        assert_eq!(spoken(-14_530.0), "4 h 2 min 10 s");
    }
}
