//! Clips: the file first, then the row.

use std::fs;
use std::path::{Path, PathBuf};

use rusqlite::{Connection, OptionalExtension, params};

use super::Library;
use super::cameras::camera_id;
use super::games::game_id;
use super::labels::file_stem;
use super::sql_error::{SqlContext, int, uint};
use crate::base::{Error, FrameSpan, IoContext, Rate, Result};

/// What decides whether a clip on disk is the one wanted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanKey {
    /// Fingerprint of the film it is cut from.
    pub film: String,
    /// Frames of the film that it shows.
    pub span: FrameSpan,
    /// Version of the cutter and its settings.
    pub version: u32,
}

/// A clip whose file lies in its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClipIn {
    /// The plan it was cut by.
    pub key: PlanKey,
    /// Frames it has.
    pub frames: u64,
    /// Average frame rate.
    pub rate: Rate,
}

/// Where a clip goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClipPlace {
    /// Relative to the library's folder: `clips/GAME/sideline/017.mp4`.
    pub relative: PathBuf,
    /// The whole path.
    pub path: PathBuf,
}

/// The play and camera a clip belongs to.
struct Owner {
    play: i64,
    camera: i64,
    relative: String,
}

impl Library {
    /// Whether the clip of a play and camera is there by exactly this plan, its file of the recorded length.
    pub fn has_clip(&self, game: &str, label: &str, camera: &str, key: &PlanKey) -> Result<bool> {
        let owner = self.owner(self.db(), game, label, camera)?;
        let found: Option<(PlanKey, String, i64)> = self
            .db()
            .query_row(
                "SELECT f.fingerprint, c.film_start, c.film_end, c.version, c.path, c.bytes
                 FROM clips c JOIN films f ON f.id = c.film WHERE c.play = ? AND c.camera = ?",
                [owner.play, owner.camera],
                |r| {
                    let span = FrameSpan::of(uint(r.get(1)?), uint(r.get(2)?));
                    Ok((PlanKey { film: r.get(0)?, span, version: r.get(3)? }, r.get(4)?, r.get(5)?))
                },
            )
            .optional()
            .doing("look for the clip", self.folder())?;
        Ok(found.is_some_and(|(old, path, bytes)| {
            old == *key && fs::metadata(self.folder().join(path)).is_ok_and(|file| file.len() == uint(bytes))
        }))
    }

    /// Where the clip of a play and camera goes; changes nothing.
    pub fn clip_place(&self, game: &str, label: &str, camera: &str) -> Result<ClipPlace> {
        let relative = PathBuf::from(self.owner(self.db(), game, label, camera)?.relative);
        Ok(ClipPlace { path: self.folder().join(&relative), relative })
    }

    /// Where the clip of a play and camera goes. A row about another clip there is removed first, so that the file may
    /// be replaced; the file itself stays until then.
    pub fn make_way(&mut self, game: &str, label: &str, camera: &str) -> Result<ClipPlace> {
        let owner = self.owner(self.db(), game, label, camera)?;
        let folder = self.folder().to_path_buf();
        self.change("make way for the clip", |work| {
            work.execute(
                "DELETE FROM clips WHERE (play = ? AND camera = ?) OR path = ?",
                params![owner.play, owner.camera, owner.relative],
            )
            .doing("make way for the clip", &folder)
        })?;
        let relative = PathBuf::from(owner.relative);
        Ok(ClipPlace { path: self.folder().join(&relative), relative })
    }

    /// Records a clip whose file lies whole where [`Library::make_way`] said. Reads the file once, to remember its
    /// content.
    ///
    /// # Errors
    /// The file is not there or is empty; the game, play, camera or film is not known.
    pub fn put_clip(&mut self, game: &str, label: &str, camera: &str, clip: &ClipIn) -> Result<()> {
        let owner = self.owner(self.db(), game, label, camera)?;
        let path = self.folder().join(&owner.relative);
        let mut hash = blake3::Hasher::new();
        let file = fs::File::open(&path).doing("read the clip just written", &path)?;
        hash.update_reader(&file).doing("read the clip just written", &path)?;
        let bytes = file.metadata().doing("read the clip just written", &path)?.len();
        let folder = self.folder().to_path_buf();
        self.change("record the clip", |work| {
            let changed = work
                .execute(
                    "INSERT OR REPLACE INTO clips (play, camera, path, film, film_start, film_end, version, frames,
                                                   rate_num, rate_den, bytes, hash)
                     SELECT ?1, ?2, ?3, id, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12 FROM films WHERE fingerprint = ?4",
                    params![
                        owner.play,
                        owner.camera,
                        owner.relative,
                        clip.key.film,
                        int(clip.key.span.start.0),
                        int(clip.key.span.end.0),
                        clip.key.version,
                        int(clip.frames),
                        clip.rate.num,
                        clip.rate.den,
                        int(bytes),
                        hash.finalize().to_hex().as_str()
                    ],
                )
                .doing("record the clip", &folder)?;
            if changed == 1 {
                return Ok(());
            }
            Err(Error::failed(
                "cannot record the clip: its film is not in the library",
                path.display(),
                "this is a fault of the program; please report it",
            ))
        })
    }

    fn owner(&self, db: &Connection, game: &str, label: &str, camera: &str) -> Result<Owner> {
        let game_row = game_id(db, self.folder(), game)?;
        let (camera, _) = camera_id(db, self.folder(), game_row, camera)?;
        let found = db
            .query_row(
                "SELECT p.id, g.folder, c.folder FROM plays p, games g, cameras c
                 WHERE p.game = ?1 AND p.label = ?2 AND g.id = ?1 AND c.id = ?3",
                params![game_row, label, camera],
                |r| Ok((r.get::<_, i64>(0)?, r.get::<_, String>(1)?, r.get::<_, String>(2)?)),
            )
            .optional()
            .doing("look for the play", self.folder())?;
        let Some((play, game_folder, camera_folder)) = found else {
            return Err(no_play(game, label, self.folder()));
        };
        let relative = format!("clips/{game_folder}/{camera_folder}/{}.mp4", file_stem(label));
        Ok(Owner { play, camera, relative })
    }
}

fn no_play(game: &str, label: &str, library: &Path) -> Error {
    Error::refused(
        format!("the game {game} has no play {label}"),
        library.display(),
        "see its plays with `downbox plays`",
    )
}
