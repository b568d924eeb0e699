//! The checked year that every later stage reads.

use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::units::Note;

/// Where a weather year or a site stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Place {
    /// As the file or the user calls it.
    pub name: String,
    /// Degrees, north positive, -90..90.
    pub latitude_deg: f64,
    /// Degrees, east positive, -180..180.
    pub longitude_deg: f64,
    /// Metres above sea level.
    pub elevation_m: f64,
    /// Minutes that local standard time is ahead of UTC (345 for UTC+5:45).
    pub utc_offset_min: i32,
}

/// Where the numbers came from and what was done to them on the way.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Provenance {
    /// File name as the user gave it; empty for a year made in memory.
    pub file: String,
    /// SHA-256 of the file's bytes, lower-case hexadecimal; empty for a year made in memory.
    pub sha256: String,
    /// Plain words: `EPW`, `TMY3 CSV`, `mapped CSV`, `yearlight CSV`, ...
    pub format: String,
    /// Which instant of the interval a row's time names: `ending`, `beginning` or `middle`.
    pub label: String,
    /// Kind in the file's own words (`TMY3`, ...), empty when the file says nothing.
    pub kind: String,
    /// Columns that the file did not hold and how each was made, for example `("dhi", "GHI - DNI cos z")`.
    pub completed: Vec<(String, String)>,
    /// What a reader of the result should know.
    pub notes: Vec<Note>,
}

/// A run of whole local-standard-time days, each cut into `steps_per_day` equal steps; usually one typical year.
///
/// Step `i` is step `i % steps_per_day` of day `i / steps_per_day`; values are means over the step. A label
/// convention exists only in files: step 0 of a day always begins at 00:00 local standard time.
/// All columns present have `days.len() * steps_per_day` finite values.
///
/// ```
/// use yearlight::{sky, weather::ReadHints};
/// let year = sky::read("weather/merrowby.csv".as_ref(), &ReadHints::default())?;
/// assert!(year.is_whole_year() && year.ghi.len() == year.len());
/// // kWh/m2 from W/m2 and the hours of a step.
/// let ghi: f64 = year.ghi.iter().sum::<f64>() * year.step_h() / 1000.0;
/// assert!((900.0..1050.0).contains(&ghi));
/// # Ok::<(), yearlight::weather::WeatherError>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct WeatherYear {
    /// The file's own position, which drives the sun.
    pub place: Place,
    /// The civil date of each day with the year its light was measured in (months of a typical year come from
    /// different years). 29 February is there only if the file holds it.
    pub days: Vec<NaiveDate>,
    /// 24 for hourly data; a divisor of 1440.
    pub steps_per_day: usize,
    /// Global horizontal irradiance, W/m2, 0 or more.
    pub ghi: Vec<f64>,
    /// Direct normal irradiance, W/m2, 0 or more.
    pub dni: Vec<f64>,
    /// Diffuse horizontal irradiance, W/m2, 0 or more.
    pub dhi: Vec<f64>,
    /// Air temperature, C.
    pub t_amb: Vec<f64>,
    /// Wind speed at `wind_height_m`, m/s, 0 or more.
    pub wind: Vec<f64>,
    /// Height of the wind measurement, m (10 in EPW and TMY3).
    pub wind_height_m: f64,
    /// Ground reflectance 0..1; `None` when the file holds none (the plane's value is used).
    pub albedo: Option<Vec<f64>>,
    /// Station pressure, hPa.
    pub pressure: Option<Vec<f64>>,
    /// Relative humidity, percent.
    pub humidity_pct: Option<Vec<f64>>,
    /// Precipitable water, cm.
    pub precipitable_water_cm: Option<Vec<f64>>,
    /// Rain in the step, mm.
    pub rain_mm: Option<Vec<f64>>,
    /// Snow on the ground, cm.
    pub snow_depth_cm: Option<Vec<f64>>,
    /// Origin and notes.
    pub provenance: Provenance,
}

impl WeatherYear {
    /// Number of steps in every column.
    pub fn len(&self) -> usize {
        self.days.len() * self.steps_per_day
    }

    /// True when there is no day at all.
    pub fn is_empty(&self) -> bool {
        self.days.is_empty()
    }

    /// Minutes in a step.
    pub fn step_min(&self) -> u32 {
        (1440 / self.steps_per_day) as u32
    }

    /// Hours in a step.
    pub fn step_h(&self) -> f64 {
        24.0 / self.steps_per_day as f64
    }

    /// Month 0..=11 of a day by its index in `days`.
    pub fn month_of_day(&self, day: usize) -> usize {
        self.days[day].month0() as usize
    }

    /// Month 0..=11 of a step.
    pub fn month_of(&self, step: usize) -> usize {
        self.month_of_day(step / self.steps_per_day)
    }

    /// True for 365 or 366 days that begin on 1 January and end on 31 December.
    pub fn is_whole_year(&self) -> bool {
        let first = self.days.first().map(|d| (d.month(), d.day()));
        let last = self.days.last().map(|d| (d.month(), d.day()));
        (self.days.len() == 365 || self.days.len() == 366) && first == Some((1, 1)) && last == Some((12, 31))
    }
}

impl WeatherYear {
    /// A column by its quantity, when the year has it.
    pub fn column(&self, q: super::Quantity) -> Option<&[f64]> {
        use super::Quantity as Q;
        match q {
            Q::Ghi => Some(&self.ghi),
            Q::Dni => Some(&self.dni),
            Q::Dhi => Some(&self.dhi),
            Q::TAmb => Some(&self.t_amb),
            Q::Wind => Some(&self.wind),
            Q::Albedo => self.albedo.as_deref(),
            Q::Pressure => self.pressure.as_deref(),
            Q::Humidity => self.humidity_pct.as_deref(),
            Q::PrecipitableWater => self.precipitable_water_cm.as_deref(),
            Q::Rain => self.rain_mm.as_deref(),
            Q::SnowDepth => self.snow_depth_cm.as_deref(),
        }
    }
}
