//! Lines: efficiency against light, energy over the years.

use super::svg::{At, Key, Svg, legend, legend_rows, text_width};
use super::{Figure, Size, Table, figure, finite, ticks};
use crate::report::number::{NumberStyle, decimals_for};
use crate::report::view::Proposal;
use crate::report::words::Words;

struct Line {
    series: usize,
    name: String,
    points: Vec<[f64; 2]>,
}

struct Axes<'a> {
    x_title: &'a str,
    y_title: &'a str,
    y_short: &'a str,
    decimals: i32,
    every: usize,
}

/// Efficiency over that at 1000 W/m2, against light, at 25 C.
pub fn light(p: &Proposal, w: &Words) -> Option<Figure> {
    let lines: Vec<Line> = p
        .options
        .iter()
        .enumerate()
        .filter(|(_, o)| o.light_curve.len() > 1)
        .map(|(i, o)| Line {
            series: i,
            name: format!("{} {}", o.year.tag, o.module_name),
            points: o.light_curve.iter().map(|[g, e]| [finite(*g), finite(*e) * 100.0]).collect(),
        })
        .collect();
    let n = w.style();
    let at = |l: &Line| between(&l.points, 200.0);
    let best = lines.iter().reduce(|a, b| if at(b) > at(a) { b } else { a })?;
    let tag = &p.options[best.series].year.tag;
    let title = w.fill("finding.light", &[("best", tag), ("percent", &n.number(at(best), 1))]);
    let mut table = Table { head: vec![format!("{}, W/m\u{b2}", w.t("col.irradiance"))], rows: Vec::new() };
    table.head.extend(lines.iter().map(|l| format!("{}, %", l.name)));
    for g in [100.0, 200.0, 400.0, 600.0, 800.0, 1000.0] {
        let mut row = vec![n.number(g, 0)];
        row.extend(lines.iter().map(|l| n.number(between(&l.points, g), 1)));
        table.rows.push(row);
    }
    let axes =
        Axes { x_title: w.t("chart.in-plane"), y_title: w.t("chart.relative"), y_short: "%", decimals: 1, every: 1 };
    Some(figure("light", title, w.t("col.efficiency"), table, |size| draw(size, &lines, &axes, n)))
}

/// Delivered energy of every year of operation.
pub fn years(p: &Proposal, w: &Words) -> Option<Figure> {
    let count = p.options.iter().map(|o| o.years_kwh.len()).max().filter(|c| *c > 1)?;
    let mega = p.options.iter().flat_map(|o| &o.years_kwh).fold(0.0f64, |a, b| a.max(finite(*b))) >= 1e6;
    let scale = if mega { 1e-3 } else { 1.0 };
    let lines: Vec<Line> = p
        .options
        .iter()
        .enumerate()
        .filter(|(_, o)| o.years_kwh.len() > 1)
        .map(|(i, o)| Line {
            series: i,
            name: format!("{} {}", o.year.tag, o.module_name),
            points: o.years_kwh.iter().enumerate().map(|(t, e)| [t as f64 + 1.0, finite(*e) * scale]).collect(),
        })
        .collect();
    let n = w.style();
    let sum = |l: &Line| l.points.iter().map(|q| q[1]).sum::<f64>() / scale / 1000.0;
    let best = lines.iter().reduce(|a, b| if sum(b) > sum(a) { b } else { a })?;
    let option = &p.options[best.series];
    let mwh = n.rounded(sum(best), option.u_of(sum(best)).or(Some(sum(best) * 0.01)));
    let title = w.fill("finding.years", &[("n", &count.to_string()), ("best", &option.year.tag), ("mwh", &mwh)]);
    let unit = w.t(if mega { "chart.mwh-year" } else { "chart.kwh-year" });
    let short = w.t(if mega { "chart.mwh" } else { "chart.kwh" });
    let u = |l: &Line| p.options[l.series].u_of(l.points[0][1]);
    let mut table = Table { head: vec![w.t("col.year").to_string()], rows: Vec::new() };
    table.head.extend(lines.iter().map(|l| format!("{}, {short}", l.name)));
    for t in 0..count {
        let mut row = vec![(t + 1).to_string()];
        row.extend(lines.iter().map(|l| l.points.get(t).map_or(n.none.clone(), |q| n.rounded(q[1], u(l)))));
        table.rows.push(row);
    }
    let decimals = lines.iter().filter_map(u).map(decimals_for).max().unwrap_or(0);
    let axes = Axes { x_title: w.t("chart.year"), y_title: unit, y_short: short, decimals, every: 5 };
    Some(figure("years", title, unit, table, |size| draw(size, &lines, &axes, n)))
}

fn between(points: &[[f64; 2]], x: f64) -> f64 {
    let Some(i) = points.iter().position(|q| q[0] >= x) else { return points.last().map_or(0.0, |q| q[1]) };
    if i == 0 {
        return points[0][1];
    }
    let ([x0, y0], [x1, y1]) = (points[i - 1], points[i]);
    if x1 > x0 { y0 + (y1 - y0) * (x - x0) / (x1 - x0) } else { y1 }
}

fn draw(size: Size, lines: &[Line], a: &Axes, n: &NumberStyle) -> Svg {
    let width = size.width();
    let names: Vec<&str> = lines.iter().map(|l| l.name.as_str()).collect();
    let top = 34.0 + 19.0 * legend_rows(width, 0.0, &names, 34.0) as f64;
    let plot = size.pick(250.0, 200.0);
    let bottom = top + plot;
    let mut s = Svg::new(width, bottom + 44.0);
    let entries: Vec<(Key, String)> = lines.iter().map(|l| (Key::Line(l.series), l.name.clone())).collect();
    legend(&mut s, 0.0, 13.0, &entries);
    s.text(0.0, top - 14.0, At::Start, "s", a.y_title);
    let all = || lines.iter().flat_map(|l| &l.points);
    let (y_lo, y_hi) = all().fold((f64::MAX, f64::MIN), |(lo, hi), q| (lo.min(q[1]), hi.max(q[1])));
    let pad = ((y_hi - y_lo) * 0.05).max(y_hi.abs() * 1e-3);
    let (y_marks, y_decimals) = ticks(y_lo - pad, y_hi + pad, 5);
    let labels: Vec<String> = y_marks.iter().map(|t| n.number(*t, y_decimals)).collect();
    let left = labels.iter().map(|l| text_width(l)).fold(0.0, f64::max) + 8.0;
    let right = 16.0;
    let (x_lo, x_hi) = all().fold((f64::MAX, f64::MIN), |(lo, hi), q| (lo.min(q[0]), hi.max(q[0])));
    let (x_marks, x_decimals) = ticks(x_lo, x_hi, size.pick(10, 5));
    let x_span = (x_hi - x_lo).max(1e-9);
    let x = |v: f64| left + 8.0 + (width - left - right - 8.0) * (v - x_lo) / x_span;
    let (lo, hi) = (y_marks[0], y_marks[y_marks.len() - 1]);
    let y = |v: f64| top + plot * (1.0 - (v - lo) / (hi - lo));
    for (t, label) in y_marks.iter().zip(&labels) {
        s.line(left, y(*t), width - right, y(*t), "grid");
        s.text(left - 6.0, y(*t) + 4.0, At::End, "s", label);
    }
    s.line(left, bottom, width - right, bottom, "axis");
    for t in x_marks.iter().filter(|t| **t >= x_lo - 1e-9 && **t <= x_hi + 1e-9) {
        s.line(x(*t), bottom, x(*t), bottom + 4.0, "axis");
        s.text_if_free(x(*t), bottom + 18.0, At::Middle, "s", &n.number(*t, x_decimals));
    }
    s.text(width - right, bottom + 37.0, At::End, "s", a.x_title);
    for l in lines {
        let points: Vec<[f64; 2]> = l.points.iter().map(|q| [x(q[0]), y(q[1])]).collect();
        s.path(&points, false, &format!("l{}", l.series % 8), "");
        let last = points.len() - 1;
        for (i, q) in points.iter().enumerate() {
            let hover = format!(
                "{}, {}: {} {}",
                l.name,
                n.number(l.points[i][0], 0),
                n.number(l.points[i][1], a.decimals),
                a.y_short
            );
            if i == 0 || i == last || (i + 1).is_multiple_of(a.every) {
                s.marker(l.series, q[0], q[1], &hover);
            }
        }
    }
    s
}
