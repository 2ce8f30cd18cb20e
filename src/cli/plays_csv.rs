//! Plays as CSV, and the headings of their groups.

use std::collections::BTreeSet;

use super::output;
use crate::football::{Field, Value};
use crate::jobs::Key;
use crate::library::PlayFound;

/// Plays as CSV: the game, the play, every field of the trade, every own column of these plays, what to check, clips.
pub fn csv(plays: &[PlayFound]) -> String {
    let own: BTreeSet<&String> = plays.iter().flat_map(|p| p.record.tags.own.keys()).collect();
    let angles: Vec<&str> = {
        let mut angles: Vec<&str> = Vec::new();
        for clip in plays.iter().flat_map(|p| &p.clips) {
            if !angles.contains(&clip.angle_name()) {
                angles.push(clip.angle_name());
            }
        }
        angles
    };
    let mut head: Vec<String> = ["game", "date", "label", "order", "row", "matched_by"].map(String::from).to_vec();
    head.extend(Field::ALL.iter().map(|f| f.key().to_string()));
    head.extend(own.iter().map(|o| o.to_string()));
    head.push("check".into());
    head.extend(angles.iter().map(|a| format!("clip {a}")));
    let mut out = line(&head);
    for play in plays {
        let r = &play.record;
        let text = |t: &Option<String>| t.clone().unwrap_or_default();
        let mut cells = vec![
            r.game.clone(),
            text(&r.date),
            r.label.clone(),
            r.order.to_string(),
            text(&r.row),
            text(&r.matched_by),
        ];
        cells.extend(Field::ALL.iter().map(|f| r.tags.get(*f).map(Value::to_string).unwrap_or_default()));
        cells.extend(own.iter().map(|o| r.tags.own.get(*o).cloned().unwrap_or_default()));
        cells.push(play.doubts().join("; "));
        cells.extend(angles.iter().map(|angle| {
            let clip = play.clips.iter().find(|c| c.angle_name() == *angle);
            clip.map(|c| c.path.display().to_string()).unwrap_or_default()
        }));
        out.push_str(&line(&cells));
    }
    out
}

/// One record; what holds a comma, a quote or a line's end stands in quotes (RFC 4180, with line feeds alone).
fn line(cells: &[String]) -> String {
    let quoted = |cell: &String| match cell.contains([',', '"', '\n', '\r']) {
        true => format!("\"{}\"", cell.replace('"', "\"\"")),
        false => cell.clone(),
    };
    cells.iter().map(quoted).collect::<Vec<_>>().join(",") + "\n"
}

/// A heading of a group: `shell one-high: 5 plays`.
pub fn heading(key: &Key, value: Option<&str>, count: usize) -> String {
    let value = value.unwrap_or("unknown");
    format!("{} {value}: {}", key.words(), output::count(count, "play"))
}

#[cfg(test)]
mod tests {
    use crate::jobs::sample_play as play;

    #[test]
    fn csv_quotes_what_must_be() {
        let plays = [play("1", None, ""), play("2", Some(10), "x"), play("3", Some(-2), "a"), play("4", Some(9), "A")];
        let text = super::csv(&plays);
        let mut read = csv::Reader::from_reader(text.as_bytes());
        let heads = read.headers().unwrap().clone();
        let at = |name: &str| heads.iter().position(|h| h == name).unwrap();
        let rows: Vec<_> = read.records().map(Result::unwrap).collect();
        assert_eq!(rows.len(), 4);
        assert_eq!((&rows[2][at("gain")], &rows[2][at("grade")], &rows[2][at("label")]), ("-2", "A, \"late\"", "3"));
    }
    use std::result::Result;
}
