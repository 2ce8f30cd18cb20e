//! Carries a step out.

use std::path::{Path, PathBuf};

use super::gauge::Gauge;
use super::task::{CameraKnown, Outcome, Step, Task};
use crate::base::{Error, Result, count};
use crate::jobs::{self, Config, CutAsk, ReelFate, Tools};
use crate::library::{Access, GameIn, Library};

/// Lends the tools of the codec room for one piece of work.
pub type Lend = dyn Fn(&Gauge, &Config, &mut dyn FnMut(Tools<'_>) -> Result<()>) -> Result<()> + Send + Sync;

/// Does steps; scripted in tests.
pub trait Worker: Send + Sync {
    /// Does one. `written`: the present moment in words.
    ///
    /// # Errors
    /// Those of the job.
    fn carry_out(&self, task: &Task, gauge: &Gauge, written: &str) -> Result<Outcome>;
}

/// The real one.
pub struct LibraryWorker {
    /// The library's folder.
    pub library: PathBuf,
    /// Where the tools come from.
    pub lend: Box<Lend>,
}

impl Worker for LibraryWorker {
    fn carry_out(&self, task: &Task, gauge: &Gauge, written: &str) -> Result<Outcome> {
        // Read anew for each step: a person may have changed a word since.
        let config = Config::load(Some(&self.library))?;
        let mut outcome = None;
        (self.lend)(gauge, &config, &mut |tools| {
            outcome = Some(done(&self.library, task, tools, &config, written)?);
            Ok(())
        })?;
        outcome.ok_or_else(|| Error::failed("the step was not done", task.name(), "report this"))
    }
}

fn done(folder: &Path, task: &Task, tools: Tools<'_>, config: &Config, written: &str) -> Result<Outcome> {
    // What only measures or renders leaves the library free for others to write to.
    let access = match task.step {
        Step::Pair | Step::Sheet | Step::Match | Step::Cut => Access::Write,
        Step::Probe | Step::Scan | Step::Prepare | Step::Asks | Step::Report => Access::Read,
    };
    let mut library = Library::open(folder, access)?;
    let mut out = Outcome { told: task.told.clone(), ..Outcome::default() };
    let told = &mut out.told;
    let game = task.told.game.clone();
    // The name that the library gave it.
    let named = CutAsk { game: GameIn { name: game.clone(), ..task.ask.game.clone() }, ..task.ask.clone() };
    let camera = || task.ask.cameras.first().ok_or_else(|| Error::failed("no camera is named", "", "report this"));
    match task.step {
        Step::Probe => {
            let read = jobs::read_camera(tools, &camera()?.1)?;
            out.words = format!("{} files, {:.0} s of film", read.parts, read.seconds);
            out.camera = Some(CameraKnown { seconds: read.seconds, nearness: None });
        }
        Step::Scan => {
            let (name, files) = camera()?;
            let found = jobs::measure_camera(tools, config, &library, (name, files))?;
            out.words = format!("{} plays in {:.0} s of film", found.plays, found.seconds);
            out.camera = Some(CameraKnown { seconds: found.seconds, nearness: found.nearness });
        }
        Step::Pair => {
            let placed = jobs::place_plays(tools, config, &mut library, &task.ask)?;
            out.words = format!("{} plays from {}", placed.plays, placed.cameras.join(" and "));
            told.game = placed.game;
            told.date.clone_from(&task.ask.game.date);
            told.cameras = placed.cameras;
            told.plays = placed.plays;
            told.film_problems = placed.problems;
        }
        Step::Sheet => {
            let (rows, problems) = jobs::read_sheet(config, &mut library, &named)?;
            let names = task.ask.sheets.iter().filter_map(|sheet| sheet.file_name());
            told.sheet = Some(names.map(|name| name.to_string_lossy().into_owned()).collect::<Vec<_>>().join(", "));
            told.rows = rows;
            out.words = format!("{rows} rows, {} problems", problems.len());
            told.sheet_problems = problems;
        }
        Step::Match => {
            let joined = jobs::join_rows(&mut library, &named)?;
            (told.rows, told.matched) = (joined.rows, joined.matched);
            told.to_check = joined.to_check.into_iter().map(|check| (check.label, check.why)).collect();
            told.join_problems = joined.problems;
            out.words = format!("{} of {} rows joined", told.matched, told.rows);
        }
        Step::Cut => {
            let cut = jobs::cut_missing(tools, config, &mut library, &game)?;
            told.clips = cut.there;
            out.words = format!("{} clips, {} of them new", cut.there, cut.new);
            told.clip_problems = cut.problems;
        }
        Step::Prepare => {
            let prepared = jobs::prepare(tools, config, &library, &game)?;
            told.segments = prepared.segments - prepared.left_out.len().min(prepared.segments);
            out.words = format!("{} segments, {} of them new", prepared.segments, prepared.rendered);
        }
        Step::Asks => {
            let asks = jobs::standing(tools, config, &library, Some(&game), false)?;
            told.made =
                asks.iter().flat_map(|ask| ask.reels.iter().map(|reel| made(folder, &ask.name, reel))).collect();
            let made = told.made.iter().filter(|(.., file)| file.is_some()).count();
            out.words = format!("{made} reels");
        }
        Step::Report => {
            let files = jobs::morning(tools, &library, told, written)?;
            out.words = files.first().map(|file| file.display().to_string()).unwrap_or_default();
            out.reports = files;
        }
    }
    library.close()?;
    Ok(out)
}

fn made(folder: &Path, ask: &str, reel: &jobs::AskReel) -> (String, String, Option<String>) {
    let plays = count(reel.plays, "play");
    let left = match reel.left_out.len() {
        0 => String::new(),
        left => format!(", {left} left out"),
    };
    let (words, there) = match &reel.fate {
        ReelFate::Made | ReelFate::Kept | ReelFate::Planned => (format!("{plays}{left}"), true),
        ReelFate::Stale => ("no play fits any more; the reel from before is still there".to_string(), true),
        ReelFate::Nothing => (format!("all plays that fit are left out{left}"), false),
        ReelFate::Failed(what, next) => (format!("it could not be made: {what}; {next}"), false),
    };
    let file = reel.out.strip_prefix(folder).unwrap_or(&reel.out).to_string_lossy().into_owned();
    (ask.to_string(), words, there.then_some(file))
}
