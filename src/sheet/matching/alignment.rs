//! The cheapest way to join rows and plays without crossing, and what every other way would cost.

/// What joining and skipping cost, natural logarithms of odds.
pub(super) struct Costs {
    /// Cost of each pair, row by row.
    pub pair: Vec<f64>,
    /// Cost of leaving each row out.
    pub skip_row: Vec<f64>,
    /// Cost of leaving each play out.
    pub skip_play: Vec<f64>,
}

/// The cheapest alignment.
pub(super) struct Alignment {
    /// For each row its play.
    pub play_of: Vec<Option<usize>>,
    /// What it costs.
    pub cost: f64,
}

/// For each row and play the cost of the cheapest alignment that joins them, and for each row of the cheapest that
/// leaves it out.
#[derive(Debug, Clone)]
pub(super) struct Marginals {
    pub pair: Vec<f64>,
    pub without: Vec<f64>,
}

impl Costs {
    fn rows(&self) -> usize {
        self.skip_row.len()
    }

    fn plays(&self) -> usize {
        self.skip_play.len()
    }

    /// `table[i][j]`: cheapest way through the first `i` rows and `j` plays.
    fn forward(&self) -> Vec<f64> {
        let (rows, plays) = (self.rows(), self.plays());
        let wide = plays + 1;
        let mut table = vec![0.0; (rows + 1) * wide];
        for j in 0..plays {
            table[j + 1] = table[j] + self.skip_play[j];
        }
        for i in 0..rows {
            let (above, below) = table.split_at_mut((i + 1) * wide);
            let above = &above[i * wide..];
            below[0] = above[0] + self.skip_row[i];
            let pair = &self.pair[i * plays..(i + 1) * plays];
            for j in 0..plays {
                let joined = above[j] + pair[j];
                let without_play = below[j] + self.skip_play[j];
                let without_row = above[j + 1] + self.skip_row[i];
                below[j + 1] = joined.min(without_play).min(without_row);
            }
        }
        table
    }

    /// `table[i][j]`: cheapest way through all from row `i` and play `j` on.
    fn backward(&self) -> Vec<f64> {
        let mut reversed =
            Self { pair: self.pair.clone(), skip_row: self.skip_row.clone(), skip_play: self.skip_play.clone() };
        reversed.pair.reverse();
        reversed.skip_row.reverse();
        reversed.skip_play.reverse();
        let mut table = reversed.forward();
        table.reverse();
        table
    }

    /// The cheapest alignment; of equals the one that joins, then the one that leaves the play out.
    pub fn cheapest(&self) -> Alignment {
        let table = self.forward();
        let wide = self.plays() + 1;
        let (mut i, mut j) = (self.rows(), self.plays());
        let mut play_of = vec![None; i];
        while i > 0 && j > 0 {
            let here = table[i * wide + j];
            // The same sums as in the table, so that equality is exact.
            if here == table[(i - 1) * wide + j - 1] + self.pair[(i - 1) * self.plays() + j - 1] {
                i -= 1;
                j -= 1;
                play_of[i] = Some(j);
            } else if here == table[i * wide + j - 1] + self.skip_play[j - 1] {
                j -= 1;
            } else {
                i -= 1;
            }
        }
        Alignment { play_of, cost: table.last().copied().unwrap_or(0.0) }
    }

    /// What every other way would cost.
    pub fn marginals(&self) -> Marginals {
        let (rows, plays) = (self.rows(), self.plays());
        let (forward, backward) = (self.forward(), self.backward());
        let wide = plays + 1;
        let mut pair = Vec::with_capacity(rows * plays);
        let mut without = Vec::with_capacity(rows);
        for i in 0..rows {
            for j in 0..plays {
                pair.push(forward[i * wide + j] + self.pair[i * plays + j] + backward[(i + 1) * wide + j + 1]);
            }
            let ways = (0..wide).map(|j| forward[i * wide + j] + self.skip_row[i] + backward[(i + 1) * wide + j]);
            without.push(ways.fold(f64::INFINITY, f64::min));
        }
        Marginals { pair, without }
    }
}

impl Marginals {
    /// The cheaper of both, with `dearer` added to the other's costs.
    pub fn or(mut self, other: &Self, dearer: f64) -> Self {
        for (mine, theirs) in self.pair.iter_mut().zip(&other.pair) {
            *mine = mine.min(theirs + dearer);
        }
        for (mine, theirs) in self.without.iter_mut().zip(&other.without) {
            *mine = mine.min(theirs + dearer);
        }
        self
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Every way to join, counted out.
    fn brute(costs: &Costs, i: usize, j: usize) -> f64 {
        let (rows, plays) = (costs.rows(), costs.plays());
        match (i < rows, j < plays) {
            (false, false) => 0.0,
            (true, false) => costs.skip_row[i] + brute(costs, i + 1, j),
            (false, true) => costs.skip_play[j] + brute(costs, i, j + 1),
            (true, true) => (costs.pair[i * plays + j] + brute(costs, i + 1, j + 1))
                .min(costs.skip_row[i] + brute(costs, i + 1, j))
                .min(costs.skip_play[j] + brute(costs, i, j + 1)),
        }
    }

    proptest! {
        #[test]
        fn is_the_cheapest_of_all_and_never_crosses(
            (rows, plays, pair) in (0usize..5, 0usize..5).prop_flat_map(|(r, p)| (
                Just(r), Just(p), proptest::collection::vec(-1.0f64..9.0, r * p))),
        ) {
            let costs = Costs { pair, skip_row: vec![5.8; rows], skip_play: vec![2.3; plays] };
            let best = costs.cheapest();
            prop_assert!((best.cost - brute(&costs, 0, 0)).abs() < 1e-9);
            let joined: Vec<usize> = best.play_of.iter().flatten().copied().collect();
            prop_assert!(joined.windows(2).all(|w| w[0] < w[1]));
            let marginals = costs.marginals();
            for (row, play) in best.play_of.iter().enumerate() {
                let through = play.map_or(marginals.without[row], |p| marginals.pair[row * plays + p]);
                prop_assert!((through - best.cost).abs() < 1e-9);
            }
            let least = marginals.pair.iter().chain(&marginals.without).copied().fold(f64::INFINITY, f64::min);
            prop_assert!(rows == 0 || (least - best.cost).abs() < 1e-9);
        }
    }
}
