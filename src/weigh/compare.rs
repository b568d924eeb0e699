//! All options of a job side by side: from planned options to the whole study.

use chrono::Datelike;

use crate::energy::{Common, Effect, Lights, OptionYear, Plan, PlannedOption, Scratch, SiteLight, Stages, run_under};
use crate::job::{Job, MoneySpec, ResolvedOption};
use crate::module::ModuleSheet;
use crate::units::Note;
use crate::weather::WeatherYear;
use crate::weigh::budget::{budget, line_pct};
use crate::weigh::claims::{Claim, DoubtOf, Side, judge};
use crate::weigh::doubt::{
    DoubtEffect, DoubtInput, Drawn, GapBand, OptionDoubt, PairDoubt, Percentiles, Span, band, pair_pct, round_to_doubt,
    total_pct,
};
use crate::weigh::error::{WeighError, check};
use crate::weigh::facts::Facts;
use crate::weigh::money::{Bill, OptionMoney, YearEnergy, gap_money, money_of, shaped_load};
use crate::weigh::players::{differing, mix, planes_differ};
use crate::weigh::split::{End, Mixes};
use crate::weigh::study::{Gap, Group, OptionResult, Split, Study};
use crate::weigh::turns::{Trial, turns_and_bars};
use crate::weigh::years::{Passing, YearOfOperation, cleaning_costs, guard, years_of};

/// Ageing where the sheet gives none, percent a year: the median of Jordan, D. C., Kurtz, S. R.: Photovoltaic
/// Degradation Rates - an Analytical Review, Prog. Photovolt. 21 (2013) 12-29.
pub const AGEING_PCT: f64 = 0.5;

/// One option with everything that comparing needs.
pub(crate) struct Case<'a> {
    pub planned: &'a PlannedOption,
    pub sheet: &'a ModuleSheet,
    pub year: OptionYear,
    pub end: End,
    pub facts: Facts,
    pub years: Vec<YearOfOperation>,
    pub bill: Bill,
    pub energies: Vec<YearEnergy>,
    pub money: Option<OptionMoney>,
}

/// Weighs all options of a job against the first: split of every gap, doubt, years, money, turns, claims.
///
/// # Errors
/// [`WeighError`] when a section that only weighing reads is wrong.
pub fn study(job: &Job, weather: &WeatherYear, plan: &Plan) -> Result<Study, WeighError> {
    study_with_spread(job, weather, plan, None)
}

/// [`study`] with a year-to-year spread that was found by running several years one by one, percent; it
/// stands before the default and behind the job's own figure.
///
/// # Errors
/// As [`study`].
pub fn study_with_spread(
    job: &Job,
    weather: &WeatherYear,
    plan: &Plan,
    spread_pct: Option<f64>,
) -> Result<Study, WeighError> {
    weighed(job, weather, plan, spread_pct, Depth::Reasons)
}

/// Energy, years, string checks and money of every option, and the bare gaps: no split, doubt, turning points or claims.
pub fn yields(job: &Job, weather: &WeatherYear, plan: &Plan) -> Result<Study, WeighError> {
    weighed(job, weather, plan, None, Depth::Yields)
}

/// How far a study goes.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Depth {
    /// Energy and what follows from it alone.
    Yields,
    /// Also why, how sure, and what would turn the answer.
    Reasons,
}

fn weighed(
    job: &Job,
    weather: &WeatherYear,
    plan: &Plan,
    spread_pct: Option<f64>,
    depth: Depth,
) -> Result<Study, WeighError> {
    let spec = &job.spec;
    let tags: Vec<&str> = job.options.iter().map(|o| o.tag.as_str()).collect();
    let zones: Vec<&str> =
        job.options.iter().flat_map(|o| job.module(o).clamp_zones.iter().map(|z| z.name.as_str())).collect();
    check(spec.money.as_ref(), spec.claims.as_ref(), &tags, &zones)?;
    let mut notes = Vec::new();
    let common = with_load(job, weather, &plan.site, &plan.common, &mut notes);
    let course = Passing::of(spec);
    let n = spec.ageing.years.max(1);

    let (mut lights, mut scratch) = (Lights::new(&plan.site, &common), Scratch::brief());
    let cases: Vec<Case> = plan
        .options
        .iter()
        .zip(&job.options)
        .map(|(planned, option)| case(job, plan, planned, option, course, n, (&mut lights, &mut scratch), &mut notes))
        .collect();
    let dirt = spec.losses.dirt_pct.months();
    let dirt_taken = spec.losses.dirt_model.is_some() || dirt.iter().any(|x| *x > 0.0);
    notes.extend(guard::dirt_in_light(spec.weather.dirt_in_light, dirt_taken));
    if let Some(cleaning) = &spec.cleaning {
        let buildup = cleaning.buildup_pct_per_year;
        notes.extend(guard::dirt_and_cleaning(spec.losses.dirt_model.is_some(), buildup));
        notes.extend(guard::dirt_loss_and_cleaning(dirt, buildup));
        let cost = cleaning.cost_per_kw + cleaning.cost_per_visit;
        notes.extend(guard::cleaning_cost(cost, spec.money.as_ref().is_some_and(|m| m.om_covers_cleaning)));
        notes.push(cleaning_note(&cases, n));
    }
    notes.extend(guard::outage(spec.losses.outage_pct, spec.money.as_ref().is_some_and(|m| m.om_covers_outage)));

    if depth == Depth::Yields {
        let gaps = cases.iter().skip(1).map(|b| bare_gap(job, &cases[0], b)).collect();
        let options = cases.into_iter().map(|c| option_result(c, None)).collect();
        return Ok(Study { options, gaps, notes, ..Study::default() });
    }

    // Doubt, with the same draws for all options.
    let facts: Vec<Facts> = cases.iter().map(|c| c.facts.clone()).collect();
    let snow = weather.snow_depth_cm.as_ref().is_some_and(|s| s.iter().any(|x| *x > 0.0));
    let mean_years = spec.uncertainty.mean_years.unwrap_or(n).clamp(1, 100);
    let inputs = budget(&spec.uncertainty, &facts, mean_years, snow, spread_pct);
    let draws = |span| {
        let drawn = Drawn::new(&inputs, cases.len(), span, spec.uncertainty.draws, spec.uncertainty.seed);
        (spec.uncertainty.draws > 0).then_some(drawn)
    };
    let (first, mean) = (draws(Span::FirstYear), draws(Span::MeanOf(mean_years)));

    // Each further option against the first.
    let gaps: Vec<Gap> = (1..cases.len())
        .map(|k| {
            let doubt = pair_doubt(&inputs, &cases, k, course, mean_years, first.as_ref(), mean.as_ref());
            gap(job, plan, &common, &cases[0], &cases[k], (k, n, course), &inputs, doubt)
        })
        .collect();
    let claims = claims_of(job, plan, &cases, &gaps, &inputs, n);
    if spec.claims.is_some() && cases.len() < 2 {
        notes.push(Note::loud(
            "claims.nothing-to-compare",
            "Claims are given for a single option. A claim compares two: add the option that it is compared with.",
        ));
    }
    let options = cases
        .into_iter()
        .enumerate()
        .map(|(k, c)| {
            let doubt = option_doubt(&inputs, k, &c, course, mean_years, first.as_ref());
            option_result(c, Some(doubt))
        })
        .collect();
    Ok(Study { options, gaps, doubt_inputs: inputs, claims, notes })
}

/// What cleaning saves and costs, option by option.
fn cleaning_note(cases: &[Case], n: u32) -> Note {
    let each = cases.iter().map(|c| {
        let sum = |of: fn(&YearOfOperation) -> f64| c.years.iter().map(of).sum::<f64>();
        let (with, without) = (sum(|y| y.dirt_lost_kwh), sum(|y| y.dirt_lost_uncleaned_kwh));
        let times: u32 = c.years.iter().map(|y| y.cleanings).sum();
        let money = c
            .money
            .as_ref()
            .filter(|m| m.cleaning_present > 0.0)
            .map_or(String::new(), |m| format!(", for {:.0} {} (present value)", m.cleaning_present, m.currency));
        let round = |kwh: f64| round_to_doubt(kwh, 0.2 * kwh.abs()).text;
        format!(
            "{}: {times} cleanings in {n} years save about {} kWh ({} lost to built-up dirt instead of {}){money}",
            c.facts.tag,
            round(without - with),
            round(with),
            round(without)
        )
    });
    Note::loud("years.cleaning", format!("Cleaning. {}.", each.collect::<Vec<_>>().join("; ")))
}

fn option_result(c: Case, doubt: Option<OptionDoubt>) -> OptionResult {
    OptionResult {
        string_check: serde_json::to_value(&c.planned.check).ok(),
        roof: (!c.planned.roof.is_empty()).then(|| serde_json::to_value(&c.planned.roof).ok()).flatten(),
        year: c.year,
        years: c.years,
        doubt,
        money: c.money,
    }
}

/// One option against the first, without reasons.
fn bare_gap(job: &Job, a: &Case, b: &Case) -> Gap {
    let (e_a, e_b) = (a.year.e_ac_kwh(), b.year.e_ac_kwh());
    let (y_a, y_b) = (a.year.y_f_h(), b.year.y_f_h());
    let percent = |x: f64, of: f64| if of > 0.0 { 100.0 * x / of } else { 0.0 };
    Gap {
        from: a.facts.tag.clone(),
        to: b.facts.tag.clone(),
        kwh: e_b - e_a,
        pct: percent(e_b - e_a, e_a),
        kwh_per_kw: y_b - y_a,
        pct_per_kw: percent(y_b - y_a, y_a),
        first_year: None,
        lifetime: None,
        doubt: None,
        money: job.spec.money.as_ref().map(|m| gap_money(m, (&a.bill, &a.energies), (&b.bill, &b.energies))),
        turns: Vec::new(),
        bars: Vec::new(),
    }
}

/// Load on site from `[money]` for every step of the weather year, kW; empty when none is given there.
pub fn load_of(money: &MoneySpec, weather: &WeatherYear) -> Vec<f64> {
    let Some(kwh) = money.load_kwh else { return Vec::new() };
    let weekday = weather.days.first().map_or(0, |d| d.weekday().num_days_from_monday() as usize);
    let (shape, weekend) = (&money.load_shape, &money.load_shape_weekend);
    shaped_load(kwh, shape, weekend, weather.days.len(), weather.steps_per_day, weekday)
}

/// Load on site at every step of the year, W: that of `grid.load`, else that of `[money]`; empty when there is none.
pub fn site_load_w(job: &Job, weather: &WeatherYear) -> Vec<f64> {
    let given = &job.load_kw;
    let load_kw = match &job.spec.money {
        Some(money) if given.is_empty() => load_of(money, weather),
        _ => given.clone(),
    };
    load_kw.into_iter().map(|kw| 1000.0 * kw).collect()
}

/// The plan's common losses with the load of `[money]` where `grid.load` names none: what [`study`] counts with.
pub fn common_with_load(job: &Job, weather: &WeatherYear, plan: &Plan) -> Common {
    with_load(job, weather, &plan.site, &plan.common, &mut Vec::new())
}

/// The losses common to all options, with the load of `[money]` where `grid.load` names none.
pub(crate) fn with_load(
    job: &Job,
    weather: &WeatherYear,
    site: &SiteLight,
    common: &Common,
    notes: &mut Vec<Note>,
) -> Common {
    let mut common = common.clone();
    if let Some(money) = job.spec.money.as_ref().filter(|_| common.load_w.is_empty()) {
        let load = load_of(money, weather);
        if !load.is_empty() {
            common.load_w = site.sun.steps.iter().map(|&i| 1000.0 * load[i as usize]).collect();
            let even = if money.load_shape.is_empty() { "evenly over all hours" } else { "by the shape given" };
            notes.push(Note::loud(
                "money.load-by-shape",
                format!(
                    "The load on site is {} kWh a year spread {even}, not measured. Own use depends on the hours: name an \
                     hourly file in grid.load.",
                    money.load_kwh.unwrap_or(0.0)
                ),
            ));
        }
    }
    common
}

#[allow(clippy::too_many_arguments)]
fn case<'a>(
    job: &'a Job,
    plan: &'a Plan,
    planned: &'a PlannedOption,
    option: &'a ResolvedOption,
    course: Passing,
    n: u32,
    (lights, scratch): (&mut Lights<'_>, &mut Scratch),
    notes: &mut Vec<Note>,
) -> Case<'a> {
    let sheet = job.module(option);
    let sums = run_under(&planned.setup, lights, scratch);
    let ageing_pct = sheet.ageing_pct_per_year.unwrap_or_else(|| {
        notes.push(Note::loud(
            "years.ageing-default",
            format!(
                "{}: no ageing_pct_per_year is given; {AGEING_PCT} % a year is taken, the median of published rates. A lower \
                 one needs a measured source.",
                option.module
            ),
        ));
        AGEING_PCT
    });
    notes.extend(guard::ageing_from_guarantee(&option.module, ageing_pct, &sheet.guarantee));
    let year = plan.year_of(planned, &sums);
    let e_1 = year.e_ac_kwh();
    let light_induced_pct = 100.0 * planned.setup.light_induced.share();
    let inverter_year = job.spec.money.as_ref().and_then(|m| m.inverter_year);
    let mut years = years_of(n, e_1, course, ageing_pct, light_induced_pct, &sheet.guarantee, inverter_year);
    let outage: f64 = -year.account.lines.iter().filter(|l| l.effect == Effect::Outage).map(|l| l.kwh()).sum::<f64>();
    for y in &mut years {
        y.outage_lost_kwh = outage.max(0.0) * y.left * y.clean;
    }
    let facts = facts_of(job, plan, planned, option, sheet, &year, ageing_pct, years.iter().map(|y| y.e_ac_kwh).sum());
    let energies = energies_of(&plan.site, lights.common(), &scratch.p_delivered, &years);
    let bill = bill_of(job, planned, option, sheet);
    if job.spec.money.is_some() && sheet.price_per_w.is_none() {
        notes.push(Note::loud(
            "money.no-price",
            format!(
                "{}: no price_per_w is given; the modules count as free. The break-even price still holds.",
                option.module
            ),
        ));
    }
    let money = job.spec.money.as_ref().map(|m| money_of(m, &bill, &energies));
    let end = End {
        open: sums.open_kwh,
        clipped: sums.clipped_net_kwh,
        export_lost: sums.export_net_kwh,
        sum_left: course.sum_left(ageing_pct, n),
    };
    Case { planned, sheet, year, end, facts, years, bill, energies, money }
}

#[allow(clippy::too_many_arguments)]
fn facts_of(
    job: &Job,
    plan: &Plan,
    planned: &PlannedOption,
    option: &ResolvedOption,
    sheet: &ModuleSheet,
    year: &OptionYear,
    ageing_pct: f64,
    lifetime_kwh: f64,
) -> Facts {
    let setup = &planned.setup;
    let mut a = [1.0];
    setup.low_light.low_light(&[200.0], &mut a);
    let low_light_pct = effect_pct(year, Effect::LowLight);
    let heat_pct = effect_pct(year, Effect::Temperature);
    let gamma = sheet.gamma_pct_per_k;
    let names: Vec<&str> = setup.mounting.parts.iter().map(|p| plan.site.planes[p.0].spec.name.as_str()).collect();
    Facts {
        tag: planned.tag.clone(),
        kw: year.p_stc_kw,
        modules: year.modules,
        m2: f64::from(year.modules) * sheet.area_m2(),
        gamma_pct_per_k: gamma,
        low_light_200: a[0],
        light_induced_pct: 100.0 * setup.light_induced.share(),
        ageing_pct,
        a_r: sheet.incidence_table.is_empty().then_some(sheet.a_r).flatten(),
        bifaciality: setup.rear.bifaciality,
        strings: year.strings.len() as u32,
        inverter: format!("{} x {}", option.inverters, job.inverter(option).name.as_ref().unwrap_or(&option.inverter)),
        planes: names.join(", "),
        warmth_k: if gamma.abs() > 1e-6 { heat_pct / gamma } else { 0.0 },
        low_light_pct,
        first_year_kwh: year.e_ac_kwh(),
        lifetime_kwh,
    }
}

/// An effect of the account in percent of the energy before it.
fn effect_pct(year: &OptionYear, effect: Effect) -> f64 {
    let nominal: f64 = year.account.nominal_kwh.iter().sum();
    let before: f64 = year.account.lines.iter().filter(|l| l.effect < effect).map(|l| l.kwh()).sum();
    let here: f64 = year.account.lines.iter().filter(|l| l.effect == effect).map(|l| l.kwh()).sum();
    let base = nominal + before;
    if base > 0.0 { 100.0 * here / base } else { 0.0 }
}

/// Own use and export of each year of operation, from the columns of the option that was run last.
pub(crate) fn energies_of(
    site: &SiteLight,
    common: &Common,
    p_delivered: &[f64],
    years: &[YearOfOperation],
) -> Vec<YearEnergy> {
    let kwh = site.step_h / 1000.0 * common.outage.kept();
    years
        .iter()
        .map(|y| {
            // Served on site: min(P, load), hour by hour. What is left, draw at night included, passes the meter.
            let used: f64 = p_delivered
                .iter()
                .zip(&common.load_w)
                .map(|(p, load)| (p * y.left * y.clean).min(*load).max(0.0))
                .sum();
            let own_use_kwh = used * kwh;
            YearEnergy { own_use_kwh, exported_kwh: y.e_ac_kwh - own_use_kwh }
        })
        .collect()
}

pub(crate) fn bill_of(job: &Job, planned: &PlannedOption, option: &ResolvedOption, sheet: &ModuleSheet) -> Bill {
    let nameplate = planned.setup.nameplate;
    Bill {
        p_stc_w: nameplate.p0_w(),
        modules: nameplate.modules,
        module_m2: sheet.area_m2(),
        strings: planned.strings.len() as u32,
        cable_m: planned.check.cable.dc_m.unwrap_or(0.0),
        inverters: option.inverters,
        inverter_price: job.inverter(option).price.unwrap_or(0.0),
        price_per_w: sheet.price_per_w.unwrap_or(0.0),
        cleaning: cleaning_costs(&job.spec, nameplate.p0_w() / 1000.0, job.spec.ageing.years.max(1)),
    }
}

fn option_doubt(
    inputs: &[DoubtInput],
    k: usize,
    case: &Case,
    course: Passing,
    mean_years: u32,
    drawn: Option<&Drawn>,
) -> OptionDoubt {
    let e_1 = case.year.e_ac_kwh();
    let span = Span::MeanOf(mean_years);
    OptionDoubt {
        first_year: Percentiles::around(e_1, total_pct(inputs, k, Span::FirstYear)),
        mean: Percentiles::around(mean_kwh(case, course, mean_years), total_pct(inputs, k, span)),
        years: mean_years,
        drawn: drawn.map(|d| d.percentiles(k, e_1)),
        effects: inputs
            .iter()
            .map(|i| DoubtEffect {
                key: i.key.clone(),
                first_year_pct: i.effect_pct(k, Span::FirstYear),
                mean_pct: i.effect_pct(k, span),
            })
            .collect(),
    }
}

fn mean_kwh(case: &Case, course: Passing, years: u32) -> f64 {
    case.year.e_ac_kwh() * course.sum_left(case.facts.ageing_pct, years) / f64::from(years.max(1))
}

fn pair_doubt(
    inputs: &[DoubtInput],
    cases: &[Case],
    k: usize,
    course: Passing,
    mean_years: u32,
    first: Option<&Drawn>,
    mean: Option<&Drawn>,
) -> PairDoubt {
    let (a, b) = (&cases[0], &cases[k]);
    let whole = |span: Span, drawn: Option<&Drawn>, e_a: f64, e_b: f64| -> GapBand {
        let formula = band(inputs, (0, e_a), (k, e_b), span);
        drawn.map_or(formula, |d| d.complete(formula, (0, e_a), (k, e_b)))
    };
    let per_kw = |c: &Case, kwh: f64| if c.facts.kw > 0.0 { kwh / c.facts.kw } else { 0.0 };
    let (e_a, e_b) = (a.year.e_ac_kwh(), b.year.e_ac_kwh());
    let (m_a, m_b) = (mean_kwh(a, course, mean_years), mean_kwh(b, course, mean_years));
    let span = Span::MeanOf(mean_years);
    PairDoubt {
        u_g_pct: pair_pct(inputs, 0, k, Span::FirstYear),
        roof: whole(Span::FirstYear, first, e_a, e_b),
        per_kw: whole(Span::FirstYear, first, per_kw(a, e_a), per_kw(b, e_b)),
        mean_roof: whole(span, mean, m_a, m_b),
        mean_per_kw: whole(span, mean, per_kw(a, m_a), per_kw(b, m_b)),
    }
}

/// The runs behind the split of a pair.
fn mixes_of(plan: &Plan, common: &Common, a: &Case, b: &Case) -> Option<Mixes> {
    let (setup_a, setup_b) = (&a.planned.setup, &b.planned.setup);
    let players = differing(setup_a, setup_b);
    let fresh = || Stages::new(&plan.site, common);
    let mut mixes = Mixes::run(players.clone(), fresh, |stages, mask| {
        let setup = mix(setup_a, setup_b, &players, mask);
        (stages.open_energy(&setup), setup.nameplate.p0_w() / 1000.0)
    });
    if let Some(mixes) = mixes.as_mut().filter(|_| planes_differ(setup_a, setup_b)) {
        mixes.joined = vec![Group::Strings, Group::Slots];
    }
    mixes
}

/// One option in short: its first year, its years of operation, and why it differs from the first.
#[derive(Debug, Clone, PartialEq)]
pub struct Brief {
    /// The first year.
    pub year: OptionYear,
    /// Energy delivered over all years of operation, kWh.
    pub lifetime_kwh: f64,
    /// Why it differs from the first option in the first year; nothing for the first, or when not asked for.
    pub split: Option<Split>,
}

/// All options of a job in short, for very many sites: the same numbers as [`study`], without doubt, money and claims.
/// `scratch` is working memory that callers keep from site to site; a brief one will do.
///
/// # Errors
/// As [`study`].
pub fn brief(
    job: &Job,
    weather: &WeatherYear,
    plan: &Plan,
    with_split: bool,
    scratch: &mut Scratch,
) -> Result<Vec<Brief>, WeighError> {
    let spec = &job.spec;
    let tags: Vec<&str> = job.options.iter().map(|o| o.tag.as_str()).collect();
    let zones: Vec<&str> =
        job.options.iter().flat_map(|o| job.module(o).clamp_zones.iter().map(|z| z.name.as_str())).collect();
    check(spec.money.as_ref(), spec.claims.as_ref(), &tags, &zones)?;
    let mut notes = Vec::new();
    let common = with_load(job, weather, &plan.site, &plan.common, &mut notes);
    let course = Passing::of(spec);
    let n = spec.ageing.years.max(1);
    let mut lights = Lights::new(&plan.site, &common);
    let cases: Vec<Case> = plan
        .options
        .iter()
        .zip(&job.options)
        .map(|(planned, option)| case(job, plan, planned, option, course, n, (&mut lights, scratch), &mut notes))
        .collect();
    let split = |k: usize| {
        let (a, b) = (cases.first()?, cases.get(k)?);
        mixes_of(plan, &common, a, b)?.split((&a.end, &a.facts), (&b.end, &b.facts), None, |_| 0.0)
    };
    let splits: Vec<Option<Split>> =
        (0..cases.len()).map(|k| if with_split && k > 0 { split(k) } else { None }).collect();
    let short = |(c, split): (Case, Option<Split>)| Brief {
        lifetime_kwh: c.years.iter().map(|y| y.e_ac_kwh).sum(),
        year: c.year,
        split,
    };
    Ok(cases.into_iter().zip(splits).map(short).collect())
}

#[allow(clippy::too_many_arguments)]
fn gap(
    job: &Job,
    plan: &Plan,
    common: &Common,
    a: &Case,
    b: &Case,
    (k, n, course): (usize, u32, Passing),
    inputs: &[DoubtInput],
    doubt: PairDoubt,
) -> Gap {
    let mixes = mixes_of(plan, common, a, b);
    let e_a = a.year.e_ac_kwh();
    let split = |years: Option<u32>| {
        let base = if years.is_some() { a.facts.lifetime_kwh } else { e_a };
        let span = years.map_or(Span::FirstYear, Span::MeanOf);
        let u_kwh = |group: Group| line_pct(inputs, group, 0, k, span) / 100.0 * base;
        mixes.as_ref()?.split((&a.end, &a.facts), (&b.end, &b.facts), years, u_kwh)
    };
    let trial = Trial { job, plan, common, a, b, n, course };
    let (turns, bars) = turns_and_bars(&trial, inputs, k);
    Gap { first_year: split(None), lifetime: split(Some(n)), doubt: Some(doubt), turns, bars, ..bare_gap(job, a, b) }
}

fn claims_of(job: &Job, plan: &Plan, cases: &[Case], gaps: &[Gap], inputs: &[DoubtInput], n: u32) -> Vec<Claim> {
    let Some(spec) = &job.spec.claims else { return Vec::new() };
    let praised = spec.option.as_ref().and_then(|t| cases.iter().position(|c| c.facts.tag == *t)).unwrap_or(1);
    let (Some(a), Some(b), Some(gap)) =
        (cases.first(), cases.get(praised), praised.checked_sub(1).and_then(|i| gaps.get(i)))
    else {
        return Vec::new();
    };
    let line = |group: Group| line_pct(inputs, group, 0, praised, Span::FirstYear);
    let doubt = DoubtOf {
        line: &line,
        ageing: line_pct(inputs, Group::Ageing, 0, praised, Span::MeanOf(n)),
        pair: pair_pct(inputs, 0, praised, Span::FirstYear),
    };
    // The engineer's load counts for the claim about the frame too.
    let mut spec = spec.clone();
    if let Some(loads) = &job.spec.loads {
        spec.site_load_front_pa = spec.site_load_front_pa.or(loads.front_pa);
        spec.site_load_rear_pa = spec.site_load_rear_pa.or(loads.rear_pa);
        spec.clamp_zone = spec.clamp_zone.or_else(|| loads.clamp_zone.clone());
    }
    judge(&spec, &side(job, plan, a), &side(job, plan, b), gap, &doubt)
}

fn side<'a>(job: &Job, plan: &Plan, case: &'a Case) -> Side<'a> {
    let parts = &case.planned.setup.mounting.parts;
    // Land by rows: each m2 of module takes pitch / slant of ground, where the field is not laid out.
    let field = &case.planned.field;
    let laid_out = (field.len() == parts.len()).then(|| field.iter().map(|(_, f)| f.land_m2).sum());
    let land = parts.iter().map(|&(p, share)| {
        let rows = plan.site.planes[p].spec.rows.as_ref()?;
        (rows.slant_m > 0.0).then(|| case.facts.m2 * share * rows.pitch_m / rows.slant_m)
    });
    Side {
        facts: &case.facts,
        sheet: case.sheet,
        longest_string: case.planned.check.n_max,
        cable_m: case.planned.check.cable.dc_m,
        racking: job
            .spec
            .money
            .as_ref()
            .map(|m| f64::from(case.facts.modules) * m.per_module + case.facts.m2 * m.per_m2),
        land_m2: laid_out.or_else(|| land.sum()),
    }
}
