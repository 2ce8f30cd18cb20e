//! A coach's phrase, its meaning, and the meaning in words. Imports base and football only.
//!
//! [`parse`] turns a phrase into a [`Filter`]; `Display` says the filter in words that `parse` reads as the same
//! filter; [`Filter::fits`] asks it of one play. The library turns the same value into SQL.
//!
//! # The language
//!
//! A phrase is a list of conditions. Case, hyphens and spacing do not matter, and neither do *a, an, the, in, on, at,
//! from, with, of*. An empty phrase means every play.
//!
//! ```text
//! phrase     = either [ ("vs" | "against") either ]
//! either     = list { "or" list }
//! list       = values { ("and" | "&" | "," | nothing) values }
//! values     = item { ("or" | "," | nothing) item }              all of one field
//! item       = "(" phrase ")" | "not" item | condition
//! condition  = ("third" | "3rd" | ...) ["down"]
//!            | 3 "&" distance                                    a bare down, before a distance
//!            | range                                             a distance, behind a down
//!            | "goal" | "inches"
//!            | situation | word [field] | "success" | "unsuccessful" | "all"
//!            | word-field ["=" | ":" | "is" | "!="] word         motion, shift, rotation alone: any
//!            | number-field [comparison] range                   down, distance, quarter, gain, margin
//!            | ["ball on"] spot ["-" spot]                       own 20-40, opp 20-1, own 40 to opp 40, -35, +20
//!            | "clock" [comparison] time ["-" time]
//!            | ("ball" | "sheet number") ["=" | "!="] text | team ["ball"]
//!            | "note" ["has" | "="] text
//!            | "game" text | "opponent" text | "last" [3] "games" | "opener" | ("our" | "their") "ball"
//!            | ["date" | "since" | "before" | "after" | "until"] [comparison] 2026-09-11 ["to" 2026-09-30]
//!            | ("play" | "label") 17a
//!            | ["tag"] own-column ["=" | "!="] text
//! range      = 7 | 7+ | "7 or more" | "7 or less" | 4-6 | "4 to 6", with or without "yards"
//! comparison = "=" | "!=" | "<" | "<=" | ">" | ">=" | "under" | "over" | "less than" | "more than"
//!            | "at least" | "at most"
//! text       = one word, or several in quotes
//! ```
//!
//! What binds tighter stands higher:
//!
//! | | | example | reads |
//! |---|---|---|---|
//! | 1 | parentheses | `(run or mesh) third` | `(play type = run or concept = mesh) and down = 3` |
//! | 2 | `not` | `not gun third` | `not backfield = gun and down = 3` |
//! | 3 | `or`, comma or nothing between values of one field | `first or second and short` | `(down = 1 or down = 2) and distance 1-3` |
//! | 4 | `and`, `&`, comma or nothing | `quarter 4, run` | `quarter = 4 and play type = run` |
//! | 5 | `or` | `mesh or third and gun` | `concept = mesh or (down = 3 and backfield = gun)` |
//! | 6 | `vs` | `mesh or third vs one-high` | `(concept = mesh or down = 3) and shell = one-high` |
//!
//! - A comma, or nothing, between two values of one field that exclude each other is "or"; two comparisons that both
//!   can be true (`gain >= 4 gain <= 9`) are "and". Two such values apart in a list, or joined by a spoken "and" ("run
//!   and pass"), are refused: a play has one value of each field.
//! - `vs` is "and"; if all that its two sides tell of is the same side of the ball, it is refused.
//! - The longest spelling wins: "run pass" is the run-pass option, "run, pass" are two play types.
//! - The words of the language itself go before those that a staff has used; `field word` reaches those all the same.
//! - A spelling of several fields ("left") has to name its field; so has a number that may be a distance or a word
//!   ("third 11"; "third and 11" is the distance, "third and 11 personnel" the personnel). `not` before one of two
//!   values ("not run or pass"), or before a down and distance, has to have parentheses. What is unclear is refused
//!   with the ways to say it, never guessed.
//! - Rotation has the words of shell: alone they mean the shell; "to one-high" and "rotation one-high" the rotation.
//! - `short`, `red zone` and their like are situations of `config/situations.toml`, each a phrase of this language.
//! - "yes" of motion and shift, and their name alone, ask for any but "no".
//!
//! # What is unknown
//!
//! A comparison with an unknown value is unknown, its opposite too, and a play is in the answer only if the whole is
//! true: "not motion" answers the plays that are known to have none.

mod ast;
mod calendar;
mod error;
mod group;
mod item;
mod number;
mod parser;
mod print;
mod season;
mod situations;
mod token;
mod truth;
mod words;

#[cfg(test)]
mod tests;

/// The language told to a coach, with examples that a test reads.
pub const GRAMMAR: &str = include_str!("../../config/phrases.md");

pub use ast::{Filter, Range, SuccessShares, TextMatch};
pub use error::PhraseError;
pub use season::Season;
pub use situations::{Situation, Situations};
pub use truth::Truth;
pub use words::{Words, parse};
