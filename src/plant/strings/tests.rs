use super::*;
use crate::module::{ModuleSheet, Technology};
use crate::plant::inverter::tests::DEMO;
use crate::plant::{CableSpec, Installation, StringBasis, StringsSpec};
use proptest::prelude::*;

fn module(text: &str) -> ModuleSheet {
    toml::from_str(&format!("length_mm = 1722\nwidth_mm = 1134\nfuse_max_a = 30\nv_system_max = 1500\n{text}")).unwrap()
}

fn p410() -> ModuleSheet {
    module(
        "p_stc_w = 410\nv_mp = 31.25\ni_mp = 13.12\nv_oc = 37.4\ni_sc = 13.95\ngamma_pct_per_k = -0.35\nbeta_pct_per_k = -0.275",
    )
}

fn n445() -> ModuleSheet {
    module(
        "p_stc_w = 445\nv_mp = 29.3\ni_mp = 15.19\nv_oc = 34.6\ni_sc = 16.1\ngamma_pct_per_k = -0.29\nbeta_pct_per_k = -0.245",
    )
}

fn n435b() -> ModuleSheet {
    module(
        "p_stc_w = 435\nv_mp = 32.6\ni_mp = 13.345\nv_oc = 39.0\ni_sc = 14.1\ngamma_pct_per_k = -0.3\nbeta_pct_per_k = -0.25\nbifaciality = 0.78",
    )
}

fn ask(module: ModuleSheet) -> StringQuestion {
    StringQuestion {
        tag: "A".into(),
        module,
        inverter: toml::from_str(DEMO).unwrap(),
        inverters: 1,
        modules: None,
        target_kw: Some(40.0),
        strings: Vec::new(),
        module_converters: false,
        spec: StringsSpec { t_cold_c: Some(-19.0), v_limit: Some(1000.0), ..StringsSpec::default() },
        cable: CableSpec { one_way_m: Some(62.0), area_mm2: Some(4.0), ..CableSpec::default() },
        weather_t_min_c: None,
    }
}

fn line<'a>(check: &'a StringCheck, code: &str) -> &'a CheckLine {
    check.lines.iter().find(|l| l.code == code).unwrap()
}

// The three modules at -19 C and 1000 V, worked by hand: V_oc (1 + beta (-44)), 1000 V over that, 40 kW over P.
#[test]
fn three_modules_at_a_thousand_volts() {
    let cases = [
        (p410(), 41.925_4, 23, 98, "20/20, 20, 19/19", Verdict::Allowed),
        (n445(), 38.329_88, 26, 90, "23/23, 22, 22", Verdict::Allowed),
        (n435b(), 43.29, 23, 92, "23/23, 23, 23", Verdict::AllowedThin),
    ];
    for (module, v, n_max, modules, words, verdict) in cases {
        let check = check(&ask(module), None).unwrap();
        assert!((check.v_oc_cold.unwrap() - v).abs() < 1e-9, "{:?}", check.v_oc_cold);
        assert_eq!((check.n_max, check.modules), (Some(n_max), Some(modules)));
        assert_eq!(check.layout.inverters[0].words(), words);
        assert_eq!(check.verdict, verdict, "{:?}", check.lines);
    }
}

#[test]
fn a_thin_margin_is_loud() {
    let check = check(&ask(n435b()), None).unwrap();
    let cold = line(&check, "v-oc-inverter");
    assert!((cold.value.unwrap() - 995.67).abs() < 1e-9 && cold.standing == Standing::Thin);
    assert_eq!(cold.words(), "995.7 V against 1000.0 V, 4.3 V (0.4 %) left");
    assert!(check.notes.iter().any(|n| n.loud && n.code == "strings.thin-margin" && n.text.contains("4.3 V")));
    assert!(check.notes.iter().any(|n| n.code == "strings.rear-current"));
    assert_eq!(check.n_best, Some(22));
}

#[test]
fn tight_currents_of_two_strings() {
    let check = check(&ask(n445()), None).unwrap();
    assert!((line(&check, "i-mp-input").value.unwrap() - 30.38).abs() < 1e-9);
    assert!((line(&check, "i-sc-input").value.unwrap() - 40.25).abs() < 1e-9);
    assert_eq!(check.strings_per_input, Some(2));
    assert_eq!(check.fuses.as_ref().unwrap().needed, Some(false));
    assert!((check.i_sc_max - 20.125).abs() < 1e-9 && check.i_conductor == check.i_sc_max);
    assert_eq!(check.cable.dc_m, Some(2.0 * 62.0 * 4.0));
}

#[test]
fn too_long_is_refused_with_its_number() {
    let mut q = ask(p410());
    q.strings = vec![24, 24, 25, 25];
    let check = check(&q, None).unwrap();
    assert_eq!(check.verdict, Verdict::NotAllowed);
    let broken: Vec<&CheckLine> = check.broken().collect();
    assert_eq!(broken.len(), 2);
    assert_eq!(broken[0].words(), "1048.1 V against 1000.0 V, 48.1 V (4.8 %) outside");
    assert!(check.strings.len() == 4 && check.n_max == Some(23));
}

#[test]
fn too_short_is_refused_and_the_drop_counts() {
    let mut q = ask(p410());
    q.target_kw = None;
    q.strings = vec![8, 8];
    let found = check(&q, None).unwrap();
    // 31.25 (1 - 0.004 * 45) = 25.625 V hot; drop 13.12 A times 0.5975 ohm.
    assert!((found.v_mp_hot - 25.625).abs() < 1e-9);
    let expected = 8.0 * 25.625 - 13.12 * crate::plant::loop_ohm(62.0, 4.0, 50.0);
    assert!((line(&found, "v-mp-hot").value.unwrap() - expected).abs() < 1e-9);
    assert_eq!((found.verdict, found.n_min), (Verdict::NotAllowed, Some(9)));
    // Without the cable eight would do: 8 x 25.625 = 205 V.
    q.cable = CableSpec::default();
    assert_eq!(check(&q, None).unwrap().n_min, Some(8));
}

#[test]
fn limits_left_out_are_not_checked() {
    let mut q = ask(p410());
    q.inverter = toml::from_str("p_ac_w = 33000\nefficiency = [[100, 97.9]]").unwrap();
    q.module.v_system_max = None;
    q.spec.v_limit = None;
    let found = check(&q, None).unwrap();
    assert_eq!((found.verdict, found.n_max), (Verdict::PartlyChecked, None));
    assert!(found.lines.iter().all(|l| l.standing == Standing::NotChecked), "{:?}", found.lines);
    q.spec.v_limit = Some(1000.0);
    let found = check(&q, None).unwrap();
    assert_eq!((found.verdict, found.n_max), (Verdict::PartlyChecked, Some(23)));
    assert!(found.not_checked().any(|l| l.code == "v-oc-inverter"));
}

#[test]
fn cold_comes_from_the_weather_with_a_loud_note() {
    let mut q = ask(p410());
    q.spec.t_cold_c = None;
    q.weather_t_min_c = Some(-8.4);
    let found = check(&q, None).unwrap();
    assert_eq!(found.t_cold_c, Some(-8.4));
    assert!(found.notes.iter().any(|n| n.loud && n.text.contains("A typical year is not an extreme")));
    q.weather_t_min_c = None;
    let found = check(&q, None).unwrap();
    assert!(found.n_max.is_none() && found.verdict != Verdict::Allowed);
}

#[test]
fn american_basis_by_table() {
    let mut q = ask(p410());
    q.spec = StringsSpec {
        basis: StringBasis::Nec6907,
        t_cold_c: Some(-9.0),
        installation: Some(Installation::Dwelling),
        cold_voltage: Some("table".into()),
        ..StringsSpec::default()
    };
    let found = check(&q, None).unwrap();
    assert!((found.v_oc_cold.unwrap() - 1.14 * 37.4).abs() < 1e-9);
    assert_eq!((found.v_limit, found.n_max), (Some(600.0), Some(14)));
    assert!((found.i_conductor - 1.5625 * 13.95).abs() < 1e-9);
    assert!(found.cold.iter().all(|c| c.chosen == (c.way == "table")));
    q.module.technology = Some(Technology::CdTe);
    assert!(check(&q, None).unwrap_err().to_string().contains("crystalline silicon only"));
}

#[test]
fn many_strings_in_parallel_need_fuses() {
    let mut q = ask(p410());
    q.inverter =
        toml::from_str("p_ac_w = 33000\nefficiency = [[100, 97.9]]\ninputs = 1\nstrings_per_input = 5").unwrap();
    let found = check(&q, None).unwrap();
    let fuses = found.fuses.as_ref().unwrap();
    // Four others push 4 x 17.4 A = 69.75 A; 1.5 x 13.95 = 20.9 A < I_n <= 30 A.
    assert!((fuses.reverse_a - 69.75).abs() < 1e-9);
    assert_eq!((fuses.needed, fuses.rating_a, fuses.count), (Some(true), Some(25.0), 10));
    // A module that stands just less than the four others push has its string fused at both poles.
    q.module.fuse_max_a = Some(69.7);
    let fuses = check(&q, None).unwrap().fuses.unwrap();
    assert_eq!((fuses.needed, fuses.rating_a, fuses.count), (Some(true), Some(25.0), 10));
    q.module.fuse_max_a = Some(20.0);
    let found = check(&q, None).unwrap();
    assert!(found.broken().any(|l| l.code == "fuse"));
    q.module.fuse_max_a = None;
    assert!(check(&q, None).unwrap().not_checked().any(|l| l.code == "reverse"));
}

/// Ratings that meet a bound to the digit: above 1.5 I_sc (IEC 62548), at least 1.25 x 1.25 I_sc (NEC 690.9), up to the
/// module's figure; reverse current at the module's figure needs no fuse.
#[test]
fn fuses_at_their_bounds() {
    let mut q = ask(p410());
    q.inverter =
        toml::from_str("p_ac_w = 33000\nefficiency = [[100, 97.9]]\ninputs = 1\nstrings_per_input = 5").unwrap();
    let rated = |i_sc: f64, fuse_max_a: f64, basis: StringBasis| {
        let mut q = q.clone();
        (q.module.i_sc, q.module.i_mp, q.module.fuse_max_a, q.spec.basis) =
            (i_sc, 0.95 * i_sc, Some(fuse_max_a), basis);
        q.module.p_stc_w = q.module.i_mp * q.module.v_mp;
        let fuses = check(&q, None).unwrap_or_else(|e| panic!("{e}")).fuses.unwrap();
        (fuses.rating_from_to_a, fuses.rating_a)
    };
    assert_eq!(rated(10.0, 40.0, StringBasis::Iec62548), ([15.0, 24.0], Some(16.0)));
    assert_eq!(rated(10.0, 16.0, StringBasis::Iec62548), ([15.0, 16.0], Some(16.0)));
    assert_eq!(rated(10.0, 15.5, StringBasis::Iec62548), ([15.0, 15.5], None));
    assert_eq!(rated(16.0, 40.0, StringBasis::Nec6907), ([25.0, 40.0], Some(25.0)));
    assert_eq!(rated(16.0, 25.0, StringBasis::Nec6907), ([25.0, 25.0], Some(25.0)));
    assert_eq!(rated(16.1, 29.0, StringBasis::Nec6907).1, None);
    // Two strings: one other pushes 1.25 x 13.95 A = 17.4375 A.
    q.inverter =
        toml::from_str("p_ac_w = 33000\nefficiency = [[100, 97.9]]\ninputs = 3\nstrings_per_input = 2").unwrap();
    for (most, needed) in [(17.4375, false), (17.43, true)] {
        q.module.fuse_max_a = Some(most);
        let found = check(&q, None).unwrap();
        assert_eq!(found.fuses.as_ref().unwrap().needed, Some(needed), "{most}");
        assert_eq!(found.lines.iter().any(|l| l.code == "reverse"), !needed);
    }
}

/// 23 modules of 41.9254 V at -19 C are 964.28 V: with 3 % more still within 1000 V, with 4 % not.
#[test]
fn the_tolerance_of_the_open_circuit_voltage() {
    let told = |tolerance: Option<f64>, strings: &[u32], v_limit: f64| {
        let mut q = ask(p410());
        q.module.v_oc_tolerance_pct = tolerance;
        q.strings = strings.to_vec();
        (q.target_kw, q.spec.v_limit, q.inverter.v_dc_max) = (None, Some(v_limit), Some(1500.0));
        let found = check(&q, None).unwrap();
        found.notes.iter().find(|n| n.code == "strings.v-oc-tolerance").map(|n| (n.loud, n.text.clone()))
    };
    assert_eq!(told(None, &[23, 23], 1000.0), None);
    assert_eq!(told(Some(3.0), &[23, 23], 1000.0), None);
    let (loud, text) = told(Some(4.0), &[20, 23], 1000.0).unwrap();
    assert!(loud && text.contains("+4 %") && text.contains("1002.9 V, above 1000 V"), "{text}");
    // The lowest of the limits counts, and a string that is too long as it is says so elsewhere.
    assert_eq!(told(Some(4.0), &[23, 23], 1100.0), None);
    assert_eq!(told(Some(4.0), &[24, 24], 1000.0), None);
}

#[test]
fn converters_bring_their_own_rules() {
    let mut q = ask(p410());
    q.module_converters = true;
    assert!(check(&q, None).unwrap_err().to_string().starts_with("module_converter is missing"));
    let converter = "p_in_max_w = 450\nefficiency = [[100, 98.6]]\nv_in_max = 60\ni_in_max = 20\nv_string = 750\n\
                     string_min = 14\nstring_max = 50\nstring_max_w = 15000";
    q.inverter.module_converter = Some(toml::from_str(converter).unwrap());
    let found = check(&q, None).unwrap();
    // 15000 W hold 36 modules of 410 W: 98 in three strings.
    assert_eq!((found.n_max, found.strings.clone()), (Some(36), vec![33, 33, 32]));
    assert_eq!(found.verdict, Verdict::Allowed, "{:?}", found.lines);
    assert!((found.cable.dc_loss_w - (33.0 * 410.0_f64 / 750.0).powi(2) * 0.5975).abs() < 0.1);
}

#[test]
fn slips_are_named() {
    let wrong = |change: &dyn Fn(&mut StringQuestion), part: &str| {
        let mut q = ask(p410());
        change(&mut q);
        let text = check(&q, None).unwrap_err().to_string();
        assert!(text.contains(part), "{text}");
    };
    wrong(&|q| q.module.v_oc = f64::NAN, "v_oc is NaN");
    wrong(&|q| q.module.beta_pct_per_k = Some(0.275), "beta_pct_per_k is 0.275");
    wrong(&|q| q.strings = vec![20, 0], "strings[1] is 0");
    wrong(&|q| (q.strings, q.modules) = (vec![20, 20], Some(41)), "strings is 40 modules in all");
    wrong(&|q| q.spec.t_cold_c = Some(-190.0), "strings.t_cold_c is -190");
    wrong(&|q| q.spec.cold_voltage = Some("beta".into()), "coefficient, table or curve");
    wrong(&|q| q.spec.cold_voltage = Some("curve".into()), "no curve was fitted");
    wrong(&|q| q.spec.current_factor = Some(0.8), "strings.current_factor is 0.8");
    wrong(&|q| q.inverters = 0, "inverters is 0");
    wrong(&|q| q.modules = Some(0), "modules is 0");
}

#[test]
fn the_answer_survives_json() {
    let found = check(&ask(n435b()), None).unwrap();
    let text = serde_json::to_string(&found).unwrap();
    assert!(!text.contains("NaN") && !text.contains("inf"));
    let back: StringCheck = serde_json::from_str(&text).unwrap();
    // Decimal text may move the last bit of a number.
    let words = |check: &StringCheck| check.lines.iter().map(CheckLine::words).collect::<Vec<_>>();
    assert_eq!((back.verdict, words(&back)), (found.verdict, words(&found)));
}

proptest! {
    #[test]
    fn chosen_strings_are_allowed_ones(
        t_cold in -40.0..10.0_f64, modules in 1u32..400, inverters in 1u32..8, limit in 300.0..1500.0_f64,
    ) {
        let mut q = ask(n445());
        q.target_kw = None;
        q.modules = Some(modules);
        q.inverters = inverters;
        q.spec.t_cold_c = Some(t_cold);
        q.spec.v_limit = Some(limit);
        let found = check(&q, None).unwrap();
        for n in &found.strings {
            prop_assert!(Some(*n) <= found.n_max && Some(*n) >= found.n_min);
        }
        if !found.strings.is_empty() {
            prop_assert_eq!(found.strings.iter().sum::<u32>(), modules);
            prop_assert!(!found.broken().any(|l| l.code.starts_with("v-oc")));
        }
        // Colder never allows longer strings.
        q.spec.t_cold_c = Some(t_cold - 5.0);
        prop_assert!(check(&q, None).unwrap().n_max <= found.n_max);
    }
}
