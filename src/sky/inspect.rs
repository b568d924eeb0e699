//! What a weather file is, what is wrong with it, and whether to use it.

use chrono::Datelike;
use serde::Serialize;

use super::checks::{self, Check, Weight};
use super::complete::complete;
use super::shift::{self, Shift, ShiftEffect};
use crate::units::Note;
use crate::weather::{Place, Quantity, RawYear, ReadHints, WeatherYear};

/// The last word on a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Nothing of weight was found.
    Good,
    /// Read the notes before use.
    UsableWithNotes,
    /// The result would mislead.
    DoNotUse,
}

impl Verdict {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Good => "good",
            Verdict::UsableWithNotes => "usable with notes",
            Verdict::DoNotUse => "do not use",
        }
    }
}

/// Sums and means of a month or of the whole file.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Summary {
    /// 1..=12, or 0 for the whole file.
    pub month: u32,
    /// Year the month's light comes from; 0 for the whole file.
    pub source_year: i32,
    /// kWh/m2.
    pub ghi_kwh_m2: f64,
    /// kWh/m2.
    pub dni_kwh_m2: f64,
    /// kWh/m2.
    pub dhi_kwh_m2: f64,
    /// C.
    pub t_mean_c: f64,
    /// C.
    pub t_min_c: f64,
    /// C.
    pub t_max_c: f64,
    /// m/s.
    pub wind_m_s: f64,
}

/// Everything that `inspect` says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Inspection {
    /// File.
    pub file: String,
    /// Its checksum.
    pub sha256: String,
    /// Layout.
    pub format: String,
    /// Kind in the file's own words.
    pub kind: String,
    /// Position.
    pub place: Place,
    /// First day, ISO.
    pub first_day: String,
    /// Last day, ISO.
    pub last_day: String,
    /// Number of days.
    pub days: usize,
    /// Minutes in a step.
    pub step_min: usize,
    /// Label convention applied.
    pub label: String,
    /// Columns that the file holds.
    pub columns: Vec<String>,
    /// Columns made, and how.
    pub completed: Vec<(String, String)>,
    /// Twelve months, as far as the file has them.
    pub months: Vec<Summary>,
    /// The whole file.
    pub year: Summary,
    /// Shift between labels and sun, when the light tells.
    pub shift: Option<Shift>,
    /// What the shift does to roofs, when it is large enough to matter.
    pub shift_effect: Option<ShiftEffect>,
    /// Checks.
    pub checks: Vec<Check>,
    /// Notes of reading and completing.
    pub notes: Vec<Note>,
    /// Why the file was refused, when it was.
    pub refused: Option<String>,
    /// The last word.
    pub verdict: Verdict,
}

/// Looks a file over. The second value is the completed year, unless the file is refused.
pub fn inspect(raw: RawYear, hints: &ReadHints) -> (Inspection, Option<WeatherYear>) {
    let checks = checks::run(&raw);
    let step_min = 1440 / raw.steps_per_day.max(1);
    let shift = shift::find(&raw)
        .map(|minutes| Shift { minutes, fix: shift::fix(minutes, raw.label, step_min as f64, &raw.place) });
    let columns = Quantity::ALL.iter().filter(|&&q| raw.get(q).is_some()).map(|q| q.name().to_string()).collect();
    let before = raw.clone();
    let (year, refused) = match complete(raw, hints) {
        Ok(year) => (Some(year), None),
        Err(e) => (None, Some(e.to_string())),
    };
    let shift_effect = match (&year, &shift) {
        (Some(y), Some(s)) if s.fix.is_some() => Some(shift::effect(y, s.minutes)),
        _ => None,
    };
    let worst = checks.iter().map(|c| c.weight).max().unwrap_or(Weight::Fine);
    let notes = year.as_ref().map_or(before.provenance.notes.clone(), |y| y.provenance.notes.clone());
    let verdict = if refused.is_some() || worst == Weight::Refuse {
        Verdict::DoNotUse
    } else if worst >= Weight::Loud || notes.iter().any(|n| n.loud) {
        Verdict::UsableWithNotes
    } else {
        Verdict::Good
    };
    let day = |d: Option<&chrono::NaiveDate>| d.map_or(String::new(), |d| d.to_string());
    let (months, whole) = summaries(&before, year.as_ref());
    let inspection = Inspection {
        file: before.provenance.file.clone(),
        sha256: before.provenance.sha256.clone(),
        format: before.provenance.format.clone(),
        kind: before.provenance.kind.clone(),
        place: before.place.clone(),
        first_day: day(before.days.first()),
        last_day: day(before.days.last()),
        days: before.days.len(),
        step_min,
        label: before.label.word().into(),
        columns,
        completed: year.as_ref().map_or(Vec::new(), |y| y.provenance.completed.clone()),
        months,
        year: whole,
        shift,
        shift_effect,
        checks,
        notes,
        refused,
        verdict,
    };
    (inspection, year)
}

fn summaries(raw: &RawYear, year: Option<&WeatherYear>) -> (Vec<Summary>, Summary) {
    let column = |q: Quantity| match year {
        Some(y) => y.column(q),
        None => raw.get(q),
    };
    let per_day = raw.steps_per_day;
    let step_h = 24.0 / per_day as f64;
    let over = |month: u32, days: &[usize]| {
        let values = |q: Quantity| {
            let c = column(q);
            days.iter()
                .flat_map(move |&d| c.map_or(&[][..], |c| &c[d * per_day..(d + 1) * per_day]).iter().copied())
                .filter(|v| v.is_finite())
        };
        let sum = |q: Quantity| values(q).sum::<f64>() * step_h / 1000.0;
        let mean = |q: Quantity| {
            let (n, s) = values(q).fold((0, 0.0), |(n, s), v| (n + 1, s + v));
            if n > 0 { s / f64::from(n) } else { 0.0 }
        };
        let (low, high) = values(Quantity::TAmb).fold((f64::MAX, f64::MIN), |(a, b), v| (a.min(v), b.max(v)));
        Summary {
            month,
            source_year: if month > 0 { days.first().map_or(0, |&d| raw.days[d].year()) } else { 0 },
            ghi_kwh_m2: sum(Quantity::Ghi),
            dni_kwh_m2: sum(Quantity::Dni),
            dhi_kwh_m2: sum(Quantity::Dhi),
            t_mean_c: mean(Quantity::TAmb),
            t_min_c: if low <= high { low } else { 0.0 },
            t_max_c: if low <= high { high } else { 0.0 },
            wind_m_s: mean(Quantity::Wind),
        }
    };
    let months = (1..=12)
        .filter_map(|m| {
            let days: Vec<usize> = (0..raw.days.len()).filter(|&d| raw.days[d].month() == m).collect();
            (!days.is_empty()).then(|| over(m, &days))
        })
        .collect();
    (months, over(0, &(0..raw.days.len()).collect::<Vec<_>>()))
}
