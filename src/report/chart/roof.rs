//! The map of a roof plane: slots to scale, obstacles, shaded slots tinted by what they lose.

use super::heat::safe;
use super::svg::{At, Key, Svg, legend, legend_rows};
use super::{Figure, Size, Table, figure, finite, ticks};
use crate::report::view::{ObstacleView, RoofView, SlotView};
use crate::report::words::Words;

const TINTS: [&str; 5] = ["h0", "h2", "h4", "h6", "h8"];

/// The map of one plane for one option.
pub fn roof(r: &RoofView, index: usize, w: &Words) -> Option<Figure> {
    if r.outline_m.len() < 3 || r.slots.is_empty() {
        return None;
    }
    let n = w.style();
    let used = r.slots.iter().filter(|s| s.used).count();
    let shaded = r.slots.iter().filter(|s| s.used && s.shaded).count();
    let title = w.fill(
        "finding.roof",
        &[
            ("tag", &r.tag),
            ("plane", &r.plane),
            ("used", &used.to_string()),
            ("all", &r.slots.len().to_string()),
            ("shaded", &shaded.to_string()),
        ],
    );
    let max = r.slots.iter().map(|s| finite(s.lost_kwh)).fold(0.0, f64::max);
    let (steps, decimals) = ticks(0.0, max.max(1.0), 4);
    let bounds: Vec<f64> = steps.iter().copied().filter(|t| *t > 0.0).take(TINTS.len()).collect();
    let tint = |s: &SlotView| match bounds.iter().position(|b| s.lost_kwh <= *b) {
        _ if !s.shaded || !s.lost_kwh.is_finite() => "slot",
        Some(i) => TINTS[i.min(TINTS.len() - 1)],
        None => TINTS[bounds.len().clamp(1, TINTS.len()) - 1],
    };
    let mut keys: Vec<(&str, String)> = vec![("slot", w.t("chart.none").to_string())];
    if r.slots.iter().any(|s| s.shaded) {
        for (i, b) in bounds.iter().enumerate() {
            keys.push((TINTS[i], w.fill("chart.up-to", &[("n", &n.number(*b, decimals))])));
        }
    }
    if used < r.slots.len() {
        keys.push(("free", w.t("chart.unused").to_string()));
    }
    let mut table = Table {
        head: vec![
            w.t("col.slot").into(),
            "x, m".into(),
            "y, m".into(),
            w.t("col.used").into(),
            format!("{}, kWh", w.t("col.lost")),
        ],
        rows: Vec::new(),
    };
    for (i, s) in r.slots.iter().enumerate().filter(|(_, s)| !s.used || s.shaded) {
        let mark = if s.used { "\u{2713}" } else { "\u{2013}" };
        table.rows.push(vec![
            (i + 1).to_string(),
            n.number(s.at_m[0], 2),
            n.number(s.at_m[1], 2),
            mark.into(),
            n.number(s.lost_kwh, 0),
        ]);
    }
    let id = format!("roof-{}-{index}", safe(&r.tag));
    Some(figure(&id, title, w.t("text.roof"), table, |size| draw(size, r, &keys, &tint, w)))
}

fn draw(size: Size, r: &RoofView, keys: &[(&str, String)], tint: &dyn Fn(&SlotView) -> &'static str, w: &Words) -> Svg {
    let n = w.style();
    let width = size.width();
    let corners = r
        .outline_m
        .iter()
        .map(|c| (*c, *c))
        .chain(r.slots.iter().map(|s| (s.at_m, [s.at_m[0] + s.size_m[0], s.at_m[1] + s.size_m[1]])))
        .chain(r.obstacles.iter().map(|o| (o.at_m, [o.at_m[0] + o.size_m[0], o.at_m[1] + o.size_m[1]])));
    let mut low = [f64::MAX; 2];
    let mut high = [f64::MIN; 2];
    for (a, b) in corners {
        for k in 0..2 {
            low[k] = low[k].min(finite(a[k]));
            high[k] = high[k].max(finite(b[k]));
        }
    }
    let span = [(high[0] - low[0]).max(0.1), (high[1] - low[1]).max(0.1)];
    let scale = ((width - 8.0) / span[0]).min(size.pick(460.0, 420.0) / span[1]);
    let names: Vec<&str> = keys.iter().map(|k| k.1.as_str()).collect();
    let head = 19.0 * legend_rows(width, 0.0, &names, 20.0) as f64 + 24.0;
    let map = scale * span[1];
    let list = r.obstacles.len() as f64 * 18.0;
    let mut s = Svg::new(width, head + map + 50.0 + list);
    s.text(0.0, 13.0, At::Start, "s", w.t("chart.unit-legend"));
    let entries: Vec<(Key, String)> = keys.iter().map(|(c, l)| (Key::Swatch(c), l.clone())).collect();
    legend(&mut s, 0.0, 32.0, &entries);
    let x = |v: f64| 4.0 + scale * (finite(v) - low[0]);
    let y = |v: f64| head + 16.0 + map - scale * (finite(v) - low[1]);
    let outline: Vec<[f64; 2]> = r.outline_m.iter().map(|c| [x(c[0]), y(c[1])]).collect();
    s.path(&outline, true, "roof", "");
    for (i, slot) in r.slots.iter().enumerate() {
        let (a, b) = (x(slot.at_m[0]), y(slot.at_m[1] + slot.size_m[1]));
        let (dx, dy) = (scale * slot.size_m[0] - 0.6, scale * slot.size_m[1] - 0.6);
        let hover = format!("{} {}: {} kWh", w.t("col.slot"), i + 1, n.number(slot.lost_kwh, 0));
        let class = match (slot.used, tint(slot)) {
            (true, "slot") => "slot".to_string(),
            (true, class) => format!("tile {class}"),
            (false, "slot") => "free".to_string(),
            (false, class) => format!("free lost {class}"),
        };
        s.rect(a, b, dx, dy, &class, &hover);
    }
    let label = |o: &ObstacleView| {
        let height = o.height_m.map(|h| w.fill("chart.metres", &[("n", &n.number(h, 1))]));
        [Some(o.name.clone()), height].into_iter().flatten().collect::<Vec<_>>().join(", ")
    };
    for (i, o) in r.obstacles.iter().enumerate() {
        let (dx, dy) = ((scale * o.size_m[0]).max(3.0), (scale * o.size_m[1]).max(3.0));
        let (a, b) = (x(o.at_m[0]), y(o.at_m[1] + o.size_m[1]));
        let hover = label(o);
        if o.round {
            s.ellipse(a + dx / 2.0, b + dy / 2.0, dx / 2.0, dy / 2.0, "obstacle", &hover);
        } else {
            s.rect(a, b, dx, dy, "obstacle", &hover);
        }
        let mark = (i + 1).to_string();
        let free = s.text_if_free(a + dx + 3.0, b + dy / 2.0 + 4.0, At::Start, "b", &mark)
            || s.text_if_free(a - 3.0, b + dy / 2.0 + 4.0, At::End, "b", &mark);
        let _ = free || s.text_if_free(a + dx / 2.0, b - 4.0, At::Middle, "b", &mark);
    }
    // Scale bar and north, under the eave.
    let foot = head + map + 36.0;
    let bar = [50.0, 20.0, 10.0, 5.0, 2.0, 1.0].into_iter().find(|m| m * scale < width * 0.3).unwrap_or(1.0);
    s.line(4.0, foot, 4.0 + bar * scale, foot, "mark");
    s.line(4.0, foot - 4.0, 4.0, foot + 4.0, "mark");
    s.line(4.0 + bar * scale, foot - 4.0, 4.0 + bar * scale, foot + 4.0, "mark");
    s.text(12.0 + bar * scale, foot + 4.0, At::Start, "s", &w.fill("chart.metres", &[("n", &n.number(bar, 0))]));
    s.text(width / 2.0, foot + 4.0, At::Middle, "s", w.t("chart.eave"));
    // The plane faces its azimuth down the page, so north stands this far clockwise from up.
    let turn = -(finite(r.azimuth_deg) + 180.0).to_radians();
    let (dx, dy) = (turn.sin(), -turn.cos());
    let (cx, cy) = (width - 16.0, foot);
    let at = |along: f64, side: f64| [cx + along * dx - side * dy, cy + along * dy + side * dx];
    s.path(&[at(11.0, 0.0), at(-8.0, -5.0), at(-4.0, 0.0), at(-8.0, 5.0)], true, "ink", w.t("chart.north"));
    s.text(cx - 18.0, foot + 4.0, At::End, "s", w.t("chart.north"));
    for (i, o) in r.obstacles.iter().enumerate() {
        let line = super::svg::fit(&format!("{}  {}", i + 1, label(o)), width - 4.0);
        s.text(4.0, foot + 24.0 + 18.0 * i as f64, At::Start, "s", &line);
    }
    s
}
