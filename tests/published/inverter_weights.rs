//! Weighted inverter efficiencies.
//!
//! Source: weights of EN 50530 (European) and of the California Energy Commission's test protocol (Bower et al.
//! 2004), each read on two public pages that quote them; the primary texts were not seen.

use yearlight::plant::{CALIFORNIA, EUROPEAN, Inverter, InverterSheet};

fn through(points: &str) -> Inverter {
    let sheet: InverterSheet = toml::from_str(&format!("p_ac_w = 33000\nefficiency = {points}")).unwrap();
    Inverter::new(&sheet).unwrap()
}

// Weights are exact decimals and sum to one.
#[test]
fn weights_sum_to_one() {
    for weights in [EUROPEAN, CALIFORNIA] {
        assert!((weights.iter().map(|w| w[1]).sum::<f64>() - 1.0).abs() < 1e-12);
    }
}

// Worked by hand: sum of weight times efficiency. The curve passes through its points, so only rounding is left.
#[test]
fn weighted_efficiency_of_worked_curves() {
    let one = through("[[5, 92.1], [10, 95.2], [20, 96.8], [30, 97.3], [50, 97.6], [75, 97.5], [100, 97.1]]");
    assert!((one.european_efficiency() - 0.97057).abs() < 1e-9, "{}", one.european_efficiency());
    assert!((one.california_efficiency() - 0.97350).abs() < 1e-9, "{}", one.california_efficiency());
    let demo = through("[[5, 94.0], [10, 96.5], [20, 97.6], [30, 98.0], [50, 98.3], [75, 98.2], [100, 97.9]]");
    assert!((demo.european_efficiency() - 0.97862).abs() < 1e-9, "{}", demo.european_efficiency());
    assert!((demo.california_efficiency() - 0.98084).abs() < 1e-9, "{}", demo.california_efficiency());
}
