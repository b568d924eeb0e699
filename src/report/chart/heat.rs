//! Heat maps: output and clipping by hour and month, energy by light and cell temperature.

use super::svg::{At, Svg, text_width};
use super::{Figure, Size, Table, figure, finite};
use crate::report::number::NumberStyle;
use crate::report::view::OptionView;
use crate::report::words::Words;

/// Steps of the colour scale.
const STEPS: usize = 9;

struct Grid<'a> {
    /// Rows from top to bottom, each with its values from left to right.
    cells: &'a [Vec<f64>],
    row_names: Vec<String>,
    /// Labels at the edges between columns.
    edges: Vec<(usize, String)>,
    x_title: &'a str,
    y_title: &'a str,
    unit: &'a str,
    decimals: i32,
    hover: Box<dyn Fn(usize, usize) -> String + 'a>,
}

/// Mean output by hour and month.
pub fn output(o: &OptionView, w: &Words) -> Option<Figure> {
    let map = o.hours.as_ref()?;
    let cells: Vec<Vec<f64>> = map.mean_kw.iter().map(|r| r.iter().map(|v| finite(*v).max(0.0)).collect()).collect();
    let (m, h) = peak(&cells);
    let decimals = if cells[m][h] < 10.0 { 1 } else { 0 };
    let kw = w.style().number(cells[m][h], decimals);
    let title = if cells[m][h] > 0.0 {
        w.fill(
            "finding.heat",
            &[
                ("tag", &o.year.tag),
                ("month", w.month(m)),
                ("hour", &h.to_string()),
                ("next", &(h + 1).to_string()),
                ("kw", &kw),
            ],
        )
    } else {
        w.fill("finding.heat-none", &[("tag", &o.year.tag)])
    };
    Some(by_hour(&format!("output-{}", safe(&o.year.tag)), title, &cells, w.t("chart.kw"), decimals.max(1), w))
}

/// Energy above the AC limit by hour and month; `None` when less than half a kWh is clipped.
pub fn clipping(o: &OptionView, w: &Words) -> Option<Figure> {
    let map = o.hours.as_ref()?;
    let cells: Vec<Vec<f64>> =
        map.clipped_kwh.iter().map(|r| r.iter().map(|v| finite(*v).max(0.0)).collect()).collect();
    let sum: f64 = cells.iter().flatten().sum();
    if sum < 0.5 {
        return None;
    }
    let (m, h) = peak(&cells);
    let kwh = w.style().rounded(sum, o.u_of(sum).map(|u| u.max(10.0)));
    let title = w.fill(
        "finding.clip",
        &[
            ("tag", &o.year.tag),
            ("month", w.month(m)),
            ("hour", &h.to_string()),
            ("next", &(h + 1).to_string()),
            ("kwh", &kwh),
        ],
    );
    Some(by_hour(&format!("clipping-{}", safe(&o.year.tag)), title, &cells, w.t("chart.kwh"), 1, w))
}

/// Energy by in-plane light and cell temperature.
pub fn light_heat(o: &OptionView, w: &Words) -> Option<Figure> {
    let map = o.light_heat.as_ref()?;
    let (columns, rows) = (map.light_edges_w_m2.len().checked_sub(1)?, map.heat_edges_c.len().checked_sub(1)?);
    if columns == 0 || rows == 0 || map.kwh.len() != rows || map.kwh.iter().any(|r| r.len() != columns) {
        return None;
    }
    let n = w.style();
    let cells: Vec<Vec<f64>> = map.kwh.iter().rev().map(|r| r.iter().map(|v| finite(*v).max(0.0)).collect()).collect();
    let total: f64 = cells.iter().flatten().sum();
    let mut below = 0.0;
    let mut half = *map.light_edges_w_m2.last()?;
    for c in 0..columns {
        let here: f64 = cells.iter().map(|r| r[c]).sum();
        if below + here >= total / 2.0 && here > 0.0 {
            let (a, b) = (map.light_edges_w_m2[c], map.light_edges_w_m2[c + 1]);
            half = a + (b - a) * (total / 2.0 - below) / here;
            break;
        }
        below += here;
    }
    let half = (half / 10.0).round() * 10.0;
    let title = w.fill("finding.light-heat", &[("tag", &o.year.tag), ("g", &n.number(half, 0))]);
    let id = format!("light-heat-{}", safe(&o.year.tag));
    binned(&id, title, &map.light_edges_w_m2, &map.heat_edges_c, &map.kwh, w.t("chart.kwh-year"), w)
}

/// Energy by in-plane light (columns) and cell temperature (rows, coldest first); `None` when the edges do not fit.
pub(crate) fn binned(
    id: &str,
    title: String,
    light: &[f64],
    heat: &[f64],
    kwh: &[Vec<f64>],
    unit: &str,
    w: &Words,
) -> Option<Figure> {
    let (columns, rows) = (light.len().checked_sub(1)?, heat.len().checked_sub(1)?);
    if columns == 0 || rows == 0 || kwh.len() != rows || kwh.iter().any(|r| r.len() != columns) {
        return None;
    }
    let n = w.style();
    let cells: Vec<Vec<f64>> = kwh.iter().rev().map(|r| r.iter().map(|v| finite(*v).max(0.0)).collect()).collect();
    let short = unit.split_whitespace().next().unwrap_or(unit).trim_end_matches(',');
    let span = |e: &[f64], i: usize| format!("{}\u{2013}{}", n.number(e[i], 0), n.number(e[i + 1], 0));
    let name = |r: usize| {
        let i = rows - 1 - r;
        let (a, b) = (heat[i], heat[i + 1]);
        format!("{} \u{2026} {}", n.number(a, 0), n.number(b, 0))
    };
    let row_names: Vec<String> = (0..rows).map(name).collect();
    let mut table = Table { head: vec![format!("{}, \u{b0}C", w.t("col.cell"))], rows: Vec::new() };
    table.head.extend((0..columns).map(|c| format!("{} W/m\u{b2}", span(light, c))));
    for (r, row) in cells.iter().enumerate() {
        let mut line = vec![row_names[r].clone()];
        line.extend(row.iter().map(|v| if *v > 0.0 { n.number(*v, 0) } else { n.none.clone() }));
        table.rows.push(line);
    }
    let desc = format!("{}; {}; {}", w.t("chart.in-plane"), w.t("chart.cell-c"), unit);
    Some(figure(id, title, &desc, table, |size| {
        let every = size.pick(1, 2) * columns.div_ceil(14);
        draw(
            size,
            &Grid {
                cells: &cells,
                row_names: row_names.clone(),
                edges: (0..=columns).step_by(every).map(|c| (c, n.number(light[c], 0))).collect(),
                x_title: w.t("chart.in-plane"),
                y_title: w.t("chart.cell-c"),
                unit,
                decimals: 0,
                hover: Box::new(|r, c| {
                    format!(
                        "{} W/m\u{b2}, {} \u{b0}C: {} {short}",
                        span(light, c),
                        row_names[r],
                        n.number(cells[r][c], 0)
                    )
                }),
            },
            n,
        )
    }))
}

fn by_hour(id: &str, title: String, cells: &[Vec<f64>], unit: &str, decimals: i32, w: &Words) -> Figure {
    let n = w.style();
    let mut table = Table { head: vec![w.t("col.hour").to_string()], rows: Vec::new() };
    table.head.extend((0..12).map(|m| format!("{}, {unit}", w.month_short(m))));
    for h in 0..24 {
        let mut row = vec![h.to_string()];
        row.extend(cells.iter().map(|m| if m[h] > 0.0 { n.number(m[h], decimals) } else { n.none.clone() }));
        table.rows.push(row);
    }
    let desc = format!("{}; {unit}", w.t("chart.hour"));
    figure(id, title, &desc, table, |size| {
        draw(
            size,
            &Grid {
                cells,
                row_names: (0..12).map(|m| w.month_short(m).to_string()).collect(),
                edges: (0..=24).step_by(size.pick(2, 4)).map(|h| (h, h.to_string())).collect(),
                x_title: w.t("chart.hour"),
                y_title: "",
                unit,
                decimals,
                hover: Box::new(|m, h| {
                    format!("{}, {h}\u{2013}{} h: {} {unit}", w.month_short(m), h + 1, n.number(cells[m][h], decimals))
                }),
            },
            n,
        )
    })
}

fn peak(cells: &[Vec<f64>]) -> (usize, usize) {
    let mut best = (0, 0);
    for (r, row) in cells.iter().enumerate() {
        for (c, v) in row.iter().enumerate() {
            if *v > cells[best.0][best.1] {
                best = (r, c);
            }
        }
    }
    best
}

fn draw(size: Size, g: &Grid, n: &NumberStyle) -> Svg {
    let width = size.width();
    let left = g.row_names.iter().map(|l| text_width(l)).fold(0.0, f64::max) + 8.0;
    let columns = g.cells[0].len();
    let right = 14.0;
    let cell_w = (width - left - right) / columns as f64;
    let cell_h = size.pick(20.0, 17.0);
    let top = if g.y_title.is_empty() { 4.0 } else { 24.0 };
    let bottom = top + cell_h * g.cells.len() as f64;
    let mut s = Svg::new(width, bottom + 76.0);
    if !g.y_title.is_empty() {
        s.text(0.0, 13.0, At::Start, "s", g.y_title);
    }
    s.rect(left, top, cell_w * columns as f64, bottom - top, "ground", "");
    let max = g.cells.iter().flatten().fold(0.0f64, |a, b| a.max(*b));
    for (r, row) in g.cells.iter().enumerate() {
        let y = top + cell_h * r as f64;
        s.text(left - 8.0, y + cell_h / 2.0 + 4.0, At::End, "s", &g.row_names[r]);
        for (c, v) in row.iter().enumerate() {
            if *v > 0.0 && max > 0.0 {
                let step = ((v / max * STEPS as f64).ceil() as usize).clamp(1, STEPS) - 1;
                let x = left + cell_w * c as f64;
                s.rect(x, y, cell_w - 0.6, cell_h - 0.6, STEP_CLASS[step], &(g.hover)(r, c));
            }
        }
    }
    for (c, label) in &g.edges {
        let x = left + cell_w * *c as f64;
        s.line(x, bottom, x, bottom + 4.0, "axis");
        s.text_if_free(x, bottom + 17.0, At::Middle, "s", label);
    }
    s.text(width - right, bottom + 35.0, At::End, "s", g.x_title);
    let (x0, y0) = (left, bottom + 46.0);
    let w = size.pick(30.0, 18.0);
    for (i, class) in STEP_CLASS.iter().enumerate() {
        let (a, b) = (max * i as f64 / STEPS as f64, max * (i + 1) as f64 / STEPS as f64);
        let hover = format!("{}\u{2013}{} {}", n.number(a, g.decimals), n.number(b, g.decimals), g.unit);
        s.rect(x0 + w * i as f64, y0, w - 0.6, 11.0, class, &hover);
    }
    s.text(x0, y0 + 26.0, At::Start, "s", "0");
    s.text(x0 + w * STEPS as f64, y0 + 26.0, At::End, "s", &n.number(max, g.decimals));
    s.text(x0 + w * STEPS as f64 + 10.0, y0 + 10.0, At::Start, "s", g.unit);
    s
}

const STEP_CLASS: [&str; STEPS] = ["h0", "h1", "h2", "h3", "h4", "h5", "h6", "h7", "h8"];

/// A tag as part of an identifier.
pub(crate) fn safe(tag: &str) -> String {
    tag.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect()
}
