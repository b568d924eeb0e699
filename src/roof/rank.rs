//! What each slot yields in a year, and in which order to take them.

use serde::{Deserialize, Serialize};

use super::arrays::light_at;
use super::shade::{Pattern, Patterns};
use super::strings::{STRINGS, StringPowers, string_powers};
use super::{Face, GroupCurve, Slot, SlotShade, SunPath, string_power};
use crate::plane::PlaneLight;

/// A slot counts as unshaded while obstacles take less than this share of the yearly yield of a module there.
///
/// Our own choice, 3 %: what the power tolerance of a module may hide. The loss counts light from sun and sky and the
/// group rule for one module. [`unshaded`] takes any other share.
pub const UNSHADED_LOSS: f64 = 0.03;

/// One slot over the year.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SlotYear {
    /// Number of the slot.
    pub number: u32,
    /// Light on it after shade, kWh/m2.
    pub light_kwh_m2: f64,
    /// Light on the same plane without obstacles, kWh/m2.
    pub open_kwh_m2: f64,
    /// Share of the yearly beam that obstacles take, 0..1.
    pub beam_lost: f64,
    /// Share of the yearly beam lost to the current of each bypass group (its darkest cell), 0..1.
    pub group_lost: Vec<f64>,
    /// Yield of a module here that runs at its own maximum power point, kWh/kW.
    pub yield_kwh_per_kw: f64,
    /// What shade takes from it, kWh/kW.
    pub lost_kwh_per_kw: f64,
    /// Place in the order of yields, from 1 for the best.
    pub rank: u32,
}

impl SlotYear {
    /// Share of the yearly yield that shade takes from a module here on its own, 0..1.
    pub fn lost_share(&self) -> f64 {
        let open = self.yield_kwh_per_kw + self.lost_kwh_per_kw;
        if open > 0.0 { self.lost_kwh_per_kw / open } else { 0.0 }
    }
}

/// The year of each slot, in the order of `slots`.
///
/// `conversion` is the yield in kWh/kW per kWh/m2 of light on each daylight step (a performance ratio), or one value
/// for all; `step_h` the length of a step in hours.
///
/// Slots of equal yield rank in the order of their numbers. The yield of a slot takes the light after shade and the
/// group rule for a single module; what a string adds to that is a matter of [`super::array_shade`], which
/// gives the same for a module alone within 1e-4.
#[allow(clippy::too_many_arguments)]
pub fn rank(
    slots: &[Slot],
    shades: &[SlotShade],
    face: &Face,
    path: &SunPath,
    light: &PlaneLight,
    conversion: &[f64],
    step_h: f64,
    curve: &GroupCurve,
) -> Vec<SlotYear> {
    let mut table = PowerTable::default();
    let mut powers = Powers::over(shades, face.groups, path, light, curve, &mut table);
    rank_with(&mut powers, slots, shades, face, conversion, step_h, true)
}

/// [`rank`] with powers that were found for other slots under the same light; what each group loses where asked for.
pub(crate) fn rank_with(
    powers: &mut Powers<'_>,
    slots: &[Slot],
    shades: &[SlotShade],
    face: &Face,
    conversion: &[f64],
    step_h: f64,
    by_group: bool,
) -> Vec<SlotYear> {
    powers.prepare(shades);
    let path = powers.path;
    let (n, groups) = (path.steps(), face.groups as usize);
    let parts = &powers.table.parts;
    let converts =
        |i: usize| if conversion.len() == 1 { conversion[0] } else { conversion.get(i).copied().unwrap_or(0.0) };
    // Light and yield of the open plane, by part, once for all slots.
    let mut open = [0.0; 3];
    let mut open_yield = 0.0;
    let mut sky_by_month = [0.0; 12];
    let mut sky_yield_by_month = [0.0; 12];
    for month in 0..12 {
        for i in path.month_start[month]..path.month_start[month + 1].min(n) {
            for k in 0..3 {
                open[k] += parts[i][k] * step_h / 1000.0;
            }
            open_yield += (parts[i][0] + parts[i][1] + parts[i][2]) * converts(i) * step_h / 1000.0;
            sky_by_month[month] += parts[i][1] * step_h / 1000.0;
            sky_yield_by_month[month] += parts[i][1] * converts(i) * step_h / 1000.0;
        }
    }
    let open_kwh_m2 = open[0] + open[1] + open[2];
    let mut years: Vec<SlotYear> = slots
        .iter()
        .zip(shades)
        .map(|(slot, shade)| {
            let mut lost_light = 0.0;
            let mut lost_yield = 0.0;
            for month in 0..12 {
                lost_light += (1.0 - shade.sky_kept[month]) * sky_by_month[month];
                lost_yield += (1.0 - shade.sky_kept[month]) * sky_yield_by_month[month];
            }
            let mut group_lost = vec![0.0; if by_group { groups } else { 0 }];
            let lost_beam = powers.walk(shade, converts, step_h, &mut lost_yield, &mut group_lost);
            let of_beam = |x: f64| if open[0] > 0.0 { (x / open[0]).clamp(0.0, 1.0) } else { 0.0 };
            SlotYear {
                number: slot.number,
                light_kwh_m2: (open_kwh_m2 - lost_light - lost_beam).max(0.0),
                open_kwh_m2,
                beam_lost: of_beam(lost_beam),
                group_lost: group_lost.iter().map(|&x| of_beam(x)).collect(),
                yield_kwh_per_kw: (open_yield - lost_yield).max(0.0),
                lost_kwh_per_kw: lost_yield.max(0.0),
                rank: 0,
            }
        })
        .collect();
    let mut order: Vec<usize> = (0..years.len()).collect();
    order.sort_by(|&a, &b| years[b].yield_kwh_per_kw.total_cmp(&years[a].yield_kwh_per_kw).then(a.cmp(&b)));
    for (place, &at) in order.iter().enumerate() {
        years[at].rank = place as u32 + 1;
    }
    years
}

/// Powers of a single module by the number of its dark groups, found once for each step and used by all slots.
pub(crate) struct Powers<'a> {
    path: &'a SunPath,
    curve: &'a GroupCurve,
    groups: usize,
    /// Least and greatest share of the sky that any slot sees: powers are found at both and taken as straight between.
    sky: [f64; 2],
    patterns: Patterns,
    table: &'a mut PowerTable,
}

/// Columns that are filled again for each module.
#[derive(Debug, Default)]
pub(crate) struct PowerTable {
    /// Beam, sky and ground light by step, W/m2, and the same in kW/m2.
    parts: Vec<[f64; 3]>,
    kw: Vec<[f64; 3]>,
    /// By step and numbers of dark and half dark groups: where in `known` the power stands, from 1; 0 where it is not
    /// asked for.
    place: Vec<u32>,
    /// Powers under the lesser sky, and under the greater behind each where they differ.
    known: StringPowers,
    /// Power of an evenly lit group over its light, by light in steps of [`Powers::GRAIN`].
    even: Vec<f64>,
}

impl<'a> Powers<'a> {
    /// kW/m2.
    const GRAIN: f64 = 1.0 / 256.0;

    pub(crate) fn over(
        shades: &[SlotShade],
        groups: u32,
        path: &'a SunPath,
        light: &PlaneLight,
        curve: &'a GroupCurve,
        table: &'a mut PowerTable,
    ) -> Powers<'a> {
        let mut sky = [1.0_f64, 0.0_f64];
        for kept in shades.iter().flat_map(|s| s.sky_kept) {
            sky = [sky[0].min(kept), sky[1].max(kept)];
        }
        let any = shades.iter().any(|s| !s.shaded.is_empty());
        Powers::between(sky, any, groups, path, light, curve, table)
    }

    /// Powers between two shares of the sky; `any`: whether any will be asked for.
    pub(crate) fn between(
        sky: [f64; 2],
        any: bool,
        groups: u32,
        path: &'a SunPath,
        light: &PlaneLight,
        curve: &'a GroupCurve,
        table: &'a mut PowerTable,
    ) -> Powers<'a> {
        let groups = groups.max(1) as usize;
        table.parts.clear();
        table.parts.extend((0..path.steps()).map(|i| light_at(light, i)));
        table.kw.clear();
        table.kw.extend(table.parts.iter().map(|parts| parts.map(|g| g / 1000.0)));
        let brightest = table.parts.iter().map(|p| p[0] + p[1] + p[2]).fold(0.0, f64::max) / 1000.0;
        let nodes = if any { (brightest.min(1e3) / Self::GRAIN) as usize + 3 } else { 0 };
        table.even.resize(nodes, 0.0);
        for (run, even) in table.even.chunks_mut(STRINGS).enumerate() {
            let g = std::array::from_fn(|s| Self::GRAIN * ((run * STRINGS + s) as f64).max(0.05));
            let mut best = [0.0; STRINGS];
            string_powers(&[[g, [1.0; STRINGS]]], curve, &mut best);
            for (even, (best, g)) in even.iter_mut().zip(best.iter().zip(g)) {
                *even = best / g;
            }
        }
        let places = if any { kinds(groups) * path.steps() } else { 0 };
        table.place.clear();
        table.place.resize(places, 0);
        table.known.clear();
        Powers { path, curve, groups, sky, patterns: Patterns::of(groups), table }
    }

    /// Power of an evenly lit group.
    fn uniform(&self, g: f64) -> f64 {
        let at = (g / Self::GRAIN).max(0.0);
        let k = (at as usize).min(self.table.even.len().saturating_sub(2));
        match self.table.even.get(k..k + 2) {
            Some([a, b]) => g * (a + (b - a) * (at - k as f64)),
            _ => 0.0,
        }
    }

    /// Finds the powers that these slots need and others did not.
    fn prepare(&mut self, shades: &[SlotShade]) {
        let suns = self.path.suns as u32;
        let PowerTable { place, known, kw, .. } = &mut *self.table;
        for (&sun, &pattern) in shades.iter().flat_map(|shade| shade.shaded.iter().zip(&shade.patterns)) {
            let Some(&[dark, half]) = self.patterns.counts.get(pattern.number()) else { continue };
            let (dark, half) = (usize::from(dark), usize::from(half));
            let i = (sun / suns) as usize;
            if pattern == Pattern::OPEN || dark == self.groups || place[power_of(i, dark, half, self.groups)] > 0 {
                continue;
            }
            let [beam, sky, ground] = kw[i];
            let mut ask = |kept: f64| {
                let diffuse = sky * kept + ground;
                let mut levels = [(0.0, 0); 3];
                let mut n = 0;
                for (share, count) in [(1.0, self.groups - dark - half), (0.5, half), (0.0, dark)] {
                    if count > 0 {
                        levels[n] = (beam * share + diffuse, count as u32);
                        n += 1;
                    }
                }
                known.ask(&levels[..n], self.curve)
            };
            let [low, high] = self.sky;
            place[power_of(i, dark, half, self.groups)] = ask(low) + 1;
            if differ(self.sky) {
                ask(high);
            }
        }
        known.find(self.curve);
    }

    /// Power of a module at step `i` with so many groups without beam and with half of it, once it is prepared.
    fn pattern(&self, i: usize, [dark, half]: [u8; 2], sky_kept: f64) -> f64 {
        let PowerTable { place, known, .. } = &*self.table;
        let place = place[power_of(i, dark.into(), half.into(), self.groups)].saturating_sub(1);
        let low = known.at(place);
        if !differ(self.sky) {
            return low;
        }
        low + (known.at(place + 1) - low) * (sky_kept - self.sky[0]) / (self.sky[1] - self.sky[0])
    }

    /// Beam that a slot loses, kWh/m2; adds what it loses of the yield and, where there is room, of the beam for each
    /// group.
    fn walk(
        &self,
        shade: &SlotShade,
        converts: impl Fn(usize) -> f64,
        step_h: f64,
        lost_yield: &mut f64,
        group_lost: &mut [f64],
    ) -> f64 {
        let suns = self.path.suns;
        let groups = self.groups;
        let mut levels: Vec<(f64, u32)> = Vec::new();
        let mut months = self.path.months();
        let mut others = shade.others.chunks_exact(groups);
        let (mut of_beam, mut of_yield) = (0.0, *lost_yield);
        let mut at = 0;
        for (&i, &kept) in shade.steps.iter().zip(&shade.beam_kept) {
            let (i, first) = (i as usize, at);
            let sky_kept = shade.sky_kept[months.of(i)];
            let [beam, sky, ground] = self.table.kw[i];
            let diffuse = sky * sky_kept + ground;
            let open = self.uniform(beam + diffuse) * groups as f64;
            while shade.shaded.get(at).is_some_and(|&sun| sun < ((i + 1) * suns) as u32) {
                at += 1;
            }
            let patterns = &shade.patterns[first..at];
            let beam_of_sun =
                if group_lost.is_empty() { 0.0 } else { self.table.parts[i][0] * step_h / 1000.0 / suns as f64 };
            let mut power = suns as f64 * open;
            for &pattern in patterns {
                let other = if pattern == Pattern::OTHER { others.next().unwrap_or(&[]) } else { &[] };
                if pattern == Pattern::OTHER {
                    for (lost, share) in group_lost.iter_mut().zip(other) {
                        *lost += beam_of_sun * (1.0 - f64::from(*share));
                    }
                } else {
                    for (lost, share) in group_lost.iter_mut().zip(&self.patterns.shares[pattern.number()]) {
                        *lost += beam_of_sun * (1.0 - share);
                    }
                }
                if beam < 1e-6 {
                    continue;
                }
                power -= open;
                power += if pattern == Pattern::OPEN {
                    open
                } else if pattern == Pattern::OTHER {
                    levels.clear();
                    levels.extend(other.iter().map(|&s| (beam * f64::from(s) + diffuse, 1)));
                    string_power(&levels, self.curve)
                } else {
                    let counts = self.patterns.counts[pattern.number()];
                    if usize::from(counts[0]) == groups {
                        self.uniform(diffuse) * groups as f64
                    } else {
                        self.pattern(i, counts, sky_kept)
                    }
                };
            }
            let even = self.uniform(beam * kept + diffuse) * (groups * suns) as f64;
            let electrical = if beam >= 1e-6 && even > 0.0 { (power / even).clamp(0.0, 1.0) } else { 1.0 };
            let [beam, sky, ground] = self.table.parts[i];
            let after = beam * kept + sky * sky_kept + ground;
            let even = beam + sky * sky_kept + ground;
            of_beam += beam * (1.0 - kept) * step_h / 1000.0;
            of_yield += (even - after * electrical) * converts(i) * step_h / 1000.0;
        }
        *lost_yield = of_yield;
        of_beam
    }
}

/// Whether the powers under two skies differ.
fn differ(sky: [f64; 2]) -> bool {
    sky[1] - sky[0] > 1e-9
}

/// Where the place of a power at a step stands.
fn power_of(i: usize, dark: usize, half: usize, groups: usize) -> usize {
    i * kinds(groups) + dark * (groups + 1) + half
}

/// Numbers of dark and half dark groups, without that of all in the dark.
fn kinds(groups: usize) -> usize {
    groups * (groups + 1)
}

/// The slot curve: yield of the n-th best slot, kWh/kW, falling.
pub fn slot_curve(years: &[SlotYear]) -> Vec<f64> {
    let mut curve: Vec<f64> = years.iter().map(|y| y.yield_kwh_per_kw).collect();
    curve.sort_by(|a, b| b.total_cmp(a));
    curve
}

/// How many slots lose less than the given share of their yearly yield ([`UNSHADED_LOSS`] is usual).
pub fn unshaded(years: &[SlotYear], loss: f64) -> u32 {
    years.iter().filter(|y| y.lost_share() < loss).count() as u32
}
