use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::*;

fn plays(times: &[f64]) -> Vec<PlayFacts> {
    times.iter().map(|t| PlayFacts { time: *t, ..PlayFacts::default() }).collect()
}

fn typed(times: &[f64]) -> Vec<RowFacts> {
    times.iter().map(|t| RowFacts { time: Some(*t), ..RowFacts::default() }).collect()
}

fn show(matching: &Matching) -> String {
    let pair = |p: &Pair| {
        format!(
            "{}-{} by {}{}",
            p.row,
            p.play,
            p.by.as_str(),
            p.doubt.as_ref().map(|d| format!(" ({d})")).unwrap_or_default()
        )
    };
    let mut lines: Vec<String> = matching.pairs.iter().map(pair).collect();
    lines.extend(matching.unmatched_rows.iter().map(|u| format!("{} without: {}", u.row, u.why)));
    if !matching.unmatched_plays.is_empty() {
        lines.push(format!("plays without: {:?}", matching.unmatched_plays));
    }
    lines.join("\n")
}

/// A made game: faults of a tired night, and which play each row truly belongs to.
struct Game {
    rows: Vec<RowFacts>,
    plays: Vec<PlayFacts>,
    /// For each row the index of its play as found, if it was found.
    truth: Vec<Option<usize>>,
}

struct Faults {
    plays: usize,
    /// Seconds from snap to snap, least and most.
    gap: (f64, f64),
    rows_dropped: f64,
    rows_added: f64,
    plays_missed: f64,
    plays_false: f64,
    /// Standard deviation of the thumb, seconds.
    jitter: f64,
    offset: f64,
    drift: f64,
    /// Share of rows without a time.
    untimed: f64,
}

const TIRED: Faults = Faults {
    plays: 80,
    gap: (10.0, 40.0),
    rows_dropped: 0.10,
    rows_added: 0.05,
    plays_missed: 0.05,
    plays_false: 0.05,
    jitter: 1.0,
    offset: 60.0,
    drift: 0.005,
    untimed: 0.0,
};

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    let (a, b): (f64, f64) = (rng.random_range(f64::EPSILON..1.0), rng.random());
    (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
}

fn made(seed: u64, faults: &Faults) -> Game {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let offset = rng.random_range(-faults.offset..=faults.offset);
    let drift = rng.random_range(-faults.drift..=faults.drift);
    let mut at = 20.0;
    let (mut rows, mut found) = (Vec::new(), Vec::new());
    for play in 0..faults.plays {
        at += rng.random_range(faults.gap.0..faults.gap.1);
        if rng.random::<f64>() >= faults.plays_missed {
            found.push((at + 0.1 * normal(&mut rng), Some(play)));
        }
        if rng.random::<f64>() >= faults.rows_dropped {
            let time = offset + at * (1.0 + drift) + faults.jitter * normal(&mut rng);
            rows.push((time, rng.random::<f64>() >= faults.untimed, Some(play)));
        }
        if rng.random::<f64>() < faults.plays_false {
            found.push((at + rng.random_range(4.0..faults.gap.0.max(4.5)), None));
        }
        if rng.random::<f64>() < faults.rows_added {
            rows.push((offset + at * (1.0 + drift) + rng.random_range(2.0..faults.gap.0), true, None));
        }
    }
    // Found plays lie in the film's order; a thumb's rows in the sheet's.
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let truth = rows.iter().map(|(_, _, play)| play.and_then(|p| found.iter().position(|f| f.1 == Some(p)))).collect();
    Game {
        rows: rows.iter().map(|(t, timed, _)| RowFacts { time: timed.then_some(*t), ..RowFacts::default() }).collect(),
        plays: plays(&found.iter().map(|f| f.0).collect::<Vec<_>>()),
        truth,
    }
}

/// Shares over many games: rows right, of all pairs wrong without doubt, pairs in doubt.
struct Score {
    right: f64,
    wrong_unmarked: f64,
    doubted: f64,
}

fn score(name: &str, seeds: std::ops::Range<u64>, faults: &Faults) -> Score {
    let (mut rows, mut right, mut pairs, mut wrong, mut doubted) = (0usize, 0usize, 0usize, 0usize, 0usize);
    for seed in seeds {
        let game = made(seed, faults);
        let matching = match_rows(&game.rows, &game.plays, &MatchSettings::default());
        for (row, truth) in game.truth.iter().enumerate() {
            let pair = matching.of_row(row);
            rows += 1;
            right += usize::from(pair.map(|p| p.play) == *truth);
            pairs += usize::from(pair.is_some());
            doubted += usize::from(pair.is_some_and(|p| p.doubt.is_some()));
            wrong += usize::from(pair.is_some_and(|p| p.doubt.is_none() && Some(p.play) != *truth));
        }
    }
    let share = |n: usize, of: usize| n as f64 / of.max(1) as f64;
    let score =
        Score { right: share(right, rows), wrong_unmarked: share(wrong, pairs), doubted: share(doubted, pairs) };
    println!(
        "{name}: {rows} rows, right {:.4}, wrong without doubt {:.4} ({wrong}), in doubt {:.4}",
        score.right, score.wrong_unmarked, score.doubted
    );
    score
}

#[test]
fn made_games_with_a_tired_nights_faults() {
    let tired = score("tired night", 0..40, &TIRED);
    assert!(tired.right >= 0.98 && tired.wrong_unmarked <= 0.006 && tired.doubted < 0.1);
    let cut = score("cut film", 0..40, &Faults { gap: (9.0, 22.0), ..TIRED });
    assert!(cut.right >= 0.975 && cut.wrong_unmarked <= 0.006 && cut.doubted < 0.12);
    let slow = score("slow thumb, 2 s", 0..40, &Faults { jitter: 2.0, ..TIRED });
    assert!(slow.right >= 0.97 && slow.wrong_unmarked <= 0.011);
    let faults = Faults { plays: 20, gap: (9.0, 22.0), ..TIRED };
    let short = score("20 plays of cut film, 1 s", 0..60, &faults);
    assert!(short.right >= 0.97 && short.wrong_unmarked <= 0.006);
    // Ambiguous by one play: what is wrong must be in doubt, however much that doubts.
    let ambiguous = score("20 plays of cut film, 2.5 s", 0..60, &Faults { jitter: 2.5, ..faults });
    assert!(ambiguous.wrong_unmarked <= 0.01 && ambiguous.doubted > 0.3);
    let untimed = score("a fifth untimed", 0..40, &Faults { untimed: 0.2, ..TIRED });
    assert!(untimed.right >= 0.92 && untimed.wrong_unmarked <= 0.008);
    let faultless = Faults { rows_dropped: 0.0, rows_added: 0.0, plays_missed: 0.0, plays_false: 0.0, ..TIRED };
    let clean = score("nothing lost", 0..20, &faultless);
    assert!(clean.right == 1.0 && clean.doubted < 0.02);
}

#[test]
fn the_sheet_of_another_game_gives_no_pair_without_doubt() {
    for (plays, gap) in [(80, (10.0, 40.0)), (80, (9.0, 22.0)), (20, (9.0, 22.0))] {
        let (mut sure, mut pairs) = (0, 0);
        for seed in 0..20 {
            let game = made(seed, &Faults { plays, gap, ..TIRED });
            let other = made(1000 + seed, &Faults { plays, gap, offset: 0.0, ..TIRED });
            let matching = match_rows(&game.rows, &other.plays, &MatchSettings::default());
            pairs += matching.pairs.len();
            sure += matching.pairs.iter().filter(|p| p.doubt.is_none()).count();
        }
        println!("another game's sheet, {plays} plays: {sure} of {pairs} pairs without doubt");
        assert!(pairs > 0 && sure * 100 <= pairs, "{sure} of {pairs}");
    }
}

/// Snaps of a short game, unevenly spaced.
const SNAPS: [f64; 8] = [10.0, 31.0, 47.0, 80.0, 95.0, 130.0, 149.0, 172.0];

fn late(by: f64) -> Vec<f64> {
    SNAPS.iter().enumerate().map(|(i, s)| s + by + 0.3 * ((i * 7 % 5) as f64 - 2.0)).collect()
}

#[test]
fn a_missing_a_doubled_and_an_added_row() {
    let mut times = late(5.0);
    times.remove(2);
    times.insert(4, times[3] + 1.5);
    times.push(400.0);
    let mut rows = typed(&times);
    rows[4].twin = true;
    let matching = match_rows(&rows, &plays(&SNAPS), &MatchSettings::default());
    insta::assert_snapshot!(show(&matching), @r"
    0-0 by time
    1-1 by time
    2-3 by time
    3-4 by time
    5-5 by time
    6-6 by time
    7-7 by time
    4 without: typed twice: a row beside it says the same
    8 without: no play lies near its time; the nearest is 223 s off
    plays without: [2]
    ");
    assert!((matching.offset_seconds().unwrap() - 5.0).abs() < 0.5, "{:?}", matching.line);
}

#[test]
fn rows_without_a_time_go_between_their_neighbors_or_nowhere() {
    let mut rows = typed(&late(2.0));
    rows[3].time = None;
    let whole = match_rows(&rows, &plays(&SNAPS), &MatchSettings::default());
    insta::assert_snapshot!(show(&whole), @r"
    0-0 by time
    1-1 by time
    2-2 by time
    3-3 by order
    4-4 by time
    5-5 by time
    6-6 by time
    7-7 by time
    ");
    // One such row and two plays that it could be.
    rows.remove(4);
    let torn = match_rows(&rows, &plays(&SNAPS), &MatchSettings::default());
    insta::assert_snapshot!(show(&torn), @r"
    0-0 by time
    1-1 by time
    2-2 by time
    4-5 by time
    5-6 by time
    6-7 by time
    3 without: it has no time, and more than one place between its neighbors fits it
    plays without: [3, 4]
    ");
}

#[test]
fn a_row_far_from_its_snap_is_kept_in_doubt() {
    let mut times = late(2.0);
    times[5] += 6.0;
    let matching = match_rows(&typed(&times), &plays(&SNAPS), &MatchSettings::default());
    let doubted: Vec<_> = matching.pairs.iter().filter(|p| p.doubt.is_some()).collect();
    assert_eq!(doubted.len(), 1);
    insta::assert_snapshot!(doubted[0].doubt.as_deref().unwrap(), @r"typed 5.3 s after the time that the other rows let expect");
}

#[test]
fn even_spacing_is_ambiguous_by_one_until_a_person_gives_the_offset() {
    let snaps: Vec<f64> = (0..12).map(|i| 10.0 + 14.0 * f64::from(i)).collect();
    // Typed 7 s late throughout, half way between two snaps, and the last row is missing.
    let rows = typed(&snaps[..11].iter().map(|s| s + 7.0).collect::<Vec<_>>());
    let matching = match_rows(&rows, &plays(&snaps), &MatchSettings::default());
    assert!(matching.pairs.iter().all(|p| p.doubt.is_some()), "{}", show(&matching));
    insta::assert_snapshot!(matching.pairs[4].doubt.as_deref().unwrap(), @r"an offset of -7.0 s, 1 play later, fits nearly as well as 7.0 s");
    assert!(matching.runner_up.is_some());
    for (offset, shift) in [(7.0, 0), (-7.0, 1)] {
        let given = match_rows(&rows, &plays(&snaps), &MatchSettings { offset: Some(offset), drift: None });
        assert!(given.pairs.iter().all(|p| p.play == p.row + shift && p.doubt.is_none()), "{}", show(&given));
    }
}

#[test]
fn a_sheet_sorted_by_another_column_is_joined_by_its_times() {
    let times = late(1.0);
    let shuffled: Vec<usize> = vec![6, 0, 5, 1, 4, 2, 7, 3];
    let rows = typed(&shuffled.iter().map(|i| times[*i]).collect::<Vec<_>>());
    let matching = match_rows(&rows, &plays(&SNAPS), &MatchSettings::default());
    assert_eq!(matching.pairs.len(), 8);
    assert!(matching.pairs.iter().all(|p| p.play == shuffled[p.row] && p.doubt.is_none()), "{}", show(&matching));
}

#[test]
fn by_order_only_where_the_counts_agree_and_nothing_contradicts() {
    let untimed = |count: usize| vec![RowFacts::default(); count];
    let settings = MatchSettings::default();
    let agree = match_rows(&untimed(8), &plays(&SNAPS), &settings);
    assert!(agree.pairs.iter().all(|p| p.row == p.play && p.by == By::Order && p.doubt.is_none()));
    assert_eq!(agree.pairs.len(), 8);
    assert_eq!(agree.line, None);

    let short = match_rows(&untimed(7), &plays(&SNAPS), &settings);
    assert!(short.pairs.is_empty() && short.unmatched_rows.len() == 7 && short.unmatched_plays.len() == 8);
    let mut words = vec![short.unmatched_rows[0].why.clone()];

    let mut sorted = untimed(8);
    for (row, quarter) in sorted.iter_mut().zip([1, 1, 2, 1, 3, 3, 4, 4]) {
        row.quarter = Some(quarter);
    }
    words.push(match_rows(&sorted, &plays(&SNAPS), &settings).unmatched_rows[0].why.clone());
    let mut rising = untimed(8);
    for (row, clock) in rising.iter_mut().zip([700, 650, 660, 500, 400, 300, 200, 100]) {
        (row.quarter, row.clock) = (Some(1), Some(clock));
    }
    words.push(match_rows(&rising, &plays(&SNAPS), &settings).unmatched_rows[0].why.clone());
    let mut few = untimed(8);
    (few[0].time, few[7].time) = (Some(10.0), Some(20.0));
    words.push(match_rows(&few, &plays(&SNAPS), &settings).unmatched_rows[0].why.clone());
    words.push(match_rows(&untimed(1), &[], &settings).unmatched_rows[0].why.clone());
    insta::assert_snapshot!(words.join("\n"), @r"
    it has no time, and 7 rows stand against 8 plays: the order alone does not tell which belong together
    it has no time, and the sheet does not stand in the game's order: the quarter goes back
    it has no time, and the sheet does not stand in the game's order: the clock rises within a quarter
    the few times in the sheet do not fit its order along the film
    no play was found in the film
    ");
}

#[test]
fn doubled_rows_and_weak_plays_by_order() {
    let settings = MatchSettings::default();
    // Nine rows, one of them twice, against eight plays: the double is left out.
    let mut rows = vec![RowFacts::default(); 9];
    rows[4].twin = true;
    let nine = match_rows(&rows, &plays(&SNAPS), &settings);
    assert_eq!(nine.unmatched_rows.iter().map(|u| u.row).collect::<Vec<_>>(), [4]);
    assert!(nine.pairs.iter().all(|p| p.play == p.row - usize::from(p.row > 4) && p.doubt.is_none()));
    // Eight rows, one of them twice, against eight plays: a double and a missing row look like nothing lost.
    rows.pop();
    let eight = match_rows(&rows, &plays(&SNAPS), &settings);
    assert!(eight.pairs.iter().all(|p| p.doubt.is_some() == (p.row >= 4)), "{}", show(&eight));
    // Shots without a snap: in doubt throughout.
    let mut with_weak = plays(&SNAPS);
    with_weak.insert(2, PlayFacts { time: 40.0, weak: true, ..PlayFacts::default() });
    let weak = match_rows(&vec![RowFacts::default(); 8], &with_weak, &settings);
    assert!(weak.pairs.iter().all(|p| p.play != 2 && p.doubt.is_some()) && weak.pairs.len() == 8);
}

fn any_rows() -> impl Strategy<Value = Vec<RowFacts>> {
    let time = prop_oneof![
        6 => (-100.0f64..1000.0).prop_map(Some),
        2 => Just(None),
        1 => prop_oneof![Just(f64::NAN), Just(f64::INFINITY), Just(1e300), Just(-1e300)].prop_map(Some),
    ];
    let row = (time, any::<bool>(), proptest::option::of(0i64..6), proptest::option::of(0u16..900));
    let row =
        row.prop_map(|(time, twin, quarter, clock)| RowFacts { time, twin, quarter, clock, ..RowFacts::default() });
    proptest::collection::vec(row, 0..25)
}

fn any_plays() -> impl Strategy<Value = Vec<PlayFacts>> {
    let play = (prop_oneof![9 => 0.0f64..1000.0, 1 => Just(f64::NAN), 1 => Just(0.0)], any::<bool>());
    proptest::collection::vec(play.prop_map(|(time, weak)| PlayFacts { time, weak, ..PlayFacts::default() }), 0..25)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    /// Whatever comes in: no panic, the same answer twice, each row and each play accounted for once.
    #[test]
    fn every_row_and_play_is_accounted_for(rows in any_rows(), plays in any_plays(),
        offset in proptest::option::of(-100.0f64..100.0)) {
        let settings = MatchSettings { offset, drift: None };
        let matching = match_rows(&rows, &plays, &settings);
        prop_assert_eq!(format!("{matching:?}"), format!("{:?}", match_rows(&rows, &plays, &settings)));
        let mut all_rows: Vec<usize> = matching.pairs.iter().map(|p| p.row).collect();
        all_rows.extend(matching.unmatched_rows.iter().map(|u| u.row));
        all_rows.sort_unstable();
        prop_assert_eq!(all_rows, (0..rows.len()).collect::<Vec<_>>());
        let mut all_plays: Vec<usize> = matching.pairs.iter().map(|p| p.play).collect();
        all_plays.extend(&matching.unmatched_plays);
        all_plays.sort_unstable();
        prop_assert_eq!(all_plays, (0..plays.len()).collect::<Vec<_>>());
        prop_assert!(matching.pairs.iter().all(|p| (0.0..=1.0).contains(&p.confidence)));
    }

    /// A row that is put in or taken out never makes two others change their order.
    #[test]
    fn no_edit_reorders_pairs(seed in 0u64..1000, at in 0usize..30, put_in in any::<bool>(), time in 0.0f64..900.0,
        timed in any::<bool>()) {
        let mut game = made(seed, &Faults { plays: 25, ..TIRED });
        if !timed {
            game.rows.iter_mut().for_each(|row| row.time = None);
            tell(&mut game, seed);
        }
        let at = at.min(game.rows.len().saturating_sub(1));
        let before = match_rows(&game.rows, &game.plays, &MatchSettings::default());
        let there = |row: usize| if put_in { Some(row + usize::from(row >= at)) } else { (row != at).then(|| row - usize::from(row > at)) };
        if put_in {
            game.rows.insert(at, RowFacts { time: timed.then_some(time), ..RowFacts::default() });
        } else if !game.rows.is_empty() {
            game.rows.remove(at);
        }
        let after = match_rows(&game.rows, &game.plays, &MatchSettings::default());
        let both: Vec<(usize, usize)> =
            before.pairs.iter().filter_map(|p| Some((p.play, after.of_row(there(p.row)?)?.play))).collect();
        for (n, one) in both.iter().enumerate() {
            prop_assert!(both[..n].iter().all(|other| (one.0 < other.0) == (one.1 < other.1)));
        }
    }

    /// A person's word holds whatever else is matched, and no row or play is taken twice.
    #[test]
    fn pins_hold(seed in 0u64..1000, pins in proptest::collection::vec((0usize..30, 0usize..30, 0u8..4), 1..6), timed in any::<bool>()) {
        let mut game = made(seed, &Faults { plays: 25, ..TIRED });
        if !timed {
            game.rows.iter_mut().for_each(|row| row.time = None);
            tell(&mut game, seed);
        }
        let (mut rows, mut taken) = (Vec::new(), Vec::new());
        for (row, play, kind) in pins {
            if row >= game.rows.len() || play >= game.plays.len() || rows.contains(&row) || taken.contains(&play) {
                continue;
            }
            rows.push(row);
            match kind {
                0 => game.rows[row].pin = Pin::Nothing,
                1 => { game.plays[play].no_row = true; taken.push(play); }
                _ => { game.rows[row].pin = Pin::Play(play); taken.push(play); }
            }
        }
        let matching = match_rows(&game.rows, &game.plays, &MatchSettings::default());
        for (row, facts) in game.rows.iter().enumerate() {
            let play = matching.of_row(row).map(|p| p.play);
            match facts.pin {
                Pin::Play(pinned) => {
                    prop_assert_eq!(play, Some(pinned));
                    prop_assert!(matching.of_row(row).is_some_and(|p| p.by == By::Hand && p.doubt.is_none()));
                }
                Pin::Nothing => prop_assert_eq!(play, None),
                Pin::Free => {}
            }
        }
        prop_assert!(matching.pairs.iter().all(|p| !game.plays[p.play].no_row));
        let mut plays: Vec<usize> = matching.pairs.iter().map(|p| p.play).collect();
        plays.sort_unstable();
        plays.dedup();
        prop_assert_eq!(plays.len(), matching.pairs.len());
        prop_assert_eq!(matching.pairs.len() + matching.unmatched_rows.len(), game.rows.len());
    }
}

/// Gains for rows and pans for plays, so that content can join them.
fn tell(game: &mut Game, seed: u64) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed + 5000);
    for play in &mut game.plays {
        (play.pan, play.length) = (Some(rng.random_range(0.0..0.3)), Some(rng.random_range(4.0..11.0)));
    }
    for (row, truth) in game.rows.iter_mut().zip(&game.truth) {
        let pan = truth.and_then(|play| game.plays[play].pan).unwrap_or_else(|| rng.random_range(0.0..0.3));
        (row.gain, row.what) = (Some((pan * 60.0 + 3.0 * normal(&mut rng)).round()), What::Run);
    }
}

#[test]
fn a_sheet_without_times_is_joined_by_what_it_tells_and_says_how_sure() {
    // Eight gains, of which one row is missing: no count agrees, and a long gain with a long pan tells where.
    let gains = [3.0, 5.0, 38.0, 2.0, 0.0, 11.0, 4.0, 52.0, 1.0, 7.0];
    let plays: Vec<PlayFacts> = gains
        .iter()
        .zip(1..)
        .map(|(gain, n)| PlayFacts {
            time: 14.0 * f64::from(n),
            pan: Some(0.02 * gain),
            length: Some(5.0 + gain / 8.0),
            ..PlayFacts::default()
        })
        .collect();
    let row = |gain: &f64| RowFacts { gain: Some(*gain), what: What::Run, ..RowFacts::default() };
    let mut rows: Vec<RowFacts> = gains.iter().map(row).collect();
    rows.remove(4);
    let matching = match_rows(&rows, &plays, &MatchSettings::default());
    assert!(matching.of_row(2).is_some_and(|p| p.play == 2 && p.by == By::Content), "{}", show(&matching));
    assert!(matching.of_row(6).is_some_and(|p| p.play == 7), "{}", show(&matching));
    let doubted = matching.pairs.iter().find(|p| p.doubt.is_some()).unwrap();
    assert!(doubted.rival.is_some_and(|r| r.weight > 0.0 && r.weight < doubted.confidence));
    // A person puts the third gain on the fourth play: the others go around it.
    rows[2].pin = Pin::Play(3);
    let pinned = match_rows(&rows, &plays, &MatchSettings::default());
    assert!(pinned.of_row(2).is_some_and(|p| p.play == 3 && p.by == By::Hand && p.confidence == 1.0));
    assert!(pinned.pairs.iter().all(|p| p.row <= 2 || p.play > 3), "{}", show(&pinned));
    // All rows there again: the order joins, and says so.
    let all: Vec<RowFacts> = gains.iter().map(row).collect();
    let in_order = match_rows(&all, &plays, &MatchSettings::default());
    assert!(in_order.pairs.iter().all(|p| p.by == By::Order && p.row == p.play), "{}", show(&in_order));
    assert_eq!(in_order.pairs.len(), 10);
}

#[test]
fn a_pin_against_all_times_moves_its_own_row_alone() {
    let mut rows = typed(&late(5.0));
    rows[6].pin = Pin::Play(1);
    rows.remove(1);
    let matching = match_rows(&rows, &plays(&SNAPS), &MatchSettings::default());
    let joined: Vec<(usize, usize)> = matching.pairs.iter().map(|p| (p.row, p.play)).collect();
    assert_eq!(joined, [(0, 0), (1, 2), (2, 3), (3, 4), (4, 5), (5, 1), (6, 7)], "{}", show(&matching));
    assert!((matching.offset_seconds().unwrap() - 5.0).abs() < 0.5);
}

#[test]
fn counts_that_cannot_be_do_not_trouble_it() {
    let told = RowFacts { gain: Some(4.0), what: What::Run, ..RowFacts::default() };
    let seen = PlayFacts { length: Some(6.0), pan: Some(0.1), gap: Some(12.0), ..PlayFacts::default() };
    for (rows, plays) in [(0, 0), (0, 5), (5, 0), (40, 2), (2, 40), (1, 1)] {
        for time in [None, Some(7.0)] {
            let rows: Vec<RowFacts> =
                (0..rows).map(|i| RowFacts { time: time.map(|t| t * i as f64), ..told }).collect();
            let plays: Vec<PlayFacts> = (0..plays).map(|i| PlayFacts { time: 13.0 * i as f64, ..seen }).collect();
            let matching = match_rows(&rows, &plays, &MatchSettings { offset: None, drift: Some(0.001) });
            assert_eq!(matching.pairs.len() + matching.unmatched_rows.len(), rows.len());
        }
    }
}
