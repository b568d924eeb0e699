//! The five-parameter efficiency form and its fits.

use serde::Serialize;

use super::curve::{U_MIDDLE, U_SCALE, chebyshev, node, powers};
use super::{Matrix, ModuleError};
use crate::maths;
use crate::units::{G_STC, T_STC};

/// Relative efficiency over light and heat.
///
/// ```text
/// v(S,T)   = ln(S / S_o + 1) / ln(1 / S_or + 1)      S = G / 1000 W/m2,  S_o = exp(-x + tc (T - 25)),  S_or = exp(-x)
/// eta(S,T) = k_a [ (1 + k_rs + k_rsh) v - k_rs S - k_rsh v^2 ]
/// ```
///
/// `v` stands for the voltage, `k_rs` for what series resistance takes at 1000 W/m2, `k_rsh` for what the shunt takes.
/// `k_a` is 1 here: the form is anchored at standard test conditions, where the nameplate stands.
///
/// Source: Driesse, A., Stein, J. S., *From IEC 61853 power measurements to PV system simulations*, SAND2020-3877
/// (2020); form from memory, with `x = -k_d ln 10` and `tc = tc_d ln 10`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Efficiency {
    /// `-ln` of the light, over 1000 W/m2, at which voltage begins to build up.
    pub x: f64,
    /// Rise of the logarithm of that light with heat, 1/K.
    pub tc: f64,
    /// Series resistance loss at 1000 W/m2, share of power.
    pub k_rs: f64,
    /// Shunt loss, share of power.
    pub k_rsh: f64,
}

/// Shunt term when the data do not decide it: the middle of the fits to measured matrices of `docs/module-models.md`.
pub(crate) const K_RSH: f64 = 0.2;

impl Efficiency {
    /// Relative efficiency at `s = G / 1000 W/m2` and cell temperature `t` (C); 1 at standard test conditions.
    #[inline(always)]
    pub fn at(&self, s: f64, t: f64) -> f64 {
        let inverse = 1.0 / maths::ln(maths::exp(self.x) + 1.0);
        let v = maths::ln(s * maths::exp(self.x - self.tc * (t - T_STC)) + 1.0) * inverse;
        self.of_voltage(v, s)
    }

    /// Relative efficiency from the relative voltage.
    #[inline(always)]
    fn of_voltage(&self, v: f64, s: f64) -> f64 {
        (1.0 + self.k_rs + self.k_rsh) * v - self.k_rs * s - self.k_rsh * v * v
    }

    /// Slopes of relative efficiency at `s` and 25 C over `x` and `k_rs`; given `e^x` and `1 / ln(e^x + 1)`.
    #[inline(always)]
    fn over_x_and_k_rs(&self, s: f64, scale: f64, inverse: f64) -> [f64; 2] {
        let v = maths::ln(s * scale + 1.0) * inverse;
        let dv = scale * inverse * (s / (s * scale + 1.0) - v / (scale + 1.0));
        [(1.0 + self.k_rs + self.k_rsh - 2.0 * self.k_rsh * v) * dv, v - s]
    }

    /// Slope of relative efficiency over temperature at `s` and `t`, 1/K.
    pub fn slope(&self, s: f64, t: f64) -> f64 {
        (self.at(s, t + 0.5) - self.at(s, t - 0.5)) / 1.0
    }

    /// Fits the form to a measured matrix: least squares of the relative error of power, weighted by irradiance.
    pub fn to_matrix(matrix: &Matrix) -> Result<Efficiency, ModuleError> {
        let rows: Vec<[f64; 3]> =
            matrix.cells().iter().map(|c| [c.g / G_STC, c.t, matrix.relative_efficiency(c)]).collect();
        let from = |p: &[f64; 4]| Efficiency { x: p[0], tc: p[1], k_rs: p[2], k_rsh: p[3] };
        let miss = |p: &[f64; 4], out: &mut Vec<f64>| {
            let form = from(p);
            out.clear();
            out.extend(rows.iter().map(|[s, t, eta]| (form.at(*s, *t) / eta - 1.0) * s.sqrt()));
        };
        let low = [2.0, 0.0, -0.1, -2.0];
        let high = [60.0, 0.5, 0.6, 2.0];
        let mut best: Option<([f64; 4], f64)> = None;
        for x in [8.0, 14.0, 22.0] {
            let start = [x, 0.05, 0.06, 0.1];
            let (p, sum) = least_squares(start, low, high, &miss, &differences(&miss));
            if sum.is_finite() && best.is_none_or(|(_, b)| sum < b) {
                best = Some((p, sum));
            }
        }
        let weight: f64 = rows.iter().map(|r| r[0]).sum();
        match best {
            Some((p, sum)) if (sum / weight).sqrt() < 0.06 => Ok(from(&p)),
            other => Err(ModuleError::value(
                "matrix",
                format!(
                    "a table that the five-parameter efficiency form misses by {:.1} % of power",
                    100.0 * other.map_or(f64::NAN, |(_, sum)| (sum / weight).sqrt())
                ),
                "6 % or better",
                "Check the table for slips (yearlight vet prints each cell), or set electrical = \"matrix-bilinear\".",
            )),
        }
    }

    /// Fits the form at 25 C to points `[s, relative efficiency]` below 1000 W/m2.
    ///
    /// One point decides `x`, two or more `x` and `k_rs`; the rest stays at what is given (`k_rs` from the curve's
    /// series resistance).
    pub(crate) fn to_points(points: &[[f64; 2]], k_rs: f64) -> Efficiency {
        let from = |p: &[f64; 2]| Efficiency { x: p[0], tc: 0.0, k_rs: p[1], k_rsh: K_RSH };
        let miss = |p: &[f64; 2], out: &mut Vec<f64>| {
            let form = from(p);
            out.clear();
            // As `at`, with what does not depend on light worked out once.
            let scale = maths::exp(form.x);
            let inverse = 1.0 / maths::ln(scale + 1.0);
            out.extend(points.iter().map(|[s, eta]| {
                let v = maths::ln(s * scale + 1.0) * inverse;
                (form.of_voltage(v, *s) / eta - 1.0) * s.sqrt()
            }));
        };
        let slopes = |p: &[f64; 2], _: &[f64], out: &mut [Vec<f64>; 2]| {
            let form = from(p);
            let scale = maths::exp(form.x);
            let inverse = 1.0 / maths::ln(scale + 1.0);
            out.iter_mut().for_each(Vec::clear);
            for [s, eta] in points {
                let weight = s.sqrt() / eta;
                for (column, slope) in out.iter_mut().zip(form.over_x_and_k_rs(*s, scale, inverse)) {
                    column.push(slope * weight);
                }
            }
        };
        let (low, high) = if points.len() > 1 { (0.0, 0.35) } else { (k_rs, k_rs) };
        let mut best = ([18.0, k_rs], f64::INFINITY);
        for x in [10.0, 20.0, 35.0] {
            let found = least_squares([x, k_rs.clamp(low, high)], [3.0, low], [80.0, high], &miss, &slopes);
            if found.1 < best.1 {
                best = found;
            }
        }
        from(&best.0)
    }
}

/// Coefficients of [`ShortForm`].
const N: usize = 12;

/// The form at 25 C as a polynomial in `ln s`, without a logarithm for every value.
///
/// `eta + k_rs s = (1 + k_rs + k_rsh) v - k_rsh v^2` bends over `ln s` the less, the lower the light at which voltage
/// begins to build up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShortForm {
    k_rs: f64,
    /// By powers of `ln s` brought to -1..1.
    c: [f64; N],
}

impl ShortForm {
    /// Largest difference from the form itself.
    const MISS: f64 = 1e-10;

    /// The polynomial through the Chebyshev nodes; nothing where it differs from the form by more than 1e-10, as for modules
    /// that lose very much in weak light.
    pub(crate) fn of(form: &Efficiency) -> Option<ShortForm> {
        let light = |z: f64| (U_MIDDLE + z / U_SCALE).exp();
        let y = std::array::from_fn(|j| {
            let s = light(node(j, N));
            form.at(s, T_STC) + form.k_rs * s
        });
        let mut short = ShortForm { k_rs: form.k_rs, c: powers(chebyshev(y)) };
        // Anchored at standard test conditions, as the form is.
        short.c[0] += form.at(1.0, T_STC) - short.at(1.0, 0.0);
        // Half way between the nodes and at the ends the difference is largest.
        let met = (0..=N).all(|j| {
            let s = light((std::f64::consts::PI * j as f64 / N as f64).cos());
            (short.at(s, s.ln()) - form.at(s, T_STC)).abs() <= ShortForm::MISS
        });
        met.then_some(short)
    }

    /// Relative efficiency at 25 C and a share of light within the range of the curve, whose logarithm is known.
    #[inline(always)]
    pub(crate) fn at(&self, s: f64, ln_s: f64) -> f64 {
        let z = (ln_s - U_MIDDLE) * U_SCALE;
        let (c, z2) = (&self.c, z * z);
        let z4 = z2 * z2;
        let four = |k: usize| (c[k] + c[k + 1] * z) + z2 * (c[k + 2] + c[k + 3] * z);
        (four(0) + z4 * (four(4) + z4 * four(8))) - self.k_rs * s
    }
}

/// Puts the slopes of what is missed over each parameter into columns, from the parameters and what is missed there.
type Slopes<'a, const N: usize> = &'a dyn Fn(&[f64; N], &[f64], &mut [Vec<f64>; N]);

/// Slopes of what is missed over each parameter, by differences.
pub(crate) fn differences<const N: usize>(
    miss: &dyn Fn(&[f64; N], &mut Vec<f64>),
) -> impl Fn(&[f64; N], &[f64], &mut [Vec<f64>; N]) {
    move |p, r, out| {
        for (k, out) in out.iter_mut().enumerate() {
            let h = 1e-6 * (p[k].abs() + 1e-2);
            let mut q = *p;
            q[k] += h;
            miss(&q, out);
            out.iter_mut().zip(r).for_each(|(a, b)| *a = (*a - b) / h);
        }
    }
}

/// Levenberg and Marquardt within bounds; returns the parameters and the sum of squares. `slopes` gets what is missed
/// beside the parameters.
///
/// Source: Marquardt, D. W., SIAM J. Appl. Math. 11 (1963) 431-441.
pub(crate) fn least_squares<const N: usize>(
    start: [f64; N],
    low: [f64; N],
    high: [f64; N],
    miss: &dyn Fn(&[f64; N], &mut Vec<f64>),
    slopes_of: Slopes<'_, N>,
) -> ([f64; N], f64) {
    let square = |r: &[f64]| r.iter().map(|x| x * x).sum::<f64>();
    let mut p = start;
    let mut r = Vec::new();
    miss(&p, &mut r);
    let mut sum = square(&r);
    let mut damping = 1e-3;
    let mut moved = Vec::new();
    let mut slopes: [Vec<f64>; N] = std::array::from_fn(|_| Vec::new());
    for _ in 0..300 {
        slopes_of(&p, &r, &mut slopes);
        let mut better = false;
        let mut normal = [[0.0; N]; N];
        let mut downhill = [0.0; N];
        for a in 0..N {
            for b in 0..N {
                normal[a][b] = slopes[a].iter().zip(&slopes[b]).map(|(x, y)| x * y).sum();
            }
            downhill[a] = -slopes[a].iter().zip(&r).map(|(x, y)| x * y).sum::<f64>();
        }
        for _ in 0..12 {
            let (mut m, mut v) = (normal, downhill);
            for a in 0..N {
                m[a][a] = m[a][a] * (1.0 + damping) + 1e-30;
            }
            // What stands at a bound and would go beyond it stays out of the step of the others.
            for a in 0..N {
                if p[a] <= low[a] && v[a] <= 0.0 || p[a] >= high[a] && v[a] >= 0.0 {
                    for row in &mut m {
                        row[a] = 0.0;
                    }
                    m[a] = std::array::from_fn(|b| if a == b { 1.0 } else { 0.0 });
                    v[a] = 0.0;
                }
            }
            let Some(step) = solve(m, v) else {
                damping *= 10.0;
                continue;
            };
            let mut q = p;
            for k in 0..N {
                q[k] = (p[k] + step[k]).clamp(low[k], high[k]);
            }
            // So near to the place that the sum, which is level there, has no digits left to lose.
            let there = (0..N).all(|k| (q[k] - p[k]).abs() <= 1e-10 * (p[k].abs() + 1e-2));
            miss(&q, &mut moved);
            let new = square(&moved);
            if new < sum {
                better = !there && sum - new > 1e-15 * sum;
                p = q;
                sum = new;
                std::mem::swap(&mut r, &mut moved);
                damping = (damping * 0.3).max(1e-12);
                break;
            }
            if there {
                break;
            }
            damping *= 5.0;
        }
        if !better {
            break;
        }
    }
    (p, sum)
}

/// Gauss elimination with pivots.
fn solve<const N: usize>(mut m: [[f64; N]; N], mut v: [f64; N]) -> Option<[f64; N]> {
    for k in 0..N {
        let pivot = (k..N).max_by(|a, b| m[*a][k].abs().total_cmp(&m[*b][k].abs()))?;
        if m[pivot][k] == 0.0 || !m[pivot][k].is_finite() {
            return None;
        }
        m.swap(k, pivot);
        v.swap(k, pivot);
        for i in k + 1..N {
            let f = m[i][k] / m[k][k];
            for j in k..N {
                m[i][j] -= f * m[k][j];
            }
            v[i] -= f * v[k];
        }
    }
    for k in (0..N).rev() {
        for j in k + 1..N {
            v[k] -= m[k][j] * v[j];
        }
        v[k] /= m[k][k];
    }
    v.iter().all(|x| x.is_finite()).then_some(v)
}

#[cfg(test)]
mod tests {
    use super::super::curve::{S_MAX, S_MIN};
    use super::*;
    use crate::module::Cell;

    const G: [f64; 7] = [100.0, 200.0, 400.0, 600.0, 800.0, 1000.0, 1100.0];

    /// A matrix of 300 W that follows the form to the digit, with a share of each cell that it does not follow.
    fn matrix(form: &Efficiency, off: f64) -> Matrix {
        let cells = G.iter().flat_map(|g| [15.0, 25.0, 50.0, 75.0].map(|t| (*g, t)));
        let cell = |(k, (g, t)): (usize, (f64, f64))| {
            let wrong = if (g, t) == (1000.0, 25.0) { 1.0 } else { [1.0 + off, 1.0 - off][k % 2] };
            Cell { g, t, p: 300.0 * g / 1000.0 * form.at(g / 1000.0, t) * wrong }
        };
        Matrix::new(cells.enumerate().map(cell).collect()).unwrap()
    }

    #[test]
    fn the_fit_to_a_matrix_finds_the_form_that_made_it() {
        for form in [
            Efficiency { x: 9.0, tc: 0.04, k_rs: 0.05, k_rsh: 0.1 },
            Efficiency { x: 16.0, tc: 0.06, k_rs: 0.02, k_rsh: 0.3 },
            Efficiency { x: 24.0, tc: 0.09, k_rs: 0.08, k_rsh: 0.0 },
        ] {
            let found = Efficiency::to_matrix(&matrix(&form, 0.0)).unwrap_or_else(|e| panic!("{form:?}: {e}"));
            for g in G {
                for t in [-10.0, 15.0, 40.0, 75.0] {
                    let (a, b) = (form.at(g / 1000.0, t), found.at(g / 1000.0, t));
                    assert!((a - b).abs() < 1e-6, "{form:?} {found:?} at {g} and {t}: {a} {b}");
                }
            }
            // A thousandth up and down moves it by less; 8 % are no module.
            let found = Efficiency::to_matrix(&matrix(&form, 0.001)).unwrap();
            assert!((found.at(0.3, 50.0) - form.at(0.3, 50.0)).abs() < 1e-3);
            let refused = Efficiency::to_matrix(&matrix(&form, 0.08)).unwrap_err().to_string();
            assert!(refused.contains("misses by") && refused.contains("expected 6 % or better"), "{refused}");
        }
    }

    #[test]
    fn the_fit_to_points_goes_through_them() {
        for (points, k_rs) in [
            (vec![[0.2, 0.96]], 0.05),
            (vec![[0.2, 0.98]], 0.08),
            (vec![[0.1, 0.93], [0.4, 0.985]], 0.05),
            (vec![[0.2, 0.95], [0.6, 0.995]], 0.05),
        ] {
            let found = Efficiency::to_points(&points, k_rs);
            assert!((found.at(1.0, T_STC) - 1.0).abs() < 1e-12 && found.k_rsh == K_RSH && found.tc == 0.0);
            for [s, eta] in &points {
                assert!((found.at(*s, T_STC) - eta).abs() < 1e-6, "{points:?} {found:?}: {}", found.at(*s, T_STC));
            }
            // One point leaves the series resistance as it is.
            assert!(points.len() > 1 || found.k_rs == k_rs);
        }
        // Of what no form of this kind follows, the nearest within its bounds.
        let far = Efficiency::to_points(&[[0.1, 1.2], [0.5, 1.25]], 0.05);
        assert_eq!(far.k_rs, 0.35);
    }

    // The form itself is the reference, densely over the range of the curve.
    #[test]
    fn the_polynomial_is_the_form_or_there_is_none() {
        let mut taken = 0;
        for x in (4..=120).map(|x| 0.5 * f64::from(x)) {
            for (k_rs, k_rsh) in [(0.02, K_RSH), (0.12, K_RSH), (0.35, 0.5), (0.0, -0.5)] {
                let form = Efficiency { x, tc: 0.0, k_rs, k_rsh };
                let Some(short) = ShortForm::of(&form) else {
                    assert!(x < 14.0, "no polynomial for {form:?}");
                    continue;
                };
                taken += 1;
                for k in 0..=1000 {
                    let s = S_MIN * (S_MAX / S_MIN).powf(f64::from(k) / 1000.0);
                    let miss = short.at(s, s.ln()) - form.at(s, T_STC);
                    assert!(miss.abs() < 1.2e-10, "{form:?} at {s}: {miss:e}");
                }
            }
        }
        assert!(taken > 300);
    }

    #[test]
    fn slopes_over_parameters_are_those_of_the_form() {
        for (x, k_rs) in [(3.0, 0.0), (11.0, 0.06), (40.0, 0.3)] {
            let form = Efficiency { x, tc: 0.0, k_rs, k_rsh: K_RSH };
            let scale = x.exp();
            for s in [0.05, 0.2, 0.7, 1.1] {
                let found = form.over_x_and_k_rs(s, scale, 1.0 / (scale + 1.0).ln());
                let h = 1e-5;
                let by = |x: f64, k: f64| Efficiency { x: form.x + x, k_rs: form.k_rs + k, ..form }.at(s, T_STC);
                let want = [by(h, 0.0) - by(-h, 0.0), by(0.0, h) - by(0.0, -h)].map(|d| d / (2.0 * h));
                assert!(found.iter().zip(want).all(|(f, w)| (f - w).abs() < 1e-9), "{x} {s}: {found:?} {want:?}");
            }
        }
    }

    // x + 2 y + z = 8, 2 x + 4 y - z = 7, -x + y + 3 z = 10 has the answer 1, 2, 3; its second pivot is 0 unless rows change
    // places.
    #[test]
    fn equations_are_solved_or_refused() {
        let found = solve([[1.0, 2.0, 1.0], [2.0, 4.0, -1.0], [-1.0, 1.0, 3.0]], [8.0, 7.0, 10.0]).unwrap();
        assert!(found.iter().zip([1.0, 2.0, 3.0]).all(|(x, want)| (x - want).abs() < 1e-14), "{found:?}");
        assert_eq!(solve([[1.0, 2.0], [2.0, 4.0]], [1.0, 2.0]), None);
        assert_eq!(solve([[0.0, 0.0], [0.0, 0.0]], [0.0, 0.0]), None);
        assert_eq!(solve([[f64::NAN, 1.0], [1.0, f64::INFINITY]], [1.0, 1.0]), None);
    }

    // Rosenbrock's valley, problem 1 of More, Garbow, Hillstrom, ACM Trans. Math. Softw. 7 (1981) 17-41: from (-1.2, 1) to
    // (1, 1), where nothing is missed. The same with a wall before it, and how often it looked.
    #[test]
    fn least_squares_follow_a_bent_valley() {
        let looks = std::cell::Cell::new(0);
        let miss = |p: &[f64; 2], out: &mut Vec<f64>| {
            looks.set(looks.get() + 1);
            *out = vec![10.0 * (p[1] - p[0] * p[0]), 1.0 - p[0]];
        };
        let (p, sum) = least_squares([-1.2, 1.0], [-5.0; 2], [5.0; 2], &miss, &differences(&miss));
        assert!((p[0] - 1.0).abs() < 1e-8 && (p[1] - 1.0).abs() < 1e-8 && sum < 1e-16, "{p:?} {sum}");
        assert!(looks.get() < 150, "{}", looks.get());
        let (p, sum) = least_squares([-1.2, 1.0], [-5.0; 2], [0.5, 5.0], &miss, &differences(&miss));
        assert!((p[0] - 0.5).abs() < 1e-12 && (p[1] - 0.25).abs() < 1e-6 && (sum - 0.25).abs() < 1e-9, "{p:?} {sum}");
    }

    #[test]
    fn slopes_are_those_of_the_form() {
        let form = Efficiency { x: 12.0, tc: 0.05, k_rs: 0.06, k_rsh: 0.2 };
        // d eta / d v times d v / d T, by hand at 1000 W/m2: v = 1, dv/dT = -tc s_o e^x ... over the logarithm.
        let e = 12.0_f64.exp();
        let dv = -0.05 * e / (e + 1.0) / (e + 1.0).ln();
        let want = (1.0 + 0.06 + 0.2 - 2.0 * 0.2) * dv;
        assert!((form.slope(1.0, T_STC) - want).abs() < 1e-6, "{} {want}", form.slope(1.0, T_STC));
    }
}
