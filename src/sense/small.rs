//! A film picture made small: all that the measurements look at.

use crate::film::PictureView;

/// Width of the small picture. Half as many columns still register a pair without clear loss (measured on made films
/// drawn from tracked movement), but a man across the field would then be two pixels wide.
pub const WIDTH: usize = 240;
/// Height of the small picture.
pub const HEIGHT: usize = 135;
/// Side of a square cell in small-picture pixels.
pub const CELL: usize = 8;
/// Cells across.
pub const CELLS_X: usize = WIDTH / CELL;
/// Cells down; the lowest seven rows of the picture are in no cell.
pub const CELLS_Y: usize = HEIGHT / CELL;
/// Cells in all.
pub const CELLS: usize = CELLS_X * CELLS_Y;

/// Luma of a picture, area-averaged to 240x135 whatever its size, and the mean chroma of each 8x8 cell.
#[derive(Debug, Clone)]
pub struct Small {
    /// Frame number over the film.
    pub frame: u64,
    /// Film time in seconds.
    pub time: f64,
    /// Rows of [`WIDTH`].
    pub luma: Vec<u8>,
    /// Mean Cb of each cell, rows of [`CELLS_X`].
    pub cb: Vec<u8>,
    /// Mean Cr of each cell.
    pub cr: Vec<u8>,
}

// Sums here cannot overflow (255 times the weights' sum); they wrap because a check for each of them, as the dev profile
// makes, would keep the compiler from doing them sixteen at a time.

/// Makes pictures small; keeps its tables between pictures of one size.
#[derive(Debug, Default)]
pub struct Shrinker {
    size: (usize, usize),
    across: Vec<Tap>,
    down: Vec<Tap>,
    row: Vec<u32>,
}

/// Which source samples a target sample averages: from `first`, with weights that sum to `1 << WEIGHT_BITS`.
#[derive(Debug, Clone)]
struct Tap {
    first: usize,
    weights: Vec<u32>,
}

const WEIGHT_BITS: u32 = 8;

fn taps(from: usize, to: usize) -> Vec<Tap> {
    let ratio = from as f64 / to as f64;
    (0..to)
        .map(|k| {
            let (a, b) = (k as f64 * ratio, (k + 1) as f64 * ratio);
            let first = (a.floor() as usize).min(from - 1);
            let end = (b.ceil() as usize).clamp(first + 1, from);
            // Rounding the running sum, not each weight, keeps the sum exact.
            let mut before = 0;
            let mut weights = Vec::with_capacity(end - first);
            for s in first..end {
                let covered = ((s + 1) as f64).min(b) - a;
                let sum = if s + 1 == end {
                    1 << WEIGHT_BITS
                } else {
                    (covered / (b - a) * f64::from(1u32 << WEIGHT_BITS)).round() as u32
                };
                weights.push(sum - before);
                before = sum;
            }
            Tap { first, weights }
        })
        .collect()
}

impl Shrinker {
    /// The picture made small. Chroma is only sampled where `chroma` is asked for (grey otherwise).
    pub fn shrink(&mut self, view: &PictureView<'_>, chroma: bool) -> Small {
        let mut luma = vec![0u8; WIDTH * HEIGHT];
        if view.width > 0 && view.height > 0 {
            self.luma(view, &mut luma);
        }
        let (cb, cr) = if chroma { (cell_means(view, 1), cell_means(view, 2)) } else { (Vec::new(), Vec::new()) };
        Small { frame: view.no.0, time: view.time, luma, cb, cr }
    }

    fn luma(&mut self, view: &PictureView<'_>, out: &mut [u8]) {
        let (w, h, stride) = (view.width, view.height, view.strides[0]);
        let plane = view.planes[0];
        if w % WIDTH == 0 && h % HEIGHT == 0 && w / WIDTH == h / HEIGHT && w / WIDTH <= 16 {
            return match w / WIDTH {
                2 => whole_factor::<2>(plane, w, stride, out),
                4 => whole_factor::<4>(plane, w, stride, out),
                8 => whole_factor::<8>(plane, w, stride, out),
                16 => whole_factor::<16>(plane, w, stride, out),
                _ => self.any_factor(plane, (w, h), stride, out),
            };
        }
        self.any_factor(plane, (w, h), stride, out);
    }

    fn any_factor(&mut self, plane: &[u8], size: (usize, usize), stride: usize, out: &mut [u8]) {
        if self.size != size {
            self.size = size;
            self.across = taps(size.0, WIDTH);
            self.down = taps(size.1, HEIGHT);
            self.row = vec![0; size.0];
        }
        for (tap, line) in self.down.iter().zip(out.chunks_exact_mut(WIDTH)) {
            self.row.fill(0);
            for (k, &weight) in tap.weights.iter().enumerate() {
                let from = (tap.first + k) * stride;
                let Some(source) = plane.get(from..from + size.0) else { break };
                for (sum, &sample) in self.row.iter_mut().zip(source) {
                    *sum = sum.wrapping_add(u32::from(sample).wrapping_mul(weight));
                }
            }
            for (tap, target) in self.across.iter().zip(line) {
                let half = 1 << (2 * WEIGHT_BITS - 1);
                let terms = tap.weights.iter().zip(&self.row[tap.first..]);
                let sum = terms.fold(half, |sum: u32, (&a, &b)| sum.wrapping_add(a.wrapping_mul(b)));
                *target = (sum >> (2 * WEIGHT_BITS)) as u8;
            }
        }
    }
}

/// Means of N x N blocks: the common sizes (480, 960, 1920, 3840 across) need no weights.
fn whole_factor<const N: usize>(plane: &[u8], w: usize, stride: usize, out: &mut [u8]) {
    let mut sums = vec![0u16; w];
    for (j, line) in out.chunks_exact_mut(WIDTH).enumerate() {
        sums.fill(0);
        for k in 0..N {
            let Some(source) = plane.get((j * N + k) * stride..(j * N + k) * stride + w) else { break };
            for (sum, &sample) in sums.iter_mut().zip(source) {
                *sum = sum.wrapping_add(u16::from(sample));
            }
        }
        let area = (N * N) as u32;
        for (target, block) in line.iter_mut().zip(sums.chunks_exact(N)) {
            let sum = block.iter().fold(area / 2, |sum, &s| sum.wrapping_add(u32::from(s)));
            *target = (sum / area) as u8;
        }
    }
}

/// Mean chroma of each cell from sixteen points of it: turf is told from shirts by far more than their noise.
fn cell_means(view: &PictureView<'_>, plane: usize) -> Vec<u8> {
    const POINTS: usize = 4;
    let (w, h) = (view.width.div_ceil(2), view.height.div_ceil(2));
    let stride = view.strides[plane];
    let data = view.planes[plane];
    let mut out = vec![128u8; CELLS];
    for (n, target) in out.iter_mut().enumerate() {
        let (cx, cy) = (n % CELLS_X, n / CELLS_X);
        let mut sum = 0u32;
        for k in 0..POINTS * POINTS {
            // In 1/8 of a cell's POINTS, so that the points lie evenly inside it.
            let fx = (cx * POINTS + k % POINTS) * 2 + 1;
            let fy = (cy * POINTS + k / POINTS) * 2 + 1;
            let x = (fx * w / (2 * POINTS * CELLS_X)).min(w.saturating_sub(1));
            let y = (fy * CELL * h / (2 * POINTS * HEIGHT)).min(h.saturating_sub(1));
            sum += u32::from(data.get(y * stride + x).copied().unwrap_or(128));
        }
        *target = ((sum + 8) / (POINTS * POINTS) as u32) as u8;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::FrameNo;
    use crate::film::Picture;

    /// A ramp across and down keeps its value at every point, whatever the size.
    #[test]
    fn every_size_gives_the_same_picture() {
        for (w, h) in [(240, 135), (480, 270), (960, 540), (1920, 1080), (1280, 720), (720, 528), (100, 60), (333, 171)]
        {
            let mut picture = Picture::filled(w, h, [0, 90, 160]);
            for y in 0..h {
                for x in 0..w {
                    picture.planes[0][y * w + x] =
                        ((x as f64 + 0.5) / w as f64 * 120.0 + (y as f64 + 0.5) / h as f64 * 100.0).round() as u8;
                }
            }
            let small = Shrinker::default().shrink(&picture.view(FrameNo(3), 0.1), true);
            for (x, y) in [(0, 0), (239, 0), (17, 90), (120, 67), (239, 134)] {
                let want = (x as f64 + 0.5) / 240.0 * 120.0 + (y as f64 + 0.5) / 135.0 * 100.0;
                let got = f64::from(small.luma[y * WIDTH + x]);
                assert!((got - want).abs() <= 1.6, "{w}x{h} at {x},{y}: {got} for {want}");
            }
            assert!(small.cb.iter().all(|&v| v == 90) && small.cr.iter().all(|&v| v == 160), "{w}x{h}");
        }
    }

    #[test]
    fn a_cell_has_the_chroma_of_its_place() {
        let mut picture = Picture::filled(960, 540, [80, 128, 128]);
        // Right half of the picture, lower half.
        for y in 135..270 {
            for x in 240..480 {
                picture.planes[2][y * 480 + x] = 200;
            }
        }
        let small = Shrinker::default().shrink(&picture.view(FrameNo(0), 0.0), true);
        assert_eq!(small.cr[2 * CELLS_X + 2], 128);
        assert_eq!(small.cr[12 * CELLS_X + 2], 128);
        assert_eq!(small.cr[12 * CELLS_X + 20], 200);
    }
}
