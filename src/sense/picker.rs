//! Which frames are looked at.

use super::gather::LAG;

/// Picks the frames nearest to each 1/15 s after the last one picked.
#[derive(Debug, Default)]
pub struct Picker {
    last: Option<(f64, f64)>,
}

impl Picker {
    /// Whether to look at the next frame, shown at `time` (seconds).
    pub fn picks(&mut self, time: f64) -> bool {
        let Some((picked, before)) = self.last else {
            self.last = Some((time, time));
            return true;
        };
        // The next frame is likely as far away as this one from the one before.
        let step = (time - before).clamp(0.0, LAG);
        let pick = time - picked + 0.5 * step + 1e-4 >= LAG;
        self.last = Some((if pick { time } else { picked }, time));
        pick
    }
}

/// Whether `last` is so near to `end`, the first frame of the next chunk, that the frame before it is held against
/// `end` instead: of two pictures too close in time only the noise would differ.
pub fn crowds(last: f64, end: f64) -> bool {
    end - last < 0.6 * LAG
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_picker_takes_the_frame_nearest_to_each_fifteenth() {
        for (rate, every) in [(30.0, 2), (60.0, 4), (25.0, 2), (15.0, 1), (10.0, 1), (59.94, 4), (120.0, 8)] {
            let mut picker = Picker::default();
            let picked: Vec<usize> = (0..200).filter(|&k| picker.picks(k as f64 / rate)).collect();
            assert!(picked.windows(2).all(|w| w[1] - w[0] == every), "{rate}: {:?}", &picked[..6]);
        }
    }
}
