//! Question and answer of the string check.

use serde::{Deserialize, Serialize};

use super::THIN_PCT;
use crate::module::ModuleSheet;
use crate::plant::{CableSpec, InverterSheet, Layout, StringBasis, StringsSpec};
use crate::units::Note;

/// What is asked of the string check, for one option.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StringQuestion {
    /// The option's tag.
    pub tag: String,
    /// The module's sheet.
    pub module: ModuleSheet,
    /// The inverter's sheet.
    pub inverter: InverterSheet,
    /// Number of inverters.
    pub inverters: u32,
    /// Number of modules, when the option states it or slots decide it.
    pub modules: Option<u32>,
    /// Power to reach, kW.
    pub target_kw: Option<f64>,
    /// Modules of each string, when the option states them.
    pub strings: Vec<u32>,
    /// A converter at every module.
    pub module_converters: bool,
    /// Temperatures, limits, basis.
    pub spec: StringsSpec,
    /// Cables.
    pub cable: CableSpec,
    /// Lowest air temperature of the weather file, C, for want of a better one.
    pub weather_t_min_c: Option<f64>,
}

/// How a figure stands against its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Within the limit with 3 % or more in hand.
    Passed,
    /// Within the limit with less than 3 % in hand.
    Thin,
    /// Outside the limit.
    Broken,
    /// A figure is missing.
    NotChecked,
}

/// The answer for an option.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Every check passed.
    Allowed,
    /// Nothing is broken, but a margin is below 3 %.
    AllowedThin,
    /// Nothing is broken, but some limits are unknown.
    PartlyChecked,
    /// A limit is broken.
    NotAllowed,
}

/// One figure against one limit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CheckLine {
    /// A stable word for programs, such as `v-oc-inverter`.
    pub code: String,
    /// What is compared with what.
    pub what: String,
    /// The figure.
    pub value: Option<f64>,
    /// The limit.
    pub limit: Option<f64>,
    /// Unit of both.
    pub unit: String,
    /// Distance to the limit, positive inside, in the unit.
    pub margin: Option<f64>,
    /// Distance over the limit, percent.
    pub margin_pct: Option<f64>,
    /// How it stands.
    pub standing: Standing,
}

/// One way to the cold open-circuit voltage of a module.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ColdVoltage {
    /// `coefficient`, `table` or `curve`.
    pub way: String,
    /// V of one module; none when this way cannot be gone.
    pub v: Option<f64>,
    /// True for the way the check uses.
    pub chosen: bool,
    /// How it was found, or why not.
    pub how: String,
}

/// String fuses.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fuses {
    /// Most strings in parallel on one input.
    pub parallel: u32,
    /// Current the other strings can push back into one, A.
    pub reverse_a: f64,
    /// Whether string fuses are needed; none when the module's rating is unknown.
    pub needed: Option<bool>,
    /// Rated current: above the first, not above the second, A.
    pub rating_from_to_a: [f64; 2],
    /// Smallest standard rating in that range, A.
    pub rating_a: Option<f64>,
    /// Number of fuses.
    pub count: u32,
}

/// Cable that the strings need.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct CableBill {
    /// Single-core DC cable, m.
    pub dc_m: Option<f64>,
    /// Loss of the longest string's cable at standard test conditions, W.
    pub dc_loss_w: f64,
    /// The same in percent of that string's power.
    pub dc_loss_pct: f64,
    /// AC cable from inverters to meter, m of cable.
    pub ac_m: Option<f64>,
}

/// What the check found for an option.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StringCheck {
    /// The option's tag.
    pub tag: String,
    /// Factors and limits after which standard.
    pub basis: StringBasis,
    /// The answer.
    pub verdict: Verdict,
    /// Cold temperature, C.
    pub t_cold_c: Option<f64>,
    /// Hot cell temperature, C.
    pub t_hot_c: f64,
    /// Cold voltage of a module by every way.
    pub cold: Vec<ColdVoltage>,
    /// Cold open-circuit voltage of one module that the check uses, V.
    pub v_oc_cold: Option<f64>,
    /// Hot voltage at maximum power of one module, V.
    pub v_mp_hot: f64,
    /// Relative temperature coefficient of V_mp used, 1/K.
    pub v_mp_per_k: f64,
    /// How the coefficient was found.
    pub hot_how: String,
    /// Voltage drop in the string cable at rated current, V.
    pub drop_v: f64,
    /// Factor on I_sc.
    pub current_factor: f64,
    /// I_sc of one string times the factor, A.
    pub i_sc_max: f64,
    /// Current that the conductor is sized for, A.
    pub i_conductor: f64,
    /// The lowest known voltage limit, V.
    pub v_limit: Option<f64>,
    /// Fewest modules a string may hold; none when no window is known.
    pub n_min: Option<u32>,
    /// Most modules a string may hold; none when no limit or no cold temperature is known.
    pub n_max: Option<u32>,
    /// The longest string with 3 % in hand whose V_mp stays in the window.
    pub n_best: Option<u32>,
    /// Strings an input can take by current and terminals; none when no limit is known.
    pub strings_per_input: Option<u32>,
    /// Modules of the option.
    pub modules: Option<u32>,
    /// Installed power, kW.
    pub p_stc_kw: Option<f64>,
    /// Modules of each string, stated or chosen; empty when none could be chosen.
    pub strings: Vec<u32>,
    /// On which input.
    pub layout: Layout,
    /// Installed DC power over rated AC power.
    pub dc_ac_ratio: Option<f64>,
    /// String fuses.
    pub fuses: Option<Fuses>,
    /// Cable.
    pub cable: CableBill,
    /// Every figure against its limit.
    pub lines: Vec<CheckLine>,
    /// What the reader should know.
    pub notes: Vec<Note>,
}

impl StringCheck {
    /// Lines that refuse the option.
    pub fn broken(&self) -> impl Iterator<Item = &CheckLine> {
        self.lines.iter().filter(|l| l.standing == Standing::Broken)
    }

    /// Lines for which a figure is missing.
    pub fn not_checked(&self) -> impl Iterator<Item = &CheckLine> {
        self.lines.iter().filter(|l| l.standing == Standing::NotChecked)
    }
}

impl CheckLine {
    /// Figure, limit and margin in words: `995.7 V of 1000 V, 4.3 V (0.4 %) left`.
    pub fn words(&self) -> String {
        let digits = if self.unit == "A" {
            2
        } else if self.unit == "V" {
            1
        } else {
            0
        };
        let number = |x: f64| format!("{x:.digits$}");
        match (self.value, self.limit, self.margin) {
            (Some(value), Some(limit), Some(margin)) => {
                let pct = self.margin_pct.map(|p| format!(" ({:.1} %)", p.abs())).unwrap_or_default();
                let end = if margin < 0.0 { "outside" } else { "left" };
                let unit = &self.unit;
                format!(
                    "{} {unit} against {} {unit}, {} {unit}{pct} {end}",
                    number(value),
                    number(limit),
                    number(margin.abs())
                )
            }
            (Some(value), None, _) => format!("{} {}, limit unknown", number(value), self.unit),
            (None, Some(limit), _) => format!("limit {} {}, figure unknown", number(limit), self.unit),
            _ => "figure and limit unknown".to_string(),
        }
    }
}

/// A line for a figure that must not exceed its limit.
pub(super) fn at_most(code: &str, what: String, value: Option<f64>, limit: Option<f64>, unit: &str) -> CheckLine {
    compared(code, what, value, limit, unit, 1.0)
}

/// A line for a figure that must not fall below its limit.
pub(super) fn at_least(code: &str, what: String, value: Option<f64>, limit: Option<f64>, unit: &str) -> CheckLine {
    compared(code, what, value, limit, unit, -1.0)
}

pub(super) fn compared(
    code: &str,
    what: String,
    value: Option<f64>,
    limit: Option<f64>,
    unit: &str,
    sign: f64,
) -> CheckLine {
    let measured = unit == "V" || unit == "A";
    // A hair of rounding is no breach.
    let margin = value.zip(limit).map(|(v, l)| if (l - v).abs() <= 1e-9 * l.abs() { 0.0 } else { sign * (l - v) });
    let margin_pct = margin.zip(limit).filter(|(_, l)| measured && *l > 0.0).map(|(m, l)| 100.0 * m / l);
    let standing = match (margin, margin_pct) {
        (None, _) => Standing::NotChecked,
        (Some(m), _) if m < 0.0 => Standing::Broken,
        (_, Some(pct)) if pct < THIN_PCT => Standing::Thin,
        _ => Standing::Passed,
    };
    CheckLine { code: code.to_string(), what, value, limit, unit: unit.to_string(), margin, margin_pct, standing }
}
