//! The one-diode equation, solved to the last digits for one operating condition, and its fit to a data sheet.
//!
//! `I = I_L - I_0 (exp((V + I R_s)/a) - 1) - (V + I R_s) G_sh`
//!
//! Everything runs over the junction voltage `V_d = V + I R_s`, in which current and voltage are explicit.

use crate::maths::{self, root};

/// The five parameters at one irradiance and temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneDiode {
    /// Light current, A.
    pub i_l: f64,
    /// Saturation current, A.
    pub i_0: f64,
    /// Series resistance, ohm.
    pub r_s: f64,
    /// Shunt conductance, S.
    pub g_sh: f64,
    /// Modified ideality: ideality x cells in series x k T / q, V.
    pub a: f64,
}

/// A point of the curve, see [`OneDiode::near`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Near {
    /// Junction voltage, V.
    pub v_d: f64,
    /// Current, A.
    pub i: f64,
    /// Its slope over the terminal voltage, A/V.
    pub di: f64,
    /// Its bend, A/V2.
    pub ddi: f64,
}

/// The five numbers of a curve that data sheets print.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct OperatingPoint {
    /// Short-circuit current, A.
    pub i_sc: f64,
    /// Open-circuit voltage, V.
    pub v_oc: f64,
    /// Current at maximum power, A.
    pub i_mp: f64,
    /// Voltage at maximum power, V.
    pub v_mp: f64,
    /// Maximum power, W.
    pub p_mp: f64,
}

impl OperatingPoint {
    /// In the dark.
    pub const DARK: OperatingPoint = OperatingPoint { i_sc: 0.0, v_oc: 0.0, i_mp: 0.0, v_mp: 0.0, p_mp: 0.0 };
}

impl OneDiode {
    /// Current at a junction voltage, A.
    fn current_over_junction(&self, v_d: f64) -> f64 {
        self.i_l - self.i_0 * exp_m1(v_d / self.a) - v_d * self.g_sh
    }

    /// Current over the junction voltage, A, and its first two derivatives, A/V (negative) and A/V2.
    fn junction(&self, v_d: f64) -> [f64; 3] {
        let e = exp_m1(v_d / self.a);
        [
            self.i_l - self.i_0 * e - v_d * self.g_sh,
            -self.i_0 / self.a * (e + 1.0) - self.g_sh,
            -self.i_0 / (self.a * self.a) * (e + 1.0),
        ]
    }

    /// Current at a terminal voltage, A; negative above the open-circuit voltage.
    ///
    /// Newton on `V_d - R_s I(V_d) = V`, a convex rising function, from its upper end, where every step goes towards
    /// the root without passing it.
    pub fn current(&self, v: f64) -> f64 {
        if self.r_s <= 0.0 {
            return self.current_over_junction(v);
        }
        let mut v_d = v + self.r_s * self.i_l.max(0.0);
        for _ in 0..400 {
            let [i, slope, _] = self.junction(v_d);
            let miss = v_d - self.r_s * i - v;
            let step = miss / (1.0 - self.r_s * slope);
            let next = v_d - step;
            if next == v_d || step.abs() < 1e-15 * v_d.abs() {
                v_d = next;
                break;
            }
            v_d = next;
        }
        self.current_over_junction(v_d)
    }

    /// Junction voltage, current and its first two derivatives over the terminal voltage, at terminal voltage `v`, by
    /// Newton from a junction voltage nearby. As [`OneDiode::current`] up to rounding.
    pub fn near(&self, v: f64, guess: f64) -> Near {
        let per_a = 1.0 / self.a;
        // The root lies below this, where the function is above zero.
        let top = v + self.r_s * self.i_l.max(0.0);
        let mut v_d = if guess < top { guess } else { top };
        let mut i_d = self.i_0 * (v_d * per_a).exp();
        if self.r_s > 0.0 {
            for _ in 0..60 {
                let i = self.i_l - (i_d - self.i_0) - v_d * self.g_sh;
                let step = (v_d - self.r_s * i - v) / (1.0 + self.r_s * (i_d * per_a + self.g_sh));
                let next = v_d - step;
                v_d = if next < top { next } else { top };
                i_d = self.i_0 * (v_d * per_a).exp();
                if step.abs() <= 1e-9 * self.a {
                    break;
                }
            }
        } else {
            v_d = v;
            i_d = self.i_0 * (v_d * per_a).exp();
        }
        let conductance = i_d * per_a + self.g_sh;
        let share = 1.0 / (1.0 + self.r_s * conductance);
        Near {
            v_d,
            i: self.i_l - (i_d - self.i_0) - v_d * self.g_sh,
            di: -conductance * share,
            ddi: -i_d * per_a * per_a * share * share * share,
        }
    }

    /// Open-circuit voltage, V.
    pub fn v_oc(&self) -> f64 {
        if self.i_l <= 0.0 {
            return 0.0;
        }
        let mut v = self.a * (self.i_l / self.i_0).ln_1p();
        for _ in 0..400 {
            let [i, slope, _] = self.junction(v);
            let step = i / slope;
            let next = v - step;
            if next == v || step.abs() < 1e-15 * v.abs() {
                v = next;
                break;
            }
            v = next;
        }
        v
    }

    /// Short circuit, open circuit and maximum power.
    pub fn points(&self) -> OperatingPoint {
        if self.i_l <= 0.0 || !self.i_l.is_finite() {
            return OperatingPoint::DARK;
        }
        let (i_sc, v_oc) = (self.current(0.0), self.v_oc());
        let v_d = self.maximum(i_sc * self.r_s, v_oc, self.a * without_resistance(v_oc / self.a), 1e-15);
        let i_mp = self.current_over_junction(v_d);
        let v_mp = v_d - i_mp * self.r_s;
        OperatingPoint { i_sc, v_oc, i_mp, v_mp, p_mp: i_mp * v_mp }
    }

    /// Junction voltage at maximum power, V, between that of short circuit (or less) and that of open circuit (or more).
    ///
    /// Power rises over the junction voltage from short circuit to its one maximum and falls to open circuit; Newton
    /// on its slope from `start`, held inside the bracket by bisection, until a step is smaller than `least`
    /// of the voltage.
    fn maximum(&self, mut low: f64, mut high: f64, start: f64, least: f64) -> f64 {
        let mut v_d = if start > low && start < high { start } else { low + 0.85 * (high - low) };
        for _ in 0..200 {
            let (slope, bend) = self.power_slope(v_d);
            if slope > 0.0 {
                low = v_d;
            } else {
                high = v_d;
            }
            let newton = v_d - slope / bend;
            let next = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
            if (next - v_d).abs() <= least * v_d.abs() || high - low <= 1e-15 * high {
                return next;
            }
            v_d = next;
        }
        v_d
    }

    /// [`OneDiode::maximum`] without the ends of the curve: short circuit lies above 0, open circuit below the voltage
    /// at which an ideal diode would take the whole light current. Newton doubles the digits: a last step of 1e-7 leaves
    /// 1e-13.
    fn maximum_alone(&self) -> f64 {
        if self.i_l <= 0.0 || !self.i_l.is_finite() {
            return 0.0;
        }
        let x_oc = (self.i_l / self.i_0).ln_1p();
        self.maximum(0.0, self.a * x_oc, self.a * without_resistance(x_oc), 1e-7)
    }

    /// Maximum power, W.
    pub(crate) fn p_mp(&self) -> f64 {
        let v_d = self.maximum_alone();
        let i = self.current_over_junction(v_d);
        i * (v_d - i * self.r_s)
    }

    /// First and second derivative of power over the junction voltage.
    fn power_slope(&self, v_d: f64) -> (f64, f64) {
        let [i, i1, i2] = self.junction(v_d);
        let v = v_d - i * self.r_s;
        let v1 = 1.0 - i1 * self.r_s;
        let v2 = -i2 * self.r_s;
        (v1 * i + v * i1, v2 * i + 2.0 * v1 * i1 + v * i2)
    }

    /// Junction voltage at maximum power over `a`.
    pub(crate) fn x_mp(&self) -> f64 {
        self.maximum_alone() / self.a
    }
}

/// Junction voltage at maximum power over `a` without resistances, nearly, from that at open circuit: there
/// `x + ln(1 + x) = x_oc`.
fn without_resistance(x_oc: f64) -> f64 {
    x_oc - (x_oc - x_oc.ln_1p()).ln_1p()
}

/// `e^x - 1` with the argument held below overflow.
fn exp_m1(x: f64) -> f64 {
    if x > 1.0 { maths::exp(x.min(600.0)) - 1.0 } else { x.exp_m1() }
}

/// Fits series resistance, shunt and currents to the four points of a sheet for a given `a`: short circuit, open
/// circuit, the point of maximum power and the level slope of power there.
///
/// For fixed `a` and `R_s` the first three are two linear equations in `K = I_0 exp(V_oc/a)` and `G_sh` (the light
/// current falls out); the fourth, `-dI/dV = I_mp/V_mp`, is a root in `R_s`. `None` when no `R_s >= 0` with
/// `G_sh >= 0` meets them.
pub(crate) fn fit_for(i_sc: f64, v_oc: f64, i_mp: f64, v_mp: f64, a: f64) -> Option<OneDiode> {
    let solve = |r_s: f64| -> Option<(f64, f64, f64)> {
        let e_sc = ((i_sc * r_s - v_oc) / a).exp();
        let e_mp = ((v_mp + i_mp * r_s - v_oc) / a).exp();
        let (k1, g1) = (1.0 - e_sc, v_oc - i_sc * r_s);
        let (k2, g2) = (1.0 - e_mp, v_oc - v_mp - i_mp * r_s);
        let det = k1 * g2 - k2 * g1;
        if det == 0.0 {
            return None;
        }
        let k = (i_sc * g2 - i_mp * g1) / det;
        let g = (k1 * i_mp - k2 * i_sc) / det;
        let d = k / a * e_mp + g;
        // D (V_mp - R_s I_mp) = I_mp
        Some((k, g, d * (v_mp - r_s * i_mp) - i_mp))
    };
    let r_max = ((v_oc - v_mp) / i_mp).min(v_mp / i_mp) * (1.0 - 1e-9);
    let n = 48;
    let mut last: Option<(f64, f64)> = None;
    for j in 0..=n {
        let r = r_max * f64::from(j) / f64::from(n);
        let Some((_, _, miss)) = solve(r) else {
            last = None;
            continue;
        };
        if let Some((r0, miss0)) = last
            && miss0.is_finite()
            && miss.is_finite()
            && (miss0 > 0.0) != (miss > 0.0)
        {
            let r_s = root(r0, r, 1e-16, |r| solve(r).map_or(f64::NAN, |s| s.2)).unwrap_or(r0);
            if let Some((k, g, m)) = solve(r_s)
                && k > 0.0
                && g >= 0.0
                && m.abs() < 1e-6 * i_mp
            {
                let i_0 = k * (-v_oc / a).exp();
                let i_l = i_0 * exp_m1(v_oc / a) + v_oc * g;
                if i_0 > 0.0 && i_l.is_finite() {
                    return Some(OneDiode { i_l, i_0, r_s, g_sh: g, a });
                }
            }
        }
        last = Some((r, miss));
    }
    None
}

/// The fit nearest to a wanted `a`, within `[a_low, a_high]`; see [`fit_for`].
pub(crate) fn fit_near(
    i_sc: f64,
    v_oc: f64,
    i_mp: f64,
    v_mp: f64,
    wanted: f64,
    a_low: f64,
    a_high: f64,
) -> Option<OneDiode> {
    let wanted = wanted.clamp(a_low, a_high);
    if let Some(fit) = fit_for(i_sc, v_oc, i_mp, v_mp, wanted) {
        return Some(fit);
    }
    let steps = 60;
    let mut found: Option<(f64, f64)> = None; // failing, working
    for j in 1..=steps {
        let share = f64::from(j) / f64::from(steps);
        let down = wanted * (a_low / wanted).powf(share);
        let up = wanted * (a_high / wanted).powf(share);
        let share_before = f64::from(j - 1) / f64::from(steps);
        if fit_for(i_sc, v_oc, i_mp, v_mp, down).is_some() {
            found = Some((wanted * (a_low / wanted).powf(share_before), down));
            break;
        }
        if fit_for(i_sc, v_oc, i_mp, v_mp, up).is_some() {
            found = Some((wanted * (a_high / wanted).powf(share_before), up));
            break;
        }
    }
    let (mut fails, mut works) = found?;
    for _ in 0..30 {
        let mid = 0.5 * (fails + works);
        if fit_for(i_sc, v_oc, i_mp, v_mp, mid).is_some() {
            works = mid;
        } else {
            fails = mid;
        }
    }
    fit_for(i_sc, v_oc, i_mp, v_mp, works)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fit_gives_its_points_back() {
        // Invented sheet (Tamsel P410 of the demo).
        let fit = fit_near(13.95, 37.4, 13.12, 31.25, 1.45, 0.8, 3.0).unwrap();
        let at = fit.points();
        assert!((at.i_sc / 13.95 - 1.0).abs() < 1e-9, "{at:?}");
        assert!((at.v_oc / 37.4 - 1.0).abs() < 1e-9);
        assert!((at.i_mp / 13.12 - 1.0).abs() < 1e-6);
        assert!((at.v_mp / 31.25 - 1.0).abs() < 1e-6);
    }

    // Against the current found on its own and differences of it: Newton on the junction and the rules for derivatives of
    // an implicit function are not in these.
    #[test]
    fn near_gives_current_slope_and_bend() {
        let fit = fit_near(13.95, 37.4, 13.12, 31.25, 1.45, 0.8, 3.0).unwrap();
        for diode in [fit, OneDiode { r_s: 0.0, ..fit }, OneDiode { g_sh: 0.02, ..fit }] {
            for v in [0.0, 12.0, 25.0, 29.0, 31.25, 34.0, 37.0] {
                for guess in [v, v + 1.5, 100.0] {
                    let near = diode.near(v, guess);
                    let i = |v: f64| diode.current(v);
                    assert!((near.i - i(v)).abs() < 1e-8, "{v} {guess}: {near:?} {}", i(v));
                    assert!((near.v_d - (v + diode.r_s * near.i)).abs() < 1e-8);
                    let h = 1e-3;
                    let (slope, bend) =
                        ((i(v + h) - i(v - h)) / (2.0 * h), (i(v + h) - 2.0 * i(v) + i(v - h)) / (h * h));
                    assert!((near.di - slope).abs() < 1e-5 * (1.0 + slope.abs()), "{v}: {} {slope}", near.di);
                    assert!((near.ddi - bend).abs() < 1e-4 * (1.0 + bend.abs()), "{v}: {} {bend}", near.ddi);
                }
            }
        }
    }

    #[test]
    fn an_ideality_that_does_not_fit_moves_only_as_far_as_it_must() {
        // With ever smaller steps of `a` around the one found, those nearer to the wish have no fit.
        for (wanted, low, high) in [(3.0, 0.8, 3.0), (0.2, 0.2, 3.0)] {
            let fit = fit_near(13.95, 37.4, 13.12, 31.25, wanted, low, high).unwrap();
            let fits = |a: f64| fit_for(13.95, 37.4, 13.12, 31.25, a).is_some();
            assert!(fits(fit.a) && fit.a >= low && fit.a <= high);
            let towards = |share: f64| fit.a + (wanted - fit.a) * share;
            if fit.a != wanted {
                assert!((1..=50).all(|k| !fits(towards(f64::from(k) * 0.02))), "{wanted}: {}", fit.a);
                assert!(!fits(towards(1e-6)));
            }
        }
    }
}
