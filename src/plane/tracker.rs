//! Single-axis trackers: rotation, limits, turning back at low sun.

use super::light::orientation;
use super::rows::RowGeometry;
use super::{PlaneLight, PlaneSpec, Sky, Skyline, TrackerSpec};
use crate::maths::acos_rough;
use crate::sun::SunTrack;

/// Rotation that brings a level axis' plane nearest to facing the sun, degrees, positive towards `axis_deg + 90`.
///
/// `R = atan2(sin z sin(A - A_axis), cos z)`. Source: Anderson and Mikofski, NREL/TP-5K00-76626 (2020), eq. 1 to 7 with a
/// level axis (from memory).
/// ```
/// assert!((yearlight::plane::true_rotation_deg(70.0, 110.0, 180.0) + 68.8272).abs() < 1e-4);
/// ```
pub fn true_rotation_deg(zenith_deg: f64, sun_azimuth_deg: f64, axis_deg: f64) -> f64 {
    let (s, c) = zenith_deg.to_radians().sin_cos();
    (s * (sun_azimuth_deg - axis_deg).to_radians().sin()).atan2(c).to_degrees()
}

/// Rotation at which rows just do not shade each other, degrees, from the true one.
///
/// `R - sgn(R) acos(|cos R| P/L)` while `|cos R| P/L < 1`, else R. `slant_per_pitch`: L/P, the ground coverage ratio.
/// Source: Anderson and Mikofski, NREL/TP-5K00-76626 (2020), level ground across the rows (from memory).
/// ```
/// assert!((yearlight::plane::backtracked_deg(75.0, 0.4) - 25.32).abs() < 0.005);
/// ```
pub fn backtracked_deg(rotation_deg: f64, slant_per_pitch: f64) -> f64 {
    let ratio = rotation_deg.to_radians().cos().abs() / slant_per_pitch;
    if ratio < 1.0 { rotation_deg - rotation_deg.signum() * ratio.acos().to_degrees() } else { rotation_deg }
}

/// A single-axis tracker, its frame of axes ready.
#[derive(Debug, Clone, PartialEq)]
pub struct Tracker {
    /// Horizontal unit vector across the axis, towards `axis_deg + 90`: east, north.
    across: [f64; 2],
    /// Unit vector normal to axis and `across`: east, north, up.
    above: [f64; 3],
    sin_limit: f64,
    cos_limit: f64,
    axis_deg: f64,
    /// Slope of the axis, degrees, positive when the end at `axis_deg` is the higher one.
    slope_deg: f64,
    rows: Option<RowGeometry>,
    turns_back: bool,
}

impl Tracker {
    /// From the job's keys.
    ///
    /// The slope of the axis is `axis_slope_deg`; when that is 0, the slope along the axis of a ground that falls by
    /// `tilt_deg` towards `azimuth_deg`: `tan slope = -tan tilt cos(axis - azimuth)` (NREL/TP-5K00-76626). The ground across
    /// the axis is taken as level. The limit is held within 0..90.
    pub fn new(spec: &TrackerSpec, plane: &PlaneSpec) -> Tracker {
        let finite = |x: f64| if x.is_finite() { x } else { 0.0 };
        let axis_deg = finite(spec.axis_deg).rem_euclid(360.0);
        let (tilt_deg, azimuth_deg) = orientation(plane);
        let given = finite(spec.axis_slope_deg).clamp(-89.0, 89.0);
        let slope_deg = if given == 0.0 && tilt_deg > 0.0 {
            let fall = tilt_deg.min(89.0).to_radians().tan() * (axis_deg - azimuth_deg).to_radians().cos();
            -fall.atan().to_degrees()
        } else {
            given
        };
        let (sin_a, cos_a) = axis_deg.to_radians().sin_cos();
        let (sin_s, cos_s) = slope_deg.to_radians().sin_cos();
        let limit = finite(spec.limit_deg).abs().min(90.0);
        let (sin_limit, cos_limit) = limit.to_radians().sin_cos();
        let rows = RowGeometry::of(plane);
        Tracker {
            across: [cos_a, -sin_a],
            above: [-sin_s * sin_a, -sin_s * cos_a, cos_s],
            sin_limit,
            cos_limit,
            axis_deg,
            slope_deg,
            rows,
            turns_back: spec.avoid_row_shade && rows.is_some(),
        }
    }

    /// Slope of the axis in use, degrees.
    pub fn slope_deg(&self) -> f64 {
        self.slope_deg
    }

    /// Rotation in degrees for a sun vector (east, north, up), with limits and turning back.
    pub fn rotation_deg(&self, east: f64, north: f64, up: f64) -> f64 {
        let (mut s, mut c, mut x, mut z) = ([0.0], [0.0], [0.0], [0.0]);
        rotations(&[east], &[north], &[up], self.frame(), &mut s, &mut c, &mut x, &mut z);
        s[0].atan2(c[0]).to_degrees()
    }

    fn frame(&self) -> [f64; 8] {
        let ratio = match (&self.rows, self.turns_back) {
            (Some(rows), true) => rows.pitch_m / rows.slant_m,
            _ => f64::INFINITY,
        };
        let [a, b] = self.across;
        let [c, d, e] = self.above;
        [a, b, c, d, e, self.sin_limit, self.cos_limit, ratio]
    }

    pub(super) fn light(&self, light: &mut PlaneLight, sun: &SunTrack, sky: &Sky, skyline: &Skyline, albedo: &[f64]) {
        let n = light.beam.len();
        let column = || vec![0.0; n];
        let (mut sin_r, mut cos_r, mut across, mut above) = (column(), column(), column(), column());
        rotations(
            &sun.east[..n],
            &sun.north[..n],
            &sun.up[..n],
            self.frame(),
            &mut sin_r,
            &mut cos_r,
            &mut across,
            &mut above,
        );
        light.tilt_deg = column();
        let cos_slope = self.slope_deg.to_radians().cos();
        for i in 0..n {
            let cos_tilt = cos_r[i] * cos_slope;
            light.tilt_deg[i] = acos_rough(cos_tilt).to_degrees();
            let facing = across[i] * sin_r[i] + above[i] * cos_r[i];
            let c = if sun.up[i] > 0.0 && facing > 0.0 { facing } else { 0.0 };
            light.cos_aoi[i] = c;
            let sin_tilt = (1.0 - cos_tilt * cos_tilt).max(0.0).sqrt();
            let weight = sky.band_weight(cos_tilt, sin_tilt);
            let rest = sky.even[i] * 0.5 * (1.0 + cos_tilt) + sky.band[i] * weight;
            let short = rest.min(0.0);
            light.beam[i] = sky.dni[i] * c + ((sky.normal[i] - sky.dni[i]) * c + short).max(0.0);
            light.sky[i] = rest - short;
            let rho = if albedo.len() == 1 { albedo[0] } else { albedo[i] };
            light.ground[i] = sky.ghi[i] * rho * 0.5 * (1.0 - cos_tilt);
        }
        if !skyline.is_empty() {
            light.sky_kept = self.skyline_kept(skyline, &sin_r, &cos_r);
            light.skyline_sky = light.sky_kept.clone();
        }
        if let Some(rows) = &self.rows {
            light.rows_behind = rows.behind;
            light.row_shaded = column();
            light.ground_kept = vec![1.0; n];
            if light.sky_kept.is_empty() {
                light.sky_kept = vec![1.0; n];
            }
            let pitch_per_slant = rows.pitch_m / rows.slant_m;
            for i in 0..n {
                let facing = across[i] * sin_r[i] + above[i] * cos_r[i];
                let c = light.cos_aoi[i];
                // A hair's breadth of rounding is no shade.
                let f = if c > 1e-12 { 1.0 - pitch_per_slant * above[i] / c } else { 0.0 };
                light.row_shaded[i] = if f > 1e-9 { f.min(1.0) } else { 0.0 };
                let front = rows.front_sky(cos_r[i]) / (0.5 * (1.0 + cos_r[i])).max(1e-9);
                light.sky_kept[i] *= 1.0 - rows.behind * (1.0 - front.clamp(0.0, 1.0));
                let beam = sky.normal[i] * sun.up[i].max(0.0);
                let lit = beam * rows.ground_lit(facing, above[i]) + sky.even[i] * rows.ground_sky(cos_r[i]);
                let open = beam + sky.even[i];
                let share = if open > 0.0 { (lit / open).clamp(0.0, 1.0) } else { rows.ground_sky(cos_r[i]) };
                light.ground_kept[i] = 1.0 - rows.behind * (1.0 - rows.view_kept(cos_r[i]) * share);
            }
        }
    }

    /// Share of the even sky that the skyline leaves: exact at every 5 deg of rotation, straight between.
    fn skyline_kept(&self, skyline: &Skyline, sin_r: &[f64], cos_r: &[f64]) -> Vec<f64> {
        let table: Vec<f64> = (-18..=18)
            .map(|k| {
                let (s, c) = (f64::from(k) * 5.0).to_radians().sin_cos();
                let e = self.across[0] * s + self.above[0] * c;
                let n = self.across[1] * s + self.above[1] * c;
                let u = self.above[2] * c;
                skyline.sky_kept(u.clamp(-1.0, 1.0).acos().to_degrees(), e.atan2(n).to_degrees())
            })
            .collect();
        sin_r
            .iter()
            .zip(cos_r)
            .map(|(s, c)| {
                let at = (s.atan2(*c).to_degrees() / 5.0 + 18.0).clamp(0.0, 35.999_999);
                let k = at as usize;
                table[k] + (table[k + 1] - table[k]) * (at - k as f64)
            })
            .collect()
    }

    /// Azimuth that the plane faces at rotation 0 and a sloped axis, or at positive rotation with a level one, degrees.
    pub fn axis_deg(&self) -> f64 {
        self.axis_deg
    }

    /// Columns that the rear light needs: signed cosine of incidence, cosine of the rotation, sun above the axis plane.
    pub(super) fn rear_columns(&self, sun: &SunTrack) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
        let n = sun.up.len();
        let column = || vec![0.0; n];
        let (mut sin_r, mut cos_r, mut across, mut above) = (column(), column(), column(), column());
        rotations(&sun.east, &sun.north, &sun.up, self.frame(), &mut sin_r, &mut cos_r, &mut across, &mut above);
        let signed = (0..n).map(|i| across[i] * sin_r[i] + above[i] * cos_r[i]).collect();
        (signed, cos_r, above)
    }
}

crate::wide! {
    /// Sine and cosine of the rotation, and the sun's components across and above the axis.
    ///
    /// No arc is needed: the true rotation's cosine and sine are the sun's components over their length, and turning
    /// back by `acos q` is a rotation by (q, sqrt(1 - q^2)).
    fn rotations(
        east: &[f64],
        north: &[f64],
        up: &[f64],
        frame: [f64; 8],
        sin_r: &mut [f64],
        cos_r: &mut [f64],
        across: &mut [f64],
        above: &mut [f64],
    ) {
        let n = up.len();
        let (east, north) = (&east[..n], &north[..n]);
        let (sin_r, cos_r, across, above) = (&mut sin_r[..n], &mut cos_r[..n], &mut across[..n], &mut above[..n]);
        let [xe, xn, ze, zn, zu, sin_limit, cos_limit, pitch_per_slant] = frame;
        for i in 0..n {
            let x = east[i] * xe + north[i] * xn;
            let z = east[i] * ze + north[i] * zn + up[i] * zu;
            across[i] = x;
            above[i] = z;
            let length = (x * x + z * z).sqrt();
            let along = length < 1e-9;
            let safe = if along { 1.0 } else { length };
            let c = if along { 1.0 } else { z / safe };
            let s = if along { 0.0 } else { x / safe };
            let sign = if s < 0.0 { -1.0 } else { 1.0 };
            let q = c.abs() * pitch_per_slant;
            let back = q < 1.0;
            let q = if back { q } else { 1.0 };
            let turn = (1.0 - q * q).sqrt();
            let (turned_c, turned_s) = (c * q + s * sign * turn, s * q - c * sign * turn);
            let c = if back { turned_c } else { c };
            let s = if back { turned_s } else { s };
            // A sun below the plane of the rows reaches them at no rotation: level across.
            let below = back & (z <= 0.0);
            let c = if below { 1.0 } else { c };
            let s = if below { 0.0 } else { s };
            let sign = if s < 0.0 { -1.0 } else { 1.0 };
            let beyond = c < cos_limit;
            cos_r[i] = if beyond { cos_limit } else { c };
            sin_r[i] = if beyond { sign * sin_limit } else { s };
        }
    }
}
