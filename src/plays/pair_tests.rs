//! Which shots come together, on typed cameras.

use super::*;
use crate::base::{FrameNo, FrameSpan, Rate};
use crate::film::{Angle, Evidence, Shot, ShotKind, Sighting, scripted};

/// A camera whose shots are 10 s each and show the plays of the given numbers; live for `length(number)`.
fn camera(numbers: &[u32], angle: Angle) -> (Film, Found) {
    let film = Film {
        parts: vec![scripted::part("a.mp4", 300 * numbers.len() as u64, Rate { num: 30, den: 1 })],
        problems: vec![],
    };
    let mut found = Found::default();
    for (k, &number) in numbers.iter().enumerate() {
        let from = k as u64 * 300;
        found.shots.push(Shot { span: FrameSpan::of(from, from + 300), kind: ShotKind::Play, angle });
        let at = |t: f64| Some(Sighting { frame: FrameNo((t * 30.0) as u64), time: t, confidence: 0.9 });
        let snap = k as f64 * 10.0 + 3.0;
        let length = 3.0 + f64::from(number * 7 % 5) * 0.8;
        found.plays.push(Play {
            shot: k,
            span: FrameSpan::of(from, from + 300),
            set: None,
            snap: at(snap),
            whistle: at(snap + length),
            by: Evidence::PictureAndSound,
            doubt: None,
        });
    }
    (film, found)
}

/// Which of the shots of 10 s a stretch is.
fn number(stretch: Stretch) -> usize {
    (stretch.1.start.0 / 300) as usize
}

fn numbers_paired(a: &[u32], b: &[u32], sound: bool) -> Vec<(Option<u32>, Option<u32>, PairedBy)> {
    let (fa, a_found) = camera(a, Angle::Sideline);
    let (fb, b_found) = camera(b, Angle::EndZone);
    let cameras = [Camera { film: &fa, found: &a_found }, Camera { film: &fb, found: &b_found }];
    let mut asked = 0;
    let mut listen = |x: Stretch, y: Stretch| {
        asked += 1;
        let same = a[number(x)] == b[number(y)];
        sound.then_some(Heard { ratio: if same { 7.0 } else { 1.2 }, lag: 0.5 })
    };
    let game = pair(&cameras, &mut listen);
    assert!(asked <= 6 * (a.len() + b.len()), "{asked} pairs were listened to");
    game.iter()
        .map(|p| {
            let of = |c: usize, n: &[u32]| p.takes[c].as_ref().map(|t| n[t.shot]);
            (of(0, a), of(1, b), p.by)
        })
        .collect()
}

#[test]
fn sound_pairs_cameras_that_each_missed_plays() {
    let a: Vec<u32> = (1..30).filter(|n| ![4, 17].contains(n)).collect();
    let b: Vec<u32> = (1..30).filter(|n| ![9, 10, 22].contains(n)).collect();
    for (x, y, by) in numbers_paired(&a, &b, true) {
        match (x, y) {
            (Some(x), Some(y)) => assert!(x == y && by == PairedBy::Sound, "{x} with {y}"),
            (Some(x), None) => assert!([9, 10, 22].contains(&x), "{x} alone"),
            (None, Some(y)) => assert!([4, 17].contains(&y), "{y} alone"),
            (None, None) => panic!("a play of no camera"),
        }
    }
}

#[test]
fn equal_counts_with_different_plays_missing_are_not_paired_by_order_against_the_sound() {
    let a: Vec<u32> = (1..20).filter(|n| *n != 5).collect();
    let b: Vec<u32> = (1..20).filter(|n| *n != 12).collect();
    let game = numbers_paired(&a, &b, true);
    assert!(game.iter().all(|(x, y, _)| x.is_none() || y.is_none() || x == y), "{game:?}");
    assert_eq!(game.iter().filter(|(x, y, _)| x.is_some() && x == y).count(), 17);
}

#[test]
fn without_sound_equal_counts_go_by_order_and_others_by_length_with_a_doubt() {
    let all: Vec<u32> = (1..15).collect();
    assert!(numbers_paired(&all, &all, false).iter().all(|(x, y, by)| x == y && *by == PairedBy::Order));
    let fewer: Vec<u32> = (1..15).filter(|n| *n != 7).collect();
    let game = numbers_paired(&all, &fewer, false);
    assert!(game.iter().any(|(x, y, _)| *x == Some(7) && y.is_none()), "{game:?}");
    assert!(game.iter().all(|(_, _, by)| *by != PairedBy::Order && *by != PairedBy::Sound));
}

#[test]
fn a_play_that_one_camera_missed_needs_no_look_but_two_left_over_side_by_side_do() {
    let doubted = |a: &[u32], b: &[u32], sound: bool| {
        let (fa, a_found) = camera(a, Angle::Sideline);
        let (fb, b_found) = camera(b, Angle::EndZone);
        let cameras = [Camera { film: &fa, found: &a_found }, Camera { film: &fb, found: &b_found }];
        let game = pair(&cameras, &mut |x, y| {
            sound.then(|| Heard { ratio: if a[number(x)] == b[number(y)] { 7.0 } else { 1.2 }, lag: 0.5 })
        });
        game.iter().filter(|p| p.doubt.is_some()).count()
    };
    assert_eq!(doubted(&[1, 2, 3, 4, 5], &[1, 2, 4, 5], true), 0);
    // One each between the same neighbors: perhaps they are one play that the sound did not tell.
    assert_eq!(doubted(&[1, 2, 3, 5], &[1, 2, 4, 5], true), 2);
    assert_eq!(doubted(&[1, 2, 3], &[7, 8, 9], true), 6);
    assert!(doubted(&[1, 2, 3, 4, 5], &[1, 2, 4, 5], false) > 0);
}

#[test]
fn one_camera_is_a_game_by_itself() {
    let (film, found) = camera(&[1, 2], Angle::Unknown);
    let game = pair(&[Camera { film: &film, found: &found }], &mut |_, _| None);
    assert_eq!(game.len(), 2);
    assert!(game.iter().all(|p| p.doubt.is_none()));
    assert_eq!(pair(&[], &mut |_, _| None), []);
}

/// As `camera`, with other lengths: pieces of plays by (number, seconds from the play's start, seconds).
fn pieces(list: &[(u32, f64, f64)], angle: Angle) -> (Film, Found) {
    let frames: u64 = list.iter().map(|p| (p.2 * 30.0) as u64).sum();
    let film = Film { parts: vec![scripted::part("p.mp4", frames, Rate { num: 30, den: 1 })], problems: vec![] };
    let mut found = Found::default();
    let mut from = 0.0;
    for (k, &(number, begins, seconds)) in list.iter().enumerate() {
        let span = FrameSpan::of((from * 30.0) as u64, ((from + seconds) * 30.0) as u64);
        found.shots.push(Shot { span, kind: ShotKind::Play, angle });
        let at = |t: f64| {
            let t = t - begins;
            let time = from + t;
            (0.0..seconds).contains(&t).then(|| Sighting { frame: film.frame_at(time), time, confidence: 0.9 })
        };
        let (snap, whistle) = (at(4.0), at(8.0 + f64::from(number % 3)));
        let play = Play { shot: k, span, set: None, snap, whistle, by: Evidence::Picture, doubt: None };
        found.plays.push(play);
        from += seconds;
    }
    (film, found)
}

/// Pairs pieces with a full sideline; gives for each play of the game what each camera shows, and the doubt.
fn ragged(list: &[(u32, f64, f64)], swap: bool) -> Vec<(Option<usize>, Option<usize>, Option<String>)> {
    let whole: Vec<(u32, f64, f64)> = (1..=5).map(|n| (n, 0.0, 14.0)).collect();
    let ((fa, a), (fb, b)) = (pieces(&whole, Angle::Sideline), pieces(list, Angle::EndZone));
    let mut cameras = [Camera { film: &fa, found: &a }, Camera { film: &fb, found: &b }];
    let mut lists = [whole.as_slice(), list];
    if swap {
        cameras.reverse();
        lists.reverse();
    }
    let which = |(c, span): Stretch| cameras[c].found.plays.iter().position(|p| p.span == span).unwrap();
    let mut listen = |x: Stretch, y: Stretch| {
        let (p, q) = (lists[x.0][which(x)], lists[y.0][which(y)]);
        Some(Heard { ratio: if p.0 == q.0 { 6.8 } else { 1.2 }, lag: p.1 - q.1 })
    };
    pair(&cameras, &mut listen)
        .into_iter()
        .map(|p| {
            let shot = |c: usize| p.takes.get(c).cloned().flatten().map(|t| t.shot);
            (shot(0), shot(1), p.doubt)
        })
        .collect()
}

#[test]
fn a_piece_of_a_play_is_neither_lost_nor_paired_with_the_next() {
    // The end zone was restarted in play 2 before the snap, in play 4 after it, and never saw play 3.
    let list = [(1, 0.0, 14.0), (2, 0.0, 2.5), (2, 3.0, 11.0), (4, 0.0, 6.0), (4, 6.5, 7.0), (5, 0.0, 14.0)];
    for swap in [false, true] {
        let game = ragged(&list, swap);
        let of = |side: usize, end: usize| {
            game.iter().position(|p| {
                if swap { (p.0, p.1) == (Some(end), Some(side)) } else { (p.0, p.1) == (Some(side), Some(end)) }
            })
        };
        // Paired are the pieces that hold the snap.
        for (side, end) in [(0, 0), (1, 2), (3, 3), (4, 5)] {
            assert!(of(side, end).is_some(), "{side} with {end}: {game:?}");
        }
        let mut shown: Vec<usize> = game.iter().filter_map(|p| if swap { p.0 } else { p.1 }).collect();
        shown.sort_unstable();
        assert_eq!(shown, [0, 1, 2, 3, 4, 5], "{game:?}");
        let doubts = |why: &str| game.iter().filter(|p| p.2.as_deref() == Some(why)).count();
        assert_eq!((doubts(PIECE), doubts(RESTARTED)), (2, 2), "{game:?}");
    }
}

#[test]
fn a_microphone_that_hears_nothing_of_the_game_does_not_part_the_cameras() {
    let all: Vec<u32> = (1..9).collect();
    let ((fa, a), (fb, b)) = (camera(&all, Angle::Sideline), camera(&all, Angle::EndZone));
    let cameras = [Camera { film: &fa, found: &a }, Camera { film: &fb, found: &b }];
    let game = pair(&cameras, &mut |_, _| Some(Heard { ratio: 1.2, lag: 3.0 }));
    assert_eq!(game.len(), 8);
    assert!(game.iter().all(|p| p.takes.iter().all(Option::is_some) && p.doubt.is_some()), "{game:?}");
}

#[test]
fn a_woven_films_cameras_take_turns_also_without_sound() {
    let all: Vec<u32> = (1..=9).collect();
    let (film, found) = camera(&all, Angle::Sideline);
    // Sideline, end zone and so on; the end zone missed the play of the fifth shot.
    let of = |shots: &[usize]| Found {
        shots: found.shots.clone(),
        plays: shots.iter().map(|&k| found.plays[k].clone()).collect(),
        tail: None,
    };
    let (a, b) = (of(&[0, 2, 4, 5, 7]), of(&[1, 3, 6, 8]));
    let cameras = [Camera { film: &film, found: &a }, Camera { film: &film, found: &b }];
    let game = pair(&cameras, &mut |_, _| None);
    let shots: Vec<Vec<Option<usize>>> =
        game.iter().map(|p| (0..2).map(|c| p.takes.get(c).cloned().flatten().map(|t| t.shot)).collect()).collect();
    let pair = |a, b| vec![Some(a), Some(b)];
    assert_eq!(shots, [pair(0, 1), pair(2, 3), vec![Some(4), None], pair(5, 6), pair(7, 8)]);
    assert!(game.iter().filter(|p| p.takes.iter().all(Option::is_some)).all(|p| p.by == PairedBy::Order));
}

/// A shot: when it begins on the game's clock, how long it runs, and when the play that was found in it was snapped and
/// over, from its start.
type Timed = (f64, f64, Option<(f64, f64)>);

/// A camera by its shots.
fn cut(shots: &[Timed], angle: Angle) -> (Film, Found) {
    let frames = |seconds: f64| (seconds * 30.0).round() as u64;
    let total: f64 = shots.iter().map(|s| s.1).sum();
    let film =
        Film { parts: vec![scripted::part("a.mp4", frames(total), Rate { num: 30, den: 1 })], problems: Vec::new() };
    let mut found = Found::default();
    let mut from = 0.0;
    for (shot, (_, seconds, play)) in shots.iter().enumerate() {
        let span = FrameSpan::of(frames(from), frames(from + seconds));
        let at = |t: f64| Sighting { frame: FrameNo(frames(from + t)), time: from + t, confidence: 0.9 };
        let (snap, whistle) = (play.map(|p| at(p.0)), play.map(|p| at(p.1)));
        found.shots.push(Shot { span, kind: ShotKind::Play, angle });
        let by = Evidence::PictureAndSound;
        found.plays.push(Play { shot, span, set: None, snap, whistle, by, doubt: None });
        from += seconds;
    }
    (film, found)
}

/// Two cameras paired, whose microphones hear the same where their shots overlap by a second on the game's clock.
fn heard_apart(shots: [&[Timed]; 2]) -> Vec<GamePlay> {
    let [a, b] = [cut(shots[0], Angle::Sideline), cut(shots[1], Angle::EndZone)];
    let films = [&a, &b];
    let clock = |stretch: Stretch| {
        let (film, found) = films[stretch.0];
        let shot = found.shots.iter().position(|s| s.span == stretch.1).unwrap();
        let from = shots[stretch.0][shot].0;
        (from, from + film.time(stretch.1.end) - film.time(stretch.1.start))
    };
    let mut listen = |x: Stretch, y: Stretch| {
        let (x, y) = (clock(x), clock(y));
        let same = x.1.min(y.1) - x.0.max(y.0) > 1.0;
        Some(Heard { ratio: if same { 7.0 } else { 1.2 }, lag: x.0 - y.0 })
    };
    pair(&[Camera { film: &a.0, found: &a.1 }, Camera { film: &b.0, found: &b.1 }], &mut listen)
}

#[test]
fn a_shot_that_runs_on_through_two_plays_is_divided_between_them() {
    let one = Some((4.0, 9.0));
    // The first camera was not stopped between the second play and the third, and only one of them was found.
    for found in [Some((4.0, 9.0)), Some((24.0, 29.0))] {
        let ran_on: &[_] = &[(0.0, 12.0, one), (40.0, 32.0, found), (110.0, 12.0, one)];
        let cut_by_play: &[_] = &[(0.0, 12.0, one), (40.0, 11.0, one), (60.0, 11.0, one), (110.0, 12.0, one)];
        for turned in [false, true] {
            let game = heard_apart(if turned { [cut_by_play, ran_on] } else { [ran_on, cut_by_play] });
            assert_eq!(game.len(), 4, "{game:?}");
            let takes: Vec<&Play> = game.iter().map(|p| p.takes[usize::from(turned)].as_ref().unwrap()).collect();
            assert_eq!(takes.iter().map(|t| t.shot).collect::<Vec<_>>(), [0, 1, 1, 2]);
            // Nothing of the shot is lost, nothing is shown twice.
            assert_eq!((takes[1].span.start.0, takes[2].span.end.0), (360, 1320));
            assert_eq!(takes[1].span.end, takes[2].span.start);
            let snaps: Vec<f64> = takes[1..3].iter().map(|t| t.snap.unwrap().time).collect();
            assert!((snaps[0] - 16.0).abs() < 0.01 && (snaps[1] - 36.0).abs() < 0.01, "{snaps:?}");
            assert!(takes[1..3].iter().all(|t| t.span.holds(t.snap.unwrap().frame)));
            assert!(takes[1..3].iter().all(|t| t.doubt.as_deref().is_some_and(|d| d.contains(RAN_ON))));
            assert!(game.iter().all(|p| p.by == PairedBy::Sound && p.doubt.is_none()), "{game:?}");
        }
    }
}

#[test]
fn a_camera_back_within_seconds_was_restarted_in_mid_play_and_did_not_come_back_for_the_next() {
    let one = Some((4.0, 9.0));
    let game = heard_apart([
        &[(0.0, 12.0, one), (40.0, 14.0, Some((5.0, 11.0))), (110.0, 12.0, one)],
        &[(0.0, 12.0, one), (40.0, 7.0, Some((5.0, 6.9))), (48.0, 5.0, None), (110.0, 12.0, one)],
    ]);
    let doubts: Vec<Option<&str>> = game.iter().map(|p| p.doubt.as_deref()).collect();
    assert_eq!(doubts, [None, Some(RESTARTED), Some(PIECE), None], "{game:?}");
    assert!(game.iter().flat_map(|p| p.takes.iter().flatten()).all(|t| t.doubt.is_none()), "{game:?}");
}

#[test]
fn two_clips_of_one_take_that_overlap_are_no_camera_that_was_restarted() {
    let take = |spans: &[(f64, f64, Option<f64>)], angle: Angle| {
        let film = Film { parts: vec![scripted::part("a.mp4", 3000, Rate { num: 30, den: 1 })], problems: Vec::new() };
        let frame = |t: f64| FrameNo((t * 30.0).round() as u64);
        let play = |&(from, to, snap): &(f64, f64, Option<f64>)| Play {
            shot: 0,
            span: FrameSpan::of(frame(from).0, frame(to).0),
            set: None,
            snap: snap.map(|time| Sighting { frame: frame(time), time, confidence: 0.9 }),
            whistle: None,
            by: Evidence::Picture,
            doubt: None,
        };
        let shots = vec![Shot { span: FrameSpan::of(0, 3000), kind: ShotKind::Play, angle }];
        (film, Found { shots, plays: spans.iter().map(play).collect(), tail: None })
    };
    // The end-zone camera saw something move again while the first play was running out.
    let a = take(&[(10.0, 30.0, Some(15.0)), (50.0, 70.0, Some(55.0))], Angle::Sideline);
    let b = take(&[(10.0, 30.0, Some(15.0)), (24.0, 40.0, Some(29.0)), (50.0, 70.0, Some(55.0))], Angle::EndZone);
    let seconds = |span: FrameSpan| (span.start.0 as f64 / 30.0, span.end.0 as f64 / 30.0);
    let mut listen = |x: Stretch, y: Stretch| {
        let (x, y) = (seconds(x.1), seconds(y.1));
        let same = x.1.min(y.1) - x.0.max(y.0) > 1.0;
        Some(Heard { ratio: if same { 7.0 } else { 1.2 }, lag: x.0 - y.0 })
    };
    let game = pair(&[Camera { film: &a.0, found: &a.1 }, Camera { film: &b.0, found: &b.1 }], &mut listen);
    assert_eq!(game.len(), 3, "{game:?}");
    let said = |word: &str| game.iter().any(|p| p.doubt.as_deref().is_some_and(|d| d.contains(word)));
    assert!(!said(RESTARTED) && !said(PIECE), "{game:?}");
}
