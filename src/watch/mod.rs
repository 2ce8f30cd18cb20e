//! The watcher's simple form: game folders that were dropped into the inbox are taken once they have settled.
//!
//! Events of the file system are hints only; what is done follows from reading the folder again.

mod game_folder;
mod inbox;
mod ledger;

pub use game_folder::{GameFolder, Listing};
pub use inbox::{Inbox, Round};
pub use ledger::Ledger;
