//! What the user may set about finding plays and their clips.

/// Lead-in and tail of a clip that may be trimmed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Seconds kept before the snap ([practice]: the set formation and any shift or motion are seen).
    pub lead_in: f64,
    /// Seconds kept after the whistle ([practice]).
    pub tail: f64,
    /// Whether a shot of cut film may be trimmed to that where both ends are sure. Off: the clip is the whole shot.
    pub trim: bool,
}

impl Default for Settings {
    fn default() -> Self {
        Self { lead_in: 4.0, tail: 1.5, trim: false }
    }
}
