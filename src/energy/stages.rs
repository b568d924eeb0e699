//! The chain by stages whose results are kept: for the many runs of a split or a turn that differ in a few parameters.
//!
//! Each stage is keyed by the parameters that it reads and by the results that it starts from; a run recomputes only
//! what changed since one of the last few runs. The columns are the same, to the bit, as those of [`super::run`].

use std::ops::Range;
use std::sync::Arc;

use super::MonthSums;
use super::chain::{
    Scratch, Tally, add_scaled, after_dc, blocks, cable, current, difference, free_strings, front_light, open_after_dc,
    or, power, scale_of, scaled, weighted_sum,
};
use super::light::{rear, warm};
use super::setup::{Common, InputStrings, PartShade, Setup, StringsOfInput};
use super::site::SiteLight;
use crate::maths;
use crate::module::{Electrical, Glass, Shares, Thermal, shares};
use crate::plant::{InputLimits, ModuleConverter, StringSet, operate};
use crate::units::{Fraction, G_STC, T_STC};

/// Results of one stage with what they were made from. The one that was used longest ago makes room.
#[derive(Debug)]
struct Kept<K, V> {
    slots: Vec<Slot<K, V>>,
    most: usize,
    clock: u64,
    made: u64,
}

#[derive(Debug)]
struct Slot<K, V> {
    key: K,
    value: V,
    /// Of this value alone, for the keys of later stages.
    id: u64,
    used: u64,
}

/// Results kept of a stage: both options' own under either side of one more group.
const MOST: usize = 4;
/// Kinds of inputs kept: those of both options, under either side of one more group.
const MOST_INPUTS: usize = 16;

impl<K: PartialEq, V: Default> Kept<K, V> {
    fn new(most: usize) -> Kept<K, V> {
        Kept { slots: Vec::new(), most, clock: 0, made: 0 }
    }

    /// Where the value of a key stands, made by `make` where it is not known.
    fn at(&mut self, key: K, make: impl FnOnce(&mut V)) -> usize {
        self.clock += 1;
        let clock = self.clock;
        if let Some(at) = self.slots.iter().position(|s| s.key == key) {
            self.slots[at].used = clock;
            return at;
        }
        self.made += 1;
        if self.slots.len() < self.most {
            let mut value = V::default();
            make(&mut value);
            self.slots.push(Slot { key, value, id: clock, used: clock });
            return self.slots.len() - 1;
        }
        let oldest = self.slots.iter().enumerate().min_by_key(|(_, s)| s.used).map_or(0, |(at, _)| at);
        let slot = &mut self.slots[oldest];
        make(&mut slot.value);
        (slot.key, slot.id, slot.used) = (key, clock, clock);
        oldest
    }

    fn id(&self, at: usize) -> u64 {
        self.slots[at].id
    }

    fn value(&self, at: usize) -> &V {
        &self.slots[at].value
    }
}

/// Equal only when it is the same record in memory; holding it keeps its place from being given to another.
#[derive(Debug)]
struct Same<T>(Arc<T>);

impl<T> PartialEq for Same<T> {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}

/// A power model, the same where its weak light is.
#[derive(Debug)]
struct WeakLight(Arc<Electrical>);

impl PartialEq for WeakLight {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0) || self.0.same_low_light_model(&other.0)
    }
}

#[derive(Debug, PartialEq)]
struct FrontKey {
    glass: Same<Glass>,
    plane: usize,
    shade: Same<Vec<PartShade>>,
}

#[derive(Debug, PartialEq)]
struct LightKey {
    front: u64,
    rear: f64,
    spectrum: Option<Same<Vec<f64>>>,
}

/// Light on the cells, W/m2.
#[derive(Debug, Default)]
struct Light {
    /// What warms them.
    heat: Vec<f64>,
    /// The same with the colour's factor; empty without one.
    coloured: Vec<f64>,
    /// As the models of a module read it.
    s: Vec<f64>,
    ln_s: Vec<f64>,
    root: Vec<f64>,
}

impl Light {
    fn eff(&self) -> &[f64] {
        if self.coloured.is_empty() { &self.heat } else { &self.coloured }
    }

    fn shares(&self) -> Shares<'_> {
        Shares { s: &self.s, ln_s: &self.ln_s, root: &self.root }
    }
}

#[derive(Debug, PartialEq)]
struct PowerKey {
    low: u64,
    heat: u64,
    shade: Same<Vec<PartShade>>,
}

/// The stages of one part of the mounting up to power and voltage of a module.
#[derive(Debug)]
struct Part {
    front: Kept<FrontKey, Vec<f64>>,
    light: Kept<LightKey, Light>,
    t_cell: Kept<(u64, usize, Thermal), Vec<f64>>,
    low: Kept<(u64, WeakLight), Vec<f64>>,
    heat: Kept<(u64, u64, Same<Electrical>), Vec<f64>>,
    volts: Kept<(u64, u64, Same<Electrical>), Vec<f64>>,
    rel: Kept<PowerKey, Vec<f64>>,
    /// Current of a module for the wiring in hand, and what it was made from.
    amps: Vec<f64>,
    amps_of: Option<(u64, u64, f64)>,
}

/// Where the columns of a part stand for the run in hand.
#[derive(Debug, Clone, Copy)]
struct Now {
    light: usize,
    t_cell: usize,
    volts: usize,
    rel: usize,
}

/// One kind of inverter input with its strings; the parts by their power and voltage, whose curve is the wiring's.
#[derive(Debug, PartialEq)]
struct InputKey {
    parts: Vec<(u64, u64)>,
    watts: f64,
    strings: Vec<StringsOfInput>,
    limits: InputLimits,
}

/// One part of a lumped array.
#[derive(Debug, PartialEq)]
struct LumpKey {
    part: (usize, u64, u64),
    light_induced: Fraction,
    p_module_w: f64,
    converter: Option<Arc<ModuleConverter>>,
    mismatch: Fraction,
    cable_at_stc: f64,
}

/// Power per unit of nameplate behind the DC cable, and voltage at the inverter.
#[derive(Debug, Default)]
struct Dc {
    power: Vec<f64>,
    volts: Vec<f64>,
}

/// The chain of one site with its last results kept.
#[derive(Debug)]
pub struct Stages<'a> {
    site: &'a SiteLight,
    common: &'a Common,
    parts: Vec<Part>,
    inputs: Kept<InputKey, Dc>,
    lumps: Kept<LumpKey, Vec<f64>>,
    s: Scratch,
    ones: Vec<f64>,
    work: [Vec<f64>; 5],
}

impl<'a> Stages<'a> {
    /// Nothing kept yet.
    pub fn new(site: &'a SiteLight, common: &'a Common) -> Stages<'a> {
        let n = site.len();
        Stages {
            site,
            common,
            parts: Vec::new(),
            inputs: Kept::new(MOST_INPUTS),
            lumps: Kept::new(MOST),
            s: Scratch::default(),
            ones: vec![1.0; n],
            work: std::array::from_fn(|_| vec![0.0; n]),
        }
    }

    /// As [`super::open_energy`], to the bit.
    pub fn open_energy(&mut self, setup: &Setup) -> [f64; 12] {
        self.run_dc(setup);
        open_after_dc(setup, self.site, self.common, &mut self.s)
    }

    /// AC power delivered while in service in the run that was made last, W.
    pub fn p_delivered(&self) -> &[f64] {
        &self.s.p_delivered
    }

    /// The months of [`super::run`].
    pub fn months(&mut self, setup: &Setup) -> [MonthSums; 12] {
        self.run_dc(setup);
        let mut tally = Tally::default();
        for &(p, share) in &setup.mounting.parts {
            let p0_w = setup.nameplate.p0_w() * share;
            tally.nominate(&self.site.planes[p].h_i, p0_w);
        }
        after_dc(setup, self.site, self.common, &mut self.s, tally).months
    }

    /// Energy delivered in the year, kWh.
    pub fn delivered(&mut self, setup: &Setup) -> f64 {
        self.months(setup).iter().map(|m| m.e_ac_kwh).sum()
    }

    /// Keeps so many kinds of inputs, for runs that differ in their strings.
    pub fn with_inputs(mut self, most: usize) -> Stages<'a> {
        self.inputs.most = most.max(1);
        self
    }

    /// How often a stage was worked out: light in front of the cells, cell temperature, voltage, wiring.
    pub fn made(&self) -> [u64; 4] {
        let sum = |of: fn(&Part) -> u64| self.parts.iter().map(of).sum();
        [sum(|p| p.front.made), sum(|p| p.t_cell.made), sum(|p| p.volts.made), self.inputs.made + self.lumps.made]
    }

    /// DC power of the whole array into the scratch's `p_dc`; the voltage too where the inverter asks for it.
    fn run_dc(&mut self, setup: &Setup) {
        let n = self.site.len();
        self.s.fit(n, 0);
        self.s.p_dc.fill(0.0);
        self.s.v_dc.fill(0.0);
        while self.parts.len() < setup.mounting.parts.len() {
            self.parts.push(Part::new());
        }
        let (site, common) = (self.site, self.common);
        let now: Vec<Now> = setup
            .mounting
            .parts
            .iter()
            .zip(&mut self.parts)
            .enumerate()
            .map(|(k, (&(p, _), part))| part.operate((k, p), setup, site, common, &self.ones, &mut self.work))
            .collect();
        let ids = |part: &Part, now: &Now| (part.rel.id(now.rel), part.volts.id(now.volts));
        let wiring = &setup.wiring;
        if wiring.inputs.is_empty() {
            for (k, &(_, share)) in setup.mounting.parts.iter().enumerate() {
                let (power, volts) = ids(&self.parts[k], &now[k]);
                let key = LumpKey {
                    part: (k, power, volts),
                    light_induced: setup.light_induced,
                    p_module_w: wiring.p_module_w,
                    converter: wiring.converter.clone(),
                    mismatch: wiring.mismatch,
                    cable_at_stc: wiring.cable_at_stc,
                };
                let (part, work) = (&self.parts[k], &mut self.work);
                let at = self.lumps.at(key, |out| lump(setup, part, now[k], out, work));
                weighted_sum(self.lumps.value(at), setup.nameplate.p0_w() * share, &mut self.s.p_dc);
            }
            return;
        }
        let watts = wiring.p_module_w * setup.constant_kept();
        for (part, now) in self.parts.iter_mut().zip(&now) {
            part.current(now, watts);
        }
        let limited = self.without_limits(setup, &now);
        if limited.is_empty() {
            return;
        }
        let modules = f64::from(wiring.modules());
        let parts: Vec<(u64, u64)> = self.parts.iter().zip(&now).map(|(part, now)| ids(part, now)).collect();
        for input in &wiring.inputs {
            let key = InputKey { parts: parts.clone(), watts, strings: input.strings.clone(), limits: wiring.limits };
            let (parts, s) = (&self.parts, &mut self.s);
            let at = self.inputs.at(key, |dc| strings(setup, input, parts, &now, dc, s));
            let dc = self.inputs.value(at);
            let here: u32 = input.strings.iter().map(|x| x.n_series * x.count).sum();
            for own in &limited {
                let power = &dc.power[own.clone()];
                weighted_sum(power, scale_of(setup) * f64::from(input.alike), &mut self.s.p_dc[own.clone()]);
                if setup.conversion.inverter.uses_voltage() {
                    let weight = f64::from(input.alike * here) / modules;
                    weighted_sum(&dc.volts[own.clone()], weight, &mut self.s.v_dc[own.clone()]);
                }
            }
        }
    }

    /// Strings in the blocks in which no limit is in the way; hands back the steps of the others, whose power is 0.
    fn without_limits(&mut self, setup: &Setup, now: &[Now]) -> Vec<Range<usize>> {
        let mut limited: Vec<Range<usize>> = Vec::new();
        let Some(free) = free_strings(setup) else {
            limited.push(0..self.site.len());
            return limited;
        };
        let [own, square, power, volts, _] = &mut self.work;
        for span in blocks(self.site) {
            let steps = span.steps.clone();
            let [own, square, power, volts] =
                [&mut *own, &mut *square, &mut *power, &mut *volts].map(|x| &mut x[..steps.len()]);
            let is_free = free.iter().all(|strings| {
                let part = &self.parts[strings.part];
                let v = &part.volts.value(now[strings.part].volts)[steps.clone()];
                let at = [v, &part.amps[steps.clone()]];
                strings.add(setup.wiring.limits.window_v, at, [own, square], [power, volts])
            });
            let year = span.own_steps();
            if is_free {
                self.s.p_dc[year.clone()].copy_from_slice(&power[span.own.clone()]);
                self.s.v_dc[year].copy_from_slice(&volts[span.own.clone()]);
            } else {
                limited.push(year);
            }
        }
        limited
    }
}

impl Part {
    fn new() -> Part {
        Part {
            front: Kept::new(MOST),
            light: Kept::new(MOST),
            t_cell: Kept::new(MOST),
            low: Kept::new(MOST),
            heat: Kept::new(MOST),
            volts: Kept::new(MOST),
            rel: Kept::new(MOST),
            amps: Vec::new(),
            amps_of: None,
        }
    }

    /// Current of a module of `watts` at its maximum power point.
    fn current(&mut self, now: &Now, watts: f64) {
        let of = (self.rel.id(now.rel), self.volts.id(now.volts), watts);
        if self.amps_of != Some(of) {
            let rel = self.rel.value(now.rel);
            self.amps.resize(rel.len(), 0.0);
            current(rel, self.volts.value(now.volts), watts, &mut self.amps);
            self.amps_of = Some(of);
        }
    }

    /// Light, heat, power and voltage of part `k` of the mounting, on plane `p`.
    fn operate(
        &mut self,
        (k, p): (usize, usize),
        setup: &Setup,
        site: &SiteLight,
        common: &Common,
        ones: &[f64],
        work: &mut [Vec<f64>; 5],
    ) -> Now {
        let n = site.len();
        let plane = &site.planes[p];
        let none = PartShade::default();
        let shade = setup.shade.get(k).unwrap_or(&none);
        let same_shade = || Same(setup.shade.clone());
        let fresh = |column: &mut Vec<f64>| column.resize(n, 0.0);

        let front =
            self.front.at(FrontKey { glass: Same(setup.glass.clone()), plane: p, shade: same_shade() }, |out| {
                fresh(out);
                let [iam, iam_sky, iam_ground, shaded, clean] = work;
                setup.glass.beam(&plane.light.cos_aoi, iam);
                setup.glass.sky_column(&plane.light.tilt_deg, iam_sky);
                setup.glass.ground_column(&plane.light.tilt_deg, iam_ground);
                front_light(
                    &plane.beam,
                    &plane.sky,
                    &plane.ground,
                    or(&shade.beam_kept, ones),
                    or(&shade.sky_kept, ones),
                    &common.clean_kept,
                    iam,
                    iam_sky,
                    iam_ground,
                    shaded,
                    clean,
                    out,
                );
            });

        let rear = rear(setup, k, site);
        let spectrum = setup.rear.spectrum.as_ref();
        let key = LightKey { front: self.front.id(front), rear, spectrum: spectrum.map(|s| Same(s.clone())) };
        let light = self.light.at(key, |out| {
            fresh(&mut out.heat);
            add_scaled(self.front.value(front), or(&plane.rear, ones), rear, &mut out.heat);
            out.coloured.clear();
            if let Some(factor) = spectrum {
                out.coloured.extend_from_slice(&out.heat);
                maths::multiply(factor, &mut out.coloured);
            }
            let Light { heat, coloured, s, ln_s, root } = out;
            [&mut *s, &mut *ln_s, &mut *root].into_iter().for_each(fresh);
            shares(if coloured.is_empty() { heat } else { coloured }, s, ln_s, root);
        });
        let light_id = self.light.id(light);
        let g_eff = self.light.value(light).eff();
        let lit = self.light.value(light).shares();

        let thermal = setup.heat.thermal[p];
        let t_cell = self.t_cell.at((light_id, p, thermal), |out| {
            fresh(out);
            warm(&thermal, site, &self.light.value(light).heat, out);
        });
        let t_id = self.t_cell.id(t_cell);
        let t = self.t_cell.value(t_cell);

        let mut low_of = |e: &Arc<Electrical>| {
            self.low.at((light_id, WeakLight(e.clone())), |out| {
                fresh(out);
                e.low_light_of(&lit, out);
            })
        };
        let (low, cold, own) =
            (low_of(&setup.low_light), low_of(&setup.heat.electrical), low_of(&setup.wiring.electrical));
        let mut heat_of = |e: &Arc<Electrical>, low: usize| {
            let a = self.low.value(low);
            self.heat.at((light_id, t_id, Same(e.clone())), |out| {
                fresh(out);
                e.heat_of(&lit, a, t, out);
            })
        };
        let (heat, warm) = (heat_of(&setup.heat.electrical, cold), heat_of(&setup.wiring.electrical, own));
        let volts = self.volts.at((light_id, t_id, Same(setup.wiring.electrical.clone())), |out| {
            fresh(out);
            setup.wiring.electrical.voltage_of(&lit, t, self.low.value(own), self.heat.value(warm), out);
        });
        let key = PowerKey { low: self.low.id(low), heat: self.heat.id(heat), shade: same_shade() };
        let rel = self.rel.at(key, |out| {
            fresh(out);
            let (kept, snow) = (or(&shade.power_kept, ones), or(&shade.snow_kept, ones));
            power(g_eff, self.low.value(low), self.heat.value(heat), kept, snow, &mut work[0], out);
        });
        Now { light, t_cell, volts, rel }
    }
}

/// One part of a lumped array as the chain has it, without the nameplate.
fn lump(setup: &Setup, part: &Part, now: Now, out: &mut Vec<f64>, work: &mut [Vec<f64>; 5]) {
    let wiring = &setup.wiring;
    let per_v_stc = 1.0 / wiring.electrical.point(G_STC, T_STC).v_mp;
    let [amps, watts, flat, ..] = work;
    let rel = part.rel.value(now.rel);
    out.resize(rel.len(), 0.0);
    scaled(rel, setup.light_induced.kept(), amps);
    let mut volts: &[f64] = part.volts.value(now.volts);
    if let Some(converter) = &wiring.converter {
        scaled(amps, wiring.p_module_w, watts);
        let mut converted = Vec::new();
        converter.convert(watts, &mut converted);
        scaled(&converted, 1.0 / wiring.p_module_w, amps);
        flat.fill(1.0 / per_v_stc);
        volts = flat;
    }
    cable(amps, volts, wiring.mismatch.kept(), wiring.cable_at_stc, per_v_stc, out);
}

/// One kind of input as the chain has it, without the nameplate.
fn strings(setup: &Setup, input: &InputStrings, parts: &[Part], now: &[Now], dc: &mut Dc, s: &mut Scratch) {
    let wiring = &setup.wiring;
    let sets: Vec<StringSet<'_>> = input
        .strings
        .iter()
        .map(|x| {
            let (part, now) = (&parts[x.part], now[x.part]);
            StringSet {
                curve: wiring.electrical.as_ref(),
                n_series: x.n_series,
                count: x.count,
                loop_ohm: x.loop_ohm,
                g: part.light.value(now.light).eff(),
                t: part.t_cell.value(now.t_cell),
                v_mp: part.volts.value(now.volts),
                i_mp: &part.amps,
            }
        })
        .collect();
    operate(&sets, &wiring.limits, &mut s.input);
    dc.power.resize(s.input.held.len(), 0.0);
    difference(&s.input.held, &s.input.cable, &mut dc.power);
    std::mem::swap(&mut s.input.v, &mut dc.volts);
}
