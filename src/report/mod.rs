//! What is told on paper: contact sheets.

mod contact_sheet;

pub use contact_sheet::{ContactSheet, Tile, TilePicture};
