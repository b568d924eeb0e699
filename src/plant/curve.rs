//! Curves through a few points.

use crate::maths::Cubics;
use crate::plant::PlantError;

/// A continuous curve `y(x)`: left of the first point it is held.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Curve(Cubics);

impl Curve {
    /// The same everywhere.
    pub(crate) fn constant(y: f64) -> Curve {
        Curve(Cubics::new(&[[0.0, y, 0.0, 0.0, 0.0]]))
    }

    /// Straight lines through ascending points, held beyond both ends; nothing but 0 without points.
    pub(crate) fn straight(points: &[[f64; 2]]) -> Curve {
        Curve::lines(points, 0.0)
    }

    /// Straight lines through ascending points, and a slope beyond the last.
    fn lines(points: &[[f64; 2]], onward: f64) -> Curve {
        let Some([x, y]) = points.last() else { return Curve::constant(0.0) };
        let between =
            points.windows(2).map(|w| [w[0][0], w[0][1], (w[1][1] - w[0][1]) / (w[1][0] - w[0][0]), 0.0, 0.0]);
        Curve(Cubics::new(&between.chain([[*x, *y, onward, 0.0, 0.0]]).collect::<Vec<_>>()))
    }

    /// Cubic Hermite pieces through ascending points with the slopes given; beyond the last point its slope goes on,
    /// but never downwards.
    fn hermite(points: &[[f64; 2]], slopes: &[f64]) -> Curve {
        Curve(Cubics::hermite(points, slopes, slopes.last().map_or(0.0, |slope| slope.max(0.0))))
    }

    /// Conversion loss over input power, both in W, through points that lie on it, from zero input upwards.
    ///
    /// One point: the same efficiency at every load. Two: a straight line. Three: the parabola
    /// `p0 + p1 P + p2 P^2`, if it stays a loss. More, or a parabola that does not: monotone cubic pieces with the
    /// three-point slopes of Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300-304, in the form for
    /// unequal steps (Brodlie), held within the bounds of Fritsch and Carlson, SIAM J. Numer. Anal. 17 (1980)
    /// 238-246, for the loss and for what is left after it (both from memory). Where the loss points rise, the curve
    /// rises between them; output always rises with input.
    ///
    /// The points ascend in input power, and so does input less loss.
    pub(crate) fn loss(points: &[[f64; 2]]) -> Curve {
        match points {
            [] => Curve::constant(0.0),
            [[x, y]] => Curve::hermite(&[[0.0, 0.0], [*x, *y]], &[y / x, y / x]),
            [a, b, c] => Curve::parabola(*a, *b, *c).unwrap_or_else(|| Curve::monotone(points)),
            _ => Curve::monotone(points),
        }
    }

    fn parabola(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> Option<Curve> {
        let s1 = (b[1] - a[1]) / (b[0] - a[0]);
        let s2 = (c[1] - b[1]) / (c[0] - b[0]);
        let p2 = (s2 - s1) / (c[0] - a[0]);
        let p1 = s1 - p2 * (a[0] + b[0]);
        let p0 = a[1] - a[0] * (p1 + p2 * a[0]);
        let end_slope = p1 + 2.0 * p2 * c[0];
        let fine = p0 >= 0.0 && p1 >= 0.0 && (0.0..1.0).contains(&end_slope) && p1 < 1.0;
        fine.then(|| Curve::hermite(&[[0.0, p0], c], &[p1, end_slope]))
    }

    fn monotone(points: &[[f64; 2]]) -> Curve {
        let (first, second) = (points[0], points[1]);
        let start_slope = (second[1] - first[1]) / (second[0] - first[0]);
        let at_zero = (first[1] - start_slope * first[0]).clamp(0.0, first[1].max(0.0));
        let mut all = vec![[0.0, at_zero]];
        all.extend_from_slice(points);
        let step: Vec<f64> = all.windows(2).map(|w| w[1][0] - w[0][0]).collect();
        let rise: Vec<f64> = all.windows(2).map(|w| (w[1][1] - w[0][1]) / (w[1][0] - w[0][0])).collect();
        let last = rise.len() - 1;
        let mut slopes = vec![rise[0]];
        for i in 1..=last {
            slopes.push(inner_slope(step[i - 1], step[i], rise[i - 1], rise[i]));
        }
        slopes.push(end_slope(step[last], step[last - 1], rise[last], rise[last - 1]));
        // What is left, 1 - slope, must stay within 0 .. 3 times its own smallest secant.
        for (i, slope) in slopes.iter_mut().enumerate() {
            let (left, right) = (rise[i.saturating_sub(1)], rise[i.min(last)]);
            *slope = slope.clamp(1.0 - 3.0 * (1.0 - left.max(right)), 1.0);
            // Where efficiency falls so fast that this asks for more than 3 times a secant of the loss, no smooth curve
            // keeps both, and the loss could fall below 0 before it rises.
            if [left, right].iter().any(|secant| *slope * secant < 0.0 || slope.abs() > 3.0 * secant.abs() + 1e-12) {
                return Curve::polygon(&all);
            }
        }
        Curve::hermite(&all, &slopes)
    }

    /// Straight lines through ascending points; the last one goes on, but never downwards.
    fn polygon(points: &[[f64; 2]]) -> Curve {
        let onward = match points {
            [.., before, last] => ((last[1] - before[1]) / (last[0] - before[0])).max(0.0),
            _ => 0.0,
        };
        Curve::lines(points, onward)
    }

    /// One value.
    pub(crate) fn at(&self, x: f64) -> f64 {
        self.0.at(x)
    }

    /// `out[i] = curve(x[i] * scale)`; both slices have the same length.
    pub(crate) fn column(&self, scale: f64, x: &[f64], out: &mut [f64]) {
        self.0.column(scale, x, out);
    }
}

/// Weighted harmonic mean of the secants on both sides; zero where they differ in sign.
fn inner_slope(h0: f64, h1: f64, s0: f64, s1: f64) -> f64 {
    if s0 * s1 <= 0.0 {
        return 0.0;
    }
    let (w0, w1) = (2.0 * h1 + h0, h1 + 2.0 * h0);
    (w0 + w1) / (w0 / s0 + w1 / s1)
}

/// Three-point slope at the last point, held to the sign and three times the size of the last secant.
fn end_slope(h0: f64, h1: f64, s0: f64, s1: f64) -> f64 {
    let slope = ((2.0 * h0 + h1) * s0 - h0 * s1) / (h0 + h1);
    if slope * s0 <= 0.0 {
        0.0
    } else if slope.abs() > 3.0 * s0.abs() {
        3.0 * s0
    } else {
        slope
    }
}

/// `[load in percent of the rating, efficiency in percent]` as `[input W, loss W]`, checked.
///
/// `on_input`: the load is counted on the input side (module converters), not on the output (inverters).
pub(crate) fn loss_points(
    key: &str,
    rating_w: f64,
    points: &[[f64; 2]],
    on_input: bool,
) -> Result<Vec<[f64; 2]>, PlantError> {
    if points.is_empty() {
        return Err(PlantError::missing(
            key,
            "[percent of rating, efficiency in percent] points",
            "Take them from the data sheet, for example [[10, 96.5], [50, 98.0], [100, 97.6]].",
        ));
    }
    let mut found: Vec<[f64; 2]> = Vec::with_capacity(points.len());
    for (i, &[load, eta]) in points.iter().enumerate() {
        let name = || format!("{key}[{i}]");
        if !load.is_finite() || load <= 0.0 || load > 200.0 {
            return Err(PlantError::value(
                name(),
                load,
                "a load above 0 and up to 200 percent",
                "Check the first number of the pair.",
            ));
        }
        if !eta.is_finite() || eta <= 0.0 || eta > 100.0 {
            return Err(PlantError::value(
                name(),
                eta,
                "an efficiency above 0 and up to 100 percent",
                "Check the second number of the pair.",
            ));
        }
        if eta <= 1.0 {
            return Err(PlantError::value(
                name(),
                eta,
                "an efficiency in percent",
                format!("It looks like a share; write {}.", eta * 100.0),
            ));
        }
        let load_w = load / 100.0 * rating_w;
        let dc = if on_input { load_w } else { load_w / (eta / 100.0) };
        let point = [dc, dc * (1.0 - eta / 100.0)];
        if let Some(before) = found.last() {
            if load <= points[i - 1][0] {
                return Err(PlantError::value(
                    name(),
                    load,
                    format!("a load above the one before ({})", points[i - 1][0]),
                    "Put the points in ascending order, each load once.",
                ));
            }
            // Input and output must both rise, or the curve has no meaning.
            if dc <= before[0] || dc - point[1] <= before[0] - before[1] {
                return Err(PlantError::value(
                    name(),
                    eta,
                    "an efficiency with which output rises as input rises",
                    "Check this point and the one before for a slip.",
                ));
            }
        }
        found.push(point);
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn passes_through_its_points() {
        let points = [[1.0, 0.5], [2.0, 0.55], [4.0, 0.8], [8.0, 1.9], [9.0, 2.3]];
        let curve = Curve::loss(&points);
        for [x, y] in points {
            assert!((curve.at(x) - y).abs() < 1e-14, "{x}");
        }
        assert!(curve.at(0.0) >= 0.0);
        assert!(curve.at(12.0) > curve.at(9.0));
    }

    #[test]
    fn three_points_are_a_parabola() {
        let f = |x: f64| 90.0 + 0.004 * x + 4e-7 * x * x;
        let curve = Curve::loss(&[[2000.0, f(2000.0)], [15000.0, f(15000.0)], [33000.0, f(33000.0)]]);
        for x in [0.0, 500.0, 9000.0, 20000.0, 33000.0] {
            assert!((curve.at(x) - f(x)).abs() < 1e-9, "{x}");
        }
    }

    #[test]
    fn straight_lines_are_held_beyond_their_ends() {
        let curve = Curve::straight(&[[40.0, 33000.0], [50.0, 28000.0], [60.0, 0.0]]);
        assert_eq!(curve.at(-10.0), 33000.0);
        assert_eq!(curve.at(45.0), 30500.0);
        assert_eq!(curve.at(99.0), 0.0);
    }

    // 99.7 % at two thirds and five sixths of the rating, 70 % before and after: no slope at 5/6 keeps both loss and output
    // rising. Straight lines do.
    #[test]
    fn an_efficiency_that_collapses_gets_straight_lines() {
        let points: Vec<[f64; 2]> =
            [70.0, 70.0, 86.212_291_138_629_1, 99.747_860_170_838_98, 99.733_007_602_361_11, 70.0]
                .iter()
                .enumerate()
                .map(|(i, eta)| [100.0 * (i + 1) as f64 / 6.0, *eta])
                .collect();
        let points = loss_points("efficiency", 1.0, &points, false).unwrap();
        let curve = Curve::loss(&points);
        for pair in points.windows(2) {
            let (x, y) = (0.5 * (pair[0][0] + pair[1][0]), 0.5 * (pair[0][1] + pair[1][1]));
            assert!((curve.at(x) - y).abs() < 1e-12, "{x}");
        }
        let [.., before, last] = &points[..] else { unreachable!("six points") };
        let slope = (last[1] - before[1]) / (last[0] - before[0]);
        assert!((curve.at(last[0] + 0.1) - last[1] - 0.1 * slope).abs() < 1e-12);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]

        #[test]
        fn output_rises_with_input_and_never_exceeds_it(
            etas in proptest::collection::vec(70.0..99.9_f64, 1..9),
            xs in proptest::collection::vec(0.0..1.6_f64, 2..40),
        ) {
            let n = etas.len();
            let points: Vec<[f64; 2]> =
                etas.iter().enumerate().map(|(i, &e)| [100.0 * (i + 1) as f64 / n as f64, e]).collect();
            if let Ok(points) = loss_points("efficiency", 1.0, &points, false) {
                let curve = Curve::loss(&points);
                let mut xs = xs;
                xs.sort_by(f64::total_cmp);
                let mut before = -1.0;
                for x in xs {
                    let loss = curve.at(x);
                    prop_assert!(loss >= -1e-12);
                    prop_assert!(x - loss >= before - 1e-12, "{x}");
                    before = x - loss;
                }
            }
        }
    }
}
