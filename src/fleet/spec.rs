//! The fleet file.

use std::path::Path;

use serde::{Deserialize, Serialize};

use super::error::FleetError;

/// `FLEET.toml`; paths are relative to it.
///
/// ```
/// let spec: yearlight::fleet::FleetSpec = toml::from_str(
///     "title = \"Merrowby district\"\ntemplate = \"template.toml\"\nsites = \"fleet.csv\"",
/// )
/// .unwrap();
/// assert_eq!(spec.weather, "{weather}");
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FleetSpec {
    /// Title of the index page.
    pub title: String,
    /// A job file; the table of sites overrides its keys.
    pub template: String,
    /// CSV or Parquet, one row per site.
    pub sites: String,
    /// Path of a site's weather file; a column's name in braces stands for the cell. `{weather}` when left out. Where
    /// such a cell is empty, the template's file is taken.
    #[serde(default = "default_weather")]
    pub weather: String,
    /// One Parquet file with the years of many sites, columns site, time, ghi, dni, dhi, t_amb, wind; a site is looked
    /// up by its name, or by its cell `weather`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weather_set: Option<String>,
    /// Which instant a row's time names in `weather_set`: `beginning`, `middle` or `ending`.
    #[serde(default = "default_label")]
    pub weather_set_label: String,
    /// Sites in one part of the results, 1 to 10000; what is lost at most when a run is killed. 256 when left out.
    #[serde(default = "default_per_part")]
    pub sites_per_part: usize,
    /// Splits every gap to the first option into its causes. Takes many runs of the year for each site.
    #[serde(default)]
    pub split: bool,
    /// Writes all rows as `fleet.csv` as well.
    #[serde(default)]
    pub csv: bool,
}

fn default_weather() -> String {
    "{weather}".to_string()
}

fn default_per_part() -> usize {
    super::sites::SITES_PER_PART
}

fn default_label() -> String {
    "beginning".to_string()
}

impl FleetSpec {
    /// From text; `path` stands in messages.
    ///
    /// # Errors
    /// [`FleetError::Wrong`] with the line.
    pub fn from_text(path: &Path, text: &str) -> Result<FleetSpec, FleetError> {
        let spec: FleetSpec = toml::from_str(text).map_err(|e| {
            let line = e.span().map_or(1, |s| text[..s.start.min(text.len())].matches('\n').count() + 1);
            FleetError::Wrong {
                at: format!("{}:{line}", path.display()),
                // What is expected follows in words of our own.
                found: crate::units::clean(e.message().split(", expected one of").next().unwrap_or_default().trim()),
                expected: "title, template, sites, and if wanted weather, weather_set, weather_set_label, sites_per_part, split, csv"
                    .to_string(),
                mend: "Compare with configs/merrowby-fleet/fleet.toml.".to_string(),
            }
        })?;
        spec.checked(path)
    }

    /// With values that can be used; `path` stands in messages.
    ///
    /// # Errors
    /// [`FleetError::Wrong`] with the key.
    pub fn checked(self, path: &Path) -> Result<FleetSpec, FleetError> {
        let spec = self;
        if spec.weather_set_label.parse::<crate::weather::Label>().is_err() {
            return Err(FleetError::Wrong {
                at: path.display().to_string(),
                found: format!("weather_set_label is \"{}\"", spec.weather_set_label),
                expected: "beginning, middle or ending".to_string(),
                mend: "Say which instant of its hour a row's time names.".to_string(),
            });
        }
        if !(1..=10_000).contains(&spec.sites_per_part) {
            return Err(FleetError::Wrong {
                at: path.display().to_string(),
                found: format!("sites_per_part is {}", spec.sites_per_part),
                expected: "1 to 10000".to_string(),
                mend: "Leave the key out to take 64.".to_string(),
            });
        }
        Ok(spec)
    }
}
