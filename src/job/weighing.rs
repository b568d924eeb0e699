//! `[uncertainty]`, `[money]` and `[claims]` of a job as serde sees them.

use serde::{Deserialize, Serialize};

/// `[uncertainty]`: how sure each input is. Every key may be left out; the defaults are listed with the result.
///
/// Figures are standard uncertainties (one standard deviation), in percent of the year's energy unless said otherwise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct UncertaintySpec {
    /// How much the light of one year differs from the long-term mean.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub year_to_year: Option<InputDoubtSpec>,
    /// Long-term mean of global horizontal irradiation.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub long_term: Option<InputDoubtSpec>,
    /// From horizontal light to the module plane.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plane_of_array: Option<InputDoubtSpec>,
    /// Cell temperature, K instead of percent; each option answers by its own temperature coefficient.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cell_temperature_k: Option<InputDoubtSpec>,
    /// Temperature coefficient of power, %/K.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_coefficient: Option<InputDoubtSpec>,
    /// Rated power of the modules delivered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rating: Option<InputDoubtSpec>,
    /// Output in weak light.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low_light: Option<InputDoubtSpec>,
    /// Reflection at the glass.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub incidence: Option<InputDoubtSpec>,
    /// First loss by light, percent of power.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub light_induced: Option<InputDoubtSpec>,
    /// Ageing, percent of power a year.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ageing: Option<InputDoubtSpec>,
    /// Dirt.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dirt: Option<InputDoubtSpec>,
    /// Snow.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub snow: Option<InputDoubtSpec>,
    /// Everything else: shade, wire, inverter, service.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub other: Option<InputDoubtSpec>,
    /// Years of the mean; the years of operation when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mean_years: Option<u32>,
    /// Random draws beside the formula; 10 000 when left out, 0 for none.
    #[serde(default = "default_draws")]
    pub draws: u32,
    /// Seed of the draws.
    #[serde(default = "default_seed")]
    pub seed: u64,
}

impl Default for UncertaintySpec {
    fn default() -> Self {
        UncertaintySpec {
            year_to_year: None,
            long_term: None,
            plane_of_array: None,
            cell_temperature_k: None,
            temperature_coefficient: None,
            rating: None,
            low_light: None,
            incidence: None,
            light_induced: None,
            ageing: None,
            dirt: None,
            snow: None,
            other: None,
            mean_years: None,
            draws: default_draws(),
            seed: default_seed(),
        }
    }
}

fn default_draws() -> u32 {
    10_000
}

fn default_seed() -> u64 {
    1
}

/// One input of `[uncertainty]`; what is left out keeps its default.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct InputDoubtSpec {
    /// Standard uncertainty.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u: Option<f64>,
    /// 1 when all options share the error, 0 when each has its own, or between.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub correlation: Option<f64>,
    /// On whose word.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

/// `[money]`: prices in one currency, whatever it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct MoneySpec {
    /// Label of the currency, as it shall be printed.
    #[serde(default = "default_currency")]
    pub currency: String,
    /// Discount rate, percent a year.
    #[serde(default = "default_discount")]
    pub discount_pct: f64,
    /// Value of a kWh, for all energy or, with a load, for what is fed in.
    pub tariff_per_kwh: f64,
    /// Value of a kWh that is used on site.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub own_use_per_kwh: Option<f64>,
    /// Growth of the value of a kWh, percent a year.
    #[serde(default)]
    pub tariff_growth_pct: f64,
    /// Cost per W of module power, besides the modules.
    #[serde(default)]
    pub per_w: f64,
    /// Cost per module, besides the module: clamps, handling.
    #[serde(default)]
    pub per_module: f64,
    /// Cost per m2 of module area: racking, land.
    #[serde(default)]
    pub per_m2: f64,
    /// Cost per string: connectors, fuses.
    #[serde(default)]
    pub per_string: f64,
    /// Cost per metre of single DC conductor; a string needs twice the one-way length.
    #[serde(default)]
    pub per_cable_m: f64,
    /// Fixed cost of the plant.
    #[serde(default)]
    pub fixed: f64,
    /// Operation and maintenance, per kW of module power and year.
    #[serde(default)]
    pub om_per_kw_year: f64,
    /// Operation and maintenance, percent of the first cost a year.
    #[serde(default)]
    pub om_pct: f64,
    /// Growth of operation and maintenance, percent a year.
    #[serde(default)]
    pub om_growth_pct: f64,
    /// Set when the operation price already pays for lost service, so that outage is not counted twice.
    #[serde(default)]
    pub om_covers_outage: bool,
    /// Set when the operation price already pays for cleaning, so that its cost is not counted twice.
    #[serde(default, skip_serializing_if = "is_false")]
    pub om_covers_cleaning: bool,
    /// Year at whose end the inverters are replaced.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inverter_year: Option<u32>,
    /// Price of one replacement inverter; today's price when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inverter_replacement: Option<f64>,
    /// Yearly load on site, kWh, spread by `load_shape`, when `grid.load` names no hourly file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load_kwh: Option<f64>,
    /// Share of a working day's load in each hour, 24 values of any common scale; even when left out.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub load_shape: Vec<f64>,
    /// The same for Saturday and Sunday, on the same scale.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub load_shape_weekend: Vec<f64>,
}

fn is_false(x: &bool) -> bool {
    !*x
}

fn default_currency() -> String {
    "EUR".to_string()
}

fn default_discount() -> f64 {
    4.0
}

/// `[claims]`: the sales sentences, each under its kind.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct ClaimsSpec {
    /// Tag of the option that is praised; the second option when left out. The first is what it is compared with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub option: Option<String>,
    /// Higher efficiency.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub efficiency: Option<String>,
    /// What the efficiency claim is about: `m2` of module, `kw` or `roof`; `kw` when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub efficiency_per: Option<String>,
    /// Many thin wires.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub many_wires: Option<String>,
    /// Milder heat loss.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature: Option<String>,
    /// Strong in weak light.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weak_light: Option<String>,
    /// Little loss in the first days of light.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub early_loss: Option<String>,
    /// Slow ageing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ageing: Option<String>,
    /// A stronger frame.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub frame: Option<String>,
    /// Tolerates cracks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crack_tolerance: Option<String>,
    /// A longer product warranty.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub product_warranty: Option<String>,
    /// Lower voltage, longer strings.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low_voltage: Option<String>,
    /// Fewer modules, which miss the shade.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fewer_modules: Option<String>,
    /// Less racking.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub racking: Option<String>,
    /// Less land.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub land: Option<String>,
    /// Site load from above (snow, wind pressure) that the structural engineer supplied, Pa.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub site_load_front_pa: Option<f64>,
    /// Site load from below (wind suction) that the structural engineer supplied, Pa.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub site_load_rear_pa: Option<f64>,
    /// Clamp zone used; each module's first when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clamp_zone: Option<String>,
}

/// `[search]`: what `weigh --search` may vary, and between which limits. What is left out stays as the job has it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct SearchSpec {
    /// Tag of the option to be searched; the first when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub option: Option<String>,
    /// `cost` for the lowest cost per kWh, `value` for the highest net present value, `energy` for the most kWh; cost
    /// when prices are given, else energy.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub goal: Option<String>,
    /// Tilt of the option's planes, from and to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tilt_deg: Option<[f64; 2]>,
    /// Azimuth of the option's planes, from and to, clockwise from north.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub azimuth_deg: Option<[f64; 2]>,
    /// Row pitch of the option's planes, from and to; the planes need rows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pitch_m: Option<[f64; 2]>,
    /// Installed DC power over rated AC power, from and to; the number of modules follows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dc_ac: Option<[f64; 2]>,
    /// Modules in a string, from and to; whole strings are kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub string_length: Option<[f64; 2]>,
}
