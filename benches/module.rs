//! Module layer: one option over a plane-year of 4400 daylight steps, and the fits.
//!
//! `cargo bench --bench module`; the ratios to reading a weather file are in `benches/README.md`.

use yearlight::module::{Electrical, Glass, Matrix, ModuleSheet, Thermal};
use yearlight::plane::Cooling;

fn main() {
    divan::main();
}

const N: usize = 4400;

/// Light, air and wind of an invented year: a spread of irradiance and heat as a year of daylight steps has it.
struct Year {
    cos_aoi: Vec<f64>,
    g: Vec<f64>,
    t_amb: Vec<f64>,
    wind: Vec<f64>,
}

fn year() -> Year {
    let part = |j: usize, k: f64| (j as f64 * k).fract();
    Year {
        cos_aoi: (0..N).map(|j| part(j, 0.618_034)).collect(),
        g: (0..N).map(|j| 1100.0 * part(j, 0.754_878).powf(1.6)).collect(),
        t_amb: (0..N).map(|j| -10.0 + 45.0 * part(j, 0.569_840)).collect(),
        wind: (0..N).map(|j| 9.0 * part(j, 0.430_597)).collect(),
    }
}

fn sheet(electrical: &str) -> ModuleSheet {
    let text = format!(
        "p_stc_w = 410.0\nv_mp = 31.25\ni_mp = 13.12\nv_oc = 37.4\ni_sc = 13.95\ngamma_pct_per_k = -0.35\n\
         beta_pct_per_k = -0.275\nalpha_pct_per_k = 0.045\nseries_cells = 54\nlength_mm = 1722.0\nwidth_mm = 1134.0\n\
         low_light = [[200.0, 0.96]]\n{electrical}"
    );
    toml::from_str(&text).expect("a sheet")
}

fn matrix() -> Matrix {
    let mut text = String::from("g,t,p\n");
    for g in [100.0, 200.0, 400.0, 600.0, 800.0, 1000.0, 1100.0] {
        for t in [15.0, 25.0, 50.0, 75.0] {
            let s: f64 = g / 1000.0;
            let eta = 1.0 + 0.03 * s.ln() - 0.01 * (s - 1.0) - 0.0035 * (t - 25.0);
            text.push_str(&format!("{g},{t},{}\n", 410.0 * s * eta));
        }
    }
    Matrix::parse(&text, "matrix").expect("a matrix")
}

fn operate(bencher: divan::Bencher, model: &Electrical) {
    let y = year();
    let thermal = Thermal::new(&Cooling::default(), &sheet(""), 10.0);
    let mut t = vec![0.0; N];
    thermal.t_cell(&y.g, &y.t_amb, &y.wind, &mut t);
    let (mut a, mut b, mut v) = (vec![0.0; N], vec![0.0; N], vec![0.0; N]);
    bencher.bench_local(|| {
        model.operate(&y.g, &t, &mut a, &mut b, &mut v);
        v[N - 1]
    });
}

#[divan::bench]
fn sheet_power_and_voltage(bencher: divan::Bencher) {
    operate(bencher, &Electrical::fit(&sheet(""), None).expect("a fit").0);
}

#[divan::bench]
fn one_diode_power_and_voltage(bencher: divan::Bencher) {
    operate(bencher, &Electrical::fit(&sheet("electrical = \"one-diode\""), None).expect("a fit").0);
}

#[divan::bench]
fn matrix_power_and_voltage(bencher: divan::Bencher) {
    operate(bencher, &Electrical::fit(&sheet(""), Some(&matrix())).expect("a fit").0);
}

/// Power alone, as the efficiency form gives it.
#[divan::bench]
fn efficiency_form_power_only(bencher: divan::Bencher) {
    let y = year();
    let model = Electrical::fit(&sheet(""), Some(&matrix())).expect("a fit").0;
    let (mut a, mut b) = (vec![0.0; N], vec![0.0; N]);
    bencher.bench_local(|| {
        model.low_light(&y.g, &mut a);
        model.heat(&y.g, &y.t_amb, &mut b);
        b[N - 1]
    });
}

#[divan::bench]
fn incidence_martin_ruiz(bencher: divan::Bencher) {
    let y = year();
    let glass = Glass::MartinRuiz { a_r: 0.16 };
    let mut out = vec![0.0; N];
    bencher.bench_local(|| {
        glass.beam(&y.cos_aoi, &mut out);
        out[N - 1]
    });
}

#[divan::bench]
fn cell_temperature(bencher: divan::Bencher) {
    let y = year();
    let thermal = Thermal::new(&Cooling::default(), &sheet(""), 10.0);
    let mut out = vec![0.0; N];
    bencher.bench_local(|| {
        thermal.t_cell(&y.g, &y.t_amb, &y.wind, &mut out);
        out[N - 1]
    });
}

#[divan::bench]
fn fit_sheet() -> f64 {
    Electrical::fit(divan::black_box(&sheet("")), None).expect("a fit").0.p_stc_w
}

#[divan::bench]
fn fit_matrix(bencher: divan::Bencher) {
    let (sheet, matrix) = (sheet(""), matrix());
    bencher.bench_local(|| Electrical::fit(divan::black_box(&sheet), Some(&matrix)).expect("a fit").0.p_stc_w);
}
