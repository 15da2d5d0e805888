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
/// Weight of the squares of the weights of standardised terms: keeps terms that say nothing at 0.
const RIDGE: f64 = 3.0;
/// Least of it: that of the constant.
const LEAST_RIDGE: f64 = 1e-6;
/// Least share of a further term that those beside it do not tell.
const LEAST_NEW: f64 = 1e-3;
/// Times that a step is halved before it is given up.
const HALVINGS: i32 = 12;
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
    let ridges = ridges(examples);
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
            gradient[row] -= ridges[row] * weights[row];
            hessian[row][row] += ridges[row];
            let (above, below) = hessian.split_at_mut(row);
            for (column, above) in above.iter_mut().enumerate() {
                above[row] = below[0][column];
            }
        }
        let step = solved(hessian, gradient);
        if step.iter().all(|step| step.abs() < SETTLED) {
            break;
        }
        // A whole step can lead past the top where examples are nearly told apart without error.
        let before = likelihood(examples, &weights, &ridges);
        let shorter = (0..HALVINGS).map(|halving| 0.5_f64.powi(halving)).map(|share| -> Vec<f64> {
            weights.iter().zip(&step).map(|(weight, step)| weight + share * step).collect()
        });
        let Some(better) = shorter.into_iter().find(|to| likelihood(examples, to, &ridges) > before) else {
            break;
        };
        weights = better;
    }
    weights
}

/// Log likelihood of the examples, less what holds the weights towards 0.
fn likelihood(examples: &[Example], weights: &[f64], ridges: &[f64]) -> f64 {
    let held: f64 = weights.iter().zip(ridges).map(|(weight, ridge)| 0.5 * ridge * weight * weight).sum();
    let of = |example: &Example| {
        let odds: f64 = example.terms.iter().zip(weights).map(|(term, weight)| term * weight).sum();
        let against = if example.right { -odds } else { odds };
        // ln(1 + eˣ), which is x where eˣ would be too large for a number.
        -example.weight * (against.max(0.0) + (-against.abs()).exp().ln_1p())
    };
    examples.iter().map(of).sum::<f64>() - held
}

/// What holds each weight towards 0: the same for all once each term is taken in its own standard deviations.
fn ridges(examples: &[Example]) -> Vec<f64> {
    let mut sums = vec![[0.0; 2]; examples.first().map_or(0, |example| example.terms.len())];
    for example in examples {
        for ([sum, squares], term) in sums.iter_mut().zip(&example.terms) {
            *sum += term;
            *squares += term * term;
        }
    }
    let count = examples.len() as f64;
    let variance = |[sum, squares]: [f64; 2]| squares / count - (sum / count).powi(2);
    sums.into_iter().map(|sums| (RIDGE * variance(sums)).max(LEAST_RIDGE)).collect()
}

/// Which of some further terms would make the examples likelier the most beside those that they have, whose weights were
/// fitted: the one with the largest score statistic.
pub(crate) fn best_further(
    examples: &[Example],
    weights: &[f64],
    further: usize,
    value: impl Fn(usize, &[f64]) -> f64,
) -> Option<usize> {
    let count = weights.len();
    let mut information = vec![vec![0.0; count]; count];
    let mut score = vec![0.0; further];
    let mut own = vec![0.0; further];
    let mut shared = vec![vec![0.0; count]; further];
    for example in examples {
        let probability = logistic(&example.terms, weights);
        let off = example.weight * (f64::from(u8::from(example.right)) - probability);
        let curve = example.weight * (probability * (1.0 - probability)).max(1e-9);
        for (row, term) in information.iter_mut().zip(&example.terms) {
            row.iter_mut().zip(&example.terms).for_each(|(sum, other)| *sum += curve * term * other);
        }
        for (index, shared) in shared.iter_mut().enumerate() {
            let value = value(index, &example.terms);
            score[index] += off * value;
            own[index] += curve * value * value;
            shared.iter_mut().zip(&example.terms).for_each(|(sum, term)| *sum += curve * value * term);
        }
    }
    for (row, ridge) in ridges(examples).into_iter().enumerate() {
        information[row][row] += ridge;
    }
    let statistic = |index: usize| {
        let told = solved(information.clone(), shared[index].clone());
        let known: f64 = told.iter().zip(&shared[index]).map(|(told, shared)| told * shared).sum();
        let left = own[index] - known;
        // What the other terms tell already adds nothing but the noise of its sums.
        if left > LEAST_NEW * own[index] { score[index].powi(2) / left } else { 0.0 }
    };
    let statistics: Vec<f64> = (0..further).map(statistic).collect();
    (0..further)
        .max_by(|&a, &b| statistics[a].total_cmp(&statistics[b]))
        .filter(|&best| statistics[best] > 0.0)
}

/// Solution of a positive definite system by elimination.
fn solved(mut matrix: Vec<Vec<f64>>, mut right: Vec<f64>) -> Vec<f64> {
    let count = right.len();
    for pivot in 0..count {
        for row in pivot + 1..count {
            let factor = matrix[row][pivot] / matrix[pivot][pivot];
            let (above, below) = matrix.split_at_mut(row);
            for (value, pivot) in below[0].iter_mut().zip(&above[pivot]).skip(pivot) {
                *value -= factor * pivot;
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
