//! What is wrong with a phrase, and where.

use std::fmt;
use std::ops::Range as Span;

use crate::base::Error;

/// A phrase that cannot be read. Display prints what is wrong, then the phrase with carets under the place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PhraseError {
    /// The whole phrase.
    pub phrase: String,
    /// The bytes of it that are meant; may be empty at its end.
    pub span: Span<usize>,
    /// What is wrong, as one sentence without a full stop.
    pub what: String,
    /// The nearest spellings that would be understood, best first; empty where none is near.
    pub nearest: Vec<String>,
    /// What would fit there, as an imperative sentence without a full stop.
    pub fits: String,
}

impl PhraseError {
    /// The phrase on one line and, on the next, carets under the place.
    pub fn pointed(&self) -> String {
        let shown = |c: char| if c.is_control() { ' ' } else { c };
        let columns = |part: Option<&str>| part.map_or(0, |p| p.chars().count());
        let before = columns(self.phrase.get(..self.span.start));
        let under = columns(self.phrase.get(self.span.clone())).max(1);
        let line: String = self.phrase.chars().map(shown).collect();
        format!("  {line}\n  {}{}", " ".repeat(before), "^".repeat(under))
    }

    /// The step to try: the nearest spellings, else what would fit.
    pub fn next(&self) -> String {
        let quoted: Vec<_> = self.nearest.iter().map(|n| format!("\"{n}\"")).collect();
        match quoted.split_last() {
            None => self.fits.clone(),
            Some((only, [])) => format!("did you mean {only}? Else {}", self.fits),
            Some((last, others)) => format!("did you mean {} or {last}? Else {}", others.join(", "), self.fits),
        }
    }
}

impl fmt::Display for PhraseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}\n{}", self.what, self.pointed())
    }
}

impl std::error::Error for PhraseError {}

impl From<PhraseError> for Error {
    fn from(error: PhraseError) -> Self {
        Error::refused(
            format!("cannot read the phrase: {}", error.what),
            format!("\n{}", error.pointed()),
            error.next(),
        )
    }
}
