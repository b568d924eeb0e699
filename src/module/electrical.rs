//! What a module gives at a light and a heat: power, voltage and current, by the model that its record supports.

use std::ops::Range;

use serde::Serialize;

use super::curve::{Curve, S_MIN, SCALE, Shares, coefficients, held_g, shares};
use super::efficiency::{Efficiency, ShortForm};
use super::smooth::Monotone;
use super::{Matrix, ModuleError, ModuleSheet, OneDiode, OperatingPoint, typical};
use crate::units::{G_STC, Note, T_STC};
use crate::{maths, wide};

/// Names that `electrical` of a sheet may have.
pub const MODELS: &str = "sheet, matrix, matrix-bilinear, one-diode, one-diode-given, gamma";

/// The electrical model of one module.
///
/// Power is `P = P_stc x G/1000 x a(G) x b(G,T)` with `a = eta(G,25)/eta_stc` and `b = eta(G,T)/eta(G,25)`. Voltage and
/// current are those of a one-diode curve, both scaled by the square root of power over the curve's own power: on
/// measured modules the two share what the curve misses.
///
/// ```
/// use yearlight::module::{Electrical, ModuleSheet};
/// let sheet: ModuleSheet = toml::from_str(
///     "p_stc_w = 410\nv_mp = 31.25\ni_mp = 13.12\nv_oc = 37.4\ni_sc = 13.95\ngamma_pct_per_k = -0.35\n\
///      length_mm = 1722\nwidth_mm = 1134\nlow_light = [[200, 0.96]]",
/// )
/// .unwrap();
/// let (module, notes) = Electrical::fit(&sheet, None)?;
/// // What the sheet states comes back: 410 W at standard test conditions, 96 % of the efficiency at 200 W/m2.
/// assert!((module.power(1000.0, 25.0) - 410.0).abs() < 0.1);
/// assert!((module.power(200.0, 25.0) - 410.0 * 0.2 * 0.96).abs() < 0.01);
/// assert!(!notes.is_empty());
/// # Ok::<(), yearlight::module::ModuleError>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Electrical {
    /// Power at standard test conditions, W.
    pub p_stc_w: f64,
    /// Where power comes from.
    pub power: Power,
    /// Where voltage comes from; none for the plain gamma model of a sheet that no curve fits.
    pub curve: Option<Curve>,
    /// Temperature coefficient of power, 1/K.
    gamma: f64,
    i_sc: f64,
    v_oc: f64,
    v_mp: f64,
    alpha: f64,
    beta: f64,
}

/// Where power comes from.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "model", rename_all = "kebab-case")]
pub enum Power {
    /// Data sheet: `a` by the efficiency form through the low-light points, `eta(G,T) = eta_stc (a + gamma (T - 25))`.
    Sheet {
        /// The form at 25 C.
        form: Efficiency,
        /// The form as a polynomial, where that is as good.
        #[serde(skip)]
        short: Option<ShortForm>,
        /// What the form leaves of the low-light points, over ln(G/1000); empty when it meets them all.
        #[serde(skip)]
        rest: Option<Monotone>,
    },
    /// Measured matrix: the efficiency form fitted to it.
    Matrix {
        /// The fitted form.
        form: Efficiency,
    },
    /// Measured matrix: bilinear interpolation of efficiency.
    MatrixBilinear {
        /// The table.
        matrix: Matrix,
    },
    /// The curve itself.
    OneDiode,
    /// `1 + gamma (T - 25)` at any light.
    Gamma,
    /// Another map bent, to ask what would have to be true: `a' = 1 + stretch (a - 1)`, `b' = b + more (T - 25)`.
    Bent {
        /// The map that is bent.
        base: Box<Power>,
        /// Factor on the departure of weak light from 1.
        stretch: f64,
        /// More temperature coefficient, 1/K.
        more_per_k: f64,
    },
}

/// Efficiency factors are bent below this.
const FLOOR: f64 = 0.3;

/// Keeps an efficiency factor above 0 and smooth: unchanged from 0.3 up, `0.09 / (0.6 - x)` below.
#[inline(always)]
fn above_zero(x: f64) -> f64 {
    let d = 2.0 * FLOOR - x;
    let d = if d > FLOOR { d } else { FLOOR };
    if x >= FLOOR { x } else { FLOOR * FLOOR / d }
}

/// `1 + q` for `q >= -0.5`, `-0.25/q` below: above 0, smooth, rising in `q`.
#[inline(always)]
fn soft(q: f64) -> f64 {
    let d = if q < -0.5 { q } else { -0.5 };
    if q >= -0.5 { 1.0 + q } else { -0.25 / d }
}

/// `x / divisor(a)`: the low-light factor divides a heat term, unchanged from 0.6 up, below that as `0.4 + 0.04/(0.8 - a)`,
/// not below 0.4, smooth. It keeps cold dawns of a module that is weak in low light from being lifted above what the
/// curve could give.
#[inline(always)]
fn over_low_light(x: f64, a: f64) -> f64 {
    let d = 0.8 - a;
    let plain = a >= 0.6;
    let (top, bottom) = if plain { (1.0, a) } else { (d, 0.4 * d + 0.04) };
    x * top / bottom
}

wide! {
    /// The form at 25 C without its floor; how many values lie below the floor's bend.
    fn form_at_25(s: &[f64], form: &Efficiency, out: &mut [f64]) -> u64 {
        let n = out.len();
        let s = &s[..n];
        let scale = form.x.exp();
        let inverse = 1.0 / (scale + 1.0).ln();
        let mut low = 0;
        for j in 0..n {
            let v = maths::ln(s[j] * scale + 1.0) * inverse;
            let a = (1.0 + form.k_rs + form.k_rsh) * v - form.k_rs * s[j] - form.k_rsh * v * v;
            low += u64::from(a < FLOOR);
            out[j] = a;
        }
        low
    }
}

wide! {
    /// [`form_at_25`] by its polynomial.
    fn short_form_at_25(light: &Shares<'_>, form: &ShortForm, out: &mut [f64]) -> u64 {
        let n = out.len();
        let (s, ln_s) = (&light.s[..n], &light.ln_s[..n]);
        let mut low = 0;
        for j in 0..n {
            let a = form.at(s[j], ln_s[j]);
            low += u64::from(a < FLOOR);
            out[j] = a;
        }
        low
    }
}

wide! {
    fn raise_above_zero(out: &mut [f64]) {
        for a in out.iter_mut() {
            *a = above_zero(*a);
        }
    }
}

wide! {
    /// `b` of the sheet model as far as it needs no [`soft`]; how many values do.
    fn sheet_heat(a: &[f64], t_cell: &[f64], gamma: f64, out: &mut [f64]) -> u64 {
        let n = out.len();
        let (a, t_cell) = (&a[..n], &t_cell[..n]);
        let mut low = 0;
        for j in 0..n {
            let q = over_low_light(gamma * (t_cell[j] - T_STC), a[j]);
            low += u64::from(q < -0.5);
            out[j] = 1.0 + q;
        }
        low
    }
}

wide! {
    fn gamma_heat(t_cell: &[f64], gamma: f64, out: &mut [f64]) {
        for (b, t) in out.iter_mut().zip(t_cell) {
            *b = soft(gamma * (*t - T_STC));
        }
    }
}

wide! {
    /// [`sheet_heat`] of any values.
    fn soft_sheet_heat(a: &[f64], t_cell: &[f64], gamma: f64, out: &mut [f64]) {
        let n = out.len();
        let (a, t_cell) = (&a[..n], &t_cell[..n]);
        for j in 0..n {
            out[j] = soft(over_low_light(gamma * (t_cell[j] - T_STC), a[j]));
        }
    }
}

wide! {
    fn form_heat(s: &[f64], t_cell: &[f64], form: &Efficiency, out: &mut [f64]) {
        let n = out.len();
        let (s, t_cell) = (&s[..n], &t_cell[..n]);
        let scale = form.x.exp();
        let inverse = 1.0 / (scale + 1.0).ln();
        let k = 1.0 + form.k_rs + form.k_rsh;
        for j in 0..n {
            let s = s[j];
            let v0 = maths::ln(s * scale + 1.0) * inverse;
            let v = maths::ln(s * scale * maths::exp(-form.tc * (t_cell[j] - T_STC)) + 1.0) * inverse;
            let there = k * v0 - form.k_rs * s - form.k_rsh * v0 * v0;
            let here = k * v - form.k_rs * s - form.k_rsh * v * v;
            out[j] = soft(over_low_light(here - there, above_zero(there)));
        }
    }
}

/// Steps that are worked on together where a scratch column is needed.
const BLOCK: usize = 256;

/// Power of the curve over that of the sheet at the same share of light is held above this: a curve in deep weak light may
/// end in nothing.
const LEAST_ETA: f64 = 1e-6;

wide! {
    /// Voltage of the curve times the square root of the model's power over the curve's own (`p`, W).
    fn scale_voltage(s: &[f64], a: &[f64], b: &[f64], p: &[f64], per_w: f64, v: &mut [f64]) {
        let n = v.len();
        let (s, a, b, p) = (&s[..n], &a[..n], &b[..n], &p[..n]);
        for j in 0..n {
            let own = p[j] * per_w;
            let least = LEAST_ETA * s[j];
            let own = if own > least { own } else { least };
            let wanted = a[j] * b[j] * s[j];
            let (low, high) = (SCALE.0 * own, SCALE.1 * own);
            let wanted = if wanted > low { wanted } else { low };
            let wanted = if wanted < high { wanted } else { high };
            // sqrt(wanted / own)
            v[j] *= wanted * maths::reciprocal_root(wanted * own);
        }
    }
}

wide! {
    /// In: power of the curve, W. Out: its efficiency over that of the sheet.
    fn efficiency_of(s: &[f64], per_w: f64, p: &mut [f64]) {
        for (p, s) in p.iter_mut().zip(s) {
            let x = *p * per_w / s;
            *p = if x > LEAST_ETA { x } else { LEAST_ETA };
        }
    }
}

/// Hands out the shares of light block by block, with the span of each.
fn by_shares(g: &[f64], mut each: impl FnMut(&Shares<'_>, Range<usize>)) {
    let (mut s, mut ln_s, mut root) = ([0.0; BLOCK], [0.0; BLOCK], [0.0; BLOCK]);
    for (k, g) in g.chunks(BLOCK).enumerate() {
        let (s, ln_s, root) = (&mut s[..g.len()], &mut ln_s[..g.len()], &mut root[..g.len()]);
        shares(g, s, ln_s, root);
        each(&Shares { s, ln_s, root }, k * BLOCK..k * BLOCK + g.len());
    }
}

impl Electrical {
    /// The model that the record supports: a matrix gives the efficiency form fitted to it; a sheet gives power from
    /// gamma and the low-light points; `electrical` of the sheet overrides. Voltage comes from a one-diode curve fitted
    /// to the sheet in every case.
    ///
    /// The notes name the model, its measured error and every default taken.
    pub fn fit(sheet: &ModuleSheet, matrix: Option<&Matrix>) -> Result<(Electrical, Vec<Note>), ModuleError> {
        super::refuse_impossible(sheet)?;
        let mut notes = Vec::new();
        let default = if matrix.is_some() { "matrix" } else { "sheet" };
        let name = sheet.electrical.as_deref().unwrap_or(default);
        let gamma = sheet.gamma_pct_per_k / 100.0;
        let (alpha, beta) = coefficients(sheet);
        let curve = match name {
            "one-diode-given" => {
                let given = sheet.one_diode.as_ref().ok_or_else(|| {
                    ModuleError::value(
                        "one_diode",
                        "missing",
                        "the five parameters, since electrical = \"one-diode-given\"",
                        "Give one_diode = { light_current_a, saturation_current_a, series_ohm, shunt_ohm, modified_ideality_v }.",
                    )
                })?;
                Some(Curve::given(sheet, given)?)
            }
            "gamma" => Curve::fit(sheet).ok(),
            _ => Some(Curve::fit(sheet)?),
        };
        if curve.is_some() && name != "one-diode-given" {
            for (key, value, taken) in [("alpha", sheet.alpha_pct_per_k, alpha), ("beta", sheet.beta_pct_per_k, beta)] {
                if value.is_none() {
                    notes.push(Note::quiet(
                        &format!("module.{key}-default"),
                        format!(
                            "The sheet gives no {key}_pct_per_k; {:.3} %/K, typical of the technology, is taken.",
                            100.0 * taken
                        ),
                    ));
                }
            }
        }
        let need = || {
            ModuleError::value(
                "electrical",
                format!("\"{name}\" without a matrix"),
                "a measured matrix beside it",
                "Give matrix = \"<file>.csv\" (columns g,t,p), or leave electrical out.",
            )
        };
        let v_mp = match (&curve, name) {
            (Some(curve), "one-diode-given") => curve.stc.points().v_mp,
            _ => sheet.v_mp,
        };
        let mut model = Electrical {
            p_stc_w: sheet.p_stc_w,
            power: Power::Gamma,
            curve,
            gamma,
            i_sc: sheet.i_sc,
            v_oc: sheet.v_oc,
            v_mp,
            alpha,
            beta,
        };
        model.power = match name {
            "sheet" => model.sheet_power(sheet, &mut notes)?,
            "matrix" => Power::Matrix { form: Efficiency::to_matrix(matrix.ok_or_else(need)?)? },
            "matrix-bilinear" => Power::MatrixBilinear { matrix: matrix.ok_or_else(need)?.clone() },
            "one-diode" | "one-diode-given" => Power::OneDiode,
            "gamma" => Power::Gamma,
            other => {
                return Err(ModuleError::Unknown { key: "electrical", found: other.to_string(), expected: MODELS });
            }
        };
        model.check_rising()?;
        notes.insert(0, Note::quiet("module.electrical", format!("Electrical model: {}.", model.name())));
        if matches!(model.power, Power::OneDiode) && name == "one-diode" {
            notes.push(Note::loud(
                "module.one-diode-unsupported",
                "electrical = \"one-diode\": the textbook curve knows nothing of this module's weak light; on ten measured \
                 crystalline modules it flattered a cloudy year by 4.5 %. Leave electrical out for the default.",
            ));
        }
        Ok((model, notes))
    }

    /// True when power comes from a measured map or the curve as a whole, not from gamma and low-light points.
    pub fn by_map(&self) -> bool {
        !matches!(self.power, Power::Sheet { .. } | Power::Gamma)
    }

    /// Mean temperature coefficient of power from 25 to 65 C at 1000 W/m2, 1/K, whatever the model.
    pub fn gamma_of_map(&self) -> f64 {
        let mut b = [1.0];
        self.heat(&[G_STC], &[T_STC + 40.0], &mut b);
        (b[0] - 1.0) / 40.0
    }

    /// The model with other low-light points, `sheet`'s, or a map whose ratio at 200 W/m2 is moved to `ratio` and the
    /// rest in proportion. The curve does not depend on them. Nothing where that cannot be.
    pub(crate) fn with_low_light(&self, sheet: &ModuleSheet, ratio: f64) -> Option<Electrical> {
        let mut model = self.clone();
        match self.power {
            Power::Sheet { .. } => model.power = self.sheet_power(sheet, &mut Vec::new()).ok()?,
            Power::Gamma => return None,
            _ => {
                let now = self.one(200.0, T_STC).0 - 1.0;
                let stretch = (now.abs() > 1e-3).then(|| (ratio - 1.0) / now)?;
                model.power = Power::Bent { base: Box::new(self.power.clone()), stretch, more_per_k: 0.0 };
            }
        }
        model.check_rising().ok()?;
        Some(model)
    }

    /// The model with another temperature coefficient of power, 1/K; of a map, with another mean one from 25 to 65 C.
    pub(crate) fn with_gamma(&self, gamma: f64) -> Option<Electrical> {
        if self.by_map() {
            let more_per_k = gamma - self.gamma_of_map();
            let power = Power::Bent { base: Box::new(self.power.clone()), stretch: 1.0, more_per_k };
            return Some(self.with_power(&power));
        }
        let mut model = Electrical { gamma, ..self.clone() };
        if let Some(curve) = &mut model.curve {
            curve.with_gamma(self.p_stc_w, gamma);
        }
        Some(model)
    }

    /// The efficiency form through the low-light points.
    fn sheet_power(&self, sheet: &ModuleSheet, notes: &mut Vec<Note>) -> Result<Power, ModuleError> {
        let mut points: Vec<[f64; 2]> = Vec::new();
        for [g, eta] in &sheet.low_light {
            if !((5.0..=1500.0).contains(g) && (0.3..=1.3).contains(eta)) {
                return Err(ModuleError::value(
                    "low_light",
                    format!("[{g}, {eta}]"),
                    "irradiance 5 to 1500 W/m2 and efficiency over that at STC 0.3 to 1.3",
                    "Write [200, 0.96] for 96 % of the STC efficiency at 200 W/m2.",
                ));
            }
            if (g - G_STC).abs() < 1e-6 {
                if (eta - 1.0).abs() > 1e-6 {
                    return Err(ModuleError::value(
                        "low_light",
                        format!("[{g}, {eta}]"),
                        "1 at 1000 W/m2 by definition",
                        "Divide all points by the value at 1000 W/m2.",
                    ));
                }
                continue;
            }
            points.push([g / G_STC, *eta]);
        }
        points.sort_by(|a, b| a[0].total_cmp(&b[0]));
        if let Some(pair) = points.windows(2).find(|w| w[0][0] == w[1][0]) {
            return Err(ModuleError::value(
                "low_light",
                format!("two points at {} W/m2", pair[0][0] * G_STC),
                "each irradiance once",
                "Keep one of them.",
            ));
        }
        let k_rs = self.curve.as_ref().map_or(0.06, |c| {
            let at = c.stc.points();
            (at.i_mp * c.stc.r_s / at.v_mp).clamp(0.02, 0.12)
        });
        let mut shape: Vec<[f64; 2]> = points.iter().copied().filter(|p| p[0] < 0.85).collect();
        if shape.iter().all(|p| p[0] > 0.65) {
            let taken = typical::of(sheet.technology).low_light_200.typical;
            shape = vec![[0.2, taken]];
            let what = if sheet.technology.is_some() { "the technology" } else { "p-type passivated silicon" };
            notes.push(Note::loud(
                "module.low-light-default",
                format!(
                    "The sheet says nothing of weak light: {taken} of the STC efficiency at 200 W/m2, typical of {what}, \
                     is taken. Give low_light = [[200, ...]] or a matrix; a claim about weak light cannot rest on this."
                ),
            ));
        }
        let form = Efficiency::to_points(&shape, k_rs);
        let mut knots: Vec<[f64; 2]> = points.iter().map(|p| [p[0].ln(), p[1] - form.at(p[0], T_STC)]).collect();
        let exact = knots.iter().all(|k| k[1].abs() < 1e-13);
        knots.push([0.0, 0.0]);
        knots.sort_by(|a, b| a[0].total_cmp(&b[0]));
        Ok(Power::Sheet { form, short: ShortForm::of(&form), rest: (!exact).then(|| Monotone::through(&knots)) })
    }

    /// Refuses a record whose power does not rise with light at 25 C.
    fn check_rising(&self) -> Result<(), ModuleError> {
        // 5 to 1300 W/m2 in even steps of the logarithm.
        let step = 260.0_f64.powf(1.0 / 240.0);
        let g: Vec<f64> = std::iter::successors(Some(5.0), |g| Some(g * step)).take(241).collect();
        let mut a = vec![0.0; g.len()];
        self.low_light(&g, &mut a);
        for j in 1..g.len() {
            let rises = g[j] * a[j] > g[j - 1] * a[j - 1];
            if !rises {
                return Err(ModuleError::value(
                    "low_light or matrix",
                    format!("values by which power does not rise between {:.0} and {:.0} W/m2", g[j - 1], g[j]),
                    "power that rises with light",
                    "Check the points against the test report: efficiency over that at 1000 W/m2, as a share (0.96).",
                ));
            }
        }
        Ok(())
    }

    /// `a(G) = eta(G, 25 C)/eta_stc`, above 0 at any light; held below 1 W/m2 and above 1600 W/m2.
    pub fn low_light(&self, g_eff: &[f64], out: &mut [f64]) {
        by_shares(g_eff, |light, span| self.low_light_of(light, &mut out[span]));
    }

    /// [`Electrical::low_light`] of light whose shares are known.
    pub(crate) fn low_light_of(&self, light: &Shares<'_>, out: &mut [f64]) {
        match &self.power {
            Power::Sheet { form, short, rest } => {
                let low = match short {
                    Some(short) => short_form_at_25(light, short, out),
                    None => form_at_25(light.s, form, out),
                };
                // The floor counts for the form alone too.
                if low > 0 {
                    raise_above_zero(out);
                }
                if let Some(rest) = rest {
                    rest.add(light.ln_s, out);
                    if maths::lowest(out) < FLOOR {
                        raise_above_zero(out);
                    }
                }
            }
            Power::Matrix { form } => {
                if form_at_25(light.s, form, out) > 0 {
                    raise_above_zero(out);
                }
            }
            Power::MatrixBilinear { matrix } => {
                for (a, s) in out.iter_mut().zip(light.s) {
                    *a = matrix.bilinear(s * G_STC, T_STC);
                }
            }
            Power::OneDiode => {
                let (warm, mut v) = ([T_STC; BLOCK], [0.0; BLOCK]);
                for (k, out) in out.chunks_mut(BLOCK).enumerate() {
                    let n = out.len();
                    self.curve_power(&light.cut(k * BLOCK..k * BLOCK + n), &warm[..n], out, &mut v[..n]);
                }
            }
            Power::Gamma => out.fill(1.0),
            Power::Bent { base, stretch, .. } => {
                self.with_power(base).low_light_of(light, out);
                for a in out.iter_mut() {
                    *a = above_zero(1.0 + stretch * (*a - 1.0));
                }
            }
        }
    }

    fn with_power(&self, power: &Power) -> Electrical {
        Electrical { power: power.clone(), ..self.clone() }
    }

    /// `b(G,T) = eta(G,T)/eta(G,25)`, above 0.
    pub fn heat(&self, g_eff: &[f64], t_cell: &[f64], out: &mut [f64]) {
        let mut a = [0.0; BLOCK];
        by_shares(g_eff, |light, span| {
            let a = &mut a[..span.len()];
            self.low_light_of(light, a);
            self.heat_of(light, a, &t_cell[span.clone()], &mut out[span]);
        });
    }

    /// [`Electrical::heat`] where the model's own `a` is known already.
    pub(crate) fn heat_of(&self, light: &Shares<'_>, a: &[f64], t_cell: &[f64], out: &mut [f64]) {
        match &self.power {
            Power::Sheet { .. } => {
                if sheet_heat(a, t_cell, self.gamma, out) > 0 {
                    soft_sheet_heat(a, t_cell, self.gamma, out);
                }
            }
            Power::Matrix { form } => form_heat(light.s, t_cell, form, out),
            Power::MatrixBilinear { matrix } => {
                for ((b, s), t) in out.iter_mut().zip(light.s).zip(t_cell) {
                    let g = s * G_STC;
                    *b = matrix.bilinear(g, *t) / matrix.bilinear(g, T_STC);
                }
            }
            Power::OneDiode => {
                let mut v = [0.0; BLOCK];
                for (k, out) in out.chunks_mut(BLOCK).enumerate() {
                    let span = k * BLOCK..k * BLOCK + out.len();
                    self.curve_power(&light.cut(span.clone()), &t_cell[span], out, &mut v[..out.len()]);
                }
                for (b, a) in out.iter_mut().zip(a) {
                    *b /= a;
                }
            }
            Power::Gamma => gamma_heat(t_cell, self.gamma, out),
            Power::Bent { base, more_per_k, .. } => {
                let base = self.with_power(base);
                let mut own = [0.0; BLOCK];
                for (k, out) in out.chunks_mut(BLOCK).enumerate() {
                    let span = k * BLOCK..k * BLOCK + out.len();
                    let (light, own) = (light.cut(span.clone()), &mut own[..out.len()]);
                    base.low_light_of(&light, own);
                    base.heat_of(&light, own, &t_cell[span], out);
                }
                for (b, t) in out.iter_mut().zip(t_cell) {
                    *b = soft(*b - 1.0 + more_per_k * (t - T_STC));
                }
            }
        }
    }

    /// True when `a` of the two is the same at every light.
    pub(crate) fn same_low_light_model(&self, other: &Electrical) -> bool {
        let by_curve = |p: &Power| match p {
            Power::Bent { base, .. } => matches!(**base, Power::OneDiode),
            other => matches!(other, Power::OneDiode),
        };
        !by_curve(&self.power) && self.power == other.power
    }

    /// Voltage at maximum power, V, above 0.
    pub fn v_mp(&self, g_eff: &[f64], t_cell: &[f64], out: &mut [f64]) {
        let (mut a, mut b) = ([0.0; BLOCK], [0.0; BLOCK]);
        by_shares(g_eff, |light, span| {
            let (a, b) = (&mut a[..span.len()], &mut b[..span.len()]);
            self.operate_of(light, &t_cell[span.clone()], a, b, &mut out[span]);
        });
    }

    /// Voltage of the curve, scaled to the power model's own `a b`.
    pub(crate) fn voltage_of(&self, light: &Shares<'_>, t_cell: &[f64], a: &[f64], b: &[f64], out: &mut [f64]) {
        let Some(curve) = &self.curve else {
            for (v, t) in out.iter_mut().zip(t_cell) {
                *v = self.v_mp * soft((self.gamma - self.alpha) * (t - T_STC));
            }
            return;
        };
        // The curve as the model of power needs no scale.
        let by_curve = matches!(self.power, Power::OneDiode);
        if !by_curve && curve.loaded(light, t_cell, self.p_stc_w, a, b, out) == 0 {
            return;
        }
        let (mut p, mut exact) = ([0.0; BLOCK], [0.0; BLOCK]);
        for (k, v) in out.chunks_mut(BLOCK).enumerate() {
            let span = k * BLOCK..k * BLOCK + v.len();
            let (light, t_cell, a, b) = (light.cut(span.clone()), &t_cell[span.clone()], &a[span.clone()], &b[span]);
            if by_curve {
                curve.columns(&light, t_cell, &mut p[..v.len()], v);
                continue;
            }
            let (p, exact) = (&mut p[..v.len()], &mut exact[..v.len()]);
            curve.columns(&light, t_cell, p, exact);
            scale_voltage(light.s, a, b, p, 1.0 / self.p_stc_w, exact);
            // Step by step, so that a voltage does not depend on its neighbours.
            for j in 0..v.len() {
                if !curve.is_loaded(light.root[j], t_cell[j], self.p_stc_w, a[j] * b[j]) {
                    v[j] = exact[j];
                }
            }
        }
    }

    /// All three at once: `a`, `b` and voltage at maximum power.
    pub fn operate(&self, g_eff: &[f64], t_cell: &[f64], a: &mut [f64], b: &mut [f64], v_mp: &mut [f64]) {
        by_shares(g_eff, |light, span| {
            let (a, b) = (&mut a[span.clone()], &mut b[span.clone()]);
            self.operate_of(light, &t_cell[span.clone()], a, b, &mut v_mp[span]);
        });
    }

    /// [`Electrical::operate`] of light whose shares are known.
    pub(crate) fn operate_of(
        &self,
        light: &Shares<'_>,
        t_cell: &[f64],
        a: &mut [f64],
        b: &mut [f64],
        v_mp: &mut [f64],
    ) {
        self.low_light_of(light, a);
        if matches!(self.power, Power::OneDiode) {
            // Power and voltage in one go.
            self.curve_power(light, t_cell, b, v_mp);
            for (b, a) in b.iter_mut().zip(a.iter()) {
                *b /= a;
            }
            return;
        }
        self.heat_of(light, a, t_cell, b);
        self.voltage_of(light, t_cell, a, b, v_mp);
    }

    /// Efficiency of the unscaled curve over that of the sheet, and its voltage.
    fn curve_power(&self, light: &Shares<'_>, t: &[f64], eta: &mut [f64], v: &mut [f64]) {
        if let Some(curve) = &self.curve {
            curve.columns(light, t, eta, v);
            efficiency_of(light.s, 1.0 / self.p_stc_w, eta);
        } else {
            eta.fill(1.0);
            v.fill(self.v_mp);
        }
    }

    /// `a` and `b` at one point.
    fn one(&self, g: f64, t: f64) -> (f64, f64) {
        let (mut a, mut b) = ([0.0], [0.0]);
        by_shares(&[g], |light, _| {
            self.low_light_of(light, &mut a);
            self.heat_of(light, &a, &[t], &mut b);
        });
        (a[0], b[0])
    }

    /// Power at one point, W.
    pub fn power(&self, g: f64, t: f64) -> f64 {
        if g <= 0.0 || !g.is_finite() {
            return 0.0;
        }
        let (a, b) = self.one(g, t);
        self.p_stc_w * g / G_STC * a * b
    }

    /// Factor on voltage and on current of the curve that brings it to the model's power.
    fn scale(&self, g: f64, t: f64, curve: &Curve) -> f64 {
        self.scaled(&curve.points(g, t), g, t).0
    }

    /// [`Electrical::scale`] from the curve's own points, and power at maximum, W.
    fn scaled(&self, at: &OperatingPoint, g: f64, t: f64) -> (f64, f64) {
        if matches!(self.power, Power::OneDiode) || at.p_mp <= 0.0 {
            return (1.0, at.p_mp);
        }
        let power = self.power(g, t);
        let f = (power / at.p_mp).clamp(SCALE.0, SCALE.1).sqrt();
        (f, if f == 1.0 { at.p_mp } else { power })
    }

    /// Short circuit, open circuit and maximum power at `g` W/m2 and cell temperature `t` C, converged.
    pub fn point(&self, g: f64, t: f64) -> OperatingPoint {
        if g <= 0.0 || !g.is_finite() || !t.is_finite() {
            return OperatingPoint::DARK;
        }
        match &self.curve {
            Some(curve) => {
                let at = curve.points(g, t);
                let (f, p_mp) = self.scaled(&at, g, t);
                let v_mp = at.v_mp * f;
                OperatingPoint { i_sc: at.i_sc * f, v_oc: at.v_oc * f, i_mp: p_mp / v_mp, v_mp, p_mp }
            }
            None => {
                let p_mp = self.power(g, t);
                let v_mp = self.v_mp * soft((self.gamma - self.alpha) * (t - T_STC));
                let v_oc = self.v_oc * soft(self.beta * (t - T_STC));
                let i_sc = self.i_sc * g / G_STC * (1.0 + self.alpha * (t - T_STC));
                OperatingPoint { i_sc, v_oc, i_mp: p_mp / v_mp, v_mp, p_mp }
            }
        }
    }

    /// Current at a terminal voltage, A; 0 or below beyond the open-circuit voltage.
    pub fn current_at(&self, v: f64, g: f64, t: f64) -> f64 {
        if g <= 0.0 || !(g + t + v).is_finite() {
            return 0.0;
        }
        match &self.curve {
            Some(curve) => {
                let low = held_g(g);
                let f = self.scale(g, t, curve);
                curve.parameters(low, t).current(v / f) * (g / low) * f
            }
            None => {
                // Without a curve: level to V_mp, then straight to V_oc.
                let at = self.point(g, t);
                if v <= at.v_mp { at.i_mp } else { at.i_mp * (at.v_oc - v) / (at.v_oc - at.v_mp).max(1e-9) }
            }
        }
    }

    /// [`Electrical::current_at`] up to a factor that depends on `g` and `t` alone, without the search for that factor.
    pub fn shape_at(&self, v: f64, g: f64, t: f64) -> f64 {
        match &self.curve {
            Some(curve) if g > 0.0 && t.is_finite() && v.is_finite() => {
                curve.parameters(g.max(G_STC * S_MIN), t).current(v)
            }
            _ => self.current_at(v, g, t),
        }
    }

    /// The one-diode curve that [`Electrical::shape_at`] follows at a light and a temperature; none without a curve or
    /// in the dark.
    pub fn diode_at(&self, g: f64, t: f64) -> Option<OneDiode> {
        let curve = self.curve.as_ref().filter(|_| g > 0.0 && g.is_finite() && t.is_finite())?;
        Some(curve.parameters(g.max(G_STC * S_MIN), t))
    }

    /// `n` points `[V, A]` of the curve from short circuit to open circuit, evenly spaced in voltage.
    pub fn curve(&self, g: f64, t: f64, n: usize) -> Vec<[f64; 2]> {
        let v_oc = self.point(g, t).v_oc;
        let last = n.max(2) - 1;
        (0..=last)
            .map(|j| {
                let v = v_oc * j as f64 / last as f64;
                [v, if j == last { 0.0 } else { self.current_at(v, g, t).max(0.0) }]
            })
            .collect()
    }

    /// Voltage at maximum power at standard test conditions, V.
    pub fn v_mp_stc(&self) -> f64 {
        self.v_mp
    }

    /// Open-circuit voltage at 1000 W/m2 and a cold cell temperature, V, from the curve (beta met exactly).
    pub fn v_oc_at(&self, t: f64) -> f64 {
        match &self.curve {
            Some(curve) => curve.parameters(G_STC, t).v_oc(),
            None => self.v_oc * (1.0 + self.beta * (t - T_STC)),
        }
    }

    /// Relative change of voltage at maximum power between 25 and 75 C at 1000 W/m2, 1/K.
    ///
    /// From the fitted curve; without one, gamma minus alpha (alpha stands in for the coefficient of current at maximum
    /// power, which sheets do not print).
    pub fn v_mp_coefficient(&self) -> f64 {
        match &self.curve {
            Some(curve) => {
                let v_mp = |t: f64| {
                    let at = curve.points(G_STC, t);
                    at.v_mp * self.scaled(&at, G_STC, t).0
                };
                (v_mp(75.0) / v_mp(T_STC) - 1.0) / 50.0
            }
            None => self.gamma - self.alpha,
        }
    }

    /// Relative change of current at maximum power between 25 and 75 C at 1000 W/m2, 1/K.
    pub fn i_mp_coefficient(&self) -> f64 {
        (self.point(G_STC, 75.0).i_mp / self.point(G_STC, T_STC).i_mp - 1.0) / 50.0
    }

    /// Name of the model with its measured error, for the report.
    pub fn name(&self) -> String {
        match &self.power {
            Power::Sheet { .. } => "power from gamma and low-light points by the efficiency form of Driesse and Stein \
                (2020), voltage from a one-diode curve (Villalva et al. 2009); 0.4 to 0.9 % of power on \
                measured crystalline modules, 1.2 to 2.3 % on thin film"
                .to_string(),
            Power::Matrix { .. } => "five-parameter efficiency form (Driesse and Stein 2020) fitted to the measured \
                matrix, voltage from a one-diode curve; 0.3 % of power on measured crystalline modules left out one by one, \
                0.9 % on thin film"
                .to_string(),
            Power::MatrixBilinear { .. } => "bilinear interpolation of the measured matrix (after IEC 61853-3), voltage \
                from a one-diode curve; 0.7 % of power on measured crystalline modules left out one by one, 1.0 % on thin film"
                .to_string(),
            Power::OneDiode => "one-diode curve alone; 3 % of power on measured crystalline modules".to_string(),
            Power::Gamma => "plain gamma, no weak-light loss; no claim about weak light possible".to_string(),
            Power::Bent { base, .. } => format!("{}, bent to ask what would have to be true", self.with_power(base).name()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    #[test]
    fn a_bent_map_has_the_coefficient_and_the_ratio_asked_for() {
        let mut sheet: ModuleSheet = toml::from_str(
            "p_stc_w = 410\nv_mp = 31.25\ni_mp = 13.12\nv_oc = 37.4\ni_sc = 13.95\ngamma_pct_per_k = -0.35\n\
             beta_pct_per_k = -0.275\nlow_light = [[200, 0.96]]\nlength_mm = 1722\nwidth_mm = 1134",
        )
        .unwrap();
        sheet.electrical = Some("one-diode".into());
        let map = Electrical::fit(&sheet, None).unwrap().0;
        assert!(map.by_map());
        let bent = map.with_gamma(-0.0030).unwrap();
        assert!((bent.gamma_of_map() + 0.0030).abs() < 1e-12);
        assert_eq!(bent.one(200.0, T_STC).0, map.one(200.0, T_STC).0);
        let bent = map.with_low_light(&sheet, 0.95).unwrap();
        assert!((bent.one(200.0, T_STC).0 - 0.95).abs() < 1e-12);
        assert!((bent.gamma_of_map() - map.gamma_of_map()).abs() < 1e-12);
        // Columns of more than a block say what each value says.
        let g: Vec<f64> = (0..600).map(|k| 20.0 + 1.7 * f64::from(k)).collect();
        let t: Vec<f64> = (0..600).map(|k| -10.0 + 0.13 * f64::from(k)).collect();
        let (mut a, mut b, mut v) = (vec![0.0; 600], vec![0.0; 600], vec![0.0; 600]);
        bent.operate(&g, &t, &mut a, &mut b, &mut v);
        for k in 0..600 {
            let one = bent.one(g[k], t[k]);
            assert!((a[k] - one.0).abs() < 1e-6 && (b[k] - one.1).abs() < 1e-6, "{k}: {} {} {one:?}", a[k], b[k]);
        }
        // Nothing bent, nothing moved.
        let same = map.with_gamma(map.gamma_of_map()).unwrap();
        assert!((same.power(700.0, 50.0) / map.power(700.0, 50.0) - 1.0).abs() < 1e-12);
        // A model by the sheet is what a fit of the changed sheet is.
        sheet.electrical = None;
        let plain = Electrical::fit(&sheet, None).unwrap().0;
        sheet.gamma_pct_per_k = -0.30;
        assert_eq!(plain.with_gamma(-0.30 / 100.0).unwrap(), Electrical::fit(&sheet, None).unwrap().0);
        sheet.low_light = vec![[200.0, 0.97]];
        let weak = Electrical::fit(&sheet, None).unwrap().0;
        assert_eq!(plain.with_gamma(-0.30 / 100.0).unwrap().with_low_light(&sheet, 0.97).unwrap(), weak);
    }

    // Each sheet breaks one of the six bounds and keeps the others.
    #[test]
    fn a_curve_needs_four_points_that_belong_together() {
        let fit = |v_mp: f64, v_oc: f64, i_sc: f64| {
            let mut sheet = samples::p410();
            (sheet.v_mp, sheet.i_mp, sheet.v_oc, sheet.i_sc) = (v_mp, sheet.p_stc_w / v_mp, v_oc, i_sc);
            Curve::fit(&sheet).map(|_| ())
        };
        fit(31.25, 37.4, 13.95).unwrap();
        for (v_mp, v_oc, i_sc) in [
            (38.0, 37.4, 13.95),
            (31.25, 63.0, 13.95),
            (31.25, 37.4, 13.0),
            (31.25, 37.4, 26.5),
            (36.5, 37.4, 11.9),
            (31.25, 60.0, 25.0),
        ] {
            let refused = fit(v_mp, v_oc, i_sc).unwrap_err().to_string();
            assert!(refused.contains("fill factor"), "{v_mp} {v_oc} {i_sc}: {refused}");
        }
    }

    // Worked by hand from the forms that the comments state.
    #[test]
    fn floors_meet_and_stay_above_zero() {
        for (x, want) in [(1.1, 1.1), (0.3, 0.3), (0.0, 0.15), (-0.3, 0.1), (-1.2, 0.05)] {
            near(above_zero(x), want, 1e-15, "above zero");
        }
        for (q, want) in [(0.2, 1.2), (-0.4, 0.6), (-0.5, 0.5), (-1.0, 0.25), (-2.5, 0.1)] {
            near(soft(q), want, 1e-15, "soft");
        }
        for (a, want) in [(1.0, 1.0), (0.6, 1.0 / 0.6), (0.4, 2.0), (0.0, 1.0 / 0.45), (-0.8, 1.0 / 0.425)] {
            near(over_low_light(1.0, a), want, 1e-15, "over weak light");
        }
    }

    #[test]
    fn points_in_weak_light_have_bounds_and_tell_when_they_are_missing() {
        let fit = |points: &str| {
            let text = format!(
                "p_stc_w = 410\nv_mp = 31.25\ni_mp = 13.12\nv_oc = 37.4\ni_sc = 13.95\ngamma_pct_per_k = -0.35\n\
                 beta_pct_per_k = -0.275\nlow_light = {points}\nlength_mm = 1722\nwidth_mm = 1134"
            );
            Electrical::fit(&toml::from_str(&text).unwrap(), None)
        };
        for refused in [
            "[[4.9, 0.9]]",
            "[[1501, 1.0]]",
            "[[200, 0.29]]",
            "[[200, 1.31]]",
            "[[1000, 0.99]]",
            "[[200, 0.96], [200, 0.97]]",
        ] {
            assert!(fit(refused).unwrap_err().to_string().contains("low_light"), "{refused}");
        }
        let missing = |points: &str| fit(points).unwrap().1.iter().any(|n| n.code == "module.low-light-default");
        // What a sheet says of 700 W/m2 and above says nothing of weak light.
        assert!(missing("[]") && missing("[[700, 0.995]]") && missing("[[900, 0.998], [1000, 1]]"));
        assert!(!missing("[[600, 0.99]]") && !missing("[[200, 0.96], [700, 0.995]]"));
    }

    /// The demo's first module by one of the models.
    fn fitted(name: &str) -> (Electrical, Vec<Note>) {
        let mut sheet = samples::p410();
        sheet.electrical = Some(name.to_string());
        Electrical::fit(&sheet, None).unwrap()
    }

    fn near(found: f64, wanted: f64, relative: f64, what: &str) {
        assert!((found / wanted - 1.0).abs() <= relative, "{what}: {found} against {wanted}");
    }

    // The sheet itself is the reference: what is fitted must be met.
    #[test]
    fn every_technology_gets_its_sheet_back() {
        for sheet in samples::sheets() {
            for name in ["sheet", "one-diode", "gamma"] {
                let mut sheet = sheet.clone();
                sheet.electrical = Some(name.to_string());
                let (model, _) = Electrical::fit(&sheet, None).unwrap_or_else(|e| panic!("{sheet:?}: {e}"));
                let at = model.point(1000.0, 25.0);
                near(at.p_mp, sheet.p_stc_w, 1e-3, "p");
                near(at.v_mp, sheet.v_mp, 1e-3, "v_mp");
                near(at.i_mp, sheet.i_mp, 1e-3, "i_mp");
                near(at.v_oc, sheet.v_oc, 1e-3, "v_oc");
                near(at.i_sc, sheet.i_sc, 1e-3, "i_sc");
                for t in [30.0, 50.0, 65.0, 75.0] {
                    let hot = model.point(1000.0, t);
                    let slope = |x: f64, y: f64| 100.0 * (x / y - 1.0) / (t - 25.0);
                    let miss = [
                        slope(hot.p_mp, at.p_mp) - sheet.gamma_pct_per_k,
                        slope(hot.v_oc, at.v_oc) - sheet.beta_pct_per_k.unwrap(),
                        slope(hot.i_sc, at.i_sc) - sheet.alpha_pct_per_k.unwrap(),
                    ];
                    assert!(miss.iter().all(|m| m.abs() < 0.005), "{:?} {name} {t} C: {miss:?}", sheet.technology);
                }
            }
        }
    }

    #[test]
    fn long_columns_of_the_curve_are_its_points() {
        let (model, _) = fitted("one-diode");
        let g: Vec<f64> = (0..600).map(|k| 30.0 + 1.9 * f64::from(k)).collect();
        let t: Vec<f64> = (0..600).map(|k| 70.0 - 0.15 * f64::from(k)).collect();
        let (mut a, mut b, mut v) = (vec![0.0; 600], vec![0.0; 600], vec![0.0; 600]);
        model.low_light(&g, &mut a);
        model.heat(&g, &t, &mut b);
        model.v_mp(&g, &t, &mut v);
        for k in 0..600 {
            let (here, warm) = (model.point(g[k], t[k]), model.point(g[k], T_STC));
            near(a[k] * 410.0 * g[k] / 1000.0, warm.p_mp, 1e-6, "at 25 C");
            near(b[k], here.p_mp / warm.p_mp, 2e-6, "heat");
            near(v[k], here.v_mp, 1e-5, "voltage");
        }
    }

    #[test]
    fn columns_agree_with_the_converged_point() {
        let mut g = Vec::new();
        let mut t = Vec::new();
        for j in 0..60 {
            for k in 0..28 {
                g.push(5.0 * 300.0_f64.powf(f64::from(j) / 59.0));
                t.push(-45.0 + 5.0 * f64::from(k));
            }
        }
        let n = g.len();
        for sheet in samples::sheets() {
            for name in ["sheet", "one-diode"] {
                let mut sheet = sheet.clone();
                sheet.electrical = Some(name.to_string());
                let (model, _) = Electrical::fit(&sheet, None).unwrap();
                let (mut a, mut b, mut v) = (vec![0.0; n], vec![0.0; n], vec![0.0; n]);
                model.operate(&g, &t, &mut a, &mut b, &mut v);
                let (mut worst_p, mut worst_v) = (0.0_f64, 0.0_f64);
                for j in 0..n {
                    let at = model.curve.as_ref().unwrap().points(g[j], t[j]);
                    let p = model.p_stc_w * g[j] / 1000.0 * a[j] * b[j];
                    let wanted = if name == "one-diode" { at.p_mp } else { model.point(g[j], t[j]).p_mp };
                    worst_p = worst_p.max((p / wanted - 1.0).abs());
                    worst_v = worst_v.max((v[j] / model.point(g[j], t[j]).v_mp - 1.0).abs());
                }
                assert!(worst_p < 1e-6 && worst_v < 1e-5, "{:?} {name}: {worst_p:e} {worst_v:e}", sheet.technology);
            }
        }
    }

    // The column against the form itself, at parameters for which every term weighs: voltage that builds up late, and
    // both losses.
    #[test]
    fn heat_of_the_form_is_its_slope_over_its_own_weak_light() {
        let form = Efficiency { x: 0.7, tc: 0.02, k_rs: 0.1, k_rsh: 0.3 };
        let (s, t) = ([0.2, 0.6, 1.0, 1.0], [60.0, 5.0, 25.0, 45.0]);
        let mut b = [0.0; 4];
        form_heat(&s, &t, &form, &mut b);
        for i in 0..4 {
            let (here, there) = (form.at(s[i], t[i]), form.at(s[i], T_STC));
            let want = soft(over_low_light(here - there, above_zero(there)));
            assert!((b[i] - want).abs() < 1e-13, "{i}: {} {want}", b[i]);
        }
        assert_eq!(b[2], 1.0);
    }

    #[test]
    fn voltage_goes_with_the_root_of_power_within_bounds() {
        // Power of the model over that of the curve: 0.5 x 0.9 x 0.8 of 400 W over 100 W is 1.44, whose root is 1.2.
        let mut v = [30.0; 4];
        let (s, a, b) = ([0.5, 0.5, 0.5, 0.5], [0.9, 0.9, 0.9, 0.9], [0.8, 0.8, 0.8, 0.8]);
        scale_voltage(&s, &a, &b, &[100.0, 1.0, 1e5, -1.0], 1.0 / 400.0, &mut v);
        let want = [36.0, 30.0 * SCALE.1.sqrt(), 30.0 * SCALE.0.sqrt(), 30.0 * SCALE.1.sqrt()];
        for (v, want) in v.iter().zip(want) {
            near(*v, want, 1e-14, "voltage");
        }
    }

    #[test]
    fn no_light_or_no_number_gives_no_current_and_no_point() {
        for name in ["sheet", "one-diode", "gamma"] {
            let (model, _) = fitted(name);
            for (g, t) in [(0.0, 25.0), (-3.0, 25.0), (f64::NAN, 25.0), (f64::INFINITY, 25.0), (800.0, f64::NAN)] {
                assert_eq!(model.point(g, t), OperatingPoint::DARK, "{name} {g} {t}");
                assert_eq!(model.current_at(20.0, g, t), 0.0, "{name} {g} {t}");
            }
            assert_eq!(model.current_at(f64::NAN, 800.0, 25.0), 0.0);
            // The curve goes through its points, whatever the model.
            let at = model.point(800.0, 40.0);
            near(model.current_at(at.v_mp, 800.0, 40.0), at.i_mp, 1e-5, "i_mp");
            near(model.current_at(0.0, 800.0, 40.0), at.i_sc, 1e-5, "i_sc");
            let between = model.current_at(0.5 * (at.v_mp + at.v_oc), 800.0, 40.0);
            assert!(between > 0.0 && between < at.i_mp, "{name}");
        }
        // Without a curve: level up to V_mp, then straight to V_oc.
        let (mut model, _) = fitted("gamma");
        model.curve = None;
        let at = model.point(800.0, 40.0);
        for (v, want) in [(0.5 * at.v_mp, at.i_mp), (at.v_mp, at.i_mp), (at.v_oc, 0.0)] {
            assert!((model.current_at(v, 800.0, 40.0) - want).abs() < 1e-12, "{v}");
        }
        near(model.current_at(at.v_oc - 0.3 * (at.v_oc - at.v_mp), 800.0, 40.0), 0.3 * at.i_mp, 1e-12, "line");
        for (g, t) in [(0.0, 25.0), (f64::INFINITY, 25.0), (800.0, f64::NAN)] {
            assert_eq!((model.point(g, t), model.current_at(20.0, g, t)), (OperatingPoint::DARK, 0.0), "{g} {t}");
        }
        // Its voltages follow the sheet: beta at open circuit, gamma less alpha at maximum power.
        near(model.v_oc_at(-10.0), 37.4 * (1.0 + 0.00275 * 35.0), 1e-12, "v_oc");
        let per_k = (-0.350 - 0.045) / 100.0;
        near(model.v_mp_coefficient(), per_k, 1e-12, "coefficient");
        let mut v = [0.0; 2];
        model.v_mp(&[800.0, 300.0], &[25.0, 45.0], &mut v);
        near(v[0], 31.25, 1e-12, "v_mp");
        near(v[1], 31.25 * (1.0 + 20.0 * per_k), 1e-12, "v_mp");
    }

    #[test]
    fn coefficients_of_voltage_and_current_are_those_of_the_points() {
        for name in ["sheet", "one-diode", "gamma"] {
            let (model, notes) = fitted(name);
            let (hot, stc) = (model.point(1000.0, 75.0), model.point(1000.0, 25.0));
            near(model.v_mp_coefficient(), (hot.v_mp / stc.v_mp - 1.0) / 50.0, 1e-9, "v_mp");
            near(model.i_mp_coefficient(), (hot.i_mp / stc.i_mp - 1.0) / 50.0, 1e-9, "i_mp");
            near(model.v_oc_at(-10.0), 37.4 * (1.0 + 0.00275 * 35.0), 1e-6, "v_oc");
            // A map may give power that its curve does not: the voltage follows that.
            let form = Efficiency { x: 9.0, tc: 0.05, k_rs: 0.05, k_rsh: 0.2 };
            let map = Electrical { power: Power::Matrix { form }, ..model.clone() };
            let (hot, stc) = (map.point(1000.0, 75.0), map.point(1000.0, 25.0));
            near(map.v_mp_coefficient(), (hot.v_mp / stc.v_mp - 1.0) / 50.0, 1e-9, "v_mp of a map");
            near(hot.p_mp, 410.0 * form.at(1.0, 75.0), 1e-9, "power of a map");
            assert!((hot.v_mp / model.curve.as_ref().unwrap().points(1000.0, 75.0).v_mp - 1.0).abs() > 1e-3);
            // A curve that knows nothing of weak light is told of, the others are not.
            let warned = notes.iter().any(|n| n.code == "module.one-diode-unsupported");
            assert_eq!(warned, name == "one-diode", "{name}");
        }
    }

    // The form bends towards nothing in deep weak light; columns hold the same floor as single values.
    #[test]
    fn a_measured_map_stays_above_zero_in_deep_weak_light() {
        let form = Efficiency { x: 4.0, tc: 0.03, k_rs: 0.05, k_rsh: 0.2 };
        let (mut model, _) = fitted("sheet");
        model.power = Power::Matrix { form };
        let g = [2.0, 5.0, 8.0, 900.0];
        let mut a = [0.0; 4];
        model.low_light(&g, &mut a);
        for (a, g) in a.iter().zip(g) {
            near(*a, above_zero(form.at(g / 1000.0, T_STC)), 1e-12, "low light");
        }
        assert!(form.at(0.005, T_STC) < 0.3 && form.at(0.9, T_STC) > 0.3);
        // All in weak light, and none.
        for g in [[2.0, 3.0], [800.0, 900.0]] {
            let mut a = [0.0; 2];
            model.low_light(&g, &mut a);
            near(a[1], above_zero(form.at(g[1] / 1000.0, T_STC)), 1e-12, "low light");
        }
    }

    #[test]
    fn there_is_a_curve_only_in_light() {
        let (model, _) = fitted("sheet");
        assert!(model.diode_at(300.0, 20.0).is_some());
        for (g, t) in [(0.0, 20.0), (-1.0, 20.0), (f64::NAN, 20.0), (f64::INFINITY, 20.0), (300.0, f64::NAN)] {
            assert!(model.diode_at(g, t).is_none(), "{g} {t}");
        }
    }
}
