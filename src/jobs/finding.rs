//! What a check of the library finds.

use std::fmt;

/// What kind of thing was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum FindingKind {
    /// The database file itself.
    Database,
    /// Records that name others which are not there.
    Records,
    /// The count of a game's plays.
    Order,
    /// Tags that are not those of the row and the corrections.
    Tags,
    /// A clip whose record cannot be true.
    ClipRecord,
    /// A clip that is not there.
    ClipMissing,
    /// A clip that cannot be read.
    ClipUnreadable,
    /// A clip of another length than recorded.
    ClipLength,
    /// A clip that is no whole MP4 file, or does not decode.
    ClipBroken,
    /// A clip of another content than recorded.
    ClipChanged,
    /// A clip, of a play that is in no answer, that is not as recorded.
    ClipOutOfUse,
    /// Clips still to be cut.
    ToCut,
    /// A file in `clips` that belongs to no play.
    Orphan,
    /// A clip's file that no record names: left by a run that was broken off, or of a play as it was before.
    Unrecorded,
    /// A half-written file of a run that was broken off.
    Leftover,
    /// A measurement that is not as written.
    SeriesBroken,
    /// A measurement of another version of the program.
    SeriesStale,
    /// A measurement of a film that the library does not have.
    SeriesStray,
    /// What is remembered of a film's frames is lost.
    FilmMemory,
    /// A film that lies elsewhere now.
    FilmMoved,
    /// A film of another content than recorded.
    FilmChanged,
    /// A film that is not there; the clips stand alone.
    FilmGone,
}

impl FindingKind {
    /// As in JSON.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Database => "database",
            Self::Records => "records",
            Self::Order => "order",
            Self::Tags => "tags",
            Self::ClipRecord => "clip record",
            Self::ClipMissing => "clip missing",
            Self::ClipUnreadable => "clip unreadable",
            Self::ClipLength => "clip length",
            Self::ClipBroken => "clip broken",
            Self::ClipChanged => "clip changed",
            Self::ClipOutOfUse => "clip out of use",
            Self::ToCut => "to cut",
            Self::Orphan => "orphan",
            Self::Unrecorded => "unrecorded",
            Self::Leftover => "leftover",
            Self::SeriesBroken => "measurement broken",
            Self::SeriesStale => "measurement stale",
            Self::SeriesStray => "measurement stray",
            Self::FilmMemory => "film memory",
            Self::FilmMoved => "film moved",
            Self::FilmChanged => "film changed",
            Self::FilmGone => "film gone",
        }
    }

    /// Whether something is wrong, and not merely to be known: what a run that was broken off leaves, what the next cut
    /// does by itself and a film that was put away are no damage.
    pub fn is_damage(self) -> bool {
        use FindingKind::{ClipOutOfUse, FilmGone, Leftover, SeriesStale, SeriesStray, ToCut, Unrecorded};
        !matches!(self, ClipOutOfUse | ToCut | Unrecorded | Leftover | SeriesStale | SeriesStray | FilmGone)
    }
}

impl fmt::Display for FindingKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// Something found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// Which kind.
    pub kind: FindingKind,
    /// Where: a path within the library, a game, a film.
    pub place: String,
    /// What, in plain words.
    pub what: String,
    /// What to do about it.
    pub next: String,
    /// Whether the repair mended it.
    pub mended: bool,
}

impl Finding {
    pub(super) fn new(
        kind: FindingKind,
        place: impl fmt::Display,
        what: impl Into<String>,
        next: impl Into<String>,
    ) -> Self {
        Self { kind, place: place.to_string(), what: what.into(), next: next.into(), mended: false }
    }

    /// Whether two looks mean the same thing.
    pub(super) fn same(&self, other: &Self) -> bool {
        self.kind == other.kind && self.place == other.place
    }
}
