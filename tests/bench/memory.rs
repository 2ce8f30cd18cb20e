//! How much memory a scan holds at most, on a film and on the same film four and twelve times as long.
//!
//! `cargo bench --profile dev --bench memory [-- --film FILE]`. Without a film, a made game of 1080 lines is taken. The
//! film is lengthened by the ffmpeg program without encoding; the figure is what the kernel says the `downbox` program
//! held at most (VmHWM, proc(5)).
#![allow(missing_docs)]

#[allow(dead_code)]
mod pool;

use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};

type Failure = Box<dyn std::error::Error + Send + Sync>;

/// At most so many MB, whatever the length.
const MOST: f64 = 400.0;
/// Twelve times the film may hold so much more than the film itself: its series and its frames' times grow, at about
/// 60 bytes a sample and 8 a frame, besides what the allocator leaves lying.
const FLAT: f64 = 1.15;

fn main() -> ExitCode {
    match bench() {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(error) => {
            eprintln!("memory: {error}");
            ExitCode::from(2)
        }
    }
}

fn bench() -> Result<bool, Failure> {
    let args: Vec<String> = std::env::args().collect();
    let named = args.iter().position(|a| a == "--film").and_then(|k| args.get(k + 1));
    let film = match named {
        Some(film) => PathBuf::from(film),
        None => made()?,
    };
    let program = program()?;
    let folder = tempfile::tempdir_in(Path::new(env!("CARGO_MANIFEST_DIR")).join("target"))?;
    let mut peaks = Vec::new();
    for times in [1, 4, 12] {
        let long = lengthened(&film, times, folder.path())?;
        let peak = peak(&program, &long)?;
        println!("{times:2} times {}: {peak:.0} MB at most", film.display());
        std::fs::remove_file(long)?;
        peaks.push(peak);
    }
    let (short, long) = (peaks[0], peaks[2]);
    println!("12 times the film holds {:.2} times as much; at most {FLAT}, and {MOST} MB", long / short);
    Ok(long <= MOST && long / short <= FLAT)
}

/// The sideline film of a small game, 1920x1080.
fn made() -> Result<PathBuf, Failure> {
    let name = format!("memory-{}", pool::sources("fixtures/filmmaker")?);
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/films").join(name);
    if !folder.join("truth.json").exists() {
        let making = folder.with_extension("making");
        let _ = std::fs::remove_dir_all(&making);
        let order = ["--seed", "1", "--plays", "3", "--size", "1920x1080"];
        pool::run(Command::new(pool::maker()?).args(["game", "--out"]).arg(&making).args(order))?;
        std::fs::rename(&making, &folder)?;
    }
    Ok(folder.join("sideline.mp4"))
}

/// The `downbox` program, built in the profile of this one.
fn program() -> Result<PathBuf, Failure> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    pool::run(Command::new(cargo).args(["build", "--quiet", "--bin", "downbox"]))?;
    let here = std::env::current_exe()?;
    let profile = here.parent().and_then(Path::parent).ok_or("this program has no folder")?;
    Ok(profile.join("downbox"))
}

fn lengthened(film: &Path, times: usize, folder: &Path) -> Result<PathBuf, Failure> {
    let out = folder.join(format!("{times}.mp4"));
    let loops = (times - 1).to_string();
    let film = std::fs::canonicalize(film)?;
    let input = ["-nostdin", "-v", "error", "-y", "-stream_loop", &loops, "-i"];
    pool::run(
        Command::new("ffmpeg").args(input).arg(film).args(["-map", "0:v:0", "-map", "0:a?", "-c", "copy"]).arg(&out),
    )?;
    Ok(out)
}

/// MB that a scan of the film holds at most. The kernel's figure is read while the program runs: it only grows.
fn peak(program: &Path, film: &Path) -> Result<f64, Failure> {
    let quiet = ["scan", "--quiet", "--json"];
    let mut child = Command::new(program).args(quiet).arg(film).stdout(Stdio::null()).stderr(Stdio::piped()).spawn()?;
    let status = PathBuf::from(format!("/proc/{}/status", child.id()));
    let mut most = 0.0f64;
    loop {
        let text = std::fs::read_to_string(&status).unwrap_or_default();
        let line = text.lines().find_map(|l| l.strip_prefix("VmHWM:"));
        let kb: Option<f64> = line.and_then(|l| l.trim().trim_end_matches("kB").trim().parse().ok());
        most = most.max(kb.unwrap_or(0.0) / 1024.0);
        if let Some(done) = child.try_wait()? {
            // 1: done, and no play found.
            return match done.code() {
                Some(0 | 1) => Ok(most),
                _ => Err(format!("the scan of {} failed: {done}", film.display()).into()),
            };
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
}
