//! Weather files of every form: text through the readers, Parquet through the tables.

use std::error::Error;
use std::path::Path;

use crate::tables::write_whole;
use crate::weather::{RawYear, ReadHints, WeatherYear, write_tidy};

/// Reads a weather file; one that ends in `.parquet` has the tidy column names.
pub fn read_raw(path: &Path, hints: &ReadHints) -> Result<RawYear, Box<dyn Error>> {
    if is_parquet(path) { read_parquet(path, hints) } else { Ok(crate::weather::read_raw(path, hints)?) }
}

/// Writes a year as tidy CSV, or as Parquet by its ending; a killed run leaves nothing that looks whole.
pub fn write_year(year: &WeatherYear, path: &Path) -> Result<(), Box<dyn Error>> {
    if is_parquet(path) {
        return write_parquet(year, path);
    }
    let mut bytes = Vec::new();
    write_tidy(year, &mut bytes)?;
    Ok(write_whole(path, &bytes)?)
}

fn is_parquet(path: &Path) -> bool {
    path.extension().is_some_and(|e| e.eq_ignore_ascii_case("parquet"))
}

/// Whether a file is text, packed or not, that may be in memory as a whole for a while: a year of hours or a few.
pub(super) fn is_small_text(path: &Path) -> bool {
    !is_parquet(path) && path.metadata().is_ok_and(|meta| meta.is_file() && meta.len() <= 4 << 20)
}

#[cfg(not(feature = "tables"))]
fn read_parquet(path: &Path, _: &ReadHints) -> Result<RawYear, Box<dyn Error>> {
    Err(without_tables(path))
}

#[cfg(not(feature = "tables"))]
fn write_parquet(_: &WeatherYear, path: &Path) -> Result<(), Box<dyn Error>> {
    Err(without_tables(path))
}

#[cfg(not(feature = "tables"))]
fn without_tables(path: &Path) -> Box<dyn Error> {
    let path = path.display();
    format!("{path}: this build has no Parquet; expected a CSV.\n  Build with the feature \"tables\".").into()
}

/// The columns of the tidy layout as a table; the lines of its header are rows of the column `about`, then empty.
#[cfg(feature = "tables")]
fn write_parquet(year: &WeatherYear, path: &Path) -> Result<(), Box<dyn Error>> {
    use crate::tables::{Table, write_parquet};
    use crate::weather::Quantity;
    let mut bytes = Vec::new();
    // Head and times as the tidy text has them: one description of the layout, two containers.
    write_tidy(year, &mut bytes)?;
    let text = String::from_utf8_lossy(&bytes);
    let head = text.lines().take_while(|l| l.starts_with('#'));
    let mut about: Vec<String> = head.map(str::to_string).collect();
    about.resize(year.len().max(about.len()), String::new());
    let times = text.lines().skip_while(|l| l.starts_with('#')).skip(1).map(|l| l[..16].to_string()).collect();
    let mut table = Table::new().text("time", times);
    for q in Quantity::ALL {
        if let Some(column) = year.column(q) {
            table = table.number(q.tidy_name(), column.to_vec());
        }
    }
    write_parquet(&table.text("about", about), path)?;
    Ok(())
}

#[cfg(feature = "tables")]
fn read_parquet(path: &Path, hints: &ReadHints) -> Result<RawYear, Box<dyn Error>> {
    use std::fmt::Write;

    use crate::tables::{Column, read_parquet};
    let table = read_parquet(path)?;
    let words = |name: &str| {
        table.columns().iter().find_map(|(n, c)| match c {
            Column::Text(words) if n == name => Some(words),
            _ => None,
        })
    };
    let missing = |name: &str| {
        format!(
            "{}: there is no column \"{name}\" of words; expected the tidy column names.\n  Write the file with: yearlight inspect FILE --write NAME.parquet",
            path.display()
        )
    };
    let times = words("time").ok_or_else(|| missing("time"))?;
    let about = words("about").ok_or_else(|| missing("about"))?;
    // Through the tidy text: every check of the readers holds for Parquet too.
    let mut text = String::with_capacity(times.len() * 60);
    about.iter().filter(|l| !l.is_empty()).for_each(|l| {
        let _ = writeln!(text, "{l}");
    });
    let numbers: Vec<(&str, Vec<f64>)> = table
        .columns()
        .iter()
        .filter_map(|(n, c)| match c {
            Column::Number(x) => Some((n.as_str(), x.clone())),
            Column::Whole(x) => Some((n.as_str(), x.iter().map(|v| *v as f64).collect())),
            Column::Text(_) => None,
        })
        .collect();
    text.push_str("time");
    numbers.iter().for_each(|(n, _)| {
        let _ = write!(text, ",{n}");
    });
    text.push('\n');
    for (i, time) in times.iter().enumerate() {
        text.push_str(time);
        for (_, column) in &numbers {
            let _ = if column[i].is_nan() { write!(text, ",") } else { write!(text, ",{}", column[i]) };
        }
        text.push('\n');
    }
    let mut raw = crate::weather::read_raw_bytes(&path.display().to_string(), text.as_bytes(), hints)?;
    raw.provenance.format = "yearlight Parquet".into();
    Ok(raw)
}

#[cfg(all(test, feature = "tables"))]
mod tests {
    use super::*;
    use crate::weather::specimen;

    #[test]
    fn parquet_returns_the_same_bits() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("y.parquet");
        let mut year = specimen::year(24);
        year.t_amb[7] = -1.0 / 3.0;
        write_year(&year, &path).unwrap();
        let raw = read_raw(&path, &ReadHints::default()).unwrap();
        let back = crate::sky::complete(raw, &ReadHints::default()).unwrap();
        assert_eq!(back.days, year.days);
        assert_eq!(back.place, year.place);
        for q in crate::weather::Quantity::ALL {
            assert_eq!(back.column(q), year.column(q), "{}", q.name());
        }
    }
}
