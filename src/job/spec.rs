//! The job and parts files as serde sees them. Units are in the names; azimuth is clockwise from north everywhere.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::module::ModuleSheet;
use crate::plane::{PlaneSpec, SkyModel};
use crate::plant::{CableSpec, GridSpec, InverterSheet, SiteLoadSpec, StringsSpec};
use crate::units::OneOrTwelve;

/// A parts file: modules and inverters by tag.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct PartsSpec {
    /// `[module.X]`.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub module: BTreeMap<String, ModuleSheet>,
    /// `[inverter.X]`.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub inverter: BTreeMap<String, InverterSheet>,
    /// A CSV of modules, one row each, with the same names as columns.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub module_table: Option<String>,
}

/// A job file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct JobSpec {
    /// Title of the report.
    pub title: String,
    /// Parts file, relative to the job file; parts may stand inline as well.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parts: Option<String>,
    /// Inline `[module.X]`.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub module: BTreeMap<String, ModuleSheet>,
    /// Inline `[inverter.X]`.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub inverter: BTreeMap<String, InverterSheet>,
    /// Who it is for and from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub proposal: Option<ProposalSpec>,
    /// Names the place; may be left to the weather file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub site: Option<SiteSpec>,
    /// The weather file.
    pub weather: WeatherSpec,
    /// Planes.
    pub plane: Vec<PlaneSpec>,
    /// The skyline, `[azimuth_deg, elevation_deg]`, or a path to a CSV of the two.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub skyline: Option<SkylineSpec>,
    /// Sky model; Perez when left out.
    #[serde(default)]
    pub sky_model: SkyModel,
    /// Corrects for the colour of the light by air mass and precipitable water (needs the latter in the weather file).
    #[serde(default)]
    pub spectrum: bool,
    /// Options, the first is what the others are compared with.
    pub option: Vec<OptionSpec>,
    /// Losses.
    #[serde(default)]
    pub losses: LossSpec,
    /// Snow on the modules; not modelled when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub snow: Option<SnowSpec>,
    /// Cables.
    #[serde(default)]
    pub cable: CableSpec,
    /// Grid.
    #[serde(default)]
    pub grid: GridSpec,
    /// String check.
    #[serde(default)]
    pub strings: StringsSpec,
    /// Load of the site on the module's face, from a licensed engineer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loads: Option<SiteLoadSpec>,
    /// Lifetime.
    #[serde(default)]
    pub ageing: AgeingSpec,
    /// Dirt that builds up over the years, and cleaning.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cleaning: Option<CleaningSpec>,
    /// On whose word a section or a key stands: `"losses.dirt_pct" = "cleaning contract"`. A record's own `source`
    /// serves as well.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub sources: BTreeMap<String, String>,
    /// How sure each input is.
    #[serde(default)]
    pub uncertainty: super::UncertaintySpec,
    /// Prices; no money in the result when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub money: Option<super::MoneySpec>,
    /// Sales sentences to be judged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub claims: Option<super::ClaimsSpec>,
    /// What a search for the best set-up may vary.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub search: Option<super::SearchSpec>,
}

/// `[proposal]`: words for the cover.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct ProposalSpec {
    /// For whom.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub customer: Option<String>,
    /// By whom.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub preparer: Option<String>,
    /// Date as it shall be printed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date: Option<String>,
    /// Revision.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revision: Option<String>,
    /// Language of the report: `en` when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub language: Option<String>,
}

/// `[site]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct SiteSpec {
    /// Name.
    pub name: String,
    /// Degrees, north positive.
    pub latitude_deg: f64,
    /// Degrees, east positive.
    pub longitude_deg: f64,
    /// Metres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub elevation_m: Option<f64>,
    /// Hours ahead of UTC, fractions allowed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub utc_offset_h: Option<f64>,
}

/// `[weather]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct WeatherSpec {
    /// Path, relative to the job file.
    pub file: String,
    /// Files with real years of the same place: every whole year in them is run by itself, and the spread between them
    /// stands in the place of an assumed one.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub series: Vec<String>,
    /// Label convention of a mapped CSV: `ending`, `beginning` or `middle`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub label: Option<String>,
    /// Trade name = `"column [unit]"`.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub columns: BTreeMap<String, String>,
    /// True when the light in the file was measured by sensors that were as dirty as modules would be, so that dirt is
    /// in it already.
    #[serde(default, skip_serializing_if = "is_false")]
    pub dirt_in_light: bool,
    /// Accepts a file from far away as a stand-in, and says so in the output.
    #[serde(default)]
    pub stand_in: bool,
    /// Height of the wind measurement of a mapped CSV, m; 10 when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wind_height_m: Option<f64>,
    /// Separation model when only GHI is given: `erbs` or `ridley-boland-lauret`; `erbs` when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub separation: Option<String>,
}

/// The skyline inline or from a file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(untagged)]
pub enum SkylineSpec {
    /// `[azimuth_deg, elevation_deg]` points.
    Points(Vec<[f64; 2]>),
    /// Path of a CSV with `azimuth_deg,elevation_deg`.
    File(String),
}

/// `[[option]]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct OptionSpec {
    /// Short name: A, B, ...
    pub tag: String,
    /// Module tag.
    pub module: String,
    /// Inverter tag.
    pub inverter: String,
    /// Number of inverters; 1 when left out.
    #[serde(default = "one")]
    pub inverters: u32,
    /// Smallest number of modules that reaches this, kW.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub target_kw: Option<f64>,
    /// Number of modules.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub modules: Option<u32>,
    /// As many as the planes hold.
    #[serde(default)]
    pub fill: bool,
    /// Names of the planes; all when left out.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub planes: Vec<String>,
    /// Modules per string, one number a string; one lumped array when left out and no lengths are chosen.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub strings: Vec<u32>,
    /// A converter at every module.
    #[serde(default)]
    pub module_converters: bool,
}

fn is_false(x: &bool) -> bool {
    !*x
}

fn one() -> u32 {
    1
}

/// `[losses]`, percent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct LossSpec {
    /// Dirt, percent of light, one value or twelve.
    #[serde(default = "default_dirt")]
    pub dirt_pct: OneOrTwelve,
    /// Dirt by the rain of the weather file, instead of `dirt_pct`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dirt_model: Option<DirtModelSpec>,
    /// Mismatch of the modules of a string, percent of power.
    #[serde(default = "default_mismatch")]
    pub mismatch_pct: f64,
    /// Time out of service, percent of energy.
    #[serde(default = "default_outage")]
    pub outage_pct: f64,
}

fn default_dirt() -> OneOrTwelve {
    OneOrTwelve::One(2.0)
}

fn default_mismatch() -> f64 {
    0.5
}

fn default_outage() -> f64 {
    1.0
}

impl Default for LossSpec {
    fn default() -> Self {
        LossSpec {
            dirt_pct: default_dirt(),
            dirt_model: None,
            mismatch_pct: default_mismatch(),
            outage_pct: default_outage(),
        }
    }
}

/// `losses.dirt_model`: dirt grows day by day until rain washes it off. Nothing is assumed: all three must be stated.
///
/// Source: Kimber, Mitchell, Nogradi, Wenger, The effect of soiling on large grid-connected photovoltaic systems in
/// California and the Southwest region of the United States, 4th World Conference on Photovoltaic Energy Conversion,
/// 2006 (form of the model from memory).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct DirtModelSpec {
    /// Growth of the loss of light, percent a day.
    pub daily_pct: f64,
    /// Rain of a day that washes the modules clean, mm.
    pub rain_threshold_mm: f64,
    /// Days after such a rain on which no dirt settles, because the ground is damp.
    pub damp_days: u32,
}

/// `[snow]`: how snow lies on the modules and leaves them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct SnowSpec {
    /// `slide`: fresh snow covers the modules and slides off in the sun or in mild air (Marion et al. 2013); `none`: snow
    /// is left out.
    pub model: String,
    /// Rise of the snow depth that covers the modules, cm; 1 when left out.
    #[serde(default = "default_fresh_cm")]
    pub fresh_cm: f64,
}

fn default_fresh_cm() -> f64 {
    1.0
}

/// `[cleaning]`: dirt that rain leaves on the modules builds up over the years until they are cleaned. It comes on top of
/// `[losses]`, whose dirt is what lies on modules that are clean to begin with.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct CleaningSpec {
    /// Growth of the loss of energy by what rain leaves, percent a year.
    pub buildup_pct_per_year: f64,
    /// Where it stops growing, percent of energy.
    pub most_pct: f64,
    /// Years from one cleaning to the next; 0.5 is twice a year.
    pub every_years: f64,
    /// Cost of one cleaning per kW of module power.
    #[serde(default)]
    pub cost_per_kw: f64,
    /// Cost of one cleaning whatever the size: the journey, the lift.
    #[serde(default)]
    pub cost_per_visit: f64,
}

/// `[ageing]`: how the years pass.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct AgeingSpec {
    /// Years of operation; 25 when left out.
    #[serde(default = "default_years")]
    pub years: u32,
    /// `linear` E1 (1 - d (t - 1)) or `compound` E1 (1 - d)^(t - 1).
    #[serde(default = "default_course")]
    pub course: String,
}

fn default_years() -> u32 {
    25
}

fn default_course() -> String {
    "linear".to_string()
}

impl Default for AgeingSpec {
    fn default() -> Self {
        AgeingSpec { years: default_years(), course: default_course() }
    }
}
