//! What matching knows of a row and of a play.

/// What a person said of a row's play.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Pin {
    /// Nothing: it is matched.
    #[default]
    Free,
    /// It belongs to the play of this index.
    Play(usize),
    /// It belongs to no play of the film.
    Nothing,
}

/// What kind of play a row tells of, as far as film can show it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum What {
    /// It does not say.
    #[default]
    Unknown,
    /// A run.
    Run,
    /// A pass whose result is not told.
    Pass,
    /// A complete pass.
    Complete,
    /// An incomplete pass.
    Incomplete,
    /// An intercepted pass.
    Intercepted,
    /// A sack.
    Sack,
    /// A kickoff.
    Kickoff,
    /// A punt.
    Punt,
    /// A field goal.
    FieldGoal,
    /// A try after a touchdown.
    Try,
    /// A penalty wiped it out.
    NoPlay,
}

impl What {
    /// How many there are.
    pub(super) const COUNT: usize = 12;

    /// Its place in a table of all.
    pub(super) fn index(self) -> usize {
        self as usize
    }

    /// Whether the ball is kicked.
    pub fn is_kick(self) -> bool {
        matches!(self, Self::Kickoff | Self::Punt | Self::FieldGoal | Self::Try)
    }
}

/// What matching knows of a row, in the sheet's order.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct RowFacts {
    /// Film time at which it was typed, seconds.
    pub time: Option<f64>,
    /// Says the same as the row above: it may have been typed twice.
    pub twin: bool,
    /// Quarter.
    pub quarter: Option<i64>,
    /// Seconds left in the quarter.
    pub clock: Option<u16>,
    /// 1 to 4.
    pub down: Option<i64>,
    /// Yards to the line to gain.
    pub to_gain: Option<f64>,
    /// Yards gained.
    pub gain: Option<f64>,
    /// What kind of play.
    pub what: What,
    /// It ended in a touchdown.
    pub touchdown: bool,
    /// The ball went over: intercepted, fumbled, a safety.
    pub turnover: bool,
    /// What a person said.
    pub pin: Pin,
}

/// What matching knows of a play, in the film's order. What the film does not tell is `None`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PlayFacts {
    /// Film time of the snap in the reference camera, seconds; an estimate where `weak`.
    pub time: f64,
    /// The snap was not found: the shot may be no play at all.
    pub weak: bool,
    /// Snap to end, seconds.
    pub length: Option<f64>,
    /// From the first frame of its shot to that of the next play's, seconds.
    pub gap: Option<f64>,
    /// How far the camera panned from snap to end, net and without its sign, in any unit that is the same throughout.
    pub pan: Option<f64>,
    /// Whether it looks like a kick, where the finder tells.
    pub kick: Option<bool>,
    /// A person said that it has no row.
    pub no_row: bool,
}

/// What a person may set.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MatchSettings {
    /// Typed time less film time at the film's start, seconds, where a person gave it.
    pub offset: Option<f64>,
    /// How much faster the typed times run than the film, where a person gave it: .001 is a second in a thousand.
    pub drift: Option<f64>,
}
