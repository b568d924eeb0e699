//! Allowed lengths, the strings of an option, its size and its cable.

use super::{CableBill, CheckLine, Standing, StringQuestion, THIN_PCT};
use crate::plant::{Layout, PlantError, StringCable, string_lengths};
use crate::units::Note;

/// Lengths a string may have.
pub(super) struct Rules {
    pub(super) n_min: Option<u32>,
    pub(super) n_max: Option<u32>,
    pub(super) n_best: Option<u32>,
}

pub(super) fn plain_rules(
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

pub(super) fn converter_rules(q: &StringQuestion) -> Rules {
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

pub(super) fn strings_of(
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

pub(super) fn size_notes(
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

pub(super) fn cable_bill(q: &StringQuestion, n_long: u32, strings: usize) -> Result<CableBill, PlantError> {
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
