//! Single-axis trackers: Anderson and Mikofski, Slope-Aware Backtracking for Single-Axis Trackers, NREL/TP-5K00-76626 (2020)
//! (equations from memory); Marion and Dobos, Rotation Angle for the Optimum Tracking of One-Axis Trackers,
//! NREL/TP-6A20-58891 (2013) (from memory); rotations by brute-force search in data/tracker_geometry.csv.

use crate::table::rows;
use crate::transposition::plain_plane;
use yearlight::plane::{PlaneSpec, RowsSpec, Tracker, TrackerSpec, backtracked_deg, true_rotation_deg};

fn tracker(axis_deg: f64, axis_slope_deg: f64, limit_deg: f64) -> (TrackerSpec, PlaneSpec) {
    (TrackerSpec { axis_deg, limit_deg, avoid_row_shade: false, axis_slope_deg }, plain_plane(0.0, 180.0, 0.2))
}

fn vector(zenith_deg: f64, azimuth_deg: f64) -> [f64; 3] {
    let (s, c) = zenith_deg.to_radians().sin_cos();
    let (sa, ca) = azimuth_deg.to_radians().sin_cos();
    [s * sa, s * ca, c]
}

#[test]
fn rotations_by_search() {
    for row in rows(include_str!("data/tracker_geometry.csv")) {
        let (z, a, axis) = (row.num("zenith_deg"), row.num("sun_azimuth_deg"), row.num("axis_azimuth_deg"));
        let want = row.num("ideal_rotation_deg");
        assert!((true_rotation_deg(z, a, axis) - want).abs() < 1e-3);
        let (spec, plane) = tracker(axis, 0.0, 90.0);
        let [e, n, u] = vector(z, a);
        let got = Tracker::new(&spec, &plane).rotation_deg(e, n, u);
        assert!((got - want).abs() < 1e-3, "{got} {want}");
    }
}

// Hand-worked: slant over pitch 0.4, true rotation 75 deg: 75 - acos(cos 75 / 0.4) = 25.32 deg.
#[test]
fn backtracked_rotation() {
    assert!((backtracked_deg(75.0, 0.4) - 25.32).abs() < 0.005);
    assert!((backtracked_deg(-75.0, 0.4) + 25.32).abs() < 0.005);
    assert_eq!(backtracked_deg(40.0, 0.4), 40.0);
    let (mut spec, mut plane) = tracker(180.0, 0.0, 60.0);
    spec.avoid_row_shade = true;
    plane.rows = Some(RowsSpec { pitch_m: 5.0, slant_m: 2.0, high: 1, clearance_m: 1.5, count: None });
    let [e, n, u] = vector(75.0, 270.0);
    let got = Tracker::new(&spec, &plane).rotation_deg(e, n, u);
    assert!((got - backtracked_deg(75.0, 0.4)).abs() < 1e-9, "{got}");
}

// The rotation about a sloped axis is the one with the least incidence, by search over 0.01 deg.
#[test]
fn sloped_axis_by_search() {
    for (axis, slope, z, a) in
        [(180.0, -30.0, 50.0, 120.0), (180.0, -30.0, 70.0, 265.0), (20.0, 8.0, 60.0, 300.0), (200.0, 15.0, 35.0, 90.0)]
    {
        let (spec, plane) = tracker(axis, slope, 90.0);
        let sun = vector(z, a);
        let got = Tracker::new(&spec, &plane).rotation_deg(sun[0], sun[1], sun[2]);
        // Axis, horizontal across it, and the normal of both.
        let along = vector(90.0 - slope, axis);
        let across = vector(90.0, axis + 90.0);
        let above = [
            across[1] * along[2] - across[2] * along[1],
            across[2] * along[0] - across[0] * along[2],
            across[0] * along[1] - across[1] * along[0],
        ];
        assert!(above[2] > 0.0);
        let cos = |r: f64| {
            let (s, c) = r.to_radians().sin_cos();
            (0..3).map(|i| (across[i] * s + above[i] * c) * sun[i]).sum::<f64>()
        };
        let best = (-9000..=9000).map(|i| f64::from(i) * 0.01).max_by(|x, y| cos(*x).total_cmp(&cos(*y))).unwrap();
        assert!((got - best).abs() < 0.011, "{got} {best}");
    }
}
