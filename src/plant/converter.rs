//! A converter at every module.

use crate::plant::curve::{Curve, loss_points};
use crate::plant::error::{maybe_positive, positive};
use crate::plant::inverter::EUROPEAN;
use crate::plant::{ConverterSpec, InverterSheet, PlantError};

/// A converter at one module, ready for columns.
///
/// Each module runs at its own maximum power point, so neither unequal light nor unequal modules cost anything in the
/// string; the converter's own loss does. `P_out = P_in - loss(P_in)`, the loss through the points of the sheet as in
/// [`crate::plant::Inverter`]; input above the rating is left unused.
#[derive(Debug, Clone, PartialEq)]
pub struct ModuleConverter {
    p_in_max_w: f64,
    curve: Curve,
    v_string: Option<f64>,
}

impl ModuleConverter {
    /// From a data sheet.
    pub fn new(spec: &ConverterSpec) -> Result<ModuleConverter, PlantError> {
        let p_in_max_w = positive("module_converter.p_in_max_w", spec.p_in_max_w, "W")?;
        maybe_positive("module_converter.v_in_max", spec.v_in_max, "V")?;
        maybe_positive("module_converter.i_in_max", spec.i_in_max, "A")?;
        maybe_positive("module_converter.string_max_w", spec.string_max_w, "W")?;
        let points = loss_points("module_converter.efficiency", p_in_max_w, &spec.efficiency, true)?;
        Ok(ModuleConverter {
            p_in_max_w,
            curve: Curve::loss(&points),
            v_string: maybe_positive("module_converter.v_string", spec.v_string, "V")?,
        })
    }

    /// The converter that an inverter's sheet names.
    pub fn of(sheet: &InverterSheet) -> Result<ModuleConverter, PlantError> {
        let spec = sheet.module_converter.as_ref().ok_or_else(|| {
            PlantError::missing(
                "module_converter",
                "the data of the converter under the option's inverter",
                "Add [inverter.X.module_converter] with p_in_max_w and efficiency, or leave module_converters out.",
            )
        })?;
        ModuleConverter::new(spec)
    }

    /// Efficiency 0..1 with the European weights, loads counted on the input side: one figure for a whole year.
    pub fn efficiency(&self) -> f64 {
        let at = |load: f64| {
            let p = load * self.p_in_max_w;
            1.0 - self.curve.at(p) / p
        };
        EUROPEAN.iter().map(|[load, weight]| weight * at(*load)).sum::<f64>().clamp(0.0, 1.0)
    }

    /// Voltage the inverter holds the string at, V.
    pub fn v_string(&self) -> Option<f64> {
        self.v_string
    }

    /// Converts a column of the power of one module, W; `out` is what its converter gives, 0 or more.
    pub fn convert(&self, p_module: &[f64], out: &mut Vec<f64>) {
        out.resize(p_module.len(), 0.0);
        self.curve.column(1.0, p_module, out);
        // Input above the rating costs the loss at the rating.
        finish(self.p_in_max_w, self.curve.at(self.p_in_max_w), p_module, out);
    }
}

crate::wide! {
    fn finish(most: f64, loss_at_most: f64, p: &[f64], out: &mut [f64]) {
        for (p, out) in p.iter().zip(out.iter_mut()) {
            let full = *p > most;
            let (input, loss) = if full { (most, loss_at_most) } else { (*p, *out) };
            let loss = if loss > 0.0 { loss } else { 0.0 };
            let left = input - loss;
            *out = if left > 0.0 { left } else { 0.0 };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn one_efficiency_serves_every_load() {
        let spec = ConverterSpec { p_in_max_w: 500.0, efficiency: vec![[100.0, 98.5]], ..ConverterSpec::default() };
        let mut out = Vec::new();
        ModuleConverter::new(&spec).unwrap().convert(&[0.0, 100.0, 400.0, 600.0], &mut out);
        for (out, expected) in out.iter().zip([0.0, 98.5, 394.0, 492.5]) {
            assert!((out - expected).abs() < 1e-9);
        }
        assert!((ModuleConverter::new(&spec).unwrap().efficiency() - 0.985).abs() < 1e-12);
        let wrong = ConverterSpec { p_in_max_w: 500.0, efficiency: vec![[100.0, 0.985]], ..ConverterSpec::default() };
        assert!(ModuleConverter::new(&wrong).unwrap_err().to_string().contains("write 98.5"));
        // European weights (EN 50530) at the loads of the sheet: 0.03 x 95 + 0.06 x 96.5 + 0.13 x 97.5 + 0.10 x 98 +
        // 0.48 x 98.5 + 0.20 x 98.2 = 98.035.
        let six = vec![[5.0, 95.0], [10.0, 96.5], [20.0, 97.5], [30.0, 98.0], [50.0, 98.5], [100.0, 98.2]];
        let six = ConverterSpec { efficiency: six, ..spec };
        assert!((ModuleConverter::new(&six).unwrap().efficiency() - 0.98035).abs() < 1e-12);
        // 95 % of 51 % of the rating is less than 98 % of half of it.
        let falling = ConverterSpec { efficiency: vec![[50.0, 98.0], [51.0, 95.0]], ..wrong };
        assert!(ModuleConverter::new(&falling).unwrap_err().to_string().contains("output rises as input rises"));
    }

    proptest! {
        #[test]
        fn gives_at_most_what_it_takes(
            etas in proptest::collection::vec(80.0..99.9_f64, 1..8),
            p in proptest::collection::vec(0.0..700.0_f64, 1..80),
        ) {
            let n = etas.len() as f64;
            let efficiency = etas.iter().enumerate().map(|(i, &e)| [100.0 * (i + 1) as f64 / n, e]).collect();
            let spec = ConverterSpec { p_in_max_w: 500.0, efficiency, ..ConverterSpec::default() };
            let Ok(converter) = ModuleConverter::new(&spec) else { return Ok(()) };
            let mut out = Vec::new();
            converter.convert(&p, &mut out);
            for (out, p) in out.iter().zip(&p) {
                prop_assert!(*out >= 0.0 && out <= p && *out <= 500.0);
            }
        }
    }
}
