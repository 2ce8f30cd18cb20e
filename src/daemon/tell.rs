//! The night's state in words, for `status`.

use std::path::Path;

use super::clock::told;
use super::decide::Next;
use super::night::{Game, Night, Running};
use super::pace::Pace;
use super::record::GameRecord;
use super::status::{Doing, GameStatus, Standing, Status};
use super::task::Step;
use crate::base::shown;

/// No more games are listed: a season.
const MOST: usize = 200;

impl Night {
    /// As it stands now. Who runs it and since when is left to the caller.
    pub fn status(&self) -> Status {
        let wall = self.world.clock.wall();
        let mut games: Vec<(&String, GameStatus)> =
            self.games.iter().map(|(folder, game)| (&game.day, self.game_status(folder, game))).collect();
        games.sort_by(|a, b| b.0.cmp(a.0).then_with(|| a.1.folder.cmp(&b.1.folder)));
        games.truncate(MOST);
        let loose = self.inbox.loose().map(|path| (path, "it lies in no game's folder: make one for it".to_string()));
        let skipped = self.inbox.walked.skipped.iter().map(|(path, why)| (path.as_path(), why.clone()));
        let files: Vec<(String, String)> =
            loose.chain(skipped).take(20).map(|(path, why)| (shown(&path.to_string_lossy()), why)).collect();
        let untaken = self.inbox.loose().count() + self.inbox.walked.skipped_count + self.inbox.walked.others;
        Status {
            seen: told(&wall),
            seen_seconds: wall.timestamp().as_second(),
            paused: if self.waits() { self.paused.clone() } else { String::new() },
            doing: self.running.as_ref().map(|running| self.doing(running)),
            expected: self.expected().map(|left| {
                let end = wall.checked_add(jiff::SignedDuration::from_secs(left as i64)).unwrap_or(wall.clone());
                format!("about {}", end.strftime("%H:%M on %A"))
            }),
            inbox: self.settings.inbox.display().to_string(),
            warnings: self.warnings.clone(),
            games: games.into_iter().map(|(_, game)| game).collect(),
            room: self.world.disk.room(&self.settings.library),
            reserve: self.settings.reserve,
            untaken,
            untaken_files: files,
            ..Status::default()
        }
    }

    fn waits(&self) -> bool {
        self.running.is_some() || self.games.values().any(|game| matches!(game.next, Next::Do(_)))
    }

    fn doing(&self, running: &Running) -> Doing {
        let reading = running.gauge.read();
        let game = self.games.get(&running.task.folder).map_or("", |game| game.name.as_str());
        let camera = running.task.camera.as_ref().map(|camera| format!(", {camera}")).unwrap_or_default();
        let broken = if running.broken.is_some() { " (stopping)" } else { "" };
        Doing {
            game: shown(game),
            step: running.task.name(),
            words: shown(&format!("{}{camera}{broken}", running.task.step.doing())),
            stage: reading.stage,
            share: reading.share,
            rate: reading.rate,
            left_seconds: reading.left,
        }
    }

    fn game_status(&self, folder: &Path, game: &Game) -> GameStatus {
        let none = GameRecord::default();
        let record = self.kept.get(folder).unwrap_or(&none);
        let running = self.running.as_ref().is_some_and(|running| running.task.folder == folder);
        let so_far = || if record.told.plays > 0 { record.told.in_short() } else { String::new() };
        let (standing, words, next) = match &game.next {
            _ if running => (Standing::Doing, so_far(), String::new()),
            Next::Do(task) => {
                let words = format!("next: {}", task.step.doing());
                (
                    Standing::Queued,
                    [so_far(), words].into_iter().filter(|w| !w.is_empty()).collect::<Vec<_>>().join("; "),
                    String::new(),
                )
            }
            Next::Settling(why) => (Standing::Settling, why.clone(), String::new()),
            Next::Waiting(why) => (Standing::Waiting, why.clone(), String::new()),
            Next::Done => (Standing::Done, so_far(), String::new()),
            Next::Failed(what, next) => (Standing::Failed, what.clone(), next.clone()),
            Next::Away(why) => (Standing::Away, why.clone(), String::new()),
            Next::NoFilm => (
                Standing::NoFilm,
                "the game folder holds no film".into(),
                "put the films into it, named by angle: sideline.mp4, end-zone.mp4, or folders of those names".into(),
            ),
        };
        let done = Step::ALL.iter().flat_map(|step| {
            let of = |name: &&String| **name == step.word() || name.starts_with(&format!("{} ", step.word()));
            record.steps.iter().filter(|(_, done)| done.fault.is_none()).map(|(name, _)| name).filter(of).cloned()
        });
        GameStatus {
            folder: shown(&folder.to_string_lossy()),
            game: shown(&game.name),
            standing,
            words: shown(&words),
            next: shown(&next),
            done: done.map(|name| shown(&name)).collect(),
            aside: record.told.aside.iter().map(|aside| aside.each_ref().map(|part| shown(part))).collect(),
            report: record.reports.first().map(|file| Status::relative(&self.settings.library, file)),
        }
    }

    /// Seconds until all is done; `None` where nothing waits.
    fn expected(&self) -> Option<f64> {
        if !self.waits() {
            return None;
        }
        let mut left = 0.0;
        let now = self.world.clock.now();
        for (folder, game) in &self.games {
            let running = self.running.as_ref().filter(|running| running.task.folder == *folder);
            let from = match (&game.next, running) {
                (_, Some(running)) => running.task.step,
                (Next::Do(task), None) => task.step,
                _ => continue,
            };
            let record = self.kept.get(folder);
            let known: f64 = record.map_or(0.0, |record| record.cameras.values().map(|c| c.seconds).sum());
            let film = if known > 0.0 { known } else { Pace::film_of(game.bytes) };
            let steps = Step::ALL.iter().filter(|step| **step >= from);
            left += steps.map(|step| self.pace.expected(*step, film)).sum::<f64>();
            if let Some(running) = running {
                let gone = now.saturating_sub(running.began).as_secs_f64();
                left -= gone.min(self.pace.expected(running.task.step, running.film));
            }
        }
        Some(left.max(0.0))
    }

    /// What a single round came to.
    pub fn round(&self) -> Round {
        let mut round = Round::default();
        for (folder, game) in &self.games {
            let status = self.game_status(folder, game);
            let next = if status.next.is_empty() { String::new() } else { format!("; next: {}", status.next) };
            let told = (status.folder, format!("{}{next}", status.words));
            match status.standing {
                Standing::Done if self.worked.contains(folder) => round.taken.push(told),
                Standing::Done => {}
                Standing::NoFilm => round.empty.push(told),
                Standing::Settling => round.changing.push(told),
                _ => round.failed.push(told),
            }
        }
        round
    }
}

/// What a round came to: folders and words.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Round {
    /// Games of which something was done, and all is.
    pub taken: Vec<(String, String)>,
    /// Games that failed or wait for something.
    pub failed: Vec<(String, String)>,
    /// Games whose files are still coming.
    pub changing: Vec<(String, String)>,
    /// Folders without film.
    pub empty: Vec<(String, String)>,
}
