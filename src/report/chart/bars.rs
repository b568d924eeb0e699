//! Grouped bars by month.

use super::svg::{At, Key, Svg, legend, legend_rows, text_width};
use super::{Figure, Size, Table, figure, finite, ticks};
use crate::report::number::NumberStyle;
use crate::report::view::Proposal;
use crate::report::words::Words;

struct Series {
    name: String,
    values: [f64; 12],
    u: Option<f64>,
}

/// Delivered energy by month, options side by side.
pub fn months(p: &Proposal, w: &Words) -> Option<Figure> {
    let first = p.options.first()?;
    let series: Vec<Series> = p
        .options
        .iter()
        .map(|o| Series {
            name: format!("{} {}", o.year.tag, o.module_name),
            values: o.year.months.map(|m| finite(m.e_ac_kwh)),
            u: o.u_of(o.year.months.iter().map(|m| m.e_ac_kwh).fold(0.0, f64::max)),
        })
        .collect();
    let best = &p.options[if p.best() > 0 { p.best() } else { (p.options.len() - 1).min(1) }];
    let diff: Vec<f64> = (0..12).map(|m| best.year.months[m].e_ac_kwh - first.year.months[m].e_ac_kwh).collect();
    let title = if p.options.len() < 2 {
        let m = peak(&series[0].values);
        let kwh = w.style().rounded(series[0].values[m], series[0].u);
        w.fill("finding.months-one", &[("a", &first.year.tag), ("month", w.month(m)), ("kwh", &kwh)])
    } else {
        let more = diff.iter().filter(|d| **d > 0.0).count();
        let less = diff.iter().filter(|d| **d < 0.0).count();
        let sign = if more >= less { 1.0 } else { -1.0 };
        let m = peak(&diff.iter().map(|d| d * sign).collect::<Vec<_>>());
        // The doubt of the difference is that of the year's gap, shared out by energy.
        let index = p.options.iter().position(|o| o.year.tag == best.year.tag).unwrap_or(0);
        let u = p.gap_of(index).and_then(|g| g.u_kwh).map(|u| u * best.year.months[m].e_ac_kwh / best.year.e_ac_kwh());
        let kwh = w.style().rounded(diff[m].abs(), u);
        let key = match (more, less) {
            (0, 0) => "finding.months-same",
            _ if more >= less => "finding.months-more",
            _ => "finding.months-less",
        };
        w.fill(
            key,
            &[
                ("b", &best.year.tag),
                ("a", &first.year.tag),
                ("n", &more.max(less).to_string()),
                ("month", w.month(m)),
                ("kwh", &kwh),
            ],
        )
    };
    let mega = series.iter().flat_map(|s| s.values).fold(0.0, f64::max) >= 1e5;
    let unit = w.t(if mega { "chart.mwh-month" } else { "chart.kwh-month" });
    let short = w.t(if mega { "chart.mwh" } else { "chart.kwh" });
    Some(grouped("months", title, unit, short, series, if mega { 1e-3 } else { 1.0 }, w))
}

/// Irradiation by month: horizontal, diffuse and on the planes.
pub fn sky(p: &Proposal, w: &Words) -> Option<Figure> {
    let mut series = Vec::new();
    for plane in p.sky.planes.iter().take(3) {
        let name = w.fill("chart.hi", &[("plane", &plane.name)]);
        series.push(Series { name, values: plane.h_i_kwh_m2.map(finite), u: None });
    }
    let first = p.sky.planes.first()?;
    let sum: f64 = first.h_i_kwh_m2.iter().sum();
    let title = w.fill("finding.sky", &[("plane", &first.name), ("kwh", &w.style().number(sum, 0))]);
    for (key, column) in [("chart.ghi", &p.sky.ghi_kwh_m2), ("chart.dhi", &p.sky.dhi_kwh_m2)] {
        if let Some(values) = column {
            series.push(Series { name: w.t(key).to_string(), values: values.map(finite), u: None });
        }
    }
    Some(grouped("sky", title, w.t("chart.kwh-m2-month"), "kWh/m\u{b2}", series, 1.0, w))
}

fn peak(values: &[f64]) -> usize {
    (0..values.len()).fold(0, |best, i| if values[i] > values[best] { i } else { best })
}

fn grouped(id: &str, title: String, unit: &str, short: &str, series: Vec<Series>, scale: f64, w: &Words) -> Figure {
    let n = w.style();
    let mut table = Table { head: vec![w.t("col.month").to_string()], rows: Vec::new() };
    table.head.extend(series.iter().map(|s| format!("{}, {short}", s.name)));
    for m in 0..12 {
        let mut row = vec![w.month(m).to_string()];
        row.extend(series.iter().map(|s| n.rounded(s.values[m] * scale, s.u.map(|u| u * scale))));
        table.rows.push(row);
    }
    let desc = format!("{unit}. {}", series.iter().map(|s| s.name.as_str()).collect::<Vec<_>>().join(", "));
    figure(id, title, &desc, table, |size| draw(size, unit, short, &series, scale, n, w))
}

fn draw(size: Size, unit: &str, short: &str, series: &[Series], scale: f64, n: &NumberStyle, w: &Words) -> Svg {
    let width = size.width();
    let names: Vec<&str> = series.iter().map(|s| s.name.as_str()).collect();
    let rows = legend_rows(width, 0.0, &names, 20.0) as f64;
    let top = 34.0 + 19.0 * rows;
    let plot = size.pick(250.0, 190.0);
    let mut s = Svg::new(width, top + plot + 24.0);
    let classes: Vec<String> = (0..series.len()).map(|i| format!("o{}", i % 8)).collect();
    let entries: Vec<(Key, String)> =
        series.iter().zip(&classes).map(|(x, c)| (Key::Swatch(c), x.name.clone())).collect();
    legend(&mut s, 0.0, 13.0, &entries);
    let all = || series.iter().flat_map(|x| x.values).map(|v| v * scale);
    let (marks, decimals) = ticks(all().fold(0.0, f64::min), all().fold(0.0, f64::max), 5);
    let labels: Vec<String> = marks.iter().map(|t| n.number(*t, decimals)).collect();
    let left = labels.iter().map(|l| text_width(l)).fold(0.0, f64::max) + 6.0;
    s.text(0.0, top - 14.0, At::Start, "s", unit);
    let (lo, hi) = (marks[0], marks[marks.len() - 1]);
    let y = |v: f64| top + plot * (1.0 - (v - lo) / (hi - lo));
    for (t, label) in marks.iter().zip(&labels) {
        s.line(left, y(*t), width, y(*t), if *t == 0.0 { "axis" } else { "grid" });
        s.text(left - 6.0, y(*t) + 4.0, At::End, "s", label);
    }
    let slot = (width - left) / 12.0;
    let room = slot * size.pick(0.8, 0.86);
    let bar = room / series.len().max(1) as f64;
    for m in 0..12 {
        let x0 = left + slot * m as f64 + (slot - room) / 2.0;
        for (i, x) in series.iter().enumerate() {
            let v = x.values[m] * scale;
            let hover = format!("{}, {}: {} {short}", x.name, w.month(m), n.rounded(v, x.u.map(|u| u * scale)));
            s.rect(
                x0 + bar * i as f64,
                y(v.max(0.0)),
                bar - bar.min(10.0) * 0.1,
                y(v.min(0.0)) - y(v.max(0.0)),
                &classes[i],
                &hover,
            );
        }
        let name = w.month_short(m);
        s.text_if_free(left + slot * (m as f64 + 0.5), top + plot + 17.0, At::Middle, "s", name);
    }
    s
}
