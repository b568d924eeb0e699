//! Charts made of labelled rows on one horizontal scale: account, split of the gap, doubt, string voltages.

use super::heat::safe;
use super::svg::{At, Key, Svg, fit, legend, legend_rows, text_width};
use super::{Figure, Size, Table, figure, finite, ticks};
use crate::energy::Effect;
use crate::report::number::{NumberStyle, decimals_for};
use crate::report::view::{GapView, OptionView, Proposal};
use crate::report::words::Words;

/// Normal quantile at 90 %, z of P90. Source: tables of the normal distribution, 1.28155.
const Z90: f64 = 1.281_551_565_544_6;

struct Row {
    label: String,
    values: Vec<String>,
    strong: bool,
}

struct Rows<'a> {
    rows: Vec<Row>,
    /// Heads of the value columns.
    heads: Vec<String>,
    /// Height of the marks of a row, px.
    marks: f64,
    range: [f64; 2],
    ticks: Vec<f64>,
    decimals: i32,
    unit: &'a str,
    legend: Vec<(String, String)>,
}

/// Draws the marks of a row: drawing, row, top of the marks, scale.
type Mark<'a> = dyn Fn(&mut Svg, usize, f64, &dyn Fn(f64) -> f64) + 'a;

impl Rows<'_> {
    /// `mark(svg, row, y, x)` draws the marks of a row between `y` and `y + self.marks`.
    fn draw(&self, size: Size, n: &NumberStyle, mark: &Mark) -> Svg {
        let width = size.width();
        let narrow = size == Size::Narrow;
        let columns: Vec<f64> = (0..self.heads.len())
            .map(|c| {
                let cells = self.rows.iter().filter_map(|r| r.values.get(c)).map(|v| text_width(v));
                cells.fold(text_width(&self.heads[c]), f64::max) + 12.0
            })
            .collect();
        let values: f64 = columns.iter().sum();
        let label = self.rows.iter().map(|r| text_width(&r.label)).fold(0.0, f64::max).min(size.pick(215.0, 400.0));
        let (x0, x1) = size.pick((label + 14.0, width - values - 12.0), (6.0, width - 6.0));
        let (first, last) = (self.range[0], self.range[1]);
        let span = if last > first { last - first } else { 1.0 };
        let x = move |v: f64| x0 + (x1 - x0) * ((finite(v) - first) / span).clamp(0.0, 1.0);
        let names: Vec<&str> = self.legend.iter().map(|(_, l)| l.as_str()).collect();
        let legend_h = if names.is_empty() { 0.0 } else { 19.0 * legend_rows(width, 0.0, &names, 20.0) as f64 + 8.0 };
        let heads = self.heads.iter().any(|h| !h.is_empty());
        let top = legend_h + if heads { 22.0 } else { 4.0 };
        let pitch = if narrow { self.marks + 27.0 } else { (self.marks + 9.0).max(23.0) };
        let bottom = top + pitch * self.rows.len() as f64 + 2.0;
        let mut s = Svg::new(width, bottom + 38.0);
        let entries: Vec<(Key, String)> = self.legend.iter().map(|(c, l)| (Key::Swatch(c), l.clone())).collect();
        if !entries.is_empty() {
            legend(&mut s, 0.0, 13.0, &entries);
        }
        for t in &self.ticks {
            s.line(x(*t), top, x(*t), bottom, if *t == 0.0 && first < 0.0 { "axis" } else { "grid" });
        }
        s.line(x0, bottom, x1, bottom, "axis");
        for t in &self.ticks {
            s.text_if_free(x(*t), bottom + 15.0, At::Middle, "s", &n.number(*t, self.decimals));
        }
        s.text(x1, bottom + 32.0, At::End, "s", self.unit);
        let edges: Vec<f64> = (0..columns.len()).map(|c| width - 2.0 - columns[c + 1..].iter().sum::<f64>()).collect();
        for (c, head) in self.heads.iter().enumerate().filter(|(_, h)| !h.is_empty()) {
            s.text(edges[c], legend_h + 14.0, At::End, "s", head);
        }
        for (i, row) in self.rows.iter().enumerate() {
            let y = top + pitch * i as f64;
            let (base, mark_y) =
                if narrow { (y + 15.0, y + 20.0) } else { (y + pitch / 2.0 + 4.0, y + (pitch - self.marks) / 2.0) };
            mark(&mut s, i, mark_y, &x);
            let class = if row.strong { "b" } else { "" };
            let room = if narrow { width - values - 6.0 } else { label };
            s.text(0.0, base, At::Start, class, &fit(&row.label, room));
            for (c, value) in row.values.iter().enumerate() {
                s.text(edges[c], base, At::End, class, value);
            }
        }
        s
    }
}

fn names(o: &OptionView) -> String {
    format!("{} {}", o.year.tag, o.module_name)
}

/// The account of all options: bars that step down from nominal to delivered energy, percent of nominal.
pub fn account(p: &Proposal, w: &Words) -> Option<Figure> {
    let n = w.style();
    let options: Vec<&OptionView> = p.options.iter().take(4).collect();
    let nominal: Vec<f64> = options.iter().map(|o| o.year.account.nominal_kwh.iter().sum()).collect();
    if options.is_empty() || nominal.iter().any(|x: &f64| !x.is_finite() || *x <= 0.0) {
        return None;
    }
    let share = |o: &OptionView, i: usize, e: Effect| {
        o.year.account.lines.iter().find(|l| l.effect == e).map_or(0.0, |l| finite(100.0 * l.kwh() / nominal[i]))
    };
    let effects: Vec<Effect> = Effect::ALL
        .into_iter()
        .filter(|e| options.iter().any(|o| o.year.account.lines.iter().any(|l| l.effect == *e)))
        .collect();
    // Levels before each effect, and after the last.
    let levels: Vec<Vec<f64>> = options
        .iter()
        .enumerate()
        .map(|(i, o)| {
            let mut level = 100.0;
            let mut all = vec![level];
            for e in &effects {
                level += share(o, i, *e);
                all.push(level);
            }
            all
        })
        .collect();
    let flat = || levels.iter().flatten().copied();
    let low = ((flat().fold(100.0, f64::min) - 3.0) / 5.0).floor() * 5.0;
    let low = low.max(0.0);
    let high = (flat().fold(100.0, f64::max) / 5.0).ceil() * 5.0;
    let (marks, decimals) = ticks(low, high, 5);
    let marks: Vec<f64> = marks.into_iter().filter(|t| *t >= low - 1e-9 && *t <= high + 1e-9).collect();
    let mut rows = vec![Row {
        label: w.t("col.nominal").into(),
        values: options.iter().map(|_| n.number(100.0, 1)).collect(),
        strong: true,
    }];
    for e in &effects {
        let has = |o: &OptionView| o.year.account.lines.iter().any(|l| l.effect == *e);
        let show = |(i, o): (usize, &&OptionView)| if has(o) { n.signed(share(o, i, *e), 1) } else { n.none.clone() };
        let values = options.iter().enumerate().map(show).collect();
        rows.push(Row { label: w.effect(*e).into(), values, strong: false });
    }
    let last: Vec<f64> = levels.iter().map(|l| l[l.len() - 1]).collect();
    rows.push(Row {
        label: w.t("col.delivered").into(),
        values: last.iter().map(|v| n.number(*v, 1)).collect(),
        strong: true,
    });
    let best = p.best().min(options.len() - 1);
    let worst = effects
        .iter()
        .copied()
        .reduce(|a, b| if share(options[best], best, b) < share(options[best], best, a) { b } else { a });
    let title = w.fill(
        "finding.account",
        &[
            ("tag", &options[best].year.tag),
            ("percent", &n.number(last[best], 1)),
            ("effect", worst.map_or("", |e| w.effect(e))),
        ],
    );
    let mut table = Table { head: vec![w.t("col.effect").to_string()], rows: Vec::new() };
    for o in &p.options {
        table.head.push(format!("{}, kWh", o.year.tag));
        table.head.push(format!("{}, % {}", o.year.tag, w.t("col.of-nominal")));
    }
    let line = |label: &str, f: &dyn Fn(&OptionView) -> Option<f64>, signed: bool| {
        let mut row = vec![label.to_string()];
        for o in &p.options {
            let base: f64 = o.year.account.nominal_kwh.iter().sum();
            match f(o) {
                Some(kwh) if signed => row.extend([n.signed(kwh, 0), n.signed(100.0 * kwh / base, 2)]),
                Some(kwh) => row.extend([n.number(kwh, 0), n.number(100.0 * kwh / base, 2)]),
                None => row.extend([n.none.clone(), n.none.clone()]),
            }
        }
        row
    };
    table.rows.push(line(w.t("col.nominal"), &|o| Some(o.year.account.nominal_kwh.iter().sum()), false));
    for e in &effects {
        let of = |o: &OptionView| o.year.account.lines.iter().find(|l| l.effect == *e).map(|l| l.kwh());
        table.rows.push(line(w.effect(*e), &of, true));
    }
    table.rows.push(line(w.t("col.delivered"), &|o| Some(o.year.account.delivered_kwh.iter().sum()), false));
    let unit = if low > 0.0 {
        format!("{}; {}", w.t("chart.percent-nominal"), w.fill("chart.axis-break", &[("start", &n.number(low, 0))]))
    } else {
        w.t("chart.percent-nominal").to_string()
    };
    let lane = if options.len() == 1 { 12.0 } else { 8.0 };
    let count = rows.len();
    let chart = Rows {
        rows,
        heads: options.iter().map(|o| fit(&o.year.tag, 60.0)).collect(),
        marks: lane * options.len() as f64,
        range: [low, high],
        ticks: marks,
        decimals,
        unit: &unit,
        legend: options.iter().enumerate().map(|(i, o)| (format!("o{i}"), names(o))).collect(),
    };
    let desc = chart.legend.iter().map(|(_, l)| l.as_str()).collect::<Vec<_>>().join(", ");
    let desc = format!("{desc}; {unit}");
    Some(figure("account", title, &desc, table, |size| {
        chart.draw(size, n, &|s, row, y, x| {
            for (i, o) in options.iter().enumerate() {
                let y = y + lane * i as f64;
                let level = &levels[i];
                if row == 0 || row == count - 1 {
                    let v = if row == 0 { 100.0 } else { last[i] };
                    let hover = format!("{}: {} %", names(o), n.number(v, 1));
                    s.rect(x(low), y, x(v) - x(low), lane - 1.5, &format!("o{i}"), &hover);
                } else {
                    let (before, after) = (level[row - 1], level[row]);
                    let hover =
                        format!("{}, {}: {} %", names(o), w.effect(effects[row - 1]), n.signed(after - before, 2));
                    s.rect(x(low), y, x(before.min(after)) - x(low), lane - 1.5, &format!("o{i} pale"), &hover);
                    let (a, b) = (x(before.min(after)), x(before.max(after)));
                    let least = if before == after { 0.0 } else { 0.8 };
                    s.rect(a, y, (b - a).max(least), lane - 1.5, &format!("o{i}"), &hover);
                }
            }
        })
    }))
}

/// The causes of the gap between an option and the first.
pub fn gap_split(g: &GapView, index: usize, w: &Words) -> Option<Figure> {
    if g.causes.is_empty() {
        return None;
    }
    let n = w.style();
    let d = g.u_kwh.map_or(0, |u| decimals_for(u).max(-1));
    let biggest = g.causes.iter().reduce(|a, b| if b.kwh.abs() > a.kwh.abs() { b } else { a })?;
    let title = if biggest.kwh == 0.0 {
        w.fill("finding.gap-none", &[("b", &g.tag), ("a", &g.against)])
    } else {
        w.fill(
            "finding.gap",
            &[("cause", w.cause(&biggest.name)), ("kwh", &n.signed(g.kwh, d)), ("b", &g.tag), ("a", &g.against)],
        )
    };
    let lines: Vec<(String, f64)> = g
        .causes
        .iter()
        .map(|c| (w.cause(&c.name).to_string(), finite(c.kwh)))
        .chain([(w.t("col.total").to_string(), finite(g.kwh))])
        .collect();
    let lo = lines.iter().map(|l| l.1).fold(0.0, f64::min);
    let hi = lines.iter().map(|l| l.1).fold(0.0, f64::max);
    let (marks, decimals) = ticks(lo, hi, 5);
    let mut table = Table { head: vec![w.t("col.cause").into(), "kWh".into()], rows: Vec::new() };
    table.rows = lines.iter().map(|(l, v)| vec![l.clone(), n.signed(*v, d)]).collect();
    let last = lines.len() - 1;
    let chart = Rows {
        rows: lines
            .iter()
            .enumerate()
            .map(|(i, (l, v))| Row { label: l.clone(), values: vec![n.signed(*v, d)], strong: i == last })
            .collect(),
        heads: vec![String::new()],
        marks: 13.0,
        range: [marks[0], marks[marks.len() - 1]],
        ticks: marks,
        decimals,
        unit: w.t("chart.kwh-year"),
        legend: Vec::new(),
    };
    let class = format!("o{}", index % 8);
    Some(figure(&format!("gap-{}", safe(&g.tag)), title, w.t("text.gap"), table, |size| {
        chart.draw(size, n, &|s, row, y, x| {
            let (label, v) = &lines[row];
            let (a, b) = (x(v.min(0.0)), x(v.max(0.0)));
            let hover = format!("{label}: {} kWh", n.signed(*v, d));
            s.rect(a, y, (b - a).max(0.8), 13.0, if row == last { "ink" } else { &class }, &hover);
        })
    }))
}

/// The band from P90 to P10 of every option.
pub fn bands(p: &Proposal, w: &Words) -> Option<Figure> {
    let n = w.style();
    let mega = p.options.iter().any(|o| o.year.e_ac_kwh() >= 1e6);
    let scale = if mega { 1e-3 } else { 1.0 };
    let all: Vec<(usize, &OptionView, f64, f64)> = p
        .options
        .iter()
        .enumerate()
        .filter_map(|(i, o)| {
            let kwh = finite(o.year.e_ac_kwh());
            o.u_of(kwh).filter(|u| u.is_finite() && *u > 0.0).map(|u| (i, o, kwh * scale, u * scale))
        })
        .collect();
    let (_, first, e, u) = *all.first()?;
    let short = w.t(if mega { "chart.mwh" } else { "chart.kwh" });
    let title = if all.len() > 1 {
        let low = all.iter().map(|(_, _, e, u)| e + Z90 * u).fold(f64::MAX, f64::min);
        let high = all.iter().map(|(_, _, e, u)| e - Z90 * u).fold(f64::MIN, f64::max);
        w.t(if high > low { "finding.bands-apart" } else { "finding.bands" }).to_string()
    } else {
        w.fill("finding.bands-one", &[("tag", &first.year.tag), ("p90", &n.rounded(e - Z90 * u, Some(u)))])
    };
    let mut table = Table {
        head: ["col.option", "col.p90", "col.p50", "col.p10", "col.doubt"].map(|k| w.t(k).to_string()).to_vec(),
        rows: Vec::new(),
    };
    for h in table.head.iter_mut().skip(1) {
        *h = format!("{h}, {short}");
    }
    for (_, o, e, u) in &all {
        let r = |x: f64| n.rounded(x, Some(*u));
        table.rows.push(vec![names(o), r(e - Z90 * u), r(*e), r(e + Z90 * u), r(*u)]);
    }
    let lo = all.iter().map(|(_, _, e, u)| e - 2.0 * u).fold(f64::MAX, f64::min);
    let hi = all.iter().map(|(_, _, e, u)| e + 2.0 * u).fold(f64::MIN, f64::max);
    let (marks, decimals) = ticks(lo, hi, 4);
    let unit = format!("{}; {}", w.t(if mega { "chart.mwh-year" } else { "chart.kwh-year" }), w.t("chart.band-short"));
    let chart = Rows {
        rows: all
            .iter()
            .map(|(_, o, e, u)| Row { label: names(o), values: vec![n.with_doubt(*e, Some(*u))], strong: false })
            .collect(),
        heads: vec![String::new()],
        marks: 16.0,
        range: [marks[0], marks[marks.len() - 1]],
        ticks: marks,
        decimals,
        unit: &unit,
        legend: Vec::new(),
    };
    Some(figure("bands", title, w.t("chart.band"), table, |size| {
        chart.draw(size, n, &|s, row, y, x| {
            let (i, o, e, u) = all[row];
            let (a, b) = (x(e - Z90 * u), x(e + Z90 * u));
            let (p90, p10) = (n.rounded(e - Z90 * u, Some(u)), n.rounded(e + Z90 * u, Some(u)));
            s.rect(
                a,
                y + 2.0,
                b - a,
                12.0,
                &format!("o{} half", i % 8),
                &format!("{}: {p90} \u{2026} {p10} {short}", names(o)),
            );
            s.line(x(e), y, x(e), y + 16.0, "mark");
        })
    }))
}

/// The band of every gap to the first option, against zero.
pub fn gap_bands(p: &Proposal, w: &Words) -> Option<Figure> {
    let n = w.style();
    let all: Vec<(usize, GapView, f64)> = (1..p.options.len())
        .filter_map(|i| {
            let g = p.gap_of(i)?;
            let u = g.u_kwh.filter(|u| u.is_finite() && *u >= 0.0)?;
            Some((i, g, u))
        })
        .collect();
    let (_, g, u) = all.iter().reduce(|a, b| if b.1.kwh.abs() > a.1.kwh.abs() { b } else { a })?;
    let sure = g.kwh.abs() > Z90 * u;
    let key = if sure { "finding.gap-band-sure" } else { "finding.gap-band-open" };
    let title = w.fill(key, &[("b", &g.tag), ("a", &g.against)]);
    let heads = ["col.option", "col.p90", "col.p50", "col.p10", "col.doubt"];
    let mut table = Table { head: heads.map(|k| format!("{}, kWh", w.t(k))).to_vec(), rows: Vec::new() };
    table.head[0] = w.t("col.option").to_string();
    table.head.push(format!("{}, %", w.t("col.likely")));
    for (_, g, u) in &all {
        let d = decimals_for(*u);
        let likely = g.likely.map_or(n.none.clone(), |l| n.number(l * 100.0, 0));
        table.rows.push(vec![
            format!("{} \u{2212} {}", g.tag, g.against),
            n.signed(g.kwh - Z90 * u, d),
            n.signed(g.kwh, d),
            n.signed(g.kwh + Z90 * u, d),
            n.number(*u, d),
            likely,
        ]);
    }
    let lo = all.iter().map(|(_, g, u)| g.kwh - 2.0 * u).fold(0.0, f64::min);
    let hi = all.iter().map(|(_, g, u)| g.kwh + 2.0 * u).fold(0.0, f64::max);
    let (marks, decimals) = ticks(finite(lo), finite(hi), 5);
    let unit = format!("{}; {}", w.t("chart.kwh-year"), w.t("chart.band-short"));
    let chart = Rows {
        rows: all
            .iter()
            .map(|(_, g, u)| Row {
                label: format!("{} \u{2212} {}", g.tag, g.against),
                values: vec![n.with_doubt(g.kwh, Some(*u))],
                strong: false,
            })
            .collect(),
        heads: vec![String::new()],
        marks: 16.0,
        range: [marks[0], marks[marks.len() - 1]],
        ticks: marks,
        decimals,
        unit: &unit,
        legend: Vec::new(),
    };
    let zero = w.t("chart.zero");
    Some(figure("gap-bands", title, &format!("{}; 0: {zero}", w.t("chart.band")), table, |size| {
        chart.draw(size, n, &|s, row, y, x| {
            let (i, g, u) = &all[row];
            let (a, b) = (x(g.kwh - Z90 * u), x(g.kwh + Z90 * u));
            let d = decimals_for(*u);
            let hover = format!("{} \u{2026} {} kWh", n.signed(g.kwh - Z90 * u, d), n.signed(g.kwh + Z90 * u, d));
            s.rect(a, y + 2.0, (b - a).max(0.8), 12.0, &format!("o{} half", i % 8), &hover);
            s.line(x(g.kwh), y, x(g.kwh), y + 16.0, "mark");
        })
    }))
}

/// The price asked for each further option against the price at which it pays no better than the first.
pub fn price(p: &Proposal, w: &Words) -> Option<Figure> {
    let n = w.style();
    let good = |x: Option<f64>| x.filter(|x| x.is_finite());
    let all: Vec<(usize, &str, f64, f64, &str)> = p
        .money
        .iter()
        .filter_map(|m| {
            let i = p.options.iter().position(|o| o.year.tag == m.tag)?;
            let (asked, limit) = (good(m.price_per_w)?, good(m.break_even_per_w)?);
            Some((i, m.tag.as_str(), asked, limit, m.currency.as_str()))
        })
        .collect();
    let (_, tag, asked, limit, currency) = *all.iter().reduce(|a, b| if b.3 - b.2 > a.3 - a.2 { b } else { a })?;
    let values = [("b", tag), ("price", &n.number(asked, 3)), ("limit", &n.number(limit, 3)), ("currency", currency)];
    let title = w.fill(if asked <= limit { "finding.price-pays" } else { "finding.price-not" }, &values);
    let unit = format!("{currency}/W");
    let head = ["col.price", "col.break-even"].map(|k| format!("{}, {unit}", w.t(k)));
    let mut table = Table { head: vec![w.t("col.option").to_string()], rows: Vec::new() };
    table.head.extend(head);
    for (_, tag, asked, limit, _) in &all {
        table.rows.push(vec![tag.to_string(), n.number(*asked, 3), n.number(*limit, 3)]);
    }
    let lo = all.iter().map(|x| x.2.min(x.3)).fold(0.0, f64::min);
    let hi = all.iter().map(|x| x.2.max(x.3)).fold(0.0, f64::max);
    let (marks, decimals) = ticks(lo, hi * 1.05, 5);
    let axis = format!("{unit}; {}", w.t("chart.price"));
    let chart = Rows {
        rows: all
            .iter()
            .map(|(i, _, asked, limit, _)| Row {
                label: names(&p.options[*i]),
                values: vec![n.number(*asked, 3), n.number(*limit, 3)],
                strong: false,
            })
            .collect(),
        heads: ["chart.asked", "chart.price-limit"].map(|k| w.t(k).to_string()).to_vec(),
        marks: 16.0,
        range: [marks[0], marks[marks.len() - 1]],
        ticks: marks,
        decimals,
        unit: &axis,
        legend: Vec::new(),
    };
    Some(figure("price", title, w.t("chart.price"), table, |size| {
        chart.draw(size, n, &|s, row, y, x| {
            let (i, tag, asked, limit, _) = all[row];
            let (a, b) = (x(limit.min(0.0)), x(limit.max(0.0)));
            let hover = format!("{tag}: {} {unit}", n.number(limit, 3));
            s.rect(a, y + 2.0, (b - a).max(0.8), 12.0, &format!("o{} half", i % 8), &hover);
            s.line(x(asked), y, x(asked), y + 16.0, "mark");
        })
    }))
}

/// Voltages of the strings between hot and cold, against window and limit.
pub fn ladder(p: &Proposal, w: &Words) -> Option<Figure> {
    let n = w.style();
    struct Rung<'a> {
        index: usize,
        option: &'a OptionView,
        row: &'a crate::report::view::StringRow,
        limit: Option<f64>,
        window: Option<[f64; 2]>,
    }
    let rungs: Vec<Rung> = p
        .options
        .iter()
        .enumerate()
        .filter_map(|(index, option)| option.strings.as_ref().map(|s| (index, option, s)))
        .flat_map(|(index, option, s)| {
            s.rows.iter().map(move |row| Rung { index, option, row, limit: s.v_limit, window: s.window_v })
        })
        .collect();
    if rungs.is_empty() {
        return None;
    }
    let margin = |r: &Rung| r.limit.filter(|l| *l > 0.0).map(|l| 100.0 * (l - finite(r.row.v_oc_cold)) / l);
    let tight = rungs.iter().filter(|r| margin(r).is_some()).reduce(|a, b| if margin(b) < margin(a) { b } else { a });
    let title = match tight.and_then(|r| margin(r).map(|m| (r, m))) {
        None => w.t("finding.ladder-open").to_string(),
        Some((r, m)) => w.fill(
            if m < 0.0 { "finding.ladder-over" } else { "finding.ladder" },
            &[("percent", &n.number(m.abs(), 1)), ("tag", &r.option.year.tag), ("n", &r.row.modules.to_string())],
        ),
    };
    let heads = ["col.string", "col.v-mp-hot", "col.v-mp-stc", "col.v-oc-cold"];
    let mut table = Table { head: heads.map(|k| format!("{}, V", w.t(k))).to_vec(), rows: Vec::new() };
    table.head[0] = w.t("col.string").to_string();
    table.head.push(format!("{}, %", w.t("col.margin")));
    let label = |r: &Rung| format!("{}  {} \u{d7} {}", r.option.year.tag, r.row.count, r.row.modules);
    for r in &rungs {
        let m = margin(r).map_or(n.none.clone(), |m| n.signed(m, 1));
        table.rows.push(vec![
            label(r),
            n.number(r.row.v_mp_hot, 0),
            n.number(r.row.v_mp_stc, 0),
            n.number(r.row.v_oc_cold, 1),
            m,
        ]);
    }
    let hi = rungs
        .iter()
        .flat_map(|r| [Some(r.row.v_oc_cold), r.limit, r.window.map(|v| v[1])])
        .flatten()
        .fold(0.0f64, |a, b| a.max(finite(b)));
    let (marks, decimals) = ticks(0.0, hi * 1.02, 6);
    let mut keys = vec![("window".to_string(), w.t("chart.window").to_string())];
    let limits: Vec<f64> = rungs.iter().filter_map(|r| r.limit).collect();
    if let Some(l) = limits.first().filter(|l| limits.iter().all(|k| k == *l)) {
        keys.push(("limit-key".into(), w.fill("chart.limit", &[("v", &n.number(*l, 0))])));
    }
    let chart = Rows {
        rows: rungs
            .iter()
            .map(|r| Row {
                label: label(r),
                values: vec![margin(r).map_or(n.none.clone(), |m| format!("{}\u{a0}%", n.signed(m, 1)))],
                strong: false,
            })
            .collect(),
        heads: vec![w.t("col.margin").to_string()],
        marks: 18.0,
        range: [0.0, marks[marks.len() - 1]],
        ticks: marks,
        decimals,
        unit: w.t("chart.volt"),
        legend: keys,
    };
    Some(figure("ladder", title, w.t("text.strings"), table, |size| {
        chart.draw(size, n, &|s, i, y, x| {
            let r = &rungs[i];
            if let Some([a, b]) = r.window {
                let hover = format!("{}: {}\u{2013}{} V", w.t("chart.window"), n.number(a, 0), n.number(b, 0));
                s.rect(x(a), y, x(b) - x(a), 18.0, "window", &hover);
            }
            let hover = format!(
                "{}: {} {} V, {} {} V",
                label(r),
                w.t("chart.hot"),
                n.number(r.row.v_mp_hot, 0),
                w.t("chart.cold"),
                n.number(r.row.v_oc_cold, 0)
            );
            let (a, b) = (x(r.row.v_mp_hot), x(r.row.v_oc_cold));
            s.rect(a, y + 5.0, b - a, 8.0, &format!("o{}", r.index % 8), &hover);
            s.line(x(r.row.v_mp_stc), y + 3.0, x(r.row.v_mp_stc), y + 15.0, "mark");
            if let Some(l) = r.limit {
                s.line(x(l), y - 2.0, x(l), y + 20.0, "limit");
            }
        })
    }))
}
