//! The field line along the foot of the strip: 100 yards, ball, chain, rod.

use super::element::{Element, Node};

/// Shortest chain drawn, in units: an inch to go is still seen.
const SHORTEST_CHAIN: f32 = 6.0;

/// Space between the goal line and the end zone's block, in units.
const GOAL_GAP: f32 = 3.0;

/// Where the ball lies and what is to gain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spot {
    /// Yards from the offense's own goal line, 0 to 100.
    pub ball: u8,
    /// Yards to the line to gain; `None` where there is none.
    pub to_gain: Option<u8>,
    /// Whether the offense is seen going left.
    pub leftward: bool,
}

/// Lays the template's field line between `left` and `right` (units). `None` where 100 yards would be shorter than the
/// template allows.
pub(super) fn lay(field: &Element, left: f32, right: f32, spot: Spot) -> Option<Element> {
    let end_zone = field.elements().find(|e| e.id() == "end-zone").and_then(|e| e.number("width")).unwrap_or(0.0);
    let block = if end_zone > 0.0 { end_zone + GOAL_GAP } else { 0.0 };
    let length = right - left - block;
    if length < field.number("data-least").unwrap_or(0.0).max(1.0) {
        return None;
    }
    let start = if spot.leftward { left + block } else { left };
    let x = |yards: f32| {
        let along = length * yards.clamp(0.0, 100.0) / 100.0;
        if spot.leftward { start + length - along } else { start + along }
    };
    let ball = x(f32::from(spot.ball));
    let chain = spot.to_gain.filter(|&yards| yards > 0).map(|yards| {
        let end = x(f32::from(spot.ball) + f32::from(yards));
        let way = if spot.leftward { -1.0 } else { 1.0 };
        if (end - ball).abs() < SHORTEST_CHAIN { ball + way * SHORTEST_CHAIN } else { end }
    });

    let mut out = Element { children: Vec::new(), ..field.clone() };
    for element in field.elements() {
        let mut put = |at: f32, width: Option<f32>| {
            let mut e = element.clone();
            if let Some(width) = width {
                e.set("width", width);
            }
            e.set("x", at);
            out.children.push(Node::Element(e));
        };
        // A tick or rod stands with its middle at the place.
        let middle = element.number("width").unwrap_or(0.0) / 2.0;
        match element.id() {
            "line" => put(start, Some(length)),
            "tick" => [10, 20, 30, 40, 60, 70, 80, 90].map(|y| put(x(y as f32) - middle, None)).into_iter().collect(),
            "tick-middle" => put(x(50.0) - middle, None),
            "tick-goal" => [0.0, 100.0].map(|y| put(x(y) - middle, None)).into_iter().collect(),
            "end-zone" => put(if spot.leftward { left } else { right - end_zone }, None),
            "chain" => chain.into_iter().for_each(|end| put(ball.min(end), Some((end - ball).abs()))),
            "rod" => chain.into_iter().for_each(|end| put(end - middle, None)),
            "ball" => {
                let mut e = element.clone();
                e.set("cx", ball);
                out.children.push(Node::Element(e));
            }
            _ => out.children.push(Node::Element(element.clone())),
        }
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::paint::Template;

    fn field() -> Element {
        Template::strip().unwrap().root.elements().find(|e| e.id() == "field").unwrap().clone()
    }

    fn number(field: &Element, id: &str, name: &str) -> Vec<f32> {
        field.elements().filter(|e| e.id() == id).filter_map(|e| e.number(name)).collect()
    }

    #[test]
    fn ball_chain_and_rod_stand_at_their_yards() {
        // 1,000 units for 100 yards: 10 a yard.
        let out = lay(&field(), 100.0, 1152.0, Spot { ball: 66, to_gain: Some(2), leftward: false }).unwrap();
        assert_eq!(number(&out, "ball", "cx"), [760.0]);
        assert_eq!((number(&out, "chain", "x"), number(&out, "chain", "width")), (vec![760.0], vec![20.0]));
        assert_eq!(number(&out, "rod", "x"), [777.0]);
        assert_eq!(number(&out, "end-zone", "x"), [1103.0]);
        assert_eq!(number(&out, "tick", "x").len() + number(&out, "tick-middle", "x").len(), 9);
        assert_eq!(number(&out, "tick-goal", "x"), [98.5, 1098.5]);
    }

    #[test]
    fn an_offense_going_left_is_mirrored() {
        let out = lay(&field(), 100.0, 1152.0, Spot { ball: 66, to_gain: Some(2), leftward: true }).unwrap();
        assert_eq!(number(&out, "ball", "cx"), [1152.0 - 660.0]);
        assert_eq!(number(&out, "chain", "x"), [1152.0 - 680.0]);
        assert_eq!(number(&out, "end-zone", "x"), [100.0]);
        assert_eq!(number(&out, "line", "x"), [152.0]);
    }

    #[test]
    fn the_chain_ends_at_the_goal_line_is_never_too_short_and_absent_where_nothing_is_to_gain() {
        let at = |ball, to_gain| lay(&field(), 0.0, 752.0, Spot { ball, to_gain, leftward: false }).unwrap();
        assert_eq!(number(&at(95, Some(10)), "chain", "width"), [35.0]);
        assert_eq!(number(&at(100, Some(1)), "chain", "width"), [SHORTEST_CHAIN]);
        for none in [None, Some(0)] {
            assert!(number(&at(35, none), "chain", "x").is_empty() && number(&at(35, none), "rod", "x").is_empty());
            assert_eq!(number(&at(35, none), "ball", "cx"), [245.0]);
        }
        assert!(lay(&field(), 0.0, 600.0, Spot { ball: 5, to_gain: None, leftward: false }).is_none());
    }
}
