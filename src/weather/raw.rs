//! What a file holds, on the grid but not yet completed or judged.

use chrono::NaiveDate;

use super::{Label, Place, Provenance};

/// The quantities a weather file may hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Global horizontal irradiance, W/m2.
    Ghi,
    /// Direct normal irradiance, W/m2.
    Dni,
    /// Diffuse horizontal irradiance, W/m2.
    Dhi,
    /// Air temperature, C.
    TAmb,
    /// Wind speed, m/s.
    Wind,
    /// Ground reflectance, 0..1.
    Albedo,
    /// Station pressure, hPa.
    Pressure,
    /// Relative humidity, percent.
    Humidity,
    /// Precipitable water, cm.
    PrecipitableWater,
    /// Rain in the step, mm.
    Rain,
    /// Snow on the ground, cm.
    SnowDepth,
}

impl Quantity {
    /// All, in the order of the tidy layout.
    pub const ALL: [Quantity; 11] = [
        Quantity::Ghi,
        Quantity::Dni,
        Quantity::Dhi,
        Quantity::TAmb,
        Quantity::Wind,
        Quantity::Albedo,
        Quantity::Pressure,
        Quantity::Humidity,
        Quantity::PrecipitableWater,
        Quantity::Rain,
        Quantity::SnowDepth,
    ];

    /// Trade name, as in `[weather.columns]`.
    pub fn name(self) -> &'static str {
        match self {
            Quantity::Ghi => "ghi",
            Quantity::Dni => "dni",
            Quantity::Dhi => "dhi",
            Quantity::TAmb => "t_amb",
            Quantity::Wind => "wind",
            Quantity::Albedo => "albedo",
            Quantity::Pressure => "pressure",
            Quantity::Humidity => "humidity",
            Quantity::PrecipitableWater => "precipitable_water",
            Quantity::Rain => "rain",
            Quantity::SnowDepth => "snow_depth",
        }
    }

    /// Name in the tidy layout, with its unit where the glossary does not fix it.
    pub fn tidy_name(self) -> &'static str {
        match self {
            Quantity::Pressure => "pressure_hpa",
            Quantity::Humidity => "humidity_pct",
            Quantity::PrecipitableWater => "precipitable_water_cm",
            Quantity::Rain => "rain_mm",
            Quantity::SnowDepth => "snow_depth_cm",
            other => other.name(),
        }
    }

    /// Unit of the column.
    pub fn unit(self) -> &'static str {
        match self {
            Quantity::Ghi | Quantity::Dni | Quantity::Dhi => "W/m2",
            Quantity::TAmb => "C",
            Quantity::Wind => "m/s",
            Quantity::Albedo => "(0 to 1)",
            Quantity::Pressure => "hPa",
            Quantity::Humidity => "%",
            Quantity::PrecipitableWater | Quantity::SnowDepth => "cm",
            Quantity::Rain => "mm",
        }
    }

    /// Smallest and largest value that is taken as possible at all. Outside, the file is refused: the number is a
    /// slip of unit or a code for a missing value.
    pub fn possible(self) -> (f64, f64) {
        match self {
            // One-minute GHI beside bright clouds has been seen above 1800 W/m2; hourly means stay below 1500.
            Quantity::Ghi => (0.0, 2000.0),
            Quantity::Dni => (0.0, 1420.0),
            Quantity::Dhi => (0.0, 1200.0),
            // Records: -89.2 C (Vostok 1983), 56.7 C (Death Valley 1913).
            Quantity::TAmb => (-95.0, 62.0),
            Quantity::Wind => (0.0, 115.0),
            Quantity::Albedo => (0.0, 1.0),
            Quantity::Pressure => (300.0, 1100.0),
            Quantity::Humidity => (0.0, 110.0),
            Quantity::PrecipitableWater => (0.0, 12.0),
            Quantity::Rain => (0.0, 400.0),
            Quantity::SnowDepth => (0.0, 1200.0),
        }
    }
}

/// Something wrong with the times of the rows.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// What kind.
    pub kind: FaultKind,
    /// Line of the file.
    pub line: usize,
    /// What was found, in words.
    pub found: String,
    /// Index of the first step concerned.
    pub step: usize,
    /// Number of steps concerned.
    pub steps: usize,
}

/// Kinds of [`Fault`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FaultKind {
    /// A time that stood there before.
    Duplicate,
    /// Times left out.
    Gap,
}

/// Lines of the file that the steps came from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Lines {
    /// Step after step stands in line after line.
    InTurn {
        /// Line of the first step.
        first: usize,
        /// Number of steps.
        steps: usize,
    },
    /// Line of each step, 0 for a step that has none, when they are not in turn.
    Each(Vec<u32>),
}

impl From<Vec<u32>> for Lines {
    fn from(lines: Vec<u32>) -> Lines {
        match lines.first() {
            Some(&first) if first > 0 && (first..).zip(&lines).all(|(line, &of)| of == line) => {
                Lines::InTurn { first: first as usize, steps: lines.len() }
            }
            _ => Lines::Each(lines),
        }
    }
}

impl Lines {
    /// Number of steps.
    pub fn len(&self) -> usize {
        match self {
            Lines::InTurn { steps, .. } => *steps,
            Lines::Each(lines) => lines.len(),
        }
    }

    /// True when there is no step at all.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Line of a step, 0 when it has none.
    pub fn of(&self, step: usize) -> usize {
        match self {
            Lines::InTurn { first, steps } if step < *steps => first + step,
            Lines::InTurn { .. } => 0,
            Lines::Each(lines) => lines.get(step).map_or(0, |&line| line as usize),
        }
    }
}

/// A file's columns on the grid: whole days, equal steps; a missing value is NaN.
#[derive(Debug, Clone, PartialEq)]
pub struct RawYear {
    /// The file's own position, or the hint's.
    pub place: Place,
    /// As in [`super::WeatherYear`].
    pub days: Vec<NaiveDate>,
    /// As in [`super::WeatherYear`].
    pub steps_per_day: usize,
    /// The columns that the file has, by [`Quantity`]; NaN where a value is missing.
    pub columns: [Option<Vec<f64>>; 11],
    /// Height of the wind measurement, m.
    pub wind_height_m: f64,
    /// Line of the file that each step came from.
    pub lines: Lines,
    /// Wrong times.
    pub faults: Vec<Fault>,
    /// Label convention that was applied.
    pub label: Label,
    /// Origin and notes so far.
    pub provenance: Provenance,
}

impl RawYear {
    /// A column, when the file has it.
    pub fn get(&self, q: Quantity) -> Option<&[f64]> {
        self.columns[q as usize].as_deref()
    }

    /// Number of steps.
    pub fn len(&self) -> usize {
        self.days.len() * self.steps_per_day
    }

    /// True when there is no day at all.
    pub fn is_empty(&self) -> bool {
        self.days.is_empty()
    }

    /// Date and time at which a step begins, for messages: `31 Jan 2003 23:00`.
    pub fn when(&self, step: usize) -> String {
        when(&self.days, self.steps_per_day, step)
    }

    /// Line of a step, or of the nearest step before it that has one.
    pub fn line_near(&self, step: usize) -> usize {
        (0..=step).rev().map(|i| self.lines.of(i)).find(|&line| line > 0).unwrap_or(1)
    }
}

/// Date and time at which a step begins, for messages: `31 Jan 2003 23:00`.
pub fn when(days: &[NaiveDate], steps_per_day: usize, step: usize) -> String {
    let minute = (step % steps_per_day) * (1440 / steps_per_day);
    match days.get(step / steps_per_day) {
        Some(d) => format!("{} {:02}:{:02}", d.format("%-d %b %Y"), minute / 60, minute % 60),
        None => format!("step {step}"),
    }
}
