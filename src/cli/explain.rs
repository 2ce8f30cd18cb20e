//! `downbox scan --explain`: why a play was found where it was.

use std::path::Path;

use serde_json::{Value, json};

use super::args::Common;
use super::output::{self, Outcome};
use super::scan;
use crate::base::Result;
use crate::jobs::Explained;

/// Tells what was drawn.
pub fn tell(common: &Common, done: &Explained, out: &Path) -> Result<Outcome> {
    output::tell_problems(&done.film.problems);
    if common.json {
        output::print_json(&document(done, out))?;
    } else {
        let words = |mark: &Option<crate::report::Mark>, none: &str| {
            mark.as_ref().map_or_else(|| none.to_string(), |mark| mark.words.clone())
        };
        let (snap, end) = (words(&done.drawing.snap, "no snap"), words(&done.drawing.whistle, "no end"));
        let title = output::strong(&done.drawing.title);
        let mut text = format!("{title}: {snap}; {end}; {}\n", done.drawing.found_by);
        if let Some(doubt) = &done.play.doubt {
            text.push_str(&format!("{}: {doubt}\n", output::check_word_out()));
        }
        text.push_str(&format!("in {}\n", output::path(out)));
        output::print(&text)?;
    }
    Ok(Outcome::Done)
}

fn document(done: &Explained, out: &Path) -> Value {
    let drawn = &done.drawing;
    let pair = |(a, b): (f64, f64)| json!([output::rounded(a), output::rounded(b)]);
    let curve = |pieces: &[Vec<(f64, f64)>]| -> Vec<Value> {
        pieces.iter().map(|piece| piece.iter().map(|p| pair(*p)).collect::<Value>()).collect()
    };
    let frames: Vec<Value> = drawn
        .frames
        .iter()
        .map(|f| json!({"name": f.name, "frame": f.frame, "time": output::rounded(f.time), "shown": f.picture.is_some()}))
        .collect();
    let whistles: Vec<Value> = drawn
        .whistles
        .iter()
        .map(|w| {
            let [time, length, confidence] = [w.time, w.length, w.confidence].map(output::rounded);
            json!({"time": time, "length": length, "confidence": confidence})
        })
        .collect();
    json!({
        "out": out.display().to_string(),
        "plays": done.of,
        "play": scan::play(&done.film, &done.play, done.number),
        "window": pair(drawn.window),
        "span": pair(drawn.span),
        "set_time": drawn.set.as_ref().map(|set| output::rounded(set.time)),
        "frames": frames,
        "sound": drawn.sound,
        "whistles": whistles,
        "unreadable": drawn.unreadable.iter().map(|stretch| pair(*stretch)).collect::<Vec<_>>(),
        "curves": {"camera": curve(&drawn.pan), "men": curve(&drawn.men), "men_clear": curve(&drawn.clear)},
        "problems": done.film.problems,
    })
}
