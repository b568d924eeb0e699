//! Light on the rear of two-sided modules in rows over level ground or a flat roof.

use super::light::{DEFAULT_ALBEDO, orientation};
use super::rows::RowGeometry;
use super::tracker::Tracker;
use super::{PlaneSpec, Sky};
use crate::sun::SunTrack;

/// Points of the ground from row to row.
const GROUND: usize = 100;
/// Points up the slant.
const SLANT: usize = 12;
/// Directions from each point, over 180 deg.
const RAYS: usize = 720;
/// Rows either way that hide the sky from the ground, at least; enough for 30 times the rows' height, at most 1000.
const NEIGHBOURS: i32 = 20;

/// Light on the rear of long rows, the mean over the slant, before structure shade and uneven light.
///
/// Two-dimensional view factors after Marion et al., A Practical Irradiance Model for Bifacial PV Modules, NREL/CP-5J00-67847
/// (IEEE PVSC 2017), from memory: the ground from row to row is cut into 100 strips, each with its view of the sky between
/// the rows and, hour by hour, in sun or in the shadow of a row; every point of the rear sums sky, ground and nothing (the
/// front of the row behind) over its half circle. Beam and circumsolar light that strike the rear from behind count, with
/// the shade of the row behind. Row ends, the light that the front of the row behind returns, and the structure are left
/// out. A tracker's rear uses the closed crossed-strings views and the mean light on the ground instead.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RearLight {
    /// W/m2 on each daylight step; empty when the plane has no rows.
    pub irradiance: Vec<f64>,
}

impl RearLight {
    /// Rear light of a plane with rows; empty without rows.
    pub fn on(plane: &PlaneSpec, sun: &SunTrack, sky: &Sky) -> RearLight {
        let Some(rows) = RowGeometry::of(plane) else { return RearLight::default() };
        let n = sun.up.len().min(sky.normal.len());
        let fixed = plane.albedo.unwrap_or(DEFAULT_ALBEDO);
        let albedo = |i: usize| if sky.albedo.len() >= n { sky.albedo[i] } else { fixed };
        let irradiance = match &plane.tracker {
            None => {
                let (tilt_deg, azimuth_deg) = orientation(plane);
                let views = RearViews::new(&rows, tilt_deg);
                let (sin_az, cos_az) = azimuth_deg.to_radians().sin_cos();
                (0..n)
                    .map(|i| {
                        let toward = sun.east[i] * sin_az + sun.north[i] * cos_az;
                        views.light(toward, sun.up[i], sky.normal[i], sky.even[i], albedo(i))
                    })
                    .collect()
            }
            Some(spec) => {
                let (signed, cos_r, above) = Tracker::new(spec, plane).rear_columns(sun);
                (0..n)
                    .map(|i| {
                        let beam = sky.normal[i] * sun.up[i].max(0.0);
                        let ground =
                            beam * rows.ground_lit(signed[i], above[i]) + sky.even[i] * rows.ground_sky(cos_r[i]);
                        // Seen from the rear, sky and ground change places. A tracker turns towards the sun: while that
                        // stands above the plane of the rows, no beam comes from behind.
                        albedo(i) * ground * rows.front_sky(cos_r[i]) + sky.even[i] * rows.front_ground(cos_r[i])
                    })
                    .collect()
            }
        };
        RearLight { irradiance }
    }

    /// True when the plane has no rows.
    pub fn is_empty(&self) -> bool {
        self.irradiance.is_empty()
    }
}

/// Beam on the rear, less the shade of the row behind.
fn direct_on_rear(rows: &RowGeometry, signed_cos_aoi: f64, up: f64, normal: f64) -> f64 {
    if signed_cos_aoi >= -1e-12 {
        return 0.0;
    }
    let facing = -signed_cos_aoi;
    let shaded = (1.0 - rows.pitch_m / rows.slant_m * up / facing).clamp(0.0, 1.0);
    normal * facing * (1.0 - shaded)
}

/// What the rear of a fixed row sees, once per plane.
#[derive(Debug, Clone, PartialEq)]
pub struct RearViews {
    rows: RowGeometry,
    sin_tilt: f64,
    cos_tilt: f64,
    /// View of the sky.
    pub sky: f64,
    /// View of the front of the row behind.
    pub row: f64,
    /// View of each ground strip, summed over all strips of the same place from row to row.
    pub ground: Vec<f64>,
    /// View of the sky from each ground strip.
    pub strip_sky: Vec<f64>,
    /// Running sum of `ground`, one more value than strips.
    running: Vec<f64>,
    /// Sum of ground view x sky view.
    ground_even: f64,
}

impl RearViews {
    /// Views of the rear of rows with this tilt.
    ///
    /// Cross-section: u points to where the front faces, z up. A row runs from its lower edge (0, h) to its upper edge
    /// (-L cos b, h + L sin b); its neighbours stand at multiples of the pitch.
    pub fn new(rows: &RowGeometry, tilt_deg: f64) -> RearViews {
        let (sin_tilt, cos_tilt) = tilt_deg.to_radians().sin_cos();
        let (p, l, h) = (rows.pitch_m, rows.slant_m, rows.clearance_m);
        let top = [-l * cos_tilt, h + l * sin_tilt];
        let mut views = RearViews {
            rows: *rows,
            sin_tilt,
            cos_tilt,
            sky: 0.0,
            row: 0.0,
            ground: vec![0.0; GROUND],
            strip_sky: (0..GROUND).map(|j| strip_sky((j as f64 + 0.5) / GROUND as f64 * p, p, h, top)).collect(),
            running: vec![0.0; GROUND + 1],
            ground_even: 0.0,
        };
        for k in 0..SLANT {
            let along = (k as f64 + 0.5) / SLANT as f64;
            let (u, z) = (top[0] * along, h + l * sin_tilt * along);
            for ray in 0..RAYS {
                // Angle from the slant's downward direction, through the rear, to its upward one.
                let step = std::f64::consts::PI / RAYS as f64;
                let (from, to) = (ray as f64 * step, (ray as f64 + 1.0) * step);
                let weight = 0.5 * (from.cos() - to.cos()) / SLANT as f64;
                let (s, c) = (0.5 * (from + to)).sin_cos();
                // Down the slant is (cos b, -sin b); out of the rear is (-sin b, -cos b).
                let du = c * cos_tilt - s * sin_tilt;
                let dz = -c * sin_tilt - s * cos_tilt;
                if hits_row_behind([u, z], [du, dz], p, h, top) {
                    views.row += weight;
                } else if dz >= 0.0 {
                    views.sky += weight;
                } else {
                    let ground = u - du * z / dz;
                    let place = (ground / p).rem_euclid(1.0) * GROUND as f64;
                    views.ground[(place as usize).min(GROUND - 1)] += weight;
                }
            }
        }
        for j in 0..GROUND {
            views.running[j + 1] = views.running[j] + views.ground[j];
            views.ground_even += views.ground[j] * views.strip_sky[j];
        }
        views
    }

    /// Rear light, W/m2, for a sun with horizontal component `toward` (where the front faces) and `up`.
    fn light(&self, toward: f64, up: f64, normal: f64, even: f64, albedo: f64) -> f64 {
        let mut ground = self.ground_even * even;
        let mut direct = 0.0;
        if up > 1e-6 {
            let whole = self.running[GROUND];
            ground += normal * up * (whole - self.shaded(toward / up)).max(0.0);
            let signed = toward * self.sin_tilt + up * self.cos_tilt;
            direct = direct_on_rear(&self.rows, signed, up, normal);
        }
        albedo * ground + self.sky * even + direct
    }

    /// Ground view that lies in the shadow of the rows, for the cotangent of the profile angle.
    fn shaded(&self, cotangent: f64) -> f64 {
        let (p, l, h) = (self.rows.pitch_m, self.rows.slant_m, self.rows.clearance_m);
        let low = -h * cotangent;
        let high = -l * self.cos_tilt - (h + l * self.sin_tilt) * cotangent;
        let (a, b) = if low < high { (low, high) } else { (high, low) };
        if b - a >= p {
            return self.running[GROUND];
        }
        let start = (a / p).rem_euclid(1.0);
        let end = start + (b - a) / p;
        let whole = self.running[GROUND];
        if end <= 1.0 { self.until(end) - self.until(start) } else { whole - self.until(start) + self.until(end - 1.0) }
    }

    /// Running ground view up to a share 0..1 of the way from row to row.
    fn until(&self, share: f64) -> f64 {
        let at = (share.clamp(0.0, 1.0) * GROUND as f64).min(GROUND as f64 - 1e-9);
        let j = at as usize;
        self.running[j] + self.ground[j] * (at - j as f64)
    }
}

/// True when a ray from the rear meets the row behind, whose lower edge is at (-p, h).
fn hits_row_behind(from: [f64; 2], way: [f64; 2], p: f64, h: f64, top: [f64; 2]) -> bool {
    let low = [-p - from[0], h - from[1]];
    let high = [top[0] - p - from[0], top[1] - from[1]];
    // Opposite sides of the ray, and ahead of it.
    let side = |q: [f64; 2]| way[0] * q[1] - way[1] * q[0];
    let (a, b) = (side(low), side(high));
    if a * b > 0.0 || a == b {
        return false;
    }
    let t = a / (a - b);
    let meet = [low[0] + (high[0] - low[0]) * t, low[1] + (high[1] - low[1]) * t];
    meet[0] * way[0] + meet[1] * way[1] > 0.0
}

/// View of the sky from a ground strip at `u` between the rows: half the sum of differences of the sine from vertical.
fn strip_sky(u: f64, p: f64, h: f64, top: [f64; 2]) -> f64 {
    let neighbours = (30.0 * top[1] / p).clamp(f64::from(NEIGHBOURS), 1000.0) as i32;
    let mut hidden: Vec<[f64; 2]> = (-neighbours..=neighbours)
        .map(|i| {
            let shift = f64::from(i) * p - u;
            let low = sine_from_vertical(shift, h);
            let high = sine_from_vertical(shift + top[0], top[1]);
            if low < high { [low, high] } else { [high, low] }
        })
        .collect();
    hidden.sort_by(|a, b| a[0].total_cmp(&b[0]));
    // From the last of the rows on, the sky is hidden by the rows beyond.
    let (mut seen, mut until) = (0.0, hidden[0][0]);
    for [from, to] in hidden {
        seen += (from - until).max(0.0);
        until = until.max(to);
    }
    0.5 * seen
}

fn sine_from_vertical(u: f64, z: f64) -> f64 {
    let r = u.hypot(z);
    if r > 0.0 { u / r } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Drawn on paper: pitch 5 m, the row behind runs from (-5, 1) to (-6, 2).
    #[test]
    fn a_ray_meets_the_row_behind_or_not() {
        let meets = |from: [f64; 2], way: [f64; 2]| hits_row_behind(from, way, 5.0, 1.0, [-1.0, 2.0]);
        for way in [[-1.0, 0.0], [-5.5, 0.3], [-5.2, -0.4]] {
            assert!(meets([0.0, 1.5], way), "{way:?}");
        }
        // Over its top, under its foot, away from it, up, down.
        for way in [[-1.0, 0.2], [-1.0, -0.2], [1.0, 0.0], [0.0, 1.0], [0.0, -1.0]] {
            assert!(!meets([0.0, 1.5], way), "{way:?}");
        }
        // From straight below and straight above: ahead once, behind once.
        assert!(meets([-5.9, 1.5], [0.0, 1.0]) && !meets([-5.9, 1.5], [0.0, -1.0]));
        assert!(meets([-5.1, 1.5], [0.0, -1.0]) && !meets([-5.1, 1.5], [0.0, 1.0]));
        assert!(meets([-5.9, 1.85], [1.0, 0.0]) && !meets([-5.9, 1.85], [-1.0, 0.0]));
        // Along the row itself there is nothing to meet.
        assert!(!meets([-4.0, 0.0], [-1.0, 1.0]));
    }

    // Worked by hand: 700 W/m2 that strike the rear at a cosine of 0.5 are 350; with the sun so low that rows of 2 m,
    // 5 m apart, shade half of the slant (1 - 5/2 x 0.1/0.5), 175.
    #[test]
    fn beam_from_behind() {
        let mut plane: PlaneSpec = toml::from_str("name = \"p\"\ntilt_deg = 30\nazimuth_deg = 180").unwrap();
        plane.rows =
            Some(crate::plane::RowsSpec { pitch_m: 5.0, slant_m: 2.0, high: 1, clearance_m: 0.5, count: None });
        let rows = RowGeometry::of(&plane).unwrap();
        let direct = |cos: f64, up: f64| direct_on_rear(&rows, cos, up, 700.0);
        assert!((direct(-0.5, 0.3) - 350.0).abs() < 1e-9);
        assert!((direct(-0.5, 0.1) - 175.0).abs() < 1e-9);
        // A sun in front or in the plane strikes no rear, one on the horizon is hidden by the row behind.
        assert_eq!((direct(0.5, 0.3), direct(0.0, 0.3), direct(-0.5, 0.0)), (0.0, 0.0, 0.0));
    }
}
