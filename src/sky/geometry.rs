//! The sun at every step of a run of days, night included.

use chrono::NaiveDate;

use crate::sun::SunTrack;
use crate::weather::{Place, Provenance, WeatherYear};

/// Sun at the steps of a year, one value per step.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct StepSun {
    /// Cosine of the zenith angle at the middle of the sunlit part of the step, as in [`SunTrack`]; 0 at night.
    pub up: Vec<f64>,
    /// Share of the step with the sun above the horizon.
    pub lit: Vec<f64>,
    /// Extraterrestrial normal irradiance, W/m2; 0 at night.
    pub e0n: Vec<f64>,
    /// Extraterrestrial horizontal irradiance, mean over the step, W/m2.
    pub e0h: Vec<f64>,
}

/// Looks within a step for the means.
const LOOKS: usize = 6;

/// Follows the sun over days whose light is not known yet.
pub(crate) fn step_sun(place: &Place, days: &[NaiveDate], steps_per_day: usize) -> StepSun {
    let n = days.len() * steps_per_day;
    let mut out = StepSun { up: vec![0.0; n], lit: vec![0.0; n], e0n: vec![0.0; n], e0h: vec![0.0; n] };
    let track = SunTrack::over(&dark(place, days, steps_per_day));
    for (k, &i) in track.steps.iter().enumerate() {
        out.up[i as usize] = track.up[k].max(0.0);
        out.e0n[i as usize] = track.e0n[k];
    }
    let looks = if steps_per_day > 288 { 1 } else { LOOKS };
    let fine = SunTrack::over(&dark(place, days, steps_per_day * looks));
    for (k, &i) in fine.steps.iter().enumerate() {
        let i = i as usize / looks;
        if fine.up[k] > 0.0 {
            out.lit[i] += 1.0 / looks as f64;
            out.e0h[i] += fine.up[k] * fine.e0n[k] / looks as f64;
        }
    }
    out
}

/// Cosine of the zenith angle only, 0 at night.
pub(crate) fn step_up(place: &Place, days: &[NaiveDate], steps_per_day: usize) -> Vec<f64> {
    let mut up = vec![0.0; days.len() * steps_per_day];
    let track = SunTrack::over(&dark(place, days, steps_per_day));
    for (&i, u) in track.steps.iter().zip(&track.up) {
        up[i as usize] = u.max(0.0);
    }
    up
}

/// A year without light, which drives the sun alone.
pub(crate) fn dark(place: &Place, days: &[NaiveDate], steps_per_day: usize) -> WeatherYear {
    let zeros = vec![0.0; days.len() * steps_per_day];
    WeatherYear {
        place: place.clone(),
        days: days.to_vec(),
        steps_per_day,
        ghi: zeros.clone(),
        dni: zeros.clone(),
        dhi: zeros.clone(),
        t_amb: Vec::new(),
        wind: Vec::new(),
        wind_height_m: 10.0,
        albedo: None,
        pressure: None,
        humidity_pct: None,
        precipitable_water_cm: None,
        rain_mm: None,
        snow_depth_cm: None,
        provenance: Provenance::default(),
    }
}
