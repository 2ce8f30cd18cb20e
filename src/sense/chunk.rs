//! A film in chunks that are measured apart from one another: by whichever core is free, and again only where a run was
//! broken off.

use crate::film::{Decode, Film, Part};

/// Seconds of film in a chunk, at least: each costs a seek and a key frame more.
const SECONDS: f64 = 15.0;
/// Pictures a second that others are predicted from, at least, if they alone are to be looked at: the snap is seen nearly
/// as well at 10 Hz as at 15 (measured on made films drawn from tracked movement).
const ENOUGH: f64 = 9.0;

/// Frames from `start` up to but without `end`; the pictures at both are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Chunk {
    /// First frame: one at which decoding can begin, unless the chunk is read in a row with those before.
    pub start: u64,
    /// First frame of the next chunk, or the film's end.
    pub end: u64,
    /// What the decoder may leave out.
    pub how: Decode,
}

/// Chunks that one core measures in a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Job {
    /// One that is reached by a seek.
    Leap(Chunk),
    /// Those of a part whose frames can only be counted from its beginning.
    Row(Vec<Chunk>),
}

impl Job {
    /// Its chunks in order.
    pub fn chunks(&self) -> &[Chunk] {
        match self {
            Self::Leap(chunk) => std::slice::from_ref(chunk),
            Self::Row(chunks) => chunks,
        }
    }
}

/// The jobs of a film in order. They depend on the film alone, so that any number of cores measures the same.
pub fn jobs(film: &Film) -> Vec<Job> {
    let mut out = Vec::new();
    for (part, &first) in film.parts.iter().zip(&film.starts()) {
        let index = &part.index;
        let by_seek = index.timed && index.keys.len() > 1;
        let enough = index.references as f64 >= ENOUGH * part.seconds();
        let how = if by_seek && enough { Decode::References } else { Decode::Exact };
        let mut starts = vec![0];
        let mut last = 0;
        let all: Vec<u64> = if by_seek { index.keys.clone() } else { (0..part.frames()).collect() };
        for k in all {
            if part.seconds_at(k) - part.seconds_at(last) >= SECONDS && part.frames() - k >= least(part) {
                starts.push(k);
                last = k;
            }
        }
        starts.push(part.frames());
        let chunks = starts.windows(2).map(|w| Chunk { start: first + w[0], end: first + w[1], how });
        if by_seek {
            out.extend(chunks.map(Job::Leap));
        } else {
            out.push(Job::Row(chunks.collect()));
        }
    }
    out
}

/// A chunk at a part's end is not shorter than a quarter of the others.
fn least(part: &Part) -> u64 {
    (0.25 * SECONDS * part.rate.hz()) as u64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Rate;
    use crate::film::scripted;

    #[test]
    fn chunks_begin_at_key_frames_and_leave_no_frame_out() {
        let mut sparse = scripted::part("a.mp4", 3000, Rate { num: 30, den: 1 });
        sparse.index.keys = (0..3000).step_by(250).collect();
        sparse.index.references = 1500;
        let counted = scripted::part("b.avi", 1000, Rate { num: 30, den: 1 });
        let mut few = scripted::part("c.mp4", 600, Rate { num: 25, den: 1 });
        few.index.keys = vec![0, 590];
        few.index.references = 150;
        let film = Film { parts: vec![sparse, counted, few], problems: vec![] };
        let jobs = jobs(&film);
        let all: Vec<Chunk> = jobs.iter().flat_map(|j| j.chunks().to_vec()).collect();
        assert_eq!((all[0].start, all.last().map(|c| c.end)), (0, Some(4600)));
        assert!(all.windows(2).all(|w| w[0].end == w[1].start));
        let leaps: Vec<u64> = jobs.iter().filter(|j| matches!(j, Job::Leap(_))).map(|j| j.chunks()[0].start).collect();
        // 3000 - 2750 frames are more than a quarter of 15 s; the key at 590 of 600 is too near the end.
        assert_eq!(leaps, [0, 500, 1000, 1500, 2000, 2500, 4000]);
        assert!(all.iter().all(|c| (c.how == Decode::References) == (c.start < 3000)), "{all:?}");
        assert_eq!(jobs.iter().filter(|j| matches!(j, Job::Row(_))).map(|j| j.chunks().len()).sum::<usize>(), 2);
    }
}
