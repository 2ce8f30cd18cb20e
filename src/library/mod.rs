//! The library: one folder with a database, the clips and the measurements. Imports base, football, film and filter.
//!
//! [`Library`] is opened for reading or for writing; every function that writes is one transaction, so that a kill
//! between two of them loses at most the newest and never leaves half of one. `schema.sql` lists the invariants.
//!
//! Writing a game goes: [`Library::put_game`], [`Library::put_camera`] for each camera, [`Library::put_plays`],
//! [`Library::put_rows`] and [`Library::put_matches`], then for each clip [`Library::has_clip`], [`Library::make_way`],
//! the cutting, [`Library::put_clip`]. Each may be repeated and changes nothing that is already so.

mod ask;
mod cameras;
mod check;
mod clips;
mod copy;
mod corrections;
mod folder;
mod games;
mod labels;
mod lock;
mod mending;
mod open;
mod pins;
mod play_shots;
mod put_plays;
mod reshape;
mod schema;
mod series_file;
mod sheet_rows;
mod shot_rows;
mod sql;
mod sql_error;
mod tag_columns;

#[cfg(test)]
mod filter_tests;
#[cfg(test)]
mod tests;

pub use ask::{ClipFound, PlayFound, UsedWords};
pub use cameras::{CameraFilm, PartFound};
pub use check::{ClipRecord, Fault, FilmRecord, Inventory};
pub use clips::{ClipIn, ClipPlace, PlanKey};
pub use copy::{Copied, file_hash};
pub use folder::on_network;
pub use games::{GameFound, GameIn};
pub use lock::WriteLock;
pub use mending::{MendFound, Moment, Newest};
pub use open::{Access, Library};
pub use pins::{PinFound, PinPlaced};
pub use play_shots::PlayShots;
pub use put_plays::{CameraShot, PlacedPlays, PlayIn};
pub use reshape::Stretch;
pub use series_file::{SeriesFolder, sealed};
pub use sheet_rows::{MatchIn, RowIn, SheetFound, SheetLine};
