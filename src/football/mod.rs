//! The trade's words: downs, distances, spots, clocks, the fields of a tag sheet, and the vocabulary with its
//! spellings. Imports base only.

mod clock;
mod distance;
mod field;
mod record;
mod spoken;
mod spot;
mod tags;
mod vocabulary;

pub use clock::GameClock;
pub use distance::Distance;
pub use field::{Field, Kind};
pub use record::PlayRecord;
pub use spoken::spoken_number;
pub use spot::Spot;
pub use tags::{Tags, Value};
pub use vocabulary::{Entry, Vocabulary, fold};
