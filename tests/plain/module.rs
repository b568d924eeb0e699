//! One module in one hour.

use std::f64::consts::PI;

use yearlight::module::{Efficiency, OneDiode};

/// Martin and Ruiz 2001: beam, even sky and even ground.
pub fn martin_ruiz(cos_aoi: f64, tilt_deg: f64, a_r: f64) -> [f64; 3] {
    let b = tilt_deg.to_radians();
    let beam = (1.0 - (-cos_aoi / a_r).exp()) / (1.0 - (-1.0 / a_r).exp());
    let even = |f: f64| 1.0 - (-(4.0 / (3.0 * PI) * f + (a_r / 2.0 - 0.154) * f * f) / a_r).exp();
    let sky = even(b.sin() + (PI - b - b.sin()) / (1.0 + b.cos()));
    let ground = even(b.sin() + (b - b.sin()) / (1.0 - b.cos()));
    [beam, sky, ground]
}

/// Faiman 2008: wind brought from the file's height to 2 m by the power law 0.2.
pub fn faiman(g: f64, t_amb: f64, wind: f64, wind_height: f64, u: (f64, f64), nmot_c: f64) -> f64 {
    let v = wind * (2.0 / wind_height).powf(0.2);
    // The rise at NMOT conditions (800 W/m2, 20 C, 1 m/s) over that of the paper's open rack.
    let scale = (nmot_c - 20.0) / (800.0 / (25.0 + 6.84));
    t_amb + g * scale / (u.0 + u.1 * v)
}

/// Driesse and Stein 2020 at 25 C.
pub fn efficiency_25(form: &Efficiency, s: f64) -> f64 {
    let v = (s * form.x.exp() + 1.0).ln() / (form.x.exp() + 1.0).ln();
    (1.0 + form.k_rs + form.k_rsh) * v - form.k_rs * s - form.k_rsh * v * v
}

/// The form plus what it leaves of the points: monotone cubic over ln S through the knots, held beyond them.
pub fn low_light(form: &Efficiency, points: &[[f64; 2]], g: f64) -> f64 {
    let s = (g / 1000.0).clamp(0.001, 1.6);
    let mut knots: Vec<[f64; 2]> =
        points.iter().map(|[g, eta]| [(g / 1000.0).ln(), eta - efficiency_25(form, g / 1000.0)]).collect();
    knots.push([0.0, 0.0]);
    let first = above_zero(efficiency_25(form, s));
    if knots.iter().all(|k| k[1].abs() < 1e-13) { first } else { above_zero(first + monotone(&knots, s.ln())) }
}

/// The factor is kept above 0 from 0.3 down.
fn above_zero(x: f64) -> f64 {
    if x >= 0.3 { x } else { 0.09 / (0.6 - x) }
}

/// `eta(G,T) / eta(G,25)` of the sheet model: `1 + gamma (T - 25) / a`, kept above 0.
pub fn sheet_heat(a: f64, t: f64, gamma_pct: f64) -> f64 {
    let under = if a >= 0.6 { a } else { 0.4 + 0.04 / (0.8 - a) };
    let q = gamma_pct / 100.0 * (t - 25.0) / under;
    if q >= -0.5 { 1.0 + q } else { -0.25 / q }
}

/// Cubic Hermite with the slopes of Fritsch and Butland (1984).
fn monotone(knots: &[[f64; 2]], x: f64) -> f64 {
    let last = knots.len() - 1;
    if x <= knots[0][0] || x >= knots[last][0] {
        return if x <= knots[0][0] { knots[0][1] } else { knots[last][1] };
    }
    let width = |j: usize| knots[j + 1][0] - knots[j][0];
    let rise = |j: usize| (knots[j + 1][1] - knots[j][1]) / width(j);
    let end = |h0: f64, h1: f64, d0: f64, d1: f64| {
        let slope = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
        if slope * d0 <= 0.0 {
            0.0
        } else if d0 * d1 <= 0.0 && slope.abs() > 3.0 * d0.abs() {
            3.0 * d0
        } else {
            slope
        }
    };
    let slope = |j: usize| {
        if last == 1 {
            rise(0)
        } else if j == 0 {
            end(width(0), width(1), rise(0), rise(1))
        } else if j == last {
            end(width(last - 1), width(last - 2), rise(last - 1), rise(last - 2))
        } else if rise(j - 1) * rise(j) <= 0.0 {
            0.0
        } else {
            let (w1, w2) = (2.0 * width(j) + width(j - 1), width(j) + 2.0 * width(j - 1));
            (w1 + w2) / (w1 / rise(j - 1) + w2 / rise(j))
        }
    };
    let j = (0..last).rev().find(|&j| knots[j][0] <= x).unwrap_or(0);
    let t = (x - knots[j][0]) / width(j);
    let (low, high) = (knots[j][1], knots[j + 1][1]);
    low * (1.0 + 2.0 * t) * (1.0 - t) * (1.0 - t)
        + slope(j) * width(j) * t * (1.0 - t) * (1.0 - t)
        + high * t * t * (3.0 - 2.0 * t)
        + slope(j + 1) * width(j) * t * t * (t - 1.0)
}

/// Power and voltage at the maximum of a one-diode curve, by halving on the slope of power over the diode's voltage.
pub fn maximum(p: &OneDiode) -> [f64; 2] {
    let at = |x: f64| {
        let i = p.i_l - p.i_0 * ((x / p.a).exp() - 1.0) - p.g_sh * x;
        (i, x - i * p.r_s)
    };
    let slope = |x: f64| {
        let (i, v) = at(x);
        let di = -p.i_0 / p.a * (x / p.a).exp() - p.g_sh;
        i * (1.0 - di * p.r_s) + v * di
    };
    let (mut low, mut high) = (0.0, p.a * (p.i_l / p.i_0).ln());
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if slope(middle) > 0.0 { low = middle } else { high = middle }
    }
    let (i, v) = at(low);
    [v * i, v]
}
