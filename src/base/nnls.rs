//! Non-negative least squares: the x ≥ 0 that makes `|A x − b|` smallest.
//!
//! The active-set method of Lawson & Hanson (Solving Least Squares Problems, 1974, chapter 23) on the normal equations,
//! as Bro & de Jong 1997 use them (both from memory).

use nalgebra::{DMatrix, DVector};

/// Gradients below this fraction of the largest right side count as zero.
const RELATIVE_TOLERANCE: f64 = 1e-12;

/// Solves for `x ≥ 0` from `gram` = AᵀA (n × n) and `right` = Aᵀb. Never fails: an unknown that the data do not hold
/// stays 0.
///
/// ```
/// use nalgebra::{DMatrix, DVector};
/// let a = DMatrix::from_row_slice(3, 2, &[1.0, 0.0, 0.0, 1.0, 1.0, 1.0]);
/// let b = DVector::from_vec(vec![2.0, -1.0, 0.5]);
/// let x = plateproof::base::nnls::nnls(&(a.transpose() * &a), &(a.transpose() * &b));
/// assert!((x[0] - 1.25).abs() < 1e-12 && x[1] == 0.0);
/// ```
pub fn nnls(gram: &DMatrix<f64>, right: &DVector<f64>) -> DVector<f64> {
    let count = right.len();
    let mut x = DVector::zeros(count);
    let mut free = vec![false; count];
    let mut refused = vec![false; count];
    let tolerance = RELATIVE_TOLERANCE * right.amax().max(f64::MIN_POSITIVE);
    // Each round frees one unknown; 3n rounds are the usual bound against cycling.
    for _ in 0..3 * count {
        let gradient = right - gram * &x;
        let next = (0..count)
            .filter(|i| !free[*i] && !refused[*i] && gradient[*i] > tolerance)
            .max_by(|a, b| gradient[*a].total_cmp(&gradient[*b]));
        let Some(next) = next else { break };
        free[next] = true;
        if inner(gram, right, &mut x, &mut free).is_some() {
            refused.fill(false);
        } else {
            free[next] = false;
            refused[next] = true;
        }
    }
    x
}

/// Solves for the free unknowns and walks back until none of them is negative; `None` where they cannot be told apart.
fn inner(gram: &DMatrix<f64>, right: &DVector<f64>, x: &mut DVector<f64>, free: &mut [bool]) -> Option<()> {
    for _ in 0..=free.len() {
        let set: Vec<usize> = (0..free.len()).filter(|i| free[*i]).collect();
        let part = DMatrix::from_fn(set.len(), set.len(), |i, j| gram[(set[i], set[j])]);
        let wanted = part.cholesky()?.solve(&DVector::from_fn(set.len(), |i, _| right[set[i]]));
        if wanted.iter().any(|v| !v.is_finite()) {
            return None;
        }
        let reach = set
            .iter()
            .zip(wanted.iter())
            .filter(|(_, w)| **w <= 0.0)
            .map(|(i, w)| x[*i] / (x[*i] - w).max(f64::MIN_POSITIVE))
            .fold(1.0, f64::min);
        for (i, w) in set.iter().zip(wanted.iter()) {
            x[*i] += reach * (w - x[*i]);
            if *w <= 0.0 && x[*i] <= 1e-14 {
                x[*i] = 0.0;
                free[*i] = false;
            }
        }
        if reach >= 1.0 {
            break;
        }
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers by `scipy.optimize.nnls`, scipy 1.17.1 (script and seed in golden/nnls).
    #[test]
    fn agrees_with_scipy() {
        let cases: Vec<Case> = serde_json::from_str(include_str!("../../golden/nnls/cases.json")).unwrap();
        assert!(cases.len() >= 10);
        for (index, case) in cases.iter().enumerate() {
            let columns = case.x.len();
            let a = DMatrix::from_row_iterator(case.b.len(), columns, case.a.iter().flatten().copied());
            let b = DVector::from_vec(case.b.clone());
            let x = nnls(&(a.transpose() * &a), &(a.transpose() * &b));
            for (ours, theirs) in x.iter().zip(&case.x) {
                assert!((ours - theirs).abs() < 1e-8, "case {index}: {ours} instead of {theirs}");
            }
        }
    }

    #[derive(serde::Deserialize)]
    struct Case {
        a: Vec<Vec<f64>>,
        b: Vec<f64>,
        x: Vec<f64>,
    }

    #[test]
    fn what_cannot_be_told_apart_ends_without_numbers_that_are_none() {
        let twice = DMatrix::from_element(2, 2, 1.0);
        let x = nnls(&twice, &DVector::from_element(2, 3.0));
        assert!((x.sum() - 3.0).abs() < 1e-9 && x.iter().all(|v| v.is_finite()));
        assert_eq!(nnls(&DMatrix::zeros(2, 2), &DVector::zeros(2)), DVector::zeros(2));
        assert!(nnls(&DMatrix::zeros(0, 0), &DVector::zeros(0)).is_empty());
    }
}
