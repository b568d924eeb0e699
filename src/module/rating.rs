//! Energy rating of one module on one plane under one sky.

use serde::Serialize;

use super::{Electrical, Glass, Thermal};
use crate::maths;
use crate::plane::PlaneLight;
use crate::units::G_STC;

/// Module performance ratio and its four factors; they multiply to the ratio.
///
/// `ratio = (E_module / P_stc) / (H / 1000 W/m2)`: energy at maximum power over in-plane irradiation at the efficiency
/// of standard test conditions. After IEC 61853-3:2018, not certified: the sky is the user's file and not a reference
/// climate, so it is a site rating and not the standard's climate-specific figure. No ageing, no light-induced loss.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Rating {
    /// Module performance ratio.
    pub ratio: f64,
    /// In-plane irradiation, kWh/m2.
    pub h_kwh_m2: f64,
    /// Light after reflection over light on the plane.
    pub incidence: f64,
    /// Light after colour over light after reflection; 1 without a spectral model.
    pub spectrum: f64,
    /// Efficiency at 25 C, weighted by light, over that at STC.
    pub low_light: f64,
    /// What heat leaves.
    pub temperature: f64,
    /// Mean cell temperature weighted by light, C.
    pub t_cell_c: f64,
}

/// Rates one module over the daylight steps of a year; `None` when no light falls on the plane.
///
/// - `light`: the open plane; its beam, sky and ground columns
/// - `t_amb`, `wind`: on the same steps; C and m/s at the file's height
/// - `spectrum`: factors on the light, empty for none
/// - `step_h`: hours per step
pub fn rate(
    electrical: &Electrical,
    glass: &Glass,
    thermal: &Thermal,
    light: &PlaneLight,
    t_amb: &[f64],
    wind: &[f64],
    spectrum: &[f64],
    step_h: f64,
) -> Option<Rating> {
    let n = light.beam.len();
    let column = || vec![0.0; n];
    let (mut k_beam, mut k_sky, mut k_ground) = (column(), column(), column());
    glass.beam(&light.cos_aoi, &mut k_beam);
    glass.sky_column(&light.tilt_deg, &mut k_sky);
    glass.ground_column(&light.tilt_deg, &mut k_ground);
    let (mut g, mut g_1, mut g_2) = (column(), column(), column());
    for j in 0..n {
        g[j] = light.beam[j] + light.sky[j] + light.ground[j];
        g_1[j] = light.beam[j] * k_beam[j] + light.sky[j] * k_sky[j] + light.ground[j] * k_ground[j];
        g_2[j] = g_1[j] * spectrum.get(j).copied().unwrap_or(1.0);
    }
    let (mut t, mut a, mut b, mut v) = (column(), column(), column(), column());
    thermal.t_cell(&g_1, t_amb, wind, &mut t);
    electrical.operate(&g_2, &t, &mut a, &mut b, &mut v);
    let product = |x: &[f64], y: &[f64]| -> Vec<f64> { x.iter().zip(y).map(|(x, y)| x * y).collect() };
    let cool = product(&g_2, &a);
    let power = product(&cool, &b);
    let sums = [&g, &g_1, &g_2, &cool, &power].map(|x| maths::sum(x));
    if !(sums.iter().all(|s| *s > 0.0)) {
        return None;
    }
    Some(Rating {
        ratio: sums[4] / sums[0],
        h_kwh_m2: sums[0] * step_h / G_STC,
        incidence: sums[1] / sums[0],
        spectrum: sums[2] / sums[1],
        low_light: sums[3] / sums[2],
        temperature: sums[4] / sums[3],
        t_cell_c: maths::sum(&product(&g_1, &t)) / sums[1],
    })
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;
    use crate::plane::Cooling;

    // Identities of the definition (IEC 61853-3 in our words).
    #[test]
    fn constant_light_at_25_degrees_rates_one() {
        let n = 24;
        let light = PlaneLight {
            cos_aoi: vec![1.0; n],
            beam: vec![1000.0; n],
            sky: vec![0.0; n],
            ground: vec![0.0; n],
            tilt_deg: vec![20.0],
            ..PlaneLight::default()
        };
        let sheet = samples::p410();
        let (electrical, _) = Electrical::fit(&sheet, None).unwrap();
        let glass = Glass::MartinRuiz { a_r: 0.16 };
        let thermal = Thermal::new(&Cooling::default(), &sheet, 2.0);
        let air = vec![25.0 - 1000.0 / 25.0; n];
        let r = rate(&electrical, &glass, &thermal, &light, &air, &vec![0.0; n], &[], 1.0).unwrap();
        assert!((r.ratio - 1.0).abs() < 1e-12, "{r:?}");
        assert!((r.h_kwh_m2 - 24.0).abs() < 1e-12);
        // No wind: air and 1000 W/m2 over 25 W/m2 K.
        assert!((r.t_cell_c - 25.0).abs() < 1e-9, "{}", r.t_cell_c);
        let half = rate(&electrical, &glass, &thermal, &light, &air, &vec![0.0; n], &[], 0.5).unwrap();
        assert!((half.h_kwh_m2 - 12.0).abs() < 1e-12 && (half.ratio - r.ratio).abs() < 1e-12);
        // Warmer air: gamma alone moves it, and the four factors multiply to the ratio.
        let air = vec![25.0 - 1000.0 / 25.0 + 30.0; n];
        let light = PlaneLight { sky: vec![120.0; n], ground: vec![15.0; n], beam: vec![500.0; n], ..light };
        let r = rate(&electrical, &glass, &thermal, &light, &air, &vec![2.0; n], &vec![0.99; n], 0.5).unwrap();
        assert!((r.incidence * r.spectrum * r.low_light * r.temperature / r.ratio - 1.0).abs() < 1e-9);
        assert!(r.ratio < 1.0 && r.incidence < 1.0 && (r.spectrum - 0.99).abs() < 1e-12);
        // Twice the module, the same rating.
        let mut big = sheet.clone();
        (big.p_stc_w, big.i_mp, big.i_sc) = (2.0 * big.p_stc_w, 2.0 * big.i_mp, 2.0 * big.i_sc);
        (big.length_mm, big.series_cells) = (2.0 * big.length_mm, big.series_cells);
        let (twice, _) = Electrical::fit(&big, None).unwrap();
        let r2 = rate(&twice, &glass, &thermal, &light, &air, &vec![2.0; n], &vec![0.99; n], 0.5).unwrap();
        assert!((r2.ratio / r.ratio - 1.0).abs() < 1e-9);
        let dark = PlaneLight { beam: vec![0.0; n], sky: vec![0.0; n], ground: vec![0.0; n], ..light };
        assert!(rate(&electrical, &glass, &thermal, &dark, &air, &vec![2.0; n], &[], 1.0).is_none());
    }
}
