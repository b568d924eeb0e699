//! What an option costs, what it earns, and the price at which it stops paying.

use serde::{Deserialize, Serialize};

use crate::job::MoneySpec;

/// The cost and value of one option.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OptionMoney {
    /// Label of the currency.
    pub currency: String,
    /// First cost by kind; together `first_cost`.
    pub cost_lines: Vec<CostLine>,
    /// First cost, modules and inverters included.
    pub first_cost: f64,
    /// Price of the modules per W.
    pub price_per_w: f64,
    /// Operation and maintenance in the first year.
    pub om_first_year: f64,
    /// Discounted cost of cleaning over the years, within `cost_present`.
    #[serde(default)]
    pub cleaning_present: f64,
    /// Discounted cost over the years.
    pub cost_present: f64,
    /// Discounted revenue over the years.
    pub revenue_present: f64,
    /// Net present value: discounted revenue less discounted cost.
    pub npv: f64,
    /// Cost per kWh: discounted cost over discounted energy.
    pub lcoe_per_kwh: f64,
    /// Used on site in the first year, kWh; only with a load.
    pub own_use_kwh: Option<f64>,
    /// Fed in during the first year, kWh.
    pub exported_kwh: f64,
    /// Value of the first year's energy.
    pub revenue_first_year: f64,
}

/// One kind of first cost.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CostLine {
    /// What for.
    pub name: String,
    /// How many of what: `40.05 kW at 0.31/W`.
    pub basis: String,
    /// Amount in the currency.
    pub amount: f64,
}

/// The money side of a gap.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct GapMoney {
    /// Net present value of the option less that of the first.
    pub npv: f64,
    /// Price per W of the option's modules now.
    pub price_per_w: f64,
    /// Price per W at which the two are worth the same.
    pub break_even_per_w: f64,
    /// The difference of net present value re-run at that price, for the sceptic.
    pub npv_at_break_even: f64,
    /// Cost per kWh of the option less that of the first.
    pub lcoe_per_kwh: f64,
}

/// What an option is made of, as far as money is concerned.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Bill {
    /// Module power, W.
    pub p_stc_w: f64,
    /// Number of modules.
    pub modules: u32,
    /// Area of one module, m2.
    pub module_m2: f64,
    /// Number of strings.
    pub strings: u32,
    /// Length of single DC conductor, m.
    pub cable_m: f64,
    /// Number of inverters.
    pub inverters: u32,
    /// Price of one inverter.
    pub inverter_price: f64,
    /// Price of the modules per W.
    pub price_per_w: f64,
    /// Cost of the cleanings of each year of operation, at today's prices; empty for none.
    pub cleaning: Vec<f64>,
}

impl Bill {
    /// First cost by kind.
    pub fn cost_lines(&self, spec: &MoneySpec) -> Vec<CostLine> {
        let m2 = f64::from(self.modules) * self.module_m2;
        let kw = self.p_stc_w / 1000.0;
        let line = |name: &str, basis: String, amount: f64| CostLine { name: name.to_string(), basis, amount };
        let all = [
            line("modules", format!("{kw:.2} kW at {}/W", self.price_per_w), self.p_stc_w * self.price_per_w),
            line(
                "inverters",
                format!("{} at {}", self.inverters, self.inverter_price),
                f64::from(self.inverters) * self.inverter_price,
            ),
            line("by power", format!("{kw:.2} kW at {}/W", spec.per_w), self.p_stc_w * spec.per_w),
            line(
                "by module",
                format!("{} at {}", self.modules, spec.per_module),
                f64::from(self.modules) * spec.per_module,
            ),
            line("by area", format!("{m2:.1} m2 at {}/m2", spec.per_m2), m2 * spec.per_m2),
            line(
                "by string",
                format!("{} at {}", self.strings, spec.per_string),
                f64::from(self.strings) * spec.per_string,
            ),
            line(
                "DC cable",
                format!("{:.0} m at {}/m", self.cable_m, spec.per_cable_m),
                self.cable_m * spec.per_cable_m,
            ),
            line("fixed", "once".to_string(), spec.fixed),
        ];
        all.into_iter().filter(|l| l.amount != 0.0 || l.name == "modules").collect()
    }
}

/// Energy of one year of operation by where it goes, kWh.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct YearEnergy {
    /// Used on site.
    pub own_use_kwh: f64,
    /// Fed in.
    pub exported_kwh: f64,
}

impl YearEnergy {
    /// All of it.
    pub fn kwh(&self) -> f64 {
        self.own_use_kwh + self.exported_kwh
    }
}

/// Splits a year of AC power into own use, export and what the export limit cuts, kWh.
///
/// `used = min(P, load)`, `exported = min(P - used, limit)`, hour by hour; a night draw (negative power) is bought and
/// counts as negative export. Columns may be of different length; the shorter counts.
pub fn own_use(ac_kw: &[f64], load_kw: &[f64], limit_kw: Option<f64>, step_h: f64) -> (YearEnergy, f64) {
    let (mut used, mut exported, mut cut) = (0.0, 0.0, 0.0);
    let limit = limit_kw.unwrap_or(f64::INFINITY);
    for (p, load) in ac_kw.iter().zip(load_kw) {
        let here = p.min(*load).max(0.0);
        let out = (p - here).min(limit);
        used += here;
        exported += out;
        cut += p - here - out;
    }
    (YearEnergy { own_use_kwh: used * step_h, exported_kwh: exported * step_h }, cut * step_h)
}

/// An hourly load from a yearly sum and the shape of a day.
///
/// `first_weekday` is 0 for Monday; the shapes have 24 values each on one scale, an empty shape is even, and an empty
/// weekend takes the working day's. The year sums to `kwh` exactly up to rounding. Power in kW per step.
pub fn shaped_load(
    kwh: f64,
    shape: &[f64],
    weekend: &[f64],
    days: usize,
    steps_per_day: usize,
    first_weekday: usize,
) -> Vec<f64> {
    let even = [1.0; 24];
    let work = if shape.len() == 24 { shape } else { &even };
    let rest = if weekend.len() == 24 { weekend } else { work };
    let mut load: Vec<f64> = (0..days * steps_per_day)
        .map(|i| {
            let (day, hour) = (i / steps_per_day, (i % steps_per_day) * 24 / steps_per_day);
            if (first_weekday + day) % 7 >= 5 { rest[hour] } else { work[hour] }
        })
        .collect();
    let sum: f64 = load.iter().sum();
    let scale = if sum > 0.0 { kwh * steps_per_day as f64 / 24.0 / sum } else { 0.0 };
    load.iter_mut().for_each(|x| *x *= scale);
    load
}

/// Discounted sum of amounts at the ends of years 1, 2, ...: `sum of x_t (1 + r)^-t`.
pub fn present(amounts: &[f64], discount_pct: f64) -> f64 {
    let factor = 1.0 / (1.0 + discount_pct / 100.0);
    amounts.iter().rev().fold(0.0, |sum, x| (sum + x) * factor)
}

/// Everything about the money of one option.
///
/// First cost at time 0; energy, operation and replacements at the ends of years 1..N, `years[t - 1]`.
/// `LCOE = sum C_t (1 + r)^-t / sum E_t (1 + r)^-t`; source: Short, W., Packey, D. J., Holt, T.: A Manual for the
/// Economic Evaluation of Energy Efficiency and Renewable Energy Technologies, NREL/TP-462-5173 (1995), section 4.
pub fn money_of(spec: &MoneySpec, bill: &Bill, years: &[YearEnergy]) -> OptionMoney {
    let cost_lines = bill.cost_lines(spec);
    let first_cost: f64 = cost_lines.iter().map(|l| l.amount).sum();
    let om_first_year = bill.p_stc_w / 1000.0 * spec.om_per_kw_year + first_cost * spec.om_pct / 100.0;
    let replacement = f64::from(bill.inverters) * spec.inverter_replacement.unwrap_or(bill.inverter_price);
    let grow = |pct: f64, t: usize| (1.0 + pct / 100.0).powi(t as i32);
    let own_value = spec.own_use_per_kwh.unwrap_or(spec.tariff_per_kwh);
    let revenue: Vec<f64> = years
        .iter()
        .enumerate()
        .map(|(t, y)| {
            (y.own_use_kwh * own_value + y.exported_kwh * spec.tariff_per_kwh) * grow(spec.tariff_growth_pct, t)
        })
        .collect();
    let cleaning_of = |t: usize| bill.cleaning.get(t).copied().unwrap_or(0.0);
    let costs: Vec<f64> = (0..years.len())
        .map(|t| {
            // A replacement at the end of the last year would serve nobody.
            let renews = spec.inverter_year == Some(t as u32 + 1) && t + 1 < years.len();
            (om_first_year + cleaning_of(t)) * grow(spec.om_growth_pct, t) + if renews { replacement } else { 0.0 }
        })
        .collect();
    let cleaning: Vec<f64> = (0..years.len()).map(|t| cleaning_of(t) * grow(spec.om_growth_pct, t)).collect();
    let energy: Vec<f64> = years.iter().map(YearEnergy::kwh).collect();
    let r = spec.discount_pct;
    let cost_present = first_cost + present(&costs, r);
    let cleaning_present = present(&cleaning, r);
    let revenue_present = present(&revenue, r);
    let energy_present = present(&energy, r);
    let has_load = years.iter().any(|y| y.own_use_kwh != 0.0);
    OptionMoney {
        currency: spec.currency.clone(),
        cost_lines,
        first_cost,
        price_per_w: bill.price_per_w,
        om_first_year,
        cleaning_present,
        cost_present,
        revenue_present,
        npv: revenue_present - cost_present,
        lcoe_per_kwh: if energy_present > 0.0 { cost_present / energy_present } else { 0.0 },
        own_use_kwh: years.first().filter(|_| has_load).map(|y| y.own_use_kwh),
        exported_kwh: years.first().map_or(0.0, |y| y.exported_kwh),
        revenue_first_year: revenue.first().copied().unwrap_or(0.0),
    }
}

/// The price per W of B at which both options are worth the same, and the check of it.
///
/// `p_B* = [V_B - V_A + C_A - C_B(without modules)] / P_B`. Net present value is linear in the price, also with an
/// operation cost in percent of the first cost, so the root of the line through two runs is exact; it may be negative
/// when B does not even pay as a gift.
pub fn gap_money(spec: &MoneySpec, a: (&Bill, &[YearEnergy]), b: (&Bill, &[YearEnergy])) -> GapMoney {
    let of_a = money_of(spec, a.0, a.1);
    let at = |price: f64| money_of(spec, &Bill { price_per_w: price, ..b.0.clone() }, b.1);
    let (free, now) = (at(0.0), at(b.0.price_per_w));
    let per_unit = free.npv - at(1.0).npv;
    let break_even = if per_unit > 0.0 { (free.npv - of_a.npv) / per_unit } else { b.0.price_per_w };
    GapMoney {
        npv: now.npv - of_a.npv,
        price_per_w: b.0.price_per_w,
        break_even_per_w: break_even,
        npv_at_break_even: at(break_even).npv - of_a.npv,
        lcoe_per_kwh: now.lcoe_per_kwh - of_a.lcoe_per_kwh,
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use proptest::prelude::*;

    pub(crate) fn plain() -> MoneySpec {
        toml::from_str("tariff_per_kwh = 0.10\ndiscount_pct = 5.0").unwrap()
    }

    fn bill(price: f64) -> Bill {
        Bill {
            p_stc_w: 40_180.0,
            modules: 98,
            module_m2: 1.95,
            strings: 5,
            cable_m: 620.0,
            inverters: 1,
            inverter_price: 2500.0,
            price_per_w: price,
            cleaning: Vec::new(),
        }
    }

    fn years(kwh: f64, d: f64) -> Vec<YearEnergy> {
        (1..=25)
            .map(|t| YearEnergy { own_use_kwh: 0.0, exported_kwh: kwh * crate::weigh::Course::Linear.left(d, t) })
            .collect()
    }

    #[test]
    fn cleaning_is_a_cost_of_its_year() {
        let money = plain();
        let dirty = Bill { cleaning: vec![0.0, 200.0, 0.0, 200.0], ..bill(0.24) };
        let (with, without) =
            (money_of(&money, &dirty, &years(40_000.0, 0.5)), money_of(&money, &bill(0.24), &years(40_000.0, 0.5)));
        // By hand: 200 / 1.05^2 + 200 / 1.05^4 = 181.4059 + 164.5405.
        let by_hand = 200.0 / 1.05_f64.powi(2) + 200.0 / 1.05_f64.powi(4);
        assert!((with.cleaning_present - by_hand).abs() < 1e-9 && (by_hand - 345.9464).abs() < 1e-3);
        assert!((without.npv - with.npv - by_hand).abs() < 1e-6);
    }

    #[test]
    fn an_annuity_discounts_as_in_the_textbook() {
        // (1 - 1.05^-25) / 0.05 = 14.0939 (present-worth factor, engineering-economy tables, from memory).
        assert!((present(&[1.0; 25], 5.0) - 14.0939).abs() < 5e-5);
        assert!((present(&[100.0, 100.0, 100.0], 0.0) - 300.0).abs() < 1e-12);
        assert_eq!(present(&[], 5.0), 0.0);
    }

    #[test]
    fn every_price_counts_once() {
        let spec = MoneySpec {
            per_w: 0.3,
            per_module: 20.0,
            per_m2: 12.0,
            per_string: 90.0,
            per_cable_m: 1.1,
            fixed: 3000.0,
            ..plain()
        };
        let got = money_of(&spec, &bill(0.24), &years(38_000.0, 0.5));
        let by_hand = 40_180.0 * (0.24 + 0.3) + 98.0 * 20.0 + 98.0 * 1.95 * 12.0 + 5.0 * 90.0 + 682.0 + 3000.0 + 2500.0;
        assert!((got.first_cost - by_hand).abs() < 1e-9);
    }

    #[test]
    fn own_use_follows_the_hours_by_hand() {
        // Four hours by hand: used 2, 1, 0, 0; exported 0, 3 (limit), 0, -0.1 (night draw); cut 2.
        let (year, cut) = own_use(&[2.0, 6.0, 0.0, -0.1], &[5.0, 1.0, 4.0, 4.0], Some(3.0), 1.0);
        assert_eq!((year.own_use_kwh, year.exported_kwh, cut), (3.0, 2.9, 2.0));
    }

    #[test]
    fn a_shape_keeps_its_sum_and_its_weekend() {
        let mut shape = vec![0.0; 24];
        shape[12] = 1.0;
        let load = shaped_load(520.0, &shape, &[0.0; 24], 365, 24, 0);
        assert!((load.iter().sum::<f64>() - 520.0).abs() < 1e-9);
        // Monday noon is on, Saturday noon off.
        assert!(load[12] > 0.0 && load[5 * 24 + 12] == 0.0);
        assert_eq!(load.iter().filter(|x| **x > 0.0).count(), 261);
        assert!(shaped_load(100.0, &[0.0; 24], &[], 365, 24, 0).iter().all(|x| *x == 0.0));
    }

    proptest! {
        #[test]
        fn at_the_break_even_price_nobody_wins(
            e_b in 30_000.0..50_000.0_f64, r in 0.0..12.0_f64, om in 0.0..3.0_f64, per_m2 in 0.0..50.0_f64,
        ) {
            let spec = MoneySpec { discount_pct: r, om_pct: om, per_m2, inverter_year: Some(13), ..plain() };
            let (a, b) = (bill(0.24), Bill { modules: 90, strings: 4, ..bill(0.31) });
            let gap = gap_money(&spec, (&a, &years(38_000.0, 0.55)), (&b, &years(e_b, 0.4)));
            prop_assert!(gap.npv_at_break_even.abs() < 0.01);
            // Cheaper than break-even pays, dearer does not.
            prop_assert_eq!(gap.npv > 0.0, gap.price_per_w < gap.break_even_per_w);
        }

        #[test]
        fn own_use_loses_no_energy(p in prop::collection::vec(-0.1..40.0_f64, 48), limit in 0.0..50.0_f64) {
            let load: Vec<f64> = (0..48).map(|i| f64::from(i % 24)).collect();
            let (year, cut) = own_use(&p, &load, Some(limit), 1.0);
            prop_assert!((year.kwh() + cut - p.iter().sum::<f64>()).abs() < 1e-9);
            prop_assert!(cut >= 0.0 && year.own_use_kwh >= 0.0);
        }
    }
}
