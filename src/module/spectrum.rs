//! Colour of the light: a first-order correction by air mass and water in the air.

use serde::Serialize;

use super::Technology;
use crate::wide;

/// The spectral factor of one technology, off unless asked for.
///
/// ```text
/// M = c0 + c1 AM + c2 w + c3 sqrt(AM) + c4 sqrt(w) + c5 AM / sqrt(w)
/// ```
///
/// AM: absolute air mass (relative air mass x pressure / 101325 Pa), held within 0.58 to 10; w: water in the air
/// column, cm, held within 0.1 to 8. Clear-sky spectra; under cloud it is an approximation.
///
/// Source: Lee, M., Panchula, A., *Spectral correction for photovoltaic module performance based on air mass and
/// precipitable water*, IEEE Photovoltaic Specialists Conference 2016; coefficients from memory.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spectrum {
    c: [f64; 6],
}

const CDTE: [f64; 6] = [0.862_73, -0.038_948, -0.012_506, 0.098_871, 0.084_658, -0.004_294_8];
const MONO: [f64; 6] = [0.859_14, -0.020_880, -0.005_885_3, 0.120_29, 0.026_814, -0.001_781_0];
const MULTI: [f64; 6] = [0.840_90, -0.027_539, -0.007_922_4, 0.135_70, 0.038_024, -0.002_121_8];

wide! {
    fn factors(air_mass: &[f64], water_cm: &[f64], c: &[f64; 6], out: &mut [f64]) {
        let n = out.len();
        let (air_mass, water_cm) = (&air_mass[..n], &water_cm[..n]);
        for j in 0..n {
            let m = if air_mass[j] > 0.58 { air_mass[j] } else { 0.58 };
            let m = if m < 10.0 { m } else { 10.0 };
            let w = if water_cm[j] > 0.1 { water_cm[j] } else { 0.1 };
            let w = if w < 8.0 { w } else { 8.0 };
            let root = w.sqrt();
            out[j] = c[0] + c[1] * m + c[2] * w + c[3] * m.sqrt() + c[4] * root + c[5] * m / root;
        }
    }
}

impl Spectrum {
    /// The correction of a technology; `None` where no published coefficients are known here (copper indium gallium
    /// selenide, amorphous silicon).
    pub fn of(technology: Option<Technology>) -> Option<Spectrum> {
        let c = match technology? {
            Technology::CdTe => CDTE,
            Technology::MultiSi => MULTI,
            Technology::Cigs | Technology::AmorphousSi => return None,
            _ => MONO,
        };
        Some(Spectrum { c })
    }

    /// Factor on the light, about 0.9 to 1.05 (0.67 at the driest, lowest sun that is held), over columns of absolute air mass and water (cm).
    pub fn factor(&self, air_mass_abs: &[f64], water_cm: &[f64], out: &mut [f64]) {
        factors(air_mass_abs, water_cm, &self.c, out);
    }

    /// Name for the report.
    pub fn name(&self) -> &'static str {
        "Lee and Panchula 2016, by air mass and water in the air (coefficients from memory)"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // At the reference spectrum (AM 1.5, 1.42 cm of water; ASTM G173) the factor is 1 by its making, within 0.5 %.
    // Cadmium telluride answers in the blue and gains from water; silicon does so less (the paper's finding).
    #[test]
    fn one_at_the_reference_and_water_helps_cadmium_telluride() {
        let of = |t: Technology, m: f64, w: f64| {
            let mut out = [0.0];
            Spectrum::of(Some(t)).unwrap().factor(&[m], &[w], &mut out);
            out[0]
        };
        for t in [Technology::CdTe, Technology::MonoSi, Technology::MultiSi] {
            assert!((of(t, 1.5, 1.42) - 1.0).abs() < 0.005, "{t:?} {}", of(t, 1.5, 1.42));
        }
        let gain = |t: Technology| of(t, 1.5, 4.0) / of(t, 1.5, 0.5) - 1.0;
        assert!(gain(Technology::CdTe) > 0.03 && gain(Technology::CdTe) > 2.0 * gain(Technology::MonoSi));
        for m in [0.0, 1.0, 5.0, 40.0] {
            for w in [0.0, 0.5, 3.0, 20.0] {
                assert!((0.6..1.2).contains(&of(Technology::CdTe, m, w)));
            }
        }
        assert!(Spectrum::of(None).is_none() && Spectrum::of(Some(Technology::Cigs)).is_none());
    }

    // The form worked by hand at air mass 5 and 4 cm of water, whose roots are 2.236068 and 2:
    // 0.85914 - 5 x 0.020880 - 4 x 0.0058853 + 2.236068 x 0.12029 + 2 x 0.026814 - 2.5 x 0.0017810.
    #[test]
    fn the_form_by_hand() {
        let mut out = [0.0; 3];
        Spectrum::of(Some(Technology::MonoSi)).unwrap().factor(&[5.0, 10.0, 99.0], &[4.0, 0.1, 0.0], &mut out);
        assert!((out[0] - 1.049_351).abs() < 1e-6, "{}", out[0]);
        assert_eq!(out[1], out[2]);
    }
}
