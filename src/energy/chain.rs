//! One option over the daylight steps of a site: from light on the plane to power at the meter.
//!
//! Everything is a column over daylight steps and, up to the inverter, relative to nameplate power: a value of 1 is
//! the power at standard test conditions. That makes every parameter group exchangeable between options, which the
//! split of a gap needs.

use super::account::{Account, AccountLine, Effect};
use super::setup::{Common, PartShade, Setup, Wiring};
use super::site::SiteLight;
use super::MonthSums;
use crate::module::Glass;
use crate::plant::AcColumns;
use crate::units::G_STC;
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
    g_eff: Vec<f64>,
    t_cell: Vec<f64>,
    a: Vec<f64>,
    b: Vec<f64>,
    low: Vec<f64>,
    rel: Vec<f64>,
    zeros: Vec<f64>,
    loss: Vec<f64>,
    v: Vec<f64>,
    work: Vec<f64>,
    /// DC power of the whole array at the inverters' input, W.
    pub p_dc: Vec<f64>,
    /// DC voltage, V, mean over strings; 0 for a lumped array.
    pub v_dc: Vec<f64>,
    /// Light on the cells, W/m2, mean over the parts.
    pub g_mean: Vec<f64>,
    /// Cell temperature, C, mean over the parts.
    pub t_mean: Vec<f64>,
    /// AC power behind the inverters, W.
    pub ac: AcColumns,
    /// AC power delivered while in service, W.
    pub p_delivered: Vec<f64>,
}

impl Scratch {
    fn fit(&mut self, n: usize) {
        for column in [
            &mut self.iam,
            &mut self.iam_sky,
            &mut self.iam_ground,
            &mut self.shaded,
            &mut self.clean,
            &mut self.front,
            &mut self.g_eff,
            &mut self.t_cell,
            &mut self.a,
            &mut self.b,
            &mut self.low,
            &mut self.rel,
            &mut self.v,
            &mut self.work,
            &mut self.p_dc,
            &mut self.v_dc,
            &mut self.g_mean,
            &mut self.t_mean,
            &mut self.p_delivered,
        ] {
            column.resize(n, 0.0);
        }
        self.ones.clear();
        self.ones.resize(n, 1.0);
        self.zeros.clear();
        self.zeros.resize(n, 0.0);
        for column in [&mut self.p_dc, &mut self.v_dc, &mut self.g_mean, &mut self.t_mean] {
            column.fill(0.0);
        }
    }
}

/// Energy left after each effect, by month, kWh, summed over the parts.
#[derive(Debug, Clone, PartialEq, Default)]
struct Tally {
    nominal: [f64; 12],
    left: [Option<[f64; 12]>; Effect::ALL.len()],
}

impl Tally {
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
    if let Some(limit) = common.export_limit_w {
        let before = site.month_sums(&s.p_delivered);
        let load = if common.load_w.is_empty() { &s.zeros } else { &common.load_w };
        limit_export(limit, load, &mut s.p_delivered);
        let after = site.month_sums(&s.p_delivered);
        export_lost = less(&before, &after).map(|x| x * kwh * in_service);
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
    invert(setup, site, s);
    let open = site.month_sums(&s.ac.before_limit).map(|x| x * site.step_h / 1000.0);
    let draw = draw_kwh(setup, site, s);
    open_sum(site, common, s, &open, &draw)
}

fn invert(setup: &Setup, site: &SiteLight, s: &mut Scratch) {
    let volts = (!setup.wiring.series.is_empty()).then_some(s.v_dc.as_slice());
    setup.conversion.inverter.convert(setup.conversion.count, &s.p_dc, volts, &site.sky.t_amb, &mut s.ac);
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
            std::array::from_fn(|m| after[m] * kwh - transformer.no_load_w() * site.night_h[m] / 1000.0);
    }
    (after_cable, after_transformer)
}

/// Sums the power before the AC limit through the AC side, outage kept.
fn open_sum(site: &SiteLight, common: &Common, s: &mut Scratch, open: &[f64; 12], draw: &[f64; 12]) -> [f64; 12] {
    s.v.copy_from_slice(&s.ac.before_limit);
    let (_, after) = ac_side(site, common, open, &mut s.v, &mut s.loss);
    less(&after, draw).map(|x| x * common.outage.kept())
}

fn less(x: &[f64; 12], y: &[f64; 12]) -> [f64; 12] {
    std::array::from_fn(|m| x[m] - y[m])
}

/// DC power of the whole array into `s.p_dc` and voltage into `s.v_dc`; with a tally also the energy left after each
/// effect up to the cable.
fn dc(setup: &Setup, site: &SiteLight, common: &Common, s: &mut Scratch, mut tally: Option<&mut Tally>) {
    s.fit(site.len());
    let none = PartShade::default();
    for (k, &(p, share)) in setup.mounting.parts.iter().enumerate() {
        let plane = &site.planes[p];
        let shade = setup.shade.get(k).unwrap_or(&none);
        let p0_w = setup.nameplate.p0_w() * share;

        // Light: the skyline is in the plane's columns; shade, dirt, incidence, rear.
        setup.glass.beam(&plane.light.cos_aoi, &mut s.iam);
        diffuse_factors(&setup.glass, &plane.light.tilt_deg, &mut s.iam_sky, &mut s.iam_ground);
        let beam_kept = if shade.beam_kept.is_empty() { &s.ones } else { &shade.beam_kept };
        let power_kept = if shade.power_kept.is_empty() { &s.ones } else { &shade.power_kept };
        front_light(
            &plane.beam,
            &plane.sky,
            &plane.ground,
            beam_kept,
            shade.sky_kept,
            &common.clean_kept,
            &s.iam,
            &s.iam_sky,
            &s.iam_ground,
            power_kept,
            &mut s.shaded,
            &mut s.clean,
            &mut s.front,
        );
        let rear = if plane.rear.is_empty() { 0.0 } else { setup.rear.bifaciality * setup.rear.kept };
        if rear > 0.0 {
            add_scaled(&s.front, &plane.rear, rear, &mut s.g_eff);
        } else {
            s.g_eff.copy_from_slice(&s.front);
        }

        // Heat and electricity.
        setup.heat.thermal[k].t_cell(&s.g_eff, &site.sky.t_amb, &site.sky.wind, &mut s.t_cell);
        setup.low_light.low_light(&s.g_eff, &mut s.a);
        setup.heat.electrical.heat(&s.g_eff, &s.t_cell, &mut s.b);
        power(&s.g_eff, &s.a, &s.b, power_kept, &mut s.low, &mut s.rel);

        let constant =
            setup.light_induced.kept() * setup.wiring.converter * setup.wiring.mismatch.kept();
        if let Some(tally) = tally.as_deref_mut() {
            let per_light = p0_w * site.step_h / 1000.0 / G_STC;
            let per_power = p0_w * site.step_h / 1000.0;
            for (m, h) in plane.h_i.iter().enumerate() {
                tally.nominal[m] += h * p0_w / 1000.0;
            }
            tally.add(Effect::Skyline, plane.h_skyline, p0_w / 1000.0);
            tally.add(Effect::Shade, site.month_sums(&s.shaded), per_light);
            tally.add(Effect::Dirt, site.month_sums(&s.clean), per_light);
            product(&s.front, power_kept, &mut s.work);
            tally.add(Effect::Incidence, site.month_sums(&s.work), per_light);
            product(&s.g_eff, power_kept, &mut s.work);
            tally.add(Effect::Rear, site.month_sums(&s.work), per_light);
            tally.add(Effect::LowLight, site.month_sums(&s.low), per_power);
            let heat = site.month_sums(&s.rel);
            tally.add(Effect::Temperature, heat, per_power);
            let mut kept = setup.light_induced.kept();
            tally.add(Effect::LightInduced, heat, per_power * kept);
            kept *= setup.wiring.converter;
            tally.add(Effect::ModuleConverter, heat, per_power * kept);
            tally.add(Effect::Mismatch, heat, per_power * constant);
        }
        cable_and_window(&setup.wiring, constant, p0_w, share, site, s, tally.as_deref_mut());
        weighted_sum(&s.g_eff, share, &mut s.g_mean);
        weighted_sum(&s.t_cell, share, &mut s.t_mean);
    }
}

/// DC cable and input window; adds the part to the array.
///
/// Cable, with `r = P / P_stc` of the module and `u = V_mp / V_mp,stc`: loss / P_stc = c (r / u)^2, because the
/// string current is P / V and `c` is the loss at rated current over rated power.
fn cable_and_window(
    wiring: &Wiring,
    constant: f64,
    p0_w: f64,
    share: f64,
    site: &SiteLight,
    s: &mut Scratch,
    tally: Option<&mut Tally>,
) {
    wiring.electrical.v_mp(&s.g_eff, &s.t_cell, &mut s.v);
    let v_stc = wiring.electrical.v_mp_stc();
    cable(&s.rel, &s.v, constant, wiring.cable_at_stc, 1.0 / v_stc, &mut s.work);
    if let Some(tally) = tally {
        tally.add(Effect::DcCable, site.month_sums(&s.work), p0_w * site.step_h / 1000.0);
    }
    if let Some([v_low, v_high]) = wiring.window_v {
        hold_in_window(wiring, [v_low, v_high], &s.g_eff, &s.t_cell, &mut s.v, &mut s.work);
    }
    weighted_sum(&s.work, p0_w, &mut s.p_dc);
    weighted_sum(&s.v, wiring.mean_series() * share, &mut s.v_dc);
}

/// Where a string's V_mp lies outside the window the inverter holds the end of the window, and the power there is
/// read from the module's curve. Each string length has its own voltage; the power kept is the mean over the modules.
fn hold_in_window(wiring: &Wiring, window: [f64; 2], g: &[f64], t_cell: &[f64], v: &mut [f64], p: &mut [f64]) {
    let modules: u32 = wiring.series.iter().map(|(n, strings)| n * strings).sum();
    if modules == 0 {
        return;
    }
    let (mut v_least, mut v_most) = (f64::INFINITY, 0.0_f64);
    for (&x, &power) in v.iter().zip(p.iter()) {
        let x = if power > 0.0 { x } else { f64::NAN };
        v_least = v_least.min(x);
        v_most = v_most.max(x);
    }
    let least = wiring.series.iter().map(|s| s.0).min().unwrap_or(1);
    let most = wiring.series.iter().map(|s| s.0).max().unwrap_or(1);
    if v_least * f64::from(least) >= window[0] && v_most * f64::from(most) <= window[1] {
        return;
    }
    for i in 0..p.len() {
        if p[i] <= 0.0 {
            continue;
        }
        let mut kept = 0.0;
        let mut v_sum = 0.0;
        for &(n, strings) in &wiring.series {
            let weight = f64::from(n * strings) / f64::from(modules);
            let n = f64::from(n);
            let held = (v[i] * n).clamp(window[0], window[1].max(window[0]));
            if held == v[i] * n {
                kept += weight;
            } else {
                let power = wiring.electrical.current_at(held / n, g[i], t_cell[i]).max(0.0) * held / n;
                let best = wiring.electrical.current_at(v[i], g[i], t_cell[i]).max(0.0) * v[i];
                kept += weight * if best > 0.0 { (power / best).clamp(0.0, 1.0) } else { 0.0 };
            }
            v_sum += weight * held / n;
        }
        p[i] *= kept;
        v[i] = v_sum;
    }
}

/// Incidence factors of sky and ground light: one value for a fixed plane, a column for a tracker.
fn diffuse_factors(glass: &Glass, tilt_deg: &[f64], sky: &mut [f64], ground: &mut [f64]) {
    if let [tilt] = tilt_deg {
        sky.fill(glass.sky(*tilt));
        ground.fill(glass.ground(*tilt));
    } else {
        glass.sky_column(tilt_deg, sky);
        glass.ground_column(tilt_deg, ground);
    }
}

wide! {
    /// Light in front of the cells, stage by stage, W/m2. `shaded` and `clean` are energy-like (times the share of
    /// power that bypass groups leave), `front` is light.
    fn front_light(
        beam: &[f64],
        sky: &[f64],
        ground: &[f64],
        beam_kept: &[f64],
        sky_kept: f64,
        clean_kept: &[f64],
        iam: &[f64],
        iam_sky: &[f64],
        iam_ground: &[f64],
        power_kept: &[f64],
        shaded: &mut [f64],
        clean: &mut [f64],
        front: &mut [f64],
    ) {
        let n = front.len();
        let (beam, sky, ground) = (&beam[..n], &sky[..n], &ground[..n]);
        let (beam_kept, clean_kept, power_kept) = (&beam_kept[..n], &clean_kept[..n], &power_kept[..n]);
        let (iam, iam_sky, iam_ground) = (&iam[..n], &iam_sky[..n], &iam_ground[..n]);
        let (shaded, clean) = (&mut shaded[..n], &mut clean[..n]);
        for i in 0..n {
            let b = beam[i] * beam_kept[i];
            let s = sky[i] * sky_kept;
            let g = ground[i];
            shaded[i] = (b + s + g) * power_kept[i];
            clean[i] = shaded[i] * clean_kept[i];
            front[i] = (b * iam[i] + s * iam_sky[i] + g * iam_ground[i]) * clean_kept[i];
        }
    }
}

wide! {
    /// Power over nameplate: at 25 C (`low`) and at the cell's temperature (`rel`).
    fn power(g: &[f64], a: &[f64], b: &[f64], kept: &[f64], low: &mut [f64], rel: &mut [f64]) {
        let n = rel.len();
        let (g, a, b, kept, low) = (&g[..n], &a[..n], &b[..n], &kept[..n], &mut low[..n]);
        for i in 0..n {
            low[i] = g[i] * (1.0 / G_STC) * a[i] * kept[i];
            rel[i] = low[i] * b[i];
        }
    }
}

wide! {
    fn cable(rel: &[f64], v: &[f64], constant: f64, loss_at_stc: f64, per_v_stc: f64, out: &mut [f64]) {
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
    fn product(x: &[f64], y: &[f64], out: &mut [f64]) {
        let n = out.len();
        let (x, y) = (&x[..n], &y[..n]);
        for i in 0..n { out[i] = x[i] * y[i]; }
    }
}

wide! {
    fn add_scaled(x: &[f64], y: &[f64], factor: f64, out: &mut [f64]) {
        let n = out.len();
        let (x, y) = (&x[..n], &y[..n]);
        for i in 0..n { out[i] = x[i] + y[i] * factor; }
    }
}

wide! {
    fn weighted_sum(x: &[f64], weight: f64, out: &mut [f64]) {
        let n = out.len();
        let x = &x[..n];
        for i in 0..n { out[i] += x[i] * weight; }
    }
}

wide! {
    /// What passes the meter: at most the limit beyond what the load takes.
    fn limit_export(limit: f64, load: &[f64], p: &mut [f64]) {
        let n = p.len();
        let load = &load[..n];
        for i in 0..n {
            let most = limit + load[i];
            p[i] = if p[i] > most { most } else { p[i] };
        }
    }
}
