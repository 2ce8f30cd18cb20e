//! All ways to join rows and plays without crossing, each with its weight: a pair hidden Markov model (Durbin, Eddy,
//! Krogh, Mitchison, *Biological Sequence Analysis*, 1998, chapter 4, from memory), summed forward and backward.

/// How often rows and plays stand alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Habit {
    /// A row without a play.
    pub row_alone: f64,
    /// A play without a row.
    pub play_alone: f64,
    /// One more play without a row after one.
    pub play_alone_again: f64,
}

/// Weights of all steps: likelihoods up to a factor that is the same for every way. What speaks for a hole in the film or
/// the sheet speaks once for each hole, however many stand alone at it.
#[derive(Debug, Clone, Default)]
pub(super) struct Steps {
    pub rows: usize,
    pub plays: usize,
    /// Row `i` on play `j`: `i * plays + j`.
    pub pair: Vec<f64>,
    /// Row `i` alone, before play `j`: `i * (plays + 1) + j`; the first alone there, and one more.
    pub row_alone: Vec<f64>,
    pub row_again: Vec<f64>,
    /// Play `j` alone, before row `i`: `i * plays + j`, `rows + 1` lines; one more: `j`.
    pub play_alone: Vec<f64>,
    pub play_again: Vec<f64>,
}

/// What all ways together say.
#[derive(Debug, Clone, Default)]
pub(super) struct Posterior {
    /// Natural logarithm of the sum of all ways.
    pub evidence: f64,
    /// Weight of each pair, `i * plays + j`; each row's sum with `alone` is 1.
    pub pair: Vec<f64>,
    /// Weight of each row's standing alone.
    pub alone: Vec<f64>,
}

/// The last step: a pair (or none yet), a row alone, a play alone.
type States = [f64; 3];

/// Forward or backward sums of the table.
struct Sums {
    at: Vec<States>,
    /// Logarithm of the factor taken out, line by line.
    scale: Vec<f64>,
}

fn all(states: States) -> f64 {
    states[0] + states[1] + states[2]
}

/// Ways of less weight than this against the best up to the same row are not followed on: what they could add is far
/// below all that is told.
const FAINT: f64 = 1e-25;

/// Takes the largest number out of a line; its logarithm.
fn scaled(line: &mut [States]) -> f64 {
    let most = line.iter().flatten().copied().fold(0.0, f64::max);
    if most <= 0.0 {
        return 0.0;
    }
    line.iter_mut().flatten().for_each(|w| *w /= most);
    most.ln()
}

impl Steps {
    /// Sums over all ways; `None` where no way is left or a weight is no number.
    pub fn posterior(&self, habit: &Habit) -> Option<Posterior> {
        let forward = self.forward(habit);
        let backward = self.backward(habit, &forward);
        let (rows, plays, wide) = (self.rows, self.plays, self.plays + 1);
        let evidence = all(forward.at[rows * wide + plays]).ln() + forward.scale[rows];
        if !evidence.is_finite() {
            return None;
        }
        let mut pair = vec![0.0; rows * plays];
        let mut alone = vec![0.0; rows];
        for i in 0..rows {
            let mut sum = 0.0;
            for j in 0..wide {
                let states = forward.at[i * wide + j];
                if all(states) == 0.0 {
                    continue;
                }
                if j < plays {
                    let step = habit.pair(states) * self.pair[i * plays + j];
                    let weight = step * backward.at[(i + 1) * wide + j + 1][0];
                    pair[i * plays + j] = weight;
                    sum += weight;
                }
                let at = i * wide + j;
                let step = habit.row(states, self.row_alone[at], self.row_again[at]);
                let weight = step * backward.at[(i + 1) * wide + j][1];
                alone[i] += weight;
                sum += weight;
            }
            if !(sum > 0.0 && sum.is_finite()) {
                return None;
            }
            pair[i * plays..(i + 1) * plays].iter_mut().for_each(|w| *w /= sum);
            alone[i] /= sum;
        }
        Some(Posterior { evidence, pair, alone })
    }

    fn forward(&self, habit: &Habit) -> Sums {
        let (rows, plays, wide) = (self.rows, self.plays, self.plays + 1);
        let mut sums = Sums { at: vec![[0.0; 3]; (rows + 1) * wide], scale: vec![0.0; rows + 1] };
        sums.at[0][0] = 1.0;
        for i in 0..=rows {
            let here = i * wide;
            if i > 0 {
                let above = here - wide;
                for j in 0..wide {
                    let states = sums.at[above + j];
                    if all(states) < FAINT {
                        sums.at[above + j] = [0.0; 3];
                        continue;
                    }
                    let at = (i - 1) * wide + j;
                    sums.at[here + j][1] += habit.row(states, self.row_alone[at], self.row_again[at]);
                    if j < plays {
                        sums.at[here + j + 1][0] += habit.pair(states) * self.pair[(i - 1) * plays + j];
                    }
                }
            }
            for j in 0..plays {
                let states = sums.at[here + j];
                if all(states) == 0.0 {
                    continue;
                }
                sums.at[here + j + 1][2] += habit.play(states, self.play_alone[i * plays + j], self.play_again[j]);
            }
            let factor = scaled(&mut sums.at[here..here + wide]);
            sums.scale[i] = factor + if i == 0 { 0.0 } else { sums.scale[i - 1] };
        }
        sums
    }

    /// All ways from row `i` and play `j` on, by what the step before was; only where `forward` comes.
    fn backward(&self, habit: &Habit, forward: &Sums) -> Sums {
        let (rows, plays, wide) = (self.rows, self.plays, self.plays + 1);
        let mut sums = Sums { at: vec![[0.0; 3]; (rows + 1) * wide], scale: Vec::new() };
        const STATES: [States; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
        for i in (0..=rows).rev() {
            let here = i * wide;
            for j in (0..wide).rev() {
                if all(forward.at[here + j]) == 0.0 {
                    continue;
                }
                let mut on = if i == rows && j == plays { [1.0; 3] } else { [0.0; 3] };
                for (state, sum) in STATES.iter().zip(&mut on) {
                    if i < rows {
                        let at = i * wide + j;
                        *sum += habit.row(*state, self.row_alone[at], self.row_again[at]) * sums.at[here + wide + j][1];
                    }
                    if i < rows && j < plays {
                        *sum += habit.pair(*state) * self.pair[i * plays + j] * sums.at[here + wide + j + 1][0];
                    }
                    if j < plays {
                        let step = habit.play(*state, self.play_alone[i * plays + j], self.play_again[j]);
                        *sum += step * sums.at[here + j + 1][2];
                    }
                }
                sums.at[here + j] = on;
            }
            scaled(&mut sums.at[here..here + wide]);
        }
        sums
    }

    /// Natural logarithm of the weight of the one way that joins row k and play k throughout.
    pub fn identity(&self, habit: &Habit) -> f64 {
        if self.rows != self.plays {
            return f64::NEG_INFINITY;
        }
        (0..self.rows).map(|i| (habit.joined() * self.pair[i * self.plays + i]).ln()).sum()
    }
}

impl Habit {
    fn joined(&self) -> f64 {
        1.0 - self.row_alone - self.play_alone
    }

    /// From sums by the last step, those after a pair.
    fn pair(&self, [pair, row, play]: States) -> f64 {
        (pair + row) * self.joined() + play * (1.0 - self.play_alone_again) * (1.0 - self.row_alone)
    }

    /// After a row alone, of the weight it has as the first there or as one more.
    fn row(&self, [pair, row, play]: States, first: f64, again: f64) -> f64 {
        self.row_alone * ((pair + play * (1.0 - self.play_alone_again)) * first + row * again)
    }

    /// After a play alone.
    fn play(&self, [pair, row, play]: States, first: f64, again: f64) -> f64 {
        (pair + row) * self.play_alone * first + play * self.play_alone_again * again
    }
}

impl Posterior {
    /// The way without crossing on which most rows are expected right; of equals the earlier play.
    pub fn most_right(&self, plays: usize) -> Vec<Option<usize>> {
        let (rows, wide) = (self.alone.len(), plays + 1);
        let mut table = vec![0.0f64; (rows + 1) * wide];
        for i in 0..rows {
            for j in 0..wide {
                let mut best = table[i * wide + j] + self.alone[i];
                if j > 0 {
                    best = best.max(table[(i + 1) * wide + j - 1]);
                    best = best.max(table[i * wide + j - 1] + self.pair[i * plays + j - 1]);
                }
                table[(i + 1) * wide + j] = best;
            }
        }
        let mut play_of = vec![None; rows];
        let (mut i, mut j) = (rows, plays);
        while i > 0 {
            let here = table[i * wide + j];
            if j > 0 && here == table[i * wide + j - 1] {
                j -= 1;
            } else if j > 0 && here == table[(i - 1) * wide + j - 1] + self.pair[(i - 1) * plays + j - 1] {
                i -= 1;
                j -= 1;
                play_of[i] = Some(j);
            } else {
                i -= 1;
            }
        }
        play_of
    }

    /// Several answers as one, each with its own evidence and `prior` (natural logarithms).
    pub fn mixed<'a>(all: impl Iterator<Item = (&'a Self, f64)> + Clone) -> Option<Self> {
        let most = all.clone().map(|(p, prior)| p.evidence + prior).fold(f64::NEG_INFINITY, f64::max);
        let (first, _) = all.clone().next().filter(|_| most.is_finite())?;
        let mut mixed = Self { evidence: 0.0, pair: vec![0.0; first.pair.len()], alone: vec![0.0; first.alone.len()] };
        let total: f64 = all.clone().map(|(p, prior)| (p.evidence + prior - most).exp()).sum();
        for (posterior, prior) in all {
            let weight = (posterior.evidence + prior - most).exp() / total;
            if weight < 1e-9 {
                continue;
            }
            mixed.pair.iter_mut().zip(&posterior.pair).for_each(|(m, p)| *m += weight * p);
            mixed.alone.iter_mut().zip(&posterior.alone).for_each(|(m, p)| *m += weight * p);
        }
        mixed.evidence = most + total.ln();
        Some(mixed)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const HABIT: Habit = Habit { row_alone: 0.09, play_alone: 0.13, play_alone_again: 0.4 };

    /// Every way counted out: the sum of all, and of those that join a row and a play.
    fn brute(
        s: &Steps,
        (i, j): (usize, usize),
        last: States,
        weight: f64,
        joined: &mut Vec<usize>,
        out: &mut (f64, Vec<f64>),
    ) {
        if i == s.rows && j == s.plays {
            out.0 += weight;
            joined.iter().for_each(|at| out.1[*at] += weight);
            return;
        }
        if i < s.rows {
            let at = i * (s.plays + 1) + j;
            let step = HABIT.row(last, s.row_alone[at], s.row_again[at]);
            brute(s, (i + 1, j), [0.0, 1.0, 0.0], weight * step, joined, out);
        }
        if j < s.plays {
            let step = HABIT.play(last, s.play_alone[i * s.plays + j], s.play_again[j]);
            brute(s, (i, j + 1), [0.0, 0.0, 1.0], weight * step, joined, out);
        }
        if i < s.rows && j < s.plays {
            joined.push(i * s.plays + j);
            let step = HABIT.pair(last) * s.pair[i * s.plays + j];
            brute(s, (i + 1, j + 1), [1.0, 0.0, 0.0], weight * step, joined, out);
            joined.pop();
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn sums_are_those_of_all_ways_counted_out(
            (rows, plays, w) in (0usize..4, 0usize..4).prop_flat_map(|(r, p)| (
                Just(r), Just(p), proptest::collection::vec(0.01f64..5.0, 5 * (r + 1) * (p + 1)))),
        ) {
            let mut from = w.into_iter();
            let mut take = |n: usize| from.by_ref().take(n).collect::<Vec<f64>>();
            let steps = Steps { rows, plays, pair: take(rows * plays), row_alone: take(rows * (plays + 1)),
                row_again: take(rows * (plays + 1)), play_alone: take((rows + 1) * plays), play_again: take(plays) };
            let mut counted = (0.0, vec![0.0; rows * plays]);
            brute(&steps, (0, 0), [1.0, 0.0, 0.0], 1.0, &mut Vec::new(), &mut counted);
            let posterior = steps.posterior(&HABIT).unwrap();
            prop_assert!((posterior.evidence - counted.0.ln()).abs() < 1e-9);
            for (mine, theirs) in posterior.pair.iter().zip(&counted.1) {
                prop_assert!((mine - theirs / counted.0).abs() < 1e-9);
            }
            let joined: Vec<usize> = posterior.most_right(plays).into_iter().flatten().collect();
            prop_assert!(joined.windows(2).all(|w| w[0] < w[1]));
        }
    }
}
