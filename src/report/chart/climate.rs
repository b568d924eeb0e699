//! Charts of skies side by side: gaps by sky, skies in the plane of heat and weak light, energy by light and heat.

use super::heat::binned;
use super::svg::{At, Key, Svg, legend, legend_rows, text_width};
use super::{Figure, Size, Table, figure, ticks};
use crate::report::words::Words;
use crate::weigh::climate::{BreakLine, ClimateStudy, SkyResult};

/// The gap of every further module against the first by sky, percent of yield.
pub fn climate_gaps(study: &ClimateStudy, w: &Words) -> Option<Figure> {
    let (first, others) = study.modules.split_first()?;
    if others.is_empty() || study.skies.is_empty() {
        return None;
    }
    let n = w.style();
    let widest = study.skies.iter().flat_map(|s| s.differences.iter().map(move |d| (s, d)));
    let (sky, d) = widest.reduce(|a, b| if b.1.pct.abs() > a.1.pct.abs() { b } else { a })?;
    let title = format!("{} differs most from {first} under {}: {} %", d.to, sky.name, n.signed(d.pct, 1));
    let mut table = Table { head: vec!["Sky".into()], rows: Vec::new() };
    table.head.extend(others.iter().map(|m| format!("{m}, %")));
    for s in &study.skies {
        let mut row = vec![s.name.clone()];
        row.extend(s.differences.iter().map(|d| n.signed(d.pct, 2)));
        table.rows.push(row);
    }
    let desc = format!("Yield per kW against {first}, percent, by sky");
    Some(figure("climate-gaps", title, &desc, table, |size| {
        let width = size.width();
        let names: Vec<&str> = others.iter().map(String::as_str).collect();
        let top = 34.0 + 19.0 * legend_rows(width, 0.0, &names, 20.0) as f64;
        let bar = 11.0;
        let slot = 26.0 + bar * others.len() as f64;
        let bottom = top + slot * study.skies.len() as f64;
        let mut s = Svg::new(width, bottom + 26.0);
        let classes: Vec<String> = (1..=others.len()).map(|i| format!("o{}", i % 8)).collect();
        let entries: Vec<(Key, String)> =
            others.iter().zip(&classes).map(|(m, c)| (Key::Swatch(c), m.clone())).collect();
        legend(&mut s, 0.0, 13.0, &entries);
        s.text(0.0, top - 14.0, At::Start, "s", &format!("percent more yield per kW than {first}"));
        let all = || study.skies.iter().flat_map(|s| s.differences.iter().map(|d| d.pct));
        let (marks, decimals) = ticks(all().fold(0.0, f64::min), all().fold(0.0, f64::max), size.pick(8, 4));
        let (lo, hi) = (marks[0], marks[marks.len() - 1]);
        let right = 52.0;
        let x = |v: f64| 12.0 + (width - 12.0 - right) * (v - lo) / (hi - lo);
        for t in &marks {
            s.line(x(*t), top, x(*t), bottom, if *t == 0.0 { "axis" } else { "grid" });
            s.text_if_free(x(*t), bottom + 17.0, At::Middle, "s", &n.number(*t, decimals));
        }
        for (r, sky) in study.skies.iter().enumerate() {
            let y = top + slot * r as f64;
            s.text(12.0, y + 15.0, At::Start, "s", &sky.name);
            for (i, d) in sky.differences.iter().enumerate() {
                let y = y + 20.0 + bar * i as f64;
                let hover = format!("{}, {}: {} %", sky.name, d.to, n.signed(d.pct, 2));
                s.rect(x(d.pct.min(0.0)), y, x(d.pct.max(0.0)) - x(d.pct.min(0.0)), bar - 2.0, &classes[i], &hover);
                s.text_if_free(x(d.pct.max(0.0)) + 5.0, y + 9.0, At::Start, "s", &n.signed(d.pct, 1));
            }
        }
        s
    }))
}

/// The skies in the plane of cell temperature and share of weak light, with the line where the ranking turns.
pub fn climate_plane(study: &ClimateStudy, line: &BreakLine, w: &Words) -> Option<Figure> {
    let n = w.style();
    if study.skies.is_empty() {
        return None;
    }
    let k = study.modules.iter().position(|m| *m == line.to)?.checked_sub(1)?;
    let ahead = study.skies.iter().filter(|s| s.differences[k].pct > 0.0).count();
    let title = match (line.within_skies, ahead) {
        (true, _) => format!("The ranking of {} and {} turns among these skies", line.to, line.from),
        (false, 0) => format!("{} stays ahead of {} under all these skies", line.from, line.to),
        _ => format!("{} stays ahead of {} under all these skies", line.to, line.from),
    };
    let mut table = Table {
        head: vec![
            "Sky".into(),
            "Cell, \u{b0}C".into(),
            "Below 400 W/m\u{b2}, %".into(),
            "Gap, %".into(),
            "By the line, %".into(),
        ],
        rows: Vec::new(),
    };
    for s in &study.skies {
        table.rows.push(vec![
            s.name.clone(),
            n.number(s.mean_cell_c, 1),
            n.number(100.0 * s.below_400, 1),
            n.signed(s.differences[k].pct, 2),
            n.signed(line.gap_pct(s.mean_cell_c, s.below_400), 2),
        ]);
    }
    let desc = "Light-weighted cell temperature against the share of light below 400 W/m2".to_string();
    let id = format!("climate-plane-{}", k + 1);
    Some(figure(&id, title, &desc, table, |size| plane(size, study, line, k, w)))
}

fn plane(size: Size, study: &ClimateStudy, line: &BreakLine, k: usize, w: &Words) -> Svg {
    let n = w.style();
    let width = size.width();
    let plot = size.pick(300.0, 240.0);
    let (top, left, right) = (30.0, 40.0, 20.0);
    let bottom = top + plot;
    let mut s = Svg::new(width, bottom + 44.0);
    let span = |f: &dyn Fn(&SkyResult) -> f64, pad: f64| {
        let all = || study.skies.iter().map(f);
        (all().fold(f64::INFINITY, f64::min) - pad, all().fold(f64::NEG_INFINITY, f64::max) + pad)
    };
    let (t_lo, t_hi) = span(&|s| s.mean_cell_c, 3.0);
    let (w_lo, w_hi) = span(&|s| 100.0 * s.below_400, 4.0);
    let (x_marks, xd) = ticks(w_lo.max(0.0), w_hi.min(100.0), size.pick(8, 5));
    let (y_marks, yd) = ticks(t_lo, t_hi, 6);
    let (x0, x1) = (x_marks[0], x_marks[x_marks.len() - 1]);
    let (y0, y1) = (y_marks[0], y_marks[y_marks.len() - 1]);
    let x = |v: f64| left + (width - left - right) * (v - x0) / (x1 - x0);
    let y = |v: f64| top + plot * (1.0 - (v - y0) / (y1 - y0));
    s.text(0.0, 13.0, At::Start, "s", "light-weighted cell temperature, \u{b0}C");
    for t in &y_marks {
        s.line(left, y(*t), width - right, y(*t), "grid");
        s.text(left - 6.0, y(*t) + 4.0, At::End, "s", &n.number(*t, yd));
    }
    for t in &x_marks {
        s.line(x(*t), bottom, x(*t), bottom + 4.0, "axis");
        s.text_if_free(x(*t), bottom + 18.0, At::Middle, "s", &n.number(*t, xd));
    }
    s.line(left, bottom, width - right, bottom, "axis");
    s.text(width - right, bottom + 37.0, At::End, "s", "share of light below 400 W/m\u{b2}, %");
    // The line, cut to the drawing.
    if let Some([at, slope]) = line.turns_at_c {
        let on = |share: f64| at + slope * share / 100.0;
        let points: Vec<[f64; 2]> = (0..=200)
            .map(|i| x0 + (x1 - x0) * f64::from(i) / 200.0)
            .map(|share| [share, on(share)])
            .filter(|p| p[1] >= y0 && p[1] <= y1)
            .map(|p| [x(p[0]), y(p[1])])
            .collect();
        if points.len() > 1 {
            s.path(&points, false, "l0", &format!("{} and {} give the same per kW", line.from, line.to));
        }
    }
    for sky in &study.skies {
        let gap = sky.differences[k].pct;
        let (px, py) = (x(100.0 * sky.below_400), y(sky.mean_cell_c));
        // The marker is that of the module that is ahead.
        let series = if gap > 0.0 { k + 1 } else { 0 };
        s.marker(series, px, py, &format!("{}: {} {} %", sky.name, line.to, n.signed(gap, 2)));
        let label = format!("{} {} %", sky.name, n.signed(gap, 1));
        let over = px + 8.0 + text_width(&label) > width - 2.0;
        let (lx, at) = if over { (px - 8.0, At::End) } else { (px + 8.0, At::Start) };
        let _ = s.text_if_free(lx, py + 4.0, at, "s", &label) || s.text_if_free(lx, py - 9.0, at, "s", &label);
    }
    s
}

/// Energy of one module under one sky by in-plane light and cell temperature.
pub fn climate_bins(sky: &SkyResult, module: usize, id: &str, w: &Words) -> Option<Figure> {
    let m = sky.modules.get(module)?;
    let n = w.style();
    let title = format!(
        "{} under {}: its energy comes at {} W/m\u{b2} and {} \u{b0}C in the mean",
        m.module,
        sky.name,
        n.number((m.mean_light_w_m2 / 10.0).round() * 10.0, 0),
        n.number(m.mean_cell_c, 0)
    );
    binned(id, title, &m.bins.light_edges_w_m2, &m.bins.heat_edges_c, &m.bins.e_kwh_per_kw, "kWh/kW a year", w)
}
