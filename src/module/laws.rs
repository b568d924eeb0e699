//! Properties of the module models over random records.

use proptest::prelude::*;

use super::*;
use crate::plane::Cooling;

/// A random sheet: anything a data sheet could print, sensible or not quite.
fn any_sheet() -> impl Strategy<Value = ModuleSheet> {
    (
        (20.0..800.0_f64, 0.62..0.90_f64, 0.80..0.99_f64, 5.0..260.0_f64),
        (-0.55..-0.18_f64, -0.45..-0.18_f64, -0.02..0.12_f64),
        prop::option::of(0.80..1.02_f64),
        prop::option::of(0.90..1.03_f64),
        (0.05..0.26_f64, 0..10_usize, prop::bool::ANY),
    )
        .prop_map(|((p, fv, fi, v_oc), (gamma, beta, alpha), low, mid, (efficiency, tech, cells))| {
            let technologies = [
                Technology::MultiSi,
                Technology::MonoSi,
                Technology::PPassivated,
                Technology::NContact,
                Technology::Heterojunction,
                Technology::BackContact,
                Technology::CdTe,
                Technology::Cigs,
                Technology::AmorphousSi,
            ];
            let mut sheet = samples::bare();
            sheet.p_stc_w = p;
            sheet.v_oc = v_oc;
            sheet.v_mp = fv * v_oc;
            sheet.i_mp = p / sheet.v_mp;
            sheet.i_sc = sheet.i_mp / fi;
            sheet.gamma_pct_per_k = gamma;
            sheet.beta_pct_per_k = Some(beta);
            sheet.alpha_pct_per_k = Some(alpha);
            sheet.technology = technologies.get(tech).copied();
            let side = 1000.0 * (p / (1000.0 * efficiency)).sqrt();
            (sheet.length_mm, sheet.width_mm) = (side, side);
            sheet.low_light = [(200.0, low), (500.0, mid)].into_iter().filter_map(|(g, e)| Some([g, e?])).collect();
            if cells {
                sheet.series_cells = Some(((v_oc / 0.68).round() as u32).max(1));
            }
            sheet
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 10_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_sheet_fits_or_is_refused_with_a_reason(sheet in any_sheet()) {
        match Electrical::fit(&sheet, None) {
            Err(e) => prop_assert!(e.to_string().contains("expected"), "{e}"),
            Ok((model, notes)) => {
                prop_assert!(!notes.is_empty());
                let at = model.point(1000.0, 25.0);
                prop_assert!((at.p_mp / sheet.p_stc_w - 1.0).abs() < 1e-3);
                prop_assert!((at.v_oc / sheet.v_oc - 1.0).abs() < 1e-3);
                prop_assert!((at.i_sc / sheet.i_sc - 1.0).abs() < 1e-3);
                prop_assert!((at.v_mp / sheet.v_mp - 1.0).abs() < 1e-3);
                let hot = model.point(1000.0, 75.0);
                let gamma = 2.0 * (hot.p_mp / at.p_mp - 1.0);
                prop_assert!((gamma - sheet.gamma_pct_per_k).abs() < 0.005, "{gamma}");
                for [g, eta] in &sheet.low_light {
                    let mut a = [0.0];
                    model.low_light(&[*g], &mut a);
                    prop_assert!((a[0] / eta - 1.0).abs() < 1e-6, "{g} {eta} {}", a[0]);
                }
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn power_rises_with_light_and_falls_with_heat(sheet in any_sheet(), g in 1.0..1400.0_f64, t in -40.0..95.0_f64) {
        if let Ok((model, _)) = Electrical::fit(&sheet, None) {
            let p = model.power(g, t);
            prop_assert!(p > 0.0 && p.is_finite());
            prop_assert!(model.power(g * 1.01, 25.0) > model.power(g, 25.0));
            prop_assert!(model.power(g, t + 0.5) < p);
            prop_assert_eq!(model.power(0.0, t), 0.0);
            prop_assert_eq!(model.power(-3.0, t), 0.0);
        }
    }

    #[test]
    fn maps_are_smooth(sheet in any_sheet(), g in 5.0..1300.0_f64, t in -30.0..85.0_f64) {
        if let Ok((model, _)) = Electrical::fit(&sheet, None) {
            // A step would show as a change that does not shrink with the interval.
            let p = model.power(g, t);
            let change = |h: f64| {
                (model.power(g * (1.0 + h), t) / p - 1.0).abs().max((model.power(g, t + 100.0 * h) / p - 1.0).abs())
            };
            prop_assert!(change(1e-6) < 1e-4 && change(1e-8) < 1e-6, "{} {}", change(1e-6), change(1e-8));
        }
    }

    #[test]
    fn columns_hold_anything(sheet in any_sheet(), g in prop::collection::vec(-50.0..2500.0_f64, 1..40), t in -90.0..140.0_f64) {
        for name in ["sheet", "one-diode", "gamma"] {
            let mut sheet = sheet.clone();
            sheet.electrical = Some(name.to_string());
            if let Ok((model, _)) = Electrical::fit(&sheet, None) {
                let n = g.len();
                let t = vec![t; n];
                let (mut a, mut b, mut v) = (vec![0.0; n], vec![0.0; n], vec![0.0; n]);
                model.operate(&g, &t, &mut a, &mut b, &mut v);
                let (mut b2, mut v2) = (vec![0.0; n], vec![0.0; n]);
                model.heat(&g, &t, &mut b2);
                model.v_mp(&g, &t, &mut v2);
                for j in 0..n {
                    prop_assert!(a[j] > 0.0 && a[j] < 3.0, "{name} a {} at {}", a[j], g[j]);
                    prop_assert!(b[j] > 0.0 && b[j] < 3.0, "{name} b {} at {} {}", b[j], g[j], t[j]);
                    prop_assert!(v[j] > 0.0 && v[j] < 3.0 * sheet.v_oc, "{name} v {} at {} {}", v[j], g[j], t[j]);
                    prop_assert!(b[j] == b2[j] && v[j] == v2[j]);
                }
            }
        }
    }

    // Whatever way a step takes, it does not depend on the steps beside it.
    #[test]
    fn voltage_of_a_step_is_its_own(
        sheet in any_sheet(),
        steps in prop::collection::vec((1.0..1700.0_f64, -50.0..100.0_f64), 1..40),
    ) {
        if let Ok((model, _)) = Electrical::fit(&sheet, None) {
            let (g, t): (Vec<f64>, Vec<f64>) = steps.into_iter().unzip();
            let mut v = vec![0.0; g.len()];
            model.v_mp(&g, &t, &mut v);
            for j in 0..g.len() {
                let mut one = [0.0];
                model.v_mp(&g[j..=j], &t[j..=j], &mut one);
                prop_assert_eq!(v[j], one[0]);
            }
        }
    }

    #[test]
    fn contradicting_coefficients_give_a_voltage_in_the_cold(g in 0.0..1000.0_f64, t in -90.0..20.0_f64) {
        // V_oc falls by 0.45 %/K and power by 0.18 %/K only.
        let text = "p_stc_w = 20.0\nv_mp = 3.1767\ni_mp = 6.2958\nv_oc = 5.0\ni_sc = 7.8697\ngamma_pct_per_k = -0.18\n\
                    beta_pct_per_k = -0.4468\nalpha_pct_per_k = 0.0\ntechnology = \"multi-si\"\nlength_mm = 632.0\nwidth_mm = 632.0\n";
        let sheet: ModuleSheet = toml::from_str(text).unwrap();
        let (model, _) = Electrical::fit(&sheet, None).unwrap();
        let mut v = [0.0];
        model.v_mp(&[g], &[t], &mut v);
        prop_assert!(v[0] > 0.0 && v[0] < 15.0, "{} at {g} {t}", v[0]);
    }

    #[test]
    fn a_curve_falls_and_ends_at_its_points(sheet in any_sheet(), g in 20.0..1200.0_f64, t in -20.0..80.0_f64) {
        if let Ok((model, _)) = Electrical::fit(&sheet, None) {
            let at = model.point(g, t);
            let curve = model.curve(g, t, 60);
            prop_assert!((curve[0][1] / at.i_sc - 1.0).abs() < 1e-9);
            prop_assert!((curve[59][0] / at.v_oc - 1.0).abs() < 1e-9);
            for pair in curve.windows(2) {
                prop_assert!(pair[1][1] <= pair[0][1] * (1.0 + 1e-12));
            }
            prop_assert!((model.current_at(at.v_mp, g, t) * at.v_mp / at.p_mp - 1.0).abs() < 1e-6);
            prop_assert!(curve.iter().all(|[v, i]| v * i <= at.p_mp * (1.0 + 1e-9)));
            prop_assert!(at.v_mp < at.v_oc && at.i_mp < at.i_sc);
        }
    }

    #[test]
    fn incidence_stays_between_nothing_and_all(a_r in 0.06..0.4_f64, c in -1.0..1.0_f64, tilt in 0.0..90.0_f64) {
        let glass = [
            Glass::MartinRuiz { a_r },
            Glass::Fresnel { n: 1.3 + a_r, n_under: 1.526, k_l: 0.01 * a_r },
        ];
        for g in &glass {
            let k = g.at(c);
            prop_assert!((0.0..=1.0 + 1e-12).contains(&k));
            prop_assert!(g.at((c + 0.01).min(1.0)) >= k - 1e-12);
            prop_assert!((0.0..=1.0).contains(&g.sky(tilt)) && (0.0..=1.0).contains(&g.ground(tilt)));
            prop_assert!((g.at(1.0) - 1.0).abs() < 1e-12 && g.at(0.0).abs() < 1e-12);
        }
        // A larger coefficient loses more everywhere.
        let dirtier = Glass::MartinRuiz { a_r: a_r + 0.01 };
        prop_assert!(dirtier.at(c) <= glass[0].at(c) + 1e-12);
    }

    #[test]
    fn cells_warm_with_light_and_cool_with_wind(
        g in 0.0..1300.0_f64, t in -40.0..50.0_f64, v in 0.0..25.0_f64, nmot in 38.0..50.0_f64, king in 0..6_usize
    ) {
        let mut sheet = samples::bare();
        sheet.nmot_c = Some(nmot);
        sheet.temperature = KING_MOUNTS.get(king).map(|m| m.0.to_string());
        let thermal = Thermal::new(&Cooling::default(), &sheet, 10.0);
        let mut out = [0.0; 4];
        thermal.t_cell(&[0.0, g, g + 10.0, g], &[t; 4], &[v, v, v, v + 1.0], &mut out);
        prop_assert!((out[0] - t).abs() < 1e-12);
        prop_assert!(out[1] >= t && out[2] > out[1] && out[3] <= out[1] + 1e-12);
    }
}
