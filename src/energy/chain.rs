//! One option over the daylight steps of a site: from light on the plane to power at the meter.
//!
//! Everything is a column over daylight steps and, up to the inverter, relative to nameplate power: a value of 1 is
//! the power at standard test conditions. That makes every parameter group exchangeable between options, which the
//! split of a gap needs.

use std::ops::Range;
use std::sync::Arc;

use super::MonthSums;
use super::account::{Account, AccountLine, Effect};
use super::light::{CellLight, Lights, Work};
use super::setup::{Common, PartShade, Setup, StringsOfInput};
use super::site::SiteLight;
use crate::plant::{AcColumns, Extremes, InputColumns, StringKind, StringSet, operate};
use crate::units::{G_STC, T_STC};
use crate::{maths, wide};

/// Steps of one month that go through the whole chain together; the columns in between stay in the near caches.
const BLOCK: usize = 512;
/// Room for a block that begins and ends at whole vectors.
const ROOM: usize = BLOCK + 2 * VECTOR;
/// Values in the longest vector.
const VECTOR: usize = 8;

/// Working columns, reused from run to run so that a thousand runs allocate once.
#[derive(Debug, Default)]
pub struct Scratch {
    /// All columns but `p_delivered` hold one block only.
    brief: bool,
    block: Block,
    light: Work,
    sums: Sums,
    /// Of the wiring in hand.
    free: Option<Vec<FreeStrings>>,
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

/// Columns of one block.
#[derive(Debug)]
struct Block {
    ones: [f64; ROOM],
    a: [f64; ROOM],
    b: [f64; ROOM],
    low: [f64; ROOM],
    work: [f64; ROOM],
    loss: Vec<f64>,
}

impl Default for Block {
    fn default() -> Block {
        let zeros = [0.0; ROOM];
        Block { ones: [1.0; ROOM], a: zeros, b: zeros, low: zeros, work: zeros, loss: Vec::new() }
    }
}

impl Scratch {
    /// For runs of which only sums and `p_delivered` are asked for: the other columns hold the last block, which stays
    /// in the nearest cache.
    pub fn brief() -> Scratch {
        Scratch { brief: true, ..Scratch::default() }
    }

    /// Where the steps of a block stand in the columns.
    fn place(&self, span: &Range<usize>) -> Range<usize> {
        if self.brief { 0..span.len() } else { span.clone() }
    }

    pub(super) fn fit(&mut self, n: usize, parts: usize) {
        self.p_delivered.resize(n, 0.0);
        let n = if self.brief { n.min(ROOM) } else { n };
        for column in [&mut self.p_dc, &mut self.v_dc] {
            column.resize(n, 0.0);
        }
        self.ac.fit(n);
        self.parts.resize_with(parts, PartColumns::default);
        for part in &mut self.parts {
            for column in [&mut part.rel, &mut part.v, &mut part.i] {
                column.resize(n, 0.0);
            }
        }
    }
}

/// One part of the mounting, before the wiring.
#[derive(Debug, Default)]
pub struct PartColumns {
    light: Arc<CellLight>,
    t_cell: Arc<Vec<f64>>,
    /// Power at maximum power over rated power, before the constant losses.
    pub rel: Vec<f64>,
    /// Voltage of a module at maximum power, V.
    pub v: Vec<f64>,
    /// Current of the wiring's own module at maximum power, A.
    i: Vec<f64>,
}

impl PartColumns {
    /// Light on the cells that makes electricity, W/m2.
    pub fn g_eff(&self) -> &[f64] {
        self.light.g_eff()
    }

    /// Cell temperature, C.
    pub fn t_cell(&self) -> &[f64] {
        &self.t_cell
    }
}

/// Sums by month of a column that comes in blocks.
#[derive(Debug, Clone, Copy, Default)]
struct ByMonth([f64; 12]);

impl ByMonth {
    fn add(&mut self, span: &Span, block: &[f64]) {
        self.add_own(span, &block[span.own.clone()]);
    }

    /// [`ByMonth::add`] of the month's own steps alone.
    fn add_own(&mut self, span: &Span, own: &[f64]) {
        self.0[span.month] += maths::sum(own);
    }

    fn add_times(&mut self, span: &Span, block: &[f64], factor: f64) {
        self.0[span.month] += maths::sum(&block[span.own.clone()]) * factor;
    }
}

/// Sums by month of what a run works out in blocks.
#[derive(Debug, Default)]
struct Sums {
    parts: Vec<PartSums>,
    /// Of strings in blocks without a limit, for one watt of the wiring's own modules.
    strings: InputSums,
    inputs: Vec<InputSums>,
    plant: PlantSums,
}

#[derive(Debug, Clone, Default)]
struct PartSums {
    low: ByMonth,
    rel: ByMonth,
    /// Lumped array only: behind module converters, and behind the cable.
    lump: ByMonth,
    cable: ByMonth,
}

#[derive(Debug, Clone, Default)]
struct InputSums {
    shared: ByMonth,
    cable: ByMonth,
}

#[derive(Debug, Clone, Default)]
struct PlantSums {
    dc: ByMonth,
    open: ByMonth,
    limited: ByMonth,
    draw: ByMonth,
    /// Behind the AC cable and behind the transformer: delivered, and with the AC limit lifted.
    behind: [ByMonth; 2],
    open_behind: [ByMonth; 2],
    export_lost: ByMonth,
}

impl Sums {
    fn clear(&mut self, parts: usize, inputs: usize) {
        self.parts.clear();
        self.parts.resize_with(parts, PartSums::default);
        self.strings = InputSums::default();
        self.inputs.clear();
        self.inputs.resize_with(inputs, InputSums::default);
        self.plant = PlantSums::default();
    }
}

/// A stretch of a month's steps.
#[derive(Debug, Clone)]
pub(super) struct Span {
    month: usize,
    /// The steps that are worked out: whole vectors from the first on, so that no loop has a slow end. A few belong to the
    /// blocks beside.
    pub steps: Range<usize>,
    /// Those of the month among them.
    pub own: Range<usize>,
}

impl Span {
    /// The month's own steps.
    pub fn own_steps(&self) -> Range<usize> {
        self.steps.start + self.own.start..self.steps.start + self.own.end
    }
}

/// The steps of a site in blocks.
pub(super) fn blocks(site: &SiteLight) -> impl Iterator<Item = Span> + '_ {
    (0..12).flat_map(move |month| {
        let (from, to) = (site.sun.month_start[month], site.sun.month_start[month + 1]);
        (from..to).step_by(BLOCK).map(move |start| {
            let end = to.min(start + BLOCK);
            let steps = start / VECTOR * VECTOR..end.next_multiple_of(VECTOR).min(site.len());
            Span { month, own: start - steps.start..end - steps.start, steps }
        })
    })
}

/// A stretch of a column, or ones when it is empty.
fn cut<'a>(column: &'a [f64], span: &Range<usize>, ones: &'a [f64]) -> &'a [f64] {
    if column.is_empty() { &ones[..span.len()] } else { &column[span.clone()] }
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

/// One option over the year, with account and months; the columns stay in `s`, unless it is brief.
pub fn run(setup: &Setup, site: &SiteLight, common: &Common, s: &mut Scratch) -> YearSums {
    run_under(setup, &mut Lights::new(site, common), s)
}

/// [`run`] under light that options share.
pub fn run_under(setup: &Setup, lights: &mut Lights<'_>, s: &mut Scratch) -> YearSums {
    let (site, common) = (lights.site, lights.common());
    begin(setup, lights, s);
    for span in blocks(site) {
        dc(setup, &span, s, true);
        plant(setup, site, common, &span, s);
    }
    let mut tally = Tally::default();
    tell_dc(setup, site, s, &mut tally);
    after(setup, site, common, s, tally)
}

/// Energy by month with the AC and export limits lifted and outage kept, kWh: what a split of a gap shares out.
pub fn open_energy(setup: &Setup, site: &SiteLight, common: &Common, s: &mut Scratch) -> [f64; 12] {
    begin(setup, &mut Lights::new(site, common), s);
    for span in blocks(site) {
        dc(setup, &span, s, false);
        open_plant(setup, common, &span, s);
    }
    open_after(setup, site, common, s)
}

/// From the inverters' input to the meter: the columns `p_dc` and `v_dc` are there already.
pub(super) fn after_dc(setup: &Setup, site: &SiteLight, common: &Common, s: &mut Scratch, tally: Tally) -> YearSums {
    s.sums.clear(0, 0);
    for span in blocks(site) {
        plant(setup, site, common, &span, s);
    }
    after(setup, site, common, s, tally)
}

/// [`open_energy`] from the inverters' input on.
pub(super) fn open_after_dc(setup: &Setup, site: &SiteLight, common: &Common, s: &mut Scratch) -> [f64; 12] {
    s.sums.clear(0, 0);
    for span in blocks(site) {
        open_plant(setup, common, &span, s);
    }
    open_after(setup, site, common, s)
}

/// Makes room and takes the light.
fn begin(setup: &Setup, lights: &mut Lights<'_>, s: &mut Scratch) {
    let parts = setup.mounting.parts.len();
    s.fit(lights.site.len(), parts);
    s.sums.clear(parts, setup.wiring.inputs.len());
    s.free = free_strings(setup);
    for (part, (light, t_cell)) in s.parts.iter_mut().zip(lights.on(setup, &mut s.light)) {
        part.light = light;
        part.t_cell = t_cell;
    }
}

/// One block from the inverters' input to the meter.
fn plant(setup: &Setup, site: &SiteLight, common: &Common, span: &Span, s: &mut Scratch) {
    let steps = span.steps.clone();
    let place = s.place(&steps);
    let sums = &mut s.sums.plant;
    let p_dc = &s.p_dc[place.clone()];
    sums.dc.add(span, p_dc);
    let conversion = &setup.conversion;
    let volts = volts(setup, &s.v_dc[place.clone()]);
    let t_amb = &site.sky.t_amb[steps.clone()];
    conversion.inverter.convert_steps(conversion.count, p_dc, volts, t_amb, s.ac.steps(place.clone()));
    let [before, ac, draw] = s.ac.steps(place);
    sums.open.add(span, before);
    sums.limited.add(span, ac);
    sums.draw.add(span, draw);
    // Behind the inverter come the month's own steps alone: the year's column is written once.
    let own = span.own_steps();
    let p = &mut s.p_delivered[own.clone()];
    p.copy_from_slice(&ac[span.own.clone()]);
    ac_side(common, span, p, &mut s.block.loss, &mut sums.behind);
    if let Some(limit) = &common.export_limit {
        let load = (!common.load_w.is_empty()).then(|| &common.load_w[own]);
        limit.apply(load, p, &mut s.block.loss);
        sums.export_lost.add_own(span, &s.block.loss);
    }
    open_side(common, span, before, &mut s.block, &mut sums.open_behind);
}

/// One block with the AC and export limits lifted.
fn open_plant(setup: &Setup, common: &Common, span: &Span, s: &mut Scratch) {
    let place = s.place(&span.steps);
    let sums = &mut s.sums.plant;
    let conversion = &setup.conversion;
    let volts = volts(setup, &s.v_dc[place.clone()]);
    let p_dc = &s.p_dc[place.clone()];
    conversion.inverter.convert_open_steps(conversion.count, p_dc, volts, s.ac.steps(place.clone()));
    let [before, _, draw] = s.ac.steps(place);
    if common.ac_cable.is_none() {
        sums.open.add(span, before);
    }
    sums.draw.add(span, draw);
    open_side(common, span, before, &mut s.block, &mut sums.open_behind);
}

/// Sends power before the AC limit through the AC side.
fn open_side(common: &Common, span: &Span, before: &[f64], block: &mut Block, sums: &mut [ByMonth; 2]) {
    if common.ac_cable.is_none() && common.transformer.is_none() {
        return;
    }
    let work = &mut block.work[..span.own.len()];
    work.copy_from_slice(&before[span.own.clone()]);
    ac_side(common, span, work, &mut block.loss, sums);
}

/// Sends power of the month's own steps through AC cable and transformer.
fn ac_side(common: &Common, span: &Span, p: &mut [f64], loss: &mut Vec<f64>, sums: &mut [ByMonth; 2]) {
    if let Some(cable) = &common.ac_cable {
        cable.apply(p, loss);
        sums[0].add_own(span, p);
    }
    if let Some(transformer) = &common.transformer {
        transformer.apply(p, loss);
        sums[1].add_own(span, p);
    }
}

/// The account and the months, when all blocks are through.
fn after(setup: &Setup, site: &SiteLight, common: &Common, s: &Scratch, mut tally: Tally) -> YearSums {
    let sums = &s.sums.plant;
    let kwh = site.step_h / 1000.0;
    let kwh_of = |sums: &ByMonth| sums.0.map(|x| x * kwh);
    let e_dc = kwh_of(&sums.dc);
    tally.add(Effect::OutsideWindow, e_dc, 1.0);

    // Inverter.
    let open = kwh_of(&sums.open);
    let limited = kwh_of(&sums.limited);
    tally.add(Effect::Inverter, open, 1.0);
    tally.add(Effect::Clipping, limited, 1.0);

    // The night draw counts the hours that are no daylight steps, and daylight steps without output.
    let draw = draw_kwh(setup, site, sums);
    let after_draw = less(&limited, &draw);
    tally.add(Effect::NightDraw, after_draw, 1.0);

    // What lies behind the inverter.
    let (after_cable, after_transformer) = behind(site, common, &limited, &sums.behind);
    tally.add(Effect::AcCable, less(&after_cable, &draw), 1.0);
    tally.add(Effect::Transformer, less(&after_transformer, &draw), 1.0);
    // Out of service neither output nor draw counts.
    let in_service = common.outage.kept();
    let mut left = less(&after_transformer, &draw).map(|x| x * in_service);
    tally.add(Effect::Outage, left, 1.0);
    let mut export_lost = [0.0; 12];
    if common.export_limit.is_some() {
        export_lost = sums.export_lost.0.map(|x| x * kwh * in_service);
        left = less(&left, &export_lost);
        tally.add(Effect::ExportLimit, left, 1.0);
    }

    let account = tally.close();
    let open_kwh = open_after(setup, site, common, s);
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

/// Energy with the AC and export limits lifted, outage kept, when all blocks are through.
fn open_after(setup: &Setup, site: &SiteLight, common: &Common, s: &Scratch) -> [f64; 12] {
    let sums = &s.sums.plant;
    let open = sums.open.0.map(|x| x * site.step_h / 1000.0);
    let (_, after) = behind(site, common, &open, &sums.open_behind);
    less(&after, &draw_kwh(setup, site, sums)).map(|x| x * common.outage.kept())
}

/// The voltage at the inverters; a lumped array has none.
fn volts<'a>(setup: &Setup, v_dc: &'a [f64]) -> Option<&'a [f64]> {
    (!setup.wiring.inputs.is_empty()).then_some(v_dc)
}

/// Draw in the hours without output by month, kWh.
fn draw_kwh(setup: &Setup, site: &SiteLight, sums: &PlantSums) -> [f64; 12] {
    let night_w = setup.conversion.inverter.night_w() * f64::from(setup.conversion.count);
    let day = sums.draw.0;
    std::array::from_fn(|m| (site.night_h[m] * night_w + day[m] * site.step_h) / 1000.0)
}

/// What is left by month behind AC cable and behind the transformer, kWh. The transformer's no-load loss runs at night
/// too.
fn behind(site: &SiteLight, common: &Common, before: &[f64; 12], sums: &[ByMonth; 2]) -> ([f64; 12], [f64; 12]) {
    let kwh = site.step_h / 1000.0;
    let after_cable = if common.ac_cable.is_some() { sums[0].0.map(|x| x * kwh) } else { *before };
    let mut after_transformer = after_cable;
    if let Some(transformer) = &common.transformer {
        let after = sums[1].0;
        after_transformer =
            std::array::from_fn(|m| after[m] * kwh - transformer.loss_w(0.0) * site.night_h[m] / 1000.0);
    }
    (after_cable, after_transformer)
}

fn less(x: &[f64; 12], y: &[f64; 12]) -> [f64; 12] {
    std::array::from_fn(|m| x[m] - y[m])
}

/// One block of DC power of the whole array into `s.p_dc` and voltage into `s.v_dc`; with an account also the sums up to
/// the cable.
fn dc(setup: &Setup, span: &Span, s: &mut Scratch, account: bool) {
    let none = PartShade::default();
    let steps = &span.steps;
    let (n, place) = (steps.len(), s.place(steps));
    for k in 0..setup.mounting.parts.len() {
        let shade = setup.shade.get(k).unwrap_or(&none);
        let PartColumns { light, t_cell, rel, v, .. } = &mut s.parts[k];
        let (t_cell, rel, v) = (&t_cell[steps.clone()], &mut rel[place.clone()], &mut v[place.clone()]);
        let Block { ones, a, b, low, .. } = &mut s.block;
        let (a, b, low) = (&mut a[..n], &mut b[..n], &mut low[..n]);

        let shares = light.shares();
        let shares = shares.cut(steps.clone());
        let (weak, heat, volts) = (&setup.low_light, &setup.heat.electrical, &setup.wiring.electrical);
        if Arc::ptr_eq(weak, heat) && Arc::ptr_eq(weak, volts) {
            weak.operate_of(&shares, t_cell, a, b, v);
        } else {
            volts.operate_of(&shares, t_cell, a, b, v);
            heat.low_light_of(&shares, a);
            heat.heat_of(&shares, a, t_cell, b);
            weak.low_light_of(&shares, a);
        }
        let (kept, snow) = (cut(&shade.power_kept, steps, ones), cut(&shade.snow_kept, steps, ones));
        power(&light.g_eff()[steps.clone()], a, b, kept, snow, low, rel);
        if account {
            let sums = &mut s.sums.parts[k];
            sums.low.add(span, low);
            sums.rel.add(span, rel);
        }
    }
    if setup.wiring.inputs.is_empty() {
        lumped(setup, span, s, account);
    } else {
        strings(setup, span, s, account);
    }
}

/// The account up to the cable, when all blocks are through.
fn tell_dc(setup: &Setup, site: &SiteLight, s: &Scratch, tally: &mut Tally) {
    let wiring = &setup.wiring;
    for (k, &(p, share)) in setup.mounting.parts.iter().enumerate() {
        let plane = &site.planes[p];
        let (light, sums) = (&s.parts[k].light.sums, &s.sums.parts[k]);
        let p0_w = setup.nameplate.p0_w() * share;
        let per_light = p0_w * site.step_h / 1000.0 / G_STC;
        let per_power = p0_w * site.step_h / 1000.0;
        tally.nominate(&plane.h_i, p0_w);
        tally.add(Effect::Skyline, plane.h_skyline, p0_w / 1000.0);
        tally.add(Effect::Shade, light.shade, per_light);
        tally.add(Effect::Snow, light.snow, per_light);
        tally.add(Effect::Dirt, light.dirt, per_light);
        tally.add(Effect::Incidence, light.incidence, per_light);
        if let Some(spectrum) = light.spectrum {
            tally.add(Effect::Spectrum, spectrum, per_light);
        }
        tally.add(Effect::Rear, light.rear, per_light);
        tally.add(Effect::LowLight, sums.low.0, per_power);
        let heat = sums.rel.0;
        tally.add(Effect::Temperature, heat, per_power);
        tally.add(Effect::LightInduced, heat, per_power * setup.light_induced.kept());
        if wiring.inputs.is_empty() {
            let lump = sums.lump.0;
            tally.add(Effect::ModuleConverter, lump, per_power);
            tally.add(Effect::Mismatch, lump, per_power * wiring.mismatch.kept());
            tally.add(Effect::DcCable, sums.cable.0, per_power);
        }
    }
    let free = (1, &s.sums.strings);
    let limited = wiring.inputs.iter().map(|input| input.alike).zip(&s.sums.inputs);
    for (alike, sums) in limited.chain((!wiring.inputs.is_empty()).then_some(free)) {
        let per_power = scale_of(setup) * f64::from(alike) * site.step_h / 1000.0;
        let (shared, cable) = (sums.shared.0, sums.cable.0);
        tally.add(Effect::Mismatch, shared, per_power);
        tally.add(Effect::DcCable, less(&shared, &cable), per_power);
    }
}

/// Watts of this nameplate for a watt of the wiring's own modules.
pub(super) fn scale_of(setup: &Setup) -> f64 {
    setup.nameplate.p0_w() / (setup.wiring.p_module_w * f64::from(setup.wiring.modules()))
}

/// The column, or another when it is empty.
pub(super) fn or<'a>(column: &'a [f64], other: &'a [f64]) -> &'a [f64] {
    if column.is_empty() { other } else { column }
}

/// One lumped array: every part at its own maximum power point, one cable figure.
///
/// Cable, with `r = P / P_stc` of the module and `u = V_mp / V_mp,stc`: loss / P_stc = c (r / u)^2, because the
/// string current is P / V and `c` is the loss at rated current over rated power.
fn lumped(setup: &Setup, span: &Span, s: &mut Scratch, account: bool) {
    let place = s.place(&span.steps);
    let wiring = &setup.wiring;
    let n = span.steps.len();
    let per_v_stc = 1.0 / wiring.electrical.point(G_STC, T_STC).v_mp;
    s.p_dc[place.clone()].fill(0.0);
    s.v_dc[place.clone()].fill(0.0);
    let light_induced = setup.light_induced.kept();
    let mismatch = wiring.mismatch.kept();
    for (k, &(_, share)) in setup.mounting.parts.iter().enumerate() {
        let part = &mut s.parts[k];
        let (rel, v, i) = (&part.rel[place.clone()], &mut part.v[place.clone()], &mut part.i[place.clone()]);
        let work = &mut s.block.work[..n];
        let p0_w = setup.nameplate.p0_w() * share;
        scaled(rel, light_induced, i);
        if let Some(converter) = &wiring.converter {
            // In watts of the wiring's own module and back.
            scaled(i, wiring.p_module_w, work);
            converter.convert(work, &mut s.block.loss);
            scaled(&s.block.loss, 1.0 / wiring.p_module_w, i);
            v.fill(1.0 / per_v_stc);
        }
        cable(i, v, mismatch, wiring.cable_at_stc, per_v_stc, work);
        weighted_sum(work, p0_w, &mut s.p_dc[place.clone()]);
        if account {
            s.sums.parts[k].lump.add(span, i);
            s.sums.parts[k].cable.add(span, work);
        }
    }
}

/// The strings of one part of the mounting on inputs that carry equal strings only: while no limit is in the way each
/// module runs at its own maximum power point, and all strings are one sum.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct FreeStrings {
    pub part: usize,
    /// The first part of a wiring begins the sums over all.
    first: bool,
    /// See [`scale_of`].
    scale: f64,
    /// Modules, and loops of cable, ohm, over all strings.
    modules: f64,
    ohm: f64,
    /// Modules in series and loop of cable, ohm, in the mean over the wiring's modules: their part in the DC voltage.
    series: f64,
    series_ohm: f64,
    kinds: Vec<StringKind>,
}

/// The strings of a wiring by part; nothing when strings of two kinds meet on an input, or there are none.
pub(super) fn free_strings(setup: &Setup) -> Option<Vec<FreeStrings>> {
    let wiring = &setup.wiring;
    let all = f64::from(wiring.modules());
    let mut parts: Vec<FreeStrings> = Vec::new();
    for input in &wiring.inputs {
        let first = StringsOfInput { count: 1, ..*input.strings.first()? };
        if input.strings.iter().any(|x| StringsOfInput { count: 1, ..*x } != first) {
            return None;
        }
        let count: u32 = input.strings.iter().map(|x| x.count).sum();
        let strings = f64::from(input.alike * count);
        let n = f64::from(first.n_series);
        let at = parts.iter().position(|p| p.part == first.part).unwrap_or_else(|| {
            parts.push(FreeStrings {
                part: first.part,
                first: parts.is_empty(),
                scale: scale_of(setup),
                modules: 0.0,
                ohm: 0.0,
                series: 0.0,
                series_ohm: 0.0,
                kinds: Vec::new(),
            });
            parts.len() - 1
        });
        let part = &mut parts[at];
        part.modules += strings * n;
        part.ohm += strings * first.loop_ohm;
        part.series += strings * n / all * n;
        part.series_ohm += strings * n / all * first.loop_ohm;
        let i_max = wiring.limits.i_max.map_or(f64::MAX, |i| i / f64::from(count));
        part.kinds.push(StringKind { n_series: n, loop_ohm: first.loop_ohm, i_max });
    }
    (!parts.is_empty()).then_some(parts)
}

impl FreeStrings {
    /// Adds the strings to DC power and voltage; what the modules give and the square of their current come first. False,
    /// and nothing of use is left, where a limit is in the way.
    pub fn add(
        &self,
        window_v: Option<[f64; 2]>,
        [v, i]: [&[f64]; 2],
        [own, square]: [&mut [f64]; 2],
        [p_dc, v_dc]: [&mut [f64]; 2],
    ) -> bool {
        let extremes = Extremes::of(v, i);
        if !self.kinds.iter().all(|kind| kind.is_free(window_v, &extremes, v, i)) {
            return false;
        }
        add_strings(self, v, i, own, square, p_dc, v_dc);
        true
    }
}

/// [`strings`] where no limit is in the way; else the answer is no.
fn without_limits(setup: &Setup, span: &Span, s: &mut Scratch, account: bool) -> bool {
    let Some(free) = &s.free else { return false };
    let place = s.place(&span.steps);
    let (p_dc, v_dc) = (&mut s.p_dc[place.clone()], &mut s.v_dc[place.clone()]);
    let Block { a: own, b: square, .. } = &mut s.block;
    let (own, square) = (&mut own[..p_dc.len()], &mut square[..p_dc.len()]);
    let mut sums = s.sums.strings.clone();
    for strings in free {
        let part = &s.parts[strings.part];
        let at = [&part.v[place.clone()], &part.i[place.clone()]];
        if !strings.add(setup.wiring.limits.window_v, at, [own, square], [p_dc, v_dc]) {
            return false;
        }
        if account {
            sums.shared.add_times(span, own, strings.modules);
            sums.cable.add_times(span, square, strings.ohm);
        }
    }
    s.sums.strings = sums;
    true
}

/// Strings on their inputs: shared voltage, window, current limit, cable.
fn strings(setup: &Setup, span: &Span, s: &mut Scratch, account: bool) {
    let place = s.place(&span.steps);
    let wiring = &setup.wiring;
    // Power of the wiring's own modules, W, taken over as a share of this nameplate.
    let watts = wiring.p_module_w * setup.constant_kept();
    for part in &mut s.parts {
        current(&part.rel[place.clone()], &part.v[place.clone()], watts, &mut part.i[place.clone()]);
    }
    if without_limits(setup, span, s, account) {
        return;
    }
    s.p_dc[place.clone()].fill(0.0);
    s.v_dc[place.clone()].fill(0.0);
    let modules = f64::from(wiring.modules());
    for (k, input) in wiring.inputs.iter().enumerate() {
        let set = |x: &StringsOfInput| {
            let part = &s.parts[x.part];
            StringSet {
                curve: wiring.electrical.as_ref(),
                n_series: x.n_series,
                count: x.count,
                loop_ohm: x.loop_ohm,
                g: &part.g_eff()[span.steps.clone()],
                t: &part.t_cell[span.steps.clone()],
                v_mp: &part.v[place.clone()],
                i_mp: &part.i[place.clone()],
            }
        };
        match input.strings.as_slice() {
            [one] => operate(&[set(one)], &wiring.limits, &mut s.input),
            [one, two] => operate(&[set(one), set(two)], &wiring.limits, &mut s.input),
            more => operate(&more.iter().map(set).collect::<Vec<_>>(), &wiring.limits, &mut s.input),
        }
        let here: u32 = input.strings.iter().map(|x| x.n_series * x.count).sum();
        let weight = f64::from(input.alike * here) / modules;
        let work = &mut s.block.work[..span.steps.len()];
        difference(&s.input.held, &s.input.cable, work);
        weighted_sum(work, scale_of(setup) * f64::from(input.alike), &mut s.p_dc[place.clone()]);
        weighted_sum(&s.input.v, weight, &mut s.v_dc[place.clone()]);
        if account {
            let sums = &mut s.sums.inputs[k];
            sums.shared.add(span, &s.input.shared);
            sums.cable.add(span, &s.input.cable);
        }
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
    pub(super) fn product3(x: &[f64], y: &[f64], z: &[f64], out: &mut [f64]) {
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
    /// Strings at the maximum power point of their modules.
    fn add_strings(
        of: &FreeStrings, v: &[f64], i: &[f64], own: &mut [f64], square: &mut [f64], p_dc: &mut [f64], v_dc: &mut [f64],
    ) {
        let n = p_dc.len();
        let (v, i, own, square, v_dc) = (&v[..n], &i[..n], &mut own[..n], &mut square[..n], &mut v_dc[..n]);
        let &FreeStrings { first, scale, modules, ohm, series, series_ohm, .. } = of;
        for j in 0..n {
            own[j] = v[j] * i[j];
            square[j] = i[j] * i[j];
            let (p, u) = if first { (0.0, 0.0) } else { (p_dc[j], v_dc[j]) };
            p_dc[j] = p + scale * (modules * own[j] - ohm * square[j]);
            v_dc[j] = u + (series * v[j] - series_ohm * i[j]);
        }
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
