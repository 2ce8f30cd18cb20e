//! The one picture size and rate of a reel.

use std::fmt;

use crate::base::Rate;
use crate::film::Film;

/// Largest picture of a reel: every phone, projector and laptop plays H.264 level 4.2 of this size [practice].
const LARGEST: (u32, u32) = (1920, 1080);

/// Highest rate of a reel, frames a second; level 4.2 ends there at 1920x1080.
const FASTEST: f64 = 60.0;

/// Rates that film is meant to have. A rate measured on varying film is taken as the nearest.
const COMMON: [Rate; 8] = [
    Rate { num: 24000, den: 1001 },
    Rate { num: 24, den: 1 },
    Rate { num: 25, den: 1 },
    Rate { num: 30000, den: 1001 },
    Rate { num: 30, den: 1 },
    Rate { num: 50, den: 1 },
    Rate { num: 60000, den: 1001 },
    Rate { num: 60, den: 1 },
];

/// Size and rate of a reel's pictures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Canvas {
    /// Width, even.
    pub width: u32,
    /// Height, even.
    pub height: u32,
    /// Frames a second.
    pub rate: Rate,
}

/// What a source brings to the choice of a canvas.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SourceShape {
    /// Width as shown, in square pixels.
    pub width: u32,
    /// Height as shown.
    pub height: u32,
    /// Average pictures a second: of interlaced film two a frame.
    pub rate: Rate,
    /// Whether the time between frames varies: the rate is then a measurement.
    pub variable: bool,
}

impl SourceShape {
    /// Of a film, one for each part.
    pub fn of(film: &Film) -> impl Iterator<Item = Self> + '_ {
        film.parts.iter().map(|p| {
            let fields = if p.interlaced { 2 } else { 1 };
            let rate = Rate { num: p.rate.num.saturating_mul(fields), den: p.rate.den };
            Self { width: p.width, height: p.height, rate, variable: p.variable }
        })
    }
}

impl Canvas {
    /// How long so many frames last, seconds.
    pub fn seconds(&self, frames: u64) -> f64 {
        frames as f64 * f64::from(self.rate.den.max(1)) / f64::from(self.rate.num.max(1))
    }

    /// The canvas for these sources: the size of the largest of them, brought within 1920x1080 in its own shape; the
    /// highest rate, up to 60. A larger one is never made up, a smaller camera's detail never lost. With no source:
    /// 1280x720 at 30.
    pub fn choose(sources: impl IntoIterator<Item = SourceShape>) -> Self {
        let mut best: Option<Self> = None;
        for source in sources {
            let (width, height) = within(source.width, source.height);
            let rate = tamed(source.rate, source.variable);
            let mut next = best.unwrap_or(Self { width, height, rate });
            // Of two shapes of one area the wider is taken, whatever the order.
            if (width * height, width) > (next.width * next.height, next.width) {
                (next.width, next.height) = (width, height);
            }
            if rate.hz() > next.rate.hz() {
                next.rate = rate;
            }
            best = Some(next);
        }
        best.unwrap_or(Self { width: 1280, height: 720, rate: Rate { num: 30, den: 1 } })
    }
}

fn within(width: u32, height: u32) -> (u32, u32) {
    let (w, h) = (f64::from(width.max(2)), f64::from(height.max(2)));
    let down = (f64::from(LARGEST.0) / w).min(f64::from(LARGEST.1) / h).min(1.0);
    // To the nearest even number, which is never above the limit, itself even.
    let even = |x: f64| ((x / 2.0).round() as u32 * 2).max(2);
    (even(w * down), even(h * down))
}

fn tamed(rate: Rate, variable: bool) -> Rate {
    let mut rate = Rate { num: rate.num.max(1), den: rate.den.max(1) };
    let hz = rate.hz();
    let nearest = |hz: f64| {
        COMMON.into_iter().min_by(|a, b| (a.hz() - hz).abs().total_cmp(&(b.hz() - hz).abs())).unwrap_or(COMMON[4])
    };
    if variable {
        return nearest(hz);
    }
    // 120 becomes 60, 120000/1001 becomes 60000/1001: every other frame, evenly.
    while rate.hz() > FASTEST {
        match rate.den.checked_mul(2) {
            Some(den) => rate.den = den,
            None => return nearest(FASTEST),
        }
    }
    if rate.num.is_multiple_of(2) && rate.den.is_multiple_of(2) {
        rate = Rate { num: rate.num / 2, den: rate.den / 2 };
    }
    // A still picture's rate, or a broken header's, is no rate for a reel.
    if rate.hz() < 10.0 { nearest(30.0) } else { rate }
}

impl fmt::Display for Canvas {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}x{} at {} frames a second", self.width, self.height, self.rate)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Width, height, rate.
    type Shape = (u32, u32, u32, u32);

    fn choose(sources: &[Shape]) -> String {
        Canvas::choose(sources.iter().map(|&(width, height, num, den)| SourceShape {
            width,
            height,
            rate: Rate { num, den },
            variable: false,
        }))
        .to_string()
    }

    #[test]
    fn one_canvas_serves_all_sources() {
        let cases: [(&[Shape], &str); 9] = [
            (&[(1280, 720, 30000, 1001); 2], "1280x720 at 30000/1001 frames a second"),
            (&[(1280, 720, 60, 1), (1920, 1080, 30, 1)], "1920x1080 at 60/1 frames a second"),
            (&[(3840, 2160, 30000, 1001), (960, 540, 25, 1)], "1920x1080 at 30000/1001 frames a second"),
            (&[(720, 540, 30, 1)], "720x540 at 30/1 frames a second"),
            (&[(1080, 1920, 30, 1)], "608x1080 at 30/1 frames a second"),
            (&[(1080, 1920, 30, 1), (1280, 720, 30, 1)], "1280x720 at 30/1 frames a second"),
            (&[(1279, 719, 120, 1)], "1280x720 at 60/1 frames a second"),
            (&[(640, 360, 120_000, 1001)], "640x360 at 60000/1001 frames a second"),
            (&[], "1280x720 at 30/1 frames a second"),
        ];
        for (sources, want) in cases {
            assert_eq!(choose(sources), want, "{sources:?}");
        }
    }

    #[test]
    fn a_measured_rate_becomes_a_common_one() {
        let rate = |num, den| tamed(Rate { num, den }, true);
        assert_eq!(rate(299_612, 10_000), Rate { num: 30000, den: 1001 });
        assert_eq!(rate(598_900, 10_000), Rate { num: 60000, den: 1001 });
        assert_eq!(rate(240, 1), Rate { num: 60, den: 1 });
        assert_eq!(tamed(Rate { num: 0, den: 0 }, false), Rate { num: 30, den: 1 });
    }
}
