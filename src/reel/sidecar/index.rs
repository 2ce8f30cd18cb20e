//! A page of the reel: one still a segment, with its situation, and a link into the reel.

use std::fmt::Write;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::entry::{Entry, Listing, one_line};
use crate::base::{FrameNo, count};
use crate::film::REEL_MARK;
use crate::paint::page::{colors, escape, url};

/// Room of a still in pixels, width and height: sharp in a tile of 280 to 380 pixels, 10 to 20 KB as JPEG.
pub const STILL: (u32, u32) = (384, 216);

/// Layout: one column on a phone, as many as find room elsewhere; light and without a ground on paper. The sizes of words
/// and the order of tokens are those of the contact sheet's look.
const STYLE: &str = "\
*{box-sizing:border-box}\
body{margin:0;padding:24px clamp(16px,4vw,48px);background:var(--page);color:var(--text);\
font:500 17px/1.35 'Archivo Narrow','Arial Narrow','Roboto Condensed',sans-serif}\
h1{font-size:32px;line-height:1.15;font-weight:700;margin:0 0 4px}\
h2{font-size:21px;font-weight:600;margin:32px 0 12px;padding-bottom:6px;border-bottom:1px solid var(--rule)}\
p{margin:0}header p{color:var(--soft)}\
ol{list-style:none;margin:0;padding:0;display:grid;gap:20px;\
grid-template-columns:repeat(auto-fill,minmax(min(100%,280px),1fr))}\
li{break-inside:avoid}\
a{display:block;color:inherit;text-decoration:none;border-radius:6px}\
a:focus-visible{outline:3px solid var(--sky);outline-offset:3px}\
a:hover .what{text-decoration:underline;text-decoration-color:var(--sky)}\
.still{display:block;position:relative;aspect-ratio:16/9;background:var(--panel);border-radius:6px;overflow:hidden}\
.still img{display:block;width:100%;height:100%;object-fit:contain}\
.at{position:absolute;right:0;top:0;padding:2px 8px;background:#0F1512;color:#F6F3EA;font-weight:600;\
border-bottom-left-radius:6px;font-variant-numeric:tabular-nums}\
.what{display:block;margin-top:8px;font-weight:700;overflow-wrap:anywhere}\
.plate{display:inline-block;min-width:1.5em;padding:0 .35em;margin-right:.35em;text-align:center;border-radius:4px;\
background:var(--pole);color:var(--on-pole)}\
.more{display:block;font-size:15px;color:var(--soft);overflow-wrap:anywhere}\
@media print{@page{size:A4;margin:12mm}body{padding:0}ol{grid-template-columns:repeat(3,1fr);gap:12px}\
h2{break-after:avoid}.still{print-color-adjust:exact}}";

/// The page: one file that loads nothing, by its own word (Content-Security-Policy) and by what stands in it. Links lead
/// to the segment's moment in the reel (W3C Media Fragments, `#t=`), which is to lie beside the page. `stills`: a JPEG for
/// each entry, where there is one.
pub fn index(listing: &Listing, stills: &[Option<Vec<u8>>]) -> String {
    let title = escape(&listing.title);
    let mut out = format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"generator\" content=\"{REEL_MARK}\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; style-src 'unsafe-inline'\">\n\
         <meta name=\"viewport\" content=\"width=device-width,initial-scale=1\"><title>{title}</title>\n\
         <style>{}{STYLE}</style></head>\n<body><header><h1>{title}</h1>\n<p>{}</p></header><main>\n",
        colors(),
        counts(listing)
    );
    let mut game: Option<String> = None;
    for (at, entry) in listing.entries.iter().enumerate() {
        let of = one_line(entry.text.game.as_ref().unwrap_or(&entry.game));
        // A card has no game of its own: it belongs to what follows or came before.
        if game.is_none() || (!of.is_empty() && game.as_ref() != Some(&of)) {
            if game.is_some() {
                out.push_str("</ol></section>\n");
            }
            out.push_str("<section>");
            if !of.is_empty() {
                let _ = write!(out, "<h2>{}</h2>", escape(&of));
            }
            out.push_str("<ol>\n");
            game = Some(of);
        }
        tile(&mut out, listing, entry, stills.get(at).and_then(Option::as_ref));
    }
    if game.is_some() {
        out.push_str("</ol></section>\n");
    }
    out.push_str("</main></body></html>\n");
    out
}

fn tile(out: &mut String, listing: &Listing, entry: &Entry, still: Option<&Vec<u8>>) {
    let seconds = listing.seconds(entry.frames.start);
    let _ = write!(out, "<li><a href=\"{}#t={seconds:.3}\"><span class=\"still\">", url(&listing.reel));
    if let Some(jpeg) = still {
        let _ = write!(out, "<img src=\"data:image/jpeg;base64,{}\" alt=\"\">", STANDARD.encode(jpeg));
    }
    let _ = write!(out, "<span class=\"at\">{}</span></span><span class=\"what\">", clock(listing, entry.frames.start));
    let text = &entry.text;
    let say = |text: &str| escape(&one_line(text));
    match (&text.down, &text.word) {
        (Some(down), _) => {
            let _ = write!(out, "<b class=\"plate\">{}</b>{}", say(down), say(text.distance.as_deref().unwrap_or("")));
        }
        (None, Some(word)) => out.push_str(&say(word)),
        (None, None) => out.push_str(&say(&entry.title)),
    }
    if let Some(spot) = &text.ball_on {
        let _ = write!(out, " · {}", say(spot));
    }
    out.push_str("</span>");
    let play = (!entry.label.is_empty()).then(|| format!("play {}", entry.label));
    let angle = Some(entry.angle.clone()).filter(|angle| !angle.is_empty() && angle != "unknown");
    let length = clock(listing, FrameNo(entry.frames.len()));
    let place = text.clock.clone().into_iter().chain(play).chain(angle).chain([format!("{length} long")]);
    for line in [text.tags.join(" · "), place.collect::<Vec<_>>().join(" · ")] {
        if !line.is_empty() {
            let _ = write!(out, "<span class=\"more\">{}</span>", say(&line));
        }
    }
    out.push_str("</a></li>\n");
}

/// `2 plays · 3 segments · 1:07`.
fn counts(listing: &Listing) -> String {
    let shown = listing.entries.iter().filter(|e| e.source.is_some());
    let plays: std::collections::BTreeSet<(&str, &str)> = shown.map(|e| (e.game.as_str(), e.label.as_str())).collect();
    let length = clock(listing, FrameNo(listing.frames()));
    format!("{} · {} · {length}", count(plays.len(), "play"), count(listing.entries.len(), "segment"))
}

/// `1:07`, `1:02:07`: whole seconds, those that have passed.
fn clock(listing: &Listing, frame: FrameNo) -> String {
    // A frame that begins a rounding error before its second has begun.
    let seconds = (listing.seconds(frame) + 1e-6) as u64;
    match seconds / 3600 {
        0 => format!("{}:{:02}", seconds / 60, seconds % 60),
        hours => format!("{hours}:{:02}:{:02}", seconds / 60 % 60, seconds % 60),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reel::sidecar::entry::tests::listing;

    #[test]
    fn every_segment_has_its_tile_still_and_moment() {
        let page = index(&listing(), &[Some(vec![0xFF, 0xD8, 0xFF]), None]);
        assert_eq!(page.matches("<li>").count(), 3);
        assert_eq!(page.matches("<img ").count(), 1);
        assert!(page.contains("src=\"data:image/jpeg;base64,/9j/\""), "{page}");
        assert!(page.contains("href=\"third%20short.mp4#t=60.060\""), "{page}");
        assert!(page.contains("<b class=\"plate\">3</b>and 2 · opp 34"), "{page}");
        assert!(page.contains("2 plays · 3 segments · 1:06"), "{page}");
        // The card stands with the game before it.
        let heads: Vec<&str> = page.split("<h2>").skip(1).filter_map(|rest| rest.split("</h2>").next()).collect();
        assert_eq!(heads, ["Herons at Badgers", "=Otters --&gt; you"]);
        assert!(!page.contains("<short>") && page.contains("third and &lt;short&gt;"), "{page}");
        assert_eq!(page.matches("<section>").count(), page.matches("</ol></section>").count());
    }

    #[test]
    fn clocks_of_a_page_count_what_has_passed() {
        let mut listing = listing();
        assert_eq!(clock(&listing, FrameNo(107_892)), "59:59");
        listing.rate = crate::base::Rate { num: 25, den: 1 };
        assert_eq!(
            [clock(&listing, FrameNo(0)), clock(&listing, FrameNo(1675)), clock(&listing, FrameNo(93_175))],
            ["0:00", "1:07", "1:02:07"]
        );
    }
}
