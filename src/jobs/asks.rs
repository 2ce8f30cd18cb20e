//! Standing asks: named phrases, each a folder of reels, one a game, made again only where something changed.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::cutup::{Planned, check_out, made, planned};
use super::{Config, CutupAsk, LeftOutPlay, Tools};
use crate::base::{Error, ErrorKind, IoContext, PendingFile, Problem, Result, go_on, name_file};
use crate::filter::{self, Filter};
use crate::football::fold;
use crate::library::Library;
use crate::reel::RENDERER;
use crate::reel::sidecar::Kind;

/// The asks that ship with the program; a staff's own file replaces them.
const DEFAULT: &str = include_str!("../../config/asks.toml");

/// What was made is written down under this name in each ask's folder.
const RECORD: &str = "made.toml";

/// One phrase that is asked of every game.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StandingAsk {
    /// Its name, and its folder's under the library's `cutups/`.
    pub name: String,
    /// In a coach's words.
    pub phrase: String,
    /// Only this angle or camera.
    pub angle: Option<String>,
    /// Without sound.
    pub mute: bool,
    /// Also plays whose row is in doubt.
    pub with_doubtful: bool,
    /// What is written beside each reel.
    pub sidecars: Vec<Kind>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct InFile {
    #[serde(default)]
    ask: BTreeMap<String, AskInFile>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AskInFile {
    phrase: String,
    angle: Option<String>,
    #[serde(default)]
    mute: bool,
    #[serde(default)]
    with_doubtful: bool,
    #[serde(default)]
    sidecar: Vec<String>,
}

impl StandingAsk {
    /// Those that ship with the program.
    ///
    /// # Errors
    /// None but of a program that was built wrong.
    pub fn shipped() -> Result<Vec<Self>> {
        Self::read_all(DEFAULT, "config/asks.toml")
    }

    /// Reads a file of asks, by name. `place` names it in errors. The phrases are read when they are asked.
    ///
    /// # Errors
    /// A file that is no TOML, a key that there is not, two names that would be one folder.
    pub fn read_all(text: &str, place: &str) -> Result<Vec<Self>> {
        let file: InFile = toml::from_str(text).map_err(|cause| {
            let next = "mend the line named, or delete the file to use the default";
            Error::refused("cannot read the standing asks", place, next).because(cause)
        })?;
        let mut folders: BTreeMap<String, String> = BTreeMap::new();
        for name in file.ask.keys() {
            if let Some(twin) = folders.insert(name_file(name).to_lowercase(), name.clone()) {
                let what = format!("the asks \"{twin}\" and \"{name}\" would go into one folder");
                return Err(Error::refused(what, place, "give each ask a name of its own"));
            }
        }
        let ask = |(name, a): (String, AskInFile)| {
            let sidecars = Kind::read(a.sidecar.iter().map(String::as_str)).map_err(|error| {
                let what = format!("the standing ask \"{name}\": {} \"{}\"", error.what, error.place);
                Error::refused(what, place, error.next)
            })?;
            let (phrase, angle, mute, with_doubtful) = (a.phrase, a.angle, a.mute, a.with_doubtful);
            Ok(Self { name, phrase, angle, mute, with_doubtful, sidecars })
        };
        file.ask.into_iter().map(ask).collect()
    }
}

/// What became of one ask.
#[derive(Debug, Clone, PartialEq)]
pub struct AskDone {
    /// Its name.
    pub name: String,
    /// Its phrase.
    pub phrase: String,
    /// How the phrase was read.
    pub reads: String,
    /// One for each game that the phrase finds a play in, or has a reel of from before.
    pub reels: Vec<AskReel>,
}

/// One reel of an ask.
#[derive(Debug, Clone, PartialEq)]
pub struct AskReel {
    /// The game's name.
    pub game: String,
    /// The file, absolute.
    pub out: PathBuf,
    /// The files beside it, or those that would be.
    pub sidecars: Vec<PathBuf>,
    /// How many plays it shows, or would show.
    pub plays: usize,
    /// Plays that fit and are not shown, and why.
    pub left_out: Vec<LeftOutPlay>,
    /// What was not as it should be.
    pub problems: Vec<Problem>,
    /// What became of it.
    pub fate: ReelFate,
}

/// What became of a reel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ReelFate {
    /// Made, or made again.
    Made,
    /// It is there and nothing has changed.
    Kept,
    /// It would be made; nothing was written.
    Planned,
    /// There is a reel from before, and no play of the game is to be shown any more. It is left for a person to remove.
    Stale,
    /// There is nothing to show, and no reel.
    Nothing,
    /// It could not be made: why, and what to try.
    Failed(String, String),
}

#[derive(Debug, Default, Serialize, Deserialize)]
struct Made {
    /// File name and the hash of what it was made from.
    #[serde(default)]
    reel: BTreeMap<String, String>,
}

/// Makes every standing ask: `cutups/NAME/DATE GAME.mp4` for every game with a play to show, where the plan, a source or
/// the settings changed since it was made, or the file is gone. With `dry_run` nothing is written.
///
/// A reel that cannot be made does not keep the others from being made. `only`: the one game that they are made of.
///
/// # Errors
/// A phrase that cannot be read, before anything is made; a full disk; being stopped.
pub fn standing(
    tools: Tools<'_>,
    config: &Config,
    library: &Library,
    only: Option<&str>,
    dry_run: bool,
) -> Result<Vec<AskDone>> {
    let words = config.words(library)?;
    let mut asks: Vec<(&StandingAsk, Filter)> = Vec::new();
    for ask in &config.asks {
        let filter = filter::parse(&ask.phrase, &words).map_err(|error| {
            let error = Error::from(error);
            Error { what: format!("the standing ask \"{}\": {}", ask.name, error.what), ..error }
        })?;
        asks.push((ask, filter));
    }
    let mut games = library.games()?;
    games.retain(|game| only.is_none_or(|only| fold(only) == fold(&game.name)));
    let mut all = Vec::new();
    for (ask, filter) in asks {
        let folder = library.at(Path::new("cutups")).join(name_file(&ask.name));
        let mut done = AskDone {
            name: ask.name.clone(),
            phrase: ask.phrase.clone(),
            reads: filter.to_string(),
            reels: Vec::new(),
        };
        for game in &games {
            go_on(tools.progress, "making the standing asks; what is made is kept")?;
            let title = game.date.iter().cloned().chain([game.name.clone()]).collect::<Vec<_>>().join(" ");
            let out = folder.join(format!("{}.mp4", name_file(&title)));
            let one = Filter::all_of([filter.clone(), Filter::Game(game.name.clone())]);
            let cutup = CutupAsk {
                phrase: ask.phrase.clone(),
                out: out.clone(),
                angle: ask.angle.clone(),
                sound: ask.mute.then_some(false),
                with_doubtful: ask.with_doubtful,
                sidecars: ask.sidecars.clone(),
                ..CutupAsk::default()
            };
            let reel = match reel(tools, config, library, &cutup, &one, dry_run) {
                Ok(reel) => AskReel { game: game.name.clone(), ..reel },
                Err(error) if matches!(error.kind, ErrorKind::Interrupted | ErrorKind::DiskFull) => return Err(error),
                Err(error) => AskReel {
                    game: game.name.clone(),
                    out,
                    sidecars: Vec::new(),
                    plays: 0,
                    left_out: Vec::new(),
                    problems: Vec::new(),
                    fate: ReelFate::Failed(error.to_string(), error.next.clone()),
                },
            };
            if reel.fate != ReelFate::Nothing || !reel.left_out.is_empty() {
                done.reels.push(reel);
            }
        }
        all.push(done);
    }
    Ok(all)
}

/// One reel of an ask. Its game's name is left to the caller.
fn reel(
    tools: Tools<'_>,
    config: &Config,
    library: &Library,
    ask: &CutupAsk,
    filter: &Filter,
    dry_run: bool,
) -> Result<AskReel> {
    let plan = planned(tools, config, library, ask, filter)?;
    let sidecars = plan.done.sidecars.clone();
    let reel = |fate: ReelFate, plays: usize, left_out: Vec<LeftOutPlay>, problems: Vec<Problem>| AskReel {
        game: String::new(),
        out: ask.out.clone(),
        sidecars: sidecars.clone(),
        plays,
        left_out,
        problems,
        fate,
    };
    let (plays, left_out) = (plan.done.plays, plan.done.left_out.clone());
    if plan.plan.segments.is_empty() {
        let fate = if ask.out.exists() { ReelFate::Stale } else { ReelFate::Nothing };
        return Ok(reel(fate, plays, left_out, Vec::new()));
    }
    let hash = hash(config, &plan);
    let folder = ask.out.parent().unwrap_or(Path::new("")).to_path_buf();
    let name = ask.out.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    // The name follows from the ask and the game: it is the file that has to give way.
    check_out(library, &ask.out)
        .map_err(|error| Error { next: "move that file away, then run the same command again".into(), ..error })?;
    let there = ask.out.is_file() && sidecars.iter().all(|file| file.is_file());
    if there && record(&folder)?.reel.get(&name) == Some(&hash) {
        return Ok(reel(ReelFate::Kept, plays, left_out, Vec::new()));
    }
    if dry_run {
        return Ok(reel(ReelFate::Planned, plays, left_out, Vec::new()));
    }
    std::fs::create_dir_all(&folder).doing("make the folder of the ask", &folder)?;
    // What the record says of a reel must be true of it: the line goes before the file is replaced.
    write(&folder, |made| made.reel.remove(&name))?;
    let done = made(tools, config, library, plan, ask)?;
    if done.segments.is_empty() {
        return Ok(reel(ReelFate::Nothing, done.plays, done.left_out, done.problems));
    }
    // One with a play that could not be read is made anew the next time.
    if done.problems.is_empty() {
        write(&folder, |made| made.reel.insert(name.clone(), hash.clone()))?;
    }
    Ok(reel(ReelFate::Made, done.plays, done.left_out, done.problems))
}

/// A fingerprint, hex, of all that a reel is made from: the plan with what is burned in, the sources' own fingerprints, the
/// strip and how it is encoded.
fn hash(config: &Config, planned: &Planned) -> String {
    let mut sources: Vec<(&String, String)> =
        planned.sources.iter().map(|(source, film)| (source, film.fingerprint())).collect();
    sources.sort();
    let cutup = &config.settings.cutup;
    let mut all = format!(
        "{RENDERER}\n{:?}\n{sources:?}\n{:?}\n{} {} {}",
        planned.plan, config.templates, cutup.profile, cutup.preset, cutup.crf
    );
    // A reel without sidecars is known by what it was known by before there were any.
    if !planned.sidecars.is_empty() {
        all.push_str(&format!("\n{:?}", planned.sidecars));
    }
    blake3::hash(all.as_bytes()).to_hex().to_string()
}

/// What is written down in a folder. A record that cannot be understood is none: the reels are made again.
fn record(folder: &Path) -> Result<Made> {
    let file = folder.join(RECORD);
    match std::fs::read_to_string(&file) {
        Ok(text) => Ok(toml::from_str(&text).unwrap_or_default()),
        Err(cause) if cause.kind() == std::io::ErrorKind::NotFound => Ok(Made::default()),
        Err(cause) => Err(cause).doing("read what was made before", &file),
    }
}

fn write(folder: &Path, change: impl FnOnce(&mut Made) -> Option<String>) -> Result<()> {
    let file = folder.join(RECORD);
    let mut made = record(folder)?;
    change(&mut made);
    let text = toml::to_string(&made).map_err(|cause| {
        Error::failed("cannot write down what was made", file.display(), "run the same command again").because(cause)
    })?;
    let pending = PendingFile::new(&file)?;
    std::fs::write(pending.path(), text).doing("write down what was made", &file)?;
    pending.commit()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::filter::{Words, parse};

    #[test]
    fn the_shipped_asks_read_and_so_do_their_phrases() {
        let asks = StandingAsk::shipped().unwrap();
        assert!(asks.len() >= 3);
        for ask in asks {
            assert!(parse(&ask.phrase, &Words::default()).is_ok(), "{}", ask.phrase);
        }
    }

    #[test]
    fn a_broken_file_of_asks_is_refused_with_its_reason() {
        for (text, part) in [
            ("[ask.a]\n", "phrase"),
            ("[ask.a]\nphrase = \"third\"\nsidecar = [\"srt\"]\n", "no such sidecar \"srt\""),
            ("[ask.a]\nphrase = \"third\"\nloud = true\n", "loud"),
            ("[ask.a]\nphrase = \"third\"\n[ask.A]\nphrase = \"first\"\n", "one folder"),
        ] {
            let error = StandingAsk::read_all(text, "asks.toml").unwrap_err();
            assert!(error.to_string().contains(part) && error.place.contains("asks.toml"), "{text:?}: {error}");
        }
        assert_eq!(StandingAsk::read_all("", "asks.toml").unwrap(), []);
    }
}
