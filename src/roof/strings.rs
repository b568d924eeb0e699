//! What shade on some bypass groups does to the power of a string.

/// A generic current-voltage curve of one bypass group, from the four points of a data sheet.
///
/// `v(i, g) = v_oc + a ln(g - i) - r i`, held at `-d` once the bypass diode conducts (`i >= g` included), with
///
/// - `i` current and `g` light current, both over I_sc at STC,
/// - voltages over V_mp of one group at STC,
/// - `a`, `r` from the two conditions at maximum power: the curve passes through it and dP/di is 0 there,
/// - `d` drop of a conducting bypass diode.
///
/// It is the one-diode equation without shunt, solved for the voltage; at 25 C. Used for ratios of powers only: the
/// power itself is a matter of the module's own model. Source: one-diode equation, textbook form (from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroupCurve {
    v_oc: f64,
    a: f64,
    r: f64,
    diode: f64,
    /// The currents at which a maximum is looked for, over the light current; the last stands twice.
    tried: [f64; TRIED],
    /// Logarithm of what each of them leaves of the light current.
    log_left: [f64; TRIED],
}

/// A vector's worth.
const TRIED: usize = 8;

/// Forward drop of a conducting bypass diode, V. Typical Schottky diode at 10 A (from memory).
pub const DIODE_DROP_V: f64 = 0.5;

impl GroupCurve {
    /// From V_mp, I_mp, V_oc, I_sc of the module at STC and its number of bypass groups.
    ///
    /// Points that no curve of this form passes through are brought to the nearest sound ones: I_mp/I_sc within
    /// 0.6..0.985 and V_oc/V_mp within 1.05..1.6.
    pub fn of(v_mp: f64, i_mp: f64, v_oc: f64, i_sc: f64, groups: u32) -> GroupCurve {
        let ratio =
            |x: f64, low: f64, high: f64, fallback: f64| if x.is_finite() { x.clamp(low, high) } else { fallback };
        let i_mp = ratio(i_mp / i_sc, 0.6, 0.985, 0.94);
        let v_oc = ratio(v_oc / v_mp, 1.05, 1.6, 1.2);
        let (log, odds) = ((1.0 - i_mp).ln(), i_mp / (1.0 - i_mp));
        let mut a = (2.0 - v_oc) / (log + odds);
        let mut r = (1.0 - a * odds) / i_mp;
        // A curve whose knee is sharper than its ends allow gets no resistance; one that is rounder gets no more of a
        // diode slope than passes through the point.
        if r < 0.0 || a <= 0.0 || !a.is_finite() {
            a = (1.0 - v_oc) / log;
            r = 0.0;
        }
        let diode = ratio(DIODE_DROP_V * f64::from(groups) / v_mp, 0.0, 0.2, 0.05);
        let left = [2.2, 1.5, 1.0, 0.65, 0.4, 0.2, 0.06, 0.06].map(|x| x * (1.0 - i_mp));
        GroupCurve { v_oc, a, r, diode, tried: left.map(|x| 1.0 - x), log_left: left.map(crate::maths::ln) }
    }

    /// Voltage of a group over V_mp of a group.
    #[inline(always)]
    pub fn voltage(&self, i: f64, g: f64) -> f64 {
        let left = g - i;
        let left = if left > 1e-12 { left } else { 1e-12 };
        let v = self.bounded(self.v_oc + self.a * crate::maths::ln(left) - self.r * i);
        if i >= g { -self.diode } else { v }
    }

    /// A voltage, held where the bypass diode conducts.
    #[inline(always)]
    fn bounded(&self, v: f64) -> f64 {
        if v > -self.diode { v } else { -self.diode }
    }

    /// Voltage of a string of groups at a current.
    #[inline]
    fn string_voltage(&self, i: f64, levels: &[(f64, u32)]) -> f64 {
        levels.iter().map(|&(g, count)| f64::from(count) * self.voltage(i, g)).sum()
    }

    /// The currents at which a maximum is looked for below a light current `g`.
    fn candidates(&self, g: f64) -> impl Iterator<Item = f64> {
        self.tried.into_iter().take(TRIED - 1).map(move |share| g * share)
    }

    /// Points of a string's curve, `(current, voltage)`, current ascending: open circuit, all candidates, all steps.
    fn points(&self, levels: &[(f64, u32)], into: &mut Vec<(f64, f64)>) {
        into.clear();
        into.push((0.0, 0.0));
        into.extend(levels.iter().flat_map(|&(g, _)| self.candidates(g)).map(|i| (i, 0.0)));
        // Just above each light current its groups are bypassed: the voltage steps down.
        into.extend(levels.iter().map(|&(g, _)| (g * (1.0 + 1e-9), 0.0)));
        into.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (i, v) in into {
            *v = self.string_voltage(*i, levels);
        }
    }
}

/// Current at a voltage along the points of a curve, straight between them; 0 above the open-circuit voltage.
fn current_at(v: f64, points: &[(f64, f64)]) -> f64 {
    let next = points.partition_point(|p| p.1 >= v);
    match (next.checked_sub(1).and_then(|k| points.get(k)), points.get(next)) {
        (None, _) => 0.0,
        (Some(last), None) => last.0,
        (Some(a), Some(b)) => a.0 + (b.0 - a.0) * (a.1 - v) / (a.1 - b.1).max(1e-12),
    }
}

/// Greatest power of one string, over `I_sc V_mp` of one group: the best of all ways to run it.
///
/// `levels` holds pairs of light current (over that at 1000 W/m2) and number of groups. For each level the string may
/// be run at its current: the groups with less light are then bypassed and cost a diode drop each, those with more give
/// their higher voltage. With one bright and one dark level these are the two ways of the group rule: *bypassed at full
/// current*, (N - m)/N of the voltage less the diode drops, and *dragged to the current of diffuse light*.
///
/// Source: job of the current-voltage curves in series; compare Martinez-Moreno, Munoz, Lorenzo, Solar Energy
/// Materials and Solar Cells 94 (2010) 2298 for the empirical form (title from memory).
pub fn string_power(levels: &[(f64, u32)], curve: &GroupCurve) -> f64 {
    best_of(levels, curve)
}

crate::wide! {
    /// All currents of a level are tried side by side.
    fn best_of(levels: &[(f64, u32)], curve: &GroupCurve) -> f64 {
        let mut best = [0.0; TRIED];
        let mut logs = [0.0; TRIED];
        for (at, &(g, own)) in levels.iter().enumerate() {
            if at % TRIED == 0 {
                let mut lights = [1.0; TRIED];
                for (light, (g, _)) in lights.iter_mut().zip(&levels[at..]) {
                    *light = if *g > 1e-12 { *g } else { 1e-12 };
                }
                for t in 0..TRIED {
                    logs[t] = crate::maths::ln(lights[t]);
                }
            }
            // The level's own groups need no further logarithm: ln(g - i) = ln g + ln(1 - i/g).
            let log_g = logs[at % TRIED];
            let own = f64::from(own);
            let (mut i, mut v) = ([0.0; TRIED], [0.0; TRIED]);
            for t in 0..TRIED {
                i[t] = g * curve.tried[t];
                v[t] = own * curve.bounded(curve.v_oc + curve.a * (log_g + curve.log_left[t]) - curve.r * i[t]);
            }
            for (k, &(other, count)) in levels.iter().enumerate() {
                if k != at {
                    let count = f64::from(count);
                    for t in 0..TRIED {
                        v[t] += count * curve.voltage(i[t], other);
                    }
                }
            }
            for t in 0..TRIED {
                let power = i[t] * v[t];
                best[t] = if power > best[t] { power } else { best[t] };
            }
        }
        let mut rest = TRIED / 2;
        while rest > 0 {
            for t in 0..rest {
                best[t] = if best[t + rest] > best[t] { best[t + rest] } else { best[t] };
            }
            rest /= 2;
        }
        best[0]
    }
}

/// So many strings are worked on side by side.
pub(super) const STRINGS: usize = 8;

crate::wide! {
    /// [`string_power`] of several strings with as many levels: `levels` holds the light currents and the numbers of
    /// groups of each level.
    pub(super) fn string_powers(levels: &[[[f64; STRINGS]; 2]], curve: &GroupCurve, best: &mut [f64; STRINGS]) {
        *best = [0.0; STRINGS];
        for (at, [g, own]) in levels.iter().enumerate() {
            let mut log_g = [0.0; STRINGS];
            for s in 0..STRINGS {
                log_g[s] = crate::maths::ln(if g[s] > 1e-12 { g[s] } else { 1e-12 });
            }
            for (share, log_left) in curve.tried.iter().zip(&curve.log_left).take(TRIED - 1) {
                let (mut i, mut v) = ([0.0; STRINGS], [0.0; STRINGS]);
                for s in 0..STRINGS {
                    i[s] = g[s] * share;
                    v[s] = own[s] * curve.bounded(curve.v_oc + curve.a * (log_g[s] + log_left) - curve.r * i[s]);
                }
                for (k, [other, count]) in levels.iter().enumerate() {
                    if k != at {
                        for s in 0..STRINGS {
                            v[s] += count[s] * curve.voltage(i[s], other[s]);
                        }
                    }
                }
                for s in 0..STRINGS {
                    let power = i[s] * v[s];
                    best[s] = if power > best[s] { power } else { best[s] };
                }
            }
        }
    }
}

/// Powers of strings that are asked for one by one and found side by side.
#[derive(Debug, Default)]
pub(super) struct StringPowers {
    /// By the number of levels, from one.
    lots: [Lot; 4],
    powers: Vec<f64>,
}

/// Strings with as many levels.
#[derive(Debug, Default)]
struct Lot {
    /// As [`string_powers`] takes them.
    levels: Vec<[[f64; STRINGS]; 2]>,
    /// Where the power of each string goes.
    places: Vec<u32>,
}

impl StringPowers {
    /// The place of a power that is known.
    pub fn put(&mut self, power: f64) -> u32 {
        self.powers.push(power);
        self.powers.len() as u32 - 1
    }

    /// The place where [`string_power`] of these levels will stand.
    pub fn ask(&mut self, levels: &[(f64, u32)], curve: &GroupCurve) -> u32 {
        let n = levels.len();
        let Some(lot) = n.checked_sub(1).and_then(|lot| self.lots.get_mut(lot)) else {
            return self.put(string_power(levels, curve));
        };
        let s = lot.places.len() % STRINGS;
        if s == 0 {
            lot.levels.resize(lot.levels.len() + n, [[0.0; STRINGS]; 2]);
        }
        let side = lot.levels.len() - n;
        for ([light, groups], &(g, count)) in lot.levels[side..].iter_mut().zip(levels) {
            (light[s], groups[s]) = (g, count.into());
        }
        lot.places.push(self.powers.len() as u32);
        self.put(0.0)
    }

    /// Finds all that was asked for.
    pub fn find(&mut self, curve: &GroupCurve) {
        let mut best = [0.0; STRINGS];
        for (n, lot) in (1..).zip(&mut self.lots) {
            for (levels, places) in lot.levels.chunks_exact(n).zip(lot.places.chunks(STRINGS)) {
                string_powers(levels, curve, &mut best);
                for (&place, power) in places.iter().zip(best) {
                    self.powers[place as usize] = power;
                }
            }
            lot.levels.clear();
            lot.places.clear();
        }
    }

    /// The power at a place.
    pub fn at(&self, place: u32) -> f64 {
        self.powers[place as usize]
    }

    /// Gives up all places.
    pub fn clear(&mut self) {
        self.powers.clear();
    }
}

/// Greatest power of strings side by side on one input, which share one voltage; units as in [`string_power`].
///
/// Every voltage at which one of the strings has a candidate for its own maximum is tried; between the candidates the
/// curves are taken as straight.
pub fn input_power(strings: &[Vec<(f64, u32)>], curve: &GroupCurve) -> f64 {
    if let [levels] = strings {
        return string_power(levels, curve);
    }
    let mut curves: Vec<Vec<(f64, f64)>> = vec![Vec::new(); strings.len()];
    for (levels, points) in strings.iter().zip(&mut curves) {
        curve.points(levels, points);
    }
    let mut best = 0.0_f64;
    for points in &curves {
        for &(_, v) in points.iter().filter(|p| p.1 > 0.0) {
            best = best.max(v * curves.iter().map(|other| current_at(v, other)).sum::<f64>());
        }
    }
    best
}

/// Power of one group of a uniformly lit array, in the units of [`string_power`].
pub fn uniform_power(g: f64, curve: &GroupCurve) -> f64 {
    string_power(&[(g, 1)], curve)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A one-diode curve with series and shunt resistance, solved by halving for the voltage of one group; the exact
    /// sum of a string over a fine sweep of currents. Nothing of the code above is used.
    struct Exact {
        i_ph: f64,
        i_0: f64,
        n_vt: f64,
        r_s: f64,
        r_sh: f64,
    }

    impl Exact {
        /// A generic 13 A module's group: 18 cells of 25 C, n 1.1, 3 mOhm and 150 Ohm per group; V_oc 12.5 V.
        fn generic() -> Exact {
            let n_vt = 18.0 * 1.1 * 0.025_693;
            let (i_ph, r_sh) = (13.95, 150.0);
            let i_0 = (i_ph - 12.5 / r_sh) / ((12.5_f64 / n_vt).exp() - 1.0);
            Exact { i_ph, i_0, n_vt, r_s: 0.018, r_sh }
        }

        fn voltage(&self, i: f64, g: f64) -> f64 {
            let (mut low, mut high) = (-0.5, 15.0);
            for _ in 0..60 {
                let v = 0.5 * (low + high);
                let vd = v + i * self.r_s;
                let at = self.i_ph * g - self.i_0 * ((vd / self.n_vt).exp() - 1.0) - vd / self.r_sh;
                if at > i {
                    low = v;
                } else {
                    high = v;
                }
            }
            low
        }

        fn power(&self, levels: &[(f64, u32)]) -> f64 {
            (0..2400)
                .map(|k| {
                    let i = f64::from(k) * 0.006;
                    i * levels.iter().map(|&(g, n)| f64::from(n) * self.voltage(i, g)).sum::<f64>()
                })
                .fold(0.0, f64::max)
        }

        fn data_sheet(&self) -> (f64, f64, f64, f64) {
            let (mut best, mut at) = (0.0, (0.0, 0.0));
            for k in 0..14_000 {
                let i = f64::from(k) * 0.001;
                let v = self.voltage(i, 1.0);
                if i * v > best {
                    (best, at) = (i * v, (v, i));
                }
            }
            let i_sc = (0..14_000).map(|k| f64::from(k) * 0.001).take_while(|&i| self.voltage(i, 1.0) > 0.0).last();
            (at.0, at.1, 12.5, i_sc.unwrap())
        }
    }

    // Source of the check: the sum of one-diode curves in series (Kirchhoff), independent of the rule.
    #[test]
    fn the_group_rule_agrees_with_the_full_sum_of_curves_within_2_percent() {
        let exact = Exact::generic();
        let (v_mp, i_mp, v_oc, i_sc) = exact.data_sheet();
        let curve = GroupCurve::of(v_mp * 3.0, i_mp, v_oc * 3.0, i_sc, 3);
        let full = exact.power(&[(1.0, 60)]);
        let rated = uniform_power(1.0, &curve) * 60.0;
        let mut worst = 0.0_f64;
        for n in [3_u32, 60] {
            for m in [0, 1, 2, 3, 10, 30, 45, 57] {
                for (bright, dark) in [(1.0, 0.1), (1.0, 0.3), (0.8, 0.4), (0.5, 0.25), (0.3, 0.2)] {
                    if m >= n {
                        continue;
                    }
                    let levels = [(bright, n - m), (dark, m)];
                    let want = exact.power(&levels) / full * 60.0 / f64::from(n);
                    let got = string_power(&levels, &curve) / rated * 60.0 / f64::from(n);
                    let uniform = exact.power(&[(bright, n)]) / full * 60.0 / f64::from(n);
                    // Of the power that the string would give without shade.
                    worst = worst.max(((got - want) / uniform).abs());
                    assert!(
                        ((got - want) / uniform).abs() < 0.02,
                        "{n} groups, {m} dark, {bright}/{dark}: {got} {want}"
                    );
                }
            }
        }
        assert!(worst > 0.0);
    }

    #[test]
    fn three_levels_and_two_strings_agree_with_the_full_sum() {
        let exact = Exact::generic();
        let (v_mp, i_mp, v_oc, i_sc) = exact.data_sheet();
        let curve = GroupCurve::of(v_mp * 3.0, i_mp, v_oc * 3.0, i_sc, 3);
        let full = exact.power(&[(1.0, 60)]);
        let rated = uniform_power(1.0, &curve) * 60.0;
        let levels = [(0.9, 40), (0.55, 12), (0.2, 8)];
        assert!((string_power(&levels, &curve) / rated - exact.power(&levels) / full).abs() < 0.02);

        // Two strings on one voltage: sweep the voltage, find each current by halving.
        for strings in [
            [vec![(1.0, 54), (0.2, 6)], vec![(1.0, 60)]],
            [vec![(1.0, 57), (0.2, 3)], vec![(1.0, 60)]],
            [vec![(1.0, 40), (0.4, 20)], vec![(1.0, 57), (0.4, 3)]],
            [vec![(0.7, 60)], vec![(0.7, 12), (0.3, 48)]],
            [vec![(0.5, 30), (0.35, 20), (0.2, 10)], vec![(0.5, 59), (0.2, 1)]],
        ] {
            let sum = |v: f64| -> f64 {
                let current = |levels: &Vec<(f64, u32)>| {
                    let (mut low, mut high) = (0.0, 14.5);
                    for _ in 0..30 {
                        let i = 0.5 * (low + high);
                        let at: f64 = levels.iter().map(|&(g, n)| f64::from(n) * exact.voltage(i, g)).sum();
                        if at > v {
                            low = i;
                        } else {
                            high = i;
                        }
                    }
                    low
                };
                strings.iter().map(current).sum()
            };
            let want = (100..370).map(|v| 2.0 * f64::from(v)).map(|v| v * sum(v)).fold(0.0, f64::max) / (2.0 * full);
            let got = input_power(&strings, &curve) / (2.0 * rated);
            assert!((got - want).abs() < 0.02 * strings[0][0].0, "{strings:?}: {got} {want}");
        }
    }

    #[test]
    fn several_strings_give_what_each_gives_alone() {
        let curve = GroupCurve::of(31.25, 13.12, 37.4, 13.95, 3);
        let lights = [1.0, 0.9, 0.9, 0.31, 0.2, 0.05, 1e-4, 0.0];
        for n in 1..5 {
            let level = |k: usize, s: usize| (lights[(s + 3 * k) % STRINGS], 1 + ((s * k) % 5) as u32);
            let levels: Vec<[[f64; STRINGS]; 2]> = (0..n)
                .map(|k| [std::array::from_fn(|s| level(k, s).0), std::array::from_fn(|s| level(k, s).1.into())])
                .collect();
            let mut best = [0.0; STRINGS];
            string_powers(&levels, &curve, &mut best);
            for (s, best) in best.iter().enumerate() {
                let alone: Vec<(f64, u32)> = (0..n).map(|k| level(k, s)).collect();
                assert_eq!(best.to_bits(), string_power(&alone, &curve).to_bits(), "{alone:?}");
            }
        }
    }

    #[test]
    fn powers_stand_where_they_were_asked_for() {
        let curve = GroupCurve::of(31.25, 13.12, 37.4, 13.95, 3);
        let string = |k: u32| -> Vec<(f64, u32)> {
            (0..k % 6).map(|l| (f64::from((k * 7 + l * 3) % 11) / 10.0, 1 + (k + l) % 20)).collect()
        };
        let mut powers = StringPowers::default();
        for _ in 0..2 {
            powers.clear();
            let places: Vec<u32> = (0..100).map(|k| powers.ask(&string(k), &curve)).collect();
            let put = powers.put(7.0);
            powers.find(&curve);
            assert_eq!(powers.at(put), 7.0);
            for (k, &place) in (0..).zip(&places) {
                assert_eq!(powers.at(place).to_bits(), string_power(&string(k), &curve).to_bits());
            }
        }
    }

    #[test]
    fn the_two_ways_of_the_rule_are_found() {
        let curve = GroupCurve::of(31.25, 13.12, 37.4, 13.95, 3);
        let full = uniform_power(1.0, &curve);
        // Few dark groups: bypassed, (N - m)/N less the diode drops (0.5 V of 10.4 V for each).
        let few = string_power(&[(1.0, 57), (0.1, 3)], &curve) / (60.0 * full);
        let hand = (57.0 - 3.0 * 0.5 / (31.25 / 3.0)) / 60.0;
        assert!((few - hand).abs() < 0.005, "{few} {hand}");
        // Nearly all dark: the current of the diffuse light, at full voltage or a little more.
        let most = string_power(&[(1.0, 3), (0.4, 57)], &curve) / (60.0 * full);
        let drag = uniform_power(0.4, &curve) / full;
        assert!(most >= drag && most < drag + 0.02, "{most} {drag}");
    }

    #[test]
    fn the_curve_passes_through_the_data_sheet() {
        let curve = GroupCurve::of(31.25, 13.12, 37.4, 13.95, 3);
        assert!((curve.voltage(13.12 / 13.95, 1.0) - 1.0).abs() < 1e-12);
        assert!((curve.voltage(0.0, 1.0) - 37.4 / 31.25).abs() < 1e-12);
        for odd in [GroupCurve::of(0.0, 0.0, 0.0, 0.0, 3), GroupCurve::of(f64::NAN, 1.0, -4.0, 1e300, 0)] {
            assert!(string_power(&[(1.0, 3), (0.0, 2)], &odd).is_finite());
        }
    }
}
