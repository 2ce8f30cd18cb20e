//! The fields that a staff tags.

use std::fmt;

use serde::{Deserialize, Serialize};

/// What kind of value a field holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A whole number.
    Number,
    /// Yards to the line to gain, or goal.
    Distance,
    /// A spot on the field.
    Spot,
    /// Time left in the quarter.
    Clock,
    /// Seconds of film time.
    Seconds,
    /// A word of the vocabulary, which may be open.
    Word,
    /// Free text.
    Text,
}

macro_rules! fields {
    ($($(#[$doc:meta])* $name:ident $key:literal $words:literal $kind:ident;)*) => {
        /// A field of the tag sheet. Order is the order in which a sheet usually has them.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub enum Field {
            $($(#[$doc])* #[serde(rename = $key)] $name,)*
        }

        impl Field {
            /// Every field.
            pub const ALL: &'static [Field] = &[$(Field::$name),*];

            /// Key in JSON, settings and the library: `ball_on`.
            pub fn key(self) -> &'static str {
                match self { $(Field::$name => $key),* }
            }

            /// The trade's words for it: `ball on`.
            pub fn words(self) -> &'static str {
                match self { $(Field::$name => $words),* }
            }

            /// What it holds.
            pub fn kind(self) -> Kind {
                match self { $(Field::$name => Kind::$kind),* }
            }
        }
    };
}

fields! {
    /// The sheet's own number for the play; labels are ours and never change.
    SheetNumber "sheet_number" "sheet number" Text;
    /// Film time at which it was typed, seconds.
    Time "time" "time" Seconds;
    /// 1 to 4, then overtime periods.
    Quarter "quarter" "quarter" Number;
    /// Time left in the quarter.
    Clock "clock" "clock" Clock;
    /// Points by which the tagging staff's team leads; negative where it trails.
    Margin "margin" "margin" Number;
    /// The team that has the ball.
    Ball "ball" "ball" Text;
    /// Offense, defense, special teams: from the tagging staff's side.
    Unit "unit" "unit" Word;
    /// 1 to 4.
    Down "down" "down" Number;
    /// Yards to the line to gain.
    Distance "distance" "distance" Distance;
    /// Where the ball lies.
    BallOn "ball_on" "ball on" Spot;
    /// Left, middle, right, as the offense sees it.
    Hash "hash" "hash" Word;
    /// Backs and tight ends, two digits.
    Personnel "personnel" "personnel" Word;
    /// Free words of each staff.
    Formation "formation" "formation" Word;
    /// Side of the formation's strength.
    Strength "strength" "strength" Word;
    /// Gun, pistol, under center.
    Backfield "backfield" "backfield" Word;
    /// A man in motion: yes, no, or the motion's name.
    Motion "motion" "motion" Word;
    /// A shift before the snap: yes, no, or its name.
    Shift "shift" "shift" Word;
    /// Run, pass, screen, run-pass option, play-action, kick kinds.
    PlayType "play_type" "play type" Word;
    /// The play's concept; an open vocabulary.
    Concept "concept" "concept" Word;
    /// The defensive front.
    Front "front" "front" Word;
    /// Deep safeties before the snap.
    Shell "shell" "shell" Word;
    /// The shell after the snap, where it changed.
    Rotation "rotation" "rotation" Word;
    /// Man, zone, cover 0 to 6.
    Coverage "coverage" "coverage" Word;
    /// Men rushing, or a blitz word.
    Pressure "pressure" "pressure" Word;
    /// Complete, incomplete, intercepted.
    PassResult "pass_result" "pass result" Word;
    /// How the play died.
    Ending "ending" "ending" Word;
    /// Yards gained, negative for a loss.
    Gain "gain" "gain" Number;
    /// Anything.
    Note "note" "note" Text;
}

impl Field {
    /// The field of a key or of the trade's words, without regard to case, spaces or underscores.
    pub fn named(name: &str) -> Option<Self> {
        let plain = |s: &str| s.to_lowercase().replace([' ', '_', '-'], "");
        let name = plain(name);
        Self::ALL.iter().copied().find(|f| plain(f.key()) == name)
    }
}

impl fmt::Display for Field {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}
