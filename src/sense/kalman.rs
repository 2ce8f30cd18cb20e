//! Where something that moves as men do will be next, and how sure that is.

/// Spectral density of a man's acceleration, heights squared a second cubed: in half a second his pace changes by 1.4 heights
/// (2.8 yd) a second, as in the first second of a route; accelerations of men stay under 7 yd/s² [measured on tracked plays].
const JERK: f64 = 4.0;

/// A point with a pace, seen with noise (Kalman 1960; the same for both axes, so that one covariance does).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motion {
    /// Place.
    pub at: (f64, f64),
    /// Change of it a second.
    pub pace: (f64, f64),
    /// Variance of the place, of both together, of the pace.
    var: [f64; 3],
}

impl Motion {
    /// Something at a place, seen with `noise`, of which a pace of up to about `pace` is expected.
    pub fn at(at: (f64, f64), noise: f64, pace: f64) -> Self {
        Self { at, pace: (0.0, 0.0), var: [noise * noise, 0.0, pace * pace] }
    }

    /// Moves on by `dt` seconds.
    pub fn go_on(&mut self, dt: f64) {
        let [p, c, v] = self.var;
        self.at = (self.at.0 + self.pace.0 * dt, self.at.1 + self.pace.1 * dt);
        self.var = [
            p + 2.0 * dt * c + dt * dt * v + JERK * dt.powi(3) / 3.0,
            c + dt * v + JERK * dt * dt / 2.0,
            v + JERK * dt,
        ];
    }

    /// It was seen there, with that noise.
    pub fn seen(&mut self, at: (f64, f64), noise: f64) {
        let [p, c, v] = self.var;
        let sum = p + noise * noise;
        let (k, l) = (p / sum, c / sum);
        let (ex, ey) = (at.0 - self.at.0, at.1 - self.at.1);
        self.at = (self.at.0 + k * ex, self.at.1 + k * ey);
        self.pace = (self.pace.0 + l * ex, self.pace.1 + l * ey);
        self.var = [(1.0 - k) * p, (1.0 - k) * c, v - l * c];
    }

    /// How far a place is from where it should be, squared, and the variance that is expected of that.
    pub fn off(&self, at: (f64, f64), noise: f64) -> (f64, f64) {
        ((at.0 - self.at.0).powi(2) + (at.1 - self.at.1).powi(2), self.var[0] + noise * noise)
    }

    /// Distance to another.
    pub fn apart(&self, at: (f64, f64)) -> f64 {
        (at.0 - self.at.0).hypot(at.1 - self.at.1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_steady_runner_is_foreseen() {
        let mut motion = Motion::at((0.0, 0.0), 0.1, 2.5);
        for k in 1..=30 {
            motion.go_on(1.0 / 30.0);
            motion.seen((0.1 * f64::from(k), -0.05 * f64::from(k)), 0.05);
        }
        assert!((motion.pace.0 - 3.0).abs() < 0.05 && (motion.pace.1 + 1.5).abs() < 0.05, "{motion:?}");
        motion.go_on(0.2);
        assert!(motion.apart((3.6, -1.8)) < 0.05, "{motion:?}");
    }
}
