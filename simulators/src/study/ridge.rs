//! Ridge regression on quadratic features.
//!
//! Owns the algebra: Hoerl and Kennard, *Technometrics* 12 (1970) 55; the penalty by tenfold cross-validation.
//! It must not know what is forecast from what.

use nalgebra::{DMatrix, DVector};

/// Penalties tried, in squares of a standardised feature for each example.
const PENALTIES: [f64; 13] = [
    1e-6, 1e-5, 1e-4, 3e-4, 1e-3, 3e-3, 1e-2, 3e-2, 0.1, 0.3, 1.0, 3.0, 10.0,
];

const FOLDS: usize = 10;

/// A fitted regression.
#[derive(Clone, Debug, PartialEq)]
pub struct Ridge {
    inputs: Scale,
    features: Scale,
    weights: DVector<f64>,
    mean_answer: f64,
    /// The penalty that cross-validation chose.
    pub penalty: f64,
    /// Mean size of the error on the folds left out, in the answer's unit.
    pub cross_validated_error: f64,
}

/// Mean and standard deviation of each column.
#[derive(Clone, Debug, PartialEq)]
struct Scale {
    mean: Vec<f64>,
    deviation: Vec<f64>,
}

impl Scale {
    fn of(rows: &[Vec<f64>]) -> Self {
        let count = rows.len() as f64;
        let columns = 0..rows[0].len();
        let mean: Vec<f64> = columns
            .clone()
            .map(|column| rows.iter().map(|row| row[column]).sum::<f64>() / count)
            .collect();
        let deviation = columns
            .map(|column| {
                let square = |row: &Vec<f64>| (row[column] - mean[column]).powi(2);
                let deviation = (rows.iter().map(square).sum::<f64>() / count).sqrt();
                // A column that never changes says nothing.
                if deviation > 1e-12 {
                    deviation
                } else {
                    f64::INFINITY
                }
            })
            .collect();
        Self { mean, deviation }
    }

    fn apply(&self, row: &[f64]) -> Vec<f64> {
        row.iter()
            .zip(&self.mean)
            .zip(&self.deviation)
            .map(|((value, mean), deviation)| (value - mean) / deviation)
            .collect()
    }
}

/// Every value, every square and every product of two.
pub fn quadratic(row: &[f64]) -> Vec<f64> {
    let mut all = row.to_vec();
    for (index, a) in row.iter().enumerate() {
        all.extend(row[index..].iter().map(|b| a * b));
    }
    all
}

/// What a set of examples adds to the normal equations.
#[derive(Clone)]
struct Sums {
    gram: DMatrix<f64>,
    moment: DVector<f64>,
}

impl Sums {
    fn of(rows: &[&[f64]], answers: &[f64], width: usize) -> Self {
        let matrix = DMatrix::from_fn(rows.len(), width, |row, column| rows[row][column]);
        Self {
            gram: matrix.tr_mul(&matrix),
            moment: matrix.tr_mul(&DVector::from_column_slice(answers)),
        }
    }

    fn solve(&self, penalty: f64) -> DVector<f64> {
        let width = self.moment.len();
        let ridged = &self.gram + DMatrix::identity(width, width) * penalty;
        ridged
            .cholesky()
            .expect("a Gram matrix with a penalty on its diagonal is positive definite")
            .solve(&self.moment)
    }
}

impl Ridge {
    /// Fits examples of the same width to their answers. None of fewer than twenty.
    pub fn fit(examples: &[Vec<f64>], answers: &[f64]) -> Option<Self> {
        if examples.len() < 2 * FOLDS || examples.len() != answers.len() {
            return None;
        }
        let inputs = Scale::of(examples);
        let squared: Vec<Vec<f64>> = examples
            .iter()
            .map(|row| quadratic(&inputs.apply(row)))
            .collect();
        let features = Scale::of(&squared);
        let rows: Vec<Vec<f64>> = squared.iter().map(|row| features.apply(row)).collect();
        let mean_answer = answers.iter().sum::<f64>() / answers.len() as f64;
        let centred: Vec<f64> = answers.iter().map(|answer| answer - mean_answer).collect();
        let folds: Vec<Sums> = (0..FOLDS)
            .map(|fold| fold_sums(&rows, &centred, fold))
            .collect();
        let all = folds
            .iter()
            .skip(1)
            .fold(folds[0].clone(), |sum, fold| Sums {
                gram: sum.gram + &fold.gram,
                moment: sum.moment + &fold.moment,
            });
        let per_example = examples.len() as f64;
        let (cross_validated_error, penalty) = PENALTIES
            .iter()
            .map(|penalty| {
                let error = left_out_error(&rows, &centred, &folds, &all, penalty * per_example);
                (error, *penalty)
            })
            .min_by(|a, b| a.0.total_cmp(&b.0))?;
        Some(Self {
            inputs,
            features,
            weights: all.solve(penalty * per_example),
            mean_answer,
            penalty,
            cross_validated_error,
        })
    }

    pub fn predict(&self, example: &[f64]) -> f64 {
        let row = self.features.apply(&quadratic(&self.inputs.apply(example)));
        self.mean_answer + self.weights.dot(&DVector::from_vec(row))
    }
}

fn of_fold(fold: usize) -> impl Fn(&usize) -> bool {
    move |index| index % FOLDS == fold
}

fn fold_sums(rows: &[Vec<f64>], answers: &[f64], fold: usize) -> Sums {
    let chosen: Vec<usize> = (0..rows.len()).filter(of_fold(fold)).collect();
    let part: Vec<&[f64]> = chosen.iter().map(|index| rows[*index].as_slice()).collect();
    let answers: Vec<f64> = chosen.iter().map(|index| answers[*index]).collect();
    Sums::of(&part, &answers, rows[0].len())
}

/// Mean size of the error of each example by a fit to the other folds.
fn left_out_error(
    rows: &[Vec<f64>],
    answers: &[f64],
    folds: &[Sums],
    all: &Sums,
    penalty: f64,
) -> f64 {
    let mut sum = 0.0;
    for (fold, own) in folds.iter().enumerate() {
        let others = Sums {
            gram: &all.gram - &own.gram,
            moment: &all.moment - &own.moment,
        };
        let weights = others.solve(penalty);
        for index in (0..rows.len()).filter(of_fold(fold)) {
            let forecast: f64 = rows[index]
                .iter()
                .zip(weights.iter())
                .map(|(x, w)| x * w)
                .sum();
            sum += (forecast - answers[index]).abs();
        }
    }
    sum / rows.len() as f64
}

#[cfg(test)]
mod tests {
    use super::{Ridge, Sums, quadratic};

    #[test]
    fn quadratic_features_are_values_squares_and_products() {
        assert_eq!(
            quadratic(&[2.0, 3.0, 5.0]),
            [2.0, 3.0, 5.0, 4.0, 6.0, 10.0, 9.0, 15.0, 25.0]
        );
    }

    #[test]
    fn the_penalised_solution_is_that_worked_by_hand() {
        // x = (1, 2), y = (1, 3): gram 5, moment 7; with a penalty of 2 the weight is 7 / 7 = 1.
        let sums = Sums::of(&[&[1.0], &[2.0]], &[1.0, 3.0], 1);
        assert!((sums.solve(2.0)[0] - 1.0).abs() < 1e-12);
        assert!((sums.solve(0.0)[0] - 1.4).abs() < 1e-12);
    }

    #[test]
    fn a_quadratic_law_without_noise_is_found() {
        let examples: Vec<Vec<f64>> = (0..60)
            .map(|n| {
                let n = f64::from(n);
                vec![(0.37 * n).sin(), (1.1 * n).cos(), 7.0]
            })
            .collect();
        let law = |row: &[f64]| 2.0 + row[0] - 0.5 * row[1] + 0.3 * row[0] * row[1];
        let answers: Vec<f64> = examples.iter().map(|row| law(row)).collect();
        let ridge = Ridge::fit(&examples, &answers).expect("enough examples");
        let new = [0.4, -0.7, 7.0];
        assert!((ridge.predict(&new) - law(&new)).abs() < 1e-3);
        assert!(ridge.cross_validated_error < 1e-3);
    }

    #[test]
    fn too_few_examples_give_none() {
        assert_eq!(Ridge::fit(&vec![vec![1.0]; 19], &[0.0; 19]), None);
    }
}
