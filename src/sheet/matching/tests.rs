use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::*;

fn plays(times: &[f64]) -> Vec<PlayTime> {
    times.iter().map(|t| PlayTime { time: *t, weak: false }).collect()
}

fn typed(times: &[f64]) -> Vec<RowTime> {
    times.iter().map(|t| RowTime { time: Some(*t), ..RowTime::default() }).collect()
}

fn show(matching: &Matching) -> String {
    let pair = |p: &Pair| {
        format!("{}-{} by {}{}", p.row, p.play, p.by.as_str(), p.doubt.as_ref().map(|d| format!(" ({d})")).unwrap_or_default())
    };
    let mut lines: Vec<String> = matching.pairs.iter().map(pair).collect();
    lines.extend(matching.unmatched_rows.iter().map(|u| format!("{} without: {}", u.row, u.why)));
    if !matching.unmatched_plays.is_empty() {
        lines.push(format!("plays without: {:?}", matching.unmatched_plays));
    }
    lines.join("\n")
}

/// A made game: faults of a tired night, and which play each row truly belongs to.
struct Game {
    rows: Vec<RowTime>,
    plays: Vec<PlayTime>,
    /// For each row the index of its play as found, if it was found.
    truth: Vec<Option<usize>>,
}

struct Faults {
    plays: usize,
    /// Seconds from snap to snap, least and most.
    gap: (f64, f64),
    rows_dropped: f64,
    rows_added: f64,
    plays_missed: f64,
    plays_false: f64,
    /// Standard deviation of the thumb, seconds.
    jitter: f64,
    offset: f64,
    drift: f64,
    /// Share of rows without a time.
    untimed: f64,
}

const TIRED: Faults = Faults {
    plays: 80,
    gap: (10.0, 40.0),
    rows_dropped: 0.10,
    rows_added: 0.05,
    plays_missed: 0.05,
    plays_false: 0.05,
    jitter: 1.0,
    offset: 60.0,
    drift: 0.005,
    untimed: 0.0,
};

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    let (a, b): (f64, f64) = (rng.random_range(f64::EPSILON..1.0), rng.random());
    (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
}

fn made(seed: u64, faults: &Faults) -> Game {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let offset = rng.random_range(-faults.offset..=faults.offset);
    let drift = rng.random_range(-faults.drift..=faults.drift);
    let mut at = 20.0;
    let (mut rows, mut found) = (Vec::new(), Vec::new());
    for play in 0..faults.plays {
        at += rng.random_range(faults.gap.0..faults.gap.1);
        if rng.random::<f64>() >= faults.plays_missed {
            found.push((at + 0.1 * normal(&mut rng), Some(play)));
        }
        if rng.random::<f64>() >= faults.rows_dropped {
            let time = offset + at * (1.0 + drift) + faults.jitter * normal(&mut rng);
            rows.push((time, rng.random::<f64>() >= faults.untimed, Some(play)));
        }
        if rng.random::<f64>() < faults.plays_false {
            found.push((at + rng.random_range(4.0..faults.gap.0.max(4.5)), None));
        }
        if rng.random::<f64>() < faults.rows_added {
            rows.push((offset + at * (1.0 + drift) + rng.random_range(2.0..faults.gap.0), true, None));
        }
    }
    // Found plays lie in the film's order; a thumb's rows in the sheet's.
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let truth = rows.iter().map(|(_, _, play)| play.and_then(|p| found.iter().position(|f| f.1 == Some(p)))).collect();
    Game {
        rows: rows.iter().map(|(t, timed, _)| RowTime { time: timed.then_some(*t), ..RowTime::default() }).collect(),
        plays: plays(&found.iter().map(|f| f.0).collect::<Vec<_>>()),
        truth,
    }
}

/// Shares over many games: rows right, of all pairs wrong without doubt, pairs in doubt.
struct Score {
    right: f64,
    wrong_unmarked: f64,
    doubted: f64,
}

fn score(name: &str, seeds: std::ops::Range<u64>, faults: &Faults) -> Score {
    let (mut rows, mut right, mut pairs, mut wrong, mut doubted) = (0usize, 0usize, 0usize, 0usize, 0usize);
    for seed in seeds {
        let game = made(seed, faults);
        let matching = match_rows(&game.rows, &game.plays, &MatchSettings::default());
        for (row, truth) in game.truth.iter().enumerate() {
            let pair = matching.of_row(row);
            rows += 1;
            right += usize::from(pair.map(|p| p.play) == *truth);
            pairs += usize::from(pair.is_some());
            doubted += usize::from(pair.is_some_and(|p| p.doubt.is_some()));
            wrong += usize::from(pair.is_some_and(|p| p.doubt.is_none() && Some(p.play) != *truth));
        }
    }
    let share = |n: usize, of: usize| n as f64 / of.max(1) as f64;
    let score = Score { right: share(right, rows), wrong_unmarked: share(wrong, pairs), doubted: share(doubted, pairs) };
    println!(
        "{name}: {rows} rows, right {:.4}, wrong without doubt {:.4} ({wrong}), in doubt {:.4}",
        score.right, score.wrong_unmarked, score.doubted
    );
    score
}

#[test]
fn made_games_with_a_tired_nights_faults() {
    let tired = score("tired night", 0..40, &TIRED);
    assert!(tired.right >= 0.98 && tired.wrong_unmarked <= 0.003 && tired.doubted < 0.06);
    let cut = score("cut film", 0..40, &Faults { gap: (9.0, 22.0), ..TIRED });
    assert!(cut.right >= 0.97 && cut.wrong_unmarked <= 0.004 && cut.doubted < 0.10);
    let slow = score("slow thumb", 0..40, &Faults { jitter: 2.0, ..TIRED });
    assert!(slow.right >= 0.95 && slow.wrong_unmarked <= 0.006);
    let short = score("20 plays of cut film, 2.5 s", 0..60, &Faults { plays: 20, gap: (9.0, 22.0), jitter: 2.5, ..TIRED });
    assert!(short.wrong_unmarked <= 0.02);
    let untimed = score("a fifth untimed", 0..40, &Faults { untimed: 0.2, ..TIRED });
    assert!(untimed.wrong_unmarked <= 0.01);
    let clean = score(
        "nothing lost",
        0..20,
        &Faults { rows_dropped: 0.0, rows_added: 0.0, plays_missed: 0.0, plays_false: 0.0, ..TIRED },
    );
    assert!(clean.right == 1.0 && clean.doubted < 0.02);
}

#[test]
fn the_sheet_of_another_game_gives_no_pair_without_doubt() {
    let (mut sure, mut pairs) = (0, 0);
    for seed in 0..30 {
        let game = made(seed, &TIRED);
        let other = made(1000 + seed, &Faults { offset: 0.0, ..TIRED });
        let matching = match_rows(&game.rows, &other.plays, &MatchSettings::default());
        pairs += matching.pairs.len();
        sure += matching.pairs.iter().filter(|p| p.doubt.is_none()).count();
    }
    println!("another game's sheet: {sure} of {pairs} pairs without doubt");
    assert!(sure * 100 <= pairs, "{sure} of {pairs}");
}
