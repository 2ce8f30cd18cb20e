//! A phrase cut into tokens, each with its place.

use std::ops::Range as Span;

/// What a token is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Kind {
    /// Letters, digits and apostrophes, in lower case: `third`, `2nd`, `17a`, `q4`.
    Piece(String),
    /// Text in quotes, as it stands in them.
    Quoted(String),
    /// A comparison.
    Compare(Compare),
    /// A comma or semicolon.
    Comma,
    /// `&`.
    Ampersand,
    /// `+`.
    Plus,
    /// A hyphen, minus or dash: a sign before a number, `to` between two, else a space.
    Dash,
    /// `:`, which joins minutes and seconds.
    Colon,
    /// `(`.
    Open,
    /// `)`.
    Close,
    /// `/`, `.` and other marks, read as a space.
    Mark,
}

/// A comparison sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Compare {
    Equal,
    Unequal,
    Below,
    AtMost,
    Above,
    AtLeast,
}

/// A token and the bytes it stands at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Token {
    pub kind: Kind,
    pub span: Span<usize>,
}

impl Token {
    /// The piece's letters, empty for what is none.
    pub fn piece(&self) -> &str {
        match &self.kind {
            Kind::Piece(text) => text,
            _ => "",
        }
    }
}

/// Cuts a phrase into tokens; the one thing that can be wrong is a quote that is not closed, whose place is returned.
pub(super) fn tokens(phrase: &str) -> Result<Vec<Token>, Span<usize>> {
    let mut found = Vec::new();
    let mut rest = phrase.char_indices().peekable();
    while let Some((start, c)) = rest.next() {
        let mut end = start + c.len_utf8();
        let mut eat_equals = |rest: &mut std::iter::Peekable<std::str::CharIndices<'_>>| {
            let equals = rest.next_if(|(_, next)| *next == '=').is_some();
            end += usize::from(equals);
            equals
        };
        let kind = match c {
            c if c.is_whitespace() || c.is_control() => continue,
            '"' | '\u{201c}' | '\u{201d}' => {
                let mut text = String::new();
                let mut closed = false;
                while let Some((at, c)) = rest.next() {
                    end = at + c.len_utf8();
                    match c {
                        '"' | '\u{201c}' | '\u{201d}' => {
                            closed = true;
                            break;
                        }
                        '\\' => {
                            if let Some((at, escaped)) = rest.next() {
                                end = at + escaped.len_utf8();
                                text.push(escaped);
                            }
                        }
                        c => text.push(c),
                    }
                }
                if !closed {
                    return Err(start..phrase.len());
                }
                Kind::Quoted(text)
            }
            ',' | ';' => Kind::Comma,
            '&' => Kind::Ampersand,
            '+' => Kind::Plus,
            '-' | '\u{2010}'..='\u{2015}' | '\u{2212}' => Kind::Dash,
            ':' => Kind::Colon,
            '(' => Kind::Open,
            ')' => Kind::Close,
            '=' if rest.next_if(|(_, next)| *next == '>').is_some() => {
                end += 1;
                Kind::Compare(Compare::AtLeast)
            }
            '=' => {
                eat_equals(&mut rest);
                Kind::Compare(Compare::Equal)
            }
            '!' if eat_equals(&mut rest) => Kind::Compare(Compare::Unequal),
            '\u{2260}' => Kind::Compare(Compare::Unequal),
            '<' => Kind::Compare(if eat_equals(&mut rest) { Compare::AtMost } else { Compare::Below }),
            '>' => Kind::Compare(if eat_equals(&mut rest) { Compare::AtLeast } else { Compare::Above }),
            '\u{2264}' => Kind::Compare(Compare::AtMost),
            '\u{2265}' => Kind::Compare(Compare::AtLeast),
            c if c.is_alphanumeric() => {
                let inside = |(_, c): &(usize, char)| c.is_alphanumeric() || "'\u{2019}".contains(*c);
                while let Some((at, c)) = rest.next_if(inside) {
                    end = at + c.len_utf8();
                }
                Kind::Piece(phrase[start..end].to_lowercase())
            }
            _ => Kind::Mark,
        };
        found.push(Token { kind, span: start..end });
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(phrase: &str) -> Vec<String> {
        tokens(phrase).unwrap().iter().map(|t| phrase[t.span.clone()].to_string()).collect()
    }

    #[test]
    fn cuts_at_signs_and_spaces() {
        assert_eq!(shown("3rd&7+,gain>=-3 (Q4)"), ["3rd", "&", "7", "+", ",", "gain", ">=", "-", "3", "(", "Q4", ")"]);
        assert_eq!(shown("gain=>3 a==b !=<"), ["gain", "=>", "3", "a", "==", "b", "!=", "<"]);
        assert_eq!(shown("clock 2:00\u{a0}vs. d\u{2019}s"), ["clock", "2", ":", "00", "vs", ".", "d\u{2019}s"]);
        assert!(shown(" \t\n").is_empty());
    }

    #[test]
    fn quotes_hold_anything_and_must_close() {
        let kinds: Vec<_> = tokens(r#"note has "a \"b\" (c\\" "#).unwrap().into_iter().map(|t| t.kind).collect();
        assert_eq!(kinds[2], Kind::Quoted(r#"a "b" (c\"#.into()));
        assert_eq!(tokens("note \"a"), Err(5..7));
        assert_eq!(tokens("note \"a\\"), Err(5..8));
    }
}
