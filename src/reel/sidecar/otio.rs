//! OpenTimelineIO: the reel as a timeline of its sources.

use serde_json::{Value, json};

use super::entry::{Entry, Listing, Source, one_line};
use crate::base::Rate;
use crate::film::REEL_MARK;
use crate::paint::page::url;

/// The reel as OpenTimelineIO JSON (schemas Timeline.1, Stack.1, Track.1, Clip.2, Gap.1, ExternalReference.1,
/// MissingReference.1, Marker.2, TimeRange.1, RationalTime.1).
///
/// One track of pictures. A clip starts at its source's own frame and rate, and lasts as many frames of the reel as it
/// is seen, so that the timeline is as long as the reel to the frame, whatever the sources' rates. Files are named
/// relative to the library. Where the snap is known a marker lies on it, in the clip's own time.
pub fn otio(listing: &Listing) -> String {
    let mut at = 0;
    let mut children = Vec::new();
    for entry in &listing.entries {
        let hole = entry.frames.start.0.saturating_sub(at);
        if hole > 0 {
            children.push(gap(hole, listing.rate));
        }
        at = entry.frames.end.0;
        children.push(clip(entry, listing.rate));
    }
    let track = json!({
        "OTIO_SCHEMA": "Track.1", "metadata": {}, "name": "reel", "source_range": null, "effects": [], "markers": [],
        "enabled": true, "children": children, "kind": "Video",
    });
    let stack = json!({
        "OTIO_SCHEMA": "Stack.1", "metadata": {}, "name": "tracks", "source_range": null, "effects": [], "markers": [],
        "enabled": true, "children": [track],
    });
    let timeline = json!({
        "OTIO_SCHEMA": "Timeline.1",
        // First, so that the file is known by its beginning.
        "metadata": {"downbox": {"made": REEL_MARK, "reel": listing.reel, "files": "relative to the library"}},
        "name": one_line(&listing.title),
        "global_start_time": time(0.0, listing.rate),
        "tracks": stack,
    });
    format!("{timeline:#}\n")
}

fn clip(entry: &Entry, rate: Rate) -> Value {
    let source = entry.source.as_ref();
    let start = source.map_or_else(|| time(0.0, rate), |s| time(s.start as f64, s.rate));
    let media = match source {
        Some(source) => json!({
            "OTIO_SCHEMA": "ExternalReference.1", "metadata": {}, "name": name(source), "available_range": null,
            "target_url": url(&source.file), "available_image_bounds": null,
        }),
        None => json!({
            "OTIO_SCHEMA": "MissingReference.1", "metadata": {}, "name": "drawn", "available_range": null,
            "available_image_bounds": null,
        }),
    };
    let lines: Vec<String> = entry.lines().into_iter().filter(|line| !line.is_empty()).collect();
    json!({
        "OTIO_SCHEMA": "Clip.2",
        "metadata": {"downbox": {"game": entry.game, "label": entry.label, "angle": entry.angle, "situation": lines}},
        "name": one_line(&entry.title),
        "source_range": range(start, time(entry.frames.len() as f64, rate)),
        "effects": [],
        "markers": snap(entry, rate).into_iter().collect::<Vec<_>>(),
        "enabled": true,
        "media_references": {"DEFAULT_MEDIA": media},
        "active_media_reference_key": "DEFAULT_MEDIA",
    })
}

/// The snap's frame of the source, as a marker one frame long.
fn snap(entry: &Entry, rate: Rate) -> Option<Value> {
    let (source, snap) = (entry.source.as_ref()?, entry.snap.filter(|frame| entry.frames.holds(*frame))?);
    let seconds = (snap.0 - entry.frames.start.0) as f64 / rate.hz();
    let frame = (source.start as f64 + seconds * source.rate.hz()).round();
    Some(json!({
        "OTIO_SCHEMA": "Marker.2", "metadata": {}, "name": "snap", "color": "ORANGE", "comment": "",
        "marked_range": range(time(frame, source.rate), time(1.0, source.rate)),
    }))
}

fn gap(frames: u64, rate: Rate) -> Value {
    json!({
        "OTIO_SCHEMA": "Gap.1", "metadata": {}, "name": "", "effects": [], "markers": [], "enabled": true,
        "source_range": range(time(0.0, rate), time(frames as f64, rate)),
    })
}

fn range(start: Value, duration: Value) -> Value {
    json!({"OTIO_SCHEMA": "TimeRange.1", "duration": duration, "start_time": start})
}

fn time(value: f64, rate: Rate) -> Value {
    json!({"OTIO_SCHEMA": "RationalTime.1", "rate": rate.hz(), "value": value})
}

fn name(source: &Source) -> &str {
    source.file.rsplit('/').next().unwrap_or(&source.file)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reel::sidecar::entry::tests::listing;

    #[test]
    fn a_timeline_is_as_long_as_the_reel_and_marks_the_snap() {
        let mut listing = listing();
        // The card is not listed: a gap stands for it.
        listing.entries.remove(1);
        let read: Value = serde_json::from_str(&otio(&listing)).unwrap();
        let children = read["tracks"]["children"][0]["children"].as_array().unwrap();
        let kinds: Vec<&str> = children.iter().map(|c| c["OTIO_SCHEMA"].as_str().unwrap()).collect();
        assert_eq!(kinds, ["Clip.2", "Gap.1", "Clip.2"]);
        let lasts: f64 = children.iter().map(|c| c["source_range"]["duration"]["value"].as_f64().unwrap()).sum();
        assert_eq!(lasts, 2000.0);
        let marked = &children[0]["markers"][0]["marked_range"]["start_time"];
        assert_eq!((marked["value"].as_f64(), marked["rate"].as_f64()), (Some(72.0), Some(30_000.0 / 1001.0)));
        let media = |at: usize| &children[at]["media_references"]["DEFAULT_MEDIA"];
        assert_eq!(media(0)["target_url"], "clips/Badgers/sideline/047.mp4");
        assert_eq!(media(2)["target_url"], "tight%2C%202.mp4");
        assert_eq!(children[2]["source_range"]["start_time"]["value"], 600.0);
    }
}
