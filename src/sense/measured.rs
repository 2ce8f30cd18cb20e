//! One chunk's pictures to samples and cuts.

use super::cut::{CONTEXT, CutTest};
use super::gather::{LAG, Raw};
use super::homography::Homography;
use super::level::Pyramid;
use super::motion::Mover;
use super::register::Registrar;
use super::small::Small;
use crate::base::Result;
use crate::film::Film;

/// Parts with more than this many seconds between them by their own clocks (which tell whole seconds, at the start)
/// were not recorded without a break ...
const GAP: f64 = 3.0;
/// ... unless the pictures go on with less of a break than this.
const GOES_ON: f32 = 2.0;
/// Suspect pairs with no more than this many frames between them are looked at in one go: as many as decoding from a key
/// frame takes on average.
const TOGETHER: u64 = 15;

/// What is known of the borders between parts before looking.
#[derive(Debug, Default)]
pub struct Borders {
    /// First frames that are cuts whatever the picture.
    pub cuts: Vec<u64>,
    /// First frames after a gap in recording time: cuts unless the picture goes on.
    gaps: Vec<u64>,
}

impl Borders {
    /// Of a film.
    pub fn of(film: &Film) -> Self {
        let mut out = Self::default();
        for (pair, &start) in film.parts.windows(2).zip(film.starts().iter().skip(1)) {
            let (a, b) = (&pair[0], &pair[1]);
            let gap = match (a.recorded, b.recorded) {
                (Some(x), Some(y)) => (y - x) as f64 - a.seconds(),
                _ => 0.0,
            };
            if (a.width, a.height) != (b.width, b.height) {
                out.cuts.push(start);
            } else if gap > GAP {
                out.gaps.push(start);
            }
        }
        out
    }
}

/// What a chunk gave.
#[derive(Debug, Default)]
pub struct Measured {
    /// One for each picture, in order.
    pub samples: Vec<Raw>,
    /// First frames of shots, in order.
    pub cuts: Vec<u64>,
}

/// Gives every frame of the film from one up to but without another, made small.
pub type Exact<'a> = dyn FnMut(u64, u64) -> Result<Vec<Small>> + 'a;

/// Measures the pictures picked of a chunk. The first of them was measured as the last of the chunk before where that
/// `leads`; between two that do not continue one another every frame is asked of `exact`.
///
/// # Errors
/// Those of `exact`.
pub fn measured(picks: &[Small], leads: bool, borders: &Borders, exact: &mut Exact<'_>) -> Result<Measured> {
    let mut registrar = Registrar::default();
    let mut mover = Mover::default();
    let mut out = Measured::default();
    let (mut pairs, mut breaks) = (Vec::new(), Vec::new());
    let mut before: Option<(&Small, Pyramid)> = None;
    let mut map = Homography::IDENTITY;
    for small in picks {
        let pyramid = Pyramid::of(small);
        let mut raw = Raw {
            frame: small.frame,
            time: small.time,
            lag: LAG,
            found: None,
            cells: None,
            cb: small.cb.clone(),
            cr: small.cr.clone(),
        };
        if let Some((earlier, earlier_pyramid)) = &before {
            let found = registrar.register(&pyramid, earlier_pyramid, &map);
            map = if found.is_bad() { Homography::IDENTITY } else { found.map };
            pairs.push((earlier.frame, small.frame));
            breaks.push(CutTest::pair(&pyramid, &registrar, &found));
            raw.lag = small.time - earlier.time;
            raw.cells = Some(mover.cells(&pyramid, &registrar, &found));
            raw.found = Some(found);
        }
        if before.is_some() || !leads {
            out.samples.push(raw);
        }
        before = Some((small, pyramid));
    }
    let stands_out = CutTest::suspects(&breaks);
    let gap = |pair: &(u64, u64)| borders.gaps.iter().any(|g| pair.0 < *g && *g <= pair.1);
    let suspects: Vec<(u64, u64)> =
        pairs.into_iter().zip(stands_out).filter(|(pair, out)| *out || gap(pair)).map(|(pair, _)| pair).collect();
    let mut rest = &suspects[..];
    while let Some(&(first, _)) = rest.first() {
        let together = 1 + rest.windows(2).take_while(|w| w[1].0 <= w[0].1 + TOGETHER).count();
        let (these, others) = rest.split_at(together);
        rest = others;
        let last = these[together - 1].1;
        let window = exact(first.saturating_sub(CONTEXT), last + CONTEXT + 1)?;
        let frames: Vec<&Small> = window.iter().collect();
        let mut test = CutTest::new(&frames);
        for t in 1..frames.len() {
            let frame = frames[t].frame;
            if !these.iter().any(|(a, b)| *a < frame && frame <= *b) {
                continue;
            }
            let cut = if borders.gaps.contains(&frame) { test.between(t - 1, t) >= GOES_ON } else { test.is_cut(t) };
            if cut {
                out.cuts.push(frame);
            }
        }
    }
    Ok(out)
}
