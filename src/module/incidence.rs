//! Reflection at the front glass away from normal incidence.

use serde::Serialize;

use super::{ModuleError, ModuleSheet};
use crate::units::Note;
use crate::{maths, wide};

/// Angular loss coefficient of clean glass. Source: Martin and Ruiz (2001), from memory: 0.16 to 0.17.
pub const A_R: f64 = 0.16;
/// Refractive index of glass. Source: De Soto, Klein, Beckman, Solar Energy 80 (2006) 78-88, from memory.
pub const N_GLASS: f64 = 1.526;
/// Refractive index of an anti-reflective face. From memory of trade practice: 1.29.
pub const N_COATED: f64 = 1.29;
/// Extinction coefficient times thickness of the glass: 4 per m x 2 mm. Source: De Soto et al. (2006), from memory.
pub const K_L: f64 = 0.008;

/// Intervals of the table that a measured curve is brought to, over the cosine.
const CELLS: usize = 2048;

/// The incidence angle modifier of one module: transmission over that at normal incidence.
///
/// Beam is taken exactly; sky and ground light by the published closed form for Martin and Ruiz, by integration over
/// an even sky and an even ground for the others. The closed form lies up to 0.009 below (sky) and up to 0.012 above
/// (ground) the integral of its own beam curve; `tests/published/incidence.rs` checks both.
///
/// ```
/// let glass = yearlight::module::Glass::MartinRuiz { a_r: 0.16 };
/// assert_eq!(glass.at(1.0), 1.0);
/// // At 60 deg: (1 - exp(-0.5/0.16))/(1 - exp(-1/0.16)).
/// assert!((glass.at(0.5) - 0.9579).abs() < 1e-4);
/// assert!(glass.sky(30.0) < 1.0 && glass.ground(30.0) < glass.sky(30.0));
/// ```
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "model", rename_all = "kebab-case")]
pub enum Glass {
    /// `K(t) = (1 - exp(-cos t / a_r)) / (1 - exp(-1 / a_r))`.
    ///
    /// Source: Martin, N., Ruiz, J. M., Solar Energy Materials and Solar Cells 70 (2001) 25-38; the form of IEC 61853-2.
    MartinRuiz {
        /// Angular loss coefficient, 0.08 to 0.30; larger loses more.
        a_r: f64,
    },
    /// Reflection by Fresnel at the front face (and at the coating's inner face) and absorption in the glass.
    ///
    /// Source: De Soto, Klein, Beckman, Solar Energy 80 (2006) 78-88 (from memory).
    Fresnel {
        /// Refractive index of the front face.
        n: f64,
        /// Refractive index below it: glass under a coating, or the same as `n`.
        n_under: f64,
        /// Extinction coefficient times thickness.
        k_l: f64,
    },
    /// From a test report (IEC 61853-2), monotone cubic between the angles.
    Table {
        /// Angle in degrees and modifier.
        points: Vec<[f64; 2]>,
        /// The same over the cosine, evenly spaced.
        #[serde(skip)]
        over_cos: Vec<f64>,
    },
}

wide! {
    fn martin_ruiz(cos_aoi: &[f64], inverse: f64, scale: f64, out: &mut [f64]) {
        for (k, c) in out.iter_mut().zip(cos_aoi) {
            let c = if *c > 0.0 { *c } else { 0.0 };
            *k = (1.0 - maths::exp(-c * inverse)) * scale;
        }
    }
}

wide! {
    fn fresnel(cos_aoi: &[f64], n: f64, n_under: f64, k_l: f64, scale: f64, out: &mut [f64]) {
        for (k, c) in out.iter_mut().zip(cos_aoi) {
            *k = transmission(*c, n, n_under, k_l) * scale;
        }
    }
}

wide! {
    fn lookup(cos_aoi: &[f64], table: &[f64], out: &mut [f64]) {
        let cells = (table.len() - 1) as f64;
        for (k, c) in out.iter_mut().zip(cos_aoi) {
            let c = if *c > 0.0 { *c } else { 0.0 };
            let at = if c < 1.0 { c } else { 1.0 } * cells;
            let low = if at < cells - 1.0 { at.floor() } else { cells - 1.0 };
            let j = low as usize;
            *k = table[j] + (table[j + 1] - table[j]) * (at - low);
        }
    }
}

/// Share of unpolarised light that passes one or two faces and the glass:
/// `exp(-K L / cos t_r) (1 - (r_s + r_p)/2)`, the last factor per face.
#[inline(always)]
fn transmission(c: f64, n: f64, n_under: f64, k_l: f64) -> f64 {
    let c = if c > 0.0 { c } else { 0.0 };
    let c = if c < 1.0 { c } else { 1.0 };
    // Snell: sin t_r = sin t / n
    let c_r = (1.0 - (1.0 - c * c) / (n * n)).sqrt();
    let s = (c - n * c_r) / (c + n * c_r);
    let p = (n * c - c_r) / (n * c + c_r);
    let c_g = (1.0 - (1.0 - c * c) / (n_under * n_under)).sqrt();
    let s2 = (n * c_r - n_under * c_g) / (n * c_r + n_under * c_g);
    let p2 = (n_under * c_r - n * c_g) / (n_under * c_r + n * c_g);
    maths::exp(-k_l / c_g) * (1.0 - 0.5 * (s * s + p * p)) * (1.0 - 0.5 * (s2 * s2 + p2 * p2))
}

impl Glass {
    /// The glass of a sheet: its table if it has one, else the model it names, else Martin and Ruiz.
    pub fn from_sheet(sheet: &ModuleSheet) -> Result<Glass, ModuleError> {
        if !sheet.incidence_table.is_empty() {
            return Glass::table(&sheet.incidence_table);
        }
        match sheet.glass.as_deref().unwrap_or("martin-ruiz") {
            "martin-ruiz" => {
                let a_r = sheet.a_r.unwrap_or(A_R);
                if !(0.05..=0.5).contains(&a_r) {
                    return Err(ModuleError::value(
                        "a_r",
                        format!("{a_r}"),
                        "0.05 to 0.5 (clean glass 0.16, anti-reflective 0.12 to 0.15, dusty to 0.25)",
                        "Leave it out to take 0.16.",
                    ));
                }
                Ok(Glass::MartinRuiz { a_r })
            }
            "fresnel" => Ok(Glass::Fresnel { n: N_GLASS, n_under: N_GLASS, k_l: K_L }),
            "fresnel-coated" => Ok(Glass::Fresnel { n: N_COATED, n_under: N_GLASS, k_l: K_L }),
            other => Err(ModuleError::Unknown {
                key: "glass",
                found: other.to_string(),
                expected: "martin-ruiz, fresnel, fresnel-coated",
            }),
        }
    }

    /// From measured points, `[angle in degrees, modifier]`; 1 at 0 and 0 at 90 degrees are added when missing.
    pub fn table(points: &[[f64; 2]]) -> Result<Glass, ModuleError> {
        let bad = |found: String| {
            ModuleError::value(
                "incidence_table",
                found,
                "at least two pairs [angle in degrees, modifier], angles rising from 0 to 90, modifiers 0 to 1.1, 1 at 0 degrees",
                "Take the relative values of the test report, normal incidence = 1.",
            )
        };
        if points.len() < 2 {
            return Err(bad(format!("{} pair(s)", points.len())));
        }
        for (j, [angle, k]) in points.iter().enumerate() {
            if !(0.0..=90.0).contains(angle) || !(0.0..=1.1).contains(k) {
                return Err(bad(format!("[{angle}, {k}]")));
            }
            if j > 0 && *angle <= points[j - 1][0] {
                return Err(bad(format!("{angle} deg after {} deg", points[j - 1][0])));
            }
        }
        let mut all = points.to_vec();
        if all[0][0] > 0.0 {
            all.insert(0, [0.0, 1.0]);
        } else if (all[0][1] - 1.0).abs() > 0.005 {
            return Err(bad(format!("{} at 0 deg", all[0][1])));
        }
        if all[all.len() - 1][0] < 90.0 {
            all.push([90.0, 0.0]);
        }
        let curve = super::smooth::Monotone::through(&all);
        let over_cos = (0..=CELLS).map(|j| curve.at((j as f64 / CELLS as f64).acos().to_degrees())).collect();
        Ok(Glass::Table { points: all, over_cos })
    }

    /// Modifier for beam light, 0..1, over a column of cosines of the angle of incidence; 0 behind the plane.
    pub fn beam(&self, cos_aoi: &[f64], out: &mut [f64]) {
        match self {
            Glass::MartinRuiz { a_r } => martin_ruiz(cos_aoi, 1.0 / a_r, 1.0 / (1.0 - (-1.0 / a_r).exp()), out),
            Glass::Fresnel { n, n_under, k_l } => {
                fresnel(cos_aoi, *n, *n_under, *k_l, 1.0 / transmission(1.0, *n, *n_under, *k_l), out);
            }
            Glass::Table { over_cos, .. } => lookup(cos_aoi, over_cos, out),
        }
    }

    /// Modifier for one cosine.
    pub fn at(&self, cos_aoi: f64) -> f64 {
        let mut out = [0.0];
        self.beam(&[cos_aoi], &mut out);
        out[0]
    }

    /// Modifier for even sky light on a plane tilted by `tilt_deg`, 0..1.
    ///
    /// Martin and Ruiz: `1 - exp(-(c1 F + c2 F^2)/a_r)`, `F = sin b + (pi - b - sin b)/(1 + cos b)`, `c1 = 4/(3 pi)`,
    /// `c2 = a_r/2 - 0.154`. The others by [`Glass::sky_integral`].
    pub fn sky(&self, tilt_deg: f64) -> f64 {
        match self {
            Glass::MartinRuiz { a_r } => {
                let b = tilt_deg.clamp(0.0, 179.0).to_radians();
                let f = b.sin() + (std::f64::consts::PI - b - b.sin()) / (1.0 + b.cos());
                closed(f, *a_r)
            }
            _ => self.sky_integral(tilt_deg),
        }
    }

    /// Modifier for even ground light on a plane tilted by `tilt_deg`, 0..1; 0 at tilt 0, where no ground is seen.
    ///
    /// Martin and Ruiz: as the sky with `H = sin b + (b - sin b)/(1 - cos b)`.
    pub fn ground(&self, tilt_deg: f64) -> f64 {
        match self {
            Glass::MartinRuiz { a_r } => {
                let b = tilt_deg.clamp(0.0, 180.0).to_radians();
                if b < 1e-3 {
                    return closed(b * 4.0 / 3.0, *a_r);
                }
                closed(b.sin() + (b - b.sin()) / (1.0 - b.cos()), *a_r)
            }
            _ => self.ground_integral(tilt_deg),
        }
    }

    /// [`Glass::sky`] over a column: of one tilt as it is, of many between 0 and 90 degrees (trackers) from a table by whole
    /// degrees, linear between, within 1e-4.
    pub fn sky_column(&self, tilt_deg: &[f64], out: &mut [f64]) {
        by_tilt(tilt_deg, out, &|tilt| self.sky(tilt));
    }

    /// [`Glass::ground`] in the same way: within 1e-3 from 3 degrees, within 1.5e-3 below, where hardly any ground is seen.
    pub fn ground_column(&self, tilt_deg: &[f64], out: &mut [f64]) {
        by_tilt(tilt_deg, out, &|tilt| self.ground(tilt));
    }

    /// Mean of the beam modifier over the sky that a plane sees, weighted by the cosine of incidence.
    ///
    /// On a ring at angle `t` from the plane's normal the sky fills the azimuths with
    /// `cos t cos b + sin t sin b cos f > 0`.
    pub fn sky_integral(&self, tilt_deg: f64) -> f64 {
        self.ring_mean(tilt_deg.clamp(0.0, 90.0).to_radians(), true)
    }

    /// Mean of the beam modifier over the ground that a plane sees, weighted by the cosine of incidence; 0 at tilt 0.
    pub fn ground_integral(&self, tilt_deg: f64) -> f64 {
        let b = tilt_deg.clamp(0.0, 90.0).to_radians();
        if b < 1e-6 { 0.0 } else { self.ring_mean(b, false) }
    }

    fn ring_mean(&self, b: f64, sky: bool) -> f64 {
        use std::f64::consts::{FRAC_PI_2, PI};
        // Rings up to `whole` see only sky; beyond it the horizon cuts them.
        let whole = FRAC_PI_2 - b;
        let (mut sum, mut weight) = (0.0, 0.0);
        let mut add = |t: f64, span: f64, dt: f64| {
            let w = t.cos() * t.sin() * span * dt;
            sum += w * self.at(t.cos());
            weight += w;
        };
        let n = 200;
        if sky && whole > 0.0 {
            for j in 0..n {
                let h = whole / f64::from(n);
                for (g, w) in GAUSS {
                    add(h * (f64::from(j) + 0.5 + 0.5 * g), 2.0 * PI, 0.5 * w * h);
                }
            }
        }
        if b > 0.0 {
            // The half width of the ring rises like a square root at `whole`: t = whole + b w^2 takes the root away.
            for j in 0..n {
                let h = 1.0 / f64::from(n);
                for (g, w) in GAUSS {
                    let x = h * (f64::from(j) + 0.5 + 0.5 * g);
                    let t = whole + b * x * x;
                    let half = (-t.cos() / t.sin() * (b.cos() / b.sin())).clamp(-1.0, 1.0).acos();
                    let span = if sky { 2.0 * half } else { 2.0 * (PI - half) };
                    add(t, span, 0.5 * w * h * 2.0 * b * x);
                }
            }
        }
        if weight > 0.0 { sum / weight } else { 0.0 }
    }

    /// Name for the report.
    pub fn name(&self) -> String {
        match self {
            Glass::MartinRuiz { a_r } => format!("Martin and Ruiz 2001, a_r {a_r}"),
            Glass::Fresnel { n, .. } => format!("Fresnel, front face n {n}"),
            Glass::Table { points, .. } => format!("table of {} angles from the sheet", points.len()),
        }
    }

    /// What was assumed.
    pub fn notes(sheet: &ModuleSheet) -> Vec<Note> {
        let plain = sheet.glass.is_none() && sheet.incidence_table.is_empty() && sheet.a_r.is_none();
        let text = "Incidence loss: the sheet gives no a_r; Martin and Ruiz 2001 with a_r 0.16 is taken.";
        if plain { vec![Note::quiet("module.a-r-default", text)] } else { Vec::new() }
    }
}

fn by_tilt(tilt_deg: &[f64], out: &mut [f64], f: &dyn Fn(f64) -> f64) {
    if let [tilt] = tilt_deg {
        return out.fill(f(*tilt));
    }
    let table: [f64; 91] = std::array::from_fn(|tilt| f(tilt as f64));
    for (k, tilt) in out.iter_mut().zip(tilt_deg) {
        let at = tilt.clamp(0.0, 90.0);
        let j = (at as usize).min(89);
        *k = table[j] + (table[j + 1] - table[j]) * (at - j as f64);
    }
}

/// Two-point Gauss rule on -1..1.
const GAUSS: [(f64, f64); 2] = [(-0.577_350_269_189_625_8, 1.0), (0.577_350_269_189_625_8, 1.0)];

fn closed(f: f64, a_r: f64) -> f64 {
    let c1 = 4.0 / (3.0 * std::f64::consts::PI);
    let c2 = 0.5 * a_r - 0.154;
    1.0 - (-(c1 * f + c2 * f * f) / a_r).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_is_completed_at_both_ends() {
        let table = Glass::table(&[[40.0, 0.995], [70.0, 0.93]]).unwrap();
        let at = |deg: f64| table.at(deg.to_radians().cos());
        // Straight between cells of the cosine: the bend of a cubic that falls by 0.93 in 20 deg (0.35 rad), at most
        // 6 x 0.93 / 0.35^2 or about 50, times a cell squared over 8.
        let near = |deg: f64, want: f64| (at(deg) - want).abs() < 50.0 / (8.0 * (CELLS * CELLS) as f64);
        assert!(near(0.0, 1.0) && near(40.0, 0.995) && near(70.0, 0.93), "{} {}", at(40.0), at(70.0));
        assert!(near(90.0, 0.0) && (0.995..1.0).contains(&at(20.0)) && (0.0..0.93).contains(&at(80.0)));
        // One that begins at 0 keeps its own value there, which is 1 within half a percent.
        assert!((Glass::table(&[[0.0, 1.004], [70.0, 0.93]]).unwrap().at(1.0) - 1.004).abs() < 1e-12);
        for bad in [
            vec![[0.0, 0.99], [70.0, 0.93]],
            vec![[0.0, 1.0]],
            vec![[0.0, 1.0], [0.0, 0.9]],
            vec![[0.0, 1.0], [91.0, 0.1]],
        ] {
            assert!(Glass::table(&bad).is_err(), "{bad:?}");
        }
    }

    #[test]
    fn columns_over_tilts_are_the_factors_themselves() {
        let tilts: Vec<f64> = (0..=900).map(|k| f64::from(k) / 10.0).collect();
        let table = Glass::table(&[[0.0, 1.0], [50.0, 0.99], [70.0, 0.93], [80.0, 0.8]]).unwrap();
        for glass in
            [Glass::MartinRuiz { a_r: 0.16 }, Glass::Fresnel { n: N_COATED, n_under: N_GLASS, k_l: K_L }, table]
        {
            let (mut sky, mut ground) = (vec![0.0; tilts.len()], vec![0.0; tilts.len()]);
            glass.sky_column(&tilts, &mut sky);
            glass.ground_column(&tilts, &mut ground);
            for (i, tilt) in tilts.iter().enumerate() {
                let whole = i % 10 == 0;
                let within = |slack: f64| if whole { 1e-15 } else { slack };
                assert!((sky[i] - glass.sky(*tilt)).abs() <= within(1e-4), "{} {tilt}", glass.name());
                let off = (ground[i] - glass.ground(*tilt)).abs();
                assert!(off <= within(if *tilt < 3.0 { 1.5e-3 } else { 1e-3 }), "{} {tilt}: {off}", glass.name());
            }
        }
        let mut out = [0.0; 2];
        Glass::MartinRuiz { a_r: 0.16 }.sky_column(&[-4.0, 120.0], &mut out);
        assert_eq!(out, [0.0, 90.0].map(|tilt| Glass::MartinRuiz { a_r: 0.16 }.sky(tilt)));
    }

    // For a small tilt b, sin b + (b - sin b)/(1 - cos b) goes to 4 b/3, by the series of sine and cosine.
    #[test]
    fn ground_behind_glass_begins_without_a_step() {
        let glass = Glass::MartinRuiz { a_r: 0.16 };
        assert_eq!(glass.ground(0.0), 0.0);
        let at = |b: f64| glass.ground(b.to_degrees());
        for b in [2e-4, 9.99e-4, 1.001e-3, 2e-3] {
            let c1 = 4.0 / (3.0 * std::f64::consts::PI);
            assert!((at(b) / (c1 * 4.0 / 3.0 * b / 0.16) - 1.0).abs() < 0.01, "{b}: {}", at(b));
        }
    }

    #[test]
    fn only_a_sheet_that_says_nothing_of_angles_gets_a_note() {
        let plain = crate::module::samples::p410();
        let told = |change: fn(&mut ModuleSheet)| {
            let mut sheet = plain.clone();
            change(&mut sheet);
            Glass::notes(&sheet).len()
        };
        assert_eq!(told(|_| ()), 1);
        assert_eq!(told(|s| s.glass = Some("fresnel".into())), 0);
        assert_eq!(told(|s| s.incidence_table = vec![[0.0, 1.0], [60.0, 0.95]]), 0);
        assert_eq!(told(|s| s.a_r = Some(0.17)), 0);
    }
}
