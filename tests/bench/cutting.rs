//! What cutting costs beside the least that it could cost, in CPU time, in interleaved pairs, on one thread and one film.
//!
//! `cargo bench --profile dev --bench cutting [-- --pairs N] [--only split|copies|smart] [--film FILE]`. The film is a made
//! game of 540 lines, encoded by the ffmpeg program with closed groups of one and of two seconds and lengthened to 160 clips
//! of 8 s. Every child runs on one core, so that codecs take one thread.
//!
//! - **split**: clips from key frame to key frame against `cat` of the same bytes: planning and copying of a film that was
//!   read, as the scan leaves it. Beside it stand, not judged, the same with the reading of the film counted, and with
//!   every clip synced and renamed as a library takes it in against `cat` and `sync` of its output.
//! - **copies**: the same split against one FFmpeg process a clip with `-c copy`.
//! - **smart**: clips of 12 s that begin and end anywhere against full encoding of the same clips by our own encoder at the
//!   same preset. The bound: frames that must be encoded, and frames that must be decoded for them (from the key frame
//!   before each stretch), at the cost of a frame in full encoding and in decoding alone.
#![allow(missing_docs)]

mod child_cpu;
#[allow(dead_code)]
mod pool;

use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

use child_cpu::children;
use downbox::base::{FrameNo, FrameSpan, PendingFile, Silent};
use downbox::cut::plan;
use downbox::film::{ClipPlan, Decode, Film, FilmReader, FilmWriter, Piece, SoundPlan};
use downbox::media::Media;

type Failure = Box<dyn std::error::Error + Send + Sync>;

/// A split may cost so many times `cat`.
const MOST_OF_CAT: f64 = 2.0;
/// One process a clip costs at least so many times the split.
const LEAST_OF_PROCESSES: f64 = 30.0;
/// Full encoding costs at least so many times the smart cut, by seconds between key frames.
const LEAST_OF_FULL: [(u64, f64); 2] = [(1, 15.0), (2, 7.0)];
/// Frames a second of the film.
const HZ: u64 = 30;
/// Clips of a game, and how long they are in a split and in a smart cut, in frames.
const CLIPS: u64 = 160;
const SPLIT: u64 = 8 * HZ;
const SMART: u64 = 12 * HZ;
/// So many smart cuts, since full encoding takes its time.
const SMART_CLIPS: u64 = 6;
/// Runs that are added up on each side of a pair of short work: the kernel tells CPU time in steps of 10 ms.
const RUNS: usize = 3;

fn main() -> ExitCode {
    match bench() {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(error) => {
            eprintln!("cutting: {error}");
            ExitCode::from(2)
        }
    }
}

fn argument(name: &str) -> Option<String> {
    let args: Vec<String> = std::env::args().collect();
    args.iter().position(|a| a == name).and_then(|k| args.get(k + 1).cloned())
}

fn bench() -> Result<bool, Failure> {
    if let Some(work) = argument("--work") {
        let named = |name: &str| argument(name).map(PathBuf::from).ok_or_else(|| format!("{name} is missing"));
        return child(&work, &named("--film")?, &named("--out")?);
    }
    let pairs: usize = argument("--pairs").map_or(Ok(5), |n| n.parse())?;
    let only = argument("--only").unwrap_or_default();
    let wanted = |what: &str| only.is_empty() || only == what;
    let mut good = true;
    let short = film(1)?;
    // On the disk that clips go to: a file system in memory would flatter whoever writes more.
    let folder = tempfile::tempdir_in(Path::new(env!("CARGO_MANIFEST_DIR")).join("target"))?;
    if wanted("split") || wanted("copies") {
        let long = lengthened(&short)?;
        println!("{}: {:.0} MB, {CLIPS} clips of {} s", long.display(), megabytes(&long)?, SPLIT / HZ);
        if wanted("split") {
            good &= split_against_cat(&long, folder.path(), pairs)?;
        }
        if wanted("copies") {
            good &= split_against_processes(&long, folder.path(), pairs)?;
        }
    }
    if wanted("smart") {
        for (seconds, least) in LEAST_OF_FULL {
            good &= smart_against_full(&film(seconds)?, folder.path(), seconds, least, pairs)?;
        }
    }
    Ok(good)
}

fn megabytes(path: &Path) -> Result<f64, Failure> {
    Ok(std::fs::metadata(path)?.len() as f64 / 1e6)
}

/// The sideline film of a made game, a key frame each so many seconds, as many frames as make whole clips.
fn film(seconds: u64) -> Result<PathBuf, Failure> {
    if let Some(film) = argument("--film") {
        return Ok(film.into());
    }
    let games = pool::games(&pool::maker()?, &[6], 11, &[])?;
    let game = &games[0].folder;
    let film = game.join(&games[0].truth.cameras[0].files[0].path);
    let out = game.join(format!("cutting-{seconds}.mp4"));
    if !out.exists() {
        let frames = Media::new()?.read(std::slice::from_ref(&film), &Silent)?.frames() / SPLIT * SPLIT;
        let key = seconds * HZ;
        let made = out.with_extension("making.mp4");
        run(Command::new("ffmpeg")
            .args(["-v", "error", "-y", "-i"])
            .arg(&film)
            .args(["-map", "0:v", "-map", "0:a", "-frames:v", &frames.to_string(), "-t", &(frames / HZ).to_string()])
            .args(["-c:v", "libx264", "-preset", "veryfast", "-crf", "18", "-c:a", "aac", "-b:a", "128k"])
            .args(["-x264-params", &format!("keyint={key}:min-keyint={key}:scenecut=0:open-gop=0")])
            .arg(&made))?;
        std::fs::rename(made, &out)?;
    }
    Ok(out)
}

/// The film over and over, as long as a game, its picture copied.
fn lengthened(film: &Path) -> Result<PathBuf, Failure> {
    let out = film.with_extension("long.mp4");
    if !out.exists() {
        let made = out.with_extension("making.mp4");
        run(Command::new("ffmpeg")
            .args(["-v", "error", "-y", "-stream_loop", "-1", "-i"])
            .arg(film)
            .args(["-stream_loop", "-1", "-i"])
            .arg(film)
            .args(["-map", "0:v", "-map", "1:a", "-t", &(CLIPS * SPLIT / HZ).to_string()])
            .args(["-c:v", "copy", "-c:a", "aac", "-b:a", "128k"])
            .arg(&made))?;
        std::fs::rename(made, &out)?;
    }
    Ok(out)
}

fn split_against_cat(film: &Path, folder: &Path, pairs: usize) -> Result<bool, Failure> {
    let cat = |sync: bool| {
        let mut shell = Command::new("taskset");
        let then = if sync { "&& sync \"$1\"" } else { "" };
        shell.args(["-c", &core()?, "sh", "-c", &format!("cat \"$0\" > \"$1\" {then}")]);
        shell.arg(film).arg(folder.join("cat"));
        cost(&mut shell, folder)
    };
    let (mut plain, mut indexed, mut synced) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..pairs {
        let [mut cats, mut cuts, mut reads, mut synced_cats, mut synced_cuts] = [0.0; 5];
        for _ in 0..RUNS {
            cats += cat(false)?.0 / RUNS as f64;
            let told = ours("split", film, folder)?.1;
            cuts += (lap(&told, "plan")? + lap(&told, "cut")?) / RUNS as f64;
            reads += lap(&told, "read")? / RUNS as f64;
            synced_cats += cat(true)?.0 / RUNS as f64;
            let told = ours("split-synced", film, folder)?.1;
            synced_cuts += (lap(&told, "plan")? + lap(&told, "cut")?) / RUNS as f64;
        }
        println!(
            "cat {cats:.3} s CPU, split {cuts:.3}, reading {reads:.3}; with sync cat {synced_cats:.3}, split {synced_cuts:.3}"
        );
        plain.push(cuts / cats);
        indexed.push((reads + cuts) / cats);
        synced.push(synced_cuts / synced_cats);
    }
    let ratio = told("split over cat", &mut plain, &format!("at most {MOST_OF_CAT}, stretch 1.5"));
    told("reading and split over cat", &mut indexed, "not judged");
    told("split with every clip synced and renamed over cat and sync", &mut synced, "not judged");
    Ok(ratio <= MOST_OF_CAT)
}

/// What a child says that a part of its work cost.
fn lap(told: &str, what: &str) -> Result<f64, Failure> {
    let words = told.lines().find_map(|line| line.strip_prefix(what)?.trim().strip_suffix(" s"));
    Ok(words.ok_or_else(|| format!("no time of {what} in: {told}"))?.parse()?)
}

fn split_against_processes(film: &Path, folder: &Path, pairs: usize) -> Result<bool, Failure> {
    let mut ratios = Vec::new();
    for _ in 0..pairs.min(3) {
        let (mut processes, mut split) = (0.0, 0.0);
        for clip in 0..CLIPS {
            let mut command = Command::new("taskset");
            let (from, long) = ((clip * SPLIT / HZ).to_string(), (SPLIT / HZ).to_string());
            command.args(["-c", &core()?, "ffmpeg", "-nostdin", "-v", "error", "-ss", &from, "-i"]).arg(film);
            command.args(["-t", &long, "-c", "copy", "-movflags", "+faststart"]).arg(folder.join("clip.mp4"));
            processes += cost(&mut command, folder)?.0;
            // In between, so that both meet the same machine.
            if (clip as usize).is_multiple_of(CLIPS as usize / RUNS) && clip > 0 {
                split += ours("split", film, folder)?.0 / RUNS as f64;
            }
        }
        println!("one process a clip {processes:.2} s CPU, split {split:.3}");
        ratios.push(processes / split);
    }
    let ratio = told("one FFmpeg process a clip over split", &mut ratios, &format!("at least {LEAST_OF_PROCESSES}"));
    Ok(ratio >= LEAST_OF_PROCESSES)
}

fn smart_against_full(film: &Path, folder: &Path, seconds: u64, least: f64, pairs: usize) -> Result<bool, Failure> {
    let media = Media::new()?;
    let read = media.read(&[film.to_path_buf()], &Silent)?;
    let plans = plans(&media, &read, &anywhere(&read))?;
    let keys = media.entry_points(&read, 0)?.entries;
    let (mut all, mut encoded, mut decoded) = (0, 0, 0);
    for plan in &plans {
        all += plan.span.len();
        for piece in &plan.pieces {
            if let Piece::Encode(span, _) = piece {
                let key = keys.iter().rev().find(|k| **k <= span.start).copied().unwrap_or(FrameNo(0));
                encoded += span.len();
                decoded += span.end.0 - key.0;
            }
        }
    }
    let (mut ratios, mut bounds) = (Vec::new(), Vec::new());
    for _ in 0..pairs {
        let full = ours("full", film, folder)?.0;
        let (mut smart, mut decode) = (0.0, 0.0);
        for _ in 0..RUNS {
            smart += ours("smart", film, folder)?.0 / RUNS as f64;
        }
        decode += ours("decode", film, folder)?.0;
        let (of_encode, of_decode) = ((full - decode) / all as f64, decode / all as f64);
        let bound = full / (encoded as f64 * of_encode + decoded as f64 * of_decode);
        println!("{seconds} s: full {full:.2} s CPU, smart {smart:.3}, decode alone {decode:.2}; bound {bound:.1}");
        ratios.push(full / smart);
        bounds.push(bound);
    }
    println!(
        "{} clips of {} s, a key frame each {seconds} s: {:.1} % of the frames encoded anew, {:.1} % decoded for it",
        plans.len(),
        SMART / HZ,
        100.0 * encoded as f64 / all as f64,
        100.0 * decoded as f64 / all as f64
    );
    told("bound of smart cutting", &mut bounds, "arithmetic");
    let ratio = told("full encoding over smart cut", &mut ratios, &format!("at least {least}"));
    Ok(ratio >= least)
}

/// Says the median and the spread; gives the median.
fn told(what: &str, ratios: &mut [f64], goal: &str) -> f64 {
    ratios.sort_by(f64::total_cmp);
    let median = ratios.get(ratios.len() / 2).copied().unwrap_or(f64::NAN);
    let (low, high) = (ratios.first().copied().unwrap_or(f64::NAN), ratios.last().copied().unwrap_or(f64::NAN));
    println!("{what}: median {median:.2} ({low:.2} to {high:.2}) of {} pairs; {goal}", ratios.len());
    median
}

/// The first core that this process may run on.
fn core() -> Result<String, Failure> {
    let status = std::fs::read_to_string("/proc/self/status")?;
    let list = status.lines().find_map(|l| l.strip_prefix("Cpus_allowed_list:")).unwrap_or("0").trim();
    Ok(list.split([',', '-']).next().unwrap_or("0").to_string())
}

/// Runs this program as a child on one core: its CPU seconds and what it said.
fn ours(work: &str, film: &Path, folder: &Path) -> Result<(f64, String), Failure> {
    let mut command = Command::new("taskset");
    command.args(["-c", &core()?]).arg(std::env::current_exe()?).args(["--work", work, "--film"]).arg(film);
    command.arg("--out").arg(folder.join("out"));
    cost(&mut command, folder)
}

fn run(command: &mut Command) -> Result<String, Failure> {
    pool::run(command)
}

/// CPU seconds of a child and what it said. What it wrote is removed, and the disk has caught up before it begins.
fn cost(command: &mut Command, folder: &Path) -> Result<(f64, String), Failure> {
    run(Command::new("sync").arg("-f").arg(folder))?;
    let before = children()?;
    let told = run(command)?;
    let spent = children()? - before;
    std::fs::remove_dir_all(folder)?;
    std::fs::create_dir_all(folder)?;
    Ok((spent, told))
}

/// Clips from key frame to key frame.
fn key_to_key(film: &Film) -> Vec<FrameSpan> {
    (0..film.frames() / SPLIT).map(|k| FrameSpan::of(k * SPLIT, (k + 1) * SPLIT)).collect()
}

/// Clips that begin and end anywhere: over all of them, ends lie evenly over two seconds, so that a head is half a group.
fn anywhere(film: &Film) -> Vec<FrameSpan> {
    let count = SMART_CLIPS.min((film.frames() - 2 * HZ) / SMART);
    let shift = |k: u64| (2 * k + 1) * 2 * HZ / (2 * count);
    (0..count).map(|k| FrameSpan::of(k * SMART + shift(k), (k + 1) * SMART + shift(k))).collect()
}

fn plans(media: &Media, film: &Film, spans: &[FrameSpan]) -> Result<Vec<ClipPlan>, Failure> {
    let (points, sounds) = (vec![media.entry_points(film, 0)?], vec![media.sound_plan(film, 0)?]);
    Ok(spans.iter().map(|span| plan(film, *span, span.start, &points, &sounds)).collect())
}

/// Seconds that this thread has been on a core.
fn on_core() -> f64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    text.split(' ').next().and_then(|n| n.parse::<f64>().ok()).unwrap_or(0.0) / 1e9
}

/// The work of a child.
fn child(work: &str, film: &Path, out: &Path) -> Result<bool, Failure> {
    std::fs::create_dir_all(out)?;
    let media = Media::new()?;
    // What the program's start costs, nearly all of it the linking of the codec library, is no part of cutting.
    let mut before = on_core();
    println!("start {before:.3} s");
    let mut lap = |what: &str| {
        let now = on_core();
        println!("{what} {:.3} s", now - before);
        before = now;
    };
    let film = media.read(&[film.to_path_buf()], &Silent)?;
    lap("read");
    let spans = if work.starts_with("split") { key_to_key(&film) } else { anywhere(&film) };
    if work == "decode" {
        let mut frames = media.frames(&film, Decode::Exact, 0)?;
        for span in spans {
            frames.seek(span.start)?;
            while frames.next_frame()?.is_some_and(|view| view.no.0 + 1 < span.end.0) {}
        }
        return Ok(true);
    }
    let mut plans = plans(&media, &film, &spans)?;
    if work == "full" {
        for plan in &mut plans {
            let why = "to be held against".to_string();
            // The sound of both is treated alike: what is compared is the picture.
            *plan = ClipPlan { pieces: vec![Piece::Encode(plan.span, why)], ..plan.clone() };
        }
    } else if work.starts_with("split") {
        let copied = |p: &ClipPlan| matches!(p.pieces[..], [Piece::Copy(_)]) && p.sound == SoundPlan::Copy;
        if plans.len() as u64 != CLIPS || !plans.iter().all(copied) {
            return Err(format!("{} clips, not all of them copied", plans.len()).into());
        }
    }
    lap("plan");
    let mut pending = Vec::new();
    for k in 0..plans.len() {
        pending.push(Some(PendingFile::new(&out.join(format!("{k}.mp4")))?));
    }
    let paths: Vec<PathBuf> = pending.iter().flatten().map(|p| p.path().to_path_buf()).collect();
    media.carry_out(&film, &plans, &paths, &mut |k| {
        match pending.get_mut(k).and_then(Option::take) {
            Some(file) if work == "split-synced" => file.commit()?,
            // Left as it is, to be removed by the parent.
            other => std::mem::forget(other),
        }
        Ok(())
    })?;
    lap("cut");
    Ok(true)
}
