//! Shade on a set of slots, wired in one way or another, as columns for the energy chain.

use super::{GroupCurve, SlotShade, SunPath, input_power, uniform_power};
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
    let mut walk = Walk {
        shades,
        cursor: vec![0; shades.len()],
        groups: groups.max(1) as usize,
        known: Vec::new(),
        known_count: 0,
    };
    let n = path.steps();
    let mut light_kept_beam = vec![1.0; n];
    let mut electrical_kept = vec![1.0; n];
    let mut months = (0..12).flat_map(|m| std::iter::repeat_n(m, path.month_start[m + 1] - path.month_start[m]));
    let mut levels: Vec<Levels> = Vec::new();
    for i in 0..n {
        let month = months.next().unwrap_or(11);
        let lost: f64 = used.iter().map(|&s| shades[s].beam_kept.get(i).map_or(0.0, |k| 1.0 - k)).sum();
        if lost <= 0.0 {
            continue;
        }
        light_kept_beam[i] = (1.0 - lost / modules).clamp(0.0, 1.0);
        let [beam, sky, ground] = light_at(light, i);
        let diffuse = (sky * sky_kept[month] + ground) / 1000.0;
        let beam = beam / 1000.0;
        if beam < 1e-6 {
            continue;
        }
        let even = uniform_power(beam * light_kept_beam[i] + diffuse, curve) * modules * walk.groups as f64;
        let open = (beam + diffuse, uniform_power(beam + diffuse, curve));
        walk.known_count = 0;
        let mut power = 0.0;
        for k in 0..path.suns {
            let sun = (i * path.suns + k) as u32;
            for strings in &inputs {
                levels.resize_with(strings.len(), Vec::new);
                for (string, into) in strings.iter().zip(&mut levels) {
                    walk.levels(string, sun, beam, diffuse, into);
                }
                power += walk.best(&levels[..strings.len()], open, curve);
            }
        }
        let even = even * path.suns as f64;
        electrical_kept[i] = if even > 0.0 { (power / even).clamp(0.0, 1.0) } else { 1.0 };
    }
    ArrayShade { light_kept_beam, sky_kept, electrical_kept }
}

/// Light currents of a string and how many of its groups have each.
type Levels = Vec<(f64, u32)>;

/// Walks along the suns of several slots at once.
struct Walk<'a> {
    shades: &'a [SlotShade],
    cursor: Vec<usize>,
    groups: usize,
    /// Powers found in this step: the same pattern comes back at other suns and strings.
    known: Vec<(Vec<Levels>, f64)>,
    known_count: usize,
}

impl Walk<'_> {
    /// The light currents of a string at a sun, brightest first.
    fn levels(&mut self, string: &[usize], sun: u32, beam: f64, diffuse: f64, into: &mut Levels) {
        into.clear();
        let mut bright = 0;
        for &slot in string {
            let Some(shade) = self.shades.get(slot) else { continue };
            let cursor = &mut self.cursor[slot];
            while shade.shaded.get(*cursor).is_some_and(|&s| s < sun) {
                *cursor += 1;
            }
            if shade.shaded.get(*cursor) != Some(&sun) {
                bright += self.groups as u32;
                continue;
            }
            for share in &shade.groups[*cursor * self.groups..(*cursor + 1) * self.groups] {
                let g = beam * f64::from(*share) + diffuse;
                match into.iter_mut().find(|(l, _)| (*l - g).abs() < 1e-3 * (beam + diffuse)) {
                    Some((_, count)) => *count += 1,
                    None => into.push((g, 1)),
                }
            }
        }
        if bright > 0 {
            into.push((beam + diffuse, bright));
        }
        into.sort_by(|a, b| b.0.total_cmp(&a.0));
    }

    /// Greatest power of an input; `open` holds the light current and the power of one group without shade.
    fn best(&mut self, strings: &[Levels], open: (f64, f64), curve: &GroupCurve) -> f64 {
        let Some(first) = strings.first() else { return 0.0 };
        // Strings with the same light side by side share a voltage without loss.
        let alike = strings.iter().all(|levels| levels == first);
        let (strings, times) = if alike { (&strings[..1], strings.len() as f64) } else { (strings, 1.0) };
        if alike
            && let [(g, count)] = first[..]
            && g == open.0
        {
            return f64::from(count) * open.1 * times;
        }
        let same = |key: &[Levels]| key == strings;
        if let Some((_, power)) = self.known[..self.known_count].iter().find(|(key, _)| same(key)) {
            return power * times;
        }
        let power = input_power(strings, curve);
        if self.known.len() == self.known_count {
            self.known.push(Default::default());
        }
        let (key, value) = &mut self.known[self.known_count];
        key.resize_with(strings.len(), Vec::new);
        for (into, from) in key.iter_mut().zip(strings) {
            into.clone_from(from);
        }
        *value = power;
        self.known_count += 1;
        power * times
    }
}
