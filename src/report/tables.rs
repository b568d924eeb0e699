//! The tables that `weigh` writes, as named columns.

use crate::energy::{HourColumns, OptionYear};
use crate::job::MoneySpec;
use crate::tables::Table;
use crate::weigh::{Gap, OptionResult, Percentiles, Study};

/// A row per option: the first year, its doubt, the gap to the first option. What was not worked out is no number.
pub fn options(site: &str, study: &Study) -> Table {
    let all = &study.options;
    let number = |f: &dyn Fn(&OptionResult) -> f64| all.iter().map(f).collect::<Vec<f64>>();
    let text = |f: &dyn Fn(&OptionResult) -> String| all.iter().map(f).collect::<Vec<String>>();
    let doubt = |f: &dyn Fn(&Percentiles) -> f64| number(&|o| o.doubt.as_ref().map_or(f64::NAN, |d| f(&d.first_year)));
    let gap = |f: &dyn Fn(&Gap) -> f64| number(&|o| study.gaps.iter().find(|g| g.to == o.year.tag).map_or(f64::NAN, f));
    let strings = |o: &OptionResult| o.year.strings.iter().map(u32::to_string).collect::<Vec<_>>().join(" ");
    let check = |o: &OptionResult| o.string_check.as_ref().map(|c| word(&c["verdict"])).unwrap_or_default();
    Table::new()
        .text("site", text(&|_| site.to_string()))
        .text("option", text(&|o| o.year.tag.clone()))
        .text("module", text(&|o| o.year.module.clone()))
        .text("inverter", text(&|o| o.year.inverter.clone()))
        .whole("inverters", all.iter().map(|o| i64::from(o.year.inverters)).collect())
        .whole("modules", all.iter().map(|o| i64::from(o.year.modules)).collect())
        .text("strings", text(&strings))
        .text("string_check", text(&check))
        .number("p_stc_kw", number(&|o| o.year.p_stc_kw))
        .number("p_ac_kw", number(&|o| o.year.p_ac_kw))
        .number("h_i_kwh_m2", number(&|o| o.year.h_i_kwh_m2()))
        .number("y_r_h", number(&|o| o.year.y_r_h()))
        .number("y_f_h", number(&|o| o.year.y_f_h()))
        .number("pr", number(&|o| o.year.pr()))
        .number("e_dc_kwh", number(&|o| o.year.e_dc_kwh()))
        .number("e_ac_kwh", number(&|o| o.year.e_ac_kwh()))
        .number("clipped_kwh", number(&|o| o.year.clipped_kwh()))
        .number("u_pct", doubt(&|p| p.u_pct))
        .number("p50_kwh", doubt(&|p| p.p50))
        .number("p90_kwh", doubt(&|p| p.p90))
        .number("lifetime_kwh", number(&|o| o.lifetime_kwh()))
        .number("gap_kwh", gap(&|g| g.kwh))
        .number("gap_pct", gap(&|g| g.pct))
        .number("gap_u_pct", gap(&|g| g.doubt.as_ref().map_or(f64::NAN, |d| d.roof.u_pct)))
        .number("gap_probability", gap(&|g| g.doubt.as_ref().map_or(f64::NAN, |d| d.roof.probability)))
}

/// `months.csv`: a row per option and month of the first year.
pub fn months(site: &str, study: &Study) -> Table {
    let years: Vec<&OptionYear> = study.options.iter().map(|o| &o.year).collect();
    let rows = || years.iter().flat_map(|y| (0..12).map(move |m| (*y, m)));
    let number = |f: &dyn Fn(&OptionYear, usize) -> f64| rows().map(|(y, m)| f(y, m)).collect::<Vec<f64>>();
    Table::new()
        .text("site", rows().map(|_| site.to_string()).collect())
        .text("option", rows().map(|(y, _)| y.tag.clone()).collect())
        .text("module", rows().map(|(y, _)| y.module.clone()).collect())
        .whole("month", rows().map(|(_, m)| m as i64 + 1).collect())
        .number("p_stc_kw", number(&|y, _| y.p_stc_kw))
        .number("h_i_kwh_m2", number(&|y, m| y.months[m].h_i_kwh_m2))
        .number("y_r_h", number(&|y, m| y.months[m].h_i_kwh_m2))
        .number("y_f_h", number(&|y, m| y.months[m].e_ac_kwh / y.p_stc_kw))
        .number("pr", number(&|y, m| ratio(y.months[m].e_ac_kwh / y.p_stc_kw, y.months[m].h_i_kwh_m2)))
        .number("e_dc_kwh", number(&|y, m| y.months[m].e_dc_kwh))
        .number("e_ac_kwh", number(&|y, m| y.months[m].e_ac_kwh))
        .number("clipped_kwh", number(&|y, m| y.months[m].clipped_kwh))
        .number("export_lost_kwh", number(&|y, m| y.months[m].export_lost_kwh))
}

/// `years.csv`: a row per option and year of operation.
pub fn years(site: &str, study: &Study) -> Table {
    let rows = || study.options.iter().flat_map(|o| o.years.iter().map(move |y| (o, y)));
    Table::new()
        .text("site", rows().map(|_| site.to_string()).collect())
        .text("option", rows().map(|(o, _)| o.year.tag.clone()).collect())
        .text("module", rows().map(|(o, _)| o.year.module.clone()).collect())
        .whole("year", rows().map(|(_, y)| i64::from(y.year)).collect())
        .number("p_stc_kw", rows().map(|(o, _)| o.year.p_stc_kw).collect())
        .number("h_i_kwh_m2", rows().map(|(o, _)| o.year.h_i_kwh_m2()).collect())
        .number("y_f_h", rows().map(|(o, y)| y.e_ac_kwh / o.year.p_stc_kw).collect())
        .number("e_ac_kwh", rows().map(|(_, y)| y.e_ac_kwh).collect())
        .number("forecast_pct", rows().map(|(_, y)| y.forecast_pct).collect())
        .number("guarantee_pct", rows().map(|(_, y)| y.guarantee_pct.unwrap_or(f64::NAN)).collect())
        .number("outage_lost_kwh", rows().map(|(_, y)| y.outage_lost_kwh).collect())
        .whole("inverter_replaced", rows().map(|(_, y)| i64::from(y.inverter_replaced)).collect())
        .whole("cleanings", rows().map(|(_, y)| i64::from(y.cleanings)).collect())
        .number("dirt_lost_kwh", rows().map(|(_, y)| y.dirt_lost_kwh).collect())
        .number("dirt_lost_uncleaned_kwh", rows().map(|(_, y)| y.dirt_lost_uncleaned_kwh).collect())
}

/// `account.csv`: a row per option and effect, nominal energy first and delivered energy last.
pub fn account(site: &str, study: &Study) -> Table {
    let (mut option, mut effect, mut kwh, mut share) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut months: Vec<Vec<f64>> = vec![Vec::new(); 12];
    for year in study.options.iter().map(|o| &o.year) {
        let nominal: f64 = year.account.nominal_kwh.iter().sum();
        let mut row = |name: String, values: &[f64; 12]| {
            option.push(year.tag.clone());
            effect.push(name);
            let sum: f64 = values.iter().sum();
            kwh.push(sum);
            share.push(100.0 * ratio(sum, nominal));
            for (column, value) in months.iter_mut().zip(values) {
                column.push(*value);
            }
        };
        row("nominal".to_string(), &year.account.nominal_kwh);
        for line in &year.account.lines {
            row(word(&line.effect), &line.months_kwh);
        }
        row("delivered".to_string(), &year.account.delivered_kwh);
    }
    let mut table = Table::new()
        .text("site", vec![site.to_string(); option.len()])
        .text("option", option)
        .text("effect", effect)
        .number("kwh", kwh)
        .number("pct_of_nominal", share);
    for (m, column) in months.into_iter().enumerate() {
        table = table.number(&format!("kwh_{:02}", m + 1), column);
    }
    table
}

/// `gap.csv`: a row per further option and cause, for the first year and for all years.
pub fn gaps(site: &str, study: &Study) -> Table {
    let (mut from, mut to, mut span, mut cause) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let (mut kwh, mut per_kw, mut sentence) = (Vec::new(), Vec::new(), Vec::new());
    for gap in &study.gaps {
        for (name, split) in [("first year", &gap.first_year), ("all years", &gap.lifetime)] {
            let Some(split) = split else { continue };
            let mut row = |what: &str, energy: f64, yields: f64, words: &str| {
                from.push(gap.from.clone());
                to.push(gap.to.clone());
                span.push(name.to_string());
                cause.push(what.to_string());
                kwh.push(energy);
                per_kw.push(yields);
                sentence.push(words.to_string());
            };
            for line in &split.lines {
                row(&word(&line.group), line.part.kwh, line.part.kwh_per_kw, &line.sentence);
            }
            row("clipping", split.clipping.kwh, split.clipping.kwh_per_kw, &split.clipping_sentence);
            row("export-limit", split.export.kwh, split.export.kwh_per_kw, &split.export_sentence);
            row("gap", split.kwh, split.kwh_per_kw, "");
        }
    }
    Table::new()
        .text("site", vec![site.to_string(); from.len()])
        .text("from", from)
        .text("to", to)
        .text("span", span)
        .text("cause", cause)
        .number("kwh", kwh)
        .number("kwh_per_kw", per_kw)
        .text("sentence", sentence)
}

/// `hours.parquet`: a row per option and step. With a load also what is used on site and fed in, and with prices the
/// value of both in the first year, in the currency of `[money]`.
pub fn hours(tags: &[&str], hours: &[HourColumns], step_h: f64, money: Option<&MoneySpec>) -> Table {
    let all = || tags.iter().zip(hours);
    let number = |f: &dyn Fn(&HourColumns) -> &Vec<f64>| all().flat_map(|(_, h)| f(h).clone()).collect::<Vec<f64>>();
    let whole = |f: &dyn Fn(&HourColumns) -> &Vec<i64>| all().flat_map(|(_, h)| f(h).clone()).collect::<Vec<i64>>();
    let table = Table::new()
        .text("option", all().flat_map(|(tag, h)| vec![tag.to_string(); h.p_ac.len()]).collect())
        .whole("month", whole(&|h| &h.month))
        .whole("day", whole(&|h| &h.day))
        .whole("minute", whole(&|h| &h.minute))
        .number("ghi", number(&|h| &h.ghi))
        .number("t_amb", number(&|h| &h.t_amb))
        .number("poa", number(&|h| &h.poa))
        .number("g_eff", number(&|h| &h.g_eff))
        .number("t_cell", number(&|h| &h.t_cell))
        .number("p_dc_w", number(&|h| &h.p_dc))
        .number("v_dc", number(&|h| &h.v_dc))
        .number("p_ac_w", number(&|h| &h.p_ac))
        .number("p_clipped_w", number(&|h| &h.p_clipped));
    if hours.is_empty() || hours.iter().any(|h| h.load.len() != h.p_ac.len()) {
        return table;
    }
    let table = table
        .number("load_w", number(&|h| &h.load))
        .number("own_use_w", number(&|h| &h.own_use))
        .number("exported_w", number(&|h| &h.exported));
    let Some(money) = money else { return table };
    let worth = |of: &dyn Fn(&HourColumns) -> &Vec<f64>, price: f64| {
        number(of).into_iter().map(|w| w / 1000.0 * step_h * price).collect::<Vec<f64>>()
    };
    table
        .number("own_use_value", worth(&|h| &h.own_use, money.own_use_per_kwh.unwrap_or(money.tariff_per_kwh)))
        .number("exported_value", worth(&|h| &h.exported, money.tariff_per_kwh))
}

fn ratio(x: f64, y: f64) -> f64 {
    if y > 0.0 { x / y } else { 0.0 }
}

/// The word that a record's variant has in files.
fn word(value: &impl serde::Serialize) -> String {
    serde_json::to_value(value).ok().and_then(|v| v.as_str().map(str::to_string)).unwrap_or_default()
}
