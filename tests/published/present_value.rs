//! Discounting, cost per kWh and ageing arithmetic against published worked examples.

use yearlight::job::MoneySpec;
use yearlight::weigh::{Bill, Course, YearEnergy, money_of, present};

fn money(text: &str) -> MoneySpec {
    toml::from_str(text).unwrap()
}

/// The two worked examples in the documentation of the NPV function of a well-known spreadsheet (from memory; the sums
/// by hand agree): 10 %, -10000, 3000, 4200, 6800 gives 1188.44; 8 %, first cost 40000 at time 0, then 8000, 9200,
/// 10000, 12000, 14500 gives 1922.06.
#[test]
fn net_present_value_of_the_spreadsheet_examples() {
    assert!((present(&[-10_000.0, 3_000.0, 4_200.0, 6_800.0], 10.0) - 1_188.44).abs() < 0.005);
    let later = present(&[8_000.0, 9_200.0, 10_000.0, 12_000.0, 14_500.0], 8.0);
    assert!((later - 40_000.0 - 1_922.06).abs() < 0.005);
}

/// Capital recovery factors of the interest tables in every engineering-economy text (from memory): 5 %, 25 years
/// 0.07095; 7 %, 20 years 0.09439; 8 %, 30 years 0.08883.
///
/// With the same energy every year the cost per kWh is (first cost x factor + operation) / energy: Short, W., Packey,
/// D. J., Holt, T.: A Manual for the Economic Evaluation of Energy Efficiency and Renewable Energy Technologies,
/// NREL/TP-462-5173 (1995), section 4 (from memory). The tolerance is half a unit of the factor's last digit.
#[test]
fn cost_per_kwh_by_the_capital_recovery_factor() {
    for (rate, years, factor) in [(5.0, 25, 0.07095), (7.0, 20, 0.09439), (8.0, 30, 0.08883)] {
        let spec = money(&format!("tariff_per_kwh = 0.1\ndiscount_pct = {rate}\nom_per_kw_year = 15\nfixed = 60000"));
        let bill = Bill { p_stc_w: 50_000.0, modules: 100, ..Bill::default() };
        let energy = vec![YearEnergy { own_use_kwh: 0.0, exported_kwh: 48_000.0 }; years];
        let got = money_of(&spec, &bill, &energy).lcoe_per_kwh;
        let by_factor = (60_000.0 * factor + 750.0) / 48_000.0;
        assert!((got - by_factor).abs() <= 60_000.0 * 5e-6 / 48_000.0, "{got} {by_factor}");
    }
}

/// A made-up table, discounted by hand to four decimals: first cost 1000, operation 20 a year, 1000 kWh falling by 10 %
/// of the first year, 10 %: discounted cost 1000 + 18.1818 + 16.5289 + 15.0263 = 1049.7370; discounted energy
/// 909.0909 + 743.8017 + 601.0518 = 2253.9444 kWh; 0.465733 per kWh.
#[test]
fn cost_per_kwh_with_falling_energy_by_hand() {
    let spec = money("tariff_per_kwh = 0.1\ndiscount_pct = 10\nom_pct = 2\nfixed = 1000");
    let energy: Vec<YearEnergy> =
        (1..=3).map(|t| YearEnergy { own_use_kwh: 0.0, exported_kwh: 1000.0 * Course::Linear.left(10.0, t) }).collect();
    let got = money_of(&spec, &Bill::default(), &energy);
    assert!((got.cost_present - 1_049.737).abs() < 1e-4);
    assert!((got.lcoe_per_kwh - 0.465_733).abs() < 1e-6);
    assert!((got.revenue_present - 225.394_44).abs() < 1e-4);
}

/// Jordan, D. C., Kurtz, S. R.: Photovoltaic Degradation Rates - an Analytical Review, Prog. Photovolt. 21 (2013)
/// 12-29: median 0.5 %/year (abstract). The arithmetic that goes with it: 25 years leave 88 % (linear from the first
/// year) or 88.67 % (compound); at 0.8 %/year, the mean of the same review's successor (2016), 80.8 and 82.47 %.
#[test]
fn what_25_years_leave() {
    for (rate, linear, compound) in [(0.5, 0.88, 0.8867), (0.8, 0.808, 0.8247)] {
        assert!((Course::Linear.left(rate, 25) - linear).abs() < 1e-12);
        assert!((Course::Compound.left(rate, 25) - compound).abs() < 5e-5);
    }
}
