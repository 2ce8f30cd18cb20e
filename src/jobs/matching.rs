//! Rows of a tag sheet laid to the plays of the film.

use std::path::{Path, PathBuf};

use super::Config;
use super::play_facts::{Reference, play_facts};
use super::time_of_day::on_one_clock;
use crate::base::{Error, Problem, Result};
use crate::library::{CameraShot, Library, PinFound, RowIn};
use crate::sheet::{
    MatchSettings, Matching, Pair, Pin, PlayFacts, Rival, Row, RowFacts, Sheet, Unmatched, match_rows, row_facts,
};

/// A tag sheet's rows, read now or kept in the library. A game may have several, one for each half; they are read one
/// after the other, and each row's address names its file.
pub(super) struct TagSheet {
    /// The first file.
    pub path: PathBuf,
    /// Its rows.
    pub rows: Vec<Row>,
    /// What is wrong in it.
    pub problems: Vec<Problem>,
}

/// Seconds by which a file's first time lies before the last of the file above it if its times begin anew.
const BEGINS_ANEW: f64 = 300.0;

impl TagSheet {
    /// Reads the files of a game's sheet; `None` where there is none.
    ///
    /// # Errors
    /// A file cannot be read as a sheet; two have one name, so that their rows would have one address.
    pub fn open(paths: &[PathBuf], config: &Config) -> Result<Option<Self>> {
        let mut all: Option<Self> = None;
        for (number, path) in paths.iter().enumerate() {
            if let Some(twin) = paths[..number].iter().find(|other| other.file_name() == path.file_name()) {
                return Err(Error::refused(
                    format!("two tag sheets of the game have one name, as {}", twin.display()),
                    path.display(),
                    "rename one of them, such as first-half.csv and second-half.csv",
                ));
            }
            let sheet = Self::open_one(path, config)?;
            match &mut all {
                None => all = Some(sheet),
                Some(all) => {
                    all.rows.extend(sheet.rows);
                    all.problems.extend(sheet.problems);
                }
            }
        }
        Ok(all)
    }

    fn open_one(path: &Path, config: &Config) -> Result<Self> {
        let sheet = Sheet::open(path, &config.columns, &config.vocabulary)?;
        Ok(Self { path: path.to_path_buf(), rows: sheet.rows, problems: sheet.problems })
    }

    /// The sheet that the library has of a game; its problems were told when it was read.
    pub fn kept(library: &Library, game: &str) -> Result<Option<Self>> {
        let Some(found) = library.sheet(game)? else { return Ok(None) };
        let row = |(index, row): (usize, RowIn)| Row { place: row.place, number: index as u32 + 2, tags: row.tags };
        let rows = found.rows.into_iter().enumerate().map(row).collect();
        Ok(Some(Self { path: found.path, rows, problems: Vec::new() }))
    }

    /// Its rows as the library takes them.
    pub fn rows_in(&self) -> Vec<RowIn> {
        self.rows.iter().map(|r| RowIn { place: r.place.clone(), tags: r.tags.clone() }).collect()
    }

    /// Which play each row belongs to. `plays` are those of the game in film order by their shots, under `labels`;
    /// `reference` is the camera by whose film the times were typed. With it, where the times are times of day: by how
    /// many seconds the watch runs ahead of the film's recording time.
    pub fn join(
        &self,
        (labels, plays): (&[&str], &[&[CameraShot]]),
        reference: &Reference,
        pins: &[PinFound],
        settings: &MatchSettings,
    ) -> (Matching, Option<f64>) {
        let mut facts = play_facts(plays, reference);
        let mut rows = row_facts(&self.rows);
        self.lay_pins(&mut rows, labels, &mut facts, pins);
        if let (Some(film), None) = (&reference.film, settings.offset)
            && let Some(one) = on_one_clock(&rows, &facts, film)
        {
            let matching = match_rows(&one.rows, &one.plays, settings);
            // An offset from the film's own beginning would say nothing here.
            return (Matching { line: None, ..matching }, Some(one.ahead));
        }
        let matching = match self.restart(&rows) {
            None => match_rows(&rows, &facts, settings),
            Some(at) => by_halves(&rows, at, &facts, settings),
        };
        (matching, None)
    }

    /// Lays a person's word over rows and plays.
    fn lay_pins(&self, rows: &mut [RowFacts], labels: &[&str], plays: &mut [PlayFacts], pins: &[PinFound]) {
        for pin in pins {
            let row = pin.place.as_ref().map(|place| self.rows.iter().position(|row| row.place == *place));
            let play = pin.label.as_ref().map(|label| labels.iter().position(|l| l == label));
            match (row, play) {
                (Some(Some(row)), Some(Some(play))) => rows[row].pin = Pin::Play(play),
                // The row of a play that is not found any more is no other play's.
                (Some(Some(row)), _) => rows[row].pin = Pin::Nothing,
                (None, Some(Some(play))) => plays[play].no_row = true,
                _ => {}
            }
        }
    }

    /// The row at which another file begins whose times begin anew, too.
    fn restart(&self, rows: &[RowFacts]) -> Option<usize> {
        let file = |row: &Row| row.place.rsplit_once([':', '!']).map(|(file, _)| file.to_string());
        let at = (1..self.rows.len()).find(|at| file(&self.rows[*at]) != file(&self.rows[at - 1]))?;
        let last = rows[..at].iter().filter_map(|row| row.time).next_back()?;
        let first = rows[at..].iter().find_map(|row| row.time)?;
        (first < last - BEGINS_ANEW).then_some(at)
    }
}

/// The first half's rows by their times, then the other's on the plays behind: each half's film began at 0, so that its
/// times, less the first of them, stand from where the first half ended.
fn by_halves(rows: &[RowFacts], at: usize, plays: &[PlayFacts], settings: &MatchSettings) -> Matching {
    let first = match_rows(&rows[..at], plays, settings);
    let from = first.pairs.iter().filter(|pair| pair.doubt.is_none()).map(|pair| pair.play + 1).max().unwrap_or(0);
    let begin = plays.get(from).map_or(0.0, |play| play.time);
    let time = rows[at..].iter().find_map(|row| row.time).unwrap_or(0.0);
    let moved: Vec<RowFacts> = rows[at..]
        .iter()
        .map(|row| RowFacts {
            time: row.time.map(|t| t - time + begin),
            pin: match row.pin {
                Pin::Play(play) => play.checked_sub(from).map_or(Pin::Nothing, Pin::Play),
                other => other,
            },
            ..*row
        })
        .collect();
    let second = match_rows(&moved, &plays[from..], &MatchSettings::default());
    let Matching { mut pairs, unmatched_rows: mut lost, line, spread, runner_up, .. } = first;
    pairs.retain(|pair| pair.play < from);
    let is_told = |row: &usize| pairs.iter().any(|p| p.row == *row) || lost.iter().any(|u| u.row == *row);
    let untold: Vec<usize> = (0..at).filter(|row| !is_told(row)).collect();
    let why = "it stands in the first half's sheet, and its play may be the second half's";
    lost.extend(untold.into_iter().map(|row| Unmatched::new(row, why)));
    let there = |rival: Rival| Rival { play: rival.play.map(|p| p + from), ..rival };
    pairs.extend(second.pairs.into_iter().map(|pair| Pair {
        row: pair.row + at,
        play: pair.play + from,
        rival: pair.rival.map(there),
        ..pair
    }));
    lost.extend(second.unmatched_rows.into_iter().map(|row| Unmatched {
        row: row.row + at,
        rival: row.rival.map(there),
        ..row
    }));
    Matching { line, spread, runner_up, ..Matching::of(pairs, lost, plays.len()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(times: &[f64]) -> Vec<RowFacts> {
        times.iter().map(|time| RowFacts { time: Some(*time), ..RowFacts::default() }).collect()
    }

    #[test]
    fn each_half_stands_on_its_own_plays_and_no_row_is_lost() {
        let snaps = [20.0, 61.0, 95.0, 148.0, 190.0, 231.0, 400.0, 433.0, 489.0, 530.0, 571.0, 640.0];
        let plays: Vec<PlayFacts> =
            snaps.iter().map(|time| PlayFacts { time: *time, ..PlayFacts::default() }).collect();
        let first: Vec<f64> = snaps[..6].to_vec();
        let second: Vec<f64> = snaps[6..].iter().map(|time| time - 390.0).collect();
        let both = rows(&[first, second].concat());
        let matching = by_halves(&both, 6, &plays, &MatchSettings::default());
        let joined: Vec<(usize, usize)> = matching.pairs.iter().map(|p| (p.row, p.play)).collect();
        assert_eq!(joined, (0..12).map(|n| (n, n)).collect::<Vec<_>>());
        // The camera stopped at half time: the second sheet's rows have no play, and each is told.
        let matching = by_halves(&both, 6, &plays[..6], &MatchSettings::default());
        assert_eq!(matching.pairs.len(), 6);
        assert_eq!(matching.unmatched_rows.iter().map(|u| u.row).collect::<Vec<_>>(), (6..12).collect::<Vec<_>>());
    }
}
