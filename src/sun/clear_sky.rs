//! Light under a cloudless sky, for checks and charts.

use crate::maths;

/// Global horizontal irradiance of a cloudless sky, W/m2.
///
/// `G = 1098 cos z exp(-0.059 / cos z)`, zero when the sun is down.
/// Source: Haurwitz, Journal of Meteorology 2 (1945) 154-166 and 3 (1946) 123-124, in W/m2 (from memory; the exponent
/// is also given as 0.057, 0.2 to 0.8 % more above 10 deg of elevation). Within about 10 % of clear air at sea level.
/// ```
/// assert!((yearlight::sun::clear_sky::haurwitz(1.0) - 1035.09).abs() < 0.01);
/// ```
#[inline(always)]
pub fn haurwitz(cos_zenith: f64) -> f64 {
    if cos_zenith > 0.0 { 1098.0 * cos_zenith * maths::exp(-0.059 / cos_zenith) } else { 0.0 }
}

/// What the air holds, for [`bird`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Station pressure, hPa.
    pub pressure_hpa: f64,
    /// Ozone column, cm (0.3 typical).
    pub ozone_cm: f64,
    /// Precipitable water, cm (1.5 typical).
    pub water_cm: f64,
    /// Aerosol optical depth at 380 nm.
    pub aerosol_380: f64,
    /// Aerosol optical depth at 500 nm.
    pub aerosol_500: f64,
    /// Ground reflectance.
    pub albedo: f64,
}

impl Default for Air {
    fn default() -> Self {
        Air { pressure_hpa: 1013.25, ozone_cm: 0.3, water_cm: 1.5, aerosol_380: 0.15, aerosol_500: 0.10, albedo: 0.2 }
    }
}

/// Light under a cloudless sky.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ClearLight {
    /// Direct normal, W/m2.
    pub dni: f64,
    /// Diffuse horizontal, W/m2.
    pub dhi: f64,
    /// Global horizontal, W/m2.
    pub ghi: f64,
}

/// Beam and diffuse light of a cloudless sky by the simple model of Bird and Hulstrom.
///
/// Transmittances of Rayleigh scattering, ozone, mixed gases, water and aerosol, multiplied; forward scattering 0.84,
/// absorption constant K1 = 0.1. `e0n`: extraterrestrial normal irradiance, W/m2. Zero when the sun is down.
/// Source: Bird and Hulstrom, SERI/TR-642-761 (1981) (from memory). Within a few percent of line-by-line models for
/// clear air when the inputs are known.
pub fn bird(zenith_deg: f64, e0n: f64, air: &Air) -> ClearLight {
    if !(0.0..89.99).contains(&zenith_deg) {
        return ClearLight::default();
    }
    let cos_z = zenith_deg.to_radians().cos();
    // Air mass by Kasten (1966), the report's own.
    let m = 1.0 / (cos_z + 0.15 * (93.885 - zenith_deg).powf(-1.25));
    let mp = m * air.pressure_hpa.max(0.0) / 1013.0;
    let rayleigh = (-0.0903 * mp.powf(0.84) * (1.0 + mp - mp.powf(1.01))).exp();
    let xo = air.ozone_cm.max(0.0) * m;
    let ozone =
        1.0 - 0.1611 * xo * (1.0 + 139.48 * xo).powf(-0.3035) - 0.002715 * xo / (1.0 + 0.044 * xo + 0.0003 * xo * xo);
    let gases = (-0.0127 * mp.powf(0.26)).exp();
    let xw = air.water_cm.max(0.0) * m;
    let water = 1.0 - 2.4959 * xw / ((1.0 + 79.034 * xw).powf(0.6828) + 6.385 * xw);
    let depth = (0.2758 * air.aerosol_380 + 0.35 * air.aerosol_500).max(0.0);
    let aerosol = (-depth.powf(0.873) * (1.0 + depth - depth.powf(0.7088)) * m.powf(0.9108)).exp();
    let absorbed = 1.0 - 0.1 * (1.0 - m + m.powf(1.06)) * (1.0 - aerosol);
    let scattered = aerosol / absorbed;
    let sky_albedo = 0.0685 + (1.0 - 0.84) * (1.0 - scattered);
    let dni = (0.9662 * e0n * rayleigh * ozone * gases * water * aerosol).max(0.0);
    let first =
        e0n * cos_z * 0.79 * ozone * gases * water * absorbed * (0.5 * (1.0 - rayleigh) + 0.84 * (1.0 - scattered))
            / (1.0 - m + m.powf(1.02));
    let ghi = (dni * cos_z + first.max(0.0)) / (1.0 - air.albedo.clamp(0.0, 1.0) * sky_albedo);
    ClearLight { dni, dhi: (ghi - dni * cos_z).max(0.0), ghi }
}
