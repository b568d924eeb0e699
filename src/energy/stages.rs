//! The chain by stages whose results are kept: for the many runs of a split or a turn that differ in a few parameters.
//!
//! Each stage is keyed by the parameters that it reads and by the results that it starts from; a run recomputes only
//! what changed since one of the last few runs. The columns are the same, to the bit, as those of [`super::run`].

use std::sync::Arc;

use super::MonthSums;
use super::chain::{
    Scratch, Tally, add_scaled, after_dc, cable, current, diffuse_factors, difference, front_light, multiply,
    open_after_dc, or, power, scaled, weighted_sum,
};
use super::setup::{Common, PartShade, Setup, Wiring};
use super::site::SiteLight;
use crate::module::{Electrical, Glass, Thermal};
use crate::plant::{StringSet, operate};
use crate::units::{Fraction, G_STC, T_STC};

/// Results of one stage with what they were made from. The one that was used longest ago makes room.
#[derive(Debug)]
struct Kept<K, V> {
    slots: Vec<Slot<K, V>>,
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

impl<K: PartialEq, V: Default> Kept<K, V> {
    fn new() -> Kept<K, V> {
        Kept { slots: Vec::new(), clock: 0, made: 0 }
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
        if self.slots.len() < MOST {
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
}

impl Light {
    fn eff(&self) -> &[f64] {
        if self.coloured.is_empty() { &self.heat } else { &self.coloured }
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
}

/// Where the columns of a part stand for the run in hand.
#[derive(Debug, Clone, Copy)]
struct Now {
    light: usize,
    t_cell: usize,
    volts: usize,
    rel: usize,
}

#[derive(Debug, PartialEq)]
struct DcKey {
    /// Power and voltage of each part.
    parts: Vec<(u64, u64)>,
    wiring: WiringKey,
    light_induced: Fraction,
}

#[derive(Debug)]
struct WiringKey(Wiring);

impl PartialEq for WiringKey {
    fn eq(&self, other: &Self) -> bool {
        let (x, y) = (&self.0, &other.0);
        Arc::ptr_eq(&x.electrical, &y.electrical)
            && x.p_module_w == y.p_module_w
            && x.converter == y.converter
            && x.mismatch == y.mismatch
            && x.cable_at_stc == y.cable_at_stc
            && x.inputs == y.inputs
            && x.limits == y.limits
    }
}

/// Power per unit of nameplate behind the DC cable, and voltage: a column for each kind of input, or for each part of
/// a lumped array (which has no voltage).
#[derive(Debug, Default)]
struct Dc {
    power: Vec<Vec<f64>>,
    volts: Vec<Vec<f64>>,
}

/// The chain of one site with its last results kept.
#[derive(Debug)]
pub struct Stages<'a> {
    site: &'a SiteLight,
    common: &'a Common,
    parts: Vec<Part>,
    dc: Kept<DcKey, Dc>,
    s: Scratch,
    ones: Vec<f64>,
    work: [Vec<f64>; 5],
    amps: Vec<Vec<f64>>,
}

impl<'a> Stages<'a> {
    /// Nothing kept yet.
    pub fn new(site: &'a SiteLight, common: &'a Common) -> Stages<'a> {
        let n = site.len();
        Stages {
            site,
            common,
            parts: Vec::new(),
            dc: Kept::new(),
            s: Scratch::default(),
            ones: vec![1.0; n],
            work: std::array::from_fn(|_| vec![0.0; n]),
            amps: Vec::new(),
        }
    }

    /// As [`super::open_energy`], to the bit.
    pub fn open_energy(&mut self, setup: &Setup) -> [f64; 12] {
        self.to_dc(setup);
        open_after_dc(setup, self.site, self.common, &mut self.s)
    }

    /// The months of [`super::run`].
    pub fn months(&mut self, setup: &Setup) -> [MonthSums; 12] {
        self.to_dc(setup);
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

    /// How often a stage was worked out: light in front of the cells, cell temperature, voltage, wiring.
    pub fn made(&self) -> [u64; 4] {
        let sum = |of: fn(&Part) -> u64| self.parts.iter().map(of).sum();
        [sum(|p| p.front.made), sum(|p| p.t_cell.made), sum(|p| p.volts.made), self.dc.made]
    }

    /// DC power of the whole array into the scratch's `p_dc`; the voltage too where the inverter asks for it.
    fn to_dc(&mut self, setup: &Setup) {
        let n = self.site.len();
        self.s.fit(n, 0);
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
        let key = DcKey {
            parts: now.iter().zip(&self.parts).map(|(x, p)| (p.rel.id(x.rel), p.volts.id(x.volts))).collect(),
            wiring: WiringKey(setup.wiring.clone()),
            light_induced: setup.light_induced,
        };
        let at = {
            let (parts, s, amps, work) = (&self.parts, &mut self.s, &mut self.amps, &mut self.work);
            self.dc.at(key, |dc| {
                if setup.wiring.inputs.is_empty() {
                    lumped(setup, parts, &now, dc, work);
                } else {
                    strings(setup, parts, &now, dc, s, amps);
                }
            })
        };
        let dc = self.dc.value(at);
        let wiring = &setup.wiring;
        if wiring.inputs.is_empty() {
            for (column, &(_, share)) in dc.power.iter().zip(&setup.mounting.parts) {
                weighted_sum(column, setup.nameplate.p0_w() * share, &mut self.s.p_dc);
            }
            return;
        }
        let modules = f64::from(wiring.modules());
        let scale = setup.nameplate.p0_w() / (wiring.p_module_w * modules);
        for (k, input) in wiring.inputs.iter().enumerate() {
            weighted_sum(&dc.power[k], scale * f64::from(input.alike), &mut self.s.p_dc);
            if setup.conversion.inverter.uses_voltage() {
                let here: u32 = input.strings.iter().map(|x| x.n_series * x.count).sum();
                weighted_sum(&dc.volts[k], f64::from(input.alike * here) / modules, &mut self.s.v_dc);
            }
        }
    }
}

impl Part {
    fn new() -> Part {
        Part {
            front: Kept::new(),
            light: Kept::new(),
            t_cell: Kept::new(),
            low: Kept::new(),
            heat: Kept::new(),
            volts: Kept::new(),
            rel: Kept::new(),
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

        let front = self.front.at(FrontKey { glass: Same(setup.glass.clone()), plane: p, shade: same_shade() }, |out| {
            fresh(out);
            let [iam, iam_sky, iam_ground, shaded, clean] = work;
            setup.glass.beam(&plane.light.cos_aoi, iam);
            diffuse_factors(&setup.glass, &plane.light.tilt_deg, iam_sky, iam_ground);
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

        let rear = if plane.rear.is_empty() { 0.0 } else { setup.rear.bifaciality * setup.rear.kept };
        let spectrum = setup.rear.spectrum.as_ref();
        let key = LightKey { front: self.front.id(front), rear, spectrum: spectrum.map(|s| Same(s.clone())) };
        let light = self.light.at(key, |out| {
            fresh(&mut out.heat);
            add_scaled(self.front.value(front), or(&plane.rear, ones), rear, &mut out.heat);
            out.coloured.clear();
            if let Some(factor) = spectrum {
                out.coloured.extend_from_slice(&out.heat);
                multiply(factor, &mut out.coloured);
            }
        });
        let light_id = self.light.id(light);
        let g_eff = self.light.value(light).eff();

        let thermal = setup.heat.thermal[p];
        let t_cell = self.t_cell.at((light_id, p, thermal), |out| {
            fresh(out);
            thermal.t_cell(&self.light.value(light).heat, &site.sky.t_amb, &site.sky.wind, out);
            let step_s = site.step_h * 3600.0;
            if step_s < 3600.0 {
                thermal.settle(&site.sun.steps, step_s, &site.sky.t_amb, &site.sky.wind, out);
            }
        });
        let t_id = self.t_cell.id(t_cell);
        let t = self.t_cell.value(t_cell);

        let mut low_of = |e: &Arc<Electrical>| {
            self.low.at((light_id, WeakLight(e.clone())), |out| {
                fresh(out);
                e.low_light(g_eff, out);
            })
        };
        let (low, cold, own) =
            (low_of(&setup.low_light), low_of(&setup.heat.electrical), low_of(&setup.wiring.electrical));
        let mut heat_of = |e: &Arc<Electrical>, low: usize| {
            let a = self.low.value(low);
            self.heat.at((light_id, t_id, Same(e.clone())), |out| {
                fresh(out);
                e.heat_over(a, g_eff, t, out);
            })
        };
        let (heat, warm) = (heat_of(&setup.heat.electrical, cold), heat_of(&setup.wiring.electrical, own));
        let volts = self.volts.at((light_id, t_id, Same(setup.wiring.electrical.clone())), |out| {
            fresh(out);
            setup.wiring.electrical.voltage_over(g_eff, t, self.low.value(own), self.heat.value(warm), out);
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

/// As the chain's own, without the nameplate.
fn lumped(setup: &Setup, parts: &[Part], now: &[Now], dc: &mut Dc, work: &mut [Vec<f64>; 5]) {
    let wiring = &setup.wiring;
    let per_v_stc = 1.0 / wiring.electrical.point(G_STC, T_STC).v_mp;
    dc.volts.clear();
    dc.power.resize_with(now.len(), Vec::new);
    let [amps, watts, flat, ..] = work;
    for ((part, now), out) in parts.iter().zip(now).zip(&mut dc.power) {
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
}

/// As the chain's own, without the nameplate.
fn strings(setup: &Setup, parts: &[Part], now: &[Now], dc: &mut Dc, s: &mut Scratch, amps: &mut Vec<Vec<f64>>) {
    let wiring = &setup.wiring;
    let watts = wiring.p_module_w * setup.constant_kept();
    amps.resize_with(now.len(), Vec::new);
    for ((part, now), amps) in parts.iter().zip(now).zip(amps.iter_mut()) {
        let rel = part.rel.value(now.rel);
        amps.resize(rel.len(), 0.0);
        current(rel, part.volts.value(now.volts), watts, amps);
    }
    dc.power.resize_with(wiring.inputs.len(), Vec::new);
    dc.volts.resize_with(wiring.inputs.len(), Vec::new);
    for (k, input) in wiring.inputs.iter().enumerate() {
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
                    i_mp: &amps[x.part],
                }
            })
            .collect();
        operate(&sets, &wiring.limits, &mut s.input);
        dc.power[k].resize(s.input.held.len(), 0.0);
        difference(&s.input.held, &s.input.cable, &mut dc.power[k]);
        std::mem::swap(&mut s.input.v, &mut dc.volts[k]);
    }
}
