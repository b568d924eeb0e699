//! The air's thickness, its pressure, and the light above it.

use crate::maths::acos_and_root;
use crate::units::SOLAR_CONSTANT;

/// Relative optical air mass, 1 at the zenith.
///
/// `m = 1 / (cos z + 0.50572 (96.07995 - z)^-1.6364)`
///
/// - `zenith_deg`: apparent zenith angle, 0 to 90; held at its horizon value (37.92) below the horizon.
///
/// Multiply by pressure / 1013.25 hPa for the absolute air mass.
/// Source: Kasten and Young, Applied Optics 28 (1989) 4735-4738.
/// ```
/// assert!((yearlight::sun::air_mass(60.0) - 1.994_293).abs() < 1e-6);
/// ```
pub fn air_mass(zenith_deg: f64) -> f64 {
    let z = if zenith_deg.is_finite() { zenith_deg.clamp(0.0, 90.0) } else { 90.0 };
    1.0 / (z.to_radians().cos() + 0.50572 * (96.07995 - z).powf(-1.6364))
}

/// Numerator and denominator of the term that Kasten and Young add to the cosine, over `sqrt(1 - cos z)`: fitted to it for
/// the least largest error, which is 1.4e-7 of the air mass.
const ADDED: [[f64; 4]; 2] = [
    [0.000_287_979_368_650_190_3, -0.000_388_345_484_976_623_1, 7.469_288_358_063_074e-5, 3.808_807_297_214_753_6e-5],
    [1.0, -2.727_308_664_806_295, 2.475_277_503_498_261, -0.747_498_072_877_557_2],
];

crate::wide! {
    /// Zenith angle (rad, to 1e-7) and Kasten-Young air mass (to 2e-7) from the cosine of the zenith angle.
    pub(super) fn zenith_and_air_mass(up: &[f64], zenith: &mut [f64], air_mass: &mut [f64]) {
        let n = up.len();
        let (zenith, air_mass) = (&mut zenith[..n], &mut air_mass[..n]);
        let [above, below] = ADDED;
        for i in 0..n {
            let (z, root) = acos_and_root(up[i]);
            zenith[i] = z;
            let (c, w) = if up[i] > 0.0 { (up[i], root) } else { (0.0, 1.0) };
            let p = above[0] + w * (above[1] + w * (above[2] + w * above[3]));
            let q = below[0] + w * (below[1] + w * (below[2] + w * below[3]));
            air_mass[i] = q / (c * q + p);
        }
    }
}

/// Station pressure from elevation, hPa, for the standard atmosphere of 1976.
///
/// `p = 1013.25 (1 - 2.25577e-5 h)^5.25588`, h in m, -500 to 11 000 (held there).
/// Source: US Standard Atmosphere 1976.
/// ```
/// assert!((yearlight::sun::pressure_hpa(1000.0) - 898.75).abs() < 0.02);
/// ```
pub fn pressure_hpa(elevation_m: f64) -> f64 {
    let h = if elevation_m.is_finite() { elevation_m.clamp(-500.0, 11_000.0) } else { 0.0 };
    1013.25 * (1.0 - 2.25577e-5 * h).powf(5.25588)
}

/// Extraterrestrial irradiance on a plane facing the sun, W/m2.
///
/// `E = 1361.1 / R^2`, R in au. Solar constant: Gueymard, Solar Energy 169 (2018) 434-440.
pub fn extraterrestrial_normal(distance_au: f64) -> f64 {
    if distance_au > 0.1 { SOLAR_CONSTANT / (distance_au * distance_au) } else { SOLAR_CONSTANT }
}

/// Extraterrestrial energy on the horizontal over one day, MJ/m2, and the day's length in hours.
///
/// - `latitude_deg`: north positive
/// - `declination_deg`: of the sun at noon
/// - `normal_w_m2`: extraterrestrial irradiance facing the sun
///
/// `H = 86400/pi E (w sin phi sin delta + cos phi cos delta sin w)`, `cos w = -tan phi tan delta` (held at 0 in polar
/// night and at pi under the midnight sun). Source: Duffie and Beckman, Solar Engineering of Thermal Processes, section
/// 1.10; the same as FAO Irrigation and Drainage Paper 56, eq. 21.
pub fn extraterrestrial_day(latitude_deg: f64, declination_deg: f64, normal_w_m2: f64) -> (f64, f64) {
    let (sin_phi, cos_phi) = latitude_deg.to_radians().sin_cos();
    let (sin_delta, cos_delta) = declination_deg.to_radians().sin_cos();
    let w = (-(sin_phi * sin_delta) / (cos_phi * cos_delta).max(1e-12)).clamp(-1.0, 1.0).acos();
    let mean = (w * sin_phi * sin_delta + cos_phi * cos_delta * w.sin()) / std::f64::consts::PI;
    (mean.max(0.0) * normal_w_m2 * 86_400.0 / 1e6, w * 24.0 / std::f64::consts::PI)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn column_and_scalar_air_mass_agree() {
        let zenith_deg: Vec<f64> = (0..=950).map(|i| f64::from(i) * 0.1).collect();
        let up: Vec<f64> = zenith_deg.iter().map(|z| z.to_radians().cos()).collect();
        let (mut z, mut m) = (vec![0.0; up.len()], vec![0.0; up.len()]);
        zenith_and_air_mass(&up, &mut z, &mut m);
        for i in 0..up.len() {
            assert!((z[i].to_degrees() - zenith_deg[i]).abs() < 1e-5);
            assert!(
                (m[i] / air_mass(zenith_deg[i]) - 1.0).abs() < 2e-7,
                "{} {} {}",
                zenith_deg[i],
                m[i],
                air_mass(zenith_deg[i])
            );
        }
    }

    #[test]
    fn odd_input_stays_finite() {
        assert!(air_mass(f64::NAN).is_finite() && air_mass(180.0).is_finite() && air_mass(-5.0).is_finite());
        assert!(pressure_hpa(f64::NAN).is_finite() && pressure_hpa(1e9).is_finite());
        assert!(extraterrestrial_normal(0.0).is_finite());
        for lat in [-90.0, 90.0, 0.0] {
            let (h, day) = extraterrestrial_day(lat, 23.4, 1361.0);
            assert!(h.is_finite() && (0.0..=24.0).contains(&day));
        }
    }
}
