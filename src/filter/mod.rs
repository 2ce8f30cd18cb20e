//! A coach's phrase, its meaning, and the meaning in words. Imports base and football only.

mod ast;
mod truth;

pub use ast::{Filter, Range, SuccessShares, TextMatch};
pub use truth::Truth;
