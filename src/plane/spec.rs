//! `[[plane]]` of a job.

use serde::{Deserialize, Serialize};

/// `[[plane]]` of a job: a roof plane or a field.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct PlaneSpec {
    /// What the options call it.
    pub name: String,
    /// Degrees from horizontal, 0..90. With a tracker: the slope of the axis, normally 0.
    pub tilt_deg: f64,
    /// Degrees clockwise from north that the plane faces, 0..360.
    pub azimuth_deg: f64,
    /// Ground reflectance 0..1, when the weather file holds none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub albedo: Option<f64>,
    /// How the modules lose heat on this plane.
    #[serde(default)]
    pub cooling: Cooling,
    /// Along the eave and up the slope, m.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub size_m: Option<[f64; 2]>,
    /// Corners of a plane that is no rectangle, m, x along the eave, y up the slope.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub outline_m: Vec<[f64; 2]>,
    /// Free strip along every edge, m.
    #[serde(default)]
    pub setback_m: f64,
    /// Free strip around every obstacle, m.
    #[serde(default)]
    pub obstacle_setback_m: f64,
    /// Gap between modules, m.
    #[serde(default = "default_gap_m")]
    pub gap_m: f64,
    /// Things that stand on or beside the plane and throw shade.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub obstacles: Vec<ObstacleSpec>,
    /// Tilted rows, one behind the other.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rows: Option<RowsSpec>,
    /// A single axis that follows the sun.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tracker: Option<TrackerSpec>,
}

fn default_gap_m() -> f64 {
    0.02
}

/// Heat loss factors after Faiman (2008).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Cooling {
    /// W/(m2 K); open rack 25.
    pub u0: f64,
    /// W s/(m3 K), for the wind near the module; open rack 6.84.
    pub u1: f64,
    /// On whose word.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

impl Default for Cooling {
    fn default() -> Self {
        Cooling { u0: 25.0, u1: 6.84, source: None }
    }
}

/// An obstacle in plane coordinates: x along the eave, y up the slope, height normal to the horizontal (straight up).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(tag = "kind", rename_all = "lowercase", deny_unknown_fields)]
pub enum ObstacleSpec {
    /// Lift housing, parapet, dormer, chimney: lower corner, then width, depth, height.
    Box {
        /// Name in the report.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        name: Option<String>,
        /// Lower left corner, m.
        at_m: [f64; 2],
        /// Along the eave, up the slope, height above the plane at its lower edge, m.
        size_m: [f64; 3],
    },
    /// Mast, flue, tree: centre, diameter, height.
    Cylinder {
        /// Name in the report.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        name: Option<String>,
        /// Centre, m.
        at_m: [f64; 2],
        /// Diameter, m.
        diameter_m: f64,
        /// Height above the plane, m.
        height_m: f64,
        /// Share of light that passes, percent, one value or twelve (a tree in leaf and bare).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        passes_pct: Option<crate::units::OneOrTwelve>,
    },
}

/// Rows of modules one behind the other on level ground or a flat roof.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct RowsSpec {
    /// From row to row, m.
    pub pitch_m: f64,
    /// Length of the row up its slope, m.
    pub slant_m: f64,
    /// Modules one above the other in a row; 1 when left out.
    #[serde(default = "one")]
    pub high: u32,
    /// Height of the lower edge above ground, m, for rear light.
    #[serde(default = "default_clearance_m")]
    pub clearance_m: f64,
    /// Number of rows; many when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub count: Option<u32>,
}

fn one() -> u32 {
    1
}

fn default_clearance_m() -> f64 {
    0.5
}

/// A single-axis tracker. The axis direction is `axis_deg`; rotation is positive towards `axis_deg + 90`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct TrackerSpec {
    /// Azimuth of the axis, degrees clockwise from north.
    pub axis_deg: f64,
    /// Largest rotation either way, degrees.
    #[serde(default = "default_limit_deg")]
    pub limit_deg: f64,
    /// Turns back at low sun so that rows do not shade each other (needs `rows`).
    #[serde(default)]
    pub avoid_row_shade: bool,
    /// Slope of the axis, degrees, positive when the end at `axis_deg` is the higher one.
    #[serde(default)]
    pub axis_slope_deg: f64,
}

fn default_limit_deg() -> f64 {
    60.0
}

/// The sky model.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum SkyModel {
    /// Perez, Ineichen, Seals, Michalsky, Stewart 1990.
    #[default]
    Perez,
    /// Hay and Davies 1980.
    HayDavies,
    /// Reindl, Beckman, Duffie 1990.
    Reindl,
    /// Liu and Jordan 1963: the same from everywhere.
    Isotropic,
}
