//! A shot's motion on an even clock, cleaned and held against its own level.

use crate::film::{Sample, Whistle};

/// Samples a second that judgment counts in: every feature is there at 15 Hz (measured on made films drawn from tracked
/// movement; 10 Hz is nearly as good).
pub const HZ: f64 = 15.0;
/// The first samples of a shot compare it with the one before, or with a picture the encoder has not settled on yet.
pub const UNSETTLED: usize = 2;
/// Added to relative motion before the logarithm: stillness has a level. (Measured on made films drawn from tracked
/// movement, as the shares below.)
pub const STILL: f64 = 0.03;
/// A shot's reference is its 90th percentile, but at least this share of the film's median of those.
const ENERGY_SHARE: f64 = 0.5;
const ROBUST_SHARE: f64 = 0.4;

/// What one shot shows, at [`HZ`].
#[derive(Debug, Clone, Default)]
pub struct Track {
    /// Film time of the first sample in seconds.
    pub start: f64,
    /// Film time at which the shot begins and ends.
    pub from: f64,
    /// Likewise.
    pub to: f64,
    /// Motion of the men, median of 3; not yet relative.
    pub energy: Vec<f64>,
    /// The same, less what most of the picture does: the foot of a rise is looked for here. Median of 3.
    pub clear: Vec<f64>,
    /// The robust measure, median of 5.
    pub robust: Vec<f64>,
    /// Camera pan in picture widths a second, median of 5.
    pub pan: Vec<f64>,
    /// Share of the picture in which somebody moves at speed, and in which somebody moves at all; medians of 5.
    pub moving: Vec<f64>,
    /// Likewise.
    pub stirring: Vec<f64>,
    /// `ln(E/ref + .03)`.
    pub z: Vec<f64>,
    /// `ln(R/ref + .03)`.
    pub r: Vec<f64>,
    /// E/ref.
    pub e: Vec<f64>,
    /// The clear energy over its own reference.
    pub c: Vec<f64>,
    /// Share of samples that could not be registered.
    pub bad: f64,
    /// Mean share of the picture that is field.
    pub field: f64,
    /// Whistles in the shot.
    pub whistles: Vec<Whistle>,
}

impl Track {
    /// From the samples of one shot that lasts `from` to `to` (film time), and the film's whistles.
    pub fn of(samples: &[Sample], from: f64, to: f64, whistles: &[Whistle]) -> Self {
        let mut out = Self {
            from,
            to,
            start: from,
            whistles: whistles.iter().filter(|w| w.time >= from && w.time < to).copied().collect(),
            ..Self::default()
        };
        if samples.is_empty() {
            return out;
        }
        let n = samples.len() as f64;
        out.bad = samples.iter().filter(|s| s.bad).count() as f64 / n;
        out.field = samples.iter().map(|s| f64::from(s.field)).sum::<f64>() / n;
        let good: Vec<&Sample> = samples.iter().skip(UNSETTLED).filter(|s| !s.bad).collect();
        if good.is_empty() {
            return out;
        }
        out.start = samples[0].time;
        let count = ((samples[samples.len() - 1].time - out.start) * HZ + 1e-3).floor() as usize + 1;
        let on_clock = |of: fn(&Sample) -> f32| -> Vec<f64> {
            let mut next = 0;
            (0..count)
                .map(|k| {
                    let t = out.start + k as f64 / HZ;
                    while next < good.len() && good[next].time < t {
                        next += 1;
                    }
                    let value = |s: &Sample| f64::from(of(s));
                    match (next.checked_sub(1).map(|p| good[p]), good.get(next).copied()) {
                        (Some(a), Some(b)) => {
                            let f = (t - a.time) / (b.time - a.time).max(1e-6);
                            value(a) + f * (value(b) - value(a))
                        }
                        (Some(s), None) | (None, Some(s)) => value(s),
                        (None, None) => 0.0,
                    }
                })
                .collect()
        };
        out.energy = median_filter(&on_clock(|s| s.energy), 3);
        out.clear = median_filter(&on_clock(|s| s.clear), 3);
        out.robust = median_filter(&on_clock(|s| s.robust), 5);
        out.pan = median_filter(&on_clock(|s| s.pan), 5);
        out.moving = median_filter(&on_clock(|s| s.moving), 5);
        out.stirring = median_filter(&on_clock(|s| s.stirring), 5);
        out
    }

    /// How many samples.
    pub fn len(&self) -> usize {
        self.energy.len()
    }

    /// Whether nothing was measured.
    pub fn is_empty(&self) -> bool {
        self.energy.is_empty()
    }

    /// Film time of sample `k`.
    pub fn time(&self, k: f64) -> f64 {
        self.start + k / HZ
    }

    /// The sample at a film time, as a real number.
    pub fn at(&self, time: f64) -> f64 {
        (time - self.start) * HZ
    }

    /// The 90th percentiles of the energy, the clear energy and the robust measure.
    fn levels(&self) -> [f64; 3] {
        [&self.energy, &self.clear, &self.robust].map(|values| percentile(values, 0.9))
    }

    /// Sets what is relative, against the shot's level and the film's.
    fn refer(&mut self, film: [f64; 3]) {
        let own = self.levels();
        let level = |k: usize, share: f64| own[k].max(share * film[k]).max(1e-6);
        let (energy, clear, robust) = (level(0, ENERGY_SHARE), level(1, ENERGY_SHARE), level(2, ROBUST_SHARE));
        self.e = self.energy.iter().map(|v| v / energy).collect();
        self.c = self.clear.iter().map(|v| v / clear).collect();
        self.z = self.e.iter().map(|e| (e + STILL).ln()).collect();
        self.r = self.robust.iter().map(|v| (v / robust + STILL).ln()).collect();
    }
}

/// Sets every track's relative motion.
pub fn refer(tracks: &mut [Track]) {
    let levels: Vec<[f64; 3]> = tracks.iter().filter(|t| !t.is_empty()).map(Track::levels).collect();
    let film = [0, 1, 2].map(|k| percentile(&levels.iter().map(|l| l[k]).collect::<Vec<_>>(), 0.5));
    for track in tracks {
        track.refer(film);
    }
}

/// The value that a share of all lie below; 0 for none.
pub fn percentile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let Some(last) = sorted.len().checked_sub(1) else { return 0.0 };
    let at = share * last as f64;
    let (low, high) = (at.floor() as usize, at.ceil() as usize);
    sorted[low] + (at - low as f64) * (sorted[high] - sorted[low])
}

fn median_filter(values: &[f64], width: usize) -> Vec<f64> {
    let half = width / 2;
    (0..values.len())
        .map(|k| percentile(&values[k.saturating_sub(half)..(k + half + 1).min(values.len())], 0.5))
        .collect()
}

/// Running sums, for means over any span.
#[derive(Debug, Clone)]
pub struct Means(Vec<f64>);

impl Means {
    /// Over a series.
    pub fn of(values: impl Iterator<Item = f64>) -> Self {
        let mut sums = vec![0.0];
        let mut sum = 0.0;
        for v in values {
            sum += v;
            sums.push(sum);
        }
        Self(sums)
    }

    /// The sum of samples `a` up to but without `b`, cut to what there is.
    pub fn sum(&self, a: i64, b: i64) -> f64 {
        let last = self.0.len() as i64 - 1;
        let (a, b) = (a.clamp(0, last), b.clamp(0, last));
        if b > a { self.0[b as usize] - self.0[a as usize] } else { 0.0 }
    }

    /// The mean over the same; `None` if there is nothing.
    pub fn mean(&self, a: i64, b: i64) -> Option<f64> {
        let last = self.0.len() as i64 - 1;
        let (a, b) = (a.clamp(0, last), b.clamp(0, last));
        (b > a).then(|| (self.0[b as usize] - self.0[a as usize]) / (b - a) as f64)
    }

    /// The mean of samples after less the mean of those before; 0 where either is missing.
    pub fn contrast(&self, before: std::ops::Range<i64>, after: std::ops::Range<i64>) -> f64 {
        match (self.mean(before.start, before.end), self.mean(after.start, after.end)) {
            (Some(a), Some(b)) => b - a,
            _ => 0.0,
        }
    }
}
