//! What a phrase means, as a value: closed, small, and plain enough to become SQL or to be asked of one play.

use crate::football::{Field, Spot};

/// A condition on plays.
///
/// Every leaf is a comparison with one value of a play and is true, false, or unknown where that value is unknown; a
/// play is in the answer only if the whole is true. `And`, `Or` and `Not` follow Kleene's three-valued logic, which is
/// SQL's: an unknown side leaves the whole unknown unless the other side decides, and the opposite of unknown is
/// unknown.
///
/// Words and texts are compared by [`fold`](crate::football::fold) on both sides, so case, hyphens and spacing do not
/// matter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Filter {
    /// Every play.
    All,
    /// A word field has this word, in its canonical spelling.
    Is {
        /// A field of kind `Word`.
        field: Field,
        /// The canonical word.
        word: String,
    },
    /// A word field has a word that is not "no": any motion, any shift, any rotation. Unknown where it has none.
    Any(Field),
    /// A number field (quarter, down, gain) lies in the range.
    Number {
        /// A field of kind `Number`.
        field: Field,
        /// Its values.
        range: Range,
    },
    /// Yards to gain lie in the range. Distance goal counts as the yards to the goal line by the ball's spot, unknown
    /// where that is unknown: `Tags::to_gain`.
    ToGain(Range),
    /// The distance is tagged as goal.
    GoalToGo,
    /// The ball lies between two spots, both included; `from` is not nearer to the opponent's goal than `to`.
    BallOn {
        /// The spot nearer to the offense's own goal line.
        from: Spot,
        /// The spot nearer to the goal line it attacks.
        to: Spot,
    },
    /// Seconds left in the quarter lie in the range.
    Clock(Range),
    /// A text field (ball, sheet number, note) is, or holds, a text.
    Text {
        /// A field of kind `Text`.
        field: Field,
        /// Whether the whole text is meant or a part of it.
        how: TextMatch,
        /// The text looked for.
        text: String,
    },
    /// The staff's own column has this value. Unknown where the play has no such column or the cell is blank.
    Own {
        /// The column's name as the library has it.
        name: String,
        /// The whole value.
        value: String,
    },
    /// The game's name. Always known.
    Game(String),
    /// One of the game's two teams is this one. Unknown where a team is not told and the other is not it.
    Opponent(String),
    /// The day of the game lies between two days, `2026-09-11`, both included; at least one is given. Unknown where the
    /// game has no day.
    Date {
        /// The first day.
        from: Option<String>,
        /// The last day.
        to: Option<String>,
    },
    /// The game is among the newest so many that have a day and a play, by day, then by name. Unknown where the game has
    /// no day.
    LastGames(u32),
    /// The play opens a possession ([`Season`](super::Season) says when).
    Opener,
    /// The play's label. Always known.
    Label(String),
    /// The play succeeded by down, yards to gain and gain; unknown where one of them is unknown.
    Success(SuccessShares),
    /// All of them.
    And(Vec<Filter>),
    /// One of them at least.
    Or(Vec<Filter>),
    /// The opposite.
    Not(Box<Filter>),
}

/// How a text is compared, after folding both sides.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TextMatch {
    /// The whole text.
    Is,
    /// Anywhere in it.
    Has,
}

/// Whole numbers from `low` to `high`, both included; at least one end is bounded, and `low <= high`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Range {
    low: Option<i64>,
    high: Option<i64>,
}

impl Range {
    /// One number.
    pub fn exactly(number: i64) -> Self {
        Self { low: Some(number), high: Some(number) }
    }

    /// This or more.
    pub fn at_least(low: i64) -> Self {
        Self { low: Some(low), high: None }
    }

    /// This or less.
    pub fn at_most(high: i64) -> Self {
        Self { low: None, high: Some(high) }
    }

    /// Between two numbers, given in any order.
    pub fn between(one: i64, other: i64) -> Self {
        Self { low: Some(one.min(other)), high: Some(one.max(other)) }
    }

    /// The lowest number, `None` where there is no lower bound.
    pub fn low(self) -> Option<i64> {
        self.low
    }

    /// The highest number, `None` where there is no upper bound.
    pub fn high(self) -> Option<i64> {
        self.high
    }

    /// Whether the number lies in it.
    pub fn holds(self, number: i64) -> bool {
        self.low.is_none_or(|low| low <= number) && self.high.is_none_or(|high| number <= high)
    }
}

/// The share of the yards to gain, in percent, that makes a play a success on each down.
///
/// The default is 40, 60 and 100 % (Carroll, Palmer, Thorn, *The Hidden Game of Football*, 1988; from memory);
/// 50, 70 and 100 % is also in use (practice).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SuccessShares {
    /// First down.
    pub first: u16,
    /// Second down.
    pub second: u16,
    /// Third and fourth down.
    pub third: u16,
}

impl Default for SuccessShares {
    fn default() -> Self {
        Self { first: 40, second: 60, third: 100 }
    }
}

impl SuccessShares {
    /// The share for a down, percent; `None` for what is no down.
    pub fn of_down(self, down: i64) -> Option<u16> {
        match down {
            1 => Some(self.first),
            2 => Some(self.second),
            3 | 4 => Some(self.third),
            _ => None,
        }
    }

    /// Whether the gain is a success: `gain * 100 >= share * to_gain`. `None` for what is no down.
    pub fn judge(self, down: i64, to_gain: u8, gain: i64) -> Option<bool> {
        Some(gain.saturating_mul(100) >= i64::from(self.of_down(down)?) * i64::from(to_gain))
    }
}

impl Filter {
    /// All of `parts`, flattened: nested `And`s are taken apart, `All` is dropped, one part stands alone.
    pub fn all_of(parts: impl IntoIterator<Item = Filter>) -> Filter {
        let mut flat = Vec::new();
        for part in parts {
            match part {
                Filter::All => {}
                Filter::And(inner) => flat.extend(inner),
                other => flat.push(other),
            }
        }
        match flat.len() {
            0 => Filter::All,
            1 => flat.swap_remove(0),
            _ => Filter::And(flat),
        }
    }

    /// One of `parts` at least, flattened: nested `Or`s are taken apart, one part stands alone. Of no parts it is
    /// never true.
    pub fn one_of(parts: impl IntoIterator<Item = Filter>) -> Filter {
        let mut flat = Vec::new();
        for part in parts {
            match part {
                Filter::Or(inner) => flat.extend(inner),
                other => flat.push(other),
            }
        }
        match flat.len() {
            0 => Filter::Not(Box::new(Filter::All)),
            1 => flat.swap_remove(0),
            _ => Filter::Or(flat),
        }
    }

    /// The opposite; of an opposite, the thing itself.
    pub fn opposite(self) -> Filter {
        match self {
            Filter::Not(inner) => *inner,
            other => Filter::Not(Box::new(other)),
        }
    }

    /// The field that a leaf compares; `None` for what is no field and for compounds.
    pub fn field(&self) -> Option<Field> {
        match self {
            Filter::Is { field, .. }
            | Filter::Any(field)
            | Filter::Number { field, .. }
            | Filter::Text { field, .. } => Some(*field),
            Filter::ToGain(_) | Filter::GoalToGo => Some(Field::Distance),
            Filter::BallOn { .. } => Some(Field::BallOn),
            Filter::Clock(_) => Some(Field::Clock),
            _ => None,
        }
    }
}
