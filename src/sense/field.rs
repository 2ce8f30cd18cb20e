//! Which cells show the field, and which a person who crossed the lens.

use super::small::{CELLS, CELLS_X, CELLS_Y};

/// A cell is field if its chroma is nearer than this to the dominant one. (Constants of this file: measured on made
/// films drawn from tracked movement.)
const CHROMA_NEAR: i32 = 11;
/// The picture's upper quarter is stands as often as field: the dominant chroma is taken below it.
const TOP: usize = CELLS_Y / 4;
/// With less field than this, all cells are used.
const LEAST_FIELD: f32 = 0.3;
/// The field's upper edge is the median over so many samples ...
pub const MEDIAN_SAMPLES: usize = 9;
/// ... and columns.
const MEDIAN_COLUMNS: usize = 7;
/// A person at the lens: taller than this share of the picture,
const PERSON_TALL: f32 = 0.28;
/// narrower than this,
const PERSON_WIDE: f32 = 0.34;
/// and filling this share of its box.
const PERSON_FILL: f32 = 0.5;
/// Chroma is counted in bins this wide.
const BIN: usize = 4;
const BINS: usize = 256 / BIN;

/// Counts chroma over the samples in view, for the dominant one.
#[derive(Debug)]
pub struct ChromaCount {
    counts: Vec<u32>,
}

impl Default for ChromaCount {
    fn default() -> Self {
        Self { counts: vec![0; BINS * BINS] }
    }
}

impl ChromaCount {
    /// Counts a sample in.
    pub fn add(&mut self, cb: &[u8], cr: &[u8]) {
        for (u, v) in lower(cb, cr) {
            self.counts[bin(u, v)] += 1;
        }
    }

    /// Counts it out again.
    pub fn remove(&mut self, cb: &[u8], cr: &[u8]) {
        for (u, v) in lower(cb, cr) {
            let n = &mut self.counts[bin(u, v)];
            *n = n.saturating_sub(1);
        }
    }

    /// The dominant chroma: the mean of the 3x3 bins that hold most.
    pub fn dominant(&self) -> (i32, i32) {
        let at = |x: usize, y: usize| self.counts[y * BINS + x];
        let mut best = (0, 128 / BIN, 128 / BIN);
        for y in 1..BINS - 1 {
            for x in 1..BINS - 1 {
                if at(x, y) == 0 {
                    continue;
                }
                let sum: u32 = (0..9).map(|k| at(x + k % 3 - 1, y + k / 3 - 1)).sum();
                if sum > best.0 {
                    best = (sum, x, y);
                }
            }
        }
        let (n, x, y) = best;
        if n == 0 {
            return (128, 128);
        }
        let mut sums = (0, 0);
        for k in 0..9 {
            let (bx, by) = (x + k % 3 - 1, y + k / 3 - 1);
            sums.0 += at(bx, by) as usize * (bx * BIN + BIN / 2);
            sums.1 += at(bx, by) as usize * (by * BIN + BIN / 2);
        }
        ((sums.0 / n as usize) as i32, (sums.1 / n as usize) as i32)
    }
}

fn lower<'a>(cb: &'a [u8], cr: &'a [u8]) -> impl Iterator<Item = (u8, u8)> + 'a {
    cb.iter().copied().zip(cr.iter().copied()).skip(TOP * CELLS_X)
}

fn bin(u: u8, v: u8) -> usize {
    usize::from(v) / BIN * BINS + usize::from(u) / BIN
}

/// Which cells have the field's chroma.
pub fn turf(cb: &[u8], cr: &[u8], dominant: (i32, i32)) -> Vec<bool> {
    cb.iter()
        .zip(cr)
        .map(|(&u, &v)| {
            let (du, dv) = (i32::from(u) - dominant.0, i32::from(v) - dominant.1);
            du * du + dv * dv < CHROMA_NEAR * CHROMA_NEAR
        })
        .collect()
}

/// The row of each column at which the field begins: the topmost two stacked field cells; [`CELLS_Y`] for none.
pub fn edge(turf: &[bool]) -> [u8; CELLS_X] {
    std::array::from_fn(|x| {
        (0..CELLS_Y - 1)
            .find(|&y| turf.get(y * CELLS_X + x) == Some(&true) && turf.get((y + 1) * CELLS_X + x) == Some(&true))
            .unwrap_or(CELLS_Y) as u8
    })
}

/// The mask of cells that count, from the turf of the pair's pictures (later, earlier) and the edges of the samples around
/// it, and the share of the picture that is field. A person at the lens crosses several cells between the two: where he
/// was counts as little as where he is.
pub fn mask(turf: [&[bool]; 2], edges: &[[u8; CELLS_X]]) -> (Vec<bool>, f32) {
    let mut out = vec![false; CELLS];
    let mut around = Vec::with_capacity(MEDIAN_SAMPLES * MEDIAN_COLUMNS);
    for x in 0..CELLS_X {
        around.clear();
        let from = x.saturating_sub(MEDIAN_COLUMNS / 2);
        let to = (x + MEDIAN_COLUMNS / 2 + 1).min(CELLS_X);
        for edge in edges {
            around.extend_from_slice(&edge[from..to]);
        }
        around.sort_unstable();
        let top = around.get(around.len() / 2).copied().unwrap_or(0);
        for y in usize::from(top)..CELLS_Y {
            out[y * CELLS_X + x] = true;
        }
    }
    let field = out.iter().filter(|&&f| f).count() as f32 / CELLS as f32;
    if field < LEAST_FIELD {
        out.fill(true);
    }
    let whole = out.clone();
    for turf in turf {
        drop_person(&mut out, &whole, turf);
    }
    (out, field)
}

/// Takes a person at the lens out of the mask: a narrow, tall, filled blob that stands on the picture's lower edge. Looks
/// no higher than the field (`whole`): a head that reaches the stands would be one with them.
fn drop_person(mask: &mut [bool], whole: &[bool], turf: &[bool]) {
    let covers = |k: usize| turf.get(k) == Some(&false) && whole.get(k) == Some(&true);
    let mut seen = vec![false; CELLS];
    for start in (CELLS_Y - 1) * CELLS_X..CELLS {
        if !covers(start) || seen[start] {
            continue;
        }
        let mut blob = vec![start];
        seen[start] = true;
        let mut next = 0;
        while let Some(&at) = blob.get(next) {
            next += 1;
            let (x, y) = (at % CELLS_X, at / CELLS_X);
            let around = [
                (x > 0).then(|| at - 1),
                (x + 1 < CELLS_X).then_some(at + 1),
                (y > 0).then(|| at - CELLS_X),
                (y + 1 < CELLS_Y).then_some(at + CELLS_X),
            ];
            for n in around.into_iter().flatten() {
                if covers(n) && !seen[n] {
                    seen[n] = true;
                    blob.push(n);
                }
            }
        }
        let xs = || blob.iter().map(|at| at % CELLS_X);
        let (left, right) = (xs().min().unwrap_or(0), xs().max().unwrap_or(0));
        let top = blob.iter().map(|at| at / CELLS_X).min().unwrap_or(0);
        let (wide, tall) = (right - left + 1, CELLS_Y - top);
        if tall as f32 > PERSON_TALL * CELLS_Y as f32
            && (wide as f32) < PERSON_WIDE * CELLS_X as f32
            && blob.len() as f32 > PERSON_FILL * (wide * tall) as f32
        {
            // With a cell of margin: a person's edge moves too.
            for at in blob {
                let (x, y) = (at % CELLS_X, at / CELLS_X);
                for k in x.saturating_sub(1)..=(x + 1).min(CELLS_X - 1) {
                    mask[y * CELLS_X + k] = false;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn turf_with(other: impl Fn(usize, usize) -> bool) -> Vec<bool> {
        (0..CELLS).map(|k| !other(k % CELLS_X, k / CELLS_X)).collect()
    }

    #[test]
    fn stands_above_are_no_field_and_men_inside_are() {
        let turf = turf_with(|x, y| y < 5 || (x == 10 && y == 9));
        let (mask, field) = mask([&turf; 2], &[edge(&turf); 3]);
        assert!((field - 11.0 / 16.0).abs() < 1e-6, "{field}");
        assert!(!mask[4 * CELLS_X + 3] && mask[5 * CELLS_X + 3] && mask[9 * CELLS_X + 10]);
    }

    #[test]
    fn a_person_at_the_lens_is_left_out_and_a_wide_crowd_is_not() {
        let person = turf_with(|x, y| y < 3 || ((12..17).contains(&x) && y > 6));
        let before = turf_with(|x, y| y < 3 || ((8..13).contains(&x) && y > 6));
        let (with, _) = mask([&person, &before], &[edge(&person); 3]);
        assert!(!with[10 * CELLS_X + 14] && with[10 * CELLS_X + 20] && with[5 * CELLS_X + 14]);
        assert!(!with[10 * CELLS_X + 9] && with[10 * CELLS_X + 5], "where he was");
        // A head before the stands.
        let tall = turf_with(|x, y| y < 3 || (12..17).contains(&x));
        let (with, _) = mask([&tall; 2], &[edge(&turf_with(|_, y| y < 3)); 3]);
        assert!(!with[10 * CELLS_X + 14] && !with[4 * CELLS_X + 14] && with[10 * CELLS_X + 20]);
        let crowd = turf_with(|x, y| y < 3 || (x < 20 && y > 6));
        let (with, _) = mask([&crowd; 2], &[edge(&crowd); 3]);
        assert!(with[10 * CELLS_X + 10]);
    }

    #[test]
    fn dominant_chroma_is_the_turfs() {
        let mut count = ChromaCount::default();
        let cb = vec![101; CELLS];
        let mut cr = vec![112; CELLS];
        for v in cr.iter_mut().step_by(3) {
            *v = 180;
        }
        count.add(&cb, &cr);
        let (u, v) = count.dominant();
        assert!((u - 101).abs() <= 2 && (v - 112).abs() <= 2, "{u} {v}");
        count.remove(&cb, &cr);
        assert_eq!(count.dominant(), (128, 128));
    }
}
