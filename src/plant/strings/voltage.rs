//! Cold open-circuit voltage, hot voltage at maximum power, and their limits.

use super::answer::{at_least, at_most};
use super::{CheckLine, ColdVoltage, DEFAULT_I_MP_PER_K, StringQuestion};
use crate::module::Technology;
use crate::plant::error::maybe_positive;
use crate::plant::{Installation, IvCurve, PlantError, StringBasis};
use crate::units::{G_STC, Note, T_STC};

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

pub(super) fn cold_temperature(q: &StringQuestion, notes: &mut Vec<Note>) -> Result<Option<f64>, PlantError> {
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

pub(super) fn is_crystalline(technology: Option<Technology>) -> bool {
    !matches!(technology, Some(Technology::CdTe | Technology::Cigs | Technology::AmorphousSi))
}

pub(super) fn cold_voltages(
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

pub(super) fn v_mp_coefficient(q: &StringQuestion, curve: Option<&dyn IvCurve>, t_hot_c: f64) -> (f64, String) {
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

/// Code, words and value of each limit on the cold voltage.
pub(super) type VoltageLimit = (&'static str, &'static str, Option<f64>);

pub(super) fn voltage_limits(q: &StringQuestion, notes: &mut Vec<Note>) -> Result<[VoltageLimit; 3], PlantError> {
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

pub(super) fn voltage_lines(
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
pub(super) fn hot_lines(
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
