//! Logistic regression by Newton's method, held towards 0.

/// One that was right or not.
#[derive(Clone, Debug)]
pub(crate) struct Example {
    pub(crate) terms: Vec<f64>,
    pub(crate) right: bool,
    pub(crate) weight: f64,
}

/// Steps at most.
const STEPS: usize = 30;
/// Weight of the squares of the weights, less that of the constant: keeps terms that say nothing at 0.
const RIDGE: f64 = 3.0;
/// Largest step of a weight that has not settled.
const SETTLED: f64 = 1e-6;

/// Probability of what has these terms.
pub(crate) fn logistic(terms: &[f64], weights: &[f64]) -> f64 {
    let odds: f64 = terms.iter().zip(weights).map(|(term, weight)| term * weight).sum();
    1.0 / (1.0 + (-odds).exp())
}

/// The weights that make the examples likeliest, the first term being the constant; empty without examples.
pub(crate) fn fit(examples: &[Example]) -> Vec<f64> {
    let count = examples.first().map_or(0, |example| example.terms.len());
    let mut weights = vec![0.0; count];
    for _ in 0..STEPS {
        let mut gradient = vec![0.0; count];
        let mut hessian = vec![vec![0.0; count]; count];
        for example in examples {
            let probability = logistic(&example.terms, &weights);
            let off = example.weight * (f64::from(u8::from(example.right)) - probability);
            let curve = example.weight * (probability * (1.0 - probability)).max(1e-9);
            for (row, term) in example.terms.iter().enumerate() {
                gradient[row] += off * term;
                for (column, other) in example.terms[..=row].iter().enumerate() {
                    hessian[row][column] += curve * term * other;
                }
            }
        }
        for row in 0..count {
            let ridge = if row == 0 { 1e-6 } else { RIDGE };
            gradient[row] -= ridge * weights[row];
            hessian[row][row] += ridge;
            for column in 0..row {
                hessian[column][row] = hessian[row][column];
            }
        }
        let step = solved(hessian, gradient);
        weights.iter_mut().zip(&step).for_each(|(weight, step)| *weight += step.clamp(-2.0, 2.0));
        if step.iter().all(|step| step.abs() < SETTLED) {
            break;
        }
    }
    weights
}

/// Solution of a positive definite system by elimination.
fn solved(mut matrix: Vec<Vec<f64>>, mut right: Vec<f64>) -> Vec<f64> {
    let count = right.len();
    for pivot in 0..count {
        for row in pivot + 1..count {
            let factor = matrix[row][pivot] / matrix[pivot][pivot];
            for column in pivot..count {
                matrix[row][column] -= factor * matrix[pivot][column];
            }
            right[row] -= factor * right[pivot];
        }
    }
    for row in (0..count).rev() {
        let known: f64 = (row + 1..count).map(|column| matrix[row][column] * right[column]).sum();
        right[row] = (right[row] - known) / matrix[row][row];
    }
    right
}
