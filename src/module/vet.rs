//! A module record under the lamp: does it hold together, and what does the model make of it.

use serde::Serialize;

use super::typical::{Range, of};
use super::{Electrical, Finding, Glass, Matrix, ModuleSheet, OperatingPoint, Power, RatingBasis, validate};
use crate::units::{BOLTZMANN, ELEMENTARY_CHARGE, G_STC, Note, T_STC, ZERO_CELSIUS_K};

/// Irradiances of the map, W/m2: those of IEC 61853-1 and two weaker ones.
pub const MAP_G: [f64; 9] = [20.0, 50.0, 100.0, 200.0, 400.0, 600.0, 800.0, 1000.0, 1100.0];
/// Cell temperatures of the map, C: those of IEC 61853-1 and a cold one.
pub const MAP_T: [f64; 6] = [-10.0, 15.0, 25.0, 50.0, 65.0, 75.0];

/// What `vet` finds about one module.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Vet {
    /// Tag in the parts file.
    pub tag: String,
    /// What makes the record unusable.
    pub faults: Vec<Finding>,
    /// What lies outside the usual or does not fit together well.
    pub doubts: Vec<Finding>,
    /// Defaults taken and other notes of the models.
    pub notes: Vec<Note>,
    /// The model; none when the record is unusable.
    pub model: Option<VetModel>,
}

/// What the fitted model says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct VetModel {
    /// Electrical model.
    pub electrical: String,
    /// Incidence model.
    pub incidence: String,
    /// Module efficiency at standard test conditions, percent.
    pub efficiency_pct: f64,
    /// Fill factor.
    pub fill_factor: f64,
    /// Open-circuit voltage per cell, V, when the count is known.
    pub v_oc_per_cell: Option<f64>,
    /// Parameters of the voltage curve at standard test conditions.
    pub diode: Option<VetDiode>,
    /// Points at STC and at 800 W/m2 and 45 C.
    pub stc: OperatingPoint,
    /// See `stc`.
    pub warm: OperatingPoint,
    /// Coefficients met by the model between 25 and 75 C at 1000 W/m2, %/K: power, v_oc, i_sc, v_mp, i_mp.
    pub coefficients_pct_per_k: [f64; 5],
    /// Irradiances of the map, W/m2.
    pub map_g: Vec<f64>,
    /// Cell temperatures of the map, C.
    pub map_t: Vec<f64>,
    /// Efficiency over that at STC, a row per irradiance.
    pub map: Vec<Vec<f64>>,
    /// Relative efficiency at 1000 W/m2 and 65 C, and at 200 W/m2 and 15 C.
    pub hot: f64,
    /// See `hot`.
    pub cool: f64,
    /// Root mean square miss of the measured matrix, weighted by irradiance, percent of power.
    pub matrix_rmse_pct: Option<f64>,
}

/// Fitted parameters of the one-diode curve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct VetDiode {
    /// Light current, A.
    pub light_current_a: f64,
    /// Saturation current, A.
    pub saturation_current_a: f64,
    /// Series resistance, ohm.
    pub series_ohm: f64,
    /// Shunt resistance, ohm; none when the fit needs no shunt.
    pub shunt_ohm: Option<f64>,
    /// Modified ideality, V.
    pub modified_ideality_v: f64,
    /// Ideality per cell, when the count is known.
    pub ideality: Option<f64>,
}

/// Checks and fits one module.
pub fn vet(tag: &str, sheet: &ModuleSheet, matrix: Option<&Matrix>) -> Vet {
    let mut out =
        Vet { tag: tag.to_string(), faults: validate(sheet), doubts: doubts(sheet), notes: Vec::new(), model: None };
    if !out.faults.is_empty() {
        out.doubts.clear();
        return out;
    }
    let fault = |key: &str, e: super::ModuleError| Finding {
        key: key.to_string(),
        found: "not usable".to_string(),
        expected: "a record that its model can use".to_string(),
        mend: e.to_string(),
    };
    let glass = match Glass::from_sheet(sheet) {
        Ok(glass) => glass,
        Err(e) => {
            out.faults.push(fault("incidence", e));
            return out;
        }
    };
    let (electrical, notes) = match Electrical::fit(sheet, matrix) {
        Ok(fitted) => fitted,
        Err(e) => {
            out.faults.push(fault("electrical", e));
            return out;
        }
    };
    out.notes = notes;
    out.notes.extend(super::light_induced(sheet).1);
    out.notes.extend(Glass::notes(sheet));
    out.notes.extend(super::Thermal::notes(sheet));
    let model = model(sheet, &electrical, &glass, matrix);
    compare(sheet, &electrical, &model, matrix, &mut out.doubts);
    out.model = Some(model);
    out
}

fn model(sheet: &ModuleSheet, electrical: &Electrical, glass: &Glass, matrix: Option<&Matrix>) -> VetModel {
    let stc = electrical.point(G_STC, T_STC);
    let hot = electrical.point(G_STC, 75.0);
    let eta = |g: f64, t: f64| electrical.power(g, t) / sheet.p_stc_w * G_STC / g;
    let per_k = |x: f64, y: f64| 2.0 * (x / y - 1.0);
    let cells = sheet.series_cells.map(f64::from);
    VetModel {
        electrical: electrical.name(),
        incidence: glass.name(),
        efficiency_pct: 100.0 * sheet.efficiency(),
        fill_factor: stc.p_mp / (stc.v_oc * stc.i_sc),
        v_oc_per_cell: cells.map(|n| sheet.v_oc / n),
        diode: electrical.curve.as_ref().map(|c| VetDiode {
            light_current_a: c.stc.i_l,
            saturation_current_a: c.stc.i_0,
            series_ohm: c.stc.r_s,
            shunt_ohm: (c.stc.g_sh > 0.0).then(|| 1.0 / c.stc.g_sh),
            modified_ideality_v: c.stc.a,
            ideality: cells.map(|n| c.stc.a / (n * BOLTZMANN * (T_STC + ZERO_CELSIUS_K) / ELEMENTARY_CHARGE)),
        }),
        stc,
        warm: electrical.point(800.0, 45.0),
        coefficients_pct_per_k: [
            per_k(hot.p_mp, stc.p_mp),
            per_k(hot.v_oc, stc.v_oc),
            per_k(hot.i_sc, stc.i_sc),
            per_k(hot.v_mp, stc.v_mp),
            per_k(hot.i_mp, stc.i_mp),
        ],
        map_g: MAP_G.to_vec(),
        map_t: MAP_T.to_vec(),
        map: MAP_G.iter().map(|g| MAP_T.iter().map(|t| eta(*g, *t)).collect()).collect(),
        hot: eta(G_STC, 65.0),
        cool: eta(200.0, 15.0),
        matrix_rmse_pct: matrix.map(|m| {
            let weight: f64 = m.cells().iter().map(|c| c.g).sum();
            let miss = |c: &super::Cell| eta(c.g, c.t) / m.relative_efficiency(c) - 1.0;
            100.0 * (m.cells().iter().map(|c| c.g * miss(c) * miss(c)).sum::<f64>() / weight).sqrt()
        }),
    }
}

/// What the sheet alone makes one doubt.
fn doubts(sheet: &ModuleSheet) -> Vec<Finding> {
    let mut out = Vec::new();
    let usual = of(sheet.technology);
    let what =
        if sheet.technology.is_some() { "this technology" } else { "p-type passivated silicon (no technology given)" };
    let mut range = |key: &str, value: Option<f64>, range: Range, unit: &str, slack: f64| {
        if let Some(x) = value
            && !(x >= range.low - slack && x <= range.high + slack)
        {
            out.push(Finding {
                key: key.to_string(),
                found: format!("{} {unit}", short(x)),
                expected: format!("{} to {} {unit}, usual for {what}", short(range.low), short(range.high)),
                mend: "Check the figure, or the technology, against the sheet.".to_string(),
            });
        }
    };
    let cells = sheet.series_cells.map(f64::from);
    range("module efficiency", Some(100.0 * sheet.efficiency()), usual.efficiency, "%", 0.3);
    range("v_oc / series_cells", cells.map(|n| sheet.v_oc / n), usual.v_oc_cell, "V", 0.01);
    range("fill factor", Some(sheet.p_stc_w / (sheet.v_oc * sheet.i_sc)), usual.fill_factor, "", 0.01);
    range("gamma_pct_per_k", Some(sheet.gamma_pct_per_k), usual.gamma, "%/K", 0.01);
    range("beta_pct_per_k", sheet.beta_pct_per_k, usual.beta, "%/K", 0.01);
    range("alpha_pct_per_k", sheet.alpha_pct_per_k, usual.alpha, "%/K", 0.005);
    range("nmot_c", sheet.nmot_c, usual.nmot, "C", 0.5);
    range("light_induced_pct", sheet.light_induced_pct, usual.first_loss, "%", 0.1);
    range("ageing_pct_per_year", sheet.ageing_pct_per_year, usual.ageing, "% a year", 0.05);
    if sheet.bifaciality.is_some_and(|x| x > 0.0) {
        range("bifaciality", sheet.bifaciality, usual.bifaciality, "", 0.02);
    }
    let at_200 = sheet.low_light.iter().find(|p| (p[0] - 200.0).abs() < 1.0).map(|p| p[1]);
    range("low_light at 200 W/m2", at_200, usual.low_light_200, "of STC", 0.003);
    let mut say = |key: &str, found: String, expected: &str, mend: &str| {
        out.push(Finding { key: key.into(), found, expected: expected.into(), mend: mend.into() });
    };
    let product = sheet.v_mp * sheet.i_mp;
    if (product / sheet.p_stc_w - 1.0).abs() > 0.003 {
        say(
            "v_mp x i_mp beside p_stc_w",
            format!("{product:.2} W beside {} W", sheet.p_stc_w),
            "the same within rounding, 0.3 %",
            "The current at maximum power is taken as p_stc_w / v_mp; check the power class.",
        );
    }
    if let (Some(beta), Some(alpha)) = (sheet.beta_pct_per_k, sheet.alpha_pct_per_k)
        && sheet.gamma_pct_per_k > beta + alpha + 0.02
    {
        say(
            "gamma_pct_per_k beside beta and alpha",
            format!("{} beside {beta} + {alpha} %/K", sheet.gamma_pct_per_k),
            "gamma below beta + alpha: the fill factor falls with heat as well",
            "Check that the three coefficients come from the same test.",
        );
    }
    if let (Some(nmot), Some(noct)) = (sheet.nmot_c, sheet.noct_c)
        && !(0.0..=6.0).contains(&(noct - nmot))
    {
        say(
            "noct_c beside nmot_c",
            format!("{noct} C beside {nmot} C"),
            "a NOCT (open circuit) 0 to 6 K above the NMOT (maximum power)",
            "The two may be mixed up, or come from different tests.",
        );
    }
    let loss = sheet.light_induced_pct.unwrap_or(0.0);
    if loss > 0.0 && sheet.rating_basis != Some(RatingBasis::Initial) {
        let basis = if sheet.rating_basis.is_some() { "a stabilised rating" } else { "no rating_basis" };
        say(
            "light_induced_pct beside rating_basis",
            format!("{loss} % with {basis}"),
            "a first loss only with rating_basis = \"initial\"; else it may be counted twice",
            "Ask the maker whether the rated power was measured before or after stabilisation.",
        );
    }
    if sheet.low_light.is_empty() && sheet.matrix.is_none() {
        say(
            "low_light",
            "not given".to_string(),
            "one or more points from the sheet, or a measured matrix",
            "Without it no claim about weak light can be checked.",
        );
    }
    out
}

/// What the model and the matrix make one doubt.
fn compare(
    sheet: &ModuleSheet,
    electrical: &Electrical,
    model: &VetModel,
    matrix: Option<&Matrix>,
    out: &mut Vec<Finding>,
) {
    let mut say = |key: &str, found: String, expected: &str, mend: &str| {
        out.push(Finding { key: key.into(), found, expected: expected.into(), mend: mend.into() });
    };
    let gamma = model.coefficients_pct_per_k[0];
    if (gamma - sheet.gamma_pct_per_k).abs() > 0.03 {
        say(
            "gamma_pct_per_k beside the model",
            format!("{} %/K beside {gamma:.3} %/K of the fitted model", sheet.gamma_pct_per_k),
            "the same within 0.03 %/K",
            "Sheet and matrix or diode parameters come from different specimens or tests.",
        );
    }
    if let Some(m) = matrix {
        let ratio = m.p_stc_w() / sheet.p_stc_w;
        if (ratio - 1.0).abs() > 0.03 {
            say(
                "matrix at 1000 W/m2, 25 C beside p_stc_w",
                format!("{} W beside {} W", m.p_stc_w(), sheet.p_stc_w),
                "the same within 3 %",
                "Only the shape of the matrix is used; check that it is of this module.",
            );
        }
        for [g, eta] in &sheet.low_light {
            let mut a = [0.0];
            electrical.low_light(&[*g], &mut a);
            if (a[0] / eta - 1.0).abs() > 0.01 {
                say(
                    "low_light beside matrix",
                    format!("{eta} at {g} W/m2 beside {:.3} of the model", a[0]),
                    "the same within 1 %",
                    "The matrix is used, the point is not; find out which is right.",
                );
            }
        }
    }
    if let Power::Matrix { .. } = electrical.power
        && model.matrix_rmse_pct.is_some_and(|x| x > 1.5)
    {
        say(
            "matrix beside its fit",
            format!("missed by {:.2} % of power", model.matrix_rmse_pct.unwrap_or(0.0)),
            "1.5 % or better",
            "Look for a slip in a row; electrical = \"matrix-bilinear\" takes the table as it stands.",
        );
    }
    if let Some(ideality) = model.diode.and_then(|d| d.ideality)
        && !(0.7..=2.2).contains(&ideality)
    {
        say(
            "series_cells beside the four points",
            format!("an ideality of {ideality:.2} per cell"),
            "0.7 to 2.2 (half-cut cells count in series of one branch)",
            "Check series_cells and the four points; only voltages at partial load depend on it.",
        );
    }
}

/// At most four significant decimals, without trailing noise.
fn short(x: f64) -> String {
    let text = format!("{x:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

impl Vet {
    /// True when the record can be used.
    pub fn usable(&self) -> bool {
        self.faults.is_empty()
    }

    /// The map as CSV rows `tag,g,t,relative_efficiency,p_w` without a header.
    pub fn map_csv(&self) -> String {
        let mut out = String::new();
        if let Some(m) = &self.model {
            for (g, row) in m.map_g.iter().zip(&m.map) {
                for (t, eta) in m.map_t.iter().zip(row) {
                    out.push_str(&format!("{},{g},{t},{eta:.6},{:.4}\n", self.tag, m.stc.p_mp * eta * g / G_STC));
                }
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    #[test]
    fn the_demo_sheet_passes_and_its_map_is_anchored() {
        let v = vet("P410", &samples::p410(), None);
        assert!(v.usable() && v.doubts.is_empty(), "{v:?}");
        let m = v.model.as_ref().unwrap();
        assert!((m.map[7][2] - 1.0).abs() < 1e-12);
        assert!((m.map[3][2] - 0.960).abs() < 1e-6);
        assert!((m.hot - (1.0 - 0.0035 * 40.0)).abs() < 1e-12);
        assert_eq!(v.map_csv().lines().count(), MAP_G.len() * MAP_T.len());
        assert!(serde_json::to_string(&v).unwrap().contains("\"series_ohm\""));
    }

    #[test]
    fn planted_slips_are_found() {
        let with = |change: &dyn Fn(&mut ModuleSheet)| {
            let mut sheet = samples::p410();
            change(&mut sheet);
            let v = vet("X", &sheet, None);
            let all: Vec<String> = v.faults.iter().chain(&v.doubts).map(|f| f.to_string()).collect();
            (v.usable(), all.join("\n"))
        };
        for gamma in [0.35, -35.0, -0.0035] {
            let (usable, text) = with(&|s| s.gamma_pct_per_k = gamma);
            assert!(!usable && text.contains("gamma_pct_per_k"), "{text}");
        }
        let (usable, text) = with(&|s| std::mem::swap(&mut s.v_mp, &mut s.v_oc));
        assert!(!usable && text.contains("v_oc above v_mp"), "{text}");
        let (usable, text) = with(&|s| s.i_mp = 12.0);
        assert!(!usable && text.contains("p_stc_w"), "{text}");
        let (usable, text) = with(&|s| s.width_mm = 500.0);
        assert!(!usable && text.contains("efficiency"), "{text}");
        let (usable, text) = with(&|s| s.series_cells = Some(108));
        assert!(!usable && text.contains("half cells"), "{text}");
        let (usable, text) = with(&|s| s.light_induced_pct = Some(2.0));
        assert!(usable && text.contains("counted twice"), "{text}");
        let (usable, text) = with(&|s| (s.nmot_c, s.noct_c) = (Some(45.0), Some(42.0)));
        assert!(usable && text.contains("noct_c"), "{text}");
        let (usable, text) = with(&|s| s.beta_pct_per_k = Some(-0.45));
        assert!(usable && text.contains("beta"), "{text}");
    }
}
