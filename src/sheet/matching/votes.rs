//! Lines worth trying: each pair of a typed time and a play votes for the offset at which they would meet.

use super::facts::MatchSettings;
use super::line::Line;

/// Offsets looked at, seconds to each side; drifts, to each side. Measured on made sheets: thumbs and recorders stay
/// within.
const OFFSETS: f64 = 92.0;
const DRIFTS: f64 = 0.006;

/// Width of a vote, seconds (a thumb's scatter), and of a bin.
const WIDTH: f64 = 1.5;
const BIN: f64 = 0.5;

/// Peaks that are followed: below the thirteenth none was ever right on made sheets.
const PEAKS: usize = 13;

/// Peaks nearer than this, seconds, lead to one line.
const APART: f64 = 3.0;

/// The likeliest lines by votes, the most voted first. `plays` and `typed` are not empty; a play's weight is its second
/// value. Where a person gave the offset at the film's start or the drift, only such lines.
pub(super) fn likely_lines(typed: &[f64], plays: &[(f64, f64)], settings: &MatchSettings) -> Vec<Line> {
    let given = settings.offset;
    let first = plays.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    let last = plays.iter().map(|p| p.0).fold(f64::NEG_INFINITY, f64::max);
    let middle = 0.5 * (first + last);
    // Between two drifts tried, the far ends of the film move by at most a second.
    let half = (0.5 * (last - first)).max(1.0);
    let steps = ((DRIFTS * half).ceil() as i32).clamp(1, 60);
    let mut peaks: Vec<(f64, Line)> = Vec::new();
    let drifts: Vec<f64> = match settings.drift {
        Some(given) => vec![given],
        None => (-steps..=steps).map(|step| DRIFTS * f64::from(step) / f64::from(steps)).collect(),
    };
    for drift in drifts {
        let centre = given.map_or(0.0, |g| g + drift * middle);
        let reach = if given.is_some() { 4.0 } else { OFFSETS };
        let votes = histogram(typed, plays, middle, drift, centre, reach);
        for (bin, vote) in votes.iter().enumerate() {
            let left = bin.checked_sub(1).and_then(|b| votes.get(b)).copied().unwrap_or(0.0);
            let right = votes.get(bin + 1).copied().unwrap_or(0.0);
            if *vote > 0.0 && *vote >= left && *vote > right {
                let middle_offset = centre - reach + (bin as f64 + 0.5) * BIN;
                peaks.push((*vote, Line { middle, middle_offset, drift }));
            }
        }
    }
    // Of equal votes the smaller drift, then the smaller offset.
    peaks.sort_by(|(a, x), (b, y)| {
        let by_drift = x.drift.abs().total_cmp(&y.drift.abs());
        b.total_cmp(a).then(by_drift).then(x.middle_offset.abs().total_cmp(&y.middle_offset.abs()))
    });
    let mut chosen: Vec<Line> = Vec::new();
    for (_, line) in peaks {
        if chosen.len() == PEAKS {
            break;
        }
        if chosen.iter().all(|c| (c.middle_offset - line.middle_offset).abs() >= APART) {
            chosen.push(line);
        }
    }
    if chosen.is_empty() {
        let middle_offset = given.unwrap_or(0.0);
        chosen.push(Line { middle, middle_offset, drift: settings.drift.unwrap_or(0.0) });
    }
    chosen
}

/// Smoothed votes for each offset within `reach` of `centre`.
fn histogram(typed: &[f64], plays: &[(f64, f64)], middle: f64, drift: f64, centre: f64, reach: f64) -> Vec<f64> {
    let bins = (2.0 * reach / BIN).ceil() as usize;
    let mut raw = vec![0.0; bins];
    for time in typed {
        for (film, weight) in plays {
            let offset = time - film - drift * (film - middle) - centre + reach;
            if offset >= 0.0
                && let Some(bin) = raw.get_mut((offset / BIN) as usize)
            {
                *bin += weight;
            }
        }
    }
    let side = (3.0 * WIDTH / BIN) as usize;
    let kernel: Vec<f64> = (0..=side).map(|k| (-0.5 * (k as f64 * BIN / WIDTH).powi(2)).exp()).collect();
    let smooth = |bin: usize| -> f64 {
        let from = bin.saturating_sub(side);
        raw.iter().enumerate().take(bin + side + 1).skip(from).map(|(b, v)| v * kernel[b.abs_diff(bin)]).sum()
    };
    (0..bins).map(smooth).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_true_offset_is_among_the_first() {
        let plays: Vec<(f64, f64)> =
            (0..40).map(|i| (f64::from(i * i % 37) * 3.0 + f64::from(i) * 60.0, 1.0)).collect();
        let truth = Line { middle: 1200.0, middle_offset: -47.0, drift: 0.004 };
        let typed: Vec<f64> = plays.iter().map(|p| truth.at(p.0)).collect();
        let lines = likely_lines(&typed, &plays, &MatchSettings::default());
        assert!(lines.len() <= PEAKS);
        assert!((lines[0].at(1200.0) - truth.at(1200.0)).abs() < 1.5, "{:?}", lines[0]);
        assert!((lines[0].drift - 0.004).abs() < 0.0015);
        let given = likely_lines(&typed, &plays, &MatchSettings { offset: Some(truth.offset()), drift: None });
        assert!(given.iter().all(|l| (l.offset() - truth.offset()).abs() <= 4.5), "{given:?}");
    }

    #[test]
    fn nothing_within_reach_still_gives_a_line() {
        assert_eq!(likely_lines(&[9000.0], &[(10.0, 1.0)], &MatchSettings::default()).len(), 1);
    }
}
