//! What is wrong with a module record, alone or beside itself.

use serde::Serialize;

use super::{KING_MOUNTS, ModuleError, ModuleSheet};

/// One thing wrong with a record.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// The key, or the keys that do not go together.
    pub key: String,
    /// What was found.
    pub found: String,
    /// What is expected.
    pub expected: String,
    /// How to mend it.
    pub mend: String,
}

impl std::fmt::Display for Finding {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} is {}; expected {}.\n  {}", self.key, self.found, self.expected, self.mend)
    }
}

/// Everything that makes a record unusable; empty when it can be used.
pub fn validate(sheet: &ModuleSheet) -> Vec<Finding> {
    let mut out = Vec::new();
    let mut say = |key: &str, found: String, expected: &str, mend: &str| {
        out.push(Finding { key: key.into(), found, expected: expected.into(), mend: mend.into() });
    };
    let positive: [(&str, f64, f64, &str); 7] = [
        ("p_stc_w", sheet.p_stc_w, 2000.0, "W"),
        ("v_mp", sheet.v_mp, 500.0, "V"),
        ("i_mp", sheet.i_mp, 50.0, "A"),
        ("v_oc", sheet.v_oc, 500.0, "V"),
        ("i_sc", sheet.i_sc, 50.0, "A"),
        ("length_mm", sheet.length_mm, 5000.0, "mm"),
        ("width_mm", sheet.width_mm, 5000.0, "mm"),
    ];
    let mut whole = true;
    for (key, value, most, unit) in positive {
        if !(value > 0.0 && value <= most) {
            whole = false;
            say(
                key,
                format!("{value} {unit}"),
                &format!("above 0 and at most {most} {unit}"),
                "Take the value at standard test conditions from the sheet.",
            );
        }
    }
    let gamma = sheet.gamma_pct_per_k;
    if !(-1.0..=-0.05).contains(&gamma) {
        let mend = if gamma > 0.0 {
            "Power falls with heat: write it with a minus sign, -0.35."
        } else if gamma < -1.0 {
            "Percent per kelvin is expected: -0.35, not -35 or W/K."
        } else if gamma > -0.05 && gamma < 0.0 {
            "Percent per kelvin is expected: -0.35, not the share -0.0035."
        } else {
            "Take the temperature coefficient of maximum power from the sheet."
        };
        say("gamma_pct_per_k", format!("{gamma} %/K"), "-1.0 to -0.05 %/K (silicon -0.24 to -0.47)", mend);
    }
    if let Some(beta) = sheet.beta_pct_per_k
        && !(-0.8..=-0.1).contains(&beta)
    {
        let mend = if beta > 0.0 {
            "Voltage falls with heat: write it with a minus sign, -0.27."
        } else if beta < -0.8 {
            "Percent per kelvin is expected; mV/K are to be divided by v_oc and by 10."
        } else {
            "Percent per kelvin is expected: -0.27, not the share -0.0027 or V/K."
        };
        say("beta_pct_per_k", format!("{beta} %/K"), "-0.8 to -0.1 %/K", mend);
    }
    if let Some(alpha) = sheet.alpha_pct_per_k
        && !(-0.05..=0.2).contains(&alpha)
    {
        say(
            "alpha_pct_per_k",
            format!("{alpha} %/K"),
            "-0.05 to 0.2 %/K (usually 0.03 to 0.07)",
            "Percent per kelvin is expected; mA/K are to be divided by i_sc and by 10.",
        );
    }
    if whole {
        if sheet.v_oc <= sheet.v_mp {
            say(
                "v_oc beside v_mp",
                format!("{} V beside {} V", sheet.v_oc, sheet.v_mp),
                "v_oc above v_mp",
                "The two are swapped, or one is of another module.",
            );
        }
        if sheet.i_sc <= sheet.i_mp {
            say(
                "i_sc beside i_mp",
                format!("{} A beside {} A", sheet.i_sc, sheet.i_mp),
                "i_sc above i_mp",
                "The two are swapped, or one is of another module.",
            );
        }
        let product = sheet.v_mp * sheet.i_mp;
        if (product / sheet.p_stc_w - 1.0).abs() > 0.02 {
            say(
                "v_mp x i_mp beside p_stc_w",
                format!("{product:.1} W beside {} W", sheet.p_stc_w),
                "the same within 2 %",
                "Check that all three are at standard test conditions and of the same power class.",
            );
        }
        let efficiency = 100.0 * sheet.efficiency();
        if !(2.0..=30.0).contains(&efficiency) {
            say(
                "p_stc_w over length_mm x width_mm",
                format!("an efficiency of {efficiency:.1} %"),
                "2 to 30 %",
                "Check the size: millimetres of the whole module.",
            );
        }
    }
    if let Some(cells) = sheet.series_cells {
        let per_cell = sheet.v_oc / f64::from(cells.max(1));
        if cells == 0 || !(0.4..=3.0).contains(&per_cell) {
            say(
                "series_cells beside v_oc",
                format!("{cells} cells, {per_cell:.3} V per cell"),
                "0.4 to 3 V per cell (silicon 0.60 to 0.75)",
                "Count the cells in series of one parallel branch: a module of 108 half cells has 54.",
            );
        }
    }
    let optional: [(&str, Option<f64>, f64, f64, &str); 9] = [
        ("nmot_c", sheet.nmot_c, 30.0, 70.0, "C; the temperature itself, not its rise"),
        ("noct_c", sheet.noct_c, 30.0, 70.0, "C; the temperature itself, not its rise"),
        ("bifaciality", sheet.bifaciality, 0.0, 1.0, "as a share: 0.78, not 78"),
        ("ageing_pct_per_year", sheet.ageing_pct_per_year, 0.0, 5.0, "percent a year"),
        ("light_induced_pct", sheet.light_induced_pct, 0.0, 30.0, "percent, positive"),
        ("a_r", sheet.a_r, 0.05, 0.5, "clean glass 0.16"),
        ("cell_above_back_k", sheet.cell_above_back_k, 0.0, 10.0, "K at 1000 W/m2"),
        ("heat_capacity_j_m2_k", sheet.heat_capacity_j_m2_k, 0.0, 100_000.0, "J/(m2 K); about 11000"),
        ("mass_kg", sheet.mass_kg, 0.1, 200.0, "kg"),
    ];
    for (key, value, low, high, hint) in optional {
        if let Some(value) = value
            && !(low..=high).contains(&value)
        {
            say(key, format!("{value}"), &format!("{low} to {high} ({hint})"), "Correct it or leave it out.");
        }
    }
    for [g, eta] in &sheet.low_light {
        if !((5.0..=1500.0).contains(g) && (0.3..=1.3).contains(eta)) {
            say(
                "low_light",
                format!("[{g}, {eta}]"),
                "irradiance 5 to 1500 W/m2 and efficiency over that at STC 0.3 to 1.3",
                "Write [200, 0.96] for 96 % of the STC efficiency at 200 W/m2.",
            );
        }
    }
    if let Some(name) = sheet.temperature.as_deref()
        && name != "faiman"
        && !KING_MOUNTS.iter().any(|m| m.0 == name)
    {
        let names: Vec<&str> = KING_MOUNTS.iter().map(|m| m.0).collect();
        say(
            "temperature",
            format!("\"{name}\""),
            &format!("faiman, {}", names.join(", ")),
            "Leave it out to take the Faiman model.",
        );
    }
    out
}

/// The first finding of [`validate`] as an error.
pub(crate) fn refuse_impossible(sheet: &ModuleSheet) -> Result<(), ModuleError> {
    match validate(sheet).into_iter().next() {
        Some(f) => Err(ModuleError::Value { key: f.key, found: f.found, expected: f.expected, mend: f.mend }),
        None => Ok(()),
    }
}
