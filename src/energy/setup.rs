//! One option, resolved to physics.

use std::sync::Arc;

use super::site::SiteLight;
use crate::module::{Electrical, Glass, Thermal};
use crate::plant::{AcCable, ExportLimit, InputLimits, Inverter, ModuleConverter, Transformer};
use crate::roof::ArrayShade;
use crate::units::Fraction;

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
    /// Light on the rear, and the colour of the light.
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

impl Setup {
    /// Share of power that the losses without an hour of their own leave: light-induced loss and mismatch.
    pub fn constant_kept(&self) -> f64 {
        self.light_induced.kept() * self.wiring.mismatch.kept()
    }
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
#[derive(Debug, Clone, PartialEq)]
pub struct Rear {
    /// Rear over front efficiency, 0..1; 0 for one-sided modules.
    pub bifaciality: f64,
    /// Share of the rear light that structure and unevenness leave, 0..1.
    pub kept: f64,
    /// Factor of the colour of the light per daylight step; none when the spectrum is not corrected for.
    pub spectrum: Option<Arc<Vec<f64>>>,
}

/// Strings, mismatch and DC cable. Their losses are worked out on the option's own number of modules and taken over as
/// shares, so that they can be exchanged between options of different size.
#[derive(Debug, Clone)]
pub struct Wiring {
    /// Whose voltage and current curve.
    pub electrical: Arc<Electrical>,
    /// Rated power of that module, W.
    pub p_module_w: f64,
    /// The converter at every module, if any; the string then runs at a voltage of its own.
    pub converter: Option<Arc<ModuleConverter>>,
    /// Mismatch loss.
    pub mismatch: Fraction,
    /// Lumped array: cable loss at rated current over rated power; with strings the cable is in each of them.
    pub cable_at_stc: f64,
    /// The inverter inputs with their strings; empty for one lumped array.
    pub inputs: Vec<InputStrings>,
    /// What an input allows.
    pub limits: InputLimits,
}

/// Inverter inputs that carry the same strings.
#[derive(Debug, Clone, PartialEq)]
pub struct InputStrings {
    /// How many inputs are alike.
    pub alike: u32,
    /// The strings on each.
    pub strings: Vec<StringsOfInput>,
}

/// Equal strings on one input.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StringsOfInput {
    /// Which part of the mounting they stand on.
    pub part: usize,
    /// Modules in series.
    pub n_series: u32,
    /// How many.
    pub count: u32,
    /// Cable loop of one of them, ohm.
    pub loop_ohm: f64,
}

impl Wiring {
    /// Number of modules in the strings; 0 for a lumped array.
    pub fn modules(&self) -> u32 {
        self.inputs.iter().map(|i| i.alike * i.strings.iter().map(|s| s.n_series * s.count).sum::<u32>()).sum()
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

/// What obstacles, rows and snow leave on one part of the mounting; empty columns mean all.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PartShade {
    /// Share of the beam light kept per daylight step.
    pub beam_kept: Vec<f64>,
    /// Share of the sky light kept per daylight step.
    pub sky_kept: Vec<f64>,
    /// Share of the power kept beyond the loss of light, by bypass groups and strings.
    pub power_kept: Vec<f64>,
    /// Share of the power that snow leaves.
    pub snow_kept: Vec<f64>,
}

impl PartShade {
    /// True when nothing is taken.
    pub(super) fn is_none(&self) -> bool {
        [&self.beam_kept, &self.sky_kept, &self.power_kept, &self.snow_kept].iter().all(|column| column.is_empty())
    }

    /// From what obstacles or rows leave of an array.
    pub fn of(shade: ArrayShade, month_start: &[usize; 13]) -> PartShade {
        let sky_kept = if shade.sky_kept == [1.0; 12] { Vec::new() } else { shade.sky_column(month_start) };
        PartShade {
            beam_kept: shade.light_kept_beam,
            sky_kept,
            power_kept: shade.electrical_kept,
            snow_kept: Vec::new(),
        }
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
    /// Export limit.
    pub export_limit: Option<ExportLimit>,
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
            export_limit: None,
            load_w: Vec::new(),
        }
    }
}
