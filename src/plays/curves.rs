//! The curves by which plays are found, for a person to look at.

use super::track::{self, Track, UNSETTLED};
use crate::base::FrameSpan;
use crate::film::{Film, Series, Shot};

/// Film time in seconds and a value, in order.
pub type Curve = Vec<(f64, f64)>;

/// What judgment saw over a stretch of film. A curve is in pieces, one for each shot.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Curves {
    /// Camera motion in picture widths a second.
    pub pan: Vec<Curve>,
    /// Motion of the men: 1 is the high level of their shot.
    pub men: Vec<Curve>,
    /// The same, less what most of the picture does: in it the foot of a snap's rise is looked for.
    pub clear: Vec<Curve>,
    /// Stretches (seconds from, to) whose pictures could not be followed; the curves run straight over them.
    pub unreadable: Vec<(f64, f64)>,
}

/// The curves over `span`. Motion is held against the level of its own shot, of the film's other shots too, as it is when
/// plays are found: hence `shots`, all of them.
pub fn curves(series: &Series, film: &Film, shots: &[Shot], span: FrameSpan) -> Curves {
    let mut tracks: Vec<Track> = shots
        .iter()
        .map(|shot| Track::of(series.within(shot.span), film.time(shot.span.start), film.time(shot.span.end), &[]))
        .collect();
    track::refer(&mut tracks);
    let (from, to) = (film.time(span.start), film.time(span.end));
    let mut out = Curves::default();
    for track in &tracks {
        let piece = |values: &[f64]| -> Curve {
            let timed = values.iter().enumerate().map(|(k, v)| (track.time(k as f64), *v));
            timed.filter(|(t, _)| (from..=to).contains(t)).collect()
        };
        let pan = piece(&track.pan);
        if pan.len() < 2 {
            continue;
        }
        out.pan.push(pan);
        out.men.push(piece(&track.e));
        out.clear.push(piece(&track.c));
    }
    // The first samples of a shot compare it with the one before: that they cannot be followed is no news.
    let news = |frame: u64| {
        let Some(shot) = shots.iter().find(|shot| (shot.span.start.0..shot.span.end.0).contains(&frame)) else {
            return true;
        };
        series.within(shot.span).iter().take(UNSETTLED).all(|sample| sample.frame != frame)
    };
    let mut last: Option<f64> = None;
    for sample in series.within(span) {
        if sample.bad && news(sample.frame) {
            let begin = last.unwrap_or(sample.time);
            match out.unreadable.last_mut() {
                Some(stretch) if stretch.1 >= begin => stretch.1 = sample.time,
                _ => out.unreadable.push((begin, sample.time)),
            }
        }
        last = Some(sample.time);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Rate;
    use crate::film::{Angle, Sample, ShotKind, scripted};

    #[test]
    fn curves_hold_each_shot_against_its_level_and_name_what_is_unreadable() {
        let film = Film { parts: vec![scripted::part("a.mp4", 600, Rate { num: 30, den: 1 })], problems: vec![] };
        let samples = (0..300u64).map(|k| Sample {
            frame: 2 * k,
            time: k as f64 / 15.0,
            // Twice as much motion in the second shot: a wider field of view does that.
            energy: if k < 150 { 0.1 } else { 0.2 } * (1.0 + (k % 30) as f32 / 30.0),
            clear: 0.05,
            pan: if k < 150 { 0.0 } else { 0.3 },
            bad: (60..64).contains(&k) || k == 150,
            ..Sample::default()
        });
        let series = Series { samples: samples.collect(), cuts: vec![300], ..Series::default() };
        let shot = |from, to| Shot { span: FrameSpan::of(from, to), kind: ShotKind::Play, angle: Angle::Unknown };
        let found = curves(&series, &film, &[shot(0, 300), shot(300, 600)], FrameSpan::of(90, 510));
        assert_eq!(found.pan.len(), 2);
        assert_eq!(found.unreadable.len(), 1);
        let (a, b) = found.unreadable[0];
        assert!((a - 59.0 / 15.0).abs() < 1e-9 && (b - 63.0 / 15.0).abs() < 1e-9, "{a} {b}");
        let most = |curve: &Curve| curve.iter().map(|p| p.1).fold(0.0, f64::max);
        for piece in &found.men {
            assert!((0.9..1.2).contains(&most(piece)), "{}", most(piece));
        }
        assert!(most(&found.clear[0]) > 0.9 && (most(&found.pan[1]) - 0.3).abs() < 1e-6);
        let times: Vec<f64> = found.men.iter().flatten().map(|p| p.0).collect();
        assert!(times.is_sorted() && times[0] >= 3.0 && times[times.len() - 1] <= 17.0);
    }
}
