//! How the years pass.

use serde::{Deserialize, Serialize};

use crate::units::Note;

/// How power falls after the first year.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Course {
    /// `E_t = E_1 (1 - d (t - 1))`.
    Linear,
    /// `E_t = E_1 (1 - d)^(t - 1)`.
    Compound,
}

impl Course {
    /// From the word of `[ageing] course`.
    pub fn named(word: &str) -> Option<Course> {
        match word {
            "linear" => Some(Course::Linear),
            "compound" => Some(Course::Compound),
            _ => None,
        }
    }

    /// Share of the first year's output that is left in year `t` (1, 2, ...) at `d_pct` percent a year; never below 0.
    ///
    /// Source: arithmetic of Jordan, D. C., Kurtz, S. R.: Photovoltaic Degradation Rates - an Analytical Review,
    /// Prog. Photovolt. 21 (2013) 12-29.
    /// ```
    /// use yearlight::weigh::Course;
    /// assert!((Course::Linear.left(0.5, 25) - 0.88).abs() < 1e-12);
    /// ```
    pub fn left(self, d_pct: f64, t: u32) -> f64 {
        let (d, n) = (d_pct / 100.0, f64::from(t.saturating_sub(1)));
        match self {
            Course::Linear => (1.0 - d * n).max(0.0),
            Course::Compound => (1.0 - d).max(0.0).powf(n),
        }
    }

    /// Sum of [`Course::left`] over years 1..=n.
    pub fn sum_left(self, d_pct: f64, n: u32) -> f64 {
        (1..=n).map(|t| self.left(d_pct, t)).sum()
    }

    /// For a sentence.
    pub fn words(self) -> &'static str {
        match self {
            Course::Linear => "linear, in percent of the first year",
            Course::Compound => "compound, each year in percent of the one before",
        }
    }
}

/// One year of operation of an option.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct YearOfOperation {
    /// 1, 2, ...
    pub year: u32,
    /// Energy delivered, kWh.
    pub e_ac_kwh: f64,
    /// Share of the first year's output that is left, 0..1 (the light-induced loss is in the first year already).
    pub left: f64,
    /// Forecast module power at the end of the year, percent of the rating: light-induced loss and ageing.
    pub forecast_pct: f64,
    /// What the maker guarantees at the end of the year, percent of the rating. A promise, never the forecast.
    pub guarantee_pct: Option<f64>,
    /// True when the inverters are replaced at the end of this year.
    pub inverter_replaced: bool,
}

/// Years 1..=n of an option from its first year.
///
/// `e_1_kwh` is the first year with light-induced loss, outage and dirt already in it; `light_induced_pct` only serves
/// the power forecast. `guarantee` holds the maker's points.
pub fn years_of(
    n: u32,
    e_1_kwh: f64,
    course: Course,
    ageing_pct: f64,
    light_induced_pct: f64,
    guarantee: &[[f64; 2]],
    inverter_year: Option<u32>,
) -> Vec<YearOfOperation> {
    (1..=n)
        .map(|t| {
            let left = course.left(ageing_pct, t);
            YearOfOperation {
                year: t,
                e_ac_kwh: e_1_kwh * left,
                left,
                forecast_pct: (100.0 - light_induced_pct) * course.left(ageing_pct, t + 1),
                guarantee_pct: guaranteed(guarantee, f64::from(t)),
                inverter_replaced: inverter_year == Some(t) && t < n,
            }
        })
        .collect()
}

/// The maker's guarantee at the end of a year: straight between the points given, none before the first point and
/// after the last.
pub fn guaranteed(points: &[[f64; 2]], year: f64) -> Option<f64> {
    points.iter().find(|p| p[0] == year).map(|p| p[1]).or_else(|| {
        points.windows(2).find(|w| w[0][0] < year && year < w[1][0]).map(|w| {
            let share = (year - w[0][0]) / (w[1][0] - w[0][0]);
            w[0][1] + share * (w[1][1] - w[0][1])
        })
    })
}

/// Notes on things that are counted twice, or may be.
pub mod guard {
    use super::Note;

    /// A first-year guarantee that looks like the light-induced loss put into the ageing rate, or ageing that holds it.
    pub fn ageing_from_guarantee(module: &str, ageing_pct: f64, guarantee: &[[f64; 2]]) -> Option<Note> {
        let (first, last) = (guarantee.first()?, guarantee.last()?);
        let slope = (first[1] - last[1]) / (last[0] - first[0]);
        (last[0] > first[0] && (slope - ageing_pct).abs() < 1e-9 && ageing_pct > 0.0).then(|| {
            Note::quiet(
                "years.ageing-is-guarantee",
                format!(
                    "{module}: ageing of {ageing_pct} % a year equals the slope of the maker's guarantee. A guarantee is \
                     a promise, not a measured rate."
                ),
            )
        })
    }

    /// Dirt given as a loss and again as measured or modelled dirt.
    pub fn dirt(loss_given: bool, model_given: bool) -> Option<Note> {
        (loss_given && model_given).then(|| {
            Note::loud(
                "years.dirt-twice",
                "Dirt is given both as losses.dirt_pct and by a dirt model; both were taken off. Set losses.dirt_pct = 0 \
                 or remove the model.",
            )
        })
    }

    /// Outage taken off the energy although the operation price already pays for it.
    pub fn outage(outage_pct: f64, om_covers_outage: bool) -> Option<Note> {
        (outage_pct > 0.0 && om_covers_outage).then(|| {
            Note::loud(
                "years.outage-twice",
                format!(
                    "Outage of {outage_pct} % is taken off the energy although money.om_covers_outage says that the \
                     operation price pays for lost service. Set losses.outage_pct = 0 or om_covers_outage = false."
                ),
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_usual_arithmetic_of_ageing() {
        // Median 0.5 %/year (Jordan and Kurtz 2013, abstract). By hand: linear, year 25: 1 - 24 x 0.005 = 0.88 and a
        // sum of 25 - 0.005 x 300 = 23.5 first years; compound: the geometric sum (1 - 0.995^25) / 0.005 = 23.5545...
        assert!((Course::Linear.sum_left(0.5, 25) - 23.5).abs() < 1e-12);
        let geometric = (1.0 - 0.995_f64.powi(25)) / 0.005;
        assert!((Course::Compound.sum_left(0.5, 25) - geometric).abs() < 1e-11);
        assert_eq!(Course::Linear.left(0.8, 1), 1.0);
    }

    #[test]
    fn the_guarantee_is_not_the_forecast() {
        let years = years_of(25, 1000.0, Course::Linear, 0.4, 0.5, &[[1.0, 99.0], [25.0, 87.0]], Some(12));
        assert_eq!(years.len(), 25);
        assert_eq!(years[0].guarantee_pct, Some(99.0));
        assert!((years[12].guarantee_pct.unwrap() - 93.0).abs() < 1e-12);
        assert!((years[0].forecast_pct - 99.5 * 0.996).abs() < 1e-12);
        assert_eq!(years[0].e_ac_kwh, 1000.0);
        assert_eq!(years.iter().filter(|y| y.inverter_replaced).count(), 1);
        assert!(guaranteed(&[[1.0, 99.0], [25.0, 87.0]], 26.0).is_none());
        assert!(guaranteed(&[], 3.0).is_none());
    }

    #[test]
    fn planted_duplicates_are_flagged() {
        assert!(guard::dirt(true, true).is_some());
        assert!(guard::outage(1.0, true).is_some());
        assert!(guard::outage(1.0, false).is_none());
        assert!(guard::ageing_from_guarantee("X", 0.5, &[[1.0, 99.0], [25.0, 87.0]]).is_some());
    }

    proptest! {
        #[test]
        fn output_falls_and_stays_within_bounds(d in 0.0..5.0_f64, n in 1_u32..60) {
            for course in [Course::Linear, Course::Compound] {
                let left: Vec<f64> = (1..=n).map(|t| course.left(d, t)).collect();
                prop_assert!(left.iter().all(|x| (0.0..=1.0).contains(x)));
                prop_assert!(left.windows(2).all(|w| w[1] <= w[0]));
            }
            // Compound never falls below linear at the same rate.
            prop_assert!(Course::Compound.left(d, n) >= Course::Linear.left(d, n) - 1e-12);
        }
    }
}
