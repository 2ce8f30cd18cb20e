//! A sample of the matching bench: made games with a tired night's faults.

use downbox::sheet::{MatchSettings, match_rows};

use super::made_sheets::{Faults, made_game};

/// Over some games: rows, rows right, sure pairs, sure pairs right.
fn counted(games: u64, faults: &Faults) -> [usize; 4] {
    let mut all = [0; 4];
    for seed in 0..games {
        let game = made_game(90_000 + seed, faults);
        let matching = match_rows(&game.rows, &game.plays, &MatchSettings::default());
        let play_of = |row: usize| matching.of_row(row).map(|pair| pair.play);
        for row in 0..game.rows.len() {
            let right = game.is_right(row, &play_of);
            let sure = matching.of_row(row).is_some_and(|pair| pair.doubt.is_none());
            for (count, yes) in all.iter_mut().zip([true, right, sure, sure && right]) {
                *count += usize::from(yes);
            }
        }
    }
    println!("{faults:?}: rows {}, right {}, sure {}, sure and right {}", all[0], all[1], all[2], all[3]);
    all
}

/// Bounds lie below what the bench measures on 400 games by what chance does to so few.
#[test]
fn a_tired_nights_rows_are_on_their_plays_and_the_sure_ones_are_right() {
    for (plays, games, jitter, least, sure_least) in [
        (80, 10, Some(1.0), 0.985, 0.994),
        (80, 10, Some(3.0), 0.955, 0.99),
        (20, 30, Some(3.0), 0.94, 0.985),
        (80, 10, None, 0.78, 0.97),
        (20, 30, None, 0.75, 0.95),
    ] {
        let [rows, right, sure, sure_right] = counted(games, &Faults::tired(plays, jitter));
        assert!(right as f64 >= least * rows as f64, "{right} of {rows} with jitter {jitter:?}");
        assert!(sure_right as f64 >= sure_least * sure as f64, "{sure_right} of {sure} sure with jitter {jitter:?}");
    }
    // Nothing lost: all is joined in order and right, and most of it without a doubt.
    let [rows, right, sure, _] = counted(10, &Faults::kept_with_care(20, None));
    assert!(right == rows && sure * 100 >= rows * 85, "{right} and {sure} of {rows}");
}
