//! What a filter says of one play.

use super::{Filter, Season, TextMatch};
use crate::football::{Distance, Field, PlayRecord, fold};

/// True, false, or not to be told from what is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Truth {
    /// It is so.
    True,
    /// It is not so.
    False,
    /// A value that decides is unknown.
    Unknown,
}

impl Truth {
    /// Of a comparison whose value may be unknown.
    pub fn of(known: Option<bool>) -> Self {
        match known {
            Some(true) => Self::True,
            Some(false) => Self::False,
            None => Self::Unknown,
        }
    }

    /// Whether it is true; unknown is not.
    pub fn is_true(self) -> bool {
        self == Self::True
    }

    /// Both: false if either is false, else unknown if either is unknown.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        match (self, other) {
            (Self::False, _) | (_, Self::False) => Self::False,
            (Self::True, Self::True) => Self::True,
            _ => Self::Unknown,
        }
    }

    /// Either: true if either is true, else unknown if either is unknown.
    #[must_use]
    pub fn or(self, other: Self) -> Self {
        self.opposite().and(other.opposite()).opposite()
    }

    /// The opposite; of unknown, unknown.
    #[must_use]
    pub fn opposite(self) -> Self {
        match self {
            Self::True => Self::False,
            Self::False => Self::True,
            Self::Unknown => Self::Unknown,
        }
    }
}

impl Filter {
    /// What the filter says of a play that stands alone: whether it opens a possession is unknown, and so is which games
    /// are the last.
    pub fn fits(&self, play: &PlayRecord) -> Truth {
        self.fits_in(play, &Season::default())
    }

    /// What the filter says of a play among the others of its season.
    pub fn fits_in(&self, play: &PlayRecord, season: &Season) -> Truth {
        let tags = &play.tags;
        match self {
            Filter::All => Truth::True,
            Filter::Is { field, word } => Truth::of(known(tags.word(*field)).map(|w| fold(w) == fold(word))),
            Filter::Any(field) => Truth::of(known(tags.word(*field)).map(|w| fold(w) != "no")),
            Filter::Number { field, range } => Truth::of(tags.number(*field).map(|n| range.holds(n))),
            Filter::ToGain(range) => Truth::of(tags.to_gain().map(|yards| range.holds(yards.into()))),
            Filter::GoalToGo => Truth::of(tags.distance().map(|d| d == Distance::Goal)),
            Filter::BallOn { from, to } => Truth::of(tags.ball_on().map(|spot| (*from..=*to).contains(&spot))),
            Filter::Clock(range) => Truth::of(tags.clock().map(|clock| range.holds(clock.seconds().into()))),
            Filter::Text { field, how, text } => Truth::of(known(tags.word(*field)).map(|value| match how {
                TextMatch::Is => fold(value) == fold(text),
                TextMatch::Has => fold(value).contains(&fold(text)),
            })),
            Filter::Own { name, value } => {
                Truth::of(known(tags.own.get(name).map(String::as_str)).map(|own| fold(own) == fold(value)))
            }
            Filter::Game(name) => Truth::of(Some(fold(&play.game) == fold(name))),
            Filter::Opponent(team) => {
                let is = |name: &Option<String>| Truth::of(known(name.as_deref()).map(|n| fold(n) == fold(team)));
                is(&play.home).or(is(&play.away))
            }
            Filter::Date { from, to } => Truth::of(
                play.date
                    .as_ref()
                    .map(|day| from.as_ref().is_none_or(|from| from <= day) && to.as_ref().is_none_or(|to| day <= to)),
            ),
            Filter::LastGames(number) => Truth::of(season.games_after(play).map(|after| after < *number)),
            Filter::Opener => Truth::of(season.opener(play)),
            Filter::Label(label) => Truth::of(Some(fold(&play.label) == fold(label))),
            Filter::Success(shares) => {
                Truth::of((|| shares.judge(tags.down()?, tags.to_gain()?, tags.number(Field::Gain)?))())
            }
            Filter::And(parts) => parts.iter().fold(Truth::True, |truth, part| truth.and(part.fits_in(play, season))),
            Filter::Or(parts) => parts.iter().fold(Truth::False, |truth, part| truth.or(part.fits_in(play, season))),
            Filter::Not(inner) => inner.fits_in(play, season).opposite(),
        }
    }
}

/// A blank cell tells nothing.
fn known(text: Option<&str>) -> Option<&str> {
    text.filter(|t| !t.trim().is_empty())
}
