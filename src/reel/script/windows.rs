//! What can be said of the order of moments before the play is known.

use super::{At, Moment};

/// From one moment to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    pub from: Moment,
    pub to: Moment,
}

impl Window {
    /// One of two moments with their places.
    pub fn of(from: &At<Moment>, to: &At<Moment>) -> Self {
        Self { from: from.value, to: to.value }
    }

    /// Whether it has no length, whatever the play.
    pub fn is_empty(self) -> bool {
        never_before(self.from, self.to)
    }

    /// Whether nothing of `other` lies in it, whatever the play.
    pub fn misses(self, other: Self) -> bool {
        never_before(other.from, self.to) || never_before(self.from, other.to)
    }

    /// Whether a moment lies outside, whatever the play.
    pub fn excludes(self, moment: Moment) -> bool {
        after(self.from, moment) || after(moment, self.to)
    }
}

/// Whether `a` is at or after `b` in every play: anchors come in their order.
fn never_before(a: Moment, b: Moment) -> bool {
    a.anchor >= b.anchor && a.offset >= b.offset
}

/// Whether `a` is after `b` in every play.
fn after(a: Moment, b: Moment) -> bool {
    a.anchor >= b.anchor && a.offset > b.offset
}

#[cfg(test)]
mod tests {
    use super::super::moment::read;
    use super::*;

    fn window(from: &str, to: &str) -> Window {
        Window { from: read(from).unwrap(), to: read(to).unwrap() }
    }

    #[test]
    fn only_what_is_wrong_in_every_play_is_wrong() {
        for (from, to) in [("snap", "snap"), ("snap+1s", "snap-1s"), ("whistle", "snap"), ("end", "start-1s")] {
            assert!(window(from, to).is_empty(), "{from} to {to}");
        }
        for (from, to) in [("snap", "snap+0.1s"), ("snap+5s", "whistle"), ("whistle-3s", "snap+1s"), ("start", "end")] {
            assert!(!window(from, to).is_empty(), "{from} to {to}");
        }
        let step = window("snap-2s", "whistle+1s");
        assert!(step.misses(window("set-5s", "snap-2s")) && step.misses(window("whistle+1s", "end+2s")));
        assert!(!step.misses(window("snap-3s", "snap-1s")) && !step.misses(window("end-1s", "end")));
        let out = |moment: &str| step.excludes(read(moment).unwrap());
        assert!(out("snap-2.1s") && out("whistle+1.1s") && out("set-3s") && out("end+2s"));
        assert!(!out("snap-2s") && !out("whistle+1s") && !out("set") && !out("snap+20s"));
    }
}
