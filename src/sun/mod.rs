//! Where the sun stands, and what reaches the top of the air.

/// The sun over a weather year, on its daylight steps only; every column has `steps.len()` values.
///
/// A daylight step is one in which the sun's centre stands above the horizon for some part of the step, or in which
/// the file holds light. The vector belongs to the middle of the step, or to the middle of its sunlit part when the
/// sun rises or sets within it. No refraction: it lifts the sun by less than 0.1 deg above 9 deg of elevation.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SunTrack {
    /// Index of each daylight step in the weather year, ascending.
    pub steps: Vec<u32>,
    /// `month_start[m]..month_start[m + 1]` are the daylight steps of month `m` (0..=11).
    pub month_start: [usize; 13],
    /// East component of the unit vector to the sun.
    pub east: Vec<f64>,
    /// North component.
    pub north: Vec<f64>,
    /// Up component: cos of the zenith angle; may be below 0 in twilight.
    pub up: Vec<f64>,
    /// Extraterrestrial normal irradiance, W/m2.
    pub e0n: Vec<f64>,
    /// Relative optical air mass (Kasten and Young 1989), held at its horizon value below the horizon.
    pub air_mass: Vec<f64>,
}
