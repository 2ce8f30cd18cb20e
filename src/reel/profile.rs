//! What a reel is for: its picture size, quality and sound.

use super::{Canvas, SourceShape};

/// What a reel is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Profile {
    /// To be kept and worked on: the size of the film, high quality.
    Tape,
    /// For the meeting room: 1920x1080, so that segments rendered ahead fit every reel.
    Meeting,
    /// To be sent: 1280x720 and at most 30 frames a second, silent unless asked.
    Phone,
}

/// Steps of x264's rate factor between the qualities of a phone's reel: each is some 40 % smaller (measured on made film;
/// x264 halves its rate with every 6).
const STEP: u8 = 4;

impl Profile {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Tape, Self::Meeting, Self::Phone];

    /// Its name.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Tape => "tape",
            Self::Meeting => "meeting",
            Self::Phone => "phone",
        }
    }

    /// The profile of that name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|profile| profile.as_str().eq_ignore_ascii_case(name.trim()))
    }

    /// The canvas for these sources.
    pub fn canvas(self, sources: impl IntoIterator<Item = SourceShape>) -> Canvas {
        let chosen = Canvas::choose(sources);
        match self {
            Self::Tape => chosen,
            Self::Meeting => Canvas { width: 1920, height: 1080, ..chosen },
            Self::Phone => {
                let mut canvas = Canvas { width: 1280, height: 720, ..chosen };
                while canvas.rate.hz() > 30.5 {
                    canvas.rate.den *= 2;
                }
                if canvas.rate.num.is_multiple_of(2) && canvas.rate.den.is_multiple_of(2) {
                    canvas.rate.num /= 2;
                    canvas.rate.den /= 2;
                }
                canvas
            }
        }
    }

    /// x264 rate factors, the best first; `usual` is that of the settings. Only a phone's reel has more than one: the first
    /// that fits a given size is taken.
    pub fn qualities(self, usual: u8) -> Vec<u8> {
        match self {
            Self::Tape => vec![usual.saturating_sub(4)],
            Self::Meeting => vec![usual],
            Self::Phone => (0..4).map(|step| (usual + 2 + step * STEP).min(45)).collect(),
        }
    }

    /// Whether it is silent where nothing is said of it. Press-box microphones record the staff.
    pub fn is_silent(self) -> bool {
        self == Self::Phone
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Rate;

    #[test]
    fn profiles_are_named_and_give_their_canvas() {
        let source = |width, height, num, den| SourceShape { width, height, rate: Rate { num, den }, variable: false };
        let canvas = |name: &str, source| Profile::named(name).unwrap().canvas([source]).to_string();
        let film = source(3840, 2160, 60000, 1001);
        assert_eq!(canvas("tape", film), "1920x1080 at 60000/1001 frames a second");
        assert_eq!(canvas("Meeting", source(1280, 720, 30, 1)), "1920x1080 at 30/1 frames a second");
        assert_eq!(canvas(" phone", film), "1280x720 at 30000/1001 frames a second");
        assert_eq!(canvas("phone", source(480, 270, 50, 1)), "1280x720 at 25/1 frames a second");
        assert_eq!(Profile::named("wall"), None);
        assert_eq!(Profile::Phone.qualities(21), [23, 27, 31, 35]);
        assert!(Profile::Phone.is_silent() && !Profile::Tape.is_silent());
    }
}
