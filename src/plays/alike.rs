//! How two cameras' pictures of one play move alike: how far apart they run, where no sound tells.

use super::track::{HZ, Track, percentile};
use crate::film::{Film, Play, Series, Sighting};

/// Only lags at which so much of the shorter stretch overlaps count (measured on made films: below it a few loud seconds
/// fit anywhere).
const OVERLAP: f64 = 0.65;
/// Added to what is relative before the logarithm: of motion and of the camera's pan.
const STILL: f64 = 0.05;
const STEADY: f64 = 0.1;
/// Neighboring samples say the same: of what independent samples of motion and of pan would tell, so much counts. (Set on
/// made films drawn from tracked movement, as are the next; the `cameras` bench measures what comes of them.)
const TELLS: [f64; 2] = [0.05, 0.1];
/// Each camera's own snap says where the other's is: seconds of deviation of the two together, and how far it is trusted
/// at most.
const SNAP: (f64, f64) = (0.16, 0.95);
/// The end likewise.
const END: (f64, f64) = (0.45, 0.6);
/// A lag of which nothing is known lies anywhere in so many seconds.
const ANYWHERE: f64 = 16.0;
/// A lag is believed by what share of the belief lies within so many seconds of it.
const NEAR: f64 = 0.3;
/// What moves alone must agree with the two snaps: seconds of deviation. Without snaps to agree with, so much of the belief
/// is left. (Set on 146 plays of made films: 11 are believed, none of them wrong by over .5 s, while 77 of the rest are.)
const AGREES: f64 = 0.25;
const WITHOUT_SNAPS: f64 = 0.5;
/// Seconds around the best lag over which it is averaged.
const FINE: f64 = 0.2;
/// Plays no longer than this in samples tell nothing.
const SHORTEST: usize = 30;

/// How two stretches move alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alike {
    /// Seconds to add to a time in the first stretch (from its start) to have the same moment in the second.
    pub lag: f64,
    /// How far it is believed, 0 to 1: the share of the belief within .3 s of it, less where what moves contradicts the
    /// snaps or those are unsure.
    pub belief: f64,
    /// The mean correlation of what moves, -1 to 1, at that lag. It does not tell whether the two are one play: every play
    /// is still and then moves (measured on made films: median .60 for the same play, .64 for different ones).
    pub likeness: f64,
}

/// What moves in one stretch of film.
#[derive(Debug, Clone)]
pub struct Moves {
    /// Logarithms of motion and of pan, at [`HZ`].
    channels: [Vec<f64>; 2],
    /// Seconds from the stretch's start to the first sample.
    from: f64,
    /// Seconds from the stretch's start, and how sure.
    snap: Option<(f64, f64)>,
    end: Option<(f64, f64)>,
}

impl Moves {
    /// Of a play's stretch; `None` where too little was measured.
    pub fn of(series: &Series, film: &Film, play: &Play) -> Option<Self> {
        let a = series.samples.partition_point(|s| s.frame < play.span.start.0);
        let b = series.samples.partition_point(|s| s.frame < play.span.end.0);
        let (from, to) = (film.time(play.span.start), film.time(play.span.end));
        let track = Track::of(&series.samples[a..b], from, to, &[]);
        if track.len() < SHORTEST {
            return None;
        }
        let relative = |values: &[f64], floor: f64| -> Vec<f64> {
            let level = percentile(values, 0.9).max(1e-6);
            values.iter().map(|v| (v / level + floor).ln()).collect()
        };
        let moment = |s: Option<Sighting>| s.map(|s| (s.time - from, s.confidence.clamp(0.0, 1.0)));
        Some(Self {
            channels: [relative(&track.energy, STILL), relative(&track.pan, STEADY)],
            from: track.start - from,
            snap: moment(play.snap),
            end: moment(play.whistle),
        })
    }
}

/// Compares two stretches: normalized correlation of the logarithms of motion and pan over every lag with enough overlap,
/// weighed by how many samples it rests on, and what each camera saw of the snap and the end. `None` where nothing
/// overlaps enough.
pub fn alike(a: &Moves, b: &Moves) -> Option<Alike> {
    let (na, nb) = (a.channels[0].len() as i64, b.channels[0].len() as i64);
    let least = ((OVERLAP * na.min(nb) as f64) as i64).max(SHORTEST as i64);
    let sums: Vec<(Sums, Sums)> = (0..2).map(|c| (Sums::of(&a.channels[c]), Sums::of(&b.channels[c]))).collect();
    let mut lags: Vec<(f64, f64, f64)> = Vec::new();
    let mut by_moves = (f64::NEG_INFINITY, 0.0);
    for shift in least - na..=nb - least {
        let (from, to) = ((-shift).max(0), na.min(nb - shift));
        if to - from < least {
            continue;
        }
        let (mut told, mut likeness) = (0.0, 0.0);
        for (c, (of_a, of_b)) in sums.iter().enumerate() {
            let r = correlation(&a.channels[c], &b.channels[c], (of_a, of_b), from as usize, to as usize, shift);
            told -= TELLS[c] * (to - from) as f64 * (1.0 - r.max(0.0).powi(2)).max(1e-3).ln();
            likeness += r / 2.0;
        }
        let lag = shift as f64 / HZ + b.from - a.from;
        if told > by_moves.0 {
            by_moves = (told, lag);
        }
        told += seen(a.snap, b.snap, SNAP, lag) + seen(a.end, b.end, END, lag);
        lags.push((lag, told, likeness));
    }
    let top = lags.iter().map(|l| l.1).fold(f64::NEG_INFINITY, f64::max);
    let best = lags.iter().copied().max_by(|x, y| x.1.total_cmp(&y.1))?;
    let weight = |told: f64| (told - top).exp();
    let all: f64 = lags.iter().map(|l| weight(l.1)).sum();
    let near = |within: f64| lags.iter().filter(move |l| (l.0 - best.0).abs() <= within);
    let fine: f64 = near(FINE).map(|l| weight(l.1)).sum();
    let lag = near(FINE).map(|l| l.0 * weight(l.1)).sum::<f64>() / fine.max(1e-12);
    let belief = near(NEAR).map(|l| weight(l.1)).sum::<f64>() / all.max(1e-12);
    let trust = match (a.snap, b.snap) {
        (Some((a, sure_a)), Some((b, sure_b))) => {
            let off = (by_moves.1 - (b - a)) / AGREES;
            sure_a.min(sure_b).sqrt() * (-0.5 * off * off).exp()
        }
        _ => WITHOUT_SNAPS,
    };
    Some(Alike { lag, belief: belief * trust, likeness: best.2 })
}

/// What two sightings of one moment say of a lag: a bell about their difference, else anywhere.
fn seen(a: Option<(f64, f64)>, b: Option<(f64, f64)>, (deviation, most): (f64, f64), lag: f64) -> f64 {
    let (Some((a, sure_a)), Some((b, sure_b))) = (a, b) else { return 0.0 };
    let trust = most * sure_a * sure_b;
    let off = (lag - (b - a)) / deviation;
    let bell = (-0.5 * off * off).exp() / (deviation * std::f64::consts::TAU.sqrt());
    (trust * bell * ANYWHERE + 1.0 - trust).ln()
}

/// Running sums of values and squares.
struct Sums {
    plain: Vec<f64>,
    square: Vec<f64>,
}

impl Sums {
    fn of(values: &[f64]) -> Self {
        let mut out = Self { plain: vec![0.0], square: vec![0.0] };
        let (mut plain, mut square) = (0.0, 0.0);
        for v in values {
            plain += v;
            square += v * v;
            out.plain.push(plain);
            out.square.push(square);
        }
        out
    }

    fn mean_and_spread(&self, from: usize, to: usize) -> (f64, f64) {
        let n = (to - from) as f64;
        let mean = (self.plain[to] - self.plain[from]) / n;
        (mean, (self.square[to] - self.square[from] - n * mean * mean).max(1e-9))
    }
}

/// Normalized correlation of a[from..to] and b[from + shift..to + shift].
fn correlation(a: &[f64], b: &[f64], sums: (&Sums, &Sums), from: usize, to: usize, shift: i64) -> f64 {
    let (first, last) = ((from as i64 + shift) as usize, (to as i64 + shift) as usize);
    let (mean_a, spread_a) = sums.0.mean_and_spread(from, to);
    let (mean_b, spread_b) = sums.1.mean_and_spread(first, last);
    let cross: f64 = a[from..to].iter().zip(&b[first..last]).map(|(x, y)| x * y).sum();
    (cross - (to - from) as f64 * mean_a * mean_b) / (spread_a * spread_b).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::{FrameNo, FrameSpan, Rate};
    use crate::film::{Evidence, Sample, scripted};

    /// SplitMix64, -.5 to .5.
    fn chance(n: u64) -> f64 {
        let mut x = n.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        x = (x ^ (x >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        x = (x ^ (x >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((x ^ (x >> 31)) >> 11) as f64 / (1u64 << 53) as f64 - 0.5
    }

    /// What a camera that began `late` seconds after the huddle broke sees of play `number`: still until 6 s, then bursts
    /// that are the play's own, over noise that is the camera's own.
    fn moves(number: u64, late: f64, seconds: f64, own: u64, snap: Option<(f64, f64)>) -> Moves {
        let film = Film { parts: vec![scripted::part("a.mp4", 3000, Rate { num: 30, den: 1 })], problems: vec![] };
        let mut series = Series::default();
        for k in 0..(seconds * HZ) as u64 {
            let (frame, t) = (2 * k, k as f64 / HZ + late);
            let burst = |t: f64| chance(number * 1000 + (t * 1.5) as u64);
            let live = t > 6.0;
            let energy = if live { (2.0 * burst(t) + 0.6 * chance(own + k)).exp() } else { 0.1 };
            let pan = if live { 0.05 * (2.0 * burst(t + 40.0) + 0.6 * chance(own * 3 + k)).exp() } else { 0.003 };
            let (energy, pan) = (energy as f32, pan as f32);
            series.samples.push(Sample { frame, time: k as f64 / HZ, energy, pan, ..Sample::default() });
        }
        let at = snap.map(|(t, confidence)| Sighting { frame: FrameNo((t * 30.0) as u64), time: t, confidence });
        let span = FrameSpan::of(0, (seconds * 30.0) as u64);
        let play = Play { shot: 0, span, set: None, snap: at, whistle: None, by: Evidence::Picture, doubt: None };
        Moves::of(&series, &film, &play).unwrap()
    }

    #[test]
    fn the_same_bursts_are_laid_over_one_another() {
        // Nobody saw a snap: found, and not believed by itself.
        let (a, b) = (moves(1, 0.0, 15.0, 77_000, None), moves(1, 2.4, 14.0, 88_000, None));
        let found = alike(&a, &b).unwrap();
        assert!((found.lag + 2.4).abs() < 0.07 && found.belief > 0.4 && found.belief <= WITHOUT_SNAPS, "{found:?}");
        let back = alike(&b, &a).unwrap();
        assert!((back.lag - 2.4).abs() < 0.07, "{back:?}");
        let (a, b) = (moves(1, 0.0, 15.0, 77_000, Some((6.0, 0.9))), moves(1, 2.4, 14.0, 88_000, Some((3.7, 0.8))));
        let seen = alike(&a, &b).unwrap();
        assert!((seen.lag + 2.4).abs() < 0.1 && seen.belief > 0.6, "{seen:?}");
    }

    #[test]
    fn snaps_that_contradict_what_moves_leave_no_belief() {
        // Nothing moves in common, and each saw another snap: one of them hardly.
        let (a, b) = (moves(1, 0.0, 15.0, 77_000, Some((6.0, 0.9))), moves(2, 0.0, 15.0, 88_000, Some((8.5, 0.2))));
        let unsure = alike(&a, &b).unwrap();
        let (a, b) = (moves(1, 0.0, 15.0, 77_000, Some((6.0, 0.95))), moves(1, 0.0, 15.0, 88_000, Some((6.1, 0.95))));
        let sure = alike(&a, &b).unwrap();
        assert!(sure.belief > 0.6 && unsure.belief < 0.1, "{sure:?} {unsure:?}");
        assert!(sure.lag.abs() < 0.1, "{sure:?}");
    }

    #[test]
    fn too_little_film_tells_nothing() {
        let film = Film { parts: vec![scripted::part("a.mp4", 900, Rate { num: 30, den: 1 })], problems: vec![] };
        let span = FrameSpan::of(0, 300);
        let play = Play { shot: 0, span, set: None, snap: None, whistle: None, by: Evidence::Nothing, doubt: None };
        assert!(Moves::of(&Series::default(), &film, &play).is_none());
    }
}
