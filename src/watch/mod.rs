//! The inbox: which files have settled, and which game they are of.
//!
//! Events of the file system are hints only; what is done follows from reading the folder again. Nothing in it is ever
//! moved or changed.

mod disk;
mod game_folder;
mod game_toml;
mod inbox;
mod kind;
mod whole;

pub use disk::{Disk, RealDisk, Stamp, Walked};
pub use game_folder::{FolderCamera, GameFolder, WOVEN};
pub use game_toml::GameToml;
pub use inbox::{Inbox, Standing};
pub use kind::{GAME, Kind};
pub use whole::Whole;
