//! What the user knows about a file that the file does not say itself.

use std::collections::BTreeMap;
use std::str::FromStr;

use super::{Place, Quantity, WeatherError};
use crate::units::shown;

/// Which instant of its interval a row's time names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Label {
    /// The end: the row of 13:00 holds 12:00 to 13:00 (EPW, TMY3).
    Ending,
    /// The beginning: the row of 12:00 holds 12:00 to 13:00.
    Beginning,
    /// The middle: the row of 12:30 holds 12:00 to 13:00.
    Middle,
}

impl Label {
    /// The word used in files.
    pub fn word(self) -> &'static str {
        match self {
            Label::Ending => "ending",
            Label::Beginning => "beginning",
            Label::Middle => "middle",
        }
    }
}

impl FromStr for Label {
    type Err = WeatherError;

    fn from_str(s: &str) -> Result<Label, WeatherError> {
        match s.trim() {
            "ending" => Ok(Label::Ending),
            "beginning" => Ok(Label::Beginning),
            "middle" => Ok(Label::Middle),
            other => Err(WeatherError::Hint {
                key: "weather.label".into(),
                found: format!("\"{}\"", shown(other)),
                expected: "ending, beginning or middle".into(),
                mend: "Say which instant of its interval a row's time names.".into(),
            }),
        }
    }
}

/// How much time a file must cover.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Period {
    /// 365 or 366 days from 1 January to 31 December.
    #[default]
    OneYear,
    /// One or more such years, one after the other.
    WholeYears,
    /// Any run of whole days, for comparison with a meter.
    AnyDays,
}

/// How GHI alone is cut into beam and diffuse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Separation {
    /// Erbs, Klein and Duffie 1982.
    #[default]
    Erbs,
    /// Ridley, Boland and Lauret 2010.
    RidleyBolandLauret,
}

impl FromStr for Separation {
    type Err = WeatherError;

    fn from_str(s: &str) -> Result<Separation, WeatherError> {
        match s.trim() {
            "erbs" => Ok(Separation::Erbs),
            "ridley-boland-lauret" => Ok(Separation::RidleyBolandLauret),
            other => Err(WeatherError::Hint {
                key: "weather.separation".into(),
                found: format!("\"{}\"", shown(other)),
                expected: "erbs or ridley-boland-lauret".into(),
                mend: "Leave the key out to take erbs.".into(),
            }),
        }
    }
}

/// What the user says about a weather file; [`ReadHints::default`] serves files that describe themselves.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ReadHints {
    /// Label convention; required for a mapped CSV. Given for a file that has its own convention, it overrides it
    /// and a loud note says so.
    pub label: Option<Label>,
    /// Trade name = `"column [unit]"`, for a mapped CSV.
    pub columns: BTreeMap<String, String>,
    /// Minutes that the file's clock is ahead of UTC, for a file that does not say so.
    pub utc_offset_min: Option<i32>,
    /// Position of a file that holds none; ignored when the file has its own.
    pub place: Option<Place>,
    /// Height of the wind measurement of a mapped CSV, m; 10 when left out.
    pub wind_height_m: Option<f64>,
    /// For files with GHI only.
    pub separation: Separation,
    /// How much time the file must cover.
    pub period: Period,
    /// Leaves aside columns that the caller does not need; they are then neither read nor judged.
    pub leave_out: Vec<Quantity>,
    /// Leaves the checksum out, for callers that read very many files.
    pub no_checksum: bool,
}
