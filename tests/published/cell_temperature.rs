//! Cell temperature against Faiman, Progress in Photovoltaics 16 (2008) 307-315, King, Boyson, Kratochvil,
//! SAND2004-3535, and the nominal conditions of IEC 61215-2 (800 W/m2, 20 C, 1 m/s; from memory).

use yearlight::module::{ModuleSheet, Thermal};
use yearlight::plane::Cooling;

use crate::table::rows;

pub fn sheet(extra: &str) -> ModuleSheet {
    let text = format!(
        "p_stc_w = 410.0\nv_mp = 31.25\ni_mp = 13.12\nv_oc = 37.4\ni_sc = 13.95\ngamma_pct_per_k = -0.35\n\
         length_mm = 1722.0\nwidth_mm = 1134.0\n{extra}"
    );
    toml::from_str(&text).unwrap()
}

fn one(thermal: &Thermal, g: f64, t: f64, wind: f64) -> f64 {
    let mut out = [0.0];
    thermal.t_cell(&[g], &[t], &[wind], &mut out);
    out[0]
}

#[test]
fn table_rows() {
    let names = [
        ("king glass-cell-glass open rack", "king-glass-glass-open"),
        ("king glass-cell-glass close roof", "king-glass-glass-roof"),
        ("king glass-cell-polymer open rack", "king-glass-polymer-open"),
        ("king glass-cell-polymer insulated back", "king-glass-polymer-insulated"),
    ];
    let mut checked = 0;
    for r in rows(include_str!("data/cell_temperature.csv")) {
        let x = |k: &str| r.num(k);
        let (thermal, wanted) = match r.text("model") {
            "faiman U0=25 U1=6.84" => (Thermal::new(&Cooling::default(), &sheet(""), 2.0), x("module_temp_c")),
            model => {
                let Some((_, key)) = names.iter().find(|n| n.0 == model) else { continue };
                let sheet = sheet(&format!("temperature = \"{key}\""));
                (Thermal::new(&Cooling::default(), &sheet, 10.0), x("cell_temp_c"))
            }
        };
        let found = one(&thermal, x("plane_irradiance"), x("air_temp_c"), x("wind_m_s"));
        assert!((found - wanted).abs() < 1e-4, "{}: {found}", r.text("model"));
        checked += 1;
    }
    assert_eq!(checked, 35);
}

#[test]
fn nominal_conditions_return_the_nmot() {
    for nmot in [41.0, 43.5, 47.0] {
        let thermal = Thermal::new(&Cooling::default(), &sheet(&format!("nmot_c = {nmot:?}")), 2.0);
        assert!((one(&thermal, 800.0, 20.0, 1.0) - nmot).abs() < 1e-9);
    }
    // Without an NMOT: the open rack of Faiman, 45.1256 C.
    let thermal = Thermal::new(&Cooling::default(), &sheet(""), 2.0);
    assert!((one(&thermal, 800.0, 20.0, 1.0) - 45.125_628).abs() < 1e-5);
    // A module that runs 4 K above the open rack of 25.1256 K runs 29.1256/25.1256 warmer on a roof as well.
    let roof = Cooling { u0: 20.0, u1: 4.0, source: None };
    let plain = one(&Thermal::new(&roof, &sheet(""), 10.0), 700.0, 15.0, 3.0) - 15.0;
    let warm = one(&Thermal::new(&roof, &sheet("nmot_c = 49.125628"), 10.0), 700.0, 15.0, 3.0) - 15.0;
    assert!((warm / plain - 29.125_628 / 25.125_628).abs() < 1e-6);
    // Wind of 3 m/s at 10 m is 3 (2/10)^0.2 = 2.1744 m/s at 2 m.
    assert!((plain - 700.0 / (20.0 + 4.0 * 2.174_37)).abs() < 1e-3, "{plain}");
}

// Worked by hand: the back by the law of each, the cell above it by cell_above_back_k at 1000 W/m2, in proportion to the
// light (King et al., SAND2004-3535, eq. 12); wind of 4 m/s at 3 m is 4 (10/3)^0.2 = 5.08908 m/s at 10 m.
#[test]
fn cell_above_back_and_wind_of_other_heights() {
    let faiman = Thermal::new(&Cooling::default(), &sheet("cell_above_back_k = 2.5"), 2.0);
    let want = 20.0 + 800.0 / (25.0 + 6.84 * 3.0) + 2.0;
    assert!((one(&faiman, 800.0, 20.0, 3.0) - want).abs() < 1e-9);
    let king = Thermal::new(&Cooling::default(), &sheet("temperature = \"king-glass-polymer-open\""), 3.0);
    let want = 20.0 + 800.0 * (-3.56 - 0.0750 * 5.089_08_f64).exp() + 2.4;
    assert!((one(&king, 800.0, 20.0, 4.0) - want).abs() < 1e-4);
}

// A height that no anemometer has counts as the usual 10 m.
#[test]
fn wind_of_an_unknown_height_is_that_at_ten_metres() {
    let at = |height_m: f64| one(&Thermal::new(&Cooling::default(), &sheet(""), height_m), 800.0, 20.0, 4.0);
    for height_m in [0.0, -2.0, f64::NAN, f64::INFINITY] {
        assert_eq!(at(height_m), at(10.0), "{height_m}");
    }
    assert!(at(2.0) < at(10.0));
}

// A step in light: the exact answer of T' = (T_s - T)/tau is an exponential, whose mean over steps the model gives.
#[test]
fn inertia_follows_the_exponential() {
    for (wind_m_s, height_m) in [(1.0, 2.0), (4.0, 2.0), (4.0, 10.0)] {
        for more in ["", "\nnmot_c = 48.0", "\ntemperature = \"king-glass-glass-open\"\ncell_above_back_k = 0.0"] {
            follows(wind_m_s, height_m, more);
        }
    }
}

fn follows(wind_m_s: f64, height_m: f64, more: &str) {
    let capacity = format!("heat_capacity_j_m2_k = 11000.0{more}");
    let thermal = Thermal::new(&Cooling::default(), &sheet(&capacity), height_m);
    let n = 12;
    let (g, air, wind) = (vec![800.0; n], vec![20.0; n], vec![wind_m_s; n]);
    let steps: Vec<u32> = (100..100 + n as u32).collect();
    let mut t = vec![0.0; n];
    thermal.t_cell(&g, &air, &wind, &mut t);
    let steady = t[0];
    thermal.settle(&steps, 300.0, &air, &wind, &mut t);
    // Heat goes off at the rate that holds the steady rise, 800 W/m2 over it; without an NMOT by u0 + u1 v.
    let tau = 11_000.0 * (steady - 20.0) / 800.0;
    if more.is_empty() {
        let by_factors = 11_000.0 / (25.0 + 6.84 * wind_m_s * (2.0 / height_m).powf(0.2));
        assert!((tau / by_factors - 1.0).abs() < 1e-12, "{tau} {by_factors}");
    }
    for (j, found) in t.iter().enumerate() {
        let (a, b) = (300.0 * j as f64, 300.0 * (j as f64 + 1.0));
        let mean = steady + (20.0 - steady) * tau / 300.0 * ((-a / tau).exp() - (-b / tau).exp());
        assert!((found - mean).abs() < 1e-9, "step {j}: {found} {mean}");
    }
    // An hour later the module is where it would be without inertia.
    assert!((t[n - 1] - steady).abs() < 0.01);
    // Steps of no length, or of none that is known, leave the temperature as it was.
    for step_s in [0.0, -300.0, f64::NAN, f64::INFINITY] {
        let before = t.clone();
        thermal.settle(&steps, step_s, &air, &wind, &mut t);
        assert_eq!(t, before, "{step_s}");
    }
    let light = Thermal::new(&Cooling::default(), &sheet(""), height_m);
    let before = t.clone();
    light.settle(&steps, 300.0, &air, &wind, &mut t);
    assert_eq!(t, before);
}
