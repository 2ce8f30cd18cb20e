//! What the film shows of a play against what a row says of it: length, how far the camera panned, kicks.
//!
//! The units of the pan and the habits of this film and sheet are not known beforehand: they are fitted, first without
//! knowing which row is whose, then by the weights of the pairs.

use super::alignment::Posterior;
use super::facts::{PlayFacts, RowFacts, What};
use super::fit::{median, normal, solve};

/// Logarithm of a play's length by its kind, less that of a run, as a beginning and with what spread a film may differ
/// from it; our own estimate from how plays run: the ball is dead sooner on an incomplete pass, a kick hangs.
const LENGTHS: [f64; What::COUNT] = [0.0, 0.0, 0.05, 0.1, -0.05, 0.15, 0.05, 0.25, 0.25, -0.35, -0.35, -0.05];
const LENGTHS_SD: f64 = 0.2;
/// The same for each unit of `reach` of the gain.
const SLOPE: f64 = 0.25;
const SLOPE_SD: f64 = 0.15;
/// Spread of the logarithm of lengths of one kind, at first, and how many plays that is worth.
const LENGTH_SPREAD: f64 = 0.28;
const SPREAD_WORTH: f64 = 12.0;

/// Yards that the ball moves from snap to end, and their spread, where a row's gain does not tell; our own estimates.
const PUNT: (f64, f64) = (38.0, 11.0);
const KICKOFF: (f64, f64) = (38.0, 16.0);
const PLACE_KICK: (f64, f64) = (2.0, 5.0);
const NO_PLAY: (f64, f64) = (2.0, 6.0);
/// The camera follows the ball, which on these ends elsewhere than the gain tells.
const INCOMPLETE: (f64, f64) = (4.0, 4.0);
const INTERCEPTED: (f64, f64) = (3.0, 14.0);
const UNTOLD: (f64, f64) = (5.0, 9.0);

/// Yards of noise between gain and pan that are tried, with how likely each is beforehand (natural logarithm): the
/// correlation of .77 that was measured on film leaves some 7 yards with ordinary gains.
const NOISES: [(f64, f64); 5] = [(3.0, -1.5), (4.5, -0.5), (6.5, 0.0), (9.0, -0.5), (12.0, -1.5)];
/// Some pans tell nothing: the share of a noise three times as wide.
const WILD: f64 = 0.08;

/// Shots that are no play, where they were taken for one: their share among plays without a row, length and pan.
const FALSE_SHARE: f64 = 0.35;
const FALSE_LENGTH: (f64, f64) = (5.5, 0.55);
const FALSE_PAN: f64 = 6.0;

/// A kick is told as one in so many of ten, and another play in so many; a finder that tells none says so by `None`.
const KICK_TOLD: f64 = 0.8;
const KICK_FALSELY: f64 = 0.02;

/// What a row lets expect of its play's film.
#[derive(Debug, Clone, Copy)]
struct Expected {
    what: What,
    /// Yards the ball moves, and their spread.
    yards: (f64, f64),
    /// By how much a gain lengthens the play, in units of the slope.
    reach: f64,
}

impl Expected {
    fn of(row: &RowFacts) -> Self {
        let yards = match (row.what, row.gain) {
            (What::Punt, _) => PUNT,
            (What::Kickoff, _) => KICKOFF,
            (What::FieldGoal | What::Try, _) => PLACE_KICK,
            (What::Incomplete, _) => INCOMPLETE,
            (What::Intercepted, _) => INTERCEPTED,
            (What::NoPlay, None) => NO_PLAY,
            (_, Some(gain)) => (gain.clamp(-30.0, 110.0), 1.0),
            (_, None) => UNTOLD,
        };
        let gain = row.gain.filter(|_| !row.what.is_kick()).unwrap_or(0.0);
        Self { what: row.what, yards, reach: (gain.max(0.0) / 8.0).ln_1p() }
    }
}

/// Density of an unsigned pan of `u` yards.
fn pan_density(u: f64, (mean, own): (f64, f64), noise: f64) -> f64 {
    let of = |spread: f64| normal(u - mean, spread) + normal(u + mean, spread);
    (1.0 - WILD) * of(own.hypot(noise)) + WILD * of(own.hypot(3.0 * noise))
}

/// The fitted habits of one film and sheet.
#[derive(Debug, Clone)]
struct Habits {
    /// Unit of the pan for each yard.
    scale: f64,
    noise: f64,
    /// Logarithm of a run's length without gain.
    length: f64,
    by_kind: [f64; What::COUNT],
    slope: f64,
    spread: f64,
}

/// How well each row's word fits each play's film.
#[derive(Debug, Clone)]
pub(super) struct Ratios {
    /// For each row and play (`i * plays + j`) the likelihood of the play's film if it is the row's, against that of any
    /// play without a row.
    pub pair: Vec<f64>,
    /// The same for each play if it is some other row's, and if it is no play at all.
    pub other: Vec<f64>,
    pub none: Vec<f64>,
}

impl Ratios {
    /// Where nothing is known, nothing speaks for or against.
    pub fn even(rows: usize, plays: usize) -> Self {
        Self { pair: vec![1.0; rows * plays], other: vec![1.0; plays], none: vec![1.0; plays] }
    }
}

/// What rows and film let expect of one another.
pub(super) struct Content {
    expected: Vec<Expected>,
    plays: Vec<(Option<f64>, Option<f64>, Option<bool>)>,
    habits: Habits,
}

impl Content {
    /// `None` where rows or film say too little: below half of either.
    pub fn of(rows: &[RowFacts], plays: &[PlayFacts]) -> Option<Self> {
        let told = rows.iter().filter(|r| r.what != What::Unknown || r.gain.is_some()).count();
        let positive = |v: Option<f64>| v.filter(|v| v.is_finite() && *v >= 0.0);
        let seen: Vec<_> = plays
            .iter()
            .map(|p| (positive(p.length).filter(|l| *l > 0.0).map(f64::ln), positive(p.pan), p.kick))
            .collect();
        let shown = seen.iter().filter(|(length, pan, kick)| length.is_some() || pan.is_some() || kick.is_some());
        if told * 2 < rows.len() || shown.count() * 2 < plays.len() || rows.is_empty() {
            return None;
        }
        let expected: Vec<Expected> = rows.iter().map(Expected::of).collect();
        let lengths = median(seen.iter().filter_map(|p| p.0).collect());
        let likely = median(expected.iter().map(|e| LENGTHS[e.what.index()] + SLOPE * e.reach).collect());
        let habits = Habits {
            scale: 1.0,
            noise: 6.5,
            length: lengths.unwrap_or(2.0) - likely.unwrap_or(0.0),
            by_kind: LENGTHS,
            slope: SLOPE,
            spread: LENGTH_SPREAD,
        };
        let mut content = Self { expected, plays: seen, habits };
        content.fit_pan(None);
        Some(content)
    }

    /// Fits the habits anew to the pairs by their weights.
    pub fn refit(&mut self, posterior: &Posterior) {
        self.fit_pan(Some(posterior));
        self.fit_lengths(posterior);
    }

    /// The unit of the pan and its noise: those under which all pans are likeliest.
    fn fit_pan(&mut self, posterior: Option<&Posterior>) {
        let pans = self.plays.iter().filter_map(|p| p.1).collect();
        let Some(middle) = median(pans).filter(|m| *m > 0.0) else { return };
        let count = self.plays.len();
        // Rows that let expect the same are reckoned once.
        let mut kinds: Vec<((f64, f64), f64)> = Vec::new();
        for e in &self.expected {
            match kinds.iter_mut().find(|(yards, _)| *yards == e.yards) {
                Some((_, rows)) => *rows += 1.0,
                None => kinds.push((e.yards, 1.0)),
            }
        }
        let rows = self.expected.len() as f64;
        let mut best = (f64::NEG_INFINITY, self.habits.scale, self.habits.noise);
        // A first look need not be as fine.
        let stride = if posterior.is_some() { 1 } else { 2 };
        for (noise, prior) in NOISES.into_iter().skip(stride - 1).step_by(stride) {
            for step in (0..24).step_by(stride) {
                // The middle pan stands for 2 to 20 yards.
                let scale = middle / (2.0 * 10f64.powf(f64::from(step) / 23.0));
                let mut sum = prior;
                for (j, (_, pan, _)) in self.plays.iter().enumerate() {
                    let Some(u) = pan.map(|p| p / scale) else { continue };
                    let nothing = 0.1 * pan_density(u, (0.0, FALSE_PAN), noise) / scale;
                    match posterior {
                        None => {
                            let all: f64 = kinds.iter().map(|(y, n)| n * pan_density(u, *y, noise)).sum();
                            sum += (nothing + 0.9 * all / rows / scale).ln();
                        }
                        Some(posterior) => {
                            for (i, e) in self.expected.iter().enumerate() {
                                let weight = posterior.pair[i * count + j];
                                if weight > 0.02 {
                                    sum += weight * (nothing + 0.9 * pan_density(u, e.yards, noise) / scale).ln();
                                }
                            }
                        }
                    }
                }
                if sum > best.0 {
                    best = (sum, scale, noise);
                }
            }
        }
        (self.habits.scale, self.habits.noise) = (best.1, best.2);
    }

    /// Lengths by kind and gain: weighted least squares with the beginnings as further points.
    fn fit_lengths(&mut self, posterior: &Posterior) {
        const N: usize = What::COUNT + 2;
        let count = self.plays.len();
        let (mut a, mut b) = (vec![vec![0.0; N]; N], vec![0.0; N]);
        // Unknowns: the length, each kind, the slope.
        for k in 0..What::COUNT {
            a[k + 1][k + 1] = 1.0 / LENGTHS_SD.powi(2);
            b[k + 1] = LENGTHS[k] / LENGTHS_SD.powi(2);
        }
        a[N - 1][N - 1] = 1.0 / SLOPE_SD.powi(2);
        b[N - 1] = SLOPE / SLOPE_SD.powi(2);
        a[0][0] = 1e-6;
        let mut points = Vec::new();
        for (i, e) in self.expected.iter().enumerate() {
            for (j, (length, ..)) in self.plays.iter().enumerate() {
                let weight = posterior.pair[i * count + j];
                if let (Some(length), true) = (*length, weight > 0.05) {
                    points.push((e.what.index() + 1, e.reach, length, weight));
                }
            }
        }
        let total: f64 = points.iter().map(|p| p.3).sum();
        if total < 6.0 {
            return;
        }
        for (kind, reach, length, weight) in &points {
            let w = weight / self.habits.spread.powi(2);
            let x = [(0, 1.0), (*kind, 1.0), (N - 1, *reach)];
            for (p, u) in x {
                b[p] += w * u * length;
                for (q, v) in x {
                    a[p][q] += w * u * v;
                }
            }
        }
        let Some(fitted) = solve(a, b) else { return };
        let off = |kind: usize, reach: f64, length: f64| length - fitted[0] - fitted[kind] - fitted[N - 1] * reach;
        let squares: f64 = points.iter().map(|(k, r, l, w)| w * off(*k, *r, *l).powi(2).min(1.0)).sum();
        let habits = &mut self.habits;
        habits.length = fitted[0];
        habits.by_kind.copy_from_slice(&fitted[1..=What::COUNT]);
        habits.slope = fitted[N - 1];
        let variance = (squares + SPREAD_WORTH * LENGTH_SPREAD.powi(2)) / (total + SPREAD_WORTH);
        habits.spread = variance.sqrt().clamp(0.12, 0.5);
    }

    /// How well all fit.
    pub fn ratios(&self) -> Ratios {
        let (rows, plays) = (self.expected.len(), self.plays.len());
        let mut ratios = Ratios::even(rows, plays);
        let h = &self.habits;
        // Rows of one kind and gain are reckoned once.
        let mut kinds: Vec<Expected> = Vec::new();
        let kind_of: Vec<usize> = self
            .expected
            .iter()
            .map(|e| {
                let same = |k: &Expected| k.what == e.what && k.yards == e.yards && k.reach == e.reach;
                kinds.iter().position(same).unwrap_or_else(|| {
                    kinds.push(*e);
                    kinds.len() - 1
                })
            })
            .collect();
        let mut of_kind = vec![0.0; kinds.len()];
        for (j, (length, pan, kick)) in self.plays.iter().enumerate() {
            let mut weigh = |density: &dyn Fn(&Expected) -> f64, nothing: f64| {
                for (value, kind) in of_kind.iter_mut().zip(&kinds) {
                    *value = density(kind);
                }
                let mean = kind_of.iter().map(|k| of_kind[*k]).sum::<f64>() / rows as f64;
                let alone = (FALSE_SHARE * nothing + (1.0 - FALSE_SHARE) * mean).max(1e-12);
                ratios.other[j] *= mean / alone;
                ratios.none[j] *= nothing / alone;
                for (i, kind) in kind_of.iter().enumerate() {
                    // No film speaks more strongly than this against a row: a kind mistyped, a camera asleep.
                    ratios.pair[i * plays + j] *= (of_kind[*kind] / alone).max(0.01);
                }
            };
            if let Some(length) = length {
                let density = |e: &Expected| {
                    let off = length - h.length - h.by_kind[e.what.index()] - h.slope * e.reach;
                    0.95 * normal(off, h.spread) + 0.05 * normal(off, 2.5 * h.spread)
                };
                weigh(&density, normal(length - FALSE_LENGTH.0.ln(), FALSE_LENGTH.1));
            }
            if let Some(pan) = pan {
                let u = pan / h.scale;
                weigh(&|e| pan_density(u, e.yards, h.noise), pan_density(u, (0.0, FALSE_PAN), 1.0));
            }
            if let Some(kick) = kick {
                let told = |share: f64| if *kick { share } else { 1.0 - share };
                let density = |e: &Expected| match e.what {
                    What::Unknown | What::NoPlay => told(0.1),
                    what if what.is_kick() => told(KICK_TOLD),
                    _ => told(KICK_FALSELY),
                };
                weigh(&density, told(KICK_FALSELY));
            }
        }
        ratios
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_gain_fits_a_long_pan_in_whatever_unit() {
        let gains = [0.0, 3.0, 40.0, 5.0, -2.0, 8.0, 12.0, 4.0];
        let row = |g: &f64| RowFacts { what: What::Run, gain: Some(*g), ..RowFacts::default() };
        let rows: Vec<RowFacts> = gains.iter().map(row).collect();
        for unit in [1.0, 0.02] {
            let play = |g: &f64| PlayFacts {
                pan: Some(g.abs() * unit),
                length: Some(5.0 + g.abs() / 8.0),
                ..PlayFacts::default()
            };
            let plays: Vec<PlayFacts> = gains.iter().map(play).collect();
            let ratios = Content::of(&rows, &plays).unwrap().ratios().pair;
            assert!(ratios[2 * 8 + 2] > 3.0, "{}", ratios[2 * 8 + 2]);
            assert!(ratios[2 * 8] < 0.5 && ratios[2] < 0.5);
        }
        assert!(Content::of(&[RowFacts::default(); 8], &[PlayFacts::default(); 8]).is_none());
        assert!(Content::of(&rows, &[PlayFacts::default(); 8]).is_none());
    }
}
