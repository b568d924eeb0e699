//! What the sentences, the budget of doubt and the claims need to know of one option.

use serde::{Deserialize, Serialize};

/// The parameters of one option that a person would name when asked why it gives more.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Facts {
    /// Tag of the option.
    pub tag: String,
    /// Installed power, kW.
    pub kw: f64,
    /// Number of modules.
    pub modules: u32,
    /// Area of all modules, m2.
    pub m2: f64,
    /// Temperature coefficient of power, %/K.
    pub gamma_pct_per_k: f64,
    /// Efficiency at 200 W/m2 over that at STC.
    pub low_light_200: f64,
    /// Light-induced loss that is taken off, percent; 0 for a stabilised rating.
    pub light_induced_pct: f64,
    /// Ageing, percent a year.
    pub ageing_pct: f64,
    /// Angular loss coefficient; nothing when a table is used.
    pub a_r: Option<f64>,
    /// Rear over front efficiency; 0 for one-sided modules.
    pub bifaciality: f64,
    /// Number of strings; 0 for a lumped array.
    pub strings: u32,
    /// Inverters, for people: `1 x K33`.
    pub inverter: String,
    /// Planes, for people.
    pub planes: String,
    /// Energy-weighted cell temperature above 25 C, K.
    pub warmth_k: f64,
    /// Share of energy lost or won away from 1000 W/m2, percent of energy.
    pub low_light_pct: f64,
    /// Energy lost to light-induced loss is in the first year.
    pub first_year_kwh: f64,
    /// Energy over all years of operation, kWh.
    pub lifetime_kwh: f64,
}
