//! Moments of a play as they are written: `snap-2s`, `whistle + 1 s`, `set`.

use super::kinds::OFFSET;
use super::table::{list, nearest};
use super::{Anchor, Moment};

/// Reads a moment.
///
/// # Errors
/// What is wrong with it, and what to write.
pub fn read(text: &str) -> Result<Moment, (String, String)> {
    let plain = text.trim().to_lowercase();
    let word: String = plain.chars().take_while(|c| c.is_alphabetic()).collect();
    let rest = plain[word.len()..].trim_start();
    let Some((_, anchor)) = Anchor::WORDS.iter().find(|(name, _)| *name == word) else {
        let what = if word.is_empty() {
            format!("\"{text}\" does not say what it is counted from")
        } else {
            format!("\"{text}\" is no moment: \"{word}\" is not known")
        };
        return Err((what, advice(&word, rest)));
    };
    let Some(sign) = rest.chars().next() else { return Ok(Moment { anchor: *anchor, offset: 0.0 }) };
    let negative = match sign {
        '+' => false,
        '-' | '\u{2212}' | '\u{2013}' => true,
        _ => {
            let next = format!("write + or - after the word, as in \"{word}+1s\" or \"{word}-0.5s\"");
            return Err((format!("\"{text}\" is no moment"), next));
        }
    };
    let amount = rest[sign.len_utf8()..].trim_start();
    let end = amount.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(amount.len());
    let (number, unit) = (&amount[..end], amount[end..].trim());
    let scale = match unit {
        "" | "s" | "sec" | "second" | "seconds" => Some(1.0),
        "ms" => Some(0.001),
        _ => None,
    };
    let read = number.parse::<f64>().ok().zip(scale);
    let Some((seconds, scale)) = read else {
        let what = format!("\"{text}\" is no moment: \"{amount}\" is no number of seconds");
        return Err((what, format!("write it as \"{word}{}0.5s\", with a point", if negative { '-' } else { '+' })));
    };
    let seconds = seconds * scale;
    if !(0.0..=OFFSET).contains(&seconds) {
        let what = format!("\"{text}\" is more than {OFFSET} seconds from the {word}");
        return Err((what, "write a moment near the play".to_string()));
    }
    Ok(Moment { anchor: *anchor, offset: if negative { -seconds } else { seconds } })
}

fn advice(word: &str, rest: &str) -> String {
    let words: Vec<&str> = Anchor::WORDS.iter().map(|(name, _)| *name).collect();
    match nearest(word, &words) {
        Some(near) if rest.is_empty() => format!("did you mean \"{near}\"?"),
        Some(near) => format!("did you mean \"{near}{rest}\"?"),
        None => format!("begin with {}, as in \"snap-2s\"", list(&words, "or")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_are_read_as_coaches_write_them() {
        for (text, anchor, offset) in [
            ("snap", Anchor::Snap, 0.0),
            ("snap-2s", Anchor::Snap, -2.0),
            (" Snap - 0.5 s", Anchor::Snap, -0.5),
            ("whistle+1s", Anchor::Whistle, 1.0),
            ("snap+500ms", Anchor::Snap, 0.5),
            ("set + 1.25 seconds", Anchor::Set, 1.25),
            ("start+3", Anchor::Start, 3.0),
            ("end \u{2212} 1", Anchor::End, -1.0),
            ("snap\u{2013}1s", Anchor::Snap, -1.0),
            ("snap-.3s", Anchor::Snap, -0.3),
        ] {
            assert_eq!(read(text), Ok(Moment { anchor, offset }), "{text}");
        }
    }

    #[test]
    fn what_is_no_moment_says_what_to_write() {
        for (text, what, next) in [
            ("snp-2s", "\"snp\" is not known", "did you mean \"snap-2s\"?"),
            ("kick", "\"kick\" is not known", "start, set, snap, whistle or end"),
            ("2s", "does not say what it is counted from", "start, set, snap"),
            ("", "does not say", "as in \"snap-2s\""),
            ("snap 2s", "is no moment", "\"snap+1s\" or \"snap-0.5s\""),
            ("snap-0,5s", "\"0,5s\" is no number", "\"snap-0.5s\", with a point"),
            ("snap-", "\"\" is no number", "snap-0.5s"),
            ("snap+2 yards", "no number of seconds", "snap+0.5s"),
            ("snap+1.2.3s", "no number of seconds", "snap+0.5s"),
            ("snap+9999s", "more than 600 seconds", "near the play"),
            ("snäp", "is not known", "did you mean \"snap\"?"),
        ] {
            let (said, advised) = read(text).unwrap_err();
            assert!(said.contains(what) && advised.contains(next), "{text}: {said}; {advised}");
        }
    }
}
