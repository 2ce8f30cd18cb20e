//! Words set into a given width: smaller first, then in more lines, and never cut.

use super::fonts::text_width;

/// Most lines that words are broken into.
const MOST_LINES: usize = 12;

/// How words may be set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Setting {
    /// Font size that is wanted, units.
    pub size: f32,
    /// Size down to which they shrink before they are broken into one line more.
    pub least: f32,
    /// Size of words in more lines than one, at most.
    pub broken: f32,
    /// Weight of the typeface.
    pub weight: u16,
}

/// Words as they are set.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct SetWords {
    /// Font size, units.
    pub size: f32,
    /// The lines.
    pub lines: Vec<String>,
}

/// Sets words into `room` (units). All of them are there afterwards, however small.
pub(super) fn set(words: &str, how: Setting, room: f32) -> SetWords {
    // Widths are taken once, at a size of 100, and scale with it.
    let width = |text: &str| text_width(text, 100.0, how.weight) / 100.0;
    let whole = width(words).max(0.01);
    let one = how.size.min(room / whole);
    let words: Vec<&str> = words.split_whitespace().collect();
    if one >= how.least.min(how.size) || words.len() < 2 {
        return SetWords { size: one, lines: vec![words.join(" ")] };
    }
    let space = (width("n n") - width("nn")).max(0.0);
    let widths: Vec<f32> = words.iter().map(|word| width(word)).collect();
    let mut best = (one, vec![words.len()]);
    for lines in 2..=MOST_LINES.min(words.len()) {
        let (longest, breaks) = broken(&widths, space, lines);
        // A hundredth is left for what stands between two words and their letters.
        let size = how.broken.min(room / (longest * 1.01));
        if size > best.0 {
            best = (size, breaks);
        }
        if best.0 >= how.least.min(how.broken) {
            break;
        }
    }
    let mut from = 0;
    let lines = best.1.iter().map(|&to| {
        let line = words[from..to].join(" ");
        from = to;
        line
    });
    SetWords { lines: lines.collect(), size: best.0 }
}

/// Words of these widths in at most so many lines of which the longest is as short as can be: its width, and the word
/// after each line's last.
fn broken(widths: &[f32], space: f32, lines: usize) -> (f32, Vec<usize>) {
    let fill = |limit: f32| {
        let (mut breaks, mut line, mut longest) = (Vec::new(), 0.0f32, 0.0f32);
        for (i, &width) in widths.iter().enumerate() {
            let longer = if line > 0.0 { line + space + width } else { width };
            if line > 0.0 && longer > limit {
                breaks.push(i);
                line = width;
            } else {
                line = longer;
            }
            longest = longest.max(line);
        }
        breaks.push(widths.len());
        (longest, breaks)
    };
    let (mut short, mut enough) = (0.0f32, widths.iter().sum::<f32>() + space * widths.len() as f32);
    for _ in 0..24 {
        let middle = (short + enough) / 2.0;
        let (longest, breaks) = fill(middle);
        if breaks.len() <= lines && longest <= middle { enough = middle } else { short = middle }
    }
    fill(enough)
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOW: Setting = Setting { size: 100.0, least: 60.0, broken: 80.0, weight: 700 };

    #[test]
    fn words_shrink_then_break_and_are_never_cut() {
        let short = set("Third and 2", HOW, 1000.0);
        assert_eq!((short.size, short.lines.len()), (100.0, 1));
        let text = "Third and 2 from the plus 34, the ball on the left hash";
        for room in [4000.0, 1600.0, 900.0, 400.0, 120.0, 20.0] {
            let got = set(text, HOW, room);
            assert_eq!(got.lines.join(" "), text, "{room}");
            for line in &got.lines {
                assert!(text_width(line, got.size, 700) <= room, "{room}: {line} at {}", got.size);
            }
            assert!(got.lines.len() == 1 || got.size <= HOW.broken, "{room}: {got:?}");
            assert!(room > 120.0 || got.lines.len() > 4, "{room}: {got:?}");
        }
    }

    #[test]
    fn lines_are_about_as_long_as_each_other() {
        let got = set("one two three four five six", HOW, 330.0);
        let widths: Vec<f32> = got.lines.iter().map(|line| text_width(line, 100.0, 700)).collect();
        assert_eq!(got.lines.len(), 2, "{got:?}");
        assert!((widths[0] / widths[1] - 1.0).abs() < 0.35, "{got:?}");
    }

    #[test]
    fn one_long_word_only_shrinks() {
        let got = set(&"w".repeat(80), HOW, 500.0);
        assert!(
            got.lines.len() == 1 && got.size < 20.0 && text_width(&got.lines[0], got.size, 700) <= 500.5,
            "{got:?}"
        );
    }
}
