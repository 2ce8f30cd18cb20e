//! The scan's speed beside FFmpeg's plain decode of the same film, in CPU time, in interleaved pairs.
//!
//! `cargo bench --profile dev --bench scan_speed [-- --film FILE] [--pairs N]`. Above .5 the scan costs less than twice
//! the decode; FFmpeg decodes the sound too, as the scan does.
#![allow(missing_docs)]

mod child_cpu;
#[allow(dead_code)]
mod pool;

use std::path::PathBuf;
use std::process::{Command, ExitCode};
use std::time::Instant;

use child_cpu::children;
use downbox::base::Silent;
use downbox::film::{Angle, FilmReader};
use downbox::media::Media;
use downbox::plays::{self, Settings};
use downbox::sense;

type Failure = Box<dyn std::error::Error + Send + Sync>;

/// The scan may cost this many times the decode at most: a ratio of .5.
const LEAST: f64 = 0.5;

fn main() -> ExitCode {
    match bench() {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(error) => {
            eprintln!("scan_speed: {error}");
            ExitCode::from(2)
        }
    }
}

fn argument(name: &str) -> Option<String> {
    let args: Vec<String> = std::env::args().collect();
    args.iter().position(|a| a == name).and_then(|k| args.get(k + 1).cloned())
}

fn bench() -> Result<bool, Failure> {
    if let Some(film) = argument("--scan") {
        return scan(film.into());
    }
    let film = match argument("--film") {
        Some(film) => PathBuf::from(film),
        None => {
            let games = pool::games(&pool::maker()?, &pool::seeds(1)?, 11, &[])?;
            games[0].folder.join(&games[0].truth.cameras[0].files[0].path)
        }
    };
    let pairs: usize = argument("--pairs").map_or(Ok(11), |n| n.parse())?;
    let threads = std::thread::available_parallelism()?.get().to_string();
    let mut ratios = Vec::new();
    for _ in 0..pairs {
        let decode = cost(
            Command::new("ffmpeg")
                .args(["-nostdin", "-v", "error", "-threads", &threads, "-i"])
                .arg(&film)
                .args(["-f", "null", "-"]),
        )?;
        let scan = cost(Command::new(std::env::current_exe()?).arg("--scan").arg(&film))?;
        println!(
            "decode {:.2} s CPU, {:.2} s wall; scan {:.2} s CPU, {:.2} s wall; ratio {:.2} (wall {:.2})",
            decode.0,
            decode.1,
            scan.0,
            scan.1,
            decode.0 / scan.0,
            decode.1 / scan.1
        );
        ratios.push(decode.0 / scan.0);
    }
    ratios.sort_by(f64::total_cmp);
    let median = ratios.get(ratios.len() / 2).copied().unwrap_or(0.0);
    println!("median ratio {median:.2} of {} pairs on {}; at least {LEAST}", ratios.len(), film.display());
    Ok(median >= LEAST)
}

fn scan(film: PathBuf) -> Result<bool, Failure> {
    let media = Media::new()?;
    let film = media.read(&[film], &Silent)?;
    let series = sense::measure(&media, &film, &Silent)?;
    let found = plays::find(&series, &film, Angle::Unknown, &Settings::default());
    Ok(!found.shots.is_empty())
}

/// CPU and wall seconds of a child, from what the kernel adds up of children waited for.
fn cost(command: &mut Command) -> Result<(f64, f64), Failure> {
    let before = children()?;
    let begun = Instant::now();
    pool::run(command)?;
    Ok((children()? - before, begun.elapsed().as_secs_f64()))
}
