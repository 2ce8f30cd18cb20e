//! Real play-by-play as tag sheets in five shapes: how much is read back equal, and what the checks across rows raise
//! against what the data itself breaks.
//!
//! `cargo bench --profile dev --bench sheets [-- --games 200]`: games of nflgame 1.2.20 (`tests/fetch-outside`), spread
//! evenly over the seasons 2009 to 2013; the shapes and the counts of what is broken are those of
//! `tests/sheets/play_by_play.py`.
#![allow(missing_docs, clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, ExitCode};
use std::time::Instant;

#[path = "../sheets/games.rs"]
mod games;

fn main() -> ExitCode {
    match bench() {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::from(1),
        Err(error) => {
            eprintln!("sheets: {error}");
            ExitCode::from(2)
        }
    }
}

fn bench() -> Result<bool, Box<dyn std::error::Error>> {
    let count = std::env::args().skip_while(|a| a != "--games").nth(1).unwrap_or_else(|| "200".into());
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    if !Command::new(root.join("tests/fetch-outside")).status()?.success() {
        return Err("the outside data could not be fetched".into());
    }
    let folder = tempfile::tempdir()?;
    let outside = root.join("target/outside");
    let done = Command::new("python3")
        .arg(root.join("tests/sheets/play_by_play.py"))
        .arg(outside.join("nflgame-1.2.20.tar.gz"))
        .arg(folder.path())
        .args([&count])
        .arg(outside.join("python"))
        .status()?;
    if !done.success() {
        return Err("the games could not be written as sheets".into());
    }
    let games = games::all(folder.path());
    let begun = Instant::now();
    let (mut rows, mut cells, mut equal) = (0, 0, 0);
    let mut shapes = BTreeMap::<u64, (usize, usize)>::new();
    let (mut broken, mut raised) = (BTreeMap::<String, u64>::new(), BTreeMap::<String, u64>::new());
    for game in &games {
        let read = games::read(game);
        rows += game.rows.len();
        cells += game.rows.iter().map(serde_json::Map::len).sum::<usize>();
        equal += usize::from(read.wrong.is_empty());
        let shape = shapes.entry(game.shape).or_default();
        *shape = (shape.0 + usize::from(read.wrong.is_empty()), shape.1 + 1);
        for wrong in read.wrong.iter().take(3) {
            println!("{}: {wrong}", game.sheet.display());
        }
        for (sum, counts) in [(&mut broken, &game.broken), (&mut raised, &read.raised)] {
            for (check, count) in counts {
                *sum.entry(check.clone()).or_default() += count;
            }
        }
    }
    println!(
        "{equal} of {} games read back equal: {rows} rows, {cells} cells, {:.1} s",
        games.len(),
        begun.elapsed().as_secs_f64()
    );
    for (shape, (equal, all)) in &shapes {
        println!("shape {shape}: {equal} of {all}");
    }
    println!("{:<10} {:>8} {:>8} {:>9}", "check", "raised", "broken", "of rows");
    let mut most = true;
    for (check, raised) in &raised {
        let broken = broken.get(check).copied().unwrap_or(0);
        println!("{check:<10} {raised:>8} {broken:>8} {:>8.2}%", *raised as f64 * 100.0 / rows.max(1) as f64);
        most &= *raised <= broken;
    }
    Ok(most && equal == games.len())
}
