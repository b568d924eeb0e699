//! The string check: which lengths are allowed, how many strings, what margins are left.

use serde::{Deserialize, Serialize};

use crate::module::{ModuleSheet, Technology};
use crate::plant::converter::ModuleConverter;
use crate::plant::error::{maybe_positive, positive};
use crate::plant::layout::{Layout, assign, modules_for, string_lengths};
use crate::plant::operate::IvCurve;
use crate::plant::{
    CableSpec, Installation, Inverter, InverterSheet, PlantError, StringBasis, StringCable, StringsSpec,
};
use crate::units::{G_STC, Note, T_STC};

/// A margin below this share of the limit is allowed but loud, percent. Ours: data sheets commonly state V_oc to 3 %.
pub const THIN_PCT: f64 = 3.0;
/// Cell temperature for the shortest string when none is given, C.
pub const DEFAULT_T_HOT_C: f64 = 70.0;
/// Factor on I_sc when none is given. Source: IEC 62548 and IEC 60364-7-712 (from memory); NEC 690.8(A)(1).
pub const DEFAULT_CURRENT_FACTOR: f64 = 1.25;
/// Stand-in for the temperature coefficient of I_mp when the sheet gives none for I_sc, 1/K (crystalline silicon, from
/// memory). A positive value makes the hot voltage lower, on the safe side.
pub const DEFAULT_I_MP_PER_K: f64 = 0.0005;

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

/// Cold-day factor on V_oc for crystalline silicon by the lowest expected air temperature, C; `None` below -40 C.
///
/// 1.02 at 20..24 C and 0.02 more for every 5 K down to 1.20 at -21..-25 C, then 1.21, 1.23, 1.25 to -40 C; between
/// the table's whole degrees the colder row. Source: NFPA 70, table 690.7(A): two rows read in public documents, the
/// rest from memory; IEC 62548 has the same table (from memory).
/// ```
/// assert_eq!(yearlight::plant::cold_factor(-9.0), Some(1.14));
/// ```
pub fn cold_factor(t_c: f64) -> Option<f64> {
    let rows = ((T_STC - t_c) / 5.0).ceil();
    match rows as i64 {
        _ if !t_c.is_finite() => None,
        ..=0 => Some(1.0),
        n @ 1..=10 => Some((100 + 2 * n) as f64 / 100.0),
        11 => Some(1.21),
        12 => Some(1.23),
        13 => Some(1.25),
        _ => None,
    }
}

/// `V_oc (1 + beta (T - 25))`, V. Source: IEC 60891, linear coefficient (from memory).
/// ```
/// assert!((yearlight::plant::v_at(41.5, -0.0026, -18.0) - 46.1397).abs() < 1e-9);
/// ```
pub fn v_at(v_stc: f64, per_k: f64, t_c: f64) -> f64 {
    v_stc * (1.0 + per_k * (t_c - T_STC))
}

/// Checks the strings of one option, choosing lengths when none are stated.
///
/// `curve` is the module's fitted curve, if there is one: it gives the cold voltage by its third way and the hot
/// voltage. Missing limits leave their checks undone and say so; they never count as passed. An error means that a
/// figure makes no sense; a design that is not allowed is an answer, not an error.
pub fn check(question: &StringQuestion, curve: Option<&dyn IvCurve>) -> Result<StringCheck, PlantError> {
    let q = question;
    guard(q)?;
    let mut notes = Vec::new();
    let t_cold_c = cold_temperature(q, &mut notes)?;
    let t_hot_c = q.spec.t_hot_c.unwrap_or(DEFAULT_T_HOT_C);
    if !(30.0..=120.0).contains(&t_hot_c) {
        return Err(PlantError::value(
            "strings.t_hot_c",
            t_hot_c,
            "a cell temperature from 30 to 120 C",
            "70 is the default.",
        ));
    }
    let cold = cold_voltages(q, t_cold_c, curve, &mut notes)?;
    let v_oc_cold = cold.iter().find(|c| c.chosen).and_then(|c| c.v);
    let (v_mp_per_k, hot_how) = v_mp_coefficient(q, curve, t_hot_c);
    let v_mp_hot = v_at(q.module.v_mp, v_mp_per_k, t_hot_c).max(0.0);
    let current_factor = current_factor(q, &mut notes)?;
    let i_sc_max = current_factor * q.module.i_sc;

    let limits = voltage_limits(q, &mut notes)?;
    let v_limit = limits.iter().filter_map(|l| l.2).reduce(f64::min);
    let rules = if q.module_converters { converter_rules(q) } else { plain_rules(q, v_limit, v_oc_cold, v_mp_hot)? };

    let modules = match (q.strings.is_empty(), q.modules, q.target_kw) {
        (false, _, _) => Some(q.strings.iter().sum()),
        (true, Some(n), _) => Some(n),
        (true, None, Some(kw)) => Some(modules_for(positive("target_kw", kw, "kW")?, q.module.p_stc_w)),
        (true, None, None) => None,
    };
    let mut lines = Vec::new();
    let strings = strings_of(q, modules, &rules, &mut lines, &mut notes);
    let layout = if strings.is_empty() {
        Layout::default()
    } else {
        assign(&strings, q.inverters, q.inverter.inputs, q.inverter.strings_per_input)
    };
    let p_stc_kw = modules.map(|n| f64::from(n) * q.module.p_stc_w / 1000.0);
    let dc_ac_ratio = p_stc_kw.map(|kw| kw * 1000.0 / (q.inverter.p_ac_w * f64::from(q.inverters.max(1))));
    size_notes(q, p_stc_kw, dc_ac_ratio, &layout, &mut notes);

    let (n_short, n_long) = match (strings.iter().min(), strings.iter().max()) {
        (Some(&short), Some(&long)) => (short, long),
        _ => (rules.n_min.unwrap_or(1), rules.n_max.or(rules.n_best).unwrap_or(1)),
    };
    let cable = cable_bill(q, n_long, strings.len())?;
    let drop_v = StringCable::of(&q.cable, n_short, q.module.v_mp, q.module.i_mp)?.loop_ohm * q.module.i_mp;
    if q.module_converters {
        converter_lines(q, v_oc_cold, i_sc_max, n_short, n_long, &mut lines, &mut notes);
    } else if !strings.is_empty() || rules.n_max.is_some() {
        voltage_lines(q, &limits, v_oc_cold, n_long, &mut lines, &mut notes);
        hot_lines(q, v_mp_hot, v_mp_per_k, drop_v, t_hot_c, t_cold_c, n_short, n_long, &mut lines, &mut notes);
    } else {
        voltage_lines(q, &limits, None, 0, &mut lines, &mut notes);
    }
    input_lines(q, &layout, current_factor, &mut lines);
    let fuses =
        (!strings.is_empty() && !q.module_converters).then(|| fuses(q, &layout, i_sc_max, current_factor, &mut lines));

    let has = |standing| lines.iter().any(|l: &CheckLine| l.standing == standing);
    let verdict = if has(Standing::Broken) {
        Verdict::NotAllowed
    } else if has(Standing::Thin) {
        Verdict::AllowedThin
    } else if has(Standing::NotChecked) {
        Verdict::PartlyChecked
    } else {
        Verdict::Allowed
    };
    let mut told: Vec<(Option<f64>, Option<f64>)> = Vec::new();
    for thin in lines.iter().filter(|l| l.standing == Standing::Thin) {
        if told.contains(&(thin.value, thin.limit)) {
            continue;
        }
        told.push((thin.value, thin.limit));
        let text = format!(
            "{}: {}. Less than {THIN_PCT} % in hand, while sheets leave V_oc and currents a tolerance of that size.",
            thin.what,
            thin.words()
        );
        notes.push(Note::loud("strings.thin-margin", text));
    }
    Ok(StringCheck {
        tag: q.tag.clone(),
        basis: q.spec.basis,
        verdict,
        t_cold_c,
        t_hot_c,
        cold,
        v_oc_cold,
        v_mp_hot,
        v_mp_per_k,
        hot_how,
        drop_v,
        current_factor,
        i_sc_max,
        i_conductor: if q.spec.basis == StringBasis::Nec6907 { 1.25 * i_sc_max } else { i_sc_max },
        v_limit,
        n_min: rules.n_min,
        n_max: rules.n_max,
        n_best: rules.n_best,
        strings_per_input: per_input(q, i_sc_max),
        modules,
        p_stc_kw,
        strings,
        layout,
        dc_ac_ratio,
        fuses,
        cable,
        lines,
        notes,
    })
}

/// Lengths a string may have.
struct Rules {
    n_min: Option<u32>,
    n_max: Option<u32>,
    n_best: Option<u32>,
}

fn guard(q: &StringQuestion) -> Result<(), PlantError> {
    let m = &q.module;
    for (key, x, unit) in [
        ("p_stc_w", m.p_stc_w, "W"),
        ("v_mp", m.v_mp, "V"),
        ("i_mp", m.i_mp, "A"),
        ("v_oc", m.v_oc, "V"),
        ("i_sc", m.i_sc, "A"),
    ] {
        positive(key, x, unit)?;
    }
    let coefficients = [("gamma_pct_per_k", Some(m.gamma_pct_per_k)), ("beta_pct_per_k", m.beta_pct_per_k)];
    for (key, x) in coefficients {
        if let Some(x) = x
            && !(-1.0..=0.0).contains(&x)
        {
            return Err(PlantError::value(
                key,
                x,
                "a coefficient from -1 to 0 %/K",
                "Check sign and unit (percent per kelvin).",
            ));
        }
    }
    if let Some(x) = m.alpha_pct_per_k
        && !(-0.5..=0.5).contains(&x)
    {
        return Err(PlantError::value(
            "alpha_pct_per_k",
            x,
            "a coefficient from -0.5 to 0.5 %/K",
            "Check the unit (percent per kelvin).",
        ));
    }
    maybe_positive("v_system_max", m.v_system_max, "V")?;
    maybe_positive("fuse_max_a", m.fuse_max_a, "A")?;
    if q.inverters == 0 {
        return Err(PlantError::value("inverters", 0, "1 or more", "Leave it out for 1."));
    }
    if let Some(i) = q.strings.iter().position(|&n| n == 0 || n > 1000) {
        return Err(PlantError::value(
            format!("strings[{i}]"),
            q.strings[i],
            "1 to 1000 modules",
            "Take empty strings out of the list.",
        ));
    }
    if let (false, Some(n)) = (q.strings.is_empty(), q.modules)
        && q.strings.iter().sum::<u32>() != n
    {
        return Err(PlantError::value(
            "strings",
            format!("{} modules in all", q.strings.iter().sum::<u32>()),
            format!("{n}, as in `modules`"),
            "Correct one of the two, or leave `modules` out.",
        ));
    }
    if q.modules == Some(0) {
        return Err(PlantError::value("modules", 0, "1 or more", "State a number of modules, target_kw or fill."));
    }
    // Everything else an inverter's sheet can have wrong.
    Inverter::new(&q.inverter)?;
    if q.module_converters {
        ModuleConverter::of(&q.inverter)?;
    }
    Ok(())
}

fn cold_temperature(q: &StringQuestion, notes: &mut Vec<Note>) -> Result<Option<f64>, PlantError> {
    let t = match (q.spec.t_cold_c, q.weather_t_min_c) {
        (Some(t), _) => t,
        (None, Some(t)) => {
            notes.push(Note::loud(
                "strings.cold-from-weather",
                format!(
                    "The cold temperature of {t:.1} C is the lowest of the weather file. A typical year is not an \
                     extreme: state strings.t_cold_c, the extreme low that your code names for the place."
                ),
            ));
            t
        }
        (None, None) => {
            notes.push(Note::loud(
                "strings.no-cold",
                "No cold temperature is known, so the highest voltage is not checked; state strings.t_cold_c.",
            ));
            return Ok(None);
        }
    };
    if (-70.0..=40.0).contains(&t) {
        Ok(Some(t))
    } else {
        Err(PlantError::value(
            "strings.t_cold_c",
            t,
            "an air temperature from -70 to 40 C",
            "It is the extreme low of the place.",
        ))
    }
}

fn is_crystalline(technology: Option<Technology>) -> bool {
    !matches!(technology, Some(Technology::CdTe | Technology::Cigs | Technology::AmorphousSi))
}

fn cold_voltages(
    q: &StringQuestion,
    t_cold_c: Option<f64>,
    curve: Option<&dyn IvCurve>,
    notes: &mut Vec<Note>,
) -> Result<Vec<ColdVoltage>, PlantError> {
    let v_oc = q.module.v_oc;
    let coefficient = match (q.module.beta_pct_per_k, t_cold_c) {
        (Some(beta), Some(t)) => (Some(v_at(v_oc, beta / 100.0, t)), format!("{v_oc} V and {beta} %/K of the sheet")),
        (None, _) => (None, "the sheet gives no beta_pct_per_k".to_string()),
        (_, None) => (None, "no cold temperature".to_string()),
    };
    let table = match t_cold_c {
        None => (None, "no cold temperature".to_string()),
        Some(_) if !is_crystalline(q.module.technology) => {
            (None, "the table holds for crystalline silicon only".to_string())
        }
        Some(t) => match cold_factor(t) {
            Some(factor) => (Some(v_oc * factor), format!("factor {factor:.2} of table 690.7(A)")),
            None => (None, "the table ends at -40 C".to_string()),
        },
    };
    let fitted = match (curve, t_cold_c) {
        (None, _) => (None, "no curve was fitted".to_string()),
        (_, None) => (None, "no cold temperature".to_string()),
        (Some(curve), Some(t)) => {
            let ratio = curve.v_oc(G_STC, t) / curve.v_oc(G_STC, T_STC);
            if ratio.is_finite() && ratio > 0.0 {
                (Some(v_oc * ratio), "fitted curve at 1000 W/m2".to_string())
            } else {
                (None, "the curve gives no voltage".to_string())
            }
        }
    };
    let mut ways: Vec<ColdVoltage> = [("coefficient", coefficient), ("table", table), ("curve", fitted)]
        .into_iter()
        .map(|(way, (v, how))| ColdVoltage { way: way.to_string(), v, chosen: false, how })
        .collect();
    let asked = q.spec.cold_voltage.as_deref();
    let pick = match asked {
        None => ways.iter().position(|w| w.v.is_some()),
        Some(word) => match ways.iter().position(|w| w.way == word) {
            Some(i) if ways[i].v.is_none() && t_cold_c.is_some() => {
                return Err(PlantError::value(
                    "strings.cold_voltage",
                    format!("\"{word}\", but {}", ways[i].how),
                    "a way for which the figures are there",
                    "Supply the figure or choose another of coefficient, table, curve.",
                ));
            }
            Some(i) => Some(i),
            None => {
                return Err(PlantError::value(
                    "strings.cold_voltage",
                    format!("\"{word}\""),
                    "coefficient, table or curve",
                    "Leave it out for the maker's coefficient.",
                ));
            }
        },
    };
    if let Some(i) = pick {
        ways[i].chosen = true;
        if asked.is_none() && i > 0 && ways[i].v.is_some() {
            notes.push(Note::loud(
                "strings.no-beta",
                format!(
                    "The sheet gives no beta_pct_per_k; the cold voltage is taken by {}: {}.",
                    ways[i].way, ways[i].how
                ),
            ));
        }
    }
    Ok(ways)
}

fn v_mp_coefficient(q: &StringQuestion, curve: Option<&dyn IvCurve>, t_hot_c: f64) -> (f64, String) {
    if let Some(curve) = curve {
        let ratio = curve.v_mp(G_STC, t_hot_c) / curve.v_mp(G_STC, T_STC);
        if ratio.is_finite() && ratio > 0.0 && ratio < 2.0 {
            return ((ratio - 1.0) / (t_hot_c - T_STC), "from the fitted curve".to_string());
        }
    }
    let gamma = q.module.gamma_pct_per_k / 100.0;
    match q.module.alpha_pct_per_k {
        Some(alpha) => {
            (gamma - alpha / 100.0, "gamma less alpha, which stands in for the coefficient of I_mp".to_string())
        }
        None => (
            gamma - DEFAULT_I_MP_PER_K,
            format!("gamma less {} %/K, a usual coefficient of I_mp", DEFAULT_I_MP_PER_K * 100.0),
        ),
    }
}

fn current_factor(q: &StringQuestion, notes: &mut Vec<Note>) -> Result<f64, PlantError> {
    if let Some(factor) = q.spec.current_factor {
        if !(1.0..=2.0).contains(&factor) {
            return Err(PlantError::value(
                "strings.current_factor",
                factor,
                "a factor from 1 to 2",
                "1.25 is the default.",
            ));
        }
        return Ok(factor);
    }
    if q.spec.basis == StringBasis::Iec62548 && q.module.bifaciality.is_some_and(|b| b > 0.0) {
        notes.push(Note::loud(
            "strings.rear-current",
            format!(
                "The module is two-sided: light on the rear raises its current. IEC 62548-1:2023 has a factor K_I for \
                 that, which is not computed here; {DEFAULT_CURRENT_FACTOR} is used. State strings.current_factor."
            ),
        ));
    }
    Ok(DEFAULT_CURRENT_FACTOR)
}

/// Code, words and value of each limit on the cold voltage.
type VoltageLimit = (&'static str, &'static str, Option<f64>);

fn voltage_limits(q: &StringQuestion, notes: &mut Vec<Note>) -> Result<[VoltageLimit; 3], PlantError> {
    let mut code_limit = maybe_positive("strings.v_limit", q.spec.v_limit, "V")?;
    if code_limit.is_none() && q.spec.basis == StringBasis::Nec6907 {
        // NEC 690.7: 600 V on dwellings, 1000 V on other buildings, 1500 V elsewhere (from public pages).
        code_limit = q.spec.installation.map(|place| match place {
            Installation::Dwelling => 600.0,
            Installation::Building => 1000.0,
            Installation::Ground => 1500.0,
        });
        if code_limit.is_none() {
            notes.push(Note::loud(
                "strings.no-code-limit",
                "NEC 690.7 limits the voltage to 600 V on dwellings, 1000 V on other buildings and 1500 V elsewhere; \
                 state strings.installation or strings.v_limit to have it checked.",
            ));
        }
    }
    if q.spec.basis == StringBasis::Nec6907 && q.target_kw.is_some_and(|kw| kw >= 100.0) {
        notes.push(Note::quiet(
            "strings.engineered-voltage",
            "NEC 690.7 lets a licensed engineer document another voltage for systems of 100 kW and more; not done here.",
        ));
    }
    Ok([
        ("v-oc-inverter", "inverter", q.inverter.v_dc_max),
        ("v-oc-module", "module", q.module.v_system_max),
        ("v-oc-code", "code", code_limit),
    ])
}

fn plain_rules(
    q: &StringQuestion,
    v_limit: Option<f64>,
    v_oc_cold: Option<f64>,
    v_mp_hot: f64,
) -> Result<Rules, PlantError> {
    let n_max = v_limit.zip(v_oc_cold).map(|(limit, v)| (limit / v + 1e-9).floor().min(1000.0) as u32);
    let mut n_min = None;
    if let Some([low, _]) = q.inverter.window_v
        && v_mp_hot > 0.0
    {
        // The drop is I R of the string's own cable, or a share of the string when stated as a percentage.
        let share = q.cable.loss_at_stc_pct.map_or(0.0, |pct| pct / 100.0);
        let ohm = if share > 0.0 { 0.0 } else { StringCable::of(&q.cable, 1, q.module.v_mp, q.module.i_mp)?.loop_ohm };
        let need = (low + ohm * q.module.i_mp) / (v_mp_hot - share * q.module.v_mp).max(1e-9);
        n_min = Some(((need - 1e-9).ceil().clamp(1.0, 1e6)) as u32);
    }
    let n_best = v_limit.zip(v_oc_cold).map(|(limit, v)| {
        let by_margin = ((1.0 - THIN_PCT / 100.0) * limit / v + 1e-9).floor() as u32;
        let by_window = q.inverter.window_v.map_or(u32::MAX, |[_, high]| (high / q.module.v_mp).floor() as u32);
        by_margin.min(by_window)
    });
    let n_best = n_best.filter(|&n| n >= n_min.unwrap_or(1)).or(n_max.filter(|&n| n >= n_min.unwrap_or(1)));
    Ok(Rules { n_min, n_max, n_best })
}

fn converter_rules(q: &StringQuestion) -> Rules {
    let Some(c) = &q.inverter.module_converter else {
        return Rules { n_min: None, n_max: None, n_best: None };
    };
    let by_power = c.string_max_w.map(|w| (w / q.module.p_stc_w + 1e-9).floor() as u32);
    let n_max = match (c.string_max, by_power) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    };
    Rules { n_min: c.string_min, n_max, n_best: n_max }
}

fn strings_of(
    q: &StringQuestion,
    modules: Option<u32>,
    rules: &Rules,
    lines: &mut Vec<CheckLine>,
    notes: &mut Vec<Note>,
) -> Vec<u32> {
    if !q.strings.is_empty() {
        return q.strings.clone();
    }
    let (Some(modules), Some(n_max)) = (modules, rules.n_max) else {
        if modules.is_some() {
            notes.push(Note::loud(
                "strings.not-chosen",
                "No string lengths could be chosen, since no voltage limit or cold temperature is known.",
            ));
        }
        return Vec::new();
    };
    let n_min = rules.n_min.unwrap_or(1);
    match string_lengths(modules, n_min, n_max) {
        Some(strings) => strings,
        None => {
            lines.push(CheckLine {
                code: "length".to_string(),
                what: format!("{modules} modules in strings of {n_min} to {n_max}: no number of strings makes it"),
                value: Some(f64::from(n_min)),
                limit: Some(f64::from(n_max)),
                unit: "modules".to_string(),
                margin: Some(f64::from(n_max) - f64::from(n_min)).filter(|m| *m < 0.0),
                margin_pct: None,
                standing: Standing::Broken,
            });
            Vec::new()
        }
    }
}

fn size_notes(
    q: &StringQuestion,
    p_stc_kw: Option<f64>,
    dc_ac_ratio: Option<f64>,
    layout: &Layout,
    notes: &mut Vec<Note>,
) {
    if let (Some(kw), Some(target)) = (p_stc_kw, q.target_kw)
        && kw < target - 1e-9
    {
        notes.push(Note::loud("strings.below-target", format!("{kw:.2} kW are below the target of {target} kW.")));
    }
    if let Some(ratio) = dc_ac_ratio.filter(|r| *r > 1.2) {
        notes.push(Note::loud(
            "plant.hourly-clipping",
            format!(
                "DC power is {ratio:.2} times the AC rating; means over an hour hide short peaks, so clipping is \
                 understated above about 1.2."
            ),
        ));
    }
    let unequal = layout.unequal_inputs();
    if unequal > 0 && !q.module_converters {
        notes.push(Note::loud(
            "strings.unequal",
            format!("{unequal} input(s) hold strings of different length; they share one voltage, and the loss is part of mismatch."),
        ));
    }
}

fn cable_bill(q: &StringQuestion, n_long: u32, strings: usize) -> Result<CableBill, PlantError> {
    let (v_mp, i_mp) = (q.module.v_mp, q.module.i_mp);
    let cable = StringCable::of(&q.cable, n_long, v_mp, i_mp)?;
    let v_string = q.inverter.module_converter.as_ref().filter(|_| q.module_converters).and_then(|c| c.v_string);
    let i = v_string.map_or(i_mp, |v| f64::from(n_long) * v_mp * i_mp / v);
    let dc_loss_w = cable.loss_w(i);
    Ok(CableBill {
        dc_m: q.cable.one_way_m.map(|m| 2.0 * m * strings as f64),
        dc_loss_w,
        dc_loss_pct: 100.0 * dc_loss_w / (f64::from(n_long.max(1)) * v_mp * i_mp),
        ac_m: q.cable.ac_one_way_m.map(|m| m * f64::from(q.inverters)),
    })
}

/// A line for a figure that must not exceed its limit.
fn at_most(code: &str, what: String, value: Option<f64>, limit: Option<f64>, unit: &str) -> CheckLine {
    compared(code, what, value, limit, unit, 1.0)
}

/// A line for a figure that must not fall below its limit.
fn at_least(code: &str, what: String, value: Option<f64>, limit: Option<f64>, unit: &str) -> CheckLine {
    compared(code, what, value, limit, unit, -1.0)
}

fn compared(code: &str, what: String, value: Option<f64>, limit: Option<f64>, unit: &str, sign: f64) -> CheckLine {
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

fn voltage_lines(
    q: &StringQuestion,
    limits: &[VoltageLimit; 3],
    v_oc_cold: Option<f64>,
    n_long: u32,
    lines: &mut Vec<CheckLine>,
    notes: &mut Vec<Note>,
) {
    let v = v_oc_cold.map(|v| v * f64::from(n_long));
    for (code, of, limit) in limits {
        let what =
            if n_long == 0 { format!("Cold V_oc, {of}") } else { format!("Cold V_oc of {n_long} modules, {of}") };
        lines.push(at_most(code, what, v, *limit, "V"));
    }
    let lowest = limits.iter().filter_map(|l| l.2).reduce(f64::min);
    if let (Some(v), Some(tolerance), Some(lowest)) = (v, q.module.v_oc_tolerance_pct, lowest)
        && v <= lowest
        && v * (1.0 + tolerance / 100.0) > lowest
    {
        notes.push(Note::loud(
            "strings.v-oc-tolerance",
            format!(
                "With the sheet's V_oc tolerance of +{tolerance} % the longest string would reach {:.1} V, above {lowest} V.",
                v * (1.0 + tolerance / 100.0)
            ),
        ));
    }
}

#[allow(clippy::too_many_arguments)]
fn hot_lines(
    q: &StringQuestion,
    v_mp_hot: f64,
    v_mp_per_k: f64,
    drop_v: f64,
    t_hot_c: f64,
    t_cold_c: Option<f64>,
    n_short: u32,
    n_long: u32,
    lines: &mut Vec<CheckLine>,
    notes: &mut Vec<Note>,
) {
    let at_inverter = f64::from(n_short) * v_mp_hot - drop_v;
    let window = q.inverter.window_v;
    let what = format!("Hot V_mp of {n_short} modules, window");
    lines.push(at_least("v-mp-hot", what, Some(at_inverter), window.map(|w| w[0]), "V"));
    if let Some(v_start) = q.inverter.v_start {
        let v = q.module.beta_pct_per_k.map(|b| f64::from(n_short) * v_at(q.module.v_oc, b / 100.0, t_hot_c));
        lines.push(at_least("v-start", format!("Hot V_oc of {n_short} modules, start"), v, Some(v_start), "V"));
    }
    if let (Some([_, high]), Some(t)) = (window, t_cold_c) {
        let v = f64::from(n_long) * v_at(q.module.v_mp, v_mp_per_k, t);
        if v > high {
            notes.push(Note::quiet(
                "strings.above-window",
                format!(
                    "In the cold the longest string's V_mp would be {v:.0} V, above the window's {high} V; the inverter \
                     then holds {high} V and some power is lost."
                ),
            ));
        }
    }
}

/// Strings an input can take by terminals, operating current and short-circuit current.
fn per_input(q: &StringQuestion, i_sc_max: f64) -> Option<u32> {
    let by = |limit: Option<f64>, each: f64| limit.map(|l| (l / each + 1e-9).floor() as u32);
    [q.inverter.strings_per_input, by(q.inverter.i_input_max, q.module.i_mp), by(q.inverter.i_sc_input_max, i_sc_max)]
        .into_iter()
        .flatten()
        .min()
}

fn input_lines(q: &StringQuestion, layout: &Layout, current_factor: f64, lines: &mut Vec<CheckLine>) {
    let parallel = layout.most_parallel();
    let n = (parallel > 0).then_some(parallel as f64);
    let strings = if parallel == 1 { "1 string".to_string() } else { format!("{parallel} strings") };
    if !q.module_converters {
        lines.push(at_most(
            "i-mp-input",
            format!("I_mp of {strings} on an input"),
            n.map(|n| n * q.module.i_mp),
            q.inverter.i_input_max,
            "A",
        ));
        lines.push(at_most(
            "i-sc-input",
            format!("{current_factor} I_sc of {strings} on an input"),
            n.map(|n| n * current_factor * q.module.i_sc),
            q.inverter.i_sc_input_max,
            "A",
        ));
    }
    let most = layout.inverters.iter().map(|i| i.inputs.iter().map(Vec::len).sum::<usize>()).max();
    let terminals = q.inverter.inputs.zip(q.inverter.strings_per_input).map(|(a, b)| f64::from(a) * f64::from(b));
    let what = "Strings on an inverter, terminals".to_string();
    lines.push(at_most("terminals", what, most.map(|m| m as f64), terminals, "strings"));
}

/// Standard ratings of fuses for photovoltaic strings, A (IEC 60269-6 and NEC 240.6, both from memory).
const RATINGS_IEC: [f64; 12] = [8.0, 10.0, 12.0, 15.0, 16.0, 20.0, 25.0, 30.0, 32.0, 35.0, 40.0, 50.0];
const RATINGS_NEC: [f64; 10] = [10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 60.0];

fn fuses(q: &StringQuestion, layout: &Layout, i_sc_max: f64, current_factor: f64, lines: &mut Vec<CheckLine>) -> Fuses {
    let parallel = layout.most_parallel() as u32;
    let reverse_a = f64::from(parallel.saturating_sub(1)) * i_sc_max;
    let needed = if parallel <= 1 { Some(false) } else { q.module.fuse_max_a.map(|most| reverse_a > most) };
    let nec = q.spec.basis == StringBasis::Nec6907;
    // IEC 62548: 1.5 I_sc < I_n <= 2.4 I_sc; NEC 690.9: at least 1.25 times the highest current; both from memory.
    let i_sc = q.module.i_sc;
    let [from, to] = if nec { [1.25 * current_factor * i_sc, f64::MAX] } else { [1.5 * i_sc, 2.4 * i_sc] };
    let to = q.module.fuse_max_a.map_or(to, |most| to.min(most)).min(1e4);
    let ratings: &[f64] = if nec { &RATINGS_NEC } else { &RATINGS_IEC };
    let fits = |r: &f64| if nec { *r >= from && *r <= to } else { *r > from && *r <= to };
    let rating_a = ratings.iter().copied().find(|r| fits(r));
    let fused = |input: &&Vec<u32>| q.module.fuse_max_a.is_some_and(|m| (input.len() as f64 - 1.0) * i_sc_max > m);
    let on_fused: usize = layout.inverters.iter().flat_map(|i| &i.inputs).filter(fused).map(Vec::len).sum();
    // Both poles after IEC 62548; one after NEC 690.9(C).
    let count = if nec { on_fused } else { 2 * on_fused } as u32;
    if parallel > 1 {
        if needed == Some(true) {
            let what = "Smallest string fuse, module's rating".to_string();
            let smallest = ratings.iter().copied().find(|r| *r > from || (nec && *r >= from)).unwrap_or(from);
            let mut line = at_most("fuse", what, Some(smallest), q.module.fuse_max_a, "A");
            if line.standing == Standing::Thin {
                // Ratings come in steps; equal to the module's figure is what the figure is for.
                line.standing = Standing::Passed;
            }
            lines.push(line);
        } else {
            let what = "Reverse current, module's rating".to_string();
            lines.push(at_most("reverse", what, Some(reverse_a), q.module.fuse_max_a, "A"));
        }
    }
    Fuses { parallel, reverse_a, needed, rating_from_to_a: [from, to], rating_a, count }
}

fn converter_lines(
    q: &StringQuestion,
    v_oc_cold: Option<f64>,
    i_sc_max: f64,
    n_short: u32,
    n_long: u32,
    lines: &mut Vec<CheckLine>,
    notes: &mut Vec<Note>,
) {
    let Some(c) = &q.inverter.module_converter else { return };
    let count = |x: Option<u32>| x.map(f64::from);
    lines.push(at_most("v-oc-converter", "Cold V_oc of a module, converter".into(), v_oc_cold, c.v_in_max, "V"));
    lines.push(at_most(
        "i-sc-converter",
        "Highest I_sc of a module, converter".into(),
        Some(i_sc_max),
        c.i_in_max,
        "A",
    ));
    lines.push(at_least(
        "string-min",
        "Shortest string, converter".into(),
        count(Some(n_short)),
        count(c.string_min),
        "modules",
    ));
    lines.push(at_most(
        "string-max",
        "Longest string, converter".into(),
        count(Some(n_long)),
        count(c.string_max),
        "modules",
    ));
    let power = f64::from(n_long) * q.module.p_stc_w;
    lines.push(at_most(
        "string-power",
        "Power of the longest string, converter".into(),
        Some(power),
        c.string_max_w,
        "W",
    ));
    lines.push(at_most(
        "converter-power",
        "Power of a module, converter".into(),
        Some(q.module.p_stc_w),
        Some(c.p_in_max_w),
        "W",
    ));
    notes.push(Note::quiet(
        "strings.converters",
        "Each module has its own converter: the maker's string rules hold instead of voltage limits of plain strings.",
    ));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::inverter::tests::DEMO;
    use proptest::prelude::*;

    fn module(text: &str) -> ModuleSheet {
        toml::from_str(&format!("length_mm = 1722\nwidth_mm = 1134\nfuse_max_a = 30\nv_system_max = 1500\n{text}"))
            .unwrap()
    }

    fn p410() -> ModuleSheet {
        module(
            "p_stc_w = 410\nv_mp = 31.25\ni_mp = 13.12\nv_oc = 37.4\ni_sc = 13.95\ngamma_pct_per_k = -0.35\nbeta_pct_per_k = -0.275",
        )
    }

    fn n445() -> ModuleSheet {
        module(
            "p_stc_w = 445\nv_mp = 29.3\ni_mp = 15.19\nv_oc = 34.6\ni_sc = 16.1\ngamma_pct_per_k = -0.29\nbeta_pct_per_k = -0.245",
        )
    }

    fn n435b() -> ModuleSheet {
        module(
            "p_stc_w = 435\nv_mp = 32.6\ni_mp = 13.345\nv_oc = 39.0\ni_sc = 14.1\ngamma_pct_per_k = -0.3\nbeta_pct_per_k = -0.25\nbifaciality = 0.78",
        )
    }

    fn ask(module: ModuleSheet) -> StringQuestion {
        StringQuestion {
            tag: "A".into(),
            module,
            inverter: toml::from_str(DEMO).unwrap(),
            inverters: 1,
            modules: None,
            target_kw: Some(40.0),
            strings: Vec::new(),
            module_converters: false,
            spec: StringsSpec { t_cold_c: Some(-19.0), v_limit: Some(1000.0), ..StringsSpec::default() },
            cable: CableSpec { one_way_m: Some(62.0), area_mm2: Some(4.0), ..CableSpec::default() },
            weather_t_min_c: None,
        }
    }

    fn line<'a>(check: &'a StringCheck, code: &str) -> &'a CheckLine {
        check.lines.iter().find(|l| l.code == code).unwrap()
    }

    // The three modules at -19 C and 1000 V, worked by hand: V_oc (1 + beta (-44)), 1000 V over that, 40 kW over P.
    #[test]
    fn three_modules_at_a_thousand_volts() {
        let cases = [
            (p410(), 41.925_4, 23, 98, "20/20, 20, 19/19", Verdict::Allowed),
            (n445(), 38.329_88, 26, 90, "23/23, 22, 22", Verdict::Allowed),
            (n435b(), 43.29, 23, 92, "23/23, 23, 23", Verdict::AllowedThin),
        ];
        for (module, v, n_max, modules, words, verdict) in cases {
            let check = check(&ask(module), None).unwrap();
            assert!((check.v_oc_cold.unwrap() - v).abs() < 1e-9, "{:?}", check.v_oc_cold);
            assert_eq!((check.n_max, check.modules), (Some(n_max), Some(modules)));
            assert_eq!(check.layout.inverters[0].words(), words);
            assert_eq!(check.verdict, verdict, "{:?}", check.lines);
        }
    }

    #[test]
    fn a_thin_margin_is_loud() {
        let check = check(&ask(n435b()), None).unwrap();
        let cold = line(&check, "v-oc-inverter");
        assert!((cold.value.unwrap() - 995.67).abs() < 1e-9 && cold.standing == Standing::Thin);
        assert_eq!(cold.words(), "995.7 V against 1000.0 V, 4.3 V (0.4 %) left");
        assert!(check.notes.iter().any(|n| n.loud && n.code == "strings.thin-margin" && n.text.contains("4.3 V")));
        assert!(check.notes.iter().any(|n| n.code == "strings.rear-current"));
        assert_eq!(check.n_best, Some(22));
    }

    #[test]
    fn tight_currents_of_two_strings() {
        let check = check(&ask(n445()), None).unwrap();
        assert!((line(&check, "i-mp-input").value.unwrap() - 30.38).abs() < 1e-9);
        assert!((line(&check, "i-sc-input").value.unwrap() - 40.25).abs() < 1e-9);
        assert_eq!(check.strings_per_input, Some(2));
        assert_eq!(check.fuses.as_ref().unwrap().needed, Some(false));
        assert!((check.i_sc_max - 20.125).abs() < 1e-9 && check.i_conductor == check.i_sc_max);
        assert_eq!(check.cable.dc_m, Some(2.0 * 62.0 * 4.0));
    }

    #[test]
    fn too_long_is_refused_with_its_number() {
        let mut q = ask(p410());
        q.strings = vec![24, 24, 25, 25];
        let check = check(&q, None).unwrap();
        assert_eq!(check.verdict, Verdict::NotAllowed);
        let broken: Vec<&CheckLine> = check.broken().collect();
        assert_eq!(broken.len(), 2);
        assert_eq!(broken[0].words(), "1048.1 V against 1000.0 V, 48.1 V (4.8 %) outside");
        assert!(check.strings.len() == 4 && check.n_max == Some(23));
    }

    #[test]
    fn too_short_is_refused_and_the_drop_counts() {
        let mut q = ask(p410());
        q.target_kw = None;
        q.strings = vec![8, 8];
        let found = check(&q, None).unwrap();
        // 31.25 (1 - 0.004 * 45) = 25.625 V hot; drop 13.12 A times 0.5975 ohm.
        assert!((found.v_mp_hot - 25.625).abs() < 1e-9);
        let expected = 8.0 * 25.625 - 13.12 * crate::plant::loop_ohm(62.0, 4.0, 50.0);
        assert!((line(&found, "v-mp-hot").value.unwrap() - expected).abs() < 1e-9);
        assert_eq!((found.verdict, found.n_min), (Verdict::NotAllowed, Some(9)));
        // Without the cable eight would do: 8 x 25.625 = 205 V.
        q.cable = CableSpec::default();
        assert_eq!(check(&q, None).unwrap().n_min, Some(8));
    }

    #[test]
    fn limits_left_out_are_not_checked() {
        let mut q = ask(p410());
        q.inverter = toml::from_str("p_ac_w = 33000\nefficiency = [[100, 97.9]]").unwrap();
        q.module.v_system_max = None;
        q.spec.v_limit = None;
        let found = check(&q, None).unwrap();
        assert_eq!((found.verdict, found.n_max), (Verdict::PartlyChecked, None));
        assert!(found.lines.iter().all(|l| l.standing == Standing::NotChecked), "{:?}", found.lines);
        q.spec.v_limit = Some(1000.0);
        let found = check(&q, None).unwrap();
        assert_eq!((found.verdict, found.n_max), (Verdict::PartlyChecked, Some(23)));
        assert!(found.not_checked().any(|l| l.code == "v-oc-inverter"));
    }

    #[test]
    fn cold_comes_from_the_weather_with_a_loud_note() {
        let mut q = ask(p410());
        q.spec.t_cold_c = None;
        q.weather_t_min_c = Some(-8.4);
        let found = check(&q, None).unwrap();
        assert_eq!(found.t_cold_c, Some(-8.4));
        assert!(found.notes.iter().any(|n| n.loud && n.text.contains("A typical year is not an extreme")));
        q.weather_t_min_c = None;
        let found = check(&q, None).unwrap();
        assert!(found.n_max.is_none() && found.verdict != Verdict::Allowed);
    }

    #[test]
    fn american_basis_by_table() {
        let mut q = ask(p410());
        q.spec = StringsSpec {
            basis: StringBasis::Nec6907,
            t_cold_c: Some(-9.0),
            installation: Some(Installation::Dwelling),
            cold_voltage: Some("table".into()),
            ..StringsSpec::default()
        };
        let found = check(&q, None).unwrap();
        assert!((found.v_oc_cold.unwrap() - 1.14 * 37.4).abs() < 1e-9);
        assert_eq!((found.v_limit, found.n_max), (Some(600.0), Some(14)));
        assert!((found.i_conductor - 1.5625 * 13.95).abs() < 1e-9);
        assert!(found.cold.iter().all(|c| c.chosen == (c.way == "table")));
        q.module.technology = Some(Technology::CdTe);
        assert!(check(&q, None).unwrap_err().to_string().contains("crystalline silicon only"));
    }

    #[test]
    fn many_strings_in_parallel_need_fuses() {
        let mut q = ask(p410());
        q.inverter =
            toml::from_str("p_ac_w = 33000\nefficiency = [[100, 97.9]]\ninputs = 1\nstrings_per_input = 5").unwrap();
        let found = check(&q, None).unwrap();
        let fuses = found.fuses.as_ref().unwrap();
        // Four others push 4 x 17.4 A = 69.75 A; 1.5 x 13.95 = 20.9 A < I_n <= 30 A.
        assert!((fuses.reverse_a - 69.75).abs() < 1e-9);
        assert_eq!((fuses.needed, fuses.rating_a, fuses.count), (Some(true), Some(25.0), 10));
        q.module.fuse_max_a = Some(20.0);
        let found = check(&q, None).unwrap();
        assert!(found.broken().any(|l| l.code == "fuse"));
        q.module.fuse_max_a = None;
        assert!(check(&q, None).unwrap().not_checked().any(|l| l.code == "reverse"));
    }

    #[test]
    fn converters_bring_their_own_rules() {
        let mut q = ask(p410());
        q.module_converters = true;
        assert!(check(&q, None).unwrap_err().to_string().starts_with("module_converter is missing"));
        let converter = "p_in_max_w = 450\nefficiency = [[100, 98.6]]\nv_in_max = 60\ni_in_max = 20\nv_string = 750\n\
                         string_min = 14\nstring_max = 50\nstring_max_w = 15000";
        q.inverter.module_converter = Some(toml::from_str(converter).unwrap());
        let found = check(&q, None).unwrap();
        // 15000 W hold 36 modules of 410 W: 98 in three strings.
        assert_eq!((found.n_max, found.strings.clone()), (Some(36), vec![33, 33, 32]));
        assert_eq!(found.verdict, Verdict::Allowed, "{:?}", found.lines);
        assert!((found.cable.dc_loss_w - (33.0 * 410.0_f64 / 750.0).powi(2) * 0.5975).abs() < 0.1);
    }

    #[test]
    fn slips_are_named() {
        let wrong = |change: &dyn Fn(&mut StringQuestion), part: &str| {
            let mut q = ask(p410());
            change(&mut q);
            let text = check(&q, None).unwrap_err().to_string();
            assert!(text.contains(part), "{text}");
        };
        wrong(&|q| q.module.v_oc = f64::NAN, "v_oc is NaN");
        wrong(&|q| q.module.beta_pct_per_k = Some(0.275), "beta_pct_per_k is 0.275");
        wrong(&|q| q.strings = vec![20, 0], "strings[1] is 0");
        wrong(&|q| (q.strings, q.modules) = (vec![20, 20], Some(41)), "strings is 40 modules in all");
        wrong(&|q| q.spec.t_cold_c = Some(-190.0), "strings.t_cold_c is -190");
        wrong(&|q| q.spec.cold_voltage = Some("beta".into()), "coefficient, table or curve");
        wrong(&|q| q.spec.cold_voltage = Some("curve".into()), "no curve was fitted");
        wrong(&|q| q.spec.current_factor = Some(0.8), "strings.current_factor is 0.8");
        wrong(&|q| q.inverters = 0, "inverters is 0");
        wrong(&|q| q.modules = Some(0), "modules is 0");
    }

    #[test]
    fn the_answer_survives_json() {
        let found = check(&ask(n435b()), None).unwrap();
        let text = serde_json::to_string(&found).unwrap();
        assert!(!text.contains("NaN") && !text.contains("inf"));
        let back: StringCheck = serde_json::from_str(&text).unwrap();
        // Decimal text may move the last bit of a number.
        let words = |check: &StringCheck| check.lines.iter().map(CheckLine::words).collect::<Vec<_>>();
        assert_eq!((back.verdict, words(&back)), (found.verdict, words(&found)));
    }

    proptest! {
        #[test]
        fn chosen_strings_are_allowed_ones(
            t_cold in -40.0..10.0_f64, modules in 1u32..400, inverters in 1u32..8, limit in 300.0..1500.0_f64,
        ) {
            let mut q = ask(n445());
            q.target_kw = None;
            q.modules = Some(modules);
            q.inverters = inverters;
            q.spec.t_cold_c = Some(t_cold);
            q.spec.v_limit = Some(limit);
            let found = check(&q, None).unwrap();
            for n in &found.strings {
                prop_assert!(Some(*n) <= found.n_max && Some(*n) >= found.n_min);
            }
            if !found.strings.is_empty() {
                prop_assert_eq!(found.strings.iter().sum::<u32>(), modules);
                prop_assert!(!found.broken().any(|l| l.code.starts_with("v-oc")));
            }
            // Colder never allows longer strings.
            q.spec.t_cold_c = Some(t_cold - 5.0);
            prop_assert!(check(&q, None).unwrap().n_max <= found.n_max);
        }
    }
}
