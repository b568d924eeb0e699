//! Clear-sky models: Haurwitz 1945/46; Bird and Hulstrom, SERI/TR-642-761 (1981) (data/clear_sky.csv).
//!
//! The table was computed from the same formulas by an independent script, half its last digit; that the two models, one an
//! empirical curve and one from transmittances, agree within 5 % above 10 deg of elevation is the outside check.

use crate::table::rows;
use yearlight::sun::clear_sky::{Air, bird, haurwitz};

#[test]
fn table_and_each_other() {
    for row in rows(include_str!("data/clear_sky.csv")) {
        let z = row.num("zenith_deg");
        let simple = haurwitz(z.to_radians().cos());
        assert!((simple - row.num("haurwitz_ghi_0.059")).abs() < 6e-4, "{z}: {simple}");
        let sea = bird(z, 1367.0, &Air { pressure_hpa: 1013.0, ..Air::default() });
        let high = bird(z, 1367.0, &Air { pressure_hpa: 840.0, water_cm: 0.75, ..Air::default() });
        for (light, at) in [(sea, "sea"), (high, "840hpa")] {
            assert!((light.dni - row.num(&format!("bird_dni_{at}"))).abs() < 6e-4, "{z} {at}: {light:?}");
            assert!((light.dhi - row.num(&format!("bird_dhi_{at}"))).abs() < 6e-4);
            assert!((light.ghi - row.num(&format!("bird_ghi_{at}"))).abs() < 6e-4);
        }
        if z <= 80.0 {
            assert!((sea.ghi / simple - 1.0).abs() < 0.05, "{z}");
        }
    }
    assert_eq!(haurwitz(-0.1), 0.0);
    assert_eq!(bird(95.0, 1361.0, &Air::default()).ghi, 0.0);
    assert_eq!(bird(f64::NAN, 1361.0, &Air::default()).ghi, 0.0);
}
