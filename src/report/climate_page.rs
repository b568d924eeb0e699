//! Skies side by side as one self-contained page, and the plain sentences that the console prints too.

use minijinja::context;

use super::chart::{self, Table};
use super::html::{Block, ReportError, STYLE, Section, page_words, pages};
use super::words::Words;
use crate::weigh::climate::{CAUSES, ClimateStudy, HEAT_LIMIT_C};

/// What the study says, in plain sentences: which sky favours which module, where the ranking turns, heat.
pub fn climate_lines(study: &ClimateStudy) -> Vec<String> {
    let n = Words::english().style();
    let mut lines = Vec::new();
    let Some(first) = study.modules.first() else { return lines };
    for sky in &study.skies {
        let mut order: Vec<_> = sky.modules.iter().collect();
        order.sort_by_key(|m| m.rank);
        if let [best, next, ..] = order[..] {
            let pct = 100.0 * (best.yield_kwh_per_kw / next.yield_kwh_per_kw - 1.0);
            lines.push(format!(
                "{} favours {}: {} kWh/kW, {} % more than {}.",
                sky.name,
                best.module,
                n.number(best.yield_kwh_per_kw, 0),
                n.number(pct, 1),
                next.module
            ));
        }
    }
    for (k, line) in study.breaks.iter().enumerate() {
        let gaps = || study.skies.iter().map(|s| (s.name.as_str(), s.differences[k].pct));
        let most = gaps().reduce(|a, b| if b.1 > a.1 { b } else { a });
        let least = gaps().reduce(|a, b| if b.1 < a.1 { b } else { a });
        if let (Some(most), Some(least)) = (most, least)
            && study.skies.len() > 1
        {
            lines.push(format!(
                "{} against {first}: {} % under {}, {} % under {}; the sky alone moves the gap by {} points.",
                line.to,
                n.signed(most.1, 1),
                most.0,
                n.signed(least.1, 1),
                least.0,
                n.number(most.1 - least.1, 1)
            ));
        }
        lines.push(match line.turns_at_c {
            None => format!("Cell temperature does not tell {} and {} apart: no line at which they turn.", line.to, line.from),
            Some([at, slope]) => format!(
                "By the line, {} and {} give the same per kW where the light-weighted cell temperature is {} C {} {} K for \
                 each tenth of the light that comes below 400 W/m2; {} is ahead on the {} side. {} The line leaves {} \
                 points of the exact gaps.",
                line.from,
                line.to,
                n.number(at, 1),
                if slope < 0.0 { "less" } else { "plus" },
                n.number(slope.abs() / 10.0, 1),
                line.to,
                if line.per_k_pct > 0.0 { "hotter" } else { "cooler" },
                if line.within_skies {
                    "It runs between these skies."
                } else {
                    "It lies outside the range of these skies: the ranking does not turn among them."
                },
                n.number(line.residual_pct, 2)
            ),
        });
    }
    let mut hot = false;
    for sky in &study.skies {
        for m in sky.modules.iter().filter(|m| m.too_hot) {
            hot = true;
            lines.push(format!(
                "{} under {}: its 98th-percentile temperature is {} C, above {} C: ask for a module of a higher thermal \
                 class (IEC TS 63126).",
                m.module,
                sky.name,
                n.number(m.t_98_c, 1),
                n.number(HEAT_LIMIT_C, 0)
            ));
        }
    }
    if !hot && !study.skies.is_empty() {
        lines.push(format!(
            "On this mounting no module's 98th-percentile temperature is above {} C (IEC TS 63126).",
            n.number(HEAT_LIMIT_C, 0)
        ));
    }
    lines
}

/// The whole page.
///
/// # Errors
/// A fault in a template.
pub fn climate_page(
    study: &ClimateStudy,
    notes: &[String],
    command: &str,
    version: &str,
) -> Result<String, ReportError> {
    let w = Words::english();
    let title = "Modules under skies";
    let meta = [
        ("Modules".to_string(), study.modules.join(", ")),
        ("Skies".to_string(), study.skies.iter().map(|s| s.name.as_str()).collect::<Vec<_>>().join(", ")),
    ];
    let sections = sections(study, notes, command, w);
    Ok(pages()?.get_template("proposal.html")?.render(context! {
        language => "en",
        title => title,
        meta => minijinja::Value::from(minijinja::value::Serde(&meta)),
        warning => "",
        sections => minijinja::Value::from(minijinja::value::Serde(&sections)),
        made_by => w.fill("page.made-by", &[("version", version)]),
        rounded => "Everything here is per kW of module at its maximum power point on an open plane: no shade, dirt, \
                    wiring or inverter, front side only.",
        english => true,
        w => page_words(w),
        style => STYLE,
    })?)
}

fn sections(study: &ClimateStudy, notes: &[String], command: &str, w: &Words) -> Vec<Section> {
    let text = |text: &str| Block::Text { text: text.to_string() };
    let table = |caption: &str, table: Table| Block::Table { caption: caption.to_string(), table, class: "sums" };
    let figure = |f: Option<chart::Figure>| f.map(|figure| Block::Figure { figure });
    let section = |id: &str, title: &str, blocks: Vec<Option<Block>>| Section {
        id: id.to_string(),
        title: title.to_string(),
        blocks: blocks.into_iter().flatten().collect(),
    };
    let mut all = vec![
        section(
            "answer",
            "Which sky favours which module",
            vec![
                Some(Block::Lines { lines: climate_lines(study) }),
                Some(table("Yield, kWh/kW, and rank", yields(study, w))),
                figure(chart::climate_gaps(study, w)),
            ],
        ),
        section(
            "skies",
            "The skies",
            vec![
                Some(text(
                    "Cell temperature is that of a reference cell with the plane's cooling and clean glass, weighted by \
                     in-plane light, so that it belongs to the sky and not to a module.",
                )),
                Some(table("Light and heat", skies(study, w))),
            ],
        ),
        section(
            "rating",
            "Site rating of each module",
            vec![
                Some(text(
                    "Module energy over in-plane irradiation at the efficiency of standard test conditions, after IEC \
                     61853-3:2018, not certified: the sky is a file of one place and not a reference climate. The four \
                     factors multiply to the rating. Light-induced loss is not in it.",
                )),
                Some(table("Site rating and its factors", ratings(study, w))),
            ],
        ),
    ];
    let mut why = vec![Some(text(
        "Each difference is split exactly among its causes by Shapley values over the module's weak-light curve, its \
         heat, its glass, its colour response and its first loss. The parts sum to the difference.",
    ))];
    why.push(Some(table("Difference of yield by cause, kWh/kW", causes(study, w))));
    if study.modules.len() > 1 {
        all.push(section("why", "Why the modules differ", why));
        let mut turn = vec![Some(text(
            "The gap as a straight line: its temperature part grows with the light-weighted cell temperature above 25 \
             \u{b0}C, its weak-light part with the share of light below 400 W/m\u{b2}, the rest is constant. Where the line \
             is drawn the two modules give the same per kW.",
        ))];
        turn.extend(study.breaks.iter().map(|line| figure(chart::climate_plane(study, line, w))));
        all.push(section("turn", "Where the ranking turns", turn));
    }
    let maps = study
        .skies
        .iter()
        .enumerate()
        .map(|(i, sky)| figure(chart::climate_bins(sky, 0, &format!("bins-{}", i + 1), w)))
        .collect();
    all.push(section("bins", "Where the energy lies", maps));
    if !notes.is_empty() {
        all.push(section("notes", "Notes", vec![Some(Block::Notes { loud: false, notes: notes.to_vec() })]));
    }
    let caution = |h: &str, t: &str| (w.t(h).to_string(), w.t(t).to_string());
    let items = vec![
        caution("caution.estimate-head", "caution.estimate"),
        caution("caution.authority-head", "caution.authority"),
    ];
    all.push(section(
        "cautions",
        w.t("section.cautions"),
        vec![Some(Block::Cautions { items }), Some(Block::Code { text: command.to_string() })],
    ));
    all
}

fn yields(study: &ClimateStudy, w: &Words) -> Table {
    let n = w.style();
    let mut t = Table { head: vec!["Sky".into()], rows: Vec::new() };
    t.head.extend(study.modules.iter().cloned());
    for s in &study.skies {
        let mut row = vec![s.name.clone()];
        row.extend(s.modules.iter().map(|m| format!("{} ({})", n.number(m.yield_kwh_per_kw, 0), m.rank)));
        t.rows.push(row);
    }
    t
}

fn skies(study: &ClimateStudy, w: &Words) -> Table {
    let n = w.style();
    let head = [
        "Sky",
        "Place",
        "Tilt, azimuth, \u{b0}",
        "In-plane, kWh/m\u{b2}",
        "Mean light, W/m\u{b2}",
        "Mean cell, \u{b0}C",
        "Below 200 W/m\u{b2}, %",
        "Below 400 W/m\u{b2}, %",
        "98th percentile, \u{b0}C",
    ];
    let mut t = Table { head: head.map(String::from).to_vec(), rows: Vec::new() };
    for s in &study.skies {
        let hottest = s.modules.iter().map(|m| m.t_98_c).fold(f64::NEG_INFINITY, f64::max);
        t.rows.push(vec![
            s.name.clone(),
            s.place.clone(),
            format!("{}, {}", n.number(s.plane_deg[0], 0), n.number(s.plane_deg[1], 0)),
            n.number(s.h_i_kwh_m2, 0),
            n.number(s.mean_light_w_m2, 0),
            n.number(s.mean_cell_c, 1),
            n.number(100.0 * s.below_200, 1),
            n.number(100.0 * s.below_400, 1),
            n.number(hottest, 1),
        ]);
    }
    t
}

fn ratings(study: &ClimateStudy, w: &Words) -> Table {
    let n = w.style();
    let head = ["Sky and module", "Rating", "Incidence", "Spectrum", "Weak light", "Temperature", "Cell, \u{b0}C"];
    let mut t = Table { head: head.map(String::from).to_vec(), rows: Vec::new() };
    for s in &study.skies {
        for m in &s.modules {
            let r = &m.rating;
            let mut row = vec![format!("{}, {}", s.name, m.module)];
            row.extend([r.ratio, r.incidence, r.spectrum, r.low_light, r.temperature].map(|x| n.number(x, 4)));
            row.push(n.number(m.mean_cell_c, 1));
            t.rows.push(row);
        }
    }
    t
}

fn causes(study: &ClimateStudy, w: &Words) -> Table {
    let n = w.style();
    let mut t = Table { head: vec!["Sky and pair".into()], rows: Vec::new() };
    t.head.extend(CAUSES.map(String::from));
    t.head.push("sum".into());
    for s in &study.skies {
        for d in &s.differences {
            let mut row = vec![format!("{}, {} less {}", s.name, d.to, d.from)];
            row.extend(d.parts.map(|p| n.signed(p, 1)));
            row.push(n.signed(d.kwh_per_kw, 1));
            t.rows.push(row);
        }
    }
    t
}
