//! The morning's report of one game: what a night came to, as a page that loads nothing and as text.

use std::fmt::Write;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use crate::base::{Problem, shown as line};
use crate::paint::page;

/// A play that a person should look at.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CheckTile {
    /// Its label.
    pub label: String,
    /// What its row tells, in few words; empty without a row.
    pub situation: String,
    /// Why.
    pub why: String,
    /// Its clip, relative to the report.
    pub clip: Option<String>,
    /// A JPEG.
    pub still: Option<Vec<u8>>,
}

/// Something that was made: its name, what is in it, its file relative to the report.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct MadeLine {
    /// Its name.
    pub name: String,
    /// What is in it, or why it is not there.
    pub words: String,
    /// The file, relative to the report; `None` where it is not there.
    pub file: Option<String>,
}

/// A report.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Morning {
    /// The game, with its date.
    pub title: String,
    /// What it came to, one line each.
    pub counts: Vec<String>,
    /// What was set aside: what, why, and the next step.
    pub aside: Vec<[String; 3]>,
    /// Plays to check.
    pub to_check: Vec<CheckTile>,
    /// Parts of the list of problems: a heading and what stands under it.
    pub problems: Vec<(String, Vec<Problem>)>,
    /// What was made.
    pub made: Vec<MadeLine>,
    /// When it was written.
    pub written: String,
}

/// Layout: light on paper, dark on a screen, one column on a phone.
const STYLE: &str = "\
*{box-sizing:border-box}body{margin:0;padding:24px clamp(16px,4vw,48px);background:var(--page);color:var(--text);\
font:500 17px/1.4 'Archivo Narrow','Arial Narrow','Roboto Condensed',sans-serif;max-width:1400px}\
h1{font-size:32px;line-height:1.15;margin:0 0 8px}h2{font-size:21px;margin:32px 0 12px;padding-bottom:6px;\
border-bottom:1px solid var(--rule)}h2 b{color:var(--pole)}p{margin:0 0 4px}footer,.soft{color:var(--soft)}footer{margin-top:40px}\
ul{margin:0;padding-left:20px}li{margin:0 0 6px;overflow-wrap:anywhere}a{color:var(--sky)}\
ol{list-style:none;margin:0;padding:0;display:grid;gap:20px;grid-template-columns:repeat(auto-fill,minmax(min(100%,300px),1fr))}\
ol li{break-inside:avoid}ol img,.none{display:block;width:100%;aspect-ratio:16/9;object-fit:contain;background:var(--panel);\
border-radius:6px}.what{font-weight:700;margin-top:8px}\
@media print{@page{size:A4;margin:12mm}body{padding:0}ol{grid-template-columns:repeat(3,1fr);gap:12px}}";

impl Morning {
    /// As text, lines of any length.
    pub fn text(&self) -> String {
        let mut out = format!("{}\n\n", line(&self.title));
        for count in &self.counts {
            let _ = writeln!(out, "{}", line(count));
        }
        if !self.aside.is_empty() {
            let _ = writeln!(out, "\nset aside ({})", self.aside.len());
            for [what, why, next] in &self.aside {
                let _ = writeln!(out, "  {}: {}", line(what), line(why));
                if !next.is_empty() {
                    let _ = writeln!(out, "    next: {}", line(next));
                }
            }
        }
        if !self.to_check.is_empty() {
            let _ = writeln!(out, "\nplays to check ({})", self.to_check.len());
            for tile in &self.to_check {
                let _ = writeln!(out, "  play {}: {}", line(&tile.label), line(&tile.why));
            }
        }
        for (heading, problems) in self.problems.iter().filter(|(_, problems)| !problems.is_empty()) {
            let _ = writeln!(out, "\n{} ({})", line(heading), problems.len());
            for problem in problems {
                let _ = writeln!(out, "  {}", words(problem));
            }
        }
        if !self.made.is_empty() {
            let _ = writeln!(out, "\nmade");
            for made in &self.made {
                let file = made.file.as_ref().map(|file| format!(": {}", line(file))).unwrap_or_default();
                let _ = writeln!(out, "  {}: {}{file}", line(&made.name), line(&made.words));
            }
        }
        let _ = writeln!(out, "\nwritten {}", line(&self.written));
        out
    }

    /// As a page: one file that loads nothing, by its own word and by what stands in it; links lead to files beside it.
    pub fn page(&self) -> String {
        let title = escape(&self.title);
        let mut out = format!(
            "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\n<meta http-equiv=\"Content-Security-Policy\" \
             content=\"default-src 'none'; img-src data:; style-src 'unsafe-inline'\">\n<meta name=\"viewport\" \
             content=\"width=device-width,initial-scale=1\"><title>{title}</title>\n<style>{}{STYLE}</style></head>\n\
             <body><header><h1>{title}</h1>\n",
            page::colors()
        );
        for count in &self.counts {
            let _ = writeln!(out, "<p>{}</p>", escape(count));
        }
        out.push_str("</header><main>\n");
        if !self.aside.is_empty() {
            let _ = writeln!(out, "<section><h2>Set aside <b>{}</b></h2><ul>", self.aside.len());
            for [what, why, next] in &self.aside {
                let _ = write!(out, "<li>{}: {}", escape(what), escape(why));
                if !next.is_empty() {
                    let _ = write!(out, "<br><span class=\"soft\">next: {}</span>", escape(next));
                }
                out.push_str("</li>\n");
            }
            out.push_str("</ul></section>\n");
        }
        if !self.to_check.is_empty() {
            let _ = writeln!(out, "<section><h2>Plays to check <b>{}</b></h2><ol>", self.to_check.len());
            self.to_check.iter().for_each(|tile| check(&mut out, tile));
            out.push_str("</ol></section>\n");
        }
        for (heading, problems) in self.problems.iter().filter(|(_, problems)| !problems.is_empty()) {
            let mut heading = escape(heading);
            heading.get_mut(..1).into_iter().for_each(str::make_ascii_uppercase);
            let _ = writeln!(out, "<section><h2>{heading} <b>{}</b></h2><ul>", problems.len());
            for problem in problems {
                let _ = writeln!(out, "<li>{}</li>", escape(&words(problem)));
            }
            out.push_str("</ul></section>\n");
        }
        if !self.made.is_empty() {
            out.push_str("<section><h2>Made</h2><ul>\n");
            for made in &self.made {
                let name = match &made.file {
                    Some(file) => format!("<a href=\"{}\">{}</a>", page::url(file), escape(&made.name)),
                    None => escape(&made.name),
                };
                let _ = writeln!(out, "<li>{name}: {}</li>", escape(&made.words));
            }
            out.push_str("</ul></section>\n");
        }
        let _ = writeln!(out, "</main><footer>written {}</footer></body></html>", escape(&self.written));
        out
    }
}

fn check(out: &mut String, tile: &CheckTile) {
    out.push_str("<li>");
    let picture = match &tile.still {
        Some(jpeg) => format!("<img src=\"data:image/jpeg;base64,{}\" alt=\"\">", STANDARD.encode(jpeg)),
        None => "<span class=\"none\"></span>".to_string(),
    };
    match &tile.clip {
        Some(clip) => {
            let _ = write!(out, "<a href=\"{}\">{picture}</a>", page::url(clip));
        }
        None => out.push_str(&picture),
    }
    let situation = if tile.situation.is_empty() { String::new() } else { format!(" · {}", escape(&tile.situation)) };
    let _ = writeln!(
        out,
        "<p class=\"what\">play {}{situation}</p><p class=\"soft\">{}</p></li>",
        escape(&tile.label),
        escape(&tile.why)
    );
}

/// A problem on one line, as the terminal tells it.
fn words(problem: &Problem) -> String {
    let value = if problem.value.is_empty() { String::new() } else { format!(" \"{}\"", problem.value) };
    let took = if problem.took.is_empty() { String::new() } else { format!("; took {}", problem.took) };
    line(&format!("{}{value}: {}{took}", problem.place, problem.what))
}

/// Text of anybody's on one line of the page.
fn escape(text: &str) -> String {
    page::escape(&line(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn report() -> Morning {
        let problem =
            Problem { value: "10-Jan".into(), took: "1 and 10".into(), ..Problem::new("tags.csv:3", "a date") };
        Morning {
            title: "Badgers <2026-09-11>".into(),
            counts: vec!["5 plays, 10 clips".into()],
            aside: vec![["end-zone/\u{202e}4pm.exe".into(), "it is no film".into(), "name a film".into()]],
            to_check: vec![CheckTile {
                label: "3".into(),
                situation: "2 and 8".into(),
                why: "no snap".into(),
                clip: Some("side line/003.mp4".into()),
                still: Some(vec![0xFF, 0xD8, 0xFF]),
            }],
            problems: vec![("the sheet".into(), vec![problem]), ("the film".into(), vec![])],
            made: vec![MadeLine { name: "third".into(), words: "2 plays".into(), file: Some("../a b.mp4".into()) }],
            written: "2026-09-12 06:00".into(),
        }
    }

    #[test]
    fn the_text_has_everything_on_lines_of_its_own() {
        insta::assert_snapshot!(report().text(), @r#"
        Badgers <2026-09-11>

        5 plays, 10 clips

        set aside (1)
          end-zone/?4pm.exe: it is no film
            next: name a film

        plays to check (1)
          play 3: no snap

        the sheet (1)
          tags.csv:3 "10-Jan": a date; took 1 and 10

        made
          third: 2 plays: ../a b.mp4

        written 2026-09-12 06:00
        "#);
    }

    #[test]
    fn the_page_shows_stills_and_links_and_loads_nothing() {
        let page = report().page();
        assert!(page.contains("<a href=\"side%20line/003.mp4\"><img src=\"data:image/jpeg;base64,/9j/\""), "{page}");
        assert!(page.contains("<a href=\"../a%20b.mp4\">third</a>: 2 plays"), "{page}");
        assert!(page.contains("Badgers &lt;2026-09-11&gt;") && !page.contains("<2026"), "{page}");
        assert!(page.contains("The sheet <b>1</b>") && !page.contains("the film"), "{page}");
        assert!(page.contains("default-src 'none'") && !page.contains("http://") && !page.contains("https://"));
    }
}
