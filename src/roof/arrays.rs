//! Shade on a set of slots, wired in one way or another, as columns for the energy chain.

use std::ops::Range;

use super::shade::{Pattern, Patterns};
use super::strings::StringPowers;
use super::{GroupCurve, SlotShade, SunPath, input_power};
use crate::plane::PlaneLight;

/// How the modules on the slots are joined. Numbers are positions in the list of [`SlotShade`], from 0.
#[derive(Debug, Clone, PartialEq)]
pub enum Wiring {
    /// Inputs of an inverter, each with strings side by side, each with its slots in series.
    Strings(Vec<Vec<Vec<usize>>>),
    /// A converter at every module: each runs at its own maximum power point.
    EachModule(Vec<usize>),
}

impl Wiring {
    /// Slots in the order given, cut into strings of these lengths; each string on an input of its own.
    pub fn in_turn(slots: &[usize], lengths: &[u32]) -> Wiring {
        let mut rest = slots.iter().copied();
        Wiring::Strings(lengths.iter().map(|&n| vec![rest.by_ref().take(n as usize).collect()]).collect())
    }

    /// All slots used.
    pub fn slots(&self) -> Vec<usize> {
        match self {
            Wiring::Strings(inputs) => inputs.iter().flatten().flatten().copied().collect(),
            Wiring::EachModule(slots) => slots.clone(),
        }
    }
}

/// What shade leaves of light and power, for all modules of an array on one plane.
///
/// With `beam`, `sky`, `ground` the light on the plane after skyline and rows, the mean light on the array's cells is
///
/// `G = beam * light_kept_beam[i] + sky * sky_kept[month] + ground`
///
/// and the array's DC power is what all its modules would give under `G`, times `electrical_kept[i]`. The line "Shade"
/// of the account is therefore the change of nominal energy `P_stc G / 1000` by the light, and the factor
/// `electrical_kept` on the power by the wiring; with `P = P_stc G / 1000` both together are
/// `P_stc / 1000 * (G * electrical_kept - G_open)`, 0 or less.
///
/// Columns are empty when there is no shade at any step: every factor is then exactly 1.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ArrayShade {
    /// Share of the beam (with circumsolar) that reaches the cells, mean over the array, 0..1, on the daylight steps.
    pub light_kept_beam: Vec<f64>,
    /// Share of the isotropic sky (with horizon band) that the array sees, mean over it, 0..1, by month.
    pub sky_kept: [f64; 12],
    /// Power of the array over that of the same array with its light spread evenly, 0..1: bypassed groups, dark groups
    /// that hold a string back, strings that share one voltage.
    pub electrical_kept: Vec<f64>,
}

impl ArrayShade {
    /// No shade at all.
    pub fn none() -> ArrayShade {
        ArrayShade { light_kept_beam: Vec::new(), sky_kept: [1.0; 12], electrical_kept: Vec::new() }
    }

    /// `sky_kept` as a column over the daylight steps.
    pub fn sky_column(&self, month_start: &[usize; 13]) -> Vec<f64> {
        let n = month_start[12];
        let mut column = vec![1.0; n];
        for (month, kept) in self.sky_kept.iter().enumerate() {
            column[month_start[month].min(n)..month_start[month + 1].min(n)].fill(*kept);
        }
        column
    }
}

/// Light after skyline and rows on one step, W/m2: beam, sky, ground.
pub(crate) fn light_at(light: &PlaneLight, i: usize) -> [f64; 3] {
    let part = |value: &[f64], kept: &[f64]| {
        let value = value.get(i).copied().unwrap_or(0.0);
        let kept = if kept.len() == 1 { kept[0] } else { kept.get(i).copied().unwrap_or(1.0) };
        (value * kept).max(0.0)
    };
    [part(&light.beam, &light.beam_kept), part(&light.sky, &light.sky_kept), part(&light.ground, &light.ground_kept)]
}

/// Shade on an array.
///
/// Each bypass group takes part with the beam of its darkest cell and the mean diffuse light of the array; at each sun
/// of a step the best way to run each input is looked for (see [`super::string_power`]). Modules of one array are alike
/// apart from shade, at one temperature. Slots named in `wiring` but not in `shades` are passed over.
pub fn array_shade(
    shades: &[SlotShade],
    wiring: &Wiring,
    path: &SunPath,
    light: &PlaneLight,
    groups: u32,
    curve: &GroupCurve,
) -> ArrayShade {
    let used: Vec<usize> = wiring.slots().into_iter().filter(|&s| s < shades.len()).collect();
    if used.is_empty() {
        return ArrayShade::none();
    }
    let modules = used.len() as f64;
    let mut sky_kept = [0.0; 12];
    for &s in &used {
        for (sum, kept) in sky_kept.iter_mut().zip(&shades[s].sky_kept) {
            *sum += kept / modules;
        }
    }
    sky_kept = sky_kept.map(|k| k.clamp(0.0, 1.0));
    if used.iter().all(|&s| shades[s].shaded.is_empty()) {
        return ArrayShade { sky_kept, ..ArrayShade::none() };
    }
    let inputs: Vec<Vec<Vec<usize>>> = match wiring {
        Wiring::Strings(inputs) => inputs.clone(),
        Wiring::EachModule(slots) => slots.iter().map(|&s| vec![vec![s]]).collect(),
    };
    let n = path.steps();
    let mut lost = vec![0.0; n];
    for &s in &used {
        for (&i, kept) in shades[s].steps.iter().zip(&shades[s].beam_kept) {
            if let Some(lost) = lost.get_mut(i as usize) {
                *lost += 1.0 - kept;
            }
        }
    }
    let mut suns = DarkSlots::of(shades, &inputs);
    let known = |string: &Vec<usize>| string.iter().filter(|&&slot| slot < shades.len()).count() as u32;
    let slots: Vec<Vec<u32>> = inputs.iter().map(|strings| strings.iter().map(known).collect()).collect();
    let mut strings = Strings::new(shades, groups.max(1), curve);
    let mut light_kept_beam = vec![1.0; n];
    let mut electrical_kept = vec![1.0; n];
    let mut open = Vec::new();
    // Steps whose powers are asked for and yet to be found: its number, where that of even light stands, and how many
    // of the terms are its own.
    let mut waiting: Vec<(usize, u32, usize)> = Vec::new();
    let mut terms: Vec<Term> = Vec::new();
    let months = (0..12).map(|m| (path.month_start[m]..path.month_start[m + 1].min(n), sky_kept[m]));
    let mut settle = |strings: &mut Strings<'_>, waiting: &mut Vec<(usize, u32, usize)>, terms: &mut Vec<Term>| {
        strings.powers.find(curve);
        let mut rest = terms.as_slice();
        for (i, even, count) in waiting.drain(..) {
            let (own, others) = rest.split_at(count);
            let power = own.iter().fold(0.0, |sum, term| sum + strings.powers.at(term.power) * term.times);
            let even = strings.powers.at(even) * modules * f64::from(strings.groups) * path.suns as f64;
            electrical_kept[i] = if even > 0.0 { (power / even).clamp(0.0, 1.0) } else { 1.0 };
            rest = others;
        }
        terms.clear();
        strings.powers.clear();
    };
    for (steps, sky_kept) in months {
        suns.go_on(steps.start * path.suns..steps.end * path.suns);
        for i in steps.filter(|&i| lost[i] > 0.0) {
            light_kept_beam[i] = (1.0 - lost[i] / modules).clamp(0.0, 1.0);
            let [beam, sky, ground] = light_at(light, i);
            let diffuse = (sky * sky_kept + ground) / 1000.0;
            let beam = beam / 1000.0;
            if beam < 1e-6 {
                continue;
            }
            let even = strings.powers.ask(&[(beam * light_kept_beam[i] + diffuse, 1)], curve);
            strings.under(beam, diffuse);
            // Inputs without any shade give the same at every sun.
            open.clear();
            open.extend(slots.iter().map(|slots| strings.input(0, slots, &mut [].as_slice())));
            let first = terms.len();
            for sun in i * path.suns..(i + 1) * path.suns {
                let (mut dark, mut string) = (suns.at(sun), 0);
                for (slots, open) in slots.iter().zip(&open) {
                    let shaded = dark.first().is_some_and(|d| (d.string as usize) < string + slots.len());
                    terms.push(if shaded { strings.input(string, slots, &mut dark) } else { *open });
                    string += slots.len();
                }
            }
            waiting.push((i, even, terms.len() - first));
            if terms.len() > TERMS {
                settle(&mut strings, &mut waiting, &mut terms);
            }
        }
    }
    settle(&mut strings, &mut waiting, &mut terms);
    ArrayShade { light_kept_beam, sky_kept, electrical_kept }
}

/// So many terms wait at most, but for those of one step.
const TERMS: usize = 2048;

/// What an input gives at one sun: a power by its place, times a number.
#[derive(Debug, Clone, Copy, Default)]
struct Term {
    power: u32,
    times: f64,
}

/// A slot in shade at one sun.
#[derive(Debug, Clone, Copy)]
struct DarkSlot {
    /// Number of the string, counted over all inputs.
    string: u32,
    slot: u32,
    pattern: Pattern,
    /// Position among the suns of the slot without a pattern.
    other: u32,
}

/// The slots in shade at each sun of a month, in the order of the wiring.
struct DarkSlots<'a> {
    wired: Vec<Wired<'a>>,
    /// The first sun.
    first: usize,
    /// `start[k]..start[k + 1]` are the slots in shade at the k-th.
    start: Vec<u32>,
    slots: Vec<DarkSlot>,
}

/// A slot in a string, and its shaded suns that are yet to come.
struct Wired<'a> {
    string: u32,
    slot: u32,
    shaded: &'a [u32],
    patterns: &'a [Pattern],
    other: u32,
}

impl<'a> DarkSlots<'a> {
    fn of(shades: &'a [SlotShade], inputs: &[Vec<Vec<usize>>]) -> DarkSlots<'a> {
        let strings = (0..).zip(inputs.iter().flatten());
        let wired = strings.flat_map(|(string, slots)| {
            slots.iter().filter_map(move |&slot| {
                let SlotShade { shaded, patterns, .. } = shades.get(slot)?;
                Some(Wired { string, slot: slot as u32, shaded, patterns, other: 0 })
            })
        });
        DarkSlots { wired: wired.collect(), first: 0, start: Vec::new(), slots: Vec::new() }
    }

    /// Goes on to the suns that come next.
    fn go_on(&mut self, suns: Range<usize>) {
        self.first = suns.start;
        // How many each sun has, then where the next of each goes.
        self.start.clear();
        self.start.resize(suns.len() + 1, 0);
        let here = |w: &Wired<'a>| w.shaded.partition_point(|&sun| (sun as usize) < suns.end);
        for w in &self.wired {
            for &sun in &w.shaded[..here(w)] {
                self.start[sun as usize - suns.start + 1] += 1;
            }
        }
        for k in 0..suns.len() {
            self.start[k + 1] += self.start[k];
        }
        let none = DarkSlot { string: 0, slot: 0, pattern: Pattern::OPEN, other: 0 };
        self.slots.clear();
        self.slots.resize(self.start[suns.len()] as usize, none);
        for w in &mut self.wired {
            let (string, slot) = (w.string, w.slot);
            let count = here(w);
            for (&sun, &pattern) in w.shaded[..count].iter().zip(w.patterns) {
                let next = &mut self.start[sun as usize - suns.start];
                self.slots[*next as usize] = DarkSlot { string, slot, pattern, other: w.other };
                *next += 1;
                w.other += u32::from(pattern == Pattern::OTHER);
            }
            (w.shaded, w.patterns) = (&w.shaded[count..], &w.patterns[count..]);
        }
        // Each start has moved on to that of the next sun.
        self.start.rotate_right(1);
        self.start[0] = 0;
    }

    fn at(&self, sun: usize) -> &[DarkSlot] {
        let k = sun - self.first;
        &self.slots[self.start[k] as usize..self.start[k + 1] as usize]
    }
}

/// Light currents of a string and how many of its groups have each.
type Levels = Vec<(f64, u32)>;

/// Groups of a string with all of the beam in slots with shade, in slots without, with half of it, and with none.
type Counts = [u32; 4];

/// What strings give under the light of one step.
struct Strings<'a> {
    shades: &'a [SlotShade],
    groups: u32,
    patterns: Patterns,
    curve: &'a GroupCurve,
    beam: f64,
    diffuse: f64,
    powers: StringPowers,
    /// Place of the power of a group without shade.
    open: u32,
    /// Terms of this step by the counts of each string: the same come back at other suns and strings.
    known: Vec<(Vec<Counts>, Term)>,
    known_count: usize,
    counts: Vec<Counts>,
    levels: Vec<Levels>,
}

impl<'a> Strings<'a> {
    fn new(shades: &'a [SlotShade], groups: u32, curve: &'a GroupCurve) -> Strings<'a> {
        Strings {
            shades,
            groups,
            patterns: Patterns::of(groups as usize),
            curve,
            beam: 0.0,
            diffuse: 0.0,
            powers: StringPowers::default(),
            open: 0,
            known: Vec::new(),
            known_count: 0,
            counts: Vec::new(),
            levels: Vec::new(),
        }
    }

    /// Goes on to a step with this light, kW/m2.
    fn under(&mut self, beam: f64, diffuse: f64) {
        (self.beam, self.diffuse) = (beam, diffuse);
        self.open = self.powers.ask(&[(beam + diffuse, 1)], self.curve);
        self.known_count = 0;
    }

    /// Light currents that differ by less are taken as one.
    fn hair(&self) -> f64 {
        1e-3 * (self.beam + self.diffuse)
    }

    /// Greatest power of an input with strings of so many slots, the first of which has the number `first`; its slots
    /// in shade are taken from the front of `dark`.
    fn input(&mut self, first: usize, slots: &[u32], dark: &mut &[DarkSlot]) -> Term {
        let own: &[DarkSlot] = dark;
        let by_pattern = 0.5 * self.beam > 1.01 * self.hair();
        self.counts.clear();
        let mut counted = by_pattern;
        for (string, &slots) in (first..).zip(slots) {
            let mut counts = [0; 4];
            let mut rest = slots;
            while let Some((d, more)) = dark.split_first().filter(|(d, _)| d.string as usize == string) {
                match self.patterns.counts.get(d.pattern.number()) {
                    Some(found) => {
                        let [none, half] = found.map(u32::from);
                        counts[0] += self.groups - none - half;
                        counts[2] += half;
                        counts[3] += none;
                    }
                    None => counted = false,
                }
                rest -= 1;
                *dark = more;
            }
            counts[1] = rest * self.groups;
            self.counts.push(counts);
        }
        let own = &own[..own.len() - dark.len()];
        if own.is_empty() || counted { self.counted() } else { self.shared(first, slots, own) }
    }

    /// The same from the counts alone.
    fn counted(&mut self) -> Term {
        let Some(&first) = self.counts.first() else { return Term { power: self.open, times: 0.0 } };
        let same = |key: &[Counts]| key == self.counts;
        if let [0, bright, 0, 0] = first
            && bright > 0
            && self.counts.iter().all(|counts| *counts == first)
        {
            return Term { power: self.open, times: f64::from(bright) * self.counts.len() as f64 };
        }
        if let Some((_, term)) = self.known[..self.known_count].iter().find(|(key, _)| same(key)) {
            return *term;
        }
        self.levels.resize_with(self.counts.len().max(self.levels.len()), Vec::new);
        for (counts, levels) in self.counts.iter().zip(&mut self.levels) {
            levels.clear();
            for (count, share) in counts.iter().zip([1.0, 1.0, 0.5, 0.0]) {
                if *count > 0 {
                    levels.push((self.beam * share + self.diffuse, *count));
                }
            }
        }
        let term = self.of_levels(self.counts.len());
        if self.known.len() == self.known_count {
            self.known.push(Default::default());
        }
        let (key, value) = &mut self.known[self.known_count];
        key.clone_from(&self.counts);
        *value = term;
        self.known_count += 1;
        term
    }

    /// The same with any shares of the beam.
    fn shared(&mut self, first: usize, slots: &[u32], dark: &[DarkSlot]) -> Term {
        let groups = self.groups as usize;
        let hair = self.hair();
        self.levels.resize_with(slots.len().max(self.levels.len()), Vec::new);
        for (string, (counts, levels)) in (first..).zip(self.counts.iter().zip(&mut self.levels)) {
            levels.clear();
            for d in dark.iter().filter(|d| d.string as usize == string) {
                let shares = match self.patterns.shares.get(d.pattern.number()) {
                    Some(shares) => shares.clone(),
                    None => {
                        let others = &self.shades[d.slot as usize].others;
                        others[d.other as usize * groups..][..groups].iter().map(|&s| f64::from(s)).collect()
                    }
                };
                for share in shares {
                    let g = self.beam * share + self.diffuse;
                    match levels.iter_mut().find(|(l, _)| (*l - g).abs() < hair) {
                        Some((_, count)) => *count += 1,
                        None => levels.push((g, 1)),
                    }
                }
            }
            if counts[1] > 0 {
                levels.push((self.beam + self.diffuse, counts[1]));
            }
            levels.sort_by(|a, b| b.0.total_cmp(&a.0));
        }
        self.of_levels(slots.len())
    }

    /// Greatest power of the first so many strings side by side.
    fn of_levels(&mut self, strings: usize) -> Term {
        match &self.levels[..strings] {
            // Strings with the same light side by side share a voltage without loss.
            [first, more @ ..] if more.iter().all(|levels| levels == first) => {
                Term { power: self.powers.ask(first, self.curve), times: strings as f64 }
            }
            strings => Term { power: self.powers.put(input_power(strings, self.curve)), times: 1.0 },
        }
    }
}
