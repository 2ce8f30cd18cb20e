//! Film as the rooms pass it on: cameras and parts, pictures and sound, series, shots and plays; the traits behind
//! which the codec library stands; scripted footage for tests.

mod camera;
mod fingerprint;
mod picture;
mod play;
pub mod scripted;
mod series;
mod sound_desk;
mod source;

pub use camera::{FILM_ENDINGS, Film, FrameIndex, Part, Place, named_as_film};
pub use fingerprint::fingerprint;
pub use picture::{Color, Luma, Matrix, Picture, PictureView, Transfer};
pub use play::{Angle, Evidence, Play, Shot, ShotKind, Sighting};
pub use series::{Sample, SampleSeries, Series, Unfinished, Whistle};
pub use sound_desk::{DESK_RATE, SoundDesk, VOICE_MOST};
pub use source::{
    Beside, ClipPlan, ClipSink, ClipSpec, Codec, Decode, Draw, DrawnSpec, EntryPoints, FilmReader, FilmWriter,
    FrameSource, Hand, JoinShape, JoinSpec, Joinable, Piece, REEL_MARK, ReelSink, SoundPlan, SoundSource,
};
