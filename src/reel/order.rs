//! The order of a cutup.

use std::cmp::Ordering;

use crate::base::natural_order;

/// What a segment is ordered by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReelKey {
    /// The game's date as `2026-09-11`, where known.
    pub date: Option<String>,
    /// The game's name.
    pub game: String,
    /// Place of the play in its game's film.
    pub play: u64,
}

/// The order in which a staff watches: newest game first (games without a date last, by name), plays as they were
/// played [practice]. Of each play its clips stand in the library's order, sideline first.
pub fn order(a: &ReelKey, b: &ReelKey) -> Ordering {
    let dated = match (&a.date, &b.date) {
        (Some(x), Some(y)) => y.cmp(x),
        (Some(_), None) => Ordering::Less,
        (None, Some(_)) => Ordering::Greater,
        (None, None) => Ordering::Equal,
    };
    dated.then_with(|| natural_order(&a.game, &b.game)).then_with(|| a.play.cmp(&b.play))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn newest_game_first_then_play() {
        let key = |date: &str, game: &str, play| ReelKey {
            date: (!date.is_empty()).then(|| date.to_string()),
            game: game.into(),
            play,
        };
        let want = [
            key("2026-09-18", "Otters", 3),
            key("2026-09-11", "Badgers", 2),
            key("2026-09-11", "Badgers", 10),
            key("2026-09-11", "Herons", 1),
            key("", "Game 9", 1),
            key("", "Game 10", 1),
        ];
        let mut mixed: Vec<ReelKey> = want.iter().cloned().rev().collect();
        mixed.swap(1, 4);
        mixed.sort_by(order);
        assert_eq!(mixed, want);
    }
}
