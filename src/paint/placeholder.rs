//! What stands in braces in a template's words: `{coverage}`, `{tag:grade}`, `{shell?vs {shell}}`.

use std::collections::BTreeSet;

use crate::football::{Field, fold};

/// Names that a template may use beside the fields of the sheet, and what each holds. `{tag_1}`, `{tag_2}` and so on,
/// and `{tag:NAME}` for a column of the staff's own, come on top.
pub const NAMES: [(&str, &str); 20] = [
    ("and_distance", "the distance as it is said after the down: \"and 2\", \"and goal\""),
    ("down_distance", "both in words: \"Third and 2\""),
    ("word", "what a play without a down is: \"kickoff\""),
    ("set", "the formation with its strength: \"trips right\""),
    ("defense", "the shell and the coverage: \"one-high, cover 3\""),
    ("period", "the quarter as it is said: \"Q2\", \"OT\""),
    ("when", "the period and the clock: \"Q2 4:31\""),
    ("play", "\"play 47\""),
    ("label", "the play's label alone: \"47\""),
    ("game", "\"Herons at Badgers\" where both teams are known, else the game's name"),
    ("date", "the day of the game"),
    ("home", "the home team"),
    ("away", "the team on the road"),
    ("opponent", "the team that is not the staff's own"),
    ("angle", "the camera: \"sideline\""),
    ("title", "what the reel is called"),
    ("group", "the group's name"),
    ("number", "which one it is, counted from 1: a group of the groups, a play of the plays"),
    ("of", "how many there are of them"),
    ("plays", "how many plays the group has: \"12 plays\""),
];

/// Deepest nesting of optional parts.
const DEEPEST: usize = 8;

/// A run of a template's words.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Piece {
    /// As it stands.
    Words(String),
    /// The value of a name.
    Value(String),
    /// Shown only where the name, and every other name in it, has a value.
    Optional(String, Vec<Piece>),
}

/// The name by which a column of the staff's own is asked for; case, spaces and hyphens do not matter.
pub fn own_column(name: &str) -> String {
    format!("tag:{}", fold(name))
}

/// A name as values are kept under it; `None` for one that nothing has.
fn canonical(name: &str) -> Option<String> {
    let name = name.trim();
    if let Some((head, column)) = name.split_once(':') {
        let own = own_column(column);
        return (head.trim().eq_ignore_ascii_case("tag") && own.len() > "tag:".len()).then_some(own);
    }
    let plain = name.to_lowercase().replace([' ', '-'], "_");
    let numbered = plain.strip_prefix("tag_").and_then(|n| n.parse::<u8>().ok()).is_some_and(|n| (1..=99).contains(&n));
    if numbered || NAMES.iter().any(|(known, _)| *known == plain) {
        return Some(plain);
    }
    Field::named(name).map(|field| field.key().to_string())
}

/// Takes words apart. The error says what is wrong with them.
pub(super) fn parse(text: &str) -> Result<Vec<Piece>, String> {
    let mut rest = text;
    run(&mut rest, 0)
}

fn run(rest: &mut &str, depth: usize) -> Result<Vec<Piece>, String> {
    let mut out = Vec::new();
    let words = |out: &mut Vec<Piece>, text: &str| {
        if !text.is_empty() {
            out.push(Piece::Words(text.to_string()));
        }
    };
    loop {
        let Some(at) = rest.find(['{', '}']) else {
            words(&mut out, rest);
            *rest = "";
            return if depth == 0 { Ok(out) } else { Err("a brace is opened and not closed".into()) };
        };
        let closes = rest[at..].starts_with('}');
        words(&mut out, &rest[..at]);
        *rest = &rest[at + 1..];
        if closes {
            if depth > 0 {
                return Ok(out);
            }
            return Err("a brace is closed that was not opened".into());
        }
        let end = rest.find(['?', '{', '}']).ok_or("a brace is opened and not closed")?;
        let name = &rest[..end];
        let canonical = canonical(name).ok_or_else(|| match fold(name).is_empty() {
            true => "braces hold no name".to_string(),
            false => format!("there is no field {{{name}}}; a column of your own is written {{tag:{}}}", name.trim()),
        })?;
        let sign = rest[end..].chars().next();
        *rest = &rest[end + 1..];
        match sign {
            Some('}') => out.push(Piece::Value(canonical)),
            Some('?') if depth < DEEPEST => out.push(Piece::Optional(canonical, run(rest, depth + 1)?)),
            Some('?') => return Err(format!("optional parts are nested more than {DEEPEST} deep")),
            _ => return Err(format!("a brace is opened within the name {{{name}")),
        }
    }
}

/// Puts values in. `None` where a name outside optional parts has no value, or where nothing is left to be read of words
/// that had names in them. What a value holds is never looked at again: braces in a tag stay what they are.
pub(super) fn fill(pieces: &[Piece], value: &dyn Fn(&str) -> Option<String>) -> Option<String> {
    let filled = put(pieces, value)?;
    let fixed = pieces.iter().all(|piece| matches!(piece, Piece::Words(_)));
    (fixed || !filled.trim().is_empty()).then_some(filled)
}

fn put(pieces: &[Piece], value: &dyn Fn(&str) -> Option<String>) -> Option<String> {
    let mut out = String::new();
    for piece in pieces {
        match piece {
            Piece::Words(words) => out.push_str(words),
            Piece::Value(name) => out.push_str(&value(name)?),
            Piece::Optional(name, inside) => {
                if let Some(text) = value(name).and_then(|_| put(inside, value)) {
                    out.push_str(&text);
                }
            }
        }
    }
    Some(out)
}

/// Every name in these pieces.
pub(super) fn names(pieces: &[Piece], out: &mut BTreeSet<String>) {
    for piece in pieces {
        match piece {
            Piece::Words(_) => {}
            Piece::Value(name) => {
                out.insert(name.clone());
            }
            Piece::Optional(name, inside) => {
                out.insert(name.clone());
                names(inside, out);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filled(text: &str, known: &[(&str, &str)]) -> Option<String> {
        let value = |name: &str| known.iter().find(|(n, _)| *n == name).map(|(_, v)| v.to_string());
        fill(&parse(text).unwrap(), &value)
    }

    #[test]
    fn every_field_of_the_sheet_is_a_placeholder_and_so_are_the_other_names_and_own_columns() {
        for field in Field::ALL {
            for name in [field.key().to_string(), field.words().to_string(), field.key().to_uppercase()] {
                assert_eq!(filled(&format!("<{{{name}}}>"), &[(field.key(), "x")]).as_deref(), Some("<x>"), "{name}");
            }
        }
        for (name, _) in NAMES {
            assert_eq!(filled(&format!("{{{name}}}"), &[(name, "x")]).as_deref(), Some("x"), "{name}");
            assert!(Field::named(name).is_none(), "{name} hides a field");
        }
        for name in ["tag:Grade (OL)", "TAG:grade-ol", "tag: grade ol"] {
            assert_eq!(parse(&format!("{{{name}}}")).unwrap(), [Piece::Value(own_column("Grade OL"))], "{name}");
        }
        assert_eq!(parse("{tag_2}").unwrap(), [Piece::Value("tag_2".into())]);
    }

    #[test]
    fn what_is_missing_takes_its_optional_part_with_it_and_nothing_else() {
        let text = "{set}{shell? vs {shell}{coverage?, {coverage}}}";
        for (known, want) in [
            (
                &[("set", "trips"), ("shell", "one-high"), ("coverage", "cover 3")][..],
                Some("trips vs one-high, cover 3"),
            ),
            (&[("set", "trips"), ("shell", "one-high")], Some("trips vs one-high")),
            (&[("set", "trips"), ("coverage", "cover 3")], Some("trips")),
            (&[("shell", "one-high")], None),
        ] {
            assert_eq!(filled(text, known).as_deref(), want, "{known:?}");
        }
        assert_eq!(filled("{down?{down} {distance}}.", &[("down", "3")]).as_deref(), Some("."), "the part goes whole");
        assert_eq!(filled(" {down?{down}} ", &[]), None, "nothing is left to read");
        assert_eq!(filled("fixed", &[]).as_deref(), Some("fixed"));
        assert_eq!(filled("{note}", &[("note", "{down} }{")]).as_deref(), Some("{down} }{"), "values are not followed");
    }

    #[test]
    fn words_that_cannot_be_understood_are_refused_with_the_reason() {
        for (text, part) in [
            ("{covrage}", "there is no field {covrage}; a column of your own is written {tag:covrage}"),
            ("{tag_0}", "no field {tag_0}"),
            ("{tag:}", "no field"),
            ("{own:grade}", "no field"),
            ("{down", "not closed"),
            ("{down?and {distance}", "not closed"),
            ("down}", "not opened"),
            ("{}", "no name"),
            ("{down{distance}}", "within the name"),
            (&format!("{}{}", "{down?".repeat(9), "}".repeat(9)), "nested more than"),
        ] {
            let error = parse(text).unwrap_err();
            assert!(error.contains(part), "{text}: {error}");
        }
    }

    #[test]
    fn names_are_all_those_that_are_asked_for() {
        let mut all = BTreeSet::new();
        names(&parse("a {set}{shell? vs {coverage}}{tag:Grade?!}").unwrap(), &mut all);
        assert_eq!(all.into_iter().collect::<Vec<_>>(), ["coverage", "set", "shell", "tag:grade"]);
    }
}
