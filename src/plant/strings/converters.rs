//! Rules of strings whose modules have converters.

use super::answer::{at_least, at_most};
use super::{CheckLine, StringQuestion};
use crate::units::Note;

pub(super) fn converter_lines(
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
