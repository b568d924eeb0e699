//! Sun positions computed with a general-purpose astronomy library (data/sun_position.csv).
//!
//! 0.01 deg above the horizon for the shorter series; azimuth times sin(zenith), since a bare azimuth means nothing near
//! the zenith.

use crate::table::rows;
use yearlight::sun::{Observer, position};

#[test]
fn positions_1990_to_2050_at_all_latitudes() {
    let (mut zenith, mut azimuth, mut apparent, mut declination, mut time, mut distance) =
        (0.0_f64, 0.0_f64, 0.0_f64, 0.0_f64, 0.0_f64, 0.0_f64);
    let table = rows(include_str!("data/sun_position.csv"));
    assert_eq!(table.len(), 443);
    for row in &table {
        let here = Observer {
            latitude_deg: row.num("latitude_deg"),
            longitude_deg: row.num("longitude_deg"),
            pressure_hpa: row.num("pressure_hpa"),
            air_temp_c: row.num("air_temp_c"),
        };
        let p = position(row.text("utc").parse().unwrap(), &here);
        let true_zenith = row.num("zenith_true_deg");
        zenith = zenith.max((p.zenith_deg - true_zenith).abs());
        let turn = (p.azimuth_deg - row.num("azimuth_deg") + 180.0).rem_euclid(360.0) - 180.0;
        azimuth = azimuth.max((turn * true_zenith.to_radians().sin()).abs());
        if true_zenith < 90.8 {
            apparent = apparent.max((p.apparent_zenith_deg - row.num("zenith_apparent_deg")).abs());
        }
        declination = declination.max((p.declination_deg - row.num("declination_deg")).abs());
        time = time.max((p.equation_of_time_min - row.num("equation_of_time_min")).abs());
        distance = distance.max((p.distance_au - row.num("sun_distance_au")).abs());
    }
    println!("zenith {zenith:.5} azimuth {azimuth:.5} apparent {apparent:.5} declination {declination:.5} deg");
    println!("equation of time {time:.4} min, distance {distance:.2e} au");
    assert!(zenith < 0.01 && azimuth < 0.01 && apparent < 0.01 && declination < 0.01);
    assert!(time < 0.02, "equation of time {time} min");
    assert!(distance < 2e-4, "distance {distance} au");
}

// Kasten and Young, Applied Optics 28 (1989) 4735-4738.
#[test]
fn air_mass() {
    for row in rows(include_str!("data/air_mass.csv")) {
        let want = row.num("relative_air_mass_kasten_young_1989");
        let got = yearlight::sun::air_mass(row.num("zenith_deg"));
        assert!((got - want).abs() < 1e-6, "{got} {want}");
    }
}
