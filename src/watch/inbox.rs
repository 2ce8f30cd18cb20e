//! What lies in the inbox and for how long it has not changed.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::whole::Whole;
use super::{Disk, Kind, Stamp, Walked};

/// How long a film that promises nothing of its own length must be quiet, in settling times.
const UNTOLD: u32 = 3;

/// What is known of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Seen {
    stamp: Stamp,
    /// When it was first seen with this stamp, on the clock that never goes back.
    since: Duration,
    /// What its container says, once it was asked.
    whole: Option<Whole>,
}

/// How a file stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Standing {
    /// Unchanged for long enough, and all there.
    Settled,
    /// It changed a moment ago.
    Changing,
    /// It does not change and is not all there: why, and for how long.
    Short(String, Duration),
    /// It is no film: why.
    NoFilm(String),
}

/// The inbox over time. Only what is read counts; events say when to read.
#[derive(Debug, Default)]
pub struct Inbox {
    files: BTreeMap<PathBuf, Seen>,
    /// What lies in it besides.
    pub walked: Walked,
}

impl Inbox {
    /// Takes what was found now. What is not there any more is forgotten: should it come back, it settles anew.
    pub fn take(&mut self, walked: Walked, now: Duration) {
        self.files.retain(|path, _| walked.files.contains_key(path));
        for (path, stamp) in &walked.files {
            match self.files.get_mut(path) {
                Some(seen) if seen.stamp == *stamp => {}
                Some(seen) => *seen = Seen { stamp: *stamp, since: now, whole: None },
                None => {
                    self.files.insert(path.clone(), Seen { stamp: *stamp, since: now, whole: None });
                }
            }
        }
        self.walked = walked;
    }

    /// Asks the containers of films that have just settled.
    pub fn ask(&mut self, disk: &dyn Disk, inbox: &Path, now: Duration, settle: Duration) {
        for (path, seen) in &mut self.files {
            if seen.whole.is_none() && Kind::of(path) == Kind::Film && now.saturating_sub(seen.since) >= settle {
                // One that cannot be read is asked again the next time.
                seen.whole = disk.whole(&inbox.join(path)).ok();
            }
        }
    }

    /// How a file stands.
    pub fn standing(&self, path: &Path, now: Duration, settle: Duration) -> Standing {
        let Some(seen) = self.files.get(path) else { return Standing::Changing };
        let quiet = now.saturating_sub(seen.since);
        if quiet < settle {
            return Standing::Changing;
        }
        match (Kind::of(path), &seen.whole) {
            (Kind::Unfinished, _) => Standing::Short("it is still being copied, by its name".into(), quiet),
            (Kind::Film, None) => Standing::Changing,
            (Kind::Film, Some(Whole::NoFilm(why))) => Standing::NoFilm(why.clone()),
            (Kind::Film, Some(Whole::Not(why))) => Standing::Short(why.clone(), quiet),
            (Kind::Film, Some(Whole::Untold)) if quiet < settle * UNTOLD => Standing::Changing,
            _ => Standing::Settled,
        }
    }

    /// How long until the next file may have settled; `None` where none is changing.
    pub fn next(&self, now: Duration, settle: Duration) -> Option<Duration> {
        let due = |(path, seen): (&PathBuf, &Seen)| {
            let quiet = now.saturating_sub(seen.since);
            let untold = seen.whole == Some(Whole::Untold) && Kind::of(path) == Kind::Film;
            let needed = if untold { settle * UNTOLD } else { settle };
            (quiet < needed).then(|| needed - quiet)
        };
        self.files.iter().filter_map(due).min()
    }

    /// Folders with what lies in each, by folder.
    pub fn folders(&self) -> BTreeMap<PathBuf, BTreeMap<PathBuf, Stamp>> {
        let mut out: BTreeMap<PathBuf, BTreeMap<PathBuf, Stamp>> =
            self.walked.folders.iter().map(|folder| (folder.clone(), BTreeMap::new())).collect();
        for (path, seen) in &self.files {
            let mut parts = path.components();
            let (Some(first), Some(_)) = (parts.next(), parts.next()) else { continue };
            out.entry(PathBuf::from(first.as_os_str())).or_default().insert(path.clone(), seen.stamp);
        }
        out
    }

    /// Films and sheets that lie in the inbox itself, in no game's folder.
    pub fn loose(&self) -> impl Iterator<Item = &Path> {
        self.files.keys().filter(|path| path.components().count() == 1).map(PathBuf::as_path)
    }
}

#[cfg(test)]
mod tests {
    use std::io;

    use super::*;

    /// Every film says the same of itself.
    struct Says(Whole);

    impl Disk for Says {
        fn walk(&self, _: &Path) -> io::Result<Walked> {
            Ok(Walked::default())
        }
        fn stamp(&self, _: &Path) -> Option<Stamp> {
            None
        }
        fn whole(&self, _: &Path) -> io::Result<Whole> {
            Ok(self.0.clone())
        }
        fn text(&self, _: &Path) -> io::Result<String> {
            Ok(String::new())
        }
        fn room(&self, _: &Path) -> Option<u64> {
            None
        }
    }

    const SETTLE: Duration = Duration::from_secs(20);

    fn at(seconds: u64) -> Duration {
        Duration::from_secs(seconds)
    }

    fn walked(files: &[(&str, u64)]) -> Walked {
        let stamp = |size| Stamp { size, changed: 7 };
        Walked { files: files.iter().map(|(n, size)| (n.into(), stamp(*size))).collect(), ..Walked::default() }
    }

    #[test]
    fn a_file_settles_when_nothing_of_it_has_changed_for_long_enough() {
        let mut inbox = Inbox::default();
        let film = Path::new("B/wide.mp4");
        let look = |inbox: &mut Inbox, size, now| {
            inbox.take(walked(&[("B/wide.mp4", size)]), at(now));
            inbox.ask(&Says(Whole::Yes), Path::new(""), at(now), SETTLE);
            inbox.standing(film, at(now), SETTLE)
        };
        assert_eq!(look(&mut inbox, 1, 0), Standing::Changing);
        assert_eq!(inbox.next(at(0), SETTLE), Some(SETTLE));
        assert_eq!(look(&mut inbox, 2, 19), Standing::Changing);
        assert_eq!(look(&mut inbox, 2, 38), Standing::Changing);
        assert_eq!(look(&mut inbox, 2, 39), Standing::Settled);
        assert_eq!(inbox.next(at(39), SETTLE), None);
        // Away for a moment: it settles anew.
        inbox.take(walked(&[]), at(50));
        assert_eq!(look(&mut inbox, 2, 51), Standing::Changing);
    }

    #[test]
    fn what_is_not_whole_is_told_apart_and_what_promises_nothing_waits_longer() {
        let standing = |says: Whole, now| {
            let mut inbox = Inbox::default();
            inbox.take(walked(&[("B/wide.mp4", 9)]), at(0));
            inbox.ask(&Says(says), Path::new(""), at(now), SETTLE);
            inbox.standing(Path::new("B/wide.mp4"), at(now), SETTLE)
        };
        assert_eq!(standing(Whole::Untold, 59), Standing::Changing);
        assert_eq!(standing(Whole::Untold, 60), Standing::Settled);
        assert_eq!(standing(Whole::Not("half".into()), 80), Standing::Short("half".into(), at(80)));
        assert_eq!(standing(Whole::NoFilm("text".into()), 20), Standing::NoFilm("text".into()));
        let mut inbox = Inbox::default();
        inbox.take(walked(&[("B/wide.mp4.part", 9), ("loose.mp4", 1)]), at(0));
        assert!(matches!(inbox.standing(Path::new("B/wide.mp4.part"), at(20), SETTLE), Standing::Short(..)));
        assert_eq!(inbox.loose().collect::<Vec<_>>(), [Path::new("loose.mp4")]);
        assert_eq!(inbox.folders().len(), 1);
    }
}
