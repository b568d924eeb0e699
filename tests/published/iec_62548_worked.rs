//! String lengths worked by hand.
//!
//! Source: rule of IEC 62548 (highest voltage: modules in series times V_oc at the lowest expected temperature by the
//! maker's coefficient; from memory), numbers worked by hand for an invented module.

use yearlight::plant::strings::{StringQuestion, check};
use yearlight::plant::{CableSpec, StringsSpec, Verdict, v_at};

fn question() -> StringQuestion {
    StringQuestion {
        tag: "worked".into(),
        module: toml::from_str(
            "p_stc_w = 380\nv_mp = 34.6\ni_mp = 10.98\nv_oc = 41.5\ni_sc = 11.6\ngamma_pct_per_k = -0.29\n\
             beta_pct_per_k = -0.26\nalpha_pct_per_k = 0.05\nlength_mm = 1760\nwidth_mm = 1040",
        )
        .unwrap(),
        inverter: toml::from_str("p_ac_w = 10000\nv_dc_max = 1000\nwindow_v = [250, 850]\nefficiency = [[100, 97]]")
            .unwrap(),
        inverters: 1,
        modules: None,
        target_kw: None,
        strings: Vec::new(),
        module_converters: false,
        spec: StringsSpec { t_cold_c: Some(-18.0), ..StringsSpec::default() },
        cable: CableSpec::default(),
        weather_t_min_c: None,
    }
}

// 41.5 V (1 + 0.0026 x 43) = 46.1397 V; 1000 V hold 21. 34.6 V (1 - 0.0034 x 45) = 29.3062 V; 250 V need 9.
// The last printed digit.
#[test]
fn longest_and_shortest() {
    assert!((v_at(41.5, -0.0026, -18.0) - 46.1397).abs() < 5e-5);
    let found = check(&question(), None).unwrap();
    assert!((found.v_oc_cold.unwrap() - 46.1397).abs() < 5e-5);
    assert!((found.v_mp_hot - 29.3062).abs() < 5e-5, "{}", found.v_mp_hot);
    assert_eq!((found.n_min, found.n_max), (Some(9), Some(21)));
}

// One module more or less than that is refused.
#[test]
fn one_more_or_less_is_refused() {
    let mut q = question();
    for (n, allowed) in [(8, false), (9, true), (21, true), (22, false)] {
        q.strings = vec![n];
        let verdict = check(&q, None).unwrap().verdict;
        assert_eq!(verdict != Verdict::NotAllowed, allowed, "{n} modules");
    }
}
