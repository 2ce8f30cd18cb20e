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
    /// The camera's name (`sideline`).
    pub angle: String,
}

/// The order in which a staff watches: newest game first (games without a date last, by name), plays as they were
/// played, of each play the sideline, then the end zone, then other cameras by name [practice].
pub fn order(a: &ReelKey, b: &ReelKey) -> Ordering {
    let dated = match (&a.date, &b.date) {
        (Some(x), Some(y)) => y.cmp(x),
        (Some(_), None) => Ordering::Less,
        (None, Some(_)) => Ordering::Greater,
        (None, None) => Ordering::Equal,
    };
    dated
        .then_with(|| natural_order(&a.game, &b.game))
        .then_with(|| a.play.cmp(&b.play))
        .then_with(|| rank(&a.angle).cmp(&rank(&b.angle)))
        .then_with(|| natural_order(&a.angle, &b.angle))
}

fn rank(angle: &str) -> u8 {
    match crate::film::Angle::named(angle) {
        crate::film::Angle::Sideline => 0,
        crate::film::Angle::EndZone => 1,
        crate::film::Angle::Unknown => 2,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn newest_game_first_then_play_then_angle() {
        let key = |date: &str, game: &str, play, angle: &str| ReelKey {
            date: (!date.is_empty()).then(|| date.to_string()),
            game: game.into(),
            play,
            angle: angle.into(),
        };
        let want = [
            key("2026-09-18", "Otters", 3, "sideline"),
            key("2026-09-11", "Badgers", 2, "Sideline"),
            key("2026-09-11", "Badgers", 2, "end-zone"),
            key("2026-09-11", "Badgers", 2, "drone"),
            key("2026-09-11", "Badgers", 10, "end-zone"),
            key("2026-09-11", "Herons", 1, "sideline"),
            key("", "Game 9", 1, "sideline"),
            key("", "Game 10", 1, "sideline"),
        ];
        let mut mixed: Vec<ReelKey> = want.iter().cloned().rev().collect();
        mixed.swap(1, 5);
        mixed.sort_by(order);
        assert_eq!(mixed, want);
    }
}
