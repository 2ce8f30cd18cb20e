//! CSV: one record a segment.

use super::entry::{Entry, Listing, one_line};
use crate::film::REEL_MARK;

/// Heads behind the first, which is the mark: the reel's title stands under it.
const HEADS: [&str; 22] = [
    "segment",
    "game",
    "label",
    "angle",
    "title",
    "start",
    "end",
    "start_frame",
    "end_frame",
    "rate",
    "snap",
    "snap_frame",
    "down",
    "distance",
    "play_type",
    "ball_on",
    "clock",
    "tags",
    "game_title",
    "source",
    "source_start_frame",
    "source_rate",
];

/// The segments of a reel as records (RFC 4180, UTF-8, with line feeds alone). Frames count from 0, an end is the first
/// frame out; times are `hh:mm:ss.mmm` in the reel. What is not known is empty.
pub fn csv(listing: &Listing) -> String {
    let mut out = record(std::iter::once(REEL_MARK).chain(HEADS).map(String::from).collect());
    for (index, entry) in listing.entries.iter().enumerate() {
        out.push_str(&record(cells(listing, index, entry)));
    }
    out
}

fn cells(listing: &Listing, index: usize, entry: &Entry) -> Vec<String> {
    let known = |text: &Option<String>| text.clone().unwrap_or_default();
    let snap = entry.snap;
    let source = entry.source.as_ref();
    vec![
        listing.title.clone(),
        (index + 1).to_string(),
        entry.game.clone(),
        entry.label.clone(),
        entry.angle.clone(),
        entry.title.clone(),
        listing.clock(entry.frames.start),
        listing.clock(entry.frames.end),
        entry.frames.start.to_string(),
        entry.frames.end.to_string(),
        listing.rate.to_string(),
        snap.map(|frame| listing.clock(frame)).unwrap_or_default(),
        snap.map(|frame| frame.to_string()).unwrap_or_default(),
        known(&entry.text.down),
        known(&entry.text.distance),
        known(&entry.text.word),
        known(&entry.text.ball_on),
        known(&entry.text.clock),
        entry.text.tags.join("; "),
        known(&entry.text.game),
        source.map(|s| s.file.clone()).unwrap_or_default(),
        source.map(|s| s.start.to_string()).unwrap_or_default(),
        source.map(|s| s.rate.to_string()).unwrap_or_default(),
    ]
}

fn record(cells: Vec<String>) -> String {
    let quoted = |cell: &String| {
        let cell = one_line(cell);
        // A spreadsheet program would run such a cell as a formula; the apostrophe keeps it text [practice].
        let cell = if cell.starts_with(['=', '+', '-', '@']) { format!("'{cell}") } else { cell };
        if cell.contains([',', '"']) { format!("\"{}\"", cell.replace('"', "\"\"")) } else { cell }
    };
    cells.iter().map(quoted).collect::<Vec<_>>().join(",") + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reel::sidecar::entry::tests::listing;

    #[test]
    fn another_reader_finds_every_segment() {
        let text = csv(&listing());
        let mut read = ::csv::Reader::from_reader(text.as_bytes());
        let heads = read.headers().unwrap().clone();
        let records: Vec<::csv::StringRecord> = read.records().map(Result::unwrap).collect();
        let cell = |record: usize, head: &str| {
            let at = heads.iter().position(|h| h == head).unwrap_or_else(|| panic!("no column {head}"));
            records[record].get(at).unwrap().to_string()
        };
        assert_eq!((records.len(), heads.get(0)), (3, Some(REEL_MARK)));
        assert_eq!(cell(0, REEL_MARK), "third and <short> --> \"one-high\"");
        assert_eq!(
            (cell(0, "down"), cell(0, "distance"), cell(0, "ball_on")),
            ("3".into(), "and 2".into(), "opp 34".into())
        );
        assert_eq!(
            (cell(0, "start"), cell(0, "end"), cell(0, "end_frame")),
            ("00:00:00.000".into(), "00:01:00.060".into(), "1800".into())
        );
        assert_eq!((cell(0, "snap"), cell(0, "snap_frame")), ("00:00:02.002".into(), "60".into()));
        assert_eq!(
            (cell(0, "tags"), cell(0, "game_title")),
            ("trips right; one-high".into(), "Herons at Badgers".into())
        );
        assert_eq!((cell(1, "source"), cell(1, "snap")), (String::new(), String::new()));
        assert_eq!((cell(2, "game"), cell(2, "source")), ("'=Otters --> you".into(), "tight, 2.mp4".into()));
        assert_eq!((cell(2, "source_start_frame"), cell(2, "source_rate")), ("600".into(), "60/1".into()));
    }
}
