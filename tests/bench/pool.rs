//! The pool of made films that accuracy is measured on, and its truth.

use std::path::{Path, PathBuf};
use std::process::Command;

use downbox::base::Silent;
use downbox::film::{Film, Series};
use downbox::media::Media;
use downbox::sense;
use serde::Deserialize;

/// What the film maker wrote beside a game's films; only what is asked here.
#[derive(Debug, Deserialize)]
pub struct Truth {
    /// What it was drawn from.
    pub seed: u64,
    /// Which set of constants.
    pub look: u32,
    /// `cut` or `long`.
    #[serde(default)]
    pub take: String,
    /// Whether a fault was drawn around every snap.
    #[serde(default)]
    pub faults: bool,
    /// Sideline, then end zone.
    pub cameras: Vec<TrueCamera>,
    /// Every play of the game, filmed or not.
    pub plays: Vec<TruePlay>,
}

/// One camera's truth.
#[derive(Debug, Deserialize)]
pub struct TrueCamera {
    /// `sideline` or `end-zone`.
    pub angle: String,
    /// Its files.
    pub files: Vec<TrueFile>,
    /// First frame of every shot but the first.
    pub cuts: Vec<u64>,
    /// Every shot.
    pub shots: Vec<TrueShot>,
    /// The plays it filmed.
    pub plays: Vec<FilmedPlay>,
}

/// One file of a camera.
#[derive(Debug, Deserialize)]
pub struct TrueFile {
    /// Beside the truth.
    pub path: PathBuf,
}

/// One shot.
#[derive(Debug, Deserialize)]
pub struct TrueShot {
    /// First frame.
    pub start: u64,
    /// First frame after.
    pub end: u64,
    /// `play`, `long`, or what else it shows.
    #[serde(default)]
    pub kind: String,
}

/// A play as one camera filmed it.
#[derive(Debug, Deserialize)]
pub struct FilmedPlay {
    /// Its number in the game.
    pub play: u64,
    /// Which shot.
    pub shot: Option<usize>,
    /// Film time of the snap in seconds.
    pub snap_time: f64,
    /// Film time of the end.
    pub end_time: f64,
}

/// A play of the game.
#[derive(Debug, Deserialize)]
pub struct TruePlay {
    /// Its number.
    pub play: u64,
    /// The referee's whistle.
    pub whistle: Option<TrueWhistle>,
}

/// A whistle.
#[derive(Debug, Deserialize)]
pub struct TrueWhistle {
    /// Seconds after the play's end.
    pub after_end_seconds: f64,
    /// How long.
    pub seconds: f64,
}

/// A made game.
#[derive(Debug)]
pub struct Game {
    /// Its seed.
    pub seed: u64,
    /// Which set of constants it was drawn with.
    pub look: u32,
    /// Where its films and its truth lie.
    pub folder: PathBuf,
    /// The truth.
    pub truth: Truth,
}

type Failure = Box<dyn std::error::Error + Send + Sync>;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Runs a program, and fails with what it said.
pub fn run(command: &mut Command) -> Result<String, Failure> {
    let done = command.output()?;
    if !done.status.success() {
        return Err(format!("{command:?}: {}", String::from_utf8_lossy(&done.stderr)).into());
    }
    Ok(String::from_utf8_lossy(&done.stdout).into_owned())
}

/// Seeds of a run: the first eight hex digits of HEAD and the numbers after it.
pub fn seeds(games: u64) -> Result<Vec<u64>, Failure> {
    let head = run(Command::new("git").args(["rev-parse", "HEAD"]).current_dir(root()))?;
    let first = u64::from_str_radix(head.get(..8).unwrap_or("0"), 16)?;
    Ok((first..first + games).collect())
}

/// Builds the film maker and says where it is.
pub fn maker() -> Result<PathBuf, Failure> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    run(Command::new(cargo).args(["build", "--quiet", "--example", "filmmaker"]).current_dir(root()))?;
    let here = std::env::current_exe()?;
    let profile = here.parent().and_then(Path::parent).ok_or("this program has no folder")?;
    Ok(profile.join("examples/filmmaker"))
}

/// The word behind a flag of the command line, else the default.
pub fn option(name: &str, default: &str) -> Result<String, Failure> {
    let args: Vec<String> = std::env::args().collect();
    match args.iter().position(|a| a == name) {
        Some(k) => Ok(args.get(k + 1).ok_or_else(|| format!("{name} needs a word behind it"))?.clone()),
        None => Ok(default.into()),
    }
}

/// The number behind a flag of the command line, else the default.
pub fn number(name: &str, default: u64) -> Result<u64, Failure> {
    Ok(option(name, &default.to_string())?.parse()?)
}

/// Folders named after `--made`.
pub fn folders() -> Vec<String> {
    std::env::args().skip_while(|a| a != "--made").skip(1).take_while(|a| !a.starts_with("--")).collect()
}

/// The games that the command line asks for: those of the folders behind `--made`; else `--games` (10) of `--plays` (11)
/// each, drawn from `--seed` on, or from the commit.
pub fn asked(maker: &Path) -> Result<Vec<Game>, Failure> {
    let folders = folders();
    if !folders.is_empty() {
        println!("games made before, not drawn from the commit: {folders:?}");
        return made(&folders);
    }
    let count = number("--games", 10)?;
    let seeds = match number("--seed", 0)? {
        0 => seeds(count)?,
        first => (first..first + count).collect(),
    };
    println!("seeds {seeds:?}");
    let more: Vec<String> = ["--faults", "--woven"].into_iter().filter(|w| flag(w)).map(String::from).collect();
    let more = match option("--fps", "")? {
        rate if rate.is_empty() => more,
        rate => more.into_iter().chain(["--fps".into(), rate]).collect(),
    };
    games(maker, &seeds, u32::try_from(number("--plays", 11)?)?, &more)
}

/// Whether the command line has a word.
pub fn flag(name: &str) -> bool {
    std::env::args().any(|a| a == name)
}

/// The ways in which a pool's films can be encoded anew, frame for frame, and what FFmpeg's command is told for each. The
/// uneven times are those of a phone: a frame comes up to a third of a frame early or late.
const ENCODINGS: [(&str, &[&str]); 4] = [
    ("hevc", &["-c:v", "libx265", "-preset", "ultrafast", "-crf", "24", "-x265-params", "log-level=error"]),
    (
        "open-gop",
        &["-c:v", "libx264", "-preset", "veryfast", "-crf", "21", "-x264-params", "open-gop=1:keyint=60:bframes=3"],
    ),
    (
        "fixed-gop",
        &["-c:v", "libx264", "-preset", "veryfast", "-crf", "21", "-x264-params", "scenecut=0:keyint=30:min-keyint=30"],
    ),
    (
        "vfr",
        &[
            "-vf",
            "setpts=PTS+0.33*sin(N*12.9898)/FRAME_RATE/TB",
            "-fps_mode",
            "passthrough",
            "-enc_time_base",
            "1:90000",
            "-c:v",
            "libx264",
            "-preset",
            "veryfast",
            "-crf",
            "21",
        ],
    ),
];

/// The games with their films encoded anew as `--as` asks, kept beside the films.
pub fn encoded(games: Vec<Game>) -> Result<Vec<Game>, Failure> {
    let kind = option("--as", "")?;
    if kind.is_empty() {
        return Ok(games);
    }
    let known: Vec<&str> = ENCODINGS.iter().map(|e| e.0).collect();
    let (_, how) = *ENCODINGS.iter().find(|e| e.0 == kind).ok_or_else(|| format!("--as takes one of {known:?}"))?;
    println!("every film encoded anew, {kind}: {how:?}");
    let anew = |mut game: Game| {
        let folder = game.folder.join(&kind);
        let making = game.folder.join(format!("{kind}.making"));
        if !folder.exists() {
            let _ = std::fs::remove_dir_all(&making);
            std::fs::create_dir_all(&making)?;
            for file in game.truth.cameras.iter().flat_map(|c| &c.files) {
                let (from, to) = (game.folder.join(&file.path), making.join(&file.path));
                run(Command::new("ffmpeg")
                    .args(["-v", "error", "-i"])
                    .arg(from)
                    .args(how)
                    .args(["-c:a", "copy"])
                    .arg(to))?;
            }
            std::fs::copy(game.folder.join("truth.json"), making.join("truth.json"))?;
            std::fs::rename(&making, &folder)?;
        }
        game.folder = folder;
        Ok(game)
    };
    games.into_iter().map(anew).collect()
}

/// Games that were made before, by their folders.
fn made(folders: &[String]) -> Result<Vec<Game>, Failure> {
    let read = |folder: &String| {
        let folder = PathBuf::from(folder);
        let text = std::fs::read(folder.join("truth.json"))?;
        let truth: Truth = serde_json::from_slice(&text)?;
        Ok(Game { seed: truth.seed, look: truth.look, folder, truth })
    };
    folders.iter().map(read).collect()
}

/// A short name of all that is written in a folder's files: another text, another name.
pub fn sources(folder: &str) -> Result<String, Failure> {
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(root().join(folder))?.map(|e| e.map(|e| e.path())).collect::<Result<_, _>>()?;
    files.sort();
    let mut hash = blake3::Hasher::new();
    for file in files.iter().filter(|p| p.is_file()) {
        hash.update(&std::fs::read(file)?);
    }
    Ok(hash.finalize().to_hex()[..16].to_string())
}

/// The name of the measurement as it stands, by its sources. Read it at once: while a long run makes its games, somebody
/// may edit.
pub fn measurement() -> Result<String, Failure> {
    Ok(format!("{}-{}", sources("src/sense")?, sources("src/media")?))
}

/// A film's series: kept beside the film under the measurement's name, or measured now.
pub fn measured(media: &Media, film: &Film, folder: &Path, angle: &str, name: &str) -> Result<Series, Failure> {
    let kept = folder.join(format!("{angle}.series-{name}.json"));
    if let Some(series) = std::fs::read(&kept).ok().and_then(|text| serde_json::from_slice(&text).ok()) {
        return Ok(series);
    }
    let series = sense::measure(media, film, &Silent)?;
    std::fs::write(&kept, serde_json::to_vec(&series)?)?;
    Ok(series)
}

/// Makes the games that are not there yet, under a folder named by the maker's sources; `more` is what else the maker is
/// told.
pub fn games(maker: &Path, seeds: &[u64], plays: u32, more: &[String]) -> Result<Vec<Game>, Failure> {
    seeds.iter().enumerate().map(|(k, &seed)| game(maker, seed, (k % 2) as u32, plays, more)).collect()
}

/// One of them.
pub fn game(maker: &Path, seed: u64, look: u32, plays: u32, more: &[String]) -> Result<Game, Failure> {
    let pool = root().join("target/films").join(format!("pool-{}", sources("fixtures/filmmaker")?));
    std::fs::create_dir_all(&pool)?;
    let told: String = more.iter().map(|m| format!("-{}", m.trim_start_matches('-').replace('/', "-"))).collect();
    let folder = pool.join(format!("{seed}-{look}-{plays}{told}"));
    if !folder.join("truth.json").exists() {
        eprintln!("making a game (seed {seed}, look {look})");
        let making = folder.with_extension("making");
        let _ = std::fs::remove_dir_all(&making);
        let numbers = [("--seed", seed.to_string()), ("--look", look.to_string()), ("--plays", plays.to_string())];
        let mut make = Command::new(maker);
        make.args(["game", "--out"]).arg(&making).args(more);
        run(make.args(numbers.iter().flat_map(|(flag, n)| [*flag, n])))?;
        std::fs::rename(&making, &folder)?;
    }
    let truth = serde_json::from_slice(&std::fs::read(folder.join("truth.json"))?)?;
    Ok(Game { seed, look, folder, truth })
}
