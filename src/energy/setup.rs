//! One option, resolved to physics.

use std::sync::Arc;

use crate::module::{Electrical, Glass, Thermal};
use crate::plant::{AcCable, Inverter, Transformer};
use crate::units::Fraction;
use crate::wide;

use super::site::SiteLight;

/// One option, resolved to physics. Each field is one group of parameters that may differ between options, so that
/// a split of a gap can exchange them one by one.
#[derive(Debug, Clone)]
pub struct Setup {
    /// How many modules of what power.
    pub nameplate: Nameplate,
    /// Efficiency against light at 25 C, a(G).
    pub low_light: Arc<Electrical>,
    /// Efficiency against temperature, b(G, T), and how warm the cells get.
    pub heat: Heat,
    /// Reflection at the glass.
    pub glass: Arc<Glass>,
    /// Light on the rear.
    pub rear: Rear,
    /// First loss by light.
    pub light_induced: Fraction,
    /// Strings, mismatch and DC cable.
    pub wiring: Wiring,
    /// Inverters.
    pub conversion: Conversion,
    /// Planes, and the share of the modules on each.
    pub mounting: Mounting,
    /// What obstacles and rows leave on each part of the mounting; fewer entries mean no shade.
    pub shade: Arc<Vec<PartShade>>,
}

/// How many modules of what power.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nameplate {
    /// Number of modules.
    pub modules: u32,
    /// Power of one at standard test conditions, W.
    pub p_stc_w: f64,
}

impl Nameplate {
    /// Installed power, W.
    pub fn p0_w(&self) -> f64 {
        f64::from(self.modules) * self.p_stc_w
    }
}

/// The map's b(G, T) and the heat balance.
#[derive(Debug, Clone)]
pub struct Heat {
    /// Whose map.
    pub electrical: Arc<Electrical>,
    /// One heat balance per plane of the site.
    pub thermal: Arc<Vec<Thermal>>,
}

/// Light on the rear of two-sided modules.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rear {
    /// Rear over front efficiency, 0..1; 0 for one-sided modules.
    pub bifaciality: f64,
    /// Share of the rear light that structure and unevenness leave, 0..1.
    pub kept: f64,
}

/// Strings, mismatch and DC cable, all relative to nameplate power.
#[derive(Debug, Clone)]
pub struct Wiring {
    /// Whose voltage curve.
    pub electrical: Arc<Electrical>,
    /// Efficiency of module-level converters; 1 without.
    pub converter: f64,
    /// Mismatch loss.
    pub mismatch: Fraction,
    /// Cable loss at rated current over rated power.
    pub cable_at_stc: f64,
    /// Modules in series and how many such strings; empty for a lumped array.
    pub series: Vec<(u32, u32)>,
    /// Input voltage window of the inverter, V.
    pub window_v: Option<[f64; 2]>,
}

impl Wiring {
    /// Mean number of modules in series, weighted by modules; 0 for a lumped array.
    pub fn mean_series(&self) -> f64 {
        let modules: f64 = self.series.iter().map(|&(n, s)| f64::from(n) * f64::from(s)).sum();
        if modules == 0.0 {
            return 0.0;
        }
        self.series.iter().map(|&(n, s)| f64::from(n).powi(2) * f64::from(s)).sum::<f64>() / modules
    }
}

/// Inverters.
#[derive(Debug, Clone)]
pub struct Conversion {
    /// The inverter.
    pub inverter: Arc<Inverter>,
    /// How many.
    pub count: u32,
}

/// On which planes the modules stand.
#[derive(Debug, Clone, PartialEq)]
pub struct Mounting {
    /// Index of the plane in [`SiteLight::planes`] and share of the modules on it; the shares sum to 1.
    pub parts: Vec<(usize, f64)>,
}

/// What obstacles and rows leave on one part of the mounting.
#[derive(Debug, Clone, PartialEq)]
pub struct PartShade {
    /// Share of the beam light kept per daylight step; empty means all.
    pub beam_kept: Vec<f64>,
    /// Share of the sky light kept, 0..1.
    pub sky_kept: f64,
    /// Share of the power kept beyond the loss of light, by bypass groups; empty means all.
    pub power_kept: Vec<f64>,
}

impl Default for PartShade {
    fn default() -> Self {
        PartShade { beam_kept: Vec::new(), sky_kept: 1.0, power_kept: Vec::new() }
    }
}

/// Losses of the site and what lies behind the inverter: the same for all options of a job.
#[derive(Debug, Clone, PartialEq)]
pub struct Common {
    /// Share of light that dirt leaves, per daylight step.
    pub clean_kept: Vec<f64>,
    /// Share of energy lost to outage.
    pub outage: Fraction,
    /// AC cable.
    pub ac_cable: Option<AcCable>,
    /// Transformer.
    pub transformer: Option<Transformer>,
    /// Export limit, W.
    pub export_limit_w: Option<f64>,
    /// Load on site per daylight step, W; empty means none.
    pub load_w: Vec<f64>,
}

impl Common {
    /// Nothing lost: for checks and examples.
    pub fn lossless(site: &SiteLight) -> Common {
        Common {
            clean_kept: vec![1.0; site.len()],
            outage: Fraction::ZERO,
            ac_cable: None,
            transformer: None,
            export_limit_w: None,
            load_w: Vec::new(),
        }
    }
}
