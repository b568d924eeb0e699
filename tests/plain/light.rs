//! Light of one hour on a fixed plane.

use yearlight::plane::{PEREZ_1990, PEREZ_BINS};

/// One hour's sun and sky.
pub struct Hour {
    pub sun: [f64; 3],
    pub zenith: f64,
    pub air_mass: f64,
    pub e0n: f64,
    pub ghi: f64,
    pub dni: f64,
    pub dhi: f64,
}

/// Beam with circumsolar, rest of the sky, ground; and the cosine of incidence.
pub struct OnPlane {
    pub cos_aoi: f64,
    pub beam: f64,
    pub sky: f64,
    pub ground: f64,
}

/// Perez et al. 1990, eq. 9, with the circumsolar part's denominator held at cos 85 deg and what that cuts off left in
/// the even sky; a sum of sky parts below 0 is taken from the circumsolar part.
pub fn perez(h: &Hour, tilt_deg: f64, azimuth_deg: f64, albedo: f64) -> OnPlane {
    let (b, a) = (tilt_deg.to_radians(), azimuth_deg.to_radians());
    let [east, north, up] = h.sun;
    let cos = b.sin() * (a.sin() * east + a.cos() * north) + b.cos() * up;
    let cos_aoi = if up > 0.0 { cos.max(0.0) } else { 0.0 };

    let k = 1.041 * h.zenith.powi(3);
    let d = h.dhi.max(1e-6);
    let clearness = ((d + h.dni) / d + k) / (1.0 + k);
    let bin = PEREZ_BINS.iter().filter(|limit| clearness >= **limit).count();
    let f = PEREZ_1990[bin];
    let brightness = h.dhi * h.air_mass / h.e0n;
    let f1 = (f[0] + f[1] * brightness + f[2] * h.zenith).max(0.0);
    let f2 = f[3] + f[4] * brightness + f[5] * h.zenith;

    let cos_z = up.max(0.0);
    let around = h.dhi * f1 / cos_z.max(85.0_f64.to_radians().cos());
    let even = (h.dhi - around * cos_z) * (1.0 + b.cos()) / 2.0;
    let band = h.dhi * f2 * b.sin();
    let (mut circumsolar, mut sky) = (around * cos_aoi, even + band);
    if sky < 0.0 {
        circumsolar = (circumsolar + sky).max(0.0);
        sky = 0.0;
    }
    OnPlane { cos_aoi, beam: h.dni * cos_aoi + circumsolar, sky, ground: h.ghi * albedo * (1.0 - b.cos()) / 2.0 }
}
