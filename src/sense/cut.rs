//! Can a picture be the same camera's continuation of another? If not, there is a cut between them.

use std::collections::BTreeMap;

use super::homography::Homography;
use super::level::Pyramid;
use super::register::{Registrar, Registration};
use super::small::{CELL, CELLS_X, CELLS_Y, HEIGHT, Small, WIDTH};

/// Differences of a block up to this RMS (gray levels) are noise, compression and light. (This and the constants below
/// but where noted: measured on made films; the real cuts of the test suite hold with them.)
const BLOCK_NOISE: f32 = 9.0;
/// A block with a mean difference up to this is not searched for.
const STILL: f32 = 5.0;
/// A block that moved is looked for this many small-picture pixels around: a man runs that far between two frames.
const REACH: i32 = 5;
/// A break: 100 times the mean over blocks of the RMS that no movement explains, at least this.
pub const BREAK: f32 = 14.0;
/// A pair about 1/15 s apart with less than this before searching is not searched.
const NO_BREAK: f32 = 5.0;
/// A pair about 1/15 s apart may hold a cut from this break on (searched) ...
const SUSPECT: f32 = 10.0;
/// ... if it stands out by this factor of the second greatest among so many pairs on each side, so that another cut or a
/// flash beside it does not hide it. (Measured on made films: cuts 5.0 and more, 70 of 20,000 other pairs.)
const SUSPECT_STANDS_OUT: f32 = 2.5;
const SUSPECT_AROUND: usize = 2;
/// The break must stand out of its neighbors' by this factor ...
const STANDS_OUT: f32 = 6.0;
/// ... after this is added to them.
const NEIGHBOR_FLOOR: f32 = 3.0;
/// How many frames on each side are its neighbors.
const NEIGHBORS: usize = 3;
/// If the pictures some frames later continue the one before, with less than this share of the break, it was a flash.
const FLASH: f32 = 0.2;
/// Frames that the judgment of a frame needs before and after it.
pub const CONTEXT: u64 = NEIGHBORS as u64 + 1;

/// How badly the later picture of a registered pair continues the earlier one; `search` looks for blocks that moved.
pub fn discontinuity(later: &Pyramid, registrar: &Registrar, found: &Registration, search: bool) -> f32 {
    let target = &later.levels[0];
    let expected = &registrar.expected;
    let mut sum = 0.0;
    let mut blocks = 0;
    for by in 0..CELLS_Y {
        for bx in 0..CELLS_X {
            let (x0, y0) = (bx * CELL, by * CELL);
            let block = Block::at(&target.data, x0, y0);
            if Block::at(&registrar.covered, x0, y0).sum() < (CELL * CELL) as f32 {
                continue;
            }
            blocks += 1;
            let there = Block::at(&expected.data, x0, y0);
            if block.mean_difference(&there) <= STILL {
                continue;
            }
            let mut least = block.square_difference(&there);
            let enough = BLOCK_NOISE * BLOCK_NOISE * (CELL * CELL) as f32;
            if search && least > enough {
                least = searched(&block, &expected.data, x0 as i32, y0 as i32, least, enough);
            }
            sum += ((least / (CELL * CELL) as f32).sqrt() - BLOCK_NOISE).max(0.0);
        }
    }
    // A pair of which nearly nothing overlaps shows no continuity.
    if (blocks as f32) < 0.2 * (CELLS_X * CELLS_Y) as f32 || found.valid < 0.2 {
        return 100.0 * BLOCK_NOISE;
    }
    100.0 * sum / blocks as f32
}

fn searched(block: &Block, data: &[f32], x0: i32, y0: i32, mut least: f32, enough: f32) -> f32 {
    let side = CELL as i32;
    // From near to far: most men are found at once.
    for ring in 1..=REACH {
        for dy in -ring..=ring {
            let step = if dy.abs() == ring { 1 } else { 2 * ring };
            let mut dx = -ring;
            while dx <= ring {
                let (x, y) = (x0 + dx, y0 + dy);
                if x >= 0 && y >= 0 && x + side <= WIDTH as i32 && y + side <= HEIGHT as i32 {
                    least = least.min(block.square_difference(&Block::at(data, x as usize, y as usize)));
                }
                dx += step;
            }
        }
        if least <= enough {
            break;
        }
    }
    least
}

/// An 8x8 block of a full-size plane.
struct Block([[f32; CELL]; CELL]);

impl Block {
    fn at(data: &[f32], x: usize, y: usize) -> Self {
        let mut out = [[0.0; CELL]; CELL];
        for (k, row) in out.iter_mut().enumerate() {
            let from = (y + k) * WIDTH + x;
            row.copy_from_slice(&data[from..from + CELL]);
        }
        Self(out)
    }

    fn sum(&self) -> f32 {
        self.fold(&Self([[0.0; CELL]; CELL]), |d| d)
    }

    fn fold(&self, other: &Self, term: impl Fn(f32) -> f32) -> f32 {
        let mut sums = [0f32; CELL];
        for (a, b) in self.0.iter().zip(&other.0) {
            for l in 0..CELL {
                sums[l] += term(a[l] - b[l]);
            }
        }
        sums.iter().sum()
    }

    fn mean_difference(&self, other: &Self) -> f32 {
        self.fold(other, f32::abs) / (CELL * CELL) as f32
    }

    fn square_difference(&self, other: &Self) -> f32 {
        self.fold(other, |d| d * d)
    }
}

/// The exact test, on a window of frames; remembers what it measured.
#[derive(Debug)]
pub struct CutTest<'a> {
    /// Frames in order; what follows counts them by their place here, so that a damaged film may lack some.
    frames: &'a [&'a Small],
    registrar: Registrar,
    pyramids: BTreeMap<usize, Pyramid>,
    breaks: BTreeMap<(usize, usize), f32>,
}

impl<'a> CutTest<'a> {
    /// Over the frames of a window.
    pub fn new(frames: &'a [&'a Small]) -> Self {
        Self { frames, registrar: Registrar::default(), pyramids: BTreeMap::new(), breaks: BTreeMap::new() }
    }

    /// The break between two frames of the window, searched; 0 if one is not there.
    pub fn between(&mut self, earlier: usize, later: usize) -> f32 {
        if later >= self.frames.len() {
            return 0.0;
        }
        if let Some(&known) = self.breaks.get(&(earlier, later)) {
            return known;
        }
        for at in [earlier, later] {
            let small = self.frames[at];
            self.pyramids.entry(at).or_insert_with(|| Pyramid::of(small));
        }
        // Old pyramids go: the window only moves on.
        self.pyramids.retain(|&at, _| at + 3 * CONTEXT as usize >= earlier);
        let (a, b) = (&self.pyramids[&earlier], &self.pyramids[&later]);
        let found = self.registrar.register(b, a, &Homography::IDENTITY);
        let score = discontinuity(b, &self.registrar, &found, true);
        self.breaks.insert((earlier, later), score);
        score
    }

    /// Whether the frame at `t` begins a new shot.
    pub fn is_cut(&mut self, t: usize) -> bool {
        if t == 0 {
            return false;
        }
        let own = self.between(t - 1, t);
        if own < BREAK {
            return false;
        }
        let mut most = 0f32;
        for k in 1..=NEIGHBORS {
            if t > k {
                most = most.max(self.between(t - 1 - k, t - k));
            }
            most = most.max(self.between(t - 1 + k, t + k));
        }
        if own / (most + NEIGHBOR_FLOOR) < STANDS_OUT {
            return false;
        }
        // A flash passes, and the pictures before it and after it go on. One pair alone would kill real cuts by chance.
        let mut goes_on = |a: usize, b: usize| b < self.frames.len() && self.between(a, b) < FLASH * own;
        let flash_begins = (1..=2).any(|k| goes_on(t - 1, t + k) && goes_on(t - 1, t + k + 1));
        let flash_ends = (1..=2).any(|k| t >= k + 2 && goes_on(t - 1 - k, t) && goes_on(t - 2 - k, t));
        !flash_begins && !flash_ends
    }

    /// The break of a pair that is registered already: searched, unless it is so small that it holds no cut.
    pub fn pair(later: &Pyramid, registrar: &Registrar, found: &Registration) -> f32 {
        let plain = discontinuity(later, registrar, found, false);
        if plain < NO_BREAK { plain } else { discontinuity(later, registrar, found, true) }
    }

    /// Which of a row of pairs may hold a cut, by their breaks in order.
    pub fn suspects(breaks: &[f32]) -> Vec<bool> {
        (0..breaks.len())
            .map(|k| {
                let others =
                    (k.saturating_sub(SUSPECT_AROUND)..k).chain(k + 1..(k + 1 + SUSPECT_AROUND).min(breaks.len()));
                let mut others: Vec<f32> = others.map(|n| breaks[n]).collect();
                others.sort_by(|a, b| b.total_cmp(a));
                let most = others.get(1).or(others.first()).copied().unwrap_or(0.0);
                breaks[k] >= SUSPECT && breaks[k] >= SUSPECT_STANDS_OUT * (most + NEIGHBOR_FLOOR)
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pair_is_suspect_if_it_stands_out_of_its_surroundings() {
        let of = |breaks: &[f32]| CutTest::suspects(breaks).iter().map(|s| usize::from(*s)).collect::<Vec<_>>();
        assert_eq!(of(&[1.0, 2.0, 60.0, 2.0, 1.0]), [0, 0, 1, 0, 0]);
        // A shaken camera is no row of cuts; a flash beside a cut does not hide it.
        assert_eq!(of(&[40.0, 55.0, 60.0, 48.0, 52.0]), [0; 5]);
        assert_eq!(of(&[1.0, 70.0, 60.0, 1.0, 1.0]), [0, 1, 1, 0, 0]);
        assert_eq!(of(&[9.0]), [0]);
        assert_eq!(of(&[20.0]), [1]);
        assert_eq!(of(&[]), [0; 0]);
    }
}
