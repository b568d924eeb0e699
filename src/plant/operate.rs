//! Where the strings of one inverter input operate: shared voltage, tracking window, current limit, cable.

use crate::module::{Electrical, OneDiode};

/// The current-voltage curve of one module.
pub trait IvCurve {
    /// Current in A at `v` V, effective irradiance `g` W/m2, cell temperature `t` C; 0 or below beyond the
    /// open-circuit voltage. Falls with `v` and is concave in it, as a one-diode curve is.
    fn current_at(&self, v: f64, g: f64, t: f64) -> f64;

    /// Current up to a factor that depends on `g` and `t` alone, when that is cheaper than the current itself.
    fn shape_at(&self, v: f64, g: f64, t: f64) -> f64 {
        self.current_at(v, g, t)
    }

    /// The one-diode curve behind [`IvCurve::shape_at`] at a light and a temperature, if there is one: it is then asked
    /// instead, which is much cheaper.
    fn diode_at(&self, _g: f64, _t: f64) -> Option<OneDiode> {
        None
    }

    /// Open-circuit voltage in V, by halving an interval of the curve.
    fn v_oc(&self, g: f64, t: f64) -> f64 {
        let mut high = 1.0;
        while self.current_at(high, g, t) > 0.0 && high < 1e5 {
            high *= 2.0;
        }
        let mut low = 0.0;
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if self.current_at(middle, g, t) > 0.0 { low = middle } else { high = middle }
        }
        0.5 * (low + high)
    }

    /// Voltage at maximum power in V.
    fn v_mp(&self, g: f64, t: f64) -> f64 {
        highest(|v| v * self.current_at(v, g, t).max(0.0), 0.0, self.v_oc(g, t), 1e-9)
    }
}

impl IvCurve for Electrical {
    fn current_at(&self, v: f64, g: f64, t: f64) -> f64 {
        Electrical::current_at(self, v, g, t)
    }

    fn shape_at(&self, v: f64, g: f64, t: f64) -> f64 {
        Electrical::shape_at(self, v, g, t)
    }

    fn diode_at(&self, g: f64, t: f64) -> Option<OneDiode> {
        Electrical::diode_at(self, g, t)
    }

    fn v_oc(&self, g: f64, t: f64) -> f64 {
        self.point(g, t).v_oc
    }

    fn v_mp(&self, g: f64, t: f64) -> f64 {
        self.point(g, t).v_mp
    }
}

/// Equal strings of one input: same module, length, light, temperature and cable.
///
/// Columns are per module and of equal length; `v_mp` and `i_mp` are the module's own maximum power point after
/// everything that lowers it.
#[derive(Clone, Copy)]
pub struct StringSet<'a> {
    /// The module's curve; only its shape is used, it is scaled in current to meet `i_mp` at `v_mp`.
    pub curve: &'a dyn IvCurve,
    /// Modules in series.
    pub n_series: u32,
    /// Strings of this kind on the input.
    pub count: u32,
    /// Resistance of the cable loop of one string, ohm.
    pub loop_ohm: f64,
    /// Effective irradiance, W/m2.
    pub g: &'a [f64],
    /// Cell temperature, C.
    pub t: &'a [f64],
    /// Voltage at maximum power, V.
    pub v_mp: &'a [f64],
    /// Current at maximum power, A.
    pub i_mp: &'a [f64],
}

impl StringSet<'_> {
    fn is_like(&self, other: &StringSet<'_>) -> bool {
        self.n_series == other.n_series
            && self.loop_ohm == other.loop_ohm
            && std::ptr::eq(self.g, other.g)
            && std::ptr::eq(self.t, other.t)
            && std::ptr::eq(self.v_mp, other.v_mp)
            && std::ptr::eq(self.i_mp, other.i_mp)
    }
}

/// What an inverter input allows. Left out means no limit.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct InputLimits {
    /// Tracking window at the inverter's terminals, V.
    pub window_v: Option<[f64; 2]>,
    /// Largest operating current of the input, A.
    pub i_max: Option<f64>,
}

/// One input over the steps, W unless said otherwise.
///
/// `own - shared` is what unequal strings cost, `shared - held` what window and current limit cost, and
/// `held - cable` reaches the inverter at `v` volts.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct InputColumns {
    /// Every string at its own maximum power point.
    pub own: Vec<f64>,
    /// All strings at the best common voltage.
    pub shared: Vec<f64>,
    /// At the voltage within the limits.
    pub held: Vec<f64>,
    /// I2R in the string cables at that point.
    pub cable: Vec<f64>,
    /// Voltage at the inverter, V; 0 without light.
    pub v: Vec<f64>,
    /// Steps with light held at the lower end of the window.
    pub steps_below: usize,
    /// Steps with light held at the upper end.
    pub steps_above: usize,
    /// Steps held by the current limit.
    pub steps_over_current: usize,
}

/// Finds the operating point of one input in every step.
///
/// Equal strings run at the module's own maximum power point, a single pass over the columns; only steps outside a
/// limit look at the curve. Unequal strings share the voltage: their currents add, and the voltage of the highest
/// power at the inverter's terminals is searched between their own (the sum of concave curves has one maximum, or one between each pair of
/// open-circuit voltages that lie in between).
/// Outside the window the nearest end is held; above the current limit the voltage is raised until the current fits.
/// A string whose open-circuit voltage lies below the common voltage gives nothing (no current backwards).
pub fn operate(sets: &[StringSet<'_>], limits: &InputLimits, out: &mut InputColumns) {
    let len = sets.iter().map(|s| s.g.len().min(s.t.len()).min(s.v_mp.len()).min(s.i_mp.len())).min().unwrap_or(0);
    let mut columns = [&mut out.own, &mut out.shared, &mut out.held, &mut out.cable, &mut out.v];
    columns.iter_mut().for_each(|column| column.resize(len, 0.0));
    (out.steps_below, out.steps_above, out.steps_over_current) = (0, 0, 0);
    let Some(first) = sets.first() else { return };
    if sets.iter().all(|s| s.is_like(first)) {
        let one = StringSet { count: sets.iter().map(|s| s.count).sum(), ..*first };
        equal(&one, limits, len, out);
    } else {
        columns.iter_mut().for_each(|column| column.fill(0.0));
        let mut ready = Vec::with_capacity(sets.len());
        for step in 0..len {
            unequal(sets, limits, step, &mut ready, out);
        }
    }
}

/// Equal strings that share their input with none of another kind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct StringKind {
    /// Modules in series.
    pub n_series: f64,
    /// Cable loop of one string, ohm.
    pub loop_ohm: f64,
    /// Largest current of one string, A.
    pub i_max: f64,
}

impl StringKind {
    /// True where every step with light lies within the tracking window and below the current limit when the modules run
    /// at their own maximum power point; `extremes` are those of the columns.
    pub fn is_free(&self, window_v: Option<[f64; 2]>, extremes: &Extremes, v_mp: &[f64], i_mp: &[f64]) -> bool {
        let window @ [low, high] = window_v.unwrap_or(NO_WINDOW);
        let most = self.n_series * extremes.v_high;
        let least = self.n_series * extremes.v_low - self.loop_ohm * extremes.i_high;
        // The lowest voltage with the highest current is lower than any step.
        least >= low && most <= high && extremes.i_high <= self.i_max || all_free(self, window, v_mp, i_mp)
    }
}

/// Bounds of voltage and current at maximum power over the steps with current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Extremes {
    v_low: f64,
    v_high: f64,
    i_high: f64,
}

impl Extremes {
    /// Of two columns; without current the lowest is the largest number there is, and the highest are 0.
    pub fn of(v_mp: &[f64], i_mp: &[f64]) -> Extremes {
        let [v_low, v_high, i_high] = extremes(v_mp, i_mp);
        Extremes { v_low, v_high, i_high }
    }
}

const NO_WINDOW: [f64; 2] = [0.0, f64::MAX];

crate::wide! {
    fn extremes(v_mp: &[f64], i_mp: &[f64]) -> [f64; 3] {
        const LANES: usize = 16;
        let (mut low, mut high, mut most) = ([f64::MAX; LANES], [0.0_f64; LANES], [0.0_f64; LANES]);
        let (v_all, i_all) = (v_mp.chunks_exact(LANES), i_mp.chunks_exact(LANES));
        let rest = v_all.remainder().iter().zip(i_all.remainder());
        for (v, i) in v_all.zip(i_all) {
            for l in 0..LANES {
                let lit = i[l] > 0.0;
                let (least, volts) = if lit { (v[l], v[l]) } else { (f64::MAX, 0.0) };
                low[l] = if least < low[l] { least } else { low[l] };
                high[l] = if volts > high[l] { volts } else { high[l] };
                most[l] = if i[l] > most[l] { i[l] } else { most[l] };
            }
        }
        let mut all = [f64::MAX, 0.0, 0.0];
        for (v, i) in rest.filter(|(_, i)| **i > 0.0) {
            all = [all[0].min(*v), all[1].max(*v), all[2].max(*i)];
        }
        for l in 0..LANES {
            all = [all[0].min(low[l]), all[1].max(high[l]), all[2].max(most[l])];
        }
        all
    }
}

crate::wide! {
    fn all_free(kind: &StringKind, window: [f64; 2], v_mp: &[f64], i_mp: &[f64]) -> bool {
        let [low, high] = window;
        let mut outside = 0u64;
        for (v, i) in v_mp.iter().zip(i_mp) {
            let v = kind.n_series * v - kind.loop_ohm * i;
            let here = (v < low) | (v > high) | (*i > kind.i_max);
            outside += u64::from(here & (*i > 0.0));
        }
        outside == 0
    }
}

const BLOCK: usize = 64;

fn equal(set: &StringSet<'_>, limits: &InputLimits, len: usize, out: &mut InputColumns) {
    let (v_mp, i_mp) = (&set.v_mp[..len], &set.i_mp[..len]);
    let (n, count) = (f64::from(set.n_series), f64::from(set.count));
    let [low, high] = limits.window_v.unwrap_or(NO_WINDOW);
    let i_max = limits.i_max.unwrap_or(f64::MAX) / count;
    let InputColumns { own, cable, v, .. } = out;
    let outside = at_maximum([n, count, set.loop_ohm], [low, high, i_max], v_mp, i_mp, own, cable, v);
    out.shared.copy_from_slice(&out.own);
    out.held.copy_from_slice(&out.own);
    if outside == 0 {
        return;
    }
    let mut ready = Vec::with_capacity(1);
    for start in (0..len).step_by(BLOCK) {
        let block = start..len.min(start + BLOCK);
        if all_within(low, high, i_max, &out.v[block.clone()], &i_mp[block.clone()]) {
            continue;
        }
        for step in block {
            let outside = !(low..=high).contains(&out.v[step]) || i_mp[step] > i_max;
            if outside && i_mp[step] > 0.0 {
                ready.clear();
                ready.push(Ready::of(set, step));
                hold(&ready, limits, step, out.v[step], out);
            }
        }
    }
}

crate::wide! {
    /// Every string at its own maximum power point; in how many steps that lies outside the limits.
    fn at_maximum(
        string: [f64; 3], limits: [f64; 3], v_mp: &[f64], i_mp: &[f64], p: &mut [f64], cable: &mut [f64], v: &mut [f64],
    ) -> u64 {
        let len = p.len();
        let (v_mp, i_mp, cable, v) = (&v_mp[..len], &i_mp[..len], &mut cable[..len], &mut v[..len]);
        let ([n, count, ohm], [low, high, i_max]) = (string, limits);
        let mut outside = 0;
        for j in 0..len {
            p[j] = (n * count) * (v_mp[j] * i_mp[j]);
            cable[j] = (count * ohm) * (i_mp[j] * i_mp[j]);
            v[j] = n * v_mp[j] - ohm * i_mp[j];
            let here = (v[j] < low) | (v[j] > high) | (i_mp[j] > i_max);
            outside += u64::from(here & (i_mp[j] > 0.0));
        }
        outside
    }
}

crate::wide! {
    fn all_within(low: f64, high: f64, i_max: f64, v: &[f64], i: &[f64]) -> bool {
        let mut outside = 0u64;
        for (v, i) in v.iter().zip(i) {
            let here = (*v < low) | (*v > high) | (*i > i_max);
            outside += u64::from(here & (*i > 0.0));
        }
        outside == 0
    }
}

fn unequal<'a>(
    sets: &'a [StringSet<'a>],
    limits: &InputLimits,
    step: usize,
    ready: &mut Vec<Ready<'a>>,
    out: &mut InputColumns,
) {
    let (mut low, mut high) = (f64::MAX, 0.0_f64);
    for set in sets {
        let (v, i) = (set.v_mp[step], set.i_mp[step]);
        if i > 0.0 && v > 0.0 {
            let n = f64::from(set.n_series);
            out.own[step] += n * f64::from(set.count) * (v * i);
            let v = n * v - set.loop_ohm * i;
            low = low.min(v);
            high = high.max(v);
        }
    }
    if high <= 0.0 || out.own[step] <= 0.0 {
        return;
    }
    ready.clear();
    ready.extend(sets.iter().map(|set| Ready::of(set, step)));
    let best = best_voltage(ready, low, high);
    let there = at(ready, best);
    out.shared[step] = there.p.min(out.own[step]);
    (out.held[step], out.cable[step], out.v[step]) = (out.shared[step], there.cable, best);
    hold(ready, limits, step, best, out);
}

/// The common voltage of the highest power at the inverter, between the strings' own.
///
/// Where no string's open-circuit voltage lies in between there is one maximum, found by Newton on the slope of the
/// power; else one between each pair of them.
fn best_voltage(ready: &[Ready<'_>], low: f64, high: f64) -> f64 {
    if high - low < 1e-9 {
        return low;
    }
    if let Some(v) = best_of_diodes(ready, low, high) {
        return v;
    }
    let power = |v: f64| v * at(ready, v).i;
    let (mut best, mut most, mut from) = (low, power(low), low);
    loop {
        let next_dead = ready
            .iter()
            .filter(|r| r.alive && r.at(high).0 <= 0.0)
            .map(|r| r.n * r.set.curve.v_oc(r.g, r.t))
            .filter(|v| *v > from && *v < high)
            .fold(high, f64::min);
        let v = highest(power, from, next_dead, 1e-5 * high);
        for v in [v, next_dead] {
            let p = power(v);
            if p > most {
                (best, most) = (v, p);
            }
        }
        if next_dead >= high {
            return best;
        }
        from = next_dead;
    }
}

/// [`best_voltage`] where every string has a one-diode curve and gives current up to `high`; nothing elsewhere.
fn best_of_diodes(ready: &[Ready<'_>], low: f64, high: f64) -> Option<f64> {
    // Slope and bend of the power V I(V), from junction voltages nearby that move along.
    let mut junctions = [0.0_f64; MOST_KINDS];
    let junctions = junctions.get_mut(..ready.len())?;
    for (junction, r) in junctions.iter_mut().zip(ready) {
        *junction = r.junction;
    }
    let mut slope = |v: f64| -> Option<(f64, f64)> {
        let (mut i, mut di, mut ddi) = (0.0, 0.0, 0.0);
        for (junction, r) in junctions.iter_mut().zip(ready).filter(|(_, r)| r.alive) {
            let near = r.diode?.near(v * r.per_n, *junction);
            *junction = near.v_d;
            if near.i <= 0.0 {
                return None;
            }
            let amps = r.count * r.scale;
            i += amps * near.i;
            di += amps * r.per_n * near.di;
            ddi += amps * r.per_n * r.per_n * near.ddi;
        }
        Some((i + v * di, 2.0 * di + v * ddi))
    };
    if slope(high)?.0 >= 0.0 {
        return Some(high);
    }
    if slope(low)?.0 <= 0.0 {
        return Some(low);
    }
    let (mut a, mut b) = (low, high);
    let mut v = 0.5 * (low + high);
    for _ in 0..100 {
        let (up, bend) = slope(v)?;
        if up > 0.0 {
            a = v
        } else {
            b = v
        }
        let newton = v - up / bend;
        let next = if newton > a && newton < b { newton } else { 0.5 * (a + b) };
        let done = (next - v).abs() <= 1e-9 * high;
        v = next;
        if done {
            break;
        }
    }
    Some(v)
}

/// Kinds of strings on one input for which the quick way is gone.
const MOST_KINDS: usize = 16;

/// Moves one step into the limits, from the voltage `best`.
fn hold(ready: &[Ready<'_>], limits: &InputLimits, step: usize, best: f64, out: &mut InputColumns) {
    let mut v = best;
    if let Some([low, high]) = limits.window_v {
        if v < low {
            out.steps_below += 1;
            v = low;
        } else if v > high {
            out.steps_above += 1;
            v = high;
        }
    }
    if let Some(i_max) = limits.i_max
        && at(ready, v).i > i_max
    {
        out.steps_over_current += 1;
        v = voltage_of_current(ready, i_max, v);
    }
    if v != best {
        let there = at(ready, v);
        out.held[step] = there.p.min(out.shared[step]);
        out.cable[step] = there.cable.min(out.held[step]);
        out.v[step] = v;
    }
}

/// The voltage above `v` at which the current of the input has fallen to `i_max`, from the side where it fits: secant
/// steps within a bracket (the Illinois form of false position; Dowell and Jarratt, BIT 11 (1971) 168-174, from memory).
fn voltage_of_current(ready: &[Ready<'_>], i_max: f64, v: f64) -> f64 {
    let over = |v: f64| at(ready, v).i - i_max;
    let (mut a, mut b) = (v, v * 1.1 + 1.0);
    let (mut fa, mut fb) = (over(a), over(b));
    while fb > 0.0 && b < 1e6 {
        (a, fa) = (b, fb);
        b *= 1.1;
        fb = over(b);
    }
    let mut side = 0;
    for _ in 0..100 {
        if b - a <= 1e-12 * b {
            break;
        }
        let secant = b - fb * (b - a) / (fb - fa);
        let x = if secant > a && secant < b { secant } else { 0.5 * (a + b) };
        let f = over(x);
        if f > 0.0 {
            (a, fa) = (x, f);
            fb *= if side == 1 { 0.5 } else { 1.0 };
            side = 1;
        } else {
            (b, fb) = (x, f);
            fa *= if side == -1 { 0.5 } else { 1.0 };
            side = -1;
            if f > -1e-12 * i_max {
                break;
            }
        }
    }
    b
}

/// All strings of an input at one voltage.
struct Point {
    i: f64,
    p: f64,
    cable: f64,
}

fn at(ready: &[Ready<'_>], v: f64) -> Point {
    let mut sum = Point { i: 0.0, p: 0.0, cable: 0.0 };
    for r in ready {
        let (i, v_string) = r.at(v);
        sum.i += r.count * i;
        sum.p += r.count * v_string * i;
        sum.cable += r.count * r.set.loop_ohm * i * i;
    }
    sum
}

/// Equal strings at one step, ready to be asked for their current.
struct Ready<'a> {
    set: &'a StringSet<'a>,
    /// False without light.
    alive: bool,
    g: f64,
    t: f64,
    n: f64,
    per_n: f64,
    count: f64,
    i_mp: f64,
    /// Brings the current of the curve's shape to that of the module.
    scale: f64,
    /// The curve of a module with its share of the cable: `I_string R` spread over the modules, in terms of the curve's
    /// own current, adds `scale R / n` to the series resistance.
    diode: Option<OneDiode>,
    /// Junction voltage at maximum power, from which others are not far.
    junction: f64,
}

impl<'a> Ready<'a> {
    fn of(set: &'a StringSet<'a>, step: usize) -> Ready<'a> {
        let (v_mp, i_mp, g, t) = (set.v_mp[step], set.i_mp[step], set.g[step], set.t[step]);
        let (n, count) = (f64::from(set.n_series), f64::from(set.count));
        let alive = i_mp > 0.0 && v_mp > 0.0;
        let mut ready =
            Ready { set, alive, g, t, n, per_n: 1.0 / n, count, i_mp, scale: 1.0, diode: None, junction: 0.0 };
        if !alive {
            return ready;
        }
        let own = set.curve.diode_at(g, t);
        let near = own.map(|d| d.near(v_mp, v_mp + d.r_s * d.i_l));
        let shape = near.map_or_else(|| set.curve.shape_at(v_mp, g, t), |near| near.i);
        ready.scale = if shape > 0.0 { i_mp / shape } else { 1.0 };
        ready.diode = own.map(|d| OneDiode { r_s: d.r_s + ready.scale * set.loop_ohm.max(0.0) / n, ..d });
        ready.junction = near.map_or(0.0, |near| near.v_d);
        ready
    }

    /// Current of one string with its cable on `v` volts, and the voltage at its modules.
    fn at(&self, v: f64) -> (f64, f64) {
        if !self.alive {
            return (0.0, v);
        }
        let ohm = self.set.loop_ohm;
        if let Some(diode) = self.diode {
            let i = (self.scale * diode.near(v * self.per_n, self.junction).i).max(0.0);
            return (i, v + i * ohm.max(0.0));
        }
        let current = |v_string: f64| self.scale * self.set.curve.shape_at(v_string / self.n, self.g, self.t).max(0.0);
        if ohm <= 0.0 {
            return (current(v), v);
        }
        // The cable lifts the modules by I R: a few secant steps on r(I) = current(v + I R) - I, which falls in I.
        let residual = |i: f64| current(v + i * ohm) - i;
        let (mut i0, mut i1) = (0.0, self.i_mp);
        let (mut r0, mut r1) = (residual(i0), residual(i1));
        for _ in 0..60 {
            if r1.abs() < 1e-13 * self.i_mp || r1 == r0 {
                break;
            }
            let next = (i1 - r1 * (i1 - i0) / (r1 - r0)).max(0.0);
            (i0, r0) = (i1, r1);
            i1 = next;
            r1 = residual(i1);
        }
        (i1, v + i1 * ohm)
    }
}

/// Place of the maximum of a function with one maximum in `a..=b`, to `within`.
///
/// Golden section with parabolic steps. Source: Brent, R. P.: Algorithms for Minimization without Derivatives (1973),
/// chapter 5 (from memory).
fn highest(f: impl Fn(f64) -> f64, mut a: f64, mut b: f64, within: f64) -> f64 {
    const GOLD: f64 = 0.381_966_011_250_105;
    let mut x = a + GOLD * (b - a);
    let (mut w, mut v) = (x, x);
    let mut fx = -f(x);
    let (mut fw, mut fv) = (fx, fx);
    let (mut d, mut e) = (0.0_f64, 0.0_f64);
    for _ in 0..100 {
        let m = 0.5 * (a + b);
        let tol = 1e-10 * x.abs() + within / 3.0;
        if (x - m).abs() <= 2.0 * tol - 0.5 * (b - a) {
            break;
        }
        let mut golden = true;
        if e.abs() > tol {
            let r = (x - w) * (fx - fv);
            let q = (x - v) * (fx - fw);
            let mut p = (x - v) * q - (x - w) * r;
            let mut q = 2.0 * (q - r);
            if q > 0.0 {
                p = -p
            } else {
                q = -q
            }
            let before = e;
            e = d;
            if p.abs() < (0.5 * q * before).abs() && p > q * (a - x) && p < q * (b - x) {
                d = p / q;
                let u = x + d;
                if u - a < 2.0 * tol || b - u < 2.0 * tol {
                    d = if x < m { tol } else { -tol };
                }
                golden = false;
            }
        }
        if golden {
            e = if x < m { b - x } else { a - x };
            d = GOLD * e;
        }
        let u = if d.abs() >= tol { x + d } else { x + tol.copysign(d) };
        let fu = -f(u);
        if fu <= fx {
            if u < x {
                b = x
            } else {
                a = x
            }
            (v, fv, w, fw, x, fx) = (w, fw, x, fx, u, fu);
        } else {
            if u < x {
                a = u
            } else {
                b = u
            }
            if fu <= fw || w == x {
                (v, fv, w, fw) = (w, fw, u, fu);
            } else if fu <= fv || v == x || v == w {
                (v, fv) = (u, fu);
            }
        }
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// One diode without resistances: `I = I_sc G/1000 - I_0 (exp(V/a) - 1)`.
    struct Plain;

    impl IvCurve for Plain {
        fn current_at(&self, v: f64, g: f64, t: f64) -> f64 {
            let a = 1.7 * (273.15 + t) / 298.15;
            let i0 = 14.0 / ((37.4 * (1.0 - 0.00275 * (t - 25.0)) / a).exp() - 1.0);
            14.0 * g / 1000.0 - i0 * ((v / a).exp() - 1.0)
        }
    }

    fn columns(g: &[f64], t: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let v: Vec<f64> = g.iter().zip(t).map(|(&g, &t)| if g > 0.0 { Plain.v_mp(g, t) } else { 0.0 }).collect();
        let i = v.iter().zip(g.iter().zip(t)).map(|(&v, (&g, &t))| Plain.current_at(v, g, t)).collect();
        (v, i)
    }

    fn set<'a>(
        n: u32,
        count: u32,
        ohm: f64,
        g: &'a [f64],
        t: &'a [f64],
        vi: &'a (Vec<f64>, Vec<f64>),
    ) -> StringSet<'a> {
        StringSet { curve: &Plain, n_series: n, count, loop_ohm: ohm, g, t, v_mp: &vi.0, i_mp: &vi.1 }
    }

    #[test]
    fn voltages_of_the_curve() {
        assert!((Plain.v_oc(1000.0, 25.0) - 37.4).abs() < 1e-9);
        // The maximum of V I(V) where I = -V dI/dV.
        let v = Plain.v_mp(1000.0, 25.0);
        let slope = (Plain.current_at(v + 1e-4, 1000.0, 25.0) - Plain.current_at(v - 1e-4, 1000.0, 25.0)) / 2e-4;
        assert!((Plain.current_at(v, 1000.0, 25.0) + v * slope).abs() < 1e-3);
    }

    // Places and numbers of looks of a general library's bounded search (SciPy 1.17, `minimize_scalar`, xatol 1e-6) for the
    // same functions; ours may look three times more.
    #[test]
    fn the_top_of_a_function_is_found_with_few_looks() {
        let looks = std::cell::Cell::new(0);
        let find = |f: &dyn Fn(f64) -> f64, a: f64, b: f64| {
            looks.set(0);
            let look = |x: f64| {
                looks.set(looks.get() + 1);
                f(x)
            };
            (highest(look, a, b, 1e-6), looks.get())
        };
        type Case<'a> = (&'a dyn Fn(f64) -> f64, f64, f64, f64, i32);
        let cases: [Case<'_>; 6] = [
            (&|x| x * (-x).exp(), 0.0, 5.0, 1.0, 12),
            (&|x| x.sin(), 0.0, 3.0, std::f64::consts::FRAC_PI_2, 9),
            (&|x| x * (1.0 - ((x - 40.0) / 2.0).exp()), 0.0, 40.0, 34.207_748, 13),
            (&|x| -(x - 0.3).powi(4), 0.0, 1.0, 0.3, 12),
            (&|x| x, 0.0, 1.0, 1.0, 30),
            (&|x| -x, 0.0, 1.0, 0.0, 30),
        ];
        for (f, a, b, top, of_library) in cases {
            let (x, looks) = find(f, a, b);
            assert!((x - top).abs() < 2e-6 * b && looks <= of_library + 3, "{top}: {x} after {looks}, {of_library}");
        }
    }

    #[test]
    fn equal_strings_need_no_search() {
        let (g, t) = ([0.0, 10.0, 500.0, 1000.0], [5.0, 5.0, 25.0, 60.0]);
        let vi = columns(&g, &t);
        let mut out = InputColumns::default();
        let one = set(20, 1, 0.58, &g, &t, &vi);
        operate(&[one, one], &InputLimits::default(), &mut out);
        for step in 0..4 {
            assert!((out.own[step] - 40.0 * vi.0[step] * vi.1[step]).abs() < 1e-9);
            assert_eq!(out.own[step], out.held[step]);
            assert!((out.cable[step] - 2.0 * 0.58 * vi.1[step] * vi.1[step]).abs() < 1e-9);
        }
        assert_eq!(out.v[0], 0.0);
    }

    #[test]
    fn the_window_is_held_with_the_power_of_the_curve() {
        let (g, t) = ([800.0, 800.0], [25.0, 70.0]);
        let vi = columns(&g, &t);
        let mut out = InputColumns::default();
        let limits = InputLimits { window_v: Some([600.0, 625.0]), i_max: None };
        operate(&[set(20, 2, 0.0, &g, &t, &vi)], &limits, &mut out);
        assert_eq!(out.v, [625.0, 600.0]);
        assert_eq!((out.steps_above, out.steps_below), (1, 1));
        for step in 0..2 {
            let expected = 2.0 * out.v[step] * Plain.current_at(out.v[step] / 20.0, g[step], t[step]).max(0.0);
            assert!((out.held[step] - expected).abs() < 1e-6, "{} for {expected}", out.held[step]);
            assert!(out.held[step] < out.own[step]);
        }
    }

    #[test]
    fn a_window_that_all_steps_miss_is_held_in_all() {
        let (g, t) = ([800.0, 500.0, 0.0], [25.0, 40.0, 10.0]);
        let vi = columns(&g, &t);
        for ([low, high], held, counts) in [([100.0, 500.0], 500.0, (2, 0)), ([690.0, 900.0], 690.0, (0, 2))] {
            let mut out = InputColumns::default();
            let limits = InputLimits { window_v: Some([low, high]), i_max: None };
            operate(&[set(20, 1, 0.0, &g, &t, &vi)], &limits, &mut out);
            assert_eq!(out.v, [held, held, 0.0]);
            assert_eq!((out.steps_above, out.steps_below), counts);
        }
        let mut out = InputColumns::default();
        let limits = InputLimits { window_v: None, i_max: Some(6.0) };
        operate(&[set(20, 1, 0.0, &g, &t, &vi)], &limits, &mut out);
        assert_eq!(out.steps_over_current, 2);
        assert!((out.held[1] / out.v[1] - 6.0).abs() < 1e-9);
    }

    // A dark string beside a lit one neither gives nor takes.
    #[test]
    fn a_dark_string_is_out_of_the_sum() {
        let (g, t) = ([700.0], [30.0]);
        let (dark, vi) = ([0.0], columns(&g, &t));
        let none = (vec![0.0], vec![0.0]);
        let mut out = InputColumns::default();
        operate(&[set(20, 1, 0.3, &g, &t, &vi), set(20, 2, 0.3, &dark, &t, &none)], &InputLimits::default(), &mut out);
        let own = 20.0 * vi.0[0] * vi.1[0];
        let cable = 0.3 * vi.1[0] * vi.1[0];
        assert!((out.own[0] / own - 1.0).abs() < 1e-12 && (out.held[0] / own - 1.0).abs() < 1e-9, "{out:?}");
        assert!((out.cable[0] / cable - 1.0).abs() < 1e-6, "{} {cable}", out.cable[0]);
    }

    #[test]
    fn the_current_limit_raises_the_voltage() {
        let (g, t) = ([1000.0], [25.0]);
        let vi = columns(&g, &t);
        let mut out = InputColumns::default();
        operate(&[set(20, 2, 0.58, &g, &t, &vi)], &InputLimits { window_v: None, i_max: Some(25.0) }, &mut out);
        assert_eq!(out.steps_over_current, 1);
        let i = (out.held[0] - out.cable[0]) / out.v[0];
        assert!((i - 25.0).abs() < 1e-6, "{i}");
    }

    /// A demo-like module by its fitted curve, with columns of its own.
    fn fitted() -> crate::module::Electrical {
        let sheet: crate::module::ModuleSheet = toml::from_str(
            "p_stc_w = 410\nv_mp = 31.25\ni_mp = 13.12\nv_oc = 37.4\ni_sc = 13.95\ngamma_pct_per_k = -0.35\n\
             beta_pct_per_k = -0.275\nlow_light = [[200, 0.96]]\nlength_mm = 1722\nwidth_mm = 1134",
        )
        .unwrap();
        crate::module::Electrical::fit(&sheet, None).unwrap().0
    }

    /// The same curve without its diode, so that every question goes the slow way.
    struct Slow<'a>(&'a crate::module::Electrical);

    impl IvCurve for Slow<'_> {
        fn current_at(&self, v: f64, g: f64, t: f64) -> f64 {
            self.0.current_at(v, g, t)
        }
        fn shape_at(&self, v: f64, g: f64, t: f64) -> f64 {
            self.0.shape_at(v, g, t)
        }
        fn v_oc(&self, g: f64, t: f64) -> f64 {
            self.0.point(g, t).v_oc
        }
        fn v_mp(&self, g: f64, t: f64) -> f64 {
            self.0.point(g, t).v_mp
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(100))]

        // The slow way searches the curve itself by golden section, secants and halving: the reference.
        #[test]
        fn the_diode_gives_what_the_search_gives(
            light in proptest::collection::vec((1.0..1200.0_f64, -20.0..75.0_f64), 1..6),
            n in (10u32..25, 10u32..25), ohm in 0.0..1.0_f64, low in 100.0..600.0_f64, i_max in 10.0..40.0_f64,
        ) {
            let model = fitted();
            let (g, t): (Vec<f64>, Vec<f64>) = light.into_iter().unzip();
            let point: Vec<_> = g.iter().zip(&t).map(|(g, t)| model.point(*g, *t)).collect();
            let v: Vec<f64> = point.iter().map(|p| p.v_mp).collect();
            let i: Vec<f64> = point.iter().map(|p| 0.98 * p.i_mp).collect();
            let slow = Slow(&model);
            let limits = InputLimits { window_v: Some([low, low + 350.0]), i_max: Some(i_max) };
            let run = |curve: &dyn IvCurve, limits: &InputLimits| {
                let mut out = InputColumns::default();
                let set = |n_series| StringSet {
                    curve, n_series, count: 1, loop_ohm: ohm, g: &g, t: &t, v_mp: &v, i_mp: &i,
                };
                operate(&[set(n.0), set(n.1)], limits, &mut out);
                out
            };
            // What is made highest is the power behind the cable, as the curve gives it (what is told of it is never above
            // that of the strings alone). The search stops within 1e-5 of the voltage, where that power is flat: some 1e-9
            // of it. (Power before the cable has a slope there, so it may differ by more.)
            let open = InputLimits::default();
            let (quick, search) = (run(&model, &open), run(&slow, &open));
            let set = |n_series| StringSet {
                curve: &slow as &dyn IvCurve, n_series, count: 1, loop_ohm: ohm, g: &g, t: &t, v_mp: &v, i_mp: &i,
            };
            let sets = [set(n.0), set(n.1)];
            let net = |out: &InputColumns| -> Vec<f64> {
                let at_step = |(step, v): (usize, &f64)| {
                    let ready: Vec<Ready<'_>> = sets.iter().map(|set| Ready::of(set, step)).collect();
                    let there = at(&ready, *v);
                    there.p - there.cable
                };
                out.v.iter().enumerate().map(at_step).collect()
            };
            let mut same = vec![true; g.len()];
            for (step, (a, b)) in net(&quick).iter().zip(&net(&search)).enumerate() {
                prop_assert!(*a >= b * (1.0 - 2e-10), "{a} {b}");
                if (a / b - 1.0).abs() < 3e-9 {
                    continue;
                }
                // The search may end at the lower of two maxima: a scan of the voltages up to the highest of the strings'
                // own decides.
                let ready: Vec<Ready<'_>> = sets.iter().map(|set| Ready::of(set, step)).collect();
                let high = f64::from(n.0.max(n.1)) * v[step] - ohm * i[step];
                let most = (1..40_000)
                    .map(|k| f64::from(k) * 0.02)
                    .filter(|v| *v <= high)
                    .map(|v| at(&ready, v))
                    .map(|there| there.p - there.cable)
                    .fold(0.0, f64::max);
                prop_assert!((a / most - 1.0).abs() < 1e-6, "{a} {b} {most}");
                same[step] = false;
            }
            // At a current limit both stop where it fits, from the same maximum on.
            let (quick, search) = (run(&model, &limits), run(&slow, &limits));
            for ((a, b), _) in quick.v.iter().zip(&search.v).zip(&same).filter(|(_, same)| **same) {
                prop_assert!((a - b).abs() < 2e-5 * a, "{a} {b}");
            }
            // From one voltage on, the two agree to the digits that the search was asked for.
            let one = InputLimits { window_v: Some([low, low + 1e-8]), i_max: None };
            let (quick, search) = (run(&model, &one), run(&slow, &one));
            for (step, (a, b)) in quick.held.iter().zip(&search.held).enumerate() {
                // Power before the cable is never taken above that of the best voltage, which the search knows less well.
                let capped = *a == quick.shared[step] || *b == search.shared[step];
                prop_assert!(capped || (a - b).abs() <= 1e-9 * a.abs() + 1e-9, "{a} {b}");
            }
            if same.iter().all(|same| *same) {
                prop_assert_eq!(quick.steps_below, search.steps_below);
            }
        }
    }

    // A fine scan of the summed curve is the reference.
    #[test]
    fn unequal_strings_meet_at_the_best_common_voltage() {
        let (g, t) = ([900.0, 300.0], [50.0, 20.0]);
        let vi = columns(&g, &t);
        let mut out = InputColumns::default();
        let sets = [set(20, 1, 0.0, &g, &t, &vi), set(17, 1, 0.0, &g, &t, &vi)];
        operate(&sets, &InputLimits::default(), &mut out);
        for step in 0..2 {
            let power = |v: f64| {
                let of = |n: f64| v * Plain.current_at(v / n, g[step], t[step]).max(0.0);
                of(20.0) + of(17.0)
            };
            let scanned = (0..80_000).map(|k| power(f64::from(k) * 0.01)).fold(0.0, f64::max);
            assert!((out.shared[step] / scanned - 1.0).abs() < 1e-7, "{} for {scanned}", out.shared[step]);
            assert!(out.shared[step] < out.own[step]);
        }
        // Short strings end far below the voltage of long ones: one maximum below their open circuit, one above.
        let mut sides = [0; 2];
        for (long, short) in [(1, 2), (3, 1), (1, 1), (5, 9)] {
            operate(
                &[set(20, long, 0.0, &g, &t, &vi), set(10, short, 0.0, &g, &t, &vi)],
                &InputLimits::default(),
                &mut out,
            );
            for step in 0..2 {
                let power = |v: f64| {
                    let of = |n: f64| v * Plain.current_at(v / n, g[step], t[step]).max(0.0);
                    f64::from(long) * of(20.0) + f64::from(short) * of(10.0)
                };
                let scanned = (0..80_000).map(|k| power(f64::from(k) * 0.01)).fold(0.0, f64::max);
                assert!((out.shared[step] / scanned - 1.0).abs() < 1e-7, "{} for {scanned}", out.shared[step]);
                sides[usize::from(out.v[step] > 400.0)] += 1;
            }
        }
        assert!(sides[0] > 0 && sides[1] > 0, "{sides:?}");
        // Two long strings beside three short ones: each at its own maximum.
        operate(&[set(20, 2, 0.0, &g, &t, &vi), set(17, 3, 0.0, &g, &t, &vi)], &InputLimits::default(), &mut out);
        for step in 0..2 {
            let own = (2.0 * 20.0 + 3.0 * 17.0) * vi.0[step] * vi.1[step];
            assert!((out.own[step] / own - 1.0).abs() < 1e-12 && out.shared[step] < own, "{}", out.own[step]);
        }
    }

    proptest! {
        #[test]
        fn each_step_down_costs(
            light in proptest::collection::vec((0.0..1200.0_f64, -20.0..75.0_f64, 0.0..1200.0_f64, -20.0..75.0_f64), 1..6),
            n in (5u32..25, 5u32..25), ohm in 0.0..1.0_f64, low in 100.0..500.0_f64, i_max in 10.0..30.0_f64,
        ) {
            let (first, second): (Vec<_>, Vec<_>) = light.iter().map(|x| ((x.0, x.1), (x.2, x.3))).unzip();
            let (g1, t1): (Vec<f64>, Vec<f64>) = first.into_iter().unzip();
            let (g2, t2): (Vec<f64>, Vec<f64>) = second.into_iter().unzip();
            let (a, b) = (columns(&g1, &t1), columns(&g2, &t2));
            let limits = InputLimits { window_v: Some([low, low + 300.0]), i_max: Some(i_max) };
            let mut out = InputColumns::default();
            operate(&[set(n.0, 1, ohm, &g1, &t1, &a), set(n.1, 1, ohm, &g2, &t2, &b)], &limits, &mut out);
            for step in 0..light.len() {
                prop_assert!(out.own[step] >= out.shared[step] && out.shared[step] >= out.held[step]);
                prop_assert!(out.held[step] >= out.cable[step] && out.cable[step] >= 0.0);
                // The best common voltage is never worse than turning the weaker string off.
                let best_alone = [(n.0, &a), (n.1, &b)]
                    .iter()
                    .map(|(n, vi)| f64::from(*n) * vi.0[step] * vi.1[step] - ohm * vi.1[step] * vi.1[step])
                    .fold(0.0, f64::max);
                prop_assert!(out.shared[step] >= best_alone * (1.0 - 1e-6));
                for column in [&out.own, &out.shared, &out.held, &out.cable, &out.v] {
                    prop_assert!(column[step].is_finite());
                }
            }
        }
    }
}
