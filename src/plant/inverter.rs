//! The inverter: loss through the points of its sheet, AC limit, draw at night.

use crate::plant::curve::{Curve, loss_points};
use crate::plant::error::{maybe_positive, not_negative, positive};
use crate::plant::{InverterSheet, PlantError};
use crate::units::Note;

/// Loads of the European weighted efficiency and their weights. Source: EN 50530 (from public pages that quote it).
pub const EUROPEAN: [[f64; 2]; 6] =
    [[0.05, 0.03], [0.10, 0.06], [0.20, 0.13], [0.30, 0.10], [0.50, 0.48], [1.00, 0.20]];
/// Loads of the California weighted efficiency and their weights. Source: the California Energy Commission's test
/// protocol (from public pages that quote it).
pub const CALIFORNIA: [[f64; 2]; 6] =
    [[0.10, 0.04], [0.20, 0.05], [0.30, 0.12], [0.50, 0.21], [0.75, 0.53], [1.00, 0.05]];

/// What comes out of the inverters, W, on the steps that went in.
///
/// The parts of the account follow: conversion loss is `p_dc - before_limit`, clipping is `before_limit - ac`, and
/// what reaches the cable is `ac - draw`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AcColumns {
    /// Converted power before the AC limit, W, 0 or more, at most the DC power.
    pub before_limit: Vec<f64>,
    /// Converted power after the AC limit, W, 0 or more.
    pub ac: Vec<f64>,
    /// Drawn from the grid in steps without output, W, 0 or more.
    pub draw: Vec<f64>,
}

impl AcColumns {
    /// Makes room for so many steps.
    pub(crate) fn fit(&mut self, n: usize) {
        for column in [&mut self.before_limit, &mut self.ac, &mut self.draw] {
            column.resize(n, 0.0);
        }
    }

    /// A stretch of the three columns.
    pub(crate) fn steps(&mut self, span: std::ops::Range<usize>) -> [&mut [f64]; 3] {
        [&mut self.before_limit[span.clone()], &mut self.ac[span.clone()], &mut self.draw[span]]
    }
}

/// An inverter ready to convert columns.
///
/// `P_ac = P_dc - loss(P_dc)`, where `loss` in W runs through the sheet's efficiency points: monotone cubic pieces,
/// a parabola for three points, a line for two, one efficiency for one. Between zero and the first point the first
/// segment goes on as a line, so the loss at no load is positive and very weak light gives nothing. With curves at
/// several DC voltages the loss is taken linearly between the two nearest and held beyond the outermost.
/// The output is limited by `min(P_ac,max(T_amb), I_ac,max V)`.
///
/// Ignores: ramp and start-up delay, reactive power, mean values that hide peaks within the step.
/// Source of the weights: EN 50530 and the California Energy Commission's test protocol; the interpolation is ours,
/// after Fritsch and Carlson 1980 (from memory).
#[derive(Debug, Clone, PartialEq)]
pub struct Inverter {
    p_ac_w: f64,
    night_w: f64,
    curve: Curve,
    /// Ascending in voltage; empty when one curve serves all voltages.
    at_v: Vec<(f64, Curve)>,
    limit: Curve,
    limit_by_current_w: f64,
    notes: Vec<Note>,
}

impl Inverter {
    /// From a data sheet, on a grid of 400 V between lines (230 V for one phase).
    ///
    /// ```
    /// use yearlight::plant::{Inverter, InverterSheet};
    /// let sheet: InverterSheet = toml::from_str("p_ac_w = 33000\nefficiency = [[10, 96.5], [50, 98.3], [100, 97.9]]")?;
    /// let inverter = Inverter::new(&sheet)?;
    /// assert!((inverter.efficiency_at(0.5) - 0.983).abs() < 1e-12);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn new(sheet: &InverterSheet) -> Result<Inverter, PlantError> {
        Inverter::on_grid(sheet, if sheet.phases == Some(1) { 230.0 } else { 400.0 })
    }

    /// From a data sheet, on a grid of `ac_v` volts (line to line for three phases, line to neutral for one).
    pub fn on_grid(sheet: &InverterSheet, ac_v: f64) -> Result<Inverter, PlantError> {
        let p_ac_w = positive("p_ac_w", sheet.p_ac_w, "W")?;
        let ac_v = positive("cable.ac_v", ac_v, "V")?;
        check_limits(sheet)?;
        let curve = Curve::loss(&loss_points("efficiency", p_ac_w, &sheet.efficiency, false)?);
        let mut notes = Vec::new();
        let phase_factor = if sheet.phases == Some(1) { 1.0 } else { 3.0_f64.sqrt() };
        let limit_by_current_w = sheet.i_ac_max.map_or(f64::MAX, |i| i * ac_v * phase_factor);
        if limit_by_current_w < p_ac_w * 0.999 {
            notes.push(Note::loud(
                "plant.ac-current",
                format!(
                    "i_ac_max holds the inverter to {:.0} W at {ac_v} V, below its rating of {p_ac_w:.0} W; \
                     if the grid has another voltage, state cable.ac_v.",
                    limit_by_current_w
                ),
            ));
        }
        Ok(Inverter {
            p_ac_w,
            night_w: not_negative("night_w", sheet.night_w, "W")?,
            at_v: curves_at_voltages(sheet, p_ac_w, &curve)?,
            curve,
            limit: derate(sheet, p_ac_w)?,
            limit_by_current_w,
            notes,
        })
    }

    /// AC rating, W.
    pub fn p_ac_w(&self) -> f64 {
        self.p_ac_w
    }

    /// Draw without output, W.
    pub fn night_w(&self) -> f64 {
        self.night_w
    }

    /// What the reader should know of this inverter.
    pub fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// True when the efficiency depends on the DC voltage, so that [`Inverter::convert`] makes use of it.
    pub fn uses_voltage(&self) -> bool {
        self.at_v.len() > 1
    }

    /// The largest AC power at an air temperature, W.
    pub fn limit_w(&self, t_amb: f64) -> f64 {
        self.limit.at(t_amb).min(self.limit_by_current_w)
    }

    /// Converts columns of total DC power (W) of `n` equal inverters that share it evenly.
    ///
    /// `v` is the DC voltage (used only when the sheet has curves at several voltages), `t_amb` the air temperature
    /// in C. Columns have equal length; longer ones are cut to the shortest. Where nothing comes out the inverters
    /// draw `n night_w`; steps without light, which are not in the columns, draw the same.
    pub fn convert(&self, n: u32, p_dc: &[f64], v: Option<&[f64]>, t_amb: &[f64], out: &mut AcColumns) {
        let len = p_dc.len().min(t_amb.len()).min(v.map_or(usize::MAX, <[f64]>::len));
        out.fit(len);
        self.convert_steps(n, &p_dc[..len], v, &t_amb[..len], out.steps(0..len));
    }

    /// [`Inverter::convert`] of a stretch of the year; all columns are as long as `p_dc`.
    pub(crate) fn convert_steps(&self, n: u32, p_dc: &[f64], v: Option<&[f64]>, t_amb: &[f64], out: [&mut [f64]; 3]) {
        let n = f64::from(n.max(1));
        let [before, ac, draw] = out;
        self.loss(n, p_dc, v, [before, ac, draw]);
        self.limit.column(1.0, t_amb, draw);
        finish(n, n * self.night_w, self.limit_by_current_w, p_dc, before, ac, draw);
    }

    /// [`Inverter::convert_steps`] for those who ask only for the power before the limit and for the draw; the power
    /// behind the limit is then of no use.
    pub(crate) fn convert_open_steps(&self, n: u32, p_dc: &[f64], v: Option<&[f64]>, out: [&mut [f64]; 3]) {
        let n = f64::from(n.max(1));
        let [before, ac, draw] = out;
        self.loss(n, p_dc, v, [before, ac, draw]);
        finish_open(n, n * self.night_w, p_dc, before, draw);
    }

    /// Loss of one of `n` inverters into the first column, which holds it until `finish` turns it over; the others are
    /// free until then.
    fn loss(&self, n: f64, p_dc: &[f64], v: Option<&[f64]>, [loss, here, next]: [&mut [f64]; 3]) {
        match v {
            Some(v) if self.uses_voltage() => {
                self.at_v[0].1.column(1.0 / n, p_dc, loss);
                here.copy_from_slice(loss);
                for pair in self.at_v.windows(2) {
                    pair[1].1.column(1.0 / n, p_dc, next);
                    blend(&v[..p_dc.len()], [pair[0].0, pair[1].0], next, here, loss);
                }
            }
            _ => self.curve.column(1.0 / n, p_dc, loss),
        }
    }

    /// Efficiency 0..1 at a share of the AC rating, before the AC limit; 0 at no load.
    pub fn efficiency_at(&self, load: f64) -> f64 {
        let wanted = load * self.p_ac_w;
        if !wanted.is_finite() || wanted <= 0.0 {
            return 0.0;
        }
        // Output rises with input: halve an interval that holds the answer.
        let (mut low, mut high) = (wanted, wanted * 2.0);
        while high - self.curve.at(high) < wanted && high < f64::MAX / 4.0 {
            high *= 2.0;
        }
        for _ in 0..200 {
            let middle = 0.5 * (low + high);
            if middle - self.curve.at(middle) < wanted { low = middle } else { high = middle }
        }
        wanted / high
    }

    /// European weighted efficiency, 0..1 (EN 50530).
    pub fn european_efficiency(&self) -> f64 {
        self.weighted(&EUROPEAN)
    }

    /// California weighted efficiency, 0..1.
    pub fn california_efficiency(&self) -> f64 {
        self.weighted(&CALIFORNIA)
    }

    fn weighted(&self, weights: &[[f64; 2]]) -> f64 {
        weights.iter().map(|[load, weight]| weight * self.efficiency_at(*load)).sum()
    }
}

crate::wide! {
    /// From the loss at one voltage towards the next: `loss += share (next - here)`, then `here = next`.
    fn blend(v: &[f64], span: [f64; 2], next: &[f64], here: &mut [f64], loss: &mut [f64]) {
        let per = 1.0 / (span[1] - span[0]);
        for (((v, next), here), loss) in v.iter().zip(next).zip(here.iter_mut()).zip(loss.iter_mut()) {
            let t = (v - span[0]) * per;
            let t = if t > 0.0 { t } else { 0.0 };
            let t = if t < 1.0 { t } else { 1.0 };
            *loss += t * (next - *here);
            *here = *next;
        }
    }
}

crate::wide! {
    /// Turns loss into power before the limit, and the limit of one inverter into the draw.
    fn finish(n: f64, night: f64, by_current: f64, p_dc: &[f64], before: &mut [f64], ac: &mut [f64], draw: &mut [f64]) {
        for (((dc, before), ac), draw) in p_dc.iter().zip(before.iter_mut()).zip(ac.iter_mut()).zip(draw.iter_mut()) {
            let loss = n * *before;
            let loss = if loss > 0.0 { loss } else { 0.0 };
            let out = dc - loss;
            let out = if out > 0.0 { out } else { 0.0 };
            let limit = if *draw < by_current { *draw } else { by_current };
            let limit = n * limit;
            *before = out;
            *ac = if out < limit { out } else { limit };
            *draw = if out > 0.0 { 0.0 } else { night };
        }
    }
}

crate::wide! {
    /// Turns loss into power before the limit, and sets the draw.
    fn finish_open(n: f64, night: f64, p_dc: &[f64], before: &mut [f64], draw: &mut [f64]) {
        for ((dc, before), draw) in p_dc.iter().zip(before.iter_mut()).zip(draw.iter_mut()) {
            let loss = n * *before;
            let loss = if loss > 0.0 { loss } else { 0.0 };
            let out = dc - loss;
            let out = if out > 0.0 { out } else { 0.0 };
            *before = out;
            *draw = if out > 0.0 { 0.0 } else { night };
        }
    }
}

fn check_limits(sheet: &InverterSheet) -> Result<(), PlantError> {
    maybe_positive("i_ac_max", sheet.i_ac_max, "A")?;
    maybe_positive("v_dc_max", sheet.v_dc_max, "V")?;
    maybe_positive("v_start", sheet.v_start, "V")?;
    maybe_positive("i_input_max", sheet.i_input_max, "A")?;
    maybe_positive("i_sc_input_max", sheet.i_sc_input_max, "A")?;
    if let Some(phases) = sheet.phases
        && phases != 1
        && phases != 3
    {
        return Err(PlantError::value("phases", phases, "1 or 3", "Leave it out for 3."));
    }
    for (key, count) in [("inputs", sheet.inputs), ("strings_per_input", sheet.strings_per_input)] {
        if let Some(n) = count
            && !(1..=1000).contains(&n)
        {
            return Err(PlantError::value(key, n, "a count from 1 to 1000", "Leave it out if it is not known."));
        }
    }
    if let Some([low, high]) = sheet.window_v {
        let fine = low.is_finite() && high.is_finite() && low >= 0.0 && high > low;
        if !fine {
            return Err(PlantError::value(
                "window_v",
                format!("[{low}, {high}]"),
                "[lowest V, highest V], ascending",
                "Take the tracking range from the data sheet.",
            ));
        }
        if sheet.v_dc_max.is_some_and(|most| high > most) {
            return Err(PlantError::value(
                "window_v",
                format!("[{low}, {high}]"),
                format!("an upper end not above v_dc_max ({} V)", sheet.v_dc_max.unwrap_or_default()),
                "Check which of the two the data sheet states.",
            ));
        }
    }
    Ok(())
}

fn curves_at_voltages(sheet: &InverterSheet, p_ac_w: f64, main: &Curve) -> Result<Vec<(f64, Curve)>, PlantError> {
    let mut curves = Vec::new();
    if let Some(v) = maybe_positive("efficiency_v", sheet.efficiency_v, "V")? {
        curves.push((v, main.clone()));
    }
    for (i, further) in sheet.efficiency_at_v.iter().enumerate() {
        let v = positive(&format!("efficiency_at_v[{i}].v"), further.v, "V")?;
        let key = format!("efficiency_at_v[{i}].efficiency");
        curves.push((v, Curve::loss(&loss_points(&key, p_ac_w, &further.efficiency, false)?)));
    }
    if sheet.efficiency_at_v.len() == 1 && curves.len() == 1 {
        return Err(PlantError::missing(
            "efficiency_v",
            "the DC voltage that `efficiency` was measured at",
            "One curve in efficiency_at_v alone gives no slope over voltage; state efficiency_v or a second curve.",
        ));
    }
    curves.sort_by(|a, b| a.0.total_cmp(&b.0));
    if let Some(pair) = curves.windows(2).find(|w| w[1].0 - w[0].0 <= 0.0) {
        return Err(PlantError::value(
            "efficiency_at_v",
            format!("two curves at {} V", pair[0].0),
            "each voltage once",
            "Take one of them out.",
        ));
    }
    Ok(curves)
}

fn derate(sheet: &InverterSheet, p_ac_w: f64) -> Result<Curve, PlantError> {
    for (i, &[t, p]) in sheet.derate.iter().enumerate() {
        let key = format!("derate[{i}]");
        if !t.is_finite() || !(-60.0..=120.0).contains(&t) {
            return Err(PlantError::value(
                key,
                t,
                "an air temperature from -60 to 120 C",
                "Check the first number of the pair.",
            ));
        }
        if !p.is_finite() || p < 0.0 || p > 2.0 * p_ac_w {
            return Err(PlantError::value(
                key,
                p,
                format!("a power from 0 to twice the rating ({p_ac_w} W)"),
                "Powers are in W, not kW.",
            ));
        }
        if i > 0 && t <= sheet.derate[i - 1][0] {
            return Err(PlantError::value(
                key,
                t,
                "a temperature above the one before",
                "Put the points in ascending order.",
            ));
        }
    }
    Ok(if sheet.derate.is_empty() { Curve::constant(p_ac_w) } else { Curve::straight(&sheet.derate) })
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use proptest::prelude::*;

    pub(crate) const DEMO: &str = "p_ac_w = 33000\nv_dc_max = 1000\nwindow_v = [200, 850]\ninputs = 3\n\
        strings_per_input = 2\ni_input_max = 32\ni_sc_input_max = 45\nnight_w = 5\nefficiency = [[5, 94.0], \
        [10, 96.5], [20, 97.6], [30, 98.0], [50, 98.3], [75, 98.2], [100, 97.9]]";

    fn demo() -> InverterSheet {
        toml::from_str(DEMO).unwrap()
    }

    #[test]
    fn the_limit_clips_and_night_draws() {
        let inverter = Inverter::new(&demo()).unwrap();
        let mut out = AcColumns::default();
        inverter.convert(2, &[0.0, 50.0, 20_000.0, 90_000.0], None, &[20.0; 4], &mut out);
        assert_eq!(out.ac[0], 0.0);
        assert_eq!(out.draw, [10.0, 10.0, 0.0, 0.0]);
        assert_eq!(out.ac[3], 66_000.0);
        assert!(out.before_limit[3] > 66_000.0 && out.before_limit[3] < 90_000.0);
        assert!(out.ac[2] > 19_400.0 && out.ac[2] < 19_700.0);
    }

    #[test]
    fn derating_has_bounds() {
        let with = |point: [f64; 2]| {
            let mut sheet = demo();
            sheet.derate = vec![point];
            Inverter::new(&sheet).map(|_| ())
        };
        for good in [[-60.0, 0.0], [120.0, 66_000.0], [45.0, 33_000.0]] {
            with(good).unwrap();
        }
        for bad in [[-60.1, 1.0], [120.1, 1.0], [f64::NAN, 1.0], [45.0, -1.0], [45.0, 66_001.0], [45.0, f64::NAN]] {
            assert!(with(bad).unwrap_err().to_string().contains("derate[0]"), "{bad:?}");
        }
    }

    #[test]
    fn heat_and_current_lower_the_limit() {
        let mut sheet = demo();
        sheet.derate = vec![[45.0, 33_000.0], [60.0, 18_000.0]];
        let inverter = Inverter::new(&sheet).unwrap();
        let mut out = AcColumns::default();
        inverter.convert(1, &[40_000.0; 3], None, &[20.0, 52.5, 70.0], &mut out);
        assert_eq!(out.ac, [33_000.0, 25_500.0, 18_000.0]);
        sheet.i_ac_max = Some(40.0);
        let inverter = Inverter::new(&sheet).unwrap();
        assert!((inverter.limit_w(0.0) - 40.0 * 400.0 * 3.0_f64.sqrt()).abs() < 1e-9);
        assert!(inverter.notes()[0].loud);
        assert!(Inverter::on_grid(&sheet, 480.0).unwrap().notes().is_empty());
    }

    #[test]
    fn no_load_has_no_efficiency() {
        let inverter = Inverter::new(&demo()).unwrap();
        assert_eq!([0.0, -0.5, f64::NAN, f64::INFINITY].map(|load| inverter.efficiency_at(load)), [0.0; 4]);
        assert!(inverter.efficiency_at(0.5) > 0.9);
    }

    #[test]
    fn voltage_lies_between_its_curves() {
        let mut sheet = demo();
        sheet.efficiency_v = Some(600.0);
        let lower = sheet.efficiency.iter().map(|[l, e]| [*l, e - 0.5]).collect();
        sheet.efficiency_at_v = vec![crate::plant::EfficiencyAtVoltage { v: 300.0, efficiency: lower }];
        let inverter = Inverter::new(&sheet).unwrap();
        let mut out = AcColumns::default();
        let dc = [15_000.0; 5];
        inverter.convert(1, &dc, Some(&[100.0, 300.0, 450.0, 600.0, 900.0]), &[20.0; 5], &mut out);
        assert_eq!(out.ac[0], out.ac[1]);
        assert_eq!(out.ac[3], out.ac[4]);
        assert!((out.ac[2] - 0.5 * (out.ac[1] + out.ac[3])).abs() < 1e-9);
        assert!(out.ac[3] > out.ac[1]);
        let mut plain = AcColumns::default();
        inverter.convert(1, &dc, None, &[20.0; 5], &mut plain);
        assert_eq!(plain.ac[0], out.ac[3]);
        // Two inverters share twice the power.
        let one = out.ac.clone();
        inverter.convert(2, &dc.map(|p| 2.0 * p), Some(&[100.0, 300.0, 450.0, 600.0, 900.0]), &[20.0; 5], &mut out);
        for (two, one) in out.ac.iter().zip(&one) {
            assert!((two - 2.0 * one).abs() < 1e-9, "{two} {one}");
        }
    }

    #[test]
    fn slips_in_the_sheet_are_named() {
        let wrong = |change: &dyn Fn(&mut InverterSheet), key: &str| {
            let mut sheet = demo();
            change(&mut sheet);
            let text = Inverter::new(&sheet).unwrap_err().to_string();
            assert!(text.starts_with(key), "{text}");
        };
        wrong(&|s| s.efficiency.clear(), "efficiency is missing");
        wrong(&|s| s.efficiency[1][1] = 0.965, "efficiency[1] is 0.965; expected an efficiency in percent");
        wrong(&|s| s.efficiency[1][1] = 104.0, "efficiency[1] is 104");
        wrong(&|s| s.efficiency[2][0] = 10.0, "efficiency[2] is 10");
        for load in [f64::NAN, f64::INFINITY, 0.0, -5.0, 200.1] {
            wrong(&|s| s.efficiency[1][0] = load, "efficiency[1] is ");
        }
        for eta in [f64::NAN, f64::INFINITY, 0.0, -5.0] {
            wrong(&|s| s.efficiency[1][1] = eta, "efficiency[1] is ");
        }
        wrong(&|s| s.efficiency[0][1] = 40.0, "efficiency[1] is 96.5");
        wrong(&|s| s.p_ac_w = f64::NAN, "p_ac_w is NaN");
        wrong(&|s| s.phases = Some(2), "phases is 2");
        wrong(&|s| s.window_v = Some([850.0, 200.0]), "window_v is [850, 200]");
        wrong(&|s| s.window_v = Some([200.0, 1200.0]), "window_v is [200, 1200]");
        wrong(&|s| s.derate = vec![[40.0, 33.0e6]], "derate[0]");
        wrong(&|s| s.night_w = -1.0, "night_w is -1");
        wrong(&|s| s.inputs = Some(0), "inputs is 0");
    }

    proptest! {
        #[test]
        fn laws_of_conversion(
            etas in proptest::collection::vec(60.0..99.9_f64, 1..10),
            dc in proptest::collection::vec(0.0..80_000.0_f64, 1..150),
            t in -30.0..60.0_f64,
            n in 1u32..4,
            limit in 1_000.0..40_000.0_f64,
        ) {
            let mut sheet = demo();
            let count = etas.len();
            sheet.efficiency = etas.iter().enumerate().map(|(i, &e)| [100.0 * (i + 1) as f64 / count as f64, e]).collect();
            sheet.derate = vec![[30.0, limit], [50.0, limit * 0.5]];
            let Ok(inverter) = Inverter::new(&sheet) else { return Ok(()) };
            let mut dc = dc;
            dc.sort_by(f64::total_cmp);
            let mut out = AcColumns::default();
            inverter.convert(n, &dc, None, &vec![t; dc.len()], &mut out);
            let most = f64::from(n) * inverter.limit_w(t);
            for (i, &dc) in dc.iter().enumerate() {
                prop_assert!(out.ac[i] >= 0.0 && out.ac[i] <= most * (1.0 + 1e-15));
                prop_assert!(out.ac[i] <= out.before_limit[i] && out.before_limit[i] <= dc);
                prop_assert_eq!(out.draw[i], if out.before_limit[i] > 0.0 { 0.0 } else { 5.0 * f64::from(n) });
                if i > 0 {
                    prop_assert!(out.before_limit[i] >= out.before_limit[i - 1] - 1e-8);
                    prop_assert!(out.ac[i] >= out.ac[i - 1] - 1e-8);
                }
            }
        }
    }
}
