//! Which play found now is which play found before, and what a new one is called. Pure judgment.

use std::collections::{BTreeMap, HashSet};

use crate::base::{FrameNo, FrameSpan};

/// Where a camera shows a play.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Sight {
    /// The camera.
    pub camera: i64,
    /// The film whose frames are meant.
    pub film: i64,
    /// The shot or the stretch of the long take.
    pub span: FrameSpan,
    /// The snap, if it was found.
    pub snap: Option<FrameNo>,
}

/// A play with its sights, and whether it is in the answers now.
#[derive(Debug, Clone, Default)]
pub(super) struct Known {
    /// One a camera.
    pub sights: Vec<Sight>,
    /// Whether it is live.
    pub live: bool,
}

/// Share of the shorter span that two looks at one play have in common at least. Our own choice: other settings move
/// a play's ends by a second or two of six or more; the plays before and after lie in other shots, or in a long take
/// some 25 s away.
const COMMON: f64 = 0.5;

/// For each new play the old one it is, if any. No old play is taken twice.
///
/// Two plays are one if a camera shows both in the same film in spans that have at least half of the shorter in common.
/// Where several fit (a shot was split or joined), the one that holds the other's snap goes first, then the larger
/// common part, then live ones. Where a film was replaced nothing can be compared: if no camera is left to tell by, its
/// plays are taken in order where their counts agree, and else none is. `old` has its live plays in film order.
pub(super) fn recognize(old: &[Known], new: &[Vec<Sight>]) -> Vec<Option<usize>> {
    let mut by_camera: BTreeMap<(i64, i64), Vec<(usize, Sight)>> = BTreeMap::new();
    for (index, known) in old.iter().enumerate() {
        for sight in &known.sights {
            by_camera.entry((sight.camera, sight.film)).or_default().push((index, *sight));
        }
    }
    let mut pairs: Vec<(usize, usize, bool, f64)> = Vec::new();
    let mut comparable = false;
    for (n, sights) in new.iter().enumerate() {
        for sight in sights {
            let Some(rivals) = by_camera.get(&(sight.camera, sight.film)) else { continue };
            comparable = true;
            for (o, rival) in rivals {
                let start = sight.span.start.max(rival.span.start);
                let end = sight.span.end.min(rival.span.end);
                let common = end.0.saturating_sub(start.0) as f64;
                let shorter = sight.span.len().min(rival.span.len()).max(1) as f64;
                if common < COMMON * shorter {
                    continue;
                }
                let longer = sight.span.len().max(rival.span.len()).max(1) as f64;
                let holds =
                    rival.snap.is_some_and(|s| sight.span.holds(s)) && sight.snap.is_none_or(|s| rival.span.holds(s));
                pairs.push((n, *o, holds, common / longer));
            }
        }
    }
    let mut found = vec![None; new.len()];
    if !comparable {
        let looked_at = |s: &Sight| new.iter().flatten().any(|n| n.camera == s.camera);
        let rivals: Vec<usize> =
            (0..old.len()).filter(|o| old[*o].live && old[*o].sights.iter().any(looked_at)).collect();
        if rivals.len() == new.len() {
            found = rivals.into_iter().map(Some).collect();
        }
        return found;
    }
    pairs.sort_by(|a, b| {
        let live = old[b.1].live.cmp(&old[a.1].live);
        b.2.cmp(&a.2).then(b.3.total_cmp(&a.3)).then(live).then((a.0, a.1).cmp(&(b.0, b.1)))
    });
    let mut taken = vec![false; old.len()];
    for (n, o, _, _) in pairs {
        if found[n].is_none() && !taken[o] {
            found[n] = Some(o);
            taken[o] = true;
        }
    }
    found
}

/// Labels of a game's plays in film order, where `None` has none yet. `ever` are all labels the game has ever given.
///
/// After the last labeled play the numbers go on; before or between labeled plays a new one takes the number of the
/// play before it and the first free letter: 17a, then 17b (0a before the first).
pub(super) fn label_all(in_order: &[Option<String>], ever: &HashSet<String>) -> Vec<String> {
    let mut ever = ever.clone();
    let mut highest = ever.iter().map(|l| number_of(l)).max().unwrap_or(0);
    let last_labeled = in_order.iter().rposition(Option::is_some);
    let mut before = 0;
    let mut labels = Vec::with_capacity(in_order.len());
    for (k, label) in in_order.iter().enumerate() {
        let label = match label {
            Some(label) => label.clone(),
            None if last_labeled.is_none_or(|last| k > last) => {
                highest += 1;
                highest.to_string()
            }
            None => {
                let mut count = 1;
                loop {
                    let label = format!("{before}{}", letters(count));
                    if !ever.contains(&label) {
                        break label;
                    }
                    count += 1;
                }
            }
        };
        before = number_of(&label);
        ever.insert(label.clone());
        labels.push(label);
    }
    labels
}

/// The digits at a label's start as a number.
pub(super) fn number_of(label: &str) -> u32 {
    let digits = label.len() - label.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    label[..digits].parse().unwrap_or(0)
}

/// A label as a file name's stem: at least three digits, so that a folder lists plays in order: 017, 017a.
pub(super) fn file_stem(label: &str) -> String {
    let digits = label.len() - label.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    format!("{:0>3}{}", &label[..digits], &label[digits..])
}

/// a, b ... z, aa, ab ...: the letters of 1, 2 ...
fn letters(mut count: u32) -> String {
    let mut word = Vec::new();
    while count > 0 {
        count -= 1;
        word.push(char::from(b'a' + (count % 26) as u8));
        count /= 26;
    }
    word.iter().rev().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sight(camera: i64, start: u64, end: u64) -> Sight {
        Sight { camera, film: camera, span: FrameSpan::of(start, end), snap: None }
    }

    fn known(sights: Vec<Sight>) -> Known {
        Known { sights, live: true }
    }

    fn labels(in_order: &[&str], ever: &[&str]) -> Vec<String> {
        let in_order: Vec<_> = in_order.iter().map(|l| (!l.is_empty()).then(|| l.to_string())).collect();
        let ever = ever.iter().map(|l| l.to_string()).collect();
        label_all(&in_order, &ever)
    }

    #[test]
    fn labels_are_given_once_and_never_shift() {
        let cases: &[(&[&str], &[&str], &[&str])] = &[
            (&["", "", ""], &[], &["1", "2", "3"]),
            (&["1", "2", "3"], &["1", "2", "3"], &["1", "2", "3"]),
            (&["17", "", "18"], &["17", "18"], &["17", "17a", "18"]),
            (&["17", "", "", "18"], &["17", "18"], &["17", "17a", "17b", "18"]),
            (&["17", "", "17a", "18"], &["17", "17a", "18"], &["17", "17b", "17a", "18"]),
            (&["", "1", "2"], &["1", "2"], &["0a", "1", "2"]),
            (&["1", "2", "", ""], &["1", "2"], &["1", "2", "3", "4"]),
            // 3 was given once to what is no longer found.
            (&["1", "2", ""], &["1", "2", "3"], &["1", "2", "4"]),
            (&["1", "", "4"], &["1", "1a", "2", "3", "4"], &["1", "1b", "4"]),
        ];
        for (in_order, ever, want) in cases {
            assert_eq!(labels(in_order, ever), *want, "{in_order:?} after {ever:?}");
        }
    }

    #[test]
    fn letters_go_on_after_z() {
        assert_eq!([1, 26, 27, 52, 53, 702, 703].map(letters), ["a", "z", "aa", "az", "ba", "zz", "aaa"]);
    }

    #[test]
    fn file_names_list_in_order() {
        assert_eq!(["1", "17a", "204", "1204", "0a"].map(file_stem), ["001", "017a", "204", "1204", "000a"]);
    }

    #[test]
    fn moved_ends_are_the_same_play_and_the_next_shot_is_not() {
        let old = vec![known(vec![sight(1, 0, 100)]), known(vec![sight(1, 100, 200)]), known(vec![sight(1, 200, 300)])];
        let new = vec![vec![sight(1, 10, 90)], vec![sight(1, 90, 200)], vec![sight(1, 300, 400)]];
        assert_eq!(recognize(&old, &new), vec![Some(0), Some(1), None]);
    }

    #[test]
    fn a_camera_that_comes_later_changes_nothing() {
        let old = vec![known(vec![sight(1, 0, 100)]), known(vec![sight(1, 100, 200)])];
        let new = vec![vec![sight(2, 0, 80)], vec![sight(1, 0, 100), sight(2, 80, 150)], vec![sight(1, 100, 200)]];
        assert_eq!(recognize(&old, &new), vec![None, Some(0), Some(1)]);
    }

    #[test]
    fn of_a_split_shot_the_piece_with_the_snap_keeps_the_label() {
        let snap = Some(FrameNo(70));
        let old = vec![known(vec![Sight { snap, ..sight(1, 0, 100) }])];
        let new = vec![vec![sight(1, 0, 60)], vec![Sight { snap, ..sight(1, 60, 100) }]];
        assert_eq!(recognize(&old, &new), vec![None, Some(0)]);
    }

    #[test]
    fn a_replaced_film_is_joined_by_order_only_where_the_counts_agree() {
        let old = vec![known(vec![sight(1, 0, 100)]), known(vec![sight(1, 100, 200)])];
        let other = |start, end| vec![Sight { film: 9, ..sight(1, start, end) }];
        assert_eq!(recognize(&old, &[other(5, 90), other(120, 210)]), vec![Some(0), Some(1)]);
        assert_eq!(recognize(&old, &[other(0, 100), other(100, 200), other(200, 300)]), vec![None; 3]);
        // Another camera is still there to tell by.
        let mut both = old.clone();
        both[1].sights.push(sight(2, 0, 50));
        let new = vec![[other(0, 100), vec![sight(2, 0, 50)]].concat(), other(100, 200)];
        assert_eq!(recognize(&both, &new), vec![Some(1), None]);
        // A camera that was not there before is not one that was replaced.
        assert_eq!(recognize(&old, &[vec![sight(3, 0, 100)], vec![sight(3, 100, 200)]]), vec![None; 2]);
        // What no longer is a play, and what the replaced camera never showed, does not count.
        both[0].live = false;
        both.push(known(vec![sight(2, 50, 90)]));
        assert_eq!(recognize(&both, &[other(0, 100)]), vec![Some(1)]);
    }
}
