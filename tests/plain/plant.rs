//! Strings, inverter and what follows, in one hour.

/// Loss of an inverter in W at an input of `dc` W through points of a sheet, [percent of rating, efficiency in percent]:
/// a parabola for three points, monotone cubic pieces for more (Fritsch and Butland 1984, within the bounds of Fritsch
/// and Carlson 1980).
pub fn inverter_loss(rating: f64, points: &[[f64; 2]], dc: f64) -> f64 {
    let known: Vec<[f64; 2]> = points
        .iter()
        .map(|[load, eta]| {
            let input = load / 100.0 * rating / (eta / 100.0);
            [input, input - load / 100.0 * rating]
        })
        .collect();
    if let [a, b, c] = known[..] {
        // Newton's divided differences.
        let (ab, bc) = ((b[1] - a[1]) / (b[0] - a[0]), (c[1] - b[1]) / (c[0] - b[0]));
        let abc = (bc - ab) / (c[0] - a[0]);
        let parabola = |x: f64| a[1] + (x - a[0]) * (ab + (x - b[0]) * abc);
        let slope = |x: f64| ab + abc * (2.0 * x - a[0] - b[0]);
        assert!(parabola(0.0) >= 0.0 && slope(0.0) >= 0.0 && (0.0..1.0).contains(&slope(c[0])), "another case");
        return if dc <= c[0] { parabola(dc) } else { c[1] + slope(c[0]) * (dc - c[0]) };
    }
    let first = (known[1][1] - known[0][1]) / (known[1][0] - known[0][0]);
    let idle = (known[0][1] - first * known[0][0]).clamp(0.0, known[0][1]);
    let mut knots = vec![[0.0, idle]];
    knots.extend(known);
    let n = knots.len();
    let width = |j: usize| knots[j + 1][0] - knots[j][0];
    let rise = |j: usize| (knots[j + 1][1] - knots[j][1]) / width(j);
    let slope = |j: usize| {
        let plain = if j == 0 {
            rise(0)
        } else if j == n - 1 {
            let (h0, h1, s0, s1) = (width(j - 1), width(j - 2), rise(j - 1), rise(j - 2));
            let s = ((2.0 * h0 + h1) * s0 - h0 * s1) / (h0 + h1);
            if s * s0 <= 0.0 { 0.0 } else { s.abs().min(3.0 * s0.abs()) * s.signum() }
        } else if rise(j - 1) * rise(j) <= 0.0 {
            0.0
        } else {
            let (h0, h1) = (width(j - 1), width(j));
            3.0 * (h0 + h1) / ((2.0 * h1 + h0) / rise(j - 1) + (h1 + 2.0 * h0) / rise(j))
        };
        let steepest = rise(j.saturating_sub(1)).max(rise(j.min(n - 2)));
        plain.clamp(1.0 - 3.0 * (1.0 - steepest), 1.0)
    };
    if dc >= knots[n - 1][0] {
        return knots[n - 1][1] + slope(n - 1).max(0.0) * (dc - knots[n - 1][0]);
    }
    let j = (0..n - 1).rev().find(|&j| knots[j][0] <= dc).unwrap_or(0);
    let t = (dc - knots[j][0]) / width(j);
    knots[j][1] * (1.0 + 2.0 * t) * (1.0 - t) * (1.0 - t)
        + slope(j) * width(j) * t * (1.0 - t) * (1.0 - t)
        + knots[j + 1][1] * t * t * (3.0 - 2.0 * t)
        + slope(j + 1) * width(j) * t * t * (t - 1.0)
}

/// The AC limit at an air temperature: straight lines through the derating points, held beyond them.
pub fn limit_w(rating: f64, derate: &[[f64; 2]], t_amb: f64) -> f64 {
    let Some(first) = derate.first() else { return rating };
    if t_amb <= first[0] {
        return first[1];
    }
    for pair in derate.windows(2) {
        if t_amb <= pair[1][0] {
            let share = (t_amb - pair[0][0]) / (pair[1][0] - pair[0][0]);
            return pair[0][1] + share * (pair[1][1] - pair[0][1]);
        }
    }
    derate[derate.len() - 1][1]
}
