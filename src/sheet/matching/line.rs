//! The line from film time to typed time.

use super::facts::MatchSettings;

/// Drift that is still likely, one standard deviation: recorders and players differ by a few tenths of a percent at
/// most **[practice]**.
const DRIFT_SD: f64 = 0.003;

/// How far a person's own offset may be off, seconds: it was read from the program's output or a watch.
const GIVEN_SD: f64 = 2.0;

/// The same for a drift that a person gave.
const GIVEN_DRIFT_SD: f64 = 0.0003;

/// The drift expected and its standard deviation.
fn likely_drift(given: &MatchSettings) -> (f64, f64) {
    given.drift.map_or((0.0, DRIFT_SD), |drift| (drift, GIVEN_DRIFT_SD))
}

/// Cauchy's tuning constant for 95 % efficiency on normal errors (Holland and Welsch 1977, from memory).
const CAUCHY: f64 = 2.385;

/// Typed time as a line of film time: `typed = film + middle_offset + drift * (film - middle)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Film time about which it turns, seconds.
    pub middle: f64,
    /// Typed time less film time there, seconds.
    pub middle_offset: f64,
    /// Slope beyond 1.
    pub drift: f64,
}

impl Line {
    /// Typed time that a snap at `film` seconds is expected at.
    pub fn at(&self, film: f64) -> f64 {
        film + self.middle_offset + self.drift * (film - self.middle)
    }

    /// Typed time less film time at the film's start.
    pub fn offset(&self) -> f64 {
        self.middle_offset - self.drift * self.middle
    }

    /// How likely the line is itself, natural logarithm: sheets are typed from the film or near its clock, so that a far
    /// offset needs more evidence (measured on made sheets: a nat for each 30 s).
    pub fn prior(&self, given: &MatchSettings) -> f64 {
        let offset = match given.offset {
            Some(given) => 0.5 * ((self.offset() - given) / GIVEN_SD).powi(2),
            None => self.middle_offset.abs() / 30.0,
        };
        let (drift, spread) = likely_drift(given);
        -offset - 0.5 * ((self.drift - drift) / spread).powi(2)
    }

    /// The line fitted anew to points (film, typed, weight), each weighed down by its residual in Cauchy's way.
    /// `spread` is the typed times' spread in seconds.
    pub fn refit(&self, points: &[(f64, f64, f64)], spread: f64, given: &MatchSettings) -> Self {
        // Normal equations of y = a + b x with x = film - middle; the likely drift and a given offset as further points.
        let (likely, sd) = likely_drift(given);
        let (mut sw, mut sx, mut sxx, mut sy, mut sxy) = (0.0, 0.0, sd.powi(-2), 0.0, likely * sd.powi(-2));
        let mut add = |x: f64, y: f64, w: f64| {
            sw += w;
            sx += w * x;
            sxx += w * x * x;
            sy += w * y;
            sxy += w * x * y;
        };
        for (film, typed, weight) in points {
            let residual = (typed - self.at(*film)) / (CAUCHY * spread);
            add(film - self.middle, typed - film, weight / (spread * spread * (1.0 + residual * residual)));
        }
        if let Some(given) = given.offset {
            add(-self.middle, given, GIVEN_SD.powi(-2));
        }
        let determinant = sw * sxx - sx * sx;
        if sw <= 0.0 || determinant <= 0.0 || !determinant.is_finite() {
            return *self;
        }
        let drift = (sw * sxy - sx * sy) / determinant;
        let middle_offset = (sy - drift * sx) / sw;
        Self { middle: self.middle, middle_offset, drift }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fit_finds_offset_and_drift_past_outliers() {
        let truth = Line { middle: 500.0, middle_offset: 12.0, drift: 0.002 };
        let mut points: Vec<_> = (0..50).map(|i| (f64::from(i) * 20.0, truth.at(f64::from(i) * 20.0), 1.0)).collect();
        points[7].1 += 9.0;
        points[30].1 -= 11.0;
        let mut line = Line { middle: 500.0, middle_offset: 11.0, drift: 0.0 };
        for _ in 0..8 {
            line = line.refit(&points, 0.5, &MatchSettings::default());
        }
        assert!((line.middle_offset - 12.0).abs() < 0.1, "{line:?}");
        assert!((line.drift - 0.002).abs() < 2e-4, "{line:?}");
        assert!((line.offset() - 11.0).abs() < 0.15);
        assert_eq!(line.refit(&[], 0.5, &MatchSettings::default()), line);
    }
}
