//! How far the module models are from measured irradiance-temperature matrices.
//!
//! The data (NREL/TP-5200-61610, *Data for Validating Models for PV Module Performance*, 2014) are no part of the
//! project: the folder is that of the variable `YEARLIGHT_SHARED`, else `../shared/reference/modules`; where there is
//! none the check says so and passes over. `cargo test --test measured -- --nocapture` prints the table of
//! `docs/module-models.md`.

use std::collections::BTreeMap;
use std::path::PathBuf;

use yearlight::module::{Cell, Electrical, Matrix, ModuleSheet, Technology};

struct Row {
    g: f64,
    t: f64,
    i_sc: f64,
    v_oc: f64,
    i_mp: f64,
    v_mp: f64,
    p: f64,
}

fn folder() -> Option<PathBuf> {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    let given = std::env::var("YEARLIGHT_SHARED").ok().map(PathBuf::from);
    let tried =
        [given.clone(), given.map(|p| p.join("reference/modules")), Some(root.join("../shared/reference/modules"))];
    tried.into_iter().flatten().find(|p| p.join("matrices.csv").is_file())
}

fn read(path: PathBuf) -> Vec<BTreeMap<String, String>> {
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(path).unwrap();
    reader.deserialize().map(|r| r.unwrap()).collect()
}

/// Root of the mean square of relative errors, weighted by irradiance, percent.
fn rmse(pairs: &[(f64, f64)]) -> f64 {
    let weight: f64 = pairs.iter().map(|p| p.0).sum();
    100.0 * (pairs.iter().map(|(g, e)| g * e * e).sum::<f64>() / weight).sqrt()
}

fn median(mut x: Vec<f64>) -> f64 {
    x.sort_by(f64::total_cmp);
    let n = x.len();
    if n % 2 == 1 { x[n / 2] } else { 0.5 * (x[n / 2 - 1] + x[n / 2]) }
}

fn sheet(about: &BTreeMap<String, String>, rows: &[Row]) -> ModuleSheet {
    let number = |key: &str| about[key].parse::<f64>().unwrap();
    let stc = rows.iter().find(|r| r.g == 1000.0 && r.t == 25.0).unwrap();
    let technology = match about["technology"].as_str() {
        "poly" => Technology::MultiSi,
        "mono" | "xsi" | "xSi" => Technology::MonoSi,
        "heterojunction" => Technology::Heterojunction,
        "CdTe" => Technology::CdTe,
        "CIGS" => Technology::Cigs,
        _ => Technology::AmorphousSi,
    };
    let side = 1000.0 * number("area_m2").sqrt();
    let text = format!(
        "p_stc_w = {:?}\nv_mp = {:?}\ni_mp = {:?}\nv_oc = {:?}\ni_sc = {:?}\ngamma_pct_per_k = {:?}\nbeta_pct_per_k = {:?}\n\
         alpha_pct_per_k = {:?}\nseries_cells = {}\nlength_mm = {side:?}\nwidth_mm = {side:?}\n",
        stc.p,
        stc.v_mp,
        stc.i_mp,
        stc.v_oc,
        stc.i_sc,
        number("pmp_temp_coeff_pct_per_c"),
        number("voc_temp_coeff_pct_per_c"),
        number("isc_temp_coeff_pct_per_c"),
        about["cells_in_series"],
    );
    let mut sheet: ModuleSheet = toml::from_str(&text).unwrap();
    sheet.technology = Some(technology);
    sheet
}

#[test]
fn models_against_measured_matrices() {
    let Some(folder) = folder() else {
        println!("measured matrices: no folder found (set YEARLIGHT_SHARED); passed over");
        return;
    };
    let mut rows: BTreeMap<String, Vec<Row>> = BTreeMap::new();
    for r in read(folder.join("matrices.csv")) {
        let number = |key: &str| r[key].parse::<f64>().unwrap();
        rows.entry(r["module_id"].clone()).or_default().push(Row {
            g: number("irradiance_w_m2"),
            t: number("cell_temperature_c"),
            i_sc: number("isc_a"),
            v_oc: number("voc_v"),
            i_mp: number("imp_a"),
            v_mp: number("vmp_v"),
            p: number("pmp_w"),
        });
    }
    let names = [
        "sheet, 200",
        "sheet, 200+600",
        "sheet, no point",
        "gamma",
        "one-diode",
        "matrix",
        "matrix, left out",
        "bilinear, left out",
        "V_mp, sheet 200",
        "V_mp, matrix",
        "I_mp, sheet 200",
        "V_oc",
        "I_sc",
    ];
    println!("| module | {} |", names.join(" | "));
    println!("|---|{}", "---|".repeat(names.len()));
    let mut crystalline: Vec<Vec<f64>> = vec![Vec::new(); names.len()];
    let mut thin: Vec<Vec<f64>> = vec![Vec::new(); names.len()];
    for about in read(folder.join("modules.csv")) {
        let id = &about["module_id"];
        let rows = &rows[id];
        let sheet = sheet(&about, rows);
        let stc = sheet.p_stc_w;
        let relative = |g: f64| {
            let r = rows.iter().find(|r| r.g == g && r.t == 25.0).unwrap();
            [g, r.p / stc * 1000.0 / g]
        };
        let cells: Vec<Cell> = rows.iter().map(|r| Cell { g: r.g, t: r.t, p: r.p }).collect();
        let matrix = Matrix::new(cells.clone()).unwrap();
        let with = |name: &str, points: &[f64], matrix: Option<&Matrix>| -> Electrical {
            let mut sheet = sheet.clone();
            sheet.electrical = Some(name.to_string());
            sheet.low_light = points.iter().map(|g| relative(*g)).collect();
            Electrical::fit(&sheet, matrix).unwrap_or_else(|e| panic!("{id}: {e}")).0
        };
        let power =
            |m: &Electrical| rmse(&rows.iter().map(|r| (r.g, m.power(r.g, r.t) / r.p - 1.0)).collect::<Vec<_>>());
        let left_out = |name: &str| {
            let mut errors = Vec::new();
            for (j, r) in rows.iter().enumerate() {
                if name == "matrix-bilinear" && r.g == 1000.0 && r.t == 25.0 {
                    continue;
                }
                let rest: Vec<Cell> = cells.iter().enumerate().filter(|(k, _)| *k != j).map(|(_, c)| *c).collect();
                let rest = Matrix::relative_to(rest, stc).unwrap();
                errors.push((r.g, with(name, &[], Some(&rest)).power(r.g, r.t) / r.p - 1.0));
            }
            rmse(&errors)
        };
        let one = with("sheet", &[200.0], None);
        let from_matrix = with("matrix", &[], Some(&matrix));
        let column = |m: &Electrical, f: &dyn Fn(&yearlight::module::OperatingPoint, &Row) -> f64| {
            rmse(&rows.iter().map(|r| (r.g, f(&m.point(r.g, r.t), r) - 1.0)).collect::<Vec<_>>())
        };
        let values = [
            power(&one),
            power(&with("sheet", &[200.0, 600.0], None)),
            power(&with("sheet", &[], None)),
            power(&with("gamma", &[], None)),
            power(&with("one-diode", &[], None)),
            power(&from_matrix),
            left_out("matrix"),
            left_out("matrix-bilinear"),
            column(&one, &|at, r| at.v_mp / r.v_mp),
            column(&from_matrix, &|at, r| at.v_mp / r.v_mp),
            column(&one, &|at, r| at.i_mp / r.i_mp),
            column(&one, &|at, r| at.v_oc / r.v_oc),
            column(&one, &|at, r| at.i_sc / r.i_sc),
        ];
        println!("| {id} | {} |", values.map(|v| format!("{v:.2}")).join(" | "));
        let is_thin = matches!(sheet.technology, Some(Technology::CdTe | Technology::Cigs | Technology::AmorphousSi));
        // Named by the data set's users as unfit: mixed light soaking, cracked cells.
        if ["CIGS8-001", "CIGS39017", "xSi11246"].contains(&id.as_str()) {
            continue;
        }
        for (all, v) in (if is_thin { &mut thin } else { &mut crystalline }).iter_mut().zip(values) {
            all.push(v);
        }
    }
    let crystalline: Vec<f64> = crystalline.into_iter().map(median).collect();
    let thin: Vec<f64> = thin.into_iter().map(median).collect();
    for (name, all) in [("median, crystalline", &crystalline), ("median, thin film", &thin)] {
        println!("| {name} | {} |", all.iter().map(|v| format!("{v:.2}")).collect::<Vec<_>>().join(" | "));
    }
    // Marks: what a trial on 20 such matrices found for each kind of model (crystalline, thin film).
    assert!(crystalline[0] <= 0.90 && thin[0] <= 2.96, "sheet with one low-light point");
    assert!(crystalline[1] <= 0.74 && thin[1] <= 1.70, "sheet with two low-light points");
    assert!(crystalline[6] <= 0.40 && thin[6] <= 0.90, "matrix form, left out one by one");
    assert!(crystalline[7] <= 0.90, "bilinear, left out one by one");
}
