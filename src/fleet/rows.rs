//! Results as a table: one row per site and option.

use super::site::SiteDone;
use crate::energy::Effect;
use crate::tables::Table;
use crate::weigh::Group;

/// `low-light` as `low_light`.
fn snake(x: &impl serde::Serialize) -> String {
    let word = serde_json::to_value(x).ok();
    word.as_ref().and_then(|w| w.as_str()).unwrap_or("other").replace('-', "_")
}

/// The rows of some sites, in their order. The columns depend on `groups` (names of the copied columns) and `split`
/// alone, so that all parts of a fleet have the same.
pub fn table(sites: &[SiteDone], groups: &[&str], split: bool) -> Table {
    let rows: Vec<(&SiteDone, usize)> = sites.iter().flat_map(|s| (0..s.options.len()).map(move |k| (s, k))).collect();
    let words = |f: &dyn Fn(&SiteDone, usize) -> String| rows.iter().map(|&(s, k)| f(s, k)).collect::<Vec<_>>();
    let numbers = |f: &dyn Fn(&SiteDone, usize) -> f64| {
        // Minus zero is zero, so that equal results have equal bytes.
        rows.iter().map(|&(s, k)| f(s, k) + 0.0).collect::<Vec<_>>()
    };
    let mut t = Table::new()
        .whole("row", rows.iter().map(|(s, _)| s.row as i64).collect())
        .text("site", words(&|s, _| s.name.clone()));
    for (g, name) in groups.iter().enumerate() {
        t = t.text(name, words(&|s, _| s.groups.get(g).cloned().unwrap_or_default()));
    }
    t = t
        .text("option", words(&|s, k| s.options[k].brief.year.tag.clone()))
        .text("module", words(&|s, k| s.options[k].brief.year.module.clone()))
        .text("weather", words(&|s, _| s.weather.clone()))
        .number("latitude_deg", numbers(&|s, _| s.latitude_deg))
        .number("longitude_deg", numbers(&|s, _| s.longitude_deg))
        .number("p_stc_kw", numbers(&|s, k| s.options[k].brief.year.p_stc_kw))
        .whole("modules", rows.iter().map(|&(s, k)| i64::from(s.options[k].brief.year.modules)).collect())
        .text(
            "strings",
            words(&|s, k| s.options[k].brief.year.strings.iter().map(u32::to_string).collect::<Vec<_>>().join(" ")),
        )
        .text("string_check", words(&|s, k| s.options[k].verdict.to_string()))
        .text("warnings", words(&|s, k| s.options[k].warnings.join(" ")))
        .number("h_i_kwh_m2", numbers(&|s, k| s.options[k].brief.year.h_i_kwh_m2()))
        .number("y_f_h", numbers(&|s, k| s.options[k].brief.year.y_f_h()))
        .number("pr", numbers(&|s, k| s.options[k].brief.year.pr()))
        .number("e_dc_kwh", numbers(&|s, k| s.options[k].brief.year.e_dc_kwh()))
        .number("e_ac_kwh", numbers(&|s, k| s.options[k].brief.year.e_ac_kwh()))
        .number("clipped_kwh", numbers(&|s, k| s.options[k].brief.year.clipped_kwh()))
        .number("lifetime_kwh", numbers(&|s, k| s.options[k].brief.lifetime_kwh));
    for m in 0..12 {
        t = t.number(&format!("e_ac_{:02}_kwh", m + 1), numbers(&|s, k| s.options[k].brief.year.months[m].e_ac_kwh));
    }
    t = t.number("account_nominal_kwh", numbers(&|s, k| s.options[k].brief.year.account.nominal_kwh.iter().sum()));
    for effect in Effect::ALL {
        let line = |s: &SiteDone, k: usize| -> f64 {
            let account = &s.options[k].brief.year.account;
            account.lines.iter().filter(|l| l.effect == effect).map(|l| l.kwh()).sum()
        };
        t = t.number(&format!("account_{}_kwh", snake(&effect)), numbers(&line));
    }
    let gap = |s: &SiteDone, k: usize| s.options[k].brief.year.e_ac_kwh() - s.options[0].brief.year.e_ac_kwh();
    let gap_per_kw = |s: &SiteDone, k: usize| s.options[k].brief.year.y_f_h() - s.options[0].brief.year.y_f_h();
    t = t.number("gap_kwh", numbers(&gap)).number("gap_kwh_per_kw", numbers(&gap_per_kw));
    if split {
        for group in Group::ALL.into_iter().filter(|g| *g != Group::Ageing) {
            let part = |s: &SiteDone, k: usize| s.options[k].brief.split.as_ref()?.line(group).map(|l| l.part);
            let name = snake(&group);
            t = t
                .number(&format!("gap_{name}_kwh"), numbers(&|s, k| part(s, k).map_or(0.0, |p| p.kwh)))
                .number(&format!("gap_{name}_kwh_per_kw"), numbers(&|s, k| part(s, k).map_or(0.0, |p| p.kwh_per_kw)));
        }
        for (name, export) in [("clipping", false), ("export_limit", true)] {
            let part = move |s: &SiteDone, k: usize| {
                s.options[k].brief.split.as_ref().map(|x| if export { x.export } else { x.clipping })
            };
            t = t
                .number(&format!("gap_{name}_kwh"), numbers(&|s, k| part(s, k).map_or(0.0, |p| p.kwh)))
                .number(&format!("gap_{name}_kwh_per_kw"), numbers(&|s, k| part(s, k).map_or(0.0, |p| p.kwh_per_kw)));
        }
    }
    t
}
