//! Monotone cubic interpolation.

use crate::maths::Cubics;

/// A curve through points that overshoots nowhere: cubic Hermite pieces with limited slopes, held beyond the ends.
///
/// Source: Fritsch, F. N., Carlson, R. E., SIAM J. Numer. Anal. 17 (1980) 238-246; slopes by the weighted harmonic
/// mean of Fritsch and Butland (1984).
#[derive(Debug, Clone, PartialEq)]
pub struct Monotone(Cubics);

impl Monotone {
    /// Through points with rising abscissae; at least one.
    pub(crate) fn through(points: &[[f64; 2]]) -> Monotone {
        let x: Vec<f64> = points.iter().map(|p| p[0]).collect();
        let y: Vec<f64> = points.iter().map(|p| p[1]).collect();
        let n = x.len();
        let mut slope = vec![0.0; n];
        if n == 2 {
            let d = (y[1] - y[0]) / (x[1] - x[0]);
            slope = vec![d, d];
        } else if n > 2 {
            let h: Vec<f64> = (0..n - 1).map(|j| x[j + 1] - x[j]).collect();
            let d: Vec<f64> = (0..n - 1).map(|j| (y[j + 1] - y[j]) / h[j]).collect();
            for j in 1..n - 1 {
                if d[j - 1] * d[j] > 0.0 {
                    let (w1, w2) = (2.0 * h[j] + h[j - 1], h[j] + 2.0 * h[j - 1]);
                    slope[j] = (w1 + w2) / (w1 / d[j - 1] + w2 / d[j]);
                }
            }
            slope[0] = end_slope(h[0], h[1], d[0], d[1]);
            slope[n - 1] = end_slope(h[n - 2], h[n - 3], d[n - 2], d[n - 3]);
        }
        Monotone(Cubics::hermite(points, &slope, 0.0))
    }

    /// The value at `x`; held beyond the ends.
    pub(crate) fn at(&self, x: f64) -> f64 {
        self.0.at(x)
    }

    /// Adds the values at many `x`.
    pub(crate) fn add(&self, x: &[f64], out: &mut [f64]) {
        self.0.add(1.0, x, out);
    }
}

/// Slope at an end by the three-point rule, kept monotone.
fn end_slope(h0: f64, h1: f64, d0: f64, d1: f64) -> f64 {
    let s = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
    if s * d0 <= 0.0 {
        0.0
    } else if d0 * d1 <= 0.0 && s.abs() > 3.0 * d0.abs() {
        3.0 * d0
    } else {
        s
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn column_and_point_agree(
            steps in prop::collection::vec((0.01..2.0_f64, -1.0..1.0_f64), 1..7),
            x in prop::collection::vec(-3.0..15.0_f64, 1..40),
        ) {
            let mut at = 0.0;
            let points: Vec<[f64; 2]> = steps.iter().map(|(d, y)| { at += d; [at, *y] }).collect();
            let curve = Monotone::through(&points);
            let x: Vec<f64> = x.into_iter().chain(points.iter().map(|p| p[0])).collect();
            let mut out = vec![0.0; x.len()];
            curve.add(&x, &mut out);
            for (x, y) in x.iter().zip(&out) {
                prop_assert!((curve.at(*x) - y).abs() <= 1e-14, "{} {} {}", x, y, curve.at(*x));
            }
        }
    }

    // Source: the monotone cubic of SciPy 1.17 (`PchipInterpolator`), a general-purpose library, run on these points. They
    // have a flat stretch, a turn, unequal steps, an end that is held to three times its first chord and ends held flat.
    #[test]
    fn the_values_of_a_general_library() {
        let within = |points: &[[f64; 2]], wanted: &[[f64; 2]]| {
            let curve = Monotone::through(points);
            for [x, y] in wanted {
                assert!((curve.at(*x) - y).abs() < 1e-13, "{points:?} at {x}: {} {y}", curve.at(*x));
            }
        };
        within(
            &[[0.0, 0.0], [1.0, 2.0], [2.5, 2.5], [3.0, 2.5], [5.0, 7.0], [9.0, 6.0]],
            &[
                [0.25, 0.659375],
                [0.5, 1.2583333333333335],
                [1.2, 2.1144296296296297],
                [2.0, 2.437037037037037],
                [2.75, 2.5],
                [3.5, 3.203125],
                [4.5, 6.296875],
                [5.5, 6.998046875],
                [7.0, 6.875],
                [8.9, 6.073140625],
            ],
        );
        within(
            &[[0.0, 0.0], [1.0, 0.1], [2.0, -3.0], [3.0, -3.2], [4.5, 2.0]],
            &[
                [0.3, 0.06570000000000001],
                [0.6, 0.09360000000000002],
                [1.5, -1.4030303030303028],
                [2.5, -3.146969696969697],
                [3.3, -2.9312000000000005],
                [4.0, -0.6074074074074073],
                [4.4, 1.4401185185185212],
            ],
        );
        within(
            &[[0.0, 0.0], [1.0, 0.1], [2.5, 3.0]],
            &[
                [0.3, 0.010298969072164947],
                [0.6, 0.03896907216494845],
                [1.5, 0.5546773577701413],
                [2.2, 2.124610309278351],
            ],
        );
        // Two points are a straight line, held beyond both.
        within(&[[1.0, 2.0], [3.0, 8.0]], &[[0.0, 2.0], [1.0, 2.0], [1.5, 3.5], [2.5, 6.5], [3.0, 8.0], [9.0, 8.0]]);
    }
}
