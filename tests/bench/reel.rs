//! What a reel costs, on 1080p clips:
//! `cargo bench --profile dev --bench reel [-- --pairs N] [--clips N] [--only strip|marks|kept|processes]`.
//!
//! A made game of 1920x1080 is cut under several names, so that there are `--clips` (40) clips whose strips differ. Printed,
//! as CPU time of the `downbox` program with all that it starts, medians of interleaved pairs with their spread:
//! - the strip over the same reel without it, one core (`taskset`);
//! - marks of a teaching reel (ring, route, zone and labels through a whole play; a spotlight besides) over the same reel
//!   without them, one core: pinned to the screen, and followed over turf and with a man;
//! - against one FFmpeg process a clip (drawtext, same preset and rate factor) and FFmpeg's concat, all cores, wall time; the
//!   most memory held beside that of one filter graph over all clips;
//! - the reel again when its segments lie there;
//! - two cores against one, wall time;
//! - memory at a quarter, half and all of the clips.
#![allow(missing_docs)]

mod child_cpu;
#[allow(dead_code)]
mod pool;

use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::time::Instant;

use child_cpu::children;

type Failure = Box<dyn std::error::Error + Send + Sync>;

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            println!("the bench failed: {error}");
            ExitCode::FAILURE
        }
    }
}

fn option(name: &str, default: usize) -> usize {
    let args: Vec<String> = std::env::args().collect();
    args.iter().position(|a| a == name).and_then(|k| args.get(k + 1)?.parse().ok()).unwrap_or(default)
}

/// What a run cost.
#[derive(Debug, Clone, Copy)]
struct Cost {
    /// CPU seconds.
    cpu: f64,
    /// Seconds on the wall.
    wall: f64,
    /// Most memory held, MB.
    memory: f64,
}

/// Runs a command to its end.
fn cost(command: &mut Command) -> Result<Cost, Failure> {
    let (before, begun) = (children()?, Instant::now());
    let mut child = command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped()).spawn()?;
    let status = PathBuf::from(format!("/proc/{}/status", child.id()));
    let mut memory = 0.0f64;
    let done = loop {
        let text = std::fs::read_to_string(&status).unwrap_or_default();
        let line = text.lines().find_map(|l| l.strip_prefix("VmHWM:"));
        let kb: Option<f64> = line.and_then(|l| l.trim().trim_end_matches("kB").trim().parse().ok());
        memory = memory.max(kb.unwrap_or(0.0) / 1000.0);
        if let Some(done) = child.try_wait()? {
            break done;
        }
        std::thread::sleep(std::time::Duration::from_millis(5));
    };
    let wall = begun.elapsed().as_secs_f64();
    if !done.success() {
        let mut said = String::new();
        if let Some(pipe) = &mut child.stderr {
            std::io::Read::read_to_string(pipe, &mut said)?;
        }
        return Err(format!("{command:?}: {said}").into());
    }
    Ok(Cost { cpu: children()? - before, wall, memory })
}

/// A library of many clips, and where reels go.
struct Bench {
    library: PathBuf,
    out: PathBuf,
}

impl Bench {
    /// Cuts the made game under as many names as are needed.
    fn made(clips: usize) -> Result<Self, Failure> {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("target");
        let film = root.join("films").join(format!("memory-{}", pool::sources("fixtures/filmmaker")?));
        if !film.join("truth.json").exists() {
            let making = film.with_extension("making");
            let _ = std::fs::remove_dir_all(&making);
            let order = ["game", "--seed", "1", "--plays", "3", "--size", "1920x1080", "--out"];
            pool::run(Command::new(pool::maker()?).args(order).arg(&making))?;
            std::fs::rename(&making, &film)?;
        }
        let folder = root.join("bench-reel");
        std::fs::create_dir_all(&folder)?;
        let bench = Self { library: folder.join(format!("library-{clips}")), out: folder.join("reel.mp4") };
        let mut game = 0;
        while bench.clips()? < clips {
            game += 1;
            let mut command = bench.command(None);
            command.args(["cut", "--game", &format!("Game {game}")]);
            command.arg("--sideline").arg(film.join("sideline.mp4"));
            command.arg("--end-zone").arg(film.join("end-zone.mp4"));
            command.arg("--sheet").arg(film.join("tags.csv"));
            cost(&mut command)?;
        }
        Ok(bench)
    }

    /// Every clip, in order.
    fn paths(&self) -> Result<Vec<PathBuf>, Failure> {
        let mut all = Vec::new();
        let mut open = vec![self.library.join("clips")];
        while let Some(folder) = open.pop() {
            for entry in std::fs::read_dir(&folder).into_iter().flatten() {
                let path = entry?.path();
                match path.is_dir() {
                    true => open.push(path),
                    false => all.push(path),
                }
            }
        }
        all.sort();
        Ok(all)
    }

    fn clips(&self) -> Result<usize, Failure> {
        Ok(self.paths()?.len())
    }

    /// The program, on as many cores; all of them without a number.
    fn command(&self, cores: Option<usize>) -> Command {
        let program = env!("CARGO_BIN_EXE_downbox");
        let mut command = match cores {
            Some(cores) => {
                let mut command = Command::new("taskset");
                let list = (0..cores).map(|c| c.to_string()).collect::<Vec<_>>().join(",");
                command.args(["-c", &list, program]);
                command
            }
            None => Command::new(program),
        };
        command.env("DOWNBOX_LIBRARY", &self.library).arg("--quiet");
        command
    }

    /// A reel of all plays of so many games; `afresh`: no segment lies there.
    fn reel(&self, cores: Option<usize>, games: usize, more: &[&str], afresh: bool) -> Result<Cost, Failure> {
        if afresh {
            let _ = std::fs::remove_dir_all(self.library.join("segments"));
        }
        let _ = std::fs::remove_file(&self.out);
        let phrase = (1..=games).map(|k| format!("game \"Game {k}\"")).collect::<Vec<_>>().join(" or ");
        let mut command = self.command(cores);
        command.args(["cutup", &phrase, "--with-doubtful", "--out"]).arg(&self.out).args(more);
        cost(&mut command)
    }
}

/// Median, least and greatest of ratios.
fn spread(mut ratios: Vec<f64>) -> String {
    ratios.sort_by(f64::total_cmp);
    let n = ratios.len();
    format!("{:.3} ({:.3} to {:.3}, {n} pairs)", ratios[n / 2], ratios[0], ratios[n - 1])
}

/// One FFmpeg process a clip, each with a line of text drawn, and a concat of what they made.
fn by_processes(clips: &[PathBuf], folder: &Path) -> Result<Cost, Failure> {
    let begun = (children()?, Instant::now());
    let mut list = String::new();
    let mut memory = 0.0f64;
    for (number, clip) in clips.iter().enumerate() {
        let out = folder.join(format!("{number}.mp4"));
        let mut command = Command::new("ffmpeg");
        command.args(["-v", "error", "-y", "-i"]).arg(clip);
        command.args([
            "-vf",
            "scale=1920:1080,drawtext=text='3 and 2   opp 34   trips right':fontsize=56:x=100:y=950:box=1",
        ]);
        command.args(["-c:v", "libx264", "-preset", "veryfast", "-crf", "21", "-c:a", "aac", "-b:a", "160k"]).arg(&out);
        memory = memory.max(cost(&mut command)?.memory);
        list.push_str(&format!("file '{}'\n", out.display()));
    }
    let names = folder.join("list.txt");
    std::fs::write(&names, list)?;
    let mut command = Command::new("ffmpeg");
    command.args(["-v", "error", "-y", "-f", "concat", "-safe", "0", "-i"]).arg(&names);
    cost(command.args(["-c", "copy"]).arg(folder.join("all.mp4")))?;
    Ok(Cost { cpu: children()? - begun.0, wall: begun.1.elapsed().as_secs_f64(), memory })
}

/// One FFmpeg process with a filter graph over all clips.
fn by_graph(clips: &[PathBuf], folder: &Path) -> Result<Cost, Failure> {
    let mut command = Command::new("ffmpeg");
    command.args(["-v", "error", "-y"]);
    for clip in clips {
        command.arg("-i").arg(clip);
    }
    let drawn: String = (0..clips.len())
        .map(|k| format!("[{k}:v]scale=1920:1080,setsar=1,drawtext=text='3 and 2':fontsize=56:x=100:y=950[v{k}];"))
        .collect();
    let joined: String = (0..clips.len()).map(|k| format!("[v{k}][{k}:a]")).collect();
    let graph = format!("{drawn}{joined}concat=n={}:v=1:a=1[v][a]", clips.len());
    command.args(["-filter_complex", &graph, "-map", "[v]", "-map", "[a]"]);
    command.args(["-c:v", "libx264", "-preset", "veryfast", "-crf", "21", "-c:a", "aac", "-b:a", "160k"]);
    cost(command.arg(folder.join("graph.mp4")))
}

fn run() -> Result<(), Failure> {
    let (pairs, clips) = (option("--pairs", 5), option("--clips", 40));
    let bench = Bench::made(clips)?;
    let paths: Vec<PathBuf> = bench.paths()?;
    let games = std::fs::read_dir(bench.library.join("clips"))?.count();
    println!("{} clips of {games} games, {} MB", paths.len(), size(&paths)? / 1_000_000);

    if part("strip") {
        strip(&bench, pairs)?;
    }
    if part("marks") {
        marks(&bench, pairs)?;
    }
    if part("kept") {
        kept(&bench, pairs)?;
    }
    if part("processes") {
        processes(&bench, &paths, games)?;
    }
    Ok(())
}

/// Whether a part of the bench is asked for.
fn part(name: &str) -> bool {
    let args: Vec<String> = std::env::args().collect();
    let only = args.iter().position(|a| a == "--only").and_then(|k| args.get(k + 1));
    only.is_none_or(|only| only == name)
}

/// The least of each play, so that a run takes seconds.
const SHORT: [&str; 4] = ["--lead-in", "1", "--tail", "0"];

fn strip(bench: &Bench, pairs: usize) -> Result<(), Failure> {
    let (first, clean) = (["--first", "1"], ["--strip", "none"]);
    let mut ratios = Vec::new();
    for _ in 0..pairs {
        let with = bench.reel(Some(1), 1, &[&SHORT[..], &first].concat(), true)?;
        let without = bench.reel(Some(1), 1, &[&SHORT[..], &first, &clean].concat(), true)?;
        ratios.push(with.cpu / without.cpu);
    }
    println!("the strip over the clean reel, one core, CPU: {}", spread(ratios));
    Ok(())
}

/// A play of four seconds with these marks, all through it.
fn script(marks: &[(&str, &str, &str)]) -> String {
    let mut script = String::from(
        "profile = \"meeting\"\n[[step]]\nplay = { game = \"Game 1\", label = \"1\" }\nangle = \"sideline\"\n\
         from = \"snap-1s\"\nto = \"snap+3s\"\nstrip = \"none\"\n",
    );
    for (kind, pin, place) in marks {
        script
            .push_str(&format!("[[step.mark]]\nkind = \"{kind}\"\npin = \"{pin}\"\n{place}\nlabel = \"what it is\"\n"));
    }
    script
}

fn marks(bench: &Bench, pairs: usize) -> Result<(), Failure> {
    const ROUTE: &str = "points = [[0.5, 0.7], [0.55, 0.5], [0.75, 0.4]]";
    const ZONE: &str = "at = [0.3, 0.5]\nsize = [0.24, 0.2]";
    const MAN: &str = "at = [0.6, 0.6]";
    let name = bench.out.with_extension("toml");
    let reel = |marks: &[(&str, &str, &str)]| -> Result<Cost, Failure> {
        let _ = std::fs::remove_dir_all(bench.library.join("segments"));
        std::fs::write(&name, script(marks))?;
        let mut command = bench.command(Some(1));
        command.arg("reel").arg(&name).arg("--keep-going").arg("--out").arg(&bench.out);
        cost(&mut command)
    };
    let three = |pin| [("ring", pin, MAN), ("route", pin, ROUTE), ("zone", pin, ZONE)];
    let (still, spot) = (three("screen"), [("spotlight", "screen", MAN)]);
    let turf = three("turf");
    let (mut drawn, mut dark, mut followed) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..pairs {
        let clean = reel(&[])?;
        drawn.push(reel(&still)?.cpu / clean.cpu);
        dark.push(reel(&[&still[..], &spot].concat())?.cpu / clean.cpu);
        followed.push(reel(&turf)?.cpu / clean.cpu);
    }
    println!("ring, route, zone and three labels over the same reel without, one core, CPU: {}", spread(drawn));
    println!("the same with a spotlight: {}", spread(dark));
    println!("the three pinned to the turf, with the following of it: {}", spread(followed));
    Ok(())
}

fn kept(bench: &Bench, pairs: usize) -> Result<(), Failure> {
    let (mut cached, mut cached_mute, mut cores) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..pairs {
        let first = bench.reel(Some(1), 1, &SHORT, true)?;
        let again = bench.reel(Some(1), 1, &SHORT, false)?;
        cached.push(first.cpu / again.cpu);
        let mute = bench.reel(Some(1), 1, &[&SHORT[..], &["--mute"]].concat(), false)?;
        cached_mute.push(first.cpu / mute.cpu);
        let both = bench.reel(Some(2), 1, &SHORT, true)?;
        cores.push(first.wall / both.wall);
    }
    println!("rendering over joining what lies there, CPU: {}", spread(cached));
    println!("the same without sound, CPU: {}", spread(cached_mute));
    println!("one core over two, wall: {}", spread(cores));
    Ok(())
}

fn processes(bench: &Bench, paths: &[PathBuf], games: usize) -> Result<(), Failure> {
    let folder = tempfile::tempdir_in(Path::new(env!("CARGO_MANIFEST_DIR")).join("target"))?;
    let whole = ["--lead-in", "60", "--tail", "60"];
    let ours = bench.reel(None, games, &whole, true)?;
    let theirs = by_processes(paths, folder.path())?;
    println!(
        "against a process a clip and concat, {} clips: wall {:.2} (CPU {:.2}), {:.0} s and {:.0} s of CPU",
        paths.len(),
        theirs.wall / ours.wall,
        theirs.cpu / ours.cpu,
        ours.cpu,
        theirs.cpu
    );
    let graph = by_graph(paths, folder.path())?;
    let (held, of) = (ours.memory, graph.memory);
    println!("memory: {held:.0} MB, one filter graph {of:.0} MB, ratio {:.2}", held / of);
    for part in [games.div_ceil(4), games.div_ceil(2)] {
        println!("memory at {part} of {games} games: {:.0} MB", bench.reel(None, part, &SHORT, true)?.memory);
    }
    Ok(())
}

fn size(paths: &[PathBuf]) -> Result<u64, Failure> {
    paths.iter().map(|p| Ok(std::fs::metadata(p)?.len())).sum()
}
