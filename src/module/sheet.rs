//! `[module.X]` of a parts file: the data sheet as the user gives it.

use serde::{Deserialize, Serialize};

/// The data sheet of one module. Only the fields without `Option` or default are required.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct ModuleSheet {
    /// Maker and model for people; the tag is used when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Power at standard test conditions, W.
    pub p_stc_w: f64,
    /// Voltage at maximum power, V.
    pub v_mp: f64,
    /// Current at maximum power, A.
    pub i_mp: f64,
    /// Open-circuit voltage, V.
    pub v_oc: f64,
    /// Short-circuit current, A.
    pub i_sc: f64,
    /// Temperature coefficient of power, %/K, negative for silicon.
    pub gamma_pct_per_k: f64,
    /// Temperature coefficient of open-circuit voltage, %/K.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub beta_pct_per_k: Option<f64>,
    /// Temperature coefficient of short-circuit current, %/K.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub alpha_pct_per_k: Option<f64>,
    /// Cells in series (of one parallel branch).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub series_cells: Option<u32>,
    /// Cell technology; decides typical values for what the sheet leaves out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technology: Option<Technology>,
    /// `[irradiance in W/m2, efficiency over that at STC]` at 25 C.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub low_light: Vec<[f64; 2]>,
    /// Path of a measured G,T,P table (CSV), relative to the parts file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub matrix: Option<String>,
    /// Electrical model by name; chosen by what is known when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub electrical: Option<String>,
    /// One-diode parameters from a report, used with `electrical = "one-diode-given"`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub one_diode: Option<GivenDiode>,
    /// Nominal module operating temperature, C (800 W/m2, 20 C, 1 m/s, at maximum power).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nmot_c: Option<f64>,
    /// Nominal operating cell temperature, C (the older figure, at open circuit).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub noct_c: Option<f64>,
    /// Angular loss coefficient of Martin and Ruiz; 0.16 when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub a_r: Option<f64>,
    /// Front glass: `martin-ruiz` (default), `fresnel` or `fresnel-coated`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub glass: Option<String>,
    /// `[angle in deg, transmission over that at normal incidence]` from a test report; used instead of `a_r`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub incidence_table: Vec<[f64; 2]>,
    /// Temperature model: `faiman` (default) or the mounting of King et al. (2004): `king-glass-glass-open`,
    /// `king-glass-glass-roof`, `king-glass-polymer-open`, `king-glass-polymer-insulated`, `king-film-steel-open`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature: Option<String>,
    /// Cell above module temperature at 1000 W/m2, K; 0 when left out (the model of King et al. has its own).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cell_above_back_k: Option<f64>,
    /// Heat capacity per area, J/(m2 K), for steps below one hour; about 11000 for glass and polymer. None: no inertia.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub heat_capacity_j_m2_k: Option<f64>,
    /// Length, mm.
    pub length_mm: f64,
    /// Width, mm.
    pub width_mm: f64,
    /// Mass, kg.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mass_kg: Option<f64>,
    /// Bypass groups; 3 when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bypass_groups: Option<u32>,
    /// Cells cut in half and wired as two halves in parallel: shade on one end of the module then leaves half of its
    /// current. Taken as whole cells, the harsher case, when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub half_cells: Option<bool>,
    /// Rear over front efficiency, 0..1; one-sided when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bifaciality: Option<f64>,
    /// First loss by light, percent of power.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub light_induced_pct: Option<f64>,
    /// Whether the rating was taken before or after stabilisation.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rating_basis: Option<RatingBasis>,
    /// Ageing, percent of power a year.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ageing_pct_per_year: Option<f64>,
    /// Tolerance of the rated power, percent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub p_tolerance_pct: Option<f64>,
    /// Tolerance of the open-circuit voltage, percent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub v_oc_tolerance_pct: Option<f64>,
    /// `[year, percent of rated power]` that the maker guarantees.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub guarantee: Vec<[f64; 2]>,
    /// Product warranty, years.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub product_warranty_years: Option<f64>,
    /// Design loads by clamp zone.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub clamp_zones: Vec<ClampZone>,
    /// Highest system voltage, V.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub v_system_max: Option<f64>,
    /// Largest series fuse (reverse current rating), A.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fuse_max_a: Option<f64>,
    /// Price per W, in the job's currency.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub price_per_w: Option<f64>,
    /// Data sheet, revision, test report.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

impl ModuleSheet {
    /// Area, m2.
    pub fn area_m2(&self) -> f64 {
        self.length_mm * self.width_mm * 1e-6
    }

    /// Efficiency at standard test conditions over the whole area, 0..1.
    pub fn efficiency(&self) -> f64 {
        self.p_stc_w / (self.area_m2() * crate::units::G_STC)
    }
}

/// Cell technology.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Technology {
    /// Multi-crystalline p-type with a full rear contact.
    MultiSi,
    /// Mono-crystalline p-type with a full rear contact.
    MonoSi,
    /// p-type with a passivated rear.
    PPassivated,
    /// n-type with passivated contacts.
    NContact,
    /// Silicon heterojunction.
    Heterojunction,
    /// Back contact.
    BackContact,
    /// Cadmium telluride.
    CdTe,
    /// Copper indium gallium selenide.
    Cigs,
    /// Amorphous silicon and its stacks.
    AmorphousSi,
}

/// The five parameters of the one-diode equation at standard test conditions.
///
/// Moved to other light and heat by the laws of De Soto, Klein, Beckman, Solar Energy 80 (2006) 78-88.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct GivenDiode {
    /// Light current, A.
    pub light_current_a: f64,
    /// Saturation current, A.
    pub saturation_current_a: f64,
    /// Series resistance, ohm.
    pub series_ohm: f64,
    /// Shunt resistance, ohm.
    pub shunt_ohm: f64,
    /// Modified ideality: ideality x cells in series x k T / q, V.
    pub modified_ideality_v: f64,
}

/// What the rated power was measured on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum RatingBasis {
    /// After stabilisation (IEC 61215-2 MQT 19): the first loss is already in the figure.
    Stabilised,
    /// Flash of a new module: the first loss is still to come.
    Initial,
}

/// Design loads of one way of clamping.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct ClampZone {
    /// Which zone, in the maker's words.
    pub name: String,
    /// Design load on the front (snow, wind pressure), Pa.
    pub front_pa: f64,
    /// Design load on the rear (wind suction), Pa.
    pub rear_pa: f64,
}
