//! Sheets and pictures for people: contact sheets, the evidence of one play.

mod contact_sheet;
mod explain;
mod explain_layout;
mod morning;
mod own_picture;

pub use contact_sheet::{ContactSheet, Tile, TilePicture};
pub use explain::{Explain, Frame, Heard, Mark, SIZE as EXPLAIN_SIZE, clock};
pub use morning::{CheckTile, MadeLine, Morning};
pub use own_picture::{check_name as check_picture_name, write as write_picture};
