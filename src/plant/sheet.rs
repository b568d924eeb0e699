//! `[inverter.X]`, `[cable]`, `[grid]` and `[strings]` as the user gives them.

use serde::{Deserialize, Serialize};

/// The data sheet of one inverter. Required: `p_ac_w` and `efficiency`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct InverterSheet {
    /// Maker and model for people.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// AC rating, W.
    pub p_ac_w: f64,
    /// Largest AC current per phase, A.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub i_ac_max: Option<f64>,
    /// 1 or 3.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub phases: Option<u32>,
    /// Highest DC voltage at any time, V.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub v_dc_max: Option<f64>,
    /// Voltage window of maximum power tracking, V.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub window_v: Option<[f64; 2]>,
    /// Start voltage, V.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub v_start: Option<f64>,
    /// Independent inputs, each with its own tracker.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inputs: Option<u32>,
    /// Strings that an input has terminals for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub strings_per_input: Option<u32>,
    /// Largest operating current of an input, A.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub i_input_max: Option<f64>,
    /// Largest short-circuit current of an input, A.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub i_sc_input_max: Option<f64>,
    /// `[percent of AC rating, efficiency in percent]`, ascending.
    pub efficiency: Vec<[f64; 2]>,
    /// DC voltage that `efficiency` was measured at, V; lets it join the curves of `efficiency_at_v`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub efficiency_v: Option<f64>,
    /// The same at further DC voltages, V.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub efficiency_at_v: Vec<EfficiencyAtVoltage>,
    /// Draw at night, W.
    #[serde(default)]
    pub night_w: f64,
    /// `[air temperature in C, largest AC power in W]`, ascending; held beyond the ends.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub derate: Vec<[f64; 2]>,
    /// The converter that stands at every module when an option asks for `module_converters`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub module_converter: Option<ConverterSpec>,
    /// Price, in the job's currency.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub price: Option<f64>,
    /// Data sheet, revision.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

/// A converter at one module: finds the module's own maximum power point and feeds a string of fixed voltage.
///
/// The maker's string rules replace those of plain strings: length by count and by power, not by module voltage.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct ConverterSpec {
    /// Maker and model for people.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Rated input power, W.
    pub p_in_max_w: f64,
    /// `[percent of rated input power, efficiency in percent]`, ascending; one point for one figure at every load.
    pub efficiency: Vec<[f64; 2]>,
    /// Highest voltage of the module, V.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub v_in_max: Option<f64>,
    /// Largest short-circuit current of the module, A.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub i_in_max: Option<f64>,
    /// Voltage that the inverter holds the string at, V; sets the current in the string cable.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub v_string: Option<f64>,
    /// Fewest modules of a string.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub string_min: Option<u32>,
    /// Most modules of a string.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub string_max: Option<u32>,
    /// Largest power of a string at standard test conditions, W.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub string_max_w: Option<f64>,
    /// Price each, in the job's currency.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub price: Option<f64>,
}

/// An efficiency curve at one DC voltage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct EfficiencyAtVoltage {
    /// DC voltage, V.
    pub v: f64,
    /// `[percent of AC rating, efficiency in percent]`, ascending.
    pub efficiency: Vec<[f64; 2]>,
}

/// `[cable]`: DC string cable and AC cable.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct CableSpec {
    /// Length from string to inverter, one way, m.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub one_way_m: Option<f64>,
    /// Conductor cross-section, mm2.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub area_mm2: Option<f64>,
    /// Instead of length and area: loss at rated current, percent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loss_at_stc_pct: Option<f64>,
    /// Which copper conductor sets the resistance; `resistivity` when left out.
    #[serde(default)]
    pub conductor: Conductor,
    /// Resistance of one DC conductor at 20 C from the cable's own sheet, ohm/km; rules over `conductor`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ohm_per_km: Option<f64>,
    /// Conductor temperature, C.
    #[serde(default = "default_cable_c")]
    pub t_c: f64,
    /// AC cable from inverter to meter, one way, m.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ac_one_way_m: Option<f64>,
    /// AC conductor cross-section, mm2.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ac_area_mm2: Option<f64>,
    /// Line-to-line (three phases) or line-to-neutral (one phase) voltage, V.
    #[serde(default = "default_ac_v")]
    pub ac_v: f64,
}

/// What the resistance of a copper conductor is taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Conductor {
    /// Resistivity times length over cross-section: the ideal of the nominal area.
    #[default]
    Resistivity,
    /// IEC 60228 classes 1 and 2 (solid, stranded), plain copper: the largest resistance the standard lets a cable have.
    Stranded,
    /// IEC 60228 class 5 (flexible), plain copper.
    Flexible,
    /// IEC 60228 class 5 (flexible), tinned copper, as most cables between modules are.
    FlexibleTinned,
}

fn default_cable_c() -> f64 {
    50.0
}

fn default_ac_v() -> f64 {
    400.0
}

impl Default for CableSpec {
    fn default() -> Self {
        CableSpec {
            one_way_m: None,
            area_mm2: None,
            loss_at_stc_pct: None,
            conductor: Conductor::default(),
            ohm_per_km: None,
            t_c: default_cable_c(),
            ac_one_way_m: None,
            ac_area_mm2: None,
            ac_v: default_ac_v(),
        }
    }
}

/// `[grid]`: what happens behind the inverter.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct GridSpec {
    /// Largest power that may be fed in, kW.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub export_limit_kw: Option<f64>,
    /// Hourly load on site, CSV path.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<String>,
    /// Transformer between inverter and meter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub transformer: Option<TransformerSpec>,
}

/// A transformer: loss = no-load + load loss x (S/S_r)^2, the first also at night.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct TransformerSpec {
    /// Rating, kVA.
    pub rating_kva: f64,
    /// No-load loss, W.
    pub no_load_w: f64,
    /// Load loss at the rating, W.
    pub load_w: f64,
}

/// Which standard's factors the string check uses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum StringBasis {
    /// IEC 62548.
    #[default]
    #[serde(rename = "IEC 62548")]
    Iec62548,
    /// NEC article 690.
    #[serde(rename = "NEC 690.7")]
    Nec6907,
}

/// Where an installation stands, in the words of NEC 690.7.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Installation {
    /// One- and two-family dwelling.
    Dwelling,
    /// On or in any other building.
    Building,
    /// Not on or in a building.
    Ground,
}

/// `[strings]`: temperatures and limits of the string check.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct StringsSpec {
    /// Factors and limits after which standard.
    #[serde(default)]
    pub basis: StringBasis,
    /// The extreme low that the code names, C; else from the weather file, with a loud note.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub t_cold_c: Option<f64>,
    /// Cell temperature for the shortest string, C; 70 when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub t_hot_c: Option<f64>,
    /// Voltage limit of the installation, V.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub v_limit: Option<f64>,
    /// Where the installation stands, for the voltage limit of NEC 690.7 when `v_limit` is left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub installation: Option<Installation>,
    /// Factor on the short-circuit current for bright hours (and, in IEC 62548-1, for light on the rear);
    /// 1.25 when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub current_factor: Option<f64>,
    /// Where the cold voltage comes from: `coefficient`, `table` or `curve`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cold_voltage: Option<String>,
}
