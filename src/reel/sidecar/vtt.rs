//! WebVTT: the situation as a caption of each segment.

use std::fmt::Write;

use super::entry::{Listing, one_line};
use crate::film::REEL_MARK;

/// The captions of a reel (W3C WebVTT: UTF-8, cues separated by empty lines, `hh:mm:ss.mmm`).
///
/// They stand at the top of the picture: its foot is where the strip lies.
pub fn vtt(listing: &Listing) -> String {
    let mut out = format!("WEBVTT\n\nNOTE {REEL_MARK}\n\nNOTE {}\n", escape(&listing.title));
    for (index, entry) in listing.entries.iter().enumerate() {
        let mut lines: Vec<String> = entry.lines().into_iter().filter(|l| !l.is_empty()).collect();
        if lines.is_empty() {
            lines.push(entry.title.clone());
        }
        let text = lines.iter().map(|l| escape(l)).filter(|l| !l.is_empty()).collect::<Vec<_>>().join("\n");
        if text.is_empty() || entry.frames.is_empty() {
            continue;
        }
        let (from, to) = (listing.clock(entry.frames.start), listing.clock(entry.frames.end));
        let _ = write!(out, "\n{}\n{from} --> {to} line:0\n{text}\n", index + 1);
    }
    out
}

/// Text that holds no tag, no arrow and no line's end.
fn escape(text: &str) -> String {
    one_line(text).replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reel::sidecar::entry::tests::listing;

    #[test]
    fn a_reel_is_captioned() {
        insta::assert_snapshot!(vtt(&listing()), @r#"
        WEBVTT

        NOTE reel by downbox

        NOTE third and &lt;short&gt; --&gt; "one-high"

        1
        00:00:00.000 --> 00:01:00.060 line:0
        3 and 2 · opp 34 · trips right · one-high
        Herons at Badgers · Q2 4:31 · play 47 · sideline

        2
        00:01:00.060 --> 00:01:01.562 line:0
        2 &amp; &lt;more&gt;

        3
        00:01:01.562 --> 00:01:06.733 line:0
        =Otters --&gt; you · play 9a · end-zone
        "#);
    }
}
