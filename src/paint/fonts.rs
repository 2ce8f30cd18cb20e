//! The one typeface, compiled in: the same picture on every machine.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, OnceLock};

use resvg::usvg::{self, fontdb};

/// Family name of the shipped typeface.
pub const FAMILY: &str = "Archivo Narrow";

/// The longest free word shown whole, in letters; longer ones end in an ellipsis.
const LONGEST_WORD: usize = 24;

const FILES: [&[u8]; 3] = [
    include_bytes!("../../config/overlays/fonts/ArchivoNarrow-Medium.ttf"),
    include_bytes!("../../config/overlays/fonts/ArchivoNarrow-SemiBold.ttf"),
    include_bytes!("../../config/overlays/fonts/ArchivoNarrow-Bold.ttf"),
];

fn fonts() -> Arc<fontdb::Database> {
    static FONTS: OnceLock<Arc<fontdb::Database>> = OnceLock::new();
    FONTS
        .get_or_init(|| {
            let mut fonts = fontdb::Database::new();
            for file in FILES {
                fonts.load_font_data(file.to_vec());
            }
            // Whatever family a template asks for, it gets ours.
            fonts.set_serif_family(FAMILY);
            fonts.set_sans_serif_family(FAMILY);
            fonts.set_cursive_family(FAMILY);
            fonts.set_fantasy_family(FAMILY);
            fonts.set_monospace_family(FAMILY);
            Arc::new(fonts)
        })
        .clone()
}

/// How the vector library is run: our typeface only, no file, no image, no fallback.
pub(super) fn options() -> usvg::Options<'static> {
    usvg::Options {
        font_family: FAMILY.into(),
        fontdb: fonts(),
        font_resolver: usvg::FontResolver {
            select_font: usvg::FontResolver::default_font_selector(),
            select_fallback: Box::new(|_, _, _| None),
        },
        image_href_resolver: usvg::ImageHrefResolver {
            resolve_data: Box::new(|_, _, _| None),
            resolve_string: Box::new(|_, _| None),
        },
        ..usvg::Options::default()
    }
}

/// Width of a text in the units of `size` (font size): the advance, side bearings and kerning included.
pub fn text_width(text: &str, size: f32, weight: u16) -> f32 {
    let svg = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg"><g id="t"><text font-size="{size}" font-weight="{weight}">{}</text></g></svg>"#,
        escape(text)
    );
    let Ok(tree) = usvg::Tree::from_str(&svg, &options()) else { return 0.0 };
    tree.node_by_id("t").map_or(0.0, |node| node.bounding_box().width())
}

/// The signs of a text that the typeface does not have, each once, in order. They are drawn as an empty box.
pub fn missing_signs(text: &str) -> Vec<char> {
    static KNOWN: OnceLock<Mutex<HashMap<char, bool>>> = OnceLock::new();
    let mut missing = Vec::new();
    // ASCII is in the typeface; a test looks.
    for sign in text.chars().filter(|c| !c.is_ascii() && !c.is_whitespace()) {
        let known = KNOWN.get_or_init(Mutex::default).lock().ok().and_then(|k| k.get(&sign).copied());
        let there = known.unwrap_or_else(|| {
            let there = has(sign);
            if let Ok(mut known) = KNOWN.get_or_init(Mutex::default).lock() {
                known.insert(sign, there);
            }
            there
        });
        if !there && !missing.contains(&sign) {
            missing.push(sign);
        }
    }
    missing
}

/// Draws one sign and listens whether the library asks for a fallback.
pub(super) fn has(sign: char) -> bool {
    let asked = Arc::new(Mutex::new(false));
    let told = asked.clone();
    let options = usvg::Options {
        font_resolver: usvg::FontResolver {
            select_font: usvg::FontResolver::default_font_selector(),
            select_fallback: Box::new(move |_, _, _| {
                if let Ok(mut told) = told.lock() {
                    *told = true;
                }
                None
            }),
        },
        ..options()
    };
    let svg = format!(r#"<svg xmlns="http://www.w3.org/2000/svg"><text>{}</text></svg>"#, escape(&sign.to_string()));
    usvg::Tree::from_str(&svg, &options).is_ok() && asked.lock().is_ok_and(|asked| !*asked)
}

/// A value as it may be drawn: control, direction and zero-width signs out, runs of white space one space.
pub fn plain(value: &str) -> String {
    let mut out = String::with_capacity(value.len());
    for c in value.chars() {
        let invisible = matches!(c, '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{fffe}' | '\u{ffff}');
        if c.is_whitespace() || c == '\u{a0}' {
            if !out.is_empty() && !out.ends_with(' ') {
                out.push(' ');
            }
        } else if !c.is_control() && !invisible {
            out.push(c);
        }
    }
    out.truncate(out.trim_end().len());
    out
}

/// A free word cut to 24 letters, the last of them "…", if it is longer.
pub fn shorten(word: &str) -> String {
    if word.chars().count() <= LONGEST_WORD {
        return word.into();
    }
    let cut: String = word.chars().take(LONGEST_WORD - 1).collect();
    format!("{}…", cut.trim_end())
}

/// Text as it may stand in XML, between tags or in double quotes.
pub(super) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&apos;"),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_printable_ascii_sign_is_in_the_typeface_and_an_arrow_is_not() {
        for c in (0x21u8..0x7f).map(char::from) {
            assert!(has(c), "{c}");
        }
        assert_eq!(missing_signs("Łódź – ½ → … → ✓"), ['→', '✓']);
    }

    /// The digits' width and the weights: .456 em each, by the font files' own tables (fontTools).
    #[test]
    fn digits_are_of_one_width_in_every_weight_and_weights_differ() {
        for weight in [500, 600, 700] {
            for digit in '0'..='9' {
                let width = text_width(&digit.to_string(), 1000.0, weight);
                assert!((width - 456.0).abs() < 1.0, "{digit} at {weight}: {width}");
            }
        }
        assert!(text_width("wide", 100.0, 700) > text_width("wide", 100.0, 500) + 1.0);
    }

    #[test]
    fn values_lose_what_cannot_be_drawn() {
        assert_eq!(plain(" trips\u{0}\u{202e}  right\n\tclosed\u{a0}"), "trips right closed");
        assert_eq!(shorten("abcdefghijklmnopqrstuvwx"), "abcdefghijklmnopqrstuvwx");
        assert_eq!(shorten("abcdefghijklmnopqrstuvw yz"), "abcdefghijklmnopqrstuvw…");
        assert_eq!(shorten("abcdefghijklmnopqrstuvwxy").chars().count(), 24);
        assert_eq!(escape("a<b&\"c'>"), "a&lt;b&amp;&quot;c&apos;&gt;");
    }
}
