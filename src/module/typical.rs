//! What data sheets and laboratories usually find, per cell technology.

use serde::Serialize;

use super::Technology;

/// Low, typical and high.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Range {
    /// Lower end of the usual.
    pub low: f64,
    /// Middle.
    pub typical: f64,
    /// Upper end of the usual.
    pub high: f64,
}

impl Range {
    const fn of(low: f64, typical: f64, high: f64) -> Range {
        Range { low, typical, high }
    }
}

/// The usual ranges of one technology.
///
/// Temperature coefficient of power, weak light and bifaciality of passivated, n-type and heterojunction cells:
/// averages that an independent test laboratory published in 2024. The rest: common practice, from memory. Amorphous
/// silicon and full-rear-contact mono silicon: from memory.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Typical {
    /// Module efficiency, percent.
    pub efficiency: Range,
    /// Open-circuit voltage per cell, V.
    pub v_oc_cell: Range,
    /// Fill factor.
    pub fill_factor: Range,
    /// Temperature coefficient of power, %/K.
    pub gamma: Range,
    /// Temperature coefficient of open-circuit voltage, %/K.
    pub beta: Range,
    /// Temperature coefficient of short-circuit current, %/K.
    pub alpha: Range,
    /// Efficiency at 200 W/m2 over that at 1000 W/m2.
    pub low_light_200: Range,
    /// Nominal module operating temperature, C.
    pub nmot: Range,
    /// First loss by light, percent.
    pub first_loss: Range,
    /// Ageing, percent a year.
    pub ageing: Range,
    /// Rear over front efficiency.
    pub bifaciality: Range,
}

/// The usual ranges of a technology; those of p-type passivated silicon when it is not known.
pub fn of(technology: Option<Technology>) -> Typical {
    match technology {
        Some(Technology::MultiSi) => Typical {
            efficiency: Range::of(14.5, 16.8, 18.5),
            v_oc_cell: Range::of(0.62, 0.635, 0.645),
            fill_factor: Range::of(0.74, 0.765, 0.78),
            gamma: Range::of(-0.45, -0.41, -0.38),
            beta: Range::of(-0.34, -0.31, -0.29),
            alpha: Range::of(0.04, 0.055, 0.065),
            low_light_200: Range::of(0.93, 0.955, 0.975),
            nmot: Range::of(43.0, 45.0, 47.0),
            first_loss: Range::of(1.0, 2.0, 3.0),
            ageing: Range::of(0.5, 0.7, 0.9),
            bifaciality: Range::of(0.0, 0.0, 0.0),
        },
        Some(Technology::PPassivated) | None => Typical {
            efficiency: Range::of(19.0, 20.8, 21.6),
            v_oc_cell: Range::of(0.67, 0.685, 0.695),
            fill_factor: Range::of(0.775, 0.795, 0.805),
            gamma: Range::of(-0.35, -0.32, -0.3),
            beta: Range::of(-0.29, -0.27, -0.25),
            alpha: Range::of(0.04, 0.048, 0.06),
            low_light_200: Range::of(0.955, 0.966, 0.98),
            nmot: Range::of(42.0, 44.0, 46.0),
            first_loss: Range::of(1.0, 2.0, 3.0),
            ageing: Range::of(0.4, 0.5, 0.6),
            bifaciality: Range::of(0.65, 0.693, 0.75),
        },
        Some(Technology::NContact) => Typical {
            efficiency: Range::of(21.3, 22.4, 23.3),
            v_oc_cell: Range::of(0.7, 0.72, 0.735),
            fill_factor: Range::of(0.79, 0.81, 0.825),
            gamma: Range::of(-0.32, -0.3, -0.28),
            beta: Range::of(-0.27, -0.25, -0.23),
            alpha: Range::of(0.04, 0.045, 0.05),
            low_light_200: Range::of(0.945, 0.957, 0.975),
            nmot: Range::of(42.0, 44.0, 46.0),
            first_loss: Range::of(0.4, 1.0, 1.5),
            ageing: Range::of(0.3, 0.4, 0.5),
            bifaciality: Range::of(0.7, 0.754, 0.8),
        },
        Some(Technology::Heterojunction) => Typical {
            efficiency: Range::of(21.0, 22.6, 24.0),
            v_oc_cell: Range::of(0.725, 0.74, 0.75),
            fill_factor: Range::of(0.8, 0.825, 0.845),
            gamma: Range::of(-0.29, -0.26, -0.24),
            beta: Range::of(-0.26, -0.24, -0.22),
            alpha: Range::of(0.03, 0.04, 0.05),
            low_light_200: Range::of(0.96, 0.975, 0.99),
            nmot: Range::of(42.0, 44.0, 46.0),
            first_loss: Range::of(0.0, 0.5, 1.5),
            ageing: Range::of(0.25, 0.35, 0.5),
            bifaciality: Range::of(0.8, 0.867, 0.95),
        },
        Some(Technology::BackContact) => Typical {
            efficiency: Range::of(21.5, 22.8, 24.4),
            v_oc_cell: Range::of(0.71, 0.73, 0.75),
            fill_factor: Range::of(0.79, 0.815, 0.84),
            gamma: Range::of(-0.3, -0.28, -0.26),
            beta: Range::of(-0.25, -0.235, -0.22),
            alpha: Range::of(0.04, 0.05, 0.06),
            low_light_200: Range::of(0.96, 0.975, 0.99),
            nmot: Range::of(41.0, 44.0, 46.0),
            first_loss: Range::of(0.0, 0.5, 2.0),
            ageing: Range::of(0.2, 0.3, 0.45),
            bifaciality: Range::of(0.0, 0.0, 0.65),
        },
        Some(Technology::CdTe) => Typical {
            efficiency: Range::of(16.5, 18.7, 19.7),
            v_oc_cell: Range::of(0.8, 0.84, 0.87),
            fill_factor: Range::of(0.74, 0.765, 0.78),
            gamma: Range::of(-0.34, -0.32, -0.28),
            beta: Range::of(-0.29, -0.28, -0.26),
            alpha: Range::of(0.03, 0.04, 0.05),
            low_light_200: Range::of(0.97, 0.985, 1.0),
            nmot: Range::of(44.0, 45.0, 47.0),
            first_loss: Range::of(1.0, 2.0, 4.0),
            ageing: Range::of(0.3, 0.5, 0.7),
            bifaciality: Range::of(0.0, 0.0, 0.15),
        },
        Some(Technology::Cigs) => Typical {
            efficiency: Range::of(12.0, 14.5, 17.0),
            v_oc_cell: Range::of(0.6, 0.66, 0.72),
            fill_factor: Range::of(0.66, 0.71, 0.75),
            gamma: Range::of(-0.42, -0.36, -0.3),
            beta: Range::of(-0.34, -0.3, -0.27),
            alpha: Range::of(0.0, 0.01, 0.03),
            low_light_200: Range::of(0.9, 0.945, 0.985),
            nmot: Range::of(44.0, 46.0, 48.0),
            first_loss: Range::of(0.0, 1.0, 3.0),
            ageing: Range::of(0.4, 0.7, 1.2),
            bifaciality: Range::of(0.0, 0.0, 0.0),
        },
        Some(Technology::MonoSi) => Typical {
            efficiency: Range::of(15.0, 18.0, 19.5),
            v_oc_cell: Range::of(0.62, 0.64, 0.66),
            fill_factor: Range::of(0.75, 0.77, 0.79),
            gamma: Range::of(-0.47, -0.41, -0.37),
            beta: Range::of(-0.34, -0.31, -0.28),
            alpha: Range::of(0.03, 0.05, 0.065),
            low_light_200: Range::of(0.93, 0.955, 0.975),
            nmot: Range::of(43.0, 45.0, 47.0),
            first_loss: Range::of(1.0, 2.0, 3.0),
            ageing: Range::of(0.5, 0.7, 0.9),
            bifaciality: Range::of(0.0, 0.0, 0.0),
        },
        Some(Technology::AmorphousSi) => Typical {
            efficiency: Range::of(5.0, 8.0, 10.5),
            v_oc_cell: Range::of(0.80, 0.90, 2.4),
            fill_factor: Range::of(0.58, 0.65, 0.72),
            gamma: Range::of(-0.35, -0.25, -0.18),
            beta: Range::of(-0.43, -0.33, -0.28),
            alpha: Range::of(0.06, 0.09, 0.12),
            low_light_200: Range::of(0.86, 0.93, 1.0),
            nmot: Range::of(43.0, 46.0, 49.0),
            first_loss: Range::of(0.0, 10.0, 20.0),
            ageing: Range::of(0.5, 0.9, 1.5),
            bifaciality: Range::of(0.0, 0.0, 0.0),
        },
    }
}
