//! The account: from nominal energy to energy delivered, every kWh under a name.

use serde::{Deserialize, Serialize};

/// One effect of the account, in the order in which the chain applies them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Effect {
    /// The skyline hides the sun and part of the sky.
    Skyline,
    /// Rows in front and obstacles on the roof.
    Shade,
    /// Snow on the modules.
    Snow,
    /// Dirt on the glass.
    Dirt,
    /// Reflection at the glass away from normal incidence.
    Incidence,
    /// Colour of the light.
    Spectrum,
    /// Light on the rear of two-sided modules, a gain.
    Rear,
    /// Efficiency away from 1000 W/m2 at 25 C.
    LowLight,
    /// Efficiency away from 25 C.
    Temperature,
    /// First loss by light.
    LightInduced,
    /// Loss of a module-level converter.
    ModuleConverter,
    /// Unequal modules in a string, and unequal strings.
    Mismatch,
    /// I2R in the DC cable.
    DcCable,
    /// Operating point held at an end of the input window.
    OutsideWindow,
    /// Conversion loss of the inverter.
    Inverter,
    /// Above the AC limit.
    Clipping,
    /// Draw of the inverter at night.
    NightDraw,
    /// I2R in the AC cable.
    AcCable,
    /// Transformer.
    Transformer,
    /// Out of service.
    Outage,
    /// Above the export limit.
    ExportLimit,
}

impl Effect {
    /// All effects in the order of the chain.
    pub const ALL: [Effect; 21] = [
        Effect::Skyline,
        Effect::Shade,
        Effect::Snow,
        Effect::Dirt,
        Effect::Incidence,
        Effect::Spectrum,
        Effect::Rear,
        Effect::LowLight,
        Effect::Temperature,
        Effect::LightInduced,
        Effect::ModuleConverter,
        Effect::Mismatch,
        Effect::DcCable,
        Effect::OutsideWindow,
        Effect::Inverter,
        Effect::Clipping,
        Effect::NightDraw,
        Effect::AcCable,
        Effect::Transformer,
        Effect::Outage,
        Effect::ExportLimit,
    ];
}

/// One line of the account.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct AccountLine {
    /// Which effect.
    pub effect: Effect,
    /// Change of energy by month, kWh; losses are negative.
    pub months_kwh: [f64; 12],
}

impl AccountLine {
    /// Change of energy over the year, kWh.
    pub fn kwh(&self) -> f64 {
        self.months_kwh.iter().sum()
    }
}

/// From nominal energy (P_stc x in-plane irradiation / 1 kW/m2) to energy delivered.
///
/// `nominal + sum of lines = delivered`, to 1e-9 relative. Lines without any effect are left out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Account {
    /// Nominal energy by month, kWh.
    pub nominal_kwh: [f64; 12],
    /// In the order of [`Effect::ALL`].
    pub lines: Vec<AccountLine>,
    /// Delivered energy by month, kWh.
    pub delivered_kwh: [f64; 12],
}

impl Account {
    /// What the lines fail to explain over the year, kWh.
    pub fn residual_kwh(&self) -> f64 {
        let nominal: f64 = self.nominal_kwh.iter().sum();
        let delivered: f64 = self.delivered_kwh.iter().sum();
        nominal + self.lines.iter().map(AccountLine::kwh).sum::<f64>() - delivered
    }
}
