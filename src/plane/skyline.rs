//! The line of hills, trees and houses around a site.

use crate::sun::SunTrack;

/// Half the width of the sun's disk, degrees.
const DISK_DEG: f64 = 0.267;

/// Why a skyline was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SkylineError {
    /// An azimuth outside the circle.
    #[error(
        "skyline{at}: azimuth is {found}; expected 0 to 360 degrees, clockwise from north.\n  Add 360 to a negative azimuth; add 180 to one counted from south."
    )]
    Azimuth {
        /// Where: empty, or ` point 3`, or `:7` in a file.
        at: String,
        /// What stood there.
        found: f64,
    },
    /// An elevation that is none.
    #[error(
        "skyline{at}: elevation is {found}; expected 0 to 90 degrees above the horizon.\n  Use 0 for a free horizon."
    )]
    Elevation {
        /// Where.
        at: String,
        /// What stood there.
        found: f64,
    },
    /// Two elevations for one azimuth.
    #[error(
        "skyline{at}: azimuth {found} is given twice with different elevations.\n  Put the two sides of a step a little apart, such as 120.0 and 120.1."
    )]
    Twice {
        /// Where.
        at: String,
        /// The azimuth.
        found: f64,
    },
    /// A line of a file that holds no pair of numbers.
    #[error("skyline{at}: \"{found}\" is no pair of numbers; expected azimuth_deg,elevation_deg such as 225,6.")]
    Pair {
        /// Where.
        at: String,
        /// The line.
        found: String,
    },
    /// No point at all.
    #[error(
        "skyline: no point found; expected lines of azimuth_deg,elevation_deg.\n  Leave the skyline out when the horizon is free."
    )]
    Empty,
}

/// Elevation of the skyline by azimuth, straight between its points and around the circle.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Skyline {
    /// (azimuth, elevation) in degrees, by ascending azimuth in 0..360.
    points: Vec<[f64; 2]>,
}

impl Skyline {
    /// From points of azimuth (0..360, clockwise from north) and elevation (0..90), in any order; no point means a free
    /// horizon, one point the same elevation all around.
    pub fn new(points: &[[f64; 2]]) -> Result<Skyline, SkylineError> {
        Skyline::checked(points, |i| format!(" point {}", i + 1))
    }

    /// From the text of a CSV of azimuth and elevation, degrees; a header line, empty lines and `#` remarks are passed over.
    pub fn read_csv(text: &str) -> Result<Skyline, SkylineError> {
        let mut points = Vec::new();
        let mut lines = Vec::new();
        for (i, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
            let line = line.trim();
            if line.is_empty() || line.starts_with('#') {
                continue;
            }
            let fields: Vec<&str> = line.split([',', ';', '\t']).map(|f| f.trim().trim_matches('"')).collect();
            let numbers: Vec<f64> = fields.iter().filter_map(|f| f.parse().ok()).collect();
            let is_header = points.is_empty() && numbers.is_empty() && fields.len() >= 2;
            if is_header {
                continue;
            }
            match (fields.len(), numbers.as_slice()) {
                (2, [azimuth, elevation]) => {
                    points.push([*azimuth, *elevation]);
                    lines.push(i + 1);
                }
                _ => {
                    let found = crate::units::shown(line);
                    return Err(SkylineError::Pair { at: format!(":{}", i + 1), found });
                }
            }
        }
        if points.is_empty() {
            return Err(SkylineError::Empty);
        }
        Skyline::checked(&points, |i| format!(":{}", lines[i]))
    }

    fn checked(points: &[[f64; 2]], at: impl Fn(usize) -> String) -> Result<Skyline, SkylineError> {
        let mut sorted: Vec<[f64; 2]> = Vec::with_capacity(points.len());
        for (i, [azimuth, elevation]) in points.iter().enumerate() {
            if !(0.0..=360.0).contains(azimuth) {
                return Err(SkylineError::Azimuth { at: at(i), found: *azimuth });
            }
            if !(0.0..=90.0).contains(elevation) {
                return Err(SkylineError::Elevation { at: at(i), found: *elevation });
            }
            // 360 is 0 again; a circle closed by the same point is no contradiction.
            let azimuth = if *azimuth == 360.0 { 0.0 } else { *azimuth };
            match sorted.iter().find(|p| p[0] == azimuth) {
                Some(p) if p[1] == *elevation => {}
                Some(_) => return Err(SkylineError::Twice { at: at(i), found: points[i][0] }),
                None => sorted.push([azimuth, *elevation]),
            }
        }
        sorted.sort_by(|a, b| a[0].total_cmp(&b[0]));
        Ok(Skyline { points: sorted })
    }

    /// The points in ascending azimuth.
    pub fn points(&self) -> &[[f64; 2]] {
        &self.points
    }

    /// True when the horizon is free.
    pub fn is_empty(&self) -> bool {
        self.points.iter().all(|p| p[1] <= 0.0)
    }

    /// Elevation of the skyline at an azimuth, degrees; 0 for a free horizon.
    pub fn elevation_deg(&self, azimuth_deg: f64) -> f64 {
        let (Some(first), Some(last)) = (self.points.first(), self.points.last()) else { return 0.0 };
        if !azimuth_deg.is_finite() {
            return first[1];
        }
        let azimuth = azimuth_deg.rem_euclid(360.0);
        let next = self.points.partition_point(|p| p[0] <= azimuth);
        let (a, b) = match next {
            0 => ([last[0] - 360.0, last[1]], *first),
            i if i == self.points.len() => (*last, [first[0] + 360.0, first[1]]),
            i => (self.points[i - 1], self.points[i]),
        };
        let width = b[0] - a[0];
        if width > 0.0 { a[1] + (b[1] - a[1]) * (azimuth - a[0]) / width } else { a[1] }
    }

    /// Share of the beam that the skyline leaves at each daylight step.
    ///
    /// 0 when the sun's disk is wholly below the skyline, 1 when wholly above, and straight between over the 0.53 deg of
    /// the disk, at the middle of the step. The circumsolar light goes with the beam.
    pub fn beam_kept(&self, sun: &SunTrack) -> Vec<f64> {
        let mut kept = vec![1.0; sun.steps.len()];
        for (i, k) in kept.iter_mut().enumerate() {
            let flat = sun.east[i].hypot(sun.north[i]);
            let elevation = sun.up[i].atan2(flat).to_degrees();
            let azimuth = sun.east[i].atan2(sun.north[i]).to_degrees();
            let line = self.elevation_deg(azimuth);
            // A free horizon takes nothing: the file's beam at sunrise is what passed it.
            if line > 0.0 {
                *k = (0.5 + (elevation - line) / (2.0 * DISK_DEG)).clamp(0.0, 1.0);
            }
        }
        kept
    }

    /// Share of the even sky light that the skyline leaves on a plane, 0..1.
    ///
    /// `integral over the visible sky of cos theta / integral over the whole sky of cos theta`, cos theta > 0: by closed
    /// form in elevation and 1440 slices of azimuth.
    pub fn sky_kept(&self, tilt_deg: f64, azimuth_deg: f64) -> f64 {
        const SLICES: usize = 1440;
        let (sin_tilt, cos_tilt) = tilt_deg.to_radians().sin_cos();
        let (mut seen, mut whole) = (0.0, 0.0);
        for i in 0..SLICES {
            let azimuth = (i as f64 + 0.5) * 360.0 / SLICES as f64;
            let toward = sin_tilt * (azimuth - azimuth_deg).to_radians().cos();
            // The plane sees this slice from where cos theta turns positive: tan e = -toward / cos tilt.
            let e0 = (-toward).atan2(cos_tilt).max(0.0);
            let part = |from: f64| {
                if from >= std::f64::consts::FRAC_PI_2 {
                    return 0.0;
                }
                // Integral of (cos tilt sin e + toward cos e) cos e from `from` to pi/2.
                let (s, c) = from.sin_cos();
                cos_tilt * 0.5 * (1.0 - s * s) + toward * 0.5 * (std::f64::consts::FRAC_PI_2 - from - s * c)
            };
            let line = self.elevation_deg(azimuth).to_radians();
            whole += part(e0);
            seen += part(e0.max(line));
        }
        if whole > 1e-12 { (seen / whole).clamp(0.0, 1.0) } else { 1.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn interpolates_and_wraps() {
        let line = Skyline::new(&[[350.0, 10.0], [10.0, 2.0], [180.0, 0.0]]).unwrap();
        assert!((line.elevation_deg(0.0) - 6.0).abs() < 1e-12);
        assert!((line.elevation_deg(355.0) - 8.0).abs() < 1e-12);
        assert!((line.elevation_deg(-5.0) - 8.0).abs() < 1e-12);
        assert!((line.elevation_deg(95.0) - 1.0).abs() < 1e-12);
        assert_eq!(Skyline::new(&[[90.0, 7.0]]).unwrap().elevation_deg(271.0), 7.0);
    }

    #[test]
    fn refuses_what_is_none() {
        assert!(matches!(Skyline::new(&[[-10.0, 2.0]]), Err(SkylineError::Azimuth { .. })));
        assert!(matches!(Skyline::new(&[[f64::NAN, 2.0]]), Err(SkylineError::Azimuth { .. })));
        assert!(matches!(Skyline::new(&[[10.0, 95.0]]), Err(SkylineError::Elevation { .. })));
        assert!(matches!(Skyline::new(&[[10.0, 5.0], [10.0, 6.0]]), Err(SkylineError::Twice { .. })));
        assert!(Skyline::new(&[[0.0, 5.0], [360.0, 5.0]]).is_ok());
        let text = "azimuth_deg,elevation_deg\n# hill\n200, 3\n225;6\r\n\n250\t4\n";
        assert_eq!(Skyline::read_csv(text).unwrap().points().len(), 3);
        let wrong = Skyline::read_csv("azimuth,elevation\n200,3\n225,six\n").unwrap_err();
        assert!(wrong.to_string().contains(":3") && wrong.to_string().contains("225,six"), "{wrong}");
        assert_eq!(Skyline::read_csv("azimuth,elevation\n"), Err(SkylineError::Empty));
    }

    // Even skyline of elevation h before a horizontal plane: cos^2 h is left. Before a vertical plane with its whole view
    // behind an even skyline: 1 - (h + sin h cos h) 2/pi (direct integration).
    #[test]
    fn closed_forms() {
        let h = 20.0_f64.to_radians();
        let line = Skyline::new(&[[0.0, 20.0]]).unwrap();
        assert!((line.sky_kept(0.0, 0.0) - h.cos().powi(2)).abs() < 1e-9);
        let vertical = 1.0 - (h + h.sin() * h.cos()) * std::f64::consts::FRAC_2_PI;
        assert!((line.sky_kept(90.0, 135.0) - vertical).abs() < 1e-6, "{}", line.sky_kept(90.0, 135.0));
    }

    proptest! {
        #[test]
        fn higher_line_never_more_light(
            points in prop::collection::vec((0.0..360.0_f64, 0.0..60.0_f64), 1..8),
            tilt in 0.0..90.0_f64, azimuth in 0.0..360.0_f64, more in 0.0..20.0_f64,
        ) {
            let low: Vec<[f64; 2]> = points.iter().map(|p| [p.0, p.1]).collect();
            let high: Vec<[f64; 2]> = points.iter().map(|p| [p.0, p.1 + more]).collect();
            if let (Ok(low), Ok(high)) = (Skyline::new(&low), Skyline::new(&high)) {
                let (a, b) = (low.sky_kept(tilt, azimuth), high.sky_kept(tilt, azimuth));
                prop_assert!((0.0..=1.0).contains(&a) && b <= a + 1e-12);
            }
        }
    }
}
