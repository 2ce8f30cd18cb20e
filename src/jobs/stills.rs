//! Contact sheets: one picture a play.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::footage::Footage;
use super::texts::{distance, down_or_word, game_title, telling};
use super::{Config, Tools};
use crate::base::{Problem, Result, go_on};
use crate::filter::{self, Filter};
use crate::football::Field;
use crate::library::{GameFound, Library, PlayFound};
use crate::report::{ContactSheet, Tile, TilePicture};

/// A contact sheet that was made.
#[derive(Debug, Default)]
pub struct StillsDone {
    /// How the phrase was read.
    pub reads: String,
    /// How many plays are on it.
    pub plays: usize,
    /// Its pages; none where no play fits.
    pub pages: Vec<PathBuf>,
    /// Plays without a picture, signs without a glyph.
    pub problems: Vec<Problem>,
}

/// Draws a contact sheet of the plays that fit `phrase` (all of them where it is empty) into `out`, further pages
/// beside it. Where no play fits, or with `dry_run`, nothing is written.
///
/// # Errors
/// A phrase that cannot be read; an ending other than `.png`; a full disk.
pub fn stills(
    tools: Tools<'_>,
    config: &Config,
    library: &Library,
    phrase: &str,
    out: &Path,
    dry_run: bool,
) -> Result<StillsDone> {
    ContactSheet::check_name(out)?;
    let filter = filter::parse(phrase, &config.words(library)?)?;
    let found = library.plays(&filter)?;
    let mut done = StillsDone { reads: filter.to_string(), plays: found.len(), ..StillsDone::default() };
    if found.is_empty() || dry_run {
        return Ok(done);
    }
    tools.progress.stage("pictures", found.len() as u64);
    let games = library.games()?;
    let sheeted: BTreeSet<&String> = games.iter().filter(|g| g.sheet.is_some()).map(|g| &g.name).collect();
    let mut sheet = heading(&games, &filter, &found);
    for (index, play) in found.iter().enumerate() {
        go_on(tools.progress, "looking for pictures; no sheet was written")?;
        let picture = match picture(tools, library, play) {
            Ok(picture) => picture,
            Err(error) => {
                let place = format!("{} play {}", play.record.game, play.record.label);
                done.problems.push(Problem::new(place, error.to_string()));
                None
            }
        };
        sheet.tiles.push(tile(play, picture, sheeted.contains(&play.record.game)));
        tools.progress.at(index as u64 + 1);
    }
    done.problems.extend(sheet.problems());
    done.pages = sheet.write(out)?;
    Ok(done)
}

/// The game, or how many; the phrase as it was read, and the date.
fn heading(games: &[GameFound], filter: &Filter, found: &[PlayFound]) -> ContactSheet {
    let mut names: Vec<&str> = found.iter().map(|play| play.record.game.as_str()).collect();
    names.dedup();
    let title = match names.as_slice() {
        [one] => game_title(one, games),
        more => format!("{} games", more.len()),
    };
    let date = found.first().and_then(|play| play.record.date.clone()).filter(|_| names.len() == 1);
    let reading = (*filter != Filter::All).then(|| filter.to_string());
    let subtitle = date.into_iter().chain(reading).collect::<Vec<_>>().join(" · ");
    ContactSheet { title, subtitle, tiles: Vec::new() }
}

/// The frame of the snap from the first camera that has the play.
fn picture(tools: Tools<'_>, library: &Library, play: &PlayFound) -> Result<Option<TilePicture>> {
    let mut failed = None;
    for clip in &play.clips {
        let shown = Footage::open(tools, library, &play.record.game, clip).and_then(|footage| {
            let mut frames = tools.reader.shown(&footage.film, 0)?;
            let still = footage.still(clip);
            frames.seek(still)?;
            let part = footage.film.parts.get(footage.film.place(still).part);
            let shown = part.map_or((16, 9), |part| (part.width, part.height));
            Ok(frames.next_frame()?.map(|view| TilePicture { picture: view.to_picture(), shown }))
        });
        match shown {
            Ok(Some(picture)) => return Ok(Some(picture)),
            Ok(None) => {}
            Err(error) => failed = Some(error),
        }
    }
    failed.map_or(Ok(None), Err)
}

fn tile(play: &PlayFound, picture: Option<TilePicture>, sheeted: bool) -> Tile {
    let tags = &play.record.tags;
    let (down, word) = down_or_word(tags);
    let no_row = (sheeted && play.record.row.is_none()).then(|| "no row of the sheet".to_string());
    Tile {
        label: play.record.label.clone(),
        distance: if down.is_some() { distance(tags) } else { word },
        down,
        ball_on: tags.ball_on().map(|spot| spot.to_string()),
        tags: telling(tags, &[Field::Formation, Field::Concept, Field::Shell]),
        picture,
        doubt: no_row.or(play.doubts().into_iter().next()),
    }
}
