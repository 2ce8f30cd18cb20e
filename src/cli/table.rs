//! Tables that fit the terminal.

use super::output;

/// Columns of the terminal; of text that goes to no terminal 100.
pub fn terminal() -> usize {
    let told = std::env::var("COLUMNS").ok().and_then(|c| c.parse().ok());
    told.or_else(|| terminal_size::terminal_size().map(|(width, _)| usize::from(width.0))).unwrap_or(100).max(40)
}

/// A table: its widest columns give way where the terminal is narrow, and cells go on in the next line.
pub fn table(heads: &[&str], rows: &[Vec<String>]) -> String {
    fitted(heads, rows, terminal())
}

/// A row of cells, and what is to be checked about it, told below it over the whole width; empty for nothing.
pub struct Line {
    /// Its cells.
    pub cells: Vec<String>,
    /// What is to be checked.
    pub check: String,
}

/// Tables under headings that share their columns' widths.
pub fn grouped(heads: &[&str], groups: &[(String, Vec<Line>)]) -> String {
    /// What a row's remark is moved in by, and the mark before it: "check: ".
    const INDENT: usize = 6;
    const MARK: usize = 7;
    let all: Vec<&Vec<String>> = groups.iter().flat_map(|(_, lines)| lines).map(|l| &l.cells).collect();
    let widths = widths(heads, &all, terminal());
    let mut out = String::new();
    for (heading, lines) in groups {
        out.push_str(heading);
        out.push_str(&laid_out(heads, &[], &widths));
        for line in lines {
            out.push_str(&laid_out(&[], std::slice::from_ref(&line.cells), &widths));
            let check = folded(&line.check, terminal().saturating_sub(INDENT + MARK));
            for (at, text) in check.iter().enumerate().filter(|(_, text)| !text.is_empty()) {
                let mark = if at == 0 { format!("{}: ", output::check_word_out()) } else { " ".repeat(MARK) };
                out.push_str(&format!("{}{mark}{text}\n", " ".repeat(INDENT)));
            }
        }
    }
    out
}

fn fitted(heads: &[&str], rows: &[Vec<String>], width: usize) -> String {
    let all: Vec<&Vec<String>> = rows.iter().collect();
    laid_out(heads, rows, &widths(heads, &all, width))
}

/// No column is squeezed below this, so that most words stay whole (our own choice).
const NARROWEST: usize = 7;

fn widths(heads: &[&str], rows: &[&Vec<String>], width: usize) -> Vec<usize> {
    let cell = |row: &Vec<String>, at: usize| row.get(at).map_or(0, |c| c.chars().count());
    let mut widths: Vec<usize> = (0..heads.len())
        .map(|at| rows.iter().map(|r| cell(r, at)).chain([heads[at].chars().count()]).max().unwrap_or(0))
        .collect();
    let room = width.saturating_sub(2 * heads.len().saturating_sub(1));
    while widths.iter().sum::<usize>() > room {
        let Some(widest) = widths.iter_mut().max_by_key(|w| **w).filter(|w| **w > NARROWEST) else { break };
        *widest -= 1;
    }
    widths
}

fn laid_out(heads: &[&str], rows: &[Vec<String>], widths: &[usize]) -> String {
    let mut out = String::new();
    let mut put = |cells: &[String], faint: bool| {
        let lines: Vec<Vec<String>> = cells.iter().zip(widths).map(|(c, w)| folded(c, *w)).collect();
        for at in 0..lines.iter().map(Vec::len).max().unwrap_or(0) {
            let pieces = lines.iter().zip(widths).map(|(lines, width)| {
                let piece = lines.get(at).map_or("", String::as_str);
                format!("{piece}{}", " ".repeat(width.saturating_sub(piece.chars().count())))
            });
            let text = pieces.collect::<Vec<_>>().join("  ").trim_end().to_string();
            out.push_str(&if faint { output::dim(text) } else { text });
            out.push('\n');
        }
    };
    if !heads.is_empty() {
        put(&heads.iter().map(ToString::to_string).collect::<Vec<_>>(), true);
    }
    for row in rows {
        put(row, false);
    }
    out
}

/// A text in lines of at most `width`, broken between words where it can be. Signs that steer a terminal go.
fn folded(text: &str, width: usize) -> Vec<String> {
    let width = width.max(1);
    let mut lines: Vec<String> = Vec::new();
    let mut line: Vec<char> = Vec::new();
    for word in text.split_whitespace() {
        let mut word: Vec<char> = word.chars().filter(|c| !c.is_control()).collect();
        if !line.is_empty() && line.len() + 1 + word.len() > width {
            lines.push(std::mem::take(&mut line).into_iter().collect());
        } else if !line.is_empty() {
            line.push(' ');
        }
        while word.len() > width {
            let rest = word.split_off(width);
            lines.push(word.into_iter().collect());
            word = rest;
        }
        line.extend(word);
    }
    lines.push(line.into_iter().collect());
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_fits_and_loses_no_word() {
        let rows = vec![
            vec![
                "3 Down".to_string(),
                "10-Jan".into(),
                "a spreadsheet program took down and distance for a date".into(),
            ],
            vec!["4 Note".into(), "averyverylongword".repeat(4), "short\u{1b}[2J".into()],
        ];
        let heads = ["where", "typed", "what"];
        let text = fitted(&heads, &rows, 60);
        assert!(text.lines().all(|l| l.chars().count() <= 60), "{text}");
        let letters = |t: &str| t.chars().filter(|c| *c == 'v').count();
        assert_eq!(letters(&text), 8, "{text}");
        for word in "a spreadsheet program took down and distance for a date".split(' ') {
            assert!(text.contains(word), "{word}: {text}");
        }
        assert!(!text.contains('\u{1b}'));
        // Wide enough, every row is one line.
        assert_eq!(fitted(&heads, &rows, 200).lines().count(), 3);
    }
}
