//! What pages of ours have in common: colors by name, text and links within HTML.

use super::paint;

/// Colors by name: on a screen those of the film's strip, on paper darker ones (at least 4.5 to 1 on white, WCAG 2.2).
pub fn colors() -> String {
    let dark = [
        ("page", paint::PAGE),
        ("panel", paint::INK),
        ("rule", paint::RULE),
        ("text", paint::CHALK),
        ("soft", paint::SOFT),
        ("pole", paint::POLE),
        ("sky", paint::SKY),
        ("on-pole", paint::INK),
    ];
    let dark: Vec<String> = dark.iter().map(|(name, color)| format!("--{name}:{}", color.hex())).collect();
    let paper = "--page:#FFFFFF;--panel:#F3F1E9;--rule:#D5D8D0;--text:#131A16;--soft:#45514A;--pole:#B34700;\
                 --sky:#0A64A0;--on-pole:#FFFFFF";
    format!(":root{{color-scheme:dark;{}}}@media print{{:root{{color-scheme:light;{paper}}}}}", dark.join(";"))
}

/// Text within a page.
pub fn escape(text: &str) -> String {
    let mut out = String::new();
    for sign in text.chars() {
        match sign {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            other => out.push(other),
        }
    }
    out
}

/// A path as a relative URL (RFC 3986): what is no unreserved sign or `/` becomes percent signs.
pub fn url(path: &str) -> String {
    let mut out = String::new();
    for byte in path.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => out.push(char::from(byte)),
            _ => out.push_str(&format!("%{byte:02X}")),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn urls_hold_no_sign_of_their_own() {
        assert_eq!(url("a b/ü#?.mp4"), "a%20b/%C3%BC%23%3F.mp4");
    }
}
