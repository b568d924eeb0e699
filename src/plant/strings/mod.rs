//! The string check: which lengths are allowed, how many strings, what margins are left.

mod answer;
mod converters;
mod current;
mod guard;
mod length;
#[cfg(test)]
mod tests;
mod voltage;

pub use answer::{CableBill, CheckLine, ColdVoltage, Fuses, Standing, StringCheck, StringQuestion, Verdict};
pub use voltage::{cold_factor, v_at};

use converters::converter_lines;
use current::{current_factor, fuses, input_lines, per_input};
use guard::guard;
use length::{cable_bill, converter_rules, plain_rules, size_notes, strings_of};
use voltage::{cold_temperature, cold_voltages, hot_lines, v_mp_coefficient, voltage_limits, voltage_lines};

use crate::plant::error::positive;
use crate::plant::{IvCurve, Layout, PlantError, StringBasis, StringCable, assign, modules_for};
use crate::units::Note;

/// A margin below this share of the limit is allowed but loud, percent. Ours: data sheets commonly state V_oc to 3 %.
pub const THIN_PCT: f64 = 3.0;
/// Cell temperature for the shortest string when none is given, C.
pub const DEFAULT_T_HOT_C: f64 = 70.0;
/// Factor on I_sc when none is given. Source: IEC 62548 and IEC 60364-7-712 (from memory); NEC 690.8(A)(1).
pub const DEFAULT_CURRENT_FACTOR: f64 = 1.25;
/// Stand-in for the temperature coefficient of I_mp when the sheet gives none for I_sc, 1/K (crystalline silicon, from
/// memory). A positive value makes the hot voltage lower, on the safe side.
pub const DEFAULT_I_MP_PER_K: f64 = 0.0005;

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
