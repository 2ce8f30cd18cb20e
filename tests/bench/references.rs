//! Cuts by the detectors that are at hand, beside ours, on the same films: PySceneDetect (PyPI scenedetect, four
//! detectors at their defaults) and FFmpeg's scdet (at its default, 10).
//!
//! `cargo bench --profile dev --bench references [-- --made DIR... | --games N --plays N --seed N] [--takes DIR...]`:
//! `--made` games that were made before, as for the accuracy; `--takes` made games of which no film has a cut (long takes).
//! The outside clips whose cuts were seen by eye are always there (`tests/fetch-outside`). PySceneDetect is installed once,
//! at pinned versions, under `target/references`; without the network the bench fails.
#![allow(missing_docs)]

mod child_cpu;
#[allow(dead_code)]
mod pool;
#[allow(dead_code)]
mod tally;

use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

use child_cpu::children;
use downbox::base::Silent;
use downbox::film::FilmReader;
use downbox::media::Media;
use downbox::sense;
use tally::{Tally, wilson};

type Failure = Box<dyn std::error::Error + Send + Sync>;

/// Versions of the reference detector and of the pictures' reader under it.
const PACKAGES: [&str; 2] = ["scenedetect==0.6.7.1", "opencv-python-headless==4.12.0.88"];
/// Who is asked, as the table names them.
const WHO: [&str; 6] = ["downbox", "content", "adaptive", "hash", "histogram", "scdet"];
/// Frames that a cut may be off.
const TOLERANCE: f64 = 2.0;

fn main() -> ExitCode {
    match bench() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("references: {error}");
            ExitCode::from(2)
        }
    }
}

/// A film and its true cuts.
struct Case {
    path: PathBuf,
    cuts: Vec<u64>,
}

/// What one detector did on a set of films.
#[derive(Default, Clone)]
struct Row {
    tally: Tally,
    seconds: f64,
}

fn bench() -> Result<(), Failure> {
    if let Some(film) = value("--cuts") {
        // Ours, as a process of its own, so that its cost is measured as the others' is.
        let media = Media::new()?;
        let film = media.read(&[film.into()], &Silent)?;
        for cut in sense::measure(&media, &film, &Silent)?.cuts {
            println!("{cut}");
        }
        return Ok(());
    }
    let python = python()?;
    let takes = takes()?;
    let games = if takes.is_empty() || !pool::folders().is_empty() { pool::asked(&maker()?)? } else { Vec::new() };
    let made = cases(games.iter().map(|g| (g.folder.as_path(), &g.truth)));
    table("made films", &made, &python)?;
    table("outside clips", &outside()?, &python)?;
    let read = |folder: &String| -> Result<(PathBuf, pool::Truth), Failure> {
        let folder = PathBuf::from(folder);
        let truth = serde_json::from_slice(&std::fs::read(folder.join("truth.json"))?)?;
        Ok((folder, truth))
    };
    let takes: Vec<_> = takes.iter().map(read).collect::<Result<_, _>>()?;
    table("long takes", &cases(takes.iter().map(|(f, t)| (f.as_path(), t))), &python)
}

fn maker() -> Result<PathBuf, Failure> {
    if pool::folders().is_empty() { pool::maker() } else { Ok(PathBuf::new()) }
}

fn value(name: &str) -> Option<String> {
    std::env::args().skip_while(|a| a != name).nth(1)
}

fn takes() -> Result<Vec<String>, Failure> {
    let named: Vec<String> = std::env::args().skip_while(|a| a != "--takes").collect();
    Ok(named.into_iter().skip(1).take_while(|a| !a.starts_with("--")).collect())
}

/// Films that are one file each: a border between files is known to nobody but us.
fn cases<'a>(games: impl Iterator<Item = (&'a Path, &'a pool::Truth)>) -> Vec<Case> {
    let mut out = Vec::new();
    for (folder, truth) in games {
        for camera in truth.cameras.iter().filter(|c| c.files.len() == 1) {
            out.push(Case { path: folder.join(&camera.files[0].path), cuts: camera.cuts.clone() });
        }
    }
    out
}

/// The clips of the tests, with the cuts seen by eye.
fn outside() -> Result<Vec<Case>, Failure> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    pool::run(&mut Command::new(root.join("tests/fetch-outside")))?;
    let clip = |name: &str, cuts: &[u64]| Case { path: root.join("target/outside").join(name), cuts: cuts.to_vec() };
    Ok(vec![clip("bikes.mp4", &[30, 76, 137, 187, 242]), clip("Megamind.avi", &[98, 154, 200]), clip("vtest.avi", &[])])
}

fn table(name: &str, cases: &[Case], python: &Path) -> Result<(), Failure> {
    if cases.is_empty() {
        return Ok(());
    }
    let mut rows = vec![Row::default(); WHO.len()];
    let (mut decode, mut length) = (0.0, 0.0);
    for case in cases {
        decode += cost(Command::new("ffmpeg").args(["-nostdin", "-v", "error", "-i"]).arg(&case.path).args(NULL))?.1;
        length += seconds(&case.path)?;
        for (who, row) in WHO.iter().zip(&mut rows) {
            let (found, seconds) = detect(who, &case.path, python)?;
            let as_f64 = |v: &[u64]| v.iter().map(|&c| c as f64).collect::<Vec<_>>();
            row.tally.add(Tally::of(&as_f64(&found), &as_f64(&case.cuts), TOLERANCE));
            row.seconds += seconds;
        }
        eprintln!("{} is done", case.path.display());
    }
    println!("\n{name}: {} films, {:.1} minutes; cuts within {TOLERANCE} frames", cases.len(), length / 60.0);
    println!(
        "{:10} {:>6} {:16} {:>9} {:>7} {:>5} {:>6} {:>6}",
        "", "F1", "Wilson 95 %", "precision", "recall", "n", "false", "speed"
    );
    for (who, row) in WHO.iter().zip(&rows) {
        let t = row.tally;
        let share = |of: usize| if of == 0 { "-".into() } else { format!("{:.3}", t.hits as f64 / of as f64) };
        let (low, high) = wilson(t.f1(), t.hits as f64 + (t.wrong + t.missed) as f64 / 2.0);
        let (f1, interval) = match t.n() {
            0 => ("-".into(), String::new()),
            _ => (format!("{:.3}", t.f1()), format!("{low:.3} to {high:.3}")),
        };
        let speed = decode / row.seconds.max(1e-9);
        let (precision, recall) = (share(t.hits + t.wrong), share(t.n()));
        println!("{who:10} {f1:>6} {interval:16} {precision:>9} {recall:>7} {:>5} {:>6} {speed:>6.2}", t.n(), t.wrong);
    }
    println!("speed: CPU of FFmpeg's plain decode over the detector's; ours measures motion and whistles as well");
    Ok(())
}

const NULL: [&str; 3] = ["-f", "null", "-"];

/// Frames at which a detector sees a cut, and its CPU seconds.
fn detect(who: &str, film: &Path, python: &Path) -> Result<(Vec<u64>, f64), Failure> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (said, seconds) = match who {
        "downbox" => cost(Command::new(std::env::current_exe()?).arg("--cuts").arg(film))?,
        "scdet" => {
            let filter = "scdet=threshold=10,metadata=mode=print:key=lavfi.scd.time:file=-";
            cost(
                Command::new("ffmpeg")
                    .args(["-nostdin", "-v", "error", "-i"])
                    .arg(film)
                    .args(["-an", "-fps_mode", "passthrough", "-vf", filter])
                    .args(NULL),
            )?
        }
        _ => cost(Command::new(python).arg(root.join("tests/bench/references.py")).arg(who).arg(film))?,
    };
    let number = |line: &str| match who {
        "scdet" => line.strip_prefix("frame:").and_then(|l| l.split_whitespace().next()).and_then(|n| n.parse().ok()),
        _ => line.trim().parse().ok(),
    };
    Ok((said.lines().filter_map(number).collect(), seconds))
}

/// PySceneDetect's own Python, installed where it is not yet.
fn python() -> Result<PathBuf, Failure> {
    let home = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/references");
    let python = home.join("bin/python");
    let ready = Command::new(&python).args(["-c", "import scenedetect, cv2"]).output();
    if !ready.is_ok_and(|done| done.status.success()) {
        pool::run(Command::new("python3").args(["-m", "venv"]).arg(&home))?;
        pool::run(Command::new(home.join("bin/pip")).args(["install", "--quiet"]).args(PACKAGES))?;
    }
    Ok(python)
}

fn seconds(film: &Path) -> Result<f64, Failure> {
    let ask = ["-v", "error", "-show_entries", "format=duration", "-of", "csv=p=0"];
    Ok(pool::run(Command::new("ffprobe").args(ask).arg(film))?.trim().parse()?)
}

/// What a program printed and its CPU seconds, from what the kernel adds up of children waited for.
fn cost(command: &mut Command) -> Result<(String, f64), Failure> {
    let before = children()?;
    let said = pool::run(command)?;
    Ok((said, children()? - before))
}
