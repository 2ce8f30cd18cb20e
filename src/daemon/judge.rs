//! Every game looked at anew: what is next for it, whose command is to be run, what a person should know.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::decide::{self, Next, Rules, View};
use super::event::{Level, Order};
use super::hook::Hook;
use super::night::{Game, Night, OwnSettings};
use super::power::Supply;
use super::task::Step;
use crate::base::{Error, shown};
use crate::watch::{GAME, GameFolder, GameToml, Stamp};

impl Night {
    pub(super) fn judge(&mut self, now: Duration, orders: &mut Vec<Order>) {
        self.look = false;
        self.looks += 1;
        let no_room = self.no_room(now);
        self.due.retain(|_, due| *due > now);
        let folders = self.inbox.folders();
        let mut games = BTreeMap::new();
        for (folder, files) in &folders {
            if !self.kept.contains_key(folder) {
                self.kept.insert(folder.clone(), self.records.load(folder));
            }
            let own = self.own_of(folder, files);
            let Some(record) = self.kept.get(folder) else { continue };
            let (name, day, next) = match own {
                Err((what, next)) => (shown(&folder.to_string_lossy()), String::new(), Next::Failed(what, next)),
                Ok(own) => {
                    let game = GameFolder::read(folder, files, &self.settings.angles, &own);
                    let day = game.date.clone().unwrap_or_else(|| newest(files));
                    let name = game.game.clone();
                    let (inbox, settle) = (&self.inbox, self.settings.settle);
                    let standing = |path: &Path| inbox.standing(path, now, settle);
                    let due = |step: &str| !self.due.contains_key(&(folder.clone(), step.to_string()));
                    let rules = Rules {
                        patience: self.settings.patience,
                        prepare: self.settings.prepare,
                        settings: &self.settings.key,
                        no_room: no_room.as_deref(),
                        due: &due,
                    };
                    let inbox = &self.settings.inbox;
                    let view = View { inbox, folder, files, standing: &standing, own: &own, game };
                    (name, day, decide::next(&view, record, &rules))
                }
            };
            let bytes = files.values().map(|stamp| stamp.size).sum();
            games.insert(folder.clone(), Game { name, day, next, bytes });
        }
        // A folder that was worked on and is not there now: its record stands.
        for (folder, game) in std::mem::take(&mut self.games) {
            if !games.contains_key(&folder) && !matches!(game.next, Next::NoFilm) {
                let next = match game.next {
                    Next::Done => Next::Done,
                    _ => Next::Away("its folder is not there any more; it goes on when it is back".into()),
                };
                games.insert(folder, Game { next, ..game });
            }
        }
        self.games = games;
        let hooks: Vec<_> = self.games.iter().filter_map(|(folder, game)| self.hook(folder, game)).collect();
        for (folder, state, hook) in hooks {
            self.hooks += 1;
            self.record(&folder).hooked = state.clone();
            orders.push(Order::Hook(folder, state, hook));
        }
        self.warn(no_room, orders);
    }

    fn own_of(&mut self, folder: &Path, files: &BTreeMap<PathBuf, Stamp>) -> OwnSettings {
        let named = |path: &&PathBuf| {
            path.parent() == Some(folder) && path.file_name().is_some_and(|name| name.eq_ignore_ascii_case(GAME))
        };
        let Some(path) = files.keys().find(named) else { return Ok(GameToml::default()) };
        let stamp = files.get(path).copied().unwrap_or_default();
        if let Some((known, own)) = self.own.get(path)
            && *known == stamp
        {
            return own.clone();
        }
        let place = self.settings.inbox.join(path);
        let told = |error: &Error| (error.to_string(), error.next.clone());
        let own = match self.world.disk.text(&place) {
            Ok(text) => GameToml::read(&text, &place).map_err(|error| told(&error)),
            Err(cause) => {
                Err((format!("cannot read the game's settings: {} ({cause})", place.display()), String::new()))
            }
        };
        self.own.insert(path.clone(), (stamp, own.clone()));
        own
    }

    /// The staff's command for a game that is done or has failed, unless it was told of it.
    fn hook(&self, folder: &Path, game: &Game) -> Option<(PathBuf, String, Hook)> {
        let record = self.kept.get(folder)?;
        let (word, command, words) = match &game.next {
            Next::Done => ("done", &self.settings.after_done, record.told.in_short()),
            Next::Failed(what, _) => ("failed", &self.settings.after_failed, what.clone()),
            _ => return None,
        };
        // One that failed before anything was done of it has no report.
        let report = record.steps.get(Step::Report.word()).map_or(words.as_str(), |report| &report.key);
        let state = format!("{word} {report}");
        if command.trim().is_empty() || record.hooked == state {
            return None;
        }
        let page = record.reports.first().map(|file| file.display().to_string()).unwrap_or_default();
        let told = [
            ("DOWNBOX_GAME", game.name.clone()),
            ("DOWNBOX_STATE", word.to_string()),
            ("DOWNBOX_WORDS", words),
            ("DOWNBOX_REPORT", page),
            ("DOWNBOX_LIBRARY", self.settings.library.display().to_string()),
        ];
        let told = told.into_iter().map(|(name, value)| (name.to_string(), shown(&value))).collect();
        let hook = Hook { command: command.clone(), told, limit: self.settings.hook_limit };
        Some((folder.to_path_buf(), state, hook))
    }

    /// What a person should know of, told once each time it changes.
    fn warn(&mut self, no_room: Option<String>, orders: &mut Vec<Order>) {
        let mut all: Vec<(&'static str, String)> = Vec::new();
        let reserve = self.settings.reserve;
        match (no_room, self.world.disk.room(&self.settings.library)) {
            (Some(why), _) => all.push(("room", why)),
            (None, Some(room)) if reserve > 0 && room < reserve.saturating_mul(2) => all.push((
                "room",
                format!(
                    "the disk fills up: {:.0} GB are free, {:.0} are kept free",
                    room as f64 / 1e9,
                    reserve as f64 / 1e9
                ),
            )),
            _ => {}
        }
        if let Some(cause) = &self.inbox_away {
            all.push(("inbox", format!("the inbox cannot be read: {cause}")));
        }
        if self.supply != Supply::Mains && self.games.values().any(|game| matches!(game.next, Next::Do(_))) {
            all.push(("power", "the machine runs on battery while work waits: plug it in".to_string()));
        }
        for (what, words) in &all {
            if self.said.get(what) != Some(words) {
                orders.push(Order::Say(Level::Warn, words.clone()));
            }
        }
        self.said = all.iter().cloned().collect();
        self.warnings = all.into_iter().map(|(_, words)| words).collect();
    }
}

/// The day of a folder's newest file, for games whose date nobody told.
fn newest(files: &BTreeMap<PathBuf, Stamp>) -> String {
    let newest = files.values().map(|stamp| stamp.changed).max().unwrap_or(0);
    let time = i128::try_from(newest).ok().and_then(|nanos| jiff::Timestamp::from_nanosecond(nanos).ok());
    time.map(|time| time.strftime("%Y-%m-%d").to_string()).unwrap_or_default()
}
