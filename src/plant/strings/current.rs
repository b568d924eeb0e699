//! Currents of an input and string fuses.

use super::answer::at_most;
use super::{CheckLine, DEFAULT_CURRENT_FACTOR, Fuses, Standing, StringQuestion};
use crate::plant::{Layout, PlantError, StringBasis};
use crate::units::Note;

pub(super) fn current_factor(q: &StringQuestion, notes: &mut Vec<Note>) -> Result<f64, PlantError> {
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

/// Strings an input can take by terminals, operating current and short-circuit current.
pub(super) fn per_input(q: &StringQuestion, i_sc_max: f64) -> Option<u32> {
    let by = |limit: Option<f64>, each: f64| limit.map(|l| (l / each + 1e-9).floor() as u32);
    [q.inverter.strings_per_input, by(q.inverter.i_input_max, q.module.i_mp), by(q.inverter.i_sc_input_max, i_sc_max)]
        .into_iter()
        .flatten()
        .min()
}

pub(super) fn input_lines(q: &StringQuestion, layout: &Layout, current_factor: f64, lines: &mut Vec<CheckLine>) {
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

pub(super) fn fuses(
    q: &StringQuestion,
    layout: &Layout,
    i_sc_max: f64,
    current_factor: f64,
    lines: &mut Vec<CheckLine>,
) -> Fuses {
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
