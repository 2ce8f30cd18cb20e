//! A film picture at middling size, with its colors: what men are followed in.

use crate::film::PictureView;

/// Pictures are shrunk by a whole factor to at least so many rows: a man of a twentieth of the height is 24 rows tall then.
const ROWS: usize = 480;

/// Planes of 8-bit 4:2:0 without padding.
#[derive(Debug, Clone, Default)]
pub struct Middling {
    /// Film time in seconds.
    pub time: f64,
    /// Width and height of the whole picture's luma, samples.
    pub size: (f64, f64),
    /// Y, Cb, Cr.
    pub planes: [Gray; 3],
}

/// One plane.
#[derive(Debug, Clone, Default)]
pub struct Gray {
    /// Samples a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Row by row.
    pub data: Vec<u8>,
}

impl Middling {
    /// The picture, each sample the mean of a square of whole samples.
    pub fn of(view: &PictureView<'_>) -> Self {
        let factor = (view.height / ROWS).max(1);
        let plane = |k: usize, w: usize, h: usize| shrunk(view.planes[k], (w, h), view.strides[k], factor);
        let (cw, ch) = (view.width.div_ceil(2), view.height.div_ceil(2));
        let planes = [plane(0, view.width, view.height), plane(1, cw, ch), plane(2, cw, ch)];
        Self { time: view.time, size: (planes[0].width as f64, planes[0].height as f64), planes }
    }

    /// Width over height.
    pub fn aspect(&self) -> f64 {
        self.size.0 / self.size.1.max(1.0)
    }
}

impl Gray {
    /// The value at a place (samples, the middle of the first at 0.5), between four samples; that of the border outside.
    pub fn at(&self, x: f32, y: f32) -> f32 {
        let (right, bottom) = ((self.width - 1) as f32, (self.height - 1) as f32);
        let (x, y) = (x - 0.5, y - 0.5);
        let (x, y) = (x.clamp(0.0, right), y.clamp(0.0, bottom));
        let (i, j) = (x as usize, y as usize);
        let (fx, fy) = (x - i as f32, y - j as f32);
        let (i2, j2) = ((i + 1).min(self.width - 1), (j + 1).min(self.height - 1));
        let p = |i: usize, j: usize| f32::from(self.data[j * self.width + i]);
        let top = p(i, j) + fx * (p(i2, j) - p(i, j));
        let low = p(i, j2) + fx * (p(i2, j2) - p(i, j2));
        top + fy * (low - top)
    }
}

fn shrunk(plane: &[u8], size: (usize, usize), stride: usize, factor: usize) -> Gray {
    let (width, height) = ((size.0 / factor).max(1), (size.1 / factor).max(1));
    let mut data = Vec::with_capacity(width * height);
    let mut sums = vec![0u16; width * factor];
    let area = (factor * factor) as u32;
    for j in 0..height {
        let row = |k: usize| plane.get((j * factor + k) * stride..).unwrap_or(&[]);
        if factor == 1 {
            let line = row(0);
            data.extend((0..width).map(|i| line.get(i).copied().unwrap_or(128)));
            continue;
        }
        sums.fill(0);
        for k in 0..factor {
            for (sum, &sample) in sums.iter_mut().zip(row(k)) {
                *sum += u16::from(sample);
            }
        }
        let mean = |block: &[u16]| ((block.iter().map(|&s| u32::from(s)).sum::<u32>() + area / 2) / area) as u8;
        data.extend(sums.chunks_exact(factor).map(mean));
    }
    Gray { width, height, data }
}
