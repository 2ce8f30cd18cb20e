//! Rows on their plays, on made games: `cargo bench --profile dev --bench matching [-- --tune] [--games N]`.
//!
//! Seeds come from HEAD and are printed; `--tune` draws from a pool of its own, which bounds were fitted on. Prints for
//! 80 and 20 plays, times typed with 1 s and 3 s of jitter and no times at all (with and without kicks told), the rows
//! right, those right among pairs that are reported as sure, and the share that is flagged, each with its count and
//! Wilson's interval; then the CPU time of a match.
#![allow(missing_docs)]

mod made_sheets;

use std::time::Instant;

use downbox::sheet::{MatchSettings, match_rows};
use made_sheets::{Faults, made_game};

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let value = |flag: &str| args.iter().position(|a| a == flag).and_then(|i| args.get(i + 1)?.parse::<u64>().ok());
    let games = value("--games").unwrap_or(400);
    let tune = args.iter().any(|a| a == "--tune");
    // Tuning seeds lie below all that HEAD's eight hex digits times a thousand can give, but for one in a million.
    let first = if tune { 7_000 } else { head().saturating_mul(1000) + 1_000_000 };
    println!(
        "{} pool: seeds {first} to {} for each line",
        if tune { "tuning" } else { "measuring" },
        first + games - 1
    );
    correlation(first, games.min(100));
    println!("| plays | sheet | rows | right | right among sure | pairs sure, of all pairs | flagged, of rows |");
    println!("|---|---|---|---|---|---|---|");
    for plays in [80, 20] {
        let tired = |jitter| Faults::tired(plays, jitter);
        line("times, 1 s", first, games, &tired(Some(1.0)));
        line("times, 3 s", first, games, &tired(Some(3.0)));
        line("no times", first, games, &tired(None));
        line("no times, kicks told at .8", first, games, &Faults { kicks: Some(0.8), ..tired(None) });
        line("no times, nothing lost", first, games, &Faults::kept_with_care(plays, None));
    }
    for (plays, jitter) in [(80, Some(1.0)), (80, None), (300, Some(1.0)), (300, None)] {
        let game = made_game(first, &Faults::tired(plays, jitter));
        let mut times: Vec<f64> = (0..5)
            .map(|_| {
                let begun = Instant::now();
                std::hint::black_box(match_rows(&game.rows, &game.plays, &MatchSettings::default()));
                begun.elapsed().as_secs_f64() * 1000.0
            })
            .collect();
        times.sort_by(f64::total_cmp);
        let how = if jitter.is_some() { "times" } else { "no times" };
        println!("{plays} plays, {how}: {:.0} ms (median of 5, one core)", times[2]);
    }
}

/// The first eight hex digits of HEAD; 1 where there is no repository.
fn head() -> u64 {
    let out = std::process::Command::new("git").args(["rev-parse", "HEAD"]).output();
    let text = out.ok().map(|o| String::from_utf8_lossy(&o.stdout).into_owned()).unwrap_or_default();
    text.get(..8).and_then(|hex| u64::from_str_radix(hex, 16).ok()).unwrap_or(1)
}

/// What the pan's correlation with the gain came to.
fn correlation(first: u64, games: u64) {
    let mut all = Vec::new();
    for seed in first..first + games {
        all.extend(made_game(seed, &Faults::tired(80, None)).gain_pan);
    }
    let n = all.len() as f64;
    let (ma, mb) = (all.iter().map(|p| p.0).sum::<f64>() / n, all.iter().map(|p| p.1).sum::<f64>() / n);
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (a, b) in &all {
        ab += (a - ma) * (b - mb);
        aa += (a - ma).powi(2);
        bb += (b - mb).powi(2);
    }
    println!("pan against gain: correlation {:.3} over {} plays from scrimmage", ab / (aa * bb).sqrt(), all.len());
}

fn line(name: &str, first: u64, games: u64, faults: &Faults) {
    let (mut rows, mut right, mut sure, mut sure_right, mut pairs, mut flagged) = (0, 0, 0, 0, 0, 0);
    let mut bins = [(0usize, 0usize); 8];
    for seed in first..first + games {
        let game = made_game(seed, faults);
        let matching = match_rows(&game.rows, &game.plays, &MatchSettings::default());
        let play_of = |row: usize| matching.of_row(row).map(|p| p.play);
        for row in 0..game.rows.len() {
            let is_right = game.is_right(row, &play_of);
            rows += 1;
            right += usize::from(is_right);
            let pair = matching.of_row(row);
            pairs += usize::from(pair.is_some());
            let is_sure = pair.is_some_and(|p| p.doubt.is_none());
            flagged += usize::from(!is_sure);
            if is_sure {
                sure += 1;
                sure_right += usize::from(is_right);
            }
            if let Some(pair) = pair {
                let edges = [0.5, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995];
                let bin = &mut bins[edges.iter().filter(|e| pair.confidence >= **e).count()];
                bin.0 += 1;
                bin.1 += usize::from(is_right);
            }
        }
    }
    println!(
        "| {} | {name} | {rows} | {} | {} | {} | {:.3} |",
        faults.plays,
        wilson(right, rows),
        wilson(sure_right, sure),
        wilson(sure, pairs),
        flagged as f64 / rows.max(1) as f64
    );
    if std::env::args().any(|a| a == "--bins") {
        let text: Vec<String> =
            bins.iter().map(|(n, r)| format!("{:.4} of {n}", *r as f64 / (*n).max(1) as f64)).collect();
        println!("  right by confidence to .5, .8, .9, .95, .98, .99, .995, 1: {}", text.join(", "));
    }
}

/// A share with Wilson's 95 % interval and its count.
fn wilson(hits: usize, of: usize) -> String {
    let (n, p, z) = (of.max(1) as f64, hits as f64 / of.max(1) as f64, 1.96f64);
    let middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt() / (1.0 + z * z / n);
    format!("{p:.4} ({:.4} to {:.4}, n {of})", middle - half, middle + half)
}
