//! Rows one behind the other on level ground: shade and views in the cross-section.

use super::PlaneSpec;
use super::Sky;
use super::light::{normal_of, orientation};
use crate::sun::SunTrack;

/// Profile angle, degrees: the sun's elevation seen in the vertical plane across the rows, 0..180; beyond 90 when the sun
/// stands behind.
///
/// `a = atan2(sin e, cos e cos(A - A_plane))`. Source: Duffie and Beckman, Solar Engineering of Thermal Processes, eq. 1.6.12.
/// ```
/// assert!((yearlight::plane::profile_angle_deg(30.0, 180.0, 180.0) - 30.0).abs() < 1e-12);
/// ```
pub fn profile_angle_deg(elevation_deg: f64, sun_azimuth_deg: f64, plane_azimuth_deg: f64) -> f64 {
    let (s, c) = elevation_deg.to_radians().sin_cos();
    s.atan2(c * (sun_azimuth_deg - plane_azimuth_deg).to_radians().cos()).to_degrees()
}

/// Shaded share of a row's slant behind another row of the same kind, level ground.
///
/// `f = 1 - (P/L) sin a / sin(a + b)`, held within 0..1; 0 while the sun is behind the plane.
///
/// - `pitch_per_slant`: P/L, pitch over slant length
/// - `profile_deg`: profile angle a, the sun's elevation in the plane across the rows; beyond 90 for a sun behind the row
/// - `tilt_deg`: b
///
/// Since `sin a / sin(a + b) = cos z / cos theta`, the hourly chain needs no profile angle. Geometry only (similar
/// triangles).
/// ```
/// assert!((yearlight::plane::row_shaded_share(3.5 / 2.278, 10.0, 20.0) - 0.4664).abs() < 5e-5);
/// ```
pub fn row_shaded_share(pitch_per_slant: f64, profile_deg: f64, tilt_deg: f64) -> f64 {
    let (a, b) = (profile_deg.to_radians(), tilt_deg.to_radians());
    let facing = (a + b).sin();
    if facing > 1e-12 && a.sin() >= 0.0 { (1.0 - pitch_per_slant * a.sin() / facing).clamp(0.0, 1.0) } else { 0.0 }
}

/// Cross-section of long rows: crossed-strings views (Hottel 1954) of a row between its neighbours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RowGeometry {
    /// From row to row, m.
    pub pitch_m: f64,
    /// Length of the row up its slope, m.
    pub slant_m: f64,
    /// Height of the lower edge above ground, m.
    pub clearance_m: f64,
    /// Share of the rows that have a row in front.
    pub behind: f64,
}

impl RowGeometry {
    /// The rows of a plane; `None` without rows, or without a positive finite pitch and slant.
    pub fn of(plane: &PlaneSpec) -> Option<RowGeometry> {
        let rows = plane.rows.as_ref()?;
        let good = |x: f64| x.is_finite() && x > 0.0;
        if !good(rows.pitch_m) || !good(rows.slant_m) {
            return None;
        }
        let behind = rows.count.map_or(1.0, |n| f64::from(n.max(1) - 1) / f64::from(n.max(1)));
        let clearance_m = if rows.clearance_m.is_finite() { rows.clearance_m.max(0.0) } else { 0.0 };
        Some(RowGeometry { pitch_m: rows.pitch_m, slant_m: rows.slant_m, clearance_m, behind })
    }

    /// Mean sky view of the front: `F = (L + P - d) / 2L`, `d = sqrt(P^2 + L^2 - 2 P L cos b)`; open: (1 + cos b)/2.
    pub fn front_sky(&self, cos_tilt: f64) -> f64 {
        let (p, l) = (self.pitch_m, self.slant_m);
        ((l + p - self.diagonal(-cos_tilt)) / (2.0 * l)).max(0.0)
    }

    /// Mean ground view of the front, and sky view of the rear: `(L + P - d') / 2L`, `d' = sqrt(P^2 + L^2 + 2 P L cos b)`;
    /// open: (1 - cos b)/2.
    pub fn front_ground(&self, cos_tilt: f64) -> f64 {
        let (p, l) = (self.pitch_m, self.slant_m);
        // Flat rows see no ground; rounding must not make that a little less than nothing.
        ((l + p - self.diagonal(cos_tilt)) / (2.0 * l)).max(0.0)
    }

    /// Mean sky view of the ground under the rows: `(d + d' - 2L) / 2P`, what front and rear leave of the sky.
    pub fn ground_sky(&self, cos_tilt: f64) -> f64 {
        let both = self.diagonal(-cos_tilt) + self.diagonal(cos_tilt) - 2.0 * self.slant_m;
        (both / (2.0 * self.pitch_m)).clamp(0.0, 1.0)
    }

    /// Share of the ground that the beam reaches: `1 - (L/P) |cos theta| / cos z`, with the signed cosine of incidence.
    pub fn ground_lit(&self, cos_aoi: f64, up: f64) -> f64 {
        if up > 1e-9 { (1.0 - self.slant_m / self.pitch_m * cos_aoi.abs() / up).max(0.0) } else { 0.0 }
    }

    fn diagonal(&self, plus_cos: f64) -> f64 {
        let (p, l) = (self.pitch_m, self.slant_m);
        (p * p + l * l + 2.0 * p * l * plus_cos).max(0.0).sqrt()
    }

    /// Share of the even sky that the row in front leaves, 0..1.
    pub fn sky_kept(&self, tilt_deg: f64) -> f64 {
        let cos_tilt = tilt_deg.to_radians().cos();
        let open = 0.5 * (1.0 + cos_tilt);
        if open > 1e-9 { (self.front_sky(cos_tilt) / open).clamp(0.0, 1.0) } else { 1.0 }
    }

    /// Share of the open plane's ground light that rows leave, 0..1, the energy mean over the year.
    ///
    /// The view of the ground by crossed strings, times the mean light on the ground between the rows over that on open
    /// ground. Where on the ground the light falls is not told apart here; the rear side has [`super::RearLight`].
    pub(super) fn ground_kept(&self, tilt_deg: f64, signed_cosines: &[f64], sun: &SunTrack, sky: &Sky) -> f64 {
        let cos_tilt = tilt_deg.to_radians().cos();
        let view = self.view_kept(cos_tilt);
        let ground_sky = self.ground_sky(cos_tilt);
        let (mut lit, mut open) = (0.0, 0.0);
        for (i, cos_aoi) in signed_cosines.iter().enumerate().take(sky.normal.len()) {
            let beam = sky.normal[i] * sun.up[i].max(0.0);
            lit += beam * self.ground_lit(*cos_aoi, sun.up[i]) + sky.even[i] * ground_sky;
            open += beam + sky.even[i];
        }
        if open > 0.0 { (view * lit / open).clamp(0.0, 1.0) } else { view }
    }

    /// View of the ground over that of an open plane.
    pub fn view_kept(&self, cos_tilt: f64) -> f64 {
        let open = 0.5 * (1.0 - cos_tilt);
        if open > 1e-9 {
            (self.front_ground(cos_tilt) / open).clamp(0.0, 1.0)
        } else {
            self.pitch_m / (self.pitch_m + self.slant_m)
        }
    }

    /// Signed cosines of incidence on a plane's front, a column over the daylight steps.
    pub(super) fn signed_cosines(plane: &PlaneSpec, sun: &SunTrack) -> Vec<f64> {
        let (tilt_deg, azimuth_deg) = orientation(plane);
        let [e, n, u] = normal_of(tilt_deg, azimuth_deg);
        (0..sun.up.len()).map(|i| sun.east[i] * e + sun.north[i] * n + sun.up[i] * u).collect()
    }
}
