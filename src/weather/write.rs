//! yearlight's own plain layout: `#` lines with place and origin, then one row per step.

use std::io::{BufWriter, Write};

use super::formats::TIDY_MARK;
use super::{Quantity, WeatherYear};
use crate::units::clean;

/// Writes a year so that reading it returns the same bits.
///
/// Times name the beginning of the step, in local standard time. Columns that the year does not have are left out.
/// Numbers are the shortest that read back as the same double.
pub fn write_tidy(year: &WeatherYear, out: impl Write) -> std::io::Result<()> {
    let mut out = BufWriter::new(out);
    let p = &year.place;
    writeln!(out, "{TIDY_MARK}")?;
    writeln!(out, "# name: {}", clean(&p.name))?;
    writeln!(out, "# latitude_deg: {}", p.latitude_deg)?;
    writeln!(out, "# longitude_deg: {}", p.longitude_deg)?;
    writeln!(out, "# elevation_m: {}", p.elevation_m)?;
    writeln!(out, "# utc_offset_min: {}", p.utc_offset_min)?;
    writeln!(out, "# wind_height_m: {}", year.wind_height_m)?;
    writeln!(out, "# label: beginning")?;
    let from = &year.provenance;
    for (key, value) in [
        ("kind", &from.kind),
        ("from-file", &from.file),
        ("from-sha256", &from.sha256),
        ("from-format", &from.format),
        ("from-label", &from.label),
    ] {
        if !value.is_empty() {
            writeln!(out, "# {key}: {}", clean(value))?;
        }
    }
    for (what, how) in &from.completed {
        writeln!(out, "# completed: {} = {}", clean(what), clean(how))?;
    }
    for note in &from.notes {
        let key = if note.loud { "loud-note" } else { "note" };
        writeln!(out, "# {key}: {} {}", note.code, clean(&note.text))?;
    }
    let columns: Vec<(Quantity, &[f64])> =
        Quantity::ALL.iter().filter_map(|&q| year.column(q).map(|values| (q, values))).collect();
    write!(out, "time")?;
    for (q, _) in &columns {
        write!(out, ",{}", q.tidy_name())?;
    }
    writeln!(out)?;
    for (d, day) in year.days.iter().enumerate() {
        for slot in 0..year.steps_per_day {
            let minute = slot as u32 * year.step_min();
            write!(out, "{}T{:02}:{:02}", day.format("%Y-%m-%d"), minute / 60, minute % 60)?;
            for (_, values) in &columns {
                write!(out, ",{}", values[d * year.steps_per_day + slot])?;
            }
            writeln!(out)?;
        }
    }
    out.flush()
}
