//! Weather of many sites in one Parquet file.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::{Path, PathBuf};

use crate::sky;
use crate::tables::{Column, RowGroups, TableError};
use crate::weather::{Label, ReadHints, WeatherYear};

/// Columns that are handed on, with the units that they have.
const COLUMNS: [(&str, &str); 5] = [("ghi", "W/m2"), ("dni", "W/m2"), ("dhi", "W/m2"), ("t_amb", "C"), ("wind", "m/s")];

/// One Parquet file with columns site, time (local standard time of the site), ghi, dni, dhi in W/m2, t_amb in C, wind
/// in m/s at 10 m. Sorted by site, each site's rows lie in few row groups, and only those are read.
#[derive(Debug)]
pub struct WeatherSet {
    path: PathBuf,
    name: String,
    groups: RowGroups,
    label: Label,
}

impl WeatherSet {
    /// Reads the footer of the file.
    ///
    /// # Errors
    /// [`TableError::Read`] when the file is no Parquet with a column `site`.
    pub fn open(path: &Path, label: Label) -> Result<WeatherSet, TableError> {
        let name = path.display().to_string();
        Ok(WeatherSet { path: path.to_path_buf(), name, groups: RowGroups::open(path, "site")?, label })
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The year of one site; its position comes from `hints.place`.
    ///
    /// # Errors
    /// What is wrong with it: every check of a weather file holds here as well.
    pub fn year(&self, site: &str, hints: &ReadHints) -> Result<WeatherYear, String> {
        let file = &self.name;
        if hints.place.is_none() {
            return Err(format!(
                "{file}: the set holds no positions; expected latitude_deg and longitude_deg in the table of sites.\n  Add them."
            ));
        }
        let table = self.groups.rows_of(site).map_err(|e| e.to_string())?;
        if table.rows() == 0 {
            return Err(format!("{file}: there is no site \"{site}\"; expected its rows.\n  Mend the name."));
        }
        let times = table.words("time").ok_or_else(|| {
            format!("{file}: there is no column time; expected local standard time.\n  Name the column time.")
        })?;
        // Through text, so that every check of the readers holds; line 2 is the first row of the site.
        let columns: Vec<(&str, &str, &Column)> = COLUMNS
            .iter()
            .filter_map(|(name, unit)| table.columns().iter().find(|(n, _)| n == name).map(|(_, c)| (*name, *unit, c)))
            .collect();
        let mut text = String::with_capacity(times.len() * 48);
        text.push_str("time");
        let mut names = BTreeMap::from([("time".to_string(), "time".to_string())]);
        for (name, unit, _) in &columns {
            let _ = write!(text, ",{name}");
            names.insert(name.to_string(), format!("{name} [{unit}]"));
        }
        text.push('\n');
        for (i, time) in times.iter().enumerate() {
            // Whole seconds and no zone: the clock is the site's.
            text.push_str(time.get(..16).unwrap_or(time));
            for (_, _, column) in &columns {
                let x = match column {
                    Column::Number(x) => x[i],
                    Column::Whole(x) => x[i] as f64,
                    Column::Text(_) => f64::NAN,
                };
                let _ = if x.is_nan() { write!(text, ",") } else { write!(text, ",{x}") };
            }
            text.push('\n');
        }
        let hints = ReadHints { label: Some(self.label), columns: names, no_checksum: true, ..hints.clone() };
        sky::read_bytes(&format!("{file} [{site}]"), text.as_bytes(), &hints).map_err(|e| e.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::{Table, write_parquet};

    #[test]
    fn a_site_of_the_set_is_the_year_that_was_put_in() {
        let year = sky::read(Path::new("weather/merrowby.csv"), &ReadHints::default()).unwrap();
        let times: Vec<String> = year
            .days
            .iter()
            .flat_map(|d| (0..24).map(move |h| format!("{}T{h:02}:00", d.format("2021-%m-%d"))))
            .collect();
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("set.parquet");
        let table = Table::new()
            .text("site", vec!["m".to_string(); year.len()])
            .text("time", times)
            .number("ghi", year.ghi.clone())
            .number("dni", year.dni.clone())
            .number("dhi", year.dhi.clone())
            .number("t_amb", year.t_amb.clone())
            .number("wind", year.wind.clone());
        write_parquet(&table, &path).unwrap();
        let set = WeatherSet::open(&path, Label::Beginning).unwrap();
        let hints = ReadHints { place: Some(year.place.clone()), ..ReadHints::default() };
        let back = set.year("m", &hints).unwrap();
        assert_eq!((back.ghi, back.dni, back.t_amb), (year.ghi, year.dni, year.t_amb));
        assert!(set.year("n", &hints).unwrap_err().contains("no site"));
        assert!(set.year("m", &ReadHints::default()).unwrap_err().contains("latitude_deg"));
    }
}
