//! A hundred nights that go wrong: what is lost, what differs, what was taken that is no film.
//!
//! `cargo bench --profile dev --bench faults [-- --nights N] [--only NAME,...] [--seed N]`. NAME: nights, kills, disk, drive,
//! stall, sheet, junk, idle. A small made game of two cameras, the sideline's in two parts, comes piecemeal into an inbox while
//! the night shift works; each night has its fault at a random moment. Afterwards the library is held against an undisturbed
//! night's: plays as answered, clips byte by byte, reels by their pictures' count, and the sources against themselves. `disk` mounts a small tmpfs and
//! needs root.
#![allow(missing_docs)]

#[allow(dead_code)]
#[path = "pool.rs"]
mod pool;

#[path = "junk.rs"]
mod junk;

#[path = "faults/bed.rs"]
mod bed;

use std::path::PathBuf;
use std::process::ExitCode;
use std::time::{Duration, Instant};

use bed::{Bed, Left, Pieces};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

type Failure = Box<dyn std::error::Error + Send + Sync>;

fn main() -> ExitCode {
    match bench() {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(error) => {
            eprintln!("faults: {error}");
            ExitCode::from(2)
        }
    }
}

/// What a kind of fault came to.
#[derive(Default)]
struct Sum {
    nights: usize,
    faults: usize,
    lost: usize,
    differing: usize,
    junk: usize,
    changed: usize,
}

impl Sum {
    fn print(&self, name: &str) {
        println!(
            "{name}: {} nights, {} faults: games lost {}, clips and reels differing {}, junk taken {}, sources changed {}",
            self.nights, self.faults, self.lost, self.differing, self.junk, self.changed
        );
    }

    /// Holds a night that is over against an undisturbed one.
    fn hold(&mut self, bed: &Bed, want: &Left, faults: usize) -> Result<(), Failure> {
        self.nights += 1;
        self.faults += faults;
        self.changed += bed.sources_changed()?;
        match bed.left() {
            Ok(left) => {
                self.differing += want.differing(&left);
                self.junk += left.games.saturating_sub(1);
                self.lost += usize::from(left.games == 0);
            }
            Err(error) => {
                eprintln!("a night lost its game: {error}");
                self.lost += 1;
            }
        }
        Ok(())
    }

    fn is_clean(&self) -> bool {
        self.lost + self.differing + self.junk + self.changed == 0
    }
}

fn bench() -> Result<bool, Failure> {
    let args: Vec<String> = std::env::args().collect();
    let after = |flag: &str| args.iter().position(|a| a == flag).and_then(|k| args.get(k + 1));
    let nights: usize = after("--nights").map_or(Ok(100), |n| n.parse())?;
    let seed: u64 = after("--seed").map_or(Ok(1), |n| n.parse())?;
    let only: Option<Vec<&str>> = after("--only").map(|names| names.split(',').collect());
    let runs = |name: &str| only.as_ref().is_none_or(|names| names.contains(&name));
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let program = bed::program()?;
    let pieces = Pieces::made()?;

    // What an undisturbed night leaves, twice: it must be the same.
    let began = Instant::now();
    let mut bed = Bed::new(&program, &pieces, None)?;
    bed.undisturbed(&mut chance)?;
    let length = began.elapsed();
    let want = bed.left()?;
    println!("an undisturbed night: {:.1} s, {} clips and reels; seed {seed}", length.as_secs_f64(), want.files.len());
    drop(bed);
    let mut clean = true;

    if runs("nights") {
        let (mut sum, mut killed) = (Sum::default(), 0);
        for _ in 0..nights {
            let mut bed = Bed::new(&program, &pieces, None)?;
            let at = length.mul_f64(chance.random::<f64>());
            killed += usize::from(bed.night(&mut chance, &[at])? > 0);
            sum.hold(&bed, &want, 1)?;
        }
        sum.print(&format!("one kill -9 each ({killed} met it at work)"));
        clean &= sum.is_clean();
    }
    if runs("kills") {
        let mut sum = Sum::default();
        let mut bed = Bed::new(&program, &pieces, None)?;
        let at: Vec<Duration> = (0..20).map(|_| length.mul_f64(0.4 * chance.random::<f64>())).collect();
        let killed = bed.night(&mut chance, &at)?;
        sum.hold(&bed, &want, killed)?;
        sum.print("20 kills in one night");
        clean &= sum.is_clean();
    }
    if runs("disk") {
        let mut sum = Sum::default();
        for tenth in 1..=10u64 {
            let mut bed = Bed::new(&program, &pieces, Some(want.bytes * tenth / 10))?;
            let full = bed.full_disk(&mut chance, want.bytes * 3)?;
            sum.hold(&bed, &want, usize::from(full))?;
        }
        sum.print("full disk at 10 points");
        clean &= sum.is_clean();
    }
    if runs("drive") {
        let mut sum = Sum::default();
        let mut bed = Bed::new(&program, &pieces, None)?;
        let faults = bed.vanishing_drive(&mut chance, length)?;
        sum.hold(&bed, &want, faults)?;
        sum.print("a drive that vanishes and returns");
        clean &= sum.is_clean();
    }
    if runs("stall") {
        let mut sum = Sum::default();
        let mut bed = Bed::new(&program, &pieces, None)?;
        bed.stalled_copy(Duration::from_secs(60))?;
        sum.hold(&bed, &want, 1)?;
        sum.print("a copy that stands still for a minute");
        clean &= sum.is_clean();
    }
    if runs("sheet") {
        let mut sum = Sum::default();
        let mut bed = Bed::new(&program, &pieces, None)?;
        bed.replaced_sheet(&mut chance)?;
        sum.hold(&bed, &want, 1)?;
        sum.print("a sheet replaced in the middle");
        clean &= sum.is_clean();
    }
    if runs("junk") {
        let mut sum = Sum::default();
        let mut bed = Bed::new(&program, &pieces, None)?;
        let laid = bed.among_junk(&mut chance, 2000)?;
        sum.hold(&bed, &want, laid)?;
        sum.print("among junk files");
        clean &= sum.is_clean();
    }
    if runs("idle") {
        let bed = Bed::new(&program, &pieces, None)?;
        let Idle { seconds, cpu, peak, first } = bed.idle(10_000, Duration::from_secs(330))?;
        println!(
            "idle over an inbox of 10,000 files for {seconds:.0} s: {:.1} CPU seconds an hour, {peak:.0} MB at most; the first \
             look {first:.2} CPU s (aim: under 18 s, 60 MB)",
            cpu / seconds * 3600.0
        );
        clean &= cpu / seconds * 3600.0 < 18.0 && peak < 60.0;
    }
    println!("a clock set back an hour: on the injected clock, cargo test --lib daemon::night_tests");
    Ok(clean)
}

/// What an idle night costs.
pub struct Idle {
    seconds: f64,
    cpu: f64,
    peak: f64,
    first: f64,
}

/// Where the bench's folders lie: on a real disk.
fn scratch() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("target")
}
