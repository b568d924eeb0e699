//! Copper conductors.
//!
//! Source: IEC 60028 (resistivity and temperature coefficient, from memory); IEC 60228:2004 (largest resistances, read
//! on public pages); a worked run of 60 m one way, 4 mm2, 50 C.

use yearlight::plant::{CableSpec, Conductor, StringCable, loop_ohm, ohm_per_km};

// Worked by hand: 0.017241 * (1 + 0.00393 * 30) * 2 * 60 / 4 ohm; last printed digit.
#[test]
fn worked_run() {
    assert!((loop_ohm(60.0, 4.0, 50.0) - 0.578211).abs() < 5e-7);
    let spec = CableSpec { one_way_m: Some(60.0), area_mm2: Some(4.0), ..CableSpec::default() };
    let cable = StringCable::of(&spec, 20, 31.25, 13.12).unwrap();
    assert!((cable.loss_w(13.12) - 99.53).abs() < 5e-3);
    // 1.21 % of a string of 20 modules of 31.25 V.
    assert!((cable.loss_w(13.12) / (20.0 * 31.25 * 13.12) * 100.0 - 1.21).abs() < 5e-3);
}

// The table is held exactly. Its values are upper limits for conductors whose true section may be a little below the
// nominal one: ideal copper lies below, by up to a fifth.
#[test]
fn table_of_iec_60228() {
    let mut rows = 0;
    for line in
        include_str!("data/iec_60228_copper.csv").lines().filter(|l| l.starts_with(|c: char| c.is_ascii_digit()))
    {
        let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
        let of = |conductor| ohm_per_km(conductor, cells[0]).unwrap();
        assert_eq!([of(Conductor::Stranded), of(Conductor::Flexible), of(Conductor::FlexibleTinned)], cells[1..4]);
        let ideal = of(Conductor::Resistivity);
        for limit in &cells[1..4] {
            assert!(ideal < *limit && ideal > 0.8 * limit, "{} mm2: {ideal} against {limit}", cells[0]);
        }
        rows += 1;
    }
    assert_eq!(rows, 19);
    assert_eq!(ohm_per_km(Conductor::Flexible, 5.0), None);
}
