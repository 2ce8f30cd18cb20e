//! Plays in takes that run on: snaps and ends, held against the truth of made games.
//!
//! `cargo bench --profile dev --bench long_takes -- --made DIR... [--each] [--features FILE]`; `--features` writes what
//! every candidate is judged by, with whether it is a snap (1) or not (0), to fit the weights anew.
#![allow(missing_docs)]

#[allow(dead_code)]
mod pool;
#[allow(dead_code)]
mod tally;

use std::fmt::Write as _;
use std::process::ExitCode;

use downbox::base::Silent;
use downbox::film::FilmReader;
use downbox::media::Media;
use downbox::plays::{self, long};
use downbox::{film, sense};
use tally::{Tally, errors};

type Failure = Box<dyn std::error::Error + Send + Sync>;

fn main() -> ExitCode {
    match bench() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("long_takes: {error}");
            ExitCode::from(2)
        }
    }
}

fn bench() -> Result<(), Failure> {
    let name = format!("{}-{}", pool::sources("src/sense")?, pool::sources("src/media")?);
    let args: Vec<String> = std::env::args().collect();
    let features = args.iter().position(|a| a == "--features").and_then(|k| args.get(k + 1).cloned());
    let media = Media::new()?;
    let mut table = String::new();
    for game in pool::asked(std::path::Path::new(""))? {
        for truth in &game.truth.cameras {
            let paths: Vec<_> = truth.files.iter().map(|f| game.folder.join(&f.path)).collect();
            let film = media.read(&paths, &Silent)?;
            let kept = game.folder.join(format!("{}.series-{name}.json", truth.angle));
            let series: film::Series = match std::fs::read(&kept).ok().and_then(|t| serde_json::from_slice(&t).ok()) {
                Some(series) => series,
                None => {
                    let series = sense::measure(&media, &film, &Silent)?;
                    std::fs::write(&kept, serde_json::to_vec(&series)?)?;
                    series
                }
            };
            let mut found = Vec::new();
            let mut candidates = Vec::new();
            for track in plays::takes(&series, &film) {
                let relative = long::relative(&track);
                let local = long::Local::of(&track);
                let (all, snaps) = long::snaps(&relative, &local);
                candidates.extend(all.iter().map(|c| (relative.time(c.at as f64), *c)));
                found.extend(snaps.iter().map(|s| s.1));
            }
            let truths: Vec<f64> = truth.plays.iter().map(|p| p.snap_time).collect();
            let tally = Tally::of(&found, &truths, 1.0);
            let near: Vec<f64> = truths
                .iter()
                .filter_map(|t| found.iter().map(|f| f - t).min_by(|a, b| a.abs().total_cmp(&b.abs())))
                .filter(|e| e.abs() <= 1.0)
                .collect();
            let seen = truths.iter().filter(|t| candidates.iter().any(|c| (c.0 - *t).abs() <= 1.0)).count();
            println!(
                "seed {} {}: cuts {}/{}, candidates {} hold {seen} of {}; snaps {tally}; {}",
                game.seed,
                truth.angle,
                series.cuts.len(),
                truth.cuts.len(),
                candidates.len(),
                truths.len(),
                errors(&near)
            );
            for (time, c) in &candidates {
                let nearest =
                    truths.iter().map(|t| time - t).min_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(99.0);
                let cells: Vec<String> = c.features.iter().map(|f| format!("{f:.4}")).collect();
                writeln!(table, "{},{},{time:.2},{nearest:.2},{}", game.seed, truth.angle, cells.join(","))?;
            }
        }
    }
    if let Some(path) = features {
        std::fs::write(path, table)?;
    }
    Ok(())
}
