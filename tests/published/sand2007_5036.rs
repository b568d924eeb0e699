//! A curve of a few points against a smooth inverter equation.
//!
//! Source: King, D. L., Gonzalez, S., Galbraith, G. M., Boyson, W. E.: Performance model for grid-connected
//! photovoltaic inverters, SAND2007-5036 (equation from memory; parameters invented).

use yearlight::plant::{AcColumns, EfficiencyAtVoltage, Inverter, InverterSheet};

/// The equation itself, unclipped: AC power in W from DC power in W and DC voltage in V.
fn equation(p_dc: f64, v: f64) -> f64 {
    let (paco, pdco, vdco, pso, c0) = (10_000.0, 10_400.0, 600.0, 40.0, -2.0e-6);
    let (c1, c2, c3) = (1.5e-5, 6.0e-4, -2.0e-4);
    let dv = v - vdco;
    let (a, b, c) = (pdco * (1.0 + c1 * dv), pso * (1.0 + c2 * dv), c0 * (1.0 + c3 * dv));
    (paco / (a - b) - c * (a - b)) * (p_dc - b) + c * (p_dc - b).powi(2)
}

/// The sheet a maker would print: efficiency at seven loads, found by bisection on the equation.
fn sheet_points(v: f64) -> Vec<[f64; 2]> {
    [5.0, 10.0, 20.0, 30.0, 50.0, 75.0, 100.0]
        .iter()
        .map(|&load| {
            let (mut low, mut high) = (load * 100.0, load * 200.0);
            for _ in 0..100 {
                let middle = 0.5 * (low + high);
                if equation(middle, v) < load * 100.0 { low = middle } else { high = middle }
            }
            [load, load * 100.0 / high * 100.0]
        })
        .collect()
}

fn rows() -> Vec<[f64; 3]> {
    include_str!("data/sand2007_5036_curve.csv")
        .lines()
        .filter(|line| line.starts_with(|c: char| c.is_ascii_digit()))
        .map(|line| {
            let mut cells = line.split(',').map(|cell| cell.parse::<f64>().unwrap());
            [cells.next().unwrap(), cells.next().unwrap(), cells.next().unwrap()]
        })
        .collect()
}

// Seven digits after the point are printed.
#[test]
fn equation_gives_the_printed_rows() {
    assert_eq!(rows().len(), 30);
    for [dc, v, ac] in rows() {
        assert!((equation(dc, v) - ac).abs() < 1e-6, "{dc} W at {v} V");
    }
}

// The loss of this inverter is a parabola in DC power; pieces through seven of its points must stay within 0.02 % of
// the rating between them, and within 0.05 % beyond the ends, where the curve goes on as a line.
#[test]
fn seven_points_of_the_sheet_give_the_curve_back() {
    let mut sheet: InverterSheet = toml::from_str("p_ac_w = 10000\nefficiency = [[100, 96]]").unwrap();
    sheet.efficiency = sheet_points(600.0);
    sheet.efficiency_v = Some(600.0);
    sheet.efficiency_at_v =
        [450.0, 750.0].iter().map(|&v| EfficiencyAtVoltage { v, efficiency: sheet_points(v) }).collect();
    let inverter = Inverter::new(&sheet).unwrap();
    let mut out = AcColumns::default();
    for [dc, v, ac] in rows() {
        inverter.convert(1, &[dc], Some(&[v]), &[25.0], &mut out);
        let within = if (520.0..=10_400.0).contains(&dc) { 2.0 } else { 5.0 };
        assert!((out.before_limit[0] - ac).abs() < within, "{dc} W at {v} V: {} for {ac}", out.before_limit[0]);
        assert!(out.ac[0] <= 10_000.0);
    }
    // Between the voltages of the curves the equation is close to a line.
    for v in [500.0, 690.0] {
        inverter.convert(1, &[6_000.0], Some(&[v]), &[25.0], &mut out);
        assert!((out.ac[0] - equation(6_000.0, v)).abs() < 5.0);
    }
}

// A parabola through three points of a parabola is that parabola.
#[test]
fn three_points_of_the_sheet_give_the_curve_exactly() {
    let mut sheet: InverterSheet = toml::from_str("p_ac_w = 10000\nefficiency = [[100, 96]]").unwrap();
    let all = sheet_points(600.0);
    sheet.efficiency = vec![all[1], all[4], all[6]];
    let inverter = Inverter::new(&sheet).unwrap();
    let mut out = AcColumns::default();
    for [dc, v, ac] in rows() {
        if v == 600.0 && dc <= 10_400.0 {
            inverter.convert(1, &[dc], None, &[25.0], &mut out);
            assert!((out.before_limit[0] - ac).abs() < 1e-6, "{dc} W: {} for {ac}", out.before_limit[0]);
        }
    }
}
