//! What fits are made of: the normal density, the median, a small system of linear equations.

/// Density of the normal law so many spreads off its middle.
pub(super) fn normal(off: f64, spread: f64) -> f64 {
    let z = off / spread;
    // The square root of 2 pi.
    (-0.5 * z * z).exp() / (2.5066282746310002 * spread)
}

/// The middle value, of an even number the upper one; `None` for none.
pub(super) fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// Solves `a x = b` for a symmetric positive `a`, by Cholesky's factors; `None` where it is not positive.
pub(super) fn solve(mut a: Vec<Vec<f64>>, mut b: Vec<f64>) -> Option<Vec<f64>> {
    let n = b.len();
    for i in 0..n {
        for j in 0..=i {
            let sum: f64 = (0..j).map(|k| a[i][k] * a[j][k]).sum();
            let rest = a[i][j] - sum;
            if i == j {
                if rest <= 0.0 || !rest.is_finite() {
                    return None;
                }
                a[i][i] = rest.sqrt();
            } else {
                a[i][j] = rest / a[j][j];
            }
        }
    }
    for i in 0..n {
        let sum: f64 = (0..i).map(|k| a[i][k] * b[k]).sum();
        b[i] = (b[i] - sum) / a[i][i];
    }
    for i in (0..n).rev() {
        let sum: f64 = (i + 1..n).map(|k| a[k][i] * b[k]).sum();
        b[i] = (b[i] - sum) / a[i][i];
    }
    Some(b)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn solves() {
        let x = solve(vec![vec![4.0, 2.0], vec![2.0, 3.0]], vec![10.0, 8.0]).unwrap();
        assert!((x[0] - 1.75).abs() < 1e-12 && (x[1] - 1.5).abs() < 1e-12);
        assert_eq!(solve(vec![vec![0.0]], vec![1.0]), None);
    }
}
