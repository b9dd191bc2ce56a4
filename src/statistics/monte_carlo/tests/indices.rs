//! Contributions to the variance against functions whose indices are published.

use super::*;

fn ranked(model: &Model, draws: u64) -> Vec<Contribution> {
    contributions(model, draws, 21, threads(2))
        .outputs
        .remove(0)
}

/// Sobol's g function (Saltelli and Sobol 1995): product of `(|4 x - 2| + a) / (1 + a)` of uniform
/// `x`. `|4 x - 2|` is itself uniform from 0 to 2. `V_i = 1 / (3 (1 + a_i)^2)` and
/// `V = product (1 + V_i) - 1`; for a = 0, 1, 4.5, 9 the first-order indices are 0.7165,
/// 0.1791, 0.0237, 0.0072 and the total ones 0.7874, 0.2423, 0.0343, 0.0105 (COMPUTED by the formulas).
#[test]
fn sobol_g_function() {
    let mut model = ModelBuilder::default();
    let a = [0.0, 1.0, 4.5, 9.0];
    let mut factors = Vec::new();
    for a in a {
        let uniform = Marginal::Uniform {
            lower: a,
            upper: a + 2.0,
        };
        let above = model.independent(uniform).unwrap();
        let below = model.constant(1.0 + a);
        factors.push(model.quotient(above, below));
    }
    let g = model.product(&factors);
    let found = ranked(&model.compile(&[g]), 16_384);
    let first = [0.7165, 0.1791, 0.0237, 0.0072];
    let total = [0.7874, 0.2423, 0.0343, 0.0105];
    let part = |a: f64| 1.0 / (3.0 * (1.0f64 + a).powi(2));
    let whole: f64 = a.iter().map(|a| 1.0 + part(*a)).product();
    for (at, contribution) in found.iter().enumerate() {
        let v = part(a[at]);
        assert!((v / (whole - 1.0) - first[at]).abs() < 6e-5);
        assert!((v * (whole / (1.0 + v)) / (whole - 1.0) - total[at]).abs() < 6e-5);
        agrees(
            contribution.first_order,
            contribution.first_order_error,
            first[at],
        );
        agrees(contribution.total, contribution.total_error, total[at]);
        assert!(contribution.first_order_error < 0.02 && contribution.total_error < 0.02);
    }
}

/// `sin x` on -pi to pi as its series to the 21st power, exact there to 1e-11.
fn sine(model: &mut ModelBuilder, x: Value) -> Value {
    let square = model.product(&[x, x]);
    let one = model.constant(1.0);
    let mut series = one;
    for n in (1..=10).rev() {
        let step = model.constant(1.0 / f64::from(2 * n * (2 * n + 1)));
        let term = model.product(&[series, square, step]);
        series = model.sum(&[(1.0, one), (-1.0, term)]);
    }
    model.product(&[series, x])
}

/// Ishigami and Homma (1990), a = 7, b = 0.1: first-order 0.3139, 0.4424, 0; total 0.5576,
/// 0.4424, 0.2437 (published in Saltelli et al. 2008, Global Sensitivity Analysis; MEMORY, and
/// COMPUTED from the closed form).
#[test]
fn ishigami_function() {
    let mut model = ModelBuilder::default();
    let pi = std::f64::consts::PI;
    let mut x = Vec::new();
    for _ in 0..3 {
        let uniform = Marginal::Uniform {
            lower: -pi,
            upper: pi,
        };
        x.push(model.independent(uniform).unwrap());
    }
    let (first, second) = (sine(&mut model, x[0]), sine(&mut model, x[1]));
    let seven = model.constant(7.0);
    let tenth = model.constant(0.1);
    let squares = model.product(&[seven, second, second]);
    let cross = model.product(&[tenth, x[2], x[2], x[2], x[2], first]);
    let sum = model.sum(&[(1.0, first), (1.0, squares), (1.0, cross)]);
    let found = ranked(&model.compile(&[sum]), 16_384);
    let wanted = [(0.3139, 0.5576), (0.4424, 0.4424), (0.0, 0.2437)];
    for (contribution, (first, total)) in found.iter().zip(wanted) {
        agrees(
            contribution.first_order,
            contribution.first_order_error,
            first,
        );
        agrees(contribution.total, contribution.total_error, total);
        assert!(contribution.first_order_error < 0.03 && contribution.total_error < 0.03);
    }
}

/// In a sum each input brings its own variance and nothing else: both indices are its share.
#[test]
fn a_survey_is_one_group_and_a_sum_has_no_interactions() {
    let mut model = ModelBuilder::default();
    let survey = model
        .joint(
            &[1.0, 1.0],
            &[vec![3.0, 1.0], vec![1.0, 1.0]],
            f64::INFINITY,
        )
        .unwrap();
    let other = model.independent(normal(5.0, 2.0)).unwrap();
    let unused = model.independent(normal(0.0, 1.0)).unwrap();
    let sum = model.sum(&[(1.0, survey[0]), (1.0, survey[1]), (1.0, other)]);
    let model = model.compile(&[sum, unused]);
    let all = contributions(&model, 8_192, 3, threads(2));
    assert_eq!(all.evaluations, 8_192 * 5);
    let found = &all.outputs[0];
    assert_eq!(found.len(), 2, "an input that is not used has no place");
    // Variances 3 + 1 + 2 = 6 and 4.
    for (contribution, share) in found.iter().zip([0.6, 0.4]) {
        agrees(
            contribution.first_order,
            contribution.first_order_error,
            share,
        );
        agrees(contribution.total, contribution.total_error, share);
    }
    assert_eq!(all.outputs[1].len(), 1);
}
