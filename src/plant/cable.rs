//! Cables: I2R on the DC and the AC side.

use serde::{Deserialize, Serialize};

use crate::plant::error::{not_negative, positive};
use crate::plant::{CableSpec, Conductor, PlantError};

/// Resistivity of annealed copper at 20 C, ohm mm2/m. Source: IEC 60028 (from memory).
pub const COPPER_RESISTIVITY: f64 = 0.017_241;
/// Temperature coefficient of copper's resistance about 20 C, 1/K. Source: IEC 60028 (from memory).
pub const COPPER_PER_K: f64 = 0.003_93;

/// Largest resistance of a copper conductor at 20 C: `[mm2, classes 1 and 2, class 5 plain, class 5 tinned]`, ohm/km.
/// Source: IEC 60228:2004 as printed on public cable pages.
const IEC_60228: [[f64; 4]; 19] = [
    [1.5, 12.1, 13.3, 13.7],
    [2.5, 7.41, 7.98, 8.21],
    [4.0, 4.61, 4.95, 5.09],
    [6.0, 3.08, 3.30, 3.39],
    [10.0, 1.83, 1.91, 1.95],
    [16.0, 1.15, 1.21, 1.24],
    [25.0, 0.727, 0.780, 0.795],
    [35.0, 0.524, 0.554, 0.565],
    [50.0, 0.387, 0.386, 0.393],
    [70.0, 0.268, 0.272, 0.277],
    [95.0, 0.193, 0.206, 0.210],
    [120.0, 0.153, 0.161, 0.164],
    [150.0, 0.124, 0.129, 0.132],
    [185.0, 0.0991, 0.106, 0.108],
    [240.0, 0.0754, 0.0801, 0.0817],
    [300.0, 0.0601, 0.0641, 0.0654],
    [400.0, 0.0470, 0.0486, 0.0495],
    [500.0, 0.0366, 0.0384, 0.0391],
    [630.0, 0.0283, 0.0287, 0.0292],
];

/// Resistance of both conductors of a DC run, ohm.
///
/// `R = rho20 (1 + a (T - 20)) 2 l / A`
///
/// - `one_way_m`: length one way, m
/// - `area_mm2`: cross-section, mm2
/// - `t_c`: conductor temperature, C, -40 to 120
///
/// Ideal copper of the nominal area; real conductors may have up to a sixth more ([`Conductor`]).
/// Source: Ohm's law; rho and a from IEC 60028 (from memory).
/// ```
/// assert!((yearlight::plant::loop_ohm(60.0, 4.0, 50.0) - 0.578211).abs() < 1e-6);
/// ```
pub fn loop_ohm(one_way_m: f64, area_mm2: f64, t_c: f64) -> f64 {
    COPPER_RESISTIVITY * (1.0 + COPPER_PER_K * (t_c - 20.0)) * 2.0 * one_way_m / area_mm2
}

/// Resistance of one conductor at 20 C, ohm/km; `None` when the cross-section is not in the table of IEC 60228.
pub fn ohm_per_km(conductor: Conductor, area_mm2: f64) -> Option<f64> {
    let row = || IEC_60228.iter().find(|row| (row[0] - area_mm2).abs() < 1e-6);
    match conductor {
        Conductor::Resistivity => Some(1000.0 * COPPER_RESISTIVITY / area_mm2),
        Conductor::Stranded => row().map(|row| row[1]),
        Conductor::Flexible => row().map(|row| row[2]),
        Conductor::FlexibleTinned => row().map(|row| row[3]),
    }
}

/// The cable of one string.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StringCable {
    /// Resistance of the loop, ohm.
    pub loop_ohm: f64,
}

impl StringCable {
    /// The cable of a string of `n_series` modules with `v_mp` V and `i_mp` A each at standard test conditions.
    ///
    /// From length and cross-section, or from a loss at rated current; without either, no resistance.
    pub fn of(spec: &CableSpec, n_series: u32, v_mp: f64, i_mp: f64) -> Result<StringCable, PlantError> {
        let t_c = checked_temperature(spec)?;
        if let Some(pct) = spec.loss_at_stc_pct {
            if spec.one_way_m.is_some() || spec.area_mm2.is_some() {
                return Err(PlantError::value(
                    "cable.loss_at_stc_pct",
                    pct,
                    "either a loss, or a length with a cross-section",
                    "Take one of them out.",
                ));
            }
            if !(0.0..=20.0).contains(&pct) {
                return Err(PlantError::value("cable.loss_at_stc_pct", pct, "0 to 20 percent", "1 to 2 is usual."));
            }
            return Ok(StringCable { loop_ohm: pct / 100.0 * f64::from(n_series) * v_mp / i_mp });
        }
        match (spec.one_way_m, spec.area_mm2) {
            (None, None) => Ok(StringCable { loop_ohm: 0.0 }),
            (Some(_), None) => Err(PlantError::missing(
                "cable.area_mm2",
                "the cross-section in mm2",
                "State it beside cable.one_way_m, or state cable.loss_at_stc_pct instead of both.",
            )),
            (None, Some(_)) => Err(PlantError::missing(
                "cable.one_way_m",
                "the length one way in m",
                "State it beside cable.area_mm2, or state cable.loss_at_stc_pct instead of both.",
            )),
            (Some(m), Some(area)) => {
                let m = not_negative("cable.one_way_m", m, "m")?;
                let area = positive("cable.area_mm2", area, "mm2")?;
                let per_km = match spec.ohm_per_km {
                    Some(x) => positive("cable.ohm_per_km", x, "ohm/km")?,
                    None => table_ohm("cable.area_mm2", spec.conductor, area)?,
                };
                Ok(StringCable { loop_ohm: warm(per_km, t_c) * 2.0 * m / 1000.0 })
            }
        }
    }

    /// Power lost at `i` A, W.
    /// ```
    /// let cable = yearlight::plant::StringCable { loop_ohm: 0.578211 };
    /// assert!((cable.loss_w(13.12) - 99.53).abs() < 0.01);
    /// ```
    pub fn loss_w(&self, i: f64) -> f64 {
        i * i * self.loop_ohm
    }
}

/// The cable from inverter to meter.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct AcCable {
    /// Loss at 1 W sent, W/W2: the loss is this times the square of the power.
    pub per_w: f64,
}

impl AcCable {
    /// Two loaded conductors for one phase, three for three phases, power factor 1; `inverters` cables side by side.
    ///
    /// `P_loss = 2 R (P/V)^2` or `3 R (P/(sqrt 3 V))^2`. Without length and cross-section, no loss.
    pub fn of(spec: &CableSpec, phases: u32, inverters: u32) -> Result<AcCable, PlantError> {
        let t_c = checked_temperature(spec)?;
        let v = positive("cable.ac_v", spec.ac_v, "V")?;
        match (spec.ac_one_way_m, spec.ac_area_mm2) {
            (None, None) => Ok(AcCable { per_w: 0.0 }),
            (Some(_), None) => Err(PlantError::missing(
                "cable.ac_area_mm2",
                "the cross-section in mm2",
                "State it beside cable.ac_one_way_m.",
            )),
            (None, Some(_)) => Err(PlantError::missing(
                "cable.ac_one_way_m",
                "the length one way in m",
                "State it beside cable.ac_area_mm2.",
            )),
            (Some(m), Some(area)) => {
                let m = not_negative("cable.ac_one_way_m", m, "m")?;
                let area = positive("cable.ac_area_mm2", area, "mm2")?;
                let ohm = warm(table_ohm("cable.ac_area_mm2", spec.conductor, area)?, t_c) * m / 1000.0;
                let one = if phases == 1 { 2.0 * ohm / (v * v) } else { ohm / (v * v) };
                Ok(AcCable { per_w: one / f64::from(inverters.max(1)) })
            }
        }
    }

    /// Takes the loss out of a column of power sent, W, and writes it to `loss`; never more than what is sent.
    pub fn apply(&self, p: &mut [f64], loss: &mut Vec<f64>) {
        loss.resize(p.len(), 0.0);
        take_square(self.per_w, p, loss);
    }
}

crate::wide! {
    fn take_square(factor: f64, p: &mut [f64], loss: &mut [f64]) {
        for (p, loss) in p.iter_mut().zip(loss.iter_mut()) {
            let size = p.abs();
            let lost = factor * (size * size);
            let lost = if lost < size { lost } else { size };
            *loss = lost;
            *p -= lost;
        }
    }
}

fn warm(ohm_20: f64, t_c: f64) -> f64 {
    ohm_20 * (1.0 + COPPER_PER_K * (t_c - 20.0))
}

fn checked_temperature(spec: &CableSpec) -> Result<f64, PlantError> {
    if (-40.0..=120.0).contains(&spec.t_c) {
        Ok(spec.t_c)
    } else {
        Err(PlantError::value("cable.t_c", spec.t_c, "a conductor temperature from -40 to 120 C", "50 is the default."))
    }
}

fn table_ohm(key: &str, conductor: Conductor, area_mm2: f64) -> Result<f64, PlantError> {
    ohm_per_km(conductor, area_mm2).ok_or_else(|| {
        PlantError::value(
            key,
            area_mm2,
            "a cross-section of IEC 60228: 1.5, 2.5, 4, 6, 10, 16, 25, ... 630 mm2",
            "Take a standard size, state ohm_per_km, or leave conductor out.",
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_conductor_has_a_temperature_within_bounds() {
        let told = |t_c: f64| {
            StringCable::of(&CableSpec { t_c, ..CableSpec::default() }, 20, 31.25, 13.12).err().map(|e| e.to_string())
        };
        assert!([-40.0, 0.0, 120.0].iter().all(|t| told(*t).is_none()));
        for t_c in [-40.1, 120.1, f64::NAN] {
            assert!(told(t_c).unwrap().contains("cable.t_c"), "{t_c}");
        }
    }

    #[test]
    fn a_loss_at_rated_current_is_its_resistance() {
        let spec = CableSpec { loss_at_stc_pct: Some(1.5), ..CableSpec::default() };
        let cable = StringCable::of(&spec, 20, 31.25, 13.12).unwrap();
        assert!((cable.loss_w(13.12) - 0.015 * 20.0 * 31.25 * 13.12).abs() < 1e-9);
        assert!((cable.loss_w(6.56) * 4.0 - cable.loss_w(13.12)).abs() < 1e-9);
    }

    #[test]
    fn three_phases_carry_with_three_conductors() {
        let spec = CableSpec { ac_one_way_m: Some(30.0), ac_area_mm2: Some(16.0), ..CableSpec::default() };
        let ohm = loop_ohm(30.0, 16.0, 50.0) / 2.0;
        let i = 33_000.0 / (3.0_f64.sqrt() * 400.0);
        let mut p = [33_000.0, 0.0];
        let mut loss = Vec::new();
        AcCable::of(&spec, 3, 1).unwrap().apply(&mut p, &mut loss);
        assert!((loss[0] - 3.0 * i * i * ohm).abs() < 1e-9);
        assert_eq!((p[0], p[1], loss[1]), (33_000.0 - loss[0], 0.0, 0.0));
        let one = AcCable::of(&CableSpec { ac_v: 230.0, ..spec.clone() }, 1, 1).unwrap();
        assert!((one.per_w * 3_000.0 * 3_000.0 - 2.0 * (3_000.0_f64 / 230.0).powi(2) * ohm).abs() < 1e-9);
        // Two inverters with half the power each lose half as much in two cables.
        assert!(
            (AcCable::of(&spec, 3, 2).unwrap().per_w * 2.0 - AcCable::of(&spec, 3, 1).unwrap().per_w).abs() < 1e-18
        );
    }

    #[test]
    fn half_a_statement_is_refused() {
        let spec = CableSpec { one_way_m: Some(62.0), ..CableSpec::default() };
        assert!(
            StringCable::of(&spec, 20, 31.0, 13.0).unwrap_err().to_string().starts_with("cable.area_mm2 is missing")
        );
        let spec = CableSpec {
            one_way_m: Some(62.0),
            area_mm2: Some(5.0),
            conductor: Conductor::Flexible,
            ..CableSpec::default()
        };
        assert!(StringCable::of(&spec, 20, 31.0, 13.0).unwrap_err().to_string().starts_with("cable.area_mm2 is 5"));
        let spec = CableSpec { loss_at_stc_pct: Some(1.0), area_mm2: Some(4.0), ..CableSpec::default() };
        assert!(StringCable::of(&spec, 20, 31.0, 13.0).is_err());
    }

    proptest! {
        #[test]
        fn loss_never_exceeds_what_is_sent(p in proptest::collection::vec(-1e3..1e6_f64, 1..50), per_w in 0.0..1e-3_f64) {
            let mut after = p.clone();
            let mut loss = Vec::new();
            AcCable { per_w }.apply(&mut after, &mut loss);
            for ((p, after), loss) in p.iter().zip(&after).zip(&loss) {
                prop_assert!(*loss >= 0.0 && *loss <= p.abs());
                prop_assert!((p - loss - after).abs() < 1e-9 * p.abs().max(1.0));
            }
        }
    }
}
