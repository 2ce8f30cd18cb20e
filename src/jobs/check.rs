//! Whether a library is whole, and what can be made whole again.

use std::collections::{BTreeMap, HashSet};
use std::path::{Path, PathBuf};

use super::check_files::{Hidden, look_at_clip, walk};
use super::check_films::{Moves, look_at_films};
use super::finding::{Finding, FindingKind};
use super::morning::is_report;
use super::repair::repair;
use super::{Config, Tools};
use crate::base::{Result, go_on};
use crate::library::{Access, ClipRecord, Fault, Inventory, Library, sealed};
use crate::sense;

/// What is asked of a check.
#[derive(Debug, Clone, Default)]
pub struct CheckAsk {
    /// Read every clip whole and decode it, and measurements and films by their content.
    pub deep: bool,
    /// Mend what can be mended.
    pub repair: bool,
    /// Folders in which films that were moved may lie, besides those where they lay.
    pub films: Vec<PathBuf>,
}

/// What a check found.
#[derive(Debug, Clone, Default)]
pub struct Checked {
    /// In a fixed order; those that were mended say so.
    pub findings: Vec<Finding>,
    /// How many games the library has.
    pub games: usize,
    /// How many clips are recorded.
    pub clips: usize,
    /// Their size.
    pub bytes: u64,
    /// How many films it knows.
    pub films: usize,
}

impl Checked {
    /// How many damages are left.
    pub fn damage(&self) -> usize {
        self.findings.iter().filter(|f| f.kind.is_damage() && !f.mended).count()
    }
}

/// Checks the library in `folder`. A repair looks again afterwards: mended is what is not found any more.
///
/// # Errors
/// The library cannot be opened or read; a repair while another process writes; a stop.
pub fn check(tools: Tools<'_>, config: &Config, folder: &Path, ask: &CheckAsk) -> Result<Checked> {
    if !ask.repair {
        return Ok(look(tools, &Library::open(folder, Access::Read)?, ask)?.0);
    }
    let mut library = Library::open(folder, Access::Write)?;
    let (mut before, moves) = look(tools, &library, ask)?;
    if before.findings.is_empty() {
        return Ok(before);
    }
    repair(tools, config, &mut library, &before.findings, &moves)?;
    let (after, _) = look(tools, &library, ask)?;
    library.close()?;
    for old in &mut before.findings {
        old.mended = !after.findings.iter().any(|new| new.same(old));
    }
    let new: Vec<_> = after.findings.iter().filter(|new| !before.findings.iter().any(|old| old.same(new))).collect();
    before.findings.extend(new.into_iter().cloned());
    Ok(Checked { findings: before.findings, ..after })
}

fn look(tools: Tools<'_>, library: &Library, ask: &CheckAsk) -> Result<(Checked, Moves)> {
    let mut findings: Vec<Finding> = library.faults()?.into_iter().map(of_fault).collect();
    let held = library.inventory()?;
    findings.extend(look_at_clips(tools, library, &held.clips, ask.deep)?);
    findings.extend(to_cut(&held));
    findings.extend(stray_clips(library, &held));
    findings.extend(series(library, &held, ask.deep)?);
    let (films, moves) = look_at_films(library, &held.films, ask)?;
    findings.extend(films);
    let checked = Checked {
        findings,
        games: library.games()?.len(),
        clips: held.clips.len(),
        bytes: held.clips.iter().map(|clip| clip.bytes).sum(),
        films: held.films.len(),
    };
    Ok((checked, moves))
}

fn of_fault(fault: Fault) -> Finding {
    let mend = "mend it with: downbox check --repair";
    match fault {
        Fault::Damaged(words) => Finding::new(
            FindingKind::Database,
            "downbox.sqlite",
            format!("the database is damaged: {words}"),
            "try: downbox check --repair; if it stays, put back the newest copy you have of downbox.sqlite",
        ),
        Fault::Dangling(count, table, parent) => Finding::new(
            FindingKind::Records,
            format!("downbox.sqlite {table}"),
            format!("{count} records of {table} name {parent} that are not there"),
            "try: downbox check --repair; if it stays, put back the newest copy you have of downbox.sqlite",
        ),
        Fault::Order(game) => Finding::new(FindingKind::Order, game, "its plays are not counted 1, 2, 3 and on", mend),
        Fault::Tags(game, count) => {
            let what = format!("{count} tags of its plays are not those of their rows and corrections");
            Finding::new(FindingKind::Tags, game, what, mend)
        }
    }
}

fn look_at_clips(tools: Tools<'_>, library: &Library, clips: &[ClipRecord], deep: bool) -> Result<Vec<Finding>> {
    let mut found = Vec::new();
    tools.progress.stage("check clips", clips.len() as u64);
    for (number, clip) in clips.iter().enumerate() {
        go_on(tools.progress, "checking")?;
        found.extend(look_at_clip(tools, library.folder(), clip, deep)?.map(|finding| (clip, finding)));
        tools.progress.at(number as u64 + 1);
    }
    if found.is_empty() {
        return Ok(Vec::new());
    }
    // Another process may have cut one anew since its record was read: it was whole then and is whole now.
    let now = library.inventory()?.clips;
    Ok(found.into_iter().filter(|(clip, _)| now.contains(clip)).map(|(_, finding)| finding).collect())
}

/// One finding for each camera that has clips still to be cut.
fn to_cut(held: &Inventory) -> Vec<Finding> {
    let mut waiting: BTreeMap<(&str, &str), Vec<&str>> = BTreeMap::new();
    for (game, label, camera) in &held.uncut {
        waiting.entry((game, camera)).or_default().push(label);
    }
    let told = |((game, camera), labels): ((&str, &str), Vec<&str>)| {
        let many = if labels.len() > 6 { " ..." } else { "" };
        let list = labels.iter().take(6).copied().collect::<Vec<_>>().join(", ");
        let what = format!("{} of its plays have no clip of their present frames: {list}{many}", labels.len());
        let next = format!("cut them with: downbox cut --game \"{game}\" and the films, or downbox check --repair");
        Finding::new(FindingKind::ToCut, format!("{game} {camera}"), what, next)
    };
    waiting.into_iter().map(told).collect()
}

/// Files in `clips` that no record names.
fn stray_clips(library: &Library, held: &Inventory) -> Vec<Finding> {
    let named: HashSet<&Path> = held.clips.iter().map(|clip| clip.path.as_path()).collect();
    let (files, faults) = walk(library.folder(), "clips");
    let mut found: Vec<Finding> = faults
        .into_iter()
        .map(|(path, cause)| {
            let what = format!("the folder cannot be listed ({cause})");
            Finding::new(FindingKind::ClipUnreadable, path.display(), what, "check who owns it and its permissions")
        })
        .collect();
    for path in files {
        let place = path.display();
        match Hidden::of(&path) {
            Hidden::Other | Hidden::Writing => {}
            Hidden::Leftover => found.push(leftover(&path)),
            Hidden::No if named.contains(path.as_path()) || is_report(&path) => {}
            Hidden::No if held.places.contains(&path) => found.push(Finding::new(
                FindingKind::Unrecorded,
                place,
                "a clip that is not recorded, of a run that was broken off or of its play as it was before",
                "nothing need be done; the next cut of this play takes its place",
            )),
            Hidden::No => found.push(Finding::new(
                FindingKind::Orphan,
                place,
                "the file belongs to no play",
                "move it elsewhere, or let downbox check --repair move it to lost+found",
            )),
        }
    }
    found
}

fn leftover(path: &Path) -> Finding {
    let next = "nothing need be done; downbox check --repair removes it";
    Finding::new(FindingKind::Leftover, path.display(), "half a file, of a run that was broken off", next)
}

/// Measurements, and what is remembered of films.
fn series(library: &Library, held: &Inventory, deep: bool) -> Result<Vec<Finding>> {
    let current = format!("-v{}", sense::VERSION);
    let mut found = Vec::new();
    let mut memories = HashSet::new();
    for path in walk(library.folder(), "series").0 {
        match Hidden::of(&path) {
            Hidden::Other | Hidden::Writing => continue,
            Hidden::Leftover => {
                found.push(leftover(&path));
                continue;
            }
            Hidden::No => {}
        }
        let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let film = held.films.iter().find(|film| name.starts_with(&format!("{}-", film.fingerprint)));
        let kind = film.map_or("", |film| &name[film.fingerprint.len()..]);
        let memory = kind == "-film";
        if film.is_none() {
            let next = "nothing need be done; a film that is not in the library was measured";
            let what = "a measurement of no film of the library";
            found.push(Finding::new(FindingKind::SeriesStray, path.display(), what, next));
        } else if !sealed(&library.at(&path), deep).unwrap_or(false) {
            let (kind, what, next) = if memory {
                let next = "let it be read again, if the film is there, with: downbox check --repair";
                (FindingKind::FilmMemory, "what is remembered of the film's frames is not as written", next)
            } else {
                let next = "it is measured again when it is needed; set it aside with: downbox check --repair";
                (FindingKind::SeriesBroken, "the measurement is not as written", next)
            };
            found.push(Finding::new(kind, path.display(), what, next));
        } else if !memory && kind.strip_suffix("-unfinished").unwrap_or(kind) != current {
            let next = "nothing need be done; downbox check --repair drops it where it can be made again";
            let what = "a measurement of another version of the program, not used any more";
            found.push(Finding::new(FindingKind::SeriesStale, path.display(), what, next));
        }
        if let (true, Some(film)) = (memory, film) {
            memories.insert(&film.fingerprint);
        }
    }
    for film in held.films.iter().filter(|film| !film.cameras.is_empty() && !memories.contains(&film.fingerprint)) {
        let place = format!("series/{}-film.json", film.fingerprint);
        let next = "let it be read again, if the film is there, with: downbox check --repair";
        found.push(Finding::new(
            FindingKind::FilmMemory,
            place,
            "what is remembered of the film's frames is lost",
            next,
        ));
    }
    Ok(found)
}
