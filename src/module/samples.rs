//! Invented sheets for the tests, one per technology, within the usual ranges.

use super::{ModuleSheet, Technology};

/// `technology, p, v_mp, i_mp, v_oc, i_sc, gamma, beta, alpha, cells, length, width, eta at 200 W/m2`.
type Row = (Technology, f64, f64, f64, f64, f64, f64, f64, f64, u32, f64, f64, Option<f64>);

const ROWS: [Row; 12] = [
    // The demo's three.
    (Technology::PPassivated, 410.0, 31.25, 13.12, 37.4, 13.95, -0.350, -0.275, 0.045, 54, 1722.0, 1134.0, Some(0.960)),
    (Technology::NContact, 445.0, 29.30, 15.19, 34.6, 16.10, -0.290, -0.245, 0.045, 48, 1762.0, 1134.0, Some(0.976)),
    (Technology::NContact, 435.0, 32.60, 13.345, 39.0, 14.10, -0.300, -0.250, 0.046, 54, 1722.0, 1134.0, Some(0.972)),
    (Technology::MultiSi, 275.0, 31.3, 8.79, 38.1, 9.30, -0.410, -0.310, 0.055, 60, 1650.0, 992.0, Some(0.955)),
    (Technology::MonoSi, 255.0, 30.5, 8.36, 37.8, 8.95, -0.430, -0.320, 0.050, 60, 1650.0, 992.0, Some(0.950)),
    (
        Technology::Heterojunction,
        440.0,
        37.6,
        11.70,
        44.5,
        12.25,
        -0.260,
        -0.240,
        0.040,
        60,
        1755.0,
        1134.0,
        Some(0.975),
    ),
    (Technology::BackContact, 430.0, 33.1, 12.99, 39.4, 13.75, -0.280, -0.235, 0.050, 54, 1722.0, 1134.0, None),
    (Technology::CdTe, 465.0, 186.5, 2.494, 222.0, 2.70, -0.320, -0.280, 0.040, 264, 2009.0, 1232.0, Some(0.985)),
    (Technology::Cigs, 170.0, 86.0, 1.977, 110.0, 2.20, -0.360, -0.300, 0.010, 170, 1257.0, 977.0, Some(0.945)),
    (Technology::AmorphousSi, 100.0, 77.0, 1.299, 101.0, 1.55, -0.250, -0.330, 0.090, 38, 1300.0, 1100.0, Some(0.930)),
    // Old and leaky; new and nearly perfect.
    (Technology::MultiSi, 46.2, 18.26, 2.532, 22.07, 2.741, -0.4105, -0.3308, 0.0503, 36, 700.0, 490.0, Some(0.877)),
    (Technology::BackContact, 470.0, 34.9, 13.467, 40.0, 14.05, -0.260, -0.220, 0.040, 54, 1722.0, 1134.0, Some(0.990)),
];

/// One sheet of the list.
fn sheet(row: &Row) -> ModuleSheet {
    let (technology, p, v_mp, i_mp, v_oc, i_sc, gamma, beta, alpha, cells, length, width, low) = *row;
    let mut sheet = bare();
    sheet.technology = Some(technology);
    sheet.p_stc_w = p;
    sheet.v_mp = v_mp;
    sheet.i_mp = i_mp;
    sheet.v_oc = v_oc;
    sheet.i_sc = i_sc;
    sheet.gamma_pct_per_k = gamma;
    sheet.beta_pct_per_k = Some(beta);
    sheet.alpha_pct_per_k = Some(alpha);
    sheet.series_cells = Some(cells);
    sheet.length_mm = length;
    sheet.width_mm = width;
    sheet.low_light = low.map(|l| vec![[200.0, l]]).unwrap_or_default();
    sheet
}

/// All of them.
pub(crate) fn sheets() -> Vec<ModuleSheet> {
    ROWS.iter().map(sheet).collect()
}

/// The demo's P410.
pub(crate) fn p410() -> ModuleSheet {
    sheet(&ROWS[0])
}

/// Only what is required.
pub(crate) fn bare() -> ModuleSheet {
    ModuleSheet {
        name: None,
        p_stc_w: 410.0,
        v_mp: 31.25,
        i_mp: 13.12,
        v_oc: 37.4,
        i_sc: 13.95,
        gamma_pct_per_k: -0.35,
        beta_pct_per_k: None,
        alpha_pct_per_k: None,
        series_cells: None,
        technology: None,
        low_light: Vec::new(),
        matrix: None,
        electrical: None,
        one_diode: None,
        nmot_c: None,
        noct_c: None,
        a_r: None,
        glass: None,
        incidence_table: Vec::new(),
        temperature: None,
        cell_above_back_k: None,
        heat_capacity_j_m2_k: None,
        length_mm: 1722.0,
        width_mm: 1134.0,
        mass_kg: None,
        bypass_groups: None,
        half_cells: None,
        bifaciality: None,
        light_induced_pct: None,
        rating_basis: None,
        ageing_pct_per_year: None,
        p_tolerance_pct: None,
        v_oc_tolerance_pct: None,
        guarantee: Vec::new(),
        product_warranty_years: None,
        clamp_zones: Vec::new(),
        v_system_max: None,
        fuse_max_a: None,
        price_per_w: None,
        source: None,
    }
}
