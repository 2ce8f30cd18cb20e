//! Rounds over the inbox.

use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;
use std::time::Duration;

use super::game_folder::{GameFolder, Listing, list, unfinished};
use super::ledger::Ledger;
use crate::base::{ErrorKind, IoContext, Progress, Result, go_on};

/// The inbox of a library.
pub struct Inbox<'a> {
    /// The folder in which game folders are dropped.
    pub folder: PathBuf,
    /// How long a game folder must stay unchanged before it is taken. Time stamps do not tell: a copy may keep them.
    pub settle: Duration,
    /// Warnings go here.
    pub progress: &'a dyn Progress,
}

/// What one round did.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub struct Round {
    /// Folders taken, with the outcome's words.
    pub taken: Vec<(String, String)>,
    /// Folders that failed, with the error's words.
    pub failed: Vec<(String, String)>,
    /// Folders that are still changing.
    pub changing: Vec<String>,
}

impl Inbox<'_> {
    fn look(&self) -> Result<BTreeMap<String, Listing>> {
        fs::create_dir_all(&self.folder).doing("make the inbox", &self.folder)?;
        let mut found = BTreeMap::new();
        for entry in fs::read_dir(&self.folder).doing("read the inbox", &self.folder)? {
            let entry = entry.doing("read the inbox", &self.folder)?;
            let name = entry.file_name().to_string_lossy().into_owned();
            if name.starts_with('.') || !entry.path().is_dir() {
                continue;
            }
            // A folder that vanishes while it is read was not meant for us yet.
            if let Ok(listing) = list(&entry.path()) {
                found.insert(name, listing);
            }
        }
        Ok(found)
    }

    /// One round: looks, waits `settle` by `wait`, looks again, and hands every folder that stayed the same and is
    /// not in the ledger to `take`. A folder that fails does not keep the others from being taken.
    pub fn round(
        &self,
        ledger: &mut Ledger,
        wait: &mut dyn FnMut(Duration),
        take: &mut dyn FnMut(&GameFolder) -> Result<String>,
    ) -> Result<Round> {
        let mut round = Round::default();
        let before = self.look()?;
        let new: Vec<_> =
            before.iter().filter(|(name, listing)| !listing.is_empty() && !ledger.knows(name, listing)).collect();
        if new.is_empty() {
            return Ok(round);
        }
        wait(self.settle);
        go_on(self.progress, "waiting for the inbox to settle")?;
        let now = self.look()?;
        for (name, listing) in new {
            if now.get(name) != Some(listing) || unfinished(listing) {
                round.changing.push(name.clone());
                continue;
            }
            let outcome = GameFolder::read(&self.folder.join(name), listing).and_then(|game| take(&game));
            match outcome {
                Ok(words) => {
                    ledger.note(name, listing, &words, false)?;
                    round.taken.push((name.clone(), words));
                }
                // A stop is no fault of the folder.
                Err(error) if error.kind == ErrorKind::Interrupted => return Err(error),
                Err(error) => {
                    let words = if error.next.is_empty() {
                        error.to_string()
                    } else {
                        format!("{error}; next: {}", error.next)
                    };
                    self.progress.warn(&format!("inbox/{name} was not taken: {words}"));
                    // What is refused waits for a person to change the files. All else (a full disk, a drive that was
                    // away, another process) may pass, and what was done until then is not done again.
                    if error.kind == ErrorKind::Refused {
                        ledger.note(name, listing, &words, true)?;
                    }
                    round.failed.push((name.clone(), words));
                }
            }
        }
        Ok(round)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::{Error, Silent};

    struct Place {
        _keep: tempfile::TempDir,
        root: PathBuf,
    }

    fn place() -> Place {
        let keep = tempfile::tempdir().unwrap();
        let root = keep.path().to_path_buf();
        Place { _keep: keep, root }
    }

    fn put(place: &Place, name: &str, text: &str) {
        let path = place.root.join("inbox").join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }

    fn round(place: &Place, wait: &mut dyn FnMut(Duration), fails: bool) -> (Round, Vec<String>) {
        let inbox = Inbox { folder: place.root.join("inbox"), settle: Duration::from_secs(20), progress: &Silent };
        let mut ledger = Ledger::open(&place.root.join("log/inbox.json"));
        let mut games = Vec::new();
        let done = inbox
            .round(&mut ledger, wait, &mut |game| {
                games.push(game.game.clone());
                if fails { Err(Error::refused("no film", "x", "y")) } else { Ok("12 plays".into()) }
            })
            .unwrap();
        (done, games)
    }

    #[test]
    fn a_settled_folder_is_taken_once_and_again_only_when_it_changed() {
        let place = place();
        put(&place, "Badgers/sideline.mp4", "film");
        let mut waited = Duration::ZERO;
        let (_, games) = round(&place, &mut |d| waited += d, false);
        assert_eq!(games, ["Badgers"]);
        assert_eq!(waited, Duration::from_secs(20));
        assert_eq!(round(&place, &mut |_| panic!("nothing is new"), false).1, Vec::<String>::new());
        put(&place, "Badgers/tags.csv", "Down");
        assert_eq!(round(&place, &mut |_| {}, false).1, ["Badgers"]);
    }

    #[test]
    fn a_folder_that_grows_is_left_and_the_other_taken() {
        let place = place();
        put(&place, "Badgers/sideline.mp4", "film");
        put(&place, "Herons/sideline.mp4", "fi");
        let (done, games) = round(&place, &mut |_| put(&place, "Herons/sideline.mp4", "film"), false);
        assert_eq!(games, ["Badgers"]);
        assert_eq!(done.changing, ["Herons"]);
        assert_eq!(round(&place, &mut |_| {}, false).1, ["Herons"]);
    }

    #[test]
    fn a_failure_is_told_and_not_repeated_until_files_change() {
        let place = place();
        put(&place, "Badgers/sideline.mp4", "film");
        let (done, _) = round(&place, &mut |_| {}, true);
        assert_eq!(done.failed, [("Badgers".to_string(), "no film: x; next: y".to_string())]);
        assert!(round(&place, &mut |_| {}, false).1.is_empty());
        put(&place, "Badgers/sideline.mp4", "better film");
        assert_eq!(round(&place, &mut |_| {}, false).1, ["Badgers"]);
    }
}
