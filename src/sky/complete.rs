//! From columns as read to a year that the chain can rely on.

use std::path::Path;

use chrono::Datelike;

use super::geometry::{StepSun, step_sun};
use super::separate;
use crate::units::Note;
use crate::weather::{
    FaultKind, Period, Place, Quantity, RawYear, ReadHints, Separation, WeatherError, WeatherYear, read_raw,
    read_raw_bytes,
};

/// Longest gap that is filled, hours of daylight.
pub const LONGEST_GAP_H: f64 = 3.0;
/// Longest gap that is filled when it lies at night, hours.
pub const LONGEST_ROWS_H: f64 = 12.0;
/// Largest share of daylight that may be filled in all.
const MOST_FILLED: f64 = 0.02;
/// Wind at 10 m when the file holds none, m/s: low for open land, so that modules rather run too hot.
pub const WIND_WHEN_MISSING: f64 = 2.0;
/// Instruments read slightly below zero at night, W/m2; what is below this is refused.
const OFFSET: f64 = -10.0;

/// Reads, checks and completes a weather file.
pub fn read(path: &Path, hints: &ReadHints) -> Result<WeatherYear, WeatherError> {
    complete(read_raw(path, hints)?, hints)
}

/// As [`read`], from bytes; `name` stands in messages.
pub fn read_bytes(name: &str, bytes: &[u8], hints: &ReadHints) -> Result<WeatherYear, WeatherError> {
    complete(read_raw_bytes(name, bytes, hints)?, hints)
}

/// Refuses what cannot be trusted, fills short gaps and makes the columns that are missing.
pub fn complete(mut raw: RawYear, hints: &ReadHints) -> Result<WeatherYear, WeatherError> {
    span(&raw, hints.period)?;
    rows(&raw)?;
    let missing = possible(&mut raw)?;
    let needs_sun = Quantity::ALL[..5].iter().any(|&q| raw.get(q).is_none() || missing[q as usize] > 0);
    let sun = if needs_sun {
        step_sun(&raw.place, &raw.days, raw.steps_per_day)
    } else {
        StepSun { up: Vec::new(), lit: Vec::new(), e0n: Vec::new(), e0h: Vec::new() }
    };
    light_columns(&mut raw, &sun, hints.separation)?;
    let t_amb = plain(&mut raw, &sun, Quantity::TAmb)?.ok_or_else(|| WeatherError::Content {
        file: raw.provenance.file.clone(),
        found: "there is no air temperature".into(),
        expected: "a column of air temperature".into(),
        mend: "Add it, or map it in [weather.columns] as t_amb = \"column [C]\".".into(),
    })?;
    let wind = match plain(&mut raw, &sun, Quantity::Wind)? {
        Some(wind) => wind,
        None => {
            raw.provenance.completed.push(("wind".into(), format!("{WIND_WHEN_MISSING} m/s all year")));
            raw.provenance.notes.push(Note::loud(
                "weather.no-wind",
                format!("The file holds no wind; {WIND_WHEN_MISSING} m/s at 10 m was taken all year."),
            ));
            vec![WIND_WHEN_MISSING; raw.len()]
        }
    };
    let albedo = extra(&mut raw, Quantity::Albedo, &missing);
    let pressure = extra(&mut raw, Quantity::Pressure, &missing);
    let humidity_pct = extra(&mut raw, Quantity::Humidity, &missing);
    let precipitable_water_cm = extra(&mut raw, Quantity::PrecipitableWater, &missing);
    let rain_mm = extra(&mut raw, Quantity::Rain, &missing);
    let snow_depth_cm = extra(&mut raw, Quantity::SnowDepth, &missing);
    let mut take = |q: Quantity| raw.columns[q as usize].take().unwrap_or_default();
    let (ghi, dni, dhi) = (take(Quantity::Ghi), take(Quantity::Dni), take(Quantity::Dhi));
    Ok(WeatherYear {
        place: raw.place,
        days: raw.days,
        steps_per_day: raw.steps_per_day,
        ghi,
        dni,
        dhi,
        t_amb,
        wind,
        wind_height_m: raw.wind_height_m,
        albedo,
        pressure,
        humidity_pct,
        precipitable_water_cm,
        rain_mm,
        snow_depth_cm,
        provenance: raw.provenance,
    })
}

/// The span of time against what was asked for.
fn span(raw: &RawYear, period: Period) -> Result<(), WeatherError> {
    let key = |d: Option<&chrono::NaiveDate>| d.map(|d| (d.month(), d.day()));
    let from_to = key(raw.days.first()) == Some((1, 1)) && key(raw.days.last()) == Some((12, 31));
    let n = raw.days.len();
    let years = raw.days.iter().filter(|d| d.ordinal() == 1).count().max(1);
    let whole = from_to && (365 * years..=366 * years).contains(&n);
    let good = match period {
        Period::OneYear => whole && years == 1,
        Period::WholeYears => whole,
        Period::AnyDays => n > 0,
    };
    if good {
        return Ok(());
    }
    let day = |d: Option<&chrono::NaiveDate>| d.map_or(String::new(), |d| d.format("%-d %b %Y").to_string());
    let several = whole && years > 1;
    Err(WeatherError::Span {
        file: raw.provenance.file.clone(),
        found: format!("{} to {} ({n} days)", day(raw.days.first()), day(raw.days.last())),
        expected: if period == Period::OneYear { "one year" } else { "whole years" }.to_string()
            + " from 1 January to 31 December",
        mend: if several {
            "Cut the file into single years, or make a typical year of them with: yearlight typical FILE --write year.csv"
                .into()
        } else {
            "The file may be cut off; fetch it again, or give whole years.".into()
        },
    })
}

/// Double rows and missing rows.
fn rows(raw: &RawYear) -> Result<(), WeatherError> {
    let file = || raw.provenance.file.clone();
    let gap = raw.faults.iter().find(|f| f.kind == FaultKind::Gap);
    if let Some(f) = raw.faults.iter().find(|f| f.kind == FaultKind::Duplicate) {
        let saving = gap.is_some_and(|g| g.steps <= raw.steps_per_day / 24);
        return Err(WeatherError::Time {
            file: file(),
            line: f.line,
            found: f.found.clone(),
            expected: "each time once".into(),
            mend: if saving {
                "An hour is missing in another month: the times look like clock time with daylight saving. Write local \
                 standard time all year."
                    .into()
            } else {
                "Delete the row that is wrong.".into()
            },
        });
    }
    let step_h = 24.0 / raw.steps_per_day as f64;
    match raw.faults.iter().find(|f| f.kind == FaultKind::Gap && f.steps as f64 * step_h > LONGEST_ROWS_H) {
        Some(f) => Err(WeatherError::Gap {
            file: file(),
            line: f.line,
            found: f.found.clone(),
            expected: format!("{LONGEST_GAP_H} h of daylight and {LONGEST_ROWS_H} h in all"),
            mend: "The file may be cut off; fetch it again or add the rows.".into(),
        }),
        None => Ok(()),
    }
}

/// Refuses impossible values; brings the small negative readings of instruments at night to zero. How many values of
/// each quantity are missing.
fn possible(raw: &mut RawYear) -> Result<[usize; Quantity::ALL.len()], WeatherError> {
    let mut all_missing = [0; Quantity::ALL.len()];
    for q in Quantity::ALL {
        let Some(mut column) = raw.columns[q as usize].take() else { continue };
        let (low, high) = q.possible();
        let light = matches!(q, Quantity::Ghi | Quantity::Dni | Quantity::Dhi);
        let floor = if light { OFFSET } else { low };
        let [outside, below, missing] = count(&column, floor, high);
        all_missing[q as usize] = missing as usize;
        if outside > 0
            && let Some(step) = column.iter().position(|v| *v < floor || *v > high)
        {
            if matches!(q, Quantity::Albedo | Quantity::PrecipitableWater | Quantity::Rain | Quantity::SnowDepth) {
                // The chain can do without; a code for a missing value that this reader does not know is likely.
                let n = outside;
                raw.provenance.notes.push(Note::quiet(
                    "weather.column-dropped",
                    format!(
                        "{} has {n} impossible values, first {} {}; the column was left out.",
                        q.name(),
                        column[step],
                        q.unit()
                    ),
                ));
                continue;
            }
            return Err(impossible(raw, q, step, column[step]));
        }
        if light && below > 0 {
            column.iter_mut().for_each(|v| *v = if *v < 0.0 { 0.0 } else { *v });
            raw.provenance.notes.push(Note::quiet(
                "weather.below-zero",
                format!("{below} values of {} between {OFFSET} and 0 W/m2 were set to 0.", q.name()),
            ));
        }
        raw.columns[q as usize] = Some(column);
    }
    Ok(all_missing)
}

crate::wide! {
    /// How many values lie outside a range, how many below zero, and how many are missing.
    fn count(column: &[f64], low: f64, high: f64) -> [u64; 3] {
        let (mut outside, mut below, mut missing) = (0_u64, 0_u64, 0_u64);
        for v in column {
            outside += u64::from((*v < low) | (*v > high));
            below += u64::from(*v < 0.0);
            missing += u64::from(v.is_nan());
        }
        [outside, below, missing]
    }
}

fn impossible(raw: &RawYear, q: Quantity, step: usize, value: f64) -> WeatherError {
    let (low, high) = q.possible();
    let below = value < low;
    let mend = match q {
        _ if below && !matches!(q, Quantity::TAmb | Quantity::Pressure) => {
            "Leave the cell empty if the hour is missing."
        }
        Quantity::Ghi | Quantity::Dni | Quantity::Dhi => {
            "If the file counts kJ/m2 or Wh/m2 per step, map its columns with their units; leave the cell empty if the hour is missing."
        }
        Quantity::TAmb => {
            "If the file counts K or F, map its columns with their units; leave the cell empty if the hour is missing."
        }
        Quantity::Wind => "If the file counts km/h or knots, map its columns with their units.",
        Quantity::Pressure => "If the file counts Pa or kPa, map its columns with their units.",
        _ => "Leave the cell empty if the hour is missing.",
    };
    let expected = if below && low == 0.0 { "0 or more".to_string() } else { format!("{low} to {high} {}", q.unit()) };
    WeatherError::Cell {
        file: raw.provenance.file.clone(),
        line: raw.line_near(step),
        column: q.name().into(),
        found: format!("{value} {}", q.unit()),
        expected,
        mend: mend.into(),
    }
}

/// Runs of missing values: first step and length.
fn runs(column: &[f64]) -> Vec<(usize, usize)> {
    let mut out: Vec<(usize, usize)> = Vec::new();
    for (i, v) in column.iter().enumerate() {
        if v.is_nan() {
            match out.last_mut() {
                Some((from, n)) if *from + *n == i => *n += 1,
                _ => out.push((i, 1)),
            }
        }
    }
    out
}

/// Refuses long gaps of a column that the chain needs, and says in a note what is filled.
fn gaps(raw: &mut RawYear, sun: &StepSun, q: Quantity, column: &[f64]) -> Result<Vec<(usize, usize)>, WeatherError> {
    let light = matches!(q, Quantity::Ghi | Quantity::Dni | Quantity::Dhi);
    let step_h = 24.0 / raw.steps_per_day as f64;
    // The sun is left out when nothing that the chain needs is missing.
    let found = if sun.up.is_empty() { Vec::new() } else { runs(column) };
    if found.is_empty() {
        return Ok(found);
    }
    let (mut filled, mut longest) = (0, 0.0_f64);
    for &(from, n) in &found {
        let lit = (from..from + n).filter(|&i| sun.up[i] > 0.0).count();
        let (lit_h, all_h) = (lit as f64 * step_h, n as f64 * step_h);
        filled += lit;
        longest = longest.max(all_h);
        if lit_h > LONGEST_GAP_H || (!light && all_h > LONGEST_ROWS_H) {
            return Err(WeatherError::Gap {
                file: raw.provenance.file.clone(),
                line: raw.line_near(from),
                found: format!("{} is missing for {all_h} h from {} on", q.name(), raw.when(from)),
                expected: format!("{LONGEST_GAP_H} h of daylight and {LONGEST_ROWS_H} h in all"),
                mend: "Fill the gap from a neighbouring station or another year, or take another file.".into(),
            });
        }
    }
    let daylight = sun.up.iter().filter(|u| **u > 0.0).count();
    if filled as f64 > MOST_FILLED * daylight as f64 {
        return Err(WeatherError::Gap {
            file: raw.provenance.file.clone(),
            line: raw.line_near(found[0].0),
            found: format!("{} is missing in {filled} of {daylight} daylight steps", q.name()),
            expected: format!("{LONGEST_GAP_H} h each and {} % of daylight in all", MOST_FILLED * 100.0),
            mend: "Take another file.".into(),
        });
    }
    if filled > 0 || (!light && !found.is_empty()) {
        let steps: usize = found.iter().map(|(_, n)| n).sum();
        raw.provenance.notes.push(Note {
            code: "weather.gap-filled".into(),
            loud: filled as f64 > 0.005 * daylight as f64,
            text: format!(
                "{} is missing in {steps} steps ({filled} of them by day), the first at {} (line {}), the longest {longest} h; filled from the steps before and after{}.",
                q.name(),
                raw.when(found[0].0),
                raw.line_near(found[0].0),
                if light { " by their share of the light above the air" } else { "" },
            ),
        });
    }
    Ok(found)
}

/// Straight line through gaps; the ends of the year take the nearest value.
fn bridge(column: &mut [f64], runs: &[(usize, usize)]) {
    for &(from, n) in runs {
        let before = from.checked_sub(1).map(|i| column[i]);
        let after = column.get(from + n).copied();
        let (a, b) = match (before, after) {
            (Some(a), Some(b)) => (a, b),
            (Some(x), None) | (None, Some(x)) => (x, x),
            (None, None) => return,
        };
        for k in 0..n {
            column[from + k] = a + (b - a) * (k + 1) as f64 / (n + 1) as f64;
        }
    }
}

/// A column that the chain needs, with short gaps bridged by a straight line.
fn plain(raw: &mut RawYear, sun: &StepSun, q: Quantity) -> Result<Option<Vec<f64>>, WeatherError> {
    let Some(mut column) = raw.columns[q as usize].take() else { return Ok(None) };
    let found = gaps(raw, sun, q, &column)?;
    bridge(&mut column, &found);
    Ok(Some(column))
}

/// A column that the chain can do without: bridged when at most a tenth is missing, else left out.
fn extra(raw: &mut RawYear, q: Quantity, missing: &[usize]) -> Option<Vec<f64>> {
    let mut column = raw.columns[q as usize].take()?;
    let missing = missing[q as usize];
    if missing * 10 > column.len() {
        raw.provenance.notes.push(Note::quiet(
            "weather.column-dropped",
            format!("{} is missing in {missing} of {} steps; the column was left out.", q.name(), column.len()),
        ));
        return None;
    }
    if missing > 0 {
        if q == Quantity::Rain {
            // No rain is assumed where none is recorded.
            column.iter_mut().for_each(|v| *v = if v.is_nan() { 0.0 } else { *v });
        } else {
            let found = runs(&column);
            bridge(&mut column, &found);
        }
        raw.provenance.notes.push(Note::quiet(
            "weather.gap-filled",
            format!("{} is missing in {missing} steps and was filled.", q.name()),
        ));
    }
    Some(column)
}

/// Fills gaps of the light by its share of the light above the air, and makes the components that are missing.
fn light_columns(raw: &mut RawYear, sun: &StepSun, separation: Separation) -> Result<(), WeatherError> {
    let [mut ghi, mut dni, mut dhi] =
        [Quantity::Ghi, Quantity::Dni, Quantity::Dhi].map(|q| raw.columns[q as usize].take());
    // Where two of three are there, closure gives the third at single steps too.
    let whole = sun.up.is_empty();
    let mut made = [&ghi, &dni, &dhi].iter().any(|column| column.is_none());
    if let (Some(g), Some(b), Some(d)) = (&mut ghi, &mut dni, &mut dhi)
        && !whole
    {
        made |= closure_at_steps(raw, sun, g, b, d);
    }
    for (q, column) in [(Quantity::Ghi, &mut ghi), (Quantity::Dni, &mut dni), (Quantity::Dhi, &mut dhi)] {
        if let Some(column) = column {
            let found = gaps(raw, sun, q, column)?;
            fill_light(column, &found, sun, q);
        }
    }
    let how = |what: &str, how: &str| (what.to_string(), how.to_string());
    let done = &mut raw.provenance.completed;
    let (g, b, d) = match (ghi, dni, dhi) {
        (Some(g), Some(b), Some(d)) => (g, b, d),
        (Some(g), Some(b), None) => {
            done.push(how("dhi", "GHI - DNI cos z"));
            let d = (0..g.len()).map(|i| (g[i] - b[i] * sun.up[i]).max(0.0)).collect();
            (g, b, d)
        }
        (Some(g), None, Some(d)) => {
            done.push(how("dni", "(GHI - DHI) / cos z"));
            let b = (0..g.len()).map(|i| beam(g[i] - d[i], sun, i)).collect();
            (g, b, d)
        }
        (None, Some(b), Some(d)) => {
            done.push(how("ghi", "DNI cos z + DHI"));
            let g = (0..b.len()).map(|i| b[i] * sun.up[i] + d[i]).collect();
            (g, b, d)
        }
        (Some(g), None, None) => {
            let name = match separation {
                Separation::Erbs => "Erbs 1982",
                Separation::RidleyBolandLauret => "Ridley, Boland and Lauret 2010",
            };
            done.push(how("dni", name));
            done.push(how("dhi", name));
            raw.provenance.notes.push(Note::loud(
                "weather.separated",
                format!("The file holds GHI only; beam and diffuse were made from it after {name}, which adds a few percent of doubt on a tilted plane."),
            ));
            let (b, d) = separated(&g, sun, &raw.place, &raw.days, raw.steps_per_day, separation);
            (g, b, d)
        }
        _ => {
            return Err(WeatherError::Content {
                file: raw.provenance.file.clone(),
                found: "there is no GHI, and not both of DNI and DHI".into(),
                expected: "GHI, or two of GHI, DNI and DHI".into(),
                mend: "Map the columns of the light in [weather.columns], for example ghi = \"ghi [W/m2]\".".into(),
            });
        }
    };
    for (q, column) in [(Quantity::Ghi, g), (Quantity::Dni, b), (Quantity::Dhi, d)] {
        if made {
            made_possible(raw, q, &column)?;
        }
        raw.columns[q as usize] = Some(column);
    }
    Ok(())
}

/// Refuses light that was made from the other components and cannot be: they do not fit together.
fn made_possible(raw: &RawYear, q: Quantity, column: &[f64]) -> Result<(), WeatherError> {
    let (low, high) = q.possible();
    if count(column, low, high)[0] == 0 {
        return Ok(());
    }
    let step = column.iter().position(|v| *v < low || *v > high).unwrap_or_default();
    Err(WeatherError::Cell {
        file: raw.provenance.file.clone(),
        line: raw.line_near(step),
        column: q.name().into(),
        found: format!("{:.0} {}, made from the other light of this step", column[step], q.unit()),
        expected: format!("{low} to {high} {}", q.unit()),
        mend:
            "The columns of light do not fit together here: check their units and labels, or leave the cells empty if \
               the step is missing."
                .into(),
    })
}

/// Beam normal from beam horizontal; nothing within a degree of the horizon, never more than above the air.
fn beam(horizontal: f64, sun: &StepSun, i: usize) -> f64 {
    let up = sun.up[i];
    if up < 0.0175 || horizontal <= 0.0 { 0.0 } else { (horizontal / up).min(sun.e0n[i] * sun.lit[i] * 0.85) }
}

/// Makes the one that is missing of the three at a step; true when there was such a step.
fn closure_at_steps(raw: &mut RawYear, sun: &StepSun, g: &mut [f64], b: &mut [f64], d: &mut [f64]) -> bool {
    let mut n = 0;
    for i in 0..g.len() {
        let up = sun.up[i];
        match (g[i].is_nan(), b[i].is_nan(), d[i].is_nan()) {
            (true, false, false) => g[i] = b[i] * up + d[i],
            (false, true, false) => b[i] = beam(g[i] - d[i], sun, i),
            (false, false, true) => d[i] = (g[i] - b[i] * up).max(0.0),
            _ => continue,
        }
        n += 1;
    }
    if n > 0 {
        raw.provenance.notes.push(Note::quiet(
            "weather.closure-filled",
            format!("In {n} steps one of GHI, DNI and DHI is missing; it was made from the other two."),
        ));
    }
    n > 0
}

fn fill_light(column: &mut [f64], runs: &[(usize, usize)], sun: &StepSun, q: Quantity) {
    let above = |i: usize| {
        if q == Quantity::Dni { sun.e0n[i] * sun.lit[i].min(1.0) } else { sun.e0n[i] * sun.up[i] * sun.lit[i] }
    };
    let share = |column: &[f64], i: usize| {
        let full = above(i);
        // Near the horizon the share means little.
        (sun.up[i] > 0.05 && full > 0.0).then(|| (column[i] / full).clamp(0.0, 1.1))
    };
    for &(from, n) in runs {
        let before = from.checked_sub(1).and_then(|i| share(column, i));
        let after = (from + n < column.len()).then_some(from + n).and_then(|i| share(column, i));
        let (a, b) = match (before, after) {
            (Some(a), Some(b)) => (a, b),
            (Some(x), None) | (None, Some(x)) => (x, x),
            // Nothing by day beside the gap: a dull sky.
            (None, None) => (0.3, 0.3),
        };
        for k in 0..n {
            let s = a + (b - a) * (k + 1) as f64 / (n + 1) as f64;
            column[from + k] = (s * above(from + k)).min(q.possible().1);
        }
    }
}

pub(super) fn separated(
    g: &[f64],
    sun: &StepSun,
    place: &Place,
    days: &[chrono::NaiveDate],
    per_day: usize,
    model: Separation,
) -> (Vec<f64>, Vec<f64>) {
    let n = g.len();
    let e0h = &sun.e0h;
    let kt: Vec<f64> = (0..n).map(|i| if e0h[i] > 0.0 { (g[i] / e0h[i]).clamp(0.0, 1.0) } else { 0.0 }).collect();
    let offset_h = place.longitude_deg / 15.0 - f64::from(place.utc_offset_min) / 60.0;
    let mut dni = vec![0.0; n];
    let mut dhi = vec![0.0; n];
    for i in 0..n {
        if e0h[i] <= 0.0 {
            dhi[i] = g[i];
            continue;
        }
        let share = match model {
            Separation::Erbs => separate::erbs(kt[i]),
            Separation::RidleyBolandLauret => {
                let day = i / per_day * per_day..(i / per_day + 1) * per_day;
                let (sum_g, sum_e): (f64, f64) = (g[day.clone()].iter().sum(), e0h[day].iter().sum());
                let lit = |j: Option<usize>| j.filter(|&j| j < n && e0h[j] > 0.0).map(|j| kt[j]);
                let psi = match (lit(i.checked_sub(1)), lit(Some(i + 1))) {
                    (Some(a), Some(b)) => 0.5 * (a + b),
                    (Some(x), None) | (None, Some(x)) => x,
                    (None, None) => kt[i],
                };
                let day_no = f64::from(days[i / per_day].ordinal());
                let hour = (i % per_day) as f64 * 24.0 / per_day as f64
                    + 12.0 / per_day as f64
                    + offset_h
                    + equation_of_time_h(day_no);
                let elevation = sun.up[i].clamp(-1.0, 1.0).asin().to_degrees();
                separate::ridley_boland_lauret(kt[i], hour, elevation, (sum_g / sum_e).clamp(0.0, 1.0), psi)
            }
        };
        dhi[i] = share * g[i];
        dni[i] = beam(g[i] - dhi[i], sun, i);
        // What the beam cannot carry stays in the sky, so that the three still close.
        dhi[i] = (g[i] - dni[i] * sun.up[i]).max(0.0);
    }
    (dni, dhi)
}

/// Apparent minus mean solar time, hours. Source: Spencer, Search 2 (1971) 172 (from memory).
fn equation_of_time_h(day: f64) -> f64 {
    let b = std::f64::consts::TAU * (day - 1.0) / 365.0;
    let minutes = 229.18
        * (0.000_075 + 0.001_868 * b.cos()
            - 0.032_077 * b.sin()
            - 0.014_615 * (2.0 * b).cos()
            - 0.040_849 * (2.0 * b).sin());
    minutes / 60.0
}
