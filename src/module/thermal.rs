//! How warm the cells run.

use serde::Serialize;

use super::ModuleSheet;
use crate::plane::Cooling;
use crate::units::Note;
use crate::{maths, wide};

/// Heat loss factors of an open rack. Source: Faiman, Progress in Photovoltaics 16 (2008) 307-315.
pub const OPEN_RACK: (f64, f64) = (25.0, 6.84);
/// Exponent of the wind's rise with height. Source: power law for open ground, 0.14 to 0.20; from memory.
pub const WIND_EXPONENT: f64 = 0.2;
/// Height to which wind is brought for the heat loss factors of Faiman, m.
pub const WIND_HEIGHT_M: f64 = 2.0;
/// Share of the light that turns to heat or power in the cell. Source: Duffie and Beckman, 0.9; from memory.
const TAU_ALPHA: f64 = 0.9;

/// The temperature model of one module on one plane.
///
/// ```
/// use yearlight::module::{Law, Thermal};
/// // Faiman's open rack at 800 W/m2, 20 C and 1 m/s: 20 + 800/(25 + 6.84).
/// let law = Law::Faiman { u0: 25.0, u1: 6.84, scale: 1.0 };
/// let thermal = Thermal { law, wind_factor: 1.0, cell_above_back_k: 0.0, heat_capacity: 0.0 };
/// let mut t_cell = [0.0];
/// thermal.t_cell(&[800.0], &[20.0], &[1.0], &mut t_cell);
/// assert!((t_cell[0] - 45.13).abs() < 0.01);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Thermal {
    /// The equation.
    pub law: Law,
    /// Wind in the file times this is wind at the height of the law.
    pub wind_factor: f64,
    /// Cell above module temperature at 1000 W/m2, K.
    pub cell_above_back_k: f64,
    /// Heat capacity per area, J/(m2 K); 0: no inertia.
    pub heat_capacity: f64,
}

/// Module temperature from light, air and wind.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "model", rename_all = "kebab-case")]
pub enum Law {
    /// `T = T_air + f G / (u0 + u1 v)`, wind at 2 m.
    ///
    /// Source: Faiman (2008); the form of IEC 61853-2. `f` is the module's NMOT rise over that of an open rack with
    /// the paper's factors, 1 without an NMOT.
    Faiman {
        /// W/(m2 K).
        u0: f64,
        /// W s/(m3 K).
        u1: f64,
        /// Scale of the rise.
        scale: f64,
    },
    /// `T = T_air + G exp(a + b v)`, wind at 10 m.
    ///
    /// Source: King, Boyson, Kratochvil, SAND2004-3535, table 1.
    King {
        /// Logarithm of the rise per W/m2 in still air.
        a: f64,
        /// Change of it with wind, s/m.
        b: f64,
    },
}

/// Mountings of King et al. (2004), table 1: name, a, b, cell above back at 1000 W/m2.
pub const KING_MOUNTS: [(&str, f64, f64, f64); 5] = [
    ("king-glass-glass-open", -3.47, -0.0594, 3.0),
    ("king-glass-glass-roof", -2.98, -0.0471, 1.0),
    ("king-glass-polymer-open", -3.56, -0.0750, 3.0),
    ("king-glass-polymer-insulated", -2.81, -0.0455, 0.0),
    ("king-film-steel-open", -3.58, -0.113, 3.0),
];

wide! {
    fn faiman(g: &[f64], t_amb: &[f64], wind: &[f64], f: f64, u0: f64, u1: f64, d_t: f64, out: &mut [f64]) {
        let n = out.len();
        let (g, t_amb, wind) = (&g[..n], &t_amb[..n], &wind[..n]);
        for j in 0..n {
            let v = if wind[j] > 0.0 { wind[j] } else { 0.0 };
            let light = if g[j] > 0.0 { g[j] } else { 0.0 };
            out[j] = t_amb[j] + light * (f / (u0 + u1 * v) + d_t);
        }
    }
}

wide! {
    fn king(g: &[f64], t_amb: &[f64], wind: &[f64], a: f64, b: f64, d_t: f64, out: &mut [f64]) {
        let n = out.len();
        let (g, t_amb, wind) = (&g[..n], &t_amb[..n], &wind[..n]);
        for j in 0..n {
            let v = if wind[j] > 0.0 { wind[j] } else { 0.0 };
            let light = if g[j] > 0.0 { g[j] } else { 0.0 };
            out[j] = t_amb[j] + light * (maths::exp(a + b * v) + d_t);
        }
    }
}

impl Thermal {
    /// The model of a sheet on a plane, for wind measured at `wind_height_m`.
    ///
    /// The NMOT (800 W/m2, 20 C, 1 m/s beside the module, open rack) only scales the plane's own cooling: a module
    /// that runs 10 % warmer than the open rack of the paper runs 10 % warmer on every plane. A NOCT, taken at open
    /// circuit, is brought to maximum power first: rise x (1 - efficiency/0.9) (Duffie and Beckman).
    /// A temperature model of unknown name is refused by [`super::validate`]; here it counts as none.
    pub fn new(cooling: &Cooling, sheet: &ModuleSheet, wind_height_m: f64) -> Thermal {
        let height = if wind_height_m > 0.0 && wind_height_m.is_finite() { wind_height_m } else { 10.0 };
        let heat_capacity = sheet.heat_capacity_j_m2_k.unwrap_or(0.0).max(0.0);
        let named = sheet.temperature.as_deref().and_then(|name| KING_MOUNTS.iter().find(|m| m.0 == name));
        if let Some((_, a, b, d_t)) = named {
            return Thermal {
                law: Law::King { a: *a, b: *b },
                wind_factor: (10.0 / height).powf(WIND_EXPONENT),
                cell_above_back_k: sheet.cell_above_back_k.unwrap_or(*d_t),
                heat_capacity,
            };
        }
        let open_rack_rise = 800.0 / (OPEN_RACK.0 + OPEN_RACK.1);
        let rise = match (sheet.nmot_c, sheet.noct_c) {
            (Some(nmot), _) => nmot - 20.0,
            (None, Some(noct)) => (noct - 20.0) * (1.0 - sheet.efficiency() / TAU_ALPHA),
            (None, None) => open_rack_rise,
        };
        Thermal {
            law: Law::Faiman { u0: cooling.u0.max(1.0), u1: cooling.u1.max(0.0), scale: rise / open_rack_rise },
            wind_factor: (WIND_HEIGHT_M / height).powf(WIND_EXPONENT),
            cell_above_back_k: sheet.cell_above_back_k.unwrap_or(0.0),
            heat_capacity,
        }
    }

    /// Cell temperature, C, from light after incidence loss (W/m2), air temperature (C) and wind (m/s, at the file's
    /// height).
    pub fn t_cell(&self, g_eff: &[f64], t_amb: &[f64], wind: &[f64], out: &mut [f64]) {
        let d_t = self.cell_above_back_k / crate::units::G_STC;
        match self.law {
            Law::Faiman { u0, u1, scale } => {
                faiman(g_eff, t_amb, wind, scale, u0, u1 * self.wind_factor, d_t, out);
            }
            Law::King { a, b } => king(g_eff, t_amb, wind, a, b * self.wind_factor, d_t, out),
        }
    }

    /// Brings the steady temperatures of [`Thermal::t_cell`] to those of a module with inertia, in place: the mean over
    /// each step of `T' = (T_steady - T) U / C`.
    ///
    /// - `steps`: index of each value in the year; after a gap (night) the module starts at the air's temperature
    /// - `step_s`: length of a step, s
    ///
    /// `U` is the heat loss per area at that wind. One-node model; C about 11 kJ/(m2 K) for glass and polymer
    /// (Jones and Underwood, Solar Energy 70 (2001) 349-359, from memory), twice that for two panes.
    pub fn settle(&self, steps: &[u32], step_s: f64, t_amb: &[f64], wind: &[f64], t_cell: &mut [f64]) {
        if self.heat_capacity <= 0.0 || step_s <= 0.0 || !step_s.is_finite() {
            return;
        }
        // Index and end temperature of the step before.
        let mut last: Option<(u32, f64)> = None;
        for (j, value) in t_cell.iter_mut().enumerate() {
            let (Some(step), Some(air), Some(v)) = (steps.get(j), t_amb.get(j), wind.get(j)) else { break };
            let t = match last {
                Some((before, t)) if before + 1 == *step => t,
                _ => *air,
            };
            let v = v.max(0.0) * self.wind_factor;
            let u = match self.law {
                Law::Faiman { u0, u1, scale } => (u0 + u1 * v) / scale.max(0.05),
                Law::King { a, b } => (-(a + b * v)).exp(),
            };
            let x = u * step_s / self.heat_capacity;
            let decay = (-x).exp();
            let steady = *value;
            *value = steady + (t - steady) * (1.0 - decay) / x;
            last = Some((*step, steady + (t - steady) * decay));
        }
    }

    /// Name for the report.
    pub fn name(&self) -> String {
        match self.law {
            Law::Faiman { u0, u1, scale } => {
                format!("Faiman 2008, u0 {u0}, u1 {u1}, rise x {scale:.3}, wind brought to 2 m by exponent 0.2")
            }
            Law::King { a, b } => format!("King et al. 2004, a {a}, b {b}, wind at 10 m"),
        }
    }

    /// What was assumed.
    pub fn notes(sheet: &ModuleSheet) -> Vec<Note> {
        if sheet.temperature.as_deref().is_some_and(|t| t != "faiman") || sheet.nmot_c.is_some() {
            return Vec::new();
        }
        let text = if sheet.noct_c.is_some() {
            "Cell temperature: the sheet gives a NOCT (open circuit) and no NMOT; its rise is reduced by efficiency/0.9 \
             to that at maximum power."
        } else {
            "Cell temperature: the sheet gives no NMOT; the heat loss factors of the plane are taken as they stand."
        };
        vec![Note::quiet("module.nmot-default", text)]
    }
}
