//! Rows, seen by rays: what the closed views and the strips of the rear must come to.
//!
//! Rays are followed through the cross-section of long rows until they meet ground, sky or another row. Nothing but the
//! drawing of the rows is shared with the code under test.

use super::tests::{plane, rows, tracker, weather};
use super::*;
use crate::sun::SunTrack;

/// Rows either way of the middle one; the farthest fill less than half a degree.
const ROWS: i32 = 60;
const RAYS: usize = 500;
const POINTS: usize = 20;

#[derive(Debug, Clone, Copy, PartialEq)]
enum Met {
    Sky,
    Row,
    Ground(f64),
}

/// Rows in cross-section: u points to where the fronts face, z up.
struct Section {
    pitch: f64,
    slant: f64,
    clearance: f64,
    sin: f64,
    cos: f64,
    /// View of the sky from places on the ground, evenly from row to row.
    ground_sky: Vec<f64>,
}

impl Section {
    fn new(pitch: f64, slant: f64, clearance: f64, tilt_deg: f64) -> Section {
        let (sin, cos) = tilt_deg.to_radians().sin_cos();
        let mut section = Section { pitch, slant, clearance, sin, cos, ground_sky: Vec::new() };
        section.ground_sky = (0..100)
            .map(|j| {
                let from = [(f64::from(j) + 0.5) / 100.0 * pitch, 0.0];
                section.view(from, [0.0, 1.0], None, |met| f64::from(met == Met::Sky))
            })
            .collect();
        section
    }

    /// Point at a share of the slant of the middle row.
    fn on_slant(&self, share: f64) -> [f64; 2] {
        [-self.slant * self.cos * share, self.clearance + self.slant * self.sin * share]
    }

    /// What a ray meets first; `own` is the row that it leaves.
    fn follow(&self, from: [f64; 2], way: [f64; 2], own: Option<i32>) -> Met {
        let ground = (way[1] < 0.0).then(|| -from[1] / way[1]);
        let mut nearest = ground.unwrap_or(f64::INFINITY);
        let mut met = ground.map_or(Met::Sky, |t| Met::Ground(from[0] + t * way[0]));
        let along = [-self.cos, self.sin];
        let cross = way[0] * along[1] - way[1] * along[0];
        if cross.abs() < 1e-12 {
            return met;
        }
        for k in -ROWS..=ROWS {
            if own == Some(k) {
                continue;
            }
            let to = [f64::from(k) * self.pitch - from[0], self.clearance - from[1]];
            let t = (to[0] * along[1] - to[1] * along[0]) / cross;
            let up_slant = (to[0] * way[1] - to[1] * way[0]) / cross;
            if t > 1e-9 && t < nearest && (0.0..=self.slant).contains(&up_slant) {
                (nearest, met) = (t, Met::Row);
            }
        }
        met
    }

    /// Mean over the half circle about `normal`, weighted by the cosine.
    fn view(&self, from: [f64; 2], normal: [f64; 2], own: Option<i32>, light: impl Fn(Met) -> f64) -> f64 {
        let rays = (0..RAYS).map(|j| {
            // Evenly spaced sines have even weight.
            let sine = (j as f64 + 0.5) / RAYS as f64 * 2.0 - 1.0;
            let cosine = (1.0 - sine * sine).sqrt();
            let way = [normal[0] * cosine - normal[1] * sine, normal[1] * cosine + normal[0] * sine];
            light(self.follow(from, way, own))
        });
        rays.sum::<f64>() / RAYS as f64
    }

    /// The same, the mean up the slant.
    fn face(&self, front: bool, light: impl Fn(Met) -> f64) -> f64 {
        let sign = if front { 1.0 } else { -1.0 };
        let normal = [sign * self.sin, sign * self.cos];
        let points =
            (0..POINTS).map(|k| self.view(self.on_slant((k as f64 + 0.5) / POINTS as f64), normal, Some(0), &light));
        points.sum::<f64>() / POINTS as f64
    }

    /// Whether the sun in direction `sun` (u, z) reaches a place on the ground.
    fn lit(&self, u: f64, sun: [f64; 2]) -> bool {
        self.follow([u.rem_euclid(self.pitch), 0.0], sun, None) == Met::Sky
    }

    /// Share of the ground that the sun reaches.
    fn ground_lit(&self, sun: [f64; 2]) -> f64 {
        let n = 2000;
        (0..n).filter(|j| self.lit((f64::from(*j) + 0.5) / f64::from(n) * self.pitch, sun)).count() as f64
            / f64::from(n)
    }

    /// Share of a face that the sun reaches, 0 when it stands on the other side.
    fn face_lit(&self, front: bool, sun: [f64; 2]) -> f64 {
        if (sun[0] * self.sin + sun[1] * self.cos > 0.0) != front {
            return 0.0;
        }
        let n = 1000;
        let lit = |j: &i32| self.follow(self.on_slant((f64::from(*j) + 0.5) / f64::from(n)), sun, Some(0)) == Met::Sky;
        (0..n).filter(lit).count() as f64 / f64::from(n)
    }

    fn ground_sky_at(&self, u: f64) -> f64 {
        self.ground_sky[((u / self.pitch).rem_euclid(1.0) * 100.0) as usize % 100]
    }
}

fn to_ground(met: Met) -> f64 {
    f64::from(matches!(met, Met::Ground(_)))
}

fn to_sky(met: Met) -> f64 {
    f64::from(met == Met::Sky)
}

fn near(what: &str, got: f64, want: f64, within: f64) {
    assert!((got - want).abs() < within, "{what}: {got}, by rays {want}");
}

const PLACES: [(f64, f64, f64, f64); 5] =
    [(3.5, 2.3, 20.0, 0.5), (6.0, 4.2, 30.0, 1.0), (5.0, 2.0, 60.0, 1.5), (2.6, 2.3, 10.0, 0.1), (4.0, 2.0, 85.0, 0.2)];

#[test]
fn views_between_rows() {
    for (pitch, slant, tilt, clearance) in PLACES {
        let geometry = RowGeometry { pitch_m: pitch, slant_m: slant, clearance_m: clearance, behind: 1.0 };
        let section = Section::new(pitch, slant, clearance, tilt);
        let cos = section.cos;
        near("sky before the front", geometry.front_sky(cos), section.face(true, to_sky), 3e-3);
        near("ground before the front", geometry.front_ground(cos), section.face(true, to_ground), 3e-3);
        let mean = section.ground_sky.iter().sum::<f64>() / 100.0;
        near("sky over the ground", geometry.ground_sky(cos), mean, 5e-3);
        let open = 0.5 * (1.0 + cos);
        near("share of the sky", geometry.sky_kept(tilt), section.face(true, to_sky) / open, 5e-3);
        let open = 0.5 * (1.0 - cos);
        near("share of the ground", geometry.view_kept(cos), section.face(true, to_ground) / open, 3e-3 / open);
        let views = RearViews::new(&geometry, tilt);
        near("sky behind", views.sky, section.face(false, to_sky), 5e-3);
        near("ground behind", views.ground.iter().sum(), section.face(false, to_ground), 5e-3);
        near("row behind", views.row, section.face(false, |met| f64::from(met == Met::Row)), 5e-3);
        for (j, strip) in views.strip_sky.iter().enumerate() {
            near("sky over a strip", *strip, section.ground_sky[j], 1e-2);
        }
        for profile in [8.0, 25.0, 60.0, 118.0, 170.0_f64] {
            let (z, u) = profile.to_radians().sin_cos();
            let facing = u * section.sin + z * cos;
            near("ground in the sun", geometry.ground_lit(facing, z), section.ground_lit([u, z]), 2e-3);
            let dark = row_shaded_share(pitch / slant, profile, tilt);
            if facing > 0.0 {
                near("row in shade", dark, 1.0 - section.face_lit(true, [u, z]), 2e-3);
            }
        }
    }
}

fn over_a_year(latitude_deg: f64) -> (SunTrack, Sky) {
    let weather = weather(latitude_deg, 24);
    let sun = SunTrack::over(&weather);
    let sky = Sky::over(&weather, &sun, SkyModel::Perez);
    (sun, sky)
}

/// Steps with a sun well up, spread over the year.
fn steps(sun: &SunTrack) -> Vec<usize> {
    (0..sun.len()).filter(|i| sun.up[*i] > 0.05).step_by(11).collect()
}

/// The front's ground light between fixed rows: the view of the ground, times the mean light on it over the year.
#[test]
fn ground_between_fixed_rows() {
    let (sun, sky) = over_a_year(44.0);
    for (pitch, slant, tilt, clearance) in PLACES {
        let section = Section::new(pitch, slant, clearance, tilt);
        let (mut lit, mut open) = (0.0, 0.0);
        let even = section.ground_sky.iter().sum::<f64>() / 100.0;
        for i in 0..sun.len() {
            let beam = sky.normal[i] * sun.up[i].max(0.0);
            // Rows face south.
            let share = if beam > 0.0 { section.ground_lit([-sun.north[i], sun.up[i]]) } else { 0.0 };
            lit += beam * share + sky.even[i] * even;
            open += beam + sky.even[i];
        }
        let view = section.face(true, to_ground) / (0.5 * (1.0 - section.cos));
        let want = view * lit / open;
        let mut spec = plane(tilt, 180.0);
        for (count, behind) in [(None, 1.0), (Some(5), 0.8), (Some(1), 0.0)] {
            spec.rows = Some(RowsSpec { count, ..rows(pitch, slant, clearance) });
            let light = PlaneLight::on(&spec, &sun, &sky, &Skyline::default());
            near("ground light", light.ground_kept[0], 1.0 - behind * (1.0 - want), 0.01 * want + 2e-3);
        }
    }
}

/// The rear of fixed rows, step by step.
#[test]
fn rear_of_fixed_rows() {
    let (sun, sky) = over_a_year(47.0);
    let mut seen = [0, 0];
    for (place, (pitch, slant, tilt, clearance)) in PLACES.into_iter().enumerate() {
        let section = Section::new(pitch, slant, clearance, tilt);
        let mut spec = plane(tilt, 180.0);
        spec.albedo = Some(0.35);
        spec.rows = Some(rows(pitch, slant, clearance));
        let rear = RearLight::on(&spec, &sun, &sky);
        for i in steps(&sun).into_iter().skip(place).step_by(3) {
            let toward = [-sun.north[i], sun.up[i]];
            let (normal, even, beam) = (sky.normal[i], sky.even[i], sky.normal[i] * sun.up[i]);
            let around = section.face(false, |met| match met {
                Met::Sky => even,
                Met::Row => 0.0,
                Met::Ground(u) => 0.35 * (beam * f64::from(section.lit(u, toward)) + even * section.ground_sky_at(u)),
            });
            let behind = -(toward[0] * section.sin + toward[1] * section.cos);
            let want = around + normal * behind.max(0.0) * section.face_lit(false, toward);
            seen[usize::from(behind > 0.0)] += 1;
            near(&format!("rear at step {i}"), rear.irradiance[i], want, 0.015 * want + 0.6);
        }
    }
    assert!(seen[0] > 50 && seen[1] > 5, "sun before and behind: {seen:?}");
}

/// The rear of a tracker: views and mean light on the ground at the rotation of the step.
#[test]
fn rear_of_a_tracker() {
    let (sun, sky) = over_a_year(36.0);
    let mut spec = plane(0.0, 180.0);
    spec.albedo = Some(0.3);
    spec.rows = Some(rows(5.0, 2.2, 1.2));
    for avoid in [false, true] {
        spec.tracker = Some(tracker(180.0, 55.0, avoid, 0.0));
        let light = PlaneLight::on(&spec, &sun, &sky, &Skyline::default());
        let rear = RearLight::on(&spec, &sun, &sky);
        for i in steps(&sun).into_iter().step_by(4) {
            // In front of the modules, turned back or held at the limit: nothing strikes them from behind.
            let to_sun = if sun.east[i] < 0.0 { -1.0 } else { 1.0 };
            let (s, c) = light.tilt_deg[i].to_radians().sin_cos();
            assert!(to_sun * sun.east[i] * s + sun.up[i] * c > 0.0);
            let section = Section::new(5.0, 2.2, 1.2, light.tilt_deg[i]);
            let toward = [sun.east[i].abs(), sun.up[i]];
            let even = section.ground_sky.iter().sum::<f64>() / 100.0 * sky.even[i];
            let below = sky.normal[i] * sun.up[i] * section.ground_lit(toward) + even;
            let want = 0.3 * below * section.face(false, to_ground) + sky.even[i] * section.face(false, to_sky);
            near(&format!("rear at step {i}"), rear.irradiance[i], want, 0.01 * want + 0.3);
        }
    }
}

/// A skyline over a tracker: that of the fixed plane which stands as it stands, but for the straight lines between
/// every 5 degrees of its turn.
#[test]
fn skyline_over_a_tracker() {
    let (sun, sky) = over_a_year(41.0);
    let line = Skyline::new(&[[20.0, 3.0], [80.0, 14.0], [140.0, 25.0], [200.0, 6.0], [290.0, 18.0]]).unwrap();
    let mut spec = plane(0.0, 180.0);
    spec.tracker = Some(tracker(160.0, 50.0, false, 0.0));
    let turning = PlaneLight::on(&spec, &sun, &sky, &line);
    let mut least = 1.0_f64;
    for i in steps(&sun) {
        let azimuth = if sun.east[i] * -160_f64.to_radians().cos() + sun.north[i] * 160_f64.to_radians().sin() > 0.0 {
            70.0
        } else {
            250.0
        };
        let fixed = PlaneLight::on(&plane(turning.tilt_deg[i], azimuth), &sun, &sky, &line);
        near("beam", turning.beam_kept[i], fixed.beam_kept[i], 1e-12);
        near("sky", turning.sky_kept[i], fixed.sky_kept[0], 1.5e-3);
        near("sky before rows", turning.skyline_sky[i], fixed.skyline_sky[0], 1.5e-3);
        least = least.min(fixed.sky_kept[0]);
    }
    assert!(least < 0.9);
    // An axis that also rises: within its limits the module faces what is left of the sun's direction across the axis.
    let mut rising = plane(0.0, 180.0);
    rising.tracker = Some(tracker(160.0, 50.0, false, 12.0));
    let on_slope = PlaneLight::on(&rising, &sun, &sky, &line);
    let ((sin_a, cos_a), (sin_s, cos_s)) = (160_f64.to_radians().sin_cos(), 12_f64.to_radians().sin_cos());
    let axis = [cos_s * sin_a, cos_s * cos_a, sin_s];
    let mut seen = 0;
    for i in steps(&sun) {
        let s = [sun.east[i], sun.north[i], sun.up[i]];
        let along: f64 = s.iter().zip(axis).map(|(s, a)| s * a).sum();
        let across: [f64; 3] = std::array::from_fn(|k| s[k] - along * axis[k]);
        let length = across.iter().map(|x| x * x).sum::<f64>().sqrt();
        if (on_slope.cos_aoi[i] - length).abs() > 1e-9 {
            continue;
        }
        let [e, n, u] = across.map(|x| x / length);
        seen += 1;
        near("tilt", on_slope.tilt_deg[i], u.acos().to_degrees(), 1e-3);
        let fixed = PlaneLight::on(&plane(u.acos().to_degrees(), e.atan2(n).to_degrees()), &sun, &sky, &line);
        near("sky over a rising axis", on_slope.sky_kept[i], fixed.sky_kept[0], 1.5e-3);
    }
    assert!(seen > 20, "{seen}");
    // Behind rows both shares count.
    spec.rows = Some(rows(4.5, 2.0, 0.8));
    let behind = PlaneLight::on(&spec, &sun, &sky, &line);
    let open = PlaneLight::on(&spec, &sun, &sky, &Skyline::default());
    for i in steps(&sun) {
        near("both", behind.sky_kept[i], turning.sky_kept[i] * open.sky_kept[i], 1e-12);
    }
}
