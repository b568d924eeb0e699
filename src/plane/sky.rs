//! The sky over a site: what does not depend on the plane, once per site.

use std::ops::Range;

use super::SkyModel;
use crate::sun::SunTrack;
use crate::weather::WeatherYear;

/// Upper ends of the clearness bins 1 to 7. Source: Perez et al., Solar Energy 44 (1990) 271-289, table 1.
pub const PEREZ_BINS: [f64; 7] = [1.065, 1.23, 1.5, 1.95, 2.8, 4.5, 6.2];

/// F11, F12, F13, F21, F22, F23 of each clearness bin. Source: Perez, Ineichen, Seals, Michalsky, Stewart, Solar Energy
/// 44 (1990) 271-289, table 6, with the seven digits in public use (the paper prints three).
pub const PEREZ_1990: [[f64; 6]; 8] = [
    [-0.0083117, 0.5877285, -0.0620636, -0.0596012, 0.0721249, -0.0220216],
    [0.1299457, 0.6825954, -0.1513752, -0.0189325, 0.0659650, -0.0288748],
    [0.3296958, 0.4868735, -0.2210958, 0.0554140, -0.0639588, -0.0260542],
    [0.5682053, 0.1874525, -0.2951290, 0.1088631, -0.1519229, -0.0139754],
    [0.8730280, -0.3920403, -0.3616149, 0.2255647, -0.4620442, 0.0012448],
    [1.1326077, -1.2367284, -0.4118494, 0.2877813, -0.8230357, 0.0558651],
    [1.0601591, -1.5999137, -0.3589221, 0.2642124, -1.1272340, 0.1310694],
    [0.6777470, -0.3272588, -0.2504286, 0.1561313, -1.3765031, 0.2506212],
];

/// cos 85 deg: the circumsolar ratio's denominator is held here for a lower sun (Perez 1990).
pub const COS_85: f64 = 0.087_155_742_747_658_17;

/// The sky over a site, on the daylight steps of a [`SunTrack`].
///
/// All four sky models take one form on a plane with incidence angle `theta` and tilt `b`:
///
/// - beam with circumsolar: `normal x max(cos theta, 0)`
/// - rest of the sky: `even x (1 + cos b)/2 + band x w(b)`, `w = sin b` for Perez, `(1 + cos b)/2 sin^3(b/2)` for Reindl
///
/// With `a = dhi x circumsolar share / max(cos z, cos 85 deg)`, `normal = dni + a` and `even = dhi - a cos z`: the part of
/// the circumsolar light that the floor of cos z cuts off stays in the even part, so that tilt 0 returns
/// `dni cos z + dhi`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sky {
    /// The model behind the columns.
    pub model: SkyModel,
    /// Beam and circumsolar light on a plane facing the sun, W/m2; 0 when the sun is down.
    pub normal: Vec<f64>,
    /// Light of the even sky on the horizontal, W/m2.
    pub even: Vec<f64>,
    /// Amplitude of the horizon band (Perez: `dhi F2`, of either sign; Reindl: even part x f), W/m2.
    pub band: Vec<f64>,
    /// Global horizontal irradiance, W/m2.
    pub ghi: Vec<f64>,
    /// Direct normal irradiance, W/m2.
    pub dni: Vec<f64>,
    /// Diffuse horizontal irradiance, W/m2.
    pub dhi: Vec<f64>,
    /// Air temperature, C.
    pub t_amb: Vec<f64>,
    /// Wind speed at the height of the file, m/s.
    pub wind: Vec<f64>,
    /// Ground reflectance; empty when the file holds none.
    pub albedo: Vec<f64>,
}

impl Sky {
    /// Gathers the weather of the daylight steps and splits the diffuse light by the sky model.
    pub fn over(weather: &WeatherYear, sun: &SunTrack, model: SkyModel) -> Sky {
        let n = sun.steps.len();
        let runs = runs(&sun.steps);
        let gather = |column: &[f64]| gather(column, &runs, n);
        let (dni, dhi) = (gather(&weather.dni), gather(&weather.dhi));
        let mut sky = Sky {
            model,
            normal: vec![0.0; n],
            even: vec![0.0; n],
            band: vec![0.0; n],
            ghi: gather(&weather.ghi),
            t_amb: gather(&weather.t_amb),
            wind: gather(&weather.wind),
            albedo: weather.albedo.as_ref().map_or_else(Vec::new, |a| gather(a)),
            dni,
            dhi,
        };
        let (normal, even, band) = (&mut sky.normal, &mut sky.even, &mut sky.band);
        match model {
            SkyModel::Perez => {
                perez(&sky.dni, &sky.dhi, &sun.up, &sun.zenith, &sun.air_mass, &sun.e0n, normal, even, band);
            }
            SkyModel::HayDavies => hay_davies(&sky.dni, &sky.dhi, &sun.up, &sun.e0n, 0.0, normal, even, band),
            SkyModel::Reindl => hay_davies(&sky.dni, &sky.dhi, &sun.up, &sun.e0n, 1.0, normal, even, band),
            SkyModel::Isotropic => isotropic(&sky.dni, &sky.dhi, &sun.up, normal, even),
        }
        sky
    }

    /// Weight of the horizon band on a plane, from cosine and sine of its tilt.
    #[inline(always)]
    pub fn band_weight(&self, cos_tilt: f64, sin_tilt: f64) -> f64 {
        match self.model {
            SkyModel::Perez => sin_tilt,
            SkyModel::Reindl => {
                let half = (0.5 * (1.0 - cos_tilt)).max(0.0).sqrt();
                0.5 * (1.0 + cos_tilt) * half * half * half
            }
            SkyModel::HayDavies | SkyModel::Isotropic => 0.0,
        }
    }
}

/// The daylight steps as runs that follow each other without a gap.
fn runs(steps: &[u32]) -> Vec<Range<usize>> {
    let mut runs: Vec<Range<usize>> = Vec::new();
    for step in steps.iter().map(|step| *step as usize) {
        match runs.last_mut() {
            Some(run) if run.end == step => run.end += 1,
            _ => runs.push(step..step + 1),
        }
    }
    runs
}

/// Values of the daylight steps, a whole run at once; a step outside the column counts as 0.
fn gather(column: &[f64], runs: &[Range<usize>], n: usize) -> Vec<f64> {
    let mut out = Vec::with_capacity(n);
    for run in runs {
        match column.get(run.clone()) {
            Some(values) => out.extend_from_slice(values),
            None => out.extend(run.clone().map(|i| column.get(i).copied().unwrap_or(0.0))),
        }
    }
    out
}

crate::wide! {
    /// Perez et al. 1990: brightening around the sun `F1 = max(0, F11 + F12 delta + F13 z)` and at the horizon
    /// `F2 = F21 + F22 delta + F23 z`, with clearness `eps = ((dhi + dni)/dhi + 1.041 z^3)/(1 + 1.041 z^3)` (z in rad) and
    /// brightness `delta = dhi m / e0n`.
    fn perez(
        dni: &[f64],
        dhi: &[f64],
        up: &[f64],
        zenith: &[f64],
        air_mass: &[f64],
        e0n: &[f64],
        normal: &mut [f64],
        even: &mut [f64],
        band: &mut [f64],
    ) {
        let n = dni.len();
        let (dhi, up, zenith, air_mass, e0n) = (&dhi[..n], &up[..n], &zenith[..n], &air_mass[..n], &e0n[..n]);
        let (normal, even, band) = (&mut normal[..n], &mut even[..n], &mut band[..n]);
        const T: [[f64; 6]; 8] = PEREZ_1990;
        for i in 0..n {
            let (b, d, z) = (dni[i], dhi[i], zenith[i]);
            let k = 1.041 * z * z * z;
            let safe = if d > 1e-6 { d } else { 1e-6 };
            // eps = clear / scale; the comparisons ask for no division.
            let (clear, scale) = (safe + b + k * safe, safe * (1.0 + k));
            let delta = d * air_mass[i] / e0n[i];
            let mut f = T[0];
            // Seven compares with selects; a table look-up would not vectorise as well.
            for bin in 0..7 {
                let above = clear >= PEREZ_BINS[bin] * scale;
                for j in 0..6 {
                    f[j] = if above { T[bin + 1][j] } else { f[j] };
                }
            }
            let f1 = f[0] + f[1] * delta + f[2] * z;
            let f1 = if f1 > 0.0 { f1 } else { 0.0 };
            let f2 = f[3] + f[4] * delta + f[5] * z;
            let cos_z = if up[i] > 0.0 { up[i] } else { 0.0 };
            let floor = if cos_z > COS_85 { cos_z } else { COS_85 };
            let around = d * f1 / floor;
            normal[i] = if up[i] > 0.0 { b + around } else { 0.0 };
            even[i] = d - around * cos_z;
            band[i] = d * f2;
        }
    }
}

crate::wide! {
    /// Hay and Davies 1980: circumsolar share `A = dni/e0n`; with `reindl = 1` the horizon band of Reindl, Beckman and
    /// Duffie, Solar Energy 45 (1990) 9-17: `f = sqrt(beam horizontal / global horizontal)`.
    fn hay_davies(
        dni: &[f64],
        dhi: &[f64],
        up: &[f64],
        e0n: &[f64],
        reindl: f64,
        normal: &mut [f64],
        even: &mut [f64],
        band: &mut [f64],
    ) {
        let n = dni.len();
        let (dhi, up, e0n) = (&dhi[..n], &up[..n], &e0n[..n]);
        let (normal, even, band) = (&mut normal[..n], &mut even[..n], &mut band[..n]);
        for i in 0..n {
            let (b, d) = (dni[i], dhi[i]);
            let share = b / e0n[i];
            let share = if share < 1.0 { share } else { 1.0 };
            let cos_z = if up[i] > 0.0 { up[i] } else { 0.0 };
            let floor = if cos_z > COS_85 { cos_z } else { COS_85 };
            let around = d * share / floor;
            normal[i] = if up[i] > 0.0 { b + around } else { 0.0 };
            even[i] = d - around * cos_z;
            let beam = b * cos_z;
            let total = beam + d;
            let total = if total > 1e-9 { total } else { 1e-9 };
            // With the floor at work part of the circumsolar light is in the even part; the band belongs to the rest.
            band[i] = reindl * d * (1.0 - share) * (beam / total).sqrt();
        }
    }
}

crate::wide! {
    /// Liu and Jordan 1963: the same from everywhere.
    fn isotropic(dni: &[f64], dhi: &[f64], up: &[f64], normal: &mut [f64], even: &mut [f64]) {
        let n = dni.len();
        let (dhi, up) = (&dhi[..n], &up[..n]);
        let (normal, even) = (&mut normal[..n], &mut even[..n]);
        for i in 0..n {
            normal[i] = if up[i] > 0.0 { dni[i] } else { 0.0 };
            even[i] = dhi[i];
        }
    }
}
