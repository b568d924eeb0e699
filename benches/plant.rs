//! Plant: a year of daylight hours through inverter, cables and inputs, and one string check.

use yearlight::module::{Electrical, ModuleSheet};
use yearlight::plant::strings::{StringQuestion, check};
use yearlight::plant::{
    AcCable, AcColumns, CableSpec, InputColumns, InputLimits, Inverter, InverterSheet, StringSet, StringsSpec, operate,
};

fn main() {
    divan::main();
}

/// Daylight hours of a year.
const STEPS: usize = 4_400;

fn module() -> ModuleSheet {
    toml::from_str(
        "p_stc_w = 410\nv_mp = 31.25\ni_mp = 13.12\nv_oc = 37.4\ni_sc = 13.95\ngamma_pct_per_k = -0.35\n\
         beta_pct_per_k = -0.275\nalpha_pct_per_k = 0.045\nseries_cells = 54\nlength_mm = 1722\nwidth_mm = 1134\n\
         low_light = [[200, 0.96], [500, 0.99]]",
    )
    .unwrap()
}

fn inverter() -> InverterSheet {
    toml::from_str(
        "p_ac_w = 33000\nv_dc_max = 1000\nwindow_v = [200, 850]\ninputs = 3\nstrings_per_input = 2\ni_input_max = 32\n\
         i_sc_input_max = 45\nnight_w = 5\nderate = [[45, 33000], [60, 20000]]\nefficiency = [[5, 94.0], [10, 96.5], \
         [20, 97.6], [30, 98.0], [50, 98.3], [75, 98.2], [100, 97.9]]",
    )
    .unwrap()
}

/// Light, cell temperature, voltage and current of one module, spread over what a year holds.
struct Year {
    g: Vec<f64>,
    t: Vec<f64>,
    v: Vec<f64>,
    i: Vec<f64>,
}

fn year(electrical: &Electrical, dimmer: f64) -> Year {
    let share = |k: usize, turns: f64| (k as f64 * turns).fract();
    let g: Vec<f64> = (0..STEPS).map(|k| dimmer * (1.0 + 1000.0 * share(k, 0.618_034))).collect();
    let t: Vec<f64> = (0..STEPS).map(|k| -5.0 + 0.03 * g[k] + 30.0 * share(k, 0.414_214)).collect();
    let points: Vec<_> = g.iter().zip(&t).map(|(&g, &t)| electrical.point(g, t)).collect();
    Year { v: points.iter().map(|p| p.v_mp).collect(), i: points.iter().map(|p| p.i_mp).collect(), g, t }
}

fn set<'a>(electrical: &'a Electrical, year: &'a Year, n_series: u32, count: u32) -> StringSet<'a> {
    StringSet {
        curve: electrical,
        n_series,
        count,
        loop_ohm: 0.58,
        g: &year.g,
        t: &year.t,
        v_mp: &year.v,
        i_mp: &year.i,
    }
}

/// Loss curve of seven points, AC limit over temperature, draw.
#[divan::bench]
fn inverter_year(bencher: divan::Bencher<'_, '_>) {
    let inverter = Inverter::new(&inverter()).unwrap();
    let dc: Vec<f64> = (0..STEPS).map(|k| 40_000.0 * (k as f64 * 0.618_034).fract()).collect();
    let t: Vec<f64> = (0..STEPS).map(|k| 35.0 * (k as f64 * 0.414_214).fract()).collect();
    let mut out = AcColumns::default();
    bencher.bench_local(|| inverter.convert(1, divan::black_box(&dc), None, &t, &mut out));
}

/// I2R of the AC cable.
#[divan::bench]
fn ac_cable_year(bencher: divan::Bencher<'_, '_>) {
    let spec = CableSpec { ac_one_way_m: Some(30.0), ac_area_mm2: Some(16.0), ..CableSpec::default() };
    let cable = AcCable::of(&spec, 3, 1).unwrap();
    let p = vec![20_000.0; STEPS];
    let (mut work, mut loss) = (p.clone(), Vec::new());
    bencher.bench_local(|| {
        work.copy_from_slice(divan::black_box(&p));
        cable.apply(&mut work, &mut loss);
    });
}

/// Equal strings on one input: one pass.
#[divan::bench]
fn equal_strings_year(bencher: divan::Bencher<'_, '_>) {
    let (electrical, _) = Electrical::fit(&module(), None).unwrap();
    let year = year(&electrical, 1.0);
    let limits = InputLimits { window_v: Some([200.0, 850.0]), i_max: Some(32.0) };
    let sets = [set(&electrical, &year, 20, 2)];
    let mut out = InputColumns::default();
    bencher.bench_local(|| operate(divan::black_box(&sets), &limits, &mut out));
}

/// Strings of 20 and 19 modules on one input: a search in every step.
#[divan::bench]
fn unequal_strings_year(bencher: divan::Bencher<'_, '_>) {
    let (electrical, _) = Electrical::fit(&module(), None).unwrap();
    let year = year(&electrical, 1.0);
    let limits = InputLimits { window_v: Some([200.0, 850.0]), i_max: Some(32.0) };
    let sets = [set(&electrical, &year, 20, 1), set(&electrical, &year, 19, 1)];
    let mut out = InputColumns::default();
    bencher.bench_local(|| operate(divan::black_box(&sets), &limits, &mut out));
}

/// The whole string check of one option.
#[divan::bench]
fn string_check(bencher: divan::Bencher<'_, '_>) {
    let (electrical, _) = Electrical::fit(&module(), None).unwrap();
    let question = StringQuestion {
        tag: "A".into(),
        module: module(),
        inverter: inverter(),
        inverters: 1,
        modules: None,
        target_kw: Some(40.0),
        strings: Vec::new(),
        module_converters: false,
        spec: StringsSpec { t_cold_c: Some(-19.0), v_limit: Some(1000.0), ..StringsSpec::default() },
        cable: CableSpec::default(),
        weather_t_min_c: None,
    };
    bencher.bench_local(|| check(divan::black_box(&question), Some(&electrical)).unwrap());
}
