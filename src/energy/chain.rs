//! One option over the daylight steps of a site: from light on the plane to power at the meter.
//!
//! Everything is a column over daylight steps and, up to the inverter, relative to nameplate power: a value of 1 is
//! the power at standard test conditions. That makes every parameter group exchangeable between options, which the
//! split of a gap needs.

use super::MonthSums;
use std::sync::Arc;

use super::account::{Account, AccountLine, Effect};
use super::setup::{Common, PartShade, Setup};
use super::site::SiteLight;
use crate::module::Glass;
use crate::plant::{AcColumns, InputColumns, StringSet, operate};
use crate::units::{G_STC, T_STC};
use crate::wide;

/// Working columns, reused from run to run so that a thousand runs allocate once.
#[derive(Debug, Default)]
pub struct Scratch {
    ones: Vec<f64>,
    iam: Vec<f64>,
    iam_sky: Vec<f64>,
    iam_ground: Vec<f64>,
    shaded: Vec<f64>,
    clean: Vec<f64>,
    front: Vec<f64>,
    a: Vec<f64>,
    b: Vec<f64>,
    low: Vec<f64>,
    loss: Vec<f64>,
    work: Vec<f64>,
    pub(super) input: InputColumns,
    /// One per part of the mounting.
    pub parts: Vec<PartColumns>,
    /// DC power of the whole array at the inverters' input, W.
    pub p_dc: Vec<f64>,
    /// DC voltage, V, mean over strings; 0 for a lumped array.
    pub v_dc: Vec<f64>,
    /// AC power behind the inverters, W.
    pub ac: AcColumns,
    /// AC power delivered while in service, W.
    pub p_delivered: Vec<f64>,
}

impl Scratch {
    pub(super) fn fit(&mut self, n: usize, parts: usize) {
        for column in [
            &mut self.iam,
            &mut self.iam_sky,
            &mut self.iam_ground,
            &mut self.shaded,
            &mut self.clean,
            &mut self.front,
            &mut self.a,
            &mut self.b,
            &mut self.low,
            &mut self.work,
            &mut self.p_dc,
            &mut self.v_dc,
            &mut self.p_delivered,
        ] {
            column.resize(n, 0.0);
        }
        // Nothing ever writes another value into it.
        self.ones.resize(n, 1.0);
        self.p_dc.fill(0.0);
        self.v_dc.fill(0.0);
        self.parts.resize_with(parts, PartColumns::default);
        for part in &mut self.parts {
            for column in [&mut part.g_eff, &mut part.t_cell, &mut part.rel, &mut part.v, &mut part.i] {
                column.resize(n, 0.0);
            }
        }
    }
}

/// One part of the mounting, before the wiring.
#[derive(Debug, Default)]
pub struct PartColumns {
    /// Light on the cells, W/m2.
    pub g_eff: Vec<f64>,
    /// Cell temperature, C.
    pub t_cell: Vec<f64>,
    /// Power at maximum power over rated power, before the constant losses.
    pub rel: Vec<f64>,
    /// Voltage of a module at maximum power, V.
    pub v: Vec<f64>,
    /// Current of the wiring's own module at maximum power, A.
    i: Vec<f64>,
}

/// Energy left after each effect, by month, kWh, summed over the parts.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Tally {
    nominal: [f64; 12],
    left: [Option<[f64; 12]>; Effect::ALL.len()],
}

impl Tally {
    /// Nominal energy of a part: light on the open plane at rated efficiency.
    pub(super) fn nominate(&mut self, h_i: &[f64; 12], p0_w: f64) {
        for (sum, h) in self.nominal.iter_mut().zip(h_i) {
            *sum += h * p0_w / 1000.0;
        }
    }

    fn add(&mut self, effect: Effect, months: [f64; 12], factor: f64) {
        let slot = self.left[effect as usize].get_or_insert([0.0; 12]);
        for (sum, x) in slot.iter_mut().zip(months) {
            *sum += x * factor;
        }
    }

    /// The account: each line is the energy left after the effect minus the energy left before it. Lines that are
    /// zero but for rounding are left out; what they hold goes to the line before, so that the lines still close.
    fn close(&self) -> Account {
        let nominal: f64 = self.nominal.iter().sum();
        let mut before = self.nominal;
        let mut lines: Vec<AccountLine> = Vec::new();
        for effect in Effect::ALL {
            let Some(after) = self.left[effect as usize] else { continue };
            let months_kwh: [f64; 12] = std::array::from_fn(|m| after[m] - before[m]);
            if months_kwh.iter().all(|x| x.abs() <= 1e-13 * nominal) {
                continue;
            }
            before = after;
            lines.push(AccountLine { effect, months_kwh });
        }
        Account { nominal_kwh: self.nominal, lines, delivered_kwh: before }
    }
}

/// What a run of the chain gives besides its columns.
#[derive(Debug, Clone, PartialEq)]
pub struct YearSums {
    /// By month.
    pub months: [MonthSums; 12],
    /// Every kWh under a name.
    pub account: Account,
    /// Energy with the AC and export limits lifted, outage kept, kWh by month.
    pub open_kwh: [f64; 12],
    /// What the AC limit takes from that, as it is missing at the meter, kWh by month.
    pub clipped_net_kwh: [f64; 12],
    /// What the export limit takes after that, kWh by month.
    pub export_net_kwh: [f64; 12],
}

/// One option over the year, with account and months; the columns stay in `s`.
pub fn run(setup: &Setup, site: &SiteLight, common: &Common, s: &mut Scratch) -> YearSums {
    let mut tally = Tally::default();
    dc(setup, site, common, s, Some(&mut tally));
    after_dc(setup, site, common, s, tally)
}

/// From the inverters' input to the meter: the columns `p_dc` and `v_dc` are there already.
pub(super) fn after_dc(
    setup: &Setup,
    site: &SiteLight,
    common: &Common,
    s: &mut Scratch,
    mut tally: Tally,
) -> YearSums {
    let kwh = site.step_h / 1000.0;
    let e_dc = site.month_sums(&s.p_dc).map(|x| x * kwh);
    tally.add(Effect::OutsideWindow, e_dc, 1.0);

    // Inverter.
    invert(setup, site, s);
    let open = site.month_sums(&s.ac.before_limit).map(|x| x * kwh);
    let limited = site.month_sums(&s.ac.ac).map(|x| x * kwh);
    tally.add(Effect::Inverter, open, 1.0);
    tally.add(Effect::Clipping, limited, 1.0);

    // The night draw counts the hours that are no daylight steps, and daylight steps without output.
    let draw = draw_kwh(setup, site, s);
    let after_draw = less(&limited, &draw);
    tally.add(Effect::NightDraw, after_draw, 1.0);

    // What lies behind the inverter.
    s.p_delivered.copy_from_slice(&s.ac.ac);
    let (after_cable, after_transformer) = ac_side(site, common, &limited, &mut s.p_delivered, &mut s.loss);
    tally.add(Effect::AcCable, less(&after_cable, &draw), 1.0);
    tally.add(Effect::Transformer, less(&after_transformer, &draw), 1.0);
    // Out of service neither output nor draw counts.
    let in_service = common.outage.kept();
    let mut left = less(&after_transformer, &draw).map(|x| x * in_service);
    tally.add(Effect::Outage, left, 1.0);
    let mut export_lost = [0.0; 12];
    if let Some(limit) = &common.export_limit {
        let load = (!common.load_w.is_empty()).then_some(common.load_w.as_slice());
        limit.apply(load, &mut s.p_delivered, &mut s.loss);
        export_lost = site.month_sums(&s.loss).map(|x| x * kwh * in_service);
        left = less(&left, &export_lost);
        tally.add(Effect::ExportLimit, left, 1.0);
    }

    let account = tally.close();
    let open_kwh = open_sum(site, common, s, &open, &draw);
    let months = std::array::from_fn(|m| MonthSums {
        h_i_kwh_m2: setup.mounting.parts.iter().map(|&(p, share)| site.planes[p].h_i[m] * share).sum(),
        e_dc_kwh: e_dc[m],
        e_ac_kwh: account.delivered_kwh[m],
        clipped_kwh: open[m] - limited[m],
        export_lost_kwh: export_lost[m],
    });
    let clipped_net_kwh = std::array::from_fn(|m| open_kwh[m] - export_lost[m] - account.delivered_kwh[m]);
    YearSums { months, account, open_kwh, clipped_net_kwh, export_net_kwh: export_lost }
}

/// Energy by month with the AC and export limits lifted and outage kept, kWh: what a split of a gap shares out.
pub fn open_energy(setup: &Setup, site: &SiteLight, common: &Common, s: &mut Scratch) -> [f64; 12] {
    dc(setup, site, common, s, None);
    open_after_dc(setup, site, common, s)
}

/// The same from the inverters' input on.
pub(super) fn open_after_dc(setup: &Setup, site: &SiteLight, common: &Common, s: &mut Scratch) -> [f64; 12] {
    setup.conversion.inverter.convert_open(setup.conversion.count, &s.p_dc, volts(setup, &s.v_dc), &mut s.ac);
    let mut open = [0.0; 12];
    if common.ac_cable.is_none() {
        open = site.month_sums(&s.ac.before_limit).map(|x| x * site.step_h / 1000.0);
    }
    let draw = draw_kwh(setup, site, s);
    open_sum(site, common, s, &open, &draw)
}

fn invert(setup: &Setup, site: &SiteLight, s: &mut Scratch) {
    let volts = volts(setup, &s.v_dc);
    setup.conversion.inverter.convert(setup.conversion.count, &s.p_dc, volts, &site.sky.t_amb, &mut s.ac);
}

/// The voltage at the inverters; a lumped array has none.
fn volts<'a>(setup: &Setup, v_dc: &'a [f64]) -> Option<&'a [f64]> {
    (!setup.wiring.inputs.is_empty()).then_some(v_dc)
}

/// Draw in the hours without output by month, kWh.
fn draw_kwh(setup: &Setup, site: &SiteLight, s: &Scratch) -> [f64; 12] {
    let night_w = setup.conversion.inverter.night_w() * f64::from(setup.conversion.count);
    let day = site.month_sums(&s.ac.draw);
    std::array::from_fn(|m| (site.night_h[m] * night_w + day[m] * site.step_h) / 1000.0)
}

/// Sends power through AC cable and transformer; returns what is left by month after each, kWh. The transformer's
/// no-load loss runs at night too.
fn ac_side(
    site: &SiteLight,
    common: &Common,
    before: &[f64; 12],
    p: &mut [f64],
    loss: &mut Vec<f64>,
) -> ([f64; 12], [f64; 12]) {
    let kwh = site.step_h / 1000.0;
    let mut after_cable = *before;
    if let Some(cable) = &common.ac_cable {
        cable.apply(p, loss);
        after_cable = site.month_sums(p).map(|x| x * kwh);
    }
    let mut after_transformer = after_cable;
    if let Some(transformer) = &common.transformer {
        transformer.apply(p, loss);
        let after = site.month_sums(p);
        after_transformer =
            std::array::from_fn(|m| after[m] * kwh - transformer.loss_w(0.0) * site.night_h[m] / 1000.0);
    }
    (after_cable, after_transformer)
}

/// Sums the power before the AC limit through the AC side, outage kept.
fn open_sum(site: &SiteLight, common: &Common, s: &mut Scratch, open: &[f64; 12], draw: &[f64; 12]) -> [f64; 12] {
    s.work.copy_from_slice(&s.ac.before_limit);
    let (_, after) = ac_side(site, common, open, &mut s.work, &mut s.loss);
    less(&after, draw).map(|x| x * common.outage.kept())
}

fn less(x: &[f64; 12], y: &[f64; 12]) -> [f64; 12] {
    std::array::from_fn(|m| x[m] - y[m])
}

/// DC power of the whole array into `s.p_dc` and voltage into `s.v_dc`; with a tally also the energy left after each
/// effect up to the cable.
fn dc(setup: &Setup, site: &SiteLight, common: &Common, s: &mut Scratch, mut tally: Option<&mut Tally>) {
    s.fit(site.len(), setup.mounting.parts.len());
    let none = PartShade::default();
    for (k, &(p, share)) in setup.mounting.parts.iter().enumerate() {
        let plane = &site.planes[p];
        let shade = setup.shade.get(k).unwrap_or(&none);
        let p0_w = setup.nameplate.p0_w() * share;
        let out = &mut s.parts[k];

        // Light: the skyline is in the plane's columns; shade, snow, dirt, incidence, rear.
        setup.glass.beam(&plane.light.cos_aoi, &mut s.iam);
        diffuse_factors(&setup.glass, &plane.light.tilt_deg, &mut s.iam_sky, &mut s.iam_ground);
        front_light(
            &plane.beam,
            &plane.sky,
            &plane.ground,
            or(&shade.beam_kept, &s.ones),
            or(&shade.sky_kept, &s.ones),
            &common.clean_kept,
            &s.iam,
            &s.iam_sky,
            &s.iam_ground,
            &mut s.shaded,
            &mut s.clean,
            &mut s.front,
        );
        let rear = if plane.rear.is_empty() { 0.0 } else { setup.rear.bifaciality * setup.rear.kept };
        add_scaled(&s.front, or(&plane.rear, &s.ones), rear, &mut out.g_eff);

        // Heat by all the light; electricity by the light that the cell's spectral response makes of it.
        setup.heat.thermal[p].t_cell(&out.g_eff, &site.sky.t_amb, &site.sky.wind, &mut out.t_cell);
        let step_s = site.step_h * 3600.0;
        if step_s < 3600.0 {
            setup.heat.thermal[p].settle(&site.sun.steps, step_s, &site.sky.t_amb, &site.sky.wind, &mut out.t_cell);
        }
        if let Some(factor) = &setup.rear.spectrum {
            multiply(factor, &mut out.g_eff);
        }
        let (low, heat, volts) = (&setup.low_light, &setup.heat.electrical, &setup.wiring.electrical);
        if Arc::ptr_eq(low, heat) && Arc::ptr_eq(low, volts) {
            low.operate(&out.g_eff, &out.t_cell, &mut s.a, &mut s.b, &mut out.v);
        } else {
            low.low_light(&out.g_eff, &mut s.a);
            heat.heat(&out.g_eff, &out.t_cell, &mut s.b);
            volts.v_mp(&out.g_eff, &out.t_cell, &mut out.v);
        }
        let (kept, snow) = (or(&shade.power_kept, &s.ones), or(&shade.snow_kept, &s.ones));
        power(&out.g_eff, &s.a, &s.b, kept, snow, &mut s.low, &mut out.rel);

        let Some(tally) = tally.as_deref_mut() else { continue };
        let per_light = p0_w * site.step_h / 1000.0 / G_STC;
        let per_power = p0_w * site.step_h / 1000.0;
        tally.nominate(&plane.h_i, p0_w);
        tally.add(Effect::Skyline, plane.h_skyline, p0_w / 1000.0);
        // Light stages times the shares of power that bypass groups and snow leave, from that stage on.
        let (kept, snow) = (shade.power_kept.as_slice(), shade.snow_kept.as_slice());
        let work = &mut s.work;
        let mut sums = |light: &[f64], kept: &[f64], snow: &[f64]| {
            if kept.is_empty() && snow.is_empty() {
                return site.month_sums(light);
            }
            product3(light, or(kept, &s.ones), or(snow, &s.ones), work);
            site.month_sums(work)
        };
        let shaded = sums(&s.shaded, kept, &[]);
        tally.add(Effect::Shade, shaded, per_light);
        let snowed = if snow.is_empty() { shaded } else { sums(&s.shaded, kept, snow) };
        tally.add(Effect::Snow, snowed, per_light);
        tally.add(Effect::Dirt, sums(&s.clean, kept, snow), per_light);
        tally.add(Effect::Incidence, sums(&s.front, kept, snow), per_light);
        if let Some(factor) = &setup.rear.spectrum {
            s.loss.resize(s.front.len(), 0.0);
            product3(&s.front, factor, or(kept, &s.ones), &mut s.loss);
            tally.add(Effect::Spectrum, sums(&s.loss, snow, &[]), per_light);
        }
        tally.add(Effect::Rear, sums(&out.g_eff, kept, snow), per_light);
        tally.add(Effect::LowLight, site.month_sums(&s.low), per_power);
        let heat = site.month_sums(&out.rel);
        tally.add(Effect::Temperature, heat, per_power);
        tally.add(Effect::LightInduced, heat, per_power * setup.light_induced.kept());
    }
    if setup.wiring.inputs.is_empty() {
        lumped(setup, site, s, tally);
    } else {
        strings(setup, site, s, tally);
    }
}

/// The column, or another when it is empty.
pub(super) fn or<'a>(column: &'a [f64], other: &'a [f64]) -> &'a [f64] {
    if column.is_empty() { other } else { column }
}

/// One lumped array: every part at its own maximum power point, one cable figure.
///
/// Cable, with `r = P / P_stc` of the module and `u = V_mp / V_mp,stc`: loss / P_stc = c (r / u)^2, because the
/// string current is P / V and `c` is the loss at rated current over rated power.
fn lumped(setup: &Setup, site: &SiteLight, s: &mut Scratch, mut tally: Option<&mut Tally>) {
    let wiring = &setup.wiring;
    let per_v_stc = 1.0 / wiring.electrical.point(G_STC, T_STC).v_mp;
    let light_induced = setup.light_induced.kept();
    let mismatch = wiring.mismatch.kept();
    for (k, &(_, share)) in setup.mounting.parts.iter().enumerate() {
        let part = &mut s.parts[k];
        let p0_w = setup.nameplate.p0_w() * share;
        let per_power = p0_w * site.step_h / 1000.0;
        scaled(&part.rel, light_induced, &mut part.i);
        if let Some(converter) = &wiring.converter {
            // In watts of the wiring's own module and back.
            scaled(&part.i, wiring.p_module_w, &mut s.work);
            converter.convert(&s.work, &mut s.loss);
            scaled(&s.loss, 1.0 / wiring.p_module_w, &mut part.i);
            part.v.fill(1.0 / per_v_stc);
        }
        if let Some(tally) = tally.as_deref_mut() {
            let months = site.month_sums(&part.i);
            tally.add(Effect::ModuleConverter, months, per_power);
            tally.add(Effect::Mismatch, months, per_power * mismatch);
        }
        cable(&part.i, &part.v, mismatch, wiring.cable_at_stc, per_v_stc, &mut s.work);
        weighted_sum(&s.work, p0_w, &mut s.p_dc);
        if let Some(tally) = tally.as_deref_mut() {
            tally.add(Effect::DcCable, site.month_sums(&s.work), per_power);
        }
    }
}

/// Strings on their inputs: shared voltage, window, current limit, cable.
fn strings(setup: &Setup, site: &SiteLight, s: &mut Scratch, mut tally: Option<&mut Tally>) {
    let wiring = &setup.wiring;
    // Power of the wiring's own modules, W, taken over as a share of this nameplate.
    let own_w = wiring.p_module_w;
    let scale = setup.nameplate.p0_w() / (own_w * f64::from(wiring.modules()));
    let watts = own_w * setup.constant_kept();
    for part in &mut s.parts {
        current(&part.rel, &part.v, watts, &mut part.i);
    }
    let modules = f64::from(wiring.modules());
    for input in &wiring.inputs {
        let sets: Vec<StringSet<'_>> = input
            .strings
            .iter()
            .map(|x| {
                let part = &s.parts[x.part];
                StringSet {
                    curve: wiring.electrical.as_ref(),
                    n_series: x.n_series,
                    count: x.count,
                    loop_ohm: x.loop_ohm,
                    g: &part.g_eff,
                    t: &part.t_cell,
                    v_mp: &part.v,
                    i_mp: &part.i,
                }
            })
            .collect();
        operate(&sets, &wiring.limits, &mut s.input);
        let scale = scale * f64::from(input.alike);
        let here: u32 = input.strings.iter().map(|x| x.n_series * x.count).sum();
        let weight = f64::from(input.alike * here) / modules;
        difference(&s.input.held, &s.input.cable, &mut s.work);
        weighted_sum(&s.work, scale, &mut s.p_dc);
        weighted_sum(&s.input.v, weight, &mut s.v_dc);
        if let Some(tally) = tally.as_deref_mut() {
            let per_power = scale * site.step_h / 1000.0;
            let shared = site.month_sums(&s.input.shared);
            let cable = site.month_sums(&s.input.cable);
            tally.add(Effect::Mismatch, shared, per_power);
            tally.add(Effect::DcCable, less(&shared, &cable), per_power);
        }
    }
}

/// Incidence factors of sky and ground light: one value for a fixed plane, a column for a tracker.
pub(super) fn diffuse_factors(glass: &Glass, tilt_deg: &[f64], sky: &mut [f64], ground: &mut [f64]) {
    if let [tilt] = tilt_deg {
        sky.fill(glass.sky(*tilt));
        ground.fill(glass.ground(*tilt));
    } else {
        tracked_factors(tilt_deg, |tilt| glass.sky(tilt), sky);
        tracked_factors(tilt_deg, |tilt| glass.ground(tilt), ground);
    }
}

/// A factor over a tracker's tilts, read from a table of one value a degree.
fn tracked_factors(tilt_deg: &[f64], factor: impl Fn(f64) -> f64, out: &mut [f64]) {
    let table: [f64; 92] = std::array::from_fn(|k| factor((k as f64).min(90.0)));
    for (tilt, out) in tilt_deg.iter().zip(out.iter_mut()) {
        let at = tilt.clamp(0.0, 90.0);
        let k = at as usize;
        *out = table[k] + (table[k + 1] - table[k]) * (at - k as f64);
    }
}

wide! {
    /// Light in front of the cells, stage by stage, W/m2.
    pub(super) fn front_light(
        beam: &[f64],
        sky: &[f64],
        ground: &[f64],
        beam_kept: &[f64],
        sky_kept: &[f64],
        clean_kept: &[f64],
        iam: &[f64],
        iam_sky: &[f64],
        iam_ground: &[f64],
        shaded: &mut [f64],
        clean: &mut [f64],
        front: &mut [f64],
    ) {
        let n = front.len();
        let (beam, sky, ground) = (&beam[..n], &sky[..n], &ground[..n]);
        let (beam_kept, sky_kept, clean_kept) = (&beam_kept[..n], &sky_kept[..n], &clean_kept[..n]);
        let (iam, iam_sky, iam_ground) = (&iam[..n], &iam_sky[..n], &iam_ground[..n]);
        let (shaded, clean) = (&mut shaded[..n], &mut clean[..n]);
        for i in 0..n {
            let b = beam[i] * beam_kept[i];
            let s = sky[i] * sky_kept[i];
            let g = ground[i];
            shaded[i] = b + s + g;
            clean[i] = shaded[i] * clean_kept[i];
            front[i] = (b * iam[i] + s * iam_sky[i] + g * iam_ground[i]) * clean_kept[i];
        }
    }
}

wide! {
    /// Power over nameplate: at 25 C (`low`) and at the cell's temperature (`rel`).
    pub(super) fn power(g: &[f64], a: &[f64], b: &[f64], kept: &[f64], snow: &[f64], low: &mut [f64], rel: &mut [f64]) {
        let n = rel.len();
        let (g, a, b, kept, snow, low) = (&g[..n], &a[..n], &b[..n], &kept[..n], &snow[..n], &mut low[..n]);
        for i in 0..n {
            low[i] = g[i] * (1.0 / G_STC) * a[i] * kept[i] * snow[i];
            rel[i] = low[i] * b[i];
        }
    }
}

wide! {
    /// Current of a module that gives `watts * rel` at `v`; nothing where there is no voltage.
    pub(super) fn current(rel: &[f64], v: &[f64], watts: f64, out: &mut [f64]) {
        let n = out.len();
        let (rel, v) = (&rel[..n], &v[..n]);
        for i in 0..n {
            let some = v[i] > 1e-9;
            let volts = if some { v[i] } else { 1.0 };
            let amps = rel[i] * watts / volts;
            out[i] = if some { amps } else { 0.0 };
        }
    }
}

wide! {
    pub(super) fn cable(rel: &[f64], v: &[f64], constant: f64, loss_at_stc: f64, per_v_stc: f64, out: &mut [f64]) {
        let n = out.len();
        let (rel, v) = (&rel[..n], &v[..n]);
        for i in 0..n {
            let r = rel[i] * constant;
            let u = v[i] * per_v_stc;
            let u = if u > 0.2 { u } else { 0.2 };
            let current = r / u;
            let left = r - loss_at_stc * current * current;
            out[i] = if left > 0.0 { left } else { 0.0 };
        }
    }
}

wide! {
    pub(super) fn scaled(x: &[f64], factor: f64, out: &mut [f64]) {
        let n = out.len();
        let x = &x[..n];
        for i in 0..n { out[i] = x[i] * factor; }
    }
}

wide! {
    pub(super) fn multiply(factor: &[f64], x: &mut [f64]) {
        let n = x.len();
        let factor = &factor[..n];
        for i in 0..n { x[i] *= factor[i]; }
    }
}

wide! {
    fn product3(x: &[f64], y: &[f64], z: &[f64], out: &mut [f64]) {
        let n = out.len();
        let (x, y, z) = (&x[..n], &y[..n], &z[..n]);
        for i in 0..n { out[i] = x[i] * y[i] * z[i]; }
    }
}

wide! {
    pub(super) fn difference(x: &[f64], y: &[f64], out: &mut [f64]) {
        let n = out.len();
        let (x, y) = (&x[..n], &y[..n]);
        for i in 0..n { out[i] = x[i] - y[i]; }
    }
}

wide! {
    pub(super) fn add_scaled(x: &[f64], y: &[f64], factor: f64, out: &mut [f64]) {
        let n = out.len();
        let (x, y) = (&x[..n], &y[..n]);
        for i in 0..n { out[i] = x[i] + y[i] * factor; }
    }
}

wide! {
    pub(super) fn weighted_sum(x: &[f64], weight: f64, out: &mut [f64]) {
        let n = out.len();
        let x = &x[..n];
        for i in 0..n { out[i] += x[i] * weight; }
    }
}
