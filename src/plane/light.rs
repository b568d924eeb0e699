//! Light on one plane.

use super::rows::RowGeometry;
use super::tracker::Tracker;
use super::{PlaneSpec, Sky, Skyline};
use crate::sun::SunTrack;

/// Ground reflectance when neither the plane nor the file states one.
pub const DEFAULT_ALBEDO: f64 = 0.2;

/// Light on one plane, on the daylight steps of a [`crate::sun::SunTrack`].
///
/// `beam`, `sky` and `ground` are W/m2 on the open plane: before skyline, obstacles, rows, dirt and incidence loss.
/// The `*_kept` columns are the shares 0..1 that skyline and rows leave of them.
///
/// ```
/// use yearlight::plane::{PlaneLight, PlaneSpec, Sky, SkyModel, Skyline};
/// use yearlight::{sky, sun::SunTrack, weather::ReadHints};
/// let year = sky::read("weather/merrowby.csv".as_ref(), &ReadHints::default())?;
/// let sun = SunTrack::over(&year);
/// let sky = Sky::over(&year, &sun, SkyModel::Perez);
/// let plane: PlaneSpec = toml::from_str("name = \"roof\"\ntilt_deg = 35\nazimuth_deg = 180").unwrap();
/// let light = PlaneLight::on(&plane, &sun, &sky, &Skyline::default());
/// // At 52 deg north a roof tilted south gets more than the ground.
/// let flat = year.ghi.iter().sum::<f64>() * year.step_h() / 1000.0;
/// assert!(light.h_i_kwh_m2(year.step_h()) > 1.05 * flat);
/// # Ok::<(), yearlight::weather::WeatherError>(())
/// ```
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlaneLight {
    /// Cosine of the angle of incidence, held at 0 when the sun is behind the plane or below the horizon.
    pub cos_aoi: Vec<f64>,
    /// Beam with the circumsolar part.
    pub beam: Vec<f64>,
    /// Isotropic sky with the horizon band.
    pub sky: Vec<f64>,
    /// Reflected by the ground.
    pub ground: Vec<f64>,
    /// Share of the beam that the skyline leaves (0 or 1, or between); empty means all.
    pub beam_kept: Vec<f64>,
    /// Share of the sky light that skyline and rows in front leave; one value for a fixed plane, a column for a
    /// tracker; empty means all.
    pub sky_kept: Vec<f64>,
    /// The skyline's own part of `sky_kept`, in the same form; `sky_kept` over this is what rows leave.
    pub skyline_sky: Vec<f64>,
    /// Share of the ground light that rows in front leave; as `sky_kept`.
    pub ground_kept: Vec<f64>,
    /// Share of the slant that is in the shade of the row in front, for a row that has one in front; empty means none.
    pub row_shaded: Vec<f64>,
    /// Share of the rows that have a row in front: (count - 1)/count, 1 for many; 0 without rows.
    pub rows_behind: f64,
    /// Tilt in degrees: one value for a fixed plane, a column for a tracker.
    pub tilt_deg: Vec<f64>,
}

impl PlaneLight {
    /// Light on the open plane and what skyline and rows leave of it.
    ///
    /// A plane whose tilt or azimuth is not finite counts as horizontal; rows without a positive pitch and slant count
    /// as none.
    pub fn on(plane: &PlaneSpec, sun: &SunTrack, sky: &Sky, skyline: &Skyline) -> PlaneLight {
        let n = sun.steps.len().min(sky.normal.len());
        let mut light = PlaneLight {
            cos_aoi: vec![0.0; n],
            beam: vec![0.0; n],
            sky: vec![0.0; n],
            ground: vec![0.0; n],
            ..PlaneLight::default()
        };
        let fixed_albedo = [plane.albedo.unwrap_or(DEFAULT_ALBEDO)];
        // The file's own value goes first; the plane's is for files that hold none.
        let albedo = if sky.albedo.len() >= n && n > 0 { &sky.albedo[..n] } else { &fixed_albedo[..] };
        match &plane.tracker {
            Some(spec) => Tracker::new(spec, plane).light(&mut light, sun, sky, skyline, albedo),
            None => light.fixed(plane, sun, sky, skyline, albedo),
        }
        if !skyline.is_empty() {
            light.beam_kept = skyline.beam_kept(sun);
        }
        light
    }

    /// In-plane irradiance of the open plane at a daylight step, W/m2.
    #[inline]
    pub fn poa(&self, i: usize) -> f64 {
        self.beam[i] + self.sky[i] + self.ground[i]
    }

    /// In-plane irradiance of the open plane, W/m2, as a column.
    pub fn poa_column(&self) -> Vec<f64> {
        (0..self.beam.len()).map(|i| self.poa(i)).collect()
    }

    /// In-plane energy of the open plane over all steps, kWh/m2, from the length of a step in hours.
    pub fn h_i_kwh_m2(&self, step_h: f64) -> f64 {
        let sums = crate::maths::sum(&self.beam) + crate::maths::sum(&self.sky) + crate::maths::sum(&self.ground);
        sums * step_h / 1000.0
    }

    fn fixed(&mut self, plane: &PlaneSpec, sun: &SunTrack, sky: &Sky, skyline: &Skyline, albedo: &[f64]) {
        let (tilt_deg, azimuth_deg) = orientation(plane);
        let normal = normal_of(tilt_deg, azimuth_deg);
        let (sin_tilt, cos_tilt) = tilt_deg.to_radians().sin_cos();
        self.tilt_deg = vec![tilt_deg];
        cosines(&sun.east, &sun.north, &sun.up, normal, &mut self.cos_aoi);
        split(
            &sky.dni,
            &sky.normal,
            &sky.even,
            &sky.band,
            &self.cos_aoi,
            [0.5 * (1.0 + cos_tilt), sky.band_weight(cos_tilt, sin_tilt)],
            &mut self.beam,
            &mut self.sky,
        );
        let view = 0.5 * (1.0 - cos_tilt);
        if let [one] = albedo {
            reflect_fixed(&sky.ghi, *one * view, &mut self.ground);
        } else {
            reflect(&sky.ghi, albedo, view, &mut self.ground);
        }
        let mut sky_kept = 1.0;
        if !skyline.is_empty() {
            sky_kept = skyline.sky_kept(tilt_deg, azimuth_deg);
            self.skyline_sky = vec![sky_kept];
        }
        if let Some(rows) = RowGeometry::of(plane) {
            self.rows_behind = rows.behind;
            self.row_shaded = vec![0.0; self.beam.len()];
            row_shares(&sun.up, &self.cos_aoi, rows.pitch_m / rows.slant_m, &mut self.row_shaded);
            sky_kept *= 1.0 - rows.behind * (1.0 - rows.sky_kept(tilt_deg));
            let signed = RowGeometry::signed_cosines(plane, sun);
            self.ground_kept = vec![1.0 - rows.behind * (1.0 - rows.ground_kept(tilt_deg, &signed, sun, sky))];
        }
        if sky_kept != 1.0 {
            self.sky_kept = vec![sky_kept];
        }
    }
}

/// Tilt and azimuth in degrees, tilt held within 0..180, both finite.
pub(super) fn orientation(plane: &PlaneSpec) -> (f64, f64) {
    let tilt = if plane.tilt_deg.is_finite() { plane.tilt_deg.clamp(0.0, 180.0) } else { 0.0 };
    let azimuth = if plane.azimuth_deg.is_finite() { plane.azimuth_deg.rem_euclid(360.0) } else { 0.0 };
    (tilt, azimuth)
}

/// East, north and up of the unit normal of a plane.
pub(super) fn normal_of(tilt_deg: f64, azimuth_deg: f64) -> [f64; 3] {
    let (sin_tilt, cos_tilt) = tilt_deg.to_radians().sin_cos();
    let (sin_az, cos_az) = azimuth_deg.to_radians().sin_cos();
    [sin_tilt * sin_az, sin_tilt * cos_az, cos_tilt]
}

crate::wide! {
    /// cos of the angle of incidence, 0 for a sun behind the plane or below the horizon.
    fn cosines(east: &[f64], north: &[f64], up: &[f64], normal: [f64; 3], out: &mut [f64]) {
        let n = out.len();
        let (east, north, up) = (&east[..n], &north[..n], &up[..n]);
        let [ne, nn, nu] = normal;
        for i in 0..n {
            let c = east[i] * ne + north[i] * nn + up[i] * nu;
            let c = if up[i] > 0.0 { c } else { 0.0 };
            out[i] = if c > 0.0 { c } else { 0.0 };
        }
    }
}

crate::wide! {
    /// Beam with circumsolar, and the rest of the sky, on a plane with given weights of even sky and band.
    ///
    /// The paper's sum of circumsolar, even sky and band is cut at 0: a band below 0 first uses up the even sky, then the
    /// circumsolar light, never the beam.
    fn split(
        dni: &[f64],
        normal: &[f64],
        even: &[f64],
        band: &[f64],
        cos_aoi: &[f64],
        weights: [f64; 2],
        beam: &mut [f64],
        sky: &mut [f64],
    ) {
        let n = beam.len();
        let (dni, normal, even, band, cos_aoi) = (&dni[..n], &normal[..n], &even[..n], &band[..n], &cos_aoi[..n]);
        let sky = &mut sky[..n];
        for i in 0..n {
            let rest = even[i] * weights[0] + band[i] * weights[1];
            let short = if rest < 0.0 { rest } else { 0.0 };
            let around = (normal[i] - dni[i]) * cos_aoi[i] + short;
            let around = if around > 0.0 { around } else { 0.0 };
            beam[i] = dni[i] * cos_aoi[i] + around;
            sky[i] = rest - short;
        }
    }
}

crate::wide! {
    /// Light from the ground, one reflectance for the year.
    fn reflect_fixed(ghi: &[f64], factor: f64, ground: &mut [f64]) {
        let n = ground.len();
        let ghi = &ghi[..n];
        for i in 0..n {
            ground[i] = ghi[i] * factor;
        }
    }
}

crate::wide! {
    /// Light from the ground, a reflectance for each step.
    fn reflect(ghi: &[f64], albedo: &[f64], view: f64, ground: &mut [f64]) {
        let n = ground.len();
        let (ghi, albedo) = (&ghi[..n], &albedo[..n]);
        for i in 0..n {
            ground[i] = ghi[i] * albedo[i] * view;
        }
    }
}

crate::wide! {
    /// Shaded share of the slant, from the cosines of zenith and incidence: see [`super::rows::row_shaded_share`].
    fn row_shares(up: &[f64], cos_aoi: &[f64], pitch_per_slant: f64, shaded: &mut [f64]) {
        let n = shaded.len();
        let (up, cos_aoi) = (&up[..n], &cos_aoi[..n]);
        for i in 0..n {
            let facing = cos_aoi[i];
            let safe = if facing > 1e-12 { facing } else { 1.0 };
            let f = 1.0 - pitch_per_slant * up[i] / safe;
            let f = if f > 0.0 { f } else { 0.0 };
            shaded[i] = if facing > 1e-12 { f } else { 0.0 };
        }
    }
}
