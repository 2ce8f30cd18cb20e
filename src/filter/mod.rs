//! A coach's phrase, its meaning, and the meaning in words. Imports base and football only.

mod ast;
mod error;
mod group;
mod item;
mod number;
mod parser;
mod print;
mod situations;
mod token;
mod truth;
mod words;

#[cfg(test)]
mod tests;

pub use ast::{Filter, Range, SuccessShares, TextMatch};
pub use error::PhraseError;
pub use situations::{Situation, Situations};
pub use truth::Truth;
pub use words::{Words, parse};
