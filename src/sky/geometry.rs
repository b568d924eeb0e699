//! The sun at every step of a run of days.

use chrono::{Datelike, NaiveDate};

use crate::units::SOLAR_CONSTANT;
use crate::weather::Place;

/// Sun at the steps of a year, one value per step.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct StepSun {
    /// Mean cosine of the zenith angle over the sunlit part of the step; 0 at night.
    pub up: Vec<f64>,
    /// Share of the step with the sun above the horizon.
    pub lit: Vec<f64>,
    /// Extraterrestrial normal irradiance, W/m2.
    pub e0n: Vec<f64>,
}

/// Minutes looked at within a step.
const LOOKS: usize = 6;

pub(crate) fn step_sun(place: &Place, days: &[NaiveDate], steps_per_day: usize) -> StepSun {
    let n = days.len() * steps_per_day;
    let mut out = StepSun { up: vec![0.0; n], lit: vec![0.0; n], e0n: vec![0.0; n] };
    let step_h = 24.0 / steps_per_day as f64;
    for (d, day) in days.iter().enumerate() {
        for slot in 0..steps_per_day {
            let i = d * steps_per_day + slot;
            let (mut sum, mut lit, mut distance) = (0.0, 0, 1.0);
            for look in 0..LOOKS {
                let hour = (slot as f64 + (look as f64 + 0.5) / LOOKS as f64) * step_h;
                let (up, r) = sun_up(place, *day, hour);
                distance = r;
                if up > 0.0 {
                    sum += up;
                    lit += 1;
                }
            }
            if lit > 0 {
                out.up[i] = sum / f64::from(lit);
                out.lit[i] = f64::from(lit) / LOOKS as f64;
            }
            out.e0n[i] = SOLAR_CONSTANT / (distance * distance);
        }
    }
    out
}

/// Cosine of the zenith angle and distance of the sun in astronomical units, at an hour of local standard time.
///
/// The Astronomical Almanac's formulas as given by Michalsky, Solar Energy 40 (1988) 227-235; 0.01 deg 1950-2050.
pub(crate) fn sun_up(place: &Place, day: NaiveDate, hour: f64) -> (f64, f64) {
    let ut = hour - f64::from(place.utc_offset_min) / 60.0;
    // Days from 2000-01-01 12:00 UT; day 1 of the common era is Julian day 1721425.5.
    let n = f64::from(day.num_days_from_ce()) + 1_721_424.5 - 2_451_545.0 + ut / 24.0;
    let mean_long = 280.460 + 0.985_647_4 * n;
    let anomaly = (357.528 + 0.985_600_3 * n).to_radians();
    let long = (mean_long + 1.915 * anomaly.sin() + 0.020 * (2.0 * anomaly).sin()).to_radians();
    let oblique = (23.439 - 4e-7 * n).to_radians();
    let ascension = (oblique.cos() * long.sin()).atan2(long.cos());
    let sin_dec = oblique.sin() * long.sin();
    let cos_dec = (1.0 - sin_dec * sin_dec).sqrt();
    let sidereal = (18.697_374_558 + 24.065_709_824_419_08 * n) * 15.0 + place.longitude_deg;
    let hour_angle = sidereal.to_radians() - ascension;
    let lat = place.latitude_deg.to_radians();
    let up = lat.sin() * sin_dec + lat.cos() * cos_dec * hour_angle.cos();
    let distance = 1.000_14 - 0.016_71 * anomaly.cos() - 0.000_14 * (2.0 * anomaly).cos();
    (up, distance)
}
