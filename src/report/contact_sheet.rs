//! The contact sheet: one picture a play, its moment of the snap, A4 across.

use std::path::{Path, PathBuf};

use crate::base::{Error, FrameNo, IoContext, PendingFile, Problem, Result};
use crate::film::Picture;
use crate::paint::{Align, Canvas, Style, missing_signs, paint, plain, text_width};

/// Pictures side by side.
const ACROSS: usize = 5;
/// Rows of pictures.
const ROWS: usize = 4;
/// A picture's size in pixels.
const PICTURE: (u32, u32) = (384, 216);
/// Space around the page and between tiles.
const MARGIN: u32 = 48;
const GAP: u32 = 24;
/// Space for the heading.
const HEADING: u32 = 104;
/// The page: five pictures wide, in the shape of A4 across (297 to 210).
const PAGE: (u32, u32) = (2 * MARGIN + 5 * PICTURE.0 + 4 * GAP, 1494);
/// From one tile's top to the next one's.
const STEP: u32 = (PAGE.1 - HEADING - MARGIN + GAP) / ROWS as u32;
/// Thickness of the outline of a tile to check.
const OUTLINE: u32 = 4;

const FIRST: Style = Style { size: 24.0, weight: 700, color: paint::CHALK };
const SECOND: Style = Style { size: 24.0, weight: 600, color: paint::CHALK };
const THIRD: Style = Style { size: 20.0, weight: 500, color: paint::SOFT };

/// A frame of film and its shape.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TilePicture {
    /// The frame, as decoded.
    pub picture: Picture,
    /// Its width and height in square pixels, after sample aspect.
    pub shown: (u32, u32),
}

/// One play. What is not known is `None` or empty and left out.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Tile {
    /// The play's label.
    pub label: String,
    /// The down, one sign.
    pub down: Option<String>,
    /// `and 2`, or what the play was where it has no down (`kickoff`).
    pub distance: Option<String>,
    /// `opp 34`.
    pub ball_on: Option<String>,
    /// Further tags.
    pub tags: Vec<String>,
    /// The frame of the snap.
    pub picture: Option<TilePicture>,
    /// Why a person should look; `None` if nothing is in doubt.
    pub doubt: Option<String>,
}

/// A sheet of all plays of a game, or of a question.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ContactSheet {
    /// The game, or the question the plays answer.
    pub title: String,
    /// Further words of the heading: a date, a phrase as it was read.
    pub subtitle: String,
    /// The plays in order.
    pub tiles: Vec<Tile>,
}

impl ContactSheet {
    /// Pages of twenty plays as PNG, at least one.
    pub fn pages(&self) -> Result<Vec<Vec<u8>>> {
        let each = ACROSS * ROWS;
        let pages: Vec<&[Tile]> = if self.tiles.is_empty() { vec![&[]] } else { self.tiles.chunks(each).collect() };
        (0..pages.len()).map(|i| self.page(pages[i], i + 1, pages.len())).collect()
    }

    /// Refuses a name that is no PNG picture's.
    pub fn check_name(out: &Path) -> Result<()> {
        if !out.extension().is_some_and(|e| e.eq_ignore_ascii_case("png")) {
            return Err(Error::refused(
                "cannot write the contact sheet: it is a PNG picture",
                out.display(),
                "give a file name that ends in .png",
            ));
        }
        Ok(())
    }

    /// Writes the pages: the first as `out`, the others beside it (`game.png`, `game-2.png`, `game-3.png`), and returns
    /// their names. Each appears only when it is whole.
    pub fn write(&self, out: &Path) -> Result<Vec<PathBuf>> {
        Self::check_name(out)?;
        let mut written = Vec::new();
        for (i, page) in self.pages()?.iter().enumerate() {
            let name = page_name(out, i + 1);
            let pending = PendingFile::new(&name)?;
            std::fs::write(pending.path(), page).doing("write the contact sheet", &name)?;
            pending.commit()?;
            written.push(name);
        }
        Ok(written)
    }

    /// Signs that the typeface does not have and that are drawn as a box, by play.
    pub fn problems(&self) -> Vec<Problem> {
        let mut problems = Vec::new();
        let mut look = |place: &str, text: &str| {
            for sign in missing_signs(&plain(text)) {
                problems.push(Problem {
                    place: place.into(),
                    value: plain(text),
                    what: format!("the sheet's typeface has no \"{sign}\""),
                    took: "an empty box".into(),
                });
            }
        };
        look("heading", &self.title);
        look("heading", &self.subtitle);
        for tile in &self.tiles {
            let place = format!("play {}", tile.label);
            let words = [&tile.down, &tile.distance, &tile.ball_on, &tile.doubt];
            words.into_iter().flatten().chain(&tile.tags).for_each(|text| look(&place, text));
        }
        problems
    }

    fn page(&self, tiles: &[Tile], number: usize, of: usize) -> Result<Vec<u8>> {
        let mut canvas = Canvas::new(PAGE.0, PAGE.1, paint::INK)?;
        self.heading(&mut canvas, number, of);
        for (i, tile) in tiles.iter().enumerate() {
            let x = MARGIN + (i % ACROSS) as u32 * (PICTURE.0 + GAP);
            let y = HEADING + (i / ACROSS) as u32 * STEP;
            draw(tile, &mut canvas, x, y);
        }
        canvas.png()
    }

    fn heading(&self, canvas: &mut Canvas, number: usize, of: usize) {
        let title = Style { size: 44.0, weight: 700, color: paint::CHALK };
        let soft = Style { size: 26.0, weight: 500, color: paint::SOFT };
        let count = |n: usize, one: &str, more: &str| if n == 1 { format!("1 {one}") } else { format!("{n} {more}") };
        let mut right = count(self.tiles.len(), "play", "plays");
        let doubts = self.tiles.iter().filter(|t| t.doubt.is_some()).count();
        if doubts > 0 {
            right.push_str(&format!(", {doubts} to check"));
        }
        if of > 1 {
            right.push_str(&format!(", page {number} of {of}"));
        }
        let (left_edge, right_edge, base) = (MARGIN as f32, (PAGE.0 - MARGIN) as f32, 68.0);
        let right_width = text_width(&right, soft.size, soft.weight);
        canvas.text(&right, (right_edge, base), Align::Right, right_edge - left_edge, soft);
        let room = right_edge - left_edge - right_width - 60.0;
        canvas.text(&self.title, (left_edge, base), Align::Left, room, title);
        let taken = text_width(&self.title, title.size, title.weight) + 32.0;
        if !self.subtitle.is_empty() && taken < room - 80.0 {
            canvas.text(&self.subtitle, (left_edge + taken, base), Align::Left, room - taken, soft);
        }
    }
}

/// `game.png`, `game-2.png`, `game-3.png`.
fn page_name(out: &Path, number: usize) -> PathBuf {
    if number == 1 {
        return out.to_path_buf();
    }
    let stem = out.file_stem().unwrap_or_default().to_string_lossy();
    out.with_file_name(format!("{stem}-{number}.png"))
}

fn draw(tile: &Tile, canvas: &mut Canvas, x: u32, y: u32) {
    let (width, height) = PICTURE;
    let (left, right) = (x as f32, (x + width) as f32);
    if tile.doubt.is_some() {
        let (x, y) = (x as i32 - OUTLINE as i32, y as i32 - OUTLINE as i32);
        canvas.rect(x, y, width + 2 * OUTLINE, height + 2 * OUTLINE, paint::FLAG);
    }
    canvas.rect(x as i32, y as i32, width, height, paint::RAISED);
    match &tile.picture {
        Some(p) => canvas.picture(&p.picture.view(FrameNo(0), 0.0), p.shown, [x, y, width, height]),
        None => {
            let faint = Style { color: paint::FAINT, ..THIRD };
            let middle = (left + width as f32 / 2.0, y as f32 + 114.0);
            canvas.text("no picture", middle, Align::Middle, width as f32, faint);
        }
    }

    // The down plate hangs from the upper edge; longer words would not fit on it.
    let down = tile.down.as_deref().filter(|d| d.chars().count() == 1);
    if let Some(down) = down {
        canvas.plate([left + 11.0, y as f32, 48.0, 58.0], 6.0, paint::INK);
        canvas.plate([left + 14.0, y as f32, 42.0, 55.0], 5.0, paint::POLE);
        let numeral = Style { size: 54.0, weight: 700, color: paint::INK };
        canvas.text(down, (left + 35.0, y as f32 + 47.0), Align::Middle, 42.0, numeral);
    }
    let foot = (y + height) as f32;
    let label = width_of(&tile.label, SECOND).min(200.0);
    canvas.plate([right - label - 22.0, foot - 36.0, label + 22.0, 36.0], 0.0, paint::INK);
    canvas.text(&tile.label, (right - 11.0, foot - 10.0), Align::Right, 200.0, SECOND);

    let first = foot + 30.0;
    let mut room = width as f32;
    if let Some(ball_on) = &tile.ball_on {
        canvas.text(ball_on, (right, first), Align::Right, room / 2.0, SECOND);
        room -= width_of(ball_on, SECOND).min(room / 2.0) + 16.0;
    }
    // A down without a plate stands before its distance.
    let without_plate = tile.down.as_deref().filter(|_| down.is_none());
    let words: Vec<&str> = without_plate.into_iter().chain(tile.distance.as_deref()).collect();
    canvas.text(&words.join(" "), (left, first), Align::Left, room, FIRST);
    let mut next = foot + 58.0;
    if !tile.tags.is_empty() {
        canvas.text(&tile.tags.join(" · "), (left, next), Align::Left, width as f32, THIRD);
        next += 27.0;
    }
    if let Some(doubt) = &tile.doubt {
        flag(canvas, left, next);
        let words = Style { color: paint::FLAG, ..THIRD };
        canvas.text(doubt, (left + 24.0, next), Align::Left, width as f32 - 24.0, words);
    }
}

fn width_of(text: &str, style: Style) -> f32 {
    text_width(text, style.size, style.weight)
}

/// A flag thrown: a cloth with a weight at its corner.
fn flag(canvas: &mut Canvas, x: f32, base: f32) {
    canvas.shape(&[(x, base - 15.0), (x + 16.0, base - 12.0), (x + 12.0, base - 1.0), (x + 4.0, base)], paint::FLAG);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(plays: usize) -> ContactSheet {
        let tile = |i: usize| Tile { label: i.to_string(), down: Some("3".into()), ..Tile::default() };
        ContactSheet { title: "Badgers".into(), subtitle: String::new(), tiles: (1..=plays).map(tile).collect() }
    }

    fn size(png: &[u8]) -> (u32, u32) {
        let number = |at: usize| u32::from_be_bytes(png[at..at + 4].try_into().unwrap());
        (number(16), number(20))
    }

    #[test]
    fn a_page_has_the_shape_of_a4_across_and_twenty_tiles_fit() {
        // ISO 216: A4 is 297 mm by 210 mm.
        let shape = f64::from(PAGE.0) / f64::from(PAGE.1);
        assert!((shape - 297.0 / 210.0).abs() < 0.005, "{shape}");
        // Three lines under a picture: the last at 85 below it, with room for a descender.
        assert!(STEP >= PICTURE.1 + 85 + 6 + GAP / 2 && HEADING + 3 * STEP + PICTURE.1 + 85 + 6 <= PAGE.1);
    }

    #[test]
    fn twenty_plays_a_page_and_one_file_a_page() {
        for (plays, pages) in [(0, 1), (1, 1), (20, 1), (21, 2)] {
            assert_eq!(sheet(plays).pages().unwrap().len(), pages, "{plays} plays");
        }
        let folder = tempfile::tempdir().unwrap();
        let out = folder.path().join("week 3/game.png");
        let written = sheet(41).write(&out).unwrap();
        let names: Vec<_> = written.iter().map(|p| p.file_name().unwrap().to_str().unwrap()).collect();
        assert_eq!(names, ["game.png", "game-2.png", "game-3.png"]);
        for name in &written {
            assert_eq!(size(&std::fs::read(name).unwrap()), PAGE);
        }
        assert_eq!(std::fs::read_dir(out.parent().unwrap()).unwrap().count(), 3);
    }

    #[test]
    fn signs_without_a_glyph_are_told_by_play() {
        let mut sheet = sheet(3);
        sheet.tiles[1].tags = vec!["mesh".into(), "mesh → wheel".into()];
        let problems = sheet.problems();
        assert_eq!(problems.len(), 1);
        assert_eq!((problems[0].place.as_str(), problems[0].value.as_str()), ("play 2", "mesh → wheel"));
    }

    #[test]
    fn another_kind_of_file_is_refused() {
        let error = sheet(1).write(Path::new("game.pdf")).unwrap_err();
        assert!(error.to_string().contains("it is a PNG picture: game.pdf") && error.next.contains(".png"), "{error}");
    }
}
