//! The proposal as one self-contained page: no network, no script, no outside font.

use std::sync::OnceLock;

use minijinja::{AutoEscape, Environment, context};
use serde::Serialize;

use super::chart::{self, Figure, Table};
use super::number::decimals_for;
use super::view::{ClaimVerdict, OptionView, Proposal, Verdict};
use super::words::{LANGUAGES, Words};
use crate::weigh::YearOfOperation;

/// Why a report could not be written.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// No language file has this tag.
    #[error(
        "proposal.language is `{found}`; expected one of {}.\n  Leave it out for English, or add a file to src/report/words.",
        LANGUAGES.join(", ")
    )]
    Language {
        /// What was asked for.
        found: String,
    },
    /// A template failed; this is a fault of the program.
    #[error("the page could not be made from its template: {0}.\n  Please report this as a fault of the program.")]
    Template(#[from] minijinja::Error),
}

/// A part of a section.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub(crate) enum Block {
    Figure { figure: Figure },
    Table { caption: String, table: Table, class: &'static str },
    Text { text: String },
    Head { text: String },
    Lines { lines: Vec<String> },
    Notes { loud: bool, notes: Vec<String> },
    Code { text: String },
    Cautions { items: Vec<(String, String)> },
}

/// A section with its heading.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Section {
    pub(crate) id: String,
    pub(crate) title: String,
    pub(crate) blocks: Vec<Block>,
}

static PAGES: OnceLock<Result<Environment<'static>, String>> = OnceLock::new();

/// The templates, compiled once.
pub(crate) fn pages() -> Result<&'static Environment<'static>, ReportError> {
    let made = PAGES.get_or_init(|| {
        let mut env = Environment::new();
        env.set_auto_escape_callback(|_| AutoEscape::Html);
        let syntax = minijinja::syntax::SyntaxConfig::builder().trim_blocks(true).lstrip_blocks(true).build();
        env.set_syntax(syntax.map_err(|e| e.to_string())?);
        for (name, text) in [
            ("parts.html", include_str!("templates/parts.html")),
            ("proposal.html", include_str!("templates/proposal.html")),
            ("fleet.html", include_str!("templates/fleet.html")),
        ] {
            env.add_template(name, text).map_err(|e| e.to_string())?;
        }
        Ok(env)
    });
    made.as_ref()
        .map_err(|e| ReportError::Template(minijinja::Error::new(minijinja::ErrorKind::SyntaxError, e.clone())))
}

/// The style sheet of all pages.
pub(crate) const STYLE: &str = include_str!("templates/style.css");

/// Words that a template prints by itself.
pub(crate) fn page_words(w: &Words) -> std::collections::BTreeMap<&'static str, String> {
    [
        ("contents", "page.contents"),
        ("skip", "page.skip"),
        ("numbers", "page.numbers"),
        ("scroll", "page.scroll"),
        ("back", "page.back"),
        ("loud", "text.loud"),
        ("notes", "text.notes"),
    ]
    .into_iter()
    .map(|(name, key)| (name, w.t(key).to_string()))
    .collect()
}

/// The whole page.
///
/// # Errors
/// An unknown language; a fault in a template.
pub fn page(p: &Proposal) -> Result<String, ReportError> {
    let w = Words::of(&p.language).ok_or_else(|| ReportError::Language { found: p.language.clone() })?;
    let translated = (!w.phrases().is_empty()).then(|| w.phrases().translate(p));
    let p = translated.as_ref().unwrap_or(p);
    let sections = sections(p, w);
    let meta = [
        ("page.for", p.customer.clone()),
        ("page.by", p.preparer.clone()),
        ("page.date", p.date.clone()),
        ("page.revision", p.revision.clone()),
        ("page.site", Some(place(p, w))),
        ("page.sky", Some(p.sky.name.clone()).filter(|s| !s.is_empty())),
    ];
    let meta: Vec<(&str, String)> = meta.into_iter().filter_map(|(k, v)| v.map(|v| (w.t(k), v))).collect();
    let text = pages()?.get_template("proposal.html")?.render(context! {
        language => w.t("language.tag"),
        title => p.title.as_str(),
        meta => minijinja::Value::from(minijinja::value::Serde(&meta)),
        ribbon => ribbon(p),
        warning => if p.sky.stands_in { w.t("page.stands-in") } else { "" },
        sections => minijinja::Value::from(minijinja::value::Serde(&sections)),
        made_by => w.fill("page.made-by", &[("version", &p.version)]),
        rounded => w.t("page.rounded"),
        w => page_words(w),
        style => STYLE,
    })?;
    Ok(text)
}

fn place(p: &Proposal, w: &Words) -> String {
    let n = w.style();
    let (lat, lon) = (p.site.latitude_deg, p.site.longitude_deg);
    let compass = w.fill(
        "page.compass",
        &[
            ("latitude", &n.number(lat.abs(), 2)),
            ("ns", w.t(if lat < 0.0 { "page.south" } else { "page.north" })),
            ("longitude", &n.number(lon.abs(), 2)),
            ("ew", w.t(if lon < 0.0 { "page.west" } else { "page.east" })),
            ("elevation", &n.number(p.site.elevation_m, 0)),
        ],
    );
    if p.site.name.is_empty() { compass } else { format!("{}, {compass}", p.site.name) }
}

/// Twelve steps 0..8 for the ribbon of the cover: the months of the best option against its brightest.
fn ribbon(p: &Proposal) -> Vec<usize> {
    let Some(o) = p.options.get(p.best()) else { return Vec::new() };
    let max = o.year.months.iter().map(|m| m.e_ac_kwh).fold(0.0, f64::max);
    if max <= 0.0 {
        return Vec::new();
    }
    o.year.months.iter().map(|m| ((m.e_ac_kwh / max * 8.0).round().clamp(0.0, 8.0)) as usize).collect()
}

fn sections(p: &Proposal, w: &Words) -> Vec<Section> {
    let mut all = Vec::with_capacity(16);
    let mut add = |id: &str, title: String, blocks: Vec<Option<Block>>| {
        let blocks: Vec<Block> = blocks.into_iter().flatten().collect();
        let shows = |b: &Block| !matches!(b, Block::Text { .. } | Block::Head { .. });
        if blocks.iter().any(shows) {
            all.push(Section { id: id.to_string(), title, blocks });
        }
    };
    let figure = |f: Option<Figure>| f.map(|figure| Block::Figure { figure });
    let text = |key: &str| Some(Block::Text { text: w.t(key).to_string() });
    add("answer", w.t("section.answer").into(), answer(p, w));
    add("assumed", w.t("section.assumed").into(), assumed(p, w));
    let best = p.options.get(p.best());
    add(
        "months",
        w.t("section.months").into(),
        vec![figure(chart::months(p, w)), figure(best.and_then(|o| chart::output(o, w)))],
    );
    let clipped = p.options.iter().reduce(|a, b| if b.year.clipped_kwh() > a.year.clipped_kwh() { b } else { a });
    add(
        "account",
        w.t("section.account").into(),
        vec![
            text("text.account"),
            figure(chart::account(p, w)),
            figure(chart::light(p, w)),
            figure(best.and_then(|o| chart::light_heat(o, w))),
            figure(clipped.and_then(|o| chart::clipping(o, w))),
        ],
    );
    for i in 1..p.options.len() {
        let Some(g) = p.gap_of(i) else { continue };
        let title = w.fill("section.gap", &[("b", &g.tag), ("a", &g.against)]);
        let list = |notes: &[String]| (!notes.is_empty()).then(|| Block::Notes { loud: false, notes: notes.to_vec() });
        let mut blocks = vec![text("text.gap"), figure(chart::gap_split(&g, i, w)), list(&g.sentences)];
        if !g.turns.is_empty() {
            blocks.push(Some(Block::Head { text: w.t("text.turns").into() }));
            blocks.push(list(&g.turns));
        }
        add(&format!("gap-{i}"), title, blocks);
    }
    add(
        "doubt",
        w.t("section.doubt").into(),
        vec![text("text.doubt"), figure(chart::bands(p, w)), figure(chart::gap_bands(p, w))],
    );
    add("price", w.t("section.price").into(), price(p, w));
    add("strings", w.t("section.strings").into(), strings(p, w));
    let mut roofs = vec![text("text.roof")];
    roofs.extend(p.roofs.iter().enumerate().map(|(i, r)| figure(chart::roof(r, i, w))));
    add("roof", w.t("section.roof").into(), roofs);
    add("years", w.t("section.years").into(), vec![text("text.years"), figure(chart::years(p, w)), years(p, w)]);
    add("sky", w.t("section.sky").into(), sky(p, w));
    add("claims", w.t("section.claims").into(), claims(p, w));
    let cautions = [
        ("caution.dc-head", "caution.dc"),
        ("caution.cold-head", "caution.cold"),
        ("caution.fire-head", "caution.fire"),
        ("caution.structure-head", "caution.structure"),
        ("caution.roof-head", "caution.roof"),
        ("caution.estimate-head", "caution.estimate"),
        ("caution.authority-head", "caution.authority"),
    ];
    let items = cautions.map(|(h, t)| (w.t(h).to_string(), w.t(t).to_string())).to_vec();
    add("cautions", w.t("section.cautions").into(), vec![text("text.cautions"), Some(Block::Cautions { items })]);
    all
}

/// Five lines, the options side by side, loud notes.
fn answer(p: &Proposal, w: &Words) -> Vec<Option<Block>> {
    let Some(first) = p.options.first() else { return Vec::new() };
    let n = w.style();
    let best = &p.options[p.best()];
    let e = best.year.e_ac_kwh();
    let mut lines = Vec::with_capacity(5);
    let equal = p.options.len() > 1 && p.options.iter().all(|o| o.year.e_ac_kwh() == e);
    let name = |o: &OptionView| format!("{} ({})", o.year.tag, o.module_name);
    let kwh = n.rounded(e, best.u_of(e));
    let key = match p.options.len() {
        1 => "answer.only",
        _ if equal => "answer.same",
        _ => "answer.best",
    };
    lines.push(w.fill(
        key,
        &[
            ("best", &name(best)),
            ("kwh", &kwh),
            ("modules", &best.year.modules.to_string()),
            ("kw", &n.number(best.year.p_stc_kw, 1)),
        ],
    ));
    // The first against the best, or the best of the others when the first is the best.
    let rival = (1..p.options.len())
        .reduce(|a, b| if p.options[b].year.e_ac_kwh() > p.options[a].year.e_ac_kwh() { b } else { a });
    if let Some(g) = rival.and_then(|i| p.gap_of(i)) {
        let base = first.year.e_ac_kwh();
        let d = g.u_kwh.map_or(0, decimals_for);
        let percent = if base > 0.0 { 100.0 * g.kwh / base } else { 0.0 };
        let dp = g.u_kwh.filter(|u| *u > 0.0 && base > 0.0).map_or(2, |u| decimals_for(100.0 * u / base).min(3));
        let key = match g.kwh {
            x if x > 0.0 => "answer.gap",
            x if x < 0.0 => "answer.gap-less",
            _ => "answer.gap-none",
        };
        let mut line = w.fill(
            key,
            &[
                ("b", &g.tag),
                ("a", &g.against),
                ("gap", &n.number(g.kwh.abs(), d)),
                ("percent", &n.number(percent.abs(), dp)),
            ],
        );
        if let Some(likely) = g.likely {
            line.push(' ');
            line.push_str(&w.fill("answer.likely", &[("percent", &n.number(100.0 * likely, 0))]));
        }
        lines.push(line);
    }
    let mut order: Vec<&OptionView> = p.options.iter().collect();
    order.sort_by(|a, b| b.year.y_f_h().total_cmp(&a.year.y_f_h()));
    let order: Vec<String> =
        order.iter().map(|o| format!("{} {}", o.year.tag, n.rounded(o.year.y_f_h(), o.u_of(o.year.y_f_h())))).collect();
    lines.push(w.fill("answer.per-kw", &[("order", &order.join(", "))]));
    let nominal: f64 = best.year.account.nominal_kwh.iter().sum();
    let worst = best.year.account.lines.iter().reduce(|a, b| if b.kwh() < a.kwh() { b } else { a });
    if let Some(worst) = worst.filter(|_| nominal > 0.0) {
        let delivered: f64 = best.year.account.delivered_kwh.iter().sum();
        lines.push(w.fill(
            "answer.loss",
            &[
                ("tag", &best.year.tag),
                ("percent", &n.number(100.0 * delivered / nominal, 1)),
                ("effect", w.effect(worst.effect)),
                ("loss", &n.number(-100.0 * worst.kwh() / nominal, 1)),
            ],
        ));
    }
    let clip = p.options.iter().reduce(|a, b| if b.year.clipped_kwh() > a.year.clipped_kwh() { b } else { a });
    lines.push(match clip.map(|o| (o, o.year.clipped_kwh())) {
        Some((o, kwh)) if kwh >= 0.5 => w.fill(
            "answer.clipped",
            &[("tag", &o.year.tag), ("kwh", &n.rounded(kwh, o.u_of(kwh).map(|u| u.max(10.0))))],
        ),
        _ => w.t("answer.unclipped").to_string(),
    });
    if lines.len() < 5 {
        lines.push(w.t("answer.estimate").to_string());
    }
    let mut loud: Vec<String> = p.notes.iter().filter(|x| x.loud).map(|x| x.text.clone()).collect();
    loud.dedup();
    vec![
        Some(Block::Lines { lines }),
        Some(Block::Table { caption: w.t("text.answer-table").into(), table: side_by_side(p, w), class: "sums" }),
        (!loud.is_empty()).then_some(Block::Notes { loud: true, notes: loud }),
    ]
}

fn side_by_side(p: &Proposal, w: &Words) -> Table {
    let n = w.style();
    let mut table = Table { head: vec![w.t("col.option").to_string()], rows: Vec::new() };
    table.head.extend(p.options.iter().map(|o| o.year.tag.clone()));
    let mut row = |label: String, f: &dyn Fn(&OptionView) -> String| {
        let mut line = vec![label];
        line.extend(p.options.iter().map(f));
        table.rows.push(line);
    };
    row(w.t("col.module").into(), &|o| o.module_name.clone());
    row(w.t("col.modules").into(), &|o| n.number(f64::from(o.year.modules), 0));
    row(format!("{}, kW", w.t("col.power")), &|o| n.number(o.year.p_stc_kw, 2));
    row(w.t("col.inverter").into(), &|o| format!("{} \u{d7} {}", o.year.inverters.max(1), o.inverter_name));
    row(format!("{}, kW", w.t("col.ac-power")), &|o| n.number(o.year.p_ac_kw, 1));
    row(format!("{}, kWh/m\u{b2}", w.t("col.light")), &|o| n.number(o.year.h_i_kwh_m2(), 0));
    row(format!("{}, kWh", w.t("col.energy")), &|o| n.with_doubt(o.year.e_ac_kwh(), o.u_of(o.year.e_ac_kwh())));
    row(format!("{}, kWh/kW", w.t("col.yield")), &|o| n.rounded(o.year.y_f_h(), o.u_of(o.year.y_f_h())));
    row(format!("{}, %", w.t("col.pr")), &|o| n.number(100.0 * o.year.pr(), 1));
    row(format!("{}, kWh", w.t("col.clipped")), &|o| n.number(o.year.clipped_kwh(), 0));
    if p.options.iter().any(|o| o.year.months.iter().any(|m| m.export_lost_kwh > 0.0)) {
        row(format!("{}, kWh", w.t("col.export")), &|o| {
            n.number(o.year.months.iter().map(|m| m.export_lost_kwh).sum(), 0)
        });
    }
    if let Some(first) = p.options.first().filter(|_| p.options.len() > 1) {
        let mut line = vec![format!("{}, kWh", w.fill("col.gap", &[("a", &first.year.tag)]))];
        line.extend((0..p.options.len()).map(|i| match p.gap_of(i) {
            None => n.none.clone(),
            Some(g) if g.u_kwh.is_some() => n.with_doubt(g.kwh, g.u_kwh),
            Some(g) => n.signed(g.kwh, 0),
        }));
        table.rows.push(line);
    }
    table
}

fn assumed(p: &Proposal, w: &Words) -> Vec<Option<Block>> {
    let mut blocks = vec![Some(Block::Text { text: w.t("text.assumed").into() })];
    let keys = ["col.key", "col.value", "col.source", "col.standing"];
    let mut table = Table { head: keys.map(|k| w.t(k).to_string()).to_vec(), rows: Vec::new() };
    for l in &p.ledger {
        let source = if l.source.trim().is_empty() { w.t("text.no-source") } else { &l.source };
        let standing = w.t(if l.given { "text.given" } else { "text.default" });
        let value = if l.unit.is_empty() { l.value.clone() } else { format!("{} {}", l.value, l.unit) };
        table.rows.push(vec![l.key.clone(), value, source.to_string(), standing.to_string()]);
    }
    if !table.rows.is_empty() {
        blocks.push(Some(Block::Table { caption: w.t("section.assumed").into(), table, class: "ledger quiet" }));
    }
    let quiet: Vec<String> = p.notes.iter().filter(|x| !x.loud).map(|x| x.text.clone()).collect();
    if !quiet.is_empty() {
        blocks.push(Some(Block::Head { text: w.t("text.notes").into() }));
        blocks.push(Some(Block::Notes { loud: false, notes: quiet }));
    }
    if !p.files.is_empty() {
        let sized = p.files.iter().any(|f| f.bytes.is_some());
        let keys: &[&str] =
            if sized { &["col.file", "col.size", "col.checksum"] } else { &["col.file", "col.checksum"] };
        let mut table = Table { head: keys.iter().map(|k| w.t(k).to_string()).collect(), rows: Vec::new() };
        for f in &p.files {
            let size = f.bytes.map_or(w.style().none.clone(), |b| format!("{} B", w.style().number(b as f64, 0)));
            let row = [Some(f.path.clone()), sized.then_some(size), Some(f.sha256.clone())];
            table.rows.push(row.into_iter().flatten().collect());
        }
        blocks.push(Some(Block::Head { text: w.t("text.files").into() }));
        blocks.push(Some(Block::Table { caption: w.t("text.files").into(), table, class: "files quiet" }));
    }
    if !p.command.is_empty() {
        blocks.push(Some(Block::Head { text: w.fill("text.again", &[("version", &p.version)]) }));
        blocks.push(Some(Block::Code { text: p.command.clone() }));
    }
    blocks
}

fn price(p: &Proposal, w: &Words) -> Vec<Option<Block>> {
    let Some(first) = p.options.first().filter(|_| !p.money.is_empty()) else { return Vec::new() };
    let n = w.style();
    let a = first.year.tag.as_str();
    let mut table = Table {
        head: vec![
            w.t("col.option").into(),
            w.t("col.price").into(),
            w.t("col.break-even").into(),
            w.t("col.lcoe").into(),
            w.fill("col.npv", &[("a", a)]),
        ],
        rows: Vec::new(),
    };
    for m in &p.money {
        let show = |x: Option<f64>, d: i32, per: &str| {
            x.map_or(n.none.clone(), |x| format!("{} {}{per}", n.number(x, d), m.currency))
        };
        table.rows.push(vec![
            m.tag.clone(),
            show(m.price_per_w, 3, "/W"),
            show(m.break_even_per_w, 3, "/W"),
            show(m.lcoe_per_kwh, 4, "/kWh"),
            show(m.npv_gap, 0, ""),
        ]);
    }
    vec![
        Some(Block::Text { text: w.fill("text.price", &[("a", a)]) }),
        chart::price(p, w).map(|figure| Block::Figure { figure }),
        Some(Block::Table { caption: w.t("section.price").into(), table, class: "sums quiet" }),
    ]
}

/// Some years of operation in figures: the first, every fifth, the last, and those in which inverters are replaced.
fn years(p: &Proposal, w: &Words) -> Option<Block> {
    let n = w.style();
    let cleaned = p.options.iter().flat_map(|o| &o.years).any(|y| y.dirt_lost_uncleaned_kwh > 0.0);
    let mut head = vec![w.t("col.option"), w.t("col.year"), w.t("col.delivered"), w.t("col.out-of-service")];
    head.extend([w.t("col.forecast"), w.t("col.guarantee"), w.t("col.inverters-new")]);
    if cleaned {
        head.extend([w.t("col.built-up-dirt"), w.t("col.never-cleaned"), w.t("col.cleanings")]);
    }
    let mut table = Table { head: head.into_iter().map(String::from).collect(), rows: Vec::new() };
    for o in &p.options {
        let last = o.years.len() as u32;
        let shown =
            |y: &&YearOfOperation| y.year == 1 || y.year.is_multiple_of(5) || y.year == last || y.inverter_replaced;
        for y in o.years.iter().filter(shown) {
            let kwh = |x: f64| format!("{}\u{a0}kWh", n.rounded(x, o.u_of(y.e_ac_kwh)));
            let small = |x: f64| format!("{}\u{a0}kWh", n.rounded(x, Some((0.2 * x.abs()).max(1.0))));
            let pct = |x: f64| format!("{}\u{a0}%", n.number(x, 1));
            let mut row = vec![o.year.tag.clone(), y.year.to_string(), kwh(y.e_ac_kwh), small(y.outage_lost_kwh)];
            row.push(pct(y.forecast_pct));
            row.push(y.guarantee_pct.map_or(n.none.clone(), pct));
            row.push(if y.inverter_replaced { w.t("text.yes").to_string() } else { n.none.clone() });
            if cleaned {
                row.extend([small(y.dirt_lost_kwh), small(y.dirt_lost_uncleaned_kwh), y.cleanings.to_string()]);
            }
            table.rows.push(row);
        }
    }
    let caption = w.t("section.years").into();
    (!table.rows.is_empty()).then_some(Block::Table { caption, table, class: "sums quiet" })
}

fn verdict(v: Verdict, w: &Words) -> &str {
    w.t(match v {
        Verdict::Allowed => "text.allowed",
        Verdict::NotAllowed => "text.not-allowed",
        Verdict::NotChecked => "text.not-checked",
    })
}

fn strings(p: &Proposal, w: &Words) -> Vec<Option<Block>> {
    let checked: Vec<(&OptionView, &super::view::StringsView)> =
        p.options.iter().filter_map(|o| o.strings.as_ref().map(|s| (o, s))).collect();
    if checked.is_empty() {
        return Vec::new();
    }
    let keys = ["col.option", "col.basis", "col.string", "col.allowed-length", "col.verdict"];
    let mut table = Table { head: keys.map(|k| w.t(k).to_string()).to_vec(), rows: Vec::new() };
    let mut findings = Vec::new();
    for (o, s) in &checked {
        let lengths: Vec<String> = s.rows.iter().map(|r| format!("{} \u{d7} {}", r.count, r.modules)).collect();
        let range = s.allowed.map_or(w.style().none.clone(), |[lo, hi]| {
            w.fill("text.length-range", &[("lo", &lo.to_string()), ("hi", &hi.to_string())])
        });
        table.rows.push(vec![
            o.year.tag.clone(),
            s.basis.clone(),
            lengths.join(", "),
            range,
            verdict(s.verdict, w).to_string(),
        ]);
        for f in &s.findings {
            let line = format!("{}: {f}", o.year.tag);
            if !findings.contains(&line) {
                findings.push(line);
            }
        }
    }
    vec![
        Some(Block::Text { text: w.t("text.strings").into() }),
        Some(Block::Table { caption: w.t("section.strings").into(), table, class: "words quiet" }),
        chart::ladder(p, w).map(|figure| Block::Figure { figure }),
        (!findings.is_empty()).then_some(Block::Notes { loud: false, notes: findings }),
        Some(Block::Cautions {
            items: vec![
                (w.t("caution.dc-head").into(), w.t("caution.dc").into()),
                (w.t("caution.cold-head").into(), w.t("caution.cold").into()),
            ],
        }),
    ]
}

fn sky(p: &Proposal, w: &Words) -> Vec<Option<Block>> {
    let n = w.style();
    let mut blocks = vec![Some(Block::Text { text: w.t("text.sky").into() })];
    if p.sky.stands_in {
        blocks.push(Some(Block::Notes { loud: true, notes: vec![w.t("page.stands-in").into()] }));
    }
    blocks.push(chart::sky(p, w).map(|figure| Block::Figure { figure }));
    if !p.sky.planes.is_empty() {
        let keys = ["col.plane", "col.tilt", "col.azimuth", "col.light"];
        let mut table = Table { head: keys.map(|k| w.t(k).to_string()).to_vec(), rows: Vec::new() };
        for plane in &p.sky.planes {
            let sum: f64 = plane.h_i_kwh_m2.iter().sum();
            table.rows.push(vec![
                plane.name.clone(),
                format!("{}\u{b0}", n.number(plane.tilt_deg, 1)),
                format!("{}\u{b0}", n.number(plane.azimuth_deg, 1)),
                format!("{} kWh/m\u{b2}", n.number(sum, 0)),
            ]);
        }
        blocks.push(Some(Block::Table { caption: w.t("col.light").into(), table, class: "sums" }));
    }
    let columns = [
        ("col.ghi", "kWh/m\u{b2}", &p.sky.ghi_kwh_m2, 0),
        ("col.dhi", "kWh/m\u{b2}", &p.sky.dhi_kwh_m2, 0),
        ("col.air", "\u{b0}C", &p.sky.t_amb_c, 1),
    ];
    let known: Vec<_> = columns.iter().filter_map(|(k, u, c, d)| c.as_ref().map(|c| (*k, *u, c, *d))).collect();
    if !known.is_empty() {
        let mut table = Table { head: vec![w.t("col.month").to_string()], rows: Vec::new() };
        table.head.extend(known.iter().map(|(k, u, _, _)| format!("{}, {u}", w.t(k))));
        for m in 0..12 {
            let mut row = vec![w.month(m).to_string()];
            row.extend(known.iter().map(|(_, _, c, d)| n.number(c[m], *d)));
            table.rows.push(row);
        }
        blocks.push(Some(Block::Table { caption: w.t("section.sky").into(), table, class: "sums" }));
    }
    blocks
}

fn claims(p: &Proposal, w: &Words) -> Vec<Option<Block>> {
    if p.claims.is_empty() {
        return Vec::new();
    }
    let keys = ["col.claim", "col.finding", "col.number", "col.verdict"];
    let mut table = Table { head: keys.map(|k| w.t(k).to_string()).to_vec(), rows: Vec::new() };
    for c in &p.claims {
        let n = w.style();
        let number = c.number.map_or(n.none.clone(), |x| match c.u {
            Some(u) if u > 0.0 => format!("{} {}", n.with_doubt(x, c.u), c.unit),
            _ => format!("{} {}", n.number(x, if x.abs() < 100.0 { 2 } else { 0 }), c.unit),
        });
        let verdict = w.t(match c.verdict {
            ClaimVerdict::Holds => "text.holds",
            ClaimVerdict::WithinDoubt => "text.within-doubt",
            ClaimVerdict::Fails => "text.fails",
            ClaimVerdict::CannotSay => "text.cannot-say",
        });
        table.rows.push(vec![c.claim.clone(), c.finding.clone(), number, verdict.to_string()]);
    }
    vec![
        Some(Block::Text { text: w.t("text.claims").into() }),
        Some(Block::Table { caption: w.t("section.claims").into(), table, class: "words quiet" }),
    ]
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn sections_stand_in_the_order_of_the_design() {
        let p = sample::merrowby();
        let ids: Vec<String> = sections(&p, Words::english()).into_iter().map(|s| s.id).collect();
        let order = [
            "answer", "assumed", "months", "account", "gap-1", "gap-2", "doubt", "price", "strings", "roof", "years",
            "sky", "claims", "cautions",
        ];
        assert_eq!(ids, order);
    }

    #[test]
    fn one_self_contained_page_under_a_megabyte() {
        for tag in LANGUAGES {
            let mut p = sample::merrowby();
            p.language = tag.to_string();
            let text = page(&p).unwrap();
            assert!(text.len() < 1_000_000, "{} bytes", text.len());
            for out in ["http://", "https://", "src=", "@import", "<script", "<link", "NaN", "inf<"] {
                assert!(!text.contains(out), "{out} in the {tag} page");
            }
            assert!(text.contains(&format!("<html lang=\"{tag}\">")));
            well_formed(&text);
        }
    }

    #[test]
    fn user_text_does_nothing() {
        let mut p = sample::merrowby();
        let evil = "<script>alert('x')</script><b onload=\"y\">&amp;";
        p.title = evil.into();
        p.site.name = evil.into();
        p.customer = Some(evil.into());
        p.command = evil.into();
        p.sky.name = evil.into();
        p.sky.planes[0].name = evil.into();
        p.options[0].year.tag = evil.into();
        p.options[1].module_name = evil.into();
        p.ledger[0].source = evil.into();
        p.notes[0].text = evil.into();
        p.roofs[0].obstacles[0].name = evil.into();
        p.gaps[0].causes[0].name = evil.into();
        p.claims[0].claim = evil.into();
        let text = page(&p).unwrap();
        assert!(!text.contains("<script") && !text.contains("<b "));
        assert!(text.contains("&lt;script&gt;"));
        well_formed(&text);
    }

    #[test]
    fn empty_and_broken_numbers_still_make_a_page() {
        let empty = Proposal { language: "de".into(), ..Proposal::default() };
        well_formed(&page(&empty).unwrap());
        for bad in [f64::NAN, f64::INFINITY, 0.0, -1.0, 1e300] {
            let mut p = sample::merrowby();
            p.options[1].year.months[3].e_ac_kwh = bad;
            p.options[1].year.p_stc_kw = bad;
            p.options[0].light_curve[1] = [bad, bad];
            p.options[2].years_kwh[0] = bad;
            p.options[0].hours.as_mut().unwrap().mean_kw[5][12] = bad;
            p.options[1].hours.as_mut().unwrap().mean_kw[5][12] = bad;
            p.roofs[0].slots[0].lost_kwh = bad;
            p.roofs[1].outline_m[1] = [bad, bad];
            p.gaps[0].kwh = bad;
            p.gaps[1].u_kwh = Some(bad);
            let text = page(&p).unwrap();
            assert!(!text.contains("NaN"), "{bad}");
            well_formed(&text);
        }
        let p = sample::with_options(9, 1e6);
        well_formed(&page(&p).unwrap());
        assert!(matches!(page(&Proposal { language: "xx".into(), ..p }), Err(ReportError::Language { .. })));
    }

    #[test]
    fn only_charts_with_data_are_drawn() {
        let text = page(&sample::with_options(2, 1.0)).unwrap();
        assert!(!text.contains("id=\"gap-1\""), "no split without causes");
        assert!(text.contains("id=\"months\""));
    }

    #[test]
    fn sample_pages_on_request() {
        let Ok(folder) = std::env::var("YEARLIGHT_SAMPLE_DIR") else { return };
        let mut p = sample::merrowby();
        std::fs::create_dir_all(&folder).unwrap();
        let start = std::time::Instant::now();
        let text = page(&p).unwrap();
        let first = start.elapsed();
        let start = std::time::Instant::now();
        let again = page(&p).unwrap();
        println!("first page {first:?}, second {:?}, {} bytes", start.elapsed(), text.len());
        assert_eq!(text, again);
        std::fs::write(format!("{folder}/sample-en.html"), text).unwrap();
        p.language = "de".into();
        std::fs::write(format!("{folder}/sample-de.html"), page(&p).unwrap()).unwrap();
        std::fs::write(format!("{folder}/sample-many.html"), page(&sample::with_options(7, 100.0)).unwrap()).unwrap();
        std::fs::write(format!("{folder}/sample-one.html"), page(&sample::with_options(1, 0.01)).unwrap()).unwrap();
    }

    /// Tags nest and close, attributes are quoted, `&` is escaped, identifiers are unique.
    pub(crate) fn well_formed(text: &str) {
        const VOID: [&str; 5] = ["meta", "br", "hr", "input", "wbr"];
        let mut open: Vec<String> = Vec::new();
        let mut ids = std::collections::BTreeSet::new();
        let mut rest = text.strip_prefix("<!doctype html>").expect("doctype first");
        while let Some(at) = rest.find('<') {
            let (words, tail) = rest.split_at(at);
            for part in words.split('&').skip(1) {
                let name = part.split(';').next().unwrap_or("");
                assert!(part.contains(';') && name.len() < 8, "bare & before {part:.20}");
            }
            let end = tail.find('>').expect("tag ends");
            let tag = &tail[1..end];
            rest = &tail[end + 1..];
            if let Some(name) = tag.strip_prefix('/') {
                assert_eq!(open.pop().as_deref(), Some(name), "closing {name}");
                continue;
            }
            assert_eq!(tag.matches('"').count() % 2, 0, "quotes in <{tag}>");
            let name = tag.split([' ', '/', '\n']).next().unwrap_or("").to_string();
            if let Some(id) = tag.split(" id=\"").nth(1).and_then(|t| t.split('"').next()) {
                assert!(ids.insert(id.to_string()), "id {id} stands twice");
                assert!(!id.is_empty() && !id.contains(' '), "id `{id}`");
            }
            if name == "style" {
                rest = &rest[rest.find("</style>").expect("style ends")..];
            }
            if name == "script" {
                rest = &rest[rest.find("</script>").expect("script ends")..];
            }
            if !tag.ends_with('/') && !VOID.contains(&name.as_str()) {
                open.push(name);
            }
        }
        assert!(open.is_empty(), "left open: {open:?}");
    }
}
