//! A script that is no TOML: where, and what to do about it in plain words.

use super::reader::Desk;

/// Tells the faults of a text that is no TOML, one a line. A fault that runs over the line's end spoils what follows: nothing
/// after it is told.
pub fn tell(desk: &mut Desk<'_>, errors: &[toml::de::Error]) {
    let mut at: Vec<(usize, &str)> =
        errors.iter().map(|error| (error.span().map_or(0, |span| span.start), error.message())).collect();
    at.sort();
    let mut told = None;
    for (start, message) in at {
        let place = desk.place(start);
        if told == Some(place.line) {
            continue;
        }
        told = Some(place.line);
        let (what, next, runs_on) = plain(desk, start, message);
        desk.fault(place, what, next);
        if runs_on {
            return;
        }
    }
}

/// What is wrong, what to do, and whether the lines after it are spoiled.
fn plain(desk: &Desk<'_>, start: usize, message: &str) -> (String, String, bool) {
    let line = desk.line(start);
    let code = line.split('#').next().unwrap_or(line);
    let key = code.split('=').next().unwrap_or("").trim();
    let says = |part: &str| message.contains(part);
    let told = |what: &str, next: String| (what.to_string(), next, false);
    if line.contains(['\u{201c}', '\u{201d}', '\u{201e}', '\u{2018}', '\u{2019}']) && !says("duplicate") {
        return told("a quote is a curly one here", "write straight quotes: \"".into());
    }
    if says("duplicate key") {
        let header = code.trim().trim_matches(['[', ']']).trim().to_string();
        let what = format!("{} is given twice", if code.trim().starts_with('[') { &header } else { key });
        return match code.trim() {
            header_line if header_line.starts_with('[') && !header_line.starts_with("[[") => {
                told(&what, format!("write it with two brackets each time: [[{header}]]"))
            }
            header_line if header_line.starts_with('[') => {
                told(&what, format!("write {header} in one way only, each time as [[{header}]]"))
            }
            _ => told(&what, "delete one of the two, or begin a new table above the second: [[step]]".into()),
        };
    }
    if says("unclosed array table") || says("unclosed table") {
        return told("a header is not closed", "close it with as many brackets as it is opened with: [[step]]".into());
    }
    if says("array") {
        let what = if says("comma") { "a comma or a bracket is missing in a list" } else { "a list is not closed" };
        return (what.into(), "part its entries by commas and end it with ]".into(), true);
    }
    if says("inline table") || says("key-value pairs") {
        let what = "a comma or a brace is missing in a table";
        return (what.into(), "part its entries by commas and end it with }".into(), true);
    }
    if says("multi-line") {
        let quotes = if message.ends_with("`'`") { "'''" } else { "\"\"\"" };
        return ("a long text has no end".into(), format!("end it with three quotes: {quotes}"), true);
    }
    if says("escape") || says("unicode value digits") {
        return told(
            "a backslash means something else in quotes",
            "write / in paths, or \\\\ for one backslash".into(),
        );
    }
    if says("basic string") || says("literal string") && says("invalid") {
        return told("a quote is missing", "end the text with the quote that it begins with".into());
    }
    let value = code.split_once('=').map_or("", |(_, value)| value.trim());
    if says("string values must be quoted") || says("invalid float") || says("invalid boolean") || says("mantissa") {
        if value.is_empty() {
            return told(&format!("{key} has no value"), format!("write what it is to be after {key} ="));
        }
        if value.eq_ignore_ascii_case("true") || value.eq_ignore_ascii_case("false") {
            return told(&format!("{key} is {value}"), format!("write it small: {key} = {}", value.to_lowercase()));
        }
        if value.starts_with('.') {
            return told(&format!("{key} is {value}"), format!("write a zero before the point: {key} = 0{value}"));
        }
        if value.starts_with(['[', '{']) {
            return (
                format!("a list or table in {key} is not right"),
                "part its entries by commas, words in quotes".into(),
                true,
            );
        }
        return told(
            &format!("{key} has a value without quotes"),
            format!("write {key} = \"{}\"", value.trim_matches(['"', '\''])),
        );
    }
    if says("no value") || says("unquoted key") {
        if let Some((word, rest)) = code.split_once(':').filter(|(word, _)| !word.contains(['=', '"'])) {
            let next = format!("write {} = {}", word.trim(), rest.trim());
            return told("a colon stands for the sign =", next);
        }
        if key.is_empty() {
            return told("a name is missing before =", "write what it is, as in title = \"Mesh\"".into());
        }
        return told(
            "this line is no name = value",
            "write it as in title = \"Mesh\", or begin it with # as a note".into(),
        );
    }
    let comma =
        value.split_once(',').filter(|(a, b)| !a.is_empty() && [a, b].iter().all(|n| n.trim().parse::<u64>().is_ok()));
    if let Some((whole, part)) = comma {
        return told(
            &format!("{key} has a comma in its number"),
            format!("write a point: {key} = {}.{}", whole, part.trim()),
        );
    }
    if says("unexpected key or value") {
        return told(
            "more stands on this line than one value",
            "begin a new line for each, and quote whole texts".into(),
        );
    }
    told(
        &format!("this cannot be read ({message})"),
        "compare the line with config/reel.example.toml of the sources".into(),
    )
}
